/* standards.h: what a calibration standard reflects, from its definition.  The common trade model:
     open  C(f) = C0 + C1 f + C2 f^2 + C3 f^3   short  L(f) likewise (powers of f, not w)   load  (R (1 + tc (T - T0)) + jwL(f)) parallel
   C(f) behind an offset line: delay s, loss ohm/s at 1 GHz, impedance z_off; skin effect grows as sqrt f and adds as much reactance. C and
   L may be negative and are never "repaired": on wafer an open is a lifted probe, its reference plane lies over metal. Or a table: S as
   characterised, on a list of frequencies of its own. A definition belongs to one copy on one substrate under one kind of probe; copies
   differ by more than what drifts.  So each number has the standard uncertainty of this copy against it, and a load may be trimmed by what
   a DC meter reads of this copy. */
#ifndef TIPPLANE_RF_STANDARDS_H
#define TIPPLANE_RF_STANDARDS_H
#include "rf/calibrate/calibration.h"

/* Standard uncertainties (1 s) of the numbers of a definition, taken as independent; 0: exact. */
struct standard_u {
        double c_f[4], l_h[4];
        double r_ohm, r_per_k;
        double offset_delay_s, offset_loss_ohm_s, offset_z_ohm;
};
struct standard_definition {
        enum rf_standard_kind kind;                             /* OPEN, SHORT, LOAD, THRU, LINE */
        double c_f[4];                                          /* F, F/Hz, F/Hz^2, F/Hz^3; open, and parallel to a load */
        double l_h[4];                                          /* H, H/Hz, …; short, and in series with a load */
        double r_ohm, r_per_k, t_ref_c;                         /* load: R at t_ref_c and its relative change per kelvin */
        double r_tolerance_ohm;                                 /* load: how far from r_ohm a copy may read; 0: not stated, a tenth */
        double dc_ohm, dc_at_c;                                 /* load: r_ohm is so that it has dc_ohm at dc_at_c; 0: it was not read */
        double offset_delay_s, offset_loss_ohm_s, offset_z_ohm; /* offset_z_ohm 0: 50 */
        struct standard_u u;
};
/* Every number finite, R > 0 for loads (at the temperature too), impedance and loss not negative; CODE_BAD_INPUT names the number. */
enum code rf_standard_check(const struct standard_definition *def, double t_c, struct tp_error *err);
/* Reflection in 50 ohm at hz (> 0) and temperature t_c (degrees Celsius; matters for loads only). */
double complex rf_standard_reflection(const struct standard_definition *def, double t_c, double hz);
/* Thru or line as a two-port in 50 ohm: the offset line alone. */
struct m2 rf_standard_thru(const struct standard_definition *def, double hz);
/* Line of length_m with gamma (1/m) and Zc (ohm), S in z_ref. */
struct m2 rf_line(double complex gamma_m, double complex zc_ohm, double length_m, double complex z_ref);
/* Fills an ideal over its axis: a reflection at both ports (S12 = S21 = 0; port2 NULL: the same) or the thru. */
enum code rf_standard_ideal(const struct standard_definition *port1, const struct standard_definition *port2, double t_c, struct net2 *ret,
                            struct tp_error *err);

/* What each uncertain number does to the reflection (thru, line: to the transmission): ret_d[k] = dG/dp_k u_k, one complex number a cause,
   their names (static text) in ret_name.  Returns how many, at most RF_STANDARD_CAUSES.  u_t_k: of the temperature, kelvin.
   All frequencies of one cause move together. */
#define RF_STANDARD_CAUSES 14
size_t rf_standard_causes(const struct standard_definition *def, double t_c, double u_t_k, double hz,
                          double complex ret_d[RF_STANDARD_CAUSES], const char *ret_name[RF_STANDARD_CAUSES]);
/* The same as what becomes of all four S, a reflection standing at both ports. */
size_t rf_standard_moves(const struct standard_definition *def, double t_c, double u_t_k, double hz, struct m2 ret_d[RF_STANDARD_CAUSES],
                         const char *ret_name[RF_STANDARD_CAUSES]);
/* Their sum as one standard uncertainty per component: sqrt(sum |d|^2 / 2). */
double rf_standard_u(const struct standard_definition *def, double t_c, double u_t_k, double hz);

/* How far from r_ohm a copy of a load may read, ohm at t_ref_c: what its definition states, else (stated_ohm 0) a tenth of r_ohm. */
double rf_load_tolerance(double r_ohm, double stated_ohm);
/* A load's resistance read at t_c, brought to t_ref_c. */
double rf_standard_load_at_reference(const struct standard_definition *def, double ohm, double t_c);
/* The load's resistance from a DC reading of this very copy (four wires, or less the leads), taken at t_c: R at t_ref_c and its uncertainty
   become the reading's; a coefficient that is not known moves it as far as its temperature is another one than the reading's.  CODE_BAD_INPUT: not a load, a reading that is no number, or one that lies outside of the definition's tolerance:
   then it is another thing, worn, or not in contact. */
enum code rf_standard_trim_load(struct standard_definition *def, double dc_ohm, double u_dc_ohm, double t_c, struct tp_error *err);

/* A standard known by data: `data` on its own axis in any real impedance, brought to 50 ohm and to the axis of ret.  Between points the
   mean of the two local parabolas in S that share them (exact at the points, smooth to first order); *ret_doubt (may be NULL): the largest
   distance of the two, an estimate of what interpolation leaves open, and *ret_doubt_hz where.
   CODE_BAD_INPUT: fewer than three points, an impedance that is complex or unknown, a frequency outside of the data (nothing is
   extrapolated), a point that is no number. */
enum code rf_standard_from_data(const struct net2 *data, struct net2 *ret, double *ret_doubt, double *ret_doubt_hz, struct tp_error *err);

#endif
