/* multiport_json.h: error terms of three and four ports as a JSON document; docs/terms.md says every field, schema/multiport.schema.json is
   its schema.  One box per port and no leakage (rf/calibrate/multiport.h); 17 digits, read strictly, as terms_json.h does. */
#ifndef TIPPLANE_FORMATS_MULTIPORT_JSON_H
#define TIPPLANE_FORMATS_MULTIPORT_JSON_H
#include "formats/terms_json.h"
#include "rf/calibrate/multiport_moves.h"

#define MULTIPORT_JSON_VERSION 1

/* Appends the document to `to`.  sw: NULL, or what each port reflects while another one is driven, on the terms' axis.  CODE_BAD_INPUT: a
   column holds NaN or Inf, no plane, a reference impedance that is known at some frequencies only, a bad note.  On failure `to` is as
   before. */
enum code multiport_json_write(const struct multiport_terms *terms, const struct port_switch *sw, const struct terms_note *notes,
                               size_t note_n, const struct multiport_causes *or_null, struct text *to, struct tp_error *err);

struct multiport_json {
        struct axis axis;
        struct multiport_terms terms;
        struct port_switch sw; /* all NULL without */
        bool has_sw;
        struct terms_note *notes;
        size_t note_n;
        struct multiport_causes *causes; /* NULL: the document has none */
};
/* Everything is in the arena, *ret too.  CODE_BAD_INPUT, CODE_TOO_NEW, CODE_MEMORY; err->pointer says where. */
enum code multiport_json_read(const char *bytes, size_t n, struct arena *arena, struct multiport_json **ret, struct tp_error *err);
/* Does the document call itself one?  (It may still be refused.) */
bool multiport_json_is(const char *bytes, size_t n);

#endif
