/* deembed_loops.h: the body of deembed_columns.c, included once for each kind of processor (vector.h).  No include guard: that is the
   point.
   Idea        With P = 1 + S, an admittance normalised to the one real reference is Y = 2 P^-1 - 1, and differences of two are
               2 (P1^-1 - P2^-1) = 2 P1^-1 (S2 - S1) P2^-1.  Multiplied out by all determinants one reciprocal is left (own derivation):
               open        N = p q/2 + q adj P - p adj Q, S = p q N^-1 - 1, for the device's P, p = det P and the open's Q, q;
               open_short  Y = 2 E (E - D)^-1 D for the admittances 2 D of the device and 2 E of the short without the open's, hence
                           S = 1 - 4 (det E D - det D E + 2 det D det E)/det(E - D + 2 D E), where
                           det(E - D + 2 D E) = det(E - D) + 2 (det E tr D - det D tr E) + 4 det D det E.
   Trap        This has answers where an admittance is infinite or the short is the open; the points' way has none.  So these are marked. */
#include "rf/numbers/vector.h"

IN struct cx N(det)(struct quad a) { return N(sub_mul)(N(mul)(a.s11, a.s22), a.s12, a.s21); }
/* det(a - b) */
IN struct cx N(apart)(struct quad a, struct quad b)
{
        return N(det)((struct quad){cx_sub(a.s11, b.s11), cx_sub(a.s12, b.s12), cx_sub(a.s21, b.s21), cx_sub(a.s22, b.s22)});
}
IN struct quad N(plus_one)(struct quad s) { return (struct quad){cx(1 + s.s11.re, s.s11.im), s.s12, s.s21, cx(1 + s.s22.re, s.s22.im)}; }
IN uint64_t N(strange)(struct quad q, double nothing_singular)
{
        double sum = q.s11.re + q.s11.im + q.s12.re + q.s12.im + (q.s21.re + q.s21.im + q.s22.re + q.s22.im);
        return sum - sum == 0 && nothing_singular > 0 ? 0 : UINT64_MAX;
}

HOT void N(open)(size_t n, const struct columns *in, bool *strange)
{
        READ_FROM(m, in->device);
        READ_FROM(o, in->open);
        WRITE_TO(to);
        uint64_t bad = 0;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct quad a = N(plus_one)(QUAD(m, i)), b = N(plus_one)(QUAD(o, i));
                struct cx p = N(det)(a), q = N(det)(b), pq = N(mul)(p, q), half = cx(pq.re * 0.5, pq.im * 0.5);
                /* N, and minus its off-diagonal */
                struct cx n11 = N(sub_mul)(N(add_mul)(half, q, a.s22), p, b.s22), n22 = N(sub_mul)(N(add_mul)(half, q, a.s11), p, b.s11);
                struct cx n12 = N(sub_mul)(N(mul)(q, a.s12), p, b.s12), n21 = N(sub_mul)(N(mul)(q, a.s21), p, b.s21);
                struct cx k = N(mul)(pq, N(inv)(N(sub_mul)(N(mul)(n11, n22), n12, n21)));
                struct quad s = {N(add_mul)(cx(-1, 0), k, n22), N(mul)(k, n12), N(mul)(k, n21), N(add_mul)(cx(-1, 0), k, n11)};
                bad |= N(strange)(s, N(size1)(p) * N(size1)(q));
                QUAD_PUT(to, i, s);
        }
        *strange = *strange || bad;
}

HOT void N(open_short)(size_t n, const struct columns *in, bool *strange)
{
        READ_FROM(m, in->device);
        READ_FROM(o, in->open);
        READ_FROM(s, in->shorted);
        WRITE_TO(to);
        uint64_t bad = 0;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct quad m = N(plus_one)(QUAD(m, i)), o = N(plus_one)(QUAD(o, i)), s = N(plus_one)(QUAD(s, i));
                struct cx pm = N(det)(m), po = N(det)(o), ps = N(det)(s);
                struct cx e = N(apart)(o, s), d = N(apart)(o, m), f = N(apart)(m, s); /* det E ps po, det D pm po, det(E - D) pm ps */
                struct cx tm = cx_add(m.s11, m.s22), to = cx_add(o.s11, o.s22), ts = cx_add(s.s11, s.s22), ed = N(mul)(e, d);
                struct cx e_tr = N(mul)(e, N(sub_mul)(N(mul)(tm, po), to, pm)); /* det E tr D, times pm ps po^2 as all that follows */
                struct cx traces = N(sub_mul)(e_tr, d, N(sub_mul)(N(mul)(ts, po), to, ps)), fo = N(mul)(f, N(mul)(po, po));
                struct cx quarter = cx(__builtin_fma(0.25, fo.re, __builtin_fma(0.5, traces.re, ed.re)),
                                       __builtin_fma(0.25, fo.im, __builtin_fma(0.5, traces.im, ed.im)));
                struct cx k = N(inv)(quarter), ko = N(mul)(po, k), km = N(mul)(e, ko), ks = N(mul)(d, ko);
                struct cx k0 = N(mul)(N(sub_mul)(N(mul)(d, ps), e, pm), k), edk = N(mul)(ed, k), rest = cx(1 - 2 * edk.re, -2 * edk.im);
                struct quad q = {N(sub_mul)(N(add_mul)(N(sub_mul)(rest, km, m.s22), ks, s.s22), k0, o.s22),
                                 N(add_mul)(N(sub_mul)(N(mul)(km, m.s12), ks, s.s12), k0, o.s12),
                                 N(add_mul)(N(sub_mul)(N(mul)(km, m.s21), ks, s.s21), k0, o.s21),
                                 N(sub_mul)(N(add_mul)(N(sub_mul)(rest, km, m.s11), ks, s.s11), k0, o.s11)};
                bad |= N(strange)(q, N(size1)(pm) * N(size1)(po) * N(size1)(ps) * (N(size1)(e) * N(size1)(f)));
                QUAD_PUT(to, i, q);
        }
        *strange = *strange || bad;
}

#include "rf/numbers/vector_end.h"
