/* Frames fitted to marks and silicon's expansion against tests/reference/transforms.csv: the example of Umeyama, IEEE PAMI 13 (1991) 376,
   and rows computed by an independent script; Okada & Tokumaru, J. Appl. Phys. 56 (1984) 314. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include "wafer/frame.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS_MAX = 256 };
static struct row {
        char at[48], key[24];
        double value;
        bool seen;
} rows[ROWS_MAX];
static size_t row_n;

static int read_rows(void **state)
{
        (void)state;
        FILE *f = fopen("tests/reference/transforms.csv", "r");
        char line[256];
        if (!f)
                return -1; /* run from the top of the tree */
        while (fgets(line, sizeof line, f) && row_n < ROWS_MAX) {
                struct row *r = &rows[row_n];
                if (sscanf(line, "%47[^,],%23[^,],%lf", r->at, r->key, &r->value) == 3 && strncmp(r->at, "dies_", 5) != 0)
                        row_n++;
        }
        fclose(f);
        return 0;
}

static bool have(const char *at, const char *key, double *ret)
{
        for (size_t i = 0; i < row_n; i++)
                if (!strcmp(rows[i].at, at) && !strcmp(rows[i].key, key)) {
                        *ret = rows[i].value;
                        rows[i].seen = true;
                        return true;
                }
        return false;
}

static double want(const char *at, const char *key)
{
        double v = NAN;
        if (!have(at, key, &v))
                fail_msg("%s has no %s", at, key);
        return v;
}

static void near(const char *at, const char *key, double is, double within)
{
        double v = want(at, key);
        if (!(fabs(is - v) <= within * fmax(1, fabs(v))))
                fail_msg("%s %s: %.17g, wanted %.17g", at, key, is, v);
}

static size_t marks_of(const char *at, struct mark *m)
{
        size_t n = 0;
        for (char key[4][8]; n < 16; n++) {
                const char *const of[4] = {"px", "py", "qx", "qy"};
                double v[4];
                for (int k = 0; k < 4; k++) {
                        snprintf(key[k], sizeof key[k], "%s%zu", of[k], n);
                        if (!have(at, key[k], &v[k]))
                                return n;
                }
                m[n] = (struct mark){v[0], v[1], v[2], v[3]};
        }
        return n;
}

static void umeyamas_example(void **state)
{
        (void)state;
        struct mark m[16];
        struct frame f;
        const char *at = "umeyama_paper";
        assert_int_equal(frame_fit(FRAME_SIMILARITY, marks_of(at, m), m, HUGE_VAL, &f, NULL), CODE_OK);
        near(at, "scale", f.scale_x, 1e-15);
        near(at, "R11", f.a11 / f.scale_x, 1e-15);
        near(at, "R12", f.a12 / f.scale_x, 1e-15);
        near(at, "R21", f.a21 / f.scale_x, 1e-15);
        near(at, "R22", f.a22 / f.scale_x, 1e-15);
        near(at, "tx", f.tx_um, 1e-15);
        near(at, "ty", f.ty_um, 1e-15);
        near(at, "mse", f.rms_um * f.rms_um, 1e-15);
}

/* Places of 1e5 um hold 1.5e-11 um; angles, scales: that by 1.2e5 um. */
static void a_stage_with_two_scales_and_a_skew(void **state)
{
        (void)state;
        struct mark m[16];
        struct frame f;
        const char *at = "affine_exact";
        size_t n = marks_of(at, m);
        assert_int_equal(frame_fit(FRAME_AFFINE, n, m, 1e-9, &f, NULL), CODE_OK);
        near(at, "theta_rad", f.theta_rad, 1e-15);
        near(at, "sx", f.scale_x, 1e-15);
        near(at, "sy", f.scale_y, 1e-15);
        near(at, "skew_rad", f.skew_rad, 1e-15);
        near(at, "tx", f.tx_um, 1e-15);
        near(at, "ty", f.ty_um, 1e-15);
        near(at, "a11", f.a11, 1e-15);
        near(at, "a12", f.a12, 1e-15);
        near(at, "a21", f.a21, 1e-15);
        near(at, "a22", f.a22, 1e-15);
        for (size_t i = 0; i < n; i++) {
                double x, y;
                frame_stage_um(&f, m[i].x_um, m[i].y_um, &x, &y);
                assert_true(hypot(x - m[i].stage_x_um, y - m[i].stage_y_um) < 1e-9);
        }
}

static void marks_with_noise(void **state)
{
        (void)state;
        struct mark m[16];
        struct frame f;
        const char *at = "similarity_noisy";
        assert_int_equal(frame_fit(FRAME_SIMILARITY, marks_of(at, m), m, FRAME_LIMIT_UM, &f, NULL), CODE_OK);
        near(at, "theta_rad", f.theta_rad, 1e-15);
        near(at, "scale", f.scale_x, 1e-15);
        near(at, "tx", f.tx_um, 1e-13);
        near(at, "ty", f.ty_um, 1e-13);
        near(at, "rms_residual_um", f.rms_um, 1e-10);
        near(at, "max_residual_um", f.max_um, 1e-10);
}

/* The same marks with the stage's y the other way: the best turn is poor, and no mirror is given for it. */
static void a_mirror_is_refused_and_named(void **state)
{
        (void)state;
        struct mark m[16];
        struct frame f;
        struct tp_error err;
        const char *at = "mirrored";
        size_t n = marks_of("affine_exact", m);
        for (size_t i = 0; i < n; i++)
                m[i].stage_x_um = m[i].x_um, m[i].stage_y_um = -m[i].y_um;
        assert_int_equal(frame_fit(FRAME_SIMILARITY, n, m, FRAME_LIMIT_UM, &f, &err), CODE_BAD_INPUT);
        near(at, "det_R", (f.a11 * f.a22 - f.a12 * f.a21) / (f.scale_x * f.scale_x), 1e-14);
        near(at, "scale", f.scale_x, 1e-14);
        near(at, "rms_residual_um", f.rms_um, 1e-14);
        assert_non_null(strstr(err.text, "mirror image"));
}

static void one_bad_mark_is_named(void **state)
{
        (void)state;
        struct mark m[16];
        struct frame f;
        struct tp_error err;
        size_t n = marks_of("similarity_noisy", m);
        m[3].stage_x_um += 40;
        assert_int_equal(frame_fit(FRAME_RIGID, n, m, FRAME_LIMIT_UM, &f, &err), CODE_BAD_INPUT);
        assert_int_equal(f.worst, 3);
        assert_non_null(strstr(err.text, "mark 4"));
        assert_null(strstr(err.text, "mirror"));
}

static void too_little_is_refused(void **state)
{
        (void)state;
        struct frame f;
        struct tp_error err;
        struct mark line[3] = {{0, 0, 0, 0}, {1000, 500, 1000, 500}, {3000, 1500, 3000, 1500}}, same[2] = {{5, 5, 6, 6}, {5, 5, 6, 6}},
                    odd[1] = {{0, NAN, 0, 0}};
        const struct {
                enum frame_kind kind;
                size_t n;
                const struct mark *m;
                const char *says;
        } cases[] = {{FRAME_TRANSLATION, 0, line, "too few"},  {FRAME_RIGID, 1, line, "too few"},
                     {FRAME_AFFINE, 2, line, "too few"},       {FRAME_AFFINE, 3, line, "one line"},
                     {FRAME_SIMILARITY, 2, same, "one place"}, {FRAME_TRANSLATION, 1, odd, "mark 1"}};
        for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
                assert_int_equal(frame_fit(cases[i].kind, cases[i].n, cases[i].m, FRAME_LIMIT_UM, &f, &err), CODE_BAD_INPUT);
                if (!strstr(err.text, cases[i].says))
                        fail_msg("case %zu: %s", i, err.text);
        }
        assert_int_equal(frame_fit(FRAME_TRANSLATION, 1, same, FRAME_LIMIT_UM, &f, &err), CODE_OK);
        assert_float_equal(f.tx_um, 1, 1e-15);
}

static void silicon_as_published(void **state)
{
        (void)state;
        for (size_t i = 0; i < row_n; i++) {
                double k, is = NAN, within = 0;
                if (sscanf(rows[i].key, "alpha_at_%lf", &k) == 1)
                        is = silicon_expansion_per_k(k), within = 1e-20;
                else if (sscanf(rows[i].key, "to_%lf", &k) == 1)
                        is = silicon_growth_um(300e3, 296.15, k), within = 1e-12;
                else
                        continue;
                rows[i].seen = true;
                if (!(fabs(is - rows[i].value) <= within))
                        fail_msg("%s %s: %.17g, wanted %.17g", rows[i].at, rows[i].key, is, rows[i].value);
        }
        assert_true(isnan(silicon_expansion_per_k(77)) && isnan(silicon_growth_um(1, 300, 1600)));
}

static void no_row_is_left(void **state)
{
        (void)state;
        assert_int_equal(row_n, 97);
        for (size_t i = 0; i < row_n; i++)
                if (!rows[i].seen)
                        fail_msg("%s %s is compared by nothing", rows[i].at, rows[i].key);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(umeyamas_example),      cmocka_unit_test(a_stage_with_two_scales_and_a_skew),
                                           cmocka_unit_test(marks_with_noise),      cmocka_unit_test(a_mirror_is_refused_and_named),
                                           cmocka_unit_test(one_bad_mark_is_named), cmocka_unit_test(too_little_is_refused),
                                           cmocka_unit_test(silicon_as_published),  cmocka_unit_test(no_row_is_left)};
        return cmocka_run_group_tests(tests, read_rows, NULL);
}
