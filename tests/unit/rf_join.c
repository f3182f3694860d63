/* Bands joined: the bound of their difference against devices, twelve terms to eight and back, weights, smoothness, and what is refused. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>
#include "rf/correct/correct.h"
#include "rf/calibrate/join.h"
#include "tests/unit/rf_synth.h"

#define N 61
struct pair {
        struct arena *arena;
        uint64_t random;
        double hz[N], u[2][N];
        struct axis whole, part[3];
        struct terms terms[3], out;
        struct switch_terms sw[3], out_sw;
        struct rf_band bands[3];
        struct joint joints[3];
        double share[N];
        bool has_switch;
};

static double draw(struct pair *p)
{
        p->random = p->random * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        return (double)(p->random >> 11) * 0x1p-52 - 1; /* -1 … 1 */
}
static double complex draw_c(struct pair *p, double size) { return size * CMPLX(draw(p), draw(p)); }

static void eight_set(struct terms *t, size_t i, double complex ed, double complex es, double complex er, double complex k)
{
        double complex v[TERM_COUNT] = {ed, es, er, 0.7 * ed, 0.9 * es, 1.1 * er, k};
        v[TERM_ELF] = v[TERM_ESR];
        v[TERM_ETF] = k * v[TERM_ERR];
        v[TERM_ELR] = v[TERM_ESF];
        v[TERM_ETR] = v[TERM_ERF] / k;
        for (int n = 0; n < TERM_COUNT; n++) {
                t->re[n][i] = creal(v[n]);
                t->im[n][i] = cimag(v[n]);
        }
        t->z_re[i] = 50;
        t->z_im[i] = 0;
}

/* Three bands over 1 to 61 GHz: 1 … 30, 21 … 45, 40 … 61; band k's directivity is 0.1 + k step. */
static struct pair *pair_new(double step)
{
        static const size_t begin[3] = {0, 20, 39}, end[3] = {30, 45, N};
        struct arena *arena = arena_new(0);
        struct pair *p = arena_take(arena, sizeof *p);
        p->arena = arena;
        p->random = synth_seed(3);
        for (size_t i = 0; i < N; i++)
                p->hz[i] = 1e9 * (double)(i + 1);
        axis_of(N, p->hz, &p->whole, NULL);
        p->out = terms_at(arena_take(arena, terms_bytes(N)), &p->whole);
        p->out_sw = switch_terms_at(arena_take(arena, switch_terms_bytes(N)), &p->whole);
        static const char *const names[3] = {"low", "middle", "high"};
        for (int k = 0; k < 3; k++) {
                size_t n = end[k] - begin[k];
                axis_of(n, p->hz + begin[k], &p->part[k], NULL);
                p->terms[k] = terms_at(arena_take(arena, terms_bytes(n)), &p->part[k]);
                p->sw[k] = switch_terms_at(arena_take(arena, switch_terms_bytes(n)), &p->part[k]);
                p->terms[k].model = TERMS_EIGHT;
                p->terms[k].plane = PLANE_TIP;
                p->terms[k].method = "multiline_trl";
                for (size_t i = 0; i < n; i++)
                        eight_set(&p->terms[k], i, 0.1 + k * step, CMPLX(0.05, 0.1), 0.8, CMPLX(0.9, 0.2));
                p->bands[k] = (struct rf_band){.name = names[k], .terms = &p->terms[k], .switch_terms = &p->sw[k]};
        }
        return p;
}
/* Band k begins at point `begin` and ends with the whole. */
static void reach(struct pair *p, int k, size_t begin)
{
        size_t n = N - begin;
        axis_of(n, p->hz + begin, &p->part[k], NULL);
        p->terms[k] = terms_at(arena_take(p->arena, terms_bytes(n)), &p->part[k]);
        p->terms[k].model = TERMS_EIGHT;
        p->terms[k].plane = PLANE_TIP;
        for (size_t i = 0; i < n; i++)
                eight_set(&p->terms[k], i, 0.1, CMPLX(0.05, 0.1), 0.8, CMPLX(0.9, 0.2));
}
static enum code join(struct pair *p, size_t n, struct tp_error *err)
{
        return rf_join(n, p->bands, &p->whole, &p->out, &p->out_sw, &p->has_switch, p->share, p->joints, err);
}

static void the_bound_holds_for_passive_devices_and_is_reached(void **state)
{
        (void)state;
        for (int seed = 0; seed < 12; seed++) {
                struct pair *p = pair_new(0);
                p->random += (uint64_t)seed * 977;
                struct terms *a = &p->terms[0], *b = &p->terms[1];
                eight_set(a, 0, draw_c(p, 0.2), draw_c(p, 0.2), 0.8 + draw_c(p, 0.1), 1 + draw_c(p, 0.2));
                for (int k = 0; k < TERM_COUNT; k++) { /* each of the seven a little off */
                        double complex v = CMPLX(a->re[k][0], a->im[k][0]) + draw_c(p, 1e-3);
                        b->re[k][0] = creal(v);
                        b->im[k][0] = cimag(v);
                }
                double complex er = CMPLX(b->re[TERM_ERF][0], b->im[TERM_ERF][0]), err = CMPLX(b->re[TERM_ERR][0], b->im[TERM_ERR][0]),
                               k = CMPLX(b->re[TERM_K][0], b->im[TERM_K][0]), etf = k * err, etr = er / k;
                b->re[TERM_ETF][0] = creal(etf), b->im[TERM_ETF][0] = cimag(etf);
                b->re[TERM_ETR][0] = creal(etr), b->im[TERM_ETR][0] = cimag(etr);
                double bound = rf_join_bound(a, 0, b, 0), most = 0;
                for (int n = 0; n < 40000; n++) { /* |S11|^2 + |S21|^2 <= 1, the lossless ones first */
                        double x = fabs(draw(p)), y = sqrt(1 - x * x), f1 = RF_PI * draw(p), f2 = RF_PI * draw(p);
                        double complex s11 = x * cexp(CMPLX(0, f1)), s21 = y * cexp(CMPLX(0, f2));
                        struct m2 s = m2_of(s11, s21, s21, -conj(s11) * s21 / conj(s21 == 0 ? 1 : s21));
                        if (n % 2)
                                s = m2_scale(fabs(draw(p)), s);
                        if (n % 10 == 0)
                                s = m2_diag(cexp(CMPLX(0, f1)), cexp(CMPLX(0, f2)));
                        most = fmax(most, m2_distance(rf_correct2_point(b, 0, rf_embed2_point(a, 0, s)), s));
                }
                if (!(most <= 1.02 * bound && most >= 0.7 * bound))
                        fail_msg("seed %d: bound %.4g, worst of the devices %.4g", seed, bound, most);
                assert_true(rf_join_bound(a, 0, a, 0) < 1e-15);
                arena_free(p->arena);
        }
}

static void twelve_terms_become_the_eight_and_switch_terms_they_came_from(void **state)
{
        (void)state;
        struct pair *p = pair_new(0);
        struct terms *t = &p->terms[0];
        double complex gf = CMPLX(0.1, -0.05), gr = CMPLX(-0.07, 0.12), v[TERM_COUNT], got[TERM_COUNT], f, r;
        for (int k = 0; k < TERM_COUNT; k++)
                v[k] = CMPLX(t->re[k][0], t->im[k][0]);
        v[TERM_ELF] = v[TERM_ESR] + v[TERM_ERR] * gf / (1 - v[TERM_EDR] * gf); /* Marks 1997 */
        v[TERM_ETF] = v[TERM_K] * v[TERM_ERR] / (1 - v[TERM_EDR] * gf);
        v[TERM_ELR] = v[TERM_ESF] + v[TERM_ERF] * gr / (1 - v[TERM_EDF] * gr);
        v[TERM_ETR] = v[TERM_ERF] / v[TERM_K] / (1 - v[TERM_EDF] * gr);
        for (int k = 0; k < TERM_COUNT; k++) {
                t->re[k][0] = creal(v[k]);
                t->im[k][0] = cimag(v[k]);
        }
        assert_true(rf_eight_from_twelve(t, 0, got, &f, &r));
        assert_true(cabs(f - gf) < 1e-15 && cabs(r - gr) < 1e-15);
        assert_true(cabs(got[TERM_K] - v[TERM_K]) < 1e-15);
        t->re[TERM_EXF][0] = 1e-6;
        assert_false(rf_eight_from_twelve(t, 0, got, &f, &r));
        t->re[TERM_EXF][0] = NAN;
        assert_false(rf_eight_from_twelve(t, 0, got, &f, &r));
        arena_free(p->arena);
}

static void twelve_and_eight_terms_join(void **state)
{
        (void)state;
        struct pair *p = pair_new(0);
        struct tp_error err = {0};
        p->terms[0].model = TERMS_TWELVE; /* the eight-term equivalent: its switch terms are 0 */
        p->bands[0].switch_terms = NULL;
        for (size_t i = 0; i < p->part[2].n; i++)
                p->sw[2].f_re[i] = 0.1;
        p->terms[1].switch_removed = p->terms[2].switch_removed = true;
        if (join(p, 3, &err))
                fail_msg("%s", err.text);
        assert_true(p->has_switch && p->out.switch_removed && p->out.model == TERMS_EIGHT);
        assert_string_equal(p->out.method, "joined");
        assert_true(fabs(p->out_sw.f_re[5]) < 1e-15);
        assert_true(p->out_sw.f_re[N - 1] == 0.1);
        for (size_t i = 0; i < N; i++)
                assert_true(fabs(p->out.re[TERM_EDF][i] - 0.1) < 1e-15 &&
                            cabs(CMPLX(p->out.re[TERM_K][i] - 0.9, p->out.im[TERM_K][i] - 0.2)) < 1e-15);
        arena_free(p->arena);
}

static void terms_run_smoothly_from_one_solution_to_the_next(void **state)
{
        (void)state;
        struct pair *p = pair_new(0.01);
        struct tp_error err = {0};
        if (join(p, 3, &err))
                fail_msg("%s", err.text);
        double before = p->out.re[TERM_EDF][0], most = 0;
        for (size_t i = 0; i < N; i++) {
                double here = p->out.re[TERM_EDF][i];
                assert_true(here >= before - 1e-15); /* monotonic: neither overshoots */
                most = fmax(most, here - before);
                before = here;
                assert_true(fabs(here - 0.1 - 0.01 * p->share[i]) < 1e-12); /* the share tells it */
        }
        assert_true(most < 0.006); /* the second overlap has six points */
        assert_true(p->out.re[TERM_EDF][20] == 0.1);
        assert_true(fabs(p->out.re[TERM_EDF][29] - 0.11) < 1e-15);
        for (int k = 0; k < 2; k++) {
                assert_true(p->joints[k].kink > 0.01 / 0.8 && p->joints[k].kink < 0.015 / 0.8); /* at least EDF's share */
                assert_true(isnan(p->joints[k].share) && !p->joints[k].beyond);                 /* no uncertainties, no judgement */
        }
        assert_true(p->joints[0].from_hz == 21e9 && p->joints[0].to_hz == 30e9 && p->joints[0].points == 10);
        arena_free(p->arena);
}

static void weights_are_inverse_variances_inside_and_the_kink_is_judged(void **state)
{
        (void)state;
        struct pair *p = pair_new(0.01);
        struct tp_error err = {0};
        for (size_t i = 0; i < N; i++) {
                p->u[0][i] = 2e-4 * p->hz[i] / 25e9; /* grows with f */
                p->u[1][i] = 1e-4;
        }
        p->bands[0].u = p->bands[0].u_worst = p->u[0];
        p->bands[1].u = p->bands[1].u_worst = p->u[1] + 20;
        if (join(p, 3, &err))
                fail_msg("%s", err.text);
        double v = pow(p->u[0][24] / p->u[1][24], 2); /* 25 GHz lies in the middle third (in log f) of 21 … 30 */
        assert_true(fabs(p->share[24] - v / (1 + v)) < 1e-12);
        assert_true(p->joints[0].beyond && p->joints[0].share > 10);
        assert_non_null(strstr(p->joints[0].sentence, "low and middle differ by up to 0.01"));
        for (size_t i = 0; i < N; i++)
                p->u[0][i] = 0.005 + 0.005 * (p->hz[i] > 25e9), p->u[1][i] = 0.005 + 0.005 * (p->hz[i] < 25e9);
        assert_int_equal(join(p, 3, &err), CODE_OK);
        assert_false(p->joints[0].beyond);
        assert_true(p->joints[0].share < 1 && p->joints[0].sentence[0] == '\0');
        assert_true(p->joints[0].cross_hz == 25e9);
        for (size_t i = 0; i < N; i++) /* the upper one is surer everywhere: the overlap lies in the wrong place */
                p->u[0][i] = 0.02, p->u[1][i] = 0.005;
        assert_int_equal(join(p, 3, &err), CODE_OK);
        assert_true(p->joints[0].one_sided);
        assert_non_null(strstr(p->joints[0].sentence, "further down"));
        arena_free(p->arena);
}

static void handover_lies_where_the_uncertainties_cross(void **state)
{
        (void)state;
        struct pair *p = pair_new(0);
        double hz = 0;
        for (size_t i = 0; i < N; i++) {
                p->u[0][i] = 1e-3 * p->hz[i] / 20.5e9;
                p->u[1][i] = 1e-3 * 20.5e9 / p->hz[i];
        }
        p->u[0][5] = 5e-3; /* one odd point does not mislead */
        p->u[1][40] = NAN;
        assert_true(rf_join_handover(&p->whole, p->u[0], p->u[1], &hz));
        assert_true(hz == 21e9);
        for (size_t i = 0; i < N; i++)
                p->u[1][i] = 0.5 * p->u[0][i];
        assert_false(rf_join_handover(&p->whole, p->u[0], p->u[1], &hz));
        assert_false(rf_join_handover(&p->whole, p->u[1], p->u[0], &hz));
        arena_free(p->arena);
}

static void one_band_is_itself(void **state)
{
        (void)state;
        struct pair *p = pair_new(0);
        struct tp_error err = {0};
        struct terms t = terms_at(arena_take(p->arena, terms_bytes(N)), &p->whole);
        t.model = TERMS_TWELVE;
        t.plane = PLANE_TIP;
        t.method = "solt";
        for (size_t i = 0; i < N; i++)
                eight_set(&t, i, 0.1, 0.2, 0.7, CMPLX(0, 1));
        p->bands[0] = (struct rf_band){.name = "solt", .terms = &t};
        assert_int_equal(join(p, 1, &err), CODE_OK);
        assert_true(p->out.model == TERMS_TWELVE && !p->has_switch);
        assert_string_equal(p->out.method, "solt");
        assert_memory_equal(p->out.re[TERM_ETR], t.re[TERM_ETR], sizeof p->hz);
        arena_free(p->arena);
}

static void what_cannot_be_joined_is_refused(void **state)
{
        (void)state;
        struct tp_error err = {0};
#define REFUSED(n, change, word)                                                   \
        do {                                                                       \
                struct pair *p = pair_new(0.01);                                   \
                change;                                                            \
                if (join(p, n, &err) != CODE_BAD_INPUT || !strstr(err.text, word)) \
                        fail_msg("wanted \"%s\", got \"%s\"", word, err.text);     \
                arena_free(p->arena);                                              \
        } while (0)
        REFUSED(0, (void)0, "0 bands");
        REFUSED(9, (void)0, "9 bands");
        REFUSED(1, (void)0, "other frequencies");
        REFUSED(2, (void)0, "no band covers 6.1e+10 Hz, the highest");
        REFUSED(3, p->bands[0] = p->bands[1], "no band covers 1e+09 Hz, the lowest");
        REFUSED(3, axis_of(15, p->hz, &p->part[0], NULL), "share no frequency");
        REFUSED(3, reach(p, 2, 25), "three bands meet at 2.6e+10 Hz");
        REFUSED(3, p->bands[1] = p->bands[0], "rise");
        REFUSED(3, p->terms[1].plane = PLANE_LINE_MIDDLE, "one calibration has one");
        REFUSED(3, p->terms[1].z_re[3] = NAN, "capacitance per metre");
        REFUSED(3, p->terms[2].z_re[0] = 75, "capacitance per metre");
        REFUSED(3, p->terms[1].model = TERMS_SIXTEEN, "only eight or twelve terms");
        REFUSED(3, p->terms[1].model = TERMS_ONE_PORT, "only eight or twelve terms");
        REFUSED(3, p->terms[1].model = TERMS_UNKNOWN, "only eight or twelve terms");
        REFUSED(3, (p->terms[1].switch_removed = true, p->bands[1].switch_terms = NULL), "switch terms removed, which are not given");
        REFUSED(3, p->terms[1].re[TERM_ESF][2] = NAN, "no number");
        REFUSED(3, p->terms[1].im[TERM_K][15] = INFINITY, "no number");
        REFUSED(3, p->terms[2].re[TERM_K][4] *= -5, "transmission with opposite signs");
        REFUSED(3, p->terms[2].re[TERM_ERF][4] *= -1, "reflections with opposite signs");
        double other[25];
        for (size_t i = 0; i < 25; i++)
                other[i] = 1e9 * (double)(i + 21) + (i == 7);
        REFUSED(3, axis_of(25, other, &p->part[1], NULL), "no run");
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(the_bound_holds_for_passive_devices_and_is_reached),
                                           cmocka_unit_test(twelve_terms_become_the_eight_and_switch_terms_they_came_from),
                                           cmocka_unit_test(twelve_and_eight_terms_join),
                                           cmocka_unit_test(terms_run_smoothly_from_one_solution_to_the_next),
                                           cmocka_unit_test(weights_are_inverse_variances_inside_and_the_kink_is_judged),
                                           cmocka_unit_test(handover_lies_where_the_uncertainties_cross),
                                           cmocka_unit_test(one_band_is_itself),
                                           cmocka_unit_test(what_cannot_be_joined_is_refused)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
