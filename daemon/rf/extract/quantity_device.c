/* quantity_device.c: elements of the intrinsic transistor from its Y, closed form at every frequency (quantity.h).
 * Sources     FET: Dambrine, Cappy, Heliodore & Playez, IEEE Trans. MTT 36 (1988) 1151; without its low-frequency approximations: Berroth &
 *             Bosch, IEEE Trans. MTT 38 (1990) 891 (from memory; both checked by elements that come back, tests/unit/rf_transistor.c).
 *             HBT: the hybrid pi of every textbook; its base resistance is an extrinsic here (extrinsic.h).
 * FET         Y11 + Y12 is Cgs in series with Ri, -Y12 is Cgd in series with Rgd, Y22 + Y12 is gds parallel Cds, and
 *             Y21 - Y12 = gm exp(-jw tau)/(1 + jw Ri Cgs).  With z = 1/(Y11 + Y12) = Ri + jx the last factor is jx/z. */
#include "rf/extract/quantity_own.h"
#include <math.h>

/* z = 1/(sign (y_a + y_b)) and its derivative by Y; b < 0: one entry only. */
static double complex branch(struct m2 y, int a, int b, double sign, double complex dz[4])
{
        double complex z = sign / (y.e[a] + (b >= 0 ? y.e[b] : 0));
        for (int e = 0; e < 4; e++)
                dz[e] = e == a || e == b ? -sign * z * z : 0;
        return z;
}
static double series_c(double complex z, const double complex dz[4], double w, double complex g[4])
{
        double x = take_im(z, dz, 1, g);
        for (int e = 0; e < 4; e++)
                g[e] /= w * x * x;
        return -1 / (w * x);
}

double quantity_fet(enum rf_quantity q, struct m2 y, double w, double complex g[4])
{
        static const double complex out[4] = {0, 1, 0, 1};
        double complex dz[4], z;
        switch (q) {
        case RF_Q_FET_CGS:
                z = branch(y, 0, 1, 1, dz);
                return series_c(z, dz, w, g);
        case RF_Q_FET_RI:
                z = branch(y, 0, 1, 1, dz);
                return take_re(z, dz, 1, g);
        case RF_Q_FET_CGD:
                z = branch(y, 1, -1, -1, dz);
                return series_c(z, dz, w, g);
        case RF_Q_FET_RGD:
                z = branch(y, 1, -1, -1, dz);
                return take_re(z, dz, 1, g);
        case RF_Q_FET_GDS:
                return take_re(y.e[3] + y.e[1], out, 1, g);
        case RF_Q_FET_CDS:
                return take_im(y.e[3] + y.e[1], out, 1 / w, g);
        case RF_Q_FET_GM:
        case RF_Q_FET_TAU: {
                double complex p = y.e[2] - y.e[1], gx[4];
                z = branch(y, 0, 1, 1, dz);
                double x = take_im(z, dz, 1, gx), gm = cabs(p) * cabs(z) / fabs(x);
                double complex dp[4] = {0, -1 / p, 1 / p, 0};
                for (int e = 0; e < 4; e++) {
                        double complex log_change = dp[e] + dz[e] / z;
                        g[e] = q == RF_Q_FET_GM ? gm * (log_change - gx[e] / x) : CMPLX(0, 1) * log_change / w; /* -Im(c) = Re(jc) */
                }
                return q == RF_Q_FET_GM ? gm : -carg(p * z / CMPLX(0, x)) / w;
        }
        default:
                return NAN;
        }
}

double quantity_hbt(enum rf_quantity q, struct m2 y, double w, double complex g[4])
{
        static const double complex in[4] = {1, 1, 0, 0}, out[4] = {0, 1, 0, 1}, back[4] = {0, -1, 0, 0};
        double complex p = y.e[2] - y.e[1];
        double v;
        switch (q) {
        case RF_Q_HBT_RPI:
        case RF_Q_HBT_RO:
                v = 1 / take_re(y.e[1] + (q == RF_Q_HBT_RPI ? y.e[0] : y.e[3]), q == RF_Q_HBT_RPI ? in : out, 1, g);
                for (int e = 0; e < 4; e++)
                        g[e] *= -v * v;
                return v;
        case RF_Q_HBT_CPI:
                return take_im(y.e[0] + y.e[1], in, 1 / w, g);
        case RF_Q_HBT_CO:
                return take_im(y.e[3] + y.e[1], out, 1 / w, g);
        case RF_Q_HBT_CMU:
                return take_im(-y.e[1], back, 1 / w, g);
        case RF_Q_HBT_GM:
        case RF_Q_HBT_TAU: {
                double complex k = q == RF_Q_HBT_GM ? cabs(p) / p : CMPLX(0, 1) / (p * w);
                g[0] = g[3] = 0;
                g[1] = -k;
                g[2] = k;
                return q == RF_Q_HBT_GM ? cabs(p) : -carg(p) / w;
        }
        case RF_Q_HBT_BETA: {
                double complex gr[4], gm[4];
                double r = quantity_hbt(RF_Q_HBT_RPI, y, w, gr), m = quantity_hbt(RF_Q_HBT_GM, y, w, gm);
                for (int e = 0; e < 4; e++)
                        g[e] = r * gm[e] + m * gr[e];
                return r * m;
        }
        default:
                return NAN;
        }
}
