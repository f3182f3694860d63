/* correct.c: raw ratios to corrected S and back (correct.h).
 * Problem     A wafer is some hundred thousand points for each evaluation; correction must run at the speed of memory.
 * Idea        One loop over columns that removes the switch terms and solves the error model in the same pass.  With eight terms the
 * twelve-term solution holds with ELF = ESR, ETF = K ERR, ELR = ESF, ETR = ERF/K; multiplied out by ERF ERR it needs two reciprocals and no
 * T matrix, so that isolating devices (S21 = 0) are ordinary devices. Sources     switch terms, eight and twelve terms: Marks, 50th ARFTG,
 * 1997, 115. Rejected    T-matrix products per point (three inversions, S21 = 0 forbidden); storing reciprocal trackings (more bytes than
 * they save). */
#include "rf/correct.h"
#include "rf/convert.h"
#include "rf/correct_full.h"
#include "rf/cx.h"
#include <math.h>

/* -O3 in every variant: the loops are here to be vectorised.  Each loop is compiled twice, for any processor and for 256-bit vectors, and
   chosen at the call; neither fuses products with sums (-std=c11 forbids contraction), so both give the same bytes.  No ifunc: its resolver
   runs before sanitizers are up. */
#define HOT __attribute__((optimize("O3", "no-math-errno", "no-trapping-math")))
#define LOOP static inline __attribute__((always_inline)) void
#if defined(__x86_64__)
#define TWICE(name, parameters, arguments)                                                                \
        static HOT void name##_narrow parameters { name##_loop arguments; }                               \
        static HOT __attribute__((target("avx2"))) void name##_wide parameters { name##_loop arguments; } \
        static void name##_all parameters                                                                 \
        {                                                                                                 \
                if (__builtin_cpu_supports("avx2"))                                                       \
                        name##_wide arguments;                                                            \
                else                                                                                      \
                        name##_narrow arguments;                                                          \
        }
#else
#define TWICE(name, parameters, arguments) \
        static HOT void name##_all parameters { name##_loop arguments; }
#endif
#define AT(pair, i) cx(pair##_re[i], pair##_im[i])
#define TERM(t, i) cx(e->re[t][i], e->im[t][i])

struct quad {
        struct cx s11, s12, s21, s22;
};

static inline __attribute__((always_inline)) struct quad unterminate(struct quad m, struct cx gf, struct cx gr)
{
        struct cx t = cx_mul(m.s12, m.s21), d = cx_inv(cx_one_minus(cx_mul(t, cx_mul(gf, gr))));
        return (struct quad){cx_mul(cx_sub(m.s11, cx_mul(t, gf)), d), cx_mul(cx_mul(m.s12, cx_one_minus(cx_mul(m.s11, gr))), d),
                             cx_mul(cx_mul(m.s21, cx_one_minus(cx_mul(m.s22, gf))), d), cx_mul(cx_sub(m.s22, cx_mul(t, gr)), d)};
}

struct eight {
        struct cx edf, esf, erf, edr, esr, err, etf, etr; /* etf = K ERR, etr = ERF/K */
};

static inline __attribute__((always_inline)) struct quad correct8(struct quad m, struct eight e)
{
        struct cx a = cx_sub(m.s11, e.edf), b = cx_sub(m.s22, e.edr), cd = cx_mul(m.s21, m.s12);
        struct cx p = cx_add(e.erf, cx_mul(a, e.esf)), q = cx_add(e.err, cx_mul(b, e.esr)), fcd = cx_mul(e.esf, cd);
        struct cx n = cx_inv(cx_sub(cx_mul(p, q), cx_mul(fcd, e.esr)));
        return (struct quad){cx_mul(cx_sub(cx_mul(a, q), cx_mul(e.esr, cd)), n), cx_mul(cx_mul(m.s12, e.etf), n),
                             cx_mul(cx_mul(m.s21, e.etr), n), cx_mul(cx_sub(cx_mul(b, p), fcd), n)};
}

struct twelve {
        struct cx edf, esf, erf, edr, esr, err, elf, etf, exf, elr, etr, exr;
};

static inline __attribute__((always_inline)) struct quad correct12(struct quad m, struct twelve e)
{
        struct cx a = cx_sub(m.s11, e.edf), b = cx_sub(m.s22, e.edr), c = cx_sub(m.s21, e.exf), d = cx_sub(m.s12, e.exr);
        struct cx t = cx_mul(e.etf, e.etr), cd = cx_mul(cx_mul(c, d), cx_mul(e.erf, e.err));
        struct cx p = cx_add(e.erf, cx_mul(a, e.esf)), q = cx_add(e.err, cx_mul(b, e.esr)), qt = cx_mul(q, t);
        struct cx p2 = cx_add(e.erf, cx_mul(a, cx_sub(e.esf, e.elr))), q2 = cx_add(e.err, cx_mul(b, cx_sub(e.esr, e.elf)));
        struct cx fcd = cx_mul(e.elf, cd), n = cx_inv(cx_sub(cx_mul(p, qt), cx_mul(fcd, e.elr)));
        return (struct quad){cx_mul(cx_sub(cx_mul(a, qt), fcd), n), cx_mul(cx_mul(cx_mul(d, p2), cx_mul(e.err, e.etf)), n),
                             cx_mul(cx_mul(cx_mul(c, q2), cx_mul(e.erf, e.etr)), n),
                             cx_mul(cx_sub(cx_mul(b, cx_mul(p, t)), cx_mul(e.elr, cd)), n)};
}

/* The columns are taken out of their structs first: gcc then sees plain pointers, and ivdep tells it that a point depends on no other
   point (in place is allowed, so they are not restrict). */
#define COLUMNS(name, net)                                                                                                         \
        double *name##11_re = (net)->re[0], *name##11_im = (net)->im[0], *name##12_re = (net)->re[1], *name##12_im = (net)->im[1]; \
        double *name##21_re = (net)->re[2], *name##21_im = (net)->im[2], *name##22_re = (net)->re[3], *name##22_im = (net)->im[3]
#define READ(name, i) ((struct quad){AT(name##11, i), AT(name##12, i), AT(name##21, i), AT(name##22, i)})
#define WRITE(name, i, q)                                                                                                        \
        (name##11_re [i] = (q).s11.re, name##11_im [i] = (q).s11.im, name##12_re [i] = (q).s12.re, name##12_im [i] = (q).s12.im, \
         name##21_re [i] = (q).s21.re, name##21_im [i] = (q).s21.im, name##22_re [i] = (q).s22.re, name##22_im [i] = (q).s22.im)
#define TERM_COLUMN(name, t) const double *name##_re = e->re[t], *name##_im = e->im[t]

LOOP unterminate_loop(size_t n, const struct net2 *raw, const struct switch_terms *sw, const struct net2 *out)
{
        COLUMNS(m, raw);
        COLUMNS(s, out);
        const double *f_re = sw->f_re, *f_im = sw->f_im, *r_re = sw->r_re, *r_im = sw->r_im;
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct quad q = unterminate(READ(m, i), AT(f, i), AT(r, i));
                WRITE(s, i, q);
        }
}
TWICE(unterminate, (size_t n, const struct net2 *raw, const struct switch_terms *sw, const struct net2 *out), (n, raw, sw, out))

LOOP correct8_loop(size_t n, const struct terms *e, const struct net2 *raw, const struct net2 *out)
{
        COLUMNS(m, raw);
        COLUMNS(s, out);
        TERM_COLUMN(edf, TERM_EDF);
        TERM_COLUMN(esf, TERM_ESF);
        TERM_COLUMN(erf, TERM_ERF);
        TERM_COLUMN(edr, TERM_EDR);
        TERM_COLUMN(esr, TERM_ESR);
        TERM_COLUMN(err, TERM_ERR);
        TERM_COLUMN(etf, TERM_ETF);
        TERM_COLUMN(etr, TERM_ETR);
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct quad q = correct8(READ(m, i), (struct eight){AT(edf, i), AT(esf, i), AT(erf, i), AT(edr, i), AT(esr, i), AT(err, i),
                                                                    AT(etf, i), AT(etr, i)});
                WRITE(s, i, q);
        }
}
TWICE(correct8, (size_t n, const struct terms *e, const struct net2 *raw, const struct net2 *out), (n, e, raw, out))

LOOP correct8_switch_loop(size_t n, const struct terms *e, const struct net2 *raw, const struct switch_terms *sw, const struct net2 *out)
{
        COLUMNS(m, raw);
        COLUMNS(s, out);
        const double *f_re = sw->f_re, *f_im = sw->f_im, *r_re = sw->r_re, *r_im = sw->r_im;
        TERM_COLUMN(edf, TERM_EDF);
        TERM_COLUMN(esf, TERM_ESF);
        TERM_COLUMN(erf, TERM_ERF);
        TERM_COLUMN(edr, TERM_EDR);
        TERM_COLUMN(esr, TERM_ESR);
        TERM_COLUMN(err, TERM_ERR);
        TERM_COLUMN(etf, TERM_ETF);
        TERM_COLUMN(etr, TERM_ETR);
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct quad m = unterminate(READ(m, i), AT(f, i), AT(r, i));
                struct quad q = correct8(
                        m, (struct eight){AT(edf, i), AT(esf, i), AT(erf, i), AT(edr, i), AT(esr, i), AT(err, i), AT(etf, i), AT(etr, i)});
                WRITE(s, i, q);
        }
}
TWICE(correct8_switch, (size_t n, const struct terms *e, const struct net2 *raw, const struct switch_terms *sw, const struct net2 *out),
      (n, e, raw, sw, out))

LOOP correct12_loop(size_t n, const struct terms *e, const struct net2 *raw, const struct net2 *out)
{
        COLUMNS(m, raw);
        COLUMNS(s, out);
        TERM_COLUMN(edf, TERM_EDF);
        TERM_COLUMN(esf, TERM_ESF);
        TERM_COLUMN(erf, TERM_ERF);
        TERM_COLUMN(edr, TERM_EDR);
        TERM_COLUMN(esr, TERM_ESR);
        TERM_COLUMN(err, TERM_ERR);
        TERM_COLUMN(elf, TERM_ELF);
        TERM_COLUMN(etf, TERM_ETF);
        TERM_COLUMN(exf, TERM_EXF);
        TERM_COLUMN(elr, TERM_ELR);
        TERM_COLUMN(etr, TERM_ETR);
        TERM_COLUMN(exr, TERM_EXR);
#pragma GCC ivdep
        for (size_t i = 0; i < n; i++) {
                struct quad q =
                        correct12(READ(m, i), (struct twelve){AT(edf, i), AT(esf, i), AT(erf, i), AT(edr, i), AT(esr, i), AT(err, i),
                                                              AT(elf, i), AT(etf, i), AT(exf, i), AT(elr, i), AT(etr, i), AT(exr, i)});
                WRITE(s, i, q);
        }
}
TWICE(correct12, (size_t n, const struct terms *e, const struct net2 *raw, const struct net2 *out), (n, e, raw, out))

static enum code axes_check(const char *what, const struct axis *a, const struct axis *terms, struct tp_error *err)
{
        if (axis_equal(a, terms))
                return CODE_OK;
        return tp_fail(err, CODE_BAD_INPUT,
                       "%s has %zu frequencies from %.9g to %.9g Hz, the calibration %zu from %.9g to %.9g Hz; sweep the calibration's "
                       "frequencies or recalibrate",
                       what, a->n, a->hz[0], a->hz[a->n - 1], terms->n, terms->hz[0], terms->hz[terms->n - 1]);
}

enum code rf_switch_remove(const struct switch_terms *sw, const struct net2 *raw, struct net2 *out, struct tp_error *err)
{
        if (!axis_equal(sw->axis, raw->axis) || !axis_equal(out->axis, raw->axis))
                return tp_fail(err, CODE_BAD_INPUT, "the switch terms have %zu frequencies, the sweep %zu; both must have the same list",
                               sw->axis->n, raw->axis->n);
        unterminate_all(raw->axis->n, raw, sw, out);
        out->plane = raw->plane;
        return CODE_OK;
}

enum code rf_switch_insert(const struct switch_terms *sw, const struct net2 *s, struct net2 *out, struct tp_error *err)
{
        if (!axis_equal(sw->axis, s->axis) || !axis_equal(out->axis, s->axis))
                return tp_fail(err, CODE_BAD_INPUT, "the switch terms have %zu frequencies, the network %zu; both must have the same list",
                               sw->axis->n, s->axis->n);
        for (size_t i = 0; i < s->axis->n; i++)
                net2_put(out, i, rf_switch_insert_point(net2_get(s, i), CMPLX(sw->f_re[i], sw->f_im[i]), CMPLX(sw->r_re[i], sw->r_im[i])));
        out->plane = s->plane;
        return CODE_OK;
}

static struct cx cx_of(double complex z) { return cx(creal(z), cimag(z)); }
static struct quad quad_of(struct m2 m) { return (struct quad){cx_of(m.e[0]), cx_of(m.e[1]), cx_of(m.e[2]), cx_of(m.e[3])}; }
static struct m2 m2_of_quad(struct quad q)
{
        return m2_of(CMPLX(q.s11.re, q.s11.im), CMPLX(q.s12.re, q.s12.im), CMPLX(q.s21.re, q.s21.im), CMPLX(q.s22.re, q.s22.im));
}

struct m2 rf_switch_remove_point(struct m2 m, double complex forward, double complex reverse)
{
        return m2_of_quad(unterminate(quad_of(m), cx_of(forward), cx_of(reverse)));
}

struct m2 rf_switch_insert_point(struct m2 s, double complex forward, double complex reverse)
{
        double complex t = s.e[1] * s.e[2], f = 1 / (1 - s.e[3] * forward), r = 1 / (1 - s.e[0] * reverse);
        return m2_of(s.e[0] + t * forward * f, s.e[1] * r, s.e[2] * f, s.e[3] + t * reverse * r);
}

struct m2 rf_correct2_point(const struct terms *e, size_t i, struct m2 raw)
{
        if (e->model == TERMS_SIXTEEN)
                return full_correct_point(e, i, raw);
        if (e->model == TERMS_TWELVE)
                return m2_of_quad(correct12(quad_of(raw),
                                            (struct twelve){TERM(TERM_EDF, i), TERM(TERM_ESF, i), TERM(TERM_ERF, i), TERM(TERM_EDR, i),
                                                            TERM(TERM_ESR, i), TERM(TERM_ERR, i), TERM(TERM_ELF, i), TERM(TERM_ETF, i),
                                                            TERM(TERM_EXF, i), TERM(TERM_ELR, i), TERM(TERM_ETR, i), TERM(TERM_EXR, i)}));
        return m2_of_quad(
                correct8(quad_of(raw), (struct eight){TERM(TERM_EDF, i), TERM(TERM_ESF, i), TERM(TERM_ERF, i), TERM(TERM_EDR, i),
                                                      TERM(TERM_ESR, i), TERM(TERM_ERR, i), TERM(TERM_ETF, i), TERM(TERM_ETR, i)}));
}

enum code rf_correct2(const struct terms *terms, const struct net2 *raw, const struct switch_terms *or_null, struct net2 *out,
                      struct tp_error *err)
{
        enum code code = axes_check("the sweep", raw->axis, terms->axis, err);
        if (code)
                return code;
        if (!axis_equal(out->axis, terms->axis))
                return tp_fail(err, CODE_BUG, "correction: the result's axis is not the sweep's");
        if (raw->plane != PLANE_RECEIVER)
                return tp_fail(err, CODE_BAD_INPUT, "only raw data can be corrected; this network lies in plane %s",
                               plane_words[raw->plane]);
        size_t n = raw->axis->n;
        switch (terms->model) {
        case TERMS_TWELVE:
                correct12_all(n, terms, raw, out);
                break;
        case TERMS_EIGHT:
                if (terms->switch_removed && !or_null)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "the calibration (%s) was solved with switch terms removed and the sweep comes without switch "
                                       "terms; measure them, or recalibrate without",
                                       terms->method);
                if (or_null && (code = axes_check("the set of switch terms", or_null->axis, terms->axis, err)))
                        return code;
                if (or_null)
                        correct8_switch_all(n, terms, raw, or_null, out);
                else
                        correct8_all(n, terms, raw, out);
                break;
        case TERMS_ONE_PORT:
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "a one-port calibration (%s) corrects reflections only; use solt, unknown_thru or multiline_trl for two-ports",
                        terms->method);
        case TERMS_SIXTEEN:
                if ((code = full_correct(terms, raw, or_null, out, err)))
                        return code;
                break;
        case TERMS_UNKNOWN:
        case TERMS_MODEL_COUNT:
                return tp_fail(err, CODE_STATE, "the calibration has no terms yet");
        }
        for (size_t i = 0; i < n; i++) {
                out->z_re[i] = terms->z_re[i];
                out->z_im[i] = terms->z_im[i];
        }
        out->plane = terms->plane;
        return CODE_OK;
}

enum code rf_correct1(const struct terms *e, int port, const double *raw_re, const double *raw_im, double *out_re, double *out_im,
                      struct tp_error *err)
{
        if (port != 1 && port != 2)
                return tp_fail(err, CODE_BAD_INPUT, "port %d does not exist; a two-port analyzer has ports 1 and 2", port);
        if (e->model == TERMS_UNKNOWN)
                return tp_fail(err, CODE_STATE, "the calibration has no terms yet");
        enum term d = port == 1 ? TERM_EDF : TERM_EDR, s = port == 1 ? TERM_ESF : TERM_ESR, t = port == 1 ? TERM_ERF : TERM_ERR;
        for (size_t i = 0; i < e->axis->n; i++) {
                struct cx a = cx_sub(cx(raw_re[i], raw_im[i]), TERM(d, i));
                struct cx r = cx_mul(a, cx_inv(cx_add(TERM(t, i), cx_mul(TERM(s, i), a))));
                out_re[i] = r.re;
                out_im[i] = r.im;
        }
        return CODE_OK;
}

struct m2 rf_embed2_point(const struct terms *e, size_t i, struct m2 s)
{
        if (e->model == TERMS_SIXTEEN)
                return full_embed_point(e, i, s);
        double complex t[TERM_COUNT], d = m2_det(s);
        for (int k = 0; k < TERM_COUNT; k++)
                t[k] = CMPLX(e->re[k][i], e->im[k][i]);
        if (e->model == TERMS_EIGHT) { /* the twelve-term equivalent without switch terms */
                t[TERM_ELF] = t[TERM_ESR];
                t[TERM_ETF] = t[TERM_K] * t[TERM_ERR];
                t[TERM_ELR] = t[TERM_ESF];
                t[TERM_ETR] = t[TERM_ERF] / t[TERM_K];
                t[TERM_EXF] = t[TERM_EXR] = 0;
        }
        double complex d1 = 1 - t[TERM_ESF] * s.e[0] - t[TERM_ELF] * s.e[3] + t[TERM_ESF] * t[TERM_ELF] * d;
        double complex d2 = 1 - t[TERM_ESR] * s.e[3] - t[TERM_ELR] * s.e[0] + t[TERM_ESR] * t[TERM_ELR] * d;
        return m2_of(t[TERM_EDF] + t[TERM_ERF] * (s.e[0] - t[TERM_ELF] * d) / d1, t[TERM_EXR] + t[TERM_ETR] * s.e[1] / d2,
                     t[TERM_EXF] + t[TERM_ETF] * s.e[2] / d1, t[TERM_EDR] + t[TERM_ERR] * (s.e[3] - t[TERM_ELR] * d) / d2);
}

enum code rf_embed2(const struct terms *terms, const struct net2 *s, const struct switch_terms *or_null, struct net2 *raw,
                    struct tp_error *err)
{
        enum code code = axes_check("the network", s->axis, terms->axis, err);
        if (code)
                return code;
        if (terms->model != TERMS_EIGHT && terms->model != TERMS_TWELVE && terms->model != TERMS_SIXTEEN)
                return tp_fail(err, CODE_BAD_INPUT, "only two-port terms can embed a two-port");
        for (size_t i = 0; i < s->axis->n; i++)
                net2_put(raw, i, rf_embed2_point(terms, i, net2_get(s, i)));
        raw->plane = PLANE_RECEIVER;
        return or_null && terms->model != TERMS_TWELVE ? rf_switch_insert(or_null, raw, raw, err) : CODE_OK;
}

enum code rf_shift_planes(struct net2 *net, const double *gamma_re, const double *gamma_im, double d1_m, double d2_m, struct tp_error *err)
{
        if (!(fabs(d1_m) < 1 && fabs(d2_m) < 1))
                return tp_fail(err, CODE_BAD_INPUT, "a plane shift of %.6g and %.6g m is no on-wafer length", d1_m, d2_m);
        for (size_t i = 0; i < net->axis->n; i++) {
                double complex g = CMPLX(gamma_re[i], gamma_im[i]), e1 = cexp(g * d1_m), e2 = cexp(g * d2_m);
                struct m2 s = net2_get(net, i);
                net2_put(net, i, m2_of(s.e[0] * e1 * e1, s.e[1] * e1 * e2, s.e[2] * e1 * e2, s.e[3] * e2 * e2));
        }
        return CODE_OK;
}
