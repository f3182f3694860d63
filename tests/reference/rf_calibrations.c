/* Calibrations of exact raw data: cal_oneport, cal_solt, cal_solr, cal_trl, cal_mtrl .json and error-models.json.  The raw data were made
   by solving the wave equations of the whole chain (receivers, boxes, device, switch terms), not by inverting a calibration. */
#include "rf_check.h"
#include "rf/network/convert.h"

static struct rf_standard known(const cJSON *json, const char *name, enum rf_standard_kind kind, const struct axis *axis,
                                struct arena *arena)
{
        char path[64];
        snprintf(path, sizeof path, "standards/%s/raw", name);
        struct rf_standard s = {.name = name, .kind = kind, .raw = check_net(check_at(json, path), axis, PLANE_RECEIVER, arena)};
        snprintf(path, sizeof path, "standards/%s/ideal", name);
        s.ideal = check_net(check_at(json, path), axis, PLANE_TIP, arena);
        return s;
}

static void solt_finds_the_twelve_terms(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        cJSON *json = check_json("cal_solt.json"), *models = check_json("error-models.json");
        struct axis *axis = check_axis(json, arena);
        struct switch_terms *sw = check_switch(json, axis, arena);
        struct rf_standard standards[4] = {known(json, "open", RF_OPEN, axis, arena), known(json, "short", RF_SHORT, axis, arena),
                                           known(json, "load", RF_LOAD, axis, arena), known(json, "thru", RF_THRU, axis, arena)};
        struct problem problem = {.axis = axis, .standards = standards, .standard_n = 4, .switch_terms = sw};
        struct solved *s = solve_in(arena, "solt", &problem, NULL);
        if (s->code)
                fail_msg("%s", s->err.text);
        for (int k = 0; k < TERM_COUNT; k++) {
                char path[64];
                snprintf(path, sizeof path, "twelve_term/%s", term_words[k]);
                const cJSON *e = k == TERM_K ? check_at(models, "k")->child : check_at(models, path)->child;
                for (size_t i = 0; i < axis->n; i++, e = e->next)
                        check_close(term_words[k], axis->hz[i], CMPLX(s->terms.re[k][i], s->terms.im[k][i]), check_complex(e),
                                    TOL_CALIBRATION);
        }
        for (size_t i = 0; i < axis->n; i++) {
                assert_true(s->diagnosis.k_disagreement[i] < 1e-10);
                assert_true(s->diagnosis.switch_difference[i] < 1e-10);
                assert_true(s->diagnosis.condition[i] > 1 && s->diagnosis.condition[i] < 1e3);
        }
        assert_int_equal(s->diagnosis.warning_n, 0);
        devices_come_back(json, &s->terms, NULL, "true", NULL, arena);
        cJSON_Delete(json);
        cJSON_Delete(models);
        arena_free(arena);
}

static void unknown_thru_needs_only_reciprocity(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        cJSON *json = check_json("cal_solr.json"), *models = check_json("error-models.json");
        struct axis *axis = check_axis(json, arena);
        struct switch_terms *sw = check_switch(json, axis, arena);
        struct rf_standard standards[4] = {known(json, "open", RF_OPEN, axis, arena), known(json, "short", RF_SHORT, axis, arena),
                                           known(json, "load", RF_LOAD, axis, arena), known(json, "unknown_thru", RF_THRU, axis, arena)};
        const struct net2 *answer = standards[3].ideal;
        standards[3].ideal = NULL;
        struct problem problem = {.axis = axis,
                                  .standards = standards,
                                  .standard_n = 4,
                                  .switch_terms = sw,
                                  .thru_delay_s_guess = check_at(json, "delay_guess_s")->valuedouble};
        struct solved *s = solve_in(arena, "unknown_thru", &problem, NULL);
        if (s->code)
                fail_msg("%s", s->err.text);
        assert_true(s->diagnosis.root_followed && !s->diagnosis.root_contradicts);
        const cJSON *k = check_at(models, "k")->child;
        for (size_t i = 0; i < axis->n; i++, k = k->next) {
                check_close("thru S21", axis->hz[i], CMPLX(s->diagnosis.thru_s21_re[i], s->diagnosis.thru_s21_im[i]),
                            net2_get(answer, i).e[2], TOL_CALIBRATION);
                check_close("k", axis->hz[i], CMPLX(s->terms.re[TERM_K][i], s->terms.im[TERM_K][i]), check_complex(k), TOL_CALIBRATION);
        }
        devices_come_back(json, &s->terms, sw, "true", NULL, arena);
        /* forgetting the switch terms in the correction is refused, not done wrong */
        struct net2 *raw = net_new(axis, PLANE_RECEIVER, arena);
        assert_int_equal(rf_correct2(&s->terms, raw, NULL, raw, &s->err), CODE_BAD_INPUT);
        assert_non_null(strstr(s->err.text, "switch terms"));
        cJSON_Delete(json);
        cJSON_Delete(models);
        arena_free(arena);
}

static void one_port_from_three_and_from_five(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        cJSON *json = check_json("cal_oneport.json");
        struct axis *axis = check_axis(json, arena);
        struct rf_standard standards[8];
        size_t n = 0;
        for (const cJSON *e = check_at(json, "standards")->child; e; e = e->next) {
                struct net2 *raw = net_new(axis, PLANE_RECEIVER, arena), *ideal = net_new(axis, PLANE_TIP, arena);
                const cJSON *r = check_at(e, "raw")->child, *d = check_at(e, "ideal")->child;
                for (size_t i = 0; i < axis->n; i++, r = r->next, d = d->next) { /* the same box at both ports */
                        net2_put(raw, i, m2_diag(check_complex(r), check_complex(r)));
                        net2_put(ideal, i, m2_diag(check_complex(d), check_complex(d)));
                }
                enum rf_standard_kind kind = strstr(e->string, "open") ? RF_OPEN : strstr(e->string, "short") ? RF_SHORT : RF_LOAD;
                standards[n++] = (struct rf_standard){.name = e->string, .kind = kind, .raw = raw, .ideal = ideal, .u_ideal = 0.01};
        }
        assert_int_equal(n, 5);
        for (size_t use = 3; use <= 5; use += 2) {
                struct problem problem = {.axis = axis, .standards = standards, .standard_n = use};
                struct solved *s = solve_in(arena, "sol", &problem, NULL);
                if (s->code)
                        fail_msg("%zu standards: %s", use, s->err.text);
                const cJSON *dut = check_at(json, "dut")->child;
                double *raw = arena_take(arena, 4 * net2_stride(axis->n) * sizeof *raw), *out = raw + 2 * net2_stride(axis->n);
                const cJSON *e = check_at(dut, "raw")->child;
                for (size_t i = 0; i < axis->n; i++, e = e->next) {
                        raw[i] = creal(check_complex(e));
                        raw[i + axis->n] = cimag(check_complex(e));
                }
                for (int port = 1; port <= 2; port++) {
                        assert_int_equal(rf_correct1(&s->terms, port, raw, raw + axis->n, out, out + axis->n, NULL), CODE_OK);
                        e = check_at(dut, "true")->child;
                        for (size_t i = 0; i < axis->n; i++, e = e->next)
                                check_close(dut->string, axis->hz[i], CMPLX(out[i], out[i + axis->n]), check_complex(e),
                                            1e-12); /* judged: 1e-15 */
                }
                static const struct {
                        const char *key;
                        int term[2];
                } boxes[] = {{"error_terms/directivity", {TERM_EDF, TERM_EDR}},
                             {"error_terms/source_match", {TERM_ESF, TERM_ESR}},
                             {"error_terms/reflection_tracking", {TERM_ERF, TERM_ERR}}};
                for (size_t b = 0; b < 3; b++) {
                        e = check_at(json, boxes[b].key)->child;
                        for (size_t i = 0; i < axis->n; i++, e = e->next)
                                for (int port = 0; port < 2; port++) {
                                        int t = boxes[b].term[port];
                                        check_close(boxes[b].key, axis->hz[i], CMPLX(s->terms.re[t][i], s->terms.im[t][i]),
                                                    check_complex(e), 1e-12);
                                }
                }
                for (size_t i = 0; i < axis->n; i++) /* residuals exist only where there is redundancy */
                        assert_true(use == 3 ? isnan(s->diagnosis.residual_worst[i]) : s->diagnosis.residual_worst[i] < 1e-12);
                struct net2 *two = net_new(axis, PLANE_RECEIVER, arena);
                assert_int_equal(rf_correct2(&s->terms, two, NULL, two, &s->err), CODE_BAD_INPUT);
        }
        cJSON_Delete(json);
        arena_free(arena);
}

static void lines(const char *method, const char *file, const char *judged_case)
{
        struct arena *arena = arena_new(0);
        cJSON *json = check_json(file);
        struct axis *axis = check_axis(json, arena);
        struct switch_terms *sw = check_switch(json, axis, arena);
        struct rf_standard standards[RF_STANDARD_MAX];
        size_t n = 0;
        for (const cJSON *e = check_at(json, "lines")->child; e; e = e->next)
                standards[n++] = (struct rf_standard){.name = e->string,
                                                      .kind = RF_LINE,
                                                      .raw = check_net(check_at(e, "raw"), axis, PLANE_RECEIVER, arena),
                                                      .length_m = check_at(e, "length_m")->valuedouble};
        standards[n++] = (struct rf_standard){
                .name = "reflect", .kind = RF_REFLECT, .raw = check_net(check_at(json, "reflect/raw"), axis, PLANE_RECEIVER, arena)};
        double half = standards[0].length_m / 2, c = check_at(json, "C_F_per_m")->valuedouble;
        struct problem problem = {.axis = axis,
                                  .standards = standards,
                                  .standard_n = n,
                                  .switch_terms = sw,
                                  .eps_eff_guess = CMPLX(5.7, -0.1),
                                  .reflect_estimate = check_at(json, "reflect/estimate_at_tips")->valuedouble,
                                  .reflect_offset_m = check_at(json, "reflect/offset_m_from_middle_of_first_line")->valuedouble,
                                  .plane_shift_m = -half,
                                  .plane_shifted = PLANE_TIP};
        /* 1: in the impedance of the line */
        struct solved *s = solve_in(arena, method, &problem, NULL);
        if (s->code)
                fail_msg("%s", s->err.text);
        assert_true(isnan(s->terms.z_re[0]));
        assert_true(s->diagnosis.root_followed && !s->diagnosis.root_contradicts);
        char path[96];
        snprintf(path, sizeof path, "cases/%s", judged_case);
        devices_come_back(json, &s->terms, sw, "true_Zc", path, arena);
        const cJSON *g = check_at(json, "gamma_per_m")->child, *zc = check_at(json, "Zc_ohm")->child,
                    *gs = check_at(json, "G_S_per_m")->child;
        const cJSON *reflect = check_at(json, "reflect_true_Zc_at_tips")->child;
        for (size_t i = 0; i < axis->n; i++, g = g->next, reflect = reflect->next) {
                double complex gamma = CMPLX(s->diagnosis.gamma_re[i], s->diagnosis.gamma_im[i]);
                /* as the devices: what plain double precision of the published formulas reached, times 100 */
                double tol = axis->hz[i] > 100e6 ? TOL_CALIBRATION : judged(path, i, TOL_CALIBRATION);
                check_relative("gamma", axis->hz[i], gamma, check_complex(g), tol);
                double complex at_tips = CMPLX(s->diagnosis.reflect_re[i], s->diagnosis.reflect_im[i]) * cexp(-2 * gamma * half);
                check_close("reflect", axis->hz[i], at_tips, check_complex(reflect), tol);
        }
        /* 2: with the line's capacitance known, in 50 ohm; the check line's G is w C tan(delta) */
        problem.line_c_f_m = c;
        problem.line_loss_tangent = gs->valuedouble / (RF_TWO_PI * axis->hz[0] * c);
        s = solve_in(arena, method, &problem, NULL);
        assert_int_equal(s->code, CODE_OK);
        for (size_t i = 0; i < axis->n; i++, zc = zc->next) {
                check_relative("Zc", axis->hz[i], CMPLX(s->diagnosis.zc_re[i], s->diagnosis.zc_im[i]), check_complex(zc),
                               axis->hz[i] > 100e6 ? TOL_CALIBRATION : judged(path, i, TOL_CALIBRATION));
                assert_true(s->terms.z_re[i] == 50 && s->terms.z_im[i] == 0);
        }
        snprintf(path, sizeof path, "cases/%s", strcmp(file, "cal_trl.json") == 0 ? "trl/formulas TRL 0-1 true_50ohm" : judged_case);
        devices_come_back(json, &s->terms, sw, "true_50ohm", path, arena);
        cJSON_Delete(json);
        arena_free(arena);
}
static void trl_by_the_image_of_port_2(void **state)
{
        (void)state;
        lines("trl", "cal_trl.json", "trl/formulas TRL 0-1 true_Zc");
}
static void trl_with_one_pair(void **state)
{
        (void)state;
        lines("multiline_trl", "cal_trl.json", "trl/formulas TRL 0-1 true_Zc");
}
static void multiline_with_six_lines(void **state)
{
        (void)state;
        lines("multiline_trl", "cal_mtrl.json", "mtrl/formulas marks true_Zc");
}

/* Not a hundred times what plain double precision of the published formulas reached (judged.json), but that itself. */
static void multiline_loses_no_digits_below_1_mhz(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        cJSON *json = check_json("cal_mtrl.json");
        struct axis *axis = check_axis(json, arena);
        struct rf_standard standards[RF_STANDARD_MAX];
        size_t n = 0;
        for (const cJSON *e = check_at(json, "lines")->child; e; e = e->next)
                standards[n++] = (struct rf_standard){.kind = RF_LINE,
                                                      .raw = check_net(check_at(e, "raw"), axis, PLANE_RECEIVER, arena),
                                                      .length_m = check_at(e, "length_m")->valuedouble};
        standards[n++] =
                (struct rf_standard){.kind = RF_REFLECT, .raw = check_net(check_at(json, "reflect/raw"), axis, PLANE_RECEIVER, arena)};
        struct switch_terms *sw = check_switch(json, axis, arena);
        struct problem problem = {.axis = axis,
                                  .standards = standards,
                                  .standard_n = n,
                                  .switch_terms = sw,
                                  .eps_eff_guess = 5.7,
                                  .reflect_estimate = -1,
                                  .reflect_offset_m = -100e-6,
                                  .plane_shift_m = -100e-6,
                                  .plane_shifted = PLANE_TIP};
        struct solved *s = solve_in(arena, "multiline_trl", &problem, NULL);
        assert_int_equal(s->code, CODE_OK);
        for (const cJSON *dut = check_at(json, "dut")->child; dut; dut = dut->next) {
                struct net2 *raw = check_net(check_at(dut, "raw"), axis, PLANE_RECEIVER, arena),
                            *want = check_net(check_at(dut, "true_Zc"), axis, PLANE_TIP, arena);
                assert_int_equal(rf_correct2(&s->terms, raw, sw, raw, NULL), CODE_OK);
                for (size_t i = 0; axis->hz[i] <= 1e6; i++) {
                        double off = m2_distance(net2_get(raw, i), net2_get(want, i));
                        print_message("%s at %.3g Hz: %.2g\n", dut->string, axis->hz[i], off);
                        assert_true(off <= judged("cases/mtrl/formulas marks true_Zc", i, 0) / 100);
                }
        }
        cJSON_Delete(json);
        arena_free(arena);
}

static void effective_phase_and_deviation_are_those_published(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        cJSON *json = check_json("cal_mtrl.json"), *judge = check_json("judged.json");
        struct axis *axis = check_axis(json, arena);
        struct rf_standard standards[RF_STANDARD_MAX];
        size_t n = 0;
        for (const cJSON *e = check_at(json, "lines")->child; e; e = e->next)
                standards[n++] = (struct rf_standard){.kind = RF_LINE,
                                                      .raw = check_net(check_at(e, "raw"), axis, PLANE_RECEIVER, arena),
                                                      .length_m = check_at(e, "length_m")->valuedouble};
        standards[n++] =
                (struct rf_standard){.kind = RF_REFLECT, .raw = check_net(check_at(json, "reflect/raw"), axis, PLANE_RECEIVER, arena)};
        struct problem problem = {.axis = axis,
                                  .standards = standards,
                                  .standard_n = n,
                                  .switch_terms = check_switch(json, axis, arena),
                                  .eps_eff_guess = 5.7,
                                  .reflect_estimate = -1,
                                  .reflect_offset_m = -100e-6};
        struct solved *s = solve_in(arena, "multiline_trl", &problem, NULL);
        assert_int_equal(s->code, CODE_OK);
        const cJSON *nstd = check_at(judge, "cases/mtrl/formulas marks nstd")->child;
        for (size_t i = 0; i < axis->n; i++, nstd = nstd->next)
                check_relative("nstd", axis->hz[i], s->diagnosis.nstd[i], nstd->valuedouble, 5e-3); /* printed with three digits */
        cJSON_Delete(json);
        cJSON_Delete(judge);
        arena_free(arena);
}

/* A reflect told at the wrong place must not flip silently: the true plane is the tips, 100 um before the middle of the first line. */
static void a_wrong_reflect_offset_is_refused(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        cJSON *json = check_json("cal_mtrl.json");
        struct axis *axis = check_axis(json, arena);
        struct rf_standard standards[RF_STANDARD_MAX];
        size_t n = 0;
        for (const cJSON *e = check_at(json, "lines")->child; e; e = e->next)
                standards[n++] = (struct rf_standard){.kind = RF_LINE,
                                                      .raw = check_net(check_at(e, "raw"), axis, PLANE_RECEIVER, arena),
                                                      .length_m = check_at(e, "length_m")->valuedouble};
        standards[n++] =
                (struct rf_standard){.kind = RF_REFLECT, .raw = check_net(check_at(json, "reflect/raw"), axis, PLANE_RECEIVER, arena)};
        struct switch_terms *sw = check_switch(json, axis, arena);
        struct problem problem = {
                .axis = axis, .standards = standards, .standard_n = n, .switch_terms = sw, .eps_eff_guess = 5.7, .reflect_estimate = -1};
        struct solved *s = solve_in(arena, "multiline_trl", &problem, NULL);
        assert_int_equal(s->code, CODE_BAD_INPUT);
        assert_non_null(strstr(s->err.text, "would flip"));
        assert_non_null(strstr(s->err.text, "GHz"));
        /* allowed: a warning, and the right sign all the same */
        problem.reflect_contradiction_allowed = true;
        problem.plane_shift_m = -100e-6;
        problem.plane_shifted = PLANE_TIP;
        s = solve_in(arena, "multiline_trl", &problem, NULL);
        assert_int_equal(s->code, CODE_OK);
        assert_true(s->diagnosis.root_contradicts && s->diagnosis.contradiction_hz > 100e9 && s->diagnosis.contradiction_deg > 90);
        assert_true(s->diagnosis.warning_n > 0);
        devices_come_back(json, &s->terms, sw, "true_Zc", "cases/mtrl/formulas marks true_Zc", arena);
        cJSON_Delete(json);
        arena_free(arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(solt_finds_the_twelve_terms),
                cmocka_unit_test(unknown_thru_needs_only_reciprocity),
                cmocka_unit_test(one_port_from_three_and_from_five),
                cmocka_unit_test(trl_with_one_pair),
                cmocka_unit_test(trl_by_the_image_of_port_2),
                cmocka_unit_test(multiline_with_six_lines),
                cmocka_unit_test(multiline_loses_no_digits_below_1_mhz),
                cmocka_unit_test(effective_phase_and_deviation_are_those_published),
                cmocka_unit_test(a_wrong_reflect_offset_is_refused),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
