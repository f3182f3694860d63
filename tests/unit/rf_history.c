/* Error terms of many calibrations with the same probes: a loose module, a worn tip, a losing cable show, and nothing else does. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "base/arena.h"
#include "rf/trust/history.h"

enum { N = 221 };
struct shop {
        struct arena *arena;
        struct axis axis;
        double hz[N];
        uint64_t seed;
};
static double draw(uint64_t *seed)
{
        double sum = 0; /* near enough to normal, s 1 */
        for (int k = 0; k < 12; k++) {
                *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
                sum += (double)(*seed >> 11) * 0x1p-53;
        }
        return sum - 6;
}
static void shop_open(struct shop *s)
{
        *s = (struct shop){.arena = arena_new(0), .seed = 3};
        for (size_t i = 0; i < N; i++)
                s->hz[i] = 0.05e9 + 1e9 * (double)i;
        assert_int_equal(axis_of(N, s->hz, &s->axis, NULL), CODE_OK);
}
static void put(struct terms *t, enum term k, size_t i, double complex v)
{
        t->re[k][i] = creal(v);
        t->im[k][i] = cimag(v);
}
/* A calibration on a station whose port-2 cable has this much more delay and loss, and whose module of port 1 above 145 GHz reflects this
   much more. */
static struct terms calibration(struct shop *s, double delay_s, double loss_db, double directivity_db)
{
        struct terms t = terms_at(arena_take(s->arena, terms_bytes(N)), &s->axis);
        t.model = TERMS_EIGHT;
        double breath = 1 + 0.01 * draw(&s->seed);
        for (size_t i = 0; i < N; i++) {
                double w = RF_TWO_PI * s->hz[i], f = s->hz[i] / 220e9;
                double d1 = 0.1 * breath * (s->hz[i] >= 145e9 ? pow(10, directivity_db / 20) : 1);
                put(&t, TERM_EDF, i, d1 * cexp(CMPLX(0, -w * 11e-12)));
                put(&t, TERM_ESF, i, 0.12 * breath * cexp(CMPLX(0, -w * 13e-12)));
                put(&t, TERM_ERF, i, 0.5 * cexp(CMPLX(0, -w * 80e-12)));
                put(&t, TERM_EDR, i, 0.08 * cexp(CMPLX(0, -w * 9e-12)));
                put(&t, TERM_ESR, i, 0.1 * cexp(CMPLX(0, -w * 7e-12)));
                put(&t, TERM_ERR, i,
                    0.6 * cexp(CMPLX(-2 * loss_db / RF_DB_PER_NEPER * sqrt(f * 220e9 / s->hz[N - 1]), -w * (90e-12 + 2 * delay_s))));
                put(&t, TERM_ELF, i, 0.1 * cexp(CMPLX(0, -w * 7e-12)));
                put(&t, TERM_ELR, i, 0.12 * cexp(CMPLX(0, -w * 13e-12)));
        }
        return t;
}

static void descriptors_are_what_was_put_in(void **state)
{
        (void)state;
        struct shop s;
        shop_open(&s);
        s.seed = 1;
        struct terms first = calibration(&s, 0, 0, 0), now = calibration(&s, 12e-12, 0.35, 6);
        struct rf_descriptors d, d0;
        assert_int_equal(rf_describe(&now, &first, NULL, 0, &d, NULL), CODE_OK);
        assert_int_equal(rf_describe(&first, NULL, NULL, 0, &d0, NULL), CODE_OK);
        assert_true(fabs(d.delay_s[1] - 12e-12) < 1e-17 && fabs(d.loss_db[1] - 0.35) < 1e-9 &&
                    d.left[1] < 1e-9); /* 12 ps is five turns at the top: followed */
        assert_true(fabs(d.delay_s[0]) < 1e-18 && fabs(d.loss_db[0]) < 1e-9);
        assert_true(isnan(d0.delay_s[0]));
        size_t top = d.band_n - 1;
        assert_true(d.band[top].from_hz == 145e9);
        assert_true(fabs(d.band[top].directivity_db[0] - d0.band[top].directivity_db[0] - 6) < 0.5);
        assert_true(fabs(d.band[3].directivity_db[1] - 20 * log10(0.08)) < 1e-9);
        assert_true(fabs(d.band[3].match_db[1] + 20) < 1e-9 && fabs(d.band[3].load_db[1] + 20) < 1e-9);
        assert_true(fabs(d.band[3].tracking_db[0] - 10 * log10(0.5)) < 1e-9); /* one way */
        assert_true(isnan(d.band[1].match_db[0]));                            /* no point between 0.1 and 1 GHz */
        arena_free(s.arena);
}

struct told {
        struct rf_history_answer a;
        size_t n;
};
static void judge(struct shop *s, size_t n, double delay_step, double loss_step, double last_directivity_db, struct told *to)
{
        struct rf_descriptors *list = arena_take(s->arena, n * sizeof *list);
        const struct rf_descriptors **at = arena_take(s->arena, n * sizeof *at);
        struct terms first = {0};
        for (size_t k = 0; k < n; k++) {
                double moved = (double)(k > n - 8 ? k - (n - 8) : 0); /* something that began eight calibrations ago */
                struct terms t = calibration(s, 20e-15 * draw(&s->seed) + delay_step * moved, 0.005 * draw(&s->seed) + loss_step * moved,
                                             k + 1 == n ? last_directivity_db : 0);
                if (k == 0)
                        first = t;
                assert_int_equal(rf_describe(&t, &first, NULL, 0, &list[k], NULL), CODE_OK);
                at[k] = &list[k];
        }
        struct tp_error err = {0};
        if (rf_history_judge(at, n, arena_take(s->arena, rf_history_workspace(n)), &to->a, &err))
                fail_msg("%s", err.text);
}

static void a_history_names_what_moved(void **state)
{
        (void)state;
        struct shop s;
        struct told t;
        shop_open(&s);
        judge(&s, 31, 0, 0, 0, &t);
        if (t.a.moved_n)
                fail_msg("%s", t.a.sentence);
        judge(&s, 31, 0, 0, 6, &t);
        print_message("%s\n", t.a.sentence);
        assert_true(t.a.moved_n == 1);
        assert_non_null(strstr(t.a.sentence, "directivity of port 1 above 145 GHz is out by +"));
        assert_non_null(strstr(t.a.finding[0].sentence, "module"));
        judge(&s, 40, 0, 0.03, 0, &t);
        print_message("%s\n", t.a.sentence);
        assert_true(t.a.moved_n >= 1);
        assert_non_null(strstr(t.a.sentence, "port 2"));
        assert_non_null(strstr(t.a.sentence, "loses"));
        judge(&s, 40, 60e-15, 0, 0, &t);
        print_message("%s\n", t.a.sentence);
        assert_true(t.a.moved_n == 1);
        assert_non_null(strstr(t.a.sentence, "delay of port 2"));
        judge(&s, 5, 0, 0, 6, &t); /* no chart yet, but nobody needs one for 6 dB */
        print_message("%s\n", t.a.sentence);
        assert_true(t.a.moved_n == 1);
        judge(&s, 5, 0, 0, 1, &t);
        assert_int_equal(t.a.moved_n, 0);
        judge(&s, 1, 0, 0, 0, &t);
        assert_non_null(strstr(t.a.sentence, "first calibration"));
        arena_free(s.arena);
}

static void quiet_histories_stay_quiet(void **state)
{
        (void)state;
        struct shop s;
        struct told t;
        shop_open(&s);
        size_t alarms = 0, rounds = 60;
        for (size_t r = 0; r < rounds; r++) {
                judge(&s, 31, 0, 0, 0, &t);
                alarms += t.a.moved_n > 0;
        }
        print_message("%zu of %zu quiet histories alarmed\n", alarms, rounds);
        assert_true(alarms <= 4);
        arena_free(s.arena);
}

static void bad_histories_are_refused(void **state)
{
        (void)state;
        struct shop s;
        shop_open(&s);
        struct terms t = calibration(&s, 0, 0, 0), none = terms_at(arena_take(s.arena, terms_bytes(N)), &s.axis);
        struct rf_descriptors d, e;
        struct rf_history_answer a;
        struct tp_error err = {0};
        double edges[3] = {1e9, 2e9, 2e9}, room[100];
        assert_int_equal(rf_describe(&none, NULL, NULL, 0, &d, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_describe(&t, &none, NULL, 0, &d, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_describe(&t, NULL, edges, 3, &d, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_describe(&t, NULL, edges, 1, &d, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_describe(&t, NULL, edges, 2, &d, &err), CODE_OK);
        assert_int_equal(rf_describe(&t, NULL, NULL, 0, &e, &err), CODE_OK);
        const struct rf_descriptors *two[2] = {&d, &e};
        assert_int_equal(rf_history_judge(two, 2, room, &a, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_history_judge(two, 0, room, &a, &err), CODE_BAD_INPUT);
        for (size_t i = 0; i < N; i++)
                put(&t, TERM_EDF, i, NAN);
        assert_int_equal(rf_describe(&t, NULL, NULL, 0, &d, &err), CODE_OK);
        assert_true(isnan(d.band[4].directivity_db[0])); /* NaN terms say nothing */
        arena_free(s.arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(descriptors_are_what_was_put_in), cmocka_unit_test(a_history_names_what_moved),
                                           cmocka_unit_test(quiet_histories_stay_quiet), cmocka_unit_test(bad_histories_are_refused)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
