/* serve_watch.c: the task that watches lease and interlock loop, and the only one that walks the ladder.
 * A walk      no step may act any more · the call in flight is cancelled · half a second for it to come back · rung by rung as
 *             ladder_next() says · the proof goes to the log and to the daemon.
 * Invariants  it waits for no socket, no disk, no other task but those drivers' calls, and for these not longer than their deadlines. */
#include "station/serve_own.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void safety_free(struct message *m) { free(m); }

bool watch_post(struct station *st, enum safety_kind kind, uint64_t client, const char *why)
{
        struct safety *s = calloc(1, sizeof *s);
        if (!s)
                return false;
        s->message.kind = (int)kind;
        s->message.free = safety_free;
        s->client = client;
        snprintf(s->why, sizeof s->why, "%s", why);
        if (st->w->task->post(st->w, st->safety_in, &s->message))
                return true;
        free(s);
        return false;
}

static int64_t rung_deadline_ns(enum op_kind kind) { return (kind == OP_SEPARATE ? 10 : kind == OP_BIAS_ZERO ? 5 : 2) * NS_PER_S; }

static void wait_for_calls(struct station *st)
{
        int64_t until = world_boot_ns(st->w) + CANCEL_WAIT_MS * NS_PER_MS;
        for (;;) {
                bool any = false;
                station_lock(st);
                for (int i = 0; i < GATE_COUNT; i++)
                        any = any || st->busy[i];
                station_unlock(st);
                if (!any || world_boot_ns(st->w) >= until)
                        return;
                st->w->task->sleep_until(st->w, world_boot_ns(st->w) + GATE_POLL_MS * NS_PER_MS);
        }
}

static void tell(struct station *st, const char *what, const char *why, bool proven, const char *end, uint64_t step, int64_t begun_ns)
{
        struct station_event e = {.proven_safe = proven, .step = step, .station_ns = station_now_ns(st)};
        e.walk_s = (double)(e.station_ns - begun_ns) * 1e-9;
        char text[400];
        snprintf(e.what, sizeof e.what, "%s", proven ? what : "latched");
        snprintf(text, sizeof text, "%s; %s: %s", why, proven ? "proven safe" : "NOT proven safe, latched until a person clears it", end);
        plain_text(e.text, sizeof e.text, text);
        station_lock(st);
        station_state_locked(st, &e.state);
        st->told_walks = e.walks = st->walks; /* only this task walks: it is still the walk that ended */
        st->last = e;
        st->last_told = st->holder != NULL;
        if (st->holder)
                client_send_object_locked(st->holder, FRAME_EVENT, step, &station_event_object, &e);
        station_unlock(st);
        memory_event(st->memory, &e);
        if (!proven)
                memory_latch(st->memory, true, e.text);
        log_event(st->log, proven ? LOG_WARN : LOG_ERROR, "station.safety", "what=%s volt_max=%.3f z_um=%.1f msg=\"%s\"", e.what,
                  e.state.volt_max, e.state.z_um, e.text);
}

bool station_walk(struct station *st, const char *what, const char *why)
{
        struct actor who = {.ladder = true};
        struct op op;
        uint64_t step = 0;
        int64_t begun_ns = station_now_ns(st);
        station_lock(st);
        st->ladder_on = true;
        st->walks++;
        cancel_raise(&st->cancel);
        for (struct held *h = st->held; h; h = h->next)
                if (h->state == HELD_DOING)
                        step = h->step;
        station_unlock(st);
        wait_for_calls(st);
        station_lock(st);
        ladder_begin(&st->hazard, station_now_ns(st));
        station_unlock(st);
        for (;;) {
                struct acted acted;
                struct tp_error err = {0};
                station_lock(st);
                op = ladder_next(&st->limits, &st->hazard, station_now_ns(st));
                st->hazard.rung = op.rung;
                if (op.kind == OP_PROVEN || op.kind == OP_LATCH)
                        break;
                station_unlock(st);
                who.deadline_ns = world_boot_ns(st->w) + rung_deadline_ns(op.kind);
                if (station_act(st, &who, &op, NULL, &acted, &err))
                        log_event(st->log, LOG_WARN, "ladder.rung", "op=\"%s\" msg=\"%s\"", op_rows[op.kind].word, err.text);
        }
        interlock_settle(&st->hazard, &op, CODE_OK, NULL, station_now_ns(st)); /* still under the lock */
        st->hazard.rung = 0;
        st->ladder_on = false;
        station_unlock(st);
        tell(st, what, why, op.kind == OP_PROVEN, op.why, step, begun_ns);
        return op.kind == OP_PROVEN;
}

static void answer_safe(struct station *st, uint64_t client)
{
        station_lock(st);
        struct station_event e = st->last;
        for (struct client *c = st->clients; c; c = c->next)
                if (c->n == client && !c->ended)
                        client_send_object_locked(c, FRAME_SAFE_DONE, 0, &station_event_object, &e);
        station_unlock(st);
}

static void answer_step(struct station *st, bool proven)
{
        struct walked *a = calloc(1, sizeof *a);
        if (!a)
                return; /* the worker's own deadline ends its wait */
        a->message.kind = REPLY_WALKED;
        a->message.free = safety_free;
        a->proven = proven;
        if (!st->w->task->post(st->w, st->work_reply, &a->message))
                free(a);
}

/* The holder loses the lease: its connection is cut off, so that nothing of what it sends is obeyed until it greets again. */
static bool end_lapsed(struct station *st)
{
        bool lapsed = false;
        station_lock(st);
        if (lease_lapsed(&st->lease, world_boot_ns(st->w))) {
                lapsed = true;
                lease_drop(&st->lease);
        }
        station_unlock(st);
        return lapsed;
}

static void cut_holder(struct station *st)
{
        station_lock(st);
        if (st->holder) {
                struct client *c = st->holder;
                st->holder = NULL;
                c->epoch = 0;
                st->w->net->shutdown(st->w, c->conn);
        }
        station_unlock(st);
}

static void check_lease(struct station *st)
{
        if (!end_lapsed(st))
                return;
        station_walk(st, "lease", "the daemon did not renew its lease within 2.5 s");
        station_lock(st);
        st->last_told = false; /* whoever let the lease run out may never have read it */
        station_unlock(st);
        cut_holder(st);
}

static void check_loop(struct station *st)
{
        if (station_look(st, false, NULL)) {
                st->loop_answered = false;
                return;
        }
        if (!st->loop_answered) /* once for each opening: while it stays open nothing but the way out is admitted */
                station_walk(st, "interlock", "the interlock loop opened");
        st->loop_answered = true;
}

static bool is_holder(struct station *st, uint64_t client)
{
        station_lock(st);
        bool is = st->holder && st->holder->n == client;
        station_unlock(st);
        return is;
}

static void obey(struct station *st, struct safety *s, bool *ret_quit)
{
        switch ((enum safety_kind)s->message.kind) {
        case SAFETY_SAFE:
                station_walk(st, is_holder(st, s->client) ? "safe" : "asked", s->why);
                answer_safe(st, s->client);
                return;
        case SAFETY_STEP:
                answer_step(st, station_walk(st, "safe", s->why));
                return;
        case SAFETY_LOST:
                station_walk(st, "lease", s->why);
                station_lock(st);
                st->last_told = false;
                station_unlock(st);
                return;
        case SAFETY_LOOK:
                check_loop(st);
                return;
        case SAFETY_QUIT:
                *ret_quit = true;
                return;
        }
}

void watch_run(void *arg)
{
        struct station *st = arg;
        int64_t next_look = 0;
        bool has_loop = st->roles.signal && st->roles.signal->loop;
        for (bool quit = false; !quit;) {
                station_lock(st);
                int64_t until = st->lease.held ? st->lease.until_ns : INT64_MAX;
                station_unlock(st);
                /* a lease that is granted while this waits is looked at no later than the next poll */
                if (until > next_look || until > world_boot_ns(st->w) + LOOP_POLL_MS * NS_PER_MS)
                        until = world_boot_ns(st->w) + LOOP_POLL_MS * NS_PER_MS;
                struct message *m = st->w->task->take(st->w, st->safety_in, until);
                if (m) {
                        obey(st, (struct safety *)m, &quit);
                        m->free(m);
                }
                check_lease(st);
                if (has_loop && !quit && world_boot_ns(st->w) >= next_look) {
                        check_loop(st);
                        next_look = world_boot_ns(st->w) + LOOP_POLL_MS * NS_PER_MS;
                }
        }
}
