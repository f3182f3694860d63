/* deembed.h: taking pads, leads and fixtures off a device, from dummies measured with the same calibration.

   One method is one row of rf_deembed_methods[]: its word, which dummies it wants, what it believes about the structure, and up to where
   that belief is good.  Every method is a map of a single frequency once its dummies are known; only "two_x_thru" without a known half
   looks at the whole sweep, to gate the first half out of the step response (deembed_gate.c).

   All networks: one axis, one real reference impedance, one plane.  out may be measured; its plane becomes PLANE_DEVICE.
   Singular or not finite dummies are refused with a sentence that names frequency and dummy; nothing is repaired.  Pure, any thread. */
#ifndef TIPPLANE_RF_DEEMBED_H
#define TIPPLANE_RF_DEEMBED_H
#include "base/arena.h"
#include "rf/network/network.h"

enum rf_dummy {
        RF_DUMMY_DEVICE,      /* the measured structure itself, with everything around it */
        RF_DUMMY_OPEN,        /* pads and leads, nothing between them */
        RF_DUMMY_SHORT,       /* both leads to ground where the device would sit */
        RF_DUMMY_PAD,         /* pads alone, no leads */
        RF_DUMMY_THRU,        /* leads joined where the device would sit */
        RF_DUMMY_SHORT_LEFT,  /* the left lead to ground, the right one open */
        RF_DUMMY_SHORT_RIGHT, /* the other way round */
        RF_DUMMY_LINE,        /* pads and a line */
        RF_DUMMY_LINE_DOUBLE, /* the same pads and exactly twice that line */
        RF_DUMMY_TWO_X_THRU,  /* both fixture halves, mirrored, back to back */
        RF_DUMMY_HALF,        /* one fixture half, where it is known: only its S11 is read */
        RF_DUMMY_COUNT
};
extern const char *const rf_dummy_words[RF_DUMMY_COUNT + 1]; /* "device", "open", "short", … NULL */
enum rf_dummy rf_dummy_of(const char *word);                 /* RF_DUMMY_COUNT: there is none of that name */

enum deembed_method {
        RF_DEEMBED_UNKNOWN,
        RF_DEEMBED_OPEN,           /* Y = Ym - Yo */
        RF_DEEMBED_SHORT,          /* Z = Zm - Zs */
        RF_DEEMBED_OPEN_SHORT,     /* Koolen, Geelen & Versleijen 1991: pads outside, leads inside */
        RF_DEEMBED_SHORT_OPEN,     /* leads outside */
        RF_DEEMBED_PAD_OPEN_SHORT, /* pad, leads, inner coupling */
        RF_DEEMBED_THREE_STEP,     /* Cho & Burk 1991: pads to ground, three lead impedances, coupling */
        RF_DEEMBED_THRU_PI,        /* halves of a thru read as a lumped pi */
        RF_DEEMBED_THRU_TEE,       /* halves of a thru read as a lumped tee */
        RF_DEEMBED_L_2L,           /* Mangan et al. 2006: shunt pads from two lines, the second twice as long */
        RF_DEEMBED_TWO_X_THRU,     /* mirrored halves from their back to back connection */
        RF_DEEMBED_COUNT
};
extern const char *const rf_deembed_words[RF_DEEMBED_COUNT + 1];

struct rf_deembed_row {
        const char *word, *say;   /* "open_short", "open, then short: pads outside, leads inside" */
        unsigned wants, may;      /* bits 1u << RF_DUMMY_…: needed, and used when given */
        double good_hz;           /* up to here by common practice; INFINITY: the computed limit alone counts */
        const char *limit_figure; /* what is computed from the dummies: "|Y pad| z" */
        double limit_bound;       /* beyond this value of it the belief no longer holds */
        const char *source;
};
extern const struct rf_deembed_row rf_deembed_methods[RF_DEEMBED_COUNT]; /* index: enum deembed_method; row 0 is empty */
/* RF_DEEMBED_UNKNOWN: no such word. */
enum deembed_method rf_deembed_method(const char *word);

struct dummies {
        const struct net2 *of[RF_DUMMY_COUNT]; /* NULL where there is none; of[RF_DUMMY_DEVICE] is not read */
};
/* scratch: only "two_x_thru" without a half needs one (about 500 bytes a point, 4 kB at least); else NULL will do.
   CODE_BAD_INPUT: dummies missing, other axis, plane or impedance, not finite.  CODE_UNRESOLVABLE: singular, or cannot be gated. */
enum code rf_deembed(enum deembed_method method, const struct net2 *measured, const struct dummies *dummies, struct net2 *out,
                     struct arena *scratch, struct tp_error *err);

/* The same by words: "open_short" with {"open", …}, {"short", …}.  A dummy that the method does not use is refused, so that nobody believes
   it was taken into account. */
struct rf_named_dummy {
        const char *word;
        const struct net2 *net;
};
enum code rf_deembed_by_word(const char *method, const struct net2 *measured, const struct rf_named_dummy *dummies, size_t dummy_n,
                             struct net2 *out, struct arena *scratch, struct tp_error *err);

/* One frequency.  s[RF_DUMMY_DEVICE] is the measured structure; entries that the method does not want are not read.  Y of the device:
   exists where Z does not, in a device that floats between its ports.  NaN: singular. */
struct m2 rf_deembed_y_point(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], double z_ref);
struct m2 rf_deembed_point(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], double z_ref);
/* d(out S)/d(inputs): the linear change of the result when device and dummies move by the given dS.  The uncertainty of a dummy goes in as
   its dS; what moves several together (one calibration) goes in as one call. */
struct m2 rf_deembed_change(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], const struct m2 d_s[RF_DUMMY_COUNT],
                            double z_ref);

/* Up to where the method is good on these very dummies.  The computed figure of one frequency, as a share of its bound (1: at the bound).
 */
double rf_deembed_share(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], double z_ref);
struct rf_deembed_limit {
        double practice_hz; /* the row's good_hz */
        double computed_hz; /* the highest frequency of the axis below the first one beyond the bound; NaN: the first is beyond already */
        bool whole;         /* nothing on the axis is beyond the bound */
        char say[300];      /* both, and how the second was computed */
};
enum code rf_deembed_limit_of(enum deembed_method method, const struct dummies *dummies, struct rf_deembed_limit *ret,
                              struct tp_error *err);

/* Do the dummies look like what they are said to be (deembed_exchanged.c)?  Of open_short, short_open, pad_open_short and three_step; false:
   they do, or nobody can tell.  One exchange of two is named where it alone explains what is wrong; else one and other are RF_DUMMY_COUNT.
   On one axis, in one reference. */
struct rf_deembed_exchange {
        enum rf_dummy one, other;
        char say[300]; /* "the left short conducts to ground at port 2 rather than at port 1 at 400 of 401 frequencies: …" */
};
bool rf_deembed_exchanged(enum deembed_method method, const struct dummies *dummies, struct rf_deembed_exchange *ret);
/* Of thru_pi and thru_tee: a thru whose ends differ; of two_x_thru: a half that with its mirror does not make the 2x-thru
   (deembed_unlike.c).  true: say[room] says it.  On one axis. */
bool rf_deembed_unlike(enum deembed_method method, const struct dummies *dummies, size_t room, char *say);

/* ---- fixture halves (deembed_halves.c) --------------------------------------------------------------------------------------------- */
/* The left half that a method takes off, as S in z_ref: pads and leads of a thru, the pad of L-2L, the half of a 2x-thru (its S21 has the
   sign with Re(S21 conj near) >= 0; near 0: as it comes).  NaN for methods without halves. */
struct m2 rf_deembed_half_point(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], double z_ref, double complex near);
/* Half of a 2x-thru over frequency, its sign followed from the lowest frequency up.  half_s11 as for rf_deembed (of[RF_DUMMY_HALF]) or
   gated.  CODE_UNRESOLVABLE: the phase of S21 steps by more than 90 degrees between points. */
enum code rf_two_x_thru_half(const struct net2 *two_x_thru, const struct net2 *half_or_null, struct net2 *ret_half, struct arena *scratch,
                             struct tp_error *err);

/* ---- two lines (deembed_lines.c) ----------------------------------------------------------------------------------------------------- */
/* T_L T_2L^-1 T_L: both pads back to back, whatever they are. */
struct m2 rf_l2l_pads(struct m2 line, struct m2 line_double);
/* Propagation constant (1/m) from the eigenvalues of T_2L T_L^-1: needs no model of the pads.  difference_m: how much longer the second
   line is.  The root is followed from the lowest frequency, where the line must be shorter than half a wavelength.
   valid[i] (may be NULL) is false where |sinh gl| < 0.3: noise there.  CODE_UNRESOLVABLE: a line does not transmit. */
enum code rf_l2l_gamma(const struct net2 *line, const struct net2 *line_double, double difference_m, double *gamma_re, double *gamma_im,
                       bool *valid, struct tp_error *err);

/* ---- the gate (deembed_gate.c) ------------------------------------------------------------------------------------------------------ */
/* S11 of the first half out of S11 of a 2x-thru: its step response is cut at the delay of S21, which is when the echo of the middle comes
   back.  Needs a uniform grid f_k = k df whose first point is df (or 0), at least 64 points, |S21| above -15 dB and above |S11|, a delay of
   at least four resolution cells 1/(2 f_max) and below half of 1/df; else CODE_UNRESOLVABLE with the value in the sentence. */
#define RF_GATE_POINTS 64 /* at least */
/* later: by so many resolution cells of time the cut lies after the middle, usually 0; what another cut changes is the gate's own doing. */
enum code rf_gate_half(const struct net2 *two_x_thru, int later, struct arena *scratch, double *ret_re, double *ret_im,
                       struct tp_error *err);

#endif
