/* lrrm_fit_loops.h: the loops of lrrm_fit.c, included once for each kind of processor with KIND and TARGET defined (see vector.h).  No
   include guard: that is the point.  With a shunt capacitance C the open is (a + b' Zs)/(c + d' Zs) of the series part Zs = R + jwL, b' = b
   + jwC a, d' = d + jwC c, and its derivative (b c - a d)/(c + d' Zs)^2. */
#include "rf/numbers/vector.h"

struct N(open) {
        struct cx a, b, c, d, zs; /* b', d' */
};
IN struct N(open) N(open_of)(struct cx a, struct cx b, struct cx c, struct cx d, struct cx z, double w, struct lrrm_match m)
{
        struct cx shunt = cx(0, w * m.c_f);
        return (struct N(open)){a, N(add_mul)(b, shunt, a), c, N(add_mul)(d, shunt, c), cx(z.re + m.r_ohm, __builtin_fma(w, m.l_h, z.im))};
}
#define OPEN_COLUMNS                                                                                                          \
        const double *a_re = in->q->a_re, *a_im = in->q->a_im, *b_re = in->q->b_re, *b_im = in->q->b_im, *c_re = in->q->c_re, \
                     *c_im = in->q->c_im, *d_re = in->q->d_re, *d_im = in->q->d_im, *z_re = in->q->z_re, *z_im = in->q->z_im, \
                     *w = in->q->w, *u_open = in->q->u_open
#define OPEN_AT(i) N(open_of)(AT(a, i), AT(b, i), AT(c, i), AT(d, i), AT(z, i), w[i], m)

/* (|G|^2 - 1)/(2 |G|) and its derivatives by L (1 pH) and C (1 fF), or R (1 ohm), in units of u_open. */
HOT void N(lossless)(size_t n, const struct fit_columns *in)
{
        OPEN_COLUMNS;
        struct lrrm_match m = in->match;
        double *r = in->q->scratch[R_0], *dl = in->q->scratch[DL_0], *dx = in->q->scratch[DX_0], of_r = in->second_is_r ? 1 : 0,
               of_c = in->second_is_r ? 0 : 1e-15;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct N(open) q = OPEN_AT(i);
                struct cx den = N(inv)(N(add_mul)(q.c, q.d, q.zs)), g = N(mul)(N(add_mul)(q.a, q.b, q.zs), den);
                struct cx dg = N(mul)(N(sub_mul)(N(mul)(q.b, q.c), q.a, q.d), N(mul)(den, den));
                double size = __builtin_sqrt(N(norm2)(g)), scale = 1 / (size * u_open[i]);
                struct cx by = N(mul)(cx(g.re, -g.im), dg), by_c = N(mul)(by, N(mul)(q.zs, q.zs));
                r[i] = (size - 1) * (size + 1) * (scale / 2);
                dl[i] = by.im * (scale * (-1e-12 * w[i]));
                dx[i] = __builtin_fma(by_c.im, of_c * w[i], by.re * of_r) * scale;
        }
}

/* G - its definition and the derivatives by L (1 pH) and R (1 ohm), in units of u_open. */
HOT void N(known)(size_t n, const struct fit_columns *in)
{
        OPEN_COLUMNS;
        const double *open_re = in->q->open_re, *open_im = in->q->open_im;
        struct lrrm_match m = in->match;
        double *r0 = in->q->scratch[R_0], *r1 = in->q->scratch[R_1], *dl0 = in->q->scratch[DL_0], *dl1 = in->q->scratch[DL_1],
               *dr0 = in->q->scratch[DX_0], *dr1 = in->q->scratch[DX_1];
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct N(open) q = OPEN_AT(i);
                struct cx den = N(inv)(N(add_mul)(q.c, q.d, q.zs)), g = N(mul)(N(add_mul)(q.a, q.b, q.zs), den);
                struct cx dg = N(mul)(N(sub_mul)(N(mul)(q.b, q.c), q.a, q.d), N(mul)(den, den));
                double scale = 1 / u_open[i], by_l = scale * (1e-12 * w[i]);
                r0[i] = (g.re - open_re[i]) * scale;
                r1[i] = (g.im - open_im[i]) * scale;
                dl0[i] = -dg.im * by_l;
                dl1[i] = dg.re * by_l;
                dr0[i] = dg.re * scale;
                dr1[i] = dg.im * scale;
        }
}

/* Im y - w C (of 50 ohm) of the solved open and w, in units of what u_open makes of y, or, not to_scale, of u_open itself. */
HOT void N(bend)(size_t n, const struct fit_columns *in)
{
        OPEN_COLUMNS;
        struct lrrm_match m = in->match;
        double *r = in->q->scratch[R_0], *dl = in->q->scratch[DL_0], c_50 = in->open_c_50;
        double flat = in->to_scale ? 0 : 1, by_one_g = in->to_scale ? 0.5 : 0;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct N(open) q = OPEN_AT(i);
                struct cx g = N(mul)(N(add_mul)(q.a, q.b, q.zs), N(inv)(N(add_mul)(q.c, q.d, q.zs)));
                double one_g = N(norm2)(cx(1 + g.re, g.im)), scale = __builtin_fma(by_one_g, one_g, flat) / u_open[i];
                r[i] = (-2 * g.im / one_g - w[i] * c_50) * scale;
                dl[i] = w[i] * scale;
        }
}

/* One step of Newton's rule to where the quadratics p and q of L meet. */
IN double N(newton)(const double p[3], const double q[3], double l)
{
        double num = __builtin_fma(__builtin_fma(p[2], l, p[1]), l, p[0]), den = __builtin_fma(__builtin_fma(q[2], l, q[1]), l, q[0]);
        double off = __builtin_fma(__builtin_fma(p[2] - q[2], l, p[1] - q[1]), l, p[0] - q[0]);
        double slope = __builtin_fma(__builtin_fma(2 * p[2], l, p[1]), den, -(num * __builtin_fma(2 * q[2], l, q[1])));
        return l - off * den / slope;
}
/* |a + jwL b|^2 by L */
#define IN_L(a, b)                                                                                                    \
        {                                                                                                             \
                N(norm2)(a), -2 * w[i] * __builtin_fma((a).re, (b).im, -((a).im * (b).re)), w[i] * w[i] * N(norm2)(b) \
        }

/* Each frequency alone: |G| = 1, nearly linear in L. */
HOT void N(alone)(size_t n, const struct fit_columns *in)
{
        OPEN_COLUMNS;
        struct lrrm_match m = in->match;
        double *r_ohm = in->r_ohm, *l_h = in->l_h;
        (void)u_open;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct N(open) q = OPEN_AT(i);
                struct cx up = N(add_mul)(q.a, q.b, q.zs), down = N(add_mul)(q.c, q.d, q.zs);
                const double p2[3] = IN_L(up, q.b), q2[3] = IN_L(down, q.d);
                double l = m.l_h + N(newton)(p2, q2, N(newton)(p2, q2, N(newton)(p2, q2, N(newton)(p2, q2, 0))));
                r_ohm[i] = q.zs.re;
                l_h[i] = __builtin_fabs(l) < 1e-9 ? z_im[i] / w[i] + l : __builtin_nan("");
        }
}
#undef IN_L
#undef OPEN_COLUMNS
#undef OPEN_AT

/* Sums over n rows, a multiple of 8, in eight lanes on every processor: the order of the additions is part of the result. */
HOT void N(sums)(size_t n, const struct sum_columns *in)
{
        const double *r = in->r, *dl = in->dl, *dx = in->dx, *weight = in->weight;
        lanes ll = {0}, lx = {0}, xx = {0}, lr = {0}, xr = {0}, rr = {0}, w = {1, 1, 1, 1, 1, 1, 1, 1};
        for (size_t i = 0; i < n; i += 8) {
                lanes a = *(const lanes *)(const void *)(dl + i), b = *(const lanes *)(const void *)(dx + i),
                      c = *(const lanes *)(const void *)(r + i);
                if (weight)
                        w = (lanes){1, 1, 1, 1, 1, 1, 1, 1} * weight[i / HALF_WINDOW];
                lanes wa = w * a, wb = w * b;
                ll += wa * a;
                lx += wa * b;
                xx += wb * b;
                lr += wa * c;
                xr += wb * c;
                rr += w * c * c;
        }
        lanes all[6] = {ll, lx, xx, lr, xr, rr};
        for (int k = 0; k < 6; k++)
                in->sum[k] += ((all[k][0] + all[k][4]) + (all[k][1] + all[k][5])) + ((all[k][2] + all[k][6]) + (all[k][3] + all[k][7]));
}

#include "rf/numbers/vector_end.h"
