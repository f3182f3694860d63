/* ready.h: error terms made ready for many sweeps: what can be reckoned once for a calibration is, and lies as the loop wants it.

   Eight terms with the calibration's own switch terms (or none) and twelve terms become one form of ten numbers a point (twelve with
   isolation) that corrects with one division: b1 = M21 ERF/ETF, so that both directions stand on reflection tracking.  A sweep with
   switch terms of its own, and terms that are used once, are for rf_correct2().  The same to rounding as that; the same bytes on every
   processor.  Source: Marks, 50th ARFTG, 1997, 115. */
#ifndef TIPPLANE_RF_READY_H
#define TIPPLANE_RF_READY_H
#include "rf/correct/terms.h"

struct ready_terms {
        const struct terms *terms; /* axis, plane and reference; must outlive this, and not change */
        double *block;             /* of eight frequencies each: for each number of enum ready_number eight re, eight im */
        bool leaks;                /* some isolation is not 0 */
        bool one_z;                /* the reference is the same bytes at all frequencies */
};
size_t ready_bytes(size_t n);

/* memory_64: ready_bytes(terms->axis->n), 64-byte aligned, the caller's.  or_null: the switch terms of the calibration, on its axis; twelve
   terms hold them inside and do not use it.  A point whose transmission tracking is 0 or no number gives no number.
   CODE_BAD_INPUT: terms of another model, another axis, or switch terms missing where the calibration removed them.  Pure, any thread. */
enum code rf_ready(const struct terms *terms, const struct switch_terms *or_null, void *memory_64, struct ready_terms *ret,
                   struct tp_error *err);
/* As rf_correct2() in correct.h: no allocation, out may be raw, the same refusals. */
enum code rf_correct2_ready(const struct ready_terms *ready, const struct net2 *raw, struct net2 *out, struct tp_error *err);

/* ---- for ready.c and its tests ---- */
enum ready_number {
        READY_EDF,
        READY_ESF,
        READY_ERF,
        READY_EDR,
        READY_ESR,
        READY_ERR,
        READY_ELF,
        READY_ELR,
        READY_FORWARD, /* ERF/ETF */
        READY_REVERSE, /* ERR/ETR */
        READY_TIGHT,   /* so many without isolation */
        READY_EXF = READY_TIGHT,
        READY_EXR,
        READY_COUNT
};
struct ready_kernel {
        const char *word;
        bool (*can)(void);
        /* *ret_same: the reference of `out` is the bytes of the terms' first everywhere. */
        void (*correct)(const struct ready_terms *ready, const struct net2 *raw, const struct net2 *out, bool *ret_same);
};
extern const struct ready_kernel ready_kernels[]; /* ready_kernel_n of them, the widest last */
extern const size_t ready_kernel_n;

#endif
