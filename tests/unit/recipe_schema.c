/* The committed JSON Schemas are what the field tables print; to write them anew: TIPPLANE_REGENERATE=1 make test-recipe. */
#include "tests/unit/recipe_helper.h"
#include "recipe/recipe_own.h"
#include "recipe/schema.h"
#include "rf/calibrate/calibration.h"

static void assert_schema_is_committed(const char *name, const char *path)
{
        struct text now;
        cJSON *json = NULL;
        text_init(&now, 0);
        assert_int_equal(schema_print(name, &now, NULL), CODE_OK);
        assert_int_equal(json_read(text_of(&now), now.n, JSON_DEPTH_MAX, &json, NULL), CODE_OK);
        assert_string_equal(cJSON_GetStringValue(cJSON_GetObjectItem(json, "title")), name);
        assert_file_is(path, text_of(&now));
        cJSON_Delete(json);
        text_done(&now);
}

static void the_committed_schemas_are_those_of_the_tables(void **state)
{
        (void)state;
        assert_schema_is_committed("recipe", "schema/recipe.schema.json");
        assert_schema_is_committed("layout", "schema/layout.schema.json");
        assert_schema_is_committed("plan", "schema/plan.schema.json");
        assert_schema_is_committed("limits", "schema/limits.schema.json");
}

/* The words of methods stand in a sentence, because a name is not an enumeration. */
static void the_schema_names_every_two_port_method(void **state)
{
        (void)state;
        size_t named = 0;
        for (size_t k = 0; k < calibration_object.field_n; k++) {
                const struct field *f = &calibration_object.fields[k];
                for (size_t m = 0; m < rf_method_n && strcmp(f->key, "method") == 0; m++)
                        if (rf_methods[m].ports == 2 && !strstr(f->say, rf_methods[m].word))
                                fail_msg("%s: %s is not named", f->say, rf_methods[m].word);
                named += strcmp(f->key, "method") == 0;
        }
        assert_int_equal(named, 1);
}

static void an_unheard_of_schema_is_refused_by_name(void **state)
{
        (void)state;
        struct text to;
        struct tp_error err = {0};
        text_init(&to, 0);
        assert_int_equal(schema_print("wafer", &to, &err), CODE_NOT_FOUND);
        assert_string_equal(err.text, "there is no schema \"wafer\"; there are recipe, layout, plan and limits");
        text_done(&to);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(the_committed_schemas_are_those_of_the_tables),
                cmocka_unit_test(the_schema_names_every_two_port_method),
                cmocka_unit_test(an_unheard_of_schema_is_refused_by_name),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
