/* event.c: see event.h.  Numbers of events go on over restarts; the epoch tells the life of the daemon an event was made in.  An id is good
   for a replay when the very event it names is still kept and has that epoch: after the index was rebuilt, or the event has been dropped,
   the stream begins with `reset`. */
#include "api/event.h"
#include "api/problem.h"
#include "api/route.h"
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define QUESTION_NS (INT64_C(2) * NS_PER_S)

bool event_id_read(const char *text, struct event_place *ret)
{
        char *end = NULL;
        size_t n = strlen(text);
        if (n < 3 || n > 30 || strspn(text, "0123456789.") != n || !strchr(text, '.') || text[0] == '.')
                return false;
        unsigned long long epoch = strtoull(text, &end, 10);
        if (*end != '.' || epoch > UINT32_MAX || !end[1] || strchr(end + 1, '.'))
                return false;
        ret->epoch = (uint32_t)epoch;
        ret->seq = strtoull(end + 1, NULL, 10);
        return ret->seq <= INT64_MAX;
}

static enum code events_after(struct view *view, uint64_t after, size_t limit, struct arena *arena, struct event_row **ret, size_t *ret_n,
                              struct tp_error *err)
{
        uint64_t first = 0;
        return view_events(view, after, limit, arena, ret, ret_n, &first, err);
}

enum code event_newest(struct api *api, struct event_place *ret, struct tp_error *err)
{
        struct event_row *row = NULL;
        size_t n = 0;
        uint64_t low = 0, high = UINT64_C(1) << 52; /* there is none after `high`; halved until it is the newest */
        struct arena *arena = arena_new(0);
        struct view *view = arena ? view_open(api->store, NULL, world_boot_ns(api->world) + QUESTION_NS, err) : NULL;
        enum code code = view ? CODE_OK : arena ? err->code : tp_fail_memory(err);
        *ret = (struct event_place){0, store_epoch(api->store)};
        while (!code && low < high) {
                uint64_t middle = low + (high - low) / 2;
                arena_reset(arena);
                code = events_after(view, middle, 1, arena, &row, &n, err);
                if (n)
                        low = row[0].seq;
                else
                        high = middle;
                if (n && !code)
                        *ret = (struct event_place){row[0].seq, row[0].epoch};
        }
        view_close(view);
        arena_free(arena);
        return code;
}

enum code event_page(struct api *api, struct event_place *at, struct text *to, bool *ret_more, struct tp_error *err)
{
        struct event_row *rows = NULL;
        size_t n = 0;
        struct arena *arena = arena_new(0);
        struct view *view = arena ? view_open(api->store, NULL, world_boot_ns(api->world) + QUESTION_NS, err) : NULL;
        enum code code = view ? events_after(view, at->seq, EVENT_PAGE, arena, &rows, &n, err) : arena ? err->code : tp_fail_memory(err);
        for (size_t i = 0; !code && i < n; i++) {
                text_f(to, "event: %s\nid: %" PRIu32 ".%" PRIu64 "\ndata: %s\n\n", rows[i].topic, rows[i].epoch, rows[i].seq, rows[i].body);
                *at = (struct event_place){rows[i].seq, rows[i].epoch};
        }
        *ret_more = n == EVENT_PAGE;
        view_close(view);
        arena_free(arena);
        return code;
}

void event_greet(struct text *to, const struct event_place *at, bool reset)
{
        text_f(to, "retry: 2000\n\nevent: %s\nid: %" PRIu32 ".%" PRIu64 "\ndata: {}\n\n", reset ? "reset" : "hello", at->epoch, at->seq);
}

void event_hint(struct text *to, const struct snapshot *s)
{
        text_f(to, "event: snapshot\ndata: {\"etag\":\"%u.%" PRIu64 "\",\"run\":\"%s\",\"in_hand\":%s}\n\n", s->epoch, s->version, s->run,
               s->in_hand ? "true" : "false");
}

/* Is the event itself still there, from the same life? */
static enum code is_kept(struct request *q, const struct event_place *at, bool *ret, struct tp_error *err)
{
        struct event_row *row = NULL;
        size_t n = 0;
        struct view *view = ask_view(q, NULL, err);
        enum code code = view ? events_after(view, at->seq - 1, 1, q->arena, &row, &n, err) : err->code;
        view_close(view);
        *ret = !code && n && row[0].seq == at->seq && row[0].epoch == at->epoch;
        return code;
}

enum code events_open(struct request *q, struct reply *r, struct tp_error *err)
{
        const char *id = q->last_event_id && q->last_event_id[0] ? q->last_event_id : query_text(q, "last_event_id");
        struct event_place at = {0};
        enum code code = CODE_OK;
        bool kept = true;
        if (id && !event_id_read(id, &at))
                return tp_fail_at(err, CODE_BAD_INPUT, "Last-Event-ID",
                                  "Last-Event-ID: %.40s is no id of an event; send EPOCH.SEQ as received, or leave it out", id);
        q->api->world->task->lock(q->api->world, q->api->lock);
        bool full = q->api->streams >= STREAMS_MAX;
        q->api->world->task->unlock(q->api->world, q->api->lock);
        if (full)
                return tp_fail(err, CODE_BUSY, "%d event streams are open, which is the limit; close one, or ask again later", STREAMS_MAX);
        if (id && at.seq > 0)
                code = is_kept(q, &at, &kept, err);
        if (!code && (!id || !kept))
                code = event_newest(q->api, &at, err);
        if (code)
                return code;
        r->status = 200;
        r->type = "text/event-stream";
        r->stream = true;
        r->stream_hello = !id;
        r->stream_reset = !kept;
        r->stream_seq = at.seq;
        r->stream_epoch = at.epoch;
        return CODE_OK;
}
