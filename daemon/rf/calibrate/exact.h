/* exact.h: the columns' way through calibrations that are exactly determined (three reflections at each port, one thru), whole vectors of
   frequencies at once; not for other rooms.  The points' way (solve_solt.c, solve_unknown_thru.c) stays the one that knows all cases and
   says what is wrong: where these return false, it is taken.

   Every number that goes in reaches a number that is looked at on the way out, and nothing turns what is no number into one: true means
   that all inputs in use are finite, too, so that nobody need look at them before.

   As in correct_kernel.h one source is compiled for each kind of processor and every product is fused alike: the same bytes everywhere. */
#ifndef TIPPLANE_RF_EXACT_H
#define TIPPLANE_RF_EXACT_H
#include "rf/calibrate/calibration.h"

/* The largest of all frequencies; 0 where the method has none. */
struct exact_worst {
        double condition, k_disagreement;
        double switch_difference; /* not less than the largest, and no more than the root of two above it */
        double thru_power;        /* |S21|^2 of the thru as solved */
};
/* Each port's EDF ESF ERF, from raw as it is; condition (its |A|_F |A^-1|_F, the worse port) per frequency. */
bool exact_sol(const struct problem *p, struct terms *out, struct diagnosis *d, struct exact_worst *ret);
/* All twelve terms and K; k_disagreement always, switch_difference where the problem has switch terms. */
bool exact_solt(const struct problem *p, struct terms *out, struct diagnosis *d, struct exact_worst *ret);
/* All eight terms, their twelve-term columns, and the thru's S21; also false where the sign of the root is not the same by the delay guess
   and by following it from the lowest frequency. */
bool exact_unknown_thru(const struct problem *p, struct terms *out, struct diagnosis *d, struct exact_worst *ret);

#endif
