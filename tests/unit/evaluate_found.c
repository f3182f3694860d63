/* evaluate_found.c: numbers that are found in the sweep: the top of Q, a slope, the best window. */
#include "evaluate_asked.h"

/* ---- found, not asked ------------------------------------------------------------------------------------------------------------------
 */
static struct chain_matrix lossy_coil(double hz) /* skin effect and a lossy way to ground: a top of Q */
{
        double complex w = J * TWO_PI * hz, y3 = 1 / (0.6 * sqrt(1 + hz / 2e9) + w * 500e-12), to = 1 / (1 / (w * 25e-15) + 250);
        return times(to_ground(to), times(in_series(1 / y3), to_ground(to)));
}

static double q11(double hz)
{
        struct chain_matrix m = lossy_coil(hz);
        double complex z = m.b / m.d;
        return cimag(z) / creal(z);
}

/* A device behind pads and leads that open and short take off, with its answers. */
struct question {
        const char *word;
        double hz;
};
static struct run run_of(int32_t kind, struct chain_matrix (*of)(double hz), const struct question *asked, size_t n)
{
        struct run r = run_new(kind, DEEMBED_OPEN_SHORT);
        struct inner d = {.of = of};
        for (size_t k = 0; k < n; k++)
                bench_ask(r.b, word(asked[k].word), asked[k].hz);
        r.device = bench_two_port(r.b, pads_and_leads, &d);
        open_and_short(&r);
        ask_all(&r);
        return r;
}

static void the_top_of_q_is_found_with_its_place(void **state)
{
        (void)state;
        static const struct question asked[] = {{"Q11_max", 0}, {"Q11_max_hz", 0}, {"Qd_max", 0}};
        struct run r = run_of(DEVICE_INDUCTOR, lossy_coil, asked, 3);
        double lo = 1e9, hi = 60e9;
        for (int i = 0; i < 200; i++) {
                double a = lo + (hi - lo) / 3, b = hi - (hi - lo) / 3;
                *(q11(a) < q11(b) ? &lo : &hi) = q11(a) < q11(b) ? a : b;
        }
        near_to(&r.a[0], q11(lo), 2e-3);
        near_to(&r.a[1], lo, 5e-3);
        assert_true(r.a[2].has_value && r.a[2].value > r.a[0].value); /* floating, it has less to ground */
        assert_true(r.a[1].has_range && r.a[1].lo_hz < lo && r.a[1].hi_hz > lo);
        bench_free(r.b);
        /* a Q that rises up to the end of the sweep has no top */
        r = run_new(DEVICE_INDUCTOR, DEEMBED_NONE);
        bench_ask(r.b, word("Qd_max"), 0);
        static const struct dut short_wire = {DUT_RESISTOR, 3, 20e-12, 0, NULL, false};
        r.device = bench_device(r.b, &short_wire);
        ask_all(&r);
        assert_true(!r.a[0].has_value && strstr(r.a[0].reason, "Q"));
        bench_free(r.b);
}

static void a_group_delay_is_the_slope_of_the_phase(void **state)
{
        (void)state;
        static const struct question asked[] = {{"group_delay", 40e9}, {"group_delay", 100e9}, {"delay", 40e9}};
        struct run r = run_of(DEVICE_LINE, the_line, asked, 3);
        for (int k = 0; k < 3; k++) /* without dispersion both delays are one */
                near_to(&r.a[k], 2 * 300e-6 / 299792458.0, 1e-6);
        assert_true(r.a[0].has_range && r.a[0].hi_hz / r.a[0].lo_hz > 1.04);
        bench_free(r.b);
}

static void the_best_window_is_where_the_share_is_least(void **state)
{
        (void)state;
        struct run r = run_new(DEVICE_CAPACITOR, DEEMBED_OPEN_SHORT);
        bench_ask(r.b, QUANTITY_C, 0)->at = AT_BEST_WINDOW;
        for (int k = 0; k < 4; k++)
                bench_ask(r.b, QUANTITY_C, (const double[]){0.5e9, 2e9, 10e9, 60e9}[k])->resolve_share_max = 10;
        bench_ask(r.b, QUANTITY_C, 0)->at = AT_BEST_WINDOW;
        r.b->parameters[5].resolve_share_max = 0.001; /* more than the load's resistance lets anybody have */
        r.b->standards[LOAD_A].model.u_r_ohm = 0.1;
        static const struct dut c = {DUT_CAPACITOR, 0.5, 2e-12, 100e-15, NULL, false};
        r.device = bench_device(r.b, &c);
        open_and_short(&r);
        ask_all(&r);
        double centre = sqrt(r.a[0].lo_hz * r.a[0].hi_hz), w = TWO_PI * centre;
        near_to(&r.a[0], 1 / (1 / 100e-15 - w * w * 2e-12), 1e-4);
        assert_true(r.a[0].has_range && r.a[0].hi_hz > 1.5 * r.a[0].lo_hz);
        for (int k = 1; k <= 4; k++) /* nowhere else is it much better */
                assert_true(r.a[0].u95 < 1.2 * r.a[k].u95);
        assert_true(r.a[0].u95 < 0.2 * r.a[4].u95);
        assert_non_null(strstr(r.a[0].reason, "best resolved from"));
        assert_true(!r.a[5].has_value && strstr(r.a[5].reason, "not resolvable"));
        bench_free(r.b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(the_top_of_q_is_found_with_its_place),
                cmocka_unit_test(a_group_delay_is_the_slope_of_the_phase),
                cmocka_unit_test(the_best_window_is_where_the_share_is_least),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
