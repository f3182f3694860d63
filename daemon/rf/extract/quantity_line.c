/* quantity_line.c: one piece of line (quantity.h).
 * Idea        gl and Zc are analytic in S with the branch held (near); their derivatives are central differences along one direction each,
 *             and every number of a line is a short formula of the two.
 * Trap        Zc and what is made of it is noise where gl is near j n pi: B and C both vanish.  Such points are NaN. */
#include "rf/network/convert.h"
#include "rf/extract/quantity_own.h"
#include <math.h>

double complex rf_line_gl(struct m2 s, double z_ref, double complex near, double complex *ret_zc)
{
        struct m2 m = rf_abcd_from_s(s, z_ref);
        double complex a = (m.e[0] + m.e[3]) / 2, zc = csqrt(m.e[1] / m.e[2]);
        if (creal(zc) < 0)
                zc = -zc;
        double complex sinh_gl = zc * m.e[2], e = a + sinh_gl; /* sinh = Zc C: no difference of large numbers in a short line */
        if (near != 0 ? cabs(e - cexp(near)) > cabs(1 / e - cexp(near)) : cabs(e) < 1) {
                e = 1 / e; /* the growing wave */
                sinh_gl = -sinh_gl;
        }
        double complex gl = cabs(sinh_gl) < 0.3 && creal(a) > 0 ? casinh(sinh_gl) : clog(e);
        if (ret_zc)
                *ret_zc = zc;
        return gl + CMPLX(0, RF_TWO_PI * round((cimag(near) - cimag(gl)) / RF_TWO_PI));
}

double quantity_line(enum rf_quantity q, struct m2 s, const struct rf_at *at, double complex g[4])
{
        double complex zc, gl = rf_line_gl(s, at->z_ref, at->near, &zc), d_gl[4], d_zc[4], d[4];
        double w = RF_TWO_PI * at->hz, l = at->length_m;
        const double h = 1e-7;
        for (int e = 0; e < 4; e++) {
                struct m2 up = s, down = s;
                double complex zu, zd;
                up.e[e] += h;
                down.e[e] -= h;
                double complex near = gl; /* the branch of the middle */
                d_gl[e] = (rf_line_gl(up, at->z_ref, near, &zu) - rf_line_gl(down, at->z_ref, near, &zd)) / (2 * h);
                d_zc[e] = (zu - zd) / (2 * h);
        }
        if (!(l > 0))
                return NAN;
        bool by_zc = q == RF_Q_ZC || q == RF_Q_ZC_IM || (q >= RF_Q_R_LINE && q <= RF_Q_C_LINE);
        if (by_zc && cabs(gl) > 1 && cabs(csinh(gl)) < 0.3)
                return NAN;
        switch (q) {
        case RF_Q_EPS_EFF: {
                double k = RF_C0_M_S / (l * w);
                for (int e = 0; e < 4; e++)
                        d[e] = 2 * gl * d_gl[e];
                return take_re(gl * gl, d, -k * k, g);
        }
        case RF_Q_LOSS:
                return take_re(gl, d_gl, RF_DB_PER_NEPER / l / 1000, g);
        case RF_Q_ALPHA:
                return take_re(gl, d_gl, 1 / l, g);
        case RF_Q_BETA:
                return take_im(gl, d_gl, 1 / l, g);
        case RF_Q_DELAY:
                return take_im(gl, d_gl, 1 / w, g);
        case RF_Q_ZC:
                return take_re(zc, d_zc, 1, g);
        case RF_Q_ZC_IM:
                return take_im(zc, d_zc, 1, g);
        case RF_Q_R_LINE:
        case RF_Q_L_LINE:
                for (int e = 0; e < 4; e++)
                        d[e] = zc * d_gl[e] + gl * d_zc[e];
                return q == RF_Q_R_LINE ? take_re(gl * zc, d, 1 / l, g) : take_im(gl * zc, d, 1 / (l * w), g);
        case RF_Q_G_LINE:
        case RF_Q_C_LINE:
                for (int e = 0; e < 4; e++)
                        d[e] = d_gl[e] / zc - gl * d_zc[e] / (zc * zc);
                return q == RF_Q_G_LINE ? take_re(gl / zc, d, 1 / l, g) : take_im(gl / zc, d, 1 / (l * w), g);
        default: /* group delay needs neighbours */
                return NAN;
        }
}
