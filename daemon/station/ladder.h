/* ladder.h: the way to proven safe, as a pure function: stop motion, bias to zero in the device's order, read back below 0.5 V, separate,
 * read back. */
#ifndef TIPPLANE_STATION_LADDER_H
#define TIPPLANE_STATION_LADDER_H
#include "station/interlock.h"
/* The next rung from what is known; OP_PROVEN or OP_LATCH end it.  Total: every state has an answer, and every path ends within 24 rungs.
 */
#define LADDER_RUNGS 24
/* A walk begins: what was known is only believed until it is read again, and the wait for an unknown bias starts now. */
void ladder_begin(struct hazard *, int64_t now_ns);
struct op ladder_next(const struct limits *, const struct hazard *, int64_t now_ns);
#endif
