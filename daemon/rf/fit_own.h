/* fit_own.h: what vector_fit.c and fit_squares.c share: least squares whose rows arrive in blocks. */
#ifndef TIPPLANE_RF_FIT_OWN_H
#define TIPPLANE_RF_FIT_OWN_H
#include "rf/vector_fit.h"

#define FIT_BLOCK 64                         /* frequencies taken at once */
#define FIT_ROWS (2 * FIT_BLOCK)             /* their real parts, then their imaginary parts; short blocks end in zeros */
#define FIT_OWN_MAX (RF_FIT_ORDER_MAX + 2)   /* basis, 1, s */
#define FIT_SIGMA_MAX (RF_FIT_ORDER_MAX + 1) /* basis, 1 */

/* R (n x n, upper triangle, row stride n) takes `rows` more rows: column j stands at block + j*stride, stride and rows multiples of 8; the
   block is used up.  With k more columns at block + (n + j)*stride and their upper parts top (n x k, row stride k), these are rotated
   along: what is left in the block has no part in the span of the first n. */
void fit_absorb(size_t n, double *r, size_t k, double *top, double *block, size_t stride, size_t rows);
/* min |R x - y| for k right sides (n x k): columns scaled to one, reflections with column exchange; what is below `tolerance` of the
   largest pivot gets x = 0.  R, y are destroyed.  x: n x k, row stride k.  Returns the rank. */
size_t fit_solve(size_t n, double *r, size_t k, double *y, double *x, double tolerance);

/* Normal equations of one relocation over all frequencies (fit_gram.c).  memory: fit_gram_doubles(), 16-byte aligned. */
struct fit_gram {
        size_t order, columns, elements, pairs, groups;
        bool shared, constant, proportional;
        double *sums;
        double energy[(RF_FIT_ORDER_MAX + 2) * (RF_FIT_ORDER_MAX + 3) / 2]; /* of all elements, when each has its own weight */
        double signal2;
};
size_t fit_gram_doubles(size_t order, size_t elements);
void fit_gram_begin(struct fit_gram *g, size_t order, bool constant, bool proportional, size_t elements, bool shared, double *memory);
void fit_gram_add(struct fit_gram *g, size_t half, const double *psi, const double *const *weight, const double *const *re,
                  const double *const *im);
/* sigma: the upper triangle that the reflections would have left (order + 1 squared), but for signs; *ret_left2: sum |w (model - H)|^2 of
   the poles as they are.  false: too near to singular. */
bool fit_gram_end(struct fit_gram *g, double *sigma, double *ret_left2);

#endif
