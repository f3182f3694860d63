/* solve_sixteen.c: "sixteen_term": the full error network, leakage included, from five or more fully known two-ports (calibration.h).
 * Sources     Butler et al., IEEE Trans. MTT 39 (1991) 2211; Silvonen, Electron. Lett. 29 (1993) 1544.
 * Problem     T1 S + T2 - M (T3 S + T4) = 0 for each standard: 4 m equations, linear in 16 unknowns with one free scale, T4_11 = 1.
 * Idea        Row i of T1 and T2 stands only in the equations of row i, T2_ij only in those of (i, j).  Eliminating T2, then T1, then the
 * rest by Householder reflections leaves one triangle and costs a third of the plain 4m x 16 (own derivation; the solution is that of the
 * plain system, which tests/unit/rf_terms.c solves beside it).  Four frequencies go through at once, one in each lane, no branches; for any
 * processor and for 256-bit vectors, the same bytes (no fused products).
 * Weights     An error dS of an ideal moves the equations of row i by ((T1 - M T3) dS)_i, so each row gets 1/(u |(T1 - M T3)_i|), after a
 * first solution with 1/u, and one refinement of the second.  One standard without u_ideal: all rows weigh the same.
 * Condition   s1/s15 of the whole system.  With N t = 0 the pseudo-inverse of N is that of N without its last column, projected off t; its
 * norm 1/s15 comes by power iteration on the triangle, as does s1: up to a third too low, never too high.
 * Not here    standards with unknown parts; correction (correct_full.c). */
#include "rf/correct/correct.h"
#include "rf/correct/correct_full.h"
#include "rf/calibrate/solve.h"
#include <math.h>
#include <string.h>

#define CONDITION_LIMIT 1e3
#define CONDITION_REFUSE 1e5 /* noise of 1e-4 has then eaten everything */
#define RESIDUAL_LIMIT 0.02
#define LEAST 5 /* 20 equations for 15 unknowns; four standards have 16, but never 15 independent ones */

#pragma GCC diagnostic ignored "-Wpsabi"                                      /* everything with lanes is inlined: no call passes them */
enum { LANES = 4, M_MAX = RF_STANDARD_MAX + 1, WIDE = 18, POWER_ROUNDS = 3 }; /* + 1: a standard that is tried in thought */
typedef double lane __attribute__((vector_size(LANES * sizeof(double)), aligned(16)));
struct cv {
        lane re, im;
};

#define IN static inline __attribute__((always_inline))
#define HOT __attribute__((optimize("O3", "no-math-errno", "no-trapping-math")))

IN lane lane_of(double x) { return (lane){x, x, x, x}; }
IN lane lane_sqrt(lane x)
{
        for (int l = 0; l < LANES; l++)
                x[l] = __builtin_sqrt(x[l]);
        return x;
}
IN struct cv v_of(double re, double im) { return (struct cv){lane_of(re), lane_of(im)}; }
IN struct cv v_add(struct cv a, struct cv b) { return (struct cv){a.re + b.re, a.im + b.im}; }
IN struct cv v_sub(struct cv a, struct cv b) { return (struct cv){a.re - b.re, a.im - b.im}; }
IN struct cv v_neg(struct cv a) { return (struct cv){-a.re, -a.im}; }
IN struct cv v_mul(struct cv a, struct cv b) { return (struct cv){a.re * b.re - a.im * b.im, a.re * b.im + a.im * b.re}; }
IN struct cv v_cmul(struct cv a, struct cv b) { return (struct cv){a.re * b.re + a.im * b.im, a.re * b.im - a.im * b.re}; } /* conj(a) b */
IN struct cv v_scale(lane k, struct cv a) { return (struct cv){k * a.re, k * a.im}; }
IN lane v_norm2(struct cv a) { return a.re * a.re + a.im * a.im; }
IN struct cv v_inv(struct cv a)
{
        lane k = lane_of(1) / v_norm2(a);
        return (struct cv){a.re * k, -a.im * k};
}

/* Standards of four frequencies. */
struct block {
        size_t m;
        struct cv s[M_MAX][4], raw[M_MAX][4];
        lane w[M_MAX][2]; /* weights of the equations of row i */
        bool equal_rows;  /* w[k][0] == w[k][1] */
};
/* Upper triangle.  Order of the unknowns: T2_11 12 21 22; T1_11 12 21 22; then y: T3_11 12 21 22, T4_12 21 22, T4_11. */
struct triangle {
        struct cv d2[4], d2i[4], t1_of_d2[4][2], y_of_d2[4][8]; /* the four rows that T2 left */
        struct cv d1[4], d1i[4], up1[2], y_of_d1[4][8];         /* those that T1 left; up1[i]: T1_i2 in the row of T1_i1 */
        struct cv c[8][8], ci[8];                               /* the rest; the inverses of the diagonals beside */
};
struct answer {
        struct cv t[FULL_COUNT]; /* T1 T2 T3 T4 */
        lane condition, consistency, residual[M_MAX];
};

/* What is being eliminated; in the workspace, for a stack may be small. */
struct scratch {
        struct cv a[2 * M_MAX * WIDE], c[4 * M_MAX * 8];
};

/* Reflects rows [from, to) of column `col` onto its first row and takes the columns (col, end) along; the diagonal is left in *ret. */
IN void reflect(struct cv *a, size_t stride, size_t from, size_t to, size_t col, size_t end, struct cv *ret)
{
        lane norm2 = lane_of(1e-290); /* a column of zeros shall not divide by zero; its tiny diagonal is refused by the condition */
        for (size_t r = from; r < to; r++)
                norm2 += v_norm2(a[r * stride + col]);
        struct cv head = a[from * stride + col];
        head.re += 1e-140;
        lane size = lane_sqrt(v_norm2(head)), norm = lane_sqrt(norm2);
        struct cv top = v_scale(norm / size, head); /* phase of the head times the norm */
        a[from * stride + col] = v_add(a[from * stride + col], top);
        lane k = lane_of(1) / (norm2 + size * norm);
        for (size_t j = col + 1; j < end; j++) {
                struct cv dot = v_of(0, 0);
                for (size_t r = from; r < to; r++)
                        dot = v_add(dot, v_cmul(a[r * stride + col], a[r * stride + j]));
                dot = v_scale(k, dot);
                for (size_t r = from; r < to; r++)
                        a[r * stride + j] = v_sub(a[r * stride + j], v_mul(dot, a[r * stride + col]));
        }
        *ret = v_neg(top);
}

/* Columns of y: T3_kl is 2 k + l, T4_12 4, T4_21 5, T4_22 6, T4_11 7. */
static const unsigned char t4_column[2][2] = {{7, 4}, {5, 6}};

/* Eliminates T2 and T1 of the rows first_i … first_i + i_n - 1, whose weights are w[.][first_i], and appends what is left to c. */
IN size_t eliminate(const struct block *b, int first_i, int i_n, struct triangle *t, struct scratch *scratch, size_t c_n)
{
        struct cv(*a)[WIDE] = (struct cv(*)[WIDE])scratch->a; /* T1_i1 T1_i2 | y of row first_i | y of the other row */
        size_t m = b->m, end = 2 + 8 * (size_t)i_n;
        for (size_t j = 0; j < 2; j++) {
                struct cv(*g)[WIDE] = a + j * m;
                for (size_t s = 0; s < m; s++) {
                        lane w = b->w[s][first_i];
                        g[s][0] = v_scale(w, b->s[s][j]);
                        g[s][1] = v_scale(w, b->s[s][2 + j]);
                        for (int i = 0; i < i_n; i++) {
                                struct cv *y = g[s] + 2 + 8 * i;
                                for (size_t k = 0; k < 2; k++) {
                                        struct cv raw = v_neg(b->raw[s][(size_t)(first_i + i) * 2 + k]);
                                        y[2 * k] = v_mul(raw, g[s][0]);
                                        y[2 * k + 1] = v_mul(raw, g[s][1]);
                                        y[t4_column[k][j]] = v_scale(w, raw);
                                        y[t4_column[k][1 - j]] = v_of(0, 0);
                                }
                        }
                }
                /* T2_ij: its column is w; a real reflection within the group */
                lane norm2 = lane_of(0);
                for (size_t s = 0; s < m; s++)
                        norm2 += b->w[s][first_i] * b->w[s][first_i];
                lane norm = lane_sqrt(norm2), head = b->w[0][first_i], k = lane_of(1) / (norm2 + head * norm);
                for (size_t col = 0; col < end; col++) {
                        struct cv dot = v_scale(head + norm, g[0][col]);
                        for (size_t s = 1; s < m; s++)
                                dot = v_add(dot, v_scale(b->w[s][first_i], g[s][col]));
                        dot = v_scale(k, dot);
                        g[0][col] = v_sub(g[0][col], v_scale(head + norm, dot));
                        for (size_t s = 1; s < m; s++)
                                g[s][col] = v_sub(g[s][col], v_scale(b->w[s][first_i], dot));
                }
                for (int i = 0; i < i_n; i++) {
                        size_t row = (size_t)(first_i + i) * 2 + j;
                        t->d2[row] = (struct cv){-norm, lane_of(0)};
                        t->d2i[row] = (struct cv){lane_of(-1) / norm, lane_of(0)};
                        memcpy(t->t1_of_d2[row], g[0], sizeof t->t1_of_d2[row]);
                        memcpy(t->y_of_d2[row], g[0] + 2 + 8 * i, sizeof t->y_of_d2[row]);
                }
        }
        /* the pivot row of the second group is replaced by a row of the first, so that the others lie together: rows 1 … 2m - 2 */
        memcpy(a[m], a[2 * m - 1], sizeof a[m]);
        struct cv d[2];
        reflect(scratch->a, WIDE, 1, 2 * m - 1, 0, end, &d[0]);
        reflect(scratch->a, WIDE, 2, 2 * m - 1, 1, end, &d[1]);
        for (int i = 0; i < i_n; i++) {
                size_t row = (size_t)(first_i + i) * 2;
                for (size_t k = 0; k < 2; k++) {
                        t->d1[row + k] = d[k];
                        t->d1i[row + k] = v_inv(d[k]);
                        memcpy(t->y_of_d1[row + k], a[1 + k] + 2 + 8 * i, sizeof t->y_of_d1[row + k]);
                }
                t->up1[first_i + i] = a[1][1];
                for (size_t r = 3; r < 2 * m - 1; r++, c_n++)
                        memcpy(scratch->c + 8 * c_n, a[r] + 2 + 8 * i, 8 * sizeof(struct cv));
        }
        return c_n;
}

/* x = R^{-1} b over the 15 unknowns without T4_11 (n = 7) */
IN void solve_up(const struct triangle *t, const struct cv b[16], struct cv x[16])
{
        for (size_t r = 7; r-- > 0;) {
                struct cv sum = b[8 + r];
                for (size_t j = r + 1; j < 7; j++)
                        sum = v_sub(sum, v_mul(t->c[r][j], x[8 + j]));
                x[8 + r] = v_mul(sum, t->ci[r]);
        }
        for (size_t r = 4; r-- > 0;) {
                struct cv sum = b[4 + r];
                if (r % 2 == 0)
                        sum = v_sub(sum, v_mul(t->up1[r / 2], x[4 + r + 1]));
                for (size_t j = 0; j < 7; j++)
                        sum = v_sub(sum, v_mul(t->y_of_d1[r][j], x[8 + j]));
                x[4 + r] = v_mul(sum, t->d1i[r]);
        }
        for (size_t r = 0; r < 4; r++) {
                struct cv sum = b[r];
                for (size_t k = 0; k < 2; k++)
                        sum = v_sub(sum, v_mul(t->t1_of_d2[r][k], x[4 + r / 2 * 2 + k]));
                for (size_t j = 0; j < 7; j++)
                        sum = v_sub(sum, v_mul(t->y_of_d2[r][j], x[8 + j]));
                x[r] = v_mul(sum, t->d2i[r]);
        }
}

/* x = R^{-H} b over the same 15. */
IN void solve_down(const struct triangle *t, const struct cv b[16], struct cv x[16])
{
        struct cv rest[16];
        memcpy(rest, b, sizeof rest);
        for (size_t r = 0; r < 4; r++) {
                x[r] = (struct cv){rest[r].re * t->d2i[r].re, rest[r].im * t->d2i[r].re};
                for (size_t k = 0; k < 2; k++)
                        rest[4 + r / 2 * 2 + k] = v_sub(rest[4 + r / 2 * 2 + k], v_cmul(t->t1_of_d2[r][k], x[r]));
                for (size_t j = 0; j < 7; j++)
                        rest[8 + j] = v_sub(rest[8 + j], v_cmul(t->y_of_d2[r][j], x[r]));
        }
        for (size_t r = 0; r < 4; r++) {
                x[4 + r] = v_cmul(t->d1i[r], rest[4 + r]);
                if (r % 2 == 0)
                        rest[4 + r + 1] = v_sub(rest[4 + r + 1], v_cmul(t->up1[r / 2], x[4 + r]));
                for (size_t j = 0; j < 7; j++)
                        rest[8 + j] = v_sub(rest[8 + j], v_cmul(t->y_of_d1[r][j], x[4 + r]));
        }
        for (size_t r = 0; r < 7; r++) {
                x[8 + r] = v_cmul(t->ci[r], rest[8 + r]);
                for (size_t j = r + 1; j < 7; j++)
                        rest[8 + j] = v_sub(rest[8 + j], v_cmul(t->c[r][j], x[8 + r]));
        }
}

/* y = R x, all 16. */
IN void times_up(const struct triangle *t, const struct cv x[16], struct cv y[16])
{
        for (size_t r = 0; r < 4; r++) {
                struct cv sum = v_mul(t->d2[r], x[r]), one = v_mul(t->d1[r], x[4 + r]);
                for (size_t k = 0; k < 2; k++)
                        sum = v_add(sum, v_mul(t->t1_of_d2[r][k], x[4 + r / 2 * 2 + k]));
                if (r % 2 == 0)
                        one = v_add(one, v_mul(t->up1[r / 2], x[4 + r + 1]));
                for (size_t j = 0; j < 8; j++) {
                        sum = v_add(sum, v_mul(t->y_of_d2[r][j], x[8 + j]));
                        one = v_add(one, v_mul(t->y_of_d1[r][j], x[8 + j]));
                }
                y[r] = sum;
                y[4 + r] = one;
        }
        for (size_t r = 0; r < 8; r++) {
                struct cv sum = v_of(0, 0);
                for (size_t j = r; j < 8; j++)
                        sum = v_add(sum, v_mul(t->c[r][j], x[8 + j]));
                y[8 + r] = sum;
        }
}

/* y = R^H x, all 16. */
IN void times_down(const struct triangle *t, const struct cv x[16], struct cv y[16])
{
        for (size_t j = 0; j < 8; j++) {
                struct cv sum = v_of(0, 0);
                for (size_t r = 0; r < 4; r++)
                        sum = v_add(sum, v_add(v_cmul(t->y_of_d2[r][j], x[r]), v_cmul(t->y_of_d1[r][j], x[4 + r])));
                for (size_t r = 0; r <= j; r++)
                        sum = v_add(sum, v_cmul(t->c[r][j], x[8 + r]));
                y[8 + j] = sum;
        }
        for (size_t r = 0; r < 4; r++) {
                y[r] = v_cmul(t->d2[r], x[r]);
                size_t i = r / 2, k = r % 2;
                struct cv sum = v_cmul(t->d1[r], x[4 + r]);
                if (k == 1)
                        sum = v_add(sum, v_cmul(t->up1[i], x[4 + 2 * i]));
                for (size_t j = 0; j < 2; j++)
                        sum = v_add(sum, v_cmul(t->t1_of_d2[2 * i + j][k], x[2 * i + j]));
                y[4 + r] = sum;
        }
}

IN lane norm_of(const struct cv *x, size_t n)
{
        lane sum = lane_of(1e-290);
        for (size_t k = 0; k < n; k++)
                sum += v_norm2(x[k]);
        return lane_sqrt(sum);
}
IN void scale_all(struct cv *x, size_t n, lane k)
{
        for (size_t j = 0; j < n; j++)
                x[j] = v_scale(k, x[j]);
}

/* s1/s15 of the system whose triangle this is and whose null vector (up to noise) is t; *ret_s15. */
IN lane condition_of(const struct triangle *t, const struct cv null[16], lane *ret_s15)
{
        struct cv x[16], y[16];
        lane s1 = lane_of(1), inverse = lane_of(0), fixed = lane_of(0), t2 = lane_of(0);
        for (size_t k = 0; k < 16; k++) { /* any start that is orthogonal to nothing */
                x[k] = v_of(0.25, k % 2 ? 0.1 : -0.15);
                t2 += v_norm2(null[k]);
        }
        for (int round = 0; round < POWER_ROUNDS - 2; round++) {
                times_up(t, x, y);
                times_down(t, y, x);
                scale_all(x, 16, lane_of(1) / norm_of(x, 16));
        }
        times_up(t, x, y);
        s1 = norm_of(y, 16);
        for (size_t k = 0; k < 16; k++)
                x[k] = v_of(0.25, k % 3 ? 0.1 : -0.2);
        for (int round = 0; round < POWER_ROUNDS; round++) {
                solve_up(t, x, y);
                y[15] = v_of(0, 0);
                lane here = norm_of(y, 15) / norm_of(x, 15);
                for (int l = 0; l < LANES; l++)
                        fixed[l] = here[l] <= fixed[l] ? fixed[l] : here[l]; /* NaN wins */
                struct cv along = v_of(0, 0);
                for (size_t k = 0; k < 15; k++)
                        along = v_add(along, v_cmul(null[k], y[k]));
                along = v_scale(lane_of(1) / t2, along);
                for (size_t k = 0; k < 16; k++)
                        y[k] = v_sub(y[k], v_mul(along, null[k]));
                inverse = norm_of(y, 16) / norm_of(x, 15);
                if (round == POWER_ROUNDS - 1)
                        break;
                scale_all(y, 16, lane_of(1) / norm_of(y, 16));
                solve_down(t, y, x);
        }
        /* A second null vector makes t itself arbitrary and hides in the projection; it cannot hide from the system with T4_11 fixed, whose
           condition is at most |t| times the other one. */
        for (int l = 0; l < LANES; l++)
                inverse[l] = s1[l] * fixed[l] <= 10 * CONDITION_REFUSE ? inverse[l] : fixed[l];
        *ret_s15 = lane_of(1) / inverse;
        return s1 * inverse;
}

/* G = T1 - M T3 of one standard. */
IN void slope(const struct answer *a, const struct cv raw[4], struct cv g[4])
{
        for (size_t r = 0; r < 4; r++)
                g[r] = v_sub(a->t[FULL_T1 + r],
                             v_add(v_mul(raw[r / 2 * 2], a->t[FULL_T3 + r % 2]), v_mul(raw[r / 2 * 2 + 1], a->t[FULL_T3 + 2 + r % 2])));
}

/* |predicted - read|, the largest of the four: (T1 S + T2 - M Z) Z^{-1} with Z = T3 S + T4. */
IN lane residual_of(const struct answer *a, const struct cv s[4], const struct cv raw[4])
{
        struct cv z[4], n[4];
        for (size_t r = 0; r < 4; r++) {
                size_t i = r / 2 * 2, j = r % 2;
                z[r] = v_add(v_add(v_mul(a->t[FULL_T3 + i], s[j]), v_mul(a->t[FULL_T3 + i + 1], s[2 + j])), a->t[FULL_T4 + r]);
                n[r] = v_add(v_add(v_mul(a->t[FULL_T1 + i], s[j]), v_mul(a->t[FULL_T1 + i + 1], s[2 + j])), a->t[FULL_T2 + r]);
        }
        struct cv over = v_inv(v_sub(v_mul(z[0], z[3]), v_mul(z[1], z[2])));
        lane worst = lane_of(0);
        for (size_t i = 0; i < 4; i += 2) {
                for (size_t j = 0; j < 2; j++)
                        n[i + j] = v_sub(n[i + j], v_add(v_mul(raw[i], z[j]), v_mul(raw[i + 1], z[2 + j])));
                lane one = v_norm2(v_mul(over, v_sub(v_mul(n[i], z[3]), v_mul(n[i + 1], z[2]))));
                lane two = v_norm2(v_mul(over, v_sub(v_mul(n[i + 1], z[0]), v_mul(n[i], z[1]))));
                for (int l = 0; l < LANES; l++) {
                        worst[l] = one[l] <= worst[l] ? worst[l] : one[l]; /* NaN wins */
                        worst[l] = two[l] <= worst[l] ? worst[l] : two[l];
                }
        }
        return lane_sqrt(worst);
}

/* Where x[16] goes in T1 … T4. */
IN void unpack(const struct cv x[16], struct cv t[FULL_COUNT])
{
        for (size_t r = 0; r < 4; r++) {
                t[FULL_T2 + r] = x[r];
                t[FULL_T1 + r] = x[4 + r];
                t[FULL_T3 + r] = x[8 + r];
                t[FULL_T4 + r] = x[8 + t4_column[r / 2][r % 2]];
        }
}

/* One step of corrected seminormal equations (Bjorck, Linear Algebra Appl. 88/89 (1987) 31): x -= (R^H R)^{-1} N^H (N x).  Unequal weights
   cost the eliminations some last digits; this brings them back. */
IN void refine(const struct block *b, const struct triangle *t, struct cv x[16])
{
        struct cv f[FULL_COUNT], g[16], h[16];
        unpack(x, f);
        for (size_t k = 0; k < 16; k++)
                g[k] = v_of(0, 0);
        for (size_t s = 0; s < b->m; s++) {
                const struct cv *d = b->s[s], *m = b->raw[s];
                struct cv z[4], r[4], mr[4];
                for (size_t e = 0; e < 4; e++) {
                        size_t i = e / 2 * 2, j = e % 2;
                        z[e] = v_add(v_add(v_mul(f[FULL_T3 + i], d[j]), v_mul(f[FULL_T3 + i + 1], d[2 + j])), f[FULL_T4 + e]);
                        r[e] = v_add(v_add(v_mul(f[FULL_T1 + i], d[j]), v_mul(f[FULL_T1 + i + 1], d[2 + j])), f[FULL_T2 + e]);
                }
                for (size_t e = 0; e < 4; e++) {
                        size_t i = e / 2, j = e % 2;
                        r[e] = v_sub(r[e], v_add(v_mul(m[2 * i], z[j]), v_mul(m[2 * i + 1], z[2 + j])));
                        r[e] = v_scale(b->w[s][i] * b->w[s][i], r[e]);
                }
                for (size_t e = 0; e < 4; e++) { /* M^H r */
                        size_t k = e / 2, j = e % 2;
                        mr[e] = v_add(v_cmul(m[k], r[j]), v_cmul(m[2 + k], r[2 + j]));
                }
                for (size_t e = 0; e < 4; e++) {
                        size_t i = e / 2 * 2, l = e % 2 * 2; /* r S^H and M^H r S^H */
                        g[e] = v_add(g[e], r[e]);
                        g[4 + e] = v_add(g[4 + e], v_add(v_cmul(d[l], r[i]), v_cmul(d[l + 1], r[i + 1])));
                        g[8 + e] = v_sub(g[8 + e], v_add(v_cmul(d[l], mr[i]), v_cmul(d[l + 1], mr[i + 1])));
                }
                for (size_t k = 0; k < 2; k++)
                        for (size_t j = 0; j < 2; j++)
                                h[8 + t4_column[k][j]] = s ? v_sub(h[8 + t4_column[k][j]], mr[2 * k + j]) : v_neg(mr[2 * k + j]);
        }
        memcpy(g + 12, h + 12, 4 * sizeof *g);
        solve_down(t, g, h);
        solve_up(t, h, g);
        for (size_t k = 0; k < 15; k++)
                x[k] = v_sub(x[k], g[k]);
}

IN void solve_block(const struct block *b, bool final, struct scratch *scratch, struct answer *out)
{
        struct cv x[16], rhs[16], null[16];
        struct triangle t;
        size_t n = 0;
        if (b->equal_rows)
                n = eliminate(b, 0, 2, &t, scratch, n);
        else
                for (int i = 0; i < 2; i++)
                        n = eliminate(b, i, 1, &t, scratch, n);
        for (size_t k = 0; k < 8; k++) {
                reflect(scratch->c, 8, k, n, k, 8, &t.c[k][k]);
                for (size_t j = k + 1; j < 8; j++)
                        t.c[k][j] = scratch->c[8 * k + j];
                t.ci[k] = v_inv(t.c[k][k]);
        }
        for (size_t r = 0; r < 4; r++) {
                rhs[r] = v_neg(t.y_of_d2[r][7]);
                rhs[4 + r] = v_neg(t.y_of_d1[r][7]);
        }
        for (size_t r = 0; r < 7; r++)
                rhs[8 + r] = v_neg(t.c[r][7]);
        solve_up(&t, rhs, x);
        x[15] = v_of(1, 0);
        if (!b->equal_rows)
                refine(b, &t, x);
        unpack(x, out->t);
        if (!final)
                return;
        memcpy(null, x, sizeof null);
        lane s15;
        out->condition = condition_of(&t, null, &s15);
        out->consistency = lane_sqrt(v_norm2(t.c[7][7])) / (norm_of(null, 16) * s15); /* |N t|/|t| is s16 or a little more */
        for (size_t s = 0; s < b->m; s++)
                out->residual[s] = residual_of(out, b->s[s], b->raw[s]);
}

/* Weights of the second round, from the first. */
IN void weigh(struct block *b, const struct answer *a)
{
        for (size_t s = 0; s < b->m; s++) {
                struct cv g[4];
                slope(a, b->raw[s], g);
                for (int i = 0; i < 2; i++)
                        b->w[s][i] = b->w[s][i] / lane_sqrt(v_norm2(g[2 * i]) + v_norm2(g[2 * i + 1]) + lane_of(1e-290));
        }
        b->equal_rows = false;
}

IN void solve_rounds(struct block *b, bool weighted, struct scratch *scratch, struct answer *out)
{
        solve_block(b, !weighted, scratch, out);
        if (!weighted)
                return;
        weigh(b, out);
        solve_block(b, true, scratch, out);
}
static HOT __attribute__((noinline)) void solve_narrow(struct block *b, bool weighted, struct scratch *scratch, struct answer *out)
{
        solve_rounds(b, weighted, scratch, out);
}
#if defined(__x86_64__)
static HOT __attribute__((noinline, target("avx2"))) void solve_wide(struct block *b, bool weighted, struct scratch *scratch,
                                                                     struct answer *out)
{
        solve_rounds(b, weighted, scratch, out);
}
#endif
static void solve_four(struct block *b, bool weighted, struct scratch *scratch, struct answer *out)
{
#if defined(__x86_64__)
        if (__builtin_cpu_supports("avx2")) {
                solve_wide(b, weighted, scratch, out);
                return;
        }
#endif
        solve_narrow(b, weighted, scratch, out);
}

/* ---- a set of standards, and what it lacks ------------------------------------------------------------------------------------------ */

static void put_m2(struct cv to[4], struct m2 m)
{
        for (int k = 0; k < 4; k++)
                to[k] = v_of(creal(m.e[k]), cimag(m.e[k]));
}

/* Condition number that these standards alone would give: with a perfect analyzer, M = S.  Any invertible error network maps that system
   onto its own without changing the rank. */
static double condition_of_standards(const struct m2 *ideal, size_t m, struct block *b, struct scratch *scratch)
{
        struct answer a;
        b->m = m;
        b->equal_rows = true;
        for (size_t s = 0; s < m; s++) {
                put_m2(b->s[s], ideal[s]);
                put_m2(b->raw[s], ideal[s]);
                b->w[s][0] = b->w[s][1] = lane_of(1);
        }
        solve_four(b, false, scratch, &a);
        return isnan(a.condition[0]) ? INFINITY : a.condition[0];
}

static const struct {
        const char *say;
        double s[4];
} candidates[] = {
        {"a thru", {0, 1, 1, 0}},
        {"an open at port 1 with a short at port 2", {1, 0, 0, -1}},
        {"a short at port 1 with an open at port 2", {-1, 0, 0, 1}},
        {"loads at both ports", {0, 0, 0, 0}},
        {"an open at port 1 with a load at port 2", {1, 0, 0, 0}},
        {"a load at port 1 with an open at port 2", {0, 0, 0, 1}},
        {"a short at port 1 with a load at port 2", {-1, 0, 0, 0}},
        {"a load at port 1 with a short at port 2", {0, 0, 0, -1}},
        {"opens at both ports", {1, 0, 0, 1}},
        {"shorts at both ports", {-1, 0, 0, -1}},
};

static enum code refuse(const struct problem *p, size_t i, double condition, struct block *b, struct scratch *scratch, struct tp_error *err)
{
        struct m2 ideal[M_MAX];
        struct point at;
        point_load(p, i, &at);
        memcpy(ideal, at.ideal, p->standard_n * sizeof *ideal);
        double alone = condition_of_standards(ideal, p->standard_n, b, scratch), best = INFINITY;
        if (alone < CONDITION_LIMIT)
                return tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "sixteen_term: at %.9g Hz the system cannot be solved (condition number %.3g) although the definitions of the "
                        "%zu standards differ enough (%.3g): two of the readings are the same; measure the standards again",
                        p->axis->hz[i], condition, p->standard_n, alone);
        const char *say = NULL;
        for (size_t k = 0; k < sizeof candidates / sizeof candidates[0]; k++) {
                const double *s = candidates[k].s;
                ideal[p->standard_n] = m2_of(s[0], s[1], s[2], s[3]);
                double with = condition_of_standards(ideal, p->standard_n + 1, b, scratch);
                if (with < best) {
                        best = with;
                        say = candidates[k].say;
                }
        }
        if (say && best < CONDITION_LIMIT)
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "sixteen_term: at %.9g Hz these %zu standards do not tell all terms apart (condition number %.3g, at most "
                               "%.0g); add %s (then about %.2g)",
                               p->axis->hz[i], p->standard_n, condition, CONDITION_REFUSE, say, best);
        return tp_fail(err, CODE_UNRESOLVABLE,
                       "sixteen_term: at %.9g Hz these %zu standards do not tell all terms apart (condition number %.3g, at most %.0g) and "
                       "one more would not be enough; use a thru, open with short, short with open, loads at both ports and open with load",
                       p->axis->hz[i], p->standard_n, condition, CONDITION_REFUSE);
}

static enum code check(const struct problem *p, struct tp_error *err)
{
        static const char *const entry[4] = {"S11", "S12", "S21", "S22"};
        if (p->standard_n < LEAST)
                return tp_fail(err, CODE_BAD_INPUT,
                               "sixteen_term needs %d fully known two-ports and has %zu; measure e.g. a thru, open with short, short with "
                               "open, loads at both ports and open with load",
                               LEAST, p->standard_n);
        for (size_t k = 0; k < p->standard_n; k++) {
                const struct rf_standard *s = &p->standards[k];
                if (s->ports == 1 || s->ports == 2)
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "sixteen_term: %s was read at port %u only; with leakage both ports of each standard must be known and "
                                "read in all four ways",
                                standard_name(s), s->ports);
                if (!(s->u_ideal >= 0 && s->u_ideal < 1e3))
                        return tp_fail(err, CODE_BAD_INPUT, "sixteen_term: %s has an uncertainty of %g; give 0 or a small positive number",
                                       standard_name(s), s->u_ideal);
                for (size_t i = 0; i < p->axis->n; i++)
                        for (int e = 1; e <= 2; e++) { /* the general check lets reflections come without transmission */
                                const struct net2 *const nets[2] = {s->raw, s->ideal};
                                for (int n = 0; n < 2; n++)
                                        if (!isfinite(nets[n]->re[e][i]) || !isfinite(nets[n]->im[e][i]))
                                                return tp_fail(err, CODE_BAD_INPUT,
                                                               "sixteen_term: %s of %s (%s) is not a number at %.9g Hz; leakage is read in "
                                                               "the transmission of every standard: sweep both directions",
                                                               entry[e], standard_name(s), n ? "definition" : "raw", p->axis->hz[i]);
                        }
        }
        return CODE_OK;
}

/* ---- sensitivities ------------------------------------------------------------------------------------------------------------------ */

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
        struct m2 g[M_MAX], z[M_MAX];
        double w[M_MAX][2];
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

/* ---- solve -------------------------------------------------------------------------------------------------------------------------- */

struct workspace {
        struct block *block;
        struct scratch *scratch;
        double *residual;
        double complex *plain;
};
static size_t up64(size_t bytes) { return (bytes + 63) & ~(size_t)63; }
static size_t plain_bytes(size_t standards) { return 4 * standards * (15 + 4 * standards + 15) * sizeof(double complex); }

size_t sixteen_workspace(size_t n, size_t standards)
{
        return up64(sizeof(struct block)) + up64(sizeof(struct scratch)) + up64(n * standards * sizeof(double)) + plain_bytes(standards);
}

static struct workspace lay_out(void *memory, size_t n, size_t standards)
{
        char *at = memory;
        struct workspace w = {.block = memory};
        at += up64(sizeof(struct block));
        w.scratch = (struct scratch *)(void *)at;
        at += up64(sizeof(struct scratch));
        w.residual = (double *)(void *)at;
        at += up64(n * standards * sizeof(double));
        w.plain = (double complex *)(void *)at;
        return w;
}

/* The best known standards first: reflections onto a row of small weight would cost the others their last digits. */
static void by_weight(const struct problem *p, bool weighted, size_t order[RF_STANDARD_MAX])
{
        for (size_t s = 0; s < p->standard_n; s++) {
                size_t at = s;
                for (; weighted && at > 0 && p->standards[order[at - 1]].u_ideal > p->standards[s].u_ideal; at--)
                        order[at] = order[at - 1];
                order[at] = s;
        }
}

/* Four frequencies from i on; the last one is repeated beyond the end. */
static void load(const struct problem *p, const size_t *order, size_t i, bool weighted, struct block *b)
{
        const struct switch_terms *sw = p->switch_terms;
        double least = INFINITY;
        b->m = p->standard_n;
        b->equal_rows = true;
        for (size_t s = 0; s < b->m; s++)
                least = fmin(least, p->standards[s].u_ideal);
        for (size_t s = 0; s < b->m; s++) {
                const struct rf_standard *of = &p->standards[order[s]];
                b->w[s][0] = b->w[s][1] = lane_of(weighted ? least / of->u_ideal : 1);
                if (i + LANES <= p->axis->n && !sw) { /* four neighbours lie side by side in their columns */
                        for (int k = 0; k < 4; k++) {
                                memcpy(&b->raw[s][k].re, of->raw->re[k] + i, sizeof(lane));
                                memcpy(&b->raw[s][k].im, of->raw->im[k] + i, sizeof(lane));
                                memcpy(&b->s[s][k].re, of->ideal->re[k] + i, sizeof(lane));
                                memcpy(&b->s[s][k].im, of->ideal->im[k] + i, sizeof(lane));
                        }
                        continue;
                }
                for (int l = 0; l < LANES; l++) {
                        size_t at = i + (size_t)l < p->axis->n ? i + (size_t)l : p->axis->n - 1;
                        struct m2 raw = net2_get(of->raw, at);
                        if (sw)
                                raw = rf_switch_remove_point(raw, CMPLX(sw->f_re[at], sw->f_im[at]), CMPLX(sw->r_re[at], sw->r_im[at]));
                        for (int k = 0; k < 4; k++) {
                                b->raw[s][k].re[l] = creal(raw.e[k]);
                                b->raw[s][k].im[l] = cimag(raw.e[k]);
                                b->s[s][k].re[l] = of->ideal->re[k][at];
                                b->s[s][k].im[l] = of->ideal->im[k][at];
                        }
                }
        }
}

static void warnings(const struct problem *p, struct diagnosis *d)
{
        size_t at = 0;
        for (size_t i = 0; i < p->axis->n; i++)
                at = d->condition[i] > d->condition[at] ? i : at;
        if (d->condition[at] > CONDITION_LIMIT)
                diagnosis_warn(
                        d, "the standards hardly tell the sixteen terms apart at %.6g GHz (condition number %.3g): their errors grow there",
                        p->axis->hz[at] / 1e9, d->condition[at]);
        size_t worst = 0;
        for (size_t s = 0; s < p->standard_n; s++)
                worst = d->standard[s].worst > d->standard[worst].worst ? s : worst;
        if (d->standard[worst].worst > RESIDUAL_LIMIT)
                diagnosis_warn(
                        d,
                        "%s was read %.2g away from what the terms predict at %.6g GHz: a wrong definition or a bad contact, of it or "
                        "of another standard",
                        standard_name(&p->standards[worst]), d->standard[worst].worst, d->standard[worst].worst_hz / 1e9);
}

enum code sixteen_solve(const struct problem *p, void *workspace, struct terms *out, struct covariance *cov, struct diagnosis *d,
                        struct tp_error *err)
{
        const struct method *method = rf_method("sixteen_term");
        enum code code = rf_problem_check(method, p, err);
        if (code || (code = check(p, err)))
                return code;
        size_t n = p->axis->n, m = p->standard_n;
        struct workspace w = lay_out(workspace, n, m);
        bool weighted = true;
        for (size_t s = 0; s < m; s++)
                weighted = weighted && p->standards[s].u_ideal > 0;
        size_t order[RF_STANDARD_MAX];
        by_weight(p, weighted, order);
        for (size_t i = 0; i < n; i += LANES) {
                struct answer a;
                load(p, order, i, weighted, w.block);
                solve_four(w.block, weighted, w.scratch, &a);
                for (size_t l = 0; l < LANES && i + l < n; l++) {
                        double complex eight[TERM_COUNT];
                        d->condition[i + l] = a.condition[l];
                        d->consistency[i + l] = a.consistency[l];
                        for (size_t s = 0; s < m; s++)
                                w.residual[(i + l) * m + order[s]] = a.residual[s][l];
                        if (!(a.condition[l] <= CONDITION_REFUSE))
                                return refuse(p, i + l, a.condition[l], w.block, w.scratch, err);
                        for (int k = 0; k < FULL_COUNT; k++) {
                                out->full_re[k][i + l] = a.t[k].re[l];
                                out->full_im[k][i + l] = a.t[k].im[l];
                        }
                        struct full t = full_get(out, i + l);
                        full_to_eight(&t, eight, &d->leakage[i + l]);
                        terms_put(out, i + l, eight);
                        out->z_re[i + l] = 50;
                        out->z_im[i + l] = 0;
                }
        }
        out->method = method->word;
        out->model = TERMS_SIXTEEN;
        out->plane = PLANE_TIP;
        out->switch_removed = p->switch_terms != NULL;
        residuals_finish(p, d, w.residual);
        warnings(p, d);
        if (!cov)
                return CODE_OK;
        cov->column_n = 0;
        for (unsigned s = 0; s < m; s++)
                for (int kind = COLUMN_RAW; kind <= COLUMN_IDEAL; kind++)
                        for (unsigned e = 0; e < 4; e++)
                                cov->columns[cov->column_n++] = (struct column){(enum column_kind)kind, s, e};
        for (size_t q = 0; q < cov->point_n; q++) {
                struct point at;
                point_load(p, cov->points[q], &at);
                struct full t = full_get(out, cov->points[q]);
                fill(&at, &t, weighted, cov, q, w.plain);
        }
        return CODE_OK;
}
