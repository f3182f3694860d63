/* extraction.csv: every row through the table of quantities, and every gradient against central differences. */
#include "rf_check.h"
#include "rf/network/convert.h"
#include "rf/extract/quantity.h"

static struct check_row *rows;
static size_t row_n;
static char *text;
static struct arena *arena;

static int rows_open(void **state)
{
        (void)state;
        rows = check_csv("extraction.csv", &row_n, &text);
        arena = arena_new(0);
        return 0;
}
static int rows_done(void **state)
{
        (void)state;
        arena_free(arena);
        free(rows);
        free(text);
        return 0;
}

/* hz < 0: the row without frequency. */
static bool row_of(const char *name, double hz, const char *what, double complex *ret)
{
        for (size_t r = 0; r < row_n; r++) {
                char **c = rows[r].cell;
                if (strcmp(c[0], name) != 0 || strcmp(c[2], what) != 0 || (hz < 0 ? c[1][0] != '\0' : c[1][0] == '\0' || atof(c[1]) != hz))
                        continue;
                *ret = CMPLX(atof(c[3]), atof(c[4]));
                return true;
        }
        return false;
}
static bool s_of(const char *name, double hz, struct m2 *s)
{
        static const char *const what[4] = {"S11", "S12", "S21", "S22"};
        for (int k = 0; k < 4; k++)
                if (!row_of(name, hz, what[k], &s->e[k]))
                        return false;
        return true;
}

enum take { RE, IM, ABS, IM_W, RE_ONLY };
/* Which word answers which row; IM_W: the row is w times the number. */
static const struct {
        const char *name, *what;
        enum take take;
        enum rf_quantity q;
} table[] = {
        {"inductor_pi", "L11_henry", RE, RF_Q_L11},
        {"inductor_pi", "Q11", RE, RF_Q_Q11},
        {"inductor_pi", "R11_ohm", RE, RF_Q_R11},
        {"inductor_pi", "Lseries_henry", RE, RF_Q_LSER},
        {"inductor_pi", "Rseries_ohm", RE, RF_Q_RSER},
        {"inductor_pi", "Ldiff_henry", RE, RF_Q_LD},
        {"inductor_pi", "Qdiff", RE, RF_Q_QD},
        {"inductor_pi", "Zdiff_ohm", RE, RF_Q_RD},
        {"inductor_pi", "Zdiff_ohm", IM_W, RF_Q_LD},
        {"inductor_pi", "Ysh1_siemens", RE, RF_Q_PI_G1},
        {"inductor_pi", "Ysh1_siemens", IM_W, RF_Q_PI_C1},
        {"inductor_pi", "Ysh2_siemens", RE, RF_Q_PI_G2},
        {"inductor_pi", "Ysh2_siemens", IM_W, RF_Q_PI_C2},
        {"capacitor", "Cseries_farad", RE, RF_Q_CSER},
        {"capacitor", "Rseries_ohm", RE, RF_Q_RSER},
        {"capacitor", "Qseries", RE, RF_Q_QCSER},
        {"capacitor", "C11_farad", RE, RF_Q_C11},
        {"line_1mm", "gamma_per_m", RE, RF_Q_ALPHA},
        {"line_1mm", "gamma_per_m", IM, RF_Q_BETA},
        {"line_1mm", "Zc_ohm", RE, RF_Q_ZC},
        {"line_1mm", "Zc_ohm", IM, RF_Q_ZC_IM},
        {"line_1mm", "R_ohm_per_m", RE, RF_Q_R_LINE},
        {"line_1mm", "L_H_per_m", RE, RF_Q_L_LINE},
        {"line_1mm", "G_S_per_m", RE, RF_Q_G_LINE},
        {"line_1mm", "C_F_per_m", RE, RF_Q_C_LINE},
        {"line_1mm", "eps_eff", RE, RF_Q_EPS_EFF},
        {"line_1mm", "loss_dB_per_mm", RE, RF_Q_LOSS},
        {"fet_unilateral", "h21", ABS, RF_Q_H21},
        {"fet_unilateral", "U", RE, RF_Q_U},
        {"fet_bilateral", "h21", ABS, RF_Q_H21},
        {"fet_bilateral", "U", RE, RF_Q_U},
        {"fet_bilateral", "K", RE, RF_Q_K},
        {"fet_bilateral", "mu", RE, RF_Q_MU},
        {"fet_bilateral", "mu_prime", RE, RF_Q_MU_PRIME},
        {"fet_bilateral", "B1", RE, RF_Q_B1},
        {"fet_bilateral", "MSG", RE, RF_Q_MSG},
        {"fet_bilateral", "MAG", RE, RF_Q_MAG},
};
#define TABLE_N (sizeof table / sizeof table[0])

/* Relative.  At 1 GHz and above 1e-10 everywhere; below, what the structure leaves of double precision (S good to 1e-16):
   1 nH at 70 kHz is 4e-6 of S; 0.8 ohm beside 100 fF is 1e-11 of |Z|; 4e-8 S to ground are 2e-6 of Y; G of a line is tan d = 1e-3 of that.
 */
static double tolerance(size_t k, double hz)
{
        enum rf_quantity q = table[k].q;
        if (hz >= 1e9)
                return 1e-10;
        if (strcmp(table[k].name, "capacitor") == 0 && (q == RF_Q_RSER || q == RF_Q_QCSER))
                return 1e-2;
        if (q == RF_Q_PI_G1 || q == RF_Q_PI_G2) /* 8e-14 S beside 0.25 S */
                return 1e-2;
        if (q == RF_Q_EPS_EFF) /* a diffusion line: alpha = beta to 1 %, and the difference of their squares is asked */
                return 1e-7;
        if (q == RF_Q_G_LINE)
                return 1e-5;
        return 1e-8;
}

static size_t gradients_checked;
static void gradient_check(enum rf_quantity q, struct m2 s, const struct rf_at *at)
{
        double complex grad[4];
        double value = rf_quantity_at(q, s, at, grad), size = 0;
        if (!isfinite(value))
                return;
        for (int e = 0; e < 4; e++)
                size = fmax(size, cabs(grad[e]));
        assert_true(isfinite(size));
        for (int e = 0; e < 4; e++)
                for (int turn = 0; turn < 2; turn++) {
                        /* small against the way to the next pole: U of a good transistor bends within 1e-7 of S */
                        double h = fmin(1e-7, fmax(1e-10, 1e-4 * fabs(value) / size));
                        struct m2 up = s, down = s;
                        up.e[e] += turn ? CMPLX(0, h) : h;
                        down.e[e] -= turn ? CMPLX(0, h) : h;
                        double num = (rf_quantity_at(q, up, at, NULL) - rf_quantity_at(q, down, at, NULL)) / (2 * h);
                        double want = turn ? -cimag(grad[e]) : creal(grad[e]); /* Re(grad * j) = -Im grad */
                        if (!(fabs(num - want) <= 3e-5 * size + 1e-9 * fabs(value)))
                                fail_msg("gradient of %s by S%d%d%s at %g Hz: %.9g, differences give %.9g", rf_quantities[q].word,
                                         1 + e / 2, 1 + e % 2, turn ? " (imaginary)" : "", at->hz, want, num);
                        gradients_checked++;
                }
}

static void every_row_comes_out(void **state)
{
        (void)state;
        size_t checked = 0;
        for (size_t r = 0; r < row_n; r++)
                for (size_t k = 0; k < TABLE_N; k++) {
                        char **c = rows[r].cell;
                        struct m2 s;
                        if (strcmp(c[0], table[k].name) != 0 || strcmp(c[2], table[k].what) != 0 || c[1][0] == '\0')
                                continue;
                        double hz = atof(c[1]), w = RF_TWO_PI * hz;
                        double complex gamma = 0, row = CMPLX(atof(c[3]), atof(c[4]));
                        assert_true(s_of(c[0], hz, &s));
                        struct rf_at at = {.hz = hz, .z_ref = 50, .length_m = 1e-3};
                        /* the turns are followed from below in a sweep (lines_are_followed); here the branch is given, 7 % away */
                        if (row_of("line_1mm", hz, "gamma_per_m", &gamma))
                                at.near = 0.93e-3 * gamma;
                        double got = rf_quantity_at(table[k].q, s, &at, NULL);
                        double want = table[k].take == IM     ? cimag(row)
                                      : table[k].take == IM_W ? cimag(row) / w
                                      : table[k].take == ABS  ? cabs(row)
                                                              : creal(row);
                        check_relative(c[2], hz, got, want, tolerance(k, hz));
                        checked++;
                        if (table[k].q == RF_Q_BETA && row_of("line_1mm", hz, "turns", &gamma))
                                assert_true(floor(got * 1e-3 / RF_TWO_PI + 0.5) == creal(gamma));
                }
        assert_int_equal(checked, 7 * 13 + 6 * 4 + 6 * 10 + 5 * 2 + 6 * 7 + 1);
}

/* Two points of a measured transistor in scikit-rf's public test set (skrf/tests/fet.s2p) with the maximum gain published beside it. */
static void a_measured_transistor_has_its_published_gain(void **state)
{
        (void)state;
        static const struct {
                double hz;
                double s[8], gain_db;
        } fet[] = {{30e9,
                    {-0.15729355707583725, -0.6876187298787073, 0.19470126132317414, 0.0642973388338408, 0.057190448408817346,
                     1.1527575174177795, 0.1291607573681655, -0.479906682610223},
                    7.50426330},
                   {30.4e9,
                    {-0.1725494759263058, -0.6823414970647577, 0.1956270045815239, 0.06285721144402952, 0.07181357940441453,
                     1.1399751656991883, 0.12865405354730058, -0.47767522485370495},
                    7.44991405}};
        for (size_t k = 0; k < 2; k++) {
                struct rf_at at = {.hz = fet[k].hz, .z_ref = 50};
                struct m2 s;
                for (int e = 0; e < 4; e++)
                        s.e[e] = CMPLX(fet[k].s[2 * e], fet[k].s[2 * e + 1]);
                double gain = rf_quantity_at(RF_Q_GMAX_DB, s, &at, NULL);
                if (!(fabs(gain - fet[k].gain_db) < 1e-8)) /* the publication has nine digits */
                        fail_msg("maximum gain %.10g dB, published %.10g", gain, fet[k].gain_db);
        }
}

/* Every quantity of a point, on a network that has it: a FET with all its elements, and a line for the lines' numbers. */
static struct m2 fet_y(double hz)
{
        double complex w = CMPLX(0, RF_TWO_PI * hz);
        double complex in = 1 / (2.5 + 1 / (w * 40e-15)), back = 1 / (1.5 + 1 / (w * 9e-15)),
                       gm = 0.06 * cexp(-w * 0.4e-12) / (1 + w * 2.5 * 40e-15), out = 0.006 + w * 12e-15;
        return m2_of(in + back, -back, gm - back, out + back);
}

static void every_gradient_is_the_derivative(void **state)
{
        (void)state;
        static const double at_hz[] = {2e9, 11e9, 73e9};
        gradients_checked = 0;
        for (int q = 1; q < RF_Q_COUNT; q++)
                for (size_t k = 0; k < 3; k++) {
                        struct rf_at at = {.hz = at_hz[k], .z_ref = 50, .length_m = 300e-6};
                        struct m2 s = rf_s_from_y(fet_y(at.hz), 50);
                        if (rf_quantities[q].group == RF_GROUP_LINE) {
                                double complex gl = CMPLX(20, RF_TWO_PI * at.hz * 2.2 / RF_C0_M_S) * 300e-6;
                                s = rf_s_from_abcd(m2_of(ccosh(gl), CMPLX(60, -2) * csinh(gl), csinh(gl) / CMPLX(60, -2), ccosh(gl)), 50);
                        }
                        gradient_check((enum rf_quantity)q, s, &at);
                }
        print_message("%zu partial derivatives\n", gradients_checked);
        /* 3 frequencies, 8 partials each, of all but the eleven of a sweep and the group delay; MAG, MAG_dB exist at none or some */
        assert_true(gradients_checked >= 24 * (RF_Q_COUNT - 1 - 12 - 2));
        /* MAG where K > 1 */
        struct m2 s;
        assert_true(s_of("fet_bilateral", 220e9, &s));
        struct rf_at at = {.hz = 220e9, .z_ref = 50};
        size_t before = gradients_checked;
        gradient_check(RF_Q_MAG, s, &at);
        gradient_check(RF_Q_GMAX_DB, s, &at);
        assert_int_equal(gradients_checked, before + 16);
}

static void intrinsic_elements_come_back(void **state)
{
        (void)state;
        static const struct {
                enum rf_quantity q;
                double want;
        } fet[] = {{RF_Q_FET_GM, 0.06},   {RF_Q_FET_TAU, 0.4e-12}, {RF_Q_FET_GDS, 0.006}, {RF_Q_FET_CGS, 40e-15},
                   {RF_Q_FET_CGD, 9e-15}, {RF_Q_FET_CDS, 12e-15},  {RF_Q_FET_RI, 2.5},    {RF_Q_FET_RGD, 1.5}},
          hbt[] = {{RF_Q_HBT_GM, 0.8},     {RF_Q_HBT_TAU, 0.3e-12}, {RF_Q_HBT_RPI, 300},  {RF_Q_HBT_CPI, 500e-15},
                   {RF_Q_HBT_CMU, 12e-15}, {RF_Q_HBT_RO, 9000},     {RF_Q_HBT_CO, 3e-15}, {RF_Q_HBT_BETA, 240}};
        for (double hz = 1e9; hz < 120e9; hz *= 1.7) {
                double complex w = CMPLX(0, RF_TWO_PI * hz), in = 1 / 300.0 + w * 500e-15, mu = w * 12e-15, out = 1 / 9000.0 + w * 3e-15;
                struct m2 a = rf_s_from_y(fet_y(hz), 50), b = rf_s_from_y(m2_of(in + mu, -mu, 0.8 * cexp(-w * 0.3e-12) - mu, out + mu), 50);
                struct rf_at at = {.hz = hz, .z_ref = 50};
                for (size_t k = 0; k < 8; k++) {
                        check_relative(rf_quantities[fet[k].q].word, hz, rf_quantity_at(fet[k].q, a, &at, NULL), fet[k].want, 1e-10);
                        check_relative(rf_quantities[hbt[k].q].word, hz, rf_quantity_at(hbt[k].q, b, &at, NULL), hbt[k].want, 1e-9);
                }
        }
}

/* ---- whole sweeps ------------------------------------------------------------------------------------------------------------------ */
static double hz_of[4000];
static struct axis axis;
static struct net2 net_on(size_t n, double first, double step)
{
        for (size_t i = 0; i < n; i++)
                hz_of[i] = first + step * (double)i;
        assert_int_equal(axis_of(n, hz_of, &axis, NULL), CODE_OK);
        return net2_at(arena_take(arena, net2_bytes(n)), &axis, PLANE_DEVICE);
}
static double one_number(const struct net2 *net, const char *word, const struct rf_ask *ask, struct rf_extracted *ret)
{
        struct tp_error err = {0};
        if (rf_extract(net, word, ask, arena, ret, &err))
                fail_msg("%s: %s", word, err.text);
        assert_int_equal(ret->n, 1);
        return ret->value[0];
}

/* The two transistors of the table, by their elements. */
static struct m2 unilateral(double hz)
{
        double complex jwc = CMPLX(0, RF_TWO_PI * hz * 40e-15);
        return rf_s_from_y(m2_of(jwc / (1 + 4 * jwc), 0, 0.06 / (1 + 4 * jwc), 0.006), 50);
}
static struct m2 bilateral(double hz)
{
        double complex w = CMPLX(0, RF_TWO_PI * hz);
        struct m2 z = m2_inv(m2_of(w * 49e-15, -w * 9e-15, 0.06 - w * 9e-15, 0.006 + w * 21e-15));
        return rf_s_from_z50(m2_add(z, m2_of(5.5, 1.5, 1.5, 1.5)), 50);
}

static void ft_and_fmax_are_extrapolations(void **state)
{
        (void)state;
        struct rf_extracted got;
        double complex want;
        /* exact: one pole, U f^2 constant */
        struct net2 net = net_on(400, 0.5e9, 0.5e9);
        for (size_t i = 0; i < axis.n; i++)
                net2_put(&net, i, unilateral(axis.hz[i]));
        assert_true(row_of("fet_unilateral", -1, "fT_hz", &want));
        check_relative("fT", 0, one_number(&net, "fT", NULL, &got), want, 1e-12);
        assert_true(got.range.lo_hz == 5e9 && got.range.hi_hz == 40e9 && got.u[0] < 1e-9 * got.value[0]);
        check_relative("fT_im", 0, one_number(&net, "fT_im", NULL, &got), want, 1e-12);
        assert_true(row_of("fet_unilateral", -1, "fmax_hz", &want));
        check_relative("fmax", 0, one_number(&net, "fmax", NULL, &got), want, 1e-12);
        /* the table's five points and their mean */
        static const double five[] = {5e9, 10e9, 20e9, 30e9, 40e9};
        struct axis few;
        assert_int_equal(axis_of(5, five, &few, NULL), CODE_OK);
        struct net2 sparse = net2_at(arena_take(arena, net2_bytes(5)), &few, PLANE_DEVICE);
        for (size_t i = 0; i < 5; i++) {
                struct rf_at at = {.hz = five[i], .z_ref = 50};
                net2_put(&sparse, i, bilateral(five[i]));
                assert_true(row_of("fet_bilateral", five[i], "f_times_absh21_hz", &want));
                check_relative("f |h21|", five[i], five[i] * rf_quantity_at(RF_Q_H21, bilateral(five[i]), &at, NULL), want, 1e-12);
        }
        assert_true(row_of("fet_bilateral", -1, "fT_extrapolated_5_40GHz_hz", &want));
        check_relative("fT", 0, one_number(&sparse, "fT", NULL, &got), want, 1e-12);
        /* a dense sweep tells the same within its stated spread, and not the crossing of one */
        net = net_on(440, 0.5e9, 0.5e9);
        for (size_t i = 0; i < axis.n; i++)
                net2_put(&net, i, bilateral(axis.hz[i]));
        double f_t = one_number(&net, "fT", NULL, &got);
        assert_true(fabs(f_t - creal(want)) <= 2 * got.u[0] && got.u[0] < 0.01 * f_t);
        /* 1/Im(1/h21) of these elements far below every pole, by Y = (Z of them)^-1, and not what its product with f comes to on its way up */
        double complex far = rf_y_from_s(bilateral(1e7), 50).e[0] / rf_y_from_s(bilateral(1e7), 50).e[2];
        double mean = 0, f_im = one_number(&net, "fT_im", NULL, &got);
        for (size_t i = 9; i < 80; i++) /* 5 to 40 GHz */
                mean += axis.hz[i] /
                        fabs(cimag(rf_y_from_s(bilateral(axis.hz[i]), 50).e[0] / rf_y_from_s(bilateral(axis.hz[i]), 50).e[2])) / 71;
        double beside = f_im * fabs(cimag(far)) / 1e7 - 1, mean_beside = mean * fabs(cimag(far)) / 1e7 - 1;
        print_message("fT_im: %.2g beside its slope at f = 0, the mean over the window %.2g; stated u %.2g\n", beside, mean_beside,
                      got.u[0] / f_im);
        assert_true(fabs(beside) < 2 * got.u[0] / f_im && fabs(beside) < 0.1 * fabs(mean_beside) && got.u[0] < 1e-3 * f_im);
        for (double hz = 1e9; hz < 200e9; hz *= 3)
                gradient_check(RF_Q_FT_IM, bilateral(hz), &(struct rf_at){.hz = hz, .z_ref = 50});
        double complex crossing;
        assert_true(row_of("fet_bilateral", -1, "fT_unity_crossing_hz", &crossing));
        assert_true(fabs(f_t / creal(crossing) - 1) > 0.04);
        /* the crossing of the table is one of this very model: |h21| = 1 there, U = 1 at the other one */
        struct rf_at at = {.hz = creal(crossing), .z_ref = 50};
        check_relative("|h21| at its crossing", at.hz, rf_quantity_at(RF_Q_H21, bilateral(at.hz), &at, NULL), 1, 1e-12);
        assert_true(row_of("fet_bilateral", -1, "fmax_U_unity_crossing_hz", &crossing));
        at.hz = creal(crossing);
        check_relative("U at its crossing", at.hz, rf_quantity_at(RF_Q_U, bilateral(at.hz), &at, NULL), 1, 1e-11);
        one_number(&net, "fmax", NULL, &got);
        assert_true(got.u[0] > 0 && got.u[0] < 0.2 * got.value[0]);
}

static struct m2 inductor(double hz)
{
        double complex s = CMPLX(0, RF_TWO_PI * hz), y3 = 1 / (4 + s * 1e-9) + s * 6e-15;
        double complex y1 = 1 / (1 / (s * 40e-15) + 1 / (1 / 250.0 + s * 15e-15)),
                       y2 = 1 / (1 / (s * 36e-15) + 1 / (1 / 300.0 + s * 13e-15));
        return rf_s_from_y(m2_of(y1 + y3, -y3, -y3, y2 + y3), 50);
}
static void resonances_of_both_views(void **state)
{
        (void)state;
        struct rf_extracted got;
        double complex want;
        struct net2 net = net_on(650, 100e6, 100e6);
        double *u_s = arena_take(arena, axis.n * sizeof *u_s);
        for (size_t i = 0; i < axis.n; i++) {
                net2_put(&net, i, inductor(axis.hz[i]));
                u_s[i] = 1e-3;
        }
        struct rf_ask ask = {.u_s = u_s};
        /* 1e-5: linear interpolation over 100 MHz of a smooth susceptance */
        assert_true(row_of("inductor_pi", -1, "SRF11_hz", &want));
        check_relative("SRF11", 0, one_number(&net, "SRF11", &ask, &got), want, 1e-5);
        /* u by the slope of B = wC - 1/wL around resonance: moving S by u must move the zero by about u */
        struct net2 moved = net2_at(arena_take(arena, net2_bytes(axis.n)), &axis, PLANE_DEVICE);
        double sum = 0, base = got.value[0], u = got.u[0];
        for (int e = 0; e < 4; e++)
                for (int turn = 0; turn < 2; turn++) {
                        net2_copy(&moved, &net);
                        for (size_t i = 0; i < axis.n; i++) {
                                struct m2 s = net2_get(&net, i);
                                s.e[e] += turn ? CMPLX(0, 1e-4) : 1e-4;
                                net2_put(&moved, i, s);
                        }
                        struct rf_extracted other;
                        double d = (one_number(&moved, "SRF11", NULL, &other) - base) * 10;
                        sum += d * d;
                }
        assert_true(fabs(sqrt(sum) / u - 1) < 0.05);
        assert_true(row_of("inductor_pi", -1, "SRFdiff_hz", &want));
        check_relative("SRFd", 0, one_number(&net, "SRFd", NULL, &got), want, 1e-5);
        /* 100 MHz steps at 4 GHz: the parabola's third order, 3e-4 of an octave */
        assert_true(row_of("inductor_pi", -1, "Qmax", &want));
        check_relative("Q11_max", 0, one_number(&net, "Q11_max", &ask, &got), want, 1e-5);
        assert_true(got.u[0] > 0 && got.u[0] < 0.1 * got.value[0]);
        assert_true(row_of("inductor_pi", -1, "f_of_Qmax_hz", &want));
        check_relative("Q11_max_hz", 0, one_number(&net, "Q11_max_hz", &ask, &got), want, 1e-3);
        assert_true(got.u[0] > 0 && got.u[0] < 0.3 * got.value[0]);
        net = net_on(20, 100e6, 100e6); /* Q still rises: refused */
        for (size_t i = 0; i < axis.n; i++)
                net2_put(&net, i, inductor(axis.hz[i]));
        struct tp_error err = {0};
        assert_int_equal(rf_extract(&net, "Q11_max", NULL, arena, &got, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "sweep wider"));
        net = net_on(600, 300e6, 300e6);
        for (size_t i = 0; i < axis.n; i++) {
                double complex s = CMPLX(0, RF_TWO_PI * axis.hz[i]), y = 1 / (0.1 + s * 200e-12) + s * 10e-15;
                net2_put(&net, i, rf_s_from_y(m2_of(y, -y, -y, y), 50));
        }
        assert_true(row_of("tank_200pH_10fF", -1, "SRF_hz", &want));
        check_relative("tank", 0, one_number(&net, "SRFser", NULL, &got), want, 1e-5);
        for (size_t i = 0; i < axis.n; i++) {
                double complex s = CMPLX(0, RF_TWO_PI * axis.hz[i]), y = 1 / (0.8 + s * 12e-12 + 1 / (s * 100e-15));
                net2_put(&net, i, rf_s_from_y(m2_of(s * 8e-15 + y, -y, -y, s * 5e-15 + y), 50));
        }
        assert_true(row_of("capacitor", -1, "SRF_hz", &want));
        check_relative("SRF of the capacitor", 0, one_number(&net, "SRFser", NULL, &got), want, 1e-5);
}

/* A line over a sweep: turns followed up to 220 GHz (the table says how many), group delay of a line without dispersion is its delay. */
static void lines_are_followed(void **state)
{
        (void)state;
        struct rf_extracted got, delay;
        struct tp_error err = {0};
        struct net2 net = net_on(220, 1e9, 1e9);
        for (size_t i = 0; i < axis.n; i++) {
                double complex gl = CMPLX(30 * sqrt(axis.hz[i] / 1e11), RF_TWO_PI * axis.hz[i] * 2.4 / RF_C0_M_S) * 1e-3;
                net2_put(&net, i, rf_s_from_abcd(m2_of(ccosh(gl), 55 * csinh(gl), csinh(gl) / 55, ccosh(gl)), 50));
        }
        struct rf_ask ask = {.length_m = 1e-3};
        assert_int_equal(rf_extract(&net, "delay", &ask, arena, &delay, &err), CODE_OK);
        assert_int_equal(rf_extract(&net, "group_delay", &ask, arena, &got, &err), CODE_OK);
        for (size_t i = 0; i < axis.n; i++) {
                check_relative("delay", axis.hz[i], delay.value[i], 2.4e-3 / RF_C0_M_S, 1e-11);
                check_relative("group delay", axis.hz[i], got.value[i], 2.4e-3 / RF_C0_M_S, 1e-9);
        }
        assert_int_equal(rf_extract(&net, "Zc", &ask, arena, &got, &err), CODE_OK);
        assert_true(got.missing_n > 3 && got.missing_n < 100 && strstr(got.say, "half a wavelength"));
        for (size_t i = 0; i < axis.n; i++)
                if (isfinite(got.value[i]))
                        check_relative("Zc", axis.hz[i], got.value[i], 55, 1e-11);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(every_row_comes_out),
                                           cmocka_unit_test(a_measured_transistor_has_its_published_gain),
                                           cmocka_unit_test(every_gradient_is_the_derivative),
                                           cmocka_unit_test(intrinsic_elements_come_back),
                                           cmocka_unit_test(ft_and_fmax_are_extrapolations),
                                           cmocka_unit_test(resonances_of_both_views),
                                           cmocka_unit_test(lines_are_followed)};
        return cmocka_run_group_tests(tests, rows_open, rows_done);
}
