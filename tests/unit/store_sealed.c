/* store_sealed.c: files of sealed runs stay open between two views, a few of them, and only while they are the files that were opened. */
#include "store_help.h"
#include <dirent.h>

enum { KEPT = 4, RUNS = 6 };

/* How often this process holds open what lies below `path`, names of deleted files included. */
static int held(const char *path)
{
        char link[64], to[512];
        int n = 0;
        DIR *d = opendir("/proc/self/fd");
        assert_non_null(d);
        for (struct dirent *e; (e = readdir(d));) {
                snprintf(link, sizeof link, "/proc/self/fd/%.20s", e->d_name);
                ssize_t length = readlink(link, to, sizeof to - 1);
                to[length > 0 ? length : 0] = 0;
                n += strncmp(to, path, strlen(path)) == 0;
        }
        closedir(d);
        return n;
}
static int held_runs(struct bed *b)
{
        char path[160];
        snprintf(path, sizeof path, "%s/runs/", b->dir);
        return held(path);
}

/* Run number `n` with n touches, sealed; its path into `path`. */
static const char *id_of(int n)
{
        static const char *const ids[RUNS + 1] = {"",
                                                  RUN_A,
                                                  RUN_B,
                                                  "01JABCDEFGH0000000000000CC",
                                                  "01JABCDEFGH0000000000000DD",
                                                  "01JABCDEFGH0000000000000EE",
                                                  "01JABCDEFGH0000000000000FF"};
        return ids[n];
}
static void make_sealed(struct bed *b, int n, char path[400])
{
        bed_run(b, id_of(n), n);
        for (uint64_t i = 0; i < (uint64_t)n; i++)
                bed_touch(b, id_of(n), n, 10 + 10 * i, 21);
        bed_seal(b, id_of(n));
        must(b, store_path_of_run(b->s, id_of(n), path, 400, &b->err), __LINE__);
}

/* Entries of the run's journal as a view of its own finds them. */
static size_t entries(struct bed *b, int n)
{
        struct arena *a = arena_new(0);
        struct entry *e;
        size_t ret = 0;
        struct view *v = view_open(b->s, id_of(n), world_boot_ns(b->w) + 60 * NS_PER_S, &b->err);
        if (!v)
                fail_msg("run %d: %s", n, b->err.text);
        must(b, view_entries(v, 0, 0, a, &e, &ret, &b->err), __LINE__);
        view_close(v);
        arena_free(a);
        return ret;
}

static void copy_file(const char *from, const char *to)
{
        char bytes[8192];
        FILE *in = fopen(from, "rb"), *out = fopen(to, "wb");
        assert_non_null(in);
        assert_non_null(out);
        for (size_t n; (n = fread(bytes, 1, sizeof bytes, in)) > 0;)
                assert_int_equal(fwrite(bytes, 1, n, out), n);
        fclose(in);
        assert_int_equal(fclose(out), 0);
}
/* A copy of the run with one entry less, as a restored older file would be. */
static void copy_shorter(const char *from, const char *to)
{
        sqlite3 *db = NULL;
        copy_file(from, to);
        assert_int_equal(sqlite3_open(to, &db), SQLITE_OK);
        sql_run(db, "PRAGMA foreign_keys=OFF; DROP TRIGGER IF EXISTS journal_stays; DROP TRIGGER IF EXISTS journal_keeps; "
                    "DELETE FROM journal WHERE seq=(SELECT max(seq) FROM journal)");
        sqlite3_close(db);
}

static void a_sealed_file_stays_open_and_a_live_one_is_opened_anew(void **state)
{
        struct bed *b = *state;
        char path[400];
        bed_run(b, RUN_B, 2);
        bed_touch(b, RUN_B, 2, 10, 21);
        assert_int_equal(entries(b, 2), 4);
        int live = held_runs(b); /* the writer's, and what SQLite itself keeps for the next opening */
        for (size_t i = 1; i <= 3; i++) {
                bed_touch(b, RUN_B, 2, 10 + 10 * i, 21);
                assert_int_equal(entries(b, 2), 4 + 4 * i);
                assert_int_equal(held_runs(b), live);
        }
        make_sealed(b, 1, path);
        assert_int_equal(held(path), 0);
        for (int i = 0; i < 3; i++) {
                assert_int_equal(entries(b, 1), 4);
                assert_int_equal(held(path), 1);
        }
        bed_close(b);
        assert_int_equal(held(path), 0);
        bed_open(b);
}

static void no_more_than_four_are_kept(void **state)
{
        struct bed *b = *state;
        char path[RUNS + 1][400];
        for (int n = 1; n <= RUNS; n++)
                make_sealed(b, n, path[n]);
        assert_int_equal(held_runs(b), 0);
        for (int round = 0; round < 2; round++)
                for (int n = 1; n <= RUNS; n++)
                        assert_int_equal(entries(b, n), 4 * n);
        assert_int_equal(held_runs(b), KEPT);
        for (int n = 1; n <= RUNS; n++)
                assert_int_equal(held(path[n]), n > RUNS - KEPT);
        assert_int_equal(entries(b, 3), 12); /* now the last one used: the next one pushes out run 4 */
        assert_int_equal(entries(b, 1), 4);
        assert_int_equal(held(path[3]), 1);
        assert_int_equal(held(path[4]), 0);
        struct view *two[2]; /* of one run at the same time: each has a connection of its own */
        for (int i = 0; i < 2; i++)
                assert_non_null(two[i] = view_open(b->s, id_of(6), INT64_MAX, &b->err));
        assert_int_equal(held(path[6]), 2);
        assert_int_equal(entries(b, 6), 24);
        for (int i = 0; i < 2; i++)
                view_close(two[i]);
        assert_int_equal(held_runs(b), KEPT);
}

static void a_replaced_file_is_opened_anew(void **state)
{
        struct bed *b = *state;
        char path[400], other[420];
        make_sealed(b, 2, path);
        assert_int_equal(entries(b, 2), 8);
        snprintf(other, sizeof other, "%s.other", path);
        copy_shorter(path, other);
        assert_int_equal(rename(other, path), 0);
        assert_int_equal(entries(b, 2), 7);
        assert_int_equal(held(path), 1); /* the deleted one is closed */
        copy_shorter(path, other);       /* written into the same file */
        assert_int_equal(chmod(path, 0644), 0);
        copy_file(other, path);
        assert_int_equal(entries(b, 2), 6);
        assert_int_equal(held(path), 1);
}

static void a_deleted_or_moved_file_is_closed(void **state)
{
        struct bed *b = *state;
        char path[3][400], aside[420];
        for (int n = 1; n <= 2; n++) {
                make_sealed(b, n, path[n]);
                assert_int_equal(entries(b, n), 4 * n);
        }
        snprintf(aside, sizeof aside, "%s.damaged-1", path[1]);
        assert_int_equal(rename(path[1], aside), 0);
        assert_null(view_open(b->s, id_of(1), INT64_MAX, &b->err));
        assert_non_null(strstr(b->err.text, id_of(1)));
        assert_int_equal(held(path[1]), 0);
        assert_int_equal(rename(aside, path[1]), 0);
        assert_int_equal(entries(b, 1), 4);
        store_tidy(b->s, 60 * NS_PER_S);
        assert_int_equal(held_runs(b), 2);
        assert_int_equal(unlink(path[2]), 0);
        store_tidy(b->s, 60 * NS_PER_S); /* nobody asks for it: it is closed all the same */
        assert_int_equal(held(path[2]), 0);
        assert_int_equal(held(path[1]), 1);
        store_tidy(b->s, 0);
        assert_int_equal(held_runs(b), 0);
        assert_int_equal(entries(b, 1), 4);
}

static void a_file_found_damaged_is_not_kept(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        char path[400], dtype[8];
        const void *bytes;
        size_t n;
        make_sealed(b, 1, path);
        assert_int_equal(chmod(path, 0644), 0);
        file_sql(path, "UPDATE trace SET raw=zeroblob(length(raw)) WHERE name='S21'");
        struct view *v = view_open(b->s, RUN_A, INT64_MAX, &b->err);
        assert_int_equal(view_trace(v, 12, "S21", a, dtype, &bytes, &n, &b->err), CODE_DAMAGED);
        must(b, view_trace(v, 12, "S11", a, dtype, &bytes, &n, &b->err), __LINE__); /* the fault of one is not another's */
        view_close(v);
        assert_int_equal(held(path), 0);
        assert_int_equal(entries(b, 1), 4);
        assert_int_equal(held(path), 1);
        struct stat st; /* and pages that are no pages, under a file that is open */
        assert_int_equal(stat(path, &st), 0);
        FILE *f = fopen(path, "r+b");
        assert_non_null(f);
        for (long at = 4096; at < st.st_size; at += 4096) {
                fseek(f, at, SEEK_SET);
                fputs("no page of a b-tree begins like this", f);
        }
        fclose(f);
        v = view_open(b->s, RUN_A, INT64_MAX, &b->err);
        struct entry *e;
        enum code code = v ? view_entries(v, 0, 0, a, &e, &n, &b->err) : b->err.code;
        assert_int_equal(code, CODE_DAMAGED);
        view_close(v);
        assert_int_equal(held(path), 0);
        arena_free(a);
}

static void an_interrupted_view_is_kept_and_its_deadline_is_not(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        char path[400];
        struct entry *e;
        size_t n;
        bed_run(b, RUN_A, 1);
        struct work *w = work_new(RUN_A);
        for (uint64_t seq = 1; seq <= 3000; seq++)
                add_entry(w, 1, seq, seq, PHASE_INTEND, STEP_MOVE);
        bed_must(b, w);
        bed_seal(b, RUN_A);
        must(b, store_path_of_run(b->s, RUN_A, path, sizeof path, &b->err), __LINE__);
        for (int i = 0; i < 2; i++) {
                struct view *v = view_open(b->s, RUN_A, world_boot_ns(b->w) + 20 * NS_PER_MS, &b->err);
                assert_non_null(v);
                b->w->task->sleep_until(b->w, world_boot_ns(b->w) + 25 * NS_PER_MS);
                assert_int_equal(view_entries(v, 0, 0, a, &e, &n, &b->err), CODE_TIMED_OUT);
                view_close(v);
                assert_int_equal(held(path), 1);
                assert_int_equal(entries(b, 1), 3000);
        }
        arena_free(a);
}

/* Three tasks ask for six runs in orders of their own, while a fourth one tidies up. */
struct asker {
        struct bed *b;
        int step, answers;
        char wrong[120];
};
static void ask_all(void *arg)
{
        struct asker *k = arg;
        struct arena *a = arena_new(0);
        for (int i = 0; i < 300 && !k->wrong[0]; i++) {
                int run = 1 + i * k->step % RUNS;
                struct tp_error err;
                struct entry *e;
                size_t n = 0;
                struct view *v = view_open(k->b->s, id_of(run), INT64_MAX, &err);
                if (!v || view_entries(v, 0, 0, a, &e, &n, &err))
                        snprintf(k->wrong, sizeof k->wrong, "%.100s", err.text);
                else if (n != (size_t)(4 * run))
                        snprintf(k->wrong, sizeof k->wrong, "run %d has %zu entries", run, n);
                view_close(v);
                arena_reset(a);
                k->answers++;
        }
        arena_free(a);
}
static void tidy_all(void *arg)
{
        struct asker *k = arg;
        for (int i = 0; i < 200; i++) {
                store_tidy(k->b->s, i % 2 ? NS_PER_MS : 60 * NS_PER_S);
                k->b->w->task->sleep_until(k->b->w, world_boot_ns(k->b->w) + NS_PER_MS / 2);
        }
}
static void readers_share_what_is_kept(void **state)
{
        struct bed *b = *state;
        char path[400];
        struct task *tasks[4];
        struct asker askers[4] = {{b, 1, 0, ""}, {b, 5, 0, ""}, {b, 7, 0, ""}, {b, 0, 0, ""}};
        for (int n = 1; n <= RUNS; n++)
                make_sealed(b, n, path);
        for (int i = 0; i < 4; i++)
                assert_non_null(tasks[i] = b->w->task->start(b->w, "asker", i < 3 ? ask_all : tidy_all, &askers[i]));
        for (int i = 0; i < 4; i++)
                b->w->task->join(b->w, tasks[i]);
        for (int i = 0; i < 3; i++) {
                if (askers[i].wrong[0])
                        fail_msg("%s", askers[i].wrong);
                assert_int_equal(askers[i].answers, 300);
        }
        assert_true(held_runs(b) <= KEPT);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(a_sealed_file_stays_open_and_a_live_one_is_opened_anew, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(no_more_than_four_are_kept, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(a_replaced_file_is_opened_anew, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(a_deleted_or_moved_file_is_closed, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(a_file_found_damaged_is_not_kept, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(an_interrupted_view_is_kept_and_its_deadline_is_not, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(readers_share_what_is_kept, bed_setup, bed_teardown),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
