/* evidence_settle.c: part of the fold: what an outcome settles: sweeps, ladders, place, calibration, checks and intervals, the end.
 * Invariants  a step that claims success without its effect counts as failed; a judgement that did not take place changes nothing. */
#include "run/evidence_own.h"
#include <string.h>

/* The daemon's own steps: these codes mean that nothing was judged, so it is judged again. */
static bool was_not_done(enum code code)
{
        return code == CODE_CANCELLED || code == CODE_BUSY || code == CODE_MEMORY || code == CODE_DISK || code == CODE_DISK_FULL ||
               code == CODE_TIMED_OUT;
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
        int32_t why = !e->may_measure                                                                                   ? WHY_FINISHED_EARLY
                      : e->place != PLACE_STATE_PROVEN && plan->recipe->proof.required                                  ? WHY_PLACE_UNPROVEN
                      : !e->in_force                                                                                    ? WHY_NO_CALIBRATION
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
        else if (kind == STEP_BIAS_ON && entry->code == CODE_BAD_REPLY)
                bias_in_compliance(e);
        else if (kind == STEP_BIAS_ON)
                e->touch_sweeps_left -= e->touch_sweeps_left > 0;
        else if (e->state.bias_off == KNOW_KNOWN ||
                 (kind == STEP_BIAS_OFF && is_ok)) /* off by command but not by reading: the ladder is next */
                e->biased = e->touch_condition = 0;
        if (kind == STEP_INVENTORY || kind == STEP_SAFE)
                e->inventory = is_ok && is_known;
        if (kind == STEP_SEPARATE && is_ok && e->state.separated == KNOW_KNOWN)
                touch_end(e, plan, 1, o->contact);
        cut_when_separated(e, plan);
        if (!is_ok || !is_known)
                return;
        if (kind == STEP_ALIGN) {
                if (e->interval && e->undisturbed)
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

void settle(struct evidence *e, const struct plan *plan, const struct entry *entry)
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
