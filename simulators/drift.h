/* drift.h: how far each port has moved since the station's first second, one way: a delay and a loss at 220 GHz (it grows with sqrt f).
   A function of time alone: random walk on a grid of one minute, drawn by key, and the room's temperature; nothing has to be remembered.
   Pure. */
#ifndef TIPPLANE_SIMULATORS_DRIFT_H
#define TIPPLANE_SIMULATORS_DRIFT_H
#include "simulators/scenario.h"

struct sim_drift {
        double delay_fs, loss_db;
};
/* t_s: station time since the beginning (>= 0); on_s: time since power-on.  Injected steps are not in here (see bench.c). */
struct sim_drift drift_of(const struct scenario *, int port, double t_s, double on_s);
double room_k(const struct scenario *, double t_s); /* against the first second */

#endif
