/* Plausibility of corrected sweeps: what is right passes, each fault is found, named and located. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "base/arena.h"
#include "tests/unit/rf_draws.h"
#include "rf/network/convert.h"
#include "rf/trust/plausible.h"
#include "rf/calibrate/standards.h"

enum { N = 741 }; /* 2 to 150 GHz in steps of 0.2 GHz */
struct sweep {
        struct arena *arena;
        struct axis axis;
        double hz[N];
        struct net2 net;
        uint64_t seed;
};

static struct sweep sweep_new(uint64_t seed)
{
        struct sweep s = {.arena = arena_new(0), .seed = seed};
        return s;
}
static void sweep_open(struct sweep *s)
{
        for (size_t i = 0; i < N; i++)
                s->hz[i] = 2e9 + 0.2e9 * (double)i;
        assert_int_equal(axis_of(N, s->hz, &s->axis, NULL), CODE_OK);
        s->net = net2_at(arena_take(s->arena, net2_bytes(N)), &s->axis, PLANE_TIP);
}

/* Devices that stand on wafers, in 50 ohm. */
enum device { DEVICE_LINE, DEVICE_RESONATOR, DEVICE_PAD, DEVICE_LONG_LINE, DEVICE_N };
static struct m2 device(enum device kind, double hz, double resonance_hz)
{
        double w = RF_TWO_PI * hz;
        double complex loss = 60 * sqrt(hz / 1e11), g = loss + CMPLX(0, w * sqrt(5.3) / RF_C0_M_S);
        switch (kind) {
        case DEVICE_LINE:
                return rf_line(g, 47, 900e-6, 50);
        case DEVICE_LONG_LINE:
                return rf_line(g, 52, 5250e-6, 50);
        case DEVICE_RESONATOR: { /* inductor with its capacitance in series, Q of 12, and a pad on either side */
                double w0 = RF_TWO_PI * resonance_hz, l = 120e-12;
                double complex z = CMPLX(w0 * l / 12, w * l), y = 1 / z + CMPLX(0, w / (w0 * w0 * l));
                double complex pad = CMPLX(0, w * 18e-15), a = 1 + 50 * pad, zs = 1 / y / 50;
                /* series zs between shunt pads: ABCD to S */
                double complex p = pad * 50, A = 1 + zs * p, B = zs, C = p * (2 + zs * p), D = A, den = A + B + C + D;
                (void)a;
                return m2_of((A + B - C - D) / den, 2 / den, 2 / den, (-A + B - C + D) / den);
        }
        case DEVICE_PAD: {
                double complex p = CMPLX(1e-4 * hz / 1e11, w * 30e-15) * 50, r = -p / (2 + p);
                return m2_of(r, 1 + r, 1 + r, r);
        }
        case DEVICE_N:
                break;
        }
        return m2_one();
}
static void fill(struct sweep *s, enum device kind, double resonance_hz, double noise)
{
        for (size_t i = 0; i < N; i++) {
                struct m2 m = device(kind, s->hz[i], resonance_hz);
                for (int k = 0; k < 4; k++)
                        m.e[k] += noise * normal(&s->seed);
                net2_put(&s->net, i, m);
        }
}

static void a_passive_device_passes_and_one_that_gives_power_off_is_located(void **state)
{
        (void)state;
        struct sweep s = sweep_new(1);
        sweep_open(&s);
        struct rf_plausible p;
        for (int kind = 0; kind < DEVICE_N; kind++) {
                fill(&s, (enum device)kind, 70e9, 0);
                assert_int_equal(rf_passivity(&s.net, NULL, &p, NULL), CODE_OK);
                assert_int_equal(p.finding, RF_FINDING_GOOD);
                assert_true(p.worst <= 1 + 1e-12 && p.worst > 0.9);
        }
        struct m2 m = m2_scale(1.004 / rf_largest_singular(net2_get(&s.net, 550)), net2_get(&s.net, 550));
        net2_put(&s.net, 550, m); /* 112 GHz */
        assert_int_equal(rf_passivity(&s.net, NULL, &p, NULL), CODE_OK);
        assert_int_equal(p.finding, RF_FINDING_BAD);
        assert_true(fabs(p.worst - 1.004) < 1e-12 && p.worst_hz == 112e9 && p.beyond_n == 1);
        assert_non_null(strstr(p.sentence, "|S| exceeds 1 by 0.004 at 112 GHz"));
        double u[N];
        for (size_t i = 0; i < N; i++)
                u[i] = 0.002;
        assert_int_equal(rf_passivity(&s.net, u, &p, NULL), CODE_OK);
        assert_int_equal(p.finding, RF_FINDING_GOOD); /* 1 + 3 u */
        s.net.re[0][7] = NAN;
        assert_int_equal(rf_passivity(&s.net, u, &p, NULL), CODE_OK);
        assert_int_equal(p.finding, RF_FINDING_BAD);
        assert_non_null(strstr(p.sentence, "not a number"));
        net2_set_z(&s.net, 50, -1);
        struct tp_error err = {0};
        assert_int_equal(rf_passivity(&s.net, NULL, &p, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "renormalise"));
        net2_set_z(&s.net, NAN, NAN);
        assert_int_equal(rf_passivity(&s.net, NULL, &p, &err), CODE_BAD_INPUT);
        arena_free(s.arena);
}

/* Singular values of a matrix built from known ones. */
static void the_largest_singular_value_is_the_one_built_in(void **state)
{
        (void)state;
        uint64_t seed = 3;
        for (int r = 0; r < 1000; r++) {
                double a = draw(&seed) * 1.57, b = draw(&seed) * 1.57, s1 = draw(&seed) * 2, s2 = draw(&seed) * s1;
                double complex p = cexp(CMPLX(0, 6 * draw(&seed))), q = cexp(CMPLX(0, 6 * draw(&seed)));
                struct m2 u = m2_of(cos(a) * p, sin(a), -sin(a) * p, cos(a)), v = m2_of(cos(b), sin(b) * q, -sin(b), cos(b) * q);
                double got = rf_largest_singular(m2_mul(u, m2_mul(m2_diag(s1, s2), v)));
                if (!(fabs(got - s1) < 1e-8)) /* equal singular values: the root's argument is a difference of equals */
                        fail_msg("%.17g instead of %.17g (other %.17g)", got, s1, s2);
        }
}

static void reciprocity_tells_its_causes_apart(void **state)
{
        (void)state;
        struct sweep s = sweep_new(1);
        sweep_open(&s);
        struct rf_plausible p;
        fill(&s, DEVICE_LINE, 0, 1e-4);
        assert_int_equal(rf_reciprocity(&s.net, 0.01, NULL, &p, NULL), CODE_OK);
        assert_int_equal(p.finding, RF_FINDING_GOOD);
        for (size_t i = 0; i < N; i++) { /* a path of 50 fs */
                struct m2 m = net2_get(&s.net, i);
                m.e[2] *= cexp(CMPLX(0, -RF_TWO_PI * s.hz[i] * 50e-15));
                net2_put(&s.net, i, m);
        }
        assert_int_equal(rf_reciprocity(&s.net, 0.01, NULL, &p, NULL), CODE_OK);
        assert_int_equal(p.finding, RF_FINDING_BAD);
        if (!strstr(p.sentence, "50 fs") && !strstr(p.sentence, "50.0 fs") && !strstr(p.sentence, "49.9 fs") &&
            !strstr(p.sentence, "50.1 fs"))
                fail_msg("%s", p.sentence);
        fill(&s, DEVICE_LINE, 0, 1e-4);
        for (size_t i = 0; i < N; i++) { /* 0.3 dB */
                s.net.re[2][i] *= pow(10, 0.3 / 20);
                s.net.im[2][i] *= pow(10, 0.3 / 20);
        }
        assert_int_equal(rf_reciprocity(&s.net, 0.01, NULL, &p, NULL), CODE_OK);
        if (!strstr(p.sentence, "0.3 dB") || !strstr(p.sentence, "at all 741 frequencies"))
                fail_msg("%s", p.sentence);
        fill(&s, DEVICE_LINE, 0, 1e-4);
        for (size_t i = 0; i < N; i++)
                net2_put(&s.net, i, m2_scale(1e-4, net2_get(&s.net, i))); /* nothing transmits: nothing is said */
        assert_int_equal(rf_reciprocity(&s.net, 0.01, NULL, &p, NULL), CODE_OK);
        assert_int_equal(p.finding, RF_FINDING_GOOD);
        net2_set_z(&s.net, 47, -2); /* a complex z common to both ports leaves reciprocity alone */
        assert_int_equal(rf_reciprocity(&s.net, 0.01, NULL, &p, NULL), CODE_OK);
        struct tp_error err = {0};
        assert_int_equal(rf_reciprocity(&s.net, 0, NULL, &p, &err), CODE_BAD_INPUT);
        arena_free(s.arena);
}

static void conjugated_data_turn_the_wrong_way(void **state)
{
        (void)state;
        struct sweep s = sweep_new(2);
        sweep_open(&s);
        struct rf_plausible p;
        for (int kind = 0; kind < DEVICE_N; kind++) {
                if (kind == DEVICE_RESONATOR)
                        continue; /* tested below */
                fill(&s, (enum device)kind, 60e9, 0);
                assert_int_equal(rf_causality(&s.net, 0.01, &p, NULL), CODE_OK);
                if (p.finding != RF_FINDING_GOOD)
                        fail_msg("device %d: %s", kind, p.sentence);
                for (int k = 0; k < 4; k++)
                        for (size_t i = 0; i < N; i++)
                                s.net.im[k][i] = -s.net.im[k][i];
                assert_int_equal(rf_causality(&s.net, 0.01, &p, NULL), CODE_OK);
                assert_int_equal(p.finding, RF_FINDING_BAD);
                assert_non_null(strstr(p.sentence, "sign of time"));
        }
        fill(&s, DEVICE_RESONATOR, 60e9, 0);
        assert_int_equal(rf_causality(&s.net, 0.01, &p, NULL), CODE_OK);
        assert_int_equal(p.finding, RF_FINDING_GOOD);
        for (int k = 0; k < 4; k++) /* noise has no sense of rotation: nothing is claimed of it */
                for (size_t i = 0; i < N; i++) {
                        double complex z = 0.1 + 0.01 * normal(&s.seed);
                        s.net.re[k][i] = creal(z);
                        s.net.im[k][i] = cimag(z);
                }
        assert_int_equal(rf_causality(&s.net, 0.01, &p, NULL), CODE_OK);
        assert_int_equal(p.finding, RF_FINDING_UNKNOWN);
        s.hz[4] += 0.05e9;
        struct tp_error err = {0};
        assert_int_equal(rf_causality(&s.net, 0.01, &p, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "even"));
        arena_free(s.arena);
}

static void a_causal_model_fits_what_is_causal(void **state)
{
        (void)state;
        struct sweep s = sweep_new(9);
        sweep_open(&s);
        void *room = arena_take(s.arena, rf_causality_fit_bytes(N, 2));
        struct rf_plausible p;
        struct tp_error err = {0};
        const struct model_data data = model_data_of(&s.net);
        for (int kind = 0; kind < DEVICE_N; kind++)
                for (int turn = 0; turn < 3; turn++) {
                        fill(&s, (enum device)kind, 70e9, 2e-4);
                        for (size_t i = 0; i < N && turn; i++) {
                                struct m2 m = net2_get(&s.net, i);
                                for (int k = 0; k < 4; k++)
                                        m.e[k] = turn == 1 ? conj(m.e[k]) : m.e[k];
                                if (turn == 2) { /* planes 40 ps beyond the device: it answers before it is asked */
                                        double complex early = cexp(CMPLX(0, RF_TWO_PI * s.hz[i] * 40e-12));
                                        m = m2_of(m.e[0] * early * early, m.e[1] * early * early, m.e[2] * early * early,
                                                  m.e[3] * early * early);
                                }
                                net2_put(&s.net, i, m);
                        }
                        if (rf_causality_fit(&data, 0, 0, room, &p, &err))
                                fail_msg("%s", err.text);
                        if (p.finding != (turn ? RF_FINDING_BAD : RF_FINDING_GOOD))
                                fail_msg("device %d, turn %d: %s", kind, turn, p.sentence);
                        if (!turn)
                                print_message("device %d: %s\n", kind, p.sentence);
                }
        s.net.im[2][5] = INFINITY;
        assert_int_equal(rf_causality_fit(&data, 0, 0, room, &p, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_causality_fit(&data, -1, 0, room, &p, &err), CODE_BAD_INPUT);
        arena_free(s.arena);
}

static void symmetry_is_judged_against_the_callers_limit(void **state)
{
        (void)state;
        struct sweep s = sweep_new(2);
        sweep_open(&s);
        struct rf_plausible p;
        fill(&s, DEVICE_RESONATOR, 60e9, 0);
        assert_int_equal(rf_symmetry(&s.net, 1e-9, NULL, &p, NULL), CODE_OK);
        assert_int_equal(p.finding, RF_FINDING_GOOD);
        s.net.re[3][100] += 0.2;
        assert_int_equal(rf_symmetry(&s.net, 0.1, NULL, &p, NULL), CODE_OK);
        assert_int_equal(p.finding, RF_FINDING_BAD);
        assert_true(p.worst_hz == s.hz[100] && fabs(p.worst - 0.2) < 1e-9);
        assert_int_equal(rf_symmetry(&s.net, NAN, NULL, &p, NULL), CODE_BAD_INPUT);
        arena_free(s.arena);
}

/* By hand: three points, singular values 1.1 1 1 and |S21 - S12| 0.05 0 0. */
static void the_quality_figures_follow_their_formulas(void **state)
{
        (void)state;
        double hz[3] = {1e9, 2e9, 3e9};
        struct axis axis;
        struct arena *arena = arena_new(0);
        assert_int_equal(axis_of(3, hz, &axis, NULL), CODE_OK);
        struct net2 net = net2_at(arena_take(arena, net2_bytes(3)), &axis, PLANE_TIP);
        net2_put(&net, 0, m2_of(0, 1.05, 1.1, 0));
        net2_put(&net, 1, m2_of(0, CMPLX(0, -1), CMPLX(0, -1), 0));
        net2_put(&net, 2, m2_of(0, -1, -1, 0));
        struct rf_quality370 q;
        assert_int_equal(rf_quality370(&net, &q, NULL), CODE_OK);
        assert_true(fabs(q.passivity - 100.0 / 3 * (3 - (1.1 - 1.00001) / 0.1)) < 1e-9);
        assert_true(fabs(q.reciprocity - 100.0 / 3 * (3 - (0.05 - 1e-6) / 0.1)) < 1e-9);
        assert_true(isnan(q.causality)); /* S11 does not move: no rotation to share */
        for (size_t i = 0; i < 3; i++)
                net2_put(&net, i,
                         m2_of(cexp(CMPLX(0, -0.1 * (double)i)), 0.5 * cexp(CMPLX(0, -(double)i)), 0.5 * cexp(CMPLX(0, -(double)i)),
                               cexp(CMPLX(0, -0.2 * (double)i))));
        assert_int_equal(rf_quality370(&net, &q, NULL), CODE_OK);
        assert_true(q.causality == 100);
        net2_set_z(&net, 40, 1);
        assert_int_equal(rf_quality370(&net, &q, NULL), CODE_BAD_INPUT);
        arena_free(arena);
}

/* A step of db and deg in the tracking of port 1 from this frequency on. */
static void step_in(struct sweep *s, double from_hz, double db, double deg)
{
        double complex t = pow(10, db / 20) * cexp(CMPLX(0, deg * RF_PI / 180));
        for (size_t i = 0; i < N; i++)
                if (s->hz[i] >= from_hz) {
                        struct m2 m = net2_get(&s->net, i);
                        net2_put(&s->net, i, m2_of(m.e[0] * t * t, m.e[1] * t, m.e[2] * t, m.e[3]));
                }
}

static void seams_do_not_cry(void **state)
{
        (void)state;
        size_t alarms = 0, edges = 0;
        static const double noises[] = {0, 1e-5, 2e-4, 1e-3, 5e-3};
        for (uint64_t seed = 1; seed <= 40; seed++) {
                struct sweep s = sweep_new(seed);
                sweep_open(&s);
                void *room = arena_take(s.arena, rf_seams_workspace(N));
                for (int kind = 0; kind < DEVICE_N; kind++) {
                        struct rf_seams r;
                        double resonance =
                                seed % 2 ? 30e9 + 0.7e9 * (double)seed : 54e9 + 0.01e9 * (double)seed; /* even seeds: on the edge */
                        fill(&s, (enum device)kind, resonance, noises[seed % 5]);
                        assert_int_equal(rf_seams(&s.net, NULL, 0, 0, room, &r, NULL), CODE_OK);
                        assert_int_equal(r.judged_n, 5);
                        alarms += r.found_n;
                        edges += r.judged_n;
                        for (size_t k = 0; k < r.n && r.found_n; k++)
                                if (r.seam[k].found)
                                        print_message("seed %" PRIu64 " device %d noise %g: %s (%.3g, scatter %.3g)\n", seed, kind,
                                                      noises[seed % 5], r.sentence, r.seam[k].step, r.seam[k].scatter);
                }
                arena_free(s.arena);
        }
        print_message("%zu of %zu edges without a step were called one\n", alarms, edges);
        assert_int_equal(alarms, 0);
}

static void a_small_step_is_found_where_it_is(void **state)
{
        (void)state;
        size_t found = 0, asked = 0, elsewhere = 0;
        for (uint64_t seed = 1; seed <= 60; seed++) {
                struct sweep s = sweep_new(seed);
                sweep_open(&s);
                void *room = arena_take(s.arena, rf_seams_workspace(N));
                size_t edge = seed % rf_band_edge_n;
                enum device kind = (enum device)(seed % 3 == 0 ? DEVICE_LINE : seed % 3 == 1 ? DEVICE_PAD : DEVICE_RESONATOR);
                double noise = 3e-4; /* 0.003 dB: 1 kHz, or 100 Hz above 110 GHz */
                struct rf_seams r;
                fill(&s, kind, 15e9, noise);
                step_in(&s, rf_band_edges_hz[edge] - 1, 0.03, 0.3);
                assert_int_equal(rf_seams(&s.net, NULL, 0, 0, room, &r, NULL), CODE_OK);
                for (size_t k = 0; k < r.n; k++) {
                        if (k == edge) {
                                asked++;
                                found += r.seam[k].found;
                        } else {
                                elsewhere += r.seam[k].found;
                        }
                }
                fill(&s, kind, 15e9, noise / 10); /* and averaged, the smallest one that counts */
                step_in(&s, rf_band_edges_hz[edge] - 1, 0.0205, 0.205);
                assert_int_equal(rf_seams(&s.net, NULL, 0, 0, room, &r, NULL), CODE_OK);
                if (!r.seam[edge].found || r.found_n != 1)
                        fail_msg("seed %" PRIu64 " device %d, edge %.4g GHz: %s; %.3g scatter %.3g", seed, (int)kind,
                                 rf_band_edges_hz[edge] / 1e9, r.sentence, r.seam[edge].step, r.seam[edge].scatter);
                assert_true(fabs(r.seam[edge].hz - rf_band_edges_hz[edge]) < 0.3e9);
                arena_free(s.arena);
        }
        print_message("0.03 dB and 0.3 degree in noise of 3e-4: %zu of %zu found, %zu false\n", found, asked, elsewhere);
        assert_true(found * 100 >= asked * 90);
        assert_int_equal(elsewhere, 0);
}

static void edges_come_from_the_caller(void **state)
{
        (void)state;
        struct sweep s = sweep_new(5);
        sweep_open(&s);
        void *room = arena_take(s.arena, rf_seams_workspace(N));
        struct rf_seams r;
        fill(&s, DEVICE_LINE, 0, 1e-5);
        step_in(&s, 67e9, 0.05, 0);
        assert_int_equal(rf_seams(&s.net, NULL, 0, 0, room, &r, NULL), CODE_OK);
        assert_int_equal(r.found_n, 0);
        double edges[3] = {1e9, 67e9, 300e9};
        assert_int_equal(rf_seams(&s.net, edges, 3, 0, room, &r, NULL), CODE_OK);
        assert_true(r.n == 1 && r.found_n == 1 && r.seam[0].step_db > 0.04 && r.seam[0].step_db < 0.12);
        assert_non_null(strstr(r.sentence, "67 GHz"));
        edges[1] = 66.5e9; /* three points beside */
        assert_int_equal(rf_seams(&s.net, edges, 3, 0, room, &r, NULL), CODE_OK);
        assert_int_equal(rf_seams(&s.net, edges, 3, 1e9, room, &r, NULL), CODE_OK);
        assert_true(r.found_n == 1 && r.seam[0].hz == 67e9);
        struct tp_error err = {0};
        edges[2] = 3e9;
        assert_int_equal(rf_seams(&s.net, edges, 3, 0, room, &r, &err), CODE_BAD_INPUT);
        edges[0] = NAN;
        assert_int_equal(rf_seams(&s.net, edges, 3, 0, room, &r, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_seams(&s.net, edges, 17, 0, room, &r, &err), CODE_BAD_INPUT);
        for (size_t i = 0; i < N; i++)
                for (int k = 0; k < 4; k++)
                        s.net.re[k][i] = NAN;
        edges[0] = 67e9;
        assert_int_equal(rf_seams(&s.net, edges, 1, 0, room, &r, &err), CODE_OK);
        assert_true(r.found_n == 0 && r.judged_n == 0); /* nothing is claimed of NaN */
        arena_free(s.arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(a_passive_device_passes_and_one_that_gives_power_off_is_located),
                                           cmocka_unit_test(the_largest_singular_value_is_the_one_built_in),
                                           cmocka_unit_test(reciprocity_tells_its_causes_apart),
                                           cmocka_unit_test(conjugated_data_turn_the_wrong_way),
                                           cmocka_unit_test(a_causal_model_fits_what_is_causal),
                                           cmocka_unit_test(symmetry_is_judged_against_the_callers_limit),
                                           cmocka_unit_test(the_quality_figures_follow_their_formulas),
                                           cmocka_unit_test(seams_do_not_cry),
                                           cmocka_unit_test(a_small_step_is_found_where_it_is),
                                           cmocka_unit_test(edges_come_from_the_caller)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
