/* judge_loops.h: the body of judge.c, included once for each kind of processor with KIND and TARGET defined (see vector.h).  No
   include guard: that is the point. */
#include "rf/numbers/vector.h"
#include "rf/numbers/vector_functions.h"
#include "rf/calibrate/lines/read_loops.h"

IN void N(gather)(struct cx_column c, size_t i, struct cx a, struct cx b) /* c += a b */ { N(put)(c, i, N(add_mul)(N(at)(c, i), a, b)); }

/* What is the same for all lines; every sum begins at nothing. */
HOT void N(judge_begin)(size_t n, const struct block *b, double to_mean_m)
{
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx one = cx(1, 0), a1 = N(at)(b->a1, i), a2 = N(at)(b->a2, i), both = N(mul)(a1, a2), r = N(at)(b->r, i);
                struct cx d1 = N(sub_mul)(one, N(at)(b->b1, i), N(at)(b->ca1, i));
                struct cx d2 = N(sub_mul)(one, N(at)(b->b2, i), N(at)(b->ca2, i)), d12 = N(mul)(d1, d2);
                struct cx g = N(at)(b->g, i);
                N(put)(b->middle, i, N(e_to)(cx(to_mean_m * g.re, to_mean_m * g.im)));
                N(put)(b->a1_inverse, i, N(inv)(a1));
                N(put)(b->a2_inverse, i, N(inv)(a2));
                N(put)(b->a1a2, i, both);
                N(put)(b->k12, i, N(inv)(N(mul)(both, r)));
                N(put)(b->k21, i, N(mul)(r, d12));
                b->not_reciprocal2[i] = b->sum_miss[i] = b->sum_l_miss[i] = 0;
        }
        for (int k = 0; k < 4; k++)
#pragma GCC ivdep
                for (size_t i = 0; i < n; i++) {
                        N(put)(b->s[k], i, cx(0, 0));
                        N(put)(b->d[k], i, cx(0, 0));
                        N(put)(b->h[k], i, cx(0, 0));
                        N(put)(b->e[k], i, cx(0, 0));
                }
}

/* One line: residual, |S21 - S12|^2, by how much it is too long (before the others have been heard), and its part of the sums.
   T = t/u21, det T = u12/u21 (read_loops.h). */
HOT void N(judge_line)(size_t n, const struct block *b, const struct judge_line *in)
{
        double *miss = b->miss[in->index], l = in->length_m, off = in->off_mean_m;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx one = cx(1, 0), t[4], u12, u21;
                N(line_read)(&in->read, i, t, &u12, &u21);
                struct cx g = N(at)(b->g, i), z = N(e_to)(cx(-l * g.re, -l * g.im));
                struct cx b1 = N(at)(b->b1, i), ca1 = N(at)(b->ca1, i), b2 = N(at)(b->b2, i), ca2 = N(at)(b->ca2, i);
                struct cx p0 = N(sub_mul)(t[0], b1, t[2]), p1 = N(sub_mul)(t[1], b1, t[3]), p2 = N(sub_mul)(t[2], ca1, t[0]),
                          p3 = N(sub_mul)(t[3], ca1, t[1]);
                struct cx q0 = N(add_mul)(p0, p1, b2), q3 = N(add_mul)(p3, p2, ca2), q3_inverse = N(inv)(q3);
                struct cx s11 = N(mul)(N(mul)(N(add_mul)(p1, p0, ca2), q3_inverse), N(at)(b->a1_inverse, i));
                struct cx s22 = N(mul)(N(mul)(N(add_mul)(p2, p3, b2), q3_inverse), N(at)(b->a2_inverse, i));
                struct cx s21 = N(mul)(N(mul)(N(at)(b->k21, i), u21), q3_inverse);
                struct cx s12 = N(mul)(N(mul)(N(at)(b->k12, i), u12), q3_inverse);
                double off_match = N(larger)(N(norm2)(s11), N(norm2)(s22));
                double off_line = N(larger)(N(norm2)(cx_sub(s21, z)), N(norm2)(cx_sub(s12, z)));
                b->residual[i] = __builtin_sqrt(N(larger)(off_match, off_line));
                b->not_reciprocal2[i] = N(larger)(b->not_reciprocal2[i], N(norm2)(cx_sub(s21, s12)));
                /* half the logarithm of T22/T11 z^2 over g */
                struct cx w = cx_sub(N(mul)(N(mul)(q3, N(at)(b->a1a2, i)), N(mul)(N(mul)(z, z), N(inv)(q0))), one);
                double size = N(log_1p)(__builtin_fma(w.re, 2 + w.re, w.im * w.im)) / 4, turn = N(angle)(w.im, 1 + w.re) / 2;
                miss[i] = __builtin_fma(size, g.re, turn * g.im) / N(norm2)(g);
                b->sum_miss[i] += miss[i];
                b->sum_l_miss[i] = __builtin_fma(off, miss[i], b->sum_l_miss[i]);
                /* the second opinion's sums, with the conjugates of cosh and 2 sinh, lengths from their mean: so the sum of all h is small
                   and lambda, of second order in g l, is not a difference of first ones */
                struct cx y = N(mul)(z, N(at)(b->middle, i)), y_inverse = N(inv)(y);
                struct cx c = cx((y.re + y_inverse.re) / 2, -(y.im + y_inverse.im) / 2), h = cx(y_inverse.re - y.re, y.im - y_inverse.im);
                struct cx i21 = N(inv)(u21), i12 = N(inv)(u12), c21 = N(mul)(c, i21), h21 = N(mul)(h, i21), c12 = N(mul)(c, i12),
                          h12 = N(mul)(h, i12);
                N(gather)(b->s[0], i, c21, t[0]);
                N(gather)(b->s[1], i, c21, t[2]);
                N(gather)(b->s[2], i, c21, t[1]);
                N(gather)(b->s[3], i, c21, t[3]);
                N(gather)(b->d[0], i, h21, t[0]);
                N(gather)(b->d[1], i, h21, t[2]);
                N(gather)(b->d[2], i, h21, t[1]);
                N(gather)(b->d[3], i, h21, t[3]);
                struct cx n1 = cx(-t[1].re, -t[1].im), n2 = cx(-t[2].re, -t[2].im);
                N(gather)(b->h[0], i, c12, t[3]);
                N(gather)(b->h[1], i, c12, n1);
                N(gather)(b->h[2], i, c12, n2);
                N(gather)(b->h[3], i, c12, t[0]);
                N(gather)(b->e[0], i, h12, t[3]);
                N(gather)(b->e[1], i, h12, n1);
                N(gather)(b->e[2], i, h12, n2);
                N(gather)(b->e[3], i, h12, t[0]);
        }
}

/* By regression of what all lines miss on their lengths: what line `index` would miss if it had been left out. */
HOT void N(judge_length)(size_t n, const struct block *b, const struct judge_line *in, double *to)
{
        const double *miss = b->miss[in->index], k = in->over_rest, off = in->off_mean_m * in->over_spread, share = in->over_lines;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++)
                to[i] = k * (miss[i] - share * b->sum_miss[i] - off * b->sum_l_miss[i]);
}

/* F (a S + b D) is in the plane of S and D: v = a S + b D of the eigenvalue whose a : b is given, and of its matrix [[v0, v2], [v1, v3]]
   the dominant singular vectors to second order in what is not rank one. */
IN void N(vectors)(const struct block *b, size_t i, struct cx of_s, struct cx of_d, struct cx x[2], struct cx y[2])
{
        struct cx v[4];
#pragma GCC unroll 4
        for (int k = 0; k < 4; k++)
                v[k] = N(add_mul)(N(mul)(of_s, N(at)(b->s[k], i)), of_d, N(at)(b->d[k], i));
        bool first = N(norm2)(v[0]) + N(norm2)(v[1]) >= N(norm2)(v[2]) + N(norm2)(v[3]);
        struct cx c0 = N(select)(first, v[0], v[2]), c1 = N(select)(first, v[1], v[3]);
        struct cx p = N(add_mul)(N(mul)(cx(v[0].re, -v[0].im), c0), cx(v[1].re, -v[1].im), c1);
        struct cx q = N(add_mul)(N(mul)(cx(v[2].re, -v[2].im), c0), cx(v[3].re, -v[3].im), c1);
#pragma GCC unroll 2
        for (int k = 0; k < 2; k++)
                x[k] = N(add_mul)(N(mul)(v[k], p), v[2 + k], q);
#pragma GCC unroll 2
        for (int k = 0; k < 2; k++)
                y[k] = N(add_mul)(N(mul)(v[2 * k], cx(x[0].re, -x[0].im)), v[2 * k + 1], cx(x[1].re, -x[1].im));
}
HOT void N(judge_opinion)(size_t n, const struct block *b)
{
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx es = cx(0, 0), ed = cx(0, 0), hs = cx(0, 0), hd = cx(0, 0);
#pragma GCC unroll 4
                for (int k = 0; k < 4; k++) {
                        struct cx s = N(at)(b->s[k], i), d = N(at)(b->d[k], i), h = N(at)(b->h[k], i), e = N(at)(b->e[k], i);
                        es = N(add_mul)(es, e, s);
                        ed = N(add_mul)(ed, e, d);
                        hs = N(add_mul)(hs, h, s);
                        hd = N(add_mul)(hd, h, d);
                }
                /* [[-es, -ed], [hs, hd]] has the eigenvalues mean +- root, lambda > 0 and -lambda up to noise */
                struct cx half = cx(-(es.re + hd.re) / 2, -(es.im + hd.im) / 2), g12 = cx(-ed.re, -ed.im);
                struct cx root = N(root_of)(N(add_mul)(N(mul)(half, half), g12, hs));
                bool with = N(along)(half, root) >= 0; /* half + root does not cancel */
                struct cx sum = with ? cx_add(half, root) : cx_sub(half, root), minus = cx(-sum.re, -sum.im), x[2], y[2];
                N(vectors)(b, i, N(select)(with, g12, sum), N(select)(with, minus, hs), x, y); /* -lambda */
                struct cx ca1 = N(mul)(x[1], N(inv)(x[0])), ca2 = N(mul)(y[1], N(inv)(y[0]));
                N(vectors)(b, i, N(select)(with, sum, g12), N(select)(with, hs, minus), x, y); /* lambda */
                struct cx b1 = N(mul)(x[0], N(inv)(x[1])), b2 = N(mul)(y[0], N(inv)(y[1])), one = cx(1, 0);
                /* less the method of record's, as reflections of corrected data: [[1 + ., beta], [gamma, 1]] = X^{-1} X' */
                struct cx f1 = N(at)(b->b1, i), f2 = N(at)(b->b2, i), c1 = N(at)(b->ca1, i), c2 = N(at)(b->ca2, i);
                struct cx d1 = N(inv)(N(sub_mul)(one, f1, c1)), d2 = N(inv)(N(sub_mul)(one, f2, c2));
                struct cx o0 = N(mul)(N(mul)(cx_sub(b1, f1), d1), N(at)(b->a1_inverse, i));
                struct cx o1 = N(mul)(N(mul)(cx_sub(ca1, c1), d1), N(at)(b->a1, i));
                struct cx o2 = N(mul)(N(mul)(cx_sub(cx(-b2.re, -b2.im), f2), d2), N(at)(b->a2_inverse, i));
                struct cx o3 = N(mul)(N(mul)(cx_sub(cx(-ca2.re, -ca2.im), c2), d2), N(at)(b->a2, i));
                double n0 = N(norm2)(o0), n1 = N(norm2)(o1), n2 = N(norm2)(o2), n3 = N(norm2)(o3), all = n0 + n1 + n2 + n3;
                double none = all - all; /* 0, or NaN where nothing is to be had */
                N(put)(b->second[0], i, cx(o0.re + none, o0.im + none));
                N(put)(b->second[1], i, cx(o1.re + none, o1.im + none));
                N(put)(b->second[2], i, cx(o2.re + none, o2.im + none));
                N(put)(b->second[3], i, cx(o3.re + none, o3.im + none));
                b->worst_second[i] = none + __builtin_sqrt(N(larger)(N(larger)(n0, n1), N(larger)(n2, n3)));
        }
}

#include "rf/numbers/vector_end.h"
