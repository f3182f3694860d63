/* order.h: in which order dies are visited.  Deterministic for a given list. */
#ifndef TIPPLANE_WAFER_ORDER_H
#define TIPPLANE_WAFER_ORDER_H
#include "wafer/layout.h"

enum die_order { ORDER_UNKNOWN, ORDER_SNAKE, ORDER_INTERLEAVE };
extern const char *const die_order_words[]; /* "unknown", "snake", "interleave", NULL */
/* Snake: rows in order, alternate rows reversed.  Interleave: four passes, each a snake over every fourth die, chosen so that place and
   time are uncorrelated: a linear drift over the visit shows as a plane over the wafer to less than 1 % of its variance.  ret[n]: a
   permutation of 0…n-1. */
void die_order(enum die_order, const struct die *dies, size_t n, uint16_t *ret);
/* Share (0…1) of the variance of a linear drift over the visit that a plane a + b x + c y over the wafer explains. */
double die_order_aliasing(const struct die *dies, const uint16_t *order, size_t n);
double die_order_travel_um(const struct die *dies, const uint16_t *order, size_t n);

#endif
