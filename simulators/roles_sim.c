/* roles_sim.c: the station's roles on the simulated bench, but for the analyzer (sweep_sim.c).
 * Order of every operation: what has happened by itself (bench_events), its time (bench_advance, cancellable, without the lock), its effect for the share of the
 * time that passed, one save.  A cancelled motion stops where it is, and says so when asked where.
 * Not here: any refusal that is an interlock's business.  A stage moves sideways in contact if it is told to; the truth keeps it as a crash. */
#include "simulators/roles_own.h"
#include "recipe/plan.h"
#include "simulators/draws.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FAR_UM 100000.0 /* from one place to another */
#define PLACE_BIT(place) (1 << (place))

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

/* ---- stage ---------------------------------------------------------------------------------------------------------------------------- */
static void begin(struct bench *b)
{
        bench_lock(b);
        bench_events(b);
        atomic_store(&b->stop_asked, false);
        b->moving = true;
}
static void finish(struct bench *b)
{
        b->moving = false;
        atomic_store(&b->stop_asked, false);
        bench_save(b);
        bench_unlock(b);
}

static enum code need_axes(struct bench *b, const char *what, struct call *call)
{
        if (b->state.axes)
                return CODE_OK;
        return tp_fail(call->err, CODE_STATE, "%s: the axes are not referenced; home the stage first", what);
}

static enum code crash(struct bench *b, const char *what, struct call *call)
{
        char detail[120], name[64];
        if (!b->state.in_contact)
                return CODE_OK;
        snprintf(detail, sizeof detail, "%s while in contact with %s", what, bench_target_name(b, b->state.target, name));
        bench_tell(b, "crash", detail);
        if (b->scenario.stage.refuse_sideways)
                return tp_fail(call->err, CODE_INTERLOCK, "the stage does not %s while in contact; separate first", what);
        b->state.target = -1; /* the tips have left the pads, whatever they stand on now */
        return CODE_OK;
}

static void where_now(const struct bench *b, struct position *ret)
{
        const struct bench_state *s = &b->state;
        struct position p = {.x_um = s->x_um, .y_um = s->y_um, .z_um = s->z_um, .place = s->place, .axes = s->axes ? KNOW_KNOWN : KNOW_UNKNOWN,
                             .in_contact = s->in_contact};
        p.separated = s->in_contact ? KNOW_UNKNOWN : s->z_um >= 0.9 * b->scenario.stage.separation_um ? KNOW_KNOWN : KNOW_BELIEVED;
        *ret = p;
}

static enum code stage_identify(void *me, struct identity *ret, struct call *call)
{
        (void)call;
        return sim_identify("stage", me, ret);
}
static enum code stage_settings(void *me, struct text *ret, struct call *call)
{
        const struct bench *b = me;
        (void)call;
        text_f(ret, "{\"role\":\"stage\",\"separation_um\":%.17g,\"speed_um_s\":%.17g}", b->scenario.stage.separation_um, b->scenario.stage.speed_um_s);
        return CODE_OK;
}
static enum code stage_where(void *me, struct position *ret, struct call *call)
{
        struct bench *b = me;
        (void)call;
        bench_lock(b);
        bench_events(b);
        where_now(b, ret);
        bench_unlock(b);
        return CODE_OK;
}

static enum code stage_home(void *me, struct call *call)
{
        struct bench *b = me;
        double share = 0;
        begin(b);
        enum code code = crash(b, "home", call);
        bench_unlock(b);
        if (!code)
                code = bench_advance(b, b->scenario.stage.home_s, call, &share);
        bench_lock(b);
        if (share > 0) { /* a reference half found is none, and what was aligned is lost with it */
                b->state.axes = share >= 1;
                b->state.aligned = 0;
                b->state.home_n++;
                for (int32_t place = 0; place < SIM_PLACES; place++) {
                        struct draws r = draws_of((uint64_t)b->scenario.seed, DRAW_HOME, b->state.home_n, place, 0, 0);
                        double far = draw_between(&r, b->scenario.stage.home_um_min, b->scenario.stage.home_um_max), turn = draw_between(&r, 0, 6.283185307179586);
                        b->state.off_x_um[place] = far * cos(turn);
                        b->state.off_y_um[place] = far * sin(turn);
                }
        }
        finish(b);
        return code;
}

static enum code place_known(int32_t place, struct call *call)
{
        if (place > PLACE_UNKNOWN && place < PLACE_COUNT)
                return CODE_OK;
        return tp_fail(call->err, CODE_BAD_INPUT, "there is no place number %d; places are 1 to %d", (int)place, PLACE_COUNT - 1);
}

static enum code stage_align(void *me, int32_t place, struct call *call)
{
        struct bench *b = me;
        double share = 0;
        enum code code = place_known(place, call);
        if (code)
                return code;
        begin(b);
        code = need_axes(b, "align", call);
        if (!code)
                code = crash(b, "align", call);
        bench_unlock(b);
        if (!code)
                code = bench_advance(b, b->scenario.stage.align_s, call, &share);
        bench_lock(b);
        if (share >= 1) {
                b->state.off_x_um[place] = b->state.off_y_um[place] = 0;
                b->state.aligned |= PLACE_BIT(place);
                b->state.align_n++;
                b->state.align_wafer_n += place == PLACE_WAFER;
                for (size_t i = 0; i < b->scenario.fault_n && place == PLACE_WAFER; i++) {
                        const struct fault *f = &b->scenario.faults[i];
                        if (f->what != FAULT_ALIGN_PITCH || b->state.align_wafer_n < f->at_count || b->state.align_wafer_n >= f->at_count + f->count)
                                continue;
                        b->state.off_x_um[place] = -f->dies_x * b->layout.pitch_x_um; /* the marks look alike on every die */
                        b->state.off_y_um[place] = -f->dies_y * b->layout.pitch_y_um;
                        bench_tell(b, "align_pitch_off", "aligned on the marks of another die");
                }
        }
        finish(b);
        return code;
}

static enum code stage_move(void *me, int32_t place, double x_um, double y_um, struct call *call)
{
        struct bench *b = me;
        double share = 0;
        enum code code = place_known(place, call);
        if (code)
                return code;
        if (!(fabs(x_um) < 1e6 && fabs(y_um) < 1e6))
                return tp_fail(call->err, CODE_BAD_INPUT, "%g, %g um lies outside the stage's metre; give a position on the place", x_um, y_um);
        begin(b);
        code = need_axes(b, "move", call);
        if (!code)
                code = crash(b, "move", call);
        double from_x = b->state.x_um, from_y = b->state.y_um, way = hypot(x_um - from_x, y_um - from_y) + (place == b->state.place ? 0 : FAR_UM);
        bench_unlock(b);
        if (!code)
                code = bench_advance(b, b->scenario.stage.step_s + way / b->scenario.stage.speed_um_s, call, &share);
        bench_lock(b);
        if (share > 0) {
                b->state.x_um = share < 1 ? from_x + (x_um - from_x) * share : x_um;
                b->state.y_um = share < 1 ? from_y + (y_um - from_y) * share : y_um;
                b->state.place = place;
        }
        finish(b);
        return code;
}

/* The tips meet metal, or nothing. */
static void touch_begin(struct bench *b)
{
        char name[64], detail[128];
        struct bench_state *s = &b->state;
        s->in_contact = true;
        s->target = bench_target(b);
        s->contact_ns = bench_now_ns(b);
        s->touch_n++;
        if (s->target < 0) {
                s->touch = (int32_t)s->touch_n;
                bench_tell(b, "bare", "lowered beside any pads");
                return;
        }
        if (b->touches[s->target] < UINT16_MAX)
                b->touches[s->target]++;
        s->touch = b->touches[s->target];
        struct sim_touch t = bench_touch(b);
        for (int p = 0; p < 2; p++) {
                if (!t.open[p] && !t.lost_ground[p])
                        continue;
                snprintf(detail, sizeof detail, "%s touch %d port %d", bench_target_name(b, s->target, name), (int)s->touch, p + 1);
                bench_tell(b, t.open[p] ? "open_contact" : "lost_ground", detail);
        }
}

static enum code stage_lower(void *me, double overtravel_um, double speed_um_s, struct call *call)
{
        struct bench *b = me;
        struct bench_state *s = &b->state;
        double share = 0;
        if (!(overtravel_um > 0 && overtravel_um <= 500) || !(speed_um_s > 0))
                return tp_fail(call->err, CODE_BAD_INPUT, "lower by %g um at %g um/s: overtravel must lie in 0 to 500 um, speed above 0", overtravel_um, speed_um_s);
        begin(b);
        enum code code = need_axes(b, "lower", call);
        bool late = !code && bench_fault(b, FAULT_STAGE_TIMEOUT, ++s->lower_n, b->scenario.rates.stage_timeout);
        double from = s->z_um, to = -overtravel_um;
        if (!(s->aligned & PLACE_BIT(s->place))) { /* nobody has measured this place's height */
                struct draws r = draws_of((uint64_t)b->scenario.seed, DRAW_ALIGN, s->lower_n, s->place, 0, 0);
                to += draw_between(&r, -15, 15);
        }
        bench_unlock(b);
        if (!code)
                code = bench_advance(b, b->scenario.stage.lower_s + b->scenario.stage.settle_s, call, &share);
        bench_lock(b);
        if (share > 0) {
                s->z_um = share < 1 ? from + (to - from) * share : to;
                if (s->z_um < 0 && !s->in_contact)
                        touch_begin(b);
        }
        if (late && !code) {
                bench_tell(b, "stage_timeout", "lowered, answer lost");
                code = tp_fail(call->err, CODE_TIMED_OUT, "the stage did not answer the command to lower");
                if (call->err)
                        call->err->effect_unknown = true;
        }
        finish(b);
        return code;
}

static enum code stage_separate(void *me, struct position *ret, struct call *call)
{
        struct bench *b = me;
        struct bench_state *s = &b->state;
        double share = 0, to = b->scenario.stage.separation_um;
        begin(b);
        double from = s->z_um;
        bench_unlock(b);
        enum code code = bench_advance(b, b->scenario.stage.separate_s, call, &share);
        bench_lock(b);
        s->z_um = share < 1 ? from + (to - from) * share : to;
        if (s->z_um >= 0 && s->in_contact) {
                s->in_contact = false;
                s->target = -1;
        }
        if (!code && ret)
                where_now(b, ret);
        finish(b);
        return code;
}

static enum code stage_stop(void *me, struct call *call)
{
        struct bench *b = me;
        (void)call;
        bench_lock(b);
        atomic_store(&b->stop_asked, b->moving);
        bench_unlock(b);
        return CODE_OK;
}

static const struct stage_ops stage = {.base = {stage_identify, stage_settings, sim_resync, sim_close}, .where = stage_where, .home = stage_home, .align = stage_align,
                                       .move_xy_um = stage_move, .lower_um = stage_lower, .separate = stage_separate, .stop = stage_stop};

/* ---- bias: stays as it is when nobody holds it ------------------------------------------------------------------------------------------ */
static enum code channel_known(const struct bench *b, unsigned channel, struct call *call)
{
        if (channel < (unsigned)b->scenario.bias.channels)
                return CODE_OK;
        return tp_fail(call->err, CODE_BAD_INPUT, "the supply has no channel %u; it has 0 to %d", channel, (int)b->scenario.bias.channels - 1);
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
        text_f(ret, "{\"role\":\"bias\",\"channels\":%d,\"ramp_v_s\":%.17g,\"volt_max\":%.17g}", (int)b->scenario.bias.channels, b->scenario.bias.ramp_v_s,
               b->scenario.bias.volt_max);
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
                return tp_fail(call->err, CODE_BAD_INPUT, "%g V at %g A: the supply gives at most %g V", volt, limit_a, b->scenario.bias.volt_max);
        bench_lock(b);
        bench_events(b);
        double from = b->state.volt[channel];
        bench_unlock(b);
        code = bench_advance(b, 0.005 + fabs(volt - from) / b->scenario.bias.ramp_v_s, call, &share);
        bench_lock(b);
        if (share > 0) {
                b->state.volt[channel] = share < 1 ? from + (volt - from) * share : volt;
                b->state.limit_a[channel] = limit_a;
        }
        bench_save(b);
        bench_unlock(b);
        return code;
}

/* What flows out of a channel: to the other port through the device, and to ground. */
static double channel_a(const struct bench *b, unsigned channel)
{
        struct bench_view v = bench_look(b);
        double ohm[3];
        if (channel > 1)
                return 0;
        bench_ohm(&v, ohm);
        double own = b->state.volt[channel], other = b->state.volt[1 - channel];
        double ground_ohm = channel == 0 ? ohm[1] : ohm[2];
        return (own - other) / ohm[0] + own / ground_ohm;
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
                struct draws own = draws_of((uint64_t)b->scenario.seed, DRAW_BIAS, channel, -1, 0, 0), r = draws_of((uint64_t)b->scenario.seed, DRAW_BIAS, channel, n, 0, 0);
                double a = channel_a(b, channel), limit = b->state.limit_a[channel], volt = b->state.volt[channel];
                if (limit > 0 && fabs(a) > limit) { /* in compliance */
                        volt *= limit / fabs(a);
                        a = copysign(limit, a);
                }
                *ret_volt = volt + draw_between(&own, -1, 1) * b->scenario.bias.offset_v + b->scenario.bias.noise_v * draw_normal(&r);
                *ret_a = a;
        }
        bench_unlock(b);
        return code;
}

/* ---- DC meter, chuck, signals ------------------------------------------------------------------------------------------------------------ */
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
static const struct chuck_ops chuck = {.base = {chuck_identify, chuck_settings, sim_resync, sim_close}, .read_c = chuck_read, .vacuum = chuck_vacuum};

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
static const struct signal_ops signals = {.base = {signal_identify, signal_settings, sim_resync, sim_close}, .lamp = signal_lamp, .loop = signal_loop, .watch = signal_watch};

/* ---- all of them ------------------------------------------------------------------------------------------------------------------------- */
struct simulated { struct bench *bench; struct bias_ops bias; struct capability_set can; };

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

enum code simulated_open_kept(const struct world *w, const char *config, size_t n, const char *base_dir, struct sim_kept *kept, struct roles *ret, struct tp_error *err)
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
        s->bias = (struct bias_ops){.base = {bias_identify, bias_settings, sim_resync, sim_close}, .channels = (unsigned)b->scenario.bias.channels, .set = bias_set, .read = bias_read};
        s->can = (struct capability_set){.analyzer = true, .stage = true, .bias = true, .meter = true, .chuck = true, .signal = true, .interlock = true, .switch_terms = true,
                                         .freq_hz_min = 70e3, .freq_hz_max = 220e9, .points_max = b->scenario.analyzer.points_max, .volt_max = b->scenario.bias.volt_max,
                                         .spacing_um = b->scenario.stage.spacing_um};
        *ret = (struct roles){.analyzer = &sim_analyzer, .analyzer_me = b, .stage = &stage, .stage_me = b, .bias = &s->bias, .bias_me = b, .meter = &meter, .meter_me = b,
                              .chuck = &chuck, .chuck_me = b, .signal = &signals, .signal_me = b, .tick = tick, .wait = wait_ns, .tick_me = s, .can = &s->can, .close = roles_close};
        return CODE_OK;
}

enum code simulated_open(const struct world *w, const char *config, size_t n, const char *base_dir, struct roles *ret, struct tp_error *err)
{
        return simulated_open_kept(w, config, n, base_dir, NULL, ret, err);
}
