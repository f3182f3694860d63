/* evaluate_quantities.c: quantities of the table through the whole chain, against the elements that were put in. */
#include "evaluate_asked.h"

static void fet_elements(double hz, double complex y[4])
{
        double complex w = J * TWO_PI * hz, in = 1 / (4 + 1 / (w * 40e-15)), mu = w * 9e-15;
        y[0] = in + mu;
        y[1] = -mu;
        y[2] = 0.06 * cexp(-w * 0.3e-12) / (1 + 4 * w * 40e-15) - mu;
        y[3] = 0.006 + w * 12e-15 + mu;
}

static struct chain_matrix fet(double hz)
{
        double complex y[4];
        fet_elements(hz, y);
        return of_y(y[0], y[1], y[2], y[3]);
}

static void words_and_units_are_those_of_rf(void **state)
{
        (void)state;
        for (int32_t k = QUANTITY_TABLE; k < QUANTITY_EXTRINSIC; k++) {
                int32_t q = quantity_rf(k);
                if (!q)
                        fail_msg("%s is no quantity of rf/", quantity_words[k]);
                assert_string_equal(quantity_units[k], rf_quantities[q].unit);
                assert_int_equal(quantity_of_sweep(k), rf_quantities[q].group == RF_GROUP_SWEEP);
                for (int32_t j = 1; j < k; j++)
                        assert_string_not_equal(quantity_words[j], quantity_words[k]);
        }
        for (int32_t k = QUANTITY_EXTRINSIC; k < QUANTITY_COUNT; k++) {
                assert_string_equal(quantity_words[k], rf_extrinsic_words[quantity_extrinsic(k)]);
                assert_string_equal(quantity_units[k], rf_extrinsic_units[quantity_extrinsic(k)]);
                assert_true(quantity_of_sweep(k) && !quantity_rf(k) && !quantity_inside(k));
        }
        assert_int_equal(quantity_extrinsic(QUANTITY_L), -1);
        assert_int_equal(quantity_rf(QUANTITY_L), 0);
        assert_true(quantity_of_sweep(QUANTITY_SRF) && !quantity_of_sweep(QUANTITY_L));
        for (int32_t k = 1; k < DEEMBED_COUNT; k++)
                assert_string_equal(deembed_words[k], rf_deembed_words[deembed_rf(k)]);
        assert_int_equal(deembed_rf(DEEMBED_NONE), 0);
}

static void a_coil_gives_pi_both_views_and_their_resonances(void **state)
{
        (void)state;
        static const char *const words[] = {"L11", "Q11", "Ld", "Qd", "pi_C1", "pi_G2", "SRF11", "SRFd"};
        struct run r = run_new(DEVICE_INDUCTOR, DEEMBED_OPEN_SHORT);
        for (size_t k = 0; k < 8; k++)
                bench_ask(r.b, word(words[k]), k < 6 ? 10e9 : 0)->resolve_share_max = 3;
        struct inner d = {.of = coil};
        r.device = bench_two_port(r.b, pads_and_leads, &d);
        open_and_short(&r);
        ask_all(&r);
        double complex w = J * TWO_PI * 10e9, y3 = 1 / (1.5 + w * 250e-12) + w * 8e-15, y1 = w * 12e-15 + 1e-4, y2 = w * 9e-15 + 2e-4;
        double complex z11 = 1 / (y1 + y3), zd = (y1 + y2) / (y1 * y2 + y3 * (y1 + y2));
        double want[6] = {cimag(z11) / cimag(w), cimag(z11) / creal(z11), cimag(zd) / cimag(w), cimag(zd) / creal(zd), 12e-15, 2e-4};
        for (size_t k = 0; k < 6; k++)
                near_to(&r.a[k], want[k], 1e-7);
        /* resonances by bisection of the elements' susceptance */
        for (size_t k = 6; k < 8; k++) {
                double lo = 10e9, hi = 109e9;
                for (int i = 0; i < 60; i++) {
                        double f = (lo + hi) / 2;
                        double complex v = J * TWO_PI * f, s3 = 1 / (1.5 + v * 250e-12) + v * 8e-15, s1 = v * 12e-15 + 1e-4,
                                       s2 = v * 9e-15 + 2e-4;
                        double complex y = k == 6 ? s1 + s3 : (s1 * s2 + s3 * (s1 + s2)) / (s1 + s2);
                        *(cimag(y) < 0 ? &lo : &hi) = f;
                }
                near_to(&r.a[k], lo, 1e-4);
                assert_string_equal(r.a[k].plan->name, k == 6 ? "p7" : "p8");
        }
        assert_true(fabs(r.a[6].value / r.a[7].value - 1) > 0.05); /* not the same thing */
        bench_free(r.b);
}

static void a_line_gives_its_elements_per_metre(void **state)
{
        (void)state;
        static const char *const words[] = {"R_line", "L_line", "C_line", "delay", "beta"};
        struct run r = run_new(DEVICE_LINE, DEEMBED_OPEN_SHORT);
        r.b->recipe.setup.contact_ohm_u = 1e-4; /* 0.28 ohm in all: what an ordinary touch would hide */
        r.b->recipe.setup.contact_h_u = 1e-14;
        r.b->recipe.setup.placement_um_u = 0.01;
        for (size_t k = 0; k < 5; k++)
                bench_ask(r.b, word(words[k]), 60e9)->resolve_share_max = 3;
        bench_ask(r.b, word("G_line"), 60e9); /* alpha/Zc dominates what there is of G: none was put in, so it must be refused */
        struct inner d = {.of = the_line};
        r.device = bench_two_port(r.b, pads_and_leads, &d);
        open_and_short(&r);
        ask_all(&r);
        double alpha = 20 * sqrt(0.6), beta = TWO_PI * 60e9 * 2 / 299792458.0;
        double want[5] = {alpha * 60, beta * 60 / (TWO_PI * 60e9), beta / 60 / (TWO_PI * 60e9), beta * 300e-6 / (TWO_PI * 60e9), beta};
        for (size_t k = 0; k < 5; k++)
                near_to(&r.a[k], want[k], 1e-6);
        assert_false(r.a[5].has_value && fabs(r.a[5].value - alpha / 60) > 1e-6 * alpha);
        bench_free(r.b);
}

static void a_transistor_gives_gains_stability_and_elements(void **state)
{
        (void)state;
        static const char *const words[] = {"h21", "U", "K", "mu", "MAG_dB", "Gmax_dB", "gm", "Cgs", "Cgd", "gds", "Ri", "gm_tau"};
        struct run r = run_new(DEVICE_TRANSISTOR, DEEMBED_OPEN_SHORT);
        for (size_t k = 0; k < 12; k++)
                bench_ask(r.b, word(words[k]), 20e9)->resolve_share_max = 10;
        struct inner d = {.of = fet};
        r.device = bench_two_port(r.b, pads_and_leads, &d);
        open_and_short(&r);
        ask_all(&r);
        double complex y[4];
        fet_elements(20e9, y);
        double u = pow(cabs(y[2] - y[1]), 2) / (4 * (creal(y[0]) * creal(y[3]) - creal(y[1]) * creal(y[2])));
        double k = (2 * creal(y[0]) * creal(y[3]) - creal(y[1] * y[2])) / cabs(y[1] * y[2]);
        near_to(&r.a[0], cabs(y[2] / y[0]), 1e-7);
        near_to(&r.a[1], u, 1e-6);
        near_to(&r.a[2], k, 1e-6);
        assert_true(r.a[3].has_value && (r.a[3].value > 1) == (k > 1));
        assert_true(k < 1 && !r.a[4].has_value && strstr(r.a[4].reason, "K < 1"));
        near_to(&r.a[5], 10 * log10(cabs(y[2] / y[1])), 1e-7);
        static const double elements[] = {0.06, 40e-15, 9e-15, 0.006, 4, 0.3e-12};
        for (size_t j = 0; j < 6; j++)
                near_to(&r.a[6 + j], elements[j], 1e-6);
        assert_non_null(strstr(r.a[0].budget, "placement"));
        bench_free(r.b);
}

static void ft_and_fmax_come_from_the_plateau(void **state)
{
        (void)state;
        struct run r = run_new(DEVICE_TRANSISTOR, DEEMBED_OPEN_SHORT);
        bench_ask(r.b, word("fT"), 0);
        bench_ask(r.b, word("fT_im"), 0);
        bench_ask(r.b, word("fmax"), 0);
        bench_ask(r.b, word("fmax_MAG"), 0);
        bench_ask(r.b, word("fT"), 0)->resolve_share_max = 1e-3;
        struct inner d = {.of = one_pole};
        r.device = bench_two_port(r.b, pads_and_leads, &d);
        open_and_short(&r);
        ask_all(&r);
        near_to(&r.a[0], 0.06 / (TWO_PI * 50e-15), 1e-7);
        near_to(&r.a[1], 0.06 / (TWO_PI * 50e-15), 1e-7);
        /* fmax of one pole: gm/(4 pi C sqrt(rg gds)) */
        near_to(&r.a[2], 0.06 / (2 * TWO_PI * 50e-15 * sqrt(4 * 0.006)), 1e-6);
        assert_true(r.a[0].has_range && r.a[0].lo_hz == 5e9 && r.a[0].hi_hz == 40e9);
        /* nothing comes back through it: S12 = 0, no MAG that rounding would not make */
        assert_false(r.a[3].has_value && r.a[3].u95 < 0.01 * r.a[3].value);
        assert_true(!r.a[4].has_value && strstr(r.a[4].reason, "not resolvable: u95 is"));
        bench_free(r.b);
        /* a resistor has none, and is told so by its sweep */
        r = run_new(DEVICE_TRANSISTOR, DEEMBED_NONE);
        bench_ask(r.b, word("fT"), 0);
        static const struct dut resistor = {DUT_RESISTOR, 75, 9e-12, 0, NULL, false};
        r.device = bench_device(r.b, &resistor);
        ask_all(&r);
        assert_true(!r.a[0].has_value && strstr(r.a[0].reason, "falls by 20 dB a decade nowhere"));
        bench_free(r.b);
}

/* The stated u of fT against what really comes out when every touch (device, dummies, standards) has its own contact. */
static void the_uncertainty_of_ft_is_what_many_touches_give(void **state)
{
        (void)state;
        enum { TRIALS = 120 };
        struct run r = run_new(DEVICE_TRANSISTOR, DEEMBED_OPEN_SHORT);
        r.b->recipe.setup.placement_um_u = 0;
        r.b->recipe.setup.contact_h_u = 1e-12;
        r.b->recipe.setup.contact_ohm_u = 0.05;
        bench_ask(r.b, word("fT"), 0)->resolve_share_max = 1;
        bench_ask(r.b, word("fmax"), 0)->resolve_share_max = 2; /* one trial in a hundred has a u95, drawn, of all its fmax */
        static const int which[] = {OPEN_AIR, SHORT_A, LOAD_A, THRU_A};
        static const struct dut kinds[] = {{DUT_OPEN, 0, 0, 0, NULL, false}, {DUT_SHORT, 0, 0, 0, NULL, false}};
        double sum[2] = {0}, squares[2] = {0}, said[2] = {0};
        for (int trial = 0; trial <= TRIALS; trial++) { /* the first has no errors: what the chain says of itself */
                struct touch touch[7];
                for (int t = 0; t < 7; t++)
                        for (int p = 0; p < 2; p++) {
                                double on = trial > 0;
                                touch[t].r_ohm[p] = on * 0.05 * bench_noise(r.b);
                                touch[t].l_h[p] = on * 1e-12 * bench_noise(r.b);
                                touch[t].hangs = false;
                        }
                struct raw_sweep raw[4];
                struct standard_sweep of[4];
                for (int k = 0; k < 4; k++) {
                        raw[k] = bench_standard(r.b, (size_t)which[k], k == 0 ? NULL : &touch[k]); /* the open hangs in air */
                        of[k] = (struct standard_sweep){which[k], &raw[k]};
                }
                assert_int_equal(calibration_solve(&r.b->recipe, of, 4, r.b->arena, &r.c, NULL, NULL), CODE_OK);
                struct inner d = {.of = one_pole, .touch = &touch[4]};
                r.device = bench_two_port(r.b, pads_and_leads, &d);
                for (int k = 0; k < 2; k++) {
                        struct dut dummy = kinds[k];
                        dummy.touch = &touch[5 + k];
                        r.dummy[k ? RF_DUMMY_SHORT : RF_DUMMY_OPEN] = bench_device(r.b, &dummy);
                }
                ask_all(&r);
                for (int k = 0; k < 2; k++) {
                        if (!r.a[k].has_value)
                                fail_msg("trial %d: %s", trial, r.a[k].reason);
                        if (trial == 0)
                                said[k] = r.a[k].u95 / 2;
                        else {
                                sum[k] += r.a[k].value / TRIALS;
                                squares[k] += r.a[k].value * r.a[k].value / TRIALS;
                        }
                }
        }
        for (int k = 0; k < 2; k++) {
                double s = sqrt(squares[k] - sum[k] * sum[k]);
                print_message("%s: %.4g GHz, stated u %.3g GHz, scatter of %d trials %.3g GHz\n", k ? "fmax" : "fT", sum[k] / 1e9,
                              said[k] / 1e9, TRIALS, s / 1e9);
                /* 120 trials know their scatter to 7 %; the statement may be on the safe side of it: it holds the pads' model and the
                   standards' other causes too */
                assert_true(said[k] > 0.8 * s && said[k] < 2 * s);
        }
        bench_free(r.b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(words_and_units_are_those_of_rf),     cmocka_unit_test(a_coil_gives_pi_both_views_and_their_resonances),
                cmocka_unit_test(a_line_gives_its_elements_per_metre), cmocka_unit_test(a_transistor_gives_gains_stability_and_elements),
                cmocka_unit_test(ft_and_fmax_come_from_the_plateau),   cmocka_unit_test(the_uncertainty_of_ft_is_what_many_touches_give),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
