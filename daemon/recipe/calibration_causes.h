/* calibration_causes.h: how the terms of a calibration move with everything that was stated about its standards, touches and readings.
   One cause is one number that is not known: a standard's definition at one port or at both (standard_moves.h), a line's length, a touch's
   resistance, the noise of one reading.  Causes that move nothing are left out; a key of a standard's model of which nothing is left (a
   thru's delay under unknown_thru) is named among what is not counted.  Pure; the result is the arena's. */
#ifndef TIPPLANE_RECIPE_CALIBRATION_CAUSES_H
#define TIPPLANE_RECIPE_CALIBRATION_CAUSES_H
#include "recipe/calibration_problem.h"
#include "rf/correct/terms_causes.h"

/* plan, at, readings as calibration_plan_solve() had them, solved: what it gave.  each: of every touch and reading; 0: not stated.
   Everything but noise is found by solving the whole calibration twice more, with the cause moved a little to both sides: what a method
   searches over all frequencies together (a match's inductance) and how bands are joined moves with it.  Noise is each frequency's own, so
   it comes from the solvers' sensitivities with all choices held (rf/calibrate/covariance.h); what it makes of a match that is found from
   all of them is a cause that moves all (calibration_match_noise.c).
   CODE_UNRESOLVABLE: the moved calibration has no solution. */
enum code calibration_causes(const struct calibration_plan *, const struct solve_conditions *at, const struct standard_reading *readings,
                             size_t n, const struct solved_calibration *solved, const struct reading_u *each, struct arena *,
                             struct terms_causes **ret, struct tp_error *);

/* ---- what its files share (calibration_causes.c, calibration_causes_*.c, calibration_noise.c) ---------------------------------------- */
struct causes_job {
        const struct calibration_plan *plan;
        struct solve_conditions at; /* weights held */
        const struct standard_reading *readings;
        size_t n;
        const struct solved_calibration *solved;
        struct arena *arena, *scratch;
        struct terms_causes *to;
};
/* Change of S at the tips of reading k at point i, where it is corrected to `is`, by one standard uncertainty of `cause`. */
typedef struct m2 causes_change(const struct causes_job *, size_t k, size_t i, struct m2 is, const void *cause);
/* A cause that makes what stands at the tips other than it is believed to be: what is read of it, and the calibration solved with that.
   *ret_moves (may be NULL): the terms move. */
enum code causes_of_reading(struct causes_job *, enum cause_kind, size_t k, causes_change *, const void *cause, bool *ret_moves,
                            struct tp_error *, const char *name);
/* calibration_causes_standards.c: all that is stated of reading k's standard, but a line's length. */
enum code causes_of_definition(struct causes_job *, size_t k, struct tp_error *);
bool causes_reads_port(const struct standard_reading *, int port); /* 0, 1 */
/* Terms with the switch terms that go with them. */
struct causes_side {
        const struct terms *terms;
        const struct switch_terms *switch_terms; /* NULL: none */
};
/* A cause whose columns are (up - down) scale on the whole axis; columns that do not move stay NULL, and so does the cause if none does. */
enum code causes_add(struct causes_job *, enum cause_kind, double freedom, struct causes_side up, struct causes_side down, double scale,
                     struct tp_error *, const char *name, ...) __attribute__((format(printf, 8, 9)));
void causes_not_counted(struct causes_job *, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
/* Per unit of one standard uncertainty of entry e of reading k: how a band's terms move.  Zero where the band does not read it. */
struct band_columns {
        struct terms moved; /* the derivative, in the place of terms */
        bool reads;
};
/* calibration_match_noise.c: of the match that "lrrm" finds in this band; columns[standard of the band][entry]. */
enum code causes_of_match_noise(struct causes_job *, size_t band, struct band_columns (*columns)[4], struct tp_error *);
/* Likewise, whether noise is stated or not: what another pair of L and C that fits, too, would make of the terms. */
enum code causes_of_other_pairs(struct causes_job *, struct tp_error *);
enum code causes_of_noise(struct causes_job *, struct tp_error *);
/* One cause that moves what several standards are believed to be; d_ideals[n]: by one standard uncertainty, NULL where it stays. */
enum code causes_of_beliefs(struct causes_job *, const struct cause_about *, const struct net2 *const *d_ideals, struct tp_error *);
/* The causes of the standards' own documents (standard_reading.ideal_causes). */
enum code causes_of_documents(struct causes_job *, struct tp_error *);

#endif
