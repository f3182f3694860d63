/* rf_floor.h: how far a method's corrected devices lie from the truth, in rounding floors.
   The floor is the conditioning of the whole way from inputs to result, times one rounding of the inputs:
        floor = 2^-53 ( sum_k |x_k| |dS/dx_k| + |S| )
   x_k: every raw and ideal number of the standards, every raw number of the device, every error term,
   i.e. the largest error that storing inputs, terms and result as doubles can cause alone, to first order, however well one reckons.
   dS/dx_k is taken by central differences with steps far above the rounding, so that a solver's own losses do not raise the floor it is
   measured against. TIPPLANE_SEED=n takes another analyzer, line and set of standards.
   Use: add(b, …) for each standard, b->p for the rest of the problem, then within_the_floor(b, method). */
#ifndef TIPPLANE_TESTS_RF_FLOOR_H
#define TIPPLANE_TESTS_RF_FLOOR_H
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <inttypes.h>
#include <string.h>
#include "rf/calibrate/calibration.h"
#include "rf/correct/correct.h"
#include "rf_synth.h"

enum { N = 48, SEEDS = 6 };

struct bench {
        struct synth *s;
        struct problem p;
        struct rf_standard standards[RF_STANDARD_MAX];
        const char *method;
        synth_device *const *devices, *const *truth; /* truth: NULL, or the devices in another impedance */
        struct net2 *raw[SYNTH_DEVICES];
        struct m2 *got, *side[2]; /* [SYNTH_DEVICES * N] */
        double (*floor_)[4];
        struct terms terms;
        struct diagnosis diagnosis;
        void *workspace;
};

static inline void devices_set(struct bench *b, synth_device *const *devices)
{
        b->devices = devices;
        for (size_t d = 0; d < SYNTH_DEVICES; d++)
                b->raw[d] = synth_raw(b->s, devices[d], NULL);
}

static inline struct bench *bench_new(uint64_t seed)
{
        struct arena *arena = arena_new(0);
        struct bench *b = arena_take(arena, sizeof *b);
        double hz[N];
        synth_grid(N, 70e3, 220e9, hz);
        b->s = synth_new(arena, seed, N, hz);
        b->p = (struct problem){.axis = &b->s->axis, .standards = b->standards, .switch_terms = &b->s->sw};
        devices_set(b, synth_devices);
        b->got = arena_take(arena, SYNTH_DEVICES * N * sizeof *b->got);
        for (int k = 0; k < 2; k++)
                b->side[k] = arena_take(arena, SYNTH_DEVICES * N * sizeof *b->got);
        b->floor_ = arena_take(arena, SYNTH_DEVICES * N * sizeof *b->floor_);
        b->terms = terms_at(arena_take(arena, terms_bytes(N)), &b->s->axis);
        b->diagnosis = diagnosis_at(arena_take(arena, diagnosis_bytes(N)), &b->s->axis);
        return b;
}

/* A standard as read and, where `known`, as it is. */
static inline struct rf_standard *add(struct bench *b, enum rf_standard_kind kind, synth_device *device, const void *with, bool known)
{
        struct rf_standard *s = &b->standards[b->p.standard_n++];
        *s = (struct rf_standard){
                .kind = kind, .raw = synth_raw(b->s, device, with), .ideal = known ? synth_ideal(b->s, device, with) : NULL};
        return s;
}

static inline void solve(struct bench *b)
{
        const struct method *m = rf_method(b->method);
        assert_non_null(m);
        if (!b->workspace)
                b->workspace = arena_take(b->s->arena, m->workspace_bytes(N, b->p.standard_n));
        struct tp_error err = {0};
        if (m->solve(&b->p, b->workspace, &b->terms, NULL, &b->diagnosis, &err))
                fail_msg("TIPPLANE_SEED=%" PRIu64 " %s: %s", b->s->seed, b->method, err.text);
}

/* Both reflections; nothing is known of what passes through. */
static inline void correct_one_port(struct bench *b, struct m2 *ret)
{
        for (size_t d = 0; d < SYNTH_DEVICES; d++) {
                double re[2][N], im[2][N];
                for (int port = 0; port < 2; port++)
                        rf_correct1(&b->terms, port + 1, b->raw[d]->re[3 * port], b->raw[d]->im[3 * port], re[port], im[port], NULL);
                for (size_t i = 0; i < N; i++)
                        ret[d * N + i] = m2_diag(CMPLX(re[0][i], im[0][i]), CMPLX(re[1][i], im[1][i]));
        }
}

static inline void correct(struct bench *b, struct m2 *ret)
{
        if (b->terms.model == TERMS_ONE_PORT) {
                correct_one_port(b, ret);
                return;
        }
        for (size_t d = 0; d < SYNTH_DEVICES; d++)
                for (size_t i = 0; i < N; i++) {
                        struct m2 m = net2_get(b->raw[d], i);
                        if (b->terms.switch_removed)
                                m = rf_switch_remove_point(m, CMPLX(b->s->sw.f_re[i], b->s->sw.f_im[i]),
                                                           CMPLX(b->s->sw.r_re[i], b->s->sw.r_im[i]));
                        ret[d * N + i] = rf_correct2_point(&b->terms, i, m);
                }
}

/* Adds |x| |dS/dx| 2^-53 of one column x = re + j im; `again`: the terms depend on it. */
static inline void move(struct bench *b, double *re, const double *im, bool again)
{
        const double h = 1e-11; /* far below |g dl|^2 of a pair of lines at 70 kHz, far above 2^-53 */
        double kept[N];
        memcpy(kept, re, sizeof kept);
        for (int up = 0; up < 2; up++) {
                for (size_t i = 0; i < N; i++)
                        re[i] = kept[i] + (up ? h : -h);
                if (again)
                        solve(b);
                correct(b, b->side[up]);
        }
        memcpy(re, kept, sizeof kept);
        for (size_t k = 0; k < SYNTH_DEVICES * N; k++)
                for (int o = 0; o < 4; o++)
                        b->floor_[k][o] +=
                                SYNTH_ULP * hypot(re[k % N], im[k % N]) * cabs(b->side[1][k].e[o] - b->side[0][k].e[o]) / (2 * h);
}

static inline void within_the_floor(struct bench *b, const char *word)
{
        b->method = word;
        for (size_t k = 0; k < SYNTH_DEVICES * N; k++)
                for (int o = 0; o < 4; o++)
                        b->floor_[k][o] = 0;
        for (size_t k = 0; k < b->p.standard_n; k++) {
                struct net2 *nets[2] = {(struct net2 *)(uintptr_t)b->standards[k].raw, (struct net2 *)(uintptr_t)b->standards[k].ideal};
                for (int j = 0; j < 2; j++)
                        for (int e = 0; e < 4 && nets[j]; e++)
                                move(b, nets[j]->re[e], nets[j]->im[e], true);
        }
        solve(b);
        for (int term = 0; term < TERM_COUNT; term++)
                if (!isnan(b->terms.re[term][0])) /* one-port terms have no others */
                        move(b, b->terms.re[term], b->terms.im[term], false);
        for (size_t d = 0; d < SYNTH_DEVICES; d++)
                for (int e = 0; e < 4; e++) {
                        double before[SYNTH_DEVICES * N][4];
                        memcpy(before, b->floor_, sizeof before);
                        move(b, b->raw[d]->re[e], b->raw[d]->im[e], false);
                        for (size_t k = 0; k < SYNTH_DEVICES * N; k++) /* a device's own raw data move that device only */
                                if (k / N != d)
                                        memcpy(b->floor_[k], before[k], sizeof before[k]);
                }
        correct(b, b->got);
        double worst = 0, worst_hz = 0, error = 0;
        for (size_t d = 0; d < SYNTH_DEVICES; d++)
                for (size_t i = 0; i < N; i++) {
                        struct wm2 truth = (b->truth ? b->truth : b->devices)[d](b->s, i, NULL);
                        double most = 0, floor_ = 0, off = wm2_distance(b->got[d * N + i], truth);
                        for (int o = 0; o < 4; o++) {
                                floor_ = fmax(floor_, b->floor_[d * N + i][o]);
                                most = fmax(most, (double)cabsl(truth.e[o]));
                        }
                        double ratio = off / (floor_ + SYNTH_ULP * most);
                        if (!(ratio <= worst)) {
                                worst = ratio;
                                worst_hz = b->s->axis.hz[i];
                                error = off;
                        }
                }
        print_message("%-14s seed %-4" PRIu64 " at most %.2f of the floor, at %.3g Hz (error %.2g)\n", word, b->s->seed, worst, worst_hz,
                      error);
        if (!(worst <= 4))
                fail_msg("TIPPLANE_SEED=%" PRIu64 " %s: %.3g times the rounding floor at %.4g Hz", b->s->seed, word, worst, worst_hz);
}

static inline void each_seed(void (*one)(struct bench *))
{
        uint64_t first = synth_seed(1), last = getenv("TIPPLANE_SEED") ? first : SEEDS;
        for (uint64_t seed = first; seed <= last; seed++) {
                struct bench *b = bench_new(seed);
                one(b);
                arena_free(b->s->arena);
        }
}

/* An open, a short and a load, unlike at the two ports, by definitions of this seed. */
static inline void add_lumped(struct bench *b)
{
        struct synth *s = b->s;
        add(b, RF_OPEN, synth_open, &(struct synth_two){{synth_draw(s, -9e-15, 3e-15), synth_draw(s, -9e-15, 3e-15)}}, true);
        add(b, RF_SHORT, synth_short, &(struct synth_two){{synth_draw(s, 1e-12, 5e-12), synth_draw(s, 1e-12, 5e-12)}}, true);
        add(b, RF_LOAD, synth_load,
            &(struct synth_loads){{{.r = synth_draw(s, 48, 52), .l = synth_draw(s, -5e-12, 9e-12)},
                                   {.r = synth_draw(s, 48, 52), .l = synth_draw(s, -5e-12, 9e-12)}}},
            true);
}

/* Lines of these lengths and a short as reflect, in this seed's line; planes at the tips, results in its impedance. */
static inline void add_lines(struct bench *b, size_t n, const double *length_m)
{
        for (size_t k = 0; k < n; k++)
                add(b, RF_LINE, synth_line, &length_m[k], false)->length_m = length_m[k];
        long double l = synth_draw(b->s, 2e-12, 6e-12);
        add(b, RF_REFLECT, synth_short, &(struct synth_two){{l, l}}, false);
        b->p.eps_eff_guess = (double)(b->s->line.l * b->s->line.c) * RF_C0_M_S * RF_C0_M_S;
        b->p.reflect_estimate = -1;
        b->p.reflect_offset_m = b->p.plane_shift_m = -length_m[0] / 2;
        b->p.plane_shifted = PLANE_TIP;
}
/* The same results in 50 ohm. */
static inline void tell_line_c(struct bench *b)
{
        b->p.line_c_f_m = (double)b->s->line.c;
        b->p.line_loss_tangent = (double)b->s->line.tan_d;
}

#define EACH(name)                                                     \
        static void name##_errs_by_less_than_four_floors(void **state) \
        {                                                              \
                (void)state;                                           \
                each_seed(name);                                       \
        }
#endif
