/* evaluate_bench.h: a small measurement made of chain matrices, for the tests of evaluate/.  Written without rf/: boxes and devices are
   ABCD products, reflections are impedances seen through them, switch terms are put in by solving the waves.  Phasors e^{+jwt}, ABCD: [V1;
   I1] = M [V2; -I2]. */
#ifndef TESTS_EVALUATE_BENCH_H
#define TESTS_EVALUATE_BENCH_H
#include "base/json.h"
#include "evaluate/evaluate.h"
#include <complex.h>
#include <math.h>
#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#define TWO_PI 6.283185307179586476925286766559
#define J (CMPLX(0, 1))
enum { BENCH_POINTS = 221 };

struct chain_matrix {
        double complex a, b, c, d;
};
static inline struct chain_matrix times(struct chain_matrix x, struct chain_matrix y)
{
        struct chain_matrix r = {x.a * y.a + x.b * y.c, x.a * y.b + x.b * y.d, x.c * y.a + x.d * y.c, x.c * y.b + x.d * y.d};
        return r;
}
static inline struct chain_matrix in_series(double complex z) { return (struct chain_matrix){1, z, 0, 1}; }
static inline struct chain_matrix to_ground(double complex y) { return (struct chain_matrix){1, 0, y, 1}; }
static inline struct chain_matrix line(double complex gl, double complex zc)
{
        return (struct chain_matrix){ccosh(gl), zc * csinh(gl), csinh(gl) / zc, ccosh(gl)};
}

struct bench {
        struct arena *arena;
        double hz[BENCH_POINTS];
        double delay_s[2], loss_db[2]; /* drift of each port's tracking, one way, loss at the highest frequency */
        double noise;                  /* per component, relative to 1 */
        uint64_t random;
        struct recipe recipe;
        struct standard standards[8];
        struct use uses[8], checks[4];
        struct verification verify[2];
        struct device devices[3];
        struct measure measures[3];
        struct parameter_plan parameters[16];
        struct sweep_plan sweep;
        struct segment segment;
};

/* Receivers to tips: a coupler's mismatch, a lossy cable, a probe. */
static inline struct chain_matrix box(int port, double hz)
{
        double w = TWO_PI * hz, tau = port == 0 ? 31e-12 : 27e-12, loss = 0.3 * sqrt(hz / 220e9);
        struct chain_matrix m = times(to_ground(1 / 600.0 + J * w * 4e-15), line(loss + J * w * tau, port == 0 ? 46 : 53));
        return times(m, times(in_series(0.7 + J * w * 6e-12), to_ground(J * w * 7e-15)));
}
static inline struct chain_matrix turned(struct chain_matrix m)
{
        return (struct chain_matrix){m.d, m.b, m.c, m.a};
} /* of a reciprocal two-port */

static inline double bench_noise(struct bench *b)
{
        double sum = 0;
        for (int k = 0; k < 12; k++) { /* twelve uniforms less six: near enough to a normal of width 1 */
                b->random = b->random * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
                sum += (double)(b->random >> 11) * 0x1p-53;
        }
        return sum - 6;
}

static inline void s_of(struct chain_matrix m, double complex s[4])
{
        double complex den = m.a + m.b / 50 + m.c * 50 + m.d, det = m.a * m.d - m.b * m.c;
        s[0] = (m.a + m.b / 50 - m.c * 50 - m.d) / den;
        s[1] = 2 * det / den;
        s[2] = 2 / den;
        s[3] = (-m.a + m.b / 50 - m.c * 50 + m.d) / den;
}

/* What the receivers form of the network s at their own planes: the port that is not driven reflects gf (or gr).  From b = S a with a2 = gf
 * b2. */
static inline void formed(const double complex s[4], double complex gf, double complex gr, double complex m[4])
{
        double complex b2 = s[2] / (1 - s[3] * gf), b1 = s[1] / (1 - s[0] * gr);
        m[0] = s[0] + s[1] * gf * b2;
        m[2] = b2;
        m[1] = b1;
        m[3] = s[3] + s[2] * gr * b1;
}

static inline struct raw_sweep bench_room(struct bench *b)
{
        struct raw_sweep raw = {.n = BENCH_POINTS, .hz = b->hz};
        double **to[12] = {&raw.re[0], &raw.im[0], &raw.re[1], &raw.im[1], &raw.re[2], &raw.im[2],
                           &raw.re[3], &raw.im[3], &raw.gf_re, &raw.gf_im, &raw.gr_re, &raw.gr_im};
        for (int k = 0; k < 12; k++)
                *to[k] = arena_take(b->arena, (BENCH_POINTS + 8) * sizeof(double));
        return raw;
}
static inline void bench_store(struct bench *b, struct raw_sweep *raw, size_t i, double complex s[4])
{
        double w = TWO_PI * b->hz[i], top = b->hz[BENCH_POINTS - 1];
        double complex gf = 0.11 * cexp(-J * w * 22e-12), gr = 0.09 * cexp(-J * w * 19e-12), m[4], moved[2];
        for (int p = 0; p < 2; p++) /* drift lies between receivers and boxes, so that directivity moves with it as a cable's does */
                moved[p] = cexp(-J * w * b->delay_s[p]) * pow(10, -b->loss_db[p] / 20 * sqrt(b->hz[i] / top));
        s[0] *= moved[0] * moved[0];
        s[3] *= moved[1] * moved[1];
        s[1] *= moved[0] * moved[1];
        s[2] *= moved[0] * moved[1];
        formed(s, gf, gr, m);
        for (int k = 0; k < 4; k++) {
                raw->re[k][i] = creal(m[k]) + b->noise * bench_noise(b);
                raw->im[k][i] = cimag(m[k]) + b->noise * bench_noise(b);
        }
        raw->gf_re[i] = creal(gf);
        raw->gf_im[i] = cimag(gf);
        raw->gr_re[i] = creal(gr);
        raw->gr_im[i] = cimag(gr);
}

/* A two-port by its chain matrix at each frequency. */
typedef struct chain_matrix (*network)(double hz, const void *what);
static inline struct raw_sweep bench_two_port(struct bench *b, network of, const void *what)
{
        struct raw_sweep raw = bench_room(b);
        for (size_t i = 0; i < BENCH_POINTS; i++) {
                double complex s[4];
                s_of(times(box(0, b->hz[i]), times(of(b->hz[i], what), turned(box(1, b->hz[i])))), s);
                bench_store(b, &raw, i, s);
        }
        return raw;
}
/* An impedance at each port, no transmission. */
typedef double complex (*termination)(double hz, int port, const void *what);
static inline struct raw_sweep bench_reflections(struct bench *b, termination of, const void *what)
{
        struct raw_sweep raw = bench_room(b);
        for (size_t i = 0; i < BENCH_POINTS; i++) {
                double complex s[4] = {0};
                for (int p = 0; p < 2; p++) {
                        struct chain_matrix x = box(p, b->hz[i]);
                        double complex z = of(b->hz[i], p, what), in = (x.a * z + x.b) / (x.c * z + x.d);
                        s[3 * p] = (in - 50) / (in + 50);
                }
                bench_store(b, &raw, i, s);
        }
        return raw;
}

/* ---- standards as they are, by the numbers of their models -------------------------------------------------------------------------- */
struct touch {
        double r_ohm[2], l_h[2];
        bool hangs;
}; /* contact on top of the standard; hangs: a ground tip of port 1 is lost */
static inline double complex contact(const struct touch *t, double hz, int port)
{
        double w = TWO_PI * hz;
        if (!t)
                return 0;
        double complex z = t->r_ohm[port] + J * w * t->l_h[port];
        if (t->hangs && port == 0) { /* 40 pH that resonates at 70 GHz with a quality of 6 */
                double w0 = TWO_PI * 70e9, l = 40e-12;
                z += 1 / (1 / (6 * w0 * l) + 1 / (J * w * l) + J * w / (w0 * w0 * l));
        }
        return z;
}
struct placed {
        const struct standard *standard;
        const struct touch *touch;
};
static inline double complex reflection_z(double hz, int port, const void *what)
{
        const struct placed *p = what;
        const struct standard_model *m = &p->standard->model;
        double w = TWO_PI * hz;
        if (p->standard->kind == STANDARD_OPEN)
                return 1 / (J * w * m->c_f[0]);
        double complex z = p->standard->kind == STANDARD_SHORT ? 0 : m->r_ohm;
        return z + J * w * m->l_h[0] + contact(p->touch, hz, port);
}
static inline struct chain_matrix thru_chain(double hz, const void *what)
{
        const struct placed *p = what;
        struct chain_matrix m = line(J * TWO_PI * hz * p->standard->model.delay_s, 50);
        return times(in_series(contact(p->touch, hz, 0)), times(m, in_series(contact(p->touch, hz, 1))));
}
static inline struct raw_sweep bench_standard(struct bench *b, size_t k, const struct touch *t)
{
        struct placed p = {&b->standards[k], t};
        return b->standards[k].kind == STANDARD_THRU ? bench_two_port(b, thru_chain, &p) : bench_reflections(b, reflection_z, &p);
}

/* ---- a device with pads and leads --------------------------------------------------------------------------------------------------- */
struct pads {
        double c_f, l_h, r_ohm;
};
static const struct pads the_pads = {20e-15, 10e-12, 0.06};
struct dut {
        enum { DUT_INDUCTOR, DUT_CAPACITOR, DUT_RESISTOR, DUT_LINE, DUT_OPEN, DUT_SHORT, DUT_AIR } kind;
        double r, l, c;
        const struct touch *touch;
        bool open_tip;
};
static inline double complex dut_z(const struct dut *d, double hz)
{
        double w = TWO_PI * hz;
        switch (d->kind) {
        case DUT_INDUCTOR:
                return 1 / (1 / (d->r + J * w * d->l) + J * w * d->c);
        case DUT_CAPACITOR:
                return d->r + J * w * d->l + 1 / (J * w * d->c);
        default:
                return d->r + J * w * d->l;
        }
}
static inline struct chain_matrix dut_chain(double hz, const void *what)
{
        const struct dut *d = what;
        double w = TWO_PI * hz;
        double complex lead = the_pads.r_ohm + J * w * the_pads.l_h, pad = J * w * the_pads.c_f;
        struct chain_matrix in = times(to_ground(pad), in_series(lead)), out = times(in_series(lead), to_ground(pad));
        struct chain_matrix middle =
                d->kind == DUT_LINE ? line((20 * sqrt(hz / 1e11) + J * w * sqrt(4.0) / 299792458.0) * 300e-6, 60) : in_series(dut_z(d, hz));
        struct chain_matrix m = times(in, times(middle, out));
        return times(in_series(contact(d->touch, hz, 0)), times(m, in_series(contact(d->touch, hz, 1))));
}
static inline double complex dummy_z(double hz, int port, const void *what)
{
        const struct dut *d = what;
        double w = TWO_PI * hz;
        double complex pad = J * w * the_pads.c_f, lead = the_pads.r_ohm + J * w * the_pads.l_h;
        if (d->kind == DUT_AIR)
                return 1 / (J * w * -6.5e-15);
        double complex y = d->kind == DUT_OPEN ? pad : pad + 1 / lead;
        if (d->open_tip && port == 1) /* a tip that hovers 2 fF above its pad, with a raised tip's fringe */
                return 1 / (J * w * -6.5e-15 + 1 / (1 / (J * w * 2e-15) + 1 / y));
        return 1 / y + contact(d->touch, hz, port);
}
static inline struct raw_sweep bench_device(struct bench *b, const struct dut *d)
{
        return d->kind == DUT_OPEN || d->kind == DUT_SHORT || d->kind == DUT_AIR ? bench_reflections(b, dummy_z, d)
                                                                                 : bench_two_port(b, dut_chain, d);
}

/* A device behind the_pads, by its own chain matrix. */
struct inner {
        struct chain_matrix (*of)(double hz);
        const struct touch *touch;
        bool no_leads;
};
static inline struct chain_matrix pads_and_leads(double hz, const void *what)
{
        const struct inner *d = what;
        double complex w = J * TWO_PI * hz, lead = d->no_leads ? 0 : the_pads.r_ohm + w * the_pads.l_h, pad = w * the_pads.c_f;
        struct chain_matrix m = times(times(to_ground(pad), in_series(lead)), times(d->of(hz), times(in_series(lead), to_ground(pad))));
        return times(in_series(contact(d->touch, hz, 0)), times(m, in_series(contact(d->touch, hz, 1))));
}

static inline struct chain_matrix of_y(double complex y11, double complex y12, double complex y21, double complex y22)
{
        return (struct chain_matrix){-y22 / y21, -1 / y21, -(y11 * y22 - y12 * y21) / y21, -y11 / y21};
}

/* ---- the recipe that goes with it --------------------------------------------------------------------------------------------------- */
enum { OPEN_AIR, SHORT_A, LOAD_A, THRU_A, SHORT_B, THRU_B, LOAD_B };
static inline struct bench *bench_new(const char *method)
{
        struct bench *b = calloc(1, sizeof *b);
        static const char *const names[] = {"OPEN_AIR", "SHORT_A", "LOAD_A", "THRU_A", "SHORT_B", "THRU_B", "LOAD_B"};
        static const int kinds[] = {STANDARD_OPEN,  STANDARD_SHORT, STANDARD_LOAD, STANDARD_THRU,
                                    STANDARD_SHORT, STANDARD_THRU,  STANDARD_LOAD};
        b->arena = arena_new(0);
        b->random = 12345;
        for (size_t i = 0; i < BENCH_POINTS; i++)
                b->hz[i] = i == 0 ? 0.1e9 : 1e9 * (double)i * 0.5; /* 0.1, 0.5, 1 … 110 GHz */
        for (size_t k = 0; k < 7; k++) {
                struct standard *s = &b->standards[k];
                strcpy(s->name, names[k]);
                s->kind = kinds[k];
                s->place = PLACE_SUBSTRATE;
                s->raised = k == OPEN_AIR;
                s->model.c_f[0] = s->kind == STANDARD_OPEN ? -6.5e-15 : 0;
                s->model.l_h[0] = s->kind == STANDARD_SHORT ? 4e-12 : s->kind == STANDARD_LOAD ? 6e-12 : 0;
                s->model.r_ohm = s->kind == STANDARD_LOAD ? 50 : 0;
                s->model.delay_s = s->kind == STANDARD_THRU ? 1.45e-12 : 0;
                s->model.z_ohm = 50;
        }
        struct recipe *r = &b->recipe;
        r->standards = b->standards;
        r->standard_n = 7;
        strcpy(r->calibration.method, method);
        strcpy(r->calibration.sweep, "wide");
        for (size_t k = 0; k < 4; k++)
                strcpy(b->uses[k].standard, names[k]);
        r->calibration.standards = b->uses;
        r->calibration.standard_n = 4;
        r->calibration.switch_terms = strcmp(method, "solt") != 0;
        r->calibration.thru_delay_s = 1.4e-12;
        strcpy(b->verify[0].standard, "SHORT_B");
        strcpy(b->verify[1].standard, "THRU_B");
        b->verify[0].limit = b->verify[1].limit = 0.05;
        r->calibration.verify = b->verify;
        r->calibration.verify_n = 2;
        r->check.limits = (struct check_limits){.delay_fs = 25, .loss_db = 0.05, .contact_ohm = 0.1, .contact_h = 3e-12, .residual = 0.03};
        r->setup.contact_ohm_u = 0.005;
        r->setup.contact_h_u = 0.4e-12;
        r->setup.placement_um_u = 1;
        r->setup.temperature_c = 25;
        b->segment =
                (struct segment){.start_hz = 0.1e9, .stop_hz = 110e9, .points = BENCH_POINTS, .spacing = 2, .ifbw_hz = 100, .averages = 1};
        b->sweep.segments = &b->segment;
        b->sweep.segment_n = 1;
        strcpy(b->sweep.name, "wide");
        r->sweeps = &b->sweep;
        r->sweep_n = 1;
        strcpy(b->devices[0].name, "DUT");
        b->devices[0].kind = DEVICE_INDUCTOR;
        r->layout.devices = b->devices;
        r->layout.device_n = 1;
        struct measure *m = &b->measures[0];
        strcpy(m->device, "DUT");
        strcpy(m->sweep, "wide");
        m->contact = (struct contact_plan){.family = 1, .dc_ohm_low = 0.05, .dc_ohm_high = 100};
        m->deembed = DEEMBED_OPEN_SHORT;
        m->parameters = b->parameters;
        r->measures = b->measures;
        r->measure_n = 1;
        return b;
}
static inline void bench_free(struct bench *b)
{
        arena_free(b->arena);
        free(b);
}
/* The receiver of one port reads |m|^(1 + e), its phase is right. */
static inline void bench_bend(struct raw_sweep *raw, int port, double e)
{
        for (int k = 2 * port; k < 2 * port + 2; k++)
                for (size_t i = 0; i < raw->n; i++) {
                        double size = hypot(raw->re[k][i], raw->im[k][i]), by = size > 0 ? pow(size, e) : 1;
                        raw->re[k][i] *= by;
                        raw->im[k][i] *= by;
                }
}
static inline struct calibration *bench_calibrate_bent(struct bench *b, int port, double e)
{
        static const int which[] = {OPEN_AIR, SHORT_A, LOAD_A, THRU_A};
        struct raw_sweep *raw = arena_take(b->arena, 4 * sizeof *raw);
        struct standard_sweep of[4];
        struct calibration *c = NULL;
        struct tp_error err = {0};
        for (int k = 0; k < 4; k++) {
                raw[k] = bench_standard(b, (size_t)which[k], NULL);
                bench_bend(&raw[k], port, e);
                of[k] = (struct standard_sweep){which[k], &raw[k]};
        }
        if (calibration_solve(&b->recipe, of, 4, b->arena, &c, NULL, &err))
                fail_msg("%s", err.text);
        return c;
}
static inline struct calibration *bench_calibrate(struct bench *b) { return bench_calibrate_bent(b, 0, 0); }
/* One parameter of the only device. */
static inline struct parameter_plan *bench_ask(struct bench *b, int32_t quantity, double hz)
{
        struct parameter_plan *p = &b->parameters[b->measures[0].parameter_n++];
        *p = (struct parameter_plan){.quantity = quantity, .freq_hz = hz, .resolve_share_max = 0.3};
        snprintf(p->name, sizeof p->name, "p%zu", b->measures[0].parameter_n);
        return p;
}

/* A stored budget as it is read: the share of one cause of a scope ("scopes": of all of one), 0 where it is not named; and whether the recipe
   did not state a cause. */
static inline cJSON *bench_budget(const char *budget)
{
        cJSON *read = NULL;
        struct tp_error err = {0};
        if (json_read(budget, strlen(budget), JSON_DEPTH_MAX, &read, &err))
                fail_msg("%s: %s", budget, err.text);
        return read;
}
static inline double budget_percent(const char *budget, const char *scope, const char *name)
{
        cJSON *read = bench_budget(budget);
        const cJSON *share = cJSON_GetObjectItemCaseSensitive(cJSON_GetObjectItemCaseSensitive(read, scope), name);
        double percent = share ? share->valuedouble : 0;
        cJSON_Delete(read);
        return percent;
}
static inline bool budget_leaves_out(const char *budget, const char *name)
{
        cJSON *read = bench_budget(budget);
        const cJSON *one;
        bool found = false;
        cJSON_ArrayForEach(one, cJSON_GetObjectItemCaseSensitive(read, "not_counted")) found |= strcmp(one->valuestring, name) == 0;
        cJSON_Delete(read);
        return found;
}

#endif
