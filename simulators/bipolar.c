/* bipolar.c: a bipolar transistor by its two junctions; see device.h.
 * Model       Ebers and Moll's transport form with the charges of Gummel and Poon's low injection: I_F and I_R are the junctions' transport
 *             currents, I_C = I_F - I_R (1 + 1/beta_R), I_B = I_F/beta_F + I_R/beta_R.  Conductances are I/V_T, diffusion capacitances
 *             transit time times them; depletion ones go as (1 - v/0.8 V)^(-1/3), forward no further than at 0.4 V. No self-heating, no
 *             high injection, 25 degrees Celsius.
 * Modes       Base current and collector voltage: I_R is nothing.  Collector open: I_C is nothing, I_F = I_R (1 + 1/beta_R).  Collector at
 *             0 V: I_F = I_R.  No base current: depletion capacitances alone. */
#include "simulators/device.h"
#include <math.h>

#define TWO_PI 6.283185307179586476925286766559
#define THERMAL_V 0.025693 /* k T/q at 25 degrees Celsius */
#define COLD_V 0.02        /* collector voltage below which both junctions conduct alike */
#define BUILT_IN_V 0.8
#define FORWARD_V 0.4
#define COMMON_MAX_A 10.0 /* beyond it nothing is sought */

/* Transport currents for a base current, and the voltages at the ports. */
static struct bipolar_dc at_current(const struct sim_device *d, double base_a, const struct sim_bias *b)
{
        struct bipolar_dc at = {.base_a = base_a, .volt = {0, b->held[1] ? 0 : b->volt[1]}};
        double rb = d->r_ohm + d->ri_ohm;
        if (!(base_a > 0))
                return at;
        if (b->held[1] || fabs(b->volt[1]) < COLD_V) {
                double ratio = b->held[1] ? 1 + 1 / d->beta_r : 1;
                at.reverse_a = base_a / (ratio / d->beta + 1 / d->beta_r);
                at.forward_a = ratio * at.reverse_a;
        } else
                at.forward_a = d->beta * base_a;
        at.collector_a = at.forward_a - at.reverse_a * (1 + 1 / d->beta_r);
        double common_v = (base_a + at.collector_a) * d->rs_ohm;
        at.junction_v = THERMAL_V * log1p(at.forward_a / d->is_a);
        at.volt[0] = at.junction_v + base_a * rb + common_v;
        if (b->held[1])
                at.volt[1] = THERMAL_V * log(1 + 1 / d->beta_r) + common_v;
        return at;
}

/* The base current at which the base stands at volt: it rises with it. */
static double current_at(const struct sim_device *d, double volt, const struct sim_bias *b)
{
        double low = 0, high = COMMON_MAX_A / d->beta;
        for (int k = 0; k < 100 && volt > 0; k++) {
                double middle = (low + high) / 2;
                if (at_current(d, middle, b).volt[0] < volt)
                        low = middle;
                else
                        high = middle;
        }
        return volt > 0 ? low : 0;
}

struct bipolar_dc bipolar_dc(const struct sim_device *d, const struct sim_bias *b)
{
        if (!b->held[0]) {
                struct bipolar_dc at = at_current(d, current_at(d, b->volt[0], b), b);
                at.volt[0] = b->volt[0];
                return at;
        }
        struct bipolar_dc at = at_current(d, b->ampere[0], b);
        return at.volt[0] < b->volt[0] ? at : at_current(d, current_at(d, b->volt[0], b), b); /* in its limit */
}

static double depletion(double c_f, double v) { return c_f / cbrt(1 - fmin(v, FORWARD_V) / BUILT_IN_V); }

struct y2 bipolar_inside_y(const struct sim_device *d, double hz, const struct sim_bias *b)
{
        struct bipolar_dc at = bipolar_dc(d, b);
        bool conducts = at.forward_a > 0;
        double w = TWO_PI * hz, be_v = conducts ? at.junction_v : at.volt[0], bc_v = be_v - at.volt[1];
        double gf = at.forward_a / THERMAL_V, gr = at.reverse_a / THERMAL_V;
        double complex be = gf / d->beta + I * w * (gf * d->tf_s + depletion(d->c_f, be_v));
        double complex bc = (conducts ? gr / d->beta_r : 0) + I * w * (gr * d->tr_s + depletion(d->cp_f, bc_v));
        double early = d->early_v > 0 && at.reverse_a == 0 ? at.collector_a / d->early_v : 0;
        struct y2 y = {be + bc, -bc, gf * cexp(-I * w * d->tau_s) - gr - bc, gr + bc + early + I * w * d->csub_f};
        if (!(d->cx_f > 0))
                return y;
        /* the inner base's resistance behind the outer junction; what is taken off again is the whole of RB, as an extraction takes it off */
        y = y2_bridge(y2_series(y, d->ri_ohm, 0), I * w * depletion(d->cx_f, bc_v));
        return y2_series(y, -d->ri_ohm, 0);
}
