/* deembed_gate.c: the first half of a 2x-thru, in time (deembed.h).
 * Idea        What comes back from the first half arrives before the echo of the middle, one whole delay of S21 after the start.  Cutting
 *             the response there and going back to frequency gives S11 of the half as if it went on for ever.  "For ever" has the
 *             impedance that the step response shows at the cut, so the 2x-thru is first brought to that impedance: then nothing is cut
 *             through.
 * Source      the idea of IEEE 370-2020, 2x-thru without impedance correction; formulation our own, checked by tests/unit/rf_deembed.c
 *             against halves that are known.
 * Limits      the cut is as sharp as 1/(2 f_max); above about 0.9 f_max the missing frequencies show. */
#include "rf/network/convert.h"
#include "rf/deembed/deembed.h"
#include "rf/numbers/dft.h"
#include <math.h>

enum { CELLS_LEAST = 4 };
#define LOSS_MOST 0.17782794100389228 /* -15 dB */

static enum code grid_check(const struct net2 *t, size_t *ret_first, struct tp_error *err)
{
        const struct axis *a = t->axis;
        if (!(net2_z_real(t) > 0))
                return tp_fail(err, CODE_BAD_INPUT, "gating a 2x-thru needs one real reference impedance; renormalise it first");
        if (a->n < RF_GATE_POINTS)
                return tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "gating a 2x-thru needs %d points or more on a uniform grid, there are %zu; sweep more densely or give the half",
                        RF_GATE_POINTS, a->n);
        *ret_first = a->hz[0] == 0 ? 1 : 0;
        double df = (a->hz[a->n - 1] - a->hz[0]) / (double)(a->n - 1);
        for (size_t i = 0; i < a->n; i++)
                if (fabs(a->hz[i] - a->hz[0] - df * (double)i) > 1e-3 * df)
                        return tp_fail(
                                err, CODE_UNRESOLVABLE,
                                "gating a 2x-thru needs a uniform grid; the step at %.9g Hz is %.6g Hz, the mean %.6g Hz; sweep linearly "
                                "or give the half",
                                a->hz[i > 0 ? i - 1 : 0], a->hz[i] - a->hz[i > 0 ? i - 1 : 0], df);
        if (a->hz[0] != 0 && fabs(a->hz[0] - df) > 1e-3 * df)
                return tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "gating a 2x-thru needs the response down to dc: the grid starts at %.6g Hz and steps by %.6g Hz; start it at one "
                        "step",
                        a->hz[0], df);
        for (size_t i = 0; i < a->n; i++) {
                struct m2 s = net2_get(t, i);
                double through = cabs(s.e[2]), back = fmax(cabs(s.e[0]), cabs(s.e[3]));
                if (!(through > LOSS_MOST) || !(back < through))
                        return tp_fail(
                                err, CODE_UNRESOLVABLE,
                                "gating a 2x-thru needs |S21| above -15 dB and above |S11|; at %.6g GHz they are %.1f and %.1f dB; end "
                                "the sweep lower or give the half",
                                a->hz[i] / 1e9, 20 * log10(through), 20 * log10(back));
        }
        return CODE_OK;
}

/* Response in time of a column that is even in its real part: count n of frequencies df … n df, dc by a parabola in f^2. */
static void to_time(size_t n, const double complex *column, double complex *x, void *workspace)
{
        size_t total = 2 * n + 1;
        x[0] = (4 * creal(column[0]) - creal(column[1])) / 3;
        for (size_t k = 1; k <= n; k++) {
                x[k] = column[k - 1];
                x[total - k] = conj(column[k - 1]);
        }
        dft(total, x, true, workspace);
        for (size_t m = 0; m < total; m++)
                x[m] = creal(x[m]) / (double)total;
}

enum code rf_gate_half(const struct net2 *t, int later, struct arena *scratch, double *ret_re, double *ret_im, struct tp_error *err)
{
        size_t first = 0;
        enum code code = grid_check(t, &first, err);
        if (code)
                return code;
        size_t n = t->axis->n - first, total = 2 * n + 1;
        double complex *x = arena_take(scratch, total * sizeof *x), *s11 = arena_take(scratch, n * sizeof *s11),
                       *s21 = arena_take(scratch, n * sizeof *s21);
        void *workspace = arena_take(scratch, dft_workspace(total));
        if (!x || !s11 || !s21 || !workspace)
                return tp_fail_memory(err);
        double z = net2_z_real(t), middle = z, df = t->axis->hz[t->axis->n - 1] / (double)n;
        size_t cut = 0;
        for (int round = 0; round < 3; round++) { /* the middle's impedance, found by itself in two rounds, then the cut */
                for (size_t k = 0; k < n; k++) {
                        struct m2 s = rf_renormalise_equal(net2_get(t, k + first), z, middle);
                        s11[k] = (s.e[0] + s.e[3]) / 2;
                        s21[k] = (s.e[1] + s.e[2]) / 2;
                }
                to_time(n, s21, x, workspace);
                cut = 0;
                for (size_t m = 1; m <= n; m++)
                        if (creal(x[m]) > creal(x[cut]))
                                cut = m;
                if (cut < CELLS_LEAST || cut > n / 2)
                        return tp_fail(err, CODE_UNRESOLVABLE,
                                       "the 2x-thru's delay is %.4g ps, the grid resolves %.4g to %.4g ps; sweep %s or give the half",
                                       1e12 * (double)cut / ((double)total * df), 1e12 * CELLS_LEAST / ((double)total * df),
                                       1e12 * (double)(n / 2) / ((double)total * df), cut < CELLS_LEAST ? "higher" : "more densely");
                to_time(n, s11, x, workspace);
                if (round == 2)
                        break;
                double step = 0; /* the step response just before the echo of the middle; times before 0 stand at the end */
                for (size_t m = n + 1; m < total; m++)
                        step += creal(x[m]);
                for (size_t m = 0; m <= cut; m++)
                        step += creal(x[m]) * (m == cut ? 0.5 : 1);
                middle *= (1 + step) / (1 - step);
                if (!(middle > z / 10 && middle < 10 * z))
                        return tp_fail(err, CODE_UNRESOLVABLE,
                                       "the step response of the 2x-thru shows %.4g ohm in its middle, which is no line; look at it",
                                       middle);
        }
        cut = (size_t)((int)cut + later);
        x[cut] *= 0.5;
        for (size_t m = cut + 1; m <= n; m++)
                x[m] = 0;
        dft(total, x, false, workspace);
        for (size_t k = 0; k < n; k++) {
                double complex e22 = (s11[k] - x[k + 1]) / s21[k],
                               e12 = csqrt(s21[k] * (1 - e22 * e22)); /* its sign does not matter here */
                double complex back = rf_renormalise_equal(m2_of(x[k + 1], e12, e12, e22), middle, z).e[0];
                ret_re[k + first] = creal(back);
                ret_im[k + first] = cimag(back);
        }
        if (first) { /* dc itself: even in f */
                ret_re[0] = (4 * ret_re[1] - ret_re[2]) / 3;
                ret_im[0] = 0;
        }
        return CODE_OK;
}
