/* lrrm_l_c.c: inductance and capacitance of the match together (lrrm.h).
 * Problem     With l = L/R and c = C R the match's phase is (c - l) w and, next, (c l^2 - (c - l)^3/3) w^3.  That the open is lossless tells
 *             the first well, the second hardly, and it is a cubic: up to three pairs of L and C fit alike.  Opens of C + d/2 and C - d/2 at
 *             the two ports look like a match with d/2 less (through a flush thru exactly), so that 0.1 fF pushed a search for lossless
 *             opens from one valley into another.  The match's size, 1 + (c^2 - 2 c l - l^2) w^2, shows in the open's capacitance as far as
 *             that is one and the same at all frequencies.
 * Idea        Everything that was read is told by one least squares, with what is known of it beforehand (PRIOR): L and C of the match, the
 *             open as one capacitance behind an inductance, open and short unlike at the two ports, R not quite its definition.  What is
 *             compared is kappa, psi of the open over psi of the match (psi = (G - g+)/(G - g-)), as it was read and as these make it:
 *             its noise does not depend on them, the solved open's does, and lets matches seem right that shrink it.
 * Search      C is held at each place of a grid and all else fitted to groups of neighbouring frequencies: chi^2 over C.  Every valley is
 *             then fitted freely to all frequencies.  They are told apart where no second valley and no C far off lies within 3 sigma;
 *             elsewhere the likeliest pair is taken, its uncertainty holds all that fits, and that is said.
 * Rejected    the inductance alone where they are not told apart: of 60 random matches to 220 GHz the 23 were off by 3 to 34 % in
 *             admittance, the likeliest pair by 2.5 % at most.
 * Checked     tests/unit/rf_match_valleys.c */
#include "rf/calibrate/reflects/lrrm.h"
#include "rf/numbers/levenberg.h"
#include <math.h>
#include <string.h>

enum unknown { L_PH, OPEN_FF, OPEN_L_PH, OPENS_APART_FF, SHORTS_APART_PH, SHORT_PH, R_OHM, C_FF, UNKNOWNS };
/* Common practice, no source; the first two are wide, the last is a load's trim. */
static const struct {
        double is, u;
} PRIOR[UNKNOWNS] = {[L_PH] = {RF_MATCH_L_PH, RF_MATCH_L_U_PH},
                     [C_FF] = {RF_MATCH_C_FF, RF_MATCH_C_U_FF},
                     [OPEN_FF] = {0, 1000},
                     [OPEN_L_PH] = {0, RF_OPEN_L_U_PH},
                     [OPENS_APART_FF] = {0, RF_OPENS_APART_U_FF},
                     [SHORTS_APART_PH] = {0, RF_SHORTS_APART_U_PH},
                     [SHORT_PH] = {0, 0.5}, /* of what is read of it */
                     [R_OHM] = {0, RF_MATCH_R_U_OHM}};
_Static_assert(UNKNOWNS % 2 == 0, "priors are items of two rows, as frequencies are");

enum { BLOCK = 16, GROUPS_MAX = 32, GRID = 20, VALLEYS_MAX = 4, BLOCKS_MAX = 4096 / BLOCK };
#define GRID_FROM_FF (-5.0)
#define SIGMA_2 9.0 /* chi^2 of 3 sigma */
#define C_WIDE_FF 3.0
#define NOISE_80_DB 1e-4
#define NOISE_LEAST 1e-6 /* groups are no better */

/* One frequency, or a group of neighbours. */
struct place {
        struct lrrm_point q;
        double complex g[2], offset[4]; /* what the thru leaves as it is; S of what lies before the match's element */
        double complex kappa, scale;    /* as read; the solved open's change with it */
        double weight;                  /* of each component of scale*kappa: one over its variance */
        bool behind;
};
static double complex at_plane(const struct place *x, double complex z)
{
        double complex g = (z - 50) / (z + 50);
        return x->behind ? x->offset[0] + x->offset[1] * x->offset[2] * g / (1 - x->offset[3] * g) : g;
}
static struct place place_of(const struct lrrm_columns *c, size_t i)
{
        struct place x = {.q = lrrm_get(c, i), .behind = c->offset != NULL};
        struct m2 s = net2_get(c->thru, i);
        double complex mean = (s.e[0] + s.e[3]) / 2, e = m2_sqrt(s.e[1] * s.e[2]);
        if (creal(e * conj(s.e[2])) < 0)
                e = -e;
        x.g[0] = mean + e;
        x.g[1] = mean - e;
        if (c->offset)
                memcpy(x.offset, net2_get(c->offset, i).e, sizeof x.offset);
        double complex open = lrrm_open(&x.q, x.q.z), gm = at_plane(&x, x.q.z), psi_m = (gm - x.g[0]) / (gm - x.g[1]),
                       psi = (open - x.g[0]) / (open - x.g[1]);
        x.kappa = psi / psi_m;
        x.scale = psi_m * (x.g[0] - x.g[1]) / ((1 - psi) * (1 - psi));
        x.weight = 1 / (x.q.u_open * x.q.u_open);
        return x;
}

/* Fixed points of the involution through two pairs (x, y/one); the one near g0 first. */
struct pair {
        double complex x, y, one;
};
static void fixed_points(struct pair p, struct pair q, double complex g0, double complex ret[2])
{
        double complex a[3] = {p.x * p.y, -(p.x * p.one + p.y), -p.one}, b[3] = {q.x * q.y, -(q.x * q.one + q.y), -q.one};
        double complex ga = a[1] * b[2] - a[2] * b[1], al = a[2] * b[0] - a[0] * b[2], be = a[0] * b[1] - a[1] * b[0];
        double complex d = m2_sqrt(al * al + be * ga), t = cabs(al + d) >= cabs(al - d) ? al + d : al - d, x = t / ga, y = -be / t;
        bool first = cabs(x - g0) <= cabs(y - g0);
        ret[0] = first ? x : y;
        ret[1] = first ? y : x;
}
/* g1 at port 1, and g2 of port 2 seen from port 1 through the thru. */
static struct pair seen_through(const struct place *x, double complex g1, double complex g2)
{
        double complex mean = (x->g[0] + x->g[1]) / 2;
        return (struct pair){g1, mean * g2 - x->g[0] * x->g[1], g2 - mean};
}
static double complex open_of(double w, double c_ff, double l_ph)
{
        double bend = 1 - w * w * c_ff * l_ph * 1e-27, b = w * c_ff * 50e-15; /* y = jb/bend */
        return CMPLX(bend, -b) / CMPLX(bend, b);
}
static double complex short_of(double w, double l_ph)
{
        double complex z = CMPLX(0, w * l_ph * 1e-12 / 50);
        return (z - 1) / (z + 1);
}

/* kappa as t makes it, less kappa as read, in units of the solved open. */
static double complex residual(const struct place *x, const double t[UNKNOWNS])
{
        double w = x->q.w, open = t[OPENS_APART_FF] / 2, closed = t[SHORTS_APART_PH] / 2;
        const struct lrrm_match m = {t[R_OHM], t[L_PH] * 1e-12, t[C_FF] * 1e-15};
        double complex gm = at_plane(x, lrrm_impedance(&x->q, m)), open_1 = open_of(w, t[OPEN_FF] + open, t[OPEN_L_PH]),
                       open_2 = open_of(w, t[OPEN_FF] - open, t[OPEN_L_PH]), f[2];
        fixed_points(seen_through(x, open_1, open_2), seen_through(x, short_of(w, t[SHORT_PH] + closed), short_of(w, t[SHORT_PH] - closed)),
                     x->g[0], f);
        return ((open_1 - f[0]) * (gm - f[1]) / ((open_1 - f[1]) * (gm - f[0])) - x->kappa) * x->scale;
}

/* Groups, or all of a sweep; unknowns from `free` on are held. */
struct data {
        const struct place *group;
        const struct lrrm_columns *all;
        const double *noise; /* of all: variance by blocks, in units of u_open^2 */
        size_t n, blocks, free;
        double held[UNKNOWNS], short_ph;
};
static double weight_at(const struct data *d, size_t i) { return 1 / d->noise[i / BLOCK < d->blocks ? i / BLOCK : d->blocks - 1]; }

static void residuals_of(const void *context, size_t first, size_t count, size_t x_n, const double *x, double *ret) /* levenberg.h */
{
        const struct data *d = context;
        for (size_t j = 0; j < count; j++) {
                struct place one = {.weight = 1};
                if (first + j < d->n && !d->group) {
                        one = place_of(d->all, first + j);
                        one.weight *= weight_at(d, first + j);
                } else if (first + j < d->n)
                        one = d->group[first + j];
                for (size_t k = 0; k < x_n; k++) {
                        double t[UNKNOWNS], *to = ret + (k * count + j) * 2;
                        memcpy(t, d->held, sizeof t);
                        memcpy(t, x + k * d->free, d->free * sizeof *t);
                        if (first + j < d->n) {
                                double complex r = residual(&one, t) * sqrt(one.weight);
                                to[0] = creal(r);
                                to[1] = cimag(r);
                        } else
                                for (size_t row = 0; row < 2; row++) {
                                        size_t u = 2 * (first + j - d->n) + row;
                                        to[row] = (t[u] - PRIOR[u].is - (u == SHORT_PH ? d->short_ph : 0)) / PRIOR[u].u;
                                }
                }
        }
}

/* From t, which it leaves at the minimum; chi^2, priors included. */
static double descend(struct data *d, size_t free, unsigned rounds, double tolerance, double t[UNKNOWNS], struct levenberg_result *ret)
{
        memcpy(d->held, t, sizeof d->held);
        d->free = free;
        const struct levenberg fit = {.n = free,
                                      .items = d->n + UNKNOWNS / 2,
                                      .rows = 2,
                                      .residual = residuals_of,
                                      .context = d,
                                      .rounds_max = rounds,
                                      .tolerance = tolerance};
        if (!levenberg_fit(&fit, t, ret))
                return INFINITY;
        return ret->rms * ret->rms * (double)(2 * fit.items);
}

/* The last steps are too small for the sum to tell, and right all the same: by the gradient and the covariance there. */
static void settle(struct data *d, double t[UNKNOWNS], const double *covariance)
{
        enum { POINTS = 1 + 2 * UNKNOWNS };
        const double h = 1e-5;
        for (int round = 0; round < 3; round++) {
                double x[POINTS][UNKNOWNS], r[POINTS][2], slope[UNKNOWNS] = {0};
                for (int p = 0; p < POINTS; p++) {
                        memcpy(x[p], t, sizeof x[p]);
                        if (p > 0)
                                x[p][(p - 1) / 2] += p % 2 ? h : -h;
                }
                for (size_t i = 0; i < d->n + UNKNOWNS / 2; i++) {
                        residuals_of(d, i, 1, POINTS, x[0], r[0]);
                        for (int k = 0; k < UNKNOWNS; k++)
                                for (int row = 0; row < 2; row++)
                                        slope[k] += (r[1 + 2 * k][row] - r[2 + 2 * k][row]) / (2 * h) * r[0][row];
                }
                double step[UNKNOWNS] = {0};
                bool small = true;
                for (int k = 0; k < UNKNOWNS; k++) {
                        for (int l = 0; l < UNKNOWNS; l++)
                                step[k] -= covariance[k * UNKNOWNS + l] * slope[l];
                        small = small && fabs(step[k]) < 1e-2 * sqrt(covariance[k * UNKNOWNS + k]);
                }
                for (int k = 0; k < UNKNOWNS && small; k++)
                        t[k] += step[k];
        }
}

/* Variance around each block by second differences of what is left at t, in units of u_open^2; short sweeps have one for all. */
static void noise_of(struct data *d, const double t[UNKNOWNS], double *noise)
{
        double complex before[2] = {0, 0};
        double *bend = d->all->scratch[0], quietest = INFINITY;
        for (size_t i = 0; i < d->n; i++) {
                struct place x = place_of(d->all, i);
                double complex r = residual(&x, t) / x.q.u_open, b = r - 2 * before[0] + before[1];
                bend[i] = i < 2 ? 0 : (creal(b) * creal(b) + cimag(b) * cimag(b)) / 12;
                before[1] = before[0];
                before[0] = r;
        }
        for (size_t b = 0; b < d->blocks; b++) {
                size_t middle = b * BLOCK + BLOCK / 2, at = middle < d->n ? middle : d->n - 1;
                size_t first = at > BLOCK ? at - BLOCK : 0, last = at + BLOCK < d->n ? at + BLOCK : d->n - 1;
                if (d->blocks == 1) {
                        first = 0;
                        last = d->n - 1;
                }
                double sum = 0;
                for (size_t k = first + 2; k <= last; k++)
                        sum += bend[k];
                noise[b] = last > first + 1 ? sum / (double)(last - first - 1) : NOISE_80_DB * NOISE_80_DB;
                quietest = noise[b] > 0 ? fmin(quietest, noise[b]) : quietest;
        }
        for (size_t b = 0; b < d->blocks; b++)
                noise[b] += (isfinite(quietest) ? quietest / 16 : 0) + 1e-24;
}

/* The mean of neighbours: what is left at t is slow, so that kappa in the middle less its mean stands for all of them. */
static struct place group_of(const struct data *d, size_t first, size_t end, const double t[UNKNOWNS])
{
        struct place middle = place_of(d->all, first + (end - first) / 2);
        double complex sum = 0;
        double weight = 0;
        for (size_t i = first; i < end; i++) {
                struct place x = place_of(d->all, i);
                x.weight *= fmin(weight_at(d, i), 1 / (NOISE_LEAST * NOISE_LEAST));
                sum += x.weight * residual(&x, t);
                weight += x.weight;
        }
        middle.kappa += (residual(&middle, t) - sum / weight) / middle.scale;
        middle.weight = weight;
        return middle;
}

/* chi^2 over C, each from the prior and from what its neighbours found. */
static void profile(struct data *d, const double from[UNKNOWNS], double t[GRID][UNKNOWNS], double chi2[GRID])
{
        struct levenberg_result unused;
        for (int k = 0; k < GRID; k++)
                chi2[k] = INFINITY;
        for (int pass = 0; pass < 3; pass++)
                for (int j = 0; j < GRID; j++) {
                        int k = pass == 2 ? GRID - 1 - j : j, near = pass == 2 ? k + 1 : k - 1;
                        double x[UNKNOWNS], r = creal(d->group[0].q.z);
                        if (pass > 0 && (near < 0 || near >= GRID || !(chi2[near] < chi2[k])))
                                continue;
                        memcpy(x, pass ? t[near] : from, sizeof x);
                        x[L_PH] += r * r * 1e-3 * (GRID_FROM_FF + k - x[C_FF]);
                        x[C_FF] = GRID_FROM_FF + k;
                        double reached = descend(d, C_FF, 15, 1e-4, x, &unused);
                        if (reached < chi2[k]) {
                                chi2[k] = reached;
                                memcpy(t[k], x, sizeof x);
                        }
                }
}

struct valley {
        double t[UNKNOWNS], chi2;
        struct levenberg_result end;
};

struct lrrm_both lrrm_l_and_c(size_t n, const struct lrrm_columns *q, struct lrrm_match alone, double open_c_f, double *ret_weight)
{
        double noise[BLOCKS_MAX], from[UNKNOWNS], t[GRID][UNKNOWNS], chi2[GRID], floor = INFINITY;
        bool local = n >= 4 * BLOCK && n <= BLOCKS_MAX * BLOCK;
        struct data all = {.all = q,
                           .noise = noise,
                           .n = n,
                           .blocks = local ? (n + BLOCK - 1) / BLOCK : 1,
                           .short_ph = q->short_l_h * 1e12},
                    few = {.all = q, .short_ph = all.short_ph};
        struct place group[GROUPS_MAX];
        struct lrrm_both both = {.found = false};
        struct valley best = {.chi2 = INFINITY}, second = best;
        if (n < 12)
                return both;
        for (int k = 0; k < UNKNOWNS; k++)
                from[k] = PRIOR[k].is;
        from[C_FF] = 0;
        from[L_PH] = alone.l_h * 1e12;
        from[OPEN_FF] = open_c_f * 1e15;
        from[SHORT_PH] = all.short_ph;
        noise_of(&all, from, noise);
        size_t low = 0; /* frequencies that know nothing of it */
        while (low + 12 < n && q->w[low] < q->w[n - 1] / 50)
                low++;
        few.n = n - low < GROUPS_MAX ? n - low : GROUPS_MAX;
        few.group = group;
        for (size_t k = 0; k < few.n; k++)
                group[k] = group_of(&all, low + k * (n - low) / few.n, low + (k + 1) * (n - low) / few.n, from);
        profile(&few, from, t, chi2);
        for (int k = 0; k < GRID; k++) {
                bool valley = isfinite(chi2[k]) && (k == 0 || chi2[k] <= chi2[k - 1]) && (k + 1 == GRID || chi2[k] < chi2[k + 1]);
                for (int again = 0; again < 2 && valley; again++) { /* from where the grid left the rest, and from the prior */
                        struct valley v;
                        memcpy(v.t, again ? from : t[k], sizeof v.t);
                        v.t[L_PH] = t[k][L_PH];
                        v.t[C_FF] = t[k][C_FF];
                        v.chi2 = descend(&all, UNKNOWNS, 60, 1e-14, v.t, &v.end);
                        bool same = fabs(v.t[C_FF] - best.t[C_FF]) < 0.01;
                        if (v.chi2 < best.chi2) {
                                second = same ? second : best;
                                best = v;
                        } else if (!same && v.chi2 < second.chi2)
                                second = v;
                }
        }
        if (!isfinite(best.chi2))
                return both;
        bool two_valleys = isfinite(second.chi2);
        double behind = second.chi2 - best.chi2;
        noise_of(&all, best.t, noise); /* once more, with the scatter that neighbours really show there */
        best.chi2 = descend(&all, UNKNOWNS, 60, 1e-20, best.t, &best.end);
        settle(&all, best.t, best.end.covariance);
        struct levenberg_result unused;
        memcpy(from, best.t, sizeof from);
        floor = descend(&few, C_FF, 15, 1e-4, from, &unused);
        for (int k = 0; k < GRID; k++)
                floor = fmin(floor, chi2[k]);
        /* smooth misfit shows in the groups: then all is as unsure as it makes it */
        double seen = fmax(1, floor / (double)(2 * few.n)), lo = best.t[C_FF], hi = lo, u[2];
        for (int k = 0; k < GRID; k++)
                if (chi2[k] < floor + SIGMA_2 * seen) {
                        lo = fmin(lo, t[k][C_FF]);
                        hi = fmax(hi, t[k][C_FF]);
                }
        bool two = two_valleys && behind < SIGMA_2 * seen;
        if (two) {
                lo = fmin(lo, second.t[C_FF]);
                hi = fmax(hi, second.t[C_FF]);
        }
        const double *v = best.end.covariance;
        double ll = v[L_PH * UNKNOWNS + L_PH], lc = v[L_PH * UNKNOWNS + C_FF], cc = v[C_FF * UNKNOWNS + C_FF];
        bool told = !two && hi - lo < C_WIDE_FF && sqrt(cc * seen) < C_WIDE_FF / 3;
        double wide = (hi - lo) / (told ? 6 : 2); /* the valley is not straight; where another is as good, both lie within u */
        double stretch = fmax(seen, wide * wide / cc);
        u[0] = sqrt(ll * stretch);
        u[1] = sqrt(cc * stretch);
        both.match = (struct lrrm_match){0, best.t[L_PH] * 1e-12, best.t[C_FF] * 1e-15};
        both.u_l_h = u[0] * 1e-12;
        both.u_c_f = u[1] * 1e-15;
        both.open_c_f = best.t[OPEN_FF] * 1e-15;
        both.u_open_c_f = sqrt(v[OPEN_FF * UNKNOWNS + OPEN_FF] * seen) * 1e-15;
        both.from_c_f = lo * 1e-15;
        both.to_c_f = hi * 1e-15;
        both.apart[0] = (struct lrrm_match){0, both.u_l_h, lc / sqrt(ll * cc) * both.u_c_f};
        both.apart[1] = (struct lrrm_match){0, 0, sqrt(fmax(0, 1 - lc * lc / (ll * cc))) * both.u_c_f};
        both.found = isfinite(u[0]) && isfinite(u[1]);
        both.told = told;
        for (size_t i = 0; i < n; i++)
                ret_weight[i] = weight_at(&all, i) / (q->u_open[i] * q->u_open[i] * (told ? seen : stretch));
        return both;
}
