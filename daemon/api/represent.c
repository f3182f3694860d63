/* represent.c: small pieces that every handler uses: query values, bodies, entity tags, JSON habits. */
#include "api/api.h"
#include "base/fields.h"
#include "recipe/recipe.h"
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define QUESTION_NS (INT64_C(2) * NS_PER_S)

void reply_init(struct reply *r)
{
        memset(r, 0, sizeof *r);
        text_init(&r->body, 0);
}

void reply_done(struct reply *r) { text_done(&r->body); }

const char *query_text(const struct request *q, const char *name)
{
        for (size_t i = 0; i < q->query_n; i++)
                if (strcmp(q->query[i].name, name) == 0)
                        return q->query[i].value;
        return NULL;
}

enum code query_int(const struct request *q, const char *name, int64_t low, int64_t high, int64_t standard, int64_t *ret,
                    struct tp_error *err)
{
        const char *text = query_text(q, name);
        char *end = NULL;
        if (!text) {
                *ret = standard;
                return CODE_OK;
        }
        size_t n = strlen(text);
        long long value = n > 0 && n < 19 && strspn(text, "0123456789") == n ? strtoll(text, &end, 10) : -1;
        if (!(value >= low && value <= high))
                return tp_fail_at(err, CODE_BAD_INPUT, name,
                                  "?%s=%.40s: it must be a whole number from %" PRId64 " to %" PRId64
                                  "; send such a number or leave it out",
                                  name, text, low, high);
        *ret = value;
        return CODE_OK;
}

enum code query_word(const struct request *q, const char *name, const char *const *words, int *ret, struct tp_error *err)
{
        const char *text = query_text(q, name);
        char list[160] = "";
        *ret = -1;
        if (!text)
                return CODE_OK;
        for (int i = 0; words[i]; i++) {
                if (strcmp(words[i], text) == 0) {
                        *ret = i;
                        return CODE_OK;
                }
                size_t n = strlen(list);
                snprintf(list + n, sizeof list - n, "%s%s", i ? ", " : "", words[i]);
        }
        return tp_fail_at(err, CODE_BAD_INPUT, name, "?%s=%.40s: it must be one of %s; send one of these", name, text, list);
}

enum code body_read(const struct request *q, const struct object *object, void *ret, struct tp_error *err)
{
        bool empty = q->body_n == 0;
        memset(ret, 0, object->bytes);
        return fields_read_text(object, empty ? "{}" : q->body, empty ? 2 : q->body_n, q->arena, ret, err);
}

void reply_json(struct reply *r, int status)
{
        r->status = status;
        r->type = "application/json";
}

void reply_text(struct reply *r, const char *type)
{
        r->status = 200;
        r->type = type;
}

bool reply_unchanged(const struct request *q, struct reply *r, const char *etag)
{
        char quoted[sizeof r->etag];
        snprintf(quoted, sizeof quoted, "\"%s\"", etag);
        snprintf(r->etag, sizeof r->etag, "%s", quoted);
        if (!q->if_none_match || (strcmp(q->if_none_match, "*") != 0 && !strstr(q->if_none_match, quoted)))
                return false;
        text_clear(&r->body);
        r->still = NULL;
        r->status = 304;
        r->type = NULL;
        return true;
}

const char *json_or_null(const char *stored) { return stored && stored[0] == '{' ? stored : "null"; }

void json_die(struct json_out *o, const char *key, bool has, int x, int y)
{
        if (!has) {
                json_null(o, key);
                return;
        }
        json_open(o, key, '{');
        json_int(o, "x", x);
        json_int(o, "y", y);
        json_close(o, '}');
}

void json_id(struct json_out *o, const char *key, int64_t id)
{
        if (id > 0)
                json_int(o, key, id);
        else
                json_null(o, key);
}

void json_word(struct json_out *o, const char *key, const char *word) { json_text(o, key, word && word[0] ? word : NULL); }

struct view *ask_view(const struct request *q, const char *run, struct tp_error *err)
{
        return view_open(q->api->store, run, world_boot_ns(q->api->world) + QUESTION_NS, err);
}

struct view *ask_run(const struct request *q, struct tp_error *err)
{
        struct view *view = ask_view(q, q->param[0], err);
        if (!view && err->code == CODE_NOT_FOUND)
                tp_fail(err, CODE_NOT_FOUND, "there is no run %.40s; GET /api/v1/runs lists what there is", q->param[0]);
        return view;
}

enum code ask_recipe(const struct request *q, struct view *view, struct recipe **ret, struct tp_error *err)
{
        const char *plan = NULL, *text = NULL;
        size_t n = 0;
        enum code code = view_plan(view, q->arena, &plan, &text, &n, err);
        return code ? code : recipe_read(text, n, q->arena, ret, err);
}
