/* extraction.csv: structures built from known elements; what went in must come out. */
#include "rf_check.h"
#include "rf/network/convert.h"
#include "rf/extract/extract.h"

static struct check_row *rows;
static size_t row_n;
static char *text;

static bool value_of(const char *name, double hz, const char *what, const char *i, const char *j, bool deembed, double complex *ret)
{
        for (size_t r = 0; r < row_n; r++) {
                char **c = rows[r].cell;
                bool here = strcmp(c[0], name) == 0 && (hz < 0 ? c[1][0] == '\0' : c[1][0] != '\0' && atof(c[1]) == hz) &&
                            strcmp(c[2], what) == 0;
                if (here && deembed)
                        here = strcmp(c[3], i) == 0 && strcmp(c[4], j) == 0;
                if (!here)
                        continue;
                *ret = deembed ? CMPLX(atof(c[5]), atof(c[6])) : CMPLX(atof(c[3]), atof(c[4]));
                return true;
        }
        return false;
}

static struct m2 s_of(const char *name, double hz)
{
        struct m2 s;
        static const char *const what[4] = {"S11", "S12", "S21", "S22"};
        for (int k = 0; k < 4; k++)
                if (!value_of(name, hz, what[k], "", "", false, &s.e[k]))
                        fail_msg("no %s of %s at %g", what[k], name, hz);
        return s;
}

static void elements_come_out(void **state)
{
        (void)state;
        static const struct {
                const char *name, *what;
                enum view view;
                enum element element;
        } asked[] = {
                {"inductor_pi", "L11_henry", VIEW_SINGLE, ELEMENT_L_H},     {"inductor_pi", "Q11", VIEW_SINGLE, ELEMENT_Q},
                {"inductor_pi", "R11_ohm", VIEW_SINGLE, ELEMENT_R_OHM},     {"inductor_pi", "Lseries_henry", VIEW_SERIES, ELEMENT_L_H},
                {"inductor_pi", "Rseries_ohm", VIEW_SERIES, ELEMENT_R_OHM}, {"inductor_pi", "Ldiff_henry", VIEW_DIFFERENTIAL, ELEMENT_L_H},
                {"inductor_pi", "Qdiff", VIEW_DIFFERENTIAL, ELEMENT_Q},     {"capacitor", "Cseries_farad", VIEW_SERIES, ELEMENT_C_F},
                {"capacitor", "Rseries_ohm", VIEW_SERIES, ELEMENT_R_OHM},   {"capacitor", "Qseries", VIEW_SERIES, ELEMENT_Q_C},
                {"capacitor", "C11_farad", VIEW_SINGLE, ELEMENT_C_F},
        };
        rows = check_csv("extraction.csv", &row_n, &text);
        size_t checked = 0;
        for (size_t r = 0; r < row_n; r++)
                for (size_t k = 0; k < sizeof asked / sizeof asked[0]; k++) {
                        char **c = rows[r].cell;
                        if (strcmp(c[0], asked[k].name) != 0 || strcmp(c[2], asked[k].what) != 0 || c[1][0] == '\0')
                                continue;
                        double hz = atof(c[1]), want = atof(c[3]), got;
                        struct m2 s = s_of(c[0], hz);
                        double complex grad[4];
                        got = rf_element(asked[k].view, asked[k].element, s, 50, hz, grad);
                        /* at 70 kHz a part of 4e-4 ohm stands beside 50 ohm (1 nH), or 1e-6 in S (100 fF with 0.8 ohm: R is 1e-11 of |Z|)
                         */
                        double tol = hz >= 1e9 ? 1e-10 : strcmp(c[0], "capacitor") == 0 && asked[k].element != ELEMENT_C_F ? 1e-2 : 1e-8;
                        check_relative(c[2], hz, got, want, tol);
                        checked++;
                        if (hz < 1e9)
                                continue;
                        for (int e = 0; e < 4;
                             e++) { /* gradient against central differences; 1e-8 because Q = 2000 bends within 1e-6 of S */
                                for (int turn = 0; turn < 2; turn++) {
                                        double complex h = turn ? CMPLX(0, 1e-8) : 1e-8;
                                        struct m2 up = s, down = s;
                                        up.e[e] += h;
                                        down.e[e] -= h;
                                        double num = (rf_element(asked[k].view, asked[k].element, up, 50, hz, NULL) -
                                                      rf_element(asked[k].view, asked[k].element, down, 50, hz, NULL)) /
                                                     2e-8;
                                        double want_d = turn ? -cimag(grad[e]) : creal(grad[e]); /* Re(grad * j) = -Im grad */
                                        double scale = 0;
                                        for (int q = 0; q < 4; q++)
                                                scale = fmax(scale, cabs(grad[q]));
                                        if (!(fabs(num - want_d) <= 1e-5 * scale + 1e-9 * fabs(got)))
                                                fail_msg("gradient of %s by S%d: %.9g, differences give %.9g", c[2], e, want_d, num);
                                }
                        }
                }
        assert_int_equal(checked, 7 * 7 + 4 * 6);
        free(rows);
        free(text);
}

static void a_short_and_an_isolating_device_give_nan_or_a_number_never_zero(void **state)
{
        (void)state;
        assert_true(isnan(rf_element(VIEW_SERIES, ELEMENT_L_H, m2_of(1, 0, 0, 1), 50, 1e9, NULL)));
        assert_true(isnan(rf_element(VIEW_SINGLE, ELEMENT_Q, m2_of(NAN, 0, 0, 1), 50, 1e9, NULL)));
}

/* The pi inductor of extraction.csv at any frequency, by its elements. */
static struct m2 inductor(double hz)
{
        double complex s = CMPLX(0, RF_TWO_PI * hz), y3 = 1 / (4 + s * 1e-9) + s * 6e-15;
        double complex y1 = 1 / (1 / (s * 40e-15) + 1 / (1 / 250.0 + s * 15e-15)),
                       y2 = 1 / (1 / (s * 36e-15) + 1 / (1 / 300.0 + s * 13e-15));
        return rf_s_from_y(m2_of(y1 + y3, -y3, -y3, y2 + y3), 50);
}

static void resonances_lie_where_the_closed_forms_say(void **state)
{
        (void)state;
        rows = check_csv("extraction.csv", &row_n, &text);
        struct arena *arena = arena_new(0);
        size_t n = 600;
        double *hz = arena_take(arena, n * sizeof *hz);
        for (size_t i = 0; i < n; i++)
                hz[i] = 100e6 * (double)(i + 1);
        struct axis axis;
        assert_int_equal(axis_of(n, hz, &axis, NULL), CODE_OK);
        struct net2 *net = net_new(&axis, PLANE_TIP, arena);
        for (size_t i = 0; i < n; i++)
                net2_put(net, i, inductor(hz[i]));
        bool found;
        double f;
        double complex want;
        /* 1e-5: linear interpolation over 100 MHz of a smooth susceptance */
        assert_int_equal(rf_self_resonance(net, VIEW_SINGLE, false, &found, &f, NULL), CODE_OK);
        assert_true(found && value_of("inductor_pi", -1, "SRF11_hz", "", "", false, &want));
        check_relative("SRF11", f, f, want, 1e-5);
        assert_int_equal(rf_self_resonance(net, VIEW_DIFFERENTIAL, false, &found, &f, NULL), CODE_OK);
        assert_true(found && value_of("inductor_pi", -1, "SRFdiff_hz", "", "", false, &want));
        check_relative("SRFdiff", f, f, want, 1e-5);
        /* the lossless tank, its resonance at 112.5395 GHz, needs a longer sweep: first none, then found */
        for (int longer = 0; longer < 2; longer++) {
                for (size_t i = 0; i < n; i++)
                        hz[i] = (longer ? 300e6 : 100e6) * (double)(i + 1);
                assert_int_equal(axis_of(n, hz, &axis, NULL), CODE_OK);
                for (size_t i = 0; i < n; i++) {
                        double complex s = CMPLX(0, RF_TWO_PI * hz[i]), y = 1 / (0.1 + s * 200e-12) + s * 10e-15;
                        net2_put(net, i, rf_s_from_y(m2_of(y, -y, -y, y), 50));
                }
                assert_int_equal(rf_self_resonance(net, VIEW_SINGLE, false, &found, &f, NULL), CODE_OK);
                assert_int_equal(found, longer);
        }
        assert_true(value_of("tank_200pH_10fF", -1, "SRF_hz", "", "", false, &want));
        check_relative("tank", f, f, want, 1e-5);
        /* capacitor: 100 fF with 12 pH */
        for (size_t i = 0; i < n; i++) {
                double complex s = CMPLX(0, RF_TWO_PI * hz[i]), y = 1 / (0.8 + s * 12e-12 + 1 / (s * 100e-15));
                net2_put(net, i, rf_s_from_y(m2_of(s * 8e-15 + y, -y, -y, s * 5e-15 + y), 50));
        }
        assert_int_equal(rf_self_resonance(net, VIEW_SERIES, true, &found, &f, NULL), CODE_OK);
        assert_true(found && value_of("capacitor", -1, "SRF_hz", "", "", false, &want));
        check_relative("SRF of the capacitor", f, f, want, 1e-5);
        arena_free(arena);
        free(rows);
        free(text);
}

static void interpolation_of_y_keeps_l_and_q(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        double *hz = arena_take(arena, 40 * sizeof *hz);
        for (size_t i = 0; i < 40; i++)
                hz[i] = 1e9 + 250e6 * (double)i;
        struct axis axis;
        assert_int_equal(axis_of(40, hz, &axis, NULL), CODE_OK);
        struct net2 *net = net_new(&axis, PLANE_TIP, arena);
        for (size_t i = 0; i < 40; i++)
                net2_put(net, i, inductor(hz[i]));
        struct m2 s;
        for (double f = 2.1e9; f < 10e9; f += 0.77e9) {
                assert_int_equal(rf_interpolate(net, f, &s, NULL), CODE_OK);
                double q = rf_element(VIEW_SINGLE, ELEMENT_Q, s, 50, f, NULL),
                       want = rf_element(VIEW_SINGLE, ELEMENT_Q, inductor(f), 50, f, NULL);
                double l = rf_element(VIEW_SINGLE, ELEMENT_L_H, s, 50, f, NULL),
                       want_l = rf_element(VIEW_SINGLE, ELEMENT_L_H, inductor(f), 50, f, NULL);
                /* third-order remainder of Y ~ 1/f over +-0.5 GHz at 2 GHz: (1/4)^3 of Y in the worst place, in Q 2 %; above 4 GHz far less
                 */
                check_relative("Q", f, q, want, f < 4e9 ? 3e-2 : 1e-3);
                check_relative("L", f, l, want_l, f < 4e9 ? 1e-2 : 5e-4);
        }
        /* a point of the axis is itself */
        assert_int_equal(rf_interpolate(net, hz[7], &s, NULL), CODE_OK);
        assert_true(m2_distance(s, net2_get(net, 7)) == 0);
        /* a parabola is met exactly, at the ends too */
        size_t first, m;
        double w[5];
        for (double f = hz[0] + 1e6; f < hz[39]; f += 1.13e9) {
                assert_int_equal(rf_interpolation(&axis, f, &first, &m, w, NULL), CODE_OK);
                double sum = 0, one = 0;
                for (size_t j = 0; j < m; j++) {
                        double x = hz[first + j] / 1e9;
                        sum += w[j] * (3 - 2 * x + 0.5 * x * x);
                        one += w[j];
                }
                check_close("weights", f, one, 1, 1e-12);
                if (hz[first + m - 1] <= 2 * hz[first])
                        check_close("parabola", f, sum, 3 - 2 * f / 1e9 + 0.5 * f * f / 1e18, 1e-11);
        }
        struct tp_error err = {0};
        assert_int_equal(rf_interpolate(net, 30e9, &s, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "outside the sweep"));
        arena_free(arena);
}

static void a_line_gives_gamma_and_zc(void **state)
{
        (void)state;
        rows = check_csv("extraction.csv", &row_n, &text);
        static const double hz[] = {70e3, 1e6, 1e9, 54e9, 110e9, 220e9};
        struct arena *arena = arena_new(0);
        struct axis axis;
        assert_int_equal(axis_of(6, hz, &axis, NULL), CODE_OK);
        struct net2 *net = net_new(&axis, PLANE_TIP, arena);
        for (size_t i = 0; i < 6; i++)
                net2_put(net, i, s_of("line_1mm", hz[i]));
        double g_re[6], g_im[6], z_re[6], z_im[6];
        bool valid[6];
        assert_int_equal(rf_line_extract(net, 1e-3, g_re, g_im, z_re, z_im, valid, NULL), CODE_OK);
        for (size_t i = 0; i < 6; i++) {
                double complex g, z;
                assert_true(value_of("line_1mm", hz[i], "gamma_per_m", "", "", false, &g) &&
                            value_of("line_1mm", hz[i], "Zc_ohm", "", "", false, &z));
                double tol = hz[i] < 1e9 ? 1e-8 : 1e-10; /* sinh gl = 4e-4 at 70 kHz: e^{gl} keeps four digits less */
                check_relative("gamma", hz[i], CMPLX(g_re[i], g_im[i]), g, tol);
                check_relative("Zc", hz[i], CMPLX(z_re[i], z_im[i]), z, tol);
                assert_int_equal(valid[i], hz[i] > 10e9);
        }
        arena_free(arena);
        free(rows);
        free(text);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(elements_come_out),
                cmocka_unit_test(a_short_and_an_isolating_device_give_nan_or_a_number_never_zero),
                cmocka_unit_test(resonances_lie_where_the_closed_forms_say),
                cmocka_unit_test(interpolation_of_y_keeps_l_and_q),
                cmocka_unit_test(a_line_gives_gamma_and_zc),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
