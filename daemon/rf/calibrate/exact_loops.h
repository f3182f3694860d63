/* exact_loops.h: the body of exact.c, included once for each kind of processor with KIND and TARGET defined (see vector.h).  No include
   guard: that is the point.
   Sources     one port as a Moebius map with one linear equation per standard: any textbook, solved here by Cramer's rule after the first
               equation is taken from the others (own derivation).  Thru: Marks, 50th ARFTG, 1997.  Unknown thru: Ferrero & Pisani, IEEE
               MGWL 2 (1992) 505, det T = 1. */
#include "rf/numbers/vector.h"
#include "rf/numbers/vector_functions.h"

/* w = (a G + b)/(c G + 1) from three pairs. */
HOT void N(box)(size_t n, const struct box_columns *in)
{
        const double *g1_re = in->g_re[0], *g1_im = in->g_im[0], *g2_re = in->g_re[1], *g2_im = in->g_im[1], *g3_re = in->g_re[2],
                     *g3_im = in->g_im[2], *w1_re = in->w_re[0], *w1_im = in->w_im[0], *w2_re = in->w_re[1], *w2_im = in->w_im[1],
                     *w3_re = in->w_re[2], *w3_im = in->w_im[2];
        double *ed_re = in->ed_re, *ed_im = in->ed_im, *es_re = in->es_re, *es_im = in->es_im, *er_re = in->er_re, *er_im = in->er_im,
               *worst = in->condition;
        double least = in->second ? 1 : 0;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx g1 = AT(g1, i), g2 = AT(g2, i), g3 = AT(g3, i), w1 = AT(w1, i), w2 = AT(w2, i), w3 = AT(w3, i);
                struct cx q1 = N(mul)(g1, w1), q2 = N(mul)(g2, w2), q3 = N(mul)(g3, w3);
                struct cx g21 = cx_sub(g2, g1), g31 = cx_sub(g3, g1), q21 = cx_sub(q2, q1), q31 = cx_sub(q3, q1);
                struct cx w21 = cx_sub(w2, w1), w31 = cx_sub(w3, w1);
                struct cx det = N(sub_mul)(N(mul)(g31, q21), g21, q31), k = N(inv)(det);
                struct cx a = N(mul)(N(sub_mul)(N(mul)(w31, q21), w21, q31), k);
                struct cx c = N(mul)(N(sub_mul)(N(mul)(g21, w31), g31, w21), k);
                struct cx b = N(add_mul)(N(sub_mul)(w1, a, g1), c, q1), er = N(sub_mul)(a, b, c);
                PUT(ed, i, b);
                PUT(es, i, cx(-c.re, -c.im));
                PUT(er, i, er);
                /* rows (G, 1, -G w): the norm of the matrix and of its adjugate */
                double all = 3 + N(norm2)(g1) + N(norm2)(g2) + N(norm2)(g3) + N(norm2)(q1) + N(norm2)(q2) + N(norm2)(q3);
                double adjugate = N(norm2)(g21) + N(norm2)(g31) + N(norm2)(cx_sub(g3, g2)) + N(norm2)(q21) + N(norm2)(q31) +
                                  N(norm2)(cx_sub(q3, q2)) + N(norm2)(N(sub_mul)(N(mul)(g2, q3), g3, q2)) +
                                  N(norm2)(N(sub_mul)(N(mul)(g3, q1), g1, q3)) + N(norm2)(N(sub_mul)(N(mul)(g1, q2), g2, q1));
                double condition = __builtin_sqrt(all * adjugate / N(norm2)(det)), before = worst[i] * least;
                /* one ideal for two readings is a map that knows only one value */
                bool knows = N(norm2)(er) > 1e-18 * N(norm2)(a);
                condition = condition <= before ? before : condition; /* NaN wins */
                worst[i] = knows ? condition : __builtin_inf();
        }
}

/* Forward terms of a thru (S, raw m11 and m21) with the box of port 1 known; turned round by the caller for the reverse ones. */
HOT void N(thru)(size_t n, const struct thru_columns *in)
{
        const double *s11_re = in->s_re[0], *s11_im = in->s_im[0], *s12_re = in->s_re[1], *s12_im = in->s_im[1], *s21_re = in->s_re[2],
                     *s21_im = in->s_im[2], *s22_re = in->s_re[3], *s22_im = in->s_im[3], *m1_re = in->m_re[0], *m1_im = in->m_im[0],
                     *m2_re = in->m_re[1], *m2_im = in->m_im[1];
        const double *ed_re = in->ed_re, *ed_im = in->ed_im, *es_re = in->es_re, *es_im = in->es_im, *er_re = in->er_re, *er_im = in->er_im;
        double *el_re = in->el_re, *el_im = in->el_im, *et_re = in->et_re, *et_im = in->et_im;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx s11 = AT(s11, i), s12 = AT(s12, i), s21 = AT(s21, i), s22 = AT(s22, i), es = AT(es, i);
                struct cx u = cx_sub(AT(m1, i), AT(ed, i)), v = N(add_mul)(AT(er, i), es, u), g = N(sub_mul)(u, s11, v);
                struct cx through = N(mul)(s12, s21), el = N(mul)(g, N(inv)(N(add_mul)(N(mul)(through, v), s22, g)));
                struct cx d = N(sub_mul)(N(sub_mul)(cx(1, 0), es, s11), el, s22), det = N(sub_mul)(N(mul)(s11, s22), s12, s21);
                struct cx et = N(mul)(N(mul)(AT(m2, i), N(add_mul)(d, N(mul)(es, el), det)), N(inv)(s21));
                PUT(el, i, el);
                PUT(et, i, et);
        }
}

/* K twice, and the switch terms that the load matches imply against the measured ones (NULL: none). */
HOT void N(quality)(size_t n, const struct quality_columns *in)
{
        const double *edf_re = in->t_re[TERM_EDF], *edf_im = in->t_im[TERM_EDF], *esf_re = in->t_re[TERM_ESF], *esf_im = in->t_im[TERM_ESF],
                     *erf_re = in->t_re[TERM_ERF], *erf_im = in->t_im[TERM_ERF], *edr_re = in->t_re[TERM_EDR], *edr_im = in->t_im[TERM_EDR],
                     *esr_re = in->t_re[TERM_ESR], *esr_im = in->t_im[TERM_ESR], *err_re = in->t_re[TERM_ERR], *err_im = in->t_im[TERM_ERR],
                     *elf_re = in->t_re[TERM_ELF], *elf_im = in->t_im[TERM_ELF], *etf_re = in->t_re[TERM_ETF], *etf_im = in->t_im[TERM_ETF],
                     *elr_re = in->t_re[TERM_ELR], *elr_im = in->t_im[TERM_ELR], *etr_re = in->t_re[TERM_ETR], *etr_im = in->t_im[TERM_ETR];
        const double *gf_re = in->gf_re, *gf_im = in->gf_im, *gr_re = in->gr_re, *gr_im = in->gr_im;
        double *k_re = in->t_re[TERM_K], *k_im = in->t_im[TERM_K], *disagreement = in->disagreement, *difference = in->difference;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx lf = cx_sub(AT(elf, i), AT(esr, i)), lr = cx_sub(AT(elr, i), AT(esf, i));
                struct cx df = N(inv)(N(add_mul)(AT(err, i), AT(edr, i), lf)), dr = N(inv)(N(add_mul)(AT(erf, i), AT(edf, i), lr));
                struct cx k = N(mul)(AT(etf, i), df), twice = N(sub_mul)(cx(1, 0), N(mul)(k, AT(etr, i)), dr);
                struct cx f = N(sub_mul)(AT(gf, i), lf, df), r = N(sub_mul)(AT(gr, i), lr, dr);
                double a = N(norm2)(f), b = N(norm2)(r);
                PUT(k, i, k);
                disagreement[i] = __builtin_sqrt(N(norm2)(twice));
                difference[i] = __builtin_sqrt(a > b ? a : b);
        }
}

/* r = sqrt(S12/S21/(ER1 ER2)) as it comes, S21 of the thru with it, and S21 e^{+jw tau}, for a sign. */
HOT void N(root)(size_t n, const struct root_columns *in)
{
        const double *m11_re = in->m_re[0], *m11_im = in->m_im[0], *m12_re = in->m_re[1], *m12_im = in->m_im[1], *m21_re = in->m_re[2],
                     *m21_im = in->m_im[2], *m22_re = in->m_re[3], *m22_im = in->m_im[3];
        const double *edf_re = in->t_re[TERM_EDF], *edf_im = in->t_im[TERM_EDF], *esf_re = in->t_re[TERM_ESF], *esf_im = in->t_im[TERM_ESF],
                     *erf_re = in->t_re[TERM_ERF], *erf_im = in->t_im[TERM_ERF], *edr_re = in->t_re[TERM_EDR], *edr_im = in->t_im[TERM_EDR],
                     *esr_re = in->t_re[TERM_ESR], *esr_im = in->t_im[TERM_ESR], *err_re = in->t_re[TERM_ERR], *err_im = in->t_im[TERM_ERR],
                     *hz = in->hz;
        double *r_re = in->to.r_re, *r_im = in->to.r_im, *s21_re = in->to.s21_re, *s21_im = in->to.s21_im, *ratio_re = in->to.ratio_re,
               *ratio_im = in->to.ratio_im;
        double per_hz = RF_TWO_PI * in->tau_s;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx m11 = AT(m11, i), m22 = AT(m22, i), m12 = AT(m12, i), m21 = AT(m21, i), erf = AT(erf, i), err = AT(err, i);
                struct cx c1 = AT(esf, i), c2 = AT(esr, i); /* minus the Moebius c: signs below are turned accordingly */
                struct cx a1 = N(sub_mul)(erf, AT(edf, i), c1), a2 = N(sub_mul)(err, AT(edr, i), c2);
                struct cx both = N(mul)(erf, err), det = N(sub_mul)(N(mul)(m11, m22), m12, m21);
                struct cx z = N(mul)(m12, N(inv)(N(mul)(m21, both)));
                struct cx r = N(root_of)(z);
                /* (N22 both S21) of the two boxes and the thru's T between them */
                struct cx one = N(add_mul)(N(mul)(m11, a2), det, c2), two = N(add_mul)(a2, m22, c2);
                struct cx n22 = N(add_mul)(N(mul)(a1, two), c1, one);
                struct cx s21 = N(mul)(N(mul)(r, N(mul)(both, m21)), N(inv)(n22));
                PUT(r, i, r);
                PUT(s21, i, s21);
                struct cx ratio = N(mul)(s21, N(e_to)(cx(0, per_hz * hz[i])));
                PUT(ratio, i, ratio);
        }
}

HOT void N(rest)(size_t n, const struct rest_columns *in)
{
        const double *erf_re = in->t_re[TERM_ERF], *erf_im = in->t_im[TERM_ERF], *err_re = in->t_re[TERM_ERR], *err_im = in->t_im[TERM_ERR];
        const double *esf_re = in->t_re[TERM_ESF], *esf_im = in->t_im[TERM_ESF], *esr_re = in->t_re[TERM_ESR], *esr_im = in->t_im[TERM_ESR];
        const double *r_re = in->root.r_re, *r_im = in->root.r_im;
        double *k_re = in->t_re[TERM_K], *k_im = in->t_im[TERM_K], *elf_re = in->t_re[TERM_ELF], *elf_im = in->t_im[TERM_ELF],
               *etf_re = in->t_re[TERM_ETF], *etf_im = in->t_im[TERM_ETF], *exf_re = in->t_re[TERM_EXF], *exf_im = in->t_im[TERM_EXF],
               *elr_re = in->t_re[TERM_ELR], *elr_im = in->t_im[TERM_ELR], *etr_re = in->t_re[TERM_ETR], *etr_im = in->t_im[TERM_ETR],
               *exr_re = in->t_re[TERM_EXR], *exr_im = in->t_im[TERM_EXR];
        const signed char *sign = in->sign;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                double turn = sign[i];
                struct cx r = cx(turn * r_re[i], turn * r_im[i]), back = N(mul)(r, AT(err, i));
                PUT(k, i, N(inv)(back));
                PUT(etf, i, N(inv)(r));
                PUT(etr, i, N(mul)(AT(erf, i), back));
                PUT(elf, i, AT(esr, i));
                PUT(elr, i, AT(esf, i));
                PUT(exf, i, cx(0, 0));
                PUT(exr, i, cx(0, 0));
        }
}

#include "rf/numbers/vector_end.h"
