/* oddities.h: what is odd about a corrected sweep, in a few sentences, and nothing where nothing is: for who has a file and no station.
   The tests are plausible.h's, orientation.h's and the noise of the sweep itself; here their limits are set so that a good file is not
   accused: noise is taken from the sweep, an active device is not judged by what it is, a grid too coarse says nothing.  None looks at a
   parameter, nothing is repaired.  Pure, any thread. */
#ifndef TIPPLANE_RF_ODDITIES_H
#define TIPPLANE_RF_ODDITIES_H
#include "rf/trust/scatter.h"

#define RF_ODDITIES_MAX 3
struct rf_oddities {
        size_t n;
        char sentence[RF_ODDITIES_MAX][400]; /* the gravest first */
        int of_points;                       /* which of them is of points out of line; -1: none */
};
size_t rf_oddities_workspace(size_t n);
/* net: corrected S in any reference; a one-port is one with the other entries 0.  Looked for, in this order: no sweep at all; the sign of
   time; gain from port 2 to port 1; a part that stood still; points out of line (outliers.h); gain of a passive device (real references only); S21 against S12 of a reciprocal one; steps where
   bands meet; responses before their cause; noise above 0.01 a point.  workspace: rf_oddities_workspace(n), 64-byte aligned.
   CODE_BAD_INPUT: S that is no number. */
enum code rf_oddities(const struct net2 *net, void *workspace_64, struct rf_oddities *ret, struct tp_error *err);

#endif
