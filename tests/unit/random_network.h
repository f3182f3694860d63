/* random_network.h: random numbers and networks that are the same in each run, and how far two matrices lie apart.  For tests of rf/. */
#ifndef TIPPLANE_TESTS_RANDOM_NETWORK_H
#define TIPPLANE_TESTS_RANDOM_NETWORK_H
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "base/arena.h"
#include "rf/correct/correct.h"
#include "rf/calibrate/multiport.h"

static uint64_t random_state;
static inline double draw(double lo, double hi)
{
        random_state = random_state * 6364136223846793005u + 1442695040888963407u;
        return lo + (hi - lo) * (double)(random_state >> 11) * 0x1p-53;
}
static inline double complex draw_disc(double r) { return CMPLX(draw(-r, r), draw(-r, r)) * 0.7; }
static inline void draw_network(unsigned n, double size, double complex *s)
{
        for (unsigned k = 0; k < n * n; k++)
                s[k] = draw_disc(size);
}
static inline double distance(unsigned n, const double complex *a, const double complex *b)
{
        double worst = 0;
        for (unsigned k = 0; k < n * n; k++) {
                double d = cabs(a[k] - b[k]);
                worst = d <= worst ? worst : d; /* NaN wins */
        }
        return worst;
}
static inline void close_to(const char *what, unsigned n, const double complex *a, const double complex *b, double tol)
{
        double d = distance(n, a, b);
        if (!(d <= tol))
                fail_msg("%s, %u ports: %.3g apart, allowed %.3g", what, n, d, tol);
}
static inline double complex draw_z(bool complex_z) { return CMPLX(draw(15, 140), complex_z ? draw(-60, 60) : 0); }

#endif
