/* act_result.c: what came back, turned into an outcome.  Contact is judged on the pool before the outcome is written, because a retouch
 * must be decided before lifting. */
#include "run/runner_own.h"
#include "wafer/proof.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define OPEN_OHM 1e6 /* above: no conducting path; the families of the recipe say whether there should be one */

static struct outcome outcome_of(const struct runner *r, const struct result *result)
{
        struct outcome o;
        memset(&o, 0, sizeof o);
        for (int i = 0; i < 3; i++)
                o.dc_ohm[i] = result ? result->dc_ohm[i] : -1;
        o.state = result ? result->state : r->e->state;
        o.station_ns = result ? result->station_ns : r->station_ns;
        o.station_boot = result ? r->welcome.boot_count : 0;
        o.temperature_c = result ? result->temperature_c : r->e->temperature_c;
        o.flags = result ? result->flags : 0;
        if (result && result->code)
                snprintf(o.reason, sizeof o.reason, "%.159s", result->text);
        return o;
}

static const struct target *target_of(const struct runner *r)
{
        int t = r->step.args.target;
        return t >= 0 && (size_t)t < r->plan->target_n ? &r->plan->targets[t] : NULL;
}

/* DC evidence at the start of a touch.  Without a meter nothing can be said yet: the sweep will. */
static int32_t dc_grade(const struct runner *r, const double dc_ohm[3], char reason[160])
{
        const struct target *t = target_of(r);
        const struct contact_plan *c = t && t->kind == TARGET_DEVICE ? &r->recipe->measures[t->item].contact : NULL;
        if (!c || dc_ohm[0] < 0)
                return CONTACT_GOOD;
        if (c->family == 1 && !(dc_ohm[0] < OPEN_OHM)) {
                snprintf(reason, 160, "no direct current between the ports (%.3g ohm)", dc_ohm[0]);
                return CONTACT_ABSENT;
        }
        if (c->family == 3 && !(dc_ohm[1] < OPEN_OHM && dc_ohm[2] < OPEN_OHM)) {
                snprintf(reason, 160, "no direct current to ground (%.3g and %.3g ohm)", dc_ohm[1], dc_ohm[2]);
                return CONTACT_ABSENT;
        }
        return CONTACT_GOOD;
}

static void read_ladder(struct runner *r, struct outcome *o)
{
        const struct target *t = target_of(r);
        struct tp_error err = {0};
        double off = 0;
        int code = -1;
        const struct die *die = t && t->die >= 0 ? &r->plan->dies[t->die] : NULL;
        o->code_want = die ? ladder_code(&r->recipe->layout, r->plan->dies, r->plan->die_n, die->x, die->y) : -1;
        o->code_seen = -1;
        if (ladder_read(&r->recipe->layout, r->plan->dies, r->plan->die_n, o->dc_ohm[1], o->dc_ohm[2], &code, &off, &err)) {
                o->contact = CONTACT_ABSENT;
                snprintf(o->reason, sizeof o->reason, "%.159s", err.text);
                return;
        }
        o->code_seen = code;
        o->worst = off;
        o->contact = off < 0.35 ? CONTACT_GOOD : CONTACT_DOUBTFUL;
        if (off >= 0.35)
                snprintf(o->reason, sizeof o->reason, "ladder reads %.2f of a step beside code %d", off, code);
}

static bool start_judge(struct runner *r, struct link_note *take)
{
        struct job *job = job_new(r->world, r->store, r->loop, JOB_JUDGE, r->run);
        const struct target *t = target_of(r);
        if (!job) {
                take->message.free(&take->message);
                return false;
        }
        struct contact_question *q = &job->question;
        job->note = take;
        job->step = r->step.id;
        job->recipe = r->recipe;
        job->hz = r->axis_hz[r->step.args.sweep];
        job->hz_n = r->axis_n[r->step.args.sweep];
        q->recipe = r->recipe;
        const struct live_calibration *live = act_calibration(r, r->e->in_force);
        q->calibration = live ? live->calibration : NULL;
        if (t && t->kind == TARGET_DEVICE && r->step.args.use == USE_DEVICE) {
                q->measure = &r->recipe->measures[t->item];
                const struct kept_raw *typical = &r->typical[t->item];
                if (typical->arena && typical->calibration == r->e->in_force && typical->sweep == (size_t)r->step.args.sweep &&
                    typical->target != r->step.args.target)
                        q->typical = &typical->raw;
        } else if (t && t->kind == TARGET_STANDARD) {
                q->standard = &r->recipe->standards[t->item];
        }
        if (r->raised.arena && r->raised.sweep == (size_t)r->step.args.sweep)
                q->raised = &r->raised.raw;
        for (int i = 0; i < 3; i++) {
                q->dc_ohm_start[i] = r->dc_start[i];
                q->dc_ohm_end[i] = r->dc_end[i] = take->result.dc_ohm[i];
        }
        r->doing = DOING_JOB;
        return runner_job(r, job);
}

void act_result(struct runner *r, struct link_note *take)
{
        const struct result *result = &take->result;
        enum code code = (enum code)result->code;
        struct outcome o = outcome_of(r, result);
        struct tp_error err = {0};
        if (r->step.kind == STEP_SWEEP && !code) {
                if (!start_judge(r, take)) {
                        tp_fail_memory(&err);
                        runner_stuck(r, &err);
                }
                return;
        }
        if (r->step.kind == STEP_LOWER && !code) {
                memcpy(r->dc_start, result->dc_ohm, sizeof r->dc_start);
                o.contact = dc_grade(r, result->dc_ohm, o.reason);
        }
        if (r->step.kind == STEP_READ_DC && !code)
                read_ladder(r, &o);
        if (code)
                log_event(r->log, LOG_WARN, "step.failed", "run=%s step=%s code=%s effect_unknown=%d msg=\"%s\"", r->run,
                          step_rows[r->step.kind].word, code_rows[code].word, result->effect_unknown, result->text);
        take->message.free(&take->message);
        journal_outcome(r, code, &o);
}

/* Provable: the touches are given back first, then the step is closed. */
static void never_begun(struct runner *r, const struct outcome *o)
{
        if (!r->step.spend_n) {
                journal_outcome(r, CODE_CANCELLED, o);
                return;
        }
        struct note n = {.note = NOTE_COMPENSATE, .of_step = r->step.id, .station_boot = r->welcome.boot_count};
        snprintf(n.why, sizeof n.why, "%.119s", o->reason);
        r->owed = *o;
        r->owes_outcome = true;
        journal_note(r, &n);
}

/* The station's word on the open step: it never saw it, or was cut off in it.  Whether it moved is in its own state. */
void act_not_done(struct runner *r, const char *did)
{
        struct outcome o = outcome_of(r, NULL);
        o.state = r->state;
        o.station_boot = r->welcome.boot_count;
        if (strcmp(did, "doing") == 0) {
                r->doing = DOING_STATION; /* its result will come */
                return;
        }
        bool same_station = r->e->station_boot == 0 || r->e->station_boot == r->welcome.boot_count;
        snprintf(o.reason, sizeof o.reason, "%s",
                 same_station ? "the station never saw this step" : "the station restarted meanwhile; what happened is unknown");
        if (same_station)
                never_begun(r, &o);
        else
                journal_outcome(r, CODE_LINK_DEAD, &o);
}

/* The station would not even begin: nothing happened. */
void act_refused(struct runner *r, const struct tp_error *why)
{
        struct outcome o = outcome_of(r, NULL);
        o.state = r->state;
        o.station_boot = r->welcome.boot_count;
        snprintf(o.reason, sizeof o.reason, "%.159s", why->text);
        if (why->code == CODE_CANCELLED) { /* it was decided before a walk of the ladder */
                r->late_walks = r->step.walks;
                never_begun(r, &o);
        } else
                journal_outcome(r, why->code ? why->code : CODE_BAD_REPLY, &o);
}

static bool fill_sweeps(struct runner *r, struct job *job, const int32_t *targets, size_t n, bool baseline, struct job_sweep **ret,
                        size_t *ret_n)
{
        *ret = arena_take(job->arena, (n + 1) * sizeof **ret);
        *ret_n = 0;
        for (size_t i = 0; *ret && i < n; i++) {
                const struct target_seen *seen = &evidence_targets(r->e)[targets[i]];
                uint64_t seq = baseline ? seen->baseline_seq : seen->sweep_seq;
                if (seq)
                        (*ret)[(*ret_n)++] = (struct job_sweep){.item = r->plan->targets[targets[i]].item, .sweep = (int64_t)seq};
        }
        return *ret != NULL;
}

static void judge_place(struct runner *r)
{
        struct outcome o = outcome_of(r, NULL);
        o.accepted = r->plan->prove_n > 0;
        for (size_t i = 0; i < r->plan->prove_n; i++) {
                const struct target *t = &r->plan->targets[r->plan->prove[i]];
                const struct target_seen *seen = &evidence_targets(r->e)[r->plan->prove[i]];
                if (seen->code_seen == seen->code_want && seen->good)
                        continue;
                o.accepted = false;
                o.code_seen = seen->code_seen;
                o.code_want = seen->code_want;
                if (t->die >= 0)
                        snprintf(o.reason, sizeof o.reason, "die %d,%d: ladder reads code %d, the layout says %d", r->plan->dies[t->die].x,
                                 r->plan->dies[t->die].y, seen->code_seen, seen->code_want);
        }
        journal_outcome(r, CODE_OK, &o);
}

void act_daemon_step(struct runner *r)
{
        const struct plan *p = r->plan;
        struct tp_error err = {0};
        if (r->step.kind == STEP_JUDGE_PLACE) {
                judge_place(r);
                return;
        }
        if (r->step.kind == STEP_FINISH) {
                struct outcome o = outcome_of(r, NULL);
                o.accepted = true;
                journal_outcome(r, CODE_OK, &o);
                return;
        }
        enum job_kind kind = r->step.kind == STEP_SOLVE ? JOB_SOLVE : r->step.kind == STEP_VERIFY ? JOB_VERIFY : JOB_CHECK;
        struct job *job = job_new(r->world, r->store, r->loop, kind, r->run);
        size_t sweep = (size_t)(recipe_sweep(r->recipe, r->recipe->calibration.sweep) - r->recipe->sweeps);
        bool ok = job != NULL;
        if (ok) {
                job->step = r->step.id;
                job->recipe = r->recipe;
                job->hz = r->axis_hz[sweep];
                job->hz_n = r->axis_n[sweep];
                const struct live_calibration *live = act_calibration(r, kind == JOB_CHECK ? r->e->in_force : r->step.args.calibration);
                job->calibration = live ? live->calibration : NULL;
                if (kind == JOB_SOLVE)
                        ok = fill_sweeps(r, job, p->calibrate, p->calibrate_n, false, &job->sweeps, &job->sweep_n);
                else if (kind == JOB_VERIFY)
                        ok = fill_sweeps(r, job, p->verify, p->verify_n, false, &job->sweeps, &job->sweep_n);
                else
                        ok = fill_sweeps(r, job, p->check, p->check_n, false, &job->sweeps, &job->sweep_n) &&
                             fill_sweeps(r, job, p->check, p->check_n, true, &job->baseline, &job->baseline_n);
        }
        if (ok && kind != JOB_SOLVE && !job->calibration) {
                struct outcome o = outcome_of(r, NULL);
                snprintf(o.reason, sizeof o.reason, "calibration %d is not in memory; it is solved again", r->step.args.calibration);
                job_free(job);
                journal_outcome(r, CODE_BUSY, &o); /* not judged: asked again */
                return;
        }
        r->doing = DOING_JOB;
        if (!ok) {
                job_free(job);
                job = NULL;
        }
        if (!job || !runner_job(r, job)) {
                tp_fail_memory(&err);
                runner_stuck(r, &err);
        }
}

static void keep_raw(struct kept_raw *keep, struct job *job, int32_t calibration, int32_t target, int32_t sweep)
{
        struct arena *fresh = arena_new(0);
        if (!fresh)
                return;
        arena_free(keep->arena);
        *keep = (struct kept_raw){
                .arena = job->arena, .raw = job->raw, .calibration = calibration, .target = target, .sweep = (size_t)sweep};
        job->arena = fresh;
}

static void judged(struct runner *r, struct job *job)
{
        const struct target *t = target_of(r);
        struct outcome o = outcome_of(r, &job->note->result);
        bool raised = r->step.args.use == USE_WITNESS || (t && t->raised);
        if (job->code) { /* the analyzer's block made no sense: nothing of it is used */
                snprintf(o.reason, sizeof o.reason, "%.159s", job->err.text);
                log_event(r->log, LOG_WARN, "sweep.refused", "run=%s msg=\"%s\"", r->run, job->err.text);
                o.flags |= 4;
                journal_outcome(r, CODE_BAD_REPLY, &o);
                return;
        }
        r->contact = job->contact;
        o.contact = raised && !job->question.standard ? CONTACT_GOOD : job->contact.grade;
        snprintf(o.reason, sizeof o.reason, "%.159s", job->contact.reason);
        if (raised && o.contact == CONTACT_GOOD && r->step.args.use == USE_WITNESS)
                keep_raw(&r->raised, job, r->e->in_force, -1, r->step.args.sweep);
        else if (!raised && t && t->kind == TARGET_DEVICE && o.contact == CONTACT_GOOD)
                keep_raw(&r->typical[t->item], job, r->e->in_force, r->step.args.target, r->step.args.sweep);
        journal_outcome(r, CODE_OK, &o);
}

static void solved(struct runner *r, struct job *job)
{
        struct outcome o = outcome_of(r, NULL);
        if (job->code) {
                snprintf(o.reason, sizeof o.reason, "%.159s", job->err.text);
                log_event(r->log, LOG_WARN, "calibration.refused", "run=%s number=%d msg=\"%s\"", r->run, r->step.args.calibration,
                          job->err.text);
                snprintf(r->why_refused, sizeof r->why_refused, "%.399s", job->err.text);
        } else if (r->calibration_n < sizeof r->calibrations / sizeof r->calibrations[0]) {
                struct live_calibration *live = &r->calibrations[r->calibration_n++];
                struct arena *fresh = arena_new(0);
                *live = (struct live_calibration){.number = r->step.args.calibration, .arena = job->arena, .calibration = job->solved};
                job->arena = fresh;
                ulid_make(r->world, &r->ulids, live->id);
                o.accepted = true;
        }
        journal_outcome(r, CODE_OK, &o);
}

void act_job_done(struct runner *r, struct job *take)
{
        if (!r->active || r->doing != DOING_JOB || take->step != r->step.id) {
                job_free(take);
                return;
        }
        r->job = take; /* until the outcome is committed */
        struct outcome o = outcome_of(r, NULL);
        switch (take->kind) {
        case JOB_JUDGE:
                judged(r, take);
                return;
        case JOB_SOLVE:
                solved(r, take);
                return;
        case JOB_VERIFY:
                o.accepted = !take->code && take->accepted;
                o.worst = take->worst;
                snprintf(o.reason, sizeof o.reason, "%.159s", take->code ? take->err.text : take->sentence);
                log_event(r->log, o.accepted ? LOG_INFO : LOG_WARN, "calibration.verified",
                          "run=%s number=%d accepted=%d worst=%.4g msg=\"%s\"", r->run, r->step.args.calibration, o.accepted, o.worst,
                          take->code ? take->err.text : take->sentence);
                break;
        case JOB_CHECK:
                o.accepted = !take->code && take->check.passed;
                o.worst = take->check.worst;
                o.cause = take->code ? CAUSE_BAD_TOUCH : take->check.cause;
                memcpy(o.modes, take->check.modes, sizeof o.modes);
                o.transmission_fs = take->check.transmission_fs;
                snprintf(o.reason, sizeof o.reason, "%.159s", take->code ? take->err.text : take->check.sentence);
                log_event(r->log, o.accepted ? LOG_INFO : LOG_WARN, "check.done", "run=%s passed=%d cause=%s msg=\"%s\"", r->run,
                          o.accepted, cause_words[o.cause], o.reason);
                break;
        case JOB_EVALUATE:
        case JOB_RESCUE:
                break;
        }
        journal_outcome(r, CODE_OK, &o);
}
