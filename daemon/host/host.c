/* host.c: the real world put together; clock and random, which are a few lines each. */
#include "host/host.h"
#include "host/host_own.h"
#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/random.h>
#include <time.h>

int64_t host_boot_ns(const struct world *w)
{
        struct timespec t;
        (void)w;
        clock_gettime(CLOCK_BOOTTIME, &t);
        return (int64_t)t.tv_sec * NS_PER_S + t.tv_nsec;
}

static int64_t wall_us(const struct world *w)
{
        struct timespec t;
        (void)w;
        clock_gettime(CLOCK_REALTIME, &t);
        return (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
}

int64_t host_slice_ns(int64_t deadline_ns)
{
        int64_t now_ns = host_boot_ns(NULL);
        if (deadline_ns <= now_ns)
                return 0;
        return deadline_ns - now_ns < NS_PER_S ? deadline_ns - now_ns : NS_PER_S;
}

int host_slice_ms(int64_t deadline_ns)
{
        if (deadline_ns == INT64_MAX)
                return -1;
        return (int)((host_slice_ns(deadline_ns) + NS_PER_MS - 1) / NS_PER_MS);
}

static void random_bytes(const struct world *w, void *ret, size_t n)
{
        char *at = ret;
        (void)w;
        while (n > 0) {
                ssize_t got = getrandom(at, n, 0);
                if (got > 0) {
                        at += got;
                        n -= (size_t)got;
                } else if (errno != EINTR) { /* a filter forbids the call: glibc's generator has other ways to the kernel's */
                        arc4random_buf(at, n);
                        n = 0;
                }
        }
}

const struct clock_ops host_clock = {.boot_ns = host_boot_ns, .wall_us = wall_us};
const struct random_ops host_random = {.bytes = random_bytes};

struct world *host_world_new(struct tp_error *err)
{
        struct host *h = calloc(1, sizeof *h);
        if (!h || pthread_mutex_init(&h->mutex, NULL)) {
                free(h);
                tp_fail_memory(err);
                return NULL;
        }
        h->world = (struct world){
                .clock = &host_clock, .random = &host_random, .task = &host_tasks, .net = &host_net, .file = &host_files, .ctx = h};
        signal(SIGPIPE, SIG_IGN); /* a peer that goes away is an error of write(), not the end of the program */
        pool_threads();
        return &h->world;
}

void host_world_free(struct world *w)
{
        if (!w)
                return;
        struct host *h = w->ctx;
        pool_free(h->pool);
        listeners_free(h->listeners);
        pthread_mutex_destroy(&h->mutex);
        free(h);
}
