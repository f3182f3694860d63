/* calibration_problem.h: a recipe's calibration plan, its standards and what was read of them become problems of rf/, one per band, solved
   and joined.  One translation for the daemon (evaluate/) and the command line.  Pure: no files, no clock; everything comes from the arena.
   May use: recipe.h, rf/, base/. */
#ifndef TIPPLANE_RECIPE_CALIBRATION_PROBLEM_H
#define TIPPLANE_RECIPE_CALIBRATION_PROBLEM_H
#include "recipe/recipe.h"
#include "rf/calibrate/calibration.h"
#include "rf/trust/domain.h"
#include "rf/calibrate/join.h"
#include "rf/calibrate/standards.h"

/* ---- words and roles ---------------------------------------------------------------------------------------------------------------- */
enum rf_standard_kind standard_rf_kind(int32_t kind); /* enum standard_kind */
struct standard_definition
standard_definition_of(const struct standard *); /* of port 1, a load trimmed by its DC reading where there is one */
struct standard_definition standard_definition_at(const struct standard *, int port); /* 0 port 1, 1 port 2 */
/* Does a model say what a standard of this kind can be: no key that it has no use for, no number of another unit (farad for femtofarad)?
   CODE_BAD_INPUT: the sentence begins with the key, which is err->pointer too. */
enum code standard_model_check(int32_t kind, const struct standard_model *, struct tp_error *);
/* Does a model say anything besides a length? */
bool standard_model_is_told(const struct standard_model *);
int32_t standard_kind_at(const struct standard *, int port); /* enum standard_kind; port 0, 1 */
/* What it is, S in 50 ohm over the axis of ret, by data or by its definitions at both ports (thru, line: its delay).  CODE_BAD_INPUT: a
   number that is none, a DC reading too far off, data that do not cover the axis or are too coarse for it. */
enum code standard_ideal(const struct standard *, double t_c, struct arena *, struct net2 *ret, struct tp_error *);
/* The same at one frequency; NaN where there is none. */
struct m2 standard_point(const struct standard *, double t_c, double hz);
/* A line of length_m with the gamma (1/m) that a line calibration found at hz, in z_ref (ohm; NaN, 0: the line's own) by the plan's word on
   its impedance. */
double complex calibration_line_z(const struct calibration_plan *, double complex gamma_m, double hz); /* ohm, by that word; 0: not said */
struct m2 calibration_line(const struct calibration_plan *, double complex gamma_m, double hz, double length_m, double z_ref);
#define STANDARD_DATA_DOUBT 0.02 /* largest distance of neighbouring parabolas: a tenth of it is left in between */
/* What a standard is to a method: its own kind where the method has use for that; else a thru is a line (the first one, of known length),
   an open or short a reflect; with another thing at port 2 it is a known two-port.  RF_STANDARD_UNKNOWN: no use. */
enum rf_standard_kind standard_role(const struct method *, const struct standard *);
bool method_is_of_lines(const struct method *); /* its planes and impedance come from lines */
/* The bands of a plan; without `bands` the one that covers 0 … infinity with all standards.  *ret lives as long as plan and `one`. */
size_t calibration_bands(const struct calibration_plan *, struct band_plan *one, const struct band_plan **ret);
/* Where the results lie, enum plane: as wished, or as the methods have it. */
enum plane calibration_plan_plane(const struct calibration_plan *);
/* "unknown_thru", or "joined" when there are bands. */
const char *calibration_plan_word(const struct calibration_plan *);

/* ---- domain ------------------------------------------------------------------------------------------------------------------------- */
/* What a calibration by this recipe over from_hz … to_hz may be used for, and how a sweep of the recipe by `plan` (NULL: power not told) is
   taken: rf/trust/domain.h compares them. */
struct domain recipe_domain(const struct recipe *, double from_hz, double to_hz);
struct domain_sweep recipe_domain_sweep(const struct recipe *, const struct sweep_plan *plan, double from_hz, double to_hz);

/* ---- solving ------------------------------------------------------------------------------------------------------------------------ */
struct net2_causes; /* rf/network/causes.h */
/* One standard as it was read.  raw: PLANE_RECEIVER, switch terms inside; all standards on one list of frequencies. */
struct standard_reading {
        const struct standard *standard;
        const struct net2 *raw;
        const struct switch_terms *switch_terms; /* read with it; NULL: none */
        /* from files only; 0 and NULL: as the standard and its model say */
        const struct net2 *ideal;               /* what it is, S in 50 ohm, on the axis of raw */
        enum rf_standard_kind kind;             /* RF_KNOWN: a two-port that only its ideal describes */
        unsigned ports;                         /* reflections: 1, 2: read at that port only */
        const struct net2_causes *ideal_causes; /* what is not known exactly of `ideal`, on its axis; NULL: data_u says it, or nobody */
};
struct solved_calibration;
struct solve_conditions {
        double temperature_c;              /* of the standards */
        double contact_ohm_u, contact_h_u; /* repeatability of a touch (1 s); for the weights of joined bands only */
        double placement_um_u;             /* likewise */
        double (*noise)(const void *of, double hz, double magnitude); /* 1 s per component of a raw ratio; NULL: 1e-4 + 3e-4 |S| */
        const void *noise_of;
        size_t match_band; /* of this band what "lrrm" finds of its match is moved by match_step (calibration.h) */
        double match_step[3];
        const struct solved_calibration *held; /* the weights of joined bands are those of this solution; NULL: found anew */
};
struct solved_band {
        const struct method *method;
        char name[72];          /* "multiline_trl from 1 to 220 GHz" */
        size_t begin;           /* index of its first frequency in the whole list */
        struct axis axis;       /* its part */
        struct problem problem; /* as it was solved: standards, ideals, guesses */
        struct terms terms;
        struct diagnosis diagnosis;
        double first_line_m; /* line methods; else 0 */
        double *u, *u_worst; /* of corrected S, per point; NaN outside of overlaps and where not known */
};
struct solved_calibration {
        struct axis axis; /* the list all standards were read on (borrowed) */
        struct terms terms;
        bool has_switch;
        struct switch_terms switch_terms; /* to be removed from raw data when terms.switch_removed */
        double plane_line_m;              /* length of the first line when its middle is the reference plane; else 0 */
        double *gamma_re, *gamma_im;      /* 1/m, of the lines; NaN where there are none */
        double *zc_re, *zc_im;            /* ohm, of the lines where known; NaN */
        double *share;                    /* band index + weight of the next one */
        double *line_share;               /* weight of line methods, 0 … 1 */
        double *match_weight;             /* "lrrm": of each frequency in finding the match (diagnosis.h); NaN where none is found */
        bool match_sought;                /* some band finds a match, or tried */
        size_t band_n;
        struct solved_band *bands;
        struct joint *joints; /* band_n - 1 */
};
/* readings: each standard once; without bands all are used, in this order (the first line of a line method is the thru); with bands each
   band takes its own by name.  Their axis must outlive the result.
   CODE_BAD_INPUT: a standard that is missing, frequencies that differ, switch terms that the plan asks for and a transmitting standard came
   without, what a method refuses; CODE_UNRESOLVABLE: degenerate standards. */
enum code calibration_plan_solve(const struct calibration_plan *, const struct solve_conditions *, const struct standard_reading *,
                                 size_t n, struct arena *, struct solved_calibration **ret, struct tp_error *);

struct rf_band calibration_band(const struct solved_band *); /* as rf_join() takes it */
/* Does it transmit: a thru, a line, a known two-port? */
bool standard_reading_transmits(const struct standard_reading *);
/* "standards": what each of them leaves, as an array into an open object. */
void calibration_residuals_json(const struct solved_band *band, struct json_out *o);
void calibration_joint_json(struct json_out *o, const struct solved_calibration *, size_t k); /* one object: between bands k and k + 1 */

#endif
