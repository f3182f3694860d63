/* Standards: definitions checked, their uncertainties against finite changes and random draws, loads trimmed, data interpolated,
   definitions solved from noisy data with honest uncertainties, and what cannot be told refused. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include "rf/network/convert.h"
#include "rf/calibrate/standards_solve.h"
#include "tests/unit/rf_synth.h"

static const struct standard_definition an_open = {.kind = RF_OPEN, .c_f = {-6.5e-15, 1e-27, -2e-38, 1e-49}};
static const struct standard_definition a_short = {.kind = RF_SHORT, .l_h = {4e-12, -3e-25, 2e-36, 0}};
static const struct standard_definition a_load = {.kind = RF_LOAD, .r_ohm = 50.15, .r_per_k = 80e-6, .t_ref_c = 25, .l_h = {9e-12}};

static void numbers_that_are_none_are_refused(void **state)
{
        (void)state;
        struct tp_error err = {0};
#define REFUSED(base, change, word)                                                               \
        do {                                                                                      \
                struct standard_definition d = base;                                              \
                change;                                                                           \
                if (rf_standard_check(&d, 25, &err) != CODE_BAD_INPUT || !strstr(err.text, word)) \
                        fail_msg("wanted \"%s\", got \"%s\"", word, err.text);                    \
        } while (0)
        REFUSED(an_open, d.c_f[2] = NAN, "C2 of the open is nan");
        REFUSED(a_short, d.l_h[0] = INFINITY, "L0 of the short is inf");
        REFUSED(a_load, d.r_ohm = 0, "above 0");
        REFUSED(a_load, d.r_ohm = -50, "above 0");
        REFUSED(a_load, (d.r_per_k = -0.1, d.t_ref_c = 0), "above 0");
        REFUSED(a_load, d.r_tolerance_ohm = 50.15, "lets a short pass");
        REFUSED(a_load, d.r_tolerance_ohm = -1, "r_tolerance_ohm is -1");
        REFUSED(a_load, d.offset_z_ohm = -1, "negative");
        REFUSED(a_load, d.offset_loss_ohm_s = -1e9, "negative");
        REFUSED(a_load, d.offset_delay_s = NAN, "delay");
        REFUSED(an_open, d.kind = RF_REFLECT, "no definition");
        REFUSED(an_open, d.kind = RF_STANDARD_COUNT, "no definition");
        for (int k = 0; k < 3; k++) { /* negative C and L are what they are */
                struct standard_definition d = k == 0 ? an_open : k == 1 ? a_short : a_load;
                d.c_f[0] = -9e-15;
                d.l_h[0] = -5e-12;
                assert_int_equal(rf_standard_check(&d, 25, &err), CODE_OK);
        }
        double complex g = rf_standard_reflection(&an_open, 25, 110e9);
        assert_true(cimag(g) > 0.2); /* a negative capacitance lies in the inductive half: not repaired */
}

static void a_load_is_its_circuit_at_its_temperature(void **state)
{
        (void)state;
        struct standard_definition d = a_load;
        double hz = 60e9, w = RF_TWO_PI * hz;
        d.c_f[0] = 2e-15;
        d.l_h[1] = 1e-23;
        double complex z = CMPLX(50.15 * (1 + 80e-6 * 100), w * (9e-12 + 1e-23 * hz)), y = 1 / z + CMPLX(0, w * 2e-15);
        assert_true(cabs(rf_standard_reflection(&d, 125, hz) - (1 - 50 * y) / (1 + 50 * y)) < 1e-15);
}

static void causes_are_what_a_change_does(void **state)
{
        (void)state;
        struct standard_definition d = a_load;
        d.offset_delay_s = 0.3e-12;
        d.offset_loss_ohm_s = 10e9;
        d.offset_z_ohm = 45;
        d.c_f[0] = 1e-15;
        d.u = (struct standard_u){.c_f = {0.2e-15},
                                  .l_h = {1e-12, 1e-24},
                                  .r_ohm = 0.1,
                                  .r_per_k = 20e-6,
                                  .offset_delay_s = 5e-15,
                                  .offset_loss_ohm_s = 1e9,
                                  .offset_z_ohm = 1};
        double complex cause[RF_STANDARD_CAUSES];
        const char *name[RF_STANDARD_CAUSES];
        double hz = 90e9, sum = 0;
        size_t n = rf_standard_causes(&d, 75, 0.5, hz, cause, name);
        assert_int_equal(n, 9);
        for (size_t k = 0; k < n; k++) {
                struct standard_definition m = d;
                double t_c = 75;
                if (!strcmp(name[k], "C0"))
                        m.c_f[0] += 0.2e-18;
                else if (!strcmp(name[k], "L0"))
                        m.l_h[0] += 1e-15;
                else if (!strcmp(name[k], "L1"))
                        m.l_h[1] += 1e-27;
                else if (!strcmp(name[k], "R"))
                        m.r_ohm += 0.1e-3;
                else if (!strcmp(name[k], "R per kelvin"))
                        m.r_per_k += 20e-9;
                else if (!strcmp(name[k], "offset delay"))
                        m.offset_delay_s += 5e-18;
                else if (!strcmp(name[k], "offset loss"))
                        m.offset_loss_ohm_s += 1e6;
                else if (!strcmp(name[k], "offset impedance"))
                        m.offset_z_ohm += 1e-3;
                else if (!strcmp(name[k], "temperature"))
                        t_c += 0.5e-3;
                else
                        fail_msg("cause %s", name[k]);
                double complex want = (rf_standard_reflection(&m, t_c, hz) - rf_standard_reflection(&d, 75, hz)) * 1e3;
                if (!(cabs(cause[k] - want) <= 2e-3 * cabs(want) + 1e-12)) /* second order of a thousandth */
                        fail_msg("%s: %g%+gj, by difference %g%+gj", name[k], creal(cause[k]), cimag(cause[k]), creal(want), cimag(want));
                sum += creal(want * conj(want));
        }
        assert_true(fabs(rf_standard_u(&d, 75, 0.5, hz) / sqrt(sum / 2) - 1) < 2e-3);
        struct standard_definition thru = {.kind = RF_THRU, .offset_delay_s = 1e-12, .u = {.offset_delay_s = 10e-15}};
        assert_true(fabs(rf_standard_u(&thru, 25, 0, hz) * sqrt(2) / (RF_TWO_PI * hz * 10e-15) - 1) < 1e-6);
        assert_true(rf_standard_u(&a_short, 25, 1, hz) == 0); /* nothing is uncertain, and only loads know the temperature */
}

static void a_load_is_trimmed_by_its_own_reading(void **state)
{
        (void)state;
        struct standard_definition d = {
                .kind = RF_LOAD, .r_ohm = 50, .r_per_k = 80e-6, .t_ref_c = 25, .u = {.r_ohm = 0.15, .r_per_k = 10e-6}};
        struct tp_error err = {0};
        double warm = 50.15 * (1 + 80e-6 * 100);
        assert_int_equal(rf_standard_trim_load(&d, warm, 0.005, 125, &err), CODE_OK);
        assert_true(fabs(d.r_ohm - 50.15) < 1e-12);
        assert_true(fabs(d.u.r_ohm - 0.005 / 1.008) < 1e-9);
        /* Where it was read the coefficient is of no account, 100 K away it is: R = reading (1 + tc dT)/(1 + tc 100 K). */
        for (int far = 0; far < 2; far++) {
                double complex cause[RF_STANDARD_CAUSES];
                const char *name[RF_STANDARD_CAUSES];
                assert_int_equal(rf_standard_causes(&d, far ? 25 : 125, 0, 1e9, cause, name), 2);
                assert_string_equal(name[1], "R per kelvin");
                double off_ohm = far ? warm / (1 + 90e-6 * 100) - warm / (1 + 80e-6 * 100) : 0, is = far ? 50.15 : warm;
                double want = 100 * off_ohm / ((is + 50) * (is + 50));
                if (!(cabs(cause[1] - want) < 2e-3 * fabs(want) + 1e-12))
                        fail_msg("%g%+gj for %g", creal(cause[1]), cimag(cause[1]), want);
        }
        const double bad[] = {NAN, INFINITY, 0, -50, 40, 61};
        for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
                struct standard_definition before = d;
                assert_int_equal(rf_standard_trim_load(&d, bad[k], 0.005, 25, &err), CODE_BAD_INPUT);
                assert_memory_equal(&before, &d, sizeof d);
        }
        assert_non_null(strstr(err.text, "61 ohm at DC"));
        assert_non_null(strstr(err.text, "outside of 45.135 to 55.165 ohm (r_ohm 50.15, r_tolerance_ohm not stated: a tenth)"));
        /* What the definition states is the range, its edges inside; it is one at t_ref_c: 51 ohm at 125 degrees are 50.5952 at 25. */
        struct standard_definition narrow = {.kind = RF_LOAD, .r_ohm = 50, .r_tolerance_ohm = 0.6, .r_per_k = 80e-6, .t_ref_c = 25},
                                   broad = {.kind = RF_LOAD, .r_ohm = 50, .r_tolerance_ohm = 12}, *both[] = {&narrow, &broad};
        const struct {
                int which;
                double ohm, t_c;
                enum code want;
        } reads[] = {{0, 50.6, 25, CODE_OK},         {0, 49.4, 25, CODE_OK},       {0, 50.61, 25, CODE_BAD_INPUT},
                     {0, 49.39, 25, CODE_BAD_INPUT}, {0, 51, 125, CODE_OK},        {0, 51.02, 125, CODE_BAD_INPUT},
                     {1, 62, 25, CODE_OK},           {1, 62.1, 25, CODE_BAD_INPUT}};
        for (size_t k = 0; k < sizeof reads / sizeof reads[0]; k++) {
                struct standard_definition one = *both[reads[k].which];
                if (rf_standard_trim_load(&one, reads[k].ohm, 0.005, reads[k].t_c, &err) != reads[k].want)
                        fail_msg("%g ohm at %g degrees", reads[k].ohm, reads[k].t_c);
        }
        assert_non_null(strstr(err.text, "outside of 38 to 62 ohm (r_ohm 50, r_tolerance_ohm as stated)"));
        assert_int_equal(rf_standard_trim_load(&d, 50, NAN, 25, &err), CODE_BAD_INPUT);
        struct standard_definition other = a_short;
        assert_int_equal(rf_standard_trim_load(&other, 50, 0.01, 25, &err), CODE_BAD_INPUT);
}

/* ---- data ---- */

struct table {
        struct arena *arena;
        double from_hz[201], to_hz[97];
        struct axis from, to;
        struct net2 data, got;
};
static struct table *table_new(size_t n, double lo, double hi, double to_lo, double to_hi)
{
        struct arena *a = arena_new(0);
        struct table *t = arena_take(a, sizeof *t);
        t->arena = a;
        for (size_t i = 0; i < n; i++)
                t->from_hz[i] = lo + (hi - lo) * (double)i / (double)(n - 1);
        synth_grid(97, to_lo, to_hi, t->to_hz);
        axis_of(n, t->from_hz, &t->from, NULL);
        axis_of(97, t->to_hz, &t->to, NULL);
        t->data = net2_at(arena_take(a, net2_bytes(n)), &t->from, PLANE_TIP);
        t->got = net2_at(arena_take(a, net2_bytes(97)), &t->to, PLANE_UNKNOWN);
        struct standard_definition two = a_load;
        two.offset_delay_s = 1e-12;
        for (size_t i = 0; i < n; i++)
                net2_put(&t->data, i,
                         m2_diag(rf_standard_reflection(&an_open, 25, t->from_hz[i]), rf_standard_reflection(&two, 25, t->from_hz[i])));
        return t;
}

static void data_are_interpolated_and_say_how_well(void **state)
{
        (void)state;
        struct tp_error err = {0};
        struct table *t = table_new(201, 0.5e9, 110e9, 0.5e9, 110e9);
        struct standard_definition two = a_load;
        double doubt, hz, worst = 0;
        two.offset_delay_s = 1e-12;
        if (rf_standard_from_data(&t->data, &t->got, &doubt, &hz, &err))
                fail_msg("%s", err.text);
        for (size_t i = 0; i < 97; i++)
                worst = fmax(worst, m2_distance(net2_get(&t->got, i), m2_diag(rf_standard_reflection(&an_open, 25, t->to_hz[i]),
                                                                              rf_standard_reflection(&two, 25, t->to_hz[i]))));
        assert_true(worst < 1e-6); /* 0.5 GHz steps of a smooth reflection */
        assert_true(doubt >= worst && doubt < 100 * worst + 1e-7);
        assert_true(t->got.plane == PLANE_TIP && net2_z_real(&t->got) == 50);
        arena_free(t->arena);

        t = table_new(97, 1e9, 50e9, 1e9, 50e9);
        for (size_t i = 0; i < 97; i++) /* the same points: nothing may change */
                t->from_hz[i] = t->to_hz[i];
        axis_of(97, t->from_hz, &t->from, NULL);
        assert_int_equal(rf_standard_from_data(&t->data, &t->got, NULL, NULL, &err), CODE_OK);
        for (size_t i = 0; i < 97; i++)
                assert_true(m2_distance(net2_get(&t->got, i), net2_get(&t->data, i)) < 1e-15);
        net2_set_z(&t->data, 75, 0); /* in 75 ohm: 50 ohm is not the match there */
        for (size_t i = 0; i < 97; i++)
                net2_put(&t->data, i, m2_diag(-0.2, 0));
        assert_int_equal(rf_standard_from_data(&t->data, &t->got, NULL, NULL, &err), CODE_OK);
        assert_true(m2_distance(net2_get(&t->got, 40), m2_diag(0, 0.2)) < 1e-15);
        arena_free(t->arena);
}

static void data_are_not_extrapolated_nor_guessed(void **state)
{
        (void)state;
        struct tp_error err = {0};
        struct table *t = table_new(50, 1e9, 100e9, 0.9e9, 50e9);
        assert_int_equal(rf_standard_from_data(&t->data, &t->got, NULL, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "asked at 900000000 Hz; nothing is extrapolated"));
        arena_free(t->arena);
        t = table_new(50, 1e9, 100e9, 2e9, 101e9);
        assert_int_equal(rf_standard_from_data(&t->data, &t->got, NULL, NULL, &err), CODE_BAD_INPUT);
        arena_free(t->arena);
        t = table_new(2, 1e9, 100e9, 2e9, 50e9);
        assert_int_equal(rf_standard_from_data(&t->data, &t->got, NULL, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "2 frequencies"));
        arena_free(t->arena);
        t = table_new(50, 1e9, 100e9, 2e9, 50e9);
        t->data.im[3][7] = NAN;
        assert_int_equal(rf_standard_from_data(&t->data, &t->got, NULL, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "no number at"));
        t->data.im[3][7] = 0;
        net2_set_z(&t->data, 50, 3);
        assert_int_equal(rf_standard_from_data(&t->data, &t->got, NULL, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "complex"));
        arena_free(t->arena);
}

/* ---- definitions from data ---- */

#define POINTS 201
struct reflections {
        double hz[POINTS], re[POINTS], im[POINTS], u[POINTS];
        struct axis axis;
        struct synth random;
};
static void read_of(struct reflections *r, const struct standard_definition *def, double t_c, double lo, double hi, double noise)
{
        for (size_t i = 0; i < POINTS; i++)
                r->hz[i] = lo + (hi - lo) * (double)i / (POINTS - 1);
        axis_of(POINTS, r->hz, &r->axis, NULL);
        for (size_t i = 0; i < POINTS; i++) {
                double complex g = rf_standard_reflection(def, t_c, r->hz[i]) + noise * synth_normal(&r->random);
                r->re[i] = creal(g);
                r->im[i] = cimag(g);
                r->u[i] = noise > 0 ? noise : 1e-4;
        }
}

static void exact_data_give_the_definition_back(void **state)
{
        (void)state;
        static struct reflections r;
        struct standard_fit fit;
        struct tp_error err = {0};
        const struct {
                struct standard_definition is, start;
                unsigned numbers;
                double tolerance; /* of each number's effect at 110 GHz, as a reflection */
        } rows[] = {{an_open, {.kind = RF_OPEN}, 0xf, 1e-12},
                    {a_short, {.kind = RF_SHORT, .l_h = {1e-12}}, 0xf0, 1e-12},
                    {a_load,
                     {.kind = RF_LOAD, .r_ohm = 48, .r_per_k = 80e-6, .t_ref_c = 25},
                     STANDARD_FIT(STANDARD_R) | STANDARD_FIT(STANDARD_L0),
                     1e-12},
                    {{.kind = RF_SHORT, .l_h = {6e-12}, .offset_delay_s = 0.5e-12},
                     {.kind = RF_SHORT, .l_h = {4e-12}},
                     STANDARD_FIT(STANDARD_L0) | STANDARD_FIT(STANDARD_DELAY),
                     1e-11}};
        for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
                struct standard_definition d = rows[k].start;
                read_of(&r, &rows[k].is, 85, 1e9, 110e9, 0);
                if (rf_standard_solve(&d, rows[k].numbers, 85, &r.axis, r.re, r.im, NULL, &fit, &err))
                        fail_msg("row %zu: %s", k, err.text);
                for (size_t i = 0; i < POINTS; i++)
                        if (!(cabs(rf_standard_reflection(&d, 85, r.hz[i]) - rf_standard_reflection(&rows[k].is, 85, r.hz[i])) <
                              rows[k].tolerance))
                                fail_msg("row %zu: %.3g off at %.4g Hz after %u rounds", k,
                                         cabs(rf_standard_reflection(&d, 85, r.hz[i]) - rf_standard_reflection(&rows[k].is, 85, r.hz[i])),
                                         r.hz[i], fit.rounds);
        }
        assert_true(fabs(fit.value[0] - 6e-12) < 1e-20 && fabs(fit.value[1] - 0.5e-12) < 1e-21);
}

static void uncertainties_of_fitted_numbers_are_honest(void **state)
{
        (void)state;
        static struct reflections r;
        struct standard_fit fit;
        struct tp_error err = {0};
        const int draws = 400;
        for (int given = 0; given < 2; given++) { /* u given, and u from the scatter */
                double sum[3] = {0}, chi2 = 0, product = 0;
                r.random.random = synth_seed(11);
                for (int n = 0; n < draws; n++) {
                        struct standard_definition d = {.kind = RF_LOAD, .r_ohm = 50, .r_per_k = 80e-6, .t_ref_c = 25}, is = a_load;
                        is.l_h[1] = 2e-23;
                        read_of(&r, &is, 25, 0.5e9, 60e9, 1e-3);
                        if (rf_standard_solve(&d, STANDARD_FIT(STANDARD_R) | STANDARD_FIT(STANDARD_L0) | STANDARD_FIT(STANDARD_L1), 25,
                                              &r.axis, r.re, r.im, given ? r.u : NULL, &fit, &err))
                                fail_msg("%s", err.text);
                        double e[3] = {(fit.value[0] - 9e-12) / fit.u[0], (fit.value[1] - 2e-23) / fit.u[1],
                                       (fit.value[2] - 50.15) / fit.u[2]};
                        for (int k = 0; k < 3; k++)
                                sum[k] += e[k] * e[k];
                        product += e[0] * e[1];
                        chi2 += fit.chi2_per_freedom;
                        assert_true(d.u.r_ohm == fit.u[2] && d.u.l_h[0] == fit.u[0] && d.u.l_h[1] == fit.u[1]);
                }
                for (int k = 0; k < 3; k++) /* the rms of 400 draws is good to 3.5 %: three times that */
                        if (!(fabs(sqrt(sum[k] / draws) - 1) < 0.11))
                                fail_msg("%s: its error is %.3f of its uncertainty (rms of %d draws)", standard_number_words[fit.which[k]],
                                         sqrt(sum[k] / draws), draws);
                assert_true(fabs(product / draws - fit.correlation[0][1]) < 0.16);
                assert_true(given ? fabs(chi2 / draws - 1) < 0.02 : isnan(chi2));
                assert_true(fit.u[2] < 0.02 && fit.u[0] < 1e-12); /* R to 0.02 ohm, L to 1 pH */
                assert_true(fabs(fit.scatter - 1e-3) < 2e-4);
        }
}

static void what_the_band_does_not_tell_is_refused(void **state)
{
        (void)state;
        static struct reflections r;
        struct standard_fit fit;
        struct tp_error err = {0};
        struct standard_definition d = {.kind = RF_OPEN, .c_f = {-6e-15}}, before = d;
        r.random.random = 5;
        read_of(&r, &an_open, 25, 0.1e9, 2e9, 1e-4);
        unsigned both = STANDARD_FIT(STANDARD_C0) | STANDARD_FIT(STANDARD_DELAY);
        assert_int_equal(rf_standard_solve(&d, both, 25, &r.axis, r.re, r.im, NULL, &fit, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "cannot be told apart over this band (0.1 to 2 GHz"));
        assert_true(strstr(err.text, "offset delay") && strstr(err.text, "C0"));
        assert_memory_equal(&d, &before, sizeof d);
        struct standard_definition load = {.kind = RF_LOAD, .r_ohm = 50}; /* at 50 ohm, L and -R^2 C are one thing */
        read_of(&r, &a_load, 25, 0.5e9, 60e9, 1e-3);
        assert_int_equal(
                rf_standard_solve(&load, STANDARD_FIT(STANDARD_L0) | STANDARD_FIT(STANDARD_C0), 25, &r.axis, r.re, r.im, NULL, &fit, &err),
                CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "C0 and L0 cannot be told apart"));
        struct standard_definition flat = {.kind = RF_OPEN, .c_f = {-6.5e-15}, .offset_delay_s = 1e-13};
        read_of(&r, &flat, 25, 0.5e9, 220e9, 1e-4); /* over 220 GHz they differ */
        if (rf_standard_solve(&d, both, 25, &r.axis, r.re, r.im, NULL, &fit, &err))
                fail_msg("%s", err.text);
        assert_true(fabs(d.c_f[0] + 6.5e-15) < 4 * fit.u[0] && fabs(d.offset_delay_s - 1e-13) < 4 * fit.u[1]);
        assert_true(fit.condition > 3 && fit.condition < 1000);
}

static void bad_questions_are_refused(void **state)
{
        (void)state;
        static struct reflections r;
        struct standard_fit fit;
        struct tp_error err = {0};
        r.random.random = 5;
        read_of(&r, &an_open, 25, 1e9, 50e9, 1e-4);
        struct standard_definition d = an_open, thru = {.kind = RF_THRU};
#define NOT(def, numbers, word)                                                                                    \
        do {                                                                                                       \
                if (rf_standard_solve(def, numbers, 25, &r.axis, r.re, r.im, r.u, &fit, &err) != CODE_BAD_INPUT || \
                    !strstr(err.text, word))                                                                       \
                        fail_msg("wanted \"%s\", got \"%s\"", word, err.text);                                     \
        } while (0)
        NOT(&thru, 1, "open, a short or a load");
        NOT(&d, 0, "no number");
        NOT(&d, 1u << 20 | 1, "not known");
        NOT(&d, STANDARD_FIT(STANDARD_R), "an open has no R");
        NOT(&d, STANDARD_FIT(STANDARD_L1), "an open has no L1");
        r.u[5] = 0;
        NOT(&d, 1, "uncertainty");
        r.u[5] = 1e-4;
        r.re[9] = NAN;
        NOT(&d, 1, "nan");
        r.re[9] = 0;
        axis_of(2, r.hz, &r.axis, NULL);
        NOT(&d, 0xf, "2 frequencies are too few for 4 numbers");
        r.hz[0] = 0;
        axis_of(POINTS, r.hz, &r.axis, NULL);
        NOT(&d, 1, "above 0");
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(numbers_that_are_none_are_refused),      cmocka_unit_test(a_load_is_its_circuit_at_its_temperature),
                cmocka_unit_test(causes_are_what_a_change_does),          cmocka_unit_test(a_load_is_trimmed_by_its_own_reading),
                cmocka_unit_test(data_are_interpolated_and_say_how_well), cmocka_unit_test(data_are_not_extrapolated_nor_guessed),
                cmocka_unit_test(exact_data_give_the_definition_back),    cmocka_unit_test(uncertainties_of_fitted_numbers_are_honest),
                cmocka_unit_test(what_the_band_does_not_tell_is_refused), cmocka_unit_test(bad_questions_are_refused)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
