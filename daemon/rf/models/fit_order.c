/* fit_order.c: start poles, their settling on few points and on all, and how many there should be (fit_poles.h).
 *
 * Start       Pairs over the band (by logarithm when it spans decades) with Re = -Im/100, real poles for the low end.
 *
 * Few points  Poles settle on points chosen along the curve; on all points only the noise is left to average, and for that the normal
 *             equations are good enough (fit_gram.c).
 *
 * Order       Grown by two from the poles found so far, the new pair where most of the error lies; then poles that carry nothing are
 *             dropped one by one for as long as the rms allows it: data of order 8 asked for order 20 return 8 poles. */
#include "rf/models/fit_poles.h"
#include "rf/models/model.h"
#include <math.h>
#include <string.h>

static double lowest(const struct grid *g) { return fmax(g->x[0] > 0 || g->n < 2 ? g->x[0] : g->x[1], 1e-8); }

struct poles fit_start(const struct grid *g, size_t order)
{
        struct poles p = {0};
        double low = lowest(g), decades = -log10(low);
        bool wide = decades > 1.5;
        size_t real = order % 2 ? 1 : wide && order >= 4 ? 2 : 0, pairs = (order - real) / 2;
        double from = fmin(wide ? 3 * low : 0.1, 0.05);
        for (size_t i = 0; i < real; i++) {
                double part = real == 1 ? 0.5 : (double)i / (double)(real - 1);
                p.p[p.n++] = -from * pow(0.1 / from, part);
        }
        from = wide ? fmax(3 * low, 1e-4) : low;
        for (size_t i = 0; i < pairs; i++) {
                double part = pairs == 1 ? 0.7 : (double)i / (double)(pairs - 1);
                double im = wide ? from * pow(1 / from, part) : from + (1 - from) * part;
                p.p[p.n++] = CMPLX(-im / 100, im);
        }
        return p;
}

/* Relocates until poles stand still or the rms no longer falls; *p is the best seen, its rms is returned (Inf: nothing can be solved).  The
   coefficients of the best are not kept. */
double fit_settle(struct work *w, const struct grid *g, struct poles *p, unsigned rounds, unsigned patience, double floor)
{
        struct poles best = *p;
        double least = fit_residues(w, g, p);
        if (!isfinite(least))
                least = INFINITY;
        for (unsigned round = 0, stale = 0; round < rounds && stale < patience; round++) {
                double move, rms;
                if (!fit_relocate(w, g, p, &move))
                        break;
                rms = fit_residues(w, g, p);
                stale = rms < 0.999 * least ? 0 : stale + 1;
                if (rms < least) {
                        least = rms;
                        best = *p;
                }
                if (move < 1e-9 || (least < floor && move < 1e-6))
                        break;
        }
        *p = best;
        return least;
}

/* At most `m` points of the sweep, as many by count as by logarithm of frequency as by length of the curve: poles are settled on them. */
struct grid fit_few(const struct work *w, const struct grid *g, size_t m)
{
        struct grid f = *g;
        if (m > FEW_MAX)
                m = FEW_MAX;
        if (g->n < 2 * m + m / 2) /* not worth it */
                return f;
        double log_all = 0, curve_all = 0, n = (double)g->n - 1, along = 0;
        for (size_t i = 1; i < g->n; i++) {
                double curve = 0;
                for (size_t q = 0; q < g->q; q++)
                        curve += (g->w[q] ? g->w[q][i] : 1) * (fabs(g->re[q][i] - g->re[q][i - 1]) + fabs(g->im[q][i] - g->im[q][i - 1]));
                w->where[i] = curve;
                curve_all += curve;
                log_all += (g->x[i] - g->x[i - 1]) / (g->x[i] + g->x[i - 1]);
        }
        size_t at[FEW_MAX], count = 0;
        at[count++] = 0;
        for (size_t i = 1; i + 1 < g->n && count + 1 < m; i++) {
                along += 1 / n + (curve_all > 0 ? w->where[i] / curve_all : 1 / n) +
                         (g->x[i] - g->x[i - 1]) / (g->x[i] + g->x[i - 1]) / log_all;
                if (along * (double)(m - 1) >= 3 * (double)count)
                        at[count++] = i;
        }
        at[count++] = g->n - 1;
        double *to = w->few;
        f.n = count;
        f.signal2 = 0;
        f.x = to;
        for (size_t i = 0; i < count; i++)
                *to++ = g->x[at[i]];
        for (size_t q = 0; q < g->q; q++) {
                const double *const from[3] = {g->re[q], g->im[q], g->w[q]};
                const double **const into[3] = {&f.re[q], &f.im[q], &f.w[q]};
                for (int k = 0; k < 3; k++) {
                        if (!from[k])
                                continue;
                        *into[k] = to;
                        for (size_t i = 0; i < count; i++)
                                *to++ = from[k][at[i]];
                }
                for (size_t i = 0; i < count; i++) {
                        double m2 = f.w[q] ? f.w[q][i] * f.w[q][i] : 1;
                        f.signal2 += m2 * (f.re[q][i] * f.re[q][i] + f.im[q][i] * f.im[q][i]);
                }
        }
        return f;
}
size_t fit_few_for(size_t order) { return 8 * order + 32; }

/* Poles that were settled on few points, on all: until the rms falls by less than one in a thousand. */
void fit_polish(struct work *w, const struct grid *g, struct poles *p, double few_rms, double signal_rms)
{
        if (!(few_rms > 1e-6 * signal_rms)) { /* between noise and rounding: nothing to average */
                if (fit_residues(w, g, p) > 1e-11 * signal_rms)
                        fit_settle(w, g, p, 6, 1, 1e-13 * signal_rms);
                return;
        }
        struct poles best = *p, next = *p;
        double least = INFINITY;
        for (unsigned round = 0; round < w->rounds_max; round++) {
                struct poles is = next;
                double rms, move;
                if (!fit_relocate_fast(w, g, &next, &rms, &move)) {
                        if (round == 0)
                                fit_settle(w, g, &best, 6, 1, 1e-13 * signal_rms);
                        break;
                }
                bool enough = rms > 0.999 * least || move < 1e-7;
                if (rms < least) {
                        least = rms;
                        best = is;
                }
                if (enough)
                        break;
        }
        *p = best;
}

void fit_sort(struct poles *p)
{
        for (size_t i = 1; i < p->n; i++)
                for (size_t j = i; j > 0 && cabs(p->p[j]) < cabs(p->p[j - 1]); j--) {
                        double complex z = p->p[j];
                        p->p[j] = p->p[j - 1];
                        p->p[j - 1] = z;
                }
}

/* Is there a pole whose part lies within reach of the rms?  (w->carried of the last weigh.) */
bool fit_something_idle(const struct work *w, const struct poles *p, double rms, double exact)
{
        for (size_t i = 0; i < p->n; i++)
                if (sqrt(w->carried[i]) <= 30 * fmax(1.1 * rms, exact))
                        return true;
        return p->n > 0 && rms <= exact && fit_order_of(p) > 12;
}

/* Takes out, one by one, poles whose leaving costs nothing: within `allowed` the rms may rise.  Far outside the band 10 % is allowed. */
double fit_prune(struct work *w, const struct grid *g, struct poles *p, double rms, double exact, double allowed)
{
        double limit = fmax(allowed * rms, exact), far = fmax(1.1 * rms, exact);
        for (bool again = true; again && p->n > 0;) {
                again = false;
                size_t tried[5], tries = 0;
                fit_residues(w, g, p);
                fit_weigh(w, g, p, NULL, NULL);
                double carried[RF_FIT_ORDER_MAX];
                memcpy(carried, w->carried, sizeof carried);
                for (; tries < 5 && tries < p->n && !again; tries++) {
                        size_t least = p->n;
                        for (size_t i = 0; i < p->n; i++) {
                                bool seen = false;
                                for (size_t k = 0; k < tries; k++)
                                        seen = seen || tried[k] == i;
                                if (!seen && (least == p->n || carried[i] < carried[least]))
                                        least = i;
                        }
                        tried[tries] = least;
                        double may = cabs(p->p[least]) > 5 ? far : limit;
                        if (sqrt(carried[least]) > 30 * fmax(may, rms)) /* the others cannot make up for it */
                                break;
                        struct poles fewer = {0};
                        for (size_t i = 0; i < p->n; i++)
                                if (i != least)
                                        fewer.p[fewer.n++] = p->p[i];
                        double left = fit_residues(w, g, &fewer);
                        if (!(left <= may))
                                left = fit_settle(w, g, &fewer, 8, 3, exact);
                        if (left <= may) {
                                *p = fewer;
                                again = true;
                        }
                }
        }
        return fit_residues(w, g, p);
}

/* Adds two poles where the error is: a pair at the centre of the window with most of it, or two real ones below the pairs' reach. */
static void add_pair(struct work *w, const struct grid *g, struct poles *p, double *where)
{
        fit_residues(w, g, p);
        fit_weigh(w, g, p, NULL, where);
        size_t span = g->n / 16 + 1, at = 0;
        double sum = 0, most = -1;
        for (size_t i = 0; i < g->n; i++) {
                sum += where[i];
                if (i >= span)
                        sum -= where[i - span];
                if (sum > most) {
                        most = sum;
                        at = i >= span / 2 ? i - span / 2 : 0;
                }
        }
        double im = fmax(g->x[at], lowest(g));
        if (im < 1e-3 && p->n + 2 <= RF_FIT_ORDER_MAX) {
                p->p[p->n++] = -im;
                p->p[p->n++] = -3 * im;
        } else {
                p->p[p->n++] = CMPLX(-im / 10, im);
        }
}

/* seen: the noise, if anybody knows it: while the rms stands far above it, a step without gain is no reason to stop. */
struct poles fit_grow(struct work *w, const struct grid *all, double seen, double noise, size_t most, double floor, struct fit_report *ret)
{
        struct poles best = {0}, now = {0};
        struct grid g = fit_few(w, all, fit_few_for(4));
        double least = fit_residues(w, &g, &best), exact = 1e-11 * ret->signal_rms;
        unsigned poor = 0;
        ret->stop = least <= floor ? FIT_STOP_EXACT : FIT_STOP_MOST;
        for (size_t order = most < 2 ? most : 2; order && order <= most && least > floor; order += order + 1 == most ? 1 : 2) {
                g = fit_few(w, all, fit_few_for(order));
                struct poles warm = best, fresh = fit_start(&g, order);
                double a = INFINITY, b;
                ret->order_tried = order;
                if (order > 2 && fit_order_of(&now) + 2 <= order) {
                        warm = now;
                        add_pair(w, &g, &warm, w->where);
                        a = fit_settle(w, &g, &warm, w->rounds_max, 2, floor);
                }
                if (a < 0.5 * least) {
                        now = warm;
                } else {
                        b = fit_settle(w, &g, &fresh, w->rounds_max, 2, floor);
                        now = a <= b ? warm : fresh;
                        a = fmin(a, b);
                }
                poor = a < 0.9 * least ? 0 : poor + 1;
                if (a < least) {
                        least = a;
                        best = now;
                }
                if (least <= fmax(exact, floor)) {
                        ret->stop = FIT_STOP_EXACT;
                        break;
                }
                if (noise > 0 && least < 3 * noise && (poor || least < 1.2 * noise)) {
                        ret->stop = FIT_STOP_NOISE;
                        break;
                }
                if (poor >= (seen > 0 && least > 3 * seen ? 5u : 2u)) {
                        ret->stop = FIT_STOP_GAIN;
                        break;
                }
        }
        return best;
}
