/* runs.c: runs begun, steered, shown and taken away as files. */
#include "api/desk.h"
#include "api/problem.h"
#include "api/route.h"
#include "api/shelf.h"
#include "base/fields.h"
#include "base/hash.h"
#include <stdio.h>
#include <string.h>

static void run_write(struct json_out *o, const struct run_row *row, const struct snapshot *live)
{
        bool in_hand = live && live->in_hand && strcmp(live->run, row->id) == 0;
        json_open(o, NULL, '{');
        json_text(o, "id", row->id);
        json_int(o, "number", row->number);
        json_word(o, "kind", row->kind);
        json_text(o, "state", row->state);
        json_bool(o, "in_hand", in_hand);
        json_word(o, "wafer", row->wafer);
        json_word(o, "lot", row->lot);
        json_word(o, "recipe", row->recipe_name);
        json_text(o, "began", row->began);
        json_word(o, "file_sha256", row->sha256);
        json_raw(o, "progress",
                 in_hand                                                   ? live->run_json
                 : row->counts_json && strcmp(row->counts_json, "{}") != 0 ? json_or_null(row->counts_json)
                                                                           : "null");
        json_close(o, '}');
}

enum code runs_list(struct request *q, struct reply *r, struct tp_error *err)
{
        struct run_row *rows = NULL;
        size_t n = 0;
        int64_t limit = 0;
        const char *after = query_text(q, "after");
        enum code code = query_int(q, "limit", 1, 1000, 100, &limit, err);
        if (!code && after && !ulid_valid(after))
                code = tp_fail_at(err, CODE_BAD_INPUT, "after", "?after=%.40s is no run; give the 26 characters of a run's id", after);
        struct view *view = code ? NULL : ask_view(q, NULL, err);
        if (!code)
                code = view ? view_runs(view, after, (size_t)limit, q->arena, &rows, &n, err) : err->code;
        view_close(view);
        if (code)
                return code;
        struct snapshot *live = snapshot_get(q->api->slot);
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_open(&o, "runs", '[');
        for (size_t i = 0; i < n; i++)
                run_write(&o, &rows[i], live);
        json_close(&o, ']');
        json_close(&o, '}');
        snapshot_put(live);
        if (n == (size_t)limit)
                snprintf(r->link, sizeof r->link, "</api/v1/runs?after=%s&limit=%d>; rel=\"next\"", rows[n - 1].id, (int)limit);
        reply_json(r, 200);
        return CODE_OK;
}

/* The row of the run in the path; CODE_NOT_FOUND with the id and a way on. */
static enum code row_of(struct request *q, struct run_row *ret, struct tp_error *err)
{
        struct view *view = ask_view(q, NULL, err);
        enum code code = view ? view_run(view, q->param[0], q->arena, ret, err) : err->code;
        view_close(view);
        if (code == CODE_NOT_FOUND)
                tp_fail(err, CODE_NOT_FOUND, "there is no run %.40s; GET /api/v1/runs lists what there is", q->param[0]);
        return code;
}

enum code run_get(struct request *q, struct reply *r, struct tp_error *err)
{
        struct run_row row;
        char etag[96];
        enum code code = row_of(q, &row, err);
        if (code)
                return code;
        struct snapshot *live = snapshot_get(q->api->slot);
        bool in_hand = live && live->in_hand && strcmp(live->run, row.id) == 0;
        if (in_hand)
                snprintf(etag, sizeof etag, "%u.%llu", live->epoch, (unsigned long long)live->version);
        else
                snprintf(etag, sizeof etag, "%s-%.12s", row.state, row.sha256);
        if (!reply_unchanged(q, r, etag)) {
                struct json_out o = json_to(&r->body);
                run_write(&o, &row, live);
                reply_json(r, 200);
        }
        snapshot_put(live);
        return CODE_OK;
}

/* Nothing has changed since the viewer asked: no need to look into the catalogue. */
bool run_now(struct request *q, struct reply *r)
{
        char etag[40];
        struct snapshot *s = snapshot_get(q->api->slot);
        bool same = false;
        if (s && s->in_hand && strcmp(s->run, q->param[0]) == 0) {
                snprintf(etag, sizeof etag, "%u.%llu", s->epoch, (unsigned long long)s->version);
                same = reply_unchanged(q, r, etag);
        }
        snapshot_put(s);
        return same;
}

bool map_now(struct request *q, struct reply *r)
{
        char etag[40];
        struct snapshot *s = snapshot_get(q->api->slot);
        bool mine = s && s->in_hand && strcmp(s->run, q->param[0]) == 0;
        if (mine) {
                snprintf(etag, sizeof etag, "%u.%llu", s->epoch, (unsigned long long)s->version);
                if (!reply_unchanged(q, r, etag)) {
                        text_put(&r->body, s->map_json);
                        reply_json(r, 200);
                }
        }
        snapshot_put(s);
        return mine || shelf_answer(q->api->shelf, q->param[0], store_sealed_version(q->api->store), q, r);
}

enum code map_get(struct request *q, struct reply *r, struct tp_error *err)
{
        struct run_row row;
        char etag[96];
        uint64_t version = store_sealed_version(q->api->store);
        enum code code = row_of(q, &row, err);
        if (code)
                return code;
        snprintf(etag, sizeof etag, "%s-%.12s", row.state, row.sha256);
        if (reply_unchanged(q, r, etag))
                return CODE_OK;
        if (row.map_json && strcmp(row.map_json, "{}") != 0)
                text_put(&r->body, row.map_json);
        else
                text_f(&r->body, "{\"run\":\"%s\"}", row.id);
        reply_json(r, 200);
        if (row.sha256[0] && text_ok(&r->body))
                shelf_keep(q->api->shelf, row.id, version, etag, r->body.at, r->body.n);
        return CODE_OK;
}

/* ---- commands ----------------------------------------------------------------------------------------------------------------------- */

struct start {
        uint8_t recipe[32];
        char wafer[40], lot[40];
};
static const struct field start_fields[] = {
        {.key = "recipe",
         .type = FIELD_HEX,
         .offset = offsetof(struct start, recipe),
         .size = 32,
         .required = true,
         .say = "SHA-256 of a stored recipe"},
        {.key = "wafer",
         .type = FIELD_NAME,
         .offset = offsetof(struct start, wafer),
         .size = 40,
         .required = true,
         .say = "the wafer's id, as scribed"},
        {.key = "lot", .type = FIELD_NAME, .offset = offsetof(struct start, lot), .size = 40, .say = "its lot"},
};
static const struct object start_object = {.name = "run_start",
                                           .bytes = sizeof(struct start),
                                           .fields = start_fields,
                                           .field_n = sizeof start_fields / sizeof start_fields[0]};

enum code run_start(struct request *q, struct reply *r, struct tp_error *err)
{
        struct start s;
        enum code code = body_read(q, &start_object, &s, err);
        if (!code && !s.wafer[0])
                code = tp_fail_at(err, CODE_BAD_INPUT, "/wafer", "wafer is \"\"; give the wafer's id, as scribed");
        struct command *c = code ? NULL : desk_command(q, COMMAND_START, "", err);
        if (!c)
                return err->code;
        memcpy(c->recipe, s.recipe, 32);
        snprintf(c->wafer, sizeof c->wafer, "%s", s.wafer);
        snprintf(c->lot, sizeof c->lot, "%s", s.lot);
        return desk_order(q, r, c, "run.start", 201, err);
}

struct at {
        int32_t x, y;
};
struct ask {
        int32_t what;
        struct at die;
        bool has_die;
        char why[120];
};
static const char *const do_words[] = {"nothing", "pause", "resume", "finish", "skip", NULL};
static const struct field at_fields[] = {
        {.key = "x", .type = FIELD_I32, .offset = offsetof(struct at, x), .required = true, .min = -10000, .max = 10000},
        {.key = "y", .type = FIELD_I32, .offset = offsetof(struct at, y), .required = true, .min = -10000, .max = 10000},
};
static const struct object at_object = {.name = "die", .bytes = sizeof(struct at), .fields = at_fields, .field_n = 2};
static const struct field ask_fields[] = {
        {.key = "do",
         .type = FIELD_CHOICE,
         .offset = offsetof(struct ask, what),
         .required = true,
         .words = do_words,
         .say = "what the run shall do"},
        {.key = "die",
         .type = FIELD_OBJECT,
         .offset = offsetof(struct ask, die),
         .object = &at_object,
         .has_offset = offsetof(struct ask, has_die),
         .say = "skip: which die"},
        {.key = "why", .type = FIELD_TEXT, .offset = offsetof(struct ask, why), .size = 120, .say = "for the journal"},
};
static const struct object ask_object = {
        .name = "run_command", .bytes = sizeof(struct ask), .fields = ask_fields, .field_n = sizeof ask_fields / sizeof ask_fields[0]};

enum code run_command(struct request *q, struct reply *r, struct tp_error *err)
{
        static const enum command_kind kinds[] = {COMMAND_NONE, COMMAND_PAUSE, COMMAND_RESUME, COMMAND_FINISH, COMMAND_SKIP_DIE};
        struct ask ask;
        struct run_row row;
        enum code code = body_read(q, &ask_object, &ask, err);
        if (!code && kinds[ask.what] == COMMAND_NONE)
                code = tp_fail_at(err, CODE_BAD_INPUT, "/do", "\"do\":\"nothing\" asks for nothing; say pause, resume, finish or skip");
        bool skip = kinds[ask.what] == COMMAND_SKIP_DIE;
        if (!code && skip && !ask.has_die)
                code = tp_fail_at(err, CODE_BAD_INPUT, "/die",
                                  "\"do\":\"skip\" needs a die and none was given; add \"die\":{\"x\":…,\"y\":…}");
        if (!code && !skip && ask.has_die)
                code = tp_fail_at(err, CODE_BAD_INPUT, "/die", "\"do\":\"%s\" takes no die and (%d, %d) was given; leave it out",
                                  do_words[ask.what], ask.die.x, ask.die.y);
        if (!code)
                code = row_of(q, &row, err);
        struct command *c = code ? NULL : desk_command(q, kinds[ask.what], ask.why, err);
        if (!c)
                return err->code;
        snprintf(c->run, sizeof c->run, "%s", row.id);
        c->die_x = ask.die.x;
        c->die_y = ask.die.y;
        return desk_order(q, r, c, do_words[ask.what], 200, err);
}

enum code command_get(struct request *q, struct reply *r, struct tp_error *err)
{
        int status = 0;
        const char *body = NULL;
        uint8_t digest[32];
        struct view *view = ask_view(q, NULL, err);
        enum code code = view ? view_command(view, q->who.id, q->param[0], q->arena, &status, &body, digest, err) : err->code;
        view_close(view);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_text(&o, "key", q->param[0]);
        json_int(&o, "status", status ? status : 202);
        json_raw(&o, "answer", json_or_null(body));
        json_close(&o, '}');
        reply_json(r, 200);
        return CODE_OK;
}

/* ---- the file ----------------------------------------------------------------------------------------------------------------------- */

enum code run_file(struct request *q, struct reply *r, struct tp_error *err)
{
        struct run_row row;
        enum code code = row_of(q, &row, err);
        if (code)
                return code;
        bool sealed = row.sha256[0] != 0;
        if (sealed && reply_unchanged(q, r, row.sha256))
                return CODE_OK;
        code = store_path_of_run(q->api->store, row.id, r->file, sizeof r->file, err);
        if (!code && !sealed) {
                store_copy_path(q->api->store, row.id, q->id, r->file, sizeof r->file);
                r->file_is_copy = true;
                code = store_copy_run(q->api->store, row.id, r->file, err);
        }
        if (code) {
                r->file[0] = 0;
                return code;
        }
        snprintf(r->save_as, sizeof r->save_as, "%s.run", row.id);
        r->status = 200;
        r->type = "application/vnd.sqlite3";
        return CODE_OK;
}
