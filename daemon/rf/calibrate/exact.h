/* exact.h: the columns' way through calibrations that are exactly determined (three reflections at each port, one thru), whole vectors of
   frequencies at once; not for other rooms.  The points' way (solve_solt.c, solve_unknown_thru.c) stays the one that knows all cases and
   says what is wrong: where these return false, it is taken.

   As in correct_kernel.h one source is compiled for each kind of processor and every product is fused alike: the same bytes everywhere. */
#ifndef TIPPLANE_RF_EXACT_H
#define TIPPLANE_RF_EXACT_H
#include "rf/calibrate/calibration.h"

/* Scratch for exact_unknown_thru(); exact_solt() needs none.  64-byte aligned. */
size_t exact_bytes(size_t n);
/* Each port's EDF ESF ERF, from raw as it is; condition (its |A|_F |A^-1|_F, the worse port) per frequency. */
bool exact_sol(const struct problem *p, struct terms *out, double *condition);
/* All twelve terms and K; k_disagreement always, switch_difference where the problem has switch terms. */
bool exact_solt(const struct problem *p, struct terms *out, struct diagnosis *d);
/* First half: EDF … ERR, the thru's S21 with either sign, r, and ratio = S21 e^{+jw tau} for root_follow(). */
struct exact_root {
        double *r_re, *r_im, *s21_re, *s21_im, *ratio_re, *ratio_im; /* n each, the caller's */
};
bool exact_unknown_thru(const struct problem *p, void *scratch, struct terms *out, double *condition, const struct exact_root *ret);
/* Second half: K and the twelve-term columns, with r turned where sign is -1. */
void exact_unknown_thru_terms(size_t n, const struct exact_root *root, const signed char *sign, struct terms *out);

#endif
