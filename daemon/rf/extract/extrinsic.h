/* extrinsic.h: what lies around an intrinsic transistor: pads to ground and between, then an inductance and a resistance in each lead.

     port 1 --+-- l_in, r_in --[ intrinsic ]-- r_out, l_out --+-- port 2
            c_in                    |                        c_out       c_between from port 1 to port 2
                              r_common, l_common                         (gate, drain, source; base, collector, emitter)

   They are read off the transistor itself where it is nothing but a network of resistances or capacitances (cold, off), then taken off a
   biased one: Dambrine, Cappy, Heliodore & Playez, IEEE Trans. MTT 36 (1988) 1151.  rf_quantity_at() reads the intrinsic elements of what
   is left.  Pure, no allocation. */
#ifndef TIPPLANE_RF_EXTRINSIC_H
#define TIPPLANE_RF_EXTRINSIC_H
#include "rf/network/network.h"

enum rf_extrinsic_element {
        RF_X_C_IN,
        RF_X_C_OUT,
        RF_X_C_BETWEEN,
        RF_X_L_IN,
        RF_X_L_OUT,
        RF_X_L_COMMON,
        RF_X_R_IN,
        RF_X_R_OUT,
        RF_X_R_COMMON,
        RF_X_COUNT
};
extern const char *const rf_extrinsic_words[RF_X_COUNT + 1], *const rf_extrinsic_units[RF_X_COUNT + 1];
struct rf_extrinsic {
        double value[RF_X_COUNT];   /* F, H, ohm; 0: none */
        double u[RF_X_COUNT];       /* standard uncertainty by the scatter over frequencies and biases; 0 where nothing was fitted */
        double u_model[RF_X_COUNT]; /* what the model lacks, where the caller has found it; 0 as it comes */
};

/* ---- capacitances, from the transistor that is off ---------------------------------------------------------------------------------- */
extern const char *const rf_off_words[], *const rf_cold_words[]; /* "unknown" first, NULL at the end */
enum rf_off {
        RF_OFF_UNKNOWN,
        RF_OFF_PI,        /* whatever lies between the terminals: c_in, c_out, c_between as they stand.  HBT, base reverse biased: overlap,
                             depletion and pads together */
        RF_OFF_COLD_PINCH /* FET pinched off, no drain voltage: the channel's edge is one capacitance to source and one to drain, alike
                             (Dambrine 1988), so that c_in = Im(Y11 + 2 Y12)/w, c_out = Im(Y22 + Y12)/w; c_between is the edge: not a pad */
};
/* Least squares of Im Y over w through zero, within low_hz to high_hz (0: everywhere); below the leads' influence, some GHz.  Fills the
   three capacitances of *ret, the rest stays.  For COLD_PINCH c_between is set to 0 and *ret_edge_f (may be NULL) gets the edge.
   CODE_UNRESOLVABLE: fewer than three points, or Im Y does not rise with frequency (residual above 20 %). */
enum code rf_extrinsic_off(enum rf_off kind, const struct net2 *off, double low_hz, double high_hz, struct rf_extrinsic *ret,
                           double *ret_edge_f, struct tp_error *err);

/* ---- inductances and resistances, from the conducting transistor without signal gain ------------------------------------------------ */
enum rf_cold {
        RF_COLD_UNKNOWN,
        /* FET, gate forward biased, no drain voltage; x = 1/I_gate (1/A):  Re Z11 = r_in + r_common + R_ch/3 + n k T x/q,
           Re Z12 = r_common + R_ch/2,  Re Z22 = r_out + r_common + R_ch.  Three equations for four resistances: R_ch must be given. */
        RF_COLD_GATE_FORWARD,
        /* FET in strong inversion: all of its own resistance goes to zero with x = 1/(V_gate - V_threshold) (1/V).
           At x = 0:  Z11 = r_in + r_common,  Z12 = r_common,  Z22 = r_out + r_common. */
        RF_COLD_VANISHING,
        /* Bipolar, base current with the collector open (or at 0 V): both junctions conduct, and whatever they are, conductances and
           diffusion capacitances alike, goes with the current, so that the inside's Z goes to zero with x = 1/I_base (1/A):
           Z11 = r_in + r_common + n k T x/q + jw (l_in + l_common), Z12 = r_common + jw l_common + a share of x, Z21 the same without
           (Maas & Tait 1992).  What a FET's gate does to its l_in does not happen. */
        RF_COLD_OPEN_COLLECTOR
};
/* nets[k] at x[k] > 0, n >= 2 different; pads (the capacitances of *ret) come off first.  r_channel_ohm: only for GATE_FORWARD.
   Fills inductances (mean over biases of Im Z/w, least squares) and resistances (Re Z over the window, extrapolated to x = 0 by a straight
   line) of *ret.  Of VANISHING inductances are extrapolated too, over x^2 (a channel across its gate looks like -R^2 C), and l_in is that
   of L w - 1/(C w), since a gate stays in front of its channel; of OPEN_COLLECTOR over x, as the resistances, and
   by a parabola where there are four biases or more; all of the same frequencies.  CODE_BAD_INPUT, CODE_UNRESOLVABLE with a sentence; a negative resistance
   is not repaired but said: CODE_UNRESOLVABLE when it is below zero by more than three times its u. */
enum code rf_extrinsic_cold(enum rf_cold kind, const struct net2 *const *nets, const double *x, size_t n, double r_channel_ohm,
                            double low_hz, double high_hz, struct rf_extrinsic *ret, struct tp_error *err);

/* What each of n biases weighs in the resistances and in the inductances that rf_extrinsic_cold() finds: they are sums of weight times what
   one bias gives.  false: n is none it takes. */
bool rf_extrinsic_weights(enum rf_cold kind, size_t n, const double *x, double *ret_r, double *ret_l);

/* The intrinsic two-port as S in the network's real z_ref; out may be net, its plane becomes PLANE_DEVICE.  One point: Y at the pads. */
struct m2 rf_extrinsic_remove_y(const struct rf_extrinsic *x, struct m2 y, double hz);
struct m2 rf_extrinsic_add_y(const struct rf_extrinsic *x, struct m2 y, double hz); /* its inverse */
enum code rf_extrinsic_remove(const struct rf_extrinsic *x, const struct net2 *net, struct net2 *out, struct tp_error *err);

#endif
