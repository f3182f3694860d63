/* deembed_own.h: what the files of de-embedding share.  Not for other rooms. */
#ifndef TIPPLANE_RF_DEEMBED_OWN_H
#define TIPPLANE_RF_DEEMBED_OWN_H
#include "rf/deembed/deembed.h"

/* (Y^-1 - Z)^-1 without Y^-1. */
struct m2 deembed_peel(struct m2 y, struct m2 z);
/* Pads to ground, coupling, and the leads as an impedance matrix. */
void deembed_three_step_parts(const struct m2 s[RF_DUMMY_COUNT], double z_ref, double complex *g1, double complex *g2, double complex *g3,
                              struct m2 *ret_lead);
/* Thru and L-2L: what goes to ground at each port and lies in series behind it, both ports (deembed_halves.c); false: method has none. */
struct half_parts {
        double complex y[2], z[2];
};
bool deembed_parts(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], double z_ref, struct half_parts *ret);
struct m2 deembed_halves_y(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], double z_ref);
struct m2 deembed_two_x_thru(const struct m2 s[RF_DUMMY_COUNT]);

/* deembed_columns.c: "open" and "open_short" of whole networks; false: not one of these, or something is singular, and out is as it was
   where it is the device itself. */
bool deembed_columns(enum deembed_method method, const struct net2 *measured, const struct net2 *open, const struct net2 *shorted,
                     struct net2 *out);

#endif
