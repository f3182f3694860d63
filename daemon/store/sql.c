/* sql.c: opening connections, binding by letters, reading columns, and SQLite's results as our codes. */
#include "store/sql.h"
#include "base/hash.h"
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PROGRESS_OPCODES = 1000 };

static int when_late(void *ctx)
{
        struct db *db = ctx;
        if (world_boot_ns(db->world) < db->deadline_ns)
                return 0;
        db->too_late = true;
        return 1;
}

static int on_wal(void *ctx, sqlite3 *at, const char *schema, int pages)
{
        (void)at, (void)schema;
        struct db *db = ctx;
        db->wal_pages = pages;
        return SQLITE_OK;
}

/* A path as a URI: the characters with a meaning there are escaped. */
static bool uri_of(const char *path, const char *query, char *ret, size_t room)
{
        size_t n = (size_t)snprintf(ret, room, "file:");
        for (const char *p = path; *p && n + 4 < room; p++)
                if (strchr("%?#", *p))
                        n += (size_t)snprintf(ret + n, room - n, "%%%02X", (unsigned)(unsigned char)*p);
                else
                        ret[n++] = *p;
        return n + 4 < room && (size_t)snprintf(ret + n, room - n, "?%s", query) < room - n;
}

enum code db_open(struct db *db, const struct world *w, const char *path, const char *name, enum db_mode mode, struct tp_error *err)
{
        *db = (struct db){.name = name, .world = w, .deadline_ns = INT64_MAX};
        char uri[STORE_PATH + 128];
        if (strlen(path) >= sizeof db->path || !uri_of(path, mode == DB_IMMUTABLE ? "immutable=1" : "", uri, sizeof uri))
                return tp_fail(err, CODE_BAD_INPUT, "the path %.80s… of %s is longer than %d characters; choose a shorter directory", path,
                               name, STORE_PATH - 128);
        memcpy(db->path, path, strlen(path) + 1);
        int flags = mode == DB_WRITE            ? SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE
                    : mode == DB_WRITE_EXISTING ? SQLITE_OPEN_READWRITE
                                                : SQLITE_OPEN_READONLY;
        int rc = sqlite3_open_v2(uri, &db->at, flags | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_URI, w->vfs);
        if (rc != SQLITE_OK) {
                db_fail(db, rc, "opening it", err);
                db_close(db);
                return rc == SQLITE_NOMEM ? CODE_MEMORY : err ? err->code : CODE_DISK;
        }
        sqlite3_extended_result_codes(db->at, 1);
        sqlite3_db_config(db->at, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
        sqlite3_db_config(db->at, SQLITE_DBCONFIG_ENABLE_TRIGGER, 1, NULL);
        if (mode == DB_READ || mode == DB_IMMUTABLE) {
                sqlite3_db_config(db->at, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
                sqlite3_busy_timeout(db->at, 100); /* only while the writer recovers or starts its log anew */
                sqlite3_progress_handler(db->at, PROGRESS_OPCODES, when_late, db);
        } else {
                sqlite3_wal_hook(db->at, on_wal, db); /* also: never a checkpoint of its own accord */
        }
        return CODE_OK;
}

void db_close(struct db *db)
{
        for (int i = 0; i < db->kept_n; i++)
                sqlite3_finalize(db->kept[i].stmt);
        db->kept_n = 0;
        if (db->at)
                sqlite3_close(db->at);
        db->at = NULL;
        db->in_transaction = false;
}

static enum code code_of(int rc)
{
        switch (rc & 0xff) {
        case SQLITE_FULL:
                return CODE_DISK_FULL;
        case SQLITE_CORRUPT:
        case SQLITE_NOTADB:
                return CODE_DAMAGED;
        case SQLITE_BUSY:
        case SQLITE_LOCKED:
                return CODE_BUSY;
        case SQLITE_INTERRUPT:
                return CODE_TIMED_OUT;
        case SQLITE_NOMEM:
                return CODE_MEMORY;
        case SQLITE_CONSTRAINT:
                return CODE_STATE;
        case SQLITE_TOOBIG:
                return CODE_BAD_INPUT;
        case SQLITE_ERROR:
        case SQLITE_MISUSE:
        case SQLITE_RANGE:
                return CODE_BUG;
        default:
                return CODE_DISK; /* IOERR, CANTOPEN, READONLY, PERM, AUTH, PROTOCOL … */
        }
}

enum code db_fail(struct db *db, int rc, const char *doing, struct tp_error *err)
{
        enum code code = code_of(rc);
        db->faulty = db->faulty || code != CODE_TIMED_OUT;
        const char *said = db->at ? sqlite3_errmsg(db->at) : sqlite3_errstr(rc);
        switch (code) {
        case CODE_DISK_FULL:
                return tp_fail(err, code, "%s: the disk is full while %s; free some space", db->name, doing);
        case CODE_DAMAGED:
                return tp_fail(err, code, "%s (%s): damaged, found while %s: %s", db->name, db->path, doing, said);
        case CODE_TIMED_OUT:
                return tp_fail(err, code, "%s: the question took longer than its time and was interrupted; ask for less", db->name);
        case CODE_MEMORY:
                return tp_fail_memory(err);
        default:
                break;
        }
        enum code ret = tp_fail(err, code, "%s (%s): %s failed: %s (SQLite %d)", db->name, db->path, doing, said, rc);
        if (err && db->at && code == CODE_DISK)
                err->sys = sqlite3_system_errno(db->at);
        return ret;
}

enum code db_exec(struct db *db, const char *sql, struct tp_error *err)
{
        int rc = sqlite3_exec(db->at, sql, NULL, NULL, NULL);
        return rc == SQLITE_OK ? CODE_OK : db_fail(db, rc, "running its SQL", err);
}

static enum code prepared(struct db *db, const char *sql, sqlite3_stmt **ret, struct tp_error *err)
{
        for (int i = 0; i < db->kept_n; i++)
                if (db->kept[i].sql == sql) {
                        *ret = db->kept[i].stmt;
                        return CODE_OK;
                }
        if (db->kept_n == DB_STATEMENTS)
                return tp_fail(err, CODE_BUG, "%s: more than %d kinds of statement", db->name, DB_STATEMENTS);
        int rc = sqlite3_prepare_v3(db->at, sql, -1, SQLITE_PREPARE_PERSISTENT, ret, NULL);
        if (rc != SQLITE_OK)
                return db_fail(db, rc, "preparing a statement", err);
        db->kept[db->kept_n].sql = sql;
        db->kept[db->kept_n++].stmt = *ret;
        return CODE_OK;
}

static int bind_one(sqlite3_stmt *s, int at, char type, va_list *ap)
{
        static const uint8_t none[32];
        switch (type) {
        case 'i':
                return sqlite3_bind_int64(s, at, va_arg(*ap, int64_t));
        case 'I': {
                int64_t i = va_arg(*ap, int64_t);
                return i ? sqlite3_bind_int64(s, at, i) : sqlite3_bind_null(s, at);
        }
        case 'd':
                return sqlite3_bind_double(s, at, va_arg(*ap, double));
        case 't':
                return sqlite3_bind_text(s, at, va_arg(*ap, const char *), -1, SQLITE_STATIC);
        case 'T': {
                const char *t = va_arg(*ap, const char *);
                return sqlite3_bind_text(s, at, t ? t : "", -1, SQLITE_STATIC);
        }
        case 'b': {
                const void *bytes = va_arg(*ap, const void *);
                size_t n = va_arg(*ap, size_t);
                return bytes ? sqlite3_bind_blob64(s, at, bytes, n, SQLITE_STATIC) : sqlite3_bind_null(s, at);
        }
        case 'h': {
                const uint8_t *h = va_arg(*ap, const uint8_t *);
                return h && memcmp(h, none, 32) ? sqlite3_bind_blob(s, at, h, 32, SQLITE_STATIC) : sqlite3_bind_null(s, at);
        }
        case '-':
                return sqlite3_bind_null(s, at);
        default:
                return SQLITE_MISUSE;
        }
}

static enum code ask(struct db *db, sqlite3_stmt **ret, struct tp_error *err, const char *sql, const char *types, va_list *ap)
{
        sqlite3_stmt *s = NULL;
        enum code code = prepared(db, sql, &s, err);
        if (code)
                return code;
        for (int i = 0; types[i]; i++) {
                int rc = bind_one(s, i + 1, types[i], ap);
                if (rc != SQLITE_OK) {
                        code = db_fail(db, rc, "binding a value", err);
                        db_end(s);
                        return code;
                }
        }
        *ret = s;
        return CODE_OK;
}

enum code db_run(struct db *db, struct tp_error *err, const char *sql, const char *types, ...)
{
        va_list ap;
        va_start(ap, types);
        sqlite3_stmt *s = NULL;
        enum code code = ask(db, &s, err, sql, types, &ap);
        va_end(ap);
        if (code)
                return code;
        int rc = sqlite3_step(s);
        if (rc != SQLITE_DONE && rc != SQLITE_ROW)
                code = db_fail(db, rc, "writing", err);
        db_end(s);
        return code;
}

enum code db_ask(struct db *db, sqlite3_stmt **ret, struct tp_error *err, const char *sql, const char *types, ...)
{
        va_list ap;
        va_start(ap, types);
        *ret = NULL;
        enum code code = ask(db, ret, err, sql, types, &ap);
        va_end(ap);
        return code;
}

enum code db_row(struct db *db, sqlite3_stmt *stmt, bool *ret_has, struct tp_error *err)
{
        int rc = sqlite3_step(stmt);
        *ret_has = rc == SQLITE_ROW;
        return rc == SQLITE_ROW || rc == SQLITE_DONE ? CODE_OK : db_fail(db, rc, "reading", err);
}

void db_end(sqlite3_stmt *stmt)
{
        if (!stmt)
                return;
        sqlite3_reset(stmt);
        sqlite3_clear_bindings(stmt);
}

enum code db_int(struct db *db, int64_t *ret, int64_t absent, struct tp_error *err, const char *sql, const char *types, ...)
{
        va_list ap;
        va_start(ap, types);
        sqlite3_stmt *s = NULL;
        enum code code = ask(db, &s, err, sql, types, &ap);
        va_end(ap);
        bool has = false;
        if (!code)
                code = db_row(db, s, &has, err);
        if (!code)
                *ret = has && sqlite3_column_type(s, 0) != SQLITE_NULL ? sqlite3_column_int64(s, 0) : absent;
        db_end(s);
        return code;
}

enum code db_has_table(struct db *db, const char *name, bool *ret, struct tp_error *err)
{
        int64_t n = 0;
        enum code code = db_int(db, &n, 0, err, "SELECT count(*) FROM sqlite_schema WHERE type='table' AND name=?", "t", name);
        *ret = n > 0;
        return code;
}

void column_into(sqlite3_stmt *stmt, int column, char *ret, size_t room)
{
        const unsigned char *t = sqlite3_column_text(stmt, column);
        snprintf(ret, room, "%s", t ? (const char *)t : "");
}

const char *column_text(sqlite3_stmt *stmt, int column, struct arena *a)
{
        const unsigned char *t = sqlite3_column_text(stmt, column);
        return arena_text(a, t ? (const char *)t : "");
}

const void *column_bytes(sqlite3_stmt *stmt, int column, struct arena *a, size_t *ret_n)
{
        const void *bytes = sqlite3_column_blob(stmt, column);
        size_t n = (size_t)sqlite3_column_bytes(stmt, column);
        char *copy = arena_take(a, n + 1);
        if (copy && n)
                memcpy(copy, bytes, n);
        *ret_n = n;
        return copy;
}

void column_hex(sqlite3_stmt *stmt, int column, char ret[65])
{
        ret[0] = 0;
        if (sqlite3_column_bytes(stmt, column) == 32)
                hex_of(sqlite3_column_blob(stmt, column), 32, ret);
}

/* Civil date from days since 1970-01-01, by the 400-year cycle counted from 1 March of year 0. */
void iso_time(int64_t wall_us, char ret[32])
{
        ret[0] = 0;
        if (wall_us <= 0)
                return;
        int64_t s = wall_us / 1000000, days = s / 86400 + 719468, era = days / 146097, day = days % 146097;
        int64_t year = (day - day / 1460 + day / 36524 - day / 146096) / 365;
        int64_t of_year = day - (365 * year + year / 4 - year / 100), m = (5 * of_year + 2) / 153;
        int64_t month = m < 10 ? m + 3 : m - 9;
        snprintf(ret, 32, "%04d-%02d-%02dT%02d:%02d:%02dZ", (int)(year + era * 400 + (month <= 2)) % 10000, (int)month % 100,
                 (int)(of_year - (153 * m + 2) / 5 + 1) % 100, (int)(s / 3600 % 24), (int)(s / 60 % 60), (int)(s % 60));
}
