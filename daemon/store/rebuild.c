/* rebuild.c: index.db from the run files.  Each start compares the catalogue's runs with the index's rows and makes what is missing or
   behind; so a deleted index is only the case where all of it is missing, and an interrupted rebuild goes on where it stopped. */
#include "store/own.h"
#include <stdlib.h>
#include <string.h>

struct catalogue_row {
        char id[27], path[RUN_PATH], state[16];
        int64_t number, opened_us;
};

static enum code copy_row(struct store *s, struct db *from, const struct catalogue_row *row, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        bool has = false;
        enum code code =
                db_ask(from, &q, err,
                       "SELECT r.kind,r.lot,r.wafer,r.recipe,d.name,r.began_us,s.state,s.waiting_for,s.counts,s.map FROM run r, state s "
                       "LEFT JOIN document d ON d.sha256=r.recipe",
                       "");
        if (!code)
                code = db_row(from, q, &has, err);
        if (!code && has) {
                const char *t[10];
                for (int i = 0; i < 10; i++)
                        t[i] = i == 3 || i == 5 ? NULL : (const char *)sqlite3_column_text(q, i);
                code = db_run(&s->index, err, "INSERT OR REPLACE INTO run_row VALUES(?,?,?,?,?,?,?,?,?,?,?,?,?)", "itttTbTiTTTTt",
                              row->number, row->id, t[0], t[1], t[2], sqlite3_column_blob(q, 3), (size_t)sqlite3_column_bytes(q, 3), t[4],
                              sqlite3_column_int64(q, 5), t[6], t[7], t[8], t[9], row->state);
        }
        db_end(q);
        if (!code && !has)
                code = tp_fail(err, CODE_DAMAGED, "run %s does not describe itself", row->id);
        return code;
}

/* Of a run whose file cannot be read: what the catalogue knows. */
static enum code bare_row(struct store *s, const struct catalogue_row *row, struct tp_error *err)
{
        return db_run(&s->index, err,
                      "INSERT INTO run_row VALUES(?,?,'wafer',NULL,NULL,NULL,'',?,?,'','{}','{}',?) ON CONFLICT(n) DO UPDATE SET "
                      "file_state=excluded.file_state",
                      "ititt", row->number, row->id, row->opened_us, row->state, row->state);
}

static enum code refresh(struct store *s, const struct catalogue_row *row, struct tp_error *err)
{
        struct run_slot *slot = slot_find(s, row->id);
        if (slot)
                return copy_row(s, &slot->db, row, err);
        if (strcmp(row->state, "sealed") != 0)
                return bare_row(s, row, err);
        char path[STORE_PATH];
        struct db db;
        path_in(s, row->path, path);
        enum code code = db_open(&db, s->w, path, row->id, DB_IMMUTABLE, err);
        if (!code)
                code = copy_row(s, &db, row, err);
        db_close(&db);
        return code && code != CODE_DISK_FULL && code != CODE_MEMORY ? bare_row(s, row, err) : code;
}

static void read_row(sqlite3_stmt *q, struct catalogue_row *row)
{
        column_into(q, 0, row->id, sizeof row->id);
        column_into(q, 1, row->path, sizeof row->path);
        column_into(q, 2, row->state, sizeof row->state);
        row->number = sqlite3_column_int64(q, 3);
        row->opened_us = sqlite3_column_int64(q, 4);
}

enum code index_refresh(struct store *s, const char *run, struct tp_error *err)
{
        struct catalogue_row row;
        sqlite3_stmt *q = NULL;
        bool has = false;
        enum code code = db_ask(&s->catalogue, &q, err, "SELECT id,path,state,number,opened_us FROM run WHERE id=?", "t", run);
        if (!code)
                code = db_row(&s->catalogue, q, &has, err);
        if (!code && has)
                read_row(q, &row);
        db_end(q);
        return code || !has ? code : refresh(s, &row, err);
}

static enum code is_current(struct store *s, const struct catalogue_row *row, bool *ret, struct tp_error *err)
{
        int64_t same = 0;
        enum code code = CODE_OK;
        if (strcmp(row->state, "open") != 0)
                code = db_int(&s->index, &same, 0, err, "SELECT 1 FROM run_row WHERE n=? AND id=? AND file_state=?", "itt", row->number,
                              row->id, row->state);
        *ret = same;
        return code;
}

enum code index_fill(struct store *s, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        enum code code = db_exec(&s->index, "BEGIN IMMEDIATE", err);
        if (!code)
                code = db_ask(&s->catalogue, &q, err, "SELECT id,path,state,number,opened_us FROM run ORDER BY number", "");
        for (bool has = true, current; !code;) {
                struct catalogue_row row;
                code = db_row(&s->catalogue, q, &has, err);
                if (code || !has)
                        break;
                read_row(q, &row);
                code = is_current(s, &row, &current, err);
                if (!code && !current)
                        code = refresh(s, &row, err);
        }
        db_end(q);
        if (!code)
                code = db_exec(&s->index, "COMMIT", err);
        else
                db_exec(&s->index, "ROLLBACK", NULL);
        return code;
}
