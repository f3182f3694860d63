/* capability.h: how well what a process makes fits between its limits.
   Names       Pp and Ppk with the scatter of all values, as here; with the scatter within subgroups the same numbers are called Cp and Cpk.
               One wafer has no subgroups.
   Source      Pp = (high - low)/(6 s), Ppk = min(high - mean, mean - low)/(3 s); interval: Bissell, Appl. Stat. 39 (1990) 331, for normal
               values.
   Pure, any thread. */
#ifndef TIPPLANE_RF_CAPABILITY_H
#define TIPPLANE_RF_CAPABILITY_H
#include <stddef.h>

#define RF_CAPABILITY_LEAST 10 /* values below which Ppk should not be shown: its interval would span a factor of three */

struct capability {
        size_t n;                 /* finite values */
        double mean, s;           /* s with n - 1, as measured; NaN: too few values */
        double s_made;            /* less what measuring adds; 0: measuring explains all of s */
        double pp;                /* NaN: not both limits, or no s_made */
        double ppk;               /* NaN: no limit, or no s_made; below 0: the mean is outside */
        double ppk_low, ppk_high; /* 95 % */
};
/* x[n], NaN left out.  low, high in its unit, NaN: no such limit.  u_own >= 0: standard uncertainty that each value has for itself (noise,
   contact), not what all share (calibration): s^2 holds its square, s_made^2 does not. */
struct capability rf_capability(size_t n, const double *x, double low, double high, double u_own);

#endif
