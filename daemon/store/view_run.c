/* view_run.c: questions to one run file: journal, plan, sweeps, traces. */
#include "base/hash.h"
#include "store/digest.h"
#include "store/view_own.h"
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static int word_index(const char *const *words, const char *word)
{
        for (int i = 0; words[i]; i++)
                if (!strcmp(words[i], word))
                        return i;
        return -1;
}

static int result_index(const char *word)
{
        for (int i = 0; i < CODE_COUNT; i++)
                if (!strcmp(code_rows[i].word, word))
                        return i;
        return -1;
}

static int kind_index(const char *word)
{
        for (int i = 0; i < STEP_KIND_COUNT; i++)
                if (step_rows[i].word && !strcmp(step_rows[i].word, word))
                        return i;
        return -1;
}

static enum code entry_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        static const char *const phases[] = {"unknown", "intend", "outcome", "note", NULL};
        struct entry *e = row;
        (void)a;
        e->seq = (uint64_t)sqlite3_column_int64(q, 0);
        e->step = (uint64_t)sqlite3_column_int64(q, 1);
        int phase = word_index(phases, (const char *)sqlite3_column_text(q, 2));
        int kind = phase == PHASE_NOTE ? STEP_NONE : kind_index((const char *)sqlite3_column_text(q, 3));
        int result = sqlite3_column_type(q, 5) == SQLITE_NULL ? CODE_OK : result_index((const char *)sqlite3_column_text(q, 5));
        if (phase <= 0 || kind < 0 || result < 0)
                return tp_fail(err, CODE_DAMAGED, "entry %" PRIu64 ": phase %s, kind %s, result %s are not words of this build", e->seq,
                               sqlite3_column_text(q, 2), sqlite3_column_text(q, 3), sqlite3_column_text(q, 5));
        e->phase = (enum entry_phase)phase;
        e->kind = (enum step_kind)kind;
        e->rule = (uint16_t)sqlite3_column_int(q, 4);
        e->code = (enum code)result;
        e->boot = (uint32_t)sqlite3_column_int64(q, 6);
        e->boot_ns = sqlite3_column_int64(q, 7);
        e->wall_us = sqlite3_column_int64(q, 8);
        const char *body = (const char *)sqlite3_column_text(q, 9);
        enum code code = entry_body_read(e, body, (size_t)sqlite3_column_bytes(q, 9), err);
        return code ? tp_where(err, "entry %" PRIu64, e->seq) : CODE_OK;
}

enum code view_entries(struct view *v, uint64_t after_seq, size_t limit, struct arena *a, struct entry **ret, size_t *ret_n,
                       struct tp_error *err)
{
        struct rows rows = {.arena = a, .size = sizeof **ret};
        sqlite3_stmt *q = NULL;
        enum code code = view_file(v, err);
        if (!code)
                code = db_ask(
                        &v->file, &q, err,
                        "SELECT seq,step,phase,kind,rule,result,boot,boot_ns,wall_us,body FROM journal WHERE seq>? ORDER BY seq LIMIT ?",
                        "ii", (int64_t)after_seq, limit ? (int64_t)limit : INT64_C(-1));
        if (!code)
                code = rows_read(&v->file, q, &rows, entry_each, err);
        if (code)
                return code;
        *ret = rows.at;
        *ret_n = rows.n;
        return CODE_OK;
}

enum code view_plan(struct view *v, struct arena *a, const char **ret_plan_json, const char **ret_recipe, size_t *ret_recipe_n,
                    struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        bool has = false;
        enum code code = view_file(v, err);
        if (!code)
                code = db_ask(&v->file, &q, err, "SELECT r.plan, d.body FROM run r JOIN document d ON d.sha256=r.recipe", "");
        if (!code)
                code = db_row(&v->file, q, &has, err);
        if (!code && !has)
                code = tp_fail(err, CODE_DAMAGED, "%s: has no plan", v->name);
        if (!code) {
                *ret_plan_json = column_text(q, 0, a);
                *ret_recipe = column_text(q, 1, a);
                *ret_recipe_n = (size_t)sqlite3_column_bytes(q, 1);
                if (!*ret_plan_json || !*ret_recipe)
                        code = tp_fail_memory(err);
        }
        db_end(q);
        return code;
}

/* ---- sweeps ------------------------------------------------------------------------------------------------------------------------- */

#define OF_TOUCH " FROM trust r WHERE r.touchdown=v_sweep.touchdown AND r.quantity=0 ORDER BY entry DESC LIMIT 1)"
#define SWEEP_COLUMNS                                                                                                              \
        "SELECT id,touchdown,use,condition,axis,flags,die_x,die_y,device,kind,outcome,x_um,y_um,bias,temps,(SELECT trust" OF_TOUCH \
        ",(SELECT reason" OF_TOUCH " FROM v_sweep "

static enum code sweep_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct sweep_row *r = row;
        r->id = sqlite3_column_int64(q, 0);
        r->touchdown = sqlite3_column_int64(q, 1);
        column_into(q, 2, r->use, sizeof r->use);
        r->condition = sqlite3_column_int(q, 3);
        r->axis = sqlite3_column_int64(q, 4);
        r->flags = (uint32_t)sqlite3_column_int64(q, 5);
        r->die_x = sqlite3_column_int(q, 6);
        r->die_y = sqlite3_column_int(q, 7);
        column_into(q, 8, r->device, sizeof r->device);
        column_into(q, 9, r->kind, sizeof r->kind);
        column_into(q, 10, r->outcome, sizeof r->outcome);
        r->x_um = sqlite3_column_double(q, 11);
        r->y_um = sqlite3_column_double(q, 12);
        r->bias_json = column_text(q, 13, a);
        r->temps_json = column_text(q, 14, a);
        column_into(q, 15, r->trust, sizeof r->trust);
        column_into(q, 16, r->trust_reason, sizeof r->trust_reason);
        return r->bias_json && r->temps_json ? CODE_OK : tp_fail_memory(err);
}

enum code view_sweep(struct view *v, int64_t id, struct arena *a, struct sweep_row *ret, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        char what[48];
        snprintf(what, sizeof what, "sweep %" PRId64, id);
        memset(ret, 0, sizeof *ret);
        enum code code = view_file(v, err);
        if (!code)
                code = db_ask(&v->file, &q, err, SWEEP_COLUMNS "WHERE id=?", "i", id);
        return code ? code : row_read(&v->file, q, a, ret, sweep_each, what, err);
}

static enum code sweeps(struct view *v, sqlite3_stmt *q, struct arena *a, struct sweep_row **ret, size_t *ret_n, struct tp_error *err)
{
        struct rows rows = {.arena = a, .size = sizeof **ret};
        enum code code = rows_read(&v->file, q, &rows, sweep_each, err);
        if (code)
                return code;
        *ret = rows.at;
        *ret_n = rows.n;
        return CODE_OK;
}

enum code view_sweeps(struct view *v, const char *use, struct arena *a, struct sweep_row **ret, size_t *ret_n, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        enum code code = view_file(v, err);
        if (!code)
                code = db_ask(&v->file, &q, err, SWEEP_COLUMNS "WHERE use=coalesce(?,use) ORDER BY id", "t", use);
        return code ? code : sweeps(v, q, a, ret, ret_n, err);
}

enum code view_unevaluated(struct view *v, int64_t evaluation, struct arena *a, struct sweep_row **ret, size_t *ret_n, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        enum code code = view_file(v, err);
        if (!code)
                code = db_ask(&v->file, &q, err,
                              SWEEP_COLUMNS
                              "WHERE use='device' AND outcome IN('good','doubtful') "
                              "AND NOT EXISTS(SELECT 1 FROM parameter p WHERE p.sweep=v_sweep.id AND p.evaluation=?) ORDER BY id",
                              "i", evaluation);
        return code ? code : sweeps(v, q, a, ret, ret_n, err);
}

enum code view_axis(struct view *v, int64_t axis, struct arena *a, double **ret_hz, size_t *ret_n, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        bool has = false, damaged = false;
        size_t bytes = 0;
        double *hz = NULL;
        uint8_t digest[32];
        enum code code = view_file(v, err);
        if (!code)
                code = db_ask(&v->file, &q, err, "SELECT freq_hz,sha256 FROM axis WHERE id=?", "i", axis);
        if (!code)
                code = db_row(&v->file, q, &has, err);
        if (!code && !has)
                code = tp_fail(err, CODE_NOT_FOUND, "%s: there is no axis %" PRId64, v->name, axis);
        if (!code) {
                sha256_of(sqlite3_column_blob(q, 0), (size_t)sqlite3_column_bytes(q, 0), digest);
                damaged = sqlite3_column_bytes(q, 1) != 32 || memcmp(digest, sqlite3_column_blob(q, 1), 32) != 0;
                hz = arena_take(a, (size_t)sqlite3_column_bytes(q, 0) + 8);
                if (!hz)
                        code = tp_fail_memory(err);
                else {
                        bytes = (size_t)sqlite3_column_bytes(q, 0);
                        if (bytes)
                                memcpy(hz, sqlite3_column_blob(q, 0), bytes);
                }
        }
        db_end(q);
        if (!code && damaged) {
                v->file.faulty = true; /* the next view reads it from the disk again */
                code = tp_fail(err, CODE_DAMAGED, "%s: the frequencies of axis %" PRId64 " do not have the digest stored with them",
                               v->name, axis);
        }
        if (code)
                return code;
        *ret_hz = hz;
        *ret_n = bytes / 8;
        return CODE_OK;
}

enum code view_trace(struct view *v, int64_t sweep, const char *name, struct arena *a, char ret_dtype[8], const void **ret_bytes,
                     size_t *ret_n, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        bool has = false;
        uint8_t digest[16];
        enum code code = view_file(v, err);
        if (!code)
                code = db_ask(&v->file, &q, err, "SELECT dtype,raw,digest,codec FROM trace WHERE sweep=? AND name=?", "it", sweep, name);
        if (!code)
                code = db_row(&v->file, q, &has, err);
        if (!code && !has)
                code = tp_fail(err, CODE_NOT_FOUND, "%s: sweep %" PRId64 " has no trace %.16s", v->name, sweep, name);
        if (!code && strcmp((const char *)sqlite3_column_text(q, 3), "none") != 0)
                code = tp_fail(err, CODE_TOO_NEW,
                               "%s: sweep %" PRId64 ", trace %.16s is packed as \"%s\", which this build does not unpack", v->name, sweep,
                               name, sqlite3_column_text(q, 3));
        if (!code) {
                trace_digest(sqlite3_column_blob(q, 1), (size_t)sqlite3_column_bytes(q, 1), digest);
                if (memcmp(digest, sqlite3_column_blob(q, 2), 16) != 0) {
                        v->file.faulty = true;
                        code = tp_fail(err, CODE_DAMAGED,
                                       "%s: the bytes of sweep %" PRId64 ", trace %.16s do not have the digest stored with them", v->name,
                                       sweep, name);
                }
        }
        if (!code) {
                column_into(q, 0, ret_dtype, 8);
                *ret_bytes = column_bytes(q, 1, a, ret_n);
                if (!*ret_bytes)
                        code = tp_fail_memory(err);
        }
        db_end(q);
        return code;
}
