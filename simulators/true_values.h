/* true_values.h: what a parameter of a device truly is, from its true network; the definitions of the trade, written here a second time on
   purpose: the series branch of the pi between the ports Z = -2/(Y12 + Y21); L = Im Z/w, R = Re Z, C = -1/(w Im Z), Q = |Im Z|/Re Z with
   the sign of the kind; 11: port 2 grounded, 1/Y11; d: floating between the ports, sum Y/det Y; pi and tee by their branches; SRF: the
   first frequency where the branch's susceptance changes sign; S21 in 50 ohm; a line by cosh(gl) = A, Zc = sqrt(B/C).
   Of transistors (true_transistor.c): gains by what a source and a load get out of them; fT, fmax: f/|Im Y11/Y21| and f sqrt(U) far below
   them, where they fall by 20 dB a decade (of a bipolar the most of f sqrt(U)); the elements of the inside by the branches between its nodes.  fmax_MAG has no such limit. */
#ifndef TIPPLANE_SIMULATORS_TRUE_VALUES_H
#define TIPPLANE_SIMULATORS_TRUE_VALUES_H
#include "simulators/device.h"

enum true_quantity {
        TRUE_UNKNOWN,
        TRUE_L,
        TRUE_Q,
        TRUE_C,
        TRUE_R,
        TRUE_SRF,
        TRUE_EPS_EFF,
        TRUE_LOSS,
        TRUE_ZC,
        TRUE_S21_DB,
        TRUE_FT,
        TRUE_L11,
        TRUE_R11,
        TRUE_Q11,
        TRUE_C11,
        TRUE_LD,
        TRUE_RD,
        TRUE_QD,
        TRUE_QCD,
        TRUE_CD,
        TRUE_PI_G1,
        TRUE_PI_C1,
        TRUE_PI_G2,
        TRUE_PI_C2,
        TRUE_TEE_R1,
        TRUE_TEE_L1,
        TRUE_TEE_R2,
        TRUE_TEE_L2,
        TRUE_TEE_R3,
        TRUE_TEE_L3,
        TRUE_TEE_C3,
        TRUE_S11_DB,
        TRUE_S22_DB,
        TRUE_SDD_DB,
        TRUE_SDC_DB,
        TRUE_SCD_DB,
        TRUE_SCC_DB,
        TRUE_ZC_IM,
        TRUE_BETA,
        TRUE_DELAY,
        TRUE_R_LINE,
        TRUE_L_LINE,
        TRUE_G_LINE,
        TRUE_C_LINE,
        TRUE_SRF11,
        TRUE_SRFD,
        TRUE_FMAX,
        TRUE_FT_IM,
        TRUE_H21,
        TRUE_H21_DB,
        TRUE_U,
        TRUE_U_DB,
        TRUE_K,
        TRUE_MU,
        TRUE_MU_PRIME,
        TRUE_MSG_DB,
        TRUE_MAG,
        TRUE_MAG_DB,
        TRUE_GMAX_DB,
        TRUE_GM,
        TRUE_GM_TAU,
        TRUE_GDS,
        TRUE_CGS,
        TRUE_CGD,
        TRUE_CDS,
        TRUE_RI,
        TRUE_RGD,
        TRUE_HBT_GM,
        TRUE_HBT_TAU,
        TRUE_R_PI,
        TRUE_C_PI,
        TRUE_C_MU,
        TRUE_R_O,
        TRUE_HBT_BETA,
        TRUE_GROUP_DELAY,
        TRUE_Q11_MAX,
        TRUE_Q11_MAX_HZ,
        TRUE_QD_MAX,
        TRUE_QD_MAX_HZ,
        TRUE_L_IN,
        TRUE_L_OUT,
        TRUE_L_COMMON,
        TRUE_R_IN,
        TRUE_R_OUT,
        TRUE_R_COMMON
};
/* The elements of the intrinsic transistor: without its leads where the recipe takes them off. */
static inline bool true_is_of_inside(enum true_quantity q) { return q >= TRUE_GM && q <= TRUE_HBT_BETA; }
extern const char *const true_quantity_words[];        /* the words of a recipe; NULL at the end */
enum true_quantity true_quantity_of(const char *word); /* TRUE_UNKNOWN: nothing is known of it */
struct true_at {
        double hz;
        struct sim_bias bias;
        bool inside; /* of a transistor without its leads */
};
struct y2 true_y(const struct sim_device *, double hz, const struct true_at *);
/* In SI units (loss: dB/mm, S21: dB); NaN where there is no such thing.  hz is ignored by what is found in a sweep: SRF, fT … */
double true_value_at(const struct sim_device *, enum true_quantity, const struct true_at *);
static inline double true_value(const struct sim_device *d, enum true_quantity q, double hz, double volt)
{
        return true_value_at(d, q, &(struct true_at){.hz = hz, .bias.volt = {volt, 0}});
}
double true_of_transistor(const struct sim_device *, enum true_quantity, const struct true_at *); /* NaN: not of its words */

#endif
