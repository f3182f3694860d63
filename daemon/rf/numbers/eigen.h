/* eigen.h: eigenvalues of a real matrix and of a small Hermitian one.
   Why not LAPACK: its kernels, hence the last digits, change with the processor, and it takes memory of its own; a model fitted twice must
   give the same bytes.  Pure, any thread. */
#ifndef TIPPLANE_RF_EIGEN_H
#define TIPPLANE_RF_EIGEN_H
#include "rf/numbers/m2.h"

/* Eigenvalues of the n x n matrix a (row-major, destroyed): re[n], im[n]; a pair stands side by side, im > 0 first.  Balanced, brought to
   Hessenberg form by reflections, then the shifted QR steps of Francis (Computer J. 4 (1961) 265).  false: NaN, Inf, or no convergence
   within 60 steps for one eigenvalue. */
bool rf_eigenvalues(size_t n, double *a, double *re, double *im);

#define RF_HERMITIAN_MAX 4
/* Eigenvalues (falling) and, in the columns of vector, orthonormal eigenvectors of the Hermitian n x n matrix a (row-major, kept),
   n <= RF_HERMITIAN_MAX, by Jacobi rotations.  NaN passes through. */
void rf_hermitian(size_t n, const double complex *a, double *value, double complex *vector);

#endif
