/* finite.h: is a whole column of numbers finite?  Pure. */
#ifndef TIPPLANE_RF_FINITE_H
#define TIPPLANE_RF_FINITE_H
#include <stdbool.h>
#include <stddef.h>

bool column_finite(size_t n, const double *x);

#endif
