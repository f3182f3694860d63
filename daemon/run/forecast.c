/* forecast.c: the rest of the night, by the very rules that will decide it, with good outcomes.
 * Idea        decide() on copied evidence; each intention and its outcome go through evidence_apply(), so that the forecast cannot know
 *             another night.  A target's seconds are counted once per visit, when its touch (or its raised sweep) begins.
 * Not here    the spread: faults are for rehearsal. */
#include "run/forecast.h"
#include "run/decide.h"
#include <string.h>

enum { STEPS_MAX = 2000000 };

static void good_outcome(const struct evidence *e, const struct step *s, struct entry *o)
{
        struct outcome *out = &o->body.outcome;
        out->state.separated = e->touch && s->kind != STEP_SEPARATE && s->kind != STEP_SAFE ? KNOW_UNKNOWN : KNOW_KNOWN;
        out->state.in_contact = out->state.separated == KNOW_UNKNOWN;
        out->state.bias_off =
                s->kind == STEP_BIAS_ON || (e->biased && s->kind != STEP_BIAS_OFF && s->kind != STEP_SAFE) ? KNOW_UNKNOWN : KNOW_KNOWN;
        out->state.axes = s->kind == STEP_HOME ? KNOW_KNOWN : e->state.axes == KNOW_UNKNOWN ? KNOW_UNKNOWN : KNOW_KNOWN;
        out->state.place = s->args.place;
        out->contact = s->kind == STEP_LOWER || s->kind == STEP_SWEEP || s->kind == STEP_SEPARATE ? CONTACT_GOOD : CONTACT_UNKNOWN;
        out->accepted = true;
        out->cause = CAUSE_NONE;
}

static void count(const struct plan *plan, const struct step *s, struct forecast *f)
{
        const struct target *t = s->args.target >= 0 ? &plan->targets[s->args.target] : NULL;
        f->steps++;
        f->sweeps += s->kind == STEP_SWEEP;
        f->checks += s->kind == STEP_CHECK;
        bool is_visit = s->kind == STEP_LOWER || (s->kind == STEP_SWEEP && t && t->raised);
        if (s->kind == STEP_SWEEP && s->args.use == USE_WITNESS && s->args.sweep >= 0)
                f->seconds += sweep_seconds(&plan->recipe->sweeps[s->args.sweep]);
        if (s->kind == STEP_WAIT)
                f->seconds += s->args.wait_s;
        if (!is_visit || !t)
                return;
        f->seconds += t->seconds;
        f->touches += s->kind == STEP_LOWER;
        f->device_touches += s->kind == STEP_LOWER && t->kind == TARGET_DEVICE;
        f->standard_touches += s->kind == STEP_LOWER && t->kind == TARGET_STANDARD;
}

/* What is in the way only for now is lifted: a pause, a stop, an open step taken as done. */
static bool lift(struct evidence *e, const struct plan *plan, struct entry *entry, const struct step *s)
{
        memset(entry, 0, sizeof *entry);
        entry->seq = e->seq + 1;
        entry->boot_ns = e->boot_ns;
        if (!e->hands_free) {
                struct step open = {.kind = (enum step_kind)e->open_kind, .args = e->open_args};
                entry->phase = PHASE_OUTCOME;
                entry->kind = open.kind;
                entry->step = e->open_step;
                good_outcome(e, &open, entry);
        } else {
                entry->phase = PHASE_NOTE;
                entry->body.note.note = !e->started ? NOTE_RUN_STARTED : !e->may_stay ? NOTE_BOOT : !e->may_go ? NOTE_RESUME : NOTE_NONE;
                if (entry->body.note.note == NOTE_NONE || rules[s->rule].needs_person)
                        return false;
        }
        return evidence_apply(e, plan, entry, NULL) == CODE_OK;
}

static bool play(struct evidence *e, const struct plan *plan, const struct step *s, struct entry *entry)
{
        memset(entry, 0, sizeof *entry);
        entry->seq = e->seq + 1;
        entry->step = e->seq + 1;
        entry->phase = PHASE_INTEND;
        entry->kind = s->kind;
        entry->rule = s->rule;
        entry->boot_ns = e->boot_ns;
        entry->body.args = s->args;
        if (evidence_apply(e, plan, entry, NULL))
                return false;
        uint64_t step = entry->step;
        memset(&entry->body, 0, sizeof entry->body);
        entry->seq++;
        entry->step = step;
        entry->phase = PHASE_OUTCOME;
        good_outcome(e, s, entry);
        return evidence_apply(e, plan, entry, NULL) == CODE_OK;
}

void forecast_run(const struct plan *plan, const struct evidence *now, struct evidence *scratch, struct forecast *ret)
{
        struct entry entry;
        memset(ret, 0, sizeof *ret);
        memcpy(scratch, now, now->bytes);
        for (int i = 0; i < STEPS_MAX; i++) {
                struct step s = decide(plan, scratch, scratch->boot_ns);
                if (scratch->finished) {
                        ret->ends = true;
                        return;
                }
                if (rules[s.rule].waits) {
                        if (lift(scratch, plan, &entry, &s))
                                continue;
                        ret->waits_for = rules[s.rule].reason;
                        return;
                }
                count(plan, &s, ret);
                if (!play(scratch, plan, &s, &entry))
                        return;
        }
}
