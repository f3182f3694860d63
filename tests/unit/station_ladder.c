/* The ladder from every state, with every pattern of failures, and over a small true station that may fail in any way. */
#include "station/ladder.h"
#include "recipe/recipe.h"
#include <inttypes.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#define SECOND INT64_C(1000000000)
static struct limits limits_of(bool leaves)
{
        return (struct limits){.volt_max = 60,
                               .volt_max_unarmed = 60,
                               .overtravel_um_max = 60,
                               .separation_um_min = 200,
                               .temperature_c_max = 125,
                               .channels = 2,
                               .bias_unknown_wait_ns = 30 * SECOND,
                               .separate_when_bias_unknown = leaves};
}

/* ---- a true station ---- */
struct truth {
        bool up;
        double volt;
        bool stage_dead, bias_dead, bias_stuck, stage_sticks, reads_fail;
};
struct walk {
        int rungs;
        bool proven, latched, read_up, read_off, separated_biased, separated_unproven;
        int64_t now_ns;
};

static enum code carry_out(struct truth *t, const struct op *op, struct readback *rb, struct walk *w, bool fails)
{
        *rb = (struct readback){0};
        switch (op->kind) {
        case OP_STOP:
                return t->stage_dead || fails ? CODE_TIMED_OUT : CODE_OK;
        case OP_WHERE:
                if (t->stage_dead || fails)
                        return CODE_LINK_DEAD;
                *rb = (struct readback){.has_position = true,
                                        .z_um = t->up ? 300 : -40,
                                        .place = PLACE_WAFER,
                                        .separated = t->up,
                                        .in_contact = !t->up,
                                        .axes = true};
                return CODE_OK;
        case OP_SEPARATE:
                if (t->stage_dead || fails)
                        return CODE_TIMED_OUT;
                if (t->volt >= VOLT_OFF && !t->up)
                        w->separated_biased = true;
                t->up = t->up || !t->stage_sticks;
                return CODE_OK;
        case OP_BIAS_ZERO:
                if (t->bias_dead || fails)
                        return CODE_LINK_DEAD;
                t->volt = t->bias_stuck ? t->volt : 0.01;
                return CODE_OK;
        case OP_READ_BIAS:
                if (t->bias_dead || t->reads_fail || fails)
                        return CODE_BAD_REPLY;
                *rb = (struct readback){.has_volt = true, .volt_max = t->volt};
                return CODE_OK;
        case OP_WAIT:
                w->now_ns += op->wait_ns;
                return CODE_OK;
        case OP_NONE:
        case OP_HOME:
        case OP_ALIGN:
        case OP_MOVE:
        case OP_LOWER:
        case OP_BIAS_SET:
        case OP_SWEEP:
        case OP_METER:
        case OP_LAMP:
        case OP_UNLOAD:
        case OP_SPACING:
        case OP_READ_SPACING:
        case OP_PROVEN:
        case OP_LATCH:
        case OP_KIND_COUNT:
                break;
        }
        fail_msg("the ladder asks for %d", (int)op->kind);
        return CODE_BUG;
}

/* One rung: admit, act, settle, as the station does it.  True while the walk goes on. */
static bool one_rung(const struct limits *limits, struct hazard *h, struct truth *t, struct walk *w, bool fails)
{
        struct op op = ladder_next(limits, h, w->now_ns);
        struct readback rb;
        struct hazard during;
        assert_true(++w->rungs <= LADDER_RUNGS);
        assert_true(op.why && op.why[0]);
        assert_true(op.rung > h->rung || h->rung >= LADDER_RUNGS);
        h->rung = op.rung;
        w->now_ns += 1000000;
        if (interlock_admit(limits, h, &op, w->now_ns, &during, NULL))
                return true; /* refused: the ladder goes on to the next rung */
        w->proven = op.kind == OP_PROVEN;
        w->latched = op.kind == OP_LATCH;
        if (op.kind == OP_SEPARATE && h->bias_off != KNOW_KNOWN)
                w->separated_unproven = true;
        if (op.kind == OP_PROVEN || op.kind == OP_LATCH) {
                interlock_settle(h, &op, CODE_OK, NULL, w->now_ns);
                return false;
        }
        *h = during;
        enum code code = carry_out(t, &op, &rb, w, fails);
        interlock_settle(h, &op, code, &rb, w->now_ns);
        if (op.kind == OP_WHERE)
                w->read_up = !code && rb.separated;
        if (op.kind == OP_SEPARATE)
                w->read_up = false;
        if (op.kind == OP_READ_BIAS)
                w->read_off = !code && rb.volt_max < VOLT_OFF;
        if (op.kind == OP_BIAS_ZERO)
                w->read_off = false;
        return true;
}

static void check_end(const struct limits *limits, const struct hazard *h, const struct truth *t, const struct walk *w)
{
        assert_true(w->proven != w->latched);
        if (w->proven)
                assert_true(t->up && t->volt < VOLT_OFF && w->read_up && w->read_off && hazard_safe(limits, h));
        if (w->latched)
                assert_true(h->latched);
        if (w->separated_unproven)
                assert_true(limits->separate_when_bias_unknown && w->now_ns >= limits->bias_unknown_wait_ns);
        if (w->separated_biased)
                assert_true(limits->separate_when_bias_unknown && w->latched);
}

static void every_state_has_a_rung_and_every_path_ends(void **state)
{
        (void)state;
        for (unsigned i = 0; i < 81 * 64 * (LADDER_RUNGS + 3); i++) {
                unsigned n = i;
                struct hazard h = {.z_um = 300, .volt_max = 1};
                struct limits limits = limits_of(true);
                h.separated = n % 3, n /= 3;
                h.in_contact = n % 3, n /= 3;
                h.bias_off = n % 3, n /= 3;
                h.axes = n % 3, n /= 3;
                h.moving = n & 1, h.bias_moving = n & 2, h.latched = n & 4, h.loop_closed = n & 8,
                limits.separate_when_bias_unknown = n & 16;
                h.unknown_since_ns = n & 32 ? 0 : -40 * SECOND;
                n /= 64;
                h.rung = (int32_t)n - 1;
                struct op op = ladder_next(&limits, &h, 0);
                assert_true(op.rung > h.rung || h.rung >= LADDER_RUNGS);
                assert_true(op.kind == OP_STOP || op.kind == OP_WHERE || op.kind == OP_BIAS_ZERO || op.kind == OP_READ_BIAS ||
                            op.kind == OP_WAIT || op.kind == OP_SEPARATE || op.kind == OP_PROVEN || op.kind == OP_LATCH);
                if (op.kind == OP_PROVEN)
                        assert_true(h.separated == KNOW_KNOWN && h.bias_off == KNOW_KNOWN && !h.moving && !h.bias_moving);
                if (op.kind == OP_SEPARATE && h.bias_off != KNOW_KNOWN)
                        assert_true(limits.separate_when_bias_unknown);
                int more = 0;
                while (op.kind != OP_PROVEN && op.kind != OP_LATCH) { /* nothing ever succeeds */
                        h.rung = op.rung;
                        op = ladder_next(&limits, &h, 0);
                        assert_true(++more <= LADDER_RUNGS);
                }
        }
}

/* All patterns of failures, depth first: at each rung the driver answers or does not. */
static unsigned long patterns(const struct limits *limits, struct hazard h, struct truth t, struct walk w)
{
        unsigned long n = 0;
        for (int fails = 0; fails < 2; fails++) {
                struct hazard h2 = h;
                struct truth t2 = t;
                struct walk w2 = w;
                if (one_rung(limits, &h2, &t2, &w2, fails))
                        n += patterns(limits, h2, t2, w2);
                else {
                        check_end(limits, &h2, &t2, &w2);
                        return n + 1;
                }
        }
        return n;
}

static void every_pattern_of_driver_failures_ends_proven_or_latched(void **state)
{
        (void)state;
        unsigned long n = 0;
        for (int leaves = 0; leaves < 2; leaves++)
                for (int up = 0; up < 2; up++) {
                        struct limits limits = limits_of(leaves);
                        struct hazard h;
                        hazard_init(&h, 0);
                        ladder_begin(&h, 0);
                        n += patterns(&limits, h, (struct truth){.up = up, .volt = 28}, (struct walk){0});
                }
        print_message("%lu patterns\n", n);
        assert_true(n > 1000);
}

static uint64_t draw(uint64_t *s) /* xorshift64 (Marsaglia, J. Stat. Softw. 8 (2003) 14) */
{
        *s ^= *s << 13, *s ^= *s >> 7, *s ^= *s << 17;
        return *s;
}

static void random_stations_are_proven_only_when_they_truly_are(void **state)
{
        (void)state;
        unsigned proven = 0, latched = 0;
        for (uint64_t seed = 1; seed <= 200000; seed++) {
                uint64_t s = seed * UINT64_C(0x9E3779B97F4A7C15);
                struct limits limits = limits_of(draw(&s) & 1);
                uint64_t bits = draw(&s);
                struct truth t = {.up = bits & 1,
                                  .volt = bits & 2   ? 28
                                          : bits & 4 ? -28
                                                     : 0.1,
                                  .stage_dead = !(bits & 0x70),
                                  .bias_dead = !(bits & 0x700),
                                  .bias_stuck = !(bits & 0x7000),
                                  .stage_sticks = !(bits & 0x70000),
                                  .reads_fail = !(bits & 0x700000)};
                t.volt = fabs(t.volt);
                unsigned fail_per_16 = (unsigned)(draw(&s) % 8);
                struct hazard h = {.separated = bits >> 32 & 1 ? KNOW_KNOWN : KNOW_UNKNOWN,
                                   .bias_off = bits >> 33 & 1 ? KNOW_KNOWN : KNOW_UNKNOWN,
                                   .moving = bits >> 34 & 1,
                                   .bias_moving = bits >> 35 & 1,
                                   .z_um = 300,
                                   .latched = bits >> 36 & 1}; /* believes what is not so */
                struct walk w = {0};
                ladder_begin(&h, 0);
                while (one_rung(&limits, &h, &t, &w, draw(&s) % 16 < fail_per_16))
                        ;
                check_end(&limits, &h, &t, &w);
                if (w.latched && !t.stage_dead && !t.bias_dead && !t.bias_stuck && !t.stage_sticks && !t.reads_fail && fail_per_16 == 0)
                        fail_msg("seed %" PRIu64 ": a sound station was latched", seed);
                proven += w.proven, latched += w.latched;
        }
        assert_true(proven > 10000 && latched > 10000); /* the control: both ends are met */
}

static void bias_that_cannot_be_read_latches_in_place_when_the_file_says_so(void **state)
{
        (void)state;
        for (int leaves = 0; leaves < 2; leaves++) {
                struct limits limits = limits_of(leaves);
                struct truth t = {.up = false, .volt = 28, .bias_dead = true};
                struct hazard h;
                struct walk w = {0};
                hazard_init(&h, 0);
                ladder_begin(&h, 0);
                while (one_rung(&limits, &h, &t, &w, false))
                        ;
                assert_true(w.latched);
                assert_int_equal(t.up, leaves);
                assert_true(w.now_ns >= 30 * SECOND); /* it waited before it gave up */
        }
}

static void a_sound_station_is_safe_within_seven_rungs_and_moves_only_if_it_must(void **state)
{
        (void)state;
        struct limits limits = limits_of(true);
        struct truth t = {.up = false, .volt = 28};
        struct hazard h;
        struct walk w = {0};
        hazard_init(&h, 0);
        ladder_begin(&h, 0);
        while (one_rung(&limits, &h, &t, &w, false))
                ;
        assert_true(w.proven && w.rungs <= 7 && w.now_ns < SECOND);
        ladder_begin(&h, w.now_ns);
        assert_int_equal(h.separated, KNOW_BELIEVED);
        t.stage_sticks = true; /* a stage that could not separate is not asked to: it is up already */
        struct walk again = {0};
        while (one_rung(&limits, &h, &t, &again, false))
                ;
        assert_true(again.proven && again.rungs <= 5);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(every_state_has_a_rung_and_every_path_ends),
                cmocka_unit_test(every_pattern_of_driver_failures_ends_proven_or_latched),
                cmocka_unit_test(random_stations_are_proven_only_when_they_truly_are),
                cmocka_unit_test(bias_that_cannot_be_read_latches_in_place_when_the_file_says_so),
                cmocka_unit_test(a_sound_station_is_safe_within_seven_rungs_and_moves_only_if_it_must),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
