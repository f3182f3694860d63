/* notify.h: "READY=1", "STOPPING=1", "WATCHDOG=1", "STATUS=…" to the service manager, as sd_notify(3) describes: one datagram, no library.
 */
#ifndef TIPPLANE_HOST_NOTIFY_H
#define TIPPLANE_HOST_NOTIFY_H
#include <stdbool.h>

/* True when sent; false when nobody asked (no NOTIFY_SOCKET) or it failed, which never matters to the work.  Never blocks.  Any thread. */
bool notify_send(const char *state);

#endif
