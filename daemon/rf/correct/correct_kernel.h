/* correct_kernel.h: the loops under correct.h, for each kind of processor; not for other rooms.

   One source, compiled for any processor, for 256-bit and for 512-bit vectors, chosen at the call by what the processor says it can.  Every
   product is fused with the sum it goes into (fma), in each of them alike: all give the same bytes, and a result does not depend on the
   machine that made it.  (On a processor without fma the first one calls the C library's, exact and slow.)  In place is allowed. */
#ifndef TIPPLANE_RF_CORRECT_KERNEL_H
#define TIPPLANE_RF_CORRECT_KERNEL_H
#include "rf/correct/terms.h"

struct kernels {
        const char *word;  /* "any", "256", "512": widths in bits */
        bool (*can)(void); /* this processor has what it needs */
        /* Raw to raw with the switch terms taken out. */
        void (*unterminate)(size_t n, const struct net2 *raw, const struct switch_terms *sw, const struct net2 *out);
        /* Raw to S; ETF and ETR hold K ERR and ERF/K.  correct8_switch takes the switch terms out in the same pass.  *ret_same: `out` has
           the reference of the terms already, byte for byte. */
        void (*correct8)(size_t n, const struct terms *e, const struct net2 *raw, const struct net2 *out, bool *ret_same);
        void (*correct8_switch)(size_t n, const struct terms *e, const struct net2 *raw, const struct switch_terms *sw,
                                const struct net2 *out, bool *ret_same);
        void (*correct12)(size_t n, const struct terms *e, const struct net2 *raw, const struct net2 *out, bool *ret_same);
        /* One point i of the same. */
        struct m2 (*point8)(const struct terms *e, size_t i, struct m2 raw);
        struct m2 (*point12)(const struct terms *e, size_t i, struct m2 raw);
        struct m2 (*point_unterminate)(struct m2 m, double complex forward, double complex reverse);
};
extern const struct kernels kernels[]; /* kernel_n of them, the widest last */
extern const size_t kernel_n;
const struct kernels *kernels_best(void); /* the widest that this processor can */

/* Of the loops: writing a point to the columns of COLUMNS(name, …) (quad.h). */
#define WRITE(name, i, q)                                                                                                        \
        (name##11_re [i] = (q).s11.re, name##11_im [i] = (q).s11.im, name##12_re [i] = (q).s12.re, name##12_im [i] = (q).s12.im, \
         name##21_re [i] = (q).s21.re, name##21_im [i] = (q).s21.im, name##22_re [i] = (q).s22.re, name##22_im [i] = (q).s22.im)

#endif
