/* files.c: names in the directory, the reserve, setting aside, and how a writable connection is settled. */
#include "store/own.h"
#include <stdio.h>
#include <string.h>

void path_in(const struct store *s, const char *relative, char ret[STORE_PATH]) { snprintf(ret, STORE_PATH, "%s/%s", s->dir, relative); }

bool run_path_of(const char *ulid, char ret[RUN_PATH])
{
        static const char digits[] = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
        if (!ulid_valid(ulid))
                return false;
        int64_t ms = 0;
        for (int i = 0; i < 10; i++)
                ms = ms * 32 + (strchr(digits, ulid[i]) - digits);
        char when[32];
        iso_time(ms * 1000 + 1, when);
        snprintf(ret, RUN_PATH, "runs/%.4s/%.2s/%s.run", when, when + 5, ulid);
        return true;
}

/* A damaged file is kept under another name, together with its log: somebody may still read it. */
enum code set_aside(struct store *s, const char *relative, char ret_new[RUN_PATH + 32], struct tp_error *err)
{
        static const char *const tails[] = {"", "-wal", "-journal"};
        char from[STORE_PATH], to[STORE_PATH];
        int64_t size;
        int n = 1;
        for (;; n++) {
                snprintf(ret_new, RUN_PATH + 32, "%s.damaged-%d", relative, n);
                path_in(s, ret_new, to);
                if (s->w->file->size(s->w, to, &size, NULL) == CODE_NOT_FOUND)
                        break;
                if (n >= 1000)
                        return tp_fail(err, CODE_DISK, "%s has been set aside 1000 times already; the disk needs a look", relative);
        }
        enum code code = CODE_OK;
        for (size_t i = 0; i < sizeof tails / sizeof tails[0] && !code; i++) {
                char name[RUN_PATH + 64];
                snprintf(name, sizeof name, "%s%s", relative, tails[i]);
                path_in(s, name, from);
                snprintf(name, sizeof name, "%s%s", ret_new, tails[i]);
                path_in(s, name, to);
                if (s->w->file->size(s->w, from, &size, NULL) == CODE_OK)
                        code = s->w->file->rename(s->w, from, to, err);
        }
        char shm[RUN_PATH + 64];
        snprintf(shm, sizeof shm, "%s-shm", relative);
        path_in(s, shm, from);
        s->w->file->remove(s->w, from, NULL);
        return code;
}

bool reserve_take(struct store *s)
{
        char path[STORE_PATH];
        int64_t size = 0;
        path_in(s, "reserve", path);
        if (s->w->file->size(s->w, path, &size, NULL) == CODE_OK && size >= s->sizes.reserve_bytes)
                return true;
        return s->w->file->reserve(s->w, path, s->sizes.reserve_bytes, NULL) == CODE_OK;
}

void reserve_release(struct store *s)
{
        char path[STORE_PATH];
        path_in(s, "reserve", path);
        s->w->file->remove(s->w, path, NULL);
}

/* The log is never emptied by SQLite on its own: only this connection does it, when the writer says so.  Versions of SQLite before 3.51.3
   can damage a file when one connection empties the log while another commits; with one writing and checkpointing connection per file that
   cannot happen. */
enum code db_settle(struct db *db, int application_id, bool normal_sync, struct tp_error *err)
{
        int64_t id = 0, tables = 0;
        enum code code = db_int(db, &id, 0, err, "PRAGMA application_id", "");
        if (!code)
                code = db_int(db, &tables, 0, err, "SELECT count(*) FROM sqlite_schema", "");
        if (code)
                return code;
        if ((id != 0 || tables) && id != application_id)
                return tp_fail(err, CODE_DAMAGED, "%s (%s): is another kind of database (application_id 0x%08x, not 0x%08x)", db->name,
                               db->path, (unsigned)id, (unsigned)application_id);
        sqlite3_stmt *q = NULL;
        bool has = false, wal = false;
        code = db_ask(db, &q, err, "PRAGMA journal_mode=WAL", "");
        if (!code)
                code = db_row(db, q, &has, err);
        if (!code)
                wal = has && !strcmp((const char *)sqlite3_column_text(q, 0), "wal");
        db_end(q);
        if (!code && !wal)
                return tp_fail(err, CODE_DISK, "%s (%s): SQLite cannot keep a write-ahead log there; choose a local directory", db->name,
                               db->path);
        if (!code)
                code = db_exec(db, normal_sync ? "PRAGMA synchronous=NORMAL" : "PRAGMA synchronous=FULL", err);
        if (!code)
                code = db_exec(db, "PRAGMA foreign_keys=ON; PRAGMA cache_size=-2048; PRAGMA temp_store=MEMORY; PRAGMA secure_delete=OFF",
                               err);
        return code;
}

enum code db_check(struct db *db, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        bool has = false;
        enum code code = db_ask(db, &q, err, "PRAGMA quick_check(1)", "");
        if (!code)
                code = db_row(db, q, &has, err);
        if (!code && has && strcmp((const char *)sqlite3_column_text(q, 0), "ok") != 0)
                code = tp_fail(err, CODE_DAMAGED, "%s (%s): damaged: %.200s", db->name, db->path, (const char *)sqlite3_column_text(q, 0));
        db_end(q);
        return code;
}
