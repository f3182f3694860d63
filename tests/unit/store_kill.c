/* store_kill.c: what was answered is there after kill -9. */
#include "store_help.h"
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

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
#define T(name) cmocka_unit_test_setup_teardown(name, bed_setup, bed_teardown)
        const struct CMUnitTest tests[] = {
                T(a_copy_left_by_a_death_is_removed_at_the_next_start),
                T(nothing_that_was_answered_is_lost_by_kill_9),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
