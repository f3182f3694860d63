/* orientation.h: are the data the way round that they say?  Sign of time, port order, S21 and S12, forward and reverse switch terms; and
   the floor below which S21 says nothing.  Each answer is the hypothesis that fits, how much better it fits than the next one, and a
   sentence that names the likely cause.  Nothing is repaired.
   Pure, any thread, no allocation. */
#ifndef TIPPLANE_RF_ORIENTATION_H
#define TIPPLANE_RF_ORIENTATION_H
#include "rf/network/network.h"

/* What may have been done to a two-port on its way; they combine. */
enum rf_turn {
        RF_TURN_CONJUGATED = 1,    /* phasors of the other sign of time */
        RF_TURN_PORTS = 2,         /* S11 with S22 and S21 with S12: the probes or the ports exchanged */
        RF_TURN_TRANSMISSIONS = 4, /* S21 with S12 alone: the order of a file */
        RF_TURN_COUNT = 8
};

struct rf_orientation {
        unsigned turn;   /* enum rf_turn, or'ed; 0: as it should be */
        bool decided;    /* the best hypothesis is at least 3 times nearer than each that differs in what it gives */
        double distance; /* rms of |S - known| under it */
        double next;     /* of the nearest other one that gives other numbers */
        char sentence[240];
};
/* Against a known standard (model or an earlier reading).  Hypotheses that give the same numbers for it (exchange of a symmetric device)
   are not told apart, and the sentence says so.  CODE_BAD_INPUT: different axes, or S is not a number. */
enum code rf_orientation_of(const struct net2 *net, const struct net2 *known, struct rf_orientation *ret, struct tp_error *err);

/* Without a standard: the phase of what transmits must fall with frequency, reflections must turn clockwise.  ret->turn is 0 or CONJUGATED,
   distance the mean delay of S21 in s where it transmits (else of the reflections, both ways).  Undecided when points lie so far apart that
   the phase may have turned by half between them, or when nothing moves. */
enum code rf_sign_of_time(const struct net2 *net, struct rf_orientation *ret, struct tp_error *err);

/* Towards DC: 1 where the phase of a ratio goes to 0, -1 where to half a turn, within an eighth of a turn (sign_at_dc.c); 0: neither, or the
   list begins too high or is too coarse to tell. */
int rf_sign_at_dc(const struct axis *axis, const double *re, const double *im);

/* ---- switch terms ----
   Idea        with the switch terms removed rightly, S12/S21 of all reciprocal two-ports read through the same boxes is one number per
               frequency (the boxes' own); with wrong ones it scatters from device to device, in proportion to what they reflect.  So two or
               more raw thrus, lines, attenuators tell which switch terms are right, without any calibration.
   Source      own derivation from T_M = T_X T_D T_Y, det T = S12/S21; switch terms: Marks, 50th ARFTG, 1997. */
enum rf_switch_use {
        RF_SWITCH_AS_GIVEN,
        RF_SWITCH_EXCHANGED,       /* forward is reverse */
        RF_SWITCH_NONE,            /* the readings have none: removed already, or the analyzer did it */
        RF_SWITCH_CONJUGATED,      /* terms or readings of the other sign of time */
        RF_SWITCH_ORDER,           /* S21 and S12 of the readings exchanged */
        RF_SWITCH_ORDER_EXCHANGED, /* both: looks like the ports exchanged in the readings but not in the terms */
        RF_SWITCH_USE_COUNT
};
struct rf_switch_judgement {
        enum rf_switch_use use;
        bool decided;                        /* its scatter is at most 0.7 of the next one's */
        double scatter[RF_SWITCH_USE_COUNT]; /* rms over frequencies and devices of the ratio's relative scatter */
        char sentence[320];
};
/* raw: PLANE_RECEIVER, two to 16 reciprocal two-ports on one axis with switch terms inside; sw on the same axis. */
enum code rf_switch_judge(const struct net2 *const *raw, size_t raw_n, const struct switch_terms *sw, struct rf_switch_judgement *ret,
                          struct tp_error *err);

/* One reading alone (switch_smooth.c): S12/S21 of what is right runs smoothly over frequency.  true: another use than as given is four times
   smoother, and the ripple as given is 0.005 at least; ret says which, scatter[] holds the ripples (NaN: not asked).  workspace:
   rf_switch_smooth_workspace(n). */
size_t rf_switch_smooth_workspace(size_t n);
bool rf_switch_smooth(const struct net2 *raw, const struct switch_terms *sw, void *workspace, struct rf_switch_judgement *ret);

/* ---- floor ----
   Both probes raised: what S21 and S12 still read, band by band.  `level` is all of it, `noise` what changes from point to point (second
   differences: what couples from tip to tip is smooth), both rms, linear; noise is that of one component. */
#define RF_FLOOR_BANDS 16
struct rf_floor_band {
        double from_hz, to_hz, level, noise, level_db, noise_db;
        size_t n;
};
struct rf_floor {
        size_t n;
        struct rf_floor_band band[RF_FLOOR_BANDS];
        size_t worst; /* band with the highest level */
        char sentence[240];
};
/* open: corrected, both probes on air.  edges: limits of the bands, rising; NULL: decades to 10 GHz, then the band edges of plausible.h.
   CODE_BAD_INPUT: S11 or S22 is far from an open (|S| < 0.7 somewhere below 40 GHz): something is touched. */
enum code rf_floor_of(const struct net2 *open, const double *edges_or_null, size_t edge_n, struct rf_floor *ret, struct tp_error *err);

#endif
