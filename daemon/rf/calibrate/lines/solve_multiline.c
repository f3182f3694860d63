/* solve_multiline.c: "multiline_trl": lines of one cross-section and different lengths, and a reflect (calibration.h, lines.h).
 * Sources     Marks, IEEE Trans. MTT 39 (1991) 1205; weights and normalised standard deviation as in DeGroot, Jargon & Marks, 60th ARFTG
 *             2002.
 * Idea        1. Propagation constant: eigenvalues of each pair, logarithms unwrapped by a ladder from the shortest to the longest
 *                difference, then least squares with the covariance that the common line brings (V^{-1} = I - 11^T/N).
 *             2. b and ca of both ports: Gauss-Markov mean of the pairs' eigenvectors.
 *             3. a1 a2 and r from line 0; a1 from the reflect, up to a sign (lines.c).
 * Weights     The published covariance of b has |e_k|^2 + |e_k|^-2 + 2 |z_k z_c|^2 on its diagonal and e_k e_m* + |z_c|^2 z_k z_m* beside
 *             it, over n_k n_m*.  With z_k = e_k z_c that is (1 + |z_c|^4) e e^H plus a real diagonal: its inverse is closed
 *             (Sherman-Morrison; own derivation, checked by the nstd of tests/reference/cal_mtrl.json).  ca alike with 1/e_k.
 * Rejected    Weights from the measured eigenvalues themselves: biased. */
#include "rf/calibrate/lines/lines.h"
#include <math.h>
#include <string.h>

#define SURE 0.002 /* relative: an estimate that is a solution already */

static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

/* Indices of the other lines, by length difference from line c. */
static size_t ladder(size_t n, const double *l, size_t c, size_t order[RF_STANDARD_MAX])
{
        size_t m = 0;
        for (size_t k = 0; k < n; k++) {
                if (k == c)
                        continue;
                size_t j = m++;
                while (j > 0 && fabs(l[order[j - 1]] - l[c]) > fabs(l[k] - l[c])) {
                        order[j] = order[j - 1];
                        j--;
                }
                order[j] = k;
        }
        return m;
}

#define LOSSY 0.02 /* Np: loss of a pair that stands out of the noise */

/* Which order has the loss: +1 the present one, -1 the turned one, 0 not to be told.  About a half wave the orders are +d and -d, and only
   one of them loses what the estimate x says; that needs no eigenvectors, which are poor there. */
static int order_by_loss(const struct line_pair *q, double complex x)
{
        double loss = creal(line_pair_phase(q, x)), want = fabs(creal(x));
        if (want < LOSSY || fabs(fabs(loss) - want) > 0.3 * want)
                return 0;
        return loss * creal(x) > 0 ? 1 : -1;
}

/* All pairs in one order: the shortest pair that is well off half a wave (else the one furthest off) by the estimate, the others alike. */
static void orient(size_t n, struct line_pair *pair, const double *l, size_t c, double complex g0)
{
        size_t first = c;
        double best = -1, shortest = 0;
        for (size_t k = 0; k < n; k++) {
                if (k == c)
                        continue;
                double sinh2 = fmin(0.25, abs2(pair[k].root) / abs2(pair[k].det)), dl = fabs(l[k] - l[c]);
                if (sinh2 > best || (sinh2 == best && dl < shortest)) {
                        best = sinh2;
                        shortest = dl;
                        first = k;
                }
        }
        line_pair_orient(&pair[first], g0 * (l[first] - l[c]));
        for (size_t k = 0; k < n; k++)
                if (k != c && k != first) {
                        int order = order_by_loss(&pair[k], g0 * (l[k] - l[c]));
                        if (order < 0)
                                line_pair_turn(&pair[k]);
                        else if (order == 0)
                                line_pair_orient_like(&pair[k], pair[first].box);
                }
}

/* g from all pairs with line c, unwrapped against the estimate g0, which is good to `relative`.  Each rung of the ladder improves the
   estimate for the next, longer one by as much as it can be trusted: a pair whose lengths are 20 um wrong, or that is nearly half a wave
   long, must not spoil a good estimate (a wrong length of the shortest pair makes it 10 % wrong). */
static double complex propagation(size_t n, const struct line_pair *pair, const double *l, size_t c, double complex g0, double relative)
{
        size_t order[RF_STANDARD_MAX], m = ladder(n, l, c, order);
        double complex g = g0, mean_y = 0, y_of[RF_STANDARD_MAX];
        double mean_l = 0, weight = 1 / (relative * relative);
        for (size_t j = 0; j < m; j++) {
                double dl = l[order[j]] - l[c];
                const struct line_pair *q = &pair[order[j]];
                double complex y = line_pair_phase(q, g * dl);
                double sinh2 = abs2(q->root) / abs2(q->det), here = 20e-6 / fabs(dl) + 0.02 / sqrt(abs2(y) * fmin(1, sinh2));
                if (here < 1) {
                        double own = 1 / (here * here);
                        g += (y / dl - g) * (own / (weight + own));
                        weight += own;
                }
                y_of[j] = y;
                mean_y += y / (double)n;
                mean_l += dl / (double)n;
        }
        /* V^{-1} = I - 11^T/N: a line through all N points, the common one at nothing; from their means, where nothing cancels */
        double complex sum_ly = mean_l * mean_y;
        double sum_ll = mean_l * mean_l;
        for (size_t j = 0; j < m; j++) {
                double from_mean = l[order[j]] - l[c] - mean_l;
                sum_ly += from_mean * (y_of[j] - mean_y);
                sum_ll += from_mean * from_mean;
        }
        return sum_ly / sum_ll;
}

/* The line whose worst pair is best: the largest of the smallest |sinh g dl|. */
static size_t common_line(size_t n, const double complex *z, const double complex *inverse_z)
{
        double worst[RF_STANDARD_MAX];
        size_t best = 0;
        for (size_t c = 0; c < n; c++)
                worst[c] = 4;
        for (size_t c = 0; c < n; c++)
                for (size_t k = 0; k < c; k++) {
                        double size = abs2(z[k] * inverse_z[c] - z[c] * inverse_z[k]);
                        worst[c] = size < worst[c] ? size : worst[c];
                        worst[k] = size < worst[k] ? size : worst[k];
                }
        for (size_t c = 1; c < n; c++)
                if (worst[c] > worst[best])
                        best = c;
        return best;
}

/* A line of the two that differ least; of these the one that is nearer to a third. */
static size_t of_shortest_pair(size_t n, const double *l)
{
        size_t best = 0;
        double best_first = INFINITY, best_second = INFINITY;
        for (size_t c = 0; c < n; c++) {
                double first = INFINITY, second = INFINITY;
                for (size_t k = 0; k < n; k++) {
                        double dl = k == c ? INFINITY : fabs(l[k] - l[c]);
                        second = fmin(second, fmax(first, dl));
                        first = fmin(first, dl);
                }
                if (first < best_first || (first == best_first && second < best_second)) {
                        best = c;
                        best_first = first;
                        best_second = second;
                }
        }
        return best;
}

/* Weights 1^T V^{-1} with V = N^{-1} (kappa e e^H + diag(delta)) N^{-H}, N = diag(node); returns 1/(1^T V^{-1} 1). */
static double weights(size_t m, const double complex *e, const double complex *node, double kappa, const double *over_delta,
                      double complex *w)
{
        double complex p = 0, sum = 0;
        double size = 0;
        for (size_t j = 0; j < m; j++) {
                p += over_delta[j] * (conj(node[j]) * e[j]);
                size += over_delta[j] * abs2(e[j]);
        }
        p *= kappa / (1 + kappa * size);
        for (size_t j = 0; j < m; j++) {
                w[j] = over_delta[j] * (node[j] * (conj(node[j]) - p * conj(e[j])));
                sum += w[j];
        }
        double complex scale = 1 / sum;
        for (size_t j = 0; j < m; j++)
                w[j] *= scale;
        return 1 / creal(sum);
}

/* b and ca of both ports from the pairs with line c; z: of the weights. */
static bool boxes(size_t n, const struct line_pair *pair, const double complex *z, const double complex *inverse_z, size_t c,
                  struct line_solution *s)
{
        double complex e[RF_STANDARD_MAX], inverse[RF_STANDARD_MAX], node[RF_STANDARD_MAX], w[RF_STANDARD_MAX];
        const double complex *box[RF_STANDARD_MAX];
        double over_db[RF_STANDARD_MAX], over_dc[RF_STANDARD_MAX], zc4 = abs2(z[c]) * abs2(z[c]);
        size_t m = 0;
        if (n < 2)
                return false;
        e[0] = node[0] = inverse[0] = over_db[0] = over_dc[0] = 1;
        for (size_t k = 0; k < n; k++) {
                if (k == c)
                        continue;
                e[m] = z[k] * inverse_z[c];
                inverse[m] = inverse_z[k] * z[c];
                node[m] = e[m] - inverse[m];
                double e2 = abs2(e[m]);
                over_db[m] = e2 / (1 + zc4 * e2 * e2);
                over_dc[m] = zc4 * over_db[m];
                box[m] = pair[k].box;
                m++;
        }
        s->b1 = s->ca1 = s->b2 = s->ca2 = 0;
        double var_b = weights(m, e, node, 1 + zc4, over_db, w);
        for (size_t j = 0; j < m; j++) {
                s->b1 += w[j] * box[j][0];
                s->b2 += w[j] * box[j][2];
        }
        double var_c = weights(m, inverse, node, 1 + 1 / zc4, over_dc, w);
        for (size_t j = 0; j < m; j++) {
                s->ca1 += w[j] * box[j][1];
                s->ca2 += w[j] * box[j][3];
        }
        s->nstd = (sqrt(var_b) + sqrt(var_c)) / 2;
        return isfinite(s->nstd);
}

static void decays(size_t n, const double *l, double complex g, double complex *z, double complex *inverse_z)
{
        z[0] = inverse_z[0] = 1;
        for (size_t k = 1; k < n; k++) {
                z[k] = cexp(-g * (l[k] - l[0]));
                inverse_z[k] = 1 / z[k];
        }
}

/* Where the pairs of one frequency come from: its block, or its own T. */
struct source {
        struct line_block *block;
        size_t i;
        struct m2 t[RF_STANDARD_MAX]; /* of line 0 alone, where there is a block */
};
static void pairs_with(struct source *from, size_t n, const double *l, size_t c, double complex g0, struct line_pair *pair)
{
        if (from->block)
                line_block_pairs(from->block, from->i, c, pair, &from->t[0]);
        else
                for (size_t k = 0; k < n; k++)
                        if (k != c)
                                pair[k] = line_pair_of(from->t[k], from->t[c]);
        orient(n, pair, l, c, g0);
}

static bool solve_point(const struct point *p, const struct line_set *ln, const struct line_choice *held, double complex g0,
                        double g0_relative, size_t common0, struct line_block *block, struct line_solution *s, double *residual)
{
        struct source from;
        from.block = block;
        from.i = p->i;
        struct line_pair pair[RF_STANDARD_MAX];
        double l[RF_STANDARD_MAX];
        double complex z[RF_STANDARD_MAX], inverse_z[RF_STANDARD_MAX];
        size_t n = ln->n;
        if (n < 2)
                return false;
        for (size_t k = 0; k < n; k++) {
                if (!block && !line_t(p, ln->at[k], &from.t[k]))
                        return false;
                l[k] = p->length_m[ln->at[k]];
        }
        if (held) {
                s->common = held->common;
                pairs_with(&from, n, l, s->common, held->g, pair);
                s->g = propagation(n, pair, l, s->common, held->g, SURE);
                decays(n, l, held->g, z, inverse_z);
        } else {
                if (common0 >= n) /* a guess carries no further than the shortest difference: the ladder begins there */
                        common0 = of_shortest_pair(n, l);
                s->common = common0;
                pairs_with(&from, n, l, s->common, g0, pair);
                s->g = propagation(n, pair, l, s->common, g0, g0_relative);
                decays(n, l, s->g, z, inverse_z);
                size_t better = common_line(n, z, inverse_z);
                if (better != s->common) {
                        s->common = better;
                        pairs_with(&from, n, l, better, s->g, pair);
                        s->g = propagation(n, pair, l, better, s->g, SURE);
                        decays(n, l, s->g, z, inverse_z);
                }
        }
        if (!boxes(n, pair, z, inverse_z, s->common, s))
                return false;
        line_finish(p, ln, held, from.t[0], s, residual);
        if (!residual)
                return true;
        double best = 0;
        for (size_t k = 0; k < n; k++) {
                double size = abs2(z[k] * inverse_z[s->common] - z[s->common] * inverse_z[k]);
                best = size > best ? size : best;
        }
        s->phase_eff_deg = asin(fmin(1, sqrt(best) / 2)) * 180 / RF_PI;
        return true;
}

static bool terms_point(const struct point *p, const void *choice, double complex t[TERM_COUNT])
{
        struct line_set ln = lines_of(p->problem);
        const struct line_choice *held = choice;
        struct line_solution s;
        if (!solve_point(p, &ln, held, held->g, SURE, 0, NULL, &s, NULL))
                return false;
        line_terms(p->problem, p->hz, &s, t);
        return true;
}

enum code multiline_solve(const struct problem *p, void *workspace, struct terms *out, struct covariance *cov, struct diagnosis *d,
                          struct tp_error *err)
{
        enum code code = rf_problem_check(rf_method("multiline_trl"), p, err);
        return code ? code : lines_solve("multiline_trl", solve_point, terms_point, true, p, workspace, out, cov, d, err);
}
