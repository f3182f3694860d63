/* condition.h: s1/s15 of the whole system, from its triangle: up to a third too low, never too high.
   s1          |R x|/|x| for x the longest of T2's rows, which lies near the first singular vector.
   s15         With N t = 0 the pseudo-inverse of N is that of N without its last column, projected off t.  What is badly determined is so
   in C: a right side that makes |C^{-H} z| large (the signs of LINPACK's estimate: Cline et al., SIAM J. Numer. Anal. 16 (1979) 368), one
   round of inverse iteration there, and the way up through the whole triangle. */
#ifndef TIPPLANE_RF_SIXTEEN_CONDITION_H
#define TIPPLANE_RF_SIXTEEN_CONDITION_H
#include "rf/calibrate/sixteen/sixteen.h"
#include "rf/calibrate/sixteen/triangle.h"

IN lane largest_of(const struct triangle *t)
{
        struct cv x[16], y[16];
        lane length2[4], longest = lane_of(0);
        for (size_t r = 0; r < 4; r++) {
                length2[r] = t->d2[r] * t->d2[r];
                for (size_t k = 0; k < 2; k++)
                        length2[r] = v_add_norm2(length2[r], t->t1_of_d2[r][k]);
                for (size_t j = 0; j < 8; j++)
                        length2[r] = v_add_norm2(length2[r], t->y_of_d2[r][j]);
                longest = lane_max(longest, length2[r]);
        }
        for (size_t k = 0; k < 16; k++)
                x[k] = v_of(0, 0);
        for (size_t r = 0; r < 4; r++) { /* the sum of all longest */
                lane k = lane_if_le(longest, length2[r], lane_of(1), lane_of(0));
                x[r] = (struct cv){k * t->d2[r], lane_of(0)};
                for (size_t j = 0; j < 2; j++)
                        x[4 + r / 2 * 2 + j] = v_add_scale(x[4 + r / 2 * 2 + j], k, t->t1_of_d2[r][j]);
                for (size_t j = 0; j < 8; j++)
                        x[8 + j] = v_add_scale(x[8 + j], k, t->y_of_d2[r][j]);
        }
        for (size_t k = 4; k < 16; k++)
                x[k].im = -x[k].im;
        times_up(t, x, y);
        return norm_of(y, 16) / norm_of(x, 16);
}

/* Between the steps: a diagonal of next to nothing would else go beyond what a double holds. */
IN void make_unit(struct cv x[7])
{
        lane k = lane_of(1) / norm_of(x, 7);
        for (size_t r = 0; r < 7; r++)
                x[r] = v_scale(k, x[r]);
}

/* null: the null vector, up to noise. */
IN lane condition_of(const struct triangle *t, const struct cv null[16], lane *ret_s15)
{
        struct cv z[7], rest[7], x[16];
        for (size_t r = 0; r < 7; r++)
                rest[r] = v_of(0, 0);
        for (size_t r = 0; r < 7; r++) {
                rest[r].re += lane_if_le(lane_of(0), rest[r].re, lane_of(1), lane_of(-1));
                z[r] = v_cmul(t->ci[r], rest[r]);
                for (size_t j = r + 1; j < 7; j++)
                        rest[j] = v_sub_cmul(rest[j], t->c[r][j], z[r]);
        }
        make_unit(z);
        solve_c_up(t, z, rest);
        make_unit(rest);
        solve_c_down(t, rest, z);
        make_unit(z);
        solve_up(t, NULL, z, x);
        lane fixed = norm_of(x, 15), t2 = lane_of(0);
        struct cv along = v_of(0, 0);
        for (size_t r = 0; r < 16; r++)
                t2 = v_add_norm2(t2, null[r]);
        for (size_t r = 0; r < 15; r++)
                along = v_add_cmul(along, null[r], x[r]);
        along = v_scale(lane_of(1) / t2, along);
        x[15] = v_of(0, 0);
        for (size_t r = 0; r < 16; r++)
                x[r] = v_sub_mul(x[r], along, null[r]);
        lane s1 = largest_of(t), inverse = norm_of(x, 16);
        /* A second null vector makes t itself arbitrary and hides in the projection; it cannot hide from the system with T4_11 fixed, whose
           condition is at most |t| times the other one. */
        inverse = lane_if_le(s1 * fixed, lane_of(10 * SIXTEEN_CONDITION_REFUSE), inverse, fixed);
        *ret_s15 = lane_of(1) / inverse;
        return s1 * inverse;
}

#endif
