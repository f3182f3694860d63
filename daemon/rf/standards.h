/* standards.h: what a calibration standard reflects, from its definition.  The common trade model:
     open  C(f) = C0 + C1 f + C2 f^2 + C3 f^3   short  L(f) likewise (powers of f, not w)   load  R (1 + tc (T - T0)) + jwL
     behind an offset line: delay s, loss ohm/s at 1 GHz, impedance z_off; skin effect grows as sqrt f and adds as much reactance.
   C and L may be negative and are never "repaired": on wafer an open is a lifted probe, its reference plane lies over metal. */
#ifndef TIPPLANE_RF_STANDARDS_H
#define TIPPLANE_RF_STANDARDS_H
#include "rf/calibration.h"

struct standard_definition {
        enum rf_standard_kind kind;                             /* OPEN, SHORT, LOAD, THRU, LINE */
        double c_f[4];                                          /* F, F/Hz, F/Hz^2, F/Hz^3 */
        double l_h[4];                                          /* H, H/Hz, … (short; load uses l_h[0]) */
        double r_ohm, r_per_k, t_ref_c;                         /* load: R at t_ref_c and its relative change per kelvin */
        double offset_delay_s, offset_loss_ohm_s, offset_z_ohm; /* offset_z_ohm 0: 50 */
};
/* Reflection in 50 ohm at hz (> 0) and temperature t_c (degrees Celsius; matters for loads only). */
double complex rf_standard_reflection(const struct standard_definition *def, double t_c, double hz);
/* Thru or line as a two-port in 50 ohm: the offset line alone. */
struct m2 rf_standard_thru(const struct standard_definition *def, double hz);
/* Line of length_m with gamma (1/m) and Zc (ohm), S in z_ref. */
struct m2 rf_line(double complex gamma_m, double complex zc_ohm, double length_m, double complex z_ref);
/* Fills an ideal over its axis: a reflection at both ports (S12 = S21 = 0; port2 NULL: the same) or the thru. */
enum code rf_standard_ideal(const struct standard_definition *port1, const struct standard_definition *port2, double t_c, struct net2 *ret,
                            struct tp_error *err);

#endif
