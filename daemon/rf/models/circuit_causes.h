/* circuit_causes.h: how the elements of a fitted circuit move with what is not known exactly of the S they are fitted to.
   A cause that moves all frequencies together (a wrong load) is not averaged out by many points, as noise is: by each such cause the
   elements move as least squares of the same weights answer it, to first order about the fit.  Pure, any thread. */
#ifndef TIPPLANE_RF_CIRCUIT_CAUSES_H
#define TIPPLANE_RF_CIRCUIT_CAUSES_H
#include "base/arena.h"
#include "rf/models/circuit.h"
#include "rf/network/causes.h"

/* change[k][e]: of element e (its unit) by one standard uncertainty of cause k; 0 for noise, which the fit itself weighs, and where the
   element is left out. */
struct circuit_causes {
        double (*change)[RF_CIRCUIT_ELEMENTS_MAX];
};
/* Fits data (one port, of which S11 counts, or two; on the axis of causes) by kind and options; S are weighed by what is known of them, and each element's u holds what
   every cause makes of it.  options->u and u_of are not read.  Everything but *ret comes from `arena`.  As rf_fit_circuit() fails. */
enum code rf_fit_circuit_by_causes(enum circuit_kind kind, const struct model_data *data, const struct circuit_options *options,
                                   const struct net2_causes *causes, struct arena *arena, struct circuit *ret,
                                   struct circuit_causes *ret_causes, struct tp_error *err);
/* Root mean square of noise per component over all S of so many ports (1, 2) and frequencies; 0: none is stated. */
double rf_causes_noise(const struct net2_causes *causes, size_t ports);

#endif
