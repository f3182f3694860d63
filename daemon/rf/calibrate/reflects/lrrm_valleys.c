/* lrrm_valleys.c: is there another pair of inductance and capacitance that fits what was read?  (lrrm.h)
 * Problem     With l = L/R and c = C R the match's phase is (c - l) w and, next, (c l^2 - (c - l)^3/3) w^3.  That the open is lossless tells
 *             the first well, the second hardly, and it is a cubic: up to three pairs of L and C fit alike.  Opens of C + d/2 and C - d/2 at
 *             the two ports look like a match with d/2 less (through a flush thru exactly), so that 0.1 fF pushes a search for lossless
 *             opens (lrrm_fit.c) from one valley into another.
 * Idea        A second look that only judges: everything that was read, in one least squares, with what is known of it beforehand (PRIOR):
 *             L and C of the match, the open as one capacitance behind an inductance, open and short unlike at the two ports, R not quite
 *             its definition.  What is compared is kappa, psi of the open over psi of the match (psi = (G - g+)/(G - g-)), as it was read
 *             and as these make it: its noise does not depend on them, the solved open's does, and lets matches seem right that shrink it.
 * Search      Neighbouring frequencies go together, up to 32 groups.  C is held at each place of a grid and all else fitted: chi^2 over C;
 *             each valley of it is then fitted freely.  Told apart: no second valley and no C far off fits within 4 sigma.
 * Rejected    to give its pair as the answer: with what may differ between the ports left open L is two to three times as unsure, which
 *             a set whose reflects are alike need not bear; the answer stays the lossless open's and this says how far it can be trusted.
 * Checked     tests/unit/rf_match_valleys.c */
#include "rf/calibrate/reflects/lrrm.h"
#include "rf/numbers/levenberg.h"
#include <math.h>
#include <string.h>

enum unknown { L_PH, OPEN_FF, OPEN_L_PH, OPENS_APART_FF, SHORTS_APART_PH, SHORT_PH, R_OHM, C_FF, UNKNOWNS };
/* Common practice, no source: 95 of 100 matches on a substrate have -5 to 20 pH and 0 to 10 fF; R by a trim; opens and shorts unlike from
   port to port by their touches. */
static const struct {
        double is, u;
} PRIOR[UNKNOWNS] = {
        [L_PH] = {7.5, 6.25},         [C_FF] = {5, 2.5},     [OPEN_FF] = {0, 1000}, [OPEN_L_PH] = {0, 5}, [OPENS_APART_FF] = {0, 0.5},
        [SHORTS_APART_PH] = {0, 0.5}, [SHORT_PH] = {0, 0.5}, /* of what is read of it */
        [R_OHM] = {0, 0.05}};
_Static_assert(UNKNOWNS % 2 == 0, "priors are items of two rows, as frequencies are");

enum { GROUPS_MAX = 32, GRID = 26, BESIDE = 8 };
#define GRID_FROM_FF (-8.0)
#define SIGMA_2 16.0 /* chi^2 of 4 sigma */
#define C_WIDE_FF 3.0
#define LOOK_LEAST 12
#define PAIR_OFF_U 3     /* standard uncertainties by which what was found may miss the likeliest pair */
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

/* Groups; unknowns from `free` on are held. */
struct data {
        struct place group[GROUPS_MAX];
        size_t n, free;
        double held[UNKNOWNS], is[UNKNOWNS]; /* is: what is expected */
};

static void residuals_of(const void *context, size_t first, size_t count, size_t x_n, const double *x, double *ret) /* levenberg.h */
{
        const struct data *d = context;
        for (size_t k = 0; k < x_n; k++) {
                double t[UNKNOWNS];
                memcpy(t, d->held, sizeof t);
                memcpy(t, x + k * d->free, d->free * sizeof *t);
                for (size_t j = 0; j < count; j++) {
                        double *to = ret + (k * count + j) * 2;
                        if (first + j < d->n) {
                                const struct place *at = &d->group[first + j];
                                double complex r = residual(at, t) * sqrt(at->weight);
                                to[0] = creal(r);
                                to[1] = cimag(r);
                                continue;
                        }
                        for (size_t row = 0; row < 2; row++) {
                                size_t u = 2 * (first + j - d->n) + row;
                                to[row] = (t[u] - d->is[u]) / PRIOR[u].u;
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

/* The mean of neighbours: what is left at t is slow, so that kappa in the middle less its mean stands for all of them. */
static struct place group_of(const struct lrrm_columns *q, size_t first, size_t end, double noise, const double t[UNKNOWNS])
{
        struct place middle = place_of(q, first + (end - first) / 2);
        double complex sum = 0;
        double weight = 0;
        for (size_t i = first; i < end; i++) {
                struct place x = place_of(q, i);
                sum += x.weight * residual(&x, t);
                weight += x.weight;
        }
        middle.kappa += (residual(&middle, t) - sum / weight) / middle.scale;
        middle.weight = weight / fmax(noise, NOISE_LEAST * NOISE_LEAST);
        return middle;
}

/* Frequencies in groups, those left out that know nothing of L and C.  Noise by second differences of what is left around each. */
static void groups(struct data *d, size_t n, const struct lrrm_columns *q, const double t[UNKNOWNS])
{
        double complex before[2] = {0, 0};
        double *bend = q->scratch[0];
        size_t low = 0;
        while (low + 12 < n && q->w[low] < q->w[n - 1] / 50)
                low++;
        for (size_t i = 0; i < n; i++) {
                struct place x = place_of(q, i);
                double complex r = residual(&x, t) / x.q.u_open, b = r - 2 * before[0] + before[1];
                bend[i] = i < 2 ? 0 : (creal(b) * creal(b) + cimag(b) * cimag(b)) / 12;
                before[1] = before[0];
                before[0] = r;
        }
        d->n = n - low < GROUPS_MAX ? n - low : GROUPS_MAX;
        for (size_t k = 0; k < d->n; k++) {
                size_t first = low + k * (n - low) / d->n, end = low + (k + 1) * (n - low) / d->n,
                       i = first > BESIDE + 2 ? first - BESIDE : 2;
                double sum = 0, some = 0;
                for (; i < n && i < end + BESIDE; i++, some++)
                        sum += bend[i];
                d->group[k] = group_of(q, first, end, sum / some, t);
        }
}

/* chi^2 over C, each from `from`, from what the neighbour below found and from what the one above found. */
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

/* best: the likeliest pair and its standard uncertainties; told: no other fits; otherwise C may lie anywhere from low to high. */
struct valleys {
        bool found, told;
        struct lrrm_match best, low, high;
        double u_l_h, u_c_f, opens_apart_f, shorts_apart_h;
};
static struct valleys valleys_of(size_t n, const struct lrrm_columns *q, struct lrrm_match answer, double open_c_f)
{
        struct valleys v = {.found = false};
        double from[UNKNOWNS], best[UNKNOWNS] = {0}, t[GRID][UNKNOWNS], chi2[GRID], least = INFINITY;
        struct levenberg_result end = {0}, there;
        struct data d = {.n = 0};
        for (int k = 0; k < UNKNOWNS; k++)
                d.is[k] = PRIOR[k].is;
        d.is[L_PH] -= q->z_im[n - 1] / q->w[n - 1] * 1e12; /* the definition's own */
        d.is[SHORT_PH] = q->short_l_h * 1e12;
        memcpy(from, d.is, sizeof from);
        from[L_PH] = answer.l_h * 1e12;
        from[C_FF] = answer.c_f * 1e15;
        from[OPEN_FF] = open_c_f * 1e15;
        groups(&d, n, q, from);
        profile(&d, from, t, chi2);
        double valley[GRID + 1][UNKNOWNS], depth[GRID + 1];
        size_t valleys = 0;
        for (int k = -1; k < GRID; k++) { /* the answer's own, and those of the grid */
                if (k >= 0 && !(isfinite(chi2[k]) && (k == 0 || chi2[k] <= chi2[k - 1]) && (k + 1 == GRID || chi2[k] < chi2[k + 1])))
                        continue;
                double *x = valley[valleys];
                memcpy(x, k < 0 ? from : t[k], sizeof from);
                double reached = depth[valleys] = descend(&d, UNKNOWNS, 40, 1e-8, x, &there);
                valleys += isfinite(reached);
                if (reached < least) {
                        least = reached;
                        memcpy(best, x, sizeof best);
                        end = there;
                }
        }
        if (!isfinite(least))
                return v;
        double seen = fmax(1, least / (double)(2 * d.n)), lo[2] = {best[L_PH], best[C_FF]}, hi[2] = {lo[0], lo[1]};
        for (size_t k = 0; k < (size_t)GRID + valleys; k++) {
                const double *x = k < GRID ? t[k] : valley[k - GRID], reached = k < GRID ? chi2[k] : depth[k - GRID];
                if (!(reached < least + SIGMA_2 * seen))
                        continue;
                if (x[C_FF] < lo[1])
                        memcpy(lo, (double[2]){x[L_PH], x[C_FF]}, sizeof lo);
                if (x[C_FF] > hi[1])
                        memcpy(hi, (double[2]){x[L_PH], x[C_FF]}, sizeof hi);
        }
        const double *c = end.covariance;
        v.found = true;
        v.u_l_h = sqrt(c[L_PH * UNKNOWNS + L_PH] * seen) * 1e-12;
        v.u_c_f = sqrt(c[C_FF * UNKNOWNS + C_FF] * seen) * 1e-15;
        v.told = hi[1] - lo[1] < C_WIDE_FF && v.u_c_f < C_WIDE_FF / 3 * 1e-15;
        v.best = (struct lrrm_match){0, best[L_PH] * 1e-12, best[C_FF] * 1e-15};
        v.low = (struct lrrm_match){0, lo[0] * 1e-12, lo[1] * 1e-15};
        v.high = (struct lrrm_match){0, hi[0] * 1e-12, hi[1] * 1e-15};
        v.opens_apart_f = best[OPENS_APART_FF] * 1e-15;
        v.shorts_apart_h = best[SHORTS_APART_PH] * 1e-12;
        return v;
}

static double to_2_places(double x) { return round(x * 100) / 100 + 0.0; }

static void say_other_pairs(const struct valleys *v, double defined_h, struct diagnosis *d)
{
        double l = to_2_places(d->match_l_fit_h * 1e12), c = to_2_places(d->match_c_fit_f * 1e15);
        double other_l[3], other_c[3];
        const struct lrrm_match *pair[3] = {&v->best, &v->low, &v->high};
        for (int k = 0; k < 3; k++) {
                other_l[k] = to_2_places((pair[k]->l_h + defined_h) * 1e12);
                other_c[k] = to_2_places(pair[k]->c_f * 1e15);
        }
        if (v->told)
                diagnosis_warn(
                        d,
                        "the match has %.3g pH and %.2g fF if open and short are alike at both ports, but %.3g pH and %.2g fF fit "
                        "better, with opens %.2g fF and shorts %.2g pH apart: touch both anew, or state c_f of the match and fit its "
                        "inductance alone",
                        l, c, other_l[0], other_c[0], to_2_places(fabs(v->opens_apart_f) * 1e15),
                        to_2_places(fabs(v->shorts_apart_h) * 1e12));
        else
                diagnosis_warn(
                        d,
                        "the match was taken with %.3g pH and %.2g fF, but all from %.3g pH and %.2g fF to %.3g pH and %.2g fF fits what "
                        "was read: state its c_f (DC, design) and fit its inductance alone, or widen the sweep, or use lrm with a match "
                        "of known inductance",
                        l, c, other_l[1], other_c[1], other_l[2], other_c[2]);
}

void lrrm_look_again(size_t n, const struct lrrm_columns *q, struct lrrm_match m, struct lrrm_match apart[2], struct diagnosis *d)
{
        if (n < LOOK_LEAST) {
                diagnosis_warn(d,
                               "%zu frequencies do not tell whether other pairs of inductance and capacitance of the match fit as well; "
                               "take %d or more, or state its c_f and fit its inductance alone",
                               n, LOOK_LEAST);
                return;
        }
        const struct valleys v = valleys_of(n, q, m, d->open_c_fit_f);
        if (!v.found)
                return;
        const struct lrrm_match pair[3] = {v.best, v.low, v.high};
        double off_l = 0, off_c = 0, u_l = d->match_l_u_h, u_c = d->match_c_u_f;
        for (int k = 0; k < (v.told ? 1 : 3); k++) {
                off_l = fmax(off_l, fabs(pair[k].l_h - m.l_h));
                off_c = fmax(off_c, fabs(pair[k].c_f - m.c_f));
        }
        bool both = u_c > 0;
        double all_l = hypot(off_l, v.u_l_h), all_c = hypot(off_c, v.u_c_f);
        d->match_l_apart_h = sqrt(fmax(0, all_l * all_l - u_l * u_l));
        d->match_c_apart_f = sqrt(fmax(0, all_c * all_c - u_c * u_c));
        if (both && v.told && off_l <= PAIR_OFF_U * fmax(u_l, v.u_l_h) && off_c <= PAIR_OFF_U * fmax(u_c, v.u_c_f))
                return;
        double wider = fmax(1, fmax(all_l / u_l, both ? all_c / u_c : 0));
        for (int k = 0; k < 2; k++) {
                apart[k].l_h *= wider;
                apart[k].c_f *= wider;
        }
        for (size_t i = 0; i < n; i++)
                d->match_weight[i] /= wider * wider;
        for (int k = 0; k < (v.told ? 1 : 3); k++)
                if (fabs(pair[k].c_f - m.c_f) >= fabs(d->match_other_c_f)) {
                        d->match_other_l_h = pair[k].l_h - m.l_h;
                        d->match_other_c_f = pair[k].c_f - m.c_f;
                }
        say_other_pairs(&v, q->z_im[n - 1] / q->w[n - 1], d);
}
