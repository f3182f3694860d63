/* rules.c: the table, top to bottom, safety first.  Each rule has its reason in words: journaled, shown to people, named in the tests.
 * Reading     A guard may rely on every rule above it not having fitted: below "sweep" the probes are known to be up and bias was read off.
 * Invariants  Rows keep their names for good (the journal names them); they change places only with the tests' consent. */
#include "base/world.h"
#include "run/decide.h"
#include "run/evidence_own.h"

/* ---- small questions ---- */
static const struct target *target_of(const struct question *q, int target) { return &q->plan->targets[target]; }
static struct target_seen *seen_of(const struct question *q, int target) { return &evidence_targets(q->e)[target]; }

/* The first of the list that has no good sweep in this round and may still be tried; -1: none. */
static int pending(const struct question *q, const int32_t *targets, size_t n)
{
        for (size_t i = 0; i < n; i++) {
                const struct target_seen *t = seen_of(q, targets[i]);
                if (!t->good && t->tries_left > 0 && evidence_can_touch(q->e, q->plan, targets[i]))
                        return targets[i];
        }
        return -1;
}
static bool all_good(const struct question *q, const int32_t *targets, size_t n)
{
        for (size_t i = 0; i < n; i++)
                if (!seen_of(q, targets[i])->good)
                        return false;
        return true;
}
static bool is_hopeless(const struct question *q, const int32_t *targets, size_t n)
{
        for (size_t i = 0; i < n; i++) {
                const struct target_seen *t = seen_of(q, targets[i]);
                if (!t->good && (t->tries_left <= 0 || !evidence_can_touch(q->e, q->plan, targets[i])))
                        return true;
        }
        return false;
}

static const struct measure *measure_in_hand(const struct question *q)
{
        const struct target *t = q->e->touch ? target_of(q, q->e->touch - 1) : NULL;
        return t && t->kind == TARGET_DEVICE ? &q->plan->recipe->measures[t->item] : NULL;
}
/* The condition of the device in hand that is swept next; -1: none, or no device. */
static int next_condition(const struct question *q)
{
        if (!measure_in_hand(q))
                return -1;
        for (size_t k = 0; k < target_conditions(q->plan, q->e->touch - 1); k++)
                if (!(q->e->touch_swept >> k & 1u))
                        return (int)k;
        return -1;
}

/* What the touch in hand was for is gone: an intervention or a verdict ended the try or the calibration meanwhile. */
static bool is_purposeless(const struct evidence *e)
{
        switch ((enum purpose)e->touch_purpose) {
        case PURPOSE_CALIBRATE:
                return e->calibration_state != CALIBRATION_UNKNOWN;
        case PURPOSE_VERIFY:
                return e->calibration_state != CALIBRATION_SOLVED;
        case PURPOSE_CHECK:
        case PURPOSE_DEVICE:
        case PURPOSE_REMEASURE:
                return !e->in_force;
        case PURPOSE_UNKNOWN:
                return true;
        case PURPOSE_PLACE:
                break;
        }
        return false;
}

static bool must_leave(const struct question *q)
{
        const struct evidence *e = q->e;
        if (is_purposeless(e))
                return true;
        if (!e->may_stay || !e->touch_works || e->touch_sweeps_left <= 0 || e->touch_grade >= CONTACT_ABSENT)
                return true;
        if (!measure_in_hand(q))
                return e->touch_read != 0;
        if (seen_of(q, e->touch - 1)->outcome != TARGET_WAITS)
                return true;
        return next_condition(q) < 0 || (e->touch_grade == CONTACT_DOUBTFUL && e->touch_swept); /* one sweep is kept as evidence */
}
static bool in_hand(const struct question *q) { return q->e->state.in_contact && q->e->touch; }

/* ---- making steps ---- */
static int32_t number_for(const struct question *q, enum purpose purpose)
{
        switch (purpose) {
        case PURPOSE_CALIBRATE:
        case PURPOSE_VERIFY:
                return q->e->calibration;
        case PURPOSE_CHECK:
        case PURPOSE_DEVICE:
        case PURPOSE_REMEASURE:
                return q->e->in_force;
        case PURPOSE_UNKNOWN:
        case PURPOSE_PLACE:
                break;
        }
        return 0;
}

static void make_sweep(const struct question *q, struct step *s, int target, enum sweep_use use, int condition)
{
        const struct target *t = target_of(q, target);
        const struct recipe *r = q->plan->recipe;
        bool is_device = t->kind == TARGET_DEVICE && use == USE_DEVICE;
        s->kind = STEP_SWEEP;
        s->args.target = target;
        s->args.place = t->place;
        s->args.x_um = t->x_um;
        s->args.y_um = t->y_um;
        s->args.use = use;
        s->args.sweep = sweep_of(r, is_device ? r->measures[t->item].sweep : r->calibration.sweep);
        s->args.condition = condition;
}

/* One step nearer to a touch of `target`: align its place, move, then lower, or sweep where it is raised. */
static void approach(const struct question *q, struct step *s, int target, enum purpose purpose, int32_t calibration)
{
        const struct evidence *e = q->e;
        const struct target *t = target_of(q, target);
        const struct target_seen *seen = seen_of(q, target);
        s->args.place = t->place;
        s->args.purpose = purpose;
        s->args.calibration = calibration;
        if (!e->aligned[t->place]) {
                s->kind = STEP_ALIGN;
                return;
        }
        s->args.target = target;
        s->args.x_um = t->x_um;
        s->args.y_um = t->y_um;
        s->args.spacing_um = t->spacing_um;
        if (e->at != 1 + target) {
                s->kind = STEP_MOVE;
                s->args.wait_s = t->spacing_um > 0 ? q->plan->recipe->setup.spacing_settle_s : 0;
        } else if (t->raised) {
                make_sweep(q, s, target, purpose == PURPOSE_CHECK ? USE_CHECK : USE_STANDARD, 0);
        } else {
                bool is_new_round = purpose == PURPOSE_REMEASURE && seen->outcome == TARGET_MEASURED;
                s->kind = STEP_LOWER;
                s->args.overtravel_um = q->plan->recipe->setup.overtravel_um;
                s->args.attempt = is_new_round ? 1 : 1 + round_tries(q->plan, target) - seen->tries_left;
        }
}
static void do_step(struct step *s, enum step_kind kind, enum purpose purpose, int32_t calibration)
{
        s->kind = kind;
        s->args.purpose = purpose;
        s->args.calibration = calibration;
}
static void make_wait(const struct question *q, struct step *s)
{
        s->kind = STEP_WAIT;
        s->args.wait_s = 1;
        s->not_before_ns = q->now_ns + NS_PER_S;
}

/* ---- the end, and what only a person or an answer can change ---- */
static bool is_finished(const struct question *q) { return q->e->finished != 0; }
static bool is_not_started(const struct question *q) { return !q->e->started; }
static bool is_step_open(const struct question *q) { return !q->e->hands_free || q->e->open_kind != STEP_NONE; }
static bool is_contradictory(const struct question *q)
{
        const struct evidence *e = q->e;
        bool is_accepted = e->calibration_state == CALIBRATION_ACCEPTED;
        if (!e->interval && e->interval_n && evidence_intervals(e)[e->interval_n - 1].verdict == INTERVAL_OPEN)
                return true;
        return e->bytes != evidence_bytes(q->plan) || e->in_force < 0 || (e->in_force && e->in_force != e->calibration) ||
               (e->in_force != 0) != is_accepted || e->interval < 0 || (uint32_t)e->interval > e->interval_n ||
               (e->interval && !e->in_force) || e->touch < 0 || (size_t)e->touch > q->plan->target_n || e->at < 0 ||
               (size_t)e->at > q->plan->target_n;
}
static bool is_latched(const struct question *q) { return q->e->state.latched || (q->e->inventory && !q->e->not_latched); }
static bool cannot_look(const struct question *q) { return !q->e->inventory && q->e->retries_left <= 0; }
static bool is_stuck(const struct question *q) { return q->e->retries_left <= 0; }

/* ---- safety ---- */
static bool has_not_looked(const struct question *q) { return !q->e->inventory; }
static void make_inventory(const struct question *q, struct step *s)
{
        (void)q;
        s->kind = STEP_INVENTORY;
}
static bool is_unsafe(const struct question *q)
{
        const struct evidence *e = q->e;
        bool is_up = e->state.separated == KNOW_KNOWN && !e->state.in_contact, is_off = e->state.bias_off == KNOW_KNOWN;
        if (evidence_is_safe(e))
                return false;
        if (e->retries_left <= 0 || (is_up && !is_off) || (!is_up && !e->state.in_contact))
                return true;
        return e->state.in_contact && (!e->touch || (!e->biased && !is_off));
}
static void make_safe(const struct question *q, struct step *s)
{
        (void)q;
        s->kind = STEP_SAFE;
}

/* ---- the touch in hand ---- */
static bool bias_must_end(const struct question *q)
{
        int next = next_condition(q);
        bool is_for_next = next >= 0 && q->e->touch_condition == 1 + next;
        return in_hand(q) && q->e->biased && (must_leave(q) || !is_for_next);
}
static void make_bias_off(const struct question *q, struct step *s)
{
        s->kind = STEP_BIAS_OFF;
        s->args.target = q->e->touch - 1;
}
static bool touch_must_end(const struct question *q) { return in_hand(q) && must_leave(q); }
static void make_separate(const struct question *q, struct step *s)
{
        do_step(s, STEP_SEPARATE, (enum purpose)q->e->touch_purpose, number_for(q, (enum purpose)q->e->touch_purpose));
        s->args.target = q->e->touch - 1;
        s->args.attempt = q->e->touch_attempt;
}
static bool ladder_is_in_hand(const struct question *q) { return in_hand(q) && target_of(q, q->e->touch - 1)->kind == TARGET_LADDER; }
static void make_read(const struct question *q, struct step *s)
{
        do_step(s, STEP_READ_DC, PURPOSE_PLACE, 0);
        s->args.target = q->e->touch - 1;
        s->args.attempt = q->e->touch_attempt;
}
static bool bias_is_wanted(const struct question *q)
{
        int k = next_condition(q);
        return in_hand(q) && k >= 0 && condition_volt(&measure_in_hand(q)->conditions[k]) > 0 && q->e->touch_condition != 1 + k;
}
static void make_bias_on(const struct question *q, struct step *s)
{
        int k = next_condition(q);
        const struct condition *c = &measure_in_hand(q)->conditions[k];
        do_step(s, STEP_BIAS_ON, (enum purpose)q->e->touch_purpose, q->e->in_force);
        s->args.target = q->e->touch - 1;
        s->args.condition = k;
        s->args.channel = c->channel;
        s->args.volt = c->volt;
        s->args.limit_a = c->limit_a;
        s->args.gate_channel = c->has_gate ? c->gate.channel : 0;
        s->args.gate_volt = c->has_gate ? c->gate.volt : 0;
        s->args.gate_limit_a = c->has_gate ? c->gate.limit_a : 0;
        if (c->has_base) {
                s->args.gate_by_current = true;
                s->args.gate_channel = c->base.channel;
                s->args.gate_volt = c->base.limit_v;
                s->args.gate_limit_a = c->base.ampere;
        }
        s->args.open_v = c->open_v;
        s->args.wait_s = c->settle_s;
}
static bool sweep_is_wanted(const struct question *q) { return in_hand(q); }
static void make_sweep_in_hand(const struct question *q, struct step *s)
{
        enum purpose purpose = (enum purpose)q->e->touch_purpose;
        bool is_device = measure_in_hand(q) != NULL;
        make_sweep(q, s, q->e->touch - 1,
                   is_device                  ? USE_DEVICE
                   : purpose == PURPOSE_CHECK ? USE_CHECK
                                              : USE_STANDARD,
                   is_device ? next_condition(q) : 0);
        s->args.purpose = purpose;
        s->args.calibration = number_for(q, purpose);
        s->args.attempt = q->e->touch_attempt;
}

/* ---- from here on the probes are up and bias is off ---- */
static bool must_stop(const struct question *q) { return !q->e->may_stay; }
static bool must_stop_and_park(const struct question *q) { return must_stop(q) && !q->e->parked && q->e->state.axes == KNOW_KNOWN; }
static void make_park(const struct question *q, struct step *s)
{
        (void)q;
        s->kind = STEP_PARK;
}
static bool is_paused(const struct question *q) { return !q->e->may_go; }
static bool has_no_reference(const struct question *q) { return q->e->state.axes != KNOW_KNOWN; }
static void make_home(const struct question *q, struct step *s)
{
        (void)q;
        s->kind = STEP_HOME;
}

/* ---- place ---- */
static bool has_work(const struct question *q) { return q->next >= 0; }
static bool place_is_refused(const struct question *q)
{
        return has_work(q) && q->plan->recipe->proof.required && q->e->place == PLACE_STATE_REFUSED;
}
static bool place_is_refused_and_not_parked(const struct question *q) { return place_is_refused(q) && !q->e->parked; }
static bool place_needs_reading(const struct question *q)
{
        return has_work(q) && !place_is_settled(q) && !is_hopeless(q, q->plan->prove, q->plan->prove_n) &&
               pending(q, q->plan->prove, q->plan->prove_n) >= 0;
}
static void make_prove(const struct question *q, struct step *s)
{
        approach(q, s, pending(q, q->plan->prove, q->plan->prove_n), PURPOSE_PLACE, 0);
}
static bool place_needs_judging(const struct question *q) { return has_work(q) && !place_is_settled(q); }
static void make_judge(const struct question *q, struct step *s)
{
        (void)q;
        do_step(s, STEP_JUDGE_PLACE, PURPOSE_PLACE, 0);
}

/* ---- calibration ---- */
static bool rescue_waits(const struct question *q)
{
        return evidence_rescue_waits(q->e, q->plan) && calibration_is_possible(q->e, q->plan);
}
static bool calibration_is_wanted(const struct question *q) { return !q->e->in_force && (has_work(q) || rescue_waits(q)); }
static bool try_goes_on(const struct question *q)
{
        return q->e->calibration && q->e->calibration_state == CALIBRATION_UNKNOWN &&
               !is_hopeless(q, q->plan->calibrate, q->plan->calibrate_n);
}
static bool verification_goes_on(const struct question *q)
{
        return q->e->calibration_state == CALIBRATION_SOLVED && !is_hopeless(q, q->plan->verify, q->plan->verify_n);
}
static bool calibration_must_begin(const struct question *q)
{
        return calibration_is_wanted(q) && !try_goes_on(q) && !verification_goes_on(q);
}
static void make_begin(const struct question *q, struct step *s)
{
        if (q->plan->calibrate_n)
                approach(q, s, q->plan->calibrate[0], PURPOSE_CALIBRATE, q->e->calibration + 1);
        else
                do_step(s, STEP_SOLVE, PURPOSE_CALIBRATE, q->e->calibration + 1);
}
static bool standard_is_wanted(const struct question *q)
{
        return calibration_is_wanted(q) && try_goes_on(q) && !all_good(q, q->plan->calibrate, q->plan->calibrate_n);
}
static void make_standard(const struct question *q, struct step *s)
{
        approach(q, s, pending(q, q->plan->calibrate, q->plan->calibrate_n), PURPOSE_CALIBRATE, q->e->calibration);
}
static bool solution_is_wanted(const struct question *q) { return calibration_is_wanted(q) && try_goes_on(q); }
static void make_solve(const struct question *q, struct step *s) { do_step(s, STEP_SOLVE, PURPOSE_CALIBRATE, q->e->calibration); }
static bool verification_is_wanted(const struct question *q)
{
        return calibration_is_wanted(q) && verification_goes_on(q) && !all_good(q, q->plan->verify, q->plan->verify_n);
}
static void make_verification(const struct question *q, struct step *s)
{
        approach(q, s, pending(q, q->plan->verify, q->plan->verify_n), PURPOSE_VERIFY, q->e->calibration);
}
static bool verdict_is_wanted(const struct question *q) { return calibration_is_wanted(q) && verification_goes_on(q); }
static void make_verify(const struct question *q, struct step *s) { do_step(s, STEP_VERIFY, PURPOSE_VERIFY, q->e->calibration); }

/* ---- checks ---- */
static bool check_is_possible(const struct question *q)
{
        for (size_t i = 0; i < q->plan->check_n; i++) {
                int32_t at = q->plan->check[i];
                const struct target_seen *t = seen_of(q, at);
                bool was_tried = t->attempt > 0 || t->tries_left < round_tries(q->plan, at);
                if (!t->good && !was_tried && !evidence_can_touch(q->e, q->plan, at))
                        return false;
        }
        return q->plan->check_n > 0 && q->e->in_force;
}
static bool interval_is_touched(const struct question *q)
{
        const struct interval_seen *interval = q->e->interval ? &evidence_intervals(q->e)[q->e->interval - 1] : NULL;
        return interval && (interval->touches > 0 || interval->first_touch); /* two witnesses: one may be lost */
}
static bool opening_is_due(const struct question *q) { return check_is_possible(q) && has_work(q) && !q->e->interval; }
static bool intervention_is_open(const struct question *q)
{
        return check_is_possible(q) && q->e->interval && !q->e->undisturbed && (has_work(q) || interval_is_touched(q));
}
static bool interval_is_full(const struct question *q)
{
        return check_is_possible(q) && q->e->interval && has_work(q) && q->e->dies_left <= 0 &&
               q->e->last_die != 1 + target_of(q, q->next)->die;
}
static bool closing_is_due(const struct question *q)
{
        return check_is_possible(q) && q->e->interval && !has_work(q) && interval_is_touched(q);
}
static void make_check(const struct question *q, struct step *s)
{
        int target = pending(q, q->plan->check, q->plan->check_n);
        if (target >= 0)
                approach(q, s, target, PURPOSE_CHECK, q->e->in_force);
        else
                do_step(s, STEP_CHECK, PURPOSE_CHECK, q->e->in_force);
}

/* ---- devices ---- */
static bool has_raised_standard(const struct recipe *r)
{
        for (size_t i = 0; i < r->standard_n; i++)
                if (r->standards[i].raised)
                        return true;
        return false;
}
static bool witness_is_wanted(const struct question *q)
{
        return has_work(q) && q->e->interval && q->e->aligned[PLACE_WAFER] && q->e->at == 1 + q->next &&
               q->e->witness_die != 1 + target_of(q, q->next)->die && !q->plan->replayed && has_raised_standard(q->plan->recipe);
}
static void make_witness(const struct question *q, struct step *s)
{
        make_sweep(q, s, q->next, USE_WITNESS, 0);
        s->args.purpose = q->next_purpose;
        s->args.calibration = q->e->in_force;
}
static bool suspect_waits(const struct question *q) { return has_work(q) && q->next_purpose == PURPOSE_REMEASURE; }
static bool retouch_waits(const struct question *q)
{
        return has_work(q) && seen_of(q, q->next)->tries_left < round_tries(q->plan, q->next);
}
static void make_touch(const struct question *q, struct step *s) { approach(q, s, q->next, q->next_purpose, q->e->in_force); }

/* ---- the end ---- */
static bool is_not_parked(const struct question *q) { return !q->e->parked; }
static bool interval_stays_open(const struct question *q) { return interval_is_touched(q); }
static bool always(const struct question *q)
{
        (void)q;
        return true;
}
static void make_finish(const struct question *q, struct step *s)
{
        (void)q;
        s->kind = STEP_FINISH;
}

const struct rule rules[] = {
        {"finished", is_finished, make_wait, .reason = "the run is over", .waits = true},
        {"not_started", is_not_started, make_wait, .reason = "the run has not been started", .waits = true},
        {"step_is_open", is_step_open, make_wait, .reason = "one step is open at a time: its outcome must be known first", .waits = true},
        {"evidence_contradicts", is_contradictory, make_wait, .reason = "the evidence contradicts itself: a person must look",
         .waits = true, .needs_person = true},
        {"latched", is_latched, make_wait, .reason = "the station is latched as not proven safe: only a person who has looked may clear it",
         .waits = true, .needs_person = true},
        {"cannot_look", cannot_look, make_wait, .reason = "the station's state could not be read again and again: a person must look",
         .waits = true, .needs_person = true},
        {"look_first", has_not_looked, make_inventory, .reason = "what is not known is read back before anything moves"},
        {"make_safe", is_unsafe, make_safe, .reason = "unknown counts as in contact and biased: down the ladder to proven safe"},
        {"stuck", is_stuck, make_wait, .reason = "steps failed again and again: a person must look", .waits = true, .needs_person = true},
        {"bias_ends", bias_must_end, make_bias_off, .reason = "bias is off whenever contact changes or the condition does"},
        {"touch_ends", touch_must_end, make_separate, .reason = "nothing more is to be learnt from this touch"},
        {"read_ladder", ladder_is_in_hand, make_read, .reason = "the ladder's two resistors name the die"},
        {"bias_begins", bias_is_wanted, make_bias_on, .reason = "the next condition wants bias"},
        {"sweep", sweep_is_wanted, make_sweep_in_hand, .reason = "the next condition of this touch has no sweep yet"},
        {"park_to_stop", must_stop_and_park, make_park, .reason = "the daemon was asked to stop: separated, bias off, parked"},
        {"stopped", must_stop, make_wait, .reason = "the daemon was asked to stop", .waits = true},
        {"paused", is_paused, make_wait, .reason = "a person paused the run", .waits = true},
        {"home", has_no_reference, make_home, .reason = "the axes have lost their reference"},
        {"park_unproven", place_is_refused_and_not_parked, make_park, .reason = "the place is unproven: parked until a person looks"},
        {"place_unproven", place_is_refused, make_wait,
         .reason = "place unproven: the ladders name other dies than the map, a person must look", .waits = true, .needs_person = true},
        {"prove_place", place_needs_reading, make_prove, .reason = "no sweep counts before ladders have named the dies"},
        {"judge_place", place_needs_judging, make_judge, .reason = "the ladders have been read as far as they can be"},
        {"calibration_begins", calibration_must_begin, make_begin,
         .reason = "no verdict without an accepted calibration: the standards are swept anew"},
        {"sweep_standard", standard_is_wanted, make_standard, .reason = "the calibration wants its next standard"},
        {"solve", solution_is_wanted, make_solve, .reason = "each standard has a good sweep"},
        {"sweep_verification", verification_is_wanted, make_verification, .reason = "a calibration is proven on what it was not made from"},
        {"verify", verdict_is_wanted, make_verify, .reason = "each verification standard has a good sweep"},
        {"check_opens", opening_is_due, make_check, .reason = "an interval opens with a check that takes each copy's baseline"},
        {"check_intervention", intervention_is_open, make_check,
         .reason = "after an intervention one check closes the old interval and opens the next"},
        {"check_every_dies", interval_is_full, make_check, .reason = "the recipe's number of dies since the last check is reached"},
        {"check_closes", closing_is_due, make_check, .reason = "no wafer leaves with an open interval"},
        {"witness", witness_is_wanted, make_witness, .reason = "the raised open is swept on the way to a die: drift without wear"},
        {"remeasure", suspect_waits, make_touch, .reason = "its interval failed: the mandate lets suspects be measured once more"},
        {"retouch", retouch_waits, make_touch,
         .reason = "the contact was absent or doubtful: the mandate and the pads allow one more touch"},
        {"touch_device", has_work, make_touch, .reason = "the next device in visit order has no outcome"},
        {"park", is_not_parked, make_park, .reason = "nothing is left to do: every history ends separated, bias off"},
        {"finish_written_off", interval_stays_open, make_finish,
         .reason = "the closing check is impossible: the open interval is written off and stays open", .writes_off = true},
        {"finish", always, make_finish, .reason = "each device is measured or has a reason"},
};
const size_t rule_n = sizeof rules / sizeof rules[0];
