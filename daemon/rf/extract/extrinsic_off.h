/* extrinsic_off.h: is a network plainly no transistor that is off?  An inductor, a resistor, a transistor that is on would give capacitances
   too; not for other rooms.  Pure. */
#ifndef TIPPLANE_RF_EXTRINSIC_OFF_H
#define TIPPLANE_RF_EXTRINSIC_OFF_H
#include "rf/network/network.h"

/* Sums over the window: what conducts beside what is capacitive. */
struct off_seen {
        double g[3], b[3], gm, signed_b12; /* port 1, port 2, between them; S */
        double first_hz;
        double complex first_y12;
};
void off_see(struct off_seen *, struct m2 y, double hz); /* each frequency of the window, from a zeroed struct on */
/* CODE_UNRESOLVABLE says what it is instead.  Leakage and lossy pads pass: only what outweighs the capacitances counts. */
enum code off_check(const struct off_seen *, struct tp_error *);

#endif
