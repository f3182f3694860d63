/* standards.c: reflections of calibration standards from their definitions (standards.h). */
#include "rf/standards.h"
#include "rf/convert.h"
#include <math.h>

/* A polynomial in f (not w): the trade's convention. */
static double poly(const double c[4], double hz) { return c[0] + hz * (c[1] + hz * (c[2] + hz * c[3])); }

/* gamma*length and Zc of the offset: the loss brings its internal inductance with it. */
static double complex offset_line(const struct standard_definition *def, double hz, double complex *ret_gl)
{
        double z_off = def->offset_z_ohm > 0 ? def->offset_z_ohm : 50;
        double skin = def->offset_loss_ohm_s * sqrt(hz / 1e9);
        double al = def->offset_delay_s * skin / (2 * z_off);
        *ret_gl = CMPLX(al, RF_TWO_PI * hz * def->offset_delay_s + al);
        return z_off + CMPLX(1, -1) * (skin / (2 * RF_TWO_PI * hz));
}

double complex rf_standard_reflection(const struct standard_definition *def, double t_c, double hz)
{
        double w = RF_TWO_PI * hz;
        double complex gamma; /* of the bare end in 50 ohm: finite for open and short alike, where Z and Y are not */
        switch (def->kind) {
        case RF_OPEN: {
                double complex y = CMPLX(0, 50 * w * poly(def->c_f, hz));
                gamma = (1 - y) / (1 + y);
                break;
        }
        case RF_SHORT: {
                double complex z = CMPLX(0, w * poly(def->l_h, hz) / 50);
                gamma = (z - 1) / (z + 1);
                break;
        }
        case RF_LOAD: {
                double complex z = CMPLX(def->r_ohm * (1 + def->r_per_k * (t_c - def->t_ref_c)), w * def->l_h[0]) / 50;
                gamma = (z - 1) / (z + 1);
                break;
        }
        case RF_STANDARD_UNKNOWN:
        case RF_THRU:
        case RF_LINE:
        case RF_REFLECT:
        case RF_STANDARD_COUNT:
        default:
                return CMPLX(NAN, NAN);
        }
        if (def->offset_delay_s == 0)
                return gamma;
        double complex gl, zc = offset_line(def, hz, &gl);
        gamma = rf_renormalise_reflection(gamma, 50, zc) * cexp(-2 * gl);
        return rf_renormalise_reflection(gamma, zc, 50);
}

struct m2 rf_line(double complex gamma_m, double complex zc_ohm, double length_m, double complex z_ref)
{
        double complex e = cexp(-gamma_m * length_m);
        return rf_renormalise_equal(m2_of(0, e, e, 0), zc_ohm, z_ref);
}

struct m2 rf_standard_thru(const struct standard_definition *def, double hz)
{
        double complex gl, zc = offset_line(def, hz, &gl);
        return rf_line(gl, zc, 1, 50);
}

enum code rf_standard_ideal(const struct standard_definition *port1, const struct standard_definition *port2, double t_c, struct net2 *ret,
                            struct tp_error *err)
{
        if (ret->axis->hz[0] <= 0)
                return tp_fail(err, CODE_BAD_INPUT, "a standard's definition needs frequencies above 0; the list begins at %.9g Hz",
                               ret->axis->hz[0]);
        bool two_port = port1->kind == RF_THRU || port1->kind == RF_LINE;
        if (!two_port && port1->kind != RF_OPEN && port1->kind != RF_SHORT && port1->kind != RF_LOAD)
                return tp_fail(err, CODE_BAD_INPUT, "a standard of kind %d has no definition; use open, short, load, thru or line",
                               (int)port1->kind);
        for (size_t i = 0; i < ret->axis->n; i++) {
                double hz = ret->axis->hz[i];
                if (two_port)
                        net2_put(ret, i, rf_standard_thru(port1, hz));
                else
                        net2_put(ret, i,
                                 m2_diag(rf_standard_reflection(port1, t_c, hz), rf_standard_reflection(port2 ? port2 : port1, t_c, hz)));
        }
        net2_set_z(ret, 50, 0);
        ret->plane = PLANE_TIP;
        return CODE_OK;
}
