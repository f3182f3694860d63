/* Die counts of round wafers against tests/reference/transforms.csv (cases dies_*: counted there by an independent script). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include "wafer/layout.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void counts_are_those_of_the_independent_script(void **state)
{
        (void)state;
        FILE *f = fopen("tests/reference/transforms.csv", "r");
        char row[256];
        struct layout l = {.name = "reference", .ladder_columns = 3};
        unsigned cases = 0;
        assert_non_null(f); /* run from the top of the tree */
        while (fgets(row, sizeof row, f)) {
                char *name = strtok(row, ","), *key = strtok(NULL, ","), *text = strtok(NULL, "\n");
                if (!name || !key || !text || strncmp(name, "dies_", 5) != 0)
                        continue;
                double value = strtod(text, NULL);
                if (!strcmp(key, "diameter_mm"))
                        l.diameter_mm = value;
                else if (!strcmp(key, "edge_mm"))
                        l.edge_exclusion_mm = value;
                else if (!strcmp(key, "px_mm"))
                        l.pitch_x_um = value * 1000;
                else if (!strcmp(key, "py_mm"))
                        l.pitch_y_um = value * 1000;
                else if (!strcmp(key, "ox_mm"))
                        l.offset_x_um = value * 1000;
                else if (!strcmp(key, "oy_mm"))
                        l.offset_y_um = value * 1000;
                else if (!strcmp(key, "count")) {
                        struct arena *a = arena_new(0);
                        struct die *dies = NULL;
                        size_t n = 0;
                        assert_int_equal(layout_dies(&l, a, &dies, &n, NULL), CODE_OK);
                        if (n != (size_t)value)
                                fail_msg("%s: %zu dies, wanted %.0f", name, n, value);
                        arena_free(a);
                        cases++;
                }
        }
        fclose(f);
        assert_int_equal(cases, 12);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(counts_are_those_of_the_independent_script)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
