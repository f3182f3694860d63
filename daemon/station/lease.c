/* lease.c: see lease.h. */
#include "station/lease.h"

enum lease_answer lease_ask(struct lease *l, uint32_t epoch, int64_t now_ns, int64_t length_ns)
{
        if (l->held)
                return LEASE_REFUSED_BUSY;
        if (epoch <= l->epoch)
                return LEASE_REFUSED_OLD;
        *l = (struct lease){.held = true, .epoch = epoch, .until_ns = now_ns + length_ns};
        return LEASE_GRANTED;
}

void lease_renew(struct lease *l, int64_t now_ns, int64_t length_ns)
{
        if (l->held && !lease_lapsed(l, now_ns)) /* what has lapsed stays lapsed */
                l->until_ns = now_ns + length_ns;
}

bool lease_lapsed(const struct lease *l, int64_t now_ns) { return l->held && now_ns >= l->until_ns; }
void lease_drop(struct lease *l) { l->held = false; }
