/* cmd_data.c: what a run found, as tables: map, devices, parameters, yield, checks, touchdowns, journal. */
#include "cli/http.h"
#include "cli/number.h"
#include "cli/show.h"
#include "cli/yield.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Letters that may stand in a query as they are; everything else is refused before it is sent. */
static enum code check_word(const char *option, const char *word, struct tp_error *err)
{
        static const char good[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-";
        size_t n = word ? strlen(word) : 0;
        if (!word || (n <= 31 && strspn(word, good) == n))
                return CODE_OK;
        return tp_fail(err, CODE_BAD_INPUT, "--%s %.40s: at most 31 of A-Z a-z 0-9 . _ -", option, word);
}

/* ---- map ---------------------------------------------------------------------------------------------------------------------------- */

/* The device that has this parameter; NULL: none. */
static const char *device_with(const cJSON *devices, const char *parameter)
{
        const cJSON *d, *p;
        cJSON_ArrayForEach(d, have(devices, "devices"))
                cJSON_ArrayForEach(p, have(d, "parameters")) if (strcmp(have_text(p, "name"), parameter) == 0) return have_text(d, "name");
        return NULL;
}

static bool has_device(const cJSON *devices, const char *name)
{
        const cJSON *d;
        cJSON_ArrayForEach(d, have(devices, "devices")) if (strcmp(have_text(d, "name"), name) == 0) return true;
        return false;
}

/* Only the rows whose quantity is exactly `parameter`. */
static void keep_only(cJSON *parameters, const char *parameter)
{
        cJSON *rows = cJSON_GetObjectItemCaseSensitive(parameters, "parameters");
        for (cJSON *r = rows ? rows->child : NULL, *next; r; r = next) {
                next = r->next;
                if (strcmp(have_text(r, "quantity"), parameter) != 0)
                        cJSON_Delete(cJSON_DetachItemViaPointer(rows, r));
        }
}

enum code do_map(struct cli *c, struct tp_error *err)
{
        const char *device = cli_option(c, "device"), *parameter = cli_option(c, "parameter"), *run = c->args[0];
        struct answer map, devices = {0}, parameters = {0};
        bool done = false;
        enum code code = check_run(run, err);
        if (!code)
                code = check_word("device", device, err);
        if (!code)
                code = check_word("parameter", parameter, err);
        if (code)
                return code;
        code = http_get_or_json(c, &map, &done, err, "/api/v1/runs/%s/map", run);
        if (!code && !done && (device || parameter)) {
                code = http_get(c, &devices, err, "/api/v1/runs/%s/devices", run);
                if (!code && !device)
                        device = device_with(devices.json, parameter);
                if (!code && (!device || !has_device(devices.json, device)))
                        code = tp_fail(err, CODE_NOT_FOUND, "run %s has no %s '%s'; `tipplane devices %s` lists what there is", run,
                                       device ? "device" : "parameter", device ? device : parameter, run);
        }
        if (!code && !done && parameter) {
                code = http_get(c, &parameters, err, "/api/v1/runs/%s/parameters.json?device=%s", run, device);
                if (!code)
                        keep_only(parameters.json, parameter);
        }
        if (!code && !done) {
                if (device)
                        text_f(&c->out, "%s%s%s, ", device, parameter ? " " : "", parameter ? parameter : "");
                show_map(map.json, parameters.json, device, &c->out);
        }
        answer_done(&map);
        answer_done(&devices);
        answer_done(&parameters);
        return code;
}

/* ---- tables ------------------------------------------------------------------------------------------------------------------------- */

static void heads(struct table *t, const char *const *names)
{
        for (; *names; names++)
                table_cell(t, "%s", *names);
}

static void cell_quantity(struct table *t, double value, double u95, const char *unit)
{
        struct text number;
        text_init(&number, 0);
        put_quantity(&number, value, u95, unit);
        table_cell(t, "%s", text_of(&number));
        text_done(&number);
}

static void cell_hz(struct table *t, double hz)
{
        struct text number;
        text_init(&number, 0);
        if (hz > 0)
                put_hz(&number, hz);
        table_cell(t, "%s", text_of(&number));
        text_done(&number);
}

enum code do_devices(struct cli *c, struct tp_error *err)
{
        struct answer a;
        bool done = false;
        const cJSON *d, *p;
        enum code code = check_run(c->args[0], err);
        if (code)
                return code;
        code = http_get_or_json(c, &a, &done, err, "/api/v1/runs/%s/devices", c->args[0]);
        struct table t = table_of(c->arena, "llllrrr");
        heads(&t, (const char *const[]){"DEVICE", "KIND", "DEEMBED", "PARAMETER", "AT", "LOW", "HIGH", NULL});
        cJSON_ArrayForEach(d, have(a.json, "devices"))
        {
                const cJSON *list = have(d, "parameters");
                if (cJSON_GetArraySize(list) == 0) {
                        table_cell(&t, "%s", have_text(d, "name"));
                        table_cell(&t, "%s%s", have_text(d, "kind"), have_true(d, "dummy") ? " (dummy)" : "");
                        table_cell(&t, "%s", have_text(d, "deembed"));
                        for (int i = 0; i < 4; i++)
                                table_cell(&t, "%s", "");
                }
                cJSON_ArrayForEach(p, list)
                {
                        bool first = p == list->child;
                        table_cell(&t, "%s", first ? have_text(d, "name") : "");
                        table_cell(&t, "%s", first ? have_text(d, "kind") : "");
                        table_cell(&t, "%s", first ? have_text(d, "deembed") : "");
                        table_cell(&t, "%s", have_text(p, "name"));
                        cell_hz(&t, have_real(p, "freq_hz"));
                        cell_quantity(&t, have_real(p, "low"), NAN, have_text(p, "unit"));
                        cell_quantity(&t, have_real(p, "high"), NAN, have_text(p, "unit"));
                }
        }
        if (!code && !done)
                table_put(&t, &c->out);
        answer_done(&a);
        return code;
}

enum code do_parameters(struct cli *c, struct tp_error *err)
{
        const char *device = cli_option(c, "device"), *quantity = cli_option(c, "quantity"), *run = c->args[0];
        bool csv = cli_has(c, "csv"), done = false;
        struct answer a;
        const cJSON *p;
        enum code code = check_run(run, err);
        if (!code && csv && cli_json(c))
                code = tp_fail(err, CODE_BAD_INPUT, "--csv and --json cannot both be; give one of them");
        if (!code)
                code = check_word("device", device, err);
        if (!code)
                code = check_word("quantity", quantity, err);
        if (code)
                return code;
        code = http_get_or_json(c, &a, &done, err, "/api/v1/runs/%s/parameters.%s?%s%s%s%s%s", run, csv ? "csv" : "json",
                                device ? "device=" : "", device ? device : "", device && quantity ? "&" : "", quantity ? "quantity=" : "",
                                quantity ? quantity : "");
        if (!code && csv)
                text_bytes(&c->out, text_of(&a.body), a.body.n);
        struct table t = table_of(c->arena, "rllrllrl");
        heads(&t, (const char *const[]){"DIE", "DEVICE", "QUANTITY", "VALUE ± U95", "VERDICT", "TRUST", "TOUCH", "REASON", NULL});
        cJSON_ArrayForEach(p, have(a.json, "parameters"))
        {
                char die[32];
                const char *why = have_text(p, "reason"), *trust = have_text(p, "trust");
                table_cell(&t, "%s", have_die(p, "die", die, ""));
                table_cell(&t, "%s", have_text(p, "device"));
                table_cell(&t, "%s", have_text(p, "quantity"));
                cell_quantity(&t, have_real(p, "value"), have_real(p, "u95"), have_text(p, "unit"));
                table_cell(&t, "%s", have_text(p, "verdict"));
                table_cell(&t, "%s", trust);
                table_cell(&t, "%lld", (long long)have_int(p, "attempt"));
                table_cell(&t, "%s", why[0] ? why : strcmp(trust, "proven") == 0 ? "" : have_text(p, "trust_reason"));
        }
        if (!code && !done && !csv)
                table_put(&t, &c->out);
        answer_done(&a);
        return code;
}

enum code do_checks(struct cli *c, struct tp_error *err)
{
        struct answer a;
        bool done = false;
        const cJSON *k;
        enum code code = check_run(c->args[0], err);
        if (code)
                return code;
        code = http_get_or_json(c, &a, &done, err, "/api/v1/runs/%s/checks", c->args[0]);
        struct table t = table_of(c->arena, "rlrl");
        heads(&t, (const char *const[]){"SEQ", "CHECK", "SHARE", "NEAREST TO A LIMIT, OR OVER IT", NULL});
        cJSON_ArrayForEach(k, have(a.json, "checks"))
        {
                const cJSON *modes = have(k, "modes");
                const char *sentence = have_text(modes, "sentence"), *from = strstr(sentence, "nearest to a limit: ");
                double share = have_real(modes, "worst_share");
                table_cell(&t, "%lld", (long long)have_int(k, "seq"));
                table_cell(&t, "%s", have_true(k, "passed") ? "passed" : "FAILED");
                table_cell(&t, isnan(share) ? "" : "%.0f %%", 100 * share);
                table_cell(&t, "%s", from ? from + 20 : sentence);
        }
        if (!code && !done)
                table_put(&t, &c->out);
        answer_done(&a);
        return code;
}

enum code do_touchdowns(struct cli *c, struct tp_error *err)
{
        struct answer a;
        bool done = false;
        const cJSON *k;
        enum code code = check_run(c->args[0], err);
        if (code)
                return code;
        code = http_get_or_json(c, &a, &done, err, "/api/v1/runs/%s/touchdowns", c->args[0]);
        struct table t = table_of(c->arena, "rlllrlll");
        heads(&t, (const char *const[]){"SEQ", "PLACE", "DIE", "DEVICE", "TOUCH", "CONTACT", "TRUST", "WHY", NULL});
        cJSON_ArrayForEach(k, have(a.json, "touchdowns"))
        {
                char die[32];
                const char *why = have_text(have(k, "evidence"), "reason");
                table_cell(&t, "%lld", (long long)have_int(k, "id"));
                table_cell(&t, "%s", have_text(k, "place"));
                table_cell(&t, "%s", have_die(k, "die", die, ""));
                table_cell(&t, "%s", have_text(k, "device"));
                table_cell(&t, "%lld", (long long)have_int(k, "attempt"));
                table_cell(&t, "%s", have_text(k, "outcome"));
                table_cell(&t, "%s", have_text(k, "trust"));
                table_cell(&t, "%s", why[0] ? why : have_text(k, "trust_reason"));
        }
        if (!code && !done)
                table_put(&t, &c->out);
        answer_done(&a);
        return code;
}

/* ---- yield -------------------------------------------------------------------------------------------------------------------------- */

enum code do_yield(struct cli *c, struct tp_error *err)
{
        struct answer a;
        bool done = false;
        enum code code = check_run(c->args[0], err);
        if (code)
                return code;
        code = http_get_or_json(c, &a, &done, err, "/api/v1/runs/%s/yield", c->args[0]);
        if (!code && !done)
                show_yield(a.json, c->arena, &c->out);
        answer_done(&a);
        return code;
}

/* ---- journal: page by page ---------------------------------------------------------------------------------------------------------- */

static void put_entries(struct cli *c, const cJSON *entries)
{
        const cJSON *e;
        cJSON_ArrayForEach(e, entries)
        {
                const char *kind = have_text(e, "kind"), *note = have_text(have(e, "body"), "note"), *result = have_text(e, "result"),
                           *reason = have_text(e, "reason");
                text_f(&c->out, "%6lld  %s  %-7s  %s", (long long)have_int(e, "seq"), have_text(e, "at"), have_text(e, "phase"),
                       note[0] ? note : kind);
                if (result[0])
                        text_f(&c->out, ": %s", result);
                if (reason[0])
                        text_f(&c->out, "  (%s)", reason);
                text_put(&c->out, "\n");
        }
}

/* With --json one entry per line: a journal of a night is long. */
static void put_entries_json(struct cli *c, const cJSON *entries)
{
        const cJSON *e;
        cJSON_ArrayForEach(e, entries)
        {
                char *line = cJSON_PrintUnformatted(e);
                text_f(&c->out, "%s\n", line ? line : "null");
                cJSON_free(line);
        }
}

enum code do_journal(struct cli *c, struct tp_error *err)
{
        const char *text = cli_option(c, "after"), *phase = cli_option(c, "phase");
        char *end = NULL;
        long long after = text ? strtoll(text, &end, 10) : 0;
        enum { PAGE = 1000 };
        enum code code = check_run(c->args[0], err);
        if (!code && text && (end == text || *end || after < 0))
                code = tp_fail(err, CODE_BAD_INPUT, "--after %.40s: the number of an entry, 0 or more", text);
        if (!code)
                code = check_word("phase", phase, err);
        for (bool more = true; !code && more;) {
                struct answer a;
                code = http_get(c, &a, err, "/api/v1/runs/%s/journal?after=%lld&limit=%d%s%s", c->args[0], after, PAGE,
                                phase ? "&phase=" : "", phase ? phase : "");
                const cJSON *entries = have(a.json, "entries");
                int n = cJSON_GetArraySize(entries);
                if (n > 0)
                        after = have_int(cJSON_GetArrayItem(entries, n - 1), "seq");
                more = n == PAGE;
                if (!code && cli_json(c))
                        put_entries_json(c, entries);
                else if (!code)
                        put_entries(c, entries);
                answer_done(&a);
                if (!code && !cli_flush(c))
                        more = false; /* nobody reads any more */
        }
        return code;
}
