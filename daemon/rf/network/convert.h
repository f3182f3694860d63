/* convert.h: S, Z, Y, T, ABCD and h of two-ports, three kinds of waves, change of reference impedance, differential view.
   Point by point on struct m2; z in ohm, Z in ohm, Y in siemens, f nowhere needed.  Matrices that do not exist (Z of a thru, T of an
   isolating device) come out as infinities or NaN; ask rf_t_exists() first.  Pure, any thread.

   Waves at a port of voltage V, current I into the network, reference z (Re z > 0): a = F (V + G I), b = F (V - H I):
     pseudo  F = sqrt(Re z) / (2|z|)   G = z  H = z         Marks & Williams, J. Res. NIST 97 (1992) 533
     power   F = 1 / (2 sqrt(Re z))    G = z  H = conj z    Kurokawa, IEEE Trans. MTT 13 (1965) 194
     travel  F = 1 / (2 sqrt z)        G = z  H = z
   For real z the three are one.  Cascading T is only right with pseudo or travelling waves. */
#ifndef TIPPLANE_RF_CONVERT_H
#define TIPPLANE_RF_CONVERT_H
#include "rf/network/network.h"

enum wave { WAVE_PSEUDO, WAVE_POWER, WAVE_TRAVEL };

struct m2 rf_s_from_z(struct m2 z, const double complex z_ref[2], enum wave kind);
struct m2 rf_z_from_s(struct m2 s, const double complex z_ref[2], enum wave kind);
/* One real reference impedance at both ports; works where Z does not exist. */
struct m2 rf_s_from_y(struct m2 y, double z_ref);
struct m2 rf_y_from_s(struct m2 s, double z_ref);
struct m2 rf_z50(struct m2 s, double z_ref); /* Z = z (I - S)^{-1} (I + S), one real z_ref */
struct m2 rf_s_from_z50(struct m2 z, double z_ref);

/* Change of references and wave kind at both ports without going through Z: right for thrus, opens and shorts too. */
struct m2 rf_renormalise(struct m2 s, const double complex z_from[2], enum wave kind_from, const double complex z_to[2], enum wave kind_to);
/* The usual case: the same complex z at both ports before and after, pseudo-waves. */
struct m2 rf_renormalise_equal(struct m2 s, double complex z_from, double complex z_to);
double complex rf_renormalise_reflection(double complex gamma, double complex z_from, double complex z_to);

bool rf_t_exists(struct m2 s); /* |S21| > 1e-12 */
struct m2 rf_t_from_s(struct m2 s);
struct m2 rf_s_from_t(struct m2 t);
/* Same (complex) z at both ports, pseudo-waves. */
struct m2 rf_abcd_from_s(struct m2 s, double complex z_ref);
struct m2 rf_s_from_abcd(struct m2 abcd, double complex z_ref);
struct m2 rf_h_from_y(struct m2 y);
/* Hybrid parameters (H: V1, I2 of I1, V2; G: I1, V2 of V1, I2), real references per port, ohm; not through Z or Y, which need not exist. */
struct m2 rf_s_from_h(struct m2 h, const double z_ref[2]);
struct m2 rf_s_from_g(struct m2 g, const double z_ref[2]);

/* A device floating between the probes: Zd = Z11 - Z12 - Z21 + Z22, formed from Y because Z of a nearly floating device is huge. */
double complex rf_z_differential_from_y(struct m2 y);
/* Mixed mode: order dd, dc, cd, cc; references 2z (differential) and z/2 (common). */
struct m2 rf_mixed_mode(struct m2 s);

/* All frequencies of a network to one impedance, in place; its z must be known (CODE_BAD_INPUT otherwise). */
enum code rf_renormalise_net(struct net2 *net, double complex z_to, struct tp_error *err);

#endif
