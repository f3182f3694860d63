/* Monte Carlo for numbers that are found along a curve, against distributions in closed form (JCGM 101:2008). */
#include "evaluate_bench.h"
#undef I
#include "evaluate/chain.h"

/* value(f) at nine nodes from low to high, one normal cause of size dq(f). */
static void curve_of(struct curve *c, double (*value)(double f), double (*dq)(double f), double low, double high, const char *name)
{
        *c = (struct curve){.number = curve_crossing, .scale = 1, .power = 1};
        for (int k = 0; k < CURVE_NODES; k++) {
                double f = low + (high - low) * k / (CURVE_NODES - 1);
                struct cause_list one = {.n = 0};
                cause_add(&one, name, dq(f), INFINITY);
                curve_add(c, f, value(f), &one);
        }
}
static double straight(double f) { return 3 * (f - 10); }
static double square(double f) { return f * f / 100 - 1; }
static double constant(double f) { return 0.2 + 0 * f; }
static double growing(double f) { return 0.2 * f / 10; }

/* A straight line moved as a whole: u = 0.2/3. */
static void a_straight_crossing_keeps_its_linear_interval(void **state)
{
        (void)state;
        struct curve c;
        struct cause_list list = {.n = 0};
        double u95 = -1;
        curve_of(&c, straight, constant, 9, 11, "contact L");
        assert_true(fabs(curve_crossing(&c, c.value) - 10) < 1e-9);
        cause_add(&list, "contact L", 0.2 / 3, INFINITY);
        assert_false(curve_drawn(&c, &list, 0.2 / 3, 2 * 0.2 / 3, &u95));
        assert_true(u95 == -1);
}

/* f^2/100 - 1 + 0.2 x = 0 at f = 10 sqrt(1 - 0.2 x), x normal: what holds 95 % about 10 is w with
   P = Phi((1 - (1 - w/10)^2)/0.2) - Phi((1 - (1 + w/10)^2)/0.2); w = 1.9883 by halving.  Linear: 1.96. */
static double below(double z) { return erfc(-z / sqrt(2)) / 2; }
static void a_bent_crossing_is_drawn(void **state)
{
        (void)state;
        struct curve c;
        struct cause_list list = {.n = 0};
        double u95 = 0, low = 0, high = 10;
        curve_of(&c, square, constant, 4, 16, "contact L");
        cause_add(&list, "contact L", 1, INFINITY);
        for (int k = 0; k < 60; k++) {
                double w = (low + high) / 2, p = below((1 - pow(1 - w / 10, 2)) / 0.2) - below((1 - pow(1 + w / 10, 2)) / 0.2);
                if (p < 0.95)
                        low = w;
                else
                        high = w;
        }
        assert_true(curve_drawn(&c, &list, 1, 2, &u95));
        double want = 2 * low / 1.959963984540054; /* k = 2 for the normal's 1.96, here as there */
        print_message("bent: u95 %.4f, wanted %.4f, linear 2\n", u95, want);
        assert_true(fabs(u95 - want) < 0.05); /* 95 of 100 of 5000 draws: 1.4 % standard error, less what cancels */
        /* a cause that grows with frequency: f^2/100 - 1 + 0.02 f x = 0 is a crossing at -x + sqrt(x^2 + 100), whose spread is as linear
           as may be, but both ends move */
        curve_of(&c, square, growing, 4, 16, "contact L");
        for (low = 0, high = 10; high - low > 1e-9;) {
                double w = (low + high) / 2, up = (100 - pow(10 + w, 2)) / (2 * (10 + w)), down = (100 - pow(10 - w, 2)) / (2 * (10 - w));
                if (below(down) - below(up) < 0.95)
                        low = w;
                else
                        high = w;
        }
        want = 2 * low / 1.959963984540054;
        assert_true(curve_drawn(&c, &list, 1, 2, &u95));
        print_message("growing: u95 %.4f, wanted %.4f\n", u95, want);
        assert_true(fabs(u95 - want) < 0.05); /* 95 of 100 of 5000 draws: 1.4 % standard error, less what cancels */
}

/* sqrt(1 + 0.3 x): what holds 95 % about 1 is w with P = Phi(((1 + w)^2 - 1)/0.3) - Phi(((1 - w)^2 - 1)/0.3). */
static double one_(double f) { return 1 + 0 * f; }
static double third(double f) { return 0.3 + 0 * f; }
static void a_mean_of_roots_is_drawn(void **state)
{
        (void)state;
        struct curve c;
        struct cause_list list = {.n = 0};
        double u95 = 0, low = 0, high = 1;
        curve_of(&c, one_, third, 5, 40, "open C");
        c.number = curve_mean;
        c.scale = 1;
        c.power = 0.5;
        for (size_t k = 0; k < c.node_n; k++)
                c.weight[k] = 1 / (double)c.node_n;
        cause_add(&list, "open C", 0.15, INFINITY);
        for (int k = 0; k < 60; k++) {
                double w = (low + high) / 2, p = below((pow(1 + w, 2) - 1) / 0.3) - below((pow(1 - w, 2) - 1) / 0.3);
                if (p < 0.95)
                        low = w;
                else
                        high = w;
        }
        assert_true(curve_drawn(&c, &list, 0.15, 0.3, &u95));
        print_message("mean of roots: u95 %.4f, wanted %.4f\n", u95, 2 * low / 1.959963984540054);
        assert_true(fabs(u95 - 2 * low / 1.959963984540054) < 0.008);
        double again = 0;
        assert_true(curve_drawn(&c, &list, 0.15, 0.3, &again) && again == u95); /* one seed */
}

/* A cause larger than the curve: no crossing is left in one trial of six. */
static double huge(double f) { return 3 + 0 * f; }
static void a_crossing_that_may_not_exist_has_no_bound(void **state)
{
        (void)state;
        struct curve c;
        struct cause_list list = {.n = 0};
        double u95 = 0;
        curve_of(&c, straight, huge, 9, 11, "contact L");
        cause_add(&list, "contact L", 1, INFINITY);
        assert_true(curve_drawn(&c, &list, 1, 2, &u95) && isinf(u95));
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(a_straight_crossing_keeps_its_linear_interval),
                                           cmocka_unit_test(a_bent_crossing_is_drawn), cmocka_unit_test(a_mean_of_roots_is_drawn),
                                           cmocka_unit_test(a_crossing_that_may_not_exist_has_no_bound)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
