/* station_peers.c: who else may speak to the station, and what becomes of what they say. */
#include "station_rig.h"

/* ---- a bare connection, for what a link would never send ---- */

static struct conn *raw_connect(struct bench *b)
{
        struct conn *c = NULL;
        assert_int_equal(b->rig.w->net->connect(b->rig.w, b->address, world_boot_ns(b->rig.w) + NS_PER_S, &c, NULL), CODE_OK);
        return c;
}

static void raw_send(struct bench *b, struct conn *c, enum frame_kind kind, uint32_t epoch, uint64_t step, const char *body)
{
        assert_int_equal(frame_write(b->rig.w, c, world_boot_ns(b->rig.w) + NS_PER_S, (uint8_t)kind, epoch, step, body, strlen(body), NULL),
                         CODE_OK);
}

/* Reads until a frame of that kind comes; its body is copied. */
static void raw_wait(struct bench *b, struct conn *c, enum frame_kind kind, char *ret, size_t size)
{
        struct frame f;
        struct tp_error err = {0};
        frame_init(&f);
        do {
                if (frame_read(b->rig.w, c, world_boot_ns(b->rig.w) + 15 * NS_PER_S, &f, &err))
                        fail_msg("waiting for frame %d: %s", (int)kind, err.text);
        } while (f.kind != kind);
        snprintf(ret, size, "%s", text_of(&f.body));
        frame_done(&f);
}

static void an_older_epoch_is_refused(void **state)
{
        struct bench *b = bench_new();
        char body[600];
        (void)state;
        bench_station(b);
        struct conn *c = raw_connect(b);
        raw_send(b, c, FRAME_HELLO, 5, 0, "{\"build\":\"a\",\"epoch\":5}");
        raw_wait(b, c, FRAME_WELCOME, body, sizeof body);
        raw_send(b, c, FRAME_STEP, 4, 1, "{\"kind\":\"home\"}");
        raw_wait(b, c, FRAME_REFUSED, body, sizeof body);
        assert_non_null(strstr(body, "epoch 4"));
        struct conn *second = raw_connect(b); /* the lease is held: a second daemon waits */
        raw_send(b, second, FRAME_HELLO, 9, 0, "{\"build\":\"b\",\"epoch\":9}");
        raw_wait(b, second, FRAME_REFUSED, body, sizeof body);
        assert_non_null(strstr(body, "busy"));
        b->rig.w->net->close(b->rig.w, c);
        for (int i = 0; i < 50; i++) { /* until the lease has ended with the connection */
                raw_send(b, second, FRAME_HELLO, 5, 0, "{\"build\":\"b\",\"epoch\":5}");
                struct frame f;
                frame_init(&f);
                assert_int_equal(frame_read(b->rig.w, second, world_boot_ns(b->rig.w) + 5 * NS_PER_S, &f, NULL), CODE_OK);
                bool welcome = f.kind == FRAME_WELCOME;
                if (welcome)
                        assert_non_null(strstr(text_of(&f.body), "\"epoch\":5"));
                frame_done(&f);
                if (welcome)
                        break;
                usleep(20 * 1000);
        }
        raw_send(b, second, FRAME_STEP, 5, 2, "{\"kind\":\"home\"}"); /* welcomed with the epoch in force, but nothing was granted */
        raw_wait(b, second, FRAME_REFUSED, body, sizeof body);
        b->rig.w->net->close(b->rig.w, second);
        pthread_mutex_lock(&b->rig.mutex);
        assert_false(b->rig.axes);
        pthread_mutex_unlock(&b->rig.mutex);
        bench_free(b);
}

static void safe_from_a_second_connection_cancels_a_call_that_blocks(void **state)
{
        struct bench *b = bench_new();
        char body[800];
        (void)state;
        bench_station(b);
        bench_link(b);
        bench_do(b, 1, STEP_HOME, (struct step_args){0});
        bench_do(b, 2, STEP_MOVE, (struct step_args){.place = PLACE_WAFER});
        pthread_mutex_lock(&b->rig.mutex);
        b->rig.block_lower = true;
        pthread_mutex_unlock(&b->rig.mutex);
        struct step s = {.id = 3, .kind = STEP_LOWER, .args = {.overtravel_um = 40}, .walks = b->walks};
        assert_int_equal(link_step(b->link, &s, NULL), CODE_OK);
        usleep(200 * 1000);
        assert_false(bench_is_safe(b));
        int64_t from = world_boot_ns(b->rig.w);
        struct conn *operator= raw_connect(b);
        raw_send(b, operator, FRAME_SAFE, 0, 0, "");
        raw_wait(b, operator, FRAME_SAFE_DONE, body, sizeof body);
        assert_true(world_boot_ns(b->rig.w) - from < 2 * NS_PER_S);
        assert_non_null(strstr(body, "\"proven_safe\":true"));
        assert_true(bench_is_safe(b));
        struct link_note *n = bench_wait(b, LINK_RESULT, 5);
        assert_true(n->step == 3 && n->result.code == CODE_CANCELLED && n->result.effect_unknown);
        assert_true(n->result.state.separated == KNOW_KNOWN && n->result.state.bias_off == KNOW_KNOWN); /* read back after the walk */
        note_drop(n);
        link_did(b->link, 3, NULL);
        n = bench_wait(b, LINK_DID, 5);
        assert_string_equal(n->did, "interrupted");
        note_drop(n);
        raw_send(b, operator, FRAME_STEP, 1, 9, "{\"kind\":\"home\"}"); /* and nothing else */
        raw_wait(b, operator, FRAME_REFUSED, body, sizeof body);
        b->rig.w->net->close(b->rig.w, operator);
        b->rig.block_lower = false;
        bench_do(b, 4, STEP_MOVE, (struct step_args){.place = PLACE_WAFER, .x_um = 7}); /* the work goes on */
        bench_free(b);
}

/* What was intended before somebody asked for safety, and comes after it, moves nothing: whoever sends it has not heard yet. */
static void a_step_decided_before_a_walk_moves_nothing_after_it(void **state)
{
        struct bench *b = bench_new();
        char body[800];
        (void)state;
        bench_station(b);
        bench_link(b);
        bench_do(b, 1, STEP_HOME, (struct step_args){0});
        bench_do(b, 2, STEP_MOVE, (struct step_args){.place = PLACE_WAFER});
        struct step late = {.id = 3, .kind = STEP_LOWER, .args = {.overtravel_um = 40}, .walks = b->walks};
        struct conn *operator= raw_connect(b);
        raw_send(b, operator, FRAME_SAFE, 0, 0, "");
        raw_wait(b, operator, FRAME_SAFE_DONE, body, sizeof body);
        assert_int_equal(link_step(b->link, &late, NULL), CODE_OK);
        struct link_note *n = bench_wait(b, LINK_REFUSED, 5);
        assert_true(n->step == 3 && n->why.code == CODE_CANCELLED);
        assert_non_null(strstr(n->why.text, "after this step was decided; nothing was done"));
        note_drop(n);
        assert_true(b->walks == late.walks + 1 && bench_is_safe(b));
        link_did(b->link, 3, NULL);
        n = bench_wait(b, LINK_DID, 5);
        assert_string_equal(n->did, "never");
        note_drop(n);
        bench_do(b, 4, STEP_LOWER, (struct step_args){.overtravel_um = 40}); /* who has heard of it may go on */
        assert_false(bench_is_safe(b));
        b->rig.w->net->close(b->rig.w, operator);
        bench_unlink(b, true);
        struct conn *c = raw_connect(b);
        for (int i = 0; i < 50; i++) {
                raw_send(b, c, FRAME_HELLO, 50, 0, "{\"build\":\"a\",\"epoch\":50}");
                raw_wait(b, c, FRAME_WELCOME, body, sizeof body);
                if (strstr(body, "\"granted\":true"))
                        break;
                usleep(20 * 1000);
        }
        raw_send(b, c, FRAME_STEP, 50, 5, "{\"kind\":\"home\"}"); /* who says nothing of walks has heard of none */
        raw_wait(b, c, FRAME_REFUSED, body, sizeof body);
        assert_non_null(strstr(body, "walks must be the number"));
        raw_send(b, c, FRAME_STEP, 50, 5, "{\"kind\":\"home\",\"walks\":-1}");
        raw_wait(b, c, FRAME_REFUSED, body, sizeof body);
        assert_non_null(strstr(body, "walks must be the number"));
        b->rig.w->net->close(b->rig.w, c);
        bench_free(b);
}

static void garbage_on_the_socket_does_no_harm(void **state)
{
        struct bench *b = bench_new();
        uint64_t s = 88172645463325252ull;
        (void)state;
        bench_station(b);
        bench_link(b);
        bench_in_contact_and_biased(b, 1);
        for (int i = 0; i < 60; i++) {
                struct conn *c = raw_connect(b);
                uint8_t bytes[400];
                for (size_t k = 0; k < sizeof bytes; k++) {
                        s ^= s << 13, s ^= s >> 7, s ^= s << 17;
                        bytes[k] = (uint8_t)s;
                }
                if (i % 3 == 1) { /* a sound frame with nonsense in it */
                        raw_send(b, c, (enum frame_kind)(i % 24), (uint32_t)s, s,
                                 i % 2 ? "{\"kind\":\"lower\",\"overtravel_um\":1e9}" : "[[[");
                } else if (i % 3 == 2) { /* a header that promises more */
                        struct text t;
                        text_init(&t, 0);
                        frame_build(&t, FRAME_SAFE + 1, 1, 1, bytes, 300);
                        b->rig.w->net->write(b->rig.w, c, t.at, t.n - (size_t)(i + 1), world_boot_ns(b->rig.w) + NS_PER_S, NULL);
                        text_done(&t);
                } else
                        b->rig.w->net->write(b->rig.w, c, bytes, sizeof bytes, world_boot_ns(b->rig.w) + NS_PER_S, NULL);
                b->rig.w->net->close(b->rig.w, c);
        }
        bench_do(b, 30, STEP_BIAS_OFF, (struct step_args){0});
        bench_do(b, 31, STEP_SEPARATE, (struct step_args){0});
        bench_free(b);
}

static void a_foreign_user_may_only_ask_for_safe(void **state)
{
        struct bench *b = bench_new();
        char body[800];
        (void)state;
        b->config.daemon_uid = (int64_t)getuid() + 1;
        bench_station(b);
        struct conn *c = raw_connect(b);
        raw_send(b, c, FRAME_HELLO, 1, 0, "{\"build\":\"a\",\"epoch\":1}");
        raw_wait(b, c, FRAME_REFUSED, body, sizeof body);
        assert_non_null(strstr(body, "forbidden"));
        raw_send(b, c, FRAME_SAFE, 0, 0, "");
        raw_wait(b, c, FRAME_SAFE_DONE, body, sizeof body);
        b->rig.w->net->close(b->rig.w, c);
        bench_free(b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(an_older_epoch_is_refused),
                cmocka_unit_test(safe_from_a_second_connection_cancels_a_call_that_blocks),
                cmocka_unit_test(a_step_decided_before_a_walk_moves_nothing_after_it),
                cmocka_unit_test(garbage_on_the_socket_does_no_harm),
                cmocka_unit_test(a_foreign_user_may_only_ask_for_safe),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
