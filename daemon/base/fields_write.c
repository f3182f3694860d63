/* fields_write.c: a struct back into JSON by the same table.
   Left out: an optional field whose has_ is false, an optional text or list that is empty, and a NaN where NaN is the standard value.
   Any other NaN becomes null, which fields_read() refuses: not known never turns into a number on the way. */
#include "base/fields_own.h"
#include "base/hash.h"
#include <math.h>
#include <stdlib.h>

static size_t count_of(const struct field *f, const void *from)
{
        return *(const size_t *)(const void *)((const char *)from + f->count_offset);
}

static bool is_left_out(const struct field *f, const void *from)
{
        const void *at = field_at(f, from);
        if (f->required)
                return false;
        if (f->has_offset)
                return !*(const bool *)((const char *)from + f->has_offset);
        switch (f->type) {
        case FIELD_REAL:
                return isnan(*(const double *)at) && isnan(f->standard);
        case FIELD_TEXT:
        case FIELD_NAME:
                return *(const char *)at == 0 && !(f->standard_text && f->standard_text[0]);
        case FIELD_LIST:
                return count_of(f, from) == 0;
        case FIELD_REALS:
                return f->count_offset && count_of(f, from) == 0;
        case FIELD_BOOL:
        case FIELD_I32:
        case FIELD_I64:
        case FIELD_CHOICE:
        case FIELD_OBJECT:
        case FIELD_HEX:
                return false;
        }
        return false;
}

static void choice_write(const struct field *f, int32_t value, struct json_out *o)
{
        bool is_known = value >= 0 && (size_t)value < field_words(f);
        json_text(o, f->key, is_known ? f->words[value] : NULL);
}

static void list_write(const struct field *f, const void *from, struct json_out *o)
{
        const char *items = *(const char *const *)field_at(f, from);
        json_open(o, f->key, '[');
        for (size_t i = 0; i < count_of(f, from); i++)
                fields_write(f->object, items + i * f->object->bytes, o, NULL);
        json_close(o, ']');
}

static void reals_write(const struct field *f, const void *from, struct json_out *o)
{
        const double *x = field_at(f, from);
        size_t room = f->size / sizeof *x, n = f->count_offset ? count_of(f, from) : room;
        json_open(o, f->key, '[');
        for (size_t i = 0; i < n && i < room; i++)
                json_real(o, NULL, x[i]);
        json_close(o, ']');
}

static void hex_write(const struct field *f, const uint8_t *bytes, struct json_out *o)
{
        char *digits = malloc(2 * f->size + 1);
        if (!digits) {
                o->to->broken = true;
                return;
        }
        hex_of(bytes, f->size, digits);
        json_text(o, f->key, digits);
        free(digits);
}

static void field_write(const struct field *f, const void *from, struct json_out *o)
{
        const void *at = field_at(f, from);
        switch (f->type) {
        case FIELD_BOOL:
                json_bool(o, f->key, *(const bool *)at);
                break;
        case FIELD_I32:
                json_int(o, f->key, *(const int32_t *)at);
                break;
        case FIELD_I64:
                json_int(o, f->key, *(const int64_t *)at);
                break;
        case FIELD_REAL:
                json_real(o, f->key, *(const double *)at);
                break;
        case FIELD_TEXT:
        case FIELD_NAME:
                json_text(o, f->key, at);
                break;
        case FIELD_CHOICE:
                choice_write(f, *(const int32_t *)at, o);
                break;
        case FIELD_OBJECT:
                fields_write(f->object, at, o, f->key);
                break;
        case FIELD_LIST:
                list_write(f, from, o);
                break;
        case FIELD_REALS:
                reals_write(f, from, o);
                break;
        case FIELD_HEX:
                hex_write(f, at, o);
                break;
        }
}

void fields_write(const struct object *object, const void *from, struct json_out *o, const char *key)
{
        json_open(o, key, '{');
        for (size_t i = 0; i < object->field_n; i++)
                if (!is_left_out(&object->fields[i], from))
                        field_write(&object->fields[i], from, o);
        json_close(o, '}');
}
