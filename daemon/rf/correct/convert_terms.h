/* convert_terms.h: one set of error terms said in another model, where that loses nothing; and what it loses where it does.

     eight + switch terms  ->  twelve      exact (Marks, 50th ARFTG, 1997, 115)
     twelve  ->  eight + switch terms      exact if both ratios K (by ETF, by ETR) agree and there is no isolation; their mean is taken
     eight   ->  sixteen                   exact, leakage 0; raw data must have their switch terms removed for both
     sixteen ->  eight                     the leakage is dropped; how much is returned
     twelve  <-> sixteen                   by way of eight, with what each step says

   in and out on the same axis (CODE_BUG otherwise), out made by terms_at(); plane, reference impedance and method are copied.  in and out
   must not be the same memory.  CODE_BAD_INPUT: the wrong model, isolation, missing switch terms, a ratio that does not exist; the sentence
   names frequency and value.  Pure, any thread. */
#ifndef TIPPLANE_RF_CONVERT_TERMS_H
#define TIPPLANE_RF_CONVERT_TERMS_H
#include "rf/correct/terms.h"

/* sw NULL: only for terms that were solved without (switch_removed false): the switch is then ideal. */
enum code rf_terms_twelve_from_eight(const struct terms *eight, const struct switch_terms *sw, struct terms *out, struct tp_error *err);
/* ret_sw: made by switch_terms_at() on the same axis.  ret_k_disagreement[n] (may be NULL): |k1/k2 - 1|, above 0.01 a bad standard. */
enum code rf_terms_eight_from_twelve(const struct terms *twelve, struct terms *out, struct switch_terms *ret_sw, double *ret_k_disagreement,
                                     struct tp_error *err);
enum code rf_terms_sixteen_from_eight(const struct terms *eight, struct terms *out, struct tp_error *err);
/* ret_leakage[n] (may be NULL): largest coupling between the two sides relative to the paths beside it (struct diagnosis, leakage). */
enum code rf_terms_eight_from_sixteen(const struct terms *sixteen, struct terms *out, double *ret_leakage, struct tp_error *err);

/* Fills the columns that follow from the others: eight terms ELF … EXR from EDF … K; twelve K from ETF; sixteen the eight-term view from
   T1 … T4, scaled to T4_11 = 1 first.  In place.  CODE_BAD_INPUT when T4_11 is 0 somewhere, i.e. port 1 does not reach its tip. */
enum code rf_terms_complete(struct terms *terms, struct tp_error *err);

#endif
