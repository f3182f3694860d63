/* rf_reflects_columns.c: "lrm" and "lrrm" by columns (reflects.c) and by points give the same terms, figures and sentences; the columns
   give the same bytes on every kind of processor, allocate nothing and need little memory. The points' way is asked for by what changes
   nothing: the reflect given twice ("lrm"), a match behind a two-port that is none ("lrrm"). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <malloc.h>
#include <stdio.h>
#include <string.h>
#include "rf/calibrate/reflects/reflects.h"
#include "rf_synth.h"

enum { N = 211 };
struct bench {
        struct synth *s;
        const char *method;
        struct problem p;
        struct rf_standard standards[5];
        struct terms terms[2];
        struct diagnosis d[2];
        struct covariance cov[2];
};

/* ---- cases --------------------------------------------------------------------------------------------------------------------------- */

/* Neither reciprocal nor alike from both sides; `equal`: alike. */
struct skew {
        long double reflection[2], loss[2], delay;
};
static struct wm2 skew_thru(const struct synth *s, size_t i, const void *with)
{
        const struct skew *t = with;
        wide e = cexpl(wide_of(0, -synth_w(s, i) * t->delay));
        return wm2_of(t->reflection[0] * e, t->loss[0] * e, t->loss[1] * e, t->reflection[1] * e);
}
/* A reflection r e^{j(turn - w delay)}, the same at both ports. */
struct turned {
        long double r, turn, delay;
};
static struct wm2 turned_reflect(const struct synth *s, size_t i, const void *with)
{
        const struct turned *t = with;
        wide g = t->r * cexpl(wide_of(0, t->turn - synth_w(s, i) * t->delay));
        return wm2_two(g, g);
}

static struct rf_standard *add(struct bench *b, enum rf_standard_kind kind, synth_device *device, const void *with, bool known)
{
        struct rf_standard *s = &b->standards[b->p.standard_n++];
        *s = (struct rf_standard){
                .kind = kind, .raw = synth_raw(b->s, device, with), .ideal = known ? synth_ideal(b->s, device, with) : NULL};
        return s;
}
static struct rf_standard *find(struct bench *b, enum rf_standard_kind kind)
{
        for (size_t k = 0; k < b->p.standard_n; k++)
                if (b->standards[k].kind == kind)
                        return &b->standards[k];
        fail();
        return NULL;
}
static struct bench *bench_new(const char *method, uint64_t seed, bool switches)
{
        static size_t points[3] = {0, N / 2, N - 1};
        struct arena *arena = arena_new(0);
        struct bench *b = arena_take(arena, sizeof *b);
        double hz[N];
        synth_grid(N, 70e3, 220e9, hz);
        b->method = method;
        b->s = synth_new(arena, seed, N, hz);
        b->p = (struct problem){.axis = &b->s->axis, .standards = b->standards, .switch_terms = switches ? &b->s->sw : NULL};
        for (size_t i = 0; i < N && !switches; i++)
                b->s->sw.f_re[i] = b->s->sw.f_im[i] = b->s->sw.r_re[i] = b->s->sw.r_im[i] = 0;
        for (int k = 0; k < 2; k++) {
                b->terms[k] = terms_at(arena_take(arena, terms_bytes(N)), &b->s->axis);
                b->d[k] = diagnosis_at(arena_take(arena, diagnosis_bytes(N)), &b->s->axis);
                b->cov[k] = covariance_at(arena_take(arena, covariance_bytes(3, 5)), 3, points);
        }
        return b;
}

/* which: six kinds of thru and match, four of reflect; switch terms by turns. */
enum { LRM_CASES = 24 };
static struct bench *lrm_case(uint64_t seed, int which)
{
        struct bench *b = bench_new("lrm", seed, which % 2);
        struct synth *s = b->s;
        struct synth_load one = {.r = synth_draw(s, 46, 54), .l = synth_draw(s, -5e-12, 9e-12)},
                          two = {.r = synth_draw(s, 46, 54), .l = synth_draw(s, -5e-12, 9e-12)}, fifty = {.r = 50};
        if (which % 6 < 2)
                add(b, RF_THRU, synth_thru, &(struct synth_thru){synth_draw(s, 0.5e-12, 1e-12), 0, 0}, true);
        else if (which % 6 < 4)
                add(b, RF_THRU, synth_thru, &(struct synth_thru){synth_draw(s, 0.5e-12, 1e-12), synth_draw(s, 0, 0.1), 41}, true);
        else
                add(b, RF_THRU, skew_thru, &(struct skew){{0.1L, -0.04L}, {0.9L, 0.7L}, 0.8e-12L}, true);
        long double c = synth_draw(s, -9e-15, 3e-15), l = synth_draw(s, 1e-12, 5e-12);
        if (which / 6 == 0) {
                add(b, RF_OPEN, synth_open, &(struct synth_two){{c, c}}, false);
        } else if (which / 6 == 1) {
                add(b, RF_SHORT, synth_short, &(struct synth_two){{l, l}}, false);
        } else {
                struct turned far = {0.95L, synth_draw(s, -3, 3), synth_draw(s, 0, 1e-12)};
                add(b, RF_REFLECT, turned_reflect, &far, false);
                b->p.reflect_estimate = CMPLX(cosl(far.turn), sinl(far.turn));
                b->p.reflect_contradiction_allowed = true;
        }
        add(b, RF_LOAD, synth_load, &(struct synth_loads){{which % 3 ? one : fifty, which % 3 ? two : fifty}}, true);
        return b;
}

enum { LRRM_CASES = 24 };
static struct bench *lrrm_case(uint64_t seed, int which)
{
        struct bench *b = bench_new("lrrm", seed, which / 4 % 2);
        struct synth *s = b->s;
        b->p.match_fit = (enum rf_match_fit)(which % RF_MATCH_FIT_COUNT);
        if (which % 3 == 0)
                add(b, RF_THRU, synth_thru, &(struct synth_thru){synth_draw(s, 0.5e-12, 0.9e-12), 0, 0}, true);
        else if (which % 3 == 1)
                add(b, RF_THRU, synth_thru, &(struct synth_thru){synth_draw(s, 0.5e-12, 0.9e-12), synth_draw(s, 0, 0.1), 45}, true);
        else
                add(b, RF_THRU, skew_thru, &(struct skew){{0.07L, 0.07L}, {0.95L, 0.85L}, 0.6e-12L}, true);
        long double c = synth_draw(s, -9e-15, -3e-15), l = synth_draw(s, 1e-12, 5e-12);
        struct synth_load match = {.r = synth_draw(s, 47, 53), .l = synth_draw(s, -3e-12, 9e-12)}, told = {.r = match.r, .l = 1e-12L},
                          other = {.r = 61};
        add(b, RF_OPEN, synth_open, &(struct synth_two){{c, c}}, b->p.match_fit == RF_MATCH_FROM_OPEN);
        add(b, RF_SHORT, synth_short, &(struct synth_two){{l, l}}, false);
        struct rf_standard *load = add(b, RF_LOAD, synth_load, &(struct synth_loads){{match, other}}, false);
        load->ideal = synth_ideal(s, synth_load, &(struct synth_loads){{b->p.match_fit == RF_MATCH_FIXED ? match : told, other}});
        load->ports = which % 5 ? 1 : 3;
        for (size_t k = 0; k < b->p.standard_n && which >= LRRM_CASES / 2; k++)
                synth_noise(s, (struct net2 *)(uintptr_t)b->standards[k].raw, 1e-4);
        return b;
}

/* ---- both ways ----------------------------------------------------------------------------------------------------------------------- */

static enum code solve(struct bench *b, int k, struct tp_error *err)
{
        const struct method *m = rf_method(b->method);
        return m->solve(&b->p, arena_take(b->s->arena, m->workspace_bytes(N, b->p.standard_n)), &b->terms[k], &b->cov[k], &b->d[k], err);
}
static void by_points(struct bench *b)
{
        if (!strcmp(b->method, "lrm")) {
                b->standards[b->p.standard_n++] = b->standards[1];
                return;
        }
        struct net2 *nothing = synth_net(b->s, PLANE_TIP);
        for (size_t i = 0; i < N; i++)
                net2_put(nothing, i, m2_of(0, 1, 1, 0));
        find(b, RF_LOAD)->offset = nothing;
}

/* |x - y|/max(1, |x|), over the condition where there is one; the worst of the terms is kept. */
static double worst;
static double near(const struct bench *b, const char *what, size_t n, const double *x, const double *y, double bound)
{
        double most = 0;
        for (size_t i = 0; i < n; i++) {
                double off = fabs(x[i] - y[i]) / fmax(1, fabs(x[i])) / (n == N ? fmax(1, b->d[1].condition[i]) : 1);
                if (isnan(x[i]) && isnan(y[i]))
                        continue;
                if (!(off <= bound))
                        fail_msg("TIPPLANE_SEED=%lu %s: %s at point %zu: %.17g by columns, %.17g by points (condition %.3g)",
                                 (unsigned long)b->s->seed, b->method, what, i, x[i], y[i], b->d[1].condition[n == N ? i : 0]);
                most = fmax(most, off);
        }
        return most;
}
static void both_ways(struct bench *b, double bound)
{
        struct tp_error err = {0};
        struct diagnosis *d = b->d;
        for (int k = 0; k < 2; k++) {
                if (solve(b, k, &err))
                        fail_msg("TIPPLANE_SEED=%lu %s: %s", (unsigned long)b->s->seed, b->method, err.text);
                if (k == 0)
                        by_points(b);
        }
        for (int t = 0; t < TERM_COUNT; t++) {
                worst = fmax(worst, near(b, term_words[t], N, b->terms[0].re[t], b->terms[1].re[t], bound));
                worst = fmax(worst, near(b, term_words[t], N, b->terms[0].im[t], b->terms[1].im[t], bound));
        }
        near(b, "z", N, b->terms[0].z_re, b->terms[1].z_re, 0);
        near(b, "z", N, b->terms[0].z_im, b->terms[1].z_im, 0);
        near(b, "condition", N, d[0].condition, d[1].condition, bound);
        near(b, "reflect", N, d[0].reflect_re, d[1].reflect_re, bound);
        near(b, "reflect", N, d[0].reflect_im, d[1].reflect_im, bound);
        near(b, "distance", N, d[0].reflect_distance, d[1].reflect_distance, bound);
        near(b, "angle", N, d[0].reflect_angle_deg, d[1].reflect_angle_deg, 60 * bound);
        assert_int_equal(d[0].root_followed, d[1].root_followed);
        assert_int_equal(d[0].root_contradicts, d[1].root_contradicts);
        near(b, "contradiction", 1, &d[0].contradiction_hz, &d[1].contradiction_hz, 0);
        near(b, "not followed", 1, &d[0].root_unfollowed_hz, &d[1].root_unfollowed_hz, 0);
        assert_int_equal(d[0].warning_n, d[1].warning_n);
        for (unsigned k = 0; k < d[0].warning_n; k++)
                assert_string_equal(d[0].warning[k], d[1].warning[k]);
        bool lrrm = !strcmp(b->method, "lrrm");
        for (size_t i = 0; i < N; i++) { /* lrm: one reflect leaves no residual, the same one twice leaves none either */
                assert_int_equal(isnan(d[0].residual_rms[i]), !lrrm);
                assert_true(lrrm || d[1].residual_rms[i] < 1e-12);
        }
        if (lrrm) {
                for (size_t i = 0; i < N; i++) /* below, an open says next to nothing about L */
                        assert_true(b->s->axis.hz[i] < 1e9 || fabs(d[0].match_l_h[i] - d[1].match_l_h[i]) < 1e-18);
                near(b, "R(f)", N, d[0].match_r_ohm, d[1].match_r_ohm, 1e-9);
                near(b, "residual", N, d[0].residual_rms, d[1].residual_rms, bound);
                near(b, "residual", N, d[0].residual_worst, d[1].residual_worst, bound);
                for (size_t k = 0; k < 4; k++) {
                        near(b, "residual of a standard", 1, &d[0].standard[k].rms, &d[1].standard[k].rms, 1e-9);
                        near(b, "residual of a standard", 1, &d[0].standard[k].worst, &d[1].standard[k].worst, 1e-9);
                }
                assert_int_equal(d[0].match_l_determined, d[1].match_l_determined);
                assert_true(fabs(d[0].match_l_fit_h - d[1].match_l_fit_h) < 1e-18 && fabs(d[0].open_c_fit_f - d[1].open_c_fit_f) < 1e-20);
                assert_true(d[0].match_l_determined == !isnan(d[0].match_l_u_h) && d[0].open_c_u_f >= 0);
                for (int k = 0; k < 4; k++) {
                        const double *u0[] = {&d[0].match_l_u_h, &d[0].match_c_u_f, &d[0].match_r_u_ohm, &d[0].open_c_u_f},
                                     *u1[] = {&d[1].match_l_u_h, &d[1].match_c_u_f, &d[1].match_r_u_ohm, &d[1].open_c_u_f};
                        double least = k == 2 ? 1e-9 : 1e-21; /* exact data: rounding only */
                        assert_true((isnan(*u0[k]) && isnan(*u1[k])) || fabs(*u0[k] - *u1[k]) < least + 1e-6 * *u1[k]);
                }
        }
        size_t shared = 3 * b->cov[0].column_n * TERM_COUNT; /* the root that is held must be the same one */
        for (size_t k = 0; k < shared && lrrm; k++)
                assert_true(cabs(b->cov[0].d_terms[k] - b->cov[1].d_terms[k]) < 1e-5 * (1 + cabs(b->cov[1].d_terms[k])));
}

static void lrm_by_columns_is_lrm_by_points(void **state)
{
        (void)state;
        worst = 0;
        for (uint64_t seed = 1; seed <= 6; seed++)
                for (int which = 0; which < LRM_CASES; which++) {
                        struct bench *b = lrm_case(synth_seed(seed), which);
                        both_ways(b, 1e-14);
                        arena_free(b->s->arena);
                }
        print_message("lrm: terms of both ways differ by %.2g of the condition\n", worst);
}
static void lrrm_by_columns_is_lrrm_by_points(void **state)
{
        (void)state;
        worst = 0;
        for (uint64_t seed = 1; seed <= 6; seed++)
                for (int which = 0; which < LRRM_CASES; which++) {
                        struct bench *b = lrrm_case(synth_seed(seed), which);
                        both_ways(b, 1e-14);
                        arena_free(b->s->arena);
                }
        print_message("lrrm: terms of both ways differ by %.2g of the condition\n", worst);
}

/* Perfect receivers and a thru of no length: everything is real or imaginary, roots lie on their cut, zeros carry signs. */
static void roots_on_the_cut(void **state)
{
        (void)state;
        for (int turn = 0; turn < 4; turn++) {
                struct bench *b = lrm_case(1, 0);
                double complex g = turn == 0 ? 1 : turn == 1 ? -1 : turn == 2 ? CMPLX(0, 1) : CMPLX(0, -1);
                struct net2 *thru = synth_net(b->s, PLANE_RECEIVER), *ideal = synth_net(b->s, PLANE_TIP),
                            *reflect = synth_net(b->s, PLANE_RECEIVER), *match = synth_net(b->s, PLANE_RECEIVER),
                            *zero = synth_net(b->s, PLANE_TIP);
                for (size_t i = 0; i < N; i++) {
                        net2_put(thru, i, m2_of(0, 1, 1, 0));
                        net2_put(ideal, i, m2_of(0, 1, 1, 0));
                        net2_put(reflect, i, m2_diag(g, g));
                }
                b->standards[0].raw = thru, b->standards[0].ideal = ideal;
                b->standards[1] = (struct rf_standard){.kind = RF_REFLECT, .raw = reflect};
                b->standards[2].raw = match, b->standards[2].ideal = zero;
                b->p.reflect_estimate = g;
                both_ways(b, 1e-15);
                assert_true(b->terms[0].re[TERM_ERF][7] == 1 && b->terms[0].re[TERM_K][7] == 1 && b->d[0].reflect_distance[7] == 0);
                arena_free(b->s->arena);
        }
}

/* ---- what is wrong ------------------------------------------------------------------------------------------------------------------- */

static void what_is_wrong_is_said_by_frequency(void **state)
{
        (void)state;
        for (int lrrm = 0; lrrm < 2; lrrm++)
                for (int wrong = 0; wrong < 4; wrong++) {
                        struct bench *b = lrrm ? lrrm_case(3, 0) : lrm_case(3, 0);
                        struct tp_error err = {0};
                        struct net2 *thru = (struct net2 *)(uintptr_t)find(b, RF_THRU)->raw,
                                    *open = (struct net2 *)(uintptr_t)find(b, RF_OPEN)->raw;
                        const struct net2 *other = find(b, lrrm ? RF_SHORT : RF_LOAD)->raw;
                        if (wrong == 0)
                                thru->re[2][100] = NAN;
                        else if (wrong == 1)
                                open->im[3][100] = INFINITY;
                        else if (wrong == 2)
                                thru->re[1][100] = thru->im[1][100] = thru->re[2][100] = thru->im[2][100] = 0;
                        else
                                net2_put(open, 100, net2_get(other, 100));
                        char hz[32];
                        snprintf(hz, sizeof hz, "%.9g Hz", b->s->axis.hz[100]);
                        assert_int_equal(solve(b, 0, &err), wrong < 2 ? CODE_BAD_INPUT : CODE_UNRESOLVABLE);
                        if (!strstr(err.text, hz) || !strstr(err.text, wrong < 2 ? "not a number" : lrrm ? "coincide" : "told"))
                                fail_msg("%s", err.text);
                        arena_free(b->s->arena);
                }
}

/* A reflect behind a line turns away from its estimate: refused, or, where that is allowed, followed to the end. */
static void a_reflect_behind_a_line(void **state)
{
        (void)state;
        struct bench *b = lrm_case(2, 12);
        struct turned far = {0.95L, 0, 3e-12L};
        struct tp_error err = {0};
        b->standards[1] = (struct rf_standard){.kind = RF_REFLECT, .raw = synth_raw(b->s, turned_reflect, &far)};
        b->p.reflect_estimate = 1;
        both_ways(b, 1e-14);
        assert_true(b->d[0].root_contradicts && b->d[0].root_followed && b->d[0].warning_n == 1);
        b->p.reflect_contradiction_allowed = false;
        b->p.standard_n = 3;
        assert_int_equal(solve(b, 0, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "its sign would flip there"));
        arena_free(b->s->arena);
}

/* ---- every processor ----------------------------------------------------------------------------------------------------------------- */

enum { COLUMNS_MAX = 2 * TERM_COUNT + 64 };
static void *lay_columns(struct bench *b, struct lrrm_columns *q, struct other_root *other)
{
        size_t stride = net2_stride(N), k = 0;
        double *column = arena_take(b->s->arena, COLUMNS_MAX * stride * sizeof *column);
        memset(column, 0, COLUMNS_MAX * stride * sizeof *column);
        double **const all[] = {&q->p_re[0], &q->p_im[0], &q->p_re[1], &q->p_im[1], &q->a_re, &q->a_im,   &q->b_re, &q->b_im,   &q->c_re,
                                &q->c_im,    &q->d_re,    &q->d_im,    &q->z_re,    &q->z_im, &q->u_open, &q->w,    &other->re, &other->im};
        for (; k < sizeof all / sizeof all[0]; k++)
                *all[k] = column + k * stride;
        for (int j = 0; j < LRRM_SCRATCH; j++, k++)
                q->scratch[j] = column + k * stride;
        return column;
}
/* All that a kind of processor writes; a is what the first one wrote. */
static void run_kind(struct bench *b, enum cpu_kind kind, int k, const void **ret_columns, struct lrrm_match *ret_match)
{
        struct lrrm_columns q = {0};
        struct other_root other;
        struct followed f;
        double complex *found = arena_take(b->s->arena, N * sizeof *found);
        *ret_columns = lay_columns(b, &q, &other);
        if (!strcmp(b->method, "lrm")) {
                double complex estimate = b->standards[1].kind == RF_OPEN    ? 1
                                          : b->standards[1].kind == RF_SHORT ? -1
                                                                             : b->p.reflect_estimate;
                reflects_lrm(kind, &b->p, &(struct lrm_roles){.thru = 0, .match = 2, .reflect_n = 1, .reflect = {1}}, estimate, other,
                             &b->terms[k], &b->d[k], found, &f);
                memcpy(q.p_re[0], found, N * sizeof *found / 2);
                return;
        }
        const struct lrrm_roles roles = {.thru = 0, .match = 3, .open_n = 1, .short_n = 1, .open = {1}, .shorted = {2}};
        if (b->standards[1].ideal)
                q.open_re = b->standards[1].ideal->re[0], q.open_im = b->standards[1].ideal->im[0];
        assert_true(reflects_lrrm(kind, &b->p, &roles, other, &q, &b->d[k], &f));
        struct lrrm_match apart[2];
        *ret_match = lrrm_fit(kind, N, &q, b->p.match_fit, apart, &b->d[k]);
        lrrm_open_c(kind, N, &q, *ret_match, apart, &b->d[k]);
        lrrm_each(kind, N, &q, b->p.match_fit, *ret_match, &b->d[k]);
        assert_true(reflects_lrrm_terms(kind, &b->p, &roles, &q, *ret_match, &b->terms[k], &b->d[k], q.scratch[0]));
}
static void same(const char *what, const void *a, const void *b, size_t bytes)
{
        if (memcmp(a, b, bytes))
                fail_msg("%s: not the same bytes", what);
}
static void every_processor_gives_the_same_bytes(void **state)
{
        (void)state;
        int kinds = 0;
        for (enum cpu_kind kind = CPU_ANY + 1; kind < CPU_KINDS; kind++) {
                if (!cpu_can(kind))
                        continue;
                kinds++;
                for (int which = 0; which < LRM_CASES + LRRM_CASES; which++) {
                        struct bench *b = which < LRM_CASES ? lrm_case(7, which) : lrrm_case(7, which - LRM_CASES);
                        const void *columns[2];
                        struct lrrm_match match[2] = {{0}};
                        run_kind(b, CPU_ANY, 0, &columns[0], &match[0]);
                        run_kind(b, kind, 1, &columns[1], &match[1]);
                        same("columns", columns[0], columns[1], COLUMNS_MAX * net2_stride(N) * sizeof(double));
                        same("match", &match[0], &match[1], sizeof match[0]);
                        same("terms", b->terms[0].z_re, b->terms[1].z_re, terms_bytes(N));
                        assert_true(b->d[0].match_l_u_h == b->d[1].match_l_u_h || isnan(b->d[0].match_l_u_h));
                        assert_true(b->d[0].open_c_u_f == b->d[1].open_c_u_f || isnan(b->d[0].open_c_u_f));
                        same("diagnosis", b->d[0].condition, b->d[1].condition, diagnosis_bytes(N));
                        arena_free(b->s->arena);
                }
        }
        print_message("%d kinds beside the plain one\n", kinds);
}

/* ---- memory -------------------------------------------------------------------------------------------------------------------------- */

static void nothing_is_allocated_and_little_is_needed(void **state)
{
        (void)state;
        for (int lrrm = 0; lrrm < 2; lrrm++) {
                struct bench *b = lrrm ? lrrm_case(4, 1) : lrm_case(4, 1);
                const struct method *m = rf_method(b->method);
                size_t bytes = m->workspace_bytes(N, b->p.standard_n), input = switch_terms_bytes(N);
                unsigned char *workspace = arena_take(b->s->arena, bytes + 64);
                memset(workspace + bytes, 0xa5, 64);
                for (size_t k = 0; k < b->p.standard_n; k++)
                        input += net2_bytes(N) * (b->standards[k].ideal ? 2 : 1);
                assert_true(bytes <= 3 * input);
                struct tp_error err = {0};
                struct mallinfo2 before = mallinfo2();
                assert_int_equal(m->solve(&b->p, workspace, &b->terms[0], NULL, &b->d[0], &err), CODE_OK);
                struct mallinfo2 after = mallinfo2();
                assert_true(before.uordblks == after.uordblks);
                for (size_t k = 0; k < 64; k++)
                        assert_int_equal(workspace[bytes + k], 0xa5);
                arena_free(b->s->arena);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(lrm_by_columns_is_lrm_by_points),
                cmocka_unit_test(lrrm_by_columns_is_lrrm_by_points),
                cmocka_unit_test(roots_on_the_cut),
                cmocka_unit_test(what_is_wrong_is_said_by_frequency),
                cmocka_unit_test(a_reflect_behind_a_line),
                cmocka_unit_test(every_processor_gives_the_same_bytes),
                cmocka_unit_test(nothing_is_allocated_and_little_is_needed),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
