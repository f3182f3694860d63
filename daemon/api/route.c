/* route.c: the table of openapi.yaml, and what can be said of a request before anything is done for it. */
#include "api/route.h"
#include "api/auth.h"
#include "api/problem.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define KB 1024u
#define RECIPE_MAX (2048 * KB)
#define RUN "/api/v1/runs/{run}"
const struct route routes[] = {
        {"healthz", "GET", "/healthz", ROLE_NONE, COST_SNAPSHOT, 0, false, false, healthz_now, NULL},
        {"readyz", "GET", "/readyz", ROLE_NONE, COST_SNAPSHOT, 0, false, false, readyz_now, NULL},
        {"metrics", "GET", "/metrics", ROLE_NONE, COST_SNAPSHOT, 0, false, false, metrics_now, NULL},
        {"openapi", "GET", "/openapi.yaml", ROLE_NONE, COST_SNAPSHOT, 0, false, false, openapi_now, NULL},
        {"problem_page", "GET", "/problems/{word}", ROLE_NONE, COST_SNAPSHOT, 0, false, false, problem_page_now, NULL},
        {"page", "GET", "/", ROLE_NONE, COST_SNAPSHOT, 0, false, false, page_now, NULL},
        {"page_file", "GET", "/{file}", ROLE_NONE, COST_SNAPSHOT, 0, false, false, page_file_now, NULL},
        {"station", "GET", "/api/v1/station", ROLE_WATCH, COST_SNAPSHOT, 0, false, false, station_now, NULL},
        {"station_safe", "POST", "/api/v1/station/safe", ROLE_OPERATE, COST_COMMAND, 4 * KB, false, true, NULL, station_safe},
        {"station_clear", "POST", "/api/v1/station/clear", ROLE_SAFETY, COST_COMMAND, 4 * KB, true, false, NULL, station_clear},
        {"documents", "GET", "/api/v1/documents", ROLE_WATCH, COST_READER, 0, false, false, NULL, documents_list},
        {"document", "GET", "/api/v1/documents/{sha256}", ROLE_WATCH, COST_READER, 0, false, false, NULL, document_get},
        {"recipes", "GET", "/api/v1/recipes", ROLE_WATCH, COST_READER, 0, false, false, NULL, recipes_list},
        {"recipe_explain", "POST", "/api/v1/recipes/explain", ROLE_WATCH, COST_READER, RECIPE_MAX, false, false, NULL,
         recipe_explain_answer},
        {"recipe_plan", "POST", "/api/v1/recipes/plan", ROLE_WATCH, COST_READER, RECIPE_MAX, false, false, NULL, recipe_plan},
        {"recipe_put", "PUT", "/api/v1/recipes/{sha256}", ROLE_ENGINEER, COST_COMMAND, RECIPE_MAX, false, false, NULL, recipe_put},
        {"runs", "GET", "/api/v1/runs", ROLE_WATCH, COST_READER, 0, false, false, NULL, runs_list},
        {"run_start", "POST", "/api/v1/runs", ROLE_OPERATE, COST_COMMAND, 4 * KB, true, false, NULL, run_start},
        {"run", "GET", RUN, ROLE_WATCH, COST_READER, 0, false, false, run_now, run_get},
        {"run_command", "POST", RUN "/commands", ROLE_OPERATE, COST_COMMAND, 4 * KB, true, false, NULL, run_command},
        {"command", "GET", "/api/v1/commands/{key}", ROLE_OPERATE, COST_READER, 0, false, false, NULL, command_get},
        {"map", "GET", RUN "/map", ROLE_WATCH, COST_SNAPSHOT, 0, false, false, map_now, map_get},
        {"devices", "GET", RUN "/devices", ROLE_WATCH, COST_READER, 0, false, false, NULL, devices_get},
        {"touchdowns", "GET", RUN "/touchdowns", ROLE_WATCH, COST_READER, 0, false, false, NULL, touchdowns_get},
        {"journal", "GET", RUN "/journal", ROLE_WATCH, COST_READER, 0, false, false, NULL, journal_get},
        {"checks", "GET", RUN "/checks", ROLE_WATCH, COST_READER, 0, false, false, NULL, checks_get},
        {"intervals", "GET", RUN "/intervals", ROLE_WATCH, COST_READER, 0, false, false, NULL, intervals_get},
        {"calibrations", "GET", RUN "/calibrations", ROLE_WATCH, COST_READER, 0, false, false, NULL, calibrations_get},
        {"ribbon", "GET", RUN "/ribbon", ROLE_WATCH, COST_READER, 0, false, false, NULL, ribbon_get},
        {"yield", "GET", RUN "/yield", ROLE_WATCH, COST_READER, 0, false, false, NULL, yield_get},
        {"evaluations", "GET", RUN "/evaluations", ROLE_WATCH, COST_READER, 0, false, false, NULL, evaluations_get},
        {"parameters_json", "GET", RUN "/parameters.json", ROLE_WATCH, COST_READER, 0, false, false, NULL, parameters_json},
        {"parameters_csv", "GET", RUN "/parameters.csv", ROLE_WATCH, COST_READER, 0, false, false, NULL, parameters_csv},
        {"rescue_json", "GET", RUN "/rescue.json", ROLE_WATCH, COST_READER, 0, false, false, NULL, rescue_json},
        {"rescue_csv", "GET", RUN "/rescue.csv", ROLE_WATCH, COST_READER, 0, false, false, NULL, rescue_csv},
        {"sweeps", "GET", RUN "/sweeps", ROLE_WATCH, COST_READER, 0, false, false, NULL, sweeps_get},
        {"sweep", "GET", RUN "/sweeps/{n}", ROLE_WATCH, COST_READER, 0, false, false, NULL, sweep_get},
        {"network_s2p", "GET", RUN "/sweeps/{n}/network.s2p", ROLE_WATCH, COST_READER, 0, false, false, NULL, network_s2p},
        {"network_csv", "GET", RUN "/sweeps/{n}/network.csv", ROLE_WATCH, COST_READER, 0, false, false, NULL, network_csv},
        {"trace", "GET", RUN "/sweeps/{n}/traces/{name}", ROLE_WATCH, COST_READER, 0, false, false, NULL, trace_get},
        {"run_file", "GET", RUN "/file", ROLE_WATCH, COST_FILE, 0, false, false, NULL, run_file},
        {"alarms", "GET", "/api/v1/alarms", ROLE_WATCH, COST_READER, 0, false, false, NULL, alarms_get},
        {"audit", "GET", "/api/v1/audit", ROLE_WATCH, COST_READER, 0, false, false, NULL, audit_get},
        {"token_make", "POST", "/api/v1/tokens", ROLE_SAFETY, COST_COMMAND, 4 * KB, false, false, NULL, token_make_answer},
        {"events", "GET", "/api/v1/events", ROLE_WATCH, COST_STREAM, 0, false, false, NULL, events_open},
};
const size_t route_n = sizeof routes / sizeof routes[0];

void route_print(struct text *to)
{
        struct json_out o = json_to(to);
        json_open(&o, NULL, '[');
        for (size_t i = 0; i < route_n; i++) {
                json_open(&o, NULL, '{');
                json_text(&o, "operation", routes[i].operation);
                json_text(&o, "method", routes[i].method);
                json_text(&o, "path", routes[i].path);
                json_text(&o, "role", role_words[routes[i].role]);
                json_text(&o, "cost", cost_words[routes[i].cost]);
                json_int(&o, "body_max", routes[i].body_max);
                json_bool(&o, "key", routes[i].key);
                json_close(&o, '}');
        }
        json_close(&o, ']');
}

/* ---- taking the target apart -------------------------------------------------------------------------------------------------------- */

static int hex_digit(char c)
{
        return c >= '0' && c <= '9' ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10 : c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

/* In place.  false: a half escape, or a NUL, or a control character. */
static bool unescape(char *s, bool plus)
{
        char *to = s;
        for (; *s; s++) {
                int c = (unsigned char)*s;
                if (*s == '%') {
                        int high = hex_digit(s[1]), low = high < 0 ? -1 : hex_digit(s[2]);
                        if (low < 0)
                                return false;
                        c = high * 16 + low;
                        s += 2;
                } else if (plus && *s == '+') {
                        c = ' ';
                }
                if (c < 0x20 || c == 0x7F)
                        return false;
                *to++ = (char)c;
        }
        *to = 0;
        return true;
}

static bool take_apart(struct request *q, struct reply *r)
{
        char *path = arena_text(q->arena, q->target);
        if (!path) {
                struct tp_error err;
                tp_fail_memory(&err);
                problem_of_error(q, r, &err);
                return false;
        }
        char *query = strchr(path, '?');
        if (query)
                *query++ = 0;
        q->path = path;
        while (query && *query) {
                char *next = strchr(query, '&'), *value;
                if (next)
                        *next++ = 0;
                value = strchr(query, '=');
                if (value)
                        *value++ = 0;
                if (q->query_n == QUERY_MAX || !unescape(query, true) || (value && !unescape(value, true))) {
                        problem_say(q, r, PROBLEM_HEADER,
                                    "the query has more than %d parts or a broken %% escape near '%.40s'; write it plainly", QUERY_MAX,
                                    query);
                        return false;
                }
                q->query[q->query_n].name = query;
                q->query[q->query_n++].value = value ? value : "";
                query = next;
        }
        return true;
}

/* Segment by segment; {name} takes one whole segment that is not empty. */
static bool match(struct request *q, const char *pattern)
{
        const char *p = q->path;
        size_t n = 0;
        while (*pattern) {
                if (*pattern == '{') {
                        size_t length = strcspn(p, "/");
                        char *value = length && n < PARAMS_MAX ? arena_take(q->arena, length + 1) : NULL;
                        if (!value)
                                return false;
                        memcpy(value, p, length);
                        if (!unescape(value, false) || strchr(value, '/'))
                                return false;
                        q->param[n++] = value;
                        p += length;
                        pattern += strcspn(pattern, "}") + 1;
                } else if (*pattern++ != *p++) {
                        return false;
                }
        }
        return *p == 0;
}

static bool same_method(const struct route *route, const char *method)
{
        return strcmp(route->method, method) == 0 || (strcmp(method, "HEAD") == 0 && strcmp(route->method, "GET") == 0);
}

static bool find_route(struct request *q, struct reply *r)
{
        bool options = strcmp(q->method, "OPTIONS") == 0;
        for (size_t i = 0; i < route_n; i++) {
                if (!match(q, routes[i].path))
                        continue;
                if (same_method(&routes[i], q->method)) {
                        q->route = &routes[i];
                        r->allow[0] = 0;
                        return true;
                }
                /* A literal path goes before a pattern that would take it too, so the first match speaks for the address. */
                size_t n = strlen(r->allow);
                if (n + strlen(routes[i].method) + 8 < sizeof r->allow)
                        snprintf(r->allow + n, sizeof r->allow - n, "%s%s%s", n ? ", " : "", routes[i].method,
                                 strcmp(routes[i].method, "GET") == 0 ? ", HEAD" : "");
        }
        if (!r->allow[0])
                problem_say(q, r, PROBLEM_NO_ROUTE, "there is nothing at %.120s; /openapi.yaml lists the addresses", q->path);
        else if (options)
                r->status = 204;
        else
                problem_say(q, r, PROBLEM_METHOD, "%.12s is not possible at %.120s; possible there: %s", q->method, q->path, r->allow);
        return false;
}

static bool right_length(struct request *q, struct reply *r)
{
        uint32_t max = q->route->body_max;
        if (!q->content_length)
                return true;
        size_t n = strlen(q->content_length);
        if (n == 0 || strspn(q->content_length, "0123456789") != n) {
                problem_say(q, r, PROBLEM_HEADER, "Content-Length: %.40s is no number of bytes; send the length of the body",
                            q->content_length);
                return false;
        }
        if (n > 10 || strtoll(q->content_length, NULL, 10) > max) {
                if (max)
                        problem_say(q, r, PROBLEM_TOO_LONG, "the body has %.20s bytes and %s takes %u at the most; send a shorter one",
                                    q->content_length, q->route->operation, max);
                else
                        problem_say(q, r, PROBLEM_TOO_LONG, "the body has %.20s bytes and %s takes none; leave it out", q->content_length,
                                    q->route->operation);
                return false;
        }
        return true;
}

static bool is_json(const char *type)
{
        return type && strncmp(type, "application/json", 16) == 0 && (type[16] == 0 || type[16] == ';' || type[16] == ' ');
}

bool route_open(struct request *q, struct reply *r)
{
        struct tp_error err = {0};
        api_ulid(q->api, q->id);
        q->opened = true;
        if (q->faulty) {
                problem_say(q, r, PROBLEM_HEADER, "%s", q->faulty);
                return false;
        }
        if (!take_apart(q, r) || !find_route(q, r))
                return false;
        bool unsafe = strcmp(q->route->method, "GET") != 0, changes = q->route->cost == COST_COMMAND;
        if (auth_place(q, unsafe, &err) || auth_role(q, q->route->role, changes, &err)) {
                problem_of_error(q, r, &err);
                return false;
        }
        if (changes && !q->route->urgent && atomic_load(&q->api->refusing)) {
                problem_say(q, r, PROBLEM_STOPPING, "%s: the daemon is stopping and takes no changes; ask again when it is up",
                            q->route->operation);
                return false;
        }
        if (!right_length(q, r))
                return false;
        bool has_body = q->body_n || (q->content_length && strcmp(q->content_length, "0") != 0);
        if (q->route->body_max && (has_body || q->content_type) && !is_json(q->content_type)) {
                problem_say(q, r, PROBLEM_MEDIA_TYPE, "Content-Type: %.60s is not taken by %s; send application/json",
                            q->content_type ? q->content_type : "(none)", q->route->operation);
                return false;
        }
        size_t key = q->idempotency_key ? strlen(q->idempotency_key) : 0;
        if (q->route->key && !(key >= 8 && key <= 64 &&
                               strspn(q->idempotency_key, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_") == key)) {
                problem_say(
                        q, r, PROBLEM_KEY,
                        "Idempotency-Key '%.64s' has %zu characters; %s needs 8 to 64 letters, digits, - or _, fresh for each new command",
                        q->idempotency_key ? q->idempotency_key : "", key, q->route->operation);
                return false;
        }
        return true;
}

/* ---- answering ---------------------------------------------------------------------------------------------------------------------- */

static void count(struct api *api, enum cost cost, int status)
{
        int class = status / 100;
        api->world->task->lock(api->world, api->lock);
        api->asked.by_cost[cost]++;
        api->asked.by_class[class >= 1 && class <= 5 ? class : 0]++;
        api->world->task->unlock(api->world, api->lock);
}

static void finish(struct request *q, struct reply *r)
{
        if (!text_ok(&r->body)) {
                struct tp_error err;
                tp_fail(&err, CODE_MEMORY, "the answer to %s is longer than memory allows; ask for a part of it, or take the run file",
                        q->path ? q->path : q->target);
                text_done(&r->body);
                text_init(&r->body, 0);
                problem_of_error(q, r, &err);
        }
        count(q->api, q->route ? q->route->cost : COST_SNAPSHOT, r->status);
}

bool route_now(struct request *q, struct reply *r)
{
        if (!q->opened && !route_open(q, r)) {
                finish(q, r);
                return true;
        }
        if (!q->route->now || !q->route->now(q, r))
                return false;
        finish(q, r);
        return true;
}

void route_answer(struct request *q, struct reply *r)
{
        struct tp_error err = {0};
        if (route_now(q, r))
                return;
        if (q->body_n > q->route->body_max)
                problem_say(q, r, PROBLEM_TOO_LONG, "the body has %zu bytes and %s takes %u at the most; send a shorter one", q->body_n,
                            q->route->operation, q->route->body_max);
        else if (!q->route->answer)
                tp_fail(&err, CODE_BUSY, "%s cannot be answered now; ask again in a moment", q->path), problem_of_error(q, r, &err);
        else if (q->route->answer(q, r, &err))
                problem_of_error(q, r, &err);
        finish(q, r);
}
