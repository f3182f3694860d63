/* serve_traces.c: the analyzer's traces on their way into a held result: announced, bounded, whole. */
#include "station/serve_own.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static size_t point_bytes(enum dtype t)
{
        switch (t) {
        case C64_LE:
        case C64_BE:
                return 8;
        case C128_LE:
        case C128_BE:
                return 16;
        case DTYPE_UNKNOWN:
                return 0;
        }
        return 0;
}

enum code into_begin(void *ctx, const struct block *b, struct tp_error *err)
{
        struct into *in = ctx;
        struct held_trace *t = &in->held->traces[in->held->trace_n];
        if (in->held->trace_n >= TRACES_MAX)
                return tp_fail(err, CODE_BAD_REPLY, "the analyzer gives more than %d traces", TRACES_MAX);
        if (b->points != in->points || !point_bytes(b->dtype))
                return tp_fail(err, CODE_BAD_REPLY, "trace %.15s: %u points of type %d announced, %zu points were asked", b->trace,
                               b->points, (int)b->dtype, in->points);
        *t = (struct held_trace){.dtype = (uint32_t)b->dtype, .points = b->points, .room = b->points * point_bytes(b->dtype)};
        snprintf(t->name, sizeof t->name, "%.15s", b->trace);
        if (t->room > FRAME_BODY_MAX - TRACE_HEAD_BYTES)
                return tp_fail(err, CODE_BAD_REPLY, "trace %s: %zu bytes; at most %u fit a frame", t->name, t->room,
                               FRAME_BODY_MAX - TRACE_HEAD_BYTES);
        t->bytes = malloc(t->room ? t->room : 1);
        return t->bytes ? CODE_OK : tp_fail_memory(err);
}

enum code into_chunk(void *ctx, const void *bytes, size_t n, struct tp_error *err)
{
        struct into *in = ctx;
        struct held_trace *t = &in->held->traces[in->held->trace_n];
        if (!t->bytes || n > t->room - t->byte_n)
                return tp_fail(err, CODE_BAD_REPLY, "trace %s: more bytes than the %zu announced", t->name, t->room);
        memcpy(t->bytes + t->byte_n, bytes, n);
        t->byte_n += n;
        return CODE_OK;
}

enum code into_end(void *ctx, struct tp_error *err)
{
        struct into *in = ctx;
        struct held_trace *t = &in->held->traces[in->held->trace_n];
        if (!t->bytes || t->byte_n != t->room)
                return tp_fail(err, CODE_BAD_REPLY, "trace %s: %zu of %zu bytes came", t->name, t->byte_n, t->room);
        in->held->trace_n++;
        return CODE_OK;
}

void drop_traces(struct held *h)
{
        for (size_t i = 0; i < TRACES_MAX; i++) {
                free(h->traces[i].bytes);
                h->traces[i] = (struct held_trace){0};
        }
        h->trace_n = 0;
}
