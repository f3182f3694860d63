/* forecast.h: what is still to come, by decide() on a copy of the evidence with good outcomes. */
#ifndef TIPPLANE_RUN_FORECAST_H
#define TIPPLANE_RUN_FORECAST_H
#include "run/evidence.h"

struct forecast {
        double seconds;  /* station time until FINISH */
        int64_t touches; /* lowerings, all kinds */
        int64_t standard_touches, device_touches, sweeps, checks, steps;
        bool ends;             /* false: it waits for a person, the sentence of the rule in `waits_for` */
        const char *waits_for; /* static, NULL when it ends */
};
/* `scratch` has evidence_bytes(plan) bytes.  Pauses are taken as lifted.  A full night of 720 devices takes about 10 ms: arithmetic pool,
 * not per touch. */
void forecast_run(const struct plan *, const struct evidence *now, struct evidence *scratch, struct forecast *ret);

#endif
