/* sensitivity.c: d(terms)/d(readings, definitions) of "sixteen_term" (sixteen.h).
   Idea        With the weights held, the terms move by minus the pseudo-inverse of the weighted system times what its equations move by. */
#include "rf/calibrate/sixteen/sixteen.h"
#include "rf/calibrate/solve.h"
#include "rf/correct/correct.h"
#include "rf/correct/correct_full.h"
#include <math.h>
#include <string.h>

/* Pseudo-inverse of the weighted system without the column of T4_11, by reflections of [N | 1]: p[15][rows].  false: rank deficient. */
static bool pseudo_inverse(size_t rows, double complex *n /* [rows][15 + rows], N in front */, double complex *p)
{
        size_t stride = 15 + rows;
        for (size_t k = 0; k < 15; k++) {
                double norm2 = 0;
                for (size_t r = k; r < rows; r++)
                        norm2 += creal(n[r * stride + k] * conj(n[r * stride + k]));
                double norm = sqrt(norm2), head = cabs(n[k * stride + k]);
                if (!(norm > 0))
                        return false;
                double complex top = head > 0 ? n[k * stride + k] / head * norm : norm;
                n[k * stride + k] += top;
                for (size_t j = k + 1; j < stride; j++) {
                        double complex dot = 0;
                        for (size_t r = k; r < rows; r++)
                                dot += conj(n[r * stride + k]) * n[r * stride + j];
                        dot /= norm2 + head * norm;
                        for (size_t r = k; r < rows; r++)
                                n[r * stride + j] -= dot * n[r * stride + k];
                }
                n[k * stride + k] = -top;
        }
        for (size_t c = 0; c < rows; c++)
                for (size_t k = 15; k-- > 0;) {
                        double complex sum = n[k * stride + 15 + c];
                        for (size_t j = k + 1; j < 15; j++)
                                sum -= n[k * stride + j] * p[j * rows + c];
                        p[k * rows + c] = sum / n[k * stride + k];
                }
        return true;
}

/* The order of the plain system: T1 T2 T3, T4_12 21 22, so that T4_11 is the one left out. */
static void fill(const struct point *at, const struct full *t, bool weighted, struct covariance *cov, size_t q, double complex *memory)
{
        size_t m = at->n, rows = 4 * m, stride = 15 + rows;
        double complex *n = memory, *p = memory + rows * stride;
        struct m2 g[SIXTEEN_M_MAX], z[SIXTEEN_M_MAX];
        double w[SIXTEEN_M_MAX][2];
        memset(n, 0, rows * stride * sizeof *n);
        for (size_t s = 0; s < m; s++) {
                struct m2 ideal = at->ideal[s],
                          raw = at->problem->switch_terms ? rf_switch_remove_point(at->raw[s], at->gf, at->gr) : at->raw[s];
                g[s] = m2_sub(t->t1, m2_mul(raw, t->t3));
                z[s] = m2_add(m2_mul(t->t3, ideal), t->t4);
                for (size_t i = 0; i < 2; i++) {
                        double u = at->problem->standards[s].u_ideal;
                        w[s][i] = weighted ? 1 / (u * hypot(cabs(g[s].e[2 * i]), cabs(g[s].e[2 * i + 1]))) : 1;
                        for (size_t j = 0; j < 2; j++) {
                                double complex *row = n + (4 * s + 2 * i + j) * stride;
                                for (size_t k = 0; k < 2; k++) {
                                        row[2 * i + k] = w[s][i] * ideal.e[2 * k + j];
                                        for (size_t l = 0; l < 2; l++)
                                                row[8 + 2 * k + l] = -w[s][i] * raw.e[2 * i + k] * ideal.e[2 * l + j];
                                        if (k || j) /* T4_kj */
                                                row[12 + 2 * k + j - 1] = -w[s][i] * raw.e[2 * i + k];
                                }
                                row[4 + 2 * i + j] = w[s][i];
                                row[15 + 4 * s + 2 * i + j] = 1;
                        }
                }
        }
        bool good = pseudo_inverse(rows, n, p);
        for (size_t c = 0; c < cov->column_n; c++) {
                double complex *d = cov->d_terms + (q * cov->column_n + c) * FULL_COUNT;
                struct column col = cov->columns[c];
                size_t s = col.standard, i = col.entry / 2, j = col.entry % 2;
                struct m2 e = m2_of(0, 0, 0, 0); /* T1 S + T2 - M Z moves by this */
                if (col.kind == COLUMN_IDEAL)
                        for (size_t r = 0; r < 2; r++)
                                e.e[2 * r + j] = g[s].e[2 * r + i];
                else {
                        struct m2 dm = m2_of(0, 0, 0, 0);
                        dm.e[col.entry] = 1;
                        if (at->problem->switch_terms) { /* what is read moves all four unterminated ratios */
                                struct m2 up = at->raw[s], down = at->raw[s];
                                up.e[col.entry] += 1e-5;
                                down.e[col.entry] -= 1e-5;
                                dm = m2_scale(1 / 2e-5, m2_sub(rf_switch_remove_point(up, at->gf, at->gr),
                                                               rf_switch_remove_point(down, at->gf, at->gr)));
                        }
                        e = m2_scale(-1, m2_mul(dm, z[s]));
                }
                for (size_t k = 0; k < 15; k++) {
                        double complex sum = 0;
                        for (size_t r = 0; r < 4; r++)
                                sum -= p[k * rows + 4 * s + r] * w[s][r / 2] * e.e[r];
                        d[k < 12 ? k : k + 1] = good ? sum : CMPLX(NAN, NAN);
                }
                d[FULL_T4] = 0;
        }
}

size_t sixteen_sensitivity_bytes(size_t m) { return 4 * m * (15 + 4 * m + 15) * sizeof(double complex); }

void sixteen_sensitivities(const struct problem *p, const struct terms *solved, bool weighted, struct covariance *cov, void *memory)
{
        cov->column_n = 0;
        for (unsigned s = 0; s < p->standard_n; s++)
                for (int kind = COLUMN_RAW; kind <= COLUMN_IDEAL; kind++)
                        for (unsigned e = 0; e < 4; e++)
                                cov->columns[cov->column_n++] = (struct column){(enum column_kind)kind, s, e};
        for (size_t q = 0; q < cov->point_n; q++) {
                struct point at;
                point_load(p, cov->points[q], &at);
                struct full t = full_get(solved, cov->points[q]);
                fill(&at, &t, weighted, cov, q, memory);
        }
}
