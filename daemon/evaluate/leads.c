/* leads.c: what lies around an intrinsic transistor, from the sweeps of its off and cold states under the same touch, and what moves it.
 * Elements    rf/extract/extrinsic.h, on the corrected and de-embedded sweeps: the capacitances of what is off first, then the cold ones.
 * Causes      Each element is a weighted sum, over frequencies and biases, of numbers that are read at one frequency (pi_C1, tee_R2 …).
 *             Those have causes of their own, which are added with their sign: a contact or a standard moves all states alike, and the
 *             biased sweep too, so that what it did to the leads goes against what it does to the rest (r_in holds the contact that the
 *             biased sweep has as well).  The sum is taken at a few nodes of the window, for causes are smooth.
 * Own causes  "extrinsic r_in" and so on: the scatter about the straight lines of the fit, and by how much the lower half of the window
 *             says something else (the model's own error).  "extrinsic drive": the threshold, which moves all drives alike.
 *             "extrinsic loss": what the off state conducts. */
#include "evaluate/causes_own.h"
#include "rf/network/convert.h"
#include <math.h>
#include <string.h>

enum { NODES = 8, STATES_MAX = 16 /* a recipe takes no more */ };
static const char *const own_names[RF_X_COUNT] = {"extrinsic c_in", "extrinsic c_out", "extrinsic c_between",
                                                  "extrinsic l_in", "extrinsic l_out", "extrinsic l_common",
                                                  "extrinsic r_in", "extrinsic r_out", "extrinsic r_common"};
/* small against any such element, large against rounding */
static const double steps[RF_X_COUNT] = {1e-18, 1e-18, 1e-18, 1e-15, 1e-15, 1e-15, 1e-3, 1e-3, 1e-3};

struct state {
        struct chain ch; /* of the sweep in this state */
        struct net2 net;
        double drive, x;           /* x: 1/drive */
        double r_weight, l_weight; /* in the leads' resistances, inductances */
};

static enum code state_open(const struct chain *bare, const char *name, struct arena *arena, struct state *ret, struct tp_error *err)
{
        const struct chain_question *q = bare->q;
        int c = measure_condition(q->measure, name);
        const struct raw_sweep *raw = c >= 0 && (size_t)c < q->state_n ? q->states[c] : NULL;
        if (!raw)
                return tp_fail(err, CODE_NOT_FOUND, "no sweep of condition %s under this touch, which the leads are found by", name);
        if (raw->n != bare->axis.n || (raw->hz != bare->axis.hz && memcmp(raw->hz, bare->axis.hz, raw->n * sizeof *raw->hz) != 0))
                return tp_fail(err, CODE_BAD_INPUT, "condition %s was swept at other frequencies than the one asked", name);
        void *memory = arena_take(arena, net2_bytes(raw->n));
        if (!memory)
                return tp_fail_memory(err);
        *ret = (struct state){.ch = *bare};
        ret->ch.raw[PART_DEVICE] = raw;
        ret->net = net2_at(memory, &bare->axis, PLANE_DEVICE);
        for (size_t j = 0; j < raw->n; j++) {
                struct trio t = chain_point(&ret->ch, j);
                net2_put(&ret->net, j, chain_deembed(&ret->ch, &t));
        }
        net2_set_z(&ret->net, bare->z, 0);
        return CODE_OK;
}

/* ---- what moves an element --------------------------------------------------------------------------------------------------------- */
/* Where the causes of an element are taken, w2 = (2 pi f)^2, and whether the lower half of the window has the point. */
struct nodes {
        size_t n, at[NODES];
        double w2[NODES];
        bool low[NODES];
};
static double middle_hz(const struct axis *axis, double low_hz, double high_hz)
{
        double top = axis->hz[axis->n - 1];
        return (low_hz + (high_hz > 0 && high_hz < top ? high_hz : top)) / 2;
}

/* Points of the window, each in the middle of its equal share of them, so that a fit of the nodes weighs causes as the fit of all does. */
static struct nodes nodes_of(const struct axis *axis, double low_hz, double high_hz)
{
        size_t first = 0, last = axis->n;
        while (first < axis->n && !(axis->hz[first] > 0 && axis->hz[first] >= low_hz))
                first++;
        while (last > first && high_hz > 0 && axis->hz[last - 1] > high_hz)
                last--;
        struct nodes of = {.n = last - first < NODES ? last - first : NODES};
        for (size_t k = 0; k < of.n; k++) {
                size_t j = first + (2 * k + 1) * (last - first) / (2 * of.n);
                of.at[k] = j;
                of.w2[k] = pow(RF_TWO_PI * axis->hz[j], 2);
                of.low[k] = axis->hz[j] <= middle_hz(axis, low_hz, high_hz);
        }
        return of;
}

/* How a fit over frequency makes one value of those at the nodes. */
enum fit {
        FIT_MEAN,
        FIT_SLOPE,     /* of what is value times w, through zero */
        FIT_SLOPE_GATE /* the same beside -1/(C w), C unknown */
};
struct weights {
        double all[NODES],
                half[NODES]; /* half: of the lower half's fit, which takes the others as nothing; all again where it has too few */
};
static void fit_weights(const struct nodes *of, enum fit fit, bool lower, double ret[NODES])
{
        double m = 0, sum2 = 0, sum4 = 0;
        for (size_t k = 0; k < of->n; k++)
                if (!lower || of->low[k]) {
                        m++;
                        sum2 += of->w2[k];
                        sum4 += of->w2[k] * of->w2[k];
                }
        if (lower && m < 2) {
                fit_weights(of, fit, false, ret);
                return;
        }
        for (size_t k = 0; k < of->n; k++) {
                double w2 = of->w2[k];
                ret[k] = fit == FIT_MEAN ? 1 / m : fit == FIT_SLOPE ? w2 / sum2 : (m * w2 - sum2) / (m * sum4 - sum2 * sum2) * w2;
                if (lower && !of->low[k])
                        ret[k] = 0;
        }
}
static struct weights weights_of(const struct nodes *of, enum fit fit)
{
        struct weights w = {.all = {0}}; /* beyond the nodes: nothing */
        fit_weights(of, fit, false, w.all);
        fit_weights(of, fit, true, w.half);
        return w;
}

/* What moves an element, and what moves the difference between it and that of the lower half of the window. */
struct moved {
        struct cause_list *element, *difference;
};
/* Noise is in the scatter about the fit. */
static void weigh(const struct chain *ch, enum rf_quantity q, const struct nodes *of, size_t k, const struct weights *w, double weight,
                  struct moved to)
{
        struct asked a = {.ch = ch, .rf = q, .hz = ch->axis.hz[of->at[k]], .view = VIEW_SERIES};
        struct trio t = chain_point(ch, of->at[k]);
        struct cause_list one = {.n = 0};
        causes_of(&a, &t, of->at[k], 1, &one);
        cause_add_coherent(to.element, &one, weight * w->all[k]);
        cause_add_coherent(to.difference, &one, weight * (w->half[k] - w->all[k]));
}
static struct moved moved_of(struct leads *to, struct cause_list *difference, int element)
{
        return (struct moved){&to->of[element], &difference[element]};
}

/* C by least squares of C w through zero. */
static void off_causes(const struct state *s, enum rf_off kind, double high_hz, struct leads *to, struct cause_list *difference)
{
        const struct nodes of = nodes_of(&s->ch.axis, 0, high_hz);
        const struct weights w = weights_of(&of, FIT_SLOPE);
        struct moved in = moved_of(to, difference, RF_X_C_IN), out = moved_of(to, difference, RF_X_C_OUT),
                     between = moved_of(to, difference, RF_X_C_BETWEEN);
        for (size_t k = 0; k < of.n; k++) {
                weigh(&s->ch, RF_Q_PI_C1, &of, k, &w, 1, in);
                weigh(&s->ch, RF_Q_PI_C2, &of, k, &w, 1, out);
                if (kind == RF_OFF_COLD_PINCH)
                        weigh(&s->ch, RF_Q_CSER, &of, k, &w, -1, in);
                else
                        weigh(&s->ch, RF_Q_CSER, &of, k, &w, 1, between);
        }
}

static void weights_put(struct state *s, size_t n, const struct extrinsic_plan *plan)
{
        double x[STATES_MAX], r[STATES_MAX], by_l[STATES_MAX];
        for (size_t k = 0; k < n; k++)
                x[k] = s[k].x;
        rf_extrinsic_weights((enum rf_cold)plan->cold_as, n, x, r, by_l);
        for (size_t k = 0; k < n; k++) {
                s[k].r_weight = r[k];
                s[k].l_weight = by_l[k];
        }
}

static void cold_causes(struct state *s, size_t state_n, const struct extrinsic_plan *plan, struct leads *to, struct cause_list *difference)
{
        const struct nodes of = nodes_of(&s->ch.axis, plan->from_hz, plan->below_hz);
        const struct weights mean = weights_of(&of, FIT_MEAN), slope = weights_of(&of, FIT_SLOPE), gate = weights_of(&of, FIT_SLOPE_GATE);
        bool vanishing = plan->cold_as == RF_COLD_VANISHING;
        weights_put(s, state_n, plan);
        for (size_t c = 0; c < state_n; c++)
                for (size_t k = 0; k < of.n; k++)
                        for (int p = 0; p < 3; p++) {
                                weigh(&s[c].ch, (enum rf_quantity)(RF_Q_TEE_R1 + 2 * p), &of, k, &mean, s[c].r_weight,
                                      moved_of(to, difference, RF_X_R_IN + p));
                                weigh(&s[c].ch, (enum rf_quantity)(RF_Q_TEE_L1 + 2 * p), &of, k, vanishing && p == 0 ? &gate : &slope,
                                      s[c].l_weight, moved_of(to, difference, RF_X_L_IN + p));
                        }
}
_Static_assert(RF_Q_TEE_L1 == RF_Q_TEE_R1 + 1 && RF_Q_TEE_R2 == RF_Q_TEE_R1 + 2 && RF_Q_TEE_R3 == RF_Q_TEE_R1 + 4, "R and L leg by leg");

/* ---- the elements ------------------------------------------------------------------------------------------------------------------- */
static enum code cold_read(const struct state *s, size_t n, const struct extrinsic_plan *plan, double high_hz, double drive_by,
                           double channel_by, struct rf_extrinsic *x, struct arena *arena, struct tp_error *err)
{
        const struct net2 **nets = arena_take(arena, n * sizeof *nets);
        double *over = arena_take(arena, n * sizeof *over);
        if (!nets || !over)
                return tp_fail_memory(err);
        for (size_t k = 0; k < n; k++) {
                nets[k] = &s[k].net;
                over[k] = 1 / (s[k].drive + drive_by);
        }
        return rf_extrinsic_cold((enum rf_cold)plan->cold_as, nets, over, n, plan->channel_ohm + channel_by, plan->from_hz, high_hz, x,
                                 err);
}

/* Scatter about the fit, and what the lower half of the window says instead, beyond what it would by scatter alone: a fit to a part of the data
   differs from that to all by the difference of their variances (Hausman, Econometrica 46 (1978) 1251).  And beyond what the other causes
   make of that difference: an open that is not what it is believed to be bends R over frequency, which is its own entry of the budget, and
   an effect counts once (JCGM 100:2008 4.3.10). */
static void own_causes(const struct rf_extrinsic *all, const struct rf_extrinsic *half, const struct cause_list *difference, int from,
                       int to_element, struct leads *to)
{
        for (int e = from; e <= to_element; e++) {
                double by = half ? half->value[e] - all->value[e] : 0, scatter = half ? half->u[e] * half->u[e] - all->u[e] * all->u[e] : 0;
                double counted = 0;
                for (size_t k = 0; k < difference[e].n; k++)
                        counted += difference[e].dq[k] * difference[e].dq[k];
                double model = sqrt(fmax(0, by * by - fmax(0, scatter) - counted));
                cause_add(&to->of[e], own_names[e], hypot(all->u[e], model), INFINITY);
        }
}

/* One list per element, of nothing. */
static struct cause_list *differences_new(struct arena *arena)
{
        struct cause_list *of = arena_take(arena, RF_X_COUNT * sizeof *of);
        for (int e = 0; of && e < RF_X_COUNT; e++)
                of[e].n = of[e].not_counted_n = 0;
        return of;
}

/* What is off should conduct nothing.  What it does is the pads' loss, or what its leads make of its capacitances: they cannot be told apart,
   and none is taken off. */
static enum code loss_read(const struct state *s, struct arena *arena, struct leads *to, struct tp_error *err)
{
        size_t n = s->ch.axis.n;
        double *loss = arena_take(arena, 2 * n * sizeof *loss);
        if (!loss)
                return tp_fail_memory(err);
        for (size_t j = 0; j < n; j++) {
                struct m2 y = rf_y_from_s(net2_get(&s->net, j), s->ch.z);
                loss[j] = creal(y.e[0] + y.e[1]);
                loss[n + j] = creal(y.e[3] + y.e[2]);
        }
        to->loss[0] = loss;
        to->loss[1] = loss + n;
        return CODE_OK;
}

static enum code off_find(const struct chain *bare, const struct extrinsic_plan *plan, struct arena *arena, struct leads *to,
                          struct tp_error *err)
{
        struct state s;
        struct rf_extrinsic half = {.value = {0}};
        struct cause_list *difference = differences_new(arena);
        enum rf_off kind = (enum rf_off)plan->off_as;
        enum code code = difference ? state_open(bare, plan->off, arena, &s, err) : tp_fail_memory(err);
        if (!code && (code = rf_extrinsic_off(kind, &s.net, 0, plan->off_below_hz, &to->x, NULL, err)))
                return tp_where(err, "condition %s", plan->off);
        if (code)
                return code;
        off_causes(&s, kind, plan->off_below_hz, to, difference);
        bool has_half = !rf_extrinsic_off(kind, &s.net, 0, middle_hz(&bare->axis, 0, plan->off_below_hz), &half, NULL, NULL);
        own_causes(&to->x, has_half ? &half : NULL, difference, RF_X_C_IN, kind == RF_OFF_PI ? RF_X_C_BETWEEN : RF_X_C_OUT, to);
        if (kind == RF_OFF_COLD_PINCH && plan->c_between_f_u > 0)
                cause_add(&to->of[RF_X_C_BETWEEN], own_names[RF_X_C_BETWEEN], plan->c_between_f_u, INFINITY);
        else if (kind == RF_OFF_COLD_PINCH)
                cause_not_counted(&to->of[RF_X_C_BETWEEN], own_names[RF_X_C_BETWEEN]);
        return loss_read(&s, arena, to, err);
}

/* What a stated uncertainty of all drives, or of the channel, does to the elements. */
static enum code stated_cause(const struct state *s, size_t n, const struct extrinsic_plan *plan, const char *name, double drive_u,
                              double channel_u, struct arena *arena, struct leads *to, struct tp_error *err)
{
        struct rf_extrinsic moved = to->x;
        if (!(drive_u + channel_u > 0)) {
                for (int e = RF_X_R_IN; e <= RF_X_R_COMMON; e++)
                        cause_not_counted(&to->of[e], name);
                return CODE_OK;
        }
        enum code code = cold_read(s, n, plan, plan->below_hz, drive_u, channel_u, &moved, arena, err);
        if (code)
                return tp_where(err, "%s off by its uncertainty", name);
        for (int e = RF_X_L_IN; e <= RF_X_R_COMMON; e++)
                cause_add(&to->of[e], name, moved.value[e] - to->x.value[e], INFINITY);
        return CODE_OK;
}

static enum code leads_find(const struct chain *bare, struct arena *arena, struct leads **ret, struct tp_error *err)
{
        const struct extrinsic_plan *plan = &bare->q->measure->extrinsic;
        size_t n = plan->cold_n;
        struct leads *to = arena_take(arena, sizeof *to), *pads = arena_take(arena, sizeof *pads);
        struct state *s = arena_take(arena, n * sizeof *s);
        struct cause_list *difference = differences_new(arena);
        if (!to || !pads || !s || !difference)
                return tp_fail_memory(err);
        memset(to, 0, sizeof *to);
        if (bare->line_reference)
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "leads need ohms and the reference is the line's own impedance; give calibration.line_capacitance_f_m");
        enum code code = plan->off[0] ? off_find(bare, plan, arena, to, err) : CODE_OK;
        *pads = *to; /* what comes off the cold states */
        for (size_t k = 0; k < n && !code; k++) {
                code = state_open(bare, plan->cold[k].condition, arena, &s[k], err);
                s[k].drive = plan->cold[k].drive;
                s[k].x = 1 / s[k].drive;
                s[k].ch.around = &pads->x;
                s[k].ch.leads = pads;
        }
        if (!code && (code = cold_read(s, n, plan, plan->below_hz, 0, 0, &to->x, arena, err)))
                return tp_where(err, "cold");
        if (code)
                return code;
        cold_causes(s, n, plan, to, difference);
        struct rf_extrinsic half = pads->x;
        bool has_half = !cold_read(s, n, plan, middle_hz(&bare->axis, plan->from_hz, plan->below_hz), 0, 0, &half, arena, NULL);
        own_causes(&to->x, has_half ? &half : NULL, difference, RF_X_L_IN, RF_X_R_COMMON, to);
        code = stated_cause(s, n, plan, "extrinsic drive", plan->drive_u, 0, arena, to, err);
        if (!code && plan->cold_as == RF_COLD_GATE_FORWARD)
                code = stated_cause(s, n, plan, "extrinsic channel", 0, plan->channel_ohm_u, arena, to, err);
        *ret = to;
        return code;
}

bool leads_wanted(const struct measure *m, const struct parameter_plan *p)
{
        return m->has_extrinsic && (quantity_inside(p->quantity) || quantity_extrinsic(p->quantity) >= 0);
}

/* They belong to the touch and not to one of its conditions: what was found for the first is what the others ask for. */
static enum code leads_once(const struct chain *bare, struct arena *arena, const struct leads **ret, struct tp_error *why)
{
        const struct chain_question *q = bare->q;
        struct leads_of_touch *kept = q->leads, one = {.measure = NULL};
        if (!kept)
                kept = &one;
        if (kept->measure != q->measure || kept->calibration != q->calibration || kept->drift != q->drift) {
                struct leads *found = NULL;
                *kept = (struct leads_of_touch){.measure = q->measure, .calibration = q->calibration, .drift = q->drift};
                kept->code = leads_find(bare, arena, &found, &kept->why);
                kept->leads = found;
        }
        *ret = kept->leads;
        if (kept->code)
                *why = kept->why;
        return kept->code;
}

enum code leads_chain(const struct chain *bare, struct arena *arena, struct chain *ret, struct tp_error *why)
{
        const struct measure *m = bare->q->measure;
        const struct leads *leads = NULL;
        bool wanted = false;
        for (size_t k = 0; k < m->parameter_n; k++)
                wanted |= leads_wanted(m, &m->parameters[k]);
        *ret = *bare;
        enum code code = wanted ? leads_once(bare, arena, &leads, why) : CODE_OK;
        if (!code && leads) {
                ret->around = &leads->x;
                ret->leads = leads;
        }
        return code;
}

/* ---- what they do to a number behind them ------------------------------------------------------------------------------------------- */
static double number_with(const struct slope *k, int element, double by)
{
        struct rf_extrinsic x = *k->a->ch->around;
        struct chain ch = *k->a->ch;
        struct asked a = *k->a;
        x.value[element] += by;
        ch.around = &x;
        a.ch = &ch;
        return asked_value(&a, asked_z(&a, k->at));
}

/* All of it counts as one standard uncertainty: its sign is known, its place is not. */
static void loss_causes(const struct slope *k, const struct leads *leads)
{
        size_t j = axis_nearest(&k->a->ch->axis, k->hz);
        for (int port = 0; port < 2; port++)
                cause_private(k, "extrinsic loss", PART_DEVICE, move_shunt(k->at->s[PART_DEVICE], port, leads->loss[port][j], k->a->ch->z));
}

void causes_of_leads(const struct slope *k)
{
        const struct leads *leads = k->a->ch->leads;
        if (leads && leads->loss[0])
                loss_causes(k, leads);
        for (int e = 0; leads && e < RF_X_COUNT; e++) {
                const struct cause_list *of = &leads->of[e];
                if (of->n || of->not_counted_n)
                        cause_add_coherent(k->to, of, (number_with(k, e, steps[e]) - number_with(k, e, -steps[e])) / (2 * steps[e]));
        }
}
