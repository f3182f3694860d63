/* pick.h: some frequencies of a larger list, never interpolated: a device swept over part of what was calibrated.  Pure, no allocation. */
#ifndef TIPPLANE_RF_PICK_H
#define TIPPLANE_RF_PICK_H
#include "rf/correct/terms.h"

/* ret_at[i]: where `want`'s frequency i stands in `have`, to 1e-9 relative.  CODE_BAD_INPUT names the first that is not there. */
enum code rf_pick(const struct axis *have, const struct axis *want, size_t *ret_at, struct tp_error *err);
/* to: terms_at() or switch_terms_at() on the wanted axis. */
void rf_pick_terms(const struct terms *from, const size_t *at, struct terms *to);
void rf_pick_switch_terms(const struct switch_terms *from, const size_t *at, struct switch_terms *to);
void rf_pick_net2(const struct net2 *from, const size_t *at, struct net2 *to);

#endif
