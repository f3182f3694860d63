/* orphans.c: touches that were counted for a motion that cannot have happened: the ledger commits first, so a cut before the run file
   commits leaves a ledger row without its entry.  A NOTE of kind compensate whose of_step names the seq takes it back; until then it is
   listed. */
#include "store/own.h"
#include <stdio.h>
#include <string.h>

static enum code is_orphan(struct db *run_file, int64_t seq, bool *ret, struct tp_error *err)
{
        int64_t there = 0, taken_back = 0;
        enum code code = db_int(run_file, &there, 0, err, "SELECT 1 FROM journal WHERE seq=?", "i", seq);
        if (!code && !there)
                code = db_int(run_file, &taken_back, 0, err,
                              "SELECT 1 FROM journal WHERE phase='note' AND kind='compensate' AND (json_extract(body,'$.of_step') & "
                              "4294967295)=?",
                              "i", seq);
        *ret = !there && !taken_back;
        return code;
}

enum code orphans_of(struct db *catalogue, struct db *run_file, const char *run, struct arena *a, struct orphan **ret, size_t *ret_n,
                     uint64_t *ret_next_seq, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        int64_t rows = 0, last_journal = 0, last_ledger = 0;
        size_t n = 0;
        enum code code = db_int(catalogue, &rows, 0, err, "SELECT count(*) FROM ledger WHERE run=?", "t", run);
        if (!code)
                code = db_int(catalogue, &last_ledger, 0, err, "SELECT max(seq) FROM ledger WHERE run=?", "t", run);
        if (!code)
                code = db_int(run_file, &last_journal, 0, err, "SELECT max(seq) FROM journal", "");
        struct orphan *list = code ? NULL : arena_take(a, ((size_t)rows + 1) * sizeof *list);
        if (!code && !list)
                code = tp_fail_memory(err);
        if (!code)
                code = db_ask(catalogue, &q, err,
                              "SELECT l.seq,l.touches,t.kind,t.serial,t.part FROM ledger l JOIN thing t ON t.id=l.thing WHERE l.run=? "
                              "ORDER BY l.seq",
                              "t", run);
        for (bool has = true, lost; !code && n <= (size_t)rows;) {
                code = db_row(catalogue, q, &has, err);
                if (code || !has)
                        break;
                code = is_orphan(run_file, sqlite3_column_int64(q, 0), &lost, err);
                if (code || !lost)
                        continue;
                struct orphan *o = &list[n++];
                o->seq = (uint64_t)sqlite3_column_int64(q, 0);
                o->touches = sqlite3_column_int(q, 1);
                column_into(q, 2, o->kind, sizeof o->kind);
                column_into(q, 3, o->serial, sizeof o->serial);
                column_into(q, 4, o->part, sizeof o->part);
        }
        db_end(q);
        if (code)
                return code;
        *ret = list;
        *ret_n = n;
        *ret_next_seq = 1 + (uint64_t)(last_journal > last_ledger ? last_journal : last_ledger);
        return CODE_OK;
}
