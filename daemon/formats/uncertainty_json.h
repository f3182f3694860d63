/* uncertainty_json.h: what is not known exactly of a network of one to four ports, cause by cause, as a JSON document beside its Touchstone file;
   docs/uncertainty.md says every field, schema/uncertainty.schema.json is its schema.  Numbers with 17 digits: what is read is what was
   written, bit for bit.  Read strictly, as error terms are (terms_json.h). */
#ifndef TIPPLANE_FORMATS_UNCERTAINTY_JSON_H
#define TIPPLANE_FORMATS_UNCERTAINTY_JSON_H
#include "base/arena.h"
#include "base/text.h"
#include "rf/network/netn_causes.h"

#define UNCERTAINTY_JSON_VERSION 2 /* 2: `ports`; what is of two ports is written as version 1 */
#define UNCERTAINTY_NAME_MAX 200

struct uncertainty_json {
        const char *of;            /* name of the file it belongs to, at most UNCERTAINTY_NAME_MAX bytes */
        char of_sha256[64 + 1];    /* of that file's bytes, lower-case hex */
        enum plane plane;          /* tip, line_middle, device */
        double z_ref_ohm;          /* real and the same at all frequencies; NaN: the line's own, or it changes */
        struct axis axis;          /* causes.axis */
        struct netn_causes causes; /* ids that are all different */
};
/* Appends the document.  CODE_BAD_INPUT: NaN in a column, a name, id or digest that is none, two causes of one id. */
enum code uncertainty_json_write(const struct uncertainty_json *, struct text *to, struct tp_error *err);
/* Everything is in the arena, *ret too.  CODE_BAD_INPUT, CODE_TOO_NEW, CODE_MEMORY; err->pointer says where. */
enum code uncertainty_json_read(const char *bytes, size_t n, struct arena *arena, struct uncertainty_json **ret, struct tp_error *err);

#endif
