/* squares.h: least squares whose rows arrive in blocks, by Householder reflections.  Pure; memory is the caller's. */
#ifndef TIPPLANE_RF_SQUARES_H
#define TIPPLANE_RF_SQUARES_H
#include <stddef.h>

#define SQUARES_MAX 48                   /* unknowns */
#define SQUARES_BLOCK 64                 /* complex rows taken at once */
#define SQUARES_ROWS (2 * SQUARES_BLOCK) /* their real parts, then their imaginary parts; short blocks end in zeros */

/* R (n x n, upper triangle, row stride n) takes `rows` more rows: column j stands at block + j*stride, stride and rows multiples of 8; the
   block is used up.  With k more columns at block + (n + j)*stride and their upper parts top (n x k, row stride k), these are rotated
   along: what is left in the block has no part in the span of the first n. */
void squares_absorb(size_t n, double *r, size_t k, double *top, double *block, size_t stride, size_t rows);
/* min |R x - y| for k right sides (n x k): columns scaled to one, reflections with column exchange; what is below `tolerance` of the
   largest pivot gets x = 0.  R, y are destroyed.  x: n x k, row stride k.  Returns the rank. */
size_t squares_solve(size_t n, double *r, size_t k, double *y, double *x, double tolerance);

#endif
