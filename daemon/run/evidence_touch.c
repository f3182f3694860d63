/* evidence_touch.c: part of the fold: one touch from its intention to known separation, and what it leaves of its target.
 * Invariants  only contact evidence lowers tries_left (law 7); a touch that was cut off is repeated once (law 10); every attempt stays in
 *             the list. */
#include "run/trust.h"
#include "run/evidence_own.h"
#include <string.h>

struct touch_seen *touch_record(struct evidence *e)
{
        if (!e->touch)
                return NULL;
        int32_t at = evidence_targets(e)[e->touch - 1].touch;
        return at && evidence_touches(e)[at - 1].ended == 0 ? &evidence_touches(e)[at - 1] : NULL;
}

void retrust(struct evidence *e, const struct plan *plan, struct touch_seen *touch)
{
        enum trust trust;
        enum trust_why why;
        trust_of(plan, e, touch, &trust, &why);
        if (touch->trust == (int32_t)trust && touch->trust_why == (int32_t)why)
                return;
        touch->trust = (int32_t)trust;
        touch->trust_why = (int32_t)why;
        touch->trust_seq = e->seq;
}
void retrust_all(struct evidence *e, const struct plan *plan)
{
        for (uint32_t i = 0; i < e->touch_n; i++)
                retrust(e, plan, &evidence_touches(e)[i]);
}

static void device_touch_end(struct evidence *e, const struct plan *plan, int32_t how, int32_t after)
{
        struct target_seen *t = &evidence_targets(e)[e->touch - 1];
        struct touch_seen *touch = touch_record(e);
        bool is_complete = touch_is_complete(e, plan);
        if (!touch)
                return;
        touch->ended = how;
        touch->after = after;
        t->grade = grade_worst(grade_worst(touch->start, touch->first), grade_worst(e->touch_grade, touch->after));
        e->touches_good += t->grade == CONTACT_GOOD;
        e->touches_doubtful += t->grade == CONTACT_DOUBTFUL;
        e->touches_absent += t->grade == CONTACT_ABSENT;
        e->touches_cut += !is_complete && t->grade <= CONTACT_GOOD;
        if (t->outcome != TARGET_WAITS) /* skipped by a person meanwhile */
                return;
        bool can_again = evidence_can_touch(e, plan, e->touch - 1);
        if (t->grade > CONTACT_GOOD) { /* graded by contact evidence alone: the mandate may allow one more */
                t->tries_left -= t->tries_left > 0;
                if (t->tries_left > 0 && can_again)
                        return;
                t->outcome = t->grade == CONTACT_ABSENT ? TARGET_NO_CONTACT : TARGET_DOUBTFUL;
                t->why = t->grade == CONTACT_ABSENT ? WHY_CONTACT_ABSENT : WHY_CONTACT_DOUBTFUL;
        } else if (is_complete) {
                t->outcome = TARGET_MEASURED;
                t->why = WHY_NONE;
        } else if (t->interrupts_left > 0 && can_again) {
                t->interrupts_left--;
        } else {
                t->outcome = TARGET_SKIPPED;
                t->why = touch->flags & TOUCH_COMPLIANCE           ? WHY_COMPLIANCE
                         : !can_again                              ? WHY_PADS_SPENT
                         : e->touch_works && !e->touch_sweeps_left ? WHY_SWEEP_FAILED
                                                                   : WHY_INTERRUPTED;
        }
}

/* The supply answered that it stands in its limit, of current or, for a base, of voltage: a property of the device, not of the touch. */
void bias_in_compliance(struct evidence *e)
{
        struct touch_seen *touch = touch_record(e);
        e->touch_sweeps_left = 0;
        if (!touch)
                return;
        touch->flags |= TOUCH_COMPLIANCE;
        evidence_targets(e)[e->touch - 1].interrupts_left = 0;
}

static void standard_touch_end(struct evidence *e, int32_t after)
{
        struct target_seen *t = &evidence_targets(e)[e->touch - 1];
        t->grade = grade_worst(e->touch_grade, after);
        if (t->grade > CONTACT_GOOD)
                t->good = 0;
        if (t->good)
                return;
        if (t->grade > CONTACT_GOOD)
                t->tries_left -= t->tries_left > 0;
        else if (t->interrupts_left > 0)
                t->interrupts_left--;
        else
                t->tries_left = 0;
}

static void touch_forget(struct evidence *e)
{
        e->touch = e->touch_works = e->touch_purpose = e->touch_attempt = e->touch_grade = e->touch_read = e->touch_sweeps_left =
                e->touch_condition = 0;
        e->touch_swept = 0;
}

void touch_end(struct evidence *e, const struct plan *plan, int32_t how, int32_t after)
{
        if (!e->touch)
                return;
        struct touch_seen *touch = touch_record(e);
        if (plan->targets[e->touch - 1].kind == TARGET_DEVICE)
                device_touch_end(e, plan, how, after);
        else
                standard_touch_end(e, after);
        touch_forget(e);
        if (touch)
                retrust(e, plan, touch);
}

void things_spend(struct evidence *e, const struct plan *plan, int target, int32_t touches)
{
        const struct target *t = &plan->targets[target];
        for (int32_t i = 0; i < t->thing_n; i++) {
                struct thing_seen *thing = &evidence_things(e)[t->things[i]];
                thing->left -= touches;
                thing->spent += touches;
        }
}

static void device_touch_begin(struct evidence *e, const struct plan *plan, const struct step_args *a)
{
        struct target_seen *t = &evidence_targets(e)[a->target];
        if (a->purpose == PURPOSE_REMEASURE && t->outcome == TARGET_MEASURED) {
                round_begin(e, plan, a->target);
                t->remeasures_left -= t->remeasures_left > 0;
                t->outcome = TARGET_WAITS;
                e->remeasures++;
        }
        t->attempt = a->attempt;
        e->retouches += a->attempt > 1;
        struct touch_seen *touch = &evidence_touches(e)[e->touch_n++];
        memset(touch, 0, sizeof *touch);
        touch->seq = e->seq;
        touch->target = 1 + a->target;
        touch->attempt = a->attempt;
        touch->purpose = a->purpose;
        touch->calibration = e->in_force;
        touch->place_proven = e->place == PLACE_STATE_PROVEN;
        touch->previous = t->touch;
        touch->trust = TRUST_OPEN; /* its first row is written when it ends */
        touch->trust_why = TRUST_WHY_IN_HAND;
        t->touch = (int32_t)e->touch_n;
        if (e->interval) {
                struct interval_seen *interval = &evidence_intervals(e)[e->interval - 1];
                touch->interval = e->interval;
                interval->touches++;
                interval->last_touch = e->seq;
                interval->first_touch = interval->first_touch ? interval->first_touch : e->seq;
        }
        int32_t die = 1 + plan->targets[a->target].die;
        if (e->last_die != die) {
                e->last_die = die;
                e->dies_left -= e->dies_left > 0;
        }
}

void touch_begin(struct evidence *e, const struct plan *plan, const struct step_args *a)
{
        things_spend(e, plan, a->target, 1);
        touch_forget(e);
        e->touch = 1 + a->target;
        e->touch_purpose = a->purpose;
        e->touch_attempt = a->attempt;
        e->touch_sweeps_left = SWEEPS_MAX;
        if (plan->targets[a->target].kind == TARGET_DEVICE)
                device_touch_begin(e, plan, a);
        else
                evidence_targets(e)[a->target].attempt = a->attempt;
}

/* The station never saw it: as if it had not been intended.  (A round that it began for a suspect stays begun.) */
void touch_take_back(struct evidence *e, const struct plan *plan)
{
        int target = e->touch - 1;
        struct touch_seen *touch = touch_record(e);
        things_spend(e, plan, target, -1);
        if (touch) {
                evidence_targets(e)[target].touch = touch->previous;
                if (touch->interval) {
                        struct interval_seen *interval = &evidence_intervals(e)[touch->interval - 1];
                        interval->touches--;
                        if (!interval->touches)
                                interval->first_touch = interval->last_touch = 0;
                        else if (interval->last_touch == touch->seq)
                                interval->last_touch = e->touch_n > 1 ? evidence_touches(e)[e->touch_n - 2].seq : 0;
                }
                e->retouches -= touch->attempt > 1;
                memset(touch, 0, sizeof *touch); /* it is the newest: one step is open at a time */
                e->touch_n--;
        }
        touch_forget(e);
}
