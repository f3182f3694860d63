/* reflects.h: the columns' way through "lrm" and "lrrm" with one reflect (one open, one short) and no offset, whole vectors of frequencies
   at once; not for other rooms.  The points' way (solve_lrm.c, solve_lrrm.c) stays the one that knows all cases and says what is wrong:
   where these return false, it is taken.

   The root nearer to the estimate is taken everywhere; where following it from the lowest frequency (follow.c) leads to another one, that
   is a case for the points' way, too.

   As in correct_kernel.h one source is compiled for each kind of processor and every product is fused alike: the same bytes everywhere.
   kind: one that this processor can (cpu.h). */
#ifndef TIPPLANE_RF_REFLECTS_H
#define TIPPLANE_RF_REFLECTS_H
#include "rf/calibrate/reflects/lrrm.h"
#include "rf/numbers/cpu.h"

/* n each, the caller's: the root not taken. */
struct other_root {
        double *re, *im;
};
/* Which standard of "lrm" is what. */
struct lrm_roles {
        size_t thru, match, reflect_n, reflect[RF_STANDARD_MAX];
};

/* Terms; condition, reflect_re … reflect_angle_deg of the diagnosis; k (frame.h) of each frequency; how the reflect was followed. */
bool reflects_lrm(enum cpu_kind kind, const struct problem *p, const struct lrm_roles *roles, double complex estimate,
                  struct other_root scratch, struct terms *out, struct diagnosis *d, double complex *ret_k, struct followed *ret);
/* First half: the open as a function of the match, and condition. */
bool reflects_lrrm(enum cpu_kind kind, const struct problem *p, const struct lrrm_roles *roles, struct other_root scratch,
                   const struct lrrm_columns *ret_columns, struct diagnosis *d, struct followed *ret);
/* Second half, with the match known: terms; reflect_re … reflect_angle_deg; what contradicts the open (n, finite). */
bool reflects_lrrm_terms(enum cpu_kind kind, const struct problem *p, const struct lrrm_roles *roles, const struct lrrm_columns *columns,
                         struct lrrm_match match, struct terms *out, struct diagnosis *d, double *ret_residual);

#endif
