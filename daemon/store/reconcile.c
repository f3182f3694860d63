/* reconcile.c: what a start finds and does before anything else runs.
 *   run row, no run file, nothing spent     its first work was cut off before the run file: never answered, so the row is taken back
 *   run file without its run row, nothing spent  the same, one instant later; the file is set aside
 *   seal begun                              finished, step by step
 *   file missing or unreadable              set aside under another name, state 'damaged', an alarm, and the daemon starts all the same
 *   ledger row without its entry            listed by store_reconcile_list(): the caller journals the NOTE that takes it back */
#include "store/own.h"
#include "store/view.h"
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct open_row {
        char id[27], path[RUN_PATH];
        int64_t number;
};

static enum code open_rows(struct store *s, struct open_row **ret, size_t *ret_n, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        struct open_row *rows = NULL;
        size_t n = 0;
        enum code code = db_ask(&s->catalogue, &q, err, "SELECT id,path,number FROM run WHERE state='open' ORDER BY number", "");
        for (bool has = true; !code;) {
                code = db_row(&s->catalogue, q, &has, err);
                if (code || !has)
                        break;
                struct open_row *more = realloc(rows, (n + 1) * sizeof *rows);
                if (!more) {
                        code = tp_fail_memory(err);
                        break;
                }
                rows = more;
                column_into(q, 0, rows[n].id, sizeof rows[n].id);
                column_into(q, 1, rows[n].path, sizeof rows[n].path);
                rows[n++].number = sqlite3_column_int64(q, 2);
        }
        db_end(q);
        if (code) {
                free(rows);
                return code;
        }
        *ret = rows;
        *ret_n = n;
        return CODE_OK;
}

static void say(struct store_report *r, const char *sentence)
{
        size_t n = strlen(r->sentence);
        snprintf(r->sentence + n, sizeof r->sentence - n, "%s%s", n ? "; " : "", sentence);
}

/* A run whose first work was never answered: gone without a trace, when no touch was spent for it. */
static enum code take_back(struct store *s, const struct open_row *row, bool has_file, bool *ret_done, struct tp_error *err)
{
        int64_t spent = 0;
        char aside[RUN_PATH + 32];
        *ret_done = false;
        enum code code = db_int(&s->catalogue, &spent, 0, err, "SELECT count(*) FROM ledger WHERE run=?", "t", row->id);
        if (code || spent)
                return code;
        if (has_file)
                code = set_aside(s, row->path, aside, err);
        if (!code)
                code = db_run(&s->catalogue, err, "DELETE FROM run WHERE id=? AND state='open'", "t", row->id);
        *ret_done = !code;
        return code;
}

static enum code set_damaged(struct store *s, const struct open_row *row, const char *why, struct store_report *r, struct tp_error *err)
{
        char path[STORE_PATH], aside[RUN_PATH + 32], sentence[sizeof r->sentence];
        int64_t size;
        snprintf(aside, sizeof aside, "%s", row->path);
        path_in(s, row->path, path);
        enum code code = CODE_OK;
        if (s->w->file->size(s->w, path, &size, NULL) == CODE_OK)
                code = set_aside(s, row->path, aside, err);
        if (!code)
                code = db_run(&s->catalogue, err, "UPDATE run SET state='damaged', path=? WHERE id=?", "tt", aside, row->id);
        snprintf(sentence, sizeof sentence, "run %s is damaged and kept as %s (%.160s)", row->id, aside, why);
        say(r, sentence);
        r->runs_damaged++;
        char cause[64];
        snprintf(cause, sizeof cause, "damaged run %s", row->id);
        return code ? code
                    : alarm_raise(s, cause, row->id, sentence, "keep the file; measure the wafer again, or restore the file from a copy",
                                  true, err);
}

static enum code reconcile_one(struct store *s, const struct open_row *row, struct store_report *r, struct tp_error *err)
{
        struct run_slot *slot = NULL;
        struct tp_error why = {.code = CODE_OK};
        int64_t has_row = 0, closed = 0;
        bool done = false;
        enum code found = slot_open(s, row->id, row->number, row->path, &slot, &why);
        if (!found)
                found = db_int(&slot->db, &has_row, 0, &why, "SELECT count(*) FROM run", "");
        if (!found && has_row)
                found = db_int(&slot->db, &closed, 0, &why, "SELECT closed_us FROM run", "");
        if (found == CODE_TOO_NEW || found == CODE_MEMORY || found == CODE_BUSY ||
            found == CODE_DISK_FULL) { /* the file may be fine: leave it alone */
                if (slot)
                        slot_drop(s, slot);
                say(r, why.text);
                return found == CODE_TOO_NEW ? CODE_OK : (err ? (*err = why, found) : found);
        }
        if (!found && has_row && !closed) {
                r->runs_open++;
                return CODE_OK;
        }
        if (!found && has_row) {
                r->runs_sealed++;
                return slot_seal(s, slot, err);
        }
        if (slot)
                slot_drop(s, slot);
        enum code code = CODE_OK;
        if (!found || found == CODE_NOT_FOUND || found == CODE_STATE)
                code = take_back(s, row, found != CODE_NOT_FOUND, &done, err);
        if (code || done)
                return code;
        return set_damaged(s, row, found ? why.text : "it has no description of itself", r, err);
}

enum code reconcile(struct store *s, struct store_report *r, struct tp_error *err)
{
        struct open_row *rows = NULL;
        size_t n = 0;
        enum code code = open_rows(s, &rows, &n, err);
        for (size_t i = 0; i < n && !code; i++)
                code = reconcile_one(s, &rows[i], r, err);
        for (int i = 0; i < s->slot_n && !code; i++) {
                struct orphan *orphans = NULL;
                size_t orphan_n = 0;
                uint64_t next;
                struct arena *a = arena_new(0);
                code = a ? orphans_of(&s->catalogue, &s->slots[i]->db, s->slots[i]->id, a, &orphans, &orphan_n, &next, err)
                         : tp_fail_memory(err);
                r->compensated += (int)orphan_n;
                arena_free(a);
        }
        free(rows);
        return code;
}
