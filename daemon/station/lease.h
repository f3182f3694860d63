/* lease.h: one daemon at a time, for 2.5 s at a time.  Pure.  The epoch only grows; a frame of an older one is refused for ever (fencing
   token: M. Burrows, OSDI 2006, "sequencers"). */
#ifndef TIPPLANE_STATION_LEASE_H
#define TIPPLANE_STATION_LEASE_H
#include <stdbool.h>
#include <stdint.h>

struct lease {
        bool held;
        uint32_t epoch;
        int64_t until_ns;
};
enum lease_answer { LEASE_REFUSED_OLD /* a greater epoch is wanted */, LEASE_REFUSED_BUSY /* somebody holds it */, LEASE_GRANTED };
enum lease_answer lease_ask(struct lease *, uint32_t epoch, int64_t now_ns, int64_t length_ns);
void lease_renew(struct lease *, int64_t now_ns, int64_t length_ns);
bool lease_lapsed(const struct lease *, int64_t now_ns); /* held, and its time is over */
void lease_drop(struct lease *);                         /* the epoch stays */

#endif
