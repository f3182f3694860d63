/* bench.c: opening the physical world, its clock, its faults; see bench.h. */
#include "simulators/bench.h"
#include "simulators/draws.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SLICE_NS_MIN (20 * NS_PER_MS)  /* how often a long operation asks whether it is still wanted: */
#define SLICE_NS_MAX (100 * NS_PER_MS) /* soon enough for the ladder, seldom enough for ten thousand nights */
#define WARM_S 10800.0                 /* a station is on for three hours before its night */

void bench_lock(struct bench *b)
{
        if (b->lock)
                b->world->task->lock(b->world, b->lock);
}
void bench_unlock(struct bench *b)
{
        if (b->lock)
                b->world->task->unlock(b->world, b->lock);
}

int64_t bench_now_ns(const struct bench *b) { return b->stepped ? b->state.now_ns : world_boot_ns(b->world); }
double bench_s(const struct bench *b) { return (double)(bench_now_ns(b) - b->state.epoch_ns) * 1e-9; }

static enum code cancelled(struct call *call, double share)
{
        enum code code = tp_fail(call->err, CODE_CANCELLED, "cancelled after %.0f %% of its time", share * 100);
        if (call->err)
                call->err->effect_unknown = share > 0;
        return code;
}

static bool asked_to_end(const struct bench *b, const struct call *call)
{
        return atomic_load(&b->stop_asked) || (call && call->cancel && cancel_raised(call->cancel));
}

enum code bench_advance(struct bench *b, double seconds, struct call *call, double *ret_share)
{
        struct call none = {.deadline_ns = INT64_MAX};
        int64_t ns = (int64_t)(seconds * 1e9);
        double share = 0;
        call = call ? call : &none;
        if (asked_to_end(b, call)) {
                *ret_share = 0;
                return cancelled(call, 0);
        }
        if (b->stepped) {
                bench_lock(b);
                b->state.now_ns += ns;
                bench_unlock(b);
                *ret_share = 1;
                return asked_to_end(b, call) ? cancelled(call, 1) : CODE_OK;
        }
        int64_t begin = world_boot_ns(b->world), end = begin + ns, now = begin;
        int64_t slice = ns / 50 < SLICE_NS_MIN ? SLICE_NS_MIN : ns / 50 > SLICE_NS_MAX ? SLICE_NS_MAX : ns / 50;
        while (now < end) {
                int64_t next = now + slice < end ? now + slice : end;
                b->world->task->sleep_until(b->world, next);
                now = world_boot_ns(b->world);
                share = now >= end ? 1 : (double)(now - begin) / (double)ns;
                *ret_share = share;
                if (asked_to_end(b, call))
                        return cancelled(call, share);
                if (now >= call->deadline_ns && now < end) {
                        enum code code = tp_fail(call->err, CODE_TIMED_OUT, "not finished within its deadline: it takes %.3g s; allow more",
                                                 seconds);
                        if (call->err)
                                call->err->effect_unknown = true;
                        return code;
                }
        }
        *ret_share = 1;
        return CODE_OK;
}

/* ---- what happens by itself --------------------------------------------------------------------------------------------------------- */
void bench_tell(struct bench *b, const char *what, const char *detail)
{
        struct text t;
        char path[SIM_PATH_ROOM + 16];
        if (!b->scenario.truth_file[0])
                return;
        text_init(&t, 4096);
        struct json_out o = json_to(&t);
        json_open(&o, NULL, '{');
        json_text(&o, "what", what);
        json_real(&o, "at_s", bench_s(b));
        json_int(&o, "touches", b->state.touch_n);
        json_int(&o, "target", b->state.target);
        json_text(&o, "detail", detail);
        json_close(&o, '}');
        text_put(&t, "\n");
        snprintf(path, sizeof path, "%s.events", b->scenario.truth_file);
        if (text_ok(&t)) /* the night goes on without it: the judge says when the log is missing */
                b->world->file->append(b->world, path, text_of(&t), t.n, NULL);
        text_done(&t);
}

static void mains_fail(struct bench *b)
{
        struct bench_state *s = &b->state;
        s->axes = false;
        s->aligned = 0;
        s->power_on_ns = bench_now_ns(b);
        for (int k = 0; k < SIM_CHANNELS_MAX; k++)
                s->volt[k] = s->limit_a[k] = s->ampere[k] = 0;
        s->held = 0;
        s->lamp = false;
        bench_tell(b, "mains", "axes unreferenced, supply off, analyzer cold");
}

void bench_events(struct bench *b)
{
        for (size_t i = 0; i < b->scenario.fault_n && i < 62; i++) {
                const struct fault *f = &b->scenario.faults[i];
                int64_t bit = INT64_C(1) << i;
                if (f->what != FAULT_MAINS || (b->state.told & bit) || bench_s(b) < f->at_s)
                        continue;
                b->state.told |= bit;
                b->state.mains_n++;
                mains_fail(b);
        }
}

bool bench_fault(struct bench *b, enum fault_kind what, int64_t n, double rate)
{
        struct draws r = draws_of((uint64_t)b->scenario.seed, DRAW_INSTRUMENT_FAULT, (int64_t)what, n, 0, 0);
        bool hit = draw_chance(&r, rate);
        for (size_t i = 0; i < b->scenario.fault_n; i++) {
                const struct fault *f = &b->scenario.faults[i];
                if (f->what == (int32_t)what && f->at_count > 0 && n >= f->at_count && n < f->at_count + f->count)
                        hit = true;
                bool timed = (what == FAULT_LOOP_OPEN || what == FAULT_VACUUM) && f->what == (int32_t)what;
                if (timed && bench_s(b) >= f->at_s && bench_s(b) < f->at_s + f->for_s)
                        hit = true;
        }
        return hit;
}

struct sim_now bench_drift(struct bench *b)
{
        double t_s = fmax(0, bench_s(b)), on_s = fmax(0, (double)(bench_now_ns(b) - b->state.power_on_ns) * 1e-9);
        struct sim_now now = {{drift_of(&b->scenario, 0, t_s, on_s), drift_of(&b->scenario, 1, t_s, on_s)}, room_k(&b->scenario, t_s)};
        for (int port = 0; port < 2 && b->state.flex_n > 0; port++) { /* cables that a positioner has bent */
                struct draws r = draws_of((uint64_t)b->scenario.seed, DRAW_FLEX, b->state.flex_n, port, 0, 0);
                double since_s = (double)(bench_now_ns(b) - b->state.flex_ns) * 1e-9;
                now.drift[port].delay_fs +=
                        draw_between(&r, -1, 1) * b->scenario.stage.flex_fs * exp(-fmax(0, since_s) / b->scenario.stage.flex_s);
        }
        for (size_t i = 0; i < b->scenario.fault_n; i++) {
                const struct fault *f = &b->scenario.faults[i];
                int64_t bit = i < 62 ? INT64_C(1) << i : 0;
                if (f->what != FAULT_DRIFT_STEP)
                        continue;
                bool by_time = f->at_s > 0 && t_s >= f->at_s;
                bool by_touch =
                        f->at_count > 0 && (b->state.touch_n > f->at_count || (b->state.touch_n == f->at_count && !b->state.in_contact));
                if (!by_time && !by_touch)
                        continue;
                now.drift[f->port - 1].delay_fs += f->fs;
                now.drift[f->port - 1].loss_db += f->db;
                if (bit && !(b->state.told & bit)) {
                        char detail[96];
                        b->state.told |= bit;
                        snprintf(detail, sizeof detail, "port %d moved by %g fs and %g dB at 220 GHz", (int)f->port, f->fs, f->db);
                        bench_tell(b, "drift_step", detail);
                }
        }
        return now;
}

/* ---- opening ------------------------------------------------------------------------------------------------------------------------ */
static void state_new(struct bench *b)
{
        struct bench_state *s = &b->state;
        memset(s, 0, sizeof *s);
        s->seed = b->scenario.seed;
        s->targets = (int64_t)b->target_n;
        s->now_ns = NS_PER_S;
        s->epoch_ns = bench_now_ns(b);
        s->power_on_ns = s->epoch_ns - (int64_t)(WARM_S * 1e9);
        s->place = PLACE_WAFER;
        s->z_um = b->scenario.stage.separation_um;
        s->spacing_um = b->scenario.stage.spacing_um;
        s->target = -1;
        for (size_t i = 0; i < b->scenario.standard_n; i++)
                b->touches[b->wafer.die_n * b->layout.device_n + i] = (uint16_t)b->scenario.standards[i].touches_before;
}

enum code bench_open(const struct world *w, const char *config, size_t n, const char *base_dir, struct sim_kept *kept, struct bench **ret,
                     struct tp_error *err)
{
        struct bench *b = calloc(1, sizeof *b);
        bool found = false;
        if (!b)
                return tp_fail_memory(err);
        b->world = w;
        b->kept = kept;
        b->arena = arena_new(0);
        enum code code = b->arena ? scenario_read(w, config, n, base_dir, b->arena, &b->scenario, err) : tp_fail_memory(err);
        if (!code)
                code = scenario_layout(w, &b->scenario, b->arena, &b->layout, err);
        if (!code)
                code = wafer_make(&b->scenario, &b->layout, b->arena, &b->wafer, err);
        if (!code) {
                b->target_n = b->wafer.die_n * b->layout.device_n + b->scenario.standard_n;
                b->touches = arena_take(b->arena, b->target_n * sizeof *b->touches);
                b->stepped = b->scenario.clock == SIM_CLOCK_STEPPED || (b->scenario.clock == SIM_CLOCK_AUTO && !w->virtual_time);
                b->lock = w->task ? w->task->lock_new(w) : NULL;
                if (!b->touches || (w->task && !b->lock))
                        code = tp_fail_memory(err);
        }
        if (!code)
                state_new(b);
        if (!code)
                code = state_load(b, &found, err);
        if (!code && b->scenario.truth_file[0] && !found)
                code = truth_write(b, err);
        if (code) {
                bench_close(b);
                return tp_where(err, "simulated station");
        }
        if (!(b->state.spacing_um > 0)) /* kept by an older build */
                b->state.spacing_um = b->scenario.stage.spacing_um;
        bench_save(b);
        *ret = b;
        return CODE_OK;
}

void bench_close(struct bench *b)
{
        if (!b)
                return;
        if (b->lock)
                b->world->task->lock_free(b->world, b->lock);
        system_free(b->system);
        free(b->last);
        arena_free(b->arena);
        free(b);
}
