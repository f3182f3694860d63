/* chain.c: one sweep through correct, de-embed, extract, judge.
 * Idea        A parameter looks at one frequency, so the chain runs there alone: five raw points of device, open and short are corrected, S
 *             is interpolated, and the rest is algebra of a single point.  A whole wafer is then evaluated in the time that correcting all
 *             its sweeps in full would take several times over.
 * Flags       of the corrected sweep: 16 not reciprocal, 32 not passive (run/entry.h).
 * Not here    one parameter's number, uncertainty and verdict (answer.c). */
#include "evaluate/chain.h"
#include "evaluate/found_match.h"
#include "rf/network/convert.h"
#include <stdio.h>
#include <string.h>

static enum code part_check(const struct chain *ch, const char *what, const struct raw_sweep *raw, struct tp_error *err)
{
        if (!raw)
                return tp_fail(err, CODE_NOT_FOUND,
                               "device %s needs the %s dummy of its die and there is no good one; measure it again or change the recipe's "
                               "de-embedding",
                               ch->q->measure->device, what);
        if (raw->n != ch->axis.n || (raw->hz != ch->axis.hz && memcmp(raw->hz, ch->axis.hz, raw->n * sizeof *raw->hz) != 0))
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "the %s dummy was swept at other frequencies (%zu points) than device %s (%zu points); give both one sweep plan",
                        what, raw->n, ch->q->measure->device, ch->axis.n);
        return CODE_OK;
}

/* The first half of a 2x-thru out of its corrected sweep, which takes all of it. */
static enum code gate(struct chain *ch, struct arena *arena, struct tp_error *err)
{
        size_t n = ch->axis.n;
        void *memory = arena_take(arena, net2_bytes(n));
        double *half = arena_take(arena, 4 * n * sizeof *half);
        if (!memory || !half)
                return tp_fail_memory(err);
        struct net2 two = net2_at(memory, &ch->axis, PLANE_TIP);
        for (size_t j = 0; j < n; j++)
                net2_put(&two, j, tip_point(ch->of[RF_DUMMY_TWO_X_THRU], ch->raw[RF_DUMMY_TWO_X_THRU], j, map_at(ch->map, j)));
        net2_set_z(&two, ch->z, 0);
        enum code code = rf_gate_half(&two, 0, arena, half, half + n, err);
        if (!code)
                code = rf_gate_half(&two, 1, arena, half + 2 * n, half + 3 * n, err);
        if (code)
                return tp_where(err, "device %s", ch->q->measure->device);
        ch->half_re = half;
        ch->half_im = half + n;
        ch->later_re = half + 2 * n;
        ch->later_im = half + 3 * n;
        return CODE_OK;
}

enum code chain_open(const struct chain_question *q, struct arena *arena, struct chain *ret, struct tp_error *err)
{
        struct chain_question *own = arena_take(arena, sizeof *own);
        if (!own)
                return tp_fail_memory(err);
        *own = *q;
        enum code code = recipe_trimmed(q->recipe, q->calibration->loads, q->calibration->load_n, arena, &own->recipe, err);
        if (code)
                return tp_where(err, "device %s", q->measure->device);
        q = own;
        struct chain ch = {.q = q, .cal = q->calibration, .axis = {.n = q->raw->n, .hz = q->raw->hz}, .raw = {q->raw}};
        double z = q->calibration->z_ref;
        ch.line_reference = !(z > 0);
        ch.z = ch.line_reference ? 50 : z;
        for (int p = 0; p < PART_COUNT; p++)
                ch.of[p] = p != PART_DEVICE && q->dummy_calibrations[p] ? q->dummy_calibrations[p] : ch.cal;
        code = domain_holds(q->calibration, q->recipe, recipe_sweep(q->recipe, q->measure->sweep), q->raw, err);
        if (!code)
                code = calibration_map(q->calibration, q->raw, arena, &ch.map, err);
        if (code)
                return tp_where(err, "device %s", q->measure->device);
        ch.method = (enum deembed_method)deembed_rf(q->measure->deembed);
        if (ch.method) {
                if (ch.line_reference)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "device %s: de-embedding needs ohms, and the calibration's reference is the line's own impedance; "
                                       "give calibration.line_capacitance_f_m",
                                       q->measure->device);
                for (int p = 1; p < PART_COUNT; p++) {
                        if (!((rf_deembed_methods[ch.method].wants >> p) & 1u))
                                continue;
                        ch.raw[p] = q->dummies[p];
                        if ((code = part_check(&ch, rf_dummy_words[p], q->dummies[p], err)))
                                return code;
                }
                if (ch.method == RF_DEEMBED_TWO_X_THRU && (code = gate(&ch, arena, err)))
                        return code;
        }
        int at = layout_device(&q->recipe->layout, q->measure->device);
        if (at >= 0) {
                ch.device_kind = q->recipe->layout.devices[at].kind;
                ch.line_m = q->recipe->layout.devices[at].length_um * 1e-6 - q->calibration->thru_m;
        }
        *ret = ch;
        return found_match_of(ret, arena, &ret->found, err);
}

struct trio chain_point(const struct chain *ch, size_t j)
{
        struct trio t = {.hz = ch->axis.hz[j]};
        for (int p = 0; p < PART_COUNT; p++)
                if (ch->raw[p])
                        t.s[p] = tip_point(ch->of[p], ch->raw[p], j, map_at(ch->map, j));
        if (ch->half_re)
                t.s[RF_DUMMY_HALF].e[0] = CMPLX(ch->half_re[j], ch->half_im[j]);
        return t;
}

enum code chain_between(const struct chain *ch, double hz, struct trio *ret, size_t *ret_nearest, double *ret_noise_gain,
                        struct tp_error *err)
{
        size_t first, n;
        double w[5], gain = 0;
        struct trio sum = {.hz = hz};
        enum code code = rf_interpolation(&ch->axis, hz, &first, &n, w, err);
        if (code)
                return code;
        for (size_t j = 0; j < n; j++) {
                struct trio one = chain_point(ch, first + j);
                for (int p = 0; p < PART_COUNT; p++)
                        if (ch->raw[p] || p == RF_DUMMY_HALF)
                                sum.s[p] = m2_add(sum.s[p], m2_scale(w[j], one.s[p]));
                gain += w[j] * w[j];
        }
        *ret = sum;
        *ret_nearest = axis_nearest(&ch->axis, hz);
        *ret_noise_gain = gain;
        return CODE_OK;
}

/* One parameter on the side of the leads where it lies; `found` and `why`: whether they were. */
static void answer_at(const struct chain *ch, const struct chain *inside, enum code found, const struct tp_error *why,
                      const struct parameter_plan *plan, struct parameter_answer *to)
{
        const struct chain_question *q = ch->q;
        struct tp_error cold = {0};
        bool wants = leads_wanted(q->measure, plan);
        if (quantity_amplifies(plan->quantity) && condition_is_state(q->measure, q->condition)) {
                tp_fail(&cold, CODE_UNRESOLVABLE, "nothing amplifies under condition %s, which the leads are found by",
                        q->measure->conditions[q->condition].name);
                answer_without(plan, &cold, to);
        } else if (wants && found) {
                answer_without(plan, why, to);
        } else {
                answer_one(wants ? inside : ch, plan, to);
        }
}

enum code chain_run(const struct chain_question *q, struct arena *arena, struct parameter_answer **ret, size_t *ret_n, uint32_t *ret_flags,
                    struct tp_error *err)
{
        struct chain ch, inside;
        struct tp_error why = {0};
        struct sweep_said said;
        size_t n = q->measure->parameter_n;
        *ret = NULL;
        *ret_n = 0;
        *ret_flags = 0;
        enum code code = chain_open(q, arena, &ch, err);
        if (code)
                return code;
        struct parameter_answer *answers = arena_take(arena, (n ? n : 1) * sizeof *answers);
        if (!answers)
                return tp_fail_memory(err);
        enum code found = leads_chain(&ch, arena, &inside, &why);
        if (found == CODE_MEMORY)
                return tp_fail_memory(err);
        sweep_say(&ch, arena, &said);
        *ret_flags = said.flags;
        for (size_t k = 0; k < n; k++) {
                answer_at(&ch, &inside, found, &why, &q->measure->parameters[k], &answers[k]);
                sweep_said_in(&ch, &said, answers[k].reason, sizeof answers[k].reason);
        }
        *ret = answers;
        *ret_n = n;
        return CODE_OK;
}
