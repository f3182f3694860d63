/* http.c: the interface's server, by libmicrohttpd, which only http*.c know.
 * Idea        A visit's header is judged before a byte of its body is read (route_open); what is in memory is answered at once on the
 *             HTTP thread; everything else is suspended, goes to a worker's inbox, and is resumed when its reply is complete.
 * Invariants  Suspending and posting happen under `lock`, and so does resuming: a worker can not resume what is not yet suspended.  The
 *             daemon is stopped only when no visit is open: suspended connections must not meet MHD_stop_daemon.
 * Not here    MHD_create_post_processor: there are no forms. */
#include "api/http_own.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define MEMORY_PER_CONNECTION (size_t)(32 * 1024)
#define CONNECTIONS_MAX 256u
#define IDLE_S 30u
#define REQUEST_NS (INT64_C(20) * NS_PER_S)
#define STOP_NS (INT64_C(5) * NS_PER_S)

static enum MHD_Result answer(struct visit *v)
{
        v->request.body = v->body.n ? v->body.at : NULL;
        v->request.body_n = v->body.n;
        if (route_now(&v->request, &v->reply))
                return visit_send_reply(v);
        if (http_hand_to_worker(v))
                return MHD_YES;
        struct tp_error err;
        tp_fail(&err, CODE_BUSY, "%d requests of this kind wait already; ask again in a moment", HTTP_WAITING_MAX);
        problem_of_error(&v->request, &v->reply, &err);
        return visit_send_reply(v);
}

/* ---- what MHD calls ----------------------------------------------------------------------------------------------------------------- */

static struct guest *guest_of(struct MHD_Connection *c)
{
        const union MHD_ConnectionInfo *info = MHD_get_connection_info(c, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
        return info ? info->socket_context : NULL;
}

static enum MHD_Result on_access(void *cls, struct MHD_Connection *c, const char *url, const char *method, const char *version,
                                 const char *upload, size_t *upload_n, void **con_cls)
{
        struct http *h = cls;
        struct visit *v = *con_cls;
        (void)url, (void)version;
        if (!v)
                return MHD_NO;
        if (v->state == VISIT_HEADER) {
                v->connection = c;
                guest_served(guest_of(c), true);
                visit_read_header(v, v->request.target, method);
                v->state = VISIT_BODY;
                if (atomic_load(&h->closing) || !route_open(&v->request, &v->reply)) {
                        if (!v->reply.status)
                                problem_say(&v->request, &v->reply, PROBLEM_STOPPING, "the daemon is stopping; ask again when it is up");
                        return visit_send_reply(v); /* before the body: the connection is closed */
                }
                return MHD_YES;
        }
        if (v->state == VISIT_DONE)
                return visit_send_reply(v);
        if (*upload_n) {
                if (world_boot_ns(h->world) - v->begun_ns > REQUEST_NS || v->body.n > v->request.route->body_max)
                        return MHD_NO; /* dribbles, or goes on although it is too long */
                text_bytes(&v->body, upload, *upload_n);
                *upload_n = 0;
                return MHD_YES;
        }
        return answer(v);
}

/* The target as received, query included; the visit begins here. */
static void *on_target(void *cls, const char *target, struct MHD_Connection *c)
{
        struct visit *v = visit_new(cls, c);
        if (v)
                v->request.target = arena_text(v->request.arena, target);
        return v;
}

static void on_connection(void *cls, struct MHD_Connection *c, void **socket_context, enum MHD_ConnectionNotificationCode what)
{
        struct http *h = cls;
        if (what == MHD_CONNECTION_NOTIFY_CLOSED) {
                guest_leave(*socket_context);
                *socket_context = NULL;
                return;
        }
        const union MHD_ConnectionInfo *info = MHD_get_connection_info(c, MHD_CONNECTION_INFO_CONNECTION_FD);
        if (info)
                *socket_context = guest_come(h->crowd, info->connect_fd);
}

static void on_completed(void *cls, struct MHD_Connection *c, void **con_cls, enum MHD_RequestTerminationCode how)
{
        (void)cls, (void)how;
        guest_served(guest_of(c), false);
        if (*con_cls)
                visit_free(*con_cls);
        *con_cls = NULL;
}

static void on_log(void *cls, const char *fmt, va_list args)
{
        char line[300];
        struct http *h = cls;
        vsnprintf(line, sizeof line, fmt, args);
        line[strcspn(line, "\r\n")] = 0;
        log_event(h->log, LOG_DEBUG, "http", "msg=\"%s\"", line);
}

/* Targets are taken apart by route.c; MHD shall leave the escapes alone. */
static size_t no_unescape(void *cls, struct MHD_Connection *c, char *s)
{
        (void)cls, (void)c;
        return strlen(s);
}

/* ---- starting and stopping ---------------------------------------------------------------------------------------------------------- */

static bool is_healthy(void *ctx) { return house_healthy(ctx); }

static enum code start(struct http *h, const struct http_setup *setup, struct tp_error *err)
{
        struct api_setup api = {h->world,   h->log,  house_store(h->house), house_inbox(h->house), house_slot(h->house), setup->build,
                                is_healthy, h->house};
        enum code code = h->lock ? http_listen(h, setup->listen, err) : tp_fail_memory(err);
        if (!code)
                code = api_open(&h->api, &api, err);
        h->api_is_open = !code;
        if (!code)
                code = streams_open(&h->api, &h->streams, err);
        if (!code && !(h->crowd = crowd_new(h->world)))
                code = tp_fail_memory(err);
        if (!code)
                code = http_workers_start(h, err);
        if (code)
                return code;
        h->mhd = MHD_start_daemon(MHD_USE_EPOLL_INTERNAL_THREAD | MHD_ALLOW_SUSPEND_RESUME | MHD_USE_ERROR_LOG, 0, NULL, NULL, on_access, h,
                                  MHD_OPTION_EXTERNAL_LOGGER, on_log, h, MHD_OPTION_LISTEN_SOCKET, h->fd, MHD_OPTION_URI_LOG_CALLBACK,
                                  on_target, h, MHD_OPTION_UNESCAPE_CALLBACK, no_unescape, h, MHD_OPTION_NOTIFY_COMPLETED, on_completed, h,
                                  MHD_OPTION_NOTIFY_CONNECTION, on_connection, h, MHD_OPTION_CONNECTION_LIMIT, CONNECTIONS_MAX,
                                  MHD_OPTION_CONNECTION_TIMEOUT, IDLE_S, MHD_OPTION_CONNECTION_MEMORY_LIMIT, MEMORY_PER_CONNECTION,
                                  MHD_OPTION_STRICT_FOR_CLIENT, 1, MHD_OPTION_END);
        if (!h->mhd)
                return tp_fail(err, CODE_LINK_DEAD,
                               "the HTTP server would not start on %s; look whether epoll and threads are allowed here", setup->listen);
        h->fd = -1; /* MHD's now */
        return CODE_OK;
}

struct http *http_start(const struct http_setup *setup, struct tp_error *err)
{
        struct http *h = calloc(1, sizeof *h);
        if (!h) {
                tp_fail_memory(err);
                return NULL;
        }
        h->world = setup->world;
        h->log = setup->log;
        h->house = setup->house;
        h->fd = -1;
        h->lock = h->world->task->lock_new(h->world);
        if (start(h, setup, err)) {
                http_stop(h);
                return NULL;
        }
        return h;
}

unsigned http_port(const struct http *h) { return h->port; }
void http_refuse_changes(struct http *h) { atomic_store(&h->api.refusing, true); }

/* Visits that MHD_stop_daemon must not meet: those at work always, the others for as long as STOP_NS. */
static bool must_wait(struct http *h, int64_t begun_ns)
{
        http_lock(h);
        bool wait = h->at_work || (h->visits && world_boot_ns(h->world) < begun_ns + STOP_NS);
        http_unlock(h);
        return wait;
}

void http_stop(struct http *h)
{
        if (!h)
                return;
        atomic_store(&h->closing, true);
        if (h->streams)
                streams_end(h->streams);
        if (h->mhd) {
                int fd = (int)MHD_quiesce_daemon(h->mhd);
                int64_t begun = world_boot_ns(h->world);
                while (must_wait(h, begun))
                        h->world->task->sleep_until(h->world, world_boot_ns(h->world) + 10 * NS_PER_MS);
                MHD_stop_daemon(h->mhd);
                if (fd >= 0)
                        close(fd);
        }
        http_workers_stop(h);
        streams_close(h->streams);
        crowd_free(h->crowd);
        if (h->api_is_open)
                api_close(&h->api);
        if (h->fd >= 0)
                close(h->fd);
        if (h->lock)
                h->world->task->lock_free(h->world, h->lock);
        free(h);
}

bool http_print_routes(void)
{
        struct text t;
        text_init(&t, 0);
        route_print(&t);
        bool ok = text_ok(&t) && puts(text_of(&t)) >= 0 && fflush(stdout) == 0;
        text_done(&t);
        return ok;
}
