/* store_seal.c: a sealed run is read-only and has the digest it says, whatever cut its sealing. */
#include "store_help.h"

static void a_sealed_run_is_read_only_and_has_the_digest_it_says(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        char path[400], digest[65];
        struct stat st;
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, POINTS);
        bed_seal(b, RUN_A);
        run_path(b, RUN_A, path);
        assert_int_equal(stat(path, &st), 0);
        assert_int_equal(st.st_mode & 0777, 0444);
        digest_of_file(path, digest);
        struct run_row row = row_of(b, RUN_A, a);
        assert_string_equal(row.sha256, digest);
        assert_string_equal(row.state, "finished");
        struct work *w = work_new(RUN_A);
        add_entry(w, 1, 99, 99, PHASE_INTEND, STEP_MOVE);
        assert_int_equal(bed_do(b, w, DURABLE, NULL), CODE_STATE);
        assert_non_null(strstr(b->err.text, "sealed"));
        struct view *v = view_open(b->s, RUN_A, INT64_MAX, &b->err); /* reading leaves no trace */
        struct sweep_row *sweeps;
        size_t n;
        must(b, view_sweeps(v, "device", a, &sweeps, &n, &b->err), __LINE__);
        assert_int_equal(n, 1);
        view_close(v);
        char again[65];
        digest_of_file(path, again);
        assert_string_equal(again, digest);
        char wal[420];
        snprintf(wal, sizeof wal, "%s-wal", path);
        assert_int_equal(stat(wal, &st), -1);
        bed_close(b);
        bed_open(b);
        assert_int_equal(b->report.runs_open, 0);
        assert_string_equal(row_of(b, RUN_A, a).sha256, digest);
        arena_free(a);
}

/* A3 j: the cut came at each of the seal's steps. */
static void a_seal_cut_at_any_step_is_finished_by_the_next_start(void **state)
{
        struct bed *b = *state;
        static const char *const ids[] = {"01JABCDEFGH0000000000000S0", "01JABCDEFGH0000000000000S1", "01JABCDEFGH0000000000000S2"};
        struct arena *a = arena_new(0);
        char path[3][400], digest[65];
        for (int i = 0; i < 3; i++) {
                bed_run(b, ids[i], i + 1);
                run_path(b, ids[i], path[i]);
        }
        bed_close(b);
        for (int i = 0; i < 3; i++) {
                sqlite3 *db = NULL;
                assert_int_equal(sqlite3_open(path[i], &db), SQLITE_OK);
                sql_run(db, "UPDATE run SET closed_us=1700000000000000");
                if (i >= 1)
                        sql_run(db, "PRAGMA journal_mode=DELETE");
                sqlite3_close(db);
                if (i >= 2)
                        assert_int_equal(chmod(path[i], 0444), 0);
        }
        bed_open(b);
        assert_int_equal(b->report.runs_sealed, 3);
        assert_int_equal(b->report.runs_open, 0);
        for (int i = 0; i < 3; i++) {
                struct stat st;
                digest_of_file(path[i], digest);
                assert_string_equal(row_of(b, ids[i], a).sha256, digest);
                assert_int_equal(stat(path[i], &st), 0);
                assert_int_equal(st.st_mode & 0777, 0444);
        }
        arena_free(a);
}

static void a_seal_waits_for_readers_and_refuses_new_ones(void **state)
{
        struct bed *b = *state;
        bed_run(b, RUN_A, 1);
        struct view *v = view_open(b->s, RUN_A, INT64_MAX, &b->err);
        struct arena *a = arena_new(0);
        struct entry *e;
        size_t n;
        must(b, view_entries(v, 0, 0, a, &e, &n, &b->err), __LINE__);
        struct work *w = work_new(RUN_A);
        work_add(w, FACT_RUN_SEAL);
        w->answer = b->answers;
        assert_true(store_submit(b->s, w, DURABLE));
        struct view *late = NULL;
        for (int i = 0; i < 400; i++) { /* until the seal has begun */
                late = view_open(b->s, RUN_A, INT64_MAX, &b->err);
                if (!late)
                        break;
                view_close(late);
                b->w->task->sleep_until(b->w, world_boot_ns(b->w) + 5 * NS_PER_MS);
        }
        assert_null(late);
        assert_int_equal(b->err.code, CODE_BUSY);
        assert_null(b->w->task->take(b->w, b->answers, 0));
        view_close(v);
        struct store_done *done = (struct store_done *)(void *)b->w->task->take(b->w, b->answers, world_boot_ns(b->w) + 20 * NS_PER_S);
        assert_non_null(done);
        assert_int_equal(done->code, CODE_OK);
        done->message.free(&done->message);
        arena_free(a);
}

int main(void)
{
#define T(name) cmocka_unit_test_setup_teardown(name, bed_setup, bed_teardown)
        const struct CMUnitTest tests[] = {
                T(a_sealed_run_is_read_only_and_has_the_digest_it_says),
                T(a_seal_cut_at_any_step_is_finished_by_the_next_start),
                T(a_seal_waits_for_readers_and_refuses_new_ones),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
