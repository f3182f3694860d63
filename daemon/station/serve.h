/* serve.h: the station itself: it listens, obeys one daemon, and walks the ladder to safety by itself when that daemon is gone.
   No static state: a night starts and stops it many times in one process.  Needs: base/, recipe/ (sweep plans), run/step.h, run/entry.h. */
#ifndef TIPPLANE_STATION_SERVE_H
#define TIPPLANE_STATION_SERVE_H
#include "base/log.h"
#include "station/config.h"
#include "station/protocol.h"

struct station;
/* Opens the driver, reads the log, walks the ladder once (what it does not know counts as in contact and biased), then listens.
   config, its strings and log must outlive the station; the caller's task. */
struct station *station_start(const struct world *, const struct station_config *, const char *socket_address, const struct log *,
                              struct tp_error *);
/* Walks the ladder unless proven safe, then stops every task, in mirror order.  NULL is fine. */
void station_stop(struct station *);
/* Any task. */
void station_state(struct station *, struct state_read *ret, bool *ret_proven_safe);

#endif
