/* trust.h: what may be believed of each device touch, by the entries so far.  Trust rows are append-only: a later check can only add a
   newer row. */
#ifndef TIPPLANE_RUN_TRUST_H
#define TIPPLANE_RUN_TRUST_H
#include "run/evidence.h"

/* By the evidence alone, anew (touch_seen.trust holds what the fold already concluded; both agree after each entry). */
void trust_of(const struct plan *, const struct evidence *, const struct touch_seen *, enum trust *ret, enum trust_why *ret_why);

/* The same if the touch's interval had passed: what stands against it beside the closing check, or proven. */
enum trust trust_but_interval(const struct plan *, const struct touch_seen *);

struct trust_row {
        uint64_t touchdown;
        int32_t trust, why;
}; /* FACT_TRUST: touchdown = seq of the LOWER's intention, trust_words[trust], trust_why_words[why] */
/* After evidence_apply(e, entry seq): the touches whose trust changed by it.  Start with *cursor = 0; false at the end.
        for (size_t at = 0; trust_next(e, entry.seq, &at, &row); ) …                                                      */
bool trust_next(const struct evidence *, uint64_t entry_seq, size_t *cursor, struct trust_row *ret);

#endif
