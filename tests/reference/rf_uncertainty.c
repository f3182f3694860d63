/* uncertainty.json: sensitivities of SOL and TRL and their propagation to L and Q, against closed forms, differences and Monte Carlo made
 * elsewhere. */
#include "rf_check.h"
#include "rf/network/convert.h"
#include "rf/extract/extract.h"
#include "rf/correct/terms_causes.h"
#include "rf/numbers/uncertain.h"

/* Column c as a cause of the terms at point i moves the device as the column does: the way by a document is the way by the solver. */
static void as_a_cause(struct arena *arena, const struct covariance *cov, size_t c, const struct terms *terms, size_t i, struct m2 raw,
                       const double complex want[4], const char *name, double hz)
{
        struct terms_cause cause = {.about = {name, CAUSE_OF_STANDARD, INFINITY}};
        for (int t = 0; t < TERM_COUNT; t++)
                if (terms_is_made_of(terms->model, t)) {
                        double *one = arena_take(arena, 2 * sizeof *one);
                        one[0] = creal(cov->d_terms[c * TERM_COUNT + (size_t)t]);
                        one[1] = cimag(cov->d_terms[c * TERM_COUNT + (size_t)t]);
                        cause.re[t] = &one[0];
                        cause.im[t] = &one[1];
                }
        struct m2 got = rf_terms_cause_change(terms, i, &cause, 0, raw, 0, 0);
        for (int e = 0; e < 4; e++)
                if (terms->model != TERMS_ONE_PORT || e == 0 || e == 3)
                        check_close(name, hz, got.e[e], want[e], 1e-8);
}

static void sol_follows_lagrange_interpolation(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        cJSON *json = check_json("cal_oneport.json"), *u = check_json("uncertainty.json");
        struct axis *axis = check_axis(json, arena);
        static const char *const names[3] = {"open", "short", "load"};
        static const enum rf_standard_kind kinds[3] = {RF_OPEN, RF_SHORT, RF_LOAD};
        struct rf_standard standards[3];
        for (int k = 0; k < 3; k++) {
                struct net2 *raw = net_new(axis, PLANE_RECEIVER, arena), *ideal = net_new(axis, PLANE_TIP, arena);
                char path[64];
                snprintf(path, sizeof path, "standards/%s", names[k]);
                const cJSON *r = check_at(check_at(json, path), "raw")->child, *d = check_at(check_at(json, path), "ideal")->child;
                for (size_t i = 0; i < axis->n; i++, r = r->next, d = d->next) {
                        net2_put(raw, i, m2_diag(check_complex(r), check_complex(r)));
                        net2_put(ideal, i, m2_diag(check_complex(d), check_complex(d)));
                }
                standards[k] = (struct rf_standard){.kind = kinds[k], .raw = raw, .ideal = ideal};
        }
        struct problem problem = {.axis = axis, .standards = standards, .standard_n = 3};
        const size_t at[1] = {8}; /* 110 GHz */
        struct covariance *cov = arena_take(arena, sizeof *cov);
        *cov = covariance_at(arena_take(arena, covariance_bytes(1, 3)), 1, at);
        struct solved *s = solve_in(arena, "sol", &problem, cov);
        assert_int_equal(s->code, CODE_OK);
        assert_int_equal(cov->column_n, 12);
        double complex(*d)[4] = arena_take(arena, cov->column_n * sizeof *d);
        double complex raw = check_complex(cJSON_GetArrayItem(check_at(check_at(json, "dut")->child, "raw"), 8));
        rf_sensitivity(cov, 0, &s->terms, m2_diag(raw, raw), d);
        for (size_t c = 0; c < cov->column_n; c++) {
                struct column col = cov->columns[c];
                const cJSON *want = check_at(u, col.kind == COLUMN_RAW ? "sol_110GHz/dG_dRawStandard" : "sol_110GHz/dG_dIdeal");
                /* 1e-8: central differences of 1e-6, twice */
                check_close("dG", 110e9, d[c][col.entry], check_complex(cJSON_GetArrayItem(want, (int)col.standard)), 1e-8);
                check_close("other port", 110e9, d[c][3 - col.entry], 0, 1e-9); /* one rounding over 1e-6 */
                double complex want_s[4] = {0};
                want_s[col.entry] = check_complex(cJSON_GetArrayItem(want, (int)col.standard));
                as_a_cause(arena, cov, c, &s->terms, 8, m2_diag(raw, raw), want_s, "dG, as a cause", 110e9);
        }
        cJSON_Delete(json);
        cJSON_Delete(u);
        arena_free(arena);
}

static void trl_jacobian_is_the_published_one(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        cJSON *json = check_json("cal_trl.json"), *u = check_json("uncertainty.json");
        struct axis *axis = check_axis(json, arena);
        struct switch_terms *sw = check_switch(json, axis, arena);
        struct rf_standard standards[3];
        size_t n = 0;
        for (const cJSON *e = check_at(json, "lines")->child; e; e = e->next) {
                struct net2 *raw = check_net(check_at(e, "raw"), axis, PLANE_RECEIVER, arena);
                assert_int_equal(rf_switch_remove(sw, raw, raw, NULL), CODE_OK); /* the check has no switch terms */
                standards[n++] = (struct rf_standard){.kind = RF_LINE, .raw = raw, .length_m = check_at(e, "length_m")->valuedouble};
        }
        struct net2 *reflect = check_net(check_at(json, "reflect/raw"), axis, PLANE_RECEIVER, arena),
                    *dut = check_net(check_at(json, "dut/inductor/raw"), axis, PLANE_RECEIVER, arena);
        assert_int_equal(rf_switch_remove(sw, reflect, reflect, NULL), CODE_OK);
        assert_int_equal(rf_switch_remove(sw, dut, dut, NULL), CODE_OK);
        standards[n++] = (struct rf_standard){.kind = RF_REFLECT, .raw = reflect};
        struct problem problem = {.axis = axis,
                                  .standards = standards,
                                  .standard_n = n,
                                  .eps_eff_guess = 5.7,
                                  .reflect_estimate = -1,
                                  .reflect_offset_m = -100e-6};
        const size_t at[1] = {6}; /* 54 GHz */
        struct covariance *cov = arena_take(arena, sizeof *cov);
        *cov = covariance_at(arena_take(arena, covariance_bytes(1, 3)), 1, at);
        struct solved *s = solve_in(arena, "multiline_trl", &problem, cov);
        assert_int_equal(s->code, CODE_OK);
        double complex(*d)[4] = arena_take(arena, cov->column_n * sizeof *d);
        struct m2 raw = net2_get(dut, 6), got = rf_correct2_point(&s->terms, 6, raw);
        rf_sensitivity(cov, 0, &s->terms, raw, d);
        const cJSON *rows = check_at(u, "trl_54GHz/jacobian_rows_S11_S12_S21_S22"),
                    *u_want = check_at(u, "trl_54GHz/u_linear_per_component");
        double sum[4] = {0};
        size_t checked = 0;
        for (int row = 0; row < 4; row++)
                check_close("corrected", 54e9, got.e[row], check_complex(cJSON_GetArrayItem(check_at(u, "trl_54GHz/corrected_S"), row)),
                            1e-10);
        for (size_t c = 0; c < cov->column_n; c++) {
                struct column col = cov->columns[c];
                if (col.kind != COLUMN_RAW)
                        continue;
                for (int row = 0; row < 4; row++) {
                        double complex want =
                                check_complex(cJSON_GetArrayItem(cJSON_GetArrayItem(rows, row), (int)(col.standard * 4 + col.entry)));
                        check_close("dS", 54e9, d[c][row], want, 1e-7); /* their differences and ours, 1e-6 each */
                        sum[row] += creal(d[c][row] * conj(d[c][row]));
                }
                as_a_cause(arena, cov, c, &s->terms, 6, raw, d[c], "dS, as a cause", 54e9);
                checked++;
        }
        assert_int_equal(checked, 10); /* two lines of four, the reflect's S11 and S22 */
        for (int k = 0; k < 4; k++) {  /* the device's own noise, by differences */
                struct m2 up = raw, down = raw;
                up.e[k] += 1e-6;
                down.e[k] -= 1e-6;
                up = rf_correct2_point(&s->terms, 6, up);
                down = rf_correct2_point(&s->terms, 6, down);
                for (int row = 0; row < 4; row++) {
                        double complex j = (up.e[row] - down.e[row]) / 2e-6;
                        sum[row] += creal(j * conj(j));
                }
        }
        for (int row = 0; row < 4; row++)
                check_relative("u", 54e9, 1e-3 * sqrt(sum[row]), cJSON_GetArrayItem(u_want, row)->valuedouble, 1e-6);
        /* a longer line than told moves nothing at the middle of the first line but gamma: S there does not depend on the length difference
         */
        for (size_t c = 0; c < cov->column_n; c++)
                if (cov->columns[c].kind == COLUMN_LENGTH)
                        for (int row = 0; row < 4; row++)
                                assert_true(cabs(d[c][row]) < 1e-3); /* per metre */
        cJSON_Delete(json);
        cJSON_Delete(u);
        arena_free(arena);
}

static void l_and_q_carry_a_covariance(void **state)
{
        (void)state;
        cJSON *u = check_json("uncertainty.json");
        const cJSON *c = check_at(u, "L_Q_from_gamma");
        struct m2 s = m2_diag(check_complex(check_at(c, "gamma")), 0.3);
        double cov[2][2], g[2][2], uu[2] = {0};
        for (int i = 0; i < 2; i++)
                for (int j = 0; j < 2; j++)
                        cov[i][j] = cJSON_GetArrayItem(cJSON_GetArrayItem(check_at(c, "covariance_gamma_re_im"), i), j)->valuedouble;
        double complex grad[4];
        check_relative("L", 5e9, rf_element(VIEW_SINGLE, ELEMENT_L_H, s, 50, 5e9, grad), check_at(c, "L_henry")->valuedouble, 1e-13);
        g[0][0] = creal(grad[0]), g[0][1] = -cimag(grad[0]);
        check_relative("Q", 5e9, rf_element(VIEW_SINGLE, ELEMENT_Q, s, 50, 5e9, grad), check_at(c, "Q")->valuedouble, 1e-13);
        g[1][0] = creal(grad[0]), g[1][1] = -cimag(grad[0]);
        double cross = 0;
        for (int i = 0; i < 2; i++)
                for (int j = 0; j < 2; j++) {
                        for (int k = 0; k < 2; k++)
                                uu[k] += g[k][i] * cov[i][j] * g[k][j];
                        cross += g[0][i] * cov[i][j] * g[1][j];
                }
        check_relative("u(L)", 5e9, sqrt(uu[0]), check_at(c, "u_L")->valuedouble, 1e-12);
        check_relative("u(Q)", 5e9, sqrt(uu[1]), check_at(c, "u_Q")->valuedouble, 1e-12);
        check_relative("r(L,Q)", 5e9, cross / sqrt(uu[0] * uu[1]), check_at(c, "r_LQ")->valuedouble, 1e-12);
        /* dY of a two-port against differences */
        struct m2 t = m2_of(CMPLX(0.1, 0.2), CMPLX(0.7, -0.3), CMPLX(0.6, -0.2), CMPLX(-0.2, 0.1)),
                  d = m2_of(CMPLX(1, 2), CMPLX(0, -1), 0.5, CMPLX(-2, 1));
        struct m2 diff = m2_sub(rf_y_from_s(m2_add(t, m2_scale(1e-6, d)), 50), rf_y_from_s(m2_sub(t, m2_scale(1e-6, d)), 50)),
                  want = rf_y_change(t, d, 50);
        for (int k = 0; k < 4; k++)
                check_close("dY", 0, want.e[k] * 50, diff.e[k] / 2e-6 * 50, 1e-8);
        cJSON_Delete(u);
}

/* R, X, Z from V, I, phi (JCGM 100:2008, H.2). */
static bool impedance(const double *x, double *y, void *context)
{
        (void)context;
        y[0] = x[0] / x[1] * cos(x[2]);
        y[1] = x[0] / x[1] * sin(x[2]);
        y[2] = x[0] / x[1];
        return true;
}

static void gum_h2_comes_out_as_printed(void **state)
{
        (void)state;
        cJSON *u = check_json("uncertainty.json");
        const cJSON *c = check_at(u, "gum_h2");
        static const char *const names[3] = {"V_volt", "I_ampere", "phi_rad"};
        static const int pair[3][2] = {{0, 1}, {0, 2}, {1, 2}};
        double readings[15], mean[3], cov[9], y[3], j[9], scratch[9], out[9];
        struct tp_error err;
        for (int q = 0; q < 3; q++)
                for (int k = 0; k < 5; k++)
                        readings[3 * k + q] = cJSON_GetArrayItem(check_at(c, names[q]), k)->valuedouble;
        assert_int_equal(covariance_of_means(5, 3, readings, mean, cov, &err), CODE_OK);
        for (int q = 0; q < 3; q++) {
                check_relative("mean", 0, mean[q], cJSON_GetArrayItem(check_at(c, "means"), q)->valuedouble, 1e-14);
                check_relative("u of the mean", 0, sqrt(cov[4 * q]), cJSON_GetArrayItem(check_at(c, "u_of_means"), q)->valuedouble, 1e-11);
        }
        impedance(mean, y, NULL);
        assert_int_equal(jacobian_of(impedance, NULL, 3, mean, mean, 3, scratch, j, &err), CODE_OK);
        covariance_through(3, 3, j, cov, scratch, out);
        for (int q = 0; q < 3; q++) { /* 1e-7: differences of 1e-6; R is a small difference of large changes */
                check_relative("R, X, Z", 0, y[q], cJSON_GetArrayItem(check_at(c, "R_X_Z_ohm"), q)->valuedouble, 1e-14);
                check_relative("u", 0, sqrt(out[4 * q]), cJSON_GetArrayItem(check_at(c, "u"), q)->valuedouble, 1e-7);
                check_relative("r", 0, correlation_of(out, 3, (size_t)pair[q][0], (size_t)pair[q][1]),
                               cJSON_GetArrayItem(check_at(c, "r_RX_RZ_XZ"), q)->valuedouble, 1e-7);
        }
        /* without the correlation of the readings u(R) is another number altogether */
        for (int a = 0; a < 3; a++)
                for (int b = 0; b < 3; b++)
                        cov[3 * a + b] *= a == b;
        covariance_through(3, 3, j, cov, scratch, out);
        assert_true(sqrt(out[0]) > 2 * 0.071);
        cJSON_Delete(u);
}

/* The chain as blocks: Gamma -> Z by a complex derivative, then L and Q. */
static void gamma_to_z_by_blocks(void **state)
{
        (void)state;
        cJSON *u = check_json("uncertainty.json");
        const cJSON *c = check_at(u, "L_Q_from_gamma");
        double complex g = check_complex(check_at(c, "gamma")), d = 100 / ((1 - g) * (1 - g));
        double cov[4], of_z[4], scratch[16];
        for (int k = 0; k < 4; k++)
                cov[k] = cJSON_GetArrayItem(cJSON_GetArrayItem(check_at(c, "covariance_gamma_re_im"), k / 2), k % 2)->valuedouble;
        covariance_through_analytic(1, 1, &d, cov, scratch, of_z);
        for (int k = 0; k < 4; k++)
                check_relative("covariance of Z", 5e9, of_z[k],
                               cJSON_GetArrayItem(cJSON_GetArrayItem(check_at(c, "covariance_Z"), k / 2), k % 2)->valuedouble, 1e-12);
        double complex z = check_complex(check_at(c, "Z"));
        double w = RF_TWO_PI * 5e9, j[4] = {0, 1 / w, -cimag(z) / creal(z) / creal(z), 1 / creal(z)}, out[4];
        covariance_through(2, 2, j, of_z, scratch, out);
        check_relative("u(L)", 5e9, sqrt(out[0]), check_at(c, "u_L")->valuedouble, 1e-12);
        check_relative("u(Q)", 5e9, sqrt(out[3]), check_at(c, "u_Q")->valuedouble, 1e-12);
        check_relative("r(L,Q)", 5e9, correlation_of(out, 2, 0, 1), check_at(c, "r_LQ")->valuedouble, 1e-12);
        cJSON_Delete(u);
}

/* Sums of the sensitivities of uncertainty.json: what all standards and all noise make together. */
static void sol_adds_up(void **state)
{
        (void)state;
        cJSON *u = check_json("uncertainty.json");
        const cJSON *c = check_at(u, "sol_110GHz");
        double complex ideal[3], raw[4];
        double of[3], noise[4];
        for (int k = 0; k < 3; k++) {
                ideal[k] = check_complex(cJSON_GetArrayItem(check_at(c, "dG_dIdeal"), k));
                raw[k] = check_complex(cJSON_GetArrayItem(check_at(c, "dG_dRawStandard"), k));
                of[k] = cJSON_GetArrayItem(check_at(c, "u_standard_circular"), k)->valuedouble;
        }
        raw[3] = check_complex(check_at(c, "dG_dRawDevice"));
        for (int k = 0; k < 4; k++)
                noise[k] = check_at(c, "u_raw_circular")->valuedouble;
        check_relative("u of standards", 110e9, circular_through(3, ideal, of), check_at(c, "u_from_standards")->valuedouble, 1e-12);
        check_relative("u of noise", 110e9, circular_through(4, raw, noise), check_at(c, "u_from_noise")->valuedouble, 1e-12);
        cJSON_Delete(u);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(sol_follows_lagrange_interpolation),
                cmocka_unit_test(trl_jacobian_is_the_published_one),
                cmocka_unit_test(l_and_q_carry_a_covariance),
                cmocka_unit_test(gum_h2_comes_out_as_printed),
                cmocka_unit_test(gamma_to_z_by_blocks),
                cmocka_unit_test(sol_adds_up),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
