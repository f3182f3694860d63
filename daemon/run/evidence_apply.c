/* evidence_apply.c: the fold.  One entry in, the evidence a little wiser.
 * Idea        An intention makes uncertain what it touches (contact, bias, position) and spends; an outcome settles it by what was read
 *             back; a note is the world or a person.  The same function runs live and after a crash, so that there is one truth.
 * Parts       evidence_touch.c (the touch in hand), evidence_state.c (what is read back), evidence_settle.c (outcomes); here the door,
 *             intentions and notes.
 * Invariants  a refused entry changes nothing; structs are copied field by field, so that no padding travels; a NaN has one bit pattern;
 *             what cannot be known becomes unknown, never the old state.
 * Not here    what to do about it (rules.c).
 * Rejected    a queue of work derived at start: after a crash it exists only in lost memory. */
#include "run/evidence_own.h"
#include <string.h>

static void args_copy(struct step_args *to, const struct step_args *from)
{
        to->place = from->place;
        to->target = from->target;
        to->use = from->use;
        to->x_um = real_of(from->x_um);
        to->y_um = real_of(from->y_um);
        to->overtravel_um = real_of(from->overtravel_um);
        to->spacing_um = real_of(from->spacing_um);
        to->sweep = from->sweep;
        to->condition = from->condition;
        to->channel = from->channel;
        to->volt = real_of(from->volt);
        to->limit_a = real_of(from->limit_a);
        to->gate_channel = from->gate_channel;
        to->gate_volt = real_of(from->gate_volt);
        to->gate_limit_a = real_of(from->gate_limit_a);
        to->gate_by_current = from->gate_by_current;
        to->open_v = real_of(from->open_v);
        to->wait_s = real_of(from->wait_s);
        to->lamp = from->lamp;
        to->attempt = from->attempt;
        to->calibration = from->calibration;
        to->purpose = from->purpose;
}

/* ---- intentions ---- */
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

/* ---- notes ---- */
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
        case NOTE_RESCUE_OFFERED: /* changes no decision; known here so that it is never said twice */
                e->offered = 1;
                break;
        }
}

/* ---- the door ---- */
static enum code refuse(const struct entry *entry, const char *why, struct tp_error *err)
{
        return tp_fail(err, CODE_DAMAGED, "journal entry %llu (step %llu): %s; the run's journal does not fit its plan",
                       (unsigned long long)entry->seq, (unsigned long long)entry->step, why);
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
                if (entry->body.note.note == NOTE_RESCUE_OFFERED && e->offered)
                        return refuse(entry, "a rescue is offered twice", err);
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
