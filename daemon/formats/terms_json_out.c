/* terms_json_out.c: parts of a document of error terms, checked and written (terms_json_own.h). */
#include "base/utf8.h"
#include "formats/terms_json_own.h"
#include <math.h>
#include <string.h>

bool terms_text_ok(const char *text, size_t max)
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
bool terms_key_ok(const char *key)
{
        size_t n = strspn(key, "abcdefghijklmnopqrstuvwxyz0123456789_");
        return n > 0 && n <= TERMS_KEY_MAX && !key[n] && key[0] >= 'a' && key[0] <= 'z';
}

static enum code note_check(const struct terms_note *notes, size_t k, struct tp_error *err)
{
        if (!notes[k].key || !terms_key_ok(notes[k].key))
                return tp_fail(err, CODE_BAD_INPUT,
                               "note %zu of the error terms has no good name; a name is lower-case letters, digits and _, at most %d bytes",
                               k + 1, TERMS_KEY_MAX);
        if (!notes[k].value || !terms_text_ok(notes[k].value, TERMS_VALUE_MAX))
                return tp_fail(err, CODE_BAD_INPUT, "note \"%s\" of the error terms is no printable text of at most %d bytes", notes[k].key,
                               TERMS_VALUE_MAX);
        for (size_t j = 0; j < k; j++)
                if (strcmp(notes[j].key, notes[k].key) == 0)
                        return tp_fail(err, CODE_BAD_INPUT, "note \"%s\" of the error terms is given twice", notes[k].key);
        return CODE_OK;
}

enum code terms_notes_check(const struct terms_note *notes, size_t n, struct tp_error *err)
{
        enum code code = CODE_OK;
        if (n > TERMS_JSON_NOTES_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "%zu notes are too many; at most %d are written", n, TERMS_JSON_NOTES_MAX);
        for (size_t k = 0; k < n && !code; k++)
                code = note_check(notes, k, err);
        return code;
}

enum code terms_column_check(const char *word, const struct axis *axis, const double *re, const double *im, struct tp_error *err)
{
        for (size_t i = 0; i < axis->n; i++)
                if (!isfinite(re[i]) || !isfinite(im[i]))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "%s is %g%+gj at %.9g Hz; error terms with holes are not written: calibrate again", word, re[i],
                                       im[i], axis->hz[i]);
        return CODE_OK;
}

void terms_reals_out(struct json_out *o, const char *key, const double *x, size_t n)
{
        json_open(o, key, '[');
        for (size_t i = 0; i < n; i++)
                json_real(o, NULL, x[i]);
        json_close(o, ']');
}
void terms_column_out(struct json_out *o, const char *key, const double *re, const double *im, size_t n)
{
        json_open(o, key, '{');
        terms_reals_out(o, "re", re, n);
        terms_reals_out(o, "im", im, n);
        json_close(o, '}');
}

enum z_kind { Z_ONE, Z_COLUMNS, Z_UNKNOWN, Z_BAD };
static enum z_kind z_kind(const double *re, const double *im, size_t n)
{
        size_t unknown = 0;
        bool one = true;
        for (size_t i = 0; i < n; i++) {
                unknown += (size_t) !!isnan(re[i]);
                if (!isnan(re[i]) && !(re[i] > 0 && isfinite(re[i]) && isfinite(im[i])))
                        return Z_BAD;
                one = one && re[i] == re[0] && im[i] == 0 && !signbit(im[i]);
        }
        return unknown == n ? Z_UNKNOWN : unknown ? Z_BAD : one ? Z_ONE : Z_COLUMNS;
}

enum code terms_z_check(const double *z_re, const double *z_im, size_t n, struct tp_error *err)
{
        if (z_kind(z_re, z_im, n) != Z_BAD)
                return CODE_OK;
        return tp_fail(err, CODE_BAD_INPUT,
                       "the reference impedance of the error terms must be positive and known at all frequencies or at none");
}

void terms_z_out(struct json_out *o, const double *z_re, const double *z_im, size_t n)
{
        switch (z_kind(z_re, z_im, n)) {
        case Z_ONE:
                json_real(o, "z_ref_ohm", z_re[0]);
                break;
        case Z_COLUMNS:
                terms_column_out(o, "z_ref_ohm", z_re, z_im, n);
                break;
        case Z_UNKNOWN:
        case Z_BAD:
                json_null(o, "z_ref_ohm");
                break;
        }
}

void terms_notes_out(struct json_out *o, const struct terms_note *notes, size_t n)
{
        json_open(o, "notes", '{');
        for (size_t k = 0; k < n; k++)
                json_text(o, notes[k].key, notes[k].value);
        json_close(o, '}');
}
