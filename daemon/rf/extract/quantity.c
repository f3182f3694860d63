/* quantity.c: the table of quantities and one point of each (quantity.h).
 * Idea        Each is a short formula of Y, Z or S with its gradient written beside it; two chain rules bring all gradients to S:
 *             dY = -(2/z) P dS P with P = (I + S)^-1, and dZ = 2z R dS R with R = (I - S)^-1.
 * Checked     values: tests/reference/rf_quantities.c; every gradient against central differences there. */
#include "rf/network/convert.h"
#include "rf/extract/quantity_own.h"
#include <math.h>
#include <string.h>

#define NO_TRANSMISSION "it does not transmit, or its denominator is zero"
#define SIDE "U < 0: Re Y11 Re Y22 < Re Y12 Re Y21, an active or badly de-embedded port; no modulus is taken"
/* clang-format off: a table reads better with one row per quantity */
const struct rf_quantity_row rf_quantities[RF_Q_COUNT] = {
        [RF_Q_L11] = {"L11", "H", "inductance at port 1, port 2 grounded: Im(1/Y11)/w", RF_GROUP_ELEMENT, RF_SHARE_VALUE, "Y11 is zero"},
        [RF_Q_R11] = {"R11", "ohm", "resistance at port 1, port 2 grounded: Re(1/Y11)", RF_GROUP_ELEMENT, RF_SHARE_VALUE, "Y11 is zero"},
        [RF_Q_Q11] = {"Q11", "1", "quality of an inductor at port 1, port 2 grounded: Im/Re of 1/Y11", RF_GROUP_ELEMENT, RF_SHARE_VALUE,
                      "Y11 is zero"},
        [RF_Q_QC11] = {"QC11", "1", "quality of a capacitor at port 1, port 2 grounded: -Im/Re of 1/Y11", RF_GROUP_ELEMENT, RF_SHARE_VALUE,
                       "Y11 is zero"},
        [RF_Q_C11] = {"C11", "F", "capacitance at port 1, port 2 grounded: Im Y11/w", RF_GROUP_ELEMENT, RF_SHARE_VALUE,
                      "Y11 is not finite"},
        [RF_Q_LSER] = {"Lser", "H", "inductance of the series branch of the pi: Im Z/w, Z = -2/(Y12 + Y21)", RF_GROUP_ELEMENT,
                       RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_RSER] = {"Rser", "ohm", "resistance of the series branch", RF_GROUP_ELEMENT, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_QSER] = {"Qser", "1", "quality of the series branch, inductor", RF_GROUP_ELEMENT, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_QCSER] = {"QCser", "1", "quality of the series branch, capacitor", RF_GROUP_ELEMENT, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_CSER] = {"Cser", "F", "capacitance of the series branch: -1/(w Im Z)", RF_GROUP_ELEMENT, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_LD] = {"Ld", "H", "differential inductance: Im Zd/w, the device floating between the ports", RF_GROUP_ELEMENT, RF_SHARE_VALUE,
                     NO_TRANSMISSION},
        [RF_Q_RD] = {"Rd", "ohm", "differential resistance: Re Zd", RF_GROUP_ELEMENT, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_QD] = {"Qd", "1", "differential quality, inductor: Im Zd/Re Zd", RF_GROUP_ELEMENT, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_QCD] = {"QCd", "1", "differential quality, capacitor: -Im Zd/Re Zd", RF_GROUP_ELEMENT, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_CD] = {"Cd", "F", "differential capacitance: -1/(w Im Zd)", RF_GROUP_ELEMENT, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_PI_G1] = {"pi_G1", "S", "pi: conductance to ground at port 1: Re(Y11 + (Y12 + Y21)/2)", RF_GROUP_PI, RF_SHARE_VALUE,
                        "Y does not exist"},
        [RF_Q_PI_C1] = {"pi_C1", "F", "pi: capacitance to ground at port 1: Im(Y11 + (Y12 + Y21)/2)/w", RF_GROUP_PI, RF_SHARE_VALUE,
                        "Y does not exist"},
        [RF_Q_PI_G2] = {"pi_G2", "S", "pi: conductance to ground at port 2: Re(Y22 + (Y12 + Y21)/2)", RF_GROUP_PI, RF_SHARE_VALUE,
                        "Y does not exist"},
        [RF_Q_PI_C2] = {"pi_C2", "F", "pi: capacitance to ground at port 2: Im(Y22 + (Y12 + Y21)/2)/w", RF_GROUP_PI, RF_SHARE_VALUE,
                        "Y does not exist"},
        [RF_Q_TEE_R1] = {"tee_R1", "ohm", "tee: resistance at port 1: Re(Z11 - (Z12 + Z21)/2)", RF_GROUP_TEE, RF_SHARE_VALUE,
                         "Z does not exist: nothing leads to ground"},
        [RF_Q_TEE_L1] = {"tee_L1", "H", "tee: inductance at port 1: Im(Z11 - (Z12 + Z21)/2)/w", RF_GROUP_TEE, RF_SHARE_VALUE,
                         "Z does not exist: nothing leads to ground"},
        [RF_Q_TEE_R2] = {"tee_R2", "ohm", "tee: resistance at port 2: Re(Z22 - (Z12 + Z21)/2)", RF_GROUP_TEE, RF_SHARE_VALUE,
                         "Z does not exist: nothing leads to ground"},
        [RF_Q_TEE_L2] = {"tee_L2", "H", "tee: inductance at port 2: Im(Z22 - (Z12 + Z21)/2)/w", RF_GROUP_TEE, RF_SHARE_VALUE,
                         "Z does not exist: nothing leads to ground"},
        [RF_Q_TEE_R3] = {"tee_R3", "ohm", "tee: resistance of the leg to ground: Re(Z12 + Z21)/2", RF_GROUP_TEE, RF_SHARE_VALUE,
                         "Z does not exist: nothing leads to ground"},
        [RF_Q_TEE_L3] = {"tee_L3", "H", "tee: inductance of the leg to ground: Im(Z12 + Z21)/2w", RF_GROUP_TEE, RF_SHARE_VALUE,
                         "Z does not exist: nothing leads to ground"},
        [RF_Q_TEE_C3] = {"tee_C3", "F", "tee: capacitance of the leg to ground: -2/(w Im(Z12 + Z21))", RF_GROUP_TEE, RF_SHARE_VALUE,
                         "Z does not exist: nothing leads to ground"},
        [RF_Q_S11_DB] = {"S11_dB", "dB", "20 log10 |S11|", RF_GROUP_S, RF_SHARE_DB20, "S11 is zero"},
        [RF_Q_S12_DB] = {"S12_dB", "dB", "20 log10 |S12|", RF_GROUP_S, RF_SHARE_DB20, "S12 is zero"},
        [RF_Q_S21_DB] = {"S21_dB", "dB", "20 log10 |S21|", RF_GROUP_S, RF_SHARE_DB20, "S21 is zero"},
        [RF_Q_S22_DB] = {"S22_dB", "dB", "20 log10 |S22|", RF_GROUP_S, RF_SHARE_DB20, "S22 is zero"},
        [RF_Q_SDD_DB] = {"Sdd_dB", "dB", "differential reflection in 2z: (S11 - S12 - S21 + S22)/2", RF_GROUP_S, RF_SHARE_DB20,
                         "it is zero"},
        [RF_Q_SDC_DB] = {"Sdc_dB", "dB", "common to differential: (S11 + S12 - S21 - S22)/2", RF_GROUP_S, RF_SHARE_DB20, "it is zero"},
        [RF_Q_SCD_DB] = {"Scd_dB", "dB", "differential to common: (S11 - S12 + S21 - S22)/2", RF_GROUP_S, RF_SHARE_DB20, "it is zero"},
        [RF_Q_SCC_DB] = {"Scc_dB", "dB", "common reflection in z/2: (S11 + S12 + S21 + S22)/2", RF_GROUP_S, RF_SHARE_DB20, "it is zero"},
        [RF_Q_EPS_EFF] = {"eps_eff", "1", "effective permittivity: -Re (gamma c/w)^2", RF_GROUP_LINE, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_LOSS] = {"loss", "dB/mm", "attenuation", RF_GROUP_LINE, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_ZC] = {"Zc", "ohm", "characteristic impedance, real part", RF_GROUP_LINE, RF_SHARE_VALUE,
                     "the line is a multiple of half a wavelength long: |sinh gl| < 0.3"},
        [RF_Q_ZC_IM] = {"Zc_im", "ohm", "characteristic impedance, imaginary part", RF_GROUP_LINE, RF_SHARE_VALUE,
                        "the line is a multiple of half a wavelength long: |sinh gl| < 0.3"},
        [RF_Q_ALPHA] = {"alpha", "1/m", "attenuation: Re gamma", RF_GROUP_LINE, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_BETA] = {"beta", "1/m", "phase: Im gamma", RF_GROUP_LINE, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_DELAY] = {"delay", "s", "phase delay of this length: beta l/w", RF_GROUP_LINE, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_GROUP_DELAY] = {"group_delay", "s", "group delay of this length: l dbeta/dw", RF_GROUP_LINE, RF_SHARE_VALUE, NO_TRANSMISSION},
        [RF_Q_R_LINE] = {"R_line", "ohm/m", "resistance per length: Re(gamma Zc)", RF_GROUP_LINE, RF_SHARE_VALUE,
                         "the line is a multiple of half a wavelength long: |sinh gl| < 0.3"},
        [RF_Q_L_LINE] = {"L_line", "H/m", "inductance per length: Im(gamma Zc)/w", RF_GROUP_LINE, RF_SHARE_VALUE,
                         "the line is a multiple of half a wavelength long: |sinh gl| < 0.3"},
        [RF_Q_G_LINE] = {"G_line", "S/m", "conductance per length: Re(gamma/Zc)", RF_GROUP_LINE, RF_SHARE_VALUE,
                         "the line is a multiple of half a wavelength long: |sinh gl| < 0.3"},
        [RF_Q_C_LINE] = {"C_line", "F/m", "capacitance per length: Im(gamma/Zc)/w", RF_GROUP_LINE, RF_SHARE_VALUE,
                         "the line is a multiple of half a wavelength long: |sinh gl| < 0.3"},
        [RF_Q_H21] = {"h21", "1", "short-circuit current gain |Y21/Y11|", RF_GROUP_GAIN, RF_SHARE_VALUE, "Y11 is zero"},
        [RF_Q_H21_DB] = {"h21_dB", "dB", "20 log10 |Y21/Y11|", RF_GROUP_GAIN, RF_SHARE_DB20, "Y11 is zero"},
        [RF_Q_U] = {"U", "1", "unilateral power gain (Mason)", RF_GROUP_GAIN, RF_SHARE_VALUE, SIDE},
        [RF_Q_U_DB] = {"U_dB", "dB", "unilateral power gain, 10 log10", RF_GROUP_GAIN, RF_SHARE_DB10, SIDE},
        [RF_Q_K] = {"K", "1", "stability factor (Rollett)", RF_GROUP_GAIN, RF_SHARE_ONE, "it does not transmit both ways"},
        [RF_Q_MU] = {"mu", "1", "distance of the unstable loads from the chart's centre", RF_GROUP_GAIN, RF_SHARE_ONE,
                     "S22 and S12 S21 vanish together"},
        [RF_Q_MU_PRIME] = {"mu_prime", "1", "distance of the unstable sources from the chart's centre", RF_GROUP_GAIN, RF_SHARE_ONE,
                           "S11 and S12 S21 vanish together"},
        [RF_Q_B1] = {"B1", "1", "1 + |S11|^2 - |S22|^2 - |det S|^2", RF_GROUP_GAIN, RF_SHARE_ONE, "S is not finite"},
        [RF_Q_MSG] = {"MSG", "1", "maximum stable gain |S21/S12|", RF_GROUP_GAIN, RF_SHARE_VALUE, "S12 is zero"},
        [RF_Q_MSG_DB] = {"MSG_dB", "dB", "maximum stable gain, 10 log10", RF_GROUP_GAIN, RF_SHARE_DB10, "S12 is zero"},
        [RF_Q_MAG] = {"MAG", "1", "maximum available gain, where K >= 1", RF_GROUP_GAIN, RF_SHARE_VALUE, "K < 1: only MSG exists there"},
        [RF_Q_MAG_DB] = {"MAG_dB", "dB", "maximum available gain, 10 log10", RF_GROUP_GAIN, RF_SHARE_DB10, "K < 1: only MSG exists there"},
        [RF_Q_GMAX_DB] = {"Gmax_dB", "dB", "MAG where K >= 1, else MSG, 10 log10", RF_GROUP_GAIN, RF_SHARE_DB10, "S12 is zero"},
        [RF_Q_FET_GM] = {"gm", "S", "intrinsic transconductance", RF_GROUP_FET, RF_SHARE_VALUE, "Y11 + Y12 is zero"},
        [RF_Q_FET_TAU] = {"gm_tau", "s", "delay of the transconductance", RF_GROUP_FET, RF_SHARE_VALUE, "Y11 + Y12 is zero"},
        [RF_Q_FET_GDS] = {"gds", "S", "output conductance: Re(Y22 + Y12)", RF_GROUP_FET, RF_SHARE_VALUE, "Y does not exist"},
        [RF_Q_FET_CGS] = {"Cgs", "F", "gate to source, in series with Ri: -1/(w Im 1/(Y11 + Y12))", RF_GROUP_FET, RF_SHARE_VALUE,
                          "Y11 + Y12 is zero"},
        [RF_Q_FET_CGD] = {"Cgd", "F", "gate to drain, in series with Rgd: 1/(w Im 1/Y12)", RF_GROUP_FET, RF_SHARE_VALUE, "Y12 is zero"},
        [RF_Q_FET_CDS] = {"Cds", "F", "drain to source: Im(Y22 + Y12)/w", RF_GROUP_FET, RF_SHARE_VALUE, "Y does not exist"},
        [RF_Q_FET_RI] = {"Ri", "ohm", "channel resistance in series with Cgs: Re 1/(Y11 + Y12)", RF_GROUP_FET, RF_SHARE_VALUE,
                         "Y11 + Y12 is zero"},
        [RF_Q_FET_RGD] = {"Rgd", "ohm", "in series with Cgd: -Re 1/Y12", RF_GROUP_FET, RF_SHARE_VALUE, "Y12 is zero"},
        [RF_Q_HBT_GM] = {"hbt_gm", "S", "intrinsic transconductance |Y21 - Y12|", RF_GROUP_HBT, RF_SHARE_VALUE, "Y does not exist"},
        [RF_Q_HBT_TAU] = {"hbt_tau", "s", "its delay", RF_GROUP_HBT, RF_SHARE_VALUE, "Y21 - Y12 is zero"},
        [RF_Q_HBT_RPI] = {"R_pi", "ohm", "base to emitter: 1/Re(Y11 + Y12)", RF_GROUP_HBT, RF_SHARE_VALUE, "Re(Y11 + Y12) is zero"},
        [RF_Q_HBT_CPI] = {"C_pi", "F", "base to emitter: Im(Y11 + Y12)/w", RF_GROUP_HBT, RF_SHARE_VALUE, "Y does not exist"},
        [RF_Q_HBT_CMU] = {"C_mu", "F", "base to collector: -Im Y12/w", RF_GROUP_HBT, RF_SHARE_VALUE, "Y does not exist"},
        [RF_Q_HBT_RO] = {"R_o", "ohm", "collector to emitter: 1/Re(Y22 + Y12)", RF_GROUP_HBT, RF_SHARE_VALUE, "Re(Y22 + Y12) is zero"},
        [RF_Q_HBT_CO] = {"C_o", "F", "collector to emitter: Im(Y22 + Y12)/w", RF_GROUP_HBT, RF_SHARE_VALUE, "Y does not exist"},
        [RF_Q_HBT_BETA] = {"hbt_beta", "1", "gm R_pi, the current gain at low frequency", RF_GROUP_HBT, RF_SHARE_VALUE,
                           "Re(Y11 + Y12) is zero"},
        [RF_Q_SRF11] = {"SRF11", "Hz", "self-resonance, port 2 grounded", RF_GROUP_SWEEP, RF_SHARE_VALUE, "no resonance in the sweep"},
        [RF_Q_SRFSER] = {"SRFser", "Hz", "self-resonance of the series branch", RF_GROUP_SWEEP, RF_SHARE_VALUE,
                         "no resonance in the sweep"},
        [RF_Q_SRFD] = {"SRFd", "Hz", "differential self-resonance", RF_GROUP_SWEEP, RF_SHARE_VALUE, "no resonance in the sweep"},
        [RF_Q_FT] = {"fT", "Hz", "f |h21| where it falls by 20 dB a decade", RF_GROUP_SWEEP, RF_SHARE_VALUE, "no plateau in the sweep"},
        [RF_Q_FT_IM] = {"fT_im", "Hz", "second estimate: f/|Im(1/h21)|, its line in f^2 at f = 0", RF_GROUP_SWEEP, RF_SHARE_VALUE,
                        "no plateau in the sweep"},
        [RF_Q_FMAX] = {"fmax", "Hz", "f sqrt U where U falls by 20 dB a decade", RF_GROUP_SWEEP, RF_SHARE_VALUE, "no plateau in the sweep"},
        [RF_Q_Q11_MAX] = {"Q11_max", "1", "largest Q11 of the sweep", RF_GROUP_SWEEP, RF_SHARE_VALUE, "Q has no maximum in the sweep"},
        [RF_Q_Q11_MAX_HZ] = {"Q11_max_hz", "Hz", "where Q11 is largest", RF_GROUP_SWEEP, RF_SHARE_VALUE, "Q has no maximum in the sweep"},
        [RF_Q_QD_MAX] = {"Qd_max", "1", "largest Qd of the sweep", RF_GROUP_SWEEP, RF_SHARE_VALUE, "Q has no maximum in the sweep"},
        [RF_Q_QD_MAX_HZ] = {"Qd_max_hz", "Hz", "where Qd is largest", RF_GROUP_SWEEP, RF_SHARE_VALUE, "Q has no maximum in the sweep"},
        [RF_Q_FMAX_MAG] = {"fmax_MAG", "Hz", "f sqrt MAG where MAG falls by 20 dB a decade", RF_GROUP_SWEEP, RF_SHARE_VALUE,
                           "no plateau in the sweep"},
};
/* clang-format on */

enum rf_quantity rf_quantity_of(const char *word)
{
        for (int k = 1; word && k < RF_Q_COUNT; k++)
                if (strcmp(rf_quantities[k].word, word) == 0)
                        return (enum rf_quantity)k;
        return RF_Q_UNKNOWN;
}

static void sandwich(double complex k, struct m2 p, const double complex g[4], double complex ret[4])
{
        /* sum_ij g_ij (P dS P)_ij = sum_kl (P^T g P^T)_kl dS_kl */
        struct m2 pt = m2_transpose(p), r = m2_scale(k, m2_mul(pt, m2_mul(m2_of(g[0], g[1], g[2], g[3]), pt)));
        for (int e = 0; e < 4; e++)
                ret[e] = r.e[e];
}
void quantity_chain_y(const double complex g[4], struct m2 s, double z_ref, double complex ret[4])
{
        sandwich(-2 / z_ref, m2_inv(m2_add(m2_one(), s)), g, ret);
}
void quantity_chain_z(const double complex g[4], struct m2 s, double z_ref, double complex ret[4])
{
        sandwich(2 * z_ref, m2_inv(m2_sub(m2_one(), s)), g, ret);
}

static double element(enum rf_quantity q, struct m2 s, const struct rf_at *at, double complex g[4])
{
        static const enum element of[5] = {ELEMENT_L_H, ELEMENT_R_OHM, ELEMENT_Q, ELEMENT_Q_C, ELEMENT_C_F};
        int k = (int)q - RF_Q_L11;
        return rf_element((enum view)(VIEW_SINGLE + k / 5), of[k % 5], s, at->z_ref, at->hz, g);
}

/* What is between the ports of a pi, and the leg of a tee, is the mean of both directions: so are the rest, that they add up to Y11 and Z11
   whatever the device. */
static double of_pi(enum rf_quantity q, struct m2 y, double w, double complex g[4])
{
        static const double complex one[4] = {1, 0.5, 0.5, 0}, two[4] = {0, 0.5, 0.5, 1};
        bool second = q == RF_Q_PI_G2 || q == RF_Q_PI_C2;
        double complex z = (y.e[1] + y.e[2]) / 2 + (second ? y.e[3] : y.e[0]);
        return q == RF_Q_PI_G1 || q == RF_Q_PI_G2 ? take_re(z, second ? two : one, 1, g) : take_im(z, second ? two : one, 1 / w, g);
}

static double of_tee(enum rf_quantity q, struct m2 z, double w, double complex g[4])
{
        static const double complex leg[3][4] = {{1, -0.5, -0.5, 0}, {0, -0.5, -0.5, 1}, {0, 0.5, 0.5, 0}};
        int k = q == RF_Q_TEE_C3 ? 2 : ((int)q - RF_Q_TEE_R1) / 2;
        double complex sum = 0;
        for (int e = 0; e < 4; e++)
                sum += leg[k][e] * z.e[e];
        if (q == RF_Q_TEE_C3) { /* -1/(w X): dC = dX/(w X^2) */
                double x = take_im(sum, leg[k], 1, g);
                for (int e = 0; e < 4; e++)
                        g[e] /= w * x * x;
                return -1 / (w * x);
        }
        return q == RF_Q_TEE_R1 || q == RF_Q_TEE_R2 || q == RF_Q_TEE_R3 ? take_re(sum, leg[k], 1, g) : take_im(sum, leg[k], 1 / w, g);
}

double rf_quantity_at(enum rf_quantity q, struct m2 s, const struct rf_at *at, double complex ret_grad[4])
{
        double complex g[4] = {NAN, NAN, NAN, NAN}, to_s[4];
        double value = NAN, w = RF_TWO_PI * at->hz;
        if (q <= RF_Q_UNKNOWN || q >= RF_Q_COUNT)
                return NAN;
        bool by_y = false, by_z = false;
        switch (rf_quantities[q].group) {
        case RF_GROUP_ELEMENT:
                value = element(q, s, at, g);
                break;
        case RF_GROUP_PI:
                value = of_pi(q, rf_y_from_s(s, at->z_ref), w, g);
                by_y = true;
                break;
        case RF_GROUP_TEE:
                value = of_tee(q, rf_z50(s, at->z_ref), w, g);
                by_z = true;
                break;
        case RF_GROUP_S:
                value = quantity_gain_s(q, s, g);
                break;
        case RF_GROUP_LINE:
                value = quantity_line(q, s, at, g);
                break;
        case RF_GROUP_GAIN:
                by_y = q != RF_Q_MU && q != RF_Q_MU_PRIME && q != RF_Q_B1;
                value = by_y ? quantity_gain_y(q, rf_y_from_s(s, at->z_ref), quantity_gain_s(RF_Q_B1, s, g) < 0, g)
                             : quantity_gain_s(q, s, g);
                break;
        case RF_GROUP_FET:
                value = quantity_fet(q, rf_y_from_s(s, at->z_ref), w, g);
                by_y = true;
                break;
        case RF_GROUP_HBT:
                value = quantity_hbt(q, rf_y_from_s(s, at->z_ref), w, g);
                by_y = true;
                break;
        case RF_GROUP_SWEEP:
                by_y = q == RF_Q_FT_IM;
                if (by_y)
                        value = quantity_gain_y(q, rf_y_from_s(s, at->z_ref), false, g);
                break;
        case RF_GROUP_UNKNOWN:
                break;
        }
        if (!isfinite(value))
                value = NAN;
        if (!ret_grad)
                return value;
        if (by_y)
                quantity_chain_y(g, s, at->z_ref, to_s);
        else if (by_z)
                quantity_chain_z(g, s, at->z_ref, to_s);
        for (int e = 0; e < 4; e++)
                ret_grad[e] = by_y || by_z ? to_s[e] : g[e];
        return value;
}
