/* api/: the HTTP interface of schema/openapi.yaml.  May use: run/ (commands, snapshots), store/ (views, facts), evaluate/, recipe/,
   formats/. http*.c alone know libmicrohttpd and sockets; everything else is a function from a request to a reply and runs as well on a
   fiber without any socket.

   api.h: what all handlers share.  route_answer() may block on the store and, at most ORDER_WAIT_NS, on the loop; so the door calls it on
   tasks of its own. */
#ifndef TIPPLANE_API_API_H
#define TIPPLANE_API_API_H
#include "base/arena.h"
#include "base/log.h"
#include "run/command.h"
#include "store/view.h"
#include <stdatomic.h>

enum role { ROLE_NONE, ROLE_WATCH, ROLE_OPERATE, ROLE_ENGINEER, ROLE_SAFETY };
extern const char *const role_words[]; /* "none", "watch", "operate", "engineer", "safety", NULL */
enum cost { COST_SNAPSHOT, COST_READER, COST_COMMAND, COST_STREAM, COST_FILE };
extern const char *const cost_words[];

struct key {
        uint8_t digest[32];
        char id[27], person[40];
        enum role role;
};
struct shelf;
struct api {
        const struct world *world;
        const struct log *log;
        struct store *store;
        struct inbox *loop;
        struct snapshot_slot *slot;
        char build[64];
        bool (*healthy)(void *ctx);
        void *healthy_ctx;     /* any task; NULL: always */
        struct shelf *shelf;   /* maps of sealed runs */
        _Atomic bool refusing; /* the daemon is closing: changes get 503 */
        struct lock *lock;     /* guards everything below */
        struct key *keys;
        size_t key_n; /* all tokens, so that none needs the disk */
        struct ulid_maker ulids;
        struct {
                uint64_t by_cost[5], by_class[6];
        } asked; /* requests by cost; replies by status / 100 */
        unsigned streams;
};
struct api_setup {
        const struct world *world;
        const struct log *log;
        struct store *store;
        struct inbox *loop;
        struct snapshot_slot *slot;
        const char *build;
        bool (*healthy)(void *ctx);
        void *healthy_ctx;
};
/* Reads the tokens.  The store outlives the api. */
enum code api_open(struct api *, const struct api_setup *, struct tp_error *);
void api_close(struct api *);
void api_ulid(struct api *, char ret[27]);

/* A place where one task at a time waits for the store and the loop.  Answers may come late: desk_close waits for them. */
struct desk {
        struct api *api;
        struct inbox *inbox;
        uint64_t cookie;
        unsigned owed;
};
enum code desk_open(struct desk *, struct api *, struct tp_error *);
void desk_close(struct desk *);

struct route;
#define PARAMS_MAX 4
#define QUERY_MAX 12
struct request {
        struct api *api;
        struct desk *desk;           /* for COST_COMMAND; NULL elsewhere */
        struct arena *arena;         /* lives as long as the request and its reply */
        const char *method, *target; /* "GET", "/api/v1/runs?limit=3", as received */
        /* header fields, NULL when absent */
        const char *host, *origin, *fetch_site, *authorization, *content_type, *content_length, *if_none_match, *idempotency_key,
                *last_event_id;
        const char *faulty; /* the door's own complaint about the header, NULL if none */
        bool from_loopback;
        const char *body;
        size_t body_n; /* complete when route_answer is called */
        /* filled by route_open */
        const struct route *route;
        char id[27];
        const char *path, *param[PARAMS_MAX];
        struct {
                const char *name, *value;
        } query[QUERY_MAX];
        size_t query_n;
        struct key who; /* role ROLE_WATCH, person "" for readers on the loopback */
        bool opened;
};
struct reply {
        int status;
        const char *type; /* static, or in the arena */
        struct text body;
        const void *still;
        size_t still_n; /* bytes that outlive everything; instead of body */
        char file[300]; /* or a file; removed after it was opened when file_is_copy */
        bool file_is_copy;
        char etag[80], location[120], link[200], allow[40], dtype[8], save_as[80];
        unsigned retry_after_s;
        bool is_page; /* HTML: content security policy */
        bool stream, stream_hello, stream_reset;
        uint64_t stream_seq;
        uint32_t stream_epoch; /* an event stream after this event; what it begins with */
};
void reply_init(struct reply *);
void reply_done(struct reply *);

/* ---- small helpers of the handlers (represent.c) ---- */
const char *query_text(const struct request *, const char *name); /* NULL when absent */
/* CODE_BAD_INPUT outside [low, high]. */
enum code query_int(const struct request *, const char *name, int64_t low, int64_t high, int64_t standard, int64_t *ret, struct tp_error *);
enum code query_word(const struct request *, const char *name, const char *const *words, int *ret, struct tp_error *); /* -1 when absent */
/* The JSON body by a field table; an empty body reads as {}.  Refused: *ret is zeros, so that whoever looks at it all the same sees none. */
struct object;
enum code body_read(const struct request *, const struct object *, void *ret, struct tp_error *);
void reply_json(struct reply *, int status); /* body is JSON */
void reply_text(struct reply *, const char *type);
/* Sets the ETag (bare, without quotes); true when If-None-Match has it: the reply is then 304 and complete. */
bool reply_unchanged(const struct request *, struct reply *, const char *etag);
/* "null" when the stored text is absent or no JSON object. */
const char *json_or_null(const char *stored);
/* `what` is optional: "die". */
struct json_out;
void json_die(struct json_out *, const char *key, bool has, int x, int y);
void json_id(struct json_out *, const char *key, int64_t id);         /* 0: null */
void json_word(struct json_out *, const char *key, const char *word); /* "": null */

/* A view with the time limit of one question; the caller closes it. NULL: err says why. */
struct view *ask_view(const struct request *, const char *run_or_null, struct tp_error *);
/* The same of the run in the path; CODE_NOT_FOUND with its id and a way on. */
struct view *ask_run(const struct request *, struct tp_error *);
/* The recipe of a view's run, in the question's arena. */
struct recipe;
enum code ask_recipe(const struct request *, struct view *, struct recipe **ret, struct tp_error *);

#endif
