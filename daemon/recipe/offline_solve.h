/* offline_solve.h: a plan of files, once the files are read, solved, verified, and said in JSON and in words.  Pure; all from the arena. */
#ifndef TIPPLANE_RECIPE_OFFLINE_SOLVE_H
#define TIPPLANE_RECIPE_OFFLINE_SOLVE_H
#include "recipe/calibration_causes.h"
#include "recipe/definition_solve.h"
#include "recipe/offline_plan.h"
#include "rf/calibrate/lines/capacitance.h"

struct offline_reading {
        const struct offline_standard *standard;
        struct net2 raw;                        /* PLANE_RECEIVER; one-port files: the other entries are 0 */
        unsigned ports;                         /* 3, or 1 or 2: read at that port only */
        bool has_ideal;                         /* from a file */
        struct net2 ideal;                      /* S in 50 ohm, on the axis of raw */
        const struct net2_causes *ideal_causes; /* of it, on that axis; NULL: no document, or the plan's data_u stands in its place */
};
/* A standard that took no part, corrected and held against its definition; of lines under a line method against e^{-gamma (l - l_first)}.
 */
struct offline_verified {
        const char *name;
        double limit, worst, worst_hz; /* largest |S - definition|; of reflections S11 and S22 only */
        bool within;
        struct solved_definition definition; /* what it seems to be, by these readings */
        double longer_m, longer_leaves;      /* of a line by its length: as if it were so much longer, and the worst distance then; NaN */
};
/* What the lines' capacitance is by a DC resistance: theirs (per metre), or that of a verified load. */
struct offline_capacitance {
        char by[80];
        double dc_ohm;
        struct rf_line_capacitance found; /* its u_f_m is the scatter */
        double u_f_m;                     /* with what is not known of the resistance */
        bool resistance_is_exact;         /* nobody said how well it is known */
        char why[240];                    /* not found: why; "" when it is */
};
struct offline_solved {
        const struct offline_plan *plan;
        struct solved_calibration *solved;
        struct offline_verified *verified;
        size_t verified_n;
        struct offline_capacitance *capacitance; /* verify_n + 1 at most */
        size_t capacitance_n;
        bool accepted;               /* every verification is within its limit */
        struct terms_causes *causes; /* NULL until offline_causes() */
};
/* readings: one for each standard that is used or verified (offline_plan_uses, calibration.verify), in any order.  sw: NULL without files.
 */
enum code offline_solve(const struct offline_plan *, const struct offline_reading *readings, size_t n, const struct switch_terms *sw,
                        struct arena *, struct offline_solved **ret, struct tp_error *);
/* How the terms move with what the plan states of standards, lines, touches and noise, into to->causes; NULL where it states nothing.  The
   same readings and switch terms as before. */
enum code offline_causes(const struct offline_plan *, const struct offline_reading *readings, size_t n, const struct switch_terms *sw,
                         struct arena *, struct offline_solved *to, struct tp_error *);
/* offline_capacitance.c.  Of the lines: when the plan states their resistance; of a load: when it was verified and read by a DC meter (got: as
   corrected, on the whole axis, its plane at the load). */
void offline_capacitance_of_lines(const struct offline_plan *, struct offline_solved *to);
enum code offline_capacitance_of_load(const struct offline_reading *, unsigned ports, const struct net2 *got, struct offline_solved *to,
                                      struct arena *, struct tp_error *);
void offline_capacitances_json(const struct offline_solved *, struct json_out *);
void offline_capacitances_words(const struct offline_solved *, struct text *to);
/* Corrects one raw network: its axis must be the terms' own. */
enum code offline_correct(const struct terms *, const struct switch_terms *or_null, const struct net2 *raw, struct net2 *out,
                          struct tp_error *);

/* Bands with their methods and standards, every figure the solver gives (worst, where, and all values), joints, verifications, warnings. */
void offline_diagnosis_json(const struct offline_solved *, struct json_out *, const char *key);
void offline_diagnosis_words(const struct offline_solved *, struct text *to);

#endif
