/* rehearse.h: a recipe's calibration solved once on paper, when the recipe is read: perfect standards behind a made-up analyzer.  What
   cannot be solved even so (too few standards, lines half a wave apart, an estimate that contradicts its own short) is found in daytime;
   and where bands are joined it says which of them will be the surer one, and where.  Pure; all from the arena. */
#ifndef TIPPLANE_RECIPE_REHEARSE_H
#define TIPPLANE_RECIPE_REHEARSE_H
#include "recipe/calibration_problem.h"

/* hz: the calibration sweep, n points; at most REHEARSE_POINTS of them are taken.  The recipe's calibration must have passed its checks.
   CODE_BAD_INPUT, CODE_UNRESOLVABLE: as the solution says. */
#define REHEARSE_POINTS 224
enum code calibration_rehearse(const struct recipe *, const double *hz, size_t n, struct arena *, struct solved_calibration **ret,
                               struct tp_error *err);

#endif
