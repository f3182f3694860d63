/* store.c: opening in order (lock, directory, catalogue, index, runs, writer), closing in mirror order, handing works over. */
#include "store/store.h"
#include "base/hash.h"
#include "store/digest.h"
#include "store/own.h"
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { COMMAND_HOURS = 48, EVENT_DAYS = 7, QUEUE_WORKS = 4096 };
#define QUEUE_BYTES (INT64_C(64) << 20)
#define RESERVE_BYTES (INT64_C(64) << 20)
#define RESERVE_BYTES_VIRTUAL (INT64_C(64) << 10)

static void lock(struct store *s) { s->w->task->lock(s->w, s->mutex); }
static void unlock(struct store *s) { s->w->task->unlock(s->w, s->mutex); }

struct left {
        unsigned n;
        char name[64][96];
};
static void left_see(void *ctx, const char *name)
{
        struct left *l = ctx;
        if (name[0] != '.' && l->n < 64 && strlen(name) < sizeof l->name[0])
                snprintf(l->name[l->n++], sizeof l->name[0], "%s", name);
}
/* Copies of live runs are made for one reader each; those that a death left behind belong to nobody. */
static enum code clear_copies(struct store *s, struct tp_error *err)
{
        char dir[STORE_PATH];
        path_in(s, "copies", dir);
        enum code code = s->w->file->make_dir(s->w, dir, err);
        for (unsigned round = 0; !code && round < 64; round++) {
                struct left left = {0};
                code = s->w->file->list(s->w, dir, left_see, &left, err);
                if (!left.n)
                        break;
                for (unsigned i = 0; !code && i < left.n; i++) {
                        char path[STORE_PATH], relative[128];
                        snprintf(relative, sizeof relative, "copies/%s", left.name[i]);
                        path_in(s, relative, path);
                        code = s->w->file->remove(s->w, path, err);
                }
        }
        return code;
}

void store_copy_path(struct store *s, const char *run, const char *reader, char *ret, size_t room)
{
        char path[STORE_PATH], relative[128];
        snprintf(relative, sizeof relative, "copies/%.26s-%.60s.run", run, reader);
        path_in(s, relative, path);
        snprintf(ret, room, "%s", path);
}

static enum code take_directory(struct store *s, struct tp_error *err)
{
        char path[STORE_PATH], holder[160] = "";
        path_in(s, "runs", path);
        enum code code = s->w->file->make_dir(s->w, path, err);
        if (code)
                return code;
        path_in(s, "lock", path);
        code = s->w->file->lock(s->w, path, &s->lock, holder, err);
        if (code == CODE_BUSY)
                return tp_fail(err, code, "the data in %s are in use by another daemon (%s); stop it, or choose another directory", s->dir,
                               holder[0] ? holder : "holder unknown");
        return code ? code : clear_copies(s, err);
}

/* Opens and migrates; a damaged file is set aside and a new one begun, *ret_aside says so. */
static enum code open_one(struct store *s, struct db *db, const char *file, const char *kind, int id, bool normal_sync, bool whole,
                          const char *schema_dir, bool *ret_fresh, char ret_aside[RUN_PATH + 32], struct tp_error *err)
{
        char path[STORE_PATH];
        path_in(s, file, path);
        for (int attempt = 0;; attempt++) {
                enum code code = db_open(db, s->w, path, file, DB_WRITE, err);
                if (!code)
                        code = db_settle(db, id, normal_sync, err);
                if (!code && whole)
                        code = db_check(db, err);
                if (!code)
                        code = migrate(s, db, kind, id, schema_dir, ret_fresh, err);
                if (!code)
                        return CODE_OK;
                db_close(db);
                if (attempt || (code != CODE_DAMAGED && !(code == CODE_TOO_NEW && id == APP_INDEX)))
                        return code;
                enum code moved = set_aside(s, file, ret_aside, err);
                if (moved)
                        return moved;
        }
}

static enum code begin_epoch(struct store *s, struct tp_error *err)
{
        int64_t epoch = 0, number = 0;
        enum code code = db_int(&s->catalogue, &epoch, 0, err, "SELECT epoch FROM station_state", "");
        if (!code)
                code = db_int(&s->catalogue, &number, 0, err, "SELECT max(number) FROM run", "");
        if (!code)
                code = db_run(&s->catalogue, err, "UPDATE station_state SET epoch=?", "i", epoch + 1);
        s->epoch = (uint32_t)(epoch + 1);
        s->next_number = number + 1;
        return code;
}

/* What has a shelf life: answers to commands, the window of events. */
static enum code forget_old(struct store *s, struct tp_error *err)
{
        int64_t now_us = world_wall_us(s->w), hour_us = INT64_C(3600000000);
        enum code code = db_run(&s->catalogue, err, "DELETE FROM command WHERE at_us<?", "i", now_us - COMMAND_HOURS * hour_us);
        if (!code)
                code = db_run(&s->index, err, "DELETE FROM event WHERE at_us<?", "i", now_us - EVENT_DAYS * 24 * hour_us);
        return code;
}

static void say(struct store_report *r, const char *sentence)
{
        size_t n = strlen(r->sentence);
        snprintf(r->sentence + n, sizeof r->sentence - n, "%s%s", n ? "; " : "", sentence);
}

enum code index_open(struct store *s, const char *schema_dir, bool whole, char ret_aside[RUN_PATH + 32], struct tp_error *err)
{
        bool fresh;
        return open_one(s, &s->index, "index.db", "index", APP_INDEX, true, whole, schema_dir, &fresh, ret_aside, err);
}

static enum code open_files(struct store *s, const char *schema_dir, struct store_report *r, struct tp_error *err)
{
        char aside[RUN_PATH + 32] = "", sentence[320];
        bool fresh = false;
        int found = 0;
        enum code code =
                open_one(s, &s->catalogue, "catalogue.db", "catalogue", APP_CATALOGUE, false, true, schema_dir, &fresh, aside, err);
        if (!code && aside[0]) {
                snprintf(sentence, sizeof sentence,
                         "catalogue.db was damaged and is set aside as %.160s: documents, tokens and the ledger of touches begin anew; "
                         "restore a copy to keep them",
                         aside);
                say(r, sentence);
                code = alarm_raise(s, "catalogue damaged", NULL, sentence, "restore a copy of catalogue.db", true, err);
                aside[0] = 0;
        }
        if (!code)
                code = index_open(s, schema_dir, false, aside, err); /* a whole look at 10 000 maps would be most of a start */
        if (!code && aside[0]) {
                snprintf(sentence, sizeof sentence, "index.db was unusable, is set aside as %.160s and was made again from the run files",
                         aside);
                say(r, sentence);
        }
        if (!code)
                code = recover_runs(s, &found, err);
        if (!code && found) {
                snprintf(sentence, sizeof sentence,
                         "%d run files that the catalogue did not know are listed again; touches counted for them are not: restore a copy "
                         "of catalogue.db for those",
                         found);
                say(r, sentence);
        }
        if (!code)
                code = begin_epoch(s, err);
        if (!code)
                code = forget_old(s, err);
        if (!code)
                code = reconcile(s, r, err);
        if (!code)
                code = index_fill(s, err);
        if (code == CODE_DAMAGED) { /* found in use */
                db_close(&s->index);
                code = index_open(s, schema_dir, true, aside, err);
                snprintf(sentence, sizeof sentence, "index.db was damaged, is set aside as %.160s and was made again from the run files",
                         aside);
                say(r, sentence);
                if (!code)
                        code = index_fill(s, err);
        }
        return code;
}

/* Nothing of it runs any more. */
static void dispose(struct store *s)
{
        if (s->mutex)
                store_tidy(s, 0);
        while (s->slot_n)
                slot_drop(s, s->slots[s->slot_n - 1]);
        db_close(&s->index);
        db_close(&s->catalogue);
        if (s->in)
                s->w->task->inbox_free(s->w, s->in);
        if (s->lock)
                s->w->file->unlock(s->w, s->lock);
        if (s->mutex)
                s->w->task->lock_free(s->w, s->mutex);
        free(s);
}

static void keep_message(struct message *m) { (void)m; } /* it lies in the store itself */

static struct store *store_make(const struct world *w, const char *dir, const char *build, const struct store_sizes *sizes,
                                struct tp_error *err)
{
        struct store *s = calloc(1, sizeof *s);
        if (!s) {
                tp_fail_memory(err);
                return NULL;
        }
        s->w = w;
        if (strlen(dir) >= sizeof s->dir) {
                tp_fail(err, CODE_BAD_INPUT, "the directory %.80s… is longer than %zu characters; choose a shorter one", dir,
                        sizeof s->dir - 1);
                dispose(s);
                return NULL;
        }
        snprintf(s->dir, sizeof s->dir, "%s", dir);
        snprintf(s->build, sizeof s->build, "%s", build);
        s->sizes = *sizes;
        s->sizes.reserve_bytes = sizes->reserve_bytes ? sizes->reserve_bytes : w->virtual_time ? RESERVE_BYTES_VIRTUAL : RESERVE_BYTES;
        s->sizes.queue_bytes = sizes->queue_bytes ? sizes->queue_bytes : QUEUE_BYTES;
        s->sizes.queue_works = sizes->queue_works ? sizes->queue_works : QUEUE_WORKS;
        s->index_lost = (struct message){.kind = MESSAGE_INDEX, .free = keep_message};
        world_random(w, s->boot, sizeof s->boot);
        s->mutex = w->task->lock_new(w);
        s->in = w->task->inbox_new(w, 0);
        if (!s->mutex || !s->in) {
                dispose(s);
                tp_fail_memory(err);
                return NULL;
        }
        return s;
}

struct store *store_open_sized(const struct world *w, const char *dir, const char *schema_dir, const char *build,
                               const struct store_sizes *sizes, struct store_report *ret, struct tp_error *err)
{
        struct store_report report = {.runs_open = 0};
        struct store *s = store_make(w, dir, build, sizes, err);
        if (!s)
                return NULL;
        enum code code = take_directory(s, err);
        if (!code)
                code = open_files(s, schema_dir, &report, err);
        if (!code) {
                s->health.reserve_held = reserve_take(s);
                if (!s->health.reserve_held)
                        say(&report, "the disk has no room for the reserve: only what a safe end needs is written until there is");
                s->task = w->task->start(w, "store", writer_run, s);
                if (!s->task)
                        code = tp_fail(err, CODE_MEMORY, "the store's task could not be started");
        }
        if (code) {
                dispose(s);
                return NULL;
        }
        report.epoch = s->epoch;
        snprintf(report.sqlite, sizeof report.sqlite, "%s", sqlite3_libversion());
        if (ret)
                *ret = report;
        return s;
}

struct store *store_open(const struct world *w, const char *dir, const char *schema_dir, const char *build, struct store_report *ret,
                         struct tp_error *err)
{
        return store_open_sized(w, dir, schema_dir, build, &(struct store_sizes){0}, ret, err);
}

void store_close(struct store *s)
{
        if (!s)
                return;
        lock(s);
        s->closing = true;
        unlock(s);
        s->close = (struct message){.kind = MESSAGE_CLOSE, .free = keep_message};
        s->w->task->post(s->w, s->in, &s->close); /* an inbox without a limit takes it */
        s->w->task->join(s->w, s->task);
        if (!s->health.failed) {
                struct db *dbs[RUNS_OPEN_MAX + 2] = {&s->catalogue, &s->index};
                for (int i = 0; i < s->slot_n; i++)
                        dbs[2 + i] = &s->slots[i]->db;
                for (int i = 0; i < 2 + s->slot_n; i++)
                        if (dbs[i]->at)
                                db_checkpoint(dbs[i], true);
        }
        dispose(s);
}

/* ---- handing over ------------------------------------------------------------------------------------------------------------------- */

static void free_item(struct message *m)
{
        struct item *item = (struct item *)(void *)m;
        free(item->done);
        work_free(item->work);
}

static void free_done(struct message *m) { free(m); }

/* The digests of all traces, on the caller's task: the writer has other things to do. */
static bool digest_traces(struct item *item)
{
        const struct work *w = item->work;
        size_t n = 0, k = 0;
        for (size_t i = 0; i < w->fact_n; i++)
                n += w->facts[i].kind == FACT_SWEEP ? w->facts[i].of.sweep.trace_n : 0;
        if (n == 0)
                return true;
        item->digests = arena_take(w->arena, n * sizeof *item->digests);
        for (size_t i = 0; item->digests && i < w->fact_n; i++)
                for (size_t j = 0; w->facts[i].kind == FACT_SWEEP && j < w->facts[i].of.sweep.trace_n; j++)
                        trace_digest(w->facts[i].of.sweep.traces[j].bytes, w->facts[i].of.sweep.traces[j].byte_n, item->digests[k++]);
        return item->digests != NULL;
}

bool store_submit(struct store *s, struct work *take, enum durability durability)
{
        struct item *item = arena_take(take->arena, sizeof *item);
        struct store_done *done = take->answer ? calloc(1, sizeof *done) : NULL;
        bool ok = false;
        if (!item || (take->answer && !done))
                goto no;
        *item = (struct item){.message = {.kind = MESSAGE_WORK, .free = free_item},
                              .work = take,
                              .durability = durability,
                              .done = done,
                              .submitted_ns = world_boot_ns(s->w)};
        if (done)
                done->message = (struct message){.kind = STORE_DONE, .free = free_done};
        if (!digest_traces(item))
                goto no;
        item->bytes = arena_used(take->arena);
        lock(s);
        ok = !s->closing && s->waiting_n < s->sizes.queue_works && s->waiting_bytes + (int64_t)item->bytes <= s->sizes.queue_bytes;
        if (ok && durability == DURABLE) {
                if (s->newest)
                        s->newest->next_durable = item;
                else
                        s->oldest = item;
                s->newest = item;
        }
        if (ok) {
                s->waiting_bytes += (int64_t)item->bytes;
                s->waiting_n++;
                s->w->task->post(s->w, s->in, &item->message); /* no limit of its own: what may wait was decided above */
        }
        unlock(s);
no:
        if (!ok)
                free(done);
        return ok;
}

struct store_health store_health(struct store *s)
{
        int64_t now = world_boot_ns(s->w), free_bytes = s->w->file->free_bytes(s->w, s->dir);
        lock(s);
        struct store_health h = s->health;
        h.oldest_waiting_ns = s->oldest ? now - s->oldest->submitted_ns : 0;
        h.queued_bytes = s->waiting_bytes;
        unlock(s);
        h.free_bytes = free_bytes;
        return h;
}

/* ---- what a start must know --------------------------------------------------------------------------------------------------------- */

uint32_t store_epoch(struct store *s)
{
        lock(s);
        uint32_t epoch = s->epoch;
        unlock(s);
        return epoch;
}

uint64_t store_sealed_version(struct store *s)
{
        lock(s);
        uint64_t version = s->sealed_version;
        unlock(s);
        return version;
}

const uint8_t *store_boot(struct store *s) { return s->boot; }

int64_t store_next_number(struct store *s)
{
        lock(s);
        int64_t number = s->next_number++;
        unlock(s);
        return number;
}

size_t store_runs_open(struct store *s, struct run_open *ret, size_t room)
{
        lock(s);
        size_t n = (size_t)s->slot_n;
        for (size_t i = 0; i < n && i < room; i++) {
                memcpy(ret[i].id, s->slots[i]->id, sizeof ret[i].id);
                ret[i].number = s->slots[i]->number;
        }
        unlock(s);
        return n;
}

void token_make(const struct world *w, char ret[69], uint8_t ret_digest[32])
{
        uint8_t secret[32];
        world_random(w, secret, sizeof secret);
        memcpy(ret, "tpl_", 4);
        hex_of(secret, sizeof secret, ret + 4);
        sha256_of(ret, 68, ret_digest);
}
