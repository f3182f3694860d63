/* yield.h: the daemon's yield of a run for people: how many are good, between what the truth lies, how the values lie to their limits.  Pure. */
#ifndef TIPPLANE_CLI_YIELD_H
#define TIPPLANE_CLI_YIELD_H
#include "cli/cli.h"

/* `tipplane yield`: dies and every asked number that has a limit; then the values of all. */
void show_yield(const cJSON *yield, struct arena *arena, struct text *to);
/* One line of `tipplane run show`: "Yield        8 of 8 dies with a verdict are good: …". */
void show_yield_line(const cJSON *yield, struct text *to);

#endif
