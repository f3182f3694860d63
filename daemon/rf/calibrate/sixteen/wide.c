/* wide.c: loops.h for processors with 256-bit vectors and fused products. */
#include "rf/numbers/cpu.h"
#if CPU_WIDE
#pragma GCC optimize("O3", "no-math-errno", "no-trapping-math")
#pragma GCC target("avx2,fma")
#define LANES 4
#define SIXTEEN_RUN sixteen_run_wide
#include "rf/calibrate/sixteen/loops.h"
#endif
