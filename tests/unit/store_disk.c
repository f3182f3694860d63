/* store_disk.c: a full disk, a sync that fails once, a disk that fails for good. */
#include "store_help.h"
#include "store_vfs.h"

struct room {
        struct bed *b;
        struct bad_disk *disk;
};

static int setup(void **state)
{
        struct room *r = calloc(1, sizeof *r);
        r->disk = calloc(1, sizeof *r->disk);
        bad_disk_register(r->disk);
        r->b = bed_new();
        bed_close(r->b);
        r->b->w->vfs = "bad-disk";
        bed_open(r->b);
        *state = r;
        return 0;
}
static int teardown(void **state)
{
        struct room *r = *state;
        bed_free(r->b);
        sqlite3_vfs_unregister(&r->disk->vfs);
        free(r->disk);
        free(r);
        return 0;
}

static size_t journal_rows(struct bed *b, const char *run)
{
        struct view *v = view_open(b->s, run, INT64_MAX, &b->err);
        struct arena *a = arena_new(0);
        struct entry *e;
        size_t n = 0;
        assert_non_null(v);
        assert_int_equal(view_entries(v, 0, 0, a, &e, &n, &b->err), CODE_OK);
        view_close(v);
        arena_free(a);
        return n;
}

static void a_full_disk_still_takes_a_safe_end(void **state)
{
        struct room *r = *state;
        struct bed *b = r->b;
        char path[300];
        struct stat st;
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        snprintf(path, sizeof path, "%s/reserve", b->dir);
        assert_int_equal(stat(path, &st), 0);
        assert_int_equal(st.st_size, 256 * 1024);
        assert_true(store_health(b->s).reserve_held);
        atomic_store(&r->disk->grown, 0); /* the log is the same file: growing it is refused, as soon as it is longer than before */
        atomic_store(&r->disk->full, 1);
        enum code code = CODE_OK;
        uint64_t seq = 100, good = 4;
        for (; seq < 200 && !code; seq++) {
                struct work *w = work_new(RUN_A);
                add_entry(w, 1, seq, seq, PHASE_INTEND, STEP_SWEEP);
                add_sweep(b, w, (int64_t)seq, 10, POINTS);
                code = bed_do(b, w, LAZY, NULL);
                good += !code;
        }
        assert_int_equal(code, CODE_DISK_FULL);
        assert_false(store_health(b->s).reserve_held);
        assert_int_equal(stat(path, &st), -1); /* given back */
        atomic_store(&r->disk->grown, 256 * 1024);
        struct work *w = work_new(RUN_A);
        add_entry(w, 1, 300, 300, PHASE_INTEND, STEP_SEPARATE);
        assert_int_equal(bed_do(b, w, DURABLE, NULL), CODE_OK); /* the safe end goes in */
        w = work_new(RUN_A);
        add_entry(w, 1, 301, 301, PHASE_INTEND, STEP_WAIT);
        assert_int_equal(bed_do(b, w, LAZY, NULL), CODE_DISK_FULL);
        assert_int_equal(journal_rows(b, RUN_A), good + 1);
        atomic_store(&r->disk->full, 0); /* somebody has made room: the reserve is taken again within a second or two */
        for (int i = 0; i < 100 && !store_health(b->s).reserve_held; i++)
                b->w->task->sleep_until(b->w, world_boot_ns(b->w) + 50 * NS_PER_MS);
        assert_true(store_health(b->s).reserve_held);
        w = work_new(RUN_A);
        add_entry(w, 1, 302, 302, PHASE_INTEND, STEP_WAIT);
        assert_int_equal(bed_do(b, w, LAZY, NULL), CODE_OK);
        assert_false(store_health(b->s).failed);
}

static void a_durable_work_that_meets_the_full_disk_is_written_from_the_reserve(void **state)
{
        struct room *r = *state;
        struct bed *b = r->b;
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        atomic_store(&r->disk->grown, 0);
        atomic_store(&r->disk->full, 1);
        struct work *w = work_new(RUN_A);
        add_entry(w, 1, 100, 100, PHASE_INTEND, STEP_SWEEP);
        add_sweep(b, w, 100, 10, POINTS); /* longer than the log is by now */
        add_ledger(w, 100, 1);
        assert_int_equal(bed_do(b, w, DURABLE, NULL), CODE_DISK_FULL); /* even the reserve's room is refused by this disk */
        assert_int_equal(journal_rows(b, RUN_A), 4);
        atomic_store(&r->disk->grown, 1 << 20);
        w = work_new(RUN_A);
        add_entry(w, 1, 100, 100, PHASE_INTEND, STEP_SWEEP);
        add_sweep(b, w, 100, 10, POINTS);
        add_ledger(w, 100, 1);
        assert_int_equal(bed_do(b, w, DURABLE, NULL), CODE_OK);
        assert_int_equal(journal_rows(b, RUN_A), 5);
        atomic_store(&r->disk->full, 0);
}

static void one_failed_sync_is_never_repeated_on_the_same_handle(void **state)
{
        struct room *r = *state;
        struct bed *b = r->b;
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        for (uint64_t i = 0; i < 3; i++) { /* the catalogue's sync fails, then the run file's */
                atomic_store(&r->disk->sync_fails, 1);
                struct work *w = work_new(RUN_A);
                add_entry(w, 1, 100 + i, 100 + i, PHASE_INTEND, STEP_LOWER);
                add_touch(w, 100 + (int64_t)i);
                if (i != 1)
                        add_ledger(w, 100 + i, 1);
                enum code code = bed_do(b, w, DURABLE, NULL);
                must(b, code, __LINE__);
                assert_int_equal(atomic_load(&r->disk->sync_fails), 0);
        }
        assert_int_equal(journal_rows(b, RUN_A), 7);
        struct view *v = view_open(b->s, NULL, INT64_MAX, &b->err);
        int32_t used;
        assert_int_equal(view_ledger_used(v, "pad", "W7", "2_-3/L1", &used, &b->err), CODE_OK);
        assert_int_equal(used, 3);
        view_close(v);
        assert_false(store_health(b->s).failed);
}

static void a_disk_that_fails_twice_stops_the_store_and_says_so(void **state)
{
        struct room *r = *state;
        struct bed *b = r->b;
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        atomic_store(&r->disk->sync_fails, 1 << 20);
        for (uint64_t i = 0; i < 3; i++) {
                struct work *w = work_new(RUN_A);
                add_entry(w, 1, 100 + i, 100 + i, PHASE_INTEND, STEP_MOVE);
                assert_int_equal(bed_do(b, w, DURABLE, NULL), CODE_DISK);
                assert_non_null(strstr(b->err.text, "again") ? b->err.text : strstr(b->err.text, "failed twice"));
        }
        assert_true(store_health(b->s).failed);
        atomic_store(&r->disk->sync_fails, 0); /* also when the disk is well again: only a new start looks at what there is */
        struct work *w = work_new(RUN_A);
        add_entry(w, 1, 200, 200, PHASE_INTEND, STEP_MOVE);
        assert_int_equal(bed_do(b, w, DURABLE, NULL), CODE_DISK);
        bed_close(b);
        bed_open(b);
        assert_int_equal(b->report.runs_open, 1);
        size_t rows = journal_rows(b, RUN_A);
        assert_true(rows >= 4 && rows <= 7);
        bed_touch(b, RUN_A, 1, 300, 21);
}

static void a_broken_index_does_not_stop_what_is_measured(void **state)
{
        struct room *r = *state;
        struct bed *b = r->b;
        char path[300], aside[320];
        struct stat st;
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        for (int i = 0; i < 100 && store_health(b->s).wal_bytes; i++) /* until a pause has emptied the logs */
                b->w->task->sleep_until(b->w, world_boot_ns(b->w) + 50 * NS_PER_MS);
        snprintf(path, sizeof path, "%s/index.db", b->dir);
        snprintf(aside, sizeof aside, "%s.damaged-1", path);
        FILE *f = fopen(path, "r+b");
        assert_non_null(f);
        for (int i = 0; i < 2000; i++)
                fputs("scratched disk ", f);
        fclose(f);
        atomic_store(&r->disk->sync_fails, 1); /* makes the store open everything anew */
        bed_touch(b, RUN_A, 1, 20, 21);
        assert_int_equal(stat(aside, &st), 0);
        assert_false(store_health(b->s).failed);
        struct arena *a = arena_new(0);
        struct run_row row;
        struct view *v = view_open(b->s, NULL, INT64_MAX, &b->err);
        must(b, view_run(v, RUN_A, a, &row, &b->err), __LINE__);
        assert_string_equal(row.wafer, "W7");
        view_close(v);
        arena_free(a);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(a_full_disk_still_takes_a_safe_end, setup, teardown),
                cmocka_unit_test_setup_teardown(a_durable_work_that_meets_the_full_disk_is_written_from_the_reserve, setup, teardown),
                cmocka_unit_test_setup_teardown(one_failed_sync_is_never_repeated_on_the_same_handle, setup, teardown),
                cmocka_unit_test_setup_teardown(a_disk_that_fails_twice_stops_the_store_and_says_so, setup, teardown),
                cmocka_unit_test_setup_teardown(a_broken_index_does_not_stop_what_is_measured, setup, teardown),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
