/* terms_json_causes.c: what is not known exactly of error terms, written and read (terms_json.h).
 * Size        a cause that does not move a term has no column for it: most causes touch one port only. */
#include "formats/terms_json_own.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- what every cause says of itself ------------------------------------------------------------------------------------------------- */

enum code terms_about_check(const struct cause_about *a, struct tp_error *err)
{
        if (!a->name || !a->name[0] || !terms_text_ok(a->name, CAUSE_NAME_MAX))
                return tp_fail(err, CODE_BAD_INPUT, "a cause has no name, or one that is no printable text of at most %d bytes",
                               CAUSE_NAME_MAX);
        if (a->kind <= CAUSE_OF_UNKNOWN || a->kind >= CAUSE_KIND_COUNT)
                return tp_fail(err, CODE_BAD_INPUT, "cause \"%s\" does not say its kind", a->name);
        if (!(a->freedom >= 1))
                return tp_fail(err, CODE_BAD_INPUT, "cause \"%s\" has %.6g degrees of freedom; 1 at least", a->name, a->freedom);
        return CODE_OK;
}

void terms_about_out(struct json_out *o, const struct cause_about *a)
{
        json_text(o, "name", a->name);
        json_text(o, "kind", cause_kind_words[a->kind]);
        json_real(o, "freedom", a->freedom); /* infinite: null */
}

enum code terms_about_in(const cJSON *cause, const char *at, struct arena *arena, struct cause_about *ret, struct tp_error *err)
{
        const cJSON *name, *kind, *freedom;
        enum code code = terms_find(cause, at, "name", &name, err);
        if (code || (code = terms_find(cause, at, "kind", &kind, err)))
                return code;
        if (!cJSON_IsString(name) || !name->valuestring[0] || !terms_text_ok(name->valuestring, CAUSE_NAME_MAX))
                return tp_fail_at(err, CODE_BAD_INPUT, at, "%s/name must be a printable text of 1 to %d bytes", at, CAUSE_NAME_MAX);
        for (int k = 1; cJSON_IsString(kind) && k < CAUSE_KIND_COUNT; k++)
                if (strcmp(kind->valuestring, cause_kind_words[k]) == 0)
                        ret->kind = (enum cause_kind)k;
        if (!ret->kind)
                return tp_fail_at(
                        err, CODE_BAD_INPUT, at,
                        "%s/kind must be standard, length, line, contact, placement, noise or drift; it says how the cause moves along "
                        "frequency",
                        at);
        freedom = cJSON_GetObjectItemCaseSensitive(cause, "freedom");
        ret->freedom = INFINITY;
        if (freedom && !cJSON_IsNull(freedom)) {
                if (!cJSON_IsNumber(freedom) || !(freedom->valuedouble >= 1 && isfinite(freedom->valuedouble)))
                        return tp_fail_at(err, CODE_BAD_INPUT, at, "%s/freedom must be a number from 1 on, or null: known well", at);
                ret->freedom = freedom->valuedouble;
        }
        ret->name = arena_text(arena, name->valuestring);
        return ret->name ? CODE_OK : tp_fail_memory(err);
}

void terms_texts_out(struct json_out *o, const char *key, const char *const *texts, size_t n)
{
        json_open(o, key, '[');
        for (size_t k = 0; k < n; k++)
                json_text(o, NULL, texts[k]);
        json_close(o, ']');
}

enum code terms_texts_in(const cJSON *json, const char *key, size_t max, struct arena *arena, const char ***ret, size_t *ret_n,
                         struct tp_error *err)
{
        const cJSON *list = cJSON_GetObjectItemCaseSensitive(json, key);
        char pointer[48];
        int n = cJSON_IsArray(list) ? cJSON_GetArraySize(list) : -1;
        if (!list)
                return CODE_OK;
        snprintf(pointer, sizeof pointer, "/%s", key);
        if (n < 0 || (size_t)n > max)
                return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s must be a list of at most %zu texts", pointer, max);
        if (n && !(*ret = arena_take(arena, (size_t)n * sizeof **ret)))
                return tp_fail_memory(err);
        for (const cJSON *e = list->child; e; e = e->next) {
                if (!cJSON_IsString(e) || !e->valuestring[0] || !terms_text_ok(e->valuestring, CAUSE_NAME_MAX))
                        return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s/%zu must be a printable text of 1 to %d bytes", pointer, *ret_n,
                                          CAUSE_NAME_MAX);
                if (!((*ret)[*ret_n] = arena_text(arena, e->valuestring)))
                        return tp_fail_memory(err);
                (*ret_n)++;
        }
        return CODE_OK;
}

static const char *const switch_words[2] = {"forward", "reverse"};

/* ---- columns ------------------------------------------------------------------------------------------------------------------------- */

/* The columns of a cause beside those of the terms that it moves. */
struct cause_column {
        const char *word;
        double **re, **im; /* in the cause */
};
static size_t columns_of(const struct terms *t, struct terms_cause *c, struct cause_column to[TERMS_COLUMNS_MAX])
{
        struct terms_column own[TERMS_COLUMNS_MAX];
        size_t n = terms_columns_of(t, own);
        for (size_t k = 0; k < n; k++) {
                to[k].word = own[k].word;
                for (int m = 0; m < TERM_COUNT; m++)
                        if (own[k].re == t->re[m])
                                to[k].re = &c->re[m], to[k].im = &c->im[m];
                for (int m = 0; m < FULL_COUNT; m++)
                        if (own[k].re == t->full_re[m])
                                to[k].re = &c->full_re[m], to[k].im = &c->full_im[m];
        }
        return n;
}

/* A port of one-port terms that is not there has no causes. */
static bool is_there(const struct terms *t, const char *word)
{
        struct terms_column own[TERMS_COLUMNS_MAX];
        size_t n = terms_columns_of(t, own);
        for (size_t k = 0; k < n; k++)
                if (strcmp(own[k].word, word) == 0)
                        return !own[k].port || isfinite(own[k].re[0]);
        return false;
}

enum code terms_each_check(const struct reading_u *u, struct tp_error *err)
{
        const double all[] = {u->noise_floor,  u->noise_trace,   u->contact_ohm,  u->contact_h,
                              u->placement_um, u->drift_delay_s, u->drift_loss_db};
        for (size_t k = 0; k < COUNT_OF(all); k++)
                if (!(all[k] >= 0 && isfinite(all[k])))
                        return tp_fail(err, CODE_BAD_INPUT, "an uncertainty of each reading is %.6g; it must be 0 or more", all[k]);
        if (!(u->noise_freedom >= 1) || !(u->eps_eff >= 1 && u->eps_eff <= 50))
                return tp_fail(err, CODE_BAD_INPUT, "the noise has %.6g degrees of freedom, the line an eps_eff of %.6g; 1 at least",
                               u->noise_freedom, u->eps_eff);
        return CODE_OK;
}

enum code terms_causes_check(const struct terms *t, const struct terms_causes *causes, struct tp_error *err)
{
        if (causes->n > CAUSES_MAX || causes->not_counted_n > CAUSES_NOT_COUNTED_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "%zu causes are too many; at most %d are written", causes->n, CAUSES_MAX);
        enum code each = terms_each_check(&causes->reading, err);
        if (each)
                return each;
        for (size_t k = 0; k < causes->n; k++) {
                struct terms_cause c = causes->of[k];
                struct cause_column column[TERMS_COLUMNS_MAX];
                size_t n = columns_of(t, &c, column), used = 0;
                enum code code = terms_about_check(&c.about, err);
                for (size_t j = 0; j < k && !code; j++)
                        if (strcmp(causes->of[j].about.name, c.about.name) == 0)
                                code = tp_fail(err, CODE_BAD_INPUT, "two causes are called \"%s\"", c.about.name);
                for (size_t m = 0; m < n && !code; m++) {
                        used += *column[m].re != NULL;
                        if (*column[m].re)
                                code = terms_column_check(column[m].word, t->axis, *column[m].re, *column[m].im, err);
                }
                for (int m = 0; m < 2 && !code; m++)
                        if (c.switch_re[m]) {
                                used++;
                                code = terms_column_check(switch_words[m], t->axis, c.switch_re[m], c.switch_im[m], err);
                        }
                if (!code && !used)
                        code = tp_fail(err, CODE_BAD_INPUT, "cause \"%s\" moves no term", c.about.name);
                if (code)
                        return code;
        }
        return CODE_OK;
}

void terms_each_out(struct json_out *o, const struct reading_u *u)
{
        json_open(o, "each_reading", '{');
        json_real(o, "noise_floor_u", u->noise_floor);
        json_real(o, "noise_trace_u", u->noise_trace);
        json_real(o, "noise_freedom", u->noise_freedom);
        json_real(o, "contact_ohm_u", u->contact_ohm);
        json_real(o, "contact_h_u", u->contact_h);
        json_real(o, "placement_um_u", u->placement_um);
        if (u->drift_delay_s > 0)
                json_real(o, "drift_delay_s_u", u->drift_delay_s);
        if (u->drift_loss_db > 0)
                json_real(o, "drift_loss_db_u", u->drift_loss_db);
        json_real(o, "eps_eff", u->eps_eff);
        json_close(o, '}');
}

void terms_causes_out(struct json_out *o, const struct terms *t, const struct terms_causes *causes)
{
        json_open(o, "causes", '[');
        for (size_t k = 0; k < causes->n; k++) {
                struct terms_cause c = causes->of[k];
                struct cause_column column[TERMS_COLUMNS_MAX];
                size_t n = columns_of(t, &c, column);
                json_open(o, NULL, '{');
                terms_about_out(o, &c.about);
                json_open(o, "terms", '{');
                for (size_t m = 0; m < n; m++)
                        if (*column[m].re)
                                terms_column_out(o, column[m].word, *column[m].re, *column[m].im, t->axis->n);
                json_close(o, '}');
                if (c.switch_re[0] || c.switch_re[1]) {
                        json_open(o, "switch_terms", '{');
                        for (int m = 0; m < 2; m++)
                                if (c.switch_re[m])
                                        terms_column_out(o, switch_words[m], c.switch_re[m], c.switch_im[m], t->axis->n);
                        json_close(o, '}');
                }
                json_close(o, '}');
        }
        json_close(o, ']');
        terms_each_out(o, &causes->reading);
        terms_texts_out(o, "not_counted", causes->not_counted, causes->not_counted_n);
}

/* ---- reading ------------------------------------------------------------------------------------------------------------------------- */

static enum code cause_in(const cJSON *json, size_t k, const struct terms *t, struct arena *arena, struct terms_cause *ret,
                          struct tp_error *err)
{
        static const char *const keys[] = {"name", "kind", "freedom", "terms", "switch_terms"};
        struct cause_column column[TERMS_COLUMNS_MAX];
        const char *words[TERMS_COLUMNS_MAX];
        size_t n = columns_of(t, ret, column), word_n = 0;
        char at[32], below[48];
        const cJSON *terms;
        snprintf(at, sizeof at, "/causes/%zu", k);
        snprintf(below, sizeof below, "%s/terms", at);
        if (!cJSON_IsObject(json))
                return tp_fail_at(err, CODE_BAD_INPUT, at, "%s must be an object with \"name\", \"kind\" and \"terms\"", at);
        enum code code = terms_only(json, at, keys, COUNT_OF(keys), err);
        if (code || (code = terms_about_in(json, at, arena, &ret->about, err)) || (code = terms_find(json, at, "terms", &terms, err)))
                return code;
        for (size_t m = 0; m < n; m++)
                if (is_there(t, column[m].word))
                        words[word_n++] = column[m].word;
        const cJSON *sw = cJSON_GetObjectItemCaseSensitive(json, "switch_terms");
        if (!cJSON_IsObject(terms) || (!terms->child && !sw))
                return tp_fail_at(err, CODE_BAD_INPUT, below, "%s must be an object with a column for each term that moves", below);
        code = terms_only(terms, below, words, word_n, err);
        for (size_t m = 0; m < n && !code; m++)
                code = terms_column_at(terms, below, column[m].word, t->axis->n, arena, column[m].re, column[m].im, err);
        if (code || !sw)
                return code;
        snprintf(below, sizeof below, "%s/switch_terms", at);
        if (!cJSON_IsObject(sw) || !sw->child || !t->switch_removed)
                return tp_fail_at(err, CODE_BAD_INPUT, below,
                                  "%s must be an object with \"forward\" and \"reverse\", of terms that want their switch terms removed",
                                  below);
        code = terms_only(sw, below, switch_words, 2, err);
        for (int m = 0; m < 2 && !code; m++)
                code = terms_column_at(sw, below, switch_words[m], t->axis->n, arena, &ret->switch_re[m], &ret->switch_im[m], err);
        return code;
}

enum code terms_each_in(const cJSON *json, struct reading_u *u, struct tp_error *err)
{
        const struct {
                const char *key;
                double *to, least, most;
        } rows[] = {{"noise_floor_u", &u->noise_floor, 0, 1},
                    {"noise_trace_u", &u->noise_trace, 0, 1},
                    {"noise_freedom", &u->noise_freedom, 1, 1e12},
                    {"contact_ohm_u", &u->contact_ohm, 0, 1e3},
                    {"contact_h_u", &u->contact_h, 0, 1e-6},
                    {"placement_um_u", &u->placement_um, 0, 1e4},
                    {"drift_delay_s_u", &u->drift_delay_s, 0, 1e-9},
                    {"drift_loss_db_u", &u->drift_loss_db, 0, 10},
                    {"eps_eff", &u->eps_eff, 1, 50}};
        const char *words[COUNT_OF(rows)];
        const cJSON *e = cJSON_GetObjectItemCaseSensitive(json, "each_reading");
        *u = (struct reading_u){.noise_freedom = INFINITY, .eps_eff = ALUMINA_EPS_EFF};
        if (!e)
                return CODE_OK;
        for (size_t k = 0; k < COUNT_OF(rows); k++)
                words[k] = rows[k].key;
        if (!cJSON_IsObject(e))
                return tp_fail_at(err, CODE_BAD_INPUT, "/each_reading", "/each_reading must be an object of standard uncertainties");
        enum code code = terms_only(e, "/each_reading", words, COUNT_OF(rows), err);
        for (size_t k = 0; k < COUNT_OF(rows) && !code; k++) {
                const cJSON *x = cJSON_GetObjectItemCaseSensitive(e, rows[k].key);
                char pointer[48];
                snprintf(pointer, sizeof pointer, "/each_reading/%s", rows[k].key);
                if (!x || (cJSON_IsNull(x) && rows[k].to == &u->noise_freedom))
                        continue;
                if (!cJSON_IsNumber(x) || !(x->valuedouble >= rows[k].least && x->valuedouble <= rows[k].most))
                        return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s must be a number from %g to %g", pointer, rows[k].least,
                                          rows[k].most);
                *rows[k].to = x->valuedouble;
        }
        return code;
}

enum code terms_causes_in(const cJSON *json, const struct terms *t, struct arena *arena, struct terms_causes **ret, struct tp_error *err)
{
        const cJSON *list = cJSON_GetObjectItemCaseSensitive(json, "causes");
        bool any = list || cJSON_GetObjectItemCaseSensitive(json, "each_reading") || cJSON_GetObjectItemCaseSensitive(json, "not_counted");
        int n = cJSON_IsArray(list) ? cJSON_GetArraySize(list) : list ? -1 : 0;
        if (!any)
                return CODE_OK;
        if (n < 0 || n > CAUSES_MAX)
                return tp_fail_at(err, CODE_BAD_INPUT, "/causes", "/causes must be a list of at most %d causes", CAUSES_MAX);
        struct terms_causes *to = arena_take(arena, sizeof *to);
        if (!to || !(to->of = arena_take(arena, ((size_t)n + 1) * sizeof *to->of)))
                return tp_fail_memory(err);
        for (const cJSON *e = list ? list->child : NULL; e; e = e->next) {
                enum code code = cause_in(e, to->n, t, arena, &to->of[to->n], err);
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
