/* store_start.c: whatever state the files are left in, the next start finds it, mends what can be mended and says the rest. */
#include "store_help.h"
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

static int setup(void **state)
{
        *state = bed_new();
        return 0;
}
static int teardown(void **state)
{
        bed_free(*state);
        return 0;
}

static char *run_path(struct bed *b, const char *run, char ret[400])
{
        must(b, store_path_of_run(b->s, run, ret, 400, &b->err), __LINE__);
        return ret;
}

static void digest_of_file(const char *path, char ret[65])
{
        char line[600], command[600];
        snprintf(command, sizeof command, "sha256sum '%s'", path); /* a judge of its own */
        FILE *p = popen(command, "r");
        assert_non_null(p);
        assert_non_null(fgets(line, sizeof line, p));
        pclose(p);
        snprintf(ret, 65, "%.64s", line);
}

static struct run_row row_of(struct bed *b, const char *run, struct arena *a)
{
        struct run_row row;
        struct view *v = view_open(b->s, NULL, INT64_MAX, &b->err);
        assert_non_null(v);
        must(b, view_run(v, run, a, &row, &b->err), __LINE__);
        view_close(v);
        return row;
}

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
        sqlite3 *db = NULL;
        assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
        sql_run(db, "DELETE FROM run");
        sqlite3_close(db);
        bed_open(b);
        assert_int_equal(b->report.runs_open, 0);
        assert_int_equal(b->report.runs_damaged, 0);
        assert_null(view_open(b->s, RUN_A, INT64_MAX, &b->err));
        assert_int_equal(b->err.code, CODE_NOT_FOUND);
        bed_run(b, RUN_A, 1); /* asked again it works */
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
        sqlite3 *db = NULL;
        assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
        sql_run(db, "PRAGMA user_version=7");
        sqlite3_close(db);
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

/* ---- kill -9 ------------------------------------------------------------------------------------------------------------------------ */

/* The child writes touches and says each one that was answered; the parent kills it somewhere in between. */
static void child_writes(const char *dir, int out, uint64_t first)
{
        struct tp_error err;
        struct store_report report;
        struct bed b = {.w = host_world_new(&err)};
        snprintf(b.dir, sizeof b.dir, "%s", dir);
        struct store_sizes sizes = {.reserve_bytes = 65536};
        b.s = store_open_sized(b.w, dir, NULL, "test-build", &sizes, &report, &err);
        b.answers = b.w->task->inbox_new(b.w, 0);
        for (uint64_t seq = first; b.s; seq += 4) {
                bed_touch(&b, RUN_A, 1, seq, 101);
                if (write(out, &seq, sizeof seq) != sizeof seq)
                        break;
        }
        _exit(1);
}

static void nothing_that_was_answered_is_lost_by_kill_9(void **state)
{
        struct bed *b = *state;
        uint64_t next = 1;
        bed_run(b, RUN_A, 1);
        bed_close(b);
        for (int round = 0; round < 8; round++) {
                int ends[2];
                uint64_t seq, answered = 0;
                assert_int_equal(pipe(ends), 0);
                fflush(NULL);
                pid_t pid = fork();
                assert_true(pid >= 0);
                if (pid == 0) {
                        close(ends[0]);
                        child_writes(b->dir, ends[1], next);
                }
                close(ends[1]);
                for (int i = 0; i < 3 + 5 * round; i++)
                        if (read(ends[0], &seq, sizeof seq) == sizeof seq)
                                answered = seq;
                usleep((useconds_t)(137 * round));
                kill(pid, SIGKILL);
                waitpid(pid, NULL, 0);
                while (read(ends[0], &seq, sizeof seq) == sizeof seq)
                        answered = seq;
                close(ends[0]);
                assert_true(answered >= next);
                bed_open(b);
                struct arena *a = arena_new(0);
                struct view *v = view_open(b->s, RUN_A, INT64_MAX, &b->err);
                struct sweep_row *sweeps;
                struct orphan *orphans;
                size_t n, orphan_n;
                uint64_t after;
                int32_t used;
                must(b, view_sweeps(v, NULL, a, &sweeps, &n, &b->err), __LINE__);
                assert_true(n > 0 && (uint64_t)sweeps[n - 1].id >= answered + 2);
                must(b, view_ledger_used(v, "pad", "W7", "2_-3/L1", &used, &b->err), __LINE__);
                view_close(v);
                must(b, store_reconcile_list(b->s, RUN_A, a, &orphans, &orphan_n, &after, &b->err), __LINE__);
                struct view *t = view_open(b->s, RUN_A, INT64_MAX, &b->err);
                struct touchdown_row *touches;
                size_t touch_n;
                must(b, view_touchdowns(t, a, &touches, &touch_n, &b->err), __LINE__);
                view_close(t);
                assert_int_equal(used, touch_n + orphan_n); /* spent = intended + what the list says */
                next = after + 4;
                for (size_t i = 0; i < orphan_n; i++) {
                        struct work *w = work_new(RUN_A);
                        add_ledger(w, next, -orphans[i].touches);
                        struct entry *e = add_entry(w, 1, next, 0, PHASE_NOTE, STEP_NONE);
                        e->body.note.note = NOTE_COMPENSATE;
                        e->body.note.of_step = UINT64_C(1) << 32 | orphans[i].seq;
                        bed_must(b, w);
                        next++;
                }
                bed_close(b);
                arena_free(a);
        }
        bed_open(b);
}

static void a_copy_left_by_a_death_is_removed_at_the_next_start(void **state)
{
        struct bed *b = *state;
        char path[400];
        bed_run(b, RUN_A, 1);
        store_copy_path(b->s, RUN_A, "READER", path, sizeof path);
        must(b, store_copy_run(b->s, RUN_A, path, &b->err), __LINE__);
        assert_int_equal(access(path, F_OK), 0);
        bed_close(b);
        bed_open(b);
        assert_int_not_equal(access(path, F_OK), 0);
        assert_int_equal(access(run_path(b, RUN_A, path), F_OK), 0);
}

int main(void)
{
#define T(name) cmocka_unit_test_setup_teardown(name, setup, teardown)
        const struct CMUnitTest tests[] = {
                T(a_ledger_row_without_its_entry_is_listed_until_a_note_takes_it_back),
                T(an_open_run_is_offered_for_resuming_and_numbers_go_on),
                T(a_sealed_run_is_read_only_and_has_the_digest_it_says),
                T(a_seal_cut_at_any_step_is_finished_by_the_next_start),
                T(a_seal_waits_for_readers_and_refuses_new_ones),
                T(a_damaged_run_is_set_aside_and_the_daemon_starts),
                T(a_missing_run_file_is_said_and_its_spent_touches_stay),
                T(a_run_that_was_never_answered_is_gone),
                T(a_copy_left_by_a_death_is_removed_at_the_next_start),
                T(a_second_store_on_the_same_directory_is_refused_by_name),
                T(a_database_of_a_later_version_is_refused_in_one_sentence),
                T(a_run_of_a_later_version_is_left_alone),
                T(a_catalogue_is_copied_before_it_is_migrated),
                T(a_deleted_index_is_made_again_and_equal),
                T(an_index_found_damaged_by_a_question_is_made_again),
                T(runs_come_back_when_the_catalogue_is_lost),
                T(an_index_deleted_under_the_running_daemon_is_made_again),
                T(a_changed_audit_row_is_named),
                T(the_first_start_makes_one_token_and_keeps_only_its_digest),
                T(nothing_that_was_answered_is_lost_by_kill_9),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
