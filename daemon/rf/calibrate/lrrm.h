/* lrrm.h: the match of "lrrm" from the losslessness (or the capacitance) of the open; between solve_lrrm.c and lrrm_fit.c. */
#ifndef TIPPLANE_RF_LRRM_H
#define TIPPLANE_RF_LRRM_H
#include "rf/calibrate/solve.h"

/* One frequency: the open as a function of the match's impedance, G = (a + b Z)/(c + d Z), measured exactly, nothing assumed inside. */
struct lrrm_point {
        double complex p[2];       /* readings of the two reflections that the thru maps onto themselves, in the order of g */
        double complex kappa;      /* phi(w_open)/phi(w_match), phi(w) = (w - p0)/(w - p1) */
        double complex a, b, c, d; /* see above */
        double complex z;          /* the match's impedance by its definition, ohm */
        double complex open;       /* the open by its definition; NaN: none */
        double u_open;             /* noise of G per unit noise of every raw number */
        double w;                  /* rad/s */
};
/* What is added to the definition: Z = 1/(1/(z + r + jwL) + jwC). */
struct lrrm_match {
        double r_ohm, l_h, c_f;
};
double complex lrrm_impedance(const struct lrrm_point *q, struct lrrm_match m);
static inline double complex lrrm_open(const struct lrrm_point *q, double complex z) { return (q->a + q->b * z) / (q->c + q->d * z); }

/* Fits what `fit` says by Gauss-Newton; fills match_l_fit_h … of the diagnosis and warns where something cannot be determined: then it
   keeps the definition.  ret_apart: what is found moves by these two, independent of each other, with one standard uncertainty each. */
struct lrrm_match lrrm_fit(size_t n, const struct lrrm_point *point, enum rf_match_fit fit, struct lrrm_match ret_apart[2],
                           struct diagnosis *d);
/* open_c_fit_f, open_c_u_f: one capacitance for all frequencies, and what its scatter and the match's uncertainty make of it. */
void lrrm_open_c(size_t n, const struct lrrm_point *point, struct lrrm_match m, const struct lrrm_match apart[2], struct diagnosis *d);
/* Columns match_r_ohm, match_l_h: each frequency alone. */
void lrrm_columns(size_t n, const struct lrrm_point *point, enum rf_match_fit fit, struct lrrm_match m, struct diagnosis *d);

#endif
