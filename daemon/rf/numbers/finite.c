/* finite.c: one loop for each kind of processor (finite.h). */
#include "rf/numbers/finite.h"
#include "rf/numbers/cpu.h"
#include <stdint.h>

#define HOT static __attribute__((optimize("O3")))

/* Without an early way out, so that it is vectorised. */
#define BODY                                                      \
        {                                                         \
                uint64_t bad = 0;                                 \
                for (size_t i = 0; i < n; i++)                    \
                        bad |= x[i] - x[i] == 0 ? 0 : UINT64_MAX; \
                *ret = bad == 0;                                  \
        }
HOT void finite_any(size_t n, const double *x, bool *ret) BODY
#if CPU_WIDE
        HOT TARGET_256 void finite_wide(size_t n, const double *x, bool *ret) BODY HOT TARGET_512
        void finite_widest(size_t n, const double *x, bool *ret) BODY
#endif

        bool column_finite(size_t n, const double *x)
{
        bool finite;
        CPU_RUN(finite, n, x, &finite);
        return finite;
}
