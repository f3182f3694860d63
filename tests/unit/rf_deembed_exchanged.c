/* Dummies that are exchanged: 600 random sets of pads, leads and couplings, with noise and in three bands, are said nothing of; each exchange of
   two dummies is named.  The structures are nodal admittances written here, after the drawings of the papers that deembed.h names. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>
#include "base/arena.h"
#include "rf/deembed/deembed.h"
#include "rf/network/convert.h"

enum { N = 200 };
static uint64_t seed;
static double draw(void)
{
        seed += 0x9e3779b97f4a7c15u; /* splitmix64 */
        uint64_t z = seed;
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
        return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}
static double complex normal(void) { return sqrt(-2 * log(1 - draw())) * cexp(CMPLX(0, RF_TWO_PI * draw())); }

/* Pads to ground and across, leads 1 and 2 and their common part, what lies between the inner nodes and from them to ground. */
struct around {
        double pad_f[2], across_f, lead_ohm[3], lead_h[3], gap_f, inner_f;
};
enum what { OPEN, SHORT, PAD, THRU, LEFT, RIGHT };

/* Y of the two inner nodes as the leads see it: nothing, ground, each other, one to ground. */
static struct m2 inner(enum what what, const struct around *a, double complex jw)
{
        double complex gap = jw * a->gap_f, own = jw * a->inner_f, metal = 1e4; /* 0.1 milliohm */
        double complex l = own + (what == SHORT || what == LEFT ? metal : 0), r = own + (what == SHORT || what == RIGHT ? metal : 0);
        gap += what == THRU ? metal : 0;
        return m2_of(l + gap, -gap, -gap, r + gap);
}
static struct m2 dummy_s(enum what what, const struct around *a, double hz)
{
        double complex jw = CMPLX(0, RF_TWO_PI * hz), z[3];
        for (int k = 0; k < 3; k++)
                z[k] = a->lead_ohm[k] * (1 + sqrt(hz / 40e9)) + jw * a->lead_h[k];
        struct m2 leads = m2_of(z[0] + z[2], z[2], z[2], z[1] + z[2]), pads = m2_diag(jw * a->pad_f[0], jw * a->pad_f[1]), y = pads;
        double complex across = jw * a->across_f;
        if (what != PAD) {
                struct m2 in = inner(what, a, jw); /* leads in series: (1 + Y Z)^-1 Y */
                y = m2_add(pads, m2_mul(m2_inv(m2_add(m2_one(), m2_mul(in, leads))), in));
        }
        return rf_s_from_y(m2_add(y, m2_of(across, -across, -across, across)), 50);
}

static struct around any_around(void)
{
        struct around a = {.across_f = 0.5e-15 * draw(), .gap_f = 2e-15 * draw(), .inner_f = 3e-15 * draw()};
        for (int k = 0; k < 2; k++)
                a.pad_f[k] = (5 + 75 * draw()) * 1e-15;
        for (int k = 0; k < 3; k++) {
                a.lead_ohm[k] = (0.02 + draw()) * (k == 2 ? 0.1 : 1);
                a.lead_h[k] = (1 + 60 * draw()) * 1e-12 * (k == 2 ? 0.1 : 1);
        }
        return a;
}

static struct arena *arena;
static struct axis axis;
static struct net2 *net_of(enum what what, const struct around *a, double noise)
{
        struct net2 *net = arena_take(arena, sizeof *net);
        *net = net2_at(arena_take(arena, net2_bytes(axis.n)), &axis, PLANE_TIP);
        for (size_t i = 0; i < axis.n; i++) {
                struct m2 s = dummy_s(what, a, axis.hz[i]);
                for (int e = 0; e < 4; e++)
                        s.e[e] += noise * normal();
                net2_put(net, i, s);
        }
        return net;
}

/* 70 kHz to 220 GHz by ratio, 0.2 to 40 GHz, 110 to 220 GHz. */
static void band(int k)
{
        static double hz[N];
        for (int i = 0; i < N; i++)
                hz[i] = k == 0 ? 7e4 * pow(220e9 / 7e4, i / (N - 1.0)) : k == 1 ? 0.2e9 * (i + 1) : 110e9 + 110e9 * i / (N - 1.0);
        assert_int_equal(axis_of(N, hz, &axis, NULL), CODE_OK);
}

struct method {
        enum deembed_method method;
        size_t n;
        enum rf_dummy dummy[4];
        enum what what[4];
};
static const struct method methods[] = {
        {RF_DEEMBED_OPEN_SHORT, 2, {RF_DUMMY_OPEN, RF_DUMMY_SHORT}, {OPEN, SHORT}},
        {RF_DEEMBED_SHORT_OPEN, 2, {RF_DUMMY_OPEN, RF_DUMMY_SHORT}, {OPEN, SHORT}},
        {RF_DEEMBED_PAD_OPEN_SHORT, 3, {RF_DUMMY_PAD, RF_DUMMY_OPEN, RF_DUMMY_SHORT}, {PAD, OPEN, SHORT}},
        {RF_DEEMBED_THREE_STEP, 4, {RF_DUMMY_OPEN, RF_DUMMY_THRU, RF_DUMMY_SHORT_LEFT, RF_DUMMY_SHORT_RIGHT}, {OPEN, THRU, LEFT, RIGHT}},
};

static void good_dummies_are_left_alone(void **state)
{
        (void)state;
        seed = 11;
        for (int k = 0; k < 600; k++) {
                arena = arena_new(0);
                band(k % 3);
                const struct method *m = &methods[(k / 3) % 4];
                struct around a = any_around();
                struct dummies d = {{NULL}};
                struct rf_deembed_exchange e;
                double noise = pow(10, -5 + 2.5 * draw());
                for (size_t j = 0; j < m->n; j++)
                        d.of[m->dummy[j]] = net_of(m->what[j], &a, noise);
                if (rf_deembed_exchanged(m->method, &d, &e))
                        fail_msg("set %d, %s: %s", k, rf_deembed_words[m->method], e.say);
                arena_free(arena);
        }
}

/* Every exchange of two: found in all of 20 sets each; the pads with the open, which differ by little, where the open has a tenth more. */
static void each_exchange_is_named(void **state)
{
        (void)state;
        seed = 12;
        for (size_t which = 0; which < sizeof methods / sizeof methods[0]; which++)
                for (size_t one = 0; one < methods[which].n; one++)
                        for (size_t other = one + 1; other < methods[which].n; other++)
                                for (int k = 0; k < 21; k++) {
                                        const struct method *m = &methods[which];
                                        arena = arena_new(0);
                                        band(k % 3);
                                        struct around a = any_around();
                                        struct dummies d = {{NULL}};
                                        struct rf_deembed_exchange e;
                                        if (m->what[one] == PAD && m->what[other] == OPEN) { /* else nothing tells them apart */
                                                a.pad_f[0] = a.pad_f[1] = 20e-15;
                                                a.inner_f = 3e-15;
                                        }
                                        for (size_t j = 0; j < m->n; j++) {
                                                size_t from = j == one ? other : j == other ? one : j;
                                                d.of[m->dummy[j]] = net_of(m->what[from], &a, 1e-4);
                                        }
                                        if (!rf_deembed_exchanged(m->method, &d, &e) ||
                                            e.one != (enum rf_dummy)fmin(m->dummy[one], m->dummy[other]) ||
                                            e.other != (enum rf_dummy)fmax(m->dummy[one], m->dummy[other]))
                                                fail_msg("%s, %s and %s, band %d: %s", rf_deembed_words[m->method],
                                                         rf_dummy_words[m->dummy[one]], rf_dummy_words[m->dummy[other]], k % 3, e.say);
                                        arena_free(arena);
                                }
}

static void a_file_given_twice_is_said_to_be_wrong(void **state)
{
        (void)state;
        arena = arena_new(0);
        band(0);
        seed = 13;
        struct around a = any_around();
        struct rf_deembed_exchange e;
        struct net2 *left = net_of(LEFT, &a, 1e-5);
        struct dummies d = {{[RF_DUMMY_OPEN] = net_of(OPEN, &a, 1e-5),
                             [RF_DUMMY_THRU] = net_of(THRU, &a, 1e-5),
                             [RF_DUMMY_SHORT_LEFT] = left,
                             [RF_DUMMY_SHORT_RIGHT] = left}};
        assert_true(rf_deembed_exchanged(RF_DEEMBED_THREE_STEP, &d, &e));
        assert_int_equal(e.one, RF_DUMMY_COUNT);
        assert_non_null(strstr(e.say, "the right short conducts to ground at port 1 rather than at port 2"));
        assert_non_null(strstr(e.say, "one of the dummies is not what it is said to be"));
        d.of[RF_DUMMY_SHORT_RIGHT] = NULL;
        assert_false(rf_deembed_exchanged(RF_DEEMBED_THREE_STEP, &d, &e)); /* refused elsewhere */
        arena_free(arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(good_dummies_are_left_alone), cmocka_unit_test(each_exchange_is_named),
                                           cmocka_unit_test(a_file_given_twice_is_said_to_be_wrong)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
