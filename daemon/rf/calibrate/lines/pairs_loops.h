/* pairs_loops.h: the body of pairs.c, included once for each kind of processor with KIND and TARGET defined (see vector.h).  No
   include guard: that is the point. */
#include "rf/numbers/vector.h"
#include "rf/numbers/vector_functions.h"
#include "rf/calibrate/lines/read_loops.h"

/* line_t(); NaN where nothing is transmitted. */
HOT void N(pairs_t)(size_t n, const struct line_reading *in, const struct cx_column *to)
{
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx t[4], u12, u21;
                N(line_read)(in, i, t, &u12, &u21);
                double k = 1 / N(norm2)(u21) + N(line_transmits)(t[3], u21);
                struct cx inverse = cx(u21.re * k, -u21.im * k);
                N(put)(to[0], i, N(mul)(inverse, t[0]));
                N(put)(to[1], i, N(mul)(inverse, t[1]));
                N(put)(to[2], i, N(mul)(inverse, t[2]));
                N(put)(to[3], i, N(mul)(inverse, t[3]));
        }
}

IN struct cx N(less)(struct cx a, double sign, struct cx b) { return cx(a.re - sign * b.re, a.im - sign * b.im); }

/* line_pair_of() */
HOT void N(pairs_pair)(size_t n, const struct cx_column *t_k, const struct cx_column *t_c, const struct pair_columns *to)
{
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx t0 = N(at)(t_c[0], i), t1 = N(at)(t_c[1], i), t2 = N(at)(t_c[2], i), t3 = N(at)(t_c[3], i);
                struct cx k0 = N(at)(t_k[0], i), k1 = N(at)(t_k[1], i), k2 = N(at)(t_k[2], i), k3 = N(at)(t_k[3], i);
                double alike = (N(along)(k0, t0) + N(along)(k1, t1)) + (N(along)(k2, t2) + N(along)(k3, t3)), sign = alike < 0 ? -1 : 1;
                struct cx d0 = N(less)(k0, sign, t0), d1 = N(less)(k1, sign, t1), d2 = N(less)(k2, sign, t2), d3 = N(less)(k3, sign, t3);
                struct cx p0 = N(sub_mul)(N(mul)(d0, t3), d1, t2), p1 = N(sub_mul)(N(mul)(d1, t0), d0, t1);
                struct cx p2 = N(sub_mul)(N(mul)(d2, t3), d3, t2), p3 = N(sub_mul)(N(mul)(d3, t0), d2, t1);
                struct cx r0 = N(sub_mul)(N(mul)(t3, d0), t1, d2), r1 = N(sub_mul)(N(mul)(t3, d1), t1, d3);
                struct cx r2 = N(sub_mul)(N(mul)(t0, d2), t2, d0), r3 = N(sub_mul)(N(mul)(t0, d3), t2, d1);
                struct cx det = N(sub_mul)(N(mul)(t0, t3), t1, t2), half = cx((p0.re - p3.re) / 2, (p0.im - p3.im) / 2);
                struct cx mean = cx(sign * det.re + (p0.re + p3.re) / 2, sign * det.im + (p0.im + p3.im) / 2);
                struct cx root = N(root_of)(N(add_mul)(N(mul)(half, half), p1, p2));
                double with = N(along)(half, root) >= 0 ? 1 : -1;
                root = cx(with * root.re, with * root.im);
                struct cx s = N(inv)(cx_add(half, root));
                N(put)(to->root, i, root);
                N(put)(to->det, i, det);
                N(put)(to->box[0], i, N(mul)(cx(-p1.re, -p1.im), s));
                N(put)(to->box[1], i, N(mul)(p2, s));
                struct cx half2 = cx((r0.re - r3.re) / 2, (r0.im - r3.im) / 2), s2 = cx_add(half2, root), minus = cx_sub(root, half2);
                bool kept = N(along)(half2, root) >= 0;
                N(put)(to->box[2], i, N(mul)(N(select)(kept, r2, minus), N(inv)(N(select)(kept, s2, r1))));
                N(put)
                (to->box[3], i, N(mul)(N(select)(kept, cx(-r1.re, -r1.im), cx(-minus.re, -minus.im)), N(inv)(N(select)(kept, s2, r2))));
                struct cx q = N(mul)(root, N(inv)(mean)), lambda = N(mul)(cx_add(mean, root), cx(det.re, -det.im));
                double q2 = N(norm2)(q), away = __builtin_fma(1 - q.re, 1 - q.re, q.im * q.im), twice = 2 * q.im, rest = 1 - q2;
                double size = __builtin_sqrt(__builtin_fma(rest, rest, twice * twice));
                struct cx e =
                        cx(rest >= 0 ? rest + size : __builtin_fabs(twice), rest >= 0 ? twice : __builtin_copysign(size - rest, twice));
                double round = N(along)(e, lambda) < 0 ? RF_PI : 0;
                N(put)(to->phase, i, cx(-N(log_1p)(4 * q.re / away) / 4, round - N(angle)(twice, rest) / 2));
        }
}

#include "rf/numbers/vector_end.h"
