/* De-embedding beside the published values: the gate against halves that are known, the limits, and everything that must be refused. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include "rf_kind.h"
#include "base/arena.h"
#include "rf/deembed/deembed_columns.c" /* this one is linked, not the room's: its loops are chosen by the test */
#include "rf/network/convert.h"
#include "rf/deembed/deembed.h"
#include "rf/numbers/dft.h"

enum { POINTS = 1100 };
static struct arena *arena;
static double hz[POINTS];
static struct axis axis;

static void grid(size_t n, double first, double step)
{
        for (size_t i = 0; i < n; i++)
                hz[i] = first + step * (double)i;
        assert_int_equal(axis_of(n, hz, &axis, NULL), CODE_OK);
}
static struct net2 *net_of(void)
{
        struct net2 *net = arena_take(arena, sizeof *net);
        *net = net2_at(arena_take(arena, net2_bytes(axis.n)), &axis, PLANE_TIP);
        return net;
}

/* A fixture half: pad, launch inductance, 5 mm of lossy 54 ohm line.  turned: seen from the device. */
static struct m2 half_chain(double f, bool turned)
{
        double complex w = CMPLX(0, RF_TWO_PI * f), gl = CMPLX(4 * sqrt(f / 1e11), RF_TWO_PI * f * 2 / RF_C0_M_S) * 5e-3;
        struct m2 pad = m2_of(1, 0, w * 6e-15, 1), launch = m2_of(1, w * 12e-12, 0, 1);
        struct m2 line = m2_of(ccosh(gl), 54 * csinh(gl), csinh(gl) / 54, ccosh(gl));
        return turned ? m2_mul(line, m2_mul(launch, pad)) : m2_mul(pad, m2_mul(launch, line));
}
static struct m2 device_chain(double f)
{
        double complex w = CMPLX(0, RF_TWO_PI * f);
        return m2_mul(m2_of(1, 0, w * 8e-15, 1), m2_of(1, 3 + w * 0.2e-9, 0, 1));
}

static void a_gated_half_is_the_one_that_was_built(void **state)
{
        (void)state;
        arena = arena_new(0);
        grid(1100, 100e6, 100e6);
        struct net2 *two = net_of(), *measured = net_of(), *out = net_of(), *half = net_of();
        for (size_t i = 0; i < axis.n; i++) {
                struct m2 h = half_chain(hz[i], false), r = half_chain(hz[i], true);
                net2_put(two, i, rf_s_from_abcd(m2_mul(h, r), 50));
                net2_put(measured, i, rf_s_from_abcd(m2_mul(h, m2_mul(device_chain(hz[i]), r)), 50));
        }
        struct tp_error err = {0};
        struct rf_named_dummy dummy = {"two_x_thru", two};
        if (rf_deembed_by_word("two_x_thru", measured, &dummy, 1, out, arena, &err) || rf_two_x_thru_half(two, NULL, half, arena, &err))
                fail_msg("%s", err.text);
        double worst = 0, worst_half = 0, nothing = 0;
        for (size_t i = 0; hz[i] < 0.9 * hz[axis.n - 1]; i++) {
                struct m2 want = rf_s_from_abcd(device_chain(hz[i]), 50);
                worst = fmax(worst, m2_distance(net2_get(out, i), want));
                nothing = fmax(nothing, m2_distance(net2_get(measured, i), want));
                worst_half = fmax(worst_half, m2_distance(net2_get(half, i), rf_s_from_abcd(half_chain(hz[i], false), 50)));
        }
        print_message("gated 2x-thru: device off by %.2g, half by %.2g up to 0.9 of the band (not de-embedded: %.2g)\n", worst, worst_half,
                      nothing);
        /* what the missing frequencies above 110 GHz cost a pad of 6 fF and 12 pH: common experience, no source */
        assert_true(worst < 0.005 && worst_half < 0.005 && nothing > 0.5);
        /* with the half known everything is exact, and the sign is followed through four turns */
        struct net2 *known = net_of();
        for (size_t i = 0; i < axis.n; i++)
                net2_put(known, i, rf_s_from_abcd(half_chain(hz[i], false), 50));
        struct dummies dummies = {{[RF_DUMMY_TWO_X_THRU] = two, [RF_DUMMY_HALF] = known}};
        assert_int_equal(rf_deembed(RF_DEEMBED_TWO_X_THRU, measured, &dummies, out, NULL, &err), CODE_OK);
        assert_int_equal(rf_two_x_thru_half(two, known, half, NULL, &err), CODE_OK);
        for (size_t i = 0; i < axis.n; i++) {
                assert_true(m2_distance(net2_get(out, i), rf_s_from_abcd(device_chain(hz[i]), 50)) < 1e-11);
                assert_true(m2_distance(net2_get(half, i), net2_get(known, i)) < 1e-11);
        }
        arena_free(arena);
}

/* Each grid or fixture that cannot be gated says what is wrong with it. */
static void refused(const char *word)
{
        struct tp_error err = {0};
        double re[POINTS], im[POINTS];
        struct net2 *two = net_of();
        for (size_t i = 0; i < axis.n; i++)
                net2_put(two, i, rf_s_from_abcd(m2_mul(half_chain(hz[i], false), half_chain(hz[i], true)), 50));
        assert_int_equal(rf_gate_half(two, 0, arena, re, im, &err), CODE_UNRESOLVABLE);
        if (!strstr(err.text, word))
                fail_msg("wanted \"%s\" in: %s", word, err.text);
}
static void what_cannot_be_gated_says_why(void **state)
{
        (void)state;
        arena = arena_new(0);
        grid(40, 1e9, 1e9);
        refused("64 points");
        grid(200, 100e6, 100e6);
        for (size_t i = 150; i < 200; i++)
                hz[i] += 30e6;
        assert_int_equal(axis_of(200, hz, &axis, NULL), CODE_OK);
        refused("uniform");
        grid(200, 1e9, 100e6);
        refused("down to dc");
        grid(200, 50e6, 50e6); /* 10 GHz: cells of 50 ps, the fixture is 67 ps long */
        refused("higher");
        grid(100, 1e9, 1e9); /* half of 1/df is 500 ps; the cut must lie below a quarter period */
        struct net2 *two = net_of();
        double re[POINTS], im[POINTS];
        struct tp_error err = {0};
        for (size_t i = 0; i < axis.n; i++)
                net2_put(two, i, m2_of(0.1, 0.1, 0.1, 0.1));
        assert_int_equal(rf_gate_half(two, 0, arena, re, im, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "-15 dB"));
        for (size_t i = 0; i < axis.n; i++)
                net2_put(two, i, m2_of(0.6, 0.3, 0.3, 0.6));
        assert_int_equal(rf_gate_half(two, 0, arena, re, im, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "|S11|"));
        arena_free(arena);
}

static void bad_dummies_are_refused_with_a_sentence(void **state)
{
        (void)state;
        arena = arena_new(0);
        grid(3, 1e9, 1e9);
        struct net2 *measured = net_of(), *open = net_of(), *shorted = net_of(), *out = net_of();
        for (size_t i = 0; i < 3; i++) {
                double complex w = CMPLX(0, RF_TWO_PI * hz[i]), p = w * 20e-15, l = 0.1 + w * 10e-12;
                net2_put(open, i, rf_s_from_y(m2_diag(p, p), 50));
                net2_put(shorted, i, rf_s_from_y(m2_diag(p + 1 / l, p + 1 / l), 50));
                net2_put(measured, i, rf_s_from_y(m2_of(p + 0.02, -0.01, -0.01, p + 0.02), 50));
        }
        struct tp_error err = {0};
        struct rf_named_dummy named[2] = {{"open", open}, {"short", shorted}};
        assert_int_equal(rf_deembed_by_word("open_short", measured, named, 2, out, NULL, &err), CODE_OK);
        assert_int_equal(rf_deembed_by_word("opn_short", measured, named, 2, out, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "three_step"));
        assert_int_equal(rf_deembed_by_word("open", measured, named, 2, out, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "makes no use of a dummy \"short\""));
        named[1].word = "open";
        assert_int_equal(rf_deembed_by_word("open_short", measured, named, 2, out, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "twice"));
        named[1].word = "shirt";
        assert_int_equal(rf_deembed_by_word("open_short", measured, named, 2, out, NULL, &err), CODE_BAD_INPUT);
        /* the short that is an open: nothing to peel by */
        named[1] = (struct rf_named_dummy){"short", open};
        assert_int_equal(rf_deembed_by_word("open_short", measured, named, 2, out, NULL, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "singular at 1e+09 Hz"));
        assert_non_null(strstr(err.text, "open, short"));
        /* not a number, in the device and in a dummy */
        named[1] = (struct rf_named_dummy){"short", shorted};
        double keep = shorted->re[2][1];
        shorted->re[2][1] = NAN;
        assert_int_equal(rf_deembed_by_word("open_short", measured, named, 2, out, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "short dummy has no finite S21 at 2e+09 Hz"));
        shorted->re[2][1] = keep;
        measured->im[0][2] = INFINITY;
        assert_int_equal(rf_deembed_by_word("open_short", measured, named, 2, out, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "the device has no finite S11 at 3e+09 Hz"));
        measured->im[0][2] = 0;
        /* another axis, plane, impedance */
        static const double other_hz[3] = {1e9, 2e9, 4e9};
        struct axis other;
        assert_int_equal(axis_of(3, other_hz, &other, NULL), CODE_OK);
        struct net2 elsewhere = net2_at(arena_take(arena, net2_bytes(3)), &other, PLANE_TIP);
        named[1].net = &elsewhere;
        assert_int_equal(rf_deembed_by_word("open_short", measured, named, 2, out, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "3 frequencies from 1e+09 to 4e+09 Hz"));
        named[1].net = shorted;
        shorted->plane = PLANE_LINE_MIDDLE;
        assert_int_equal(rf_deembed_by_word("open_short", measured, named, 2, out, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "plane"));
        shorted->plane = PLANE_TIP;
        net2_set_z(shorted, 75, 0);
        assert_int_equal(rf_deembed_by_word("open_short", measured, named, 2, out, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "75 ohm"));
        /* a thru and a line that do not transmit */
        struct net2 *blocked = net_of(), *line = net_of();
        for (size_t i = 0; i < 3; i++) {
                net2_put(blocked, i, m2_of(1, 0, 0, 1));
                net2_put(line, i, m2_of(0, 0.9, 0.9, 0));
        }
        struct rf_named_dummy thru = {"thru", blocked};
        assert_int_equal(rf_deembed_by_word("thru_pi", measured, &thru, 1, out, NULL, &err), CODE_UNRESOLVABLE);
        assert_int_equal(rf_deembed_by_word("thru_tee", measured, &thru, 1, out, NULL, &err), CODE_UNRESOLVABLE);
        double re[3], im[3];
        assert_int_equal(rf_l2l_gamma(line, blocked, 1e-4, re, im, NULL, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "does not transmit"));
        assert_int_equal(rf_l2l_gamma(line, line, -1, re, im, NULL, &err), CODE_BAD_INPUT);
        struct rf_named_dummy lines[2] = {{"line", line}, {"line_double", blocked}};
        assert_int_equal(rf_deembed_by_word("l_2l", measured, lines, 2, out, NULL, &err), CODE_UNRESOLVABLE);
        arena_free(arena);
}

/* Pads of 25 fF and leads of 20 pH: |wC z| = 0.1 at 12.7 GHz, w sqrt(LC) = 0.3 at 67.5 GHz. */
static double complex draw(uint64_t *seed)
{
        double x[2];
        for (int k = 0; k < 2; k++) {
                *seed = *seed * 6364136223846793005u + 1442695040888963407u;
                x[k] = (double)(int64_t)*seed / 9.3e18;
        }
        return CMPLX(x[0], x[1]);
}
/* Open and open-short by whole columns: what the points' way gives, in place too, and the same bytes on each kind of processor. */
static void columns_and_points_agree(void **state)
{
        static const enum deembed_method methods[] = {RF_DEEMBED_OPEN, RF_DEEMBED_OPEN_SHORT};
        uint64_t seed = 11;
        (void)state;
        arena = arena_new(0);
        grid(1100, 1e8, 1e8);
        struct net2 *measured = net_of(), *open = net_of(), *shorted = net_of(), *out = net_of(), *wide = net_of();
        for (size_t i = 0; i < axis.n; i++)
                for (int k = 0; k < 3; k++) {
                        struct m2 s = m2_diag(k == 1 ? 0.8 : k == 2 ? -0.8 : 0, k == 1 ? 0.8 : k == 2 ? -0.8 : 0);
                        for (int j = 0; j < 4; j++)
                                s.e[j] += (k ? 0.1 : 0.5) * draw(&seed);
                        net2_put(k == 1 ? open : k == 2 ? shorted : measured, i, s);
                }
        for (int m = 0; m < 2; m++) {
                kind = 0;
                assert_true(deembed_columns(methods[m], measured, open, shorted, out));
                for (size_t i = 0; i < axis.n; i++) {
                        struct m2 s[RF_DUMMY_COUNT] = {[RF_DUMMY_DEVICE] = net2_get(measured, i),
                                                       [RF_DUMMY_OPEN] = net2_get(open, i),
                                                       [RF_DUMMY_SHORT] = net2_get(shorted, i)};
                        struct m2 got = net2_get(out, i), want = rf_deembed_point(methods[m], s, 50);
                        double off = m2_distance(got, want), size = m2_distance(want, m2_diag(0, 0));
                        if (!(off <= 1e-12 * fmax(1, size * size))) /* a large S is a small determinant */
                                fail_msg("method %d, point %zu: off by %.3g at size %.3g", methods[m], i, off, size);
                }
                for (kind = 1; kind <= 2 && kind_can(kind); kind++) {
                        assert_true(deembed_columns(methods[m], measured, open, shorted, wide));
                        assert_memory_equal(wide->re[0], out->re[0], 8 * net2_stride(axis.n) * sizeof(double));
                }
                kind = -1;
                net2_copy(wide, measured);
                assert_true(deembed_columns(methods[m], wide, open, shorted, wide));
                assert_memory_equal(wide->re[0], out->re[0], 8 * net2_stride(axis.n) * sizeof(double));
                /* a perfect short has no admittance: no answer, and the device stays what it was */
                net2_copy(wide, measured);
                net2_put(wide, 1000, m2_diag(-1, -1));
                double first = wide->re[0][0];
                assert_false(deembed_columns(methods[m], wide, open, shorted, wide));
                assert_true(wide->re[0][0] == first);
        }
        /* the short that is the open at one frequency */
        net2_put(shorted, 77, net2_get(open, 77));
        assert_false(deembed_columns(RF_DEEMBED_OPEN_SHORT, measured, open, shorted, out));
        arena_free(arena);
}

static void limits_are_computed_from_the_dummies(void **state)
{
        (void)state;
        arena = arena_new(0);
        grid(1100, 100e6, 100e6);
        struct net2 *open = net_of(), *shorted = net_of();
        for (size_t i = 0; i < axis.n; i++) {
                double complex w = CMPLX(0, RF_TWO_PI * hz[i]), p = w * 25e-15, l = w * 20e-12;
                net2_put(open, i, rf_s_from_y(m2_diag(p, p), 50));
                net2_put(shorted, i, rf_s_from_y(m2_diag(p + 1 / l, p + 1 / l), 50));
        }
        struct dummies dummies = {{[RF_DUMMY_OPEN] = open, [RF_DUMMY_SHORT] = shorted}};
        struct rf_deembed_limit limit;
        struct tp_error err = {0};
        assert_int_equal(rf_deembed_limit_of(RF_DEEMBED_OPEN, &dummies, &limit, &err), CODE_OK);
        double want = 0.1 / (50 * RF_TWO_PI * 25e-15);
        assert_true(!limit.whole && limit.computed_hz <= want && limit.computed_hz > want - 100.1e6);
        assert_true(limit.practice_hz == 5e9);
        assert_non_null(strstr(limit.say, "5 GHz by common practice"));
        assert_non_null(strstr(limit.say, "|Y open| z"));
        assert_int_equal(rf_deembed_limit_of(RF_DEEMBED_OPEN_SHORT, &dummies, &limit, &err), CODE_OK);
        want = 0.3 / (RF_TWO_PI * sqrt(25e-15 * 20e-12));
        assert_true(!limit.whole && limit.computed_hz <= want && limit.computed_hz > want - 100.1e6);
        dummies.of[RF_DUMMY_SHORT] = open; /* named twice: no figure exists, and no NaN is printed */
        assert_int_equal(rf_deembed_limit_of(RF_DEEMBED_SHORT_OPEN, &dummies, &limit, &err), CODE_OK);
        assert_true(!limit.whole && isnan(limit.computed_hz) && strstr(limit.say, "has no value") && !strstr(limit.say, "nan"));
        dummies.of[RF_DUMMY_SHORT] = NULL;
        assert_int_equal(rf_deembed_limit_of(RF_DEEMBED_OPEN_SHORT, &dummies, &limit, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "short dummy"));
        for (int k = 1; k < RF_DEEMBED_COUNT; k++) { /* each row is whole */
                const struct rf_deembed_row *row = &rf_deembed_methods[k];
                assert_string_equal(row->word, rf_deembed_words[k]);
                assert_true(row->wants != 0 && row->say && row->source && row->limit_figure && row->limit_bound > 0 && row->good_hz > 0);
        }
        arena_free(arena);
}

static void transforms_of_any_length_are_the_plain_sum(void **state)
{
        (void)state;
        static const size_t lengths[] = {1, 2, 3, 8, 15, 129, 201};
        arena = arena_new(0);
        for (size_t l = 0; l < sizeof lengths / sizeof lengths[0]; l++) {
                size_t n = lengths[l];
                double complex *x = arena_take(arena, n * sizeof *x), *y = arena_take(arena, n * sizeof *y);
                void *work = arena_take(arena, dft_workspace(n));
                for (size_t k = 0; k < n; k++)
                        x[k] = y[k] = CMPLX(sin(3.0 * (double)k + 1), cos(1.7 * (double)(k * k)));
                dft(n, y, false, work);
                for (size_t k = 0; k < n; k++) {
                        double complex sum = 0;
                        for (size_t m = 0; m < n; m++)
                                sum += x[m] * cexp(CMPLX(0, -RF_TWO_PI * (double)((k * m) % n) / (double)n));
                        assert_true(cabs(sum - y[k]) < 1e-12 * (double)n);
                }
                dft(n, y, true, work);
                for (size_t k = 0; k < n; k++)
                        assert_true(cabs(y[k] / (double)n - x[k]) < 1e-13 * (double)n);
        }
        arena_free(arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(columns_and_points_agree),
                                           cmocka_unit_test(a_gated_half_is_the_one_that_was_built),
                                           cmocka_unit_test(what_cannot_be_gated_says_why),
                                           cmocka_unit_test(bad_dummies_are_refused_with_a_sentence),
                                           cmocka_unit_test(limits_are_computed_from_the_dummies),
                                           cmocka_unit_test(transforms_of_any_length_are_the_plain_sum)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
