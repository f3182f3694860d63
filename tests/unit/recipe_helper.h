/* recipe_helper.h: a recipe from a file, and stations to plan for. */
#ifndef TIPPLANE_TESTS_RECIPE_HELPER_H
#define TIPPLANE_TESTS_RECIPE_HELPER_H
#include "tests/unit/file_text.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include "recipe/plan.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Run from the top of the tree.  The caller frees. */

static inline struct recipe *recipe_of_file(const char *path, struct arena *arena)
{
        struct recipe *r = NULL;
        struct tp_error err = {0};
        size_t n = 0;
        char *text = file_text(path, &n);
        if (recipe_read(text, n, arena, &r, &err))
                fail_msg("%s: %s", path, err.text);
        free(text);
        return r;
}

static inline struct capability_set good_station(void)
{
        return (struct capability_set){.analyzer = true,
                                       .stage = true,
                                       .bias = true,
                                       .bias_current = true,
                                       .meter = true,
                                       .chuck = true,
                                       .signal = true,
                                       .interlock = true,
                                       .switch_terms = true,
                                       .freq_hz_min = 70e3,
                                       .freq_hz_max = 220e9,
                                       .points_max = 10001,
                                       .volt_max = 40,
                                       .spacing_um = 200};
}

/* Writes `have` over the stored file when TIPPLANE_REGENERATE is set, else compares. */
static inline void assert_file_is(const char *path, const char *have)
{
        size_t n = 0;
        if (getenv("TIPPLANE_REGENERATE")) {
                FILE *f = fopen(path, "wb");
                assert_non_null(f);
                fputs(have, f);
                fclose(f);
        }
        char *want = file_text(path, &n);
        if (strcmp(want, have) != 0) {
                size_t line = 1, i = 0;
                for (; want[i] && want[i] == have[i]; i++)
                        line += want[i] == '\n';
                fail_msg("%s differs in line %zu: stored \"%.60s\", now \"%.60s\"; TIPPLANE_REGENERATE=1 make test-recipe writes it anew",
                         path, line, want + i, have + i);
        }
        free(want);
}

#endif
