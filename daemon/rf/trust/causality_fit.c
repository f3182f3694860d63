/* causality_fit.c: is there a causal model of this sweep?  (plausible.h)
 * Problem     the relations of Kramers and Kronig need all frequencies; a sweep has some, and what is assumed beyond decides the answer.
 * Idea        a sum of stable poles is causal whatever lies beyond the sweep.  If the best one leaves no more than noise, the data may be
 *             causal; if it leaves many times the noise however many poles it gets, they are not (or are not smooth enough for the grid).
 * Source      vector fitting: vector_fit.h; as a test of causality: common practice. */
#include "rf/trust/plausible.h"
#include <math.h>
#include <stdio.h>

enum { POINTS_LEAST = 16 };
#define NOISE_LEAST 1e-7 /* of double arithmetic and seven-digit files */

#define UP64(x) (((x) + 63) / 64 * 64)
size_t rf_causality_fit_bytes(size_t n, size_t ports) { return rf_vector_fit_bytes(n, ports * ports, 0) + UP64(sizeof(struct rational)); }

/* rms of one complex point over all elements; NaN: too few points to see it. */
static double noise_of(const struct model_data *d)
{
        double sum = 0;
        size_t e = d->ports * d->ports;
        for (size_t q = 0; q < e; q++) {
                double level = rf_noise_by_differences(d->axis->n, d->re[q], d->im[q]);
                sum += level * level;
        }
        return sqrt(sum / (double)e);
}

static enum code check(const struct model_data *d, double noise, struct tp_error *err)
{
        const struct axis *a = d->axis;
        if (d->ports < 1 || d->ports > RF_MODEL_PORTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "causality: %zu ports; a model takes 1 to %d", d->ports, RF_MODEL_PORTS_MAX);
        if (a->n < POINTS_LEAST)
                return tp_fail(err, CODE_BAD_INPUT, "causality: %zu points are too few for a model, it takes %d", a->n, POINTS_LEAST);
        if (!(noise >= 0))
                return tp_fail(err, CODE_BAD_INPUT, "causality: a noise of %.6g is none; give its rms, or 0 to take it from the data",
                               noise);
        for (size_t i = 0; i < a->n; i++)
                for (size_t q = 0; q < d->ports * d->ports; q++)
                        if (!isfinite(d->re[q][i]) || !isfinite(d->im[q][i]))
                                return tp_fail(err, CODE_BAD_INPUT, "causality: S%zu%zu is not a number at %.9g Hz; sweep again",
                                               q / d->ports + 1, q % d->ports + 1, a->hz[i]);
        return CODE_OK;
}

enum code rf_causality_fit(const struct model_data *d, double noise, size_t order_max, void *workspace, struct rf_plausible *ret,
                           struct tp_error *err)
{
        enum code code = check(d, noise, err);
        if (code)
                return code;
        const struct axis *a = d->axis;
        if (noise == 0)
                noise = noise_of(d);
        if (!isfinite(noise))
                return tp_fail(err, CODE_BAD_INPUT, "causality: %zu frequencies are too few to see noise; give its rms", a->n);
        noise = fmax(noise, NOISE_LEAST);
        struct rational *model = workspace;
        void *room = (char *)workspace + UP64(sizeof *model);
        struct fit_data data = {.n = a->n, .element_n = d->ports * d->ports, .hz = a->hz};
        for (size_t q = 0; q < data.element_n; q++) {
                data.re[q] = d->re[q];
                data.im[q] = d->im[q];
        }
        size_t most = order_max && order_max < RF_FIT_ORDER_MAX ? order_max : RF_FIT_ORDER_MAX;
        if (most > a->n - 6)
                most = a->n - 6; /* poles and a constant for each of four elements, from two numbers per point */
        struct fit_options options = {.order_max = most, .weight = FIT_WEIGHT_ONE, .noise = noise};
        struct fit_report report;
        code = rf_vector_fit(&data, &options, room, model, &report, err);
        if (code)
                return tp_where(err, "causality");
        *ret = (struct rf_plausible){.worst = report.rms / noise,
                                     .limit = RF_CAUSALITY_FIT_LIMIT,
                                     .worst_hz = report.worst_hz,
                                     .from_hz = NAN,
                                     .to_hz = NAN,
                                     .point_n = a->n};
        ret->finding = ret->worst <= ret->limit ? RF_FINDING_GOOD : RF_FINDING_BAD;
        if (ret->finding == RF_FINDING_GOOD)
                snprintf(ret->sentence, sizeof ret->sentence, "causal: a model of %zu stable poles leaves %.2g x the noise of %.2g",
                         report.order, ret->worst, noise);
        else
                snprintf(ret->sentence, sizeof ret->sentence,
                         "no causal model of up to %zu poles comes nearer than %.3g x the noise of %.2g (worst at S%zu%zu, %.4g GHz): the "
                         "other sign of time, planes beyond the device, a step between bands, or more than the grid resolves",
                         report.order_tried, ret->worst, noise, report.worst_element / d->ports + 1, report.worst_element % d->ports + 1,
                         report.worst_hz / 1e9);
        return CODE_OK;
}
