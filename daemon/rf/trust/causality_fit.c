/* causality_fit.c: is there a causal model of this sweep?  (plausible.h)
 * Problem     the relations of Kramers and Kronig need all frequencies; a sweep has some, and what is assumed beyond decides the answer.
 * Idea        a sum of stable poles is causal whatever lies beyond the sweep.  If the best one leaves no more than noise, the data may be
 *             causal; if it leaves many times the noise however many poles it gets, they are not (or are not smooth enough for the grid).
 * Source      vector fitting: vector_fit.h; as a test of causality: common practice. */
#include "rf/trust/plausible.h"
#include "rf/models/vector_fit.h"
#include <math.h>
#include <stdio.h>

enum { POINTS_LEAST = 16 };
#define NOISE_LEAST 1e-7 /* of double arithmetic and seven-digit files */

size_t rf_causality_fit_bytes(size_t n) { return rf_vector_fit_bytes(n, 4, 0) + sizeof(struct rational) + 64; }

/* rms of one complex point, from third differences (sum of squared weights 20 on an even grid); the median over stretches of 8 points, so
   that a sharp resonance does not count as noise. */
static double noise_of(const struct net2 *net)
{
        double stretch[64] = {0};
        size_t n = net->axis->n, m = 0, step = (n - 3) / 64 + 1;
        if (step < 8)
                step = 8;
        for (size_t from = 0; from + step + 3 <= n && m < 64; from += step) {
                double sum = 0;
                for (size_t i = from; i < from + step; i++)
                        for (int e = 0; e < 4; e++) {
                                double re = net->re[e][i + 3] - 3 * net->re[e][i + 2] + 3 * net->re[e][i + 1] - net->re[e][i];
                                double im = net->im[e][i + 3] - 3 * net->im[e][i + 2] + 3 * net->im[e][i + 1] - net->im[e][i];
                                sum += (re * re + im * im) / 20;
                        }
                double one = sqrt(sum / (4 * (double)step));
                size_t at = m++;
                for (; at > 0 && stretch[at - 1] > one; at--)
                        stretch[at] = stretch[at - 1];
                stretch[at] = one;
        }
        return m ? stretch[m / 2] : 0;
}

enum code rf_causality_fit(const struct net2 *net, double noise, size_t order_max, void *workspace, struct rf_plausible *ret,
                           struct tp_error *err)
{
        static const char *const entry[] = {"S11", "S12", "S21", "S22"};
        const struct axis *a = net->axis;
        if (a->n < POINTS_LEAST)
                return tp_fail(err, CODE_BAD_INPUT, "causality: %zu points are too few for a model, it takes %d", a->n, POINTS_LEAST);
        if (!(noise >= 0))
                return tp_fail(err, CODE_BAD_INPUT, "causality: a noise of %.6g is none; give its rms, or 0 to take it from the data",
                               noise);
        for (size_t i = 0; i < a->n; i++)
                for (int e = 0; e < 4; e++)
                        if (!isfinite(net->re[e][i]) || !isfinite(net->im[e][i]))
                                return tp_fail(err, CODE_BAD_INPUT, "causality: %s is not a number at %.9g Hz; sweep again", entry[e],
                                               a->hz[i]);
        if (noise == 0)
                noise = noise_of(net);
        noise = fmax(noise, NOISE_LEAST);
        struct rational *model = workspace;
        void *room = (char *)workspace + (sizeof *model + 63) / 64 * 64;
        struct fit_data data = {.n = a->n, .element_n = 4, .hz = a->hz};
        for (int e = 0; e < 4; e++) {
                data.re[e] = net->re[e];
                data.im[e] = net->im[e];
        }
        size_t most = order_max && order_max < RF_FIT_ORDER_MAX ? order_max : RF_FIT_ORDER_MAX;
        if (most > a->n - 6)
                most = a->n - 6; /* poles and a constant for each of the four, from two numbers per point */
        struct fit_options options = {.order_max = most, .weight = FIT_WEIGHT_ONE, .noise = noise};
        struct fit_report report;
        enum code code = rf_vector_fit(&data, &options, room, model, &report, err);
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
                         "no causal model of up to %zu poles comes nearer than %.3g x the noise of %.2g (worst at %s, %.4g GHz): the other "
                         "sign of "
                         "time, planes beyond the device, a step between bands, or more than the grid resolves",
                         report.order_tried, ret->worst, noise, entry[report.worst_element], report.worst_hz / 1e9);
        return CODE_OK;
}
