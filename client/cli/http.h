/* http.h: one question to the daemon, by libcurl.  No proxy, no redirect: the daemon is on this machine. */
#ifndef TIPPLANE_CLI_HTTP_H
#define TIPPLANE_CLI_HTTP_H
#include "cli/cli.h"

struct answer {
        int status;
        struct text body;
        char etag[128], dtype[16]; /* dtype: "c128le", of a trace */
        cJSON *json;               /* NULL unless the body is JSON */
};
struct ask {
        const char *method, *path; /* "GET", "/api/v1/runs" */
        const char *body;          /* JSON, NULL: none */
        size_t body_n;
        bool key;            /* send a fresh Idempotency-Key */
        int timeout_s;       /* 0: 30 s */
        const char *save_to; /* file that takes a good answer's body instead of answer.body; whole or not at all */
        bool anonymous;      /* send no token: for what needs none */
};
void answer_init(struct answer *a);
void answer_done(struct answer *a);
/* CODE_LINK_DEAD: no daemon at the address.  An answer of 400 and above becomes an error with the daemon's own sentence and what to do. */
enum code http_ask(struct cli *c, const struct ask *ask, struct answer *ret, struct tp_error *err);
/* GET; printf-like path.  *ret is initialised here; answer_done() also after failure. */
enum code http_get(struct cli *c, struct answer *ret, struct tp_error *err, const char *fmt, ...) __attribute__((format(printf, 4, 5)));
/* GET of JSON for people's eyes: as http_get, and with --json the body goes to c->out at once (*ret_done). */
enum code http_get_or_json(struct cli *c, struct answer *ret, bool *ret_done, struct tp_error *err, const char *fmt, ...)
        __attribute__((format(printf, 5, 6)));
/* Calls `line` for each line of an endless answer until it returns false, the stream ends, or (quiet_ns not 0)
   nothing has come for that long. */
enum code http_stream(struct cli *c, const char *path, int64_t quiet_ns, bool (*line)(void *ctx, const char *line), void *ctx,
                      struct tp_error *err);
/* 200 within timeout_ms?  A handle of its own: any task.  *ret_status 0: nothing answered. */
bool http_is_ok(const char *url, long timeout_ms, int *ret_status);
/* 401 gives CODE_UNAUTHENTICATED and so on; `word` is the problem's `code`, may be "". */
enum code code_of_problem(const char *word, int status);

#endif
