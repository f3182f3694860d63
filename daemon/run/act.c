/* act.c: the turn.  Decide, ask the laws, write the intention down, act, write the outcome down; one step at a time.
 * Invariants  nothing is sent before its intention is on disk; nothing is acknowledged before its outcome is; r->e changes only in
 *             journal_committed().
 * Not here    what a result means (act_result.c), how a run begins and ends (act_open.c). */
#include "run/runner_own.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct runner *runner_new(const struct runner_setup *setup, struct tp_error *err)
{
        struct runner *r = calloc(1, sizeof *r);
        if (!r) {
                tp_fail_memory(err);
                return NULL;
        }
        r->world = setup->world;
        r->log = setup->log;
        r->store = setup->store;
        r->loop = setup->loop;
        r->slot = setup->slot;
        r->wake_ns = INT64_MAX;
        snprintf(r->station_name, sizeof r->station_name, "%s", setup->station_name);
        snprintf(r->build, sizeof r->build, "%s", setup->build);
        show(r, true);
        return r;
}

void runner_free(struct runner *r)
{
        if (!r)
                return;
        act_forget(r);
        arena_free(r->can_arena);
        text_done(&r->map);
        if (r->safe_asked) { /* whoever asked gets an answer, also from a daemon that stops */
                struct tp_error err = {0};
                tp_fail(&err, CODE_CANCELLED,
                        "the daemon stopped before the station answered; run `tipplane safe`, which asks the station itself");
                r->safe_asked->done(r->safe_asked->ctx, CODE_CANCELLED, NULL, &err);
                free(r->safe_asked);
        }
        free(r);
}

void runner_link(struct runner *r, struct link *link) { r->link = link; }

bool runner_idle(const struct runner *r) { return !r->active; }

bool runner_stuck_now(const struct runner *r) { return r->doing == DOING_STUCK; }

bool runner_parked(const struct runner *r)
{
        if (!r->stop_asked)
                return false;
        if (!r->active || r->doing == DOING_STUCK || !r->link_up)
                return true;
        return r->doing == DOING_NOTHING && r->e && !r->e->may_stay && evidence_is_safe(r->e) && r->note_n == 0;
}

int64_t runner_wake_ns(const struct runner *r) { return r->wake_ns; }

/* One alarm row per cause; the store keeps only one that is not cleared. */
static void raise_alarm(struct runner *r, const char *cause, const char *action)
{
        struct work *work = work_new(NULL);
        struct fact *f = work ? work_add(work, FACT_ALARM) : NULL;
        if (f) {
                f->of.alarm.cause = work_text(work, "%s", cause);
                f->of.alarm.sentence = work_text(work, "%s", r->why_wait);
                f->of.alarm.action = work_text(work, "%s", action);
                f->of.alarm.latched = r->state.latched;
        }
        if (work && !store_submit(r->store, work, LAZY))
                work_free(work);
}

void runner_stuck(struct runner *r, const struct tp_error *err)
{
        r->doing = DOING_STUCK;
        r->needs_person = true;
        snprintf(r->why_wait, sizeof r->why_wait, "%.199s", err->text);
        log_event(r->log, LOG_ERROR, "run.stuck", "run=%s msg=\"%s\"", r->run, err->text);
        raise_alarm(r, "run.stuck", "look at the sentence, mend its cause, then restart tipplaned: the run goes on from its journal");
        /* The lease is no longer renewed (health), so the station makes itself safe. */
        if (r->link)
                link_safe(r->link, NULL);
        show(r, true);
}

void runner_note(struct runner *r, const struct note *note)
{
        if (r->note_n < NOTES_MAX)
                r->notes[r->note_n++] = *note;
        else
                log_event(r->log, LOG_ERROR, "run.notes_full", "run=%s note=%d", r->run, note->note);
}

static void wait_for(struct runner *r, const struct step *step)
{
        const struct rule *rule = &rules[step->rule];
        if (strncmp(r->why_wait, rule->reason, sizeof r->why_wait) != 0 || r->needs_person != rule->needs_person) {
                snprintf(r->why_wait, sizeof r->why_wait, "%s", rule->reason);
                log_event(r->log, rule->needs_person ? LOG_WARN : LOG_INFO, "run.waits", "run=%s rule=%s msg=\"%s\"", r->run, rule->name,
                          rule->reason);
                r->changed = true;
                if (rule->needs_person)
                        raise_alarm(r, rule->name, "the run waits for a person: see the sentence; then resume, clear, or finish early");
        }
        r->needs_person = rule->needs_person;
        r->wake_ns = step->not_before_ns ? step->not_before_ns : INT64_MAX;
}

/* An open step was found in the journal after a restart: nobody repeats it blindly. */
static bool take_open_step(struct runner *r)
{
        if (r->e->hands_free)
                return false;
        memset(&r->step, 0, sizeof r->step);
        r->step.id = r->e->open_step;
        r->step.kind = (enum step_kind)r->e->open_kind;
        r->step.rule = (uint16_t)r->e->open_rule;
        r->step.args = r->e->open_args;
        step_spends(r->plan, &r->step);
        r->fresh = false;
        act_send(r);
        return true;
}

static void act_next(struct runner *r)
{
        const char *why = NULL;
        struct step step = decide(r->plan, r->e, world_boot_ns(r->world));
        const struct step_row *row = &step_rows[step.kind];
        if (step.kind == STEP_NONE || (step.kind == STEP_WAIT && rules[step.rule].waits)) {
                wait_for(r, &step);
                return;
        }
        if (step.not_before_ns > world_boot_ns(r->world)) {
                r->wake_ns = step.not_before_ns;
                return;
        }
        if (row->by_station && !r->link_up) {
                snprintf(r->why_wait, sizeof r->why_wait, "the station does not answer; waiting for it");
                return;
        }
        if (row->by_station && r->late_walks && r->late_walks == r->walks) {
                snprintf(r->why_wait, sizeof r->why_wait, "the station goes to safety; waiting to hear how that ended");
                return;
        }
        if (step.kind == STEP_FINISH && !r->last_values) {
                r->last_values = true; /* what still waits for a dummy waits in vain, and is told so */
                value_look(r);
                value_turn(r);
        }
        if (step.kind == STEP_FINISH && value_pending(r))
                return; /* the last values come first; their message brings us back */
        if (step.kind == STEP_FINISH && rescue_goes_on(r))
                return;
        enum law law = laws_broken(r->plan, r->e, &step, &why);
        if (law != LAW_UNKNOWN) {
                struct tp_error err = {0};
                tp_fail(&err, CODE_BUG,
                        "rule %s asked for %s, which breaks the law '%s' (%s); the station is made safe and a person must look",
                        rules[step.rule].name, row->word, law_words[law], why ? why : "");
                runner_stuck(r, &err);
                return;
        }
        r->why_wait[0] = 0;
        r->needs_person = false;
        r->step = step;
        r->step.walks = r->walks; /* no note waits here: every walk heard of has been judged */
        r->steps++;
        journal_intend(r);
}

void runner_turn(struct runner *r)
{
        r->wake_ns = INT64_MAX;
        if (!r->active || r->doing != DOING_NOTHING)
                return;
        value_turn(r);
        if (r->note_n) {
                struct note note = r->notes[0];
                memmove(&r->notes[0], &r->notes[1], --r->note_n * sizeof r->notes[0]);
                journal_note(r, &note);
        } else if (r->e->finished) {
                if (!value_pending(r))
                        act_seal(r);
        } else if (!take_open_step(r)) {
                act_next(r);
        }
        show(r, false);
}

/* The intention is on disk: act.  Also after a reconnect: then the station is asked first what became of the step. */
void act_send(struct runner *r)
{
        struct tp_error err = {0};
        if (!step_rows[r->step.kind].by_station) {
                act_daemon_step(r);
                return;
        }
        r->doing = DOING_SEND;
        if (!r->link_up)
                return;
        bool fresh = r->fresh;
        enum code code = CODE_OK;
        if (fresh && !r->setup_sent) {
                code = link_setup(r->link, r->recipe, r->recipe_text, r->recipe_n, &err);
                r->setup_sent = !code;
        }
        if (!code)
                code = fresh ? link_step(r->link, &r->step, &err) : link_did(r->link, r->step.id, &err);
        if (code) {
                log_event(r->log, LOG_WARN, "link.send", "run=%s step=%llu msg=\"%s\"", r->run, (unsigned long long)r->step.id, err.text);
                r->fresh = false;
                return; /* LINK_DOWN is on its way; LINK_UP brings us back here */
        }
        r->sent_ns = world_boot_ns(r->world);
        if (fresh && r->result_ns)
                r->waited_s += (double)(r->sent_ns - r->result_ns) * 1e-9;
        r->doing = fresh ? DOING_STATION : DOING_ASK;
}

void journal_committed(struct runner *r, const struct store_done *done)
{
        if (done->code) {
                struct tp_error err = done->err;
                tp_where(&err, "entry %llu could not be written", (unsigned long long)r->pending.seq);
                runner_stuck(r, &err);
                return;
        }
        enum doing was = r->doing;
        if (was == DOING_OPEN) {
                act_opened(r);
                return;
        }
        if (was == DOING_SEAL) {
                act_sealed(r);
                return;
        }
        memcpy(r->e, r->next, r->e->bytes);
        r->doing = DOING_NOTHING;
        r->changed = true;
        if (was == DOING_NOTE && r->owes_outcome) {
                r->owes_outcome = false;
                journal_outcome(r, CODE_CANCELLED, &r->owed);
                return;
        }
        if (was == DOING_INTENT) {
                if (r->step.kind == STEP_LOWER) {
                        r->touchdown = (int64_t)r->pending.seq;
                        memset(&r->contact, 0, sizeof r->contact);
                        for (int i = 0; i < 3; i++)
                                r->dc_start[i] = r->dc_end[i] = -1;
                }
                r->fresh = true;
                act_send(r);
                return;
        }
        r->map_changed |=
                was == DOING_NOTE ||
                (was == DOING_OUTCOME && (r->step.kind == STEP_SEPARATE || r->step.kind == STEP_CHECK || r->step.kind == STEP_FINISH));
        if (was == DOING_NOTE) {
                if (!r->e->touch)
                        r->touchdown = 0;
                value_look(r);
        }
        if (was == DOING_OUTCOME) {
                if (r->link_up && step_rows[r->step.kind].by_station)
                        link_ack(r->link, r->step.id, NULL);
                int target = r->step.args.target;
                if (r->step.kind == STEP_SWEEP && !r->pending.code && target >= 0 && r->step.args.use == USE_DEVICE &&
                    r->step.args.condition < CONDITIONS_MAX) {
                        r->device_sweep[target][r->step.args.condition] = (int64_t)(r->step.id & UINT32_MAX);
                        r->valued[target] = 0; /* also when an older sweep of it has values */
                        r->rescued[target] = NULL;
                }
                if (!r->e->touch)
                        r->touchdown = 0;
                job_free(r->job);
                r->job = NULL;
                if (r->e->last_target > 0)
                        target = r->e->last_target - 1;
                if (r->step.kind == STEP_CHECK || (target >= 0 && value_is_dummy(r, target)))
                        value_look(r);
                else if (target >= 0)
                        value_die_if_ready(r, target);
        }
}

void runner_message(struct runner *r, struct message *m)
{
        if (m->kind >= LINK_UP && m->kind < STORE_DONE) {
                act_link_note(r, (struct link_note *)(void *)m);
        } else if (m->kind == STORE_DONE) {
                struct store_done *done = (struct store_done *)(void *)m;
                if (done->cookie == r->cookie && r->doing != DOING_STUCK)
                        journal_committed(r, done);
                m->free(m);
        } else if (m->kind == LOOP_JOB) {
                struct job *job = (struct job *)(void *)m;
                r->jobs_out--;
                if (job->kind == JOB_EVALUATE)
                        value_done(r, job);
                else if (job->kind == JOB_RESCUE)
                        rescue_done(r, job);
                else
                        act_job_done(r, job);
        } else if (m->kind == LOOP_COMMAND) {
                act_command(r, (struct command *)(void *)m);
        } else if (m->free) {
                m->free(m);
        }
        runner_turn(r);
}

bool runner_job(struct runner *r, struct job *take)
{
        if (!job_start(take)) {
                job_free(take);
                return false;
        }
        r->jobs_out++;
        return true;
}

void runner_drain(struct runner *r)
{
        while (r->jobs_out) {
                struct message *m = r->world->task->take(r->world, r->loop, INT64_MAX);
                if (m && m->kind == LOOP_JOB)
                        r->jobs_out--;
                if (m && m->free)
                        m->free(m);
                else
                        free(m);
        }
}

void runner_tick(struct runner *r)
{
        runner_turn(r);
        show(r, false);
}
