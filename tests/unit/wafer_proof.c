/* The coded ladder: one die off in any direction reads another code, in spite of reading errors and sheet resistance. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include "wafer/proof.h"
#include <math.h>
#define assert_near(a, b, within) assert_true(fabs((a) - (b)) <= (within)) /* in double; cmocka compares floats */

static struct layout demo_grid(void)
{
        return (struct layout){.name = "grid",
                               .diameter_mm = 100,
                               .edge_exclusion_mm = 3,
                               .pitch_x_um = 9400,
                               .pitch_y_um = 9600,
                               .street_um = 100,
                               .offset_x_um = 1500,
                               .offset_y_um = -2000,
                               .ladder_columns = 3};
}

static void every_neighbour_of_every_die_has_another_code(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct layout l = demo_grid();
        struct die *dies = NULL;
        size_t n = 0;
        assert_int_equal(layout_dies(&l, a, &dies, &n, NULL), CODE_OK);
        for (l.ladder_columns = 2; l.ladder_columns <= 5; l.ladder_columns++)
                for (size_t i = 0; i < n; i++) {
                        int here = ladder_code(&l, dies, n, dies[i].x, dies[i].y);
                        assert_in_range(here, 0, ladder_codes(&l, dies, n) - 1);
                        for (int dx = -1; dx <= 1; dx++)
                                for (int dy = -1; dy <= 1; dy++)
                                        if (dx || dy)
                                                assert_int_not_equal(ladder_code(&l, dies, n, dies[i].x + dx, dies[i].y + dy), here);
                }
        arena_free(a);
}

static void the_code_is_read_back_through_sheet_resistance_and_one_per_cent(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct layout l = demo_grid();
        struct die *dies = NULL;
        size_t n = 0;
        assert_int_equal(layout_dies(&l, a, &dies, &n, NULL), CODE_OK);
        for (size_t i = 0; i < n; i++) {
                double r1 = 0, r2 = 0, off = 1;
                int code = -1;
                ladder_design_ohm(&l, dies, n, dies[i].x, dies[i].y, &r1, &r2);
                assert_near(sqrt(r1 * r2), LADDER_OHM, 1e-9);
                assert_int_equal(ladder_read(&l, dies, n, r1 * 1.07, r2 * 1.07, &code, &off, NULL),
                                 CODE_OK); /* sheet resistance 7 % high */
                assert_int_equal(code, ladder_code(&l, dies, n, dies[i].x, dies[i].y));
                assert_near(off, 0, 1e-9);
                assert_int_equal(ladder_read(&l, dies, n, r1 * 1.01, r2 * 0.99, &code, &off, NULL),
                                 CODE_OK); /* ln(1.01/0.99)/ln 1.12 = 0.1765 steps */
                assert_int_equal(code, ladder_code(&l, dies, n, dies[i].x, dies[i].y));
                assert_near(off, 0.17648, 1e-4);
        }
        arena_free(a);
}

/* By hand: code = row * 3 + column mod 3, rows from the lowest; ratio 1.12^(code - middle). */
static void the_design_is_what_the_header_says(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct layout l = demo_grid();
        struct die *dies = NULL;
        size_t n = 0;
        double r1 = 0, r2 = 0;
        assert_int_equal(layout_dies(&l, a, &dies, &n, NULL), CODE_OK);
        int lowest = dies[n - 1].y, rows = dies[0].y - lowest + 1;
        assert_int_equal(ladder_codes(&l, dies, n), rows * 3);
        assert_int_equal(ladder_code(&l, dies, n, 0, lowest), 0);
        assert_int_equal(ladder_code(&l, dies, n, -1, lowest), 2); /* column -1 mod 3 is 2 */
        assert_int_equal(ladder_code(&l, dies, n, 4, lowest + 2), 7);
        ladder_design_ohm(&l, dies, n, 0, lowest, &r1, &r2);
        assert_near(r1 / r2, pow(1.12, -(rows * 3 - 1) / 2.0), 1e-12);
        arena_free(a);
}

static void a_reading_that_is_no_resistance_is_refused(void **state)
{
        (void)state;
        struct layout l = demo_grid();
        struct die one = {.x = 0, .y = 0};
        static const double bad[] = {0, -1, NAN, INFINITY, -INFINITY};
        int code = 77;
        double off = 0;
        struct tp_error err;
        for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
                assert_int_equal(ladder_read(&l, &one, 1, bad[i], 400, &code, &off, &err), CODE_BAD_REPLY);
                assert_int_equal(ladder_read(&l, &one, 1, 400, bad[i], &code, &off, &err), CODE_BAD_REPLY);
        }
        assert_int_equal(code, 77);
        assert_int_equal(ladder_read(&l, &one, 1, 1e300, 1e-300, &code, &off, &err),
                         CODE_OK); /* absurd, but no overflow: simply not a code of this wafer */
        assert_true(code > 1000);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(every_neighbour_of_every_die_has_another_code),
                cmocka_unit_test(the_code_is_read_back_through_sheet_resistance_and_one_per_cent),
                cmocka_unit_test(the_design_is_what_the_header_says),
                cmocka_unit_test(a_reading_that_is_no_resistance_is_refused),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
