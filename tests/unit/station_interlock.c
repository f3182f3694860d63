/* Every operation in every state: the laws are written here once more, in other words than interlock.c. */
#include "station/interlock.h"
#include "recipe/recipe.h"
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

static const struct limits station_limits = {.volt_max = 100,
                                             .volt_max_unarmed = 60,
                                             .overtravel_um_max = 60,
                                             .separation_um_min = 200,
                                             .temperature_c_max = 125,
                                             .channels = 2,
                                             .bias_unknown_wait_ns = 30000,
                                             .separate_when_bias_unknown = true};
enum { NOW_NS = 1000000 };

static struct op op_good(enum op_kind kind)
{
        return (struct op){.kind = kind,
                           .x_um = 100,
                           .y_um = -50,
                           .overtravel_um = 40,
                           .volt = 5,
                           .limit_a = 0.01,
                           .place = PLACE_WAFER,
                           .spacing_um = 450};
}

/* Calls `each` for every combination of what can be known. */
static void every_state(void (*each)(const struct hazard *, void *ctx), void *ctx)
{
        static const double heights_um[] = {-40, 150, 300, NAN};
        for (unsigned i = 0; i < 81 * 4 * 128 * 4; i++) {
                unsigned n = i;
                struct hazard h = {.volt_max = 3, .place = PLACE_WAFER, .temperature_c = 25};
                h.separated = n % 3, n /= 3;
                h.in_contact = n % 3, n /= 3;
                h.bias_off = n % 3, n /= 3;
                h.axes = n % 3, n /= 3;
                h.z_um = heights_um[n % 4], n /= 4;
                h.loop_closed = n & 1, h.vacuum = n & 2, h.moving = n & 4, h.bias_moving = n & 8, h.latched = n & 16;
                h.rung = n & 32 ? 5 : 0;
                h.unknown_since_ns = n & 64 ? 0 : NOW_NS; /* waited long enough, or not at all */
                n /= 128;
                h.temperature_c = n & 1 ? 25 : 150;
                h.driver_lost_stage = h.driver_lost_bias = n & 2;
                each(&h, ctx);
        }
}

static void check_laws(const struct hazard *h, void *ctx)
{
        unsigned *admitted = ctx;
        bool up = h->separated == KNOW_KNOWN && h->in_contact != KNOW_KNOWN && (h->axes != KNOW_KNOWN || h->z_um >= 200);
        bool cold = h->bias_off == KNOW_KNOWN && !h->bias_moving;
        for (int kind = 0; kind < OP_KIND_COUNT; kind++) {
                struct op op = op_good((enum op_kind)kind);
                struct hazard during;
                struct tp_error err = {0};
                enum code code = interlock_admit(&station_limits, h, &op, NOW_NS, &during, &err);
                if (code) {
                        assert_int_equal(code, CODE_INTERLOCK);
                        assert_true(err.text[0]);
                        continue;
                }
                admitted[kind]++;
                bool sideways = kind == OP_HOME || kind == OP_ALIGN || kind == OP_MOVE || kind == OP_UNLOAD || kind == OP_SPACING;
                bool way_out = kind == OP_STOP || kind == OP_BIAS_ZERO || kind == OP_READ_BIAS || kind == OP_WHERE || kind == OP_WAIT ||
                               kind == OP_READ_SPACING || kind == OP_SEPARATE || kind == OP_PROVEN || kind == OP_LATCH;
                if (sideways)
                        assert_true(up && !h->moving);
                if (kind == OP_LOWER)
                        assert_true(up && cold && h->axes == KNOW_KNOWN && h->vacuum && h->temperature_c <= 125 && !h->moving);
                if (kind == OP_SEPARATE)
                        assert_true(cold || (h->rung > 0 && h->unknown_since_ns == 0));
                if (kind == OP_BIAS_SET)
                        assert_true(h->in_contact == KNOW_KNOWN && h->separated != KNOW_KNOWN && !h->moving && h->vacuum);
                if (h->latched || !h->loop_closed)
                        assert_true(way_out);
                assert_int_not_equal(kind, OP_NONE);
                if (kind == OP_SPACING)
                        assert_true(up && cold && !h->moving);
                if (kind == OP_HOME || kind == OP_ALIGN || kind == OP_MOVE || kind == OP_LOWER || kind == OP_SEPARATE ||
                    kind == OP_SPACING) {
                        assert_int_equal(during.separated, KNOW_UNKNOWN);
                        assert_int_equal(during.in_contact, KNOW_UNKNOWN);
                        assert_true(during.moving);
                }
                if (kind == OP_BIAS_SET || kind == OP_BIAS_ZERO)
                        assert_true(during.bias_off == KNOW_UNKNOWN && during.bias_moving);
                assert_true(during.latched == h->latched); /* nothing but a person clears a latch */
        }
}

static void no_state_admits_an_operation_against_the_laws(void **state)
{
        (void)state;
        unsigned admitted[OP_KIND_COUNT] = {0};
        every_state(check_laws, admitted);
        for (int kind = 1; kind < OP_KIND_COUNT; kind++) /* the control: laws that refuse everything would pass the test above */
                if (!admitted[kind])
                        fail_msg("%s is never admitted", op_rows[kind].word);
}

static void check_way_out(const struct hazard *h, void *ctx)
{
        (void)ctx;
        static const enum op_kind out[] = {OP_STOP, OP_BIAS_ZERO, OP_READ_BIAS, OP_WHERE, OP_WAIT};
        for (size_t i = 0; i < sizeof out / sizeof *out; i++) {
                struct op op = op_good(out[i]);
                struct hazard during;
                assert_int_equal(interlock_admit(&station_limits, h, &op, NOW_NS, &during, NULL), CODE_OK);
        }
        struct op op = op_good(OP_SEPARATE);
        struct hazard during;
        if (h->bias_off == KNOW_KNOWN && !h->bias_moving)
                assert_int_equal(interlock_admit(&station_limits, h, &op, NOW_NS, &during, NULL), CODE_OK);
}

static void the_way_to_safety_is_never_barred(void **state)
{
        (void)state;
        every_state(check_way_out, NULL);
}

static void check_settle(const struct hazard *h, void *ctx)
{
        (void)ctx;
        struct readback rb = {.has_position = true,
                              .z_um = 300,
                              .place = PLACE_WAFER,
                              .separated = true,
                              .axes = true,
                              .has_volt = true,
                              .volt_max = 0.01};
        for (int kind = 0; kind < OP_KIND_COUNT; kind++) {
                for (int failed = 0; failed < 3; failed++) {
                        struct hazard after = *h;
                        struct op op = op_good((enum op_kind)kind);
                        enum code code = failed == 0 ? CODE_OK : failed == 1 ? CODE_BAD_REPLY : CODE_LINK_DEAD;
                        interlock_settle(&after, &op, code, &rb, NOW_NS);
                        bool moves = kind == OP_HOME || kind == OP_ALIGN || kind == OP_MOVE || kind == OP_LOWER || kind == OP_SEPARATE;
                        bool bias = kind == OP_BIAS_SET || kind == OP_BIAS_ZERO;
                        if (moves)
                                assert_true(after.separated != KNOW_KNOWN && after.in_contact != KNOW_KNOWN);
                        if (bias)
                                assert_true(after.bias_off != KNOW_KNOWN);
                        if (failed && (moves || kind == OP_WHERE))
                                assert_true(after.separated == KNOW_UNKNOWN && after.in_contact == KNOW_UNKNOWN);
                        if (failed && (bias || kind == OP_READ_BIAS))
                                assert_true(after.bias_off == KNOW_UNKNOWN);
                        if (failed && moves)
                                assert_true(after.moving);
                        if (!failed && kind == OP_WHERE)
                                assert_int_equal(after.separated, KNOW_KNOWN);
                        if (kind != OP_WHERE && h->separated != KNOW_KNOWN)
                                assert_true(after.separated != KNOW_KNOWN); /* only a reading makes anything known */
                        if (kind != OP_READ_BIAS && h->bias_off != KNOW_KNOWN)
                                assert_true(after.bias_off != KNOW_KNOWN);
                        if (h->latched || kind == OP_LATCH)
                                assert_true(after.latched);
                }
        }
}

static void only_a_reading_makes_known_and_a_failure_leaves_unknown(void **state)
{
        (void)state;
        every_state(check_settle, NULL);
}

static struct hazard ready_to_lower(void)
{
        return (struct hazard){.separated = KNOW_KNOWN,
                               .bias_off = KNOW_KNOWN,
                               .axes = KNOW_KNOWN,
                               .z_um = 300,
                               .place = PLACE_WAFER,
                               .loop_closed = true,
                               .vacuum = true,
                               .temperature_c = 25};
}

static enum code ask(const struct hazard *h, const struct limits *limits, struct op op)
{
        struct hazard during;
        struct tp_error err = {0};
        enum code code = interlock_admit(limits, h, &op, NOW_NS, &during, &err);
        assert_true(!code == !err.text[0]);
        return code;
}

static void overtravel_beyond_the_limit_is_refused(void **state)
{
        (void)state;
        static const struct {
                double um;
                enum code want;
        } rows[] = {{40, CODE_OK},        {60, CODE_OK},         {60.001, CODE_INTERLOCK},  {0, CODE_INTERLOCK},
                    {-5, CODE_INTERLOCK}, {NAN, CODE_INTERLOCK}, {INFINITY, CODE_INTERLOCK}};
        struct hazard h = ready_to_lower();
        for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
                struct op op = op_good(OP_LOWER);
                op.overtravel_um = rows[i].um;
                assert_int_equal(ask(&h, &station_limits, op), rows[i].want);
        }
}

static void bias_above_60_volt_needs_the_key_and_never_passes_the_ceiling(void **state)
{
        (void)state;
        static const struct {
                double volt;
                bool armed;
                enum code want;
        } rows[] = {{60, false, CODE_OK},
                    {-60, false, CODE_OK},
                    {60.01, false, CODE_INTERLOCK},
                    {-61, false, CODE_INTERLOCK},
                    {61, true, CODE_OK},
                    {100, true, CODE_OK},
                    {100.1, true, CODE_INTERLOCK},
                    {-101, true, CODE_INTERLOCK},
                    {NAN, true, CODE_INTERLOCK},
                    {INFINITY, true, CODE_INTERLOCK}};
        struct hazard h = ready_to_lower();
        h.separated = KNOW_UNKNOWN, h.in_contact = KNOW_KNOWN, h.z_um = -40;
        for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
                struct limits limits = station_limits;
                struct op op = op_good(OP_BIAS_SET);
                limits.armed = rows[i].armed;
                op.volt = rows[i].volt;
                assert_int_equal(ask(&h, &limits, op), rows[i].want);
        }
        struct op op = op_good(OP_BIAS_SET);
        op.channel = 2;
        assert_int_equal(ask(&h, &station_limits, op), CODE_INTERLOCK);
        op = op_good(OP_BIAS_SET);
        op.limit_a = NAN;
        assert_int_equal(ask(&h, &station_limits, op), CODE_INTERLOCK);
        op.by_current = true; /* a held current: 0 as well, never without a voltage limit, which is a bias like any other */
        assert_int_equal(ask(&h, &station_limits, op), CODE_INTERLOCK);
        op.limit_a = 0;
        assert_int_equal(ask(&h, &station_limits, op), CODE_OK);
        op.limit_a = -1e-3;
        assert_int_equal(ask(&h, &station_limits, op), CODE_OK);
        op.volt = 61;
        assert_int_equal(ask(&h, &station_limits, op), CODE_INTERLOCK);
        op.volt = 0;
        assert_int_equal(ask(&h, &station_limits, op), CODE_INTERLOCK);
        op.volt = -1;
        assert_int_equal(ask(&h, &station_limits, op), CODE_INTERLOCK);
}

static void numbers_that_are_none_and_places_that_are_none_are_refused(void **state)
{
        (void)state;
        struct hazard h = ready_to_lower();
        struct op op = op_good(OP_MOVE);
        assert_int_equal(ask(&h, &station_limits, op), CODE_OK);
        op.x_um = NAN;
        assert_int_equal(ask(&h, &station_limits, op), CODE_INTERLOCK);
        op = op_good(OP_MOVE);
        op.place = PLACE_COUNT;
        assert_int_equal(ask(&h, &station_limits, op), CODE_INTERLOCK);
        op = op_good((enum op_kind)99);
        assert_int_equal(ask(&h, &station_limits, op), CODE_INTERLOCK);
        h.temperature_c = NAN;
        assert_int_equal(ask(&h, &station_limits, op_good(OP_LOWER)), CODE_INTERLOCK);
}

static void a_reading_of_bias_must_be_below_half_a_volt_and_a_number(void **state)
{
        (void)state;
        static const struct {
                double volt;
                enum know want;
        } rows[] = {{0, KNOW_KNOWN},      {0.499, KNOW_KNOWN}, {-0.499, KNOW_KNOWN}, {0.5, KNOW_UNKNOWN},
                    {-0.6, KNOW_UNKNOWN}, {28, KNOW_UNKNOWN},  {NAN, KNOW_UNKNOWN}};
        for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
                struct hazard h = {0};
                struct op op = op_good(OP_READ_BIAS);
                interlock_settle(&h, &op, CODE_OK, &(struct readback){.has_volt = true, .volt_max = rows[i].volt}, NOW_NS);
                assert_int_equal(h.bias_off, rows[i].want);
        }
}

static void a_stage_that_says_up_and_down_at_once_says_nothing(void **state)
{
        (void)state;
        struct hazard h = ready_to_lower();
        struct op op = op_good(OP_WHERE);
        interlock_settle(&h, &op, CODE_OK,
                         &(struct readback){.has_position = true, .z_um = 300, .separated = true, .in_contact = true, .axes = true},
                         NOW_NS);
        assert_int_equal(h.separated, KNOW_UNKNOWN);
        assert_int_equal(h.in_contact, KNOW_UNKNOWN);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(no_state_admits_an_operation_against_the_laws),
                cmocka_unit_test(the_way_to_safety_is_never_barred),
                cmocka_unit_test(only_a_reading_makes_known_and_a_failure_leaves_unknown),
                cmocka_unit_test(overtravel_beyond_the_limit_is_refused),
                cmocka_unit_test(bias_above_60_volt_needs_the_key_and_never_passes_the_ceiling),
                cmocka_unit_test(numbers_that_are_none_and_places_that_are_none_are_refused),
                cmocka_unit_test(a_reading_of_bias_must_be_below_half_a_volt_and_a_number),
                cmocka_unit_test(a_stage_that_says_up_and_down_at_once_says_nothing),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
