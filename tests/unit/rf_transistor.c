/* A transistor built from elements: its cold and off states give the extrinsic ones back, and what is left when they come off is the
 * intrinsic one. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include "rf/network/convert.h"
#include "rf/extract/extrinsic.h"
#include "rf/extract/quantity.h"

enum { POINTS = 80, BIASES = 4 };
static struct arena *arena;
static double hz[POINTS];
static struct axis axis;
static struct net2 net_of(void) { return net2_at(arena_take(arena, net2_bytes(axis.n)), &axis, PLANE_TIP); }
static int open_arena(void **state)
{
        (void)state;
        arena = arena_new(0);
        for (size_t i = 0; i < POINTS; i++)
                hz[i] = 0.5e9 * (double)(i + 1);
        return axis_of(POINTS, hz, &axis, NULL);
}
static int close_arena(void **state)
{
        (void)state;
        arena_free(arena);
        return 0;
}

static const struct rf_extrinsic truth = {.value = {11e-15, 9e-15, 0, 22e-12, 19e-12, 4e-12, 2.1, 1.7, 0.9}};

/* Written apart from extrinsic.c: the leads as a tee in series with the Z of the inside, the pads beside it. */
static struct m2 around(struct m2 z_inside, double f)
{
        double complex w = CMPLX(0, RF_TWO_PI * f);
        double complex a = 2.1 + w * 22e-12, b = 1.7 + w * 19e-12, c = 0.9 + w * 4e-12;
        struct m2 y = m2_inv(m2_add(z_inside, m2_of(a + c, c, c, b + c)));
        return rf_s_from_y(m2_add(y, m2_diag(w * 11e-15, w * 9e-15)), 50);
}
static void near(const char *what, double got, double want, double relative)
{
        if (!(fabs(got - want) <= relative * fabs(want)))
                fail_msg("%s: %.9g, wanted %.9g within %.1g", what, got, want, relative);
}

static struct m2 fet_y(double f)
{
        double complex w = CMPLX(0, RF_TWO_PI * f), in = 1 / (2.5 + 1 / (w * 40e-15)), back = w * 9e-15;
        return m2_of(in + back, -back, 0.06 * cexp(-w * 0.4e-12) / (1 + w * 2.5 * 40e-15) - back, 0.006 + w * 12e-15 + back);
}

static void cold_states_give_the_extrinsic_elements_of_a_fet(void **state)
{
        (void)state;
        struct tp_error err = {0};
        struct net2 pinched = net_of(), forward[BIASES], *list[BIASES];
        double x[BIASES];
        for (size_t i = 0; i < POINTS; i++) { /* pinched: 6 fF from the gate to source and to drain */
                double complex w = CMPLX(0, RF_TWO_PI * hz[i]), b = w * 6e-15;
                net2_put(&pinched, i, around(m2_inv(m2_of(2 * b, -b, -b, b)), hz[i]));
        }
        struct rf_extrinsic got = {.value = {0}};
        double edge;
        assert_int_equal(rf_extrinsic_off(RF_OFF_COLD_PINCH, &pinched, 0, 5e9, &got, &edge, &err), CODE_OK);
        near("c_in", got.value[RF_X_C_IN], 11e-15, 2e-3); /* (w^2 L C at 5 GHz is 4e-4, both pads and edge) */
        near("c_out", got.value[RF_X_C_OUT], 9e-15, 2e-3);
        near("edge", edge, 6e-15, 2e-3);
        assert_true(got.value[RF_X_C_BETWEEN] == 0 && got.u[RF_X_C_IN] > 0 && got.u[RF_X_C_IN] < 1e-17);
        for (size_t k = 0; k < BIASES; k++) { /* forward gate: n k T/q = 26 mV, channel of 5 ohm */
                x[k] = 1 / (1e-3 * (double)(k + 1));
                forward[k] = net_of();
                list[k] = &forward[k];
                for (size_t i = 0; i < POINTS; i++)
                        net2_put(&forward[k], i, around(m2_of(5.0 / 3 + 0.026 * x[k], 2.5, 2.5, 5), hz[i]));
        }
        got.value[RF_X_C_IN] = 11e-15;
        got.value[RF_X_C_OUT] = 9e-15;
        if (rf_extrinsic_cold(RF_COLD_GATE_FORWARD, (const struct net2 *const *)list, x, BIASES, 5, 1e9, 40e9, &got, &err))
                fail_msg("%s", err.text);
        for (int e = RF_X_L_IN; e < RF_X_COUNT; e++)
                near(rf_extrinsic_words[e], got.value[e], truth.value[e], 1e-9);
        /* without the channel's resistance there is no answer */
        assert_int_equal(rf_extrinsic_cold(RF_COLD_GATE_FORWARD, (const struct net2 *const *)list, x, BIASES, NAN, 0, 0, &got, &err),
                         CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "four resistances"));
        /* a channel of 20 ohm would leave a negative source resistance: said, not clipped */
        assert_int_equal(rf_extrinsic_cold(RF_COLD_GATE_FORWARD, (const struct net2 *const *)list, x, BIASES, 20, 0, 0, &got, &err),
                         CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "r_out comes out as"));
}

/* Strong inversion: everything of the device goes with 1/bias. */
static void a_vanishing_channel_leaves_the_leads(void **state)
{
        (void)state;
        struct tp_error err = {0};
        struct net2 nets[BIASES], *list[BIASES];
        double x[BIASES];
        for (size_t k = 0; k < BIASES; k++) {
                x[k] = 1 / (0.3 + 0.2 * (double)k);
                nets[k] = net_of();
                list[k] = &nets[k];
                for (size_t i = 0; i < POINTS; i++)
                        net2_put(&nets[k], i, around(m2_scale(x[k], m2_of(1.2, 1.5, 1.5, 3)), hz[i]));
        }
        struct rf_extrinsic got = {.value = {11e-15, 9e-15}};
        if (rf_extrinsic_cold(RF_COLD_VANISHING, (const struct net2 *const *)list, x, BIASES, 0, 0, 0, &got, &err))
                fail_msg("%s", err.text);
        for (int e = RF_X_L_IN; e < RF_X_COUNT; e++)
                near(rf_extrinsic_words[e], got.value[e], truth.value[e], 1e-9);
        /* a curvature in bias is seen in u: 3 % of the third bias */
        for (size_t i = 0; i < POINTS; i++)
                net2_put(&nets[2], i, around(m2_scale(1.03 * x[2], m2_of(1.2, 1.5, 1.5, 3)), hz[i]));
        assert_int_equal(rf_extrinsic_cold(RF_COLD_VANISHING, (const struct net2 *const *)list, x, BIASES, 0, 0, 0, &got, &err), CODE_OK);
        assert_true(got.u[RF_X_R_COMMON] > 0.01 && fabs(got.value[RF_X_R_COMMON] - 0.9) < 3 * got.u[RF_X_R_COMMON]);
}

/* A gate of 24 fF to each end of the channel: its reactance is a hundred times the lead's and must not be taken for it. */
static void a_gate_in_front_of_the_channel_does_not_hide_the_lead(void **state)
{
        (void)state;
        struct tp_error err = {0};
        struct net2 nets[BIASES], *list[BIASES];
        double x[BIASES];
        for (size_t k = 0; k < BIASES; k++) {
                x[k] = 1 / (0.3 + 0.2 * (double)k);
                nets[k] = net_of();
                list[k] = &nets[k];
                for (size_t i = 0; i < POINTS; i++) {
                        double complex half = CMPLX(0, RF_TWO_PI * hz[i] * 24e-15);
                        net2_put(&nets[k], i, around(m2_inv(m2_of(2 * half, -half, -half, half + 1 / (3 * x[k]))), hz[i]));
                }
        }
        struct rf_extrinsic got = {.value = {11e-15, 9e-15}};
        if (rf_extrinsic_cold(RF_COLD_VANISHING, (const struct net2 *const *)list, x, BIASES, 0, 1e9, 20e9, &got, &err))
                fail_msg("%s", err.text);
        near("l_in", got.value[RF_X_L_IN], 22e-12, 0.01); /* (w R C)^2 at 20 GHz is 5e-4 */
        near("r_in", got.value[RF_X_R_IN], 2.1, 0.01);
        near("r_out", got.value[RF_X_R_OUT], 1.7, 0.01);
        near("r_common", got.value[RF_X_R_COMMON], 0.9, 0.01);
}

/* Ebers and Moll with the collector open, current gain 100 forward and 2 reverse, transit times of 0.5 and 8 ps, 25.7 mV: all conductances
   from the currents for which I_C = I_F - I_R (1 + 1/2) is nothing, by nodes; junctions of 40 and 15 fF beside. */
static struct m2 open_collector_z(double base_a, double f, double c_be, double c_bc)
{
        double ir = base_a / (1.5 / 100 + 1 / 2.0), forward = 1.5 * ir / 0.0257, reverse = ir / 0.0257;
        double complex w = CMPLX(0, RF_TWO_PI * f);
        double complex be = forward / 100 + w * (forward * 0.5e-12 + c_be), bc = reverse / 2 + w * (reverse * 8e-12 + c_bc);
        /* base: be vb + bc (vb - vc); collector: forward vb - reverse (vb - vc) - bc (vb - vc) */
        return m2_inv(m2_of(be + bc, -bc, forward - reverse - bc, reverse + bc));
}
static void an_open_collector_leaves_the_leads(void **state)
{
        (void)state;
        struct tp_error err = {0};
        struct net2 nets[BIASES], *list[BIASES];
        double x[BIASES];
        for (int depleted = 0; depleted < 2; depleted++) {
                for (size_t k = 0; k < BIASES; k++) {
                        double base_a = 2e-3 * (double)(k + 1);
                        x[k] = 1 / base_a;
                        nets[k] = net_of();
                        list[k] = &nets[k];
                        for (size_t i = 0; i < POINTS; i++)
                                net2_put(&nets[k], i,
                                         around(open_collector_z(base_a, hz[i], depleted ? 40e-15 : 0, depleted ? 15e-15 : 0), hz[i]));
                }
                /* k T/q I at the base, as the papers write it: 12.85 ohm at 2 mA, and nothing of the base comes back from the collector */
                struct m2 z = open_collector_z(2e-3, 1e6, 0, 0);
                assert_true(fabs(creal(z.e[0]) / 12.85 - 1) < 0.02 && cabs(z.e[2]) < 1e-3 && creal(z.e[1]) > 3);
                struct rf_extrinsic got = {.value = {11e-15, 9e-15}}, as_fet = got;
                if (rf_extrinsic_cold(RF_COLD_OPEN_COLLECTOR, (const struct net2 *const *)list, x, BIASES, 0, 1e9, 20e9, &got, &err))
                        fail_msg("%s", err.text);
                for (int e = RF_X_L_IN; e < RF_X_COUNT; e++) /* junctions go with x^2: 40 fF against 0.5 S at 20 GHz */
                        near(rf_extrinsic_words[e], got.value[e], truth.value[e], depleted ? 0.03 : 1e-9);
                if (rf_extrinsic_cold(RF_COLD_VANISHING, (const struct net2 *const *)list, x, BIASES, 0, 1e9, 20e9, &as_fet, &err))
                        fail_msg("%s", err.text);
                assert_true(fabs(as_fet.value[RF_X_L_IN] / truth.value[RF_X_L_IN] - 1) > 0.03); /* read as a channel it comes out wrong */
        }
}

static void the_off_state_of_a_bipolar_gives_its_overlaps(void **state)
{
        (void)state;
        struct tp_error err = {0};
        struct net2 off = net_of();
        for (size_t i = 0; i < POINTS; i++) {
                double complex w = CMPLX(0, RF_TWO_PI * hz[i]), b = w * 14e-15;
                net2_put(&off, i, rf_s_from_y(m2_of(w * 30e-15 + b, -b, -b, w * 21e-15 + b), 50));
        }
        struct rf_extrinsic got = {.value = {0}};
        assert_int_equal(rf_extrinsic_off(RF_OFF_PI, &off, 0, 0, &got, NULL, &err), CODE_OK);
        near("c_in", got.value[RF_X_C_IN], 30e-15, 1e-11);
        near("c_out", got.value[RF_X_C_OUT], 21e-15, 1e-11);
        near("c_between", got.value[RF_X_C_BETWEEN], 14e-15, 1e-11);
        /* one that conducts is not off */
        for (size_t i = 0; i < POINTS; i++)
                net2_put(&off, i, rf_s_from_y(m2_of(CMPLX(0.05, 1e-3 * sin((double)i)), -1e-3, -1e-3, CMPLX(0.05, -2e-3)), 50));
        assert_int_equal(rf_extrinsic_off(RF_OFF_PI, &off, 0, 0, &got, NULL, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "port 1 conducts to ground"));
}

static void what_is_left_is_the_intrinsic_transistor(void **state)
{
        (void)state;
        static const struct {
                enum rf_quantity q;
                double want;
        } elements[] = {{RF_Q_FET_GM, 0.06},   {RF_Q_FET_TAU, 0.4e-12}, {RF_Q_FET_GDS, 0.006}, {RF_Q_FET_CGS, 40e-15},
                        {RF_Q_FET_CGD, 9e-15}, {RF_Q_FET_CDS, 12e-15},  {RF_Q_FET_RI, 2.5}};
        struct tp_error err = {0};
        struct net2 hot = net_of(), inside = net_of();
        for (size_t i = 0; i < POINTS; i++)
                net2_put(&hot, i, around(m2_inv(fet_y(hz[i])), hz[i]));
        assert_int_equal(rf_extrinsic_remove(&truth, &hot, &inside, &err), CODE_OK);
        assert_int_equal(inside.plane, PLANE_DEVICE);
        for (size_t i = 0; i < POINTS; i++) {
                struct rf_at at = {.hz = hz[i], .z_ref = 50};
                for (size_t k = 0; k < 7; k++)
                        near(rf_quantities[elements[k].q].word, rf_quantity_at(elements[k].q, net2_get(&inside, i), &at, NULL),
                             elements[k].want, 1e-8);
                struct m2 back = rf_s_from_y(rf_extrinsic_add_y(&truth, fet_y(hz[i]), hz[i]), 50);
                assert_true(m2_distance(back, net2_get(&hot, i)) < 1e-13);
        }
        /* fT of the inside and of the whole differ as the leads and pads make them */
        struct rf_extracted whole, bare;
        assert_int_equal(rf_extract(&hot, "fT", NULL, arena, &whole, &err), CODE_OK);
        assert_int_equal(rf_extract(&inside, "fT", NULL, arena, &bare, &err), CODE_OK);
        near("fT", bare.value[0], 0.06 / (RF_TWO_PI * 49e-15), 0.02);
        assert_true(whole.value[0] < 0.9 * bare.value[0]);
}

static void bad_input_is_refused_with_a_sentence(void **state)
{
        (void)state;
        struct tp_error err = {0};
        struct net2 net = net_of();
        const struct net2 *list[2] = {&net, &net};
        double x[2] = {1, 1};
        struct rf_extrinsic got = {.value = {0}};
        for (size_t i = 0; i < POINTS; i++)
                net2_put(&net, i, around(m2_of(3, 1, 1, 3), hz[i]));
        assert_int_equal(rf_extrinsic_cold(RF_COLD_VANISHING, list, x, 2, 0, 0, 0, &got, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "all biases are the same"));
        assert_int_equal(rf_extrinsic_cold(RF_COLD_VANISHING, list, x, 1, 0, 0, 0, &got, &err), CODE_BAD_INPUT);
        x[1] = -1;
        assert_int_equal(rf_extrinsic_cold(RF_COLD_VANISHING, list, x, 2, 0, 0, 0, &got, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "bias 2"));
        x[1] = 2;
        assert_int_equal(rf_extrinsic_cold(RF_COLD_VANISHING, list, x, 2, 0, 39e9, 39.4e9, &got, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "widen the window"));
        assert_int_equal(rf_extrinsic_cold((enum rf_cold)7, list, x, 2, 0, 0, 0, &got, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_extrinsic_off(RF_OFF_UNKNOWN, &net, 0, 0, &got, NULL, &err), CODE_BAD_INPUT);
        net.re[2][5] = NAN;
        assert_int_equal(rf_extrinsic_off(RF_OFF_PI, &net, 0, 0, &got, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "S21 at 3e+09 Hz"));
        assert_int_equal(rf_extrinsic_remove(&truth, &net, &net, &err), CODE_BAD_INPUT);
        net2_set_z(&net, NAN, NAN);
        assert_int_equal(rf_extrinsic_off(RF_OFF_PI, &net, 0, 0, &got, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "real reference"));
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(cold_states_give_the_extrinsic_elements_of_a_fet),
                                           cmocka_unit_test(a_vanishing_channel_leaves_the_leads),
                                           cmocka_unit_test(a_gate_in_front_of_the_channel_does_not_hide_the_lead),
                                           cmocka_unit_test(an_open_collector_leaves_the_leads),
                                           cmocka_unit_test(the_off_state_of_a_bipolar_gives_its_overlaps),
                                           cmocka_unit_test(what_is_left_is_the_intrinsic_transistor),
                                           cmocka_unit_test(bad_input_is_refused_with_a_sentence)};
        return cmocka_run_group_tests(tests, open_arena, close_arena);
}
