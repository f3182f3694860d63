/* chain.c: one sweep through correct, de-embed, extract, judge.
 * Idea        A parameter looks at one frequency, so the chain runs there alone: five raw points of device, open and short are corrected, S
 * is interpolated, and the rest is algebra of a single point.  A whole wafer is then evaluated in the time that correcting all its sweeps
 * in full would take several times over. Verdict     JCGM 106:2012: pass when the true value lies within the limits with probability 0.95
 * or more, fail at 0.05 or less, else marginal; another risk, or the value alone, if the recipe says so (rf/trust/decide_limits.h). Refusal
 * a number whose 95 % half width is more than the recipe's share of it is not given: value absent, reason says by how much. Flags       of
 * the corrected sweep: 16 not reciprocal, 32 not passive (run/entry.h). */
#include "evaluate/chain.h"
#include "rf/network/convert.h"
#include "rf/trust/decide_limits.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define SPAN_MAX 0.4 /* of a resonance, to each side of it */
/* A susceptance wC - 1/wL bends by 3 u over u (of the frequency's share): half a unit of the second digit of u is 0.5 % at least. */
#define STRAIGHT_U 1.5e-3

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
        return CODE_OK;
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

void answer_refuse(struct parameter_answer *a, const char *sentence)
{
        a->has_value = false;
        a->value = a->u95 = NAN;
        a->verdict = "none";
        snprintf(a->reason, sizeof a->reason, "%s", sentence);
}

static void judge(struct parameter_answer *a, double u)
{
        const struct parameter_plan *p = a->plan;
        if (!p->has_low && !p->has_high) {
                a->verdict = "none";
                snprintf(a->reason, sizeof a->reason, "no limits");
                return;
        }
        static const char *const words[] = {"none", "pass", "fail", "marginal"};
        const struct limits l = {p->has_low, p->has_high, p->low, p->high};
        const struct decision_rule rule = {(enum acceptance)p->acceptance, p->risk};
        double pc;
        enum decision d = limits_decide(&l, &rule, a->value, u, &pc);
        a->verdict = words[d];
        a->reason[0] = '\0';
        if (rule.kind == ACCEPTANCE_SIMPLE)
                snprintf(a->reason, sizeof a->reason, "by the value alone; within its limits with probability %.2g", pc);
        else if (d != DECISION_PASS)
                snprintf(a->reason, sizeof a->reason, "within its limits with probability %.2g%s", pc,
                         u > limits_u_max(&l, &rule) ? "; cannot be decided with this uncertainty" : "");
}

static void unit_fail(struct parameter_answer *a, const struct tp_error *err)
{
        char sentence[sizeof a->reason];
        snprintf(sentence, sizeof sentence, "%.*s", (int)sizeof sentence - 1, err->text);
        answer_refuse(a, sentence);
}

/* The first zero of the branch's susceptance, from inductive to capacitive or the other way round, above the frequency of the largest |Q|.
 */
struct crossing {
        bool found;
        double hz, below_hz, above_hz; /* the points that it lies between */
};
static struct crossing crossing_find(const struct asked *a)
{
        const struct chain *ch = a->ch;
        struct asked at = *a;
        double sign = ch->device_kind == DEVICE_CAPACITOR ? -1 : 1; /* an inductor's susceptance is negative below resonance */
        size_t stride = ch->axis.n > 128 ? 4 : 1, last = 0;
        double before = NAN, q_best = 0;
        struct crossing c = {.hz = NAN};
        for (size_t j = 0; j < ch->axis.n; j += stride) {
                struct trio t = chain_point(ch, j);
                at.hz = ch->axis.hz[j];
                double complex z = asked_z(&at, &t);
                double b = -sign * cimag(1 / z), q = fabs(cimag(z) / creal(z));
                if (at.hz < 1e9) { /* below, the reactance of any real device is noise */
                        last = j;
                        continue;
                }
                if (b > 0 && q > q_best) {
                        q_best = q;
                        c.found = false;
                }
                if (!c.found && before > 0 && b <= 0) {
                        size_t lo = last;
                        for (size_t m = last + 1; m <= j;
                             m++) { /* within the stride, and there by linear interpolation of the susceptance */
                                struct trio u = chain_point(ch, m);
                                at.hz = ch->axis.hz[m];
                                double here = -sign * cimag(1 / asked_z(&at, &u));
                                if (here <= 0) {
                                        double f0 = ch->axis.hz[lo], f1 = ch->axis.hz[m];
                                        c = (struct crossing){true, f0 + (f1 - f0) * before / (before - here), f0, f1};
                                        break;
                                }
                                before = here;
                                lo = m;
                        }
                }
                before = b;
                last = j;
        }
        return c;
}

/* The susceptance, of a capacitor the reactance (each is straight where the other has a pole), as far as the resonance may move: four
   standard uncertainties to each side. */
static void srf_curve(const struct asked *a, const struct cause_list *list, struct curve *curve)
{
        const struct axis *axis = &a->ch->axis;
        double u = 0, low, high;
        for (size_t k = 0; k < list->n; k++)
                u = hypot(u, list->dq[k]);
        if (!(u > STRAIGHT_U * a->hz))
                return;
        double span = fmin(SPAN_MAX, 4 * u / a->hz);
        low = fmax(axis->hz[0], a->hz * (1 - span));
        high = fmin(axis->hz[axis->n - 1], a->hz * (1 + span));
        curve->number = curve_crossing;
        for (int k = 0; k < CURVE_NODES; k++) {
                struct asked at = *a;
                struct cause_list one = {.n = 0};
                struct trio t;
                size_t j;
                double gain;
                at.quantity = a->ch->device_kind == DEVICE_CAPACITOR ? QUANTITY_L : QUANTITY_SRF;
                at.hz = low + (high - low) * k / (CURVE_NODES - 1);
                if (chain_between(a->ch, at.hz, &t, &j, &gain, NULL))
                        continue;
                causes_of(&at, &t, j, gain, &one);
                curve_add(curve, at.hz, asked_value(&at, asked_z(&at, &t)), &one);
        }
}

static void answer_srf(struct asked *a, struct parameter_answer *to, struct cause_list *list, struct curve *curve, struct tp_error *err)
{
        const struct chain *ch = a->ch;
        struct crossing c = crossing_find(a);
        if (!c.found) {
                char text[100];
                snprintf(text, sizeof text, "no resonance up to %.4g GHz", ch->axis.hz[ch->axis.n - 1] / 1e9);
                answer_refuse(to, text);
                return;
        }
        if (c.above_hz > 1.1 * c.below_hz) {
                char text[120];
                snprintf(text, sizeof text, "resonates between %.4g and %.4g GHz; the sweep has no point in between to place it by",
                         c.below_hz / 1e9, c.above_hz / 1e9);
                answer_refuse(to, text);
                return;
        }
        struct trio t;
        size_t j;
        double gain, b[3], f[3];
        for (int k = 0; k < 3; k++) { /* a secant step on the smoothed curve, and its slope */
                f[k] = fmin(c.hz * (1 + 0.01 * (k - 1)), ch->axis.hz[ch->axis.n - 1]);
                if (chain_between(ch, f[k], &t, &j, &gain, err)) {
                        unit_fail(to, err);
                        return;
                }
                a->hz = f[k];
                b[k] = asked_value(a, asked_z(a, &t));
        }
        double slope = (b[2] - b[0]) / (f[2] - f[0]);
        a->hz = f[1] - b[1] / slope;
        if (!(fabs(a->hz / c.hz - 1) < 0.02) || chain_between(ch, a->hz, &t, &j, &gain, err)) {
                answer_refuse(to, "the resonance is too flat to be placed");
                return;
        }
        causes_of(a, &t, j, gain, list);
        for (size_t k = 0; k < list->n; k++)
                list->dq[k] /= slope;
        srf_curve(a, list, curve);
        to->value = a->hz;
        to->has_value = true;
}

static void drawn_says(struct parameter_answer *to)
{
        size_t used = strlen(to->reason);
        snprintf(to->reason + used, sizeof to->reason - used, "%su95 by Monte Carlo", used ? "; " : "");
}

/* A line of a line calibration: what the calibration's own lines say at the same frequency, and what the difference means. */
static void line_says(const struct asked *a, size_t j, struct parameter_answer *to)
{
        const struct calibration *cal = a->ch->cal;
        size_t i = map_at(a->ch->map, j), used = strlen(to->reason);
        if ((a->quantity != QUANTITY_EPS_EFF && a->quantity != QUANTITY_LOSS) || !isfinite(cal->gamma_im[i]) ||
            used + 20 > sizeof to->reason)
                return;
        double complex gl = CMPLX(cal->gamma_re[i], cal->gamma_im[i]) * a->ch->line_m;
        double lines = asked_value(a, gl);
        if (a->quantity == QUANTITY_LOSS)
                snprintf(to->reason + used, sizeof to->reason - used, "%sthe calibration's lines: %.4g", used ? "; " : "", lines);
        else
                snprintf(to->reason + used, sizeof to->reason - used, "%sthe calibration's lines: %.4f, as if it were %.2g um %s",
                         used ? "; " : "", lines, fabs(sqrt(to->value / lines) - 1) * fabs(a->ch->line_m) * 1e6,
                         to->value < lines ? "shorter" : "longer");
}

double asked_share_at(const struct asked *a, double hz)
{
        struct asked at = *a;
        struct trio t;
        struct cause_list list = {.n = 0};
        size_t j;
        double gain, u, u95;
        char budget[BUDGET_ROOM];
        at.hz = hz;
        if (chain_between(a->ch, hz, &t, &j, &gain, NULL))
                return INFINITY;
        double complex z = asked_z(&at, &t);
        causes_of(&at, &t, j, gain, &list);
        budget_close(&list, &u, &u95, budget);
        return rf_share_of(asked_share(&at), asked_value(&at, z), asked_bend(&at, &t, z, u95));
}

static void best_says(const struct asked *a, struct parameter_answer *to)
{
        size_t used = strlen(to->reason);
        snprintf(to->reason + used, sizeof to->reason - used, "%sread at %.4g GHz, best resolved from %.4g to %.4g GHz", used ? "; " : "",
                 a->hz / 1e9, to->lo_hz / 1e9, to->hi_hz / 1e9);
}

static void answer_without(const struct parameter_plan *plan, const struct tp_error *why, struct parameter_answer *to)
{
        *to = (struct parameter_answer){.plan = plan, .plane = plane_words[PLANE_DEVICE]};
        snprintf(to->budget, sizeof to->budget, "{}");
        unit_fail(to, why);
}

static void answer_element(const struct leads *leads, int32_t element, struct parameter_answer *to, struct cause_list *list)
{
        *list = leads->of[element];
        to->value = leads->x.value[element];
        to->has_value = true;
}

static void answer_one(const struct chain *ch, const struct parameter_plan *plan, struct parameter_answer *to)
{
        struct tp_error err = {0};
        struct cause_list list = {.n = 0};
        struct curve curve = {.node_n = 0};
        bool drawn = false;
        double complex z = 0;
        struct asked a = {.ch = ch,
                          .quantity = plan->quantity,
                          .rf = (enum rf_quantity)quantity_rf(plan->quantity),
                          .hz = plan->freq_hz,
                          .view = ch->q->measure->contact.family == 3 ? VIEW_SINGLE : VIEW_SERIES};
        double most = plan->resolve_share_max > 0 ? plan->resolve_share_max : RF_SHARE_MAX;
        bool whole = quantity_of_sweep(plan->quantity);
        if (a.rf == RF_Q_SRF11 || a.rf == RF_Q_SRFD) { /* the same search in another view */
                a.view = a.rf == RF_Q_SRF11 ? VIEW_SINGLE : VIEW_DIFFERENTIAL;
                a.quantity = QUANTITY_SRF;
                a.rf = RF_Q_UNKNOWN;
        }
        *to = (struct parameter_answer){
                .plan = plan,
                .value = NAN,
                .u95 = NAN,
                .verdict = "none",
                .plane = plane_words[ch->method == RF_DEEMBED_UNKNOWN && !ch->around ? ch->cal->terms.plane : PLANE_DEVICE]};
        snprintf(to->budget, sizeof to->budget, "{}");
        size_t j = 0;
        struct trio t;
        if (quantity_extrinsic(plan->quantity) >= 0) {
                answer_element(ch->leads, quantity_extrinsic(plan->quantity), to, &list);
        } else if (a.quantity == QUANTITY_SRF) {
                answer_srf(&a, to, &list, &curve, &err);
        } else if (whole) {
                if (asked_branch(&a, &err))
                        unit_fail(to, &err);
                else if (a.rf >= RF_Q_Q11_MAX)
                        answer_peak(&a, most, to, &list);
                else
                        answer_plateau(&a, most, to, &list, &curve, &err);
        } else if (a.rf == RF_Q_GROUP_DELAY) {
                answer_group_delay(&a, to, &list, &err);
                whole = true;
        } else {
                double gain;
                if (plan->at == AT_BEST_WINDOW) {
                        if (!best_window(&a, most, &to->lo_hz, &to->hi_hz)) {
                                answer_refuse(to, "not resolvable at any frequency of the sweep");
                                return;
                        }
                        a.hz = sqrt(to->lo_hz * to->hi_hz);
                        to->has_range = true;
                }
                if (asked_branch(&a, &err) || chain_between(ch, a.hz, &t, &j, &gain, &err)) {
                        unit_fail(to, &err);
                        return;
                }
                z = asked_z(&a, &t);
                to->value = asked_value(&a, z);
                to->has_value = isfinite(to->value);
                if (to->has_value)
                        causes_of(&a, &t, j, gain, &list);
                else if (a.rf)
                        answer_refuse(to, rf_quantities[a.rf].nan_say);
                else
                        answer_refuse(to, "the device shows nothing to compute it from at this frequency");
        }
        if (!to->has_value)
                return;
        double u, between = 0;
        cause_of_temperature(ch, plan, asked_share(&a), to->value, &list);
        budget_close(&list, &u, &to->u95, to->budget);
        for (size_t k = 0; k < list.n; k++)
                between += strcmp(list.name[k], CAUSE_INTERPOLATION) ? 0 : list.dq[k] * list.dq[k];
        if (between > 0.5 * u * u) {
                char text[120];
                snprintf(text, sizeof text, "the sweep's points around %.4g GHz lie too far apart to read between them; ask at a point",
                         a.hz / 1e9);
                answer_refuse(to, text);
                return;
        }
        if (curve.node_n > 2)
                drawn = curve_drawn(&curve, &list, u, to->u95, &to->u95);
        if (!whole)
                to->u95 = asked_bend(&a, &t, z, to->u95);
        double share = rf_share_of(asked_share(&a), to->value, to->u95);
        if (!isfinite(to->u95)) {
                answer_refuse(to, "not resolvable: its uncertainty has no bound at this frequency");
        } else if (!rf_resolvable(share, most)) {
                char text[120];
                snprintf(text, sizeof text, "not resolvable: u95 is %.3g %% of the value, at most %.3g %% is asked", 100 * share,
                         100 * most);
                answer_refuse(to, text);
                to->has_range = false;
        } else {
                judge(to, to->u95 / 2);
                if (drawn)
                        drawn_says(to);
                line_says(&a, j, to);
                if (plan->at == AT_BEST_WINDOW)
                        best_says(&a, to);
                else if (!whole)
                        answer_range(&a, most, to);
        }
}

/* One parameter on the side of the leads where it lies; `found` and `why`: whether they were. */
static void answer_at(const struct chain *ch, const struct chain *inside, enum code found, const struct tp_error *why,
                      const struct parameter_plan *plan, struct parameter_answer *to)
{
        const struct chain_question *q = ch->q;
        struct tp_error cold = {0};
        bool wants = leads_wanted(q->measure, plan);
        if (wants && quantity_amplifies(plan->quantity) && condition_is_state(q->measure, q->condition)) {
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
