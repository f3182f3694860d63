/* deembed_halves.c: fixtures as two halves (deembed.h): the lumped halves of a thru, the shunt pads of L-2L, the mirrored halves of a
 * 2x-thru.
 * Model       A thru is two complex numbers when it is symmetric, a half three: every method that has only a thru believes in a shape. Here
 *             each port keeps its own outer element, and what lies between them is split in two equal parts.
 * 2x-thru     S11 = e11 + e12^2 e22/(1 - e22^2), S21 = e12^2/(1 - e22^2), so e22 = (S11 - e11)/S21 and e12^2 = S21 (1 - e22^2).  With
 * equal, mirrored boxes M = e11 + e12^2 S (1 - e22 S)^-1, so S = N (1 + e22 N)^-1 with N = (M - e11)/e12^2: a device that does not transmit
 * is as good as any other, and the sign of e12 does not matter (own derivation, checked by tests/reference/deembed.csv).
 */
#include "rf/deembed/deembed_own.h"
#include "rf/network/convert.h"
#include <math.h>

bool deembed_parts(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], double z_ref, struct half_parts *ret)
{
        if (method == RF_DEEMBED_L_2L) {
                double complex c = rf_abcd_from_s(rf_l2l_pads(s[RF_DUMMY_LINE], s[RF_DUMMY_LINE_DOUBLE]), z_ref).e[2];
                *ret = (struct half_parts){.y = {c / 2, c / 2}};
                return true;
        }
        if (method != RF_DEEMBED_THRU_PI && method != RF_DEEMBED_THRU_TEE)
                return false;
        /* pi: A = 1 + Z y2, B = Z, D = 1 + Z y1; tee: A = 1 + z1 Y, C = Y, D = 1 + z2 Y */
        struct m2 m = rf_abcd_from_s(s[RF_DUMMY_THRU], z_ref);
        if (method == RF_DEEMBED_THRU_PI)
                *ret = (struct half_parts){.y = {(m.e[3] - 1) / m.e[1], (m.e[0] - 1) / m.e[1]}, .z = {m.e[1] / 2, m.e[1] / 2}};
        else
                *ret = (struct half_parts){.y = {m.e[2] / 2, m.e[2] / 2}, .z = {(m.e[0] - 1) / m.e[2], (m.e[3] - 1) / m.e[2]}};
        return true;
}

struct m2 deembed_halves_y(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], double z_ref)
{
        struct half_parts p;
        struct m2 m = rf_y_from_s(s[RF_DUMMY_DEVICE], z_ref);
        if (!deembed_parts(method, s, z_ref, &p))
                return m2_of(NAN, NAN, NAN, NAN);
        struct m2 y = m2_diag(p.y[0], p.y[1]), z = m2_diag(p.z[0], p.z[1]);
        return method == RF_DEEMBED_THRU_TEE ? m2_sub(deembed_peel(m, z), y) : deembed_peel(m2_sub(m, y), z);
}

struct m2 deembed_two_x_thru(const struct m2 s[RF_DUMMY_COUNT])
{
        struct m2 t = s[RF_DUMMY_TWO_X_THRU];
        double complex e11 = s[RF_DUMMY_HALF].e[0], s11 = (t.e[0] + t.e[3]) / 2, s21 = (t.e[1] + t.e[2]) / 2;
        double complex e22 = (s11 - e11) / s21, e12_2 = s21 * (1 - e22 * e22);
        struct m2 n = m2_scale(1 / e12_2, m2_sub(s[RF_DUMMY_DEVICE], m2_diag(e11, e11)));
        return m2_mul(n, m2_inv(m2_add(m2_one(), m2_scale(e22, n))));
}

struct m2 rf_deembed_half_point(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], double z_ref, double complex near)
{
        struct half_parts p;
        if (method == RF_DEEMBED_TWO_X_THRU) {
                struct m2 t = s[RF_DUMMY_TWO_X_THRU];
                double complex e11 = s[RF_DUMMY_HALF].e[0], s11 = (t.e[0] + t.e[3]) / 2, s21 = (t.e[1] + t.e[2]) / 2;
                double complex e22 = (s11 - e11) / s21, e12 = csqrt(s21 * (1 - e22 * e22));
                if (creal(e12 * conj(near)) < 0)
                        e12 = -e12;
                return m2_of(e11, e12, e12, e22);
        }
        if (!deembed_parts(method, s, z_ref, &p))
                return m2_of(NAN, NAN, NAN, NAN);
        struct m2 shunt = m2_of(1, 0, p.y[0], 1), series = m2_of(1, p.z[0], 0, 1);
        return rf_s_from_abcd(method == RF_DEEMBED_THRU_TEE ? m2_mul(series, shunt) : m2_mul(shunt, series), z_ref);
}

enum code rf_two_x_thru_half(const struct net2 *two, const struct net2 *half, struct net2 *ret, struct arena *scratch, struct tp_error *err)
{
        size_t n = two->axis->n;
        double z = net2_z_real(two), *gate = NULL;
        if (!(z > 0))
                return tp_fail(err, CODE_BAD_INPUT, "halving a 2x-thru needs one real reference impedance; renormalise it first");
        if (!axis_equal(ret->axis, two->axis) || (half && !axis_equal(half->axis, two->axis)))
                return tp_fail(err, CODE_BAD_INPUT, "the known half and the 2x-thru lie on different frequencies; bring both to one axis");
        if (!half) {
                gate = scratch ? arena_take(scratch, 2 * n * sizeof *gate) : NULL;
                if (!gate)
                        return tp_fail_memory(err);
                enum code code = rf_gate_half(two, 0, scratch, gate, gate + n, err);
                if (code)
                        return code;
        }
        double complex near = 1, before = 0;
        for (size_t i = 0; i < n; i++) {
                struct m2 s[RF_DUMMY_COUNT] = {[RF_DUMMY_TWO_X_THRU] = net2_get(two, i)};
                s[RF_DUMMY_HALF].e[0] = half ? CMPLX(half->re[0][i], half->im[0][i]) : CMPLX(gate[i], gate[n + i]);
                double complex s21 = (s[RF_DUMMY_TWO_X_THRU].e[1] + s[RF_DUMMY_TWO_X_THRU].e[2]) / 2;
                if (!(cabs(s21) > 1e-12))
                        return tp_fail(err, CODE_UNRESOLVABLE, "the 2x-thru does not transmit at %.9g Hz; measure it again",
                                       two->axis->hz[i]);
                if (i > 0 && !(creal(s21 * conj(before)) > 0))
                        return tp_fail(
                                err, CODE_UNRESOLVABLE,
                                "the phase of the 2x-thru's S21 steps by more than 90 degrees before %.9g Hz, so the sign of its half "
                                "cannot be followed; use a denser sweep",
                                two->axis->hz[i]);
                struct m2 m = rf_deembed_half_point(RF_DEEMBED_TWO_X_THRU, s, z, near);
                net2_put(ret, i, m);
                near = m.e[2];
                before = s21;
        }
        net2_set_z(ret, z, 0);
        ret->plane = two->plane;
        return CODE_OK;
}
