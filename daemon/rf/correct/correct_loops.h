/* correct_loops.h: the body of correct_kernel.c, included once for each kind of processor with KIND and TARGET defined
   (vector.h).  No include guard: that is the point.

   Idea        One loop over columns that removes the switch terms and solves the error model in the same pass.  With eight terms the
               twelve-term solution holds with ELF = ESR, ETF = K ERR, ELR = ESF, ETR = ERF/K; multiplied out by ERF ERR it needs one
               reciprocal and no T matrix, so that isolating devices (S21 = 0) are ordinary devices.
   Sources     switch terms, eight and twelve terms: Marks, 50th ARFTG, 1997, 115. */
#include "rf/numbers/vector.h"
#include "rf/correct/unterminate_loop.h"

IN struct quad N(correct8_one)(struct quad m, struct eight e)
{
        struct cx a = cx_sub(m.s11, e.edf), b = cx_sub(m.s22, e.edr), c = N(mul)(m.s21, m.s12);
        struct cx p = N(add_mul)(e.erf, a, e.esf), q = N(add_mul)(e.err, b, e.esr), fc = N(mul)(e.esf, c);
        struct cx n = N(inv)(N(sub_mul)(N(mul)(p, q), fc, e.esr));
        return (struct quad){N(mul)(N(sub_mul)(N(mul)(a, q), e.esr, c), n), N(mul)(N(mul)(m.s12, e.etf), n),
                             N(mul)(N(mul)(m.s21, e.etr), n), N(mul)(cx_sub(N(mul)(b, p), fc), n)};
}

IN struct quad N(correct12_one)(struct quad m, struct twelve e)
{
        struct cx a = cx_sub(m.s11, e.edf), b = cx_sub(m.s22, e.edr), c = cx_sub(m.s21, e.exf), d = cx_sub(m.s12, e.exr);
        struct cx t = N(mul)(e.etf, e.etr), ce = N(mul)(c, e.erf), de = N(mul)(d, e.err), cd = N(mul)(ce, de);
        struct cx p = N(add_mul)(e.erf, a, e.esf), q = N(add_mul)(e.err, b, e.esr), qt = N(mul)(q, t);
        struct cx p2 = N(add_mul)(e.erf, a, cx_sub(e.esf, e.elr)), q2 = N(add_mul)(e.err, b, cx_sub(e.esr, e.elf));
        struct cx fcd = N(mul)(e.elf, cd), n = N(inv)(N(sub_mul)(N(mul)(p, qt), fcd, e.elr));
        return (struct quad){N(mul)(cx_sub(N(mul)(a, qt), fcd), n), N(mul)(N(mul)(N(mul)(de, p2), e.etf), n),
                             N(mul)(N(mul)(N(mul)(ce, q2), e.etr), n), N(mul)(N(sub_mul)(N(mul)(b, N(mul)(p, t)), e.elr, cd), n)};
}

HOT void N(unterminate_all)(size_t n, const struct net2 *raw, const struct switch_terms *sw, const struct net2 *out)
{
        COLUMNS(m, raw);
        COLUMNS(s, out);
        const double *f_re = sw->f_re, *f_im = sw->f_im, *r_re = sw->r_re, *r_im = sw->r_im;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct quad q = N(unterminate_one)(READ(m, i), AT(f, i), AT(r, i));
                WRITE(s, i, q);
        }
}

HOT void N(correct8_all)(size_t n, const struct terms *e, const struct net2 *raw, const struct net2 *out)
{
        COLUMNS(m, raw);
        COLUMNS(s, out);
        TERM_COLUMNS_8;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct quad q = N(correct8_one)(READ(m, i), EIGHT_AT(i));
                WRITE(s, i, q);
        }
}

HOT void N(correct8_switch_all)(size_t n, const struct terms *e, const struct net2 *raw, const struct switch_terms *sw,
                                const struct net2 *out)
{
        COLUMNS(m, raw);
        COLUMNS(s, out);
        const double *f_re = sw->f_re, *f_im = sw->f_im, *r_re = sw->r_re, *r_im = sw->r_im;
        TERM_COLUMNS_8;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct quad q = N(correct8_one)(N(unterminate_one)(READ(m, i), AT(f, i), AT(r, i)), EIGHT_AT(i));
                WRITE(s, i, q);
        }
}

HOT void N(correct12_all)(size_t n, const struct terms *e, const struct net2 *raw, const struct net2 *out)
{
        COLUMNS(m, raw);
        COLUMNS(s, out);
        TERM_COLUMNS_8;
        TERM_COLUMNS_12;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct quad q = N(correct12_one)(READ(m, i), TWELVE_AT(i));
                WRITE(s, i, q);
        }
}

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

#include "rf/numbers/vector_end.h"
