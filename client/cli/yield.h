/* yield.h: how many are good, between what the truth lies, and how the values lie to their limits, as text and as JSON.  Pure. */
#ifndef TIPPLANE_CLI_YIELD_H
#define TIPPLANE_CLI_YIELD_H
#include "cli/results.h"

/* `tipplane yield`: dies and every asked number that has a limit; then the values of all.  wafer: its name. */
void show_yield(const struct results *r, const char *wafer, struct arena *arena, struct text *to);
void show_yield_json(const struct results *r, const char *run, const char *wafer, struct arena *arena, struct text *to);
/* One line of `tipplane show`: "Yield        8 of 8 dies good, …". */
void show_yield_line(const struct results *r, struct text *to);

#endif
