/* pool.c: arithmetic on libuv's thread pool.
 * Idea        uv_queue_work() may only be called on the thread of its loop, work comes from any task.  One small thread owns a uv loop;
 * work is put on a list and the loop is woken (sends coalesce: drain the whole list).  The program's own loop task never sees libuv.
 * Threads     max(1, cores - 1), so that one core stays for the loop and the store; batch scheduling and nice 10 for the same reason.
 * Limits      WAITING_MAX jobs; more are refused and stay the caller's.
 * End         pool_free() lets what was accepted run, then closes; a late send after uv_close() would touch freed memory (libuv issue
 * 4922), so sends happen under the mutex that guards `closing`. */
#include "host/host_own.h"
#include <sched.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <unistd.h>
#include <uv.h>

enum { WAITING_MAX = 4096 };

struct job {
        uv_work_t request;
        struct pool *pool;
        struct job *next;
        void (*run)(void *arg);
        void *arg;
};
struct pool {
        uv_loop_t loop;
        uv_async_t wake;
        pthread_t thread;
        pthread_mutex_t mutex;
        struct job *first, **last; /* under the mutex, as the two below */
        size_t accepted_n;         /* waiting, queued or running */
        bool closing;
};

static void close_when_idle(struct pool *p) /* loop thread, mutex held */
{
        if (p->closing && p->accepted_n == 0 && !uv_is_closing((uv_handle_t *)&p->wake))
                uv_close((uv_handle_t *)&p->wake, NULL);
}

static void job_run(uv_work_t *request) /* a thread of the pool */
{
        struct job *j = request->data;
        static const struct sched_param none = {0};
        sched_setscheduler(0, SCHED_BATCH, &none); /* both may be forbidden: then arithmetic is merely less polite */
        setpriority(PRIO_PROCESS, (id_t)gettid(), 10);
        j->run(j->arg);
}

static void job_done(uv_work_t *request, int status) /* loop thread */
{
        struct job *j = request->data;
        struct pool *p = j->pool;
        (void)status;
        free(j);
        pthread_mutex_lock(&p->mutex);
        p->accepted_n--;
        close_when_idle(p);
        pthread_mutex_unlock(&p->mutex);
}

static void on_wake(uv_async_t *wake) /* loop thread */
{
        struct pool *p = wake->data;
        pthread_mutex_lock(&p->mutex);
        struct job *j = p->first;
        p->first = NULL;
        p->last = &p->first;
        close_when_idle(p);
        pthread_mutex_unlock(&p->mutex);
        for (struct job *next; j; j = next) {
                next = j->next;
                j->request.data = j;
                uv_queue_work(&p->loop, &j->request, job_run, job_done); /* fails only without a function */
        }
}

static void *loop_run(void *arg)
{
        struct pool *p = arg;
        pthread_setname_np(pthread_self(), "pool");
        uv_run(&p->loop, UV_RUN_DEFAULT); /* until the wake handle is closed */
        return NULL;
}

void pool_threads(void)
{
        char count[24];
        long cores = sysconf(_SC_NPROCESSORS_ONLN);
        snprintf(count, sizeof count, "%ld", cores > 2 ? cores - 1 : 1);
        setenv("UV_THREADPOOL_SIZE", count, 0); /* the administrator's own value stands */
}

static struct pool *pool_new(void)
{
        struct pool *p = calloc(1, sizeof *p);
        if (!p)
                return NULL;
        p->last = &p->first;
        if (pthread_mutex_init(&p->mutex, NULL))
                goto no_mutex;
        if (uv_loop_init(&p->loop))
                goto no_loop;
        if (uv_async_init(&p->loop, &p->wake, on_wake))
                goto no_wake;
        p->wake.data = p;
        if (host_thread(&p->thread, loop_run, p) == 0)
                return p;
        uv_close((uv_handle_t *)&p->wake, NULL);
        uv_run(&p->loop, UV_RUN_DEFAULT);
no_wake:
        uv_loop_close(&p->loop);
no_loop:
        pthread_mutex_destroy(&p->mutex);
no_mutex:
        free(p);
        return NULL;
}

bool pool_work(struct host *h, void (*run)(void *arg), void *arg)
{
        struct job *j = calloc(1, sizeof *j);
        if (!j)
                return false;
        pthread_mutex_lock(&h->mutex);
        if (!h->pool)
                h->pool = pool_new();
        struct pool *p = h->pool;
        pthread_mutex_unlock(&h->mutex);
        if (!p) {
                free(j);
                return false;
        }
        *j = (struct job){.pool = p, .run = run, .arg = arg};
        pthread_mutex_lock(&p->mutex);
        bool has_room = !p->closing && p->accepted_n < WAITING_MAX;
        if (has_room) {
                p->accepted_n++;
                *p->last = j;
                p->last = &j->next;
                uv_async_send(&p->wake);
        }
        pthread_mutex_unlock(&p->mutex);
        if (!has_room)
                free(j);
        return has_room;
}

void pool_free(struct pool *p)
{
        if (!p)
                return;
        pthread_mutex_lock(&p->mutex);
        p->closing = true;
        uv_async_send(&p->wake);
        pthread_mutex_unlock(&p->mutex);
        pthread_join(p->thread, NULL);
        uv_loop_close(&p->loop);
        pthread_mutex_destroy(&p->mutex);
        free(p);
}
