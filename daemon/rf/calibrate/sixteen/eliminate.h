/* eliminate.h: the equations of LANES frequencies and their reduction to a triangle.
   Problem     T1 S + T2 - M (T3 S + T4) = 0 for each standard: 4 m equations, linear in 16 unknowns with one free scale, T4_11 = 1.
   Idea        Row i of T1 and T2 stands only in the equations of row i, T2_ij only in those of (i, j).  Eliminating T2, then T1, then the
               rest by Householder reflections leaves one triangle and costs a third of the plain 4m x 16 (own derivation; the solution is
               that of the plain system, which tests/unit/rf_sixteen.c solves beside it).  Equal weights let both rows share T2 and T1. */
#ifndef TIPPLANE_RF_SIXTEEN_ELIMINATE_H
#define TIPPLANE_RF_SIXTEEN_ELIMINATE_H
#include "rf/calibrate/sixteen/sixteen.h"
#include "rf/calibrate/sixteen/triangle.h"

/* Standards of LANES frequencies. */
struct block {
        size_t m;
        struct cv s[SIXTEEN_M_MAX][4], raw[SIXTEEN_M_MAX][4];
        lane w[SIXTEEN_M_MAX][2]; /* weights of the equations of row i */
};

/* Householder's reflection of column `col` of row_n rows onto the first of them. */
struct reflection {
        struct cv *const *row;
        size_t row_n, col;
        lane k;
};

/* Takes `width` columns from j on along.  Sums of products, not fused chains: as fast here, and a third more exact. */
IN void reflect_columns(const struct reflection *f, size_t j, size_t width)
{
        struct cv dot[4];
        for (size_t c = 0; c < width; c++)
                dot[c] = v_of(0, 0);
        for (size_t r = 0; r < f->row_n; r++) {
                const struct cv *x = f->row[r];
                for (size_t c = 0; c < width; c++)
                        dot[c] = v_add(dot[c], v_cmul(x[f->col], x[j + c]));
        }
        for (size_t c = 0; c < width; c++)
                dot[c] = v_scale(f->k, dot[c]);
        for (size_t r = 0; r < f->row_n; r++) {
                struct cv *x = f->row[r];
                for (size_t c = 0; c < width; c++)
                        x[j + c] = v_sub(x[j + c], v_mul(dot[c], x[f->col]));
        }
}

/* Reflects column `col` of the rows onto the first row and takes the columns (col, end) along.  The diagonal is left in its place, its
   inverse in *ret_inverse; below it stands what nobody reads. */
APART void reflect(struct cv *const *row, size_t row_n, size_t col, size_t end, struct cv *ret_inverse)
{
        lane norm2 = lane_of(1e-290); /* a column of zeros shall not divide by zero; its tiny diagonal is refused by the condition */
        for (size_t r = 0; r < row_n; r++)
                norm2 = v_add_norm2(norm2, row[r][col]);
        struct cv head = row[0][col];
        head.re += 1e-140;
        lane size = lane_sqrt(v_norm2(head)), norm = lane_sqrt(norm2);
        struct cv top = v_scale(norm / size, head); /* phase of the head times the norm */
        row[0][col] = v_add(head, top);
        struct reflection f = {row, row_n, col, lane_of(1) / lane_fma(size, norm, norm2)};
        size_t j = col + 1;
        for (; j + 4 <= end; j += 4)
                reflect_columns(&f, j, 4);
        switch (end - j) {
        case 3:
                reflect_columns(&f, j, 3);
                break;
        case 2:
                reflect_columns(&f, j, 2);
                break;
        case 1:
                reflect_columns(&f, j, 1);
        }
        row[0][col] = v_neg(top);
        *ret_inverse = v_inv(row[0][col]);
}

/* Columns of y: T3_kl is 2 k + l, T4_12 4, T4_21 5, T4_22 6, T4_11 7. */
static const unsigned char t4_column[2][2] = {{7, 4}, {5, 6}};

/* Group j of the rows first_i … first_i + i_n - 1: T1_i1 T1_i2 | y of row first_i | y of the other row, a row for each standard.  T2_ij,
   whose column is w, is eliminated by a real reflection within the group onto its first row. */
IN void eliminate_t2(const struct block *b, size_t first_i, size_t i_n, size_t j, struct cv *g, struct triangle *t)
{
        size_t m = b->m, width = 2 + 8 * i_n;
        lane norm2 = lane_of(0);
        for (size_t s = 0; s < m; s++) {
                lane w = b->w[s][first_i];
                struct cv *t1 = g + s * width;
                norm2 = lane_fma(w, w, norm2);
                t1[0] = v_scale(w, b->s[s][j]);
                t1[1] = v_scale(w, b->s[s][2 + j]);
                for (size_t i = 0; i < i_n; i++) {
                        struct cv *y = t1 + 2 + 8 * i;
                        for (size_t k = 0; k < 2; k++) {
                                struct cv raw = v_neg(b->raw[s][(first_i + i) * 2 + k]);
                                y[2 * k] = v_mul(raw, t1[0]);
                                y[2 * k + 1] = v_mul(raw, t1[1]);
                                y[t4_column[k][j]] = v_scale(w, raw);
                                y[t4_column[k][1 - j]] = v_of(0, 0);
                        }
                }
        }
        lane norm = lane_sqrt(norm2), head = b->w[0][first_i], top = head + norm, k = lane_of(1) / lane_fma(head, norm, norm2);
        for (size_t col = 0; col < width; col++) {
                size_t y = (col - 2) % 8;
                if (col >= 2 && (y == t4_column[0][1 - j] || y == t4_column[1][1 - j]))
                        continue; /* zeros */
                struct cv dot = v_scale(top, g[col]);
                for (size_t s = 1; s < m; s++)
                        dot = v_add_scale(dot, b->w[s][first_i], g[s * width + col]);
                dot = v_scale(k, dot);
                g[col] = v_sub_scale(g[col], top, dot);
                for (size_t s = 1; s < m; s++)
                        g[s * width + col] = v_sub_scale(g[s * width + col], b->w[s][first_i], dot);
        }
        for (size_t i = 0; i < i_n; i++) {
                size_t row = (first_i + i) * 2 + j;
                t->d2[row] = -norm;
                t->d2i[row] = lane_of(-1) / norm;
                t->t1_of_d2[row] = g;
                t->y_of_d2[row] = g + 2 + 8 * i;
        }
}

/* Eliminates T2 and T1 of the rows first_i … first_i + i_n - 1, whose weights are w[.][first_i], in a of 2 m rows, and puts what is left
   behind the c_n rows in c; returns how many they are then. */
IN size_t eliminate(const struct block *b, size_t first_i, size_t i_n, struct cv *a, struct triangle *t, struct cv **c, size_t c_n)
{
        struct cv *row[2 * SIXTEEN_M_MAX] = {NULL};
        size_t m = b->m, width = 2 + 8 * i_n, n = 0;
        eliminate_t2(b, first_i, i_n, 0, a, t);
        eliminate_t2(b, first_i, i_n, 1, a + m * width, t);
        for (size_t r = 0; r < 2 * m; r++)
                if (r % m != 0)
                        row[n++] = a + r * width;
        struct cv inverse[2];
        reflect(row, n, 0, width, &inverse[0]);
        reflect(row + 1, n - 1, 1, width, &inverse[1]);
        for (size_t i = 0; i < i_n; i++) {
                for (size_t k = 0; k < 2; k++) {
                        size_t r = (first_i + i) * 2 + k;
                        t->d1[r] = row[k][k];
                        t->d1i[r] = inverse[k];
                        t->y_of_d1[r] = row[k] + 2 + 8 * i;
                }
                t->up1[first_i + i] = row[0][1];
                for (size_t r = 2; r < n; r++)
                        c[c_n++] = row[r] + 2 + 8 * i;
        }
        return c_n;
}

/* alike: w[k][0] == w[k][1] for all k.  a: 40 m numbers; the triangle stands in them. */
IN void triangle_of(const struct block *b, bool alike, struct cv *a, struct triangle *ret)
{
        struct cv *row[4 * SIXTEEN_M_MAX] = {NULL};
        size_t n = 0;
        if (alike)
                n = eliminate(b, 0, 2, a, ret, row, n);
        else
                for (size_t i = 0; i < 2; i++)
                        n = eliminate(b, i, 1, a + i * 2 * b->m * 10, ret, row, n);
        for (size_t k = 0; k < 8; k++) {
                reflect(row + k, n - k, k, 8, &ret->ci[k]);
                ret->c[k] = row[k];
        }
}

#endif
