/* slots.c: the open runs.  One slot is one run file with its only writable connection, from its creation to its seal. */
#include "store/own.h"
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SEAL_POLL_MS = 5, SEAL_WAIT_S = 20 };

struct run_slot *slot_find(struct store *s, const char *run)
{
        for (int i = 0; i < s->slot_n; i++)
                if (!strcmp(s->slots[i]->id, run))
                        return s->slots[i];
        return NULL;
}

static void slot_list(struct store *s, struct run_slot *slot)
{
        s->w->task->lock(s->w, s->mutex);
        s->slots[s->slot_n++] = slot;
        s->w->task->unlock(s->w, s->mutex);
}

void slot_drop(struct store *s, struct run_slot *slot)
{
        s->w->task->lock(s->w, s->mutex);
        for (int i = 0; i < s->slot_n; i++)
                if (s->slots[i] == slot) {
                        memmove(&s->slots[i], &s->slots[i + 1], (size_t)(s->slot_n - i - 1) * sizeof s->slots[0]);
                        s->slot_n--;
                        break;
                }
        s->w->task->unlock(s->w, s->mutex);
        db_close(&slot->db);
        free(slot);
}

static enum code slot_make(struct store *s, const char *run, int64_t number, const char *path, struct run_slot **ret, struct tp_error *err)
{
        if (s->slot_n == RUNS_OPEN_MAX)
                return tp_fail(err, CODE_BUSY, "%d runs are open already; finish one first", RUNS_OPEN_MAX);
        struct run_slot *slot = calloc(1, sizeof *slot);
        if (!slot)
                return tp_fail_memory(err);
        snprintf(slot->id, sizeof slot->id, "%s", run);
        snprintf(slot->path, sizeof slot->path, "%s", path);
        snprintf(slot->name, sizeof slot->name, "run %s", run);
        slot->number = number;
        *ret = slot;
        return CODE_OK;
}

static enum code last_seq(struct run_slot *slot, struct tp_error *err)
{
        int64_t seq = 0;
        enum code code = db_int(&slot->db, &seq, 0, err, "SELECT max(seq) FROM journal", "");
        slot->last_seq = (uint64_t)seq;
        return code;
}

enum code slot_create(struct store *s, const char *run, int64_t number, struct run_slot **ret, struct tp_error *err)
{
        char relative[RUN_PATH], dir[STORE_PATH], path[STORE_PATH];
        int64_t size;
        bool fresh;
        if (!run_path_of(run, relative))
                return tp_fail(err, CODE_BAD_INPUT, "\"%.40s\" is not the id of a run (26 characters, a ULID)", run);
        path_in(s, relative, path);
        snprintf(dir, sizeof dir, "%.*s", (int)(strrchr(path, '/') - path), path);
        enum code code = s->w->file->make_dir(s->w, dir, err);
        if (code)
                return code;
        if (s->w->file->size(s->w, path, &size, NULL) == CODE_OK) {
                /* left by a creation that was cut off before the catalogue knew of it: nothing in it was ever answered */
                char aside[RUN_PATH + 32];
                code = set_aside(s, relative, aside, err);
                if (code)
                        return code;
        }
        struct run_slot *slot = NULL;
        code = slot_make(s, run, number, relative, &slot, err);
        if (code)
                return code;
        code = db_open(&slot->db, s->w, path, slot->name, DB_WRITE, err);
        if (!code)
                code = db_settle(&slot->db, APP_RUN, false, err);
        if (!code)
                code = migrate(s, &slot->db, "run", APP_RUN, NULL, &fresh, err);
        if (code) {
                db_close(&slot->db);
                free(slot);
                return code;
        }
        slot_list(s, slot);
        *ret = slot;
        return CODE_OK;
}

/* Of an existing file; a later schema is CODE_TOO_NEW, what cannot be read CODE_DAMAGED or CODE_NOT_FOUND, a creation cut off CODE_STATE.
 */
enum code slot_open(struct store *s, const char *run, int64_t number, const char *relative, struct run_slot **ret, struct tp_error *err)
{
        char path[STORE_PATH];
        int64_t size, closed = 0, version = 0;
        path_in(s, relative, path);
        enum code code = s->w->file->size(s->w, path, &size, NULL);
        if (code)
                return tp_fail(err, code, "run %s: its file %s is missing", run, path);
        struct run_slot *slot = NULL;
        code = slot_make(s, run, number, relative, &slot, err);
        if (code)
                return code;
        code = db_open(&slot->db, s->w, path, slot->name, DB_WRITE_EXISTING, err);
        if (!code)
                code = db_check(&slot->db, err);
        if (!code)
                code = db_int(&slot->db, &version, 0, err, "PRAGMA user_version", "");
        if (!code && version > schema_version("run"))
                code = tp_fail(err, CODE_TOO_NEW,
                               "%s (%s) has schema version %" PRId64 ", this build (%s) knows versions up to %d; start the newer build",
                               slot->name, path, version, s->build, schema_version("run"));
        if (!code && version == 0) /* an older one goes on as it was begun: a run file is never migrated */
                code = tp_fail(err, CODE_STATE, "%s (%s): has no schema: its creation was cut off", slot->name, path);
        if (!code)
                code = db_int(&slot->db, &closed, 0, err, "SELECT closed_us FROM run", "");
        if (!code && !closed) /* a run whose seal has begun stays in the mode it is in: the file may be read-only by now */
                code = db_settle(&slot->db, APP_RUN, false, err);
        if (!code)
                code = last_seq(slot, err);
        if (code) {
                db_close(&slot->db);
                free(slot);
                return code;
        }
        slot_list(s, slot);
        *ret = slot;
        return CODE_OK;
}

/* A new handle after a failure.  What was answered before must still be there. */
enum code slot_reopen(struct store *s, struct run_slot *slot, struct tp_error *err)
{
        char path[STORE_PATH];
        uint64_t known = slot->last_seq;
        db_close(&slot->db);
        path_in(s, slot->path, path);
        enum code code = db_open(&slot->db, s->w, path, slot->name, DB_WRITE_EXISTING, err);
        if (!code)
                code = db_settle(&slot->db, APP_RUN, false, err);
        if (!code)
                code = last_seq(slot, err);
        if (!code && slot->last_seq < known)
                code = tp_fail(err, CODE_DAMAGED, "%s: entry %" PRIu64 " was on disk, now the last one is %" PRIu64 "; the disk forgets",
                               slot->name, known, slot->last_seq);
        return code;
}

/* Readers out and none let in; SQLite reports both steps busy while any other connection is open. */
static enum code readers_out(struct store *s, struct run_slot *slot, struct tp_error *err)
{
        int64_t until = world_boot_ns(s->w) + SEAL_WAIT_S * NS_PER_S;
        for (;;) {
                s->w->task->lock(s->w, s->mutex);
                slot->closing = true;
                int readers = slot->gate.readers;
                s->w->task->unlock(s->w, s->mutex);
                if (readers == 0)
                        return CODE_OK;
                int64_t now = world_boot_ns(s->w);
                if (now >= until) {
                        s->w->task->lock(s->w, s->mutex);
                        slot->closing = false;
                        s->w->task->unlock(s->w, s->mutex);
                        return tp_fail(err, CODE_BUSY, "%s cannot be sealed: %d readers hold its file for more than %d s; try again",
                                       slot->name, readers, SEAL_WAIT_S);
                }
                s->w->task->sleep_until(s->w, now + SEAL_POLL_MS * NS_PER_MS);
        }
}

/* Each step may be done already: a cut at any of them is finished by the next start. */
enum code slot_seal(struct store *s, struct run_slot *slot, struct tp_error *err)
{
        char path[STORE_PATH], run[27];
        uint8_t digest[32];
        sqlite3_stmt *q = NULL;
        bool has = false;
        memcpy(run, slot->id, sizeof run);
        enum code code = readers_out(s, slot, err);
        if (code)
                return code;
        if (!sqlite3_db_readonly(slot->db.at, "main")) {
                int rc = sqlite3_wal_checkpoint_v2(slot->db.at, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL);
                if (rc != SQLITE_OK)
                        return db_fail(&slot->db, rc, "emptying its log", err);
                code = db_ask(&slot->db, &q, err, "PRAGMA journal_mode=DELETE", "");
                if (!code)
                        code = db_row(&slot->db, q, &has, err);
                if (!code && (!has || strcmp((const char *)sqlite3_column_text(q, 0), "delete") != 0))
                        code = tp_fail(err, CODE_BUSY, "%s cannot be sealed: SQLite keeps its log in mode %s", slot->name,
                                       has ? (const char *)sqlite3_column_text(q, 0) : "?");
                db_end(q);
                if (code)
                        return code;
        }
        path_in(s, slot->path, path);
        db_close(&slot->db);
        code = s->w->file->seal(s->w, path, digest, err);
        if (!code)
                code = db_run(&s->catalogue, err, "UPDATE run SET state='sealed', sealed_sha256=? WHERE id=? AND state='open'", "bt",
                              (const void *)digest, (size_t)32, run);
        slot_drop(s, slot); /* also after a failure: the file is closed to writing, the next start seals it to the end */
        code = code ? tp_where(err, "sealing run %s", run) : index_refresh(s, run, err);
        s->w->task->lock(s->w, s->mutex);
        s->sealed_version++;
        s->w->task->unlock(s->w, s->mutex);
        return code;
}
