/* circuit_causes.c: what causes of S make of a fitted circuit (circuit_causes.h).
 * Idea        At the minimum of |W (S_model(p) - S)|^2 a change dS moves p by (J^T W^2 J)^{-1} J^T W^2 dS (normal equations of the
 *             linearised problem), with J = dS_model/dp taken by differences in relative steps.  Noise is what the fit itself weighs. */
#include "rf/models/circuit_causes.h"
#include "rf/numbers/small.h"
#include <math.h>
#include <string.h>

#define STEP 1e-5    /* of an element */
#define U_LEAST 1e-9 /* a weight needs some */

double rf_causes_noise(const struct net2_causes *causes, size_t ports)
{
        double sum = 0;
        for (size_t k = 0; k < causes->n; k++)
                for (size_t i = 0; cause_is_circular(&causes->of[k].about) && i < causes->axis->n; i++) {
                        struct m2 d = net2_cause_at(&causes->of[k], i);
                        for (size_t e = 0; e < ports * ports; e++)
                                sum += creal(d.e[e]) * creal(d.e[e]) + cimag(d.e[e]) * cimag(d.e[e]);
                }
        return sqrt(sum / ((double)(ports * ports) * (double)causes->axis->n));
}

/* Elements that take part; their derivatives d S/d log p at point i. */
struct active {
        size_t n, of[RF_CIRCUIT_ELEMENTS_MAX];
};
static void derivatives(const struct circuit *c, const struct active *a, double hz, struct m2 ret[RF_CIRCUIT_ELEMENTS_MAX])
{
        for (size_t k = 0; k < a->n; k++) {
                struct circuit up = *c, down = *c;
                struct m2 s[2];
                up.element[a->of[k]].value *= 1 + STEP;
                down.element[a->of[k]].value *= 1 - STEP;
                s[0] = s[1] = m2_of(0, 0, 0, 0); /* a one-port fills its own */
                circuit_s_at(&up, hz, s[0].e);
                circuit_s_at(&down, hz, s[1].e);
                ret[k] = m2_scale(1 / (2 * STEP), m2_sub(s[0], s[1]));
        }
}

static double weighed(size_t ports, struct m2 a, struct m2 b, const double *const u_of[4], size_t i)
{
        double sum = 0;
        for (size_t e = 0; e < ports * ports; e++)
                sum += creal(conj(a.e[e]) * b.e[e]) / (u_of[e][i] * u_of[e][i]);
        return sum;
}

/* The elements' answers to every cause. */
static enum code answers(const struct circuit *c, const struct net2_causes *causes, const double *const u_of[4],
                         double (*change)[RF_CIRCUIT_ELEMENTS_MAX], struct tp_error *err)
{
        struct active a = {0};
        double complex normal[RF_CIRCUIT_ELEMENTS_MAX * RF_CIRCUIT_ELEMENTS_MAX] = {0}, right[RF_CIRCUIT_ELEMENTS_MAX], x[SMALL_MAX];
        for (size_t e = 0; e < c->element_n; e++)
                if (!c->element[e].dropped && isfinite(c->element[e].value) && c->element[e].value != 0)
                        a.of[a.n++] = e;
        for (size_t i = 0; i < causes->axis->n; i++) {
                struct m2 d[RF_CIRCUIT_ELEMENTS_MAX];
                if (!(causes->axis->hz[i] > 0))
                        continue;
                derivatives(c, &a, causes->axis->hz[i], d);
                for (size_t p = 0; p < a.n; p++)
                        for (size_t q = 0; q < a.n; q++)
                                normal[p * a.n + q] += weighed(c->ports, d[p], d[q], u_of, i);
                for (size_t k = 0; k < causes->n; k++)
                        for (size_t p = 0; p < a.n && !cause_is_circular(&causes->of[k].about); p++)
                                change[k][a.of[p]] += weighed(c->ports, d[p], net2_cause_at(&causes->of[k], i), u_of, i);
        }
        for (size_t k = 0; k < causes->n; k++) {
                for (size_t p = 0; p < a.n; p++)
                        right[p] = change[k][a.of[p]];
                if (!small_solve(a.n, normal, right, x))
                        return tp_fail(err, CODE_UNRESOLVABLE, "the elements' answer to \"%s\" cannot be found: they depend on each other",
                                       causes->of[k].about.name);
                for (size_t p = 0; p < a.n; p++)
                        change[k][a.of[p]] = creal(x[p]) * c->element[a.of[p]].value;
        }
        return CODE_OK;
}

enum code rf_fit_circuit_by_causes(enum circuit_kind kind, const struct model_data *data, const struct circuit_options *options,
                                   const struct net2_causes *causes, struct arena *arena, struct circuit *ret,
                                   struct circuit_causes *ret_causes, struct tp_error *err)
{
        size_t n = data->axis->n;
        struct circuit_options o = *options;
        const double *u_of[4] = {NULL};
        double *u = arena_take(arena, 4 * n * sizeof *u);
        if (!u || !(ret_causes->change = arena_take(arena, (causes->n + 1) * sizeof *ret_causes->change)))
                return tp_fail_memory(err);
        if (data->ports < 1 || data->ports > 2 || !axis_equal(data->axis, causes->axis))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the uncertainty is of one or two ports at %zu frequencies, the data have %zu ports at %zu", causes->axis->n,
                               data->ports, n);
        o.u = 0;
        for (size_t e = 0; e < data->ports * data->ports; e++) {
                for (size_t i = 0; i < n; i++) {
                        struct complex_cov c = net2_causes_cov(causes, i, (int)e);
                        u[e * n + i] = fmax(sqrt((c.re + c.im) / 2), U_LEAST);
                }
                o.u_of[e] = u_of[e] = u + e * n;
        }
        enum code code = rf_fit_circuit(kind, data, &o, ret, err);
        if (!code)
                code = answers(ret, causes, u_of, ret_causes->change, err);
        for (size_t e = 0; e < ret->element_n && !code; e++) {
                struct circuit_element *to = &ret->element[e];
                for (size_t k = 0; k < causes->n; k++)
                        to->u = hypot(to->u, ret_causes->change[k][e]);
                to->undetermined = !to->dropped && !(to->u <= fabs(to->value) / 2);
        }
        return code;
}
