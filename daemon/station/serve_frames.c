/* serve_frames.c: what each frame means to the station.  Runs on the connection's reading task.
 * Who may     SAFE: whoever may open the socket.  HELLO: the daemon's user.  Everything else: the holder of the lease, with the epoch in
 * force. */
#include "station/serve_own.h"
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { STATUS_MS = 250 };

static void refuse(struct client *c, uint64_t step, enum code code, const char *text)
{
        struct refusal r = {.code = (int32_t)code};
        plain_text(r.text, sizeof r.text, text);
        station_lock(c->st);
        client_send_object_locked(c, FRAME_REFUSED, step, &refusal_object, &r);
        station_unlock(c->st);
        log_event(c->st->log, LOG_WARN, "station.refused", "uid=%lld step=%" PRIu64 " msg=\"%s\"", (long long)c->uid, step, r.text);
}

/* ---- HELLO ---- */

static void open_step_locked(const struct station *st, struct welcome *w)
{
        for (const struct held *h = st->held; h; h = h->next) {
                if (w->open_step && h->state != HELD_DOING)
                        continue; /* the oldest that is held, but a step in hand before all */
                w->open_step = h->step;
                snprintf(w->open_state, sizeof w->open_state, "%s", held_word(h));
        }
}

static void welcome_locked(struct client *c, bool granted)
{
        struct station *st = c->st;
        struct welcome_body b = {.welcome = {.epoch = st->lease.epoch,
                                             .granted = granted,
                                             .boot_count = st->boot_count,
                                             .station_ns = station_now_ns(st),
                                             .simulated = st->roles.tick != NULL}};
        struct welcome *w = &b.welcome;
        plain_text(w->build, sizeof w->build, st->config->build);
        plain_text(w->station, sizeof w->station, st->config->name);
        memcpy(w->boot, st->boot, sizeof w->boot);
        station_state_locked(st, &w->state);
        if (!st->last_told)
                w->last = st->last;
        w->walks = st->told_walks;
        open_step_locked(st, w);
        if (st->roles.can)
                b.can = *st->roles.can;
        w->replayed = b.can.replayed;
        client_send_object_locked(c, FRAME_WELCOME, 0, &welcome_body_object, &b);
}

/* A walk that is on ends first, so that the daemon is told one whole story. */
static void wait_for_walk(struct station *st)
{
        for (;;) {
                station_lock(st);
                bool on = st->ladder_on && !st->stopping;
                station_unlock(st);
                if (!on)
                        return;
                st->w->task->sleep_until(st->w, world_boot_ns(st->w) + 10 * NS_PER_MS);
        }
}

static void on_hello(struct client *c, const struct frame *f)
{
        struct station *st = c->st;
        struct hello hello;
        struct tp_error err = {0};
        if (fields_read_text(&hello_object, text_of(&f->body), f->body.n, NULL, &hello, &err)) {
                refuse(c, 0, err.code, err.text);
                return;
        }
        wait_for_walk(st);
        station_lock(st);
        if (st->holder == c || !st->holder) { /* greeting again starts over; the lease of a daemon that is gone goes to the next one */
                st->holder = NULL;
                lease_drop(&st->lease);
        }
        enum lease_answer answer =
                st->stopping ? LEASE_REFUSED_BUSY : lease_ask(&st->lease, (uint32_t)hello.epoch, world_boot_ns(st->w), LEASE_NS);
        if (answer == LEASE_GRANTED) {
                st->holder = c;
                c->greeted = true;
                c->epoch = st->lease.epoch;
        }
        if (answer != LEASE_REFUSED_BUSY)
                welcome_locked(c, answer == LEASE_GRANTED);
        uint32_t epoch = st->lease.epoch;
        station_unlock(st);
        if (answer == LEASE_REFUSED_BUSY)
                refuse(c, 0, CODE_BUSY, "another daemon holds the station; stop it, or wait until its lease of 2.5 s runs out");
        if (answer != LEASE_GRANTED)
                return;
        memory_epoch(st->memory, epoch);
        log_event(st->log, LOG_INFO, "station.lease", "epoch=%" PRIu32 " uid=%lld msg=\"granted to build %s\"", epoch, (long long)c->uid,
                  hello.build);
}

/* ---- the holder's frames ---- */

static void on_renew(struct client *c)
{
        struct station *st = c->st;
        int64_t now = world_boot_ns(st->w);
        if (c->status_ns && now - c->status_ns < STATUS_MS * NS_PER_MS)
                return;
        c->status_ns = now;
        struct station_event e = {.what = "status", .station_ns = station_now_ns(st)};
        station_lock(st);
        station_state_locked(st, &e.state);
        e.proven_safe = hazard_safe(&st->limits, &st->hazard);
        e.walks = st->told_walks;
        client_send_object_locked(c, FRAME_STATUS, 0, &station_event_object, &e);
        station_unlock(st);
}

static double least(double a, double b) { return b > 0 && b < a ? b : a; }

static enum code setup_read(struct station *st, const struct frame *f, struct setup_in_force *ret, struct tp_error *err)
{
        cJSON *json = NULL;
        enum code code = json_read(text_of(&f->body), f->body.n, 4, &json, err);
        const cJSON *recipe = cJSON_GetObjectItemCaseSensitive(json, "recipe");
        struct arena *arena = arena_new((size_t)256 << 20);
        struct recipe *found = NULL;
        if (!code && !cJSON_IsString(recipe))
                code = tp_fail_at(err, CODE_BAD_INPUT, "/recipe", "setup: the recipe must be given as one text");
        if (!code && !arena)
                code = tp_fail_memory(err);
        if (!code)
                code = recipe_read(recipe->valuestring, strlen(recipe->valuestring), arena, &found, err);
        cJSON_Delete(json);
        if (code) {
                arena_free(arena);
                return code;
        }
        struct limits limits = st->limits; /* a recipe narrows, it never widens */
        limits.overtravel_um_max = least(limits.overtravel_um_max, found->setup.overtravel_um + found->mandate.overtravel_extra_um_max);
        limits.volt_max = found->max_volt >= 0 && found->max_volt < limits.volt_max ? found->max_volt : limits.volt_max;
        *ret = (struct setup_in_force){.arena = arena, .recipe = found, .limits = limits};
        return CODE_OK;
}

static void on_setup(struct client *c, const struct frame *f)
{
        struct station *st = c->st;
        struct setup_in_force fresh, old;
        struct tp_error err = {0};
        if (setup_read(st, f, &fresh, &err)) {
                tp_where(&err, "setup");
                refuse(c, 0, err.code, err.text);
                return;
        }
        station_lock(st);
        bool busy = st->doing;
        old = busy ? fresh : st->setup;
        if (!busy)
                st->setup = fresh;
        station_unlock(st);
        arena_free(old.arena);
        if (busy)
                refuse(c, 0, CODE_BUSY, "setup: a step is in hand; send it between two steps");
}

static void work_free(struct message *m) { free(m); }

static enum code step_read(const struct frame *f, struct work *ret, struct tp_error *err)
{
        cJSON *json = NULL;
        enum code code = json_read(text_of(&f->body), f->body.n, JSON_DEPTH_MAX, &json, err);
        cJSON *kind = code ? NULL : cJSON_DetachItemFromObjectCaseSensitive(json, "kind");
        cJSON *walks = code ? NULL : cJSON_DetachItemFromObjectCaseSensitive(json, "walks");
        ret->kind = STEP_NONE;
        for (int i = 1; i < STEP_KIND_COUNT && cJSON_IsString(kind); i++)
                if (step_rows[i].by_station && strcmp(step_rows[i].word, kind->valuestring) == 0)
                        ret->kind = (enum step_kind)i;
        if (!code && ret->kind == STEP_NONE)
                code = tp_fail_at(err, CODE_BAD_INPUT, "/kind", "step: kind \"%.40s\" is none of the station's",
                                  cJSON_IsString(kind) ? kind->valuestring : "");
        if (!code && !(cJSON_IsNumber(walks) && walks->valuedouble >= 0 && walks->valuedouble < 0x1p53))
                code = tp_fail_at(err, CODE_BAD_INPUT, "/walks",
                                  "step: walks must be the number of the last walk that its sender has heard of");
        if (!code)
                ret->walks = (uint64_t)walks->valuedouble;
        if (!code)
                code = fields_read(&step_args_object, json, NULL, &ret->args, err);
        cJSON_Delete(walks);
        cJSON_Delete(kind);
        cJSON_Delete(json);
        return code;
}

/* A step whose id the station has met is never acted on again: what became of it is said once more. */
static bool known_locked(struct client *c, uint64_t step, enum fate fate)
{
        struct held *h = held_find(c->st->held, step);
        if (h) {
                if (h->state != HELD_DOING)
                        client_send_held_locked(c, h);
                return true;
        }
        if (fate == FATE_NEVER)
                return false;
        struct result r = {.code = CODE_STATE,
                           .station_ns = station_now_ns(c->st),
                           .station_boot = c->st->boot_count,
                           .temperature_c = (double)NAN,
                           .dc_ohm = {-1, -1, -1}};
        snprintf(r.text, sizeof r.text, "step %" PRIu64 " was done and acknowledged; it is never done again", step);
        station_state_locked(c->st, &r.state);
        client_send_object_locked(c, FRAME_RESULT, step, &result_object, &r);
        return true;
}

static void on_step(struct client *c, const struct frame *f)
{
        struct station *st = c->st;
        struct tp_error err = {0};
        struct work *work = calloc(1, sizeof *work);
        struct held *held = held_new(f->step, c->epoch);
        enum code code = work && held ? step_read(f, work, &err) : tp_fail_memory(&err);
        if (!code && f->step == 0)
                code = tp_fail(&err, CODE_BAD_INPUT, "step: id 0 names no intention");
        enum fate fate = code ? FATE_NEVER : memory_fate(st->memory, f->step);
        uint64_t dropped = 0;
        bool known = false;
        station_lock(st);
        if (!code)
                known = known_locked(c, f->step, fate);
        if (!code && !known && st->stopping)
                code = tp_fail(&err, CODE_BUSY, "step %" PRIu64 ": the station is being stopped", f->step);
        if (!code && !known && work->walks != st->walks)
                code = tp_fail(&err, CODE_CANCELLED,
                               "step %" PRIu64 ": the station went to safety after this step was decided; nothing was done", f->step);
        if (!code && !known && st->doing)
                code = tp_fail(&err, CODE_BUSY, "step %" PRIu64 ": another step is in hand; one at a time", f->step);
        if (!code && !known && !held_make_room(&st->held, c->epoch, &dropped))
                code = tp_fail(&err, CODE_BUSY, "step %" PRIu64 ": %d results wait for their acknowledgement; commit and acknowledge them",
                               f->step, HELD_STEPS_MAX);
        if (!code && !known) {
                work->message.kind = WORK_STEP;
                work->message.free = work_free;
                work->step = f->step;
                held->result.kind = (int32_t)work->kind;
                held_add(&st->held, held);
                if (st->w->task->post(st->w, st->work_in, &work->message)) {
                        st->doing = true;
                        work = NULL;
                } else {
                        held_forget(&st->held, f->step);
                        code = tp_fail(&err, CODE_BUSY, "step %" PRIu64 ": the worker's queue is full", f->step);
                }
                held = NULL;
        }
        station_unlock(st);
        free(work);
        held_free(held);
        if (dropped)
                log_event(st->log, LOG_WARN, "station.held",
                          "step=%" PRIu64 " msg=\"never acknowledged by an older daemon, its result was dropped\"", dropped);
        if (code)
                refuse(c, f->step, code, err.text);
}

static void on_did(struct client *c, uint64_t step)
{
        struct station *st = c->st;
        struct did did = {{0}};
        enum fate fate = memory_fate(st->memory, step);
        station_lock(st);
        struct held *h = held_find(st->held, step);
        snprintf(did.state, sizeof did.state, "%s", h ? held_word(h) : fate == FATE_NEVER ? "never" : "done");
        client_send_object_locked(c, FRAME_DID_REPLY, step, &did_object, &did);
        if (!(h && h->state == HELD_DOING))
                known_locked(c, step, fate);
        station_unlock(st);
}

static void on_ack(struct client *c, uint64_t step)
{
        struct station *st = c->st;
        station_lock(st);
        struct held *h = held_find(st->held, step);
        bool mine = h && h->state != HELD_DOING;
        if (mine)
                held_forget(&st->held, step);
        station_unlock(st);
        if (mine)
                memory_ack(st->memory, step);
}

static void on_release(struct client *c, bool *ret_end)
{
        struct station *st = c->st;
        station_lock(st);
        bool mine = st->holder == c;
        if (mine) {
                st->holder = NULL;
                lease_drop(&st->lease);
                c->epoch = 0;
        }
        bool safe = hazard_safe(&st->limits, &st->hazard) && !st->doing;
        station_unlock(st);
        if (mine && !safe)
                watch_post(st, SAFETY_LOST, 0, "the daemon gave its lease back without being proven safe");
        *ret_end = true;
}

static void on_clear(struct client *c, const struct frame *f)
{
        struct station *st = c->st;
        struct clear clear;
        struct tp_error err = {0};
        struct station_event e = {.what = "cleared"};
        char text[160];
        if (fields_read_text(&clear_object, text_of(&f->body), f->body.n, NULL, &clear, &err) || !clear.who[0]) {
                refuse(c, 0, CODE_BAD_INPUT, err.text[0] ? err.text : "clear: a latch is cleared by a person; give a name");
                return;
        }
        snprintf(text, sizeof text, "%s looked and cleared the latch; what is unknown stays unknown", clear.who);
        plain_text(e.text, sizeof e.text, text);
        e.station_ns = station_now_ns(st);
        station_lock(st);
        st->hazard.latched = false;
        station_state_locked(st, &e.state);
        e.proven_safe = hazard_safe(&st->limits, &st->hazard);
        e.walks = st->told_walks;
        client_send_object_locked(c, FRAME_EVENT, 0, &station_event_object, &e);
        station_unlock(st);
        memory_latch(st->memory, false, clear.who);
        log_event(st->log, LOG_WARN, "station.cleared", "msg=\"%s\"", e.text);
}

/* ---- who may ---- */

static bool may(struct client *c, const struct frame *f)
{
        struct station *st = c->st;
        char text[160];
        if (st->config->daemon_uid >= 0 && c->uid != st->config->daemon_uid) {
                snprintf(text, sizeof text, "user %lld may only ask for safe; the daemon's user is %lld", (long long)c->uid,
                         (long long)st->config->daemon_uid);
                refuse(c, f->step, CODE_FORBIDDEN, text);
                return false;
        }
        if (f->kind == FRAME_HELLO)
                return true;
        station_lock(st);
        bool holds = st->holder == c && f->epoch == st->lease.epoch && !lease_lapsed(&st->lease, world_boot_ns(st->w));
        if (holds) {
                lease_renew(&st->lease, world_boot_ns(st->w), LEASE_NS);
                st->last_told = true; /* it has read its welcome */
        }
        uint32_t now = st->lease.epoch;
        station_unlock(st);
        if (holds)
                return true;
        snprintf(text, sizeof text,
                 "epoch %" PRIu32 " does not hold the lease, epoch %" PRIu32 " is in force; greet again with a greater one", f->epoch, now);
        refuse(c, f->step, CODE_STATE, text);
        return false;
}

void frame_obey(struct client *c, const struct frame *f, bool *ret_end)
{
        char why[160];
        if (f->kind == FRAME_SAFE) {
                snprintf(why, sizeof why, "user %lld asked for it", (long long)c->uid);
                if (!watch_post(c->st, SAFETY_SAFE, c->n, why))
                        refuse(c, 0, CODE_BUSY, "safe: the ladder could not be asked for; try again");
                return;
        }
        if (!may(c, f))
                return;
        switch ((enum frame_kind)f->kind) {
        case FRAME_HELLO:
                on_hello(c, f);
                return;
        case FRAME_RENEW:
                on_renew(c);
                return;
        case FRAME_SETUP:
                on_setup(c, f);
                return;
        case FRAME_STEP:
                on_step(c, f);
                return;
        case FRAME_DID:
                on_did(c, f->step);
                return;
        case FRAME_ACK:
                on_ack(c, f->step);
                return;
        case FRAME_RELEASE:
                on_release(c, ret_end);
                return;
        case FRAME_CLEAR:
                on_clear(c, f);
                return;
        case FRAME_SAFE:
        case FRAME_NONE:
        case FRAME_WELCOME:
        case FRAME_REFUSED:
        case FRAME_TRACE:
        case FRAME_RESULT:
        case FRAME_DID_REPLY:
        case FRAME_EVENT:
        case FRAME_SAFE_DONE:
        case FRAME_STATUS:
                break;
        }
        snprintf(why, sizeof why, "frame kind %u means nothing to a station; install the same release on both ends", f->kind);
        refuse(c, f->step, CODE_BAD_INPUT, why);
}

/* Without bias nothing burns while the lease runs out: the step in hand ends and its result is kept, and a daemon that is started again
   within the lease finds the probes where they were, so that its death costs no touch.  With bias, or on the way there, the ladder begins
   at once. */
static bool may_wait_for_lease_locked(const struct station *st)
{
        for (const struct held *h = st->held; h; h = h->next)
                if (h->state == HELD_DOING && h->result.kind == STEP_BIAS_ON)
                        return false;
        return hazard_bias_off(&st->hazard) && !lease_lapsed(&st->lease, world_boot_ns(st->w));
}

void client_gone(struct client *c)
{
        struct station *st = c->st;
        station_lock(st);
        bool held = st->holder == c, waits = false;
        if (held) {
                st->holder = NULL;
                waits = may_wait_for_lease_locked(st);
                if (!waits)
                        lease_drop(&st->lease);
        }
        bool stopping = st->stopping;
        station_unlock(st);
        if (held && !waits && !stopping && !watch_post(st, SAFETY_LOST, 0, "the daemon's connection ended"))
                log_event(st->log, LOG_ERROR, "station.lost", "msg=\"the watcher could not be told that the daemon is gone\"");
}
