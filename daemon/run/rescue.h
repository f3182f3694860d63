/* rescue.h: which suspects may be corrected between two calibrations, by the journal alone.
   An interval may be rescued when its closing check failed by a port's delay or loss, a calibration was accepted after it, no intervention
   lies anywhere from its opening check to that calibration, and raised opens were swept in it.  A device of it may be when nothing else
   stands against its last touch.  Pure; times are the station's clock. */
#ifndef TIPPLANE_RUN_RESCUE_H
#define TIPPLANE_RUN_RESCUE_H
#include "base/arena.h"
#include "run/evidence.h"

#define RESCUE_CONDITIONS 8
struct rescue_sweep {
        int64_t sweep, station_ns; /* seq of the intention; 0: none */
        int32_t plan_sweep;        /* index into recipe->sweeps */
};
struct rescue_interval {
        int32_t interval;      /* 1 + index into the evidence's intervals */
        int32_t before, after; /* numbers of the calibrations; after 0: none followed */
        int64_t from_ns, to_ns;
        struct rescue_sweep *raised;
        size_t raised_n;
        char why_not[160]; /* "": may be rescued */
};
struct rescue_device { /* one per plan->targets */
        struct rescue_sweep at[RESCUE_CONDITIONS];
        int64_t touchdown;
        int32_t attempt;
        int32_t calibration; /* in force at its last touch, 0: none; in a failed interval only with `interval` */
        int32_t interval;    /* 1 + index into intervals when it lies in one that drifted; 0 */
        bool is_measured;    /* with good contact, and swept whole */
        bool is_suspect;     /* and by the closing check alone */
        bool has_failed;     /* its interval failed */
};
struct rescue_list {
        struct rescue_interval *intervals;     /* those that failed by drift */
        size_t interval_n, asked_n, suspect_n; /* suspects of these intervals; those of them that may be rescued */
        struct rescue_device *devices;
};
enum code rescue_find(const struct plan *, const struct entry *entries, size_t n, struct arena *, struct rescue_list *ret,
                      struct tp_error *);

#endif
