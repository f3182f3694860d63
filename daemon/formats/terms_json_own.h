/* terms_json_own.h: what the files that write and read error terms share, those of two ports (terms_json.h) and of more
   (multiport_json.h).  Not for other rooms.  Columns are {"re": […], "im": […]}, as long as frequencies_hz. */
#ifndef TIPPLANE_FORMATS_TERMS_JSON_OWN_H
#define TIPPLANE_FORMATS_TERMS_JSON_OWN_H
#include "base/json.h"
#include "formats/terms_json.h"

#define TERMS_JSON_FORMAT "tipplane error terms"
#define TERMS_COLUMNS_MAX FULL_COUNT
#define TERMS_KEY_MAX 40
#define TERMS_VALUE_MAX 400
#define TERMS_FOLLOWS_TOLERANCE 1e-6 /* of the larger of 1 and the value; the digits that two ways of reckoning can lose */
#define COUNT_OF(a) (sizeof(a) / sizeof(a)[0])

/* terms_json_columns.c: one table says which columns a model is made of; the writer, the reader and the test of the schema go by it. */
struct terms_column {
        const char *word;
        double *re, *im;
        unsigned port; /* of one-port terms; 0 */
};
size_t terms_columns_of(const struct terms *t, struct terms_column to[TERMS_COLUMNS_MAX]); /* how many */
/* Not written, because rf_terms_complete() makes them; unless they were reckoned another way and differ in the last digits: what is read
   must be what was written. */
bool terms_follows(enum terms_model model, int term);
/* CODE_BAD_INPUT where something is 0 that a correction divides by: no terms of a calibration. */
enum code terms_trackings_check(const struct terms *t, struct tp_error *err);

/* terms_json_out.c: parts of a document, checked and written. */
bool terms_text_ok(const char *text, size_t max); /* printable UTF-8 of at most max bytes */
bool terms_key_ok(const char *key);
enum code terms_notes_check(const struct terms_note *notes, size_t n, struct tp_error *err);
enum code terms_column_check(const char *word, const struct axis *axis, const double *re, const double *im, struct tp_error *err);
enum code terms_z_check(const double *z_re, const double *z_im, size_t n, struct tp_error *err);
void terms_notes_out(struct json_out *o, const struct terms_note *notes, size_t n);
void terms_reals_out(struct json_out *o, const char *key, const double *x, size_t n);
void terms_column_out(struct json_out *o, const char *key, const double *re, const double *im, size_t n);
void terms_z_out(struct json_out *o, const double *z_re, const double *z_im, size_t n);

/* terms_json_in.c: parts of a document, read strictly; the sentences begin with the JSON pointer. */
const char *terms_shown(const char *text, char room[48]); /* a key or text of the document as it may be shown on any terminal */
/* CODE_BAD_INPUT unless it is an object that says `format` and a version this program knows, with no key but these. */
enum code terms_head_in(const cJSON *json, const char *format, int version, const char *const *keys, size_t key_n, struct tp_error *err);
enum code terms_find(const cJSON *json, const char *at, const char *key, const cJSON **ret, struct tp_error *err);
enum code terms_only(const cJSON *json, const char *at, const char *const *known, size_t known_n, struct tp_error *err);
enum code terms_word_in(const cJSON *json, const char *key, const char *const *words, int *ret, struct tp_error *err);
enum code terms_bool_in(const cJSON *json, const char *key, bool *ret, struct tp_error *err);
enum code terms_column_in(const cJSON *json, const char *pointer, size_t n, double *re, double *im, struct tp_error *err);
/* The column `word` of `in` where it is there, from arena; else re and im stay.  at: where `in` stands. */
enum code terms_column_at(const cJSON *in, const char *at, const char *word, size_t n, struct arena *arena, double **re, double **im,
                          struct tp_error *err);
enum code terms_axis_in(const cJSON *json, struct arena *arena, struct axis *ret, struct tp_error *err);
enum code terms_z_in(const cJSON *json, const struct axis *axis, double *z_re, double *z_im,
                     struct tp_error *err); /* null: left as it is */
enum code terms_notes_in(const cJSON *json, struct arena *arena, struct terms_note **ret, size_t *ret_n, struct tp_error *err);

/* terms_json_causes.c: what is not known exactly. */
enum code terms_causes_check(const struct terms *t, const struct terms_causes *causes, struct tp_error *err);
void terms_causes_out(struct json_out *o, const struct terms *t, const struct terms_causes *causes);
/* *ret NULL: the document has none of it. */
enum code terms_causes_in(const cJSON *json, const struct terms *t, struct arena *arena, struct terms_causes **ret, struct tp_error *err);
/* Shared with multiport_json_causes.c: what happens anew with every touch and reading. */
enum code terms_each_check(const struct reading_u *, struct tp_error *);
void terms_each_out(struct json_out *, const struct reading_u *);
enum code terms_each_in(const cJSON *json, struct reading_u *, struct tp_error *); /* not there: nothing stated */
/* Shared with uncertainty_json.c: name, kind and freedom of a cause, and a list of texts. */
enum code terms_about_check(const struct cause_about *a, struct tp_error *err);
void terms_about_out(struct json_out *o, const struct cause_about *a);
enum code terms_about_in(const cJSON *cause, const char *at, struct arena *arena, struct cause_about *ret, struct tp_error *err);
enum code terms_texts_in(const cJSON *json, const char *key, size_t max, struct arena *arena, const char ***ret, size_t *ret_n,
                         struct tp_error *err);
void terms_texts_out(struct json_out *o, const char *key, const char *const *texts, size_t n);

#endif
