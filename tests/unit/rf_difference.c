/* Two networks against each other: the largest difference is found where it was put, bands hold what belongs to them, delay and loss of
   a line that grew come back, and what cannot be compared is a sentence. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>
#include "base/arena.h"
#include "rf/network/difference.h"

struct two {
        struct arena *arena;
        struct axis axis[2];
        struct net2 net[2];
};

static struct two made(size_t n, size_t shift)
{
        struct two t = {.arena = arena_new(0)};
        for (int w = 0; w < 2; w++) {
                double *hz = arena_take(t.arena, n * sizeof *hz);
                for (size_t i = 0; i < n; i++)
                        hz[i] = 5e7 * (double)(1 + i + (w ? shift : 0));
                assert_int_equal(axis_of(n, hz, &t.axis[w], NULL), CODE_OK);
        }
        return t;
}
static void fill(struct two *t, double delay_s, double gain)
{
        for (int w = 0; w < 2; w++) {
                t->net[w] = net2_at(arena_take(t->arena, net2_bytes(t->axis[w].n)), &t->axis[w], PLANE_TIP);
                for (size_t i = 0; i < t->axis[w].n; i++) {
                        double phase = -RF_TWO_PI * t->axis[w].hz[i] * (3e-12 + (w ? delay_s : 0));
                        double complex through = (w ? gain : 1) * 0.9 * CMPLX(cos(phase), sin(phase));
                        net2_put(&t->net[w], i, (struct m2){{0.1, through, through, CMPLX(0, 0.2)}});
                }
        }
}

static void the_largest_difference_is_found_where_it_was_put(void **state)
{
        (void)state;
        struct two t = made(400, 0);
        struct rf_difference d;
        fill(&t, 0, 1);
        t.net[1].re[3][100] += 0.03; /* 5.05 GHz */
        t.net[1].im[0][5] += 0.01;   /* 300 MHz */
        assert_int_equal(rf_difference_of(&t.net[0], &t.net[1], rf_difference_edges, rf_difference_edge_n, &d, NULL), CODE_OK);
        assert_int_equal(d.common_n, 400);
        assert_int_equal(d.band_n, 4); /* below 0.1, to 1, to 10, above */
        assert_true(fabs(d.all.worst - 0.03) < 1e-15 && d.all.worst_hz == 5.05e9 && d.all.worst_entry == 3);
        assert_true(d.band[0].points == 1 && d.band[0].worst == 0);
        assert_true(fabs(d.band[1].worst - 0.01) < 1e-15 && d.band[1].worst_hz == 3e8 && d.band[1].worst_entry == 0);
        assert_true(fabs(d.band[1].entry[0].rms - 0.01 / sqrt(18)) < 1e-15); /* 0.1 … 0.95 GHz */
        assert_true(d.band[3].worst == 0 && d.band[3].from_hz == 10e9 && d.band[3].to_hz == 20e9);
        assert_true(fabs(d.delay_s) < 1e-24 && fabs(d.loss_db) < 1e-14);
        arena_free(t.arena);
}

static void delay_and_loss_of_a_line_that_grew_come_back(void **state)
{
        (void)state;
        struct two t = made(400, 0);
        struct rf_difference d;
        fill(&t, 80e-12, 0.98); /* more than one turn over the sweep */
        assert_int_equal(rf_difference_of(&t.net[0], &t.net[1], NULL, 0, &d, NULL), CODE_OK);
        assert_int_equal(d.band_n, 1);
        assert_true(fabs(d.delay_s - 80e-12) < 1e-20 && fabs(d.loss_db - 20 * log10(0.98)) < 1e-12);
        arena_free(t.arena);
}

static void only_common_frequencies_count(void **state)
{
        (void)state;
        struct two t = made(10, 4);
        struct rf_difference d;
        struct tp_error err = {0};
        fill(&t, 0, 1);
        assert_int_equal(rf_difference_of(&t.net[0], &t.net[1], NULL, 0, &d, &err), CODE_OK);
        assert_true(d.common_n == 6 && d.a_n == 10 && d.all.worst == 0 && d.all.from_hz == 2.5e8);
        arena_free(t.arena);
}

static void what_cannot_be_compared_is_a_sentence(void **state)
{
        (void)state;
        struct two t = made(10, 10), same = made(10, 0);
        struct rf_difference d;
        struct tp_error err = {0};
        const double bad[] = {2e9, 1e9};
        fill(&t, 0, 1);
        fill(&same, 0, 1);
        assert_int_equal(rf_difference_of(&t.net[0], &t.net[1], NULL, 0, &d, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "no frequency is in both"));
        assert_int_equal(rf_difference_of(&same.net[0], &same.net[1], bad, 2, &d, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "edge 2"));
        net2_set_z(&same.net[1], 75, 0);
        assert_int_equal(rf_difference_of(&same.net[0], &same.net[1], NULL, 0, &d, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "75 ohm"));
        net2_set_z(&same.net[0], NAN, NAN);
        net2_set_z(&same.net[1], NAN, NAN);
        assert_int_equal(rf_difference_of(&same.net[0], &same.net[1], NULL, 0, &d, &err), CODE_OK);
        same.net[1].plane = PLANE_DEVICE;
        assert_int_equal(rf_difference_of(&same.net[0], &same.net[1], NULL, 0, &d, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "plane device"));
        same.net[1].plane = PLANE_TIP;
        same.net[1].im[1][3] = NAN;
        assert_int_equal(rf_difference_of(&same.net[0], &same.net[1], NULL, 0, &d, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "S12 of the second"));
        arena_free(t.arena);
        arena_free(same.arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(the_largest_difference_is_found_where_it_was_put),
                cmocka_unit_test(delay_and_loss_of_a_line_that_grew_come_back),
                cmocka_unit_test(only_common_frequencies_count),
                cmocka_unit_test(what_cannot_be_compared_is_a_sentence),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
