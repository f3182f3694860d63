/* Causes of a two-port: squares of independent causes, circular noise, what two results share, degrees of freedom; against draws. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>
#include "rf/network/causes.h"

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

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(they_are_what_draws_scatter), cmocka_unit_test(what_two_results_share_cancels),
                                           cmocka_unit_test(few_readings_widen)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
