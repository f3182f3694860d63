/* correct_full.c: raw ratios to corrected S and back with the full error network (correct_full.h).
 * Idea        Two 2x2 systems per point in plain arithmetic on columns; no T matrix of the device, so that isolating devices are ordinary.
 * Sources     Butler et al., IEEE Trans. MTT 39 (1991) 2211 for the model; blocks to error network and back: own algebra, checked by
 *             tests/reference/rf_sixteen.c against a network given as such. */
#include "rf/correct/correct_full.h"
#include "rf/numbers/cx.h"
#include <math.h>

#define HOT __attribute__((optimize("O3", "no-math-errno", "no-trapping-math")))
#define LOOP static inline __attribute__((always_inline))

struct quad {
        struct cx e[4];
};
LOOP struct cx mul_add(struct cx a, struct cx b, struct cx c, struct cx d) { return cx_add(cx_mul(a, b), cx_mul(c, d)); }
LOOP struct quad times(struct quad a, struct quad b)
{
        return (struct quad){{mul_add(a.e[0], b.e[0], a.e[1], b.e[2]), mul_add(a.e[0], b.e[1], a.e[1], b.e[3]),
                              mul_add(a.e[2], b.e[0], a.e[3], b.e[2]), mul_add(a.e[2], b.e[1], a.e[3], b.e[3])}};
}
LOOP struct quad minus(struct quad a, struct quad b)
{
        return (struct quad){{cx_sub(a.e[0], b.e[0]), cx_sub(a.e[1], b.e[1]), cx_sub(a.e[2], b.e[2]), cx_sub(a.e[3], b.e[3])}};
}
/* g^{-1} h */
LOOP struct quad divide(struct quad g, struct quad h)
{
        struct cx d = cx_inv(cx_sub(cx_mul(g.e[0], g.e[3]), cx_mul(g.e[1], g.e[2])));
        struct quad r;
        for (int j = 0; j < 2; j++) {
                r.e[j] = cx_mul(d, cx_sub(cx_mul(g.e[3], h.e[j]), cx_mul(g.e[1], h.e[2 + j])));
                r.e[2 + j] = cx_mul(d, cx_sub(cx_mul(g.e[0], h.e[2 + j]), cx_mul(g.e[2], h.e[j])));
        }
        return r;
}
LOOP struct quad correct(struct quad m, const struct quad t[4]) { return divide(minus(t[0], times(m, t[2])), minus(times(m, t[3]), t[1])); }

LOOP void correct_loop(size_t n, const struct terms *t, const struct net2 *raw, const struct net2 *out)
{
        const double *t_re[16], *t_im[16];
        double *m_re[4], *m_im[4], *s_re[4], *s_im[4];
        for (int k = 0; k < 16; k++) {
                t_re[k] = t->full_re[k];
                t_im[k] = t->full_im[k];
        }
        for (int k = 0; k < 4; k++) {
                m_re[k] = raw->re[k];
                m_im[k] = raw->im[k];
                s_re[k] = out->re[k];
                s_im[k] = out->im[k];
        }
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct quad m, b[4], s;
                for (int k = 0; k < 4; k++)
                        m.e[k] = cx(m_re[k][i], m_im[k][i]);
                for (int k = 0; k < 16; k++)
                        b[k / 4].e[k % 4] = cx(t_re[k][i], t_im[k][i]);
                s = correct(m, b);
                for (int k = 0; k < 4; k++) {
                        s_re[k][i] = s.e[k].re;
                        s_im[k][i] = s.e[k].im;
                }
        }
}
static HOT void correct_narrow(size_t n, const struct terms *t, const struct net2 *raw, const struct net2 *out)
{
        correct_loop(n, t, raw, out);
}
#if defined(__x86_64__)
static HOT __attribute__((target("avx2"))) void correct_wide(size_t n, const struct terms *t, const struct net2 *raw,
                                                             const struct net2 *out)
{
        correct_loop(n, t, raw, out);
}
#endif

enum code full_correct(const struct terms *terms, const struct net2 *raw, const struct switch_terms *or_null, struct net2 *out,
                       struct tp_error *err)
{
        if (terms->switch_removed && !or_null)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "the calibration (%s) was solved with switch terms removed and the sweep comes without switch terms; measure "
                        "them, or recalibrate without",
                        terms->method);
        if (or_null) {
                enum code code = rf_switch_remove(or_null, raw, out, err);
                if (code)
                        return code;
                raw = out;
        }
#if defined(__x86_64__)
        if (__builtin_cpu_supports("avx2")) {
                correct_wide(raw->axis->n, terms, raw, out);
                return CODE_OK;
        }
#endif
        correct_narrow(raw->axis->n, terms, raw, out);
        return CODE_OK;
}

/* ---- one point ---------------------------------------------------------------------------------------------------------------------- */

static struct quad quad_of(struct m2 m)
{
        struct quad q;
        for (int k = 0; k < 4; k++)
                q.e[k] = cx(creal(m.e[k]), cimag(m.e[k]));
        return q;
}
static struct m2 m2_of_quad(struct quad q)
{
        struct m2 m;
        for (int k = 0; k < 4; k++)
                m.e[k] = CMPLX(q.e[k].re, q.e[k].im);
        return m;
}

struct full full_get(const struct terms *terms, size_t i)
{
        double complex t[FULL_COUNT];
        for (int k = 0; k < FULL_COUNT; k++)
                t[k] = CMPLX(terms->full_re[k][i], terms->full_im[k][i]);
        return (struct full){
                {{t[0], t[1], t[2], t[3]}}, {{t[4], t[5], t[6], t[7]}}, {{t[8], t[9], t[10], t[11]}}, {{t[12], t[13], t[14], t[15]}}};
}

void full_put(struct terms *terms, size_t i, const struct full *t)
{
        const struct m2 *const block[4] = {&t->t1, &t->t2, &t->t3, &t->t4};
        for (int k = 0; k < FULL_COUNT; k++) {
                terms->full_re[k][i] = creal(block[k / 4]->e[k % 4]);
                terms->full_im[k][i] = cimag(block[k / 4]->e[k % 4]);
        }
}

struct m2 full_correct_point(const struct terms *terms, size_t i, struct m2 m)
{
        struct full t = full_get(terms, i);
        const struct quad b[4] = {quad_of(t.t1), quad_of(t.t2), quad_of(t.t3), quad_of(t.t4)};
        return m2_of_quad(correct(quad_of(m), b));
}

struct m2 full_embed_point(const struct terms *terms, size_t i, struct m2 s)
{
        struct full t = full_get(terms, i);
        return m2_mul(m2_add(m2_mul(t.t1, s), t.t2), m2_inv(m2_add(m2_mul(t.t3, s), t.t4)));
}

/* ---- the error network -------------------------------------------------------------------------------------------------------------- */

bool full_from_network(const double complex e[16], struct full *ret)
{
        struct m2 e1 = m2_of(e[0], e[1], e[4], e[5]), e2 = m2_of(e[2], e[3], e[6], e[7]), e3 = m2_of(e[8], e[9], e[12], e[13]),
                  e4 = m2_of(e[10], e[11], e[14], e[15]);
        double size = 0;
        for (int k = 0; k < 4; k++)
                size = fmax(size, cabs(e3.e[k]));
        bool transmits = cabs(m2_det(e3)) > 1e-12 * size * size && cabs(e3.e[3]) > 1e-9 * size;
        struct m2 i3 = m2_inv(e3);
        double complex scale = 1 / i3.e[0];
        ret->t4 = m2_scale(scale, i3);
        ret->t4.e[0] = 1;
        ret->t3 = m2_scale(-scale, m2_mul(i3, e4));
        ret->t2 = m2_scale(scale, m2_mul(e1, i3));
        ret->t1 = m2_scale(scale, m2_sub(e2, m2_mul(e1, m2_mul(i3, e4))));
        return transmits;
}

void full_to_network(const struct full *t, double complex e[16])
{
        struct m2 e3 = m2_inv(t->t4), e1 = m2_mul(t->t2, e3), e2 = m2_sub(t->t1, m2_mul(e1, t->t3)), e4 = m2_scale(-1, m2_mul(e3, t->t3));
        const struct m2 *const block[4] = {&e1, &e2, &e3, &e4};
        for (int b = 0; b < 4; b++)
                for (int k = 0; k < 4; k++)
                        e[(b / 2 * 2 + k / 2) * 4 + b % 2 * 2 + k % 2] = block[b]->e[k];
}

/* |z| of numbers that are near 1: no need for hypot's care. */
LOOP double size_of(struct cx z) { return __builtin_sqrt(z.re * z.re + z.im * z.im); }
LOOP struct cx cx_div(struct cx a, struct cx b) { return cx_mul(a, cx_inv(b)); }

/* ETF and ETR as rf_terms_complete() has them for eight terms: the same bytes. */
LOOP void eight_of(const struct quad t[4], struct cx ret[TERM_COUNT], double *ret_leakage)
{
        /* E3 = T4^{-1}, E1 = T2 E3, E4 = -E3 T3, E2 = T1 - E1 T3 */
        struct cx zero = cx(0, 0), one = cx(1, 0);
        struct quad e3 = divide(t[3], (struct quad){{one, zero, zero, one}}), e1 = times(t[1], e3), e2 = minus(t[0], times(e1, t[2])),
                    e4 = times(e3, t[2]);
        struct cx erf = cx_mul(e2.e[0], e3.e[0]), err = cx_mul(e2.e[3], e3.e[3]), k = cx_div(e3.e[0], e3.e[3]);
        double k2 = k.re * k.re + k.im * k.im;
        ret[TERM_EDF] = e1.e[0];
        ret[TERM_ESF] = ret[TERM_ELR] = cx_sub(zero, e4.e[0]);
        ret[TERM_EDR] = e1.e[3];
        ret[TERM_ESR] = ret[TERM_ELF] = cx_sub(zero, e4.e[3]);
        ret[TERM_ERF] = erf;
        ret[TERM_ERR] = err;
        ret[TERM_K] = k;
        ret[TERM_ETF] = cx_mul(k, err);
        ret[TERM_ETR] = cx((erf.re * k.re + erf.im * k.im) / k2, (erf.im * k.re - erf.re * k.im) / k2);
        ret[TERM_EXF] = ret[TERM_EXR] = zero;
        /* Each leaking path beside the proper one that starts from the same receiver (or tip): no scale of the network changes the ratio.
         */
        const double all[8] = {size_of(e1.e[1]), /* receivers among themselves, tips too */
                               size_of(e1.e[2]),
                               size_of(e4.e[1]),
                               size_of(e4.e[2]),
                               size_of(e3.e[2]) / size_of(e3.e[0]),
                               size_of(e3.e[1]) / size_of(e3.e[3]),
                               size_of(e2.e[1]) / size_of(e2.e[3]),
                               size_of(e2.e[2]) / size_of(e2.e[0])};
        double worst = 0;
        for (int i = 0; i < 8; i++)
                worst = all[i] <= worst ? worst : all[i]; /* NaN wins */
        *ret_leakage = worst;
}

void full_to_eight(const struct full *t, double complex ret[TERM_COUNT], double *ret_leakage)
{
        const struct quad b[4] = {quad_of(t->t1), quad_of(t->t2), quad_of(t->t3), quad_of(t->t4)};
        struct cx eight[TERM_COUNT];
        double leakage;
        eight_of(b, eight, &leakage);
        for (int k = 0; k < TERM_COUNT; k++)
                ret[k] = CMPLX(eight[k].re, eight[k].im);
        if (ret_leakage)
                *ret_leakage = leakage;
}

LOOP void eight_loop(const struct terms *t, double *leakage)
{
        double *b_re[FULL_COUNT], *b_im[FULL_COUNT], *re[TERM_COUNT], *im[TERM_COUNT];
        for (int k = 0; k < FULL_COUNT; k++) {
                b_re[k] = t->full_re[k];
                b_im[k] = t->full_im[k];
        }
        for (int k = 0; k < TERM_COUNT; k++) {
                re[k] = t->re[k];
                im[k] = t->im[k];
        }
#pragma GCC ivdep
        for (size_t i = 0; i < t->axis->n; i++) {
                struct quad b[4];
                struct cx eight[TERM_COUNT];
                for (int k = 0; k < FULL_COUNT; k++)
                        b[k / 4].e[k % 4] = cx(b_re[k][i], b_im[k][i]);
                eight_of(b, eight, &leakage[i]);
                for (int k = 0; k < TERM_COUNT; k++) {
                        re[k][i] = eight[k].re;
                        im[k][i] = eight[k].im;
                }
        }
}
static HOT void eight_narrow(const struct terms *t, double *leakage) { eight_loop(t, leakage); }
#if defined(__x86_64__)
static HOT __attribute__((target("avx2"))) void eight_wide(const struct terms *t, double *leakage) { eight_loop(t, leakage); }
#endif

void full_to_eight_all(struct terms *terms, double *ret_leakage)
{
#if defined(__x86_64__)
        if (__builtin_cpu_supports("avx2")) {
                eight_wide(terms, ret_leakage);
                return;
        }
#endif
        eight_narrow(terms, ret_leakage);
}
