/* evidence_apply.c: the fold.  One entry in, the evidence a little wiser.
 * Idea        An intention makes uncertain what it touches (contact, bias, position) and spends; an outcome settles it by what was read back; a note is the world
 *             or a person.  The same function runs live and after a crash, so that there is one truth.
 * Invariants  a refused entry changes nothing · structs are copied field by field, so that no padding travels · a NaN has one bit pattern ·
 *             what cannot be known becomes unknown, never the old state.
 * Not here    what to do about it (rules.c).
 * Rejected    a queue of work derived at start: after a crash it exists only in lost memory. */
#include "run/evidence.h"
#include "run/evidence_own.h"
#include "run/trust.h"
#include <float.h>
#include <math.h>
#include <string.h>

/* ---- small parts --------------------------------------------------------------------------------------------------------------------- */
static double real_of(double x) { return isnan(x) ? (double)NAN : x > DBL_MAX ? DBL_MAX : x < -DBL_MAX ? -DBL_MAX : x; } /* as the journal keeps it */

static void args_copy(struct step_args *to, const struct step_args *from)
{
        to->place = from->place;
        to->target = from->target;
        to->use = from->use;
        to->x_um = real_of(from->x_um);
        to->y_um = real_of(from->y_um);
        to->overtravel_um = real_of(from->overtravel_um);
        to->sweep = from->sweep;
        to->condition = from->condition;
        to->channel = from->channel;
        to->volt = real_of(from->volt);
        to->limit_a = real_of(from->limit_a);
        to->wait_s = real_of(from->wait_s);
        to->lamp = from->lamp;
        to->attempt = from->attempt;
        to->calibration = from->calibration;
        to->purpose = from->purpose;
}

static void rounds_begin(struct evidence *e, const struct plan *plan, const int32_t *targets, size_t n)
{
        for (size_t i = 0; i < n; i++)
                round_begin(e, plan, targets[i]);
}

static struct touch_seen *touch_record(struct evidence *e)
{
        if (!e->touch)
                return NULL;
        int32_t at = evidence_targets(e)[e->touch - 1].touch;
        return at && evidence_touches(e)[at - 1].ended == 0 ? &evidence_touches(e)[at - 1] : NULL;
}

static void retrust(struct evidence *e, const struct plan *plan, struct touch_seen *touch)
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
static void retrust_all(struct evidence *e, const struct plan *plan)
{
        for (uint32_t i = 0; i < e->touch_n; i++)
                retrust(e, plan, &evidence_touches(e)[i]);
}

/* Something happened that could have changed or mended the system: the open interval must be closed by a check before anything else is touched.
   A calibration that has no interval yet cannot be checked against anything: its try is begun again, and does not count. */
static void disturb(struct evidence *e, const struct plan *plan)
{
        struct touch_seen *touch = touch_record(e);
        e->interventions++;
        if (touch)
                touch->flags |= TOUCH_DISTURBED;
        rounds_begin(e, plan, plan->check, plan->check_n);
        if (e->interval) {
                e->undisturbed = 0;
                return;
        }
        bool is_begun = e->calibration && (e->calibration_state == CALIBRATION_UNKNOWN || e->calibration_state == CALIBRATION_SOLVED);
        bool has_no_baseline = e->calibration_state == CALIBRATION_ACCEPTED && plan->check_n && e->interval_n < e->interval_room;
        if (is_begun || has_no_baseline) {
                e->calibration_state = CALIBRATION_REFUSED;
                e->in_force = 0;
                e->tries_left++;
        }
}

static void place_again(struct evidence *e, const struct plan *plan, int32_t tries)
{
        e->place = PLACE_STATE_UNKNOWN;
        e->place_tries_left = tries;
        e->aligned[PLACE_WAFER] = 0;
        rounds_begin(e, plan, plan->prove, plan->prove_n);
}

static void reference_lost(struct evidence *e, const struct plan *plan)
{
        memset(e->aligned, 0, sizeof e->aligned);
        e->at = 0;
        e->parked = 0;
        place_again(e, plan, PLACE_TRIES_MAX);
        disturb(e, plan);
}

/* ---- the touch in hand --------------------------------------------------------------------------------------------------------------- */
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
                t->why = !can_again ? WHY_PADS_SPENT : e->touch_works && !e->touch_sweeps_left ? WHY_SWEEP_FAILED : WHY_INTERRUPTED;
        }
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
        e->touch = e->touch_works = e->touch_purpose = e->touch_attempt = e->touch_grade = e->touch_read = e->touch_sweeps_left = e->touch_condition = 0;
        e->touch_swept = 0;
}

static void touch_end(struct evidence *e, const struct plan *plan, int32_t how, int32_t after)
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

static void things_spend(struct evidence *e, const struct plan *plan, int target, int32_t touches)
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

static void touch_begin(struct evidence *e, const struct plan *plan, const struct step_args *a)
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
static void touch_take_back(struct evidence *e, const struct plan *plan)
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

/* ---- what is read back --------------------------------------------------------------------------------------------------------------- */
static void state_forget(struct evidence *e)
{
        e->state.separated = e->state.bias_off = KNOW_UNKNOWN;
        e->state.in_contact = false;
        e->state.axes = e->state.axes == KNOW_KNOWN ? KNOW_BELIEVED : e->state.axes;
        e->inventory = 0;
        e->not_latched = 0;
}

/* Returns false when the state says nothing. */
static bool state_take(struct evidence *e, const struct plan *plan, const struct state_read *s)
{
        if (!s->separated && !s->axes && !s->bias_off && !s->in_contact && !s->latched) {
                state_forget(e);
                return false;
        }
        struct state_read *to = &e->state;
        to->separated = s->in_contact ? KNOW_UNKNOWN : s->separated;
        to->axes = s->axes;
        to->bias_off = s->bias_off;
        to->in_contact = s->in_contact;
        to->latched = s->latched;
        to->x_um = real_of(s->x_um);
        to->y_um = real_of(s->y_um);
        to->z_um = real_of(s->z_um);
        to->volt_max = real_of(s->volt_max);
        to->place = s->place;
        e->not_latched = !s->latched;
        bool was_referenced = false;
        for (int i = 0; i < PLACE_COUNT; i++)
                was_referenced |= e->aligned[i] != 0;
        if (to->axes != KNOW_KNOWN && was_referenced)
                reference_lost(e, plan);
        return true;
}

static void station_is_new(struct evidence *e, const struct plan *plan, uint32_t boot)
{
        e->station_boot = boot ? boot : e->station_boot + 1;
        e->station_deaths++;
        e->biased = 0; /* and unknown: state_forget */
        state_forget(e);
        reference_lost(e, plan);
        e->retries_left = RETRIES_MAX;
        if (e->open_kind != STEP_LOWER) /* the outcome of an open one says whether it happened at all */
                touch_end(e, plan, 2, CONTACT_UNKNOWN);
}

/* Separation by anything but our own SEPARATE cuts the touch off. */
static void cut_when_separated(struct evidence *e, const struct plan *plan)
{
        if (e->touch && e->state.separated == KNOW_KNOWN)
                touch_end(e, plan, 2, CONTACT_UNKNOWN);
}

/* ---- intentions ---------------------------------------------------------------------------------------------------------------------- */
static void try_begin(struct evidence *e, const struct plan *plan, int32_t number)
{
        if (e->calibration == 0 || e->calibration_state == CALIBRATION_EXPIRED) { /* a new effort */
                e->efforts_left -= e->efforts_left > 0;
                e->tries_left = plan->recipe->calibration.tries_max > 1 ? plan->recipe->calibration.tries_max : 1;
                e->recalibrations += e->calibration != 0;
        } else if (e->calibration_state != CALIBRATION_REFUSED)
                e->refused++; /* its standards could not be swept */
        e->tries_left -= e->tries_left > 0;
        e->calibration = number;
        e->calibration_state = CALIBRATION_UNKNOWN;
        e->in_force = 0;
        rounds_begin(e, plan, plan->calibrate, plan->calibrate_n);
        rounds_begin(e, plan, plan->verify, plan->verify_n);
        rounds_begin(e, plan, plan->check, plan->check_n);
}

static void intend(struct evidence *e, const struct plan *plan, const struct entry *entry)
{
        const struct step_args *a = &entry->body.args;
        e->hands_free = 0;
        e->open_step = entry->step;
        e->open_seq = entry->seq;
        e->open_kind = (int32_t)entry->kind;
        e->open_rule = entry->rule;
        args_copy(&e->open_args, a);
        if (a->purpose == PURPOSE_CALIBRATE && a->calibration == e->calibration + 1)
                try_begin(e, plan, a->calibration);
        if (step_rows[entry->kind].sideways)
                e->at = e->parked = 0;
        if (entry->kind == STEP_SAFE)
                e->at = 0;
        if (step_rows[entry->kind].contact_changes) {
                e->state.separated = KNOW_UNKNOWN;
                e->state.in_contact = false;
        }
        if (entry->kind == STEP_LOWER)
                touch_begin(e, plan, a);
        if (entry->kind == STEP_BIAS_ON) {
                e->biased = 1;
                e->touch_condition = 0;
                e->state.bias_off = KNOW_UNKNOWN;
        }
        if (entry->kind == STEP_SWEEP && a->use == USE_WITNESS) /* once, whatever becomes of it */
                e->witness_die = 1 + plan->targets[a->target].die;
}

/* ---- outcomes ------------------------------------------------------------------------------------------------------------------------ */
/* The daemon's own steps: these codes mean that nothing was judged, so it is judged again. */
static bool was_not_done(enum code code)
{
        return code == CODE_CANCELLED || code == CODE_BUSY || code == CODE_MEMORY || code == CODE_DISK || code == CODE_DISK_FULL || code == CODE_TIMED_OUT;
}

static void swept_device(struct evidence *e, const struct entry *entry)
{
        const struct outcome *o = &entry->body.outcome;
        struct touch_seen *touch = touch_record(e);
        bool is_bad = (o->flags & FLAGS_BAD) != 0;
        if (entry->code || !touch || (is_bad && e->touch_sweeps_left > 1)) {
                e->touch_sweeps_left -= e->touch_sweeps_left > 0;
                return;
        }
        if (!e->touch_swept)
                touch->first = o->contact;
        touch->end = o->contact;
        touch->flags |= o->flags & ~TOUCH_DISTURBED;
        e->touch_swept |= 1u << e->open_args.condition;
        touch->swept = e->touch_swept;
        e->touch_grade = grade_worst(e->touch_grade, o->contact);
        e->touch_sweeps_left = SWEEPS_MAX;
}

static void swept_standard(struct evidence *e, const struct entry *entry)
{
        const struct outcome *o = &entry->body.outcome;
        struct target_seen *t = &evidence_targets(e)[e->open_args.target];
        bool is_touched = e->touch == 1 + e->open_args.target;
        if (entry->code || (o->flags & FLAGS_BAD)) {
                if (is_touched)
                        e->touch_sweeps_left -= e->touch_sweeps_left > 0;
                else
                        t->tries_left -= t->tries_left > 0;
                return;
        }
        t->grade = o->contact;
        t->good = o->contact <= CONTACT_GOOD;
        t->sweep_seq = t->good ? e->open_seq : 0;
        if (is_touched) {
                e->touch_read = 1;
                e->touch_grade = grade_worst(e->touch_grade, o->contact);
        } else if (!t->good)
                t->tries_left -= t->tries_left > 0;
}

static void swept(struct evidence *e, const struct entry *entry)
{
        if (e->open_args.use == USE_DEVICE)
                swept_device(e, entry);
        else if (e->open_args.use == USE_STANDARD || e->open_args.use == USE_CHECK)
                swept_standard(e, entry);
        e->sweeps += entry->code == CODE_OK;
}

static void dc_was_read(struct evidence *e, const struct entry *entry)
{
        const struct outcome *o = &entry->body.outcome;
        if (entry->code || !e->touch) {
                e->touch_sweeps_left -= e->touch_sweeps_left > 0;
                return;
        }
        struct target_seen *t = &evidence_targets(e)[e->touch - 1];
        e->touch_read = 1;
        e->touch_grade = grade_worst(e->touch_grade, o->contact);
        t->good = e->touch_grade <= CONTACT_GOOD;
        t->code_seen = o->code_seen;
        t->code_want = o->code_want;
}

static void place_was_judged(struct evidence *e, const struct plan *plan, const struct entry *entry)
{
        bool is_right = entry->code == CODE_OK && entry->body.outcome.accepted && plan->prove_n > 0;
        for (size_t i = 0; i < plan->prove_n; i++) {
                const struct target_seen *t = &evidence_targets(e)[plan->prove[i]];
                is_right = is_right && t->good && t->code_seen == t->code_want;
        }
        if (is_right) {
                e->place = PLACE_STATE_PROVEN;
                return;
        }
        int32_t left = e->place_tries_left - 1;
        if (left > 0) {
                place_again(e, plan, left);
                return;
        }
        e->place_tries_left = 0;
        e->place = PLACE_STATE_REFUSED;
}

static void interval_close(struct evidence *e, bool passed, int32_t cause, int32_t ended_by)
{
        struct interval_seen *interval = &evidence_intervals(e)[e->interval - 1];
        interval->closed_seq = e->seq;
        interval->verdict = passed ? INTERVAL_PASSED : INTERVAL_FAILED;
        interval->cause = cause;
        interval->ended_by = ended_by;
        e->interval = 0;
}

static void interval_open(struct evidence *e, const struct plan *plan)
{
        if (e->interval_n == e->interval_room)
                return; /* the rules write off what is left */
        struct interval_seen *interval = &evidence_intervals(e)[e->interval_n++];
        memset(interval, 0, sizeof *interval);
        interval->opened_seq = e->seq;
        interval->calibration = e->in_force;
        interval->verdict = INTERVAL_OPEN;
        e->interval = (int32_t)e->interval_n;
        e->undisturbed = 1;
        e->dies_left = every_dies(plan);
        e->last_die = e->witness_die = 0;
}

static void check_was_made(struct evidence *e, const struct plan *plan, const struct entry *entry)
{
        const struct outcome *o = &entry->body.outcome;
        bool is_whole = true, is_baseline = e->interval == 0;
        for (size_t i = 0; i < plan->check_n; i++)
                is_whole = is_whole && evidence_targets(e)[plan->check[i]].good;
        bool passed = entry->code == CODE_OK && o->accepted && is_whole;
        if (!passed && (!is_whole || o->cause == CAUSE_BAD_TOUCH) && e->check_rounds_left > 0) {
                e->check_rounds_left--; /* the check's own touch was bad: once more before anything is believed of it */
                rounds_begin(e, plan, plan->check, plan->check_n);
                return;
        }
        e->checks++;
        e->checks_failed += !passed;
        e->check_passed = passed ? 1 : 2;
        e->check_cause = o->cause;
        e->check_rounds_left = 1;
        for (size_t i = 0; passed && is_baseline && i < plan->check_n; i++)
                evidence_targets(e)[plan->check[i]].baseline_seq = evidence_targets(e)[plan->check[i]].sweep_seq;
        rounds_begin(e, plan, plan->check, plan->check_n);
        if (!is_baseline)
                interval_close(e, passed, o->cause, !e->undisturbed ? END_INTERVENTION : e->dies_left <= 0 ? END_EVERY_DIES : END_CLOSING);
        if (passed)
                interval_open(e, plan);
        else {
                e->calibration_state = is_baseline ? CALIBRATION_REFUSED : CALIBRATION_EXPIRED;
                e->refused += is_baseline;
                e->in_force = 0;
        }
        retrust_all(e, plan);
}

static void calibration_was_judged(struct evidence *e, const struct plan *plan, const struct entry *entry)
{
        bool is_good = entry->code == CODE_OK && entry->body.outcome.accepted;
        if (!is_good) {
                e->calibration_state = CALIBRATION_REFUSED;
                e->refused++;
                return;
        }
        if (entry->kind == STEP_SOLVE) {
                e->calibration_state = CALIBRATION_SOLVED;
                rounds_begin(e, plan, plan->verify, plan->verify_n);
                return;
        }
        e->calibration_state = CALIBRATION_ACCEPTED;
        e->in_force = e->calibration;
        e->check_rounds_left = 1;
        rounds_begin(e, plan, plan->check, plan->check_n);
        for (size_t i = 0; i < plan->check_n; i++)
                evidence_targets(e)[plan->check[i]].baseline_seq = 0;
}

static void run_finish(struct evidence *e, const struct plan *plan)
{
        int32_t why = !e->may_measure                                                                              ? WHY_FINISHED_EARLY
                      : e->place != PLACE_STATE_PROVEN && plan->recipe->proof.required                             ? WHY_PLACE_UNPROVEN
                      : !e->in_force                                                                               ? WHY_NO_CALIBRATION
                      : plan->check_n && (!e->interval || !evidence_can_touch_all(e, plan, plan->check, plan->check_n)) ? WHY_NO_CHECK
                                                                                                                   : WHY_THINGS_SPENT;
        for (size_t i = 0; i < plan->visit_n; i++) {
                struct target_seen *t = &evidence_targets(e)[plan->visits[i]];
                if (t->outcome != TARGET_WAITS)
                        continue;
                t->outcome = TARGET_WRITTEN_OFF;
                t->why = why;
        }
        if (e->interval) {
                interval_close(e, false, CAUSE_UNKNOWN, END_CLOSING);
                evidence_intervals(e)[e->interval_n - 1].verdict = INTERVAL_WRITTEN_OFF;
        }
        e->finished = 1;
        retrust_all(e, plan);
}

static void settle_daemon(struct evidence *e, const struct plan *plan, const struct entry *entry)
{
        if (was_not_done(entry->code))
                return;
        if (entry->kind == STEP_SOLVE || entry->kind == STEP_VERIFY)
                calibration_was_judged(e, plan, entry);
        else if (entry->kind == STEP_CHECK)
                check_was_made(e, plan, entry);
        else if (entry->kind == STEP_JUDGE_PLACE)
                place_was_judged(e, plan, entry);
        else if (entry->kind == STEP_FINISH && entry->code == CODE_OK)
                run_finish(e, plan);
}

static void settle_lower(struct evidence *e, const struct entry *entry)
{
        struct touch_seen *touch = touch_record(e);
        if (!e->touch)
                return;
        e->touch_works = entry->code == CODE_OK;
        if (entry->code == CODE_OK && touch)
                touch->start = entry->body.outcome.contact;
        if (entry->code == CODE_OK)
                e->touch_grade = grade_worst(e->touch_grade, entry->body.outcome.contact);
}

static void settle_station(struct evidence *e, const struct plan *plan, const struct entry *entry)
{
        const struct outcome *o = &entry->body.outcome;
        bool is_ok = entry->code == CODE_OK;
        enum step_kind kind = entry->kind;
        if (o->station_boot && e->station_boot && o->station_boot != e->station_boot)
                station_is_new(e, plan, o->station_boot);
        else if (o->station_boot)
                e->station_boot = o->station_boot;
        e->temperature_c = real_of(o->temperature_c);
        if (kind == STEP_LOWER)
                settle_lower(e, entry);
        else if (kind == STEP_SWEEP)
                swept(e, entry);
        else if (kind == STEP_READ_DC)
                dc_was_read(e, entry);
        bool is_known = state_take(e, plan, &o->state);
        if (kind == STEP_BIAS_ON && is_ok)
                e->touch_condition = 1 + e->open_args.condition;
        else if (kind == STEP_BIAS_ON)
                e->touch_sweeps_left -= e->touch_sweeps_left > 0;
        else if (e->state.bias_off == KNOW_KNOWN || (kind == STEP_BIAS_OFF && is_ok)) /* off by command but not by reading: the ladder is next */
                e->biased = e->touch_condition = 0;
        if (kind == STEP_INVENTORY || kind == STEP_SAFE)
                e->inventory = is_ok && is_known;
        if (kind == STEP_SEPARATE && is_ok && e->state.separated == KNOW_KNOWN)
                touch_end(e, plan, 1, o->contact);
        cut_when_separated(e, plan);
        if (!is_ok || !is_known)
                return;
        if (kind == STEP_ALIGN) {
                if (e->interval)
                        disturb(e, plan);
                e->aligned[e->open_args.place] = 1;
        }
        if (kind == STEP_MOVE)
                e->at = 1 + e->open_args.target;
        if (kind == STEP_PARK)
                e->parked = 1;
}

/* A step that claims success without its effect is a failure, or it would be repeated for ever. */
static bool reached(const struct evidence *e, const struct entry *entry)
{
        if (entry->code)
                return false;
        switch (entry->kind) {
        case STEP_INVENTORY:
                return e->inventory != 0;
        case STEP_SAFE:
                return evidence_is_safe(e);
        case STEP_HOME:
                return e->state.axes == KNOW_KNOWN;
        case STEP_ALIGN:
                return e->aligned[e->open_args.place] != 0;
        case STEP_MOVE:
                return e->at == 1 + e->open_args.target;
        case STEP_PARK:
                return e->parked != 0;
        case STEP_SEPARATE:
                return e->state.separated == KNOW_KNOWN;
        case STEP_BIAS_OFF:
                return e->state.bias_off == KNOW_KNOWN;
        case STEP_NONE:
        case STEP_LOWER:
        case STEP_READ_DC:
        case STEP_BIAS_ON:
        case STEP_SWEEP:
        case STEP_LAMP:
        case STEP_WAIT:
        case STEP_UNLOAD:
        case STEP_SOLVE:
        case STEP_VERIFY:
        case STEP_CHECK:
        case STEP_JUDGE_PLACE:
        case STEP_FINISH:
        case STEP_KIND_COUNT:
                break;
        }
        return true;
}

static void settle(struct evidence *e, const struct plan *plan, const struct entry *entry)
{
        bool is_ok = entry->code == CODE_OK;
        bool is_progress = is_ok && (entry->kind == STEP_SWEEP || entry->kind == STEP_READ_DC || !step_rows[entry->kind].by_station);
        if (entry->body.outcome.station_ns)
                e->station_ns = entry->body.outcome.station_ns;
        if (step_rows[entry->kind].by_station)
                settle_station(e, plan, entry);
        else
                settle_daemon(e, plan, entry);
        if (is_progress)
                e->retries_left = RETRIES_MAX;
        else if (!reached(e, entry)) {
                e->retries_left -= e->retries_left > 0;
                e->failed_ns = entry->boot_ns;
        }
        e->last_step = e->open_step;
        e->last_target = e->open_kind == STEP_LOWER ? 1 + e->open_args.target : 0;
        e->hands_free = 1;
        e->open_step = e->open_seq = 0;
        e->open_kind = e->open_rule = 0;
        memset(&e->open_args, 0, sizeof e->open_args);
}

/* ---- notes --------------------------------------------------------------------------------------------------------------------------- */
static void compensate(struct evidence *e, const struct plan *plan, uint64_t step)
{
        if (!e->hands_free && step == e->open_step && e->open_kind == STEP_LOWER && e->touch)
                touch_take_back(e, plan);
        else if (e->hands_free && step && step == e->last_step && e->last_target) {
                things_spend(e, plan, e->last_target - 1, -1);
                e->last_target = 0;
        }
}

static void die_skip(struct evidence *e, const struct plan *plan, int die_x, int die_y)
{
        for (size_t i = 0; i < plan->visit_n; i++) {
                const struct die *die = &plan->dies[plan->targets[plan->visits[i]].die];
                struct target_seen *t = &evidence_targets(e)[plan->visits[i]];
                if (die->x != die_x || die->y != die_y)
                        continue;
                t->remeasures_left = 0;
                if (t->outcome != TARGET_WAITS)
                        continue;
                t->outcome = TARGET_SKIPPED;
                t->why = WHY_BY_PERSON;
        }
}

static void person_goes_on(struct evidence *e, const struct plan *plan)
{
        e->retries_left = RETRIES_MAX;
        if (e->place == PLACE_STATE_REFUSED)
                place_again(e, plan, 1);
}

static void note_state(struct evidence *e, const struct plan *plan, const struct note *note)
{
        if (!note->has_state)
                return;
        state_take(e, plan, &note->state);
        if (e->state.bias_off == KNOW_KNOWN && e->open_kind != STEP_BIAS_ON)
                e->biased = e->touch_condition = 0;
        if (e->open_kind != STEP_LOWER)
                cut_when_separated(e, plan);
}

static void take_note(struct evidence *e, const struct plan *plan, const struct note *note)
{
        switch ((enum note_kind)note->note) {
        case NOTE_NONE:
        case NOTE_KIND_COUNT:
                break;
        case NOTE_RUN_STARTED:
                e->started = e->may_go = 1;
                e->station_boot = note->station_boot ? note->station_boot : e->station_boot;
                break;
        case NOTE_BOOT:
                e->daemon_boots++;
                e->may_stay = 1;
                e->retries_left = RETRIES_MAX;
                if (note->station_boot && e->station_boot && note->station_boot != e->station_boot)
                        station_is_new(e, plan, note->station_boot);
                state_forget(e);
                note_state(e, plan, note);
                e->inventory = 0;
                break;
        case NOTE_STATION_BOOT:
                station_is_new(e, plan, note->station_boot);
                note_state(e, plan, note);
                e->inventory = 0;
                break;
        case NOTE_STATION_EVENT:
                if (!note->has_state)
                        state_forget(e);
                note_state(e, plan, note);
                break;
        case NOTE_COMPENSATE:
                compensate(e, plan, note->of_step);
                break;
        case NOTE_PAUSE:
                e->may_go = 0;
                break;
        case NOTE_RESUME:
                e->may_go = 1;
                person_goes_on(e, plan);
                break;
        case NOTE_FINISH_EARLY:
                e->may_measure = 0;
                break;
        case NOTE_SKIP_DIE:
                die_skip(e, plan, note->die_x, note->die_y);
                break;
        case NOTE_STOP:
                e->may_stay = 0;
                break;
        case NOTE_INTERVENTION:
                disturb(e, plan);
                break;
        case NOTE_CLEARED:
                e->state.latched = false;
                state_forget(e);
                note_state(e, plan, note);
                e->inventory = 0;
                person_goes_on(e, plan);
                break;
        }
}

/* ---- the door ------------------------------------------------------------------------------------------------------------------------ */
static enum code refuse(const struct entry *entry, const char *why, struct tp_error *err)
{
        return tp_fail(err, CODE_DAMAGED, "journal entry %llu (step %llu): %s; the run's journal does not fit its plan", (unsigned long long)entry->seq,
                       (unsigned long long)entry->step, why);
}

static enum code intention_check(const struct evidence *e, const struct plan *plan, const struct entry *entry, struct tp_error *err)
{
        const struct step_args *a = &entry->body.args;
        bool wants_target = entry->kind == STEP_LOWER || entry->kind == STEP_SWEEP || entry->kind == STEP_MOVE;
        if (!e->hands_free)
                return refuse(entry, "an intention while another step is open", err);
        if (a->target < -1 || a->target >= (int32_t)plan->target_n || (wants_target && a->target < 0))
                return refuse(entry, "its target is not in the plan", err);
        if (a->place < 0 || a->place >= PLACE_COUNT)
                return refuse(entry, "its place is none", err);
        if (entry->kind == STEP_SWEEP && (a->condition < 0 || a->condition > 31))
                return refuse(entry, "its condition is outside 0 to 31", err);
        if (entry->kind == STEP_LOWER && plan->targets[a->target].kind == TARGET_DEVICE && e->touch_n >= e->touch_room)
                return refuse(entry, "more touches than the plan and the mandate can hold", err);
        if (entry->kind == STEP_LOWER && plan->targets[a->target].raised)
                return refuse(entry, "it lowers on a raised standard", err);
        return CODE_OK;
}

static enum code entry_check(const struct evidence *e, const struct plan *plan, const struct entry *entry, struct tp_error *err)
{
        if (e->bytes != evidence_bytes(plan) || memcmp(&e->plan_key, plan->digest, sizeof e->plan_key) != 0)
                return refuse(entry, "the evidence was made for another plan", err);
        if (entry->seq <= e->seq)
                return refuse(entry, "it is not newer than the one before", err);
        if (e->finished && entry->phase != PHASE_NOTE) /* a boot may still be noted while the run is sealed */
                return refuse(entry, "it comes after the end of the run", err);
        switch (entry->phase) {
        case PHASE_INTEND:
                if (entry->kind <= STEP_NONE || entry->kind >= STEP_KIND_COUNT)
                        return refuse(entry, "its kind of step is none", err);
                return intention_check(e, plan, entry, err);
        case PHASE_OUTCOME: {
                const struct outcome *o = &entry->body.outcome;
                if (e->hands_free || entry->step != e->open_step || (int32_t)entry->kind != e->open_kind)
                        return refuse(entry, "an outcome without its intention", err);
                if (o->contact < 0 || o->contact > CONTACT_ABSENT || o->state.place < 0 || o->state.place >= PLACE_COUNT)
                        return refuse(entry, "a grade or place that is none", err);
                return CODE_OK;
        }
        case PHASE_NOTE:
                if (entry->body.note.note <= NOTE_NONE || entry->body.note.note >= NOTE_KIND_COUNT)
                        return refuse(entry, "its kind of note is none", err);
                return CODE_OK;
        case PHASE_UNKNOWN:
                break;
        }
        return refuse(entry, "its phase is none", err);
}

enum code evidence_apply(struct evidence *e, const struct plan *plan, const struct entry *entry, struct tp_error *err)
{
        enum code code = entry_check(e, plan, entry, err);
        if (code)
                return code;
        e->seq = entry->seq;
        e->boot = entry->boot;
        e->boot_ns = entry->boot_ns;
        if (entry->phase == PHASE_INTEND)
                intend(e, plan, entry);
        else if (entry->phase == PHASE_OUTCOME)
                settle(e, plan, entry);
        else
                take_note(e, plan, &entry->body.note);
        return CODE_OK;
}
