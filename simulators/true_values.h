/* true_values.h: what a parameter of a device truly is, from its true network; the definitions of the trade, written here a second time on
   purpose: the series branch of the pi between the ports Z = -2/(Y12 + Y21); L = Im Z/w, R = Re Z, C = -1/(w Im Z), Q = |Im Z|/Re Z with
   the sign of the kind; SRF: the first frequency where the branch's susceptance changes sign; S21 in 50 ohm; a line by cosh(gl) = A, Zc =
   sqrt(B/C); fT of a transistor: f |Y21/Y11| far below it, where |h21| falls by 20 dB a decade. */
#ifndef TIPPLANE_SIMULATORS_TRUE_VALUES_H
#define TIPPLANE_SIMULATORS_TRUE_VALUES_H
#include "simulators/device.h"

enum true_quantity { TRUE_UNKNOWN, TRUE_L, TRUE_Q, TRUE_C, TRUE_R, TRUE_SRF, TRUE_EPS_EFF, TRUE_LOSS, TRUE_ZC, TRUE_S21_DB, TRUE_FT };
extern const char *const true_quantity_words[]; /* "unknown", "L", "Q", "C", "R", "SRF", "eps_eff", "loss", "Zc", "S21_dB", "fT" */
/* In SI units (loss: dB/mm, S21: dB); NaN where there is no such thing.  hz is ignored by SRF. */
double true_value(const struct sim_device *, enum true_quantity, double hz, double volt);

#endif
