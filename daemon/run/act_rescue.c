/* act_rescue.c: before a run ends, its suspects of drifted intervals are evaluated once more between two calibrations.
 * Granted     by the mandate: a second evaluation beside the first; the evidence, and so every decision, still calls them suspect.
 * Offered     else: the same, stored apart from what counts, with a note in the journal, in one transaction; a person may take it.
 * Older file  one that a build of schema 1 began has no place for a second trust: what is granted is then offered too, by its note alone.
 * Restart     it is made of what is on disk, so it is made again; an offer whose note the journal has is not. */
#include "run/runner_own.h"
#include <stdio.h>
#include <string.h>

#define EVALUATION_RESCUE 2

size_t rescue_count(const struct runner *r)
{
        size_t n = 0;
        for (size_t i = 0; i < r->plan->visit_n; i++)
                n += r->rescued[r->plan->visits[i]] != NULL;
        return n;
}

size_t rescue_offered(const struct runner *r)
{
        size_t n = 0;
        if (r->e->offered || r->e->finished || (r->rescue_asked && !r->rescuing && !r->offer)) /* it was found out */
                return r->offered_n;
        for (size_t i = 0; !r->recipe->mandate.rescue_suspects && i < r->plan->visit_n; i++) {
                const struct touch_seen *t = evidence_touch(r->e, r->plan->visits[i]);
                bool may = t && t->interval > 0 && t->trust_why == TRUST_WHY_CHECK_FAILED && trust_but_interval(r->plan, t) == TRUST_PROVEN;
                if (!may)
                        continue;
                const struct interval_seen *interval = &evidence_intervals(r->e)[t->interval - 1];
                n += interval_has_drifted(interval) && r->e->in_force > interval->calibration;
        }
        return n;
}

static bool has_drifted(const struct runner *r)
{
        for (uint32_t i = 0; i < r->e->interval_n; i++)
                if (interval_has_drifted(&evidence_intervals(r->e)[i]))
                        return true;
        return false;
}

bool rescue_goes_on(struct runner *r)
{
        if (r->rescue_asked || r->e->offered || !has_drifted(r))
                return r->rescuing;
        struct job *job = job_new(r->world, r->store, r->loop, JOB_RESCUE, r->run);
        r->rescue_asked = true;
        if (!job)
                return false;
        job->recipe = r->recipe;
        job->plan = r->plan;
        r->rescuing = runner_job(r, job);
        return r->rescuing;
}

static void take_answers(struct runner *r, const struct rescued *from)
{
        for (size_t i = 0; i < from->sweep_n; i++) {
                const struct rescued_sweep *s = &from->sweeps[i];
                if (!r->rescued[s->target])
                        r->verdict[s->target] = VERDICT_NONE;
                r->rescued[s->target] = arena_text(r->arena, s->reason);
                for (size_t k = 0; k < s->n; k++)
                        r->verdict[s->target] = verdict_worse(r->verdict[s->target], s->rows[k].verdict);
        }
}

/* The numbers wait for their note, which goes to disk before the next step. */
static void offer(struct runner *r, struct job *take)
{
        const struct rescued *of = &take->rescued;
        struct note note = {.note = NOTE_RESCUE_OFFERED};
        if (take->code || !of->device_n) {
                job_free(take);
                return;
        }
        snprintf(note.why, sizeof note.why, "%zu values of %zu of %zu suspects, corrected between two calibrations; %s", of->value_n,
                 of->device_n, of->asked_n, take->rescue_has_place ? "not granted" : "this older file has no place");
        r->offer = take;
        runner_note(r, &note);
}

void rescue_add_offer(struct runner *r, struct work *work)
{
        const struct rescued *of = r->offer ? &r->offer->rescued : NULL;
        struct fact *f = of ? work_add(work, FACT_OFFER) : NULL;
        char id[27];
        if (!f)
                return;
        ulid_make(r->world, &r->ulids, id);
        f->of.offer.id = work_text(work, "%s", id);
        f->of.offer.entry = r->pending.seq;
        f->of.offer.suspects = (int64_t)of->asked_n;
        f->of.offer.devices = (int64_t)of->device_n;
        f->of.offer.numbers = (int64_t)of->value_n;
        f->of.offer.spec_json = work_text(work, "%s", of->spec_json);
        f->of.offer.build = r->build;
        rescue_facts(work, of, EVALUATION_OFFERED, id, r->build);
        log_event(r->log, LOG_INFO, "rescue.offered", "run=%s devices=%zu values=%zu spec=%s", r->run, of->device_n, of->value_n,
                  of->spec_json);
        r->offered_n = of->device_n;
        job_free(r->offer); /* facts keep copies */
        r->offer = NULL;
}

enum code rescue_resume(struct runner *r, struct view *view, struct tp_error *err)
{
        struct offer_row row;
        bool has = false;
        enum code code = r->e->offered ? view_offer(view, r->arena, &row, &has, err) : CODE_OK;
        r->offered_n = has ? (size_t)row.devices : 0;
        return code;
}

void rescue_done(struct runner *r, struct job *take)
{
        if (!r->active || strcmp(take->run, r->run) != 0) {
                job_free(take);
                return;
        }
        r->rescuing = false;
        r->changed = r->map_changed = true;
        if (take->code)
                log_event(r->log, LOG_ERROR, "rescue.failed", "run=%s msg=\"%s\"", r->run, take->err.text);
        if (!r->recipe->mandate.rescue_suspects || (!take->code && !take->rescue_has_place)) {
                offer(r, take);
                return;
        }
        char id[27];
        struct work *work = take->code || !take->rescued.asked_n ? NULL : work_new(r->run);
        ulid_make(r->world, &r->ulids, id);
        if (work) {
                rescue_facts(work, &take->rescued, EVALUATION_RESCUE, id, r->build);
                struct fact *event = work_add(work, FACT_EVENT);
                if (event) {
                        event->of.event.topic = "values";
                        event->of.event.ref = r->run;
                        event->of.event.body =
                                work_text(work, "{\"run\":\"%s\",\"what\":\"rescued\",\"devices\":%zu}", r->run, take->rescued.device_n);
                }
                log_event(r->log, LOG_INFO, "rescue.done", "run=%s devices=%zu spec=%s", r->run, take->rescued.device_n,
                          take->rescued.spec_json);
                if (store_submit(r->store, work, LAZY))
                        take_answers(r, &take->rescued);
                else
                        work_free(work);
        }
        job_free(take);
}
