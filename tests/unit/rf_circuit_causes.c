/* Circuits with what causes of S make of their elements: a cause that is an element's own change moves that element alone; any other one
   moves all of them as fits to moved S say. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include "rf/models/circuit_causes.h"
#include "rf/network/convert.h"

enum { N = 81, CAUSES = 4 };
static double hz[N];
static struct axis axis;

/* The textbook's inductor, written apart from circuit_shapes.c. */
struct coil {
        double ls, rs, cp, cox[2], rsub[2], csub[2];
};
static const struct coil truth = {1e-9, 4, 6e-15, {40e-15, 36e-15}, {250, 300}, {15e-15, 13e-15}};
static struct m2 coil_s(const struct coil *c, double f)
{
        double w = RF_TWO_PI * f;
        double complex y = 1 / CMPLX(c->rs, w * c->ls) + CMPLX(0, w * c->cp), side[2];
        for (int p = 0; p < 2; p++)
                side[p] = 1 / (1 / CMPLX(0, w * c->cox[p]) + 1 / CMPLX(1 / c->rsub[p], w * c->csub[p]));
        return rf_s_from_y(m2_of(y + side[0], -y, -y, y + side[1]), 50);
}

struct set {
        struct arena *arena;
        double column[8][N];
        struct model_data data;
        struct net2_causes causes;
};
static void data_put(struct set *s, const struct net2_cause *c, double by)
{
        for (size_t i = 0; i < N; i++) {
                struct m2 is = coil_s(&truth, hz[i]);
                if (c)
                        is = m2_add(is, m2_scale(by, net2_cause_at(c, i)));
                for (int e = 0; e < 4; e++) {
                        s->column[2 * e][i] = creal(is.e[e]);
                        s->column[2 * e + 1][i] = cimag(is.e[e]);
                }
        }
}
/* Causes: ls by 0.1 %, rs by 1 %, 20 mohm in series with port 1, noise of 1e-4 on each S. */
static void set_new(struct set *s)
{
        static const char *const names[CAUSES] = {"ls", "rs", "touch R, port 1", "noise"};
        s->arena = arena_new(0);
        for (int i = 0; i < N; i++)
                hz[i] = 1e8 * pow(400, i / (N - 1.0));
        assert_int_equal(axis_of(N, hz, &axis, NULL), CODE_OK);
        s->data = (struct model_data){.axis = &axis, .ports = 2, .z_ohm = 50};
        for (int e = 0; e < 4; e++) {
                s->data.re[e] = s->column[2 * e];
                s->data.im[e] = s->column[2 * e + 1];
        }
        s->causes = (struct net2_causes){.axis = &axis, .n = CAUSES, .of = arena_take(s->arena, CAUSES * sizeof *s->causes.of)};
        for (int k = 0; k < CAUSES; k++) {
                struct net2_cause *c = &s->causes.of[k];
                c->about = (struct cause_about){names[k], k == 3 ? CAUSE_OF_NOISE : CAUSE_OF_STANDARD, INFINITY};
                net2_cause_id("x", names[k], c->id);
                for (int e = 0; e < 4; e++) {
                        c->re[e] = arena_take(s->arena, N * sizeof(double));
                        c->im[e] = arena_take(s->arena, N * sizeof(double));
                }
                for (int i = 0; i < N; i++) {
                        struct coil up = truth;
                        struct m2 is = coil_s(&truth, hz[i]), d;
                        up.ls *= k == 0 ? 1.001 : 1;
                        up.rs *= k == 1 ? 1.01 : 1;
                        d = m2_sub(coil_s(&up, hz[i]), is);
                        if (k == 2) {
                                struct m2 p = m2_sub(m2_one(), is);
                                d = m2_scale(0.02 / 100, m2_mul(p, m2_mul(m2_diag(1, 0), p)));
                        }
                        if (k == 3)
                                d = m2_of(1e-4, 1e-4, 1e-4, 1e-4);
                        for (int e = 0; e < 4; e++) {
                                c->re[e][i] = creal(d.e[e]);
                                c->im[e][i] = cimag(d.e[e]);
                        }
                }
        }
        data_put(s, NULL, 0);
}
static void near(double a, double b, double limit, const char *what)
{
        if (!(fabs(a - b) <= limit))
                fail_msg("%s: %g, wanted %g within %g", what, a, b, limit);
}

static void an_elements_own_change_moves_it_alone(void **state)
{
        (void)state;
        struct set s;
        struct circuit *c;
        struct circuit_causes by;
        struct circuit_options o = {0};
        struct tp_error err = {0};
        set_new(&s);
        c = arena_take(s.arena, sizeof *c);
        if (rf_fit_circuit_by_causes(CIRCUIT_INDUCTOR, &s.data, &o, &s.causes, s.arena, c, &by, &err))
                fail_msg("%s", err.text);
        for (size_t e = 0; e < c->element_n; e++) {
                const struct circuit_element *to = &c->element[e];
                bool ls = strcmp(to->name, "ls") == 0, rs = strcmp(to->name, "rs") == 0;
                near(by.change[0][e] / to->value, ls ? 1e-3 : 0, 1e-5, to->name); /* of second order: 1e-6 */
                near(by.change[1][e] / to->value, rs ? 1e-2 : 0, 1e-4, to->name);
                near(by.change[3][e], 0, 0, to->name); /* noise is the fit's own */
                assert_true(to->u >= hypot(hypot(by.change[0][e], by.change[1][e]), by.change[2][e]));
                if (ls)
                        assert_true(to->u >= 1e-12 && to->u < 1.2e-12);
        }
        near(rf_causes_noise(&s.causes, 2), 1e-4, 1e-16, "noise");
        arena_free(s.arena);
}

/* S11 of rs + jw ls to ground alone, 1 % more of either: a one-port's elements move by what was moved. */
static void a_one_port_is_fitted_by_its_reflection(void **state)
{
        (void)state;
        struct set s;
        struct circuit *c;
        struct circuit_causes by;
        struct circuit_options o = {0};
        struct tp_error err = {0};
        set_new(&s);
        c = arena_take(s.arena, sizeof *c);
        s.data.ports = 1;
        s.causes.n = 2;
        for (size_t i = 0; i < N; i++) {
                double complex z = CMPLX(1.5, RF_TWO_PI * hz[i] * 0.4e-9), is = (z - 50) / (z + 50);
                s.column[0][i] = creal(is);
                s.column[1][i] = cimag(is);
                for (int k = 0; k < 2; k++) {
                        double complex up = k == 0 ? CMPLX(1.5, 1.01 * cimag(z)) : CMPLX(1.01 * 1.5, cimag(z)),
                                       down = k == 0 ? CMPLX(1.5, 0.99 * cimag(z)) : CMPLX(0.99 * 1.5, cimag(z)),
                                       d = ((up - 50) / (up + 50) - (down - 50) / (down + 50)) / 2;
                        for (int e = 0; e < 4; e++) { /* what stands in other entries does not count */
                                s.causes.of[k].re[e][i] = e ? 1 : creal(d);
                                s.causes.of[k].im[e][i] = e ? 1 : cimag(d);
                        }
                }
        }
        if (rf_fit_circuit_by_causes(CIRCUIT_RESISTOR, &s.data, &o, &s.causes, s.arena, c, &by, &err))
                fail_msg("%s", err.text);
        const struct circuit_element *r = circuit_element_of(c, "r"), *l = circuit_element_of(c, "l");
        assert_non_null(r);
        assert_non_null(l);
        near(r->value, 1.5, 1e-6, "r");
        near(by.change[1][r - c->element] / r->value, 1e-2, 1e-5, "r by r");
        near(by.change[0][r - c->element] / r->value, 0, 1e-4, "r by l");
        near(by.change[0][l - c->element] / l->value, 1e-2, 1e-5, "l by l");
        near(by.change[1][l - c->element] / l->value, 0, 1e-4, "l by r");
        arena_free(s.arena);
}

static void fits_to_moved_s_say_the_same(void **state)
{
        (void)state;
        struct set s;
        struct circuit *c, *side;
        struct circuit_causes by;
        struct circuit_options o = {0}, weighed = {0};
        double u[4][N];
        set_new(&s);
        c = arena_take(s.arena, sizeof *c);
        side = arena_take(s.arena, 2 * sizeof *side);
        assert_int_equal(rf_fit_circuit_by_causes(CIRCUIT_INDUCTOR, &s.data, &o, &s.causes, s.arena, c, &by, NULL), CODE_OK);
        for (int e = 0; e < 4; e++) {
                for (size_t i = 0; i < N; i++) {
                        struct complex_cov v = net2_causes_cov(&s.causes, i, e);
                        u[e][i] = sqrt((v.re + v.im) / 2);
                }
                weighed.u_of[e] = u[e];
        }
        for (int k = 0; k < 2; k++) {
                data_put(&s, &s.causes.of[2], k ? 0.5 : -0.5);
                assert_int_equal(rf_fit_circuit(CIRCUIT_INDUCTOR, &s.data, &weighed, &side[k], NULL), CODE_OK);
        }
        for (size_t e = 0; e < c->element_n; e++) {
                double apart = side[1].element[e].value - side[0].element[e].value;
                near(by.change[2][e], apart, 0.01 * fabs(apart) + 1e-6 * c->element[e].value, c->element[e].name);
        }
        arena_free(s.arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(an_elements_own_change_moves_it_alone),
                                           cmocka_unit_test(a_one_port_is_fitted_by_its_reflection),
                                           cmocka_unit_test(fits_to_moved_s_say_the_same)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
