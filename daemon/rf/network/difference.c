/* difference.c: two networks against each other (difference.h).
 * Delay       the phase of S21b/S21a is small where both are of one thing; it is followed from point to point, so a delay of a whole turn
 *             over the sweep is found too.  Least squares through the mean, since a constant phase is no delay. */
#include "rf/network/difference.h"
#include <math.h>

#define SAME 1e-9 /* a frequency printed with ten digits is the same one */

const double rf_difference_edges[] = {1e8, 1e9, 10e9, 54e9, 110e9, 150e9};
const size_t rf_difference_edge_n = sizeof rf_difference_edges / sizeof rf_difference_edges[0];

/* The one real reference of a port; NaN: unknown at all frequencies; -1: complex or changing. */
static double reference(const struct netn *net, unsigned port)
{
        const double *re = net->z_re[port], *im = net->z_im[port];
        for (size_t i = 1; i < net->axis->n; i++)
                if (!(re[i] == re[0]) && !(isnan(re[i]) && isnan(re[0])))
                        return -1;
        for (size_t i = 0; i < net->axis->n; i++)
                if (!isnan(re[0]) && im[i] != 0)
                        return -1;
        return re[0];
}

static enum code check(const struct netn *a, const struct netn *b, const double *edges, size_t edge_n, struct tp_error *err)
{
        if (edge_n > RF_DIFFERENCE_BANDS_MAX - 1)
                return tp_fail(err, CODE_BAD_INPUT, "%zu edges between bands; at most %d", edge_n, RF_DIFFERENCE_BANDS_MAX - 1);
        for (size_t k = 0; k < edge_n; k++)
                if (!(edges[k] > (k ? edges[k - 1] : 0) && edges[k] <= 1e15))
                        return tp_fail(err, CODE_BAD_INPUT, "edge %zu between bands is %.9g Hz; edges must rise, above 0", k + 1, edges[k]);
        if (a->ports != b->ports)
                return tp_fail(err, CODE_BAD_INPUT, "the first has %u ports, the second %u; compare networks of as many ports", a->ports,
                               b->ports);
        if (a->plane != b->plane)
                return tp_fail(err, CODE_BAD_INPUT,
                               "the first lies in plane %s, the second in plane %s; their difference would be the way between",
                               plane_words[a->plane], plane_words[b->plane]);
        for (unsigned p = 0; p < a->ports; p++) {
                double za = reference(a, p), zb = reference(b, p);
                if (za < 0 || zb < 0 || (!(za == zb) && !(isnan(za) && isnan(zb))))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "the first has reference %.9g ohm at port %u, the second %.9g ohm; renormalise one of them first",
                                       a->z_re[p][0], p + 1, b->z_re[p][0]);
        }
        const struct netn *both[] = {a, b};
        for (int w = 0; w < 2; w++)
                for (size_t i = 0; i < both[w]->axis->n; i++)
                        for (unsigned k = 0; k < a->ports * a->ports; k++)
                                if (!isfinite(both[w]->re[k][i]) || !isfinite(both[w]->im[k][i]))
                                        return tp_fail(err, CODE_BAD_INPUT, "S%u%u of the %s one is %g%+gj at %.9g Hz", 1 + k / a->ports,
                                                       1 + k % a->ports, w ? "second" : "first", both[w]->re[k][i], both[w]->im[k][i],
                                                       both[w]->axis->hz[i]);
        return CODE_OK;
}

static void put(struct rf_difference_band *band, double hz, unsigned n, const double *d)
{
        bool first = band->points++ == 0;
        if (first)
                band->from_hz = hz;
        band->to_hz = hz;
        for (unsigned k = 0; k < n; k++) {
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
        for (int k = 0; k < RF_ENTRIES_MAX && band->points; k++)
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

enum code rf_difference_of_ports(const struct netn *a, const struct netn *b, const double *edges, size_t edge_n, struct rf_difference *ret,
                                 struct tp_error *err)
{
        enum code code = check(a, b, edges, edge_n, err);
        struct rf_difference d = {.ports = a->ports, .a_n = a->axis->n, .b_n = b->axis->n, .delay_s = NAN, .loss_db = NAN};
        struct rf_difference_band bands[RF_DIFFERENCE_BANDS_MAX] = {{.points = 0}};
        struct slope slope = {0};
        unsigned n = a->ports * a->ports, s21 = a->ports; /* where S21 stands */
        if (code)
                return code;
        for (size_t i = 0, j = 0; i < d.a_n && j < d.b_n;) {
                double hz = a->axis->hz[i], other = b->axis->hz[j], apart[RF_ENTRIES_MAX];
                if (fabs(hz - other) > SAME * hz) {
                        i += hz < other;
                        j += hz > other;
                        continue;
                }
                double complex x[RF_ENTRIES_MAX], y[RF_ENTRIES_MAX];
                netn_get(a, i++, x);
                netn_get(b, j++, y);
                size_t band = 0;
                for (unsigned k = 0; k < n; k++)
                        apart[k] = cabs(x[k] - y[k]);
                while (band < edge_n && hz >= edges[band])
                        band++;
                put(&bands[band], hz, n, apart);
                put(&d.all, hz, n, apart);
                if (a->ports > 1 && cabs(x[s21]) > 0.1 && cabs(y[s21]) > 0.1)
                        slope_put(&slope, hz, y[s21] / x[s21]);
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
                double points = (double)slope.n;
                d.delay_s = -(slope.wp - slope.w * slope.p / points) / (slope.ww - slope.w * slope.w / points);
                d.loss_db = slope.db / points;
        }
        *ret = d;
        return CODE_OK;
}

enum code rf_difference_of(const struct net2 *a, const struct net2 *b, const double *edges, size_t edge_n, struct rf_difference *ret,
                           struct tp_error *err)
{
        struct netn one = netn_of_two(a), two = netn_of_two(b);
        return rf_difference_of_ports(&one, &two, edges, edge_n, ret, err);
}

static void known_put(struct complex_cov c, double size, double hz, unsigned entry, struct rf_difference_known *ret)
{
        double share = size > 0 ? size / complex_ellipse(c, 0.95).major : 0;
        ret->points++;
        ret->beyond += share > 1;
        if (share > ret->worst) {
                ret->worst = share;
                ret->worst_hz = hz;
                ret->worst_entry = entry;
        }
}

void rf_difference_known_of(const struct net2 *a, const struct net2_causes *of_a, const struct net2 *b, const struct net2_causes *of_b,
                            struct rf_difference_known *ret)
{
        *ret = (struct rf_difference_known){.worst = -1};
        for (size_t i = 0; i < a->axis->n; i++) {
                struct m2 d = m2_sub(net2_get(a, i), net2_get(b, i));
                for (unsigned e = 0; e < 4; e++)
                        known_put(net2_causes_cov_difference(of_a, i, of_b, i, (int)e), cabs(d.e[e]), a->axis->hz[i], e, ret);
        }
}

void rf_difference_known_of_ports(const struct netn *a, const struct netn_causes *of_a, const struct netn *b,
                                  const struct netn_causes *of_b, struct rf_difference_known *ret)
{
        *ret = (struct rf_difference_known){.worst = -1};
        for (size_t i = 0, j = 0; i < a->axis->n && j < b->axis->n;) {
                double hz = a->axis->hz[i], other = b->axis->hz[j];
                if (fabs(hz - other) > SAME * hz) {
                        i += hz < other;
                        j += hz > other;
                        continue;
                }
                for (unsigned e = 0; e < a->ports * a->ports; e++)
                        known_put(netn_causes_cov_difference(of_a, i, of_b, j, e),
                                  hypot(a->re[e][i] - b->re[e][j], a->im[e][i] - b->im[e][j]), hz, e, ret);
                i++;
                j++;
        }
}
