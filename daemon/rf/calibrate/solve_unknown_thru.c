/* solve_unknown_thru.c: "unknown_thru": known reflections at each port and any reciprocal two-port between them (calibration.h).
 * Sources     Ferrero & Pisani, IEEE MGWL 2 (1992) 505.
 * Idea        With both boxes known up to one number, N = X^{-1} T_M Y^{-1} is r times the T of the thru; reciprocity says det T = 1, so r
 * = +-sqrt(det N). The sign is followed from the lowest frequency, where S21 is near exp(-jw tau); the delay guess settles it there and
 * nowhere else.  More reciprocal two-ports say r again, and by how much they disagree (thrus.c); the delay is of the first. */
#include "rf/network/convert.h"
#include "rf/calibrate/exact.h"
#include "rf/calibrate/solve.h"
#include "rf/calibrate/thrus.h"
#include <math.h>

#define CONDITION_REFUSE 1e9

struct found {
        double complex r; /* with the sign in use */
        double condition;
};
struct workspace {
        struct found *found;
        double complex *ratio;
        double *residual;
        signed char *sign;
};

size_t unknown_thru_workspace(size_t n, size_t standards)
{
        return n * (sizeof(double complex) + sizeof(struct found) + standards * sizeof(double) + sizeof(signed char));
}

static struct workspace lay_out(void *memory, size_t n, size_t standards)
{
        struct workspace w = {.ratio = memory};
        w.found = (struct found *)(void *)(w.ratio + n);
        w.residual = (double *)(void *)(w.found + n);
        w.sign = (signed char *)(w.residual + n * standards);
        return w;
}

static size_t thru_of(const struct problem *p)
{
        for (size_t k = 0; k < p->standard_n; k++)
                if (p->standards[k].kind == RF_THRU)
                        return k;
        return 0;
}

/* Boxes and r with the sign that has Re(r conj near) >= 0; near 0: as it comes. */
static bool solve_point(const struct point *p, double complex near, struct box *x, struct box *y, double complex *r, double complex *s21,
                        double *condition, double *residual)
{
        double c1 = 0, c2 = 0;
        if (!box_from_reflections(p, 1, true, x, &c1, residual) || !box_from_reflections(p, 2, true, y, &c2, residual))
                return false;
        struct m2 m = point_raw(p, thru_of(p->problem));
        if (!rf_t_exists(m))
                return false;
        struct m2 n = m2_mul(m2_inv(box_x(*x)), m2_mul(rf_t_from_s(m), m2_inv(box_y(*y))));
        *r = csqrt(m2_det(n));
        if (creal(*r * conj(near)) < 0)
                *r = -*r;
        if (thrus_n(p->problem) > 1)
                *r = thrus_reciprocal(p, *x, *y, thru_of(p->problem), *r, residual);
        *s21 = *r / n.e[3];
        if (condition)
                *condition = fmax(c1, c2);
        return true;
}

static bool terms_point(const struct point *p, const void *choice, double complex t[TERM_COUNT])
{
        const struct found *f = choice;
        struct box x, y;
        double complex r, s21;
        if (!solve_point(p, f->r, &x, &y, &r, &s21, NULL, NULL))
                return false;
        terms_from_boxes(x, y, r, t);
        return true;
}

/* r and S21 of each point, with either sign, and their ratios to the guess. */
static enum code by_points(const struct problem *p, struct workspace *w, struct diagnosis *d, struct tp_error *err)
{
        size_t n = p->axis->n;
        double tau = p->thru_delay_s_guess;
        for (size_t i = 0; i < n; i++) {
                struct point at;
                struct box x, y;
                double complex s21;
                double *r = w->residual + i * p->standard_n;
                for (size_t k = 0; k < p->standard_n; k++)
                        r[k] = NAN;
                point_load(p, i, &at);
                bool good = solve_point(&at, 0, &x, &y, &w->found[i].r, &s21, &d->condition[i], r);
                if (!good || !(d->condition[i] < CONDITION_REFUSE))
                        return tp_fail(
                                err, CODE_UNRESOLVABLE,
                                "unknown_thru: at %.9g Hz the reflections coincide or the thru does not transmit; measure them again",
                                p->axis->hz[i]);
                w->ratio[i] = s21 * cexp(CMPLX(0, RF_TWO_PI * p->axis->hz[i] * tau));
                d->thru_s21_re[i] = creal(s21);
                d->thru_s21_im[i] = cimag(s21);
        }
        return CODE_OK;
}

/* The sign, followed from the lowest frequency, goes into r, and r into the terms. */
static enum code settle(const struct problem *p, struct workspace *w, struct terms *out, struct diagnosis *d, struct followed *f,
                        struct tp_error *err)
{
        size_t n = p->axis->n;
        root_follow(n, p->axis->hz, 0, NULL, w->ratio, w->sign, f);
        if (f->start_angle_deg > 60)
                return tp_fail(err, CODE_BAD_INPUT,
                               "unknown_thru: at %.9g Hz, the lowest frequency, the thru's phase is %.0f degrees from the delay guess of "
                               "%.4g ps, so its sign cannot be settled; "
                               "give a better delay",
                               p->axis->hz[0], f->start_angle_deg, p->thru_delay_s_guess * 1e12);
        for (size_t i = 0; i < n; i++) {
                struct point at;
                double complex t[TERM_COUNT];
                w->found[i].r *= w->sign[i];
                d->thru_s21_re[i] *= w->sign[i];
                d->thru_s21_im[i] *= w->sign[i];
                point_load(p, i, &at);
                terms_point(&at, &w->found[i], t);
                terms_put(out, i, t);
                out->z_re[i] = 50;
                out->z_im[i] = 0;
        }
        residuals_finish(p, d, w->residual);
        return CODE_OK;
}

static bool by_columns(const struct problem *p, struct workspace *w, struct terms *out, const struct covariance *cov, struct diagnosis *d,
                       double *ret_power)
{
        struct exact_worst worst;
        if (!exact_unknown_thru(p, out, d, &worst) || !(worst.condition < CONDITION_REFUSE))
                return false;
        residuals_none(p, d);
        for (size_t i = 0; cov && i < p->axis->n; i++) /* sensitivities hold the sign */
                w->found[i].r = 1 / CMPLX(out->re[TERM_ETF][i], out->im[TERM_ETF][i]);
        *ret_power = worst.thru_power;
        return true;
}

static void say_followed(const struct problem *p, const struct followed *f, struct diagnosis *d)
{
        double tau_ps = p->thru_delay_s_guess * 1e12;
        d->root_followed = f->all;
        d->root_start_hz = p->axis->hz[0];
        d->root_unfollowed_hz = f->unfollowed_hz;
        d->root_contradicts = f->contradicts;
        d->contradiction_hz = f->contradiction_hz;
        d->contradiction_deg = f->contradiction_deg;
        if (!f->all)
                diagnosis_warn(d,
                               "the thru's phase jumps by more than 60 degrees at %.6g GHz: there its sign rests on the delay guess of "
                               "%.4g ps alone",
                               f->unfollowed_hz / 1e9, tau_ps);
        if (f->contradicts)
                diagnosis_warn(d,
                               "the thru's phase is %.0f degrees from the delay guess of %.4g ps at %.6g GHz; the followed sign was kept, "
                               "the guess is wrong",
                               f->contradiction_deg, tau_ps, f->contradiction_hz / 1e9);
}

/* at_most: the largest |S21|^2 where it is known already. */
static void say_active(const struct problem *p, double at_most, struct diagnosis *d)
{
        double worst = 1.02 * 1.02, worst_hz = NAN;
        for (size_t i = 0; at_most > worst && i < p->axis->n; i++) {
                double power = d->thru_s21_re[i] * d->thru_s21_re[i] + d->thru_s21_im[i] * d->thru_s21_im[i];
                if (power > worst) {
                        worst = power;
                        worst_hz = p->axis->hz[i];
                }
        }
        if (worst_hz >= 0)
                diagnosis_warn(d, "the solved thru transmits %.4g at %.6g GHz, more than it gets: a standard is wrong", sqrt(worst),
                               worst_hz / 1e9);
}

enum code unknown_thru_solve(const struct problem *p, void *workspace, struct terms *out, struct covariance *cov, struct diagnosis *d,
                             struct tp_error *err)
{
        const struct method *method = rf_method("unknown_thru");
        enum code code = problem_check_shape(method, p, err);
        if (code)
                return code;
        struct workspace w = lay_out(workspace, p->axis->n, p->standard_n);
        double tau = p->thru_delay_s_guess, power = INFINITY;
        if (!(tau >= 0 && tau < 1e-8))
                return tp_fail(err, CODE_BAD_INPUT,
                               "unknown_thru: a delay guess of %.6g s is no on-wafer thru; give its delay to a quarter period of the "
                               "lowest frequency",
                               tau);
        struct followed followed = {.all = true, .unfollowed_hz = NAN, .contradiction_hz = NAN, .contradiction_deg = NAN};
        if ((code = thru_transmits_check(method, p, err)))
                return code;
        if (!by_columns(p, &w, out, cov, d, &power) &&
            ((code = problem_check_numbers(method, p, err)) || (code = by_points(p, &w, d, err)) ||
             (code = settle(p, &w, out, d, &followed, err))))
                return code;
        out->method = method->word;
        out->model = TERMS_EIGHT;
        out->plane = PLANE_TIP;
        out->switch_removed = p->switch_terms != NULL;
        say_followed(p, &followed, d);
        say_active(p, power, d);
        if (thrus_n(p) > 1)
                thrus_say_reciprocal(p, d);
        diagnosis_warn_condition(d, 1e3, "the reflections are hardly different",
                                 "add one of another offset delay, or another method in a band of its own (\"bands\")");
        if (cov)
                covariance_fill(p, cov, terms_point, w.found, sizeof *w.found);
        return CODE_OK;
}
