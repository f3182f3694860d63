/* swapped.c: an open and a short told as each other (swapped.h).
 * Problem     What a thru, reflects equal at both ports and a match say stays true when every reflection changes its sign: admittances become
 *             impedances.  Only the estimate, open or short, tells the two solutions apart, and it is told by whom the standards were
 *             named by.
 * Idea        What it leads to is seen in the short.  A lifted probe (-3 to -15 fF) told as a short comes out with 2500 ohm^2 C = -8 to -38
 *             pH, which no short has; so does an open pad of more than 12 fF with more than 30 pH.  Where the open has a definition, a
 *             swapped one is as far from it as the short, turned, is near.
 * Cannot      An open pad of 0 to 12 fF makes a short like any other, a short an open pad of 0 to 4 fF: without a definition nobody knows.
 * Limits      -5 and 30 pH, five standard errors (common practice, no source); below 60 GHz, where open and short are far apart. */
#include "rf/calibrate/reflects/swapped.h"
#include "rf/correct/correct.h"
#include <math.h>

#define BELOW_HZ 60e9
#define SHORT_LEAST_H -5e-12
#define SHORT_MOST_H 30e-12
#define OPEN_OFF_F 3e-15
#define OPEN_TOLD_LEAST_F 3e-15 /* a definition without capacitance, or with less than a short turns into, tells nothing */
#define Z2_OHM2 2500.0
enum { POINTS = 12 };

/* y = slope w by least squares, weighted by w^2 in the phase, and its standard error from the scatter. */
struct slope_fit {
        double slope, u;
};
static struct slope_fit slope_of(size_t n, const double *w, const double *y)
{
        double wy = 0, ww = 0, left = 0;
        for (size_t k = 0; k < n; k++) {
                wy += w[k] * y[k];
                ww += w[k] * w[k];
        }
        for (size_t k = 0; k < n; k++)
                left += (y[k] - wy / ww * w[k]) * (y[k] - wy / ww * w[k]);
        return (struct slope_fit){wy / ww, n > 1 ? sqrt(left / ((double)(n - 1) * ww)) : INFINITY};
}

void reflects_say_swapped(const struct problem *p, size_t shorted, const struct net2 *open_ideal, double open_f, const struct terms *out,
                          struct diagnosis *d)
{
        double w[POINTS], short_x[POINTS], open_b[POINTS];
        size_t below = axis_nearest(p->axis, BELOW_HZ) + 1, n = 0;
        for (size_t k = 0; k < POINTS && k < below; k++) {
                size_t i = (2 * k + 1) * below / (2 * (below < POINTS ? below : POINTS));
                struct m2 read = net2_get(p->standards[shorted].raw, i);
                const struct switch_terms *sw = p->switch_terms;
                if (sw)
                        read = rf_switch_remove_point(read, CMPLX(sw->f_re[i], sw->f_im[i]), CMPLX(sw->r_re[i], sw->r_im[i]));
                double complex m = read.e[0] - CMPLX(out->re[TERM_EDF][i], out->im[TERM_EDF][i]);
                double complex g =
                        m / (CMPLX(out->re[TERM_ERF][i], out->im[TERM_ERF][i]) + CMPLX(out->re[TERM_ESF][i], out->im[TERM_ESF][i]) * m);
                w[n] = RF_TWO_PI * p->axis->hz[i];
                short_x[n] = 50 * cimag((1 + g) / (1 - g));
                g = open_ideal ? net2_get(open_ideal, i).e[0] : 1;
                open_b[n++] = cimag((1 - g) / (1 + g)) / 50;
        }
        const struct slope_fit l = slope_of(n, w, short_x);
        const char *name = standard_name(&p->standards[shorted]);
        double as_open_f = l.slope / Z2_OHM2, told_f = slope_of(n, w, open_b).slope;
        if ((l.slope < SHORT_LEAST_H && l.slope < -5 * l.u) || (l.slope > SHORT_MOST_H && l.slope > 5 * l.u))
                diagnosis_warn(d,
                               "%s comes out with %.3g pH, which no short has; as an open it would be one of %.3g fF: were open and short "
                               "swapped?",
                               name, l.slope * 1e12, as_open_f * 1e15);
        else if (open_ideal && fabs(told_f) > OPEN_TOLD_LEAST_F && fabs(open_f - told_f) > OPEN_OFF_F &&
                 fabs(as_open_f - told_f) < fabs(open_f - told_f) / 3)
                diagnosis_warn(
                        d, "the open comes out with %.3g fF, told %.3g; %s, as an open, would have %.3g fF: were open and short swapped?",
                        open_f * 1e15, told_f * 1e15, name, as_open_f * 1e15);
}
