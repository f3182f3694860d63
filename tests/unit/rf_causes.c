/* Causes of a two-port: squares of independent causes, circular noise, what two results share, degrees of freedom; against draws. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>
#include "rf/deembed/deembed_causes.h"
#include "rf/extract/quantity.h"
#include "rf/network/causes.h"
#include "rf/network/convert.h"

static uint64_t state = 11;
static double uniform(void)
{
        state = state * 6364136223846793005u + 1442695040888963407u;
        return ((double)(state >> 11) + 0.5) / 9007199254740992.0;
}
static double normal(void) { return sqrt(-2 * log(uniform())) * cos(RF_TWO_PI * uniform()); }

struct two {
        double hz[1];
        struct axis axis;
        double column[2][8];
        struct net2_cause of[2];
        struct net2_causes causes;
};
/* A real cause and one of noise, each moving all four S. */
static void two_new(struct two *t)
{
        t->hz[0] = 1e9;
        assert_int_equal(axis_of(1, t->hz, &t->axis, NULL), CODE_OK);
        memset(t->of, 0, sizeof t->of);
        for (int k = 0; k < 2; k++) {
                t->of[k].about = (struct cause_about){k ? "noise" : "R", k ? CAUSE_OF_NOISE : CAUSE_OF_STANDARD, k ? 4 : INFINITY};
                net2_cause_id("x", t->of[k].about.name, t->of[k].id);
                for (int e = 0; e < 4; e++) {
                        t->column[k][2 * e] = normal();
                        t->column[k][2 * e + 1] = normal();
                        t->of[k].re[e] = &t->column[k][2 * e];
                        t->of[k].im[e] = &t->column[k][2 * e + 1];
                }
        }
        t->causes = (struct net2_causes){.axis = &t->axis, .n = 2, .of = t->of};
}
static void near(double a, double b, double relative) { assert_true(fabs(a - b) <= relative * fabs(b)); }

/* 200000 draws: the standard deviation of a variance is sqrt(2/n) = 0.3 %; four of them. */
static void they_are_what_draws_scatter(void **unused)
{
        (void)unused;
        struct two t;
        two_new(&t);
        double complex g[4];
        for (int e = 0; e < 4; e++)
                g[e] = CMPLX(normal(), normal());
        double sum = 0, re = 0, im = 0, cross = 0, freedom;
        enum { DRAWS = 200000 };
        for (int n = 0; n < DRAWS; n++) {
                double x = normal();
                double complex w = CMPLX(normal(), normal()), s21 = 0;
                double y = 0;
                for (int e = 0; e < 4; e++) {
                        double complex d = x * net2_cause_at(&t.of[0], 0).e[e] + w * net2_cause_at(&t.of[1], 0).e[e];
                        y += creal(g[e] * d);
                        s21 = e == 2 ? d : s21;
                }
                sum += y * y;
                re += creal(s21) * creal(s21);
                im += cimag(s21) * cimag(s21);
                cross += creal(s21) * cimag(s21);
        }
        double u = net2_causes_u(&t.causes, 0, g, &freedom), each[2];
        struct complex_cov c = net2_causes_cov(&t.causes, 0, 2);
        near(sum / DRAWS, u * u, 0.013);
        near(re / DRAWS, c.re, 0.013);
        near(im / DRAWS, c.im, 0.013);
        assert_true(fabs(cross / DRAWS - c.re_im) < 0.013 * sqrt(c.re * c.im));
        net2_causes_of(&t.causes, 0, g, each);
        near(hypot(each[0], each[1]), u, 1e-14);
        near(freedom, 4 * pow(u, 4) / pow(each[1], 4), 1e-12); /* Welch-Satterthwaite with one finite part */
}

static void what_two_results_share_cancels(void **unused)
{
        (void)unused;
        struct two a, b;
        two_new(&a);
        b = a;
        b.causes.of = b.of;
        for (int k = 0; k < 2; k++)
                for (int e = 0; e < 4; e++) {
                        b.of[k].re[e] = &b.column[k][2 * e];
                        b.of[k].im[e] = &b.column[k][2 * e + 1];
                }
        struct complex_cov d = net2_causes_cov_difference(&a.causes, 0, &b.causes, 0, 1);
        assert_true(d.re == 0 && d.im == 0 && d.re_im == 0);
        net2_cause_id("y", "noise", b.of[1].id); /* another reading's noise: in squares */
        d = net2_causes_cov_difference(&a.causes, 0, &b.causes, 0, 1);
        double size = hypot(a.column[1][2], a.column[1][3]);
        near(d.re, 2 * size * size, 1e-14);
        d = net2_causes_cov_difference(&a.causes, 0, NULL, 0, 1);
        near(d.re, net2_causes_cov(&a.causes, 0, 1).re, 1e-14);
        assert_true(net2_cause_find(&a.causes, b.of[1].id) == NULL && net2_cause_find(&a.causes, b.of[0].id) == &a.of[0]);
}

/* t of 4 degrees of freedom at 95 %: 2.776 (JCGM 100:2008, table G.2). */
static void few_readings_widen(void **unused)
{
        (void)unused;
        assert_true(fabs(causes_factor(4) - 2.776) < 5e-4);
        assert_true(causes_factor(INFINITY) == 2 && causes_factor(1e9) == 2);
}

static void the_largest_parts_are_named(void **unused)
{
        (void)unused;
        static const char *const names[5] = {"LOAD: R, port 1", "own: noise, S21", "LOAD: R, port 2", "lines: capacitance",
                                             "LOAD: L0, port 1"};
        const double each[5] = {3, -1, -4, 0, 2};
        struct net2_cause of[5] = {{.id = ""}};
        struct net2_causes c = {.n = 5, .of = of};
        struct cause_share got[8];
        for (int k = 0; k < 5; k++)
                of[k].about.name = names[k];
        assert_int_equal(net2_causes_shares(&c, each, got, 2), 2);
        assert_int_equal(net2_causes_shares(&c, each, got, 8), 3); /* what moves nothing is not named */
        assert_string_equal(got[0].name, "LOAD: R");
        assert_string_equal(got[1].name, "LOAD: L0");
        assert_string_equal(got[2].name, "own: noise");
        near(got[0].share, 25 / 30.0, 1e-14);
        near(got[2].share, 1 / 30.0, 1e-14);
}

/* S of n points at rising frequencies, with one cause. */
enum { POINTS = 5 };
struct sweep {
        struct arena *arena;
        struct axis axis;
        double hz[POINTS];
};
static void sweep_new(struct sweep *s)
{
        s->arena = arena_new(0);
        for (int i = 0; i < POINTS; i++)
                s->hz[i] = 1e9 * (i + 1);
        assert_int_equal(axis_of(POINTS, s->hz, &s->axis, NULL), CODE_OK);
}
static struct net2 *net_new(struct sweep *s)
{
        struct net2 *net = arena_take(s->arena, sizeof *net);
        *net = net2_at(arena_take(s->arena, net2_bytes(POINTS)), &s->axis, PLANE_TIP);
        return net;
}
static struct net2_causes *causes_new(struct sweep *s, size_t n, enum cause_kind kind, const char *name)
{
        struct net2_causes *c = arena_take(s->arena, sizeof *c);
        *c = (struct net2_causes){.axis = &s->axis, .n = n, .of = arena_take(s->arena, n * sizeof *c->of)};
        for (size_t k = 0; k < n; k++) {
                c->of[k].about = (struct cause_about){name, kind, INFINITY};
                net2_cause_id(k ? "second" : "first", name, c->of[k].id);
                for (int e = 0; e < 4; e++) {
                        c->of[k].re[e] = arena_take(s->arena, POINTS * sizeof(double));
                        c->of[k].im[e] = arena_take(s->arena, POINTS * sizeof(double));
                }
        }
        return c;
}
static void cause_put(struct net2_cause *c, size_t i, struct m2 d)
{
        for (int e = 0; e < 4; e++) {
                c->re[e][i] = creal(d.e[e]);
                c->im[e][i] = cimag(d.e[e]);
        }
}

/* dY moves device and open alike: Y = Ym - Yo does not move.  As two causes it moves twice. */
static void what_device_and_dummy_share_cancels(void **unused)
{
        (void)unused;
        struct sweep w;
        sweep_new(&w);
        struct net2 *device = net_new(&w), *open = net_new(&w);
        struct net2_causes *of_device = causes_new(&w, 1, CAUSE_OF_STANDARD, "own: C0, port 1"),
                           *of_open = causes_new(&w, 1, CAUSE_OF_STANDARD, "own: C0, port 1"), got;
        const struct net2_causes *causes[RF_DUMMY_COUNT] = {of_device, of_open};
        struct dummies dummies = {{NULL}};
        dummies.of[RF_DUMMY_OPEN] = open;
        for (size_t i = 0; i < POINTS; i++) {
                double om = RF_TWO_PI * w.hz[i];
                struct m2 yo = m2_diag(CMPLX(0, om * 40e-15), CMPLX(0, om * 45e-15)),
                          ym = m2_add(yo, m2_of(CMPLX(0.01, -0.02), CMPLX(-0.01, 0.02), CMPLX(-0.01, 0.02), CMPLX(0.012, -0.02))),
                          dy = m2_diag(CMPLX(0, om * 1e-16), 0), so = rf_s_from_y(yo, 50), sm = rf_s_from_y(ym, 50);
                net2_put(open, i, so);
                net2_put(device, i, sm);
                struct m2 ho = m2_add(m2_one(), so), hm = m2_add(m2_one(), sm); /* dS = -z/2 (1 + S) dY (1 + S) */
                cause_put(&of_open->of[0], i, m2_scale(-25, m2_mul(ho, m2_mul(dy, ho))));
                cause_put(&of_device->of[0], i, m2_scale(-25, m2_mul(hm, m2_mul(dy, hm))));
        }
        assert_int_equal(rf_deembed_causes(RF_DEEMBED_OPEN, device, &dummies, causes, w.arena, &got, NULL), CODE_OK);
        double complex g[4] = {1, 1, 1, 1};
        for (size_t i = 0; i < POINTS; i++) /* what is left is rounding of a difference of 1e-7 */
                assert_true(net2_causes_u(&got, i, g, NULL) < 1e-12 + 1e-7 * net2_causes_u(of_device, i, g, NULL));
        net2_cause_id("another", "one", of_open->of[0].id);
        assert_int_equal(rf_deembed_causes(RF_DEEMBED_OPEN, device, &dummies, causes, w.arena, &got, NULL), CODE_OK);
        assert_int_equal(got.n, 2);
        assert_string_equal(got.of[0].about.name, "device: C0, port 1");
        assert_string_equal(got.of[1].about.name, "open dummy: C0, port 1");
        for (size_t i = 0; i < POINTS; i++)
                for (int e = 0; e < 4; e++) /* the same and opposite */
                        assert_true(fabs(got.of[0].re[e][i] + got.of[1].re[e][i]) + fabs(got.of[0].im[e][i] + got.of[1].im[e][i]) < 1e-9);
        causes[RF_DUMMY_OPEN] = NULL; /* without its document the dummy counts as exact, and is named */
        assert_int_equal(rf_deembed_causes(RF_DEEMBED_OPEN, device, &dummies, causes, w.arena, &got, NULL), CODE_OK);
        assert_int_equal(got.n, 1);
        assert_string_equal(got.not_counted[0], "all of the open dummy");
        arena_free(w.arena);
}

/* A line: beta l.  What adds the same phase at all frequencies does not move the group delay, what adds a delay moves it by that. */
static void the_group_delay_is_moved_by_what_differs(void **unused)
{
        (void)unused;
        struct sweep w;
        sweep_new(&w);
        struct net2 *line = net_new(&w);
        struct net2_causes *phase = causes_new(&w, 1, CAUSE_OF_PLACEMENT, "phase"), *delay = causes_new(&w, 1, CAUSE_OF_PLACEMENT, "delay"),
                           *noise = causes_new(&w, 1, CAUSE_OF_NOISE, "noise");
        const double tau = 2e-12, dtau = 1e-15, dphi = 1e-4;
        for (size_t i = 0; i < POINTS; i++) {
                double om = RF_TWO_PI * w.hz[i];
                double complex t = cexp(CMPLX(0, -om * tau));
                net2_put(line, i, m2_of(0, t, t, 0));
                cause_put(&phase->of[0], i, m2_scale(CMPLX(0, -dphi), m2_of(0, t, t, 0)));
                cause_put(&delay->of[0], i, m2_scale(CMPLX(0, -om * dtau), m2_of(0, t, t, 0)));
                cause_put(&noise->of[0], i, m2_of(0, 0, 1e-4, 0));
        }
        struct rf_ask ask = {.length_m = 300e-6, .share_max = 10};
        struct rf_extracted x;
        ask.causes = phase;
        assert_int_equal(rf_extract(line, "group_delay", &ask, w.arena, &x, NULL), CODE_OK);
        for (size_t i = 0; i < POINTS; i++)
                assert_true(fabs(x.value[i] - tau) < 1e-9 * tau && x.u[i] < 1e-6 * dphi / (RF_TWO_PI * 1e9));
        ask.causes = delay;
        assert_int_equal(rf_extract(line, "group_delay", &ask, w.arena, &x, NULL), CODE_OK);
        for (size_t i = 0; i < POINTS; i++) {
                near(x.u[i], dtau, 1e-6);
                near(x.u95[i], 2 * dtau, 1e-6);
        }
        ask.causes = noise;
        assert_int_equal(rf_extract(line, "group_delay", &ask, w.arena, &x, NULL), CODE_OK);
        struct rf_extracted beta;
        assert_int_equal(rf_extract(line, "beta", &ask, w.arena, &beta, NULL), CODE_OK);
        near(x.u[2], 300e-6 * hypot(beta.u[1], beta.u[3]) / (2 * RF_TWO_PI * 1e9), 1e-9); /* each by itself, 2 GHz apart */
        arena_free(w.arena);
}

/* Noise of the same u on each of four S, as four causes, is what one u of every S is. */
static void four_causes_are_one_u(void **unused)
{
        (void)unused;
        struct sweep w;
        sweep_new(&w);
        struct net2 *coil = net_new(&w);
        struct net2_causes *c = causes_new(&w, 4, CAUSE_OF_NOISE, "noise");
        double u[POINTS];
        for (size_t i = 0; i < POINTS; i++) {
                double complex z = CMPLX(2, RF_TWO_PI * w.hz[i] * 0.4e-9) / 50, s = z / (2 + z), t = 2 / (2 + z);
                net2_put(coil, i, m2_of(s, t, t, s));
                u[i] = 1e-4 * (double)(i + 1);
                for (int e = 0; e < 4; e++) {
                        struct m2 d = m2_of(0, 0, 0, 0);
                        d.e[e] = u[i] * cexp(CMPLX(0, e)); /* the phase of noise says nothing */
                        cause_put(&c->of[e], i, d);
                }
        }
        struct rf_ask by_u = {.u_s = u, .share_max = 10}, by_causes = {.causes = c, .share_max = 10};
        static const char *const words[] = {"Lser", "Qser", "pi_C1", "S21_dB"};
        for (size_t k = 0; k < sizeof words / sizeof words[0]; k++) {
                struct rf_extracted a, b;
                if (rf_quantity_of(words[k]) == RF_Q_UNKNOWN)
                        continue;
                assert_int_equal(rf_extract(coil, words[k], &by_u, w.arena, &a, NULL), CODE_OK);
                assert_int_equal(rf_extract(coil, words[k], &by_causes, w.arena, &b, NULL), CODE_OK);
                for (size_t i = 0; i < POINTS; i++) {
                        near(b.u[i], a.u[i], 1e-12);
                        near(b.u95[i], a.u95[i], 1e-12);
                        assert_true(b.refused_n == a.refused_n && a.grad && b.grad);
                }
        }
        arena_free(w.arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(they_are_what_draws_scatter),
                                           cmocka_unit_test(what_two_results_share_cancels),
                                           cmocka_unit_test(few_readings_widen),
                                           cmocka_unit_test(the_largest_parts_are_named),
                                           cmocka_unit_test(what_device_and_dummy_share_cancels),
                                           cmocka_unit_test(the_group_delay_is_moved_by_what_differs),
                                           cmocka_unit_test(four_causes_are_one_u)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
