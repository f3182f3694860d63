/* recipe_planned.h: plans of recipes, for the tests of what a plan is and of what it refuses. */
#ifndef TIPPLANE_TESTS_RECIPE_PLANNED_H
#define TIPPLANE_TESTS_RECIPE_PLANNED_H
#include "tests/unit/recipe_helper.h"
#include "recipe/recipe_own.h"

#define DEMO "simulators/demo/recipe.json"

#define BANDS "tests/unit/golden/bands.recipe.json"

#define RAW "tests/station/replay/onwafer_raw.recipe.json"

static inline struct plan *plan_of(const struct recipe *r, const struct capability_set *can, const struct ledger_view *ledger,
                                   struct arena *a)
{
        struct plan *p = NULL;
        struct tp_error err = {0};
        if (plan_make(r, "W07", can, ledger, a, &p, &err))
                fail_msg("%s", err.text);
        return p;
}

static inline void assert_refused(const char *path, const struct capability_set *can, const struct ledger_view *ledger,
                                  const char *sentence)
{
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(path, a);
        struct plan *p = NULL;
        struct tp_error err = {0};
        if (plan_make(r, "W07", can, ledger, a, &p, &err) != CODE_BAD_INPUT || p || strcmp(err.text, sentence) != 0)
                fail_msg("wanted \"%s\", got \"%s\"", sentence, err.text);
        arena_free(a);
}

static inline int32_t ledger_reads(void *ctx, const char *kind, const char *serial, const char *part)
{
        const char *const *row = ctx; /* kind, serial, part, touches */
        return strcmp(kind, row[0]) == 0 && strcmp(serial, row[1]) == 0 && strcmp(part, row[2]) == 0 ? atoi(row[3]) : 0;
}

static inline struct capability_set recording(double *hz, double *spacings)
{
        for (int i = 0; i < 750; i++)
                hz[i] = 2e8 * (i + 1);
        static const double um[] = {200, 450, 900, 1800, 3500, 5250};
        memcpy(spacings, um, sizeof um);
        return (struct capability_set){.analyzer = true,
                                       .stage = true,
                                       .switch_terms = true,
                                       .replayed = true,
                                       .axis_hz = hz,
                                       .axis_n = 750,
                                       .spacings_um = spacings,
                                       .spacing_n = 6};
}

#endif
