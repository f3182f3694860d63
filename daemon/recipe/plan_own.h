/* plan_own.h: the pieces plan_make() is put together from.  Not for other rooms. */
#ifndef TIPPLANE_RECIPE_PLAN_OWN_H
#define TIPPLANE_RECIPE_PLAN_OWN_H
#include "recipe/recipe_own.h"

enum code plan_roles(const struct recipe *, const struct capability_set *, struct tp_error *);
enum code plan_frequencies(const struct recipe *, const struct capability_set *, struct arena *, struct tp_error *);
enum code plan_spacings(const struct recipe *, const struct capability_set *, struct tp_error *);
/* SHA-256 of a canonical text of everything that decides; what the ledger held is left out, so that a plan made again has the same digest.
 */
void plan_digest(const struct plan *, uint8_t ret[32]);

#endif
