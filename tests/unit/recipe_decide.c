/* Limits that no die could ever meet are named when the recipe is loaded; how limits are decided is the recipe's. */
#include "tests/unit/recipe_helper.h"
#include "recipe/judged.h"
#include <math.h>

static struct parameter_plan *parameter(struct recipe *r, const char *device, const char *name, struct measure **ret)
{
        for (size_t i = 0; i < r->measure_n; i++)
                for (size_t k = 0; k < r->measures[i].parameter_n; k++)
                        if (!strcmp(r->measures[i].device, device) && !strcmp(r->measures[i].parameters[k].name, name)) {
                                *ret = &r->measures[i];
                                return &r->measures[i].parameters[k];
                        }
        fail_msg("no parameter %s of %s", name, device);
        return NULL;
}

static void the_least_uncertainty_is_contact_and_load(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file("simulators/demo/recipe.json", a);
        struct measure *m;
        /* by hand, from the recipe: 5 mohm and 0.4 pH per path, two paths of device and of short dummy; load 50 ohm +- 0.1 on each port */
        struct parameter_plan *p = parameter(r, "R1", "R_1GHz", &m);
        assert_true(fabs(recipe_u_least(r, m, p) - hypot(0.01, 75 * 0.002 / sqrt(2))) < 1e-9);
        p = parameter(r, "L1", "L_10GHz", &m);
        assert_true(fabs(recipe_u_least(r, m, p) - hypot(0.8e-12, 302.5e-12 * 0.002 / sqrt(2))) < 1e-20);
        p = parameter(r, "L1", "Q_10GHz", &m);
        assert_true(recipe_u_least(r, m, p) == 0);
        p = parameter(r, "C1", "C_10GHz", &m);
        double x = 1 / (6.283185307179586 * 1e10 * 120e-15); /* 132.6 ohm */
        assert_true(fabs(recipe_u_least(r, m, p) / 120e-15 - hypot(6.283185307179586 * 1e10 * 0.8e-12 / x, 0.002 / sqrt(2))) < 1e-9);
        m->deembed = DEEMBED_NONE;
        assert_true(fabs(recipe_u_least(r, m, p) / 120e-15 - hypot(6.283185307179586 * 1e10 * 0.8e-12 / sqrt(2) / x, 0.002 / sqrt(2))) <
                    1e-9);
        arena_free(a);
}

static void limits_too_narrow_for_the_contact_are_named_at_load(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file("simulators/demo/recipe.json", a);
        struct measure *m;
        struct parameter_plan *p = parameter(r, "R1", "R_1GHz", &m);
        struct tp_error err = {0};
        struct text page;
        assert_int_equal(recipe_decidable(r, m, p, &err), CODE_OK);
        p->low = 74.9;
        p->high = 75.1; /* 0.2 ohm / 3.92 = 0.051 ohm against 0.107 ohm */
        assert_int_equal(recipe_decidable(r, m, p, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "R_1GHz cannot be decided with this uncertainty"));
        text_init(&page, 0);
        recipe_explain(r, NULL, &page);
        assert_non_null(strstr(text_of(&page), "No die can pass: R_1GHz cannot be decided with this uncertainty"));
        text_done(&page);
        p->acceptance = ACCEPTANCE_SIMPLE;
        assert_int_equal(recipe_decidable(r, m, p, &err), CODE_OK);
        text_init(&page, 0);
        recipe_explain(r, NULL, &page);
        assert_null(strstr(text_of(&page), "No die can pass"));
        assert_non_null(strstr(text_of(&page), "decided by the value alone"));
        text_done(&page);
        p->acceptance = ACCEPTANCE_GUARDED;
        p->risk = 0.4; /* u may be T/1.68 */
        assert_int_equal(recipe_decidable(r, m, p, &err), CODE_OK);
        arena_free(a);
}

static void a_recipe_that_says_nothing_is_guarded_at_5_percent(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file("simulators/demo/recipe.json", a);
        for (size_t i = 0; i < r->measure_n; i++)
                for (size_t k = 0; k < r->measures[i].parameter_n; k++) {
                        assert_int_equal(r->measures[i].parameters[k].acceptance, ACCEPTANCE_GUARDED);
                        assert_true(r->measures[i].parameters[k].risk == 0.05);
                }
        arena_free(a);
}

static void a_number_is_judged_by_the_limits_of_its_parameter(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file("simulators/demo/recipe.json", a);
        const struct parameter_plan *named = recipe_parameter(r, "L2", "Q_10GHz");
        assert_non_null(named);
        assert_string_equal(named->name, "Q_10GHz");
        assert_ptr_not_equal(named, recipe_parameter(r, "L1", "Q_10GHz"));
        assert_null(recipe_parameter(r, "L2", "Q_11GHz"));
        assert_null(recipe_parameter(r, "L9", "Q_10GHz"));
        struct parameter_plan p = {.has_low = true, .low = 285e-12, .has_high = true, .high = 320e-12, .risk = 0.05};
        /* lower limit 2 u away, upper 12 u: Phi(2) (Abramowitz & Stegun, table 26.1); the guard band is the 95 % point, 1.644854 u */
        struct judgement j = parameter_judgement(&p, 290e-12, 5e-12);
        assert_true(fabs(j.conformance - 0.977249868051821) < 1e-12 && fabs(j.guard_band / 2.5e-12 - 1.6448536269514722) < 1e-6);
        p.risk = 0.001;
        assert_true(fabs(parameter_judgement(&p, 290e-12, 5e-12).guard_band / 2.5e-12 - 3.090232306167813) < 1e-6);
        p.acceptance = ACCEPTANCE_SIMPLE;
        assert_true(parameter_judgement(&p, 290e-12, 5e-12).guard_band == 0);
        p.acceptance = ACCEPTANCE_GUARDED;
        j = parameter_judgement(&p, 302.5e-12, 20e-12); /* u_max is 35 pH/6.58: nothing passes, and the chance is Phi(1.75) - Phi(-1.75) */
        assert_true(isnan(j.guard_band) && fabs(j.conformance - 0.919881686272) < 1e-11);
        assert_true(isnan(parameter_judgement(&p, NAN, 5e-12).conformance));
        assert_true(isnan(parameter_judgement(NULL, 290e-12, 5e-12).conformance));
        p.has_low = p.has_high = false;
        assert_true(isnan(parameter_judgement(&p, 290e-12, 5e-12).conformance));
        arena_free(a);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(the_least_uncertainty_is_contact_and_load),
                                           cmocka_unit_test(limits_too_narrow_for_the_contact_are_named_at_load),
                                           cmocka_unit_test(a_recipe_that_says_nothing_is_guarded_at_5_percent),
                                           cmocka_unit_test(a_number_is_judged_by_the_limits_of_its_parameter)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
