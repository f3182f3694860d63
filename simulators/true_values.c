/* true_values.c: see true_values.h. */
#include "simulators/true_values.h"
#include <math.h>

#define TWO_PI 6.283185307179586476925286766559
#define LIGHT_M_S 299792458.0
#define SRF_FROM_HZ 1e9
#define SRF_TO_HZ 400e9
#define FT_AT_HZ 1e9

const char *const true_quantity_words[] = {"unknown", "L", "Q", "C", "R", "SRF", "eps_eff", "loss", "Zc", "S21_dB", "fT", NULL};

static double complex branch_y(const struct sim_device *d, double hz, double volt)
{
        struct y2 y = device_y(d, hz, volt);
        return -(y.e12 + y.e21) / 2;
}

/* Steps of 0.1 %, then halving. */
static double resonance_hz(const struct sim_device *d, double volt)
{
        double low = SRF_FROM_HZ, sign = cimag(branch_y(d, low, volt)), high = low;
        while (high < SRF_TO_HZ && cimag(branch_y(d, high, volt)) * sign > 0) {
                low = high;
                high *= 1.001;
        }
        if (!(high < SRF_TO_HZ))
                return NAN;
        for (int k = 0; k < 60; k++) {
                double middle = (low + high) / 2;
                if (cimag(branch_y(d, middle, volt)) * sign > 0)
                        low = middle;
                else
                        high = middle;
        }
        return (low + high) / 2;
}

/* gamma l and Zc of a line: the chain matrix from Y is A = -Y22/Y21, B = -1/Y21, C = Y12 - Y11 Y22/Y21; phase counted up from low
 * frequency. */
static void line_of(const struct sim_device *d, double hz, double volt, double complex *ret_gl, double complex *ret_zc)
{
        double turns = 0;
        double complex gl = 0, zc = 0;
        int steps = (int)(hz / 1e9) + 2;
        for (int k = 1; k <= steps; k++) {
                double f = hz * k / steps;
                struct y2 y = device_y(d, f, volt);
                double complex a = -y.e22 / y.e21, b = -1 / y.e21, c = y.e12 - y.e11 * y.e22 / y.e21, now;
                zc = csqrt(b / c);
                if (creal(zc) < 0)
                        zc = -zc;
                now = clog(a + zc * c) + I * TWO_PI * turns;
                while (k > 1 && cimag(now) < cimag(gl) - TWO_PI / 4) {
                        turns++;
                        now += I * TWO_PI;
                }
                gl = now;
        }
        *ret_gl = gl;
        *ret_zc = zc;
}

double true_value(const struct sim_device *d, enum true_quantity quantity, double hz, double volt)
{
        double w = TWO_PI * hz;
        double complex z, gl, zc;
        if (quantity == TRUE_SRF)
                return resonance_hz(d, volt);
        if (quantity == TRUE_FT) {
                if (d->kind != DEVICE_TRANSISTOR)
                        return NAN;
                struct y2 low = device_y(d, FT_AT_HZ, volt);
                return FT_AT_HZ * cabs(low.e21 / low.e11);
        }
        if (!(hz > 0))
                return NAN;
        switch (quantity) {
        case TRUE_L:
                return cimag(1 / branch_y(d, hz, volt)) / w;
        case TRUE_Q:
                z = 1 / branch_y(d, hz, volt);
                return (d->kind == DEVICE_CAPACITOR ? -1 : 1) * cimag(z) / creal(z);
        case TRUE_C:
                return -1 / (w * cimag(1 / branch_y(d, hz, volt)));
        case TRUE_R:
                return creal(1 / branch_y(d, hz, volt));
        case TRUE_S21_DB:
                return 20 * log10(cabs(y2_to_s(device_y(d, hz, volt), 50).e21));
        case TRUE_EPS_EFF:
        case TRUE_LOSS:
        case TRUE_ZC:
                if (d->kind != DEVICE_LINE)
                        return NAN;
                line_of(d, hz, volt, &gl, &zc);
                if (quantity == TRUE_ZC)
                        return creal(zc);
                gl /= d->length_m;
                return quantity == TRUE_LOSS ? creal(gl) * 20 / log(10) / 1000 : -creal(gl * gl) * LIGHT_M_S * LIGHT_M_S / (w * w);
        case TRUE_UNKNOWN:
        case TRUE_SRF:
        case TRUE_FT:
                break;
        }
        return NAN;
}
