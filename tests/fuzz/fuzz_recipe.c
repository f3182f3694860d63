/* fuzz_recipe.c: what people upload.  What is accepted is planned for a station that can do everything, and explained in words. */
#include "tests/fuzz/fuzz.h"
#include "tests/fuzz/fuzz_json.h"
#include "recipe/plan.h"

static const char *const fuzz_words[] = {FUZZ_JSON_WORDS, "\"name\":",        "\"points\":",         "\"open\"",
                                         "\"line\"",      "\xef\xbb\xbf",     "\"retouch_max\":",    "\"layout\":",
                                         "\"x_um\":",     "\"touches_max\":", "\"spacing\":\"log\"", NULL};

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        struct arena *arena = arena_new(512u << 20);
        struct recipe *recipe = NULL;
        struct plan *plan = NULL;
        enum code code = recipe_read(bytes, n, arena, &recipe, err);
        if (!code) {
                struct capability_set can = {.analyzer = true,
                                             .stage = true,
                                             .bias = true,
                                             .bias_current = true,
                                             .meter = true,
                                             .chuck = true,
                                             .signal = true,
                                             .interlock = true,
                                             .switch_terms = true,
                                             .freq_hz_min = 1,
                                             .freq_hz_max = 1e13,
                                             .points_max = 1000000,
                                             .volt_max = 1000,
                                             .spacing_um = recipe->setup.spacing_um};
                struct text words;
                text_init(&words, 0);
                code = plan_make(recipe, "W1", &can, NULL, arena, &plan, err);
                recipe_explain(recipe, code ? NULL : plan, &words);
                if (!words.n)
                        fuzz_broken("nothing is explained");
                text_done(&words);
        }
        arena_free(arena);
        return code;
}
