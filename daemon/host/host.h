/* host/: the real world: clock, random, tasks on pthreads, byte streams, files, child processes, signals, and libuv's pool for arithmetic.
   May use: base/, libc, libuv.  Must not know the trade.  Only the mains link it; everybody else sees struct world.

   host.h: one world per program start.  Nothing is kept in static memory, so that programs can be started again inside one process
   (libuv's thread pool, which belongs to the process, excepted).
   Threads: any, except host_world_new/free: the main thread, before the first and after the last task.

   Deadlines   A read or write whose deadline has passed is CODE_TIMED_OUT even when bytes wait: a peer that dribbles cannot extend it.
               A take whose deadline has passed still gives a message that waits: post it and it will be seen.
   Tasks       have every signal blocked, 512 KiB of stack, and the name given (first 15 bytes in ps and top).
   Listening   unix paths get mode 0660 and a stale socket file is replaced; TCP on a loopback address only, since these streams are not
   encrypted. */
#ifndef TIPPLANE_HOST_HOST_H
#define TIPPLANE_HOST_HOST_H
#include "base/world.h"

/* NULL with a sentence when memory is short.  Ignores SIGPIPE in this process. */
struct world *host_world_new(struct tp_error *err);
/* Waits for work handed to the pool.  NULL is fine. */
void host_world_free(struct world *w);
/* The TCP port a listener got, for "tcp:127.0.0.1:0"; 0: none. */
unsigned host_listener_port(const struct listener *l);

#endif
