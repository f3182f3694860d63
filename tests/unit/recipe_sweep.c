/* Frequency lists and times of sweep plans. */
#include "tests/unit/recipe_helper.h"
#include "recipe/recipe_own.h"
#include <math.h>

static size_t axis_of(const struct segment *segments, size_t n, struct arena *a, double **ret_hz)
{
        struct sweep_plan p = {.name = "s", .segments = (struct segment *)(uintptr_t)segments, .segment_n = n};
        size_t count = 0;
        struct tp_error err = {0};
        if (sweep_axis(&p, a, ret_hz, &count, &err))
                fail_msg("%s", err.text);
        return count;
}

static void the_demo_sweep_has_681_rising_frequencies_with_exact_ends(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file("simulators/demo/recipe.json", a);
        double *hz = NULL;
        size_t n = 0;
        assert_int_equal(sweep_axis(recipe_sweep(r, "wide"), a, &hz, &n, NULL), CODE_OK);
        assert_int_equal(n, 681);
        assert_true(hz[0] == 70e3 && hz[92] == 10e6 && hz[242] == 1e9 && hz[243] == 1.5e9 && hz[460] == 110e9 && hz[461] == 110.5e9 &&
                    hz[680] == 220e9);
        for (size_t i = 1; i < n; i++)
                assert_true(hz[i] > hz[i - 1]);
        arena_free(a);
}

/* The recordings' frequencies are k * 0.2 GHz and 1 + k * 0.495 GHz, whole hertz: the list must hit them to the last bit. */
static void linear_points_at_whole_hertz_are_exact(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct segment s[] = {{.start_hz = 0.2e9, .stop_hz = 150e9, .points = 750, .spacing = 2, .ifbw_hz = 100, .averages = 1}};
        struct segment t[] = {{.start_hz = 1e9, .stop_hz = 100e9, .points = 201, .spacing = 2, .ifbw_hz = 100, .averages = 1}};
        double *hz = NULL;
        assert_int_equal(axis_of(s, 1, a, &hz), 750);
        for (int i = 0; i < 750; i++)
                assert_true(hz[i] == 200000000.0 * (i + 1));
        assert_int_equal(axis_of(t, 1, a, &hz), 201);
        for (int i = 0; i < 201; i++)
                assert_true(hz[i] == 1000000000.0 + 495000000.0 * i);
        arena_free(a);
}

/* By hand: three points a decade apart. */
static void logarithmic_points_are_a_constant_ratio_apart(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct segment s[] = {{.start_hz = 1e6, .stop_hz = 1e8, .points = 3, .spacing = 1, .ifbw_hz = 100, .averages = 1},
                              {.start_hz = 1e8, .stop_hz = 1e8, .points = 1, .spacing = 1}};
        double *hz = NULL;
        assert_int_equal(axis_of(s, 2, a, &hz), 3); /* the last segment's one point is shared */
        assert_true(fabs(hz[1] / 1e7 - 1) < 1e-14);
        arena_free(a);
}

/* Per point and direction 1.2/IFBW * averages + 0.15 ms.  By hand, demo: 313 points at 100 Hz, 368 at 1 kHz: 2 (313 * 12.15 + 368 * 1.35)
   ms = 8.5995 s, and three band edges (54, 110, 145 GHz) in two directions at 40 ms: 8.8395 s. */
static void the_demo_sweep_takes_8_84_seconds(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file("simulators/demo/recipe.json", a);
        assert_true(fabs(sweep_seconds(recipe_sweep(r, "wide")) - 8.8395) < 1e-9);
        arena_free(a);
}

/* By hand: 10 points at 1 kHz with 4 averages below 54 GHz: 2 * 10 * (4.8 + 0.15) ms. */
static void averages_multiply_the_filter_time_only(void **state)
{
        (void)state;
        struct segment s = {.start_hz = 1e9, .stop_hz = 10e9, .points = 10, .spacing = 2, .ifbw_hz = 1000, .averages = 4};
        struct sweep_plan p = {.name = "s", .segments = &s, .segment_n = 1};
        assert_true(fabs(sweep_seconds(&p) - 0.099) < 1e-12);
}

static void a_frequency_is_found_to_a_part_in_a_billion(void **state)
{
        (void)state;
        static const double hz[] = {70e3, 1e6, 1e9, 220e9};
        assert_true(axis_holds(hz, 4, 70e3) && axis_holds(hz, 4, 220e9) && axis_holds(hz, 4, 1e9 * (1 + 5e-10)) &&
                    axis_holds(hz, 4, 1e9 * (1 - 5e-10)));
        assert_false(axis_holds(hz, 4, 69e3) || axis_holds(hz, 4, 221e9) || axis_holds(hz, 4, 1e9 + 2) || axis_holds(hz, 0, 1e9));
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(the_demo_sweep_has_681_rising_frequencies_with_exact_ends),
                cmocka_unit_test(linear_points_at_whole_hertz_are_exact),
                cmocka_unit_test(logarithmic_points_are_a_constant_ratio_apart),
                cmocka_unit_test(the_demo_sweep_takes_8_84_seconds),
                cmocka_unit_test(averages_multiply_the_filter_time_only),
                cmocka_unit_test(a_frequency_is_found_to_a_part_in_a_billion),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
