/* terms.h: error terms over frequency, one representation for all methods.  Pure, any thread, memory is the caller's.

   Error model (eight terms): receivers - X - device - Y - receivers.  EDF = e00, ESF = e11, ERF = e10 e01; EDR = e33, ESR = e22,
   ERR = e32 e23; K = e10/e23.  Twelve terms (SOLT) add ELF, ETF, EXF, ELR, ETR, EXR (Marks, 50th ARFTG, 1997). */
#ifndef TIPPLANE_RF_TERMS_H
#define TIPPLANE_RF_TERMS_H
#include "rf/network/network.h"

enum term {
        TERM_EDF,
        TERM_ESF,
        TERM_ERF,
        TERM_EDR,
        TERM_ESR,
        TERM_ERR,
        TERM_K,
        TERM_ELF,
        TERM_ETF,
        TERM_EXF,
        TERM_ELR,
        TERM_ETR,
        TERM_EXR,
        TERM_COUNT
};
extern const char *const term_words[TERM_COUNT + 1];
enum terms_model { TERMS_UNKNOWN, TERMS_ONE_PORT, TERMS_EIGHT, TERMS_TWELVE, TERMS_SIXTEEN, TERMS_MODEL_COUNT };
extern const char *const terms_model_words[TERMS_MODEL_COUNT + 1]; /* "unknown", "one_port", "eight", "twelve", "sixteen"; NULL */

/* The full model: every receiver is coupled to every tip.  M = (T1 S + T2)(T3 S + T4)^{-1} with 2x2 blocks, unterminated raw data M
   (Butler et al., IEEE Trans. MTT 39 (1991) 2211; Silvonen, Electron. Lett. 29 (1993) 1544).  Fifteen numbers count: T4_11 = 1.
   FULL_T1 + 0 … 3 are T1's 11 12 21 22, and so on. */
enum full_term { FULL_T1 = 0, FULL_T2 = 4, FULL_T3 = 8, FULL_T4 = 12, FULL_COUNT = 16 };

/* One representation for all methods.  TERMS_EIGHT: EDF … K, and the twelve-term equivalents without switch terms in the other columns (ELF
   = ESR, ETF = K ERR, ELR = ESF, ETR = ERF/K, EXF = EXR = 0); correction reads the trackings there.  TERMS_TWELVE fills all, K from ETF.
   TERMS_ONE_PORT: EDF ESF ERF and EDR ESR ERR, those of a port that was not calibrated and the rest NaN.  TERMS_SIXTEEN: `full`, and in the other columns the eight-term view of the
   same error network (its leakage left out), which one-port correction and comparisons read; for the other models `full` is NaN.
   Always there, because who makes the memory does not know yet what solve() will find: 681 points are 330 kB. */
struct terms {
        const struct axis *axis;
        const char *method; /* static text: a word of rf_methods[] */
        enum terms_model model;
        enum plane plane;
        bool switch_removed; /* raw data must have their switch terms removed with the ones of the sweep or the calibration */
        double *z_re, *z_im; /* reference of corrected data, ohm; NaN: the line's own, not known */
        double *re[TERM_COUNT], *im[TERM_COUNT];
        double *full_re[FULL_COUNT], *full_im[FULL_COUNT];
};
size_t terms_bytes(size_t n);
struct terms terms_at(void *memory_64, const struct axis *axis); /* NaN everywhere, model unknown */
unsigned terms_ports(const struct terms *terms);                 /* what they correct: 1 port 1 alone, 2 port 2 alone, 3 both; 0: nothing */

/* One port's box as a Moebius map of the true reflection G to the reading w: w = (a G + b)/(c G + 1). */
struct box {
        double complex a, b, c;
};
static inline double complex box_correct(struct box x, double complex w) { return (w - x.b) / (x.a - x.c * w); }
/* T_M = r [[a1, b1], [c1, 1]] T_D [[a2, -c2], [-b2, 1]]  ->  eight terms (the twelve-term columns get their equivalents). */
void terms_from_boxes(struct box x, struct box y, double complex r, double complex t[TERM_COUNT]);
struct m2 box_x(struct box x); /* [[a, b], [c, 1]] */
struct m2 box_y(struct box y); /* [[a, -c], [-b, 1]] */
void terms_put(struct terms *terms, size_t i, const double complex t[TERM_COUNT]);

#endif
