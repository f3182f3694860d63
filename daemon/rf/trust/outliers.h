/* outliers.h: single points that do not belong to their sweep, and sweeps that are none: what a file shows by itself, raw or corrected.
   Said or refused, never repaired.  Pure, any thread. */
#ifndef TIPPLANE_RF_OUTLIERS_H
#define TIPPLANE_RF_OUTLIERS_H
#include "rf/network/netn.h"

#define RF_OUTLIERS_MAX 64
struct rf_outlier {
        int entry;    /* row by row: of two ports 0 … 3 are S11 S12 S21 S22 */
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
   what the two neighbours on each side say, and where those fit among themselves without it.  At the ends, and where the spacing of the
   points changes, four neighbours on one side say it, and what is near must not scatter as much.  A resonance narrower than a point looks
   the same.  Of fewer than 21 points nothing is said. */
void rf_outliers_of(const struct net2 *net, struct rf_outliers *ret);
void rf_outliers_of_ports(const struct netn *net, struct rf_outliers *ret);

/* Nothing was read, or one reading was given for all frequencies: false, and why (all entries 0; all entries the same, 8 points and more). */
bool rf_is_a_sweep(const struct net2 *net, char *ret_why, size_t why_bytes);
bool rf_is_a_sweep_ports(const struct netn *net, char *ret_why, size_t why_bytes);
/* A part of the sweep, less than half, was not read: all entries 0 there; or one entry the same to the last digit at four points and more,
   where no two neighbours are alike within ten points on each side (a file of few digits is not accused).  true, and why. */
bool rf_stands_still(const struct netn *net, char *ret_why, size_t why_bytes);

#define RF_RAW_MAX 1e3
/* Numbers that no analyzer forms.  ports^2 columns of n values.  CODE_BAD_INPUT names entry, frequency and value: 9.91e37, which is "not a
   number" (SCPI-1999, volume 1, 7.2.1.5; 9.9e37 infinity), and, of raw ratios, more than RF_RAW_MAX in size. */
enum code rf_values_check(const struct axis *axis, unsigned ports, double *const *re, double *const *im, bool raw, struct tp_error *err);

#endif
