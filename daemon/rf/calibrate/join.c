/* join.c: calibrations of neighbouring bands become one (join.h).
 * Problem     Lumped standards are known at low frequencies, lines at high ones; a device is measured over both, and a step at the seam
 *             would look like a resonance.
 * Idea        Where both solutions exist the terms are their weighted mean.  The weights are the inverse variances of what the solutions
 *             say about devices, times a taper that lets each one come in and go out smoothly at the ends of the overlap; so inside a
 *             wide overlap the surer one has its say, and at the ends nothing jumps.  To first order the mean of the terms is the mean of
 *             the corrected S.
 * Check       Two solutions of one analyzer must agree within their uncertainties.  How far they do not is the kink: no data are needed
 *             for it but those that are there.
 * Rejected    weights per term: a mean of EDF from one solution and ESF from another is a map that neither of them meant.  A hard switch
 *             at one frequency: it shows the kink instead of saying it.  Smoothing over the seam: it would hide it. */
#include "rf/calibrate/join.h"
#include "rf/correct/correct.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

const char rf_joined_word[] = "joined";

/* ---- how sure a solution is ---------------------------------------------------------------------------------------------------------- */

static double column_u(const struct problem *p, const struct column *c, size_t i, const struct terms *terms,
                       const struct input_uncertainty *u)
{
        switch (c->kind) {
        case COLUMN_RAW: {
                const struct net2 *raw = p->standards[c->standard].raw;
                double size = hypot(raw->re[c->entry][i], raw->im[c->entry][i]);
                enum term tracking = c->entry == 0 ? TERM_ERF : c->entry == 1 ? TERM_ETR : c->entry == 2 ? TERM_ETF : TERM_ERR;
                double tip = u->raw_tip * hypot(terms->re[tracking][i], terms->im[tracking][i]);
                double noise = hypot(u->noise_floor, u->noise_trace * size);
                return isfinite(tip) ? hypot(noise, tip) : noise;
        }
        case COLUMN_IDEAL:
                return u->ideal[c->standard];
        case COLUMN_LENGTH:
                return u->length_m;
        case COLUMN_UNKNOWN:
                break;
        }
        return 0;
}

#define DEVICES 8
void rf_corrected_u(const struct problem *problem, const struct covariance *cov, size_t q, const struct terms *terms,
                    const struct input_uncertainty *u, double *ret_mean, double *ret_worst)
{
        /* match, thru, a quarter wave of line; open, short, a reactance; 50 ohm in series and to ground: errors of the reference impedance
         * show at the first and the last ones only, errors of the definitions at the reflections */
        const double complex j = CMPLX(0, 1);
        const struct m2 devices[DEVICES] = {m2_of(0, 0, 0, 0),
                                            m2_of(0, 1, 1, 0),
                                            m2_of(0, -j, -j, 0),
                                            m2_diag(1, 1),
                                            m2_diag(-1, -1),
                                            m2_diag(j, j),
                                            m2_of(1 / 3.0, 2 / 3.0, 2 / 3.0, 1 / 3.0),
                                            m2_of(-1 / 3.0, 2 / 3.0, 2 / 3.0, -1 / 3.0)};
        double complex d_s[RF_COLUMN_MAX][4];
        double sum = 0, worst = 0;
        size_t i = cov->points[q];
        for (int d = 0; d < DEVICES; d++) {
                double variance[4] = {0};
                rf_sensitivity(cov, q, terms, rf_embed2_point(terms, i, devices[d]), d_s);
                for (size_t k = 0; k < cov->column_n; k++) {
                        double uk = column_u(problem, &cov->columns[k], i, terms, u);
                        for (int e = 0; e < 4; e++)
                                variance[e] += uk == 0 ? 0 : pow(cabs(d_s[k][e]) * uk, 2);
                }
                for (int e = 0; e < 4; e++) {
                        sum += variance[e];
                        if (!(variance[e] <= worst))
                                worst = variance[e];
                }
        }
        bool known = cov->column_n > 0 && isfinite(sum) && sum > 0;
        *ret_mean = known ? sqrt(sum / (4 * DEVICES)) : NAN;
        *ret_worst = known ? sqrt(worst) : NAN;
}

/* ---- how far two solutions differ ---------------------------------------------------------------------------------------------------- */

static double complex term_at(const struct terms *t, enum term k, size_t i) { return CMPLX(t->re[k][i], t->im[k][i]); }

/* One port of solution b^{-1} after a: the small map D = [[1 + al, be], [ga, 1]] of reflections, with the box as [[ER - ED ES, ED], [-ES,
 *1]]; ret_scale is D's common factor. */
static struct m2 port_map(double complex ed_a, double complex es_a, double complex er_a, double complex ed_b, double complex es_b,
                          double complex er_b, double complex *ret_scale)
{
        struct m2 a = m2_of(er_a - ed_a * es_a, ed_a, -es_a, 1), b = m2_of(er_b - ed_b * es_b, ed_b, -es_b, 1);
        struct m2 d = m2_mul(m2_inv(b), a);
        *ret_scale = d.e[3];
        return m2_scale(1 / d.e[3], d);
}

/* max over x = |S11| in 0 … 1 of constant + linear x + square x^2 + other (1 - x^2): the maximum of a parabola on an interval. */
static double most_reflection(double constant, double linear, double square, double other)
{
        double bend = square - other, best = fmax(constant + other, constant + linear + square);
        double x = bend < 0 ? -linear / (2 * bend) : 2;
        return x < 1 ? fmax(best, constant + other + linear * x + bend * x * x) : best;
}

double rf_join_bound(const struct terms *a, size_t i, const struct terms *b, size_t k)
{
        double complex s1, s2;
        struct m2 d1 = port_map(term_at(a, TERM_EDF, i), term_at(a, TERM_ESF, i), term_at(a, TERM_ERF, i), term_at(b, TERM_EDF, k),
                                term_at(b, TERM_ESF, k), term_at(b, TERM_ERF, k), &s1);
        struct m2 d2 = port_map(term_at(a, TERM_EDR, i), term_at(a, TERM_ESR, i), term_at(a, TERM_ERR, i), term_at(b, TERM_EDR, k),
                                term_at(b, TERM_ESR, k), term_at(b, TERM_ERR, k), &s2);
        double al1 = cabs(d1.e[0] - 1), be1 = cabs(d1.e[1]), ga1 = cabs(d1.e[2]), al2 = cabs(d2.e[0] - 1), be2 = cabs(d2.e[1]),
               ga2 = cabs(d2.e[2]);
        /* transmission of a matched unit thru of a, as b sees it: K ERR (1 - …) of each; directly from the readings */
        struct m2 thru = rf_correct2_point(b, k, rf_embed2_point(a, i, m2_of(0, 1, 1, 0)));
        double t21 = cabs(thru.e[2] - 1), t12 = cabs(thru.e[1] - 1);
        double bound = fmax(most_reflection(be1, al1, ga1, ga2), most_reflection(be2, al2, ga2, ga1));
        for (int n = 0; n <= 100; n++) {
                double x = n / 100.0, through = sqrt(1 - x * x) * (fmax(t21, t12) + (ga1 + ga2) * x);
                if (!(through <= bound))
                        bound = through; /* NaN wins */
        }
        return isfinite(cabs(s1 * s2)) ? bound : NAN;
}

bool rf_eight_from_twelve(const struct terms *twelve, size_t i, double complex ret[TERM_COUNT], double complex *ret_forward,
                          double complex *ret_reverse)
{
        for (int k = 0; k < TERM_COUNT; k++)
                ret[k] = term_at(twelve, (enum term)k, i);
        if (cabs(ret[TERM_EXF]) != 0 || cabs(ret[TERM_EXR]) != 0) /* NaN too */
                return false;
        double complex lf = ret[TERM_ELF] - ret[TERM_ESR], lr = ret[TERM_ELR] - ret[TERM_ESF];
        double complex nf = ret[TERM_ERR] + ret[TERM_EDR] * lf, nr = ret[TERM_ERF] + ret[TERM_EDF] * lr;
        *ret_forward = lf / nf;
        *ret_reverse = lr / nr;
        ret[TERM_K] = (ret[TERM_ETF] / nf + nr / ret[TERM_ETR]) / 2;
        return isfinite(cabs(*ret_forward)) && isfinite(cabs(*ret_reverse)) && isfinite(cabs(ret[TERM_K]));
}

bool rf_join_handover(const struct axis *axis, const double *u_low, const double *u_high, double *ret_hz)
{
        /* gain of going over at k: sum over i >= k of log(u_low/u_high); the best k has the largest */
        double sum = 0, best = 0;
        size_t at = axis->n, first = axis->n, last = 0;
        for (size_t i = axis->n; i-- > 0;) {
                if (!(u_low[i] > 0 && u_high[i] > 0))
                        continue;
                first = i;
                last = i > last ? i : last;
                sum += log(u_low[i] / u_high[i]);
                if (sum > best) {
                        best = sum;
                        at = i;
                }
        }
        if (at >= axis->n || at == first || at == last)
                return false;
        *ret_hz = axis->hz[at];
        return true;
}

/* ---- joining ------------------------------------------------------------------------------------------------------------------------- */

static const enum term seven[7] = {TERM_EDF, TERM_ESF, TERM_ERF, TERM_EDR, TERM_ESR, TERM_ERR, TERM_K};

/* One frequency of one band, as eight terms and switch terms. */
static bool eight_of(const struct rf_band *b, size_t i, double complex t[TERM_COUNT], double complex sw[2])
{
        if (b->terms->model == TERMS_TWELVE)
                return rf_eight_from_twelve(b->terms, i, t, &sw[0], &sw[1]);
        bool good = true;
        for (int k = 0; k < 7; k++) {
                t[seven[k]] = term_at(b->terms, seven[k], i);
                good = good && isfinite(cabs(t[seven[k]]));
        }
        const struct switch_terms *s = b->terms->switch_removed ? b->switch_terms : NULL;
        sw[0] = s ? CMPLX(s->f_re[i], s->f_im[i]) : 0;
        sw[1] = s ? CMPLX(s->r_re[i], s->r_im[i]) : 0;
        return good;
}

static void eight_put(struct terms *out, struct switch_terms *out_switch, size_t i, double complex t[TERM_COUNT],
                      const double complex sw[2])
{
        t[TERM_ELF] = t[TERM_ESR];
        t[TERM_ETF] = t[TERM_K] * t[TERM_ERR];
        t[TERM_ELR] = t[TERM_ESF];
        t[TERM_ETR] = t[TERM_ERF] / t[TERM_K];
        t[TERM_EXF] = t[TERM_EXR] = 0;
        for (int k = 0; k < TERM_COUNT; k++) {
                out->re[k][i] = creal(t[k]);
                out->im[k][i] = cimag(t[k]);
        }
        out_switch->f_re[i] = creal(sw[0]);
        out_switch->f_im[i] = cimag(sw[0]);
        out_switch->r_re[i] = creal(sw[1]);
        out_switch->r_im[i] = cimag(sw[1]);
}

static bool same_z(double a, double b) { return (isnan(a) && isnan(b)) || fabs(a - b) <= 1e-9 * fabs(a); }

static enum code band_check(const struct rf_band *b, const struct rf_band *first, const struct axis *whole, size_t *ret_begin,
                            struct tp_error *err)
{
        const struct terms *t = b->terms, *t0 = first->terms;
        if (t->model != TERMS_EIGHT && t->model != TERMS_TWELVE)
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: its terms can not be joined with another band's: only eight or twelve terms of two ports can", b->name);
        if (t->model == TERMS_EIGHT && t->switch_removed && !(b->switch_terms && axis_equal(b->switch_terms->axis, t->axis)))
                return tp_fail(err, CODE_BAD_INPUT, "%s: solved with switch terms removed, which are not given on its frequencies",
                               b->name);
        if (t->plane != t0->plane)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "%s has its reference plane at %s, %s at %s: one calibration has one; move the planes of a line band by half "
                        "its first line, to the tips",
                        b->name, plane_words[t->plane], first->name, plane_words[t0->plane]);
        size_t begin = axis_nearest(whole, t->axis->hz[0]);
        if (begin + t->axis->n > whole->n || memcmp(whole->hz + begin, t->axis->hz, t->axis->n * sizeof *whole->hz) != 0)
                return tp_fail(err, CODE_BAD_INPUT, "%s: its %zu frequencies from %.9g Hz are no run of the calibration's %zu from %.9g Hz",
                               b->name, t->axis->n, t->axis->hz[0], whole->n, whole->hz[0]);
        bool own = isnan(t->z_re[0]);
        if (own != isnan(t0->z_re[0]))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s gives results in the line's own impedance, %s in ohm: one calibration has one reference impedance; give "
                               "the lines' capacitance per metre, so that all results come in ohm",
                               own ? b->name : first->name, own ? first->name : b->name);
        for (size_t i = 0; i < t->axis->n; i++)
                if (!same_z(t->z_re[i], t0->z_re[0]) || !same_z(t->z_im[i], t0->z_im[0]))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "%s refers to %.6g%+.6gj ohm at %.9g Hz, %s to %.6g%+.6gj: one calibration has one reference "
                                       "impedance; give the lines' capacitance per metre, so that their results come in ohm",
                                       b->name, t->z_re[i], t->z_im[i], t->axis->hz[i], first->name, t0->z_re[0], t0->z_im[0]);
        *ret_begin = begin;
        return CODE_OK;
}

static double smooth(double x)
{
        x = fmin(1, fmax(0, x));
        return x * x * (3 - 2 * x);
}

/* Weight of the upper of two bands at hz: the taper takes a third of the overlap (in log f) at each end. */
static double upper_share(double hz, double from, double to, double u_low, double u_high)
{
        double x = to > from ? log(hz / from) / log(to / from) : 0.5;
        double comes = smooth(3 * x), goes = smooth(3 * (1 - x));
        double known = u_low > 0 && u_high > 0 ? u_low / u_high : 1;
        double up = comes * known * known;
        return up / (up + goes);
}

static double u_at(const double *u, size_t i) { return u ? u[i] : NAN; }

static void joint_say(struct joint *j, const struct rf_band *low, const struct rf_band *high, double u_low[2], double u_high[2])
{
        j->beyond = j->share > 1;
        bool up = u_high[0] * 1.5 < u_low[0] && u_high[1] * 1.5 < u_low[1], down = u_low[0] * 1.5 < u_high[0] && u_low[1] * 1.5 < u_high[1];
        j->one_sided = up || down;
        if (j->beyond)
                snprintf(j->sentence, sizeof j->sentence,
                         "%s and %s differ by up to %.2g at %.4g GHz, %.1f times what their uncertainties allow between %.4g and %.4g GHz: "
                         "a "
                         "definition, a length or a touch is wrong",
                         low->name, high->name, j->kink, j->kink_hz / 1e9, j->share, j->from_hz / 1e9, j->to_hz / 1e9);
        else if (j->one_sided)
                snprintf(j->sentence, sizeof j->sentence,
                         "from %.4g to %.4g GHz %s is the surer one at both ends (%.2g against %.2g at %.4g GHz): let it reach %s",
                         j->from_hz / 1e9, j->to_hz / 1e9, up ? high->name : low->name, up ? u_high[0] : u_low[1],
                         up ? u_low[0] : u_high[1], (up ? j->from_hz : j->to_hz) / 1e9, up ? "further down" : "further up");
}

/* Fills the common frequencies of bands low and high, and the joint. */
static enum code overlap_fill(const struct rf_band *low, size_t low_at, const struct rf_band *high, size_t high_at, struct terms *out,
                              struct switch_terms *out_switch, double *share, double base, struct joint *j, struct tp_error *err)
{
        const struct axis *whole = out->axis;
        size_t first = high_at, last = low_at + low->terms->axis->n - 1;
        double u_low[2] = {NAN, NAN}, u_high[2] = {NAN, NAN}, sum = 0, scale[2 * TERM_COUNT];
        size_t counted = 0;
        *j = (struct joint){.from_hz = whole->hz[first],
                            .to_hz = whole->hz[last],
                            .points = last - first + 1,
                            .kink = -1,
                            .kink_hz = NAN,
                            .kink_u = NAN,
                            .share = NAN,
                            .cross_hz = NAN};
        struct terms one = {.model = TERMS_EIGHT}, two = one;
        double memory[2 * TERM_COUNT];
        for (int k = 0; k < TERM_COUNT; k++) {
                one.re[k] = &memory[2 * k];
                one.im[k] = &memory[2 * k + 1];
                two.re[k] = &scale[2 * k];
                two.im[k] = &scale[2 * k + 1];
        }
        double ratio_before = NAN;
        for (size_t i = first; i <= last; i++) {
                double complex a[TERM_COUNT], b[TERM_COUNT], sw_a[2], sw_b[2], t[TERM_COUNT], sw[2];
                if (!eight_of(low, i - low_at, a, sw_a) || !eight_of(high, i - high_at, b, sw_b))
                        return tp_fail(err, CODE_BAD_INPUT, "at %.9g Hz a term of %s or %s is no number", whole->hz[i], low->name,
                                       high->name);
                if (creal(a[TERM_ERF] * conj(b[TERM_ERF])) < 0 || creal(a[TERM_ERR] * conj(b[TERM_ERR])) < 0)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "at %.6g GHz %s and %s see reflections with opposite signs: a reflect's estimate or offset, or the "
                                       "kind of a standard, is wrong in one of them",
                                       whole->hz[i] / 1e9, low->name, high->name);
                if (creal(a[TERM_K] * a[TERM_ERR] * conj(b[TERM_K] * b[TERM_ERR])) < 0)
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "at %.6g GHz %s and %s see transmission with opposite signs: a thru's delay guess is wrong in one of "
                                "them",
                                whole->hz[i] / 1e9, low->name, high->name);
                double ul = u_at(low->u, i - low_at), uh = u_at(high->u, i - high_at);
                double w = upper_share(whole->hz[i], j->from_hz, j->to_hz, ul, uh);
                for (int k = 0; k < 7; k++)
                        t[seven[k]] = (1 - w) * a[seven[k]] + w * b[seven[k]];
                for (int k = 0; k < 2; k++)
                        sw[k] = (1 - w) * sw_a[k] + w * sw_b[k];
                eight_put(out, out_switch, i, t, sw);
                if (share)
                        share[i] = base + w;
                /* the kink, between the two as eight terms on one raw reading: switch terms differ only where one set was implied */
                struct switch_terms none = {.f_re = (double[1]){0}, .f_im = (double[1]){0}, .r_re = (double[1]){0}, .r_im = (double[1]){0}};
                eight_put(&one, &none, 0, a, sw_a);
                eight_put(&two, &none, 0, b, sw_b);
                double bound = rf_join_bound(&one, 0, &two, 0), u = hypot(u_at(low->u_worst, i - low_at), u_at(high->u_worst, i - high_at));
                if (!(bound <= j->kink)) {
                        j->kink = bound;
                        j->kink_hz = whole->hz[i];
                        j->kink_u = u;
                }
                if (u > 0) {
                        sum += pow(bound / (JOIN_95 * u), 2);
                        counted++;
                }
                if (i == first) {
                        u_low[0] = ul;
                        u_high[0] = uh;
                }
                u_low[1] = ul;
                u_high[1] = uh;
                if (ul >= uh && ratio_before < 1)
                        j->cross_hz = whole->hz[i];
                ratio_before = ul / uh;
        }
        j->share = counted ? sqrt(sum / (double)counted) : NAN;
        joint_say(j, low, high, u_low, u_high);
        return CODE_OK;
}

static enum code cover_check(size_t n, const struct rf_band *bands, const size_t *begin, const struct axis *whole, struct tp_error *err)
{
        size_t top = whole->n - 1;
        for (size_t b = 0; b < n; b++) {
                size_t end = begin[b] + bands[b].terms->axis->n;
                if (b == 0 && begin[0] != 0)
                        return tp_fail(err, CODE_BAD_INPUT, "no band covers %.9g Hz, the lowest frequency; %s begins at %.9g Hz",
                                       whole->hz[0], bands[0].name, whole->hz[begin[0]]);
                if (b + 1 == n && end != whole->n)
                        return tp_fail(err, CODE_BAD_INPUT, "no band covers %.9g Hz, the highest frequency; %s ends at %.9g Hz",
                                       whole->hz[top], bands[b].name, whole->hz[end - 1]);
                if (b + 1 < n && begin[b + 1] >= end)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "%s ends at %.9g Hz and %s begins at %.9g Hz: they share no frequency; let them overlap, by some "
                                       "points at least",
                                       bands[b].name, whole->hz[end - 1], bands[b + 1].name, whole->hz[begin[b + 1]]);
                if (b + 1 < n && (begin[b + 1] <= begin[b] || begin[b + 1] + bands[b + 1].terms->axis->n <= end))
                        return tp_fail(err, CODE_BAD_INPUT, "%s lies within %s or below it; bands rise", bands[b + 1].name, bands[b].name);
                if (b + 2 < n && begin[b + 2] < end)
                        return tp_fail(err, CODE_BAD_INPUT, "three bands meet at %.9g Hz; two at most share a frequency",
                                       whole->hz[begin[b + 2]]);
        }
        return CODE_OK;
}

static void copy_one(const struct rf_band *b, struct terms *out, struct switch_terms *out_switch)
{
        size_t bytes = out->axis->n * sizeof(double);
        for (int k = 0; k < TERM_COUNT; k++) {
                memcpy(out->re[k], b->terms->re[k], bytes);
                memcpy(out->im[k], b->terms->im[k], bytes);
        }
        for (int k = 0; k < FULL_COUNT; k++) {
                memcpy(out->full_re[k], b->terms->full_re[k], bytes);
                memcpy(out->full_im[k], b->terms->full_im[k], bytes);
        }
        memcpy(out->z_re, b->terms->z_re, bytes);
        memcpy(out->z_im, b->terms->z_im, bytes);
        out->method = b->terms->method;
        out->model = b->terms->model;
        out->plane = b->terms->plane;
        out->switch_removed = b->terms->switch_removed;
        if (!b->switch_terms)
                return;
        memcpy(out_switch->f_re, b->switch_terms->f_re, bytes);
        memcpy(out_switch->f_im, b->switch_terms->f_im, bytes);
        memcpy(out_switch->r_re, b->switch_terms->r_re, bytes);
        memcpy(out_switch->r_im, b->switch_terms->r_im, bytes);
}

enum code rf_join(size_t band_n, const struct rf_band *bands, const struct axis *whole, struct terms *out, struct switch_terms *out_switch,
                  bool *ret_has_switch, double *ret_share, struct joint *joints, struct tp_error *err)
{
        size_t begin[RF_BANDS_MAX];
        if (band_n == 0 || band_n > RF_BANDS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "%zu bands; a calibration has 1 to %d", band_n, RF_BANDS_MAX);
        if (!axis_equal(out->axis, whole) || !axis_equal(out_switch->axis, whole))
                return tp_fail(err, CODE_BUG, "joining: the result's frequencies are not the calibration's");
        for (size_t b = 0; b < band_n && band_n > 1; b++) {
                enum code code = band_check(&bands[b], &bands[0], whole, &begin[b], err);
                if (code)
                        return code;
        }
        if (band_n == 1) {
                if (!axis_equal(bands[0].terms->axis, whole))
                        return tp_fail(err, CODE_BAD_INPUT, "%s has other frequencies than the calibration", bands[0].name);
                copy_one(&bands[0], out, out_switch);
                *ret_has_switch = bands[0].switch_terms != NULL;
                for (size_t i = 0; ret_share && i < whole->n; i++)
                        ret_share[i] = 0;
                return CODE_OK;
        }
        enum code code = cover_check(band_n, bands, begin, whole, err);
        *ret_has_switch = false;
        for (size_t b = 0; b < band_n && !code; b++) {
                const struct rf_band *band = &bands[b];
                size_t from = b == 0 ? 0 : begin[b - 1] + bands[b - 1].terms->axis->n,
                       to = b + 1 < band_n ? begin[b + 1] : whole->n; /* alone: from … to - 1 */
                *ret_has_switch = *ret_has_switch || band->terms->model == TERMS_TWELVE || band->terms->switch_removed;
                for (size_t i = from; i < to; i++) {
                        double complex t[TERM_COUNT], sw[2];
                        if (!eight_of(band, i - begin[b], t, sw))
                                return tp_fail(err, CODE_BAD_INPUT, "at %.9g Hz a term of %s is no number", whole->hz[i], band->name);
                        eight_put(out, out_switch, i, t, sw);
                        if (ret_share)
                                ret_share[i] = (double)b;
                }
                if (b + 1 < band_n)
                        code = overlap_fill(band, begin[b], &bands[b + 1], begin[b + 1], out, out_switch, ret_share, (double)b, &joints[b],
                                            err);
        }
        for (size_t i = 0; i < whole->n && !code; i++) {
                out->z_re[i] = bands[0].terms->z_re[0];
                out->z_im[i] = bands[0].terms->z_im[0];
        }
        out->method = rf_joined_word;
        out->model = TERMS_EIGHT;
        out->plane = bands[0].terms->plane;
        out->switch_removed = *ret_has_switch;
        return code;
}
