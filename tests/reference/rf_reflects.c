/* Calibrations with reflects that are only equal at both ports, and least squares of known standards: cal_lrm.json, cal_lrrm.json,
   cal_solt.json, cal_oneport.json, noise.csv.  Values from independent arithmetic with 60 digits (the files' headers). */
#include "rf_check.h"

static struct net2 *reflection(const cJSON *list, const struct axis *axis, struct arena *arena)
{
        struct net2 *net = net_new(axis, PLANE_TIP, arena);
        size_t i = 0;
        for (const cJSON *e = list->child; e; e = e->next)
                net2_put(net, i++, m2_diag(check_complex(e), check_complex(e)));
        return net;
}
static struct net2 *constant(const struct axis *axis, double complex g, struct arena *arena)
{
        struct net2 *net = net_new(axis, PLANE_TIP, arena);
        for (size_t i = 0; i < axis->n; i++)
                net2_put(net, i, m2_diag(g, g));
        return net;
}
static struct net2 *raw_of(const cJSON *json, const char *path, const struct axis *axis, struct arena *arena)
{
        return check_net(check_at(json, path), axis, PLANE_RECEIVER, arena);
}

static void lrm(bool known_match)
{
        struct arena *arena = arena_new(0);
        cJSON *json = check_json("cal_lrm.json");
        struct axis *axis = check_axis(json, arena);
        struct switch_terms *sw = check_switch(json, axis, arena);
        struct rf_standard s[3] = {
                {.kind = RF_THRU,
                 .raw = raw_of(json, "thru/raw", axis, arena),
                 .ideal = check_net(check_at(json, "thru/ideal"), axis, PLANE_TIP, arena)},
                {.kind = RF_REFLECT, .raw = raw_of(json, "reflect/raw", axis, arena)},
                {.kind = RF_LOAD,
                 .raw = raw_of(json, known_match ? "match_known/raw" : "match_50/raw", axis, arena),
                 .ideal = known_match ? reflection(check_at(json, "match_known/ideal"), axis, arena) : constant(axis, 0, arena)}};
        struct problem p = {.axis = axis, .standards = s, .standard_n = 3, .switch_terms = sw, .reflect_estimate = 1};
        struct solved *got = solve_in(arena, "lrm", &p, NULL);
        if (got->code)
                fail_msg("%s", got->err.text);
        assert_true(got->diagnosis.root_followed && !got->diagnosis.root_contradicts);
        const cJSON *truth = check_at(json, "reflect/true")->child;
        for (size_t i = 0; i < axis->n; i++, truth = truth->next)
                check_close("reflect", axis->hz[i], CMPLX(got->diagnosis.reflect_re[i], got->diagnosis.reflect_im[i]), check_complex(truth),
                            1e-12);
        devices_come_back(json, &got->terms, sw, "true", known_match ? "cases/lrm/formulas match_known" : "cases/lrm/formulas match_50",
                          arena);
        /* an open is an open without an estimate; the opposite estimate gives the opposite reflect */
        s[1].kind = RF_OPEN;
        p.reflect_estimate = 0;
        got = solve_in(arena, "lrm", &p, NULL);
        assert_int_equal(got->code, CODE_OK);
        devices_come_back(json, &got->terms, sw, "true", NULL, arena);
        s[1].kind = RF_SHORT;
        got = solve_in(arena, "lrm", &p, NULL);
        assert_int_equal(got->code, CODE_OK);
        assert_true(got->diagnosis.reflect_re[0] < -0.99);
        cJSON_Delete(json);
        arena_free(arena);
}
static void lrm_relative_to_a_perfect_match(void **state)
{
        (void)state;
        lrm(false);
}
static void lrm_with_a_match_of_known_r_and_l(void **state)
{
        (void)state;
        lrm(true);
}

static struct problem lrrm_problem(const cJSON *json, struct axis *axis, struct rf_standard s[4], struct arena *arena)
{
        s[0] = (struct rf_standard){.kind = RF_THRU,
                                    .raw = raw_of(json, "thru/raw", axis, arena),
                                    .ideal = check_net(check_at(json, "thru/ideal"), axis, PLANE_TIP, arena)};
        s[1] = (struct rf_standard){.kind = RF_OPEN, .raw = raw_of(json, "open/raw", axis, arena)};
        s[2] = (struct rf_standard){.kind = RF_SHORT, .raw = raw_of(json, "short/raw", axis, arena)};
        s[3] = (struct rf_standard){
                .kind = RF_LOAD, .ports = 1, .raw = raw_of(json, "match_port1/raw", axis, arena), .ideal = constant(axis, 0, arena)};
        return (struct problem){.axis = axis, .standards = s, .standard_n = 4, .switch_terms = check_switch(json, axis, arena)};
}

static void lrrm_finds_the_inductance_of_its_match(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        cJSON *json = check_json("cal_lrrm.json");
        struct axis *axis = check_axis(json, arena);
        struct rf_standard s[4];
        struct problem p = lrrm_problem(json, axis, s, arena);
        struct solved *got = solve_in(arena, "lrrm", &p, NULL);
        if (got->code)
                fail_msg("%s", got->err.text);
        double l = check_at(json, "match_port1/true_L_henry")->valuedouble, c = check_at(json, "open/true_C_farad")->valuedouble;
        print_message("L %.15g H, C of the open %.15g F\n", got->diagnosis.match_l_fit_h, got->diagnosis.open_c_fit_f);
        assert_true(got->diagnosis.match_l_determined);
        check_relative("L", 0, got->diagnosis.match_l_fit_h, l, 3e-11); /* judged: 3e-13, times 100 */
        check_relative("C", 0, got->diagnosis.open_c_fit_f, c, 1e-8);
        const cJSON *truth = check_at(json, "open/true")->child;
        for (size_t i = 0; i < axis->n; i++, truth = truth->next) {
                check_close("open", axis->hz[i], CMPLX(got->diagnosis.reflect_re[i], got->diagnosis.reflect_im[i]), check_complex(truth),
                            1e-11);
                if (axis->hz[i] > 1e9) /* below, an open says nothing about L */
                        check_relative("L(f)", axis->hz[i], got->diagnosis.match_l_h[i], l, 1e-8);
        }
        devices_come_back(json, &got->terms, p.switch_terms, "true", "cases/lrrm/formulas", arena);
        /* with the inductance told, and fixed */
        s[3].ideal = net_new(axis, PLANE_TIP, arena);
        for (size_t i = 0; i < axis->n; i++) {
                double complex z = CMPLX(50, RF_TWO_PI * axis->hz[i] * l), g = (z - 50) / (z + 50);
                net2_put((struct net2 *)(uintptr_t)s[3].ideal, i, m2_diag(g, 0));
        }
        for (int fit = RF_MATCH_FIT_L; fit <= RF_MATCH_FROM_OPEN; fit++) {
                p.match_fit = (enum rf_match_fit)fit;
                s[1].ideal = fit == RF_MATCH_FROM_OPEN ? reflection(check_at(json, "open/true"), axis, arena) : NULL;
                got = solve_in(arena, "lrrm", &p, NULL);
                if (got->code)
                        fail_msg("%s: %s", rf_match_fit_words[fit], got->err.text);
                check_relative("L", 0, got->diagnosis.match_l_fit_h, l, 1e-9);
                devices_come_back(json, &got->terms, p.switch_terms, "true", NULL, arena);
                if (fit == RF_MATCH_FIT_L_C)
                        assert_true(fabs(got->diagnosis.match_c_fit_f) < 1e-22);
                if (fit == RF_MATCH_FROM_OPEN)
                        check_relative("R", 0, got->diagnosis.match_r_fit_ohm, 50, 1e-9);
        }
        cJSON_Delete(json);
        arena_free(arena);
}

/* noise.csv: how much raw noise of the standards comes out in a device, LRRM (L known) and LRM. */
static void noise_comes_out_as_published(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        size_t rows;
        char *text;
        struct check_row *row = check_csv("noise.csv", &rows, &text);
        cJSON *json = check_json("cal_lrrm.json"), *lrm_json = check_json("cal_lrm.json");
        struct axis *axis = check_axis(json, arena);
        struct rf_standard s[4], s2[3];
        struct problem p = lrrm_problem(json, axis, s, arena), p2 = p;
        p.match_fit = RF_MATCH_FIXED;
        s[3].ideal = net_new(axis, PLANE_TIP, arena);
        for (size_t i = 0; i < axis->n; i++) {
                double complex z = CMPLX(50, RF_TWO_PI * axis->hz[i] * 4.8e-12);
                net2_put((struct net2 *)(uintptr_t)s[3].ideal, i, m2_diag((z - 50) / (z + 50), 0));
        }
        s2[0] = s[0];
        s2[1] = s[1];
        s2[2] = (struct rf_standard){
                .kind = RF_LOAD, .raw = raw_of(lrm_json, "match_50/raw", axis, arena), .ideal = constant(axis, 0, arena)};
        p2.standards = s2;
        p2.standard_n = 3;
        struct net2 *device = raw_of(json, "dut/inductor/raw", axis, arena);
        size_t points[12];
        for (size_t i = 0; i < 12; i++)
                points[i] = i;
        assert_int_equal(rows, 12);
        for (int method = 0; method < 2; method++) {
                struct covariance *cov = arena_take(arena, sizeof *cov);
                *cov = covariance_at(arena_take(arena, covariance_bytes(12, 4)), 12, points);
                struct solved *got = solve_in(arena, method ? "lrm" : "lrrm", method ? &p2 : &p, cov);
                assert_int_equal(got->code, CODE_OK);
                for (size_t i = 0; i < 12; i++) {
                        double complex ds[RF_COLUMN_MAX][4];
                        struct m2 raw = rf_switch_remove_point(net2_get(device, i), CMPLX(p.switch_terms->f_re[i], p.switch_terms->f_im[i]),
                                                               CMPLX(p.switch_terms->r_re[i], p.switch_terms->r_im[i]));
                        rf_sensitivity(cov, i, &got->terms, raw, ds);
                        double u2[4] = {0}, most = 0;
                        for (size_t c = 0; c < cov->column_n; c++)
                                for (int e = 0; e < 4 && cov->columns[c].kind == COLUMN_RAW; e++)
                                        u2[e] += 2 * creal(ds[c][e] * conj(ds[c][e])); /* both components */
                        for (int e = 0; e < 4; e++)
                                most = fmax(most, sqrt(u2[e]));
                        double want = atof(row[i].cell[method ? 2 : 1]);
                        /* the file takes the worst element of every draw, so it lies between the worst u and the root of their sum */
                        double least = most * 0.93, largest = sqrt(u2[0] + u2[1] + u2[2] + u2[3]) * 1.07;
                        if (!(want >= least && want <= largest))
                                fail_msg("%s at %.3g Hz: %.3g published, %.3g to %.3g by the sensitivities", method ? "lrm" : "lrrm",
                                         axis->hz[i], want, least, largest);
                }
        }
        free(row);
        free(text);
        cJSON_Delete(json);
        cJSON_Delete(lrm_json);
        arena_free(arena);
}

static void known_standards_find_eight_terms_from_open_short_load_thru(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        cJSON *json = check_json("cal_solt.json");
        struct axis *axis = check_axis(json, arena);
        struct switch_terms *sw = check_switch(json, axis, arena);
        static const char *const name[4] = {"open", "short", "load", "thru"};
        static const enum rf_standard_kind kind[4] = {RF_OPEN, RF_SHORT, RF_LOAD, RF_THRU};
        struct rf_standard s[4];
        for (int k = 0; k < 4; k++) {
                char raw[32], ideal[32];
                snprintf(raw, sizeof raw, "standards/%s/raw", name[k]);
                snprintf(ideal, sizeof ideal, "standards/%s/ideal", name[k]);
                s[k] = (struct rf_standard){.kind = kind[k],
                                            .raw = raw_of(json, raw, axis, arena),
                                            .ideal = check_net(check_at(json, ideal), axis, PLANE_TIP, arena),
                                            .u_ideal = 0.002 * (k + 1)};
        }
        struct problem p = {.axis = axis, .standards = s, .standard_n = 4, .switch_terms = sw};
        struct solved *got = solve_in(arena, "known_standards", &p, NULL);
        if (got->code)
                fail_msg("%s", got->err.text);
        devices_come_back(json, &got->terms, sw, "true", NULL, arena);
        for (size_t i = 0; i < axis->n; i++)
                assert_true(got->diagnosis.residual_worst[i] < 1e-12 && got->diagnosis.condition[i] < 1e3);
        /* one load less, at port 2: still 9 equations for 7 terms */
        s[2].ports = 1;
        got = solve_in(arena, "known_standards", &p, NULL);
        assert_int_equal(got->code, CODE_OK);
        devices_come_back(json, &got->terms, sw, "true", NULL, arena);
        cJSON_Delete(json);
        arena_free(arena);
}

/* A check file's device, whose S an independent program computed, in the thru's place; and an open with a short beside it, which says as
   much as two reflections. */
static void known_standards_take_any_known_two_port(void **state)
{
        (void)state;
        static const char *const name[] = {"open", "short", "load"};
        static const char *const through[] = {"standards/thru", "dut/inductor", "dut/fet"};
        for (int t = 0; t < 3; t++) {
                char read_at[40], true_at[40];
                struct arena *arena = arena_new(0);
                cJSON *json = check_json("cal_solt.json");
                struct axis *axis = check_axis(json, arena);
                struct switch_terms *sw = check_switch(json, axis, arena);
                struct rf_standard s[4];
                struct net2 raw[3], ideal[3];
                for (int k = 0; k < 3; k++) {
                        char at[64];
                        snprintf(at, sizeof at, "standards/%s/raw", name[k]);
                        raw[k] = *raw_of(json, at, axis, arena);
                        snprintf(at, sizeof at, "standards/%s/ideal", name[k]);
                        ideal[k] = *check_net(check_at(json, at), axis, PLANE_TIP, arena);
                }
                s[0] = (struct rf_standard){.kind = RF_LOAD, .raw = &raw[2], .ideal = &ideal[2]};
                for (int k = 0; k < 2; k++) { /* open, short and short, open, of what both ports read of each */
                        struct net2 *pair = arena_take(arena, 2 * sizeof *pair);
                        for (int w = 0; w < 2; w++) {
                                const struct net2 *of = w ? ideal : raw;
                                pair[w] = net2_at(arena_take(arena, net2_bytes(axis->n)), axis, of->plane);
                                net2_set_z(&pair[w], 50, 0);
                                for (size_t i = 0; i < axis->n; i++)
                                        net2_put(&pair[w], i, m2_diag(net2_get(&of[k], i).e[0], net2_get(&of[1 - k], i).e[3]));
                        }
                        s[1 + k] = (struct rf_standard){.kind = RF_KNOWN, .raw = &pair[0], .ideal = &pair[1]};
                }
                snprintf(read_at, sizeof read_at, "%s/raw", through[t]);
                snprintf(true_at, sizeof true_at, t ? "%s/true" : "%s/ideal", through[t]);
                const struct net2 *seen = raw_of(json, read_at, axis, arena),
                                  *is = check_net(check_at(json, true_at), axis, PLANE_TIP, arena);
                s[3] = (struct rf_standard){.name = through[t], .kind = RF_KNOWN, .raw = seen, .ideal = is};
                struct problem p = {.axis = axis, .standards = s, .standard_n = 4, .switch_terms = sw};
                struct solved *got = solve_in(arena, "known_standards", &p, NULL);
                if (got->code)
                        fail_msg("%s: %s", through[t], got->err.text);
                devices_come_back(json, &got->terms, sw, "true", NULL, arena);
                cJSON_Delete(json);
                arena_free(arena);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(lrm_relative_to_a_perfect_match),
                cmocka_unit_test(lrm_with_a_match_of_known_r_and_l),
                cmocka_unit_test(lrrm_finds_the_inductance_of_its_match),
                cmocka_unit_test(noise_comes_out_as_published),
                cmocka_unit_test(known_standards_find_eight_terms_from_open_short_load_thru),
                cmocka_unit_test(known_standards_take_any_known_two_port),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
