/* causes_own.h: what the files of causes share: the slope of one number, and how a cause moves it.  causes.c has the order, the touches and
   the drift; causes_standards.c the standards by each method; causes_stated.c what only the recipe can know; causes_dummies.c pads, leads
   and what lies between points; causes_noise.c the receiver.  Pure, any thread. */
#ifndef TIPPLANE_EVALUATE_CAUSES_OWN_H
#define TIPPLANE_EVALUATE_CAUSES_OWN_H
#include "evaluate/chain.h"
#include "evaluate/found_match.h"
#include "evaluate/virtual.h"
#include "rf/correct/terms_causes.h"

#define OWN_SHARE PLACEMENT_OWN_SHARE
#define LEAD_OHM 50.0
#define LEFT_LEAST 0.1 /* of a variance, when what is known of it explains all that was seen */
#define NOISY 0.05     /* relative scatter above which a number is no longer straight in the noise behind it */

struct slope {
        const struct asked *a;
        double complex z, d[PART_COUNT][4];               /* dz/dS */
        double hz, w, noise_scale;                        /* of the noise table */
        double noise_freedom, floor_scale, floor_freedom; /* floor: that of the table, where it is seen by itself */
        size_t i;                                         /* of the calibration */
        double part; /* of a common cause that comes through: the weight of the band whose standards it moves */
        struct cause_list *to;
        const struct trio *at;
        const struct found_match *found; /* lumped standards: the band whose match is found; NULL: none is */
};

/* One cause that moves all parts at once. */
typedef struct m2 (*mover)(const struct slope *k, struct m2 s, const void *cause);
struct ideal_cause {
        double complex gamma[2][3], d_gamma[2][3]; /* per port: open, short, load */
        struct m2 thru, d_thru;
};
struct tracking_cause {
        int port;
        double complex eps;
};
/* ---- causes.c */
void slope_take(struct slope *k); /* z and d from a and at */
/* Change of the number, in its unit, when z moves by dz: to first order, however large dz is. */
double slope_value(const struct slope *k, double complex dz);
/* dz when the S of one part move by ds. */
double complex slope_weigh(const struct slope *k, int part, struct m2 ds);
/* Adds a cause of one part alone, or of all parts at once: ds, or what move() makes, is one standard uncertainty of it. */
void cause_private(const struct slope *k, const char *name, int part, struct m2 ds);
/* The same of what each touch does anew: the die's own, unless the part is a dummy of another die. */
void cause_of_touch(const struct slope *k, const char *name, int part, struct m2 ds);
double complex cause_common_dz(const struct slope *k, mover move, const void *cause); /* all of it, whatever part */
double cause_common_change(const struct slope *k, mover move, const void *cause);
void cause_common(const struct slope *k, const char *name, mover move, const void *cause);
struct m2 cause_ideal_mover(const struct slope *k, struct m2 s, const void *cause);
/* ---- causes_standards.c: the number's change for each thing that is not known of a standard or of the touch on it.  NULL: no such kind.
 */
const struct standard *cause_standard(const struct recipe *r, int32_t kind);
/* Open, short, load and thru as believed; false: the recipe has not all three reflections. */
bool cause_ideals(const struct slope *k, struct ideal_cause *ret);
void causes_of_standards(const struct slope *k);
void causes_of_virtual(const struct slope *k, const struct virtual *v, size_t m);
void cause_of_found_match(const struct slope *k, const struct virtual *v);
void cause_calibration_in_noise(const struct slope *k, const struct virtual *v);
double cause_virtual_noise(const struct slope *k, const struct virtual *v);
bool cause_closed_form(const struct recipe *r, double hz);
void causes_of_lines(const struct slope *k);
double complex cause_virtual_dz(const struct slope *k, const struct virtual *v, size_t standard,
                                struct m2 d); /* all of it, whatever part */
/* The same for a cause that moves a standard at all frequencies alike, and with it what is found of the match. */
double complex cause_standard_dz(const struct slope *k, const struct virtual *v, size_t standard, standard_mover *, const void *cause);
/* ---- causes_stated.c: temperature, receivers, lines, overtravel */
bool cause_linearity_stated(const struct slope *k);
/* Adds what the receivers' errors on the standards make of z, per port; k->part of it. */
void cause_linearity_of_standards(const struct slope *k, const struct virtual *v, double complex dz[2]);
void cause_linearity_of_ideals(const struct slope *k, double complex dz[2]); /* open, short, load and a known thru */
void cause_of_linearity(const struct slope *k, const double complex of_standards[2]);
void causes_of_line_reference(const struct slope *k);
void cause_of_line_lengths(const struct slope *k, const struct virtual *v);
struct m2 cause_tip_moved(const struct slope *k, struct m2 s, int port, double by_um); /* outwards: more line inside, less pad behind */
double cause_skate_um(const struct slope *k);                                          /* one standard uncertainty; 0: not stated */
void cause_of_overtravel(const struct slope *k, int part);
/* ---- causes_dummies.c; j: point of the sweep nearest to the number's frequency */
void causes_of_dummies(const struct slope *k, size_t j);
void cause_of_model(const struct slope *k, size_t j);
void cause_of_interpolation(const struct slope *k, size_t j);
/* ---- leads.c: what is not known of the leads that were taken off, each cause together with what it does to the rest of the number. */
void causes_of_leads(const struct slope *k);
/* ---- causes_noise.c; gain: sum of the squared weights when the number lies between points.  NaN where the sweep cannot tell. */
/* Scaled as the sweeps show: of the receivers' floor, and of what is a share of the reading. */
double cause_noise_of_device(const struct slope *k, double gain, bool floor, bool trace);
double cause_noise_by_data(const struct slope *k, size_t j, double gain, double *ret_freedom);
void cause_noise_scale(struct slope *k, size_t j); /* sets the slope's scales */
void cause_noise_of_bent(struct slope *k, double by_data, double freedom, double gain, double of_standards);

#endif
