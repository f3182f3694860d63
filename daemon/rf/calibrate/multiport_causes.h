/* multiport_causes.h: what is not known exactly of two-ports of pairs, and of what ended the other ports, carried into the network that is joined
   of them, cause by cause.  A cause that several files share (one calibration) moves them together, by its id.  First order: joined twice
   more with every file moved to both sides.  Pure, any thread. */
#ifndef TIPPLANE_RF_MULTIPORT_CAUSES_H
#define TIPPLANE_RF_MULTIPORT_CAUSES_H
#include "base/arena.h"
#include "rf/calibrate/multiport.h"
#include "rf/network/netn_causes.h"

/* of_pair[pair_n], of_end (S11 of each): NULL: nothing is said of that file, it counts as exact; all on the pairs' axis.  Names that begin
   with "own: " get their file's: "pair 1,3: place, port 1", "end of port 2: noise, S11".  Everything comes from `arena`.
   CODE_UNRESOLVABLE: a cause has no effect that is a number; CODE_BAD_INPUT: more than CAUSES_MAX, and as rf_multiport_join() fails. */
enum code rf_multiport_join_causes(const struct port_pair *pairs, const struct net2_causes *const *of_pair, size_t pair_n,
                                   const struct terminations *ends, const struct net2_causes *const of_end[RF_PORTS_MAX], unsigned ports,
                                   struct arena *, struct netn_causes *ret, struct tp_error *err);

#endif
