/* reading_causes.h: the causes of one corrected two-port: those of the error terms, shared with all that is corrected by them, and those of
   its own touch and reading.  First order.  Pure, any thread; memory from the arena. */
#ifndef TIPPLANE_RF_READING_CAUSES_H
#define TIPPLANE_RF_READING_CAUSES_H
#include "base/arena.h"
#include "rf/correct/terms_causes.h"

/* What is not known of one touch: R and L of each port's contact, where each tip stands, and where the stage stands under both. */
enum rf_touch { RF_TOUCH_R, RF_TOUCH_L, RF_TOUCH_PLACE, RF_TOUCH_BOTH, RF_TOUCH_COUNT };
extern const char *const rf_touch_words[RF_TOUCH_COUNT + 1]; /* "touch R", "touch L", "place", "place" */
/* dS by one standard uncertainty of it at hz; port 0, 1 (RF_TOUCH_BOTH: not read); z: the reference, ohm. */
struct m2 rf_touch_change(struct m2 s, enum rf_touch touch, int port, const struct reading_u *u, double hz, double z);

/* Drift of each port by itself since the calibration, one standard deviation; loss at the highest frequency. */
struct port_drift {
        double delay_s[2], loss_db[2];
};

struct corrected_reading {
        const struct terms *terms;               /* at the frequencies of raw */
        const struct terms_causes *causes;       /* columns on the terms' whole list */
        const size_t *at;                        /* where each frequency of raw stands in that list */
        const struct switch_terms *switch_terms; /* at the frequencies of raw; NULL: none */
        bool switch_is_read;                     /* they were read with the raw data: the calibration's causes do not move them */
        const struct net2 *raw, *corrected;      /* as read; S, on one axis */
        unsigned ports;                          /* 1, 2, 3: which ports were read */
        double top_hz;                           /* highest frequency of the terms: drift of loss is stated there, and goes with its root */
        const struct reading_u *u;               /* of its own touch and reading */
        const struct port_drift *drift;          /* in the place of u's, which is of any port at any time; NULL: nobody says more */
        const char *terms_id, *reading_id;       /* what the ids of shared and of own causes are made of: digests of terms and raw file */
        const char *touch_id;                    /* of the touch's own causes, where several readings are of one touch; NULL: reading_id */
};
/* Drift is one cause with all that is corrected by these terms, as the calibration's are: what is read one after the other drifted alike.
   Own causes of contact and place are reckoned in the corrected reference, 50 ohm where it is not known.  CODE_UNRESOLVABLE: a cause has no
   effect that is a number (a correction that divides by 0); CODE_MEMORY. */
enum code rf_reading_causes(const struct corrected_reading *, struct arena *, struct net2_causes *ret, struct tp_error *err);

#endif
