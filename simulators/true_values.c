/* true_values.c: see true_values.h. */
#include "simulators/true_values.h"
#include <math.h>
#include <string.h>

#define TWO_PI 6.283185307179586476925286766559
#define LIGHT_M_S 299792458.0
#define SRF_FROM_HZ 1e9
#define SRF_TO_HZ 400e9
#define Q_FROM_HZ 1e8

const char *const true_quantity_words[] = {
        "unknown", "L",         "Q",       "C",       "R",        "SRF",    "eps_eff", "loss",     "Zc",          "S21_dB",  "fT",
        "L11",     "R11",       "Q11",     "C11",     "Ld",       "Rd",     "Qd",      "QCd",      "Cd",          "pi_G1",   "pi_C1",
        "pi_G2",   "pi_C2",     "tee_R1",  "tee_L1",  "tee_R2",   "tee_L2", "tee_R3",  "tee_L3",   "tee_C3",      "S11_dB",  "S22_dB",
        "Sdd_dB",  "Sdc_dB",    "Scd_dB",  "Scc_dB",  "Zc_im",    "beta",   "delay",   "R_line",   "L_line",      "G_line",  "C_line",
        "SRF11",   "SRFd",      "fmax",    "fT_im",   "h21",      "h21_dB", "U",       "U_dB",     "K",           "mu",      "mu_prime",
        "MSG_dB",  "MAG",       "MAG_dB",  "Gmax_dB", "gm",       "gm_tau", "gds",     "Cgs",      "Cgd",         "Cds",     "Ri",
        "Rgd",     "hbt_gm",    "hbt_tau", "R_pi",    "C_pi",     "C_mu",   "R_o",     "hbt_beta", "group_delay", "Q11_max", "Q11_max_hz",
        "Qd_max",  "Qd_max_hz", "l_in",    "l_out",   "l_common", "r_in",   "r_out",   "r_common", NULL};
_Static_assert(sizeof true_quantity_words / sizeof true_quantity_words[0] == TRUE_R_COMMON + 2, "each quantity has its word");

enum true_quantity true_quantity_of(const char *word)
{
        for (int k = 1; true_quantity_words[k]; k++)
                if (strcmp(true_quantity_words[k], word) == 0)
                        return (enum true_quantity)k;
        return TRUE_UNKNOWN;
}

struct y2 true_y(const struct sim_device *d, double hz, const struct true_at *at)
{
        return at->inside && d->kind == DEVICE_TRANSISTOR ? transistor_inside_y(d, hz, &at->bias) : device_biased_y(d, hz, &at->bias);
}

static double complex branch_y(const struct sim_device *d, double hz, const struct true_at *at)
{
        struct y2 y = true_y(d, hz, at);
        return -(y.e12 + y.e21) / 2;
}

static double complex differential_z(struct y2 y) { return (y.e11 + y.e12 + y.e21 + y.e22) / (y.e11 * y.e22 - y.e12 * y.e21); }

/* What resonates: the series branch, port 1 with port 2 grounded, or the device floating between both. */
static double complex view_y(const struct sim_device *d, enum true_quantity q, double hz, const struct true_at *at)
{
        if (q == TRUE_SRF11)
                return true_y(d, hz, at).e11;
        return q == TRUE_SRFD ? 1 / differential_z(true_y(d, hz, at)) : branch_y(d, hz, at);
}

/* Steps of 0.1 %, then halving. */
static double resonance_hz(const struct sim_device *d, enum true_quantity q, const struct true_at *at)
{
        double low = SRF_FROM_HZ, sign = cimag(view_y(d, q, low, at)), high = low;
        while (high < SRF_TO_HZ && cimag(view_y(d, q, high, at)) * sign > 0) {
                low = high;
                high *= 1.001;
        }
        if (!(high < SRF_TO_HZ))
                return NAN;
        for (int k = 0; k < 60; k++) {
                double middle = (low + high) / 2;
                if (cimag(view_y(d, q, middle, at)) * sign > 0)
                        low = middle;
                else
                        high = middle;
        }
        return (low + high) / 2;
}

/* gamma l and Zc of a line: the chain matrix from Y is A = -Y22/Y21, B = -1/Y21, C = Y12 - Y11 Y22/Y21; phase counted up from low
 * frequency. */
static void line_of(const struct sim_device *d, double hz, const struct true_at *at, double complex *ret_gl, double complex *ret_zc)
{
        double turns = 0;
        double complex gl = 0, zc = 0;
        int steps = (int)(hz / 1e9) + 2;
        for (int k = 1; k <= steps; k++) {
                double f = hz * k / steps;
                struct y2 y = true_y(d, f, at);
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

static double db_of(double complex s) { return 20 * log10(cabs(s)); }

/* Of one view, of pi, tee and S; NaN for the others. */
static double element_of(const struct sim_device *d, enum true_quantity quantity, double hz, const struct true_at *at)
{
        struct y2 y = true_y(d, hz, at), s = y2_to_s(y, 50);
        double complex det = y.e11 * y.e22 - y.e12 * y.e21, z11 = 1 / y.e11, zd = differential_z(y), y12 = (y.e12 + y.e21) / 2,
                       y1 = y.e11 + y12, y2 = y.e22 + y12;
        double complex z1 = (y.e22 + y12) / det, z2 = (y.e11 + y12) / det, z3 = -y12 / det;
        double w = TWO_PI * hz;
        switch ((int)quantity) {
        case TRUE_L11:
                return cimag(z11) / w;
        case TRUE_R11:
                return creal(z11);
        case TRUE_Q11:
                return cimag(z11) / creal(z11);
        case TRUE_C11:
                return cimag(y.e11) / w;
        case TRUE_LD:
                return cimag(zd) / w;
        case TRUE_RD:
                return creal(zd);
        case TRUE_QD:
                return cimag(zd) / creal(zd);
        case TRUE_QCD:
                return -cimag(zd) / creal(zd);
        case TRUE_CD:
                return -1 / (w * cimag(zd));
        case TRUE_PI_G1:
                return creal(y1);
        case TRUE_PI_C1:
                return cimag(y1) / w;
        case TRUE_PI_G2:
                return creal(y2);
        case TRUE_PI_C2:
                return cimag(y2) / w;
        case TRUE_TEE_R1:
                return creal(z1);
        case TRUE_TEE_L1:
                return cimag(z1) / w;
        case TRUE_TEE_R2:
                return creal(z2);
        case TRUE_TEE_L2:
                return cimag(z2) / w;
        case TRUE_TEE_R3:
                return creal(z3);
        case TRUE_TEE_L3:
                return cimag(z3) / w;
        case TRUE_TEE_C3:
                return -1 / (w * cimag(z3));
        case TRUE_S11_DB:
                return db_of(s.e11);
        case TRUE_S22_DB:
                return db_of(s.e22);
        case TRUE_SDD_DB:
                return db_of((s.e11 - s.e12 - s.e21 + s.e22) / 2);
        case TRUE_SDC_DB:
                return db_of((s.e11 + s.e12 - s.e21 - s.e22) / 2);
        case TRUE_SCD_DB:
                return db_of((s.e11 - s.e12 + s.e21 - s.e22) / 2);
        case TRUE_SCC_DB:
                return db_of((s.e11 + s.e12 + s.e21 + s.e22) / 2);
        }
        return NAN;
}

static double line_value(const struct sim_device *d, enum true_quantity quantity, double hz, const struct true_at *at)
{
        double complex gl, zc;
        double w = TWO_PI * hz;
        if (d->kind != DEVICE_LINE)
                return NAN;
        line_of(d, hz, at, &gl, &zc);
        double complex gamma = gl / d->length_m;
        switch ((int)quantity) {
        case TRUE_ZC:
                return creal(zc);
        case TRUE_ZC_IM:
                return cimag(zc);
        case TRUE_LOSS:
                return creal(gamma) * 20 / log(10) / 1000;
        case TRUE_EPS_EFF:
                return -creal(gamma * gamma) * LIGHT_M_S * LIGHT_M_S / (w * w);
        case TRUE_BETA:
                return cimag(gamma);
        case TRUE_DELAY:
                return cimag(gl) / w;
        case TRUE_GROUP_DELAY: {
                double complex above, below;
                line_of(d, hz * 1.001, at, &above, &zc);
                line_of(d, hz * 0.999, at, &below, &zc);
                return cimag(above - below) / (0.002 * w);
        }
        case TRUE_R_LINE:
                return creal(gamma * zc);
        case TRUE_L_LINE:
                return cimag(gamma * zc) / w;
        case TRUE_G_LINE:
                return creal(gamma / zc);
        case TRUE_C_LINE:
                return cimag(gamma / zc) / w;
        }
        return NAN;
}

/* The largest Q of a coil below its resonance: steps of 1 %, then thirds. */
static double peak_q(const struct sim_device *d, enum true_quantity q, const struct true_at *at)
{
        enum true_quantity of = q == TRUE_Q11_MAX || q == TRUE_Q11_MAX_HZ ? TRUE_Q11 : TRUE_QD;
        double best = -1, where = NAN, value = 0;
        for (double hz = Q_FROM_HZ; hz < SRF_TO_HZ && (value = element_of(d, of, hz, at)) > 0; hz *= 1.01)
                if (value > best) {
                        best = value;
                        where = hz;
                }
        double low = where / 1.01, high = where * 1.01;
        for (int k = 0; k < 60; k++) {
                double a = low + (high - low) / 3, b = high - (high - low) / 3;
                if (element_of(d, of, a, at) < element_of(d, of, b, at))
                        low = a;
                else
                        high = b;
        }
        return !(best > 0) ? NAN : q == TRUE_Q11_MAX || q == TRUE_QD_MAX ? element_of(d, of, low, at) : low;
}

double true_value_at(const struct sim_device *d, enum true_quantity quantity, const struct true_at *at)
{
        double hz = at->hz, w = TWO_PI * hz;
        double complex z;
        if (quantity == TRUE_SRF || quantity == TRUE_SRF11 || quantity == TRUE_SRFD)
                return resonance_hz(d, quantity, at);
        if (quantity == TRUE_Q11_MAX || quantity == TRUE_Q11_MAX_HZ || quantity == TRUE_QD_MAX || quantity == TRUE_QD_MAX_HZ)
                return peak_q(d, quantity, at);
        if (quantity == TRUE_FT || (quantity >= TRUE_FMAX && quantity <= TRUE_HBT_BETA))
                return d->kind == DEVICE_TRANSISTOR ? true_of_transistor(d, quantity, at) : NAN;
        if (quantity >= TRUE_L_IN && quantity <= TRUE_R_COMMON) {
                double in_ohm = d->r_ohm + (is_bipolar(d) ? d->ri_ohm : 0) + (d->defect == DEFECT_PARTIAL_VIA ? d->defect_ohm : 0);
                const double leads[] = {d->l_h, d->ld_h, d->ls_h, in_ohm, d->rd_ohm, d->rs_ohm};
                return d->kind == DEVICE_TRANSISTOR ? leads[quantity - TRUE_L_IN] : NAN;
        }
        if (!(hz > 0))
                return NAN;
        switch ((int)quantity) {
        case TRUE_L:
                return cimag(1 / branch_y(d, hz, at)) / w;
        case TRUE_Q:
                z = 1 / branch_y(d, hz, at);
                return (d->kind == DEVICE_CAPACITOR ? -1 : 1) * cimag(z) / creal(z);
        case TRUE_C:
                return -1 / (w * cimag(1 / branch_y(d, hz, at)));
        case TRUE_R:
                return creal(1 / branch_y(d, hz, at));
        case TRUE_S21_DB:
                return 20 * log10(cabs(y2_to_s(true_y(d, hz, at), 50).e21));
        case TRUE_EPS_EFF:
        case TRUE_LOSS:
        case TRUE_ZC:
        case TRUE_ZC_IM:
        case TRUE_BETA:
        case TRUE_DELAY:
        case TRUE_GROUP_DELAY:
        case TRUE_R_LINE:
        case TRUE_L_LINE:
        case TRUE_G_LINE:
        case TRUE_C_LINE:
                return line_value(d, quantity, hz, at);
        default:
                return element_of(d, quantity, hz, at);
        }
        return NAN;
}
