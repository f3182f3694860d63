/* link.c: the daemon's side: one task reads and reconnects, one writes and renews the lease.
 * Ownership   notes belong to the loop's inbox once posted; what cannot be posted is posted again until the link closes: an outcome is
 * never dropped. Epoch       one more than the greatest ever seen; when the station answers with a greater one in force, the greeting is
 * repeated above it. Invariants  functions for the loop never wait: they post to the writer.  A frame asked for under one epoch is never
 * sent under another. */
#include "station/protocol.h"
#include <inttypes.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { OUT_FRAME = 1, OUT_QUIT };
enum {
        OUT_LIMIT = 1024,
        RENEW_MS = 500,
        SILENT_S = 4 /* eight renewals without an answer; more than a lease */,
        CONNECT_S = 2,
        WELCOME_S = 60,
        WRITE_S = 2,
        BACK_OFF_FIRST_MS = 200,
        BACK_OFF_LAST_MS = 2000
};

struct out {
        struct message message;
        uint8_t kind;
        uint32_t epoch;
        uint64_t step;
        struct text body;
};
struct link {
        const struct world *w;
        char *address, build[64];
        struct inbox *loop, *out;
        bool (*healthy)(void *ctx);
        void *ctx;
        struct task *reader, *writer;
        atomic_bool closing, up;
        atomic_uint epoch;       /* in force, or the last one that was */
        struct lock *conn_lock;  /* held by whoever uses or changes conn */
        struct lock *short_lock; /* guards `waking`: the connection that link_close() may cut */
        struct conn *conn, *waking;
        uint32_t ask;             /* the reader's own: the epoch to ask for */
        struct link_note *traces; /* the reader's own: TRACE frames before their RESULT */
};

/* ---- notes ---- */

static void note_free(struct message *m)
{
        struct link_note *n = (struct link_note *)m;
        for (size_t i = 0; i < TRACES_MAX; i++)
                free(n->traces[i].bytes);
        arena_free(n->can_arena);
        free(n);
}

static struct link_note *note_new(struct link *l, enum link_message kind, uint64_t step)
{
        struct link_note *n;
        while (!(n = calloc(1, sizeof *n))) {
                if (atomic_load(&l->closing))
                        return NULL;
                l->w->task->sleep_until(l->w, world_boot_ns(l->w) + 10 * NS_PER_MS);
        }
        n->message.kind = (int)kind;
        n->message.free = note_free;
        n->step = step;
        return n;
}

static void note_post(struct link *l, struct link_note *n)
{
        if (!n)
                return;
        while (!l->w->task->post(l->w, l->loop, &n->message)) {
                if (atomic_load(&l->closing)) {
                        note_free(&n->message);
                        return;
                }
                l->w->task->sleep_until(l->w, world_boot_ns(l->w) + 10 * NS_PER_MS);
        }
}

static void note_why(struct link *l, enum link_message kind, uint64_t step, const struct tp_error *why)
{
        struct link_note *n = note_new(l, kind, step);
        if (n)
                n->why = *why;
        note_post(l, n);
}

/* ---- reading ---- */

static enum code read_refusal(const struct frame *f, struct tp_error *ret)
{
        struct refusal r;
        enum code code = fields_read_text(&refusal_object, text_of(&f->body), f->body.n, NULL, &r, ret);
        if (!code)
                tp_fail(ret, (enum code)r.code, "the station refused: %s", r.text);
        return code;
}

static uint32_t get_u32(const uint8_t *p) { return (uint32_t)p[0] | (uint32_t)p[1] << 8 | (uint32_t)p[2] << 16 | (uint32_t)p[3] << 24; }

static enum code on_trace(struct link *l, const struct frame *f, struct tp_error *err)
{
        const uint8_t *p = (const uint8_t *)text_of(&f->body);
        if (l->traces && l->traces->step != f->step) { /* begun under a connection that ended */
                note_free(&l->traces->message);
                l->traces = NULL;
        }
        if (!l->traces && !(l->traces = note_new(l, LINK_RESULT, f->step)))
                return CODE_CANCELLED;
        if (f->body.n < TRACE_HEAD_BYTES || l->traces->trace_n >= TRACES_MAX)
                return tp_fail(err, CODE_BAD_REPLY, "trace %zu of step %" PRIu64 " has %zu bytes; this is no station's trace",
                               l->traces->trace_n + 1, f->step, f->body.n);
        struct link_trace *t = &l->traces->traces[l->traces->trace_n];
        memcpy(t->name, p, 15);
        t->dtype = get_u32(p + 16);
        t->points = get_u32(p + 20);
        t->byte_n = f->body.n - TRACE_HEAD_BYTES;
        t->bytes = malloc(t->byte_n ? t->byte_n : 1);
        if (!t->bytes)
                return tp_fail_memory(err);
        memcpy(t->bytes, p + TRACE_HEAD_BYTES, t->byte_n);
        l->traces->trace_n++;
        return CODE_OK;
}

static enum code on_result(struct link *l, const struct frame *f, struct tp_error *err)
{
        struct link_note *n = l->traces && l->traces->step == f->step ? l->traces : note_new(l, LINK_RESULT, f->step);
        if (n == l->traces)
                l->traces = NULL;
        if (!n)
                return CODE_CANCELLED;
        enum code code = fields_read_text(&result_object, text_of(&f->body), f->body.n, NULL, &n->result, err);
        if (!code && n->result.traces != (int32_t)n->trace_n)
                code = tp_fail(err, CODE_BAD_REPLY, "step %" PRIu64 ": %zu traces came, its result speaks of %d", f->step, n->trace_n,
                               (int)n->result.traces);
        if (code)
                note_free(&n->message);
        else
                note_post(l, n);
        return code;
}

static enum code on_did(struct link *l, const struct frame *f, struct tp_error *err)
{
        struct did did;
        enum code code = fields_read_text(&did_object, text_of(&f->body), f->body.n, NULL, &did, err);
        struct link_note *n = code ? NULL : note_new(l, LINK_DID, f->step);
        if (n)
                snprintf(n->did, sizeof n->did, "%s", did.state);
        note_post(l, n);
        return code;
}

static enum code on_event(struct link *l, const struct frame *f, enum link_message kind, struct tp_error *err)
{
        struct link_note *n = note_new(l, kind, f->step);
        if (!n)
                return CODE_CANCELLED;
        enum code code = fields_read_text(&station_event_object, text_of(&f->body), f->body.n, NULL, &n->event, err);
        if (code)
                note_free(&n->message);
        else
                note_post(l, n);
        return code;
}

static enum code obey(struct link *l, const struct frame *f, struct tp_error *err)
{
        switch ((enum frame_kind)f->kind) {
        case FRAME_TRACE:
                return on_trace(l, f, err);
        case FRAME_RESULT:
                return on_result(l, f, err);
        case FRAME_DID_REPLY:
                return on_did(l, f, err);
        case FRAME_EVENT:
                return on_event(l, f, LINK_EVENT, err);
        case FRAME_SAFE_DONE:
                return on_event(l, f, LINK_SAFE_DONE, err);
        case FRAME_STATUS:
                return on_event(l, f, LINK_STATUS, err);
        case FRAME_REFUSED: {
                struct tp_error why = {0};
                enum code code = read_refusal(f, &why);
                note_why(l, LINK_REFUSED, f->step, &why);
                return code;
        }
        case FRAME_NONE:
        case FRAME_HELLO:
        case FRAME_RENEW:
        case FRAME_SETUP:
        case FRAME_STEP:
        case FRAME_DID:
        case FRAME_ACK:
        case FRAME_RELEASE:
        case FRAME_CLEAR:
        case FRAME_SAFE:
        case FRAME_WELCOME:
                break;
        }
        return tp_fail(err, CODE_BAD_REPLY, "frame kind %u means nothing to a daemon; install the same release on both ends", f->kind);
}

/* ---- greeting ---- */

static enum code say_hello(struct link *l, struct conn *conn, struct tp_error *err)
{
        struct hello hello = {.epoch = (int32_t)l->ask};
        struct text t;
        snprintf(hello.build, sizeof hello.build, "%s", l->build);
        text_init(&t, 1024);
        struct json_out o = json_to(&t);
        fields_write(&hello_object, &hello, &o, NULL);
        enum code code = frame_write(l->w, conn, world_boot_ns(l->w) + WRITE_S * NS_PER_S, FRAME_HELLO, l->ask, 0, text_of(&t), t.n, err);
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
        struct link_note *n = code ? NULL : note_new(l, LINK_UP, 0);
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
                        read_refusal(f, err);
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

/* ---- the reading task ---- */

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
                note_post(l, note);
                *ret_was_up = true;
        }
        while (!code) {
                code = frame_read(l->w, conn, world_boot_ns(l->w) + SILENT_S * NS_PER_S, &f, err);
                if (code == CODE_TIMED_OUT)
                        tp_fail(err, code, "the station said nothing for %d s", SILENT_S);
                if (!code)
                        code = obey(l, &f, err);
        }
        atomic_store(&l->up, false);
        l->w->net->shutdown(l->w, conn); /* wakes a writer that waits in it */
        set_conn(l, NULL);
        if (l->traces)
                note_free(&l->traces->message);
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

static void read_run(void *arg)
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
                note_why(l, LINK_DOWN, 0, &err); /* also when it was never up: the loop says why it waits */
                wait_ms(l, back_off_ms);
                back_off_ms = back_off_ms * 2 < BACK_OFF_LAST_MS ? back_off_ms * 2 : BACK_OFF_LAST_MS;
        }
}

/* ---- the writing task ---- */

static void out_free(struct message *m)
{
        struct out *o = (struct out *)m;
        text_done(&o->body);
        free(o);
}

static void write_frame(struct link *l, uint8_t kind, uint32_t epoch, uint64_t step, const void *body, size_t n)
{
        l->w->task->lock(l->w, l->conn_lock);
        if (l->conn && atomic_load(&l->epoch) == epoch &&
            frame_write(l->w, l->conn, world_boot_ns(l->w) + WRITE_S * NS_PER_S, kind, epoch, step, body, n, NULL))
                l->w->net->shutdown(l->w, l->conn); /* the reader sees it and says why */
        l->w->task->unlock(l->w, l->conn_lock);
}

static void write_run(void *arg)
{
        struct link *l = arg;
        int64_t renew = world_boot_ns(l->w) + RENEW_MS * NS_PER_MS;
        for (bool quit = false; !quit;) {
                struct message *m = l->w->task->take(l->w, l->out, renew);
                if (m) {
                        struct out *o = (struct out *)m;
                        quit = m->kind == OUT_QUIT;
                        if (!quit)
                                write_frame(l, o->kind, o->epoch, o->step, text_of(&o->body), o->body.n);
                        out_free(m);
                }
                if (!quit && world_boot_ns(l->w) >= renew) {
                        if (atomic_load(&l->up) && (!l->healthy || l->healthy(l->ctx)))
                                write_frame(l, FRAME_RENEW, (uint32_t)atomic_load(&l->epoch), 0, NULL, 0);
                        renew = world_boot_ns(l->w) + RENEW_MS * NS_PER_MS;
                }
        }
}

/* ---- for the loop ---- */

static enum code ask(struct link *l, int message_kind, enum frame_kind kind, uint64_t step, struct text *take, struct tp_error *err)
{
        struct out *o = NULL;
        enum code code = CODE_OK;
        if (message_kind != OUT_QUIT && !atomic_load(&l->up))
                code = tp_fail(err, CODE_LINK_DEAD, "the station at %s is not connected", l->address);
        else if (take && !text_ok(take))
                code = tp_fail(err, CODE_BAD_INPUT, "what is to be sent to the station is larger than %u bytes", FRAME_BODY_MAX);
        else if (!(o = calloc(1, sizeof *o)))
                code = tp_fail_memory(err);
        if (code) {
                if (take)
                        text_done(take);
                return code;
        }
        *o = (struct out){.message = {.kind = message_kind, .free = out_free},
                          .kind = (uint8_t)kind,
                          .epoch = (uint32_t)atomic_load(&l->epoch),
                          .step = step};
        if (take)
                o->body = *take;
        else
                text_init(&o->body, 0);
        if (l->w->task->post(l->w, l->out, &o->message))
                return CODE_OK;
        out_free(&o->message);
        return tp_fail(err, CODE_BUSY, "%d frames wait to be sent to the station; it does not read", OUT_LIMIT);
}

enum code link_setup(struct link *l, const struct recipe *recipe, const char *recipe_json, size_t n, struct tp_error *err)
{
        struct text t;
        (void)recipe; /* the station reads the document itself: its limits and sweep plans are those of the bytes that name it */
        char *whole = strndup(recipe_json, n);
        if (!whole)
                return tp_fail_memory(err);
        text_init(&t, FRAME_BODY_MAX);
        struct json_out o = json_to(&t);
        json_open(&o, NULL, '{');
        json_text(&o, "recipe", whole);
        json_close(&o, '}');
        free(whole);
        return ask(l, OUT_FRAME, FRAME_SETUP, 0, &t, err);
}

enum code link_step(struct link *l, const struct step *step, struct tp_error *err)
{
        struct text args, t;
        struct json_out o;
        text_init(&args, FRAME_BODY_MAX);
        text_init(&t, FRAME_BODY_MAX);
        o = json_to(&args);
        fields_write(&step_args_object, &step->args, &o, NULL);
        text_f(&t, "{\"kind\":\"%s\"%s%s", step_rows[step->kind].word, args.n > 2 ? "," : "", args.n ? args.at + 1 : "}");
        if (!text_ok(&args))
                t.broken = true;
        text_done(&args);
        return ask(l, OUT_FRAME, FRAME_STEP, step->id, &t, err);
}

enum code link_did(struct link *l, uint64_t step, struct tp_error *err) { return ask(l, OUT_FRAME, FRAME_DID, step, NULL, err); }
enum code link_ack(struct link *l, uint64_t step, struct tp_error *err) { return ask(l, OUT_FRAME, FRAME_ACK, step, NULL, err); }
enum code link_safe(struct link *l, struct tp_error *err) { return ask(l, OUT_FRAME, FRAME_SAFE, 0, NULL, err); }

enum code link_clear(struct link *l, const char *who, struct tp_error *err)
{
        struct clear clear = {{0}};
        struct text t;
        snprintf(clear.who, sizeof clear.who, "%s", who);
        text_init(&t, 1024);
        struct json_out o = json_to(&t);
        fields_write(&clear_object, &clear, &o, NULL);
        return ask(l, OUT_FRAME, FRAME_CLEAR, 0, &t, err);
}

uint32_t link_epoch(const struct link *l) { return (uint32_t)atomic_load(&l->epoch); }

struct link *link_open(const struct world *w, const char *address, const char *build, uint32_t epoch_of_catalogue, struct inbox *loop,
                       bool (*healthy)(void *ctx), void *ctx, struct tp_error *err)
{
        struct link *l = calloc(1, sizeof *l);
        if (!l) {
                tp_fail_memory(err);
                return NULL;
        }
        l->w = w;
        l->loop = loop;
        l->healthy = healthy;
        l->ctx = ctx;
        l->ask = epoch_of_catalogue + 1;
        atomic_init(&l->closing, false);
        atomic_init(&l->up, false);
        atomic_init(&l->epoch, epoch_of_catalogue);
        snprintf(l->build, sizeof l->build, "%s", build);
        l->address = strdup(address);
        l->out = w->task->inbox_new(w, OUT_LIMIT);
        l->conn_lock = w->task->lock_new(w);
        l->short_lock = w->task->lock_new(w);
        if (l->address && l->out && l->conn_lock && l->short_lock && (l->writer = w->task->start(w, "link-write", write_run, l)) &&
            (l->reader = w->task->start(w, "link-read", read_run, l)))
                return l;
        tp_fail(err, CODE_MEMORY, "the link to the station at %s could not be started", address);
        link_close(l, false);
        return NULL;
}

void link_close(struct link *l, bool release)
{
        if (!l)
                return;
        const struct task_ops *t = l->w->task;
        if (l->writer) {
                if (release)
                        ask(l, OUT_FRAME, FRAME_RELEASE, 0, NULL, NULL);
                while (ask(l, OUT_QUIT, FRAME_NONE, 0, NULL, NULL))
                        t->sleep_until(l->w, world_boot_ns(l->w) + 10 * NS_PER_MS);
                t->join(l->w, l->writer);
        }
        atomic_store(&l->closing, true);
        if (l->short_lock) {
                t->lock(l->w, l->short_lock);
                if (l->waking)
                        l->w->net->shutdown(l->w, l->waking);
                t->unlock(l->w, l->short_lock);
        }
        if (l->reader)
                t->join(l->w, l->reader);
        if (l->out)
                t->inbox_free(l->w, l->out);
        if (l->conn_lock)
                t->lock_free(l->w, l->conn_lock);
        if (l->short_lock)
                t->lock_free(l->w, l->short_lock);
        free(l->address);
        free(l);
}
