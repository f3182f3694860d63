/* Frames over memory and over a scripted stream that splits, stalls, dribbles and ends where the test says. */
#include "base/frame.h"
#include "base/hash.h"
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

/* The stream gives at most `piece` bytes a read, each read takes step_ns, and after `n` bytes it times out (stalls) or ends. */
struct stream {
        const char *at;
        size_t n, piece;
        bool stalls;
        int64_t now_ns, step_ns;
        struct text written;
};

static enum code stream_read(const struct world *w, struct conn *c, void *ret, size_t n, int64_t deadline_ns, size_t *ret_n,
                             struct tp_error *err)
{
        struct stream *s = w->ctx;
        (void)c;
        if (s->now_ns >= deadline_ns || (s->n == 0 && s->stalls))
                return tp_fail(err, CODE_TIMED_OUT, "time-out");
        if (s->n == 0)
                return tp_fail(err, CODE_LINK_DEAD, "closed");
        size_t take = s->piece < n ? s->piece : n;
        take = take < s->n ? take : s->n;
        memcpy(ret, s->at, take);
        s->at += take;
        s->n -= take;
        s->now_ns += s->step_ns;
        *ret_n = take;
        return CODE_OK;
}

static enum code stream_write(const struct world *w, struct conn *c, const void *bytes, size_t n, int64_t deadline_ns, struct tp_error *err)
{
        struct stream *s = w->ctx;
        (void)c;
        (void)deadline_ns;
        (void)err;
        text_bytes(&s->written, bytes, n);
        return CODE_OK;
}

static const struct net_ops stream_net = {.read = stream_read, .write = stream_write};

static void a_header_has_its_bytes_where_the_contract_says(void **state)
{
        struct text t;
        (void)state;
        text_init(&t, 0);
        frame_build(&t, 7, 0x01020304, UINT64_C(0x1112131415161718), "body", 4);
        assert_int_equal(t.n, 36);
        assert_memory_equal(t.at, "TPLN\x01\x07\x00\x00\x04\x03\x02\x01\x04\x00\x00\x00\x18\x17\x16\x15\x14\x13\x12\x11\x00\x00\x00\x00",
                            28);
        char whole[36];
        memcpy(whole, t.at, 36);
        memset(whole + 28, 0, 4);
        uint32_t crc = crc32c(0, whole, 36);
        assert_int_equal((uint8_t)t.at[28] | (uint32_t)(uint8_t)t.at[29] << 8 | (uint32_t)(uint8_t)t.at[30] << 16 |
                                 (uint32_t)(uint8_t)t.at[31] << 24,
                         crc);
        text_done(&t);
}

static void frames_survive_any_split(void **state)
{
        struct frame f;
        struct tp_error err;
        struct stream s = {0};
        struct world w = {.net = &stream_net, .ctx = &s};
        (void)state;
        text_init(&s.written, 0);
        frame_init(&f);
        assert_int_equal(frame_write(&w, NULL, INT64_MAX, 1, 2, 3, "{\"a\":1}", 7, &err), CODE_OK);
        assert_int_equal(frame_write(&w, NULL, INT64_MAX, 4, 5, UINT64_MAX, NULL, 0, &err), CODE_OK);
        assert_int_equal(frame_write(&w, NULL, INT64_MAX, 255, UINT32_MAX, 6, "\0\1\2", 3, &err), CODE_OK);
        for (size_t piece = 1; piece < 110; piece++) {
                s = (struct stream){.at = s.written.at, .n = s.written.n, .piece = piece, .written = s.written};
                assert_int_equal(frame_read(&w, NULL, INT64_MAX, &f, &err), CODE_OK);
                assert_true(f.kind == 1 && f.epoch == 2 && f.step == 3);
                assert_string_equal(text_of(&f.body), "{\"a\":1}");
                assert_int_equal(frame_read(&w, NULL, INT64_MAX, &f, &err), CODE_OK);
                assert_true(f.kind == 4 && f.epoch == 5 && f.step == UINT64_MAX && f.body.n == 0);
                assert_int_equal(frame_read(&w, NULL, INT64_MAX, &f, &err), CODE_OK);
                assert_true(f.kind == 255 && f.epoch == UINT32_MAX && f.body.n == 3);
                assert_memory_equal(f.body.at, "\0\1\2", 3);
                assert_int_equal(frame_read(&w, NULL, INT64_MAX, &f, &err), CODE_LINK_DEAD);
        }
        for (size_t n = 0; n < 39; n++) { /* cut anywhere, from memory and from the stream */
                size_t used = 77;
                assert_int_equal(frame_parse(s.written.at, n, &used, &f, &err), CODE_NOT_FOUND);
                assert_int_equal(used, 77);
                s = (struct stream){.at = s.written.at, .n = n, .piece = 5, .written = s.written};
                assert_int_equal(frame_read(&w, NULL, INT64_MAX, &f, &err), CODE_LINK_DEAD);
                s = (struct stream){.at = s.written.at, .n = n, .piece = 5, .stalls = true, .written = s.written};
                /* before the first byte the stream is still good; inside a frame it is lost */
                assert_int_equal(frame_read(&w, NULL, INT64_MAX, &f, &err), n ? CODE_BAD_REPLY : CODE_TIMED_OUT);
        }
        size_t used = 0;
        assert_int_equal(frame_parse(s.written.at, s.written.n, &used, &f, &err), CODE_OK);
        assert_int_equal(used, 39);
        text_done(&s.written);
        frame_done(&f);
}

static void every_flipped_bit_is_found(void **state)
{
        struct text t;
        struct frame f;
        struct tp_error err;
        (void)state;
        text_init(&t, 0);
        frame_init(&f);
        frame_build(&t, 3, 9, 77, "{\"volt\":0.5}", 12);
        for (size_t bit = 0; bit < t.n * 8; bit++) {
                size_t used = 0;
                char *copy = malloc(t.n);
                memcpy(copy, t.at, t.n);
                copy[bit / 8] = (char)(copy[bit / 8] ^ (1 << bit % 8));
                enum code code = frame_parse(copy, t.n, &used, &f, &err);
                free(copy);
                bool in_length = bit / 8 >= 12 && bit / 8 < 16; /* a greater length asks for more bytes first */
                if (code != CODE_BAD_REPLY && !(in_length && code == CODE_NOT_FOUND))
                        fail_msg("bit %zu: %s", bit, code_rows[code].word);
                assert_int_equal(used, 0);
        }
        text_done(&t);
        frame_done(&f);
}

static void an_oversized_frame_is_refused_before_its_body(void **state)
{
        struct text t;
        struct frame f;
        struct tp_error err;
        struct stream s = {0};
        struct world w = {.net = &stream_net, .ctx = &s};
        size_t used = 0;
        (void)state;
        text_init(&t, 0);
        frame_init(&f);
        frame_build(&t, 3, 9, 77, NULL, 0);
        memcpy(t.at + 12, "\x01\x00\x00\x01", 4); /* 16 MiB + 1 */
        assert_int_equal(frame_parse(t.at, t.n, &used, &f, &err), CODE_BAD_REPLY);
        assert_non_null(strstr(err.text, "16777217"));
        memcpy(t.at + 12, "\x00\x00\x00\x01", 4); /* 16 MiB promised, none sent: memory does not follow the promise */
        s = (struct stream){.at = t.at, .n = t.n, .piece = 100, .stalls = true};
        assert_int_equal(frame_read(&w, NULL, INT64_MAX, &f, &err), CODE_BAD_REPLY);
        assert_true(f.body.room < 65536);
        char *body = calloc(1, FRAME_BODY_MAX + 1);
        text_clear(&t);
        frame_build(&t, 3, 9, 77, body, FRAME_BODY_MAX + 1);
        assert_false(text_ok(&t));
        assert_int_equal(frame_write(&w, NULL, INT64_MAX, 3, 9, 77, body, FRAME_BODY_MAX + 1, &err), CODE_BAD_INPUT);
        text_clear(&t);
        frame_build(&t, 3, 9, 77, body, FRAME_BODY_MAX); /* the largest */
        assert_int_equal(frame_parse(t.at, t.n, &used, &f, &err), CODE_OK);
        s = (struct stream){.at = t.at, .n = t.n, .piece = 1 << 20};
        assert_int_equal(frame_read(&w, NULL, INT64_MAX, &f, &err), CODE_OK);
        assert_int_equal(f.body.n, FRAME_BODY_MAX);
        free(body);
        text_done(&t);
        frame_done(&f);
}

static void a_dribbling_peer_cannot_extend_the_deadline(void **state)
{
        struct text t;
        struct frame f;
        struct tp_error err;
        (void)state;
        text_init(&t, 0);
        frame_init(&f);
        char body[1000] = "";
        frame_build(&t, 3, 9, 77, body, sizeof body);
        struct stream s = {.at = t.at, .n = t.n, .piece = 1, .step_ns = NS_PER_MS};
        struct world w = {.net = &stream_net, .ctx = &s};
        assert_int_equal(frame_read(&w, NULL, 100 * NS_PER_MS, &f, &err), CODE_BAD_REPLY);
        assert_int_equal(s.now_ns, 100 * NS_PER_MS);
        text_done(&t);
        frame_done(&f);
}

static void another_protocol_is_named(void **state)
{
        struct frame f;
        struct tp_error err;
        size_t used = 0;
        (void)state;
        frame_init(&f);
        assert_int_equal(frame_parse("GET / HTTP/1.1\r\nHost: localhost\r\n\r\n", 36, &used, &f, &err), CODE_BAD_REPLY);
        assert_non_null(strstr(err.text, "47 45 54 20"));
        frame_done(&f);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(a_header_has_its_bytes_where_the_contract_says),
                cmocka_unit_test(frames_survive_any_split),
                cmocka_unit_test(every_flipped_bit_is_found),
                cmocka_unit_test(an_oversized_frame_is_refused_before_its_body),
                cmocka_unit_test(a_dribbling_peer_cannot_extend_the_deadline),
                cmocka_unit_test(another_protocol_is_named),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
