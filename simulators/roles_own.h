/* roles_own.h: what roles_sim.c, stage_sim.c and sweep_sim.c share.  Not for other rooms. */
#ifndef TIPPLANE_SIMULATORS_ROLES_OWN_H
#define TIPPLANE_SIMULATORS_ROLES_OWN_H
#include "simulators/bench.h"

enum code sim_identify(const char *what, const struct bench *, struct identity *ret);
enum code sim_resync(void *me, uint8_t nonce, struct call *);
void sim_close(void *me);
extern const struct positioner_ops sim_positioner; /* positioner_sim.c; me: the bench */
extern const struct stage_ops sim_stage;           /* stage_sim.c; me: the bench */
extern const struct analyzer_ops sim_analyzer;     /* sweep_sim.c; me: the bench */

#endif
