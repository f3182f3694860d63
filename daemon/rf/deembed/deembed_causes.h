/* deembed_causes.h: what is not known exactly of a device and its dummies, carried through the de-embedding cause by cause.  A cause that
   several of them share (one calibration) moves them together, by its id; the others move one each.  First order.  Pure, any thread. */
#ifndef TIPPLANE_RF_DEEMBED_CAUSES_H
#define TIPPLANE_RF_DEEMBED_CAUSES_H
#include "rf/deembed/deembed.h"
#include "rf/network/causes.h"

/* causes[RF_DUMMY_DEVICE]: of the measured structure; NULL: nothing is said of that part, it counts as exact and is named in not_counted.
   All on the axis of `measured`.  Names that begin with "own: " get the part's: "open dummy: place, port 1".
   A 2x-thru whose half is gated out of it: what moves its reflection moves the half's as much, for it comes back early and passes the gate.
   Everything comes from `arena`.  CODE_UNRESOLVABLE: a cause has no effect that is a number; CODE_BAD_INPUT: more than CAUSES_MAX. */
enum code rf_deembed_causes(enum deembed_method method, const struct net2 *measured, const struct dummies *dummies,
                            const struct net2_causes *const causes[RF_DUMMY_COUNT], struct arena *arena, struct net2_causes *ret,
                            struct tp_error *err);

#endif
