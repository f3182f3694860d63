/* vector_fit.h: rational models of tabulated responses, H_q(s) = sum_n r_qn / (s - p_n) + d_q + s e_q, common poles for all elements q.
   Sources     Gustavsen & Semlyen, IEEE Trans. PWRD 14 (1999) 1052; relaxed: Gustavsen, PWRD 21 (2006) 1587; fast: Deschrijver, Mrozowski,
               Dhaene & De Zutter, IEEE MWCL 18 (2008) 383.
   Phasors e^{+jwt}, s = j 2 pi f.  Poles are stable always (an unstable one is flipped to the left half plane).
   Pure: no allocation, no state; the same data give the same bytes. */
#ifndef TIPPLANE_RF_VECTOR_FIT_H
#define TIPPLANE_RF_VECTOR_FIT_H
#include "rf/network/network.h"

#define RF_FIT_ELEMENTS_MAX 16
#define RF_FIT_ORDER_MAX 40

/* 11 kB, copied by assignment.  A listed pole is real (im = 0, real residue) or one of a pair (im > 0; pole and residue of the other are
   the conjugates).  Sorted by |p|. */
struct rational {
        size_t element_n, pole_n;
        double complex pole[RF_FIT_ORDER_MAX];                         /* rad/s, Re < 0 */
        double complex residue[RF_FIT_ELEMENTS_MAX][RF_FIT_ORDER_MAX]; /* rad/s times the unit of H */
        double d[RF_FIT_ELEMENTS_MAX];                                 /* unit of H */
        double e[RF_FIT_ELEMENTS_MAX];                                 /* unit of H times s */
};
size_t rational_order(const struct rational *r); /* a pair counts 2 */
double complex rational_at(const struct rational *r, size_t element, double hz);
double complex rational_at_s(const struct rational *r, size_t element, double complex s); /* s in rad/s, complex frequency */

/* Columns stay the caller's.  hz strictly rising, finite, >= 0 (0 is legal), the last one > 0; values finite. */
struct fit_data {
        size_t n, element_n; /* element_n: 1 … RF_FIT_ELEMENTS_MAX */
        const double *hz;
        const double *re[RF_FIT_ELEMENTS_MAX], *im[RF_FIT_ELEMENTS_MAX];
};
enum fit_weight {
        FIT_WEIGHT_ONE,     /* S */
        FIT_WEIGHT_INVERSE, /* 1/|H|, for Y and Z over decades; |H| below 1e-6 of the element's largest, or below `floor`, counts as that */
        FIT_WEIGHT_GIVEN    /* weight[] of the options */
};
struct fit_options {
        size_t order;                   /* poles asked for, a pair counts 2; 0: grown 2, 4, 6 … until the noise or no more gain */
        size_t order_max;               /* when grown; 0: RF_FIT_ORDER_MAX */
        bool no_constant, proportional; /* d is fitted unless no_constant; e only if proportional */
        enum fit_weight weight;
        const double *weights; /* FIT_WEIGHT_GIVEN: n weights >= 0, common to all elements */
        double floor;          /* FIT_WEIGHT_INVERSE, unit of H: below it differences do not matter; 0: none */
        double noise;          /* rms of |w dH| that the data carry; 0: not known */
        bool hold_dc;          /* H(0) is kept exactly; not with no_constant */
        const double *dc;      /* element_n values; NULL: the real part at the lowest frequency */
        bool keep_all;         /* no pole is dropped */
        unsigned rounds_max;   /* of pole relocation; 0: 20 */
};
enum fit_stop {
        FIT_STOP_UNKNOWN,
        FIT_STOP_ORDER, /* the order asked for */
        FIT_STOP_NOISE, /* rms below three times the noise */
        FIT_STOP_EXACT, /* nothing left but rounding */
        FIT_STOP_GAIN,  /* the last two steps gained less than 10 % each */
        FIT_STOP_MOST,  /* order_max reached */
        FIT_STOP_COUNT
};
extern const char *const fit_stop_words[FIT_STOP_COUNT + 1];
struct fit_report {
        size_t order, order_tried, dropped; /* of the model; largest tried; spurious poles taken out (a pair counts 2) */
        unsigned rounds;                    /* relocations over all orders */
        double signal_rms;                  /* rms of |w H| over points and elements */
        double rms;                         /* rms of |w (model - H)| over points and elements */
        double worst, worst_hz;             /* largest |model - H|, without weight */
        size_t worst_element;
        enum fit_stop stop;
};
/* Bytes of workspace, 64-byte aligned, for at most `order_max` poles (0: RF_FIT_ORDER_MAX). */
size_t rf_vector_fit_bytes(size_t n, size_t element_n, size_t order_max);
/* CODE_BAD_INPUT: index and value of what is wrong, too few points for the order.  CODE_UNRESOLVABLE: nothing can be fitted. */
enum code rf_vector_fit(const struct fit_data *data, const struct fit_options *options, void *workspace, struct rational *ret,
                        struct fit_report *ret_report, struct tp_error *err);

#endif
