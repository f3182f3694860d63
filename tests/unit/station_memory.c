/* The station's log: what a next process knows of the last one, torn lines and a full file included; the lease and the kept results, which
 * are pure. */
#include "host/host.h"
#include "station/held.h"
#include "station/lease.h"
#include "station/memory.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <cmocka.h>

struct place_of_log {
        struct world *w;
        char dir[64], path[80];
        struct inbox *reply;
};

static int begin(void **state)
{
        struct place_of_log *p = calloc(1, sizeof *p);
        struct tp_error err;
        p->w = host_world_new(&err);
        snprintf(p->dir, sizeof p->dir, "/tmp/memory_test_XXXXXX");
        assert_non_null(mkdtemp(p->dir));
        snprintf(p->path, sizeof p->path, "%s/log", p->dir);
        p->reply = p->w->task->inbox_new(p->w, 0);
        *state = p;
        return 0;
}
static int end(void **state)
{
        struct place_of_log *p = *state;
        char command[96];
        p->w->task->inbox_free(p->w, p->reply);
        host_world_free(p->w);
        snprintf(command, sizeof command, "rm -r %s", p->dir);
        int status = system(command);
        free(p);
        return status;
}
static struct memory *open_log(struct place_of_log *p, struct memory_start *start)
{
        struct memory *m = NULL;
        struct tp_error err = {0};
        if (memory_open(p->w, p->path, "test", NULL, &m, start, &err))
                fail_msg("%s", err.text);
        return m;
}
static void append(const struct place_of_log *p, const char *text)
{
        FILE *f = fopen(p->path, "a");
        assert_non_null(f);
        fputs(text, f);
        fclose(f);
}

static void the_next_process_knows_what_the_last_one_began_finished_and_gave_away(void **state)
{
        struct place_of_log *p = *state;
        struct memory_start start;
        struct memory *m = open_log(p, &start);
        assert_true(start.boot_count == 1 && start.epoch == 0 && start.unfinished_n == 0 && !start.latched);
        assert_int_equal(memory_begin(m, 10, STEP_LOWER, p->reply, NULL), CODE_OK);
        memory_done(m, 10, CODE_OK);
        memory_ack(m, 10);
        assert_int_equal(memory_begin(m, 11, STEP_SWEEP, p->reply, NULL), CODE_OK);
        memory_done(m, 11, CODE_OK);
        assert_int_equal(memory_begin(m, UINT64_C(1) << 60, STEP_SEPARATE, p->reply, NULL), CODE_OK); /* beyond 2^53: ids are texts */
        memory_epoch(m, 7);
        memory_latch(m, true, "bias");
        memory_event(m, &(struct station_event){.what = "lease", .text = "gone", .proven_safe = true});
        memory_close(m);
        append(p, "{\"begin\":\"99"); /* torn by a power cut */
        for (uint32_t boot = 2; boot < 4; boot++) {
                m = open_log(p, &start);
                assert_true(start.boot_count == boot && start.epoch == 7 && start.latched);
                assert_int_equal(start.unfinished_n, 2);
                assert_true(start.unfinished[0] == 11 && start.unfinished[1] == UINT64_C(1) << 60);
                assert_string_equal(start.last.what, "lease");
                assert_true(start.last.proven_safe);
                assert_int_equal(memory_fate(m, 10), FATE_ACKED);
                assert_int_equal(memory_fate(m, 99), FATE_NEVER);
                memory_close(m);
        }
}

static void a_full_log_is_set_aside_and_nothing_that_matters_is_forgotten(void **state)
{
        struct place_of_log *p = *state;
        struct memory_start start;
        char line[1024];
        struct memory *m = open_log(p, &start);
        memory_epoch(m, 3);
        assert_int_equal(memory_begin(m, 5, STEP_LOWER, p->reply, NULL), CODE_OK);
        memory_close(m);
        memset(line, ' ', sizeof line - 2);
        memcpy(line, "{\"pad\":1}", 9);
        line[sizeof line - 2] = '\n', line[sizeof line - 1] = 0;
        FILE *f = fopen(p->path, "a");
        for (int i = 0; i < 33 * 1024; i++)
                fputs(line, f);
        fclose(f);
        m = open_log(p, &start);
        assert_int_equal(memory_begin(m, 6, STEP_LOWER, p->reply, NULL), CODE_OK);
        memory_close(m);
        int64_t bytes = 0;
        assert_int_equal(p->w->file->size(p->w, p->path, &bytes, NULL), CODE_OK);
        assert_true(bytes < 10000);
        m = open_log(p, &start);
        assert_true(start.boot_count == 3 && start.epoch == 3 && start.unfinished_n == 2 && start.unfinished[0] == 5 &&
                    start.unfinished[1] == 6);
        memory_close(m);
}

static void a_log_that_cannot_be_written_lets_no_step_begin(void **state)
{
        struct place_of_log *p = *state;
        struct memory_start start;
        struct tp_error err = {0};
        struct memory *m = NULL;
        assert_int_not_equal(memory_open(p->w, "/nonexistent/log", "test", NULL, &m, &start, &err), CODE_OK);
        assert_non_null(strstr(err.text, "/nonexistent/log"));
        m = open_log(p, &start);
        char command[240];
        snprintf(command, sizeof command, "rm %s && mkdir %s", p->path, p->path);
        assert_int_equal(system(command), 0);
        assert_int_not_equal(memory_begin(m, 5, STEP_LOWER, p->reply, &err), CODE_OK);
        memory_epoch(m, 4); /* owed */
        assert_int_not_equal(memory_begin(m, 6, STEP_LOWER, p->reply, &err), CODE_OK);
        snprintf(command, sizeof command, "rmdir %s", p->path);
        assert_int_equal(system(command), 0);
        assert_int_equal(memory_begin(m, 7, STEP_LOWER, p->reply, &err), CODE_OK);
        memory_close(m);
        m = open_log(p, &start);
        assert_true(start.epoch == 4 && start.unfinished_n == 1 && start.unfinished[0] == 7);
        memory_close(m);
}

static void the_lease_goes_to_one_at_a_time_and_only_to_a_greater_epoch(void **state)
{
        struct lease l = {0};
        (void)state;
        assert_int_equal(lease_ask(&l, 0, 0, 100), LEASE_REFUSED_OLD);
        assert_int_equal(lease_ask(&l, 1, 0, 100), LEASE_GRANTED);
        assert_int_equal(lease_ask(&l, 2, 50, 100), LEASE_REFUSED_BUSY);
        assert_false(lease_lapsed(&l, 99));
        lease_renew(&l, 90, 100);
        assert_false(lease_lapsed(&l, 189));
        assert_true(lease_lapsed(&l, 190));
        lease_renew(&l, 190, 100);
        assert_true(lease_lapsed(&l, 190)); /* what has lapsed stays lapsed */
        lease_drop(&l);
        assert_false(lease_lapsed(&l, 1000));
        assert_int_equal(lease_ask(&l, 1, 1000, 100), LEASE_REFUSED_OLD);
        assert_int_equal(lease_ask(&l, 2, 1000, 100), LEASE_GRANTED);
}

static void only_an_older_daemons_results_make_room(void **state)
{
        struct held *list = NULL;
        uint64_t dropped;
        (void)state;
        for (uint64_t i = 1; i <= HELD_STEPS_MAX; i++) {
                struct held *h = held_new(i, i <= 2 ? 1 : 2);
                h->state = i == 1 ? HELD_DOING : HELD_DONE;
                held_add(&list, h);
        }
        assert_true(held_make_room(&list, 2, &dropped));
        assert_int_equal(dropped, 2); /* not 1: it is in hand */
        held_add(&list, held_new(100, 2));
        assert_false(held_make_room(&list, 2, &dropped));
        assert_non_null(held_find(list, 100));
        held_forget(&list, 100);
        assert_null(held_find(list, 100));
        held_clear(&list);
        assert_null(list);
}

static void code_words_are_the_rows_words(void **state)
{
        (void)state;
        for (int i = 0; i < CODE_COUNT; i++)
                assert_string_equal(code_words[i], code_rows[i].word);
        assert_null(code_words[CODE_COUNT]);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(the_next_process_knows_what_the_last_one_began_finished_and_gave_away, begin, end),
                cmocka_unit_test_setup_teardown(a_full_log_is_set_aside_and_nothing_that_matters_is_forgotten, begin, end),
                cmocka_unit_test_setup_teardown(a_log_that_cannot_be_written_lets_no_step_begin, begin, end),
                cmocka_unit_test(the_lease_goes_to_one_at_a_time_and_only_to_a_greater_epoch),
                cmocka_unit_test(only_an_older_daemons_results_make_room),
                cmocka_unit_test(code_words_are_the_rows_words),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
