/* copy_loops.h: the control of bench_rf, compiled for each kind of processor (rf/numbers/vector.h).  No include guard: that is the point. */
#include "rf/numbers/vector.h"

/* Ordinary loads and stores as STREAM's copy, so that what is written is fetched first, as in any kernel. */
static TARGET __attribute__((optimize("O3", "no-tree-loop-distribute-patterns"))) void N(stream)(double *restrict to,
                                                                                                 const double *restrict from, size_t n)
{
        for (size_t i = 0; i < n; i++)
                to[i] = from[i];
}

#include "rf/numbers/vector_end.h"
