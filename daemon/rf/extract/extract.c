/* extract.c: numbers of a device from its S (extract.h).
 * Idea        Every quantity is a short formula of one complex impedance Z(S); its gradient is the analytic dZ/dS times one factor, so the
 *             uncertainty of each comes out of the same few lines as its value.
 * Sources     dZ = (I - S)^{-1} dS (Z + z I) follows from Z = z (I - S)^{-1}(I + S); dY = -Y dZ Y.
 * Trap        the differential impedance from Z loses seven digits at 70 kHz (Z of a nearly floating device is huge), from Y four, and a
 *             device with nothing at all to ground has neither.  From mixed modes with the common one open, G = Sdd + Sdc Scd/(1 - Scc):
 *             what couples the modes is there a product of two small numbers, and 1 - Scc only divides that.
 */
#include "rf/extract/extract.h"
#include "rf/network/convert.h"
#include "rf/numbers/small.h"
#include <math.h>

const char *const view_words[VIEW_COUNT + 1] = {"unknown", "single", "series", "differential", NULL};
const char *const element_words[ELEMENT_COUNT + 1] = {"unknown", "L", "C", "R", "Q", "Q_C", NULL};

/* Y' = -(2/z) (I + S)^{-1} dS (I + S)^{-1}: from (I + S) Y z = I - S.  Needs no Z. */
struct m2 rf_y_change(struct m2 s, struct m2 d_s, double z_ref)
{
        struct m2 p = m2_inv(m2_add(m2_one(), s));
        return m2_scale(-2 / z_ref, m2_mul(p, m2_mul(d_s, p)));
}

/* Z of a view and dZ/dY (4). */
static double complex view_of_y(enum view view, struct m2 y, double complex d_dy[4])
{
        for (int k = 0; k < 4; k++)
                d_dy[k] = 0;
        switch (view) {
        case VIEW_SINGLE:
                d_dy[0] = -1 / (y.e[0] * y.e[0]);
                return 1 / y.e[0];
        case VIEW_SERIES: {
                double complex m = y.e[1] + y.e[2];
                d_dy[1] = d_dy[2] = 2 / (m * m);
                return -2 / m;
        }
        case VIEW_DIFFERENTIAL: /* differential() */
        case VIEW_UNKNOWN:
        case VIEW_COUNT:
                break;
        }
        return CMPLX(NAN, NAN);
}

/* Chain rule from Y to S: sum_ij g_ij dY_ij with dY = -(2/z) P dS P gives gradient_kl = -(2/z) sum_ij g_ij P_ik P_lj. */
static void gradient_to_s(const double complex d_dy[4], struct m2 s, double z_ref, double complex ret[4])
{
        struct m2 p = m2_inv(m2_add(m2_one(), s)), g = m2_of(d_dy[0], d_dy[1], d_dy[2], d_dy[3]), pt = m2_transpose(p);
        struct m2 r = m2_scale(-2 / z_ref, m2_mul(pt, m2_mul(g, pt)));
        for (int k = 0; k < 4; k++)
                ret[k] = r.e[k];
}

/* Z between the ports, floating, and dZ/dS. */
static double complex differential(struct m2 s, double z_ref, double complex ret_d_ds[4])
{
        static const double dd[4] = {1, -1, -1, 1}, dc[4] = {1, 1, -1, -1}, cd[4] = {1, -1, 1, -1};
        double complex sdc = ((s.e[0] - s.e[3]) + (s.e[1] - s.e[2])) / 2, scd = ((s.e[0] - s.e[3]) - (s.e[1] - s.e[2])) / 2;
        double complex sdd = ((s.e[0] + s.e[3]) - (s.e[1] + s.e[2])) / 2, grounded = ((1 - s.e[0] - s.e[1]) + (1 - s.e[3] - s.e[2])) / 2;
        double complex by_cd = 0, by_dc = 0; /* of a device with nothing to ground, alike at both ends */
        if (sdc != 0 || scd != 0) {
                by_cd = sdc / grounded;
                by_dc = scd / grounded;
        }
        double complex gamma = sdd + sdc * by_dc, one = 1 - gamma;
        for (int k = 0; k < 4 && ret_d_ds; k++)
                ret_d_ds[k] = 4 * z_ref / (one * one) * (dd[k] + by_dc * dc[k] + by_cd * cd[k] + by_cd * by_dc) / 2;
        return 2 * z_ref * (1 + gamma) / one;
}

double complex rf_view_z(enum view view, struct m2 s, double z_ref, double complex ret_d_ds[4])
{
        double complex d_dy[4];
        if (view == VIEW_DIFFERENTIAL)
                return differential(s, z_ref, ret_d_ds);
        double complex z = view_of_y(view, rf_y_from_s(s, z_ref), d_dy);
        if (ret_d_ds)
                gradient_to_s(d_dy, s, z_ref, ret_d_ds);
        return z;
}

double rf_element(enum view view, enum element element, struct m2 s, double z_ref, double hz, double complex ret_grad[4])
{
        double complex z = rf_view_z(view, s, z_ref, ret_grad), factor = 0; /* d(value) = Re(factor dZ) */
        double value = NAN, w = RF_TWO_PI * hz, r = creal(z), x = cimag(z);
        switch (element) {
        case ELEMENT_L_H:
                value = x / w;
                factor = CMPLX(0, -1 / w);
                break;
        case ELEMENT_C_F:
                if (view == VIEW_SINGLE) { /* parallel: what a capacitance meter would say */
                        value = cimag(1 / z) / w;
                        factor = CMPLX(0, 1 / w) / (z * z); /* dY = -dZ/Z^2 */
                } else {
                        value = -1 / (w * x);
                        factor = CMPLX(0, -1 / (w * x * x));
                }
                break;
        case ELEMENT_R_OHM:
                value = r;
                factor = 1;
                break;
        case ELEMENT_Q:
        case ELEMENT_Q_C: {
                double sign = element == ELEMENT_Q ? 1 : -1;
                value = sign * x / r;
                factor = sign * CMPLX(-x / (r * r), -1 / r);
                break;
        }
        case ELEMENT_UNKNOWN:
        case ELEMENT_COUNT:
                break;
        }
        if (!isfinite(value))
                value = NAN;
        for (int k = 0; k < 4 && ret_grad; k++)
                ret_grad[k] *= factor;
        return value;
}

enum code rf_interpolation(const struct axis *axis, double hz, size_t *ret_first, size_t *ret_n, double w[5], struct tp_error *err)
{
        double first_hz = axis->hz[0], last_hz = axis->hz[axis->n - 1];
        if (!(hz >= first_hz * (1 - 1e-12) && hz <= last_hz * (1 + 1e-12)))
                return tp_fail(err, CODE_UNRESOLVABLE, "%.9g Hz lies outside the sweep, which goes from %.9g to %.9g Hz", hz, first_hz,
                               last_hz);
        size_t near = axis_nearest(axis, hz), m = axis->n < 5 ? axis->n : 5;
        if (fabs(axis->hz[near] - hz) <= 1e-12 * hz) {
                *ret_first = near;
                *ret_n = 1;
                w[0] = 1;
                return CODE_OK;
        }
        size_t first = near > m / 2 ? near - m / 2 : 0;
        if (first + m > axis->n)
                first = axis->n - m;
        const double *f = axis->hz + first;
        bool in_log = f[0] > 0 && f[m - 1] > 2 * f[0];
        size_t terms = m < 3 ? m : 3;
        double x[5], scale = 0;
        for (size_t j = 0; j < m; j++) {
                x[j] = in_log ? log(f[j] / hz) : f[j] - hz;
                scale = fmax(scale, fabs(x[j]));
        }
        /* The fitted value at x = 0 is linear in the data: w = A (A^T A)^{-1} e0, with A = [1 x x^2] scaled to 1. */
        double complex a[9], b[3] = {1, 0, 0}, c[3];
        for (size_t p = 0; p < terms; p++)
                for (size_t q = 0; q < terms; q++) {
                        double sum = 0;
                        for (size_t j = 0; j < m; j++)
                                sum += pow(x[j] / scale, (double)(p + q));
                        a[p * terms + q] = sum;
                }
        if (!small_solve(terms, a, b, c))
                return tp_fail(err, CODE_UNRESOLVABLE, "no interpolation to %.9g Hz: the points around it coincide", hz);
        for (size_t j = 0; j < m; j++) {
                w[j] = 0;
                for (size_t p = 0; p < terms; p++)
                        w[j] += creal(c[p]) * pow(x[j] / scale, (double)p);
        }
        *ret_first = first;
        *ret_n = m;
        return CODE_OK;
}

static enum code real_z(const struct net2 *net, double *ret_z, struct tp_error *err)
{
        *ret_z = net2_z_real(net);
        if (*ret_z > 0)
                return CODE_OK;
        return tp_fail(err, CODE_BAD_INPUT,
                       "extraction needs one real reference impedance; this network's is complex, unknown or changes over frequency; "
                       "renormalise it first");
}

#define LEAST_DET 1e-6 /* of 1 + S: Y above it keeps ten digits of S */

enum code rf_interpolate(const struct net2 *net, double hz, struct m2 *ret_s, struct tp_error *err)
{
        size_t first, m;
        double w[5], z;
        enum code code = real_z(net, &z, err);
        if (!code)
                code = rf_interpolation(net->axis, hz, &first, &m, w, err);
        if (code)
                return code;
        if (m == 1) {
                *ret_s = net2_get(net, first);
                return CODE_OK;
        }
        struct m2 y = m2_of(0, 0, 0, 0), s = y;
        bool has_y = true; /* a thru has none: then S itself, which is smooth there */
        for (size_t j = 0; j < m; j++) {
                struct m2 one = net2_get(net, first + j);
                has_y = has_y && cabs(m2_det(m2_add(m2_one(), one))) > LEAST_DET;
                y = m2_add(y, m2_scale(w[j], rf_y_from_s(one, z)));
                s = m2_add(s, m2_scale(w[j], one));
        }
        *ret_s = has_y ? rf_s_from_y(y, z) : s;
        return CODE_OK;
}

enum code rf_self_resonance(const struct net2 *net, enum view view, bool capacitor, bool *ret_found, double *ret_hz, struct tp_error *err)
{
        double z_ref, q_best = -1, sign = capacitor ? -1 : 1;
        enum code code = real_z(net, &z_ref, err);
        if (code)
                return code;
        size_t n = net->axis->n, start = 0;
        *ret_found = false;
        *ret_hz = NAN;
        for (size_t i = 0; i < n; i++) { /* from the frequency of largest Q of the right kind */
                double q = sign * rf_element(view, ELEMENT_Q, net2_get(net, i), z_ref, 1, NULL);
                if (q > q_best) {
                        q_best = q;
                        start = i;
                }
        }
        if (q_best <= 0)
                return CODE_OK;
        double before = 0;
        for (size_t i = start; i < n; i++) {
                double complex z = rf_view_z(view, net2_get(net, i), z_ref, NULL);
                /* an inductor ends in a parallel resonance, where Y is smooth and Z has a pole; a capacitor in a series one: the other way
                 * round */
                double now = capacitor ? cimag(z) : cimag(1 / z);
                if (i > start && (before <= 0) != (now <= 0)) {
                        double f0 = net->axis->hz[i - 1], f1 = net->axis->hz[i];
                        *ret_hz = f0 + (f1 - f0) * before / (before - now);
                        *ret_found = true;
                        return CODE_OK;
                }
                before = now;
        }
        return CODE_OK;
}

enum code rf_line_extract(const struct net2 *net, double length_m, double *gamma_re, double *gamma_im, double *zc_re, double *zc_im,
                          bool *valid, struct tp_error *err)
{
        double z_ref;
        enum code code = real_z(net, &z_ref, err);
        if (code)
                return code;
        if (!(length_m > 0 && length_m < 1))
                return tp_fail(err, CODE_BAD_INPUT, "a line of %.6g m is no on-wafer line; its length must lie between 0 and 1 m",
                               length_m);
        double turns = 0, before = 0, before_hz = 0;
        for (size_t i = 0; i < net->axis->n; i++) {
                struct m2 abcd = rf_abcd_from_s(net2_get(net, i), z_ref);
                double complex a = (abcd.e[0] + abcd.e[3]) / 2, zc = csqrt(abcd.e[1] / abcd.e[2]);
                if (creal(zc) < 0)
                        zc = -zc;
                double complex e = a + zc * abcd.e[2], gl;
                if (cabs(e) < 1) /* with Re Zc > 0 this is the growing wave; only noise turns it round */
                        e = 1 / e;
                gl = clog(e);
                /* Continuity: the phase of a line grows about in proportion to f. */
                double want = before_hz > 0 ? before * net->axis->hz[i] / before_hz : 0;
                turns = round((want - cimag(gl)) / RF_TWO_PI);
                gl += CMPLX(0, RF_TWO_PI * turns);
                before = cimag(gl);
                before_hz = net->axis->hz[i];
                gamma_re[i] = creal(gl) / length_m;
                gamma_im[i] = cimag(gl) / length_m;
                zc_re[i] = creal(zc);
                zc_im[i] = cimag(zc);
                if (valid)
                        valid[i] = cabs(e - 1 / e) / 2 >= 0.3;
        }
        return CODE_OK;
}
