/* standards_solve.h: definitions from data: what a copy is, from what a trusted calibration reads on it.  The numbers of a definition are
   fitted to corrected reflections, with covariance; what the data cannot tell is refused, not made up.  Pure, any thread, no memory. */
#ifndef TIPPLANE_RF_STANDARDS_SOLVE_H
#define TIPPLANE_RF_STANDARDS_SOLVE_H
#include "rf/calibrate/standards.h"

enum standard_number {
        STANDARD_C0, /* open, load (parallel) */
        STANDARD_C1,
        STANDARD_C2,
        STANDARD_C3,
        STANDARD_L0, /* short, load (in series) */
        STANDARD_L1,
        STANDARD_L2,
        STANDARD_L3,
        STANDARD_R, /* load, at t_ref_c */
        STANDARD_DELAY,
        STANDARD_NUMBER_COUNT
};
extern const char *const standard_number_words[STANDARD_NUMBER_COUNT + 1]; /* "C0", …, "R", "offset delay" */
#define STANDARD_FIT(number) (1u << (number))

struct standard_fit {
        size_t n; /* fitted numbers, in the order of the enum */
        enum standard_number which[STANDARD_NUMBER_COUNT];
        double value[STANDARD_NUMBER_COUNT], u[STANDARD_NUMBER_COUNT];
        double correlation[STANDARD_NUMBER_COUNT][STANDARD_NUMBER_COUNT];
        double condition;        /* of the columns scaled to one length: 1 = all independent */
        double scatter;          /* rms of the residuals per component, as a reflection */
        double chi2_per_freedom; /* with given u: 1 when model and u are right; NaN without */
        double worst, worst_hz;  /* largest |data - model| */
        unsigned rounds;
};

/* Fits the numbers in `numbers` (bits STANDARD_FIT) of a definition of kind open, short or load to reflections g in 50 ohm at t_c; the
   others stay as in *def, which is also the start.  u: standard uncertainty of g per component and frequency; NULL: equal, taken from the
   residuals. *def gets the values and their u; on failure it is untouched.  Corrections common to all data (the calibration's own errors)
   are not in u. CODE_BAD_INPUT: a number that this kind has not, too few frequencies, data that are no numbers or stand at 0 Hz.
   CODE_UNRESOLVABLE: two numbers cannot be told apart over this band ("offset delay and C0 …"), or the fit does not settle. */
enum code rf_standard_solve(struct standard_definition *def, unsigned numbers, double t_c, const struct axis *axis, const double *g_re,
                            const double *g_im, const double *u, struct standard_fit *ret, struct tp_error *err);

#endif
