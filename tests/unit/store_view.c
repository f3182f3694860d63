/* store_view.c: questions are short, see one moment, and never keep the writer's log from being emptied for long. */
#include "store_help.h"

static void a_question_is_interrupted_at_its_deadline(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        bed_run(b, RUN_A, 1);
        struct work *w = work_new(RUN_A);
        for (uint64_t seq = 1; seq <= 3000; seq++)
                add_entry(w, 1, seq, seq, PHASE_INTEND, STEP_MOVE);
        bed_must(b, w);
        struct entry *e;
        size_t n = 0;
        struct view *v = view_open(b->s, RUN_A, world_boot_ns(b->w) + 20 * NS_PER_MS, &b->err);
        assert_non_null(v);
        b->w->task->sleep_until(b->w, world_boot_ns(b->w) + 25 * NS_PER_MS);
        assert_int_equal(view_entries(v, 0, 0, a, &e, &n, &b->err), CODE_TIMED_OUT);
        assert_non_null(strstr(b->err.text, "interrupted"));
        view_close(v);
        v = view_open(b->s, RUN_A, world_boot_ns(b->w) + 30 * NS_PER_S, &b->err);
        must(b, view_entries(v, 0, 0, a, &e, &n, &b->err), __LINE__);
        assert_int_equal(n, 3000);
        view_close(v);
        arena_free(a);
}

static void a_view_sees_one_moment(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        struct entry *e;
        size_t n;
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        struct view *v = view_open(b->s, RUN_A, INT64_MAX, &b->err);
        must(b, view_entries(v, 0, 0, a, &e, &n, &b->err), __LINE__);
        assert_int_equal(n, 4);
        bed_touch(b, RUN_A, 1, 20, 21);
        must(b, view_entries(v, 0, 0, a, &e, &n, &b->err), __LINE__);
        assert_int_equal(n, 4);
        view_close(v);
        v = view_open(b->s, RUN_A, INT64_MAX, &b->err);
        must(b, view_entries(v, 0, 0, a, &e, &n, &b->err), __LINE__);
        assert_int_equal(n, 8);
        view_close(v);
        arena_free(a);
}

static void a_changed_trace_is_noticed(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        char path[400], dtype[8];
        const void *bytes;
        size_t n;
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        must(b, store_path_of_run(b->s, RUN_A, path, sizeof path, &b->err), __LINE__);
        bed_close(b);
        file_sql(path, "UPDATE trace SET raw=zeroblob(length(raw)) WHERE name='S21'");
        bed_open(b);
        struct view *v = view_open(b->s, RUN_A, INT64_MAX, &b->err);
        must(b, view_trace(v, 12, "S11", a, dtype, &bytes, &n, &b->err), __LINE__);
        assert_int_equal(view_trace(v, 12, "S21", a, dtype, &bytes, &n, &b->err), CODE_DAMAGED);
        assert_non_null(strstr(b->err.text, "sweep 12, trace S21"));
        view_close(v);
        arena_free(a);
}

static void a_copy_of_a_live_run_opens_alone_and_holds_all_of_it(void **state)
{
        struct bed *b = *state;
        char to[300];
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        snprintf(to, sizeof to, "%s/copy.run", b->dir);
        must(b, store_copy_run(b->s, RUN_A, to, &b->err), __LINE__);
        assert_int_equal(chmod(to, 0444), 0);
        bed_check(b, "copy.run");
        sqlite3 *db = NULL;
        char uri[400];
        snprintf(uri, sizeof uri, "file:%s?immutable=1", to);
        assert_int_equal(sqlite3_open_v2(uri, &db, SQLITE_OPEN_READONLY | SQLITE_OPEN_URI, NULL), SQLITE_OK);
        assert_int_equal(sql_int(db, "SELECT count(*) FROM v_sweep"), 1);
        char *mode = sql_text(db, "PRAGMA journal_mode");
        assert_string_equal(mode, "delete");
        free(mode);
        sqlite3_close(db);
        bed_touch(b, RUN_A, 1, 20, 21);
}

/* 5000 sweeps as fast as they go, with a reader that opens and closes all the while. */
static void the_log_never_grows_beyond_16_mb(void **state)
{
        struct bed *b = *state;
        enum { SWEEPS = 5000, AT_ONCE = 32 };
        char path[400], wal[420];
        long largest = 0;
        struct arena *a = arena_new(0);
        bed_run(b, RUN_A, 1);
        must(b, store_path_of_run(b->s, RUN_A, path, sizeof path, &b->err), __LINE__);
        snprintf(wal, sizeof wal, "%s-wal", path);
        struct view *reader = NULL;
        int waiting = 0;
        for (int i = 0; i < SWEEPS || waiting > 0;) {
                if (i < SWEEPS && waiting < AT_ONCE) {
                        struct work *w = work_new(RUN_A);
                        add_entry(w, 1, (uint64_t)i + 1, (uint64_t)i + 1, PHASE_INTEND, STEP_SWEEP);
                        add_sweep(b, w, i + 1, 0, POINTS / 2);
                        w->answer = b->answers;
                        assert_true(store_submit(b->s, w, DURABLE));
                        waiting++;
                        i++;
                        continue;
                }
                struct store_done *done =
                        (struct store_done *)(void *)b->w->task->take(b->w, b->answers, world_boot_ns(b->w) + 60 * NS_PER_S);
                assert_non_null(done);
                if (done->code)
                        fail_msg("%s", done->err.text);
                done->message.free(&done->message);
                waiting--;
                if (i % 50 == 0) { /* a reader that is open for 50 sweeps */
                        struct stat st;
                        view_close(reader);
                        reader = view_open(b->s, RUN_A, INT64_MAX, &b->err);
                        assert_non_null(reader);
                        struct sweep_row row;
                        must(b, view_sweep(reader, 1, a, &row, &b->err), __LINE__);
                        if (!stat(wal, &st) && st.st_size > largest)
                                largest = st.st_size;
                        if (store_health(b->s).wal_bytes > largest)
                                largest = store_health(b->s).wal_bytes;
                        arena_reset(a);
                }
        }
        view_close(reader);
        print_message("largest log: %.1f MB\n", (double)largest / 1048576.0);
        assert_true(largest > 0 && largest < 16 * 1048576);
        for (int i = 0; i < 100; i++) { /* and a pause empties it */
                struct stat st;
                if (!stat(wal, &st) && st.st_size == 0)
                        break;
                assert_true(i < 99);
                b->w->task->sleep_until(b->w, world_boot_ns(b->w) + 50 * NS_PER_MS);
        }
        arena_free(a);
}

static void runs_are_listed_newest_first_page_by_page(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        char id[40];
        for (int i = 1; i <= 5; i++) {
                snprintf(id, sizeof id, "01JABCDEFGH00000000000000%d", i);
                bed_run(b, id, i);
        }
        struct view *v = view_open(b->s, NULL, INT64_MAX, &b->err);
        struct run_row *rows;
        size_t n;
        must(b, view_runs(v, NULL, 2, a, &rows, &n, &b->err), __LINE__);
        assert_int_equal(n, 2);
        assert_int_equal(rows[0].number, 5);
        assert_string_equal(rows[0].recipe_name, "demo");
        assert_string_equal(rows[0].wafer, "W7");
        assert_string_equal(rows[0].lot, "LOT1");
        assert_int_equal(rows[0].began[4], '-');
        must(b, view_runs(v, rows[1].id, 10, a, &rows, &n, &b->err), __LINE__);
        assert_int_equal(n, 3);
        assert_int_equal(rows[0].number, 3);
        struct document_row *docs, doc;
        must(b, view_documents(v, "recipe", a, &docs, &n, &b->err), __LINE__);
        assert_int_equal(n, 1);
        uint8_t digest[32];
        assert_true(hex_read(docs[0].sha256, digest, 32));
        must(b, view_document(v, digest, a, &doc, &b->err), __LINE__);
        assert_string_equal(doc.body, recipe_body);
        view_close(v);
        arena_free(a);
}

/* Known pairs of the calendar: date -u -d @N. */
static void times_are_written_as_the_calendar_says(void **state)
{
        (void)state;
        static const struct {
                int64_t s;
                const char *text;
        } rows[] = {
                {0, ""},
                {951782400, "2000-02-29T00:00:00Z"},
                {1700000000, "2023-11-14T22:13:20Z"},
                {4107542399, "2100-02-28T23:59:59Z"},
                {4107542400, "2100-03-01T00:00:00Z"},
                {1735689599, "2024-12-31T23:59:59Z"},
        };
        for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
                char got[32];
                iso_time(rows[i].s * 1000000, got);
                assert_string_equal(got, rows[i].text);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(a_question_is_interrupted_at_its_deadline, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(a_view_sees_one_moment, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(a_changed_trace_is_noticed, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(a_copy_of_a_live_run_opens_alone_and_holds_all_of_it, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(the_log_never_grows_beyond_16_mb, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(runs_are_listed_newest_first_page_by_page, bed_setup, bed_teardown),
                cmocka_unit_test(times_are_written_as_the_calendar_says),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
