/* touch.c: tips on pads; see touch.h.
   The scatter is a normal bent a little to the right (x + 0.15 (x^2 - 1)), cut at 3.5: contact resistance has a longer tail upwards than
   downwards, and no good touch of a clean gold tip is ten times the mean. */
#include "simulators/touch.h"
#include "simulators/draws.h"
#include <math.h>

#define TWO_PI 6.283185307179586476925286766559

static double bent(struct draws *r)
{
        double x = draw_normal_within(r, 3.5);
        return (x + 0.15 * (x * x - 1)) / 1.0223; /* sqrt(1 + 2 * 0.15^2): standard deviation 1 again */
}

struct sim_touch touch_of(const struct scenario *s, int64_t key, int touch)
{
        struct draws r = draws_of((uint64_t)s->seed, DRAW_TOUCH, key, touch, 0, 0);
        struct sim_touch t = {.plateau_um = 0};
        /* a path is the signal tip in series with both grounds side by side: all three alike, 1 + 1/2 parts of the mean, and the scatter
         * shared likewise */
        double tip_ohm = s->contact.path_ohm / 1.5, tip_scatter_ohm = s->contact.scatter_ohm / sqrt(1.125);
        double both_um = draw_normal_within(&r, 3.5) * s->contact.placement_um * sqrt(0.5);
        for (int p = 0; p < 2; p++) {
                t.signal_ohm[p] = fmax(1e-4, tip_ohm + tip_scatter_ohm * bent(&r));
                for (int g = 0; g < 2; g++)
                        t.ground_ohm[p][g] = fmax(1e-4, tip_ohm + tip_scatter_ohm * bent(&r));
                t.l_h[p] = s->contact.inductance_scatter_h * draw_normal_within(&r, 3.5);
                t.shift_um[p] = (p == 0 ? both_um : -both_um) + draw_normal_within(&r, 3.5) * s->contact.placement_um * sqrt(0.5);
                t.ground_hz[p] = draw_between(&r, s->contact.ground_hz_min, s->contact.ground_hz_max);
        }
        t.plateau_um = draw_between(&r, s->contact.plateau_um_min, s->contact.plateau_um_max);
        return t;
}

/* From 2 ohm at first touch to the plateau, and a slow fall while the metal creeps. */
static double tip_ohm(const struct scenario *s, const struct sim_touch *t, double plateau_ohm, double overtravel_um, double seconds)
{
        if (!(overtravel_um > 0))
                return HUGE_VAL;
        return plateau_ohm * (1 - s->contact.creep * (1 - exp(-seconds / s->contact.creep_s))) +
               2 * exp(-8 * overtravel_um / t->plateau_um);
}

double touch_signal_ohm(const struct scenario *s, const struct sim_touch *t, int p, double overtravel_um, double seconds)
{
        return t->open[p] ? HUGE_VAL : tip_ohm(s, t, t->signal_ohm[p], overtravel_um, seconds);
}

double touch_path_ohm(const struct scenario *s, const struct sim_touch *t, int p, double overtravel_um, double seconds)
{
        if (!(overtravel_um > 0))
                return HUGE_VAL;
        double g0 = tip_ohm(s, t, t->ground_ohm[p][0], overtravel_um, seconds),
               g1 = tip_ohm(s, t, t->ground_ohm[p][1], overtravel_um, seconds);
        double ground = t->lost_ground[p] ? g0 : g0 * g1 / (g0 + g1);
        return touch_signal_ohm(s, t, p, overtravel_um, seconds) + ground;
}

struct y2 touch_air(const struct scenario *s, double raised_f1, double raised_f2, double hz)
{
        struct y2 y = {0, 0, 0, 0};
        double w = TWO_PI * hz;
        return y2_bridge(y2_shunt(y, I * w * raised_f1, I * w * raised_f2), I * w * s->contact.coupling_raised_f);
}

struct y2 touch_around(const struct scenario *s, const struct sim_touch *t, double overtravel_um, double seconds, struct y2 y, double hz)
{
        double w = TWO_PI * hz;
        double complex z[2], fringe[2] = {0, 0};
        for (int p = 0; p < 2; p++) {
                if (t->open[p]) { /* the tip hovers: a gap, and the field of a raised probe */
                        z[p] = 1 / (I * w * s->contact.gap_f);
                        fringe[p] = I * w * s->contact.raised_f;
                        continue;
                }
                z[p] = touch_path_ohm(s, t, p, overtravel_um, seconds) + I * w * t->l_h[p];
                if (t->lost_ground[p]) { /* the return current takes the long way: an inductance that resonates with the hanging tip */
                        double w0 = TWO_PI * t->ground_hz[p], l_h = s->contact.ground_h, c_f = 1 / (w0 * w0 * l_h),
                               r_ohm = s->contact.ground_q * w0 * l_h;
                        z[p] += 1 / (1 / r_ohm + 1 / (I * w * l_h) + I * w * c_f);
                }
        }
        y = y2_shunt(y2_series(y, z[0], z[1]), fringe[0], fringe[1]);
        return y2_bridge(y, I * w * s->contact.coupling_down_f);
}
