/* widest.c: loops.h for processors with 512-bit vectors. */
#include "rf/numbers/cpu.h"
#if CPU_WIDE
#pragma GCC optimize("O3", "no-math-errno", "no-trapping-math")
#pragma GCC target("avx2,fma,avx512f,avx512vl,avx512dq,prefer-vector-width=512")
#define LANES 8
#define SIXTEEN_RUN sixteen_run_widest
#include "rf/calibrate/sixteen/loops.h"
#endif
