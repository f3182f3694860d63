/* calibration.h: from raw standards to error terms.  One method is one file and one row of rf_methods[]; problem in, terms and diagnosis
   out, all memory the caller's.  Pure, any thread, no state.

   Error model (eight terms): receivers - X - device - Y - receivers.  EDF = e00, ESF = e11, ERF = e10 e01; EDR = e33, ESR = e22,
   ERR = e32 e23; K = e10/e23.  Twelve terms (SOLT) add ELF, ETF, EXF, ELR, ETR, EXR (Marks, 50th ARFTG, 1997). */
#ifndef TIPPLANE_RF_CALIBRATION_H
#define TIPPLANE_RF_CALIBRATION_H
#include "rf/network/network.h"

#define RF_STANDARD_MAX 16

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

enum term {
        TERM_EDF,
        TERM_ESF,
        TERM_ERF,
        TERM_EDR,
        TERM_ESR,
        TERM_ERR,
        TERM_K,
        TERM_ELF,
        TERM_ETF,
        TERM_EXF,
        TERM_ELR,
        TERM_ETR,
        TERM_EXR,
        TERM_COUNT
};
extern const char *const term_words[TERM_COUNT + 1];
enum terms_model { TERMS_UNKNOWN, TERMS_ONE_PORT, TERMS_EIGHT, TERMS_TWELVE, TERMS_SIXTEEN, TERMS_MODEL_COUNT };
extern const char *const terms_model_words[TERMS_MODEL_COUNT + 1]; /* "unknown", "one_port", "eight", "twelve", "sixteen"; NULL */

/* The full model: every receiver is coupled to every tip.  M = (T1 S + T2)(T3 S + T4)^{-1} with 2x2 blocks, unterminated raw data M
   (Butler et al., IEEE Trans. MTT 39 (1991) 2211; Silvonen, Electron. Lett. 29 (1993) 1544).  Fifteen numbers count: T4_11 = 1.
   FULL_T1 + 0 … 3 are T1's 11 12 21 22, and so on. */
enum full_term { FULL_T1 = 0, FULL_T2 = 4, FULL_T3 = 8, FULL_T4 = 12, FULL_COUNT = 16 };

/* One representation for all methods.  TERMS_EIGHT: EDF … K, and the twelve-term equivalents without switch terms in the other columns (ELF
   = ESR, ETF = K ERR, ELR = ESF, ETR = ERF/K, EXF = EXR = 0); correction reads the trackings there.  TERMS_TWELVE fills all, K from ETF.
   TERMS_ONE_PORT: EDF ESF ERF and EDR ESR ERR, the rest NaN.  TERMS_SIXTEEN: `full`, and in the other columns the eight-term view of the
   same error network (its leakage left out), which one-port correction and comparisons read; for the other models `full` is NaN.
   Always there, because who makes the memory does not know yet what solve() will find: 681 points are 330 kB. */
struct terms {
        const struct axis *axis;
        const char *method; /* static text: a word of rf_methods[] */
        enum terms_model model;
        enum plane plane;
        bool switch_removed; /* raw data must have their switch terms removed with the ones of the sweep or the calibration */
        double *z_re, *z_im; /* reference of corrected data, ohm; NaN: the line's own, not known */
        double *re[TERM_COUNT], *im[TERM_COUNT];
        double *full_re[FULL_COUNT], *full_im[FULL_COUNT];
};
size_t terms_bytes(size_t n);
struct terms terms_at(void *memory_64, const struct axis *axis); /* NaN everywhere, model unknown */

/* A flat little-endian record of the terms for a BLOB: header, axis hash, columns.  Version 1 for the models it could always say, byte for
   byte as before; version 2 adds the sixteen columns of the full model. */
size_t terms_blob_bytes(enum terms_model model, size_t n);
void terms_to_blob(const struct terms *terms, void *ret_blob);
/* The axis must be the one of the record: CODE_BAD_INPUT otherwise; CODE_DAMAGED, CODE_TOO_NEW. */
enum code terms_from_blob(const void *blob, size_t bytes, struct terms *into, struct tp_error *err);

/* Per-frequency figures, NaN where the method has none; and what should be said aloud. */
struct standard_residual {
        double rms, worst, worst_hz; /* |predicted - read| of this standard over all frequencies; NaN if the method leaves no residual */
};
struct diagnosis {
        const struct axis *axis;
        double *condition; /* of the linear system, worst port; multiline: 1/sin(effective phase) of the best pair */
        double *residual_rms, *residual_worst;
        double *k_disagreement;            /* SOLT: |k1/k2 - 1| */
        double *leakage;                   /* sixteen terms: largest coupling between the sides, relative to the trackings */
        double *consistency;               /* sixteen terms: smallest singular value over the next, 0 for exact data */
        double *switch_difference;         /* SOLT with measured switch terms: largest |implied - measured| */
        double *reciprocity;               /* largest |S21 - S12| of corrected thru (unknown thru: 0 by construction -> NaN) or lines */
        double *thru_s21_re, *thru_s21_im; /* unknown thru as solved */
        double *gamma_re, *gamma_im;       /* 1/m */
        double *eps_re, *eps_im;           /* effective permittivity -(gamma c/w)^2 */
        double *loss_db_mm;
        double *phase_eff_deg;           /* of the best pair of lines, 0 … 90 */
        double *nstd;                    /* normalised standard deviation (DeGroot, Jargon & Marks 2002): 1 = one 90 degree line */
        double *zc_re, *zc_im;           /* line impedance used, ohm */
        double *reflect_re, *reflect_im; /* solved reflect in the middle of the first line */
        double *reflect_distance;        /* |solved - estimate| there */
        double *reflect_angle_deg;       /* of solved/estimate, -180 … 180 */
        double *common_line;             /* index into the lines, in the order given */
        double *match_r_ohm, *match_l_h; /* lrrm: each frequency alone; L must be flat, a slope means shunt C or a wrong thru delay */
        double *second_opinion;          /* multiline: how far another weighting of the lines differs, as a corrected reflection */
        struct standard_residual standard[RF_STANDARD_MAX];
        bool match_l_determined; /* lrrm: the next four are found; otherwise match_l_fit_h is the definition's */
        double match_l_fit_h, match_l_u_h, match_c_fit_f, match_r_fit_ohm;
        double open_c_fit_f;                         /* lrrm: the open's, as solved */
        double line_length_error_m[RF_STANDARD_MAX]; /* multiline, three lines and more: by which each line seems longer than told, judged
                                                      */
        double line_length_u_m[RF_STANDARD_MAX];     /* by the others (a common offset or scale cannot be seen); its standard error */
        bool root_followed;                          /* the two-valued root was continuous from its start to both ends */
        bool root_contradicts;                       /* the estimate would have chosen the other root somewhere … */
        double contradiction_hz, contradiction_deg;  /* … first here, at this angle between root and estimate */
        double root_start_hz;
        double root_unfollowed_hz; /* first frequency whose step was ambiguous, so that the estimate chose; NaN: none */
        unsigned warning_n;
        char warning[6][240]; /* sentences; the oldest six */
};
size_t diagnosis_bytes(size_t n);
struct diagnosis diagnosis_at(void *memory_64, const struct axis *axis);

/* How the terms move when one input number moves: all root choices held, the map from inputs to terms is analytic, so one complex number
   per (input, term, frequency) is enough. */
enum column_kind { COLUMN_UNKNOWN, COLUMN_RAW, COLUMN_IDEAL, COLUMN_LENGTH };
struct column {
        enum column_kind kind;
        unsigned standard; /* index into problem.standards */
        unsigned entry;    /* 0 … 3: S11 S12 S21 S22; COLUMN_LENGTH: 0, per metre */
};
#define RF_COLUMN_MAX 128
struct covariance {
        size_t point_n;
        const size_t *points; /* indices into the axis, the caller's */
        size_t column_n;      /* filled by solve */
        struct column columns[RF_COLUMN_MAX];
        double complex *d_terms; /* [point_n][column_n][TERM_COUNT], TERMS_SIXTEEN [FULL_COUNT]; covariance_bytes() */
};
size_t covariance_bytes(size_t point_n, size_t standard_n);
struct covariance covariance_at(void *memory_64, size_t point_n, const size_t *points);
/* d(corrected S)/d(column) of one raw point of a device, at covariance point p: ret_d_s[column_n][4].
   raw: with switch terms removed for TERMS_EIGHT and TERMS_SIXTEEN, as read for TERMS_TWELVE. */
void rf_sensitivity(const struct covariance *cov, size_t p, const struct terms *terms, struct m2 raw, double complex (*ret_d_s)[4]);

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

#endif
