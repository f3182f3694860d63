/* documents.c: documents by digest; a recipe checked, kept, explained and planned. */
#include "api/desk.h"
#include "api/route.h"
#include "base/hash.h"
#include "recipe/plan.h"
#include "station/protocol.h"
#include <stdio.h>
#include <string.h>

static void document_write(struct json_out *o, const struct document_row *d)
{
        json_open(o, NULL, '{');
        json_text(o, "sha256", d->sha256);
        json_text(o, "kind", d->kind);
        json_text(o, "name", d->name);
        json_text(o, "added", d->added);
        json_close(o, '}');
}

static enum code list(struct request *q, struct reply *r, const char *kind, struct tp_error *err)
{
        struct document_row *rows = NULL;
        size_t n = 0;
        struct view *view = ask_view(q, NULL, err);
        enum code code = view ? view_documents(view, kind, q->arena, &rows, &n, err) : err->code;
        view_close(view);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_open(&o, "documents", '[');
        for (size_t i = 0; i < n; i++)
                document_write(&o, &rows[i]);
        json_close(&o, ']');
        json_close(&o, '}');
        reply_json(r, 200);
        return CODE_OK;
}

enum code documents_list(struct request *q, struct reply *r, struct tp_error *err)
{
        static const char *const kinds[] = {"recipe", "layout", "setup", "dialect", "mandate", "site", NULL};
        int kind = -1;
        enum code code = query_word(q, "kind", kinds, &kind, err);
        if (!code && kind < 0)
                code = tp_fail_at(err, CODE_BAD_INPUT, "kind",
                                  "?kind= is missing; add kind=recipe, layout, setup, dialect, mandate or site");
        return code ? code : list(q, r, kinds[kind], err);
}

enum code recipes_list(struct request *q, struct reply *r, struct tp_error *err) { return list(q, r, "recipe", err); }

static enum code digest_of_path(const struct request *q, uint8_t ret[32], struct tp_error *err)
{
        if (strlen(q->param[0]) == 64 && hex_read(q->param[0], ret, 32))
                return CODE_OK;
        return tp_fail(err, CODE_BAD_INPUT, "'%.70s' is no SHA-256; name the document by the 64 hex digits of its digest", q->param[0]);
}

enum code document_get(struct request *q, struct reply *r, struct tp_error *err)
{
        uint8_t digest[32];
        struct document_row row;
        enum code code = digest_of_path(q, digest, err);
        struct view *view = code ? NULL : ask_view(q, NULL, err);
        if (!code)
                code = view ? view_document(view, digest, q->arena, &row, err) : err->code;
        view_close(view);
        if (code || reply_unchanged(q, r, row.sha256))
                return code;
        text_bytes(&r->body, row.body, row.body_n);
        reply_json(r, 200);
        return CODE_OK;
}

static bool is_there(struct request *q, const uint8_t digest[32])
{
        struct document_row row;
        struct view *view = ask_view(q, NULL, NULL);
        bool there = view && view_document(view, digest, q->arena, &row, NULL) == CODE_OK;
        view_close(view);
        return there;
}

enum code recipe_put(struct request *q, struct reply *r, struct tp_error *err)
{
        uint8_t asked[32], digest[32];
        char hex[65];
        struct recipe *recipe = NULL;
        enum code code = digest_of_path(q, asked, err);
        sha256_of(q->body ? q->body : "", q->body_n, digest);
        hex_of(digest, 32, hex);
        if (!code && memcmp(asked, digest, 32) != 0)
                code = tp_fail(err, CODE_BAD_INPUT,
                               "the body's SHA-256 is %s and the address says %.12s…; send the bytes the digest was made of, or use the "
                               "body's own digest",
                               hex, q->param[0]);
        if (!code)
                code = recipe_read(q->body ? q->body : "", q->body_n, q->arena, &recipe, err);
        if (code)
                return code;
        bool there = is_there(q, digest);
        if (!there) {
                struct work *work = work_new(NULL);
                struct fact *f = work ? work_add(work, FACT_DOCUMENT) : NULL;
                if (!f) {
                        work_free(work);
                        return tp_fail_memory(err);
                }
                memcpy(f->of.document.sha256, digest, 32);
                f->of.document.kind = "recipe";
                f->of.document.name = work_text(work, "%s", recipe->name);
                f->of.document.body = work_text(work, "%.*s", (int)q->body_n, q->body);
                f->of.document.by = work_text(work, "%s", q->who.person);
                desk_audit(q, work, "recipe.put", hex, "stored");
                code = desk_store(q->desk, work, NULL, err);
        }
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_text(&o, "sha256", hex);
        json_text(&o, "kind", "recipe");
        json_text(&o, "name", recipe->name);
        json_close(&o, '}');
        snprintf(r->location, sizeof r->location, "/api/v1/documents/%s", hex);
        reply_json(r, there ? 200 : 201);
        return CODE_OK;
}

/* ---- explain, plan ------------------------------------------------------------------------------------------------------------------ */

struct used_ctx {
        struct view *view;
};
static int32_t used_now(void *ctx, const char *kind, const char *serial, const char *part)
{
        struct used_ctx *u = ctx;
        int32_t used = 0;
        return view_ledger_used(u->view, kind, serial, part, &used, NULL) ? 0 : used; /* never touched */
}

/* A station that can do whatever the recipe asks: for the desk, while no station answers. */
static struct capability_set assumed(const struct recipe *recipe)
{
        struct capability_set can = {.analyzer = true,
                                     .stage = true,
                                     .bias = true,
                                     .bias_current = true,
                                     .meter = true,
                                     .chuck = true,
                                     .signal = true,
                                     .interlock = true,
                                     .switch_terms = true,
                                     .freq_hz_min = 1,
                                     .freq_hz_max = 1e12,
                                     .points_max = 1000000,
                                     .volt_max = recipe->max_volt,
                                     .spacing_um = recipe->setup.spacing_um};
        return can;
}

static enum code station_can(struct request *q, const struct recipe *recipe, struct capability_set *ret, char name[64],
                             struct tp_error *err)
{
        struct snapshot *s = snapshot_get(q->api->slot);
        enum code code = CODE_OK;
        snprintf(name, 64, "assumed able");
        if (s && s->can_json) {
                code = fields_read_text(&capability_object, s->can_json, strlen(s->can_json), q->arena, ret, err);
                snprintf(name, 64, "the station that answers");
        } else {
                *ret = assumed(recipe);
        }
        snapshot_put(s);
        return code;
}

static enum code make_plan(struct request *q, struct recipe **ret_recipe, struct plan **ret, char station[64], struct tp_error *err)
{
        struct capability_set can;
        struct ledger_view ledger;
        const char *wafer = query_text(q, "wafer");
        if (wafer && (strlen(wafer) > 39 || !wafer[0]))
                return tp_fail_at(err, CODE_BAD_INPUT, "wafer", "?wafer=%.60s has %zu characters; a wafer's name has 1 to 39", wafer,
                                  strlen(wafer));
        enum code code = recipe_read(q->body ? q->body : "", q->body_n, q->arena, ret_recipe, err);
        if (!code)
                code = station_can(q, *ret_recipe, &can, station, err);
        struct view *view = code ? NULL : ask_view(q, NULL, err);
        if (!code && !view)
                code = err->code;
        struct used_ctx used = {view};
        ledger = (struct ledger_view){used_now, &used};
        if (!code)
                code = plan_make(*ret_recipe, wafer ? wafer : "fresh", &can, &ledger, q->arena, ret, err);
        view_close(view);
        return code;
}

enum code recipe_explain_answer(struct request *q, struct reply *r, struct tp_error *err)
{
        struct recipe *recipe = NULL;
        struct plan *plan = NULL;
        char station[64];
        enum code code = make_plan(q, &recipe, &plan, station, err);
        if (code)
                return code;
        recipe_explain(recipe, plan, &r->body);
        reply_text(r, "text/plain; charset=utf-8");
        return CODE_OK;
}

enum code recipe_plan(struct request *q, struct reply *r, struct tp_error *err)
{
        struct recipe *recipe = NULL;
        struct plan *p = NULL;
        char station[64], hex[65];
        enum code code = make_plan(q, &recipe, &p, station, err);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        hex_of(p->digest, 32, hex);
        json_open(&o, NULL, '{');
        json_text(&o, "digest", hex);
        json_text(&o, "recipe", recipe->name);
        json_text(&o, "wafer", p->wafer);
        json_text(&o, "station", station);
        json_int(&o, "dies", (int64_t)p->visit_die_n);
        json_int(&o, "devices", (int64_t)p->visit_n);
        json_int(&o, "touches", p->touches_total);
        json_int(&o, "checks", p->check_times);
        json_real(&o, "seconds", p->seconds_total);
        json_real(&o, "seconds_wafer", p->seconds_wafer);
        json_bool(&o, "replayed", p->replayed);
        json_open(&o, "order", '[');
        for (size_t i = 0; i < p->visit_die_n; i++) {
                const struct die *d = &p->dies[p->visit_die[i]];
                json_open(&o, NULL, '[');
                json_int(&o, NULL, d->x);
                json_int(&o, NULL, d->y);
                json_close(&o, ']');
        }
        json_close(&o, ']');
        json_open(&o, "things", '[');
        for (size_t i = 0; i < p->thing_n; i++) {
                const struct plan_thing *t = &p->things[i];
                json_open(&o, NULL, '{');
                json_text(&o, "kind", t->kind);
                json_text(&o, "serial", t->serial);
                json_text(&o, "part", t->part);
                json_int(&o, "budget", t->budget);
                json_int(&o, "used", t->used);
                json_int(&o, "reserved", t->reserved);
                json_close(&o, '}');
        }
        json_close(&o, ']');
        json_close(&o, '}');
        reply_json(r, 200);
        return CODE_OK;
}
