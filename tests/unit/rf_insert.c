/* Frequencies put into a network: the old points stay bit for bit, the new ones lie on the curve, and what lies outside is refused. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>
#include "rf/extract/insert.h"

/* a line of 5 ps with 1 dB of loss, in 50 ohm */
static struct m2 line(double hz)
{
        double phase = -RF_TWO_PI * hz * 5e-12;
        double complex t = 0.89 * CMPLX(cos(phase), sin(phase));
        return m2_of(0.1, t, t, 0.1);
}

static void old_points_stay_and_new_ones_lie_on_the_curve(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        double hz[40], ask[] = {10.3e9, 2.25e9, 5e9, 20e9};
        struct axis axis;
        struct net2 with;
        size_t at[4];
        for (size_t i = 0; i < 40; i++)
                hz[i] = 0.5e9 * (double)(i + 1);
        assert_int_equal(axis_of(40, hz, &axis, NULL), CODE_OK);
        struct net2 net = net2_at(arena_take(arena, net2_bytes(40)), &axis, PLANE_DEVICE);
        for (size_t i = 0; i < 40; i++)
                net2_put(&net, i, line(hz[i]));
        assert_int_equal(rf_net2_insert(&net, ask, 4, arena, &with, at, NULL), CODE_OK);
        assert_int_equal(with.axis->n, 42); /* 5 and 20 GHz are there already */
        assert_int_equal(with.plane, PLANE_DEVICE);
        for (int k = 0; k < 4; k++) {
                assert_true(with.axis->hz[at[k]] == ask[k]);
                for (int e = 0; e < 4; e++)
                        assert_true(cabs(net2_get(&with, at[k]).e[e] - line(ask[k]).e[e]) < (k < 2 ? 1e-3 : 1e-300));
        }
        for (size_t i = 0, j = 0; i < 42; i++)
                if (with.axis->hz[i] == hz[j]) {
                        for (int e = 0; e < 4; e++)
                                assert_true(net.re[e][j] == with.re[e][i] && net.im[e][j] == with.im[e][i]);
                        j += j < 39;
                }
        arena_free(arena);
}

static void what_lies_outside_is_refused(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        double hz[] = {1e9, 2e9, 3e9}, beyond[] = {4e9}, zero[] = {0}, nan[] = {NAN};
        struct axis axis;
        struct net2 with;
        struct tp_error err = {0};
        size_t at[1];
        assert_int_equal(axis_of(3, hz, &axis, NULL), CODE_OK);
        struct net2 net = net2_at(arena_take(arena, net2_bytes(3)), &axis, PLANE_DEVICE);
        for (size_t i = 0; i < 3; i++)
                net2_put(&net, i, line(hz[i]));
        assert_int_equal(rf_net2_insert(&net, beyond, 1, arena, &with, at, &err), CODE_UNRESOLVABLE);
        assert_true(strlen(err.text) > 20);
        assert_int_equal(rf_net2_insert(&net, zero, 1, arena, &with, at, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_net2_insert(&net, nan, 1, arena, &with, at, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "nan"));
        arena_free(arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(old_points_stay_and_new_ones_lie_on_the_curve),
                                           cmocka_unit_test(what_lies_outside_is_refused)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
