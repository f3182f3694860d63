/* terms_json_write.c: error terms of two ports into JSON (terms_json.h).
 * Trap        columns that follow from the others are left out, unless they were reckoned another way and differ in the last digits. */
#include "formats/terms_json_own.h"
#include "rf/correct/convert_terms.h"
#include <math.h>
#include <string.h>

static bool all_nan(const double *x, size_t n)
{
        for (size_t i = 0; i < n; i++)
                if (!isnan(x[i]))
                        return false;
        return true;
}
static bool port_is_empty(const struct terms *t, unsigned port)
{
        struct terms_column c[TERMS_COLUMNS_MAX];
        size_t n = terms_columns_of(t, c);
        for (size_t k = 0; k < n; k++)
                if (c[k].port == port && (!all_nan(c[k].re, t->axis->n) || !all_nan(c[k].im, t->axis->n)))
                        return false;
        return true;
}

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
                never[k] = !terms_follows(t->model, k) || (all_nan(t->re[k], t->axis->n) && all_nan(t->im[k], t->axis->n));
        }
        for (size_t i = 0; i < t->axis->n && t->model != TERMS_ONE_PORT; i++) {
                double complex made[TERM_COUNT];
                enum code code = made_anew(t, i, made, err);
                if (code)
                        return code;
                for (int k = 0; k < TERM_COUNT; k++) {
                        double complex is = CMPLX(t->re[k][i], t->im[k][i]);
                        if (!isfinite(creal(made[k])) || !isfinite(cimag(made[k])) ||
                            (!never[k] && !(cabs(is - made[k]) <= TERMS_FOLLOWS_TOLERANCE * fmax(1, cabs(made[k])))))
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

static enum code write_check(const struct terms *t, const struct switch_terms *sw, const struct terms_note *notes, size_t note_n,
                             bool written[TERM_COUNT], struct tp_error *err)
{
        struct terms_column c[TERMS_COLUMNS_MAX];
        size_t n = terms_columns_of(t, c);
        if (n == 0)
                return tp_fail(err, CODE_STATE, "the calibration has no terms yet");
        if (t->plane <= PLANE_UNKNOWN || t->plane >= PLANE_COUNT)
                return tp_fail(err, CODE_BAD_INPUT, "the error terms do not say their reference plane; set it before they are written");
        if (!t->method || !t->method[0] || !terms_text_ok(t->method, 23))
                return tp_fail(err, CODE_BAD_INPUT, "the error terms do not say their method");
        for (size_t k = 0; k < n; k++) {
                if (c[k].port && port_is_empty(t, c[k].port) && !port_is_empty(t, 3 - c[k].port))
                        continue;
                enum code code = terms_column_check(c[k].word, t->axis, c[k].re, c[k].im, err);
                if (code)
                        return code;
        }
        enum code code = terms_trackings_check(t, err);
        if (!code)
                code = follows_check(t, written, err);
        if (code)
                return code;
        if ((code = terms_z_check(t->z_re, t->z_im, t->axis->n, err)))
                return code;
        if (sw && !axis_equal(sw->axis, t->axis))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the switch terms have %zu frequencies, the error terms %zu; both must have the same list", sw->axis->n,
                               t->axis->n);
        if (sw && ((code = terms_column_check("the forward switch term", t->axis, sw->f_re, sw->f_im, err)) ||
                   (code = terms_column_check("the reverse switch term", t->axis, sw->r_re, sw->r_im, err))))
                return code;
        if (t->axis->n > TERMS_JSON_POINTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "%zu frequencies are too many; at most %d are written", t->axis->n,
                               TERMS_JSON_POINTS_MAX);
        return terms_notes_check(notes, note_n, err);
}

enum code terms_json_write(const struct terms *t, const struct switch_terms *sw, const struct terms_note *notes, size_t note_n,
                           const struct terms_causes *causes, struct text *to, struct tp_error *err)
{
        bool written[TERM_COUNT];
        enum code code = write_check(t, sw, notes, note_n, written, err);
        if (!code && causes)
                code = terms_causes_check(t, causes, err);
        if (code)
                return code;
        struct terms_column c[TERMS_COLUMNS_MAX];
        size_t column_n = terms_columns_of(t, c), n = t->axis->n;
        struct json_out o = json_to(to);
        json_open(&o, NULL, '{');
        json_text(&o, "format", TERMS_JSON_FORMAT);
        json_int(&o, "version", TERMS_JSON_VERSION);
        json_text(&o, "model", terms_model_words[t->model]);
        json_text(&o, "method", t->method);
        json_text(&o, "plane", plane_words[t->plane]);
        json_bool(&o, "switch_terms_removed", t->switch_removed);
        terms_notes_out(&o, notes, note_n);
        terms_reals_out(&o, "frequencies_hz", t->axis->hz, n);
        terms_z_out(&o, t->z_re, t->z_im, n);
        json_open(&o, "terms", '{');
        for (size_t k = 0; k < column_n; k++)
                if (!(c[k].port && port_is_empty(t, c[k].port)))
                        terms_column_out(&o, c[k].word, c[k].re, c[k].im, n);
        for (int k = 0; k < TERM_COUNT; k++)
                if (written[k])
                        terms_column_out(&o, term_words[k], t->re[k], t->im[k], n);
        json_close(&o, '}');
        if (sw) {
                json_open(&o, "switch_terms", '{');
                terms_column_out(&o, "forward", sw->f_re, sw->f_im, n);
                terms_column_out(&o, "reverse", sw->r_re, sw->r_im, n);
                json_close(&o, '}');
        }
        if (causes)
                terms_causes_out(&o, t, causes);
        json_close(&o, '}');
        text_put(to, "\n");
        return text_ok(to) ? CODE_OK : tp_fail_memory(err);
}
