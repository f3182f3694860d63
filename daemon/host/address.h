/* address.h: "unix:/path" and "tcp:127.0.0.1:5025" as the kernel wants them.  Numbers only: nothing here waits for a name server. */
#ifndef TIPPLANE_HOST_ADDRESS_H
#define TIPPLANE_HOST_ADDRESS_H
#include "base/error.h"
#include <netinet/in.h>
#include <sys/socket.h>
#include <sys/un.h>

struct address {
        union {
                struct sockaddr any;
                struct sockaddr_un local;
                struct sockaddr_in v4;
                struct sockaddr_in6 v6;
        } at;
        socklen_t n;
        bool is_local;    /* a Unix path */
        bool is_loopback; /* TCP, 127.0.0.0/8 or ::1 */
};
enum code address_read(const char *text, struct address *ret, struct tp_error *err);

#endif
