/* uncertainty_json.c: the causes of a network out of and into JSON (uncertainty_json.h). */
#include "formats/uncertainty_json.h"
#include "base/hash.h"
#include "formats/terms_json_own.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define FORMAT "tipplane uncertainty"

/* "s11", "s12" … of so many ports, row by row. */
static const char *const *entry_words(unsigned ports)
{
        static const char *const words[RF_PORTS_MAX][RF_ENTRIES_MAX] = {
                {"s11"},
                {"s11", "s12", "s21", "s22"},
                {"s11", "s12", "s13", "s21", "s22", "s23", "s31", "s32", "s33"},
                {"s11", "s12", "s13", "s14", "s21", "s22", "s23", "s24", "s31", "s32", "s33", "s34", "s41", "s42", "s43", "s44"}};
        return words[ports - 1];
}

static bool is_digest(const char *hex)
{
        uint8_t bytes[32];
        return strlen(hex) == 64 && strspn(hex, "0123456789abcdef") == 64 && hex_read(hex, bytes, sizeof bytes);
}

/* ---- writing ------------------------------------------------------------------------------------------------------------------------- */

static enum code write_check(const struct uncertainty_json *u, struct tp_error *err)
{
        const struct netn_causes *c = &u->causes;
        if (c->ports < 1 || c->ports > RF_PORTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "the uncertainty is of %u ports; 1 to %d are written", c->ports, RF_PORTS_MAX);
        if (!u->of || !terms_text_ok(u->of, UNCERTAINTY_NAME_MAX) || !is_digest(u->of_sha256))
                return tp_fail(err, CODE_BAD_INPUT, "the uncertainty does not say which file it belongs to, or not its SHA-256");
        if (u->plane <= PLANE_RECEIVER || u->plane >= PLANE_COUNT)
                return tp_fail(err, CODE_BAD_INPUT, "the uncertainty is of raw data, or does not say its reference plane");
        if (c->n > CAUSES_MAX || c->not_counted_n > CAUSES_NOT_COUNTED_MAX || u->axis.n > TERMS_JSON_POINTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "%zu causes at %zu frequencies are too many; at most %d at %d are written", c->n,
                               u->axis.n, CAUSES_MAX, TERMS_JSON_POINTS_MAX);
        for (size_t k = 0; k < c->n; k++) {
                const struct netn_cause *one = &c->of[k];
                enum code code = terms_about_check(&one->about, err);
                if (!code && !is_digest(one->id))
                        code = tp_fail(err, CODE_BAD_INPUT, "cause \"%s\" has no id of 64 hex digits", one->about.name);
                for (size_t j = 0; j < k && !code; j++)
                        if (strcmp(c->of[j].id, one->id) == 0)
                                code = tp_fail(err, CODE_BAD_INPUT, "causes \"%s\" and \"%s\" have one id", c->of[j].about.name,
                                               one->about.name);
                for (unsigned e = 0; e < c->ports * c->ports && !code; e++)
                        if (one->re[e])
                                code = terms_column_check(entry_words(c->ports)[e], &u->axis, one->re[e], one->im[e], err);
                if (code)
                        return tp_where(err, "uncertainty");
        }
        return CODE_OK;
}

enum code uncertainty_json_write(const struct uncertainty_json *u, struct text *to, struct tp_error *err)
{
        enum code code = write_check(u, err);
        if (code)
                return code;
        struct json_out o = json_to(to);
        json_open(&o, NULL, '{');
        json_text(&o, "format", FORMAT);
        json_int(&o, "version", u->causes.ports == 2 ? 1 : UNCERTAINTY_JSON_VERSION);
        json_text(&o, "of", u->of);
        json_text(&o, "of_sha256", u->of_sha256);
        if (u->causes.ports != 2)
                json_int(&o, "ports", u->causes.ports);
        json_text(&o, "plane", plane_words[u->plane]);
        json_real(&o, "z_ref_ohm", u->z_ref_ohm);
        terms_reals_out(&o, "frequencies_hz", u->axis.hz, u->axis.n);
        json_open(&o, "causes", '[');
        for (size_t k = 0; k < u->causes.n; k++) {
                const struct netn_cause *c = &u->causes.of[k];
                json_open(&o, NULL, '{');
                json_text(&o, "id", c->id);
                terms_about_out(&o, &c->about);
                json_open(&o, "s", '{');
                for (unsigned e = 0; e < u->causes.ports * u->causes.ports; e++)
                        if (c->re[e])
                                terms_column_out(&o, entry_words(u->causes.ports)[e], c->re[e], c->im[e], u->axis.n);
                json_close(&o, '}');
                json_close(&o, '}');
        }
        json_close(&o, ']');
        terms_texts_out(&o, "not_counted", u->causes.not_counted, u->causes.not_counted_n);
        json_close(&o, '}');
        text_put(to, "\n");
        return text_ok(to) ? CODE_OK : tp_fail_memory(err);
}

/* ---- reading ------------------------------------------------------------------------------------------------------------------------- */

static enum code digest_in(const cJSON *json, const char *at, const char *key, char ret[65], struct tp_error *err)
{
        const cJSON *e;
        char pointer[64];
        enum code code = terms_find(json, at, key, &e, err);
        if (code)
                return code;
        snprintf(pointer, sizeof pointer, "%s/%s", at, key);
        if (!cJSON_IsString(e) || !is_digest(e->valuestring))
                return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s must be 64 lower-case hex digits", pointer);
        memcpy(ret, e->valuestring, 65);
        return CODE_OK;
}

static enum code cause_in(const cJSON *json, size_t k, unsigned ports, size_t n, struct arena *arena, struct netn_cause *ret,
                          struct tp_error *err)
{
        static const char *const keys[] = {"id", "name", "kind", "freedom", "s"};
        char at[32], below[48];
        const cJSON *s;
        snprintf(at, sizeof at, "/causes/%zu", k);
        snprintf(below, sizeof below, "%s/s", at);
        if (!cJSON_IsObject(json))
                return tp_fail_at(err, CODE_BAD_INPUT, at, "%s must be an object with \"id\", \"name\", \"kind\" and \"s\"", at);
        enum code code = terms_only(json, at, keys, COUNT_OF(keys), err);
        if (code || (code = digest_in(json, at, "id", ret->id, err)) || (code = terms_about_in(json, at, arena, &ret->about, err)) ||
            (code = terms_find(json, at, "s", &s, err)))
                return code;
        if (!cJSON_IsObject(s))
                return tp_fail_at(err, CODE_BAD_INPUT, below, "%s must be an object with a column for each S that moves", below);
        code = terms_only(s, below, entry_words(ports), ports * ports, err);
        for (unsigned e = 0; e < ports * ports && !code; e++) {
                const cJSON *one = cJSON_GetObjectItemCaseSensitive(s, entry_words(ports)[e]);
                char pointer[64];
                if (!one)
                        continue;
                snprintf(pointer, sizeof pointer, "%s/%s", below, entry_words(ports)[e]);
                ret->re[e] = arena_take(arena, n * sizeof(double));
                ret->im[e] = arena_take(arena, n * sizeof(double));
                code = ret->re[e] && ret->im[e] ? terms_column_in(one, pointer, n, ret->re[e], ret->im[e], err) : tp_fail_memory(err);
        }
        return code;
}

static enum code causes_in(const cJSON *json, struct arena *arena, struct uncertainty_json *u, struct tp_error *err)
{
        const cJSON *list;
        enum code code = terms_find(json, "", "causes", &list, err);
        if (code)
                return code;
        int n = cJSON_IsArray(list) ? cJSON_GetArraySize(list) : -1;
        if (n < 0 || n > CAUSES_MAX)
                return tp_fail_at(err, CODE_BAD_INPUT, "/causes", "/causes must be a list of at most %d causes", CAUSES_MAX);
        struct netn_causes *to = &u->causes;
        to->axis = &u->axis;
        if (!(to->of = arena_take(arena, ((size_t)n + 1) * sizeof *to->of)))
                return tp_fail_memory(err);
        for (const cJSON *e = list->child; e; e = e->next) {
                code = cause_in(e, to->n, to->ports, u->axis.n, arena, &to->of[to->n], err);
                if (!code && netn_cause_find(to, to->of[to->n].id))
                        code = tp_fail_at(err, CODE_BAD_INPUT, "/causes", "/causes/%zu has the id of another one; a cause stands once",
                                          to->n);
                if (code)
                        return code;
                to->n++;
        }
        return terms_texts_in(json, "not_counted", CAUSES_NOT_COUNTED_MAX, arena, &to->not_counted, &to->not_counted_n, err);
}

static enum code all_in(const cJSON *json, struct arena *arena, struct uncertainty_json *u, struct tp_error *err)
{
        static const char *const keys[] = {"format",    "version",        "of",     "of_sha256",  "ports", "plane",
                                           "z_ref_ohm", "frequencies_hz", "causes", "not_counted"};
        int plane = 0;
        const cJSON *e, *count;
        enum code code = terms_head_in(json, FORMAT, UNCERTAINTY_JSON_VERSION, keys, COUNT_OF(keys), err);
        if (code || (code = terms_word_in(json, "plane", plane_words, &plane, err)) || (code = terms_axis_in(json, arena, &u->axis, err)) ||
            (code = digest_in(json, "", "of_sha256", u->of_sha256, err)) || (code = terms_find(json, "", "of", &e, err)))
                return code;
        u->plane = (enum plane)plane;
        u->causes.ports = 2;
        if ((count = cJSON_GetObjectItemCaseSensitive(json, "ports"))) {
                if (!cJSON_IsNumber(count) || !(count->valueint >= 1 && count->valueint <= RF_PORTS_MAX) ||
                    count->valuedouble != count->valueint)
                        return tp_fail_at(err, CODE_BAD_INPUT, "/ports", "/ports must be a whole number from 1 to %d", RF_PORTS_MAX);
                u->causes.ports = (unsigned)count->valueint;
        }
        if (u->plane == PLANE_RECEIVER)
                return tp_fail_at(err, CODE_BAD_INPUT, "/plane", "/plane is \"receiver\"; raw data have no such document");
        if (!cJSON_IsString(e) || !terms_text_ok(e->valuestring, UNCERTAINTY_NAME_MAX))
                return tp_fail_at(err, CODE_BAD_INPUT, "/of", "/of must be a printable text of at most %d bytes", UNCERTAINTY_NAME_MAX);
        if (!(u->of = arena_text(arena, e->valuestring)))
                return tp_fail_memory(err);
        if ((code = terms_find(json, "", "z_ref_ohm", &e, err)))
                return code;
        u->z_ref_ohm = cJSON_IsNumber(e) ? e->valuedouble : NAN;
        if (!cJSON_IsNull(e) && !(u->z_ref_ohm > 0 && isfinite(u->z_ref_ohm)))
                return tp_fail_at(err, CODE_BAD_INPUT, "/z_ref_ohm", "/z_ref_ohm must be a positive number, or null for the line's own");
        return causes_in(json, arena, u, err);
}

enum code uncertainty_json_read(const char *bytes, size_t n, struct arena *arena, struct uncertainty_json **ret, struct tp_error *err)
{
        cJSON *json = NULL;
        struct uncertainty_json *u = arena_take(arena, sizeof *u);
        if (!u)
                return tp_fail_memory(err);
        enum code code = json_read(bytes, n, 8, &json, err);
        if (code)
                return tp_where(err, "uncertainty");
        code = all_in(json, arena, u, err);
        cJSON_Delete(json);
        if (!code)
                *ret = u;
        return code;
}
