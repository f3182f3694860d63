/* What a sweep says of itself: seams, reciprocity, passivity; that none of it touches a value or a verdict; and what a calibration leaves
   for its probes' history. */
#include "evaluate_bench.h"

static const struct dut inductor = {DUT_INDUCTOR, 1.2, 300e-12, 12e-15, NULL, false}, open_dummy = {DUT_OPEN, 0, 0, 0, NULL, false},
                        short_dummy = {DUT_SHORT, 0, 0, 0, NULL, false};
struct answered {
        struct parameter_answer *a;
        size_t n;
        uint32_t flags;
};
static struct answered run(struct bench *b, struct calibration *c, struct raw_sweep *device, struct raw_sweep *open,
                           struct raw_sweep *short_)
{
        struct answered x;
        struct tp_error err = {0};
        struct chain_question q = {.recipe = &b->recipe,
                                   .measure = &b->measures[0],
                                   .calibration = c,
                                   .raw = device,
                                   .dummies = {[RF_DUMMY_OPEN] = open, [RF_DUMMY_SHORT] = short_}};
        if (chain_run(&q, b->arena, &x.a, &x.n, &x.flags, &err))
                fail_msg("%s", err.text);
        return x;
}
static void scale(struct raw_sweep *raw, size_t i, int e, double complex by)
{
        double complex m = CMPLX(raw->re[e][i], raw->im[e][i]) * by;
        raw->re[e][i] = creal(m);
        raw->im[e][i] = cimag(m);
}

static void a_step_between_bands_is_said_and_changes_nothing(void **state)
{
        (void)state;
        for (int noisy = 0; noisy < 2; noisy++) {
                struct bench *b = bench_new("unknown_thru");
                bench_ask(b, QUANTITY_L, 10e9);
                struct calibration *c = bench_calibrate(b);
                b->noise = noisy ? 1e-4 : 0;
                struct raw_sweep device = bench_device(b, &inductor), open = bench_device(b, &open_dummy),
                                 short_ = bench_device(b, &short_dummy);
                struct answered before = run(b, c, &device, &open, &short_);
                if (before.flags)
                        fail_msg("flags %u of a sweep without a fault: %s", before.flags, before.a[0].reason);
                double complex t = pow(10, -0.1 / 20) * cexp(CMPLX(0, 0.5 * TWO_PI / 360)); /* port 2's module above 54 GHz, one way */
                for (size_t i = 0; i < BENCH_POINTS; i++)
                        if (b->hz[i] >= 54e9) {
                                scale(&device, i, 3, t * t);
                                scale(&device, i, 1, t);
                                scale(&device, i, 2, t);
                        }
                struct answered after = run(b, c, &device, &open, &short_);
                assert_int_equal(after.flags, 8);
                if (!strstr(after.a[0].reason, "where bands meet at 54 GHz"))
                        fail_msg("%s", after.a[0].reason);
                /* 10 GHz lies below the edge: value and u are what they were, to the last bit, and so is the verdict */
                assert_true(after.a[0].value == before.a[0].value && after.a[0].u95 == before.a[0].u95);
                assert_string_equal(after.a[0].verdict, before.a[0].verdict);
                bench_free(b);
        }
}

static void reciprocity_and_passivity_are_said(void **state)
{
        (void)state;
        struct bench *b = bench_new("unknown_thru");
        bench_ask(b, QUANTITY_L, 10e9);
        struct calibration *c = bench_calibrate(b);
        struct raw_sweep device = bench_device(b, &inductor), open = bench_device(b, &open_dummy), short_ = bench_device(b, &short_dummy);
        for (size_t i = 0; i < BENCH_POINTS; i++)
                scale(&device, i, 2, 1.2);
        struct answered x = run(b, c, &device, &open, &short_);
        assert_true(x.flags & 16);
        assert_non_null(strstr(x.a[0].reason, "S21 and S12 differ"));
        device = bench_device(b, &inductor);
        for (size_t i = 0; i < BENCH_POINTS; i++)
                for (int e = 0; e < 4; e++)
                        scale(&device, i, e, 1.2);
        x = run(b, c, &device, &open, &short_);
        assert_true(x.flags & 32);
        assert_non_null(strstr(x.a[0].reason, "not passive: gain up to"));
        bench_free(b);
}

static void a_calibration_leaves_its_descriptors(void **state)
{
        (void)state;
        struct bench *b = bench_new("unknown_thru");
        struct probe probes[2] = {{.serial = "P-0017"}, {.serial = "P-0018"}};
        b->recipe.setup.probes = probes;
        b->recipe.setup.probe_n = 2;
        static const int which[] = {OPEN_AIR, SHORT_A, LOAD_A, THRU_A};
        struct standard_sweep of[4];
        struct raw_sweep raw[4];
        for (int k = 0; k < 4; k++) {
                raw[k] = bench_standard(b, (size_t)which[k], NULL);
                of[k] = (struct standard_sweep){which[k], &raw[k]};
        }
        struct calibration *c;
        struct text json;
        struct tp_error err = {0};
        text_init(&json, 0);
        if (calibration_solve(&b->recipe, of, 4, b->arena, &c, &json, &err))
                fail_msg("%s", err.text);
        const char *t = text_of(&json);
        assert_non_null(strstr(t, "\"probes\":[\"P-0017\",\"P-0018\"]"));
        assert_non_null(strstr(t, "\"directivity_db\":["));
        assert_non_null(strstr(t, "\"tracking\":["));
        assert_non_null(strstr(t, "\"floor\":["));
        assert_non_null(strstr(t, "\"suspicions\":[]"));
        assert_null(strstr(t, "nan"));
        text_done(&json);
        /* the same readings from a program of the other sign of time: the calibration may even solve, but it is said */
        for (int k = 0; k < 4; k++)
                for (size_t i = 0; i < BENCH_POINTS; i++) {
                        for (int e = 0; e < 4; e++)
                                raw[k].im[e][i] = -raw[k].im[e][i];
                        raw[k].gf_im[i] = -raw[k].gf_im[i];
                        raw[k].gr_im[i] = -raw[k].gr_im[i];
                }
        text_init(&json, 0);
        if (!calibration_solve(&b->recipe, of, 4, b->arena, &c, &json, &err))
                assert_non_null(strstr(text_of(&json), "e^{-jwt}"));
        else
                print_message("refused: %s\n", err.text);
        text_done(&json);
        bench_free(b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(a_step_between_bands_is_said_and_changes_nothing),
                                           cmocka_unit_test(reciprocity_and_passivity_are_said),
                                           cmocka_unit_test(a_calibration_leaves_its_descriptors)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
