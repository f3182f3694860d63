/* view_catalogue.c: questions to the catalogue and the index, one function each. */
#include "store/audit.h"
#include "store/view_own.h"
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

/* A damaged or archived run says so; else the run's own last word, and sealed only once the digest is there. */
#define RUN_COLUMNS                                                                                                                    \
        "SELECT r.id, CASE WHEN r.state IN('damaged','gone') THEN r.state WHEN i.state='sealed' AND r.sealed_sha256 IS NULL THEN "     \
        "'finished' ELSE coalesce(i.state,r.state) END, coalesce(i.wafer,''), "                                                        \
        "coalesce(i.lot,''),"                                                                                                          \
        "coalesce(i.recipe_name,''), coalesce(i.kind,''), r.opened_us, coalesce(i.waiting_for,''), r.number, r.path, r.sealed_sha256," \
        "coalesce(i.counts,'{}'), coalesce(i.map,'{}') FROM run r LEFT JOIN ix.run_row i ON i.n=r.number "

static enum code run_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct run_row *r = row;
        column_into(q, 0, r->id, sizeof r->id);
        column_into(q, 1, r->state, sizeof r->state);
        column_into(q, 2, r->wafer, sizeof r->wafer);
        column_into(q, 3, r->lot, sizeof r->lot);
        column_into(q, 4, r->recipe_name, sizeof r->recipe_name);
        column_into(q, 5, r->kind, sizeof r->kind);
        iso_time(sqlite3_column_int64(q, 6), r->began);
        column_into(q, 7, r->waiting_for, sizeof r->waiting_for);
        r->number = sqlite3_column_int64(q, 8);
        column_into(q, 9, r->path, sizeof r->path);
        column_hex(q, 10, r->sha256);
        r->counts_json = column_text(q, 11, a);
        r->map_json = column_text(q, 12, a);
        return r->counts_json && r->map_json ? CODE_OK : tp_fail_memory(err);
}

enum code view_runs(struct view *v, const char *after, size_t limit, struct arena *a, struct run_row **ret, size_t *ret_n,
                    struct tp_error *err)
{
        struct rows rows = {.arena = a, .size = sizeof **ret};
        sqlite3_stmt *q = NULL;
        enum code code = view_index(v, err);
        if (!code)
                code = db_ask(
                        &v->catalogue, &q, err,
                        RUN_COLUMNS
                        "WHERE r.number<coalesce((SELECT number FROM run WHERE id=?),9223372036854775807) ORDER BY r.number DESC LIMIT ?",
                        "ti", after, limit ? (int64_t)limit : INT64_C(-1));
        if (!code)
                code = rows_read(&v->catalogue, q, &rows, run_each, err);
        if (code)
                return view_index_done(v, code, err);
        *ret = rows.at;
        *ret_n = rows.n;
        return CODE_OK;
}

enum code view_run(struct view *v, const char *id, struct arena *a, struct run_row *ret, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        char what[48];
        snprintf(what, sizeof what, "run %.30s", id);
        memset(ret, 0, sizeof *ret);
        enum code code = view_index(v, err);
        if (!code)
                code = db_ask(&v->catalogue, &q, err, RUN_COLUMNS "WHERE r.id=?", "t", id);
        if (!code)
                code = row_read(&v->catalogue, q, a, ret, run_each, what, err);
        return view_index_done(v, code, err);
}

enum code store_path_of_run(struct store *s, const char *run, char *ret, size_t room, struct tp_error *err)
{
        struct view *v = view_open(s, NULL, INT64_MAX, err);
        if (!v)
                return err ? err->code : CODE_DISK;
        sqlite3_stmt *q = NULL;
        bool has = false;
        enum code code = db_ask(&v->catalogue, &q, err, "SELECT path FROM run WHERE id=?", "t", run);
        if (!code)
                code = db_row(&v->catalogue, q, &has, err);
        if (!code && !has)
                code = tp_fail(err, CODE_NOT_FOUND, "there is no run %.30s", run);
        if (!code) {
                char path[STORE_PATH], relative[RUN_PATH];
                column_into(q, 0, relative, sizeof relative);
                path_in(s, relative, path);
                snprintf(ret, room, "%s", path);
        }
        db_end(q);
        view_close(v);
        return code;
}

/* ---- documents ---------------------------------------------------------------------------------------------------------------------- */

static enum code document_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct document_row *d = row;
        column_hex(q, 0, d->sha256);
        column_into(q, 1, d->kind, sizeof d->kind);
        column_into(q, 2, d->name, sizeof d->name);
        iso_time(sqlite3_column_int64(q, 3), d->added);
        if (sqlite3_column_count(q) < 5)
                return CODE_OK;
        d->body = column_text(q, 4, a);
        d->body_n = (size_t)sqlite3_column_bytes(q, 4);
        return d->body ? CODE_OK : tp_fail_memory(err);
}

enum code view_documents(struct view *v, const char *kind, struct arena *a, struct document_row **ret, size_t *ret_n, struct tp_error *err)
{
        struct rows rows = {.arena = a, .size = sizeof **ret};
        sqlite3_stmt *q = NULL;
        enum code code = view_catalogue(v, err);
        if (!code)
                code = db_ask(&v->catalogue, &q, err,
                              "SELECT sha256,kind,name,added_us FROM document WHERE kind=? ORDER BY name, added_us DESC", "t", kind);
        if (!code)
                code = rows_read(&v->catalogue, q, &rows, document_each, err);
        if (code)
                return code;
        *ret = rows.at;
        *ret_n = rows.n;
        return CODE_OK;
}

enum code view_document(struct view *v, const uint8_t sha256[32], struct arena *a, struct document_row *ret, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        memset(ret, 0, sizeof *ret);
        enum code code = view_catalogue(v, err);
        if (!code)
                code = db_ask(&v->catalogue, &q, err, "SELECT sha256,kind,name,added_us,body FROM document WHERE sha256=?", "b",
                              (const void *)sha256, (size_t)32);
        return code ? code : row_read(&v->catalogue, q, a, ret, document_each, "document with this digest", err);
}

/* ---- ledger, tokens, commands, alarms, events --------------------------------------------------------------------------------------- */

enum code view_ledger_used(struct view *v, const char *kind, const char *serial, const char *part, int32_t *ret, struct tp_error *err)
{
        int64_t used = 0;
        enum code code = view_catalogue(v, err);
        if (!code)
                code = db_int(&v->catalogue, &used, 0, err,
                              "SELECT sum(touches) FROM ledger WHERE thing=(SELECT id FROM thing WHERE kind=? AND serial=? AND part=?)",
                              "ttT", kind, serial, part);
        if (!code)
                *ret = (int32_t)used;
        return code;
}

static enum code token_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct token_row *t = row;
        (void)a, (void)err;
        column_into(q, 0, t->id, sizeof t->id);
        column_into(q, 1, t->role, sizeof t->role);
        column_into(q, 2, t->person, sizeof t->person);
        return CODE_OK;
}

enum code view_token(struct view *v, const uint8_t digest[32], struct token_row *ret, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        memset(ret, 0, sizeof *ret);
        enum code code = view_catalogue(v, err);
        if (!code)
                code = db_ask(&v->catalogue, &q, err,
                              "SELECT t.id,t.role,p.name FROM token t JOIN person p ON p.id=t.person WHERE t.digest=? AND t.revoked_us IS "
                              "NULL AND (t.expires_us IS NULL OR t.expires_us>?)",
                              "bi", (const void *)digest, (size_t)32, world_wall_us(v->s->w));
        return code ? code : row_read(&v->catalogue, q, NULL, ret, token_each, "such token, or it has ended", err);
}

struct token_digest_row {
        struct token_row row;
        uint8_t digest[32];
};
static enum code token_digest_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct token_digest_row *t = row;
        memcpy(t->digest, sqlite3_column_blob(q, 3), 32); /* the schema says 32 bytes */
        return token_each(q, a, &t->row, err);
}

enum code view_tokens(struct view *v, struct arena *a, struct token_row **ret, uint8_t (**ret_digests)[32], size_t *ret_n,
                      struct tp_error *err)
{
        struct rows rows = {.arena = a, .size = sizeof(struct token_digest_row)};
        sqlite3_stmt *q = NULL;
        enum code code = view_catalogue(v, err);
        if (!code)
                code = db_ask(&v->catalogue, &q, err,
                              "SELECT t.id,t.role,p.name,t.digest FROM token t JOIN person p ON p.id=t.person WHERE t.revoked_us IS NULL "
                              "AND (t.expires_us IS NULL OR t.expires_us>?)",
                              "i", world_wall_us(v->s->w));
        if (!code)
                code = rows_read(&v->catalogue, q, &rows, token_digest_each, err);
        struct token_digest_row *all = rows.at;
        struct token_row *list = code ? NULL : arena_take(a, (rows.n + 1) * sizeof *list);
        uint8_t(*digests)[32] = code ? NULL : arena_take(a, (rows.n + 1) * sizeof *digests);
        if (!code && (!list || !digests))
                code = tp_fail_memory(err);
        if (code)
                return code;
        for (size_t i = 0; i < rows.n; i++) {
                list[i] = all[i].row;
                memcpy(digests[i], all[i].digest, 32);
        }
        *ret = list;
        *ret_digests = digests;
        *ret_n = rows.n;
        return CODE_OK;
}

enum code view_token_count(struct store *s, int64_t *ret, struct tp_error *err)
{
        struct view *v = view_open(s, NULL, INT64_MAX, err);
        if (!v)
                return err ? err->code : CODE_DISK;
        enum code code = db_int(&v->catalogue, ret, 0, err, "SELECT count(*) FROM token", "");
        view_close(v);
        return code;
}

enum code view_command(struct view *v, const char *token, const char *key, struct arena *a, int *ret_status, const char **ret_reply,
                       uint8_t ret_request[32], struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        bool has = false;
        enum code code = view_catalogue(v, err);
        if (!code)
                code = db_ask(&v->catalogue, &q, err, "SELECT status,reply,request_sha256 FROM command WHERE token=? AND key=?", "tt",
                              token, key);
        if (!code)
                code = db_row(&v->catalogue, q, &has, err);
        if (!code && !has)
                code = tp_fail(err, CODE_NOT_FOUND, "there is no command with the key %.40s (answers are kept for 48 hours)", key);
        if (!code) {
                *ret_status = sqlite3_column_int(q, 0);
                *ret_reply = sqlite3_column_type(q, 1) == SQLITE_NULL ? NULL : column_text(q, 1, a);
                memcpy(ret_request, sqlite3_column_blob(q, 2), 32);
        }
        db_end(q);
        return code;
}

static enum code alarm_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct alarm_row *r = row;
        column_into(q, 0, r->id, sizeof r->id);
        column_into(q, 1, r->cause, sizeof r->cause);
        r->sentence = column_text(q, 2, a);
        r->action = column_text(q, 3, a);
        r->latched = sqlite3_column_int(q, 4);
        iso_time(sqlite3_column_int64(q, 5), r->raised);
        return r->sentence && r->action ? CODE_OK : tp_fail_memory(err);
}

enum code view_alarms(struct view *v, struct arena *a, struct alarm_row **ret, size_t *ret_n, struct tp_error *err)
{
        struct rows rows = {.arena = a, .size = sizeof **ret};
        sqlite3_stmt *q = NULL;
        enum code code = view_catalogue(v, err);
        if (!code)
                code = db_ask(&v->catalogue, &q, err,
                              "SELECT id,cause,sentence,action,latched,raised_us FROM alarm WHERE cleared_us IS NULL ORDER BY raised_us,id",
                              "");
        if (!code)
                code = rows_read(&v->catalogue, q, &rows, alarm_each, err);
        if (code)
                return code;
        *ret = rows.at;
        *ret_n = rows.n;
        return CODE_OK;
}

static enum code event_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct event_row *e = row;
        e->seq = (uint64_t)sqlite3_column_int64(q, 0);
        e->epoch = (uint32_t)sqlite3_column_int64(q, 1);
        column_into(q, 2, e->topic, sizeof e->topic);
        column_into(q, 3, e->ref, sizeof e->ref);
        e->body = column_text(q, 4, a);
        return e->body ? CODE_OK : tp_fail_memory(err);
}

/* *ret_first: the oldest event still kept, 0 when there is none. */
enum code view_events(struct view *v, uint64_t after, size_t limit, struct arena *a, struct event_row **ret, size_t *ret_n,
                      uint64_t *ret_first, struct tp_error *err)
{
        struct rows rows = {.arena = a, .size = sizeof **ret};
        sqlite3_stmt *q = NULL;
        int64_t first = 0;
        enum code code = view_index(v, err);
        if (!code)
                code = db_int(&v->catalogue, &first, 0, err, "SELECT min(seq) FROM ix.event", "");
        if (!code)
                code = db_ask(&v->catalogue, &q, err, "SELECT seq,epoch,topic,ref,body FROM ix.event WHERE seq>? ORDER BY seq LIMIT ?",
                              "ii", after > INT64_MAX ? INT64_MAX : (int64_t)after, limit ? (int64_t)limit : INT64_C(-1));
        if (!code)
                code = rows_read(&v->catalogue, q, &rows, event_each, err);
        if (code)
                return view_index_done(v, code, err);
        *ret = rows.at;
        *ret_n = rows.n;
        *ret_first = (uint64_t)first;
        return CODE_OK;
}

/* ---- audit -------------------------------------------------------------------------------------------------------------------------- */

static const char *text_or_null(sqlite3_stmt *q, int column) { return (const char *)sqlite3_column_text(q, column); }

enum code view_audit_verify(struct view *v, int64_t *ret_rows, uint8_t ret_head[32], struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        uint8_t head[32] = {0};
        int64_t rows = 0;
        enum code code = view_catalogue(v, err);
        if (!code)
                code = db_ask(&v->catalogue, &q, err,
                              "SELECT seq,at_us,boot_ns,boot,token,what,target,body,result,previous,digest FROM audit ORDER BY seq", "");
        for (bool has = true; !code;) {
                code = db_row(&v->catalogue, q, &has, err);
                if (code || !has)
                        break;
                uint8_t want[32];
                struct audit_fields f = {.seq = sqlite3_column_int64(q, 0),
                                         .at_us = sqlite3_column_int64(q, 1),
                                         .boot_ns = sqlite3_column_int64(q, 2),
                                         .boot = sqlite3_column_blob(q, 3),
                                         .token = text_or_null(q, 4),
                                         .what = text_or_null(q, 5),
                                         .target = text_or_null(q, 6),
                                         .body = text_or_null(q, 7),
                                         .result = text_or_null(q, 8)};
                audit_digest(head, &f, want);
                if (f.seq != rows + 1)
                        code = tp_fail(err, CODE_DAMAGED, "audit row %" PRId64 " is missing: row %" PRId64 " follows row %" PRId64,
                                       rows + 1, f.seq, rows);
                else if (memcmp(sqlite3_column_blob(q, 9), head, 32) != 0 || memcmp(sqlite3_column_blob(q, 10), want, 32) != 0)
                        code = tp_fail(err, CODE_DAMAGED,
                                       "audit row %" PRId64
                                       " (\"%.60s\") does not follow from the rows before it: it or its predecessor was changed",
                                       f.seq, f.what);
                if (!code) {
                        memcpy(head, want, 32);
                        rows++;
                }
        }
        db_end(q);
        *ret_rows = rows;
        memcpy(ret_head, head, 32);
        return code;
}

enum code store_reconcile_list(struct store *s, const char *run, struct arena *a, struct orphan **ret, size_t *ret_n,
                               uint64_t *ret_next_seq, struct tp_error *err)
{
        struct view *v = view_open(s, run, INT64_MAX, err);
        if (!v)
                return err ? err->code : CODE_DISK;
        enum code code = view_catalogue(v, err);
        if (!code)
                code = orphans_of(&v->catalogue, &v->file, run, a, ret, ret_n, ret_next_seq, err);
        view_close(v);
        return code;
}
