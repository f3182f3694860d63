/* join.h: one calibration from several, each good in its band.  Neighbouring bands overlap; in the overlap both solutions exist and are
   joined by their uncertainties, so that nothing jumps; how far they differ there is the free check that a joined calibration has.
   All bands must describe the same thing: one reference plane, one real reference impedance (or nowhere a known one), one raw reading.
   Pure, any thread, memory is the caller's. */
#ifndef TIPPLANE_RF_JOIN_H
#define TIPPLANE_RF_JOIN_H
#include "rf/calibrate/calibration.h"

#define RF_BANDS_MAX 8
#define JOIN_95 2.4477              /* 95 % of a circular complex normal lies within this many u (JCGM 102) */
extern const char rf_joined_word[]; /* "joined": terms.method of a joined calibration; no row of rf_methods[] */

/* ---- how sure a solution is ---------------------------------------------------------------------------------------------------------- */
/* Standard uncertainties (1 s, per component) of the inputs of one frequency. */
struct input_uncertainty {
        double noise_floor, noise_trace; /* of raw ratios: hypot(floor, trace |S|) */
        double raw_tip;                  /* what contact does to a reading, at the tips; 0: none */
        double ideal[RF_STANDARD_MAX];   /* of the ideals' reflections and transmissions */
        double length_m;                 /* of each line */
};
/* Of the corrected S at point q of cov (all columns taken as independent): the mean over entries and over eight passive devices (match,
   thru, quarter wave, open, short, reactance, 50 ohm in series and to ground), and the worst of them.  NaN where the solver gave no
   sensitivities. */
void rf_corrected_u(const struct problem *problem, const struct covariance *cov, size_t q, const struct terms *terms,
                    const struct input_uncertainty *u, double *ret_mean, double *ret_worst);

/* ---- how far two solutions differ ---------------------------------------------------------------------------------------------------- */
/* The largest |difference| of corrected S over all passive reciprocal devices, first order in the difference of the two sets of eight terms
   (after Williams, Marks & Davidson, 38th ARFTG 1991; expressions own derivation, checked by tests/unit/rf_join.c against devices).
   i, k: indices into a and b.  Both TERMS_EIGHT, same switch terms, plane and impedance. */
double rf_join_bound(const struct terms *a, size_t i, const struct terms *b, size_t k);
/* Twelve terms to eight and the switch terms they imply (Marks, 50th ARFTG 1997, 115); K is the mean of forward and reverse.  false: a term
   is no number, or the terms isolate (EXF, EXR), which eight terms cannot say. */
bool rf_eight_from_twelve(const struct terms *twelve, size_t i, double complex ret[TERM_COUNT], double complex *ret_forward,
                          double complex *ret_reverse);

/* Where two solutions on one axis should meet: *ret_hz is the frequency below which `low` and above which `high` is the surer one, as
   nearly as one frequency can say it (least sum of log u).  u as of rf_corrected_u; points where either is NaN are passed over.  false: one
   of them is the surer one (nearly) everywhere, so joining gains nothing. An overlap from a third of it to three times it is good. */
bool rf_join_handover(const struct axis *axis, const double *u_low, const double *u_high, double *ret_hz);

/* ---- joining ------------------------------------------------------------------------------------------------------------------------- */
struct rf_band {
        const char *name;                        /* for sentences: "multiline_trl from 1 GHz" */
        const struct terms *terms;               /* on an axis that is a run of the whole one; TERMS_EIGHT or TERMS_TWELVE */
        const struct switch_terms *switch_terms; /* on the same axis; needed where terms->switch_removed; TERMS_TWELVE: not read */
        const double *u, *u_worst;               /* rf_corrected_u per point of its axis; NULL or NaN: unknown, the taper alone decides */
};
struct joint {
        double from_hz, to_hz; /* first and last common frequency */
        size_t points;         /* common frequencies */
        double kink, kink_hz;  /* largest bound between the two solutions, and where */
        double kink_u;         /* their common standard uncertainty there (worst device); NaN: not known */
        double share;          /* rms over the overlap of bound/(2.4477 u): above 1 they differ more than they should */
        double cross_hz;       /* where the upper solution becomes the surer one; NaN: nowhere within, or not known */
        bool beyond;           /* share > 1 */
        bool one_sided;        /* one solution is clearly (1.5 times) surer at both ends: the overlap lies in the wrong place */
        char sentence[240];    /* what a person should know; "" when all is well */
};
/* bands: by rising frequency, 1 … RF_BANDS_MAX, covering `whole`; neighbours share at least one frequency, others none.
   out: terms_at() on whole; out_switch: switch_terms_at() on whole (filled where any band needs them: *ret_has_switch).
   ret_share (NULL, or whole->n): band index + weight of the next one, 0 … band_n - 1.  joints: band_n - 1.
   One band is copied as it is, twelve terms stay twelve.
   CODE_BAD_INPUT: a gap, three at one frequency, planes or impedances that differ, a model that cannot be joined (one port, 16 terms), two
   solutions with opposite signs of reflection or transmission.  Outputs are undefined then. */
enum code rf_join(size_t band_n, const struct rf_band *bands, const struct axis *whole, struct terms *out, struct switch_terms *out_switch,
                  bool *ret_has_switch, double *ret_share, struct joint *joints, struct tp_error *err);

#endif
