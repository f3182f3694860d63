/* fields_own.h: what the three halves of fields (read, write, schema) share.  Not for other rooms. */
#ifndef TIPPLANE_BASE_FIELDS_OWN_H
#define TIPPLANE_BASE_FIELDS_OWN_H
#include "base/fields.h"

#define FIELD_I64_LIMIT 9007199254740992.0 /* 2^53: beyond it a double skips integers */

static inline const void *field_at(const struct field *f, const void *base) { return (const char *)base + f->offset; }
static inline bool field_has_range(const struct field *f) { return f->min < f->max; }
/* The least and the largest value of a number field; false when any double will do. */
bool field_range(const struct field *f, double *ret_min, double *ret_max);
size_t field_words(const struct field *f);

/* A place in the document: a chain up to the top, written out only when something is wrong there. */
struct place {
        const struct place *up;
        const char *key; /* NULL: element `i` of a list */
        size_t i;
        unsigned depth;
};
/* "/die/pitch_um: …", with the pointer in err->pointer. */
enum code field_refuse(const struct place *, struct tp_error *, const char *fmt, ...) __attribute__((format(printf, 3, 4)));
/* `wanted`: "a whole number". */
enum code field_refuse_type(const struct field *, const cJSON *, const struct place *, const char *wanted, struct tp_error *);
/* With what it may be, where that is one of few words. */
enum code field_refuse_missing(const struct object *, const struct field *, const struct place *, struct tp_error *);
enum code field_refuse_key(const struct object *, const char *key, const struct place *, struct tp_error *);
const char *field_shown(const cJSON *, char ret[96]);
const char *field_number(double, char ret[96]);

#endif
