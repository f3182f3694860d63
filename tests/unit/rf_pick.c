/* Frequencies picked from a larger list: every column follows, and what is not there is named. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>
#include "base/arena.h"
#include "rf/correct/pick.h"

static void every_column_follows(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        double hz[] = {1e9, 2e9, 3e9, 4e9}, few[] = {2e9 * (1 + 1e-12), 4e9};
        struct axis have, want;
        size_t at[2];
        assert_int_equal(axis_of(4, hz, &have, NULL), CODE_OK);
        assert_int_equal(axis_of(2, few, &want, NULL), CODE_OK);
        assert_int_equal(rf_pick(&have, &want, at, NULL), CODE_OK);
        assert_true(at[0] == 1 && at[1] == 3);
        struct terms from = terms_at(arena_take(arena, terms_bytes(4)), &have), to = terms_at(arena_take(arena, terms_bytes(2)), &want);
        struct switch_terms s = switch_terms_at(arena_take(arena, switch_terms_bytes(4)), &have),
                            t = switch_terms_at(arena_take(arena, switch_terms_bytes(2)), &want);
        struct net2 a = net2_at(arena_take(arena, net2_bytes(4)), &have, PLANE_TIP),
                    b = net2_at(arena_take(arena, net2_bytes(2)), &want, 0);
        for (size_t i = 0; i < 4; i++) {
                for (int k = 0; k < TERM_COUNT; k++)
                        from.re[k][i] = 100 * k + (double)i, from.im[k][i] = -from.re[k][i];
                for (int k = 0; k < FULL_COUNT; k++)
                        from.full_re[k][i] = 1e4 + 100 * k + (double)i, from.full_im[k][i] = -from.full_re[k][i];
                from.z_re[i] = 50 + (double)i;
                s.f_re[i] = 1 + (double)i, s.f_im[i] = 2 + (double)i, s.r_re[i] = 3 + (double)i, s.r_im[i] = 4 + (double)i;
                for (int k = 0; k < 4; k++)
                        a.re[k][i] = 10 * k + (double)i, a.im[k][i] = -a.re[k][i];
        }
        from.model = TERMS_SIXTEEN;
        from.method = "sixteen_term";
        from.plane = PLANE_TIP;
        from.switch_removed = true;
        rf_pick_terms(&from, at, &to);
        rf_pick_switch_terms(&s, at, &t);
        rf_pick_net2(&a, at, &b);
        assert_true(to.model == TERMS_SIXTEEN && to.plane == PLANE_TIP && to.switch_removed && strcmp(to.method, "sixteen_term") == 0);
        assert_true(b.plane == PLANE_TIP);
        for (size_t i = 0; i < 2; i++) {
                double x = (double)at[i];
                for (int k = 0; k < TERM_COUNT; k++)
                        assert_true(to.re[k][i] == 100 * k + x && to.im[k][i] == -to.re[k][i]);
                for (int k = 0; k < FULL_COUNT; k++)
                        assert_true(to.full_re[k][i] == 1e4 + 100 * k + x && to.full_im[k][i] == -to.full_re[k][i]);
                assert_true(to.z_re[i] == 50 + x);
                assert_true(t.f_re[i] == 1 + x && t.f_im[i] == 2 + x && t.r_re[i] == 3 + x && t.r_im[i] == 4 + x);
                for (int k = 0; k < 4; k++)
                        assert_true(b.re[k][i] == 10 * k + x && b.im[k][i] == -b.re[k][i]);
        }
        arena_free(arena);
}

static void what_is_not_there_is_named(void **state)
{
        (void)state;
        double hz[] = {1e9, 2e9, 3e9}, bad[] = {1e9, 2.5e9}, high[] = {4e9}, low[] = {0};
        struct axis have, want;
        struct tp_error err = {0};
        size_t at[2];
        assert_int_equal(axis_of(3, hz, &have, NULL), CODE_OK);
        assert_int_equal(axis_of(2, bad, &want, NULL), CODE_OK);
        assert_int_equal(rf_pick(&have, &want, at, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "2.5e+09 Hz"));
        assert_int_equal(axis_of(1, high, &want, NULL), CODE_OK);
        assert_int_equal(rf_pick(&have, &want, at, &err), CODE_BAD_INPUT);
        assert_int_equal(axis_of(1, low, &want, NULL), CODE_OK);
        assert_int_equal(rf_pick(&have, &want, at, &err), CODE_BAD_INPUT);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(every_column_follows), cmocka_unit_test(what_is_not_there_is_named)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
