/* plausible.h: can this corrected sweep be what a device gives?  Passivity, reciprocity, causality, seams at band edges, symmetry.
   Each test answers with figures and one sentence that says what, where, how much and the likely cause.  None looks at a parameter.
   Limits      common practice, no source; each may be widened by the standard uncertainty u of the data (per frequency; NULL: 0).
   Impedance   passivity is refused in a complex reference impedance: pseudo-waves of a passive device may exceed 1 there (Marks & Williams,
               J. Res. NIST 97 (1992) 533).  Reciprocity is allowed there: both ports of a net2 share one z, so S12 = S21 stays true.
   Pure, any thread, no allocation but where a workspace is given.  NaN in S is a failed test that says where. */
#ifndef TIPPLANE_RF_PLAUSIBLE_H
#define TIPPLANE_RF_PLAUSIBLE_H
#include "rf/models/model.h"
#include "rf/network/network.h"

enum rf_finding {
        RF_FINDING_UNKNOWN, /* the data allow no statement; the sentence says why */
        RF_FINDING_GOOD,
        RF_FINDING_BAD
};

struct rf_plausible {
        enum rf_finding finding;
        double worst, limit, worst_hz; /* at the frequency that exceeds its limit most (or comes nearest); limit with its share of u */
        double from_hz, to_hz;         /* between the first and the last frequency beyond the limit; NaN: none */
        size_t beyond_n, point_n;
        char sentence[240];
};

/* Largest singular value of S; limit 1 + 3 u.  CODE_BAD_INPUT: a reference impedance that is complex or not known. */
double rf_largest_singular(struct m2 s);
enum code rf_passivity(const struct net2 *net, const double *u_or_null, struct rf_plausible *ret, struct tp_error *err);

/* |S21 - S12|/max(|S21|, floor); limit 0.02 + 3 u/max(|S21|, floor).  floor > 0, e.g. 0.01: below it there is no transmission to speak of.
   The sentence tells a constant factor (tracking, the thru), one that grows with frequency (a path moved) and scatter apart.
   Not for transistors. */
#define RF_RECIPROCITY_LIMIT 0.02
enum code rf_reciprocity(const struct net2 *net, double floor, const double *u_or_null, struct rf_plausible *ret, struct tp_error *err);

/* Causal responses turn clockwise: with V_k = S(f_{k+1}) - S(f_k), the share of R_k = Re V_{k+1} Im V_k - Im V_{k+1} Re V_k that is
   positive, of the sum of |R_k|, least of the four S; limit 0.8.  Noise alone gives 0.5: where the steps are not above it, no statement.
   Responses smaller than `floor` everywhere take no part.  CODE_BAD_INPUT: fewer than 8 points or an uneven grid. */
#define RF_CAUSALITY_LIMIT 0.8
enum code rf_causality(const struct net2 *net, double floor, struct rf_plausible *ret, struct tp_error *err);

/* The test that needs no extrapolation: a rational model with stable poles is causal by construction; worst is what the best one leaves,
   rms over all S, in units of the noise; limit 3.  noise: rms of one complex point; 0: from third differences of the data.  Grids may be
   uneven.  order_max: 0 for RF_FIT_ORDER_MAX; a line takes about 2 + 4 poles for each turn of its phase. workspace:
   rf_causality_fit_bytes(n, ports), 64-byte aligned.  data: its z_ohm is of no interest.  CODE_BAD_INPUT: fewer than 16 points, S that is not a number. */
#define RF_CAUSALITY_FIT_LIMIT 3.0
size_t rf_causality_fit_bytes(size_t n, size_t ports);
enum code rf_causality_fit(const struct model_data *data, double noise, size_t order_max, void *workspace_64, struct rf_plausible *ret,
                           struct tp_error *err);

/* |S11 - S22| against a limit of the caller's (+ 3 sqrt(2) u). */
enum code rf_symmetry(const struct net2 *net, double limit, const double *u_or_null, struct rf_plausible *ret, struct tp_error *err);

/* The quality figures of IEEE 370-2020 in per cent, 100 is best; formulas as read from an open implementation (scikit-rf, class of the
   frequency-domain quality figures): passivity 100/N max(0, N - sum (s - 1.00001)/0.1 over s > 1.00001), s the largest singular value;
   reciprocity the same with the mean |Sij - Sji| and 1e-6; causality 100 times the least rotation share of the four S.
   CODE_BAD_INPUT: fewer than 3 points, or a reference impedance that is complex or not known. */
struct rf_quality370 {
        double passivity, reciprocity, causality;
};
enum code rf_quality370(const struct net2 *net, struct rf_quality370 *ret, struct tp_error *err);

/* ---- seams ----
   Where receivers, sources or modules hand over, tracking may jump.  A seam at one edge is judged by a local fit on both sides (common
   cubic, and a step) after the local delay is taken out; the step counts when it is larger than 0.02 dB or 0.2 degree of what lies there,
   and 6 times its robust scatter: that of the same fit at 24 to 48 places around where no edge is (1.4826 MAD), or of the fit's own
   residuals, whichever is larger.  So noise, a smooth resonance or a steep slope is no seam. */
#define RF_EDGE_MAX 16
extern const double rf_band_edges_hz[]; /* where systems of this kind hand over: 30, 54, 80, 110, 145 GHz */
extern const size_t rf_band_edge_n;

struct rf_seam {
        double edge_hz;           /* as asked */
        double hz;                /* where the step is largest within reach of it: the first point after it */
        int entry;                /* 0 … 3: S11 S12 S21 S22 that shows it most */
        double step;              /* |dS| */
        double step_db, step_deg; /* of that S; NaN where |S| < 0.03 */
        double scatter;           /* of step, 1 sigma, robust */
        bool found;
};
struct rf_seams {
        size_t n, found_n, judged_n; /* edges within the sweep; those with a step; those that had points enough on both sides */
        struct rf_seam seam[RF_EDGE_MAX];
        char sentence[240];
};
size_t rf_seams_workspace(size_t n);
/* edges: strictly rising, up to RF_EDGE_MAX; NULL: the default table.  reach_hz: how far from each edge the step may lie (0: 1.5 points).
   CODE_BAD_INPUT: edges that do not rise. */
enum code rf_seams(const struct net2 *net, const double *edges_or_null, size_t edge_n, double reach_hz, void *workspace,
                   struct rf_seams *ret, struct tp_error *err);

#endif
