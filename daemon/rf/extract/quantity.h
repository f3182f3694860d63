/* quantity.h: every number that can be asked of a two-port, by its word.

   One quantity is one row of rf_quantities[]: word, unit, meaning, what it needs.  rf_quantity_at() gives it at one frequency together with
   its complex gradient, as rf_element() does: dq = Re( sum_j grad[j] dS[j] ); so any list of causes can be carried through, and
   u(q) = u sqrt(sum_j |grad[j]|^2) for independent circular u per component of each S.  rf_extract() runs over a whole network and judges
   where the number can be resolved at all (resolve.h: the one place of that rule).

   S are of the device alone (de-embedded), pseudo-waves in one real z_ref.  NaN with a reason, never 0, where a number does not exist. */
#ifndef TIPPLANE_RF_QUANTITY_H
#define TIPPLANE_RF_QUANTITY_H
#include "base/arena.h"
#include "rf/extract/extract.h"
#include "rf/extract/resolve.h"
#include "rf/network/causes.h"

enum rf_group {
        RF_GROUP_UNKNOWN,
        RF_GROUP_ELEMENT, /* L, C, R, Q of one view */
        RF_GROUP_PI,
        RF_GROUP_TEE,
        RF_GROUP_S,    /* levels of S and of mixed-mode S */
        RF_GROUP_LINE, /* need length_m */
        RF_GROUP_GAIN, /* of a transistor: port 1 is gate or base */
        RF_GROUP_FET,  /* elements of the intrinsic field effect transistor, extrinsics taken off */
        RF_GROUP_HBT,  /* of the intrinsic bipolar transistor */
        RF_GROUP_SWEEP /* one number of a whole sweep */
};

enum rf_quantity {
        RF_Q_UNKNOWN,
        /* port 2 grounded: Z = 1/Y11 */
        RF_Q_L11,
        RF_Q_R11,
        RF_Q_Q11,
        RF_Q_QC11,
        RF_Q_C11,
        /* series branch of the pi: Z = -2/(Y12 + Y21) */
        RF_Q_LSER,
        RF_Q_RSER,
        RF_Q_QSER,
        RF_Q_QCSER,
        RF_Q_CSER,
        /* floating between the ports: Zd, formed from Y */
        RF_Q_LD,
        RF_Q_RD,
        RF_Q_QD,
        RF_Q_QCD,
        RF_Q_CD,
        RF_Q_PI_G1,
        RF_Q_PI_C1,
        RF_Q_PI_G2,
        RF_Q_PI_C2,
        RF_Q_TEE_R1,
        RF_Q_TEE_L1,
        RF_Q_TEE_R2,
        RF_Q_TEE_L2,
        RF_Q_TEE_R3,
        RF_Q_TEE_L3,
        RF_Q_TEE_C3,
        RF_Q_S11_DB,
        RF_Q_S12_DB,
        RF_Q_S21_DB,
        RF_Q_S22_DB,
        RF_Q_SDD_DB,
        RF_Q_SDC_DB,
        RF_Q_SCD_DB,
        RF_Q_SCC_DB,
        RF_Q_EPS_EFF,
        RF_Q_LOSS,
        RF_Q_ZC,
        RF_Q_ZC_IM,
        RF_Q_ALPHA,
        RF_Q_BETA,
        RF_Q_DELAY,
        RF_Q_GROUP_DELAY,
        RF_Q_R_LINE,
        RF_Q_L_LINE,
        RF_Q_G_LINE,
        RF_Q_C_LINE,
        RF_Q_H21,
        RF_Q_H21_DB,
        RF_Q_U,
        RF_Q_U_DB,
        RF_Q_K,
        RF_Q_MU,
        RF_Q_MU_PRIME,
        RF_Q_B1,
        RF_Q_MSG,
        RF_Q_MSG_DB,
        RF_Q_MAG,
        RF_Q_MAG_DB,
        RF_Q_GMAX_DB,
        RF_Q_FET_GM,
        RF_Q_FET_TAU,
        RF_Q_FET_GDS,
        RF_Q_FET_CGS,
        RF_Q_FET_CGD,
        RF_Q_FET_CDS,
        RF_Q_FET_RI,
        RF_Q_FET_RGD,
        RF_Q_HBT_GM,
        RF_Q_HBT_TAU,
        RF_Q_HBT_RPI,
        RF_Q_HBT_CPI,
        RF_Q_HBT_CMU,
        RF_Q_HBT_RO,
        RF_Q_HBT_CO,
        RF_Q_HBT_BETA,
        RF_Q_SRF11,
        RF_Q_SRFSER,
        RF_Q_SRFD,
        RF_Q_FT,
        RF_Q_FT_IM,
        RF_Q_FMAX,
        RF_Q_FMAX_MAG,
        RF_Q_Q11_MAX,
        RF_Q_Q11_MAX_HZ,
        RF_Q_QD_MAX,
        RF_Q_QD_MAX_HZ,
        RF_Q_COUNT
};

struct rf_quantity_row {
        const char *word, *unit, *say;
        enum rf_group group;
        enum rf_share share; /* what its uncertainty is measured against: resolve.h */
        const char *nan_say; /* why it does not exist where it comes out NaN */
};
extern const struct rf_quantity_row rf_quantities[RF_Q_COUNT]; /* index: enum rf_quantity; row 0 is empty */
enum rf_quantity rf_quantity_of(const char *word);             /* RF_Q_UNKNOWN: no such word */

struct rf_at {
        double hz;           /* > 0 */
        double z_ref;        /* ohm, real */
        double length_m;     /* lines */
        double complex near; /* lines: about what gamma l must be (its turns); 0: less than half a turn */
};
/* Not for RF_GROUP_SWEEP and RF_Q_GROUP_DELAY, which need neighbours: NaN; but of RF_Q_FT_IM the gain behind it, 1/|Im(1/h21)|, which has no word
   of its own.  ret_grad may be NULL. */
double rf_quantity_at(enum rf_quantity q, struct m2 s, const struct rf_at *at, double complex ret_grad[4]);
/* gamma l of a line, nearest to near; and Zc (may be NULL). */
double complex rf_line_gl(struct m2 s, double z_ref, double complex near, double complex *ret_zc);

/* ---- over a network ------------------------------------------------------------------------------------------------------------------ */
struct rf_ask {
        double length_m;   /* lines: metres, 0 < length < 1 */
        const double *u_s; /* standard uncertainty per component of every S, one per frequency; NULL: not known, or by causes */
        const struct net2_causes *causes; /* instead, cause by cause, on the network's axis; NULL: none */
        double share_max;                 /* refused where u95/|value| is above it; 0: RF_SHARE_MAX */
        double low_hz, high_hz;           /* fT, fmax: look only here; 0: everywhere */
};
struct rf_extracted {
        const struct rf_quantity_row *row;
        size_t n;                  /* frequencies of the network; 1 for RF_GROUP_SWEEP */
        const double *hz;          /* n; RF_GROUP_SWEEP: NULL */
        double *value, *u;         /* NaN where it does not exist or is refused; u is NaN where nothing is known of S */
        double *u95;               /* half width that holds the value with 95 %: 2 u, or t of few degrees of freedom */
        double complex (*grad)[4]; /* dq = Re( sum_j grad[j] dS[j] ) per frequency; NULL: of a sweep, and of the group delay */
        size_t missing_n;          /* how many are NaN because they do not exist (row->nan_say) */
        size_t refused_n;          /* … because they cannot be resolved */
        struct rf_range range;     /* where it is resolved, and where best; of fT, fmax: the plateau's window */
        char say[300];             /* range, window, refusals in one sentence; "" when there is nothing to say */
};
/* Everything comes from `arena`.  CODE_BAD_INPUT: no such word (the sentence lists the group's), no length, complex z, NaN in S, too few
   points.  CODE_UNRESOLVABLE: one number of a sweep that does not exist or cannot be resolved; columns come back with NaN instead.
   u of one number: the largest Q from Q there, and its frequency from how far Q may move along its parabola by that u; SRF from the slope
   of the susceptance at its zero; fT, fmax from the plateau: its own scatter, and u_s taken as common to all frequencies of the window
   (calibrations are), so that a mean over many points does not hide it.  With causes each of them moves as it does: the group delay by
   what differs between its three points. */
enum code rf_extract(const struct net2 *net, const char *word, const struct rf_ask *ask, struct arena *arena, struct rf_extracted *ret,
                     struct tp_error *err);

#endif
