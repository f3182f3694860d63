/* outliers.c: points out of line (outliers.h).
 * Problem     second differences see an outlier only where the curve is flat; raw readings turn by half a turn a point behind metres of cable,
 *             as a sum of several tones (directivity stands still, what is reflected behind the cable turns).
 * Idea        each point is a linear combination of its two neighbours on each side, whose four coefficients are the same along a window: so
 *             is any sum of four tones, and white noise comes out with little coefficients.  They are fitted by least squares to the points
 *             around, without the equations that hold the point in question, a second time without those that fitted badly; the misfit is
 *             judged against the median misfit of the window.
 * Not a resonance  put right, an outlier leaves its neighbours in line; a resonance of a point's width and more has its own neighbours.
 * Rejected    a smoothing spline: needs the tones gone first.  The phase taken out by its mean advance: leaves the other tones. */
#include "rf/trust/outliers.h"
#include "rf/numbers/robust.h"
#include "rf/numbers/small.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { SIDE = 2, TAPS = 2 * SIDE, AROUND = 20, ROWS_MAX = 2 * AROUND + 1, ROWS_LEAST = 12, SIDE_LEAST = 6, POINTS_LEAST = 21 };
#define TIMES 8.0    /* and more where few equations are left */
#define SHARE 0.01   /* of the median of |S| around: what is less is not worth a sentence */
#define OF_ALL 1e-3  /* of the largest entry's median likewise */
#define LEFT 0.2     /* of an outlier's size: how far its neighbours may lie once it is put right */
#define SPACING 1.15 /* from step to step: a list whose steps change faster is not judged there */
#define RIDGE 1e-13

static const char *const entries[4] = {"S11", "S12", "S21", "S22"};

struct window {
        const struct net2 *net;
        int e;
        double scale; /* of |S| around: the fit is of numbers near 1 */
};

static double complex at(const struct window *w, size_t i) { return CMPLX(w->net->re[w->e][i], w->net->im[w->e][i]) / w->scale; }

static void taps(const struct window *w, size_t i, double complex ret[TAPS])
{
        for (size_t k = 0; k < SIDE; k++) {
                ret[k] = at(w, i - 1 - k);
                ret[SIDE + k] = at(w, i + 1 + k);
        }
}

static double complex said(const struct window *w, size_t i, const double complex coefficient[TAPS])
{
        double complex t[TAPS], sum = 0;
        taps(w, i, t);
        for (int k = 0; k < TAPS; k++)
                sum += coefficient[k] * t[k];
        return sum;
}

/* Are the steps around point i alike? */
static bool is_even(const struct axis *a, size_t i)
{
        for (size_t k = i - SIDE; k + 1 < i + SIDE; k++) {
                double ratio = (a->hz[k + 2] - a->hz[k + 1]) / (a->hz[k + 1] - a->hz[k]);
                if (!(ratio < SPACING && ratio > 1 / SPACING))
                        return false;
        }
        return true;
}

/* Least squares over the rows: normal equations of four, of numbers near 1. */
static bool fit(const struct window *w, const size_t *row, size_t n, double complex ret[TAPS])
{
        double complex a[TAPS * TAPS] = {0}, b[TAPS] = {0}, t[TAPS];
        double trace = 0;
        for (size_t r = 0; r < n; r++) {
                taps(w, row[r], t);
                double complex y = at(w, row[r]);
                for (int j = 0; j < TAPS; j++) {
                        for (int k = 0; k < TAPS; k++)
                                a[j * TAPS + k] += conj(t[j]) * t[k];
                        b[j] += conj(t[j]) * y;
                }
        }
        for (int j = 0; j < TAPS; j++)
                trace += creal(a[j * TAPS + j]);
        for (int j = 0; j < TAPS; j++)
                a[j * TAPS + j] += RIDGE * trace;
        return trace > 0 && small_solve(TAPS, a, b, ret);
}

static double median_misfit(const struct window *w, const size_t *row, size_t n, const double complex c[TAPS], double *ret_each)
{
        double sorted[ROWS_MAX];
        for (size_t r = 0; r < n; r++)
                sorted[r] = ret_each[r] = cabs(at(w, row[r]) - said(w, row[r], c));
        return rf_quantile(rf_sort(n, sorted), sorted, 0.5);
}

/* Do the neighbours fit with `right` in the place of point i? */
static bool neighbours_fit(const struct window *w, size_t i, double complex right, const double complex c[TAPS], double limit)
{
        double complex wrong = at(w, i);
        for (size_t k = i - SIDE; k <= i + SIDE; k++) {
                if (k == i || k < SIDE || k + SIDE >= w->net->axis->n)
                        continue;
                int tap = k < i ? (int)(SIDE + (i - k) - 1) : (int)(k - i - 1);
                if (cabs(at(w, k) - said(w, k, c) - c[tap] * (right - wrong)) > limit)
                        return false;
        }
        return true;
}

/* |S - what the neighbours say| of point i, as it stands in S; 0: in line, or not to be judged.  least: what is worth saying. */
static double out_of_line(const struct window *w, size_t i, double least)
{
        size_t n = w->net->axis->n, row[ROWS_MAX], rows = 0, below = 0, kept = 0;
        size_t lo = i > AROUND + SIDE ? i - AROUND : SIDE, hi = i + AROUND + SIDE < n ? i + AROUND : n - 1 - SIDE;
        double complex c[TAPS];
        double each[ROWS_MAX];
        for (size_t k = lo; k <= hi; k++)
                if ((k + SIDE < i || k > i + SIDE) && is_even(w->net->axis, k)) {
                        row[rows++] = k;
                        below += k < i;
                }
        if (below < SIDE_LEAST || rows - below < SIDE_LEAST || !is_even(w->net->axis, i) || !fit(w, row, rows, c))
                return 0;
        double median = median_misfit(w, row, rows, c, each);
        for (size_t r = 0; r < rows; r++)
                if (each[r] <= 4 * median)
                        row[kept++] = row[r];
        if (kept < ROWS_LEAST || !fit(w, row, kept, c))
                return 0;
        median = median_misfit(w, row, kept, c, each);
        double complex right = said(w, i, c);
        double size = cabs(at(w, i) - right),
               noise = TIMES * (1 + 8.0 / (double)(kept - TAPS)) * median; /* few equations fit well by chance */
        if (!(size > noise && size * w->scale > least) || !neighbours_fit(w, i, right, c, fmax(noise, LEFT * size)))
                return 0;
        return size * w->scale;
}

/* The median of |S| of an entry around point i. */
static double median_size(const struct net2 *net, int e, size_t i)
{
        double size[ROWS_MAX];
        size_t n = 0;
        for (size_t k = i > AROUND ? i - AROUND : 0; k < net->axis->n && k <= i + AROUND; k++)
                size[n++] = hypot(net->re[e][k], net->im[e][k]);
        return rf_quantile(rf_sort(n, size), size, 0.5);
}

static void keep(struct rf_outliers *o, struct rf_outlier one)
{
        if (o->n < RF_OUTLIERS_MAX)
                o->of[o->n] = one;
        if (o->n++ == 0 || one.size > o->worst.size)
                o->worst = one;
}

static void say(const struct net2 *net, const bool in[4], struct rf_outliers *o)
{
        char which[40] = "", where[120] = "";
        size_t used = 0, named = 0, before = SIZE_MAX;
        for (int e = 0; e < 4; e++)
                if (in[e])
                        snprintf(which + strlen(which), sizeof which - strlen(which), "%s%s", which[0] ? ", " : "", entries[e]);
        for (size_t k = 0; k < o->n && k < RF_OUTLIERS_MAX && named < 6; k++) {
                if (o->of[k].point == before)
                        continue;
                before = o->of[k].point;
                used += (size_t)snprintf(where + used, sizeof where - used, "%s%.6g", named ? ", " : "", net->axis->hz[before] / 1e9);
                named++;
        }
        snprintf(o->sentence, sizeof o->sentence,
                 "out of line with %s neighbours at %zu %s: %s at %s%s GHz, the most by %.2g in %s at %.6g GHz: spurs, a lost lock or a "
                 "slip of the link; sweep again (or a resonance narrower than the points)",
                 o->frequency_n > 1 ? "their" : "its", o->frequency_n, o->frequency_n > 1 ? "points" : "point", which, where,
                 o->frequency_n > named ? ", …" : "", o->worst.size, entries[o->worst.entry], net->axis->hz[o->worst.point] / 1e9);
}

void rf_outliers_of(const struct net2 *net, struct rf_outliers *ret)
{
        size_t n = net->axis->n;
        bool in[4] = {false};
        *ret = (struct rf_outliers){0};
        for (size_t i = SIDE; n >= POINTS_LEAST && i + SIDE < n; i++) {
                double size[4], largest = 0;
                bool here = false;
                for (int e = 0; e < 4; e++)
                        largest = fmax(largest, size[e] = median_size(net, e, i));
                for (int e = 0; e < 4; e++) {
                        struct window w = {net, e, size[e]};
                        double found = size[e] > 0 ? out_of_line(&w, i, fmax(SHARE * size[e], OF_ALL * largest)) : 0;
                        if (!(found > 0))
                                continue;
                        keep(ret, (struct rf_outlier){e, i, found});
                        here = in[e] = true;
                }
                ret->frequency_n += here;
        }
        if (ret->n)
                say(net, in, ret);
}

bool rf_is_a_sweep(const struct net2 *net, char *why, size_t bytes)
{
        size_t n = net->axis->n;
        bool zero = n > 0, same = n >= 8;
        for (int e = 0; e < 4; e++)
                for (size_t i = 0; i < n; i++) {
                        zero = zero && !(fabs(net->re[e][i]) > 0) && !(fabs(net->im[e][i]) > 0);
                        same = same && !memcmp(&net->re[e][i], &net->re[e][0], sizeof(double)) &&
                               !memcmp(&net->im[e][i], &net->im[e][0], sizeof(double));
                }
        if (zero)
                snprintf(why, bytes, "all S are 0 at all %zu frequencies: nothing was read", n);
        else if (same)
                snprintf(why, bytes,
                         "all S are the same at all %zu frequencies, to the last digit: one reading that was copied, or a receiver "
                         "that stands still",
                         n);
        return !zero && !same;
}

enum code rf_values_check(const struct axis *axis, unsigned ports, double *const *re, double *const *im, bool raw, struct tp_error *err)
{
        for (unsigned e = 0; e < ports * ports; e++)
                for (size_t i = 0; i < axis->n; i++) {
                        double larger = fmax(fabs(re[e][i]), fabs(im[e][i])), size = hypot(re[e][i], im[e][i]);
                        if (larger > 9.89e37 && larger < 9.92e37)
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "S%u%u at %.9g Hz is %.4g, which instruments write where they have no number (SCPI-1999, "
                                               "7.2.1.5); sweep again",
                                               e / ports + 1, e % ports + 1, axis->hz[i], larger);
                        if (raw && !(size <= RF_RAW_MAX))
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "S%u%u at %.9g Hz is %.4g in size; no analyzer reads a ratio above %g: sweep again, or look "
                                               "at the file's units",
                                               e / ports + 1, e % ports + 1, axis->hz[i], size, RF_RAW_MAX);
                }
        return CODE_OK;
}
