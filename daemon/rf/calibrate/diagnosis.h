/* diagnosis.h: what a calibration says of itself: figures at each frequency, residuals of each standard, and sentences. */
#ifndef TIPPLANE_RF_DIAGNOSIS_H
#define TIPPLANE_RF_DIAGNOSIS_H
#include "rf/network/network.h"

#define RF_STANDARD_MAX 16 /* standards of one problem */

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
        double *match_weight;            /* lrrm: of each frequency in finding the match, 1 over the variance of the open; NaN: not found */
        double *second_opinion;          /* multiline: how far another weighting of the lines differs, as a corrected reflection */
        struct standard_residual standard[RF_STANDARD_MAX];
        bool match_l_determined; /* lrrm: the next six are found; otherwise match_l_fit_h is the definition's */
        double match_l_fit_h, match_c_fit_f, match_r_fit_ohm;
        double match_l_u_h, match_c_u_f, match_r_u_ohm; /* standard uncertainties by the fit's own scatter; 0: was not fitted */
        double match_l_apart_h, match_c_apart_f;        /* on top, where L and C were sought together: what other pairs that fit, with open
                                                           and short a little unlike from port to port, differ by; else NaN */
        double match_other_l_h, match_other_c_f; /* how far from what was found the farthest pair lies that contradicts it; 0: none */
        double open_c_fit_f, open_c_u_f;         /* lrrm: the open's, as solved, and by how far it scatters over frequency */
        /* multiline, three lines and more: by which each line seems longer than told, judged by the others (a common offset or scale cannot
           be seen), and its standard error: noise, what goes with frequency, what the others disagree by (not of three) */
        double line_length_error_m[RF_STANDARD_MAX], line_length_u_m[RF_STANDARD_MAX];
        bool root_followed;                         /* the two-valued root was continuous from its start to both ends */
        bool root_contradicts;                      /* the estimate would have chosen the other root somewhere … */
        double contradiction_hz, contradiction_deg; /* … first here, at this angle between root and estimate */
        double root_start_hz;
        double root_unfollowed_hz; /* first frequency whose step was ambiguous, so that the estimate chose; NaN: none */
        unsigned warning_n;
        char warning[8][320]; /* sentences; the oldest eight */
};
size_t diagnosis_bytes(size_t n);
struct diagnosis diagnosis_at(void *memory_64, const struct axis *axis);

#endif
