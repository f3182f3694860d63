/* model.h: a passive multiport as a rational model: S or Y with common poles, error stated in S, passivity tested and enforced.
   Order of calls: rf_fit_vector() does all of it; the parts stand below and in vector_fit.h for those who want them one by one.
   Pure: no allocation; workspace is the caller's, 64-byte aligned (an arena gives that). */
#ifndef TIPPLANE_RF_MODEL_H
#define TIPPLANE_RF_MODEL_H
#include "rf/models/vector_fit.h"

#define RF_MODEL_PORTS_MAX 4
enum model_kind {
        MODEL_UNKNOWN,
        MODEL_S, /* exists for everything; a thru too */
        MODEL_Y, /* smaller netlists; I + S must not be singular anywhere in the band */
        MODEL_COUNT
};
extern const char *const model_kind_words[MODEL_COUNT + 1];

/* Measured S in one real reference impedance; columns row-major 11 12 … in memory order, the caller's. */
struct model_data {
        const struct axis *axis;
        size_t ports; /* 1 … RF_MODEL_PORTS_MAX */
        double z_ohm;
        const double *re[RF_FIT_ELEMENTS_MAX], *im[RF_FIT_ELEMENTS_MAX];
};
struct model_data model_data_of(const struct net2 *net); /* z_ohm NaN when the net's z is complex or changes: then refused */

struct model {
        enum model_kind kind;
        size_t ports;
        double z_ohm;
        bool reciprocal;     /* element ij equals ji */
        double hz_lo, hz_hi; /* band of the data */
        struct rational fit; /* elements row-major, ports x ports */
};
/* The model's own matrix (S or Y) and its S, row-major, ports x ports. */
void model_at(const struct model *m, double hz, double complex *ret);
void model_s_at(const struct model *m, double hz, double complex *ret);

/* |S_model - S_data| over all elements; bands end at 0.1, 1, 10, 54, 110, 220 GHz, empty ones are left out. */
#define RF_ERROR_BANDS 7
struct model_error {
        double rms, worst, worst_hz;
        size_t worst_element; /* row-major */
        size_t band_n;
        struct {
                double hz_lo, hz_hi; /* first and last point in it */
                size_t n;
                double rms, worst;
        } band[RF_ERROR_BANDS];
};
void model_error_begin(struct model_error *e);
void model_error_add(struct model_error *e, double hz, size_t n, const double complex *s, const double complex *data);
void model_error_end(struct model_error *e, size_t elements);

/* ---- passivity.  MODEL_S: largest singular value of S(jw) at most 1 for all w, and of D below 1.  MODEL_Y: smallest eigenvalue of the
   Hermitian part of Y(jw) at least 0; D and E positive semidefinite.  Crossings: imaginary eigenvalues of the Hamiltonian matrix, of half
   its size for reciprocal models (Gustavsen & Semlyen, IEEE Trans. MTT 57 (2009)). */
#define RF_CROSSINGS_MAX 64
struct passivity {
        bool passive;
        size_t crossing_n; /* rising; beyond RF_CROSSINGS_MAX only counted */
        double crossing_hz[RF_CROSSINGS_MAX];
        size_t band_n; /* where it is violated; to_hz may be infinite */
        struct {
                double from_hz, to_hz, worst, worst_hz;
        } band[RF_CROSSINGS_MAX + 1];
        double worst, worst_hz; /* S: largest singular value over frequency; Y: smallest eigenvalue / (|Y| + 1/z); also when passive */
        double at_infinity;     /* the same of D alone */
};
size_t rf_model_passivity_bytes(size_t ports, size_t order);
enum code rf_model_passivity(const struct model *m, void *workspace, struct passivity *ret, struct tp_error *err);

/* Residues and D are changed as little, in the band of the data, as makes the model passive; the value at 0 Hz is held. */
struct enforcement {
        unsigned rounds;             /* 0: it was passive */
        double rms, worst, worst_hz; /* change of the model's S in the band of the data */
        double dc;                   /* largest change of S at 0 Hz */
};
size_t rf_model_enforce_bytes(size_t ports, size_t order);
/* CODE_UNRESOLVABLE, model untouched: not passive after 60 rounds, or S at 0 Hz would move by more than 1e-4
   (and more than it must when it is itself above 1). */
enum code rf_model_enforce(struct model *m, void *workspace, struct enforcement *ret, struct tp_error *err);

/* ---- all of it ---- */
enum model_reciprocity {
        MODEL_RECIPROCAL_IF_SEEN,
        MODEL_RECIPROCAL,
        MODEL_NOT_RECIPROCAL
}; /* IF_SEEN: |Sij - Sji| <= 1e-6 + 3 noise rms */
struct model_options {
        enum model_kind kind; /* MODEL_UNKNOWN: S */
        enum model_reciprocity reciprocity;
        struct fit_options fit; /* weight: S is fitted with FIT_WEIGHT_ONE, Y with FIT_WEIGHT_INVERSE, unless given; noise of S per complex
                                   sample; proportional is for Y only */
        bool keep_active;       /* passivity is tested but not enforced */
};
struct model_report {
        struct fit_report fit;
        struct passivity before, after;
        struct enforcement enforcement;
        struct model_error error_before;  /* before the enforcement */
        struct model_error error;         /* of what is returned */
        double data_worst, data_worst_hz; /* largest singular value of the measured S, and where */
};
size_t rf_fit_vector_bytes(size_t n, size_t ports, size_t order_max); /* order_max 0: RF_FIT_ORDER_MAX */
/* On CODE_UNRESOLVABLE from the enforcement *ret_report is filled, *ret is the model before it. */
enum code rf_fit_vector(const struct model_data *data, const struct model_options *options, void *workspace, struct model *ret,
                        struct model_report *ret_report, struct tp_error *err);

/* rms of |dS| per complex sample from third differences of neighbours, median over the sweep: what does not follow a smooth curve. */
double rf_noise_by_differences(size_t n, const double *re, const double *im);

#endif
