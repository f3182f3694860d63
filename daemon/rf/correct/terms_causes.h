/* terms_causes.h: error terms that are not known exactly: what each cause moves, and what that does to S that is corrected with them.
   Pure, any thread, memory is the caller's. */
#ifndef TIPPLANE_RF_TERMS_CAUSES_H
#define TIPPLANE_RF_TERMS_CAUSES_H
#include "rf/correct/terms.h"
#include "rf/network/causes.h"

/* What one standard uncertainty moves.  A column that is NULL does not move.  Terms that follow from others (rf_terms_complete()) are not
   kept; their columns are NULL. */
struct terms_cause {
        struct cause_about about;
        double *re[TERM_COUNT], *im[TERM_COUNT];
        double *full_re[FULL_COUNT], *full_im[FULL_COUNT]; /* TERMS_SIXTEEN */
        double *switch_re[2], *switch_im[2];               /* forward, reverse: where a calibration finds its switch terms itself */
};
/* Standard uncertainties of what happens anew with every touch and every reading; 0: not stated. */
struct reading_u {
        double noise_floor, noise_trace; /* per component of a raw ratio m: hypot(floor, trace |m|) */
        double noise_freedom;            /* INFINITY: stated */
        double contact_ohm, contact_h, placement_um;
        double drift_delay_s, drift_loss_db; /* of each port's way since the calibration, one way; loss at the terms' highest frequency */
        double eps_eff;                      /* of the line on which a tip is placed, 1 … 50 */
};
struct terms_causes {
        size_t n; /* <= CAUSES_MAX */
        struct terms_cause *of;
        struct reading_u reading;
        const char **not_counted; /* "noise of readings", "definition of OPEN": nobody said how well it is known */
        size_t not_counted_n;     /* <= CAUSES_NOT_COUNTED_MAX */
};
/* Is this one of the terms that a model is made of, so that a cause keeps its column?  (enum term; of TERMS_SIXTEEN the full ones are.) */
bool terms_is_made_of(enum terms_model, int term);
double reading_noise(const struct reading_u *u, double complex raw); /* per component */

/* Change of corrected S when the terms of point i, and the switch terms that go with them, move by one standard uncertainty; j: the point of
   the cause's columns.  raw: as read; forward, reverse: the switch terms, 0 where the terms take none.  One-port terms: S11 and S22. */
struct m2 rf_terms_cause_change(const struct terms *terms, size_t i, const struct terms_cause *cause, size_t j, struct m2 raw,
                                double complex forward, double complex reverse);
/* Corrected S of one point as read: forward, reverse: the switch terms, 0 where the terms take none. */
struct m2 rf_corrected_as_read(const struct terms *terms, size_t i, struct m2 raw, double complex forward, double complex reverse);
/* And back: what would be read of S. */
struct m2 rf_read_of(const struct terms *terms, size_t i, struct m2 s, double complex forward, double complex reverse);

#endif
