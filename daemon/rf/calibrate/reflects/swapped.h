/* swapped.h: for "lrm" and "lrrm": were open and short told as each other?  Not for other rooms. */
#ifndef TIPPLANE_RF_SWAPPED_H
#define TIPPLANE_RF_SWAPPED_H
#include "rf/calibrate/solve.h"

/* Leaves a sentence when the short (index of a standard) comes out as none, or when the open, solved with open_f, fits its definition worse
   than the short would.  open_ideal NULL: nobody told. */
void reflects_say_swapped(const struct problem *p, size_t shorted, const struct net2 *open_ideal, double open_f, const struct terms *out,
                          struct diagnosis *d);

#endif
