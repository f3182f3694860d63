/* sweep_sim.c: the analyzer role: one sweep of what the tips see now, as raw ratios with switch terms, with the faults of instruments. */
#include "simulators/roles_own.h"
#include "simulators/draws.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

_Static_assert(__BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__, "traces go out as c128le, straight from memory");
#define SETTLE_S 0.15e-3 /* per point and direction */

static enum code identify(void *me, struct identity *ret, struct call *call)
{
        (void)call;
        return sim_identify("analyzer", me, ret);
}
static enum code settings(void *me, struct text *ret, struct call *call)
{
        const struct bench *b = me;
        (void)call;
        text_f(ret, "{\"role\":\"analyzer\",\"points_max\":%d,\"receivers\":4}", (int)b->scenario.analyzer.points_max);
        return CODE_OK;
}

/* The segment a frequency belongs to: the first that holds it. */
static const struct segment *segment_of(const struct sweep_plan *plan, double hz)
{
        static const struct segment plain = {.ifbw_hz = 100, .averages = 1};
        for (size_t i = 0; plan && i < plan->segment_n; i++)
                if (hz >= plan->segments[i].start_hz * (1 - 1e-12) && hz <= plan->segments[i].stop_hz * (1 + 1e-12))
                        return &plan->segments[i];
        return &plain;
}
static double ifbw(const struct segment *g) { return g->ifbw_hz > 0 ? g->ifbw_hz : 100; }
static int averages(const struct segment *g) { return g->averages > 0 ? g->averages : 1; }

static double duration_s(const struct scenario *s, const struct sweep_ask *ask)
{
        double sum = system_band_s(s, ask->hz, ask->n);
        for (size_t i = 0; i < ask->n; i++) {
                const struct segment *g = segment_of(ask->plan, ask->hz[i]);
                sum += 2 * (1.2 / ifbw(g) * (double)averages(g) + SETTLE_S);
        }
        return sum;
}

static enum code check_ask(const struct bench *b, const struct sweep_ask *ask, struct call *call)
{
        if (ask->n < 1 || ask->n > (size_t)b->scenario.analyzer.points_max)
                return tp_fail(call->err, CODE_BAD_INPUT, "%zu points; the analyzer takes 1 to %d", ask->n,
                               (int)b->scenario.analyzer.points_max);
        for (size_t i = 0; i < ask->n; i++)
                if (!(ask->hz[i] >= 10e3 && ask->hz[i] <= 500e9) || (i > 0 && !(ask->hz[i] > ask->hz[i - 1])))
                        return tp_fail(call->err, CODE_BAD_INPUT, "point %zu at %g Hz: frequencies must rise, from 10 kHz to 500 GHz", i,
                                       ask->hz[i]);
        return CODE_OK;
}

/* Room for this list: terms, the last sweep, one trace. */
static enum code prepare(struct bench *b, const struct sweep_ask *ask, struct tp_error *err)
{
        if (!b->system || b->system->n != ask->n || memcmp(b->system->hz, ask->hz, ask->n * sizeof *ask->hz) != 0) {
                system_free(b->system);
                b->system = system_new(&b->scenario, ask->hz, ask->n);
        }
        if (b->system && b->room_n < ask->n) {
                free(b->last);
                b->last = malloc(RAW_N * ask->n * sizeof *b->last);
                b->room_n = b->last ? ask->n : 0;
                b->last_n = 0;
        }
        return b->system && b->last ? CODE_OK : tp_fail_memory(err);
}

static void measure(struct bench *b, const struct sweep_ask *ask, const struct bench_view *view, const struct sim_now *now, int64_t sweep_n)
{
        struct draws noise = draws_of((uint64_t)b->scenario.seed, DRAW_NOISE, sweep_n, 0, 0, 0);
        for (size_t i = 0; i < ask->n; i++) {
                const struct segment *g = segment_of(ask->plan, ask->hz[i]);
                double complex raw[RAW_N];
                system_form(b->system, now, i, bench_s_at(view, ask->hz[i]), raw);
                system_noise(b->system, &noise, i, ifbw(g), averages(g), raw);
                for (size_t k = 0; k < RAW_N; k++)
                        b->last[k * ask->n + i] = raw[k];
        }
        b->last_n = ask->n;
}

static enum code send(const struct bench *b, size_t n, bool nan_block, const struct sink *sink, struct tp_error *err)
{
        for (size_t k = 0; k < RAW_N; k++) {
                struct block block = {.dtype = C128_LE, .points = (uint32_t)n};
                const double complex *column = b->last + k * n;
                memcpy(block.trace, raw_words[k], strlen(raw_words[k]) + 1);
                enum code code = sink->begin(sink->ctx, &block, err);
                if (!code && nan_block && k == RAW_S21 && n > 2) { /* the middle third never came */
                        double complex bad[64];
                        for (size_t i = 0; i < 64; i++)
                                bad[i] = CMPLX(NAN, NAN);
                        code = sink->chunk(sink->ctx, column, (n / 3) * sizeof *column, err);
                        for (size_t left = n / 3; left > 0 && !code;) {
                                size_t part = left < 64 ? left : 64;
                                code = sink->chunk(sink->ctx, bad, part * sizeof *bad, err);
                                left -= part;
                        }
                        if (!code)
                                code = sink->chunk(sink->ctx, column + 2 * (n / 3), (n - 2 * (n / 3)) * sizeof *column, err);
                } else if (!code)
                        code = sink->chunk(sink->ctx, column, n * sizeof *column, err);
                if (!code)
                        code = sink->end(sink->ctx, err);
                if (code)
                        return code;
        }
        return CODE_OK;
}

/* As the analyzer reads them back in its n-th sweep. */
static struct analyzer_settings settings_now(const struct bench *b, const struct sweep_plan *plan, int64_t n)
{
        struct analyzer_settings s = {.has_attenuator = true};
        for (size_t i = 0; i < b->scenario.fault_n; i++) {
                const struct fault *f = &b->scenario.faults[i];
                if (f->what == FAULT_ATTENUATOR && n >= f->at_count && n < (int64_t)f->at_count + f->count)
                        s.attenuator_db[f->port - 1] = f->db;
        }
        for (size_t i = 0; plan && i < plan->segment_n; i++) {
                const struct segment *g = &plan->segments[i];
                s.power_dbm[0] = i ? fmin(s.power_dbm[0], g->power_dbm) : g->power_dbm;
                s.power_dbm[1] = i ? fmax(s.power_dbm[1], g->power_dbm) : g->power_dbm;
                s.ifbw_hz[0] = i ? fmin(s.ifbw_hz[0], ifbw(g)) : ifbw(g);
                s.ifbw_hz[1] = i ? fmax(s.ifbw_hz[1], ifbw(g)) : ifbw(g);
        }
        s.has_power = s.has_ifbw = plan && plan->segment_n;
        return s;
}

static enum code sweep(void *me, const struct sweep_ask *ask, const struct sink *sink, struct sweep_facts *ret, struct call *call)
{
        struct bench *b = me;
        double share = 0;
        enum code code = check_ask(b, ask, call);
        if (!code)
                code = prepare(b, ask, call->err);
        if (code)
                return code;
        bench_lock(b);
        bench_events(b);
        int64_t n = ++b->state.sweep_n;
        bool late = bench_fault(b, FAULT_ANALYZER_TIMEOUT, n, b->scenario.rates.analyzer_timeout),
             nan_block = bench_fault(b, FAULT_NAN_BLOCK, n, b->scenario.rates.nan_block);
        bool stale = b->last_n == ask->n && bench_fault(b, FAULT_STALE_SWEEP, n, b->scenario.rates.stale_sweep);
        struct bench_view view = bench_look(b);
        struct sim_now now = bench_drift(b);
        if (!stale)
                b->state.trigger_n++;
        struct sweep_facts facts = {.trigger_count = (uint32_t)b->state.trigger_n,
                                    .seconds = stale ? 0.05 : duration_s(&b->scenario, ask),
                                    .settings = settings_now(b, ask->plan, n)};
        if (late || nan_block || stale)
                bench_tell(b, late ? "analyzer_timeout" : nan_block ? "nan_block" : "stale_sweep", "");
        bench_unlock(b);
        code = bench_advance(b, facts.seconds, call, &share);
        if (!code && late) {
                code = tp_fail(call->err, CODE_TIMED_OUT, "the analyzer did not answer after %.3g s", facts.seconds);
                if (call->err)
                        call->err->effect_unknown = true;
        }
        if (!code && !stale)
                measure(b, ask, &view, &now, n);
        bench_lock(b);
        bench_save(b);
        bench_unlock(b);
        if (!code)
                code = send(b, ask->n, nan_block, sink, call->err);
        if (!code)
                *ret = facts;
        return code;
}

const struct analyzer_ops sim_analyzer = {.base = {identify, settings, sim_resync, sim_close}, .sweep = sweep};
