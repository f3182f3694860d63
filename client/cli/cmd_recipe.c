/* cmd_recipe.c: recipes read, checked, explained, planned, stored. */
#include "recipe/plan.h"
#include "base/hash.h"
#include "cli/http.h"
#include "cli/number.h"
#include "cli/show.h"
#include <stdio.h>
#include <string.h>

#define RECIPE_MAX ((size_t)2 << 20)

enum code recipe_file_read(struct cli *c, const char *path, struct text *ret, struct tp_error *err)
{
        char piece[8192];
        size_t n;
        if (strcmp(path, "-") != 0)
                return c->world->file->read(c->world, path, RECIPE_MAX, ret, err) ? tp_where(err, "recipe") : CODE_OK;
        while ((n = fread(piece, 1, sizeof piece, stdin)) > 0 && ret->n <= RECIPE_MAX)
                text_bytes(ret, piece, n);
        if (ret->n > RECIPE_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "recipe on stdin: longer than 2 MiB; no recipe is");
        return text_ok(ret) ? CODE_OK : tp_fail_memory(err);
}

enum code recipe_store(struct cli *c, const struct text *recipe, char ret_sha256[65], struct tp_error *err)
{
        uint8_t digest[32];
        char path[120];
        struct answer a;
        answer_init(&a);
        sha256_of(text_of(recipe), recipe->n, digest);
        hex_of(digest, sizeof digest, ret_sha256);
        snprintf(path, sizeof path, "/api/v1/recipes/%s", ret_sha256);
        enum code code = http_ask(c, &(struct ask){.method = "PUT", .path = path, .body = text_of(recipe), .body_n = recipe->n}, &a, err);
        answer_done(&a);
        return code;
}

static enum code with_file(struct cli *c, struct text *recipe, struct tp_error *err)
{
        text_init(recipe, RECIPE_MAX * 2);
        return recipe_file_read(c, c->args[0], recipe, err);
}

enum code do_recipe_list(struct cli *c, struct tp_error *err)
{
        struct answer a;
        bool done = false;
        const cJSON *d, *all;
        enum code code = http_get_or_json(c, &a, &done, err, "/api/v1/recipes");
        struct table t = table_of(c->arena, "lll");
        all = have(a.json, "documents");
        cJSON_ArrayForEach(d, all)
        {
                table_cell(&t, "%s", have_text(d, "sha256"));
                table_cell(&t, "%s", have_text(d, "added"));
                table_cell(&t, "%s", have_text(d, "name"));
        }
        if (!code && !done)
                table_put(&t, &c->out);
        if (!code && !done && cJSON_GetArraySize(all) == 0)
                cli_say("no recipe stored yet; `tipplane recipe add FILE` stores one");
        answer_done(&a);
        return code;
}

enum code do_recipe_add(struct cli *c, struct tp_error *err)
{
        struct text recipe;
        char sha256[65];
        enum code code = with_file(c, &recipe, err);
        if (!code)
                code = recipe_store(c, &recipe, sha256, err);
        if (!code)
                text_f(&c->out, cli_json(c) ? "{\"sha256\":\"%s\"}\n" : "%s\n", sha256);
        text_done(&recipe);
        return code;
}

static int32_t untouched(void *ctx, const char *kind, const char *serial, const char *part)
{
        (void)ctx, (void)kind, (void)serial, (void)part;
        return 0;
}

/* On this machine alone: a station that can do whatever is asked, and pads nobody has touched. */
static enum code plan_here(struct cli *c, const struct text *text, const char *wafer, struct recipe **ret_recipe, struct plan **ret,
                           struct tp_error *err)
{
        enum code code = recipe_read(text_of(text), text->n, c->arena, ret_recipe, err);
        if (code)
                return code;
        const struct recipe *r = *ret_recipe;
        struct capability_set can = {.analyzer = true,
                                     .stage = true,
                                     .bias = true,
                                     .meter = true,
                                     .chuck = true,
                                     .signal = true,
                                     .interlock = true,
                                     .switch_terms = true,
                                     .bias_current = true,
                                     .freq_hz_min = 1,
                                     .freq_hz_max = 1e12,
                                     .points_max = 1000000,
                                     .volt_max = r->max_volt,
                                     .spacing_um = r->setup.spacing_um};
        struct ledger_view ledger = {untouched, NULL};
        return plan_make(r, wafer ? wafer : "fresh", &can, &ledger, c->arena, ret, err);
}

enum code do_recipe_check(struct cli *c, struct tp_error *err)
{
        struct text text;
        struct recipe *recipe = NULL;
        struct plan *plan = NULL;
        uint8_t digest[32];
        char sha256[65];
        enum code code = with_file(c, &text, err);
        if (!code)
                code = plan_here(c, &text, NULL, &recipe, &plan, err);
        sha256_of(text_of(&text), text.n, digest);
        hex_of(digest, sizeof digest, sha256);
        if (!code && cli_json(c)) {
                struct json_out o = json_to(&c->out);
                json_open(&o, NULL, '{');
                json_text(&o, "sha256", sha256);
                json_text(&o, "name", recipe->name);
                json_int(&o, "dies", (int64_t)plan->visit_die_n);
                json_int(&o, "touches", plan->touches_total);
                json_close(&o, '}');
                text_put(&c->out, "\n");
        } else if (!code) {
                text_f(&c->out, "%s: right. %zu dies, %zu devices to measure, %lld touches.\nsha256 %s\n", recipe->name, plan->visit_die_n,
                       plan->visit_n, (long long)plan->touches_total, sha256);
        }
        text_done(&text);
        return code ? tp_where(err, "%s", c->args[0]) : CODE_OK;
}

/* POSTs the recipe to one of the two questions that change nothing. */
static enum code ask_about(struct cli *c, const char *what, const struct text *recipe, struct answer *ret, struct tp_error *err)
{
        const char *wafer = cli_option(c, "wafer");
        char path[160];
        enum code code = wafer ? check_name("--wafer", wafer, err) : CODE_OK;
        bool plus = wafer && strchr(wafer, '+'); /* a plus in a query is a blank */
        if (!code && plus)
                code = tp_fail(err, CODE_BAD_INPUT, "--wafer %s: a name with + cannot be asked about", wafer);
        snprintf(path, sizeof path, "/api/v1/recipes/%s%s%s", what, wafer ? "?wafer=" : "", wafer ? wafer : "");
        return code ? code
                    : http_ask(c, &(struct ask){.method = "POST", .path = path, .body = text_of(recipe), .body_n = recipe->n}, ret, err);
}

enum code do_recipe_explain(struct cli *c, struct tp_error *err)
{
        struct text recipe;
        struct answer a;
        answer_init(&a);
        enum code code = with_file(c, &recipe, err);
        if (!code)
                code = ask_about(c, "explain", &recipe, &a, err);
        if (code == CODE_LINK_DEAD && !cli_option(c, "wafer") && !cli_option(c, "address")) {
                struct recipe *r = NULL;
                struct plan *plan = NULL;
                code = plan_here(c, &recipe, NULL, &r, &plan, err);
                if (!code) {
                        cli_say("no daemon at %s: explained for a station that can do what is asked, and for untouched pads", c->address);
                        recipe_explain(r, plan, &c->out);
                }
        } else if (!code) {
                text_bytes(&c->out, text_of(&a.body), a.body.n);
        }
        text_done(&recipe);
        answer_done(&a);
        return code ? tp_where(err, "%s", c->args[0]) : CODE_OK;
}

enum code do_recipe_plan(struct cli *c, struct tp_error *err)
{
        struct text recipe;
        struct answer a;
        const cJSON *t, *at;
        answer_init(&a);
        enum code code = with_file(c, &recipe, err);
        if (!code)
                code = ask_about(c, "plan", &recipe, &a, err);
        if (!code && cli_json(c)) {
                text_f(&c->out, "%s\n", text_of(&a.body));
        } else if (!code) {
                const cJSON *p = a.json;
                int n = 0;
                text_f(&c->out, "%s on %s: %lld dies, %lld devices, %lld touches, %lld checks, ", have_text(p, "recipe"),
                       have_text(p, "station"), (long long)have_int(p, "dies"), (long long)have_int(p, "devices"),
                       (long long)have_int(p, "touches"), (long long)have_int(p, "checks"));
                put_seconds(&c->out, have_real(p, "seconds"));
                text_put(&c->out, "\nOrder:");
                cJSON_ArrayForEach(at, have(p, "order"))
                {
                        const cJSON *x = cJSON_GetArrayItem(at, 0), *y = cJSON_GetArrayItem(at, 1);
                        text_f(&c->out, "%s%d,%d", n++ % 12 ? "  " : "\n  ", x ? x->valueint : 0, y ? y->valueint : 0);
                }
                struct table table = table_of(c->arena, "lllrrr");
                const char *const names[] = {"THING", "SERIAL", "PART", "BUDGET", "USED", "TONIGHT"};
                for (size_t i = 0; i < 6; i++)
                        table_cell(&table, "%s", names[i]);
                cJSON_ArrayForEach(t, have(p, "things"))
                {
                        if (strcmp(have_text(t, "kind"), "pad") == 0) /* thousands of them; --json has all */
                                continue;
                        table_cell(&table, "%s", have_text(t, "kind"));
                        table_cell(&table, "%s", have_text(t, "serial"));
                        table_cell(&table, "%s", have_text(t, "part"));
                        table_cell(&table, "%lld", (long long)have_int(t, "budget"));
                        table_cell(&table, "%lld", (long long)have_int(t, "used"));
                        table_cell(&table, "%lld", (long long)have_int(t, "reserved"));
                }
                text_put(&c->out, "\n\n");
                table_put(&table, &c->out);
        }
        text_done(&recipe);
        answer_done(&a);
        return code ? tp_where(err, "%s", c->args[0]) : CODE_OK;
}
