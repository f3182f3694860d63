/* rf_judge.c: residuals, reciprocity, length errors and the second opinion of "multiline_trl" against the same figures reckoned from
   their definitions in extended precision: unterminated S, its T, the whole sums over pairs of lines, and a power iteration for the
   eigenvectors, where judge.c has sums over lines and a closed form.  Lines in noise, one of them of wrong length.
   And the blocks of frequencies, in which pairs and figures are reckoned, do not show: a part of the band alone gives the same bytes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <inttypes.h>
#include <string.h>
#include "rf_synth.h"

enum { N = 150, LINES = 5 };
struct bench {
        struct synth *s;
        struct problem p;
        struct rf_standard standards[LINES + 1];
        double length_m[LINES];
        size_t line_n;
        struct terms terms;
        struct diagnosis d;
};

static struct bench *solved(uint64_t seed, double noise)
{
        static const double lengths[LINES] = {200e-6, 450e-6, 900e-6, 1800e-6, 3500e-6};
        struct arena *arena = arena_new(0);
        struct bench *b = arena_take(arena, sizeof *b);
        double hz[N];
        synth_grid(N, 70e3, 220e9, hz);
        struct synth *s = b->s = synth_new(arena, seed, N, hz);
        b->line_n = 2 + seed % (LINES - 1);
        for (size_t k = 0; k < b->line_n; k++) {
                double true_m = lengths[k] + (k == 2 ? 12e-6 : 0);
                struct net2 *raw = synth_raw(s, synth_line, &true_m);
                synth_noise(s, raw, noise);
                b->length_m[k] = lengths[k];
                b->standards[k] = (struct rf_standard){.kind = RF_LINE, .raw = raw, .length_m = lengths[k]};
        }
        struct net2 *reflect = synth_raw(s, synth_short, &(struct synth_two){{3e-12L, 3e-12L}});
        synth_noise(s, reflect, noise);
        b->standards[b->line_n] = (struct rf_standard){.kind = RF_REFLECT, .raw = reflect};
        b->p = (struct problem){.axis = &s->axis,
                                .standards = b->standards,
                                .standard_n = b->line_n + 1,
                                .switch_terms = seed % 4 ? &s->sw : NULL,
                                .eps_eff_guess = (double)(s->line.l * s->line.c) * RF_C0_M_S * RF_C0_M_S,
                                .reflect_estimate = -1,
                                .reflect_offset_m = -100e-6,
                                .reflect_contradiction_allowed = true};
        b->terms = terms_at(arena_take(arena, terms_bytes(N)), &s->axis);
        b->d = diagnosis_at(arena_take(arena, diagnosis_bytes(N)), &s->axis);
        const struct method *m = rf_method("multiline_trl");
        struct tp_error err = {0};
        if (m->solve(&b->p, arena_take(arena, m->workspace_bytes(N, b->p.standard_n)), &b->terms, NULL, &b->d, &err))
                fail_msg("seed %" PRIu64 ": %s", seed, err.text);
        return b;
}

/* ---- from the definitions ------------------------------------------------------------------------------------------------------------ */

struct truth {
        long double residual, reciprocity, second, error_m[LINES];
};
struct solution {
        wide g, b1, ca1, b2, ca2, a1, a2, r;
};
static wide term(const struct bench *b, enum term t, size_t i) { return wide_of(b->terms.re[t][i], b->terms.im[t][i]); }
static struct solution solution_at(const struct bench *b, size_t i)
{
        struct solution s = {.g = wide_of(b->d.gamma_re[i], b->d.gamma_im[i]), .b1 = term(b, TERM_EDF, i), .b2 = term(b, TERM_EDR, i)};
        s.a1 = term(b, TERM_ERF, i) - term(b, TERM_EDF, i) * term(b, TERM_ESF, i);
        s.a2 = term(b, TERM_ERR, i) - term(b, TERM_EDR, i) * term(b, TERM_ESR, i);
        s.ca1 = -term(b, TERM_ESF, i) / s.a1;
        s.ca2 = -term(b, TERM_ESR, i) / s.a2;
        s.r = 1 / term(b, TERM_ETF, i);
        return s;
}
static struct wm2 t_of(const struct bench *b, size_t k, size_t i)
{
        const struct net2 *raw = b->standards[k].raw;
        const struct switch_terms *sw = b->p.switch_terms;
        wide m[4], gf = sw ? wide_of(sw->f_re[i], sw->f_im[i]) : 0, gr = sw ? wide_of(sw->r_re[i], sw->r_im[i]) : 0;
        for (int e = 0; e < 4; e++)
                m[e] = wide_of(raw->re[e][i], raw->im[e][i]);
        wide d = 1 - m[1] * m[2] * gf * gr;
        wide s11 = (m[0] - m[1] * m[2] * gf) / d, s12 = (m[1] - m[0] * m[1] * gr) / d, s21 = (m[2] - m[3] * m[2] * gf) / d,
             s22 = (m[3] - m[1] * m[2] * gr) / d;
        return wm2_of((s12 * s21 - s11 * s22) / s21, s11 / s21, -s22 / s21, 1 / s21);
}
static wide det(struct wm2 m) { return m.e[0] * m.e[3] - m.e[1] * m.e[2]; }

/* v = vec(V) in column order after many rounds of F (F + mu)/(2 mu^2); V's dominant singular vectors to second order. */
static void eigenvector(wide f[4][4], long double mu, wide v[4], wide x[2], wide y[2])
{
        for (int round = 0; round < 300; round++) {
                wide u[4], w[4];
                long double size = 0;
                for (int i = 0; i < 4; i++)
                        u[i] = f[i][0] * v[0] + f[i][1] * v[1] + f[i][2] * v[2] + f[i][3] * v[3] + mu * v[i];
                for (int i = 0; i < 4; i++) {
                        w[i] = f[i][0] * u[0] + f[i][1] * u[1] + f[i][2] * u[2] + f[i][3] * u[3];
                        size = fmaxl(size, cabsl(w[i]));
                }
                for (int i = 0; i < 4; i++)
                        v[i] = w[i] / size;
        }
        long double one = creall(v[0] * conjl(v[0]) + v[1] * conjl(v[1])), two = creall(v[2] * conjl(v[2]) + v[3] * conjl(v[3]));
        const wide *c = one >= two ? v : v + 2;
        wide p = conjl(v[0]) * c[0] + conjl(v[1]) * c[1], q = conjl(v[2]) * c[0] + conjl(v[3]) * c[1];
        x[0] = v[0] * p + v[2] * q;
        x[1] = v[1] * p + v[3] * q;
        y[0] = v[0] * conjl(x[0]) + v[1] * conjl(x[1]);
        y[1] = v[2] * conjl(x[0]) + v[3] * conjl(x[1]);
}
static long double second_of(size_t n, const struct wm2 *t, const wide *z, const struct solution *s)
{
        wide f[4][4] = {{0}}, x[2], y[2];
        long double lambda = 0;
        for (size_t m = 0; m < n; m++) {
                wide row[4] = {t[m].e[3] / det(t[m]), -t[m].e[1] / det(t[m]), -t[m].e[2] / det(t[m]), t[m].e[0] / det(t[m])};
                for (size_t k = 0; k < n; k++) {
                        wide w = conjl(z[m] / z[k] - z[k] / z[m]), vec[4] = {t[k].e[0], t[k].e[2], t[k].e[1], t[k].e[3]};
                        lambda += creall(w * conjl(w)) / 2;
                        for (int i = 0; i < 4; i++)
                                for (int j = 0; j < 4; j++)
                                        f[i][j] += vec[i] * w * row[j];
                }
        }
        wide v[4] = {1, s->ca1, -s->ca2, -s->ca1 * s->ca2}, u[4] = {-s->b1 * s->b2, -s->b2, s->b1, 1}, d1 = 1 - s->b1 * s->ca1,
             d2 = 1 - s->b2 * s->ca2;
        eigenvector(f, -lambda, v, x, y);
        wide of[4] = {0, (x[1] / x[0] - s->ca1) * s->a1 / d1, 0, (-y[1] / y[0] - s->ca2) * s->a2 / d2};
        eigenvector(f, lambda, u, x, y);
        of[0] = (x[0] / x[1] - s->b1) / (s->a1 * d1);
        of[2] = (-y[0] / y[1] - s->b2) / (s->a2 * d2);
        return fmaxl(fmaxl(cabsl(of[0]), cabsl(of[1])), fmaxl(cabsl(of[2]), cabsl(of[3])));
}
static struct truth truth_at(const struct bench *b, size_t i)
{
        struct solution s = solution_at(b, i);
        struct wm2 t[LINES], left = wm2_inv(wm2_of(s.a1, s.b1, s.ca1 * s.a1, 1)), right = wm2_inv(wm2_of(s.a2, -s.ca2 * s.a2, -s.b2, 1));
        wide z[LINES], miss[LINES], mean = 0, slope = 0;
        long double l_mean = 0, spread = 0, n = (long double)b->line_n;
        struct truth ret = {0};
        for (size_t k = 0; k < b->line_n; k++) {
                long double l = (long double)b->length_m[k] - (long double)b->length_m[0];
                t[k] = t_of(b, k, i);
                z[k] = cexpl(-s.g * l);
                struct wm2 d = wm2_mul(left, wm2_mul(t[k], right));
                for (int e = 0; e < 4; e++)
                        d.e[e] /= s.r;
                wide s11 = d.e[1] / d.e[3], s12 = det(d) / d.e[3], s21 = 1 / d.e[3], s22 = -d.e[2] / d.e[3];
                ret.residual = fmaxl(ret.residual, fmaxl(fmaxl(cabsl(s11), cabsl(s22)), fmaxl(cabsl(s21 - z[k]), cabsl(s12 - z[k]))));
                ret.reciprocity = fmaxl(ret.reciprocity, cabsl(s21 - s12));
                miss[k] = clogl(d.e[3] / d.e[0] * z[k] * z[k]) / 2;
                mean += miss[k] / n;
                l_mean += (long double)b->length_m[k] / n;
        }
        for (size_t k = 0; k < b->line_n; k++) {
                long double off = (long double)b->length_m[k] - l_mean;
                slope += off * miss[k];
                spread += off * off;
        }
        for (size_t k = 0; k < b->line_n; k++) {
                long double off = (long double)b->length_m[k] - l_mean;
                ret.error_m[k] = creall((miss[k] - mean - slope / spread * off) / s.g) / (1 - 1 / n - off * off / spread);
        }
        ret.second = second_of(b->line_n, t, z, &s);
        return ret;
}

/* What each line misses by all others, reckoned again with line `out` left out of the straight line: all from the normal equations. */
static void without(const struct bench *b, size_t out, long double error[LINES])
{
        long double y[LINES], ret[LINES], slope = 0;
        for (int pass = 0; pass < 2; pass++)
                for (size_t k = 0; k < b->line_n; k++) {
                        long double n = 0, l1 = 0, l2 = 0, y1 = 0, ly = 0;
                        for (size_t m = 0; m < b->line_n; m++) {
                                long double l = (long double)b->length_m[m];
                                if (pass && (m == out || m == k))
                                        continue;
                                n++;
                                l1 += l;
                                l2 += l * l;
                                y1 += pass ? y[m] : 0;
                                ly += pass ? l * y[m] : 0;
                        }
                        long double det = n * l2 - l1 * l1, l = (long double)b->length_m[k];
                        if (!pass) /* back to the residual: 1 - leverage of it */
                                y[k] = error[k] * (1 - (l2 - 2 * l * l1 + n * l * l) / det);
                        else {
                                ret[k] = y[k] - ((l2 * y1 - l1 * ly) + (n * ly - l1 * y1) * l) / det;
                                slope = k == out ? (n * ly - l1 * y1) / det : slope;
                        }
                }
        for (size_t k = 0; k < b->line_n; k++) /* gamma was found with the wrong length */
                error[k] = ret[k] / (1 + slope);
}

static void as_defined(void **state)
{
        (void)state;
        uint64_t first = synth_seed(1), last = getenv("TIPPLANE_SEED") ? first : 12;
        for (uint64_t seed = first; seed <= last; seed++) {
                struct bench *b = solved(seed, 3e-4);
                long double error[LINES] = {0}, weight = 0;
                for (size_t i = 0; i < N; i++) {
                        struct truth t = truth_at(b, i);
                        double rounding = 1e-11 * fmax(1, b->d.nstd[i] * b->d.nstd[i] * 1e-3);
                        if (!(fabsl(b->d.residual_worst[i] - t.residual) < rounding * fmaxl(1, t.residual)))
                                fail_msg("seed %" PRIu64 ", %.4g Hz: residual %.15g, defined %.15Lg", seed, b->s->axis.hz[i],
                                         b->d.residual_worst[i], t.residual);
                        if (!(fabsl(b->d.reciprocity[i] - t.reciprocity) < rounding * fmaxl(1, t.reciprocity)))
                                fail_msg("seed %" PRIu64 ", %.4g Hz: reciprocity %.15g, defined %.15Lg", seed, b->s->axis.hz[i],
                                         b->d.reciprocity[i], t.reciprocity);
                        if (b->d.nstd[i] <= 30 && !(fabsl(b->d.second_opinion[i] - t.second) < rounding + 1e-9 * t.second))
                                fail_msg("seed %" PRIu64 ", %.4g Hz: second opinion %.15g, defined %.15Lg", seed, b->s->axis.hz[i],
                                         b->d.second_opinion[i], t.second);
                        if (!(b->d.nstd[i] <= 3))
                                continue;
                        long double w = (long double)b->d.gamma_re[i] * b->d.gamma_re[i] + (long double)b->d.gamma_im[i] * b->d.gamma_im[i];
                        for (size_t k = 0; k < b->line_n; k++)
                                error[k] += w * t.error_m[k];
                        weight += w;
                }
                for (size_t k = 0; k < b->line_n; k++)
                        error[k] /= weight;
                if (b->line_n >= 4) /* the others are judged without the wrong one */
                        without(b, 2, error);
                for (size_t k = 0; k < b->line_n; k++)
                        if (b->line_n < 3)
                                assert_true(isnan(b->d.line_length_error_m[k]));
                        else if (!(fabsl(b->d.line_length_error_m[k] - error[k]) < 1e-14L))
                                fail_msg("seed %" PRIu64 ": line %zu longer by %.10g um, defined %.10Lg", seed, k,
                                         b->d.line_length_error_m[k] * 1e6, error[k] * 1e6L);
                arena_free(b->s->arena);
        }
}

/* The raw data of some frequencies of the whole band. */
static struct bench *part_of(const struct bench *b, size_t from, size_t n)
{
        struct arena *arena = b->s->arena;
        struct bench *part = arena_take(arena, sizeof *part);
        struct axis *axis = arena_take(arena, sizeof *axis);
        assert_int_equal(axis_of(n, b->s->axis.hz + from, axis, NULL), CODE_OK);
        *part = *b;
        part->p.axis = axis;
        part->p.standards = part->standards;
        for (size_t k = 0; k < b->p.standard_n; k++) {
                const struct net2 *whole = b->standards[k].raw;
                struct net2 *raw = arena_take(arena, sizeof *raw);
                *raw = net2_at(arena_take(arena, net2_bytes(n)), axis, PLANE_RECEIVER);
                for (size_t i = 0; i < n; i++)
                        net2_put(raw, i, net2_get(whole, from + i));
                part->standards[k].raw = raw;
        }
        if (b->p.switch_terms) {
                struct switch_terms *sw = arena_take(arena, sizeof *sw);
                *sw = switch_terms_at(arena_take(arena, switch_terms_bytes(n)), axis);
                const double *all[] = {b->s->sw.f_re, b->s->sw.f_im, b->s->sw.r_re, b->s->sw.r_im};
                double *to[] = {sw->f_re, sw->f_im, sw->r_re, sw->r_im};
                for (int k = 0; k < 4; k++)
                        memcpy(to[k], all[k] + from, n * sizeof(double));
                part->p.switch_terms = sw;
        }
        part->terms = terms_at(arena_take(arena, terms_bytes(n)), axis);
        part->d = diagnosis_at(arena_take(arena, diagnosis_bytes(n)), axis);
        const struct method *m = rf_method("multiline_trl");
        struct tp_error err = {0};
        if (m->solve(&part->p, arena_take(arena, m->workspace_bytes(n, part->p.standard_n)), &part->terms, NULL, &part->d, &err))
                fail_msg("seed %" PRIu64 " from %zu: %s", b->s->seed, from, err.text);
        return part;
}
static void blocks_do_not_show(void **state)
{
        (void)state;
        static const size_t from[] = {0, 1, 37, 60, 90, 143}, count[] = {150, 149, 100, 67, 33, 7};
        uint64_t first = synth_seed(1), last = getenv("TIPPLANE_SEED") ? first : 12;
        size_t changes = 0; /* of the common line: blocks begin anew */
        for (uint64_t seed = first; seed <= last; seed++) {
                struct bench *b = solved(seed, 1e-8); /* beneath what lines_in_noise() takes from a part's neighbours */
                for (size_t i = 1; i < N; i++)
                        changes += b->d.common_line[i] != b->d.common_line[i - 1];
                for (size_t q = 0; q < sizeof from / sizeof from[0]; q++) {
                        struct bench *part = part_of(b, from[q], count[q]);
                        size_t f = from[q], bytes = count[q] * sizeof(double);
                        for (int t = 0; t < TERM_COUNT; t++) {
                                assert_memory_equal(part->terms.re[t], b->terms.re[t] + f, bytes);
                                assert_memory_equal(part->terms.im[t], b->terms.im[t] + f, bytes);
                        }
                        const struct diagnosis *one = &part->d, *all = &b->d;
                        assert_memory_equal(one->gamma_re, all->gamma_re + f, bytes);
                        assert_memory_equal(one->gamma_im, all->gamma_im + f, bytes);
                        assert_memory_equal(one->nstd, all->nstd + f, bytes);
                        assert_memory_equal(one->residual_worst, all->residual_worst + f, bytes);
                        assert_memory_equal(one->reciprocity, all->reciprocity + f, bytes);
                        assert_memory_equal(one->common_line, all->common_line + f, bytes);
                        for (size_t i = 0; i < count[q]; i++) /* NaN where there are two lines, of either sign */
                                assert_true(one->second_opinion[i] == all->second_opinion[f + i] ||
                                            (isnan(one->second_opinion[i]) && isnan(all->second_opinion[f + i])));
                }
                arena_free(b->s->arena);
        }
        print_message("the common line changes %zu times\n", changes);
        assert_true(changes > 0 || getenv("TIPPLANE_SEED"));
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(as_defined), cmocka_unit_test(blocks_do_not_show)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
