/* people.c: alarms, the audit chain, tokens. */
#include "api/auth.h"
#include "api/desk.h"
#include "api/route.h"
#include "base/fields.h"
#include "base/hash.h"
#include <stdio.h>
#include <string.h>

enum code alarms_get(struct request *q, struct reply *r, struct tp_error *err)
{
        struct alarm_row *rows = NULL;
        size_t n = 0;
        struct view *view = ask_view(q, NULL, err);
        enum code code = view ? view_alarms(view, q->arena, &rows, &n, err) : err->code;
        view_close(view);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_open(&o, "alarms", '[');
        for (size_t i = 0; i < n; i++) {
                json_open(&o, NULL, '{');
                json_text(&o, "id", rows[i].id);
                json_text(&o, "cause", rows[i].cause);
                json_text(&o, "sentence", rows[i].sentence);
                json_text(&o, "action", rows[i].action);
                json_bool(&o, "latched", rows[i].latched);
                json_text(&o, "raised", rows[i].raised);
                json_close(&o, '}');
        }
        json_close(&o, ']');
        json_close(&o, '}');
        reply_json(r, 200);
        return CODE_OK;
}

enum code audit_get(struct request *q, struct reply *r, struct tp_error *err)
{
        int64_t rows = 0;
        uint8_t head[32];
        char hex[65];
        struct view *view = ask_view(q, NULL, err);
        enum code code = view ? view_audit_verify(view, &rows, head, err) : err->code;
        view_close(view);
        if (code)
                return code;
        hex_of(head, 32, hex);
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_int(&o, "rows", rows);
        json_text(&o, "head", hex);
        json_close(&o, '}');
        reply_json(r, 200);
        return CODE_OK;
}

struct ask {
        char person[40], label[64];
        int32_t role;
};
static const struct field ask_fields[] = {
        {.key = "person",
         .type = FIELD_NAME,
         .offset = offsetof(struct ask, person),
         .size = 40,
         .required = true,
         .say = "who will use it"},
        {.key = "role",
         .type = FIELD_CHOICE,
         .offset = offsetof(struct ask, role),
         .required = true,
         .words = role_words + 1, /* nobody is given the role none */
         .say = "what it may do"},
        {.key = "label", .type = FIELD_TEXT, .offset = offsetof(struct ask, label), .size = 64, .say = "what for"},
};
static const struct object ask_object = {.name = "token", .bytes = sizeof(struct ask), .fields = ask_fields, .field_n = 3};

enum code token_make_answer(struct request *q, struct reply *r, struct tp_error *err)
{
        struct ask ask;
        char token[69];
        struct key key = {.role = ROLE_NONE};
        enum code code = body_read(q, &ask_object, &ask, err);
        ask.role++;
        if (!code && !ask.person[0])
                code = tp_fail_at(err, CODE_BAD_INPUT, "/person", "a token needs a person and '' was given; say who will use it");
        struct work *work = code ? NULL : work_new(NULL);
        struct fact *f = work ? work_add(work, FACT_TOKEN) : NULL;
        if (!code && !f) {
                work_free(work);
                code = tp_fail_memory(err);
        }
        if (code)
                return code;
        token_make(q->api->world, token, key.digest);
        api_ulid(q->api, key.id);
        key.role = (enum role)ask.role;
        snprintf(key.person, sizeof key.person, "%s", ask.person);
        f->of.token.id = work_text(work, "%s", key.id);
        f->of.token.person = work_text(work, "%s", ask.person);
        f->of.token.role = role_words[ask.role];
        f->of.token.label = work_text(work, "%s", ask.label);
        memcpy(f->of.token.digest, key.digest, 32);
        desk_audit(q, work, "token.make", key.id, "made");
        code = desk_store(q->desk, work, NULL, err);
        if (!code)
                code = auth_add(q->api, &key, err);
        if (!code) {
                struct json_out o = json_to(&r->body);
                json_open(&o, NULL, '{');
                json_text(&o, "id", key.id);
                json_text(&o, "token", token);
                json_text(&o, "role", role_words[ask.role]);
                json_text(&o, "person", ask.person);
                json_close(&o, '}');
                reply_json(r, 201);
        }
        memset(token, 0, sizeof token);
        return code;
}
