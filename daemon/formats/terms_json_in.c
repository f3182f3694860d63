/* terms_json_in.c: parts of a document of error terms, read strictly (terms_json_own.h). */
#include "formats/terms_json_own.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* A key or text of the document as it may be shown on any terminal. */
const char *terms_shown(const char *text, char room[48])
{
        snprintf(room, 48, "%s", text && terms_text_ok(text, 40) ? text : "?");
        return room;
}

enum code terms_find(const cJSON *json, const char *at, const char *key, const cJSON **ret, struct tp_error *err)
{
        char pointer[64];
        *ret = cJSON_GetObjectItemCaseSensitive(json, key);
        if (*ret)
                return CODE_OK;
        snprintf(pointer, sizeof pointer, "%s/%s", at, key);
        return tp_fail_at(err, CODE_BAD_INPUT, pointer, "there is no \"%s\" (%s)", key, pointer);
}

enum code terms_only(const cJSON *json, const char *at, const char *const *known, size_t known_n, struct tp_error *err)
{
        char room[48];
        for (const cJSON *e = json->child; e; e = e->next) {
                bool is = false;
                for (size_t k = 0; k < known_n; k++)
                        is = is || strcmp(e->string, known[k]) == 0;
                if (!is)
                        return tp_fail_at(err, CODE_BAD_INPUT, at, "\"%s\" in %s has no meaning here; leave it out",
                                          terms_shown(e->string, room), at[0] ? at : "the document");
        }
        return CODE_OK;
}

enum code terms_word_in(const cJSON *json, const char *key, const char *const *words, int *ret, struct tp_error *err)
{
        const cJSON *e;
        char pointer[64], room[48];
        enum code code = terms_find(json, "", key, &e, err);
        if (code)
                return code;
        snprintf(pointer, sizeof pointer, "/%s", key);
        for (int k = 1; cJSON_IsString(e) && words[k]; k++) /* words[0] is "unknown" */
                if (strcmp(e->valuestring, words[k]) == 0) {
                        *ret = k;
                        return CODE_OK;
                }
        char list[160] = "";
        for (int k = 1; words[k]; k++)
                snprintf(list + strlen(list), sizeof list - strlen(list), "%s%s", k > 1 ? ", " : "", words[k]);
        return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s is \"%s\"; known are %s", pointer,
                          terms_shown(cJSON_IsString(e) ? e->valuestring : NULL, room), list);
}

static enum code reals_in(const cJSON *list, const char *pointer, size_t n, double *to, struct tp_error *err)
{
        if (!cJSON_IsArray(list))
                return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s must be a list of %zu numbers", pointer, n);
        size_t i = 0;
        for (const cJSON *e = list->child; e; e = e->next, i++) {
                if (i < n && (!cJSON_IsNumber(e) || !isfinite(e->valuedouble)))
                        return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s: entry %zu of %zu is not a number; a column has no holes",
                                          pointer, i + 1, n);
                if (i < n)
                        to[i] = e->valuedouble;
        }
        if (i != n)
                return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s has %zu numbers, frequencies_hz has %zu; both must have as many",
                                  pointer, i, n);
        return CODE_OK;
}

/* {"re": […], "im": […]} */
enum code terms_column_in(const cJSON *json, const char *pointer, size_t n, double *re, double *im, struct tp_error *err)
{
        static const char *const parts[2] = {"re", "im"};
        double *const to[2] = {re, im};
        if (!cJSON_IsObject(json))
                return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s must be an object with \"re\" and \"im\"", pointer);
        enum code code = terms_only(json, pointer, parts, 2, err);
        for (int k = 0; k < 2 && !code; k++) {
                const cJSON *list;
                char below[64];
                snprintf(below, sizeof below, "%s/%s", pointer, parts[k]);
                if (!(code = terms_find(json, pointer, parts[k], &list, err)))
                        code = reals_in(list, below, n, to[k], err);
        }
        return code;
}

enum code terms_column_at(const cJSON *in, const char *at, const char *word, size_t n, struct arena *arena, double **re, double **im,
                          struct tp_error *err)
{
        const cJSON *one = cJSON_GetObjectItemCaseSensitive(in, word);
        char pointer[80];
        if (!one)
                return CODE_OK;
        snprintf(pointer, sizeof pointer, "%s/%s", at, word);
        *re = arena_take(arena, n * sizeof(double));
        *im = arena_take(arena, n * sizeof(double));
        return *re && *im ? terms_column_in(one, pointer, n, *re, *im, err) : tp_fail_memory(err);
}

enum code terms_bool_in(const cJSON *json, const char *key, bool *ret, struct tp_error *err)
{
        const cJSON *e;
        char pointer[64];
        enum code code = terms_find(json, "", key, &e, err);
        if (code)
                return code;
        snprintf(pointer, sizeof pointer, "/%s", key);
        if (!cJSON_IsBool(e))
                return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s must be true or false", pointer);
        *ret = cJSON_IsTrue(e);
        return CODE_OK;
}

enum code terms_head_in(const cJSON *json, const char *format, int version, const char *const *keys, size_t key_n, struct tp_error *err)
{
        const cJSON *e;
        if (!cJSON_IsObject(json))
                return tp_fail(err, CODE_BAD_INPUT, "this is no \"%s\": the document is no JSON object", format);
        enum code code = terms_find(json, "", "format", &e, err);
        if (code)
                return code;
        if (!cJSON_IsString(e) || strcmp(e->valuestring, format) != 0)
                return tp_fail_at(err, CODE_BAD_INPUT, "/format", "this is another document: /format is not \"%s\"", format);
        if ((code = terms_find(json, "", "version", &e, err)))
                return code;
        if (!cJSON_IsNumber(e) || !(e->valuedouble >= 1 && e->valuedouble == floor(e->valuedouble)))
                return tp_fail_at(err, CODE_BAD_INPUT, "/version", "/version must be a whole number from 1 on");
        if (e->valuedouble > version)
                return tp_fail_at(err, CODE_TOO_NEW, "/version", "the document has version %.9g, this program knows version %d; update it",
                                  e->valuedouble, version);
        return terms_only(json, "", keys, key_n, err);
}

enum code terms_axis_in(const cJSON *json, struct arena *arena, struct axis *ret, struct tp_error *err)
{
        const cJSON *list;
        enum code code = terms_find(json, "", "frequencies_hz", &list, err);
        if (code)
                return code;
        int n = cJSON_IsArray(list) ? cJSON_GetArraySize(list) : 0;
        if (n < 1 || n > TERMS_JSON_POINTS_MAX)
                return tp_fail_at(err, CODE_BAD_INPUT, "/frequencies_hz", "/frequencies_hz must be a list of 1 to %d numbers, in Hz",
                                  TERMS_JSON_POINTS_MAX);
        double *hz = arena_take(arena, (size_t)n * sizeof *hz);
        if (!hz)
                return tp_fail_memory(err);
        if ((code = reals_in(list, "/frequencies_hz", (size_t)n, hz, err)))
                return code;
        return axis_of((size_t)n, hz, ret, err) ? tp_where(err, "/frequencies_hz") : CODE_OK;
}

enum code terms_z_in(const cJSON *json, const struct axis *axis, double *z_re, double *z_im, struct tp_error *err)
{
        const cJSON *z;
        size_t n = axis->n;
        enum code code = terms_find(json, "", "z_ref_ohm", &z, err);
        if (code)
                return code;
        if (cJSON_IsObject(z)) {
                if ((code = terms_column_in(z, "/z_ref_ohm", n, z_re, z_im, err)))
                        return code;
        } else if (cJSON_IsNumber(z))
                for (size_t i = 0; i < n; i++) {
                        z_re[i] = z->valuedouble;
                        z_im[i] = 0;
                }
        else if (!cJSON_IsNull(z))
                return tp_fail_at(err, CODE_BAD_INPUT, "/z_ref_ohm",
                                  "/z_ref_ohm must be a number, an object with \"re\" and \"im\", or null for the line's own impedance");
        for (size_t i = 0; i < n && !cJSON_IsNull(z); i++)
                if (!(z_re[i] > 0 && isfinite(z_re[i])))
                        return tp_fail_at(err, CODE_BAD_INPUT, "/z_ref_ohm",
                                          "/z_ref_ohm is %.9g ohm at %.9g Hz; its real part must be positive", z_re[i], axis->hz[i]);
        return CODE_OK;
}

enum code terms_notes_in(const cJSON *json, struct arena *arena, struct terms_note **ret, size_t *ret_n, struct tp_error *err)
{
        const cJSON *notes = cJSON_GetObjectItemCaseSensitive(json, "notes");
        if (!notes)
                return CODE_OK;
        int n = cJSON_IsObject(notes) ? cJSON_GetArraySize(notes) : -1;
        if (n < 0 || n > TERMS_JSON_NOTES_MAX)
                return tp_fail_at(err, CODE_BAD_INPUT, "/notes", "/notes must be an object of at most %d texts", TERMS_JSON_NOTES_MAX);
        if (n && !(*ret = arena_take(arena, (size_t)n * sizeof **ret)))
                return tp_fail_memory(err);
        for (const cJSON *e = notes->child; e; e = e->next) {
                char room[48];
                if (!terms_key_ok(e->string) || !cJSON_IsString(e) || !terms_text_ok(e->valuestring, TERMS_VALUE_MAX))
                        return tp_fail_at(
                                err, CODE_BAD_INPUT, "/notes",
                                "/notes: \"%s\" must be a name of lower-case letters, digits and _ with a printable text of at most "
                                "%d bytes",
                                terms_shown(e->string, room), TERMS_VALUE_MAX);
                struct terms_note *to = &(*ret)[(*ret_n)++];
                if (!(to->key = arena_text(arena, e->string)) || !(to->value = arena_text(arena, e->valuestring)))
                        return tp_fail_memory(err);
        }
        return CODE_OK;
}
