/* Bad input gets one sentence that says what, where, which value and what to do. */
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

#define COMMANDS "/api/v1/runs/" RUN_ID "/commands"
struct bad {
        const char *method, *target;
        enum role role;
        const char *key, *body;
        int status;
        const char *word, *value, *pointer; /* `value` stands in the sentence */
};
static const struct bad bads[] = {
        {"GET", "/api/v1/rums", ROLE_NONE, NULL, NULL, 404, "no_route", "/api/v1/rums", ""},
        {"DELETE", "/api/v1/runs", ROLE_SAFETY, NULL, NULL, 405, "method", "DELETE", ""},
        {"GET", "/api/v1/runs?limit=0", ROLE_NONE, NULL, NULL, 422, "bad_input", "limit=0", "limit"},
        {"GET", "/api/v1/runs?limit=1e3", ROLE_NONE, NULL, NULL, 422, "bad_input", "limit=1e3", "limit"},
        {"GET", "/api/v1/runs?limit=99999999999999999999", ROLE_NONE, NULL, NULL, 422, "bad_input", "99999999999999999999", "limit"},
        {"GET", "/api/v1/runs?after=17", ROLE_NONE, NULL, NULL, 422, "bad_input", "after=17", "after"},
        {"GET", "/api/v1/runs/" RUN_ID, ROLE_NONE, NULL, NULL, 404, "not_found", RUN_ID, ""},
        {"GET", "/api/v1/runs/nonsense/checks", ROLE_NONE, NULL, NULL, 404, "not_found", "nonsense", ""},
        {"GET", "/api/v1/runs/" RUN_ID "/sweeps/-3", ROLE_NONE, NULL, NULL, 422, "bad_input", "-3", ""},
        {"GET", "/api/v1/runs/" RUN_ID "/sweeps?use=toy", ROLE_NONE, NULL, NULL, 422, "bad_input", "use=toy", "use"},
        {"GET", "/api/v1/documents", ROLE_NONE, NULL, NULL, 422, "bad_input", "kind", "kind"},
        {"GET", "/api/v1/documents/12ab", ROLE_NONE, NULL, NULL, 422, "bad_input", "12ab", ""},
        {"GET", "/api/v1/documents/0000000000000000000000000000000000000000000000000000000000000000", ROLE_NONE, NULL, NULL, 404,
         "not_found", "digest", ""},
        {"GET", "/api/v1/events?last_event_id=yesterday", ROLE_NONE, NULL, NULL, 422, "bad_input", "yesterday", "Last-Event-ID"},
        {"GET", "/api/v1/runs?limit=%zz", ROLE_NONE, NULL, NULL, 400, "header", "limit", ""},
        {"POST", "/api/v1/runs", ROLE_OPERATE, NULL, "{}", 400, "key_missing", "0 characters", ""},
        {"POST", "/api/v1/runs", ROLE_OPERATE, "short", "{}", 400, "key_missing", "short", ""},
        {"POST", "/api/v1/runs", ROLE_OPERATE, "has spaces in it", "{}", 400, "key_missing", "has spaces", ""},
        {"POST", "/api/v1/runs", ROLE_OPERATE, KEY, "{\"recipe\":\"12\",\"wafer\":\"W1\"}", 422, "bad_input", "12", "/recipe"},
        {"POST", "/api/v1/runs", ROLE_OPERATE, KEY, "{\"wafer\":\"W1\"}", 422, "bad_input", "recipe", ""},
        {"POST", "/api/v1/runs", ROLE_OPERATE, KEY, "{\"recipe\":1,\"recipe\":2}", 422, "bad_input", "recipe", ""},
        {"POST", "/api/v1/runs", ROLE_OPERATE, KEY, "{\"recipe\":\"", 422, "bad_input", "", ""},
        {"POST", "/api/v1/runs", ROLE_OPERATE, KEY, "{\"waver\":\"W1\"}", 422, "bad_input", "waver", ""},
        {"POST", COMMANDS, ROLE_OPERATE, KEY, "{\"do\":\"jump\"}", 422, "bad_input", "jump", "/do"},
        {"POST", COMMANDS, ROLE_OPERATE, KEY, "{\"do\":\"skip\"}", 422, "bad_input", "skip", "/die"},
        {"POST", COMMANDS, ROLE_OPERATE, KEY, "{\"do\":\"pause\",\"die\":{\"x\":1,\"y\":2}}", 422, "bad_input", "(1, 2)", "/die"},
        {"POST", COMMANDS, ROLE_OPERATE, KEY, "{\"do\":\"skip\",\"die\":{\"x\":1.5,\"y\":2}}", 422, "bad_input", "1.5", "/die/x"},
        {"POST", COMMANDS, ROLE_OPERATE, KEY, "{\"do\":\"pause\"}", 404, "not_found", RUN_ID, ""},
        {"POST", "/api/v1/tokens", ROLE_SAFETY, NULL, "{\"person\":\"=cmd\",\"role\":\"watch\"}", 422, "bad_input", "=cmd", "/person"},
        {"POST", "/api/v1/tokens", ROLE_SAFETY, NULL, "{\"person\":\"bert\",\"role\":\"none\"}", 422, "bad_input", "none", "/role"},
        {"POST", "/api/v1/tokens", ROLE_SAFETY, NULL, "{\"person\":\"bert\",\"role\":\"emperor\"}", 422, "bad_input", "emperor", "/role"},
        {"PUT", "/api/v1/recipes/0000000000000000000000000000000000000000000000000000000000000000", ROLE_ENGINEER, NULL, "{}", 422,
         "bad_input", "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a", ""}, /* sha256 of "{}" */
        {"POST", "/api/v1/recipes/explain", ROLE_NONE, NULL, "{\"name\":01}", 422, "bad_input", "01", ""},
        {"POST", "/api/v1/recipes/plan", ROLE_NONE, NULL, "[]", 422, "bad_input", "", ""},
        {"GET", "/no/../such", ROLE_NONE, NULL, NULL, 404, "no_route", "/no/../such", ""},
        {"GET", "/..%2f..%2fetc%2fpasswd", ROLE_NONE, NULL, NULL, 404, "no_route", "etc", ""},
        {"GET", "/problems/nonsense", ROLE_NONE, NULL, NULL, 404, "no_route", "nonsense", ""},
};

/* A verb for the person: something to do follows the value. */
static bool says_what_to_do(const char *detail, const char *what_to_do) { return strlen(detail) > 20 && strlen(what_to_do) > 10; }

static void each_bad_input_gets_its_sentence(void **state)
{
        struct bench *b = *state;
        for (size_t i = 0; i < sizeof bads / sizeof bads[0]; i++) {
                const struct bad *bad = &bads[i];
                struct asked a;
                char detail[480], word[480], to_do[480], pointer[480];
                ask(b, &a, bad->method, bad->target, bad->role, bad->key, bad->body);
                member(&a, "detail", detail);
                member(&a, "code", word);
                member(&a, "what_to_do", to_do);
                member(&a, "pointer", pointer);
                if (a.r.status != bad->status || strcmp(word, bad->word) != 0 || !strstr(detail, bad->value) ||
                    (bad->pointer[0] && strcmp(pointer, bad->pointer) != 0) || !says_what_to_do(detail, to_do) ||
                    strcmp(a.r.type, "application/problem+json") != 0)
                        fail_msg("%s %s %s: wanted %d %s '%s' at '%s', got %d: %s", bad->method, bad->target, bad->body ? bad->body : "",
                                 bad->status, bad->word, bad->value, bad->pointer, a.r.status, text_of(&a.r.body));
                ask_done(&a);
        }
        assert_int_equal(atomic_load(&b->commands), 0); /* none of it reached the loop */
}

static void bodies_too_long_or_of_another_type_are_refused_before_they_are_read(void **state)
{
        struct asked a;
        char word[480];
        ask_begin(*state, &a, "POST", "/api/v1/runs", ROLE_OPERATE, KEY, NULL);
        a.q.content_type = "application/json";
        a.q.content_length = "4097";
        assert_false(route_open(&a.q, &a.r));
        expect_status(&a, 413);
        assert_non_null(strstr(member(&a, "detail", word), "4097"));
        ask_done(&a);
        ask_begin(*state, &a, "POST", "/api/v1/runs", ROLE_OPERATE, KEY, NULL);
        a.q.content_type = "text/plain"; /* what a form on a foreign page could send without asking */
        a.q.content_length = "2";
        assert_false(route_open(&a.q, &a.r));
        expect_status(&a, 415);
        ask_done(&a);
        ask_begin(*state, &a, "GET", "/api/v1/runs", ROLE_NONE, NULL, NULL);
        a.q.content_length = "18446744073709551617";
        assert_false(route_open(&a.q, &a.r));
        expect_status(&a, 413);
        ask_done(&a);
}

static void a_closing_daemon_takes_no_changes_but_safe_and_reads_on(void **state)
{
        struct bench *b = *state;
        struct asked a;
        char word[480];
        atomic_store(&b->api.refusing, true);
        ask(b, &a, "POST", "/api/v1/runs", ROLE_OPERATE, KEY, "{}");
        expect_status(&a, 503);
        assert_string_equal(member(&a, "code", word), "stopping");
        assert_true(a.r.retry_after_s > 0);
        ask_done(&a);
        ask(b, &a, "GET", "/api/v1/station", ROLE_NONE, NULL, NULL);
        expect_status(&a, 200);
        ask_done(&a);
        ask(b, &a, "GET", "/readyz", ROLE_NONE, NULL, NULL);
        expect_status(&a, 503);
        ask_done(&a);
        ask(b, &a, "POST", "/api/v1/station/safe", ROLE_OPERATE, NULL, NULL);
        expect_status(&a, 200);
        ask_done(&a);
}

static void methods_of_an_address_are_named(void **state)
{
        struct asked a;
        ask(*state, &a, "OPTIONS", "/api/v1/runs", ROLE_NONE, NULL, NULL);
        expect_status(&a, 204);
        assert_string_equal(a.r.allow, "GET, HEAD, POST");
        ask_done(&a);
        ask(*state, &a, "HEAD", "/api/v1/station", ROLE_NONE, NULL, NULL);
        expect_status(&a, 200);
        ask_done(&a);
}

static void each_word_has_a_page(void **state)
{
        for (int i = CODE_BAD_INPUT; i < CODE_COUNT; i++) {
                struct asked a;
                char path[80];
                snprintf(path, sizeof path, "/problems/%s", code_rows[i].word);
                ask(*state, &a, "GET", path, ROLE_NONE, NULL, NULL);
                expect_status(&a, 200);
                assert_true(a.r.is_page);
                ask_done(&a);
        }
}

/* C1 controls (ISO 6429) act on terminals as escapes do; what was asked stands in the sentence, but not they. */
static void no_control_of_a_terminal_comes_back(void **state)
{
        static const char *const targets[] = {"/problems/%C2%9Bx", "/problems/%9Bx", "/api/v1/runs?%C2%9B31m&%zz", "/api/v1/\xC2\x9B",
                                              "/\r\n"};
        for (size_t i = 0; i < sizeof targets / sizeof targets[0]; i++) {
                struct asked a;
                char detail[480];
                ask(*state, &a, "GET", targets[i], ROLE_NONE, NULL, NULL);
                member(&a, "detail", detail);
                assert_true(a.r.status >= 400 && strlen(detail) > 12);
                for (const char *c = detail; *c; c++)
                        if ((unsigned char)*c < 0x20 || (unsigned char)*c == 0x9B)
                                fail_msg("%s: byte %02x in \"%s\"", targets[i], (unsigned)(unsigned char)*c, detail);
                ask_done(&a);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(each_bad_input_gets_its_sentence, setup, teardown),
                cmocka_unit_test_setup_teardown(bodies_too_long_or_of_another_type_are_refused_before_they_are_read, setup, teardown),
                cmocka_unit_test_setup_teardown(a_closing_daemon_takes_no_changes_but_safe_and_reads_on, setup, teardown),
                cmocka_unit_test_setup_teardown(methods_of_an_address_are_named, setup, teardown),
                cmocka_unit_test_setup_teardown(each_word_has_a_page, setup, teardown),
                cmocka_unit_test_setup_teardown(no_control_of_a_terminal_comes_back, setup, teardown),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
