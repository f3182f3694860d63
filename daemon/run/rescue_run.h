/* rescue_run.h: the suspects that may be rescued, evaluated anew between two calibrations.  Reads one run file and nothing else, so it does
   the same for a run in hand and for one that was sealed long ago.  Any task that may hold a view. */
#ifndef TIPPLANE_RUN_RESCUE_RUN_H
#define TIPPLANE_RUN_RESCUE_RUN_H
#include "evaluate/evaluate.h"
#include "run/rescue.h"
#include "store/view.h"

struct rescued_sweep {
        int32_t target, condition, attempt;
        int64_t touchdown, sweep;
        const struct parameter_answer *rows;
        size_t n;
        const char *reason; /* of the trust `rescued`, in words */
};
struct rescued {
        struct rescued_sweep *sweeps;
        size_t sweep_n, device_n, asked_n; /* devices rescued, of so many suspects of drifted intervals */
        size_t value_n;                    /* rows of all sweeps */
        const char *spec_json;             /* {"by":"rescue","intervals":[…]}: which, between which calibrations, or why not */
};
/* plan and recipe are the run's own.  What cannot be rescued stays out, and spec_json says why. */
enum code rescue_run(struct view *, const struct recipe *, const struct plan *, struct arena *, struct rescued *ret, struct tp_error *);
/* The evaluation, its trust and its parameters as facts; of EVALUATION_OFFERED its trust and parameters alone. */
void rescue_facts(struct work *, const struct rescued *, int64_t evaluation, const char *id, const char *build);

#endif
