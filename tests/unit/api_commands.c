/* Commands: written down once, obeyed once, answered the same when asked again; safe needs nothing. */
#include "api_help.h"

static int setup(void **state)
{
        *state = bench_new();
        return 0;
}
static int teardown(void **state)
{
        bench_free(*state);
        return 0;
}

#define START "{\"recipe\":\"44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a\",\"wafer\":\"W1\",\"lot\":\"L1\"}"
#define OTHER "{\"recipe\":\"44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a\",\"wafer\":\"W2\",\"lot\":\"L1\"}"

static void the_same_key_moves_once_and_answers_twice(void **state)
{
        struct bench *b = *state;
        struct asked a;
        char first[200];
        ask(b, &a, "POST", "/api/v1/runs", ROLE_OPERATE, KEY, START);
        expect_status(&a, 201);
        assert_string_equal(a.r.location, "/api/v1/runs/" RUN_ID);
        assert_string_equal(b->last.wafer, "W1");
        assert_string_equal(b->last.person, "operate-person");
        snprintf(first, sizeof first, "%s", text_of(&a.r.body));
        ask_done(&a);
        for (int i = 0; i < 3; i++) {
                ask(b, &a, "POST", "/api/v1/runs", ROLE_OPERATE, KEY, START);
                expect_status(&a, 201);
                assert_string_equal(text_of(&a.r.body), first);
                assert_string_equal(a.r.location, "/api/v1/runs/" RUN_ID);
                ask_done(&a);
        }
        assert_int_equal(atomic_load(&b->commands), 1);
}

static void the_same_key_with_another_body_is_refused(void **state)
{
        struct bench *b = *state;
        struct asked a;
        char detail[480];
        ask(b, &a, "POST", "/api/v1/runs", ROLE_OPERATE, KEY, START);
        expect_status(&a, 201);
        ask_done(&a);
        ask(b, &a, "POST", "/api/v1/runs", ROLE_OPERATE, KEY, OTHER);
        expect_status(&a, 422);
        assert_non_null(strstr(member(&a, "detail", detail), KEY));
        ask_done(&a);
        assert_int_equal(atomic_load(&b->commands), 1);
        ask(b, &a, "POST", "/api/v1/runs", ROLE_SAFETY, KEY, OTHER); /* keys belong to a token */
        expect_status(&a, 201);
        ask_done(&a);
        assert_int_equal(atomic_load(&b->commands), 2);
}

static void a_refusal_is_kept_like_an_answer(void **state)
{
        struct bench *b = *state;
        struct asked a;
        char word[480];
        b->loop_code = CODE_STATE;
        for (int i = 0; i < 2; i++) {
                ask(b, &a, "POST", "/api/v1/runs", ROLE_OPERATE, KEY, START);
                expect_status(&a, 409);
                assert_string_equal(member(&a, "code", word), "state");
                ask_done(&a);
                b->loop_code = CODE_OK;
        }
        assert_int_equal(atomic_load(&b->commands), 1);
}

static void a_slow_loop_gives_202_and_the_answer_is_found_later(void **state)
{
        struct bench *b = *state;
        struct asked a;
        char word[480];
        atomic_store(&b->silent, true);
        ask(b, &a, "POST", "/api/v1/runs", ROLE_OPERATE, KEY, START);
        expect_status(&a, 202);
        assert_string_equal(a.r.location, "/api/v1/commands/" KEY);
        ask_done(&a);
        ask(b, &a, "GET", "/api/v1/commands/" KEY, ROLE_OPERATE, NULL, NULL);
        expect_status(&a, 200);
        assert_non_null(strstr(text_of(&a.r.body), "\"status\":202"));
        ask_done(&a);
        ask(b, &a, "POST", "/api/v1/runs", ROLE_OPERATE, KEY, START); /* asked again meanwhile: not obeyed again */
        expect_status(&a, 202);
        ask_done(&a);
        bench_answer(b, b->kept);
        b->kept = NULL;
        for (int i = 0; i < 500; i++) {
                ask(b, &a, "GET", "/api/v1/commands/" KEY, ROLE_OPERATE, NULL, NULL);
                bool there = strstr(text_of(&a.r.body), "\"status\":201") != NULL;
                ask_done(&a);
                if (there)
                        break;
                b->w->task->sleep_until(b->w, world_boot_ns(b->w) + 10 * NS_PER_MS);
        }
        ask(b, &a, "POST", "/api/v1/runs", ROLE_OPERATE, KEY, START);
        expect_status(&a, 201);
        ask_done(&a);
        assert_int_equal(atomic_load(&b->commands), 1);
        ask(b, &a, "GET", "/api/v1/commands/" KEY, ROLE_SAFETY, NULL, NULL); /* another token's key */
        expect_status(&a, 404);
        assert_string_equal(member(&a, "code", word), "not_found");
        ask_done(&a);
}

static void safe_needs_no_store_no_key_and_no_sense(void **state)
{
        struct bench *b = *state;
        struct asked a;
        static const char *const bodies[] = {NULL, "{}", "{\"why\":\"smoke\"}", "not json", "{\"what\":7}"};
        for (size_t i = 0; i < sizeof bodies / sizeof bodies[0]; i++) {
                ask_begin(b, &a, "POST", "/api/v1/station/safe", ROLE_OPERATE, NULL, bodies[i]);
                a.q.api->store = NULL; /* whoever touches the store crashes */
                route_answer(&a.q, &a.r);
                a.q.api->store = b->s;
                expect_status(&a, 200);
                assert_int_equal(b->last.what, COMMAND_SAFE);
                ask_done(&a);
        }
}

static void a_full_loop_is_said_and_kept(void **state)
{
        struct bench *b = *state;
        struct asked a;
        atomic_store(&b->end, true);
        b->w->task->join(b->w, b->task);
        b->task = b->w->task->start(b->w, "nothing", bench_loop, b); /* ends at once: nobody takes */
        for (int i = 0; i < 4; i++) {
                struct command *c = calloc(1, sizeof *c);
                c->message.free = (void (*)(struct message *))(void (*)(void))free;
                assert_true(command_post(b->w, b->loop, c));
        }
        ask(b, &a, "POST", "/api/v1/station/clear", ROLE_SAFETY, KEY, "{\"why\":\"looked\"}");
        expect_status(&a, 503);
        ask_done(&a);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(the_same_key_moves_once_and_answers_twice, setup, teardown),
                cmocka_unit_test_setup_teardown(the_same_key_with_another_body_is_refused, setup, teardown),
                cmocka_unit_test_setup_teardown(a_refusal_is_kept_like_an_answer, setup, teardown),
                cmocka_unit_test_setup_teardown(a_slow_loop_gives_202_and_the_answer_is_found_later, setup, teardown),
                cmocka_unit_test_setup_teardown(safe_needs_no_store_no_key_and_no_sense, setup, teardown),
                cmocka_unit_test_setup_teardown(a_full_loop_is_said_and_kept, setup, teardown),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
