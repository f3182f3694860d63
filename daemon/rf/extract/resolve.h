/* resolve.h: when a number is no number any more.  The one rule of Tipplane: a value whose 95 % half width is more than a stated share of
   it is refused, with a sentence, never printed; and where along frequency it can be had, and best.  Pure. */
#ifndef TIPPLANE_RF_RESOLVE_H
#define TIPPLANE_RF_RESOLVE_H
#include <stdbool.h>
#include <stddef.h>

#define RF_SHARE_MAX 0.3 /* when nobody says otherwise */

/* What the uncertainty is measured against. */
enum rf_share {
        RF_SHARE_VALUE, /* |value| */
        RF_SHARE_ONE,   /* the larger of |value| and 1: K, mu, which pass through zero and matter around 1 */
        RF_SHARE_DB20,  /* the ratio behind 20 log10 */
        RF_SHARE_DB10   /* the ratio behind 10 log10 */
};
/* Half width as a share; infinite when value or half width is not finite. */
double rf_share_of(enum rf_share of, double value, double u95);
static inline bool rf_resolvable(double share, double share_max) { return share <= (share_max > 0 ? share_max : RF_SHARE_MAX); }

struct rf_range {
        bool any;
        double lo_hz, hi_hz; /* the widest stretch (in log f) whose every point is resolvable */
        double best_hz, best_share;
};
/* share[i] at hz[i], rising; NaN counts as not resolvable.  best_* is over all points, resolvable or not; NaN when no share is finite. */
struct rf_range rf_resolve_range(size_t n, const double *hz, const double *share, double share_max);
/* "resolved from 0.2 GHz to 110 GHz (u95 at most 30 %), best at 20 GHz: 0.4 %", or that it is nowhere; whole: all points are. */
void rf_range_say(const struct rf_range *range, double share_max, size_t to_bytes, char *to);

#endif
