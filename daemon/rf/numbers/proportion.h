/* proportion.h: between which shares the truth lies when k of n were good.
   Meaning     of n independent trials.  The dies of one wafer are not independent: there the interval is as narrow as it can be, never too
               wide, and says something of this wafer alone.
   Source      Newcombe, Stat. Med. 17 (1998) 857: his methods 3 (Wilson's score) and 5 (Clopper-Pearson, never less sure than it says).
   Pure, any thread. */
#ifndef TIPPLANE_RF_PROPORTION_H
#define TIPPLANE_RF_PROPORTION_H
#include <stddef.h>

struct share_interval {
        double share, low, high; /* 0 … 1 */
};
/* cover: with what probability it holds the truth, 0.95.  All three NaN: n = 0, k > n, or cover not between 0 and 1. */
struct share_interval rf_wilson(size_t k, size_t n, double cover);
struct share_interval rf_clopper_pearson(size_t k, size_t n, double cover);

#endif
