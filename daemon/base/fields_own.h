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

#endif
