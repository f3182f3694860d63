/* netn.h: networks of one to four ports: structure of arrays, conversions S/Z/Y, change of reference impedance, mixed modes.
   Conventions are those of network.h.  Matrices of one frequency are row-major arrays of n n complex numbers (S11 S12 … S1n S21 …); in, out
   may be the same array.  Every function on one frequency says false when a matrix that must be inverted has no inverse (or NaN went in):
   out then holds NaN.  References per port, ohm, Re > 0, complex allowed.  Pure, any thread. */
#ifndef TIPPLANE_RF_NETN_H
#define TIPPLANE_RF_NETN_H
#include "rf/network/convert.h"

#define RF_PORTS_MAX 4
#define RF_ENTRIES_MAX (RF_PORTS_MAX * RF_PORTS_MAX)

struct netn {
        const struct axis *axis;
        unsigned ports; /* 1 … RF_PORTS_MAX */
        enum plane plane;
        double *z_re[RF_PORTS_MAX], *z_im[RF_PORTS_MAX]; /* reference per port and frequency, ohm; NaN: the line's own, not known */
        double *re[RF_ENTRIES_MAX], *im[RF_ENTRIES_MAX]; /* entry (i, j) at i ports + j */
};
size_t netn_bytes(size_t n, unsigned ports);
/* memory: netn_bytes(axis->n, ports), 64-byte aligned; S is zeroed, z is 50 ohm. */
struct netn netn_at(void *memory_64, const struct axis *axis, unsigned ports, enum plane plane);
void netn_get(const struct netn *net, size_t i, double complex *ret_s);
void netn_put(struct netn *net, size_t i, const double complex *s);
void netn_z(const struct netn *net, size_t i, double complex *ret_z);
struct netn netn_of_two(const struct net2 *net); /* the two-port's own columns */
void netn_set_z(struct netn *net, unsigned port /* from 0 */, double complex z);

/* x = a^{-1} b and x = b a^{-1}, n <= RF_PORTS_MAX, by elimination with row pivoting. */
bool rfn_divide_left(unsigned n, const double complex *a, const double complex *b, double complex *x);
bool rfn_divide_right(unsigned n, const double complex *b, const double complex *a, double complex *x);
void rfn_multiply(unsigned n, const double complex *a, const double complex *b, double complex *x);

/* S = F (Z - H)(Z + G)^{-1} F^{-1} and back, with the F, G, H of convert.h (Marks & Williams 1992 for pseudo-waves). */
bool rfn_s_from_z(unsigned n, const double complex *z, const double complex *z_ref, enum wave kind, double complex *s);
bool rfn_z_from_s(unsigned n, const double complex *s, const double complex *z_ref, enum wave kind, double complex *z);
/* Y by its own formulas, not through Z, which a floating device does not have. */
bool rfn_s_from_y(unsigned n, const double complex *y, const double complex *z_ref, enum wave kind, double complex *s);
bool rfn_y_from_s(unsigned n, const double complex *s, const double complex *z_ref, enum wave kind, double complex *y);
/* Change of references and wave kind without Z or Y: right for thrus, opens and shorts too. */
bool rfn_renormalise(unsigned n, const double complex *s, const double complex *z_from, enum wave kind_from, const double complex *z_to,
                     enum wave kind_to, double complex *ret);
/* All frequencies, pseudo-waves, to one impedance at all ports, in place.  CODE_BAD_INPUT: a reference is not known or the network has no
   waves in the new one; S is then as before up to that frequency, so keep a copy if that matters. */
enum code rfn_renormalise_net(struct netn *net, double complex z_to, struct tp_error *err);

/* Mixed modes: mode k of the result is the difference of ports p and q, their sum, or port p as it stands (Bockelman & Eisenstadt, IEEE
   Trans. MTT 43 (1995) 1530, from memory).  With orthonormal mixing the waves are those of reference 2 z (difference) and z/2 (sum), for
   any z that p and q share. */
enum mode_kind { MODE_SINGLE, MODE_DIFFERENTIAL, MODE_COMMON };
struct mode {
        enum mode_kind kind;
        unsigned p, q; /* from 0; q unused for MODE_SINGLE */
};
/* Checks that the modes of n ports are n independent ones and that both ports of a pair are used together; the sentence names the mode. */
enum code rfn_modes_check(unsigned n, const struct mode *modes, struct tp_error *err);
void rfn_mixed_mode(unsigned n, const double complex *s, const struct mode *modes, double complex *ret);
void rfn_single_ended(unsigned n, const double complex *mixed, const struct mode *modes, double complex *ret);
/* Both ports of a pair must have one reference at every frequency (CODE_BAD_INPUT); out gets 2 z, z/2 or z per mode.  out: same axis,
   ports; may be in. */
enum code rfn_mixed_mode_net(const struct netn *in, const struct mode *modes, struct netn *out, struct tp_error *err);

#endif
