/* link_hear.c: what the station says becomes notes for the loop (link_own.h); an outcome is never dropped. */
#include "station/link_own.h"
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void link_note_free(struct message *m)
{
        struct link_note *n = (struct link_note *)m;
        for (size_t i = 0; i < TRACES_MAX; i++)
                free(n->traces[i].bytes);
        arena_free(n->can_arena);
        free(n);
}

struct link_note *link_note_new(struct link *l, enum link_message kind, uint64_t step)
{
        struct link_note *n;
        while (!(n = calloc(1, sizeof *n))) {
                if (atomic_load(&l->closing))
                        return NULL;
                l->w->task->sleep_until(l->w, world_boot_ns(l->w) + 10 * NS_PER_MS);
        }
        n->message.kind = (int)kind;
        n->message.free = link_note_free;
        n->step = step;
        return n;
}

void link_note_post(struct link *l, struct link_note *n)
{
        if (!n)
                return;
        while (!l->w->task->post(l->w, l->loop, &n->message)) {
                if (atomic_load(&l->closing)) {
                        link_note_free(&n->message);
                        return;
                }
                l->w->task->sleep_until(l->w, world_boot_ns(l->w) + 10 * NS_PER_MS);
        }
}

void link_note_why(struct link *l, enum link_message kind, uint64_t step, const struct tp_error *why)
{
        struct link_note *n = link_note_new(l, kind, step);
        if (n)
                n->why = *why;
        link_note_post(l, n);
}

enum code link_refusal(const struct frame *f, struct tp_error *ret)
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
                link_note_free(&l->traces->message);
                l->traces = NULL;
        }
        if (!l->traces && !(l->traces = link_note_new(l, LINK_RESULT, f->step)))
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
        struct link_note *n = l->traces && l->traces->step == f->step ? l->traces : link_note_new(l, LINK_RESULT, f->step);
        if (n == l->traces)
                l->traces = NULL;
        if (!n)
                return CODE_CANCELLED;
        enum code code = fields_read_text(&result_object, text_of(&f->body), f->body.n, NULL, &n->result, err);
        if (!code && n->result.traces != (int32_t)n->trace_n)
                code = tp_fail(err, CODE_BAD_REPLY, "step %" PRIu64 ": %zu traces came, its result speaks of %d", f->step, n->trace_n,
                               (int)n->result.traces);
        if (code)
                link_note_free(&n->message);
        else
                link_note_post(l, n);
        return code;
}

static enum code on_did(struct link *l, const struct frame *f, struct tp_error *err)
{
        struct did did;
        enum code code = fields_read_text(&did_object, text_of(&f->body), f->body.n, NULL, &did, err);
        struct link_note *n = code ? NULL : link_note_new(l, LINK_DID, f->step);
        if (n)
                snprintf(n->did, sizeof n->did, "%s", did.state);
        link_note_post(l, n);
        return code;
}

static enum code on_event(struct link *l, const struct frame *f, enum link_message kind, struct tp_error *err)
{
        struct link_note *n = link_note_new(l, kind, f->step);
        if (!n)
                return CODE_CANCELLED;
        enum code code = fields_read_text(&station_event_object, text_of(&f->body), f->body.n, NULL, &n->event, err);
        if (code)
                link_note_free(&n->message);
        else
                link_note_post(l, n);
        return code;
}

enum code link_obey(struct link *l, const struct frame *f, struct tp_error *err)
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
                enum code code = link_refusal(f, &why);
                link_note_why(l, LINK_REFUSED, f->step, &why);
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
