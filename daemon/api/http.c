/* http.c: the only file that knows libmicrohttpd.
 * Idea        A visit is one request on one connection.  Its header is judged before a byte of its body is read (route_open); what is in
 * memory is answered at once on the HTTP thread; everything else is suspended, goes to a worker's inbox, and is resumed when its reply is
 * complete. Invariants  A visit belongs to the HTTP thread, but between post and resume to its worker.  Suspending and posting happen under
 * `lock`, and so does resuming: a worker can not resume what is not yet suspended.  The daemon is stopped only when no visit is open:
 * suspended connections must not meet MHD_stop_daemon. Not here    MHD_create_post_processor: there are no forms. */
#include "api/http.h"
#include "api/crowd.h"
#include "api/desk.h"
#include "api/route.h"
#include "api/problem.h"
#include "api/stream.h"
#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <microhttpd.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <unistd.h>

#define MEMORY_PER_CONNECTION (size_t)(32 * 1024)
#define CONNECTIONS_MAX 256u
#define IDLE_S 30u
#define REQUEST_NS (INT64_C(20) * NS_PER_S)
#define SWEEP_NS (INT64_C(5) * NS_PER_S)
#define STOP_NS (INT64_C(5) * NS_PER_S)
#define WAITING_MAX 128

enum { WORK_VISIT = 1, WORK_END };
enum worker_kind { WORKER_READER, WORKER_READER_2, WORKER_COMMANDS, WORKER_URGENT, WORKER_COUNT };
struct worker {
        struct http *http;
        struct inbox *inbox;
        struct task *task;
        struct desk desk;
};

struct http {
        const struct world *world;
        const struct log *log;
        struct house *house;
        struct api api;
        bool api_is_open;
        struct streams *streams;
        struct crowd *crowd;
        struct worker workers[WORKER_COUNT];
        struct lock *lock;              /* guards suspension and `visits` */
        unsigned visits, at_work, turn; /* at_work: with a worker, suspended */
        _Atomic bool closing;
        int fd;
        unsigned port;
        struct MHD_Daemon *mhd;
};

enum visit_state { VISIT_HEADER, VISIT_BODY, VISIT_WAITS, VISIT_DONE };
struct visit {
        struct message message; /* to a worker */
        struct http *http;
        struct MHD_Connection *connection;
        struct request request;
        struct reply reply;
        struct text body;
        enum visit_state state;
        int64_t begun_ns;
        struct stream *stream;
        unsigned hosts, lengths;
        char fault[160];
};

static void lock(struct http *h) { h->world->task->lock(h->world, h->lock); }
static void unlock(struct http *h) { h->world->task->unlock(h->world, h->lock); }

/* ---- workers
 * --------------------------------------------------------------------------------------------------------------------------------- */

static void worker_run(void *arg)
{
        struct worker *w = arg;
        for (;;) {
                int64_t now = world_boot_ns(w->http->world);
                bool sweeps = w == &w->http->workers[WORKER_URGENT]; /* the idlest of all */
                struct message *m = w->http->world->task->take(w->http->world, w->inbox, sweeps ? now + SWEEP_NS : INT64_MAX);
                if (!m) {
                        unsigned late = crowd_sweep(w->http->crowd, world_boot_ns(w->http->world));
                        if (late)
                                log_event(w->http->log, LOG_INFO, "http.late",
                                          "connections=%u msg=\"no whole request within 40 s; closed\"", late);
                        continue;
                }
                if (m->kind == WORK_END) {
                        free(m);
                        return;
                }
                struct visit *v = (struct visit *)(void *)m;
                v->request.desk = w->desk.inbox ? &w->desk : NULL;
                route_answer(&v->request, &v->reply);
                lock(w->http);
                v->state = VISIT_DONE;
                w->http->at_work--;
                MHD_resume_connection(v->connection);
                unlock(w->http);
        }
}

static enum code workers_start(struct http *h, struct tp_error *err)
{
        static const char *const names[WORKER_COUNT] = {"reader-1", "reader-2", "commands", "urgent"};
        for (int i = 0; i < WORKER_COUNT; i++) {
                struct worker *w = &h->workers[i];
                w->http = h;
                w->inbox = h->world->task->inbox_new(h->world, WAITING_MAX);
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

static void workers_stop(struct http *h)
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

/* Suspends the visit and hands it to its worker; false: the worker has too much to do. */
static bool hand_to_worker(struct visit *v)
{
        struct http *h = v->http;
        const struct route *route = v->request.route;
        int i = route->urgent ? WORKER_URGENT : route->cost == COST_COMMAND ? WORKER_COMMANDS : (int)(h->turn++ % 2);
        v->message.kind = WORK_VISIT;
        lock(h);
        v->state = VISIT_WAITS;
        bool ok = h->world->task->post(h->world, h->workers[i].inbox, &v->message);
        if (ok) {
                h->at_work++;
                MHD_suspend_connection(v->connection);
        } else {
                v->state = VISIT_DONE;
        }
        unlock(h);
        return ok;
}

/* ---- visits
 * ---------------------------------------------------------------------------------------------------------------------------------- */

static void visit_free(struct visit *v)
{
        struct http *h = v->http;
        stream_free(v->stream);
        reply_done(&v->reply);
        text_done(&v->body);
        arena_free(v->request.arena);
        free(v);
        lock(h);
        h->visits--;
        unlock(h);
}

static struct visit *visit_new(struct http *h, struct MHD_Connection *c)
{
        struct visit *v = calloc(1, sizeof *v);
        if (!v)
                return NULL;
        v->http = h;
        v->connection = c;
        v->begun_ns = world_boot_ns(h->world);
        v->request.arena = arena_new(0);
        reply_init(&v->reply);
        text_init(&v->body, 0);
        lock(h);
        h->visits++;
        unlock(h);
        if (!v->request.arena) {
                visit_free(v);
                return NULL;
        }
        return v;
}

/* Two Hosts, two lengths, a length beside an encoding, another encoding than chunked, or a folded line (which shows as part of a name)
 * smuggle requests past proxies. */
static enum MHD_Result look_at_header(void *cls, enum MHD_ValueKind kind, const char *name, const char *value)
{
        struct visit *v = cls;
        static const char *const watched[] = {"Host", "Content-Length", "Transfer-Encoding"};
        (void)kind;
        v->hosts += strcasecmp(name, "Host") == 0;
        v->lengths += strcasecmp(name, "Content-Length") == 0 || strcasecmp(name, "Transfer-Encoding") == 0;
        for (size_t i = 0; i < 3; i++)
                if (strncasecmp(name, watched[i], strlen(watched[i])) == 0 && strcasecmp(name, watched[i]) != 0)
                        snprintf(v->fault, sizeof v->fault, "the header field '%.60s' looks like %s and is not; write it plainly", name,
                                 watched[i]);
        if (strcasecmp(name, "Transfer-Encoding") == 0 && value && strcasecmp(value, "chunked") != 0)
                snprintf(v->fault, sizeof v->fault, "Transfer-Encoding: %.40s is not taken; send chunked or a Content-Length", value);
        return MHD_YES;
}

static const char *header(struct visit *v, const char *name)
{
        const char *value = MHD_lookup_connection_value(v->connection, MHD_HEADER_KIND, name);
        return value ? arena_text(v->request.arena, value) : NULL;
}

static bool is_loopback(struct MHD_Connection *c)
{
        const union MHD_ConnectionInfo *info = MHD_get_connection_info(c, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
        if (!info || !info->client_addr)
                return false;
        if (info->client_addr->sa_family == AF_INET)
                return ntohl(((const struct sockaddr_in *)(const void *)info->client_addr)->sin_addr.s_addr) >> 24 == 127;
        return info->client_addr->sa_family == AF_INET6 &&
               IN6_IS_ADDR_LOOPBACK(&((const struct sockaddr_in6 *)(const void *)info->client_addr)->sin6_addr);
}

static void fill_request(struct visit *v, const char *target, const char *method)
{
        struct request *q = &v->request;
        q->api = &v->http->api;
        q->method = arena_text(q->arena, method);
        q->target = arena_text(q->arena, target);
        q->host = header(v, "Host");
        q->origin = header(v, "Origin");
        q->fetch_site = header(v, "Sec-Fetch-Site");
        q->authorization = header(v, "Authorization");
        q->content_type = header(v, "Content-Type");
        q->content_length = header(v, "Content-Length");
        q->if_none_match = header(v, "If-None-Match");
        q->idempotency_key = header(v, "Idempotency-Key");
        q->last_event_id = header(v, "Last-Event-ID");
        q->from_loopback = is_loopback(v->connection);
        MHD_get_connection_values(v->connection, MHD_HEADER_KIND, look_at_header, v);
        if (v->hosts > 1 || v->lengths > 1)
                snprintf(v->fault, sizeof v->fault,
                         "there are %u Host fields and %u that give the body's length; send one of each at the most", v->hosts, v->lengths);
        q->faulty = v->fault[0] ? v->fault : NULL;
}

/* ---- replies
 * --------------------------------------------------------------------------------------------------------------------------------- */

static void stream_wake(void *ctx) { MHD_resume_connection(((struct visit *)ctx)->connection); }
static void stream_sleep(void *ctx) { MHD_suspend_connection(((struct visit *)ctx)->connection); }

static ssize_t stream_bytes(void *cls, uint64_t position, char *buffer, size_t max)
{
        struct visit *v = cls;
        size_t n = 0;
        (void)position;
        switch (stream_read(v->stream, buffer, max, &n, stream_sleep)) {
        case STREAM_BYTES:
                return (ssize_t)n;
        case STREAM_SLEEPS:
                return 0;
        case STREAM_ENDED:
                break;
        }
        return MHD_CONTENT_READER_END_OF_STREAM;
}

static struct MHD_Response *file_response(struct visit *v)
{
        struct stat st;
        struct reply *r = &v->reply;
        int fd = open(r->file, O_RDONLY | O_CLOEXEC);
        if (r->file_is_copy)
                unlink(r->file);
        if (fd < 0)
                return NULL;
        struct MHD_Response *response = fstat(fd, &st) ? NULL : MHD_create_response_from_fd64((uint64_t)st.st_size, fd);
        if (!response)
                close(fd);
        return response;
}

static struct MHD_Response *make_response(struct visit *v)
{
        struct reply *r = &v->reply;
        if (r->stream) {
                v->stream = stream_new(v->http->streams, r, stream_wake, v);
                if (v->stream)
                        return MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, 4096, stream_bytes, v, NULL);
                problem_say(&v->request, r, PROBLEM_STOPPING, "no more event streams are taken: %d are open, or the daemon is stopping",
                            STREAMS_MAX);
        }
        if (r->file[0]) {
                struct MHD_Response *response = file_response(v);
                if (response)
                        return response;
                struct tp_error err;
                tp_fail_sys(&err, CODE_DISK, errno, "the run's file %s could not be opened; look at the data directory", r->file);
                problem_of_error(&v->request, r, &err);
        }
        if (r->still)
                return MHD_create_response_from_buffer(r->still_n, (void *)(uintptr_t)r->still, MHD_RESPMEM_PERSISTENT);
        if (!r->body.n)
                return MHD_create_response_from_buffer(0, (void *)(uintptr_t) "", MHD_RESPMEM_PERSISTENT);
        return MHD_create_response_from_buffer(r->body.n, r->body.at, MHD_RESPMEM_PERSISTENT); /* the visit outlives its response */
}

static void add(struct MHD_Response *response, const char *name, const char *value)
{
        if (value && value[0])
                MHD_add_response_header(response, name, value);
}

static void add_headers(struct MHD_Response *response, const struct visit *v)
{
        const struct reply *r = &v->reply;
        char number[24], save[120];
        add(response, "Content-Type", r->type);
        add(response, "ETag", r->etag);
        add(response, "Location", r->location);
        add(response, "Link", r->link);
        add(response, "Allow", r->allow);
        add(response, "X-Dtype", r->dtype);
        add(response, "X-Request-Id", v->request.id);
        add(response, "X-Content-Type-Options", "nosniff");
        add(response, "Referrer-Policy", "no-referrer");
        add(response, "Cross-Origin-Resource-Policy", "same-origin");
        add(response, "Cache-Control", r->stream ? "no-store" : "no-cache");
        if (r->stream)
                add(response, "X-Accel-Buffering", "no");
        if (r->is_page)
                add(response, "Content-Security-Policy",
                    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; base-uri 'none'; "
                    "form-action 'none'; frame-ancestors 'none'");
        if (r->status == 401)
                add(response, "WWW-Authenticate", "Bearer realm=\"tipplane\"");
        if (r->retry_after_s && r->status == 503) {
                snprintf(number, sizeof number, "%u", r->retry_after_s);
                add(response, "Retry-After", number);
        }
        if (r->save_as[0] && r->status == 200) {
                snprintf(save, sizeof save, "attachment; filename=\"%s\"", r->save_as);
                add(response, "Content-Disposition", save);
        }
}

static enum MHD_Result send_reply(struct visit *v)
{
        v->state = VISIT_DONE;
        struct MHD_Response *response = make_response(v);
        if (!response)
                return MHD_NO;
        add_headers(response, v);
        enum MHD_Result sent = MHD_queue_response(v->connection, (unsigned)v->reply.status, response);
        MHD_destroy_response(response);
        return sent;
}

static enum MHD_Result answer(struct visit *v)
{
        v->request.body = v->body.n ? v->body.at : NULL;
        v->request.body_n = v->body.n;
        if (route_now(&v->request, &v->reply))
                return send_reply(v);
        if (hand_to_worker(v))
                return MHD_YES;
        struct tp_error err;
        tp_fail(&err, CODE_BUSY, "%d requests of this kind wait already; ask again in a moment", WAITING_MAX);
        problem_of_error(&v->request, &v->reply, &err);
        return send_reply(v);
}

/* ---- what MHD calls
 * --------------------------------------------------------------------------------------------------------------------------- */

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
                fill_request(v, v->request.target, method);
                v->state = VISIT_BODY;
                if (atomic_load(&h->closing) || !route_open(&v->request, &v->reply)) {
                        if (!v->reply.status)
                                problem_say(&v->request, &v->reply, PROBLEM_STOPPING, "the daemon is stopping; ask again when it is up");
                        return send_reply(v); /* before the body: the connection is closed */
                }
                return MHD_YES;
        }
        if (v->state == VISIT_DONE)
                return send_reply(v);
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

/* ---- starting and stopping
 * -------------------------------------------------------------------------------------------------------------------- */

static enum code read_listen(const char *text, struct sockaddr_storage *ret, socklen_t *ret_n, struct tp_error *err)
{
        char host[64] = "";
        const char *colon = strrchr(text, ':');
        size_t n = colon ? (size_t)(colon - text) : 0, digits = colon ? strlen(colon + 1) : 0;
        struct sockaddr_in *v4 = (struct sockaddr_in *)(void *)ret;
        struct sockaddr_in6 *v6 = (struct sockaddr_in6 *)(void *)ret;
        memset(ret, 0, sizeof *ret);
        long port = digits > 0 && digits <= 5 && strspn(colon + 1, "0123456789") == digits ? strtol(colon + 1, NULL, 10) : -1;
        if (port < 0 || port > 65535 || n == 0 || n >= sizeof host)
                return tp_fail(err, CODE_BAD_INPUT, "--listen %.80s: it must be an address and a port; write 127.0.0.1:8080 or [::1]:8080",
                               text);
        bool six = text[0] == '[' && text[n - 1] == ']';
        memcpy(host, text + six, n - 2 * (size_t)six);
        if (six && inet_pton(AF_INET6, host, &v6->sin6_addr) == 1 && IN6_IS_ADDR_LOOPBACK(&v6->sin6_addr)) {
                v6->sin6_family = AF_INET6;
                v6->sin6_port = htons((uint16_t)port);
                *ret_n = sizeof *v6;
                return CODE_OK;
        }
        if (!six && inet_pton(AF_INET, host, &v4->sin_addr) == 1 && ntohl(v4->sin_addr.s_addr) >> 24 == 127) {
                v4->sin_family = AF_INET;
                v4->sin_port = htons((uint16_t)port);
                *ret_n = sizeof *v4;
                return CODE_OK;
        }
        return tp_fail(err, CODE_BAD_INPUT,
                       "--listen %.80s: only loopback addresses are possible, since nothing here is encrypted; listen on 127.0.0.1 and "
                       "reach it by an ssh tunnel",
                       text);
}

static enum code open_socket(struct http *h, const char *listen_at, struct tp_error *err)
{
        struct sockaddr_storage at;
        socklen_t n = 0;
        int one = 1;
        const char *pid = getenv("LISTEN_PID"), *fds = getenv("LISTEN_FDS");
        if (pid && fds && strtol(pid, NULL, 10) == (long)getpid() && strcmp(fds, "1") == 0) {
                h->fd = 3;
        } else {
                enum code code = read_listen(listen_at, &at, &n, err);
                if (code)
                        return code;
                h->fd = socket(at.ss_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
                if (h->fd < 0)
                        return tp_fail_sys(err, CODE_LINK_DEAD, errno, "no socket for %s", listen_at);
                setsockopt(h->fd, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one);
                if (bind(h->fd, (struct sockaddr *)&at, n) || listen(h->fd, 128))
                        return tp_fail_sys(err, CODE_BUSY, errno,
                                           "--listen %s cannot be used; stop the program that has it, or choose another port", listen_at);
        }
        n = sizeof at;
        if (getsockname(h->fd, (struct sockaddr *)&at, &n) == 0)
                h->port = ntohs(at.ss_family == AF_INET6 ? ((struct sockaddr_in6 *)(void *)&at)->sin6_port
                                                         : ((struct sockaddr_in *)(void *)&at)->sin_port);
        return CODE_OK;
}

static bool is_healthy(void *ctx) { return house_healthy(ctx); }

static enum code start(struct http *h, const struct http_setup *setup, struct tp_error *err)
{
        struct api_setup api = {h->world,   h->log,  house_store(h->house), house_inbox(h->house), house_slot(h->house), setup->build,
                                is_healthy, h->house};
        enum code code = h->lock ? open_socket(h, setup->listen, err) : tp_fail_memory(err);
        if (!code)
                code = api_open(&h->api, &api, err);
        h->api_is_open = !code;
        if (!code)
                code = streams_open(&h->api, &h->streams, err);
        if (!code && !(h->crowd = crowd_new(h->world)))
                code = tp_fail_memory(err);
        if (!code)
                code = workers_start(h, err);
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
        lock(h);
        bool wait = h->at_work || (h->visits && world_boot_ns(h->world) < begun_ns + STOP_NS);
        unlock(h);
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
        workers_stop(h);
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
