/* cancel.c: see cancel.h. */
#include "station/cancel.h"
#include <stddef.h>

void cancel_init(struct cancel *c) { atomic_init(&c->raised, false); }
void cancel_raise(struct cancel *c) { atomic_store(&c->raised, true); }
void cancel_lower(struct cancel *c) { atomic_store(&c->raised, false); }
bool cancel_raised(const struct cancel *c) { return c && atomic_load(&c->raised); }
