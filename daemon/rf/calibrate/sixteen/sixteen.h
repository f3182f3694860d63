/* sixteen.h: the parts of "sixteen_term" (solve_sixteen.c); not for other rooms.
     loops.h        one group of frequencies: load, solve, weigh, refine, store; compiled by any.c, wide.c, widest.c
     eliminate.h    the system, T2 and T1 eliminated, the rest reflected to a triangle
     triangle.h     what multiplies and solves with that triangle
     condition.h    its condition number
     lacks.c        what a set of standards lacks, in words
     sensitivity.c  d(terms)/d(readings, definitions) */
#ifndef TIPPLANE_RF_SIXTEEN_H
#define TIPPLANE_RF_SIXTEEN_H
#include "rf/calibrate/calibration.h"

#define SIXTEEN_CONDITION_LIMIT 1e3
#define SIXTEEN_CONDITION_REFUSE 1e5          /* noise of 1e-4 has then eaten everything */
#define SIXTEEN_LEAST 5                       /* 20 equations for 15 unknowns; four standards have 16, but never 15 independent ones */
enum { SIXTEEN_M_MAX = RF_STANDARD_MAX + 1 }; /* + 1: a standard that is tried in thought */

/* Columns of n frequencies in, columns out. */
struct sixteen_columns {
        size_t n, m; /* frequencies, standards */
        struct {
                double *const *raw_re, *const *raw_im, *const *s_re, *const *s_im; /* four columns each: read, defined */
                double w;                                                          /* 1/u up to a factor; 1 when not weighted */
                size_t place;                                                      /* in a row of residual */
        } standard[SIXTEEN_M_MAX]; /* the best known first: reflections onto a row of small weight would cost the others their last digits
                                    */
        bool weighted;
        const struct switch_terms *switch_terms; /* NULL: none */
        double *const *t_re, *const *t_im;       /* T1 T2 T3 T4, sixteen columns */
        double *condition, *consistency, *residual /* [n][m] */;
};
/* scratch: sixteen_scratch_bytes(m), 64-byte aligned.  A system that cannot be solved has a condition number above
   SIXTEEN_CONDITION_REFUSE or NaN.  All kinds of processor give the same bytes. */
size_t sixteen_scratch_bytes(size_t m);
void sixteen_run(const struct sixteen_columns *in, void *scratch);
struct sixteen_kind {
        const char *word;
        bool (*can)(void);
        void (*run)(const struct sixteen_columns *in, void *scratch);
};
extern const struct sixteen_kind sixteen_kinds[]; /* the widest last, then a row of NULL */

/* Everything that can be said before solving. */
enum code sixteen_check(const struct problem *p, struct tp_error *err);
/* The error of frequency i, whose condition number is too large: which standard to add, or that two readings are the same. */
enum code sixteen_refuse(const struct problem *p, size_t i, double condition, void *scratch, struct tp_error *err);

size_t sixteen_sensitivity_bytes(size_t m);
/* All points of cov; memory: sixteen_sensitivity_bytes(). */
void sixteen_sensitivities(const struct problem *p, const struct terms *solved, bool weighted, struct covariance *cov, void *memory);

#endif
