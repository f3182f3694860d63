/* laws.c: the ten laws as questions about one step.
 * Idea        A second reading of evidence and plan: plain fields only, none of the functions that the rules decide with.  What a law
 *             cannot see it counts as broken; WAIT, INVENTORY, SAFE and BIAS_OFF are lawful unless a law names them: they are the way out.
 * Not here    what happens below the daemon: the station's interlocks ask again (station/interlock.c). */
#include "run/laws.h"
#include "run/decide.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

const char *const law_words[LAW_COUNT] = {"unknown", "sideways", "bias",    "calibration", "final", "interval",
                                          "budget",  "value",    "mandate", "end",         "cut"};

typedef const char *(*law_fn)(const struct plan *, const struct evidence *, const struct step *); /* NULL: holds; else why not */

static const struct target *step_target(const struct plan *p, const struct step *s)
{
        return s->args.target >= 0 && (size_t)s->args.target < p->target_n ? &p->targets[s->args.target] : NULL;
}
static const struct target_seen *step_seen(const struct evidence *e, const struct step *s) { return &evidence_targets(e)[s->args.target]; }
static bool is_device(const struct plan *p, const struct step *s)
{
        const struct target *t = step_target(p, s);
        return t && t->kind == TARGET_DEVICE;
}
static bool touches_device(const struct plan *p, const struct step *s) { return s->kind == STEP_LOWER && is_device(p, s); }
static const struct touch_seen *touch_before(const struct evidence *e, const struct step *s)
{
        int32_t at = step_seen(e, s)->touch;
        return at > 0 && (uint32_t)at <= e->touch_n ? &evidence_touches(e)[at - 1] : NULL;
}

static const char *law_sideways(const struct plan *p, const struct evidence *e, const struct step *s)
{
        const struct target *t = step_target(p, s);
        bool is_raised_sweep = s->kind == STEP_SWEEP && t && (t->raised || s->args.use == USE_WITNESS);
        bool is_up = e->inventory && e->state.separated == KNOW_KNOWN && !e->state.in_contact;
        if (step_rows[s->kind].sideways && !is_up)
                return "sideways motion while separation is not known";
        if (step_rows[s->kind].sideways && s->kind != STEP_HOME && e->state.axes != KNOW_KNOWN)
                return "sideways motion without referenced axes";
        if (s->kind == STEP_MOVE && !t)
                return "a move without a target";
        if (s->kind == STEP_MOVE && (t->place <= PLACE_UNKNOWN || t->place >= PLACE_COUNT || !e->aligned[t->place]))
                return "a move in a place that is not aligned";
        if ((s->kind == STEP_LOWER || is_raised_sweep) && (!t || !is_up || e->at != s->args.target + 1))
                return "the probes are not known to stand above the target";
        if (s->kind == STEP_LOWER && t->raised)
                return "a raised standard is never lowered on";
        return NULL;
}

static const char *law_bias(const struct plan *p, const struct evidence *e, const struct step *s)
{
        bool is_off = e->state.bias_off == KNOW_KNOWN && !e->biased;
        if (step_rows[s->kind].contact_changes && !(e->inventory && is_off))
                return "contact would change while bias is not read below 0.5 V";
        if (step_rows[s->kind].sideways && !is_off)
                return "sideways motion while bias is not read below 0.5 V";
        if (s->kind == STEP_BIAS_ON && !(e->state.in_contact && e->touch == s->args.target + 1 && e->touch_works && is_off))
                return "bias without a known contact, or over a bias that is on";
        if (s->kind == STEP_BIAS_ON && !is_device(p, s))
                return "bias is for devices";
        return NULL;
}

static const char *law_calibration(const struct plan *p, const struct evidence *e, const struct step *s)
{
        bool is_device_sweep = s->kind == STEP_SWEEP && s->args.use == USE_DEVICE;
        bool is_accepted = e->in_force > 0 && e->in_force == e->calibration && e->calibration_state == CALIBRATION_ACCEPTED;
        bool is_check_touch = s->args.purpose == PURPOSE_CHECK && (s->kind == STEP_LOWER || s->kind == STEP_SWEEP);
        bool is_bound = is_device_sweep || touches_device(p, s) || s->kind == STEP_CHECK || is_check_touch;
        if (is_bound && !(is_accepted && s->args.calibration == e->in_force))
                return "no accepted calibration in force, or the step names another";
        if ((s->kind == STEP_VERIFY || s->kind == STEP_SOLVE) && is_accepted)
                return "the calibration in force would be judged again";
        for (size_t i = 0; s->kind == STEP_SOLVE && i < p->calibrate_n; i++)
                if (!evidence_targets(e)[p->calibrate[i]].good)
                        return "solved without a good sweep of each standard";
        for (size_t i = 0; s->kind == STEP_VERIFY && i < p->verify_n; i++)
                if (!evidence_targets(e)[p->verify[i]].good || e->calibration_state != CALIBRATION_SOLVED)
                        return "verified without a solution and a good sweep of each verification standard";
        return NULL;
}

static const char *law_final(const struct plan *p, const struct evidence *e, const struct step *s)
{
        if (!touches_device(p, s))
                return NULL;
        if (p->recipe->proof.required && e->place != PLACE_STATE_PROVEN)
                return "the place is unproven";
        if (p->check_n == 0)
                return NULL; /* no checks in the recipe: trust stays open */
        if (e->interval <= 0 || (uint32_t)e->interval > e->interval_n || evidence_intervals(e)[e->interval - 1].verdict != INTERVAL_OPEN)
                return "no interval is open";
        if (!e->undisturbed)
                return "an intervention lies behind: a check comes first";
        bool is_new_die = e->last_die != 1 + step_target(p, s)->die;
        if (p->recipe->check.every_dies > 0 && is_new_die && e->dies_left <= 0)
                return "the interval holds as many dies as the recipe allows";
        return NULL;
}

static int32_t own_left(const struct evidence *e, int32_t thing) { return evidence_things(e)[thing].left; }

/* Is something that the closing check would spend used up?  (Own reading; a check whose copies are whole is never written off.) */
static bool check_is_out_of_reach(const struct plan *p, const struct evidence *e)
{
        for (size_t i = 0; i < p->check_n; i++) {
                const struct target *t = &p->targets[p->check[i]];
                for (int32_t k = 0; !t->raised && k < t->thing_n; k++)
                        if (own_left(e, t->things[k]) <= 0)
                                return true;
        }
        return false;
}

static const char *law_interval(const struct plan *p, const struct evidence *e, const struct step *s)
{
        if ((s->kind != STEP_FINISH && s->kind != STEP_UNLOAD) || e->interval <= 0)
                return NULL;
        if ((uint32_t)e->interval > e->interval_n)
                return "the open interval is not in the list";
        if (evidence_intervals(e)[e->interval - 1].touches == 0 && evidence_intervals(e)[e->interval - 1].last_touch == 0)
                return NULL;
        bool is_recorded = s->rule < rule_n && rules[s->rule].writes_off;
        return is_recorded && check_is_out_of_reach(p, e) ? NULL : "the run would end with an open interval";
}

static const char *law_budget(const struct plan *p, const struct evidence *e, const struct step *s)
{
        const struct target *t = step_target(p, s);
        if (s->kind != STEP_LOWER)
                return s->spend_n ? "it spends without touching" : NULL;
        if (!t)
                return "a touch without a target";
        if (s->spend_n != t->thing_n)
                return "the intention does not name what it spends";
        for (int32_t i = 0; i < t->thing_n; i++) {
                if (s->spend[i].thing != (uint32_t)t->things[i] || s->spend[i].touches != 1)
                        return "the intention spends other things than the target's";
                if (own_left(e, t->things[i]) <= 0)
                        return "a thing's budget is used up";
        }
        return NULL;
}

/* A touch after a graded or finished one needs a reason that is no value: contact evidence, an interruption, a failed interval. */
static const char *law_value(const struct plan *p, const struct evidence *e, const struct step *s)
{
        if (!touches_device(p, s))
                return NULL;
        const struct target_seen *seen = step_seen(e, s);
        const struct touch_seen *last = touch_before(e, s);
        if (!last)
                return seen->touch           ? "its last touch is not in the list"
                       : s->args.attempt > 1 ? "a retouch of a device that was never touched"
                                             : NULL;
        int32_t worst = last->start;
        worst = last->first > worst ? last->first : worst;
        worst = last->end > worst ? last->end : worst;
        worst = last->after > worst ? last->after : worst;
        worst = seen->grade > worst ? seen->grade : worst;
        bool is_by_contact = seen->outcome == TARGET_WAITS && (worst == CONTACT_DOUBTFUL || worst == CONTACT_ABSENT);
        bool was_cut = seen->outcome == TARGET_WAITS && worst <= CONTACT_GOOD;
        bool has_failed = last->interval > 0 && (uint32_t)last->interval <= e->interval_n &&
                          evidence_intervals(e)[last->interval - 1].verdict == INTERVAL_FAILED;
        if (last->ended == 0 && e->touch)
                return "the last touch has not ended";
        if (seen->outcome == TARGET_MEASURED)
                return has_failed && s->args.purpose == PURPOSE_REMEASURE ? NULL
                                                                          : "a measured device is touched again without a failed interval";
        if (seen->outcome != TARGET_WAITS)
                return "a device with a final outcome is touched again";
        return is_by_contact || was_cut ? NULL : "a retouch without contact evidence";
}

static const char *mandate_touch(const struct plan *p, const struct evidence *e, const struct step *s)
{
        const struct mandate *m = &p->recipe->mandate;
        const struct target_seen *seen = step_seen(e, s);
        const struct target *t = step_target(p, s);
        double extra = m->overtravel_extra_um_max > 0 ? m->overtravel_extra_um_max : 0;
        if (!(s->args.overtravel_um >= 0 && s->args.overtravel_um <= p->recipe->setup.overtravel_um + extra))
                return "more overtravel than setup and mandate allow";
        if (s->args.attempt < 1 || s->args.attempt - 1 > (m->retouch_max > 0 ? m->retouch_max : 0))
                return "more retouches than the mandate allows";
        if (s->args.purpose == PURPOSE_REMEASURE && !m->remeasure_suspects)
                return "the mandate lets no suspects be measured again";
        bool is_new_round = s->args.purpose == PURPOSE_REMEASURE && seen->outcome == TARGET_MEASURED;
        if (is_new_round ? seen->remeasures_left <= 0 : seen->tries_left <= 0)
                return "this target's tries are used up";
        if (t->kind == TARGET_DEVICE && !e->may_measure)
                return "a person asked to finish early";
        return t->kind == TARGET_DEVICE && !(s->args.purpose == PURPOSE_DEVICE || s->args.purpose == PURPOSE_REMEASURE)
                       ? "a device is touched for another purpose"
                       : NULL;
}

static const char *law_mandate(const struct plan *p, const struct evidence *e, const struct step *s)
{
        const struct recipe *r = p->recipe;
        bool is_outside_run = s->kind != STEP_WAIT && s->kind != STEP_INVENTORY && s->kind != STEP_SAFE && s->kind != STEP_NONE &&
                              (!e->started || e->finished);
        if (is_outside_run)
                return "the run has not begun or is over";
        if (s->kind == STEP_BIAS_ON &&
            !(fabs(s->args.volt) <= r->max_volt && s->args.limit_a >= 0 && fabs(s->args.gate_volt) <= r->max_volt &&
              s->args.open_v <= r->max_volt && (s->args.gate_by_current ? s->args.gate_volt > 0 : s->args.gate_limit_a >= 0)))
                return "more bias than the recipe allows";
        if ((!e->may_go || !e->may_stay) &&
            (s->kind == STEP_LOWER || s->kind == STEP_MOVE || s->kind == STEP_ALIGN || s->kind == STEP_HOME))
                return "a person paused the run, or the daemon was asked to stop";
        if (s->args.purpose == PURPOSE_CALIBRATE && s->args.calibration > e->calibration) {
                bool is_new_effort = e->calibration == 0 || e->calibration_state == CALIBRATION_EXPIRED;
                if (s->args.calibration != e->calibration + 1)
                        return "calibrations are numbered one after the other";
                if (e->in_force)
                        return "a calibration in force is not replaced";
                if (is_new_effort ? e->efforts_left <= 0 : e->tries_left <= 0)
                        return "the mandate's or the recipe's calibrations are used up";
        }
        return s->kind == STEP_LOWER && step_target(p, s) ? mandate_touch(p, e, s) : NULL;
}

static const char *law_end(const struct plan *p, const struct evidence *e, const struct step *s)
{
        (void)p;
        bool is_harmless = s->kind == STEP_WAIT || s->kind == STEP_INVENTORY || s->kind == STEP_SAFE || s->kind == STEP_NONE ||
                           s->kind == STEP_BIAS_OFF;
        if ((e->state.latched || !e->not_latched) && !is_harmless && step_rows[s->kind].by_station)
                return "the station is latched, or not known to be free";
        bool is_proven = e->inventory && e->state.separated == KNOW_KNOWN && e->state.bias_off == KNOW_KNOWN && !e->state.in_contact &&
                         !e->state.latched && e->not_latched;
        if ((s->kind == STEP_FINISH || s->kind == STEP_UNLOAD) && !is_proven)
                return "the run would end without proof of safety";
        return NULL;
}

static const char *law_cut(const struct plan *p, const struct evidence *e, const struct step *s)
{
        if (s->kind != STEP_WAIT && s->kind != STEP_NONE && (!e->hands_free || e->open_kind != STEP_NONE))
                return "another step is open";
        if (s->kind == STEP_LOWER && e->touch)
                return "another touch has not ended";
        if (!touches_device(p, s))
                return NULL;
        const struct touch_seen *last = touch_before(e, s);
        bool was_cut = last && last->ended == 2 && last->start <= CONTACT_GOOD && last->first <= CONTACT_GOOD && last->end <= CONTACT_GOOD;
        const struct touch_seen *earlier = was_cut && last->previous > 0 ? &evidence_touches(e)[last->previous - 1] : NULL;
        bool was_cut_before = earlier && earlier->ended == 2 && earlier->purpose == last->purpose && earlier->attempt == last->attempt &&
                              earlier->start <= CONTACT_GOOD && earlier->first <= CONTACT_GOOD && earlier->end <= CONTACT_GOOD;
        return was_cut_before && last->attempt == s->args.attempt && last->purpose == s->args.purpose
                       ? "the touch was cut off twice already"
                       : NULL;
}

static const law_fn laws[LAW_COUNT] = {
        [LAW_SIDEWAYS] = law_sideways, [LAW_BIAS] = law_bias,         [LAW_CALIBRATION] = law_calibration,
        [LAW_FINAL] = law_final,       [LAW_INTERVAL] = law_interval, [LAW_BUDGET] = law_budget,
        [LAW_VALUE] = law_value,       [LAW_MANDATE] = law_mandate,   [LAW_END] = law_end,
        [LAW_CUT] = law_cut,
};

bool law_holds(enum law law, const struct plan *plan, const struct evidence *before, const struct step *step, const char **ret_why)
{
        if (law <= LAW_UNKNOWN || law >= LAW_COUNT)
                return true;
        const char *why = laws[law](plan, before, step);
        if (ret_why)
                *ret_why = why;
        return why == NULL;
}

enum law laws_broken(const struct plan *plan, const struct evidence *before, const struct step *step, const char **ret_why)
{
        for (int law = LAW_UNKNOWN + 1; law < LAW_COUNT; law++)
                if (!law_holds((enum law)law, plan, before, step, ret_why))
                        return (enum law)law;
        return LAW_UNKNOWN;
}
