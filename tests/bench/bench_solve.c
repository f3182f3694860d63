/* bench_solve.c: what a point costs to solve by each method, to de-embed and to fit, on synthetic data from 70 kHz to 220 GHz; with the
   workspace over the input and the allocations made meanwhile.

   bench_solve              one JSON object
   bench_solve --write DIR  the same raw data as .s2p files, for bench_rf.py to time scikit-rf on: METHOD_K.s2p, METHOD_ideal_K.s2p, … */
#include <malloc.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include "formats/touchstone.h"
#include "rf/calibrate/calibration.h"
#include "rf/correct/correct.h"
#include "rf/deembed/deembed.h"
#include "rf/models/circuit.h"
#include "rf/models/vector_fit.h"
#include "tests/unit/rf_synth.h"

enum { POINTS = 1001, ROUNDS = 7, RUN_NS = 20000000 };

static double seconds(void)
{
        struct timespec t;
        clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
        return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}
static int by_value(const void *a, const void *b)
{
        return (*(const double *)a > *(const double *)b) - (*(const double *)a < *(const double *)b);
}

struct load {
        const char *word;
        struct synth *s;
        struct problem p;
        struct rf_standard standards[RF_STANDARD_MAX];
        struct terms terms;
        struct diagnosis diagnosis;
        void *workspace;
        size_t workspace_n;
};

static struct rf_standard *add(struct load *l, enum rf_standard_kind kind, synth_device *device, const void *with, bool known)
{
        struct rf_standard *s = &l->standards[l->p.standard_n++];
        *s = (struct rf_standard){
                .kind = kind, .raw = synth_raw(l->s, device, with), .ideal = known ? synth_ideal(l->s, device, with) : NULL};
        return s;
}
static void reflections(struct load *l, bool known)
{
        add(l, RF_OPEN, synth_open, &(struct synth_two){{-6e-15L, -6e-15L}}, known);
        add(l, RF_SHORT, synth_short, &(struct synth_two){{3e-12L, 3e-12L}}, known);
        add(l, RF_LOAD, synth_load, &(struct synth_loads){{{.r = 50, .l = 4e-12L}, {.r = 50, .l = 4e-12L}}}, true);
}
static void thru(struct load *l, bool known) { add(l, RF_THRU, synth_thru, &(struct synth_thru){0.9e-12L, 0, 0}, known); }
static void lines(struct load *l, size_t n)
{
        static double length[5] = {200e-6, 450e-6, 900e-6, 1800e-6, 3500e-6};
        for (size_t k = 0; k < n; k++)
                add(l, RF_LINE, synth_line, &length[k], false)->length_m = length[k];
        add(l, RF_REFLECT, synth_short, &(struct synth_two){{3e-12L, 3e-12L}}, false);
        l->p.eps_eff_guess = (double)(l->s->line.l * l->s->line.c) * RF_C0_M_S * RF_C0_M_S;
        l->p.reflect_estimate = -1;
        l->p.reflect_offset_m = l->p.plane_shift_m = -length[0] / 2;
        l->p.plane_shifted = PLANE_TIP;
        l->p.line_c_f_m = (double)l->s->line.c;
        l->p.line_loss_tangent = (double)l->s->line.tan_d;
}
static void sol(struct load *l) { reflections(l, true); }
static void solt(struct load *l) { reflections(l, true), thru(l, true); }
static void unknown_thru(struct load *l)
{
        reflections(l, true), thru(l, false);
        l->p.thru_delay_s_guess = 1e-12;
}
static void lrm(struct load *l)
{
        thru(l, true);
        add(l, RF_OPEN, synth_open, &(struct synth_two){{-6e-15L, -6e-15L}}, false);
        add(l, RF_LOAD, synth_load, &(struct synth_loads){{{.r = 50}, {.r = 50}}}, true);
}
static void lrrm(struct load *l) { thru(l, true), reflections(l, false); }
static void trl(struct load *l) { lines(l, 2); }
static void multiline(struct load *l) { lines(l, 5); }
static void sixteen(struct load *l)
{
        static const struct synth_load open = {.r = 1e9L, .c = 0}, load = {.r = 50, .l = 4e-12L};
        reflections(l, true), thru(l, true);
        add(l, RF_KNOWN, synth_load, &(struct synth_loads){{open, load}}, true);
        add(l, RF_KNOWN, synth_load, &(struct synth_loads){{load, open}}, true);
}
static void known(struct load *l) { reflections(l, true), thru(l, true); }

static const struct {
        const char *word;
        void (*fill)(struct load *);
} methods[] = {{"sol", sol},   {"solt", solt}, {"unknown_thru", unknown_thru}, {"known_standards", known}, {"lrm", lrm},
               {"lrrm", lrrm}, {"trl", trl},   {"multiline_trl", multiline},   {"sixteen_term", sixteen}};
enum { METHODS = sizeof methods / sizeof methods[0] };

static bool solve(struct load *l)
{
        struct tp_error err = {0};
        if (!rf_method(l->word)->solve(&l->p, l->workspace, &l->terms, NULL, &l->diagnosis, &err))
                return true;
        fprintf(stderr, "%s: %s\n", l->word, err.text);
        return false;
}

struct run {
        bool (*once)(void *);
        void *with;
};
/* Median of the rounds, ns for each point; the work is repeated until a round lasts RUN_NS. */
static double time_of(struct run r, size_t points, double *ret_spread, size_t *ret_allocated)
{
        double t[ROUNDS], t0 = seconds();
        struct mallinfo2 before = mallinfo2();
        if (!r.once(r.with))
                return -1;
        struct mallinfo2 after = mallinfo2();
        *ret_allocated = after.uordblks > before.uordblks ? after.uordblks - before.uordblks : 0;
        double one = seconds() - t0;
        int repeat = one * 1e9 > RUN_NS ? 1 : 1 + (int)(RUN_NS / (one * 1e9 + 1));
        for (int k = 0; k < ROUNDS; k++) {
                t0 = seconds();
                for (int i = 0; i < repeat; i++)
                        r.once(r.with);
                t[k] = (seconds() - t0) * 1e9 / (double)points / repeat;
        }
        qsort(t, ROUNDS, sizeof *t, by_value);
        *ret_spread = (t[ROUNDS / 2 + 2] - t[ROUNDS / 2 - 2]) / 2;
        return t[ROUNDS / 2];
}
static bool solve_once(void *with) { return solve(with); }

/* The problem's input: raw data of all standards, ideals, switch terms. */
static size_t input_bytes(const struct load *l)
{
        size_t nets = 0;
        for (size_t k = 0; k < l->p.standard_n; k++)
                nets += l->standards[k].ideal ? 2 : 1;
        return nets * net2_bytes(POINTS) + switch_terms_bytes(POINTS);
}

static struct load *load_new(size_t m, uint64_t seed)
{
        struct arena *arena = arena_new(0);
        struct load *l = arena_take(arena, sizeof *l);
        double hz[POINTS];
        synth_grid(POINTS, 70e3, 220e9, hz);
        l->s = synth_new(arena, seed, POINTS, hz);
        l->word = methods[m].word;
        l->p = (struct problem){.axis = &l->s->axis, .standards = l->standards, .switch_terms = &l->s->sw};
        methods[m].fill(l);
        l->terms = terms_at(arena_take(arena, terms_bytes(POINTS)), &l->s->axis);
        l->diagnosis = diagnosis_at(arena_take(arena, diagnosis_bytes(POINTS)), &l->s->axis);
        l->workspace_n = rf_method(l->word)->workspace_bytes(POINTS, l->p.standard_n);
        l->workspace = arena_take(arena, l->workspace_n);
        return l;
}

/* ---- de-embedding and fitting ------------------------------------------------------------------------------------------------------- */

struct pads {
        struct net2 *measured, *out;
        struct dummies dummies;
};
static bool open_short_once(void *with)
{
        struct pads *p = with;
        return !rf_deembed(RF_DEEMBED_OPEN_SHORT, p->measured, &p->dummies, p->out, NULL, NULL);
}
static struct wm2 dummy_open(const struct synth *s, size_t i, const void *with)
{
        (void)with;
        return wm2_s_from_abcd(wm2_mul(wm2_of(1, 0, wide_of(1e-5L, synth_w(s, i) * 20e-15L), 1),
                                       wm2_mul(wm2_of(1, 1 / wide_of(0, synth_w(s, i) * 2e-15L), 0, 1),
                                               wm2_of(1, 0, wide_of(1e-5L, synth_w(s, i) * 22e-15L), 1))),
                               50);
}
static struct wm2 dummy_short(const struct synth *s, size_t i, const void *with)
{
        (void)with;
        return wm2_s_from_abcd(wm2_mul(wm2_of(1, wide_of(0.5L, synth_w(s, i) * 12e-12L), 0, 1),
                                       wm2_mul(wm2_of(1, 0, 1 / wide_of(0.1L, synth_w(s, i) * 3e-12L), 1),
                                               wm2_of(1, wide_of(0.5L, synth_w(s, i) * 11e-12L), 0, 1))),
                               50);
}

struct fit {
        struct fit_data data;
        struct fit_options options;
        void *workspace;
        struct rational model;
        struct fit_report report;
};
static bool fit_once(void *with)
{
        struct fit *f = with;
        struct tp_error err = {0};
        if (!rf_vector_fit(&f->data, &f->options, f->workspace, &f->model, &f->report, &err))
                return true;
        fprintf(stderr, "vector fit: %s\n", err.text);
        return false;
}
/* A one-port of `pairs` resonances over the band, so that the order asked for is the data's own. */
static struct fit *fit_new(struct arena *arena, size_t n, size_t order)
{
        struct fit *f = arena_take(arena, sizeof *f);
        double *hz = arena_take(arena, n * sizeof *hz), *re = arena_take(arena, n * sizeof *re), *im = arena_take(arena, n * sizeof *im);
        for (size_t i = 0; i < n; i++) {
                hz[i] = 1e8 + 2.199e11 * (double)i / (double)(n - 1);
                double complex s = CMPLX(0, 2 * M_PI * hz[i]), h = 0.1;
                for (size_t k = 0; k < order / 2; k++) {
                        double w = 2 * M_PI * 2e11 * ((double)k + 1) / ((double)order / 2 + 0.5);
                        double complex p = CMPLX(-0.02 * w, w), r = CMPLX(0.01 * w, 0.004 * w);
                        h += r / (s - p) + conj(r) / (s - conj(p));
                }
                re[i] = creal(h) + 1e-4 * sin(12.9898 * (double)i);
                im[i] = cimag(h) + 1e-4 * cos(78.233 * (double)i);
        }
        f->data = (struct fit_data){.n = n, .element_n = 1, .hz = hz, .re = {re}, .im = {im}};
        f->options = (struct fit_options){.order = order, .keep_all = true};
        f->workspace = arena_take(arena, rf_vector_fit_bytes(n, 1, order));
        return f;
}

/* An inductor on a lossy substrate as two-port data with noise. */
struct inductor {
        struct axis axis;
        struct model_data data;
        struct circuit_options options;
        struct circuit circuit;
};
static bool inductor_once(void *with)
{
        struct inductor *l = with;
        struct tp_error err = {0};
        if (!rf_fit_circuit(CIRCUIT_INDUCTOR, &l->data, &l->options, &l->circuit, &err))
                return true;
        fprintf(stderr, "circuit fit: %s\n", err.text);
        return false;
}
static struct inductor *inductor_new(struct arena *arena, size_t n)
{
        struct inductor *l = arena_take(arena, sizeof *l);
        double *hz = arena_take(arena, n * sizeof *hz), *columns[8];
        for (int k = 0; k < 8; k++)
                columns[k] = arena_take(arena, n * sizeof(double));
        for (size_t i = 0; i < n; i++) {
                hz[i] = 1e8 + 1.099e11 * (double)i / (double)(n - 1);
                double complex s = CMPLX(0, 2 * M_PI * hz[i]), z = 2 * csqrt(CMPLX(1, hz[i] / 8e9)) + s * 0.4e-9;
                double complex series = 1 / z + s * 4e-15, left = 1 / (1 / (s * 60e-15) + 1 / (1 / 150.0 + s * 20e-15)),
                               right = 1 / (1 / (s * 55e-15) + 1 / (1 / 180.0 + s * 18e-15));
                double complex a = 1 + 50 * (left + series), b = 1 + 50 * (right + series), t = 2500 * series * series, d = a * b - t;
                const double complex m[4] = {((2 - a) * b + t) / d, 100 * series / d, 100 * series / d, (a * (2 - b) + t) / d};
                for (int k = 0; k < 4; k++) {
                        columns[k][i] = creal(m[k]) + 1e-4 * sin(12.9898 * (double)i + k);
                        columns[4 + k][i] = cimag(m[k]) + 1e-4 * cos(78.233 * (double)i + k);
                }
        }
        l->axis = (struct axis){.n = n, .hz = hz};
        l->data = (struct model_data){.axis = &l->axis, .ports = 2, .z_ohm = 50};
        for (int k = 0; k < 4; k++) {
                l->data.re[k] = columns[k];
                l->data.im[k] = columns[4 + k];
        }
        l->options = (struct circuit_options){.skin = true, .u = 1e-4 / sqrt(2)};
        return l;
}

/* ---- files for the judge ------------------------------------------------------------------------------------------------------------ */

static void write_net(const char *dir, const char *name, const struct net2 *net)
{
        char path[400];
        struct text t;
        struct net2 copy = *net;
        text_init(&t, 0);
        copy.plane = PLANE_TIP;
        struct tp_error err = {0};
        if (touchstone_write2(&copy, &(struct touchstone_write){0}, &t, &err)) {
                fprintf(stderr, "%s: %s\n", name, err.text);
                exit(1);
        }
        snprintf(path, sizeof path, "%s/%s.s2p", dir, name);
        FILE *f = fopen(path, "w");
        if (!f || fwrite(text_of(&t), 1, t.n, f) != t.n || fclose(f)) {
                perror(path);
                exit(1);
        }
        text_done(&t);
}
static int write_all(const char *dir)
{
        for (size_t m = 0; m < METHODS; m++) {
                struct load *l = load_new(m, 5);
                char name[80];
                for (size_t k = 0; k < l->p.standard_n; k++) {
                        snprintf(name, sizeof name, "%s_%zu", l->word, k);
                        write_net(dir, name, l->standards[k].raw);
                        snprintf(name, sizeof name, "%s_ideal_%zu", l->word, k);
                        if (l->standards[k].ideal)
                                write_net(dir, name, l->standards[k].ideal);
                }
                struct net2 *sw = synth_net(l->s, PLANE_TIP); /* forward in S21, reverse in S12 */
                memcpy(sw->re[2], l->s->sw.f_re, POINTS * sizeof(double));
                memcpy(sw->im[2], l->s->sw.f_im, POINTS * sizeof(double));
                memcpy(sw->re[1], l->s->sw.r_re, POINTS * sizeof(double));
                memcpy(sw->im[1], l->s->sw.r_im, POINTS * sizeof(double));
                snprintf(name, sizeof name, "%s_switch", l->word);
                write_net(dir, name, sw);
                arena_free(l->s->arena);
        }
        return 0;
}

int main(int argc, char **argv)
{
        double spread = 0;
        size_t allocated = 0;
        if (argc == 3 && !strcmp(argv[1], "--write"))
                return write_all(argv[2]);
        printf("{\"points\": %d, \"solve\": {", POINTS);
        for (size_t m = 0; m < METHODS; m++) {
                struct load *l = load_new(m, 5);
                double ns = time_of((struct run){solve_once, l}, POINTS, &spread, &allocated);
                if (ns < 0)
                        return 1;
                printf("%s\"%s\": {\"ns\": %.4g, \"spread_ns\": %.2g, \"workspace_over_input\": %.3g, \"allocated\": %zu}", m ? ", " : "",
                       l->word, ns, spread, (double)l->workspace_n / (double)input_bytes(l), allocated);
                arena_free(l->s->arena);
        }
        struct load *l = load_new(0, 5);
        struct pads pads = {synth_ideal(l->s, synth_inductor, NULL), synth_net(l->s, PLANE_TIP), {{0}}};
        pads.dummies.of[RF_DUMMY_OPEN] = synth_ideal(l->s, dummy_open, NULL);
        pads.dummies.of[RF_DUMMY_SHORT] = synth_ideal(l->s, dummy_short, NULL);
        double ns = time_of((struct run){open_short_once, &pads}, POINTS, &spread, &allocated);
        printf("}, \"open_short\": {\"ns\": %.4g, \"spread_ns\": %.2g, \"allocated\": %zu}", ns, spread, allocated);
        static const struct {
                size_t n, order;
        } fits[] = {{1001, 8}, {2001, 20}};
        for (size_t k = 0; k < 2; k++) {
                struct fit *f = fit_new(l->s->arena, fits[k].n, fits[k].order);
                ns = time_of((struct run){fit_once, f}, fits[k].n, &spread, &allocated);
                printf(", \"vector_fit_%zu\": {\"points\": %zu, \"ns\": %.4g, \"spread_ns\": %.2g, \"rms\": %.3g, \"allocated\": %zu}",
                       fits[k].order, fits[k].n, ns, spread, f->report.rms, allocated);
        }
        struct inductor *inductor = inductor_new(l->s->arena, 1001);
        ns = time_of((struct run){inductor_once, inductor}, 1, &spread, &allocated);
        printf(", \"circuit_fit\": {\"points\": 1001, \"ms\": %.4g, \"spread_ms\": %.2g, \"misfit\": %.4g, \"allocated\": %zu}", ns / 1e6,
               spread / 1e6, inductor->circuit.misfit, allocated);
        printf("}\n");
        arena_free(l->s->arena);
        return 0;
}
