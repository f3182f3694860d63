/* direction.h: does a device amplify from port 2 to port 1?  Then ports, or S21 and S12, are exchanged.  Pure, any thread. */
#ifndef TIPPLANE_RF_DIRECTION_H
#define TIPPLANE_RF_DIRECTION_H
#include "rf/network/network.h"

/* Counted point by point; begin with zeros. */
struct rf_direction {
        size_t n, active_n; /* points; where the largest singular value of S is above 1.1 and six times the noise */
        size_t reverse_n;   /* of the active ones: where |S12| is half as large again as |S21| */
};
/* s: S in a real reference; u: noise, one standard deviation of a component. */
void rf_direction_add(struct rf_direction *d, struct m2 s, double u);
/* Active at a tenth of the points (five at least), and from port 2 to port 1 at nine of ten of those.  What is passive, turned off or
   reciprocal never is. */
bool rf_is_backwards(const struct rf_direction *d);
#define RF_BACKWARDS "amplifies from port 2 to 1: ports or S21/S12 exchanged"

#endif
