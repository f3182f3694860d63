/* judge_checks.c: see night.h.  A daemon killed in mid-interval must judge as one that lived: what a check is held against (baseline,
   calibration, limits) and what the interval's values take from its two checks come from the file, never from a memory that died. */
#include "recipe/recipe.h"
#include "run/evidence.h"
#include "run/job.h"
#include "run/plan_stored.h"
#include "tests/nights/night.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct bench {
        struct view *view;
        struct arena *arena;
        struct recipe *recipe;
        struct plan *plan;
        struct evidence *e;
        double *hz;
        size_t hz_n;
        const struct calibration *calibrations[NIGHT_CALIBRATIONS];
        char *why;
};

static void blame(struct bench *b, uint64_t seq, const char *what)
{
        if (!b->why[0])
                snprintf(b->why, 300, "check of entry %llu: %.250s", (unsigned long long)seq, what);
}

static bool same(double a, double b) { return (isnan(a) && isnan(b)) || memcmp(&a, &b, sizeof a) == 0; }

static bool same_modes(const struct port_modes *a, const struct port_modes *b)
{
        return same(a->delay_fs, b->delay_fs) && same(a->loss_db, b->loss_db) && same(a->contact_ohm, b->contact_ohm) &&
               same(a->contact_h, b->contact_h) && same(a->position_um, b->position_um) && same(a->delay_u_fs, b->delay_u_fs) &&
               same(a->loss_u_db, b->loss_u_db);
}

static enum code sweeps_load(struct bench *b, bool baseline, struct arena *arena, struct standard_sweep **ret, size_t *ret_n,
                             struct tp_error *err)
{
        const struct plan *p = b->plan;
        struct standard_sweep *list = arena_take(arena, (p->check_n + 1) * sizeof *list);
        struct raw_sweep *raws = arena_take(arena, (p->check_n + 1) * sizeof *raws);
        if (!list || !raws)
                return tp_fail_memory(err);
        *ret = list;
        *ret_n = 0;
        for (size_t i = 0; i < p->check_n; i++) {
                const struct target_seen *seen = &evidence_targets(b->e)[p->check[i]];
                uint64_t seq = baseline ? seen->baseline_seq : seen->sweep_seq;
                struct raw_sweep *raw = &raws[*ret_n];
                if (!seq)
                        continue;
                enum code code = sweep_load(b->view, (int64_t)seq, b->hz, b->hz_n, arena, raw, err);
                if (code)
                        return code;
                list[(*ret_n)++] = (struct standard_sweep){.standard = p->targets[p->check[i]].item, .raw = raw};
        }
        return CODE_OK;
}

/* The check whose outcome is this entry, with the evidence as it was before it. */
static void judge_again(struct bench *b, const struct entry *entry)
{
        const struct outcome *o = &entry->body.outcome;
        struct arena *arena = arena_new(0);
        struct standard_sweep *now = NULL, *then = NULL;
        size_t now_n = 0, then_n = 0;
        struct check_answer got = {0};
        struct tp_error err = {0};
        const struct calibration *c = b->e->in_force > 0 && b->e->in_force < NIGHT_CALIBRATIONS ? b->calibrations[b->e->in_force] : NULL;
        enum code code = arena ? sweeps_load(b, false, arena, &now, &now_n, &err) : CODE_MEMORY;
        if (!code)
                code = sweeps_load(b, true, arena, &then, &then_n, &err);
        if (code || !c) {
                blame(b, entry->seq, code ? err.text : "its calibration is not in the file");
        } else {
                code = check_fit(b->recipe, c, then_n ? then : now, now, now_n, arena, &got, &err);
                if (o->accepted != (!code && got.passed))
                        blame(b, entry->seq, "judged once more, its verdict is another");
                if (o->cause != (code ? CAUSE_BAD_TOUCH : got.cause))
                        blame(b, entry->seq, "judged once more, its cause is another");
                if (!code && (!same(o->worst, got.worst) || !same(o->transmission_fs, got.transmission_fs)))
                        blame(b, entry->seq, "judged once more, its share of a limit is another");
                for (int p = 0; p < 2 && !code; p++)
                        if (!same_modes(&o->modes[p], &got.modes[p]))
                                blame(b, entry->seq, "judged once more, its ports moved by something else");
        }
        arena_free(arena);
}

static enum code open_bench(struct bench *b, const char *run, struct tp_error *err)
{
        enum code code = plan_stored(b->view, run, b->arena, &b->recipe, &b->plan, err);
        if (!code)
                code = sweep_axis(recipe_sweep(b->recipe, b->recipe->calibration.sweep), b->arena, &b->hz, &b->hz_n, err);
        if (!code && !(b->e = arena_take(b->arena, evidence_bytes(b->plan))))
                code = tp_fail_memory(err);
        if (!code)
                code = night_calibrations(b->view, b->arena, b->calibrations, err);
        if (!code)
                evidence_init(b->e, b->plan);
        return code;
}

/* A value's touch by its number: that of the entry that lowered. */
static int32_t interval_of(const struct bench *b, int64_t touchdown)
{
        for (size_t v = 0; v < b->plan->visit_n; v++) {
                const struct touch_seen *t = evidence_touch(b->e, b->plan->visits[v]);
                if (t && (int64_t)t->seq == touchdown)
                        return t->interval;
        }
        return 0;
}

/* With the whole journal folded. */
static void judge_values(struct bench *b, uint64_t *ret_as_seen, struct tp_error *err)
{
        struct parameter_row *rows = NULL;
        size_t n = 0;
        if (view_parameters(b->view, NULL, NULL, 1, b->arena, &rows, &n, err)) {
                snprintf(b->why, 300, "values: %.250s", err->text);
                return;
        }
        for (size_t i = 0; i < n; i++) {
                int32_t in = interval_of(b, rows[i].touchdown);
                bool want = in > 0 && evidence_intervals(b->e)[in - 1].verdict == INTERVAL_PASSED,
                     got = strstr(rows[i].budget, ", as seen\"") != NULL;
                bool speaks = rows[i].has_value && strlen(rows[i].budget) > 2;
                *ret_as_seen += got;
                if (speaks && want != got && in > 0 && !b->why[0])
                        snprintf(b->why, 300, "sweep %lld, %s of %s: interval %d has %s, but its drift counts as %s: %.120s",
                                 (long long)rows[i].sweep, rows[i].quantity, rows[i].device, in, want ? "two passed checks" : "not both",
                                 got ? "two checks saw it" : "a check lets pass", rows[i].budget);
        }
}

void judge_checks(struct view *view, const char *run, const struct entry *entries, size_t n, uint64_t *ret_checks, uint64_t *ret_as_seen,
                  char why[300])
{
        struct bench bench = {.view = view, .arena = arena_new(0), .why = why}, *b = &bench;
        struct tp_error err = {0};
        enum code code = b->arena ? open_bench(b, run, &err) : tp_fail_memory(&err);
        for (size_t i = 0; i < n && !code; i++) {
                if (entries[i].phase == PHASE_OUTCOME && entries[i].kind == STEP_CHECK && !entries[i].code) {
                        judge_again(b, &entries[i]);
                        ++*ret_checks;
                }
                code = evidence_apply(b->e, b->plan, &entries[i], &err);
        }
        if (code && !why[0])
                snprintf(why, 300, "checks cannot be judged once more: %.220s", err.text);
        if (!code)
                judge_values(b, ret_as_seen, &err);
        arena_free(b->arena);
}
