/* fields_say.c: the sentences of fields_read.c: place, value, and the nearest key. */
#include "base/fields_own.h"
#include "base/utf8.h"
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { POINTER_ROOM = 160, KEY_MAX = 64 };

static size_t place_put(const struct place *p, char *ret, size_t o)
{
        if (!p)
                return o;
        o = place_put(p->up, ret, o);
        if (o + 1 < POINTER_ROOM)
                ret[o++] = '/';
        if (!p->key) {
                int n = snprintf(ret + o, POINTER_ROOM - o, "%zu", p->i);
                return o + (size_t)n < POINTER_ROOM ? o + (size_t)n : POINTER_ROOM - 1;
        }
        for (const char *c = p->key; *c && o + 2 < POINTER_ROOM; c++) { /* RFC 6901: ~ is ~0, / is ~1 */
                if (*c == '~' || *c == '/')
                        ret[o++] = '~';
                ret[o++] = *c == '~' ? '0' : *c == '/' ? '1' : *c;
        }
        return o;
}

enum code field_refuse(const struct place *p, struct tp_error *err, const char *fmt, ...)
{
        char pointer[POINTER_ROOM], words[360];
        va_list args;
        pointer[place_put(p, pointer, 0)] = 0;
        va_start(args, fmt);
        vsnprintf(words, sizeof words, fmt, args);
        va_end(args);
        return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s: %s", pointer[0] ? pointer : "top level", words);
}

/* A number with as few digits as bring it back. */
const char *field_number(double x, char ret[96])
{
        for (int digits = 15; digits <= 17; digits++) {
                snprintf(ret, 96, "%.*g", digits, x);
                if (strtod(ret, NULL) == x)
                        break;
        }
        return ret;
}

/* A value as the sentence shows it: numbers as short as they can be, texts cut at 40 bytes. */
const char *field_shown(const cJSON *v, char ret[96])
{
        if (cJSON_IsNumber(v))
                field_number(v->valuedouble, ret);
        else if (cJSON_IsString(v)) {
                size_t n = strlen(v->valuestring), o = 1;
                ret[0] = '"';
                for (size_t i = 0, step; i < n && o < 48; i += step) {
                        uint32_t point = 0;
                        step = utf8_step(v->valuestring + i, n - i, &point);
                        bool plain = step && point >= 0x20 && point != 0x7F;
                        step = step ? step : 1;
                        if (plain)
                                memcpy(ret + o, v->valuestring + i, step);
                        else
                                ret[o] = '?';
                        o += plain ? step : 1;
                }
                snprintf(ret + o, 96 - o, "%s\"", o < 48 ? "" : "...");
        } else if (cJSON_IsArray(v))
                snprintf(ret, 96, "a list of %d", cJSON_GetArraySize(v));
        else
                snprintf(ret, 96, "%s", cJSON_IsObject(v) ? "an object" : cJSON_IsNull(v) ? "null" : cJSON_IsTrue(v) ? "true" : "false");
        return ret;
}

enum code field_refuse_type(const struct field *f, const cJSON *v, const struct place *p, const char *wanted, struct tp_error *err)
{
        char seen[96];
        if (cJSON_IsNull(v))
                return field_refuse(p, err, "null is not %s%s%s; give one%s", wanted, f->unit ? " in " : "", f->unit ? f->unit : "",
                                    f->required ? "" : ", or leave the key out");
        return field_refuse(p, err, "%s is not %s%s%s", field_shown(v, seen), wanted, f->unit ? " in " : "", f->unit ? f->unit : "");
}

enum code field_refuse_missing(const struct object *o, const struct field *f, const struct place *p, struct tp_error *err)
{
        char words[160] = "";
        size_t used = 0;
        for (size_t i = 0; f->words && f->words[i] && used < sizeof words; i++)
                if (strcmp(f->words[i], "unknown") != 0) /* it says nothing, and is refused later */
                        used += (size_t)snprintf(words + used, sizeof words - used, "%s%s", used ? ", " : "; one of ", f->words[i]);
        return field_refuse(p, err, "missing; %s needs it%s%s%s%s%s", o->name, f->unit ? ", in " : "", f->unit ? f->unit : "", words,
                            f->say ? ": " : "", f->say ? f->say : "");
}

/* Levenshtein's distance (1966) over the first KEY_MAX bytes: how many letters to change, add or drop. */
static size_t distance(const char *a, const char *b)
{
        size_t row[KEY_MAX + 1], n = strnlen(a, KEY_MAX), m = strnlen(b, KEY_MAX);
        for (size_t j = 0; j <= m; j++)
                row[j] = j;
        for (size_t i = 1; i <= n; i++) {
                size_t corner = row[0];
                row[0] = i;
                for (size_t j = 1; j <= m; j++) {
                        size_t change = corner + (a[i - 1] != b[j - 1]);
                        corner = row[j];
                        size_t step = (row[j] < row[j - 1] ? row[j] : row[j - 1]) + 1;
                        row[j] = change < step ? change : step;
                }
        }
        return row[m];
}

enum code field_refuse_key(const struct object *o, const char *key, const struct place *p, struct tp_error *err)
{
        const char *nearest = NULL;
        size_t best = SIZE_MAX;
        for (size_t i = 0; i < o->field_n; i++) {
                size_t d = distance(key, o->fields[i].key);
                if (d < best) {
                        best = d;
                        nearest = o->fields[i].key;
                }
        }
        struct place here = {.up = p, .key = key};
        if (!nearest)
                return field_refuse(&here, err, "unknown key; %s has none", o->name);
        return field_refuse(&here, err, "unknown key \"%.60s\" in %s; the nearest is \"%s\"", key, o->name, nearest);
}
