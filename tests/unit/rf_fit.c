/* Vector fitting and rational models: order, noise, 6.5 decades, 0 Hz, bad input, the same bytes twice, no memory but what is given. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <lapacke.h>
#include <malloc.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "base/arena.h"
#include "rf/numbers/eigen.h"
#include "rf/models/model.h"
#include "rf/trust/plausible.h"

static uint64_t seed;
static double draw(double lo, double hi)
{
        seed += 0x9e3779b97f4a7c15u; /* splitmix64 */
        uint64_t z = seed;
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
        return lo + (hi - lo) * (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}
static double gauss(void) { return sqrt(-2 * log(draw(1e-12, 1))) * cos(RF_TWO_PI * draw(0, 1)); }

/* Rational data with known poles: `real` real ones and `pairs` pairs, on a grid by logarithm (or even). */
struct known {
        struct arena *arena;
        struct axis axis;
        struct rational truth;
        struct fit_data data;
        double *hz, *re[4], *im[4];
};
static struct known known_new(size_t n, double lo, double hi, bool even, size_t real, size_t pairs, size_t elements, double noise)
{
        struct known k = {.arena = arena_new(0)};
        k.truth.element_n = elements;
        k.truth.pole_n = real + pairs;
        for (size_t i = 0; i < real + pairs; i++) {
                bool pair = i >= real;
                size_t j = pair ? i - real : i, of = pair ? pairs : real;
                double part = ((double)j + 0.5) / (double)of, low = fmax(lo, 1e3);
                double f = even && pair ? lo + (hi - lo) * part : low * pow(hi / low, part), q = draw(1.5, 8);
                k.truth.pole[i] = RF_TWO_PI * f * (pair ? CMPLX(-1 / (2 * q), 1) : -1);
                for (size_t e = 0; e < elements; e++)
                        k.truth.residue[e][i] =
                                cabs(k.truth.pole[i]) * CMPLX(draw(0.02, 0.1) * (draw(0, 1) < 0.5 ? -1 : 1), pair ? draw(-0.05, 0.05) : 0);
        }
        for (size_t e = 0; e < elements; e++)
                k.truth.d[e] = draw(-0.3, 0.3);
        k.hz = arena_take(k.arena, n * sizeof *k.hz);
        k.data = (struct fit_data){.n = n, .element_n = elements, .hz = k.hz};
        for (size_t e = 0; e < elements; e++) {
                k.data.re[e] = k.re[e] = arena_take(k.arena, n * sizeof(double));
                k.data.im[e] = k.im[e] = arena_take(k.arena, n * sizeof(double));
        }
        for (size_t i = 0; i < n; i++) {
                double part = (double)i / (double)(n - 1);
                k.hz[i] = even ? lo + (hi - lo) * part : lo * pow(hi / lo, part);
                for (size_t e = 0; e < elements; e++) {
                        double complex z = rational_at(&k.truth, e, k.hz[i]);
                        k.re[e][i] = creal(z) + noise * gauss();
                        k.im[e][i] = cimag(z) + noise * gauss();
                }
        }
        assert_int_equal(axis_of(n, k.hz, &k.axis, NULL), CODE_OK);
        return k;
}
static struct rational fit(struct known *k, const struct fit_options *o, struct fit_report *r)
{
        struct rational m;
        struct tp_error err = {0};
        if (rf_vector_fit(&k->data, o, arena_take(k->arena, rf_vector_fit_bytes(k->data.n, k->data.element_n, 0)), &m, r, &err))
                fail_msg("%s", err.text);
        return m;
}
/* Worst relative distance of a true pole from the nearest found one. */
static double distance(const struct rational *truth, const struct rational *m)
{
        double worst = 0;
        for (size_t i = 0; i < truth->pole_n; i++) {
                double near = INFINITY;
                for (size_t j = 0; j < m->pole_n; j++)
                        near = fmin(near, cabs(m->pole[j] - truth->pole[i]) / cabs(truth->pole[i]));
                worst = fmax(worst, near);
        }
        return worst;
}
static void all_stable(const struct rational *m)
{
        for (size_t i = 0; i < m->pole_n; i++)
                assert_true(creal(m->pole[i]) < 0 && cimag(m->pole[i]) >= 0);
}

/* Against LAPACK: random matrices, and graded ones over twelve decades.  Tolerance: backward error n eps |A|. */
static void eigenvalues_as_lapack(void **state)
{
        (void)state;
        seed = 1;
        for (int trial = 0; trial < 60; trial++) {
                int n = 1 + trial % 24;
                double a[24 * 24], b[24 * 24], re[24], im[24], wr[24], wi[24], size = 0;
                for (int i = 0; i < n * n; i++) {
                        a[i] = b[i] = draw(-1, 1) * (trial % 3 == 0 ? pow(10, draw(-6, 6)) : 1);
                        size = fmax(size, fabs(a[i]));
                }
                assert_true(rf_eigenvalues((size_t)n, a, re, im));
                assert_int_equal(LAPACKE_dgeev(LAPACK_ROW_MAJOR, 'N', 'N', n, b, n, wr, wi, NULL, 1, NULL, 1), 0);
                for (int i = 0; i < n; i++) {
                        double near = INFINITY;
                        for (int j = 0; j < n; j++)
                                near = fmin(near, hypot(re[i] - wr[j], im[i] - wi[j]));
                        assert_true(near <= (trial % 3 == 0 ? 1e-7 : 1e-9) * size); /* clustered eigenvalues move by more than eps */
                }
        }
        double bad[4] = {1, NAN, 0, 1}, re[2], im[2];
        assert_false(rf_eigenvalues(2, bad, re, im));
}

static void hermitian_matrices(void **state)
{
        (void)state;
        seed = 2;
        for (int trial = 0; trial < 40; trial++) {
                size_t n = 1 + (size_t)trial % 4;
                double complex a[16], v[16];
                double value[4];
                for (size_t i = 0; i < n; i++)
                        for (size_t j = 0; j <= i; j++) {
                                a[i * n + j] = CMPLX(draw(-1, 1), i == j ? 0 : draw(-1, 1));
                                a[j * n + i] = conj(a[i * n + j]);
                        }
                rf_hermitian(n, a, value, v);
                for (size_t k = 0; k < n; k++)
                        for (size_t i = 0; i < n; i++) {
                                double complex sum = -value[k] * v[i * n + k], unit = 0;
                                for (size_t j = 0; j < n; j++) {
                                        sum += a[i * n + j] * v[j * n + k];
                                        unit += conj(v[j * n + i]) * v[j * n + k];
                                }
                                assert_true(cabs(sum) < 1e-14 && cabs(unit - (i == k)) < 1e-14);
                                assert_true(k == 0 || value[k] <= value[k - 1]);
                        }
        }
}

/* Without noise the true poles come back for any order from the right one to 40, and no other pole stays. */
static void too_many_poles_are_dropped(void **state)
{
        (void)state;
        for (uint64_t s = 1; s <= 12; s++) {
                seed = s * 77;
                size_t pairs = 1 + s % 5, real = s % 3, order = real + 2 * pairs, asked[] = {order, 2 * order, 2 * order + 3, 40, 0};
                struct known k = known_new(s % 2 ? 181 : 900, 1e8, 110e9, s % 2, real, pairs, 1 + s % 4, 0);
                for (size_t i = 0; i < 5; i++) {
                        struct fit_report r;
                        struct rational m = fit(&k, &(struct fit_options){.order = asked[i] > 40 ? 40 : asked[i]}, &r);
                        if (r.order != order || !(distance(&k.truth, &m) < 1e-6) || !(r.rms < 1e-10 * r.signal_rms))
                                fail_msg("seed %d, asked %zu: order %zu of %zu, rms %.3g, poles off by %.3g", (int)s, asked[i], r.order,
                                         order, r.rms, distance(&k.truth, &m));
                        all_stable(&m);
                }
                arena_free(k.arena);
        }
}

/* With noise the grown order follows the data to their noise and not further. */
static void order_grows_to_the_noise(void **state)
{
        (void)state;
        for (uint64_t s = 1; s <= 8; s++) {
                seed = s * 1001;
                double sigma = pow(10, -1.5 - (double)(s % 4)); /* 3e-2 … 3e-5 of each component */
                size_t pairs = 2 + s % 5;
                struct known k = known_new(801, 1e8, 110e9, true, 0, pairs, 3, sigma);
                struct fit_report r;
                double noise = sigma * sqrt(2);
                struct rational m = fit(&k, &(struct fit_options){.noise = s % 2 ? noise : 0}, &r);
                if (!(r.rms < 1.2 * noise && r.rms > 0.9 * noise))
                        fail_msg("seed %d: rms %.3g, noise %.3g, order %zu of %zu, %s", (int)s, r.rms, noise, r.order, 2 * pairs,
                                 fit_stop_words[r.stop]);
                assert_true(r.order <= 2 * pairs + 4);
                assert_int_equal(r.order, rational_order(&m));
                all_stable(&m);
                arena_free(k.arena);
        }
}

/* 70 kHz … 220 GHz with real poles at the low end and pairs at the top, weight 1/|H|. */
static void six_and_a_half_decades(void **state)
{
        (void)state;
        seed = 5;
        struct known k = known_new(261, 70e3, 220e9, false, 2, 0, 2, 0);
        const double f[6] = {1e6, 80e6, 3e9, 30e9, 90e9, 180e9}; /* 2 real, 4 pairs */
        k.truth.pole_n = 6;
        for (size_t i = 0; i < 6; i++) {
                k.truth.pole[i] = RF_TWO_PI * f[i] * (i < 2 ? -1 : CMPLX(-0.1, 1));
                for (size_t e = 0; e < 2; e++)
                        k.truth.residue[e][i] = cabs(k.truth.pole[i]) * CMPLX(draw(0.02, 0.1), i < 2 ? 0 : draw(-0.05, 0.05));
        }
        for (size_t i = 0; i < k.data.n; i++)
                for (size_t e = 0; e < 2; e++) {
                        double complex z = rational_at(&k.truth, e, k.hz[i]);
                        k.re[e][i] = creal(z);
                        k.im[e][i] = cimag(z);
                }
        size_t asked[3] = {10, 0, 20};
        for (int i = 0; i < 3; i++) {
                struct fit_report r;
                struct rational m = fit(&k, &(struct fit_options){.order = asked[i], .weight = FIT_WEIGHT_INVERSE}, &r);
                if (r.order != 10 || !(distance(&k.truth, &m) < 1e-8))
                        fail_msg("asked %zu: order %zu, poles off by %.3g, rms %.3g", asked[i], r.order, distance(&k.truth, &m), r.rms);
        }
        arena_free(k.arena);
}

/* f = 0 is a frequency like any other; held on demand it is exact even in noise. */
static void zero_hertz(void **state)
{
        (void)state;
        seed = 9;
        struct known k = known_new(301, 0, 110e9, true, 1, 2, 2, 1e-3);
        struct fit_report r;
        struct rational free_m = fit(&k, &(struct fit_options){.order = 5}, &r);
        double dc[2] = {creal(rational_at(&k.truth, 0, 0)), creal(rational_at(&k.truth, 1, 0))};
        struct rational first = fit(&k, &(struct fit_options){.order = 5, .hold_dc = true}, &r);
        struct rational given = fit(&k, &(struct fit_options){.order = 5, .hold_dc = true, .dc = dc}, &r);
        for (size_t e = 0; e < 2; e++) {
                assert_true(fabs(creal(rational_at(&free_m, e, 0)) - dc[e]) > 1e-9);
                assert_true(fabs(creal(rational_at(&first, e, 0)) - k.re[e][0]) < 1e-13);
                assert_true(fabs(creal(rational_at(&given, e, 0)) - dc[e]) < 1e-13);
        }
        assert_true(r.rms < 2 * 1.5e-3);
        arena_free(k.arena);
}

/* Terms s e and no d; a constant alone; one real pole. */
static void small_models(void **state)
{
        (void)state;
        seed = 11;
        struct known k = known_new(101, 1e8, 50e9, false, 1, 1, 1, 0);
        k.truth.d[0] = 0;
        k.truth.e[0] = 3e-12;
        for (size_t i = 0; i < k.data.n; i++) {
                double complex z = rational_at(&k.truth, 0, k.hz[i]);
                k.re[0][i] = creal(z);
                k.im[0][i] = cimag(z);
        }
        struct fit_report r;
        struct rational m = fit(&k, &(struct fit_options){.order = 3, .no_constant = true, .proportional = true}, &r);
        if (!(distance(&k.truth, &m) < 1e-9 && fabs(m.e[0] / 3e-12 - 1) < 1e-9 && m.d[0] == 0))
                fail_msg("poles off by %.3g, e %.12g, d %g, order %zu, rms %.3g", distance(&k.truth, &m), m.e[0], m.d[0], r.order, r.rms);
        for (size_t i = 0; i < k.data.n; i++) {
                k.re[0][i] = 0.25;
                k.im[0][i] = 0;
        }
        m = fit(&k, &(struct fit_options){0}, &r);
        assert_int_equal(r.order, 0);
        assert_int_equal(r.stop, FIT_STOP_EXACT);
        assert_true(fabs(m.d[0] - 0.25) < 1e-14);
        memset(k.re[0], 0, k.data.n * sizeof(double));
        m = fit(&k, &(struct fit_options){.order = 4, .weight = FIT_WEIGHT_INVERSE}, &r);
        assert_true(r.rms == 0 && cabs(rational_at(&m, 0, 1e9)) == 0);
        arena_free(k.arena);
}

static void bad_input_is_named(void **state)
{
        (void)state;
        seed = 3;
        struct known k = known_new(51, 1e8, 50e9, false, 1, 1, 2, 0);
        struct tp_error err;
        struct rational m;
        void *w = arena_take(k.arena, rf_vector_fit_bytes(51, 16, 0));
        struct fit_options good = {.order = 4}, o;
        struct fit_data d;
#define REFUSED(change, word)                                                               \
        do {                                                                                \
                d = k.data;                                                                 \
                o = good;                                                                   \
                change;                                                                     \
                memset(&err, 0, sizeof err);                                                \
                assert_int_equal(rf_vector_fit(&d, &o, w, &m, NULL, &err), CODE_BAD_INPUT); \
                if (!strstr(err.text, word))                                                \
                        fail_msg("\"%s\" does not say \"%s\"", err.text, word);             \
        } while (0)
        REFUSED(d.element_n = 0, "1 to 16 responses");
        REFUSED(d.element_n = 17, "1 to 16 responses");
        REFUSED(o.order = 41, "at most 40 poles");
        REFUSED(d.n = 1, "at least 2 frequencies");
        REFUSED((d.n = 4, o.order = 12), "4 frequencies are too few for 12 poles");
        REFUSED((o.hold_dc = true, o.no_constant = true), "constant term");
        REFUSED(o.noise = NAN, "noise is nan");
        REFUSED(o.noise = -1, "noise is -1");
        REFUSED(o.floor = -1, "floor");
        double hz[51], re[51];
        memcpy(hz, k.hz, sizeof hz);
        memcpy(re, k.re[0], sizeof re);
        hz[7] = hz[6];
        REFUSED(d.hz = hz, "frequency 8");
        hz[7] = -1;
        REFUSED(d.hz = hz, "frequency 8 is -1 Hz");
        hz[7] = NAN;
        REFUSED(d.hz = hz, "frequency 8 is nan Hz");
        re[3] = NAN;
        REFUSED(d.re[1] = re, "response 2 is not a number");
        re[3] = INFINITY;
        REFUSED(d.re[0] = re, "response 1 is not a number");
        memset(re, 0, sizeof re);
        re[4] = -2;
        REFUSED((o.weight = FIT_WEIGHT_GIVEN, o.weights = re), "weight 5 is -2");
        /* and one level up */
        struct model_data md = {.axis = &k.axis, .ports = 1, .z_ohm = 50, .re = {k.re[0]}, .im = {k.im[0]}};
        struct model model;
        void *mw = arena_take(k.arena, rf_fit_vector_bytes(51, 2, 0));
#define REFUSED_MODEL(change, word)                                                            \
        do {                                                                                   \
                struct model_data x = md;                                                      \
                struct model_options mo = {0};                                                 \
                change;                                                                        \
                assert_int_not_equal(rf_fit_vector(&x, &mo, mw, &model, NULL, &err), CODE_OK); \
                if (!strstr(err.text, word))                                                   \
                        fail_msg("\"%s\" does not say \"%s\"", err.text, word);                \
        } while (0)
        REFUSED_MODEL(x.ports = 0, "1 to 4 ports");
        REFUSED_MODEL(x.ports = 5, "1 to 4 ports");
        REFUSED_MODEL(x.z_ohm = NAN, "reference impedance");
        REFUSED_MODEL(x.z_ohm = -50, "reference impedance");
        double bad[51];
        memcpy(bad, k.re[0], sizeof bad);
        bad[9] = NAN;
        REFUSED_MODEL(x.im[0] = bad, "S11 is not a number");
        for (int i = 0; i < 51; i++)
                bad[i] = -1;
        double zero[51] = {0};
        REFUSED_MODEL((x.re[0] = bad, x.im[0] = zero, mo.kind = MODEL_Y), "fit S instead"); /* a short */
        arena_free(k.arena);
}

/* Twice the same: every byte; and a workspace full of rubbish changes nothing. */
static void the_same_bytes_twice(void **state)
{
        (void)state;
        seed = 21;
        struct known k = known_new(1501, 70e3, 220e9, false, 2, 4, 4, 1e-3);
        size_t bytes = rf_vector_fit_bytes(k.data.n, 4, 0);
        unsigned char *w = arena_take(k.arena, bytes);
        for (size_t order = 0; order <= 14; order += 7) {
                static struct rational m[2];
                struct fit_report r[2];
                for (int i = 0; i < 2; i++) {
                        memset(w, i ? 0xa5 : 0, bytes);
                        memset(&m[i], 0, sizeof m[i]);
                        memset(&r[i], 0, sizeof r[i]);
                        assert_int_equal(rf_vector_fit(&k.data, &(struct fit_options){.order = order}, w, &m[i], &r[i], NULL), CODE_OK);
                }
                assert_memory_equal(&m[0], &m[1], sizeof m[0]);
                assert_true(r[0].rms == r[1].rms && r[0].worst_hz == r[1].worst_hz && r[0].rounds == r[1].rounds);
        }
        arena_free(k.arena);
}

/* No byte beyond the workspace is written, and nothing is allocated. */
static void only_the_given_memory(void **state)
{
        (void)state;
        seed = 31;
        struct known k = known_new(700, 1e8, 110e9, true, 1, 3, 4, 1e-3);
        struct model_data d = {.axis = &k.axis, .ports = 2, .z_ohm = 50};
        for (int q = 0; q < 4; q++) {
                d.re[q] = k.re[q];
                d.im[q] = k.im[q];
        }
        size_t bytes = rf_fit_vector_bytes(700, 2, 12);
        unsigned char *w = arena_take(k.arena, bytes + 64);
        memset(w + bytes, 0x5a, 64);
        static struct model m;
        static struct model_report r;
        struct mallinfo2 before = mallinfo2();
        enum code code = rf_fit_vector(&d, &(struct model_options){.fit = {.order = 12}}, w, &m, &r, NULL);
        struct mallinfo2 after = mallinfo2();
        assert_true(code == CODE_OK || code == CODE_UNRESOLVABLE);
        assert_true(before.uordblks == after.uordblks && before.arena == after.arena && before.hblkhd == after.hblkhd);
        for (int i = 0; i < 64; i++)
                assert_int_equal(w[bytes + (size_t)i], 0x5a);
        arena_free(k.arena);
}

/* A 30 dB hot spot far above the band, a lossless line, an amplifier: what enforcement does to each. */
static void enforcement(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        enum { N = 201 };
        double hz[N];
        struct axis axis;
        for (int i = 0; i < N; i++)
                hz[i] = 1e8 + 5.49e8 * i;
        assert_int_equal(axis_of(N, hz, &axis, NULL), CODE_OK);
        struct net2 net = net2_at(arena_take(arena, net2_bytes(N)), &axis, PLANE_DEVICE);
        void *w = arena_take(arena, rf_fit_vector_bytes(N, 2, 0));
        struct model m;
        struct model_report r;
        struct tp_error err = {0};
        seed = 41;
        for (size_t i = 0; i < N; i++) { /* a lossless line of 2 ps in noise of 1e-4: half of all values stand above 1 */
                double complex t = cexp(CMPLX(0, -RF_TWO_PI * hz[i] * 2e-12));
                net2_put(&net, i,
                         m2_of(CMPLX(1e-4 * gauss(), 1e-4 * gauss()), t + CMPLX(1e-4 * gauss(), 1e-4 * gauss()),
                               t + CMPLX(1e-4 * gauss(), 1e-4 * gauss()), CMPLX(1e-4 * gauss(), 1e-4 * gauss())));
        }
        struct model_data d = model_data_of(&net);
        struct model_options o = {.fit = {.noise = 1.5e-4}};
        if (rf_fit_vector(&d, &o, w, &m, &r, &err))
                fail_msg("%s", err.text);
        assert_true(m.reciprocal && r.after.passive && r.after.worst <= 1 + 1e-9);
        if (!(r.error.rms < 4e-4)) /* the line loses no more than its noise */
                fail_msg("rms %.3g, fit %.3g, change %.3g, order %zu, before %.9g at %.4g", r.error.rms, r.fit.rms, r.enforcement.rms,
                         r.fit.order, r.before.worst, r.before.worst_hz);
        assert_true(r.enforcement.dc < 1e-3);
        for (size_t i = 0; i < N; i++) /* an amplifier is left alone when asked, and refused or bent with a word when not */
                net2_put(&net, i, m2_of(0.2, 0.01, 4 / CMPLX(1, hz[i] / 30e9), 0.1));
        o.keep_active = true;
        assert_int_equal(rf_fit_vector(&d, &o, w, &m, &r, &err), CODE_OK);
        assert_true(!m.reciprocal && !r.after.passive && r.enforcement.rounds == 0 && r.data_worst > 3.9 && r.error.worst < 1e-3);
        arena_free(arena);
}

/* Causal data are followed down to their noise; turned in time they are not. */
static void causality(void **state)
{
        (void)state;
        seed = 51;
        struct known k = known_new(801, 1e8, 110e9, true, 1, 3, 4, 1e-4);
        struct model_data d = {.axis = &k.axis, .ports = 2, .z_ohm = 50};
        void *w = arena_take(k.arena, rf_causality_fit_bytes(801, 2));
        struct rf_plausible c;
        double noise = 0;
        for (int q = 0; q < 4; q++) {
                d.re[q] = k.re[q];
                d.im[q] = k.im[q];
        }
        for (int given = 0; given < 2; given++) {
                assert_int_equal(rf_causality_fit(&d, given ? 1e-4 * sqrt(2) : 0, 0, w, &c, NULL), CODE_OK);
                assert_true(c.finding == RF_FINDING_GOOD && c.worst > 0.8 && c.worst < 1.3);
                assert_int_equal(sscanf(strstr(c.sentence, "noise of"), "noise of %lf", &noise), 1);
                assert_true(noise > 1.1e-4 && noise < 1.8e-4); /* 1.41e-4 */
        }
        for (int q = 0; q < 4; q++)
                for (size_t i = 0; i < 801; i++)
                        k.im[q][i] = -k.im[q][i]; /* e^{-jwt} */
        assert_int_equal(rf_causality_fit(&d, 0, 0, w, &c, NULL), CODE_OK);
        if (!(c.finding == RF_FINDING_BAD && c.worst > 3))
                fail_msg("%s", c.sentence);
        for (int q = 0; q < 4; q++)
                for (size_t i = 0; i < 801; i++) { /* arrives 1 ps before it was sent */
                        double complex z = CMPLX(k.re[q][i], -k.im[q][i]) * cexp(CMPLX(0, RF_TWO_PI * k.hz[i] * 5e-12));
                        k.re[q][i] = creal(z);
                        k.im[q][i] = cimag(z);
                }
        assert_int_equal(rf_causality_fit(&d, 0, 0, w, &c, NULL), CODE_OK);
        if (!(c.finding == RF_FINDING_BAD && c.worst > 3))
                fail_msg("%s", c.sentence);
        arena_free(k.arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(eigenvalues_as_lapack),
                cmocka_unit_test(hermitian_matrices),
                cmocka_unit_test(too_many_poles_are_dropped),
                cmocka_unit_test(order_grows_to_the_noise),
                cmocka_unit_test(six_and_a_half_decades),
                cmocka_unit_test(zero_hertz),
                cmocka_unit_test(small_models),
                cmocka_unit_test(bad_input_is_named),
                cmocka_unit_test(the_same_bytes_twice),
                cmocka_unit_test(only_the_given_memory),
                cmocka_unit_test(enforcement),
                cmocka_unit_test(causality),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
