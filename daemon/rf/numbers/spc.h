/* spc.h: charts over a figure that is measured again and again: has it moved, slowly or at once?
   Charts      EWMA (small shifts), CUSUM (a lasting shift, and since when), Western Electric rules (the shape of a chance that is none).
   Source      NIST/SEMATECH e-Handbook 6.3.2.3 and 6.3.2.4 (worked examples in tests/reference/spc.csv); Western Electric, Statistical
               Quality Control Handbook, 1956 (from memory, checked by the same file).
   Pure, any thread, no allocation.  NaN values: the chart goes on without them, and they raise no alarm. */
#ifndef TIPPLANE_RF_SPC_H
#define TIPPLANE_RF_SPC_H
#include "base/error.h"
#include <stdbool.h>
#include <stddef.h>

#define RF_SPC_BASE_LEAST 20 /* points of a good period from which s may be taken */

/* s of single values from their moving range, mean|x_t - x_{t-1}|/1.128; not from data that contain what is looked for.
   CODE_BAD_INPUT: fewer than RF_SPC_BASE_LEAST finite values. */
enum code rf_spc_sigma(size_t n, const double *x, double *ret_mean, double *ret_s, struct tp_error *err);

/* z_t = lambda x_t + (1 - lambda) z_{t-1}, z_0 = target; limits target -+ L s sqrt(lambda/(2 - lambda) (1 - (1 - lambda)^2t)).
   lambda 0 … 1 (0.2 to 0.3 is usual), L > 0 (3), s > 0.  z, low, high, alarm: [n], low and high may be NULL. */
enum code rf_ewma(size_t n, const double *x, double target, double s, double lambda, double l, double *z, double *low, double *high,
                  bool *alarm, struct tp_error *err);
/* Steady limits, those of t without end. */
void rf_ewma_steady(double target, double s, double lambda, double l, double *ret_low, double *ret_high);

/* hi_t = max(0, hi_{t-1} + x_t - target - k), lo_t = max(0, lo_{t-1} + target - k - x_t); alarm beyond h.  k, h in the unit of x (0.5 s and
   4 to 5 s find a shift of 1 s in about ten points).  reset: both start again after an alarm, as in operation. */
enum code rf_cusum(size_t n, const double *x, double target, double k, double h, bool reset, double *hi, double *lo, bool *alarm,
                   struct tp_error *err);

/* Bits per point; a value on a limit is inside, and the newest point must itself take part. */
enum rf_western {
        RF_WESTERN_ONE = 1,  /* one beyond 3 s */
        RF_WESTERN_TWO = 2,  /* two of the last three beyond 2 s, same side */
        RF_WESTERN_FOUR = 4, /* four of the last five beyond 1 s, same side */
        RF_WESTERN_EIGHT = 8 /* eight in a row on one side */
};
enum code rf_western_electric(size_t n, const double *x, double target, double s, unsigned *bits, struct tp_error *err);

/* One figure, all charts: target and s from the first base_n values (>= RF_SPC_BASE_LEAST), the rest judged.  s_least: what the figure may
   scatter without meaning anything, e.g. the resolution that matters. */
enum rf_spc_verdict { RF_SPC_UNKNOWN, RF_SPC_STEADY, RF_SPC_OUTLIER, RF_SPC_SHIFTED, RF_SPC_DRIFTING };
struct rf_spc_answer {
        enum rf_spc_verdict verdict;
        double target, s, newest, shift; /* shift: EWMA less target at the newest value */
        size_t since;                    /* index from which on it has moved, as far as the CUSUM tells */
        char sentence[200];
};
/* name: "directivity of port 1, 145 to 220 GHz"; unit: "dB".  memory: 3 n doubles and n bool are enough (rf_spc_workspace). */
size_t rf_spc_workspace(size_t n);
enum code rf_spc_judge(const char *name, const char *unit, size_t n, const double *x, size_t base_n, double s_least, void *workspace,
                       struct rf_spc_answer *ret, struct tp_error *err);

#endif
