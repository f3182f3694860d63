/* fuzz_request.c: requests to the daemon's interface, as anybody on this machine may send them: a line "METHOD TARGET ROLE KEY", then the
   body.  Whoever asks, and for whatever: the reply is complete, never says that we have a bug, JSON is JSON, and a refusal is a problem
   with a sentence that a terminal may see. */
#include "tests/fuzz/fuzz.h"
#include "tests/fuzz/fuzz_json.h"
#include "tests/unit/api_help.h"

static const char *const fuzz_words[] = {FUZZ_JSON_WORDS,
                                         "GET ",
                                         "POST ",
                                         "PUT ",
                                         "HEAD ",
                                         "/api/v1/runs/" RUN_ID,
                                         "/commands",
                                         "/sweeps/1",
                                         "/traces/S11",
                                         "?limit=",
                                         "&after=",
                                         "%00",
                                         "%2f",
                                         "%",
                                         "+",
                                         "\"do\":\"skip\"",
                                         "\"die\":{\"x\":1,\"y\":2}",
                                         "\"reason\":",
                                         "\"recipe\":",
                                         " operate ",
                                         " safety ",
                                         KEY,
                                         NULL};

static struct bench *bench;
static void bench_end(void) { bench_free(bench); }

/* The next word of a line, up to a space or the end; what lies behind the room is left out. */
static const char *word(const char *at, const char *end, char *to, size_t size)
{
        size_t n = 0;
        for (; at < end && *at != ' '; at++)
                if (n + 1 < size && *at)
                        to[n++] = *at;
        to[n] = 0;
        return at < end ? at + 1 : end;
}

static void complete(const struct asked *a)
{
        const struct reply *r = &a->r;
        if (r->status < 200 || r->status > 599 || r->status == 500)
                fuzz_broken("a reply without a status, or one that says that we have a bug");
        if (!text_ok(&r->body))
                fuzz_broken("a reply whose body is broken");
        if (!r->type || r->still || !strstr(r->type, "json"))
                return;
        cJSON *json = cJSON_ParseWithLength(text_of(&r->body), r->body.n);
        const cJSON *detail = cJSON_GetObjectItemCaseSensitive(json, "detail");
        if (!json)
                fuzz_broken("a reply that calls itself JSON and is none");
        if (r->status >= 400 && !(cJSON_IsString(detail) && strlen(detail->valuestring) >= 12 && fuzz_printable(detail->valuestring))) {
                fprintf(stderr, "fuzz: %d: %s\n", r->status, text_of(&r->body));
                fuzz_broken("a refusal without a sentence that a terminal may see");
        }
        cJSON_Delete(json);
}

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        static char target[4096], method[16], role[16], key[80], body[FUZZ_BYTES_MAX + 1];
        if (!bench) {
                bench = bench_new();
                atexit(bench_end);
        }
        const char *line_end = memchr(bytes, '\n', n), *end = line_end ? line_end : bytes + n, *at = bytes;
        at = word(at, end, method, sizeof method);
        at = word(at, end, target, sizeof target);
        at = word(at, end, role, sizeof role);
        word(at, end, key, sizeof key);
        size_t body_n = line_end ? (size_t)(bytes + n - line_end - 1) : 0;
        if (body_n)
                memcpy(body, line_end + 1, body_n);
        body[body_n] = 0;
        int who = ROLE_SAFETY;
        while (who > ROLE_NONE && strcmp(role_words[who], role) != 0)
                who--;
        struct asked a;
        ask_begin(bench, &a, method, target, (enum role)who, key[0] ? key : NULL, body_n ? body : NULL);
        a.q.body_n = body_n; /* a NUL is a byte as others are */
        route_answer(&a.q, &a.r);
        complete(&a);
        int status = a.r.status;
        ask_done(&a);
        return status < 400 ? CODE_OK : tp_fail(err, CODE_BAD_INPUT, "the request is answered with status %d", status);
}
