/* crowd.h: connections that hold a place without asking for anything.  A server's own time-out counts from the last byte, so a peer that
   sends one byte now and then would live for ever; here a connection has CROWD_NS from its beginning, or from its last reply, until its
   next request's header is whole. Any task; the lock is its own. */
#ifndef TIPPLANE_API_CROWD_H
#define TIPPLANE_API_CROWD_H
#include "base/world.h"

#define CROWD_NS (INT64_C(40) * NS_PER_S) /* longer than the time a silent connection is kept, so that those end politely */
struct crowd;
struct guest;
struct crowd *crowd_new(const struct world *); /* NULL: memory */
void crowd_free(struct crowd *);               /* after the last guest has left; NULL is fine */
/* `socket` stays open until guest_leave.  NULL: memory; the others take NULL. */
struct guest *guest_come(struct crowd *, int socket);
void guest_served(struct guest *, bool served); /* true: its header is whole; false: it has its reply */
void guest_leave(struct guest *);
/* Shuts the sockets of those that are late at `now_ns`; returns how many.  Their server notices and lets them leave. */
unsigned crowd_sweep(struct crowd *, int64_t now_ns);

#endif
