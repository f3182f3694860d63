/* monte_carlo.c: the machinery against JCGM 101:2008 and against closed forms.  Seeds are fixed: a failure is no chance. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "base/arena.h"
#include "rf/numbers/monte_carlo.h"
#include "rf/numbers/probability.h"

enum { M = 100000 };

static bool sum_of_four(const double *x, size_t sweep, double *y, void *context)
{
        (void)sweep, (void)context;
        *y = x[0] + x[1] + x[2] + x[3];
        return true;
}

/* JCGM 101:2008, 9.2.2 and 9.2.3: four normals [-3.92, 3.92]; four rectangulars [-3.88, 3.88] (exact: 3.879407), where the linear result
   is 1.96 u and the t-free interval is the same +-3.92. */
static void sums_of_four_have_the_published_intervals(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        static const struct {
                enum shape shape;
                double half;
        } rows[] = {{SHAPE_NORMAL, 3.919927969080108}, {SHAPE_RECTANGULAR, 3.879406741347815}};
        for (int k = 0; k < 2; k++) {
                double x[4], one;
                struct input in[4];
                struct random r = random_of(1, (uint64_t)k);
                struct trials t = {.draws = M, .sweeps = 1, .outputs = 1, .x = x, .one = &one, .y = arena_take(arena, M * sizeof(double))};
                struct drawn d;
                struct tp_error err;
                for (int j = 0; j < 4; j++)
                        in[j] = (struct input){rows[k].shape, 0, 1, INFINITY, false};
                assert_int_equal(monte_carlo(sum_of_four, NULL, in, 4, &r, &t, &err), CODE_OK);
                assert_int_equal(drawn_of(t.y, M, 0.95, &d, &err), CODE_OK);
                /* an end of the interval scatters by sqrt(p(1-p)/M)/density(end): 0.0265 u/… = 0.017 here; four of them */
                double scatter = sqrt(0.025 * 0.975 / M) / (normal_density(1.96) / 2);
                assert_true(fabs(d.u - 2) < 4 * 2 / sqrt(2.0 * M));
                assert_true(fabs(d.high - rows[k].half) < 4 * scatter && fabs(d.low + rows[k].half) < 4 * scatter);
                /* the shortest is no longer than the symmetric one, and of a symmetric distribution nearly as long */
                double shortest = d.short_high - d.short_low, symmetric = d.high - d.low;
                assert_true(shortest <= symmetric && shortest > symmetric - 8 * scatter);
                d = (struct drawn){.u = 2, .low = -rows[k].half, .high = rows[k].half};
                /* two digits of u = 2.0: the tolerance is 0.05; 3.92 stands for the normals, and just for the rectangulars too */
                assert_true(fabs(numerical_tolerance(d.u, 2) - 0.05) < 1e-15);
                assert_true(linear_is_valid(0, 2, 3.92, &d, 2, NULL, NULL));
                assert_false(linear_is_valid(0, 2, 4.05, &d, 2, NULL, NULL));
                assert_false(linear_is_valid(0.1, 2, 3.92, &d, 2, NULL, NULL));
        }
        arena_free(arena);
}

static void every_shape_has_mean_0_and_its_scatter(void **state)
{
        (void)state;
        struct random r = random_of(2, 0);
        for (enum shape s = SHAPE_NORMAL; s < SHAPE_COUNT; s++) {
                double sum = 0, squares = 0, beyond = 0, nu = 7;
                for (int k = 0; k < M; k++) {
                        double x = random_shape(&r, s, nu);
                        sum += x;
                        squares += x * x;
                        beyond += fabs(x) > student_two_sided(0.95, nu);
                }
                double want = s == SHAPE_STUDENT ? nu / (nu - 2) : 1;
                assert_true(fabs(sum / M) < 5 * sqrt(want / M));
                assert_true(fabs(squares / M / want - 1) < 0.03);
                if (s == SHAPE_STUDENT)
                        assert_true(fabs(beyond / M - 0.05) < 5 * sqrt(0.05 * 0.95 / M));
        }
        assert_true(isnan(random_shape(&r, SHAPE_UNKNOWN, 1)));
}

/* Two sweeps under one calibration: each scatters by both causes, their difference by the private one alone. */
static bool two_causes(const double *x, size_t sweep, double *y, void *context)
{
        (void)sweep, (void)context;
        *y = x[0] + x[1];
        return true;
}
static void shared_causes_are_drawn_once_per_calibration(void **state)
{
        (void)state;
        enum { N = 20000 };
        struct arena *arena = arena_new(0);
        double x[2], one, *y = arena_take(arena, 2 * N * sizeof *y), *d = arena_take(arena, N * sizeof *d);
        const struct input in[2] = {{SHAPE_NORMAL, 5, 3, INFINITY, true}, {SHAPE_RECTANGULAR, 0, 0.4, INFINITY, false}};
        struct random r = random_of(3, 0);
        struct trials t = {.draws = N, .sweeps = 2, .outputs = 1, .x = x, .one = &one, .y = y};
        struct drawn of;
        struct tp_error err;
        assert_int_equal(monte_carlo(two_causes, NULL, in, 2, &r, &t, &err), CODE_OK);
        for (size_t k = 0; k < N; k++)
                d[k] = y[k] - y[N + k];
        assert_int_equal(drawn_of(d, N, 0.95, &of, &err), CODE_OK);
        assert_true(fabs(of.u / (0.4 * sqrt(2)) - 1) < 0.02);
        assert_int_equal(drawn_of(y, N, 0.95, &of, &err), CODE_OK);
        assert_true(fabs(of.u / hypot(3, 0.4) - 1) < 0.02 && fabs(of.mean - 5) < 0.09);
        arena_free(arena);
}

static bool logarithm(const double *x, size_t sweep, double *y, void *context)
{
        (void)sweep, (void)context;
        *y = log(x[0]);
        return x[0] > 0;
}
static void lost_trials_are_counted_and_too_many_refused(void **state)
{
        (void)state;
        double x[1], one, y[1000];
        struct input in = {SHAPE_NORMAL, 1, 1, INFINITY, false};
        struct random r = random_of(4, 0);
        struct trials t = {.draws = 1000, .sweeps = 1, .outputs = 1, .x = x, .one = &one, .y = y};
        struct drawn d;
        struct tp_error err;
        assert_int_equal(monte_carlo(logarithm, NULL, &in, 1, &r, &t, &err), CODE_OK);
        assert_true(t.lost > 120 && t.lost < 200); /* Phi(-1) = 159 */
        assert_int_equal(drawn_of(y, t.draws - t.lost, 0.95, &d, &err), CODE_OK);
        in.mean = -2;
        assert_int_equal(monte_carlo(logarithm, NULL, &in, 1, &r, &t, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "gave no value"));
        const struct input bad[] = {{SHAPE_UNKNOWN, 1, 1, 1, false},
                                    {SHAPE_NORMAL, NAN, 1, 1, false},
                                    {SHAPE_NORMAL, 1, -1, 1, false},
                                    {SHAPE_STUDENT, 1, 1, 0, false}};
        for (size_t k = 0; k < 4; k++)
                assert_int_equal(monte_carlo(logarithm, NULL, &bad[k], 1, &r, &t, &err), CODE_BAD_INPUT);
        t.draws = 99;
        assert_int_equal(monte_carlo(logarithm, NULL, &in, 1, &r, &t, &err), CODE_BAD_INPUT);
        y[3] = NAN;
        assert_int_equal(drawn_of(y, 1000, 0.95, &d, &err), CODE_BAD_INPUT);
        assert_int_equal(drawn_of(y, 1000, 1, &d, &err), CODE_BAD_INPUT);
}

static void one_seed_is_one_sequence(void **state)
{
        (void)state;
        struct random a = random_of(9, 1), b = random_of(9, 1), c = random_of(9, 2), d = random_of(10, 1);
        for (int k = 0; k < 100; k++) {
                double x = random_normal(&a);
                assert_true(x == random_normal(&b) && x != random_normal(&c) && x != random_normal(&d));
        }
        /* the same numbers on every machine: the generator's own published test, state 1 2 3 4 (xoshiro256**) */
        struct random known = {.s = {1, 2, 3, 4}};
        static const uint64_t first[] = {11520, 0, 1509978240, UINT64_C(1215971899390074240)};
        for (int k = 0; k < 4; k++)
                assert_true(random_bits(&known) == first[k]);
}

static void tolerance_is_half_a_digit(void **state)
{
        (void)state;
        static const double rows[][3] = {
                {2.0, 2, 0.05}, {0.0711, 2, 0.0005}, {0.0711, 1, 0.005}, {9.96e-13, 2, 0.5e-13}, {9.94e-13, 2, 0.5e-14}};
        for (size_t k = 0; k < 5; k++)
                assert_true(fabs(numerical_tolerance(rows[k][0], (int)rows[k][1]) / rows[k][2] - 1) < 1e-9);
        assert_true(numerical_tolerance(0, 2) == 0 && numerical_tolerance(NAN, 2) == 0);
}

static void sorting_sorts(void **state)
{
        (void)state;
        struct random r = random_of(6, 0);
        double x[257];
        for (size_t n = 0; n < 257; n++) {
                double sum = 0, after = 0;
                for (size_t k = 0; k < n; k++)
                        sum += x[k] = floor(20 * random_uniform(&r));
                sort_rising(x, n);
                for (size_t k = 0; k < n; k++) {
                        after += x[k];
                        assert_true(k == 0 || x[k - 1] <= x[k]);
                }
                assert_true(sum == after);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(sums_of_four_have_the_published_intervals),
                                           cmocka_unit_test(every_shape_has_mean_0_and_its_scatter),
                                           cmocka_unit_test(shared_causes_are_drawn_once_per_calibration),
                                           cmocka_unit_test(lost_trials_are_counted_and_too_many_refused),
                                           cmocka_unit_test(one_seed_is_one_sequence),
                                           cmocka_unit_test(tolerance_is_half_a_digit),
                                           cmocka_unit_test(sorting_sorts)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
