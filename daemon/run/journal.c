/* journal.c: entries with everything that belongs to them, one transaction each.
 * The pending entry is applied to a copy of the evidence first, so that the trust rows and intervals it causes travel in the same
 * transaction; when the store says that it is on disk, the copy becomes the evidence.  Memory never runs ahead of the disk. */
#include "recipe/calibration_problem.h"
#include "run/runner_own.h"
#include "station/roles.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct work *journal_work(struct runner *r)
{
        struct work *work = work_new(r->run);
        if (!work)
                return NULL;
        work->answer = r->loop;
        work->cookie = ++r->cookie;
        return work;
}

bool journal_submit(struct runner *r, struct work *take, enum doing next)
{
        struct tp_error err = {0};
        if (take && store_submit(r->store, take, DURABLE)) {
                r->doing = next;
                r->asked_ns = world_boot_ns(r->world);
                return true;
        }
        work_free(take);
        tp_fail(&err, CODE_BUSY, "the store took no more work; the run stops here and goes on after a restart of the daemon");
        runner_stuck(r, &err);
        return false;
}

static struct work *entry_work(struct runner *r, enum entry_phase phase, enum step_kind kind)
{
        struct entry *e = &r->pending;
        memset(e, 0, sizeof *e);
        e->seq = r->seq + 1;
        e->phase = phase;
        e->kind = kind;
        e->boot = r->boot;
        e->boot_ns = world_boot_ns(r->world);
        e->wall_us = world_wall_us(r->world);
        return journal_work(r);
}

/* In simulated nights: the same entry, written to JSON and read back, applied to a second evidence that nobody else touches. */
static bool shadow_agrees(struct runner *r, struct tp_error *err)
{
        struct entry again = r->pending;
        struct text body;
        memset(&again.body, 0, sizeof again.body);
        text_init(&body, 0);
        entry_body_write(&r->pending, &body);
        enum code code = entry_body_read(&again, text_of(&body), body.n, err);
        text_done(&body);
        if (!code)
                code = evidence_apply(r->shadow, r->plan, &again, err);
        if (!code && memcmp(r->shadow, r->next, r->next->bytes) != 0)
                code = tp_fail(err, CODE_BUG, "evidence and its shadow differ after entry %llu (%s)", (unsigned long long)r->pending.seq,
                               step_words[r->pending.kind]);
        return code == CODE_OK;
}

/* Applies the pending entry to the copy and adds what follows from it. */
static bool apply_pending(struct runner *r, struct work *work)
{
        struct tp_error err = {0};
        struct fact *f = work ? work_add(work, FACT_ENTRY) : NULL;
        if (!f) {
                work_free(work);
                tp_fail_memory(&err);
                runner_stuck(r, &err);
                return false;
        }
        f->of.entry = r->pending;
        memcpy(r->next, r->e, r->e->bytes);
        if (evidence_apply(r->next, r->plan, &r->pending, &err)) {
                work_free(work);
                tp_where(&err, "journal entry %llu (%s)", (unsigned long long)r->pending.seq, step_words[r->pending.kind]);
                runner_stuck(r, &err);
                return false;
        }
        if (r->shadow && !shadow_agrees(r, &err)) {
                work_free(work);
                runner_stuck(r, &err);
                return false;
        }
        r->seq = r->pending.seq;
        return true;
}

static void add_intervals(struct runner *r, struct work *work, int64_t check)
{
        const struct interval_seen *before = evidence_intervals(r->e), *after = evidence_intervals(r->next);
        for (uint32_t i = 0; i < r->next->interval_n; i++) {
                bool was = i < r->e->interval_n;
                if (!was || before[i].opened_seq != after[i].opened_seq) {
                        const struct live_calibration *cal = act_calibration(r, after[i].calibration);
                        struct fact *f = work_add(work, FACT_INTERVAL_OPEN);
                        if (f) {
                                f->of.interval_open.id = (int64_t)i + 1;
                                f->of.interval_open.calibration = cal ? cal->id : "";
                                f->of.interval_open.opened = after[i].opened_seq;
                                f->of.interval_open.opening_check = check;
                        }
                }
                if (after[i].closed_seq && !(was && before[i].closed_seq)) {
                        struct fact *f = work_add(work, FACT_INTERVAL_CLOSE);
                        if (f) {
                                f->of.interval_close.id = (int64_t)i + 1;
                                f->of.interval_close.closed = after[i].closed_seq;
                                f->of.interval_close.closing_check = check;
                                f->of.interval_close.ended_by = interval_end_words[after[i].ended_by];
                        }
                }
        }
}

static void add_trust(struct runner *r, struct work *work)
{
        struct trust_row row;
        for (size_t at = 0; trust_next(r->next, r->pending.seq, &at, &row);) {
                struct fact *f = work_add(work, FACT_TRUST);
                if (f) {
                        f->of.trust.touchdown = (int64_t)row.touchdown;
                        f->of.trust.entry = r->pending.seq;
                        f->of.trust.trust = trust_words[row.trust];
                        f->of.trust.reason = trust_why_words[row.why];
                }
        }
}

static void add_touchdown(struct runner *r, struct work *work)
{
        const struct target *t = &r->plan->targets[r->step.args.target];
        const char **things = arena_take(work->arena, STEP_SPENDS * sizeof *things);
        int *ports = arena_take(work->arena, STEP_SPENDS * sizeof *ports);
        struct touch_seen none = {0};
        const struct touch_seen *last = evidence_touch(r->e, r->step.args.target);
        if (!last)
                last = &none;
        const char *place = place_words[t->place];
        for (int i = 0; things && i < t->thing_n; i++) {
                const struct plan_thing *thing = &r->plan->things[t->things[i]];
                things[i] = work_text(work, "%s/%s/%s", thing->kind, thing->serial, thing->part);
                ports[i] = 0;
        }
        struct fact *f = work_add(work, FACT_TOUCHDOWN);
        if (!f || !things || !ports)
                return;
        f->of.touchdown.id = (int64_t)r->pending.seq;
        f->of.touchdown.device = t->kind == TARGET_DEVICE ? r->step.args.target + 1 : 0;
        f->of.touchdown.place = place;
        f->of.touchdown.replaces = r->step.args.attempt > 1 || r->step.args.purpose == PURPOSE_REMEASURE ? (int64_t)last->seq : 0;
        f->of.touchdown.x_um = t->x_um;
        f->of.touchdown.y_um = t->y_um;
        f->of.touchdown.z_um = -r->step.args.overtravel_um;
        f->of.touchdown.overtravel_um = r->step.args.overtravel_um;
        f->of.touchdown.attempt = r->step.args.attempt;
        f->of.touchdown.things = things;
        f->of.touchdown.ports = ports;
        f->of.touchdown.thing_n = (size_t)t->thing_n;
}

static void add_ledger(struct runner *r, struct work *work, const struct step *step, int sign, const char *why)
{
        for (uint8_t i = 0; i < step->spend_n; i++) {
                const struct plan_thing *thing = &r->plan->things[step->spend[i].thing];
                struct fact *f = work_add(work, FACT_LEDGER);
                if (!f)
                        return;
                f->of.ledger.kind = thing->kind;
                f->of.ledger.serial = thing->serial;
                f->of.ledger.part = thing->part;
                f->of.ledger.seq = r->pending.seq;
                f->of.ledger.touches = sign * (int32_t)step->spend[i].touches;
                f->of.ledger.why = why;
        }
}

void journal_intend(struct runner *r)
{
        struct work *work = entry_work(r, PHASE_INTEND, r->step.kind);
        r->step.id = (uint64_t)r->number << 32 | (uint32_t)r->pending.seq;
        r->pending.step = r->step.id;
        r->pending.rule = r->step.rule;
        r->pending.body.args = r->step.args;
        if (!apply_pending(r, work))
                return;
        if (r->step.kind == STEP_LOWER)
                add_touchdown(r, work);
        add_ledger(r, work, &r->step, +1, rules[r->step.rule].name);
        journal_submit(r, work, DOING_INTENT);
}

/* What was not read is null: JSON has no NaN. */
static const char *number_or_null(struct work *work, double d) { return isfinite(d) ? work_text(work, "%.17g", d) : "null"; }

/* ,"analyzer":{…}: only what the analyzer told; "" when nothing. */
static const char *settings_text(struct work *work, const struct analyzer_settings *s)
{
        const struct {
                bool has;
                const char *key;
                const double *is;
        } rows[] = {{s->has_attenuator, "attenuator_db", s->attenuator_db},
                    {s->has_power, "power_dbm", s->power_dbm},
                    {s->has_ifbw, "ifbw_hz", s->ifbw_hz}};
        const char *list = "";
        for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
                if (rows[i].has && isfinite(rows[i].is[0]) && isfinite(rows[i].is[1]))
                        list = work_text(work, "%s%s\"%s\":[%.17g,%.17g]", list, *list ? "," : "", rows[i].key, rows[i].is[0],
                                         rows[i].is[1]);
        return *list ? work_text(work, ",\"analyzer\":{%s}", list) : "";
}

static void add_sweep(struct runner *r, struct work *work, const struct outcome *outcome)
{
        const struct link_note *note = r->job ? r->job->note : NULL;
        if (!note || !note->trace_n)
                return;
        struct trace_fact *traces = arena_take(work->arena, note->trace_n * sizeof *traces);
        const double *ohm = note->result.dc_ohm;
        const char *dc = !(ohm[1] >= 0) ? "" : work_text(work, ",\"dc_ohm\":[%.17g,%.17g,%.17g]", ohm[0], ohm[1], ohm[2]);
        const char *bias = work_text(work, "{\"volt\":%s,\"ampere\":%s%s%s}", number_or_null(work, note->result.volt),
                                     number_or_null(work, note->result.ampere), dc, settings_text(work, &note->result.settings));
        const char *temps = work_text(work, "{\"chuck_c\":%s,\"station_ns\":%lld}", number_or_null(work, outcome->temperature_c),
                                      (long long)outcome->station_ns);
        for (size_t i = 0; traces && i < note->trace_n; i++) {
                snprintf(traces[i].name, sizeof traces[i].name, "%s", note->traces[i].name);
                traces[i].dtype = dtype_words[note->traces[i].dtype];
                traces[i].bytes = note->traces[i].bytes; /* the job keeps them until the commit */
                traces[i].byte_n = note->traces[i].byte_n;
        }
        struct fact *f = work_add(work, FACT_SWEEP);
        if (!f || !traces)
                return;
        bool raised = r->step.args.use == USE_WITNESS || (r->step.args.target >= 0 && r->plan->targets[r->step.args.target].raised);
        f->of.sweep.id = (int64_t)r->e->open_seq;
        f->of.sweep.touchdown = raised ? 0 : r->touchdown;
        f->of.sweep.use = sweep_use_words[r->step.args.use];
        f->of.sweep.condition = r->step.args.condition;
        f->of.sweep.axis = r->step.args.sweep + 1;
        f->of.sweep.bias_json = bias;
        f->of.sweep.temps_json = temps;
        f->of.sweep.flags = outcome->flags;
        f->of.sweep.traces = traces;
        f->of.sweep.trace_n = note->trace_n;
}

static void add_touchdown_done(struct runner *r, struct work *work, const char *grade)
{
        struct text t;
        text_init(&t, 0);
        struct json_out o = json_to(&t);
        json_open(&o, NULL, '{');
        json_open(&o, "dc_ohm_start", '[');
        for (int i = 0; i < 3; i++)
                json_real(&o, NULL, r->dc_start[i]);
        json_close(&o, ']');
        json_open(&o, "dc_ohm_end", '[');
        for (int i = 0; i < 3; i++)
                json_real(&o, NULL, r->dc_end[i]);
        json_close(&o, ']');
        json_real(&o, "dc_share", r->contact.dc_share);
        json_real(&o, "raised_distance", r->contact.raised_distance);
        json_real(&o, "symmetry", r->contact.symmetry);
        json_real(&o, "ripple", r->contact.ripple);
        json_int(&o, "station_ns", r->station_ns);
        json_text(&o, "reason", r->contact.reason);
        json_close(&o, '}');
        const char *evidence = work_text(work, "%s", text_of(&t));
        text_done(&t);
        struct fact *f = r->touchdown ? work_add(work, FACT_TOUCHDOWN_DONE) : NULL;
        if (!f)
                return;
        f->of.touchdown_done.id = r->touchdown;
        f->of.touchdown_done.outcome = grade;
        f->of.touchdown_done.evidence_json = evidence;
}

/* The touch in hand has ended by something else than its own separation: the station fell, or made itself safe. */
static bool touch_was_cut(const struct runner *r) { return r->touchdown && r->e->touch && !r->next->touch; }

static void add_calibration(struct runner *r, struct work *work)
{
        const struct job *job = r->job;
        const struct live_calibration *live = act_calibration(r, r->step.args.calibration);
        const struct calibration_plan *cp = &r->recipe->calibration;
        struct text t;
        text_init(&t, 0);
        if (live)
                calibration_domain_json(live->calibration, &t);
        const char *domain = work_text(work, "%s", text_of(&t));
        text_done(&t);
        struct fact *f = live ? work_add(work, FACT_CALIBRATION) : NULL;
        if (!f)
                return;
        f->of.calibration.id = live->id;
        f->of.calibration.number = live->number;
        f->of.calibration.method = calibration_plan_word(cp);
        f->of.calibration.plane = calibration_plane(live->calibration);
        f->of.calibration.domain_json = domain;
        f->of.calibration.state = "proposed";
        f->of.calibration.z_ref_ohm = calibration_z_ref(live->calibration);
        f->of.calibration.axis = recipe_sweep(r->recipe, cp->sweep) - r->recipe->sweeps + 1;
        f->of.calibration.terms = text_of(&job->terms);
        f->of.calibration.term_bytes = job->terms.n;
        f->of.calibration.diagnosis_json = text_of(&job->diagnosis);
        f->of.calibration.solved_seq = r->e->open_seq;
        struct calibration_standard *rows = arena_take(work->arena, (job->sweep_n + 1) * sizeof *rows);
        for (size_t i = 0; rows && i < job->sweep_n; i++) {
                const struct standard *s = &r->recipe->standards[job->sweeps[i].item];
                snprintf(rows[i].standard, sizeof rows[i].standard, "%s", s->name);
                snprintf(rows[i].copy, sizeof rows[i].copy, "%s/%s", r->recipe->setup.substrate, s->copy);
                snprintf(rows[i].model_json, sizeof rows[i].model_json,
                         "{\"c_f\":[%.9g,%.9g,%.9g,%.9g],\"l_h\":[%.9g,%.9g,%.9g,%.9g],\"r_ohm\":%.9g,\"delay_s\":%.9g,\"length_um\":%.9g}",
                         s->model.c_f[0], s->model.c_f[1], s->model.c_f[2], s->model.c_f[3], s->model.l_h[0], s->model.l_h[1],
                         s->model.l_h[2], s->model.l_h[3], s->model.r_ohm, s->model.delay_s, s->model.length_um);
                rows[i].sweep = job->sweeps[i].sweep;
        }
        f->of.calibration.standards = rows;
        f->of.calibration.standard_n = rows ? job->sweep_n : 0;
}

static void add_check(struct runner *r, struct work *work, const struct outcome *o)
{
        const struct live_calibration *live = act_calibration(r, r->e->in_force);
        struct text t;
        text_init(&t, 0);
        struct json_out out = json_to(&t);
        json_open(&out, NULL, '{');
        for (int p = 0; p < 2; p++) {
                json_open(&out, p ? "port2" : "port1", '{');
                json_real(&out, "delay_fs", o->modes[p].delay_fs);
                json_real(&out, "loss_db", o->modes[p].loss_db);
                json_real(&out, "contact_ohm", o->modes[p].contact_ohm);
                json_real(&out, "contact_h", o->modes[p].contact_h);
                json_real(&out, "position_um", o->modes[p].position_um);
                json_real(&out, "delay_u_fs", o->modes[p].delay_u_fs);
                json_real(&out, "loss_u_db", o->modes[p].loss_u_db);
                json_close(&out, '}');
        }
        json_real(&out, "transmission_fs", o->transmission_fs);
        json_real(&out, "worst_share", o->worst);
        json_text(&out, "sentence", o->reason);
        json_close(&out, '}');
        const char *modes = work_text(work, "%s", text_of(&t));
        text_done(&t);
        struct fact *f = work_add(work, FACT_CHECK);
        if (!f)
                return;
        f->of.check.id = (int64_t)r->e->open_seq;
        f->of.check.calibration = live ? live->id : "";
        f->of.check.ended = r->pending.seq;
        f->of.check.passed = o->accepted;
        f->of.check.cause = cause_words[o->cause];
        f->of.check.modes_json = modes;
}

void journal_outcome(struct runner *r, enum code code, const struct outcome *outcome)
{
        struct work *work = entry_work(r, PHASE_OUTCOME, r->step.kind);
        int64_t check = 0;
        bool told = false; /* how the touch ended */
        r->pending.step = r->step.id;
        r->pending.rule = r->step.rule;
        r->pending.code = code;
        r->pending.body.outcome = *outcome;
        if (!apply_pending(r, work))
                return;
        switch (r->step.kind) {
        case STEP_SWEEP:
                if (!code)
                        add_sweep(r, work, outcome);
                break;
        case STEP_SEPARATE:
        case STEP_SAFE:
        case STEP_PARK:
                if (!code && r->touchdown) {
                        add_touchdown_done(r, work, r->e->touch_grade ? contact_words[r->e->touch_grade] : "unknown");
                        told = true;
                }
                break;
        case STEP_LOWER:
                if (code) {
                        add_touchdown_done(r, work, code == CODE_CANCELLED ? "not done" : "interrupted");
                        told = true;
                }
                break;
        case STEP_SOLVE:
                if (!code && outcome->accepted)
                        add_calibration(r, work);
                break;
        case STEP_VERIFY: {
                const struct live_calibration *live = act_calibration(r, r->step.args.calibration);
                struct fact *f = live && !code ? work_add(work, FACT_CALIBRATION_STATE) : NULL;
                if (f) {
                        f->of.calibration_state.id = live->id;
                        f->of.calibration_state.state = outcome->accepted ? "accepted" : "refused";
                }
                break;
        }
        case STEP_CHECK:
                if (!code) {
                        add_check(r, work, outcome);
                        check = (int64_t)r->e->open_seq;
                }
                break;
        default:
                break;
        }
        if (!told && touch_was_cut(r))
                add_touchdown_done(r, work, "interrupted");
        add_intervals(r, work, check);
        value_check_seen(r, r->e, r->next, &r->pending);
        add_trust(r, work);
        struct fact *event = work_add(work, FACT_EVENT);
        if (event) {
                event->of.event.topic = r->step.kind == STEP_CHECK ? "check" : "map";
                event->of.event.ref = r->run;
                event->of.event.body = work_text(work, "{\"run\":\"%s\",\"what\":\"%s\",\"seq\":%llu}", r->run, step_words[r->step.kind],
                                                 (unsigned long long)r->pending.seq);
        }
        journal_submit(r, work, DOING_OUTCOME);
}

void journal_note(struct runner *r, const struct note *note)
{
        struct work *work = entry_work(r, PHASE_NOTE, STEP_NONE);
        r->pending.body.note = *note;
        if (!apply_pending(r, work))
                return;
        if (note->note == NOTE_COMPENSATE && note->of_step == r->step.id)
                add_ledger(r, work, &r->step, -1, "the station never moved");
        if (touch_was_cut(r))
                add_touchdown_done(r, work, note->note == NOTE_COMPENSATE ? "not done" : "interrupted");
        if (note->note == NOTE_RESCUE_OFFERED)
                rescue_add_offer(r, work);
        add_intervals(r, work, 0);
        add_trust(r, work);
        struct fact *event = work_add(work, FACT_EVENT);
        if (event) {
                event->of.event.topic = "note";
                event->of.event.ref = r->run;
                event->of.event.body = work_text(work, "{\"run\":\"%s\",\"what\":\"%s\",\"seq\":%llu}", r->run, note_words[note->note],
                                                 (unsigned long long)r->pending.seq);
        }
        journal_submit(r, work, DOING_NOTE);
}
