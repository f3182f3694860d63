/* yield.h: how many are good, between what the truth lies, and how the values lie to their limits.  Pure, any thread. */
#ifndef TIPPLANE_WAFER_YIELD_H
#define TIPPLANE_WAFER_YIELD_H
#include "base/text.h"
#include "wafer/results.h"

/* The answer of the interface's yield, the one that `tipplane yield --json` prints: {"run":…, "wafer":…, "cover":0.95, "dies":{…}, "quantities":[…],
   "notes":[…]}.  Values are sorted in `arena`. */
enum code yield_json(const struct results *, const char *run, const char *wafer, struct arena *, struct text *to, struct tp_error *);

#endif
