/* deembed_loops.h: the body of deembed_columns.c, included once for each kind of processor (vector.h).  No include guard: that is the
   point. All matrices are normalised to the one real reference: Y z. */
#include "rf/numbers/vector.h"

IN struct quad N(product)(struct quad a, struct quad b)
{
        return (struct quad){N(add_mul)(N(mul)(a.s11, b.s11), a.s12, b.s21), N(add_mul)(N(mul)(a.s11, b.s12), a.s12, b.s22),
                             N(add_mul)(N(mul)(a.s21, b.s11), a.s22, b.s21), N(add_mul)(N(mul)(a.s21, b.s12), a.s22, b.s22)};
}
IN struct quad N(times)(struct quad a, struct cx k)
{
        return (struct quad){N(mul)(a.s11, k), N(mul)(a.s12, k), N(mul)(a.s21, k), N(mul)(a.s22, k)};
}
IN struct quad N(inverse)(struct quad a)
{
        struct cx k = N(inv)(N(sub_mul)(N(mul)(a.s11, a.s22), a.s12, a.s21));
        return N(times)((struct quad){a.s22, cx(-a.s12.re, -a.s12.im), cx(-a.s21.re, -a.s21.im), a.s11}, k);
}
IN struct quad N(minus)(struct quad a, struct quad b)
{
        return (struct quad){cx_sub(a.s11, b.s11), cx_sub(a.s12, b.s12), cx_sub(a.s21, b.s21), cx_sub(a.s22, b.s22)};
}
/* (1 - S)(1 + S)^-1: Y from S, and S from Y alike */
IN struct quad N(turn)(struct quad s)
{
        struct cx one = cx(1, 0), p1 = cx_add(one, s.s11), p2 = cx_add(one, s.s22), m1 = cx_sub(one, s.s11), m2 = cx_sub(one, s.s22);
        struct cx k = N(inv)(N(sub_mul)(N(mul)(p1, p2), s.s12, s.s21)), k2 = cx(-2 * k.re, -2 * k.im);
        return (struct quad){N(mul)(N(add_mul)(N(mul)(m1, p2), s.s12, s.s21), k), N(mul)(s.s12, k2), N(mul)(s.s21, k2),
                             N(mul)(N(add_mul)(N(mul)(p1, m2), s.s12, s.s21), k)};
}
/* (1 - Y Z)^-1 Y: what lies in series taken off, without the Z of a device that floats */
IN struct quad N(peel)(struct quad y, struct quad z)
{
        struct quad one = {cx(1, 0), cx(0, 0), cx(0, 0), cx(1, 0)};
        return N(product)(N(inverse)(N(minus)(one, N(product)(y, z))), y);
}

HOT void N(open)(size_t n, const struct columns *in)
{
        READ_FROM(m, in->device);
        READ_FROM(o, in->open);
        WRITE_TO(to);
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct quad q = N(turn)(N(minus)(N(turn)(QUAD(m, i)), N(turn)(QUAD(o, i))));
                QUAD_PUT(to, i, q);
        }
}
HOT void N(open_short)(size_t n, const struct columns *in)
{
        READ_FROM(m, in->device);
        READ_FROM(o, in->open);
        READ_FROM(s, in->shorted);
        WRITE_TO(to);
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct quad open = N(turn)(QUAD(o, i));
                struct quad leads = N(inverse)(N(minus)(N(turn)(QUAD(s, i)), open));
                struct quad q = N(turn)(N(peel)(N(minus)(N(turn)(QUAD(m, i)), open), leads));
                QUAD_PUT(to, i, q);
        }
}

#include "rf/numbers/vector_end.h"
