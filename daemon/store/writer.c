/* writer.c: the store's one task.  Takes works in the order they came, writes what waits as one batch, answers after the sync.
 * Waiting     a durable work is written at once with all that waits; lazy ones alone may wait 100 ms for company.
 * Logs        PASSIVE when a log has 1000 pages, TRUNCATE above 2000 and when nothing has come for a second.  Never by SQLite itself.  A
 * log above 2000 pages shuts the gate: new views wait until the ones there are have ended and the log is empty, or for 100 ms. Disk full
 * the reserve is given back to the file system, lazy works are refused, durable ones go on: a safe end must still be written. A failure of
 * a write or sync is never repeated on the same handle: all files are closed, opened anew, what was answered before must be there, the logs
 * are emptied (which syncs); then the batch is written once more.  If that fails too, every work gets CODE_DISK until the next start. */
#include "store/batch.h"
#include <stdlib.h>
#include <string.h>

enum { BATCH_BYTES = 4 << 20, LAZY_WAIT_MS = 100, PAGES_PASSIVE = 1000, PAGES_TRUNCATE = 2000, GATE_POLL_MS = 2, ANSWER_TRIES = 1000 };

static void lock(struct store *s) { s->w->task->lock(s->w, s->mutex); }
static void unlock(struct store *s) { s->w->task->unlock(s->w, s->mutex); }

static bool has_seal(const struct work *w)
{
        for (size_t i = 0; i < w->fact_n; i++)
                if (w->facts[i].kind == FACT_RUN_SEAL)
                        return true;
        return false;
}

static void batch_add(struct batch *b, struct message *m)
{
        struct item *item = (struct item *)(void *)m;
        b->items[b->n++] = item;
        b->bytes += item->bytes;
        b->ends = has_seal(item->work) || b->n == BATCH_WORKS || b->bytes >= BATCH_BYTES;
}

/* The index was deleted, or a view found it damaged.  Between batches, so no transaction is open. */
static void index_again(struct store *s)
{
        char aside[RUN_PATH + 32] = "";
        struct tp_error err = {.code = CODE_OK};
        db_close(&s->index);
        enum code code = index_open(s, NULL, true, aside, &err);
        if (!code)
                code = index_fill(s, &err);
        lock(s);
        s->sealed_version++;
        s->index_is_lost = false;
        if (code)
                s->health.failed = true; /* nothing can be created in the directory any more */
        unlock(s);
}

/* Waits until `idle_ns` for a first work, then gathers.  False when nothing came; *ret_close when the store is to end after this batch. */
static bool batch_collect(struct store *s, struct batch *b, int64_t idle_ns, bool *ret_close)
{
        struct message *m = s->w->task->take(s->w, s->in, idle_ns);
        int64_t until = world_boot_ns(s->w) + LAZY_WAIT_MS * NS_PER_MS;
        bool is_hasty = false;
        b->n = b->bytes = 0;
        b->ends = b->catalogue_done = false;
        while (m) {
                if (m->kind == MESSAGE_CLOSE) {
                        *ret_close = true;
                        break;
                }
                if (m->kind == MESSAGE_INDEX) {
                        index_again(s);
                        m = s->w->task->take(s->w, s->in, b->n ? 0 : idle_ns);
                        continue;
                }
                batch_add(b, m);
                is_hasty = is_hasty || b->items[b->n - 1]->durability == DURABLE;
                if (b->ends)
                        break;
                m = s->w->task->take(s->w, s->in, is_hasty ? 0 : until);
        }
        return b->n > 0;
}

static void answer(struct store *s, struct item *item)
{
        struct store_done *done = item->done;
        struct inbox *to = item->work->answer;
        if (done) {
                done->cookie = item->work->cookie;
                done->code = item->code;
                done->err = item->err;
                done->event_seq = item->event_seq;
                done->duplicate = item->duplicate && !item->code;
        }
        lock(s);
        if (item->durability == DURABLE) { /* first in, first answered */
                s->oldest = item->next_durable;
                if (!s->oldest)
                        s->newest = NULL;
        }
        s->waiting_bytes -= (int64_t)item->bytes;
        s->waiting_n--;
        unlock(s);
        work_free(item->work); /* the item with it */
        if (!done)
                return;
        for (int tries = 0; !s->w->task->post(s->w, to, &done->message);
             tries++) { /* an outcome is never dropped while somebody may still take it */
                if (tries == ANSWER_TRIES) {
                        free(done);
                        return;
                }
                s->w->task->sleep_until(s->w, world_boot_ns(s->w) + 5 * NS_PER_MS);
        }
}

static void decide_all(struct batch *b, enum code code, const struct tp_error *err, bool lazy_only)
{
        for (size_t i = 0; i < b->n; i++) {
                struct item *item = b->items[i];
                if (item->decided || (lazy_only && item->durability == DURABLE))
                        continue;
                item->decided = true;
                item->code = code;
                item->err = *err;
        }
}

void db_checkpoint(struct db *db, bool truncate)
{
        if (sqlite3_wal_checkpoint_v2(db->at, NULL, truncate ? SQLITE_CHECKPOINT_TRUNCATE : SQLITE_CHECKPOINT_PASSIVE, NULL, NULL) ==
                    SQLITE_OK &&
            truncate) {
                db->wrote = false;
                db->wal_pages = 0;
        }
}

/* Every handle is closed and opened anew; CODE_OK when all that was answered before is still there and the disk takes a sync again. */
static enum code reopen(struct store *s, struct tp_error *err)
{
        int64_t there = 1;
        char path[STORE_PATH], aside[RUN_PATH + 32] = "";
        batch_roll_back(s);
        db_close(&s->catalogue);
        db_close(&s->index);
        path_in(s, "catalogue.db", path);
        enum code code = db_open(&s->catalogue, s->w, path, "catalogue.db", DB_WRITE_EXISTING, err);
        if (!code)
                code = db_settle(&s->catalogue, APP_CATALOGUE, false, err);
        if (!code && s->ledger_known.seq)
                code = db_int(&s->catalogue, &there, 0, err, "SELECT count(*) FROM ledger WHERE run=? AND seq=?", "ti", s->ledger_known.run,
                              (int64_t)s->ledger_known.seq);
        if (!code && !there)
                code = tp_fail(err, CODE_DAMAGED, "catalogue.db: a ledger row that was on disk is gone; the disk forgets");
        lock(s);
        bool was_lost = s->index_is_lost;
        s->index_is_lost = true; /* until it is known to be whole */
        unlock(s);
        if (!code)
                code = index_open(s, NULL, true, aside,
                                  err); /* a damaged one is set aside: what is derived must not stop what is measured */
        for (int i = 0; i < s->slot_n && !code; i++) {
                code = slot_reopen(s, s->slots[i], err);
                s->slots[i]->batch_seq = s->slots[i]->last_seq;
        }
        if (!code && aside[0])
                code = index_fill(s, err);
        lock(s);
        s->sealed_version++;
        s->index_is_lost = was_lost; /* then the message is still to come */
        unlock(s);
        struct db *dbs[RUNS_OPEN_MAX + 2] = {&s->catalogue, &s->index};
        for (int i = 0; i < s->slot_n; i++)
                dbs[2 + i] = &s->slots[i]->db;
        for (int i = 0; i < 2 + s->slot_n && !code; i++) {
                int rc = sqlite3_wal_checkpoint_v2(dbs[i]->at, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL);
                if (rc != SQLITE_OK && (rc & 0xff) != SQLITE_BUSY)
                        code = db_fail(dbs[i], rc, "emptying its log after a failure", err);
        }
        return code;
}

static void batch_save(struct store *s, struct batch *b)
{
        struct tp_error err = {.code = CODE_OK};
        lock(s);
        bool failed = s->health.failed, reserve = s->health.reserve_held;
        unlock(s);
        if (failed) {
                tp_fail(&err, CODE_DISK,
                        "the disk under %s failed twice: nothing is written any more; look at the disk, then start the daemon anew",
                        s->dir);
                decide_all(b, CODE_DISK, &err, false);
                return;
        }
        if (!reserve) {
                tp_fail(&err, CODE_DISK_FULL, "the disk under %s is full: only what a safe end needs is written; free some space", s->dir);
                decide_all(b, CODE_DISK_FULL, &err, true);
        }
        enum code code = batch_write(s, b, &err);
        if (code == CODE_DISK_FULL && reserve) {
                reserve_release(s);
                lock(s);
                s->health.reserve_held = reserve = false;
                unlock(s);
                decide_all(b, code, &err, true);
                code = batch_write(s, b, &err);
        }
        if (code && code != CODE_DISK_FULL) {
                struct tp_error first = err;
                enum code again = reopen(s, &err);
                code = again ? again : batch_write(s, b, &err);
                if (code && code != CODE_DISK_FULL) {
                        lock(s);
                        s->health.failed = true;
                        unlock(s);
                        tp_fail(&err, CODE_DISK, "%.200s; opened anew it failed again: %.200s", first.text, again ? err.text : "writing");
                        code = CODE_DISK;
                }
        }
        if (code)
                decide_all(b, code, &err, false);
}

static void batch_seal(struct store *s, struct batch *b)
{
        for (size_t i = 0; i < b->n; i++) {
                struct item *item = b->items[i];
                struct run_slot *slot = item->seals && !item->code ? slot_find(s, item->work->run) : NULL;
                if (slot)
                        item->code = slot_seal(s, slot, &item->err);
        }
}

/* A run whose first work failed never was. */
static void drop_unborn(struct store *s, struct batch *b)
{
        for (size_t i = 0; i < b->n; i++) {
                struct item *item = b->items[i];
                struct run_slot *slot = item->created && item->code ? slot_find(s, item->work->run) : NULL;
                if (!slot || b->catalogue_done)
                        continue;
                char path[STORE_PATH];
                path_in(s, slot->path, path);
                slot_drop(s, slot);
                s->w->file->remove(s->w, path, NULL);
        }
}

/* Empties a log that is too long, as soon as no view is in the way. */
static void empty_log(struct store *s, struct db *db, struct gate *gate)
{
        lock(s);
        gate->shut = true;
        bool is_free = gate->readers == 0;
        unlock(s);
        if (!is_free) {
                db_checkpoint(db, false);
                return;
        }
        db_checkpoint(db, true); /* checkpoints() opens the gate */
}

static void checkpoints(struct store *s, bool idle)
{
        struct db *dbs[RUNS_OPEN_MAX + 2] = {&s->catalogue, &s->index};
        struct gate *gates[RUNS_OPEN_MAX + 2] = {&s->gate, &s->gate};
        int64_t pages = 0;
        for (int i = 0; i < s->slot_n; i++) {
                dbs[2 + i] = &s->slots[i]->db;
                gates[2 + i] = &s->slots[i]->gate;
        }
        for (int i = 0; i < 2 + s->slot_n; i++) {
                if (!dbs[i]->at)
                        continue;
                if (dbs[i]->wal_pages > PAGES_TRUNCATE)
                        empty_log(s, dbs[i], gates[i]);
                else if (idle && dbs[i]->wrote)
                        db_checkpoint(dbs[i], true);
                else if (dbs[i]->wal_pages > PAGES_PASSIVE)
                        db_checkpoint(dbs[i], false);
                pages += dbs[i]->wal_pages;
        }
        lock(s);
        s->health.wal_bytes = pages * PAGE_BYTES;
        if (s->catalogue.wal_pages <= PAGES_TRUNCATE && s->index.wal_pages <= PAGES_TRUNCATE)
                s->gate.shut = false;
        for (int i = 0; i < s->slot_n; i++)
                if (s->slots[i]->db.wal_pages <= PAGES_TRUNCATE) /* it began anew by itself */
                        s->slots[i]->gate.shut = false;
        unlock(s);
}

/* Once there is room for two reserves, one is taken again and lazy works are welcome. */
static void recover_reserve(struct store *s)
{
        if (s->health.reserve_held || s->health.failed || s->w->file->free_bytes(s->w, s->dir) < 2 * s->sizes.reserve_bytes ||
            !reserve_take(s))
                return;
        lock(s);
        s->health.reserve_held = true;
        unlock(s);
}

static bool a_log_is_long(const struct store *s)
{
        bool is_long = s->catalogue.wal_pages > PAGES_TRUNCATE || s->index.wal_pages > PAGES_TRUNCATE;
        for (int i = 0; i < s->slot_n; i++)
                is_long = is_long || s->slots[i]->db.wal_pages > PAGES_TRUNCATE;
        return is_long;
}

static bool is_dirty(const struct store *s)
{
        bool dirty = s->catalogue.wrote || s->index.wrote;
        for (int i = 0; i < s->slot_n; i++)
                dirty = dirty || s->slots[i]->db.wrote;
        return dirty;
}

void writer_run(void *arg)
{
        struct store *s = arg;
        struct batch *b = calloc(1, sizeof *b);
        bool closing = !b;
        bool may_tidy = true; /* once per pause: a reader may keep a log from being emptied */
        while (!closing) {
                int64_t idle_ns = (may_tidy && is_dirty(s)) || !s->health.reserve_held ? world_boot_ns(s->w) + NS_PER_S : INT64_MAX;
                bool is_long = !s->health.failed && a_log_is_long(s);
                if (is_long)
                        idle_ns = world_boot_ns(s->w) + GATE_POLL_MS * NS_PER_MS;
                if (!batch_collect(s, b, idle_ns, &closing)) {
                        if (!closing && !s->health.failed)
                                checkpoints(s, !is_long);
                        if (!closing && !is_long) {
                                recover_reserve(s);
                                may_tidy = false;
                        }
                        continue;
                }
                may_tidy = true;
                int64_t began = world_boot_ns(s->w);
                batch_save(s, b);
                batch_seal(s, b);
                drop_unborn(s, b);
                lock(s);
                s->health.last_sync_us = (world_boot_ns(s->w) - began) / 1000;
                s->health.commits++;
                unlock(s);
                for (size_t i = 0; i < b->n; i++)
                        answer(s, b->items[i]);
                if (!s->health.failed)
                        checkpoints(s, false);
        }
        free(b);
}
