/* check.c: what has moved since the baseline, judged by the recipe's limits.
 * Problem     801 points times four S against three-sigma limits fail on a perfect station; and a failure says nothing of its cause.
 * Idea        the change of each standard against its own baseline (copies differ by more than stations drift) is fitted with a few
 *             physical modes (rf/trust/modes.h), each with its known repeatability as prior; the modes, not the points, have limits.
 * Left over   the rms of what no mode explains, per standard; the largest counts. */
#include "evaluate/inside.h"
#include "rf/trust/modes.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { STANDARDS_MAX = RF_MODES_READINGS, POINTS_MOST = 160 };
#define PRIOR_DELAY_S 300e-15
#define PRIOR_LOSS_DB 1.0
#define SHIFT_EPS_EFF 5.3 /* coplanar line on a calibration substrate */
#define STEP_HZ_MAX 40e9
#define BAD_TOUCH 0.3 /* |dS| below 40 GHz that no drift and no scatter of a touch makes */

static double sigma_of(const struct recipe *r, double hz)
{
        double noise = noise_of(recipe_sweep(r, r->calibration.sweep), hz, 1);
        return sqrt(2 * noise * noise + 1e-6); /* two sweeps, and 1e-3 for what repeats in no mode */
}

enum code check_reading(const struct recipe *r, const struct calibration *cal, const struct standard *s, const struct raw_sweep *then,
                        const struct raw_sweep *now, struct arena *scratch, struct rf_mode_reading *ret, struct tp_error *err)
{
        const uint32_t *map;
        enum code code = calibration_map(cal, now, scratch, &map, err);
        if (code)
                return tp_where(err, "check with %s", s->name);
        size_t stride = now->n > POINTS_MOST ? now->n / POINTS_MOST : 1, n = (now->n + stride - 1) / stride;
        size_t *at = arena_take(scratch, n * sizeof *at);
        struct m2 *before = arena_take(scratch, n * sizeof *before), *after = arena_take(scratch, n * sizeof *after);
        double *sigma = arena_take(scratch, n * sizeof *sigma);
        if (!at || !before || !after || !sigma)
                return tp_fail_memory(err);
        for (size_t k = 0; k < n; k++) {
                size_t j = k * stride;
                at[k] = map_at(map, j);
                before[k] = tip_point(cal, then, j, at[k]);
                after[k] = tip_point(cal, now, j, at[k]);
                sigma[k] = sigma_of(r, cal->axis.hz[at[k]]);
        }
        *ret = (struct rf_mode_reading){s->name, !s->raised, n, at, before, after, sigma};
        return CODE_OK;
}

static const struct standard_sweep *same_standard(const struct standard_sweep *list, size_t n, int standard)
{
        for (size_t k = 0; k < n; k++)
                if (list[k].standard == standard)
                        return &list[k];
        return NULL;
}

static void larger(double *keep, double value)
{
        if (fabs(value) > fabs(*keep))
                *keep = value;
}

struct finding {
        double share;
        enum check_cause cause;
        char text[120];
};
static void find(struct finding *worst, double share, enum check_cause cause, const char *fmt, ...) __attribute__((format(printf, 4, 5)));
static void find(struct finding *worst, double share, enum check_cause cause, const char *fmt, ...)
{
        if (share <= worst->share)
                return;
        va_list args;
        va_start(args, fmt);
        worst->share = share;
        worst->cause = cause;
        vsnprintf(worst->text, sizeof worst->text, fmt, args);
        va_end(args);
}

static void judge(const struct recipe *r, const struct rf_mode_reading *readings, const struct rf_modes *m,
                  const struct standard_sweep *now, size_t n, struct check_answer *ret)
{
        const struct check_limits *limit = &r->check.limits;
        struct finding worst = {.share = -1};
        size_t r_over = 0, touched = 0;
        for (int port = 0; port < 2; port++) {
                struct port_modes *to = &ret->modes[port];
                to->delay_fs = m->delay_s[port].value * 1e15;
                to->loss_db = m->loss_db[port].value;
                to->delay_u_fs = m->delay_s[port].u * 1e15;
                to->loss_u_db = m->loss_db[port].u;
                find(&worst, fabs(to->delay_fs) / limit->delay_fs, CAUSE_DELAY, "port %d moved by %.3g fs (limit %.3g)", port + 1,
                     to->delay_fs, limit->delay_fs);
                find(&worst, fabs(to->loss_db) / limit->loss_db, CAUSE_LOSS, "port %d lost %.3g dB at the highest frequency (limit %.3g)",
                     port + 1, to->loss_db, limit->loss_db);
        }
        ret->transmission_fs = m->transmission_s.value * 1e15;
        for (size_t k = 0; k < n; k++) {
                touched += readings[k].touched;
                r_over += fabs(m->contact_ohm[k][0].value) > limit->contact_ohm || fabs(m->contact_ohm[k][1].value) > limit->contact_ohm;
        }
        for (size_t k = 0; k < n; k++) {
                const struct standard *s = &r->standards[now[k].standard];
                ret->residual = fmax(ret->residual, m->residual[k]);
                find(&worst, m->residual[k] / limit->residual, readings[k].touched ? CAUSE_BAD_TOUCH : CAUSE_UNKNOWN,
                     "%s leaves %.2g that nothing known explains (limit %.2g)", s->name, m->residual[k], limit->residual);
                for (int port = 0; readings[k].touched && port < 2; port++) {
                        double ohm = m->contact_ohm[k][port].value, h = m->contact_h[k][port].value,
                               um = m->position_m[k][port].value * 1e6;
                        larger(&ret->modes[port].contact_ohm, ohm);
                        larger(&ret->modes[port].contact_h, h);
                        larger(&ret->modes[port].position_um, um);
                        /* dirt raises every touch; one copy alone has a bad touch, a load alone has worn */
                        enum check_cause cause = touched < 2 || r_over > 1  ? CAUSE_CONTACT
                                                 : s->kind == STANDARD_LOAD ? CAUSE_WEAR
                                                                            : CAUSE_BAD_TOUCH;
                        find(&worst, fabs(ohm) / limit->contact_ohm, cause,
                             "%s, port %d: contact resistance changed by %.3g ohm (limit %.3g)", s->name, port + 1, ohm,
                             limit->contact_ohm);
                        find(&worst, fabs(h) / limit->contact_h, CAUSE_PLACEMENT,
                             "%s, port %d: contact inductance changed by %.3g pH, place by %.2g um (limit %.3g pH)", s->name, port + 1,
                             h * 1e12, um, limit->contact_h * 1e12);
                }
        }
        for (size_t k = 0; k < n; k++) /* such a touch has no modes */
                if (readings[k].touched && m->step[k] > BAD_TOUCH)
                        find(&worst, fmax(worst.share, 1) + m->step[k] / BAD_TOUCH, CAUSE_BAD_TOUCH,
                             "%s reads %.2g away from its baseline below 40 GHz: the touch is bad", r->standards[now[k].standard].name,
                             m->step[k]);
        ret->worst = worst.share;
        ret->passed = worst.share <= 1; /* NaN fails */
        ret->cause = (int32_t)(ret->passed ? CAUSE_NONE : worst.cause);
        if (ret->passed)
                snprintf(ret->sentence, sizeof ret->sentence, "passed, nearest to a limit: %s", worst.text);
        else
                snprintf(ret->sentence, sizeof ret->sentence, "failed: %s; what no mode explains is %.2g x what repeats", worst.text,
                         m->ratio);
}

struct rf_mode_priors check_priors(const struct recipe *r)
{
        double place_m = fmax(0.1, r->setup.placement_um_u) * 1e-6;
        return (struct rf_mode_priors){
                .delay_s = PRIOR_DELAY_S,
                .loss_db = PRIOR_LOSS_DB,
                .transmission_s = 2 * sqrt(2) * sqrt(SHIFT_EPS_EFF) / RF_C0_M_S * place_m,
                .contact_ohm =
                        3 * sqrt(2) * fmax(0.05, r->setup.contact_ohm_u), /* both touches scatter; three times that before it costs */
                .contact_h = 3 * sqrt(2) * fmax(1e-13, r->setup.contact_h_u),
                .position_m = 3 * sqrt(2) * place_m,
                .eps_eff = SHIFT_EPS_EFF};
}

enum code check_fit(const struct recipe *r, const struct calibration *cal, const struct standard_sweep *baseline,
                    const struct standard_sweep *now, size_t n, struct arena *scratch, struct check_answer *ret, struct tp_error *err)
{
        struct rf_mode_reading readings[STANDARDS_MAX];
        struct rf_modes *modes = arena_take(scratch, sizeof *modes);
        void *workspace = arena_take(scratch, rf_modes_workspace(n));
        *ret = (struct check_answer){.cause = CAUSE_UNKNOWN};
        if (!modes || !workspace)
                return tp_fail_memory(err);
        if (n == 0 || n > STANDARDS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "a check takes 1 to %d standards, not %zu", STANDARDS_MAX, n);
        if (cal->terms.model == TERMS_ONE_PORT)
                return tp_fail(err, CODE_BAD_INPUT, "a one-port calibration cannot be checked with two-port standards");
        for (size_t k = 0; k < n; k++) {
                const struct standard_sweep *then = same_standard(baseline, n, now[k].standard);
                if (!then || then->raw->n != now[k].raw->n)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "standard %s has no baseline on the same frequencies; take one right after the calibration",
                                       r->standards[now[k].standard].name);
                enum code code = domain_holds(cal, r, recipe_sweep(r, r->calibration.sweep), now[k].raw, err);
                if (code)
                        return tp_where(err, "check: standard %s", r->standards[now[k].standard].name);
                code = check_reading(r, cal, &r->standards[now[k].standard], then->raw, now[k].raw, scratch, &readings[k], err);
                if (code)
                        return code;
        }
        struct rf_mode_priors priors = check_priors(r);
        struct tp_error why = {0};
        enum code code = rf_modes_fit(&cal->terms, readings, n, &priors, STEP_HZ_MAX, workspace, modes, &why);
        if (code == CODE_UNRESOLVABLE) { /* S that is not a number passes no check */
                ret->worst = ret->residual = NAN;
                snprintf(ret->sentence, sizeof ret->sentence, "failed: %.180s", why.text);
                return CODE_OK;
        }
        if (code)
                return tp_fail(err, code, "check: %s", why.text);
        judge(r, readings, modes, now, n, ret);
        return CODE_OK;
}
