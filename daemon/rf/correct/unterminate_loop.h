/* unterminate_loop.h: the switch terms taken out of one point, for loops compiled for several kinds of processor; included after vector.h,
   so no include guard.  Source: Marks, 50th ARFTG, 1997, 115. */
IN struct quad N(unterminate_one)(struct quad m, struct cx gf, struct cx gr)
{
        struct cx one = cx(1, 0), t = N(mul)(m.s12, m.s21), d = N(inv)(N(sub_mul)(one, t, N(mul)(gf, gr)));
        return (struct quad){N(mul)(N(sub_mul)(m.s11, t, gf), d), N(mul)(N(mul)(m.s12, N(sub_mul)(one, m.s11, gr)), d),
                             N(mul)(N(mul)(m.s21, N(sub_mul)(one, m.s22, gf)), d), N(mul)(N(sub_mul)(m.s22, t, gr), d)};
}
