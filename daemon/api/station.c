/* station.c: what is known of the station, and the two commands that go straight to it. */
#include "api/desk.h"
#include "api/problem.h"
#include "api/route.h"
#include "base/fields.h"
#include <stdio.h>
#include <string.h>

struct why {
        char why[120];
};
static const struct field why_fields[] = {
        {.key = "why",
         .type = FIELD_TEXT,
         .offset = offsetof(struct why, why),
         .size = sizeof((struct why *)0)->why,
         .say = "for the journal and the audit"},
};
static const struct object why_object = {.name = "why", .bytes = sizeof(struct why), .fields = why_fields, .field_n = 1};

bool station_now(struct request *q, struct reply *r)
{
        char etag[40];
        struct snapshot *s = snapshot_get(q->api->slot);
        if (!s) {
                struct tp_error err;
                tp_fail(&err, CODE_BUSY, "the loop has not said anything yet; ask again in a moment");
                problem_of_error(q, r, &err);
                return true;
        }
        snprintf(etag, sizeof etag, "%u.%llu", s->epoch, (unsigned long long)s->version);
        if (!reply_unchanged(q, r, etag)) {
                text_put(&r->body, s->station_json);
                reply_json(r, 200);
        }
        snapshot_put(s);
        return true;
}

enum code station_safe(struct request *q, struct reply *r, struct tp_error *err)
{
        struct why why;
        enum code code = body_read(q, &why_object, &why, err);
        if (code) /* whatever else was sent: the command is clear */
                snprintf(why.why, sizeof why.why, "asked over HTTP");
        struct command *c = desk_command(q, COMMAND_SAFE, why.why, err);
        return c ? desk_urgent(q, r, c, err) : err->code;
}

enum code station_clear(struct request *q, struct reply *r, struct tp_error *err)
{
        struct why why;
        enum code code = body_read(q, &why_object, &why, err);
        struct command *c = code ? NULL : desk_command(q, COMMAND_CLEAR, why.why, err);
        return c ? desk_order(q, r, c, "station.clear", 200, err) : err->code;
}
