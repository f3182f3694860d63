/* correct_full.h: the sixteen-term side of correct.h: rf_correct2() and its sisters come here for TERMS_SIXTEEN; not for other rooms.
   M = (T1 S + T2)(T3 S + T4)^{-1}, S = (T1 - M T3)^{-1}(M T4 - T2) (Butler et al., IEEE Trans. MTT 39 (1991) 2211).  M without switch
   terms: their removal is exact with leakage too, for it concerns the receivers alone.  NaN passes; any thread, no state. */
#ifndef TIPPLANE_RF_CORRECT_FULL_H
#define TIPPLANE_RF_CORRECT_FULL_H
#include "rf/correct/correct.h"

/* out may be raw; axes were checked by rf_correct2().  Sets S alone. */
enum code full_correct(const struct terms *terms, const struct net2 *raw, const struct switch_terms *or_null, struct net2 *out,
                       struct tp_error *err);
struct m2 full_correct_point(const struct terms *terms, size_t i, struct m2 unterminated);
struct m2 full_embed_point(const struct terms *terms, size_t i, struct m2 s);

/* The blocks of one frequency. */
struct full {
        struct m2 t1, t2, t3, t4;
};
struct full full_get(const struct terms *terms, size_t i);
void full_put(struct terms *terms, size_t i, const struct full *t);
/* Error network of four ports, 1 and 2 the receivers, 3 and 4 the tips, row-major, to blocks and back.  Needs a transmitting E3 =
   E[34][12]; false (and infinities) when it does not.  The blocks come out with T4_11 = 1; the network with E3_11 E3_22 = … as the blocks'
   scale has it: reflections and products are exact, the split of a tracking between its two directions is free. */
bool full_from_network(const double complex e[16], struct full *ret);
void full_to_network(const struct full *t, double complex ret_e[16]);
/* The eight-term view of the same error network with all leakage left out, in the thirteen columns.  *ret_leakage (may be NULL): the
   largest of |E12|, |E21| (receiver to receiver), |E34|, |E43| (tip to tip), and of each receiver's or tip's leaking path divided by its
   proper one (|E41/E31|, |E32/E42|, |E14/E24|, |E23/E13|); 0 without leakage. */
void full_to_eight(const struct full *t, double complex ret[TERM_COUNT], double *ret_leakage);
/* The same from the sixteen columns of terms into its thirteen. */
void full_to_eight_all(struct terms *terms, double *ret_leakage);

#endif
