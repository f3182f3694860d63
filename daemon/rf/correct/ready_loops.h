/* ready_loops.h: the body of ready.c, included once for each kind of processor (vector.h).  No include guard: that is the point. */
#include "rf/numbers/vector.h"
#include "rf/correct/sweep_loop.h"

/* e: of this point in its block. */
#define NUMBER(k) cx(e[16 * (k)], e[16 * (k) + 8])
IN struct quad N(one)(struct quad m, const double *e, bool leaks)
{
        if (leaks)
                m.s21 = cx_sub(m.s21, NUMBER(READY_EXF)), m.s12 = cx_sub(m.s12, NUMBER(READY_EXR));
        struct cx a = cx_sub(m.s11, NUMBER(READY_EDF)), b = cx_sub(m.s22, NUMBER(READY_EDR));
        struct cx f = N(mul)(m.s21, NUMBER(READY_FORWARD)), r = N(mul)(m.s12, NUMBER(READY_REVERSE));
        struct cx p = N(add_mul)(NUMBER(READY_ERF), a, NUMBER(READY_ESF)), q = N(add_mul)(NUMBER(READY_ERR), b, NUMBER(READY_ESR));
        struct cx elf = NUMBER(READY_ELF), elr = NUMBER(READY_ELR), through = N(mul)(f, r), back = N(mul)(through, elf);
        struct cx n = N(inv)(N(sub_mul)(N(mul)(p, q), back, elr));
        return (struct quad){N(mul)(cx_sub(N(mul)(a, q), back), n), N(mul)(N(mul)(r, N(sub_mul)(p, a, elr)), n),
                             N(mul)(N(mul)(f, N(sub_mul)(q, b, elf)), n), N(mul)(N(sub_mul)(N(mul)(b, p), through, elr), n)};
}

IN bool N(all)(const struct ready_terms *ready, const struct net2 *raw, const struct net2 *out, bool leaks)
{
        COLUMNS(m, raw);
        COLUMNS(s, out);
        const double *here_re = out->z_re, *here_im = out->z_im, z_re = ready->terms->z_re[0], z_im = ready->terms->z_im[0];
        const size_t step = 2 * (leaks ? READY_COUNT : READY_TIGHT);
        uint64_t other[8] = {0};
        EACH_POINT(ready->terms->axis->n, raw, out, struct quad q = N(one)(READ(m, i), ready->block + step * (i - lane) + lane, leaks);
                   WRITE(s, i, q); other[lane] |= N(differ)(here_re[i], z_re) | N(differ)(here_im[i], z_im));
        return N(none)(other);
}
#undef NUMBER

HOT void N(ready)(const struct ready_terms *ready, const struct net2 *raw, const struct net2 *out, bool *ret_same)
{
        *ret_same = ready->leaks ? N(all)(ready, raw, out, true) : N(all)(ready, raw, out, false);
}

#undef EACH_POINT
#include "rf/numbers/vector_end.h"
