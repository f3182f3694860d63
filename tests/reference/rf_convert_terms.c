/* error-models.json: eight terms with switch terms, the equivalent twelve and raw data of two devices, from the wave equations (60 digits).
 */
#include "rf_check.h"
#include "rf/correct/convert_terms.h"

#define TOL 1e-11 /* algebra: a few dozen roundings of numbers near 1 */

struct file {
        struct arena *arena;
        cJSON *json;
        struct axis *axis;
        struct switch_terms *sw;
        struct terms eight, twelve;
};
static struct terms terms_new(struct file *f) { return terms_at(arena_take(f->arena, terms_bytes(f->axis->n)), f->axis); }
static void put(struct terms *t, int k, size_t i, double complex x)
{
        t->re[k][i] = creal(x);
        t->im[k][i] = cimag(x);
}
static double complex at(const struct terms *t, int k, size_t i) { return CMPLX(t->re[k][i], t->im[k][i]); }

static void open_file(struct file *f)
{
        f->arena = arena_new(0);
        f->json = check_json("error-models.json");
        f->axis = check_axis(f->json, f->arena);
        f->sw = check_switch(f->json, f->axis, f->arena);
        f->eight = terms_new(f);
        f->twelve = terms_new(f);
        const cJSON *k = check_at(f->json, "k")->child;
        for (size_t i = 0; i < f->axis->n; i++, k = k->next)
                put(&f->eight, TERM_K, i, check_complex(k));
        for (int t = 0; t < TERM_COUNT; t++) {
                char path[64];
                if (t == TERM_K)
                        continue;
                snprintf(path, sizeof path, "twelve_term/%s", term_words[t]);
                const cJSON *e = check_at(f->json, path)->child;
                for (size_t i = 0; i < f->axis->n; i++, e = e->next) {
                        put(&f->twelve, t, i, check_complex(e));
                        if (t < TERM_K)
                                put(&f->eight, t, i, check_complex(e));
                }
        }
        f->eight.method = f->twelve.method = "unknown_thru";
        f->eight.model = TERMS_EIGHT;
        f->twelve.model = TERMS_TWELVE;
        f->eight.plane = f->twelve.plane = PLANE_TIP;
        f->eight.switch_removed = true;
        assert_int_equal(rf_terms_complete(&f->eight, NULL), CODE_OK);
        assert_int_equal(rf_terms_complete(&f->twelve, NULL), CODE_OK);
        for (size_t i = 0; i < f->axis->n; i++) {
                f->eight.z_re[i] = f->twelve.z_re[i] = 50;
                f->eight.z_im[i] = f->twelve.z_im[i] = 0;
                check_close("K of twelve terms", f->axis->hz[i], at(&f->twelve, TERM_K, i), at(&f->eight, TERM_K, i), TOL);
        }
}
static void same(const struct file *f, const struct terms *got, const struct terms *want)
{
        assert_int_equal(got->model, want->model);
        assert_int_equal(got->plane, want->plane);
        assert_int_equal(got->switch_removed, want->switch_removed);
        assert_string_equal(got->method, want->method);
        for (int t = 0; t < TERM_COUNT; t++)
                for (size_t i = 0; i < f->axis->n; i++) {
                        check_close(term_words[t], f->axis->hz[i], at(got, t, i), at(want, t, i), TOL);
                        assert_true(got->z_re[i] == 50 && got->z_im[i] == 0);
                }
}
/* All three models must correct the file's raw data to the file's truth. */
static void corrects(const struct file *f, const struct terms *terms, const struct switch_terms *sw)
{
        for (const cJSON *dut = check_at(f->json, "dut")->child; dut; dut = dut->next) {
                struct net2 *raw = check_net(check_at(dut, "raw"), f->axis, PLANE_RECEIVER, f->arena),
                            *want = check_net(check_at(dut, "true"), f->axis, PLANE_TIP, f->arena), *got = net_new(f->axis, 0, f->arena);
                struct tp_error err = {0};
                if (rf_correct2(terms, raw, sw, got, &err))
                        fail_msg("%s", err.text);
                for (size_t i = 0; i < f->axis->n; i++)
                        check_close_m2(dut->string, f->axis->hz[i], net2_get(got, i), net2_get(want, i), TOL);
        }
}

static void eight_and_twelve(void **state)
{
        (void)state;
        struct file f;
        open_file(&f);
        struct terms out = terms_new(&f), back = terms_new(&f);
        struct switch_terms sw = switch_terms_at(arena_take(f.arena, switch_terms_bytes(f.axis->n)), f.axis);
        double *k = arena_take(f.arena, f.axis->n * sizeof *k);
        assert_int_equal(rf_terms_twelve_from_eight(&f.eight, f.sw, &out, NULL), CODE_OK);
        same(&f, &out, &f.twelve);
        corrects(&f, &out, NULL);
        assert_int_equal(rf_terms_eight_from_twelve(&f.twelve, &back, &sw, k, NULL), CODE_OK);
        same(&f, &back, &f.eight);
        corrects(&f, &back, &sw);
        for (size_t i = 0; i < f.axis->n; i++) {
                check_close("GF", f.axis->hz[i], CMPLX(sw.f_re[i], sw.f_im[i]), CMPLX(f.sw->f_re[i], f.sw->f_im[i]), TOL);
                check_close("GR", f.axis->hz[i], CMPLX(sw.r_re[i], sw.r_im[i]), CMPLX(f.sw->r_re[i], f.sw->r_im[i]), TOL);
                assert_true(k[i] < TOL);
                put(&f.twelve, TERM_ETF, i, at(&f.twelve, TERM_ETF, i) * 1.02);
        }
        assert_int_equal(rf_terms_eight_from_twelve(&f.twelve, &back, &sw, k, NULL), CODE_OK);
        for (size_t i = 0; i < f.axis->n; i++) {
                assert_true(fabs(k[i] - 0.02) < TOL); /* one direction's tracking is 2 % wrong: the two ratios say so */
                check_close("mean K", f.axis->hz[i], at(&back, TERM_K, i), 1.01 * at(&f.eight, TERM_K, i), TOL);
        }
        cJSON_Delete(f.json);
        arena_free(f.arena);
}

static void eight_and_sixteen(void **state)
{
        (void)state;
        struct file f;
        open_file(&f);
        struct terms full = terms_new(&f), back = terms_new(&f);
        double *leakage = arena_take(f.arena, f.axis->n * sizeof *leakage);
        assert_int_equal(rf_terms_sixteen_from_eight(&f.eight, &full, NULL), CODE_OK);
        corrects(&f, &full, f.sw);
        assert_int_equal(rf_terms_eight_from_sixteen(&full, &back, leakage, NULL), CODE_OK);
        same(&f, &back, &f.eight);
        for (size_t i = 0; i < f.axis->n; i++)
                assert_true(leakage[i] == 0);
        /* any scale of the blocks is the same error network */
        for (int k = 0; k < FULL_COUNT; k++)
                for (size_t i = 0; i < f.axis->n; i++) {
                        double complex x = CMPLX(full.full_re[k][i], full.full_im[k][i]) * CMPLX(0.3, -2);
                        full.full_re[k][i] = creal(x);
                        full.full_im[k][i] = cimag(x);
                }
        assert_int_equal(rf_terms_complete(&full, NULL), CODE_OK);
        assert_true(full.full_re[FULL_T4][0] == 1);
        corrects(&f, &full, f.sw);
        assert_int_equal(rf_terms_eight_from_sixteen(&full, &back, NULL, NULL), CODE_OK);
        same(&f, &back, &f.eight);
        cJSON_Delete(f.json);
        arena_free(f.arena);
}

static void refused(enum code code, const struct tp_error *err, const char *word)
{
        assert_int_equal(code, CODE_BAD_INPUT);
        if (!strstr(err->text, word))
                fail_msg("\"%s\" does not say \"%s\"", err->text, word);
}
static void what_has_no_other_form(void **state)
{
        (void)state;
        struct file f;
        open_file(&f);
        struct terms out = terms_new(&f);
        struct switch_terms sw = switch_terms_at(arena_take(f.arena, switch_terms_bytes(f.axis->n)), f.axis);
        struct tp_error err = {0};
        refused(rf_terms_twelve_from_eight(&f.eight, NULL, &out, &err), &err, "give the switch terms");
        refused(rf_terms_twelve_from_eight(&f.twelve, f.sw, &out, &err), &err, "starts from eight");
        refused(rf_terms_eight_from_twelve(&f.eight, &out, &sw, NULL, &err), &err, "starts from twelve");
        refused(rf_terms_sixteen_from_eight(&f.twelve, &out, &err), &err, "starts from eight");
        refused(rf_terms_eight_from_sixteen(&f.eight, &out, NULL, &err), &err, "starts from sixteen");
        assert_int_equal(rf_terms_twelve_from_eight(&f.eight, f.sw, &f.eight, &err), CODE_BUG);
        f.twelve.re[TERM_EXF][3] = 1e-4;
        refused(rf_terms_eight_from_twelve(&f.twelve, &out, &sw, NULL, &err), &err, "isolation of 0.0001");
        f.twelve.re[TERM_EXF][3] = 0;
        put(&f.twelve, TERM_ETR, 2, 0);
        refused(rf_terms_eight_from_twelve(&f.twelve, &out, &sw, NULL, &err), &err, "tracking is 0");
        put(&f.eight, TERM_K, 2, 0);
        refused(rf_terms_twelve_from_eight(&f.eight, f.sw, &out, &err), &err, "no twelve-term form");
        f.eight.model = TERMS_SIXTEEN;
        f.eight.full_re[FULL_T4][0] = f.eight.full_im[FULL_T4][0] = 0;
        refused(rf_terms_complete(&f.eight, &err), &err, "T4_11");
        /* NaN goes through and is not refused */
        put(&f.twelve, TERM_ETR, 2, CMPLX(NAN, NAN));
        assert_int_equal(rf_terms_eight_from_twelve(&f.twelve, &out, &sw, NULL, &err), CODE_OK);
        assert_true(isnan(out.re[TERM_K][2]) && !isnan(out.re[TERM_K][1]));
        cJSON_Delete(f.json);
        arena_free(f.arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(eight_and_twelve), cmocka_unit_test(eight_and_sixteen),
                                           cmocka_unit_test(what_has_no_other_form)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
