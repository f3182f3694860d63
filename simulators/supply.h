/* supply.h: how the simulated bias supply is wired, and how far a current that it holds is really off.  Pure. */
#ifndef TIPPLANE_SIMULATORS_SUPPLY_H
#define TIPPLANE_SIMULATORS_SUPPLY_H
#include "simulators/scenario.h"

int supply_port(const struct scenario *, unsigned channel); /* the port it feeds, 0 or 1; -1: none */
/* What flows when `ampere` is asked: off by the channel's own offset; 0 is an open terminal. */
double supply_held_a(const struct scenario *, unsigned channel, double ampere);

#endif
