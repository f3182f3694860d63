/* correct.c: raw ratios to corrected S and back (correct.h).
 * Problem     A wafer is some hundred thousand points for each evaluation; correction must run at the speed of memory.
 * Idea        The loops are in correct_kernel.c; here is what must agree before they may run.
 * Rejected    T-matrix products per point (three inversions, S21 = 0 forbidden); storing reciprocal trackings with the terms (more bytes than they save,
 *             and one more thing to keep true); twelve terms made ready for many sweeps, a quarter faster: a sweep is corrected once.
 */
#include "rf/correct/correct.h"
#include "rf/network/convert.h"
#include "rf/correct/correct_full.h"
#include "rf/correct/correct_kernel.h"
#include "rf/numbers/cx.h"
#include <math.h>
#include <string.h>

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
        kernels_best()->unterminate(raw->axis->n, raw, sw, out);
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

struct m2 rf_switch_remove_point(struct m2 m, double complex forward, double complex reverse)
{
        return kernels_best()->point_unterminate(m, forward, reverse);
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
        return e->model == TERMS_TWELVE ? kernels_best()->point12(e, i, raw) : kernels_best()->point8(e, i, raw);
}

static enum code correct_check(const struct terms *terms, const struct net2 *raw, const struct net2 *out, struct tp_error *err)
{
        enum code code = axes_check("the sweep", raw->axis, terms->axis, err);
        if (code)
                return code;
        if (!axis_equal(out->axis, terms->axis))
                return tp_fail(err, CODE_BUG, "correction: the result's axis is not the sweep's");
        if (raw->plane != PLANE_RECEIVER)
                return tp_fail(err, CODE_BAD_INPUT, "only raw data can be corrected; this network lies in plane %s",
                               plane_words[raw->plane]);
        return CODE_OK;
}

static enum code correct_check_switch(const struct terms *terms, const struct switch_terms *or_null, struct tp_error *err)
{
        if (terms->switch_removed && !or_null)
                return tp_fail(err, CODE_BAD_INPUT,
                               "the calibration (%s) was solved with switch terms removed and the sweep comes without switch "
                               "terms; measure them, or recalibrate without",
                               terms->method);
        return or_null ? axes_check("the set of switch terms", or_null->axis, terms->axis, err) : CODE_OK;
}

static void correct_end(const struct terms *terms, bool same, struct net2 *out)
{
        if (!same) {
                memcpy(out->z_re, terms->z_re, terms->axis->n * sizeof(double));
                memcpy(out->z_im, terms->z_im, terms->axis->n * sizeof(double));
        }
        out->plane = terms->plane;
}

enum code rf_correct2(const struct terms *terms, const struct net2 *raw, const struct switch_terms *or_null, struct net2 *out,
                      struct tp_error *err)
{
        enum code code = correct_check(terms, raw, out, err);
        if (code)
                return code;
        size_t n = raw->axis->n;
        bool same = false; /* most results have their reference already, and to write a column costs twice what it costs to look at it */
        switch (terms->model) {
        case TERMS_TWELVE:
                kernels_best()->correct12(n, terms, raw, out, &same);
                break;
        case TERMS_EIGHT:
                if ((code = correct_check_switch(terms, or_null, err)))
                        return code;
                if (or_null)
                        kernels_best()->correct8_switch(n, terms, raw, or_null, out, &same);
                else
                        kernels_best()->correct8(n, terms, raw, out, &same);
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
        correct_end(terms, same, out);
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
                struct cx source = cx(e->re[s][i], e->im[s][i]), tracking = cx(e->re[t][i], e->im[t][i]);
                struct cx a = cx_sub(cx(raw_re[i], raw_im[i]), cx(e->re[d][i], e->im[d][i]));
                struct cx r = cx_mul(a, cx_inv(cx_add(tracking, cx_mul(source, a))));
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
