/* migrate.c: a database becomes what this build understands, or is refused in one sentence.
 * Rules       migrations are numbered, append-only, applied in one transaction; a catalogue is copied beside itself (catalogue.db.before-N)
 * by the backup API first; run files are never migrated; a database of a later version is not touched. */
#include "store/own.h"
#include "store/schema.h"
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int schema_version(const char *kind)
{
        int version = 0;
        for (size_t i = 0; i < schema_sql_n; i++)
                if (!strcmp(schema_sqls[i].kind, kind) && schema_sqls[i].number > version)
                        version = schema_sqls[i].number;
        return version;
}

/* Further migrations from a directory, for the tests of an upgrade: NNNN_*.sql with numbers above the compiled ones. */
struct extra {
        struct {
                int number;
                char name[80];
        } files[32];
        size_t n;
        int above;
};

static void extra_see(void *ctx, const char *name)
{
        struct extra *e = ctx;
        int number = atoi(name);
        size_t n = strlen(name);
        if (e->n < 32 && number > e->above && n > 8 && n < sizeof e->files[0].name && !strcmp(name + n - 4, ".sql")) {
                e->files[e->n].number = number;
                memcpy(e->files[e->n++].name, name, n + 1);
        }
}

static enum code apply_extra(struct store *s, struct db *db, const char *dir, const struct extra *e, int have, struct tp_error *err)
{
        enum code code = CODE_OK;
        for (size_t i = 0; i < e->n && !code; i++) { /* list() gives names in order */
                char path[STORE_PATH + 96];
                struct text sql;
                if (e->files[i].number <= have)
                        continue;
                snprintf(path, sizeof path, "%s/%s", dir, e->files[i].name);
                text_init(&sql, 1 << 20);
                code = s->w->file->read(s->w, path, 1 << 20, &sql, err);
                if (!code)
                        code = db_exec(db, text_of(&sql), err);
                text_done(&sql);
        }
        return code;
}

static enum code copy_beside(struct store *s, struct db *db, int version, struct tp_error *err)
{
        char to[STORE_PATH + 32];
        snprintf(to, sizeof to, "%s.before-%d", db->path, version);
        sqlite3 *copy = NULL;
        int rc = sqlite3_open_v2(to, &copy, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOMUTEX, s->w->vfs);
        sqlite3_backup *b = rc == SQLITE_OK ? sqlite3_backup_init(copy, "main", db->at, "main") : NULL;
        if (b) {
                sqlite3_backup_step(b, -1);
                rc = sqlite3_backup_finish(b);
        } else if (rc == SQLITE_OK)
                rc = sqlite3_errcode(copy);
        if (rc == SQLITE_OK)
                rc = sqlite3_exec(copy, "PRAGMA journal_mode=DELETE", NULL, NULL, NULL);
        sqlite3_close(copy);
        return rc == SQLITE_OK ? CODE_OK
                               : tp_fail(err, rc == SQLITE_FULL ? CODE_DISK_FULL : CODE_DISK, "the copy %s before the migration failed: %s",
                                         to, sqlite3_errstr(rc));
}

enum code migrate(struct store *s, struct db *db, const char *kind, int application_id, const char *schema_dir, bool *ret_fresh,
                  struct tp_error *err)
{
        int64_t have = 0, tables = 0;
        int want = schema_version(kind);
        char dir[STORE_PATH];
        struct extra extra = {.n = 0, .above = want};
        *ret_fresh = false;
        if (schema_dir) {
                snprintf(dir, sizeof dir, "%s/%s", schema_dir, kind);
                s->w->file->list(s->w, dir, extra_see, &extra, NULL);
                if (extra.n)
                        want = extra.files[extra.n - 1].number;
        }
        enum code code = db_int(db, &have, 0, err, "PRAGMA user_version", "");
        if (!code)
                code = db_int(db, &tables, 0, err, "SELECT count(*) FROM sqlite_schema", "");
        if (code || (have == want && tables))
                return code;
        if (have > want)
                return tp_fail(err, CODE_TOO_NEW,
                               "%s (%s) has schema version %" PRId64
                               ", this build (%s) knows versions up to %d; start the newer build, or restore an older copy",
                               db->name, db->path, have, s->build, want);
        if (have == 0 && tables)
                return tp_fail(err, CODE_DAMAGED, "%s (%s) has tables but no schema version", db->name, db->path);
        *ret_fresh = have == 0;
        if (!*ret_fresh && !strcmp(kind, "catalogue"))
                code = copy_beside(s, db, (int)have, err);
        if (!code)
                code = db_exec(db, "BEGIN IMMEDIATE", err);
        if (code)
                return code;
        for (size_t i = 0; i < schema_sql_n && !code; i++)
                if (!strcmp(schema_sqls[i].kind, kind) && schema_sqls[i].number > have)
                        code = db_exec(db, schema_sqls[i].sql, err);
        if (!code && extra.n)
                code = apply_extra(s, db, dir, &extra, (int)have, err);
        char pragmas[96];
        snprintf(pragmas, sizeof pragmas, "PRAGMA application_id=%d; PRAGMA user_version=%d", application_id, want);
        if (!code)
                code = db_exec(db, pragmas, err);
        if (!code)
                code = db_exec(db, "COMMIT", err);
        if (code) {
                db_exec(db, "ROLLBACK", NULL);
                return tp_where(err, "bringing %s from schema version %" PRId64 " to %d", db->name, have, want);
        }
        return CODE_OK;
}
