/* plan_stored.h: a run's plan once more, from what was stored with it: same recipe, capabilities and ledgers; the digest proves it. */
#ifndef TIPPLANE_RUN_PLAN_STORED_H
#define TIPPLANE_RUN_PLAN_STORED_H
#include "recipe/plan.h"
#include "store/view.h"

/* CODE_DAMAGED: this build plans the recipe in another way. */
enum code plan_again(const struct recipe *, const char *wafer, const char *plan_json, struct arena *, struct plan **ret, struct tp_error *);
/* Recipe and plan of a run by its file; any task that may hold a view. */
enum code plan_stored(struct view *, const char *run, struct arena *, struct recipe **ret_recipe, struct plan **ret, struct tp_error *);

#endif
