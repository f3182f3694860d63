/* export.c: a run as files other programs read.  Every file appears whole or not at all; what cannot be corrected is said, not left out
 * silently. */
#include "cli/export.h"
#include "cli/http.h"
#include "cli/show.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A die's name never begins with a dash, since shells and tools would take it for an option. */
void sweep_file_name(const struct sweep_name *s, char *ret, size_t room)
{
        char condition[32] = "", number[32] = "";
        if (s->condition > 0)
                snprintf(condition, sizeof condition, "_c%lld", s->condition);
        if (!s->is_last)
                snprintf(number, sizeof number, "_n%lld", s->n);
        snprintf(ret, room, "x%lldy%lld_%s%s%s.s2p", s->x, s->y, s->device, condition, number);
}

enum code sweeps_read(struct cli *c, const cJSON *sweeps, struct sweep_name **ret, size_t *ret_n, struct tp_error *err)
{
        const cJSON *s;
        size_t n = 0, all = (size_t)cJSON_GetArraySize(sweeps);
        struct sweep_name *names = all ? arena_take(c->arena, all * sizeof *names) : NULL;
        *ret_n = 0;
        if (all && !names)
                return tp_fail_memory(err);
        cJSON_ArrayForEach(s, sweeps)
        {
                const cJSON *die = have(s, "die");
                if (check_name("device", have_text(s, "device"), err))
                        return tp_where(err, "sweep %lld", (long long)have_int(s, "n"));
                names[n++] = (struct sweep_name){have_text(s, "device"),
                                                 have_int(die, "x"),
                                                 have_int(die, "y"),
                                                 have_int(s, "condition"),
                                                 have_int(s, "n"),
                                                 have_int(s, "touchdown"),
                                                 true,
                                                 false};
        }
        for (size_t i = 0; i < n; i++) /* sweeps come in order, so whoever is followed by the same place is not its last */
                for (size_t k = i + 1; k < n && names[i].is_last; k++)
                        if (names[k].x == names[i].x && names[k].y == names[i].y && names[k].condition == names[i].condition &&
                            strcmp(names[k].device, names[i].device) == 0)
                                names[i].is_last = false;
        *ret = names;
        *ret_n = n;
        return CODE_OK;
}

/* One sweep; CODE_OK also when the daemon says that it cannot be corrected: *ret_refused, and the first reason is kept. */
static enum code fetch_sweep(struct cli *c, const char *run, const char *dir, const struct sweep_name *s, bool *ret_refused, char why[600],
                             struct tp_error *err)
{
        char path[160], name[200], file[1000];
        struct answer a;
        answer_init(&a);
        sweep_file_name(s, name, sizeof name);
        snprintf(path, sizeof path, "/api/v1/runs/%s/sweeps/%lld/network.s2p", run, s->n);
        snprintf(file, sizeof file, "%s/%s", dir, name);
        enum code code = http_ask(c, &(struct ask){.method = "GET", .path = path, .save_to = file}, &a, err);
        *ret_refused = code && (a.status == 409 || a.status == 422);
        if (*ret_refused && !why[0])
                snprintf(why, 600, "die %lld,%lld %s: %s", s->x, s->y, s->device, err->text);
        answer_done(&a);
        return *ret_refused ? CODE_OK : code;
}

static enum code fetch(struct cli *c, const char *what, const char *file, struct tp_error *err)
{
        char path[160];
        struct answer a;
        answer_init(&a);
        snprintf(path, sizeof path, "/api/v1/runs/%s/%s", c->args[0], what);
        enum code code = http_ask(c, &(struct ask){.method = "GET", .path = path, .save_to = file}, &a, err);
        answer_done(&a);
        return code;
}

enum code do_export(struct cli *c, struct tp_error *err)
{
        const char *run = c->args[0], *dir = cli_option(c, "to"), *stdf = cli_option(c, "stdf");
        static const char *const parts[][2] = {{"parameters.csv", "parameters.csv"}, {"touchdowns", "touchdowns.json"}, {"file", NULL}};
        char file[1000], own[40], why[600] = "";
        struct sweep_name *names = NULL;
        size_t n = 0, refused = 0;
        struct answer a;
        enum code code = check_run(run, err);
        if (code)
                return code;
        if (!dir && !stdf)
                return tp_fail(err, CODE_BAD_INPUT, "`tipplane export` needs --to DIR or --stdf FILE");
        if (stdf)
                code = export_stdf(c, run, stdf, err);
        if (code || !dir)
                return code;
        if (strlen(dir) > 700)
                return tp_fail(err, CODE_BAD_INPUT, "--to: the folder's name has %zu characters; at most 700", strlen(dir));
        code = http_get(c, &a, err, "/api/v1/runs/%s/sweeps?use=device", run);
        if (!code)
                code = c->world->file->make_dir(c->world, dir, err);
        if (!code)
                code = sweeps_read(c, have(a.json, "sweeps"), &names, &n, err);
        for (size_t i = 0; !code && i < n; i++) {
                bool is_refused = false;
                code = fetch_sweep(c, run, dir, &names[i], &is_refused, why, err);
                names[i].refused = is_refused;
                refused += is_refused;
        }
        snprintf(own, sizeof own, "%s.run", run);
        for (size_t i = 0; !code && i < sizeof parts / sizeof parts[0]; i++) {
                snprintf(file, sizeof file, "%s/%s", dir, parts[i][1] ? parts[i][1] : own);
                code = fetch(c, parts[i][0], file, err);
        }
        if (!code && cli_has(c, "models"))
                code = export_models(c, run, dir, names, n, err);
        answer_done(&a);
        if (!code && cli_has(c, "raw"))
                code = export_raw(c, run, dir, err);
        if (code)
                return tp_where(err, "export to %s", dir);
        text_f(&c->out, "%zu Touchstone files, parameters.csv, touchdowns.json and %s in %s\n", n - refused, own, dir);
        if (refused)
                cli_say("%zu of %zu sweeps have no corrected network; the first: %s", refused, n, why);
        return CODE_OK;
}

enum code do_run_file(struct cli *c, struct tp_error *err)
{
        const char *to = cli_option(c, "to");
        char own[40];
        enum code code = check_run(c->args[0], err);
        snprintf(own, sizeof own, "%s.run", c->args[0]);
        if (!code)
                code = fetch(c, "file", to ? to : own, err);
        if (!code)
                text_f(&c->out, "%s\n", to ? to : own);
        return code;
}

static void say_rescue(const cJSON *rescue, struct text *to)
{
        const cJSON *i;
        text_f(to, "%lld of %lld suspects rescued", (long long)have_int(rescue, "rescued"), (long long)have_int(rescue, "suspects"));
        if (have_text(rescue, "offered")[0])
                text_f(to, ", as the run offered at %s", have_text(rescue, "offered"));
        text_put(to, "\n");
        cJSON_ArrayForEach(i, have(have(rescue, "spec"), "intervals"))
        {
                text_f(to, "interval %lld, ", (long long)have_int(i, "interval"));
                if (have_text(i, "why_not")[0])
                        text_f(to, "not rescued: %s\n", have_text(i, "why_not"));
                else
                        text_f(to, "between calibrations %lld and %lld: %s\n", (long long)have_int(i, "before"),
                               (long long)have_int(i, "after"), have_text(i, "sentence"));
        }
}

enum code do_evaluate(struct cli *c, struct tp_error *err)
{
        const char *to = cli_option(c, "to"), *run = c->args[0];
        struct answer a;
        bool done = false;
        char own[48];
        enum code code = check_run(run, err);
        if (code)
                return code;
        snprintf(own, sizeof own, "%s.rescued.csv", run);
        code = http_get_or_json(c, &a, &done, err, "/api/v1/runs/%s/rescue.json", run);
        if (!code && !done) {
                say_rescue(a.json, &c->out);
                if (have_int(a.json, "rescued") > 0)
                        code = fetch(c, "rescue.csv", to ? to : own, err);
                if (!code && have_int(a.json, "rescued") > 0)
                        text_f(&c->out, "%s\n", to ? to : own);
        }
        answer_done(&a);
        return code;
}
