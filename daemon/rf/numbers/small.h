/* small.h: dense complex linear algebra of a handful of unknowns, point by point.
   Why not LAPACK: at sizes of 3 to 15 the call costs more than the arithmetic, and its kernels, hence the last digits, change with the
   processor; a calibration solved twice must give the same bytes.  Matrices are row-major. Pure. */
#ifndef TIPPLANE_RF_SMALL_H
#define TIPPLANE_RF_SMALL_H
#include "rf/numbers/m2.h"

#define SMALL_MAX 16
/* x = A^{-1} b by elimination with row pivoting; n <= SMALL_MAX; a and b are kept.  false: singular (a zero pivot or NaN). */
bool small_solve(size_t n, const double complex *a, const double complex *b, double complex *x);
/* Least squares by Householder reflections: min |A x - b|, m >= n rows.  *ret_condition (may be NULL): |R|_F |R^{-1}|_F, not smaller than
   the ratio of the singular values and at most n times larger.  false: rank deficient. */
bool small_least_squares(size_t m, size_t n, const double complex *a, const double complex *b, double complex *x, double *ret_condition);
/* Eigenvalues and right eigenvectors (not normalised) of a 2x2 matrix, closed form; vector k belongs to lambda[k]. */
void small_eigen2(struct m2 a, double complex lambda[2], double complex vector[2][2]);

#endif
