/* Checks by physical modes: each injected cause comes back with its size and its name. */
#include "evaluate_bench.h"

struct checked {
        struct bench *b;
        struct calibration *c;
        struct raw_sweep then[3], now[3];
        struct check_answer a;
};
static const int which[3] = {OPEN_AIR, SHORT_B, THRU_B};
static struct checked checked_new(void)
{
        struct checked x = {.b = bench_new("unknown_thru")};
        x.c = bench_calibrate(x.b);
        x.b->noise = 3e-4;
        for (int k = 0; k < 3; k++)
                x.then[k] = bench_standard(x.b, (size_t)which[k], NULL);
        return x;
}
static void check(struct checked *x, const struct touch *on_short, const struct touch *on_thru)
{
        struct standard_sweep then[3], now[3];
        struct tp_error err = {0};
        for (int k = 0; k < 3; k++) {
                x->now[k] = bench_standard(x->b, (size_t)which[k], k == 1 ? on_short : k == 2 ? on_thru : NULL);
                then[2 - k] = (struct standard_sweep){which[k], &x->then[k]}; /* another order: they are matched by standard */
                now[k] = (struct standard_sweep){which[k], &x->now[k]};
        }
        if (check_fit(&x->b->recipe, x->c, then, now, 3, x->b->arena, &x->a, &err))
                fail_msg("%s", err.text);
}

static void a_quiet_station_passes(void **state)
{
        (void)state;
        struct checked x = checked_new();
        struct touch scatter = {.r_ohm = {0.005, -0.006}, .l_h = {0.5e-12, -0.3e-12}};
        for (int k = 0; k < 20; k++) {
                check(&x, &scatter, NULL);
                assert_true(x.a.passed);
                assert_int_equal(x.a.cause, CAUSE_NONE);
                assert_true(x.a.worst < 0.6);
        }
        bench_free(x.b);
}

static void a_delay_is_found_at_its_port(void **state)
{
        (void)state;
        struct checked x = checked_new();
        x.b->delay_s[1] = 60e-15;
        check(&x, NULL, NULL);
        assert_false(x.a.passed);
        assert_int_equal(x.a.cause, CAUSE_DELAY);
        assert_true(fabs(x.a.modes[1].delay_fs - 60) < 5);
        assert_true(fabs(x.a.modes[0].delay_fs) < 5);
        assert_non_null(strstr(x.a.sentence, "port 2"));
        bench_free(x.b);
}

static void a_loss_is_found_at_its_port(void **state)
{
        (void)state;
        struct checked x = checked_new();
        x.b->loss_db[0] = 0.1;
        check(&x, NULL, NULL);
        assert_false(x.a.passed);
        assert_int_equal(x.a.cause, CAUSE_LOSS);
        assert_true(fabs(x.a.modes[0].loss_db - 0.1) < 0.02);
        bench_free(x.b);
}

static void dirt_on_a_tip_is_contact_and_one_bad_touch_is_not(void **state)
{
        (void)state;
        struct checked x = checked_new();
        struct touch dirty = {.r_ohm = {0.3, 0}};
        check(&x, &dirty, &dirty);
        assert_int_equal(x.a.cause, CAUSE_CONTACT);
        assert_true(fabs(x.a.modes[0].contact_ohm - 0.3) < 0.03);
        check(&x, &dirty, NULL);
        assert_int_equal(x.a.cause, CAUSE_BAD_TOUCH);
        bench_free(x.b);
}

static void a_displaced_tip_is_placement(void **state)
{
        (void)state;
        struct checked x = checked_new();
        struct touch away = {.l_h = {8e-12, 0}};
        check(&x, &away, NULL);
        assert_false(x.a.passed);
        assert_int_equal(x.a.cause, CAUSE_PLACEMENT);
        assert_true(fabs(x.a.modes[0].delay_fs) < 5); /* the raised open tells it from drift */
        bench_free(x.b);
}

static void a_hanging_ground_in_the_check_is_a_bad_touch(void **state)
{
        (void)state;
        struct checked x = checked_new();
        struct touch hangs = {.hangs = true};
        check(&x, &hangs, NULL);
        assert_false(x.a.passed);
        assert_int_equal(x.a.cause, CAUSE_BAD_TOUCH);
        assert_non_null(strstr(x.a.sentence, "SHORT_B"));
        bench_free(x.b);
}

static void a_standard_without_baseline_is_refused_by_name(void **state)
{
        (void)state;
        struct checked x = checked_new();
        struct raw_sweep thru = bench_standard(x.b, THRU_B, NULL);
        struct standard_sweep then = {SHORT_B, &x.then[1]}, now = {THRU_B, &thru};
        struct tp_error err = {0};
        assert_int_equal(check_fit(&x.b->recipe, x.c, &then, &now, 1, x.b->arena, &x.a, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "THRU_B"));
        bench_free(x.b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(a_quiet_station_passes),
                                           cmocka_unit_test(a_delay_is_found_at_its_port),
                                           cmocka_unit_test(a_loss_is_found_at_its_port),
                                           cmocka_unit_test(dirt_on_a_tip_is_contact_and_one_bad_touch_is_not),
                                           cmocka_unit_test(a_displaced_tip_is_placement),
                                           cmocka_unit_test(a_hanging_ground_in_the_check_is_a_bad_touch),
                                           cmocka_unit_test(a_standard_without_baseline_is_refused_by_name)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
