/* robust.h: where values lie and how they scatter, whatever a few of them do.
   Quantile    linear between the sorted values at h = (n - 1) p, one definition everywhere; the median is that of 0.5.
   Scatter     1.4826 times the median absolute deviation, the standard deviation of a normal; where more than half of the values are equal,
               sqrt(pi/2) = 1.2533 times the mean absolute deviation.
   Source      Hyndman & Fan, Am. Stat. 50 (1996) 361, definition 7; Hampel, J. Am. Stat. Assoc. 69 (1974) 383.
   Pure, any thread. */
#ifndef TIPPLANE_RF_ROBUST_H
#define TIPPLANE_RF_ROBUST_H
#include <stdbool.h>
#include <stddef.h>

#define RF_OF_MEDIAN_DEVIATION 1.482602218505602 /* the s of a normal over its median absolute deviation: 1/normal_quantile(0.75) */
#define RF_OUTLIER_S 5                           /* scatters from the median */
#define RF_OUTLIER_LEAST 10                      /* of fewer values the scatter is too uncertain to call one of them an outlier */

/* Sorts x[n] in place, least first, NaN left out; returns how many remain at the front. */
size_t rf_sort(size_t n, double *x);
/* p 0 … 1 of n values as rf_sort() leaves them; NaN: n = 0 or another p. */
double rf_quantile(size_t n, const double *sorted, double p);

struct robust {
        size_t n;
        double median, low_quartile, high_quartile;
        double s; /* NaN: fewer than two values */
};
/* sorted: n values as rf_sort() leaves them, all finite; room: [n]. */
struct robust rf_robust(size_t n, const double *sorted, double *room);
/* More than RF_OUTLIER_S scatters away.  To be marked, never to be left out. */
bool rf_is_outlier(const struct robust *r, double x);

#endif
