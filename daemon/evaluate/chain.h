/* chain.h: the inside of one sweep's chain, shared by chain.c (what is asked), asked.c (one number from three networks) and causes.c (its
 * uncertainty). */
#ifndef TIPPLANE_EVALUATE_CHAIN_H
#define TIPPLANE_EVALUATE_CHAIN_H
#include "evaluate/inside.h"
#include "rf/deembed/deembed.h"
#include "rf/extract/extrinsic.h"
#include "rf/extract/quantity.h"

enum part { PART_DEVICE = RF_DUMMY_DEVICE, PART_OPEN = RF_DUMMY_OPEN, PART_SHORT = RF_DUMMY_SHORT, PART_COUNT = RF_DUMMY_COUNT };
/* The device and its dummies at one frequency. */
struct trio {
        struct m2 s[PART_COUNT]; /* at the calibration's plane; parts that the recipe does not use are 0 */
        double hz;
};
struct leads;
struct found_match;
struct chain {
        const struct chain_question *q;
        const struct calibration *cal;
        const struct raw_sweep *raw[PART_COUNT];  /* NULL: not used */
        const struct calibration *of[PART_COUNT]; /* the terms that held when the part was swept; all on cal's axis */
        const uint32_t *map;                      /* all parts lie on the device's points */
        struct axis axis;                         /* of the sweep */
        enum deembed_method method;               /* RF_DEEMBED_UNKNOWN: none */
        double z;                                 /* real reference used in arithmetic; 50 when the line's own is not known */
        bool line_reference;                      /* S is in the line's own impedance, whose ohms are not known */
        int32_t device_kind;                      /* enum device_kind */
        double line_m;                            /* what lies between the planes of a line device */
        const double *half_re, *half_im;   /* S11 of the first half of a 2x-thru, gated out of it at each point of the axis; else NULL */
        const double *later_re, *later_im; /* the same with the gate closed one cell of time later */
        const struct rf_extrinsic *around; /* taken off after the de-embedding; NULL: nothing */
        const struct found_match *found;   /* what "lrrm" finds of its matches, by band (found_match.h); NULL: nothing */
        const struct leads *leads;         /* whose elements `around` is; NULL: they are taken as exact */
};
enum code chain_open(const struct chain_question *, struct arena *, struct chain *ret, struct tp_error *);
struct trio chain_point(const struct chain *, size_t j);
/* Local quadratic over five points, in S, where everything is bounded; sum of the squared weights in *ret_noise_gain. */
enum code chain_between(const struct chain *, double hz, struct trio *ret, size_t *ret_nearest, double *ret_noise_gain, struct tp_error *);
struct m2 chain_deembed(const struct chain *, const struct trio *);
/* Trace noise is a share of what a receiver reads, its directivity included.  |raw| of entry e at index i of the calibration, as seen from
   the tips: over the reflection's tracking.  Where that is not known (transmissions, other models) it is |S|. */
double chain_read_size(const struct chain *, size_t i, struct m2 s, int e);

/* One question to a trio: an analytic complex number, and the real one that is reported. */
struct asked {
        const struct chain *ch;
        int32_t quantity;
        enum rf_quantity rf; /* RF_Q_UNKNOWN: one of the recipe's own (asked.c) */
        double hz;
        enum view view;
        double complex near; /* lines: about what gamma l must be */
};
double complex asked_z(const struct asked *, const struct trio *);
double asked_value(const struct asked *, double complex z);
/* Of a row of rf_quantities[] "z" is the number itself, and this its change with the S of the device alone. */
double asked_number(const struct asked *, struct m2 device, double complex ret_grad[4]);
/* What the uncertainty is measured against (rf/extract/resolve.h). */
enum rf_share asked_share(const struct asked *);
/* The half width where the number is not straight in z (Q = X/R when u(R) is no small part of R): z is moved along the steepest way, as a
   normal whose 95 % is u95 to first order, and the half width is what holds the number with 95 %.  Infinite when the number turns on the
   way, as Q does at its pole. */
double asked_bend(const struct asked *, const struct trio *, double complex z, double u95);
/* Lines: follows the phase up from where it is less than a quarter turn.  Sets near. */
enum code asked_branch(struct asked *, struct tp_error *);

/* near at another frequency: its phase grows in proportion. */
double complex asked_near(const struct asked *, double hz);

/* drawn.c: a number that is found along a curve, with the causes that move the curve. */
enum { CURVE_NODES = 9 };
struct curve {
        size_t node_n, cause_n;                     /* no node: nothing is drawn */
        double hz[CURVE_NODES], value[CURVE_NODES]; /* rising */
        const char *name[CAUSE_LIST_MAX];
        double dq[CAUSE_LIST_MAX][CURVE_NODES];
        double (*number)(const struct curve *, const double *value); /* NaN: there is none */
        double scale, power;                                         /* of curve_mean() */
        double weight[CURVE_NODES];                                  /* of the same: their sum 1 */
};
/* One node more; noise of one frequency is left out, for the number's own is drawn. */
void curve_add(struct curve *, double hz, double value, const struct cause_list *);
double curve_crossing(const struct curve *, const double *value); /* the first zero */
double curve_mean(const struct curve *, const double *value); /* scale times the weighted geometric mean of (value over what it is)^power */
/* Is the drawn interval another than the linear one of u and u95 (JCGM 101:2008, 8.1)?  Then its half width, infinite where a tail has no
   end.  all: the number's causes, of which what is not the curve's is drawn beside it. */
bool curve_drawn(const struct curve *, const struct cause_list *all, double u, double u95, double *ret_u95);

/* plateau.c: fT, fmax: the mean over the window in which a gain falls by 20 dB a decade, fT_im: the value at f = 0 of its line in f^2; and the
   causes carried through that. */
void answer_plateau(struct asked *, double share_max, struct parameter_answer *, struct cause_list *, struct curve *, struct tp_error *);

/* found.c: the largest Q or where it is (a.rf); l dbeta/dw around a.hz; both with what moves them. */
void answer_peak(struct asked *, double share_max, struct parameter_answer *, struct cause_list *);
void answer_group_delay(struct asked *, struct parameter_answer *, struct cause_list *, struct tp_error *);
/* Where the number is resolved best: within twice its least u95/|value|.  false: nowhere. */
bool best_window(const struct asked *, double share_max, double *ret_lo_hz, double *ret_hi_hz);
/* Where the number could be read just as well: in half decades from a.hz, as far as each step is resolved. */
void answer_range(const struct asked *, double share_max, struct parameter_answer *);
/* Half width as a share of the value at one frequency; infinite where there is none. */
double asked_share_at(const struct asked *, double hz);
/* No value, and why. */
void answer_refuse(struct parameter_answer *, const char *sentence);
void answer_fail(struct parameter_answer *, const struct tp_error *); /* the same by an error */
/* resonance.c: the self-resonance. */
void answer_srf(struct asked *, struct parameter_answer *, struct cause_list *, struct curve *, struct tp_error *);
/* answer.c: one parameter of the plan; the same without a number, for the reason `why`. */
void answer_one(const struct chain *, const struct parameter_plan *, struct parameter_answer *);
void answer_without(const struct parameter_plan *, const struct tp_error *why, struct parameter_answer *);

/* All causes of uncertainty of a at the trio (index i of the calibration, j of the sweep). */
void causes_of(const struct asked *, const struct trio *, size_t j, double noise_gain, struct cause_list *);

/* causes_stated.c: the chuck's temperature times the parameter's own coefficient, for the finished number. */
void cause_of_temperature(const struct chain *, const struct parameter_plan *, enum rf_share, double value, struct cause_list *);

/* leads.c: the elements around a transistor, from the sweeps of its off and cold states under the same touch, and what moves them. */
struct leads {
        struct rf_extrinsic x;
        struct cause_list of[RF_X_COUNT]; /* what moves each, in its unit; nothing where an element is taken as none */
        const double *loss[2]; /* S per point of the sweep, per port: what is off conducts so much; NULL: there is no off state */
};
bool leads_wanted(const struct measure *, const struct parameter_plan *); /* it lies inside them, or is one of their elements */
/* The chain with its leads taken off; the same chain where no parameter wants that.  CODE_NOT_FOUND: a state was not swept;
   CODE_UNRESOLVABLE: the states do not give them. */
enum code leads_chain(const struct chain *bare, struct arena *, struct chain *ret, struct tp_error *why);

/* flags.c: what the corrected sweep says of itself; neither looks at a parameter nor decides over trust. */
struct sweep_said {
        uint32_t flags; /* as in run/entry.h: 8 seam, 16 not reciprocal, 32 not passive */
        double reciprocity, gain, seam, seam_hz;
        bool backwards; /* amplifies from port 2 to port 1 */
};
void sweep_say(const struct chain *, struct arena *, struct sweep_said *);
/* Appends what is worth saying to a parameter's reason. */
void sweep_said_in(const struct chain *, const struct sweep_said *, char *reason, size_t room);

#endif
