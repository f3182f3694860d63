/* rf/: what physics says about arrays of numbers.  May use: base/, libm, LAPACKE.
   Must not use: libuv, SQLite, files, sockets, the clock, globals.  Read this header first, then calibration.h and correct.h.

   network.h: frequency axes and two-ports as structures of arrays.  Conventions, stated once, here:

   - Phasors turn with e^{+jwt}: a passive delay is S21 = e^{-jw tau}, L is +jwL, C is +jwC; gamma = alpha + j beta, both >= 0.
   - S_ij = b_i / a_j: the first index receives, the second sends.  Port 1 is the left probe, port 2 the right one; "forward" drives port 1.
   - Everywhere in memory the order is S11, S12, S21, S22 (row-major).  Only Touchstone two-ports differ, and only inside formats/.
   - [b1; a1] = T [a2; b2]: the T of a chain is the product, the T of a matched line is diag(e^{-gl}, e^{+gl}).
   - Waves are pseudo-waves (Marks & Williams, J. Res. NIST 97 (1992) 533) unless a function says otherwise.
   - SI throughout: Hz, s, m, ohm, H, F, S.  Never dB, never degrees, except in names that say so (_db, _deg).
   - NaN goes in, NaN comes out; nothing is repaired.

   Threads: nothing here has state; all memory is the caller's. */
#ifndef TIPPLANE_RF_NETWORK_H
#define TIPPLANE_RF_NETWORK_H
#include "base/error.h"
#include "rf/numbers/m2.h"
#include <stdint.h>

/* One frequency list, shared by all networks measured on it.  hz is strictly rising, >= 0, finite. */
struct axis {
        size_t n;
        const double *hz;
        uint64_t hash; /* hash64 of the n doubles: axis_of() makes it */
};
/* Checks the list and fills *ret; hz stays the caller's and must outlive the axis.  CODE_BAD_INPUT names index and value. */
enum code axis_of(size_t n, const double *hz, struct axis *ret, struct tp_error *err);
bool axis_equal(const struct axis *a, const struct axis *b); /* pointer, then hash and count, then bytes */
/* Index of the point nearest to hz (lower one on a tie); n >= 1. */
size_t axis_nearest(const struct axis *a, double hz);

/* Where the reference planes lie. */
enum plane {
        PLANE_UNKNOWN,
        PLANE_RECEIVER,    /* raw ratios as the analyzer forms them; z_ref means nothing */
        PLANE_TIP,         /* probe tips: where the standards of a substrate were defined */
        PLANE_LINE_MIDDLE, /* middle of the first line of a line calibration */
        PLANE_DEVICE,      /* after de-embedding */
        PLANE_COUNT
};
extern const char *const plane_words[PLANE_COUNT + 1]; /* "unknown", "receiver", …; NULL at the end (a FIELD_CHOICE list) */

/* A two-port over frequency.  z_re, z_im: reference impedance, ohm, per frequency, the same at both ports; NaN means "the line's own
   impedance, its value is not known".  Columns are 64-byte aligned and padded to 8 doubles. */
struct net2 {
        const struct axis *axis;
        enum plane plane;
        double *z_re, *z_im;
        double *re[4], *im[4]; /* S11 S12 S21 S22 */
};
size_t net2_stride(size_t n); /* n rounded up to 8 */
size_t net2_bytes(size_t n);
/* memory: net2_bytes(axis->n) bytes, 64-byte aligned (an arena gives that); S is zeroed, z is 50 ohm. */
struct net2 net2_at(void *memory_64, const struct axis *axis, enum plane plane);
void net2_copy(struct net2 *to, const struct net2 *from); /* axes equal; copies S, z and plane */
void net2_set_z(struct net2 *net, double z_re, double z_im);
/* The one real z of all frequencies, ohm; NaN if z is complex, unknown or changes over frequency. */
double net2_z_real(const struct net2 *net);
bool net2_finite(const struct net2 *net); /* all of its S */

static inline struct m2 net2_get(const struct net2 *net, size_t i)
{
        struct m2 m;
        for (int k = 0; k < 4; k++)
                m.e[k] = CMPLX(net->re[k][i], net->im[k][i]);
        return m;
}
static inline void net2_put(struct net2 *net, size_t i, struct m2 m)
{
        for (int k = 0; k < 4; k++) {
                net->re[k][i] = creal(m.e[k]);
                net->im[k][i] = cimag(m.e[k]);
        }
}

/* What the port that is not driven reflects: forward = a2/b2 with the source at port 1, reverse = a1/b1 with the source at port 2
   (Marks, 50th ARFTG, 1997, 115). */
struct switch_terms {
        const struct axis *axis;
        double *f_re, *f_im, *r_re, *r_im;
};
size_t switch_terms_bytes(size_t n);
struct switch_terms switch_terms_at(void *memory_64, const struct axis *axis); /* zeroed */

#endif
