/* columns.h: a whole column of numbers: is it one value, is all of it finite; filled with one value.  Pure, any thread. */
#ifndef TIPPLANE_RF_COLUMNS_H
#define TIPPLANE_RF_COLUMNS_H
#include <stdbool.h>
#include <stddef.h>

/* true when all n numbers equal value; never for NaN. */
bool column_is(size_t n, const double *x, double value);
bool column_finite(size_t n, const double *x); /* all of it */
void column_fill(size_t n, double *x, double value);

#endif
