/* columns_loops.h: the body of columns.c, included once for each kind of processor (vector.h).  No include guard: that is the point. */
#include "rf/numbers/vector.h"

/* Without an early way out, so that it is vectorised. */
HOT void N(other)(size_t n, const double *x, double value, bool *ret)
{
        uint64_t other = 0;
        for (size_t i = 0; i < n; i++)
                other |= x[i] == value ? 0 : UINT64_MAX;
        *ret = other != 0;
}

/* Without an early way out as well. */
HOT void N(finite)(size_t n, const double *x, bool *ret)
{
        uint64_t bad = 0;
        for (size_t i = 0; i < n; i++)
                bad |= x[i] - x[i] == 0 ? 0 : UINT64_MAX;
        *ret = bad == 0;
}

HOT void N(fill)(size_t n, double *x, double value)
{
        for (size_t i = 0; i < n; i++)
                x[i] = value;
}

#include "rf/numbers/vector_end.h"
