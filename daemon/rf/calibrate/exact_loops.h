/* exact_loops.h: the body of exact.c, included once for each kind of processor with KIND and TARGET defined (see vector.h).  No include
   guard: that is the point.
   Idea        Blocks of frequencies that stay in cache go through all steps before the next block does.  Reciprocals of several
               real numbers are taken as one of their product.  The largest of a column is kept on the way, as the integer of its bits
               (these order numbers >= 0, and what is no number comes out above all others).
   Sources     one port as a Moebius map with one linear equation per standard: any textbook, solved here by Cramer's rule after the first
               equation is taken from the others (own derivation).  Thru: Marks, 50th ARFTG, 1997.  Unknown thru: Ferrero & Pisani, IEEE
               MGWL 2 (1992) 505, det T = 1. */
#include "rf/numbers/vector.h"
#include "rf/numbers/vector_functions.h"

IN int64_t N(larger_bits)(int64_t worst, double x)
{
        int64_t bits = (int64_t)N(bits)(__builtin_fabs(x));
        return bits > worst ? bits : worst;
}

/* w = (a G + b)/(c G + 1) from three pairs: n points, those of the terms at `at`, those of w at `w_at`.  The condition number goes out
   squared for the first port and as it is, the larger one, for the second. */
IN void N(box)(size_t n, size_t at, size_t w_at, const struct box_columns *in, bool second, int64_t *ret_worst)
{
        const double *g1_re = in->g_re[0] + at, *g1_im = in->g_im[0] + at, *g2_re = in->g_re[1] + at, *g2_im = in->g_im[1] + at,
                     *g3_re = in->g_re[2] + at, *g3_im = in->g_im[2] + at, *w1_re = in->w_re[0] + w_at, *w1_im = in->w_im[0] + w_at,
                     *w2_re = in->w_re[1] + w_at, *w2_im = in->w_im[1] + w_at, *w3_re = in->w_re[2] + w_at, *w3_im = in->w_im[2] + w_at;
        double *ed_re = in->ed_re + at, *ed_im = in->ed_im + at, *es_re = in->es_re + at, *es_im = in->es_im + at, *er_re = in->er_re + at,
               *er_im = in->er_im + at, *condition = in->condition + at;
        int64_t worst = 0;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx g1 = AT(g1, i), g2 = AT(g2, i), g3 = AT(g3, i), w1 = AT(w1, i), w2 = AT(w2, i), w3 = AT(w3, i);
                struct cx q1 = N(mul)(g1, w1), q2 = N(mul)(g2, w2), q3 = N(mul)(g3, w3);
                struct cx g21 = cx_sub(g2, g1), g31 = cx_sub(g3, g1), q21 = cx_sub(q2, q1), q31 = cx_sub(q3, q1);
                struct cx w21 = cx_sub(w2, w1), w31 = cx_sub(w3, w1);
                struct cx det = N(sub_mul)(N(mul)(g31, q21), g21, q31);
                double k2 = 1 / N(norm2)(det);
                struct cx k = cx(det.re * k2, -det.im * k2);
                struct cx a = N(mul)(N(sub_mul)(N(mul)(w31, q21), w21, q31), k);
                struct cx c = N(mul)(N(sub_mul)(N(mul)(g21, w31), g31, w21), k);
                struct cx b = N(add_mul)(N(sub_mul)(w1, a, g1), c, q1), er = N(sub_mul)(a, b, c);
                PUT(ed, i, b);
                PUT(es, i, cx(-c.re, -c.im));
                PUT(er, i, er);
                /* rows (G, 1, -G w) = A: |A|^2 |adj A|^2 by its Gram matrix H: all 2x2 minors squared are (tr^2 H - |H|^2)/2, which is
                   (3 + sum |G|^2)(3 + sum |G w|^2) less what does not change sign in the sums */
                double n1 = N(norm2)(g1), n2 = N(norm2)(g2), n3 = N(norm2)(g3);
                double g = 3 + (n1 + n2 + n3), q = N(norm2)(q1) + N(norm2)(q2) + N(norm2)(q3), of = g * (3 + q);
                struct cx sum_g = cx_add(g1, cx_add(g2, g3)), sum_q = cx_add(q1, cx_add(q2, q3));
                struct cx sum_gq = N(add_scale)(N(add_scale)(N(scale)(n1, w1), n2, w2), n3, w3);
                double adjugate = of - (9 + (N(norm2)(sum_g) + N(norm2)(sum_q) + N(norm2)(sum_gq)));
                /* one ideal for two readings is a map that knows only one value; where the difference has lost digits the points' way
                   takes all; NaN does not know either */
                adjugate = adjugate > 1e-6 * of ? adjugate : __builtin_inf();
                double square = N(size1)(er) > 1e-9 * N(size1)(a) ? (g + q) * adjugate * k2 : __builtin_inf();
                if (second) {
                        double before = condition[i];
                        square = __builtin_sqrt(square <= before ? before : square);
                        worst = N(larger_bits)(worst, square);
                }
                condition[i] = square;
        }
        if (second)
                *ret_worst = worst > *ret_worst ? worst : *ret_worst;
}

/* Each direction's load match and tracking from a thru (S, raw) between the boxes: with u = m11 - EDF, v = ERF + ESF u, g = u - S11 v,
   x = S12 S21 v + S22 g, EL = g/x and ET = m21 S12 ERF/x; turned round for the other direction.  Then K twice, and, `measured`, the switch
   terms that the load matches imply against the measured ones. */
IN void N(thru)(size_t n, size_t at, const struct exact_columns *in, bool measured, struct exact_bits *ret)
{
        const double *const *m_re = in->m_re, *const *m_im = in->m_im;
        const double *s11_re = in->s_re[0] + at, *s11_im = in->s_im[0] + at, *s12_re = in->s_re[1] + at, *s12_im = in->s_im[1] + at,
                     *s21_re = in->s_re[2] + at, *s21_im = in->s_im[2] + at, *s22_re = in->s_re[3] + at, *s22_im = in->s_im[3] + at,
                     *m11_re = m_re[0] + at, *m11_im = m_im[0] + at, *m12_re = m_re[1] + at, *m12_im = m_im[1] + at, *m21_re = m_re[2] + at,
                     *m21_im = m_im[2] + at, *m22_re = m_re[3] + at, *m22_im = m_im[3] + at;
        const double *gf_re = in->gf_re + at, *gf_im = in->gf_im + at, *gr_re = in->gr_re + at, *gr_im = in->gr_im + at;
        double *disagreement = in->disagreement + at, *difference = in->difference + at;
        int64_t worst_k = 0, worst_switch = 0;
        BOX_TERMS(at);
        PATH_TERMS(at);
        TERM_AT(k, TERM_K, at);
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx edf = AT(edf, i), esf = AT(esf, i), erf = AT(erf, i), edr = AT(edr, i), esr = AT(esr, i), err = AT(err, i);
                struct cx s11 = AT(s11, i), s12 = AT(s12, i), s21 = AT(s21, i), s22 = AT(s22, i), through = N(mul)(s12, s21);
                struct cx uf = cx_sub(AT(m11, i), edf), vf = N(add_mul)(erf, esf, uf), wf = N(sub_mul)(uf, s11, vf);
                struct cx ur = cx_sub(AT(m22, i), edr), vr = N(add_mul)(err, esr, ur), wr = N(sub_mul)(ur, s22, vr);
                struct cx xf = N(add_mul)(N(mul)(through, vf), s22, wf), xr = N(add_mul)(N(mul)(through, vr), s11, wr);
                double af = N(norm2)(xf), ar = N(norm2)(xr), both = 1 / (af * ar);
                struct cx pf = N(mul)(N(mul)(AT(m21, i), s12), erf), pr = N(mul)(N(mul)(AT(m12, i), s21), err);
                struct cx kf = N(conjugate)(xf, both * ar), kr = N(conjugate)(xr, both * af);
                struct cx elf = N(mul)(wf, kf), elr = N(mul)(wr, kr), etf = N(mul)(pf, kf), etr = N(mul)(pr, kr);
                PUT(elf, i, elf);
                PUT(elr, i, elr);
                PUT(etf, i, etf);
                PUT(etr, i, etr);
                struct cx lf = cx_sub(elf, esr), lr = cx_sub(elr, esf), yf = N(add_mul)(err, edr, lf), yr = N(add_mul)(erf, edf, lr);
                double bf = N(norm2)(yf), br = N(norm2)(yr), again = 1 / (bf * br), b = again * bf;
                struct cx df = N(conjugate)(yf, again * br), k = N(mul)(etf, df);
                double off = __builtin_sqrt(N(norm2)(N(sub_mul)(yr, k, etr)) * b); /* |1 - K ETR/yr| */
                PUT(k, i, k);
                disagreement[i] = off;
                worst_k = N(larger_bits)(worst_k, off);
                if (measured) {
                        double f = N(norm2)(N(sub_mul)(AT(gf, i), lf, df));
                        double r = N(norm2)(N(sub_mul)(lr, AT(gr, i), yr)) * b; /* |GR - lr/yr|^2 */
                        difference[i] = __builtin_sqrt(f > r ? f : r);
                        worst_switch = N(larger_bits)(worst_switch, f + r); /* not the larger: that may leave a NaN behind */
                }
        }
        ret->k_disagreement = worst_k > ret->k_disagreement ? worst_k : ret->k_disagreement;
        ret->switch_difference = worst_switch > ret->switch_difference ? worst_switch : ret->switch_difference;
}

HOT void N(sol)(size_t n, const struct exact_columns *in, struct exact_bits *ret)
{
        for (size_t at = 0; at < n; at += LONG_BLOCK) {
                size_t m = n - at < LONG_BLOCK ? n - at : LONG_BLOCK;
                N(box)(m, at, at, &in->box[0], false, &ret->condition);
                N(box)(m, at, at, &in->box[1], true, &ret->condition);
        }
}

HOT void N(solt)(size_t n, const struct exact_columns *in, struct exact_bits *ret)
{
        for (size_t at = 0; at < n; at += LONG_BLOCK) {
                size_t m = n - at < LONG_BLOCK ? n - at : LONG_BLOCK;
                N(box)(m, at, at, &in->box[0], false, &ret->condition);
                N(box)(m, at, at, &in->box[1], true, &ret->condition);
                N(thru)(m, at, in, false, ret);
        }
}
HOT void N(solt_switch)(size_t n, const struct exact_columns *in, struct exact_bits *ret)
{
        for (size_t at = 0; at < n; at += LONG_BLOCK) {
                size_t m = n - at < LONG_BLOCK ? n - at : LONG_BLOCK;
                N(box)(m, at, at, &in->box[0], false, &ret->condition);
                N(box)(m, at, at, &in->box[1], true, &ret->condition);
                N(thru)(m, at, in, true, ret);
        }
}

/* What is read of a standard without its switch terms: S11 and S22 of a reflection, all of the thru. */
IN void N(bare_reflection)(size_t n, size_t at, const struct bare_columns *in, const struct switch_terms *sw)
{
        const double *m11_re = in->m_re[0] + at, *m11_im = in->m_im[0] + at, *m12_re = in->m_re[1] + at, *m12_im = in->m_im[1] + at,
                     *m21_re = in->m_re[2] + at, *m21_im = in->m_im[2] + at, *m22_re = in->m_re[3] + at, *m22_im = in->m_im[3] + at;
        const double *f_re = sw->f_re + at, *f_im = sw->f_im + at, *r_re = sw->r_re + at, *r_im = sw->r_im + at;
        double *a_re = in->to[0], *a_im = in->to[1], *b_re = in->to[6], *b_im = in->to[7];
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx t = N(mul)(AT(m12, i), AT(m21, i)), f = N(mul)(t, AT(f, i)), d = N(inv)(N(sub_mul)(cx(1, 0), f, AT(r, i)));
                PUT(a, i, N(mul)(cx_sub(AT(m11, i), f), d));
                PUT(b, i, N(mul)(N(sub_mul)(AT(m22, i), t, AT(r, i)), d));
        }
}
IN void N(bare_thru)(size_t n, size_t at, const struct bare_columns *in, const struct switch_terms *sw)
{
        const double *m11_re = in->m_re[0] + at, *m11_im = in->m_im[0] + at, *m12_re = in->m_re[1] + at, *m12_im = in->m_im[1] + at,
                     *m21_re = in->m_re[2] + at, *m21_im = in->m_im[2] + at, *m22_re = in->m_re[3] + at, *m22_im = in->m_im[3] + at;
        const double *f_re = sw->f_re + at, *f_im = sw->f_im + at, *r_re = sw->r_re + at, *r_im = sw->r_im + at;
        double *a_re = in->to[0], *a_im = in->to[1], *b_re = in->to[2], *b_im = in->to[3], *c_re = in->to[4], *c_im = in->to[5],
               *d_re = in->to[6], *d_im = in->to[7];
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx one = cx(1, 0), m11 = AT(m11, i), m12 = AT(m12, i), m21 = AT(m21, i), m22 = AT(m22, i), gf = AT(f, i),
                          gr = AT(r, i);
                struct cx t = N(mul)(m12, m21), f = N(mul)(t, gf), d = N(inv)(N(sub_mul)(one, f, gr));
                PUT(a, i, N(mul)(cx_sub(m11, f), d));
                PUT(b, i, N(mul)(N(mul)(m12, N(sub_mul)(one, m11, gr)), d));
                PUT(c, i, N(mul)(N(mul)(m21, N(sub_mul)(one, m22, gf)), d));
                PUT(d, i, N(mul)(N(sub_mul)(m22, t, gr), d));
        }
}

/* r = +-sqrt(S12/S21/(ERF ERR)) with the sign that has S21 of the thru nearer to e^{-jw tau}, S21, and the terms that follow from it.
   near[1 + i] is S21 e^{+jw tau}, near[0] that of the point before. */
IN void N(root)(size_t n, size_t at, const struct exact_columns *in, const struct near_columns *near, struct exact_bits *ret)
{
        double *const *m = in->thru_block;
        const double *m11_re = m[0], *m11_im = m[1], *m12_re = m[2], *m12_im = m[3], *m21_re = m[4], *m21_im = m[5], *m22_re = m[6],
                     *m22_im = m[7], *hz = in->hz + at;
        double *s21_re = in->s21_re + at, *s21_im = in->s21_im + at, *near_re = near->re + 1, *near_im = near->im + 1;
        double per_hz = RF_TWO_PI * in->tau_s;
        int64_t power = 0, strange = 0;
        BOX_TERMS(at);
        PATH_TERMS(at);
        TERM_AT(k, TERM_K, at);
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct cx m11 = AT(m11, i), m22 = AT(m22, i), m12 = AT(m12, i), m21 = AT(m21, i), erf = AT(erf, i), err = AT(err, i);
                struct cx c1 = AT(esf, i), c2 = AT(esr, i); /* minus the Moebius c: signs below are turned accordingly */
                struct cx a1 = N(sub_mul)(erf, AT(edf, i), c1), a2 = N(sub_mul)(err, AT(edr, i), c2);
                struct cx both = N(mul)(erf, err), det = N(sub_mul)(N(mul)(m11, m22), m12, m21), mb = N(mul)(m21, both);
                struct cx z = N(mul)(m12, N(inv)(mb));
                struct cx r = N(root_of)(z);
                /* (N22 both S21) of the two boxes and the thru's T between them */
                struct cx one = N(add_mul)(N(mul)(m11, a2), det, c2), two = N(add_mul)(a2, m22, c2);
                struct cx n22 = N(add_mul)(N(mul)(a1, two), c1, one);
                double p = N(norm2)(n22), q = __builtin_sqrt(N(norm2)(z)) * N(norm2)(err), k = 1 / (p * q),
                       kq = k * p; /* 1/q = 1/|r err|^2 */
                struct cx s21 = N(mul)(N(mul)(r, mb), N(conjugate)(n22, k * q));
                struct cx ratio = N(mul)(s21, N(e_to)(cx(0, per_hz * hz[i])));
                double turn = ratio.re < 0 ? -1 : 1;
                PUT(near, i, cx(ratio.re * turn, ratio.im * turn));
                PUT(s21, i, cx(s21.re * turn, s21.im * turn));
                struct cx etr = N(mul)(both, cx(r.re * turn, r.im * turn)), etf = N(conjugate)(r, turn * kq * N(norm2)(err));
                struct cx kk = N(conjugate)(N(mul)(r, err), turn * kq);
                PUT(k, i, kk);
                PUT(etf, i, etf);
                PUT(etr, i, etr);
                PUT(elf, i, c2);
                PUT(elr, i, c1);
                power = N(larger_bits)(power, N(norm2)(s21));
                strange = N(larger_bits)(strange, N(norm2)(kk) + N(norm2)(etf) + N(norm2)(etr));
        }
        ret->thru_power = power > ret->thru_power ? power : ret->thru_power;
        ret->strange = strange > ret->strange ? strange : ret->strange;
}

/* Is every point within 60 degrees of the one before?  Both lie right of the imaginary axis. */
IN void N(follow)(size_t n, const struct near_columns *near, struct exact_bits *ret)
{
        const double *a_re = near->re, *a_im = near->im, *b_re = near->re + 1, *b_im = near->im + 1;
        uint64_t lost = 0;
        for (size_t i = 0; i < n; i++) {
                double re = a_re[i] * b_re[i] + a_im[i] * b_im[i], im = a_re[i] * b_im[i] - a_im[i] * b_re[i];
                lost |= re > 0 && 3 * re * re >= im * im ? 0 : UINT64_MAX;
        }
        ret->lost = ret->lost || lost;
}

HOT void N(unknown_thru)(size_t n, const struct exact_columns *in, struct exact_bits *ret)
{
        double near_re[BLOCK + 1], near_im[BLOCK + 1];
        struct near_columns near = {near_re, near_im};
        near_re[0] = 1; /* the lowest frequency follows the delay guess itself */
        near_im[0] = 0;
        for (size_t at = 0; at < n; at += BLOCK) {
                size_t m = n - at < BLOCK ? n - at : BLOCK;
                for (size_t k = 0; k < in->bare_n; k++) {
                        const struct bare_columns *bare = &in->bare[k];
                        if (bare->as_read)
                                for (int j = 0; j < 4; j += bare->thru ? 1 : 3) {
                                        __builtin_memcpy(bare->to[2 * j], bare->m_re[j] + at, m * sizeof(double));
                                        __builtin_memcpy(bare->to[2 * j + 1], bare->m_im[j] + at, m * sizeof(double));
                                }
                        else if (bare->thru)
                                N(bare_thru)(m, at, bare, in->sw);
                        else
                                N(bare_reflection)(m, at, bare, in->sw);
                }
                N(box)(m, at, 0, &in->box[0], false, &ret->condition);
                N(box)(m, at, 0, &in->box[1], true, &ret->condition);
                N(root)(m, at, in, &near, ret);
                N(follow)(m, &near, ret);
                near_re[0] = near_re[m];
                near_im[0] = near_im[m];
        }
}

#include "rf/numbers/vector_end.h"
