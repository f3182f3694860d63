/* circuit.h: circuits of the textbooks fitted to measured S: each element with its standard uncertainty, what is undetermined said by name.
     inductor   series (rs + jw ls) || cp (one-ports: without cp, which cannot be told from the shunt); at each port cox in series with
   (rsub || csub)      Yue & Wong, IEEE Trans. ED 47 (2000) 560 capacitor  series c, rs, ls; at each port cox in series with rsub resistor
   series (r + jw l) || c; at each port cg line       r, l, g, c per metre and a length: scalable Skin effect: rs becomes rs sqrt(1 + j f /
   f_skin), which is causal: far above f_skin resistance and reactance rise alike with sqrt f. Fitted by Levenberg-Marquardt steps over the
   logarithms of all elements, from start values read off the data. Pure: no allocation, no state. */
#ifndef TIPPLANE_RF_CIRCUIT_H
#define TIPPLANE_RF_CIRCUIT_H
#include "rf/models/model.h"

enum circuit_kind { CIRCUIT_UNKNOWN, CIRCUIT_INDUCTOR, CIRCUIT_CAPACITOR, CIRCUIT_RESISTOR, CIRCUIT_LINE, CIRCUIT_COUNT };
extern const char *const circuit_words[CIRCUIT_COUNT + 1]; /* "unknown", "inductor", "capacitor", "resistor", "line" */

#define RF_CIRCUIT_ELEMENTS_MAX 12
struct circuit_element {
        const char *name, *unit; /* static text: "ls", "H" */
        double value;            /* 0: absent (a dropped csub, rsub …); f_skin absent: infinite */
        double u;                /* standard uncertainty, same unit; NaN when dropped */
        bool dropped;            /* the data say nothing about it: taken out of the circuit */
        bool undetermined;       /* kept, but u is more than half the value */
};
struct circuit_options {
        bool skin;         /* the series resistance of inductor and resistor follows the skin effect; lines always have it */
        bool substrate;    /* capacitor: rsub at each port; inductors always have it */
        bool differential; /* one-port data: the inductor floats between two like ports; else port 2 is grounded */
        double length_m;   /* line */
        double u;          /* standard uncertainty of each real and imaginary part of S; 0: not known */
        const double *u_of[RF_FIT_ELEMENTS_MAX]; /* the same per element and frequency, row-major; NULL: u */
};
struct circuit {
        enum circuit_kind kind;
        size_t ports; /* 1 or 2 */
        bool differential;
        double z_ohm, length_m, hz_lo, hz_hi;
        size_t element_n;
        struct circuit_element element[RF_CIRCUIT_ELEMENTS_MAX];
        double rms;       /* of the scaled residual (Y_model - Y) / (|Y| + 1 % of the largest |Y|); a line's: of S_model - S */
        double misfit;    /* rms of S_model - S in units of the given u: 1 when the circuit and u are right; NaN: u not given */
        double condition; /* of the scaled Jacobian */
        unsigned rounds;
        struct model_error error; /* in S */
};
/* The inductor's and line's one-ports are single-ended or differential; the other kinds take one-ports with port 2 grounded.
   u: covariance of the residuals, widened by their misfit; with u given: at least what u makes of it.
   CODE_BAD_INPUT: counts, NaN, what the kind needs.  CODE_UNRESOLVABLE, *ret filled: the scaled residual (with u given and for lines: the
   rms error of S) is above 5 %, or the data do not determine the circuit (condition above 1e8 even with all droppable elements dropped). */
enum code rf_fit_circuit(enum circuit_kind kind, const struct model_data *data, const struct circuit_options *options, struct circuit *ret,
                         struct tp_error *err);
/* Y and S of the fitted circuit, row-major, ports x ports; hz > 0. */
void circuit_y_at(const struct circuit *c, double hz, double complex *ret);
void circuit_s_at(const struct circuit *c, double hz, double complex *ret);
const struct circuit_element *circuit_element_of(const struct circuit *c, const char *name); /* NULL: none of that name */

/* C(V) = cj0 / (1 + vr/phi)^m + cp, vr the reverse voltage (volt, > -phi), c_f > 0 (farad); n >= 5 different voltages.
   u_f: standard uncertainty of each C, NULL: from the residuals.  CODE_UNRESOLVABLE as above. */
struct depletion {
        double cj0_f, phi_v, m, cp_f, u_cj0_f, u_phi_v, u_m, u_cp_f;
        double rms;    /* of (model - C)/C */
        double tuning; /* largest over smallest C of the data */
        bool cp_dropped;
};
enum code rf_fit_depletion(size_t n, const double *reverse_v, const double *c_f, const double *u_f, struct depletion *ret,
                           struct tp_error *err);

#endif
