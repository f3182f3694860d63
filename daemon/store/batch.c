/* batch.c: one attempt to write a batch.
 * Order       all works are applied to all files first, each work inside savepoints, so that one bad work takes nothing with it; then the
 * catalogue commits, then the run files, then the index.  A cut between the first two leaves a spent touch without an intention, never a
 * motion without a spent touch. Within one  documents and boots first, then the run itself, then entries, then what refers to them: a
 * caller need not know the foreign keys. */
#include "store/batch.h"
#include <stdio.h>
#include <string.h>

static enum code begin(struct db *db, struct tp_error *err)
{
        if (db->in_transaction)
                return CODE_OK;
        enum code code = db_run(db, err, "BEGIN IMMEDIATE", "");
        db->in_transaction = !code;
        return code;
}

static enum code commit(struct db *db, struct tp_error *err)
{
        if (!db->in_transaction)
                return CODE_OK;
        enum code code = db_run(db, err, "COMMIT", "");
        if (!code) {
                db->in_transaction = false;
                db->wrote = true;
        }
        return code;
}

static void roll_back(struct db *db)
{
        if (db->in_transaction && db->at && !sqlite3_get_autocommit(db->at))
                db_run(db, NULL, "ROLLBACK", "");
        db->in_transaction = false;
}

void batch_roll_back(struct store *s)
{
        roll_back(&s->catalogue);
        roll_back(&s->index);
        for (int i = 0; i < s->slot_n; i++) {
                roll_back(&s->slots[i]->db);
                s->slots[i]->batch_seq = s->slots[i]->last_seq;
        }
        s->ledger_batch = s->ledger_known;
}

/* What stops the whole batch, as against one work that asks for something impossible. */
static bool is_disk(enum code code)
{
        return code == CODE_DISK || code == CODE_DISK_FULL || code == CODE_DAMAGED || code == CODE_MEMORY || code == CODE_BUSY;
}

static int rank(enum fact_kind kind)
{
        if (kind == FACT_DOCUMENT)
                return 0;
        if (kind == FACT_RUN_NEW || kind == FACT_TOKEN)
                return 1;
        if (kind == FACT_BOOT)
                return 2;
        if (kind == FACT_ENTRY)
                return 3;
        return 4;
}

static enum code apply_fact(struct apply *a, const struct fact *f, unsigned homes, struct tp_error *err)
{
        const struct fact_row *row = &fact_rows[f->kind];
        enum code code = CODE_OK;
        if (row->catalogue && homes & HOME_CATALOGUE)
                code = row->catalogue(a, f, err);
        if (!code && row->run && homes & HOME_RUN)
                code = row->run(a, f, err);
        if (!code && row->index && homes & HOME_INDEX)
                code = row->index(a, f, err);
        return code && !is_disk(code) ? tp_where(err, "%s", row->word) : code;
}

static enum code apply_facts(struct apply *a, unsigned homes, struct tp_error *err)
{
        const struct work *w = a->item->work;
        enum code code = CODE_OK;
        for (int now = 0; now <= 4 && !code; now++)
                for (size_t i = 0; i < w->fact_n && !code; i++)
                        if (rank(w->facts[i].kind) == now)
                                code = apply_fact(a, &w->facts[i], homes, err);
        return code;
}

/* The run file a work writes to; made when the work brings a new run. */
static enum code find_run(struct store *s, struct item *item, struct run_slot **ret, struct tp_error *err)
{
        const struct work *w = item->work;
        struct run_slot *slot = slot_find(s, w->run);
        for (size_t i = 0; i < w->fact_n; i++) {
                if (w->facts[i].kind != FACT_RUN_NEW || item->created)
                        continue;
                int64_t there = 0;
                enum code code = slot ? CODE_OK : db_int(&s->catalogue, &there, 0, err, "SELECT 1 FROM run WHERE id=?", "t", w->run);
                if (!code && (slot || there))
                        code = tp_fail(err, CODE_STATE, "run %s exists already; a new run takes a new id", w->run);
                if (!code)
                        code = slot_create(s, w->run, w->facts[i].of.run_new.number, &slot, err);
                if (code)
                        return code;
                item->created = true;
        }
        if (!slot)
                return tp_fail(err, CODE_STATE,
                               "run \"%s\" is not open: it is unknown, damaged or sealed, and a sealed run is never written again", w->run);
        *ret = slot;
        return CODE_OK;
}

static enum code apply_item(struct store *s, struct batch *b, struct item *item, struct tp_error *err)
{
        struct apply a = {.s = s, .item = item, .now_us = world_wall_us(s->w)};
        unsigned homes = work_homes(item->work);
        enum code code = homes & HOME_RUN ? find_run(s, item, &a.slot, err) : CODE_OK;
        if (!code && a.slot && !b->catalogue_done)
                code = work_is_duplicate(&a, &item->duplicate, err);
        if (code || item->duplicate)
                return code;
        if (b->catalogue_done)
                homes &= ~(unsigned)HOME_CATALOGUE;
        struct db *dbs[3] = {homes & HOME_CATALOGUE ? &s->catalogue : NULL, homes & HOME_RUN ? &a.slot->db : NULL,
                             homes & HOME_INDEX ? &s->index : NULL};
        int saved = 0;
        for (; saved < 3 && !code; saved++)
                if (dbs[saved]) {
                        code = begin(dbs[saved], err);
                        if (!code)
                                code = db_run(dbs[saved], err, "SAVEPOINT work", "");
                }
        if (!code)
                code = apply_facts(&a, homes, err);
        if (is_disk(code))
                return code;
        for (int i = 0; i < saved; i++) {
                if (dbs[i] && code)
                        db_run(dbs[i], NULL, "ROLLBACK TO work", "");
                if (dbs[i])
                        db_run(dbs[i], NULL, "RELEASE work", "");
        }
        if (code)
                item->seals = false;
        return code;
}

enum code batch_write(struct store *s, struct batch *b, struct tp_error *err)
{
        enum code code = CODE_OK;
        enum code found[BATCH_WORKS];
        for (size_t i = 0; i < b->n && !code; i++) {
                struct item *item = b->items[i];
                found[i] = CODE_OK;
                if (item->decided)
                        continue;
                item->err = (struct tp_error){.code = CODE_OK};
                item->duplicate = false;
                found[i] = apply_item(s, b, item, &item->err);
                if (is_disk(found[i])) {
                        code = found[i];
                        if (err)
                                *err = item->err;
                }
        }
        if (!code) {
                code = commit(&s->catalogue, err);
                b->catalogue_done = b->catalogue_done || !code;
                if (!code)
                        s->ledger_known = s->ledger_batch;
        }
        for (int i = 0; i < s->slot_n && !code; i++) {
                code = commit(&s->slots[i]->db, err);
                if (!code)
                        s->slots[i]->last_seq = s->slots[i]->batch_seq;
        }
        if (!code)
                code = commit(&s->index, err);
        if (code) {
                batch_roll_back(s);
                return code;
        }
        for (size_t i = 0; i < b->n; i++)
                if (!b->items[i]->decided) {
                        b->items[i]->decided = true;
                        b->items[i]->code = found[i];
                }
        return CODE_OK;
}
