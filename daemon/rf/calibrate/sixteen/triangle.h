/* triangle.h: what multiplies and solves with the triangle of the eliminated system (eliminate.h makes it). */
#ifndef TIPPLANE_RF_SIXTEEN_TRIANGLE_H
#define TIPPLANE_RF_SIXTEEN_TRIANGLE_H
#include "rf/numbers/lanes.h"
#include <stddef.h>
#include <string.h>

/* Order of the unknowns: T2_11 12 21 22; T1_11 12 21 22; then y: T3_11 12 21 22, T4_12 21 22, T4_11.  Rows stand where they were made. */
struct triangle {
        lane d2[4], d2i[4]; /* the four rows that T2 left: diagonals and their inverses, T1_i1 T1_i2, y */
        const struct cv *t1_of_d2[4], *y_of_d2[4];
        struct cv d1[4], d1i[4], up1[2]; /* those that T1 left; up1[i]: T1_i2 in the row of T1_i1 */
        const struct cv *y_of_d1[4];
        const struct cv *c[8]; /* the rest, columns 8 … 15; only c[r][r …] is the triangle's */
        struct cv ci[8];       /* inverses of its diagonal */
};

/* x = C^{-1} b and x = C^{-H} b, C the last seven rows and columns without T4_11's.  The sums run backwards: the newest unknown is needed
   last. */
IN void solve_c_up(const struct triangle *t, const struct cv b[7], struct cv x[7])
{
        for (size_t r = 7; r-- > 0;) {
                struct cv sum = b[r];
                for (size_t j = 7; j-- > r + 1;)
                        sum = v_sub_mul(sum, t->c[r][j], x[j]);
                x[r] = v_mul(sum, t->ci[r]);
        }
}
IN void solve_c_down(const struct triangle *t, const struct cv b[7], struct cv x[7])
{
        struct cv rest[7];
        memcpy(rest, b, sizeof rest);
        for (size_t r = 0; r < 7; r++) {
                x[r] = v_cmul(t->ci[r], rest[r]);
                for (size_t j = r + 1; j < 7; j++)
                        rest[j] = v_sub_cmul(rest[j], t->c[r][j], x[r]);
        }
}

/* x = R^{-1} b over the 15 unknowns without T4_11; above: the rows above C of b, NULL for zeros. */
IN void solve_up(const struct triangle *t, const struct cv *above, const struct cv c[7], struct cv x[16])
{
        solve_c_up(t, c, x + 8);
        for (size_t r = 4; r-- > 0;) {
                struct cv sum = above ? above[4 + r] : v_of(0, 0);
                for (size_t j = 7; j-- > 0;)
                        sum = v_sub_mul(sum, t->y_of_d1[r][j], x[8 + j]);
                if (r % 2 == 0)
                        sum = v_sub_mul(sum, t->up1[r / 2], x[4 + r + 1]);
                x[4 + r] = v_mul(sum, t->d1i[r]);
        }
        for (size_t r = 0; r < 4; r++) {
                struct cv sum = above ? above[r] : v_of(0, 0);
                for (size_t j = 7; j-- > 0;)
                        sum = v_sub_mul(sum, t->y_of_d2[r][j], x[8 + j]);
                for (size_t k = 2; k-- > 0;)
                        sum = v_sub_mul(sum, t->t1_of_d2[r][k], x[4 + r / 2 * 2 + k]);
                x[r] = v_scale(t->d2i[r], sum);
        }
}

/* x = R^{-H} b over the same 15. */
IN void solve_down(const struct triangle *t, const struct cv b[15], struct cv x[15])
{
        struct cv rest[15];
        memcpy(rest, b, sizeof rest);
        for (size_t r = 0; r < 4; r++) {
                x[r] = v_scale(t->d2i[r], rest[r]);
                for (size_t k = 0; k < 2; k++)
                        rest[4 + r / 2 * 2 + k] = v_sub_cmul(rest[4 + r / 2 * 2 + k], t->t1_of_d2[r][k], x[r]);
                for (size_t j = 0; j < 7; j++)
                        rest[8 + j] = v_sub_cmul(rest[8 + j], t->y_of_d2[r][j], x[r]);
        }
        for (size_t r = 0; r < 4; r++) {
                x[4 + r] = v_cmul(t->d1i[r], rest[4 + r]);
                if (r % 2 == 0)
                        rest[4 + r + 1] = v_sub_cmul(rest[4 + r + 1], t->up1[r / 2], x[4 + r]);
                for (size_t j = 0; j < 7; j++)
                        rest[8 + j] = v_sub_cmul(rest[8 + j], t->y_of_d1[r][j], x[4 + r]);
        }
        solve_c_down(t, rest + 8, x + 8);
}

/* y = R x, all 16. */
IN void times_up(const struct triangle *t, const struct cv x[16], struct cv y[16])
{
        for (size_t r = 0; r < 4; r++) {
                struct cv sum = v_scale(t->d2[r], x[r]), one = v_mul(t->d1[r], x[4 + r]);
                for (size_t k = 0; k < 2; k++)
                        sum = v_add_mul(sum, t->t1_of_d2[r][k], x[4 + r / 2 * 2 + k]);
                if (r % 2 == 0)
                        one = v_add_mul(one, t->up1[r / 2], x[4 + r + 1]);
                for (size_t j = 0; j < 8; j++) {
                        sum = v_add_mul(sum, t->y_of_d2[r][j], x[8 + j]);
                        one = v_add_mul(one, t->y_of_d1[r][j], x[8 + j]);
                }
                y[r] = sum;
                y[4 + r] = one;
        }
        for (size_t r = 0; r < 8; r++) {
                struct cv sum = v_mul(t->c[r][r], x[8 + r]);
                for (size_t j = r + 1; j < 8; j++)
                        sum = v_add_mul(sum, t->c[r][j], x[8 + j]);
                y[8 + r] = sum;
        }
}

IN lane norm_of(const struct cv *x, size_t n)
{
        lane sum = lane_of(1e-290);
        for (size_t k = 0; k < n; k++)
                sum = v_add_norm2(sum, x[k]);
        return lane_sqrt(sum);
}
#endif
