/* A calibration of bands, from its standards to a corrected device: lumped standards below, lines above, joined; planes at the tips and 50
   ohm throughout.  Raw data are chain matrices (evaluate_bench.h). */
#include "evaluate_bench.h"
#undef I
#include "evaluate/chain.h"

enum { L0 = 7, L1, L2, L3, L_OWN, STANDARDS };
static const double line_um[] = {200, 450, 900, 2100, 1500};

/* gamma with skin loss, 55 ohm. */
static double complex line_gamma(double hz) { return CMPLX(12 * sqrt(hz / 1e11), TWO_PI * hz * sqrt(5.2) / 299792458.0); }
static struct chain_matrix line_chain(double hz, const void *what) { return line(line_gamma(hz) * *(const double *)what * 1e-6, 55); }

struct joined_bench {
        struct bench *b;
        struct standard standards[STANDARDS];
        struct use uses[STANDARDS], low[4], high[5];
        struct band_plan bands[2];
        double load_error_ohm; /* of the load that is there, against its model */
        struct calibration *c;
        struct text diagnosis;
};

static struct joined_bench *joined_new(double noise)
{
        struct joined_bench *j = calloc(1, sizeof *j);
        j->b = bench_new("");
        j->b->noise = noise;
        memcpy(j->standards, j->b->standards, 7 * sizeof *j->standards);
        for (int k = 0; k < 5; k++) {
                struct standard *s = &j->standards[L0 + k];
                *s = (struct standard){.kind = STANDARD_LINE, .place = PLACE_SUBSTRATE, .model = {.length_um = line_um[k], .z_ohm = 50}};
                snprintf(s->name, sizeof s->name, "LINE_%.0f", line_um[k]);
        }
        struct calibration_plan *c = &j->b->recipe.calibration;
        j->b->recipe.standards = j->standards;
        j->b->recipe.standard_n = STANDARDS;
        static const int low[] = {OPEN_AIR, SHORT_A, LOAD_A, THRU_A}, high[] = {L0, L1, L2, L3, SHORT_A};
        for (int k = 0; k < 4; k++) {
                strcpy(j->low[k].standard, j->standards[low[k]].name);
                strcpy(j->uses[k].standard, j->standards[low[k]].name);
                strcpy(j->uses[4 + k].standard, j->standards[high[k]].name);
        }
        for (int k = 0; k < 5; k++)
                strcpy(j->high[k].standard, j->standards[high[k]].name);
        j->bands[0] = (struct band_plan){.method = "unknown_thru", .from_hz = 1e8, .to_hz = 20e9, .standards = j->low, .standard_n = 4};
        j->bands[1] = (struct band_plan){.method = "multiline_trl", .from_hz = 2e9, .to_hz = 110e9, .standards = j->high, .standard_n = 5};
        c->bands = j->bands;
        c->band_n = 2;
        c->standards = j->uses;
        c->standard_n = 8;
        c->eps_eff = 5;
        c->reflect_estimate = -1;
        c->line_z_ohm = 55;
        c->verify_n = 0;
        text_init(&j->diagnosis, 0);
        return j;
}

static void joined_free(struct joined_bench *j)
{
        text_done(&j->diagnosis);
        bench_free(j->b);
        free(j);
}

static enum code joined_solve(struct joined_bench *j, struct tp_error *err)
{
        static const int which[] = {OPEN_AIR, SHORT_A, LOAD_A, THRU_A, L0, L1, L2, L3};
        struct raw_sweep *raw = arena_take(j->b->arena, 8 * sizeof *raw);
        struct standard_sweep of[8];
        for (int k = 0; k < 8; k++) {
                struct standard is = j->standards[which[k]];
                struct placed p = {&is, NULL};
                if (which[k] == LOAD_A)
                        is.model.r_ohm += j->load_error_ohm;
                raw[k] = k >= 4               ? bench_two_port(j->b, line_chain, &line_um[k - 4])
                         : which[k] == THRU_A ? bench_two_port(j->b, thru_chain, &p)
                                              : bench_reflections(j->b, reflection_z, &p);
                of[k] = (struct standard_sweep){which[k], &raw[k]};
        }
        return calibration_solve(&j->b->recipe, of, 8, j->b->arena, &j->c, &j->diagnosis, err);
}

/* Largest distance of a corrected resistor from what it is; per frequency into far (may be NULL). */
static double far_from_truth(struct joined_bench *j, double far[BENCH_POINTS])
{
        const struct dut d = {DUT_RESISTOR, 300, 30e-12, 0, NULL, false}; /* much reflection, much transmission */
        struct raw_sweep raw = bench_device(j->b, &d);
        struct chain_question q = {.recipe = &j->b->recipe, .measure = &j->b->measures[0], .calibration = j->c, .raw = &raw};
        struct tp_error err = {0};
        double *re[4], *im[4], worst = 0;
        if (chain_network(&q, false, j->b->arena, re, im, &err))
                fail_msg("%s", err.text);
        for (size_t i = 0; i < BENCH_POINTS; i++) {
                double complex want[4];
                double here = 0;
                s_of(dut_chain(j->b->hz[i], &d), want);
                for (int k = 0; k < 4; k++)
                        here = fmax(here, cabs(CMPLX(re[k][i], im[k][i]) - want[k]));
                worst = fmax(worst, here);
                if (far)
                        far[i] = here;
        }
        return worst;
}

static void a_recipe_with_bands_returns_the_device(void **state)
{
        (void)state;
        struct joined_bench *j = joined_new(0);
        struct tp_error err = {0};
        if (joined_solve(j, &err))
                fail_msg("%s", err.text);
        assert_string_equal(calibration_plane(j->c), "tip");
        assert_true(calibration_z_ref(j->c) == 50);
        double worst = far_from_truth(j, NULL);
        if (!(worst < 1e-10))
                fail_msg("exact data: %.3g off", worst);
        const char *said = text_of(&j->diagnosis);
        assert_non_null(strstr(said, "\"method\":\"joined\""));
        const char *joint = strstr(said, "\"joints\":[{\"below\":\"unknown_thru\",\"above\":\"multiline_trl\",");
        assert_true(joint && strstr(joint, "\"from_hz\":2"));
        assert_non_null(strstr(said, "\"beyond\":false"));
        assert_non_null(strstr(said, "\"nstd\""));
        joined_free(j);
}

static void a_joined_calibration_read_back_is_the_same(void **state)
{
        (void)state;
        struct joined_bench *j = joined_new(0);
        struct tp_error err = {0};
        struct text bytes, twice;
        struct calibration *again;
        text_init(&bytes, 0);
        text_init(&twice, 0);
        assert_int_equal(joined_solve(j, &err), CODE_OK);
        calibration_bytes(j->c, &bytes);
        if (calibration_read(bytes.at, bytes.n, j->b->arena, &again, &err))
                fail_msg("%s", err.text);
        calibration_bytes(again, &twice);
        assert_int_equal(bytes.n, twice.n);
        assert_memory_equal(bytes.at, twice.at, bytes.n);
        j->c = again;
        assert_true(far_from_truth(j, NULL) < 1e-10);
        text_done(&bytes);
        text_done(&twice);
        joined_free(j);
}

static void noise_makes_no_step_where_bands_meet(void **state)
{
        (void)state;
        double far[BENCH_POINTS], far_high[BENCH_POINTS];
        struct joined_bench *j = joined_new(2e-4);
        struct tp_error err = {0};
        if (joined_solve(j, &err))
                fail_msg("%s", err.text);
        far_from_truth(j, far);
        assert_non_null(strstr(text_of(&j->diagnosis), "\"beyond\":false"));
        joined_free(j);
        /* lines alone, as the same recipe without bands, to compare with: at 0.1 and 0.5 GHz they know little */
        j = joined_new(2e-4);
        struct calibration_plan *c = &j->b->recipe.calibration;
        strcpy(c->method, "multiline_trl");
        c->band_n = 0;
        c->plane = PLANE_AT_TIPS;
        static const int which[] = {L0, L1, L2, L3, SHORT_A};
        struct raw_sweep raw[5];
        struct standard_sweep of[5];
        for (int k = 0; k < 5; k++) {
                raw[k] = k < 4 ? bench_two_port(j->b, line_chain, &line_um[k])
                               : bench_reflections(j->b, reflection_z, &(struct placed){&j->standards[SHORT_A], NULL});
                of[k] = (struct standard_sweep){which[k], &raw[k]};
        }
        if (calibration_solve(&j->b->recipe, of, 5, j->b->arena, &j->c, NULL, &err))
                fail_msg("%s", err.text);
        assert_string_equal(calibration_plane(j->c), "tip");
        far_from_truth(j, far_high);
        assert_true(far[0] < 2e-3);
        assert_true(far_high[0] > 10 * far[0]);
        for (size_t i = 0; i < BENCH_POINTS; i++) /* 2e-4 of noise, a few times through the correction */
                if (!(far[i] < 6e-3))
                        fail_msg("%.3g off at %.4g GHz", far[i], j->b->hz[i] / 1e9);
        joined_free(j);
}

static void a_wrong_load_is_said_at_the_joint(void **state)
{
        (void)state;
        struct joined_bench *j = joined_new(2e-5);
        struct tp_error err = {0};
        j->load_error_ohm = 2; /* 4 % */
        j->standards[LOAD_A].model.u_r_ohm = 0.1;
        if (joined_solve(j, &err))
                fail_msg("%s", err.text);
        const char *said = text_of(&j->diagnosis);
        assert_non_null(strstr(said, "\"beyond\":true"));
        assert_non_null(strstr(said, "unknown_thru from 0.1 to 20 GHz and multiline_trl from 2 to 110 GHz differ by up to 0.0"));
        joined_free(j);
}

static void what_cannot_be_joined_is_refused(void **state)
{
        (void)state;
        struct tp_error err = {0};
        struct joined_bench *j = joined_new(0);
        j->b->recipe.calibration.line_z_ohm = 0; /* the lines' own impedance, against 50 ohm */
        assert_int_equal(joined_solve(j, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "capacitance per metre"));
        joined_free(j);

        j = joined_new(0);
        j->bands[1].from_hz = 25e9;
        assert_int_equal(joined_solve(j, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "share no frequency"));
        joined_free(j);

        j = joined_new(0);
        j->b->recipe.calibration.reflect_estimate = +1; /* turns every reflection of the line band */
        assert_int_equal(joined_solve(j, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "opposite"));
        joined_free(j);

        j = joined_new(0);
        strcpy(j->high[3].standard, "SHORT_B");
        assert_int_equal(joined_solve(j, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "SHORT_B was not measured"));
        joined_free(j);
}

static void a_line_is_verified_in_ohms_above_and_by_its_delay_below(void **state)
{
        (void)state;
        struct joined_bench *j = joined_new(0);
        struct tp_error err = {0};
        struct verification v = {.standard = "LINE_1500", .limit = 0.01};
        bool accepted;
        double worst;
        char sentence[200];
        j->b->recipe.calibration.verify = &v;
        j->b->recipe.calibration.verify_n = 1;
        j->standards[L_OWN].model.z_ohm = 55; /* below the line band: the definition's, without loss */
        j->standards[L_OWN].model.delay_s = 1500e-6 * sqrt(5.2) / 299792458.0;
        if (joined_solve(j, &err))
                fail_msg("%s", err.text);
        struct raw_sweep raw = bench_two_port(j->b, line_chain, &line_um[4]);
        struct standard_sweep of = {L_OWN, &raw};
        assert_int_equal(calibration_verify(&j->b->recipe, j->c, &of, 1, j->b->arena, &accepted, &worst, sentence, &err), CODE_OK);
        assert_true(accepted);
        assert_true(worst < 0.005); /* the loss that the definition does not say, below 2 GHz */
        double other_um = 1550;
        raw = bench_two_port(j->b, line_chain, &other_um);
        assert_int_equal(calibration_verify(&j->b->recipe, j->c, &of, 1, j->b->arena, &accepted, &worst, sentence, &err), CODE_OK);
        assert_false(accepted);
        assert_true(worst > 0.2); /* 50 um at 110 GHz: 15 degrees */
        joined_free(j);
}

static void a_sweep_outside_the_domain_has_no_value(void **state)
{
        (void)state;
        struct joined_bench *j = joined_new(0);
        struct tp_error err = {0};
        struct text domain;
        double *re[4], *im[4];
        text_init(&domain, 0);
        strcpy(j->b->recipe.setup.name, "gsg75");
        j->b->segment.power_dbm = -20;
        if (joined_solve(j, &err))
                fail_msg("%s", err.text);
        calibration_domain_json(j->c, &domain);
        assert_non_null(strstr(text_of(&domain), "\"setup\":\"gsg75\""));
        assert_non_null(strstr(text_of(&domain), "\"to_hz\":110000000000"));
        const struct dut d = {DUT_RESISTOR, 300, 30e-12, 0, NULL, false};
        struct raw_sweep raw = bench_device(j->b, &d);
        struct chain_question q = {.recipe = &j->b->recipe, .measure = &j->b->measures[0], .calibration = j->c, .raw = &raw};
        assert_int_equal(chain_network(&q, false, j->b->arena, re, im, &err), CODE_OK);
        strcpy(j->b->recipe.setup.name, "gsg100");
        assert_int_equal(chain_network(&q, false, j->b->arena, re, im, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "gsg100"));
        strcpy(j->b->recipe.setup.name, "gsg75");
        j->b->segment.power_dbm = 0;
        assert_int_equal(chain_network(&q, false, j->b->arena, re, im, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "0 dBm"));
        j->b->segment.power_dbm = -20;
        j->b->recipe.setup.temperature_c = 85;
        assert_int_equal(chain_network(&q, false, j->b->arena, re, im, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "85"));
        text_done(&domain);
        joined_free(j);
}

/* L of a coil at a frequency that is the lines' alone, and its causes. */
static double line_number(struct joined_bench *j, struct cause_list *list)
{
        static const struct dut coil = {DUT_INDUCTOR, 5, 150e-12, 10e-15, NULL, false};
        struct raw_sweep raw = bench_device(j->b, &coil);
        struct measure own = j->b->measures[0];
        own.deembed = DEEMBED_NONE;
        struct chain_question q = {.recipe = &j->b->recipe, .measure = &own, .calibration = j->c, .raw = &raw};
        struct chain ch;
        struct tp_error err = {0};
        struct trio t;
        size_t at;
        double gain;
        assert_int_equal(chain_open(&q, j->b->arena, &ch, &err), CODE_OK);
        struct asked a = {.ch = &ch, .quantity = QUANTITY_L, .hz = 50e9, .view = VIEW_SERIES};
        assert_int_equal(chain_between(&ch, a.hz, &t, &at, &gain, &err), CODE_OK);
        causes_of(&a, &t, at, gain, list);
        return asked_value(&a, asked_z(&a, &t));
}
static double nth(const struct cause_list *list, const char *name, size_t n)
{
        for (size_t k = 0; k < list->n; k++)
                if (strcmp(list->name[k], name) == 0 && n-- == 0)
                        return list->dq[k];
        return 0;
}
static bool is_not_counted(const struct cause_list *list, const char *name)
{
        for (size_t k = 0; k < list->not_counted_n; k++)
                if (strcmp(list->not_counted[k], name) == 0)
                        return true;
        return false;
}

/* Lines told otherwise than they are: each length by itself, the impedance, the capacitance. */
static void what_is_told_of_lines_moves_numbers_as_foretold(void **state)
{
        (void)state;
        struct joined_bench *j = joined_new(0);
        struct calibration_plan *c = &j->b->recipe.calibration;
        struct tp_error err = {0};
        struct cause_list list, ignored;
        if (joined_solve(j, &err))
                fail_msg("%s", err.text);
        line_number(j, &list);
        assert_true(is_not_counted(&list, "line length") && is_not_counted(&list, "line Zc") && nth(&list, "line Zc", 0) == 0);
        for (int k = 0; k < 4; k++)
                j->standards[L0 + k].model.u_length_um = 0.1;
        c->line_z_ohm_u = 0.05;
        double value = line_number(j, &list);
        assert_true(!is_not_counted(&list, "line length") && !is_not_counted(&list, "line Zc"));
        for (int k = 0; k < 6; k++) {
                double *told = k < 4 ? &j->standards[L0 + k].model.length_um : &c->line_z_ohm, kept = *told;
                if (k < 5) {
                        *told += k < 4 ? 0.1 : 0.05;
                } else { /* by its capacitance instead, which is exactly that of 55 ohm without loss */
                        c->line_z_ohm = 0;
                        c->line_capacitance_f_m = sqrt(5.2) / 299792458.0 / 55;
                        c->line_capacitance_u_f_m = 1e-3 * c->line_capacitance_f_m;
                        if (joined_solve(j, &err))
                                fail_msg("%s", err.text);
                        value = line_number(j, &list);
                        c->line_capacitance_f_m += c->line_capacitance_u_f_m;
                }
                if (joined_solve(j, &err))
                        fail_msg("%s", err.text);
                double moved = line_number(j, &ignored) - value;
                double foretold = k < 4 ? nth(&list, "line length", (size_t)k) : nth(&list, k == 4 ? "line Zc" : "line C", 0);
                *told = kept;
                print_message("%s %d: moved by %.4g, foretold %.4g\n",
                              k < 4    ? "line length"
                              : k == 4 ? "line Zc"
                                       : "line C",
                              k, moved / value, foretold / value);
                if (!(fabs(fabs(moved) - fabs(foretold)) < 0.02 * fabs(moved) && fabs(moved) > 1e-7 * value))
                        fail_msg("%d: moved by %.6g, foretold %.6g", k, moved, foretold);
        }
        joined_free(j);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(a_recipe_with_bands_returns_the_device),
                                           cmocka_unit_test(a_joined_calibration_read_back_is_the_same),
                                           cmocka_unit_test(noise_makes_no_step_where_bands_meet),
                                           cmocka_unit_test(a_wrong_load_is_said_at_the_joint),
                                           cmocka_unit_test(a_line_is_verified_in_ohms_above_and_by_its_delay_below),
                                           cmocka_unit_test(a_sweep_outside_the_domain_has_no_value),
                                           cmocka_unit_test(what_cannot_be_joined_is_refused),
                                           cmocka_unit_test(what_is_told_of_lines_moves_numbers_as_foretold)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
