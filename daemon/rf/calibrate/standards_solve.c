/* standards_solve.c: a definition fitted to corrected reflections (standards_solve.h).
 * Idea        Gauss-Newton on the real and imaginary parts.  Each round makes one triangular factor R by rotating the rows of the Jacobian
 * in (Givens), so that nothing but a 10 x 10 triangle is kept and no normal equations square the condition; columns are scaled to one
 * length. Covariance  s^2 (R^T R)^{-1}; s^2 = 1 with given u, else the residuals' variance (JCGM 100; any text on linear least squares).
 * Identified  the smallest singular value of the scaled R, from the eigenvectors of R^T R (Jacobi): its vector says which numbers trade for
 * each other.  Offset delay against C0 differ only in second order of wCz: below a few gigahertz no data can tell them apart.
 * Rejected    separate fits of real and imaginary part; fits to C = Im Y/w, which weighs the lowest frequencies without reason. */
#include "rf/calibrate/standards_solve.h"
#include <math.h>
#include <string.h>

#define COUNT STANDARD_NUMBER_COUNT
#define CONDITION_MOST 1e4 /* beyond, 0.01 % of noise moves a number by all of itself */
#define ROUNDS_MOST 30

const char *const standard_number_words[COUNT + 1] = {"C0", "C1", "C2", "C3", "L0", "L1", "L2", "L3", "R", "offset delay", NULL};

static double *number_at(struct standard_definition *d, enum standard_number k)
{
        if (k <= STANDARD_C3)
                return &d->c_f[k];
        if (k <= STANDARD_L3)
                return &d->l_h[k - STANDARD_L0];
        return k == STANDARD_R ? &d->r_ohm : &d->offset_delay_s;
}
static double *u_at(struct standard_definition *d, enum standard_number k)
{
        if (k <= STANDARD_C3)
                return &d->u.c_f[k];
        if (k <= STANDARD_L3)
                return &d->u.l_h[k - STANDARD_L0];
        return k == STANDARD_R ? &d->u.r_ohm : &d->u.offset_delay_s;
}
/* A change that moves the reflection by about 1 at hz. */
static double unit_of(enum standard_number k, double hz)
{
        double w = RF_TWO_PI * hz;
        if (k <= STANDARD_C3)
                return 1 / (50 * w * pow(hz, (double)k));
        if (k <= STANDARD_L3)
                return 50 / (w * pow(hz, (double)(k - STANDARD_L0)));
        return k == STANDARD_R ? 50 : 1 / w;
}
static bool belongs(enum rf_standard_kind kind, enum standard_number k)
{
        if (k == STANDARD_DELAY)
                return true;
        if (kind == RF_OPEN)
                return k <= STANDARD_C3;
        if (kind == RF_SHORT)
                return k >= STANDARD_L0 && k <= STANDARD_L3;
        return true;
}

/* The triangle: R p = z in the scaled or true numbers, and what is left of the right side. */
struct triangle {
        size_t n;
        double r[COUNT][COUNT], z[COUNT], left;
};

/* Takes one row of the system in (Givens). */
static void row_in(struct triangle *t, double row[COUNT], double right)
{
        for (size_t k = 0; k < t->n; k++) {
                if (row[k] == 0)
                        continue;
                double h = hypot(t->r[k][k], row[k]), c = t->r[k][k] / h, s = row[k] / h, z = t->z[k];
                for (size_t j = k; j < t->n; j++) {
                        double above = t->r[k][j];
                        t->r[k][j] = c * above + s * row[j];
                        row[j] = c * row[j] - s * above;
                }
                t->z[k] = c * z + s * right;
                right = c * right - s * z;
        }
        t->left += right * right;
}

struct data {
        const struct axis *axis;
        const double *re, *im, *u;
        double t_c;
};

static double weight_at(const struct data *d, size_t i) { return d->u ? 1 / d->u[i] : 1; }

/* Sum of squared weighted residuals; the largest one. */
static double cost_of(const struct data *d, const struct standard_definition *def, double *ret_worst, double *ret_worst_hz,
                      double *ret_plain)
{
        double sum = 0, plain = 0, worst = -1, worst_hz = NAN;
        for (size_t i = 0; i < d->axis->n; i++) {
                double complex r = CMPLX(d->re[i], d->im[i]) - rf_standard_reflection(def, d->t_c, d->axis->hz[i]);
                double size = creal(r) * creal(r) + cimag(r) * cimag(r), w = weight_at(d, i);
                sum += w * w * size;
                plain += size;
                if (size > worst) {
                        worst = size;
                        worst_hz = d->axis->hz[i];
                }
        }
        if (ret_worst) {
                *ret_worst = sqrt(fmax(worst, 0));
                *ret_worst_hz = worst_hz;
                *ret_plain = plain;
        }
        return sum;
}

static struct triangle linearised(const struct data *d, const struct standard_definition *def, const struct standard_fit *fit)
{
        struct triangle t = {.n = fit->n};
        struct standard_definition moved = *def;
        for (size_t i = 0; i < d->axis->n; i++) {
                double hz = d->axis->hz[i], w = weight_at(d, i), rows[2][COUNT];
                double complex r = CMPLX(d->re[i], d->im[i]) - rf_standard_reflection(def, d->t_c, hz);
                for (size_t k = 0; k < fit->n; k++) {
                        double *at = number_at(&moved, fit->which[k]), is = *at, h = 1e-6 * unit_of(fit->which[k], hz);
                        *at = is + h;
                        double complex up = rf_standard_reflection(&moved, d->t_c, hz);
                        *at = is - h;
                        double complex slope = (up - rf_standard_reflection(&moved, d->t_c, hz)) / (2 * h);
                        *at = is;
                        rows[0][k] = w * creal(slope);
                        rows[1][k] = w * cimag(slope);
                }
                row_in(&t, rows[0], w * creal(r));
                row_in(&t, rows[1], w * cimag(r));
        }
        return t;
}

/* Length of each column of R, and R with columns of length 1.  false: a number that moves nothing. */
static bool scale(struct triangle *t, double length[COUNT])
{
        for (size_t k = 0; k < t->n; k++) {
                double sum = 0;
                for (size_t j = 0; j <= k; j++)
                        sum += t->r[j][k] * t->r[j][k];
                length[k] = sqrt(sum);
                if (!(length[k] > 0 && isfinite(length[k])))
                        return false;
                for (size_t j = 0; j <= k; j++)
                        t->r[j][k] /= length[k];
        }
        return true;
}

/* Eigenvalues and eigenvectors (columns of v) of the symmetric a, destroyed; Jacobi, 12 sweeps are plenty for 10 x 10. */
static void eigen(size_t n, double a[COUNT][COUNT], double v[COUNT][COUNT])
{
        for (size_t i = 0; i < n; i++)
                for (size_t j = 0; j < n; j++)
                        v[i][j] = i == j;
        for (int sweep = 0; sweep < 12; sweep++)
                for (size_t p = 0; p < n; p++)
                        for (size_t q = p + 1; q < n; q++) {
                                if (a[p][q] == 0)
                                        continue;
                                double theta = (a[q][q] - a[p][p]) / (2 * a[p][q]);
                                double t = (theta < 0 ? -1 : 1) / (fabs(theta) + sqrt(theta * theta + 1)), c = 1 / sqrt(t * t + 1),
                                       s = t * c;
                                for (size_t k = 0; k < n; k++) {
                                        double kp = a[k][p], kq = a[k][q];
                                        a[k][p] = c * kp - s * kq;
                                        a[k][q] = s * kp + c * kq;
                                }
                                for (size_t k = 0; k < n; k++) {
                                        double pk = a[p][k], qk = a[q][k], kp = v[k][p], kq = v[k][q];
                                        a[p][k] = c * pk - s * qk;
                                        a[q][k] = s * pk + c * qk;
                                        v[k][p] = c * kp - s * kq;
                                        v[k][q] = s * kp + c * kq;
                                }
                        }
}

/* Condition of the scaled triangle, and the two numbers that trade most in its weakest direction. */
static double condition_of(const struct triangle *t, size_t weak[2])
{
        double a[COUNT][COUNT] = {{0}}, v[COUNT][COUNT];
        for (size_t i = 0; i < t->n; i++)
                for (size_t j = 0; j < t->n; j++)
                        for (size_t k = 0; k <= (i < j ? i : j); k++)
                                a[i][j] += t->r[k][i] * t->r[k][j];
        eigen(t->n, a, v);
        size_t low = 0, high = 0;
        for (size_t k = 1; k < t->n; k++) {
                low = a[k][k] < a[low][low] ? k : low;
                high = a[k][k] > a[high][high] ? k : high;
        }
        weak[0] = 0;
        weak[1] = t->n > 1 ? 1 : 0;
        for (size_t k = 0; k < t->n; k++)
                weak[0] = fabs(v[k][low]) > fabs(v[weak[0]][low]) ? k : weak[0];
        if (weak[1] == weak[0])
                weak[1] = 0;
        for (size_t k = 0; k < t->n; k++)
                weak[1] = k != weak[0] && fabs(v[k][low]) > fabs(v[weak[1]][low]) ? k : weak[1];
        /* the eigenvalues are squares: below 1e-15 of the largest they are rounding */
        return sqrt(a[high][high] / fmax(a[low][low], 1e-15 * a[high][high]));
}

static void back_solve(const struct triangle *t, const double z[COUNT], double x[COUNT])
{
        for (size_t k = t->n; k-- > 0;) {
                double sum = z[k];
                for (size_t j = k + 1; j < t->n; j++)
                        sum -= t->r[k][j] * x[j];
                x[k] = sum / t->r[k][k];
        }
}

/* u and correlation from the scaled triangle: (R^T R)^{-1} = R^{-1} R^{-T}. */
static void covariance_take(const struct triangle *t, const double length[COUNT], double variance, struct standard_fit *fit)
{
        double inverse[COUNT][COUNT] = {{0}}, c[COUNT][COUNT] = {{0}};
        for (size_t k = 0; k < t->n; k++) {
                double unit[COUNT] = {0}, x[COUNT] = {0};
                unit[k] = 1;
                back_solve(t, unit, x);
                for (size_t j = 0; j < t->n; j++)
                        inverse[j][k] = x[j];
        }
        for (size_t i = 0; i < t->n; i++)
                for (size_t j = 0; j < t->n; j++)
                        for (size_t k = 0; k < t->n; k++)
                                c[i][j] += inverse[i][k] * inverse[j][k];
        for (size_t i = 0; i < t->n; i++) {
                fit->u[i] = sqrt(variance * c[i][i]) / length[i];
                for (size_t j = 0; j < t->n; j++)
                        fit->correlation[i][j] = c[i][j] / sqrt(c[i][i] * c[j][j]);
        }
}

static enum code inputs_check(const struct standard_definition *def, unsigned numbers, const struct data *d, struct standard_fit *fit,
                              struct tp_error *err)
{
        if (def->kind != RF_OPEN && def->kind != RF_SHORT && def->kind != RF_LOAD)
                return tp_fail(err, CODE_BAD_INPUT, "definitions are solved for an open, a short or a load");
        enum code code = rf_standard_check(def, d->t_c, err);
        if (code)
                return code;
        for (enum standard_number k = 0; k < COUNT; k++) {
                if (!(numbers & STANDARD_FIT(k)))
                        continue;
                if (!belongs(def->kind, k))
                        return tp_fail(err, CODE_BAD_INPUT, "the definition of %s %s has no %s to be fitted",
                                       def->kind == RF_OPEN ? "an" : "a", rf_standard_words[def->kind], standard_number_words[k]);
                fit->which[fit->n++] = k;
        }
        if (fit->n == 0 || numbers >> COUNT)
                return tp_fail(err, CODE_BAD_INPUT, "no number (or one that is not known, 0x%x) is asked to be fitted", numbers);
        if (2 * d->axis->n < fit->n + 2)
                return tp_fail(err, CODE_BAD_INPUT, "%zu frequencies are too few for %zu numbers; give %zu at least", d->axis->n, fit->n,
                               (fit->n + 3) / 2);
        for (size_t i = 0; i < d->axis->n; i++) {
                if (!(d->axis->hz[i] > 0))
                        return tp_fail(err, CODE_BAD_INPUT, "a standard's definition needs frequencies above 0, not %.9g Hz",
                                       d->axis->hz[i]);
                if (!isfinite(d->re[i]) || !isfinite(d->im[i]) || (d->u && !(d->u[i] > 0 && isfinite(d->u[i]))))
                        return tp_fail(err, CODE_BAD_INPUT, "at %.9g Hz the reflection (%g%+gj) or its uncertainty is no number above 0",
                                       d->axis->hz[i], d->re[i], d->im[i]);
        }
        return CODE_OK;
}

/* One step of Gauss-Newton, halved until it helps.  false: no step helps any more. */
static bool step(const struct data *d, struct standard_definition *def, const struct standard_fit *fit, const double x[COUNT], double *cost)
{
        for (double part = 1; part > 1e-4; part /= 2) {
                struct standard_definition next = *def;
                for (size_t k = 0; k < fit->n; k++)
                        *number_at(&next, fit->which[k]) += part * x[k];
                double is = cost_of(d, &next, NULL, NULL, NULL);
                if (is < *cost) {
                        *def = next;
                        *cost = is;
                        return true;
                }
        }
        return false;
}

enum code rf_standard_solve(struct standard_definition *def, unsigned numbers, double t_c, const struct axis *axis, const double *g_re,
                            const double *g_im, const double *u, struct standard_fit *ret, struct tp_error *err)
{
        struct data d = {.axis = axis, .re = g_re, .im = g_im, .u = u, .t_c = t_c};
        struct standard_fit fit = {.chi2_per_freedom = NAN};
        struct standard_definition at = *def;
        struct triangle t = {.n = 0};
        double length[COUNT], plain;
        size_t weak[2] = {0, 0};
        enum code code = inputs_check(def, numbers, &d, &fit, err);
        if (code)
                return code;
        double cost = cost_of(&d, &at, NULL, NULL, NULL);
        for (bool moves = true; moves && fit.rounds < ROUNDS_MOST; fit.rounds++) {
                double x[COUNT] = {0}, before = cost, shift = 0;
                t = linearised(&d, &at, &fit);
                if (!scale(&t, length))
                        return tp_fail(err, CODE_UNRESOLVABLE, "a number moves nothing over this band, or the data lead nowhere; fix it");
                fit.condition = condition_of(&t, weak);
                if (!(fit.condition <= CONDITION_MOST))
                        break;
                back_solve(&t, t.z, x);
                for (size_t k = 0; k < fit.n; k++) {
                        shift = fmax(shift, fabs(x[k]));
                        x[k] /= length[k];
                }
                moves = step(&d, &at, &fit, x, &cost) && (before - cost > 1e-12 * before || shift > 1e-9 * sqrt(cost + 1e-30));
        }
        if (!(fit.condition <= CONDITION_MOST))
                return tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "%s and %s cannot be told apart over this band (%.6g to %.6g GHz, condition %.1e, limit %.0e); measure over a "
                        "wider band, or fix one of them",
                        standard_number_words[fit.which[weak[0]]], standard_number_words[fit.which[weak[1]]], axis->hz[0] / 1e9,
                        axis->hz[axis->n - 1] / 1e9, fit.condition, CONDITION_MOST);
        if (fit.rounds == ROUNDS_MOST)
                return tp_fail(err, CODE_UNRESOLVABLE, "the fit does not settle within %d rounds (rms %.3g); are these data of %s %s?",
                               ROUNDS_MOST, sqrt(cost / (2 * (double)axis->n)), def->kind == RF_OPEN ? "an" : "a",
                               rf_standard_words[def->kind]);
        cost = cost_of(&d, &at, &fit.worst, &fit.worst_hz, &plain);
        double freedom = 2 * (double)axis->n - (double)fit.n, variance = u ? 1 : cost / freedom;
        covariance_take(&t, length, variance, &fit);
        fit.scatter = sqrt(plain / freedom);
        if (u)
                fit.chi2_per_freedom = cost / freedom;
        for (size_t k = 0; k < fit.n; k++) {
                fit.value[k] = *number_at(&at, fit.which[k]);
                *u_at(&at, fit.which[k]) = fit.u[k];
        }
        *def = at;
        *ret = fit;
        return CODE_OK;
}
