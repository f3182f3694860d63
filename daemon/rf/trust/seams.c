/* seams.c: steps at band edges (plausible.h).
 * Problem     a step of 0.02 dB or 0.2 degree is smaller than what most devices do from point to point.  A second difference against its
 *             median calls every resonance a step, and finds small steps in noise only where averaging would.
 * Idea        fit 2 K points around a place with a cubic and a step, by least squares: the step's coefficient is a fixed linear combination
 *             of the points.  Its scatter is taken from the same combination at places without an edge nearby, where a resonance or a slope
 *             gives just what it would give here, and from the fit's own residuals, which see a resonance that sits on the edge itself.
 * Delay       S turns fast on long lines: the mean phase advance per Hz within the window is taken out first; a step remains one.
 * Rejected    magnitude and phase apart: both lose meaning in a notch, where the complex step does not.
 */
#include "rf/trust/plausible.h"
#include "rf/numbers/robust.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { SIDE = 12, SIDE_LEAST = 6, TERMS_N = 5, AROUND = 24 };
#define STEP_DB 0.02
#define STEP_DEG 0.2
#define TIMES 6.0
#define WEAK 0.03 /* |S| below which dB and degrees mean little: there 0.02 dB and 0.2 degree of 1 count */

const double rf_band_edges_hz[] = {30e9, 54e9, 80e9, 110e9, 145e9};
const size_t rf_band_edge_n = sizeof rf_band_edges_hz / sizeof rf_band_edges_hz[0];

struct estimate {
        double complex step; /* turned back: as it stands in S */
        double own;          /* its scatter by the residuals of the fit, per component */
};

/* The step between points at - 1 and at; points from `lo` to `hi` (excluded).  Householder would do, but five columns of order one on at
   most 24 points are harmless: modified Gram-Schmidt, the step last, so that its coefficient is the last projection. */
static bool step_at(const struct net2 *net, int e, size_t lo, size_t at, size_t hi, struct estimate *ret)
{
        size_t n = hi - lo;
        double q[TERMS_N][2 * SIDE], norm = 0;
        double complex y[2 * SIDE], advance = 0;
        const double *hz = net->axis->hz;
        if (n > 2 * SIDE || n < TERMS_N + 2 || at <= lo + 2 || at + 2 >= hi)
                return false;
        double middle = (hz[lo] + hz[hi - 1]) / 2, half = (hz[hi - 1] - hz[lo]) / 2, slope = 0, weight = 0;
        for (size_t j = lo; j < hi; j++)
                y[j - lo] = CMPLX(net->re[e][j], net->im[e][j]);
        for (size_t j = 1; j < n; j++) { /* mean delay: by the phase of neighbours, weighted by what is there; the step is one of many */
                advance = y[j] * conj(y[j - 1]);
                double w = cabs(advance);
                slope += w * carg(advance) / (hz[lo + j] - hz[lo + j - 1]);
                weight += w;
        }
        slope = weight > 0 ? slope / weight : 0;
        double complex back = cexp(CMPLX(0, slope * (hz[at] - middle)));
        for (size_t j = 0; j < n; j++) {
                double x = (hz[lo + j] - middle) / half;
                y[j] *= cexp(CMPLX(0, -slope * (hz[lo + j] - middle)));
                q[0][j] = 1;
                q[1][j] = x;
                q[2][j] = x * x;
                q[3][j] = x * x * x;
                q[4][j] = lo + j >= at ? 1 : 0;
        }
        double complex c = 0;
        for (int k = 0; k < TERMS_N; k++) {
                for (int twice = 0; twice < 2; twice++)
                        for (int m = 0; m < k; m++) {
                                double dot = 0;
                                for (size_t j = 0; j < n; j++)
                                        dot += q[m][j] * q[k][j];
                                for (size_t j = 0; j < n; j++)
                                        q[k][j] -= dot * q[m][j];
                        }
                norm = 0;
                for (size_t j = 0; j < n; j++)
                        norm += q[k][j] * q[k][j];
                norm = sqrt(norm);
                c = 0;
                for (size_t j = 0; j < n; j++) {
                        q[k][j] /= norm;
                        c += q[k][j] * y[j];
                }
                for (size_t j = 0; j < n; j++)
                        y[j] -= c * q[k][j];
        }
        double left = 0;
        for (size_t j = 0; j < n; j++)
                left += creal(y[j] * conj(y[j]));
        ret->step = c / norm * back;
        ret->own = sqrt(left / (2 * (double)(n - TERMS_N))) / norm;
        return true;
}

/* The window around `at`: up to SIDE points each way, not over another edge. */
static void window(const struct axis *a, size_t at, const size_t *edge_at, size_t edge_n, size_t reach, size_t *lo, size_t *hi)
{
        *lo = at > SIDE ? at - SIDE : 0;
        *hi = at + SIDE < a->n ? at + SIDE : a->n;
        for (size_t k = 0; k < edge_n; k++) {
                if (edge_at[k] + reach < at && *lo < edge_at[k] + reach)
                        *lo = edge_at[k] + reach;
                if (edge_at[k] > at + reach && *hi > edge_at[k] - reach)
                        *hi = edge_at[k] - reach;
        }
}

/* Robust scatter per component of the estimate at places around `at` whose windows hold no edge; NaN: too few.  Steps away from no step:
   the median of |component| is that of the deviations from 0. */
static double scatter_around(const struct net2 *net, int e, size_t at, const size_t *edge_at, size_t edge_n, size_t reach, double *room)
{
        size_t n = net->axis->n, found = 0;
        for (int side = -1; side <= 1; side += 2)
                for (size_t k = 0; k < AROUND; k++) {
                        size_t away = SIDE + reach + k;
                        if (side < 0 ? at < away + SIDE : at + away + SIDE > n)
                                break;
                        size_t place = side < 0 ? at - away : at + away, lo = place - SIDE, hi = place + SIDE;
                        bool clean = true;
                        for (size_t m = 0; m < edge_n; m++)
                                clean = clean && !(edge_at[m] + reach > lo && edge_at[m] < hi + reach);
                        struct estimate one;
                        if (!clean || !step_at(net, e, lo, place, hi, &one))
                                continue;
                        room[found++] = fabs(creal(one.step));
                        room[found++] = fabs(cimag(one.step));
                }
        if (found < 16)
                return NAN;
        return RF_OF_MEDIAN_DEVIATION * rf_quantile(rf_sort(found, room), room, 0.5);
}

size_t rf_seams_workspace(size_t n)
{
        (void)n;
        return 4 * AROUND * sizeof(double);
}

static void edge_judge(const struct net2 *net, size_t at, const size_t *edge_at, size_t edge_n, size_t reach, double *room,
                       struct rf_seam *seam, bool *ret_judged)
{
        double best = 0;
        for (int e = 0; e < 4; e++)
                for (size_t place = at > reach ? at - reach : 0; place <= at + reach && place < net->axis->n; place++) {
                        size_t lo, hi;
                        struct estimate one;
                        window(net->axis, place, edge_at, edge_n, reach, &lo, &hi);
                        if (place < lo + SIDE_LEAST || place + SIDE_LEAST > hi || !step_at(net, e, lo, place, hi, &one))
                                continue;
                        double size = cabs(one.step), m = hypot(net->re[e][place], net->im[e][place]);
                        if (!isfinite(size))
                                continue;
                        *ret_judged = true;
                        double complex part = one.step / CMPLX(net->re[e][place], net->im[e][place]);
                        double db = RF_DB_PER_NEPER * fabs(creal(part)), deg = 180 / RF_PI * fabs(cimag(part));
                        bool large = m > WEAK ? db > STEP_DB || deg > STEP_DEG : size > STEP_DB / RF_DB_PER_NEPER;
                        double scatter = one.own;
                        if (large && size > TIMES * scatter + 1e-9) { /* only now the neighbourhood is worth asking */
                                double around = scatter_around(net, e, place, edge_at, edge_n, reach, room);
                                scatter = fmax(scatter, isnan(around) ? 2 * scatter : around);
                        }
                        bool found = large && size > TIMES * scatter + 1e-9;
                        double rank = (found ? 1e9 : 0) + size / (scatter + 1e-9);
                        if (rank <= best)
                                continue;
                        best = rank;
                        seam->hz = net->axis->hz[place];
                        seam->entry = e;
                        seam->step = size;
                        seam->step_db = m > WEAK ? db : NAN;
                        seam->step_deg = m > WEAK ? deg : NAN;
                        seam->scatter = scatter;
                        seam->found = found;
                }
}

enum code rf_seams(const struct net2 *net, const double *edges, size_t edge_n, double reach_hz, void *workspace, struct rf_seams *ret,
                   struct tp_error *err)
{
        static const char *const entry[] = {"S11", "S12", "S21", "S22"};
        const struct axis *a = net->axis;
        size_t edge_at[RF_EDGE_MAX], reach_of[RF_EDGE_MAX], n = 0, worst = 0;
        if (!edges) {
                edges = rf_band_edges_hz;
                edge_n = rf_band_edge_n;
        }
        if (edge_n > RF_EDGE_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "seams: %zu band edges, at most %d can be judged", edge_n, RF_EDGE_MAX);
        for (size_t k = 0; k < edge_n; k++)
                if (!(edges[k] > (k ? edges[k - 1] : 0)))
                        return tp_fail(err, CODE_BAD_INPUT, "seams: edge %zu lies at %.9g Hz, not above the one before; give them rising",
                                       k, edges[k]);
        if (!(reach_hz >= 0))
                return tp_fail(err, CODE_BAD_INPUT, "seams: a reach of %.6g Hz is none", reach_hz);
        *ret = (struct rf_seams){0};
        for (size_t k = 0; k < edge_n; k++) {
                if (a->n < 2 || !(edges[k] > a->hz[0] && edges[k] <= a->hz[a->n - 1]))
                        continue;
                size_t at = 1; /* the first point at or after the edge */
                while (at + 1 < a->n && a->hz[at] < edges[k])
                        at++;
                size_t reach = 1;
                while (reach < SIDE_LEAST && reach_hz > 0 && at + reach < a->n && a->hz[at + reach] - edges[k] <= reach_hz)
                        reach++;
                edge_at[n] = at;
                reach_of[n] = reach;
                ret->seam[n++] = (struct rf_seam){
                        .edge_hz = edges[k], .hz = a->hz[at], .step = NAN, .step_db = NAN, .step_deg = NAN, .scatter = NAN};
        }
        ret->n = n;
        for (size_t k = 0; k < n; k++) {
                bool judged = false;
                edge_judge(net, edge_at[k], edge_at, n, reach_of[k], workspace, &ret->seam[k], &judged);
                ret->judged_n += judged;
                ret->found_n += ret->seam[k].found;
                if (ret->seam[k].found && (!ret->seam[worst].found || ret->seam[k].step > ret->seam[worst].step))
                        worst = k;
        }
        if (ret->found_n) {
                const struct rf_seam *s = &ret->seam[worst];
                char size[60];
                if (isfinite(s->step_db))
                        snprintf(size, sizeof size, "%.2g dB, %.2g degree", s->step_db, s->step_deg);
                else
                        snprintf(size, sizeof size, "%.2g", s->step);
                snprintf(ret->sentence, sizeof ret->sentence,
                         "%s steps by %s at %.4g GHz, where bands meet (%zu of %zu edges show a step): one band has moved since the "
                         "calibration; "
                         "recalibrate, or re-seat its module",
                         entry[s->entry], size, s->hz / 1e9, ret->found_n, ret->judged_n);
        } else if (ret->judged_n) {
                snprintf(ret->sentence, sizeof ret->sentence, "no step at the %zu band edges of this sweep", ret->judged_n);
        } else {
                snprintf(ret->sentence, sizeof ret->sentence, "%s",
                         n ? "too few points around the band edges to judge a step" : "no band edge lies within this sweep");
        }
        return CODE_OK;
}
