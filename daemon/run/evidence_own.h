/* evidence_own.h: what the three files of evidence share.  Not for others. */
#ifndef TIPPLANE_RUN_EVIDENCE_OWN_H
#define TIPPLANE_RUN_EVIDENCE_OWN_H
#include "run/evidence.h"

enum {
        RETRIES_MAX = 8,     /* failed steps without progress before a person is asked */
        PLACE_TRIES_MAX = 2, /* align and read the ladders again once by itself */
        SWEEPS_MAX = 3       /* of one condition under one touch: failed or flagged ones are repeated without lifting */
};
#define FLAGS_BAD 7u         /* overload, unlocked, stale: the sweep is not what was asked */

int32_t retouches_allowed(const struct plan *);
int32_t every_dies(const struct plan *); /* INT_MAX: never */
int32_t round_tries(const struct plan *, int target); /* touches a round may grade: the first and the retouches */
void round_begin(struct evidence *, const struct plan *, int target);
static inline int32_t grade_worst(int32_t a, int32_t b) { return a > b ? a : b; } /* unknown < good < doubtful < absent */
size_t target_conditions(const struct plan *, int target);
bool touch_is_complete(const struct evidence *, const struct plan *);

#endif
