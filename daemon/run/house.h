/* house.h: tipplaned without its HTTP door: store, link and runner on one loop.  Both the program and the simulated nights start it here.
 */
#ifndef TIPPLANE_RUN_HOUSE_H
#define TIPPLANE_RUN_HOUSE_H
#include "base/log.h"
#include "run/command.h"
#include "store/store.h"

struct house;
struct house_setup {
        const char *data_dir;        /* catalogue, index, runs */
        const char *station_address; /* "unix:/…" */
        const char *station_name, *build;
        const struct log *log;
};
/* Opens the rooms in order and starts the loop task.  NULL: err says which room would not open.  The world outlives the house. */
struct house *house_start(const struct world *, const struct house_setup *, struct tp_error *);
struct store *house_store(struct house *);
struct inbox *house_inbox(struct house *); /* commands go here */
struct snapshot_slot *house_slot(struct house *);
const struct store_report *house_report(struct house *);
/* The loop turns, the oldest durable write is young, the queue is short, the run is not stuck: what renews the lease, feeds the service
   manager's watchdog and answers /healthz.  Any task. */
bool house_healthy(struct house *);
/* Parks: separated, bias off, read back.  `park_ns`: how long to wait for the proof.  Reads go on meanwhile. */
void house_park(struct house *, int64_t park_ns);
/* Gives the lease back and closes in mirror order; nobody uses the store any more.  NULL is fine. */
void house_close(struct house *);
/* Ends as a killed process would: nothing is parked, nothing is given back.  For nights: the world has already cut every effect. */
void house_abandon(struct house *);

#endif
