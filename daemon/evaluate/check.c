/* check.c: what has moved since the baseline, in the words of physics.
 * Problem     801 points times four S against three-sigma limits fail on a perfect station; and a failure says nothing of its cause.
 * Idea        dS of each standard against its own baseline (copies differ by more than stations drift) is a sum of few modes: per port a
 * delay and a loss of the tracking (loss grows with sqrt f and is stated at the highest frequency); per touch and port contact R, contact L
 * and the tip's place along the line; a transmission delay that the ports do not explain.  Linear least squares over all standards at once,
 * each mode with its known repeatability as prior. Degeneracy  on a short alone, delay, L and place look alike.  A raised open has no
 * touch: with it in the list the delay stands to a femtosecond; without it, only as well as contact and place repeat.  The priors say
 * exactly that. Left over   the rms of what no mode explains, per standard; the largest counts. Sources     least squares with priors: any
 * text on Bayesian linear regression; the tracking mode: moves.c. */
#include "evaluate/inside.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { STANDARDS_MAX = 16, COMMON = 5, PER_TOUCH = 6, UNKNOWNS = COMMON + PER_TOUCH * STANDARDS_MAX, ROW = COMMON + PER_TOUCH };
/* order of the unknowns: delay 1, loss 1, delay 2, loss 2, transmission; then per touched standard R1 L1 x1 R2 L2 x2; all in the units of
 * their priors */
#define PRIOR_DELAY_S 300e-15
#define PRIOR_LOSS_DB 1.0
#define SHIFT_EPS_EFF 5.3 /* coplanar line on a calibration substrate */
#define BAD_TOUCH 0.3     /* |dS| below 40 GHz that no drift and no scatter of a touch makes */

struct fit {
        const struct recipe *recipe;
        const struct calibration *cal;
        double a[UNKNOWNS][UNKNOWNS], b[UNKNOWNS], x[UNKNOWNS], prior[UNKNOWNS];
        size_t unknowns, touched;
        int slot[STANDARDS_MAX]; /* first unknown of this standard's touch, -1: not touched */
        double residual[STANDARDS_MAX], step[STANDARDS_MAX];
};

/* Columns of dS at one point: ret[k] belongs to unknown which[k], for one prior width of it. */
static size_t columns_at(const struct fit *f, size_t k, size_t i, struct m2 s, struct m2 ret[ROW], size_t which[ROW])
{
        double hz = f->cal->axis.hz[i], w = RF_TWO_PI * hz, top = f->cal->axis.hz[f->cal->axis.n - 1];
        size_t n = 0;
        for (int port = 0; port < 2; port++) {
                which[n] = (size_t)(2 * port);
                ret[n++] = move_tracking(f->cal, i, s, port, CMPLX(0, -w * PRIOR_DELAY_S));
                which[n] = (size_t)(2 * port + 1);
                ret[n++] = move_tracking(f->cal, i, s, port, -PRIOR_LOSS_DB / RF_DB_PER_NEPER * sqrt(hz / top));
        }
        which[n] = 4;
        ret[n++] = m2_scale(CMPLX(0, -w * f->prior[4]), m2_of(0, s.e[1], s.e[2], 0));
        if (f->slot[k] < 0)
                return n;
        size_t at = (size_t)f->slot[k];
        for (int port = 0; port < 2; port++) {
                size_t u = at + (size_t)(3 * port);
                which[n] = u;
                ret[n++] = move_series(s, port, f->prior[u], 50);
                which[n] = u + 1;
                ret[n++] = move_series(s, port, CMPLX(0, w * f->prior[u + 1]), 50);
                which[n] = u + 2;
                ret[n++] = move_shift(s, port, CMPLX(0, w * sqrt(SHIFT_EPS_EFF) / RF_C0_M_S * f->prior[u + 2] * 1e-6));
        }
        return n;
}

static double weight_of(const struct fit *f, double hz)
{
        double noise = noise_of(recipe_sweep(f->recipe, f->recipe->calibration.sweep), hz, 1);
        return 1 / (2 * noise * noise + 1e-6); /* two sweeps, and 1e-3 for what first order leaves out */
}

/* Walks over the points of one standard; adds to the normal equations, or (residual) sums what the solution leaves. */
static void walk(struct fit *f, size_t k, const struct raw_sweep *then, const struct raw_sweep *now, const uint32_t *map, bool solved)
{
        double sum = 0, count = 0;
        size_t stride = now->n > 160 ? now->n / 160 : 1;
        for (size_t j = 0; j < now->n; j += stride) {
                size_t i = map_at(map, j), which[ROW];
                double hz = f->cal->axis.hz[i], weight = weight_of(f, hz);
                struct m2 s = tip_point(f->cal, then, j, i), d = m2_sub(tip_point(f->cal, now, j, i), s), columns[ROW];
                bool transmits = cabs(s.e[2]) > 0.1;
                size_t n = columns_at(f, k, i, s, columns, which);
                for (int e = 0; e < 4; e++) {
                        if (!transmits && (e == 1 || e == 2))
                                continue;
                        double complex left = d.e[e];
                        for (size_t p = 0; p < n; p++)
                                left -= solved ? columns[p].e[e] * f->x[which[p]] : 0;
                        if (solved) {
                                sum += creal(left) * creal(left) + cimag(left) * cimag(left);
                                count++;
                                continue;
                        }
                        if (hz <= 40e9)
                                f->step[k] = fmax(f->step[k], cabs(left));
                        for (size_t p = 0; p < n; p++) {
                                double complex c = conj(columns[p].e[e]) * weight;
                                f->b[which[p]] += creal(c * left);
                                for (size_t q = 0; q < n; q++)
                                        f->a[which[p]][which[q]] += creal(c * columns[q].e[e]);
                        }
                }
        }
        if (solved)
                f->residual[k] = sqrt(sum / fmax(1, count));
}

/* Cholesky; with the priors on the diagonal the matrix is positive definite. */
static void solve(struct fit *f)
{
        size_t n = f->unknowns;
        for (size_t i = 0; i < n; i++)
                for (size_t j = 0; j <= i; j++) {
                        double sum = f->a[i][j];
                        for (size_t k = 0; k < j; k++)
                                sum -= f->a[i][k] * f->a[j][k];
                        f->a[i][j] = i == j ? sqrt(fmax(sum, 1e-30)) : sum / f->a[j][j];
                }
        for (size_t i = 0; i < n; i++) {
                double sum = f->b[i];
                for (size_t k = 0; k < i; k++)
                        sum -= f->a[i][k] * f->x[k];
                f->x[i] = sum / f->a[i][i];
        }
        for (size_t i = n; i-- > 0;) {
                double sum = f->x[i];
                for (size_t k = i + 1; k < n; k++)
                        sum -= f->a[k][i] * f->x[k];
                f->x[i] = sum / f->a[i][i];
        }
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

static void judge(const struct fit *f, const struct standard_sweep *now, size_t n, struct check_answer *ret)
{
        const struct check_limits *limit = &f->recipe->check.limits;
        struct finding worst = {.share = -1};
        size_t r_over = 0;
        for (int port = 0; port < 2; port++) {
                struct port_modes *m = &ret->modes[port];
                m->delay_fs = f->x[2 * port] * PRIOR_DELAY_S * 1e15;
                m->loss_db = f->x[2 * port + 1] * PRIOR_LOSS_DB;
                find(&worst, fabs(m->delay_fs) / limit->delay_fs, CAUSE_DELAY, "port %d moved by %.3g fs (limit %.3g)", port + 1,
                     m->delay_fs, limit->delay_fs);
                find(&worst, fabs(m->loss_db) / limit->loss_db, CAUSE_LOSS, "port %d lost %.3g dB at the highest frequency (limit %.3g)",
                     port + 1, m->loss_db, limit->loss_db);
        }
        ret->transmission_fs = f->x[4] * f->prior[4] * 1e15;
        for (size_t k = 0; k < n; k++) {
                bool over = false;
                for (int port = 0; f->slot[k] >= 0 && port < 2; port++) {
                        size_t u = (size_t)f->slot[k] + (size_t)(3 * port);
                        over = over || fabs(f->x[u] * f->prior[u]) > limit->contact_ohm;
                }
                r_over += over;
        }
        for (size_t k = 0; k < n; k++) {
                const struct standard *s = &f->recipe->standards[now[k].standard];
                ret->residual = fmax(ret->residual, f->residual[k]);
                find(&worst, f->residual[k] / limit->residual, f->slot[k] >= 0 ? CAUSE_BAD_TOUCH : CAUSE_UNKNOWN,
                     "%s leaves %.2g that nothing known explains (limit %.2g)", s->name, f->residual[k], limit->residual);
                for (int port = 0; f->slot[k] >= 0 && port < 2; port++) {
                        size_t u = (size_t)f->slot[k] + (size_t)(3 * port);
                        double r = f->x[u] * f->prior[u], l = f->x[u + 1] * f->prior[u + 1], x = f->x[u + 2] * f->prior[u + 2];
                        larger(&ret->modes[port].contact_ohm, r);
                        larger(&ret->modes[port].contact_h, l);
                        larger(&ret->modes[port].position_um, x);
                        /* dirt raises every touch; one copy alone has a bad touch, a load alone has worn */
                        enum check_cause cause = f->touched < 2 || r_over > 1 ? CAUSE_CONTACT
                                                 : s->kind == STANDARD_LOAD   ? CAUSE_WEAR
                                                                              : CAUSE_BAD_TOUCH;
                        find(&worst, fabs(r) / limit->contact_ohm, cause,
                             "%s, port %d: contact resistance changed by %.3g ohm (limit %.3g)", s->name, port + 1, r, limit->contact_ohm);
                        find(&worst, fabs(l) / limit->contact_h, CAUSE_PLACEMENT,
                             "%s, port %d: contact inductance changed by %.3g pH, place by %.2g um (limit %.3g pH)", s->name, port + 1,
                             l * 1e12, x, limit->contact_h * 1e12);
                }
        }
        for (size_t k = 0; k < n; k++) /* first order says nothing of such a touch: its modes are no modes */
                if (f->slot[k] >= 0 && f->step[k] > BAD_TOUCH)
                        find(&worst, fmax(worst.share, 1) + f->step[k] / BAD_TOUCH, CAUSE_BAD_TOUCH,
                             "%s reads %.2g away from its baseline below 40 GHz: the touch is bad",
                             f->recipe->standards[now[k].standard].name, f->step[k]);
        ret->worst = worst.share;
        ret->passed = worst.share <= 1; /* NaN fails */
        ret->cause = (int32_t)(ret->passed ? CAUSE_NONE : worst.cause);
        snprintf(ret->sentence, sizeof ret->sentence, "%s: %s", ret->passed ? "passed, nearest to a limit" : "failed", worst.text);
}

enum code check_fit(const struct recipe *r, const struct calibration *cal, const struct standard_sweep *baseline,
                    const struct standard_sweep *now, size_t n, struct arena *scratch, struct check_answer *ret, struct tp_error *err)
{
        struct fit *f = arena_take(scratch, sizeof *f);
        const uint32_t *map[STANDARDS_MAX];
        *ret = (struct check_answer){.cause = CAUSE_UNKNOWN};
        if (!f)
                return tp_fail_memory(err);
        if (n == 0 || n > STANDARDS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "a check takes 1 to %d standards, not %zu", STANDARDS_MAX, n);
        if (cal->terms.model == TERMS_ONE_PORT)
                return tp_fail(err, CODE_BAD_INPUT, "a one-port calibration cannot be checked with two-port standards");
        f->recipe = r;
        f->cal = cal;
        f->unknowns = COMMON;
        for (int k = 0; k < 4; k++)
                f->prior[k] = 1;
        f->prior[4] = 2 * sqrt(2) * sqrt(SHIFT_EPS_EFF) / RF_C0_M_S * fmax(0.1, r->setup.placement_um_u) * 1e-6;
        for (size_t k = 0; k < n; k++) {
                const struct standard *s = &r->standards[now[k].standard];
                const struct standard_sweep *then = same_standard(baseline, n, now[k].standard);
                if (!then || then->raw->n != now[k].raw->n)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "standard %s has no baseline on the same frequencies; take one right after the calibration",
                                       s->name);
                enum code code = calibration_map(cal, now[k].raw, scratch, &map[k], err);
                if (code)
                        return tp_where(err, "check with %s", s->name);
                f->slot[k] = -1;
                if (s->raised)
                        continue;
                f->slot[k] = (int)f->unknowns;
                for (int port = 0; port < 2; port++, f->unknowns += 3) { /* both touches scatter; three times that before it costs */
                        f->prior[f->unknowns] = 3 * sqrt(2) * fmax(0.05, r->setup.contact_ohm_u);
                        f->prior[f->unknowns + 1] = 3 * sqrt(2) * fmax(1e-13, r->setup.contact_h_u);
                        f->prior[f->unknowns + 2] = 3 * sqrt(2) * fmax(0.1, r->setup.placement_um_u);
                }
                f->touched++;
        }
        for (size_t k = 0; k < n; k++)
                walk(f, k, same_standard(baseline, n, now[k].standard)->raw, now[k].raw, map[k], false);
        for (size_t u = 0; u < f->unknowns; u++)
                f->a[u][u] += 1; /* unknowns are in units of their priors */
        solve(f);
        for (size_t k = 0; k < n; k++)
                walk(f, k, same_standard(baseline, n, now[k].standard)->raw, now[k].raw, map[k], true);
        judge(f, now, n, ret);
        return CODE_OK;
}
