/* correct.h: from raw ratios to corrected S and back.  Kernels over columns: no allocation, in place allowed (out may be raw), NaN passes.

   rf_correct2 with eight or sixteen terms needs the switch terms that the calibration had removed (terms->switch_removed); with twelve
   terms they are inside the terms and or_null is not used.  One-port terms correct reflections only (rf_correct1). */
#ifndef TIPPLANE_RF_CORRECT_H
#define TIPPLANE_RF_CORRECT_H
#include "rf/correct/terms.h"

/* Raw S with the switch terms taken out / put in (Marks 1997).  out may be raw. */
enum code rf_switch_remove(const struct switch_terms *sw, const struct net2 *raw, struct net2 *out, struct tp_error *err);
enum code rf_switch_insert(const struct switch_terms *sw, const struct net2 *s, struct net2 *out, struct tp_error *err);
struct m2 rf_switch_remove_point(struct m2 m, double complex forward, double complex reverse);
struct m2 rf_switch_insert_point(struct m2 s, double complex forward, double complex reverse);

/* raw: PLANE_RECEIVER on the axis of the terms.  out: same axis; gets the plane and z of the terms.
   CODE_BAD_INPUT: axes differ, raw is not raw, the terms are one-port, or switch terms are missing where the calibration used them. */
enum code rf_correct2(const struct terms *terms, const struct net2 *raw, const struct switch_terms *or_null, struct net2 *out,
                      struct tp_error *err);
struct m2 rf_correct2_point(const struct terms *terms, size_t i, struct m2 raw_unterminated_or_12);
/* port 1 or 2; one reflection per frequency. */
enum code rf_correct1(const struct terms *terms, int port, const double *raw_re, const double *raw_im, double *out_re, double *out_im,
                      struct tp_error *err);
/* The inverse of rf_correct2, for tests and forecasts. */
enum code rf_embed2(const struct terms *terms, const struct net2 *s, const struct switch_terms *or_null, struct net2 *raw,
                    struct tp_error *err);
struct m2 rf_embed2_point(const struct terms *terms, size_t i, struct m2 s);

/* Moves both planes by d1_m, d2_m along a line of propagation constant gamma (1/m, per frequency), positive = towards the device centre.
   Only right in the line's own impedance: move first, renormalise afterwards.  In place. */
enum code rf_shift_planes(struct net2 *net, const double *gamma_re, const double *gamma_im, double d1_m, double d2_m, struct tp_error *err);

#endif
