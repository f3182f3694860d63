/* Circuits fitted to S: what went in comes out, uncertainties are true, what the data do not determine is said; varactors; bad input. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <malloc.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "base/arena.h"
#include "rf/models/circuit.h"

#define N 161
static uint64_t seed;
static double draw(double lo, double hi)
{
        seed += 0x9e3779b97f4a7c15u; /* splitmix64 */
        uint64_t z = seed;
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
        return lo + (hi - lo) * (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}
static double gauss(void) { return sqrt(-2 * log(draw(1e-12, 1))) * cos(RF_TWO_PI * draw(0, 1)); }

static double hz[N], re[4][N], im[4][N];
static struct axis axis;
static struct model_data data;

/* The textbook's formulas once more, written apart from circuit_shapes.c. */
static double complex under(double w, double cox, double rsub, double csub)
{
        double complex z = 1 / CMPLX(0, w * cox);
        if (rsub > 0)
                z += 1 / (1 / rsub + CMPLX(0, w * csub));
        return 1 / z;
}
enum truth { INDUCTOR, INDUCTOR_SKIN, CAPACITOR, CAPACITOR_SUBSTRATE, RESISTOR, RESISTOR_SKIN, LINE, TRUTHS };
static const struct {
        enum circuit_kind kind;
        struct circuit_options o;
        struct {
                const char *name;
                double value;
        } element[10];
} truths[TRUTHS] = {
        [INDUCTOR] = {CIRCUIT_INDUCTOR,
                      {0},
                      {{"ls", 1e-9},
                       {"rs", 4},
                       {"cp", 6e-15},
                       {"cox1", 40e-15},
                       {"rsub1", 250},
                       {"csub1", 15e-15},
                       {"cox2", 36e-15},
                       {"rsub2", 300},
                       {"csub2", 13e-15}}},
        [INDUCTOR_SKIN] = {CIRCUIT_INDUCTOR,
                           {.skin = true},
                           {{"ls", 0.4e-9},
                            {"rs", 2},
                            {"cp", 4e-15},
                            {"cox1", 60e-15},
                            {"rsub1", 150},
                            {"csub1", 20e-15},
                            {"cox2", 55e-15},
                            {"rsub2", 180},
                            {"csub2", 18e-15},
                            {"f_skin", 8e9}}},
        [CAPACITOR] = {CIRCUIT_CAPACITOR, {0}, {{"c", 100e-15}, {"rs", 0.8}, {"ls", 12e-12}, {"cox1", 8e-15}, {"cox2", 5e-15}}},
        [CAPACITOR_SUBSTRATE] =
                {CIRCUIT_CAPACITOR,
                 {.substrate = true},
                 {{"c", 300e-15}, {"rs", 0.5}, {"ls", 15e-12}, {"cox1", 12e-15}, {"rsub1", 200}, {"cox2", 7e-15}, {"rsub2", 100}}},
        [RESISTOR] = {CIRCUIT_RESISTOR, {0}, {{"r", 50}, {"l", 20e-12}, {"c", 1.5e-15}, {"cg1", 3e-15}, {"cg2", 2.5e-15}}},
        [RESISTOR_SKIN] = {CIRCUIT_RESISTOR,
                           {.skin = true},
                           {{"r", 25}, {"l", 30e-12}, {"c", 2e-15}, {"cg1", 3e-15}, {"cg2", 4e-15}, {"f_skin", 30e9}}},
        [LINE] = {CIRCUIT_LINE, {.length_m = 1e-3}, {{"r", 3000}, {"l", 4.2e-7}, {"g_tan", 0.004}, {"c", 1.5e-10}, {"f_skin", 5e9}}},
};
static double value_of(enum truth t, const char *name)
{
        for (size_t i = 0; i < 10 && truths[t].element[i].name; i++)
                if (strcmp(truths[t].element[i].name, name) == 0)
                        return truths[t].element[i].value;
        return 0;
}
#define V(name) value_of(t, name)
static void s_of(enum truth t, double f, double complex s[4])
{
        double w = RF_TWO_PI * f;
        double complex series = 0, left = 0, right = 0, skin = V("f_skin") > 0 ? csqrt(CMPLX(1, f / V("f_skin"))) : 1;
        if (t == LINE) {
                double complex z = V("r") * skin + CMPLX(0, w * V("l")), y = w * V("c") * CMPLX(V("g_tan"), 1);
                double complex g = csqrt(z * y) * 1e-3, zc = csqrt(z / y);
                series = 1 / (zc * csinh(g));
                left = right = ctanh(g / 2) / zc;
        } else if (t == INDUCTOR || t == INDUCTOR_SKIN) {
                series = 1 / (V("rs") * skin + CMPLX(0, w * V("ls"))) + CMPLX(0, w * V("cp"));
                left = under(w, V("cox1"), V("rsub1"), V("csub1"));
                right = under(w, V("cox2"), V("rsub2"), V("csub2"));
        } else if (t == CAPACITOR || t == CAPACITOR_SUBSTRATE) {
                series = 1 / (V("rs") + CMPLX(0, w * V("ls")) + 1 / CMPLX(0, w * V("c")));
                left = under(w, V("cox1"), V("rsub1"), 0);
                right = under(w, V("cox2"), V("rsub2"), 0);
        } else {
                series = 1 / (V("r") * skin + CMPLX(0, w * V("l"))) + CMPLX(0, w * V("c"));
                left = CMPLX(0, w * V("cg1"));
                right = CMPLX(0, w * V("cg2"));
        }
        double complex a = 50 * (left + series), b = -50 * series, d = 50 * (right + series), det = (1 + a) * (1 + d) - b * b;
        s[0] = ((1 - a) * (1 + d) + b * b) / det;
        s[1] = s[2] = -2 * b / det;
        s[3] = ((1 + a) * (1 - d) + b * b) / det;
}
static void measure(enum truth t, double noise)
{
        for (size_t i = 0; i < N; i++) {
                double complex s[4];
                hz[i] = 70e3 * pow(220e9 / 70e3, (double)i / (N - 1));
                s_of(t, hz[i], s);
                for (int q = 0; q < 4; q++) {
                        re[q][i] = creal(s[q]) + noise * gauss();
                        im[q][i] = cimag(s[q]) + noise * gauss();
                }
        }
        assert_int_equal(axis_of(N, hz, &axis, NULL), CODE_OK);
        data = (struct model_data){
                .axis = &axis, .ports = 2, .z_ohm = 50, .re = {re[0], re[1], re[2], re[3]}, .im = {im[0], im[1], im[2], im[3]}};
}

/* Without noise every element of every kind to 1e-6 (seen: 1e-12), and the model's own S agrees with formulas written apart. */
static void elements_come_back(void **state)
{
        (void)state;
        for (enum truth t = 0; t < TRUTHS; t++) {
                struct circuit c;
                struct tp_error err = {0};
                measure(t, 0);
                if (rf_fit_circuit(truths[t].kind, &data, &truths[t].o, &c, &err))
                        fail_msg("%s", err.text);
                size_t n = 0;
                for (; n < 10 && truths[t].element[n].name; n++) {
                        const struct circuit_element *e = circuit_element_of(&c, truths[t].element[n].name);
                        assert_non_null(e);
                        if (!(fabs(e->value / truths[t].element[n].value - 1) < 1e-6) || e->dropped || e->undetermined)
                                fail_msg("%s %s: %.12g, true %.12g", circuit_words[c.kind], e->name, e->value, truths[t].element[n].value);
                }
                assert_int_equal(n, c.element_n);
                assert_true(c.error.worst < 1e-9 && c.error.band_n >= 5);
                double complex s[4], is[4];
                circuit_s_at(&c, 33e9, is);
                s_of(t, 33e9, s);
                for (int q = 0; q < 4; q++)
                        assert_true(cabs(s[q] - is[q]) < 1e-9);
        }
}

/* 16 repetitions in noise: stated standard uncertainties cover the truth as they should: squares of error / u average near 1 over all
   elements, with u given or read from the residuals.  (Limits: chi-square of 16, 99.9 %: 0.25 … 2.45, widened for elements whose error is
   not quite linear.) */
static void uncertainties_are_true(void **state)
{
        (void)state;
        for (enum truth t = 0; t < TRUTHS; t++) {
                double sum[10] = {0};
                size_t used[10] = {0};
                for (int trial = 0; trial < 16; trial++) {
                        struct circuit c;
                        struct tp_error err = {0};
                        seed = 1000 * (uint64_t)t + (uint64_t)trial;
                        measure(t, 2e-4);
                        struct circuit_options o = truths[t].o;
                        o.u = trial % 2 ? 2e-4 : 0;
                        if (rf_fit_circuit(truths[t].kind, &data, &o, &c, &err))
                                fail_msg("%s", err.text);
                        if (trial % 2)
                                assert_true(c.misfit > 0.9 && c.misfit < 1.1);
                        else
                                assert_true(isnan(c.misfit));
                        for (size_t i = 0; i < c.element_n; i++) {
                                if (c.element[i].dropped)
                                        continue;
                                double z = (c.element[i].value - truths[t].element[i].value) / c.element[i].u;
                                sum[i] += z * z;
                                used[i]++;
                        }
                }
                for (size_t i = 0; i < 10 && truths[t].element[i].name; i++)
                        if (used[i] < 15 || !(sum[i] / (double)used[i] < 2.8 && sum[i] / (double)used[i] > 0.15))
                                fail_msg("%s %s: mean of (error/u)^2 is %.3g over %zu", circuit_words[truths[t].kind],
                                         truths[t].element[i].name, sum[i] / (double)used[i], used[i]);
        }
}

/* A skin effect that is not there, csub that is not there: dropped by name, the rest unharmed. */
static void absent_elements_leave(void **state)
{
        (void)state;
        struct circuit c;
        struct tp_error err = {0};
        measure(INDUCTOR, 1e-4);
        struct circuit_options o = {.skin = true, .u = 1e-4};
        if (rf_fit_circuit(CIRCUIT_INDUCTOR, &data, &o, &c, &err))
                fail_msg("%s", err.text);
        const struct circuit_element *skin = circuit_element_of(&c, "f_skin"), *ls = circuit_element_of(&c, "ls");
        assert_true(skin->dropped || skin->value > 1e12); /* far above the band */
        assert_true(fabs(ls->value - 1e-9) < 5 * ls->u);
        /* below 500 MHz an inductor's substrate says nothing of csub */
        for (size_t i = 0; i < N; i++) {
                double complex s[4];
                hz[i] = 70e3 * pow(500e6 / 70e3, (double)i / (N - 1));
                s_of(INDUCTOR, hz[i], s);
                for (int q = 0; q < 4; q++) {
                        re[q][i] = creal(s[q]) + 1e-4 * gauss();
                        im[q][i] = cimag(s[q]) + 1e-4 * gauss();
                }
        }
        assert_int_equal(axis_of(N, hz, &axis, NULL), CODE_OK);
        o = (struct circuit_options){.u = 1e-4};
        if (rf_fit_circuit(CIRCUIT_INDUCTOR, &data, &o, &c, &err))
                fail_msg("%s", err.text);
        for (int side = 0; side < 2; side++) {
                const struct circuit_element *csub = circuit_element_of(&c, side ? "csub2" : "csub1");
                assert_true(csub->dropped || csub->undetermined);
        }
        ls = circuit_element_of(&c, "ls");
        assert_true(!ls->dropped && !ls->undetermined && fabs(ls->value - 1e-9) < 5 * ls->u);
}

/* One-ports: port 2 grounded, and floating. */
static void inductor_one_port(void **state)
{
        (void)state;
        for (int floating = 0; floating < 2; floating++) {
                measure(INDUCTOR, 0);
                for (size_t i = 0; i < N; i++) {
                        double w = RF_TWO_PI * hz[i];
                        double complex shunt = under(w, 40e-15, 250, 15e-15), y = 1 / CMPLX(4, w * 1e-9) + CMPLX(0, w * 6e-15);
                        y += floating ? shunt / 2 : shunt;
                        double complex g = (1 - 50 * y) / (1 + 50 * y);
                        re[0][i] = creal(g);
                        im[0][i] = cimag(g);
                }
                data.ports = 1;
                struct circuit c;
                struct tp_error err = {0};
                if (rf_fit_circuit(CIRCUIT_INDUCTOR, &data, &(struct circuit_options){.differential = floating == 1}, &c, &err))
                        fail_msg("%s", err.text);
                assert_int_equal(c.element_n, 5); /* cp cannot be told from the shunt */
                assert_true(c.error.worst < 1e-9);
                assert_true(fabs(circuit_element_of(&c, "ls")->value / 1e-9 - 1) < 1e-6 &&
                            fabs(circuit_element_of(&c, "rs")->value / 4 - 1) < 1e-6);
                assert_true(c.condition < 1e6 && !circuit_element_of(&c, "cox1")->undetermined);
        }
}

static void wrong_circuits_are_refused(void **state)
{
        (void)state;
        struct circuit c;
        struct tp_error err = {0};
        measure(LINE, 0);
        assert_int_equal(rf_fit_circuit(CIRCUIT_RESISTOR, &data, &(struct circuit_options){0}, &c, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "a resistor does not describe these data"));
        measure(CAPACITOR, 0);
        assert_int_equal(rf_fit_circuit(CIRCUIT_INDUCTOR, &data, &(struct circuit_options){0}, &c, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "an inductor"));
        for (size_t i = 0; i < N; i++) { /* a perfect thru has no Y */
                re[0][i] = re[3][i] = im[0][i] = im[1][i] = im[2][i] = im[3][i] = 0;
                re[1][i] = re[2][i] = 1;
        }
        assert_int_equal(rf_fit_circuit(CIRCUIT_RESISTOR, &data, &(struct circuit_options){0}, &c, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "Y does not exist"));
}

static void bad_input_is_named(void **state)
{
        (void)state;
        struct circuit c;
        struct tp_error err;
#define REFUSED(kind, change, word)                                                          \
        do {                                                                                 \
                measure(RESISTOR, 0);                                                        \
                struct circuit_options o = {.length_m = 1e-3};                               \
                change;                                                                      \
                memset(&err, 0, sizeof err);                                                 \
                assert_int_equal(rf_fit_circuit(kind, &data, &o, &c, &err), CODE_BAD_INPUT); \
                if (!strstr(err.text, word))                                                 \
                        fail_msg("\"%s\" does not say \"%s\"", err.text, word);              \
        } while (0)
        double u[N];
        for (int i = 0; i < N; i++)
                u[i] = 1e-3;
        REFUSED(CIRCUIT_UNKNOWN, (void)o, "no such circuit");
        REFUSED(CIRCUIT_COUNT, (void)o, "no such circuit");
        REFUSED(CIRCUIT_RESISTOR, data.ports = 3, "one or two ports");
        REFUSED(CIRCUIT_RESISTOR, data.z_ohm = NAN, "reference impedance");
        REFUSED(CIRCUIT_LINE, o.length_m = 0, "needs its length");
        REFUSED(CIRCUIT_LINE, data.ports = 1, "two-port data");
        REFUSED(CIRCUIT_RESISTOR, o.differential = true, "differential");
        REFUSED(CIRCUIT_RESISTOR, o.u = -1, "uncertainty of S is -1");
        REFUSED(CIRCUIT_RESISTOR, o.u = NAN, "uncertainty of S is nan");
        REFUSED(CIRCUIT_RESISTOR, re[2][5] = NAN, "S21 is not a number");
        REFUSED(CIRCUIT_RESISTOR, hz[9] = hz[8], "frequency 10");
        REFUSED(CIRCUIT_RESISTOR, axis.n = 2, "2 frequencies are too few");
        REFUSED(CIRCUIT_RESISTOR, (u[4] = 0, o.u_of[0] = o.u_of[1] = o.u_of[2] = o.u_of[3] = u), "uncertainty of S11");
}

static void varactor(void **state)
{
        (void)state;
        double v[25], c[25], u[25];
        struct depletion d;
        struct tp_error err;
        for (int i = 0; i < 25; i++) {
                v[i] = -0.4 + 0.2 * i;
                c[i] = 80e-15 / pow(1 + v[i] / 0.75, 0.42) + 6e-15;
                u[i] = 2e-3 * c[i];
        }
        assert_int_equal(rf_fit_depletion(25, v, c, NULL, &d, NULL), CODE_OK);
        assert_true(fabs(d.cj0_f / 80e-15 - 1) < 1e-6 && fabs(d.phi_v - 0.75) < 1e-6 && fabs(d.m - 0.42) < 1e-6 &&
                    fabs(d.cp_f / 6e-15 - 1) < 1e-5);
        assert_true(fabs(d.tuning - c[0] / c[24]) < 1e-12 && !d.cp_dropped);
        double sum[3] = {0};
        for (int trial = 0; trial < 60; trial++) { /* noise: u is true */
                double noisy[25];
                seed = 77 + (uint64_t)trial;
                for (int i = 0; i < 25; i++)
                        noisy[i] = c[i] * (1 + 2e-3 * gauss()) - 6e-15;
                assert_int_equal(rf_fit_depletion(25, v, noisy, u, &d, NULL), CODE_OK);
                if (!d.cp_dropped)
                        continue;
                sum[0] += 1;
                sum[1] += pow((d.m - 0.42) / d.u_m, 2);
                sum[2] += pow((d.phi_v - 0.75) / d.u_phi_v, 2);
        }
        assert_true(sum[0] > 20);
        assert_true(sum[1] / sum[0] < 3 && sum[2] / sum[0] < 3);
#define BAD(n, change, word)                                                                \
        do {                                                                                \
                double vv[25], cc[25];                                                      \
                memcpy(vv, v, sizeof vv);                                                   \
                memcpy(cc, c, sizeof cc);                                                   \
                change;                                                                     \
                memset(&err, 0, sizeof err);                                                \
                assert_int_not_equal(rf_fit_depletion(n, vv, cc, NULL, &d, &err), CODE_OK); \
                if (!strstr(err.text, word))                                                \
                        fail_msg("\"%s\" does not say \"%s\"", err.text, word);             \
        } while (0)
        BAD(4, (void)0, "measure at least 5");
        BAD(25, cc[3] = 0, "bias point 4");
        BAD(25, vv[3] = NAN, "bias point 4");
        BAD(25, for (int i = 0; i < 25; i++) vv[i] = 1 + 1e-4 * i, "lie within");
        BAD(25, for (int i = 0; i < 25; i++) cc[i] = 1e-14 * (1 + (i % 2)), "no depletion law");
}

/* Twice the same bytes; nothing allocated. */
static void the_same_twice_and_no_memory(void **state)
{
        (void)state;
        static struct circuit c[2];
        seed = 4;
        measure(INDUCTOR_SKIN, 1e-3);
        struct mallinfo2 before = mallinfo2();
        for (int i = 0; i < 2; i++) {
                memset(&c[i], 0, sizeof c[i]);
                assert_int_equal(rf_fit_circuit(CIRCUIT_INDUCTOR, &data, &truths[INDUCTOR_SKIN].o, &c[i], NULL), CODE_OK);
        }
        struct mallinfo2 after = mallinfo2();
        assert_true(before.uordblks == after.uordblks && before.arena == after.arena);
        for (size_t i = 0; i < c[0].element_n; i++)
                assert_true(c[0].element[i].value == c[1].element[i].value && c[0].element[i].u == c[1].element[i].u);
        assert_true(c[0].rms == c[1].rms);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(elements_come_back),
                cmocka_unit_test(uncertainties_are_true),
                cmocka_unit_test(absent_elements_leave),
                cmocka_unit_test(inductor_one_port),
                cmocka_unit_test(wrong_circuits_are_refused),
                cmocka_unit_test(bad_input_is_named),
                cmocka_unit_test(varactor),
                cmocka_unit_test(the_same_twice_and_no_memory),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
