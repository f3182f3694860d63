/* link_read.c: the reading task: connect, greet, obey, and again (link_own.h).
 * Epoch       one more than the greatest ever seen; when the station answers with a greater one in force, the greeting is repeated above
 * it. */
#include "station/link_own.h"
#include <stdio.h>

enum {
        SILENT_S = 4, /* eight renewals without an answer; more than a lease */
        CONNECT_S = 2,
        WELCOME_S = 60,
        BACK_OFF_FIRST_MS = 200,
        BACK_OFF_LAST_MS = 2000
};

static enum code say_hello(struct link *l, struct conn *conn, struct tp_error *err)
{
        struct hello hello = {.epoch = (int32_t)l->ask};
        struct text t;
        snprintf(hello.build, sizeof hello.build, "%s", l->build);
        text_init(&t, 1024);
        struct json_out o = json_to(&t);
        fields_write(&hello_object, &hello, &o, NULL);
        enum code code =
                frame_write(l->w, conn, world_boot_ns(l->w) + LINK_WRITE_S * NS_PER_S, FRAME_HELLO, l->ask, 0, text_of(&t), t.n, err);
        text_done(&t);
        return code;
}

/* *ret_note is set when the lease was granted; without it and without an error the greeting must be repeated with l->ask. */
static enum code hear_welcome(struct link *l, const struct frame *f, struct link_note **ret_note, struct tp_error *err)
{
        struct welcome_body body;
        struct arena *arena = arena_new(16 << 20);
        enum code code =
                arena ? fields_read_text(&welcome_body_object, text_of(&f->body), f->body.n, arena, &body, err) : tp_fail_memory(err);
        if (!code && !body.welcome.granted) {
                l->ask = body.welcome.epoch + 1;
                arena_free(arena);
                return CODE_OK;
        }
        struct link_note *n = code ? NULL : link_note_new(l, LINK_UP, 0);
        if (!n) {
                arena_free(arena);
                return code ? code : CODE_CANCELLED;
        }
        n->welcome = body.welcome;
        n->can = body.can;
        n->can_arena = arena;
        *ret_note = n;
        return CODE_OK;
}

static enum code greet(struct link *l, struct conn *conn, struct frame *f, struct link_note **ret_note, struct tp_error *err)
{
        int64_t until = world_boot_ns(l->w) + WELCOME_S * NS_PER_S; /* a station that walks its ladder answers when that is done */
        for (int tries = 0; tries < 8; tries++) {
                enum code code = say_hello(l, conn, err);
                if (!code)
                        code = frame_read(l->w, conn, until, f, err);
                if (!code && f->kind == FRAME_REFUSED) {
                        link_refusal(f, err);
                        return err->code ? err->code : CODE_BAD_REPLY;
                }
                if (!code && f->kind != FRAME_WELCOME)
                        code = tp_fail(err, CODE_BAD_REPLY, "the station greets with frame kind %u", f->kind);
                if (!code)
                        code = hear_welcome(l, f, ret_note, err);
                if (code || *ret_note)
                        return code;
        }
        return tp_fail(err, CODE_BUSY, "the station's epoch keeps growing; is another daemon greeting it?");
}

static void set_waking(struct link *l, struct conn *conn)
{
        l->w->task->lock(l->w, l->short_lock);
        l->waking = conn;
        if (conn && atomic_load(&l->closing))
                l->w->net->shutdown(l->w, conn);
        l->w->task->unlock(l->w, l->short_lock);
}

static void set_conn(struct link *l, struct conn *conn)
{
        l->w->task->lock(l->w, l->conn_lock);
        l->conn = conn;
        l->w->task->unlock(l->w, l->conn_lock);
}

static enum code session(struct link *l, struct conn *conn, bool *ret_was_up, struct tp_error *err)
{
        struct frame f;
        struct link_note *note = NULL;
        frame_init(&f);
        enum code code = greet(l, conn, &f, &note, err);
        if (!code) {
                atomic_store(&l->epoch, l->ask);
                set_conn(l, conn);
                atomic_store(&l->up, true);
                link_note_post(l, note);
                *ret_was_up = true;
        }
        while (!code) {
                code = frame_read(l->w, conn, world_boot_ns(l->w) + SILENT_S * NS_PER_S, &f, err);
                if (code == CODE_TIMED_OUT)
                        tp_fail(err, code, "the station said nothing for %d s", SILENT_S);
                if (!code)
                        code = link_obey(l, &f, err);
        }
        atomic_store(&l->up, false);
        l->w->net->shutdown(l->w, conn); /* wakes a writer that waits in it */
        set_conn(l, NULL);
        if (l->traces)
                link_note_free(&l->traces->message);
        l->traces = NULL;
        frame_done(&f);
        return code;
}

static void wait_ms(struct link *l, int64_t ms)
{
        int64_t until = world_boot_ns(l->w) + ms * NS_PER_MS;
        while (!atomic_load(&l->closing) && world_boot_ns(l->w) < until)
                l->w->task->sleep_until(l->w, world_boot_ns(l->w) + 50 * NS_PER_MS < until ? world_boot_ns(l->w) + 50 * NS_PER_MS : until);
}

void link_read_run(void *arg)
{
        struct link *l = arg;
        int64_t back_off_ms = BACK_OFF_FIRST_MS;
        while (!atomic_load(&l->closing)) {
                struct conn *conn = NULL;
                struct tp_error err = {0};
                bool was_up = false;
                if (l->healthy && !l->healthy(l->ctx)) { /* a daemon that cannot renew a lease does not ask for one */
                        wait_ms(l, BACK_OFF_FIRST_MS);
                        continue;
                }
                enum code code = l->w->net->connect(l->w, l->address, world_boot_ns(l->w) + CONNECT_S * NS_PER_S, &conn, &err);
                if (!code) {
                        set_waking(l, conn);
                        code = session(l, conn, &was_up, &err);
                        set_waking(l, NULL);
                        l->w->net->close(l->w, conn);
                }
                if (atomic_load(&l->closing))
                        return;
                if (was_up) {
                        back_off_ms = BACK_OFF_FIRST_MS;
                        l->ask = (uint32_t)atomic_load(&l->epoch) + 1;
                }
                tp_where(&err, "station at %s", l->address);
                link_note_why(l, LINK_DOWN, 0, &err); /* also when it was never up: the loop says why it waits */
                wait_ms(l, back_off_ms);
                back_off_ms = back_off_ms * 2 < BACK_OFF_LAST_MS ? back_off_ms * 2 : BACK_OFF_LAST_MS;
        }
}
