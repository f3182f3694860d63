/* http_workers.c: the threads that answer what is not in memory: two readers, commands, and one that is always free for what is urgent. */
#include "api/http_own.h"
#include <stdlib.h>

#define CHORES_NS (INT64_C(5) * NS_PER_S)
#define UNUSED_NS (INT64_C(60) * NS_PER_S) /* then the file of a sealed run is closed */

enum { WORK_VISIT = 1, WORK_END };

/* What one of the workers does besides: the urgent one, the idlest of all, what needs no disk, a reader what does. */
static bool has_chores(const struct worker *w) { return w == &w->http->workers[WORKER_URGENT] || w == &w->http->workers[WORKER_READER]; }
static void do_chores(const struct worker *w, int64_t now_ns)
{
        if (w == &w->http->workers[WORKER_READER]) {
                store_tidy(w->http->api.store, UNUSED_NS);
                return;
        }
        unsigned late = crowd_sweep(w->http->crowd, now_ns);
        if (late)
                log_event(w->http->log, LOG_INFO, "http.late", "connections=%u msg=\"no whole request within 40 s; closed\"", late);
}

static void worker_run(void *arg)
{
        struct worker *w = arg;
        int64_t due_ns = has_chores(w) ? world_boot_ns(w->http->world) + CHORES_NS : INT64_MAX;
        for (;;) {
                struct message *m = w->http->world->task->take(w->http->world, w->inbox, due_ns);
                int64_t now_ns = world_boot_ns(w->http->world);
                if (now_ns >= due_ns) {
                        do_chores(w, now_ns);
                        due_ns = now_ns + CHORES_NS;
                }
                if (!m)
                        continue;
                if (m->kind == WORK_END) {
                        free(m);
                        return;
                }
                struct visit *v = (struct visit *)(void *)m;
                v->request.desk = w->desk.inbox ? &w->desk : NULL;
                route_answer(&v->request, &v->reply);
                http_lock(w->http);
                v->state = VISIT_DONE;
                w->http->at_work--;
                MHD_resume_connection(v->connection);
                http_unlock(w->http);
        }
}

enum code http_workers_start(struct http *h, struct tp_error *err)
{
        static const char *const names[WORKER_COUNT] = {"reader-1", "reader-2", "commands", "urgent"};
        for (int i = 0; i < WORKER_COUNT; i++) {
                struct worker *w = &h->workers[i];
                w->http = h;
                w->inbox = h->world->task->inbox_new(h->world, HTTP_WAITING_MAX);
                enum code code = w->inbox ? CODE_OK : tp_fail_memory(err);
                if (!code && i >= WORKER_COMMANDS)
                        code = desk_open(&w->desk, &h->api, err);
                if (code)
                        return code;
                w->task = h->world->task->start(h->world, names[i], worker_run, w);
                if (!w->task)
                        return tp_fail(err, CODE_MEMORY, "the task %s could not be started", names[i]);
        }
        return CODE_OK;
}

void http_workers_stop(struct http *h)
{
        for (int i = 0; i < WORKER_COUNT; i++) {
                struct worker *w = &h->workers[i];
                struct message *end = w->task ? calloc(1, sizeof *end) : NULL;
                if (end) {
                        end->kind = WORK_END;
                        while (!h->world->task->post(h->world, w->inbox, end))
                                h->world->task->sleep_until(h->world, world_boot_ns(h->world) + 10 * NS_PER_MS);
                        h->world->task->join(h->world, w->task);
                }
                desk_close(&w->desk);
                if (w->inbox)
                        h->world->task->inbox_free(h->world, w->inbox);
        }
}

bool http_hand_to_worker(struct visit *v)
{
        struct http *h = v->http;
        const struct route *route = v->request.route;
        int i = route->urgent ? WORKER_URGENT : route->cost == COST_COMMAND ? WORKER_COMMANDS : (int)(h->turn++ % 2);
        v->message.kind = WORK_VISIT;
        http_lock(h);
        v->state = VISIT_WAITS;
        bool ok = h->world->task->post(h->world, h->workers[i].inbox, &v->message);
        if (ok) {
                h->at_work++;
                MHD_suspend_connection(v->connection);
        } else {
                v->state = VISIT_DONE;
        }
        http_unlock(h);
        return ok;
}
