/* judge.c: what lines say of a solution, all frequencies (lines.h): how far each is met, what is not reciprocal, how much longer each
 * seems than told, and the boxes once more from all lines at once.
 * Second      Hatab, Gadringer & Boesch, "Improving the reliability of the multiline TRL calibration algorithm", 98th ARFTG 2022: one
 *             weighted 4x4 eigenproblem F v = lambda v.  Column k of M is vec(T_k) = (T11, T21, T12, T22), R_k = vec(T_k)^T P Q / det T_k =
 *             (T22, -T12, -T21, T11)/det T_k, W_km = conj(z_m/z_k - z_k/z_m), F = M W R with eigenvalues -lambda, 0, 0, lambda and
 *             lambda = sum |W_km|^2 / 2.  The eigenvectors, as 2x2 matrices, are nearly of rank one: x y^T.
 * Idea        W = 2 (h c^T - c h^T) with c_k = cosh(g l_k)*, h_k = sinh(g l_k)*: so F = D H^T - S E^T with S = M c, D = 2 M h, H = c^T R,
 *             E = 2 h^T R, and its eigenvectors lie in the plane of S and D: a 2x2 problem in closed form, the sums once per line and not
 *             once per pair (own derivation, checked by tests/unit/rf_weak_spots.c and rf_judge.c).
 * Why second  In noise the method of record is a little better at the ends of the band; this one weighs all pairs differently, so that both
 *             agree when the boxes were the same for all lines and differ when a probe moved between them.
 * Lengths     A line of wrong length keeps the eigenvectors and bends only the propagation constant; what each line misses against all
 *             others is a length once it is divided by gamma.  The phases regress on the lengths with an intercept (the first line's
 *             place), the residual over 1 - leverage is what the line would miss if it had been left out (any textbook on regression).  A
 *             common offset and a common scale of all lengths cannot be seen. */
#include "rf/calibrate/lines/lines.h"
#include "rf/numbers/cpu.h"
#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

struct block { /* of lines_block() frequencies */
        struct cx_column g, b1, ca1, b2, ca2, a1, a2, r, middle, a1_inverse, a2_inverse, a1a2, k12, k21, s[4], d[4], h[4], e[4], second[4];
        double *residual, *not_reciprocal2, *sum_miss, *sum_l_miss, *worst_second, *zeros, *miss[RF_STANDARD_MAX];
};
enum { PAIRS = offsetof(struct block, residual) / sizeof(struct cx_column), SINGLES = 6 };
struct judge_line {
        struct line_reading read; /* of the block */
        size_t index;
        double length_m, off_mean_m;               /* from the first line; from the mean of all */
        double over_lines, over_spread, over_rest; /* 1/lines, 1/sum of squared off_mean_m, 1/(1 - leverage) */
};

#define LOOPS "rf/calibrate/lines/judge_loops.h"
#include "rf/numbers/kinds.h"

size_t lines_judge_bytes(size_t n, size_t lines) { return (2 * PAIRS + SINGLES + lines) * lines_block(n) * sizeof(double); }

static struct block lay_out(double *column, size_t n, size_t lines)
{
        struct block b = {0};
        size_t stride = lines_block(n);
        struct cx_column *pairs = (struct cx_column *)(void *)&b;
        double **singles[SINGLES] = {&b.residual, &b.not_reciprocal2, &b.sum_miss, &b.sum_l_miss, &b.worst_second, &b.zeros};
        for (size_t k = 0; k < PAIRS; k++, column += 2 * stride)
                pairs[k] = (struct cx_column){column, column + stride};
        for (size_t k = 0; k < SINGLES; k++, column += stride)
                *singles[k] = column;
        for (size_t k = 0; k < lines; k++, column += stride)
                b.miss[k] = column;
        memset(b.zeros, 0, stride * sizeof *b.zeros);
        return b;
}

static void take(struct block *b, size_t n, const struct line_solution *solution)
{
        for (size_t i = 0; i < n; i++) {
                const struct line_solution *s = &solution[i];
                const double complex from[] = {s->g, s->b1, s->ca1, s->b2, s->ca2, s->a1, s->a2, s->r};
                struct cx_column *to[] = {&b->g, &b->b1, &b->ca1, &b->b2, &b->ca2, &b->a1, &b->a2, &b->r};
                for (size_t k = 0; k < sizeof from / sizeof from[0]; k++) {
                        to[k]->re[i] = creal(from[k]);
                        to[k]->im[i] = cimag(from[k]);
                }
        }
}

static void lines_at(const struct problem *p, const struct line_set *ln, struct judge_line *line)
{
        double mean = 0, spread = 0;
        for (size_t k = 0; k < ln->n; k++)
                mean += p->standards[ln->at[k]].length_m / (double)ln->n;
        for (size_t k = 0; k < ln->n; k++) {
                double off = p->standards[ln->at[k]].length_m - mean;
                spread += off * off;
        }
        for (size_t k = 0; k < ln->n; k++) {
                const struct rf_standard *s = &p->standards[ln->at[k]];
                double off = s->length_m - mean, leverage = 1 / (double)ln->n + off * off / spread;
                line[k] = (struct judge_line){.index = k,
                                              .length_m = s->length_m - p->standards[ln->at[0]].length_m,
                                              .off_mean_m = off,
                                              .over_lines = 1 / (double)ln->n,
                                              .over_spread = 1 / spread,
                                              .over_rest = ln->n > 2 && leverage < 1 - 1e-9 ? 1 / (1 - leverage) : NAN};
        }
}

void lines_judge(const struct problem *p, const struct line_set *ln, const struct line_solution *solution, bool opinion, void *scratch,
                 double *residual, const struct line_judgement *to, struct diagnosis *d)
{
        struct block block = lay_out(scratch, p->axis->n, ln->n), *b = &block;
        struct judge_line line[RF_STANDARD_MAX];
        size_t most = lines_block(p->axis->n);
        lines_at(p, ln, line);
        for (size_t from = 0; from < p->axis->n; from += most) {
                size_t n = p->axis->n - from < most ? p->axis->n - from : most;
                take(b, n, solution + from);
                CPU_RUN(judge_begin, n, b, -line[0].off_mean_m);
                for (size_t k = 0; k < ln->n; k++) {
                        line[k].read = line_reading(p, ln->at[k], from, b->zeros);
                        CPU_RUN(judge_line, n, b, &line[k]);
                        for (size_t i = 0; i < n; i++)
                                residual[(from + i) * p->standard_n + ln->at[k]] = b->residual[i];
                }
                for (size_t k = 0; k < ln->n; k++)
                        CPU_RUN(judge_length, n, b, &line[k], to->length_error_m[k] + from);
                if (opinion)
                        CPU_RUN(judge_opinion, n, b);
                for (size_t i = 0; i < n; i++) {
                        d->reciprocity[from + i] = sqrt(b->not_reciprocal2[i]);
                        d->second_opinion[from + i] = opinion ? b->worst_second[i] : NAN;
                        for (int k = 0; k < 4; k++)
                                to->second[k][from + i] = opinion ? CMPLX(b->second[k].re[i], b->second[k].im[i]) : CMPLX(NAN, NAN);
                }
        }
}
