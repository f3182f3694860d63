/* view.c: opening and closing views, and gathering rows.
 * A sealed run is opened immutable, and may stay open for the next question (view_kept.c); a live one read-only, counted, so that a seal
 * can wait for its readers.  No view ever empties a log. */
#include "store/view_own.h"
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void lock(struct store *s) { s->w->task->lock(s->w, s->mutex); }
static void unlock(struct store *s) { s->w->task->unlock(s->w, s->mutex); }

#define GATE_NS (100 * NS_PER_MS)

/* With the mutex held: true after a short sleep (the mutex was given up, look again), false when the way is free or enough was waited. */
static bool wait_at(struct store *s, const struct gate *gate, int64_t until)
{
        int64_t now = world_boot_ns(s->w);
        if (!gate->shut || now >= until)
                return false;
        unlock(s);
        s->w->task->sleep_until(s->w, now + NS_PER_MS);
        lock(s);
        return true;
}

enum code view_catalogue(struct view *v, struct tp_error *err)
{
        if (v->catalogue.at)
                return CODE_OK;
        char path[STORE_PATH];
        int64_t until = world_boot_ns(v->s->w) + GATE_NS;
        lock(v->s);
        while (wait_at(v->s, &v->s->gate, until))
                ;
        v->s->gate.readers += !v->counted;
        v->counted = true;
        unlock(v->s);
        path_in(v->s, "catalogue.db", path);
        enum code code = db_open(&v->catalogue, v->s->w, path, "catalogue.db", DB_READ, err);
        if (code)
                return code;
        v->catalogue.deadline_ns = v->deadline_ns;
        code = db_run(&v->catalogue, err, "BEGIN", "");
        if (code)
                db_close(&v->catalogue);
        return code;
}

static void index_report(struct store *s)
{
        lock(s);
        if (!s->index_is_lost && !s->closing)
                s->index_is_lost = s->w->task->post(s->w, s->in, &s->index_lost);
        unlock(s);
}

static enum code index_busy(struct tp_error *err)
{
        return tp_fail(err, CODE_BUSY, "index.db was lost and is being made again from the run files; ask again in a moment");
}

enum code view_index_done(struct view *v, enum code code, struct tp_error *err)
{
        if (code != CODE_DAMAGED || !v->has_index)
                return code;
        index_report(v->s);
        return index_busy(err);
}

/* index.db may be deleted at any time: whoever notices tells the writer, which makes it again. */
enum code view_index(struct view *v, struct tp_error *err)
{
        struct store *s = v->s;
        char path[STORE_PATH];
        int64_t size;
        enum code code = view_catalogue(v, err);
        if (code || v->has_index)
                return code;
        path_in(s, "index.db", path);
        if (s->w->file->size(s->w, path, &size, NULL) == CODE_NOT_FOUND)
                index_report(s);
        lock(s);
        bool is_lost = s->index_is_lost; /* it may be there, and not filled yet */
        unlock(s);
        if (is_lost)
                return index_busy(err);
        code = db_run(&v->catalogue, err, "ATTACH ? AS ix", "t", path);
        v->has_index = true;
        return view_index_done(v, code, err);
}

enum code view_file(struct view *v, struct tp_error *err)
{
        return v->file.at ? CODE_OK : tp_fail(err, CODE_STATE, "this question is about a run, and the view was opened without one");
}

/* Where the file lies and how it may be opened.  A live one is counted from here on. */
static enum code find_file(struct view *v, const char *run, char ret[STORE_PATH], enum db_mode *ret_mode, struct tp_error *err)
{
        struct store *s = v->s;
        char relative[RUN_PATH] = "", state[16] = "";
        int64_t until = world_boot_ns(s->w) + GATE_NS;
        lock(s);
        struct run_slot *slot = slot_find(s, run);
        while (slot && !slot->closing && wait_at(s, &slot->gate, until))
                slot = slot_find(s, run); /* it may have been sealed meanwhile */
        bool closing = slot && slot->closing;
        if (slot && !closing) {
                slot->gate.readers++;
                v->slot = slot;
                path_in(s, slot->path, ret);
        }
        unlock(s);
        *ret_mode = DB_READ;
        if (closing)
                return tp_fail(err, CODE_BUSY, "run %s is being sealed; ask again in a second", run);
        if (slot)
                return CODE_OK;
        sqlite3_stmt *q = NULL;
        bool has = false;
        enum code code = view_catalogue(v, err);
        if (!code)
                code = db_ask(&v->catalogue, &q, err, "SELECT path,state FROM run WHERE id=?", "t", run);
        if (!code)
                code = db_row(&v->catalogue, q, &has, err);
        if (!code && has) {
                column_into(q, 0, relative, sizeof relative);
                column_into(q, 1, state, sizeof state);
        }
        db_end(q);
        if (code)
                return code;
        if (!has)
                return tp_fail(err, CODE_NOT_FOUND, "there is no run %.30s", run);
        if (!strcmp(state, "damaged"))
                return tp_fail(err, CODE_DAMAGED, "run %s is damaged; its file is kept as %s/%s", run, s->dir, relative);
        if (!strcmp(state, "gone"))
                return tp_fail(err, CODE_NOT_FOUND, "run %s was moved to an archive; its file was %s", run, relative);
        path_in(s, relative, ret);
        *ret_mode = !strcmp(state, "sealed") ? DB_IMMUTABLE : DB_READ;
        return CODE_OK;
}

static enum code open_file(struct view *v, const char *run, struct tp_error *err)
{
        char path[STORE_PATH];
        enum db_mode mode;
        int64_t id = 0, version = 0;
        snprintf(v->run, sizeof v->run, "%s", run);
        snprintf(v->name, sizeof v->name, "run %s", v->run);
        enum code code = find_file(v, run, path, &mode, err);
        bool is_known = !code && mode == DB_IMMUTABLE && v->s->w->file->identity(v->s->w, path, &v->identity, NULL) == CODE_OK;
        if (!code)
                code = db_open(&v->file, v->s->w, path, v->name, mode, err);
        if (code)
                return code;
        v->file.deadline_ns = v->deadline_ns;
        code = db_run(&v->file, err, "BEGIN", "");
        if (!code)
                code = db_int(&v->file, &id, 0, err, "PRAGMA application_id", "");
        if (!code)
                code = db_int(&v->file, &version, 0, err, "PRAGMA user_version", "");
        if (!code && id != APP_RUN)
                code = tp_fail(err, CODE_DAMAGED, "%s (%s): is not the file of a run", v->name, path);
        if (!code && version > schema_version("run"))
                code = tp_fail(err, CODE_TOO_NEW,
                               "%s (%s) has schema version %" PRId64
                               ", this build (%s) knows versions up to %d; open it with the newer build",
                               v->name, path, version, v->s->build, schema_version("run"));
        v->is_sealed = is_known && !code;
        return code;
}

struct view *view_open(struct store *s, const char *run, int64_t deadline_ns, struct tp_error *err)
{
        struct view *v = run ? kept_take(s, run, deadline_ns) : NULL;
        if (v)
                return v;
        v = calloc(1, sizeof *v);
        if (!v) {
                tp_fail_memory(err);
                return NULL;
        }
        v->s = s;
        v->deadline_ns = deadline_ns;
        if ((run ? open_file(v, run, err) : view_catalogue(v, err)) == CODE_OK)
                return v;
        view_close(v);
        return NULL;
}

/* All but the run's file. */
static void leave_catalogue(struct view *v)
{
        db_close(&v->catalogue);
        lock(v->s);
        v->s->gate.readers -= v->counted;
        unlock(v->s);
        v->counted = v->has_index = false;
}

void view_free(struct view *v)
{
        if (!v)
                return;
        db_close(&v->file);
        leave_catalogue(v);
        lock(v->s);
        if (v->slot)
                v->slot->gate.readers--;
        unlock(v->s);
        free(v);
}

void view_close(struct view *v)
{
        if (!v)
                return;
        leave_catalogue(v);
        if (!kept_give(v))
                view_free(v);
}

void *rows_add(struct rows *r)
{
        if (r->n == r->room) {
                size_t room = r->room ? 2 * r->room : 16;
                void *more = arena_take(r->arena, room * r->size);
                if (!more)
                        return NULL;
                if (r->n)
                        memcpy(more, r->at, r->n * r->size);
                r->at = more;
                r->room = room;
        }
        void *row = (char *)r->at + r->n++ * r->size;
        memset(row, 0, r->size);
        return row;
}

enum code rows_read(struct db *db, sqlite3_stmt *q, struct rows *r, row_fn *each, struct tp_error *err)
{
        enum code code = CODE_OK;
        for (bool has = true; !code;) {
                code = db_row(db, q, &has, err);
                if (code || !has)
                        break;
                void *row = rows_add(r);
                code = row ? each(q, r->arena, row, err) : tp_fail_memory(err);
        }
        db_end(q);
        return code;
}

enum code row_read(struct db *db, sqlite3_stmt *q, struct arena *a, void *ret, row_fn *each, const char *what, struct tp_error *err)
{
        bool has = false;
        enum code code = db_row(db, q, &has, err);
        if (!code)
                code = has ? each(q, a, ret, err) : tp_fail(err, CODE_NOT_FOUND, "%s: there is no %s", db->name, what);
        db_end(q);
        return code;
}
