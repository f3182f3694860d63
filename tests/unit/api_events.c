/* Hints and entity tags: nothing lost, nothing twice, nothing sent that has not changed. */
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

static uint64_t put_event(struct bench *b, int n)
{
        struct work *w = work_new(NULL);
        struct fact *f = work_add(w, FACT_EVENT);
        f->of.event.topic = "map";
        f->of.event.ref = RUN_ID;
        f->of.event.body = work_text(w, "{\"n\":%d}", n);
        w->answer = b->answers;
        assert_true(store_submit(b->s, w, DURABLE));
        struct message *m = b->w->task->take(b->w, b->answers, world_boot_ns(b->w) + 20 * NS_PER_S);
        assert_non_null(m);
        uint64_t seq = ((struct store_done *)(void *)m)->event_seq;
        m->free(m);
        return seq;
}

static void ids_are_read_strictly(void **state)
{
        static const char *const bad[] = {"",     "7", "7.", ".7", "7.8.9", "-1.2", "1.2 ", "a.b", "4294967296.1", "1.99999999999999999999",
                                          "0x1.2"};
        struct event_place at;
        (void)state;
        for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
                if (event_id_read(bad[i], &at))
                        fail_msg("'%s' was taken for an id", bad[i]);
        assert_true(event_id_read("7.12", &at));
        assert_int_equal(at.epoch, 7);
        assert_int_equal(at.seq, 12);
}

static void a_stream_goes_on_after_the_event_it_names(void **state)
{
        struct bench *b = *state;
        struct asked a;
        char target[100];
        uint64_t seq[600];
        for (int i = 0; i < 600; i++)
                seq[i] = put_event(b, i);
        snprintf(target, sizeof target, "/api/v1/events?last_event_id=%u.%llu", store_epoch(b->s), (unsigned long long)seq[99]);
        ask(b, &a, "GET", target, ROLE_NONE, NULL, NULL);
        expect_status(&a, 200);
        assert_true(a.r.stream && !a.r.stream_reset && !a.r.stream_hello);
        assert_int_equal(a.r.stream_seq, seq[99]);
        /* pages of 256: all 500 that follow, in order */
        struct event_place at = {a.r.stream_seq, a.r.stream_epoch};
        struct text t;
        struct tp_error err = {0};
        bool more = true;
        text_init(&t, 0);
        for (int page = 0; more; page++) {
                assert_int_equal(event_page(&b->api, &at, &t, &more, &err), CODE_OK);
                assert_true(page < 3);
        }
        const char *p = text_of(&t);
        for (int i = 100; i < 600; i++) {
                char want[60];
                snprintf(want, sizeof want, "data: {\"n\":%d}\n", i);
                p = strstr(p, want);
                if (!p)
                        fail_msg("event %d is not in the replay, or not in its place", i);
        }
        assert_null(strstr(text_of(&t), "{\"n\":99}"));
        text_done(&t);
        ask_done(&a);
}

static void an_id_of_another_life_begins_with_reset(void **state)
{
        struct bench *b = *state;
        struct asked a;
        char target[100];
        uint64_t seq = put_event(b, 1);
        unsigned epoch = store_epoch(b->s);
        snprintf(target, sizeof target, "/api/v1/events?last_event_id=%u.%llu", epoch + 1, (unsigned long long)seq);
        ask(b, &a, "GET", target, ROLE_NONE, NULL, NULL);
        assert_true(a.r.stream && a.r.stream_reset);
        assert_int_equal(a.r.stream_seq, seq);
        ask_done(&a);
        snprintf(target, sizeof target, "/api/v1/events?last_event_id=%u.%llu", epoch, (unsigned long long)seq + 5);
        ask(b, &a, "GET", target, ROLE_NONE, NULL, NULL);
        assert_true(a.r.stream_reset);
        ask_done(&a);
        ask(b, &a, "GET", "/api/v1/events", ROLE_NONE, NULL, NULL);
        assert_true(a.r.stream && a.r.stream_hello && !a.r.stream_reset);
        assert_int_equal(a.r.stream_seq, seq);
        ask_done(&a);
}

/* ---- the feeder --------------------------------------------------------------------------------------------------------------------- */

struct ear {
        struct bench *b;
        _Atomic bool asleep;
};
static void ear_wake(void *ctx) { atomic_store(&((struct ear *)ctx)->asleep, false); }
static void ear_sleep(void *ctx) { atomic_store(&((struct ear *)ctx)->asleep, true); }

static void hear(struct ear *e, struct stream *m, struct text *all, const char *until, int seconds)
{
        int64_t end = world_boot_ns(e->b->w) + seconds * NS_PER_S;
        while (!strstr(text_of(all), until)) {
                char some[64];
                size_t n = 0;
                if (world_boot_ns(e->b->w) > end)
                        fail_msg("'%s' was not heard; heard: %s", until, text_of(all));
                if (atomic_load(&e->asleep)) {
                        e->b->w->task->sleep_until(e->b->w, world_boot_ns(e->b->w) + 5 * NS_PER_MS);
                        continue;
                }
                enum stream_state s = stream_read(m, some, sizeof some, &n, ear_sleep);
                if (s == STREAM_ENDED)
                        return;
                if (s == STREAM_BYTES)
                        text_bytes(all, some, n);
        }
}

static void the_feeder_tells_new_events_and_new_snapshots(void **state)
{
        struct bench *b = *state;
        struct streams *streams = NULL;
        struct tp_error err = {0};
        struct reply r = {.stream_hello = true, .stream_seq = put_event(b, 0), .stream_epoch = 7};
        struct ear ears[2] = {{.b = b}, {.b = b}};
        struct text all[2];
        assert_int_equal(streams_open(&b->api, &streams, &err), CODE_OK);
        struct stream *m[2];
        for (int i = 0; i < 2; i++) {
                m[i] = stream_new(streams, &r, ear_wake, &ears[i]);
                assert_non_null(m[i]);
                text_init(&all[i], 0);
                hear(&ears[i], m[i], &all[i], "event: hello\n", 5);
        }
        put_event(b, 41);
        bench_show(b, "{}");
        put_event(b, 42);
        for (int i = 0; i < 2; i++) {
                hear(&ears[i], m[i], &all[i], "data: {\"n\":42}\n\n", 10);
                hear(&ears[i], m[i], &all[i], "event: snapshot\ndata: {\"etag\":\"7.2\"", 10);
                assert_non_null(strstr(text_of(&all[i]), "data: {\"n\":41}\n\n"));
                assert_null(strstr(text_of(&all[i]), "{\"n\":0}"));
        }
        streams_end(streams);
        char some[64];
        size_t n;
        enum stream_state s;
        while ((s = stream_read(m[0], some, sizeof some, &n, ear_sleep)) == STREAM_BYTES) {
        }
        assert_int_equal(s, STREAM_ENDED);
        assert_null(stream_new(streams, &r, ear_wake, &ears[0]));
        for (int i = 0; i < 2; i++) {
                stream_free(m[i]);
                text_done(&all[i]);
        }
        streams_close(streams);
}

static void no_more_than_64_streams(void **state)
{
        struct bench *b = *state;
        struct streams *streams = NULL;
        struct tp_error err = {0};
        struct reply r = {.stream_hello = true};
        struct ear ear = {.b = b};
        struct stream *m[STREAMS_MAX];
        struct asked a;
        assert_int_equal(streams_open(&b->api, &streams, &err), CODE_OK);
        for (int i = 0; i < STREAMS_MAX; i++)
                assert_non_null(m[i] = stream_new(streams, &r, ear_wake, &ear));
        assert_null(stream_new(streams, &r, ear_wake, &ear));
        ask(b, &a, "GET", "/api/v1/events", ROLE_NONE, NULL, NULL);
        expect_status(&a, 503);
        ask_done(&a);
        for (int i = 0; i < STREAMS_MAX; i++)
                stream_free(m[i]);
        ask(b, &a, "GET", "/api/v1/events", ROLE_NONE, NULL, NULL);
        expect_status(&a, 200);
        ask_done(&a);
        streams_end(streams);
        streams_close(streams);
}

/* ---- entity tags -------------------------------------------------------------------------------------------------------------------- */

static void what_has_not_changed_is_not_sent(void **state)
{
        static const char *const targets[] = {"/api/v1/station", "/api/v1/runs/" RUN_ID "/map"};
        struct bench *b = *state;
        for (int i = 0; i < 2; i++) {
                struct asked a;
                char etag[80];
                ask(b, &a, "GET", targets[i], ROLE_NONE, NULL, NULL);
                expect_status(&a, 200);
                snprintf(etag, sizeof etag, "%s", a.r.etag);
                assert_true(etag[0] == '"');
                ask_done(&a);
                ask_begin(b, &a, "GET", targets[i], ROLE_NONE, NULL, NULL);
                a.q.if_none_match = etag;
                route_answer(&a.q, &a.r);
                expect_status(&a, 304);
                assert_int_equal(a.r.body.n, 0);
                ask_done(&a);
                bench_show(b, "{\"run\":\"" RUN_ID "\",\"dies\":[{}]}");
                ask_begin(b, &a, "GET", targets[i], ROLE_NONE, NULL, NULL);
                a.q.if_none_match = etag;
                route_answer(&a.q, &a.r);
                expect_status(&a, 200);
                assert_string_not_equal(a.r.etag, etag);
                ask_done(&a);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(ids_are_read_strictly),
                cmocka_unit_test_setup_teardown(a_stream_goes_on_after_the_event_it_names, setup, teardown),
                cmocka_unit_test_setup_teardown(an_id_of_another_life_begins_with_reset, setup, teardown),
                cmocka_unit_test_setup_teardown(the_feeder_tells_new_events_and_new_snapshots, setup, teardown),
                cmocka_unit_test_setup_teardown(no_more_than_64_streams, setup, teardown),
                cmocka_unit_test_setup_teardown(what_has_not_changed_is_not_sent, setup, teardown),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
