/* http_own.h: what the files of http share; only they know libmicrohttpd.  A visit is one request on one connection; it belongs to the HTTP
   thread, but between post and resume to its worker. */
#ifndef TIPPLANE_API_HTTP_OWN_H
#define TIPPLANE_API_HTTP_OWN_H
#include "api/crowd.h"
#include "api/desk.h"
#include "api/http.h"
#include "api/problem.h"
#include "api/route.h"
#include "api/stream.h"
#include <microhttpd.h>

#define HTTP_WAITING_MAX 128 /* requests at one worker */

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

static inline void http_lock(struct http *h) { h->world->task->lock(h->world, h->lock); }
static inline void http_unlock(struct http *h) { h->world->task->unlock(h->world, h->lock); }

/* http_workers.c */
enum code http_workers_start(struct http *h, struct tp_error *err);
void http_workers_stop(struct http *h);
/* Suspends the visit and hands it to its worker; false: the worker has too much to do. */
bool http_hand_to_worker(struct visit *v);

/* http_visit.c */
struct visit *visit_new(struct http *h, struct MHD_Connection *c);
void visit_free(struct visit *v);
/* What the header says into v->request; what is wrong with it into v->request.faulty. */
void visit_read_header(struct visit *v, const char *target, const char *method);

/* http_reply.c: v->reply to the connection; MHD_NO closes it. */
enum MHD_Result visit_send_reply(struct visit *v);

/* http_listen.c: a listening socket on loopback into h->fd and h->port, or the one that systemd hands over. */
enum code http_listen(struct http *h, const char *listen_at, struct tp_error *err);

#endif
