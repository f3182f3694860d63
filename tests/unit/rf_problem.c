/* What a calibration refuses, and how it says so; the record of terms; roots along frequency; small dense algebra. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "base/arena.h"
#include "rf/correct/correct.h"
#include "rf/network/convert.h"
#include "rf/numbers/small.h"
#include "rf/calibrate/solve.h"
#include "rf/calibrate/standards.h"

enum { N = 409 };
struct setup {
        struct arena *arena;
        double hz[N];
        struct axis axis;
        struct net2 raw[5], ideal[5];
        struct rf_standard standards[5];
        struct problem problem;
        struct terms terms;
        struct diagnosis diagnosis;
};

/* An ideal analyzer: raw is what is there. */
static struct setup *setup_new(void)
{
        struct arena *arena = arena_new(0);
        struct setup *s = arena_take(arena, sizeof *s);
        static const enum rf_standard_kind kinds[4] = {RF_OPEN, RF_SHORT, RF_LOAD, RF_THRU};
        s->arena = arena;
        for (size_t i = 0; i < N; i++)
                s->hz[i] = 10e9 + 0.25e9 * (double)i;
        assert_int_equal(axis_of(N, s->hz, &s->axis, NULL), CODE_OK);
        for (int k = 0; k < 5; k++) {
                s->raw[k] = net2_at(arena_take(arena, net2_bytes(N)), &s->axis, PLANE_RECEIVER);
                s->ideal[k] = net2_at(arena_take(arena, net2_bytes(N)), &s->axis, PLANE_TIP);
        }
        for (int k = 0; k < 4; k++) {
                struct standard_definition def = {
                        .kind = kinds[k], .c_f = {-5e-15}, .l_h = {3e-12}, .r_ohm = 50, .offset_delay_s = k == 3 ? 1e-12 : 0};
                assert_int_equal(rf_standard_ideal(&def, NULL, 23, &s->ideal[k], NULL), CODE_OK);
                net2_copy(&s->raw[k], &s->ideal[k]);
                s->raw[k].plane = PLANE_RECEIVER;
                s->standards[k] = (struct rf_standard){.kind = kinds[k], .raw = &s->raw[k], .ideal = &s->ideal[k]};
        }
        s->problem = (struct problem){.axis = &s->axis, .standards = s->standards, .standard_n = 4, .thru_delay_s_guess = 1e-12};
        s->terms = terms_at(arena_take(arena, terms_bytes(N)), &s->axis);
        s->diagnosis = diagnosis_at(arena_take(arena, diagnosis_bytes(N)), &s->axis);
        return s;
}

/* The same for lines 200, 450, 1200 um and a short in the middle plane. */
static struct setup *lines_new(void)
{
        struct setup *s = setup_new();
        static const double length[3] = {200e-6, 450e-6, 1200e-6};
        for (size_t i = 0; i < N; i++) {
                double complex g = CMPLX(20, RF_TWO_PI * s->hz[i] * sqrt(5.2) / RF_C0_M_S);
                for (int k = 0; k < 3; k++)
                        net2_put(&s->raw[k], i, rf_line(g, 50, length[k] - 200e-6, 50));
                net2_put(&s->raw[3], i, m2_diag(-1, -1));
        }
        for (int k = 0; k < 4; k++)
                s->standards[k] =
                        (struct rf_standard){.kind = k < 3 ? RF_LINE : RF_REFLECT, .raw = &s->raw[k], .length_m = k < 3 ? length[k] : 0};
        s->problem.eps_eff_guess = 5;
        s->problem.reflect_estimate = -1;
        return s;
}

static enum code solve(struct setup *s, const char *method, struct tp_error *err)
{
        /* exactly as much workspace as the method asks for, and a fence behind it (ASan has its own) */
        size_t bytes = rf_method(method)->workspace_bytes(N, s->problem.standard_n);
        unsigned char *workspace = aligned_alloc(64, (bytes + 127) / 64 * 64);
        memset(workspace + bytes, 0xa5, (bytes + 127) / 64 * 64 - bytes);
        *err = (struct tp_error){0};
        enum code code = rf_method(method)->solve(&s->problem, workspace, &s->terms, NULL, &s->diagnosis, err);
        for (size_t k = bytes; k < (bytes + 127) / 64 * 64; k++)
                assert_int_equal(workspace[k], 0xa5);
        free(workspace);
        return code;
}

static void refused(struct setup *s, const char *method, enum code want, const char *say1, const char *say2)
{
        struct tp_error err;
        enum code code = solve(s, method, &err);
        if (code != want || !strstr(err.text, say1) || !strstr(err.text, say2))
                fail_msg("%s: code %d \"%s\"; wanted code %d with \"%s\" and \"%s\"", method, (int)code, err.text, (int)want, say1, say2);
        arena_free(s->arena);
}

static void every_lack_is_named(void **state)
{
        (void)state;
        struct setup *s;
        struct tp_error err;
        s = setup_new();
        assert_int_equal(solve(s, "solt", &err), CODE_OK);
        assert_int_equal(solve(s, "unknown_thru", &err), CODE_OK);
        arena_free(s->arena);
        s = lines_new();
        assert_int_equal(solve(s, "multiline_trl", &err), CODE_OK);
        arena_free(s->arena);

        s = setup_new(), s->problem.standard_n = 3, refused(s, "solt", CODE_BAD_INPUT, "thru", "has 0");
        s = setup_new(), s->problem.standard_n = 0, refused(s, "solt", CODE_BAD_INPUT, "0 standards", "1 to 16");
        s = setup_new(), s->standards[2].ports = 1, refused(s, "solt", CODE_BAD_INPUT, "load", "port 2");
        s = setup_new(), s->standards[0].ideal = NULL, refused(s, "solt", CODE_BAD_INPUT, "open", "no definition");
        s = setup_new(), s->standards[0].raw = NULL, refused(s, "solt", CODE_BAD_INPUT, "open", "not measured");
        s = setup_new(), s->raw[1].plane = PLANE_TIP, refused(s, "solt", CODE_BAD_INPUT, "short", "must be raw");
        s = setup_new(), s->raw[3].re[2][160] = NAN, refused(s, "solt", CODE_BAD_INPUT, "S21", "5e+10");
        s = setup_new(), net2_set_z(&s->ideal[2], 75, 0), refused(s, "solt", CODE_BAD_INPUT, "load", "75");
        s = setup_new(), s->standards[1].name = "short, copy 3", s->standards[1].kind = RF_LINE,
        refused(s, "solt", CODE_BAD_INPUT, "short, copy 3", "no use");
        s = setup_new(), net2_copy(&s->ideal[1], &s->ideal[0]), refused(s, "solt", CODE_UNRESOLVABLE, "coincide", "1e+10");
        s = setup_new(), net2_copy(&s->ideal[1], &s->ideal[0]), s->standards[1].raw = &s->raw[0],
        refused(s, "unknown_thru", CODE_UNRESOLVABLE, "coincide", "1e+10");
        s = setup_new(), s->problem.thru_delay_s_guess = -1, refused(s, "unknown_thru", CODE_BAD_INPUT, "delay", "-1");
        s = setup_new(), s->problem.thru_delay_s_guess = 1e-12 + 25e-12,
        refused(s, "unknown_thru", CODE_BAD_INPUT, "90 degrees", "better delay");
        s = setup_new();
        for (size_t i = 0; i < N; i++)
                s->raw[3].re[2][i] = s->raw[3].im[2][i] = 0;
        refused(s, "unknown_thru", CODE_UNRESOLVABLE, "does not transmit", "1e+10");
        s = setup_new();
        s->raw[3].re[2][240] = s->raw[3].im[2][240] = s->ideal[3].re[2][240] = s->ideal[3].im[2][240] = 0;
        refused(s, "solt", CODE_UNRESOLVABLE, "does not transmit", "7e+10");

        s = lines_new(), s->standards[1].length_m = 200e-6, refused(s, "multiline_trl", CODE_BAD_INPUT, "200 um", "differ");
        s = lines_new(), s->standards[1].length_m = -1, refused(s, "multiline_trl", CODE_BAD_INPUT, "-1 m", "between");
        s = lines_new(), s->problem.eps_eff_guess = 0.5, refused(s, "multiline_trl", CODE_BAD_INPUT, "0.5", "permittivity");
        s = lines_new(), s->problem.eps_eff_guess = CMPLX(5, 1), refused(s, "multiline_trl", CODE_BAD_INPUT, "+1j", "permittivity");
        s = lines_new(), s->problem.reflect_estimate = 0, refused(s, "multiline_trl", CODE_BAD_INPUT, "estimate", "-1 for a short");
        s = lines_new(), s->problem.reflect_offset_m = 5, refused(s, "multiline_trl", CODE_BAD_INPUT, "5 m", "offset");
        s = lines_new(), s->problem.reflect_estimate = CMPLX(0, 1),
        refused(s, "multiline_trl", CODE_BAD_INPUT, "cannot be settled", "90 degrees");
        s = lines_new(), s->problem.standard_n = 3, refused(s, "multiline_trl", CODE_BAD_INPUT, "reflect", "has 0");
        /* a length told 60 um wrong: solved, with a residual that points at it more than at the first line */
        s = lines_new();
        s->standards[1].length_m += 60e-6;
        if (solve(s, "multiline_trl", &err))
                fail_msg("%s", err.text);
        assert_true(s->diagnosis.standard[1].worst > 10 * s->diagnosis.standard[0].worst);
        assert_true(s->diagnosis.standard[1].worst > 0.1);
        arena_free(s->arena);
        s = lines_new();
        for (size_t i = 0; i < N; i++)
                for (int k = 1; k < 3; k++)
                        net2_put(&s->raw[k], i, net2_get(&s->raw[0], i));
        refused(s, "multiline_trl", CODE_UNRESOLVABLE, "lines do not differ", "check the lengths");
        /* another axis */
        s = setup_new();
        struct axis other = s->axis;
        other.n = N - 1;
        s->raw[2].axis = &other;
        refused(s, "solt", CODE_BAD_INPUT, "load", "408 frequencies");
        assert_null(rf_method("nothing"));
}

/* Four reflections, one of them badly known: by its uncertainty it must lose its vote, and the residual must point at it. */
static void a_badly_known_standard_has_little_weight(void **state)
{
        (void)state;
        double error[2];
        for (int weighed = 0; weighed < 2; weighed++) {
                struct setup *s = setup_new();
                struct tp_error err;
                net2_copy(&s->raw[3], &s->raw[0]); /* a second open, true reflection that of the first … */
                net2_copy(&s->ideal[3], &s->ideal[0]);
                s->raw[3].plane = PLANE_RECEIVER;
                for (size_t i = 0; i < N; i++) { /* … told 0.05 wrong */
                        s->ideal[3].im[0][i] += 0.05;
                        s->ideal[3].im[3][i] += 0.05;
                }
                s->standards[3].kind = RF_OPEN;
                s->standards[3].name = "second open";
                for (int k = 0; k < 4 && weighed; k++)
                        s->standards[k].u_ideal = k == 3 ? 0.05 : 0.0005;
                assert_int_equal(solve(s, "sol", &err), CODE_OK);
                error[weighed] = 0;
                for (size_t i = 0; i < N; i++) /* the analyzer is ideal: any directivity is error */
                        error[weighed] = fmax(error[weighed], hypot(s->terms.re[TERM_EDF][i], s->terms.im[TERM_EDF][i]) +
                                                                      hypot(s->terms.re[TERM_ESF][i], s->terms.im[TERM_ESF][i]));
                if (weighed)
                        assert_true(s->diagnosis.standard[3].worst > 0.04 && s->diagnosis.standard[0].worst < 1e-4);
                arena_free(s->arena);
        }
        assert_true(error[0] > 5e-3 && error[1] < 1e-4);
}

static void correction_checks_plane_axis_and_model(void **state)
{
        (void)state;
        struct setup *s = setup_new();
        struct tp_error err;
        assert_int_equal(solve(s, "solt", &err), CODE_OK);
        struct net2 net = net2_at(arena_take(s->arena, net2_bytes(N)), &s->axis, PLANE_TIP);
        assert_int_equal(rf_correct2(&s->terms, &net, NULL, &net, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "plane tip"));
        net.plane = PLANE_RECEIVER;
        s->hz[3] += 1; /* the axis the sweep was made with */
        struct axis moved;
        assert_int_equal(axis_of(N, s->hz, &moved, NULL), CODE_OK);
        net.axis = &moved;
        assert_int_equal(rf_correct2(&s->terms, &net, NULL, &net, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "recalibrate"));
        struct terms empty = terms_at(arena_take(s->arena, terms_bytes(N)), &s->axis);
        net.axis = &s->axis;
        assert_int_equal(rf_correct2(&empty, &net, NULL, &net, &err), CODE_STATE);
        arena_free(s->arena);
}

static void frequency_lists_must_rise(void **state)
{
        (void)state;
        struct axis a;
        struct tp_error err;
        const double bad[][3] = {{1, 1, 2}, {1, 3, 2}, {-1, 0, 1}, {1, NAN, 2}, {1, 2, INFINITY}};
        for (size_t k = 0; k < 5; k++)
                assert_int_equal(axis_of(3, bad[k], &a, &err), CODE_BAD_INPUT);
        assert_int_equal(axis_of(0, bad[0], &a, &err), CODE_BAD_INPUT);
        const double good[] = {0, 10, 20, 40};
        assert_int_equal(axis_of(4, good, &a, &err), CODE_OK);
        assert_int_equal(axis_nearest(&a, -5), 0);
        assert_int_equal(axis_nearest(&a, 15), 1);
        assert_int_equal(axis_nearest(&a, 31), 3);
        assert_int_equal(axis_nearest(&a, 1e9), 3);
}

static void a_record_of_terms_comes_back_or_says_what_is_wrong(void **state)
{
        (void)state;
        struct setup *s = lines_new();
        struct tp_error err;
        assert_int_equal(solve(s, "multiline_trl", &err), CODE_OK);
        size_t bytes = terms_blob_bytes(TERMS_EIGHT, N);
        char *blob = arena_take(s->arena, bytes), *copy = arena_take(s->arena, bytes);
        terms_to_blob(&s->terms, blob);
        struct terms back = terms_at(arena_take(s->arena, terms_bytes(N)), &s->axis);
        assert_int_equal(terms_from_blob(blob, bytes, &back, &err), CODE_OK);
        assert_string_equal(back.method, "multiline_trl");
        assert_true(back.model == TERMS_EIGHT && back.plane == PLANE_LINE_MIDDLE && !back.switch_removed && isnan(back.z_re[0]));
        for (int k = 0; k < TERM_COUNT; k++)
                assert_memory_equal(back.re[k], s->terms.re[k], N * sizeof(double));
        assert_int_equal(terms_from_blob(blob, 10, &back, &err), CODE_DAMAGED);
        assert_int_equal(terms_from_blob(blob, bytes - 8, &back, &err), CODE_DAMAGED);
        memcpy(copy, blob, bytes), copy[0] = 'X';
        assert_int_equal(terms_from_blob(copy, bytes, &back, &err), CODE_DAMAGED);
        memcpy(copy, blob, bytes), copy[8] = 9;
        assert_int_equal(terms_from_blob(copy, bytes, &back, &err), CODE_TOO_NEW);
        memcpy(copy, blob, bytes), copy[12] = 77;
        assert_int_equal(terms_from_blob(copy, bytes, &back, &err), CODE_DAMAGED);
        memcpy(copy, blob, bytes), copy[32] ^= 1;
        assert_int_equal(terms_from_blob(copy, bytes, &back, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "another list"));
        arena_free(s->arena);
}

static void roots_are_followed_and_contradictions_reported(void **state)
{
        (void)state;
        enum { M = 60 };
        double hz[M];
        double complex ratio[M];
        signed char sign[M];
        struct followed f;
        /* the true root turns by 3 degrees a step away from its estimate; every third value comes with the other sign */
        for (int i = 0; i < M; i++) {
                hz[i] = 1e9 * (i + 1);
                ratio[i] = cexp(CMPLX(0, 3 * i * RF_PI / 180)) * (i % 3 == 1 ? -1 : 1);
        }
        root_follow(M, hz, 0, NULL, ratio, sign, &f);
        for (int i = 0; i < M; i++)
                assert_int_equal(sign[i], i % 3 == 1 ? -1 : 1);
        assert_true(f.all && f.contradicts && f.contradiction_hz == 32e9 && fabs(f.contradiction_deg - 93) < 1e-6 &&
                    fabs(f.worst_deg - 177) < 1e-6);
        /* a step that cannot be followed: the estimate chooses and it is said where */
        for (int i = 0; i < M; i++)
                ratio[i] = i < 30 ? 1 : -cexp(CMPLX(0, 80 * RF_PI / 180));
        root_follow(M, hz, 0, NULL, ratio, sign, &f);
        assert_true(!f.all && f.unfollowed_hz == 31e9 && !f.contradicts && sign[30] == -1 && sign[59] == -1);
        /* from the middle both ways */
        for (int i = 0; i < M; i++)
                ratio[i] = i % 2 ? -1 : 1;
        root_follow(M, hz, 30, NULL, ratio, sign, &f);
        assert_true(f.all && sign[1] == -1 && sign[2] == 1 && sign[59] == -1);
        /* noise between: 80 degrees off and of the other sign; nobody follows it */
        bool trusted[M];
        for (int i = 0; i < M; i++) {
                trusted[i] = i < 20 || i > 22;
                ratio[i] = trusted[i] ? cexp(CMPLX(0, -50 * RF_PI / 180)) : -cexp(CMPLX(0, 70 * RF_PI / 180));
        }
        ratio[0] = 1;
        for (int i = 1; i < 10; i++)
                ratio[i] = cexp(CMPLX(0, -5 * i * RF_PI / 180));
        root_follow(M, hz, 0, trusted, ratio, sign, &f);
        assert_true(f.all && !f.contradicts && sign[19] == 1 && sign[23] == 1 && sign[59] == 1);
        root_follow(M, hz, 0, NULL, ratio, sign, &f);
        assert_true(!f.all);
}

static void small_systems_are_solved(void **state)
{
        (void)state;
        /* Hilbert-like complex matrix, known solution */
        for (size_t n = 1; n <= 6; n++) {
                double complex a[36], b[6] = {0}, x[6], want[6];
                for (size_t i = 0; i < n; i++) {
                        want[i] = CMPLX((double)i + 1, -(double)i);
                        for (size_t j = 0; j < n; j++)
                                a[i * n + j] = 1 / CMPLX((double)(i + j + 1), (double)i - (double)j);
                }
                for (size_t i = 0; i < n; i++)
                        for (size_t j = 0; j < n; j++)
                                b[i] += a[i * n + j] * want[j];
                assert_true(small_solve(n, a, b, x));
                double condition;
                for (size_t i = 0; i < n; i++)
                        assert_true(cabs(x[i] - want[i]) < 1e-9);
                assert_true(small_least_squares(n, n, a, b, x, &condition));
                for (size_t i = 0; i < n; i++)
                        assert_true(cabs(x[i] - want[i]) < 1e-9);
                assert_true(condition >= 1);
        }
        /* least squares by hand: y = 1 + 2 t through (0,1), (1,3), (2,5) with one point moved by 3 up: fit of 1,3,8 is 0.5 + 3.5 t */
        const double complex a[6] = {1, 0, 1, 1, 1, 2}, b[3] = {1, 3, 8};
        double complex x[2], zero[4] = {0};
        assert_true(small_least_squares(3, 2, a, b, x, NULL));
        assert_true(cabs(x[0] - 0.5) < 1e-14 && cabs(x[1] - 3.5) < 1e-14);
        assert_false(small_solve(2, zero, b, x));
        assert_false(small_least_squares(2, 2, zero, b, x, NULL));
        /* eigenvectors: A v = lambda v, also for triangular and nearly equal ones */
        const struct m2 m[] = {m2_of(1, 2, 3, 4), m2_of(1, CMPLX(0, 1), 0, 2), m2_of(2, 0, CMPLX(1, 1), 2.0001),
                               m2_of(CMPLX(0.3, 0.1), CMPLX(-2, 1), CMPLX(0, 4), CMPLX(1, -1)), m2_diag(3, 5)};
        for (size_t k = 0; k < sizeof m / sizeof m[0]; k++) {
                double complex l[2], v[2][2];
                small_eigen2(m[k], l, v);
                for (int e = 0; e < 2; e++) {
                        double size = cabs(v[e][0]) + cabs(v[e][1]);
                        assert_true(size > 0);
                        assert_true(cabs(m[k].e[0] * v[e][0] + m[k].e[1] * v[e][1] - l[e] * v[e][0]) < 1e-11 * size);
                        assert_true(cabs(m[k].e[2] * v[e][0] + m[k].e[3] * v[e][1] - l[e] * v[e][1]) < 1e-11 * size);
                }
        }
}

static void planes_move_along_a_line_and_back(void **state)
{
        (void)state;
        struct setup *s = setup_new();
        double g_re[N], g_im[N];
        struct net2 net = net2_at(arena_take(s->arena, net2_bytes(N)), &s->axis, PLANE_LINE_MIDDLE);
        for (size_t i = 0; i < N; i++) {
                g_re[i] = 20;
                g_im[i] = RF_TWO_PI * s->hz[i] * 7.6e-9;
                net2_put(&net, i, rf_line(CMPLX(g_re[i], g_im[i]), 50, 1e-3, 50));
        }
        assert_int_equal(rf_shift_planes(&net, g_re, g_im, 0.3e-3, 0.7e-3, NULL), CODE_OK);
        for (size_t i = 0; i < N; i++) /* into the line by its length: nothing is left */
                assert_true(m2_distance(net2_get(&net, i), m2_of(0, 1, 1, 0)) < 1e-12);
        assert_int_equal(rf_shift_planes(&net, g_re, g_im, -0.5e-3, -0.5e-3, NULL), CODE_OK);
        for (size_t i = 0; i < N; i++)
                assert_true(m2_distance(net2_get(&net, i), rf_line(CMPLX(g_re[i], g_im[i]), 50, 1e-3, 50)) < 1e-12);
        net2_set_z(&net, NAN, NAN);
        struct tp_error err;
        assert_int_equal(rf_renormalise_net(&net, 50, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "not known"));
        arena_free(s->arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(every_lack_is_named),
                cmocka_unit_test(a_badly_known_standard_has_little_weight),
                cmocka_unit_test(correction_checks_plane_axis_and_model),
                cmocka_unit_test(frequency_lists_must_rise),
                cmocka_unit_test(a_record_of_terms_comes_back_or_says_what_is_wrong),
                cmocka_unit_test(roots_are_followed_and_contradictions_reported),
                cmocka_unit_test(small_systems_are_solved),
                cmocka_unit_test(planes_move_along_a_line_and_back),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
