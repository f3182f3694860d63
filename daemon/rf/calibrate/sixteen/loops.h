/* loops.h: LANES frequencies at once from readings to terms, no branches; the body of any.c and its sisters.
   Weights     An error dS of an ideal moves the equations of row i by ((T1 - M T3) dS)_i, so each row gets 1/(u |(T1 - M T3)_i|), after a
               first solution with 1/u, and one refinement of the second.  One standard without u: all rows weigh the same. */
#include "rf/calibrate/sixteen/condition.h"
#include "rf/calibrate/sixteen/eliminate.h"
#include <stdint.h>

struct answer {
        struct cv t[FULL_COUNT]; /* T1 T2 T3 T4 */
        lane condition, consistency, residual[SIXTEEN_M_MAX];
};

/* ---- in and out --------------------------------------------------------------------------------------------------------------------- */

/* Elements i … of a column; the last one of n is repeated beyond the end. */
IN lane from_column(const double *x, size_t i, size_t n)
{
        lane r;
        if (i + LANES <= n)
                memcpy(&r, x + i, sizeof r);
        else
                for (size_t l = 0; l < LANES; l++)
                        r[l] = x[i + l < n ? i + l : n - 1];
        return r;
}
IN void to_column(double *x, size_t i, size_t n, lane v)
{
        if (i + LANES <= n)
                memcpy(x + i, &v, sizeof v);
        else
                for (size_t l = 0; i + l < n; l++)
                        x[i + l] = v[l];
}

/* Marks, 50th ARFTG, 1997. */
IN void unterminate(struct cv m[4], struct cv gf, struct cv gr)
{
        struct cv one = v_of(1, 0), t = v_mul(m[1], m[2]), d = v_inv(v_sub_mul(one, t, v_mul(gf, gr)));
        struct cv f = v_mul(m[2], v_sub_mul(one, m[3], gf)), r = v_mul(m[1], v_sub_mul(one, m[0], gr));
        m[0] = v_mul(v_sub_mul(m[0], t, gf), d);
        m[1] = v_mul(r, d);
        m[2] = v_mul(f, d);
        m[3] = v_mul(v_sub_mul(m[3], t, gr), d);
}

IN void load(const struct sixteen_columns *in, size_t i, struct block *b)
{
        const struct switch_terms *sw = in->switch_terms;
        struct cv gf = v_of(0, 0), gr = v_of(0, 0);
        if (sw) {
                gf = (struct cv){from_column(sw->f_re, i, in->n), from_column(sw->f_im, i, in->n)};
                gr = (struct cv){from_column(sw->r_re, i, in->n), from_column(sw->r_im, i, in->n)};
        }
        b->m = in->m;
        for (size_t s = 0; s < b->m; s++) {
                b->w[s][0] = b->w[s][1] = lane_of(in->standard[s].w);
                for (int k = 0; k < 4; k++) {
                        b->raw[s][k].re = from_column(in->standard[s].raw_re[k], i, in->n);
                        b->raw[s][k].im = from_column(in->standard[s].raw_im[k], i, in->n);
                        b->s[s][k].re = from_column(in->standard[s].s_re[k], i, in->n);
                        b->s[s][k].im = from_column(in->standard[s].s_im[k], i, in->n);
                }
                if (sw)
                        unterminate(b->raw[s], gf, gr);
        }
}

IN void store(const struct sixteen_columns *in, size_t i, const struct answer *a)
{
        for (int k = 0; k < FULL_COUNT; k++) {
                to_column(in->t_re[k], i, in->n, a->t[k].re);
                to_column(in->t_im[k], i, in->n, a->t[k].im);
        }
        to_column(in->condition, i, in->n, a->condition);
        to_column(in->consistency, i, in->n, a->consistency);
        for (size_t s = 0; s < in->m; s++)
                for (size_t l = 0; l < LANES && i + l < in->n; l++)
                        in->residual[(i + l) * in->m + in->standard[s].place] = a->residual[s][l];
}

/* ---- from an answer back to the equations ------------------------------------------------------------------------------------------- */

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

/* Z = T3 S + T4 and N = T1 S + T2 - M Z, which is zero for a standard that was read as it was defined. */
IN void miss(const struct cv t[FULL_COUNT], const struct cv s[4], const struct cv raw[4], struct cv z[4], struct cv n[4])
{
        for (size_t e = 0; e < 4; e++) {
                size_t i = e / 2 * 2, j = e % 2;
                z[e] = v_add_mul(v_add_mul(t[FULL_T4 + e], t[FULL_T3 + i], s[j]), t[FULL_T3 + i + 1], s[2 + j]);
                n[e] = v_add_mul(v_add_mul(t[FULL_T2 + e], t[FULL_T1 + i], s[j]), t[FULL_T1 + i + 1], s[2 + j]);
        }
        for (size_t e = 0; e < 4; e++)
                n[e] = v_sub_mul(v_sub_mul(n[e], raw[e / 2 * 2], z[e % 2]), raw[e / 2 * 2 + 1], z[2 + e % 2]);
}

/* |predicted - read|, the largest of the four: N Z^{-1}. */
IN lane residual_of(const struct cv t[FULL_COUNT], const struct cv s[4], const struct cv raw[4])
{
        struct cv z[4], n[4];
        miss(t, s, raw, z, n);
        lane worst = lane_of(0);
        for (size_t i = 0; i < 4; i += 2) {
                worst = lane_max(worst, v_norm2(v_sub_mul(v_mul(n[i], z[3]), n[i + 1], z[2])));
                worst = lane_max(worst, v_norm2(v_sub_mul(v_mul(n[i + 1], z[0]), n[i], z[1])));
        }
        return lane_sqrt(worst / v_norm2(v_sub_mul(v_mul(z[0], z[3]), z[1], z[2])));
}

/* Weights of the second round, from the first: |T1 - M T3|, row by row. */
IN void weigh(struct block *b, const struct cv t[FULL_COUNT])
{
        for (size_t s = 0; s < b->m; s++)
                for (size_t i = 0; i < 2; i++) {
                        lane size = lane_of(1e-290);
                        for (size_t j = 0; j < 2; j++) {
                                const struct cv *m = &b->raw[s][2 * i];
                                size = v_add_norm2(
                                        size, v_sub_mul(v_sub_mul(t[FULL_T1 + 2 * i + j], m[0], t[FULL_T3 + j]), m[1], t[FULL_T3 + 2 + j]));
                        }
                        b->w[s][i] = b->w[s][i] / lane_sqrt(size);
                }
}

/* One step of corrected seminormal equations (Bjorck, Linear Algebra Appl. 88/89 (1987) 31): x -= (R^H R)^{-1} N^H (N x).  Unequal weights
   cost the eliminations some last digits; this brings them back. */
APART void refine(const struct block *b, const struct triangle *t, struct cv x[16])
{
        struct cv f[FULL_COUNT], g[16], h[16];
        unpack(x, f);
        for (size_t k = 0; k < 16; k++)
                g[k] = v_of(0, 0);
        for (size_t s = 0; s < b->m; s++) {
                const struct cv *d = b->s[s], *m = b->raw[s];
                struct cv z[4], r[4], mr[4];
                miss(f, d, m, z, r);
                for (size_t e = 0; e < 4; e++)
                        r[e] = v_scale(b->w[s][e / 2] * b->w[s][e / 2], r[e]);
                for (size_t e = 0; e < 4; e++) /* M^H r */
                        mr[e] = v_add_cmul(v_cmul(m[e / 2], r[e % 2]), m[2 + e / 2], r[2 + e % 2]);
                for (size_t e = 0; e < 4; e++) {
                        size_t i = e / 2 * 2, l = e % 2 * 2; /* r S^H and M^H r S^H */
                        g[e] = v_add(g[e], r[e]);
                        g[4 + e] = v_add_cmul(v_add_cmul(g[4 + e], d[l], r[i]), d[l + 1], r[i + 1]);
                        g[8 + e] = v_sub_cmul(v_sub_cmul(g[8 + e], d[l], mr[i]), d[l + 1], mr[i + 1]);
                }
                for (size_t e = 0; e < 4; e++)
                        h[8 + t4_column[e / 2][e % 2]] = s ? v_sub(h[8 + t4_column[e / 2][e % 2]], mr[e]) : v_neg(mr[e]);
        }
        memcpy(g + 12, h + 12, 4 * sizeof *g);
        solve_down(t, g, h);
        solve_up(t, h, h + 8, g);
        for (size_t k = 0; k < 15; k++)
                x[k] = v_sub(x[k], g[k]);
}

/* ---- solve -------------------------------------------------------------------------------------------------------------------------- */

/* x: the sixteen, up to noise N's null vector; alike: the weights of both rows are. */
APART void solve_block(const struct block *b, bool alike, struct cv *a, struct triangle *t, struct cv x[16])
{
        struct cv above[8], c[7];
        triangle_of(b, alike, a, t);
        for (size_t r = 0; r < 4; r++) {
                above[r] = v_neg(t->y_of_d2[r][7]);
                above[4 + r] = v_neg(t->y_of_d1[r][7]);
        }
        for (size_t r = 0; r < 7; r++)
                c[r] = v_neg(t->c[r][7]);
        solve_up(t, above, c, x);
        x[15] = v_of(1, 0);
}

APART void look_back(const struct block *b, const struct triangle *t, const struct cv x[16], struct answer *out)
{
        lane s15;
        out->condition = condition_of(t, x, &s15);
        out->consistency = lane_sqrt(v_norm2(t->c[7][7])) / (norm_of(x, 16) * s15); /* |N t|/|t| is s16 or a little more */
        for (size_t s = 0; s < b->m; s++)
                out->residual[s] = residual_of(out->t, b->s[s], b->raw[s]);
}

void SIXTEEN_RUN(const struct sixteen_columns *in, void *memory);
void SIXTEEN_RUN(const struct sixteen_columns *in, void *memory)
{
        struct block *b = memory;
        struct cv *a = (struct cv *)(b + 1);
        for (size_t i = 0; i < in->n; i += LANES) {
                struct cv x[16];
                struct triangle t;
                struct answer out;
                load(in, i, b);
                solve_block(b, true, a, &t, x);
                unpack(x, out.t);
                if (in->weighted) {
                        weigh(b, out.t);
                        solve_block(b, false, a, &t, x);
                        refine(b, &t, x);
                        unpack(x, out.t);
                }
                look_back(b, &t, x, &out);
                store(in, i, &out);
        }
}
