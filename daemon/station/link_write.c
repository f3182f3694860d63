/* link_write.c: the writing task: frames in their order, and the renewal of the lease.  A frame asked for under one epoch is never sent
   under another (link_own.h). */
#include "station/link_own.h"
#include <stdlib.h>

enum { RENEW_MS = 500 };

struct out {
        struct message message;
        uint8_t kind;
        uint32_t epoch;
        uint64_t step;
        struct text body;
};

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
            frame_write(l->w, l->conn, world_boot_ns(l->w) + LINK_WRITE_S * NS_PER_S, kind, epoch, step, body, n, NULL))
                l->w->net->shutdown(l->w, l->conn); /* the reader sees it and says why */
        l->w->task->unlock(l->w, l->conn_lock);
}

void link_write_run(void *arg)
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

enum code link_ask(struct link *l, int message_kind, enum frame_kind kind, uint64_t step, struct text *take, struct tp_error *err)
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
        return tp_fail(err, CODE_BUSY, "%d frames wait to be sent to the station; it does not read", LINK_OUT_LIMIT);
}
