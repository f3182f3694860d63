/* quantity_own.h: what the files of quantities share.  Not for other rooms.
   A quantity is written in Y (or in S); its gradient there comes back in g, with dq = Re( sum g dY ). */
#ifndef TIPPLANE_RF_QUANTITY_OWN_H
#define TIPPLANE_RF_QUANTITY_OWN_H
#include "rf/extract/quantity.h"

/* Real and imaginary part of an analytic z with derivative dz, times k. */
static inline double take_re(double complex z, const double complex dz[4], double k, double complex g[4])
{
        for (int e = 0; e < 4; e++)
                g[e] = k * dz[e];
        return k * creal(z);
}
static inline double take_im(double complex z, const double complex dz[4], double k, double complex g[4])
{
        for (int e = 0; e < 4; e++)
                g[e] = k * CMPLX(0, -1) * dz[e];
        return k * cimag(z);
}
double quantity_gain_y(enum rf_quantity q, struct m2 y, bool b1_negative, double complex g[4]); /* h21, U, K, MSG, MAG */
double quantity_gain_s(enum rf_quantity q, struct m2 s, double complex g[4]);                   /* mu, mu', B1 and levels */
double quantity_fet(enum rf_quantity q, struct m2 y, double w, double complex g[4]);            /* intrinsic FET */
double quantity_hbt(enum rf_quantity q, struct m2 y, double w, double complex g[4]);            /* intrinsic HBT */
double quantity_line(enum rf_quantity q, struct m2 s, const struct rf_at *at, double complex g[4]);
double complex to_db20(double ratio, double complex g[4]); /* 20 log10, gradient in place; the value is real */

/* dq by Y to dq by S, for one real z_ref. */
void quantity_chain_y(const double complex g_y[4], struct m2 s, double z_ref, double complex ret[4]);
void quantity_chain_z(const double complex g_z[4], struct m2 s, double z_ref, double complex ret[4]);

#endif
