/* store_start.c: what a start finds in order, finishes, or refuses in a sentence. */
#include "store_help.h"

/* A3 b: the cut came between the ledger's commit and the journal's. */
static void a_ledger_row_without_its_entry_is_listed_until_a_note_takes_it_back(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        struct orphan *orphans;
        size_t n;
        uint64_t next;
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        struct work *w = work_new(RUN_A);
        add_ledger(w, 14, 1);
        bed_must(b, w);
        bed_close(b);
        bed_open(b);
        assert_int_equal(b->report.compensated, 1);
        must(b, store_reconcile_list(b->s, RUN_A, a, &orphans, &n, &next, &b->err), __LINE__);
        assert_int_equal(n, 1);
        assert_int_equal(orphans[0].seq, 14);
        assert_int_equal(orphans[0].touches, 1);
        assert_string_equal(orphans[0].kind, "pad");
        assert_string_equal(orphans[0].serial, "W7");
        assert_string_equal(orphans[0].part, "2_-3/L1");
        assert_int_equal(next, 15);
        /* the compensation itself is cut off after its ledger row: now two rows hang in the air */
        w = work_new(RUN_A);
        add_ledger(w, 15, -1);
        bed_must(b, w);
        bed_close(b);
        bed_open(b);
        must(b, store_reconcile_list(b->s, RUN_A, a, &orphans, &n, &next, &b->err), __LINE__);
        assert_int_equal(n, 2);
        assert_int_equal(next, 16);
        for (size_t i = 0; i < n; i++) {
                w = work_new(RUN_A);
                add_ledger(w, next + i, -orphans[i].touches);
                struct entry *e = add_entry(w, 1, next + i, 0, PHASE_NOTE, STEP_NONE);
                e->body.note.note = NOTE_COMPENSATE;
                e->body.note.of_step = UINT64_C(1) << 32 | orphans[i].seq;
                bed_must(b, w);
        }
        bed_close(b);
        bed_open(b);
        assert_int_equal(b->report.compensated, 0);
        struct view *v = view_open(b->s, RUN_A, INT64_MAX, &b->err);
        int32_t used;
        must(b, view_ledger_used(v, "pad", "W7", "2_-3/L1", &used, &b->err), __LINE__);
        assert_int_equal(used, 1); /* only the touch that was made */
        view_close(v);
        arena_free(a);
}

static void an_open_run_is_offered_for_resuming_and_numbers_go_on(void **state)
{
        struct bed *b = *state;
        struct run_open runs[4];
        assert_int_equal(store_next_number(b->s), 1);
        bed_run(b, RUN_A, 1);
        uint32_t epoch = store_epoch(b->s);
        bed_close(b);
        bed_open(b);
        assert_int_equal(b->report.runs_open, 1);
        assert_int_equal(store_epoch(b->s), epoch + 1);
        assert_int_equal(store_runs_open(b->s, runs, 4), 1);
        assert_string_equal(runs[0].id, RUN_A);
        assert_int_equal(runs[0].number, 1);
        assert_int_equal(store_next_number(b->s), 2);
        assert_int_equal(store_next_number(b->s), 3);
        bed_touch(b, RUN_A, 1, 10, 21);
}

static void a_second_store_on_the_same_directory_is_refused_by_name(void **state)
{
        struct bed *b = *state;
        struct store_report report;
        struct tp_error err = {0};
        assert_null(store_open(b->w, b->dir, NULL, "test-build", &report, &err));
        assert_int_equal(err.code, CODE_BUSY);
        assert_non_null(strstr(err.text, b->dir));
        assert_non_null(strstr(err.text, "another"));
        char pid[24];
        snprintf(pid, sizeof pid, "%d", (int)getpid());
        assert_non_null(strstr(err.text, pid));
}

static void a_database_of_a_later_version_is_refused_in_one_sentence(void **state)
{
        struct bed *b = *state;
        bed_close(b);
        sqlite3 *db = bed_sql(b, "catalogue.db");
        sql_run(db, "PRAGMA user_version=99");
        sqlite3_close(db);
        struct store_report report;
        assert_null(store_open(b->w, b->dir, NULL, "test-build", &report, &b->err));
        assert_int_equal(b->err.code, CODE_TOO_NEW);
        assert_non_null(strstr(b->err.text, "catalogue.db"));
        assert_non_null(strstr(b->err.text, "99"));
        assert_non_null(strstr(b->err.text, "up to 1"));
        db = bed_sql(b, "catalogue.db");
        assert_int_equal(sql_int(db, "PRAGMA user_version"), 99);
        sql_run(db, "PRAGMA user_version=1");
        sqlite3_close(db);
        bed_open(b);
}

static void a_run_of_a_later_version_is_left_alone(void **state)
{
        struct bed *b = *state;
        char path[400];
        bed_run(b, RUN_A, 1);
        run_path(b, RUN_A, path);
        bed_close(b);
        file_sql(path, "PRAGMA user_version=7");
        bed_open(b);
        assert_int_equal(b->report.runs_open, 0);
        assert_int_equal(b->report.runs_damaged, 0);
        assert_non_null(strstr(b->report.sentence, "version 7"));
        assert_null(view_open(b->s, RUN_A, INT64_MAX, &b->err));
        assert_int_equal(b->err.code, CODE_TOO_NEW);
}

static void a_catalogue_is_copied_before_it_is_migrated(void **state)
{
        struct bed *b = *state;
        char dir[200], path[300];
        struct store_report report;
        bed_run(b, RUN_A, 1);
        bed_close(b);
        snprintf(dir, sizeof dir, "%s/more/catalogue", b->dir);
        must(b, b->w->file->make_dir(b->w, dir, &b->err), __LINE__);
        snprintf(path, sizeof path, "%s/0002_note.sql", dir);
        static const char sql[] = "CREATE TABLE remark(id INTEGER PRIMARY KEY, text TEXT NOT NULL) STRICT;";
        must(b, b->w->file->write(b->w, path, sql, sizeof sql - 1, 0644, &b->err), __LINE__);
        snprintf(dir, sizeof dir, "%s/more", b->dir);
        b->s = store_open(b->w, b->dir, dir, "test-build", &report, &b->err);
        if (!b->s)
                fail_msg("%s", b->err.text);
        bed_close(b);
        sqlite3 *db = bed_sql(b, "catalogue.db");
        assert_int_equal(sql_int(db, "PRAGMA user_version"), 2);
        assert_int_equal(sql_int(db, "SELECT count(*) FROM remark"), 0);
        assert_int_equal(sql_int(db, "SELECT count(*) FROM run"), 1);
        sqlite3_close(db);
        bed_check(b, "catalogue.db.before-1");
        db = bed_sql(b, "catalogue.db.before-1");
        assert_int_equal(sql_int(db, "PRAGMA user_version"), 1);
        assert_int_equal(sql_int(db, "SELECT count(*) FROM run"), 1);
        sqlite3_close(db);
        /* and a migration that fails leaves the catalogue as it was */
        snprintf(path, sizeof path, "%s/catalogue/0003_bad.sql", dir);
        static const char bad[] = "CREATE TABLE half(x INTEGER) STRICT; CREATE TABLE remark(x INTEGER) STRICT;";
        must(b, b->w->file->write(b->w, path, bad, sizeof bad - 1, 0644, &b->err), __LINE__);
        assert_null(store_open(b->w, b->dir, dir, "test-build", &report, &b->err));
        db = bed_sql(b, "catalogue.db");
        assert_int_equal(sql_int(db, "PRAGMA user_version"), 2);
        assert_int_equal(sql_int(db, "SELECT count(*) FROM sqlite_schema WHERE name='half'"), 0);
        sqlite3_close(db);
}

static void the_first_start_makes_one_token_and_keeps_only_its_digest(void **state)
{
        struct bed *b = *state;
        bool made;
        char path[400] = "", token[100] = "";
        struct stat st;
        must(b, store_start_token(b->s, &made, path, sizeof path, &b->err), __LINE__);
        assert_true(made);
        assert_int_equal(stat(path, &st), 0);
        assert_int_equal(st.st_mode & 0777, 0600);
        FILE *f = fopen(path, "r");
        assert_non_null(fgets(token, sizeof token, f));
        fclose(f);
        assert_int_equal(strlen(token), 69);
        assert_memory_equal(token, "tpl_", 4);
        uint8_t digest[32];
        sha256_of(token, 68, digest);
        struct view *v = view_open(b->s, NULL, INT64_MAX, &b->err);
        struct token_row t;
        must(b, view_token(v, digest, &t, &b->err), __LINE__);
        assert_string_equal(t.role, "safety");
        view_close(v);
        must(b, store_start_token(b->s, &made, path, sizeof path, &b->err), __LINE__);
        assert_false(made);
        bed_close(b);
        char command[300];
        snprintf(command, sizeof command, "grep -rl '%.60s' '%s' --include='*.db*' | wc -l", token + 4, b->dir);
        FILE *p = popen(command, "r");
        char count[16];
        assert_non_null(fgets(count, sizeof count, p));
        pclose(p);
        assert_int_equal(atoi(count), 0);
        bed_open(b);
}

int main(void)
{
#define T(name) cmocka_unit_test_setup_teardown(name, bed_setup, bed_teardown)
        const struct CMUnitTest tests[] = {
                T(a_ledger_row_without_its_entry_is_listed_until_a_note_takes_it_back),
                T(an_open_run_is_offered_for_resuming_and_numbers_go_on),
                T(a_second_store_on_the_same_directory_is_refused_by_name),
                T(a_database_of_a_later_version_is_refused_in_one_sentence),
                T(a_run_of_a_later_version_is_left_alone),
                T(a_catalogue_is_copied_before_it_is_migrated),
                T(the_first_start_makes_one_token_and_keeps_only_its_digest),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
