/* touch.h: what lies between each probe and the pads at one touch: contact resistance and inductance of every tip, placement, and what is
   wrong with it. Drawn by key of (seed, target, touch number), so the same touch is the same again after a restart.  Pure. */
#ifndef TIPPLANE_SIMULATORS_TOUCH_H
#define TIPPLANE_SIMULATORS_TOUCH_H
#include "simulators/scenario.h"

struct sim_touch {
        double signal_ohm[2], ground_ohm[2][2]; /* per port; both grounds */
        double l_h[2], shift_um[2];             /* shift: along the line, positive lengthens the port's path */
        double plateau_um;
        bool open[2], lost_ground[2]; /* per port */
        double ground_hz[2];          /* resonance of a lost ground */
};
struct sim_touch touch_of(const struct scenario *, int64_t target_key, int touch);
/* Contact resistance of a port at this overtravel (um) and time in contact; HUGE_VAL when a tip hovers. */
double touch_path_ohm(const struct scenario *, const struct sim_touch *, int port, double overtravel_um, double seconds);
double touch_signal_ohm(const struct scenario *, const struct sim_touch *, int port, double overtravel_um, double seconds);
/* What the tips see of y: contact, lost grounds, hovering tips, coupling from probe to probe. */
struct y2 touch_around(const struct scenario *, const struct sim_touch *, double overtravel_um, double seconds, struct y2 y, double hz);
/* Nothing below the tips: `raised_f` at each port. */
struct y2 touch_air(const struct scenario *, double raised_f1, double raised_f2, double hz);

#endif
