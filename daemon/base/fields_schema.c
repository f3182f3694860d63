/* fields_schema.c: the JSON Schema (2020-12) of a table, so that editors and outside judges check what fields_read() checks.
   What a schema cannot say stays with fields_read(): lengths there are bytes, here characters; units stand in the description. */
#include "base/fields_own.h"
#include <math.h>
#include <stdio.h>

enum { DEPTH_MAX = 16 };

static void object_schema(const struct object *, struct json_out *, unsigned depth);

static void say(const struct field *f, struct json_out *o)
{
        struct text words;
        if (!f->say && !f->unit)
                return;
        text_init(&words, 4096);
        text_put(&words, f->say ? f->say : "");
        if (f->unit)
                text_f(&words, "%sunit: %s", f->say ? "; " : "", f->unit);
        json_text(o, "description", text_of(&words));
        text_done(&words);
}

/* `type` and the range of a number. */
static void number_schema(const struct field *f, struct json_out *o)
{
        double min, max;
        bool is_integer = f->type == FIELD_I32 || f->type == FIELD_I64;
        json_text(o, "type", is_integer ? "integer" : "number");
        if (!field_range(f, &min, &max))
                return;
        json_real(o, "minimum", min);
        json_real(o, "maximum", max);
}

static void text_schema(const struct field *f, struct json_out *o)
{
        json_text(o, "type", "string");
        if (f->type == FIELD_NAME)
                json_int(o, "minLength", 1);
        json_int(o, "maxLength", (int64_t)f->size - 1);
        json_text(o, "pattern", f->type == FIELD_NAME ? "^[A-Za-z0-9._+-]+$" : "^[^\\u0000-\\u001f\\u007f-\\u009f]*$");
}

static void list_schema(const struct field *f, struct json_out *o, unsigned depth)
{
        json_text(o, "type", "array");
        if (f->type == FIELD_REALS) {
                int64_t room = (int64_t)(f->size / sizeof(double));
                json_int(o, "minItems", f->count_offset ? 0 : room);
                json_int(o, "maxItems", room);
                json_open(o, "items", '{');
                number_schema(f, o);
                json_close(o, '}');
                return;
        }
        if (field_has_range(f)) {
                json_int(o, "minItems", (int64_t)ceil(f->min));
                json_int(o, "maxItems", (int64_t)floor(f->max));
        }
        json_open(o, "items", '{');
        object_schema(f->object, o, depth + 1);
        json_close(o, '}');
}

static void field_schema(const struct field *f, struct json_out *o, unsigned depth)
{
        char pattern[48];
        json_open(o, f->key, '{');
        switch (f->type) {
        case FIELD_BOOL:
                json_text(o, "type", "boolean");
                if (!f->required)
                        json_bool(o, "default", f->standard != 0);
                break;
        case FIELD_I32:
        case FIELD_I64:
        case FIELD_REAL:
                number_schema(f, o);
                if (!f->required && !f->has_offset && isfinite(f->standard))
                        json_real(o, "default", f->standard);
                break;
        case FIELD_TEXT:
        case FIELD_NAME:
                text_schema(f, o);
                if (!f->required && f->standard_text)
                        json_text(o, "default", f->standard_text);
                break;
        case FIELD_CHOICE:
                json_text(o, "type", "string");
                json_open(o, "enum", '[');
                for (size_t i = 0; i < field_words(f); i++)
                        json_text(o, NULL, f->words[i]);
                json_close(o, ']');
                if (!f->required && !f->has_offset && f->standard >= 0 && f->standard < (double)field_words(f))
                        json_text(o, "default", f->words[(size_t)f->standard]);
                break;
        case FIELD_OBJECT:
                object_schema(f->object, o, depth + 1);
                break;
        case FIELD_LIST:
        case FIELD_REALS:
                list_schema(f, o, depth);
                break;
        case FIELD_HEX:
                snprintf(pattern, sizeof pattern, "^[0-9a-fA-F]{%zu}$", 2 * f->size);
                json_text(o, "type", "string");
                json_text(o, "pattern", pattern);
                break;
        }
        if (f->type != FIELD_OBJECT || !f->object->say)
                say(f, o);
        json_close(o, '}');
}

static void object_schema(const struct object *object, struct json_out *o, unsigned depth)
{
        if (depth > DEPTH_MAX) { /* a table that contains itself has no finite schema of this plain kind */
                o->to->broken = true;
                return;
        }
        json_text(o, "title", object->name);
        if (object->say)
                json_text(o, "description", object->say);
        json_text(o, "type", "object");
        json_bool(o, "additionalProperties", false);
        json_open(o, "properties", '{');
        for (size_t i = 0; i < object->field_n; i++)
                field_schema(&object->fields[i], o, depth);
        json_close(o, '}');
        json_open(o, "required", '[');
        for (size_t i = 0; i < object->field_n; i++)
                if (object->fields[i].required)
                        json_text(o, NULL, object->fields[i].key);
        json_close(o, ']');
}

void fields_schema(const struct object *object, struct text *to)
{
        char id[160];
        struct json_out o = json_to(to);
        snprintf(id, sizeof id, "https://tipplane.invalid/schema/%s.json", object->name);
        json_open(&o, NULL, '{');
        json_text(&o, "$schema", "https://json-schema.org/draft/2020-12/schema");
        json_text(&o, "$id", id);
        object_schema(object, &o, 0);
        json_close(&o, '}');
}
