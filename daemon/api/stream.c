/* stream.c: see stream.h.
 * Idea      The feeder asks the index every TURN for what is new, once for all streams that stand at the same place.  A stream that does
 * not read is closed at HOLD_MAX bytes; its client comes back with Last-Event-ID and loses nothing, so memory does not grow with slow
 * clients. */
#include "api/stream.h"
#include <stdlib.h>
#include <string.h>

#define TURN_NS (INT64_C(200) * NS_PER_MS)
#define QUIET_NS (INT64_C(15) * NS_PER_S)
#define HOLD_MAX (size_t)(48 * 1024)

struct stream {
        struct stream *next, *before;
        struct streams *of;
        struct event_place at;
        struct text hold;
        size_t sent;
        bool sleeps, ended;
        int64_t spoke_ns;
        void (*wake)(void *ctx);
        void *ctx;
};
struct streams {
        struct api *api;
        struct lock *lock;
        struct inbox *inbox; /* nobody posts: the feeder's alarm clock */
        struct task *feeder;
        struct stream *first;
        unsigned n;
        uint64_t version;
        _Atomic bool end, closing;
};

static void lock(struct streams *s) { s->api->world->task->lock(s->api->world, s->lock); }
static void unlock(struct streams *s) { s->api->world->task->unlock(s->api->world, s->lock); }

static void wake(struct stream *m)
{
        if (!m->sleeps)
                return;
        m->sleeps = false;
        m->wake(m->ctx);
}

static void give(struct stream *m, const struct text *what, int64_t now)
{
        if (m->ended || !what->n)
                return;
        if (m->hold.n - m->sent + what->n > HOLD_MAX + 1024 * (size_t)EVENT_PAGE) {
                m->ended = true;
        } else {
                text_bytes(&m->hold, what->at, what->n);
                m->spoke_ns = now;
        }
        wake(m);
}

/* A place at which some stream stands that is not `done` yet; only streams that have read what they had. */
static bool next_place(struct streams *s, uint64_t above, struct event_place *ret)
{
        bool found = false;
        lock(s);
        for (struct stream *m = s->first; m; m = m->next)
                if (!m->ended && m->hold.n - m->sent < HOLD_MAX && m->at.seq >= above && (!found || m->at.seq < ret->seq)) {
                        *ret = m->at;
                        found = true;
                }
        unlock(s);
        return found;
}

static void feed_place(struct streams *s, struct event_place from)
{
        struct text text;
        struct event_place to = from;
        bool more = false;
        text_init(&text, 0);
        enum code code = event_page(s->api, &to, &text, &more, &(struct tp_error){0});
        int64_t now = world_boot_ns(s->api->world);
        lock(s);
        for (struct stream *m = s->first; m && !code && text_ok(&text); m = m->next)
                if (m->at.seq == from.seq) {
                        give(m, &text, now);
                        m->at = to;
                }
        unlock(s);
        text_done(&text);
}

static void feed_hint(struct streams *s)
{
        struct text text;
        struct snapshot *snapshot = snapshot_get(s->api->slot);
        if (!snapshot || snapshot->version == s->version) {
                snapshot_put(snapshot);
                return;
        }
        s->version = snapshot->version;
        text_init(&text, 0);
        event_hint(&text, snapshot);
        snapshot_put(snapshot);
        int64_t now = world_boot_ns(s->api->world);
        lock(s);
        for (struct stream *m = s->first; m; m = m->next)
                if (m->hold.n - m->sent < HOLD_MAX) /* a hint may be dropped: the next one says the same */
                        give(m, &text, now);
        unlock(s);
        text_done(&text);
}

static void feed_quiet(struct streams *s)
{
        static const char comment[] = ": still here\n\n";
        struct text text = {.at = (char *)(uintptr_t)comment, .n = sizeof comment - 1};
        int64_t now = world_boot_ns(s->api->world);
        lock(s);
        for (struct stream *m = s->first; m; m = m->next)
                if (now - m->spoke_ns >= QUIET_NS)
                        give(m, &text, now);
        unlock(s);
}

static void feeder_run(void *arg)
{
        struct streams *s = arg;
        while (!atomic_load(&s->end)) {
                struct event_place at = {0};
                uint64_t above = 0;
                while (!atomic_load(&s->end) && next_place(s, above, &at)) {
                        feed_place(s, at);
                        above = at.seq + 1; /* those that moved are asked again next turn, when they have read */
                }
                feed_hint(s);
                feed_quiet(s);
                struct message *m = s->api->world->task->take(s->api->world, s->inbox, world_boot_ns(s->api->world) + TURN_NS);
                if (m && m->free)
                        m->free(m);
        }
}

enum code streams_open(struct api *api, struct streams **ret, struct tp_error *err)
{
        struct streams *s = calloc(1, sizeof *s);
        if (!s)
                return tp_fail_memory(err);
        s->api = api;
        s->lock = api->world->task->lock_new(api->world);
        s->inbox = api->world->task->inbox_new(api->world, 1);
        enum code code = s->lock && s->inbox ? CODE_OK : tp_fail_memory(err);
        if (!code) {
                s->feeder = api->world->task->start(api->world, "events", feeder_run, s);
                if (!s->feeder)
                        code = tp_fail(err, CODE_MEMORY, "the task that feeds event streams could not be started");
        }
        if (code)
                streams_close(s);
        else
                *ret = s;
        return code;
}

void streams_end(struct streams *s)
{
        lock(s);
        atomic_store(&s->closing, true);
        for (struct stream *m = s->first; m; m = m->next) {
                m->ended = true;
                wake(m);
        }
        unlock(s);
}

void streams_close(struct streams *s)
{
        if (!s)
                return;
        atomic_store(&s->end, true);
        if (s->feeder)
                s->api->world->task->join(s->api->world, s->feeder);
        if (s->inbox)
                s->api->world->task->inbox_free(s->api->world, s->inbox);
        if (s->lock)
                s->api->world->task->lock_free(s->api->world, s->lock);
        free(s);
}

static void count(struct api *api, int by)
{
        api->world->task->lock(api->world, api->lock);
        api->streams += (unsigned)by;
        api->world->task->unlock(api->world, api->lock);
}

struct stream *stream_new(struct streams *s, const struct reply *r, void (*wake_up)(void *ctx), void *ctx)
{
        struct stream *m = atomic_load(&s->closing) ? NULL : calloc(1, sizeof *m);
        if (!m)
                return NULL;
        *m = (struct stream){
                .of = s, .at = {r->stream_seq, r->stream_epoch}, .wake = wake_up, .ctx = ctx, .spoke_ns = world_boot_ns(s->api->world)};
        text_init(&m->hold, 0);
        if (r->stream_hello || r->stream_reset)
                event_greet(&m->hold, &m->at, r->stream_reset);
        else
                text_put(&m->hold, "retry: 2000\n\n");
        lock(s);
        bool room = !atomic_load(&s->closing) && s->n < STREAMS_MAX;
        if (room) {
                s->n++;
                m->next = s->first;
                if (m->next)
                        m->next->before = m;
                s->first = m;
        }
        unlock(s);
        if (!room) {
                text_done(&m->hold);
                free(m);
                return NULL;
        }
        count(s->api, 1);
        return m;
}

void stream_free(struct stream *m)
{
        if (!m)
                return;
        struct streams *s = m->of;
        lock(s);
        if (m->before)
                m->before->next = m->next;
        else
                s->first = m->next;
        if (m->next)
                m->next->before = m->before;
        s->n--;
        unlock(s);
        count(s->api, -1);
        text_done(&m->hold);
        free(m);
}

enum stream_state stream_read(struct stream *m, char *ret, size_t n, size_t *ret_n, void (*sleep)(void *ctx))
{
        enum stream_state state = STREAM_BYTES;
        lock(m->of);
        size_t have = m->hold.n - m->sent;
        if (have) {
                *ret_n = have < n ? have : n;
                memcpy(ret, m->hold.at + m->sent, *ret_n);
                m->sent += *ret_n;
                if (m->sent == m->hold.n) {
                        text_clear(&m->hold);
                        m->sent = 0;
                }
        } else if (m->ended || !text_ok(&m->hold)) {
                state = STREAM_ENDED;
        } else {
                m->sleeps = true;
                sleep(m->ctx);
                state = STREAM_SLEEPS;
        }
        unlock(m->of);
        return state;
}
