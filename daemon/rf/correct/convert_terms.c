/* convert_terms.c: eight, twelve and sixteen terms into each other (convert_terms.h).
 * Sources     eight and twelve: Marks, 50th ARFTG, 1997, 115.  Eight as the diagonal case of sixteen: by comparison of
 *             M = (T1 S + T2)(T3 S + T4)^{-1} with T_M = T_X T_D T_Y (own derivation, checked by tests/reference/rf_convert_terms.c). */
#include "rf/correct/convert_terms.h"
#include "rf/correct/correct_full.h"
#include "rf/correct/terms.h"
#include <math.h>
#include <string.h>

static void get(const struct terms *terms, size_t i, double complex t[TERM_COUNT])
{
        for (int k = 0; k < TERM_COUNT; k++)
                t[k] = CMPLX(terms->re[k][i], terms->im[k][i]);
}

static enum code begin(const struct terms *in, enum terms_model wanted, struct terms *out, enum terms_model model, struct tp_error *err)
{
        if (in->model != wanted)
                return tp_fail(err, CODE_BAD_INPUT, "these are %s terms (%s); this conversion starts from %s", terms_model_words[in->model],
                               in->method, terms_model_words[wanted]);
        if (!axis_equal(in->axis, out->axis) || in->re[0] == out->re[0])
                return tp_fail(err, CODE_BUG, "conversion of error terms: in and out must be two sets on one axis");
        size_t bytes = in->axis->n * sizeof(double);
        memcpy(out->z_re, in->z_re, bytes);
        memcpy(out->z_im, in->z_im, bytes);
        for (int k = 0; k < FULL_COUNT; k++)
                for (size_t i = 0; i < in->axis->n; i++)
                        out->full_re[k][i] = out->full_im[k][i] = NAN;
        out->method = in->method;
        out->plane = in->plane;
        out->model = model;
        return CODE_OK;
}

static void derive(double complex t[TERM_COUNT])
{
        t[TERM_ELF] = t[TERM_ESR];
        t[TERM_ETF] = t[TERM_K] * t[TERM_ERR];
        t[TERM_ELR] = t[TERM_ESF];
        t[TERM_ETR] = t[TERM_ERF] / t[TERM_K];
        t[TERM_EXF] = t[TERM_EXR] = 0;
}

/* NaN goes in and comes out; numbers that become something else are refused. */
static bool broke(const double complex in[TERM_COUNT], const double complex *out, size_t n)
{
        for (size_t k = 0; k < TERM_COUNT; k++)
                if (isnan(creal(in[k])) || isnan(cimag(in[k])))
                        return false;
        for (size_t k = 0; k < n; k++)
                if (!isfinite(creal(out[k])) || !isfinite(cimag(out[k])))
                        return true;
        return false;
}

/* One point of it, in place: the twelve-term columns from EDF … K and the switch terms, forward and reverse. */
static void terms_switch_in(double complex t[TERM_COUNT], double complex gf, double complex gr)
{
        double complex df = 1 - t[TERM_EDR] * gf, dr = 1 - t[TERM_EDF] * gr;
        t[TERM_ELF] = t[TERM_ESR] + t[TERM_ERR] * gf / df;
        t[TERM_ETF] = t[TERM_K] * t[TERM_ERR] / df;
        t[TERM_ELR] = t[TERM_ESF] + t[TERM_ERF] * gr / dr;
        t[TERM_ETR] = t[TERM_ERF] / t[TERM_K] / dr;
        t[TERM_EXF] = t[TERM_EXR] = 0;
}

enum code rf_terms_twelve_from_eight(const struct terms *eight, const struct switch_terms *sw, struct terms *out, struct tp_error *err)
{
        enum code code = begin(eight, TERMS_EIGHT, out, TERMS_TWELVE, err);
        if (code)
                return code;
        if (sw && !axis_equal(sw->axis, eight->axis))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the switch terms have %zu frequencies, the calibration %zu; both must have the same list", sw->axis->n,
                               eight->axis->n);
        if (eight->switch_removed && !sw)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "the calibration (%s) was solved with switch terms removed; twelve terms hold them inside: give the switch terms",
                        eight->method);
        for (size_t i = 0; i < eight->axis->n; i++) {
                double complex in[TERM_COUNT], t[TERM_COUNT];
                double complex gf = sw ? CMPLX(sw->f_re[i], sw->f_im[i]) : 0, gr = sw ? CMPLX(sw->r_re[i], sw->r_im[i]) : 0;
                get(eight, i, in);
                memcpy(t, in, sizeof t);
                terms_switch_in(t, gf, gr);
                if (broke(in, t, TERM_COUNT))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "at %.9g Hz the eight terms have no twelve-term form (K %.3g%+.3gj, switch terms %.3g%+.3gj and "
                                       "%.3g%+.3gj); calibrate again",
                                       eight->axis->hz[i], creal(t[TERM_K]), cimag(t[TERM_K]), creal(gf), cimag(gf), creal(gr), cimag(gr));
                terms_put(out, i, t);
        }
        out->switch_removed = false;
        return CODE_OK;
}

enum code rf_terms_eight_from_twelve(const struct terms *twelve, struct terms *out, struct switch_terms *ret_sw, double *ret_k_disagreement,
                                     struct tp_error *err)
{
        enum code code = begin(twelve, TERMS_TWELVE, out, TERMS_EIGHT, err);
        if (code)
                return code;
        if (!axis_equal(ret_sw->axis, twelve->axis))
                return tp_fail(err, CODE_BUG, "conversion of error terms: the switch terms' axis is not the calibration's");
        for (size_t i = 0; i < twelve->axis->n; i++) {
                double complex t[TERM_COUNT], in[TERM_COUNT];
                get(twelve, i, in);
                memcpy(t, in, sizeof t);
                double isolation = fmax(cabs(t[TERM_EXF]), cabs(t[TERM_EXR]));
                if (isolation > 1e-12)
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "the twelve terms hold an isolation of %.3g at %.9g Hz, for which eight terms have no place; leave it "
                                "out, or solve sixteen terms",
                                isolation, twelve->axis->hz[i]);
                double complex lf = t[TERM_ELF] - t[TERM_ESR], lr = t[TERM_ELR] - t[TERM_ESF];
                double complex df = t[TERM_ERR] + t[TERM_EDR] * lf, dr = t[TERM_ERF] + t[TERM_EDF] * lr;
                double complex k1 = t[TERM_ETF] / df, k2 = dr / t[TERM_ETR], gf = lf / df, gr = lr / dr;
                t[TERM_K] = (k1 + k2) / 2;
                derive(t);
                double complex made[] = {t[TERM_K], t[TERM_ETR], gf, gr};
                in[TERM_K] = in[TERM_EXF] = in[TERM_EXR] = 0; /* may be missing */
                if (broke(in, made, 4))
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "at %.9g Hz the twelve terms have no eight-term form: a tracking is 0 (ETF %.3g, ETR %.3g); calibrate "
                                "again",
                                twelve->axis->hz[i], cabs(in[TERM_ETF]), cabs(in[TERM_ETR]));
                terms_put(out, i, t);
                ret_sw->f_re[i] = creal(gf);
                ret_sw->f_im[i] = cimag(gf);
                ret_sw->r_re[i] = creal(gr);
                ret_sw->r_im[i] = cimag(gr);
                if (ret_k_disagreement)
                        ret_k_disagreement[i] = cabs(k1 / k2 - 1);
        }
        out->switch_removed = true;
        return CODE_OK;
}

enum code rf_terms_sixteen_from_eight(const struct terms *eight, struct terms *out, struct tp_error *err)
{
        enum code code = begin(eight, TERMS_EIGHT, out, TERMS_SIXTEEN, err);
        if (code)
                return code;
        for (size_t i = 0; i < eight->axis->n; i++) {
                double complex t[TERM_COUNT];
                get(eight, i, t);
                double complex k = t[TERM_K], dx = t[TERM_EDF] * t[TERM_ESF] - t[TERM_ERF], dy = t[TERM_EDR] * t[TERM_ESR] - t[TERM_ERR];
                struct full f = {m2_diag(-dx, -k * dy), m2_diag(t[TERM_EDF], k * t[TERM_EDR]), m2_diag(-t[TERM_ESF], -k * t[TERM_ESR]),
                                 m2_diag(1, k)};
                full_put(out, i, &f);
                derive(t);
                terms_put(out, i, t);
        }
        out->switch_removed = eight->switch_removed;
        return CODE_OK;
}

enum code rf_terms_eight_from_sixteen(const struct terms *sixteen, struct terms *out, double *ret_leakage, struct tp_error *err)
{
        enum code code = begin(sixteen, TERMS_SIXTEEN, out, TERMS_EIGHT, err);
        if (code)
                return code;
        for (size_t i = 0; i < sixteen->axis->n; i++) {
                double complex t[TERM_COUNT];
                struct full f = full_get(sixteen, i);
                full_to_eight(&f, t, ret_leakage ? &ret_leakage[i] : NULL);
                terms_put(out, i, t);
        }
        out->switch_removed = sixteen->switch_removed;
        return CODE_OK;
}

enum code rf_terms_complete(struct terms *terms, struct tp_error *err)
{
        for (size_t i = 0; i < terms->axis->n; i++) {
                double complex t[TERM_COUNT];
                get(terms, i, t);
                switch (terms->model) {
                case TERMS_EIGHT:
                        derive(t);
                        break;
                case TERMS_TWELVE:
                        t[TERM_K] = t[TERM_ETF] / (t[TERM_ERR] + t[TERM_EDR] * (t[TERM_ELF] - t[TERM_ESR]));
                        break;
                case TERMS_SIXTEEN: {
                        struct full f = full_get(terms, i);
                        double complex scale = f.t4.e[0];
                        if (cabs(scale) == 0)
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "at %.9g Hz T4_11 is 0: the source of port 1 does not reach its tip; calibrate again",
                                               terms->axis->hz[i]);
                        if (scale != 1) {
                                f = (struct full){m2_scale(1 / scale, f.t1), m2_scale(1 / scale, f.t2), m2_scale(1 / scale, f.t3),
                                                  m2_scale(1 / scale, f.t4)};
                                f.t4.e[0] = 1;
                                full_put(terms, i, &f);
                        }
                        full_to_eight(&f, t, NULL);
                        break;
                }
                case TERMS_ONE_PORT:
                case TERMS_UNKNOWN:
                case TERMS_MODEL_COUNT:
                        continue;
                }
                terms_put(terms, i, t);
        }
        return CODE_OK;
}
