/* Standards as a recipe may give them, through the whole solution: every two-port method of the table, data instead of a model, a load
   trimmed by its DC reading and warm, something else at port 2. */
#include "evaluate_bench.h"
#include "rf/calibrate/calibration.h"

static const double line_um[] = {200, 450, 900, 2100};
static double complex line_gamma(double hz) { return CMPLX(12 * sqrt(hz / 1e11), TWO_PI * hz * sqrt(5.2) / 299792458.0); }
static struct chain_matrix line_chain(double hz, const void *what) { return line(line_gamma(hz) * *(const double *)what * 1e-6, 55); }

/* Two reflections that need not be alike. */
struct two {
        struct standard port[2];
};
static double complex two_z(double hz, int port, const void *what)
{
        struct placed p = {&((const struct two *)what)->port[port], NULL};
        return reflection_z(hz, port, &p);
}

struct given {
        struct bench *b;
        struct standard standards[16], is[16]; /* as the recipe says, and as they are */
        struct use uses[16];
        size_t n;
};

static struct given *given_new(const char *method)
{
        struct given *g = calloc(1, sizeof *g);
        g->b = bench_new(method);
        g->b->recipe.standards = g->standards;
        g->b->recipe.calibration.standards = g->uses;
        g->b->recipe.calibration.reflect_estimate = -1;
        g->b->recipe.calibration.eps_eff = 5;
        g->b->recipe.calibration.line_z_ohm = 55;
        g->b->recipe.calibration.plane = PLANE_BY_METHOD;
        return g;
}
static void given_free(struct given *g)
{
        bench_free(g->b);
        free(g);
}
static struct standard *give(struct given *g, const char *name, int kind)
{
        struct standard *s = &g->standards[g->n];
        *s = (struct standard){.kind = kind, .place = PLACE_SUBSTRATE, .model = {.z_ohm = 50, .t_ref_c = 25, .dc_at_c = 25}};
        snprintf(s->name, sizeof s->name, "%s", name);
        snprintf(g->uses[g->n].standard, sizeof g->uses[0].standard, "%s", name);
        s->model.c_f[0] = kind == STANDARD_OPEN ? -6.5e-15 : 0;
        s->model.l_h[0] = kind == STANDARD_SHORT ? 4e-12 : kind == STANDARD_LOAD ? 6e-12 : 0;
        s->model.r_ohm = kind == STANDARD_LOAD ? 50 : 0;
        s->model.delay_s = kind == STANDARD_THRU ? 1.45e-12 : 0;
        g->n++;
        return s;
}

static enum code given_solve(struct given *g, struct calibration **ret, struct tp_error *err)
{
        struct raw_sweep *raw = arena_take(g->b->arena, g->n * sizeof *raw);
        struct standard_sweep of[16];
        g->b->recipe.standard_n = g->b->recipe.calibration.standard_n = g->n;
        for (size_t k = 0; k < g->n; k++) {
                struct standard is = g->is[k].kind ? g->is[k] : g->standards[k];
                struct placed p = {&is, NULL};
                struct two two = {{is, is}};
                if (is.has_port_2) {
                        two.port[1].kind = is.port_2.kind;
                        two.port[1].model = is.port_2.model;
                }
                raw[k] = is.kind == STANDARD_THRU   ? bench_two_port(g->b, thru_chain, &p)
                         : is.kind == STANDARD_LINE ? bench_two_port(g->b, line_chain, &is.model.length_um)
                                                    : bench_reflections(g->b, two_z, &two);
                of[k] = (struct standard_sweep){(int)k, &raw[k]};
        }
        return calibration_solve(&g->b->recipe, of, g->n, g->b->arena, ret, NULL, err);
}

static double far_from_truth(struct given *g, const struct calibration *c)
{
        const struct dut d = {DUT_RESISTOR, 300, 30e-12, 0, NULL, false};
        struct raw_sweep raw = bench_device(g->b, &d);
        struct chain_question q = {.recipe = &g->b->recipe, .measure = &g->b->measures[0], .calibration = c, .raw = &raw};
        struct tp_error err = {0};
        double *re[4], *im[4], worst = 0;
        if (chain_network(&q, false, g->b->arena, re, im, &err))
                fail_msg("%s", err.text);
        for (size_t i = 0; i < BENCH_POINTS; i++) {
                double complex want[4];
                s_of(dut_chain(g->b->hz[i], &d), want);
                for (int k = 0; k < 4; k++)
                        worst = fmax(worst, cabs(CMPLX(re[k][i], im[k][i]) - want[k]));
        }
        return worst;
}

/* Gives what the method wants, by its needs. */
static struct given *given_for(const struct method *m)
{
        struct given *g = given_new(m->word);
        bool lines = false;
        for (size_t k = 0; k < m->need_n; k++)
                lines = lines || (m->needs[k].kind == RF_LINE && m->needs[k].least);
        if (lines) {
                size_t n = strcmp(m->word, "trl") == 0 ? 2 : 4;
                for (size_t k = 0; k < n; k++) {
                        char name[16];
                        snprintf(name, sizeof name, "LINE%zu", k);
                        give(g, name, STANDARD_LINE)->model.length_um = line_um[k];
                }
                give(g, "SHORT", STANDARD_SHORT);
                g->b->recipe.calibration.plane = PLANE_AT_TIPS;
                return g;
        }
        if (strcmp(m->word, "lrm") != 0)
                give(g, "OPEN", STANDARD_OPEN);
        give(g, "SHORT", STANDARD_SHORT);
        give(g, "LOAD", STANDARD_LOAD);
        give(g, "THRU", STANDARD_THRU);
        if (m->terms == 16) { /* an open with a short beside it, and the other way round, and a load with an open */
                struct standard *s = give(g, "OPEN_SHORT", STANDARD_OPEN);
                s->has_port_2 = true;
                s->port_2 = (struct standard_end){STANDARD_SHORT, {.l_h = {4e-12}, .z_ohm = 50}};
                s = give(g, "SHORT_OPEN", STANDARD_SHORT);
                s->has_port_2 = true;
                s->port_2 = (struct standard_end){STANDARD_OPEN, {.c_f = {-6.5e-15}, .z_ohm = 50}};
                s = give(g, "LOAD_OPEN", STANDARD_LOAD);
                s->has_port_2 = true;
                s->port_2 = (struct standard_end){STANDARD_OPEN, {.c_f = {-6.5e-15}, .z_ohm = 50}};
        }
        return g;
}

static void every_two_port_method_of_the_table_returns_the_device(void **state)
{
        (void)state;
        size_t solved = 0;
        for (size_t k = 0; k < rf_method_n; k++) {
                const struct method *m = &rf_methods[k];
                struct tp_error err = {0};
                struct calibration *c;
                if (m->ports != 2)
                        continue;
                struct given *g = given_for(m);
                if (given_solve(g, &c, &err))
                        fail_msg("%s: %s", m->word, err.text);
                assert_string_equal(calibration_plane(c), "tip");
                double worst = far_from_truth(g, c),
                       most = strcmp(m->word, "lrrm") == 0 ? 1e-6 : 1e-8; /* lrrm finds its match's L by iteration */
                if (!(worst < most))
                        fail_msg("%s: %.3g off", m->word, worst);
                struct text bytes; /* and what is kept of it corrects alike */
                struct calibration *again;
                text_init(&bytes, 0);
                calibration_bytes(c, &bytes);
                if (calibration_read(bytes.at, bytes.n, g->b->arena, &again, &err))
                        fail_msg("%s: %s", m->word, err.text);
                assert_true(far_from_truth(g, again) == worst);
                text_done(&bytes);
                given_free(g);
                solved++;
        }
        assert_true(solved >= 8);
}

static struct given *simple(void)
{
        struct given *g = given_new("unknown_thru");
        give(g, "OPEN", STANDARD_OPEN);
        give(g, "SHORT", STANDARD_SHORT);
        give(g, "LOAD", STANDARD_LOAD);
        give(g, "THRU", STANDARD_THRU);
        return g;
}

static void a_load_is_trimmed_by_its_dc_reading(void **state)
{
        (void)state;
        struct tp_error err = {0};
        struct calibration *c;
        struct given *g = simple();
        g->is[2] = g->standards[2];
        g->is[2].model.r_ohm = 50.4;
        if (given_solve(g, &c, &err))
                fail_msg("%s", err.text);
        double wrong = far_from_truth(g, c);
        assert_true(wrong > 1e-3); /* believed to be 50 ohm */
        g->standards[2].model.dc_ohm = 50.4;
        assert_int_equal(given_solve(g, &c, &err), CODE_OK);
        assert_true(far_from_truth(g, c) < 1e-11);
        /* at 125 degrees, with 80 ppm/K, read cold */
        g->is[2].model.r_ohm = 50.4 * (1 + 80e-6 * 100);
        g->standards[2].model.r_per_k = 80e-6;
        g->b->recipe.setup.temperature_c = 125;
        assert_int_equal(given_solve(g, &c, &err), CODE_OK);
        assert_true(far_from_truth(g, c) < 1e-11);
        g->standards[2].model.dc_ohm = 80; /* not this load */
        assert_int_equal(given_solve(g, &c, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "80 ohm at DC"));
        given_free(g);
}

static void data_stand_in_for_a_model(void **state)
{
        (void)state;
        struct tp_error err = {0};
        struct calibration *c;
        struct given *g = simple();
        static struct standard_row rows[401];
        for (size_t i = 0; i < 401; i++) { /* a finer list of its own, in 75 ohm */
                double hz = i == 0 ? 5e7 : 112e9 * (double)i / 400, w = TWO_PI * hz;
                double complex z = J * w * 4e-12, s = (z - 75) / (z + 75);
                rows[i] = (struct standard_row){.hz = hz, .s11 = {creal(s), cimag(s)}};
        }
        g->is[1] = g->standards[1];
        g->standards[1].model.l_h[0] = 40e-12; /* the model, if it were believed, would be wrong */
        g->standards[1].data = rows;
        g->standards[1].data_n = 401;
        g->standards[1].data_z_ohm = 75;
        if (given_solve(g, &c, &err))
                fail_msg("%s", err.text);
        double worst = far_from_truth(g, c);
        if (!(worst < 1e-7))
                fail_msg("%.3g off", worst);
        g->standards[1].data_n = 300; /* to 84 GHz */
        assert_int_equal(given_solve(g, &c, &err), CODE_BAD_INPUT);
        assert_true(strstr(err.text, "standard SHORT") && strstr(err.text, "nothing is extrapolated"));
        given_free(g);
}

static void one_row_of_data_is_what_all_rows_say(void **state)
{
        (void)state;
        struct tp_error err = {0};
        struct given *g = simple();
        struct calibration *c;
        static struct standard_row rows[60];
        for (size_t i = 0; i < 60; i++) { /* coarse: the parabolas matter */
                double hz = i == 0 ? 1e8 : 110e9 * (double)i / 59, w = TWO_PI * hz;
                double complex y = J * w * -6.5e-15, s = (1 - 50 * y) / (1 + 50 * y);
                rows[i] = (struct standard_row){.hz = hz, .s11 = {creal(s), cimag(s)}, .s22 = {creal(s), cimag(s)}, .has_s22 = true};
        }
        g->standards[0].data = rows;
        g->standards[0].data_n = 60;
        g->standards[0].data_z_ohm = 50;
        if (given_solve(g, &c, &err))
                fail_msg("%s", err.text);
        /* verified on the same data, frequency by frequency: nothing but rounding lies between */
        struct verification v = {.standard = "OPEN", .limit = 1e-9};
        struct raw_sweep raw = bench_reflections(g->b, reflection_z, &(struct placed){&g->standards[0], NULL});
        struct standard_sweep of = {0, &raw};
        bool accepted;
        double worst;
        char sentence[200];
        g->b->recipe.calibration.verify = &v;
        g->b->recipe.calibration.verify_n = 1;
        assert_int_equal(calibration_verify(&g->b->recipe, c, &of, 1, g->b->arena, &accepted, &worst, sentence, &err), CODE_OK);
        assert_true(accepted && worst < 1e-12);
        given_free(g);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(every_two_port_method_of_the_table_returns_the_device),
                                           cmocka_unit_test(a_load_is_trimmed_by_its_dc_reading),
                                           cmocka_unit_test(data_stand_in_for_a_model),
                                           cmocka_unit_test(one_row_of_data_is_what_all_rows_say)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
