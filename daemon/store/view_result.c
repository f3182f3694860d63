/* view_result.c: questions to one run file: calibrations, parameters, touchdowns, checks, intervals; and its copy. */
#include "store/view_own.h"
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static enum code all_rows(struct view *v, sqlite3_stmt *q, struct arena *a, size_t size, row_fn *each, void **ret, size_t *ret_n,
                          struct tp_error *err)
{
        struct rows rows = {.arena = a, .size = size};
        enum code code = rows_read(&v->file, q, &rows, each, err);
        if (code)
                return code;
        *ret = rows.at;
        *ret_n = rows.n;
        return CODE_OK;
}

/* All rows of a question without parameters to the run's file. */
static enum code file_rows(struct view *v, struct arena *a, size_t size, row_fn *each, void **ret, size_t *ret_n, struct tp_error *err,
                           const char *sql)
{
        sqlite3_stmt *q = NULL;
        enum code code = view_file(v, err);
        if (!code)
                code = db_ask(&v->file, &q, err, sql, "");
        return code ? code : all_rows(v, q, a, size, each, ret, ret_n, err);
}

static enum code calibration_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct calibration_row *r = row;
        column_into(q, 0, r->id, sizeof r->id);
        r->number = sqlite3_column_int64(q, 1);
        column_into(q, 2, r->method, sizeof r->method);
        column_into(q, 3, r->plane, sizeof r->plane);
        column_into(q, 4, r->state, sizeof r->state);
        r->z_ref_ohm = sqlite3_column_double(q, 5);
        r->axis = sqlite3_column_int64(q, 6);
        r->terms = column_bytes(q, 7, a, &r->term_bytes);
        bool has_covariance = sqlite3_column_type(q, 8) != SQLITE_NULL;
        r->covariance = has_covariance ? column_bytes(q, 8, a, &r->covariance_bytes) : NULL;
        r->domain_json = column_text(q, 9, a);
        r->diagnosis_json = column_text(q, 10, a);
        return r->terms && (!has_covariance || r->covariance) && r->domain_json && r->diagnosis_json ? CODE_OK : tp_fail_memory(err);
}

enum code view_calibrations(struct view *v, struct arena *a, struct calibration_row **ret, size_t *ret_n, struct tp_error *err)
{
        void *at = NULL;
        enum code code =
                file_rows(v, a, sizeof **ret, calibration_each, &at, ret_n, err,
                          "SELECT id,number,method,plane,state,z_ref_ohm,axis,terms,covariance,domain,diagnosis FROM calibration ORDER "
                          "BY number");
        if (!code)
                *ret = at;
        return code;
}

static enum code solved_from_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct solved_from_row *r = row;
        (void)a, (void)err;
        column_into(q, 0, r->calibration, sizeof r->calibration);
        column_into(q, 1, r->standard, sizeof r->standard);
        column_into(q, 2, r->copy, sizeof r->copy);
        r->sweep = sqlite3_column_int64(q, 3);
        r->touchdown = sqlite3_column_int64(q, 4);
        column_into(q, 5, r->swept, sizeof r->swept);
        return CODE_OK;
}

enum code view_solved_from(struct view *v, struct arena *a, struct solved_from_row **ret, size_t *ret_n, struct tp_error *err)
{
        void *at = NULL;
        enum code code = file_rows(v, a, sizeof **ret, solved_from_each, &at, ret_n, err,
                                   "SELECT s.calibration,s.standard,s.copy,s.sweep,w.touchdown,"
                                   "strftime('%Y-%m-%dT%H:%M:%SZ',j.wall_us/1000000,'unixepoch') FROM standard s LEFT JOIN sweep w ON "
                                   "w.id=s.sweep LEFT JOIN journal j ON j.seq=s.sweep ORDER BY s.calibration,s.n");
        if (!code)
                *ret = at;
        return code;
}

static enum code parameter_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct parameter_row *r = row;
        r->sweep = sqlite3_column_int64(q, 0);
        r->touchdown = sqlite3_column_int64(q, 1);
        r->die_x = sqlite3_column_int(q, 2);
        r->die_y = sqlite3_column_int(q, 3);
        column_into(q, 4, r->device, sizeof r->device);
        column_into(q, 5, r->quantity, sizeof r->quantity);
        column_into(q, 6, r->unit, sizeof r->unit);
        column_into(q, 7, r->plane, sizeof r->plane);
        column_into(q, 8, r->verdict, sizeof r->verdict);
        column_into(q, 9, r->trust, sizeof r->trust);
        column_into(q, 10, r->contact, sizeof r->contact);
        r->freq_hz = sqlite3_column_double(q, 11);
        r->has_value = sqlite3_column_type(q, 12) != SQLITE_NULL;
        r->value = sqlite3_column_double(q, 12);
        r->u95 = sqlite3_column_double(q, 13);
        r->reason = column_text(q, 14, a);
        r->trust_reason = column_text(q, 15, a);
        r->budget = column_text(q, 16, a);
        r->attempt = sqlite3_column_int(q, 17);
        r->evaluation = sqlite3_column_int64(q, 18);
        r->condition = sqlite3_column_int(q, 19);
        return r->reason && r->trust_reason && r->budget ? CODE_OK : tp_fail_memory(err);
}

enum code view_parameters(struct view *v, const char *device, const char *quantity, int64_t evaluation, struct arena *a,
                          struct parameter_row **ret, size_t *ret_n, struct tp_error *err)
{
        sqlite3_stmt *q = NULL;
        void *at = NULL;
        enum code code = view_file(v, err);
        if (!code)
                code = db_ask(
                        &v->file, &q, err,
                        "SELECT "
                        "sweep,touchdown,die_x,die_y,device,quantity,unit,plane,verdict,coalesce(trust,'open'),coalesce(contact,'"
                        "unknown'),freq_hz,value,u95,reason,"
                        "trust_reason,budget,attempt,evaluation,condition FROM v_parameter v WHERE (?1 IS NULL OR device=?1) AND (?2 IS "
                        "NULL "
                        "OR quantity=?2) AND evaluation=iif(?3>0,?3,(SELECT max(x.evaluation) FROM parameter x WHERE x.sweep=v.sweep)) "
                        "ORDER BY sweep,quantity,freq_hz",
                        "tti", device, quantity, evaluation);
        if (!code)
                code = all_rows(v, q, a, sizeof **ret, parameter_each, &at, ret_n, err);
        if (!code)
                *ret = at;
        return code;
}

enum code view_offer_parameters(struct view *v, struct arena *a, struct parameter_row **ret, size_t *ret_n, struct tp_error *err)
{
        void *at = NULL;
        enum code code =
                file_rows(v, a, sizeof **ret, parameter_each, &at, ret_n, err,
                          "SELECT "
                          "sweep,touchdown,die_x,die_y,device,quantity,unit,plane,verdict,trust,coalesce(contact,'unknown'),freq_hz,value,"
                          "u95,reason,trust_reason,budget,attempt,0 FROM v_offer ORDER BY sweep,quantity,freq_hz");
        if (!code)
                *ret = at;
        return code;
}

static enum code evaluation_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct evaluation_row *r = row;
        r->n = sqlite3_column_int64(q, 0);
        column_into(q, 1, r->id, sizeof r->id);
        column_into(q, 2, r->made, sizeof r->made);
        r->spec_json = column_text(q, 3, a);
        return r->spec_json ? CODE_OK : tp_fail_memory(err);
}

enum code view_evaluations(struct view *v, struct arena *a, struct evaluation_row **ret, size_t *ret_n, struct tp_error *err)
{
        void *at = NULL;
        enum code code =
                file_rows(v, a, sizeof **ret, evaluation_each, &at, ret_n, err,
                          "SELECT n,id,strftime('%Y-%m-%dT%H:%M:%SZ',made_us/1000000,'unixepoch'),spec FROM evaluation ORDER BY n");
        if (!code)
                *ret = at;
        return code;
}

static enum code touchdown_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct touchdown_row *r = row;
        r->id = sqlite3_column_int64(q, 0);
        r->die_x = sqlite3_column_int(q, 1);
        r->die_y = sqlite3_column_int(q, 2);
        column_into(q, 3, r->device, sizeof r->device);
        column_into(q, 4, r->place, sizeof r->place);
        column_into(q, 5, r->outcome, sizeof r->outcome);
        column_into(q, 6, r->trust, sizeof r->trust);
        r->x_um = sqlite3_column_double(q, 7);
        r->y_um = sqlite3_column_double(q, 8);
        r->overtravel_um = sqlite3_column_double(q, 9);
        r->attempt = sqlite3_column_int(q, 10);
        r->replaces = sqlite3_column_int64(q, 11);
        r->station_ns = sqlite3_column_int64(q, 12);
        r->evidence_json = column_text(q, 13, a);
        r->trust_reason = column_text(q, 14, a);
        return r->evidence_json && r->trust_reason ? CODE_OK : tp_fail_memory(err);
}

enum code view_touchdowns(struct view *v, struct arena *a, struct touchdown_row **ret, size_t *ret_n, struct tp_error *err)
{
        void *at = NULL;
        enum code code = file_rows(v, a, sizeof **ret, touchdown_each, &at, ret_n, err,
                                   "SELECT "
                                   "id,die_x,die_y,device,place,coalesce(outcome,'unknown'),coalesce(trust,'open'),x_um,y_um,overtravel_um,"
                                   "attempt,replaces,station_ns,"
                                   "coalesce(evidence,'{}'),trust_reason FROM v_touchdown ORDER BY id");
        if (!code)
                *ret = at;
        return code;
}

static enum code check_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct check_row *r = row;
        r->id = sqlite3_column_int64(q, 0);
        column_into(q, 1, r->calibration, sizeof r->calibration);
        r->ended = (uint64_t)sqlite3_column_int64(q, 2);
        r->passed = sqlite3_column_int(q, 3);
        column_into(q, 4, r->cause, sizeof r->cause);
        r->modes_json = column_text(q, 5, a);
        return r->modes_json ? CODE_OK : tp_fail_memory(err);
}

enum code view_checks(struct view *v, struct arena *a, struct check_row **ret, size_t *ret_n, struct tp_error *err)
{
        void *at = NULL;
        enum code code = file_rows(v, a, sizeof **ret, check_each, &at, ret_n, err,
                                   "SELECT id,calibration,ended,passed,cause,modes FROM check_done ORDER BY id");
        if (!code)
                *ret = at;
        return code;
}

static enum code interval_each(sqlite3_stmt *q, struct arena *a, void *row, struct tp_error *err)
{
        struct interval_row *r = row;
        (void)a, (void)err;
        r->id = sqlite3_column_int64(q, 0);
        r->opened = (uint64_t)sqlite3_column_int64(q, 1);
        r->closed = (uint64_t)sqlite3_column_int64(q, 2);
        column_into(q, 3, r->ended_by, sizeof r->ended_by);
        r->opening = sqlite3_column_int64(q, 4);
        r->closing = sqlite3_column_int64(q, 5);
        column_into(q, 6, r->calibration, sizeof r->calibration);
        return CODE_OK;
}

enum code view_intervals(struct view *v, struct arena *a, struct interval_row **ret, size_t *ret_n, struct tp_error *err)
{
        void *at = NULL;
        enum code code = file_rows(v, a, sizeof **ret, interval_each, &at, ret_n, err,
                                   "SELECT id,opened,closed,ended_by,opening,closing,calibration FROM interval ORDER BY id");
        if (!code)
                *ret = at;
        return code;
}

/* One step of the backup: the log of a live run is held for the time of a copy, and never over a socket. */
enum code store_copy_run(struct store *s, const char *run, const char *to_path, struct tp_error *err)
{
        struct view *v = view_open(s, run, INT64_MAX, err);
        if (!v)
                return err ? err->code : CODE_DISK;
        struct db to;
        enum code code = db_open(&to, s->w, to_path, "the copy", DB_WRITE, err);
        sqlite3_backup *b = code ? NULL : sqlite3_backup_init(to.at, "main", v->file.at, "main");
        if (!code && !b)
                code = db_fail(&to, sqlite3_errcode(to.at), "beginning the copy", err);
        if (b) {
                sqlite3_backup_step(b, -1);
                int rc = sqlite3_backup_finish(b);
                if (rc != SQLITE_OK)
                        code = db_fail(&to, rc, "copying the run", err);
        }
        if (!code) /* or the copy would not open read-only */
                code = db_exec(&to, "PRAGMA journal_mode=DELETE", err);
        db_close(&to);
        view_close(v);
        return code ? tp_where(err, "copying run %s to %s", run, to_path) : CODE_OK;
}
