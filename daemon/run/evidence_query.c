/* evidence_query.c: what is asked of the evidence, in one place for rules, fold and screens.  The laws ask for themselves (laws.c). */
#include "run/evidence.h"
#include "base/hash.h"
#include "run/evidence_own.h"

bool evidence_is_safe(const struct evidence *e)
{
        return e->inventory && e->state.separated == KNOW_KNOWN && e->state.bias_off == KNOW_KNOWN && !e->state.in_contact &&
               !e->state.latched && e->not_latched;
}

void step_spends(const struct plan *plan, struct step *step)
{
        step->spend_n = 0;
        if (step->kind != STEP_LOWER || step->args.target < 0 || (size_t)step->args.target >= plan->target_n)
                return;
        const struct target *t = &plan->targets[step->args.target];
        for (int32_t i = 0; i < t->thing_n; i++)
                step->spend[step->spend_n++] = (struct spend){.thing = (uint32_t)t->things[i], .touches = 1};
}

/* How often one touch of `t` and one of each of the list would spend `thing`. */
static int32_t spent_by(const struct plan *plan, int32_t thing, const int32_t *targets, size_t n, int extra)
{
        int32_t touches = 0;
        for (size_t i = 0; i < n + (extra >= 0); i++) {
                const struct target *t = &plan->targets[i < n ? targets[i] : extra];
                for (int32_t k = 0; !t->raised && k < t->thing_n; k++)
                        touches += t->things[k] == thing;
        }
        return touches;
}

static bool can_touch(const struct evidence *e, const struct plan *plan, const int32_t *targets, size_t n, int extra)
{
        const struct thing_seen *things = evidence_things(e);
        for (size_t i = 0; i < n + (extra >= 0); i++) {
                const struct target *t = &plan->targets[i < n ? targets[i] : extra];
                for (int32_t k = 0; !t->raised && k < t->thing_n; k++)
                        if (things[t->things[k]].left < spent_by(plan, t->things[k], targets, n, extra))
                                return false;
        }
        return true;
}
bool evidence_can_touch(const struct evidence *e, const struct plan *plan, int target) { return can_touch(e, plan, NULL, 0, target); }
bool evidence_can_touch_all(const struct evidence *e, const struct plan *plan, const int32_t *targets, size_t n)
{
        return can_touch(e, plan, targets, n, -1);
}

bool evidence_is_remeasurable(const struct evidence *e, const struct plan *plan, int target)
{
        const struct target_seen *t = &evidence_targets(e)[target];
        if (t->outcome != TARGET_MEASURED || t->remeasures_left <= 0 || !t->touch || !plan->recipe->mandate.remeasure_suspects)
                return false;
        const struct touch_seen *touch = &evidence_touches(e)[t->touch - 1];
        return touch->interval && evidence_intervals(e)[touch->interval - 1].verdict == INTERVAL_FAILED &&
               can_touch(e, plan, plan->check, plan->check_n, target);
}

int evidence_next_device(const struct evidence *e, const struct plan *plan, enum purpose *ret_purpose)
{
        const struct target_seen *targets = evidence_targets(e);
        *ret_purpose = PURPOSE_DEVICE;
        for (size_t i = 0; i < plan->visit_n; i++) {
                int32_t at = plan->visits[i];
                if (targets[at].outcome == TARGET_WAITS && targets[at].tries_left > 0 &&
                    can_touch(e, plan, plan->check, plan->check_n, at)) {
                        if (plan->recipe->mandate.remeasure_suspects && targets[at].remeasures_left <= 0)
                                *ret_purpose = PURPOSE_REMEASURE;
                        return at;
                }
        }
        *ret_purpose = PURPOSE_REMEASURE;
        for (size_t i = 0; plan->recipe->mandate.remeasure_suspects && e->checks_failed && i < plan->visit_n; i++)
                if (evidence_is_remeasurable(e, plan, plan->visits[i]))
                        return plan->visits[i];
        return -1;
}

bool interval_has_drifted(const struct interval_seen *i)
{
        return i->verdict == INTERVAL_FAILED && i->ended_by != END_INTERVENTION && (i->cause == CAUSE_DELAY || i->cause == CAUSE_LOSS);
}

bool evidence_rescue_waits(const struct evidence *e, const struct plan *plan)
{
        if (!plan->recipe->mandate.rescue_suspects || !e->may_measure || e->interval || e->interval_n == 0 ||
            !interval_has_drifted(&evidence_intervals(e)[e->interval_n - 1]))
                return false;
        for (size_t i = 0; i < plan->visit_n; i++) {
                const struct touch_seen *t = evidence_touch(e, plan->visits[i]);
                if (t && t->interval == (int32_t)e->interval_n && t->trust_why == TRUST_WHY_CHECK_FAILED)
                        return true;
        }
        return false;
}

size_t target_conditions(const struct plan *plan, int target)
{
        const struct target *t = &plan->targets[target];
        if (t->kind != TARGET_DEVICE)
                return 1;
        size_t n = plan->recipe->measures[t->item].condition_n;
        return n > 32 ? 32 : n;
}

bool touch_is_complete(const struct evidence *e, const struct plan *plan)
{
        if (!e->touch || !e->touch_works)
                return false;
        if (plan->targets[e->touch - 1].kind != TARGET_DEVICE)
                return e->touch_read != 0;
        size_t n = target_conditions(plan, e->touch - 1);
        return n > 0 && e->touch_swept == (n == 32 ? UINT32_MAX : (1u << n) - 1);
}

const struct touch_seen *evidence_touch(const struct evidence *e, int target)
{
        const struct target_seen *t = &evidence_targets(e)[target];
        return t->touch ? &evidence_touches(e)[t->touch - 1] : NULL;
}

struct evidence_counts evidence_count(const struct evidence *e, const struct plan *plan)
{
        struct evidence_counts n = {0};
        for (size_t i = 0; i < plan->visit_n; i++) {
                const struct target_seen *t = &evidence_targets(e)[plan->visits[i]];
                const struct touch_seen *touch = evidence_touch(e, plan->visits[i]);
                n.waits += t->outcome == TARGET_WAITS;
                n.measured += t->outcome == TARGET_MEASURED;
                n.doubtful += t->outcome == TARGET_DOUBTFUL;
                n.no_contact += t->outcome == TARGET_NO_CONTACT;
                n.skipped += t->outcome == TARGET_SKIPPED;
                n.written_off += t->outcome == TARGET_WRITTEN_OFF;
                n.proven += touch && touch->trust == TRUST_PROVEN;
                n.open += touch && touch->trust == TRUST_OPEN;
                n.suspect += touch && touch->trust == TRUST_SUSPECT;
        }
        return n;
}

uint64_t evidence_hash(const struct evidence *e) { return hash64(e, e->bytes); }
