/* Data that are not the way round they say: each turn is recognised from what physics says of it, and named. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "base/arena.h"
#include "rf/network/convert.h"
#include "rf/correct/correct.h"
#include "rf/trust/orientation.h"
#include "rf/calibrate/standards.h"

enum { N = 200 };
struct set {
        struct arena *arena;
        struct axis axis;
        double hz[N];
        uint64_t seed;
};
static void set_open(struct set *s)
{
        *s = (struct set){.arena = arena_new(0), .seed = 11};
        for (size_t i = 0; i < N; i++)
                s->hz[i] = 0.5e9 * (double)(i + 1);
        assert_int_equal(axis_of(N, s->hz, &s->axis, NULL), CODE_OK);
}
static struct net2 *net_new(struct set *s, enum plane plane)
{
        struct net2 *n = arena_take(s->arena, sizeof *n);
        *n = net2_at(arena_take(s->arena, net2_bytes(N)), &s->axis, plane);
        return n;
}
static double complex normal(uint64_t *seed)
{
        double u[2];
        for (int k = 0; k < 2; k++) {
                *seed += 0x9e3779b97f4a7c15u; /* splitmix64 */
                uint64_t z = *seed;
                z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
                z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
                u[k] = (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
        }
        return sqrt(-2 * log(1 - u[0])) * cexp(CMPLX(0, RF_TWO_PI * u[1]));
}

/* An amplifier-like thing: nothing of it is equal to anything else. */
static struct m2 lopsided(double hz)
{
        double w = RF_TWO_PI * hz;
        return m2_of(0.5 * cexp(CMPLX(0, -w * 2e-12)), 0.05 * cexp(CMPLX(0, -w * 1e-12)), 2 * cexp(CMPLX(0, -w * 4e-12)),
                     0.2 * cexp(CMPLX(0, -w * 1e-12 + 2)));
}
static struct m2 turn_by(struct m2 s, unsigned turn)
{
        if (turn & RF_TURN_PORTS)
                s = m2_of(s.e[3], s.e[2], s.e[1], s.e[0]);
        if (turn & RF_TURN_TRANSMISSIONS)
                s = m2_of(s.e[0], s.e[2], s.e[1], s.e[3]);
        if (turn & RF_TURN_CONJUGATED)
                for (int k = 0; k < 4; k++)
                        s.e[k] = conj(s.e[k]);
        return s;
}

static void each_turn_of_a_lopsided_standard_is_recognised(void **state)
{
        (void)state;
        struct set s;
        set_open(&s);
        struct net2 *known = net_new(&s, PLANE_TIP), *seen = net_new(&s, PLANE_TIP);
        for (unsigned turn = 0; turn < RF_TURN_COUNT; turn++) {
                for (size_t i = 0; i < N; i++) {
                        struct m2 m = lopsided(s.hz[i]);
                        net2_put(known, i, m);
                        m = turn_by(m, turn);
                        for (int k = 0; k < 4; k++)
                                m.e[k] += 0.01 * normal(&s.seed);
                        net2_put(seen, i, m);
                }
                struct rf_orientation o;
                assert_int_equal(rf_orientation_of(seen, known, &o, NULL), CODE_OK);
                assert_int_equal(o.turn, turn);
                assert_true(o.decided && o.distance < 0.02);
        }
        arena_free(s.arena);
}

static void what_a_standard_cannot_tell_is_said(void **state)
{
        (void)state;
        struct set s;
        set_open(&s);
        struct net2 *known = net_new(&s, PLANE_TIP), *seen = net_new(&s, PLANE_TIP);
        for (size_t i = 0; i < N; i++) { /* a symmetric line: ports may be exchanged at will */
                struct m2 m = rf_line(CMPLX(1, RF_TWO_PI * s.hz[i] * 7.7e-9), 40, 900e-6, 50);
                net2_put(known, i, m);
                net2_put(seen, i, m);
        }
        struct rf_orientation o;
        assert_int_equal(rf_orientation_of(seen, known, &o, NULL), CODE_OK);
        assert_int_equal(o.turn, 0);
        assert_true(o.decided); /* not conjugated: that it can tell */
        assert_non_null(strstr(o.sentence, "cannot tell an exchange of ports"));
        for (size_t i = 0; i < N; i++)
                net2_put(seen, i, m2_of(0.3, 0.9, 0.1, CMPLX(0, 0.7))); /* something else altogether */
        assert_int_equal(rf_orientation_of(seen, known, &o, NULL), CODE_OK);
        assert_false(o.decided);
        struct axis other;
        double hz[2] = {1, 2};
        assert_int_equal(axis_of(2, hz, &other, NULL), CODE_OK);
        struct net2 small = net2_at(arena_take(s.arena, net2_bytes(2)), &other, PLANE_TIP);
        assert_int_equal(rf_orientation_of(&small, known, &o, NULL), CODE_BAD_INPUT);
        seen->re[1][3] = NAN;
        assert_int_equal(rf_orientation_of(seen, known, &o, NULL), CODE_BAD_INPUT);
        arena_free(s.arena);
}

static void the_sign_of_time_is_seen_without_a_standard(void **state)
{
        (void)state;
        struct set s;
        set_open(&s);
        struct net2 *seen = net_new(&s, PLANE_TIP);
        struct rf_orientation o;
        for (int what = 0; what < 3; what++)
                for (int turn = 0; turn < 2; turn++) {
                        for (size_t i = 0; i < N; i++) {
                                double w = RF_TWO_PI * s.hz[i];
                                double complex open = 1 / CMPLX(1, w * 50 * 6e-15) * CMPLX(1, -w * 50 * 6e-15);
                                struct m2 m = what == 0   ? rf_line(CMPLX(3, w * 7.7e-9), 45, 450e-6, 50)
                                              : what == 1 ? m2_diag(open, open)
                                                          : rf_line(CMPLX(3, w * 7.7e-9), 45, 5250e-6, 50);
                                net2_put(seen, i, turn_by(m, turn ? RF_TURN_CONJUGATED : 0));
                        }
                        assert_int_equal(rf_sign_of_time(seen, &o, NULL), CODE_OK);
                        assert_true(o.decided);
                        assert_int_equal(o.turn, turn ? RF_TURN_CONJUGATED : 0);
                        if (what == 0)
                                assert_true(fabs(fabs(o.distance) - 450e-6 * 7.7e-9) < 0.1e-12);
                        assert_true(!turn == !strstr(o.sentence, "e^{-jwt}"));
                }
        for (size_t i = 0; i < N; i++)
                net2_put(seen, i, rf_line(CMPLX(0, RF_TWO_PI * s.hz[i] * 1e-9 / 1.02), 50, 1, 50)); /* half a turn and more a point */
        assert_int_equal(rf_sign_of_time(seen, &o, NULL), CODE_OK);
        assert_false(o.decided);
        assert_non_null(strstr(o.sentence, "finer"));
        for (size_t i = 0; i < N; i++)
                net2_put(seen, i, m2_of(0, 1, 1, 0));
        assert_int_equal(rf_sign_of_time(seen, &o, NULL), CODE_OK);
        assert_false(o.decided);
        arena_free(s.arena);
}

/* The middle line alone, by smoothness; the sign of time is not asked for. */
static void one_reading_tells_too(struct set *s, const struct net2 *raw, const struct switch_terms *given, int use)
{
        struct rf_switch_judgement j;
        bool said = rf_switch_smooth(raw, given, arena_take(s->arena, rf_switch_smooth_workspace(N)), &j);
        if (use == RF_SWITCH_AS_GIVEN || use == RF_SWITCH_CONJUGATED)
                assert_true(use == RF_SWITCH_CONJUGATED || !said);
        else if (!said || (int)j.use != use || !(j.scatter[use] < j.scatter[RF_SWITCH_AS_GIVEN] / 4))
                fail_msg("of one reading use %d was taken for %d: %s", use, (int)j.use, said ? j.sentence : "nothing is said");
}

static void switch_terms_that_do_not_belong_are_recognised(void **state)
{
        (void)state;
        struct set s;
        set_open(&s);
        struct switch_terms sw = switch_terms_at(arena_take(s.arena, switch_terms_bytes(N)), &s.axis),
                            given = switch_terms_at(arena_take(s.arena, switch_terms_bytes(N)), &s.axis);
        struct net2 *raw[3];
        for (int k = 0; k < 3; k++)
                raw[k] = net_new(&s, PLANE_RECEIVER);
        for (int use = 0; use < RF_SWITCH_USE_COUNT; use++) {
                for (size_t i = 0; i < N; i++) {
                        double w = RF_TWO_PI * s.hz[i];
                        double complex f = 0.15 * cexp(CMPLX(0, -w * 21e-12)), r = 0.1 * cexp(CMPLX(0, 1 - w * 33e-12));
                        sw.f_re[i] = creal(f), sw.f_im[i] = cimag(f), sw.r_re[i] = creal(r), sw.r_im[i] = cimag(r);
                        struct m2 x = rf_line(CMPLX(2, w * 6e-9), 46, 10e-3, 50), y = rf_line(CMPLX(3, w * 6e-9), 53, 8e-3, 50);
                        x.e[2] *= 0.8 * cexp(CMPLX(0, 0.4)); /* receivers are not alike: the boxes need not be reciprocal */
                        for (int k = 0; k < 3; k++) {
                                struct m2 d = rf_line(CMPLX(5, w * 7.7e-9), 38 + 6 * k, (200 + 350 * k) * 1e-6, 50);
                                struct m2 m = rf_s_from_t(m2_mul(rf_t_from_s(x), m2_mul(rf_t_from_s(d), rf_t_from_s(y))));
                                if (use != RF_SWITCH_NONE)
                                        m = rf_switch_insert_point(m, f, r);
                                if (use == RF_SWITCH_ORDER || use == RF_SWITCH_ORDER_EXCHANGED)
                                        m = m2_of(m.e[0], m.e[2], m.e[1], m.e[3]);
                                for (int e = 0; e < 4; e++)
                                        m.e[e] += 1e-4 * normal(&s.seed);
                                net2_put(raw[k], i, m);
                        }
                        if (use == RF_SWITCH_EXCHANGED || use == RF_SWITCH_ORDER_EXCHANGED) {
                                double complex t = f;
                                f = r, r = t;
                        }
                        if (use == RF_SWITCH_CONJUGATED)
                                f = conj(f), r = conj(r);
                        given.f_re[i] = creal(f), given.f_im[i] = cimag(f), given.r_re[i] = creal(r), given.r_im[i] = cimag(r);
                }
                struct rf_switch_judgement j;
                struct tp_error err = {0};
                if (rf_switch_judge((const struct net2 *const *)raw, 3, &given, &j, &err))
                        fail_msg("%s", err.text);
                if ((int)j.use != use || !j.decided || !(j.scatter[use] < 1e-3))
                        fail_msg("use %d was taken for %d: %s", use, (int)j.use, j.sentence);
                one_reading_tells_too(&s, raw[1], &given, use);
        }
        struct rf_switch_judgement j;
        assert_int_equal(rf_switch_judge((const struct net2 *const *)raw, 1, &given, &j, NULL), CODE_BAD_INPUT);
        for (size_t i = 0; i < N; i++)
                net2_put(raw[1], i, m2_of(0.5, 0, 0, 0.5));
        struct tp_error err = {0};
        assert_int_equal(rf_switch_judge((const struct net2 *const *)raw, 3, &given, &j, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "thrus or lines"));
        arena_free(s.arena);
}

static void the_floor_tells_coupling_from_noise(void **state)
{
        (void)state;
        struct set s;
        set_open(&s);
        struct net2 *air = net_new(&s, PLANE_TIP);
        struct rf_floor f;
        for (size_t i = 0; i < N; i++) {
                double w = RF_TWO_PI * s.hz[i], coupling = s.hz[i] >= 54e9 ? 3e-3 : 0;
                double complex c = coupling * cexp(CMPLX(0, -w * 1e-12));
                net2_put(air, i, m2_of(cexp(CMPLX(0, -w * 50 * 8e-15)), c + 1e-4 * normal(&s.seed), c + 1e-4 * normal(&s.seed), 0.98));
        }
        assert_int_equal(rf_floor_of(air, NULL, 0, &f, NULL), CODE_OK);
        for (size_t k = 0; k < f.n; k++) {
                if (f.band[k].n < 5) {
                        assert_true(f.band[k].n >= 3 || isnan(f.band[k].noise)); /* two points have no scatter of their own */
                        continue;
                }
                /* a normal complex number of 1e-4 sqrt 2 in all: 1e-4 per component */
                assert_true(fabs(f.band[k].noise / 1e-4 - 1) < (f.band[k].n > 15 ? 0.25 : 0.6));
                double want = f.band[k].from_hz >= 54e9 ? 3e-3 : sqrt(2) * 1e-4;
                assert_true(fabs(f.band[k].level / want - 1) < (f.band[k].n > 15 ? 0.2 : 0.6));
        }
        assert_true(f.band[f.worst].from_hz >= 54e9);
        assert_non_null(strstr(f.sentence, "couple"));
        double bands[2] = {1e9, 20e9};
        assert_int_equal(rf_floor_of(air, bands, 2, &f, NULL), CODE_OK);
        assert_true(f.n == 1 && fabs(f.band[0].noise_db + 80) < 2);
        assert_non_null(strstr(f.sentence, "noise"));
        struct tp_error err = {0};
        air->re[3][0] = 0.1;
        assert_int_equal(rf_floor_of(air, NULL, 0, &f, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "raise both probes"));
        air->re[3][0] = NAN;
        assert_int_equal(rf_floor_of(air, NULL, 0, &f, &err), CODE_BAD_INPUT);
        bands[0] = 30e9;
        air->re[3][0] = 1;
        assert_int_equal(rf_floor_of(air, bands, 2, &f, &err), CODE_BAD_INPUT);
        arena_free(s.arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(each_turn_of_a_lopsided_standard_is_recognised), cmocka_unit_test(what_a_standard_cannot_tell_is_said),
                cmocka_unit_test(the_sign_of_time_is_seen_without_a_standard),
                cmocka_unit_test(switch_terms_that_do_not_belong_are_recognised), cmocka_unit_test(the_floor_tells_coupling_from_noise)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
