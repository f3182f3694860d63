/* deembed_lumped.c: pads and leads as lumped elements, one frequency (deembed.h).
 * Idea        Two steps make all of them: what goes to ground is subtracted from Y; what lies in series is peeled off a Y without inverting
 *             it, because the Z of a device that floats between its ports does not exist:  (Y^-1 - Z)^-1 = (1 - Y Z)^-1 Y.
 * Sources     open-short: Koolen, Geelen & Versleijen, IEEE BCTM 1991, 188.  Three steps: Cho & Burk, IEEE Trans. ED 38 (1991) 1371 (from
 *             memory; checked by tests/reference/deembed.csv).
 * Trap        the short must itself be opened first: subtracting its raw Z is the frequent error. */
#include "rf/deembed/deembed_own.h"
#include "rf/network/convert.h"
#include <math.h>

struct m2 deembed_peel(struct m2 y, struct m2 z) { return m2_mul(m2_inv(m2_sub(m2_one(), m2_mul(y, z))), y); }

static struct m2 three_step(const struct m2 s[RF_DUMMY_COUNT], double z_ref)
{
        struct m2 m = rf_y_from_s(s[RF_DUMMY_DEVICE], z_ref);
        struct m2 zl;
        double complex g1, g2, g3;
        deembed_three_step_parts(s, z_ref, &g1, &g2, &g3, &zl);
        return m2_sub(deembed_peel(m2_sub(m, m2_diag(g1, g2)), zl), m2_of(g3, -g3, -g3, g3));
}

void deembed_three_step_parts(const struct m2 s[RF_DUMMY_COUNT], double z_ref, double complex *g1, double complex *g2, double complex *g3,
                              struct m2 *ret_lead)
{
        struct m2 o = rf_y_from_s(s[RF_DUMMY_OPEN], z_ref), t = rf_y_from_s(s[RF_DUMMY_THRU], z_ref);
        struct m2 l = rf_y_from_s(s[RF_DUMMY_SHORT_LEFT], z_ref), r = rf_y_from_s(s[RF_DUMMY_SHORT_RIGHT], z_ref);
        double complex o12 = (o.e[1] + o.e[2]) / 2, t12 = (t.e[1] + t.e[2]) / 2;
        *g1 = o.e[0] + o12;
        *g2 = o.e[3] + o12;
        *g3 = t12 * o12 / (o12 - t12); /* 1/(1/Yt12 - 1/Yo12), where nothing couples too */
        double complex through = -1 / t12, a = 1 / (l.e[0] - *g1), b = 1 / (r.e[3] - *g2);
        double complex z1 = (through + a - b) / 2, z2 = (through - a + b) / 2, z3 = (a + b - through) / 2;
        *ret_lead = m2_of(z1 + z3, z3, z3, z2 + z3);
}

struct m2 rf_deembed_y_point(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], double z_ref)
{
        struct m2 m = rf_y_from_s(s[RF_DUMMY_DEVICE], z_ref);
        switch (method) {
        case RF_DEEMBED_OPEN:
                return m2_sub(m, rf_y_from_s(s[RF_DUMMY_OPEN], z_ref));
        case RF_DEEMBED_SHORT:
                return deembed_peel(m, rf_z50(s[RF_DUMMY_SHORT], z_ref));
        case RF_DEEMBED_OPEN_SHORT: {
                struct m2 o = rf_y_from_s(s[RF_DUMMY_OPEN], z_ref);
                return deembed_peel(m2_sub(m, o), m2_inv(m2_sub(rf_y_from_s(s[RF_DUMMY_SHORT], z_ref), o)));
        }
        case RF_DEEMBED_SHORT_OPEN: {
                struct m2 zs = rf_z50(s[RF_DUMMY_SHORT], z_ref);
                return m2_sub(deembed_peel(m, zs), deembed_peel(rf_y_from_s(s[RF_DUMMY_OPEN], z_ref), zs));
        }
        case RF_DEEMBED_PAD_OPEN_SHORT: {
                struct m2 p = rf_y_from_s(s[RF_DUMMY_PAD], z_ref), zs = m2_inv(m2_sub(rf_y_from_s(s[RF_DUMMY_SHORT], z_ref), p));
                return m2_sub(deembed_peel(m2_sub(m, p), zs), deembed_peel(m2_sub(rf_y_from_s(s[RF_DUMMY_OPEN], z_ref), p), zs));
        }
        case RF_DEEMBED_THREE_STEP:
                return three_step(s, z_ref);
        case RF_DEEMBED_THRU_PI:
        case RF_DEEMBED_THRU_TEE:
        case RF_DEEMBED_L_2L:
                return deembed_halves_y(method, s, z_ref);
        case RF_DEEMBED_TWO_X_THRU:
                return rf_y_from_s(deembed_two_x_thru(s), z_ref);
        case RF_DEEMBED_UNKNOWN:
        case RF_DEEMBED_COUNT:
                break;
        }
        return m2_of(NAN, NAN, NAN, NAN);
}

struct m2 rf_deembed_point(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], double z_ref)
{
        if (method == RF_DEEMBED_TWO_X_THRU) /* waves from end to end: Y need not exist */
                return deembed_two_x_thru(s);
        return rf_s_from_y(rf_deembed_y_point(method, s, z_ref), z_ref);
}

struct m2 rf_deembed_change(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], const struct m2 d_s[RF_DUMMY_COUNT],
                            double z_ref)
{
        double size = 0;
        for (int k = 0; k < RF_DUMMY_COUNT; k++)
                for (int j = 0; j < 4; j++)
                        size = fmax(size, cabs(d_s[k].e[j]));
        if (size == 0)
                return m2_of(0, 0, 0, 0);
        /* The map is analytic, so a central difference along the given direction is the derivative.  The step is small against the
           distance of the dummies from each other in S (at 70 kHz they differ by 1e-4), large against rounding. */
        double h = 1e-7 / size;
        struct m2 p[RF_DUMMY_COUNT], q[RF_DUMMY_COUNT];
        for (int k = 0; k < RF_DUMMY_COUNT; k++) {
                p[k] = m2_add(s[k], m2_scale(h, d_s[k]));
                q[k] = m2_sub(s[k], m2_scale(h, d_s[k]));
        }
        return m2_scale(1 / (2 * h), m2_sub(rf_deembed_point(method, p, z_ref), rf_deembed_point(method, q, z_ref)));
}
