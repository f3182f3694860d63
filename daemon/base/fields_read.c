/* fields_read.c: JSON into a struct by a table of fields.
 * Sentences   "/die/pitch_x_um: 0 um is outside 1 um to 100000 um": place, value, what is allowed, unit.
 * Invariants  *ret is filled only when all of it is right; an absent field holds its standard value; null is never "absent". */
#include "base/fields_own.h"
#include "base/hash.h"
#include "base/utf8.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DEPTH_MAX = 32 };

bool field_range(const struct field *f, double *ret_min, double *ret_max)
{
        double limit = f->type == FIELD_I32 ? 2147483647.0 : FIELD_I64_LIMIT;
        bool is_integer = f->type == FIELD_I32 || f->type == FIELD_I64;
        *ret_min = is_integer ? (f->type == FIELD_I32 ? -limit - 1 : -limit) : -HUGE_VAL;
        *ret_max = is_integer ? limit : HUGE_VAL;
        if (field_has_range(f)) {
                *ret_min = f->min > *ret_min ? f->min : *ret_min;
                *ret_max = f->max < *ret_max ? f->max : *ret_max;
        }
        return is_integer || field_has_range(f);
}

size_t field_words(const struct field *f)
{
        size_t n = 0;
        while (f->words && f->words[n])
                n++;
        return n;
}

/* Checks one number; the outside of a range, NaN included, never gets through. */
static enum code number_read(const struct field *f, const cJSON *v, const struct place *p, double *ret, struct tp_error *err)
{
        bool is_integer = f->type == FIELD_I32 || f->type == FIELD_I64;
        double min, max, x = v->valuedouble;
        char seen[96], from[96], to[96];
        const char *space = f->unit ? " " : "", *unit = f->unit ? f->unit : "";
        if (!cJSON_IsNumber(v))
                return field_refuse_type(f, v, p, is_integer ? "a whole number" : "a number", err);
        if (is_integer && x != floor(x))
                return field_refuse(p, err, "%s%s%s is not a whole number", field_shown(v, seen), space, unit);
        if (field_range(f, &min, &max) && !(x >= min && x <= max))
                return field_refuse(p, err, "%s%s%s is outside %s%s%s to %s%s%s", field_shown(v, seen), space, unit,
                                    field_number(min, from), space, unit, field_number(max, to), space, unit);
        *ret = x;
        return CODE_OK;
}

static enum code text_read(const struct field *f, const cJSON *v, const struct place *p, char *ret, struct tp_error *err)
{
        static const char allowed[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._+-";
        char seen[96];
        if (!cJSON_IsString(v)) {
                char wanted[240] = "a text";
                if (f->type == FIELD_NAME) /* it may be one of few, which only the words about it say */
                        snprintf(wanted, sizeof wanted, "a name%s%s", f->say ? ": " : "", f->say ? f->say : "");
                return field_refuse_type(f, v, p, wanted, err);
        }
        const char *s = v->valuestring;
        size_t n = strlen(s);
        if (n >= f->size)
                return field_refuse(p, err, "%s is %zu bytes long; at most %zu fit", field_shown(v, seen), n, f->size - 1);
        if (f->type == FIELD_NAME && (n == 0 || strspn(s, allowed) != n))
                return field_refuse(p, err, "%s is no name; one or more of A-Z a-z 0-9 . _ + - are allowed", field_shown(v, seen));
        for (size_t i = 0, step; i < n; i += step) {
                uint32_t c = 0;
                step = utf8_step(s + i, n - i, &c);
                /* control characters, line separators, and the marks that turn the direction of writing and can disguise a text */
                bool bad = c < 0x20 || (c >= 0x7F && c < 0xA0) || c == 0x2028 || c == 0x2029 || (c >= 0x202A && c <= 0x202E) ||
                           (c >= 0x2066 && c <= 0x2069);
                if (step == 0 || bad)
                        return field_refuse(p, err, "%s holds a character that cannot be printed (byte %zu, U+%04X); leave it out",
                                            field_shown(v, seen), i + 1, (unsigned)c);
        }
        memcpy(ret, s, n + 1);
        return CODE_OK;
}

static enum code choice_read(const struct field *f, const cJSON *v, const struct place *p, int32_t *ret, struct tp_error *err)
{
        char seen[96];
        struct text list;
        bool is_word = cJSON_IsString(v) != 0;
        for (size_t i = 0; is_word && f->words[i]; i++) {
                if (strcmp(f->words[i], v->valuestring) == 0) {
                        *ret = (int32_t)i;
                        return CODE_OK;
                }
        }
        text_init(&list, 240);
        text_put(&list, is_word ? "" : "one of the words ");
        for (size_t i = 0; f->words[i]; i++)
                text_f(&list, "%s%s", i ? ", " : "", f->words[i]);
        enum code code = is_word ? field_refuse(p, err, "%s is none of: %s", field_shown(v, seen), text_of(&list))
                                 : field_refuse_type(f, v, p, text_of(&list), err);
        text_done(&list);
        return code;
}

static enum code hex_field_read(const struct field *f, const cJSON *v, const struct place *p, uint8_t *ret, struct tp_error *err)
{
        char seen[96];
        if (!cJSON_IsString(v))
                return field_refuse_type(f, v, p, "a text of hex digits", err);
        if (!hex_read(v->valuestring, ret, f->size))
                return field_refuse(p, err, "%s is not %zu hex digits", field_shown(v, seen), 2 * f->size);
        return CODE_OK;
}

static enum code reals_read(const struct field *f, const cJSON *v, const struct place *p, char *base, struct tp_error *err)
{
        size_t room = f->size / sizeof(double), n = 0;
        double *to = (double *)(void *)(base + f->offset);
        if (!cJSON_IsArray(v))
                return field_refuse_type(f, v, p, "a list of numbers", err);
        size_t count = (size_t)cJSON_GetArraySize(v);
        if (f->count_offset ? count > room : count != room)
                return field_refuse(p, err, "a list of %zu numbers; %s%zu %s wanted", count, f->count_offset ? "at most " : "", room,
                                    room == 1 ? "is" : "are");
        for (const cJSON *c = v->child; c; c = c->next, n++) {
                struct place here = {.up = p, .i = n, .depth = p->depth + 1};
                enum code code = number_read(f, c, &here, &to[n], err);
                if (code)
                        return code;
        }
        if (f->count_offset)
                memcpy(base + f->count_offset, &n, sizeof n);
        return CODE_OK;
}

static enum code object_read(const struct object *, const cJSON *, const struct place *, struct arena *, char *base, struct tp_error *);

static enum code list_read(const struct field *f, const cJSON *v, const struct place *p, struct arena *arena, char *base,
                           struct tp_error *err)
{
        if (!cJSON_IsArray(v))
                return field_refuse_type(f, v, p, "a list", err);
        size_t n = (size_t)cJSON_GetArraySize(v), i = 0;
        if (field_has_range(f) && !((double)n >= f->min && (double)n <= f->max))
                return field_refuse(p, err, "a list of %zu; %.15g to %.15g are allowed", n, f->min, f->max);
        char *items = NULL;
        if (n > 0) {
                items = arena && n <= SIZE_MAX / f->object->bytes ? arena_take(arena, n * f->object->bytes) : NULL;
                if (!items)
                        return tp_fail_at(err, CODE_MEMORY, "", "no memory for the %zu entries of \"%s\"; make the list shorter", n,
                                          f->key);
        }
        for (const cJSON *c = v->child; c; c = c->next, i++) {
                struct place here = {.up = p, .i = i, .depth = p->depth + 1};
                enum code code = object_read(f->object, c, &here, arena, items + i * f->object->bytes, err);
                if (code)
                        return code;
        }
        memcpy(base + f->offset, &items, sizeof items);
        memcpy(base + f->count_offset, &n, sizeof n);
        return CODE_OK;
}

static enum code field_read(const struct field *f, const cJSON *v, const struct place *p, struct arena *arena, char *base,
                            struct tp_error *err)
{
        char *to = base + f->offset;
        double number = 0;
        enum code code = CODE_OK;
        switch (f->type) {
        case FIELD_BOOL:
                if (!cJSON_IsBool(v))
                        return field_refuse_type(f, v, p, "true or false", err);
                *(bool *)to = cJSON_IsTrue(v) != 0;
                return CODE_OK;
        case FIELD_I32:
        case FIELD_I64:
        case FIELD_REAL:
                code = number_read(f, v, p, &number, err);
                if (code)
                        return code;
                if (f->type == FIELD_I32)
                        *(int32_t *)(void *)to = (int32_t)number;
                else if (f->type == FIELD_I64)
                        *(int64_t *)(void *)to = (int64_t)number;
                else
                        *(double *)(void *)to = number;
                return CODE_OK;
        case FIELD_TEXT:
        case FIELD_NAME:
                return text_read(f, v, p, to, err);
        case FIELD_CHOICE:
                return choice_read(f, v, p, (int32_t *)(void *)to, err);
        case FIELD_OBJECT:
                return object_read(f->object, v, p, arena, to, err);
        case FIELD_LIST:
                return list_read(f, v, p, arena, base, err);
        case FIELD_REALS:
                return reals_read(f, v, p, base, err);
        case FIELD_HEX:
                return hex_field_read(f, v, p, (uint8_t *)to, err);
        }
        return tp_fail(err, CODE_BUG, "the field \"%s\" has the unheard-of type %d", f->key, (int)f->type);
}

/* What an absent object holds: the standard value of each field, as deep as objects stand inside objects. */
static void put_standards(const struct object *o, char *base)
{
        for (size_t i = 0; i < o->field_n; i++) {
                const struct field *f = &o->fields[i];
                char *to = base + f->offset;
                switch (f->type) {
                case FIELD_BOOL:
                        *(bool *)to = f->standard != 0;
                        break;
                case FIELD_I32:
                case FIELD_CHOICE:
                        *(int32_t *)(void *)to = (int32_t)f->standard;
                        break;
                case FIELD_I64:
                        *(int64_t *)(void *)to = (int64_t)f->standard;
                        break;
                case FIELD_REAL:
                        *(double *)(void *)to = f->standard;
                        break;
                case FIELD_TEXT:
                case FIELD_NAME:
                        snprintf(to, f->size, "%s", f->standard_text ? f->standard_text : "");
                        break;
                case FIELD_OBJECT:
                        put_standards(f->object, to);
                        break;
                case FIELD_LIST:
                case FIELD_REALS:
                case FIELD_HEX:
                        break; /* zeroed: none */
                }
        }
}

static const struct field *find_field(const struct object *o, const char *key)
{
        for (size_t i = 0; i < o->field_n; i++)
                if (strcmp(o->fields[i].key, key) == 0)
                        return &o->fields[i];
        return NULL;
}

static enum code object_read(const struct object *o, const cJSON *json, const struct place *p, struct arena *arena, char *base,
                             struct tp_error *err)
{
        char seen[96];
        if (!cJSON_IsObject(json))
                return field_refuse(p, err, "%s is not an object (%s)", field_shown(json, seen), o->name);
        if (p && p->depth > DEPTH_MAX)
                return field_refuse(p, err, "more than %d levels deep", DEPTH_MAX);
        put_standards(o, base);
        for (const cJSON *v = json->child; v; v = v->next) {
                const struct field *f = find_field(o, v->string);
                if (!f)
                        return field_refuse_key(o, v->string, p, err);
                struct place here = {.up = p, .key = f->key, .depth = p ? p->depth + 1 : 1};
                enum code code = field_read(f, v, &here, arena, base, err);
                if (code)
                        return code;
                if (f->has_offset)
                        *(bool *)(base + f->has_offset) = true;
        }
        for (size_t i = 0; i < o->field_n; i++) {
                const struct field *f = &o->fields[i];
                struct place here = {.up = p, .key = f->key};
                if (f->required && !cJSON_GetObjectItemCaseSensitive(json, f->key))
                        return field_refuse_missing(o, f, &here, err);
        }
        return CODE_OK;
}

enum code fields_read(const struct object *o, const cJSON *json, struct arena *arena, void *ret, struct tp_error *err)
{
        char *whole = calloc(1, o->bytes); /* the caller's struct stays untouched on failure */
        if (!whole)
                return tp_fail_memory(err);
        enum code code = object_read(o, json, NULL, arena, whole, err);
        if (!code)
                memcpy(ret, whole, o->bytes);
        free(whole);
        return code;
}

enum code fields_read_text(const struct object *o, const char *text, size_t n, struct arena *arena, void *ret, struct tp_error *err)
{
        cJSON *json = NULL;
        enum code code = json_read(text, n, JSON_DEPTH_MAX, &json, err);
        if (!code)
                code = fields_read(o, json, arena, ret, err);
        cJSON_Delete(json);
        return code;
}
