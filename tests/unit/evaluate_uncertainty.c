/* The uncertainty's parts against published numbers and against doing it again with one input moved. */
#include "evaluate_bench.h"
#undef I
#include "evaluate/inside.h"
#include "evaluate/virtual.h"

/* JCGM 100:2008, table G.2: 95.00 % column. */
static void the_t_factor_agrees_with_the_table_of_jcgm_100(void **state)
{
        (void)state;
        static const double table[][2] = {{1, 12.71}, {2, 4.30},  {3, 3.18},  {4, 2.78},  {5, 2.57},   {6, 2.45},
                                          {8, 2.31},  {10, 2.23}, {20, 2.09}, {50, 2.01}, {100, 1.984}};
        for (size_t k = 0; k < sizeof table / sizeof table[0]; k++)
                assert_true(fabs(student_95(table[k][0]) - table[k][1]) < 0.0061);
}

static void a_budget_adds_squares_and_names_the_largest(void **state)
{
        (void)state;
        struct cause_list list = {.n = 0};
        double u, u95;
        char json[BUDGET_ROOM];
        cause_add(&list, "load R", 4, INFINITY);
        cause_add_of(&list, SCOPE_TOUCH, "contact L", -2, INFINITY);
        cause_add_of(&list, SCOPE_TOUCH, "contact L", 2, INFINITY);
        cause_add_of(&list, SCOPE_READING, "noise", 1, 5);
        budget_close(&list, &u, &u95, json);
        assert_true(fabs(u - 5) < 1e-12);
        assert_true(fabs(u95 / u - 2) < 1e-12);
        assert_string_equal(json, "{\"scopes\":{\"touch\":32.0,\"reading\":4.0,\"shared\":64.0},\"touch\":{\"contact L\":32},\"reading\":{"
                                  "\"noise\":4},\"shared\":{\"load R\":64}}");
        cause_add(&list, "noise", sqrt(50),
                  5); /* Welch-Satterthwaite: 75^2 / (1/5 + 50^2/5) = 11.2 degrees of freedom, t = 2.20 (JCGM 100, table G.2) */
        budget_close(&list, &u, &u95, json);
        assert_true(fabs(u95 / u - 2.197) < 0.01);
}

/* A rectangle alone is all within 1.73 u, 95 % of it within 1.645 u; among others it is one of many. */
static void a_rectangular_cause_has_its_own_factor(void **state)
{
        (void)state;
        struct cause_list list = {.n = 0};
        double u, u95;
        char json[BUDGET_ROOM];
        cause_add_rectangular(&list, "drift", 3);
        budget_close(&list, &u, &u95, json);
        assert_true(fabs(u95 / u - 2 * 0.95 * sqrt(3) / 1.959963984540054) < 1e-9); /* k = 2 for the normal's 1.96, here as there */
        cause_add(&list, "load R", 4, INFINITY);
        budget_close(&list, &u, &u95, json);
        /* 36 % of the variance: 1.943 instead of 1.960, by counting two million draws of their sum elsewhere: 1.943 +- 0.001 */
        assert_true(fabs(u - 5) < 1e-12 && fabs(u95 / u - 2 * 1.943 / 1.960) < 0.002);
        for (int k = 0; k < 12; k++)
                cause_add_rectangular(&list, "drift", 0.5);
        budget_close(&list, &u, &u95, json);
        assert_true(u95 / u > 1.95 && u95 / u < 2);
}

static void scatter_is_that_of_the_noise_and_nothing_of_a_cubic(void **state)
{
        (void)state;
        double x[9], re[9], im[9];
        uint64_t random = 7;
        double sum = 0;
        for (int k = 0; k < 9; k++) {
                x[k] = 1e10 + 5e8 * k;
                double t = k - 4;
                re[k] = 1 + 2 * t - 3 * t * t + 0.1 * t * t * t;
        }
        assert_true(scatter_of(x, re, NULL, 9, 1) < 1e-12);
        for (int trial = 0; trial < 2000; trial++) {
                for (int k = 0; k < 9; k++) {
                        random = random * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
                        re[k] = sqrt(12) * ((double)(random >> 11) * 0x1p-53 - 0.5);
                        random = random * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
                        im[k] = sqrt(12) * ((double)(random >> 11) * 0x1p-53 - 0.5);
                }
                sum += pow(scatter_of(x, re, im, 9, 1), 2);
        }
        assert_true(fabs(sum / 2000 - 1) < 0.05);
}

/* ---- moves: solve again with one ideal moved, and see whether the device moves as foretold ------------------------------------------ */
static struct m2 corrected(struct bench *b, const struct calibration *c, const struct dut *d, size_t i)
{
        struct raw_sweep raw = bench_device(b, d);
        return tip_point(c, &raw, i, i);
}

static void moved_ideals_do_what_solving_again_does(void **state)
{
        (void)state;
        static const char *const methods[] = {"unknown_thru", "solt"};
        static const struct dut device = {DUT_INDUCTOR, 5, 150e-12, 10e-15, NULL, false};
        static const int kinds[3] = {OPEN_AIR, SHORT_A, LOAD_A};
        for (int method = 0; method < 2; method++)
                for (int which = 0; which < 4; which++) {
                        struct bench *b = bench_new(methods[method]);
                        const size_t i = 140; /* 70 GHz */
                        double w = TWO_PI * b->hz[i];
                        struct calibration *before = bench_calibrate(b), *after;
                        struct m2 s = corrected(b, before, &device, i), none = m2_of(0, 0, 0, 0), d_thru = none,
                                  thru = standard_at(&b->standards[THRU_A], 25, b->hz[i]);
                        double complex gamma[3], d_gamma[3] = {0};
                        for (int k = 0; k < 3; k++)
                                gamma[k] = standard_at(&b->standards[kinds[k]], 25, b->hz[i]).e[0];
                        /* the standards stay what they are (raw data first), the recipe is told something else */
                        struct raw_sweep raw[4];
                        struct standard_sweep of[4];
                        struct tp_error err = {0};
                        for (int k = 0; k < 4; k++) {
                                raw[k] = bench_standard(b, (size_t)k, NULL);
                                of[k] = (struct standard_sweep){k, &raw[k]};
                        }
                        double size = which == 0 ? 1e-18 : which == 3 ? 1e-17 : 1e-15;
                        if (which == 0)
                                b->standards[OPEN_AIR].model.c_f[0] += size;
                        else if (which == 3)
                                b->standards[THRU_A].model.delay_s += size;
                        else
                                b->standards[kinds[which]].model.l_h[0] += size;
                        assert_int_equal(calibration_solve(&b->recipe, of, 4, b->arena, &after, NULL, &err), CODE_OK);
                        struct m2 change = m2_sub(corrected(b, after, &device, i), s), foretold;
                        if (which == 0)
                                d_gamma[0] = -(1 + gamma[0]) * (1 + gamma[0]) / 2 * CMPLX(0, w * size) * 50;
                        else if (which < 3)
                                d_gamma[which] = (1 - gamma[which]) * (1 - gamma[which]) / 2 * CMPLX(0, w * size) / 50;
                        else
                                d_thru = m2_scale(CMPLX(0, -w * size), m2_of(0, thru.e[1], thru.e[2], 0));
                        foretold = m2_add(move_ideals(before, i, s, 0, gamma, d_gamma, thru, none),
                                          move_ideals(before, i, s, 1, gamma, d_gamma, thru, none));
                        if (which == 3)
                                foretold = move_ideals(before, i, s, 0, gamma, d_gamma, thru, d_thru);
                        if (which == 3 && method == 0) { /* an unknown thru's delay is only a guess */
                                assert_true(m2_distance(change, none) < 1e-13);
                        } else {
                                double scale = m2_distance(change, none);
                                assert_true(scale > 1e-9);
                                if (!(m2_distance(change, foretold) < 2e-3 * scale))
                                        fail_msg("%s, standard %d: moved by %.3g, foretold off by %.3g", methods[method], which, scale,
                                                 m2_distance(change, foretold));
                        }
                        bench_free(b);
                }
}

/* A virtual analyzer, calibrated by the method's solver, moves a device as the closed forms say where there are such. */
static void a_virtual_calibration_says_what_the_closed_forms_say(void **state)
{
        (void)state;
        static const struct dut device = {DUT_INDUCTOR, 5, 150e-12, 10e-15, NULL, false};
        static const int kinds[3] = {OPEN_AIR, SHORT_A, LOAD_A};
        struct bench *b = bench_new("unknown_thru");
        const size_t i = 40; /* 20 GHz: the thru is far from half a turn, so that one frequency settles its sign */
        struct calibration *c = bench_calibrate(b);
        struct m2 s = corrected(b, c, &device, i), none = m2_of(0, 0, 0, 0), thru = standard_at(&b->standards[THRU_A], 25, b->hz[i]);
        struct virtual *v = arena_take(b->arena, sizeof *v);
        assert_true(virtual_calibrate(&b->recipe, b->hz[i], (struct virtual_how){.match_fixed = false}, &s, 1, b->arena, v));
        assert_int_equal(v->n, 4);
        double complex gamma[3];
        for (int k = 0; k < 3; k++)
                gamma[k] = standard_at(&b->standards[kinds[k]], 25, b->hz[i]).e[0];
        for (size_t k = 0; k < 3; k++)
                for (int port = 0; port < 2; port++)
                        for (int part = 0; part < 2; part++) {
                                double complex by = part ? CMPLX(0, 1e-3) : 1e-3, d_gamma[3] = {0};
                                d_gamma[k] = by;
                                struct m2 want = move_ideals(c, i, s, port, gamma, d_gamma, thru, none),
                                          got = virtual_change(v, k, port == 0 ? m2_diag(by, 0) : m2_diag(0, by), 0);
                                /* the standard was otherwise, or the belief: one is minus the other */
                                assert_true(m2_distance(got, none) > 1e-6);
                                if (!(m2_distance(m2_add(got, want), none) < 1e-4 * m2_distance(want, none)))
                                        fail_msg("standard %zu port %d: %.6g%+.6gi, wanted %.6g%+.6gi", k, port, creal(got.e[0]),
                                                 cimag(got.e[0]), -creal(want.e[0]), -cimag(want.e[0]));
                        }
        bench_free(b);
}

static void contact_and_drift_do_what_measuring_again_shows(void **state)
{
        (void)state;
        static const struct dut device = {DUT_INDUCTOR, 5, 150e-12, 10e-15, NULL, false};
        struct touch t = {.r_ohm = {0.001, 0}, .l_h = {0, 1e-15}};
        struct dut touched = device;
        touched.touch = &t;
        struct bench *b = bench_new("unknown_thru");
        const size_t i = 140;
        struct calibration *c = bench_calibrate(b);
        struct m2 s = corrected(b, c, &device, i), none = m2_of(0, 0, 0, 0);
        struct m2 change = m2_sub(corrected(b, c, &touched, i), s);
        struct m2 foretold = m2_add(move_series(s, 0, 0.001, 50), move_series(s, 1, CMPLX(0, TWO_PI * b->hz[i] * 1e-15), 50));
        assert_true(m2_distance(change, foretold) < 1e-4 * m2_distance(change, none));
        bench_free(b);
}

static void noise_raises_the_half_width_and_says_so(void **state)
{
        (void)state;
        static const struct dut device = {DUT_INDUCTOR, 2, 300e-12, 6e-15, NULL, false}, open_dummy = {DUT_OPEN, 0, 0, 0, NULL, false},
                                short_dummy = {DUT_SHORT, 0, 0, 0, NULL, false};
        double u95[2];
        for (int k = 0; k < 2; k++) {
                struct bench *b = bench_new("unknown_thru");
                struct parameter_answer *a;
                size_t n;
                uint32_t flags;
                struct tp_error err = {0};
                bench_ask(b, QUANTITY_L, 10e9);
                struct calibration *c = bench_calibrate(b);
                b->noise = k ? 3e-3 : 0;
                struct raw_sweep raw = bench_device(b, &device), open = bench_device(b, &open_dummy),
                                 short_ = bench_device(b, &short_dummy);
                struct chain_question q = {.recipe = &b->recipe,
                                           .measure = &b->measures[0],
                                           .calibration = c,
                                           .raw = &raw,
                                           .dummies = {[RF_DUMMY_OPEN] = &open, [RF_DUMMY_SHORT] = &short_}};
                assert_int_equal(chain_run(&q, b->arena, &a, &n, &flags, &err), CODE_OK);
                u95[k] = a[0].u95;
                assert_true(k == (strstr(a[0].budget, "noise") != NULL));
                bench_free(b);
        }
        assert_true(u95[1] > 1.5 * u95[0]);
}

/* Contact is anew with each touch: that of the die's own dummies is its own, that of a dummy which other dies use as well is not. */
static void a_dummy_of_another_die_is_shared(void **state)
{
        (void)state;
        static const struct dut device = {DUT_INDUCTOR, 2, 300e-12, 6e-15, NULL, false}, open_dummy = {DUT_OPEN, 0, 0, 0, NULL, false},
                                short_dummy = {DUT_SHORT, 0, 0, 0, NULL, false};
        struct bench *b = bench_new("unknown_thru");
        struct parameter_answer *own, *other;
        size_t n;
        uint32_t flags;
        struct tp_error err = {0};
        bench_ask(b, QUANTITY_L, 10e9);
        struct calibration *c = bench_calibrate(b);
        struct raw_sweep raw = bench_device(b, &device), open = bench_device(b, &open_dummy), short_ = bench_device(b, &short_dummy);
        struct chain_question q = {.recipe = &b->recipe,
                                   .measure = &b->measures[0],
                                   .calibration = c,
                                   .raw = &raw,
                                   .dummies = {[RF_DUMMY_OPEN] = &open, [RF_DUMMY_SHORT] = &short_}};
        assert_int_equal(chain_run(&q, b->arena, &own, &n, &flags, &err), CODE_OK);
        q.dummy_elsewhere[RF_DUMMY_SHORT] = true;
        assert_int_equal(chain_run(&q, b->arena, &other, &n, &flags, &err), CODE_OK);
        double short_l = budget_percent(own[0].budget, "touch", "contact L, short"),
               moved = budget_percent(own[0].budget, "scopes", "touch") - budget_percent(other[0].budget, "scopes", "touch");
        assert_true(own[0].u95 == other[0].u95 && short_l > 10 && moved > short_l - 0.5);
        assert_true(budget_percent(other[0].budget, "shared", "contact L, short") == short_l);
        assert_true(budget_percent(other[0].budget, "touch", "contact L, short") == 0);
        assert_true(budget_percent(other[0].budget, "touch", "contact L") > 10 &&
                    budget_percent(own[0].budget, "shared", "contact L") == 0);
        for (int k = 0; k < 2; k++) {
                const char *budget = k ? other[0].budget : own[0].budget;
                double all = budget_percent(budget, "scopes", "touch") + budget_percent(budget, "scopes", "reading") +
                             budget_percent(budget, "scopes", "shared");
                assert_true(fabs(all - 100) < 0.16); /* three times half a last digit */
        }
        bench_free(b);
}

/* One inductor, the same limits, three rules: the value lies inside, nearer to the limit than the guard band. */
static void limits_are_decided_as_the_recipe_says(void **state)
{
        (void)state;
        static const struct dut device = {DUT_INDUCTOR, 2, 300e-12, 6e-15, NULL, false}, open_dummy = {DUT_OPEN, 0, 0, 0, NULL, false},
                                short_dummy = {DUT_SHORT, 0, 0, 0, NULL, false};
        static const struct {
                int32_t acceptance;
                double risk, low_in_u, high_in_u;
                const char *verdict, *says;
        } rows[] = {
                {0, 0.05, -1, 60, "marginal", "probability 0.84"},
                {0, 0.05, -1.7, 60, "pass", ""},
                {0, 0.05, 1.7, 60, "fail", "probability 0.045"},
                {0, 0.2, -1, 60, "pass", ""},
                {1, 0.05, -1, 60, "pass", "by the value alone"},
                {1, 0.05, 0.1, 60, "fail", "by the value alone"},
                {0, 0.05, -1.9, 1.9, "marginal", "cannot be decided with this uncertainty"},
        };
        struct bench *b = bench_new("unknown_thru");
        struct parameter_plan *p = bench_ask(b, QUANTITY_L, 10e9);
        struct calibration *c = bench_calibrate(b);
        struct raw_sweep raw = bench_device(b, &device), open = bench_device(b, &open_dummy), short_ = bench_device(b, &short_dummy);
        struct chain_question q = {.recipe = &b->recipe,
                                   .measure = &b->measures[0],
                                   .calibration = c,
                                   .raw = &raw,
                                   .dummies = {[RF_DUMMY_OPEN] = &open, [RF_DUMMY_SHORT] = &short_}};
        struct parameter_answer *a;
        size_t n;
        uint32_t flags;
        struct tp_error err = {0};
        assert_int_equal(chain_run(&q, b->arena, &a, &n, &flags, &err), CODE_OK);
        assert_string_equal(a[0].verdict, "none");
        double y = a[0].value, u = a[0].u95 / 2;
        for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
                p->has_low = p->has_high = true;
                p->low = y + rows[k].low_in_u * u;
                p->high = y + rows[k].high_in_u * u;
                p->acceptance = rows[k].acceptance;
                p->risk = rows[k].risk;
                assert_int_equal(chain_run(&q, b->arena, &a, &n, &flags, &err), CODE_OK);
                if (strcmp(a[0].verdict, rows[k].verdict) || !strstr(a[0].reason, rows[k].says))
                        fail_msg("rule %zu: %s, \"%s\"; wanted %s, \"%s\"", k, a[0].verdict, a[0].reason, rows[k].verdict, rows[k].says);
        }
        bench_free(b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(the_t_factor_agrees_with_the_table_of_jcgm_100),
                                           cmocka_unit_test(a_budget_adds_squares_and_names_the_largest),
                                           cmocka_unit_test(a_dummy_of_another_die_is_shared),
                                           cmocka_unit_test(a_rectangular_cause_has_its_own_factor),
                                           cmocka_unit_test(scatter_is_that_of_the_noise_and_nothing_of_a_cubic),
                                           cmocka_unit_test(moved_ideals_do_what_solving_again_does),
                                           cmocka_unit_test(a_virtual_calibration_says_what_the_closed_forms_say),
                                           cmocka_unit_test(contact_and_drift_do_what_measuring_again_shows),
                                           cmocka_unit_test(noise_raises_the_half_width_and_says_so),
                                           cmocka_unit_test(limits_are_decided_as_the_recipe_says)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
