/* difference.c: two networks against each other (difference.h).
 * Delay       the phase of S21b/S21a is small where both are of one thing; it is followed from point to point, so a delay of a whole turn
 *             over the sweep is found too.  Least squares through the mean, since a constant phase is no delay. */
#include "rf/network/difference.h"
#include <math.h>

const double rf_difference_edges[] = {1e8, 1e9, 10e9, 54e9, 110e9, 150e9};
const size_t rf_difference_edge_n = sizeof rf_difference_edges / sizeof rf_difference_edges[0];

static enum code check(const struct net2 *a, const struct net2 *b, const double *edges, size_t edge_n, struct tp_error *err)
{
        double za = net2_z_real(a), zb = net2_z_real(b);
        if (edge_n > RF_DIFFERENCE_BANDS_MAX - 1)
                return tp_fail(err, CODE_BAD_INPUT, "%zu edges between bands; at most %d", edge_n, RF_DIFFERENCE_BANDS_MAX - 1);
        for (size_t k = 0; k < edge_n; k++)
                if (!(edges[k] > (k ? edges[k - 1] : 0) && edges[k] <= 1e15))
                        return tp_fail(err, CODE_BAD_INPUT, "edge %zu between bands is %.9g Hz; edges must rise, above 0", k + 1, edges[k]);
        if (a->plane != b->plane)
                return tp_fail(err, CODE_BAD_INPUT,
                               "the first lies in plane %s, the second in plane %s; their difference would be the way between",
                               plane_words[a->plane], plane_words[b->plane]);
        if (!(za == zb) && !(isnan(za) && isnan(zb)))
                return tp_fail(err, CODE_BAD_INPUT, "the first has reference %.9g ohm, the second %.9g ohm; renormalise one of them first",
                               za, zb);
        const struct net2 *both[] = {a, b};
        for (int w = 0; w < 2; w++)
                for (size_t i = 0; i < both[w]->axis->n; i++)
                        for (int k = 0; k < 4; k++)
                                if (!isfinite(both[w]->re[k][i]) || !isfinite(both[w]->im[k][i]))
                                        return tp_fail(err, CODE_BAD_INPUT, "S%d%d of the %s one is %g%+gj at %.9g Hz", 1 + k / 2,
                                                       1 + k % 2, w ? "second" : "first", both[w]->re[k][i], both[w]->im[k][i],
                                                       both[w]->axis->hz[i]);
        return CODE_OK;
}

static void put(struct rf_difference_band *band, double hz, const double d[4])
{
        bool first = band->points++ == 0;
        if (first)
                band->from_hz = hz;
        band->to_hz = hz;
        for (int k = 0; k < 4; k++) {
                struct rf_difference_entry *e = &band->entry[k];
                e->rms += d[k] * d[k]; /* the sum, until close_band() */
                if (first || !(d[k] <= e->worst)) {
                        e->worst = d[k];
                        e->worst_hz = hz;
                }
                if ((first && k == 0) || !(d[k] <= band->worst)) {
                        band->worst = d[k];
                        band->worst_hz = hz;
                        band->worst_entry = k;
                }
        }
}

static void close_band(struct rf_difference_band *band)
{
        for (int k = 0; k < 4 && band->points; k++)
                band->entry[k].rms = sqrt(band->entry[k].rms / (double)band->points);
}

/* Sums for a line through (w, phase). */
struct slope {
        size_t n;
        double last, w, p, ww, wp, db;
};

static void slope_put(struct slope *s, double hz, double complex ratio)
{
        double w = RF_TWO_PI * hz, phase = carg(ratio);
        if (s->n > 0)
                phase += RF_TWO_PI * round((s->last - phase) / RF_TWO_PI);
        s->last = phase;
        s->n++;
        s->w += w;
        s->p += phase;
        s->ww += w * w;
        s->wp += w * phase;
        s->db += 20 * log10(cabs(ratio));
}

enum code rf_difference_of(const struct net2 *a, const struct net2 *b, const double *edges, size_t edge_n, struct rf_difference *ret,
                           struct tp_error *err)
{
        enum code code = check(a, b, edges, edge_n, err);
        struct rf_difference d = {.a_n = a->axis->n, .b_n = b->axis->n, .delay_s = NAN, .loss_db = NAN};
        struct rf_difference_band bands[RF_DIFFERENCE_BANDS_MAX] = {{.points = 0}};
        struct slope slope = {0};
        if (code)
                return code;
        for (size_t i = 0, j = 0; i < d.a_n && j < d.b_n;) {
                double hz = a->axis->hz[i], other = b->axis->hz[j], apart[4];
                if (fabs(hz - other) > 1e-9 * hz) { /* a frequency printed with ten digits is the same one */
                        i += hz < other;
                        j += hz > other;
                        continue;
                }
                struct m2 x = net2_get(a, i++), y = net2_get(b, j++);
                size_t band = 0;
                for (int k = 0; k < 4; k++)
                        apart[k] = cabs(x.e[k] - y.e[k]);
                while (band < edge_n && hz >= edges[band])
                        band++;
                put(&bands[band], hz, apart);
                put(&d.all, hz, apart);
                if (cabs(x.e[2]) > 0.1 && cabs(y.e[2]) > 0.1)
                        slope_put(&slope, hz, y.e[2] / x.e[2]);
        }
        d.common_n = d.all.points;
        if (d.common_n == 0)
                return tp_fail(err, CODE_BAD_INPUT,
                               "no frequency is in both: the first has %zu from %.9g to %.9g Hz, the second %zu from %.9g to %.9g Hz",
                               d.a_n, a->axis->hz[0], a->axis->hz[d.a_n - 1], d.b_n, b->axis->hz[0], b->axis->hz[d.b_n - 1]);
        close_band(&d.all);
        for (size_t k = 0; k <= edge_n; k++)
                if (bands[k].points) {
                        close_band(&bands[k]);
                        d.band[d.band_n++] = bands[k];
                }
        d.transmit_n = slope.n;
        if (slope.n >= 3) {
                double n = (double)slope.n;
                d.delay_s = -(slope.wp - slope.w * slope.p / n) / (slope.ww - slope.w * slope.w / n);
                d.loss_db = slope.db / n;
        }
        *ret = d;
        return CODE_OK;
}
