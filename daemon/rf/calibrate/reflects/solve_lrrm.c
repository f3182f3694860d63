/* solve_lrrm.c: "lrrm": a known thru, an open and a short that are only equal at both ports, a match at port 1 (calibration.h).
 * Sources     Davidson, Jones & Strid, 36th ARFTG 1990; Purroy & Pradell, IEEE Trans. IM 50 (2001) 1307; the solution by an involution is
 *             our own derivation, checked by tests/reference/rf_reflects.c.
 * Idea        Seen through a symmetric thru a reflection G becomes h(G), and h(h(G)) = G; h keeps g+- = S11 +- S21.  In the raw plane of
 *             port 1 that is an involution too, p -> (al p + be)/(ga p - al), fixed by two swapped pairs, and open and short, equal at both
 *             ports, give one pair each (frame.h).  Its fixed points are the readings of g+ and g-; with the match that is all of port 1,
 *             and the thru gives port 2.  The match's inductance follows from the open's losslessness (lrrm_fit.c).
 * Degenerate  Both pairs coincide when G_open G_short = S21^2: open and short through a thru of 90 degrees.  The condition number says so
 *             long before; lrm has no such frequency. */
#include "rf/network/convert.h"
#include "rf/calibrate/reflects/reflects.h"
#include "rf/calibrate/reflects/swapped.h"
#include <math.h>
#include <stdint.h>

#define CONDITION_WARN \
        6 /* 1.2 over the cosine of the thru: within 12 degrees of 90 noise is four times what a short thru leaves, and more */

struct workspace {
        struct lrrm_columns point;
        struct lrrm_choice *choice;
        double *residual;
};
enum { COLUMNS_OF_POINT = 16 + LRRM_SCRATCH };

size_t lrrm_workspace(size_t n, size_t standards)
{
        return COLUMNS_OF_POINT * net2_stride(n) * sizeof(double) + n * (sizeof(struct lrrm_choice) + standards * sizeof(double)) + 256;
}

static struct workspace lay_out(void *memory, const struct problem *p, const struct rf_standard *open)
{
        size_t stride = net2_stride(p->axis->n);
        struct workspace w = {0};
        struct lrrm_columns *q = &w.point;
        double **const columns[16] = {&q->p_re[0], &q->p_im[0], &q->p_re[1], &q->p_im[1], &q->a_re, &q->a_im, &q->b_re,   &q->b_im,
                                      &q->c_re,    &q->c_im,    &q->d_re,    &q->d_im,    &q->z_re, &q->z_im, &q->u_open, &q->w};
        double *column = memory;
        for (int k = 0; k < 16; k++, column += stride)
                *columns[k] = column;
        for (int k = 0; k < LRRM_SCRATCH; k++, column += stride)
                q->scratch[k] = column;
        q->open_re = open->ideal ? open->ideal->re[0] : NULL;
        q->open_im = open->ideal ? open->ideal->im[0] : NULL;
        w.choice = (struct lrrm_choice *)(void *)column;
        w.residual = (double *)(void *)(w.choice + p->axis->n);
        return w;
}

static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

static enum code check(const struct problem *p, struct tp_error *err)
{
        enum code code = rf_problem_check(rf_method("lrrm"), p, err);
        unsigned thrus = 0, matches = 0;
        for (size_t k = 0; !code && k < p->standard_n; k++) {
                const struct rf_standard *s = &p->standards[k];
                thrus += s->kind == RF_THRU;
                matches += s->kind == RF_LOAD;
                if (s->kind == RF_LOAD && s->offset && !axis_equal(s->offset->axis, p->axis))
                        return tp_fail(err, CODE_BAD_INPUT, "lrrm: the offset of %s has %zu frequencies, the calibration %zu",
                                       standard_name(s), s->offset->axis->n, p->axis->n);
                if ((s->kind == RF_OPEN || s->kind == RF_SHORT) && s->ports != 0 && s->ports != 3)
                        return tp_fail(err, CODE_BAD_INPUT, "lrrm: %s was measured at one port only; it must be read at both",
                                       standard_name(s));
                if (s->kind == RF_OPEN && p->match_fit == RF_MATCH_FROM_OPEN && !s->ideal)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "lrrm: the match is asked from the open, and %s has no definition; give its "
                                       "capacitance or fit the inductance alone",
                                       standard_name(s));
                if (s->kind == RF_OPEN && s->ideal && p->match_fit == RF_MATCH_FROM_OPEN && (code = standard_ideal_check(p, s, err)))
                        return code;
        }
        if (code)
                return code;
        if (thrus != 1 || matches != 1)
                return tp_fail(err, CODE_BAD_INPUT, "lrrm takes one thru and one match, not %u and %u; known_standards takes any number",
                               thrus, matches);
        if (p->match_fit < 0 || p->match_fit >= RF_MATCH_FIT_COUNT)
                return tp_fail(err, CODE_BAD_INPUT, "lrrm: %d is no way to fit the match", (int)p->match_fit);
        if (!(p->axis->hz[0] > 0))
                return tp_fail(err, CODE_BAD_INPUT, "lrrm: an inductance says nothing at %.6g Hz; begin above 0", p->axis->hz[0]);
        const struct net2 *thru = p->standards[lrrm_roles_of(p).thru].ideal;
        for (size_t i = 0; i < p->axis->n; i++) {
                struct m2 s = net2_get(thru, i);
                if (!(abs2(s.e[0] - s.e[3]) < 1e-18) || !rf_t_exists(s))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "lrrm: at %.9g Hz the thru, as defined, does not look alike from both sides (S11 - S22 = %.3g) or "
                                       "does not transmit; use lrm, known_standards or unknown_thru",
                                       p->axis->hz[i], cabs(s.e[0] - s.e[3]));
        }
        return CODE_OK;
}

static enum code settle(const struct problem *p, struct followed f, struct diagnosis *d, struct tp_error *err)
{
        d->root_followed = f.all;
        d->root_start_hz = p->axis->hz[0];
        d->root_unfollowed_hz = f.unfollowed_hz;
        d->root_contradicts = f.contradicts;
        d->contradiction_hz = f.contradiction_hz;
        d->contradiction_deg = f.contradiction_deg;
        if (f.start_angle_deg > 60)
                return tp_fail(err, CODE_BAD_INPUT,
                               "lrrm: at %.9g Hz, the lowest frequency, the open cannot be told from the short; begin lower or check both",
                               p->axis->hz[0]);
        if (!f.all)
                diagnosis_warn(d,
                               "the open jumps by more than 60 degrees at %.6g GHz: there its sign rests on its being nearer to +1 alone",
                               f.unfollowed_hz / 1e9);
        return CODE_OK;
}

static void residuals_of_open(const struct problem *p, const double *residual, struct standard_residual *ret, struct diagnosis *d)
{
        double sum = 0;
        residuals_none(p, d);
        ret->worst = -1;
        for (size_t i = 0; i < p->axis->n; i++) {
                d->residual_rms[i] = d->residual_worst[i] = residual[i];
                sum += residual[i] * residual[i];
                if (residual[i] > ret->worst) {
                        ret->worst = residual[i];
                        ret->worst_hz = p->axis->hz[i];
                }
        }
        ret->rms = sqrt(sum / (double)p->axis->n);
}

static void say_capacitance(struct diagnosis *d)
{
        if (fabs(d->open_c_fit_f) > 15e-15)
                diagnosis_warn(d,
                               "the open comes out with %.3g fF; beyond 15 fF it is no lifted probe and no open pad: check thru delay and "
                               "match",
                               d->open_c_fit_f * 1e15);
}

enum code lrrm_solve(const struct problem *p, void *workspace, struct terms *out, struct covariance *cov, struct diagnosis *d,
                     struct tp_error *err)
{
        enum code code = check(p, err);
        if (code)
                return code;
        size_t n = p->axis->n;
        struct lrrm_roles roles = lrrm_roles_of(p);
        struct workspace w = lay_out(workspace, p, &p->standards[roles.open[0]]);
        w.point.thru = p->standards[roles.thru].ideal;
        w.point.offset = p->standards[roles.match].offset;
        double *const *scratch = w.point.scratch;
        enum cpu_kind kind = cpu_best();
        struct followed f;
        bool by_columns = reflects_lrrm(kind, p, &roles, (struct other_root){scratch[0], scratch[1]}, &w.point, d, &f);
        if (!by_columns && (code = lrrm_points_first(p, &roles, &w.point, d, &f, err)))
                return code;
        if ((code = settle(p, f, d, err)))
                return code;
        w.point.shunt_c_f = p->standards[roles.match].shunt_c_f;
        for (size_t i = 0; i < n; i++) {
                double complex z = lrrm_behind_shunt(CMPLX(w.point.z_re[i], w.point.z_im[i]), w.point.w[i], w.point.shunt_c_f);
                w.point.z_re[i] = creal(z);
                w.point.z_im[i] = cimag(z);
        }
        struct lrrm_match apart[2], match = lrrm_fit(kind, n, &w.point, p->match_fit, apart, d);
        bool moved = false;
        for (int k = 0; k < 3; k++)
                moved = moved || p->match_step[k] > 0 || p->match_step[k] < 0;
        match = (struct lrrm_match){match.r_ohm + p->match_step[0], match.l_h + p->match_step[1], match.c_f + p->match_step[2]};
        lrrm_each(kind, n, &w.point, p->match_fit, match, d);
        lrrm_open_c(kind, n, &w.point, match, apart, d);
        if (p->match_fit == RF_MATCH_FIT_L_C && d->match_l_determined && !moved) {
                w.point.short_l_h = lrrm_short_l_h(p, &roles, &w.point);
                lrrm_look_again(n, &w.point, match, apart, d);
        }
        if (by_columns && reflects_lrrm_terms(kind, p, &roles, &w.point, match, out, d, scratch[0]))
                residuals_of_open(p, scratch[0], &d->standard[roles.open[0]], d);
        else
                lrrm_points_second(p, &roles, &w.point, match, w.residual, out, d);
        out->method = "lrrm";
        out->model = TERMS_EIGHT;
        out->plane = PLANE_TIP;
        out->switch_removed = p->switch_terms != NULL;
        say_capacitance(d);
        reflects_say_swapped(p, roles.shorted[0], p->standards[roles.open[0]].ideal, d->open_c_fit_f, out, d);
        diagnosis_warn_condition(d, CONDITION_WARN, "the thru is near 90 degrees, through which open and short nearly coincide",
                                 "use a shorter thru, lrm, or another method in a band of its own (\"bands\")");
        for (size_t i = 0; i < n && cov; i++)
                w.choice[i] = (struct lrrm_choice){CMPLX(w.point.p_re[0][i], w.point.p_im[0][i]), match};
        if (cov)
                covariance_fill(p, cov, lrrm_terms_point, w.choice, sizeof(struct lrrm_choice));
        return CODE_OK;
}
