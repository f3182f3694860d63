/* reading_causes.h: the causes of one corrected two-port: those of the error terms, shared with all that is corrected by them, and those of
   its own touch and reading.  First order.  Pure, any thread; memory from the arena. */
#ifndef TIPPLANE_RF_READING_CAUSES_H
#define TIPPLANE_RF_READING_CAUSES_H
#include "base/arena.h"
#include "rf/correct/terms_causes.h"

struct corrected_reading {
        const struct terms *terms;               /* at the frequencies of raw */
        const struct terms_causes *causes;       /* columns on the terms' whole list */
        const size_t *at;                        /* where each frequency of raw stands in that list */
        const struct switch_terms *switch_terms; /* at the frequencies of raw; NULL: none */
        bool switch_is_read;                     /* they were read with the raw data: the calibration's causes do not move them */
        const struct net2 *raw, *corrected;      /* as read; S, on one axis */
        unsigned ports;                          /* 1, 2, 3: which ports were read */
        const struct reading_u *u;               /* of its own touch and reading */
        const char *terms_id, *reading_id;       /* what the ids of shared and of own causes are made of: digests of terms and raw file */
};
/* Own causes of contact and place are reckoned in the corrected reference, 50 ohm where it is not known.  CODE_UNRESOLVABLE: a cause has no
   effect that is a number (a correction that divides by 0); CODE_MEMORY. */
enum code rf_reading_causes(const struct corrected_reading *, struct arena *, struct net2_causes *ret, struct tp_error *err);

#endif
