/* rf_trl_columns.c: the columns' way of "trl" (trl_columns.c) and the points' way (solve_trl.c) give the same terms, figures and sentences.
   The reflect given twice is a case that only the points' way knows, and the mean of twice the same is the same; that the first solve went
   by columns shows in the thru's residual, which they do not reckon but know to be nothing.

   How far apart two ways may be that both round: a small multiple of what the last digits of the readings can do, which is seen by moving
   all of them by up to half a unit in their last place, several times over. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include "rf_synth.h"

enum { N = 301, DITHERS = 6, WAYS = 2 + DITHERS /* columns, points, points again */ };
struct bench {
        struct synth *s;
        struct problem p;
        struct rf_standard standards[4];
        double length_m[2];
        struct terms terms[WAYS];
        struct diagnosis d[WAYS];
        struct covariance cov[2];
        enum code code[WAYS];
        struct tp_error err[WAYS];
};
static const size_t covariance_points[3] = {3, N / 2, N - 5};

/* Lines, planes, impedances and switch terms differ from seed to seed: the longer line first, past half a wave, poor directivity. */
static struct bench *bench_new(uint64_t seed, double noise)
{
        struct arena *arena = arena_new(0);
        struct bench *b = arena_take(arena, sizeof *b);
        double hz[N];
        synth_grid(N, seed % 3 && noise == 0 ? 70e3 : 1e9, 220e9, hz); /* below, readings would be noise: the points' way */
        struct synth *s = b->s = synth_new(arena, seed, N, hz);
        if (seed % 5 == 4) /* port 1 reflects more than it transmits: |b ca| > 1 at the upper end, e^-x has the other eigenvector */
                for (int k = 0; k < 4; k++) {
                        s->path[k].size *= k == 0 || k == 3 ? 8 : 0.7L;
                        s->path[k].drop *= k == 0 || k == 3 ? 0.4L : 1;
                }
        b->length_m[0] = synth_draw(s, 100e-6, 300e-6);
        b->length_m[1] = b->length_m[0] + synth_draw(s, 150e-6, 900e-6);
        if (seed % 7 == 3) {
                double l = b->length_m[0];
                b->length_m[0] = b->length_m[1];
                b->length_m[1] = l;
        }
        long double open = synth_draw(s, -3e-15, 3e-15), coil = synth_draw(s, 1e-12, 4e-12);
        bool shorted = seed % 2;
        struct synth_two two = shorted ? (struct synth_two){{coil, coil}} : (struct synth_two){{open, open}};
        struct net2 *raw[3];
        for (int k = 0; k < 2; k++)
                raw[k] = synth_raw(s, synth_line, &b->length_m[k]);
        raw[2] = synth_raw(s, shorted ? synth_short : synth_open, &two);
        for (int k = 0; k < 3 && noise > 0; k++)
                synth_noise(s, raw[k], noise);
        for (int k = 0; k < 2; k++)
                b->standards[k] = (struct rf_standard){.kind = RF_LINE, .raw = raw[k], .length_m = b->length_m[k]};
        b->standards[2] = b->standards[3] = (struct rf_standard){.kind = RF_REFLECT, .raw = raw[2]};
        b->p = (struct problem){.axis = &s->axis,
                                .standards = b->standards,
                                .switch_terms = seed % 6 ? &s->sw : NULL,
                                .eps_eff_guess = (double)(s->line.l * s->line.c) * RF_C0_M_S * RF_C0_M_S,
                                .reflect_estimate = shorted ? -1 : 1,
                                .reflect_offset_m = seed % 8 ? -b->length_m[0] / 2 : 0,
                                .reflect_contradiction_allowed = true,
                                .plane_shift_m = seed % 4   ? -b->length_m[0] / 2
                                                 : seed % 3 ? 0
                                                            : 20e-6,
                                .plane_shifted = PLANE_TIP,
                                .line_c_f_m = seed % 4 == 1 ? 0 : (double)s->line.c,
                                .line_z_ohm = seed % 8 == 1 ? 47 : 0,
                                .line_loss_tangent = (double)s->line.tan_d,
                                .z_ref_ohm = seed % 9 == 2 ? 75 : 0};
        for (int k = 0; k < WAYS; k++) {
                b->terms[k] = terms_at(arena_take(arena, terms_bytes(N)), &s->axis);
                b->d[k] = diagnosis_at(arena_take(arena, diagnosis_bytes(N)), &s->axis);
        }
        for (int k = 0; k < 2; k++) {
                b->cov[k] = covariance_at(arena_take(arena, covariance_bytes(3, 4)), 3, covariance_points);
        }
        return b;
}
static void solve(struct bench *b, int k)
{
        const struct method *m = rf_method("trl");
        b->p.standard_n = k ? 4 : 3;
        void *workspace = arena_take(b->s->arena, m->workspace_bytes(N, b->p.standard_n));
        b->code[k] = m->solve(&b->p, workspace, &b->terms[k], k < 2 ? &b->cov[k] : NULL, &b->d[k], &b->err[k]);
}
static void dither(struct bench *b)
{
        const struct net2 *raw[3];
        for (int k = 0; k < 3; k++)
                raw[k] = b->standards[k].raw;
        for (int way = 2; way < WAYS; way++) {
                for (int k = 0; k < 3; k++) {
                        struct net2 *moved = synth_net(b->s, PLANE_RECEIVER);
                        for (size_t i = 0; i < N; i++)
                                for (int e = 0; e < 4; e++) {
                                        moved->re[e][i] = raw[k]->re[e][i] * (1 + synth_draw(b->s, -1, 1) * 2 * SYNTH_ULP);
                                        moved->im[e][i] = raw[k]->im[e][i] * (1 + synth_draw(b->s, -1, 1) * 2 * SYNTH_ULP);
                                }
                        b->standards[k].raw = moved;
                }
                b->standards[3].raw = b->standards[2].raw;
                solve(b, way);
        }
        for (int k = 0; k < 3; k++)
                b->standards[k].raw = raw[k];
        b->standards[3].raw = raw[2];
}

enum { COMPLEX = TERM_COUNT + 4, FIGURES = 10 };
static double complex complex_at(const struct bench *b, int way, int k, size_t i)
{
        const struct diagnosis *d = &b->d[way];
        const double *re[] = {d->gamma_re, d->eps_re, d->zc_re, d->reflect_re}, *im[] = {d->gamma_im, d->eps_im, d->zc_im, d->reflect_im};
        return k < TERM_COUNT ? CMPLX(b->terms[way].re[k][i], b->terms[way].im[k][i]) : CMPLX(re[k - TERM_COUNT][i], im[k - TERM_COUNT][i]);
}
static double figure_at(const struct bench *b, int way, int k, size_t i)
{
        const struct diagnosis *d = &b->d[way];
        const double *all[FIGURES] = {d->loss_db_mm,     d->reflect_distance, d->reciprocity,     d->nstd,        d->condition,
                                      d->residual_worst, b->terms[way].z_re,  b->terms[way].z_im, d->common_line, d->second_opinion};
        return all[k][i];
}
/* The difference over what the readings' last digits do. */
static double near(const struct bench *b, int k, size_t i)
{
        bool figure = k >= COMPLEX;
        double complex x[WAYS];
        for (int way = 0; way < WAYS; way++)
                x[way] = figure ? figure_at(b, way, k - COMPLEX, i) : complex_at(b, way, k, i);
        if (isnan(creal(x[0])) && isnan(creal(x[1])))
                return 0;
        bool difference = figure && (k - COMPLEX == 1 || k - COMPLEX == 2 || k - COMPLEX == 5); /* of numbers about 1 */
        double last = 4 * SYNTH_ULP * fmax(cabs(x[1]), difference ? 1 : 1e-3);
        for (int way = 2; way < WAYS; way++)
                last = fmax(last, cabs(x[way] - x[1]));
        double off = cabs(x[0] - x[1]) / last;
        if (!(off < 12))
                fail_msg("seed %" PRIu64 ": %s %d at %.6g Hz (nstd %.3g): %.17g%+.17gj by columns, %.17g%+.17gj by points, which may move "
                         "by %.2g",
                         b->s->seed, figure ? "figure" : "complex", k, b->s->axis.hz[i], b->d[1].nstd[i], creal(x[0]), cimag(x[0]),
                         creal(x[1]), cimag(x[1]), last);
        return off;
}
static double agree(const struct bench *b)
{
        const struct diagnosis *one = &b->d[0], *two = &b->d[1];
        for (int way = 0; way < WAYS; way++)
                if (b->code[way])
                        fail_msg("seed %" PRIu64 ": %s", b->s->seed, b->err[way].text);
        if (!(one->standard[0].worst == 0))
                fail_msg("seed %" PRIu64 " went by points", b->s->seed);
        double worst = 0;
        for (int k = 0; k < COMPLEX + FIGURES; k++)
                for (size_t i = 0; i < N; i++)
                        worst = fmax(worst, near(b, k, i));
        for (size_t i = 0; i < N; i++) {
                double turn = fabs(one->reflect_angle_deg[i] - two->reflect_angle_deg[i]);
                assert_true(fmin(turn, fabs(turn - 360)) < 1e-9 * fmax(1, two->nstd[i]));
                /* near 90 degrees an angle has half the digits of its sine, which is compared as `condition` */
                assert_true(fabs(sin(one->phase_eff_deg[i] * RF_PI / 180) * one->condition[i] - 1) < 1e-14);
                assert_true(fabs(one->phase_eff_deg[i] - two->phase_eff_deg[i]) < 1e-5);
                /* twice the same reflect has two residuals of nothing: a mean of four by points */
                assert_true(fabs(one->residual_rms[i] - two->residual_rms[i] * sqrt(2)) < 1e-9 * fmax(1, one->residual_worst[i]));
        }
        assert_true(fabs(one->standard[1].rms / two->standard[1].rms - 1) < 1e-3 || one->standard[1].rms < 1e-9);
        assert_true(fabs(one->standard[1].worst / two->standard[1].worst - 1) < 1e-3 || one->standard[1].worst < 1e-9);
        assert_int_equal(one->warning_n, two->warning_n);
        for (unsigned k = 0; k < one->warning_n; k++)
                assert_string_equal(one->warning[k], two->warning[k]);
        assert_int_equal(one->root_followed, two->root_followed);
        assert_int_equal(one->root_contradicts, two->root_contradicts);
        assert_true(one->root_start_hz == two->root_start_hz);
        assert_int_equal(b->terms[0].model, b->terms[1].model);
        assert_int_equal(b->terms[0].plane, b->terms[1].plane);
        assert_int_equal(b->terms[0].switch_removed, b->terms[1].switch_removed);
        return worst;
}
/* The columns of the reflect come twice by points: by half each. */
static void covariances_agree(const struct bench *b)
{
        for (size_t q = 0; q < 3; q++)
                for (size_t k = 0; k < b->cov[0].column_n; k++)
                        for (int t = 0; t < TERM_COUNT; t++) {
                                double complex one = b->cov[0].d_terms[(q * b->cov[0].column_n + k) * TERM_COUNT + (size_t)t], two = 0;
                                struct column c = b->cov[0].columns[k];
                                for (size_t j = 0; j < b->cov[1].column_n; j++) {
                                        struct column o = b->cov[1].columns[j];
                                        if (o.kind == c.kind && o.entry == c.entry &&
                                            (o.standard == c.standard || (c.standard == 2 && o.standard == 3)))
                                                two += b->cov[1].d_terms[(q * b->cov[1].column_n + j) * TERM_COUNT + (size_t)t];
                                }
                                double ill = fmax(1, b->d[1].nstd[covariance_points[q]]);
                                if (!(cabs(one - two) <= 1e-7 * ill * fmax(1, cabs(one))))
                                        fail_msg("seed %" PRIu64 ": d %s/d column %zu: %g%+gj by columns, %g%+gj by points", b->s->seed,
                                                 term_words[t], k, creal(one), cimag(one), creal(two), cimag(two));
                        }
}

static void each(double noise)
{
        uint64_t first = synth_seed(1), last = getenv("TIPPLANE_SEED") ? first : 72;
        double worst = 0;
        for (uint64_t seed = first; seed <= last; seed++) {
                struct bench *b = bench_new(seed, noise);
                solve(b, 0);
                solve(b, 1);
                dither(b);
                worst = fmax(worst, agree(b));
                covariances_agree(b);
                arena_free(b->s->arena);
        }
        print_message("apart by at most %.2f times what the readings' last digits do\n", worst);
}
static void both_ways_agree(void **state)
{
        (void)state;
        each(0);
}
static void both_ways_agree_in_noise(void **state)
{
        (void)state;
        each(1e-4);
}

static void what_is_wrong_is_said_by_frequency(void **state)
{
        (void)state;
        struct bench *b = bench_new(5, 0);
        struct net2 *line = (struct net2 *)(uintptr_t)b->standards[1].raw;
        net2_put(line, 100, net2_get(b->standards[0].raw, 100));
        solve(b, 0);
        solve(b, 1);
        char hz[32];
        snprintf(hz, sizeof hz, "%.9g Hz", b->s->axis.hz[100]);
        for (int k = 0; k < 2; k++) {
                assert_int_equal(b->code[k], CODE_UNRESOLVABLE);
                assert_non_null(strstr(b->err[k].text, hz));
        }
        arena_free(b->s->arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(both_ways_agree), cmocka_unit_test(both_ways_agree_in_noise),
                                           cmocka_unit_test(what_is_wrong_is_said_by_frequency)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
