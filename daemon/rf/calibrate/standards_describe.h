/* standards_describe.h: a definition solved from data when nobody knows how many numbers it takes, and judged: does it describe the data?
   standards_solve.h fits the numbers it is told to and takes all that is left for noise.  Here what is left is looked at. */
#ifndef TIPPLANE_RF_STANDARDS_DESCRIBE_H
#define TIPPLANE_RF_STANDARDS_DESCRIBE_H
#include "rf/calibrate/standards_solve.h"

struct standard_described {
        struct standard_fit fit; /* its u: with what the two lines below say */
        unsigned freed;          /* bits STANDARD_FIT of `fit` that were not asked for: higher orders that the data need */
        double noise;            /* per component, from third differences of what is left, rms over all points; NaN: fewer than 16 */
        bool describes;          /* false: the scatter of what is left is more than twice the noise */
        double widened;          /* by which runs of sign make u larger; 1: they have no order */
};
size_t rf_standard_describe_bytes(size_t n);
/* Fits `numbers` of *def to reflections as rf_standard_solve() does; frees one more order of C (open) or L (short, load) after the other
   while one makes the rest significantly smaller (F test, 0.1 %).  Frequencies count by their own noise, and less where the rest is beyond
   three times that.  u is multiplied by the root of all values over those that are independent (twice the runs of sign), and not below
   that of leaving parts of the band out where the numbers do not describe the data.  What is common to all data, as a scale of the
   calibration, cannot be seen and is not in u.  Errors: those of rf_standard_solve().  workspace: rf_standard_describe_bytes(n), 64-byte
   aligned. */
enum code rf_standard_describe(struct standard_definition *def, unsigned numbers, double t_c, const struct axis *axis, const double *g_re,
                               const double *g_im, void *workspace, struct standard_described *ret, struct tp_error *err);

#endif
