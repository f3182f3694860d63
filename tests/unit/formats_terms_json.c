/* Error terms as JSON: bit for bit there and back in every model; what is refused, and where the sentence points; the schema says the same
   words as the program; the worked example of docs/terms.md. */
#include "tests/unit/formats_document.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "base/json.h"
#include "formats/terms_json.h"
#include "rf/correct/convert_terms.h"
#include "rf/correct/correct.h"

enum { N = 7 };
struct set {
        struct arena *arena;
        double hz[N];
        struct axis axis;
        struct terms terms;
        struct switch_terms sw;
        struct text text;
        struct tp_error err;
};
static double draw(uint64_t *state)
{
        *state = *state * 6364136223846793005u + 1442695040888963407u;
        return (double)(int64_t)*state / 9.3e18;
}
static struct set *set_new(enum terms_model model)
{
        struct arena *arena = arena_new(0);
        struct set *s = arena_take(arena, sizeof *s);
        uint64_t state = 7 + (uint64_t)model;
        s->arena = arena;
        for (int i = 0; i < N; i++)
                s->hz[i] = i == 0 ? 70e3 : 220e9 / 7.1 * i; /* not all digits are round */
        assert_int_equal(axis_of(N, s->hz, &s->axis, NULL), CODE_OK);
        s->terms = terms_at(arena_take(arena, terms_bytes(N)), &s->axis);
        s->sw = switch_terms_at(arena_take(arena, switch_terms_bytes(N)), &s->axis);
        s->terms.method = model == TERMS_SIXTEEN  ? "sixteen_term"
                          : model == TERMS_TWELVE ? "solt"
                          : model == TERMS_EIGHT  ? "unknown_thru"
                                                  : "sol";
        s->terms.model = model;
        s->terms.plane = PLANE_TIP;
        s->terms.switch_removed = model == TERMS_EIGHT || model == TERMS_SIXTEEN;
        for (int i = 0; i < N; i++) {
                s->terms.z_re[i] = 50;
                s->terms.z_im[i] = 0;
                s->sw.f_re[i] = 0.03 * draw(&state);
                s->sw.f_im[i] = 0.03 * draw(&state);
                s->sw.r_re[i] = 1e-300 * draw(&state); /* the smallest digits count too */
                s->sw.r_im[i] = -0.0;
                for (int k = 0; k < TERM_COUNT && model != TERMS_SIXTEEN; k++) {
                        bool one = k == TERM_ERF || k == TERM_ERR || k == TERM_K || k == TERM_ETF || k == TERM_ETR;
                        if (model == TERMS_ONE_PORT && k > TERM_ERR)
                                continue;
                        s->terms.re[k][i] = one + 0.1 * draw(&state);
                        s->terms.im[k][i] = k == TERM_EXF || k == TERM_EXR ? 0 : 0.1 * draw(&state);
                }
                for (int k = 0; k < FULL_COUNT && model == TERMS_SIXTEEN; k++) {
                        bool one = k == FULL_T1 || k == FULL_T1 + 3 || k == FULL_T4 + 3;
                        s->terms.full_re[k][i] = k == FULL_T4 ? 1 : one + 0.1 * draw(&state);
                        s->terms.full_im[k][i] = k == FULL_T4 ? 0 : 0.1 * draw(&state);
                }
        }
        assert_int_equal(rf_terms_complete(&s->terms, NULL), CODE_OK);
        text_init(&s->text, 0);
        return s;
}
static void set_free(struct set *s)
{
        text_done(&s->text);
        arena_free(s->arena);
}
static void same_column(const double *a, const double *b)
{
        for (int i = 0; i < N; i++)
                if (!(isnan(a[i]) && isnan(b[i])))
                        assert_memory_equal(&a[i], &b[i], sizeof a[i]);
}

static struct terms_json *there_and_back(struct set *s, const struct switch_terms *sw, const struct terms_note *notes, size_t note_n)
{
        struct terms_json *f = NULL;
        text_clear(&s->text);
        if (terms_json_write(&s->terms, sw, notes, note_n, NULL, &s->text, &s->err))
                fail_msg("%s", s->err.text);
        if (terms_json_read(text_of(&s->text), s->text.n, s->arena, &f, &s->err))
                fail_msg("%s", s->err.text);
        assert_memory_equal(f->axis.hz, s->axis.hz, N * sizeof(double));
        assert_true(f->axis.hash == s->axis.hash && f->terms.axis == &f->axis && f->sw.axis == &f->axis);
        assert_int_equal(f->terms.model, s->terms.model);
        assert_int_equal(f->terms.plane, s->terms.plane);
        assert_string_equal(f->terms.method, s->terms.method);
        assert_true(f->terms.switch_removed == s->terms.switch_removed && f->has_sw == (sw != NULL));
        same_column(f->terms.z_re, s->terms.z_re);
        same_column(f->terms.z_im, s->terms.z_im);
        for (int k = 0; k < TERM_COUNT; k++) {
                same_column(f->terms.re[k], s->terms.re[k]);
                same_column(f->terms.im[k], s->terms.im[k]);
        }
        for (int k = 0; k < FULL_COUNT; k++) {
                same_column(f->terms.full_re[k], s->terms.full_re[k]);
                same_column(f->terms.full_im[k], s->terms.full_im[k]);
        }
        if (sw) {
                same_column(f->sw.f_re, sw->f_re);
                same_column(f->sw.f_im, sw->f_im);
                same_column(f->sw.r_re, sw->r_re);
                same_column(f->sw.r_im, sw->r_im);
        }
        assert_int_equal(f->note_n, note_n);
        for (size_t k = 0; k < note_n; k++) {
                assert_string_equal(f->notes[k].key, notes[k].key);
                assert_string_equal(f->notes[k].value, notes[k].value);
        }
        return f;
}

/* Two causes: one that moves a term of each kind, one of noise with few readings that moves all. */
static struct terms_causes *causes_new(struct set *s)
{
        struct terms_causes *c = arena_take(s->arena, sizeof *c);
        static const char *const not_counted[] = {"placement", "definition of a µ-strip \"thru\""};
        uint64_t state = 99;
        c->of = arena_take(s->arena, 2 * sizeof *c->of);
        c->n = 2;
        c->of[0].about = (struct cause_about){"load: R, port 1", CAUSE_OF_STANDARD, INFINITY};
        c->of[1].about = (struct cause_about){"open: noise, S11", CAUSE_OF_NOISE, 4};
        c->reading = (struct reading_u){1e-5, 3e-4, 9, 0.005, 4e-13, 1, 6e-14, 0.02, 5.3};
        c->not_counted = arena_take(s->arena, sizeof not_counted);
        memcpy(c->not_counted, not_counted, sizeof not_counted);
        c->not_counted_n = 2;
        for (int m = 0; m < 2 && s->terms.switch_removed; m++) { /* the second cause moves the switch terms too */
                c->of[1].switch_re[m] = arena_take(s->arena, N * sizeof(double));
                c->of[1].switch_im[m] = arena_take(s->arena, N * sizeof(double));
                for (int i = 0; i < N; i++)
                        c->of[1].switch_im[m][i] = 1e-4 * draw(&state);
        }
        for (int k = 0; k < 2; k++)
                for (int m = 0; m < (s->terms.model == TERMS_SIXTEEN ? FULL_COUNT : TERM_COUNT); m++) {
                        bool full = s->terms.model == TERMS_SIXTEEN;
                        double **re = full ? &c->of[k].full_re[m] : &c->of[k].re[m], **im = full ? &c->of[k].full_im[m] : &c->of[k].im[m];
                        if ((!full && !terms_is_made_of(s->terms.model, m)) || (k == 0 && m != 2))
                                continue;
                        *re = arena_take(s->arena, N * sizeof(double));
                        *im = arena_take(s->arena, N * sizeof(double));
                        for (int i = 0; i < N; i++) {
                                (*re)[i] = 1e-3 * draw(&state);
                                (*im)[i] = i == 2 ? -0.0 : 1e-310 * draw(&state); /* the smallest digits count too */
                        }
                }
        return c;
}
static struct terms_json *causes_read(struct set *s)
{
        struct terms_json *f = NULL;
        if (terms_json_read(text_of(&s->text), s->text.n, s->arena, &f, &s->err))
                fail_msg("%s", s->err.text);
        return f;
}
static void causes_come_back_bit_for_bit(void **state)
{
        (void)state;
        for (int model = TERMS_ONE_PORT; model < TERMS_MODEL_COUNT; model++) {
                struct set *s = set_new((enum terms_model)model);
                struct terms_causes *c = causes_new(s);
                if (terms_json_write(&s->terms, &s->sw, NULL, 0, c, &s->text, &s->err))
                        fail_msg("%s", s->err.text);
                struct terms_causes *got = causes_read(s)->causes;
                assert_non_null(got);
                assert_int_equal(got->n, 2);
                assert_memory_equal(&got->reading, &c->reading, sizeof c->reading);
                assert_int_equal(got->not_counted_n, 2);
                assert_string_equal(got->not_counted[1], c->not_counted[1]);
                for (int k = 0; k < 2; k++) {
                        assert_string_equal(got->of[k].about.name, c->of[k].about.name);
                        assert_int_equal(got->of[k].about.kind, c->of[k].about.kind);
                        assert_true(got->of[k].about.freedom == c->of[k].about.freedom);
                        for (int m = 0; m < 2; m++) {
                                assert_true(!got->of[k].switch_re[m] == !c->of[k].switch_re[m]);
                                if (c->of[k].switch_re[m]) {
                                        assert_memory_equal(got->of[k].switch_re[m], c->of[k].switch_re[m], N * sizeof(double));
                                        assert_memory_equal(got->of[k].switch_im[m], c->of[k].switch_im[m], N * sizeof(double));
                                }
                        }
                        for (int m = 0; m < TERM_COUNT + FULL_COUNT; m++) {
                                const double *a = m < TERM_COUNT ? c->of[k].re[m] : c->of[k].full_re[m - TERM_COUNT],
                                             *b = m < TERM_COUNT ? got->of[k].re[m] : got->of[k].full_re[m - TERM_COUNT],
                                             *p = m < TERM_COUNT ? c->of[k].im[m] : c->of[k].full_im[m - TERM_COUNT],
                                             *q = m < TERM_COUNT ? got->of[k].im[m] : got->of[k].full_im[m - TERM_COUNT];
                                assert_true(!a == !b);
                                if (a) {
                                        assert_memory_equal(a, b, N * sizeof *a);
                                        assert_memory_equal(p, q, N * sizeof *p);
                                }
                        }
                }
                text_clear(&s->text); /* a document of before says nothing of it */
                assert_int_equal(terms_json_write(&s->terms, NULL, NULL, 0, NULL, &s->text, NULL), CODE_OK);
                assert_null(strstr(text_of(&s->text), "causes"));
                assert_null(causes_read(s)->causes);
                set_free(s);
        }
}

static void every_model_comes_back_bit_for_bit(void **state)
{
        (void)state;
        static const struct terms_note notes[] = {
                {"calibration", "41"}, {"substrate", "serial 7, \"left\" half"}, {"note", "80 µm, 23 °C"}};
        for (int model = TERMS_ONE_PORT; model < TERMS_MODEL_COUNT; model++) {
                struct set *s = set_new((enum terms_model)model);
                there_and_back(s, NULL, NULL, 0);
                there_and_back(s, &s->sw, notes, 3);
                for (int i = 0; i < N; i++) /* a line's own, known impedance */
                        s->terms.z_im[i] = -1.0 / (1 + i);
                there_and_back(s, NULL, NULL, 0);
                for (int i = 0; i < N; i++) /* … and an unknown one */
                        s->terms.z_re[i] = s->terms.z_im[i] = NAN;
                there_and_back(s, &s->sw, notes, 1);
                assert_non_null(strstr(text_of(&s->text), "\"z_ref_ohm\":null"));
                if (model != TERMS_ONE_PORT) { /* columns that follow, reckoned another way: the last digits are kept */
                        int k = model == TERMS_TWELVE ? TERM_K : TERM_ETR;
                        s->terms.re[k][3] = nextafter(s->terms.re[k][3], 9);
                        there_and_back(s, NULL, NULL, 0);
                } else { /* one port alone */
                        for (int k = TERM_EDF; k <= TERM_ERF; k++)
                                for (int i = 0; i < N; i++)
                                        s->terms.re[k][i] = s->terms.im[k][i] = NAN;
                        there_and_back(s, NULL, NULL, 0);
                        assert_null(strstr(text_of(&s->text), "EDF"));
                }
                set_free(s);
        }
}

static void not_written(struct set *s, const struct switch_terms *sw, const struct terms_note *notes, size_t note_n, const char *word)
{
        text_clear(&s->text);
        text_put(&s->text, "before");
        s->err = (struct tp_error){0};
        enum code code = terms_json_write(&s->terms, sw, notes, note_n, NULL, &s->text, &s->err);
        if (!code || !strstr(s->err.text, word))
                fail_msg("code %d: \"%s\" does not say \"%s\"", code, s->err.text, word);
        assert_string_equal(text_of(&s->text), "before");
}
static void what_is_not_written(void **state)
{
        (void)state;
        struct set *s = set_new(TERMS_EIGHT);
        s->terms.im[TERM_ESR][4] = NAN;
        not_written(s, NULL, NULL, 0, "ESR is");
        s->terms.im[TERM_ESR][4] = INFINITY;
        not_written(s, NULL, NULL, 0, "ESR is");
        set_free(s);
        s = set_new(TERMS_EIGHT);
        s->sw.r_im[2] = NAN;
        not_written(s, &s->sw, NULL, 0, "reverse switch term");
        s->terms.re[TERM_ETF][1] *= 1.01;
        not_written(s, NULL, NULL, 0, "ETF of these eight terms");
        set_free(s);
        s = set_new(TERMS_TWELVE);
        s->terms.z_re[3] = NAN;
        not_written(s, NULL, NULL, 0, "reference impedance");
        s->terms.z_re[3] = -50;
        not_written(s, NULL, NULL, 0, "reference impedance");
        s->terms.z_re[3] = 50;
        not_written(s, NULL, &(struct terms_note){"Bad key", "x"}, 1, "no good name");
        not_written(s, NULL, &(struct terms_note){"key", "two\nlines"}, 1, "printable");
        not_written(s, NULL, (struct terms_note[]){{"key", "1"}, {"key", "2"}}, 2, "twice");
        s->terms.plane = PLANE_UNKNOWN;
        not_written(s, NULL, NULL, 0, "plane");
        s->terms.model = TERMS_UNKNOWN;
        not_written(s, NULL, NULL, 0, "no terms yet");
        set_free(s);
}

/* The document with its first `from` replaced by `to`. */
static void refused(const struct set *s, const char *from, const char *to, enum code want, const char *pointer, const char *word)
{
        struct text changed = document_with(&s->text, from, to);
        struct tp_error err = {0};
        struct terms_json *f = NULL;
        struct arena *arena = arena_new(0);
        enum code code = terms_json_read(text_of(&changed), changed.n, arena, &f, &err);
        assert_document_refused(code, f, &err, want, pointer, word, from, to);
        text_done(&changed);
        arena_free(arena);
}
static void what_is_refused(void **state)
{
        (void)state;
        struct set *s = set_new(TERMS_SIXTEEN);
        there_and_back(s, &s->sw, &(struct terms_note){"wafer", "W1"}, 1);
        refused(s, "tipplane error terms", "error terms", CODE_BAD_INPUT, "/format", "is not \"tipplane error terms\"");
        refused(s, "\"version\":1", "\"version\":2", CODE_TOO_NEW, "/version", "version 2");
        refused(s, "\"version\":1", "\"version\":0.5", CODE_BAD_INPUT, "/version", "whole number");
        refused(s, "\"version\":1,", "", CODE_BAD_INPUT, "/version", "no \"version\"");
        refused(s, "\"sixteen\"", "\"seventeen\"", CODE_BAD_INPUT, "/model", "known are one_port, eight, twelve, sixteen");
        refused(s, "\"sixteen\"", "\"unknown\"", CODE_BAD_INPUT, "/model", "known are");
        refused(s, "\"sixteen\"", "\"eight\"", CODE_BAD_INPUT, "/terms", "T1_11");
        refused(s, "\"sixteen\"", "16", CODE_BAD_INPUT, "/model", "known are");
        refused(s, "\"tip\"", "\"chuck\"", CODE_BAD_INPUT, "/plane", "known are receiver, tip");
        refused(s, "\"sixteen_term\"", "\"Sixteen term\"", CODE_BAD_INPUT, "/method", "/method must be");
        refused(s, "\"switch_terms_removed\":true", "\"switch_terms_removed\":1", CODE_BAD_INPUT, "/switch_terms_removed", "true or false");
        refused(s, "\"frequencies_hz\":[70000,", "\"frequencies_hz\":[70000,70000,", CODE_BAD_INPUT, "", "frequencies must rise");
        refused(s, "\"frequencies_hz\":[70000,", "\"frequencies_hz\":[1,70000,", CODE_BAD_INPUT, "/terms/T1_11/re",
                "has 7 numbers, frequencies_hz has 8");
        refused(s, "\"frequencies_hz\":[70000,", "\"frequencies_hz\":[null,", CODE_BAD_INPUT, "/frequencies_hz", "entry 1 of 7");
        refused(s, "\"frequencies_hz\":[70000,", "\"frequencies_hz\":[NaN,", CODE_BAD_INPUT, "", "error terms");
        refused(s, "\"z_ref_ohm\":50", "\"z_ref_ohm\":0", CODE_BAD_INPUT, "/z_ref_ohm", "positive");
        refused(s, "\"z_ref_ohm\":50", "\"z_ref_ohm\":\"50\"", CODE_BAD_INPUT, "/z_ref_ohm", "null for the line's own");
        refused(s, "\"T4_22\"", "\"T4_33\"", CODE_BAD_INPUT, "/terms", "\"T4_33\" in /terms has no meaning");
        refused(s, "\"T3_12\":{\"re\":[", "\"T3_12\":{\"re\":[0,", CODE_BAD_INPUT, "/terms/T3_12/re", "has 8 numbers");
        refused(s, "\"T3_12\":{\"re\":[", "\"T3_12\":{\"re\":[true,", CODE_BAD_INPUT, "/terms/T3_12/re", "entry 1 of 7 is not a number");
        refused(s, "\"T4_11\":{\"re\":[1,", "\"T4_11\":{\"re\":[0,", CODE_BAD_INPUT, "", "T4_11 is 0");
        refused(s, "\"forward\"", "\"backward\"", CODE_BAD_INPUT, "/switch_terms", "\"backward\" in /switch_terms");
        refused(s, "\"wafer\"", "\"Wafer\"", CODE_BAD_INPUT, "/notes", "lower-case");
        refused(s, "\"W1\"", "\"W\\u0007\"", CODE_BAD_INPUT, "/notes", "printable");
        refused(s, "\"notes\"", "\"remarks\"", CODE_BAD_INPUT, "", "\"remarks\" in the document");
        refused(s, "{", "[", CODE_BAD_INPUT, "", "error terms");
        set_free(s);
        s = set_new(TERMS_EIGHT);
        there_and_back(s, NULL, NULL, 0);
        refused(s, "\"ERF\"", "\"ETF\"", CODE_BAD_INPUT, "/terms/ERF", "no \"ERF\"");
        refused(s, "\"terms\":{", "\"terms\":{\"ELF\":{\"re\":[1,1,1,1,1,1,1],\"im\":[0,0,0,0,0,0,0]},", CODE_BAD_INPUT, "/terms/ELF",
                "follows from the other terms");
        set_free(s);
}

static void which_causes_are_refused(void **state)
{
        (void)state;
        struct set *s = set_new(TERMS_EIGHT);
        struct terms_causes *c = causes_new(s);
        assert_int_equal(terms_json_write(&s->terms, NULL, NULL, 0, c, &s->text, NULL), CODE_OK);
        refused(s, "\"causes\":[", "\"causes\":[7,", CODE_BAD_INPUT, "/causes/0", "must be an object");
        refused(s, "\"kind\":\"standard\"", "\"kind\":\"luck\"", CODE_BAD_INPUT, "/causes/0", "noise or drift");
        refused(s, "\"kind\":\"standard\",", "", CODE_BAD_INPUT, "/causes/0/kind", "no \"kind\"");
        refused(s, "\"load: R, port 1\"", "\"\"", CODE_BAD_INPUT, "/causes/0", "printable text");
        refused(s, "\"load: R, port 1\"", "\"open: noise, S11\"", CODE_BAD_INPUT, "/causes", "two are called");
        refused(s, "\"freedom\":4", "\"freedom\":0.5", CODE_BAD_INPUT, "/causes/1", "from 1 on");
        refused(s, "\"freedom\":null,\"terms\":{\"ERF\"", "\"freedom\":null,\"terms\":{\"ELF\"", CODE_BAD_INPUT, "/causes/0/terms",
                "\"ELF\" in /causes/0/terms has no meaning");
        refused(s, "\"freedom\":null,\"terms\":{\"ERF\":{\"re\":[", "\"freedom\":null,\"terms\":{\"ERF\":{\"re\":[0,", CODE_BAD_INPUT,
                "/causes/0/terms/ERF/re", "has 8 numbers");
        refused(s, "\"switch_terms\":{\"forward\"", "\"switch_terms\":{\"onward\"", CODE_BAD_INPUT, "/causes/1/switch_terms", "\"onward\"");
        refused(s, "\"switch_terms_removed\":true", "\"switch_terms_removed\":false", CODE_BAD_INPUT, "/causes/1/switch_terms",
                "want their switch terms removed");
        refused(s, "\"noise_floor_u\":", "\"noise_floor_u\":-", CODE_BAD_INPUT, "/each_reading/noise_floor_u", "from 0 to 1");
        refused(s, "\"eps_eff\":", "\"eps\":", CODE_BAD_INPUT, "/each_reading", "\"eps\" in /each_reading");
        refused(s, "\"not_counted\":[", "\"not_counted\":[3,", CODE_BAD_INPUT, "/not_counted", "/not_counted/0 must be");
        /* and the writer refuses what a reader would */
        text_clear(&s->text);
        c->of[1].im[TERM_K][3] = NAN;
        assert_int_equal(terms_json_write(&s->terms, NULL, NULL, 0, c, &s->text, &s->err), CODE_BAD_INPUT);
        assert_non_null(strstr(s->err.text, "K is"));
        c->of[1].im[TERM_K][3] = 0;
        c->of[1].about.name = c->of[0].about.name;
        assert_int_equal(terms_json_write(&s->terms, NULL, NULL, 0, c, &s->text, &s->err), CODE_BAD_INPUT);
        c->of[1] = (struct terms_cause){.about = {"nothing", CAUSE_OF_LINE, INFINITY}};
        assert_int_equal(terms_json_write(&s->terms, NULL, NULL, 0, c, &s->text, &s->err), CODE_BAD_INPUT);
        assert_non_null(strstr(s->err.text, "moves no term"));
        assert_int_equal(s->text.n, 0);
        set_free(s);
}

/* Terms of another program, unscaled and without notes, with a method that nobody here knows: they correct. */
static void terms_from_elsewhere(void **state)
{
        (void)state;
        static const char text[] =
                "{\"format\":\"tipplane error terms\",\"version\":1,\"model\":\"sixteen\",\"method\":\"by_hand\",\"plane\":\"tip\","
                "\"switch_terms_removed\":false,\"frequencies_hz\":[1e9],\"z_ref_ohm\":50,\"terms\":{"
                "\"T1_11\":{\"re\":[2],\"im\":[0]},\"T1_12\":{\"re\":[0],\"im\":[0]},\"T1_21\":{\"re\":[0],\"im\":[0]},"
                "\"T1_22\":{\"re\":[2],\"im\":[0]},\"T2_11\":{\"re\":[0.2],\"im\":[0]},\"T2_12\":{\"re\":[0],\"im\":[0]},"
                "\"T2_21\":{\"re\":[0],\"im\":[0]},\"T2_22\":{\"re\":[0],\"im\":[0]},\"T3_11\":{\"re\":[0],\"im\":[0]},"
                "\"T3_12\":{\"re\":[0],\"im\":[0]},\"T3_21\":{\"re\":[0],\"im\":[0]},\"T3_22\":{\"re\":[0],\"im\":[0]},"
                "\"T4_11\":{\"re\":[2],\"im\":[0]},\"T4_12\":{\"re\":[0],\"im\":[0]},\"T4_21\":{\"re\":[0],\"im\":[0]},"
                "\"T4_22\":{\"re\":[2],\"im\":[0]}}}";
        struct arena *arena = arena_new(0);
        struct terms_json *f = NULL;
        struct tp_error err = {0};
        if (terms_json_read(text, strlen(text), arena, &f, &err))
                fail_msg("%s", err.text);
        assert_string_equal(f->terms.method, "by_hand");
        assert_true(f->terms.full_re[FULL_T4][0] == 1 && !f->has_sw && f->note_n == 0);
        struct m2 s = rf_correct2_point(&f->terms, 0, m2_of(0.4, 0.5, 0.6, 0.3)); /* directivity 0.1, tracking 1 */
        assert_true(m2_distance(s, m2_of(0.3, 0.5, 0.6, 0.3)) < 1e-15);
        arena_free(arena);
}

static void schema_and_page_say_the_same(void **state)
{
        (void)state;
        char *text = file_text("schema/terms.schema.json", NULL), *page = file_text("docs/terms.md", NULL);
        cJSON *schema = json_of(text, strlen(text));
        const cJSON *properties = have(schema, "properties");
        assert_words_are_the_schemas(have(have(properties, "model"), "enum"), terms_model_words);
        assert_words_are_the_schemas(have(have(properties, "plane"), "enum"), plane_words);
        for (int model = TERMS_ONE_PORT; model < TERMS_MODEL_COUNT; model++) {
                struct set *s = set_new((enum terms_model)model);
                assert_int_equal(terms_json_write(&s->terms, &s->sw, NULL, 0, causes_new(s), &s->text, NULL), CODE_OK);
                cJSON *json = json_of(text_of(&s->text), s->text.n);
                assert_keys_are_the_schemas(json, schema);
                for (const cJSON *e = have(json, "terms")->child; e; e = e->next)
                        assert_non_null(have(have(have(properties, "terms"), "properties"), e->string));
                cJSON_Delete(json);
                set_free(s);
        }
        cJSON_Delete(schema);
        /* the page's example is a document */
        size_t example_n;
        const char *example = page_example(page, &example_n);
        struct arena *arena = arena_new(0);
        struct terms_json *f = NULL;
        struct tp_error err = {0};
        if (terms_json_read(example, example_n, arena, &f, &err))
                fail_msg("docs/terms.md: %s", err.text);
        /* … and corrects as the page says */
        struct m2 m = rf_switch_remove_point(m2_of(CMPLX(0.31, 0.05), CMPLX(0.52, -0.33), CMPLX(0.51, -0.34), CMPLX(0.29, 0.02)),
                                             CMPLX(f->sw.f_re[0], f->sw.f_im[0]), CMPLX(f->sw.r_re[0], f->sw.r_im[0]));
        struct m2 s = rf_correct2_point(&f->terms, 0, m);
        char said[64];
        snprintf(said, sizeof said, "S11 = %.6f%+.6fj", creal(s.e[0]), cimag(s.e[0]));
        if (!strstr(page, said))
                fail_msg("docs/terms.md does not say \"%s\"", said);
        snprintf(said, sizeof said, "S21 = %.6f%+.6fj", creal(s.e[2]), cimag(s.e[2]));
        if (!strstr(page, said))
                fail_msg("docs/terms.md does not say \"%s\"", said);
        arena_free(arena);
        free(text);
        free(page);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(every_model_comes_back_bit_for_bit),
                                           cmocka_unit_test(what_is_not_written),
                                           cmocka_unit_test(what_is_refused),
                                           cmocka_unit_test(terms_from_elsewhere),
                                           cmocka_unit_test(causes_come_back_bit_for_bit),
                                           cmocka_unit_test(which_causes_are_refused),
                                           cmocka_unit_test(schema_and_page_say_the_same)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
