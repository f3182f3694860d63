/* plateau.h: the single-pole part of a gain.  Pure.
   y falls as 1/f on the plateau: |h21|, sqrt U.  The window is the widest (in log f) run of points at which the local slope
   d log y / d log f, by least squares over the points within an eighth of a decade to each side, is -1 +- 0.1; it must span half a decade.
   Where its part inside 5 to 40 GHz spans half a decade too, only that part counts: below, a bipolar's input leaks and a FET's Y11 is
   noise; above, pads and calibration show.  The number is the geometric mean of f y over the window's points. Not a crossing of one: that
   is an extrapolation by the device's second pole. */
#ifndef TIPPLANE_RF_PLATEAU_H
#define TIPPLANE_RF_PLATEAU_H
#include "base/error.h"

#define RF_PLATEAU_SLOPE 0.1                /* allowed distance from -1 */
#define RF_PLATEAU_RATIO 3.1622776601683795 /* half a decade */
#define RF_PLATEAU_LOW_HZ 5e9
#define RF_PLATEAU_HIGH_HZ 40e9

struct rf_plateau {
        double value_hz;     /* geometric mean of f y */
        double spread;       /* its relative standard deviation over the window: how far the part is from flat */
        double lo_hz, hi_hz; /* the window */
        size_t first, n;     /* its points */
};
/* y[i] at hz[i], rising; NaN and values <= 0 belong to no window.  low_hz, high_hz: look only here (0: everywhere).
   what: "|h21|", for the sentence.  CODE_UNRESOLVABLE: there is none; the sentence gives the longest run and the slope at its ends. */
enum code rf_plateau_find(size_t n, const double *hz, const double *y, double low_hz, double high_hz, const char *what,
                          struct rf_plateau *ret, struct tp_error *err);

#endif
