/* transistor.c: a field effect transistor, and the leads of either kind, grown from nodal admittances; see device.h. */
#include "simulators/device.h"
#include <math.h>

#define TWO_PI 6.283185307179586476925286766559
#define COLD_V 0.02 /* drain voltage below which the channel is a resistance */

struct y2 transistor_inside_y(const struct sim_device *d, double hz, const struct sim_bias *bias)
{
        const double *volt = bias->volt;
        double w = TWO_PI * hz, above_v = volt[0] - d->vth_v;
        struct y2 none = {0, 0, 0, 0};
        if (d->beta > 0)
                return bipolar_inside_y(d, hz, bias);
        if (d->k_s_v > 0 && above_v <= 0)
                return y2_bridge(y2_shunt(none, I * w * d->cp_f, I * w * d->csub_f), I * w * d->cp_f);
        if (d->k_s_v > 0 && fabs(volt[1]) < COLD_V) {
                double complex half = I * w * (d->c_f + d->cp_f) / 2;
                return y2_bridge(y2_shunt(none, half, d->k_s_v * above_v + I * w * d->csub_f), half);
        }
        double complex charge = I * w * d->c_f / (1 + I * w * d->ri_ohm * d->c_f); /* what flows into Cgs */
        none.e21 = d->gm_s * cexp(-I * w * d->tau_s) / (1 + I * w * d->ri_ohm * d->c_f);
        return y2_bridge(y2_shunt(none, charge, 1 / d->rsub_ohm + I * w * d->csub_f), I * w * d->cp_f);
}

/* An impedance in the lead that both ports share lifts both by its voltage: (I + z Y J)^-1 Y with J all ones. */
static struct y2 lifted(struct y2 y, double complex z)
{
        double complex row1 = z * (y.e11 + y.e12), row2 = z * (y.e21 + y.e22);
        struct y2 a = {1 + row1, row1, row2, 1 + row2};
        return y2_solve(a, y);
}

struct y2 transistor_y(const struct sim_device *d, double hz, const struct sim_bias *bias)
{
        double w = TWO_PI * hz, inner_ohm = d->beta > 0 ? d->ri_ohm : 0;
        struct y2 y = lifted(transistor_inside_y(d, hz, bias), d->rs_ohm + I * w * d->ls_h);
        return y2_series(y, inner_ohm + d->r_ohm + I * w * d->l_h, d->rd_ohm + I * w * d->ld_h);
}
