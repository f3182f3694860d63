/* between.h: error terms at a time between two calibrations, for data that were taken while the system drifted from one to the other.
   Idea        at each port the two calibrations differ by a small two-port D.  When a delay and a loss per port explain it, they are what
               drifts, and they go linearly in time (or as a witness says that read them at that very time: a raised open); what they leave
               goes along the fractional power D^s.  When they do not explain it, all of D does.
   u           nobody saw the way from one to the other.  It may have been anywhere between (rectangular, half the difference), and it may
               have wandered beyond (a random walk that ends there has the variance s(1-s) of its whole, pooled over both ports and with
   what such an interval usually brings).  At the calibrations themselves this vanishes; what remains is how far two calibrations repeat,
   seen in what the modes leave. Not here    whether one may: an intervention in between forbids it, and who asks must know. Source      own
   derivation; the rectangular half width: JCGM 100:2008, 4.3.7. Pure, any thread, no allocation. */
#ifndef TIPPLANE_RF_BETWEEN_H
#define TIPPLANE_RF_BETWEEN_H
#include "rf/calibrate/calibration.h"

enum rf_between_kind {
        RF_BETWEEN_UNKNOWN,
        RF_BETWEEN_TRACKING, /* modes: tracking alone moves */
        RF_BETWEEN_CABLE,    /* modes: all that the receivers read moves, directivity with it, as behind a cable */
        RF_BETWEEN_GENERAL   /* no modes: powers of D */
};
/* What an interval of this kind usually brings, rms of the change from begin to end; 0: not known. */
struct rf_between_usual {
        double delay_s, loss_db;
};
struct rf_between {
        const struct terms *one, *two;
        double t0_s, t1_s;
        enum rf_between_kind kind;
        double delay_s[2], loss_db[2];     /* two less one, one way; loss at the highest frequency, growing with sqrt f */
        double walk_delay_s, walk_loss_db; /* rms change over the interval, from both ports and the usual one */
        double fit_delay_s, fit_loss_db;   /* u of the modes between the calibrations, from what they leave */
        double moved, left;                /* rms over frequency and ports of |D - 1|, and of what the modes leave of it */
        double *rest[2], *gap[2];          /* per frequency and port: smoothed |D - 1| after the modes, and whole (workspace) */
        char sentence[240];
};
size_t rf_between_workspace(size_t n);
/* Times in s on any clock, t0 < t1.  CODE_BAD_INPUT: the calibrations differ in axis, model, plane, impedance or treatment of switch terms,
   are neither of eight nor twelve terms, or t0 >= t1; CODE_UNRESOLVABLE: they have no frequency in common with terms. */
enum code rf_between_open(const struct terms *one, const struct terms *two, double t0_s, double t1_s,
                          const struct rf_between_usual *usual_or_null, void *workspace, struct rf_between *ret, struct tp_error *err);

/* Modes read at the time itself, since `one`: from rf_modes_fit() on a raised open. */
struct rf_between_witness {
        double delay_s[2], loss_db[2], u_delay_s[2], u_loss_db[2];
};
struct rf_between_time {
        double t_s, s; /* 0 at one … 1 at two */
        double delay_s[2], loss_db[2], u_delay_s[2], u_loss_db[2];
};
/* out: terms_at() on the same axis.  CODE_BAD_INPUT: t outside t0 … t1 (an extrapolation is no rescue), or a witness that is not finite or
   contradicts both ends (further from the line between them than 4 of its u and 4 of the walk's). */
enum code rf_between_at(const struct rf_between *b, double t_s, const struct rf_between_witness *or_null, struct terms *out,
                        struct rf_between_time *ret, struct tp_error *err);
/* Standard uncertainty, per component, that the interpolation adds to a corrected s at index i. */
void rf_between_u(const struct rf_between *b, const struct rf_between_time *at, const struct terms *terms, size_t i, struct m2 s,
                  double ret_u[4]);

#endif
