/* serve_step.c: the worker: one step at a time, from the operations it is made of.
 * Order       the log says "begun" before anything acts · operations, each admitted, settled and read back · the result is kept until the
 * daemon says that it is committed.  A motion that fails is stopped and the position read, so that the result says what is known now.
 * Invariants  a step id acts once, ever; a walk of the ladder in between makes the step "interrupted", and its result is written after the
 * walk. */
#include "station/serve_own.h"
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define POSITION_UM 10.0 /* further from where it was asked to go than this, a stage is somewhere else: ten times its repeatability */
#define SPACING_UM 1.0   /* likewise, between the signal tips */

struct doing {
        struct station *st;
        struct held *held;
        struct actor who;
        const struct step_args *args;
        struct acted last;
        struct tp_error err;
};

static enum code act(struct doing *d, struct op op) { return station_act(d->st, &d->who, &op, NULL, &d->last, &d->err); }

static enum code read_position(struct doing *d) { return act(d, (struct op){.kind = OP_WHERE}); }

/* Motion, then reading; a failed motion is stopped first, and the sentence kept is the first one. */
static enum code move(struct doing *d, struct op op)
{
        enum code code = act(d, op);
        if (!code)
                return read_position(d);
        struct tp_error first = d->err;
        if (code != CODE_INTERLOCK && code != CODE_CANCELLED) {
                if (!act(d, (struct op){.kind = OP_STOP}))
                        read_position(d);
        }
        d->err = first;
        return code;
}

static bool separated(struct doing *d)
{
        station_lock(d->st);
        bool yes = hazard_separated(&d->st->limits, &d->st->hazard);
        station_unlock(d->st);
        return yes;
}

static bool bias_off(struct doing *d)
{
        station_lock(d->st);
        bool yes = hazard_bias_off(&d->st->hazard);
        station_unlock(d->st);
        return yes;
}

static void read_meter(struct doing *d)
{
        struct tp_error first = d->err;
        if (d->st->roles.meter && !act(d, (struct op){.kind = OP_METER}))
                memcpy(d->held->result.dc_ohm, d->last.ohm, sizeof d->last.ohm);
        d->err = first; /* evidence that is missing is not a failure of the step: the ohms stay negative */
}

static enum code do_inventory(struct doing *d)
{
        struct tp_error first = {0};
        enum code worst = CODE_OK, code;
        station_look(d->st, true, d->who.cancel);
        if (d->st->roles.stage && (code = act(d, (struct op){.kind = OP_STOP})))
                worst = code, first = d->err;
        if (d->st->roles.stage && (code = read_position(d)) && !worst)
                worst = code, first = d->err;
        if ((code = act(d, (struct op){.kind = OP_READ_BIAS})) && !worst)
                worst = code, first = d->err;
        d->held->result.volt = d->last.volt;
        d->held->result.ampere = d->last.ampere;
        if (worst)
                d->err = first;
        return worst;
}

static enum code do_safe(struct doing *d)
{
        if (!watch_post(d->st, SAFETY_STEP, 0, "the daemon asked for it"))
                return tp_fail(&d->err, CODE_BUSY, "the ladder could not be asked for; try again");
        for (struct message *m; (m = d->st->w->task->take(d->st->w, d->st->work_reply, d->who.deadline_ns));) {
                bool mine = m->kind == REPLY_WALKED, proven = mine && ((struct walked *)m)->proven;
                m->free(m);
                if (!mine)
                        continue;
                if (proven)
                        return CODE_OK;
                station_lock(d->st);
                tp_fail(&d->err, CODE_INTERLOCK, "%s", d->st->last.text);
                station_unlock(d->st);
                return CODE_INTERLOCK;
        }
        return tp_fail(&d->err, CODE_TIMED_OUT, "the ladder did not end in time");
}

static enum code do_wait(struct doing *d)
{
        double s = d->args->wait_s;
        if (!(s >= 0 && s <= 24 * 3600))
                return tp_fail(&d->err, CODE_BAD_INPUT, "wait: %g s; 0 to 86400 s can be waited", s);
        int64_t left = (int64_t)(s * 1e9);
        while (left > 0) {
                int64_t slice = d->st->roles.wait ? NS_PER_S : 100 * NS_PER_MS,
                        piece = left < slice ? left : slice; /* short, so that safety need not wait */
                if (cancel_raised(d->who.cancel))
                        return tp_fail(&d->err, CODE_CANCELLED, "wait: the station went to safety meanwhile");
                station_pause(d->st, piece);
                left -= piece;
        }
        return CODE_OK;
}

/* What a step that changes something waits for afterwards; left out, nothing. */
static enum code settle(struct doing *d) { return d->args->wait_s > 0 ? do_wait(d) : CODE_OK; }

/* ---- spacing: the probes are moved apart or together only where a standard says so, and only up in the air ---- */
static enum code read_spacing(struct doing *d, double *ret_um)
{
        enum code code = act(d, (struct op){.kind = OP_READ_SPACING});
        *ret_um = code ? NAN : d->last.spacing_um;
        return code;
}

static enum code set_spacing(struct doing *d)
{
        double um, asked = d->args->spacing_um;
        enum code code = read_spacing(d, &um);
        if (code || fabs(um - asked) <= SPACING_UM)
                return code;
        d->who.deadline_ns += (int64_t)(fmin(fmax(d->args->wait_s, 0), 3600) * 1e9); /* decide's own clock ends it earlier */
        code = move(d, (struct op){.kind = OP_SPACING, .spacing_um = asked});
        if (!code)
                code = read_spacing(d, &um);
        if (!code && !(fabs(um - asked) <= SPACING_UM))
                code = tp_fail(&d->err, CODE_BAD_REPLY, "set spacing: the positioner reads %.1f um, asked was %.1f um; look at the probes",
                               um, asked);
        return code ? code : settle(d);
}

static enum code do_move(struct doing *d)
{
        const struct step_args *a = d->args;
        enum code code = a->spacing_um > 0 ? set_spacing(d) : CODE_OK;
        if (!code)
                code = move(d, (struct op){.kind = OP_MOVE, .place = a->place, .x_um = a->x_um, .y_um = a->y_um});
        const struct readback *rb = &d->last.rb;
        if (code)
                return code;
        if (rb->place == a->place && fabs(rb->x_um - a->x_um) <= POSITION_UM && fabs(rb->y_um - a->y_um) <= POSITION_UM)
                return CODE_OK;
        return tp_fail(&d->err, CODE_BAD_REPLY, "move: the stage reads %s %.1f, %.1f um, asked was %s %.1f, %.1f um; home and align again",
                       place_words[rb->place >= 0 && rb->place < PLACE_COUNT ? rb->place : 0], rb->x_um, rb->y_um, place_words[a->place],
                       a->x_um, a->y_um);
}

static enum code do_lower(struct doing *d)
{
        double um, asked_um = d->args->spacing_um;
        enum code code = asked_um > 0 ? read_spacing(d, &um) : CODE_OK;
        if (!code && asked_um > 0 && !(fabs(um - asked_um) <= SPACING_UM))
                return tp_fail(&d->err, CODE_INTERLOCK,
                               "lower: the probes stand %.1f um apart, this target wants %.1f um; move there first", um, asked_um);
        if (!code)
                code = move(d, (struct op){.kind = OP_LOWER, .overtravel_um = d->args->overtravel_um});
        if (code)
                return code;
        if (!d->last.rb.in_contact)
                return tp_fail(&d->err, CODE_BAD_REPLY,
                               "lower: asked for %.1f um of overtravel, the stage reads z = %.1f um and no contact; separate and look",
                               d->args->overtravel_um, d->last.rb.z_um);
        read_meter(d);
        return CODE_OK;
}

static enum code do_separate(struct doing *d)
{
        enum code code = move(d, (struct op){.kind = OP_SEPARATE});
        if (!code && !separated(d))
                return tp_fail(&d->err, CODE_BAD_REPLY, "separate: the stage reads z = %.1f um, which is no separation; ask for safe",
                               d->last.rb.z_um);
        return code;
}

static enum code bias_to_zero(struct doing *d)
{
        enum code code = act(d, (struct op){.kind = OP_BIAS_ZERO});
        for (int i = 0; !code && i < 10; i++) { /* tees discharge in up to half a second */
                code = act(d, (struct op){.kind = OP_READ_BIAS, .channel = (unsigned)d->args->channel});
                if (code || bias_off(d))
                        break;
                station_pause(d->st, 100 * NS_PER_MS);
        }
        d->held->result.volt = d->last.volt;
        d->held->result.ampere = d->last.ampere;
        if (!code && !bias_off(d))
                return tp_fail(&d->err, CODE_BAD_REPLY, "bias off: a channel still reads %.2f V a second after it was set to 0",
                               d->last.rb.volt_max);
        return code;
}

static enum code bias_look(struct doing *d, unsigned channel)
{
        enum code code = act(d, (struct op){.kind = OP_READ_BIAS, .channel = channel});
        if (!code) {
                d->held->result.volt = d->last.volt;
                d->held->result.ampere = d->last.ampere;
        }
        return code;
}

/* What it was read as is kept, and all go down. */
static enum code bias_refuse(struct doing *d, const struct op *set)
{
        double volt = d->last.volt, ampere = d->last.ampere;
        bias_to_zero(d);
        d->held->result.volt = volt;
        if (set->by_current)
                return tp_fail(&d->err, CODE_BAD_REPLY,
                               "set bias: channel %u reads %.3g A at %.3f V, asked was %.3g A (limit %.3f V); bias was taken back to zero",
                               set->channel, ampere, volt, set->limit_a, set->volt);
        return tp_fail(&d->err, CODE_BAD_REPLY,
                       "set bias: channel %u reads %.3f V at %.3g A, asked was %.3f V (limit %.3g A); bias was taken back to zero",
                       set->channel, volt, ampere, set->volt, set->limit_a);
}

/* One channel read back; if it does not stand where it was set, all go down. */
static enum code bias_stands(struct doing *d, const struct op *set)
{
        enum code code = bias_look(d, set->channel);
        if (code)
                return code;
        double off_v = fabs(d->last.volt - set->volt), off_a = fabs(d->last.ampere - set->limit_a);
        bool stands = set->by_current ? off_a <= 1e-6 + 0.02 * fabs(set->limit_a) && fabs(d->last.volt) < set->volt
                                      : off_v <= 0.1 + 0.02 * fabs(set->volt);
        return stands ? CODE_OK : bias_refuse(d, set);
}

static enum code bias_up(struct doing *d, const struct op *set, int32_t channel)
{
        if (channel < 0)
                return tp_fail(&d->err, CODE_INTERLOCK, "set bias: channel %d; channels count from 0", (int)channel);
        enum code code = act(d, *set);
        return code ? code : bias_stands(d, set);
}

/* A gate before its drain: a drain above an unbiased gate may conduct all it can.  A collector before its base, whose current would else go
   to the collector's diode alone; and the collector is looked at again once it conducts, for its own limit. */
static enum code do_bias_on(struct doing *d)
{
        const struct step_args *a = d->args;
        bool base = a->gate_by_current, gate = !base && a->gate_limit_a > 0;
        struct op before = {.kind = OP_BIAS_SET, .channel = (unsigned)a->gate_channel, .volt = a->gate_volt, .limit_a = a->gate_limit_a},
                  main = {.kind = OP_BIAS_SET, .channel = (unsigned)a->channel, .volt = a->volt, .limit_a = a->limit_a}, last = before;
        last.by_current = true;
        if (a->open_v > 0) { /* an open collector holds no current */
                main.by_current = true;
                main.volt = a->open_v;
                main.limit_a = 0;
        }
        bool has_main = a->volt != 0 || a->open_v > 0 || (!gate && !base);
        enum code code = gate ? bias_up(d, &before, a->gate_channel) : CODE_OK;
        if (!code && has_main)
                code = bias_up(d, &main, a->channel);
        if (!code && base)
                code = bias_up(d, &last, a->gate_channel);
        if (!code && base && has_main)
                code = bias_stands(d, &main);
        return code ? code : settle(d);
}

/* ---- sweep ---- */

static enum code do_sweep(struct doing *d)
{
        const struct recipe *recipe = d->st->setup.recipe; /* no SETUP is taken while a step is in hand */
        struct arena *arena = NULL;
        double *hz = NULL;
        size_t n = 0;
        if (!recipe)
                return tp_fail(&d->err, CODE_STATE, "sweep: no recipe was set up; send it first");
        if (d->args->sweep < 0 || (size_t)d->args->sweep >= recipe->sweep_n)
                return tp_fail(&d->err, CODE_BAD_INPUT, "sweep: plan %d; recipe %s has %zu", (int)d->args->sweep, recipe->name,
                               recipe->sweep_n);
        const struct sweep_plan *plan = &recipe->sweeps[d->args->sweep];
        arena = arena_new(0);
        enum code code = arena ? sweep_axis(plan, arena, &hz, &n, &d->err) : tp_fail_memory(&d->err);
        if (!code) {
                struct into in = {.held = d->held, .points = n};
                struct sink sink = {.ctx = &in, .begin = into_begin, .chunk = into_chunk, .end = into_end};
                struct sweep_job job = {.ask = {.plan = plan, .hz = hz, .n = n}, .sink = &sink};
                struct op op = {.kind = OP_SWEEP};
                d->who.deadline_ns += (int64_t)(sweep_seconds(plan) * 4e9); /* decide's own clock ends it earlier; this one is for a hang */
                code = station_act(d->st, &d->who, &op, &job, &d->last, &d->err);
                d->held->result.flags = d->last.facts.flags;
                d->held->result.trigger_count = d->last.facts.trigger_count;
                d->held->result.settings = d->last.facts.settings;
        }
        arena_free(arena);
        if (code) {
                drop_traces(d->held);
                return tp_where(&d->err, "sweep %s", plan->name);
        }
        station_lock(d->st);
        bool down = d->st->hazard.in_contact == KNOW_KNOWN && hazard_bias_off(&d->st->hazard);
        station_unlock(d->st);
        if (down)
                read_meter(d);
        return CODE_OK;
}

static enum code do_lamp(struct doing *d, bool on)
{
        if (!d->st->roles.signal || !d->st->roles.signal->lamp)
                return on ? tp_fail(&d->err, CODE_NOT_FOUND, "lamp: this station has no lamp") : CODE_OK;
        return act(d, (struct op){.kind = OP_LAMP, .volt = on ? 1 : 0});
}

static enum code do_park(struct doing *d)
{
        enum code code = bias_off(d) ? CODE_OK : bias_to_zero(d);
        if (!code && !separated(d))
                code = do_separate(d);
        if (!code)
                code = do_lamp(d, false);
        if (!code && d->args->place > PLACE_UNKNOWN && isfinite(d->args->x_um) && isfinite(d->args->y_um))
                code = do_move(d);
        return code;
}

static enum code do_step(struct doing *d, enum step_kind kind)
{
        switch (kind) {
        case STEP_INVENTORY:
                return do_inventory(d);
        case STEP_SAFE:
                return do_safe(d);
        case STEP_HOME:
                return move(d, (struct op){.kind = OP_HOME});
        case STEP_ALIGN:
                return move(d, (struct op){.kind = OP_ALIGN, .place = d->args->place});
        case STEP_MOVE:
                return do_move(d);
        case STEP_LOWER:
                return do_lower(d);
        case STEP_READ_DC:
                if (!d->st->roles.meter)
                        return tp_fail(&d->err, CODE_NOT_FOUND, "read DC meter: this station has no DC meter");
                if (act(d, (struct op){.kind = OP_METER}))
                        return d->err.code;
                memcpy(d->held->result.dc_ohm, d->last.ohm, sizeof d->last.ohm);
                return CODE_OK;
        case STEP_BIAS_ON:
                return do_bias_on(d);
        case STEP_BIAS_OFF:
                return bias_to_zero(d);
        case STEP_SWEEP:
                return do_sweep(d);
        case STEP_SEPARATE:
                return do_separate(d);
        case STEP_LAMP:
                return do_lamp(d, d->args->lamp);
        case STEP_WAIT:
                return do_wait(d);
        case STEP_PARK:
                return do_park(d);
        case STEP_UNLOAD:
                return act(d, (struct op){.kind = OP_UNLOAD});
        case STEP_NONE:
        case STEP_SOLVE:
        case STEP_VERIFY:
        case STEP_CHECK:
        case STEP_JUDGE_PLACE:
        case STEP_FINISH:
        case STEP_KIND_COUNT:
                break;
        }
        return tp_fail(&d->err, CODE_BAD_INPUT, "step kind %d is not the station's", (int)kind);
}

/* ---- before and after ---- */

static void wait_for_ladder(struct station *st)
{
        for (;;) {
                station_lock(st);
                bool on = st->ladder_on;
                station_unlock(st);
                if (!on)
                        return;
                st->w->task->sleep_until(st->w, world_boot_ns(st->w) + GATE_POLL_MS * NS_PER_MS);
        }
}

/* Only now may the step act: a walk that begins after this raises the flag again. */
static uint64_t take_up(struct station *st)
{
        for (;;) {
                wait_for_ladder(st);
                station_lock(st);
                if (!st->ladder_on) {
                        uint64_t walks = st->walks;
                        cancel_lower(&st->cancel);
                        station_unlock(st);
                        return walks;
                }
                station_unlock(st);
        }
}

static void finish(struct doing *d, enum step_kind kind, enum code code, uint64_t walks, int64_t began_ns)
{
        struct station *st = d->st;
        struct result *r = &d->held->result;
        wait_for_ladder(st);
        station_lock(st);
        bool interrupted = st->walks != walks && kind != STEP_SAFE &&
                           (code != CODE_OK || step_rows[kind].contact_changes || step_rows[kind].hazardous);
        if (interrupted && code == CODE_OK)
                code = tp_fail(&d->err, CODE_CANCELLED, "%s: the station went to safety just after", step_rows[kind].word);
        r->kind = (int32_t)kind;
        r->code = (int32_t)code;
        if (code)
                plain_text(r->text, sizeof r->text, d->err.text);
        r->effect_unknown = interrupted || (code && d->err.effect_unknown);
        r->station_ns = station_now_ns(st);
        r->station_boot = st->boot_count;
        r->seconds = (double)(r->station_ns - began_ns) * 1e-9;
        r->temperature_c = st->has_temperature ? st->temperature_c : (double)NAN;
        r->traces = (int32_t)d->held->trace_n;
        station_state_locked(st, &r->state);
        d->held->state = interrupted ? HELD_INTERRUPTED : HELD_DONE;
        st->doing = false;
        memory_done(st->memory, d->held->step, code); /* before anybody can acknowledge it; waits for nothing */
        if (st->holder)
                client_send_held_locked(st->holder, d->held);
        station_unlock(st);
}

static void work_step(struct station *st, const struct work *work)
{
        struct doing d = {.st = st, .args = &work->args};
        uint64_t walks = take_up(st);
        int64_t began_ns = station_now_ns(st);
        station_lock(st);
        d.held = held_find(st->held, work->step); /* only the worker and an ACK of a finished step take it away */
        station_unlock(st);
        if (!d.held)
                return;
        for (int i = 0; i < 3; i++)
                d.held->result.dc_ohm[i] = -1;
        d.who = (struct actor){.step = work->step,
                               .walks = work->walks, /* a walk since the step was decided ends it, also one before it came here */
                               .cancel = &st->cancel,
                               .deadline_ns = world_boot_ns(st->w) + step_rows[work->kind].deadline_ns};
        enum code code = memory_begin(st->memory, work->step, work->kind, st->work_reply, &d.err);
        if (!code)
                code = do_step(&d, work->kind);
        finish(&d, work->kind, code, walks, began_ns);
}

void work_run(void *arg)
{
        struct station *st = arg;
        for (bool quit = false; !quit;) {
                struct message *m = st->w->task->take(st->w, st->work_in, INT64_MAX);
                if (!m)
                        continue;
                quit = m->kind == WORK_QUIT;
                if (!quit)
                        work_step(st, (struct work *)m);
                m->free(m);
        }
}
