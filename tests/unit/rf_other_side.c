/* What a figure says of the second port, of the other direction and of the other mode: each held against a route of its own, so that one that
   was exchanged with its twin is seen. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>
#include "base/arena.h"
#include "rf/calibrate/join.h"
#include "rf/correct/correct.h"
#include "rf/deembed/deembed.h"
#include "rf/extract/quantity.h"
#include "rf/network/convert.h"
#include "rf/trust/between.h"
#include "rf/trust/plausible.h"

static uint64_t seed_now;
static double draw(void) /* 0 … 1, splitmix64 (Steele, Lea & Flood, OOPSLA 2014) */
{
        uint64_t z = seed_now += 0x9e3779b97f4a7c15u;
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
        return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}
static double power(double complex z) { return creal(z * conj(z)); }
static double complex disc(double size) { return size * sqrt(draw()) * cexp(CMPLX(0, RF_TWO_PI * draw())); }
static double value(const char *word, struct m2 s)
{
        struct rf_at at = {.hz = 10e9, .z_ref = 50};
        double complex gradient[4];
        enum rf_quantity q = rf_quantity_of(word);
        assert_true(q != RF_Q_UNKNOWN);
        return rf_quantity_at(q, s, &at, gradient);
}

/* S_mm = M S M^-1 with M = (1/sqrt 2) [1 -1; 1 1], waves (d, c) (Bockelman & Eisenstadt, IEEE Trans. MTT 43 (1995) 1530); the first letter is the
   mode that answers, the second the one that is driven. */
static void mixed_modes_are_those_of_the_waves(void **state)
{
        (void)state;
        seed_now = 4;
        for (int n = 0; n < 200; n++) {
                struct m2 s = m2_of(disc(1), disc(1), disc(1), disc(1)), m = m2_scale(sqrt(0.5), m2_of(1, -1, 1, 1));
                struct m2 mm = m2_mul(m2_mul(m, s), m2_inv(m));
                static const char *const words[4] = {"Sdd_dB", "Sdc_dB", "Scd_dB", "Scc_dB"};
                for (int e = 0; e < 4; e++)
                        assert_true(fabs(value(words[e], s) - 20 * log10(cabs(mm.e[e]))) < 1e-9);
        }
}

/* The transducer gain at the simultaneous conjugate match that lies inside the unit circle at both ports (Gonzalez, Microwave Transistor Amplifiers,
   2nd ed. (1997), 3.6): B1 and B2 below zero take the root with plus. */
static void available_gain_is_that_of_the_conjugate_match(void **state)
{
        (void)state;
        seed_now = 9;
        int plus = 0, minus = 0;
        for (int n = 0; n < 200000 && (plus < 50 || minus < 50); n++) {
                struct m2 s = m2_of(disc(2), disc(2), disc(2), disc(2));
                double complex det = m2_det(s), c1 = s.e[0] - det * conj(s.e[3]), c2 = s.e[3] - det * conj(s.e[0]);
                double a = power(s.e[0]), d = power(s.e[3]), p = power(det), b1 = 1 + a - d - p, b2 = 1 + d - a - p;
                double k = (1 - a - d + p) / (2 * cabs(s.e[1] * s.e[2]));
                if (k < 1.02 || b1 * b2 <= 0 || cabs(c1) < 1e-3 || cabs(c2) < 1e-3)
                        continue;
                double sign = b1 < 0 ? 1 : -1;
                double complex source = (b1 + sign * sqrt(fmax(0, b1 * b1 - 4 * power(c1)))) / (2 * c1),
                               load = (b2 + sign * sqrt(fmax(0, b2 * b2 - 4 * power(c2)))) / (2 * c2);
                if (cabs(source) >= 1 || cabs(load) >= 1)
                        continue;
                double gain = (1 - power(source)) * power(s.e[2]) * (1 - power(load)) /
                              power((1 - s.e[0] * source) * (1 - s.e[3] * load) - s.e[1] * s.e[2] * source * load);
                double got = value("MAG_dB", s);
                if (!(fabs(got - 10 * log10(gain)) < 1e-6))
                        fail_msg("K %g, B1 %g: %.9g dB, the match gives %.9g dB", k, b1, got, 10 * log10(gain));
                plus += b1 < 0;
                minus += b1 > 0;
        }
        assert_true(plus >= 50 && minus >= 50);
}

/* ---- error terms of one point ---- */

struct one {
        double hz;
        struct axis axis;
        _Alignas(64) unsigned char memory[8192];
        struct terms terms;
};
static void one_set(struct one *o, const double complex of[7])
{
        o->hz = 10e9;
        assert_int_equal(axis_of(1, &o->hz, &o->axis, NULL), CODE_OK);
        assert_true(terms_bytes(1) <= sizeof o->memory);
        o->terms = terms_at(o->memory, &o->axis);
        o->terms.model = TERMS_EIGHT;
        o->terms.plane = PLANE_TIP;
        double complex v[TERM_COUNT] = {0};
        memcpy(v, of, 7 * sizeof *of);
        v[TERM_ELF] = v[TERM_ESR];
        v[TERM_ETF] = v[TERM_K] * v[TERM_ERR];
        v[TERM_ELR] = v[TERM_ESF];
        v[TERM_ETR] = v[TERM_ERF] / v[TERM_K];
        for (int k = 0; k < TERM_COUNT; k++) {
                o->terms.re[k][0] = creal(v[k]);
                o->terms.im[k][0] = cimag(v[k]);
        }
        o->terms.z_re[0] = 50;
        o->terms.z_im[0] = 0;
}
static double worst_of_devices(const struct one *a, const struct one *b)
{
        double most = 0;
        for (int n = 0; n < 60000; n++) {
                double x = draw(), y = sqrt(1 - x * x), f1 = RF_TWO_PI * draw(), f2 = RF_TWO_PI * draw();
                double complex s11 = x * cexp(CMPLX(0, f1)), s21 = y * cexp(CMPLX(0, f2));
                struct m2 s = m2_of(s11, s21, s21, -conj(s11) * s21 / conj(s21)); /* lossless and reciprocal */
                most = fmax(most, m2_distance(rf_correct2_point(&b->terms, 0, rf_embed2_point(&a->terms, 0, s)), s));
        }
        return most;
}

static void the_kink_of_a_joint_sees_both_directions_and_a_match_in_transmission(void **state)
{
        (void)state;
        seed_now = 77;
        static struct one a, b;
        const double complex plain[7] = {0.1, CMPLX(0.05, 0.1), 0.8, 0.07, CMPLX(0.04, 0.09), 0.9, CMPLX(0.9, 0.2)};
        for (int way = 0; way < 4; way++) {
                double complex other[7];
                memcpy(other, plain, sizeof other);
                if (way < 2) /* one direction gains what the other loses, and a tenth is not its own inverse */
                        other[6] *= way ? 1.3 : 1 / 1.3;
                else { /* source matches differ: what transmits depends on what reflects */
                        other[1] += 0.1;
                        other[4] += 0.1;
                        other[6] *= way == 3 ? 1.1 : 1 / 1.1;
                }
                one_set(&a, plain);
                one_set(&b, other);
                double bound = rf_join_bound(&a.terms, 0, &b.terms, 0), most = worst_of_devices(&a, &b);
                /* the bound is of first order in the difference of matches, a tenth here: what it leaves out is a tenth of itself */
                if (!(most <= (way < 2 ? 1.0001 : 1.12) * bound && most >= 0.7 * bound))
                        fail_msg("way %d: bound %.4g, worst of the devices %.4g", way, bound, most);
        }
}

/* ---- between two calibrations ---- */
enum { N = 64 };
static struct terms terms_new(struct arena *arena, const struct axis *axis, enum terms_model model)
{
        struct terms t = terms_at(arena_take(arena, terms_bytes(N)), axis);
        t.method = "made up";
        t.model = model;
        t.plane = PLANE_TIP;
        for (size_t i = 0; i < N; i++) {
                static const double complex v[TERM_COUNT] = {
                        [TERM_EDF] = 0.1,       [TERM_ESF] = 0.05, [TERM_ERF] = 0.8,  [TERM_EDR] = 0.12, [TERM_ESR] = 0.06,
                        [TERM_ERR] = 0.7,       [TERM_K] = 0.9,    [TERM_ELF] = 0.06, [TERM_ETF] = 0.63, [TERM_ELR] = 0.05,
                        [TERM_ETR] = 0.8 / 0.9, [TERM_EXF] = 1e-3, [TERM_EXR] = 2e-3};
                for (int k = 0; k < TERM_COUNT; k++) {
                        t.re[k][i] = creal(v[k]);
                        t.im[k][i] = cimag(v[k]);
                }
                t.z_re[i] = 50;
                t.z_im[i] = 0;
        }
        return t;
}

static void leakage_and_load_match_go_from_the_first_to_the_second(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        double hz[N];
        struct axis axis;
        for (size_t i = 0; i < N; i++)
                hz[i] = 1e9 * (double)(i + 1);
        assert_int_equal(axis_of(N, hz, &axis, NULL), CODE_OK);
        struct terms one = terms_new(arena, &axis, TERMS_TWELVE), two = terms_new(arena, &axis, TERMS_TWELVE),
                     out = terms_new(arena, &axis, TERMS_TWELVE);
        static const enum term moved[4] = {TERM_ELF, TERM_ELR, TERM_EXF, TERM_EXR};
        for (size_t i = 0; i < N; i++)
                for (int m = 0; m < 4; m++)
                        two.re[moved[m]][i] += 1e-3 * (m + 1);
        struct rf_between b;
        struct rf_between_time at;
        assert_int_equal(rf_between_open(&one, &two, 0, 100, NULL, arena_take(arena, rf_between_workspace(N)), &b, NULL), CODE_OK);
        assert_int_equal(rf_between_at(&b, 25, NULL, &out, &at, NULL), CODE_OK);
        for (size_t i = 0; i < N; i++)
                for (int m = 0; m < 4; m++)
                        assert_true(fabs(out.re[moved[m]][i] - one.re[moved[m]][i] - 0.25e-3 * (m + 1)) < 1e-15);
        arena_free(arena);
}

static void what_moved_at_one_port_is_unsure_at_that_port(void **state)
{
        (void)state;
        for (int port = 0; port < 2; port++) {
                struct arena *arena = arena_new(0);
                double hz[N];
                struct axis axis;
                for (size_t i = 0; i < N; i++)
                        hz[i] = 1e9 * (double)(i + 1);
                assert_int_equal(axis_of(N, hz, &axis, NULL), CODE_OK);
                struct terms one = terms_new(arena, &axis, TERMS_EIGHT), two = terms_new(arena, &axis, TERMS_EIGHT),
                             out = terms_new(arena, &axis, TERMS_EIGHT);
                for (size_t i = 0; i < N; i++) { /* a tip wears: no delay and no loss explains it */
                        two.re[port ? TERM_ESR : TERM_ESF][i] += 0.05 * cos(hz[i] / 7e9);
                        two.im[port ? TERM_EDR : TERM_EDF][i] += 0.03 * sin(hz[i] / 5e9);
                }
                struct rf_between b;
                struct rf_between_time at;
                double u[4], r[2] = {0};
                assert_int_equal(rf_between_open(&one, &two, 0, 100, NULL, arena_take(arena, rf_between_workspace(N)), &b, NULL), CODE_OK);
                assert_int_equal(b.kind, RF_BETWEEN_GENERAL);
                assert_int_equal(rf_between_at(&b, 50, NULL, &out, &at, NULL), CODE_OK);
                for (size_t i = 0; i < N; i++) {
                        rf_between_u(&b, &at, &out, i, m2_diag(-1, -1), u); /* shorts: nothing goes across */
                        r[0] += u[0] / N;
                        r[1] += u[3] / N;
                }
                if (!(r[port] > 1.3 * r[1 - port]))
                        fail_msg("port %d moved: u of S11 %.3g, of S22 %.3g", port + 1, r[0], r[1]);
                arena_free(arena);
        }
}

/* ---- limits and edges ---- */

static struct m2 turned(struct m2 s) { return m2_of(s.e[3], s.e[2], s.e[1], s.e[0]); }

static void the_limit_of_a_method_is_that_of_the_worse_side(void **state)
{
        (void)state;
        seed_now = 31;
        const double z = 50;
        for (int n = 0; n < 100; n++) {
                /* pads and leads, port 1's small, port 2's large */
                double w = RF_TWO_PI * 20e9, g1 = w * 5e-15, g2 = w * 60e-15 * (1 + draw()), l1 = w * 3e-12, l2 = w * 40e-12 * (1 + draw()),
                       g3 = w * 3e-15;
                struct m2 pads = m2_diag(CMPLX(0, g1), CMPLX(0, g2)),
                          leads = m2_of(CMPLX(0.5, l1 + l2 / 9), CMPLX(0.3, l2 / 9), CMPLX(0.3, l2 / 9), CMPLX(0.5, l2 + l2 / 9));
                struct m2 bridge = m2_of(CMPLX(0, g3), CMPLX(0, -g3), CMPLX(0, -g3), CMPLX(0, g3));
                struct m2 s[RF_DUMMY_COUNT] = {{{0}}};
                s[RF_DUMMY_OPEN] = rf_s_from_y(m2_add(pads, m2_mul(bridge, m2_inv(m2_add(m2_diag(1, 1), m2_mul(leads, bridge))))), z);
                s[RF_DUMMY_SHORT] = rf_s_from_y(m2_add(pads, m2_inv(leads)), z);
                s[RF_DUMMY_SHORT_LEFT] = rf_s_from_y(m2_add(pads, m2_diag(1 / leads.e[0], 0)), z);
                s[RF_DUMMY_SHORT_RIGHT] = rf_s_from_y(m2_add(pads, m2_diag(0, 1 / leads.e[3])), z);
                s[RF_DUMMY_THRU] = rf_s_from_y(m2_add(pads, m2_scale(1 / (leads.e[0] + leads.e[3]), m2_of(1, -1, -1, 1))), z);
                s[RF_DUMMY_PAD] = rf_s_from_y(pads, z);
                for (enum deembed_method m = RF_DEEMBED_OPEN; m <= RF_DEEMBED_THREE_STEP; m++) {
                        struct m2 back[RF_DUMMY_COUNT];
                        for (int k = 0; k < RF_DUMMY_COUNT; k++)
                                back[k] = turned(s[k]);
                        struct m2 left = back[RF_DUMMY_SHORT_LEFT];
                        back[RF_DUMMY_SHORT_LEFT] = back[RF_DUMMY_SHORT_RIGHT];
                        back[RF_DUMMY_SHORT_RIGHT] = left;
                        double ahead = rf_deembed_share(m, s, z), behind = rf_deembed_share(m, back, z);
                        if (!(fabs(ahead - behind) < 1e-6 * ahead))
                                fail_msg("%s: share %.6g, with ports exchanged %.6g", rf_deembed_methods[m].word, ahead, behind);
                        assert_true(ahead > 0.05);
                }
        }
}

/* Where systems of this kind hand over (30, 54, 80, 110 and 145 GHz): a step at each is found there. */
static void every_band_edge_is_looked_at(void **state)
{
        (void)state;
        static const double edges_hz[] = {30e9, 54e9, 80e9, 110e9, 145e9};
        enum { POINTS = 801 };
        for (size_t k = 0; k < sizeof edges_hz / sizeof *edges_hz; k++) {
                struct arena *arena = arena_new(0);
                static double hz[POINTS];
                struct axis axis;
                for (size_t i = 0; i < POINTS; i++)
                        hz[i] = 0.1e9 + 0.25e9 * (double)i;
                assert_int_equal(axis_of(POINTS, hz, &axis, NULL), CODE_OK);
                struct net2 net = net2_at(arena_take(arena, net2_bytes(POINTS)), &axis, PLANE_TIP);
                seed_now = k;
                for (size_t i = 0; i < POINTS; i++) {
                        double complex through =
                                0.8 * cexp(CMPLX(-hz[i] / 1e12, -RF_TWO_PI * hz[i] * 2e-12)) * (hz[i] >= edges_hz[k] ? 1.02 : 1);
                        net2_put(&net, i, m2_of(0.1 + disc(1e-4), through + disc(1e-4), through + disc(1e-4), 0.1 + disc(1e-4)));
                        net.z_re[i] = 50;
                        net.z_im[i] = 0;
                }
                struct rf_seams r;
                assert_int_equal(rf_seams(&net, NULL, 0, 0, arena_take(arena, rf_seams_workspace(POINTS)), &r, NULL), CODE_OK);
                assert_int_equal(r.found_n, 1);
                for (size_t m = 0; m < r.n; m++)
                        assert_true(r.seam[m].found == (r.seam[m].edge_hz == edges_hz[k]));
                arena_free(arena);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(mixed_modes_are_those_of_the_waves),
                cmocka_unit_test(available_gain_is_that_of_the_conjugate_match),
                cmocka_unit_test(the_kink_of_a_joint_sees_both_directions_and_a_match_in_transmission),
                cmocka_unit_test(leakage_and_load_match_go_from_the_first_to_the_second),
                cmocka_unit_test(what_moved_at_one_port_is_unsure_at_that_port),
                cmocka_unit_test(the_limit_of_a_method_is_that_of_the_worse_side),
                cmocka_unit_test(every_band_edge_is_looked_at),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
