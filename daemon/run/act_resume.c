/* act_resume.c: takes a run over after a restart.  The plan is made again from what was stored with the run, the journal is folded,
   calibrations are read back; ledger rows whose intention never reached the journal are given back; an open step is asked for, never
   repeated. */
#include "run/runner_own.h"
#include "run/plan_stored.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What the runner remembers besides the evidence, from the same entries. */
static void remember(struct runner *r, const struct entry *intent, const struct entry *e)
{
        const struct step_args *a = &intent->body.args;
        if (e->phase != PHASE_OUTCOME || e->code || a->target < 0 || (size_t)a->target >= r->plan->target_n)
                return;
        if (e->kind == STEP_LOWER) /* the touch may still be in hand */
                memcpy(r->dc_start, e->body.outcome.dc_ohm, sizeof r->dc_start);
        if (e->kind == STEP_SWEEP && a->use == USE_DEVICE && a->condition >= 0 && a->condition < CONDITIONS_MAX)
                r->device_sweep[a->target][a->condition] = (int64_t)intent->seq;
}

/* The sweeps that a touch's contact is held against: the last raised open, and of each device the last one in good contact (judged()). */
struct last_good {
        int64_t sweep;
        int32_t calibration, target, plan_sweep;
};
static void see_good(const struct runner *r, const struct entry *intent, const struct entry *e, int32_t in_force, struct last_good *raised,
                     struct last_good *typical)
{
        const struct step_args *a = &intent->body.args;
        if (e->phase != PHASE_OUTCOME || e->kind != STEP_SWEEP || e->code || e->body.outcome.contact != CONTACT_GOOD)
                return;
        const struct target *t = a->target >= 0 && (size_t)a->target < r->plan->target_n ? &r->plan->targets[a->target] : NULL;
        if (a->use == USE_WITNESS)
                *raised = (struct last_good){(int64_t)intent->seq, in_force, -1, a->sweep};
        else if (t && !t->raised && t->kind == TARGET_DEVICE)
                typical[t->item] = (struct last_good){(int64_t)intent->seq, in_force, a->target, a->sweep};
}

static enum code keep_again(const struct runner *r, struct view *view, const struct last_good *of, struct kept_raw *ret,
                            struct tp_error *err)
{
        if (!of->sweep || of->plan_sweep < 0 || (size_t)of->plan_sweep >= r->recipe->sweep_n)
                return CODE_OK;
        *ret = (struct kept_raw){
                .arena = arena_new(0), .calibration = of->calibration, .target = of->target, .sweep = (size_t)of->plan_sweep};
        return ret->arena ? sweep_load(view, of->sweep, r->axis_hz[of->plan_sweep], r->axis_n[of->plan_sweep], ret->arena, &ret->raw, err)
                          : tp_fail_memory(err);
}

static enum code replay(struct runner *r, struct view *view, struct tp_error *err)
{
        struct entry *entries = NULL, last_intent = {0};
        size_t n = 0;
        uint64_t lowered = 0;
        struct arena *scratch = arena_new(0);
        struct last_good raised = {.sweep = 0},
                         *typical = scratch ? arena_take(scratch, (r->recipe->measure_n + 1) * sizeof *typical) : NULL;
        enum code code = typical ? view_entries(view, 0, 0, scratch, &entries, &n, err) : tp_fail_memory(err);
        memset(&r->contact, 0, sizeof r->contact);
        for (int i = 0; i < 3; i++)
                r->dc_start[i] = r->dc_end[i] = -1;
        for (size_t i = 0; !code && i < n; i++) {
                memcpy(r->next, r->e, r->e->bytes);
                code = evidence_apply(r->e, r->plan, &entries[i], err);
                if (!code)
                        value_check_seen(r, r->next, r->e, &entries[i]);
                if (entries[i].phase == PHASE_INTEND) {
                        last_intent = entries[i];
                        if (entries[i].kind == STEP_LOWER)
                                lowered = entries[i].seq;
                }
                remember(r, &last_intent, &entries[i]);
                see_good(r, &last_intent, &entries[i], r->next->in_force, &raised, typical);
                r->seq = entries[i].seq;
                if (entries[i].boot > r->boot)
                        r->boot = entries[i].boot;
                if (entries[i].phase == PHASE_OUTCOME && entries[i].body.outcome.station_ns && !r->begun_station_ns)
                        r->begun_station_ns = entries[i].body.outcome.station_ns;
        }
        r->touchdown = r->e->touch ? (int64_t)lowered : 0;
        if (!code)
                code = keep_again(r, view, &raised, &r->raised, err);
        for (size_t i = 0; i < r->recipe->measure_n && !code; i++)
                code = keep_again(r, view, &typical[i], &r->typical[i], err);
        arena_free(scratch);
        return code;
}

static enum code load_calibrations(struct runner *r, struct view *view, struct tp_error *err)
{
        struct calibration_row *rows = NULL;
        size_t n = 0;
        struct arena *scratch = arena_new(0);
        enum code code = scratch ? view_calibrations(view, scratch, &rows, &n, err) : tp_fail_memory(err);
        for (size_t i = 0; !code && i < n && r->calibration_n < sizeof r->calibrations / sizeof r->calibrations[0]; i++) {
                struct live_calibration *live = &r->calibrations[r->calibration_n];
                *live = (struct live_calibration){.number = (int32_t)rows[i].number, .arena = arena_new(0)};
                snprintf(live->id, sizeof live->id, "%s", rows[i].id);
                code = live->arena ? calibration_read(rows[i].terms, rows[i].term_bytes, live->arena, &live->calibration, err)
                                   : tp_fail_memory(err);
                r->calibration_n++;
        }
        arena_free(scratch);
        return code;
}

static enum code take_over(struct runner *r, struct view *view, struct tp_error *err)
{
        const char *plan_json = NULL;
        struct run_row row;
        enum code code = view_run(view, r->run, r->arena, &row, err);
        if (!code)
                code = view_plan(view, r->arena, &plan_json, &r->recipe_text, &r->recipe_n, err);
        if (code)
                return code;
        snprintf(r->wafer, sizeof r->wafer, "%s", row.wafer);
        snprintf(r->lot, sizeof r->lot, "%s", row.lot);
        code = recipe_read(r->recipe_text, r->recipe_n, r->arena, &r->recipe, err);
        if (!code)
                code = plan_again(r->recipe, r->wafer, plan_json, r->arena, &r->plan, err);
        if (!code)
                code = act_make_room(r, err);
        if (!code)
                code = replay(r, view, err);
        if (!code)
                code = load_calibrations(r, view, err);
        return code ? code : rescue_resume(r, view, err);
}

/* Ledger rows whose intention never reached the journal: the touch was counted, the motion is impossible by order, so it is given back. */
static enum code compensate(struct runner *r, struct work *work, struct tp_error *err)
{
        struct orphan *orphans = NULL;
        size_t n = 0;
        uint64_t next = 0;
        enum code code = store_reconcile_list(r->store, r->run, work->arena, &orphans, &n, &next, err);
        if (!code && next)
                r->seq = next - 1;
        for (size_t i = 0; !code && i < n; i++) {
                struct note note = {.note = NOTE_COMPENSATE, .of_step = (uint64_t)r->number << 32 | (uint32_t)orphans[i].seq};
                bool fresh = i == 0 || orphans[i].seq != orphans[i - 1].seq;
                snprintf(note.why, sizeof note.why, "counted, but never written down as an intention");
                if (fresh) {
                        act_pending_note(r, &note);
                        code = evidence_apply(r->e, r->plan, &r->pending, err);
                        struct fact *entry = code ? NULL : work_add(work, FACT_ENTRY);
                        if (entry)
                                entry->of.entry = r->pending;
                        r->seq = r->pending.seq;
                }
                struct fact *f = code ? NULL : work_add(work, FACT_LEDGER);
                if (f) {
                        f->of.ledger.kind = orphans[i].kind;
                        f->of.ledger.serial = orphans[i].serial;
                        f->of.ledger.part = orphans[i].part;
                        f->of.ledger.seq = r->pending.seq;
                        f->of.ledger.touches = -orphans[i].touches;
                        f->of.ledger.why = "never written down as an intention";
                }
        }
        return code;
}

static enum code announce(struct runner *r, struct tp_error *err)
{
        struct note note = {.note = NOTE_BOOT};
        struct work *work = journal_work(r);
        if (!work)
                return tp_fail_memory(err);
        r->boot++;
        act_add_boot(r, work);
        enum code code = compensate(r, work, err);
        if (!code) {
                snprintf(note.why, sizeof note.why, "a daemon of build %.60s took the run over", r->build);
                act_pending_note(r, &note);
                memcpy(r->next, r->e, r->e->bytes);
                code = evidence_apply(r->next, r->plan, &r->pending, err);
                if (r->shadow)
                        memcpy(r->shadow, r->next, r->next->bytes);
        }
        struct fact *f = code ? NULL : work_add(work, FACT_ENTRY);
        if (!f) {
                work_free(work);
                return code ? code : tp_fail_memory(err);
        }
        f->of.entry = r->pending;
        r->seq = r->pending.seq;
        r->active = true;
        return journal_submit(r, work, DOING_NOTE) ? CODE_OK : tp_fail(err, CODE_BUSY, "the store takes no work at its start");
}

enum code runner_resume(struct runner *r, struct tp_error *err)
{
        struct run_open open[64];
        size_t n = store_runs_open(r->store, open, 64);
        if (!n)
                return CODE_OK;
        struct run_open *last = &open[(n > 64 ? 64 : n) - 1];
        snprintf(r->run, sizeof r->run, "%s", last->id);
        r->number = last->number;
        r->begun_station_ns = 0;
        r->boot = 0;
        r->arena = arena_new(0);
        struct view *view = r->arena ? view_open(r->store, r->run, world_boot_ns(r->world) + 60 * NS_PER_S, err) : NULL;
        enum code code = view ? take_over(r, view, err) : (err->code ? err->code : tp_fail_memory(err));
        view_close(view);
        if (!code)
                snprintf(r->recipe_name, sizeof r->recipe_name, "%s", r->recipe->name);
        if (!code)
                code = value_resume(r, err);
        if (!code)
                code = announce(r, err);
        if (code) {
                tp_where(err, "run %s cannot be taken over", r->run);
                log_event(r->log, LOG_ERROR, "run.resume", "run=%s msg=\"%s\"", r->run, err->text);
                act_forget(r);
                r->run[0] = 0;
                return code;
        }
        show(r, true);
        log_event(r->log, LOG_INFO, "run.resumed", "run=%s seq=%llu boot=%u open_step=%llu", r->run, (unsigned long long)r->seq, r->boot,
                  (unsigned long long)r->e->open_step);
        return CODE_OK;
}
