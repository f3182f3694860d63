/* frame.h: the two-port frame from a known thru and a few readings (own derivation, checked by tests/reference/rf_reflects.c); not for
   other rooms.

   With the raw S of a known thru, M, a reading w2 of a reflection G at port 2 tells what port 1 would have read through the thru:
        w' = M11 + M12 M21/(w2 - M22)        for the reflection        h(G) = S11 + S12 S21/(G - S22)
   with S the thru as it is: the same formula twice.  For a matched thru of S21 = e, h(G) = e^2/G.  So a reflection equal at both ports
   gives two points of one and the same port-1 map f, and no reciprocity of the boxes and no square root of S12/S21 is needed. Images may be
   infinite (of a match through a matched thru they are), hence p/q. */
#ifndef TIPPLANE_RF_FRAME_H
#define TIPPLANE_RF_FRAME_H
#include "rf/calibrate/solve.h"

struct image {
        double complex p, q; /* p/q */
};
static inline struct image image_through(struct m2 thru, double complex w)
{
        double complex q = w - thru.e[3];
        return (struct image){thru.e[0] * q + thru.e[1] * thru.e[2], q};
}

/* f from (w - w1)/(wq w - wp) = k (g - g1)/(gq g - gp): two points f(g1) = w1 and f(gp/gq) = wp/wq, and one number. */
static inline struct box frame_box(double complex g1, struct image g, double complex w1, struct image w, double complex k)
{
        double complex d = 1 / (k * w.q * g1 - g.p);
        return (struct box){(w1 * g.q - k * w.p) * d, (k * w.p * g1 - w1 * g.p) * d, (g.q - k * w.q) * d};
}

/* Port 2's box from port 1's: r Y = T_thru^{-1} X^{-1} T_M, in adjugates; S21 of both must not vanish.  *ret_etf = K ERR. */
static inline struct box frame_other(struct box x, struct m2 raw, struct m2 thru, double complex *ret_etf)
{
        struct m2 n = m2_mul(m2_mul(m2_of(1, -thru.e[0], thru.e[3], -m2_det(thru)), m2_of(1, -x.b, -x.c, x.a)),
                             m2_of(-m2_det(raw), raw.e[0], -raw.e[3], 1));
        double complex k = 1 / n.e[3];
        *ret_etf = thru.e[1] * (x.a - x.b * x.c) * raw.e[2] * k;
        return (struct box){n.e[0] * k, -n.e[2] * k, -n.e[1] * k};
}
/* Eight terms of both boxes and K ERR. */
static inline void frame_terms(struct box x, struct box y, double complex etf, double complex t[TERM_COUNT])
{
        t[TERM_EDF] = x.b;
        t[TERM_ESF] = -x.c;
        t[TERM_ERF] = x.a - x.b * x.c;
        t[TERM_EDR] = y.b;
        t[TERM_ESR] = -y.c;
        t[TERM_ERR] = y.a - y.b * y.c;
        t[TERM_K] = etf / t[TERM_ERR];
        t[TERM_ELF] = t[TERM_ESR];
        t[TERM_ETF] = etf;
        t[TERM_ELR] = t[TERM_ESF];
        t[TERM_ETR] = t[TERM_ERF] * t[TERM_ERR] / etf;
        t[TERM_EXF] = t[TERM_EXR] = 0;
}

#endif
