/* Below the lines: lumped standards at low frequencies, lines above, joined where their uncertainties cross.  On random line sets and
   analyzers, with noise, wrong definitions and wrong lengths drawn anew each time, the joined calibration must be no worse than the better
   of both, plus 10 %, at each frequency, on at least nine line sets of ten.  Errors are rms over draws and over devices, against the
   synthetic truth. TIPPLANE_SEED=n begins elsewhere. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include "rf/correct/correct.h"
#include "rf/calibrate/join.h"
#include "rf/calibrate/standards.h"
#include "tests/unit/rf_synth.h"

#define N 57
#define SETS 20
#define DRAWS 80 /* the rms of 80 draws is good to about 4 % */
#define LINES_MAX 6
static const double noise = 3e-4, u_c_f = 0.5e-15, u_l_h = 0.5e-12, u_load_l_h = 1e-12, u_r_ohm = 0.15, u_length_m = 1e-6;

struct set { /* one analyzer, one set of standards */
        struct synth *s;
        size_t line_n;
        double length_m[LINES_MAX];
};

static struct set set_draw(struct arena *arena, uint64_t seed)
{
        double hz[N];
        synth_grid(N, 50e6, 110e9, hz);
        struct set t = {.s = synth_new(arena, seed, N, hz)};
        t.line_n = 3 + (size_t)(4 * synth_draw(t.s, 0, 0.999));
        t.length_m[0] = synth_draw(t.s, 180e-6, 250e-6);
        double dl = synth_draw(t.s, 200e-6, 320e-6);
        for (size_t k = 1; k < t.line_n; k++) {
                t.length_m[k] = t.length_m[0] + dl;
                dl *= synth_draw(t.s, 1.8, 2.7);
        }
        return t;
}

static double gauss(struct synth *s) { return creal(synth_normal(s)); }

/* The line as it is: a little longer or shorter than told. */
static struct net2 *line_read(struct set *t, size_t k)
{
        double is = t->length_m[k] + u_length_m * gauss(t->s);
        struct net2 *raw = synth_raw(t->s, synth_line, &is);
        synth_noise(t->s, raw, noise);
        return raw;
}

struct solution {
        struct terms terms;
        double u[N], u_worst[N];
};

static void solve(const char *word, struct set *t, const struct rf_standard *standards, size_t n, const struct input_uncertainty *u,
                  struct solution *ret)
{
        struct arena *a = t->s->arena;
        const struct method *m = rf_method(word);
        static size_t all[N];
        for (size_t i = 0; i < N; i++)
                all[i] = i;
        struct covariance cov = covariance_at(arena_take(a, covariance_bytes(N, n)), N, all);
        struct diagnosis d = diagnosis_at(arena_take(a, diagnosis_bytes(N)), &t->s->axis);
        struct problem p = {.axis = &t->s->axis,
                            .standards = standards,
                            .standard_n = n,
                            .switch_terms = &t->s->sw,
                            .thru_delay_s_guess = t->length_m[0] * sqrt(5.5) / (double)SYNTH_C0,
                            .eps_eff_guess = 5.5,
                            .reflect_estimate = -1,
                            .reflect_offset_m = -t->length_m[0] / 2,
                            .plane_shift_m = -t->length_m[0] / 2,
                            .plane_shifted = PLANE_TIP,
                            .line_c_f_m = (double)t->s->line.c,
                            .line_loss_tangent = (double)t->s->line.tan_d,
                            .z_ref_ohm = 50};
        struct tp_error err = {0};
        ret->terms = terms_at(arena_take(a, terms_bytes(N)), &t->s->axis);
        if (m->solve(&p, arena_take(a, m->workspace_bytes(N, n)), &ret->terms, u ? &cov : NULL, &d, &err))
                fail_msg("seed %" PRIu64 ": %s", t->s->seed, err.text);
        for (size_t i = 0; i < N && u; i++) {
                struct input_uncertainty here = *u;
                double w = RF_TWO_PI * t->s->axis.hz[i];
                here.ideal[0] = 100 * w * u_c_f;
                here.ideal[1] = w * u_l_h / 25;
                here.ideal[2] = hypot(u_r_ohm, w * u_load_l_h) / 100;
                rf_corrected_u(&p, &cov, i, &ret->terms, &here, &ret->u[i], &ret->u_worst[i]);
        }
}

/* Reads everything anew and solves both ways; uncertainties when asked. */
static void both(struct set *t, const struct net2 *const ideal[3], struct solution *low, struct solution *high, bool uncertain)
{
        struct synth *s = t->s;
        struct rf_standard lumped[4] = {{.kind = RF_OPEN}, {.kind = RF_SHORT}, {.kind = RF_LOAD}, {.kind = RF_THRU}},
                           lines[LINES_MAX + 1] = {{0}};
        struct synth_two c = {{-6e-15L + (long double)(u_c_f * gauss(s)), -6e-15L + (long double)(u_c_f * gauss(s))}},
                         l = {{4e-12L + (long double)(u_l_h * gauss(s)), 4e-12L + (long double)(u_l_h * gauss(s))}};
        struct synth_loads r;
        for (int port = 0; port < 2; port++)
                r.port[port] = (struct synth_load){.r = 50 + (long double)(u_r_ohm * gauss(s)),
                                                   .l = 5e-12L + (long double)(u_load_l_h * gauss(s))};
        struct net2 *raw[3] = {synth_raw(s, synth_open, &c), synth_raw(s, synth_short, &l), synth_raw(s, synth_load, &r)};
        for (int k = 0; k < 3; k++) {
                synth_noise(s, raw[k], noise);
                lumped[k].raw = raw[k];
                lumped[k].ideal = ideal[k];
        }
        for (size_t k = 0; k < t->line_n; k++)
                lines[k] = (struct rf_standard){.kind = RF_LINE, .raw = line_read(t, k), .length_m = t->length_m[k]};
        lumped[3].raw = lines[0].raw;
        l.port[1] = l.port[0]; /* the reflect is one short, equal at both ports */
        struct net2 *reflect = synth_raw(s, synth_short, &l);
        synth_noise(s, reflect, noise);
        lines[t->line_n] = (struct rf_standard){.kind = RF_REFLECT, .raw = reflect};
        struct input_uncertainty u = {.noise_floor = noise, .length_m = u_length_m};
        solve("unknown_thru", t, lumped, 4, uncertain ? &u : NULL, low);
        solve("multiline_trl", t, lines, t->line_n + 1, uncertain ? &u : NULL, high);
}

/* A run of a solution's points as a band of its own. */
static struct rf_band band_of(struct solution *f, size_t begin, size_t end, const struct synth *s, struct axis *part, struct terms *view,
                              struct switch_terms *sw)
{
        axis_of(end - begin, s->axis.hz + begin, part, NULL);
        *view = f->terms;
        view->axis = part;
        for (int k = 0; k < TERM_COUNT; k++) {
                view->re[k] += begin;
                view->im[k] += begin;
        }
        view->z_re += begin;
        view->z_im += begin;
        *sw = s->sw;
        sw->axis = part;
        sw->f_re += begin, sw->f_im += begin, sw->r_re += begin, sw->r_im += begin;
        return (struct rf_band){.name = view->method, .terms = view, .switch_terms = sw, .u = f->u + begin, .u_worst = f->u_worst + begin};
}

static void add_error(const struct synth *s, const struct terms *terms, const struct net2 *raw, const struct net2 *is, double sum[N])
{
        for (size_t i = 0; i < N; i++) {
                struct m2 m =
                        rf_switch_remove_point(net2_get(raw, i), CMPLX(s->sw.f_re[i], s->sw.f_im[i]), CMPLX(s->sw.r_re[i], s->sw.r_im[i]));
                struct m2 d = m2_sub(rf_correct2_point(terms, i, m), net2_get(is, i));
                for (int k = 0; k < 4; k++)
                        sum[i] += pow(cabs(d.e[k]), 2);
        }
}

/* Worst ratio of the joined error to the better of both over all frequencies; what the joint thinks. */
static double set_run(uint64_t seed, double *ret_gain, int *ret_beyond, double *ret_hz)
{
        struct arena *arena = arena_new(0);
        struct set t = set_draw(arena, seed);
        struct synth_two c = {{-6e-15L, -6e-15L}}, l = {{4e-12L, 4e-12L}};
        struct synth_loads r = {{{.r = 50, .l = 5e-12L}, {.r = 50, .l = 5e-12L}}};
        const struct net2 *ideal[3] = {synth_ideal(t.s, synth_open, &c), synth_ideal(t.s, synth_short, &l),
                                       synth_ideal(t.s, synth_load, &r)};
        const struct net2 *raw[SYNTH_DEVICES], *is[SYNTH_DEVICES];
        for (size_t k = 0; k < SYNTH_DEVICES; k++) {
                raw[k] = synth_raw(t.s, synth_devices[k], NULL);
                is[k] = synth_ideal(t.s, synth_devices[k], NULL);
        }
        static struct solution low, high; /* uncertainties of the first draw serve all */
        double sum[3][N] = {{0}}, hz = 0, worst = 0, gain = 0;
        size_t begin = 0, end = N;
        struct terms joined = terms_at(arena_take(arena, terms_bytes(N)), &t.s->axis);
        struct switch_terms joined_sw = switch_terms_at(arena_take(arena, switch_terms_bytes(N)), &t.s->axis);
        struct joint joint;
        for (int draw = 0; draw < DRAWS; draw++) {
                both(&t, ideal, &low, &high, draw == 0);
                if (draw == 0) {
                        if (!rf_join_handover(&t.s->axis, low.u, high.u, &hz))
                                fail_msg("seed %" PRIu64 ": the uncertainties do not cross", seed);
                        while (t.s->axis.hz[begin] < hz / 3)
                                begin++;
                        while (t.s->axis.hz[end - 1] > hz * 3)
                                end--;
                }
                struct axis part[2];
                struct terms view[2];
                struct switch_terms sw[2];
                struct rf_band bands[2] = {band_of(&low, 0, end, t.s, &part[0], &view[0], &sw[0]),
                                           band_of(&high, begin, N, t.s, &part[1], &view[1], &sw[1])};
                struct tp_error err = {0};
                bool has;
                if (rf_join(2, bands, &t.s->axis, &joined, &joined_sw, &has, NULL, &joint, &err))
                        fail_msg("seed %" PRIu64 ": %s", seed, err.text);
                for (size_t k = 0; k < SYNTH_DEVICES; k++) {
                        add_error(t.s, &low.terms, raw[k], is[k], sum[0]);
                        add_error(t.s, &high.terms, raw[k], is[k], sum[1]);
                        add_error(t.s, &joined, raw[k], is[k], sum[2]);
                }
                *ret_beyond += joint.beyond;
        }
        for (size_t i = 0; i < N; i++) {
                double ratio = sqrt(sum[2][i] / fmin(sum[0][i], sum[1][i]));
                worst = fmax(worst, ratio);
                gain = fmax(gain, sqrt(fmax(sum[0][i], sum[1][i]) / sum[2][i]));
        }
        *ret_gain = gain;
        *ret_hz = hz;
        arena_free(arena);
        return worst;
}

static void the_joined_calibration_is_as_good_as_the_better_one(void **state)
{
        (void)state;
        uint64_t first = synth_seed(1);
        int good = 0, said = 0;
        double worst = 0, lowest = INFINITY, highest = 0;
        for (int k = 0; k < SETS; k++) {
                double gain = 0, hz = 0;
                int beyond = 0;
                double ratio = set_run(first + (uint64_t)k, &gain, &beyond, &hz);
                good += ratio <= 1.1;
                said += beyond;
                worst = fmax(worst, ratio);
                lowest = fmin(lowest, hz);
                highest = fmax(highest, hz);
                assert_true(gain > 3); /* the other end of the band would have been much worse */
        }
        print_message(
                "handover: %d of %d line sets within 1.1 of the better solution at every frequency, worst %.3f; between %.2g and %.2g "
                "GHz; %d of %d joints said to differ too much\n",
                good, SETS, worst, lowest / 1e9, highest / 1e9, said, SETS * DRAWS);
        assert_true(good * 10 >= SETS * 9);
        assert_true(said * 10 <= SETS * DRAWS); /* no definition is wrong beyond its uncertainty here */
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(the_joined_calibration_is_as_good_as_the_better_one)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
