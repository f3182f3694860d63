/* outliers.c: points out of line (outliers.h).
 * Problem     second differences see an outlier only where the curve is flat; raw readings turn by half a turn a point behind metres of cable,
 *             as a sum of several tones (directivity stands still, what is reflected behind the cable turns).
 * Idea        each point is a linear combination of its two neighbours on each side, whose four coefficients are the same along a window: so
 *             is any sum of four tones, and white noise comes out with little coefficients.  They are fitted by least squares to the points
 *             around, without the equations that hold the point in question, a second time without those that fitted badly; the misfit is
 *             judged against the median misfit of the window.
 * Ends        the four neighbours lie on one side there, and the equations, too; how noise goes on beyond them is told by the points that are
 *             near.  What bends at an end bends at its neighbours as well, and accuses nobody.
 * Not a resonance  put right, an outlier leaves its neighbours in line; a resonance of a point's width and more has its own neighbours.
 * Rejected    a smoothing spline: needs the tones gone first.  The phase taken out by its mean advance: leaves the other tones. */
#include "rf/trust/outliers.h"
#include "rf/numbers/robust.h"
#include "rf/numbers/small.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { TAPS = 4, AROUND = 20, NEAR = 6, ROWS_MAX = 2 * AROUND + 1, ROWS_LEAST = 12, SIDE_LEAST = 6, POINTS_LEAST = 21 };
#define TIMES 8.0    /* and more where few equations are left */
#define SHARE 0.01   /* of the median of |S| around: what is less is not worth a sentence */
#define OF_ALL 1e-3  /* of the largest entry's median likewise */
#define LEFT 0.2     /* of an outlier's size: how far its neighbours may lie once it is put right */
#define SPACING 1.15 /* from step to step: a list whose steps change faster is not judged there */
#define COARSE 0.3   /* of |S|: what is worth saying where points lie far apart */
#define FINE 0.1     /* of the frequency: steps that are smaller */
#define RIDGE 1e-13

/* Whom a point is held against: two neighbours on each side; at an end, and where the spacing changes, four on one. */
struct stencil {
        int at[TAPS], reach;
};
enum { STENCILS = 3 };
static const struct stencil stencils[STENCILS] = {{{-1, -2, 1, 2}, 2}, {{1, 2, 3, 4}, 4}, {{-1, -2, -3, -4}, 4}};

struct window {
        const struct netn *net;
        unsigned e;
        double scale; /* of |S| around: the fit is of numbers near 1 */
        const struct stencil *stencil;
};

static double complex at(const struct window *w, size_t i) { return CMPLX(w->net->re[w->e][i], w->net->im[w->e][i]) / w->scale; }

static void taps(const struct window *w, size_t i, double complex ret[TAPS])
{
        for (int k = 0; k < TAPS; k++)
                ret[k] = at(w, (size_t)((ptrdiff_t)i + w->stencil->at[k]));
}

static double complex said(const struct window *w, size_t i, const double complex coefficient[TAPS])
{
        double complex t[TAPS], sum = 0;
        taps(w, i, t);
        for (int k = 0; k < TAPS; k++)
                sum += coefficient[k] * t[k];
        return sum;
}

/* Are all neighbours of point i there, and the steps between them alike? */
static bool is_even(const struct axis *a, const struct stencil *s, size_t i)
{
        ptrdiff_t lo = (ptrdiff_t)i, hi = lo;
        for (int k = 0; k < TAPS; k++) {
                lo = s->at[k] + (ptrdiff_t)i < lo ? s->at[k] + (ptrdiff_t)i : lo;
                hi = s->at[k] + (ptrdiff_t)i > hi ? s->at[k] + (ptrdiff_t)i : hi;
        }
        if (lo < 0 || hi >= (ptrdiff_t)a->n)
                return false;
        for (size_t k = (size_t)lo; k + 2 <= (size_t)hi; k++) {
                double ratio = (a->hz[k + 2] - a->hz[k + 1]) / (a->hz[k + 1] - a->hz[k]);
                if (!(ratio < SPACING && ratio > 1 / SPACING))
                        return false;
        }
        return true;
}

/* Which of its neighbours i is to point k; -1: none. */
static int tap_of(const struct stencil *s, size_t k, size_t i)
{
        for (int t = 0; t < TAPS; t++)
                if ((ptrdiff_t)k + s->at[t] == (ptrdiff_t)i)
                        return t;
        return -1;
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

/* What the points near i lie off when `right` stands in its place: the median, and the most. */
static void neighbours(const struct window *w, size_t i, double complex right, const double complex c[TAPS], double *ret_median,
                       double *ret_most)
{
        double off[2 * NEAR + 1];
        size_t n = 0;
        *ret_most = 0;
        for (size_t k = i > NEAR ? i - NEAR : 0; k <= i + NEAR; k++) {
                if (k == i || !is_even(w->net->axis, w->stencil, k))
                        continue;
                int tap = tap_of(w->stencil, k, i);
                off[n] = cabs(at(w, k) - said(w, k, c) - (tap < 0 ? 0 : c[tap] * (right - at(w, i))));
                if (k + (size_t)w->stencil->reach >= i && k <= i + (size_t)w->stencil->reach)
                        *ret_most = fmax(*ret_most, off[n]);
                n++;
        }
        *ret_median = n ? rf_quantile(rf_sort(n, off), off, 0.5) : INFINITY;
}

/* The coefficients around point i, from equations that do not hold it, and what these leave. */
struct fitted {
        double complex c[TAPS];
        double median, few; /* few: how many times it is an outlier; few equations fit well by chance */
        bool at_end;        /* hardly an equation on one side */
};
static bool fit_around(const struct window *w, size_t i, struct fitted *f)
{
        size_t n = w->net->axis->n, row[ROWS_MAX], rows = 0, below = 0, kept = 0;
        size_t lo = i > AROUND ? i - AROUND : 0, hi = lo + 2 * AROUND < n ? lo + 2 * AROUND : n - 1;
        double each[ROWS_MAX];
        lo = hi > 2 * AROUND ? hi - 2 * AROUND : 0;
        for (size_t k = lo; k <= hi; k++)
                if (k != i && tap_of(w->stencil, k, i) < 0 && is_even(w->net->axis, w->stencil, k)) {
                        row[rows++] = k;
                        below += k < i;
                }
        if (rows < ROWS_LEAST || !fit(w, row, rows, f->c))
                return false;
        double median = median_misfit(w, row, rows, f->c, each);
        for (size_t r = 0; r < rows; r++)
                if (each[r] <= 4 * median)
                        row[kept++] = row[r];
        if (kept < ROWS_LEAST || !fit(w, row, kept, f->c))
                return false;
        f->median = median_misfit(w, row, kept, f->c, each);
        f->few = TIMES * (1 + 8.0 / (double)(kept - TAPS)) * (w->stencil == stencils ? 1 : 2); /* a guess outwards is a worse one */
        f->at_end = below < SIDE_LEAST || rows - below < SIDE_LEAST;
        return true;
}

/* Near an end the points beyond i have no neighbours on both sides: do they fit, guessed outwards, with `right` in its place?  A resonance
   that the end cuts is as strange there. */
static bool outward_fits(const struct window *w, size_t i, double complex right, double size)
{
        size_t n = w->net->axis->n;
        bool low = i < n / 2;
        struct window out = {w->net, w->e, w->scale, &stencils[low ? 1 : 2]};
        struct fitted f;
        size_t from = low ? (i > 4 ? i - 4 : 0) : i + 1, to = low ? i : (i + 5 < n ? i + 5 : n);
        if (!fit_around(&out, i, &f))
                return false;
        for (size_t k = from; k < to; k++) {
                int tap = tap_of(out.stencil, k, i);
                if (is_even(w->net->axis, out.stencil, k) &&
                    cabs(at(w, k) - said(&out, k, f.c) - (tap < 0 ? 0 : f.c[tap] * (right - at(w, i)))) >
                            fmax(f.few * f.median, LEFT * size))
                        return false;
        }
        return true;
}

/* |S - what the neighbours say| of point i, as it stands in S; 0: in line, or not to be judged.  least: what is worth saying. */
static double out_of_line(const struct window *w, size_t i, double least)
{
        struct fitted f;
        double near, most;
        if (!fit_around(w, i, &f))
                return 0;
        double complex right = said(w, i, f.c);
        double size = cabs(at(w, i) - right), left = w->stencil == stencils ? LEFT : LEFT / 2;
        neighbours(w, i, right, f.c, &near, &most);
        double limit = f.few * (f.at_end ? fmax(f.median, near) : f.median); /* nothing beyond tells how noise goes on: what is near does */
        if (!(size > limit && size * w->scale > least && most <= fmax(limit, left * size)))
                return 0;
        return f.at_end && w->stencil == stencils && !outward_fits(w, i, right, size) ? 0 : size * w->scale;
}

/* Do the points lie closer than what a circuit makes of frequency?  A sweep that begins at one step has its sharpest bends there. */
static bool is_fine(const struct axis *a, size_t i)
{
        double step = i ? a->hz[i] - a->hz[i - 1] : a->hz[1] - a->hz[0];
        return step < FINE * a->hz[i];
}

/* By the first stencil that fits there; outwards only from points that are in line themselves. */
static double judged(const struct netn *net, unsigned e, size_t i, double scale, double least)
{
        size_t k = 0;
        while (k < STENCILS && !is_even(net->axis, &stencils[k], i))
                k++;
        if (k == STENCILS)
                return 0;
        if (!is_fine(net->axis, i) && i < AROUND / 2) {
                double inward = hypot(net->re[e][i + 1], net->im[e][i + 1]);
                least = fmax(least, (k ? COARSE : COARSE / 3) * fmax(scale, inward));
        }
        double found = out_of_line(&(struct window){net, e, scale, &stencils[k]}, i, least);
        for (int t = 0; t < TAPS && k > 0 && found > 0; t++) {
                size_t j = (size_t)((ptrdiff_t)i + stencils[k].at[t]);
                if (is_even(net->axis, stencils, j) && out_of_line(&(struct window){net, e, scale, stencils}, j, least) > 0)
                        found = 0;
        }
        return found;
}

/* The median of |S| of an entry around point i. */
static double median_size(const struct netn *net, unsigned e, size_t i)
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

static void say(const struct netn *net, const bool in[RF_ENTRIES_MAX], struct rf_outliers *o)
{
        char which[40] = "", where[120] = "";
        size_t used = 0, named = 0, before = SIZE_MAX;
        unsigned ports = net->ports, all = 0, worst = (unsigned)o->worst.entry;
        for (unsigned e = 0; e < ports * ports; e++)
                if (in[e] && all++ < 6)
                        snprintf(which + strlen(which), sizeof which - strlen(which), "%sS%u%u", which[0] ? ", " : "", e / ports + 1,
                                 e % ports + 1);
        for (size_t k = 0; k < o->n && k < RF_OUTLIERS_MAX && named < 6; k++) {
                if (o->of[k].point == before)
                        continue;
                before = o->of[k].point;
                used += (size_t)snprintf(where + used, sizeof where - used, "%s%.6g", named ? ", " : "", net->axis->hz[before] / 1e9);
                named++;
        }
        snprintf(o->sentence, sizeof o->sentence,
                 "out of line with %s neighbours at %zu %s: %s%s at %s%s GHz, the most by %.2g in S%u%u at %.6g GHz: spurs, a lost lock or "
                 "a slip of the link; sweep again (or a resonance narrower than the points)",
                 o->frequency_n > 1 ? "their" : "its", o->frequency_n, o->frequency_n > 1 ? "points" : "point", which, all > 6 ? ", …" : "",
                 where, o->frequency_n > named ? ", …" : "", o->worst.size, worst / ports + 1, worst % ports + 1,
                 net->axis->hz[o->worst.point] / 1e9);
}

void rf_outliers_of_ports(const struct netn *net, struct rf_outliers *ret)
{
        size_t n = net->axis->n;
        unsigned entries = net->ports * net->ports;
        bool in[RF_ENTRIES_MAX] = {false};
        *ret = (struct rf_outliers){0};
        for (size_t i = 0; n >= POINTS_LEAST && i < n; i++) {
                double size[RF_ENTRIES_MAX], largest = 0;
                bool here = false;
                for (unsigned e = 0; e < entries; e++)
                        largest = fmax(largest, size[e] = median_size(net, e, i));
                for (unsigned e = 0; e < entries; e++) {
                        double found = size[e] > 0 ? judged(net, e, i, size[e], fmax(SHARE * size[e], OF_ALL * largest)) : 0;
                        if (!(found > 0))
                                continue;
                        keep(ret, (struct rf_outlier){(int)e, i, found});
                        here = in[e] = true;
                }
                ret->frequency_n += here;
        }
        if (ret->n)
                say(net, in, ret);
}

void rf_outliers_of(const struct net2 *net, struct rf_outliers *ret)
{
        struct netn view = netn_of_two(net);
        rf_outliers_of_ports(&view, ret);
}
