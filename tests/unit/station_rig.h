/* station_rig.h: a tiny true station for the tests: it keeps volts and heights over restarts, blocks and fails on demand, and itself notes
   every act against the laws, whatever the station believes. */
#ifndef TESTS_STATION_RIG_H
#define TESTS_STATION_RIG_H
#include "host/host.h"
#include "recipe/plan.h"
#include "station/cancel.h"
#include "station/serve.h"
#include <inttypes.h>
#include <math.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <cmocka.h>

enum { RIG_CHANNELS = 2, RIG_SETS = 8 };
struct rig {
        struct world *w;
        pthread_mutex_t mutex;
        double x_um, y_um, z_um, spacing_um, volt[RIG_CHANNELS], ampere[RIG_CHANNELS];
        bool collector_sags;     /* once a base is driven the other channel stands at half its voltage: in its limit */
        double base_v;           /* what a held current comes to; the limit if that is lower: then half of it flows */
        bool spacing_slips;      /* it says done and stands 5 um off */
        unsigned sets[RIG_SETS]; /* channels, in the order they were set */
        unsigned set_n;
        int spacings; /* how often it was moved */
        int32_t place;
        bool axes, loop_open, bias_read_fails, bias_stuck;
        bool block_lower, block_sweep; /* until cancelled */
        int delay_ms;                  /* every call takes so long: the gap between check and act grows */
        int lowers, sweeps, separates, stage_calls, bias_calls;
        int broken_laws;
        char first_broken[120];
        struct capability_set can;
};

static struct rig *rig_of(void *me)
{
        struct rig *r = me;
        pthread_mutex_lock(&r->mutex);
        int ms = r->delay_ms;
        pthread_mutex_unlock(&r->mutex);
        if (ms)
                usleep((useconds_t)ms * 1000);
        pthread_mutex_lock(&r->mutex);
        return r;
}
static enum code rig_end(struct rig *r)
{
        pthread_mutex_unlock(&r->mutex);
        return CODE_OK;
}
/* One call at a time per instrument: a second one beside it is a law broken. */
static struct rig *rig_enter(void *me, int *calls)
{
        struct rig *r = me;
        pthread_mutex_lock(&r->mutex);
        if (++*calls > 1 && r->broken_laws++ == 0)
                snprintf(r->first_broken, sizeof r->first_broken, "two calls at once in one instrument");
        pthread_mutex_unlock(&r->mutex);
        return rig_of(me);
}
static enum code rig_leave(struct rig *r, int *calls)
{
        --*calls;
        return rig_end(r);
}
static struct rig *rig_stage_of(void *me) { return rig_enter(me, &((struct rig *)me)->stage_calls); }
static struct rig *rig_bias_of(void *me) { return rig_enter(me, &((struct rig *)me)->bias_calls); }
static enum code rig_stage_end(struct rig *r) { return rig_leave(r, &r->stage_calls); }
static enum code rig_bias_end(struct rig *r) { return rig_leave(r, &r->bias_calls); }
static bool rig_down(const struct rig *r) { return r->z_um <= 0; }
static double rig_volt(const struct rig *r) { return fmax(fabs(r->volt[0]), fabs(r->volt[1])); }
static void rig_law(struct rig *r, bool holds, const char *what)
{
        if (!holds && r->broken_laws++ == 0)
                snprintf(r->first_broken, sizeof r->first_broken, "%s (z %.0f um, %.2f V)", what, r->z_um, rig_volt(r));
}

static enum code rig_identify(void *me, struct identity *ret, struct call *call)
{
        (void)me, (void)call;
        *ret = (struct identity){.idn = "rig"};
        return CODE_OK;
}
static enum code rig_settings(void *me, struct text *ret, struct call *call)
{
        (void)me, (void)call;
        text_put(ret, "{}");
        return CODE_OK;
}
static enum code rig_resync(void *me, uint8_t nonce, struct call *call)
{
        (void)me, (void)nonce, (void)call;
        return CODE_OK;
}
static void rig_close_role(void *me) { (void)me; }
#define RIG_BASE                                                       \
        {                                                              \
                rig_identify, rig_settings, rig_resync, rig_close_role \
        }

static enum code rig_where(void *me, struct position *ret, struct call *call)
{
        struct rig *r = rig_stage_of(me);
        (void)call;
        *ret = (struct position){.x_um = r->x_um,
                                 .y_um = r->y_um,
                                 .z_um = r->z_um,
                                 .place = r->place,
                                 .axes = r->axes ? KNOW_KNOWN : KNOW_UNKNOWN,
                                 .separated = r->z_um >= 250 ? KNOW_KNOWN : KNOW_UNKNOWN,
                                 .in_contact = rig_down(r)};
        return rig_stage_end(r);
}
static enum code rig_home(void *me, struct call *call)
{
        struct rig *r = rig_stage_of(me);
        (void)call;
        rig_law(r, !rig_down(r), "home in contact");
        r->axes = true;
        return rig_stage_end(r);
}
static enum code rig_align(void *me, int32_t place, struct call *call)
{
        struct rig *r = rig_stage_of(me);
        (void)place, (void)call;
        rig_law(r, !rig_down(r), "align in contact");
        return rig_stage_end(r);
}
static enum code rig_move(void *me, int32_t place, double x_um, double y_um, struct call *call)
{
        struct rig *r = rig_stage_of(me);
        (void)call;
        rig_law(r, !rig_down(r), "sideways in contact");
        r->place = place, r->x_um = x_um, r->y_um = y_um;
        return rig_stage_end(r);
}
static bool rig_blocks(struct rig *r, const bool *flag, struct call *call) /* gives the mutex back while it waits; true: cancelled */
{
        while (*flag && !cancel_raised(call->cancel)) {
                pthread_mutex_unlock(&r->mutex);
                usleep(1000);
                pthread_mutex_lock(&r->mutex);
        }
        return *flag;
}
static enum code rig_lower(void *me, double overtravel_um, double speed_um_s, struct call *call)
{
        struct rig *r = rig_stage_of(me);
        (void)speed_um_s;
        rig_law(r, rig_volt(r) < VOLT_OFF, "lowered with bias on");
        r->lowers++;
        r->z_um = -overtravel_um / 2; /* half way: the worst place to stop */
        if (rig_blocks(r, &r->block_lower, call)) {
                rig_stage_end(r);
                return tp_fail(call->err, CODE_CANCELLED, "lower was cancelled half way");
        }
        r->z_um = -overtravel_um;
        return rig_stage_end(r);
}
static enum code rig_separate(void *me, struct position *ret, struct call *call)
{
        struct rig *r = rig_stage_of(me);
        rig_law(r, r->bias_read_fails || r->bias_stuck || !rig_down(r) || rig_volt(r) < VOLT_OFF, "separated with bias on");
        r->z_um = 300;
        r->separates++;
        rig_stage_end(r);
        return rig_where(me, ret, call);
}
static enum code rig_stop(void *me, struct call *call)
{
        (void)call;
        return rig_stage_end(rig_stage_of(me));
}
static enum code rig_set(void *me, unsigned channel, double volt, double limit_a, struct call *call)
{
        struct rig *r = rig_bias_of(me);
        (void)limit_a, (void)call;
        rig_law(r, volt == 0 || rig_down(r), "biased in the air");
        r->sets[r->set_n++ % RIG_SETS] = channel;
        if (!(r->bias_stuck && volt == 0))
                r->volt[channel] = volt;
        r->ampere[channel] = volt / 1000;
        return rig_bias_end(r);
}
static enum code rig_force(void *me, unsigned channel, double ampere, double limit_v, struct call *call)
{
        struct rig *r = rig_bias_of(me);
        (void)call;
        rig_law(r, rig_down(r), "biased in the air");
        rig_law(r, limit_v > 0, "a current without a voltage limit");
        r->sets[r->set_n++ % RIG_SETS] = channel;
        r->volt[channel] = ampere == 0 ? 0.1 : fmin(r->base_v, limit_v);
        r->ampere[channel] = r->base_v < limit_v ? ampere : ampere / 2;
        if (r->collector_sags && ampere != 0)
                r->volt[1 - channel] /= 2;
        return rig_bias_end(r);
}
static enum code rig_read(void *me, unsigned channel, double *ret_volt, double *ret_a, struct call *call)
{
        struct rig *r = rig_bias_of(me);
        if (r->bias_read_fails) {
                rig_bias_end(r);
                return tp_fail(call->err, CODE_LINK_DEAD, "the supply does not answer");
        }
        *ret_volt = r->volt[channel];
        *ret_a = r->ampere[channel];
        return rig_bias_end(r);
}
static enum code rig_ohm(void *me, double ret[3], struct call *call)
{
        struct rig *r = rig_of(me);
        (void)call;
        ret[0] = 42, ret[1] = 2e9, ret[2] = 2e9;
        return rig_end(r);
}
static enum code rig_loop(void *me, bool *ret, struct call *call)
{
        struct rig *r = me; /* no delay: it is asked every 100 ms */
        (void)call;
        pthread_mutex_lock(&r->mutex);
        *ret = !r->loop_open;
        return rig_end(r);
}
static enum code rig_sweep(void *me, const struct sweep_ask *ask, const struct sink *sink, struct sweep_facts *ret, struct call *call)
{
        struct rig *r = rig_of(me);
        static const char *const names[] = {"S11", "S12", "S21", "S22"};
        enum code code = CODE_OK;
        r->sweeps++;
        bool cancelled = rig_blocks(r, &r->block_sweep, call);
        pthread_mutex_unlock(&r->mutex);
        if (cancelled)
                return tp_fail(call->err, CODE_CANCELLED, "the sweep was cancelled");
        for (int t = 0; t < 4 && !code; t++) {
                struct block b = {.dtype = C128_LE, .points = (uint32_t)ask->n};
                snprintf(b.trace, sizeof b.trace, "%s", names[t]);
                code = sink->begin(sink->ctx, &b, call->err);
                for (size_t i = 0; i < ask->n && !code; i++) {
                        double pair[2] = {ask->hz[i], t};
                        code = sink->chunk(sink->ctx, pair, sizeof pair, call->err);
                }
                if (!code)
                        code = sink->end(sink->ctx, call->err);
        }
        *ret = (struct sweep_facts){.trigger_count = 1, .seconds = 0.1};
        return code;
}

static const struct stage_ops rig_stage = {.base = RIG_BASE,
                                           .where = rig_where,
                                           .home = rig_home,
                                           .align = rig_align,
                                           .move_xy_um = rig_move,
                                           .lower_um = rig_lower,
                                           .separate = rig_separate,
                                           .stop = rig_stop};
static const struct bias_ops rig_bias = {.base = RIG_BASE, .channels = RIG_CHANNELS, .set = rig_set, .read = rig_read, .force = rig_force};
static const struct meter_ops rig_meter = {.base = RIG_BASE, .read_ohm = rig_ohm};
static const struct analyzer_ops rig_analyzer = {.base = RIG_BASE, .sweep = rig_sweep};
static const struct signal_ops rig_signal = {.base = RIG_BASE, .loop = rig_loop};

static enum code rig_set_spacing(void *me, double spacing_um, struct call *call)
{
        struct rig *r = rig_of(me);
        (void)call;
        rig_law(r, !rig_down(r), "spacing changed in contact");
        rig_law(r, rig_volt(r) < 0.5, "spacing changed with bias on");
        r->spacing_um = spacing_um + (r->spacing_slips ? 5 : 0);
        r->spacings++;
        return rig_end(r);
}
static enum code rig_read_spacing(void *me, double *ret_um, struct call *call)
{
        struct rig *r = rig_of(me);
        (void)call;
        *ret_um = r->spacing_um;
        return rig_end(r);
}
static const struct positioner_ops rig_positioner = {
        .base = RIG_BASE, .set_spacing_um = rig_set_spacing, .read_spacing_um = rig_read_spacing};

static enum code rig_open(const struct world *w, const char *config_json, size_t n, const char *base_dir, struct roles *ret,
                          struct tp_error *err)
{
        struct rig *r = NULL;
        (void)w, (void)base_dir;
        if (n == 0 || sscanf(config_json, "{\"rig\":\"%p\"}", (void **)&r) != 1)
                return tp_fail(err, CODE_BAD_INPUT, "no rig");
        r->can = (struct capability_set){.analyzer = true,
                                         .stage = true,
                                         .bias = true,
                                         .meter = true,
                                         .signal = true,
                                         .interlock = true,
                                         .volt_max = 60,
                                         .points_max = 9999};
        *ret = (struct roles){.analyzer = &rig_analyzer,
                              .analyzer_me = r,
                              .stage = &rig_stage,
                              .stage_me = r,
                              .bias = &rig_bias,
                              .bias_me = r,
                              .meter = &rig_meter,
                              .meter_me = r,
                              .signal = &rig_signal,
                              .signal_me = r,
                              .positioner = &rig_positioner,
                              .positioner_me = r,
                              .can = &r->can};
        return CODE_OK;
}

/* ---- a station on the rig, and daemons ---- */

struct bench {
        struct rig rig;
        struct driver_row row;
        char dir[64], address[96], json[64];
        struct station_config config;
        struct station *station;
        struct inbox *loop;
        struct link *link;
        atomic_bool healthy;
        uint64_t walks; /* the last one heard of */
};

static inline struct bench *bench_new(void)
{
        struct bench *b = calloc(1, sizeof *b);
        struct tp_error err;
        assert_non_null(b);
        b->rig.w = host_world_new(&err);
        assert_non_null(b->rig.w);
        pthread_mutex_init(&b->rig.mutex, NULL);
        b->rig.z_um = 300;
        b->rig.spacing_um = 200;
        snprintf(b->dir, sizeof b->dir, "/tmp/station_test_XXXXXX");
        assert_non_null(mkdtemp(b->dir));
        snprintf(b->address, sizeof b->address, "unix:%s/s", b->dir);
        snprintf(b->json, sizeof b->json, "{\"rig\":\"%p\"}", (void *)&b->rig);
        b->row = (struct driver_row){"rig", rig_open};
        b->config = (struct station_config){.name = "test",
                                            .driver = "rig",
                                            .driver_json = b->json,
                                            .driver_json_n = strlen(b->json),
                                            .build = "test",
                                            .daemon_uid = (int64_t)getuid(),
                                            .drivers = &b->row,
                                            .driver_n = 1,
                                            .limits = {.volt_max = 60,
                                                       .overtravel_um_max = 60,
                                                       .separation_um_min = 200,
                                                       .temperature_c_max = 125,
                                                       .bias_unknown_wait_s = 0.5,
                                                       .separate_when_bias_unknown = true,
                                                       .has_separate = true}};
        snprintf(b->config.log, sizeof b->config.log, "%s/log", b->dir);
        b->loop = b->rig.w->task->inbox_new(b->rig.w, 0);
        atomic_init(&b->healthy, true);
        return b;
}
static inline void bench_station(struct bench *b)
{
        struct tp_error err = {0};
        b->station = station_start(b->rig.w, &b->config, b->address, NULL, &err);
        if (!b->station)
                fail_msg("%s", err.text);
}
static bool bench_healthy(void *ctx) { return atomic_load(&((struct bench *)ctx)->healthy); }

static inline void bench_hear(struct bench *b, const struct message *m)
{
        const struct link_note *n = (const struct link_note *)m;
        if (m->kind == LINK_UP)
                b->walks = n->welcome.walks;
        else if (m->kind == LINK_EVENT)
                b->walks = n->event.walks;
}

/* The next note of that kind; others are dropped.  Fails after `seconds`. */
static inline struct link_note *bench_wait(struct bench *b, enum link_message kind, int seconds)
{
        int64_t until = world_boot_ns(b->rig.w) + seconds * NS_PER_S;
        for (struct message *m; (m = b->rig.w->task->take(b->rig.w, b->loop, until)); m->free(m)) {
                bench_hear(b, m);
                if (m->kind == (int)kind)
                        return (struct link_note *)m;
                if (m->kind == LINK_REFUSED && kind == LINK_RESULT)
                        fail_msg("refused: %s", ((struct link_note *)m)->why.text);
        }
        fail_msg("message %d did not come within %d s", (int)kind, seconds);
        return NULL;
}
static inline void note_drop(struct link_note *n) { n->message.free(&n->message); }
static inline void bench_link(struct bench *b)
{
        struct tp_error err = {0};
        b->link = link_open(b->rig.w, b->address, "test", 0, b->loop, bench_healthy, b, &err);
        assert_non_null(b->link);
        note_drop(bench_wait(b, LINK_UP, 10));
}
static inline struct link_note *bench_step(struct bench *b, uint64_t id, enum step_kind kind, struct step_args args)
{
        struct step s = {.id = id, .kind = kind, .args = args, .walks = b->walks};
        struct tp_error err = {0};
        if (link_step(b->link, &s, &err))
                fail_msg("%s", err.text);
        struct link_note *n;
        while ((n = bench_wait(b, LINK_RESULT, 20))->step != id)
                note_drop(n);
        return n;
}
static inline void bench_do(struct bench *b, uint64_t id, enum step_kind kind, struct step_args args)
{
        struct link_note *n = bench_step(b, id, kind, args);
        if (n->result.code != CODE_OK)
                fail_msg("%s: %s", step_rows[kind].word, n->result.text);
        note_drop(n);
        assert_int_equal(link_ack(b->link, id, NULL), CODE_OK);
}
/* Down on the wafer with 20 V on. */
static inline void bench_in_contact_and_biased(struct bench *b, uint64_t id)
{
        bench_do(b, id, STEP_HOME, (struct step_args){0});
        bench_do(b, id + 1, STEP_MOVE, (struct step_args){.place = PLACE_WAFER, .x_um = 100, .y_um = 50});
        bench_do(b, id + 2, STEP_LOWER, (struct step_args){.overtravel_um = 40});
        bench_do(b, id + 3, STEP_BIAS_ON, (struct step_args){.channel = 1, .volt = 20, .limit_a = 0.1});
        pthread_mutex_lock(&b->rig.mutex);
        assert_true(rig_down(&b->rig) && rig_volt(&b->rig) == 20);
        pthread_mutex_unlock(&b->rig.mutex);
}
static inline bool bench_is_safe(struct bench *b)
{
        pthread_mutex_lock(&b->rig.mutex);
        bool safe = b->rig.z_um >= 250 && rig_volt(&b->rig) < VOLT_OFF;
        pthread_mutex_unlock(&b->rig.mutex);
        return safe;
}
static inline double bench_seconds_until_safe(struct bench *b, int64_t from_ns)
{
        while (!bench_is_safe(b)) {
                if (world_boot_ns(b->rig.w) > from_ns + 10 * NS_PER_S)
                        fail_msg("not safe within 10 s");
                usleep(1000);
        }
        return (double)(world_boot_ns(b->rig.w) - from_ns) * 1e-9;
}
static inline void bench_unlink(struct bench *b, bool release)
{
        link_close(b->link, release);
        b->link = NULL;
}
static inline void bench_free(struct bench *b)
{
        char command[96];
        bench_unlink(b, true);
        station_stop(b->station);
        if (b->rig.broken_laws)
                fail_msg("%d laws broken, first: %s", b->rig.broken_laws, b->rig.first_broken);
        b->rig.w->task->inbox_free(b->rig.w, b->loop);
        host_world_free(b->rig.w);
        pthread_mutex_destroy(&b->rig.mutex);
        snprintf(command, sizeof command, "rm -r %s", b->dir);
        assert_int_equal(system(command), 0);
        free(b);
}

#endif
