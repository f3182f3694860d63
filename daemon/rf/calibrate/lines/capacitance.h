/* capacitance.h: the capacitance per metre of lines whose propagation constant a line calibration has found: with it (line_c_f_m of a problem) the
   results come in ohm instead of in the line's own impedance (Marks & Williams, IEEE MGWL 1 (1991) 141).  Pure, no allocation. */
#ifndef TIPPLANE_RF_CAPACITANCE_H
#define TIPPLANE_RF_CAPACITANCE_H
#include "rf/network/network.h"

struct rf_line_capacitance {
        double c_f_m, u_f_m; /* F/m, standard error of the mean or of the intercept by scatter (0 from one point) */
        double loss_tangent; /* G/(wC), mean; NaN where the way cannot tell it */
        size_t points;       /* frequencies used, from … to */
        double lowest_hz, highest_hz;
};
/* Both use the lowest decade in which nstd (diagnosis.nstd; NULL: every frequency) is at most 3, because capacitance is constant there and
   the line's resistance still near its DC value.  gamma in 1/m.  CODE_BAD_INPUT: a resistance that is none; CODE_UNRESOLVABLE: no good
   frequency, or a capacitance outside 1 … 10000 pF/m.  *ret is untouched then. */

/* From a small lumped load at the line's end: its DC resistance and its reflection in the line's own impedance (as corrected by the
   calibration without line_c_f_m, planes at the load).  C - jG/w = gamma (1 + r)/(jw R (1 - r)) (Williams & Marks, IEEE MGWL 1 (1991) 243).
 */
enum code rf_line_capacitance_from_load(size_t n, const double *hz, const double *gamma_re, const double *gamma_im, const double *load_re,
                                        const double *load_im, const double *nstd_or_null, double r_dc_ohm, struct rf_line_capacitance *ret,
                                        struct tp_error *err);
/* From the DC resistance per metre of the line itself, both conductors: Im gamma^2 / w = R C at low frequency (G << wC).  Skin effect makes R
   grow, at first with f^2 (a resistance is even in frequency: Bessel's series of a round wire, x coth x of a strip): C + k f^2 is fitted where R
   has grown by at most 15 per cent, and u holds what up to 40 per cent would have given instead.  Of no use where the lowest good frequency is
   above that: nothing in the data tells (crowding at the edges of a strip, wire thicker than two skin depths); a load's way has no such limit. */
enum code rf_line_capacitance_from_line_resistance(size_t n, const double *hz, const double *gamma_re, const double *gamma_im,
                                                   const double *nstd_or_null, double r_dc_ohm_m, struct rf_line_capacitance *ret,
                                                   struct tp_error *err);

#endif
