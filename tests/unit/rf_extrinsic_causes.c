/* A transistor built from elements whose states are wrong as if one element of its leads were: the extraction must say that this element moved
 * by as much, that no other one did, and that the inside did not move; what is the biased state's alone moves the inside alone. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include "rf/extract/extrinsic_causes.h"
#include "rf/network/convert.h"

enum { POINTS = 40, COLD = 3, STATES = COLD + 2 };
static const double truth[RF_X_COUNT] = {11e-15, 9e-15, 0, 22e-12, 19e-12, 4e-12, 2.1, 1.7, 0.9};
static const double drive[COLD] = {0.3, 0.5, 0.8};

struct world {
        struct arena *arena;
        double hz[POINTS];
        struct axis axis;
        struct rf_states states;
        struct net2 net[STATES]; /* off, cold, biased */
        struct net2_causes causes[STATES];
};

/* Pads beside the leads, the leads as a tee in series with the Z of the inside: written apart from extrinsic.c. */
static struct m2 state_s(int state, const double x[RF_X_COUNT], double f)
{
        double complex w = CMPLX(0, RF_TWO_PI * f), edge = w * 6e-15, gm = 0.06 * cexp(-w * 0.4e-12);
        struct m2 inside = state == 0      ? m2_inv(m2_of(2 * edge, -edge, -edge, edge))
                           : state <= COLD ? m2_scale(1 / drive[state - 1], m2_of(1.2, 1.5, 1.5, 3))
                                           : m2_inv(m2_of(w * 49e-15, -w * 9e-15, gm - w * 9e-15, 0.006 + w * 21e-15));
        if (state > 0 && state <= COLD)
                inside.e[0] += 1 / (w * 45e-15); /* the gate in front of its channel */
        double complex a = x[RF_X_R_IN] + w * x[RF_X_L_IN], b = x[RF_X_R_OUT] + w * x[RF_X_L_OUT],
                       c = x[RF_X_R_COMMON] + w * x[RF_X_L_COMMON];
        if (state == 0)
                a = b = c = 0; /* what the extraction takes an off state for; else its pads would hold a share of the leads */
        struct m2 y = m2_inv(m2_add(inside, m2_of(a + c, c, c, b + c)));
        return rf_s_from_y(m2_add(y, m2_diag(w * x[RF_X_C_IN], w * x[RF_X_C_OUT])), 50);
}

/* Cause k of every state: the element e more by a thousandth of its value. */
static void cause_put(struct world *w, int state, int e, double part)
{
        struct net2_cause *c = &w->causes[state].of[w->causes[state].n++];
        double up[RF_X_COUNT], down[RF_X_COUNT];
        memcpy(up, truth, sizeof up);
        memcpy(down, truth, sizeof down);
        up[e] *= 1 + part;
        down[e] *= 1 - part;
        c->about = (struct cause_about){rf_extrinsic_words[e], CAUSE_OF_STANDARD, INFINITY};
        net2_cause_id("x", rf_extrinsic_words[e], c->id);
        for (int k = 0; k < 4; k++) {
                c->re[k] = arena_take(w->arena, POINTS * sizeof(double));
                c->im[k] = arena_take(w->arena, POINTS * sizeof(double));
        }
        for (size_t i = 0; i < POINTS; i++) {
                struct m2 d = m2_scale(0.5, m2_sub(state_s(state, up, w->hz[i]), state_s(state, down, w->hz[i])));
                for (int k = 0; k < 4; k++) {
                        c->re[k][i] = creal(d.e[k]);
                        c->im[k][i] = cimag(d.e[k]);
                }
        }
}

/* A real cause, or noise, of one state alone. */
static void own_put(struct world *w, int state, enum cause_kind kind, const char *name)
{
        struct net2_cause *c = &w->causes[state].of[w->causes[state].n++];
        c->about = (struct cause_about){name, kind, kind == CAUSE_OF_NOISE ? 7 : INFINITY};
        net2_cause_id("own", name, c->id);
        c->re[2] = arena_take(w->arena, POINTS * sizeof(double));
        c->im[2] = arena_take(w->arena, POINTS * sizeof(double));
        for (size_t i = 0; i < POINTS; i++)
                c->re[2][i] = 1e-4;
}

static void world_new(struct world *w)
{
        memset(w, 0, sizeof *w);
        w->arena = arena_new(0);
        for (int i = 0; i < POINTS; i++)
                w->hz[i] = 0.5e9 * (i + 1);
        assert_int_equal(axis_of(POINTS, w->hz, &w->axis, NULL), CODE_OK);
        w->states = (struct rf_states){.off_kind = RF_OFF_COLD_PINCH,
                                       .off_below_hz = 5e9,
                                       .cold_kind = RF_COLD_VANISHING,
                                       .cold_n = COLD,
                                       .channel_ohm = NAN,
                                       .from_hz = 1e9,
                                       .below_hz = 20e9};
        for (int s = 0; s < STATES; s++) {
                w->net[s] = net2_at(arena_take(w->arena, net2_bytes(POINTS)), &w->axis, PLANE_TIP);
                for (size_t i = 0; i < POINTS; i++)
                        net2_put(&w->net[s], i, state_s(s, truth, w->hz[i]));
                w->causes[s] = (struct net2_causes){.axis = &w->axis, .of = arena_take(w->arena, 16 * sizeof *w->causes[s].of)};
                struct rf_state *to = s == 0 ? &w->states.off : s <= COLD ? &w->states.cold[s - 1] : &w->states.hot;
                *to = (struct rf_state){&w->net[s], &w->causes[s]};
        }
        for (int k = 0; k < COLD; k++)
                w->states.x[k] = 1 / drive[k];
}

static void found(struct world *w, struct rf_extrinsic *x, struct rf_extrinsic_known *known)
{
        struct tp_error err = {0};
        *x = (struct rf_extrinsic){.value = {0}};
        if (rf_states_off(&w->states, x, &err) || rf_states_cold(&w->states, x, &err) ||
            rf_extrinsic_causes(&w->states, x, w->arena, known, &err))
                fail_msg("%s", err.text);
}

static void a_wrong_element_moves_itself_alone(void **unused)
{
        (void)unused;
        struct world w;
        struct rf_extrinsic x;
        struct rf_extrinsic_known known;
        const double part = 1e-3;
        size_t n = 0;
        world_new(&w);
        for (int e = 0; e < RF_X_COUNT; e++)
                for (int s = 0; s < STATES && e != RF_X_C_BETWEEN; s++)
                        cause_put(&w, s, e, part);
        found(&w, &x, &known);
        for (int e = 0; e < RF_X_COUNT; e++) {
                if (e == RF_X_C_BETWEEN)
                        continue;
                assert_string_equal(known.causes.of[n].about.name, rf_extrinsic_words[e]);
                for (int other = 0; other < RF_X_COUNT; other++) {
                        double want = other == e ? part * truth[e] : 0, got = known.change[n][other];
                        if (other != RF_X_C_BETWEEN && !(fabs(got - want) <= 1e-5 * part * truth[other]))
                                fail_msg("%s moves %s by %g, wanted %g", rf_extrinsic_words[e], rf_extrinsic_words[other], got, want);
                }
                assert_true(known.u[e] >= part * truth[e] * (1 - 1e-5));
                n++;
        }
        for (size_t k = 0; k < known.inside.n; k++) /* the inside stays: what moves it is the scatter alone */
                for (size_t i = 0; i < POINTS && strncmp(known.inside.of[k].about.name, "scatter", 7) != 0; i++)
                        for (int e = 0; e < 4; e++)
                                if (!(cabs(net2_cause_at(&known.inside.of[k], i).e[e]) < 1e-8))
                                        fail_msg("%s moves the inside by %g at %g Hz", known.inside.of[k].about.name,
                                                 cabs(net2_cause_at(&known.inside.of[k], i).e[e]), w.hz[i]);
        arena_free(w.arena);
}

/* Of the biased state alone: dS of the inside by its own derivative, dY = D^-1 dS D^-1 of each and the chain between them by differences. */
static void what_is_the_biased_states_moves_the_inside(void **unused)
{
        (void)unused;
        struct world w;
        struct rf_extrinsic x;
        struct rf_extrinsic_known known;
        world_new(&w);
        own_put(&w, STATES - 1, CAUSE_OF_CONTACT, "own: touch R, port 1");
        own_put(&w, STATES - 1, CAUSE_OF_NOISE, "own: noise, S21");
        own_put(&w, 1, CAUSE_OF_NOISE, "own: noise, S12");
        found(&w, &x, &known);
        assert_true(known.inside.n >= 2);
        assert_string_equal(known.inside.of[0].about.name, "biased: touch R, port 1");
        assert_string_equal(known.inside.of[1].about.name, "biased: noise, S21");
        assert_true(known.inside.of[1].about.kind == CAUSE_OF_NOISE && known.inside.of[1].about.freedom == 7);
        for (size_t k = 0; k < known.causes.n; k++) /* no element; noise of a cold state is in the scatter */
                assert_true(strncmp(known.causes.of[k].about.name, "scatter of ", 11) == 0);
        for (size_t i = 0; i < POINTS; i++) {
                struct m2 side[2];
                for (int up = 0; up < 2; up++) {
                        struct m2 s = net2_get(&w.net[STATES - 1], i);
                        s.e[2] += up ? 1e-6 : -1e-6;
                        side[up] = rf_s_from_y(rf_extrinsic_remove_y(&x, rf_y_from_s(s, 50), w.hz[i]), 50);
                }
                for (int e = 0; e < 4; e++) {
                        double complex want = (side[1].e[e] - side[0].e[e]) * 1e-4 / 2e-6;
                        for (int k = 0; k < 2; k++)
                                if (!(cabs(net2_cause_at(&known.inside.of[k], i).e[e] - want) < 1e-9))
                                        fail_msg("at %g Hz the inside moves otherwise", w.hz[i]);
                }
        }
        arena_free(w.arena);
}

static void what_states_share_is_named_after_the_transistor(void **unused)
{
        (void)unused;
        struct world w;
        struct rf_extrinsic x;
        struct rf_extrinsic_known known;
        world_new(&w);
        own_put(&w, 0, CAUSE_OF_CONTACT, "own: touch L, port 2");
        own_put(&w, 2, CAUSE_OF_CONTACT, "own: touch L, port 2");
        own_put(&w, 1, CAUSE_OF_PLACEMENT, "own: place, port 1");
        w.causes[3] = (struct net2_causes){.axis = &w.axis};
        w.states.hot = (struct rf_state){NULL, NULL};
        found(&w, &x, &known);
        assert_string_equal(known.causes.of[0].about.name, "transistor: touch L, port 2");
        assert_string_equal(known.causes.of[1].about.name, "cold 1: place, port 1");
        assert_int_equal(known.inside.n, 0);
        assert_string_equal(known.causes.not_counted[0], "how far the transistor's states are unlike what they are taken for");
        arena_free(w.arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(a_wrong_element_moves_itself_alone),
                                           cmocka_unit_test(what_is_the_biased_states_moves_the_inside),
                                           cmocka_unit_test(what_states_share_is_named_after_the_transistor)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
