/* serve_act.c: the only way to a driver: admit and state change under one lock, the call outside it, settle under it.
 * Gates       one call per role at a time.  A role whose call does not return in time counts as lost for the operation that wanted it.
 * Invariants  a step acts only while no ladder has been begun since it began itself; the ladder always may. */
#include "station/serve_own.h"
#include <math.h>
#include <string.h>

static enum gate gate_of(enum op_kind kind)
{
        switch (kind) {
        case OP_STOP:
        case OP_HOME:
        case OP_ALIGN:
        case OP_MOVE:
        case OP_LOWER:
        case OP_SEPARATE:
        case OP_WHERE:
        case OP_UNLOAD:
                return GATE_STAGE;
        case OP_BIAS_SET:
        case OP_BIAS_ZERO:
        case OP_READ_BIAS:
                return GATE_BIAS;
        case OP_SWEEP:
                return GATE_ANALYZER;
        case OP_METER:
                return GATE_METER;
        case OP_LAMP:
                return GATE_SIGNAL;
        case OP_SPACING:
        case OP_READ_SPACING:
                return GATE_POSITIONER;
        case OP_NONE:
        case OP_PROVEN:
        case OP_LATCH:
        case OP_WAIT:
        case OP_KIND_COUNT:
                return GATE_COUNT;
        }
        return GATE_COUNT;
}

static enum code no_role(struct call *call, const char *role, enum op_kind kind)
{
        return tp_fail(call->err, CODE_NOT_FOUND, "%s: this station has no %s", op_rows[kind].word, role);
}

/* ---- the calls themselves, outside the lock ---- */

static enum code call_where(struct station *st, struct readback *rb, struct call *call)
{
        struct position p = {0};
        enum code code = st->roles.stage->where(st->roles.stage_me, &p, call);
        if (!code)
                *rb = (struct readback){.has_position = true,
                                        .x_um = p.x_um,
                                        .y_um = p.y_um,
                                        .z_um = p.z_um,
                                        .place = p.place,
                                        .in_contact = p.in_contact,
                                        .separated = p.separated == KNOW_KNOWN,
                                        .axes = p.axes == KNOW_KNOWN};
        return code;
}

static enum code call_stage(struct station *st, const struct op *op, struct acted *ret, struct call *call)
{
        const struct stage_ops *s = st->roles.stage;
        void *me = st->roles.stage_me;
        struct position proof;
        if (!s)
                return no_role(call, "stage", op->kind);
        if (op->kind == OP_STOP)
                return s->stop(me, call);
        if (op->kind == OP_HOME)
                return s->home(me, call);
        if (op->kind == OP_ALIGN)
                return s->align(me, op->place, call);
        if (op->kind == OP_MOVE)
                return s->move_xy_um(me, op->place, op->x_um, op->y_um, call);
        if (op->kind == OP_LOWER)
                return s->lower_um(me, op->overtravel_um, 50, call);
        if (op->kind == OP_SEPARATE)
                return s->separate(me, &proof, call);
        if (op->kind == OP_WHERE)
                return call_where(st, &ret->rb, call);
        return CODE_OK; /* unload: the carrier is a person's, or a loader's that this station does not have */
}

static enum code call_bias(struct station *st, const struct op *op, struct acted *ret, struct call *call)
{
        const struct bias_ops *b = st->roles.bias;
        void *me = st->roles.bias_me;
        enum code code = CODE_OK;
        if (!b || st->limits.channels == 0) { /* nothing can put a voltage on the tips */
                ret->rb = (struct readback){.has_volt = true};
                return op->kind == OP_BIAS_SET ? no_role(call, "bias", op->kind) : CODE_OK;
        }
        if (op->kind == OP_BIAS_SET && op->by_current && !b->force)
                return tp_fail(call->err, CODE_BAD_INPUT, "set bias: this station's supply cannot hold a current; bias by a voltage");
        if (op->kind == OP_BIAS_SET && op->by_current)
                return b->force(me, op->channel, op->limit_a, op->volt, call);
        if (op->kind == OP_BIAS_SET)
                return b->set(me, op->channel, op->volt, op->limit_a, call);
        if (op->kind ==
            OP_BIAS_ZERO) { /* the last channel goes first: drains are wired above their gates, bases above their collectors; every one is tried */
                for (unsigned i = st->limits.channels; i-- > 0;) {
                        enum code one = b->set(me, i, 0, 0.001, call);
                        code = code ? code : one;
                }
                return code;
        }
        double highest = 0;
        for (unsigned i = 0; i < st->limits.channels && !code; i++) {
                double volt = NAN, ampere = NAN;
                code = b->read(me, i, &volt, &ampere, call);
                if (code)
                        break;
                highest = isfinite(volt) && fabs(volt) <= highest ? highest : fabs(volt); /* a NaN stays and is not below 0.5 V */
                if (i == op->channel)
                        ret->volt = volt, ret->ampere = ampere;
                if (!isfinite(volt))
                        break;
        }
        if (!code)
                ret->rb = (struct readback){.has_volt = true, .volt_max = highest};
        return code;
}

static enum code call_positioner(struct station *st, const struct op *op, struct acted *ret, struct call *call)
{
        const struct positioner_ops *p = st->roles.positioner;
        if (!p)
                return no_role(call, "positioner", op->kind);
        if (op->kind == OP_SPACING)
                return p->set_spacing_um(st->roles.positioner_me, op->spacing_um, call);
        return p->read_spacing_um(st->roles.positioner_me, &ret->spacing_um, call);
}

static enum code call_driver(struct station *st, const struct op *op, const struct sweep_job *job, struct acted *ret, struct call *call)
{
        switch (gate_of(op->kind)) {
        case GATE_STAGE:
                return call_stage(st, op, ret, call);
        case GATE_BIAS:
                return call_bias(st, op, ret, call);
        case GATE_ANALYZER:
                return st->roles.analyzer ? st->roles.analyzer->sweep(st->roles.analyzer_me, &job->ask, job->sink, &ret->facts, call)
                                          : no_role(call, "analyzer", op->kind);
        case GATE_METER:
                return st->roles.meter ? st->roles.meter->read_ohm(st->roles.meter_me, ret->ohm, call)
                                       : no_role(call, "DC meter", op->kind);
        case GATE_SIGNAL:
                return st->roles.signal && st->roles.signal->lamp ? st->roles.signal->lamp(st->roles.signal_me, op->volt > 0, call)
                                                                  : no_role(call, "lamp", op->kind);
        case GATE_POSITIONER:
                return call_positioner(st, op, ret, call);
        case GATE_CHUCK:
        case GATE_COUNT:
                break;
        }
        if (op->kind == OP_WAIT)
                station_pause(st, op->wait_ns);
        return CODE_OK;
}

/* ---- gates ---- */

/* Under the lock, which it gives back while it waits.  False: the role is still in another call. */
static bool gate_enter(struct station *st, enum gate gate, int64_t until_ns)
{
        if (gate == GATE_COUNT)
                return true;
        while (st->busy[gate]) {
                station_unlock(st);
                bool late = world_boot_ns(st->w) >= until_ns;
                if (!late)
                        st->w->task->sleep_until(st->w, world_boot_ns(st->w) + GATE_POLL_MS * NS_PER_MS);
                station_lock(st);
                if (late)
                        return !st->busy[gate] ? (st->busy[gate] = true) : false;
        }
        st->busy[gate] = true;
        return true;
}

static void gate_leave(struct station *st, enum gate gate)
{
        if (gate != GATE_COUNT)
                st->busy[gate] = false;
}

static enum code admit_locked(struct station *st, const struct actor *who, const struct op *op, struct tp_error *err)
{
        struct hazard during;
        if (who->ladder)
                st->hazard.rung = op->rung;
        else if (st->ladder_on || st->walks != who->walks || cancel_raised(who->cancel))
                return tp_fail(err, CODE_CANCELLED, "%s: the station went to safety meanwhile", op_rows[op->kind].word);
        const struct limits *limits = who->ladder ? &st->limits : &st->setup.limits;
        enum code code = interlock_admit(limits, &st->hazard, op, station_now_ns(st), &during, err);
        if (!code)
                st->hazard = during;
        return code;
}

enum code station_act(struct station *st, const struct actor *who, const struct op *op, const struct sweep_job *job, struct acted *ret,
                      struct tp_error *err)
{
        enum gate gate = gate_of(op->kind);
        struct tp_error mine = {0};
        struct acted acted = {.ohm = {-1, -1, -1}};
        int64_t now = world_boot_ns(st->w), gate_until = who->ladder ? now + 300 * NS_PER_MS : who->deadline_ns;
        if (!who->ladder && !op_rows[op->kind].makes_safe)
                station_look(st, op->kind == OP_LOWER || op->kind == OP_BIAS_SET, who->cancel);
        station_lock(st);
        enum code code = CODE_OK;
        if (!gate_enter(st, gate, gate_until)) {
                code = tp_fail(&mine, CODE_TIMED_OUT, "%s: the instrument is still in another call", op_rows[op->kind].word);
                interlock_settle(&st->hazard, op, code, NULL, station_now_ns(st));
                goto done;
        }
        code = admit_locked(st, who, op, &mine);
        if (code) {
                gate_leave(st, gate);
                goto done;
        }
        station_unlock(st);
        struct call call = {.deadline_ns = who->deadline_ns, .cancel = who->cancel, .step = who->step, .err = &mine};
        code = call_driver(st, op, job, &acted, &call);
        station_lock(st);
        interlock_settle(&st->hazard, op, code, &acted.rb, station_now_ns(st));
        if (op->kind == OP_WHERE && !code)
                st->x_um = acted.rb.x_um, st->y_um = acted.rb.y_um;
        gate_leave(st, gate);
done:
        station_unlock(st);
        if (code && !mine.text[0])
                tp_fail(&mine, code, "%s failed and the driver did not say why", op_rows[op->kind].word);
        if (code && err) {
                *err = mine;
                err->code = code;
        }
        *ret = acted;
        return code;
}

/* ---- loop and chuck ---- */

static bool look_enter(struct station *st, enum gate gate)
{
        station_lock(st);
        bool free = !st->busy[gate];
        if (free)
                st->busy[gate] = true;
        station_unlock(st);
        return free;
}

static void look_chuck(struct station *st, struct call *call)
{
        double c = NAN;
        bool held = false;
        enum code hot = CODE_OK, loose = CODE_OK;
        if (!st->roles.chuck) { /* no sensor, no interlock: the plan names the missing role */
                station_lock(st);
                st->hazard.vacuum = true;
                st->hazard.temperature_c = -INFINITY;
                station_unlock(st);
                return;
        }
        if (!look_enter(st, GATE_CHUCK))
                return;
        hot = st->roles.chuck->read_c(st->roles.chuck_me, &c, call);
        loose = st->roles.chuck->vacuum(st->roles.chuck_me, &held, call);
        station_lock(st);
        st->has_temperature = !hot;
        st->temperature_c = hot ? NAN : c;
        st->hazard.temperature_c = hot ? NAN : c; /* unknown counts as too hot */
        st->hazard.vacuum = !loose && held;
        gate_leave(st, GATE_CHUCK);
        station_unlock(st);
}

bool station_look(struct station *st, bool chuck_too, struct cancel *cancel)
{
        struct tp_error err = {0};
        struct call call = {.deadline_ns = world_boot_ns(st->w) + 1000 * NS_PER_MS, .cancel = cancel, .err = &err};
        bool closed = true;
        if (st->roles.signal && st->roles.signal->loop) {
                if (look_enter(st, GATE_SIGNAL)) {
                        enum code code = st->roles.signal->loop(st->roles.signal_me, &closed, &call);
                        station_lock(st);
                        closed = !code && closed; /* a loop that cannot be read is open */
                        st->hazard.loop_closed = closed;
                        gate_leave(st, GATE_SIGNAL);
                        station_unlock(st);
                } else {
                        station_lock(st);
                        closed = st->hazard.loop_closed;
                        station_unlock(st);
                }
        } else {
                station_lock(st);
                st->hazard.loop_closed = true;
                station_unlock(st);
        }
        if (chuck_too)
                look_chuck(st, &call);
        return closed;
}
