/* http.c: see http.h.
 * Token       read when first needed; a missing default file means none, since reading on this machine needs none; a missing --token-file
 * is an error. Ambiguity   a command whose answer was lost is not sent again: the sentence says so, and the same command can be typed
 * again. */
#include "cli/http.h"
#include "base/hash.h"
#include <curl/curl.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define TIMEOUT_S 30L
#define CONNECT_MS 3000L
#define BODY_MAX ((size_t)1 << 30)

void answer_init(struct answer *a)
{
        *a = (struct answer){0};
        text_init(&a->body, BODY_MAX);
}

void answer_done(struct answer *a)
{
        text_done(&a->body);
        cJSON_Delete(a->json);
        a->json = NULL;
}

/* ---- token -------------------------------------------------------------------------------------------------------------------------- */

static bool default_token_path(char *ret, size_t room)
{
        const char *config = getenv("XDG_CONFIG_HOME"), *home = getenv("HOME");
        if (config && config[0] == '/')
                snprintf(ret, room, "%s/tipplane/token", config);
        else if (home && home[0])
                snprintf(ret, room, "%s/.config/tipplane/token", home);
        else
                return false;
        return true;
}

static enum code read_token(struct cli *c, struct tp_error *err)
{
        const char *asked = cli_option(c, "token-file");
        char path[1024];
        struct text t;
        if (c->has_token_read)
                return CODE_OK;
        if (asked)
                snprintf(path, sizeof path, "%s", asked);
        else if (!default_token_path(path, sizeof path))
                return CODE_OK;
        text_init(&t, 4096);
        enum code code = c->world->file->read(c->world, path, 4096, &t, err);
        size_t n = strcspn(text_of(&t), " \t\r\n");
        if (code == CODE_NOT_FOUND && !asked)
                code = CODE_OK;
        else if (code)
                code = tp_fail(err, CODE_UNAUTHENTICATED,
                               "token file %s cannot be read; the first token of a daemon lies in its data directory, in the file token",
                               path);
        else if (n == 0 || n >= sizeof c->token)
                code = tp_fail(err, CODE_UNAUTHENTICATED,
                               "token file %s: its first word has %zu characters; it must be one token, tpl_ and 64 hex digits", path, n);
        else
                snprintf(c->token, sizeof c->token, "%.*s", (int)n, text_of(&t));
        text_done(&t);
        c->has_token_read = !code;
        return code;
}

/* ---- one request -------------------------------------------------------------------------------------------------------------------- */

struct taking {
        struct answer *answer;
        CURL *curl;
        FILE *file; /* takes the body of a good answer */
        bool full;
};

static size_t take_body(char *at, size_t size, size_t n, void *ctx)
{
        struct taking *t = ctx;
        long status = 0;
        curl_easy_getinfo(t->curl, CURLINFO_RESPONSE_CODE, &status);
        if (t->file && status >= 200 && status < 300) {
                t->full = fwrite(at, size, n, t->file) != n;
                return t->full ? 0 : size * n;
        }
        text_bytes(&t->answer->body, at, size * n);
        return text_ok(&t->answer->body) ? size * n : 0;
}

/* The value of a header line that begins with `name`. */
static void keep_header(const char *at, size_t bytes, const char *name, char *to, size_t room)
{
        size_t n = strlen(name);
        if (bytes <= n || strncasecmp(at, name, n) != 0)
                return;
        size_t from = n + strspn(at + n, " ");
        size_t length = bytes > from ? strcspn(at + from, "\r\n") : 0;
        snprintf(to, room, "%.*s", (int)length, at + from);
}

static size_t take_header(char *at, size_t size, size_t n, void *ctx)
{
        struct taking *t = ctx;
        keep_header(at, size * n, "etag:", t->answer->etag, sizeof t->answer->etag);
        keep_header(at, size * n, "x-dtype:", t->answer->dtype, sizeof t->answer->dtype);
        return size * n;
}

static void common_options(CURL *curl, const char *url)
{
        curl_easy_setopt(curl, CURLOPT_URL, url);
        curl_easy_setopt(curl, CURLOPT_NOPROXY, "*");
        curl_easy_setopt(curl, CURLOPT_PROTOCOLS_STR, "http,https");
        curl_easy_setopt(curl, CURLOPT_NOSIGNAL, 1L);
        curl_easy_setopt(curl, CURLOPT_CONNECTTIMEOUT_MS, CONNECT_MS);
}

static enum code fail_curl(struct cli *c, CURLcode got, const struct ask *ask, const char *say, struct tp_error *err)
{
        bool changes = strcmp(ask->method, "GET") != 0;
        if (got == CURLE_COULDNT_CONNECT || got == CURLE_COULDNT_RESOLVE_HOST)
                return tp_fail(err, CODE_LINK_DEAD, "no daemon answers at %s; start one with `tipplane up`, or give its --address",
                               c->address);
        if (got == CURLE_UNSUPPORTED_PROTOCOL || got == CURLE_URL_MALFORMAT)
                return tp_fail(err, CODE_BAD_INPUT, "--address %s: %s; it looks like http://127.0.0.1:8080", c->address, say);
        if (got == CURLE_OPERATION_TIMEDOUT)
                return tp_fail(err, CODE_TIMED_OUT, "%s %s: no answer from %s within %ld s%s", ask->method, ask->path, c->address,
                               ask->timeout_s ? (long)ask->timeout_s : TIMEOUT_S,
                               changes ? "; it may have happened: look before you ask again" : "; the daemon may hang, its log will say");
        tp_fail(err, CODE_LINK_DEAD, "%s %s: the connection to %s broke (%s)%s", ask->method, ask->path, c->address, say,
                changes ? "; it may have happened: look before you ask again" : "");
        err->effect_unknown = changes;
        return CODE_LINK_DEAD;
}

enum code code_of_problem(const char *word, int status)
{
        static const struct {
                int status;
                enum code code;
        } by_status[] = {
                {400, CODE_BAD_INPUT}, {401, CODE_UNAUTHENTICATED}, {403, CODE_FORBIDDEN}, {404, CODE_NOT_FOUND}, {405, CODE_BAD_INPUT},
                {409, CODE_STATE},     {412, CODE_STATE},           {413, CODE_BAD_INPUT}, {415, CODE_BAD_INPUT}, {422, CODE_BAD_INPUT},
                {429, CODE_BUSY},      {502, CODE_LINK_DEAD},       {503, CODE_BUSY},      {504, CODE_TIMED_OUT}, {507, CODE_DISK_FULL},
        };
        for (int i = CODE_OK + 1; i < CODE_COUNT; i++)
                if (strcmp(code_rows[i].word, word) == 0)
                        return (enum code)i;
        for (size_t i = 0; i < sizeof by_status / sizeof by_status[0]; i++)
                if (by_status[i].status == status)
                        return by_status[i].code;
        return CODE_BAD_REPLY;
}

static enum code fail_status(struct cli *c, const struct ask *ask, const struct answer *a, struct tp_error *err)
{
        const char *detail = have_text(a->json, "detail"), *todo = have_text(a->json, "what_to_do"),
                   *pointer = have_text(a->json, "pointer");
        enum code code = code_of_problem(have_text(a->json, "code"), a->status);
        if (!detail[0])
                return tp_fail(err, code, "%s %s: %s answered %d without saying why; is this address a tipplaned?", ask->method, ask->path,
                               c->address, a->status);
        bool says_it = !todo[0] || strchr(detail, ';'); /* the sentence itself ends with the way on */
        return tp_fail_at(err, code, pointer, "%s%s%s", detail, says_it ? "" : "; ", says_it ? "" : todo);
}

static struct curl_slist *headers_of(struct cli *c, const struct ask *ask)
{
        struct curl_slist *list = curl_slist_append(NULL, "Expect:");
        char line[200], hex[33];
        uint8_t bytes[16];
        if (ask->body)
                list = curl_slist_append(list, "Content-Type: application/json");
        if (c->token[0] && !ask->anonymous) {
                snprintf(line, sizeof line, "Authorization: Bearer %s", c->token);
                list = curl_slist_append(list, line);
        }
        if (ask->key) {
                world_random(c->world, bytes, sizeof bytes);
                hex_of(bytes, sizeof bytes, hex);
                snprintf(line, sizeof line, "Idempotency-Key: %s", hex);
                list = curl_slist_append(list, line);
        }
        return list;
}

/* Fills *ret; the caller looks at its status. */
static enum code perform(struct cli *c, const struct ask *ask, FILE *file, struct answer *ret, struct tp_error *err)
{
        char url[2048], say[CURL_ERROR_SIZE] = "";
        struct taking taking = {.answer = ret, .curl = c->curl, .file = file};
        long status = 0;
        CURL *curl = c->curl;
        struct curl_slist *headers = headers_of(c, ask);
        snprintf(url, sizeof url, "%s%s", c->address, ask->path);
        curl_easy_reset(curl);
        common_options(curl, url);
        curl_easy_setopt(curl, CURLOPT_CUSTOMREQUEST, ask->method);
        if (ask->body || strcmp(ask->method, "POST") == 0) {
                curl_easy_setopt(curl, CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)ask->body_n);
                curl_easy_setopt(curl, CURLOPT_POSTFIELDS, ask->body ? ask->body : "");
        }
        curl_easy_setopt(curl, CURLOPT_HTTPHEADER, headers);
        curl_easy_setopt(curl, CURLOPT_ERRORBUFFER, say);
        curl_easy_setopt(curl, CURLOPT_WRITEFUNCTION, take_body);
        curl_easy_setopt(curl, CURLOPT_WRITEDATA, &taking);
        curl_easy_setopt(curl, CURLOPT_HEADERFUNCTION, take_header);
        curl_easy_setopt(curl, CURLOPT_HEADERDATA, &taking);
        if (file) { /* as long as bytes come */
                curl_easy_setopt(curl, CURLOPT_LOW_SPEED_LIMIT, 1L);
                curl_easy_setopt(curl, CURLOPT_LOW_SPEED_TIME, TIMEOUT_S);
        } else {
                curl_easy_setopt(curl, CURLOPT_TIMEOUT, ask->timeout_s ? (long)ask->timeout_s : TIMEOUT_S);
        }
        CURLcode got = curl_easy_perform(curl);
        curl_slist_free_all(headers);
        curl_easy_getinfo(curl, CURLINFO_RESPONSE_CODE, &status);
        ret->status = (int)status;
        if (taking.full)
                return tp_fail(err, CODE_DISK_FULL, "%s: cannot be written whole; make room", ask->save_to);
        if (got)
                return fail_curl(c, got, ask, say[0] ? say : curl_easy_strerror(got), err);
        return CODE_OK;
}

enum code http_ask(struct cli *c, const struct ask *ask, struct answer *ret, struct tp_error *err)
{
        char part[1100];
        FILE *file = NULL;
        enum code code = ask->anonymous ? CODE_OK : read_token(c, err);
        if (!code && !c->curl && !(c->curl = curl_easy_init()))
                code = tp_fail_memory(err);
        if (code)
                return code;
        if (ask->save_to) {
                snprintf(part, sizeof part, "%s.part", ask->save_to);
                file = fopen(part, "wb");
                if (!file)
                        return tp_fail(err, CODE_DISK, "%s cannot be written; is its folder there and yours?", part);
        }
        code = perform(c, ask, file, ret, err);
        if (file && fclose(file) && !code)
                code = tp_fail(err, CODE_DISK_FULL, "%s: cannot be written whole; make room", part);
        if (!code && ret->body.n && (ret->body.at[0] == '{' || ret->body.at[0] == '['))
                json_read(ret->body.at, ret->body.n, JSON_DEPTH_MAX, &ret->json, NULL);
        if (!code && ret->status >= 400)
                code = fail_status(c, ask, ret, err);
        if (file && !code)
                return c->world->file->rename(c->world, part, ask->save_to, err);
        if (file)
                c->world->file->remove(c->world, part, NULL);
        return code;
}

static enum code get(struct cli *c, struct answer *ret, struct tp_error *err, const char *fmt, va_list args)
{
        char path[1024];
        answer_init(ret);
        vsnprintf(path, sizeof path, fmt, args);
        enum code code = http_ask(c, &(struct ask){.method = "GET", .path = path}, ret, err);
        if (!code && !ret->json && strncmp(path, "/api/v1/", 8) == 0 && !strstr(path, ".csv") && !strstr(path, ".s2p"))
                code = tp_fail(err, CODE_BAD_REPLY, "GET %s: the answer is not JSON; is %s a tipplaned of this version?", path, c->address);
        return code;
}

enum code http_get(struct cli *c, struct answer *ret, struct tp_error *err, const char *fmt, ...)
{
        va_list args;
        va_start(args, fmt);
        enum code code = get(c, ret, err, fmt, args);
        va_end(args);
        return code;
}

enum code http_get_or_json(struct cli *c, struct answer *ret, bool *ret_done, struct tp_error *err, const char *fmt, ...)
{
        va_list args;
        va_start(args, fmt);
        enum code code = get(c, ret, err, fmt, args);
        va_end(args);
        *ret_done = !code && cli_json(c);
        if (*ret_done) {
                text_bytes(&c->out, text_of(&ret->body), ret->body.n);
                text_put(&c->out, "\n");
        }
        return code;
}

/* ---- streams and probes ------------------------------------------------------------------------------------------------------------- */

struct streaming {
        struct text rest; /* the line that has not ended yet */
        bool (*line)(void *ctx, const char *line);
        void *ctx;
        bool stop;
        const struct world *world;
        int64_t quiet_ns, heard_ns; /* ends after this long without a byte; 0: never */
};

static size_t take_lines(char *at, size_t size, size_t n, void *ctx)
{
        struct streaming *s = ctx;
        s->heard_ns = world_boot_ns(s->world);
        for (size_t i = 0; i < size * n && !s->stop; i++) {
                if (at[i] == '\n') {
                        s->stop = !s->line(s->ctx, text_of(&s->rest));
                        text_clear(&s->rest);
                } else if (at[i] != '\r') {
                        text_bytes(&s->rest, at + i, 1);
                }
        }
        return s->stop || (s->rest.n && !text_ok(&s->rest)) ? 0 : size * n;
}

/* libcurl asks about once a second. */
static int is_quiet(void *ctx, curl_off_t a, curl_off_t b, curl_off_t c, curl_off_t d)
{
        struct streaming *s = ctx;
        (void)a, (void)b, (void)c, (void)d;
        s->stop |= s->quiet_ns > 0 && s->heard_ns > 0 && world_boot_ns(s->world) - s->heard_ns > s->quiet_ns;
        return s->stop;
}

enum code http_stream(struct cli *c, const char *path, int64_t quiet_ns, bool (*line)(void *ctx, const char *line), void *ctx,
                      struct tp_error *err)
{
        struct ask ask = {.method = "GET", .path = path};
        struct streaming s = {.line = line, .ctx = ctx, .world = c->world, .quiet_ns = quiet_ns};
        char url[2048], say[CURL_ERROR_SIZE] = "";
        long status = 0;
        enum code code = read_token(c, err);
        CURL *curl = code ? NULL : curl_easy_init();
        if (!curl)
                return code ? code : tp_fail_memory(err);
        struct curl_slist *headers = headers_of(c, &ask);
        text_init(&s.rest, 1 << 20);
        snprintf(url, sizeof url, "%s%s", c->address, path);
        common_options(curl, url);
        curl_easy_setopt(curl, CURLOPT_HTTPHEADER, headers);
        curl_easy_setopt(curl, CURLOPT_ERRORBUFFER, say);
        curl_easy_setopt(curl, CURLOPT_WRITEFUNCTION, take_lines);
        curl_easy_setopt(curl, CURLOPT_WRITEDATA, &s);
        curl_easy_setopt(curl, CURLOPT_XFERINFOFUNCTION, is_quiet);
        curl_easy_setopt(curl, CURLOPT_XFERINFODATA, &s);
        curl_easy_setopt(curl, CURLOPT_NOPROGRESS, 0L);
        curl_easy_setopt(curl, CURLOPT_LOW_SPEED_LIMIT, 1L); /* the daemon says something every 15 s */
        curl_easy_setopt(curl, CURLOPT_LOW_SPEED_TIME, 60L);
        CURLcode got = curl_easy_perform(curl);
        curl_easy_getinfo(curl, CURLINFO_RESPONSE_CODE, &status);
        if (!s.stop && got)
                code = fail_curl(c, got, &ask, say[0] ? say : curl_easy_strerror(got), err);
        else if (status >= 400)
                code = tp_fail(err, code_of_problem("", (int)status), "GET %s: %s answered %ld", path, c->address, status);
        text_done(&s.rest);
        curl_slist_free_all(headers);
        curl_easy_cleanup(curl);
        return code;
}

static size_t drop(char *at, size_t size, size_t n, void *ctx)
{
        (void)at;
        (void)ctx;
        return size * n;
}

bool http_is_ok(const char *url, long timeout_ms, int *ret_status)
{
        CURL *curl = curl_easy_init();
        long status = 0;
        if (!curl)
                return false;
        common_options(curl, url);
        curl_easy_setopt(curl, CURLOPT_TIMEOUT_MS, timeout_ms);
        curl_easy_setopt(curl, CURLOPT_WRITEFUNCTION, drop);
        bool ok = !curl_easy_perform(curl) && !curl_easy_getinfo(curl, CURLINFO_RESPONSE_CODE, &status) && status == 200;
        curl_easy_cleanup(curl);
        *ret_status = (int)status;
        return ok;
}
