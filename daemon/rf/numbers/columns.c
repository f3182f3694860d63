/* columns.c: the choice of processor for columns_loops.h (columns.h). */
#include "rf/numbers/columns.h"
#include "rf/numbers/cpu.h"
#include <stdint.h>

#define LOOPS "rf/numbers/columns_loops.h"
#include "rf/numbers/kinds.h"

bool column_is(size_t n, const double *x, double value)
{
        bool other = false;
        CPU_RUN(other, n, x, value, &other);
        return !other;
}

void column_fill(size_t n, double *x, double value) { CPU_RUN(fill, n, x, value); }

bool column_finite(size_t n, const double *x)
{
        bool finite;
        CPU_RUN(finite, n, x, &finite);
        return finite;
}
