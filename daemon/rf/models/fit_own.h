/* fit_own.h: what the files of vector fitting share.  Not for other rooms. */
#ifndef TIPPLANE_RF_FIT_OWN_H
#define TIPPLANE_RF_FIT_OWN_H
#include "rf/numbers/squares.h"
#include "rf/models/vector_fit.h"

#define FIT_BLOCK SQUARES_BLOCK              /* frequencies taken at once */
#define FIT_ROWS SQUARES_ROWS                /* their real parts, then their imaginary parts; short blocks end in zeros */
#define FIT_OWN_MAX (RF_FIT_ORDER_MAX + 2)   /* basis, 1, s */
#define FIT_SIGMA_MAX (RF_FIT_ORDER_MAX + 1) /* basis, 1 */
_Static_assert(FIT_OWN_MAX <= SQUARES_MAX, "squares.c holds so many unknowns");

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
