/* What is odd about a corrected sweep: nothing is said of good devices through a fair calibration with noise, and of each fault its own
   sentence.  The devices are written here from their circuits, the faults put in by hand. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include "base/arena.h"
#include "tests/unit/rf_draws.h"
#include "rf/calibrate/standards.h"
#include "rf/network/convert.h"
#include "rf/trust/oddities.h"

enum { MOST = 741 };
struct sweep {
        struct arena *arena;
        struct axis axis;
        double hz[MOST];
        struct net2 net;
};

static double between(uint64_t *seed, double a, double b) { return a + (b - a) * draw(seed); }

/* Uniform to 150 GHz; decades from 70 kHz to 220 GHz; 110 GHz in 1 GHz steps; 20 points. */
enum { GRIDS = 4 };
static size_t grid(int kind, double *hz)
{
        static const size_t points[GRIDS] = {MOST, 400, 110, 20};
        for (size_t i = 0; i < points[kind]; i++)
                hz[i] = kind == 0 ? 2e9 + 0.2e9 * (double)i : kind == 1 ? 7e4 * pow(220e9 / 7e4, (double)i / 399) : 1e9 * (double)(i + 1);
        return points[kind];
}

enum kind { LINE, COIL, CAPACITOR, RESISTOR, OPEN, SHORT, MATCH, ATTENUATOR, FET, RESONATOR, THRU, KINDS };
struct made {
        enum kind kind;
        double a, b, c;
};
static struct made made_of(uint64_t *seed)
{
        struct made m = {(enum kind)(draw(seed) * KINDS), draw(seed), draw(seed), draw(seed)};
        return m;
}
static struct m2 series(double complex z, double complex y_left, double complex y_right)
{
        return rf_s_from_y(m2_of(1 / z + y_left, -1 / z, -1 / z, 1 / z + y_right), 50);
}
static struct m2 truth(const struct made *m, double hz)
{
        double w = RF_TWO_PI * hz;
        double complex pad = CMPLX(w * 1e-16, w * (5e-15 + 20e-15 * m->c));
        double complex g = CMPLX(50 * sqrt(hz / 1e11), w * sqrt(5.3) / RF_C0_M_S);
        switch (m->kind) {
        case LINE:
                return rf_line(g, 40 + 25 * m->a, (100 + 3000 * m->b) * 1e-6, 50);
        case THRU:
                return rf_line(g, 50, 200e-6 * m->a, 50);
        case COIL:
                return series(CMPLX(0.5 + 5 * m->b, w * (50e-12 + 1e-9 * m->a)), pad, pad);
        case CAPACITOR:
                return series(CMPLX(0.3 + m->b, w * 5e-12) + 1 / CMPLX(0, w * (20e-15 + 1e-12 * m->a)), pad, pad);
        case RESISTOR:
                return series(CMPLX(10 + 200 * m->a, w * 10e-12), pad, pad);
        case OPEN: { /* also the negative capacitance of a lifted probe */
                double complex y = CMPLX(0, w * (-8e-15 + 30e-15 * m->a)), s = (1 - 50 * y) / (1 + 50 * y);
                double couple = 2e-3 * hz / 220e9 * m->b;
                return m2_of(s, CMPLX(0, couple), CMPLX(0, couple), s);
        }
        case SHORT: {
                double complex z = CMPLX(0.1 * m->b, w * (-3e-12 + 15e-12 * m->a)), s = (z - 50) / (z + 50);
                return m2_diag(s, s);
        }
        case MATCH: {
                double complex z = CMPLX(49.5 + m->b, w * (-3e-12 + 15e-12 * m->a)), s = (z - 50) / (z + 50);
                return m2_diag(s, s);
        }
        case ATTENUATOR: {
                double complex t = pow(10, -0.1 - m->a) * cexp(CMPLX(0, -w * 2e-12));
                return m2_of(0.05, t, t, 0.05);
        }
        case FET: {
                double complex cgd = CMPLX(0, w * 8e-15), gm = (0.01 + 0.06 * m->a) * cexp(CMPLX(0, -w * 1e-12)),
                               cgs = CMPLX(0, w * 50e-15);
                return rf_s_from_y(m2_of(cgs + cgd, -cgd, gm - cgd, 0.002 + 1.5 * cgd), 50);
        }
        case RESONATOR: {
                double w0 = RF_TWO_PI * (20e9 + 80e9 * m->a), l = 120e-12;
                double complex z = CMPLX(w0 * l / (5 + 30 * m->b), w * l);
                return series(1 / (1 / z + CMPLX(0, w / (w0 * w0 * l))), pad, pad);
        }
        case KINDS:
                break;
        }
        return m2_one();
}

/* What a fair calibration leaves: directivity, source match and tracking of some thousandths, smooth in frequency; and noise. */
struct errors {
        double complex ed[2], es[2], er[2];
        double tau, noise;
};
static struct errors errors_of(uint64_t *seed, double size, double noise)
{
        struct errors e = {.tau = between(seed, 2e-12, 20e-12), .noise = noise};
        for (int k = 0; k < 2; k++) {
                e.ed[k] = size * normal(seed) / 2;
                e.es[k] = size * normal(seed) / 2;
                e.er[k] = size * normal(seed) / 2;
        }
        return e;
}
static struct m2 seen(const struct errors *e, struct m2 s, double hz, uint64_t *seed)
{
        double complex turn = cexp(CMPLX(0, -RF_TWO_PI * hz * e->tau)), t = s.e[1] * s.e[2],
                       k = (1 + turn * e->er[0]) * (1 + turn * e->er[1]);
        double complex m1 = s.e[0] + turn * (e->ed[0] + 2 * e->er[0] * s.e[0] + e->es[0] * s.e[0] * s.e[0] + e->es[1] * t);
        double complex m2 = s.e[3] + turn * (e->ed[1] + 2 * e->er[1] * s.e[3] + e->es[1] * s.e[3] * s.e[3] + e->es[0] * t);
        double complex both = k * (1 + turn * (e->es[0] * s.e[0] + e->es[1] * s.e[3]));
        struct m2 m = m2_of(m1, s.e[1] * both, s.e[2] * both, m2);
        for (int q = 0; q < 4; q++) {
                double u = e->noise * (0.3 + cabs(m.e[q])) * (1 + 9 * hz / 220e9);
                m.e[q] += u * normal(seed) / sqrt(2);
        }
        return m;
}

static struct sweep sweep_new(void)
{
        struct sweep s = {.arena = arena_new(0)};
        return s;
}
static void fill(struct sweep *s, int g, const struct made *m, const struct errors *e, uint64_t *seed)
{
        assert_int_equal(axis_of(grid(g, s->hz), s->hz, &s->axis, NULL), CODE_OK);
        s->net = net2_at(arena_take(s->arena, net2_bytes(s->axis.n)), &s->axis, PLANE_TIP);
        net2_set_z(&s->net, 50, 0);
        for (size_t i = 0; i < s->axis.n; i++)
                net2_put(&s->net, i, seen(e, truth(m, s->hz[i]), s->hz[i], seed));
}
static struct rf_oddities look(struct sweep *s)
{
        struct rf_oddities o;
        struct tp_error err = {0};
        if (rf_oddities(&s->net, arena_take(s->arena, rf_oddities_workspace(s->axis.n)), &o, &err))
                fail_msg("%s", err.text);
        return o;
}

static void nothing_is_said_of_good_sweeps(void **state)
{
        (void)state;
        size_t of[KINDS] = {0};
        for (uint64_t seed = 1; seed <= 400; seed++) {
                uint64_t at = seed * 7919;
                struct made m = made_of(&at);
                struct errors e = errors_of(&at, 0.004, pow(10, between(&at, -5, -3.3)));
                struct sweep s = sweep_new();
                fill(&s, (int)(seed % GRIDS), &m, &e, &at);
                struct rf_oddities o = look(&s);
                if (o.n)
                        fail_msg("seed %d, device %d, grid %d, noise %.2g: %s", (int)seed, (int)m.kind, (int)(seed % GRIDS), e.noise,
                                 o.sentence[0]);
                of[m.kind]++;
                arena_free(s.arena);
        }
        for (int k = 0; k < KINDS; k++)
                assert_true(of[k] > 10);
}

enum fault { GAIN, ONE_WAY, CONJUGATED, STEP, NOISE, FAULTS };
static void put_in(struct sweep *s, enum fault f, uint64_t *seed)
{
        for (size_t i = 0; i < s->axis.n; i++) {
                struct m2 m = net2_get(&s->net, i);
                double hz = s->hz[i];
                for (int q = 0; q < 4; q++) {
                        if (f == GAIN) /* rising to it, as a wrong definition does */
                                m.e[q] *= 1 + 0.12 * pow(hz / 150e9, 4);
                        if (f == ONE_WAY && q == 2)
                                m.e[q] *= 1.04;
                        if (f == CONJUGATED)
                                m.e[q] = conj(m.e[q]);
                        if (f == STEP && hz >= 54e9 && q == 2)
                                m.e[q] *= cexp(CMPLX(0.01, 0.02));
                        if (f == NOISE && hz > 100e9)
                                m.e[q] += 0.03 * normal(seed) / sqrt(2);
                }
                net2_put(&s->net, i, m);
        }
}

static void each_fault_has_its_sentence(void **state)
{
        (void)state;
        static const char *const words[FAULTS][2] = {{"gives out more than it gets", "at the high end"},
                                                     {"S21 and S12 differ by 0.0", "the calibration's thru or the switch terms"},
                                                     {"before it was sent", "sign of time"},
                                                     {"S21 steps by", "at 54 GHz"},
                                                     {"noise of 0.0", "IF bandwidth"}};
        for (int f = 0; f < FAULTS; f++)
                for (uint64_t seed = 1; seed <= 20; seed++) {
                        uint64_t at = seed * 104729;
                        struct made m = {f == GAIN ? SHORT : LINE, draw(&at), 0.2 + 0.3 * draw(&at), draw(&at)};
                        struct errors e = errors_of(&at, 0.001, 1e-5);
                        struct sweep s = sweep_new();
                        fill(&s, 0, &m, &e, &at);
                        put_in(&s, (enum fault)f, &at);
                        struct rf_oddities o = look(&s);
                        bool said = false;
                        for (size_t k = 0; k < o.n; k++)
                                said = said || (strstr(o.sentence[k], words[f][0]) && strstr(o.sentence[k], words[f][1]));
                        if (!said)
                                fail_msg("fault %d, seed %d: %zu sentences: %s", f, (int)seed, o.n, o.n ? o.sentence[0] : "");
                        arena_free(s.arena);
                }
}

static void noise_is_what_was_put_in(void **state)
{
        (void)state;
        uint64_t at = 5;
        struct made m = {LINE, 0.5, 0.3, 0};
        struct errors none = {.noise = 0};
        struct sweep s = sweep_new();
        double u[MOST], mean = 0;
        fill(&s, 0, &m, &none, &at);
        rf_noise_of(&s.net, u);
        for (size_t i = 0; i < MOST; i++)
                assert_true(u[i] < 1e-4); /* the curve itself */
        for (size_t i = 0; i < MOST; i++) {
                struct m2 x = net2_get(&s.net, i);
                x.e[2] += 3e-3 * normal(&at); /* 3e-3 a component */
                net2_put(&s.net, i, x);
        }
        rf_noise_of(&s.net, u);
        for (size_t i = 0; i < MOST; i++)
                mean += u[i] / MOST;
        assert_true(fabs(mean / 3e-3 - 1) < 0.1);
        arena_free(s.arena);
}

/* Only what scatters counts, entry by entry; a line that turns by 110 or 170 degrees a point does not. */
static void scatter_is_noise_of_one_entry(void **state)
{
        (void)state;
        uint64_t at = 11;
        struct made m = {LINE, 0.5, 0.3, 0};
        struct errors none = {.noise = 0};
        struct sweep s = sweep_new();
        double u[4][MOST], mean = 0;
        size_t seen = 0;
        fill(&s, 0, &m, &none, &at);
        for (size_t i = 0; i < MOST; i++) {
                struct m2 x = net2_get(&s.net, i);
                x.e[1] += 2e-4 * normal(&at);
                x.e[3] = 2 * 2e-4 * normal(&at); /* nothing but noise */
                x.e[0] = cexp(CMPLX(0, (i < MOST / 2 ? 1.92 : 2.97) * (double)i));
                net2_put(&s.net, i, x);
        }
        for (int e = 0; e < 4; e++)
                rf_scatter_of(&s.net, e, u[e]);
        for (size_t i = 40; i < MOST; i++) {
                if (i < MOST / 2 - 40 || i > MOST / 2 + 40)
                        assert_true(u[0][i] == 0);
                assert_true(u[2][i] < 1e-5); /* the curve itself */
        }
        for (int e = 1; e < 4; e += 2) {
                mean = 0;
                seen = 0;
                for (size_t i = 0; i < MOST; i++) {
                        seen += u[e][i] > 0;
                        mean += u[e][i];
                }
                assert_true(seen > MOST * 8 / 10);
                assert_true(fabs(mean / (double)seen / (e == 1 ? 2e-4 : 4e-4) - 1) < 0.15);
        }
        struct net2_causes c;
        assert_int_equal(rf_unstated_causes(&s.net, s.arena, &c, NULL), CODE_OK);
        assert_int_equal(c.n, 4);
        for (size_t i = 0; i < MOST; i++)
                assert_true(c.of[2].re[2][i] >= RF_BEST_TRACE * cabs(net2_get(&s.net, i).e[2]) && !c.of[2].re[0]);
        arena_free(s.arena);
}

static void a_number_that_is_none_is_refused(void **state)
{
        (void)state;
        uint64_t at = 6;
        struct made m = {LINE, 0.5, 0.3, 0};
        struct errors none = {.noise = 0};
        struct sweep s = sweep_new();
        struct rf_oddities o;
        struct tp_error err = {0};
        fill(&s, 3, &m, &none, &at);
        s.net.re[1][4] = NAN;
        assert_int_equal(rf_oddities(&s.net, arena_take(s.arena, rf_oddities_workspace(s.axis.n)), &o, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "S12 is not a number at 5e+09 Hz"));
        arena_free(s.arena);
}

/* Turned transistors are named whichever way they are turned; upright ones, and turned ones that give nothing (an isolator), are not. */
static void a_transistor_that_is_turned_round_is_named(void **state)
{
        (void)state;
        for (int turned = 0; turned < 4; turned++)
                for (uint64_t seed = 1; seed <= 20; seed++) {
                        uint64_t at = seed * 7177;
                        struct made m = {FET, draw(&at), draw(&at), draw(&at)};
                        struct errors e = errors_of(&at, 0.001, 1e-4);
                        struct sweep s = sweep_new();
                        bool said = false;
                        fill(&s, 0, &m, &e, &at);
                        for (size_t i = 0; i < s.axis.n; i++) {
                                struct m2 x = net2_get(&s.net, i);
                                struct m2 y = turned == 1   ? m2_of(x.e[0], x.e[2], x.e[1], x.e[3])
                                              : turned == 2 ? m2_of(x.e[3], x.e[2], x.e[1], x.e[0])
                                              : turned == 3 ? m2_of(0.1, 0.9, 0.01, 0.1)
                                                            : x;
                                net2_put(&s.net, i, y);
                        }
                        struct rf_oddities o = look(&s);
                        for (size_t k = 0; k < o.n; k++)
                                said = said || strstr(o.sentence[k], "amplifies from port 2 to 1");
                        if (said != (turned == 1 || turned == 2))
                                fail_msg("turned %d, seed %d: %s", turned, (int)seed, o.n ? o.sentence[0] : "nothing");
                        arena_free(s.arena);
                }
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(nothing_is_said_of_good_sweeps),   cmocka_unit_test(each_fault_has_its_sentence),
                cmocka_unit_test(noise_is_what_was_put_in),         cmocka_unit_test(scatter_is_noise_of_one_entry),
                cmocka_unit_test(a_number_that_is_none_is_refused), cmocka_unit_test(a_transistor_that_is_turned_round_is_named),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
