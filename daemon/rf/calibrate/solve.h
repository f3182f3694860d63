/* solve.h: what the solvers of rf/ share; not for other rooms.
   A solver works in two passes: points first (each frequency alone, root choices open), then the choices along frequency (follow.c), then
   terms. For sensitivities the same point solver runs again with inputs moved and choices held. */
#ifndef TIPPLANE_RF_SOLVE_H
#define TIPPLANE_RF_SOLVE_H
#include "rf/calibrate/calibration.h"

/* The inputs of one frequency. */
struct point {
        size_t i, n;
        double hz;
        const struct problem *problem;
        struct m2 raw[RF_STANDARD_MAX];  /* as read, switch terms inside */
        struct m2 bare[RF_STANDARD_MAX]; /* with the switch terms removed: point_load() and point_bare() keep it */
        struct m2 ideal[RF_STANDARD_MAX];
        double length_m[RF_STANDARD_MAX];
        double complex gf, gr; /* 0 when there are none */
};
void point_load(const struct problem *problem, size_t i, struct point *ret);
void point_load_as_read(const struct problem *problem, size_t i, struct point *ret); /* without bare[] */
/* Raw with the switch terms removed; after raw[] has been moved, point_bare() first. */
static inline struct m2 point_raw(const struct point *p, size_t standard) { return p->bare[standard]; }
void point_bare(struct point *p, size_t standard);

/* From all reflections with an ideal that touch `port` (1, 2); raw is w.  residual (may be NULL): per standard |predicted - read|, NaN if
   not used. false: the standards coincide. */
bool box_from_reflections(const struct point *p, int port, bool unterminated, struct box *ret, double *ret_condition, double *residual);
/* Fills cov from a point solver with all choices held: `choice` points to what the solver keeps of frequency i. */
typedef bool point_solver(const struct point *p, const void *choice, double complex t[TERM_COUNT]);
void covariance_fill(const struct problem *problem, struct covariance *cov, point_solver *solve, const void *choices, size_t choice_bytes);

/* Two-valued roots along frequency.  ratio[i] = root/estimate, as found with either sign; afterwards with the chosen one, and sign[i] = -1
   where it was turned.  From `start`, whose sign the estimate settles, to both ends the root nearer to the last trusted one is taken; a
   step of more than 60 degrees cannot be followed and the estimate chooses.  trusted (NULL: all): points that are mostly noise get a sign
   too, but nobody follows them and they contradict nothing. */
struct followed {
        double start_angle_deg;                     /* of root/estimate at the start, after the choice: 0 … 90 */
        bool all;                                   /* no step was ambiguous */
        double unfollowed_hz;                       /* lowest ambiguous step; NaN */
        bool contradicts;                           /* somewhere the estimate would choose the other root */
        double contradiction_hz, contradiction_deg; /* nearest to the start */
        double worst_deg, worst_hz;                 /* largest angle between root and estimate */
};
void root_follow(size_t n, const double *hz, size_t start, const bool *trusted, double complex *ratio, signed char *sign,
                 struct followed *ret);

/* The same for any two candidates per frequency, one frequency after the other from the lowest: the one nearer to its predecessor.
   "Degrees" are those of +-x: 90 is as far from one as from the other.  followed.worst_deg, worst_hz are not kept. */
struct branch {
        double complex estimate, before;
        size_t n;
        struct followed followed;
};
void branch_begin(struct branch *b, double complex estimate);
int branch_step(struct branch *b, double hz, const double complex pair[2]); /* which one: 0, 1 */

/* rf_problem_check() in two: shapes, axes and kinds; then that every number it uses is one, for who cannot tell that from its results. */
enum code problem_check_shape(const struct method *, const struct problem *, struct tp_error *);
enum code problem_check_numbers(const struct method *, const struct problem *, struct tp_error *);
/* A thru through which nothing was read, in either direction, calibrates no transmission: CODE_UNRESOLVABLE names the frequency. */
enum code thru_transmits_check(const struct method *, const struct problem *, struct tp_error *);
/* Where column[i] > limit: first and last index of each run, at most `max` of them kept; how many there are. */
size_t runs_above(size_t n, const double *column, double limit, size_t max, size_t (*ret)[2]);
/* "at 145 GHz", "from 140 to 150 GHz", "from 1 to 2 and 57 to 61 GHz", "at 31 of 750 frequencies from 1 to 122 GHz"; the text is ret. */
const char *where_above(const struct axis *, const double *column, double limit, char ret[96]);
/* Says where the condition number exceeds limit, how far, and what to do about it. */
void diagnosis_warn_condition(struct diagnosis *d, double limit, const char *what, const char *cure);
void diagnosis_warn(struct diagnosis *d, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
/* The ideal of a standard where a method needs it only sometimes: axis and numbers. */
enum code standard_ideal_check(const struct problem *p, const struct rf_standard *s, struct tp_error *err);
const char *standard_name(const struct rf_standard *s);
bool is_reflection(enum rf_standard_kind kind); /* open, short, load */
/* Was anything read at this port (1, 2)? */
bool port_is_read(const struct problem *p, unsigned port);
/* An exactly determined set leaves none. */
void residuals_none(const struct problem *problem, struct diagnosis *d);
void residuals_finish(const struct problem *problem, struct diagnosis *d, const double *residual /* [n][standard_n], NaN none */);

/* One file each; solve() of their row in rf_methods[]. */
size_t unknown_thru_workspace(size_t n, size_t standards);
size_t sixteen_workspace(size_t n, size_t standards);
enum code sol_solve(const struct problem *, void *, struct terms *, struct covariance *, struct diagnosis *, struct tp_error *);
enum code solt_solve(const struct problem *, void *, struct terms *, struct covariance *, struct diagnosis *, struct tp_error *);
enum code unknown_thru_solve(const struct problem *, void *, struct terms *, struct covariance *, struct diagnosis *, struct tp_error *);
size_t lrm_workspace(size_t n, size_t standards);
size_t lrrm_workspace(size_t n, size_t standards);
size_t trl_workspace(size_t n, size_t standards);
size_t known_workspace(size_t n, size_t standards);
enum code lrm_solve(const struct problem *, void *, struct terms *, struct covariance *, struct diagnosis *, struct tp_error *);
enum code lrrm_solve(const struct problem *, void *, struct terms *, struct covariance *, struct diagnosis *, struct tp_error *);
enum code known_solve(const struct problem *, void *, struct terms *, struct covariance *, struct diagnosis *, struct tp_error *);
enum code trl_solve(const struct problem *, void *, struct terms *, struct covariance *, struct diagnosis *, struct tp_error *);
enum code multiline_solve(const struct problem *, void *, struct terms *, struct covariance *, struct diagnosis *, struct tp_error *);
enum code sixteen_solve(const struct problem *, void *, struct terms *, struct covariance *, struct diagnosis *, struct tp_error *);

#endif
