/* levenberg.h: nonlinear least squares by damped Gauss-Newton steps (Levenberg, Quart. Appl. Math. 2 (1944) 164; Marquardt, J. SIAM 11
   (1963) 431).  Jacobian by central differences, rows taken block by block into a triangle, so that the condition is not squared and
   nothing is allocated. */
#ifndef TIPPLANE_RF_LEVENBERG_H
#define TIPPLANE_RF_LEVENBERG_H
#include <stdbool.h>
#include <stddef.h>

#define LEVENBERG_MAX 12 /* unknowns */

/* Residuals of items first … first + count - 1 at each of x_n points x[x_n][n]: ret[x_n][count][rows].  Several at once, because what
   depends on the item alone, or on x alone, need be reckoned only once.  count * rows is at most LEVENBERG_BLOCK, x_n at most 1 + 2 n.  NaN
   or Inf refuses the step. */
#define LEVENBERG_BLOCK 128
typedef void levenberg_residual(const void *context, size_t first, size_t count, size_t x_n, const double *x, double *ret);
struct levenberg {
        size_t n, items, rows;
        levenberg_residual *residual;
        const void *context;
        unsigned rounds_max; /* 0: 60 */
        double tolerance;    /* ends when a step lessens the sum of squares by less than this share; 0: 1e-15 */
};
struct levenberg_result {
        double rms;                                       /* of all residuals */
        double condition;                                 /* |R|_F |R^{-1}|_F, columns as they are */
        double covariance[LEVENBERG_MAX * LEVENBERG_MAX]; /* (J^T J)^{-1}; Inf where undetermined */
        unsigned rounds;
};
/* x: start in, solution out.  false: the start itself gives NaN. */
bool levenberg_fit(const struct levenberg *p, double *x, struct levenberg_result *ret);

#endif
