/* terms_json.c: error terms out of and into JSON (terms_json.h).
 * Idea        One table says which columns a model is made of; the writer, the reader and the test of the schema all go by it. */
#include "formats/terms_json.h"
#include "base/json.h"
#include "base/utf8.h"
#include "rf/correct/convert_terms.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define FORMAT "tipplane error terms"
#define COLUMNS_MAX FULL_COUNT
#define KEY_MAX 40
#define VALUE_MAX 400

static const char *const full_words[FULL_COUNT] = {"T1_11", "T1_12", "T1_21", "T1_22", "T2_11", "T2_12", "T2_21", "T2_22",
                                                   "T3_11", "T3_12", "T3_21", "T3_22", "T4_11", "T4_12", "T4_21", "T4_22"};
static const enum term one_port[] = {TERM_EDF, TERM_ESF, TERM_ERF, TERM_EDR, TERM_ESR, TERM_ERR};
static const enum term eight[] = {TERM_EDF, TERM_ESF, TERM_ERF, TERM_EDR, TERM_ESR, TERM_ERR, TERM_K};
static const enum term twelve[] = {TERM_EDF, TERM_ESF, TERM_ERF, TERM_EDR, TERM_ESR, TERM_ERR,
                                   TERM_ELF, TERM_ETF, TERM_EXF, TERM_ELR, TERM_ETR, TERM_EXR};
#define COUNT(a) (sizeof(a) / sizeof(a)[0])

struct column_of {
        const char *word;
        double *re, *im;
        unsigned port; /* of one-port terms; 0 */
};
/* The columns that make the model; returns how many. */
static size_t columns_of(const struct terms *t, struct column_of to[COLUMNS_MAX])
{
        const enum term *list = NULL;
        size_t n = 0;
        switch (t->model) {
        case TERMS_ONE_PORT:
                list = one_port;
                n = COUNT(one_port);
                break;
        case TERMS_EIGHT:
                list = eight;
                n = COUNT(eight);
                break;
        case TERMS_TWELVE:
                list = twelve;
                n = COUNT(twelve);
                break;
        case TERMS_SIXTEEN:
                for (int k = 0; k < FULL_COUNT; k++)
                        to[k] = (struct column_of){full_words[k], t->full_re[k], t->full_im[k], 0};
                return FULL_COUNT;
        case TERMS_UNKNOWN:
        case TERMS_MODEL_COUNT:
                return 0;
        }
        for (size_t k = 0; k < n; k++)
                to[k] = (struct column_of){term_words[list[k]], t->re[list[k]], t->im[list[k]],
                                           t->model == TERMS_ONE_PORT ? (unsigned)k / 3 + 1 : 0};
        return n;
}

/* ---- writing ---------------------------------------------------------------------------------------------------------------------------
 */

static bool printable(const char *text, size_t max)
{
        size_t n = strnlen(text, max + 1);
        if (n > max)
                return false;
        for (size_t i = 0, k; i < n; i += k) {
                uint32_t point = 0;
                k = utf8_step(text + i, n - i, &point);
                if (!k || point < 0x20 || (point >= 0x7f && point < 0xa0))
                        return false;
        }
        return true;
}
static bool is_key(const char *key)
{
        size_t n = strspn(key, "abcdefghijklmnopqrstuvwxyz0123456789_");
        return n > 0 && n <= KEY_MAX && !key[n] && key[0] >= 'a' && key[0] <= 'z';
}

static enum code note_check(const struct terms_note *notes, size_t k, struct tp_error *err)
{
        if (!notes[k].key || !is_key(notes[k].key))
                return tp_fail(err, CODE_BAD_INPUT,
                               "note %zu of the error terms has no good name; a name is lower-case letters, digits and _, at most %d bytes",
                               k + 1, KEY_MAX);
        if (!notes[k].value || !printable(notes[k].value, VALUE_MAX))
                return tp_fail(err, CODE_BAD_INPUT, "note \"%s\" of the error terms is no printable text of at most %d bytes", notes[k].key,
                               VALUE_MAX);
        for (size_t j = 0; j < k; j++)
                if (strcmp(notes[j].key, notes[k].key) == 0)
                        return tp_fail(err, CODE_BAD_INPUT, "note \"%s\" of the error terms is given twice", notes[k].key);
        return CODE_OK;
}

static bool all_nan(const double *x, size_t n)
{
        for (size_t i = 0; i < n; i++)
                if (!isnan(x[i]))
                        return false;
        return true;
}
static bool port_is_empty(const struct terms *t, unsigned port)
{
        struct column_of c[COLUMNS_MAX];
        size_t n = columns_of(t, c);
        for (size_t k = 0; k < n; k++)
                if (c[k].port == port && (!all_nan(c[k].re, t->axis->n) || !all_nan(c[k].im, t->axis->n)))
                        return false;
        return true;
}

static enum code column_check(const char *word, const struct axis *axis, const double *re, const double *im, struct tp_error *err)
{
        for (size_t i = 0; i < axis->n; i++)
                if (!isfinite(re[i]) || !isfinite(im[i]))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "%s is %g%+gj at %.9g Hz; error terms with holes are not written: calibrate again", word, re[i],
                                       im[i], axis->hz[i]);
        return CODE_OK;
}

/* ---- columns that follow from the others ------------------------------------------------------------------------------------------------
 */

/* Not written, because rf_terms_complete() makes them; unless they were reckoned another way and differ in the last digits: what is read
   must be what was written. */
static bool follows(enum terms_model model, int term)
{
        bool essential = false;
        for (size_t k = 0; model == TERMS_EIGHT && k < COUNT(eight); k++)
                essential = essential || (int)eight[k] == term;
        for (size_t k = 0; model == TERMS_TWELVE && k < COUNT(twelve); k++)
                essential = essential || (int)twelve[k] == term;
        return model != TERMS_ONE_PORT && !essential;
}
#define FOLLOWS_TOLERANCE 1e-6 /* of the larger of 1 and the value; the digits that two ways of reckoning can lose */

/* All thirteen terms of point i as rf_terms_complete() would make them. */
static enum code made_anew(const struct terms *t, size_t i, double complex ret[TERM_COUNT], struct tp_error *err)
{
        double memory[2 * (TERM_COUNT + FULL_COUNT)], *at = memory;
        struct axis axis = {.n = 1, .hz = &t->axis->hz[i]};
        struct terms one = {.axis = &axis, .model = t->model};
        for (int k = 0; k < TERM_COUNT; k++) {
                *(one.re[k] = at++) = t->re[k][i];
                *(one.im[k] = at++) = t->im[k][i];
        }
        for (int k = 0; k < FULL_COUNT; k++) {
                *(one.full_re[k] = at++) = t->full_re[k][i];
                *(one.full_im[k] = at++) = t->full_im[k][i];
        }
        enum code code = rf_terms_complete(&one, err);
        for (int k = 0; k < TERM_COUNT; k++)
                ret[k] = CMPLX(one.re[k][0], one.im[k][0]);
        return code;
}

static bool same_bits(double a, double b) { return memcmp(&a, &b, sizeof a) == 0; }

/* written[k]: column k must be written although it follows.  A column of NaN alone was never made and is not missed. */
static enum code follows_check(const struct terms *t, bool written[TERM_COUNT], struct tp_error *err)
{
        bool never[TERM_COUNT];
        for (int k = 0; k < TERM_COUNT; k++) {
                written[k] = false;
                never[k] = !follows(t->model, k) || (all_nan(t->re[k], t->axis->n) && all_nan(t->im[k], t->axis->n));
        }
        for (size_t i = 0; i < t->axis->n && t->model != TERMS_ONE_PORT; i++) {
                double complex made[TERM_COUNT];
                enum code code = made_anew(t, i, made, err);
                if (code)
                        return code;
                for (int k = 0; k < TERM_COUNT; k++) {
                        double complex is = CMPLX(t->re[k][i], t->im[k][i]);
                        if (!isfinite(creal(made[k])) || !isfinite(cimag(made[k])) ||
                            (!never[k] && !(cabs(is - made[k]) <= FOLLOWS_TOLERANCE * fmax(1, cabs(made[k])))))
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "at %.9g Hz %s of these %s terms is %.9g%+.9gj where %.9g%+.9gj follows from the others; "
                                               "calibrate again",
                                               t->axis->hz[i], term_words[k], terms_model_words[t->model], creal(is), cimag(is),
                                               creal(made[k]), cimag(made[k]));
                        written[k] = written[k] ||
                                     (!never[k] && !(same_bits(creal(is), creal(made[k])) && same_bits(cimag(is), cimag(made[k]))));
                }
        }
        return CODE_OK;
}

/* ---- what is written --------------------------------------------------------------------------------------------------------------------
 */

enum z_kind { Z_ONE, Z_COLUMNS, Z_UNKNOWN, Z_BAD };
static enum z_kind z_kind(const struct terms *t)
{
        size_t unknown = 0, n = t->axis->n;
        bool one = true;
        for (size_t i = 0; i < n; i++) {
                unknown += (size_t) !!isnan(t->z_re[i]);
                if (!isnan(t->z_re[i]) && !(t->z_re[i] > 0 && isfinite(t->z_re[i]) && isfinite(t->z_im[i])))
                        return Z_BAD;
                one = one && t->z_re[i] == t->z_re[0] && t->z_im[i] == 0 && !signbit(t->z_im[i]);
        }
        return unknown == n ? Z_UNKNOWN : unknown ? Z_BAD : one ? Z_ONE : Z_COLUMNS;
}

static enum code write_check(const struct terms *t, const struct switch_terms *sw, const struct terms_note *notes, size_t note_n,
                             bool written[TERM_COUNT], struct tp_error *err)
{
        struct column_of c[COLUMNS_MAX];
        size_t n = columns_of(t, c);
        if (n == 0)
                return tp_fail(err, CODE_STATE, "the calibration has no terms yet");
        if (t->plane <= PLANE_UNKNOWN || t->plane >= PLANE_COUNT)
                return tp_fail(err, CODE_BAD_INPUT, "the error terms do not say their reference plane; set it before they are written");
        if (!t->method || !t->method[0] || !printable(t->method, 23))
                return tp_fail(err, CODE_BAD_INPUT, "the error terms do not say their method");
        for (size_t k = 0; k < n; k++) {
                if (c[k].port && port_is_empty(t, c[k].port) && !port_is_empty(t, 3 - c[k].port))
                        continue;
                enum code code = column_check(c[k].word, t->axis, c[k].re, c[k].im, err);
                if (code)
                        return code;
        }
        enum code code = follows_check(t, written, err);
        if (code)
                return code;
        if (z_kind(t) == Z_BAD)
                return tp_fail(err, CODE_BAD_INPUT,
                               "the reference impedance of the error terms must be positive and known at all frequencies or at none");
        if (sw && !axis_equal(sw->axis, t->axis))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the switch terms have %zu frequencies, the error terms %zu; both must have the same list", sw->axis->n,
                               t->axis->n);
        if (sw && ((code = column_check("the forward switch term", t->axis, sw->f_re, sw->f_im, err)) ||
                   (code = column_check("the reverse switch term", t->axis, sw->r_re, sw->r_im, err))))
                return code;
        if (t->axis->n > TERMS_JSON_POINTS_MAX || note_n > TERMS_JSON_NOTES_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "%zu frequencies and %zu notes are too many; at most %d and %d are written", t->axis->n,
                               note_n, TERMS_JSON_POINTS_MAX, TERMS_JSON_NOTES_MAX);
        for (size_t k = 0; k < note_n; k++)
                if ((code = note_check(notes, k, err)))
                        return code;
        return CODE_OK;
}

static void reals_out(struct json_out *o, const char *key, const double *x, size_t n)
{
        json_open(o, key, '[');
        for (size_t i = 0; i < n; i++)
                json_real(o, NULL, x[i]);
        json_close(o, ']');
}
static void column_out(struct json_out *o, const char *key, const double *re, const double *im, size_t n)
{
        json_open(o, key, '{');
        reals_out(o, "re", re, n);
        reals_out(o, "im", im, n);
        json_close(o, '}');
}

enum code terms_json_write(const struct terms *t, const struct switch_terms *sw, const struct terms_note *notes, size_t note_n,
                           struct text *to, struct tp_error *err)
{
        bool written[TERM_COUNT];
        enum code code = write_check(t, sw, notes, note_n, written, err);
        if (code)
                return code;
        struct column_of c[COLUMNS_MAX];
        size_t column_n = columns_of(t, c), n = t->axis->n;
        struct json_out o = json_to(to);
        json_open(&o, NULL, '{');
        json_text(&o, "format", FORMAT);
        json_int(&o, "version", TERMS_JSON_VERSION);
        json_text(&o, "model", terms_model_words[t->model]);
        json_text(&o, "method", t->method);
        json_text(&o, "plane", plane_words[t->plane]);
        json_bool(&o, "switch_terms_removed", t->switch_removed);
        json_open(&o, "notes", '{');
        for (size_t k = 0; k < note_n; k++)
                json_text(&o, notes[k].key, notes[k].value);
        json_close(&o, '}');
        reals_out(&o, "frequencies_hz", t->axis->hz, n);
        switch (z_kind(t)) {
        case Z_ONE:
                json_real(&o, "z_ref_ohm", t->z_re[0]);
                break;
        case Z_COLUMNS:
                column_out(&o, "z_ref_ohm", t->z_re, t->z_im, n);
                break;
        case Z_UNKNOWN:
        case Z_BAD:
                json_null(&o, "z_ref_ohm");
                break;
        }
        json_open(&o, "terms", '{');
        for (size_t k = 0; k < column_n; k++)
                if (!(c[k].port && port_is_empty(t, c[k].port)))
                        column_out(&o, c[k].word, c[k].re, c[k].im, n);
        for (int k = 0; k < TERM_COUNT; k++)
                if (written[k])
                        column_out(&o, term_words[k], t->re[k], t->im[k], n);
        json_close(&o, '}');
        if (sw) {
                json_open(&o, "switch_terms", '{');
                column_out(&o, "forward", sw->f_re, sw->f_im, n);
                column_out(&o, "reverse", sw->r_re, sw->r_im, n);
                json_close(&o, '}');
        }
        json_close(&o, '}');
        text_put(to, "\n");
        return text_ok(to) ? CODE_OK : tp_fail_memory(err);
}

/* ---- reading ---------------------------------------------------------------------------------------------------------------------------
 */

/* A key or text of the document as it may be shown on any terminal. */
static const char *shown(const char *text, char room[48])
{
        snprintf(room, 48, "%s", text && printable(text, 40) ? text : "?");
        return room;
}

static enum code find(const cJSON *json, const char *at, const char *key, const cJSON **ret, struct tp_error *err)
{
        char pointer[64];
        *ret = cJSON_GetObjectItemCaseSensitive(json, key);
        if (*ret)
                return CODE_OK;
        snprintf(pointer, sizeof pointer, "%s/%s", at, key);
        return tp_fail_at(err, CODE_BAD_INPUT, pointer, "the error terms have no \"%s\" (%s)", key, pointer);
}

static enum code only(const cJSON *json, const char *at, const char *const *known, size_t known_n, struct tp_error *err)
{
        char room[48];
        for (const cJSON *e = json->child; e; e = e->next) {
                bool is = false;
                for (size_t k = 0; k < known_n; k++)
                        is = is || strcmp(e->string, known[k]) == 0;
                if (!is)
                        return tp_fail_at(err, CODE_BAD_INPUT, at, "\"%s\" in %s has no meaning here; leave it out", shown(e->string, room),
                                          at[0] ? at : "the error terms");
        }
        return CODE_OK;
}

static enum code word_in(const cJSON *json, const char *key, const char *const *words, int *ret, struct tp_error *err)
{
        const cJSON *e;
        char pointer[64], room[48];
        enum code code = find(json, "", key, &e, err);
        if (code)
                return code;
        snprintf(pointer, sizeof pointer, "/%s", key);
        for (int k = 1; cJSON_IsString(e) && words[k]; k++) /* words[0] is "unknown" */
                if (strcmp(e->valuestring, words[k]) == 0) {
                        *ret = k;
                        return CODE_OK;
                }
        char list[160] = "";
        for (int k = 1; words[k]; k++)
                snprintf(list + strlen(list), sizeof list - strlen(list), "%s%s", k > 1 ? ", " : "", words[k]);
        return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s is \"%s\"; known are %s", pointer,
                          shown(cJSON_IsString(e) ? e->valuestring : NULL, room), list);
}

static enum code reals_in(const cJSON *list, const char *pointer, size_t n, double *to, struct tp_error *err)
{
        if (!cJSON_IsArray(list))
                return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s must be a list of %zu numbers", pointer, n);
        size_t i = 0;
        for (const cJSON *e = list->child; e; e = e->next, i++) {
                if (i < n && (!cJSON_IsNumber(e) || !isfinite(e->valuedouble)))
                        return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s: entry %zu of %zu is not a number; error terms have no holes",
                                          pointer, i + 1, n);
                if (i < n)
                        to[i] = e->valuedouble;
        }
        if (i != n)
                return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s has %zu numbers, frequencies_hz has %zu; both must have as many",
                                  pointer, i, n);
        return CODE_OK;
}

/* {"re": […], "im": […]} */
static enum code column_in(const cJSON *json, const char *pointer, size_t n, double *re, double *im, struct tp_error *err)
{
        static const char *const parts[2] = {"re", "im"};
        double *const to[2] = {re, im};
        if (!cJSON_IsObject(json))
                return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s must be an object with \"re\" and \"im\"", pointer);
        enum code code = only(json, pointer, parts, 2, err);
        for (int k = 0; k < 2 && !code; k++) {
                const cJSON *list;
                char below[64];
                snprintf(below, sizeof below, "%s/%s", pointer, parts[k]);
                if (!(code = find(json, pointer, parts[k], &list, err)))
                        code = reals_in(list, below, n, to[k], err);
        }
        return code;
}

static enum code head_in(const cJSON *json, struct tp_error *err)
{
        static const char *const keys[] = {"format", "version",        "model",     "method", "plane",       "switch_terms_removed",
                                           "notes",  "frequencies_hz", "z_ref_ohm", "terms",  "switch_terms"};
        const cJSON *e;
        if (!cJSON_IsObject(json))
                return tp_fail(err, CODE_BAD_INPUT, "these are no error terms: the document is no JSON object");
        enum code code = find(json, "", "format", &e, err);
        if (code)
                return code;
        if (!cJSON_IsString(e) || strcmp(e->valuestring, FORMAT) != 0)
                return tp_fail_at(err, CODE_BAD_INPUT, "/format", "these are no error terms: /format is not \"" FORMAT "\"");
        if ((code = find(json, "", "version", &e, err)))
                return code;
        if (!cJSON_IsNumber(e) || !(e->valuedouble >= 1 && e->valuedouble == floor(e->valuedouble)))
                return tp_fail_at(err, CODE_BAD_INPUT, "/version", "/version must be a whole number from 1 on");
        if (e->valuedouble > TERMS_JSON_VERSION)
                return tp_fail_at(err, CODE_TOO_NEW, "/version",
                                  "the error terms have version %.9g, this program knows version %d; update it", e->valuedouble,
                                  TERMS_JSON_VERSION);
        return only(json, "", keys, COUNT(keys), err);
}

static enum code axis_in(const cJSON *json, struct arena *arena, struct axis *ret, struct tp_error *err)
{
        const cJSON *list;
        enum code code = find(json, "", "frequencies_hz", &list, err);
        if (code)
                return code;
        int n = cJSON_IsArray(list) ? cJSON_GetArraySize(list) : 0;
        if (n < 1 || n > TERMS_JSON_POINTS_MAX)
                return tp_fail_at(err, CODE_BAD_INPUT, "/frequencies_hz", "/frequencies_hz must be a list of 1 to %d numbers, in Hz",
                                  TERMS_JSON_POINTS_MAX);
        double *hz = arena_take(arena, (size_t)n * sizeof *hz);
        if (!hz)
                return tp_fail_memory(err);
        if ((code = reals_in(list, "/frequencies_hz", (size_t)n, hz, err)))
                return code;
        return axis_of((size_t)n, hz, ret, err) ? tp_where(err, "/frequencies_hz") : CODE_OK;
}

static enum code z_in(const cJSON *json, struct terms *t, struct tp_error *err)
{
        const cJSON *z;
        size_t n = t->axis->n;
        enum code code = find(json, "", "z_ref_ohm", &z, err);
        if (code)
                return code;
        if (cJSON_IsObject(z)) {
                if ((code = column_in(z, "/z_ref_ohm", n, t->z_re, t->z_im, err)))
                        return code;
        } else if (cJSON_IsNumber(z))
                for (size_t i = 0; i < n; i++) {
                        t->z_re[i] = z->valuedouble;
                        t->z_im[i] = 0;
                }
        else if (!cJSON_IsNull(z)) /* null: NaN, as terms_at() left it */
                return tp_fail_at(err, CODE_BAD_INPUT, "/z_ref_ohm",
                                  "/z_ref_ohm must be a number, an object with \"re\" and \"im\", or null for the line's own impedance");
        for (size_t i = 0; i < n && !cJSON_IsNull(z); i++)
                if (!(t->z_re[i] > 0 && isfinite(t->z_re[i])))
                        return tp_fail_at(err, CODE_BAD_INPUT, "/z_ref_ohm",
                                          "/z_ref_ohm is %.9g ohm at %.9g Hz; its real part must be positive", t->z_re[i], t->axis->hz[i]);
        return CODE_OK;
}

/* Columns that follow from the others may be given; they must not contradict, and are then kept as they are. */
static enum code following_in(const cJSON *terms, struct terms *t, struct arena *arena, struct tp_error *err)
{
        size_t n = t->axis->n;
        double *re = arena_take(arena, 2 * n * sizeof *re);
        if (!re)
                return tp_fail_memory(err);
        double *im = re + n;
        for (int k = 0; k < TERM_COUNT && t->model != TERMS_ONE_PORT; k++) {
                const cJSON *column = follows(t->model, k) ? cJSON_GetObjectItemCaseSensitive(terms, term_words[k]) : NULL;
                char pointer[48];
                snprintf(pointer, sizeof pointer, "/terms/%s", term_words[k]);
                enum code code = column ? column_in(column, pointer, n, re, im, err) : CODE_OK;
                if (code)
                        return code;
                for (size_t i = 0; i < n; i++) {
                        double complex made = CMPLX(t->re[k][i], t->im[k][i]);
                        if (!isfinite(creal(made)) || !isfinite(cimag(made)))
                                return tp_fail_at(
                                        err, CODE_BAD_INPUT, "/terms",
                                        "/terms: at %.9g Hz %s does not follow from the others: a tracking or ratio is 0 or out of "
                                        "all proportion",
                                        t->axis->hz[i], term_words[k]);
                        if (!column)
                                continue;
                        if (!(cabs(CMPLX(re[i], im[i]) - made) <= FOLLOWS_TOLERANCE * fmax(1, cabs(made))))
                                return tp_fail_at(err, CODE_BAD_INPUT, pointer,
                                                  "%s is %.9g%+.9gj at %.9g Hz, but %.9g%+.9gj follows from the other terms; leave it out",
                                                  pointer, re[i], im[i], t->axis->hz[i], creal(made), cimag(made));
                        t->re[k][i] = re[i];
                        t->im[k][i] = im[i];
                }
        }
        return CODE_OK;
}

static enum code terms_in(const cJSON *json, struct terms *t, struct arena *arena, struct tp_error *err)
{
        const cJSON *terms;
        struct column_of c[COLUMNS_MAX];
        const char *words[COLUMNS_MAX + TERM_COUNT];
        size_t n = columns_of(t, c), word_n = 0;
        bool has[3] = {false};
        enum code code = find(json, "", "terms", &terms, err);
        if (code)
                return code;
        if (!cJSON_IsObject(terms))
                return tp_fail_at(err, CODE_BAD_INPUT, "/terms", "/terms must be an object with a column for each term");
        for (size_t k = 0; k < n; k++) {
                words[word_n++] = c[k].word;
                has[c[k].port] = has[c[k].port] || cJSON_GetObjectItemCaseSensitive(terms, c[k].word);
        }
        for (int k = 0; k < TERM_COUNT; k++)
                if (follows(t->model, k))
                        words[word_n++] = term_words[k];
        if ((code = only(terms, "/terms", words, word_n, err)))
                return code;
        if (t->model == TERMS_ONE_PORT && !has[1] && !has[2])
                return tp_fail_at(err, CODE_BAD_INPUT, "/terms",
                                  "/terms: one-port terms need EDF, ESF and ERF, or EDR, ESR and ERR, or all");
        for (size_t k = 0; k < n; k++) {
                const cJSON *column;
                char pointer[48];
                if (c[k].port && !has[c[k].port])
                        continue;
                snprintf(pointer, sizeof pointer, "/terms/%s", c[k].word);
                if ((code = find(terms, "/terms", c[k].word, &column, err)) ||
                    (code = column_in(column, pointer, t->axis->n, c[k].re, c[k].im, err)))
                        return code;
        }
        if ((code = rf_terms_complete(t, err)))
                return tp_where(err, "/terms");
        return following_in(terms, t, arena, err);
}

static enum code notes_in(const cJSON *json, struct arena *arena, struct terms_json *f, struct tp_error *err)
{
        const cJSON *notes = cJSON_GetObjectItemCaseSensitive(json, "notes");
        if (!notes)
                return CODE_OK;
        int n = cJSON_IsObject(notes) ? cJSON_GetArraySize(notes) : -1;
        if (n < 0 || n > TERMS_JSON_NOTES_MAX)
                return tp_fail_at(err, CODE_BAD_INPUT, "/notes", "/notes must be an object of at most %d texts", TERMS_JSON_NOTES_MAX);
        if (n && !(f->notes = arena_take(arena, (size_t)n * sizeof *f->notes)))
                return tp_fail_memory(err);
        for (const cJSON *e = notes->child; e; e = e->next) {
                char room[48];
                if (!is_key(e->string) || !cJSON_IsString(e) || !printable(e->valuestring, VALUE_MAX))
                        return tp_fail_at(
                                err, CODE_BAD_INPUT, "/notes",
                                "/notes: \"%s\" must be a name of lower-case letters, digits and _ with a printable text of at most "
                                "%d bytes",
                                shown(e->string, room), VALUE_MAX);
                struct terms_note *to = &f->notes[f->note_n++];
                if (!(to->key = arena_text(arena, e->string)) || !(to->value = arena_text(arena, e->valuestring)))
                        return tp_fail_memory(err);
        }
        return CODE_OK;
}

static enum code method_in(const cJSON *json, struct arena *arena, struct terms *t, struct tp_error *err)
{
        const cJSON *e;
        enum code code = find(json, "", "method", &e, err);
        if (code)
                return code;
        if (!cJSON_IsString(e) || !is_key(e->valuestring) || strlen(e->valuestring) > 23)
                return tp_fail_at(err, CODE_BAD_INPUT, "/method",
                                  "/method must be a word of lower-case letters, digits and _, at most 23 of them, e.g. \"sixteen_term\"");
        const struct method *known = rf_method(e->valuestring);
        t->method = known ? known->word : arena_text(arena, e->valuestring);
        return t->method ? CODE_OK : tp_fail_memory(err);
}

static enum code all_in(const cJSON *json, struct arena *arena, struct terms_json *f, struct tp_error *err)
{
        int model = 0, plane = 0;
        const cJSON *e;
        enum code code = head_in(json, err);
        if (code || (code = word_in(json, "model", terms_model_words, &model, err)) ||
            (code = word_in(json, "plane", plane_words, &plane, err)) || (code = axis_in(json, arena, &f->axis, err)))
                return code;
        void *terms = arena_take(arena, terms_bytes(f->axis.n)), *sw = arena_take(arena, switch_terms_bytes(f->axis.n));
        if (!terms || !sw)
                return tp_fail_memory(err);
        f->terms = terms_at(terms, &f->axis);
        f->sw = switch_terms_at(sw, &f->axis);
        f->terms.model = (enum terms_model)model;
        f->terms.plane = (enum plane)plane;
        if ((code = method_in(json, arena, &f->terms, err)) || (code = find(json, "", "switch_terms_removed", &e, err)))
                return code;
        if (!cJSON_IsBool(e))
                return tp_fail_at(err, CODE_BAD_INPUT, "/switch_terms_removed", "/switch_terms_removed must be true or false");
        f->terms.switch_removed = cJSON_IsTrue(e);
        if ((code = z_in(json, &f->terms, err)) || (code = terms_in(json, &f->terms, arena, err)) || (code = notes_in(json, arena, f, err)))
                return code;
        e = cJSON_GetObjectItemCaseSensitive(json, "switch_terms");
        if (!e)
                return CODE_OK;
        static const char *const parts[2] = {"forward", "reverse"};
        double *const re[2] = {f->sw.f_re, f->sw.r_re}, *const im[2] = {f->sw.f_im, f->sw.r_im};
        if (!cJSON_IsObject(e))
                return tp_fail_at(err, CODE_BAD_INPUT, "/switch_terms", "/switch_terms must be an object with \"forward\" and \"reverse\"");
        code = only(e, "/switch_terms", parts, 2, err);
        for (int k = 0; k < 2 && !code; k++) {
                const cJSON *column;
                char pointer[48];
                snprintf(pointer, sizeof pointer, "/switch_terms/%s", parts[k]);
                if (!(code = find(e, "/switch_terms", parts[k], &column, err)))
                        code = column_in(column, pointer, f->axis.n, re[k], im[k], err);
        }
        f->has_sw = !code;
        return code;
}

enum code terms_json_read(const char *bytes, size_t n, struct arena *arena, struct terms_json **ret, struct tp_error *err)
{
        cJSON *json = NULL;
        struct terms_json *f = arena_take(arena, sizeof *f);
        if (!f)
                return tp_fail_memory(err);
        enum code code = json_read(bytes, n, 8, &json, err);
        if (code)
                return tp_where(err, "error terms");
        code = all_in(json, arena, f, err);
        cJSON_Delete(json);
        if (!code)
                *ret = f;
        return code;
}
