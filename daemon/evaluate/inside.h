/* inside.h: what the files of evaluate/ share and nobody else sees: the calibration's contents, one corrected point, the moves of causes.
   Pure; a calibration is immutable after calibration_solve() or calibration_read() and may be read by any number of tasks. */
#ifndef TIPPLANE_EVALUATE_INSIDE_H
#define TIPPLANE_EVALUATE_INSIDE_H
#include "evaluate/evaluate.h"
#include "rf/calibrate/calibration.h"
#include "rf/correct/correct.h"
#include "rf/trust/between.h"
#include "rf/trust/domain.h"
#include "rf/calibrate/standards.h"
#include "recipe/calibration_problem.h"

/* What a load was taken as, by the DC meter at the touch that was swept.  Ports where it is no load: NaN. */
struct load_trim {
        char standard[32];
        double t_c;
        double ohm[2], u_ohm[2]; /* less the shorts' mean; standard uncertainty */
        double short_ohm[2];     /* that mean */
};
struct json_out;
struct calibration {
        char method[32];
        struct axis axis; /* hz in the calibration's own arena */
        struct terms terms;
        bool has_switch;
        struct switch_terms sw;      /* mean over the transmitting standards: of the analyzer, not of the probes */
        double z_ref;                /* ohm; NaN: the line's own, not known */
        double thru_m;               /* length of the first line when its middle is the reference plane; else 0 */
        double *gamma_re, *gamma_im; /* line methods, 1/m; NaN otherwise */
        double *line_share;          /* weight of line methods, 0 … 1; between where bands are joined */
        double *match_weight;        /* "lrrm": of each frequency in finding the match (diagnosis.h); NaN where none is found */
        bool match_sought;           /* that column says it; otherwise nobody knows */
        unsigned version;            /* of the bytes it was read from: written again alike; 0: not read */
        struct domain domain;        /* what it may be used for; all unknown in calibrations of version 1 */
        struct load_trim *loads;     /* loads trimmed by their DC readings; none: as the recipe states them */
        size_t load_n;
        /* Of one that rescue_at() made: what lies around it and when it holds.  NULL: measured as it is. */
        const struct rf_between *between;
        struct rf_between_time at;
};
/* Memory for n points, all columns NaN or 0; hz is copied. */
enum code calibration_new(size_t n, const double *hz, struct arena *, struct calibration **ret, struct tp_error *);
/* Does a sweep of this recipe by `plan` (may be NULL) lie in the calibration's domain? */
enum code domain_holds(const struct calibration *, const struct recipe *, const struct sweep_plan *plan, const struct raw_sweep *,
                       struct tp_error *);

/* settings.c: the domain's power and attenuators as the analyzer read them back while the standards were swept; CODE_BAD_INPUT: they changed
   meanwhile, or the IF bandwidth is not the plan's. */
enum code settings_of_standards(const struct recipe *, const struct standard_sweep *, size_t n, struct domain *, struct tp_error *);
/* Those of one sweep into what domain_contains() asks; CODE_BAD_INPUT: the IF bandwidth is not the plan's (may be NULL). */
enum code settings_of_sweep(const struct raw_sweep *, const struct sweep_plan *, struct domain_sweep *, struct tp_error *);
/* trim.c: what the loads among these standards read at DC, when the recipe asks for it (else none).  CODE_BAD_INPUT: a load or short without
   a reading, or a load outside of what its definition allows; names copy, port, value and what to do. */
enum code loads_measure(const struct recipe *, const struct standard_sweep *, size_t n, struct arena *, struct load_trim **ret,
                        size_t *ret_n, struct tp_error *);
/* The recipe with its loads as the calibration took them, in the arena; the recipe itself where none is trimmed. */
enum code recipe_trimmed(const struct recipe *, const struct load_trim *, size_t n, struct arena *, const struct recipe **ret,
                         struct tp_error *);
void loads_json(const struct recipe *stated, const struct load_trim *, size_t n, struct json_out *);

/* The calibration's index of each point of a sweep.  NULL in *ret: one to one.  CODE_BAD_INPUT names the first frequency that it does not
 * hold. */
enum code calibration_map(const struct calibration *, const struct raw_sweep *, struct arena *, const uint32_t **ret, struct tp_error *);
/* Point j of a sweep (index i of the calibration), corrected to the calibration's plane. */
struct m2 tip_point(const struct calibration *, const struct raw_sweep *, size_t j, size_t i);
static inline size_t map_at(const uint32_t *map, size_t j) { return map ? map[j] : j; }

/* check.c: corrected points of one standard then and now, every one or some 160 of them, each with its sigma.  From scratch. */
struct rf_mode_reading;
enum code check_reading(const struct recipe *, const struct calibration *, const struct standard *, const struct raw_sweep *then,
                        const struct raw_sweep *now, struct arena *scratch, struct rf_mode_reading *ret, struct tp_error *);
struct rf_mode_priors check_priors(const struct recipe *);

/* The model of a standard at one frequency: two-port in 50 ohm (reflections: diagonal). */
struct m2 standard_at(const struct standard *, double t_c, double hz);

/* moves.c: what a small cause does to the corrected S at the tips, first order.  z: ohm, the (real) reference.  All return dS. */
struct m2 move_series(struct m2 s, int port, double complex dz_ohm, double z);
struct m2 move_shift(struct m2 s, int port,
                     double complex theta); /* plane outwards by theta = gamma dx: S_pp e^{-2 theta}, S_pq e^{-theta} */
struct m2 move_shunt(struct m2 s, int port, double complex dy_s, double z);
struct m2 move_tracking(const struct calibration *, size_t i, struct m2 s, int port, double complex eps); /* one-way tracking (1 + eps) */
/* The ideals of port `port` were wrong by d_gamma at gamma[3] (open, short, load); thru: how the known thru was wrong ("solt" only). */
struct m2 move_ideals(const struct calibration *, size_t i, struct m2 s, int port, const double complex gamma[3],
                      const double complex d_gamma[3], struct m2 thru, struct m2 d_thru);

/* described.c: the members "history" (probes, figures per band, tracking, floor) and "suspicions" of the diagnosis. */
void described_json(const struct recipe *, const struct calibration *, const struct standard_sweep *, size_t n, struct arena *,
                    struct json_out *);

/* noise.c: receiver noise when the data do not show it: floor at the tips and trace noise by band, IF bandwidth and averages. */
double noise_of(const struct sweep_plan *, double hz, double magnitude);
/* The same with the table's floor, and its share of what is read, times a number each. */
double noise_scaled(const struct sweep_plan *, double hz, double magnitude, double floor_scale, double trace_scale);
/* Both frequencies are swept with one IF bandwidth and as many averages. */
bool noise_alike(const struct sweep_plan *, double hz1, double hz2);
/* Standard deviation of y about a cubic in x over n points (5 … 32), per component when im is given; n - 4 degrees of freedom for each. */
double scatter_of(const double *x, const double *re, const double *im, size_t n, size_t stride);

/* budget.c */
#define CAUSE_INTERPOLATION "interpolation" /* where it prevails the number is refused */
#define CAUSE_LIST_MAX 160
enum { NOT_COUNTED_MAX = 8 };
/* Whose a cause is.  What is not each die's own beyond doubt is shared: that makes the scatter of a wafer's values larger, never smaller. */
enum cause_scope {
        SCOPE_SHARED, /* the dies of a run have it in common: standards, drift, a dummy of another die, what is believed of pads and leads */
        SCOPE_TOUCH,  /* anew with each touch of this die: contact, place, overtravel, of the device and of its own die's dummies */
        SCOPE_READING /* anew with each sweep: noise */
};
struct cause_list {
        size_t n;
        const char *name[CAUSE_LIST_MAX]; /* static text; several entries may share a name */
        enum cause_scope scope[CAUSE_LIST_MAX];
        double dq[CAUSE_LIST_MAX];        /* change of the parameter by one standard uncertainty */
        double nu[CAUSE_LIST_MAX];        /* degrees of freedom; INFINITY: known by type B */
        bool rectangular[CAUSE_LIST_MAX]; /* known by its limits alone */
        size_t not_counted_n;
        const char *not_counted[NOT_COUNTED_MAX]; /* the recipe does not state them; each once, static text */
};
void cause_add(struct cause_list *, const char *name, double dq, double nu); /* SCOPE_SHARED */
void cause_add_of(struct cause_list *, enum cause_scope, const char *name, double dq, double nu);
void cause_add_rectangular(struct cause_list *, const char *name, double dq); /* dq: half width / sqrt 3 */
/* A number made of several: adds weight times what is of one origin in `one` (the n-th cause of a name is the n-th of that name in `sum`:
   the same tip, the same standard).  Noise is each reading's own and stays out; the squares of what there is of it come back. */
double cause_add_coherent(struct cause_list *sum, const struct cause_list *one, double weight);
void cause_not_counted(struct cause_list *, const char *name);
/* The first cause without a bound (dq INFINITY: here nothing can be said); NULL: none. */
const char *cause_unbounded(const struct cause_list *);
/* u, the 95 % half width (JCGM 100, G.4: t of the effective degrees of freedom, at least 2; less where a rectangular cause prevails) and
   the budget as JSON (budget_json.c); json may be NULL. */
void budget_close(const struct cause_list *, double *ret_u, double *ret_u95, char json[BUDGET_ROOM]);
/* squares: of all dq, above 0 and finite. */
void budget_json(const struct cause_list *, double squares, char json[BUDGET_ROOM]);
double student_95(double nu);

#endif
