/* reflect_size.h: how large a reflect was solved that only its alikeness at both ports and its sign are known of.  An open or a short returns no
   more than it gets, so a size above 1 says that what the method does believe is wrong: the match of "lrm", loss or lengths of lines, two ports
   whose reflects differ.  Pure, any thread. */
#ifndef TIPPLANE_RF_REFLECT_SIZE_H
#define TIPPLANE_RF_REFLECT_SIZE_H
#include "rf/calibrate/calibration.h"

/* |Gamma| at the reflect itself: what lies between it and the middle of the first line is taken off by the lines' own loss.  NaN where the
   method solves none, or nothing can be said of it: lines that are weak there, or so lossy that waves in their impedance carry no power. */
double rf_reflect_size(const struct problem *, const struct diagnosis *, size_t i);
/* One sentence if at a tenth of the frequencies, where it is known, the size exceeds 1 by more than 2 %. */
void rf_reflect_size_warn(const struct problem *, struct diagnosis *);

#endif
