/* view_offer.c: the evaluation that a run offers (view.h).  Run files of schema 1 and 2 have no place for one. */
#include "store/view_own.h"

enum code view_keeps_evaluation_trust(struct view *v, bool *ret, struct tp_error *err)
{
        enum code code = view_file(v, err);
        return code ? code : db_has_table(&v->file, "evaluation_trust", ret, err);
}

enum code view_offer(struct view *v, struct arena *a, struct offer_row *ret, bool *ret_has, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        bool has_table = false;
        *ret = (struct offer_row){.entry = 0};
        *ret_has = false;
        enum code code = view_file(v, err);
        if (!code)
                code = db_has_table(&v->file, "offer", &has_table, err);
        if (!code && has_table)
                code = db_ask(
                        &v->file, &q, err,
                        "SELECT id,entry,suspects,devices,numbers,spec,build,strftime('%Y-%m-%dT%H:%M:%SZ',made_us/1000000,'unixepoch')"
                        " FROM offer",
                        "");
        if (code || !q)
                return code;
        code = db_row(&v->file, q, ret_has, err);
        if (!code && *ret_has) {
                column_into(q, 0, ret->id, sizeof ret->id);
                ret->entry = (uint64_t)sqlite3_column_int64(q, 1);
                ret->suspects = sqlite3_column_int64(q, 2);
                ret->devices = sqlite3_column_int64(q, 3);
                ret->values = sqlite3_column_int64(q, 4);
                ret->spec_json = column_text(q, 5, a);
                ret->build = column_text(q, 6, a);
                column_into(q, 7, ret->made, sizeof ret->made);
                if (!ret->spec_json || !ret->build)
                        code = tp_fail_memory(err);
        }
        db_end(q);
        return code;
}
