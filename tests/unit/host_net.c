/* Streams over real sockets in a directory of the test's own, and over TCP on loopback. */
#include "base/frame.h"
#include "host/host.h"
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct bench {
        struct world *w;
        char dir[64], address[120];
        struct listener *listener;
        struct conn *far, *near;
};

static void remove_name(void *ctx, const char *name)
{
        char path[512];
        snprintf(path, sizeof path, "%s/%s", ((struct bench *)ctx)->dir, name);
        unlink(path);
}

static int setup(void **state)
{
        struct bench *b = calloc(1, sizeof *b);
        b->w = host_world_new(NULL);
        snprintf(b->dir, sizeof b->dir, "/tmp/tipplane-net-XXXXXX");
        if (!mkdtemp(b->dir)) {
                host_world_free(b->w);
                free(b);
                return 1;
        }
        snprintf(b->address, sizeof b->address, "unix:%s/s", b->dir);
        *state = b;
        return 0;
}

static int teardown(void **state)
{
        struct bench *b = *state;
        b->w->net->close(b->w, b->near);
        b->w->net->close(b->w, b->far);
        b->w->net->close_listener(b->w, b->listener);
        b->w->file->list(b->w, b->dir, remove_name, b, NULL);
        assert_int_equal(rmdir(b->dir), 0);
        host_world_free(b->w);
        free(b);
        return 0;
}

static int64_t in_ms(const struct bench *b, int64_t ms) { return world_boot_ns(b->w) + ms * NS_PER_MS; }

static void open_pair(struct bench *b)
{
        struct tp_error err;
        if (b->w->net->listen(b->w, b->address, &b->listener, &err) ||
            b->w->net->connect(b->w, b->address, in_ms(b, 5000), &b->near, &err) ||
            b->w->net->accept(b->w, b->listener, in_ms(b, 5000), &b->far, &err))
                fail_msg("%s", err.text);
}

static void a_unix_stream_knows_its_peer_and_its_mode(void **state)
{
        struct bench *b = *state;
        struct stat st;
        open_pair(b);
        assert_int_equal(stat(b->address + 5, &st), 0);
        assert_int_equal(st.st_mode & 0777, 0660);
        assert_int_equal(b->w->net->peer_uid(b->w, b->far), getuid());
        assert_int_equal(host_listener_port(b->listener), 0);
}

static void bytes_come_through_tcp_on_loopback(void **state)
{
        struct bench *b = *state;
        struct tp_error err;
        char got[16] = "";
        size_t n = 0;
        assert_int_equal(b->w->net->listen(b->w, "tcp:127.0.0.1:0", &b->listener, &err), CODE_OK);
        snprintf(b->address, sizeof b->address, "tcp:127.0.0.1:%u", host_listener_port(b->listener));
        assert_int_equal(b->w->net->connect(b->w, b->address, in_ms(b, 5000), &b->near, &err), CODE_OK);
        assert_int_equal(b->w->net->accept(b->w, b->listener, in_ms(b, 5000), &b->far, &err), CODE_OK);
        assert_int_equal(b->w->net->write(b->w, b->near, "*IDN?\n", 6, in_ms(b, 5000), &err), CODE_OK);
        assert_int_equal(b->w->net->read(b->w, b->far, got, sizeof got, in_ms(b, 5000), &n, &err), CODE_OK);
        assert_int_equal(n, 6);
        assert_string_equal(got, "*IDN?\n");
        assert_int_equal(b->w->net->peer_uid(b->w, b->far), -1);
        b->w->net->close(b->w, b->near);
        b->near = NULL;
        assert_int_equal(b->w->net->read(b->w, b->far, got, sizeof got, in_ms(b, 5000), &n, &err), CODE_LINK_DEAD);
        /* a write to a peer that has gone is an error, not a SIGPIPE */
        enum code code = CODE_OK;
        for (int i = 0; i < 100 && !code; i++)
                code = b->w->net->write(b->w, b->far, got, sizeof got, in_ms(b, 5000), &err);
        assert_int_equal(code, CODE_LINK_DEAD);
}

static void bad_addresses_get_a_sentence(void **state)
{
        static const struct {
                const char *address, *words;
                enum code listen;
        } bad[] = {
                {"station.sock", "neither with unix: nor with tcp:", CODE_BAD_INPUT},
                {"unix:station.sock", "whole path", CODE_BAD_INPUT},
                {"unix:/aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa",
                 "at most 107", CODE_BAD_INPUT},
                {"tcp:localhost:5025", "localhost", CODE_BAD_INPUT},
                {"tcp:127.0.0.1", "tcp:", CODE_BAD_INPUT},
                {"tcp:127.0.0.1:", "port", CODE_BAD_INPUT},
                {"tcp:127.0.0.1:65536", "65536", CODE_BAD_INPUT},
                {"tcp:127.0.0.1:50x", "50x", CODE_BAD_INPUT},
                {"tcp:[::1:5025", "[::1", CODE_BAD_INPUT},
                {"tcp::5025", "tcp::5025", CODE_BAD_INPUT},
                {"tcp:0.0.0.0:5025", "not encrypted", CODE_FORBIDDEN},
                {"tcp:[::]:5025", "not encrypted", CODE_FORBIDDEN},
        };
        struct bench *b = *state;
        for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
                struct tp_error err;
                assert_int_equal(b->w->net->listen(b->w, bad[i].address, &b->listener, &err), bad[i].listen);
                assert_null(b->listener);
                if (!strstr(err.text, bad[i].words))
                        fail_msg("%s: lacks \"%s\": %s", bad[i].address, bad[i].words, err.text);
        }
        struct tp_error err;
        assert_int_equal(b->w->net->connect(b->w, b->address, in_ms(b, 1000), &b->near, &err), CODE_LINK_DEAD);
        assert_non_null(strstr(err.text, b->address));
}

static void a_stale_socket_is_replaced_a_live_one_is_not(void **state)
{
        struct bench *b = *state;
        struct tp_error err;
        struct listener *second = NULL;
        char elsewhere[128];
        assert_int_equal(b->w->net->listen(b->w, b->address, &b->listener, &err), CODE_OK);
        assert_int_equal(b->w->net->listen(b->w, b->address, &second, &err), CODE_BUSY);
        assert_non_null(strstr(err.text, "stop it first"));
        snprintf(elsewhere, sizeof elsewhere, "%s/kept", b->dir);
        rename(b->address + 5, elsewhere); /* closing must not find it: the file stays, as after a kill -9 */
        b->w->net->close_listener(b->w, b->listener);
        b->listener = NULL;
        rename(elsewhere, b->address + 5);
        assert_int_equal(b->w->net->listen(b->w, b->address, &b->listener, &err), CODE_OK);
        b->w->net->close_listener(b->w, b->listener);
        b->listener = NULL;
        assert_int_equal(access(b->address + 5, F_OK), -1); /* tidied away */
        b->w->file->write(b->w, b->address + 5, "x", 1, 0600, &err);
        assert_int_equal(b->w->net->listen(b->w, b->address, &b->listener, &err), CODE_BAD_INPUT); /* never removes what is no socket */
        assert_int_equal(access(b->address + 5, F_OK), 0);
}

struct waiter {
        struct bench *b;
        enum code code;
        struct tp_error err;
};

static void read_one(void *arg)
{
        struct waiter *r = arg;
        char byte;
        size_t n;
        r->code = r->b->w->net->read(r->b->w, r->b->far, &byte, 1, INT64_MAX, &n, &r->err);
}

static void shutdown_cancels_a_blocked_read(void **state)
{
        struct bench *b = *state;
        open_pair(b);
        struct waiter r = {.b = b};
        struct task *t = b->w->task->start(b->w, "reader", read_one, &r);
        b->w->task->sleep_until(b->w, in_ms(b, 30));
        b->w->net->shutdown(b->w, b->far);
        b->w->task->join(b->w, t);
        assert_int_equal(r.code, CODE_CANCELLED);
        read_one(&r); /* and it stays cancelled */
        assert_int_equal(r.code, CODE_CANCELLED);
        char byte;
        size_t n;
        assert_int_equal(b->w->net->read(b->w, b->near, &byte, 1, in_ms(b, 5000), &n, NULL), CODE_LINK_DEAD);
}

static void accept_one(void *arg)
{
        struct waiter *r = arg;
        struct conn *c = NULL;
        r->code = r->b->w->net->accept(r->b->w, r->b->listener, INT64_MAX, &c, &r->err);
}

static void closing_a_listener_cancels_a_blocked_accept(void **state)
{
        struct bench *b = *state;
        struct tp_error err;
        struct conn *c = NULL;
        assert_int_equal(b->w->net->listen(b->w, b->address, &b->listener, &err), CODE_OK);
        assert_int_equal(b->w->net->accept(b->w, b->listener, in_ms(b, 20), &c, &err), CODE_TIMED_OUT);
        struct waiter r = {.b = b};
        struct task *t = b->w->task->start(b->w, "acceptor", accept_one, &r);
        b->w->task->sleep_until(b->w, in_ms(b, 30));
        b->w->net->close_listener(b->w, b->listener);
        b->w->task->join(b->w, t);
        assert_int_equal(r.code, CODE_CANCELLED);
        accept_one(&r); /* a late one is told so, too */
        assert_int_equal(r.code, CODE_CANCELLED);
}

struct dribble {
        struct bench *b;
        const char *bytes;
        size_t n;
        int64_t until_ns;
};

static void dribble(void *arg)
{
        struct dribble *d = arg;
        for (size_t i = 0; i < d->n && world_boot_ns(d->b->w) < d->until_ns; i++) {
                if (d->b->w->net->write(d->b->w, d->b->near, d->bytes + i, 1, d->until_ns, NULL))
                        return;
                d->b->w->task->sleep_until(d->b->w, in_ms(d->b, 5));
        }
}

static void a_dribbling_peer_cannot_extend_the_deadline(void **state)
{
        struct bench *b = *state;
        struct text frame;
        struct frame f;
        struct tp_error err;
        char body[4000] = "";
        open_pair(b);
        text_init(&frame, 0);
        frame_build(&frame, 1, 1, 1, body, sizeof body);
        frame_init(&f);
        struct dribble d = {.b = b, .bytes = frame.at, .n = frame.n, .until_ns = in_ms(b, 20000)};
        struct task *t = b->w->task->start(b->w, "dribbler", dribble, &d);
        int64_t deadline_ns = in_ms(b, 150);
        assert_int_equal(frame_read(b->w, b->far, deadline_ns, &f, &err), CODE_BAD_REPLY); /* 4032 bytes at 5 ms would take 20 s */
        assert_true(world_boot_ns(b->w) >= deadline_ns && world_boot_ns(b->w) < deadline_ns + 5 * NS_PER_S);
        assert_non_null(strstr(err.text, "bytes of a frame came before the deadline"));
        b->w->net->shutdown(b->w, b->near);
        b->w->task->join(b->w, t);
        frame_done(&f);
        text_done(&frame);
}

static void a_write_that_nobody_reads_ends_at_its_deadline(void **state)
{
        struct bench *b = *state;
        struct tp_error err;
        size_t n = 32u << 20;
        char *bytes = calloc(1, n);
        open_pair(b);
        int64_t deadline_ns = in_ms(b, 60);
        assert_int_equal(b->w->net->write(b->w, b->near, bytes, n, deadline_ns, &err), CODE_TIMED_OUT);
        assert_true(err.effect_unknown); /* a part has left */
        assert_true(world_boot_ns(b->w) >= deadline_ns);
        free(bytes);
}

static void read_frames(void *arg)
{
        struct waiter *r = arg;
        struct frame f;
        frame_init(&f);
        for (uint64_t i = 0; i < 200 && !r->code; i++) {
                r->code = frame_read(r->b->w, r->b->far, in_ms(r->b, 20000), &f, &r->err);
                if (!r->code && (f.step != i || f.body.n != (i * 977) % 100000 || (f.body.n && f.body.at[f.body.n - 1] != (char)i)))
                        r->code = tp_fail(&r->err, CODE_BUG, "frame %d differs", (int)i);
        }
        frame_done(&f);
}

static void frames_go_through_a_socket_whole_and_in_order(void **state)
{
        struct bench *b = *state;
        struct tp_error err;
        char *body = malloc(100000);
        open_pair(b);
        struct waiter r = {.b = b};
        struct task *t = b->w->task->start(b->w, "frames", read_frames, &r);
        for (uint64_t i = 0; i < 200; i++) {
                memset(body, (int)i, 100000);
                assert_int_equal(frame_write(b->w, b->near, in_ms(b, 20000), 2, 1, i, body, (i * 977) % 100000, &err), CODE_OK);
        }
        b->w->task->join(b->w, t);
        if (r.code)
                fail_msg("%s", r.err.text);
        free(body);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(a_unix_stream_knows_its_peer_and_its_mode, setup, teardown),
                cmocka_unit_test_setup_teardown(bytes_come_through_tcp_on_loopback, setup, teardown),
                cmocka_unit_test_setup_teardown(bad_addresses_get_a_sentence, setup, teardown),
                cmocka_unit_test_setup_teardown(a_stale_socket_is_replaced_a_live_one_is_not, setup, teardown),
                cmocka_unit_test_setup_teardown(shutdown_cancels_a_blocked_read, setup, teardown),
                cmocka_unit_test_setup_teardown(closing_a_listener_cancels_a_blocked_accept, setup, teardown),
                cmocka_unit_test_setup_teardown(a_dribbling_peer_cannot_extend_the_deadline, setup, teardown),
                cmocka_unit_test_setup_teardown(a_write_that_nobody_reads_ends_at_its_deadline, setup, teardown),
                cmocka_unit_test_setup_teardown(frames_go_through_a_socket_whole_and_in_order, setup, teardown),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
