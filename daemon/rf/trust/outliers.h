/* outliers.h: single points that do not belong to their sweep, and sweeps that are none: what a file shows by itself, raw or corrected.
   Said or refused, never repaired.  Pure, any thread. */
#ifndef TIPPLANE_RF_OUTLIERS_H
#define TIPPLANE_RF_OUTLIERS_H
#include "rf/network/network.h"

#define RF_OUTLIERS_MAX 64
struct rf_outlier {
        int entry;    /* 0 … 3: S11 S12 S21 S22 */
        size_t point; /* index on the axis */
        double size;  /* |S - what its neighbours say| */
};
struct rf_outliers {
        size_t n,
                frequency_n; /* all that were found, and at how many frequencies; the first RF_OUTLIERS_MAX are kept, rising in frequency */
        struct rf_outlier of[RF_OUTLIERS_MAX];
        struct rf_outlier worst; /* largest size */
        char sentence[400];      /* "" when there is none */
};
/* A point is an outlier where it lies more than 8 times the median misfit around it, and more than a hundredth of what is there, away from
   what the two neighbours on each side say, and where those fit among themselves without it.  A resonance narrower than a point looks the
   same.  The first and the last ten points, and where the spacing of the points changes, are not judged, for what
   bends there has neighbours on one side only. */
void rf_outliers_of(const struct net2 *net, struct rf_outliers *ret);

/* Nothing was read, or one reading was given for all frequencies: false, and why (all entries 0; all entries the same, 8 points and more). */
bool rf_is_a_sweep(const struct net2 *net, char *ret_why, size_t why_bytes);

#define RF_RAW_MAX 1e3
/* Numbers that no analyzer forms.  ports^2 columns of n values.  CODE_BAD_INPUT names entry, frequency and value: 9.91e37, which is "not a
   number" (SCPI-1999, volume 1, 7.2.1.5; 9.9e37 infinity), and, of raw ratios, more than RF_RAW_MAX in size. */
enum code rf_values_check(const struct axis *axis, unsigned ports, double *const *re, double *const *im, bool raw, struct tp_error *err);

#endif
