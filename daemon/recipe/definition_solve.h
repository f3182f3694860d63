/* definition_solve.h: what a copy is, from its corrected readings: the numbers of its definition that it has (and the first of its kind, and
   higher orders where the data need them) fitted at each port, beside what was told.  For copies that took no part in the calibration.  Pure. */
#ifndef TIPPLANE_RECIPE_DEFINITION_SOLVE_H
#define TIPPLANE_RECIPE_DEFINITION_SOLVE_H
#include "recipe/calibration_problem.h"
#include "rf/calibrate/standards_describe.h"

struct solved_definition {
        bool has[2]; /* port 1, 2 */
        struct standard_described fit[2];
        double told[2][STANDARD_NUMBER_COUNT]; /* of fit.fit.which[k], by the definition */
        char why_not[2][200];                  /* where there is none; "" when nothing was asked */
};
/* corrected: at the tips, 50 ohm, any frequencies.  ports: 1, 2, 3 or 0 (both).  Lines, thrus, reflects and standards by data have none.
   u of the fit comes from the scatter, widened where it goes with frequency: it says nothing of what the calibration itself has wrong at all
   frequencies alike. */
void definition_solve(const struct standard *, unsigned ports, double t_c, const struct net2 *corrected, struct solved_definition *ret);

void solved_definition_json(const struct solved_definition *, struct json_out *, const char *key); /* a list, one entry a port */
void solved_definition_words(const struct solved_definition *, const char *name, struct text *to); /* one line a port */
/* What "lrrm" found of its match and open; nothing for other methods. */
void solved_match_json(const struct diagnosis *, struct json_out *, const char *key);
void solved_match_words(const struct diagnosis *, struct text *to);

#endif
