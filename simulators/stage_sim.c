/* stage_sim.c: the stage role: referencing, aligning, moving, lowering, separating on the simulated bench.
 * A cancelled motion stops where it is, and says so when asked where.
 * Not here: any refusal that is an interlock's business.  A stage moves sideways in contact if it is told to; the truth keeps it as a
 * crash. */
#include "simulators/roles_own.h"
#include "simulators/draws.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define FAR_UM 100000.0 /* from one place to another */
#define PLACE_BIT(place) (1 << (place))

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
        struct position p = {.x_um = s->x_um,
                             .y_um = s->y_um,
                             .z_um = s->z_um,
                             .place = s->place,
                             .axes = s->axes ? KNOW_KNOWN : KNOW_UNKNOWN,
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
        text_f(ret, "{\"role\":\"stage\",\"separation_um\":%.17g,\"speed_um_s\":%.17g}", b->scenario.stage.separation_um,
               b->scenario.stage.speed_um_s);
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
                        double far = draw_between(&r, b->scenario.stage.home_um_min, b->scenario.stage.home_um_max),
                               turn = draw_between(&r, 0, 6.283185307179586);
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
                        if (f->what != FAULT_ALIGN_PITCH || b->state.align_wafer_n < f->at_count ||
                            b->state.align_wafer_n >= f->at_count + f->count)
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
                return tp_fail(call->err, CODE_BAD_INPUT, "%g, %g um lies outside the stage's metre; give a position on the place", x_um,
                               y_um);
        begin(b);
        code = need_axes(b, "move", call);
        if (!code)
                code = crash(b, "move", call);
        double from_x = b->state.x_um, from_y = b->state.y_um,
               way = hypot(x_um - from_x, y_um - from_y) + (place == b->state.place ? 0 : FAR_UM);
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
                return tp_fail(call->err, CODE_BAD_INPUT, "lower by %g um at %g um/s: overtravel must lie in 0 to 500 um, speed above 0",
                               overtravel_um, speed_um_s);
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

const struct stage_ops sim_stage = {.base = {stage_identify, stage_settings, sim_resync, sim_close},
                                    .where = stage_where,
                                    .home = stage_home,
                                    .align = stage_align,
                                    .move_xy_um = stage_move,
                                    .lower_um = stage_lower,
                                    .separate = stage_separate,
                                    .stop = stage_stop};
