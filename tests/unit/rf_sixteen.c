/* Sixteen terms: the fast elimination against the plain system solved by other means (least squares of 15 columns, LAPACK's singular
   values), weights, sensitivities against solving again, records, and everything that must be refused. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "rf/numbers/m2.h"
#define lapack_complex_double double complex
#define lapack_complex_float float complex
#include <lapacke.h>
#include "base/arena.h"
#include "rf/calibrate/calibration.h"
#include "rf/correct/correct.h"
#include "rf/correct/correct_full.h"
#include "rf/calibrate/sixteen/sixteen.h"
#include "rf/numbers/small.h"

enum { N = 13, STANDARDS = 8 }; /* 13: the last lanes are not full */
struct bench {
        struct arena *arena;
        double hz[N];
        struct axis axis;
        struct net2 raw[RF_STANDARD_MAX], ideal[RF_STANDARD_MAX];
        struct rf_standard standards[RF_STANDARD_MAX];
        struct switch_terms sw;
        struct problem problem;
        struct terms truth, terms;
        struct diagnosis diagnosis;
        struct tp_error err;
};
static uint64_t random_state;
static double draw(double lo, double hi)
{
        random_state = random_state * 6364136223846793005u + 1442695040888963407u;
        return lo + (hi - lo) * (double)(random_state >> 11) * 0x1p-53;
}
static double complex near(double complex x, double r) { return x + CMPLX(draw(-r, r), draw(-r, r)); }

/* thru, os, so, ll, ol, ls, oo, ss, each a little off its name, and an error network with leakage. */
static struct bench *bench_new(uint64_t seed, size_t standards, bool with_switch)
{
        static const double names[STANDARDS][4] = {{0, 1, 1, 0}, {1, 0, 0, -1}, {-1, 0, 0, 1}, {0, 0, 0, 0},
                                                   {1, 0, 0, 0}, {0, 0, 0, -1}, {1, 0, 0, 1},  {-1, 0, 0, -1}};
        struct arena *arena = arena_new(0);
        struct bench *b = arena_take(arena, sizeof *b);
        random_state = seed;
        b->arena = arena;
        for (int i = 0; i < N; i++)
                b->hz[i] = 1e9 * (1 + i);
        assert_int_equal(axis_of(N, b->hz, &b->axis, NULL), CODE_OK);
        b->truth = terms_at(arena_take(arena, terms_bytes(N)), &b->axis);
        b->truth.model = TERMS_SIXTEEN;
        b->terms = terms_at(arena_take(arena, terms_bytes(N)), &b->axis);
        b->diagnosis = diagnosis_at(arena_take(arena, diagnosis_bytes(N)), &b->axis);
        b->sw = switch_terms_at(arena_take(arena, switch_terms_bytes(N)), &b->axis);
        for (size_t i = 0; i < N; i++) {
                double complex e[16];
                struct full f;
                for (int k = 0; k < 16; k++) {
                        bool track = k == 2 || k == 7 || k == 8 || k == 13;
                        e[k] = track ? 0.8 * cexp(CMPLX(0, draw(-3, 3))) : near(0, k % 5 == 0 ? 0.1 : 0.02);
                }
                assert_true(full_from_network(e, &f));
                full_put(&b->truth, i, &f);
                b->sw.f_re[i] = draw(-0.1, 0.1);
                b->sw.r_im[i] = draw(-0.1, 0.1);
        }
        for (size_t k = 0; k < standards; k++) {
                const double *s = names[k % STANDARDS];
                b->raw[k] = net2_at(arena_take(arena, net2_bytes(N)), &b->axis, PLANE_RECEIVER);
                b->ideal[k] = net2_at(arena_take(arena, net2_bytes(N)), &b->axis, PLANE_TIP);
                for (size_t i = 0; i < N; i++) {
                        struct m2 d = m2_of(near(s[0], 0.1), s[1] + 0 * near(0, 0.1), s[2], near(s[3], 0.1));
                        if (k == 0)
                                d.e[1] = d.e[2] = cexp(CMPLX(-0.02, -0.05 * (double)i));
                        struct m2 m = full_embed_point(&b->truth, i, d);
                        net2_put(&b->ideal[k], i, d);
                        net2_put(&b->raw[k], i,
                                 with_switch ? rf_switch_insert_point(m, CMPLX(b->sw.f_re[i], b->sw.f_im[i]),
                                                                      CMPLX(b->sw.r_re[i], b->sw.r_im[i]))
                                             : m);
                }
                b->standards[k] = (struct rf_standard){.kind = k == 0   ? RF_THRU
                                                               : k == 3 ? RF_LOAD
                                                               : k == 6 ? RF_OPEN
                                                                        : RF_KNOWN,
                                                       .raw = &b->raw[k],
                                                       .ideal = &b->ideal[k]};
        }
        b->problem = (struct problem){
                .axis = &b->axis, .standards = b->standards, .standard_n = standards, .switch_terms = with_switch ? &b->sw : NULL};
        return b;
}
static enum code solve(struct bench *b, struct covariance *cov)
{
        const struct method *m = rf_method("sixteen_term");
        size_t bytes = m->workspace_bytes(N, b->problem.standard_n); /* exactly what it asks for */
        void *workspace = aligned_alloc(64, (bytes + 63) / 64 * 64);
        assert_non_null(workspace);
        b->err = (struct tp_error){0};
        b->diagnosis.warning_n = 0;
        for (size_t k = 0; k < RF_STANDARD_MAX; k++)
                b->diagnosis.standard[k] = (struct standard_residual){NAN, NAN, NAN};
        enum code code = m->solve(&b->problem, workspace, &b->terms, cov, &b->diagnosis, &b->err);
        free(workspace);
        return code;
}
static void full_close(const char *what, struct full a, struct full b, double tol)
{
        double d = fmax(fmax(m2_distance(a.t1, b.t1), m2_distance(a.t2, b.t2)), fmax(m2_distance(a.t3, b.t3), m2_distance(a.t4, b.t4)));
        if (!(d <= tol))
                fail_msg("%s: %.3g apart, allowed %.3g", what, d, tol);
}

/* The plain 4m x 16 system of one frequency, weights w per standard, order T1 T2 T3 T4. */
static size_t plain(const struct bench *b, size_t i, const double *w, double complex *a)
{
        memset(a, 0, 4 * b->problem.standard_n * 16 * sizeof *a);
        for (size_t s = 0; s < b->problem.standard_n; s++) {
                struct m2 m = net2_get(&b->raw[s], i), d = net2_get(&b->ideal[s], i);
                for (size_t r = 0; r < 2; r++)
                        for (size_t c = 0; c < 2; c++) {
                                double complex *row = a + (4 * s + 2 * r + c) * 16;
                                for (size_t k = 0; k < 2; k++) {
                                        row[2 * r + k] += w[s] * d.e[2 * k + c];
                                        for (size_t l = 0; l < 2; l++)
                                                row[8 + 2 * k + l] -= w[s] * m.e[2 * r + k] * d.e[2 * l + c];
                                        row[12 + 2 * k + c] -= w[s] * m.e[2 * r + k];
                                }
                                row[4 + 2 * r + c] += w[s];
                        }
        }
        return 4 * b->problem.standard_n;
}
static void noise(struct bench *b, double u)
{
        for (size_t s = 0; s < b->problem.standard_n; s++)
                for (size_t i = 0; i < N; i++)
                        for (int e = 0; e < 4; e++) {
                                b->raw[s].re[e][i] += draw(-u, u);
                                b->raw[s].im[e][i] += draw(-u, u);
                        }
}

static void same_as_the_plain_system(void **state)
{
        (void)state;
        double off = 0;
        for (uint64_t seed = 1; seed <= 12; seed++)
                for (size_t standards = 5; standards <= RF_STANDARD_MAX; standards += standards < 9 ? 1 : 7) {
                        struct bench *b = bench_new(seed, standards, false);
                        double ones[RF_STANDARD_MAX];
                        for (size_t k = 0; k < standards; k++)
                                ones[k] = 1;
                        noise(b, 1e-3); /* so that there is something to balance */
                        if (solve(b, NULL))
                                fail_msg("seed %d, %zu standards: %s", (int)seed, standards, b->err.text);
                        for (size_t i = 0; i < N; i++) {
                                double complex a[64 * 16], a15[64 * 15], rhs[64], x[15];
                                double s[16], super[16], condition;
                                size_t rows = plain(b, i, ones, a);
                                for (size_t r = 0; r < rows; r++) {
                                        memcpy(a15 + r * 15, a + r * 16, 12 * sizeof *a);
                                        memcpy(a15 + r * 15 + 12, a + r * 16 + 13, 3 * sizeof *a);
                                        rhs[r] = -a[r * 16 + 12];
                                }
                                assert_true(small_least_squares(rows, 15, a15, rhs, x, &condition));
                                struct full want = {{{x[0], x[1], x[2], x[3]}},
                                                    {{x[4], x[5], x[6], x[7]}},
                                                    {{x[8], x[9], x[10], x[11]}},
                                                    {{1, x[12], x[13], x[14]}}};
                                full_close("least squares", full_get(&b->terms, i), want, 1e-14 * condition);
                                assert_int_equal(
                                        LAPACKE_zgesvd(LAPACK_ROW_MAJOR, 'N', 'N', (int)rows, 16, a, 16, s, NULL, 1, NULL, 1, super), 0);
                                double ratio = b->diagnosis.condition[i] / (s[0] / s[14]),
                                       small = b->diagnosis.consistency[i] / (s[15] / s[14]);
                                off = fmax(off, fabs(ratio - 1));
                                /* the estimate comes from below; |N t|/|t| is not below s16 */
                                if (!(ratio > 0.6 && ratio < 1.02 && small > 0.6 && small < 4))
                                        fail_msg("seed %d, %zu standards: condition %.4g against %.4g, consistency %.3g against %.3g",
                                                 (int)seed, standards, b->diagnosis.condition[i], s[0] / s[14], b->diagnosis.consistency[i],
                                                 s[15] / s[14]);
                        }
                        arena_free(b->arena);
                }
        print_message("condition number: at most %.0f %% from LAPACK's\n", 100 * off);
}

/* One source, compiled for each kind of processor; 13 points leave lanes of every width half empty. */
static void every_processor_gives_the_same_bytes(void **state)
{
        (void)state;
        enum { COLUMNS = 2 * FULL_COUNT + 2 + STANDARDS };
        unsigned seen = 0;
        for (uint64_t seed = 1; seed <= 8; seed++) {
                struct bench *b = bench_new(seed, STANDARDS, seed % 2);
                noise(b, 1e-3);
                static double out[2][COLUMNS][N];
                double *column[2][COLUMNS];
                struct sixteen_columns in = {.n = N, .m = STANDARDS, .weighted = seed % 4 < 2, .switch_terms = b->problem.switch_terms};
                for (size_t s = 0; s < STANDARDS; s++) {
                        in.standard[s].raw_re = b->raw[s].re;
                        in.standard[s].raw_im = b->raw[s].im;
                        in.standard[s].s_re = b->ideal[s].re;
                        in.standard[s].s_im = b->ideal[s].im;
                        in.standard[s].w = in.weighted ? draw(0.01, 1) : 1;
                        in.standard[s].place = s;
                }
                void *scratch = arena_take(b->arena, sixteen_scratch_bytes(STANDARDS) + 64);
                for (const struct sixteen_kind *kind = sixteen_kinds; kind->word; kind++) {
                        int k = kind != sixteen_kinds;
                        if (!kind->can())
                                continue;
                        for (int c = 0; c < COLUMNS; c++)
                                column[k][c] = out[k][c];
                        in.t_re = column[k];
                        in.t_im = column[k] + FULL_COUNT;
                        in.condition = out[k][2 * FULL_COUNT];
                        in.consistency = out[k][2 * FULL_COUNT + 1];
                        in.residual = out[k][2 * FULL_COUNT + 2];
                        kind->run(&in, scratch);
                        for (int c = 0; c < COLUMNS; c++)
                                if (memcmp(out[0][c], out[k][c], sizeof out[0][c]) || !isfinite(out[k][c][N - 1]))
                                        fail_msg("seed %d, width %s: column %d differs", (int)seed, kind->word, c);
                        seen++;
                }
                arena_free(b->arena);
        }
        assert_true(seen >= 8);
}

static void exact_data_give_exact_terms(void **state)
{
        (void)state;
        for (uint64_t seed = 1; seed <= 20; seed++)
                for (int variant = 0; variant < 4; variant++) {
                        struct bench *b = bench_new(seed, variant < 2 ? 5 : 8, variant % 2);
                        for (size_t k = 0; k < b->problem.standard_n && seed % 2; k++)
                                b->standards[k].u_ideal = draw(0.001, 0.1);
                        if (solve(b, NULL))
                                fail_msg("seed %d: %s", (int)seed, b->err.text);
                        for (size_t i = 0; i < N; i++)
                                full_close("terms", full_get(&b->terms, i), full_get(&b->truth, i), 1e-11);
                        assert_true(b->terms.model == TERMS_SIXTEEN && b->terms.plane == PLANE_TIP && b->terms.z_re[N - 1] == 50);
                        assert_true(b->terms.switch_removed == (variant % 2));
                        assert_int_equal(b->diagnosis.warning_n, 0);
                        arena_free(b->arena);
                }
}

/* A standard that is known badly counts little; unweighted it spoils everything; the residual and the sentence name it. */
static void weights(void **state)
{
        (void)state;
        double with = 0, without = 0;
        for (int weighted = 0; weighted < 2; weighted++) {
                struct bench *b = bench_new(3, 8, false);
                for (size_t i = 0; i < N; i++)
                        b->ideal[5].re[0][i] += 0.1; /* the load of load_short */
                for (size_t k = 0; k < 8 && weighted; k++)
                        b->standards[k].u_ideal = k == 5 ? 0.1 : 1e-4;
                b->standards[5].name = "load, copy 3";
                assert_int_equal(solve(b, NULL), CODE_OK);
                double worst = 0;
                for (size_t i = 0; i < N; i++) {
                        struct full got = full_get(&b->terms, i), want = full_get(&b->truth, i);
                        worst = fmax(worst, fmax(m2_distance(got.t1, want.t1), m2_distance(got.t3, want.t3)));
                }
                *(weighted ? &with : &without) = worst;
                if (weighted) { /* all the error stays where it belongs */
                        assert_true(b->diagnosis.standard[5].worst > 0.05 && b->diagnosis.standard[4].worst < 1e-3);
                        assert_int_equal(b->diagnosis.warning_n, 1);
                        assert_non_null(strstr(b->diagnosis.warning[0], "load, copy 3 was read"));
                }
                arena_free(b->arena);
        }
        if (!(with < 1e-4 && without > 1e-2))
                fail_msg("weighted %.3g, unweighted %.3g", with, without);
}

/* d(terms)/d(input) and d(corrected)/d(input) against solving again with that input moved. */
static void sensitivities(void **state)
{
        (void)state;
        for (int variant = 0; variant < 3; variant++) {
                struct bench *b = bench_new(5 + (uint64_t)variant, 6, variant == 1);
                for (size_t k = 0; k < 6 && variant == 2; k++)
                        b->standards[k].u_ideal = 0.002 * (double)(1 + k);
                size_t points[2] = {0, 11};
                struct covariance cov = covariance_at(arena_take(b->arena, covariance_bytes(2, 6)), 2, points);
                assert_int_equal(solve(b, &cov), CODE_OK);
                assert_int_equal(cov.column_n, 6 * 8);
                struct terms kept = b->terms;
                b->terms = terms_at(arena_take(b->arena, terms_bytes(N)), &b->axis);
                double complex(*ds)[4] = arena_take(b->arena, cov.column_n * sizeof *ds);
                struct m2 device = m2_of(CMPLX(0.3, 0.1), 0.2, CMPLX(1.5, 1), CMPLX(0.5, -0.4));
                for (size_t q = 0; q < 2; q++) {
                        size_t i = points[q];
                        struct m2 m = full_embed_point(&b->truth, i, device);
                        rf_sensitivity(&cov, q, &kept, m, ds);
                        for (size_t c = 0; c < cov.column_n; c++) {
                                struct column col = cov.columns[c];
                                struct net2 *net = col.kind == COLUMN_RAW ? &b->raw[col.standard] : &b->ideal[col.standard];
                                double *x = &net->re[col.entry][i], was = *x;
                                struct m2 side[2];
                                double complex t[2][FULL_COUNT];
                                for (int up = 0; up < 2; up++) {
                                        *x = was + (up ? 1e-6 : -1e-6);
                                        assert_int_equal(solve(b, NULL), CODE_OK);
                                        side[up] = rf_correct2_point(&b->terms, i, m);
                                        for (int k = 0; k < FULL_COUNT; k++)
                                                t[up][k] = CMPLX(b->terms.full_re[k][i], b->terms.full_im[k][i]);
                                }
                                *x = was;
                                const double complex *d = cov.d_terms + (q * cov.column_n + c) * FULL_COUNT;
                                for (int k = 0; k < FULL_COUNT; k++)
                                        if (!(cabs(d[k] - (t[1][k] - t[0][k]) / 2e-6) < 2e-5))
                                                fail_msg("d T%d_%d%d by column %zu: %.9g%+.9gj, solving again %.9g%+.9gj", k / 4 + 1,
                                                         k % 4 / 2 + 1, k % 2 + 1, c, creal(d[k]), cimag(d[k]),
                                                         creal(t[1][k] - t[0][k]) / 2e-6, cimag(t[1][k] - t[0][k]) / 2e-6);
                                for (int e = 0; e < 4; e++)
                                        assert_true(cabs(ds[c][e] - (side[1].e[e] - side[0].e[e]) / 2e-6) < 1e-4);
                        }
                }
                arena_free(b->arena);
        }
}

static void records(void **state)
{
        (void)state;
        struct bench *b = bench_new(1, 5, true);
        assert_int_equal(solve(b, NULL), CODE_OK);
        size_t bytes = terms_blob_bytes(TERMS_SIXTEEN, N);
        unsigned char *blob = malloc(bytes);
        assert_non_null(blob);
        terms_to_blob(&b->terms, blob);
        struct terms back = terms_at(arena_take(b->arena, terms_bytes(N)), &b->axis);
        assert_int_equal(terms_from_blob(blob, bytes, &back, &b->err), CODE_OK);
        assert_true(back.model == TERMS_SIXTEEN && back.switch_removed && back.plane == PLANE_TIP && !strcmp(back.method, "sixteen_term"));
        for (int k = 0; k < FULL_COUNT; k++) {
                assert_memory_equal(back.full_re[k], b->terms.full_re[k], N * sizeof(double));
                assert_memory_equal(back.full_im[k], b->terms.full_im[k], N * sizeof(double));
        }
        for (int k = 0; k < TERM_COUNT; k++)
                assert_memory_equal(back.re[k], b->terms.re[k], N * sizeof(double));
        /* cut, and a version 1 that claims sixteen terms, and what nobody knows yet */
        assert_int_equal(terms_from_blob(blob, bytes - 8, &back, &b->err), CODE_DAMAGED);
        blob[8] = 1;
        assert_int_equal(terms_from_blob(blob, bytes, &back, &b->err), CODE_DAMAGED);
        blob[8] = 3;
        assert_int_equal(terms_from_blob(blob, bytes, &back, &b->err), CODE_TOO_NEW);
        free(blob);
        /* a record of eight terms is what it always was, and leaves no full terms behind */
        b->terms.model = TERMS_EIGHT;
        b->terms.method = "unknown_thru";
        size_t eight = terms_blob_bytes(TERMS_EIGHT, N);
        assert_int_equal(eight, 64 + 28 * N * 8);
        blob = malloc(eight);
        assert_non_null(blob);
        terms_to_blob(&b->terms, blob);
        assert_int_equal(blob[8], 1);
        assert_int_equal(terms_from_blob(blob, eight, &back, &b->err), CODE_OK);
        assert_true(back.model == TERMS_EIGHT && isnan(back.full_re[0][0]) && isnan(back.full_im[15][N - 1]));
        free(blob);
        arena_free(b->arena);
}

static void not_solved(struct bench *b, enum code want, const char *word)
{
        enum code code = solve(b, NULL);
        if (code != want || !strstr(b->err.text, word))
                fail_msg("code %d, \"%s\": wanted %d and \"%s\"", code, b->err.text, want, word);
        arena_free(b->arena);
}
static void what_is_refused(void **state)
{
        (void)state;
        struct bench *b = bench_new(1, 5, false);
        b->problem.standard_n = 4;
        not_solved(b, CODE_BAD_INPUT, "needs 5");
        b = bench_new(1, 8, false);
        b->standards[3].ports = 1;
        not_solved(b, CODE_BAD_INPUT, "load was read at port 1 only");
        b = bench_new(1, 8, false);
        b->raw[6].re[2][4] = NAN; /* the general check lets an open come without transmission; leakage is just that */
        not_solved(b, CODE_BAD_INPUT, "S21 of open (raw) is not a number at 5e+09 Hz");
        b = bench_new(1, 8, false);
        b->ideal[3].im[1][4] = INFINITY;
        not_solved(b, CODE_BAD_INPUT, "S12 of load (definition)");
        b = bench_new(1, 8, false);
        b->standards[1].u_ideal = -1;
        not_solved(b, CODE_BAD_INPUT, "uncertainty of -1");
        b = bench_new(1, 8, false);
        b->standards[1].u_ideal = NAN;
        not_solved(b, CODE_BAD_INPUT, "uncertainty of nan");
        b = bench_new(1, 8, false);
        b->standards[1].ideal = NULL;
        not_solved(b, CODE_BAD_INPUT, "known has no definition");
        b = bench_new(1, 8, false);
        b->standards[1].kind = RF_LINE;
        not_solved(b, CODE_BAD_INPUT, "has no use");
        b = bench_new(1, 8, false);
        b->raw[1].plane = PLANE_TIP;
        not_solved(b, CODE_BAD_INPUT, "must be raw");
        /* one frequency where two definitions coincide */
        b = bench_new(1, 5, false);
        net2_put(&b->ideal[4], 7, net2_get(&b->ideal[3], 7));
        net2_put(&b->raw[4], 7, net2_get(&b->raw[3], 7));
        not_solved(b, CODE_UNRESOLVABLE, "at 8e+09 Hz these 5 standards do not tell all terms apart");
        /* definitions differ, readings do not: a switch that did not switch */
        b = bench_new(1, 5, false);
        for (size_t k = 1; k < 5; k++)
                net2_copy(&b->raw[k], &b->raw[0]);
        not_solved(b, CODE_UNRESOLVABLE, "two of the readings are the same");
        /* reflections alone, all at both ports: a thru cannot be left out; what is proposed helps */
        b = bench_new(1, 8, false);
        for (size_t k = 0; k < 7; k++) {
                net2_copy(&b->raw[k], &b->raw[k + 1]);
                net2_copy(&b->ideal[k], &b->ideal[k + 1]);
        }
        b->problem.standard_n = 7;
        not_solved(b, CODE_UNRESOLVABLE, "add a thru");
}

/* One-port correction of a full calibration reads the view without leakage. */
static void one_port_view(void **state)
{
        (void)state;
        struct bench *b = bench_new(2, 8, false);
        assert_int_equal(solve(b, NULL), CODE_OK);
        double re[N], im[N];
        for (size_t i = 0; i < N; i++) {
                double complex e[16], g = CMPLX(0.4, -0.3);
                struct full f = full_get(&b->truth, i);
                full_to_network(&f, e);
                double complex m = e[0] + e[2] * e[8] * g / (1 - e[10] * g);
                re[i] = creal(m);
                im[i] = cimag(m);
        }
        assert_int_equal(rf_correct1(&b->terms, 1, re, im, re, im, NULL), CODE_OK);
        for (size_t i = 0; i < N; i++)
                assert_true(cabs(CMPLX(re[i], im[i]) - CMPLX(0.4, -0.3)) < 1e-12);
        /* leakage is at least the tip-to-tip coupling and no more than ten times the 2 % that was drawn */
        for (size_t i = 0; i < N; i++)
                assert_true(b->diagnosis.leakage[i] > 0.003 && b->diagnosis.leakage[i] < 0.2);
        arena_free(b->arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(same_as_the_plain_system),
                                           cmocka_unit_test(every_processor_gives_the_same_bytes),
                                           cmocka_unit_test(exact_data_give_exact_terms),
                                           cmocka_unit_test(weights),
                                           cmocka_unit_test(sensitivities),
                                           cmocka_unit_test(records),
                                           cmocka_unit_test(what_is_refused),
                                           cmocka_unit_test(one_port_view)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
