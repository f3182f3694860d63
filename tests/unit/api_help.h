/* api_help.h: the API without a socket: a real store in a folder of its own, a snapshot, and a loop that answers commands as the test tells
 * it. */
#ifndef TIPPLANE_TESTS_API_HELP_H
#define TIPPLANE_TESTS_API_HELP_H
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include "api/auth.h"
#include "api/desk.h"
#include "api/event.h"
#include "api/problem.h"
#include "api/route.h"
#include "api/stream.h"
#include "base/hash.h"
#include "host/host.h"

#define RUN_ID "01JABCDEFGH0000000000000AA"
#define KEY "0123456789abcdef"

struct bench {
        struct world *w;
        char dir[96], token[5][70]; /* by role */
        struct store *s;
        struct inbox *loop, *answers;
        struct snapshot_slot *slot;
        struct api api;
        struct desk desk;
        struct task *task;
        uint64_t version;
        /* what the loop does, and what it has seen */
        _Atomic bool end, silent;
        _Atomic int commands;
        enum code loop_code;
        struct command last;
        _Atomic(struct command *) kept; /* while silent */
};

static inline void bench_answer(struct bench *b, struct command *c)
{
        struct tp_error err = {0};
        if (b->loop_code)
                tp_fail(&err, b->loop_code, "the loop refuses run %s; ask for another", c->run);
        c->done(c->ctx, b->loop_code,
                b->loop_code               ? NULL
                : c->what == COMMAND_START ? "{\"run\":\"" RUN_ID "\"}"
                                           : "{\"accepted\":true}",
                &err);
        free(c);
}

static inline void bench_loop(void *arg)
{
        struct bench *b = arg;
        while (!atomic_load(&b->end)) {
                struct message *m = b->w->task->take(b->w, b->loop, world_boot_ns(b->w) + 20 * NS_PER_MS);
                if (!m)
                        continue;
                struct command *c = (struct command *)(void *)m;
                b->last = *c;
                atomic_fetch_add(&b->commands, 1); /* before the answer: whoever has it may look */
                if (atomic_load(&b->silent))
                        atomic_store(&b->kept, c);
                else
                        bench_answer(b, c);
        }
}

static inline void bench_show(struct bench *b, const char *map)
{
        struct snapshot *s = calloc(1, sizeof *s);
        s->version = ++b->version;
        s->epoch = 7;
        s->in_hand = true;
        snprintf(s->run, sizeof s->run, "%s", RUN_ID);
        s->station_json = strdup("{\"name\":\"bench\",\"connected\":true}");
        s->run_json = strdup("{\"id\":\"" RUN_ID "\",\"state\":\"running\"}");
        s->map_json = strdup(map);
        snapshot_set(b->slot, s);
}

static inline void bench_token(struct bench *b, enum role role)
{
        struct tp_error err = {0};
        uint8_t digest[32];
        token_make(b->w, b->token[role], digest);
        struct work *w = work_new(NULL);
        struct fact *f = work_add(w, FACT_TOKEN);
        f->of.token.id = work_text(w, "01JABCDEFGH000000000000T%d0", (int)role);
        f->of.token.person = work_text(w, "%s-person", role_words[role]);
        f->of.token.role = role_words[role];
        f->of.token.label = "test";
        memcpy(f->of.token.digest, digest, 32);
        w->answer = b->answers;
        assert_true(store_submit(b->s, w, DURABLE));
        struct message *m = b->w->task->take(b->w, b->answers, world_boot_ns(b->w) + 20 * NS_PER_S);
        assert_non_null(m);
        if (((struct store_done *)(void *)m)->code)
                fail_msg("%s", ((struct store_done *)(void *)m)->err.text);
        m->free(m);
        (void)err;
}

static inline void bench_open(struct bench *b)
{
        struct tp_error err = {0};
        struct store_report report;
        struct store_sizes sizes = {.reserve_bytes = 256 * 1024};
        b->s = store_open_sized(b->w, b->dir, NULL, "test-build", &sizes, &report, &err);
        if (!b->s)
                fail_msg("store: %s", err.text);
}

static inline void bench_api(struct bench *b)
{
        struct tp_error err = {0};
        struct api_setup setup = {.world = b->w, .store = b->s, .loop = b->loop, .slot = b->slot, .build = "test-build"};
        if (api_open(&b->api, &setup, &err) || desk_open(&b->desk, &b->api, &err))
                fail_msg("api: %s", err.text);
}

static inline struct bench *bench_new(void)
{
        struct bench *b = calloc(1, sizeof *b);
        struct tp_error err = {0};
        b->w = host_world_new(&err);
        assert_non_null(b->w);
        snprintf(b->dir, sizeof b->dir, "/tmp/tipplane-api-XXXXXX");
        assert_non_null(mkdtemp(b->dir));
        b->answers = b->w->task->inbox_new(b->w, 0);
        b->loop = b->w->task->inbox_new(b->w, 4);
        b->slot = snapshot_slot_new(b->w);
        bench_open(b);
        for (int role = ROLE_WATCH; role <= ROLE_SAFETY; role++)
                bench_token(b, (enum role)role);
        bench_api(b);
        bench_show(b, "{\"run\":\"" RUN_ID "\",\"dies\":[]}");
        b->task = b->w->task->start(b->w, "loop", bench_loop, b);
        return b;
}

static inline int bench_remove(const char *path, const struct stat *st, int type, struct FTW *ftw)
{
        (void)st, (void)type, (void)ftw;
        return remove(path);
}

static inline void bench_free(struct bench *b)
{
        if (b->kept)
                bench_answer(b, b->kept);
        atomic_store(&b->end, true);
        b->w->task->join(b->w, b->task);
        desk_close(&b->desk);
        api_close(&b->api);
        store_close(b->s);
        snapshot_slot_free(b->slot);
        b->w->task->inbox_free(b->w, b->loop);
        b->w->task->inbox_free(b->w, b->answers);
        host_world_free(b->w);
        nftw(b->dir, bench_remove, 16, FTW_DEPTH | FTW_PHYS);
        free(b);
}

/* One request and its reply; ask_done() after it. */
struct asked {
        struct request q;
        struct reply r;
        char bearer[90], length[24];
};

static inline void ask_begin(struct bench *b, struct asked *a, const char *method, const char *target, enum role role, const char *key,
                             const char *body)
{
        memset(a, 0, sizeof *a);
        reply_init(&a->r);
        a->q.api = &b->api;
        a->q.desk = &b->desk;
        a->q.arena = arena_new(0);
        a->q.method = method;
        a->q.target = target;
        a->q.host = "127.0.0.1:8080";
        a->q.from_loopback = true;
        a->q.idempotency_key = key;
        if (role != ROLE_NONE) {
                snprintf(a->bearer, sizeof a->bearer, "Bearer %s", b->token[role]);
                a->q.authorization = a->bearer;
        }
        if (body) {
                a->q.body = body;
                a->q.body_n = strlen(body);
                a->q.content_type = "application/json";
                snprintf(a->length, sizeof a->length, "%zu", a->q.body_n);
                a->q.content_length = a->length;
        }
}

static inline void ask_done(struct asked *a)
{
        reply_done(&a->r);
        arena_free(a->q.arena);
}

static inline int ask(struct bench *b, struct asked *a, const char *method, const char *target, enum role role, const char *key,
                      const char *body)
{
        ask_begin(b, a, method, target, role, key, body);
        route_answer(&a->q, &a->r);
        return a->r.status;
}

/* A text member of the reply's JSON, copied; "" when absent. */
static inline const char *member(const struct asked *a, const char *key, char ret[480])
{
        cJSON *json = cJSON_ParseWithLength(text_of(&a->r.body), a->r.body.n);
        const cJSON *v = cJSON_GetObjectItemCaseSensitive(json, key);
        snprintf(ret, 480, "%s", cJSON_IsString(v) ? v->valuestring : "");
        cJSON_Delete(json);
        return ret;
}

#define expect_status(a, want)                                                                                         \
        do {                                                                                                           \
                if ((a)->r.status != (want))                                                                           \
                        fail_msg("%s %s: status %d, want %d: %s", (a)->q.method, (a)->q.target, (a)->r.status, (want), \
                                 text_of(&(a)->r.body));                                                               \
        } while (0)

#endif
