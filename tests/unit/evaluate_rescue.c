/* Between two calibrations: a ramp and a jump are followed by their witnesses, the stated interval holds the truth, and what cannot be
   known is refused.  The bench's cables drift before the boxes, so that directivity moves with the tracking. */
#include "evaluate_bench.h"

static const struct dut inductor = {DUT_INDUCTOR, 1.2, 300e-12, 12e-15, NULL, false}, open_dummy = {DUT_OPEN, 0, 0, 0, NULL, false},
                        short_dummy = {DUT_SHORT, 0, 0, 0, NULL, false}, air = {DUT_AIR, 0, 0, 0, NULL, false};
#define T0 0.0
#define T1 1000.0
enum { WITNESSES = 9 };

struct night {
        struct bench *b;
        struct calibration *before, *after;
        struct raw_sweep raised[WITNESSES];
        struct rescue_witness witnesses[WITNESSES];
        void (*drift)(struct bench *, double t_s);
};
static void ramp(struct bench *b, double t_s)
{
        b->delay_s[0] = 60e-15 * t_s / T1;
        b->delay_s[1] = -35e-15 * t_s / T1;
        b->loss_db[0] = 0.04 * t_s / T1;
}
static void still(struct bench *b, double t_s)
{
        (void)t_s;
        b->delay_s[0] = b->delay_s[1] = b->loss_db[0] = 0;
}
static void jump(struct bench *b, double t_s)
{
        b->delay_s[0] = t_s > 420 ? 60e-15 : 0;
        b->delay_s[1] = b->loss_db[0] = 0;
}
static void night_begin(struct night *to, void (*drift)(struct bench *, double), double noise, uint64_t seed)
{
        struct night n = {.b = bench_new("unknown_thru"), .drift = drift};
        n.b->random += seed * UINT64_C(0x9e3779b97f4a7c15);
        n.b->noise = noise;
        bench_ask(n.b, QUANTITY_L, 10e9);
        bench_ask(n.b, QUANTITY_L, 50e9);
        bench_ask(n.b, QUANTITY_C, 80e9);
        drift(n.b, T0);
        n.before = bench_calibrate(n.b);
        for (int k = 0; k < WITNESSES; k++) {
                double t = 100.0 * (k + 1);
                drift(n.b, t);
                n.raised[k] = bench_device(n.b, &air);
                n.witnesses[k] = (struct rescue_witness){t, &to->raised[k]};
        }
        drift(n.b, T1);
        n.after = bench_calibrate(n.b);
        *to = n;
}
static enum code open_it(struct night *n, struct rescue **ret, struct tp_error *err)
{
        return rescue_open(&n->b->recipe, n->before, n->after, T0, T1, n->witnesses, WITNESSES, n->b->arena, ret, err);
}

/* The device at t, its dummies 20 s before; with the terms of each moment, or with the old calibration alone. */
static void measure(struct night *n, const struct rescue *r, double t_s, struct parameter_answer ret[3])
{
        struct tp_error err = {0};
        struct raw_sweep raw[3];
        struct calibration *at[3] = {n->before, n->before, n->before};
        static const struct dut *const duts[3] = {&inductor, &open_dummy, &short_dummy};
        const double times[3] = {t_s, t_s - 20, t_s - 10};
        for (int k = 0; k < 3; k++) {
                n->drift(n->b, times[k]);
                raw[k] = bench_device(n->b, duts[k]);
                if (r && rescue_at(r, times[k], n->b->arena, &at[k], &err))
                        fail_msg("%s", err.text);
        }
        struct chain_question q = {.recipe = &n->b->recipe,
                                   .measure = &n->b->measures[0],
                                   .calibration = at[0],
                                   .raw = &raw[0],
                                   .dummies = {[RF_DUMMY_OPEN] = &raw[1], [RF_DUMMY_SHORT] = &raw[2]},
                                   .dummy_calibrations = {[RF_DUMMY_OPEN] = at[1], [RF_DUMMY_SHORT] = at[2]}};
        struct parameter_answer *a;
        size_t count;
        uint32_t flags;
        if (chain_run(&q, n->b->arena, &a, &count, &flags, &err))
                fail_msg("%s", err.text);
        assert_int_equal(count, 3);
        memcpy(ret, a, 3 * sizeof *a);
}
static double truth_of(int k)
{
        static const double hz[3] = {10e9, 50e9, 80e9};
        double w = TWO_PI * hz[k];
        double complex z = dut_z(&inductor, hz[k]);
        return k < 2 ? cimag(z) / w : -1 / (w * cimag(z));
}

static void a_ramp_is_taken_out_and_the_interval_says_how_well(void **state)
{
        (void)state;
        struct night n;
        night_begin(&n, ramp, 0, 0);
        struct rescue *r;
        struct tp_error err = {0};
        if (open_it(&n, &r, &err))
                fail_msg("%s", err.text);
        assert_non_null(strstr(rescue_sentence(r), "port 1 moved by 60 fs"));
        struct parameter_answer quiet[3]; /* nothing has moved yet: what the number's interval is without any drift */
        n.drift = still;
        measure(&n, NULL, 100, quiet);
        n.drift = ramp;
        for (double t = 150; t < 950; t += 160) {
                struct parameter_answer plain[3], rescued[3];
                measure(&n, NULL, t, plain);
                measure(&n, r, t, rescued);
                for (int k = 0; k < 3; k++) {
                        if (!rescued[k].has_value) /* beyond the resonance the inductor is no capacitor that could be resolved everywhere */
                                continue;
                        double off = fabs(rescued[k].value - truth_of(k)), was = fabs(plain[k].value - truth_of(k));
                        assert_true(off < 0.25 * was && off < 0.05 * rescued[k].u95);
                        assert_true(rescued[k].u95 > 0.998 * quiet[k].u95); /* where the contact alone counts they are alike */
                }
                assert_true(rescued[0].has_value && rescued[1].has_value);
                assert_non_null(strstr(rescued[1].budget, "drift, between calibrations"));
        }
        bench_free(n.b);
}

static void a_jump_is_followed_too(void **state)
{
        (void)state;
        struct night n;
        night_begin(&n, jump, 0, 0);
        struct rescue *r;
        struct tp_error err = {0};
        if (open_it(&n, &r, &err))
                fail_msg("%s", err.text);
        struct calibration *c;
        struct parameter_answer early[3], late[3], about[3];
        measure(&n, r, 380, early);
        measure(&n, r, 640, late);
        measure(&n, r, 470, about); /* the jump lay between the witnesses at 400 and 500 s: nobody saw when, so u covers it whole */
        for (int k = 0; k < 2; k++) {
                assert_true(fabs(early[k].value - truth_of(k)) < early[k].u95);
                assert_true(fabs(late[k].value - truth_of(k)) < late[k].u95);
                assert_true(fabs(about[k].value - truth_of(k)) < about[k].u95);
                assert_true(about[k].u95 > late[k].u95 && about[k].u95 > early[k].u95);
        }
        assert_int_equal(rescue_at(r, T1 + 1, n.b->arena, &c, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "outside"));
        bench_free(n.b);
}

/* With receiver noise on everything: 24 nights, three numbers each.  Of 72 at least 67 within u95: below that 93 % are missed in one series
   of 200 (binomial, from a true 97 %), and none is thrice as far off. */
static void with_noise_the_interval_holds_the_truth(void **state)
{
        (void)state;
        int n_all = 0, within = 0;
        for (int seed = 0; seed < 24; seed++) {
                struct night n;
                night_begin(&n, seed % 2 ? ramp : jump, 1e-4, (uint64_t)seed);
                struct rescue *r;
                struct tp_error err = {0};
                if (open_it(&n, &r, &err))
                        fail_msg("%s", err.text);
                struct parameter_answer a[3];
                measure(&n, r, 130 + 33.0 * seed, a);
                for (int k = 0; k < 3; k++) {
                        if (!a[k].has_value)
                                continue;
                        double ratio = fabs(a[k].value - truth_of(k)) / a[k].u95;
                        n_all++;
                        within += ratio <= 1;
                        assert_true(ratio < 3);
                }
                bench_free(n.b);
        }
        assert_true(n_all >= 48);
        if (within * 72 < 67 * n_all)
                fail_msg("%d of %d within u95", within, n_all);
}

static void what_nobody_saw_is_refused(void **state)
{
        (void)state;
        struct night n;
        night_begin(&n, ramp, 0, 0);
        struct rescue *r;
        struct tp_error err = {0};
        assert_int_equal(rescue_open(&n.b->recipe, n.before, n.after, T0, T1, NULL, 0, n.b->arena, &r, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "no raised open"));
        n.b->standards[OPEN_AIR].raised = false;
        assert_int_equal(open_it(&n, &r, &err), CODE_BAD_INPUT);
        n.b->standards[OPEN_AIR].raised = true;
        assert_int_equal(rescue_open(&n.b->recipe, n.before, n.after, T1, T0, n.witnesses, WITNESSES, n.b->arena, &r, &err),
                         CODE_BAD_INPUT);
        n.witnesses[3].t_s = 50; /* out of order */
        assert_int_equal(open_it(&n, &r, &err), CODE_BAD_INPUT);
        bench_free(n.b);
}

static void another_touch_is_no_drift(void **state)
{
        (void)state;
        struct night n;
        night_begin(&n, ramp, 0, 0);
        struct rescue *r;
        struct tp_error err = {0};
        n.drift(n.b, T0);
        n.b->standards[SHORT_A].model.l_h[0] += 25e-12; /* the new calibration stands on a short that is not what it was */
        struct raw_sweep raw[4];
        struct standard_sweep of[4];
        for (int k = 0; k < 4; k++) {
                raw[k] = bench_standard(n.b, (size_t)k, NULL);
                of[k] = (struct standard_sweep){k, &raw[k]};
        }
        n.b->standards[SHORT_A].model.l_h[0] -= 25e-12;
        assert_int_equal(calibration_solve(&n.b->recipe, of, 4, n.b->arena, &n.after, NULL, &err), CODE_OK);
        assert_int_equal(open_it(&n, &r, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "no delay and no loss"));
        bench_free(n.b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(a_ramp_is_taken_out_and_the_interval_says_how_well),
                cmocka_unit_test(a_jump_is_followed_too),
                cmocka_unit_test(with_noise_the_interval_holds_the_truth),
                cmocka_unit_test(what_nobody_saw_is_refused),
                cmocka_unit_test(another_touch_is_no_drift),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
