/* judged.h: by which limits and which rule a number of the recipe is judged, and how sure its verdict is (rf/trust/decide_limits.h).
   Pure, any thread. */
#ifndef TIPPLANE_RECIPE_JUDGED_H
#define TIPPLANE_RECIPE_JUDGED_H
#include "recipe/recipe.h"
#include "rf/trust/decide_limits.h"

/* false: it has no limits, and *ret_limits says so. */
bool parameter_judged_by(const struct parameter_plan *, struct limits *ret_limits, struct decision_rule *ret_rule);

/* The number of that name that is asked of that device; NULL: none is. */
const struct parameter_plan *recipe_parameter(const struct recipe *, const char *device, const char *name);

struct judgement {
        double conformance; /* probability that the true value lies within the limits, 0 … 1; NaN: no limits, or no value */
        double guard_band; /* how far from a limit a value must lie to pass, in its unit; 0: by the value alone; NaN: also where none can */
};
/* u95: the half width that the verdict was given with; NaN value: none was given.  plan NULL: nothing is known, NaN. */
struct judgement parameter_judgement(const struct parameter_plan *plan, double value, double u95);

#endif
