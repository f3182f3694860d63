/* rf_draws.h: random numbers by a seed that the caller keeps, the same in each run and on each machine.  For tests of rf/trust. */
#ifndef TIPPLANE_TESTS_RF_DRAWS_H
#define TIPPLANE_TESTS_RF_DRAWS_H
#include <complex.h>
#undef I
#include <math.h>
#include <stdint.h>
#include "rf/numbers/m2.h"

/* [0, 1) */
static inline double draw(uint64_t *seed)
{
        *seed += 0x9e3779b97f4a7c15u; /* splitmix64 */
        uint64_t z = *seed;
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
        return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}
/* Real and imaginary part each of standard deviation 1. */
static inline double complex normal(uint64_t *seed)
{
        double r = sqrt(-2 * log(1 - draw(seed)));
        return r * cexp(CMPLX(0, RF_TWO_PI * draw(seed)));
}

#endif
