/* cancel.h: one flag that any task may raise and the driver of the call in progress asks between pieces of its work. */
#ifndef TIPPLANE_STATION_CANCEL_H
#define TIPPLANE_STATION_CANCEL_H
#include <stdatomic.h>
#include <stdbool.h>

struct cancel {
        atomic_bool raised;
};
void cancel_init(struct cancel *);
void cancel_raise(struct cancel *);        /* any task */
void cancel_lower(struct cancel *);        /* between two calls only */
bool cancel_raised(const struct cancel *); /* NULL: never raised */

#endif
