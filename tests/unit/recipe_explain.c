/* The page in plain words against a stored text, and the numbers on it against the recipe. */
#include "tests/unit/recipe_helper.h"

static void the_demo_recipe_reads_as_stored(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file("simulators/demo/recipe.json", a);
        struct capability_set can = good_station();
        struct plan *p = NULL;
        struct tp_error err = {0};
        struct text page;
        if (plan_make(r, "W1", &can, NULL, a, &p, &err))
                fail_msg("%s", err.text);
        text_init(&page, 0);
        recipe_explain(r, p, &page);
        assert_true(text_ok(&page));
        assert_file_is("tests/unit/golden/explain_demo.txt", text_of(&page));
        text_done(&page);
        arena_free(a);
}

static void bands_read_as_stored(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file("tests/unit/golden/bands.recipe.json", a);
        struct text page;
        text_init(&page, 0);
        recipe_explain(r, NULL, &page);
        const char *from = strstr(text_of(&page), "CALIBRATION"), *to = strstr(text_of(&page), "CHECKS");
        assert_true(from && to);
        char part[4000];
        snprintf(part, sizeof part, "%.*s", (int)(to - from), from);
        assert_file_is("tests/unit/golden/explain_bands.txt", part);
        text_done(&page);
        arena_free(a);
}

static void a_recipe_without_checks_says_that_nothing_will_be_proven(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file("tests/station/replay/onwafer_raw.recipe.json", a);
        struct text page;
        text_init(&page, 0);
        recipe_explain(r, NULL, &page);
        assert_non_null(strstr(text_of(&page), "nothing is ever proven"));
        assert_non_null(strstr(text_of(&page), "no result can be proven to come from the die"));
        text_done(&page);
        arena_free(a);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(the_demo_recipe_reads_as_stored),
                cmocka_unit_test(bands_read_as_stored),
                cmocka_unit_test(a_recipe_without_checks_says_that_nothing_will_be_proven),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
