/* sql.h: SQLite with our errors.  A struct db is one connection, used by one task at a time; statements are prepared once and kept by the
   address of their text, so every `sql` given here must be a string literal. */
#ifndef TIPPLANE_STORE_SQL_H
#define TIPPLANE_STORE_SQL_H
#include "base/arena.h"
#include "base/world.h"
#include <sqlite3.h>

#define STORE_PATH 512
enum { DB_STATEMENTS = 64, PAGE_BYTES = 4096 };
struct db {
        sqlite3 *at;
        char path[STORE_PATH];
        const char *name; /* for sentences: "catalogue.db", "run 01J…" */
        struct {
                const char *sql;
                sqlite3_stmt *stmt;
        } kept[DB_STATEMENTS];
        int kept_n;
        bool in_transaction, wrote; /* wrote: since the last checkpoint */
        int wal_pages;              /* after the last commit */
        int64_t deadline_ns;        /* readers: interrupted then */
        const struct world *world;
        bool too_late; /* the deadline has interrupted */
        bool faulty;   /* something failed that is no deadline: what this connection remembers may be wrong */
};
enum db_mode { DB_WRITE /* create if absent */, DB_WRITE_EXISTING, DB_READ, DB_IMMUTABLE };

/* `db` is zeroed first.  On failure nothing stays open. */
enum code db_open(struct db *db, const struct world *w, const char *path, const char *name, enum db_mode mode, struct tp_error *err);
void db_close(struct db *db); /* zeroed and closed ones are fine */
/* The sentence and code of the connection's last error: CODE_DISK_FULL, CODE_DISK, CODE_DAMAGED, CODE_STATE (constraint), CODE_TIMED_OUT …
 */
enum code db_fail(struct db *db, int rc, const char *doing, struct tp_error *err);
enum code db_exec(struct db *db, const char *sql, struct tp_error *err); /* any text, not kept */

/* Values by one letter each: i int64_t · I int64_t, 0 becomes NULL · d double · t const char * (NULL: NULL) · T the same, NULL becomes '' ·
   b const void *, size_t (copied never: valid until the statement ends) · h const uint8_t[32], all zero becomes NULL · - NULL, no argument.
 */
enum code db_run(struct db *db, struct tp_error *err, const char *sql, const char *types, ...);
/* Starts a question; rows by db_row(), the end by db_end() (always). */
enum code db_ask(struct db *db, sqlite3_stmt **ret, struct tp_error *err, const char *sql, const char *types, ...);
enum code db_row(struct db *db, sqlite3_stmt *stmt, bool *ret_has, struct tp_error *err);
void db_end(sqlite3_stmt *stmt); /* NULL is fine */
/* One integer; `absent` when there is no row or it is NULL. */
enum code db_int(struct db *db, int64_t *ret, int64_t absent, struct tp_error *err, const char *sql, const char *types, ...);
enum code db_has_table(struct db *db, const char *name, bool *ret, struct tp_error *err);

/* Columns: text never NULL (""), copied into the caller's room or arena. */
void column_into(sqlite3_stmt *stmt, int column, char *ret, size_t room);
const char *column_text(sqlite3_stmt *stmt, int column, struct arena *a); /* NULL: memory */
const void *column_bytes(sqlite3_stmt *stmt, int column, struct arena *a, size_t *ret_n);
void column_hex(sqlite3_stmt *stmt, int column, char ret[65]);
void iso_time(int64_t wall_us, char ret[32]); /* "2025-03-01T23:10:04Z", "" for 0 */

#endif
