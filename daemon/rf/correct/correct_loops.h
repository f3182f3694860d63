/* correct_loops.h: the body of correct_kernel.c, included once for each kind of processor with KIND and TARGET defined
   (vector.h).  No include guard: that is the point.

   Idea        One loop over columns that removes the switch terms and solves the error model in the same pass.  With eight terms the
               twelve-term solution holds with ELF = ESR, ETF = K ERR, ELR = ESF, ETR = ERF/K; multiplied out by ERF ERR it needs one
               reciprocal and no T matrix, so that isolating devices (S21 = 0) are ordinary devices.
   Sources     switch terms, eight and twelve terms: Marks, 50th ARFTG, 1997, 115. */
#include "rf/numbers/vector.h"
#include "rf/correct/sweep_loop.h"
#include "rf/correct/unterminate_loop.h"

IN struct quad N(correct8_one)(struct quad m, struct eight e)
{
        struct cx a = cx_sub(m.s11, e.edf), b = cx_sub(m.s22, e.edr), c = N(mul)(m.s21, m.s12);
        struct cx p = N(add_mul)(e.erf, a, e.esf), q = N(add_mul)(e.err, b, e.esr), fc = N(mul)(e.esf, c);
        struct cx n = N(inv)(N(sub_mul)(N(mul)(p, q), fc, e.esr));
        return (struct quad){N(mul)(N(sub_mul)(N(mul)(a, q), e.esr, c), n), N(mul)(N(mul)(m.s12, e.etf), n),
                             N(mul)(N(mul)(m.s21, e.etr), n), N(mul)(cx_sub(N(mul)(b, p), fc), n)};
}

/* S A = B with a column for each direction that drives, (a1, a2) over (b1, b2): forward by ERF ETF, reverse by ERR ETR, so that nothing is
   divided before the end. */
IN struct quad N(correct12_one)(struct quad m, struct twelve e)
{
        struct cx a = cx_sub(m.s11, e.edf), b = cx_sub(m.s22, e.edr);
        struct cx b21 = N(mul)(cx_sub(m.s21, e.exf), e.erf), b12 = N(mul)(cx_sub(m.s12, e.exr), e.err);
        struct cx b11 = N(mul)(a, e.etf), b22 = N(mul)(b, e.etr);
        struct cx a11 = N(mul)(N(add_mul)(e.erf, a, e.esf), e.etf), a22 = N(mul)(N(add_mul)(e.err, b, e.esr), e.etr);
        struct cx through = N(mul)(b12, b21), back = N(mul)(through, e.elf); /* a21 = ELF b21, a12 = ELR b12 */
        struct cx n = N(inv)(N(sub_mul)(N(mul)(a11, a22), back, e.elr));
        return (struct quad){N(mul)(cx_sub(N(mul)(b11, a22), back), n), N(mul)(N(mul)(b12, N(sub_mul)(a11, e.elr, b11)), n),
                             N(mul)(N(mul)(b21, N(sub_mul)(a22, e.elf, b22)), n), N(mul)(N(sub_mul)(N(mul)(b22, a11), through, e.elr), n)};
}

HOT void N(unterminate_all)(size_t n, const struct net2 *raw, const struct switch_terms *sw, const struct net2 *out)
{
        COLUMNS(m, raw);
        COLUMNS(s, out);
        const double *f_re = sw->f_re, *f_im = sw->f_im, *r_re = sw->r_re, *r_im = sw->r_im;
        EACH_POINT(n, raw, out, struct quad q = N(unterminate_one)(READ(m, i), AT(f, i), AT(r, i)); WRITE(s, i, q));
}

#define HERE_DIFFERS N(differ)(here_re[i], z_re[i]) | N(differ)(here_im[i], z_im[i])
HOT void N(correct8_all)(size_t n, const struct terms *e, const struct net2 *raw, const struct net2 *out, bool *ret_same)
{
        COLUMNS(m, raw);
        COLUMNS(s, out);
        const double *here_re = out->z_re, *here_im = out->z_im, *z_re = e->z_re, *z_im = e->z_im;
        uint64_t other[8] = {0};
        TERM_COLUMNS_8;
        EACH_POINT(n, raw, out, struct quad q = N(correct8_one)(READ(m, i), EIGHT_AT(i)); WRITE(s, i, q); other[lane] |= HERE_DIFFERS);
        *ret_same = N(none)(other);
}

HOT void N(correct8_switch_all)(size_t n, const struct terms *e, const struct net2 *raw, const struct switch_terms *sw,
                                const struct net2 *out, bool *ret_same)
{
        COLUMNS(m, raw);
        COLUMNS(s, out);
        const double *here_re = out->z_re, *here_im = out->z_im, *z_re = e->z_re, *z_im = e->z_im;
        uint64_t other[8] = {0};
        const double *f_re = sw->f_re, *f_im = sw->f_im, *r_re = sw->r_re, *r_im = sw->r_im;
        TERM_COLUMNS_8;
        EACH_POINT(n, raw, out, struct quad q = N(correct8_one)(N(unterminate_one)(READ(m, i), AT(f, i), AT(r, i)), EIGHT_AT(i));
                   WRITE(s, i, q); other[lane] |= HERE_DIFFERS);
        *ret_same = N(none)(other);
}

HOT void N(correct12_all)(size_t n, const struct terms *e, const struct net2 *raw, const struct net2 *out, bool *ret_same)
{
        COLUMNS(m, raw);
        COLUMNS(s, out);
        const double *here_re = out->z_re, *here_im = out->z_im, *z_re = e->z_re, *z_im = e->z_im;
        uint64_t other[8] = {0};
        TERM_COLUMNS_8;
        TERM_COLUMNS_12;
        EACH_POINT(n, raw, out, struct quad q = N(correct12_one)(READ(m, i), TWELVE_AT(i)); WRITE(s, i, q); other[lane] |= HERE_DIFFERS);
        *ret_same = N(none)(other);
}

#undef HERE_DIFFERS

HOT struct m2 N(point8)(const struct terms *e, size_t i, struct m2 raw)
{
        TERM_COLUMNS_8;
        return m2_of_quad(N(correct8_one)(quad_of(raw), EIGHT_AT(i)));
}
HOT struct m2 N(point12)(const struct terms *e, size_t i, struct m2 raw)
{
        TERM_COLUMNS_8;
        TERM_COLUMNS_12;
        return m2_of_quad(N(correct12_one)(quad_of(raw), TWELVE_AT(i)));
}
HOT struct m2 N(point_unterminate)(struct m2 m, double complex forward, double complex reverse)
{
        return m2_of_quad(N(unterminate_one)(quad_of(m), cx(creal(forward), cimag(forward)), cx(creal(reverse), cimag(reverse))));
}

#undef EACH_POINT
#include "rf/numbers/vector_end.h"
