/* fields.h: one table of fields parses JSON into a C struct, checks it with JSON pointers, writes it back, and prints its JSON Schema.
   Recipe, layout, station configuration, frames' bodies and journal bodies all use it.  Unknown keys are an error that names the nearest.
 */
#ifndef TIPPLANE_BASE_FIELDS_H
#define TIPPLANE_BASE_FIELDS_H
#include "base/arena.h"
#include "base/json.h"
#include "base/text.h"
#include <stdint.h>

enum field_type {
        FIELD_BOOL,   /* bool */
        FIELD_I32,    /* int32_t */
        FIELD_I64,    /* int64_t, |x| <= 2^53 */
        FIELD_REAL,   /* double */
        FIELD_TEXT,   /* char[size]: printable UTF-8 */
        FIELD_NAME,   /* char[size]: [A-Za-z0-9._+-] only, so that no CSV cell can start a formula and no name needs escaping */
        FIELD_CHOICE, /* int32_t or enum: index into `words` (NULL-terminated; words[0] may be "unknown", stands for 0) */
        FIELD_OBJECT, /* struct inside this one: `object` */
        FIELD_LIST,   /* pointer to an arena array of structs `object`; count (size_t) at count_offset */
        FIELD_REALS,  /* double[size/8] inside the struct; exact count wanted unless count_offset is given, then up to that many */
        FIELD_HEX     /* uint8_t[size], written as 2*size hex digits */
};
struct object;
struct field {
        const char *key;
        enum field_type type;
        size_t offset, size; /* size: bytes of char[] / double[] / uint8_t[] */
        bool required;
        double min, max; /* numbers: closed range, checked when min < max (so that NaN fails); lists: count; */
        double standard; /* value when absent (numbers, bool, choice); text: standard_text */
        const char *standard_text;
        const char *const *words;
        const struct object *object;
        size_t count_offset; /* FIELD_LIST, optional for FIELD_REALS; 0: none */
        size_t has_offset;   /* bool set when present; 0: none (so no struct starts with a has_) */
        const char *unit;    /* "um", "Hz": for the schema and the sentences; NULL if none */
        const char *say;     /* one sentence for the reference page and the schema's description */
};
struct object {
        const char *name; /* "recipe": for the schema's title */
        const char *say;
        size_t bytes; /* sizeof the struct */
        const struct field *fields;
        size_t field_n;
};

/* Fills *ret (object->bytes, zeroed first).  Lists come from `arena` (may be NULL when there are none).  On failure err->pointer and the
   sentence name the place, the value and what is allowed. */
enum code fields_read(const struct object *, const cJSON *json, struct arena *arena, void *ret, struct tp_error *err);
/* Parses text first. */
enum code fields_read_text(const struct object *, const char *text, size_t n, struct arena *arena, void *ret, struct tp_error *err);
/* Writes the struct as one JSON value (inside `o`, under `key`). Absent optionals (has_ false) are left out. */
void fields_write(const struct object *, const void *from, struct json_out *o, const char *key);
/* JSON Schema 2020-12, with `$id` "https://tipplane.invalid/schema/<name>.json", additionalProperties false. */
void fields_schema(const struct object *, struct text *to);

#endif
