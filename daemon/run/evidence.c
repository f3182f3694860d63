/* evidence.c: the block itself: its size, its beginning, its words.
 * Idea        One struct and four arrays behind it, sized by the plan alone, so that a run's evidence can be copied for a forecast and
 *             compared after each entry.
 * Not here    how it changes (evidence_apply.c), what is asked of it (evidence_query.c). */
#include "run/evidence.h"
#include "run/evidence_own.h"
#include <limits.h>
#include <string.h>

const char *const target_outcome_words[] = {"unknown", "waits", "measured", "doubtful", "no_contact", "skipped", "written_off", NULL};
const char *const why_not_words[] = {"",
                                     "contact absent",
                                     "contact doubtful",
                                     "pads spent",
                                     "interrupted",
                                     "skipped by a person",
                                     "finished early",
                                     "no accepted calibration",
                                     "place unproven",
                                     "budget spent",
                                     "sweep failed",
                                     "no check possible",
                                     "bias in its limit",
                                     NULL};
const char *const trust_words[] = {"unknown", "proven", "open", "suspect", "rescued", NULL};
const char *const trust_why_words[] = {"unknown",
                                       "place, contact, calibration and both checks",
                                       "in hand",
                                       "replayed",
                                       "place unproven",
                                       "contact absent",
                                       "contact doubtful",
                                       "contact unknown",
                                       "interrupted",
                                       "no accepted calibration",
                                       "no checks in the recipe",
                                       "interval open",
                                       "closing check failed",
                                       "interval written off",
                                       "analyzer flags",
                                       "calibration not verified",
                                       NULL};
const char *const interval_verdict_words[] = {"unknown", "open", "passed", "failed", "written_off", NULL};
const char *const interval_end_words[] = {"unknown", "every_dies", "intervention", "closing", NULL};
_Static_assert(sizeof why_not_words / sizeof why_not_words[0] == WHY_COUNT + 1, "each reason has words");
_Static_assert(sizeof trust_why_words / sizeof trust_why_words[0] == TRUST_WHY_COUNT + 1, "each reason has words");
_Static_assert(sizeof target_outcome_words / sizeof target_outcome_words[0] == TARGET_WRITTEN_OFF + 2, "each outcome has a word");
_Static_assert(sizeof(struct evidence) % 8 == 0 && sizeof(struct target_seen) % 8 == 0 && sizeof(struct touch_seen) % 8 == 0 &&
                       sizeof(struct interval_seen) % 8 == 0,
               "the arrays follow each other");

int32_t retouches_allowed(const struct plan *plan) { return plan->recipe->mandate.retouch_max > 0 ? plan->recipe->mandate.retouch_max : 0; }
int32_t every_dies(const struct plan *plan) { return plan->recipe->check.every_dies > 0 ? plan->recipe->check.every_dies : INT_MAX; }

/* Touches of devices that can be begun: each round has its first touch, the mandate's retouches, and one that was cut off. */
static size_t touch_room(const struct plan *plan)
{
        size_t rounds = plan->recipe->mandate.remeasure_suspects ? 2 : 1;
        return plan->visit_n * rounds * ((size_t)retouches_allowed(plan) + 2);
}
static size_t interval_room(const struct plan *plan)
{
        size_t rounds = plan->recipe->mandate.remeasure_suspects ? 2 : 1;
        size_t recalibrations = plan->recipe->mandate.recalibrate_max > 0 ? (size_t)plan->recipe->mandate.recalibrate_max : 0;
        return plan->check_n ? 64 + rounds * (plan->visit_die_n / (size_t)every_dies(plan) + 1) + 4 * recalibrations : 0;
}

size_t evidence_bytes(const struct plan *plan)
{
        return sizeof(struct evidence) + plan->target_n * sizeof(struct target_seen) + touch_room(plan) * sizeof(struct touch_seen) +
               interval_room(plan) * sizeof(struct interval_seen) + plan->thing_n * sizeof(struct thing_seen);
}

int32_t round_tries(const struct plan *plan, int target)
{
        int32_t retouches = retouches_allowed(plan);
        return 1 + (plan->targets[target].kind == TARGET_DEVICE || retouches < 1
                            ? retouches
                            : 1); /* a bad touch of a standard or ladder is repeated once */
}

void round_begin(struct evidence *e, const struct plan *plan, int target)
{
        struct target_seen *t = &evidence_targets(e)[target];
        t->tries_left = round_tries(plan, target);
        t->interrupts_left = 1;
        t->attempt = 0;
        t->good = 0;
        t->sweep_seq = 0;
}

void evidence_init(struct evidence *e, const struct plan *plan)
{
        const struct recipe *r = plan->recipe;
        memset(e, 0, evidence_bytes(plan));
        e->bytes = evidence_bytes(plan);
        memcpy(&e->plan_key, plan->digest, sizeof e->plan_key);
        e->target_n = (uint32_t)plan->target_n;
        e->touch_room = (uint32_t)touch_room(plan);
        e->thing_n = (uint32_t)plan->thing_n;
        e->interval_room = (uint32_t)interval_room(plan);
        e->hands_free = 1;
        e->may_stay = e->may_measure = 1;
        e->retries_left = RETRIES_MAX;
        e->place_tries_left = PLACE_TRIES_MAX;
        e->efforts_left = 1 + (r->mandate.recalibrate_max > 0 ? r->mandate.recalibrate_max : 0);
        struct thing_seen *things = evidence_things(e);
        for (size_t i = 0; i < plan->thing_n; i++)
                things[i].left = plan->things[i].budget > plan->things[i].used ? plan->things[i].budget - plan->things[i].used : 0;
        for (size_t i = 0; i < plan->target_n; i++)
                round_begin(e, plan, (int)i);
        struct target_seen *targets = evidence_targets(e);
        for (size_t i = 0; i < plan->visit_n; i++) {
                struct target_seen *t = &targets[plan->visits[i]];
                bool can = evidence_can_touch(e, plan, plan->visits[i]);
                t->outcome = can ? TARGET_WAITS : TARGET_SKIPPED;
                t->why = can ? WHY_NONE : WHY_PADS_SPENT;
                t->remeasures_left = r->mandate.remeasure_suspects ? 1 : 0;
        }
}
