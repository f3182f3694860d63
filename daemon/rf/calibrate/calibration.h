/* calibration.h: from raw standards to error terms.  One method is one file and one row of rf_methods[]; problem in, terms and diagnosis
   out, all memory the caller's.  Pure, any thread, no state. */
#ifndef TIPPLANE_RF_CALIBRATION_H
#define TIPPLANE_RF_CALIBRATION_H
#include "rf/calibrate/covariance.h"
#include "rf/calibrate/diagnosis.h"
#include "rf/correct/terms.h"

enum rf_standard_kind {
        RF_STANDARD_UNKNOWN,
        RF_OPEN,    /* known reflections at one or both ports: `ideal` needed */
        RF_SHORT,   /* known, ideal needed */
        RF_LOAD,    /* known, ideal needed */
        RF_THRU,    /* "solt": known, ideal needed; "unknown_thru": only reciprocal, no ideal */
        RF_LINE,    /* "multiline_trl": length_m; the first line is the thru: planes in its middle */
        RF_REFLECT, /* "multiline_trl": equal at both ports, sign known from the estimate */
        RF_KNOWN,   /* any fully known two-port, ideal needed: e.g. an open at port 1 and a short at port 2, read in all four ways */
        RF_STANDARD_COUNT
};
extern const char *const rf_standard_words[RF_STANDARD_COUNT + 1];

struct rf_standard {
        const char *name; /* for sentences: "load, copy 3"; NULL: the kind's word */
        enum rf_standard_kind kind;
        unsigned ports;           /* reflections: 1 port 1 only, 2 port 2 only, 3 (or 0) both */
        const struct net2 *raw;   /* PLANE_RECEIVER, switch terms inside, on problem.axis */
        const struct net2 *ideal; /* S in z_ref 50 ohm (real), on problem.axis; NULL where the method needs none */
        double u_ideal;           /* standard uncertainty of the ideal per component; 0: equal weights */
        double length_m;          /* lines */
        double shunt_c_f;         /* "lrrm", the match: capacitance beside its element, part of ideal; what is found lies behind it */
        const struct net2
                *offset; /* "lrrm": two-port between the plane and the match's element, 50 ohm; NULL: the element is at the plane */
};
/* "lrrm": what of the match is found by the calibration itself. */
enum rf_match_fit {
        RF_MATCH_FIT_L,     /* its inductance, from a lossless open */
        RF_MATCH_FIXED,     /* nothing: its definition is taken */
        RF_MATCH_FIT_L_C,   /* inductance and shunt capacitance, from a lossless open */
        RF_MATCH_FROM_OPEN, /* resistance and inductance, from an open of known capacitance (its ideal) */
        RF_MATCH_FIT_COUNT
};
extern const char *const rf_match_fit_words[RF_MATCH_FIT_COUNT + 1];

struct problem {
        const struct axis *axis;
        const struct rf_standard *standards;
        size_t standard_n;                       /* 1 … RF_STANDARD_MAX */
        const struct switch_terms *switch_terms; /* NULL: the raw data have none (or, "solt", they stay inside the terms) */

        double thru_delay_s_guess; /* "unknown_thru": settles one sign, at the lowest frequency */

        enum rf_match_fit match_fit; /* "lrrm" */
        double match_step[3];        /* "lrrm": what was found is moved by this much then: R in ohm, L in H, C in F */

        double complex eps_eff_guess;       /* "multiline_trl": 1 … 50, imaginary part <= 0 */
        double complex reflect_estimate;    /* at the reflect: -1 short, +1 open */
        double reflect_offset_m;            /* of the reflect from the middle of the first line; negative = towards the probe */
        bool reflect_contradiction_allowed; /* true: an estimate that contradicts the followed root is a warning, not a refusal */
        double plane_shift_m;               /* result planes from the middle of the first line, positive = towards the device; both ports */
        enum plane plane_shifted;           /* their name when plane_shift_m != 0, e.g. PLANE_TIP at -length/2 */
        double line_c_f_m;                  /* capacitance of the lines, F/m: Zc = gamma/(jwC(1 - j tan d)); 0: not known */
        double line_loss_tangent;
        double line_z_ohm; /* an assumed real Zc instead of line_c_f_m; 0: not known */
        double z_ref_ohm;  /* where Zc is known the terms are moved to this; 0: 50 */
};

struct need {
        enum rf_standard_kind kind;
        unsigned least;
        bool ideal;
        const char *say;
        unsigned ports; /* reflections: 1 port 1 only, 2 port 2 only, 0 both */
};
struct method {
        const char *word; /* "sol", "solt", "unknown_thru", "trl", "multiline_trl", … */
        const char *say;
        unsigned ports, terms;
        const struct need *needs;
        size_t need_n;
        size_t (*workspace_bytes)(size_t n, size_t standards);
        /* workspace: 64-byte aligned.  out, out_diag made by terms_at and diagnosis_at on problem->axis; out_cov may be NULL.
           CODE_BAD_INPUT: what the problem lacks or contradicts; CODE_UNRESOLVABLE: degenerate standards.  Outputs are undefined then. */
        enum code (*solve)(const struct problem *, void *workspace, struct terms *out, struct covariance *out_or_null,
                           struct diagnosis *out_diag, struct tp_error *);
};
extern const struct method rf_methods[];
extern const size_t rf_method_n;
const struct method *rf_method(const char *word); /* NULL if there is none */
/* Checks the problem against the method's needs, axes and planes; every solve() calls it first. */
enum code rf_problem_check(const struct method *, const struct problem *, struct tp_error *);

/* A flat little-endian record of the terms for a BLOB: header, axis hash, columns.  Version 1 for the models it could always say, byte for
   byte as before; version 2 adds the sixteen columns of the full model. */
size_t terms_blob_bytes(enum terms_model model, size_t n);
void terms_to_blob(const struct terms *terms, void *ret_blob);
/* The axis must be the one of the record: CODE_BAD_INPUT otherwise; CODE_DAMAGED, CODE_TOO_NEW. */
enum code terms_from_blob(const void *blob, size_t bytes, struct terms *into, struct tp_error *err);

#endif
