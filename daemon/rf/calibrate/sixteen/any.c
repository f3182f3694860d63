/* any.c: loops.h for any processor. */
#pragma GCC optimize("O3", "no-math-errno", "no-trapping-math")
#define LANES 2
#define SIXTEEN_RUN sixteen_run_any
#include "rf/calibrate/sixteen/loops.h"
