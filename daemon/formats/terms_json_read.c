/* terms_json_read.c: error terms of two ports out of JSON (terms_json.h). */
#include "formats/terms_json_own.h"
#include "rf/correct/convert_terms.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* Columns that follow from the others may be given; they must not contradict, and are then kept as they are. */
static enum code following_in(const cJSON *terms, struct terms *t, struct arena *arena, struct tp_error *err)
{
        size_t n = t->axis->n;
        double *re = arena_take(arena, 2 * n * sizeof *re);
        if (!re)
                return tp_fail_memory(err);
        double *im = re + n;
        for (int k = 0; k < TERM_COUNT && t->model != TERMS_ONE_PORT; k++) {
                const cJSON *column = terms_follows(t->model, k) ? cJSON_GetObjectItemCaseSensitive(terms, term_words[k]) : NULL;
                char pointer[48];
                snprintf(pointer, sizeof pointer, "/terms/%s", term_words[k]);
                enum code code = column ? terms_column_in(column, pointer, n, re, im, err) : CODE_OK;
                if (code)
                        return code;
                for (size_t i = 0; i < n; i++) {
                        double complex made = CMPLX(t->re[k][i], t->im[k][i]);
                        if (!isfinite(creal(made)) || !isfinite(cimag(made)))
                                return tp_fail_at(
                                        err, CODE_BAD_INPUT, "/terms",
                                        "/terms: at %.9g Hz %s does not follow from the others: a tracking or ratio is 0 or out of "
                                        "all proportion",
                                        t->axis->hz[i], term_words[k]);
                        if (!column)
                                continue;
                        if (!(cabs(CMPLX(re[i], im[i]) - made) <= TERMS_FOLLOWS_TOLERANCE * fmax(1, cabs(made))))
                                return tp_fail_at(err, CODE_BAD_INPUT, pointer,
                                                  "%s is %.9g%+.9gj at %.9g Hz, but %.9g%+.9gj follows from the other terms; leave it out",
                                                  pointer, re[i], im[i], t->axis->hz[i], creal(made), cimag(made));
                        t->re[k][i] = re[i];
                        t->im[k][i] = im[i];
                }
        }
        return CODE_OK;
}

static enum code terms_in(const cJSON *json, struct terms *t, struct arena *arena, struct tp_error *err)
{
        const cJSON *terms;
        struct terms_column c[TERMS_COLUMNS_MAX];
        const char *words[TERMS_COLUMNS_MAX + TERM_COUNT];
        size_t n = terms_columns_of(t, c), word_n = 0;
        bool has[3] = {false};
        enum code code = terms_find(json, "", "terms", &terms, err);
        if (code)
                return code;
        if (!cJSON_IsObject(terms))
                return tp_fail_at(err, CODE_BAD_INPUT, "/terms", "/terms must be an object with a column for each term");
        for (size_t k = 0; k < n; k++) {
                words[word_n++] = c[k].word;
                has[c[k].port] = has[c[k].port] || cJSON_GetObjectItemCaseSensitive(terms, c[k].word);
        }
        for (int k = 0; k < TERM_COUNT; k++)
                if (terms_follows(t->model, k))
                        words[word_n++] = term_words[k];
        if ((code = terms_only(terms, "/terms", words, word_n, err)))
                return code;
        if (t->model == TERMS_ONE_PORT && !has[1] && !has[2])
                return tp_fail_at(err, CODE_BAD_INPUT, "/terms",
                                  "/terms: one-port terms need EDF, ESF and ERF, or EDR, ESR and ERR, or all");
        for (size_t k = 0; k < n; k++) {
                const cJSON *column;
                char pointer[48];
                if (c[k].port && !has[c[k].port])
                        continue;
                snprintf(pointer, sizeof pointer, "/terms/%s", c[k].word);
                if ((code = terms_find(terms, "/terms", c[k].word, &column, err)) ||
                    (code = terms_column_in(column, pointer, t->axis->n, c[k].re, c[k].im, err)))
                        return code;
        }
        if ((code = rf_terms_complete(t, err)))
                return tp_where(err, "/terms");
        code = following_in(terms, t, arena, err);
        if (!code && (code = terms_trackings_check(t, err)))
                return tp_where(err, "/terms");
        return code;
}

static enum code method_in(const cJSON *json, struct arena *arena, struct terms *t, struct tp_error *err)
{
        const cJSON *e;
        enum code code = terms_find(json, "", "method", &e, err);
        if (code)
                return code;
        if (!cJSON_IsString(e) || !terms_key_ok(e->valuestring) || strlen(e->valuestring) > 23)
                return tp_fail_at(err, CODE_BAD_INPUT, "/method",
                                  "/method must be a word of lower-case letters, digits and _, at most 23 of them, e.g. \"sixteen_term\"");
        const struct method *known = rf_method(e->valuestring);
        t->method = known ? known->word : arena_text(arena, e->valuestring);
        return t->method ? CODE_OK : tp_fail_memory(err);
}

static enum code switch_in(const cJSON *json, struct terms_json *f, struct tp_error *err)
{
        enum code code;
        const cJSON *e = cJSON_GetObjectItemCaseSensitive(json, "switch_terms");
        if (!e)
                return CODE_OK;
        static const char *const parts[2] = {"forward", "reverse"};
        double *const re[2] = {f->sw.f_re, f->sw.r_re}, *const im[2] = {f->sw.f_im, f->sw.r_im};
        if (!cJSON_IsObject(e))
                return tp_fail_at(err, CODE_BAD_INPUT, "/switch_terms", "/switch_terms must be an object with \"forward\" and \"reverse\"");
        code = terms_only(e, "/switch_terms", parts, 2, err);
        for (int k = 0; k < 2 && !code; k++) {
                const cJSON *column;
                char pointer[48];
                snprintf(pointer, sizeof pointer, "/switch_terms/%s", parts[k]);
                if (!(code = terms_find(e, "/switch_terms", parts[k], &column, err)))
                        code = terms_column_in(column, pointer, f->axis.n, re[k], im[k], err);
        }
        f->has_sw = !code;
        return code;
}

static enum code all_in(const cJSON *json, struct arena *arena, struct terms_json *f, struct tp_error *err)
{
        static const char *const keys[] = {"format",       "version",        "model",     "method", "plane",        "switch_terms_removed",
                                           "notes",        "frequencies_hz", "z_ref_ohm", "terms",  "switch_terms", "causes",
                                           "each_reading", "not_counted"};
        int model = 0, plane = 0;
        enum code code = terms_head_in(json, TERMS_JSON_FORMAT, TERMS_JSON_VERSION, keys, COUNT_OF(keys), err);
        if (code || (code = terms_word_in(json, "model", terms_model_words, &model, err)) ||
            (code = terms_word_in(json, "plane", plane_words, &plane, err)) || (code = terms_axis_in(json, arena, &f->axis, err)))
                return code;
        void *terms = arena_take(arena, terms_bytes(f->axis.n)), *sw = arena_take(arena, switch_terms_bytes(f->axis.n));
        if (!terms || !sw)
                return tp_fail_memory(err);
        f->terms = terms_at(terms, &f->axis);
        f->sw = switch_terms_at(sw, &f->axis);
        f->terms.model = (enum terms_model)model;
        f->terms.plane = (enum plane)plane;
        if ((code = method_in(json, arena, &f->terms, err)) ||
            (code = terms_bool_in(json, "switch_terms_removed", &f->terms.switch_removed, err)))
                return code;
        if ((code = terms_z_in(json, &f->axis, f->terms.z_re, f->terms.z_im, err)) || (code = terms_in(json, &f->terms, arena, err)) ||
            (code = terms_notes_in(json, arena, &f->notes, &f->note_n, err)) || (code = switch_in(json, f, err)))
                return code;
        return terms_causes_in(json, &f->terms, arena, &f->causes, err);
}

enum code terms_json_read(const char *bytes, size_t n, struct arena *arena, struct terms_json **ret, struct tp_error *err)
{
        cJSON *json = NULL;
        struct terms_json *f = arena_take(arena, sizeof *f);
        if (!f)
                return tp_fail_memory(err);
        enum code code = json_read(bytes, n, 8, &json, err);
        if (code)
                return tp_where(err, "error terms");
        code = all_in(json, arena, f, err);
        cJSON_Delete(json);
        if (!code)
                *ret = f;
        return code;
}
