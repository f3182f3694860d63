/* lrrm_fit.c: inductance (and capacitance, or resistance) of the match (lrrm.h).
 * Sources     Davidson, Jones & Strid, 36th ARFTG 1990: the open is lossless; Purroy & Pradell, IEEE Trans. IM 50 (2001) 1307 and Zhao et
 *             al., Appl. Sci. 7 (2017) 866: match with capacitance, open of known capacitance.
 * Idea        The residual is |G_open|^2 - 1, not Re y = 0, so that a lossy thru does no harm; with a known open it is G_open - its
 *             definition.  One Gauss-Newton over all frequencies at once.
 * Weights     Low frequencies say nothing about L, and near a thru of 90 degrees raw noise grows a hundredfold.  Each residual is divided
 *             by what unit noise of the raw data makes of it (u_open) and, on long sweeps, by the scatter that neighbours really show.
 * Determined  L is believed when raw noise of -80 dB alone leaves it within 10 pH, and the residuals' own scatter as well (common practice,
 *             no source); otherwise the definition's value stays, and that is said. */
#include "rf/calibrate/reflects/lrrm.h"
#include "rf/numbers/columns.h"
#include "rf/numbers/cx.h"
#include <math.h>
#include <string.h>

#define NOISE_80_DB 1e-4
#define L_UNSURE_H 10e-12
#define C_UNSURE_F 5e-15
#define HALF_WINDOW 16
#define R_BELOW_HZ 60e9
#define R_OFF_MAX 0.03 /* of the definition, and five standard errors: no false word of 2000 good matches (tests/unit/rf_match_judge.c) */

/* What the residuals and their derivatives are written to; DX: by the second unknown. */
enum { R_0, DL_0, DX_0, R_1, DL_1, DX_1 };
struct fit_columns {
        const struct lrrm_columns *q;
        struct lrrm_match match;
        double *r_ohm, *l_h, open_c_50;
        bool to_scale, second_is_r;
};
struct sum_columns {
        const double *r, *dl, *dx, *weight; /* weight: of blocks of HALF_WINDOW rows, NULL: all 1 */
        double *sum;                        /* dl dl, dl dx, dx dx, dl r, dx r, r r */
};
typedef double lanes __attribute__((vector_size(64), aligned(8), may_alias));

#define LOOPS "rf/calibrate/reflects/lrrm_fit_loops.h"
#include "rf/numbers/kinds.h"

double complex lrrm_impedance(const struct lrrm_point *q, struct lrrm_match m)
{
        double complex z = q->z + CMPLX(m.r_ohm, q->w * m.l_h);
        return z / (1 + CMPLX(0, q->w * m.c_f) * z);
}

struct lrrm_point lrrm_get(const struct lrrm_columns *c, size_t i)
{
        return (struct lrrm_point){.p = {CMPLX(c->p_re[0][i], c->p_im[0][i]), CMPLX(c->p_re[1][i], c->p_im[1][i])},
                                   .a = CMPLX(c->a_re[i], c->a_im[i]),
                                   .b = CMPLX(c->b_re[i], c->b_im[i]),
                                   .c = CMPLX(c->c_re[i], c->c_im[i]),
                                   .d = CMPLX(c->d_re[i], c->d_im[i]),
                                   .z = CMPLX(c->z_re[i], c->z_im[i]),
                                   .u_open = c->u_open[i],
                                   .w = c->w[i]};
}

void lrrm_put(const struct lrrm_columns *c, size_t i, const struct lrrm_point *q)
{
        double *const re[] = {c->p_re[0], c->p_re[1], c->a_re, c->b_re, c->c_re, c->d_re, c->z_re};
        double *const im[] = {c->p_im[0], c->p_im[1], c->a_im, c->b_im, c->c_im, c->d_im, c->z_im};
        const double complex value[] = {q->p[0], q->p[1], q->a, q->b, q->c, q->d, q->z};
        for (size_t k = 0; k < sizeof value / sizeof value[0]; k++) {
                re[k][i] = creal(value[k]);
                im[k][i] = cimag(value[k]);
        }
        c->u_open[i] = q->u_open;
        c->w[i] = q->w;
}

/* What is fitted, in units of 1 pH, 1 fF, 1 ohm; L_AND_R to a known open, the others to a lossless one. */
enum unknowns { L_ALONE, L_AND_C, L_AND_R };
static int count(enum unknowns u) { return u == L_ALONE ? 1 : 2; }
static void step_by(struct lrrm_match *m, enum unknowns u, const double by[2])
{
        m->l_h += by[0] * 1e-12;
        if (u == L_AND_C)
                m->c_f += by[1] * 1e-15;
        if (u == L_AND_R)
                m->r_ohm += by[1];
}

struct sweep {
        enum cpu_kind kind;
        size_t n;
        const struct lrrm_columns *q;
};

/* Residuals and derivatives of all frequencies into the scratch columns; returns how many real ones a frequency has. */
static int residuals(struct sweep s, struct lrrm_match m, enum unknowns u)
{
        const struct fit_columns in = {.q = s.q, .match = m, .second_is_r = u == L_ALONE};
        if (u == L_AND_R)
                CPU_RUN_ON(s.kind, known, s.n, &in);
        else
                CPU_RUN_ON(s.kind, lossless, s.n, &in);
        return u == L_AND_R ? 2 : 1;
}

struct normal {
        double jj[3], jr[2], chi2, rows;
};
static struct normal normal(struct sweep s, struct lrrm_match m, enum unknowns u, const double *weight)
{
        double sum[6] = {0};
        int rows = residuals(s, m, u);
        for (int j = 0; j < rows; j++) {
                double *const *x = s.q->scratch + (j ? R_1 : R_0);
                const struct sum_columns in = {.r = x[R_0], .dl = x[DL_0], .dx = x[DX_0], .weight = weight, .sum = sum};
                CPU_RUN_ON(s.kind, sums, net2_stride(s.n), &in);
        }
        return (struct normal){{sum[0], sum[1], sum[2]}, {sum[3], sum[4]}, sum[5], (double)s.n * rows};
}

/* Weights of blocks of HALF_WINDOW points: one over the variance of the residuals around each, from second differences of neighbours. */
static void weigh(struct sweep s, struct lrrm_match m, enum unknowns u, double *ret_weight)
{
        int rows = residuals(s, m, u);
        double quietest = INFINITY, *bend = s.q->scratch[DL_0];
        for (size_t i = 0; i < s.n; i++)
                bend[i] = 0;
        for (int j = 0; j < rows; j++) {
                const double *r = s.q->scratch[j ? R_1 : R_0];
                for (size_t i = 2; i < s.n; i++) {
                        double x = r[i] - 2 * r[i - 1] + r[i - 2];
                        bend[i] += x * x / 6;
                }
        }
        size_t blocks = (s.n + HALF_WINDOW - 1) / HALF_WINDOW;
        for (size_t b = 0; b < blocks; b++) {
                size_t middle = b * HALF_WINDOW + HALF_WINDOW / 2, at = middle < s.n ? middle : s.n - 1;
                size_t first = at > HALF_WINDOW ? at - HALF_WINDOW : 0, last = at + HALF_WINDOW < s.n ? at + HALF_WINDOW : s.n - 1;
                double sum = 0;
                for (size_t k = first + 2; k <= last; k++)
                        sum += bend[k];
                ret_weight[b] = sum / (double)((last - first - 1) * (size_t)rows);
                quietest = ret_weight[b] > 0 ? fmin(quietest, ret_weight[b]) : quietest;
        }
        for (size_t b = 0; b < blocks; b++) /* the floor keeps exact data, whose rounding is no measure of anything, from dividing by 0 */
                ret_weight[b] = isfinite(quietest) ? 1 / (ret_weight[b] + quietest + 1e-24) : 1;
}

struct fitted {
        struct lrrm_match match;
        double u80[2], u[2]; /* standard uncertainty at raw noise of -80 dB; from the residuals' scatter */
        struct lrrm_match apart[2];
        double seen; /* chi^2 per degree of freedom: what the weights are off the residuals' scatter by */
        bool converged;
        double r_ohm, r_u_ohm; /* L_ALONE: what the resistance would be found away from its definition, and how surely */
};

/* The covariance variance * v as two independent steps. */
static void steps_apart(enum unknowns u, const double v[3], double variance, struct lrrm_match ret[2])
{
        double s = sqrt(variance * v[0]), along = count(u) > 1 ? variance * v[1] / s : 0;
        ret[0] = ret[1] = (struct lrrm_match){0};
        if (!(s > 0))
                return;
        step_by(&ret[0], u, (const double[2]){s, along});
        step_by(&ret[1], u, (const double[2]){0, count(u) > 1 ? sqrt(fmax(0, variance * v[2] - along * along)) : 0});
}

/* Inverse of the symmetric [[jj0, jj1], [jj1, jj2]] (or of jj0 alone) into v. */
static bool invert(int n, const double jj[3], double v[3])
{
        if (n == 1) {
                v[0] = 1 / jj[0];
                v[1] = v[2] = 0;
                return jj[0] > 0;
        }
        double det = jj[0] * jj[2] - jj[1] * jj[1];
        v[0] = jj[2] / det;
        v[1] = -jj[1] / det;
        v[2] = jj[0] / det;
        return det > 1e-12 * jj[0] * jj[2];
}

/* L alone was fitted; one step more with R beside it, to first order, and the scatter that then is left.  Without the highest frequencies:
   there touches that differ from port to port look like a resistance.  The scratch columns hold the residuals at f->match. */
static void beside_resistance(struct sweep s, const double *weight, struct fitted *f)
{
        size_t low = 0, high = s.n;
        while (low < high) {
                size_t middle = (low + high) / 2;
                if (s.q->w[middle] <= RF_TWO_PI * R_BELOW_HZ)
                        low = middle + 1;
                else
                        high = middle;
        }
        double *const *x = s.q->scratch, sum[6] = {0}, v[3];
        size_t rows = low < s.n ? low / 8 * 8 : net2_stride(s.n);
        const struct sum_columns in = {.r = x[R_0], .dl = x[DL_0], .dx = x[DX_0], .weight = weight, .sum = sum};
        CPU_RUN_ON(s.kind, sums, rows, &in);
        const struct normal at = {{sum[0], sum[1], sum[2]}, {sum[3], sum[4]}, sum[5], (double)(low < s.n ? rows : s.n)};
        double freedom = at.rows - 2;
        f->r_ohm = f->r_u_ohm = NAN;
        if (!invert(2, at.jj, v) || !(freedom > 0))
                return;
        double l = -(v[0] * at.jr[0] + v[1] * at.jr[1]), r = -(v[1] * at.jr[0] + v[2] * at.jr[1]);
        f->r_ohm = r;
        f->r_u_ohm = sqrt(fmax(0, at.chi2 + l * at.jr[0] + r * at.jr[1]) / freedom * v[2]);
}

/* One descent from f->match; lambda damps (Levenberg-Marquardt) where the unknowns are nearly one: L and C of a match near 50 ohm.  Returns
   the sum of squares; f->u, f->u80 and f->converged are those of the end. */
static double descend(struct sweep s, enum unknowns u, const double *weight, double enough, struct fitted *f)
{
        int n = count(u);
        double v[3], step = INFINITY, lambda = n > 1 ? 1e-3 : 0;
        struct normal at = normal(s, f->match, u, weight);
        for (int round = 0; round < 60 && step > enough; round++) {
                const double damped[3] = {at.jj[0] * (1 + lambda), at.jj[1], at.jj[2] * (1 + lambda)};
                if (!invert(n, damped, v))
                        break;
                double by[2] = {-(v[0] * at.jr[0] + v[1] * at.jr[1]), n > 1 ? -(v[1] * at.jr[0] + v[2] * at.jr[1]) : 0},
                       size = fmax(fabs(by[0]), fabs(by[1]));
                if (!isfinite(size))
                        return INFINITY;
                for (int k = 0; k < n && size > 20; k++) /* pH, fF, ohm */
                        by[k] *= 20 / size;
                struct lrrm_match to = f->match;
                step_by(&to, u, by);
                struct normal there = normal(s, to, u, weight);
                /* uphill: shorter, steeper; the last steps are too small for the sum to tell, and right all the same */
                if (lambda > 0 && size > 1e-6 && !(there.chi2 <= at.chi2)) {
                        if (lambda > 1e6) { /* no way down is left */
                                step = 0;
                                break;
                        }
                        lambda *= 8;
                        continue;
                }
                lambda = lambda > 1e-12 ? lambda / 8 : 0;
                step = size;
                f->match = to;
                at = there;
        }
        f->converged = step < 1e-3; /* in noise the last digits may keep moving */
        if (invert(n, at.jj, v)) {
                double seen = f->seen = at.rows > n ? at.chi2 / (at.rows - n) : 0;
                for (int k = 0; k < n; k++)
                        f->u[k] = sqrt(seen * v[k * 2]);
                steps_apart(u, v, seen, f->apart);
        }
        return at.chi2;
}

/* One capacitance for the solved open at all frequencies, times 50 ohm, and the sum of the squares that it leaves (N(bend)). */
struct bend {
        double c_50, ww, chi2;
};
static struct bend bend_of_open(struct sweep s, struct lrrm_match m, bool to_scale)
{
        double *const *x = s.q->scratch, sum[2][6] = {{0}}, c_50 = 0;
        for (int pass = 0; pass < 2; pass++) {
                const struct fit_columns in = {.q = s.q, .match = m, .open_c_50 = c_50, .to_scale = to_scale};
                const struct sum_columns sums = {.r = x[R_0], .dl = x[DL_0], .dx = x[DL_0], .sum = sum[pass]};
                CPU_RUN_ON(s.kind, bend, s.n, &in);
                CPU_RUN_ON(s.kind, sums, net2_stride(s.n), &sums);
                c_50 += sum[pass][3] / sum[pass][0];
        }
        return (struct bend){c_50, sum[0][0], sum[1][5]};
}

enum { STARTS = 6 };                  /* of L and C; from three, one of thirty exact sets ended in another valley */
enum { BLOCKS = 4096 / HALF_WINDOW }; /* longer sweeps go without the local scatter */
/* ret_weight: of G at each frequency as they were used in the end, times what makes the residuals' scatter their variance. */
static struct fitted fit(struct sweep s, enum unknowns u, const struct lrrm_match *starts, size_t start_n, double *ret_weight)
{
        struct fitted best = {.u80 = {INFINITY, INFINITY}, .u = {INFINITY, INFINITY}};
        bool local = s.n >= 4 * HALF_WINDOW && s.n <= BLOCKS * HALF_WINDOW;
        double least = INFINITY, weight[BLOCKS] = {0}, v[3];
        for (size_t k = 0; k < start_n; k++) {
                struct fitted f = best;
                f.match = starts[k];
                double chi2 = descend(s, u, NULL, local ? 1e-3 : 1e-13, &f);
                if (start_n > 1) /* L and C have other valleys, where the open is as lossless but bends */
                        chi2 += bend_of_open(s, f.match, true).chi2;
                if (f.converged && chi2 < least) {
                        least = chi2;
                        best = f;
                }
        }
        if (local && best.converged) { /* once more, with the scatter that neighbours really show */
                weigh(s, best.match, u, weight);
                descend(s, u, weight, 1e-13, &best);
        }
        for (size_t i = 0; i < s.n; i++)
                ret_weight[i] = (local && best.converged ? weight[i / HALF_WINDOW] : 1) / (s.q->u_open[i] * s.q->u_open[i] * best.seen);
        struct normal at = normal(s, best.match, u, NULL);
        if (u == L_ALONE && best.converged)
                beside_resistance(s, local ? weight : NULL, &best);
        for (int k = 0; k < count(u) && invert(count(u), at.jj, v); k++)
                best.u80[k] = NOISE_80_DB * sqrt(v[k * 2]);
        return best;
}

/* The definition's own inductance, where it shows best: at the highest frequency, R + jwL exactly. */
static double defined_l(size_t n, const struct lrrm_columns *q) { return q->z_im[n - 1] / q->w[n - 1]; }

static bool sure(const struct fitted *f, int k, double unsure) /* in the unknown's unit */
{
        return f->converged && f->u80[k] < unsure && f->u[k] < unsure;
}

/* A wrong resistance scales all admittances, and a lossless open stays lossless; but through a thru that has a delay it does not. */
static void say_resistance(const struct fitted *f, double r, struct diagnosis *d)
{
        if (fabs(f->r_ohm) > R_OFF_MAX * r && fabs(f->r_ohm) > 5 * f->r_u_ohm)
                diagnosis_warn(
                        d,
                        "the open would be lossless with a match of %.4g ohm (+- %.2g), its definition says %.4g ohm: check the match "
                        "(at DC, or by a verification), the thru's delay, and the touches",
                        r + f->r_ohm, f->r_u_ohm, r);
}

struct lrrm_match lrrm_fit(enum cpu_kind kind, size_t n, const struct lrrm_columns *q, enum rf_match_fit what,
                           struct lrrm_match ret_apart[2], struct diagnosis *d)
{
        const struct sweep s = {kind, n, q};
        struct fitted f = {.u = {NAN, NAN}};
        bool known_open = what == RF_MATCH_FROM_OPEN, l_sure = false;
        const struct lrrm_match none = {.c_f = q->shunt_c_f};
        double c = none.c_f, c_u = 0, r = q->z_re[0];
        ret_apart[0] = ret_apart[1] = (struct lrrm_match){0};
        d->match_l_fit_h = defined_l(n, q);
        d->match_l_determined = false;
        for (int k = 0; k < LRRM_SCRATCH; k++) /* the sums run over whole lanes */
                for (size_t i = n; i < net2_stride(n); i++)
                        q->scratch[k][i] = 0;
        if (what == RF_MATCH_FIXED)
                return none;
        if (what == RF_MATCH_FIT_L_C) {
                /* R + jwL and C enter as w (L - R^2 C) first: begin on that valley, on both sides of C = 0 */
                f = fit(s, L_ALONE, &none, 1, d->match_weight);
                struct lrrm_match valley[STARTS] = {{.c_f = 4e-15}, {.c_f = -4e-15}, {.c_f = 12e-15},
                                                    {.c_f = 0},     {.c_f = 8e-15},  {.c_f = 2e-15}};
                for (int k = 0; k < STARTS; k++)
                        valley[k].l_h = f.match.l_h + r * r * (valley[k].c_f - none.c_f);
                f = fit(s, L_AND_C, valley, STARTS, d->match_weight);
                l_sure = sure(&f, 0, L_UNSURE_H * 1e12) && sure(&f, 1, C_UNSURE_F * 1e15);
                if (l_sure) {
                        c = f.match.c_f;
                        c_u = f.u[1] * 1e-15;
                } else
                        diagnosis_warn(d,
                                       "inductance and capacitance of the match cannot both be determined from this open and sweep; only "
                                       "the inductance was fitted");
        }
        if (known_open) {
                f = fit(s, L_AND_R, &none, 1, d->match_weight);
                l_sure = sure(&f, 0, L_UNSURE_H * 1e12) && f.u[1] < 1 && f.u80[1] < 1;
        } else if (!l_sure) { /* beside a capacitance the inductance has other valleys, too, some 30 pH away */
                const struct lrrm_match from[3] = {none, {0, 12e-12, none.c_f}, {0, -12e-12, none.c_f}};
                f = fit(s, L_ALONE, from, none.c_f > 0 || none.c_f < 0 ? 3 : 1, d->match_weight);
                l_sure = sure(&f, 0, L_UNSURE_H * 1e12);
        }
        if (!l_sure) {
                column_fill(n, d->match_weight, NAN);
                diagnosis_warn(d,
                               "L not determined: the open (too small a capacitance, or too low a sweep) leaves the match's inductance "
                               "uncertain by %.3g pH; its definition (%.4g pH) was taken",
                               fmax(f.u80[0], f.u[0]), d->match_l_fit_h * 1e12);
                return none;
        }
        d->match_l_determined = true;
        memcpy(ret_apart, f.apart, sizeof f.apart);
        d->match_l_fit_h += f.match.l_h;
        d->match_l_u_h = f.u[0] * 1e-12;
        d->match_c_fit_f = c;
        d->match_c_u_f = c_u;
        d->match_r_fit_ohm = r + f.match.r_ohm;
        d->match_r_u_ohm = known_open ? f.u[1] : 0;
        if (what == RF_MATCH_FIT_L)
                say_resistance(&f, r, d);
        if (fabs(d->match_l_fit_h) > 30e-12)
                diagnosis_warn(d, "the match comes out with %.3g pH; more than 30 pH is no match on a substrate: check thru delay and R",
                               d->match_l_fit_h * 1e12);
        if (known_open && fabs(f.match.r_ohm) > 0.02 * r)
                diagnosis_warn(d, "by the known open the match has %.4g ohm, its definition says %.4g ohm: check both", d->match_r_fit_ohm,
                               r);
        return f.match;
}

void lrrm_open_c(enum cpu_kind kind, size_t n, const struct lrrm_columns *q, struct lrrm_match m, const struct lrrm_match apart[2],
                 struct diagnosis *d)
{
        const struct sweep s = {kind, n, q};
        struct bend b = bend_of_open(s, m, false);
        d->open_c_fit_f = b.c_50 / 50;
        d->open_c_u_f = n > 1 ? sqrt(b.chi2 / ((double)(n - 1) * b.ww)) / 50 : NAN;
        for (int k = 0; k < 2; k++) {
                struct lrrm_match to = {m.r_ohm + apart[k].r_ohm, m.l_h + apart[k].l_h, m.c_f + apart[k].c_f};
                d->open_c_u_f = hypot(d->open_c_u_f, bend_of_open(s, to, false).c_50 / 50 - d->open_c_fit_f);
        }
}

void lrrm_each(enum cpu_kind kind, size_t n, const struct lrrm_columns *q, enum rf_match_fit fit_of, struct lrrm_match m,
               struct diagnosis *d)
{
        const struct fit_columns in = {.q = q, .match = m, .r_ohm = d->match_r_ohm, .l_h = d->match_l_h};
        if (fit_of != RF_MATCH_FROM_OPEN)
                CPU_RUN_ON(kind, alone, n, &in);
        for (size_t i = 0; i < n && fit_of == RF_MATCH_FROM_OPEN; i++) { /* Z = (a - c G)/(d G - b) */
                struct lrrm_point at = lrrm_get(q, i);
                double complex open = CMPLX(q->open_re[i], q->open_im[i]), z = (at.a - at.c * open) / (at.d * open - at.b);
                d->match_r_ohm[i] = creal(z);
                d->match_l_h[i] = cimag(z) / at.w;
        }
}
