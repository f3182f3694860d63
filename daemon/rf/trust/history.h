/* history.h: what a calibration says of the probes and modules it was made with.  The error terms of one calibration become a few
   descriptors; those of the last calibrations with the same probes are a history, and a history has charts (spc.h).  A loose module moves
   the directivity of its band long before any check fails; a worn tip moves the match at the top; a cable loses tracking slowly. Pure, any
   thread, no allocation. */
#ifndef TIPPLANE_RF_HISTORY_H
#define TIPPLANE_RF_HISTORY_H
#include "rf/calibrate/calibration.h"
#include "rf/numbers/spc.h"

#define RF_HISTORY_BANDS 10

struct rf_descriptor_band {
        double from_hz, to_hz;
        /* rms over the band in dB (directivity, source and load match), mean in dB (one-way tracking); [0] port 1, [1] port 2.
           load: what the port reflects while the other one drives; NaN for terms that do not hold it. */
        double directivity_db[2], match_db[2], load_db[2], tracking_db[2];
};
struct rf_descriptors {
        size_t band_n;
        struct rf_descriptor_band band[RF_HISTORY_BANDS];
        /* Against the first calibration of the same probes: one-way delay and loss (at the highest frequency, growing with sqrt f) of each
           port's reflection tracking; 0 for the first one itself; NaN without it. */
        double delay_s[2], loss_db[2];
        double left[2]; /* rms of |ln| that delay and loss do not explain: connectors, not cables */
};
/* first: terms of the first calibration, NULL if this is it or it is not known; its axis may differ, frequencies in both are used.
   edges: rising limits of bands, NULL: decades to 10 GHz, then where systems of this kind hand over.  CODE_BAD_INPUT: terms that are not
   solved, bad edges. */
enum code rf_describe(const struct terms *terms, const struct terms *first, const double *edges_or_null, size_t edge_n,
                      struct rf_descriptors *ret, struct tp_error *err);

/* The newest of n descriptors (oldest first, equal bands) against those before it. */
#define RF_HISTORY_FINDINGS 8
struct rf_history_finding {
        double size; /* in units of what is usual: larger is worse */
        char sentence[240];
};
struct rf_history_answer {
        size_t series_n, moved_n; /* figures with a history; those that have moved */
        size_t finding_n;         /* the worst ones, worst first */
        struct rf_history_finding finding[RF_HISTORY_FINDINGS];
        char sentence[360];
};
size_t rf_history_workspace(size_t n);
/* With fewer than RF_SPC_BASE_LEAST earlier ones no chart is drawn; then only what lies gross beside the median is said (3 dB, 3 ps). */
enum code rf_history_judge(const struct rf_descriptors *const *list, size_t n, void *workspace, struct rf_history_answer *ret,
                           struct tp_error *err);

#endif
