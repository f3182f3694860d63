/* rf_synth.h: synthetic raw data whose truth is known in extended precision, for tests of rf/ and of what uses it.

   An analyzer with two error boxes and switch terms reads devices and standards that are plain formulas of frequency.  Everything is
   reckoned in long double (64 bit mantissa on x86) by solving the wave equations of the whole chain, never by inverting a calibration; only
   synth_raw() and synth_ideal() round, once, to double.  One seed is one analyzer, one line, one set of devices.

     struct synth *s = synth_new(arena, synth_seed(7), n, hz);      hz: any rising list, 70 kHz to 220 GHz is what it is made for
     struct net2 *raw = synth_raw(s, synth_open, &(struct synth_two){{-6e-15L, -6e-15L}});
     synth_noise(s, raw, 1e-4);                                   circular normal, standard deviation per component

   A device is a function of (synth, point, what belongs to it) that gives S in 50 ohm; write your own beside those below. */
#ifndef TIPPLANE_TESTS_RF_SYNTH_H
#define TIPPLANE_TESTS_RF_SYNTH_H
#include <complex.h>
#undef I
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include "base/arena.h"
#include "rf/calibrate/calibration.h"

typedef _Complex long double wide;
#define SYNTH_PI 3.14159265358979323846264338327950288L
#define SYNTH_C0 299792458.0L
#define SYNTH_ULP 0x1p-53 /* half the distance from 1 to the next double: the largest relative error of one rounding */
static inline wide wide_of(long double re, long double im) { return CMPLXL(re, im); }
static inline double complex wide_round(wide x) { return CMPLX((double)creall(x), (double)cimagl(x)); }

/* ---- 2x2 matrices, order 11 12 21 22 ------------------------------------------------------------------------------------------------- */

struct wm2 {
        wide e[4];
};
static inline struct wm2 wm2_of(wide a, wide b, wide c, wide d) { return (struct wm2){{a, b, c, d}}; }
static inline struct wm2 wm2_mul(struct wm2 a, struct wm2 b)
{
        return wm2_of(a.e[0] * b.e[0] + a.e[1] * b.e[2], a.e[0] * b.e[1] + a.e[1] * b.e[3], a.e[2] * b.e[0] + a.e[3] * b.e[2],
                      a.e[2] * b.e[1] + a.e[3] * b.e[3]);
}
static inline struct wm2 wm2_add(struct wm2 a, struct wm2 b, wide k) /* a + k b */
{
        return wm2_of(a.e[0] + k * b.e[0], a.e[1] + k * b.e[1], a.e[2] + k * b.e[2], a.e[3] + k * b.e[3]);
}
static inline struct wm2 wm2_inv(struct wm2 a)
{
        wide d = a.e[0] * a.e[3] - a.e[1] * a.e[2];
        return wm2_of(a.e[3] / d, -a.e[1] / d, -a.e[2] / d, a.e[0] / d);
}
/* S in z of an ABCD matrix, and S moved from z to z' (pseudo-waves, same z at both ports). */
static inline struct wm2 wm2_s_from_abcd(struct wm2 m, wide z)
{
        wide b = m.e[1] / z, c = m.e[2] * z, d = m.e[0] + b + c + m.e[3];
        return wm2_of((m.e[0] + b - c - m.e[3]) / d, 2 * (m.e[0] * m.e[3] - m.e[1] * m.e[2]) / d, 2 / d, (-m.e[0] + b - c + m.e[3]) / d);
}
static inline struct wm2 wm2_renormalise(struct wm2 s, wide from, wide to)
{
        wide r = (to - from) / (to + from);
        struct wm2 one = wm2_of(1, 0, 0, 1);
        return wm2_mul(wm2_add(s, one, -r), wm2_inv(wm2_add(one, s, -r)));
}
/* Largest |a - b| of a double result against the truth. */
static inline double wm2_distance(struct m2 got, struct wm2 truth)
{
        double worst = 0;
        for (int k = 0; k < 4; k++) {
                double d = (double)cabsl((wide)got.e[k] - truth.e[k]);
                if (!(d <= worst))
                        worst = d; /* NaN wins */
        }
        return worst;
}

/* ---- the analyzer -------------------------------------------------------------------------------------------------------------------- */

struct synth_path {
        long double size, drop, tau, turn; /* size e^{-drop sqrt(f/220 GHz)} e^{j turn - jw tau} */
};
struct synth_line {
        long double rdc, rs, l, c, tan_d; /* ohm/m; ohm/m/sqrt(Hz); H/m; F/m; G = wC tan_d */
};
struct synth {
        struct arena *arena;
        uint64_t random, seed;
        struct axis axis;
        struct synth_path path[10]; /* X: e00 e01 e10 e11; Y: e22 e23 e32 e33; switch terms forward, reverse */
        struct synth_line line;
        struct switch_terms sw; /* what the calibration is told; the analyzer has exactly these doubles */
};

static inline double synth_draw(struct synth *s, double lo, double hi) /* uniform; splitmix64 */
{
        s->random += 0x9e3779b97f4a7c15u;
        uint64_t z = s->random;
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
        return lo + (hi - lo) * (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}
static inline double complex synth_normal(struct synth *s) /* circular, variance 1 per component */
{
        double u = synth_draw(s, 0x1p-53, 1), a = synth_draw(s, 0, 2 * (double)SYNTH_PI);
        return sqrt(-2 * log(u)) * CMPLX(cos(a), sin(a));
}
static inline long double synth_w(const struct synth *s, size_t i) { return 2 * SYNTH_PI * (long double)s->axis.hz[i]; }
static inline wide synth_path_at(const struct synth *s, size_t i, int k)
{
        const struct synth_path *p = &s->path[k];
        long double r = sqrtl((long double)s->axis.hz[i] / 220e9L);
        return p->size * expl(-p->drop * r) * cexpl(wide_of(0, p->turn - synth_w(s, i) * p->tau));
}
/* TIPPLANE_SEED repeats one seed; otherwise the fixed one. */
static inline uint64_t synth_seed(uint64_t fixed)
{
        const char *only = getenv("TIPPLANE_SEED");
        return only ? strtoull(only, NULL, 10) : fixed;
}
/* n points, logarithmic from lo to hi; hz must have room.  The ends are exact. */
static inline void synth_grid(size_t n, double lo, double hi, double *hz)
{
        for (size_t i = 0; i < n; i++)
                hz[i] = n == 1 || i == 0 ? lo : i + 1 == n ? hi : lo * pow(hi / lo, (double)i / (double)(n - 1));
}
/* hz is copied.  Directivity -38 … -14 dB and source match -32 … -12 dB rise with f, tracking falls to -9 dB and more; none of the boxes is
   reciprocal. */
static inline struct synth *synth_new(struct arena *arena, uint64_t seed, size_t n, const double *hz)
{
        struct synth *s = arena_take(arena, sizeof *s);
        *s = (struct synth){.arena = arena, .random = seed * 7919 + 17, .seed = seed};
        double *list = arena_take(arena, n * sizeof *list);
        for (size_t i = 0; i < n; i++)
                list[i] = hz[i];
        if (axis_of(n, list, &s->axis, NULL))
                abort();
        for (int k = 0; k < 10; k++) {
                bool through = k == 1 || k == 2 || k == 5 || k == 6;
                s->path[k] = (struct synth_path){.size = synth_draw(s, through ? 0.9 : 0.015, through ? 1 : 0.05),
                                                 .drop = synth_draw(s, through ? 0.6 : -2, through ? 1.2 : -1),
                                                 .tau = synth_draw(s, through ? 150e-12 : 20e-12, through ? 250e-12 : 70e-12),
                                                 .turn = synth_draw(s, through ? -0.1 : -3, through ? 0.1 : 3)};
        }
        s->line = (struct synth_line){.rdc = synth_draw(s, 500, 4000),
                                      .rs = synth_draw(s, 0.005, 0.02),
                                      .l = synth_draw(s, 3.2e-7, 4.8e-7),
                                      .c = synth_draw(s, 1.2e-10, 1.7e-10),
                                      .tan_d = synth_draw(s, 1e-4, 2e-3)};
        s->sw = switch_terms_at(arena_take(arena, switch_terms_bytes(n)), &s->axis);
        for (size_t i = 0; i < n; i++) {
                double complex f = wide_round(synth_path_at(s, i, 8)), r = wide_round(synth_path_at(s, i, 9));
                s->sw.f_re[i] = creal(f), s->sw.f_im[i] = cimag(f);
                s->sw.r_re[i] = creal(r), s->sw.r_im[i] = cimag(r);
        }
        return s;
}

/* What the receivers form at point i with s between the tips: a = (1 - E4 S)^{-1} E3 a0, b0 = E1 a0 + E2 S a, then the switch (Marks, 50th
   ARFTG, 1997). */
static inline struct wm2 synth_read(const struct synth *s, size_t i, struct wm2 d)
{
        wide v[8];
        for (int k = 0; k < 8; k++)
                v[k] = synth_path_at(s, i, k);
        struct wm2 e1 = wm2_of(v[0], 0, 0, v[7]), e2 = wm2_of(v[1], 0, 0, v[6]), e3 = wm2_of(v[2], 0, 0, v[5]),
                   e4 = wm2_of(v[3], 0, 0, v[4]);
        struct wm2 a = wm2_mul(wm2_inv(wm2_add(wm2_of(1, 0, 0, 1), wm2_mul(e4, d), -1)), e3);
        struct wm2 m = wm2_add(e1, wm2_mul(e2, wm2_mul(d, a)), 1);
        wide gf = wide_of(s->sw.f_re[i], s->sw.f_im[i]), gr = wide_of(s->sw.r_re[i], s->sw.r_im[i]), t = m.e[1] * m.e[2];
        return wm2_of(m.e[0] + t * gf / (1 - m.e[3] * gf), m.e[1] / (1 - m.e[0] * gr), m.e[2] / (1 - m.e[3] * gf),
                      m.e[3] + t * gr / (1 - m.e[0] * gr));
}

typedef struct wm2 synth_device(const struct synth *s, size_t i, const void *with);
static inline struct net2 *synth_net(const struct synth *s, enum plane plane)
{
        struct net2 *net = arena_take(s->arena, sizeof *net);
        *net = net2_at(arena_take(s->arena, net2_bytes(s->axis.n)), &s->axis, plane);
        return net;
}
static inline void synth_put(struct net2 *net, size_t i, struct wm2 m)
{
        for (int k = 0; k < 4; k++) {
                net->re[k][i] = (double)creall(m.e[k]);
                net->im[k][i] = (double)cimagl(m.e[k]);
        }
}
/* As the analyzer reads it (PLANE_RECEIVER, switch terms inside), and as it is (PLANE_TIP, 50 ohm).  The arena's. */
static inline struct net2 *synth_raw(const struct synth *s, synth_device *device, const void *with)
{
        struct net2 *net = synth_net(s, PLANE_RECEIVER);
        for (size_t i = 0; i < s->axis.n; i++)
                synth_put(net, i, synth_read(s, i, device(s, i, with)));
        return net;
}
static inline struct net2 *synth_ideal(const struct synth *s, synth_device *device, const void *with)
{
        struct net2 *net = synth_net(s, PLANE_TIP);
        for (size_t i = 0; i < s->axis.n; i++)
                synth_put(net, i, device(s, i, with));
        return net;
}
static inline void synth_noise(struct synth *s, struct net2 *net, double u)
{
        for (size_t i = 0; i < net->axis->n; i++)
                for (int k = 0; k < 4; k++) {
                        double complex x = u * synth_normal(s);
                        net->re[k][i] += creal(x);
                        net->im[k][i] += cimag(x);
                }
}

/* ---- standards ----------------------------------------------------------------------------------------------------------------------- */

static inline wide synth_g_of_z(wide z) { return (z - 50) / (z + 50); }
static inline struct wm2 wm2_two(wide g1, wide g2) { return wm2_of(g1, 0, 0, g2); }
struct synth_two {
        long double port[2];
};
static inline struct wm2 synth_open(const struct synth *s, size_t i, const void *with) /* C, farad, per port */
{
        const long double *c = ((const struct synth_two *)with)->port;
        wide y[2] = {wide_of(0, 50 * synth_w(s, i) * c[0]), wide_of(0, 50 * synth_w(s, i) * c[1])};
        return wm2_two((1 - y[0]) / (1 + y[0]), (1 - y[1]) / (1 + y[1]));
}
static inline struct wm2 synth_short(const struct synth *s, size_t i, const void *with) /* L, henry, per port */
{
        const long double *l = ((const struct synth_two *)with)->port;
        return wm2_two(synth_g_of_z(wide_of(0, synth_w(s, i) * l[0])), synth_g_of_z(wide_of(0, synth_w(s, i) * l[1])));
}
/* (R + jwL) parallel C behind a line: delay, loss as skin effect (ohm/s at 1 GHz), z_off; the common trade model. */
struct synth_load {
        long double r, l, c, delay, loss, z_off;
};
static inline wide synth_load_at(const struct synth *s, size_t i, const struct synth_load *d)
{
        long double w = synth_w(s, i);
        wide z = wide_of(d->r, w * d->l), y = 1 / z + wide_of(0, w * d->c), g = (1 - 50 * y) / (1 + 50 * y);
        if (d->delay == 0)
                return g;
        long double skin = d->loss * sqrtl(w / (2 * SYNTH_PI * 1e9L)), al = d->delay * skin / (2 * d->z_off);
        wide zc = d->z_off + wide_of(1, -1) * (skin / (2 * w)), e = cexpl(-2 * wide_of(al, w * d->delay + al)),
             zin = 50 * (1 + g) / (1 - g);
        wide in = (zin - zc) / (zin + zc) * e, out = zc * (1 + in) / (1 - in);
        return synth_g_of_z(out);
}
struct synth_loads {
        struct synth_load port[2];
};
static inline struct wm2 synth_load(const struct synth *s, size_t i, const void *with)
{
        const struct synth_loads *d = with;
        return wm2_two(synth_load_at(s, i, &d->port[0]), synth_load_at(s, i, &d->port[1]));
}

/* The line of this seed: gamma (1/m) and Zc (ohm) from R L G C with skin effect, a diffusion line at 70 kHz. */
static inline void synth_gamma_zc(const struct synth *s, size_t i, wide *ret_gamma, wide *ret_zc)
{
        const struct synth_line *p = &s->line;
        long double f = (long double)s->axis.hz[i], w = synth_w(s, i), skin = p->rs * sqrtl(f), turn = expl(-f / 3e9L);
        wide z = wide_of(sqrtl(p->rdc * p->rdc + skin * skin), w * (p->l + skin / w * (1 - turn) + 1.2e-7L * turn));
        wide y = wide_of(w * p->c * p->tan_d, w * p->c);
        wide g = csqrtl(z * y), zc = csqrtl(z / y);
        *ret_gamma = creall(g) < 0 ? -g : g;
        *ret_zc = creall(zc) < 0 ? -zc : zc;
}
static inline struct wm2 synth_abcd_line(wide gl, wide zc)
{
        wide e = cexpl(gl), co = (e + 1 / e) / 2, si = (e - 1 / e) / 2;
        return wm2_of(co, zc * si, si / zc, co);
}
static inline struct wm2 synth_line(const struct synth *s, size_t i, const void *length_m) /* const double * */
{
        wide g, zc;
        synth_gamma_zc(s, i, &g, &zc);
        wide e = cexpl(-g * (long double)*(const double *)length_m);
        return wm2_renormalise(wm2_of(0, e, e, 0), zc, 50);
}
/* A matched thru of 50 ohm: delay in s, loss in neper at 220 GHz growing as sqrt f; z_ohm 0 is 50. */
struct synth_thru {
        long double delay, neper, z_ohm;
};
static inline struct wm2 synth_thru(const struct synth *s, size_t i, const void *with)
{
        const struct synth_thru *t = with;
        wide e = cexpl(-wide_of(t->neper * sqrtl((long double)s->axis.hz[i] / 220e9L), synth_w(s, i) * t->delay));
        struct wm2 m = wm2_of(0, e, e, 0);
        return t->z_ohm > 0 ? wm2_renormalise(m, t->z_ohm, 50) : m;
}

/* ---- devices ------------------------------------------------------------------------------------------------------------------------- */

static inline struct wm2 synth_inductor(const struct synth *s, size_t i, const void *with)
{
        (void)with;
        long double w = synth_w(s, i), k = 0.5L + (long double)(s->seed % 7) / 6;
        wide y1 = 1 / (40 + 1 / wide_of(0, w * 14e-15L * k)), y2 = 1 / (55 + 1 / wide_of(0, w * 11e-15L));
        wide z = wide_of(1.1L * sqrtl(1 + (long double)s->axis.hz[i] / 10e9L), w * 120e-12L * k);
        return wm2_s_from_abcd(wm2_mul(wm2_of(1, 0, y1, 1), wm2_mul(wm2_of(1, z, 0, 1), wm2_of(1, 0, y2, 1))), 50);
}
static inline struct wm2 synth_fet(const struct synth *s, size_t i, const void *with) /* not reciprocal */
{
        (void)with;
        long double w = synth_w(s, i), k = 0.7L + (long double)(s->seed % 5) / 8;
        wide gm = 0.06L * k * cexpl(wide_of(0, -w * 0.4e-12L)), gd = wide_of(0, w * 9e-15L);
        struct wm2 z = wm2_inv(wm2_of(wide_of(0, w * 40e-15L * k) + gd, -gd, gm - gd, wide_of(0.006L, w * 12e-15L) + gd));
        z.e[0] += 5.5L, z.e[1] += 1.5L, z.e[2] += 1.5L, z.e[3] += 1.5L;
        struct wm2 f = wm2_of(50, 0, 0, 50);
        return wm2_mul(wm2_add(z, f, -1), wm2_inv(wm2_add(z, f, 1)));
}
static inline struct wm2 synth_attenuator(const struct synth *s, size_t i, const void *with) /* reciprocal, unequal ends */
{
        (void)with;
        wide e = cexpl(-wide_of(0.8L, synth_w(s, i) * 2e-12L));
        return wm2_of(0.2L + 0.1L * e, 0.8L * e, 0.8L * e, -0.3L * e * e);
}
static inline struct wm2 synth_isolator(const struct synth *s, size_t i, const void *with) /* two reflections, nothing between */
{
        (void)with;
        long double w = synth_w(s, i);
        return wm2_two(synth_g_of_z(wide_of(20, w * 60e-12L)), synth_g_of_z(wide_of(130, w * 10e-12L)));
}
static synth_device *const synth_devices[] = {synth_inductor, synth_fet, synth_attenuator, synth_isolator};
#define SYNTH_DEVICES (sizeof synth_devices / sizeof synth_devices[0])

#endif
