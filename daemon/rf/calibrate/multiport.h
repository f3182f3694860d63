/* multiport.h: three and four ports by two-port steps.

   Two ways, which meet in the same device:
   1. A two-port analyzer measures the ports in pairs while known reflections sit at the others: rf_multiport_join().
   2. An analyzer of N ports is calibrated by two-port calibrations of pairs of its ports: rf_multiport_terms(); its raw N-port data, switch
      terms inside, are corrected by rf_multiport_correct().
   Ports count from 0 here and from 1 in sentences.  All memory the caller's; pure, any thread. */
#ifndef TIPPLANE_RF_MULTIPORT_H
#define TIPPLANE_RF_MULTIPORT_H
#include "rf/calibrate/calibration.h"
#include "rf/network/netn.h"

/* ---- joining two-port measurements ----------------------------------------------------------------------------------------------------

   With D = diag(reflections seen by the device's ports when they are terminated), a port that is terminated obeys a_r = D_r b_r.  Take
   a' = a - D b, b' = b as waves instead: then a'_r = 0 there, the network is S' = S (1 - D S)^{-1}, and a two-port S_pq measured with the
   others terminated gives exactly the entries pp, pq, qp, qq of S' as S_pq (1 - D_pq S_pq)^{-1}.  Joined, S = (1 + S' D)^{-1} S'.  It is
   renormalisation to the impedances of the terminations, written so that open and short terminations need no impedance (own derivation;
   Tippet & Speciale, IEEE Trans. MTT 30 (1982) 661 with reference impedances, from memory; tests/unit/rf_multiport.c). */
struct port_pair {
        unsigned p, q;          /* the device's ports at ports 1 and 2 of the measurement */
        const struct net2 *net; /* corrected; same axis, plane and one known reference for all */
};
/* What terminates each of the device's ports whenever it is not measured, in the reference of the measurements: columns per port. */
struct terminations {
        double *re[RF_PORTS_MAX], *im[RF_PORTS_MAX];
};
/* out: made by netn_at() with 2 … 4 ports on the axis of the pairs; gets their plane and reference.  Every pair of ports is needed; what
   comes more than once is averaged.  ret_disagreement[n] (may be NULL): largest distance of one measurement's entry of S' from the mean of
   all that give it.  CODE_BAD_INPUT: a pair is missing or impossible, axes, planes or references differ, a termination or an entry is not a
   number; CODE_UNRESOLVABLE: terminations and device resonate (1 - D S singular).  NaN in the measurements is refused. */
enum code rf_multiport_join(const struct port_pair *pairs, size_t pair_n, const struct terminations *terminations, struct netn *out,
                            double *ret_disagreement, struct tp_error *err);

/* ---- an analyzer of N ports -------------------------------------------------------------------------------------------------------------

   One box per port and no leakage: M = (T1 S + T2)(T3 S + T4)^{-1} with the diagonals of eight terms, K_p = e10 of port 1 over that of port
   p (K of port 1 is 1); the K of a two-port calibration at ports p, q is K_q/K_p, so N - 1 of them that connect all ports give all. */
struct multiport_terms {
        const struct axis *axis;
        unsigned ports;
        enum plane plane;
        bool switch_removed;
        double *z_re, *z_im;
        struct {
                double *ed_re, *ed_im, *es_re, *es_im, *er_re, *er_im, *k_re, *k_im;
        } port[RF_PORTS_MAX];
};
size_t multiport_terms_bytes(size_t n, unsigned ports);
struct multiport_terms multiport_terms_at(void *memory_64, const struct axis *axis, unsigned ports); /* NaN everywhere */

struct pair_terms {
        unsigned p, q;
        const struct terms *terms; /* eight terms (convert_terms.h makes them from twelve) */
};
/* How far the pairs contradict each other, per frequency (columns may be NULL): 0 with N - 1 pairs and one box each. */
struct multiport_diagnosis {
        double *box_difference; /* largest |term - mean| of directivity, source match and relative tracking, over ports seen in several
                                   pairs */
        double *k_disagreement; /* largest |K_pq K_p/K_q - 1| over all pairs */
};
/* Boxes: the mean over the pairs that contain the port.  K: least squares of the logarithms, every pair the same weight, starting from a
   tree of pairs; with N - 1 pairs plain multiplication.  CODE_BAD_INPUT: the pairs do not connect all ports, are no eight terms, or differ
   in axis, plane, reference or in whether switch terms were removed. */
enum code rf_multiport_terms(const struct pair_terms *pairs, size_t pair_n, struct multiport_terms *out,
                             const struct multiport_diagnosis *diag, struct tp_error *err);

/* What each port reflects while another one is driven: a_i/b_i, columns per port. */
struct port_switch {
        double *re[RF_PORTS_MAX], *im[RF_PORTS_MAX];
};
/* The same out of the pairs' own switch terms (forward: what q reflects while p is driven), the mean where a port is in several pairs;
   ret_disagreement[n] (may be NULL): largest distance from the mean.  CODE_BAD_INPUT: a pair has none or other frequencies, a port is in no
   pair.  multiport_switch.c. */
enum code rf_multiport_switch(const struct pair_terms *pairs, const struct switch_terms *const *sw, size_t pair_n, unsigned ports,
                              struct port_switch *out, double *ret_disagreement, struct tp_error *err);
/* Raw ratios m_ij = b_i/a_j (source at j) to b = M a: with a_i = G_i b_i at the ports that are not driven, M = m A^{-1}, A_jj = 1,
   A_ij = G_i m_ij (Marks, 50th ARFTG, 1997, for two ports; own derivation for more).  false: no such network. */
bool rf_multiport_switch_remove_point(unsigned n, const double complex *raw, const double complex *g, double complex *ret);
bool rf_multiport_switch_insert_point(unsigned n, const double complex *m, const double complex *g, double complex *ret);
/* raw: PLANE_RECEIVER.  sw NULL only where the terms were solved without.  out may be raw. */
enum code rf_multiport_correct(const struct multiport_terms *terms, const struct netn *raw, const struct port_switch *sw, struct netn *out,
                               struct tp_error *err);
enum code rf_multiport_embed(const struct multiport_terms *terms, const struct netn *s, const struct port_switch *sw, struct netn *out,
                             struct tp_error *err);

#endif
