/* solve_solt.c: "sol" and "solt": known reflections at each port, then a known thru (calibration.h).
 * Idea        Each port's box from its reflections (three exactly, more by weighted least squares); the thru, seen through the finished box
 *             of one side, gives load match and transmission tracking of the other; several thrus by least squares (thrus.c).  Switch terms
 *             stay inside ELF … ETR: the raw data keep them.
 * Check       From twelve terms the ratio K comes out twice (by ETF and by ETR); their difference is a free figure of quality, as are the
 *             implied switch terms against measured ones (Marks, 50th ARFTG, 1997).
 * Not here    isolation (EXF, EXR = 0): on wafer the coupling of the tips depends on what they see, so one number would be wrong. */
#include "rf/calibrate/exact.h"
#include "rf/calibrate/solve.h"
#include "rf/calibrate/thrus.h"
#include "rf/numbers/columns.h"
#include <math.h>

#define CONDITION_LIMIT 1e3  /* above: warned of */
#define CONDITION_REFUSE 1e9 /* above: nothing left of 16 digits after noise of 1e-6 */

static bool reflections(const struct point *p, double complex t[TERM_COUNT], double *condition, double *residual)
{
        double worst = 0;
        for (int k = 0; k < TERM_COUNT; k++)
                t[k] = CMPLX(NAN, NAN);
        for (int port = 1; port <= 2; port++) {
                struct box box;
                double one = 0;
                if (!port_is_read(p->problem, (unsigned)port))
                        continue; /* "sol" with an analyzer of one port: the other one's terms stay NaN */
                if (!box_from_reflections(p, port, false, &box, &one, residual))
                        return false;
                t[port == 1 ? TERM_EDF : TERM_EDR] = box.b;
                t[port == 1 ? TERM_ESF : TERM_ESR] = -box.c;
                t[port == 1 ? TERM_ERF : TERM_ERR] = box.a - box.b * box.c;
                worst = fmax(worst, one);
        }
        if (condition)
                *condition = worst;
        return true;
}

static bool sol_point(const struct point *p, const void *choice, double complex t[TERM_COUNT])
{
        (void)choice; /* nothing is two-valued here */
        return reflections(p, t, NULL, NULL);
}

static bool solt_terms(const struct point *p, double complex t[TERM_COUNT], double *condition, double *residual)
{
        if (!reflections(p, t, condition, residual))
                return false;
        t[TERM_EXF] = t[TERM_EXR] = 0;
        bool several = thrus_n(p->problem) > 1;
        if (several && !thrus_solt(p, t))
                return false;
        for (size_t k = 0; k < p->n && !several; k++) {
                if (p->problem->standards[k].kind != RF_THRU)
                        continue;
                struct m2 s = p->ideal[k], m = p->raw[k];
                thru_terms(s, m.e[0], m.e[2], t[TERM_EDF], t[TERM_ESF], t[TERM_ERF], &t[TERM_ELF], &t[TERM_ETF]);
                thru_terms(m2_of(s.e[3], s.e[2], s.e[1], s.e[0]), m.e[3], m.e[1], t[TERM_EDR], t[TERM_ESR], t[TERM_ERR], &t[TERM_ELR],
                           &t[TERM_ETR]);
        }
        t[TERM_K] = t[TERM_ETF] / (t[TERM_ERR] + t[TERM_EDR] * (t[TERM_ELF] - t[TERM_ESR]));
        return true;
}

static bool solt_point(const struct point *p, const void *choice, double complex t[TERM_COUNT])
{
        (void)choice;
        return solt_terms(p, t, NULL, NULL);
}

static void quality(const struct problem *p, struct diagnosis *d, size_t i, const double complex t[TERM_COUNT])
{
        double complex lf = t[TERM_ELF] - t[TERM_ESR], lr = t[TERM_ELR] - t[TERM_ESF];
        double complex df = t[TERM_ERR] + t[TERM_EDR] * lf, dr = t[TERM_ERF] + t[TERM_EDF] * lr;
        d->k_disagreement[i] = cabs(t[TERM_K] / (dr / t[TERM_ETR]) - 1);
        if (p->switch_terms)
                d->switch_difference[i] = fmax(cabs(lf / df - CMPLX(p->switch_terms->f_re[i], p->switch_terms->f_im[i])),
                                               cabs(lr / dr - CMPLX(p->switch_terms->r_re[i], p->switch_terms->r_im[i])));
}

static double worst_of(const double *column, const struct axis *axis, double *ret_hz)
{
        double worst = -1;
        for (size_t i = 0; i < axis->n; i++)
                if (column[i] > worst) {
                        worst = column[i];
                        *ret_hz = axis->hz[i];
                }
        return worst;
}

/* Three reflections at each port and one thru: the columns' way, unless something is to be said about a point. */
static bool by_columns(const struct problem *p, bool thru, struct terms *out, struct diagnosis *d, struct exact_worst *worst)
{
        const struct switch_terms *sw = p->switch_terms;
        size_t n = p->axis->n;
        if (!(thru ? exact_solt(p, out, d, worst) : exact_sol(p, out, d, worst)) || !(worst->condition < CONDITION_REFUSE))
                return false;
        if (thru && !(worst->k_disagreement < 0.5)) /* a thru defined not to transmit makes it 1; the points' way refuses that */
                return false;
        if (!thru && sw &&
            !(column_finite(n, sw->f_re) && column_finite(n, sw->f_im) && column_finite(n, sw->r_re) && column_finite(n, sw->r_im)))
                return false;
        for (int k = 0; !thru && k < TERM_COUNT; k++)
                if (k < TERM_EDF || k > TERM_ERR) {
                        column_fill(n, out->re[k], NAN);
                        column_fill(n, out->im[k], NAN);
                }
        residuals_none(p, d);
        return true;
}

static enum code by_points(const struct method *method, const struct problem *p, bool thru, double *residual, struct terms *out,
                           struct diagnosis *d, struct tp_error *err)
{
        bool several = thru && thrus_n(p) > 1;
        out->model = TERMS_TWELVE; /* as they predict readings; "sol" says otherwise below */
        for (size_t i = 0; i < p->axis->n; i++) {
                struct point at;
                double complex t[TERM_COUNT];
                double *r = residual + i * p->standard_n;
                for (size_t k = 0; k < p->standard_n; k++)
                        r[k] = NAN;
                point_load_as_read(p, i, &at);
                bool good = thru ? solt_terms(&at, t, &d->condition[i], r) : reflections(&at, t, &d->condition[i], r);
                if (!good || !(d->condition[i] < CONDITION_REFUSE))
                        return tp_fail(
                                err, CODE_UNRESOLVABLE,
                                "%s: at %.9g Hz two of the reflections coincide (condition number %.3g); use standards that differ there",
                                method->word, p->axis->hz[i], good ? d->condition[i] : INFINITY);
                for (int k = 0; thru && k < TERM_COUNT; k++)
                        if (!isfinite(creal(t[k])) || !isfinite(cimag(t[k])))
                                return tp_fail(err, CODE_UNRESOLVABLE,
                                               "%s: at %.9g Hz the thru does not transmit (%s comes out infinite); measure the thru again",
                                               method->word, p->axis->hz[i], term_words[k]);
                if (thru)
                        quality(p, d, i, t);
                terms_put(out, i, t);
                if (several)
                        thrus_residual(&at, out, r);
                out->z_re[i] = 50;
                out->z_im[i] = 0;
        }
        residuals_finish(p, d, residual);
        if (several)
                thrus_say_solt(p, out, d);
        return CODE_OK;
}

static enum code solve(const struct problem *p, bool thru, double *residual, struct terms *out, struct covariance *cov, struct diagnosis *d,
                       struct tp_error *err)
{
        const struct method *method = rf_method(thru ? "solt" : "sol");
        struct exact_worst seen = {0};
        enum code code = problem_check_shape(method, p, err);
        if (!code && !by_columns(p, thru, out, d, &seen)) {
                seen = (struct exact_worst){INFINITY, INFINITY, INFINITY, 0}; /* the points' way does not know */
                code = problem_check_numbers(method, p, err);
                code = code ? code : by_points(method, p, thru, residual, out, d, err);
        }
        if (!code && thru && !(seen.k_disagreement < 0.5)) /* a transmission of 0 makes it 1 */
                code = thru_transmits_check(method, p, err);
        if (code)
                return code;
        out->method = method->word;
        out->model = thru ? TERMS_TWELVE : TERMS_ONE_PORT;
        out->plane = PLANE_TIP;
        out->switch_removed = false;
        double hz = 0, worst;
        if (seen.condition > CONDITION_LIMIT)
                diagnosis_warn_condition(d, CONDITION_LIMIT, "the reflections are hardly different",
                                         thru ? "add one of another offset delay, or another method in a band of its own (\"bands\")"
                                              : "add one of another offset delay, or leave these frequencies out");
        if (thru && seen.k_disagreement > 0.01 && (worst = worst_of(d->k_disagreement, p->axis, &hz)) > 0.01)
                diagnosis_warn(d, "forward and reverse transmission disagree by %.2g %% at %.6g GHz: a bad standard, thru or contact",
                               100 * worst, hz / 1e9);
        if (thru && p->switch_terms && seen.switch_difference > 0.02 && (worst = worst_of(d->switch_difference, p->axis, &hz)) > 0.02)
                diagnosis_warn(d, "the load match implies switch terms %.2g away from the measured ones at %.6g GHz", worst, hz / 1e9);
        if (cov)
                covariance_fill(p, cov, thru ? solt_point : sol_point, NULL, 0);
        return CODE_OK;
}

enum code sol_solve(const struct problem *p, void *workspace, struct terms *out, struct covariance *cov, struct diagnosis *d,
                    struct tp_error *err)
{
        return solve(p, false, workspace, out, cov, d, err);
}

enum code solt_solve(const struct problem *p, void *workspace, struct terms *out, struct covariance *cov, struct diagnosis *d,
                     struct tp_error *err)
{
        return solve(p, true, workspace, out, cov, d, err);
}
