/* Quantities over a network: what can be resolved and what is refused, plateaus, bad input. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include "rf/network/convert.h"
#include "rf/extract/plateau.h"
#include "rf/extract/quantity.h"

enum { POINTS = 200 };
static struct arena *arena;
static double hz[POINTS], u_s[POINTS];
static struct axis axis;

/* Logarithmic from 70 kHz to 220 GHz, as a station sweeps. */
static struct net2 net_on(size_t n, double first, double last)
{
        for (size_t i = 0; i < n; i++)
                hz[i] = first * pow(last / first, n > 1 ? (double)i / (double)(n - 1) : 0);
        assert_int_equal(axis_of(n, hz, &axis, NULL), CODE_OK);
        return net2_at(arena_take(arena, net2_bytes(n)), &axis, PLANE_DEVICE);
}
static int arena_open(void **state)
{
        (void)state;
        arena = arena_new(0);
        return 0;
}
static int arena_done(void **state)
{
        (void)state;
        arena_free(arena);
        return 0;
}

static struct m2 series(double complex z) { return rf_s_from_y(m2_scale(1 / z, m2_of(1, -1, -1, 1)), 50); }

/* With 0.001 in S a reactance is known to about 0.1 ohm near 0 and to 0.001 of 100 us near infinity:
   0.3 nH is 0.13 mohm at 70 kHz, 100 fF is 22 Mohm there. */
static void what_cannot_be_resolved_is_refused_and_the_range_said(void **state)
{
        (void)state;
        struct net2 net = net_on(POINTS, 70e3, 220e9);
        struct rf_extracted got;
        struct tp_error err = {0};
        struct rf_ask ask = {.u_s = u_s};
        static const struct {
                const char *word;
                double l_h, c_f, want;
        } devices[] = {{"Lser", 0.3e-9, 0, 0.3e-9},
                       {"Cser", 0, 100e-15, 100e-15},
                       {"Ld", 0.3e-9, 0, 0.3e-9}, /* nothing at all to ground: neither Z nor, of the whole device, 1/Y exists */
                       {"Cd", 0, 100e-15, 100e-15}};
        for (size_t d = 0; d < 4; d++) {
                for (size_t i = 0; i < POINTS; i++) {
                        double complex w = CMPLX(0, RF_TWO_PI * hz[i]);
                        net2_put(&net, i, series(devices[d].l_h > 0 ? 0.5 + w * devices[d].l_h : 0.8 + 1 / (w * devices[d].c_f)));
                        u_s[i] = 1e-3;
                }
                assert_int_equal(rf_extract(&net, devices[d].word, &ask, arena, &got, &err), CODE_OK);
                assert_true(isnan(got.value[0]) && got.refused_n > 10 && got.refused_n < POINTS); /* refused, not printed */
                assert_true(got.range.any && got.range.lo_hz > 1e6 && got.range.lo_hz < 10e9 && got.range.best_share < 0.02);
                assert_non_null(strstr(got.say, "resolved from"));
                for (size_t i = 0; i < POINTS; i++) {
                        bool inside = hz[i] >= got.range.lo_hz && hz[i] <= got.range.hi_hz;
                        assert_int_equal(inside, isfinite(got.value[i]));
                        if (inside)
                                assert_true(fabs(got.value[i] / devices[d].want - 1) < 1e-6 && 2 * got.u[i] <= 0.3 * got.value[i]);
                        double complex z = CMPLX(0.5, RF_TWO_PI * hz[i] * 0.3e-9); /* dZ = (Z + 100)^2/200 dG, |dG/dS| = 1 */
                        if (d == 2 && inside)
                                assert_true(fabs(got.u[i] * 200 * RF_TWO_PI * hz[i] / (1e-3 * pow(cabs(z + 100), 2)) - 1) < 1e-6);
                        if (hz[i] == got.range.best_hz)
                                assert_true(fabs(2 * got.u[i] / got.value[i] / got.range.best_share - 1) < 1e-12);
                }
                /* the edge lies where 2 u passes 30 %: u(X) = u |Z + 50...|: checked by the same network with ten times the noise */
                double edge = got.range.lo_hz;
                for (size_t i = 0; i < POINTS; i++)
                        u_s[i] = 1e-2;
                assert_int_equal(rf_extract(&net, devices[d].word, &ask, arena, &got, &err), CODE_OK);
                assert_true(got.range.lo_hz > 5 * edge);
                for (size_t i = 0; i < POINTS; i++)
                        u_s[i] = 10;
                assert_int_equal(rf_extract(&net, devices[d].word, &ask, arena, &got, &err), CODE_OK);
                assert_true(!got.range.any && got.refused_n == POINTS && strstr(got.say, "not resolvable anywhere"));
                /* nobody said how uncertain S is: values, no judgement */
                assert_int_equal(rf_extract(&net, devices[d].word, NULL, arena, &got, &err), CODE_OK);
                assert_true(got.refused_n == 0 && isfinite(got.value[0]) && isnan(got.u[0]) && !got.range.any);
        }
}

static void ranges_are_the_widest_run(void **state)
{
        (void)state;
        static const double f[] = {1, 2, 4, 8, 16, 32, 64, 128}, share[] = {0.1, 0.2, NAN, 0.05, 0.1, 0.2, 0.4, 0.1};
        struct rf_range r = rf_resolve_range(8, f, share, 0);
        assert_true(r.any && r.lo_hz == 8 && r.hi_hz == 32 && r.best_hz == 8 && r.best_share == 0.05);
        r = rf_resolve_range(8, f, share, 0.01);
        assert_true(!r.any && r.best_hz == 8);
        assert_true(isinf(rf_share_of(RF_SHARE_VALUE, 0, 1)) && isinf(rf_share_of(RF_SHARE_VALUE, NAN, 1)) &&
                    isinf(rf_share_of(RF_SHARE_VALUE, 1, NAN)));
        assert_true(rf_share_of(RF_SHARE_ONE, 0.1, 0.2) == 0.2 && rf_share_of(RF_SHARE_ONE, -4, 1) == 0.25);
        assert_true(fabs(rf_share_of(RF_SHARE_DB20, -60, 8.685889638065037) - 1) < 1e-12);
        assert_true(!rf_resolvable(NAN, 1));
}

static struct m2 transistor(double f, double r_leak)
{
        double complex w = CMPLX(0, RF_TWO_PI * f), in = 1 / (4 + 1 / (w * 40e-15)) + (r_leak > 0 ? 1 / r_leak : 0);
        return rf_s_from_y(m2_of(in + w * 9e-15, -w * 9e-15, 0.06 - w * 9e-15, 0.006 + w * 20e-15), 50);
}

static void plateaus_are_found_or_refused(void **state)
{
        (void)state;
        struct rf_extracted got;
        struct tp_error err = {0};
        /* leaky input: |h21| is flat below 0.06/(w 49 fF) = 1/(r w): the window must start above */
        struct net2 net = net_on(POINTS, 10e6, 110e9);
        for (size_t i = 0; i < POINTS; i++) {
                net2_put(&net, i, transistor(hz[i], 300));
                u_s[i] = 1e-4;
        }
        struct rf_ask ask = {.u_s = u_s};
        if (rf_extract(&net, "fT", &ask, arena, &got, &err))
                fail_msg("%s", err.text);
        double f_t = 0.06 / (RF_TWO_PI * 49e-15);
        assert_true(fabs(got.value[0] / f_t - 1) < 0.15 && got.range.lo_hz > 10e9 && got.u[0] > 0);
        /* the second estimate sees of the leak only what is fed forward beside it: 1/h21 = (g + jwC)/(gm - jw Cgd), whose imaginary part
           starts as w (C/gm + g Cgd/gm^2); the resistance in the input's way bends it further up, and nothing of that is left */
        if (rf_extract(&net, "fT_im", &ask, arena, &got, &err))
                fail_msg("%s", err.text);
        double f_im = f_t / (1 + 9e-15 / 49e-15 / (300 * 0.06));
        assert_true(fabs(got.value[0] / f_im - 1) < 0.001 && got.range.lo_hz <= 6e9);
        assert_non_null(strstr(got.say, "1/|Im(1/h21)|"));
        /* only the flat part in the sweep, a quarter decade, and a window that the asker narrows too far */
        net = net_on(POINTS, 10e6, 1e9);
        for (size_t i = 0; i < POINTS; i++)
                net2_put(&net, i, transistor(hz[i], 300));
        assert_int_equal(rf_extract(&net, "fT", &ask, arena, &got, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "nowhere from 0.01 to 1 GHz"));
        net = net_on(POINTS, 20e9, 36e9);
        for (size_t i = 0; i < POINTS; i++)
                net2_put(&net, i, transistor(hz[i], 0));
        assert_int_equal(rf_extract(&net, "fT", &ask, arena, &got, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "less than half a decade"));
        net = net_on(POINTS, 1e9, 100e9);
        for (size_t i = 0; i < POINTS; i++)
                net2_put(&net, i, transistor(hz[i], 0));
        ask.low_hz = 20e9;
        ask.high_hz = 30e9;
        assert_int_equal(rf_extract(&net, "fT", &ask, arena, &got, &err), CODE_UNRESOLVABLE);
        ask.high_hz = 90e9;
        assert_int_equal(rf_extract(&net, "fT", &ask, arena, &got, &err), CODE_OK);
        assert_true(got.range.lo_hz >= 20e9 && got.range.hi_hz <= 90e9);
        /* noise so large that no point of |h21| is one */
        ask = (struct rf_ask){.u_s = u_s};
        for (size_t i = 0; i < POINTS; i++)
                u_s[i] = 0.5;
        assert_int_equal(rf_extract(&net, "fT", &ask, arena, &got, &err), CODE_UNRESOLVABLE);
        /* a passive device has no U > 1 but U exists; one that gives power back at port 2 has none: NaN with the reason, never a modulus */
        for (size_t i = 0; i < POINTS; i++) {
                struct m2 y = rf_y_from_s(transistor(hz[i], 0), 50);
                y.e[3] -= 0.01;
                net2_put(&net, i, rf_s_from_y(y, 50));
        }
        assert_int_equal(rf_extract(&net, "U", NULL, arena, &got, &err), CODE_OK);
        assert_int_equal(got.missing_n, POINTS);
        assert_non_null(strstr(got.say, "U < 0"));
        assert_int_equal(rf_extract(&net, "fmax", NULL, arena, &got, &err), CODE_UNRESOLVABLE);
        assert_int_equal(rf_extract(&net, "MAG", NULL, arena, &got, &err), CODE_OK);
        assert_true(got.missing_n > 0 && strstr(got.say, "K < 1"));
}

/* Mixed mode: what a floating impedance and a pair of equal shunts look like is elementary. */
static void mixed_mode_levels(void **state)
{
        (void)state;
        struct rf_at at = {.hz = 1e9, .z_ref = 50};
        /* Z between the ports: differential load Z against 100 ohm, common open */
        struct m2 s = series(60);
        assert_true(fabs(rf_quantity_at(RF_Q_SDD_DB, s, &at, NULL) - 20 * log10(40.0 / 160)) < 1e-12);
        assert_true(fabs(rf_quantity_at(RF_Q_SCC_DB, s, &at, NULL)) < 1e-12);
        assert_true(rf_quantity_at(RF_Q_SDC_DB, s, &at, NULL) < -250 || isnan(rf_quantity_at(RF_Q_SDC_DB, s, &at, NULL)));
        /* unequal shunts convert: G1 = 0.2, G2 = -0.2 */
        s = m2_of(0.2, 0, 0, -0.2);
        assert_true(fabs(rf_quantity_at(RF_Q_SCD_DB, s, &at, NULL) - 20 * log10(0.2)) < 1e-12);
}

static void bad_input_is_refused_with_a_sentence(void **state)
{
        (void)state;
        struct rf_extracted got;
        struct tp_error err = {0};
        struct net2 net = net_on(4, 1e9, 8e9);
        for (size_t i = 0; i < 4; i++)
                net2_put(&net, i, series(CMPLX(1, 5)));
        assert_int_equal(rf_extract(&net, "Inductance", NULL, arena, &got, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "\"Inductance\" is no quantity"));
        assert_int_equal(rf_extract(&net, NULL, NULL, arena, &got, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_extract(&net, "fT", NULL, arena, &got, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "5 frequencies or more, there are 4"));
        assert_int_equal(rf_extract(&net, "SRFd", NULL, arena, &got, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_extract(&net, "Zc", NULL, arena, &got, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "length"));
        struct rf_ask ask = {.length_m = 3};
        assert_int_equal(rf_extract(&net, "loss", &ask, arena, &got, &err), CODE_BAD_INPUT);
        double bad[4] = {1e-3, NAN, 1e-3, 1e-3};
        ask = (struct rf_ask){.u_s = bad};
        assert_int_equal(rf_extract(&net, "Lser", &ask, arena, &got, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "uncertainty of S at 2e+09 Hz"));
        net.re[1][3] = NAN;
        assert_int_equal(rf_extract(&net, "Lser", NULL, arena, &got, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "S12 at 8e+09 Hz"));
        net.re[1][3] = 0;
        net2_set_z(&net, 50, 3);
        assert_int_equal(rf_extract(&net, "Lser", NULL, arena, &got, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "real reference impedance"));
        net2_set_z(&net, 50, 0);
        for (size_t i = 0; i < 4; i++)
                net2_put(&net, i, m2_of(1, 0, 0, 1)); /* isolates: no series branch */
        assert_int_equal(rf_extract(&net, "Lser", NULL, arena, &got, &err), CODE_OK);
        assert_int_equal(got.missing_n, 4);
        assert_non_null(strstr(got.say, "does not transmit"));
        ask = (struct rf_ask){.length_m = 1e-3};
        assert_int_equal(rf_extract(&net, "delay", &ask, arena, &got, &err), CODE_OK);
        assert_int_equal(got.missing_n, 4);
        for (int k = 1; k < RF_Q_COUNT; k++) { /* each row is whole and its word its own */
                const struct rf_quantity_row *row = &rf_quantities[k];
                assert_true(row->word && row->unit && row->say && row->nan_say && row->group != RF_GROUP_UNKNOWN);
                assert_int_equal(rf_quantity_of(row->word), k);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(what_cannot_be_resolved_is_refused_and_the_range_said),
                                           cmocka_unit_test(ranges_are_the_widest_run), cmocka_unit_test(plateaus_are_found_or_refused),
                                           cmocka_unit_test(mixed_mode_levels), cmocka_unit_test(bad_input_is_refused_with_a_sentence)};
        return cmocka_run_group_tests(tests, arena_open, arena_done);
}
