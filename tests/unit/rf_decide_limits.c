/* decide_limits.c: what holds for any limits, uncertainty and rule. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>
#include "rf/trust/decide_limits.h"
#include "rf/numbers/monte_carlo.h"
#include "rf/numbers/probability.h"

static void a_verdict_never_gets_better_away_from_the_middle(void **state)
{
        (void)state;
        const struct limits l = {true, true, 1, 3};
        static const double us[] = {0, 1e-9, 0.01, 0.3, 0.51};
        for (int rule_i = 0; rule_i < 3; rule_i++)
                for (size_t k = 0; k < 5; k++) {
                        struct decision_rule rule = {rule_i == 2 ? ACCEPTANCE_SIMPLE : ACCEPTANCE_GUARDED, rule_i == 1 ? 0.2 : 0};
                        static const int rank[] = {-1, 2, 0, 1};
                        int before = 2;
                        for (double y = 2; y < 6; y += 0.001) {
                                double pc;
                                int now = rank[limits_decide(&l, &rule, y, us[k], &pc)];
                                assert_true(now >= 0 && now <= before);
                                assert_true(pc >= 0 && pc <= 1);
                                before = now;
                        }
                        assert_int_equal(before, 0);
                }
}

/* As near to a limit as the guard band says a value passes, and not a millionth of it nearer. */
static void a_value_passes_from_the_guard_band_on(void **state)
{
        (void)state;
        static const struct limits all[] = {{true, true, 1, 3}, {true, false, 1, NAN}, {false, true, NAN, 3}};
        static const double us[] = {1e-9, 0.01, 0.3, 0.5, 0.51};
        for (size_t i = 0; i < 3; i++)
                for (size_t k = 0; k < 5; k++)
                        for (int wide = 0; wide < 2; wide++) {
                                const struct limits *l = &all[i];
                                const struct decision_rule rule = {ACCEPTANCE_GUARDED, wide ? 0.1 : 0};
                                double band = limits_guard(l, &rule, us[k]), limit = l->has_low ? l->low : l->high,
                                       in = l->has_low ? 1 : -1;
                                if (isnan(band)) {
                                        assert_true(i == 0 && us[k] > 2 / 3.9199279690801081 && !wide);
                                        continue;
                                }
                                assert_int_equal(limits_decide(l, &rule, limit + in * band * (1 + 1e-6), us[k], NULL), DECISION_PASS);
                                assert_int_equal(limits_decide(l, &rule, limit + in * band * (1 - 1e-6), us[k], NULL), DECISION_MARGINAL);
                        }
        const struct decision_rule simple = {ACCEPTANCE_SIMPLE, 0};
        assert_true(limits_guard(&all[0], &simple, 5) == 0);
        const struct limits none = {false, false, NAN, NAN};
        assert_true(isnan(limits_guard(&none, &simple, 1)));
}

static void limits_themselves_conform(void **state)
{
        (void)state;
        const struct limits l = {true, true, 1, 3};
        assert_true(limits_conformance(&l, 1, 0) == 1 && limits_conformance(&l, 3, 0) == 1 && limits_conformance(&l, 3.0001, 0) == 0);
        assert_true(fabs(limits_conformance(&l, 3, 0.01) - 0.5) < 1e-15);
        /* far outside the digits of a small chance are kept: Phi(-10) = 7.6199e-24 (Abramowitz & Stegun, table 26.2) */
        assert_true(fabs(limits_conformance(&l, 4, 0.1) / 7.61985302416e-24 - 1) < 1e-10);
        assert_true(fabs(limits_conformance(&l, 0, 0.1) / 7.61985302416e-24 - 1) < 1e-10);
}

static void what_can_never_pass_is_said_in_a_sentence(void **state)
{
        (void)state;
        const struct limits l = {true, true, 2.85e-10, 3.2e-10}, one = {true, false, 13.5, NAN};
        const struct decision_rule guarded = {ACCEPTANCE_GUARDED, 0}, simple = {ACCEPTANCE_SIMPLE, 0};
        struct tp_error err;
        double most = limits_u_max(&l, &guarded), low, high;
        assert_true(fabs(most / (0.35e-10 / 3.9199279690801081) - 1) < 1e-12); /* T / (2 * 1.95996) */
        assert_int_equal(limits_decidable(&l, &guarded, 0.999 * most, "L_10GHz", "H", &err), CODE_OK);
        assert_true(limits_acceptance(&l, &guarded, 0.999 * most, &low, &high) && low <= high);
        assert_int_equal(limits_decidable(&l, &guarded, 1.001 * most, "L_10GHz", "H", &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "L_10GHz cannot be decided with this uncertainty"));
        assert_non_null(strstr(err.text, "8.93e-12 H or less"));
        assert_false(limits_acceptance(&l, &guarded, 1.001 * most, &low, &high));
        assert_int_equal(limits_decidable(&l, &guarded, NAN, "L_10GHz", "H", &err), CODE_UNRESOLVABLE);
        assert_int_equal(limits_decidable(&l, &simple, 1, "L_10GHz", "H", &err), CODE_OK);
        assert_int_equal(limits_decidable(&one, &guarded, 1e9, "Q", "1", &err), CODE_OK);
}

static void nonsense_is_no_verdict(void **state)
{
        (void)state;
        const struct limits l = {true, true, 1, 3}, none = {false, false, NAN, NAN};
        const struct decision_rule guarded = {ACCEPTANCE_GUARDED, 0};
        struct tp_error err;
        struct risks r;
        assert_int_equal(limits_decide(&l, &guarded, NAN, 0.1, NULL), DECISION_UNKNOWN);
        assert_int_equal(limits_decide(&l, &guarded, 2, NAN, NULL), DECISION_UNKNOWN);
        assert_int_equal(limits_decide(&l, &guarded, 2, -1, NULL), DECISION_UNKNOWN);
        assert_int_equal(limits_decide(&none, &guarded, 2, 0.1, NULL), DECISION_UNKNOWN);
        assert_int_equal(limits_risks(&l, &guarded, NAN, 1, 1, &r, &err), CODE_BAD_INPUT);
        assert_int_equal(limits_risks(&l, &guarded, 2, -1, 1, &r, &err), CODE_BAD_INPUT);
        assert_int_equal(limits_risks(&none, &guarded, 2, 1, 1, &r, &err), CODE_BAD_INPUT);
}

/* The stated risk holds: of all that pass at a true value on the limit, never more than the risk; and the shares add up. */
static void risks_hold_and_add_up(void **state)
{
        (void)state;
        struct random r = random_of(5, 0);
        struct tp_error err;
        for (int k = 0; k < 300; k++) {
                double u = exp(-4 * random_uniform(&r)), s = 2 * random_uniform(&r), mean = 4 * random_uniform(&r);
                struct limits l = {true, random_uniform(&r) < 0.7, 1, 1 + 3 * random_uniform(&r)};
                struct decision_rule rule = {random_uniform(&r) < 0.3, 0.001 + 0.4 * random_uniform(&r)};
                struct risks x;
                double low, high;
                assert_int_equal(limits_risks(&l, &rule, mean, k % 7 ? s : 0, k % 5 ? u : 0, &x, &err), CODE_OK);
                assert_true(fabs(x.passed + x.failed + x.marginal - 1) < 1e-9);
                assert_true(fabs(x.passed - x.consumers + x.producers - x.conforming) < 1e-9); /* good ones pass or do not */
                assert_true(x.failed_good <= x.producers + 1e-12 && x.consumers <= x.passed + 1e-12);
                if (rule.kind == ACCEPTANCE_GUARDED && limits_acceptance(&l, &rule, u, &low, &high)) {
                        double at_limit = normal_below((high - l.low) / u) - normal_below((low - l.low) / u); /* truth on the lower limit */
                        assert_true(at_limit <= rule.risk + 1e-9);
                }
        }
}

/* By counting: 200 000 items made, measured and judged one by one. */
static void risks_are_what_counting_gives(void **state)
{
        (void)state;
        const struct limits l = {true, true, 1499.8, 1500.2};
        const struct decision_rule guarded = {ACCEPTANCE_GUARDED, 0};
        struct random r = random_of(11, 0);
        struct risks want;
        struct tp_error err;
        double wrong_pass = 0, good_lost = 0;
        const int n = 200000;
        assert_int_equal(limits_risks(&l, &guarded, 1500, 0.12, 0.04, &want, &err), CODE_OK);
        for (int k = 0; k < n; k++) {
                double truth = 1500 + 0.12 * random_normal(&r), y = truth + 0.04 * random_normal(&r);
                bool good = truth >= l.low && truth <= l.high, pass = limits_decide(&l, &guarded, y, 0.04, NULL) == DECISION_PASS;
                wrong_pass += pass && !good;
                good_lost += !pass && good;
        }
        /* four standard deviations of a count */
        assert_true(fabs(wrong_pass / n - want.consumers) < 4 * sqrt(want.consumers / n));
        assert_true(fabs(good_lost / n - want.producers) < 4 * sqrt(want.producers / n));
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(a_verdict_never_gets_better_away_from_the_middle),
                                           cmocka_unit_test(a_value_passes_from_the_guard_band_on),
                                           cmocka_unit_test(limits_themselves_conform),
                                           cmocka_unit_test(what_can_never_pass_is_said_in_a_sentence),
                                           cmocka_unit_test(nonsense_is_no_verdict),
                                           cmocka_unit_test(risks_hold_and_add_up),
                                           cmocka_unit_test(risks_are_what_counting_gives)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
