/* extract_net.c: one quantity over a whole network, with its uncertainty and where it can be resolved (quantity.h). */
#include "rf/network/convert.h"
#include "rf/extract/plateau.h"
#include "rf/extract/quantity_own.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct over {
        const struct net2 *net;
        const struct rf_ask *ask;
        double z;
        size_t n;
        const double *hz;
        struct arena *arena;
};

static bool knows_u(const struct rf_ask *ask) { return ask->u_s || ask->causes; }

/* Standard uncertainty of what has the gradient g at point i, and its 95 % half width. */
static double u_of(const struct over *o, size_t i, const double complex g[4], double *ret_u95)
{
        double sum = 0, freedom, u;
        if (o->ask->causes) {
                u = net2_causes_u(o->ask->causes, i, g, &freedom);
                *ret_u95 = causes_factor(freedom) * u;
                return u;
        }
        *ret_u95 = NAN;
        if (!o->ask->u_s)
                return NAN;
        for (int e = 0; e < 4; e++)
                sum += creal(g[e]) * creal(g[e]) + cimag(g[e]) * cimag(g[e]);
        u = o->ask->u_s[i] * sqrt(sum);
        *ret_u95 = 2 * u;
        return u;
}

/* Value, u and half width at every frequency; the branch of lines followed from the lowest one.  grad may be NULL. */
static void column(const struct over *o, enum rf_quantity q, double *value, double *u, double *u95, double complex (*grad)[4])
{
        struct rf_at at = {.z_ref = o->z, .length_m = o->ask->length_m};
        double complex before = 0, g[4];
        for (size_t i = 0; i < o->n; i++) {
                struct m2 s = net2_get(o->net, i);
                at.hz = o->hz[i];
                if (rf_quantities[q].group == RF_GROUP_LINE && i > 0)
                        at.near = CMPLX(creal(before), cimag(before) * (o->hz[i - 1] > 0 ? o->hz[i] / o->hz[i - 1] : 1));
                if (rf_quantities[q].group == RF_GROUP_LINE)
                        before = rf_line_gl(s, o->z, at.near, NULL);
                value[i] = rf_quantity_at(q, s, &at, g);
                u[i] = u_of(o, i, g, &u95[i]);
                if (grad)
                        memcpy(grad[i], g, sizeof g);
        }
}

/* u of sum c[k] y[a + k] over n points: a cause moves all of them, noise each by itself.  grad[k]: of y[a + k]. */
static double u_of_points(const struct over *o, size_t a, size_t n, const double *c, double complex (*grad)[4], double *ret_u95)
{
        const struct net2_causes *causes = o->ask->causes;
        double each[CAUSES_MAX], sum[CAUSES_MAX] = {0}, own[CAUSES_MAX] = {0}, squares = 0, lower = 0;
        for (size_t k = 0; k < n; k++) {
                net2_causes_of(causes, a + k, grad[k], each);
                for (size_t m = 0; m < causes->n; m++) {
                        sum[m] += c[k] * each[m];
                        own[m] += pow(c[k] * each[m], 2);
                }
        }
        for (size_t m = 0; m < causes->n; m++) {
                double v = cause_is_circular(&causes->of[m].about) ? own[m] : sum[m] * sum[m];
                squares += v;
                lower += isfinite(causes->of[m].about.freedom) ? v * v / causes->of[m].about.freedom : 0;
        }
        double u = sqrt(squares);
        *ret_u95 = causes_factor(lower > 0 ? squares * squares / lower : INFINITY) * u;
        return u;
}

/* l d beta/dw by the parabola through three neighbours, at the ends one-sided. */
static enum code group_delay(const struct over *o, double *value, double *u, double *u95, struct tp_error *err)
{
        double *beta = arena_take(o->arena, 3 * o->n * sizeof *beta);
        double complex(*grad)[4] = arena_take(o->arena, o->n * sizeof *grad);
        if (!beta || !grad)
                return tp_fail_memory(err);
        double *ub = beta + o->n;
        column(o, RF_Q_BETA, beta, ub, beta + 2 * o->n, grad);
        for (size_t i = 0; i < o->n; i++) {
                size_t a = i == 0 ? 0 : i + 1 == o->n ? o->n - 3 : i - 1;
                double x[3], c[3], sum = 0, squares = 0;
                for (size_t k = 0; k < 3; k++)
                        x[k] = RF_TWO_PI * (o->hz[a + k] - o->hz[i]);
                for (size_t k = 0; k < 3; k++) { /* derivative at 0 of the Lagrange polynomials */
                        double p = x[(k + 1) % 3], r = x[(k + 2) % 3];
                        c[k] = -(p + r) / ((x[k] - p) * (x[k] - r));
                        sum += c[k] * beta[a + k];
                        squares += c[k] * c[k] * ub[a + k] * ub[a + k];
                }
                value[i] = o->ask->length_m * sum;
                u[i] = o->ask->length_m * (o->ask->causes ? u_of_points(o, a, 3, c, grad + a, &u95[i]) : sqrt(squares));
                u95[i] = o->ask->causes ? o->ask->length_m * u95[i] : 2 * u[i];
        }
        return CODE_OK;
}

static enum code check(const struct net2 *net, const char *word, enum rf_quantity q, const struct rf_ask *ask, struct tp_error *err)
{
        if (!q) {
                char words[280] = "";
                for (int k = 1; k < RF_Q_COUNT; k++) {
                        size_t used = strlen(words);
                        snprintf(words + used, sizeof words - used, "%s%s", k > 1 ? " " : "", rf_quantities[k].word);
                }
                return tp_fail(err, CODE_BAD_INPUT, "\"%.40s\" is no quantity; there are: %s …", word ? word : "", words);
        }
        const struct rf_quantity_row *row = &rf_quantities[q];
        if (!(net2_z_real(net) > 0))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s needs one real reference impedance; this network's is complex, unknown or changes over frequency; "
                               "renormalise it first",
                               row->word);
        if (row->group == RF_GROUP_LINE && !(ask->length_m > 0 && ask->length_m < 1))
                return tp_fail(err, CODE_BAD_INPUT, "%s needs the line's length; %.6g m is none of an on-wafer line", row->word,
                               ask->length_m);
        size_t least = q == RF_Q_GROUP_DELAY ? 3 : row->group == RF_GROUP_SWEEP ? 5 : 1;
        if (net->axis->n < least)
                return tp_fail(err, CODE_BAD_INPUT, "%s needs a sweep of %zu frequencies or more, there are %zu", row->word, least,
                               net->axis->n);
        if (ask->causes && !axis_equal(ask->causes->axis, net->axis))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: its uncertainty has %zu frequencies, the network %zu; both must have the same list", row->word,
                               ask->causes->axis->n, net->axis->n);
        for (size_t i = 0; i < net->axis->n; i++) {
                for (int k = 0; k < 4; k++)
                        if (!isfinite(net->re[k][i]) || !isfinite(net->im[k][i]))
                                return tp_fail(err, CODE_BAD_INPUT, "S%d%d at %.9g Hz is not finite; measure again", 1 + k / 2, 1 + k % 2,
                                               net->axis->hz[i]);
                if (ask->u_s && !(ask->u_s[i] >= 0))
                        return tp_fail(err, CODE_BAD_INPUT, "the uncertainty of S at %.9g Hz is %.6g; it must be 0 or more",
                                       net->axis->hz[i], ask->u_s[i]);
        }
        return CODE_OK;
}

static bool is_capacitive(const struct over *o, enum view view)
{
        for (size_t i = 0; i < o->n; i++) { /* the lowest frequency at which there is more reactance than resistance */
                double complex z = rf_view_z(view, net2_get(o->net, i), o->z, NULL);
                if (fabs(cimag(z)) > fabs(creal(z)))
                        return cimag(z) < 0;
        }
        return false;
}

static enum code srf(const struct over *o, enum rf_quantity q, struct rf_extracted *ret, struct tp_error *err)
{
        enum view view = (enum view)(VIEW_SINGLE + (q - RF_Q_SRF11));
        bool found = false, capacitor = is_capacitive(o, view);
        double hz = NAN;
        enum code code = rf_self_resonance(o->net, view, capacitor, &found, &hz, err);
        if (code)
                return code;
        if (!found)
                return tp_fail(err, CODE_UNRESOLVABLE, "%s: no resonance up to %.4g GHz", ret->row->word, o->hz[o->n - 1] / 1e9);
        size_t i = 0;
        while (i + 2 < o->n && o->hz[i + 1] <= hz)
                i++;
        double b[2], u = NAN, u95 = NAN, wide;
        for (size_t k = 0; k < 2; k++) {
                double complex g[4], z = rf_view_z(view, net2_get(o->net, i + k), o->z, g);
                double complex d = capacitor ? CMPLX(0, -1) : CMPLX(0, 1) / (z * z); /* Im Z, or Im 1/Z */
                b[k] = capacitor ? cimag(z) : cimag(1 / z);
                for (int e = 0; e < 4; e++)
                        g[e] *= d;
                double one = u_of(o, i + k, g, &wide);
                u = k == 0 ? one : fmax(u, one);
                u95 = k == 0 ? wide : fmax(u95, wide);
        }
        ret->value[0] = hz;
        ret->u[0] = u * fabs((o->hz[i + 1] - o->hz[i]) / (b[1] - b[0]));
        ret->u95[0] = u95 * fabs((o->hz[i + 1] - o->hz[i]) / (b[1] - b[0]));
        ret->range = (struct rf_range){.any = true, .lo_hz = o->hz[i], .hi_hz = o->hz[i + 1], .best_hz = hz};
        snprintf(ret->say, sizeof ret->say, "%s between the points at %.6g and %.6g GHz",
                 capacitor ? "series resonance" : "parallel resonance", o->hz[i] / 1e9, o->hz[i + 1] / 1e9);
        return CODE_OK;
}

/* The largest quality: a parabola in log f through the largest point that is resolved and its neighbours. */
static enum code quality_peak(const struct over *o, enum rf_quantity q, struct rf_extracted *ret, struct tp_error *err)
{
        enum rf_quantity of = q == RF_Q_Q11_MAX || q == RF_Q_Q11_MAX_HZ ? RF_Q_Q11 : RF_Q_QD;
        double *y = arena_take(o->arena, 3 * o->n * sizeof *y);
        if (!y)
                return tp_fail_memory(err);
        double *u = y + o->n, *u95 = y + 2 * o->n;
        column(o, of, y, u, u95, NULL);
        size_t top = SIZE_MAX;
        for (size_t i = 0; i < o->n; i++) {
                if (knows_u(o->ask) && !rf_resolvable(rf_share_of(RF_SHARE_VALUE, y[i], u95[i]), o->ask->share_max)) {
                        ret->refused_n++;
                        continue;
                }
                if (y[i] > 0 && (top == SIZE_MAX || y[i] > y[top]))
                        top = i;
        }
        if (top == SIZE_MAX)
                return tp_fail(err, CODE_UNRESOLVABLE, "%s: no Q of an inductor is resolved in the sweep", ret->row->word);
        if (top == 0 || top + 1 == o->n || !(o->hz[top - 1] > 0))
                return tp_fail(err, CODE_UNRESOLVABLE, "%s: Q still rises at %.4g GHz, an end of the sweep; sweep wider", ret->row->word,
                               o->hz[top] / 1e9);
        double a = log(o->hz[top - 1] / o->hz[top]), b = log(o->hz[top + 1] / o->hz[top]), ya = y[top - 1] - y[top],
               yb = y[top + 1] - y[top];
        double bend = (ya / a - yb / b) / (a - b), slope = ya / a - bend * a, at = -slope / (2 * bend); /* y = y0 + slope x + bend x^2 */
        if (!(bend < 0) || !(at >= a && at <= b))
                return tp_fail(err, CODE_UNRESOLVABLE, "%s: the points around %.6g GHz make no maximum", ret->row->word, o->hz[top] / 1e9);
        double peak_hz = o->hz[top] * exp(at), peak = y[top] + slope * at + bend * at * at;
        bool hz = q == RF_Q_Q11_MAX_HZ || q == RF_Q_QD_MAX_HZ;
        ret->value[0] = hz ? peak_hz : peak;
        ret->u[0] = hz ? peak_hz * sqrt(u[top] / -bend) : u[top];
        ret->u95[0] = hz ? 2 * ret->u[0] : u95[top];
        ret->range = (struct rf_range){.any = true, .lo_hz = o->hz[top - 1], .hi_hz = o->hz[top + 1], .best_hz = peak_hz};
        snprintf(ret->say, sizeof ret->say, "Q is largest at %.5g GHz: %.4g", peak_hz / 1e9, peak);
        return CODE_OK;
}

/* |h21|, 1/|Im(1/h21)|, sqrt U, sqrt MAG; the gradient of its logarithm, and its relative u and half width. */
static double falling(const struct over *o, enum rf_quantity q, size_t i, double complex g[4], double *ret_u, double *ret_u95)
{
        struct rf_at at = {.hz = o->hz[i], .z_ref = o->z};
        struct m2 s = net2_get(o->net, i);
        enum rf_quantity of = q == RF_Q_FT ? RF_Q_H21 : q == RF_Q_FT_IM ? q : q == RF_Q_FMAX ? RF_Q_U : RF_Q_MAG;
        bool power = q != RF_Q_FT && q != RF_Q_FT_IM;
        double v = rf_quantity_at(of, s, &at, g);
        for (int e = 0; e < 4; e++)
                g[e] /= v * (power ? 2 : 1);
        *ret_u = u_of(o, i, g, ret_u95);
        return power ? sqrt(v) : v;
}

static enum code plateau(const struct over *o, enum rf_quantity q, struct rf_extracted *ret, struct tp_error *err)
{
        static const char *const what[] = {"|h21|", "1/|Im(1/h21)|", "sqrt U", "sqrt MAG"};
        double *y = arena_take(o->arena, o->n * sizeof *y), *u = arena_take(o->arena, o->n * sizeof *u), known = 0, known95 = 0;
        double *weight = arena_take(o->arena, o->n * sizeof *weight);
        double complex(*grad)[4] = arena_take(o->arena, o->n * sizeof *grad);
        if (!y || !u || !weight || !grad)
                return tp_fail_memory(err);
        size_t refused = 0;
        for (size_t i = 0; i < o->n; i++) {
                double u95;
                y[i] = falling(o, q, i, grad[i], &u[i], &u95);
                if (knows_u(o->ask) && isfinite(y[i]) && !rf_resolvable(rf_share_of(RF_SHARE_VALUE, 1, u95), o->ask->share_max)) {
                        y[i] = NAN; /* noise may fall by anything a decade */
                        refused++;
                }
        }
        struct rf_plateau p;
        enum code code = rf_plateau_find(o->n, o->hz, y, o->ask->low_hz, o->ask->high_hz, what[q - RF_Q_FT], &p, err);
        if (code)
                return tp_where(err, "%s", ret->row->word);
        bool at_zero = q == RF_Q_FT_IM;
        rf_plateau_weights(p.n, o->hz + p.first, at_zero, weight);
        if (at_zero)
                rf_plateau_at_zero(o->hz, y, &p);
        if (o->ask->causes)
                known = u_of_points(o, p.first, p.n, weight, grad + p.first, &known95);
        for (size_t i = 0; i < p.n && o->ask->u_s; i++) /* nobody says what the points have in common: as if all, with the signs that add */
                known += fabs(weight[i]) * u[p.first + i];
        if (o->ask->u_s)
                known95 = 2 * known;
        ret->value[0] = p.value_hz;
        ret->u[0] = p.value_hz * hypot(p.shape_u, known);
        ret->u95[0] = p.value_hz * hypot(2 * p.shape_u, known95);
        ret->range = (struct rf_range){.any = true, .lo_hz = p.lo_hz, .hi_hz = p.hi_hz, .best_hz = sqrt(p.lo_hz * p.hi_hz)};
        ret->refused_n = refused;
        snprintf(ret->say, sizeof ret->say,
                 "%s of f %s over %zu points from %.4g to %.4g GHz, where it falls by 20 dB a decade; it scatters there by %.2g %%",
                 at_zero ? "value at f = 0 of the line in f^2" : "mean", what[q - RF_Q_FT], p.n, p.lo_hz / 1e9, p.hi_hz / 1e9,
                 100 * p.spread);
        return CODE_OK;
}

enum code rf_extract(const struct net2 *net, const char *word, const struct rf_ask *ask, struct arena *arena, struct rf_extracted *ret,
                     struct tp_error *err)
{
        static const struct rf_ask nothing = {0};
        enum rf_quantity q = rf_quantity_of(word);
        ask = ask ? ask : &nothing;
        enum code code = check(net, word, q, ask, err);
        if (code)
                return code;
        struct over o = {net, ask, net2_z_real(net), net->axis->n, net->axis->hz, arena};
        bool one = rf_quantities[q].group == RF_GROUP_SWEEP;
        struct rf_extracted got = {.row = &rf_quantities[q], .n = one ? 1 : o.n, .hz = one ? NULL : o.hz};
        got.value = arena_take(arena, 3 * got.n * sizeof *got.value);
        double *share = arena_take(arena, o.n * sizeof *share);
        if (!got.value || !share)
                return tp_fail_memory(err);
        got.u = got.value + got.n;
        got.u95 = got.value + 2 * got.n;
        for (size_t i = 0; i < 3 * got.n; i++)
                got.value[i] = NAN;
        if (one) {
                code = q <= RF_Q_SRFD      ? srf(&o, q, &got, err)
                       : q >= RF_Q_Q11_MAX ? quality_peak(&o, q, &got, err)
                                           : plateau(&o, q, &got, err);
                if (code)
                        return code;
                double s = rf_share_of(got.row->share, got.value[0], got.u95[0]);
                if (isfinite(got.u[0]) && !rf_resolvable(s, ask->share_max))
                        return tp_fail(err, CODE_UNRESOLVABLE,
                                       "%s is not resolvable: u95 is %.3g %% of the value, at most %.3g %% is asked", word, 100 * s,
                                       100 * (ask->share_max > 0 ? ask->share_max : RF_SHARE_MAX));
                got.range.best_share = s;
                *ret = got;
                return CODE_OK;
        }
        if (q == RF_Q_GROUP_DELAY) {
                if ((code = group_delay(&o, got.value, got.u, got.u95, err)))
                        return code;
        } else {
                if (!(got.grad = arena_take(arena, o.n * sizeof *got.grad)))
                        return tp_fail_memory(err);
                column(&o, q, got.value, got.u, got.u95, got.grad);
        }
        for (size_t i = 0; i < o.n; i++) {
                bool exists = isfinite(got.value[i]);
                got.missing_n += !exists;
                if (!exists)
                        got.u[i] = got.u95[i] = NAN;
                share[i] = exists && knows_u(ask) ? rf_share_of(got.row->share, got.value[i], got.u95[i]) : NAN;
                if (exists && knows_u(ask) && !rf_resolvable(share[i], ask->share_max)) {
                        got.value[i] = NAN;
                        got.refused_n++;
                }
        }
        if (knows_u(ask)) {
                got.range = rf_resolve_range(o.n, o.hz, share, ask->share_max);
                rf_range_say(&got.range, ask->share_max, sizeof got.say, got.say);
        }
        size_t used = strlen(got.say);
        if (got.missing_n)
                snprintf(got.say + used, sizeof got.say - used, "%s%zu of %zu points do not exist: %s", used ? "; " : "", got.missing_n,
                         o.n, got.row->nan_say);
        *ret = got;
        return CODE_OK;
}
