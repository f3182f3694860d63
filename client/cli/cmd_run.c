/* cmd_run.c: runs begun, awaited, steered, listed and shown. */
#include "base/hash.h"
#include "cli/http.h"
#include "cli/number.h"
#include "cli/show.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define LOOK_MIN_NS (100 * NS_PER_MS)
#define LOOK_MAX_NS (1 * NS_PER_S)
#define ABSENT_NS (120 * NS_PER_S) /* a daemon that is being started again */

static enum code start_run(struct cli *c, const char *sha256, const char *wafer, const char *lot, char ret_run[27], struct tp_error *err)
{
        struct text body;
        struct answer a;
        answer_init(&a);
        text_init(&body, 0);
        struct json_out o = json_to(&body);
        json_open(&o, NULL, '{');
        json_text(&o, "recipe", sha256);
        json_text(&o, "wafer", wafer);
        if (lot)
                json_text(&o, "lot", lot);
        json_close(&o, '}');
        enum code code = http_ask(
                c, &(struct ask){.method = "POST", .path = "/api/v1/runs", .body = text_of(&body), .body_n = body.n, .key = true}, &a, err);
        const char *run = have_text(a.json, "run");
        if (!code && a.status == 202)
                code = tp_fail(err, CODE_TIMED_OUT,
                               "the daemon has taken the command and not begun yet; `tipplane runs` will show it, do not start it again");
        else if (!code && !ulid_valid(run))
                code = tp_fail(err, CODE_BAD_REPLY, "the daemon began something and named no run; `tipplane runs` lists what there is");
        if (!code)
                snprintf(ret_run, 27, "%s", run);
        text_done(&body);
        answer_done(&a);
        return code;
}

enum code do_run_start(struct cli *c, struct tp_error *err)
{
        const char *file = cli_option(c, "recipe"), *wafer = cli_option(c, "wafer"), *lot = cli_option(c, "lot");
        char sha256[65], run[27];
        struct text recipe;
        if (!file || !wafer)
                return tp_fail(err, CODE_BAD_INPUT,
                               "`tipplane run start` needs --%s; for example: tipplane run start --recipe recipe.json --wafer W07",
                               file ? "wafer ID" : "recipe FILE");
        enum code code = check_name("--wafer", wafer, err);
        if (!code && lot)
                code = check_name("--lot", lot, err);
        if (code)
                return code;
        text_init(&recipe, 4 << 20);
        code = recipe_file_read(c, file, &recipe, err);
        if (!code)
                code = recipe_store(c, &recipe, sha256, err);
        if (!code)
                code = start_run(c, sha256, wafer, lot, run, err);
        text_done(&recipe);
        if (code)
                return code;
        if (cli_json(c))
                text_f(&c->out, "{\"run\":\"%s\",\"recipe\":\"%s\"}\n", run, sha256);
        else if (cli_has(c, "print-id"))
                text_f(&c->out, "%s\n", run);
        else
                text_f(&c->out, "Run %s has begun on wafer %s.\n", run, wafer);
        if (!cli_has(c, "wait"))
                return CODE_OK;
        cli_flush(c);
        return wait_for_run(c, run, err);
}

/* ---- wait --------------------------------------------------------------------------------------------------------------------------- */

/* On a terminal one line that is written over; elsewhere a line when something needs a person. */
static void say_progress(const cJSON *run, bool is_tty, char last[200])
{
        const cJSON *p = have(run, "progress");
        char line[200];
        snprintf(line, sizeof line, "%s", have_text(p, "sentence"));
        if (!line[0] || strcmp(line, last) == 0)
                return;
        if (is_tty)
                fprintf(stderr, "\r\033[K%.*s", 110, line);
        else if (have_true(p, "needs_person"))
                cli_say("%s", line);
        memcpy(last, line, sizeof line);
}

enum code wait_for_run(struct cli *c, const char *run, struct tp_error *err)
{
        const struct world *w = c->world;
        int64_t pause_ns = LOOK_MIN_NS, absent_since = 0;
        char last[200] = "";
        bool seen = false, is_tty = isatty(STDERR_FILENO) == 1, ended = false;
        enum code code = check_run(run, err);
        while (!code && !ended) {
                struct answer a;
                code = http_get(c, &a, err, "/api/v1/runs/%s", run);
                int64_t now = world_boot_ns(w);
                bool absent = code == CODE_LINK_DEAD || code == CODE_BUSY || code == CODE_TIMED_OUT;
                if (absent && seen && (!absent_since || now - absent_since < ABSENT_NS)) {
                        absent_since = absent_since ? absent_since : now;
                        code = CODE_OK;
                } else if (!code) {
                        seen = true;
                        absent_since = 0;
                        say_progress(a.json, is_tty, last);
                        ended = strcmp(have_text(a.json, "state"), "open") != 0 && !have_true(a.json, "in_hand");
                }
                if (ended) {
                        const cJSON *p = have(a.json, "progress");
                        if (strcmp(have_text(a.json, "state"), "sealed") != 0)
                                code = tp_fail(err, CODE_DAMAGED, "run %s: its file is %s; `tipplane run show %s` says more", run,
                                               have_text(a.json, "state"), run);
                        c->status = run_has_fails(a.json) ? EXIT_ENDED_WITH_FAILS : 0;
                        if (cli_json(c))
                                text_f(&c->out, "%s\n", text_of(&a.body));
                        else
                                text_f(&c->out, "%s\n", have_text(p, "sentence"));
                }
                answer_done(&a);
                if (!code && !ended)
                        w->task->sleep_until(w, now + pause_ns);
                pause_ns = pause_ns * 5 / 4 < LOOK_MAX_NS ? pause_ns * 5 / 4 : LOOK_MAX_NS;
        }
        if (is_tty && last[0])
                fputs("\r\033[K", stderr);
        return code;
}

enum code do_wait(struct cli *c, struct tp_error *err) { return wait_for_run(c, c->args[0], err); }

/* ---- commands to the run in hand ---------------------------------------------------------------------------------------------------- */

static enum code command(struct cli *c, const char *what, const int *die, struct tp_error *err)
{
        const char *run = c->args[0], *why = cli_option(c, "why");
        char path[128];
        struct text body;
        struct answer a;
        enum code code = check_run(run, err);
        if (code)
                return code;
        answer_init(&a);
        text_init(&body, 0);
        struct json_out o = json_to(&body);
        json_open(&o, NULL, '{');
        json_text(&o, "do", what);
        if (die) {
                json_open(&o, "die", '{');
                json_int(&o, "x", die[0]);
                json_int(&o, "y", die[1]);
                json_close(&o, '}');
        }
        if (why)
                json_text(&o, "why", why);
        json_close(&o, '}');
        snprintf(path, sizeof path, "/api/v1/runs/%s/commands", run);
        code = http_ask(c, &(struct ask){.method = "POST", .path = path, .body = text_of(&body), .body_n = body.n, .key = true}, &a, err);
        if (!code)
                cli_say(a.status == 202 ? "%s: taken, not yet answered; look with `tipplane status`" : "%s: taken", what);
        text_done(&body);
        answer_done(&a);
        return code;
}

enum code do_pause(struct cli *c, struct tp_error *err) { return command(c, "pause", NULL, err); }
enum code do_resume(struct cli *c, struct tp_error *err) { return command(c, "resume", NULL, err); }
enum code do_finish(struct cli *c, struct tp_error *err) { return command(c, "finish", NULL, err); }

enum code do_skip(struct cli *c, struct tp_error *err)
{
        const char *text = cli_option(c, "die");
        char *end = NULL;
        long at[2] = {0, 0};
        if (!text)
                return tp_fail(err, CODE_BAD_INPUT, "`tipplane skip` needs --die X,Y");
        at[0] = strtol(text, &end, 10);
        bool ok = end != text && *end == ',';
        const char *second = ok ? end + 1 : text;
        at[1] = strtol(second, &end, 10);
        if (!ok || end == second || *end || labs(at[0]) > 10000 || labs(at[1]) > 10000)
                return tp_fail(err, CODE_BAD_INPUT, "--die %.40s: two whole numbers with a comma between them, for example --die=-3,2",
                               text);
        return command(c, "skip", (const int[]){(int)at[0], (int)at[1]}, err);
}

/* ---- reading ------------------------------------------------------------------------------------------------------------------------ */

enum code do_run_list(struct cli *c, struct tp_error *err)
{
        const char *text = cli_option(c, "limit");
        char *end = NULL;
        long limit = text ? strtol(text, &end, 10) : 100;
        struct answer a;
        bool done = false;
        if (text && (end == text || *end || limit < 1 || limit > 1000))
                return tp_fail(err, CODE_BAD_INPUT, "--limit %.40s: a whole number from 1 to 1000", text);
        enum code code = http_get_or_json(c, &a, &done, err, "/api/v1/runs?limit=%ld", limit);
        const cJSON *runs = have(a.json, "runs"), *r;
        if (!code && !done && cJSON_GetArraySize(runs) == 0)
                cli_say("no run yet; `tipplane run start` begins one");
        struct table t = table_of(c->arena, "lllllrrrr");
        if (!code && !done && cJSON_GetArraySize(runs) > 0) {
                const char *const heads[] = {"RUN", "BEGAN", "WAFER", "LOT", "STATE", "DIES", "PASS", "FAIL", "SUSPECT"};
                for (size_t i = 0; i < 9; i++)
                        table_cell(&t, "%s", heads[i]);
                cJSON_ArrayForEach(r, runs)
                {
                        const cJSON *p = have(r, "progress"), *counts = have(p, "counts");
                        table_cell(&t, "%s", have_text(r, "id"));
                        table_cell(&t, "%s", have_text(r, "began"));
                        table_cell(&t, "%s", have_text(r, "wafer"));
                        table_cell(&t, "%s", have_text(r, "lot"));
                        table_cell(&t, "%s", have_true(r, "in_hand") ? have_text(p, "state") : have_text(r, "state"));
                        table_cell(&t, "%lld/%lld", (long long)have_int(p, "dies_done"), (long long)have_int(p, "dies"));
                        table_cell(&t, "%lld", (long long)have_int(counts, "pass"));
                        table_cell(&t, "%lld", (long long)have_int(counts, "fail"));
                        table_cell(&t, "%lld", (long long)have_int(counts, "suspect"));
                }
                table_put(&t, &c->out);
        }
        answer_done(&a);
        return code;
}

enum code do_run_show(struct cli *c, struct tp_error *err)
{
        static const char *const more[] = {"map", "parameters.json", "checks", "calibrations", "devices", "yield", "evaluations"};
        struct answer run, part[7];
        bool done = false;
        enum code code = check_run(c->args[0], err);
        if (code)
                return code;
        code = http_get_or_json(c, &run, &done, err, "/api/v1/runs/%s", c->args[0]);
        size_t n = 0;
        for (; !code && !done && n < 7; n++)
                code = http_get(c, &part[n], err, "/api/v1/runs/%s/%s", c->args[0], more[n]);
        if (!code && !done) {
                show_run(run.json, part[0].json, part[1].json, part[2].json, part[3].json, part[4].json, part[5].json, &c->out);
                show_offer(part[6].json, c->args[0], &c->out);
        }
        while (n > 0)
                answer_done(&part[--n]);
        answer_done(&run);
        return code;
}
