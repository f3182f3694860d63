/* cmd_extract.c: numbers out of corrected two-ports.  What can be asked, and when a number is no number any more, is
 * rf/extract/quantity.h's. */
#include "cli/extract.h"
#include "cli/number.h"
#include "cli/show.h"
#include "rf/extract/insert.h"
#include "rf/numbers/robust.h"
#include "rf/trust/scatter.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define ASKED_MAX 64

struct asked {
        const char *words[ASKED_MAX];
        size_t word_n;
        double at_hz[ASKED_MAX];
        size_t at_n;
        double u; /* 0: not known, or by the document beside each file */
        struct rf_ask ask;
        struct extract_judge *judge; /* --limits: what is asked is what they are of; NULL: none */
        struct tp_error refused;     /* the first number that is below what can be resolved; code 0: none */
};

static void list_quantities(struct cli *c)
{
        struct table t = table_of(c->arena, "lll");
        for (int q = 1; q < RF_Q_COUNT; q++) {
                const struct rf_quantity_row *row = &rf_quantities[q];
                table_cell(&t, "%s", row->word);
                table_cell(&t, "%s", strcmp(row->unit, "1") == 0 ? "" : row->unit);
                table_cell(&t, "%s%s", row->say, row->group == RF_GROUP_LINE ? " (needs --length-um)" : "");
        }
        table_put(&t, &c->out);
}

/* Options that belong to some quantities only. */
static enum code options_used(struct cli *c, const struct asked *a, struct tp_error *err)
{
        bool line = false, plateau = false, points = false;
        for (size_t k = 0; k < a->word_n; k++) {
                enum rf_quantity q = rf_quantity_of(a->words[k]);
                line = line || rf_quantities[q].group == RF_GROUP_LINE;
                plateau = plateau || q == RF_Q_FT || q == RF_Q_FMAX;
                points = points || rf_quantities[q].group != RF_GROUP_SWEEP;
        }
        enum code code = offline_used(c, "length-um", line, "quantities of a line", err);
        if (!code)
                code = offline_used(c, "from", plateau, "fT and fmax", err);
        if (!code)
                code = offline_used(c, "below", plateau, "fT and fmax", err);
        if (!code)
                code = offline_used(c, "at", points, "quantities at a frequency", err);
        if (!code && cli_has(c, "budget") && a->u > 0)
                code = tp_fail(err, CODE_BAD_INPUT, "--budget is of causes, of which --u U has none; give one of them");
        return code;
}

/* With --limits each parameter is a word and, but of a sweep, a frequency. */
static enum code options_of_limits(struct cli *c, struct asked *a, struct tp_error *err)
{
        enum code code = offline_used(c, "quantity", false, "numbers without limits (--limits FILE says what is asked)", err);
        if (!code)
                code = offline_used(c, "at", false, "numbers without limits (--limits FILE says what is asked)", err);
        if (!code)
                code = extract_judge_new(c, cli_option(c, "limits"), &a->judge, err);
        const struct extract_limits *l = code ? NULL : extract_judge_limits(a->judge);
        for (size_t k = 0; l && k < l->parameter_n; k++) {
                a->words[a->word_n++] = l->parameters[k].quantity;
                if (!isnan(l->parameters[k].freq_hz))
                        a->at_hz[a->at_n++] = l->parameters[k].freq_hz;
        }
        return code;
}

static enum code options(struct cli *c, struct asked *a, struct tp_error *err)
{
        double length_um = 0, share = 0;
        enum code code =
                cli_has(c, "limits") ? options_of_limits(c, a, err) : offline_words(c, "quantity", a->words, ASKED_MAX, &a->word_n, err);
        if (!code && a->word_n == 0)
                code = tp_fail(err, CODE_BAD_INPUT, "`tipplane extract` needs --quantity WORD (--quantities lists them) or --limits FILE");
        for (size_t k = 0; k < a->word_n && !code; k++)
                if (rf_quantity_of(a->words[k]) == RF_Q_UNKNOWN)
                        code = tp_fail(err, CODE_BAD_INPUT, "--quantity '%.40s' is not known; --quantities lists them", a->words[k]);
        if (!code && c->arg_n == 0)
                code = tp_fail(err, CODE_BAD_INPUT, "`tipplane extract` needs the FILE of a device");
        if (!code && !a->judge)
                code = offline_numbers(c, "at", a->at_hz, ASKED_MAX, &a->at_n, err);
        if (!code)
                code = offline_number(c, "length-um", 1e-3, 999999, 0, &length_um, err);
        if (!code)
                code = offline_number(c, "u", 1e-12, 1, 0, &a->u, err);
        if (!code)
                code = offline_number(c, "share", 1e-6, 10, 0, &share, err);
        if (!code)
                code = offline_number(c, "from", 0, 1e15, 0, &a->ask.low_hz, err);
        if (!code)
                code = offline_number(c, "below", 0, 1e15, 0, &a->ask.high_hz, err);
        if (!code && a->ask.high_hz > 0 && !(a->ask.high_hz > a->ask.low_hz))
                code = tp_fail(err, CODE_BAD_INPUT, "--below %.9g Hz is not above --from %.9g Hz; nothing lies between them",
                               a->ask.high_hz, a->ask.low_hz);
        for (size_t k = 0; k < a->word_n && !code; k++)
                if (rf_quantities[rf_quantity_of(a->words[k])].group == RF_GROUP_LINE && !(length_um > 0))
                        code = tp_fail(err, CODE_BAD_INPUT, "--quantity %s is of a line, which needs its length; give --length-um L",
                                       a->words[k]);
        if (!code)
                code = options_used(c, a, err);
        if (!code) {
                a->ask.length_m = length_um * 1e-6;
                a->ask.share_max = share;
        }
        return code;
}

#define SHOWN 3 /* causes of a budget */

/* The largest parts of u^2 of a number at point i; 0: its causes are not known one by one. */
static size_t budget_of(const struct rf_extracted *x, const struct net2_causes *causes, size_t i, struct cause_share ret[SHOWN])
{
        double each[CAUSES_MAX];
        if (!causes || !x->grad || !isfinite(x->value[i]))
                return 0;
        net2_causes_of(causes, i, x->grad[i], each);
        return net2_causes_shares(causes, each, ret, SHOWN);
}

/* One number with its frequency; at_hz NaN: of the whole sweep. */
static void row_words(struct cli *c, struct table *t, const char *file, const struct rf_extracted *x, const struct net2_causes *causes,
                      size_t i, double hz, const struct extract_verdict *v)
{
        struct text value, at;
        struct cause_share share[SHOWN];
        text_init(&value, 0);
        text_init(&at, 0);
        put_quantity(&value, x->value[i], x->u95[i], x->row->unit);
        if (isfinite(hz))
                put_hz(&at, hz);
        if (c->arg_n > 1)
                table_cell(t, "%s", file);
        table_cell(t, "%s", x->row->word);
        table_cell(t, "%s", text_of(&at));
        table_cell(t, "%s", text_of(&value));
        if (cli_has(c, "budget")) {
                size_t n = budget_of(x, causes, i, share);
                text_clear(&value);
                for (size_t k = 0; k < n; k++)
                        text_f(&value, "%s%s %.0f %%", k ? ", " : "", share[k].name, 100 * share[k].share);
                table_cell(t, "%s", text_of(&value));
        }
        if (v) {
                table_cell(t, "%s", v->range);
                table_cell(t, "%s", v->verdict);
                table_cell(t, "%s", v->reason);
        }
        text_done(&value);
        text_done(&at);
}

static void reals(struct json_out *o, const char *key, const double *v, const size_t *at, size_t n)
{
        json_open(o, key, '[');
        for (size_t i = 0; i < n; i++)
                json_real(o, NULL, v[at ? at[i] : i]);
        json_close(o, ']');
}

static void budgets(struct json_out *o, const struct rf_extracted *x, const struct net2_causes *causes, const size_t *at, size_t n)
{
        json_open(o, "budget", '[');
        for (size_t i = 0; i < n; i++) {
                struct cause_share share[SHOWN];
                size_t m = budget_of(x, causes, at ? at[i] : i, share);
                json_open(o, NULL, '[');
                for (size_t k = 0; k < m; k++) {
                        json_open(o, NULL, '{');
                        json_text(o, "cause", share[k].name);
                        json_real(o, "percent", 100 * share[k].share);
                        json_close(o, '}');
                }
                json_close(o, ']');
        }
        json_close(o, ']');
}

static void put_quantity_json(struct json_out *o, const struct rf_extracted *x, const struct net2_causes *causes, const size_t *at,
                              size_t at_n, const struct extract_limit *limit, const struct extract_verdict *v)
{
        bool sweep = x->row->group == RF_GROUP_SWEEP;
        size_t n = sweep ? 1 : at ? at_n : x->n;
        json_open(o, NULL, '{');
        json_text(o, "quantity", x->row->word);
        json_text(o, "unit", x->row->unit);
        json_text(o, "meaning", x->row->say);
        if (!sweep)
                reals(o, "freq_hz", x->hz, at, n);
        reals(o, "value", x->value, sweep ? NULL : at, n);
        reals(o, "u", x->u, sweep ? NULL : at, n);
        reals(o, "u95", x->u95, sweep ? NULL : at, n);
        if (causes && x->grad)
                budgets(o, x, causes, at, n);
        json_text(o, "say", x->say);
        if (limit)
                extract_verdict_json(o, limit, v);
        json_close(o, '}');
}

static bool is_of_sweep(const char *word) { return rf_quantities[rf_quantity_of(word)].group == RF_GROUP_SWEEP; }

/* A number of the whole sweep that does not exist, and why; `none` is a NaN. */
static void nowhere(const char *word, struct tp_error *err, double *none, struct rf_extracted *ret)
{
        size_t own = strlen(word);
        bool said = strncmp(err->text, word, own) == 0 && err->text[own] == ':';
        *ret = (struct rf_extracted){.row = &rf_quantities[rf_quantity_of(word)], .n = 1, .value = none, .u = none, .u95 = none};
        snprintf(ret->say, sizeof ret->say, "%.299s", said ? err->text + own + 2 : err->text);
        *err = (struct tp_error){0};
}

/* The document beside the file. */
static enum code document_of(struct cli *c, const char *path, const struct net2 *net, bool one_port, struct net2_causes **ret,
                             struct tp_error *err)
{
        struct netn one = netn_of_two(net);
        struct netn_causes *all = NULL;
        if (!one_port)
                return offline_uncertainty_of(c, path, net, ret, err);
        one.ports = 1;
        enum code code = offline_uncertainty_of_ports(c, path, &one, &all, err);
        if (code || !all)
                return code;
        if (!(*ret = arena_take(c->arena, sizeof **ret)))
                return tp_fail_memory(err);
        return netn_causes_two(all, 0, 0, c->arena, *ret, err);
}

/* What is known of the file's S: by --u, by the document beside it; or, of who states nothing, at least. */
static enum code u_of(struct cli *c, const struct asked *a, const char *path, const struct net2 *net, const struct net2 *of,
                      struct extract_job *j, struct tp_error *err)
{
        struct net2_causes *causes = NULL;
        struct rf_ask *ask = &j->ask;
        if (a->u > 0) {
                double *u = arena_take(c->arena, of->axis->n * sizeof *u);
                if (!u)
                        return tp_fail_memory(err);
                for (size_t i = 0; i < of->axis->n; i++)
                        u[i] = a->u;
                ask->u_s = u;
                return CODE_OK;
        }
        enum code code = document_of(c, path, net, j->one_port, &causes, err);
        j->unstated = !causes;
        if (!code && !causes && cli_has(c, "share"))
                code = tp_fail(
                        err, CODE_BAD_INPUT,
                        "--share is of a number's half width, which --u U gives, or a document of uncertainty beside %s (%s); give both",
                        path, offline_uncertainty_path(c, path));
        if (!code && !causes && cli_has(c, "budget"))
                code = tp_fail(err, CODE_BAD_INPUT,
                               "--budget is of causes, and %s has no document of them (%s); `tipplane correct` makes it", path,
                               offline_uncertainty_path(c, path));
        if (!code && !causes && !net2_finite(net))
                return CODE_OK; /* rf_extract() says where */
        if (!code && !causes && !(causes = arena_take(c->arena, sizeof *causes)))
                code = tp_fail_memory(err);
        if (!code && j->unstated)
                code = rf_unstated_causes(net, c->arena, causes, err);
        if (!code)
                code = offline_causes_on(c, causes, of->axis, err);
        ask->causes = causes;
        return code;
}

static void say_not_counted(const char *path, const struct net2_causes *causes)
{
        struct text all;
        text_init(&all, 0);
        for (size_t k = 0; k < causes->not_counted_n; k++)
                text_f(&all, "%s%s", k ? ", " : "", causes->not_counted[k]);
        if (all.n)
                cli_say("%s: not counted: %s", path, text_of(&all));
        text_done(&all);
}

/* The sentence of a refused number ends the command with status 1, once everything is written: the first as its error. */
static void say_number(struct asked *a, const char *path, const char *word, const struct rf_extracted *x, bool refused, bool json)
{
        if (refused && !a->refused.text[0])
                tp_fail(&a->refused, CODE_UNRESOLVABLE, "%s: %s: %s", path, word, x->say);
        else if (x->say[0] && !json)
                cli_say("%s: %s: %s", path, word, x->say);
}

/* Word k of what is asked, of one file. */
static enum code extract_word(struct cli *c, struct asked *a, const char *path, const struct extract_job *j, size_t w, struct table *t,
                              struct json_out *o, struct tp_error *err)
{
        struct rf_extracted x;
        const char *word = a->words[w];
        double none = NAN;
        bool refused = false;
        const struct net2_causes *causes = j->unstated ? NULL : j->ask.causes;
        enum code code = extract_number(c, j, word, &x, &refused, err);
        if (code == CODE_UNRESOLVABLE && (a->word_n > 1 || c->arg_n > 1) && is_of_sweep(word)) {
                nowhere(word, err, &none, &x); /* the other numbers are not lost for it */
                code = CODE_OK;
        }
        if (code)
                return strstr(err->text, word) ? tp_where(err, "%s", path) : tp_where(err, "%s: %s", path, word);
        bool sweep = x.row->group == RF_GROUP_SWEEP;
        const struct extract_limit *limit = a->judge ? &extract_judge_limits(a->judge)->parameters[w] : NULL;
        struct extract_verdict verdict;
        if (limit)
                extract_judge_number(a->judge, w, &x, sweep ? 0 : j->at[0], causes, j->unstated, &verdict);
        if (o)
                put_quantity_json(o, &x, causes, j->at, j->at_n, limit, &verdict);
        size_t n = sweep ? 1 : j->at ? j->at_n : x.n;
        for (size_t i = 0; i < n && !o; i++) {
                size_t k = !sweep && j->at ? j->at[i] : i;
                row_words(c, t, path, &x, causes, k, sweep ? NAN : x.hz[k], limit ? &verdict : NULL);
        }
        bool missing = false; /* a "–" that was asked for by name, or at its frequency */
        for (size_t i = 0; i < n && (sweep || j->at) && !a->judge; i++)
                missing = missing || isnan(x.value[!sweep && j->at ? j->at[i] : i]);
        if (missing && !x.say[0])
                snprintf(x.say, sizeof x.say, "it does not exist there: %.200s", x.row->nan_say);
        say_number(a, path, word, &x, refused || missing, o != NULL);
        return CODE_OK;
}

/* Cds that went with the pad: what is left of it is no number. */
static enum code cds_check(struct cli *c, const struct asked *a, const char *path, struct tp_error *err)
{
        bool asked = false;
        for (size_t k = 0; k < a->word_n; k++)
                asked = asked || rf_quantity_of(a->words[k]) == RF_Q_FET_CDS;
        struct touchstone *f = asked ? arena_take(c->arena, sizeof *f) : NULL;
        if (!asked)
                return CODE_OK;
        enum code code = f ? offline_touchstone(c, path, f, err) : tp_fail_memory(err);
        if (!code && f->comments && strstr(f->comments, OFFLINE_WITHOUT_CDS))
                code = tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "%s: Cds: it was taken off with c_out, for a pinched transistor does not tell it from the pad at port 2; take the "
                        "pads off by dummies (`tipplane deembed`) and leave --off out to ask for it",
                        path);
        return code;
}

/* The median of eps_eff over the upper half of the sweep, where noise and the skin count least. */
static void length_look(struct cli *c, const char *path, const struct net2 *net, double length_m)
{
        struct rf_ask nothing = {.length_m = length_m};
        struct rf_extracted x;
        struct tp_error none = {0};
        if (!(length_m > 0) || rf_extract(net, "eps_eff", &nothing, c->arena, &x, &none))
                return;
        size_t n = 0;
        double *v = arena_take(c->arena, (x.n + 1) * sizeof *v);
        for (size_t i = x.n / 2; v && i < x.n; i++)
                if (isfinite(x.value[i]))
                        v[n++] = x.value[i];
        if (n > 0)
                offline_length_look(c, path, length_m, rf_quantile(rf_sort(n, v), v, 0.5));
}

static enum code extract_file(struct cli *c, struct asked *a, const char *path, struct table *t, struct json_out *o, struct tp_error *err)
{
        struct net2 net, with;
        size_t *at = arena_take(c->arena, ASKED_MAX * sizeof *at);
        struct extract_job j = {.ask = a->ask};
        enum code code = at ? extract_read(c, path, &net, &j.one_port, err) : tp_fail_memory(err);
        if (!code)
                offline_look_read(c, path, &net);
        if (!code && a->at_n && (code = rf_net2_insert(&net, a->at_hz, a->at_n, c->arena, &with, at, err)))
                tp_where(err, "%s", path);
        if (code)
                return code;
        j.net = a->at_n ? &with : &net;
        j.at = a->at_n ? at : NULL;
        j.at_n = a->at_n;
        if ((code = cds_check(c, a, path, err)) || (code = u_of(c, a, path, &net, j.net, &j, err)))
                return code;
        const struct net2_causes *causes = j.unstated ? NULL : j.ask.causes;
        length_look(c, path, &net, a->ask.length_m);
        if (o) {
                json_open(o, NULL, '{');
                json_text(o, "file", path);
                json_open(o, "quantities", '[');
        }
        for (size_t k = 0, read = 0; k < a->word_n && !code; k++) {
                struct extract_job one = j;
                if (a->judge && !is_of_sweep(a->words[k])) { /* each at its own frequency */
                        one.at = &at[read++];
                        one.at_n = 1;
                }
                code = extract_word(c, a, path, &one, k, t, o, err);
        }
        if (code)
                return code;
        if (o) {
                json_close(o, ']');
                if (causes) {
                        json_open(o, "not_counted", '[');
                        for (size_t k = 0; k < causes->not_counted_n; k++)
                                json_text(o, NULL, causes->not_counted[k]);
                        json_close(o, ']');
                }
                json_close(o, '}');
        } else if (causes && cli_has(c, "budget"))
                say_not_counted(path, causes);
        return CODE_OK;
}

enum code do_extract(struct cli *c, struct tp_error *err)
{
        struct asked *a = arena_take(c->arena, sizeof *a);
        struct text json;
        if (!a)
                return tp_fail_memory(err);
        if (cli_has(c, "quantities")) {
                list_quantities(c);
                return CODE_OK;
        }
        char align[9];
        snprintf(align, sizeof align, "%slrr%s%s", c->arg_n > 1 ? "l" : "", cli_has(c, "budget") ? "l" : "",
                 cli_has(c, "limits") ? "lll" : "");
        struct table t = table_of(c->arena, align);
        enum code code = options(c, a, err);
        text_init(&json, (size_t)1 << 30);
        struct json_out o = json_to(&json);
        json_open(&o, NULL, '{');
        json_open(&o, "files", '[');
        for (size_t k = 0; k < c->arg_n && !code; k++)
                code = extract_file(c, a, c->args[k], &t, cli_json(c) ? &o : NULL, err);
        json_close(&o, ']');
        if (!code && a->judge)
                extract_judge_json(a->judge, c->arena, &o);
        cli_notes_json(c, &o);
        json_close(&o, '}');
        text_put(&json, "\n");
        if (!code && !cli_json(c)) {
                text_clear(&json);
                table_put(&t, &json);
                if (a->judge)
                        extract_judge_risks(a->judge, c->arena, &json);
        }
        if (!code)
                code = offline_out(c, &json, err);
        text_done(&json);
        if (!code && a->refused.text[0]) {
                *err = a->refused;
                return CODE_UNRESOLVABLE;
        }
        if (!code && a->judge && !extract_judge_passed(a->judge))
                c->status = EXIT_ENDED_WITH_FAILS;
        return code;
}
