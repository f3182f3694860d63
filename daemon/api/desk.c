/* desk.c: see desk.h.
 * Idea        A command row in the catalogue is written before the loop hears of the command and gets its answer from the loop's own
 *             callback, so the answer is kept even if nobody waits for it any more.  What the callback needs travels with the command
 *             (struct ticket); nothing of it belongs to the request.
 * Threads     order_done() runs on the loop's task: it only copies, submits and posts. */
#include "api/desk.h"
#include "api/problem.h"
#include "api/route.h"
#include "base/hash.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define STORE_WAIT_NS (INT64_C(10) * NS_PER_S)
#define CLOSE_WAIT_NS (INT64_C(12) * NS_PER_S)
enum { DESK_ANSWER = 500 };

struct ticket {
        struct message message;
        const struct world *world;
        struct store *store; /* NULL: nothing is kept */
        struct inbox *inbox;
        uint64_t cookie;
        int ok_status, status;
        char key[72], token[27], path[120];
        struct text body;
};

static void ticket_free(struct message *m)
{
        struct ticket *t = (struct ticket *)(void *)m;
        text_done(&t->body);
        free(t);
}

enum code desk_open(struct desk *d, struct api *api, struct tp_error *err)
{
        *d = (struct desk){.api = api, .inbox = api->world->task->inbox_new(api->world, 0)};
        return d->inbox ? CODE_OK : tp_fail_memory(err);
}

/* An answer has come; `owed` counts what is still on its way to this inbox. */
static struct message *desk_take(struct desk *d, int64_t deadline_ns)
{
        struct message *m = d->api->world->task->take(d->api->world, d->inbox, deadline_ns);
        if (m)
                d->owed--;
        return m;
}

void desk_close(struct desk *d)
{
        if (!d->inbox)
                return;
        int64_t deadline = world_boot_ns(d->api->world) + CLOSE_WAIT_NS;
        while (d->owed && world_boot_ns(d->api->world) < deadline) {
                struct message *m = desk_take(d, deadline);
                if (m)
                        m->free(m);
        }
        if (d->owed) /* somebody still holds the inbox's address: better lost than freed under him */
                log_event(d->api->log, LOG_WARN, "desk.owed", "answers=%u msg=\"commands without an answer when the door closed\"",
                          d->owed);
        else
                d->api->world->task->inbox_free(d->api->world, d->inbox);
        d->inbox = NULL;
}

enum code desk_store(struct desk *d, struct work *take, bool *ret_duplicate, struct tp_error *err)
{
        uint64_t cookie = ++d->cookie;
        int64_t deadline = world_boot_ns(d->api->world) + STORE_WAIT_NS;
        take->answer = d->inbox;
        take->cookie = cookie;
        if (!store_submit(d->api->store, take, DURABLE)) {
                work_free(take);
                return tp_fail(err, CODE_BUSY, "the store takes no more work just now; ask again in a moment");
        }
        d->owed++;
        for (struct message *m; (m = desk_take(d, deadline));) {
                struct store_done *done = (struct store_done *)(void *)m;
                if (m->kind != STORE_DONE || done->cookie != cookie) {
                        m->free(m); /* a late answer to somebody who has gone */
                        continue;
                }
                enum code code = done->code;
                if (code && err)
                        *err = done->err;
                if (ret_duplicate)
                        *ret_duplicate = done->duplicate;
                m->free(m);
                return code;
        }
        enum code code = tp_fail(err, CODE_TIMED_OUT,
                                 "the disk has not confirmed the command within 10 s; look whether it happened before asking again");
        if (err)
                err->effect_unknown = true;
        return code;
}

void desk_audit(const struct request *q, struct work *work, const char *what, const char *target, const char *result)
{
        struct fact *f = work ? work_add(work, FACT_AUDIT) : NULL;
        if (!f)
                return;
        f->of.audit.token = work_text(work, "%s", q->who.id);
        f->of.audit.what = what;
        f->of.audit.target = work_text(work, "%s", target);
        f->of.audit.body = q->body_n && q->body_n <= 4096 ? work_text(work, "%.*s", (int)q->body_n, q->body) : "{}";
        f->of.audit.result = result;
}

struct command *desk_command(const struct request *q, enum command_kind what, const char *why, struct tp_error *err)
{
        struct command *c = calloc(1, sizeof *c);
        if (!c) {
                tp_fail_memory(err);
                return NULL;
        }
        c->what = what;
        snprintf(c->person, sizeof c->person, "%s", q->who.person);
        snprintf(c->why, sizeof c->why, "%s", why && why[0] ? why : "no reason given");
        return c;
}

static void keep(struct ticket *t)
{
        struct work *work = t->store ? work_new(NULL) : NULL;
        struct fact *f = work ? work_add(work, FACT_COMMAND_DONE) : NULL;
        if (f) {
                f->of.command.key = work_text(work, "%s", t->key);
                f->of.command.token = work_text(work, "%s", t->token);
                f->of.command.status = t->status;
                f->of.command.reply = work_text(work, "%s", text_of(&t->body));
        }
        if (work && (!f || !f->of.command.reply || !store_submit(t->store, work, LAZY)))
                work_free(work);
}

static void order_done(void *ctx, enum code code, const char *json, const struct tp_error *err)
{
        struct ticket *t = ctx;
        t->status = code ? code_rows[code].http : t->ok_status;
        if (code)
                problem_body(err, t->path, &t->body);
        else
                text_put(&t->body, json ? json : "{}");
        keep(t);
        if (!t->world->task->post(t->world, t->inbox, &t->message))
                ticket_free(&t->message);
}

static struct ticket *ticket_new(const struct request *q, int ok_status)
{
        struct ticket *t = calloc(1, sizeof *t);
        if (!t)
                return NULL;
        t->message.kind = DESK_ANSWER;
        t->message.free = ticket_free;
        t->world = q->api->world;
        t->inbox = q->desk->inbox;
        t->cookie = ++q->desk->cookie;
        t->ok_status = ok_status;
        snprintf(t->path, sizeof t->path, "%s", q->path);
        text_init(&t->body, 0);
        return t;
}

/* What a status and a body look like, first time and every time. */
static void show(const struct request *q, struct reply *r, int status, const char *body)
{
        text_clear(&r->body);
        if (!status) {
                snprintf(r->location, sizeof r->location, "/api/v1/commands/%s", q->idempotency_key ? q->idempotency_key : "");
                text_put(&r->body, "{\"accepted\":true,\"status\":\"under way\"}");
                if (!q->idempotency_key)
                        r->location[0] = 0;
                reply_json(r, 202);
                return;
        }
        text_put(&r->body, body ? body : "{}");
        r->status = status;
        r->type = status >= 400 ? "application/problem+json" : "application/json";
        const char *run = status == 201 && body ? strstr(body, "\"run\":\"") : NULL;
        if (run && strlen(run) >= 7 + 26)
                snprintf(r->location, sizeof r->location, "/api/v1/runs/%.26s", run + 7);
}

static enum code hand_over(struct request *q, struct reply *r, struct command *take, struct ticket *t, struct tp_error *err)
{
        struct desk *d = q->desk;
        uint64_t cookie = t->cookie;
        int64_t deadline = world_boot_ns(q->api->world) + ORDER_WAIT_NS;
        take->done = order_done;
        take->ctx = t;
        if (!command_post(q->api->world, q->api->loop, take)) {
                free(take);
                tp_fail(err, CODE_BUSY, "the loop takes no more commands just now; ask again in a moment with a new key");
                t->status = code_rows[CODE_BUSY].http;
                problem_body(err, q->path, &t->body);
                keep(t);
                ticket_free(&t->message);
                return CODE_BUSY;
        }
        d->owed++;
        for (struct message *m; (m = desk_take(d, deadline));) {
                struct ticket *answer = (struct ticket *)(void *)m;
                bool mine = m->kind == DESK_ANSWER && answer->cookie == cookie;
                if (mine)
                        show(q, r, answer->status, text_of(&answer->body));
                m->free(m);
                if (mine)
                        return CODE_OK;
        }
        show(q, r, 0, NULL);
        return CODE_OK;
}

static enum code same_again(struct request *q, struct reply *r, struct tp_error *err)
{
        int status = 0;
        const char *body = NULL;
        uint8_t digest[32];
        struct view *view = ask_view(q, NULL, err);
        enum code code = view ? view_command(view, q->who.id, q->idempotency_key, q->arena, &status, &body, digest, err) : err->code;
        view_close(view);
        if (!code)
                show(q, r, status, body);
        return code;
}

enum code desk_order(struct request *q, struct reply *r, struct command *take, const char *what, int ok_status, struct tp_error *err)
{
        bool duplicate = false;
        struct sha256 digest;
        struct work *work = work_new(NULL);
        struct ticket *t = ticket_new(q, ok_status);
        struct fact *f = work && t ? work_add(work, FACT_COMMAND) : NULL;
        enum code code = f ? CODE_OK : tp_fail_memory(err);
        if (!code && f) {
                sha256_init(&digest);
                sha256_add(&digest, q->path, strlen(q->path) + 1);
                sha256_add(&digest, q->body, q->body_n);
                sha256_end(&digest, f->of.command.request);
                f->of.command.key = work_text(work, "%s", q->idempotency_key);
                f->of.command.token = work_text(work, "%s", q->who.id);
                f->of.command.body = work_text(work, "%.*s", (int)q->body_n, q->body_n ? q->body : "");
                desk_audit(q, work, what, take->run[0] ? take->run : take->wafer[0] ? take->wafer : "station", "accepted");
                snprintf(t->key, sizeof t->key, "%s", q->idempotency_key);
                snprintf(t->token, sizeof t->token, "%s", q->who.id);
                t->store = q->api->store;
                code = desk_store(q->desk, work, &duplicate, err);
                work = NULL;
        }
        if (!code && !duplicate)
                return hand_over(q, r, take, t, err);
        work_free(work);
        free(take);
        if (t)
                ticket_free(&t->message);
        if (code == CODE_BAD_INPUT && err)
                snprintf(err->pointer, sizeof err->pointer, "Idempotency-Key");
        return code ? code : same_again(q, r, err);
}

enum code desk_urgent(struct request *q, struct reply *r, struct command *take, struct tp_error *err)
{
        struct ticket *t = ticket_new(q, 200);
        if (!t) {
                free(take);
                return tp_fail_memory(err);
        }
        q->idempotency_key = NULL;
        return hand_over(q, r, take, t, err);
}
