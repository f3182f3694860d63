/* stream.c: byte streams between fibers.  Bytes arrive later than they were sent, in pieces as the seed likes; a stream can be cut at any
 * byte. */
#include "simulators/world/own.h"
#include <stdlib.h>
#include <string.h>

struct piece {
        struct piece *next;
        int64_t at_ns;
        size_t n, taken;
        uint8_t bytes[];
};
struct end {
        struct sim_process *owner;
        struct piece *first, **last;
        struct fiber *reads;
        bool shut, closed;
};
struct stream {
        struct stream *next;
        struct end ends[2];
        bool cut;
};
struct conn {
        struct stream *stream;
        int side;
};
struct listener {
        struct listener *next;
        struct sim_process *owner;
        char address[256];
        struct stream *waiting[16];
        size_t n;
        struct fiber *accepts;
        bool closed;
};

static enum code dead(const struct world *w, struct tp_error *err)
{
        return process_of(w)->dead ? tp_fail(err, CODE_LINK_DEAD, "this process was killed") : CODE_OK;
}

static enum code sim_listen(const struct world *w, const char *address, struct listener **ret, struct tp_error *err)
{
        struct sim *sim = process_of(w)->sim;
        if (dead(w, err))
                return CODE_LINK_DEAD;
        for (struct listener *l = sim->listeners; l; l = l->next)
                if (!l->closed && !l->owner->dead && strcmp(l->address, address) == 0)
                        return tp_fail(err, CODE_BUSY, "%s is in use", address);
        struct listener *l = calloc(1, sizeof *l);
        if (!l)
                return tp_fail_memory(err);
        l->owner = process_of(w);
        memccpy(l->address, address, 0, sizeof l->address - 1);
        l->next = sim->listeners;
        sim->listeners = l;
        *ret = l;
        return CODE_OK;
}

static void sim_close_listener(const struct world *w, struct listener *l)
{
        struct sim *sim = process_of(w)->sim;
        if (!l)
                return;
        l->closed = true;
        fiber_wake(l->accepts);
        while (l->accepts) /* the acceptor sees it first */
                fiber_pass(sim);
        for (struct listener **at = &sim->listeners; *at; at = &(*at)->next)
                if (*at == l) {
                        *at = l->next;
                        break;
                }
        for (size_t i = 0; i < l->n; i++) {
                l->waiting[i]->cut = true;
                l->waiting[i]->ends[1].closed = true;
                fiber_wake(l->waiting[i]->ends[0].reads);
        }
        free(l);
}

static enum code sim_accept(const struct world *w, struct listener *l, int64_t deadline_ns, struct conn **ret, struct tp_error *err)
{
        struct sim *sim = process_of(w)->sim;
        l->accepts = sim->current;
        while (!l->n && !l->closed && !process_of(w)->dead && sim->now_ns < deadline_ns)
                fiber_wait(sim, deadline_ns < sim->now_ns + 50 * NS_PER_MS ? deadline_ns : sim->now_ns + 50 * NS_PER_MS);
        l->accepts = NULL;
        if (l->closed || process_of(w)->dead)
                return tp_fail(err, CODE_CANCELLED, "%s: the listener was closed", l->address);
        if (!l->n)
                return tp_fail(err, CODE_TIMED_OUT, "%s: nobody connected", l->address);
        struct conn *c = calloc(1, sizeof *c);
        if (!c)
                return tp_fail_memory(err);
        c->stream = l->waiting[0];
        c->side = 1;
        c->stream->ends[1].owner = process_of(w);
        memmove(&l->waiting[0], &l->waiting[1], --l->n * sizeof l->waiting[0]);
        *ret = c;
        return CODE_OK;
}

static enum code sim_connect(const struct world *w, const char *address, int64_t deadline_ns, struct conn **ret, struct tp_error *err)
{
        struct sim *sim = process_of(w)->sim;
        (void)deadline_ns;
        if (dead(w, err))
                return CODE_LINK_DEAD;
        for (struct listener *l = sim->listeners; l; l = l->next) {
                if (l->closed || l->owner->dead || strcmp(l->address, address) != 0 || l->n == 16)
                        continue;
                struct stream *s = calloc(1, sizeof *s);
                struct conn *c = calloc(1, sizeof *c);
                if (!s || !c) {
                        free(s);
                        free(c);
                        return tp_fail_memory(err);
                }
                for (int i = 0; i < 2; i++)
                        s->ends[i].last = &s->ends[i].first;
                s->ends[0].owner = process_of(w);
                s->ends[1].owner = l->owner;
                s->next = sim->streams;
                sim->streams = s;
                c->stream = s;
                l->waiting[l->n++] = s;
                fiber_wake(l->accepts);
                *ret = c;
                return CODE_OK;
        }
        return tp_fail(err, CODE_LINK_DEAD, "%s: nobody listens there", address);
}

static enum code sim_read(const struct world *w, struct conn *c, void *ret, size_t n, int64_t deadline_ns, size_t *ret_n,
                          struct tp_error *err)
{
        struct sim *sim = process_of(w)->sim;
        struct end *me = &c->stream->ends[c->side], *far = &c->stream->ends[!c->side];
        for (;;) {
                struct piece *p = me->first;
                if (me->shut || process_of(w)->dead)
                        return tp_fail(err, CODE_CANCELLED, "the stream was shut down here");
                if (sim->now_ns >= deadline_ns)
                        return tp_fail(err, CODE_TIMED_OUT, "no byte in time");
                if (p && p->at_ns <= sim->now_ns) {
                        size_t take = p->n - p->taken < n ? p->n - p->taken : n;
                        if (take > 64 && (draw(&sim->net_draws) & 15) == 0)
                                take = 1 + draw(&sim->net_draws) % take;
                        memcpy(ret, p->bytes + p->taken, take);
                        p->taken += take;
                        if (p->taken == p->n) {
                                me->first = p->next;
                                if (!me->first)
                                        me->last = &me->first;
                                free(p);
                        }
                        *ret_n = take;
                        return CODE_OK;
                }
                if (!p && (c->stream->cut || far->closed || far->shut || far->owner->dead))
                        return tp_fail(err, CODE_LINK_DEAD, "the other side is gone");
                me->reads = sim->current;
                fiber_wait(sim, p && p->at_ns < deadline_ns ? p->at_ns : deadline_ns);
                me->reads = NULL;
        }
}

static enum code sim_write(const struct world *w, struct conn *c, const void *bytes, size_t n, int64_t deadline_ns, struct tp_error *err)
{
        struct sim *sim = process_of(w)->sim;
        struct end *me = &c->stream->ends[c->side], *far = &c->stream->ends[!c->side];
        (void)deadline_ns;
        if (dead(w, err))
                return CODE_LINK_DEAD;
        if (c->stream->cut || me->shut || far->closed || far->owner->dead)
                return tp_fail(err, CODE_LINK_DEAD, "the other side is gone");
        struct piece *p = malloc(sizeof *p + n);
        if (!p)
                return tp_fail_memory(err);
        int64_t delay = 20000 + (int64_t)(draw(&sim->net_draws) % 200000);
        p->next = NULL;
        p->n = n;
        p->taken = 0;
        p->at_ns = sim->now_ns + delay;
        struct piece *before = far->first;
        while (before && before->next)
                before = before->next;
        if (before && before->at_ns > p->at_ns)
                p->at_ns = before->at_ns; /* a stream keeps its order */
        memcpy(p->bytes, bytes, n);
        *far->last = p;
        far->last = &p->next;
        fiber_wake(far->reads);
        return CODE_OK;
}

static void sim_shutdown(const struct world *w, struct conn *c)
{
        (void)w;
        c->stream->ends[c->side].shut = true;
        fiber_wake(c->stream->ends[c->side].reads);
        fiber_wake(c->stream->ends[!c->side].reads);
}

static void end_free(struct end *e)
{
        for (struct piece *next, *p = e->first; p; p = next) {
                next = p->next;
                free(p);
        }
        e->first = NULL;
        e->last = &e->first;
}

static void stream_drop_if_done(struct sim *sim, struct stream *s)
{
        if (!s->ends[0].closed || !s->ends[1].closed)
                return;
        for (struct stream **at = &sim->streams; *at; at = &(*at)->next)
                if (*at == s) {
                        *at = s->next;
                        break;
                }
        end_free(&s->ends[0]);
        end_free(&s->ends[1]);
        free(s);
}

static void sim_close(const struct world *w, struct conn *c)
{
        if (!c)
                return;
        struct stream *s = c->stream;
        s->ends[c->side].closed = true;
        fiber_wake(s->ends[!c->side].reads);
        stream_drop_if_done(process_of(w)->sim, s);
        free(c);
}

static int64_t sim_peer_uid(const struct world *w, struct conn *c)
{
        (void)w;
        (void)c;
        return 0;
}

void streams_end_of(struct sim *sim, const struct sim_process *owner)
{
        for (struct stream *s = sim->streams; s; s = s->next) {
                if (owner && s->ends[0].owner != owner && s->ends[1].owner != owner)
                        continue;
                s->cut = true;
                for (int i = 0; i < 2; i++)
                        fiber_wake(s->ends[i].reads);
        }
        for (struct listener *l = sim->listeners; l; l = l->next)
                if (!owner || l->owner == owner)
                        fiber_wake(l->accepts);
}

void streams_free(struct sim *sim)
{
        for (struct stream *next, *s = sim->streams; s; s = next) {
                next = s->next;
                end_free(&s->ends[0]);
                end_free(&s->ends[1]);
                free(s);
        }
        sim->streams = NULL;
}

const struct net_ops sim_net_ops = {sim_listen, sim_accept,   sim_close_listener, sim_connect, sim_read,
                                    sim_write,  sim_shutdown, sim_close,          sim_peer_uid};
