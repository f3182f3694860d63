/* signals.h: SIGTERM, SIGINT and SIGHUP as messages to an inbox, so that the loop sees them between two steps and never inside one. */
#ifndef TIPPLANE_HOST_SIGNALS_H
#define TIPPLANE_HOST_SIGNALS_H
#include "base/world.h"

struct signals;
struct signal_message {
        struct message message; /* .kind as given to signals_start; the taker frees it by message.free */
        int signal;
};
/* In the main thread before other threads start: blocks the three signals here and in all threads to come.  The caller owns *ret. */
enum code signals_start(const struct world *w, struct inbox *to, int kind, struct signals **ret, struct tp_error *err);
/* In the same thread, before the inbox is freed; the signals then do what they did before.  NULL is fine. */
void signals_stop(struct signals *s);

#endif
