/* store_damage.c: what is damaged, lost or deleted is set aside, made again or said; the daemon starts. */
#include "store_help.h"

static void a_damaged_run_is_set_aside_and_the_daemon_starts(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        char path[400], aside[420];
        struct stat st;
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, POINTS);
        bed_run(b, RUN_B, 2);
        run_path(b, RUN_A, path);
        bed_close(b);
        FILE *f = fopen(path, "r+b");
        assert_non_null(f);
        for (long at = 4096; at < 40 * 4096; at += 4096) {
                fseek(f, at, SEEK_SET);
                fputs("no page of a b-tree begins like this", f);
        }
        fclose(f);
        bed_open(b);
        assert_int_equal(b->report.runs_damaged, 1);
        assert_int_equal(b->report.runs_open, 1);
        assert_non_null(strstr(b->report.sentence, RUN_A));
        snprintf(aside, sizeof aside, "%s.damaged-1", path);
        assert_int_equal(stat(aside, &st), 0);
        assert_int_equal(stat(path, &st), -1);
        assert_string_equal(row_of(b, RUN_A, a).state, "damaged");
        assert_null(view_open(b->s, RUN_A, INT64_MAX, &b->err));
        assert_int_equal(b->err.code, CODE_DAMAGED);
        struct view *v = view_open(b->s, NULL, INT64_MAX, &b->err);
        struct alarm_row *alarms;
        size_t n;
        must(b, view_alarms(v, a, &alarms, &n, &b->err), __LINE__);
        assert_int_equal(n, 1);
        assert_non_null(strstr(alarms[0].sentence, "damaged-1"));
        view_close(v);
        bed_touch(b, RUN_B, 2, 10, 21);
        arena_free(a);
}

static void a_missing_run_file_is_said_and_its_spent_touches_stay(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        char path[400];
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        run_path(b, RUN_A, path);
        bed_close(b);
        assert_int_equal(unlink(path), 0);
        bed_open(b);
        assert_int_equal(b->report.runs_damaged, 1);
        assert_non_null(strstr(b->report.sentence, "missing"));
        struct view *v = view_open(b->s, NULL, INT64_MAX, &b->err);
        int32_t used;
        must(b, view_ledger_used(v, "pad", "W7", "2_-3/L1", &used, &b->err), __LINE__);
        assert_int_equal(used, 1);
        view_close(v);
        arena_free(a);
}

/* A3 a, of a run: its first work was cut off before the run file had it, nobody was answered. */
static void a_run_that_was_never_answered_is_gone(void **state)
{
        struct bed *b = *state;
        char path[400];
        bed_run(b, RUN_A, 1);
        run_path(b, RUN_A, path);
        bed_close(b);
        file_sql(path, "DELETE FROM run");
        bed_open(b);
        assert_int_equal(b->report.runs_open, 0);
        assert_int_equal(b->report.runs_damaged, 0);
        assert_null(view_open(b->s, RUN_A, INT64_MAX, &b->err));
        assert_int_equal(b->err.code, CODE_NOT_FOUND);
        bed_run(b, RUN_A, 1); /* asked again it works */
}

/* ---- the index ---------------------------------------------------------------------------------------------------------------------- */

static char *dump_index(struct bed *b)
{
        sqlite3 *db = bed_sql(b, "index.db");
        char *t = sql_text(
                db, "SELECT "
                    "group_concat(quote(n)||quote(id)||quote(kind)||quote(lot)||quote(wafer)||quote(recipe)||quote(recipe_name)||quote("
                    "began_us)||quote(state)||"
                    "quote(waiting_for)||quote(counts)||quote(map)||quote(file_state), x'0a') FROM (SELECT * FROM run_row ORDER BY n)");
        sqlite3_close(db);
        return t;
}

static void a_deleted_index_is_made_again_and_equal(void **state)
{
        struct bed *b = *state;
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        struct work *w = work_new(RUN_A);
        struct fact *f = work_add(w, FACT_MAP);
        f->of.map.state = "running";
        f->of.map.counts_json = "{\"pass\":3}";
        f->of.map.map_json = "{\"dies\":[[2,-3,\"pass\"]]}";
        bed_must(b, w);
        bed_seal(b, RUN_A);
        bed_run(b, RUN_B, 2);
        w = work_new(RUN_B);
        f = work_add(w, FACT_RUN_STATE);
        f->of.run_state.state = "paused";
        f->of.run_state.waiting_for = "somebody to look at the chuck";
        bed_must(b, w);
        bed_close(b);
        char *before = dump_index(b), path[300];
        assert_non_null(before);
        assert_non_null(strstr(before, "dies"));
        for (int damaged = 0; damaged < 2; damaged++) {
                snprintf(path, sizeof path, "%s/index.db", b->dir);
                if (damaged) {
                        FILE *file = fopen(path, "wb");
                        assert_non_null(file);
                        fputs("this is no database, and longer than a hundred bytes so that somebody must look into it to find that out "
                              ".........",
                              file);
                        fclose(file);
                } else
                        assert_int_equal(unlink(path), 0);
                bed_open(b);
                bed_close(b);
                char *after = dump_index(b);
                assert_string_equal(after, before);
                free(after);
        }
        free(before);
}

static void an_index_deleted_under_the_running_daemon_is_made_again(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        struct run_row row;
        char path[300];
        uint8_t digest[32] = {0};
        struct token_row token;
        enum code code = CODE_BUSY;
        bed_run(b, RUN_A, 1);
        static const char *const tails[] = {"", "-wal", "-shm"};
        for (int i = 0; i < 3; i++) {
                snprintf(path, sizeof path, "%s/index.db%s", b->dir, tails[i]);
                assert_int_equal(unlink(path), 0);
        }
        for (int i = 0; i < 200 && code == CODE_BUSY; i++) {
                struct view *v = view_open(b->s, NULL, INT64_MAX, &b->err);
                assert_non_null(v);
                assert_int_equal(view_token(v, digest, &token, &b->err), CODE_NOT_FOUND); /* who may do what does not depend on it */
                code = view_run(v, RUN_A, a, &row, &b->err);
                assert_true(i > 0 || code == CODE_BUSY);
                view_close(v);
                b->w->task->sleep_until(b->w, world_boot_ns(b->w) + 10 * NS_PER_MS);
        }
        must(b, code, __LINE__);
        assert_string_equal(row.recipe_name, "demo");
        bed_touch(b, RUN_A, 1, 10, 21);
        arena_free(a);
}

/* Pages in the middle are spoilt, the first one is not: only a question finds it. */
static void an_index_found_damaged_by_a_question_is_made_again(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        struct run_row *rows;
        struct stat st;
        char path[300], aside[320];
        size_t n = 0;
        bed_run(b, RUN_A, 1);
        struct work *w = work_new(RUN_A);
        struct fact *f = work_add(w, FACT_MAP);
        f->of.map.map_json = "{\"dies\":[]}";
        bed_must(b, w);
        bed_seal(b, RUN_A);
        bed_close(b);
        snprintf(path, sizeof path, "%s/index.db", b->dir);
        snprintf(aside, sizeof aside, "%s.damaged-1", path);
        assert_int_equal(stat(path, &st), 0);
        FILE *file = fopen(path, "r+b");
        assert_non_null(file);
        for (long at = 4096; at < st.st_size; at += 4096) {
                fseek(file, at, SEEK_SET);
                fputs("no page of a b-tree begins like this", file);
        }
        fclose(file);
        bed_open(b);
        enum code code = CODE_BUSY;
        for (int i = 0; i < 200 && code == CODE_BUSY; i++) {
                struct view *v = view_open(b->s, NULL, INT64_MAX, &b->err);
                code = view_runs(v, NULL, 0, a, &rows, &n, &b->err);
                view_close(v);
                b->w->task->sleep_until(b->w, world_boot_ns(b->w) + 10 * NS_PER_MS);
        }
        must(b, code, __LINE__);
        assert_int_equal(n, 1);
        assert_string_equal(rows[0].map_json, "{\"dies\":[]}");
        assert_int_equal(stat(aside, &st), 0);
        arena_free(a);
}

static void runs_come_back_when_the_catalogue_is_lost(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        char digest[65], path[300];
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        bed_seal(b, RUN_A);
        bed_run(b, RUN_B, 2);
        bed_touch(b, RUN_B, 2, 10, 21);
        snprintf(digest, sizeof digest, "%s", row_of(b, RUN_A, a).sha256);
        bed_close(b);
        snprintf(path, sizeof path, "%s/catalogue.db", b->dir);
        FILE *f = fopen(path, "wb"); /* damaged beyond reading */
        assert_non_null(f);
        for (int i = 0; i < 1000; i++)
                fputs("not a catalogue ", f);
        fclose(f);
        bed_open(b);
        assert_non_null(strstr(b->report.sentence, "catalogue.db.damaged-1"));
        assert_int_equal(b->report.runs_open, 1);
        assert_int_equal(b->report.runs_sealed, 1);
        assert_string_equal(row_of(b, RUN_A, a).sha256, digest);
        assert_string_equal(row_of(b, RUN_A, a).state, "finished");
        assert_int_equal(store_next_number(b->s), 3);
        bed_touch(b, RUN_B, 2, 20, 21);
        arena_free(a);
}

/* ---- audit -------------------------------------------------------------------------------------------------------------------------- */

static void a_changed_audit_row_is_named(void **state)
{
        struct bed *b = *state;
        int64_t rows;
        uint8_t head[32], head_again[32];
        for (int i = 1; i <= 5; i++) {
                struct work *w = work_new(NULL);
                struct fact *f = work_add(w, FACT_AUDIT);
                f->of.audit.token = i % 2 ? "01JABCDEFGH0000000000000TT" : NULL;
                f->of.audit.what = "run.pause";
                f->of.audit.target = RUN_A;
                f->of.audit.body = work_text(w, "{\"n\":%d}", i);
                f->of.audit.result = "ok";
                bed_must(b, w);
        }
        struct view *v = view_open(b->s, NULL, INT64_MAX, &b->err);
        must(b, view_audit_verify(v, &rows, head, &b->err), __LINE__);
        assert_int_equal(rows, 5);
        view_close(v);
        bed_close(b);
        sqlite3 *db = bed_sql(b, "catalogue.db");
        assert_int_not_equal(sqlite3_exec(db, "UPDATE audit SET result='refused' WHERE seq=3", NULL, NULL, NULL), SQLITE_OK);
        assert_int_not_equal(sqlite3_exec(db, "DELETE FROM audit WHERE seq=3", NULL, NULL, NULL), SQLITE_OK);
        sqlite3_close(db);
        bed_open(b);
        v = view_open(b->s, NULL, INT64_MAX, &b->err);
        must(b, view_audit_verify(v, &rows, head_again, &b->err), __LINE__);
        assert_memory_equal(head, head_again, 32);
        view_close(v);
        bed_close(b);
        static const char *const crimes[][2] = {
                {"UPDATE audit SET result='refused' WHERE seq=3", "row 3"},
                {"UPDATE audit SET result='ok' WHERE seq=3; DELETE FROM audit WHERE seq=2", "row 2 is missing"},
        };
        for (int i = 0; i < 2; i++) {
                db = bed_sql(b, "catalogue.db");
                sql_run(db, "DROP TRIGGER IF EXISTS audit_stays; DROP TRIGGER IF EXISTS audit_keeps");
                sql_run(db, crimes[i][0]);
                sqlite3_close(db);
                bed_open(b);
                v = view_open(b->s, NULL, INT64_MAX, &b->err);
                assert_int_equal(view_audit_verify(v, &rows, head, &b->err), CODE_DAMAGED);
                assert_non_null(strstr(b->err.text, crimes[i][1]));
                view_close(v);
                bed_close(b);
        }
        bed_open(b);
}

int main(void)
{
#define T(name) cmocka_unit_test_setup_teardown(name, bed_setup, bed_teardown)
        const struct CMUnitTest tests[] = {
                T(a_damaged_run_is_set_aside_and_the_daemon_starts),
                T(a_missing_run_file_is_said_and_its_spent_touches_stay),
                T(a_run_that_was_never_answered_is_gone),
                T(a_deleted_index_is_made_again_and_equal),
                T(an_index_found_damaged_by_a_question_is_made_again),
                T(runs_come_back_when_the_catalogue_is_lost),
                T(an_index_deleted_under_the_running_daemon_is_made_again),
                T(a_changed_audit_row_is_named),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
