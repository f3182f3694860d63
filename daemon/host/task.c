/* task.c: tasks, locks and inboxes on pthreads.
 * Ownership   a message belongs to the poster until post() returns true; what is left in an inbox that is freed is freed with its own
 * `free`. Waiting     condition variables run on the monotonic clock, deadlines on the boot clock: waits are cut into slices
 * (host_slice_ns). */
#include "host/host_own.h"
#include <errno.h>
#include <limits.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { STACK_BYTES = 512 * 1024 };

struct task {
        pthread_t thread;
        void (*run)(void *arg);
        void *arg;
        char name[16];
};
struct lock {
        pthread_mutex_t mutex;
};
struct inbox {
        pthread_mutex_t mutex;
        pthread_cond_t filled;
        struct message *first, **last;
        size_t n, limit;
};

int host_thread(pthread_t *ret, void *(*run)(void *), void *arg)
{
        pthread_attr_t attr;
        sigset_t all, before;
        int sys = pthread_attr_init(&attr);
        if (sys)
                return sys;
        sigfillset(&all);
        pthread_attr_setstacksize(&attr, STACK_BYTES);
        pthread_sigmask(SIG_SETMASK, &all, &before); /* inherited: signals go to the thread that waits for them (signals.c) */
        sys = pthread_create(ret, &attr, run, arg);
        pthread_sigmask(SIG_SETMASK, &before, NULL);
        pthread_attr_destroy(&attr);
        return sys;
}

static void *task_run(void *arg)
{
        struct task *t = arg;
        pthread_setname_np(pthread_self(), t->name);
        t->run(t->arg);
        return NULL;
}

static struct task *task_start(const struct world *w, const char *name, void (*run)(void *arg), void *arg)
{
        struct task *t = calloc(1, sizeof *t);
        (void)w;
        if (!t)
                return NULL;
        t->run = run;
        t->arg = arg;
        snprintf(t->name, sizeof t->name, "%s", name);
        if (host_thread(&t->thread, task_run, t)) {
                free(t);
                return NULL;
        }
        return t;
}

static void task_join(const struct world *w, struct task *t)
{
        (void)w;
        if (!t)
                return;
        pthread_join(t->thread, NULL);
        free(t);
}

static void sleep_until(const struct world *w, int64_t boot_ns)
{
        struct timespec until = {.tv_sec = boot_ns / NS_PER_S, .tv_nsec = boot_ns % NS_PER_S};
        (void)w;
        if (boot_ns > 0)
                while (clock_nanosleep(CLOCK_BOOTTIME, TIMER_ABSTIME, &until, NULL) == EINTR)
                        ;
}

static struct lock *lock_new(const struct world *w)
{
        struct lock *l = calloc(1, sizeof *l);
        (void)w;
        if (l && pthread_mutex_init(&l->mutex, NULL)) {
                free(l);
                return NULL;
        }
        return l;
}

static void lock_free(const struct world *w, struct lock *l)
{
        (void)w;
        if (!l)
                return;
        pthread_mutex_destroy(&l->mutex);
        free(l);
}

static void lock_lock(const struct world *w, struct lock *l)
{
        (void)w;
        pthread_mutex_lock(&l->mutex);
}

static void lock_unlock(const struct world *w, struct lock *l)
{
        (void)w;
        pthread_mutex_unlock(&l->mutex);
}

static struct inbox *inbox_new(const struct world *w, size_t limit)
{
        struct inbox *b = calloc(1, sizeof *b);
        pthread_condattr_t attr;
        (void)w;
        if (!b)
                return NULL;
        b->last = &b->first;
        b->limit = limit;
        if (pthread_mutex_init(&b->mutex, NULL))
                goto no_mutex;
        if (pthread_condattr_init(&attr))
                goto no_attr;
        pthread_condattr_setclock(&attr, CLOCK_MONOTONIC);
        int sys = pthread_cond_init(&b->filled, &attr);
        pthread_condattr_destroy(&attr);
        if (!sys)
                return b;
no_attr:
        pthread_mutex_destroy(&b->mutex);
no_mutex:
        free(b);
        return NULL;
}

static void inbox_free(const struct world *w, struct inbox *b)
{
        (void)w;
        if (!b)
                return;
        for (struct message *next, *m = b->first; m; m = next) {
                next = m->next;
                if (m->free)
                        m->free(m);
        }
        pthread_cond_destroy(&b->filled);
        pthread_mutex_destroy(&b->mutex);
        free(b);
}

static bool post(const struct world *w, struct inbox *b, struct message *m)
{
        (void)w;
        pthread_mutex_lock(&b->mutex);
        bool has_room = b->limit == 0 || b->n < b->limit;
        if (has_room) {
                m->next = NULL;
                *b->last = m;
                b->last = &m->next;
                b->n++;
                pthread_cond_signal(&b->filled); /* under the lock: once it is released the taker may end and free the inbox */
        }
        pthread_mutex_unlock(&b->mutex);
        return has_room;
}

/* Waits for a signal or the end of one slice; false when the deadline has passed. */
static bool inbox_wait(struct inbox *b, int64_t deadline_ns)
{
        struct timespec until;
        if (deadline_ns == INT64_MAX)
                return pthread_cond_wait(&b->filled, &b->mutex) == 0;
        int64_t slice_ns = host_slice_ns(deadline_ns);
        if (slice_ns == 0)
                return false;
        clock_gettime(CLOCK_MONOTONIC, &until);
        int64_t until_ns = (int64_t)until.tv_sec * NS_PER_S + until.tv_nsec + slice_ns;
        until = (struct timespec){.tv_sec = until_ns / NS_PER_S, .tv_nsec = until_ns % NS_PER_S};
        pthread_cond_timedwait(&b->filled, &b->mutex, &until);
        return true;
}

static struct message *take(const struct world *w, struct inbox *b, int64_t deadline_ns)
{
        (void)w;
        pthread_mutex_lock(&b->mutex);
        while (!b->first && inbox_wait(b, deadline_ns))
                ;
        struct message *m = b->first;
        if (m) {
                b->first = m->next;
                if (!b->first)
                        b->last = &b->first;
                b->n--;
                m->next = NULL;
        }
        pthread_mutex_unlock(&b->mutex);
        return m;
}

static size_t waiting(const struct world *w, struct inbox *b)
{
        (void)w;
        pthread_mutex_lock(&b->mutex);
        size_t n = b->n;
        pthread_mutex_unlock(&b->mutex);
        return n;
}

static bool work(const struct world *w, void (*run)(void *arg), void *arg) { return pool_work(w->ctx, run, arg); }

const struct task_ops host_tasks = {
        .start = task_start,
        .join = task_join,
        .sleep_until = sleep_until,
        .lock_new = lock_new,
        .lock_free = lock_free,
        .lock = lock_lock,
        .unlock = lock_unlock,
        .inbox_new = inbox_new,
        .inbox_free = inbox_free,
        .post = post,
        .take = take,
        .waiting = waiting,
        .work = work,
};
