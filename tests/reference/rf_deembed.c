/* deembed.csv: structures built from known elements; the bare device must come out, by every method. */
#include "rf_check.h"
#include "rf/network/convert.h"
#include "rf/deembed/deembed.h"

enum { POINTS = 5 };
static const double hz[POINTS] = {70e3, 1e9, 54e9, 110e9, 220e9};

struct table {
        struct check_row *rows;
        size_t n;
        char *text;
        struct arena *arena;
        struct axis axis;
};
static struct table table_open(void)
{
        struct table t = {.arena = arena_new(0)};
        t.rows = check_csv("deembed.csv", &t.n, &t.text);
        assert_int_equal(axis_of(POINTS, hz, &t.axis, NULL), CODE_OK);
        return t;
}
static void table_done(struct table *t)
{
        arena_free(t->arena);
        free(t->rows);
        free(t->text);
}

static bool cell_of(const struct table *t, const char *name, double f, const char *what, int i, int j, double complex *ret)
{
        for (size_t r = 0; r < t->n; r++) {
                char **c = t->rows[r].cell;
                if (strcmp(c[0], name) != 0 || atof(c[1]) != f || strcmp(c[2], what) != 0 || atoi(c[3]) != i || atoi(c[4]) != j)
                        continue;
                *ret = CMPLX(atof(c[5]), atof(c[6]));
                return true;
        }
        return false;
}
static bool matrix_of(const struct table *t, const char *name, double f, const char *what, struct m2 *ret)
{
        for (int k = 0; k < 4; k++)
                if (!cell_of(t, name, f, what, 1 + k / 2, 1 + k % 2, &ret->e[k]))
                        return false;
        return true;
}
/* NULL: the table has no such structure. */
static struct net2 *structure(const struct table *t, const char *name, const char *what)
{
        struct net2 *net = net_new(&t->axis, PLANE_TIP, t->arena);
        struct m2 m;
        for (size_t i = 0; i < POINTS; i++) {
                if (!matrix_of(t, name, hz[i], what, &m))
                        return NULL;
                net2_put(net, i, m);
        }
        return net;
}

/* The table's case and its names for the dummies of each method. */
static const struct {
        enum deembed_method method;
        const char *name, *measured;
        const char *dummy[RF_DUMMY_COUNT];
} cases[] = {
        {RF_DEEMBED_OPEN, "open", "measured", {[RF_DUMMY_OPEN] = "open"}},
        {RF_DEEMBED_SHORT, "short", "measured", {[RF_DUMMY_SHORT] = "short"}},
        {RF_DEEMBED_OPEN_SHORT, "open_short", "measured", {[RF_DUMMY_OPEN] = "open", [RF_DUMMY_SHORT] = "short"}},
        {RF_DEEMBED_SHORT_OPEN, "short_open", "measured", {[RF_DUMMY_OPEN] = "open", [RF_DUMMY_SHORT] = "short"}},
        {RF_DEEMBED_PAD_OPEN_SHORT,
         "pad_open_short",
         "measured",
         {[RF_DUMMY_OPEN] = "open", [RF_DUMMY_SHORT] = "short", [RF_DUMMY_PAD] = "pad"}},
        {RF_DEEMBED_THREE_STEP,
         "three_step",
         "measured",
         {[RF_DUMMY_OPEN] = "open", [RF_DUMMY_THRU] = "thru", [RF_DUMMY_SHORT_LEFT] = "short1", [RF_DUMMY_SHORT_RIGHT] = "short2"}},
        {RF_DEEMBED_THRU_PI, "thru_half", "measured", {[RF_DUMMY_THRU] = "thru"}},
        {RF_DEEMBED_TWO_X_THRU, "two_x_thru", "measured", {[RF_DUMMY_TWO_X_THRU] = "two_x_thru", [RF_DUMMY_HALF] = "half"}},
};
#define CASE_N (sizeof cases / sizeof cases[0])

/* At 70 kHz two nearly equal large Z are subtracted: eight digits are left, else a few roundings. */
static double tolerance(double f) { return f < 1e6 ? 1e-8 : 1e-12; }

/* Moving every dummy by 1e-6: the linear change against the true one.  Second order: 1e-12 times the curvature of the method, which
   reaches 1e4 at 1 GHz, where open and short dummies act at 1e-2 of S. */
static void derivative_check(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], double f)
{
        struct m2 d[RF_DUMMY_COUNT] = {{{0}}}, moved[RF_DUMMY_COUNT], at = rf_deembed_point(method, s, 50);
        for (int k = 0; k < RF_DUMMY_COUNT; k++) {
                bool used = k == RF_DUMMY_DEVICE || (((rf_deembed_methods[method].wants | rf_deembed_methods[method].may) >> k) & 1u);
                double turn = 1 + 0.3 * k;
                if (used)
                        d[k] = m2_scale(1e-6, m2_of(CMPLX(1, turn), CMPLX(-1, 0.2), CMPLX(-0.5, turn), CMPLX(2, -turn)));
                moved[k] = m2_add(s[k], d[k]);
        }
        struct m2 change = rf_deembed_change(method, s, d, 50), after = rf_deembed_point(method, moved, 50);
        check_close_m2("change", f, m2_add(at, change), after, 2e-8);
        assert_true(m2_distance(after, at) > 1e-7);
}

static void every_method_gives_the_bare_device(void **state)
{
        (void)state;
        struct table t = table_open();
        for (size_t c = 0; c < CASE_N; c++) {
                enum deembed_method method = cases[c].method;
                struct net2 *measured = structure(&t, cases[c].name, cases[c].measured), *out = net_new(&t.axis, PLANE_UNKNOWN, t.arena);
                struct dummies dummies = {{0}};
                struct rf_named_dummy named[RF_DUMMY_COUNT];
                size_t named_n = 0;
                for (int k = 1; k < RF_DUMMY_COUNT; k++)
                        if (cases[c].dummy[k]) {
                                assert_non_null(dummies.of[k] = structure(&t, cases[c].name, cases[c].dummy[k]));
                                named[named_n++] = (struct rf_named_dummy){rf_dummy_words[k], dummies.of[k]};
                        }
                assert_non_null(measured);
                struct tp_error err = {0};
                if (rf_deembed_by_word(rf_deembed_words[method], measured, named, named_n, out, NULL, &err))
                        fail_msg("%s: %s", cases[c].name, err.text);
                assert_int_equal(out->plane, PLANE_DEVICE);
                for (size_t i = 0; i < POINTS; i++) {
                        struct m2 device, s[RF_DUMMY_COUNT] = {[RF_DUMMY_DEVICE] = net2_get(measured, i)};
                        assert_true(matrix_of(&t, cases[c].name, hz[i], "device", &device));
                        check_close_m2(cases[c].name, hz[i], net2_get(out, i), device, tolerance(hz[i]));
                        for (int k = 1; k < RF_DUMMY_COUNT; k++)
                                if (dummies.of[k])
                                        s[k] = net2_get(dummies.of[k], i);
                        if (hz[i] >= 1e9)
                                derivative_check(method, s, hz[i]);
                }
                for (int k = 1; k < RF_DUMMY_COUNT; k++) { /* a missing dummy is named */
                        struct dummies less = dummies;
                        if (!((rf_deembed_methods[method].wants >> k) & 1u))
                                continue;
                        char want[40];
                        snprintf(want, sizeof want, "%s dummy", rf_dummy_words[k]);
                        less.of[k] = NULL;
                        assert_int_equal(rf_deembed(method, measured, &less, out, NULL, &err), CODE_BAD_INPUT);
                        assert_non_null(strstr(err.text, want));
                }
        }
        table_done(&t);
}

static void halves_are_the_ones_that_were_built(void **state)
{
        (void)state;
        struct table t = table_open();
        struct m2 half;
        for (size_t i = 0; i < POINTS; i++) {
                struct m2 s[RF_DUMMY_COUNT] = {{{0}}};
                assert_true(matrix_of(&t, "thru_half", hz[i], "thru", &s[RF_DUMMY_THRU]));
                assert_true(matrix_of(&t, "thru_half", hz[i], "half", &half));
                check_close_m2("half of the thru", hz[i], rf_deembed_half_point(RF_DEEMBED_THRU_PI, s, 50, 0), half, tolerance(hz[i]));
        }
        for (size_t i = 0; i < POINTS; i++) { /* steps of this table are too wide to follow the sign: it is given */
                struct m2 s[RF_DUMMY_COUNT] = {{{0}}};
                assert_true(matrix_of(&t, "two_x_thru", hz[i], "two_x_thru", &s[RF_DUMMY_TWO_X_THRU]));
                assert_true(matrix_of(&t, "two_x_thru", hz[i], "half", &half));
                s[RF_DUMMY_HALF].e[0] = half.e[0];
                check_close_m2("half of the 2x-thru", hz[i], rf_deembed_half_point(RF_DEEMBED_TWO_X_THRU, s, 50, half.e[2]), half,
                               tolerance(hz[i]));
        }
        table_done(&t);
}

static void two_lines_give_pads_line_and_gamma(void **state)
{
        (void)state;
        struct table t = table_open();
        struct net2 *line = structure(&t, "L_2L", "line_L"), *twice = structure(&t, "L_2L", "line_2L"),
                    *out = net_new(&t.axis, PLANE_UNKNOWN, t.arena);
        struct dummies dummies = {{[RF_DUMMY_LINE] = line, [RF_DUMMY_LINE_DOUBLE] = twice}};
        struct tp_error err = {0};
        /* the shorter line as the device: the bare line must be left */
        if (rf_deembed(RF_DEEMBED_L_2L, line, &dummies, out, NULL, &err))
                fail_msg("%s", err.text);
        double re[POINTS], im[POINTS];
        bool valid[POINTS];
        if (rf_l2l_gamma(line, twice, 400e-6, re, im, valid, &err))
                fail_msg("%s", err.text);
        for (size_t i = 0; i < POINTS; i++) {
                struct m2 pads, bare, s[RF_DUMMY_COUNT] = {{{0}}};
                double complex gamma;
                assert_true(matrix_of(&t, "L_2L", hz[i], "pads_back_to_back", &pads));
                assert_true(matrix_of(&t, "L_2L", hz[i], "device_line_L", &bare));
                assert_true(cell_of(&t, "L_2L", hz[i], "gamma_per_m", 0, 0, &gamma));
                check_close_m2("pads", hz[i], rf_l2l_pads(net2_get(line, i), net2_get(twice, i)), pads, tolerance(hz[i]));
                check_close_m2("bare line", hz[i], net2_get(out, i), bare, tolerance(hz[i]));
                /* gamma l is 2e-4 at 70 kHz, and the two eigenvalues lie 4e-4 apart */
                check_relative("gamma", hz[i], CMPLX(re[i], im[i]), gamma, hz[i] < 1e6 ? 1e-8 : 1e-11);
                assert_int_equal(valid[i], cabs(csinh(gamma * 400e-6)) >= 0.3);
                s[RF_DUMMY_DEVICE] = s[RF_DUMMY_LINE] = net2_get(line, i);
                s[RF_DUMMY_LINE_DOUBLE] = net2_get(twice, i);
                if (hz[i] >= 1e9)
                        derivative_check(RF_DEEMBED_L_2L, s, hz[i]);
        }
        table_done(&t);
}

/* The tee has no row in the table: its truth is made here from the same elements, series outside. */
static void the_tee_halves_of_a_thru_come_off(void **state)
{
        (void)state;
        for (size_t i = 0; i < POINTS; i++) {
                double complex w = CMPLX(0, RF_TWO_PI * hz[i]), zs = 0.4 + w * 18e-12, y = w * 9e-15 + 1e-5, yd = 1 / (2 + w * 1e-10);
                struct m2 left = m2_mul(m2_of(1, zs, 0, 1), m2_of(1, 0, y, 1)), right = m2_mul(m2_of(1, 0, y, 1), m2_of(1, zs, 0, 1));
                struct m2 device = m2_mul(m2_of(1, 0, w * 4e-15, 1), m2_of(1, 1 / yd, 0, 1));
                struct m2 s[RF_DUMMY_COUNT] = {[RF_DUMMY_DEVICE] = rf_s_from_abcd(m2_mul(left, m2_mul(device, right)), 50),
                                               [RF_DUMMY_THRU] = rf_s_from_abcd(m2_mul(left, right), 50)};
                check_close_m2("tee", hz[i], rf_deembed_point(RF_DEEMBED_THRU_TEE, s, 50), rf_s_from_abcd(device, 50), tolerance(hz[i]));
                check_close_m2("half of the tee", hz[i], rf_deembed_half_point(RF_DEEMBED_THRU_TEE, s, 50, 0), rf_s_from_abcd(left, 50),
                               tolerance(hz[i]));
                if (hz[i] >= 1e9)
                        derivative_check(RF_DEEMBED_THRU_TEE, s, hz[i]);
        }
}

/* The structure of scikit-rf's public de-embedding data, from the netlists in its test's docstring: 25 fF pads to ground, a lead of 2 ohm
   at each side, 10 fF of coupling between the pads, a device of 1 nH.  Only elements that open-short can take off: exact. */
static void the_public_structure_gives_back_1_nh(void **state)
{
        (void)state;
        for (double f = 1e8; f < 120e9; f *= 2.1) {
                double complex w = CMPLX(0, RF_TWO_PI * f), pad = w * 25e-15, coupling = w * 10e-15;
                struct m2 pads = m2_of(pad + coupling, -coupling, -coupling, pad + coupling);
                double complex lead = 2, device = w * 1e-9;
                struct m2 through = m2_scale(1 / (2 * lead + device), m2_of(1, -1, -1, 1));
                struct m2 s[RF_DUMMY_COUNT] = {[RF_DUMMY_DEVICE] = rf_s_from_y(m2_add(pads, through), 50),
                                               [RF_DUMMY_OPEN] = rf_s_from_y(pads, 50),
                                               [RF_DUMMY_SHORT] = rf_s_from_y(m2_add(pads, m2_diag(1 / lead, 1 / lead)), 50)};
                double complex y12 = rf_deembed_y_point(RF_DEEMBED_OPEN_SHORT, s, 50).e[1];
                check_relative("1 nH", f, cimag(-1 / y12) / (RF_TWO_PI * f), 1e-9, 1e-12);
                assert_true(fabs(creal(-1 / y12)) < 1e-9);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(every_method_gives_the_bare_device), cmocka_unit_test(halves_are_the_ones_that_were_built),
                cmocka_unit_test(two_lines_give_pads_line_and_gamma), cmocka_unit_test(the_tee_halves_of_a_thru_come_off),
                cmocka_unit_test(the_public_structure_gives_back_1_nh)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
