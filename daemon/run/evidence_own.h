/* evidence_own.h: what the files of evidence share.  Not for others. */
#ifndef TIPPLANE_RUN_EVIDENCE_OWN_H
#define TIPPLANE_RUN_EVIDENCE_OWN_H
#include "run/evidence.h"
#include <float.h>
#include <math.h>

enum {
        RETRIES_MAX = 8,     /* failed steps without progress before a person is asked */
        PLACE_TRIES_MAX = 2, /* align and read the ladders again once by itself */
        SWEEPS_MAX = 3       /* of one condition under one touch: failed or flagged ones are repeated without lifting */
};
#define FLAGS_BAD 7u /* overload, unlocked, stale: the sweep is not what was asked */

int32_t retouches_allowed(const struct plan *);
int32_t every_dies(const struct plan *);              /* INT_MAX: never */
int32_t round_tries(const struct plan *, int target); /* touches a round may grade: the first and the retouches */
void round_begin(struct evidence *, const struct plan *, int target);
static inline int32_t grade_worst(int32_t a, int32_t b) { return a > b ? a : b; } /* unknown < good < doubtful < absent */
size_t target_conditions(const struct plan *, int target);
bool touch_is_complete(const struct evidence *, const struct plan *);

/* ---- the fold's own parts (evidence_touch.c, evidence_state.c, evidence_settle.c) ---- */
/* As the journal keeps it: one NaN, no infinities. */
static inline double real_of(double x) { return isnan(x) ? (double)NAN : x > DBL_MAX ? DBL_MAX : x < -DBL_MAX ? -DBL_MAX : x; }
void rounds_begin(struct evidence *, const struct plan *, const int32_t *targets, size_t n);
struct touch_seen *touch_record(struct evidence *); /* of the device touch in hand, or NULL */
void touch_begin(struct evidence *, const struct plan *, const struct step_args *);
void touch_end(struct evidence *, const struct plan *, int32_t how, int32_t after);
void touch_take_back(struct evidence *, const struct plan *);
void bias_in_compliance(struct evidence *);
void things_spend(struct evidence *, const struct plan *, int target, int32_t touches);
void retrust(struct evidence *, const struct plan *, struct touch_seen *);
void retrust_all(struct evidence *, const struct plan *);
void disturb(struct evidence *, const struct plan *);
void place_again(struct evidence *, const struct plan *, int32_t tries);
void state_forget(struct evidence *);
bool state_take(struct evidence *, const struct plan *, const struct state_read *);
void station_is_new(struct evidence *, const struct plan *, uint32_t boot);
void cut_when_separated(struct evidence *, const struct plan *);
void settle(struct evidence *, const struct plan *, const struct entry *);

#endif
