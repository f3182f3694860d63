/* scatter.h: how far a sweep scatters about a smooth curve, by itself: for who has a file and nobody who states how well it is known.
   Pure, any thread. */
#ifndef TIPPLANE_RF_SCATTER_H
#define TIPPLANE_RF_SCATTER_H
#include "base/arena.h"
#include "rf/network/causes.h"

/* Standard deviation per component of one point, from third differences (which leave little of a smooth curve) by their median over 17
   neighbours, the largest of all entries: u[n].  Coarse points of something that turns fast look like noise: u is then too large.  Fewer than
   8 points: 0. */
void rf_noise_of(const struct net2 *net, double *u);
/* The same of one entry (0 … 3), and only where it is noise and no curve that turns: 0 elsewhere. */
void rf_scatter_of(const struct net2 *net, int e, double *u);

/* Its parts: third differences `from` … from + width - 1 around point i of n; their noise, and whether they look like noise. */
#define RF_SCATTER_WINDOW 17
size_t rf_scatter_window(size_t n, size_t i, size_t *ret_from);
double rf_scatter_in(const struct net2 *net, int e, size_t from, size_t width);
bool rf_scatter_is_noise(const struct net2 *net, int e, size_t from, size_t width);

/* No corrected S is known better than u = sqrt(3e-6^2 + (1e-5 |S|)^2) per component: a dynamic range of 110 dB between two probes, and a
   trace that repeats to 0.0001 dB.  Common practice (the best that analyzers and probes of today reach), no source. */
#define RF_BEST_FLOOR 3e-6
#define RF_BEST_TRACE 1e-5
/* What S of a corrected file are at least unknown by where nobody states it: the larger of its own scatter and of the best there is, noise
   of each entry by itself.  Everything from `arena`.  Good for refusing a number, never for a half width: what moves all points together
   is not in it. */
enum code rf_unstated_causes(const struct net2 *net, struct arena *arena, struct net2_causes *ret, struct tp_error *err);

#endif
