/* judge_contacts.c: see night.h.  A touch is held against the last raised open and the same device in good contact on another die; both must
   be those of the file, whoever died since they were swept. */
#include "recipe/recipe.h"
#include "run/evidence.h"
#include "run/job.h"
#include "run/plan_stored.h"
#include "tests/nights/night.h"
#include <stdio.h>
#include <string.h>

enum { MEASURES = 32, PLANS = 16 };
struct kept {
        int64_t sweep;
        int32_t in_force, target, plan_sweep;
};
struct bench {
        struct view *view;
        struct arena *arena;
        struct recipe *recipe;
        struct plan *plan;
        struct evidence *e;
        double *hz[PLANS];
        size_t hz_n[PLANS];
        const struct calibration *calibrations[NIGHT_CALIBRATIONS];
        struct kept raised, typical[MEASURES];
        double dc_start[3];
};

static enum code open_bench(struct bench *b, const char *run, struct tp_error *err)
{
        enum code code = plan_stored(b->view, run, b->arena, &b->recipe, &b->plan, err);
        if (!code && (b->recipe->measure_n > MEASURES || b->recipe->sweep_n > PLANS))
                return tp_fail(err, CODE_BAD_INPUT, "a recipe of %zu measures and %zu sweeps is too large for this judge",
                               b->recipe->measure_n, b->recipe->sweep_n);
        for (size_t i = 0; !code && i < b->recipe->sweep_n; i++)
                code = sweep_axis(&b->recipe->sweeps[i], b->arena, &b->hz[i], &b->hz_n[i], err);
        if (!code && !(b->e = arena_take(b->arena, evidence_bytes(b->plan))))
                code = tp_fail_memory(err);
        if (!code)
                code = night_calibrations(b->view, b->arena, b->calibrations, err);
        if (!code)
                evidence_init(b->e, b->plan);
        return code;
}

static enum code load(struct bench *b, int64_t sweep, int32_t plan_sweep, struct arena *arena, struct raw_sweep *ret, struct tp_error *err)
{
        return sweep_load(b->view, sweep, b->hz[plan_sweep], b->hz_n[plan_sweep], arena, ret, err);
}

/* The sweep that this entry ended, with the evidence as it was before it. */
static enum code judge_again(struct bench *b, const struct entry *intent, const struct entry *entry, uint64_t *ret_n, char why[300],
                             struct tp_error *err)
{
        const struct step_args *a = &intent->body.args;
        const struct outcome *o = &entry->body.outcome;
        const struct target *t = a->target >= 0 ? &b->plan->targets[a->target] : NULL;
        struct arena *arena = arena_new(0);
        struct raw_sweep raw, raised, typical;
        struct contact_answer got = {0};
        struct contact_question q = {.recipe = b->recipe, .raw = &raw, .calibration = b->calibrations[b->e->in_force]};
        enum code code = arena ? load(b, (int64_t)intent->seq, a->sweep, arena, &raw, err) : tp_fail_memory(err);
        if (!code && b->raised.sweep && b->raised.plan_sweep == a->sweep) {
                code = load(b, b->raised.sweep, a->sweep, arena, &raised, err);
                q.raised = &raised;
        }
        if (t && t->kind == TARGET_DEVICE && a->use == USE_DEVICE) {
                const struct kept *k = &b->typical[t->item];
                q.measure = &b->recipe->measures[t->item];
                if (!code && k->sweep && k->in_force == b->e->in_force && k->plan_sweep == a->sweep && k->target != a->target) {
                        code = load(b, k->sweep, a->sweep, arena, &typical, err);
                        q.typical = &typical;
                }
        } else if (t && t->kind == TARGET_STANDARD) {
                q.standard = &b->recipe->standards[t->item];
        }
        memcpy(q.dc_ohm_start, b->dc_start, sizeof q.dc_ohm_start);
        memcpy(q.dc_ohm_end, o->dc_ohm, sizeof q.dc_ohm_end);
        if (!code && (q.measure || q.standard)) {
                contact_judge(&q, arena, &got);
                ++*ret_n;
                if (got.grade != o->contact || strcmp(got.reason, o->reason) != 0)
                        snprintf(why, 300, "sweep %llu: its contact was %s (%.80s), judged once more it is %s (%.80s)",
                                 (unsigned long long)intent->seq, contact_words[o->contact], o->reason, contact_words[got.grade],
                                 got.reason);
        }
        bool is_raised = a->use == USE_WITNESS || (t && t->raised);
        struct kept now = {(int64_t)intent->seq, b->e->in_force, a->target, a->sweep};
        if (o->contact == CONTACT_GOOD && a->use == USE_WITNESS)
                b->raised = now;
        else if (o->contact == CONTACT_GOOD && !is_raised && t && t->kind == TARGET_DEVICE)
                b->typical[t->item] = now;
        arena_free(arena);
        return code;
}

void judge_contacts(struct view *view, const char *run, const struct entry *entries, size_t n, uint64_t *ret_contacts, char why[300])
{
        struct bench bench = {.view = view, .arena = arena_new(0)}, *b = &bench;
        struct tp_error err = {0};
        const struct entry *intent = NULL;
        enum code code = b->arena ? open_bench(b, run, &err) : tp_fail_memory(&err);
        for (size_t i = 0; i < n && !code && !why[0]; i++) {
                const struct entry *e = &entries[i];
                intent = e->phase == PHASE_INTEND ? e : intent;
                if (e->phase == PHASE_INTEND && e->kind == STEP_LOWER)
                        b->dc_start[0] = b->dc_start[1] = b->dc_start[2] = -1;
                if (e->phase == PHASE_OUTCOME && e->kind == STEP_LOWER && !e->code)
                        memcpy(b->dc_start, e->body.outcome.dc_ohm, sizeof b->dc_start);
                if (e->phase == PHASE_OUTCOME && e->kind == STEP_SWEEP && !e->code && intent)
                        code = judge_again(b, intent, e, ret_contacts, why, &err);
                if (!code)
                        code = evidence_apply(b->e, b->plan, e, &err);
        }
        if (code && !why[0])
                snprintf(why, 300, "contacts cannot be judged once more: %.220s", err.text);
        arena_free(b->arena);
}
