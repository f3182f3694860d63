/* columns.h: one value for a whole column of numbers: asked, and given.  Pure, any thread. */
#ifndef TIPPLANE_RF_COLUMNS_H
#define TIPPLANE_RF_COLUMNS_H
#include <stdbool.h>
#include <stddef.h>

/* true when all n numbers equal value; never for NaN. */
bool column_is(size_t n, const double *x, double value);
void column_fill(size_t n, double *x, double value);

#endif
