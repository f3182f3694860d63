/* terms_json.h: error terms as a JSON document, to keep, to mail, to read in any language; docs/terms.md says every field,
   schema/terms.schema.json is its schema.  All models; numbers with 17 digits, so that what is read is what was written, bit for bit.

   Written: format, version, model, method, plane, whether raw data must have their switch terms removed, frequencies, reference impedance
   (a number; columns where it changes or is complex; null: the line's own), the terms the model is made of, switch terms if given, and
   notes (provenance) as plain texts, and causes: what is not known exactly and how it moves the terms.  What follows from other columns (ELF … EXR of eight terms, K of twelve, the eight-term view of
   sixteen) is not written and is made anew when read (rf_terms_complete()). Read: strictly (json.h); unknown keys, wrong lengths, missing
   or superfluous columns, null or NaN among numbers, unknown models and documents of a later version are refused, with a JSON pointer and a
   sentence. */
#ifndef TIPPLANE_FORMATS_TERMS_JSON_H
#define TIPPLANE_FORMATS_TERMS_JSON_H
#include "base/arena.h"
#include "base/text.h"
#include "rf/calibrate/calibration.h"
#include "rf/correct/terms_causes.h"

#define TERMS_JSON_VERSION 1
#define TERMS_JSON_POINTS_MAX 200001
#define TERMS_JSON_NOTES_MAX 64

/* Provenance: key [a-z][a-z0-9_]*, at most 40 bytes, unique; value printable UTF-8, at most 400 bytes. */
struct terms_note {
        const char *key, *value;
};
/* Appends the document to `to`.  sw: NULL, or on the terms' axis.  causes: NULL, or columns on the terms' axis, of terms that the model is
   made of.  CODE_BAD_INPUT: a column of the model holds NaN or Inf (of one-port
   terms a whole port may be NaN: it is left out), columns that contradict those they follow from, a reference
   impedance that is known at some frequencies only, a bad note; CODE_STATE: no model.  On failure `to` is as before. */
enum code terms_json_write(const struct terms *terms, const struct switch_terms *sw, const struct terms_note *notes, size_t note_n,
                           const struct terms_causes *causes, struct text *to, struct tp_error *err);

struct terms_json {
        struct axis axis;
        struct terms terms; /* terms.method: a word of rf_methods[] or, from a program that knows other methods, that word */
        struct switch_terms sw;
        bool has_sw; /* false: sw is all zeros */
        struct terms_note *notes;
        size_t note_n;
        struct terms_causes *causes; /* NULL: the document says nothing of uncertainty */
};
/* Everything is in the arena, *ret too.  CODE_BAD_INPUT, CODE_TOO_NEW, CODE_MEMORY; err->pointer says where. */
enum code terms_json_read(const char *bytes, size_t n, struct arena *arena, struct terms_json **ret, struct tp_error *err);

#endif
