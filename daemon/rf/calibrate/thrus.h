/* thrus.h: several thrus where a calibration needs one: least squares over all of them, how far each lies from the common answer, and which
   one is unlike the others; not for other rooms.  One thru alone is met exactly and takes the methods' own, faster way. */
#ifndef TIPPLANE_RF_THRUS_H
#define TIPPLANE_RF_THRUS_H
#include "rf/calibrate/solve.h"

size_t thrus_n(const struct problem *p);

/* Forward terms of a known thru with the port-1 box known; call with S and m turned round for the reverse ones. */
static inline void thru_terms(struct m2 s, double complex m11, double complex m21, double complex ed, double complex es, double complex er,
                              double complex *el, double complex *et)
{
        double complex g = (m11 - ed) / (er + es * (m11 - ed)) - s.e[0]; /* what the port sees beyond the thru's own reflection */
        *el = g / (s.e[1] * s.e[2] + s.e[3] * g);
        *et = m21 * (1 - es * s.e[0] - *el * s.e[3] + es * *el * m2_det(s)) / s.e[2];
}

/* ELF ETF ELR ETR from two and more known thrus; both boxes are in t already.  false: none of them transmits. */
bool thrus_solt(const struct point *p, double complex t[TERM_COUNT]);
/* SOLT's thrus as finished terms (twelve) predict them against their readings, at point p->i: |predicted - read| into residual[k]. */
void thrus_residual(const struct point *p, const struct terms *out, double *residual);
/* The sentence of thrus that disagree; for SOLT each is also held against itself (below). */
void thrus_say_solt(const struct problem *p, const struct terms *out, struct diagnosis *d);

/* "unknown_thru": r from all reciprocal thrus, whose N = X^{-1} T_M Y^{-1} = r T has det T = 1; r_first, of the first one, settles the sign
   of all.  residual (may be NULL): |S21 - S12|/2 of each at the tips. */
double complex thrus_reciprocal(const struct point *p, struct box x, struct box y, size_t first, double complex r_first, double *residual);
void thrus_say_reciprocal(const struct problem *p, struct diagnosis *d);

#endif
