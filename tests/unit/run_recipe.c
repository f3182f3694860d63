/* run_recipe.c: the demo's recipe, planned and decided to its end: what the plan promised is what the rules do. */
#include "tests/unit/run_bench.h"
#include "tests/unit/recipe_helper.h"
#include "run/forecast.h"

struct demo {
        struct arena *arena;
        struct recipe *recipe;
        struct plan *plan;
};

static void demo_begin(struct demo *d)
{
        struct tp_error err = {0};
        struct capability_set can = good_station();
        d->arena = arena_new(0);
        d->recipe = recipe_of_file("simulators/demo/recipe.json", d->arena);
        can.spacing_um = d->recipe->setup.spacing_um;
        if (plan_make(d->recipe, "W07", &can, NULL, d->arena, &d->plan, &err))
                fail_msg("%s", err.text);
}

static void the_demo_night_goes_as_planned(void **state)
{
        (void)state;
        struct demo d;
        demo_begin(&d);
        struct fold f;
        struct fake k = fake_new(d.plan, 1);
        struct forecast forecast;
        const char *why = NULL;
        int64_t touches = 0;
        fold_begin(&f, d.plan, 1);
        forecast_run(d.plan, f.e, f.copy, &forecast);
        fold_note(&f, NOTE_RUN_STARTED);
        for (int i = 0; i < 100000 && !f.e->finished; i++) {
                struct step s = decide(d.plan, f.e, f.now_ns);
                if (laws_broken(d.plan, f.e, &s, &why) || rules[s.rule].waits)
                        fail_msg("step %d, rule %s: %s", i, rules[s.rule].name, why ? why : rules[s.rule].reason);
                touches += s.kind == STEP_LOWER;
                fold_step(&f, &k, &s);
                if (k.broken)
                        fail_msg("step %d, rule %s: %s", i, rules[s.rule].name, k.broken);
        }
        struct evidence_counts n = evidence_count(f.e, d.plan);
        assert_int_equal(n.proven, d.plan->visit_n);
        assert_true(forecast.ends);
        assert_int_equal(forecast.touches, touches);
        printf("%zu devices, %" PRId64 " touches, plan %" PRId64 ", %.0f s forecast, plan %.0f s, %zu bytes of evidence\n", d.plan->visit_n,
               touches, d.plan->touches_total, forecast.seconds, d.plan->seconds_total, evidence_bytes(d.plan));
        assert_int_equal(touches, d.plan->touches_total);
        assert_true(forecast.seconds > 0.95 * d.plan->seconds_total && forecast.seconds < 1.05 * d.plan->seconds_total);
        free(k.touched);
        fold_end(&f);
        arena_free(d.arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(the_demo_night_goes_as_planned)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
