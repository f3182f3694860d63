/* cmd_people.c: alarms, events, tokens, and a report to send with a question. */
#include "cli/http.h"
#include "cli/show.h"
#include <stdio.h>
#include <string.h>

#ifndef TIPPLANE_VERSION
#define TIPPLANE_VERSION "unknown"
#endif
enum { LOG_LINES = 60 };

enum code do_alarms(struct cli *c, struct tp_error *err)
{
        struct answer a;
        bool done = false;
        const cJSON *k;
        enum code code = http_get_or_json(c, &a, &done, err, "/api/v1/alarms");
        cJSON_ArrayForEach(k, have(done ? NULL : a.json, "alarms"))
                text_f(&c->out, "%s  %s%s\n  do: %s\n", have_text(k, "raised"), have_text(k, "sentence"),
                       have_true(k, "latched") ? " (stays until a person clears it)" : "", have_text(k, "action"));
        if (!code && !done && cJSON_GetArraySize(have(a.json, "alarms")) == 0)
                cli_say("no alarm");
        answer_done(&a);
        return code;
}

/* ---- events ------------------------------------------------------------------------------------------------------------------------- */

struct listening {
        struct cli *c;
        char event[40], id[64];
        struct text data;
        bool follow;
};

/* text/event-stream (HTML Living Standard, 9.2): fields until an empty line, which ends the event. */
static bool on_line(void *ctx, const char *line)
{
        struct listening *l = ctx;
        if (strncmp(line, "event:", 6) == 0)
                snprintf(l->event, sizeof l->event, "%s", line + 6 + (line[6] == ' '));
        else if (strncmp(line, "id:", 3) == 0)
                snprintf(l->id, sizeof l->id, "%s", line + 3 + (line[3] == ' '));
        else if (strncmp(line, "data:", 5) == 0)
                text_put(&l->data, line + 5 + (line[5] == ' '));
        if (line[0])
                return true;
        bool go_on = true;
        if (l->data.n || l->event[0]) {
                if (cli_json(l->c))
                        text_f(&l->c->out, "{\"event\":\"%s\",\"data\":%s}\n", l->event, l->data.n ? text_of(&l->data) : "null");
                else
                        text_f(&l->c->out, "%-9s %s\n", l->event, text_of(&l->data));
                go_on = cli_flush(l->c);
        }
        l->event[0] = 0;
        text_clear(&l->data);
        return go_on;
}

enum code do_events(struct cli *c, struct tp_error *err)
{
        struct listening l = {.c = c, .follow = cli_has(c, "follow")};
        enum code code;
        text_init(&l.data, 1 << 20);
        for (bool again = true; again;) {
                char path[160];
                bool was = l.id[0] != 0;
                snprintf(path, sizeof path, "/api/v1/events%s%s", was ? "?last_event_id=" : "", l.id);
                code = http_stream(c, path, l.follow ? 0 : NS_PER_S, on_line, &l, err);
                again = l.follow && code == CODE_LINK_DEAD && was; /* the daemon is being started again: what was missed is replayed */
                if (again)
                        c->world->task->sleep_until(c->world, world_boot_ns(c->world) + NS_PER_S);
                if (ferror(stdout))
                        again = false;
        }
        text_done(&l.data);
        return code;
}

/* ---- tokens ------------------------------------------------------------------------------------------------------------------------- */

enum code do_token_make(struct cli *c, struct tp_error *err)
{
        const char *person = cli_option(c, "person"), *role = cli_option(c, "role"), *label = cli_option(c, "label");
        struct text body;
        struct answer a;
        if (!person || !role)
                return tp_fail(err, CODE_BAD_INPUT, "`tipplane token make` needs --%s",
                               person ? "role watch, operate, engineer or safety" : "person NAME");
        enum code code = check_name("--person", person, err);
        if (code)
                return code;
        answer_init(&a);
        text_init(&body, 0);
        struct json_out o = json_to(&body);
        json_open(&o, NULL, '{');
        json_text(&o, "person", person);
        json_text(&o, "role", role);
        if (label)
                json_text(&o, "label", label);
        json_close(&o, '}');
        code = http_ask(c, &(struct ask){.method = "POST", .path = "/api/v1/tokens", .body = text_of(&body), .body_n = body.n}, &a, err);
        if (!code && cli_json(c))
                text_f(&c->out, "%s\n", text_of(&a.body));
        else if (!code)
                text_f(&c->out, "%s\n", have_text(a.json, "token"));
        if (!code && !cli_json(c))
                cli_say("for %s, role %s; it is not shown again: put it into a file that only its owner can read (umask 077)", person,
                        have_text(a.json, "role"));
        text_done(&body);
        answer_done(&a);
        return code;
}

/* ---- report ------------------------------------------------------------------------------------------------------------------------- */

static void put_log(struct cli *c, const char *data, const char *name, struct text *to)
{
        char path[1000];
        struct text t;
        text_init(&t, 64u << 20);
        snprintf(path, sizeof path, "%s/%s", data, name);
        text_f(to, "\n== last lines of %s\n", path);
        if (c->world->file->read(c->world, path, 64u << 20, &t, NULL)) {
                text_put(to, "(not there, or longer than 64 MiB)\n");
        } else {
                const char *all = text_of(&t), *from = all + t.n;
                for (int lines = 0; from > all; from--)
                        if (from[-1] == '\n' && ++lines > LOG_LINES)
                                break;
                for (const char *at = from; *at;) { /* a token in a log would be a mistake of ours; it does not leave by this door */
                        const char *secret = strstr(at, "tpl_");
                        text_bytes(to, at, secret ? (size_t)(secret - at) : strlen(at));
                        if (!secret)
                                break;
                        text_put(to, "tpl_(left out)");
                        at = secret + 4 + strspn(secret + 4, "0123456789abcdefABCDEF");
                }
        }
        text_done(&t);
}

enum code do_report(struct cli *c, struct tp_error *err)
{
        static const char *const asks[] = {"/healthz",       "/readyz",      "/api/v1/station", "/api/v1/runs?limit=5",
                                           "/api/v1/alarms", "/api/v1/audit"};
        static const char *const logs[] = {"daemon.out", "station.out", "station.log"};
        const char *data = cli_option(c, "data"), *to_file = cli_option(c, "to");
        struct text t;
        text_init(&t, 0);
        text_f(&t, "tipplane %s, asked of %s\n", TIPPLANE_VERSION, c->address);
        for (size_t i = 0; i < sizeof asks / sizeof asks[0]; i++) {
                struct answer a;
                struct tp_error why = {0};
                answer_init(&a);
                enum code code = http_ask(c, &(struct ask){.method = "GET", .path = asks[i], .timeout_s = 5}, &a, &why);
                text_f(&t, "\n== GET %s\n%s\n", asks[i], code ? why.text : text_of(&a.body));
                answer_done(&a);
        }
        for (size_t i = 0; i < sizeof logs / sizeof logs[0]; i++)
                put_log(c, data ? data : "tipplane-data", logs[i], &t);
        enum code code = CODE_OK;
        if (!text_ok(&t))
                code = tp_fail_memory(err);
        else if (to_file)
                code = c->world->file->write(c->world, to_file, text_of(&t), t.n, 0600, err);
        else
                text_put(&c->out, text_of(&t));
        text_done(&t);
        return code;
}
