/* act_value.c: values behind the motion.  When a die has nothing left to wait for, its sweeps are evaluated on the pool while the stage
   goes on. The work list is what the database says (devices whose last sweep has no parameters), so a restart loses nothing. */
#include "run/runner_own.h"
#include <stdio.h>
#include <string.h>

const char *const verdict_words[] = {"none", "pass", "marginal", "fail", NULL};
#define EVALUATION 1          /* the live evaluation of a run */
#define AS_SEEN ", as seen\"" /* in the budget of a value that counts its drift as both checks saw it */

static bool is_final(const struct runner *r, int target) { return evidence_targets(r->e)[target].outcome > TARGET_WAITS; }

static bool has_value(const struct runner *r, int target) /* a touch was swept and may be evaluated */
{
        int32_t outcome = evidence_targets(r->e)[target].outcome;
        return (outcome == TARGET_MEASURED || outcome == TARGET_DOUBTFUL) && r->device_sweep[target][0] != 0;
}

/* What the checks at both ends of the touch's interval saw, once both have passed. */
static const struct drift_seen *drift_of(const struct runner *r, int target)
{
        const struct touch_seen *touch = evidence_touch(r->e, target);
        const struct interval_drift *d = touch && touch->interval > 0 ? &r->drift[touch->interval - 1] : NULL;
        return d && d->has_both ? &d->seen : NULL;
}

static bool ends_check(const struct entry *e) { return e->phase == PHASE_OUTCOME && e->kind == STEP_CHECK && !e->code; }

void value_check_seen(struct runner *r, const struct evidence *before, const struct evidence *after, const struct entry *entry)
{
        const struct interval_seen *was = evidence_intervals(before), *now = evidence_intervals(after);
        if (!ends_check(entry))
                return;
        for (uint32_t i = 0; i < after->interval_n; i++) {
                struct interval_drift *d = &r->drift[i];
                if (i >= before->interval_n) {
                        memcpy(d->seen.from, entry->body.outcome.modes, sizeof d->seen.from);
                        d->has_from = true;
                } else if (now[i].closed_seq && !was[i].closed_seq) {
                        memcpy(d->seen.to, entry->body.outcome.modes, sizeof d->seen.to);
                        d->has_both = d->has_from && now[i].verdict == INTERVAL_PASSED;
                }
        }
}

static bool is_valued(const struct runner *r, int target)
{
        return r->valued[target] == VALUED_SEEN || (r->valued[target] == VALUED_DONE && !drift_of(r, target));
}

static int measure_index(const struct recipe *recipe, const char *device)
{
        for (size_t i = 0; device[0] && i < recipe->measure_n; i++)
                if (strcmp(recipe->measures[i].device, device) == 0)
                        return (int)i;
        return -1;
}

/* The dummy's sweep of this die, else of the nearest die that has a good one under the same calibration. */
static bool find_dummy(const struct runner *r, int die, const char *name, int32_t calibration, struct job_sweep *ret)
{
        int item = measure_index(r->recipe, name);
        double best = 0;
        bool found = false;
        for (size_t i = 0; item >= 0 && i < r->plan->visit_n; i++) {
                int t = r->plan->visits[i];
                const struct target *at = &r->plan->targets[t];
                const struct touch_seen *touch = evidence_touch(r->e, t);
                if (at->item != item || evidence_targets(r->e)[t].outcome != TARGET_MEASURED || !r->device_sweep[t][0] || !touch ||
                    touch->calibration != calibration)
                        continue;
                double dx = r->plan->dies[at->die].x_um - r->plan->dies[die].x_um,
                       dy = r->plan->dies[at->die].y_um - r->plan->dies[die].y_um, d = dx * dx + dy * dy;
                if (!found || d < best) {
                        *ret = (struct job_sweep){.item = item, .sweep = r->device_sweep[t][0], .touchdown_die = at->die};
                        best = d;
                        found = true;
                }
        }
        return found;
}

/* A dummy of this name may still be swept: one waits for its touch, or the mandate lets a suspect one be measured once more. */
static bool may_come(const struct runner *r, const char *name)
{
        int item = measure_index(r->recipe, name);
        for (size_t i = 0; item >= 0 && i < r->plan->visit_n; i++) {
                int t = r->plan->visits[i];
                if (r->plan->targets[t].item == item && (!is_final(r, t) || evidence_is_remeasurable(r->e, r->plan, t)))
                        return true;
        }
        return false;
}

/* After a recalibration in mid-die the rest of the die has no dummy under the new calibration: its values wait for the first one that has.
 */
static bool waits_for_dummy(const struct runner *r, int target)
{
        const struct target *at = &r->plan->targets[target];
        const struct measure *m = &r->recipe->measures[at->item];
        const struct touch_seen *touch = evidence_touch(r->e, target);
        struct job_sweep found;
        if (r->last_values || !touch || !m->parameter_n)
                return false;
        for (int k = 1; k < RF_DUMMY_COUNT; k++) {
                const char *name = measure_dummy(m, k);
                if (name[0] && !find_dummy(r, at->die, name, touch->calibration, &found) && may_come(r, name))
                        return true;
        }
        return false;
}

bool value_is_dummy(const struct runner *r, int target)
{
        const struct target *at = &r->plan->targets[target];
        return at->kind == TARGET_DEVICE && r->recipe->measures[at->item].parameter_n == 0;
}

void value_die_if_ready(struct runner *r, int target)
{
        int die = r->plan->targets[target].kind == TARGET_DEVICE ? r->plan->targets[target].die : -1;
        bool any = false;
        if (die < 0)
                return;
        for (size_t i = 0; i < r->plan->visit_n; i++) {
                int t = r->plan->visits[i];
                if (r->plan->targets[t].die != die)
                        continue;
                if (!is_final(r, t))
                        return;
                any |= has_value(r, t) && !is_valued(r, t) && !waits_for_dummy(r, t);
        }
        if (any)
                r->die_due[die] = 1;
}

/* A note may settle a device as well as an outcome does: whoever cuts a touch off ends it.  And a dummy serves other dies than its own. */
void value_look(struct runner *r)
{
        for (size_t i = 0; i < r->plan->visit_n; i++)
                if (has_value(r, r->plan->visits[i]) && !is_valued(r, r->plan->visits[i]))
                        value_die_if_ready(r, r->plan->visits[i]);
}

bool value_pending(const struct runner *r)
{
        if (r->valuing)
                return true;
        for (size_t i = 0; i < r->plan->die_n; i++)
                if (r->die_due[i])
                        return true;
        return false;
}

static void add_opens(const struct runner *r, struct job *job, const char *name, int32_t calibration, int die)
{
        int item = measure_index(r->recipe, name);
        for (size_t i = r->plan->visit_n; item >= 0 && i > 0 && job->open_n < 8; i--) {
                int t = r->plan->visits[i - 1];
                const struct target *at = &r->plan->targets[t];
                const struct touch_seen *touch = evidence_touch(r->e, t);
                if (at->item == item && at->die != die && evidence_targets(r->e)[t].outcome == TARGET_MEASURED && r->device_sweep[t][0] &&
                    touch && touch->calibration == calibration)
                        job->opens[job->open_n++] =
                                (struct job_sweep){.item = item, .sweep = r->device_sweep[t][0], .touchdown_die = at->die};
        }
}

static bool same_dummies(const struct measure *a, const struct measure *b)
{
        for (int k = 1; k < RF_DUMMY_COUNT; k++)
                if (strcmp(measure_dummy(a, k), measure_dummy(b, k)) != 0)
                        return false;
        return true;
}

/* One job: the devices of a die that share a calibration, a sweep and their dummies.  A die whose devices differ in these takes several
 * jobs. */
static struct job *die_job(struct runner *r, int die)
{
        struct job *job = job_new(r->world, r->store, r->loop, JOB_EVALUATE, r->run);
        const struct measure *first = NULL;
        int32_t calibration = 0;
        if (!job)
                return NULL;
        job->die = die;
        job->recipe = r->recipe;
        job->replayed = r->plan->replayed;
        job->sweeps = arena_take(job->arena, (r->recipe->measure_n + 1) * CONDITIONS_MAX * sizeof *job->sweeps);
        for (size_t i = 0; job->sweeps && i < r->plan->visit_n; i++) {
                int t = r->plan->visits[i];
                const struct target *at = &r->plan->targets[t];
                const struct measure *m = &r->recipe->measures[at->item];
                const struct touch_seen *touch = evidence_touch(r->e, t);
                if (at->die != die || is_valued(r, t) || !has_value(r, t) || !touch || waits_for_dummy(r, t))
                        continue;
                const struct live_calibration *live = act_calibration(r, touch->calibration);
                if (!m->parameter_n || !live) {
                        r->valued[t] = VALUED_SEEN; /* dummies have no parameters of their own */
                        continue;
                }
                if (first && (!same_dummies(first, m) || strcmp(first->sweep, m->sweep) != 0 || calibration != touch->calibration))
                        continue;
                if (!first) {
                        first = m;
                        calibration = touch->calibration;
                        job->calibration = live->calibration;
                        size_t s = (size_t)(recipe_sweep(r->recipe, m->sweep) - r->recipe->sweeps);
                        job->hz = r->axis_hz[s];
                        job->hz_n = r->axis_n[s];
                        for (int k = 1; k < RF_DUMMY_COUNT; k++)
                                job->has_dummy[k] = find_dummy(r, die, measure_dummy(m, k), calibration, &job->dummies[k]);
                        add_opens(r, job, m->open, calibration, die);
                }
                r->valued[t] = VALUED_UNDER_WAY;
                for (size_t c = 0; c < m->condition_n && c < CONDITIONS_MAX; c++)
                        if (r->device_sweep[t][c])
                                job->sweeps[job->sweep_n++] = (struct job_sweep){.item = at->item,
                                                                                 .sweep = r->device_sweep[t][c],
                                                                                 .condition = (int32_t)c,
                                                                                 .touchdown_die = t,
                                                                                 .calibration = live->calibration,
                                                                                 .drift = drift_of(r, t)};
        }
        if (job->sweep_n)
                return job;
        job_free(job);
        return NULL;
}

void value_turn(struct runner *r)
{
        for (size_t die = 0; !r->valuing && die < r->plan->die_n; die++) {
                if (!r->die_due[die])
                        continue;
                struct job *job = die_job(r, (int)die);
                if (!job)
                        r->die_due[die] = 0;
                else
                        r->valuing = runner_job(r, job);
        }
}

uint8_t verdict_worse(uint8_t a, const char *word)
{
        for (uint8_t v = VERDICT_NONE; v <= VERDICT_FAIL; v++)
                if (strcmp(word, verdict_words[v]) == 0 && v > a)
                        return v;
        return a;
}

void value_done(struct runner *r, struct job *take)
{
        if (!r->active || strcmp(take->run, r->run) != 0) {
                job_free(take);
                return;
        }
        r->valuing = false;
        r->changed = r->map_changed = true;
        if (take->code)
                log_event(r->log, LOG_ERROR, "value.failed", "run=%s die=%d msg=\"%s\"", r->run, take->die, take->err.text);
        struct work *work = work_new(r->run);
        for (size_t i = 0; work && i < take->answer_n; i++) {
                const struct job_answer_row *row = &take->answers[i];
                struct fact *fact = parameter_facts(work, EVALUATION, row->sweep, row->rows, row->n);
                if (fact)
                        fact->of.parameter.replaces = row->as_seen;
        }
        for (size_t s = 0; s < take->sweep_n; s++) {
                int t = take->sweeps[s].touchdown_die;
                if (r->device_sweep[t][take->sweeps[s].condition] == take->sweeps[s].sweep) /* not swept anew meanwhile */
                        r->valued[t] = take->sweeps[s].drift ? VALUED_SEEN : VALUED_DONE;
                r->verdict[t] = VERDICT_NONE;
        }
        for (size_t i = 0; i < take->answer_n; i++)
                for (size_t s = 0; s < take->sweep_n; s++)
                        for (size_t k = 0; take->sweeps[s].sweep == take->answers[i].sweep && k < take->answers[i].n; k++) {
                                int t = take->sweeps[s].touchdown_die;
                                r->verdict[t] = verdict_worse(r->verdict[t], take->answers[i].rows[k].verdict);
                        }
        struct fact *event = work ? work_add(work, FACT_EVENT) : NULL;
        if (event) {
                event->of.event.topic = "values";
                event->of.event.ref = r->run;
                event->of.event.body = work_text(work, "{\"run\":\"%s\",\"what\":\"values\",\"die\":[%d,%d]}", r->run,
                                                 r->plan->dies[take->die].x, r->plan->dies[take->die].y);
        }
        if (work && !store_submit(r->store, work, LAZY))
                work_free(work); /* found again by the work list at the next start */
        job_free(take);
}

enum code value_resume(struct runner *r, struct tp_error *err)
{
        struct view *view = view_open(r->store, r->run, world_boot_ns(r->world) + 20 * NS_PER_S, err);
        struct arena *arena = arena_new(0);
        struct parameter_row *rows = NULL;
        size_t row_n = 0;
        enum code code = view && arena ? view_parameters(view, NULL, NULL, 0, arena, &rows, &row_n, err) : CODE_MEMORY;
        for (size_t t = 0; !code && t < r->plan->target_n; t++) {
                if (r->plan->targets[t].kind != TARGET_DEVICE)
                        continue;
                for (size_t i = 0; i < row_n; i++)
                        if (rows[i].sweep == r->device_sweep[t][0]) {
                                /* What has no rows yet, the touch in hand too, is still to be evaluated; what has rows of before its
                                   closing check, and the check passed, once more. */
                                bool as_seen = strstr(rows[i].budget, AS_SEEN) != NULL;
                                r->valued[t] = as_seen ? VALUED_SEEN : r->valued[t] ? r->valued[t] : VALUED_DONE;
                                if (rows[i].evaluation > EVALUATION)
                                        r->rescued[t] = arena_text(r->arena, rows[i].trust_reason);
                                r->verdict[t] = verdict_worse(r->verdict[t], rows[i].verdict);
                        }
        }
        if (!code)
                value_look(r);
        view_close(view);
        arena_free(arena);
        return code;
}
