/* evaluate/: what a sweep says: calibrate, verify, check, contact, and the chain correct -> de-embed -> extract -> judge.
   May use: rf/, formats/, recipe/, run/ (pure part), store/ (types of facts only), base/.  No I/O, no clock: all functions here are pure
   over buffers and may run on the arithmetic pool.

   A raw sweep is what the analyzer gave: ratios m_ij = b_i/a_j with the switch terms inside (S11 S12 S21 S22, then forward a2/b2 with
   source 1, reverse a1/b1 with source 2). */
#ifndef TIPPLANE_EVALUATE_EVALUATE_H
#define TIPPLANE_EVALUATE_EVALUATE_H
#include "base/arena.h"
#include "recipe/plan.h"
#include "rf/deembed/deembed.h"
#include "run/entry.h"

struct raw_sweep {
        size_t n;
        const double *hz;                      /* not owned */
        double *re[4], *im[4];                 /* S11 S12 S21 S22 */
        double *gf_re, *gf_im, *gr_re, *gr_im; /* NULL: no switch terms */
        double chuck_c;                        /* as read back when it was taken */
        bool has_chuck;                        /* false: the station has no chuck, or it was not read */
        double dc_ohm[3];                      /* DC meter under the same touch: port to port, each port to ground */
        bool has_dc;                           /* false: the station has no meter, or the tips were up */
        struct analyzer_settings settings;     /* as the analyzer stood, read back */
};
struct raw_trace {
        const char *name, *dtype;
        const void *bytes;
        size_t byte_n;
};
/* From the bytes as received; lengths, types and finite values are checked. `hz` is borrowed. */
enum code raw_from_traces(const struct raw_trace *, size_t trace_n, const double *hz, size_t n, struct arena *, struct raw_sweep *ret,
                          struct tp_error *);

/* ---- calibration (solve.c, verify.c): `calibration` lives in the arena it was made in; immutable, may be shared between tasks ------- */
struct calibration;
struct standard_sweep {
        int standard; /* index into recipe->standards */
        const struct raw_sweep *raw;
};
enum code calibration_solve(const struct recipe *, const struct standard_sweep *, size_t n, struct arena *, struct calibration **ret,
                            struct text *ret_diagnosis_json, struct tp_error *);
void calibration_bytes(const struct calibration *,
                       struct text *ret_terms); /* documented in docs/database.md; read back exactly by calibration_read */
enum code calibration_read(const void *bytes, size_t n, struct arena *, struct calibration **ret, struct tp_error *);
const double *calibration_axis(const struct calibration *, size_t *ret_n);
double calibration_z_ref(const struct calibration *);
const char *calibration_plane(const struct calibration *);
void calibration_domain_json(const struct calibration *,
                             struct text *to); /* what it may be used for; chain_run() refuses a sweep outside of it */
/* Worst |S - model| over the verification standards, against the recipe's limits; `sentence` says which, where, how much. Accepted or not
 * in *ret_accepted. */
enum code calibration_verify(const struct recipe *, const struct calibration *, const struct standard_sweep *, size_t n,
                             struct arena *scratch, bool *ret_accepted, double *ret_worst, char sentence[200], struct tp_error *);

/* ---- check (check.c): physical modes of the standards now against each copy's own baseline ------------------------------------------ */
struct check_answer {
        struct port_modes modes[2];
        double transmission_fs, residual, worst; /* worst share of a limit */
        int32_t cause;
        bool passed;
        char sentence[200];
};
enum code check_fit(const struct recipe *, const struct calibration *, const struct standard_sweep *baseline,
                    const struct standard_sweep *now, size_t n, struct arena *scratch, struct check_answer *ret, struct tp_error *);

/* ---- rescue (rescue.c): the calibration that held at a time between two others, while the ports drifted from one to the other -------- */
struct rescue; /* in the arena; keeps pointers to both calibrations and to the recipe */
struct rescue_witness {
        double t_s; /* on the clock of t0_s, t1_s */
        const struct raw_sweep *raw;
};
/* before held at t0_s (a passed check says so), after at t1_s; witnesses: raised opens in between, in order of time, of one sweep plan.
   CODE_BAD_INPUT, CODE_UNRESOLVABLE: it cannot be said what held in between, the sentence says why: no witness, no raised standard in the
   recipe, terms that are not comparable, or a difference that no delay and no loss of a port explains (that is damage, or a touch, and no
   drift). */
enum code rescue_open(const struct recipe *, const struct calibration *before, const struct calibration *after, double t0_s, double t1_s,
                      const struct rescue_witness *, size_t n, struct arena *, struct rescue **ret, struct tp_error *);
/* The calibration at t_s, in the arena: terms at that time, and how well they are known, which chain_run() adds to its causes.
   CODE_BAD_INPUT: t_s outside t0_s … t1_s, or the witnesses contradict both ends. */
enum code rescue_at(const struct rescue *, double t_s, struct arena *, struct calibration **ret, struct tp_error *);
const char *rescue_sentence(const struct rescue *); /* "port 1 moved by 62.1 fs and 0.001 dB, …" */

/* ---- contact (contact.c): is it real?  Never looks at a parameter's value or limit -------------------------------------------------- */
struct contact_question {
        const struct recipe *recipe;
        const struct measure *measure; /* NULL for standards: then `standard` */
        const struct standard *standard;
        const struct calibration *calibration; /* NULL before there is one */
        const struct raw_sweep *raw;           /* this touch */
        const struct raw_sweep *raised;        /* last raised open of this setup, NULL if none yet */
        const struct raw_sweep *typical;       /* same device on another die, contact good, same calibration; NULL if none yet */
        double dc_ohm_start[3], dc_ohm_end[3]; /* negative: not read */
};
struct contact_answer {
        int32_t grade; /* enum contact_grade */
        char reason[80];
        double dc_share, raised_distance, symmetry, ripple;
};
void contact_judge(const struct contact_question *, struct arena *scratch, struct contact_answer *ret);

/* ---- the chain of one sweep (chain.c) ----------------------------------------------------------------------------------------------- */
/* What the checks at both ends of an interval saw of each port, against the baseline right after its calibration. */
struct drift_seen {
        struct port_modes from[2], to[2];
};
/* What chain_run() found around a transistor, kept for the other conditions of the same touch.  All zero before the touch's first; it lives as
   long as that call's arena, and holds for the same terms and the same drift alone: with others it is found anew. */
struct leads_of_touch {
        const struct measure *measure;
        const struct calibration *calibration;
        const struct drift_seen *drift;
        const struct leads *leads; /* chain.h */
        enum code code;
        struct tp_error why;
};
struct chain_question {
        const struct recipe *recipe;
        const struct measure *measure;
        const struct calibration *calibration;
        const struct raw_sweep *raw;
        const struct raw_sweep *dummies[RF_DUMMY_COUNT]; /* of this die (or the nearest good ones), raw, same calibration; NULL when the
                                                            recipe needs none */
        bool dummy_elsewhere[RF_DUMMY_COUNT];            /* it is another die's, so that its touch is not this die's own */
        const struct raw_sweep *opens[8];
        size_t open_n; /* good open dummies of other dies, for the dummies' own scatter; may be empty */
        /* Terms that held when a dummy was swept, where they are others than the device's (rescue.c); NULL: calibration. */
        const struct calibration *dummy_calibrations[RF_DUMMY_COUNT], *open_calibrations[8];
        const struct raw_sweep *const *states; /* by condition of the measure, of the same touch; where the measure has `extrinsic` */
        size_t state_n;
        struct leads_of_touch *leads;   /* NULL: found for this sweep alone */
        int32_t condition;              /* under which raw was taken */
        const struct drift_seen *drift; /* NULL: only what a check lets pass is known */
        bool replayed;
};
enum { BUDGET_ROOM = 512 };
struct parameter_answer {
        const struct parameter_plan *plan;
        double value, u95;
        bool has_value;
        const char *verdict; /* pass fail marginal none */
        char reason[120];
        char budget[BUDGET_ROOM]; /* JSON: share of u^2 per scope and per cause, in per cent (budget_json.c); "{}": there is none */
        double lo_hz, hi_hz;
        bool has_range;
        const char *plane;
};
/* Answers come from `arena`: one per parameter of the measure, in order. */
enum code chain_run(const struct chain_question *, struct arena *, struct parameter_answer **ret, size_t *ret_n, uint32_t *ret_flags,
                    struct tp_error *);
/* The corrected (and if asked de-embedded) network as Touchstone 1.1 text with plane, reference impedance and provenance in comments. */
enum code chain_touchstone(const struct chain_question *, bool deembedded, const char *const *comments, size_t comment_n, struct text *to,
                           struct tp_error *);
/* The same as CSV-ready arrays: S re/im [4] at the tip plane. */
enum code chain_network(const struct chain_question *, bool deembedded, struct arena *, double *ret_re[4], double *ret_im[4],
                        struct tp_error *);

#endif
