/* roles_sim.c: the station's roles on the simulated bench; the stage is in stage_sim.c, the analyzer in sweep_sim.c.
 * Order of every operation: what has happened by itself (bench_events), its time (bench_advance, cancellable, without the lock), its effect
 * for the share of the time that passed, one save. */
#include "simulators/roles_own.h"
#include "recipe/plan.h"
#include "simulators/draws.h"
#include "simulators/supply.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum code sim_identify(const char *what, const struct bench *b, struct identity *ret)
{
        snprintf(ret->idn, sizeof ret->idn, "simulated %s", what);
        snprintf(ret->serial, sizeof ret->serial, "SIM%lld", (long long)b->scenario.seed);
        snprintf(ret->firmware, sizeof ret->firmware, "1");
        return CODE_OK;
}
enum code sim_resync(void *me, uint8_t nonce, struct call *call)
{
        (void)me, (void)nonce, (void)call;
        return CODE_OK;
}
void sim_close(void *me) { (void)me; /* roles.close ends the bench that all share */ }

/* ---- bias: stays as it is when nobody holds it -------------------------------------------------------------------------------------- */
static enum code channel_known(const struct bench *b, unsigned channel, struct call *call)
{
        if (channel < (unsigned)b->scenario.bias.channels)
                return CODE_OK;
        return tp_fail(call->err, CODE_BAD_INPUT, "the supply has no channel %u; it has 0 to %d", channel,
                       (int)b->scenario.bias.channels - 1);
}
static enum code bias_identify(void *me, struct identity *ret, struct call *call)
{
        (void)call;
        return sim_identify("bias supply", me, ret);
}
static enum code bias_settings(void *me, struct text *ret, struct call *call)
{
        const struct bench *b = me;
        (void)call;
        text_f(ret, "{\"role\":\"bias\",\"channels\":%d,\"ramp_v_s\":%.17g,\"volt_max\":%.17g}", (int)b->scenario.bias.channels,
               b->scenario.bias.ramp_v_s, b->scenario.bias.volt_max);
        return CODE_OK;
}
static enum code bias_set(void *me, unsigned channel, double volt, double limit_a, struct call *call)
{
        struct bench *b = me;
        double share = 0;
        enum code code = channel_known(b, channel, call);
        if (code)
                return code;
        if (!(fabs(volt) <= b->scenario.bias.volt_max) || !(limit_a >= 0))
                return tp_fail(call->err, CODE_BAD_INPUT, "%g V at %g A: the supply gives at most %g V", volt, limit_a,
                               b->scenario.bias.volt_max);
        bench_lock(b);
        bench_events(b);
        double from = b->state.volt[channel];
        bench_unlock(b);
        code = bench_advance(b, 0.005 + fabs(volt - from) / b->scenario.bias.ramp_v_s, call, &share);
        bench_lock(b);
        if (share > 0) {
                b->state.volt[channel] = share < 1 ? from + (volt - from) * share : volt;
                b->state.limit_a[channel] = limit_a;
                b->state.held &= ~(1 << channel);
        }
        bench_save(b);
        bench_unlock(b);
        return code;
}
static enum code bias_force(void *me, unsigned channel, double ampere, double limit_v, struct call *call)
{
        struct bench *b = me;
        double share = 0;
        enum code code = channel_known(b, channel, call);
        if (code)
                return code;
        if (!(limit_v > 0 && limit_v <= b->scenario.bias.volt_max) || !isfinite(ampere))
                return tp_fail(call->err, CODE_BAD_INPUT, "%g A up to %g V: the supply holds a current within %g V", ampere, limit_v,
                               b->scenario.bias.volt_max);
        bench_lock(b);
        bench_events(b);
        bench_unlock(b);
        code = bench_advance(b, 0.005 + limit_v / b->scenario.bias.ramp_v_s, call, &share);
        bench_lock(b);
        if (share > 0) {
                b->state.volt[channel] = limit_v;
                b->state.ampere[channel] = share * supply_held_a(&b->scenario, channel, ampere);
                b->state.held |= 1 << channel;
        }
        bench_save(b);
        bench_unlock(b);
        return code;
}

/* Where a port stands and what flows into it: through a bipolar, or to the other port through the device and to ground. */
static void port_dc(const struct bench *b, int port, double *ret_volt, double *ret_a)
{
        struct bench_view v = bench_look(b);
        double ohm[3];
        bench_ohm(&v, ohm);
        if (v.device && is_bipolar(v.device) && v.device->defect != DEFECT_SHORT && !v.touch.open[0] && !v.touch.open[1]) {
                struct bipolar_dc at = bipolar_dc(v.device, &v.bias);
                *ret_volt = v.bias.held[port] || port == 0 ? at.volt[port] : v.bias.volt[port];
                *ret_a = port == 0 ? at.base_a : at.collector_a;
                return;
        }
        double ground_ohm = port == 0 ? ohm[1] : ohm[2], other = v.bias.held[1 - port] ? 0 : v.bias.volt[1 - port];
        double own = v.bias.volt[port], conductance = 1 / ohm[0] + 1 / ground_ohm, passed = other / ohm[0];
        if (v.bias.held[port]) {
                double volt = (v.bias.ampere[port] + passed) / conductance;
                own = fabs(volt) < own ? volt : copysign(own, volt);
        }
        *ret_volt = own;
        *ret_a = own * conductance - passed;
}

static enum code bias_read(void *me, unsigned channel, double *ret_volt, double *ret_a, struct call *call)
{
        struct bench *b = me;
        enum code code = channel_known(b, channel, call);
        if (code)
                return code;
        bench_lock(b);
        bench_events(b);
        int64_t n = ++b->state.bias_read_n;
        if (bench_fault(b, FAULT_BIAS_READ, n, b->scenario.rates.bias_read)) {
                bench_tell(b, "bias_read_fails", "no answer");
                code = tp_fail(call->err, CODE_TIMED_OUT, "the bias supply did not answer the question for channel %u", channel);
                bench_save(b); /* else a reading changes nothing in the world that the next operation could not keep */
        } else {
                struct draws own = draws_of((uint64_t)b->scenario.seed, DRAW_BIAS, channel, -1, 0, 0),
                             r = draws_of((uint64_t)b->scenario.seed, DRAW_BIAS, channel, n, 0, 0);
                double a = 0, limit = b->state.limit_a[channel], volt = b->state.volt[channel];
                int port = supply_port(&b->scenario, channel);
                bool held = b->state.held >> channel & 1;
                if (port >= 0)
                        port_dc(b, port, &volt, &a);
                if (!held && limit > 0 && fabs(a) > limit) { /* in compliance */
                        volt *= limit / fabs(a);
                        a = copysign(limit, a);
                }
                *ret_volt = volt + draw_between(&own, -1, 1) * b->scenario.bias.offset_v + b->scenario.bias.noise_v * draw_normal(&r);
                *ret_a = a;
        }
        bench_unlock(b);
        return code;
}

/* ---- DC meter, chuck, signals ------------------------------------------------------------------------------------------------------- */
static enum code meter_identify(void *me, struct identity *ret, struct call *call)
{
        (void)call;
        return sim_identify("DC meter", me, ret);
}
static enum code meter_settings(void *me, struct text *ret, struct call *call)
{
        const struct bench *b = me;
        (void)call;
        text_f(ret, "{\"role\":\"meter\",\"wires\":4,\"read_s\":%.17g}", b->scenario.meter.read_s);
        return CODE_OK;
}
static enum code meter_read(void *me, double ret_ohm[3], struct call *call)
{
        struct bench *b = me;
        double share = 0;
        enum code code = bench_advance(b, b->scenario.meter.read_s, call, &share);
        if (code)
                return code;
        bench_lock(b);
        bench_events(b);
        struct bench_view v = bench_look(b);
        struct draws r = draws_of((uint64_t)b->scenario.seed, DRAW_METER, ++b->state.meter_n, 0, 0, 0);
        bench_ohm(&v, ret_ohm);
        for (int k = 0; k < 3; k++)
                if (ret_ohm[k] < 1e9)
                        ret_ohm[k] = fmax(0, ret_ohm[k] * (1 + 1e-4 * draw_normal(&r)) + b->scenario.meter.noise_ohm * draw_normal(&r));
        bench_save(b);
        bench_unlock(b);
        return CODE_OK;
}
static const struct meter_ops meter = {.base = {meter_identify, meter_settings, sim_resync, sim_close}, .read_ohm = meter_read};

static enum code chuck_identify(void *me, struct identity *ret, struct call *call)
{
        (void)call;
        return sim_identify("chuck", me, ret);
}
static enum code chuck_settings(void *me, struct text *ret, struct call *call)
{
        const struct bench *b = me;
        (void)call;
        text_f(ret, "{\"role\":\"chuck\",\"temperature_c\":%.17g}", b->scenario.temperature_c);
        return CODE_OK;
}
static enum code chuck_read(void *me, double *ret_c, struct call *call)
{
        struct bench *b = me;
        (void)call;
        bench_lock(b);
        struct draws r = draws_of((uint64_t)b->scenario.seed, DRAW_CHUCK, bench_now_ns(b), 0, 0, 0);
        *ret_c = b->scenario.temperature_c + b->scenario.temperature_scatter_c * draw_normal(&r);
        bench_unlock(b);
        return CODE_OK;
}
static enum code chuck_vacuum(void *me, bool *ret_held, struct call *call)
{
        struct bench *b = me;
        (void)call;
        bench_lock(b);
        *ret_held = !bench_fault(b, FAULT_VACUUM, 0, 0);
        bench_unlock(b);
        return CODE_OK;
}
static const struct chuck_ops chuck = {
        .base = {chuck_identify, chuck_settings, sim_resync, sim_close}, .read_c = chuck_read, .vacuum = chuck_vacuum};

static enum code signal_identify(void *me, struct identity *ret, struct call *call)
{
        (void)call;
        return sim_identify("lamp, door and interlock loop", me, ret);
}
static enum code signal_settings(void *me, struct text *ret, struct call *call)
{
        (void)me, (void)call;
        text_put(ret, "{\"role\":\"signal\"}");
        return CODE_OK;
}
static enum code signal_lamp(void *me, bool on, struct call *call)
{
        struct bench *b = me;
        (void)call;
        bench_lock(b);
        b->state.lamp = on;
        bench_save(b);
        bench_unlock(b);
        return CODE_OK;
}
static enum code signal_loop(void *me, bool *ret_closed, struct call *call)
{
        struct bench *b = me;
        (void)call;
        bench_lock(b);
        *ret_closed = !bench_fault(b, FAULT_LOOP_OPEN, 0, 0);
        bench_unlock(b);
        return CODE_OK;
}
static enum code signal_watch(void *me, struct call *call)
{
        (void)me, (void)call;
        return CODE_OK;
}
static const struct signal_ops signals = {
        .base = {signal_identify, signal_settings, sim_resync, sim_close}, .lamp = signal_lamp, .loop = signal_loop, .watch = signal_watch};

/* ---- all of them -------------------------------------------------------------------------------------------------------------------- */
struct simulated {
        struct bench *bench;
        struct bias_ops bias;
        struct capability_set can;
};

static int64_t tick(void *me) /* any task */
{
        struct bench *b = ((struct simulated *)me)->bench;
        bench_lock(b);
        int64_t now = bench_now_ns(b);
        bench_unlock(b);
        return now;
}
static void wait_ns(void *me, int64_t ns)
{
        struct bench *b = ((struct simulated *)me)->bench;
        double share;
        if (ns > 0)
                bench_advance(b, (double)ns * 1e-9, NULL, &share);
        bench_lock(b);
        bench_save(b);
        bench_unlock(b);
}
static void roles_close(struct roles *r)
{
        struct simulated *s = r->tick_me;
        if (s)
                bench_close(s->bench);
        free(s);
        memset(r, 0, sizeof *r);
}

enum code simulated_open_kept(const struct world *w, const char *config, size_t n, const char *base_dir, struct sim_kept *kept,
                              struct roles *ret, struct tp_error *err)
{
        struct simulated *s = calloc(1, sizeof *s);
        if (!s)
                return tp_fail_memory(err);
        enum code code = bench_open(w, config, n, base_dir, kept, &s->bench, err);
        if (code) {
                free(s);
                return code;
        }
        struct bench *b = s->bench;
        s->bias = (struct bias_ops){.base = {bias_identify, bias_settings, sim_resync, sim_close},
                                    .channels = (unsigned)b->scenario.bias.channels,
                                    .set = bias_set,
                                    .read = bias_read,
                                    .force = bias_force};
        s->can = (struct capability_set){.analyzer = true,
                                         .stage = true,
                                         .bias = true,
                                         .bias_current = true,
                                         .meter = true,
                                         .chuck = true,
                                         .signal = true,
                                         .interlock = true,
                                         .switch_terms = true,
                                         .freq_hz_min = 70e3,
                                         .freq_hz_max = 220e9,
                                         .points_max = b->scenario.analyzer.points_max,
                                         .volt_max = b->scenario.bias.volt_max,
                                         .spacing_um = b->scenario.stage.spacing_um,
                                         .spacing_um_min = b->scenario.stage.spacing_um_min,
                                         .spacing_um_max = b->scenario.stage.spacing_um_max};
        *ret = (struct roles){.analyzer = &sim_analyzer,
                              .analyzer_me = b,
                              .stage = &sim_stage,
                              .stage_me = b,
                              .bias = &s->bias,
                              .bias_me = b,
                              .meter = &meter,
                              .meter_me = b,
                              .chuck = &chuck,
                              .chuck_me = b,
                              .signal = &signals,
                              .signal_me = b,
                              .positioner = b->scenario.stage.spacing_um_max > 0 ? &sim_positioner : NULL,
                              .positioner_me = b,
                              .tick = tick,
                              .wait = wait_ns,
                              .tick_me = s,
                              .can = &s->can,
                              .close = roles_close};
        return CODE_OK;
}

enum code simulated_open(const struct world *w, const char *config, size_t n, const char *base_dir, struct roles *ret, struct tp_error *err)
{
        return simulated_open_kept(w, config, n, base_dir, NULL, ret, err);
}
