/* multiport_json_causes.c: what is not known exactly of error terms of three and four ports, written and read (multiport_json.h).
 * Size        a cause has no column for what it does not move: one of a step touches two ports. */
#include "formats/multiport_json_own.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static int columns_n(unsigned port) { return port ? MULTIPORT_TERM_COUNT : MULTIPORT_K; }

static enum code cause_check(const struct multiport_terms *t, const struct multiport_cause *c, struct tp_error *err)
{
        size_t used = 0;
        enum code code = terms_about_check(&c->about, err);
        for (unsigned p = 0; p < t->ports && !code; p++) {
                for (int k = 0; k < columns_n(p) && !code; k++)
                        if (c->re[p][k]) {
                                used++;
                                code = terms_column_check(multiport_term_words[k], t->axis, c->re[p][k], c->im[p][k], err);
                        }
                if (!code && c->switch_re[p]) {
                        used++;
                        code = terms_column_check("a switch term", t->axis, c->switch_re[p], c->switch_im[p], err);
                }
        }
        return code || used ? code : tp_fail(err, CODE_BAD_INPUT, "cause \"%s\" moves no term", c->about.name);
}

enum code multiport_causes_check(const struct multiport_terms *t, const struct multiport_causes *causes, struct tp_error *err)
{
        if (causes->n > CAUSES_MAX || causes->not_counted_n > CAUSES_NOT_COUNTED_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "%zu causes are too many; at most %d are written", causes->n, CAUSES_MAX);
        enum code code = terms_each_check(&causes->reading, err);
        for (size_t k = 0; k < causes->n && !code; k++) {
                code = cause_check(t, &causes->of[k], err);
                for (size_t j = 0; j < k && !code; j++)
                        if (strcmp(causes->of[j].about.name, causes->of[k].about.name) == 0)
                                code = tp_fail(err, CODE_BAD_INPUT, "two causes are called \"%s\"", causes->of[k].about.name);
        }
        return code;
}

static bool moves_port(const struct multiport_cause *c, unsigned p)
{
        bool moves = false;
        for (int k = 0; k < columns_n(p); k++)
                moves = moves || c->re[p][k];
        return moves;
}

void multiport_causes_out(struct json_out *o, const struct multiport_terms *t, const struct multiport_causes *causes)
{
        size_t n = t->axis->n;
        json_open(o, "causes", '[');
        for (size_t m = 0; m < causes->n; m++) {
                const struct multiport_cause *c = &causes->of[m];
                bool switches = false;
                json_open(o, NULL, '{');
                terms_about_out(o, &c->about);
                json_open(o, "terms", '{');
                for (unsigned p = 0; p < t->ports; p++) {
                        switches = switches || c->switch_re[p];
                        if (!moves_port(c, p))
                                continue;
                        json_open(o, multiport_port_words[p], '{');
                        for (int k = 0; k < columns_n(p); k++)
                                if (c->re[p][k])
                                        terms_column_out(o, multiport_term_words[k], c->re[p][k], c->im[p][k], n);
                        json_close(o, '}');
                }
                json_close(o, '}');
                if (switches)
                        json_open(o, "switch_terms", '{');
                for (unsigned p = 0; p < t->ports && switches; p++)
                        if (c->switch_re[p])
                                terms_column_out(o, multiport_port_words[p], c->switch_re[p], c->switch_im[p], n);
                if (switches)
                        json_close(o, '}');
                json_close(o, '}');
        }
        json_close(o, ']');
        terms_each_out(o, &causes->reading);
        terms_texts_out(o, "not_counted", causes->not_counted, causes->not_counted_n);
}

/* ---- reading ------------------------------------------------------------------------------------------------------------------------- */

static enum code ports_in(const cJSON *terms, const char *at, const struct multiport_terms *t, struct arena *arena,
                          struct multiport_cause *ret, struct tp_error *err)
{
        enum code code = terms_only(terms, at, multiport_port_words, t->ports, err);
        for (unsigned p = 0; p < t->ports && !code; p++) {
                const cJSON *port = cJSON_GetObjectItemCaseSensitive(terms, multiport_port_words[p]);
                char below[64];
                snprintf(below, sizeof below, "%s/%s", at, multiport_port_words[p]);
                if (!port)
                        continue;
                if (!cJSON_IsObject(port) || !port->child)
                        return tp_fail_at(err, CODE_BAD_INPUT, below, "%s must be an object with a column for each term that moves", below);
                code = terms_only(port, below, multiport_term_words, (size_t)columns_n(p), err);
                for (int k = 0; k < columns_n(p) && !code; k++)
                        code = terms_column_at(port, below, multiport_term_words[k], t->axis->n, arena, &ret->re[p][k], &ret->im[p][k],
                                               err);
        }
        return code;
}

static enum code cause_in(const cJSON *json, size_t k, const struct multiport_terms *t, bool has_switch, struct arena *arena,
                          struct multiport_cause *ret, struct tp_error *err)
{
        static const char *const keys[] = {"name", "kind", "freedom", "terms", "switch_terms"};
        char at[32], below[48];
        const cJSON *terms;
        snprintf(at, sizeof at, "/causes/%zu", k);
        snprintf(below, sizeof below, "%s/terms", at);
        if (!cJSON_IsObject(json))
                return tp_fail_at(err, CODE_BAD_INPUT, at, "%s must be an object with \"name\", \"kind\" and \"terms\"", at);
        enum code code = terms_only(json, at, keys, COUNT_OF(keys), err);
        if (code || (code = terms_about_in(json, at, arena, &ret->about, err)) || (code = terms_find(json, at, "terms", &terms, err)))
                return code;
        const cJSON *sw = cJSON_GetObjectItemCaseSensitive(json, "switch_terms");
        if (!cJSON_IsObject(terms) || (!terms->child && !sw))
                return tp_fail_at(err, CODE_BAD_INPUT, below, "%s must be an object with an entry for each port that moves", below);
        if ((code = ports_in(terms, below, t, arena, ret, err)) || !sw)
                return code;
        snprintf(below, sizeof below, "%s/switch_terms", at);
        if (!cJSON_IsObject(sw) || !sw->child || !has_switch)
                return tp_fail_at(err, CODE_BAD_INPUT, below,
                                  "%s must be an object with a column for each port, of terms that have switch terms", below);
        code = terms_only(sw, below, multiport_port_words, t->ports, err);
        for (unsigned p = 0; p < t->ports && !code; p++)
                code = terms_column_at(sw, below, multiport_port_words[p], t->axis->n, arena, &ret->switch_re[p], &ret->switch_im[p], err);
        return code;
}

enum code multiport_causes_in(const cJSON *json, const struct multiport_terms *t, bool has_switch, struct arena *arena,
                              struct multiport_causes **ret, struct tp_error *err)
{
        const cJSON *list = cJSON_GetObjectItemCaseSensitive(json, "causes");
        bool any = list || cJSON_GetObjectItemCaseSensitive(json, "each_reading") || cJSON_GetObjectItemCaseSensitive(json, "not_counted");
        int n = cJSON_IsArray(list) ? cJSON_GetArraySize(list) : list ? -1 : 0;
        if (!any)
                return CODE_OK;
        if (n < 0 || n > CAUSES_MAX)
                return tp_fail_at(err, CODE_BAD_INPUT, "/causes", "/causes must be a list of at most %d causes", CAUSES_MAX);
        struct multiport_causes *to = arena_take(arena, sizeof *to);
        if (!to || !(to->of = arena_take(arena, ((size_t)n + 1) * sizeof *to->of)))
                return tp_fail_memory(err);
        for (const cJSON *e = list ? list->child : NULL; e; e = e->next) {
                enum code code = cause_in(e, to->n, t, has_switch, arena, &to->of[to->n], err);
                for (size_t k = 0; k < to->n && !code; k++)
                        if (strcmp(to->of[k].about.name, to->of[to->n].about.name) == 0)
                                code = tp_fail_at(err, CODE_BAD_INPUT, "/causes",
                                                  "/causes: two are called \"%s\"; a name says which is which", to->of[k].about.name);
                if (code)
                        return code;
                to->n++;
        }
        enum code code = terms_each_in(json, &to->reading, err);
        if (!code)
                code = terms_texts_in(json, "not_counted", CAUSES_NOT_COUNTED_MAX, arena, &to->not_counted, &to->not_counted_n, err);
        if (!code)
                *ret = to;
        return code;
}
