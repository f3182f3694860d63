/* The order of visits: a permutation in which a drift over the night does not pass for a gradient on the wafer.
   Snake > 0.9 and interleave < 0.01 of the variance: computed for 61 dies in a textbook least-squares plane, see order.c. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include "wafer/order.h"
#include <math.h>
#define assert_near(a, b, within) assert_true(fabs((a) - (b)) <= (within)) /* in double; cmocka compares floats */
#include <stdlib.h>
#include <string.h>

static struct layout round_wafer(double diameter_mm, double px_um, double py_um, double ox_um, double oy_um)
{
        return (struct layout){.name = "round",
                               .diameter_mm = diameter_mm,
                               .edge_exclusion_mm = 3,
                               .pitch_x_um = px_um,
                               .pitch_y_um = py_um,
                               .street_um = 100,
                               .offset_x_um = ox_um,
                               .offset_y_um = oy_um,
                               .ladder_columns = 3};
}

static size_t dies_of(const struct layout *l, struct arena *a, struct die **ret)
{
        size_t n = 0;
        assert_int_equal(layout_dies(l, a, ret, &n, NULL), CODE_OK);
        return n;
}

static void assert_permutation(const uint16_t *order, size_t n)
{
        unsigned char *seen = calloc(n, 1);
        for (size_t i = 0; i < n; i++) {
                assert_true(order[i] < n);
                assert_int_equal(seen[order[i]]++, 0);
        }
        free(seen);
}

static const struct {
        double diameter, px, py, ox, oy;
} wafers[] = {
        {100, 9400, 9600, 1500, -2000}, {50, 9500, 11000, 700, -400}, {300, 26000, 33000, 0, 0}, {300, 26000, 33000, 13000, 16500},
        {100, 5000, 5000, 0, 0},        {150, 3100, 4700, 1550, 0},   {100, 30000, 9000, 0, 0},
};

static void a_drift_shows_as_a_plane_in_a_snake_but_not_in_an_interleave(void **state)
{
        (void)state;
        for (size_t w = 0; w < sizeof wafers / sizeof wafers[0]; w++) {
                struct arena *a = arena_new(0);
                struct layout l = round_wafer(wafers[w].diameter, wafers[w].px, wafers[w].py, wafers[w].ox, wafers[w].oy);
                struct die *dies = NULL;
                size_t n = dies_of(&l, a, &dies);
                uint16_t *order = arena_take(a, n * sizeof *order);
                die_order(ORDER_SNAKE, dies, n, order);
                assert_permutation(order, n);
                double snake = die_order_aliasing(dies, order, n), snake_um = die_order_travel_um(dies, order, n);
                die_order(ORDER_INTERLEAVE, dies, n, order);
                assert_permutation(order, n);
                double mixed = die_order_aliasing(dies, order, n), mixed_um = die_order_travel_um(dies, order, n);
                if (!((n < 20 || snake > 0.9) && mixed < 0.01 && mixed_um < 6 * snake_um))
                        fail_msg("wafer %zu, %zu dies: snake %.4f, interleave %.5f, travel %.0f and %.0f mm", w, n, snake, mixed,
                                 snake_um / 1000, mixed_um / 1000);
                arena_free(a);
        }
}

static void the_same_list_gives_the_same_order(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct layout l = round_wafer(100, 9400, 9600, 1500, -2000);
        struct die *dies = NULL;
        size_t n = dies_of(&l, a, &dies);
        assert_int_equal(n, 60);
        uint16_t first[60], second[60];
        die_order(ORDER_INTERLEAVE, dies, n, first);
        die_order(ORDER_INTERLEAVE, dies, n, second);
        assert_memory_equal(first, second, sizeof first);
        arena_free(a);
}

static void a_snake_goes_to_the_next_die_or_the_next_row(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct layout l = round_wafer(300, 26000, 33000, 0, 0);
        struct die *dies = NULL;
        size_t n = dies_of(&l, a, &dies);
        uint16_t *order = arena_take(a, n * sizeof *order);
        die_order(ORDER_SNAKE, dies, n, order);
        for (size_t i = 1; i < n; i++) {
                const struct die *p = &dies[order[i - 1]], *q = &dies[order[i]];
                assert_true(p->y == q->y ? abs(p->x - q->x) == 1 : q->y == p->y - 1);
        }
        arena_free(a);
}

/* The measure itself, by hand on five dies in a row, where R^2 = (sum xt)^2/(sum xx sum tt). */
static void aliasing_is_the_share_that_a_plane_explains(void **state)
{
        (void)state;
        struct die row[5] = {{.x_um = 0}, {.x_um = 1000}, {.x_um = 2000}, {.x_um = 3000}, {.x_um = 4000}};
        uint16_t straight[] = {0, 1, 2, 3, 4}, even[] = {2, 0, 4, 3, 1}; /* times of x 0…4: 1 4 0 3 2; sum (x-2)(t-2) = 2-2+0+1+0 = 1 */
        assert_near(die_order_aliasing(row, straight, 5), 1, 1e-12);
        assert_near(die_order_aliasing(row, even, 5), 0.01, 1e-12); /* 1^2/(10*10) */
        assert_near(die_order_travel_um(row, straight, 5), 4000, 1e-9);
        assert_near(die_order_aliasing(row, straight, 1), 0, 0);
}

static void odd_numbers_of_dies_are_mixed_too(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct layout l = round_wafer(100, 9400, 9600, 1500, -2000);
        struct die *dies = NULL;
        dies_of(&l, a, &dies);
        uint16_t order[60];
        for (size_t n = 0; n <= 60; n++) {
                die_order(ORDER_INTERLEAVE, dies, n, order);
                assert_permutation(order, n);
                if (n >= 8 && !(die_order_aliasing(dies, order, n) < 0.01))
                        fail_msg("%zu dies: %.4f", n, die_order_aliasing(dies, order, n));
        }
        arena_free(a);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(a_drift_shows_as_a_plane_in_a_snake_but_not_in_an_interleave),
                cmocka_unit_test(the_same_list_gives_the_same_order),
                cmocka_unit_test(a_snake_goes_to_the_next_die_or_the_next_row),
                cmocka_unit_test(aliasing_is_the_share_that_a_plane_explains),
                cmocka_unit_test(odd_numbers_of_dies_are_mixed_too),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
