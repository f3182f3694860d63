/* read_loops.h: T of what is read of a line, for loops that are compiled for several kinds of processor; included after vector.h for
   each of them.  No include guard: that is the point.
   With the switch terms taken out T is t/u21 and det T is u12/u21, no other quotient is needed: with s = M12 M21 and d = 1 - s Gf Gr it is
   [[-det M, M11 - s Gf], [s Gr - M22, d]], u21 = M21 (1 - M22 Gf), u12 = M12 (1 - M11 Gr) (own derivation from Marks, 50th ARFTG, 1997). */
IN void N(line_read)(const struct line_reading *in, size_t i, struct cx t[4], struct cx *u12, struct cx *u21)
{
        struct cx gf = N(at)(in->gf, i), gr = N(at)(in->gr, i), m11 = N(at)(in->m[0], i), m12 = N(at)(in->m[1], i),
                  m21 = N(at)(in->m[2], i), m22 = N(at)(in->m[3], i), s = N(mul)(m12, m21);
        t[0] = N(sub_mul)(s, m11, m22);
        t[1] = N(sub_mul)(m11, s, gf);
        t[2] = cx_sub(N(mul)(s, gr), m22);
        t[3] = N(sub_mul)(cx(1, 0), s, N(mul)(gf, gr));
        *u12 = N(sub_mul)(m12, N(mul)(m12, m11), gr);
        *u21 = N(sub_mul)(m21, N(mul)(m21, m22), gf);
}
/* |S21| > 1e-12: 0, otherwise NaN. */
IN double N(line_transmits)(struct cx t22, struct cx u21) { return N(norm2)(u21) > 1e-24 * N(norm2)(t22) ? 0 : __builtin_nan(""); }
