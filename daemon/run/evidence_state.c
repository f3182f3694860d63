/* evidence_state.c: part of the fold: what is read back of the station, what is lost with it, and interventions.
 * Invariants  what cannot be known becomes unknown, never the old state; a lost reference takes alignment and proof of place with it. */
#include "run/evidence_own.h"
#include <string.h>

void rounds_begin(struct evidence *e, const struct plan *plan, const int32_t *targets, size_t n)
{
        for (size_t i = 0; i < n; i++)
                round_begin(e, plan, targets[i]);
}

/* Something happened that could have changed or mended the system: the open interval must be closed by a check before anything else is
   touched. A calibration that has no interval yet cannot be checked against anything: its try is begun again, and does not count. */
void disturb(struct evidence *e, const struct plan *plan)
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

void place_again(struct evidence *e, const struct plan *plan, int32_t tries)
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

void state_forget(struct evidence *e)
{
        e->state.separated = e->state.bias_off = KNOW_UNKNOWN;
        e->state.in_contact = false;
        e->state.axes = e->state.axes == KNOW_KNOWN ? KNOW_BELIEVED : e->state.axes;
        e->inventory = 0;
        e->not_latched = 0;
}

/* Returns false when the state says nothing. */
bool state_take(struct evidence *e, const struct plan *plan, const struct state_read *s)
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

void station_is_new(struct evidence *e, const struct plan *plan, uint32_t boot)
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
void cut_when_separated(struct evidence *e, const struct plan *plan)
{
        if (e->touch && e->state.separated == KNOW_KNOWN)
                touch_end(e, plan, 2, CONTACT_UNKNOWN);
}
