/* host_own.h: how the files of host/ find each other.  Not for other rooms. */
#ifndef TIPPLANE_HOST_HOST_OWN_H
#define TIPPLANE_HOST_HOST_OWN_H
#include "base/world.h"
#include <pthread.h>

struct pool;
struct host {
        struct world world;
        pthread_mutex_t mutex;      /* guards the two below */
        struct pool *pool;          /* made when first used */
        struct listener *listeners; /* every listener ever made, closed ones too: an accept that comes late must find its own */
};

extern const struct clock_ops host_clock;
extern const struct random_ops host_random;
extern const struct task_ops host_tasks;
extern const struct net_ops host_net;
extern const struct file_ops host_files;

int64_t host_boot_ns(const struct world *w);
/* Nanoseconds to wait now for a deadline on the boot clock: never over a second, because poll() and condition variables count on the
   monotonic clock, which stands still in suspend; 0 when the deadline has passed. */
int64_t host_slice_ns(int64_t deadline_ns);
/* The same in whole milliseconds for poll(), rounded up. */
int host_slice_ms(int64_t deadline_ns);
/* A thread with all signals blocked and an explicit stack; 0 or errno. */
int host_thread(pthread_t *ret, void *(*run)(void *), void *arg);

/* Tells libuv how many threads to make; in the main thread, before any other runs. */
void pool_threads(void);
bool pool_work(struct host *h, void (*run)(void *arg), void *arg);
void pool_free(struct pool *p); /* waits; NULL is fine */
void listeners_free(struct listener *first);

#endif
