/* One sweep through correct, de-embed, extract, judge: values against the elements that were put in, verdicts, refusals. */
#include "evaluate_bench.h"
#include "formats/touchstone.h"

static const struct dut inductor = {DUT_INDUCTOR, 1.2, 300e-12, 12e-15, NULL, false}, open_dummy = {DUT_OPEN, 0, 0, 0, NULL, false},
                        short_dummy = {DUT_SHORT, 0, 0, 0, NULL, false};

struct asked_for {
        struct bench *b;
        struct calibration *c;
        struct raw_sweep device, open, short_;
        struct parameter_answer *a;
        size_t n;
        uint32_t flags;
        struct tp_error err;
};
static struct chain_question question(struct asked_for *x)
{
        return (struct chain_question){.recipe = &x->b->recipe,
                                       .measure = &x->b->measures[0],
                                       .calibration = x->c,
                                       .raw = &x->device,
                                       .dummies = {[RF_DUMMY_OPEN] = &x->open, [RF_DUMMY_SHORT] = &x->short_}};
}
static void run(struct asked_for *x, const struct dut *d)
{
        x->c = bench_calibrate(x->b);
        x->device = bench_device(x->b, d);
        x->open = bench_device(x->b, &open_dummy);
        x->short_ = bench_device(x->b, &short_dummy);
        struct chain_question q = question(x);
        if (chain_run(&q, x->b->arena, &x->a, &x->n, &x->flags, &x->err))
                fail_msg("%s", x->err.text);
}
static void near_to(const struct parameter_answer *a, double want, double relative)
{
        if (!a->has_value || !(fabs(a->value / want - 1) <= relative))
                fail_msg("%s: %.9g, wanted %.9g within %.1g (%s)", a->plan->name, a->value, want, relative, a->reason);
        if (!(a->u95 > 0 && a->u95 < 0.5 * fabs(want)))
                fail_msg("%s: u95 %.3g of %.9g", a->plan->name, a->u95, want);
}

static void an_inductor_comes_back_with_its_elements(void **state)
{
        (void)state;
        struct asked_for x = {.b = bench_new("unknown_thru")};
        bench_ask(x.b, QUANTITY_L, 10e9);
        bench_ask(x.b, QUANTITY_Q, 10e9);
        bench_ask(x.b, QUANTITY_R, 10e9);
        bench_ask(x.b, QUANTITY_SRF, 0);
        bench_ask(x.b, QUANTITY_L, 12.34e9); /* between two points */
        run(&x, &inductor);
        assert_int_equal(x.n, 5);
        double complex z = dut_z(&inductor, 10e9), between = dut_z(&inductor, 12.34e9);
        near_to(&x.a[0], cimag(z) / (TWO_PI * 10e9), 1e-9);
        near_to(&x.a[1], cimag(z) / creal(z), 1e-8);
        near_to(&x.a[2], creal(z), 1e-8);
        /* the susceptance of (R + jwL) || C is zero at w^2 = 1/(LC) - (R/L)^2 */
        double w2 = 1 / (inductor.l * inductor.c) - pow(inductor.r / inductor.l, 2);
        near_to(&x.a[3], sqrt(w2) / TWO_PI, 1e-4);
        near_to(&x.a[4], cimag(between) / (TWO_PI * 12.34e9), 1e-5);
        assert_string_equal(x.a[0].plane, "device");
        assert_int_equal(x.flags, 0);
        assert_true(x.a[0].has_range && x.a[0].lo_hz <= 10e9 && x.a[0].hi_hz >= 10e9 && x.a[0].lo_hz >= 0.1e9 && x.a[0].hi_hz <= 110e9);
        assert_false(x.a[3].has_range);
        assert_non_null(strstr(x.a[0].budget, "contact L"));
        bench_free(x.b);
}

static void a_capacitor_and_a_resistor_come_back(void **state)
{
        (void)state;
        static const struct dut capacitor = {DUT_CAPACITOR, 3, 5e-12, 120e-15, NULL, false},
                                resistor = {DUT_RESISTOR, 75, 9e-12, 0, NULL, false};
        struct asked_for x = {.b = bench_new("solt")};
        x.b->devices[0].kind = DEVICE_CAPACITOR;
        bench_ask(x.b, QUANTITY_C, 10e9);
        bench_ask(x.b, QUANTITY_Q, 10e9);
        run(&x, &capacitor);
        double complex z = dut_z(&capacitor, 10e9);
        near_to(&x.a[0], -1 / (TWO_PI * 10e9 * cimag(z)), 1e-9);
        near_to(&x.a[1], -cimag(z) / creal(z), 1e-8);
        bench_free(x.b);
        x = (struct asked_for){.b = bench_new("solt")};
        x.b->devices[0].kind = DEVICE_RESISTOR;
        bench_ask(x.b, QUANTITY_R, 1e9);
        run(&x, &resistor);
        near_to(&x.a[0], 75, 1e-9);
        bench_free(x.b);
}

static void a_line_on_the_wafer_gives_permittivity_loss_and_impedance(void **state)
{
        (void)state;
        static const struct dut line_device = {DUT_LINE, 0, 0, 0, NULL, false};
        struct asked_for x = {.b = bench_new("unknown_thru")};
        x.b->devices[0].kind = DEVICE_LINE;
        x.b->devices[0].length_um = 300;
        bench_ask(x.b, QUANTITY_EPS_EFF, 60e9);
        bench_ask(x.b, QUANTITY_LOSS, 60e9);
        bench_ask(x.b, QUANTITY_ZC_RE, 60e9);
        bench_ask(x.b, QUANTITY_S21_DB, 60e9);
        run(&x, &line_device);
        double alpha = 20 * sqrt(0.6), beta = TWO_PI * 60e9 * 2 / 299792458.0;
        double complex k = CMPLX(alpha, beta) * 299792458.0 / (TWO_PI * 60e9), s[4];
        near_to(&x.a[0], -creal(k * k), 1e-7);
        near_to(&x.a[1], 8.685889638065037e-3 * alpha, 1e-6);
        near_to(&x.a[2], 60, 1e-8);
        s_of(line(CMPLX(alpha, beta) * 300e-6, 60), s);
        assert_true(fabs(x.a[3].value - 20 * log10(cabs(s[2]))) < 1e-8);
        bench_free(x.b);
}

static void verdicts_follow_the_probability_of_conformance(void **state)
{
        (void)state;
        struct asked_for x = {.b = bench_new("unknown_thru")};
        struct parameter_plan *p[4];
        double value = cimag(dut_z(&inductor, 10e9)) / (TWO_PI * 10e9);
        for (int k = 0; k < 4; k++) {
                p[k] = bench_ask(x.b, QUANTITY_L, 10e9);
                p[k]->has_low = k < 3;
        }
        run(&x, &inductor);
        double u = x.a[0].u95 / 2;
        p[0]->low = value - 1.7 * u; /* Phi(1.7) = 0.955 */
        p[1]->low = value - 1.6 * u; /* Phi(1.6) = 0.945 */
        p[2]->low = value + 1.7 * u;
        struct chain_question q = question(&x);
        assert_int_equal(chain_run(&q, x.b->arena, &x.a, &x.n, &x.flags, &x.err), CODE_OK);
        assert_string_equal(x.a[0].verdict, "pass");
        assert_string_equal(x.a[1].verdict, "marginal");
        assert_string_equal(x.a[2].verdict, "fail");
        assert_string_equal(x.a[3].verdict, "none");
        assert_string_equal(x.a[3].reason, "no limits");
        bench_free(x.b);
}

static void what_cannot_be_resolved_is_refused_with_a_reason(void **state)
{
        (void)state;
        struct asked_for x = {.b = bench_new("unknown_thru")};
        x.b->noise = 3e-5;
        bench_ask(x.b, QUANTITY_L, 0.1e9)->resolve_share_max = 1e-4;
        bench_ask(x.b, QUANTITY_L, 150e9);
        bench_ask(x.b, QUANTITY_SRF, 0);
        struct dut without_c = inductor;
        without_c.c = 1e-15; /* resonates at 290 GHz */
        run(&x, &without_c);
        for (size_t k = 0; k < x.n; k++) {
                assert_false(x.a[k].has_value);
                assert_true(isnan(x.a[k].value) && isnan(x.a[k].u95));
                assert_string_equal(x.a[k].verdict, "none");
        }
        assert_non_null(strstr(x.a[0].reason, "not resolvable"));
        assert_non_null(strstr(x.a[1].reason, "outside the sweep"));
        assert_non_null(strstr(x.a[2].reason, "no resonance up to 110 GHz"));
        bench_free(x.b);
}

/* Seven of the points: at one of them the value stands, between them nobody may guess. */
static void between_points_far_apart_the_value_is_refused(void **state)
{
        (void)state;
        struct asked_for x = {.b = bench_new("unknown_thru")};
        bench_ask(x.b, QUANTITY_L, x.b->hz[40]);
        bench_ask(x.b, QUANTITY_L, 10e9);
        bench_ask(x.b, QUANTITY_SRF, 0);
        run(&x, &inductor);
        static const size_t keep[7] = {2, 5, 40, 60, 120, 160, 200};
        double hz[7];
        struct raw_sweep *all[3] = {&x.device, &x.open, &x.short_};
        for (size_t i = 0; i < 7; i++) {
                hz[i] = x.b->hz[keep[i]];
                for (int s = 0; s < 3; s++)
                        for (int e = 0; e < 4; e++) {
                                all[s]->re[e][i] = all[s]->re[e][keep[i]];
                                all[s]->im[e][i] = all[s]->im[e][keep[i]];
                        }
        }
        for (int s = 0; s < 3; s++) {
                all[s]->hz = hz;
                all[s]->n = 7;
        }
        struct chain_question q = question(&x);
        assert_int_equal(chain_run(&q, x.b->arena, &x.a, &x.n, &x.flags, &x.err), CODE_OK);
        near_to(&x.a[0], cimag(dut_z(&inductor, hz[2])) / (TWO_PI * hz[2]), 1e-9);
        assert_false(x.a[1].has_value);
        assert_non_null(strstr(x.a[1].reason, "too far apart"));
        assert_false(x.a[2].has_value);
        assert_non_null(strstr(x.a[2].reason, "resonates between 80 and 100 GHz"));
        bench_free(x.b);
}

static void a_missing_dummy_is_named(void **state)
{
        (void)state;
        struct asked_for x = {.b = bench_new("unknown_thru")};
        bench_ask(x.b, QUANTITY_L, 10e9);
        run(&x, &inductor);
        struct chain_question q = question(&x);
        q.dummies[RF_DUMMY_SHORT] = NULL;
        assert_int_equal(chain_run(&q, x.b->arena, &x.a, &x.n, &x.flags, &x.err), CODE_NOT_FOUND);
        assert_non_null(strstr(x.err.text, "short"));
        assert_non_null(strstr(x.err.text, "DUT"));
        bench_free(x.b);
}

static void a_sweep_that_is_not_reciprocal_or_not_passive_is_flagged(void **state)
{
        (void)state;
        struct asked_for x = {.b = bench_new("unknown_thru")};
        bench_ask(x.b, QUANTITY_L, 10e9);
        run(&x, &inductor);
        for (size_t i = 0; i < BENCH_POINTS; i++) {
                x.device.re[1][i] *= 1.2;
                x.device.im[1][i] *= 1.2;
        }
        struct chain_question q = question(&x);
        assert_int_equal(chain_run(&q, x.b->arena, &x.a, &x.n, &x.flags, &x.err), CODE_OK);
        assert_int_equal(x.flags & 16, 16);
        assert_non_null(strstr(x.a[0].reason, "S21 and S12 differ"));
        for (int e = 0; e < 4; e++)
                for (size_t i = 0; i < BENCH_POINTS; i++) {
                        x.device.re[e][i] *= 1.3;
                        x.device.im[e][i] *= 1.3;
                }
        assert_int_equal(chain_run(&q, x.b->arena, &x.a, &x.n, &x.flags, &x.err), CODE_OK);
        assert_int_equal(x.flags & 32, 32);
        bench_free(x.b);
}

static void the_touchstone_text_says_plane_and_provenance_and_reads_back_exactly(void **state)
{
        (void)state;
        struct asked_for x = {.b = bench_new("unknown_thru")};
        run(&x, &inductor);
        struct chain_question q = question(&x);
        static const char *const comments[] = {"run 01ABC", "calibration 7"};
        struct text text;
        struct touchstone file;
        double *re[4], *im[4];
        text_init(&text, 0);
        assert_int_equal(chain_touchstone(&q, true, comments, 2, &text, &x.err), CODE_OK);
        assert_non_null(strstr(text_of(&text), "plane device"));
        assert_non_null(strstr(text_of(&text), "run 01ABC"));
        assert_non_null(strstr(text_of(&text), "open and short dummies"));
        assert_int_equal(touchstone_read(text.at, text.n, 2, x.b->arena, &file, &x.err), CODE_OK);
        assert_int_equal(chain_network(&q, true, x.b->arena, re, im, &x.err), CODE_OK);
        assert_int_equal(file.axis.n, BENCH_POINTS);
        assert_true(file.r_ohm[0] == 50);
        for (int k = 0; k < 4; k++)
                for (size_t i = 0; i < BENCH_POINTS; i++)
                        assert_true(file.re[k][i] == re[k][i] && file.im[k][i] == im[k][i]);
        double complex want[4];
        s_of(in_series(dut_z(&inductor, x.b->hz[100])), want);
        assert_true(cabs(CMPLX(re[2][100], im[2][100]) - want[2]) < 1e-10);
        text_done(&text);
        bench_free(x.b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(an_inductor_comes_back_with_its_elements),
                                           cmocka_unit_test(a_capacitor_and_a_resistor_come_back),
                                           cmocka_unit_test(a_line_on_the_wafer_gives_permittivity_loss_and_impedance),
                                           cmocka_unit_test(verdicts_follow_the_probability_of_conformance),
                                           cmocka_unit_test(what_cannot_be_resolved_is_refused_with_a_reason),
                                           cmocka_unit_test(between_points_far_apart_the_value_is_refused),
                                           cmocka_unit_test(a_missing_dummy_is_named),
                                           cmocka_unit_test(a_sweep_that_is_not_reciprocal_or_not_passive_is_flagged),
                                           cmocka_unit_test(the_touchstone_text_says_plane_and_provenance_and_reads_back_exactly)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
