/* extract.h: L, C, R, Q, SRF of a device and gamma, Zc of a line from its S.  Each number comes with its complex gradient, so that any list
   of causes can be carried through: dq = Re( sum_j grad[j] dS[j] ).  For a cause with sensitivity D[j] (complex) and circular standard
   uncertainty u per component, u(q) = u |sum_j grad[j] D[j]|. */
#ifndef TIPPLANE_RF_EXTRACT_H
#define TIPPLANE_RF_EXTRACT_H
#include "rf/network/network.h"

enum view {
        VIEW_UNKNOWN,
        VIEW_SINGLE,       /* port 2 grounded: Z = 1/Y11 */
        VIEW_SERIES,       /* series branch of the pi: Z = -2/(Y12 + Y21) */
        VIEW_DIFFERENTIAL, /* floating between the probes: Zd */
        VIEW_COUNT
};
enum element {
        ELEMENT_UNKNOWN,
        ELEMENT_L_H,   /* Im Z / w */
        ELEMENT_C_F,   /* VIEW_SINGLE: Im Y11 / w; else -1/(w Im Z) */
        ELEMENT_R_OHM, /* Re Z */
        ELEMENT_Q,     /* Im Z / Re Z */
        ELEMENT_Q_C,   /* -Im Z / Re Z, of a capacitor */
        ELEMENT_COUNT
};
extern const char *const view_words[VIEW_COUNT + 1], *const element_words[ELEMENT_COUNT + 1];

/* One point: S in z_ref (real), hz > 0.  The value, and its gradient by S11 S12 S21 S22 when ret_grad is not NULL.
   NaN when a denominator is 0. */
double rf_element(enum view view, enum element element, struct m2 s, double z_ref, double hz, double complex ret_grad[4]);
/* Z of the view itself, and dZ/dS (analytic). */
double complex rf_view_z(enum view view, struct m2 s, double z_ref, double complex ret_d_ds[4]);
/* dY = -Y dZ Y, dZ = (I - S)^{-1} dS (Z + z I): the change of Y when S moves by dS, for one real z. */
struct m2 rf_y_change(struct m2 s, struct m2 d_s, double z_ref);

/* Local quadratic over the five nearest points (fewer at a short axis): Y(hz) = sum_j w[j] Y[first + j].  A point of the axis itself gets
   weight 1.  In f where the five points span less than a factor 2, else in log f.  CODE_UNRESOLVABLE outside the axis. */
enum code rf_interpolation(const struct axis *axis, double hz, size_t *ret_first, size_t *ret_n, double w[5], struct tp_error *err);
/* The interpolated two-port as S in the network's own real z_ref: by Y, where Y exists at all points, else by S. */
enum code rf_interpolate(const struct net2 *net, double hz, struct m2 *ret_s, struct tp_error *err);

/* First sign change of the reactance above the frequency of largest |Q|, inductor: + to -, capacitor: - to +; found by linear interpolation
   of the susceptance.  *ret_hz is NaN, *ret_found false when there is none in the sweep ("> f_max"). */
enum code rf_self_resonance(const struct net2 *net, enum view view, bool capacitor, bool *ret_found, double *ret_hz, struct tp_error *err);

/* A line of length_m: gamma (1/m), Zc (ohm) per frequency; the phase is unwrapped from low frequency.  valid[i] is false (values as
   computed) where |sinh gl| < 0.3 and Zc is noise. */
enum code rf_line_extract(const struct net2 *net, double length_m, double *gamma_re, double *gamma_im, double *zc_re, double *zc_im,
                          bool *valid, struct tp_error *err);

#endif
