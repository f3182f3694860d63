/* act_open.c: how a run begins and how it ends under its seal. */
#include "run/runner_own.h"
#include "base/hash.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define VIEW_NS (INT64_C(5) * NS_PER_S)

const struct live_calibration *act_calibration(const struct runner *r, int32_t number)
{
        for (size_t i = r->calibration_n; number > 0 && i > 0; i--)
                if (r->calibrations[i - 1].number == number)
                        return &r->calibrations[i - 1];
        return NULL;
}

void act_forget(struct runner *r)
{
        for (size_t i = 0; i < r->calibration_n; i++)
                arena_free(r->calibrations[i].arena);
        for (size_t i = 0; r->typical && i < r->recipe->measure_n; i++)
                arena_free(r->typical[i].arena);
        arena_free(r->raised.arena);
        job_free(r->job);
        job_free(r->offer);
        arena_free(r->arena);
        r->calibration_n = 0;
        r->job = r->offer = NULL;
        r->offered_n = 0;
        r->arena = NULL;
        r->recipe = NULL;
        r->plan = NULL;
        r->e = r->next = r->shadow = NULL;
        r->typical = NULL;
        memset(&r->raised, 0, sizeof r->raised);
        r->note_n = 0;
        r->active = r->setup_sent = r->valuing = r->last_values = r->owes_outcome = r->rescuing = r->rescue_asked = false;
        r->doing = DOING_NOTHING;
        r->why_wait[0] = r->why_refused[0] = 0;
        r->touchdown = 0;
}

/* Everything that lives as long as the run, once recipe and plan are there. */
enum code act_make_room(struct runner *r, struct tp_error *err)
{
        size_t bytes = evidence_bytes(r->plan);
        r->e = arena_take(r->arena, bytes);
        r->next = arena_take(r->arena, bytes);
        r->typical = arena_take(r->arena, (r->recipe->measure_n + 1) * sizeof *r->typical);
        r->device_sweep = arena_take(r->arena, (r->plan->target_n + 1) * sizeof *r->device_sweep);
        r->die_due = arena_take(r->arena, r->plan->die_n + 1);
        r->verdict = arena_take(r->arena, r->plan->target_n + 1);
        r->valued = arena_take(r->arena, r->plan->target_n + 1);
        r->rescued = arena_take(r->arena, (r->plan->target_n + 1) * sizeof *r->rescued);
        r->axis_hz = arena_take(r->arena, (r->recipe->sweep_n + 1) * sizeof *r->axis_hz);
        r->axis_n = arena_take(r->arena, (r->recipe->sweep_n + 1) * sizeof *r->axis_n);
        if (!r->e || !r->next || !r->typical || !r->device_sweep || !r->die_due || !r->verdict || !r->valued || !r->rescued ||
            !r->axis_hz || !r->axis_n)
                return tp_fail_memory(err);
        evidence_init(r->e, r->plan);
        if (!(r->drift = arena_take(r->arena, (r->e->interval_room + 1) * sizeof *r->drift)))
                return tp_fail_memory(err);
        evidence_init(r->next, r->plan);
        if (r->world->virtual_time) {
                r->shadow = arena_take(r->arena, bytes);
                if (!r->shadow)
                        return tp_fail_memory(err);
                evidence_init(r->shadow, r->plan);
        }
        for (size_t i = 0; i < r->recipe->sweep_n; i++) {
                enum code code = sweep_axis(&r->recipe->sweeps[i], r->arena, &r->axis_hz[i], &r->axis_n[i], err);
                if (code)
                        return code;
        }
        return CODE_OK;
}

struct used_ctx {
        struct view *view;
};
static int32_t used_now(void *ctx, const char *kind, const char *serial, const char *part)
{
        struct used_ctx *u = ctx;
        int32_t used = 0;
        if (view_ledger_used(u->view, kind, serial, part, &used, NULL))
                return 0; /* never touched */
        return used;
}

static void plan_write(const struct runner *r, struct text *to)
{
        struct json_out o = json_to(to);
        char hex[65];
        hex_of(r->plan->digest, 32, hex);
        json_open(&o, NULL, '{');
        json_text(&o, "digest", hex);
        fields_write(&capability_object, &r->can, &o, "can");
        json_open(&o, "things", '[');
        for (size_t i = 0; i < r->plan->thing_n; i++) {
                const struct plan_thing *t = &r->plan->things[i];
                json_open(&o, NULL, '{');
                json_text(&o, "kind", t->kind);
                json_text(&o, "serial", t->serial);
                json_text(&o, "part", t->part);
                json_int(&o, "budget", t->budget);
                json_int(&o, "used", t->used);
                json_close(&o, '}');
        }
        json_close(&o, ']');
        json_open(&o, "visit_dies", '[');
        for (size_t i = 0; i < r->plan->visit_die_n; i++) {
                const struct die *d = &r->plan->dies[r->plan->visit_die[i]];
                json_open(&o, NULL, '[');
                json_int(&o, NULL, d->x);
                json_int(&o, NULL, d->y);
                json_close(&o, ']');
        }
        json_close(&o, ']');
        json_real(&o, "seconds", r->plan->seconds_total);
        json_int(&o, "touches", r->plan->touches_total);
        json_close(&o, '}');
}

static void add_document(struct work *work, const char *kind, const char *name, const char *body, size_t n, const char *by, uint8_t ret[32])
{
        sha256_of(body, n, ret);
        struct fact *f = work_add(work, FACT_DOCUMENT);
        if (!f)
                return;
        memcpy(f->of.document.sha256, ret, 32);
        f->of.document.kind = kind;
        f->of.document.name = name;
        f->of.document.body = body;
        f->of.document.by = by;
}

static void add_rows(struct runner *r, struct work *work)
{
        for (size_t i = 0; i < r->plan->thing_n; i++) {
                const struct plan_thing *t = &r->plan->things[i];
                struct fact *f = work_add(work, FACT_THING);
                if (!f)
                        return;
                f->of.thing.kind = t->kind;
                f->of.thing.serial = t->serial;
                f->of.thing.part = t->part;
                f->of.thing.budget = t->budget;
        }
        for (size_t i = 0; i < r->recipe->sweep_n; i++) {
                struct fact *f = work_add(work, FACT_AXIS);
                if (!f)
                        return;
                f->of.axis.id = (int64_t)i + 1;
                f->of.axis.hz = r->axis_hz[i];
                f->of.axis.n = r->axis_n[i];
                f->of.axis.segments =
                        work_text(work, "{\"sweep\":\"%s\",\"segments\":%zu}", r->recipe->sweeps[i].name, r->recipe->sweeps[i].segment_n);
        }
        for (size_t i = 0; i < r->plan->target_n; i++) {
                const struct target *t = &r->plan->targets[i];
                if (t->kind != TARGET_DEVICE)
                        continue;
                const char *name = r->recipe->measures[t->item].device;
                int d = layout_device(&r->recipe->layout, name);
                struct fact *f = work_add(work, FACT_DEVICE);
                if (!f)
                        return;
                f->of.device.id = (int64_t)i + 1;
                f->of.device.die_x = r->plan->dies[t->die].x;
                f->of.device.die_y = r->plan->dies[t->die].y;
                f->of.device.name = name;
                f->of.device.kind = device_kind_words[d >= 0 ? r->recipe->layout.devices[d].kind : 0];
                f->of.device.pads = d >= 0 ? r->recipe->layout.devices[d].footprint.order : "";
        }
}

void act_pending_note(struct runner *r, const struct note *note)
{
        memset(&r->pending, 0, sizeof r->pending);
        r->pending.seq = r->seq + 1;
        r->pending.phase = PHASE_NOTE;
        r->pending.boot = r->boot;
        r->pending.boot_ns = world_boot_ns(r->world);
        r->pending.wall_us = world_wall_us(r->world);
        r->pending.body.note = *note;
}

void act_add_boot(struct runner *r, struct work *work)
{
        struct fact *f = work_add(work, FACT_BOOT);
        if (!f)
                return;
        f->of.boot.id = r->boot;
        memcpy(f->of.boot.boot, store_boot(r->store), 16);
        f->of.boot.build = r->build;
}

static enum code first_work(struct runner *r, const struct command *c, struct tp_error *err)
{
        struct text layout, plan;
        struct note note = {.note = NOTE_RUN_STARTED, .has_state = true, .state = r->state, .station_boot = r->welcome.boot_count};
        uint8_t sha_recipe[32], sha_layout[32], sha_setup[32];
        text_init(&layout, 0);
        text_init(&plan, 0);
        struct json_out o = json_to(&layout);
        fields_write(&layout_object, &r->recipe->layout, &o, NULL);
        plan_write(r, &plan);
        struct work *work = journal_work(r);
        if (!work || !text_ok(&layout) || !text_ok(&plan)) {
                work_free(work);
                text_done(&layout);
                text_done(&plan);
                return tp_fail_memory(err);
        }
        snprintf(note.who, sizeof note.who, "%s", c->person);
        const struct setup *s = &r->recipe->setup;
        const char *setup =
                work_text(work,
                          "{\"name\":\"%s\",\"substrate\":\"%s\",\"spacing_um\":%.9g,\"overtravel_um\":%.9g,\"separation_um\":%.9g,"
                          "\"temperature_c\":%.9g,\"station\":\"%s\"}",
                          s->name, s->substrate, s->spacing_um, s->overtravel_um, s->separation_um, s->temperature_c, r->station_name);
        const char *layout_text = work_text(work, "%s", text_of(&layout)), *plan_text = work_text(work, "%s", text_of(&plan));
        text_done(&layout);
        text_done(&plan);
        add_document(work, "recipe", r->recipe->name, r->recipe_text, r->recipe_n, c->person, sha_recipe);
        add_document(work, "layout", r->recipe->layout.name, layout_text, strlen(layout_text), c->person, sha_layout);
        add_document(work, "setup", s->name, setup, strlen(setup), c->person, sha_setup);
        struct fact *f = work_add(work, FACT_WAFER);
        if (f) {
                f->of.wafer.id = r->wafer;
                f->of.wafer.lot = r->lot;
                f->of.wafer.scribed = r->wafer;
                memcpy(f->of.wafer.layout, sha_layout, 32);
        }
        f = work_add(work, FACT_RUN_NEW);
        if (f) {
                f->of.run_new.kind = "wafer";
                f->of.run_new.wafer = r->wafer;
                f->of.run_new.lot = r->lot;
                f->of.run_new.station = r->station_name;
                f->of.run_new.build = r->build;
                memcpy(f->of.run_new.recipe, sha_recipe, 32);
                memcpy(f->of.run_new.setup, sha_setup, 32);
                f->of.run_new.plan_json = plan_text;
                f->of.run_new.number = r->number;
        }
        act_add_boot(r, work);
        add_rows(r, work);
        f = work_add(work, FACT_EVALUATION);
        if (f) {
                f->of.evaluation.n = 1;
                f->of.evaluation.id = r->run;
                f->of.evaluation.spec_json = "{\"by\":\"recipe\"}";
                f->of.evaluation.build = r->build;
        }
        act_pending_note(r, &note);
        enum code code = evidence_apply(r->next, r->plan, &r->pending, err);
        if (r->shadow)
                memcpy(r->shadow, r->next, r->next->bytes);
        f = code ? NULL : work_add(work, FACT_ENTRY);
        if (f) {
                f->of.entry = r->pending;
                r->seq = r->pending.seq;
        }
        struct fact *audit = work_add(work, FACT_AUDIT);
        if (audit) {
                audit->of.audit.token = c->person;
                audit->of.audit.what = "run.start";
                audit->of.audit.target = r->run;
                audit->of.audit.body = work_text(work, "{\"wafer\":\"%s\",\"recipe\":\"%s\"}", r->wafer, r->recipe->name);
                audit->of.audit.result = "accepted";
        }
        if (code || !f) {
                work_free(work);
                return code ? code : tp_fail_memory(err);
        }
        r->active = true;
        return journal_submit(r, work, DOING_OPEN) ? CODE_OK
                                                   : tp_fail(err, CODE_BUSY, "the store takes no more work; try again in a minute");
}

static enum code plan_run(struct runner *r, const struct command *c, struct tp_error *err)
{
        struct document_row doc;
        struct view *view = view_open(r->store, NULL, world_boot_ns(r->world) + VIEW_NS, err);
        r->arena = arena_new(0);
        if (!view || !r->arena) {
                view_close(view);
                return view ? tp_fail_memory(err) : err->code;
        }
        struct used_ctx used = {view};
        struct ledger_view ledger = {used_now, &used};
        enum code code = view_document(view, c->recipe, r->arena, &doc, err);
        if (code == CODE_NOT_FOUND) {
                char hex[65];
                hex_of(c->recipe, 32, hex);
                tp_fail(err, code, "there is no recipe %.16s… here; PUT it first, or choose one of GET /api/v1/recipes", hex);
        }
        if (!code && strcmp(doc.kind, "recipe") != 0)
                code = tp_fail(err, CODE_BAD_INPUT, "document %.12s… is a %s, not a recipe; name a recipe", doc.sha256, doc.kind);
        if (!code) {
                r->recipe_text = doc.body;
                r->recipe_n = doc.body_n;
                code = recipe_read(doc.body, doc.body_n, r->arena, &r->recipe, err);
        }
        if (!code)
                code = plan_make(r->recipe, r->wafer, &r->can, &ledger, r->arena, &r->plan, err);
        view_close(view);
        return code ? code : act_make_room(r, err);
}

static void answer(struct command *c, enum code code, const char *json, const struct tp_error *err)
{
        if (c->done)
                c->done(c->ctx, code, json, err);
        free(c);
}

void act_start(struct runner *r, struct command *take)
{
        struct tp_error err = {0};
        enum code code = CODE_OK;
        if (r->active)
                code = tp_fail(&err, CODE_STATE, "run %s on wafer %s is in hand; wait for its end or finish it early", r->run, r->wafer);
        else if (!r->link_up)
                code = tp_fail(&err, CODE_LINK_DEAD,
                               "the station does not answer, so nothing can be planned; start tipplane-station, or look at its log");
        else if (r->stop_asked)
                code = tp_fail(&err, CODE_STATE, "the daemon is stopping; start the run after it is up again");
        if (code) {
                answer(take, code, NULL, &err);
                return;
        }
        ulid_make(r->world, &r->ulids, r->run);
        snprintf(r->wafer, sizeof r->wafer, "%s", take->wafer);
        snprintf(r->lot, sizeof r->lot, "%s", take->lot[0] ? take->lot : "none");
        r->seq = 0;
        r->boot = 1;
        r->number = store_next_number(r->store);
        r->touchdown = 0;
        r->waited_s = 0;
        r->steps = 0;
        r->result_ns = 0;
        r->begun_station_ns = r->station_ns;
        code = plan_run(r, take, &err);
        if (!code)
                code = first_work(r, take, &err);
        if (code) {
                act_forget(r);
                r->run[0] = 0;
                answer(take, code, NULL, &err);
                return;
        }
        snprintf(r->recipe_name, sizeof r->recipe_name, "%s", r->recipe->name);
        r->start_asked = take;
}

void act_opened(struct runner *r)
{
        char json[64];
        memcpy(r->e, r->next, r->e->bytes);
        r->doing = DOING_NOTHING;
        r->changed = true;
        snprintf(json, sizeof json, "{\"run\":\"%s\"}", r->run);
        log_event(r->log, LOG_INFO, "run.started", "run=%s wafer=%s recipe=%s dies=%zu touches=%lld", r->run, r->wafer, r->recipe_name,
                  r->plan->visit_die_n, (long long)r->plan->touches_total);
        if (r->start_asked)
                answer(r->start_asked, CODE_OK, json, NULL);
        r->start_asked = NULL;
}

/* Simulated nights: the whole journal, read from the file, folded once more, gives the same evidence. */
static bool fold_agrees(struct runner *r, struct tp_error *err)
{
        struct arena *arena = arena_new(0);
        struct view *view = arena ? view_open(r->store, r->run, INT64_MAX, err) : NULL;
        struct entry *entries = NULL;
        size_t n = 0;
        enum code code = view ? view_entries(view, 0, 0, arena, &entries, &n, err) : CODE_DISK;
        struct evidence *again = arena ? arena_take(arena, r->e->bytes) : NULL;
        if (again)
                evidence_init(again, r->plan);
        for (size_t i = 0; !code && again && i < n; i++)
                code = evidence_apply(again, r->plan, &entries[i], err);
        if (!code && again && memcmp(again, r->e, r->e->bytes) != 0)
                code = tp_fail(err, CODE_BUG, "the journal of %zu entries folds to another evidence than the one in memory", n);
        view_close(view);
        arena_free(arena);
        return code != CODE_BUG && code != CODE_DAMAGED;
}

void act_seal(struct runner *r)
{
        struct tp_error err = {0};
        if (r->shadow && !fold_agrees(r, &err)) {
                runner_stuck(r, &err);
                return;
        }
        struct work *work = journal_work(r);
        show(r, true); /* the last map of the run is stored with it */
        struct snapshot *s = snapshot_get(r->slot);
        struct fact *f = work && s ? work_add(work, FACT_MAP) : NULL;
        if (f) {
                f->of.map.state = "sealed";
                f->of.map.counts_json = work_text(work, "%s", s->run_json);
                f->of.map.map_json = work_text(work, "%s", s->map_json);
                f->of.map.lot = r->lot;
                f->of.map.wafer = r->wafer;
                memcpy(f->of.map.recipe, r->recipe->sha256, 32);
        }
        snapshot_put(s);
        if (work)
                work_add(work, FACT_RUN_SEAL);
        journal_submit(r, work, DOING_SEAL);
}

void act_sealed(struct runner *r)
{
        log_event(r->log, LOG_INFO, "run.sealed", "run=%s steps=%llu", r->run, (unsigned long long)r->steps);
        act_forget(r);
        show(r, true);
}
