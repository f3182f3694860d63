/* serve_client.c: connections: one task reads frames, one writes them.
 * Ownership   a client belongs to the station's list; it is freed only by the accepting task or clients_stop(), after both its tasks have
 *             ended.
 * Invariants  nobody but the writer ever waits for a socket; a peer that does not read fills its own queue and is cut off. */
#include "station/serve_own.h"
#include <stdlib.h>
#include <string.h>

enum { OUT_FRAME = 1, OUT_QUIT };
enum { IDLE_S = 10, WRITE_S = 5, ACCEPT_MS = 200 };

static void out_free(struct message *m)
{
        struct out_frame *f = (struct out_frame *)m;
        text_done(&f->body);
        free(f);
}

static bool out_post(struct client *c, int kind, uint8_t frame_kind, uint32_t epoch, uint64_t step, struct text *take)
{
        struct out_frame *f = calloc(1, sizeof *f);
        if (!f) {
                if (take)
                        text_done(take);
                return false;
        }
        *f = (struct out_frame){.message = {.kind = kind, .free = out_free}, .kind = frame_kind, .epoch = epoch, .step = step};
        if (take)
                f->body = *take;
        else
                text_init(&f->body, 0);
        if (c->st->w->task->post(c->st->w, c->out, &f->message))
                return true;
        out_free(&f->message);
        return false;
}

void client_send_locked(struct client *c, uint8_t kind, uint64_t step, struct text *take)
{
        if (c->ended) {
                text_done(take);
                return;
        }
        if (!text_ok(take) || !out_post(c, OUT_FRAME, kind, c->st->lease.epoch, step, take)) {
                if (!text_ok(take))
                        text_done(take);
                c->st->w->net->shutdown(c->st->w, c->conn);
        }
}

void client_send_object_locked(struct client *c, uint8_t kind, uint64_t step, const struct object *object, const void *from)
{
        struct text t;
        text_init(&t, FRAME_BODY_MAX);
        struct json_out o = json_to(&t);
        fields_write(object, from, &o, NULL);
        client_send_locked(c, kind, step, &t);
}

static void put_u32(uint8_t *to, uint32_t v)
{
        for (int i = 0; i < 4; i++)
                to[i] = (uint8_t)(v >> (8 * i));
}

void client_send_held_locked(struct client *c, const struct held *h)
{
        for (size_t i = 0; i < h->trace_n; i++) {
                const struct held_trace *t = &h->traces[i];
                uint8_t head[TRACE_HEAD_BYTES] = {0};
                struct text body;
                memcpy(head, t->name, strlen(t->name));
                put_u32(head + 16, t->dtype);
                put_u32(head + 20, t->points);
                text_init(&body, FRAME_BODY_MAX);
                text_bytes(&body, head, sizeof head);
                text_bytes(&body, t->bytes, t->byte_n);
                client_send_locked(c, FRAME_TRACE, h->step, &body);
        }
        client_send_object_locked(c, FRAME_RESULT, h->step, &result_object, &h->result);
}

static void write_run(void *arg)
{
        struct client *c = arg;
        const struct world *w = c->st->w;
        for (bool quit = false, dead = false; !quit;) {
                struct message *m = w->task->take(w, c->out, INT64_MAX);
                if (!m)
                        continue;
                struct out_frame *f = (struct out_frame *)m;
                quit = m->kind == OUT_QUIT;
                if (!quit && !dead &&
                    frame_write(w, c->conn, world_boot_ns(w) + WRITE_S * NS_PER_S, f->kind, f->epoch, f->step, text_of(&f->body), f->body.n,
                                NULL)) {
                        dead = true;
                        w->net->shutdown(w, c->conn);
                }
                out_free(m);
        }
}

static void read_run(void *arg)
{
        struct client *c = arg;
        struct station *st = c->st;
        struct frame f;
        frame_init(&f);
        for (bool end = false; !end;) {
                struct tp_error err = {0};
                int64_t deadline =
                        c->greeted ? INT64_MAX : world_boot_ns(st->w) + IDLE_S * NS_PER_S; /* the lease watches whoever has greeted */
                enum code code = frame_read(st->w, c->conn, deadline, &f, &err);
                if (code) {
                        if (code == CODE_BAD_REPLY)
                                log_event(st->log, LOG_WARN, "station.frame", "uid=%lld msg=\"%s; the connection is closed\"",
                                          (long long)c->uid, err.text);
                        break;
                }
                frame_obey(c, &f, &end);
        }
        frame_done(&f);
        client_gone(c);
        while (!out_post(c, OUT_QUIT, 0, 0, 0, NULL)) /* a full queue empties: the writer is alive, and its socket is dead or read */
                st->w->task->sleep_until(st->w, world_boot_ns(st->w) + 5 * NS_PER_MS);
        st->w->task->join(st->w, c->writer);
        st->w->net->shutdown(st->w, c->conn);
        station_lock(st);
        c->ended = true;
        station_unlock(st);
}

static void client_free(struct client *c)
{
        const struct world *w = c->st->w;
        w->task->join(w, c->reader);
        w->task->inbox_free(w, c->out);
        w->net->close(w, c->conn);
        free(c);
}

/* Takes the ended ones out of the list and frees them; returns how many are left. */
static size_t reap(struct station *st)
{
        size_t n = 0;
        struct client *gone = NULL;
        station_lock(st);
        for (struct client **p = &st->clients; *p;) {
                struct client *c = *p;
                if (c->ended) {
                        *p = c->next;
                        c->next = gone;
                        gone = c;
                } else {
                        n++;
                        p = &c->next;
                }
        }
        station_unlock(st);
        while (gone) {
                struct client *next = gone->next;
                client_free(gone);
                gone = next;
        }
        return n;
}

static bool client_start(struct station *st, struct conn *conn)
{
        struct client *c = calloc(1, sizeof *c);
        if (!c)
                return false;
        c->st = st;
        c->conn = conn;
        c->uid = st->w->net->peer_uid(st->w, conn);
        c->out = st->w->task->inbox_new(st->w, OUT_LIMIT);
        if (!c->out || !(c->writer = st->w->task->start(st->w, "station-write", write_run, c)))
                goto failed;
        station_lock(st);
        c->n = ++st->client_n;
        c->next = st->clients;
        st->clients = c;
        c->reader = st->w->task->start(st->w, "station-read", read_run,
                                       c); /* under the lock: it ends by taking it, so `reader` is set before anybody looks */
        bool started = c->reader != NULL;
        if (!started)
                st->clients = c->next;
        station_unlock(st);
        if (started)
                return true;
        while (!out_post(c, OUT_QUIT, 0, 0, 0, NULL))
                st->w->task->sleep_until(st->w, world_boot_ns(st->w) + 5 * NS_PER_MS);
        st->w->task->join(st->w, c->writer);
failed:
        if (c->out)
                st->w->task->inbox_free(st->w, c->out);
        free(c);
        return false;
}

/* Ends by itself when the station stops, so that nobody closes the listener under it; in between it frees the connections that ended. */
void accept_run(void *arg)
{
        struct station *st = arg;
        for (;;) {
                struct conn *conn = NULL;
                struct tp_error err = {0};
                enum code code = st->w->net->accept(st->w, st->listener, world_boot_ns(st->w) + ACCEPT_MS * NS_PER_MS, &conn, &err);
                station_lock(st);
                bool stopping = st->stopping;
                station_unlock(st);
                size_t clients = reap(st);
                if (!code && (stopping || clients >= CLIENTS_MAX || !client_start(st, conn)))
                        st->w->net->close(st->w, conn);
                if (stopping || code == CODE_CANCELLED)
                        return;
                if (code && code != CODE_TIMED_OUT) { /* out of descriptors, say: try again, slowly */
                        log_event(st->log, LOG_WARN, "station.accept", "msg=\"%s\"", err.text);
                        st->w->task->sleep_until(st->w, world_boot_ns(st->w) + ACCEPT_MS * NS_PER_MS);
                }
        }
}

void clients_stop(struct station *st)
{
        station_lock(st);
        for (struct client *c = st->clients; c; c = c->next)
                if (!c->ended)
                        st->w->net->shutdown(st->w, c->conn);
        station_unlock(st);
        for (;;) {
                station_lock(st);
                struct client *c = st->clients;
                if (c)
                        st->clients = c->next;
                station_unlock(st);
                if (!c)
                        return;
                client_free(c);
        }
}
