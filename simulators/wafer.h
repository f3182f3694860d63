/* wafer.h: the wafer as it truly is: process gradients, scatter from die to die and from device to device, pads, real defects.
   Everything is drawn by key of (seed, die, device); pure. */
#ifndef TIPPLANE_SIMULATORS_WAFER_H
#define TIPPLANE_SIMULATORS_WAFER_H
#include "simulators/scenario.h"

struct sim_wafer {
        const struct scenario *scenario; /* not owned, as the layout */
        const struct layout *layout;
        struct die *dies;
        size_t die_n;
        struct sim_device *devices; /* die_n x layout->device_n, die by die */
};
/* Everything comes from `arena`.  CODE_BAD_INPUT names a device of the layout whose design the scenario does not give. */
enum code wafer_make(const struct scenario *, const struct layout *, struct arena *, struct sim_wafer *ret, struct tp_error *);
/* Index into devices of the one whose pads lie under (x, y), or -1. */
int wafer_under(const struct sim_wafer *, double x_um, double y_um);
struct sim_pads wafer_pads(const struct sim_wafer *, int device);

#endif
