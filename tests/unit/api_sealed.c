/* The map of a sealed run: the same bytes from memory as from disk, as long as the store stands by them, and in bounded memory. */
#include "api_help.h"
#include "api/shelf.h"
#include "store_help.h"

#define MAP "/api/v1/runs/" RUN_B "/map"
static const char map_json[] = "{\"run\":\"" RUN_B "\",\"dies\":[{\"x\":1,\"y\":-2}]}";

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

static void make_run(struct bench *b, bool seal)
{
        struct bed *bed = calloc(1, sizeof *bed);
        bed->w = b->w;
        bed->s = b->s;
        bed->answers = b->answers;
        bed_run(bed, RUN_B, 1);
        struct work *w = work_new(RUN_B);
        work_add(w, FACT_MAP)->of.map.map_json = map_json;
        bed_must(bed, w);
        if (seal)
                bed_seal(bed, RUN_B);
        free(bed);
}

/* From memory alone; false: the store has to be asked. */
static bool ask_now(struct bench *b, struct asked *a, const char *if_none_match)
{
        ask_begin(b, a, "GET", MAP, ROLE_NONE, NULL, NULL);
        a->q.if_none_match = if_none_match;
        return route_now(&a->q, &a->r);
}

static void expect_map(const struct asked *a, const char *etag)
{
        expect_status(a, 200);
        assert_string_equal(a->r.type, "application/json");
        assert_string_equal(text_of(&a->r.body), map_json);
        if (etag)
                assert_string_equal(a->r.etag, etag);
}

static void a_map_asked_for_again_is_the_same_from_memory(void **state)
{
        struct bench *b = *state;
        struct asked a;
        char etag[80];
        make_run(b, true);
        assert_false(ask_now(b, &a, NULL));
        ask_done(&a);
        ask(b, &a, "GET", MAP, ROLE_NONE, NULL, NULL);
        expect_map(&a, NULL);
        snprintf(etag, sizeof etag, "%s", a.r.etag);
        assert_true(strlen(etag) > 10);
        ask_done(&a);
        assert_true(ask_now(b, &a, NULL));
        expect_map(&a, etag);
        ask_done(&a);
        assert_true(ask_now(b, &a, "\"another\""));
        expect_map(&a, etag);
        ask_done(&a);
        assert_true(ask_now(b, &a, etag));
        expect_status(&a, 304);
        assert_int_equal(a.r.body.n, 0);
        assert_string_equal(a.r.etag, etag);
        ask_done(&a);
}

static void the_map_of_an_open_run_always_comes_from_the_store(void **state)
{
        struct bench *b = *state;
        make_run(b, false);
        for (int i = 0; i < 2; i++) {
                struct asked a;
                assert_false(ask_now(b, &a, NULL));
                ask_done(&a);
                ask(b, &a, "GET", MAP, ROLE_NONE, NULL, NULL);
                expect_map(&a, NULL);
                ask_done(&a);
        }
}

static void an_index_made_again_is_asked_again(void **state)
{
        struct bench *b = *state;
        struct asked a;
        char path[300];
        make_run(b, true);
        ask(b, &a, "GET", MAP, ROLE_NONE, NULL, NULL);
        expect_map(&a, NULL);
        ask_done(&a);
        static const char *const tails[] = {"", "-wal", "-shm"};
        for (int i = 0; i < 3; i++) {
                snprintf(path, sizeof path, "%s/index.db%s", b->dir, tails[i]);
                assert_int_equal(unlink(path), 0);
        }
        uint64_t before = store_sealed_version(b->s);
        ask(b, &a, "GET", "/api/v1/runs", ROLE_NONE, NULL, NULL); /* notices */
        expect_status(&a, 503);
        ask_done(&a);
        for (int i = 0; store_sealed_version(b->s) == before; i++) {
                assert_true(i < 500);
                b->w->task->sleep_until(b->w, world_boot_ns(b->w) + 10 * NS_PER_MS);
        }
        assert_false(ask_now(b, &a, NULL));
        ask_done(&a);
        ask(b, &a, "GET", MAP, ROLE_NONE, NULL, NULL);
        expect_map(&a, NULL);
        ask_done(&a);
        assert_true(ask_now(b, &a, NULL));
        ask_done(&a);
}

/* ---- the shelf alone ----------------------------------------------------------------------------------------------------------------- */

/* The bytes kept of run number `n`, -1: none. */
static long kept(struct shelf *s, unsigned n, uint64_t version)
{
        char run[27];
        struct request q = {.method = "GET"};
        struct reply r;
        reply_init(&r);
        snprintf(run, sizeof run, "01JABCDEFGH00000000000%04u", n);
        bool is_there = shelf_answer(s, run, version, &q, &r);
        long ret = is_there ? (long)r.body.n : -1;
        if (is_there && r.body.n)
                assert_int_equal((unsigned char)r.body.at[r.body.n - 1], n % 251);
        reply_done(&r);
        return ret;
}
static void keep(struct shelf *s, unsigned n, uint64_t version, size_t bytes)
{
        char run[27], *body = malloc(bytes);
        memset(body, (int)(n % 251), bytes);
        snprintf(run, sizeof run, "01JABCDEFGH00000000000%04u", n);
        shelf_keep(s, run, version, "sealed-0123", body, bytes);
        free(body);
}

static void more_maps_than_places_push_out_the_one_asked_longest_ago(void **state)
{
        struct bench *b = *state;
        struct shelf *s = shelf_new(b->w);
        for (unsigned n = 0; n < SHELF_PLACES; n++)
                keep(s, n, 1, 100 + n);
        assert_int_equal(kept(s, 0, 1), 100);
        keep(s, SHELF_PLACES, 1, 7);
        assert_int_equal(kept(s, 0, 1), 100);
        assert_int_equal(kept(s, 1, 1), -1);
        for (unsigned n = 2; n < SHELF_PLACES; n++)
                assert_int_equal(kept(s, n, 1), 100 + n);
        assert_int_equal(kept(s, SHELF_PLACES, 1), 7);
        keep(s, 0, 2, 55); /* of a later version, in place of what there was */
        assert_int_equal(kept(s, 0, 2), 55);
        assert_int_equal(kept(s, 2, 2), -1); /* and what is of another one is no answer, now or later */
        assert_int_equal(kept(s, 2, 1), -1);
        shelf_free(s);
}

static void the_bytes_of_all_maps_are_bounded(void **state)
{
        struct bench *b = *state;
        struct shelf *s = shelf_new(b->w);
        keep(s, 1, 1, SHELF_BYTES + 1);
        assert_int_equal(kept(s, 1, 1), -1);
        for (unsigned n = 1; n <= 4; n++)
                keep(s, n, 1, SHELF_BYTES / 4);
        for (unsigned n = 1; n <= 4; n++)
                assert_int_equal(kept(s, n, 1), SHELF_BYTES / 4);
        keep(s, 5, 1, SHELF_BYTES / 4 + 1); /* takes the room of two */
        assert_int_equal(kept(s, 1, 1), -1);
        assert_int_equal(kept(s, 2, 1), -1);
        assert_int_equal(kept(s, 3, 1), SHELF_BYTES / 4);
        assert_int_equal(kept(s, 5, 1), SHELF_BYTES / 4 + 1);
        keep(s, 6, 1, SHELF_BYTES);
        for (unsigned n = 1; n <= 5; n++)
                assert_int_equal(kept(s, n, 1), -1);
        assert_int_equal(kept(s, 6, 1), SHELF_BYTES);
        shelf_free(s);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(a_map_asked_for_again_is_the_same_from_memory, setup, teardown),
                cmocka_unit_test_setup_teardown(the_map_of_an_open_run_always_comes_from_the_store, setup, teardown),
                cmocka_unit_test_setup_teardown(an_index_made_again_is_asked_again, setup, teardown),
                cmocka_unit_test_setup_teardown(more_maps_than_places_push_out_the_one_asked_longest_ago, setup, teardown),
                cmocka_unit_test_setup_teardown(the_bytes_of_all_maps_are_bounded, setup, teardown),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
