/* true_transistor.c: gains, stability and elements of a transistor from its true admittances; see true_values.h.
 * Gains       Written by what is drawn and delivered, not by the formulas of S: MAG is the largest ratio of the power that a load takes to
 * the power that goes in, over all loads; with p = y12 y21 and g = 2 Re y11 Re y22 - Re p it is |y21|^2/(g + sqrt(g^2 - |p|^2)), and K =
 * g/|p|.  U is what is left when lossless feedback has taken y12 away: |y21 - y12|^2/(4 det Re Y) by the reciprocity of the added elements.
 * mu, mu': the least |Gamma| at one port that makes a reflection of 1 at the other, searched along the circle of reactive loads. Elements
 * of the inside: branches between gate, drain and source. */
#include "simulators/true_values.h"
#include <math.h>

#define TWO_PI 6.283185307179586476925286766559
#define FAR_BELOW_HZ 1e9

static double complex node_gs(struct y2 y) { return y.e11 + y.e12; }

static double mason(struct y2 y)
{
        double g12 = creal(y.e12), g21 = creal(y.e21), det = creal(y.e11) * creal(y.e22) - g12 * g21, a = cabs(y.e21 - y.e12);
        return det > 0 ? a * a / (4 * det) : NAN;
}

static double stability(struct y2 y) { return (2 * creal(y.e11) * creal(y.e22) - creal(y.e12 * y.e21)) / cabs(y.e12 * y.e21); }

static double available(struct y2 y)
{
        double g = 2 * creal(y.e11) * creal(y.e22) - creal(y.e12 * y.e21), p = cabs(y.e12 * y.e21), a = cabs(y.e21);
        return g >= p ? a * a / (g + sqrt(g * g - p * p)) : NAN;
}

/* Distance from the chart's centre to the nearest termination of one port that makes the other reflect with modulus 1: that reflection is
   e^{j phi}, and solved for what stands at the first port 1/Gamma = s + way/(e^{j phi} - t), with s and t the reflections of the first and
   of the other port, way = S12 S21.  Steps of a degree, then thirds. */
static double distance_at(double complex s, double complex t, double complex way, double phi)
{
        return cabs(1 / (s + way / (cexp(I * phi) - t)));
}
static double distance(double complex s, double complex t, double complex way)
{
        double best = INFINITY, at = 0;
        for (int k = 0; k < 360; k++) {
                double phi = TWO_PI * k / 360, r = distance_at(s, t, way, phi);
                if (r < best) {
                        best = r;
                        at = phi;
                }
        }
        double low = at - TWO_PI / 360, high = at + TWO_PI / 360;
        for (int k = 0; k < 60; k++) {
                double a = low + (high - low) / 3, b = high - (high - low) / 3;
                if (distance_at(s, t, way, a) > distance_at(s, t, way, b))
                        low = a;
                else
                        high = b;
        }
        return distance_at(s, t, way, low);
}

static double gain_of(struct y2 y, enum true_quantity q)
{
        struct y2 s = y2_to_s(y, 50);
        switch ((int)q) {
        case TRUE_H21:
                return cabs(y.e21 / y.e11);
        case TRUE_H21_DB:
                return 20 * log10(cabs(y.e21 / y.e11));
        case TRUE_U:
                return mason(y);
        case TRUE_U_DB:
                return 10 * log10(mason(y));
        case TRUE_K:
                return stability(y);
        case TRUE_MU:
                return distance(s.e22, s.e11, s.e12 * s.e21);
        case TRUE_MU_PRIME:
                return distance(s.e11, s.e22, s.e12 * s.e21);
        case TRUE_MSG_DB:
                return 10 * log10(cabs(y.e21 / y.e12));
        case TRUE_MAG:
                return available(y);
        case TRUE_MAG_DB:
                return 10 * log10(available(y));
        case TRUE_GMAX_DB:
                return 10 * log10(stability(y) >= 1 ? available(y) : cabs(y.e21 / y.e12));
        }
        return NAN;
}

static double element_of(struct y2 y, enum true_quantity q, double w)
{
        double complex gs = node_gs(y), gd = -y.e12, ds = y.e22 + y.e12, m = y.e21 - y.e12;
        /* the control voltage is that across Cgs alone: what flows into the branch over jwCgs */
        double cgs = -1 / (w * cimag(1 / gs)), gm = cabs(m) * w * cgs / cabs(gs);
        switch ((int)q) {
        case TRUE_GM:
                return gm;
        case TRUE_GM_TAU:
                return -carg(m * (I * w * cgs) / gs) / w;
        case TRUE_GDS:
                return creal(ds);
        case TRUE_CGS:
                return cgs;
        case TRUE_CGD:
                return -1 / (w * cimag(1 / gd));
        case TRUE_CDS:
                return cimag(ds) / w;
        case TRUE_RI:
                return creal(1 / gs);
        case TRUE_RGD:
                return creal(1 / gd);
        case TRUE_HBT_GM:
                return cabs(m);
        case TRUE_HBT_TAU:
                return -carg(m) / w;
        case TRUE_R_PI:
                return 1 / creal(gs);
        case TRUE_C_PI:
                return cimag(gs) / w;
        case TRUE_C_MU:
                return cimag(gd) / w;
        case TRUE_R_O:
                return 1 / creal(ds);
        case TRUE_HBT_BETA:
                return cabs(m) / creal(gs);
        }
        return NAN;
}

/* Of a bipolar f sqrt(U) rises to fmax, as its input's resistance gives way to its capacitance, and falls again far above: the most. */
static double fmax_bipolar(const struct sim_device *d, const struct true_at *at)
{
        double most = NAN;
        for (double hz = FAR_BELOW_HZ; hz < 400e9; hz *= 1.01) {
                double now = hz * sqrt(mason(true_y(d, hz, at)));
                most = now > most || isnan(most) ? now : most;
        }
        return most;
}

double true_of_transistor(const struct sim_device *d, enum true_quantity q, const struct true_at *at)
{
        struct y2 far = true_y(d, FAR_BELOW_HZ, at);
        if (q == TRUE_FT || q == TRUE_FT_IM)
                return FAR_BELOW_HZ / fabs(cimag(far.e11 / far.e21));
        if (q == TRUE_FMAX && is_bipolar(d))
                return fmax_bipolar(d, at);
        if (q == TRUE_FMAX)
                return FAR_BELOW_HZ * sqrt(mason(far));
        if (!(at->hz > 0))
                return NAN;
        struct y2 y = true_y(d, at->hz, at);
        double gain = gain_of(y, q);
        return isnan(gain) ? element_of(y, q, TWO_PI * at->hz) : gain;
}
