/* standard.h: one physical copy of a calibration standard at one frequency, as the tips see it.  Pure.
   Copies differ from the design by draws of their own, per port; loads wear with touches. */
#ifndef TIPPLANE_SIMULATORS_STANDARD_H
#define TIPPLANE_SIMULATORS_STANDARD_H
#include "simulators/scenario.h"

struct sim_copy {        /* what this copy really is */
        int32_t kind[2]; /* of each port, enum sim_standard_kind; a thru is both */
        bool raised;
        double r_ohm[2], l_h[2], c_f[2], delay_s, z_ohm, loss_ohm_s, dc_ohm;
};
struct sim_copy copy_of(const struct scenario *, size_t standard, int touches);
struct y2 copy_y(const struct sim_copy *, double hz);
void copy_dc_ohm(const struct sim_copy *, double *ret_series, double *ret_ground1, double *ret_ground2);

#endif
