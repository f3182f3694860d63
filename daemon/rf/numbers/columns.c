/* columns.c: the choice of processor for columns_loops.h (columns.h). */
#include "rf/numbers/columns.h"
#include "rf/numbers/cpu.h"
#include <stdint.h>

#define KIND _any
#define TARGET
#include "rf/numbers/columns_loops.h"
#if CPU_WIDE
#define KIND _wide
#define TARGET TARGET_256
#include "rf/numbers/columns_loops.h"
#define KIND _widest
#define TARGET TARGET_512
#include "rf/numbers/columns_loops.h"
#endif

bool column_is(size_t n, const double *x, double value)
{
        bool other = false;
        CPU_RUN(other, n, x, value, &other);
        return !other;
}

void column_fill(size_t n, double *x, double value) { CPU_RUN(fill, n, x, value); }
