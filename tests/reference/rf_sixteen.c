/* cal_16term.json: sixteen terms from eight standards, from the two sets of five that work, and sets that do not.  The raw data come from
   the wave equations of a four-port error network with leakage of -70 dB (70 kHz) to -30 dB (220 GHz) and switch terms. */
#include "rf_check.h"
#include "rf/calibrate/calibration.h"
#include "rf/correct/correct_full.h"

/* 1e-10: condition numbers of 9 to 60 times a few hundred roundings of 1e-16, with a margin of 1e3 for compilers. */
#define TOL 1e-10

static const char *const all[] = {"thru",       "open_short", "short_open",  "load_load", "open_load",
                                  "load_short", "open_open",  "short_short", NULL};
static const char *const five_a[] = {"thru", "open_short", "short_open", "load_load", "open_load", NULL};
static const char *const five_b[] = {"thru", "open_open", "short_short", "load_load", "open_short", NULL};

struct file {
        struct arena *arena;
        cJSON *json;
        struct axis *axis;
        struct switch_terms *sw;
        struct rf_standard standards[RF_STANDARD_MAX];
        struct problem problem;
};
static void open_file(struct file *f)
{
        f->arena = arena_new(0);
        f->json = check_json("cal_16term.json");
        f->axis = check_axis(f->json, f->arena);
        f->sw = check_switch(f->json, f->axis, f->arena);
}
static void close_file(struct file *f)
{
        cJSON_Delete(f->json);
        arena_free(f->arena);
}
static struct problem *use(struct file *f, const char *const *names, double u)
{
        size_t n = 0;
        for (; names[n]; n++) {
                char path[64];
                struct rf_standard *s = &f->standards[n];
                *s = (struct rf_standard){.name = names[n], .kind = strcmp(names[n], "thru") ? RF_KNOWN : RF_THRU, .u_ideal = u};
                snprintf(path, sizeof path, "standards/%s/raw", names[n]);
                s->raw = check_net(check_at(f->json, path), f->axis, PLANE_RECEIVER, f->arena);
                snprintf(path, sizeof path, "standards/%s/ideal", names[n]);
                s->ideal = check_net(check_at(f->json, path), f->axis, PLANE_TIP, f->arena);
        }
        f->problem = (struct problem){.axis = f->axis, .standards = f->standards, .standard_n = n, .switch_terms = f->sw};
        return &f->problem;
}

static void terms_and_devices(struct file *f, const struct solved *s)
{
        const cJSON *e = check_at(f->json, "E")->child;
        for (size_t i = 0; i < f->axis->n; i++, e = e->next) {
                double complex network[16];
                struct full want, got = full_get(&s->terms, i);
                const cJSON *entry = e->child;
                for (int k = 0; k < 16; k++, entry = entry->next)
                        network[k] = check_complex(entry);
                assert_true(full_from_network(network, &want));
                double hz = f->axis->hz[i];
                check_close_m2("T1", hz, got.t1, want.t1, TOL);
                check_close_m2("T2", hz, got.t2, want.t2, TOL);
                check_close_m2("T3", hz, got.t3, want.t3, TOL);
                check_close_m2("T4", hz, got.t4, want.t4, TOL);
                assert_true(s->terms.full_re[FULL_T4][i] == 1 && s->terms.full_im[FULL_T4][i] == 0);
                /* the eight-term view: the diagonal of the same network */
                check_close("EDF", hz, CMPLX(s->terms.re[TERM_EDF][i], s->terms.im[TERM_EDF][i]), network[0], TOL);
                check_close("ERR", hz, CMPLX(s->terms.re[TERM_ERR][i], s->terms.im[TERM_ERR][i]), network[7] * network[13], TOL);
                check_close("K", hz, CMPLX(s->terms.re[TERM_K][i], s->terms.im[TERM_K][i]), network[8] / network[13], TOL);
                double db = 20 * log10(s->diagnosis.leakage[i]); /* -70 … -30 dB by the file's header, beside tracking losses of some dB */
                assert_true(db > -75 && db < -20);
        }
        for (const cJSON *dut = check_at(f->json, "dut")->child; dut; dut = dut->next) {
                struct net2 *raw = check_net(check_at(dut, "raw"), f->axis, PLANE_RECEIVER, f->arena),
                            *want = check_net(check_at(dut, "true"), f->axis, PLANE_TIP, f->arena);
                struct net2 *out = net_new(f->axis, PLANE_UNKNOWN, f->arena), *back = net_new(f->axis, PLANE_UNKNOWN, f->arena);
                assert_int_equal(rf_correct2(&s->terms, raw, f->sw, out, NULL), CODE_OK);
                assert_int_equal(out->plane, PLANE_TIP);
                assert_int_equal(rf_embed2(&s->terms, out, f->sw, back, NULL), CODE_OK);
                for (size_t i = 0; i < f->axis->n; i++) {
                        check_close_m2(dut->string, f->axis->hz[i], net2_get(out, i), net2_get(want, i), TOL);
                        check_close_m2("embedded again", f->axis->hz[i], net2_get(back, i), net2_get(raw, i), TOL);
                        struct m2 m = rf_switch_remove_point(net2_get(raw, i), CMPLX(f->sw->f_re[i], f->sw->f_im[i]),
                                                             CMPLX(f->sw->r_re[i], f->sw->r_im[i]));
                        check_close_m2("one point", f->axis->hz[i], rf_correct2_point(&s->terms, i, m), net2_get(out, i), 1e-14);
                }
                struct tp_error err = {0};
                assert_int_equal(rf_correct2(&s->terms, raw, NULL, out, &err), CODE_BAD_INPUT);
                assert_non_null(strstr(err.text, "switch terms"));
                assert_int_equal(rf_correct2(&s->terms, raw, f->sw, raw, NULL), CODE_OK); /* in place: the same bytes */
                for (int k = 0; k < 4; k++)
                        assert_memory_equal(raw->re[k], out->re[k], f->axis->n * sizeof(double));
        }
}

static void sets_that_work(void **state)
{
        (void)state;
        struct file f;
        open_file(&f);
        const char *const *const sets[] = {all, five_a, five_b};
        for (size_t k = 0; k < 3; k++)
                for (int weighted = 0; weighted < 2; weighted++) {
                        struct solved *s = solve_in(f.arena, "sixteen_term", use(&f, sets[k], weighted ? 0.005 : 0), NULL);
                        if (s->code)
                                fail_msg("set %zu: %s", k, s->err.text);
                        assert_int_equal(s->terms.model, TERMS_SIXTEEN);
                        assert_string_equal(s->terms.method, "sixteen_term");
                        for (size_t i = 0; i < f.axis->n; i++) {
                                double c = s->diagnosis.condition[i]; /* judged: 9 to 60; weights of the rows move it a little */
                                if (!(c > 1 && c < (weighted ? 200 : 62)) || !(s->diagnosis.consistency[i] < 1e-13))
                                        fail_msg("set %zu at %.6g Hz: condition %.4g, consistency %.3g", k, f.axis->hz[i], c,
                                                 s->diagnosis.consistency[i]);
                                assert_true(s->diagnosis.residual_worst[i] < 1e-12);
                        }
                        assert_int_equal(s->diagnosis.warning_n, 0);
                        terms_and_devices(&f, s);
                }
        close_file(&f);
}

/* A set that cannot work is refused, and the sentence names a standard that helps: with it the set works. */
static void a_set_that_does_not(void **state)
{
        (void)state;
        struct file f;
        open_file(&f);
        static const char *const bad[] = {"thru", "thru", "open_short", "short_open", "load_load", NULL};
        static const char *const no_thru[] = {"open_short", "short_open", "load_load", "open_load", "open_open", "short_short", NULL};
        static const char *const four[] = {"thru", "open_short", "short_open", "load_load", NULL};
        struct solved *s = solve_in(f.arena, "sixteen_term", use(&f, bad, 0), NULL);
        assert_int_equal(s->code, CODE_UNRESOLVABLE);
        assert_non_null(strstr(s->err.text, "add "));
        s = solve_in(f.arena, "sixteen_term", use(&f, no_thru, 0), NULL);
        assert_int_equal(s->code, CODE_UNRESOLVABLE);
        assert_non_null(strstr(s->err.text, "add a thru"));
        s = solve_in(f.arena, "sixteen_term", use(&f, four, 0), NULL);
        assert_int_equal(s->code, CODE_BAD_INPUT);
        assert_non_null(strstr(s->err.text, "needs 5"));
        close_file(&f);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(sets_that_work), cmocka_unit_test(a_set_that_does_not)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
