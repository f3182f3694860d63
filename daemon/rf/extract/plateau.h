/* plateau.h: the single-pole part of a gain.  Pure.
   y falls as 1/f on the plateau: |h21|, sqrt U.  The window is the widest (in log f) run of points at which the local slope
   d log y / d log f, by least squares over the points within an eighth of a decade to each side, is -1 +- 0.1; it must span half a decade.
   Where its part inside 5 to 40 GHz spans half a decade too, only that part counts: below, a bipolar's input leaks and a FET's Y11 is
   noise; above, pads and calibration show.  The number is the geometric mean of f y over the window's points. Not a crossing of one: that
   is an extrapolation by the device's second pole.
   Im(1/h21) of a network is odd in f: (f/fT)(1 + c f^2 + ...).  What is asked of it is fT, its slope far below every pole, and the mean over a
   window that ends where c f^2 is some per cent lies those per cent beside it, always to the same side.  So there log(f y) is fitted by a
   straight line in f^2 and the number is that line's value at f = 0: the same points, other weights. */
#ifndef TIPPLANE_RF_PLATEAU_H
#define TIPPLANE_RF_PLATEAU_H
#include "base/error.h"

#define RF_PLATEAU_SLOPE 0.1                /* allowed distance from -1 */
#define RF_PLATEAU_RATIO 3.1622776601683795 /* half a decade */
#define RF_PLATEAU_LOW_HZ 5e9
#define RF_PLATEAU_HIGH_HZ 40e9

struct rf_plateau {
        double value_hz; /* geometric mean of f y */
        double spread;   /* relative standard deviation of f y over the window about its mean, or about the line in f^2 */
        double shape_u;  /* relative standard uncertainty by what the window's shape leaves open: the spread; see rf_plateau_at_zero() */
        double lo_hz, hi_hz; /* the window */
        size_t first, n;     /* its points */
};
/* y[i] at hz[i], rising; NaN and values <= 0 belong to no window.  low_hz, high_hz: look only here (0: everywhere).
   what: "|h21|", for the sentence.  CODE_UNRESOLVABLE: there is none; the sentence gives the longest run and the slope at its ends. */
enum code rf_plateau_find(size_t n, const double *hz, const double *y, double low_hz, double high_hz, const char *what,
                          struct rf_plateau *ret, struct tp_error *err);

/* Weights of log(f y) at n rising frequencies that make the number, their sum 1: the mean's, all the same, or those of the value at f = 0 of
   the line in f^2 by least squares.  The latter needs four points and returns the mean's below. */
void rf_plateau_weights(size_t n, const double *hz, bool at_zero, double *ret_weight);
/* How far a next term, in f^4, would move that value, in standard deviations of what it leaves about the line in these points: 1.1 of a wide
   window, 1.6 from 5 to 40 GHz, 3.2 of half a decade.  1 where rf_plateau_weights() gives the mean. */
double rf_plateau_next(size_t n, const double *hz);
/* Value and spread of a window that was found, anew as those of the line in f^2; shape_u: as if all the spread were a next term, anything up
   to that being as likely (a rectangle).  Nothing changes below four points. */
void rf_plateau_at_zero(const double *hz, const double *y, struct rf_plateau *p);

#endif
