/* modes.h: what has moved between two readings of the same standards, in the words of physics.
   Modes       of each port: delay and loss of its tracking (one way; loss grows with sqrt f and is stated at the highest frequency of the
               terms); of each touch and port: contact resistance, contact inductance, the tip's place along the line; and a delay of the
               transmission that the ports do not explain.
   Fit         weighted linear least squares of dS over all standards and frequencies at once, each mode with a prior width (what it does
               from night to night, or from touch to touch): modes that the data cannot tell apart share what is there, and their u says so.
   Degenerate  on a short alone delay, inductance and place look alike.  A raised open has no touch: with it the delay stands to a
               femtosecond, without it only as well as contact and place repeat.
   Source      least squares with priors: any text on Bayesian linear regression; the effects of the modes: own derivation, first order.
   Pure, any thread, no allocation. */
#ifndef TIPPLANE_RF_MODES_H
#define TIPPLANE_RF_MODES_H
#include "rf/calibrate/calibration.h"

#define RF_MODES_READINGS 16

/* ---- effects on corrected S, first order.  port 0 or 1; z: ohm, real */
struct m2 rf_move_series(struct m2 s, int port, double complex dz_ohm, double z_ohm);
struct m2 rf_move_shift(struct m2 s, int port, double complex theta); /* plane outwards by theta = gamma dx */
/* One-way tracking of a port times (1 + eps), under two-port terms. */
struct m2 rf_move_tracking(const struct terms *terms, size_t i, struct m2 s, int port, double complex eps);

/* One standard, then and now; both corrected by the same terms. */
struct rf_mode_reading {
        const char *name; /* for sentences */
        bool touched;     /* false: raised, it has no touch */
        size_t n;
        const size_t *at;            /* [n] index of each point in the terms' axis */
        const struct m2 *then, *now; /* [n] */
        const double *sigma;         /* [n] of now - then, per component: noise of both, and what first order leaves out */
};
/* Prior widths, 1 sigma. */
struct rf_mode_priors {
        double delay_s, loss_db, transmission_s, contact_ohm, contact_h, position_m;
        double eps_eff; /* of the line on which the tip's place moves, 1 … 20 */
};
struct rf_mode {
        double value, u; /* u: of the data, their scatter about the fit and its likeness from point to point, and the prior */
        double told;     /* 0: the prior alone speaks … 1: the data alone */
};
struct rf_modes {
        struct rf_mode delay_s[2], loss_db[2], transmission_s;
        struct rf_mode contact_ohm[RF_MODES_READINGS][2], contact_h[RF_MODES_READINGS][2], position_m[RF_MODES_READINGS][2];
        double residual[RF_MODES_READINGS]; /* rms per entry of |dS| that no mode explains */
        double moved[RF_MODES_READINGS];    /* rms per entry of |dS| itself */
        double step[RF_MODES_READINGS];     /* largest |dS_ij| up to step_hz_max */
        double ratio;                       /* rms of what is left in units of sigma */
        double left_share;                  /* of the weighted square of dS that is left, 0 … 1 */
        double likeness;                    /* points that go together: 1 + 2 sum of the residuals' autocorrelation along frequency */
        bool cable;       /* directivity moved with the tracking, as behind a cable: tried where tracking alone leaves too much */
        double condition; /* of the weighted columns with their priors; 1 is best */
        size_t unknown_n;
        const double *covariance; /* [unknown_n^2], in the workspace: delay 1, loss 1, delay 2, loss 2, transmission; then for each touched
                                     reading R1 L1 x1 R2 L2 x2; SI, loss in dB */
};
size_t rf_modes_workspace(size_t reading_n);
/* Entries S12, S21 of a standard take part where it transmits (|S21| > 0.1).  step_hz_max: see step.
   CODE_BAD_INPUT: no or too many readings, one-port terms, a prior or sigma that is not above 0; CODE_UNRESOLVABLE: S is not a number. */
enum code rf_modes_fit(const struct terms *terms, const struct rf_mode_reading *readings, size_t reading_n,
                       const struct rf_mode_priors *prior, double step_hz_max, void *workspace, struct rf_modes *ret, struct tp_error *err);

/* ---- what it was ---- */
enum rf_mode_cause {
        RF_CAUSE_UNKNOWN,
        RF_CAUSE_NOTHING, /* no change beyond noise */
        RF_CAUSE_DELAY,
        RF_CAUSE_LOSS,
        RF_CAUSE_TRANSMISSION,
        RF_CAUSE_CONTACT_R,
        RF_CAUSE_CONTACT_L, /* contact inductance and place: told apart by place's other sign on an open only */
        RF_CAUSE_NO_MODE,   /* something moved that none of the modes is */
        RF_CAUSE_COUNT
};
struct rf_mode_name {
        enum rf_mode_cause cause;
        int port;       /* 0, 1; -1 where it has none */
        size_t reading; /* of a contact */
        double value, u;
        double confidence;  /* share of what moved (beyond noise) that goes to this cause, 0 … 1 */
        char sentence[240]; /* "loss of port 2 +0.012 dB (u 0.001); residual 1.1 x noise" */
};
void rf_modes_name(const struct rf_modes *modes, const struct rf_mode_reading *readings, size_t reading_n, struct rf_mode_name *ret);

#endif
