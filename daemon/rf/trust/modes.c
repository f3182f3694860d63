/* modes.c: drift and touches as a few physical modes (modes.h).
 * Effects     a series impedance at a port: S = (Z - z)(Z + z)^{-1}, hence dS = (1 - S) dZ (1 - S)/(2 z).  A shift of the plane: S_pp
 *             e^{-2 theta}, S_pq e^{-theta}.  Tracking: the reading moves by eps times what it has beyond directivity; the derivative of
 *             the correction is taken numerically, since the box's source match turns it.
 * Unknowns    in units of their priors: the prior adds 1 to each diagonal element and the matrix is positive definite.
 * Scatter     u = sqrt(inverse of that matrix) times max(1, ratio) (what is left says more of the noise than a table does) times the
 *             root of `likeness` (errors that stay alike over k points count once, not k times).  Never more than the prior.
 * Iterated    Gauss-Newton: the modes found are applied exactly (exponentials, series impedances by their two-ports) and what is left
 *             is fitted again.  0.5 pH of a touch leaves 5e-5 at second order, more than u of a loss.  A step that does not lower the
 *             sum is taken back: a touch so bad that no linear step helps has no modes.
 * Rejected    sigma limits on single points (with 801 x 4 of them a perfect station fails). */
#include "rf/trust/modes.h"
#include "rf/correct/correct.h"
#include <math.h>
#include <string.h>

enum { COMMON = 5, PER_TOUCH = 6, UNKNOWNS = COMMON + PER_TOUCH * RF_MODES_READINGS, ROW = COMMON + PER_TOUCH, LAGS = 40, ROUNDS = 3 };
/* order of the unknowns: delay 1, loss 1, delay 2, loss 2, transmission; then per touched reading R1 L1 x1 R2 L2 x2 */

struct m2 rf_move_series(struct m2 s, int port, double complex dz_ohm, double z)
{
        struct m2 p = m2_sub(m2_one(), s), d = port == 0 ? m2_diag(dz_ohm, 0) : m2_diag(0, dz_ohm);
        return m2_scale(1 / (2 * z), m2_mul(p, m2_mul(d, p)));
}

struct m2 rf_move_shift(struct m2 s, int port, double complex theta)
{
        return port == 0 ? m2_of(-2 * theta * s.e[0], -theta * s.e[1], -theta * s.e[2], 0)
                         : m2_of(0, -theta * s.e[1], -theta * s.e[2], -2 * theta * s.e[3]);
}

/* cable: all that the receivers read moves, directivity with it. */
static struct m2 move_port(const struct terms *t, size_t i, struct m2 s, int port, double complex eps, bool cable)
{
        struct m2 raw = rf_embed2_point(t, i, s), moved = raw;
        enum term k = port == 0 ? TERM_EDF : TERM_EDR;
        double complex d = cable ? 0 : CMPLX(t->re[k][i], t->im[k][i]);
        double size = cabs(eps);
        if (!(size > 0))
                return m2_of(0, 0, 0, 0);
        double h = 1e-5 / size;
        double complex e = eps * h;
        int own = port == 0 ? 0 : 3;
        moved.e[own] = d + (raw.e[own] - d) * (1 + e) * (1 + e);
        moved.e[1] = raw.e[1] * (1 + e);
        moved.e[2] = raw.e[2] * (1 + e);
        return m2_scale(1 / h, m2_sub(rf_correct2_point(t, i, moved), s));
}

struct m2 rf_move_tracking(const struct terms *t, size_t i, struct m2 s, int port, double complex eps)
{
        return move_port(t, i, s, port, eps, false);
}

struct fit {
        const struct terms *terms;
        const struct rf_mode_priors *prior;
        bool cable; /* directivity moves with the tracking */
        size_t n;
        int slot[RF_MODES_READINGS]; /* first unknown of this reading's touch, -1: not touched */
        double width[UNKNOWNS];      /* prior of each unknown */
        double z, top_hz;
        double b[UNKNOWNS], x[UNKNOWNS], step[UNKNOWNS], diagonal[UNKNOWNS];
        double a[UNKNOWNS *
                 UNKNOWNS]; /* normal equations: upper triangle stays, lower becomes the Cholesky factor, then the covariance is apart */
        double inverse[UNKNOWNS * UNKNOWNS];
        double lag[LAGS + 1];
};

size_t rf_modes_workspace(size_t reading_n)
{
        (void)reading_n;
        return sizeof(struct fit);
}

static double *at(struct fit *f, size_t i, size_t j) { return &f->a[i * UNKNOWNS + j]; }

/* Columns of dS at one point: ret[m] belongs to unknown which[m], for one prior width of it. */
static size_t columns_at(const struct fit *f, int slot, size_t i, struct m2 s, struct m2 ret[ROW], size_t which[ROW])
{
        double hz = f->terms->axis->hz[i], w = RF_TWO_PI * hz;
        size_t n = 0;
        for (int port = 0; port < 2; port++) { /* analytic in eps: one derivative serves both */
                struct m2 one = move_port(f->terms, i, s, port, 1e-3, f->cable);
                which[n] = (size_t)(2 * port);
                ret[n++] = m2_scale(CMPLX(0, -w * f->prior->delay_s) / 1e-3, one);
                which[n] = (size_t)(2 * port + 1);
                ret[n++] = m2_scale(-f->prior->loss_db / RF_DB_PER_NEPER * sqrt(hz / f->top_hz) / 1e-3, one);
        }
        which[n] = 4;
        ret[n++] = m2_scale(CMPLX(0, -w * f->prior->transmission_s), m2_of(0, s.e[1], s.e[2], 0));
        for (int port = 0; slot >= 0 && port < 2; port++) {
                size_t u = (size_t)slot + (size_t)(3 * port);
                which[n] = u;
                ret[n++] = rf_move_series(s, port, f->prior->contact_ohm, f->z);
                which[n] = u + 1;
                ret[n++] = rf_move_series(s, port, CMPLX(0, w * f->prior->contact_h), f->z);
                which[n] = u + 2;
                ret[n++] = rf_move_shift(s, port, CMPLX(0, w * sqrt(f->prior->eps_eff) / RF_C0_M_S * f->prior->position_m));
        }
        return n;
}

/* A series impedance of z times the reference at a port, exact. */
static struct m2 with_series(struct m2 s, int port, double complex z)
{
        double complex own = z / (2 + z), through = 2 / (2 + z);
        int p = port == 0 ? 0 : 3, q = 3 - p;
        double complex loop = 1 / (1 - own * s.e[p]);
        struct m2 r;
        r.e[p] = own + through * through * s.e[p] * loop;
        r.e[q] = s.e[q] + s.e[1] * s.e[2] * own * loop;
        r.e[1] = s.e[1] * through * loop;
        r.e[2] = s.e[2] * through * loop;
        return r;
}

/* What the modes x make of `then`. */
static struct m2 moved_by(const struct fit *f, const double *x, int slot, size_t i, struct m2 s)
{
        double hz = f->terms->axis->hz[i], w = RF_TWO_PI * hz;
        for (int port = 0; slot >= 0 && port < 2; port++) {
                size_t u = (size_t)(slot + 3 * port);
                double complex e = cexp(CMPLX(0, -w * sqrt(f->prior->eps_eff) / RF_C0_M_S * f->prior->position_m * x[u + 2]));
                s.e[port == 0 ? 0 : 3] *= e * e;
                s.e[1] *= e;
                s.e[2] *= e;
                s = with_series(s, port, CMPLX(f->prior->contact_ohm * x[u], w * f->prior->contact_h * x[u + 1]) / f->z);
        }
        double complex t = cexp(CMPLX(0, -w * f->prior->transmission_s * x[4]));
        s.e[1] *= t;
        s.e[2] *= t;
        struct m2 raw = rf_embed2_point(f->terms, i, s);
        double complex e[2], d[2];
        for (int port = 0; port < 2; port++) {
                enum term k = port == 0 ? TERM_EDF : TERM_EDR;
                double loss = f->prior->loss_db / RF_DB_PER_NEPER * sqrt(hz / f->top_hz);
                d[port] = f->cable ? 0 : CMPLX(f->terms->re[k][i], f->terms->im[k][i]);
                e[port] = cexp(CMPLX(-loss * x[2 * port + 1], -w * f->prior->delay_s * x[2 * port]));
        }
        raw.e[0] = d[0] + (raw.e[0] - d[0]) * e[0] * e[0];
        raw.e[3] = d[1] + (raw.e[3] - d[1]) * e[1] * e[1];
        raw.e[1] *= e[0] * e[1];
        raw.e[2] *= e[0] * e[1];
        return rf_correct2_point(f->terms, i, raw);
}

/* ---- the walks over all points ------------------------------------------------------------------------------------------------------ */
struct sums {
        double weighted, plain, count;
};

static void gather(struct fit *f, const struct rf_mode_reading *r, int slot)
{
        for (size_t j = 0; j < r->n; j++) {
                size_t which[ROW], i = r->at[j];
                struct m2 s = moved_by(f, f->x, slot, i, r->then[j]), d = m2_sub(r->now[j], s), columns[ROW];
                size_t n = columns_at(f, slot, i, s, columns, which);
                double weight = 1 / (r->sigma[j] * r->sigma[j]);
                bool transmits = cabs(r->then[j].e[2]) > 0.1;
                for (int e = 0; e < 4; e++) {
                        if (!transmits && (e == 1 || e == 2))
                                continue;
                        for (size_t p = 0; p < n; p++) {
                                double complex c = conj(columns[p].e[e]) * weight;
                                f->b[which[p]] += creal(c * d.e[e]);
                                for (size_t q = 0; q < n; q++)
                                        *at(f, which[p], which[q]) += creal(c * columns[q].e[e]);
                        }
                }
        }
}

/* What x leaves; and how alike neighbours are in it.  step: the largest entry up to step_hz_max. */
static struct sums leave(struct fit *f, const double *x, const struct rf_mode_reading *r, int slot, double step_hz_max, double *ret_step)
{
        struct sums all = {0};
        double complex last[4][LAGS] = {{0}};
        size_t seen = 0;
        for (size_t j = 0; j < r->n; j++, seen++) {
                struct m2 d = m2_sub(r->now[j], moved_by(f, x, slot, r->at[j], r->then[j]));
                double root = 1 / r->sigma[j];
                bool transmits = cabs(r->then[j].e[2]) > 0.1;
                for (int e = 0; e < 4; e++) {
                        double complex left = d.e[e];
                        if (!transmits && (e == 1 || e == 2))
                                continue;
                        if (ret_step && f->terms->axis->hz[r->at[j]] <= step_hz_max && !(cabs(left) <= *ret_step))
                                *ret_step = cabs(left);
                        all.plain += creal(left * conj(left));
                        all.count++;
                        left *= root;
                        all.weighted += creal(left * conj(left));
                        f->lag[0] += creal(left * conj(left));
                        for (size_t k = 1; k <= LAGS && k <= seen; k++)
                                f->lag[k] += creal(left * conj(last[e][(seen - k) % LAGS]));
                        last[e][seen % LAGS] = left;
                }
        }
        return all;
}

/* Cholesky in the lower triangle, its solution, and the inverse. */
static void solve(struct fit *f)
{
        size_t n = f->n;
        for (size_t i = 0; i < n; i++)
                for (size_t j = 0; j <= i; j++) {
                        double sum = j == i ? f->diagonal[i] : *at(f, j, i);
                        for (size_t k = 0; k < j; k++)
                                sum -= *at(f, i, k) * *at(f, j, k);
                        *at(f, i, j) = i == j ? sqrt(fmax(sum, 1e-30)) : sum / *at(f, j, j);
                }
        for (size_t c = 0; c <= n; c++) { /* columns of the inverse, and b at last */
                double *x = c < n ? &f->inverse[c * n] : f->step;
                for (size_t i = 0; i < n; i++) {
                        double sum = c < n ? (i == c ? 1 : 0) : f->b[i];
                        for (size_t k = 0; k < i; k++)
                                sum -= *at(f, i, k) * x[k];
                        x[i] = sum / *at(f, i, i);
                }
                for (size_t i = n; i-- > 0;) {
                        double sum = x[i];
                        for (size_t k = i + 1; k < n; k++)
                                sum -= *at(f, k, i) * x[k];
                        x[i] = sum / *at(f, i, i);
                }
        }
}

/* Norms of the matrix scaled to a unit diagonal and of its inverse; the root, since normal equations square. */
static double condition_of(struct fit *f)
{
        double most = 0, most_inverse = 0;
        for (size_t i = 0; i < f->n; i++) {
                double row = 0, row_inverse = 0;
                for (size_t j = 0; j < f->n; j++) {
                        double scale = sqrt(f->diagonal[i] * f->diagonal[j]);
                        row += fabs(i == j ? f->diagonal[i] : i < j ? *at(f, i, j) : *at(f, j, i)) / scale;
                        row_inverse += fabs(f->inverse[i * f->n + j]) * scale;
                }
                most = fmax(most, row);
                most_inverse = fmax(most_inverse, row_inverse);
        }
        return sqrt(most * most_inverse);
}

static struct rf_mode mode_of(const struct fit *f, size_t k, double stretch)
{
        double share = f->inverse[k * f->n + k];
        return (struct rf_mode){.value = f->x[k] * f->width[k], .u = f->width[k] * fmin(1, sqrt(share) * stretch), .told = 1 - share};
}

/* From no modes at all; returns the weighted square of what is left. */
static double iterate(struct fit *f, const struct rf_mode_reading *readings, size_t reading_n, double before)
{
        double sum = before;
        memset(f->x, 0, sizeof f->x);
        for (int round = 0; round < ROUNDS; round++) {
                memset(f->a, 0, sizeof f->a);
                for (size_t u = 0; u < f->n; u++)
                        f->b[u] = -f->x[u]; /* the prior draws back to 0 */
                for (size_t k = 0; k < reading_n; k++)
                        gather(f, &readings[k], f->slot[k]);
                for (size_t u = 0; u < f->n; u++)
                        f->diagonal[u] = *at(f, u, u) + 1;
                solve(f);
                double there = 0, cost = 0, cost_there = 0;
                for (size_t u = 0; u < f->n; u++) {
                        cost += f->x[u] * f->x[u];
                        f->step[u] += f->x[u];
                        cost_there += f->step[u] * f->step[u];
                }
                for (size_t k = 0; k < reading_n; k++)
                        there += leave(f, f->step, &readings[k], f->slot[k], 0, NULL).weighted;
                if (!(there + cost_there <= sum + cost))
                        break;
                sum = there;
                memcpy(f->x, f->step, sizeof f->x);
        }
        return sum;
}

static enum code input_check(const struct terms *t, const struct rf_mode_reading *r, size_t n, const struct rf_mode_priors *p,
                             struct tp_error *err)
{
        if (n == 0 || n > RF_MODES_READINGS)
                return tp_fail(err, CODE_BAD_INPUT, "modes: 1 to %d standards can be fitted at once, not %zu", RF_MODES_READINGS, n);
        if (t->model != TERMS_EIGHT && t->model != TERMS_TWELVE && t->model != TERMS_SIXTEEN)
                return tp_fail(err, CODE_BAD_INPUT, "modes: one-port terms have no two-port modes; use a two-port calibration");
        if (!(p->delay_s > 0 && p->loss_db > 0 && p->transmission_s > 0 && p->contact_ohm > 0 && p->contact_h > 0 && p->position_m > 0))
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "modes: each mode needs a prior width above 0 (delay %.3g s, loss %.3g dB, transmission %.3g s, contact %.3g "
                        "ohm, %.3g H, place %.3g m)",
                        p->delay_s, p->loss_db, p->transmission_s, p->contact_ohm, p->contact_h, p->position_m);
        if (!(p->eps_eff >= 1 && p->eps_eff <= 20))
                return tp_fail(err, CODE_BAD_INPUT, "modes: an effective permittivity of %.3g is no line on a wafer", p->eps_eff);
        for (size_t k = 0; k < n; k++)
                for (size_t j = 0; j < r[k].n; j++) {
                        if (r[k].at[j] >= t->axis->n)
                                return tp_fail(err, CODE_BUG, "modes: point %zu of %s lies outside the calibration's axis", j, r[k].name);
                        if (!(r[k].sigma[j] > 0 && isfinite(r[k].sigma[j])))
                                return tp_fail(err, CODE_BAD_INPUT, "modes: %s has a sigma of %.3g at %.9g Hz; it must be above 0",
                                               r[k].name, r[k].sigma[j], t->axis->hz[r[k].at[j]]);
                        double sum = 0;
                        for (int e = 0; e < 4; e++)
                                sum += cabs(r[k].then[j].e[e]) + cabs(r[k].now[j].e[e]);
                        if (!isfinite(sum))
                                return tp_fail(err, CODE_UNRESOLVABLE,
                                               "modes: %s is not a number at %.9g Hz; sweep it again, or look at the terms there",
                                               r[k].name, t->axis->hz[r[k].at[j]]);
                }
        return CODE_OK;
}

enum code rf_modes_fit(const struct terms *terms, const struct rf_mode_reading *readings, size_t reading_n,
                       const struct rf_mode_priors *prior, double step_hz_max, void *workspace, struct rf_modes *ret, struct tp_error *err)
{
        struct fit *f = workspace;
        enum code code = input_check(terms, readings, reading_n, prior, err);
        if (code)
                return code;
        memset(f, 0, sizeof *f);
        memset(ret, 0, sizeof *ret);
        f->terms = terms;
        f->prior = prior;
        f->z = terms->z_re[0] > 0 && terms->z_im[0] == 0 ? terms->z_re[0] : 50;
        f->top_hz = terms->axis->hz[terms->axis->n - 1];
        const double common[COMMON] = {prior->delay_s, prior->loss_db, prior->delay_s, prior->loss_db, prior->transmission_s};
        memcpy(f->width, common, sizeof common);
        f->n = COMMON;
        for (size_t k = 0; k < reading_n; k++) {
                f->slot[k] = readings[k].touched ? (int)f->n : -1;
                for (int port = 0; readings[k].touched && port < 2; port++) {
                        f->width[f->n++] = prior->contact_ohm;
                        f->width[f->n++] = prior->contact_h;
                        f->width[f->n++] = prior->position_m;
                }
        }
        double before = 0, sum = 0, count = 0;
        for (size_t k = 0; k < reading_n; k++) {
                struct sums one = leave(f, f->x, &readings[k], f->slot[k], step_hz_max, &ret->step[k]);
                ret->moved[k] = sqrt(one.plain / fmax(1, one.count));
                before += one.weighted;
                count += one.count;
        }
        sum = iterate(f, readings, reading_n, before);
        if (sum > 1.44 * 2 * count) { /* more left than repeats: is it a cable, whose directivity moves too? */
                f->cable = true;
                f->cable = iterate(f, readings, reading_n, before) < 0.9 * sum;
                if (!f->cable)
                        iterate(f, readings, reading_n, before);
        }
        ret->cable = f->cable;
        memset(f->lag, 0, sizeof f->lag);
        sum = 0;
        for (size_t k = 0; k < reading_n; k++) {
                struct sums one = leave(f, f->x, &readings[k], f->slot[k], 0, NULL);
                ret->residual[k] = sqrt(one.plain / fmax(1, one.count));
                sum += one.weighted;
        }
        double free = 0; /* unknowns that the data, not the priors, have settled */
        for (size_t u = 0; u < f->n; u++)
                free += 1 - f->inverse[u * f->n + u];
        ret->ratio = sqrt(sum / fmax(1, 2 * count - free));
        ret->left_share = before > 0 ? sum / before : 0;
        ret->likeness = 1;
        for (size_t k = 1; k <= LAGS && f->lag[0] > 0 && f->lag[k] > 0.05 * f->lag[0]; k++)
                ret->likeness += 2 * f->lag[k] / f->lag[0];
        ret->condition = condition_of(f);
        double stretch = sqrt(ret->likeness) * fmax(1, ret->ratio);
        for (int port = 0; port < 2; port++) {
                ret->delay_s[port] = mode_of(f, (size_t)(2 * port), stretch);
                ret->loss_db[port] = mode_of(f, (size_t)(2 * port + 1), stretch);
                for (size_t k = 0; k < reading_n; k++) {
                        size_t u = (size_t)(f->slot[k] + 3 * port);
                        if (f->slot[k] < 0)
                                continue;
                        ret->contact_ohm[k][port] = mode_of(f, u, stretch);
                        ret->contact_h[k][port] = mode_of(f, u + 1, stretch);
                        ret->position_m[k][port] = mode_of(f, u + 2, stretch);
                }
        }
        ret->transmission_s = mode_of(f, 4, stretch);
        ret->unknown_n = f->n;
        for (size_t i = 0; i < f->n; i++)
                for (size_t j = 0; j < f->n; j++)
                        f->inverse[i * f->n + j] *= stretch * stretch * f->width[i] * f->width[j];
        ret->covariance = f->inverse;
        return CODE_OK;
}
