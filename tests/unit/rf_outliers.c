/* Points out of line: found in raw readings of several tones and in smooth curves, with noise; nothing is found in 200 noisy sweeps without
   them, nor in a resonance; numbers that are none are refused.  The sweeps are sums of tones written here, the outliers put in by hand. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>
#include "base/arena.h"
#include "tests/unit/rf_draws.h"
#include "rf/trust/outliers.h"

enum { N = 440 };
struct sweep {
        struct arena *arena;
        struct axis axis;
        double hz[N];
        struct net2 net;
};

/* Directivity that stands still, what is reflected behind a cable, and a second echo, each of its own delay and loss; noise per component in
   parts of 0.3 + |S|. */
static void fill(struct sweep *s, uint64_t *seed, double noise)
{
        s->arena = arena_new(0);
        for (int i = 0; i < N; i++)
                s->hz[i] = 0.5e9 * (i + 1);
        assert_int_equal(axis_of(N, s->hz, &s->axis, NULL), CODE_OK);
        s->net = net2_at(arena_take(s->arena, net2_bytes(N)), &s->axis, PLANE_RECEIVER);
        for (int e = 0; e < 4; e++) {
                double tau[3] = {20e-12 * draw(seed), 100e-12 + 900e-12 * draw(seed), 1e-9 + 1e-9 * draw(seed)};
                double complex a[3] = {0.1 * normal(seed), (0.3 + 0.6 * draw(seed)) * cexp(CMPLX(0, RF_TWO_PI * draw(seed))),
                                       0.03 * normal(seed)};
                for (int i = 0; i < N; i++) {
                        double complex sum = 0;
                        for (int k = 0; k < 3; k++)
                                sum += a[k] * cexp(CMPLX(-0.3 * sqrt(s->hz[i] / 220e9), -RF_TWO_PI * s->hz[i] * tau[k]));
                        sum += noise * (0.3 + cabs(sum)) * normal(seed);
                        s->net.re[e][i] = creal(sum);
                        s->net.im[e][i] = cimag(sum);
                }
        }
}

static void times(struct sweep *s, int e, size_t i, double complex factor)
{
        double complex z = CMPLX(s->net.re[e][i], s->net.im[e][i]) * factor;
        s->net.re[e][i] = creal(z);
        s->net.im[e][i] = cimag(z);
}

static void none_in_noisy_sweeps(void **state)
{
        (void)state;
        for (uint64_t k = 1; k <= 200; k++) {
                uint64_t seed = 7919 * k;
                struct sweep s;
                struct rf_outliers o;
                fill(&s, &seed, pow(10, -5 + 2.5 * draw(&seed)));
                rf_outliers_of(&s.net, &o);
                if (o.n)
                        fail_msg("sweep %d: %s", (int)k, o.sentence);
                arena_free(s.arena);
        }
}

static void each_is_found_where_it_is(void **state)
{
        (void)state;
        static const double complex factors[] = {5, 1.2, -1, 0.5};
        size_t asked = 0, found = 0;
        for (uint64_t k = 1; k <= 40; k++) {
                uint64_t seed = 104729 * k;
                struct sweep s;
                struct rf_outliers o;
                fill(&s, &seed, 1e-4);
                size_t at = 15 + (size_t)(draw(&seed) * (N - 30));
                int e = (int)(draw(&seed) * 4);
                double before = hypot(s.net.re[e][at], s.net.im[e][at]);
                times(&s, e, at, factors[k % 4]);
                rf_outliers_of(&s.net, &o);
                for (size_t m = 0; m < o.n; m++)
                        if (o.of[m].point != at || o.of[m].entry != e)
                                fail_msg("sweep %d: %s", (int)k, o.sentence);
                double size = before * cabs(factors[k % 4] - 1);
                asked += size > 0.03;
                found += size > 0.03 && o.n == 1 && fabs(o.worst.size / size - 1) < 0.3;
                arena_free(s.arena);
        }
        assert_true(asked >= 35);
        if (found < asked)
                fail_msg("%zu of %zu outliers found", found, asked);
}

static void eight_of_them_are_named(void **state)
{
        (void)state;
        uint64_t seed = 5;
        struct sweep s;
        struct rf_outliers o;
        fill(&s, &seed, 1e-4);
        for (size_t i = 50; i <= 400; i += 50)
                for (int e = 0; e < 4; e++)
                        times(&s, e, i, 5);
        rf_outliers_of(&s.net, &o);
        assert_int_equal(o.frequency_n, 8);
        assert_int_equal(o.n, 32);
        assert_non_null(strstr(o.sentence, "at 8 points: S11, S12, S21, S22 at 25.5, 50.5, 75.5"));
        arena_free(s.arena);
}

/* Wherever it stands, to the last point and the second: found there and nowhere else.  The first two of a sweep that begins at one step have the
   sharpest bends that a circuit can make; there half of what is is asked for. */
static void at_the_ends_too(void **state)
{
        (void)state;
        static const double complex factors[] = {5, 1.2, -1, 0.5, 0};
        for (size_t k = 0; k < 220; k++) {
                uint64_t seed = 15485863 * (k + 1);
                struct sweep s;
                struct rf_outliers o;
                fill(&s, &seed, 1e-4);
                size_t q = k % 22, at = q < 11 ? q : N - 1 - (q - 11);
                double complex f = at < 2 ? (k % 2 ? 5 : -1) : factors[k % 5];
                int e = (int)(draw(&seed) * 4);
                double size = hypot(s.net.re[e][at], s.net.im[e][at]) * cabs(f - 1);
                times(&s, e, at, f);
                rf_outliers_of(&s.net, &o);
                if (size > (at < 2 ? 0.6 : 0.06) && (o.n != 1 || o.of[0].point != at || o.of[0].entry != e))
                        fail_msg("sweep %d, point %d by %.2g: %zu, %s", (int)k, (int)at, size, o.n, o.sentence);
                arena_free(s.arena);
        }
}

/* Cut anywhere, also within a resonance 3 to 40 points wide: nothing is said of either end. */
static void a_resonance_that_is_cut_is_none(void **state)
{
        (void)state;
        for (size_t k = 0; k < 240; k++) {
                uint64_t seed = 32452843 * (k + 1);
                struct sweep s;
                struct rf_outliers o;
                fill(&s, &seed, pow(10, -5 + 2 * draw(&seed)));
                double wide = 3 + 37 * draw(&seed), middle = (k % 2 ? N - 1 : 0) + 3 * wide * (draw(&seed) - 0.5);
                for (size_t i = 0; i < N; i++)
                        for (int e = 0; e < 4; e++)
                                times(&s, e, i, 1 - 0.7 / CMPLX(1, ((double)i - middle) / (wide / 2)));
                rf_outliers_of(&s.net, &o);
                if (o.n)
                        fail_msg("sweep %d, %.3g points wide at %.4g: %s", (int)k, wide, middle, o.sentence);
                arena_free(s.arena);
        }
}

/* Two sweeps as the blocks of four ports: an outlier of S43 is named as such. */
static void of_four_ports_each_entry_is_judged(void **state)
{
        (void)state;
        struct sweep s, t;
        uint64_t seed = 17;
        struct rf_outliers o;
        char why[300];
        fill(&s, &seed, 1e-4);
        fill(&t, &seed, 1e-4);
        struct netn net = netn_at(arena_take(s.arena, netn_bytes(N, 4)), &s.axis, 4, PLANE_RECEIVER);
        for (int e = 0; e < 4; e++)
                for (size_t i = 0; i < N; i++) {
                        int at = (e / 2) * 4 + e % 2;
                        net.re[at][i] = s.net.re[e][i];
                        net.im[at][i] = s.net.im[e][i];
                        net.re[10 + at][i] = t.net.re[e][i];
                        net.im[10 + at][i] = t.net.im[e][i];
                }
        rf_outliers_of_ports(&net, &o);
        assert_int_equal(o.n, 0);
        assert_true(rf_is_a_sweep_ports(&net, why, sizeof why) && !rf_stands_still(&net, why, sizeof why));
        net.re[14][N - 1] *= -1;
        net.im[14][N - 1] *= -1;
        rf_outliers_of_ports(&net, &o);
        assert_int_equal(o.n, 1);
        assert_non_null(strstr(o.sentence, "at 1 point: S43 at 220 GHz"));
        arena_free(s.arena);
        arena_free(t.arena);
}

static void hold(struct sweep *s, int e, size_t from, size_t n)
{
        for (size_t i = from + 1; i < from + n; i++) {
                s->net.re[e][i] = s->net.re[e][from];
                s->net.im[e][i] = s->net.im[e][from];
        }
}

static void what_stands_still_for_a_while_is_said(void **state)
{
        (void)state;
        struct sweep s;
        uint64_t seed = 19;
        char why[300];
        fill(&s, &seed, 1e-4);
        struct netn net = netn_of_two(&s.net);
        assert_false(rf_stands_still(&net, why, sizeof why));
        hold(&s, 2, 0, 3); /* two alike may be chance of a coarse file, three too */
        assert_false(rf_stands_still(&net, why, sizeof why));
        hold(&s, 2, N - 4, 4);
        assert_true(rf_stands_still(&net, why, sizeof why));
        assert_non_null(strstr(why, "S21 is the same to the last digit at 4 points from 218.5 to 220 GHz: a receiver stood still"));
        arena_free(s.arena);
        fill(&s, &seed, 1e-4);
        net = netn_of_two(&s.net);
        for (int e = 0; e < 4; e++)
                for (size_t i = 7; i < 10; i++)
                        times(&s, e, i, 0);
        assert_true(rf_stands_still(&net, why, sizeof why));
        assert_non_null(strstr(why, "all S are 0 at 3 of 440 frequencies, the first 4 GHz"));
        arena_free(s.arena);
        for (double digit = 0.3; digit > 1e-5; digit /= 2) { /* a file of few digits, of something slow */
                seed = 23;
                fill(&s, &seed, 1e-6);
                net = netn_of_two(&s.net);
                for (int e = 0; e < 4; e++)
                        for (size_t i = 0; i < N; i++) {
                                double complex z = 0.9 * cexp(CMPLX(0, -(double)(i * i) * 1e-6 * (e + 1)));
                                s.net.re[e][i] = round(creal(z) / digit) * digit;
                                s.net.im[e][i] = round(cimag(z) / digit) * digit;
                        }
                if (rf_stands_still(&net, why, sizeof why))
                        fail_msg("digit %g: %s", digit, why);
                arena_free(s.arena);
        }
}

/* A line of a resonance 1, 2 and 4 points wide is no outlier. */
static void a_resonance_is_none(void **state)
{
        (void)state;
        for (int wide = 1; wide <= 4; wide *= 2) {
                uint64_t seed = 9;
                struct sweep s;
                struct rf_outliers o;
                fill(&s, &seed, 1e-5);
                for (size_t i = 0; i < N; i++)
                        for (int e = 0; e < 4; e++)
                                times(&s, e, i, 1 - 0.7 / CMPLX(1, ((double)i - 200.3) / (wide / 2.0)));
                rf_outliers_of(&s.net, &o);
                if (o.n)
                        fail_msg("%d points wide: %s", wide, o.sentence);
                arena_free(s.arena);
        }
}

static void what_is_no_sweep(void **state)
{
        (void)state;
        uint64_t seed = 3;
        struct sweep s;
        char why[200];
        struct tp_error err = {0};
        fill(&s, &seed, 1e-4);
        assert_true(rf_is_a_sweep(&s.net, why, sizeof why));
        assert_int_equal(rf_values_check(&s.axis, 2, s.net.re, s.net.im, true, &err), CODE_OK);
        s.net.re[2][107] = 9.91e37;
        assert_int_equal(rf_values_check(&s.axis, 2, s.net.re, s.net.im, false, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "S21 at 5.4e+10 Hz is 9.91e+37"));
        s.net.re[2][107] = 1e160;
        assert_int_equal(rf_values_check(&s.axis, 2, s.net.re, s.net.im, true, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "S21 at 5.4e+10 Hz is 1e+160"));
        assert_int_equal(rf_values_check(&s.axis, 2, s.net.re, s.net.im, false, &err), CODE_OK);
        for (int e = 0; e < 4; e++)
                for (size_t i = 0; i < N; i++) {
                        s.net.re[e][i] = s.net.re[e][10];
                        s.net.im[e][i] = s.net.im[e][10];
                }
        assert_false(rf_is_a_sweep(&s.net, why, sizeof why));
        assert_non_null(strstr(why, "the same at all 440"));
        for (int e = 0; e < 4; e++)
                for (size_t i = 0; i < N; i++)
                        s.net.re[e][i] = s.net.im[e][i] = 0;
        assert_false(rf_is_a_sweep(&s.net, why, sizeof why));
        assert_non_null(strstr(why, "0 at all 440"));
        arena_free(s.arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(none_in_noisy_sweeps),
                cmocka_unit_test(each_is_found_where_it_is),
                cmocka_unit_test(eight_of_them_are_named),
                cmocka_unit_test(a_resonance_is_none),
                cmocka_unit_test(at_the_ends_too),
                cmocka_unit_test(a_resonance_that_is_cut_is_none),
                cmocka_unit_test(of_four_ports_each_entry_is_judged),
                cmocka_unit_test(what_stands_still_for_a_while_is_said),
                cmocka_unit_test(what_is_no_sweep),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
