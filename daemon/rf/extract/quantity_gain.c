/* quantity_gain.c: gains and stability of a two-port (quantity.h).
 * Sources     U: Mason, IRE Trans. CT 1 (1954) 20; K: Rollett, IRE Trans. CT 9 (1962) 29; mu: Edwards & Sinsky, IEEE Trans. MTT 40 (1992)
 *             2303.  In Y where the port's reference would only be in the way: h21, U, K, MSG, MAG are the same in every reference.
 * Gradients   dq = Re( sum g dY ): of |a| it is Re(conj(a)/|a| da), of Re p it is Re(dp). */
#include "rf/extract/quantity_own.h"
#include <math.h>

static void scale(double complex g[4], double k)
{
        for (int e = 0; e < 4; e++)
                g[e] *= k;
}

static double gain_u(struct m2 y, double complex g[4])
{
        double complex a = y.e[2] - y.e[1];
        double g11 = creal(y.e[0]), g12 = creal(y.e[1]), g21 = creal(y.e[2]), g22 = creal(y.e[3]);
        double d = 4 * (g11 * g22 - g12 * g21), u = (creal(a) * creal(a) + cimag(a) * cimag(a)) / d;
        g[0] = -4 * u * g22 / d;
        g[3] = -4 * u * g11 / d;
        g[1] = (-2 * conj(a) + 4 * u * g21) / d;
        g[2] = (2 * conj(a) + 4 * u * g12) / d;
        return u > 0 ? u : NAN; /* U < 0 is no gain: its modulus would be a lie */
}

static double gain_k(struct m2 y, double complex g[4])
{
        double complex p = y.e[1] * y.e[2];
        double g11 = creal(y.e[0]), g22 = creal(y.e[3]), size = cabs(p), k = (2 * g11 * g22 - creal(p)) / size;
        double complex gp = -1 / size - k * conj(p) / (size * size);
        g[0] = 2 * g22 / size;
        g[3] = 2 * g11 / size;
        g[1] = gp * y.e[2];
        g[2] = gp * y.e[1];
        return k;
}

static double gain_msg(struct m2 y, double complex g[4])
{
        double m = cabs(y.e[2] / y.e[1]);
        g[0] = g[3] = 0;
        g[1] = -m / y.e[1];
        g[2] = m / y.e[2];
        return m;
}

/* MSG (K - sqrt(K^2 - 1)), with plus where B1 < 0. */
static double gain_mag(struct m2 y, bool plus, double complex g[4])
{
        double complex gk[4], gm[4];
        double k = gain_k(y, gk), m = gain_msg(y, gm), root = plus ? -sqrt(k * k - 1) : sqrt(k * k - 1);
        double share = k - root, d_share = 1 - k / root; /* by K */
        for (int e = 0; e < 4; e++)
                g[e] = share * gm[e] + m * d_share * gk[e];
        return k >= 1 ? m * share : NAN;
}

double complex to_db20(double ratio, double complex g[4])
{
        scale(g, 20 / log(10) / ratio);
        return 20 * log10(ratio);
}

double quantity_gain_y(enum rf_quantity q, struct m2 y, bool b1_negative, double complex g[4])
{
        double v = NAN;
        switch (q) {
        case RF_Q_H21:
        case RF_Q_H21_DB:
                v = cabs(y.e[2] / y.e[0]);
                g[1] = g[3] = 0;
                g[2] = v / y.e[2];
                g[0] = -v / y.e[0];
                return q == RF_Q_H21 ? v : creal(to_db20(v, g));
        case RF_Q_FT_IM: { /* x = Im k, k = Y11/Y21: dx = Re(-j dk), d(1/|x|) = -dx/(x |x|) */
                double complex k = y.e[0] / y.e[2], d = CMPLX(0, 1) / (cimag(k) * fabs(cimag(k)));
                g[1] = g[3] = 0;
                g[0] = d / y.e[2];
                g[2] = -d * k / y.e[2];
                return 1 / fabs(cimag(k));
        }
        case RF_Q_U:
        case RF_Q_U_DB:
                v = gain_u(y, g);
                break;
        case RF_Q_K:
                return gain_k(y, g);
        case RF_Q_MSG:
        case RF_Q_MSG_DB:
                v = gain_msg(y, g);
                break;
        case RF_Q_MAG:
        case RF_Q_MAG_DB:
                v = gain_mag(y, b1_negative, g);
                break;
        case RF_Q_GMAX_DB: {
                double complex gk[4];
                v = gain_k(y, gk) >= 1 ? gain_mag(y, b1_negative, g) : gain_msg(y, g);
                break;
        }
        default: /* quantity_gain_s() and the other groups */
                return NAN;
        }
        if (q == RF_Q_U_DB || q == RF_Q_MSG_DB || q == RF_Q_MAG_DB || q == RF_Q_GMAX_DB) {
                scale(g, 10 / log(10) / v);
                return 10 * log10(v);
        }
        return v;
}

/* (1 - |S11|^2)/(|S22 - D conj S11| + |S12 S21|); turned: with the ports exchanged. */
static double stability_mu(struct m2 s, bool turned, double complex g[4])
{
        double complex a = s.e[turned ? 3 : 0], d = s.e[turned ? 0 : 3], b = s.e[1], c = s.e[2], det = a * d - b * c;
        double complex far = d - det * conj(a), way = b * c;
        double top = 1 - creal(a) * creal(a) - cimag(a) * cimag(a), bottom = cabs(far) + cabs(way), mu = top / bottom;
        double complex uf = conj(far) / cabs(far), uw = way == 0 ? 0 : conj(way) / cabs(way);
        /* d far = dd - conj(a) d(det) - det conj(da);  Re(uf * -det conj(da)) = Re(-conj(uf det) da) */
        double complex ga = -uf * conj(a) * d - conj(uf * det), gd = uf * (1 - conj(a) * a);
        double complex gb = uf * conj(a) * c + uw * c, gc = uf * conj(a) * b + uw * b;
        g[turned ? 3 : 0] = -2 * conj(a) / bottom - mu / bottom * ga;
        g[turned ? 0 : 3] = -mu / bottom * gd;
        g[1] = -mu / bottom * gb;
        g[2] = -mu / bottom * gc;
        return mu;
}

double quantity_gain_s(enum rf_quantity q, struct m2 s, double complex g[4])
{
        static const double mixed[4][4] = {{1, -1, -1, 1}, {1, 1, -1, -1}, {1, -1, 1, -1}, {1, 1, 1, 1}}; /* dd dc cd cc */
        if (q >= RF_Q_S11_DB && q <= RF_Q_SCC_DB) {
                double complex sum = 0, u;
                bool plain = q <= RF_Q_S22_DB;
                for (int e = 0; e < 4; e++) {
                        g[e] = plain ? (e == (int)q - RF_Q_S11_DB) : mixed[(int)q - RF_Q_SDD_DB][e] / 2;
                        sum += g[e] * s.e[e];
                }
                u = conj(sum) / cabs(sum);
                for (int e = 0; e < 4; e++)
                        g[e] *= u;
                return creal(to_db20(cabs(sum), g));
        }
        if (q == RF_Q_MU || q == RF_Q_MU_PRIME)
                return stability_mu(s, q == RF_Q_MU_PRIME, g);
        if (q != RF_Q_B1)
                return NAN;
        double complex det = m2_det(s), cd = -2 * conj(det);
        g[0] = 2 * conj(s.e[0]) + cd * s.e[3];
        g[3] = -2 * conj(s.e[3]) + cd * s.e[0];
        g[1] = -cd * s.e[2];
        g[2] = -cd * s.e[1];
        return 1 + creal(s.e[0] * conj(s.e[0])) - creal(s.e[3] * conj(s.e[3])) - creal(det * conj(det));
}
