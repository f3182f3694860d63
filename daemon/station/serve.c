/* serve.c: starts and stops the station's tasks, in mirror order. */
#include "station/serve_own.h"
#include "station/driver_table.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void station_lock(struct station *st) { st->w->task->lock(st->w, st->lock); }
void station_unlock(struct station *st) { st->w->task->unlock(st->w, st->lock); }

int64_t station_now_ns(struct station *st)
{
        return st->roles.tick ? st->roles.tick(st->roles.tick_me) : world_boot_ns(st->w) - st->started_ns;
}

void station_pause(struct station *st, int64_t ns)
{
        if (st->roles.wait)
                st->roles.wait(st->roles.tick_me, ns);
        else
                st->w->task->sleep_until(st->w, world_boot_ns(st->w) + ns);
}

void station_state_locked(const struct station *st, struct state_read *ret)
{
        hazard_to_state(&st->hazard, ret);
        ret->x_um = st->x_um;
        ret->y_um = st->y_um;
}

void station_state(struct station *st, struct state_read *ret, bool *ret_proven_safe)
{
        station_lock(st);
        station_state_locked(st, ret);
        *ret_proven_safe = hazard_safe(&st->limits, &st->hazard) && !st->hazard.latched;
        station_unlock(st);
}

void plain_text(char *to, size_t size, const char *from)
{
        size_t n = 0;
        for (; from[n] && n + 1 < size; n++)
                to[n] = (unsigned char)from[n] >= 0x20 && (unsigned char)from[n] < 0x7F ? from[n] : '?';
        to[n] = 0;
}

static enum code open_driver(struct station *st, struct tp_error *err)
{
        const struct station_config *c = st->config;
        const struct driver_row *rows = c->drivers ? c->drivers : driver_rows;
        size_t n = c->drivers ? c->driver_n : driver_row_n;
        struct text words;
        for (size_t i = 0; i < n; i++) {
                if (strcmp(rows[i].word, c->driver) != 0)
                        continue;
                enum code code = rows[i].open(st->w, c->driver_json, c->driver_json_n, c->base_dir, &st->roles, err);
                return code ? tp_where(err, "driver %s", c->driver) : CODE_OK;
        }
        text_init(&words, 200);
        for (size_t i = 0; i < n; i++)
                text_f(&words, "%s%s", i ? ", " : "", rows[i].word);
        enum code code = tp_fail_at(err, CODE_BAD_INPUT, "/driver", "/driver: \"%s\" is none of: %s", c->driver, text_of(&words));
        text_done(&words);
        return code;
}

/* Steps that an earlier process of this station began and nobody acknowledged: their results are lost, and said to be. */
static enum code hold_interrupted(struct station *st, const struct memory_start *start, struct tp_error *err)
{
        for (size_t i = 0; i < start->unfinished_n; i++) {
                struct held *h = held_new(start->unfinished[i], 0);
                if (!h)
                        return tp_fail_memory(err);
                h->state = HELD_INTERRUPTED;
                h->result = (struct result){
                        .code = CODE_CANCELLED,
                        .effect_unknown = true,
                        .station_boot = st->boot_count,
                        .temperature_c = (double)NAN,
                        .dc_ohm = {-1, -1, -1},
                        .text = "the station was started again before this step's result was acknowledged; the result is lost"};
                held_add(&st->held, h);
        }
        return CODE_OK;
}

static void first_walk(struct station *st)
{
        station_look(st, true, NULL);
        station_walk(st, "boot", "the station was started");
        station_lock(st);
        for (struct held *h = st->held; h; h = h->next) {
                station_state_locked(st, &h->result.state);
                h->result.station_ns = station_now_ns(st);
        }
        station_unlock(st);
}

static enum code start_tasks(struct station *st, const char *address, struct tp_error *err)
{
        const struct task_ops *t = st->w->task;
        if (!(st->watch_task = t->start(st->w, "station-watch", watch_run, st)) ||
            !(st->work_task = t->start(st->w, "station-work", work_run, st)))
                return tp_fail(err, CODE_MEMORY, "a task of the station could not be started");
        enum code code = st->w->net->listen(st->w, address, &st->listener, err);
        if (code)
                return code;
        if (!(st->accept_task = t->start(st->w, "station-accept", accept_run, st)))
                return tp_fail(err, CODE_MEMORY, "a task of the station could not be started");
        return CODE_OK;
}

static enum code begin(struct station *st, const char *address, struct tp_error *err)
{
        const struct task_ops *t = st->w->task;
        struct memory_start start;
        st->lock = t->lock_new(st->w);
        st->work_in = t->inbox_new(st->w, WORK_LIMIT);
        st->safety_in = t->inbox_new(st->w, WORK_LIMIT);
        st->work_reply = t->inbox_new(st->w, 0);
        if (!st->lock || !st->work_in || !st->safety_in || !st->work_reply)
                return tp_fail_memory(err);
        enum code code = open_driver(st, err);
        if (code)
                return code;
        st->limits = st->setup.limits = station_limits(st->config, st->roles.bias ? st->roles.bias->channels : 0);
        if (!st->config->log[0])
                return tp_fail(err, CODE_BAD_INPUT, "the station has no log; give \"log\" in its file, or --log FILE");
        code = memory_open(st->w, st->config->log, st->config->build, st->log, &st->memory, &start, err);
        if (code)
                return code;
        st->boot_count = start.boot_count;
        st->lease.epoch = start.epoch;
        st->walks = st->told_walks = (uint64_t)start.boot_count << 20; /* exact in a JSON number for 2^32 boots of a million walks */
        st->last = start.last;
        st->hazard.latched = start.latched;
        code = hold_interrupted(st, &start, err);
        if (code)
                return code;
        first_walk(st);
        return start_tasks(st, address, err);
}

struct station *station_start(const struct world *w, const struct station_config *config, const char *address, const struct log *log,
                              struct tp_error *err)
{
        struct station *st = calloc(1, sizeof *st);
        if (!st) {
                tp_fail_memory(err);
                return NULL;
        }
        st->w = w;
        st->config = config;
        st->log = log;
        st->started_ns = world_boot_ns(w);
        cancel_init(&st->cancel);
        world_random(w, st->boot, sizeof st->boot);
        hazard_init(&st->hazard, 0);
        if (begin(st, address, err)) {
                tp_where(err, "station %s", config->name);
                station_stop(st);
                return NULL;
        }
        log_event(log, LOG_INFO, "station.up", "station=%s boot=%u msg=\"listening at %s\"", config->name, st->boot_count, address);
        return st;
}

static void message_free(struct message *m) { free(m); }

static void quit_worker(struct station *st)
{
        struct work *quit;
        while (!(quit = calloc(1, sizeof *quit)))
                st->w->task->sleep_until(st->w, world_boot_ns(st->w) + 10 * NS_PER_MS);
        quit->message.kind = WORK_QUIT;
        quit->message.free = message_free;
        while (!st->w->task->post(st->w, st->work_in, &quit->message))
                st->w->task->sleep_until(st->w, world_boot_ns(st->w) + 10 * NS_PER_MS);
        st->w->task->join(st->w, st->work_task);
}

static void quit_watcher(struct station *st)
{
        while (!watch_post(st, SAFETY_QUIT, 0, ""))
                st->w->task->sleep_until(st->w, world_boot_ns(st->w) + 10 * NS_PER_MS);
        st->w->task->join(st->w, st->watch_task);
}

/* The walk is over before anybody is cut off, so that the daemon hears of its end. */
static void walk_to_the_end(struct station *st)
{
        station_lock(st);
        st->stopping = true;
        bool safe = hazard_safe(&st->limits, &st->hazard) && !st->doing && !st->ladder_on;
        uint64_t walks = st->walks;
        station_unlock(st);
        if (safe || !st->watch_task)
                return;
        while (!watch_post(st, SAFETY_SAFE, 0, "the station is being stopped"))
                st->w->task->sleep_until(st->w, world_boot_ns(st->w) + 10 * NS_PER_MS);
        for (bool over = false; !over;) {
                st->w->task->sleep_until(st->w, world_boot_ns(st->w) + 5 * NS_PER_MS);
                station_lock(st);
                over = st->walks != walks && !st->ladder_on;
                station_unlock(st);
        }
}

void station_stop(struct station *st)
{
        if (!st)
                return;
        if (st->lock) {
                walk_to_the_end(st);
                if (st->accept_task)
                        st->w->task->join(st->w, st->accept_task);
                if (st->listener)
                        st->w->net->close_listener(st->w, st->listener);
                clients_stop(st);
                if (st->work_task)
                        quit_worker(st);
                if (st->watch_task)
                        quit_watcher(st);
        }
        memory_close(st->memory);
        if (st->roles.close)
                st->roles.close(&st->roles);
        held_clear(&st->held);
        arena_free(st->setup.arena);
        struct inbox *boxes[] = {st->work_reply, st->safety_in, st->work_in};
        for (size_t i = 0; i < sizeof boxes / sizeof *boxes; i++)
                if (boxes[i])
                        st->w->task->inbox_free(st->w, boxes[i]);
        if (st->lock)
                st->w->task->lock_free(st->w, st->lock);
        free(st);
}
