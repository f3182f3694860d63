/* insert.h: a network with further frequencies put in by interpolation, so that what is computed along a sweep (turns of a line, group
   delay) can be asked for between its points too. */
#ifndef TIPPLANE_RF_INSERT_H
#define TIPPLANE_RF_INSERT_H
#include "base/arena.h"
#include "rf/network/network.h"

/* *ret: all points of net and the n asked ones, rising, in the arena; ret_at[k]: index of hz[k] in it.  A frequency of the axis itself (to
   1e-9) stays what it was; the others by rf_interpolate() (extract.h).  hz in any order.
   CODE_UNRESOLVABLE: outside the sweep; CODE_BAD_INPUT: not above 0, no one real reference. */
enum code rf_net2_insert(const struct net2 *net, const double *hz, size_t n, struct arena *arena, struct net2 *ret, size_t *ret_at,
                         struct tp_error *err);

#endif
