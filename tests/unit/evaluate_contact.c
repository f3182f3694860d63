/* Contact: what hovers, hangs or conducts, and that no value decides. */
#include "evaluate_bench.h"

static const struct dut kinds[] = {{DUT_INDUCTOR, 1, 300e-12, 6e-15, NULL, false},
                                   {DUT_INDUCTOR, 2, 800e-12, 6e-15, NULL, false},
                                   {DUT_CAPACITOR, 1, 6e-12, 120e-15, NULL, false},
                                   {DUT_RESISTOR, 75, 9e-12, 0, NULL, false},
                                   {DUT_LINE, 0, 0, 0, NULL, false},
                                   {DUT_OPEN, 0, 0, 0, NULL, false},
                                   {DUT_SHORT, 0, 0, 0, NULL, false}};
enum { KINDS = sizeof kinds / sizeof kinds[0] };

struct setting {
        struct bench *b;
        struct calibration *c;
        struct raw_sweep raised;
};
static struct setting setting_new(void)
{
        static const struct dut air = {DUT_AIR, 0, 0, 0, NULL, false};
        struct setting s = {.b = bench_new("unknown_thru")};
        s.c = bench_calibrate(s.b);
        s.b->noise = 1e-3;
        s.raised = bench_device(s.b, &air);
        s.b->measures[0].symmetric = true;
        return s;
}
static struct contact_answer judged(struct setting *s, const struct dut *d, const struct raw_sweep *typical, int32_t family, double ohm)
{
        struct contact_answer a;
        struct raw_sweep raw = bench_device(s->b, d);
        s->b->measures[0].contact.family = family;
        struct contact_question q = {.recipe = &s->b->recipe,
                                     .measure = &s->b->measures[0],
                                     .calibration = s->c,
                                     .raw = &raw,
                                     .raised = &s->raised,
                                     .typical = typical,
                                     .dc_ohm_start = {ohm, ohm, ohm},
                                     .dc_ohm_end = {-1, -1, -1}};
        contact_judge(&q, s->b->arena, &a);
        return a;
}

static void every_kind_of_device_in_good_contact_is_good(void **state)
{
        (void)state;
        struct setting s = setting_new();
        for (int k = 0; k < KINDS; k++)
                for (int repeat = 0; repeat < 20; repeat++) {
                        struct contact_answer a = judged(&s, &kinds[k], NULL, 2, -1);
                        if (a.grade != CONTACT_GOOD)
                                fail_msg("kind %d: %s", k, a.reason);
                }
        bench_free(s.b);
}

static void a_hanging_ground_is_found_on_every_kind_though_dc_passes(void **state)
{
        (void)state;
        struct setting s = setting_new();
        struct touch t = {.hangs = true};
        for (int k = 0; k < KINDS; k++) {
                struct raw_sweep typical = bench_device(s.b, &kinds[k]);
                for (int with = 0; with < 2; with++) {
                        struct dut d = kinds[k];
                        d.touch = &t;
                        struct contact_answer a = judged(&s, &d, with ? &typical : NULL, 1, 5);
                        if (a.grade != CONTACT_DOUBTFUL && a.grade != CONTACT_ABSENT)
                                fail_msg("kind %d passes: %s", k, a.reason);
                        assert_true(a.ripple > 0.02);
                }
        }
        bench_free(s.b);
}

static void a_hovering_tip_is_absent_by_rf_alone(void **state)
{
        (void)state;
        struct setting s = setting_new();
        struct dut d = kinds[5];
        d.open_tip = true;
        struct contact_answer a = judged(&s, &d, NULL, 2, -1);
        assert_int_equal(a.grade, CONTACT_ABSENT);
        assert_non_null(strstr(a.reason, "port 2"));
        static const struct dut air = {DUT_AIR, 0, 0, 0, NULL, false};
        assert_int_equal(judged(&s, &air, NULL, 2, -1).grade, CONTACT_ABSENT);
        bench_free(s.b);
}

static void dc_is_judged_by_family(void **state)
{
        (void)state;
        struct setting s = setting_new();
        assert_int_equal(judged(&s, &kinds[0], NULL, 1, 1).grade, CONTACT_GOOD);
        assert_int_equal(judged(&s, &kinds[0], NULL, 1, 500).grade, CONTACT_DOUBTFUL);  /* 0.05 to 100 ohm */
        assert_int_equal(judged(&s, &kinds[0], NULL, 1, 1e12).grade, CONTACT_DOUBTFUL); /* pads are touched: the device may be broken */
        assert_int_equal(judged(&s, &kinds[2], NULL, 2, 1e12).grade, CONTACT_GOOD);     /* blocks DC */
        assert_int_equal(judged(&s, &kinds[2], NULL, 2, 0.5).grade, CONTACT_GOOD);      /* a shorted capacitor is a defect, no bad touch */
        assert_int_equal(judged(&s, &kinds[6], NULL, 3, 1).grade, CONTACT_GOOD);
        assert_int_equal(judged(&s, &kinds[6], NULL, 3, 0.01).grade, CONTACT_DOUBTFUL);
        bench_free(s.b);
}

static void a_creeping_contact_is_doubtful(void **state)
{
        (void)state;
        struct setting s = setting_new();
        struct raw_sweep raw = bench_device(s.b, &kinds[0]);
        struct contact_answer a;
        struct contact_question q = {.recipe = &s.b->recipe,
                                     .measure = &s.b->measures[0],
                                     .calibration = s.c,
                                     .raw = &raw,
                                     .raised = &s.raised,
                                     .dc_ohm_start = {1.0, -1, -1},
                                     .dc_ohm_end = {2.0, -1, -1}};
        contact_judge(&q, s.b->arena, &a);
        assert_int_equal(a.grade, CONTACT_DOUBTFUL);
        assert_non_null(strstr(a.reason, "creeps"));
        bench_free(s.b);
}

/* A device twice as large as its neighbour's, and one far outside its limits, are no reason to touch again. */
static void no_value_decides(void **state)
{
        (void)state;
        struct setting s = setting_new();
        struct raw_sweep typical = bench_device(s.b, &kinds[0]);
        struct parameter_plan *p = bench_ask(s.b, QUANTITY_L, 10e9);
        p->has_high = true;
        p->high = 1e-12;
        for (double factor = 0.5; factor <= 2; factor *= 2) {
                struct dut d = kinds[0];
                d.l *= factor;
                assert_int_equal(judged(&s, &d, &typical, 1, 1).grade, CONTACT_GOOD);
        }
        bench_free(s.b);
}

static void standards_are_judged_with_and_without_a_calibration(void **state)
{
        (void)state;
        struct setting s = setting_new();
        struct touch hangs = {.hangs = true};
        for (int k = OPEN_AIR; k <= LOAD_B; k++)
                for (int bad = 0; bad < 2; bad++)
                        for (int with = 0; with < 2; with++) {
                                if (bad && k == OPEN_AIR)
                                        continue;
                                struct raw_sweep raw = bench_standard(s.b, (size_t)k, bad ? &hangs : NULL);
                                double ohm = s.b->standards[k].kind == STANDARD_LOAD ? 50.1 : 0.02;
                                struct contact_answer a;
                                struct contact_question q = {.recipe = &s.b->recipe,
                                                             .standard = &s.b->standards[k],
                                                             .calibration = with ? s.c : NULL,
                                                             .raw = &raw,
                                                             .raised = &s.raised,
                                                             .dc_ohm_start = {ohm, ohm, ohm},
                                                             .dc_ohm_end = {-1, -1, -1}};
                                contact_judge(&q, s.b->arena, &a);
                                if (bad && with)
                                        assert_int_equal(a.grade, CONTACT_DOUBTFUL);
                                else if (a.grade != CONTACT_GOOD)
                                        fail_msg("%s, %s: %s", s.b->standards[k].name, with ? "calibrated" : "not calibrated", a.reason);
                        }
        struct raw_sweep raw = bench_standard(s.b, SHORT_A, NULL);
        struct contact_answer a;
        struct contact_question q = {.recipe = &s.b->recipe,
                                     .standard = &s.b->standards[SHORT_A],
                                     .raw = &raw,
                                     .dc_ohm_start = {1e12, 1e12, 0.1},
                                     .dc_ohm_end = {-1, -1, -1}};
        contact_judge(&q, s.b->arena, &a);
        assert_int_equal(a.grade, CONTACT_ABSENT);
        raw = bench_standard(s.b, LOAD_A, NULL); /* 60 ohm: no load of 50 within a tenth, a good one where the definition says 12 */
        for (int k = 0; k < 2; k++) {
                s.b->standards[LOAD_A].model.r_tolerance_ohm = k ? 12 : 0;
                q = (struct contact_question){.recipe = &s.b->recipe,
                                              .standard = &s.b->standards[LOAD_A],
                                              .raw = &raw,
                                              .dc_ohm_start = {-1, 60, 60},
                                              .dc_ohm_end = {-1, -1, -1}};
                contact_judge(&q, s.b->arena, &a);
                assert_int_equal(a.grade, k ? CONTACT_GOOD : CONTACT_DOUBTFUL);
        }
        bench_free(s.b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(every_kind_of_device_in_good_contact_is_good),
                                           cmocka_unit_test(a_hanging_ground_is_found_on_every_kind_though_dc_passes),
                                           cmocka_unit_test(a_hovering_tip_is_absent_by_rf_alone),
                                           cmocka_unit_test(dc_is_judged_by_family),
                                           cmocka_unit_test(a_creeping_contact_is_doubtful),
                                           cmocka_unit_test(no_value_decides),
                                           cmocka_unit_test(standards_are_judged_with_and_without_a_calibration)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
