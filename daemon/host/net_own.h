/* net_own.h: what net.c (connections) and listen.c (listeners) share.  Not for other rooms. */
#ifndef TIPPLANE_HOST_NET_OWN_H
#define TIPPLANE_HOST_NET_OWN_H
#include "base/world.h"
#include "host/address.h"
#include <stdatomic.h>

struct conn {
        int fd;
        atomic_bool is_cancelled;
        bool is_local;
        char address[120]; /* for sentences */
};
/* Takes `fd` only on success. */
struct conn *conn_new(int fd, bool is_local, const char *address);

enum code listener_open(const struct world *, const char *address, struct listener **ret, struct tp_error *);
enum code listener_accept(const struct world *, struct listener *, int64_t deadline_ns, struct conn **ret, struct tp_error *);
void listener_close(const struct world *, struct listener *);

#endif
