/* deembed.c: dummies off the device (deembed.h).
 * Sources     open-short: Koolen, Geelen & Versleijen, IEEE BCTM 1991, 188.
 * Trap        the short must itself be opened first: subtracting its raw Z is the frequent error. */
#include "rf/deembed.h"
#include "rf/convert.h"
#include <math.h>

const char *const rf_deembed_words[RF_DEEMBED_COUNT + 1] = {"unknown", "open", "short", "open_short", "short_open", "pad_open_short", NULL};

struct m2 rf_deembed_point(enum deembed_method method, struct m2 measured, struct m2 open, struct m2 shorted, struct m2 pad, double z_ref)
{
        switch (method) {
        case RF_DEEMBED_OPEN:
                return rf_s_from_y(m2_sub(rf_y_from_s(measured, z_ref), rf_y_from_s(open, z_ref)), z_ref);
        case RF_DEEMBED_SHORT:
                return rf_s_from_z50(m2_sub(rf_z50(measured, z_ref), rf_z50(shorted, z_ref)), z_ref);
        case RF_DEEMBED_OPEN_SHORT: {
                /* (A^-1 - B^-1)^-1 = A (B - A)^-1 B: the same map, without the Z of a device that floats between its ports (A is singular then). */
                struct m2 yo = rf_y_from_s(open, z_ref), a = m2_sub(rf_y_from_s(measured, z_ref), yo), b = m2_sub(rf_y_from_s(shorted, z_ref), yo);
                return rf_s_from_y(m2_mul(a, m2_mul(m2_inv(m2_sub(b, a)), b)), z_ref);
        }
        case RF_DEEMBED_SHORT_OPEN: {
                struct m2 zs = rf_z50(shorted, z_ref);
                struct m2 ym = m2_inv(m2_sub(rf_z50(measured, z_ref), zs)), yo = m2_inv(m2_sub(rf_z50(open, z_ref), zs));
                return rf_s_from_y(m2_sub(ym, yo), z_ref);
        }
        case RF_DEEMBED_PAD_OPEN_SHORT: {
                struct m2 yp = rf_y_from_s(pad, z_ref);
                struct m2 zm = m2_inv(m2_sub(rf_y_from_s(measured, z_ref), yp)), zs = m2_inv(m2_sub(rf_y_from_s(shorted, z_ref), yp));
                struct m2 zo = m2_inv(m2_sub(rf_y_from_s(open, z_ref), yp));
                return rf_s_from_y(m2_sub(m2_inv(m2_sub(zm, zs)), m2_inv(m2_sub(zo, zs))), z_ref);
        }
        case RF_DEEMBED_UNKNOWN:
        case RF_DEEMBED_COUNT:
                break;
        }
        return m2_of(NAN, NAN, NAN, NAN);
}

struct m2 rf_deembed_change(enum deembed_method method, const struct m2 s[4], const struct m2 d_s[4], double z_ref)
{
        double size = 0;
        for (int k = 0; k < 4; k++)
                for (int j = 0; j < 4; j++)
                        size = fmax(size, cabs(d_s[k].e[j]));
        if (size == 0)
                return m2_of(0, 0, 0, 0);
        /* The map is analytic, so a central difference along the given direction is the derivative.  The step is small against the
           distance of the dummies from each other in S (at 70 kHz they differ by 1e-4), large against rounding. */
        double h = 1e-7 / size;
        struct m2 p[4], q[4];
        for (int k = 0; k < 4; k++) {
                p[k] = m2_add(s[k], m2_scale(h, d_s[k]));
                q[k] = m2_sub(s[k], m2_scale(h, d_s[k]));
        }
        return m2_scale(1 / (2 * h), m2_sub(rf_deembed_point(method, p[0], p[1], p[2], p[3], z_ref),
                                            rf_deembed_point(method, q[0], q[1], q[2], q[3], z_ref)));
}

static enum code dummy_check(const char *name, bool needed, const struct net2 *dummy, const struct net2 *measured,
                             enum deembed_method method, struct tp_error *err)
{
        if (!needed)
                return CODE_OK;
        if (!dummy)
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s de-embedding needs a %s dummy and there is none; measure it or choose another method",
                               rf_deembed_words[method], name);
        if (!axis_equal(dummy->axis, measured->axis))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the %s dummy has %zu frequencies from %.9g to %.9g Hz, the device %zu from %.9g to %.9g Hz; measure both "
                               "with one sweep plan",
                               name, dummy->axis->n, dummy->axis->hz[0], dummy->axis->hz[dummy->axis->n - 1], measured->axis->n,
                               measured->axis->hz[0], measured->axis->hz[measured->axis->n - 1]);
        if (dummy->plane != measured->plane)
                return tp_fail(err, CODE_BAD_INPUT,
                               "the %s dummy lies in plane %s, the device in plane %s; correct both with one calibration", name,
                               plane_words[dummy->plane], plane_words[measured->plane]);
        double z = net2_z_real(dummy);
        if (!(z == net2_z_real(measured)))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the %s dummy has reference %.9g ohm, the device %.9g ohm; bring both to one impedance first", name, z,
                               net2_z_real(measured));
        return CODE_OK;
}

enum code rf_deembed(enum deembed_method method, const struct net2 *measured, const struct dummies *dummies, struct net2 *out,
                     struct tp_error *err)
{
        static const bool needs[RF_DEEMBED_COUNT][3] = {/* open, short, pad */
                                                        [RF_DEEMBED_OPEN] = {true, false, false},
                                                        [RF_DEEMBED_SHORT] = {false, true, false},
                                                        [RF_DEEMBED_OPEN_SHORT] = {true, true, false},
                                                        [RF_DEEMBED_SHORT_OPEN] = {true, true, false},
                                                        [RF_DEEMBED_PAD_OPEN_SHORT] = {true, true, true}};
        if (method <= RF_DEEMBED_UNKNOWN || method >= RF_DEEMBED_COUNT)
                return tp_fail(err, CODE_BAD_INPUT, "de-embedding method %d is not known", (int)method);
        double z = net2_z_real(measured);
        if (!(z > 0))
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "de-embedding needs one real reference impedance; the device's is complex, unknown or changes over frequency");
        if (!axis_equal(out->axis, measured->axis))
                return tp_fail(err, CODE_BUG, "de-embedding: the result's axis is not the device's");
        enum code code = dummy_check("open", needs[method][0], dummies->open, measured, method, err);
        if (!code)
                code = dummy_check("short", needs[method][1], dummies->shorted, measured, method, err);
        if (!code)
                code = dummy_check("pad", needs[method][2], dummies->pad, measured, method, err);
        if (code)
                return code;
        struct m2 none = m2_of(0, 0, 0, 0);
        for (size_t i = 0; i < measured->axis->n; i++)
                net2_put(out, i,
                         rf_deembed_point(method, net2_get(measured, i), needs[method][0] ? net2_get(dummies->open, i) : none,
                                          needs[method][1] ? net2_get(dummies->shorted, i) : none,
                                          needs[method][2] ? net2_get(dummies->pad, i) : none, z));
        net2_set_z(out, z, 0);
        out->plane = PLANE_DEVICE;
        return CODE_OK;
}
