/* number.h: numbers for people.  Pure. */
#ifndef TIPPLANE_CLI_NUMBER_H
#define TIPPLANE_CLI_NUMBER_H
#include "base/text.h"

/* "306.0 ± 2.1 pH": a prefix by the value, as many decimals as two digits of u95 need; without u95 (NaN) four significant digits.
   Units "1", "dB", "dB/mm" and "" take no prefix.  A NaN value is "–". */
void put_quantity(struct text *to, double value, double u95, const char *unit);
/* "0.9731" (rounded down), "0.012", and at the ends "> 0.9999" and "< 1e-06": further out nobody knows a tail; NaN: "". */
void put_probability(struct text *to, double p);
/* The value alone, in the width of a map's cell: "306.0p". */
void put_short(struct text *to, double value, const char *unit);
/* "70 kHz", "220 GHz", "1.25 GHz". */
void put_hz(struct text *to, double hz);
/* "12.4 s", "3 min 20 s", "1 h 43 min". */
void put_seconds(struct text *to, double seconds);
/* "1 touch", "2 touches": n, a space, and the noun with its plural when n is not 1. */
void put_count(struct text *to, long long n, const char *one, const char *many);

#endif
