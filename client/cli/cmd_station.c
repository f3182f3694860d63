/* cmd_station.c: one look at everything; the station, made safe and cleared. */
#include "base/frame.h"
#include "cli/http.h"
#include "cli/number.h"
#include "cli/show.h"
#include "station/protocol.h" /* kinds of frames only */
#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- status ------------------------------------------------------------------------------------------------------------------------- */

static void put_station(const cJSON *s, struct text *to)
{
        text_f(to, "Station  %s: ", have_text(s, "name"));
        if (!have_true(s, "connected")) {
                text_put(to, "does not answer; start tipplane-station or look at its log\n");
                return;
        }
        text_f(to, "%s%s%s",
               have_true(s, "simulated")  ? "simulated, "
               : have_true(s, "replayed") ? "replays recorded data, "
                                          : "",
               have_true(s, "in_contact") ? "probes down, " : "probes up, ",
               strcmp(have_text(s, "bias_off"), "known") == 0 ? "bias off (read back)" : "bias on or not known");
        if (have_true(s, "latched"))
                text_put(to, "; LATCHED: not proven safe, look at it, then `tipplane clear`");
        text_put(to, "\n");
}

static void put_run(const cJSON *runs, struct text *to)
{
        const cJSON *run = cJSON_GetArrayItem(have(runs, "runs"), 0), *p = have(run, "progress");
        if (!run) {
                text_put(to, "Run      none yet\n");
                return;
        }
        text_f(to, "Run      %s, wafer %s, %s\n", have_text(run, "id"), have_text(run, "wafer"),
               have_true(run, "in_hand") ? have_text(p, "state") : have_text(run, "state"));
        if (have_text(p, "sentence")[0])
                text_f(to, "         %s\n", have_text(p, "sentence"));
        if (have_text(p, "why_refused")[0])
                text_f(to, "         refused: %s\n", have_text(p, "why_refused"));
}

static void put_alarms(const cJSON *alarms, struct text *to)
{
        const cJSON *a;
        cJSON_ArrayForEach(a, have(alarms, "alarms"))
                text_f(to, "Alarm    %s\n         do: %s\n", have_text(a, "sentence"), have_text(a, "action"));
}

enum code do_status(struct cli *c, struct tp_error *err)
{
        static const char *const paths[] = {"/healthz", "/readyz", "/api/v1/station", "/api/v1/runs?limit=1", "/api/v1/alarms"};
        static const char *const keys[] = {"health", "ready", "station", "runs", "alarms"};
        enum { N = 5 };
        struct answer a[N];
        size_t n = 0;
        enum code code = CODE_OK;
        for (; !code && n < N; n++) {
                answer_init(&a[n]);
                code = http_ask(c, &(struct ask){.method = "GET", .path = paths[n], .anonymous = n < 2}, &a[n], err);
                if (code && n < 2 && a[n].status == 503) /* not well, or not ready: that is what was asked */
                        code = CODE_OK;
        }
        if (!code && cli_json(c)) {
                struct json_out o = json_to(&c->out);
                json_open(&o, NULL, '{');
                for (size_t i = 0; i < N; i++)
                        json_raw(&o, keys[i], a[i].json ? text_of(&a[i].body) : "null");
                json_close(&o, '}');
                text_put(&c->out, "\n");
        } else if (!code) {
                text_f(&c->out, "Daemon   %s: %s, build %s\n", c->address, have_true(a[0].json, "alive") ? "well" : "NOT WELL",
                       have_text(a[0].json, "build")[0] ? have_text(a[0].json, "build") : "?");
                if (!have_true(a[0].json, "alive") && have_text(a[0].json, "detail")[0])
                        text_f(&c->out, "         %s\n", have_text(a[0].json, "detail"));
                put_station(a[2].json, &c->out);
                put_run(a[3].json, &c->out);
                if (!have_true(a[1].json, "ready") && have_text(a[1].json, "why")[0])
                        text_f(&c->out, "         no other run can be started: %s\n", have_text(a[1].json, "why"));
                put_alarms(a[4].json, &c->out);
        }
        while (n > 0)
                answer_done(&a[--n]);
        return code;
}

enum code do_station(struct cli *c, struct tp_error *err)
{
        static const char *const reals[][2] = {{"x_um", "um"}, {"y_um", "um"}, {"z_um", "um"}, {"volt_max", "V"}};
        struct answer a;
        bool done = false;
        enum code code = http_get_or_json(c, &a, &done, err, "/api/v1/station");
        if (!code && !done) {
                const cJSON *s = a.json;
                put_station(s, &c->out);
                text_f(&c->out, "separated %s, bias off %s, axes %s, place %s\n", have_text(s, "separated"), have_text(s, "bias_off"),
                       have_text(s, "axes"), have_text(s, "place"));
                for (size_t i = 0; i < 4; i++)
                        if (!isnan(have_real(s, reals[i][0])))
                                text_f(&c->out, "%s%.*s %.*f %s", i ? ", " : "", (int)strcspn(reals[i][0], "_"), reals[i][0], i < 3 ? 1 : 3,
                                       have_real(s, reals[i][0]), reals[i][1]);
                text_f(&c->out, "\nstart %lld of the station, epoch %lld\n", (long long)have_int(s, "boot_count"),
                       (long long)have_int(s, "epoch"));
        }
        answer_done(&a);
        return code;
}

/* ---- safe --------------------------------------------------------------------------------------------------------------------------- */

/* {"what","text","state","proven_safe"} of the daemon and of the station alike. */
static enum code put_proof(struct cli *c, const cJSON *proof, const char *raw, struct tp_error *err)
{
        const cJSON *s = have(proof, "state");
        bool proven = have_true(proof, "proven_safe");
        if (cli_json(c))
                text_f(&c->out, "%s\n", raw);
        else
                text_f(&c->out, "%s\nseparation %s at z %.1f um, bias off %s with at most %.3f V read\n%s\n",
                       proven ? "PROVEN SAFE" : "NOT PROVEN SAFE", have_text(s, "separated"), have_real(s, "z_um"),
                       have_text(s, "bias_off"), have_real(s, "volt_max"), have_text(proof, "text"));
        if (proven)
                return CODE_OK;
        return tp_fail(err, CODE_INTERLOCK, "the station is %s and not proven safe: go and look at probes and bias",
                       have_true(s, "latched") ? "latched" : "in an unknown state");
}

static enum code safe_by_socket(struct cli *c, const char *path, struct tp_error *err)
{
        const struct world *w = c->world;
        struct conn *conn = NULL;
        struct frame f;
        char address[400];
        int64_t deadline = world_boot_ns(w) + 60 * NS_PER_S;
        bool answered = false;
        if (strlen(path) > 300)
                return tp_fail(err, CODE_BAD_INPUT, "--socket: the path has %zu characters; at most 300", strlen(path));
        snprintf(address, sizeof address, "unix:%s", path);
        frame_init(&f);
        enum code code = w->net->connect(w, address, deadline, &conn, err);
        if (code)
                tp_where(err, "the station's socket %s", path);
        if (!code)
                code = frame_write(w, conn, deadline, FRAME_SAFE, 0, 0, "", 0, err);
        while (!code && !answered) {
                code = frame_read(w, conn, deadline, &f, err);
                answered = !code && (f.kind == FRAME_SAFE_DONE || f.kind == FRAME_REFUSED);
        }
        cJSON *json = NULL;
        if (!code)
                code = json_read(text_of(&f.body), f.body.n, JSON_DEPTH_MAX, &json, err);
        if (!code && f.kind == FRAME_REFUSED)
                code = tp_fail(err, CODE_STATE, "the station refused: %s", have_text(json, "text"));
        else if (!code)
                code = put_proof(c, json, text_of(&f.body), err);
        cJSON_Delete(json);
        frame_done(&f);
        w->net->close(w, conn);
        return code;
}

static void put_why(struct text *body, const char *why)
{
        struct json_out o = json_to(body);
        json_open(&o, NULL, '{');
        if (why)
                json_text(&o, "why", why);
        json_close(&o, '}');
}

enum code do_safe(struct cli *c, struct tp_error *err)
{
        const char *socket = cli_option(c, "socket"), *why = cli_option(c, "why");
        struct text body;
        struct answer a;
        answer_init(&a);
        text_init(&body, 0);
        put_why(&body, why);
        enum code code = http_ask(
                c,
                &(struct ask){.method = "POST", .path = "/api/v1/station/safe", .body = text_of(&body), .body_n = body.n, .timeout_s = 20},
                &a, err);
        if (!code && a.status == 200)
                code = put_proof(c, a.json, text_of(&a.body), err);
        else if (!code)
                code = tp_fail(err, CODE_TIMED_OUT,
                               "the ladder is being walked and the proof is not there yet; `tipplane station` will show it");
        else if (code != CODE_INTERLOCK && socket) { /* whatever was wrong over there: the station itself is asked */
                cli_say("%s", err->text);
                cli_say("asking the station itself");
                code = safe_by_socket(c, socket, err);
        } else if (code == CODE_LINK_DEAD || code == CODE_TIMED_OUT) {
                cli_say("the station can be asked without a daemon: tipplane safe --socket DIR/station.sock");
        }
        text_done(&body);
        answer_done(&a);
        return code;
}

enum code do_clear(struct cli *c, struct tp_error *err)
{
        const char *who = cli_option(c, "who"), *why = cli_option(c, "why");
        char note[120];
        struct text body;
        struct answer a;
        if (!who)
                return tp_fail(err, CODE_BAD_INPUT, "`tipplane clear` needs --who NAME: the person who has looked at probes and bias");
        enum code code = check_name("--who", who, err);
        if (!code && strlen(who) + strlen(why ? why : "") + 14 > sizeof note)
                code = tp_fail(err, CODE_BAD_INPUT, "--why has %zu characters; at most %zu", strlen(why ? why : ""),
                               sizeof note - 15 - strlen(who));
        if (code)
                return code;
        snprintf(note, sizeof note, "%s looked%s%s", who, why ? ": " : "", why ? why : "");
        answer_init(&a);
        text_init(&body, 0);
        put_why(&body, note);
        code = http_ask(
                c, &(struct ask){.method = "POST", .path = "/api/v1/station/clear", .body = text_of(&body), .body_n = body.n, .key = true},
                &a, err);
        if (!code)
                cli_say("asked of the station; `tipplane station` shows what became of it");
        text_done(&body);
        answer_done(&a);
        return code;
}
