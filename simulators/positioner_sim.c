/* positioner_sim.c: the positioner's role: the probes apart or together on the simulated bench.  It takes time and bends both cables.
 * Not here: any refusal that is an interlock's business.  It moves in contact if it is told to; the truth keeps it as a crash. */
#include "simulators/roles_own.h"
#include <math.h>

static enum code positioner_identify(void *me, struct identity *ret, struct call *call)
{
        (void)call;
        return sim_identify("positioner", me, ret);
}
static enum code positioner_settings(void *me, struct text *ret, struct call *call)
{
        const struct bench *b = me;
        (void)call;
        text_f(ret, "{\"role\":\"positioner\",\"spacing_um_min\":%.17g,\"spacing_um_max\":%.17g}", b->scenario.stage.spacing_um_min,
               b->scenario.stage.spacing_um_max);
        return CODE_OK;
}

static enum code set_spacing(void *me, double spacing_um, struct call *call)
{
        struct bench *b = me;
        double share = 0;
        if (!(spacing_um >= b->scenario.stage.spacing_um_min && spacing_um <= b->scenario.stage.spacing_um_max))
                return tp_fail(call->err, CODE_BAD_INPUT, "%g um: the positioner goes from %g to %g um", spacing_um,
                               b->scenario.stage.spacing_um_min, b->scenario.stage.spacing_um_max);
        bench_lock(b);
        bench_events(b);
        double from = b->state.spacing_um;
        if (b->state.in_contact) {
                bench_tell(b, "crash", "the probes were moved apart in contact");
                b->state.target = -1;
        }
        bench_unlock(b);
        enum code code = bench_advance(b, b->scenario.stage.spacing_s, call, &share);
        bench_lock(b);
        if (share > 0) {
                b->state.spacing_um = share < 1 ? from + (spacing_um - from) * share : spacing_um;
                b->state.flex_n++;
                b->state.flex_ns = bench_now_ns(b);
        }
        bench_save(b);
        bench_unlock(b);
        return code;
}

static enum code read_spacing(void *me, double *ret_um, struct call *call)
{
        struct bench *b = me;
        (void)call;
        bench_lock(b);
        bench_events(b);
        *ret_um = b->state.spacing_um;
        bench_unlock(b);
        return CODE_OK;
}

const struct positioner_ops sim_positioner = {.base = {positioner_identify, positioner_settings, sim_resync, sim_close},
                                              .set_spacing_um = set_spacing,
                                              .read_spacing_um = read_spacing};
