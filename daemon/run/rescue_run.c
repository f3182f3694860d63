/* rescue_run.c: see rescue_run.h.
 * Terms       each sweep is corrected with the terms of its own moment, a dummy with those of the moment when it was swept: in a drifted
 *             interval interpolated, elsewhere the calibration that was in force.
 * Memory      interpolated terms are some hundred kilobytes each, so they live as long as one die; the opens of other dies, which show how
 *             the dummies scatter, are kept. */
#include "run/rescue_run.h"
#include "run/job.h"
#include <stdio.h>
#include <string.h>

enum { OPENS_MAX = 8, CACHE_MAX = 2 * RF_DUMMY_COUNT };
struct part { /* one stored sweep and the terms that held then */
        int32_t target;
        struct raw_sweep raw;
        const struct calibration *calibration;
};
struct bed {
        struct view *view;
        const struct recipe *recipe;
        const struct plan *plan;
        struct arena *arena, *die; /* die: until the next one */
        struct rescue_list list;
        double **hz; /* by sweep plan */
        size_t *hz_n;
        struct calibration **calibrations; /* by number */
        int32_t calibration_n;
        struct rescue **ways; /* by interval; NULL: cannot be rescued */
        struct part opens[OPENS_MAX + 1], cache[CACHE_MAX];
        size_t open_n, cache_n;
        const char *opens_of; /* name of the dummy in opens */
};

static double seconds(int64_t ns) { return (double)ns * 1e-9; }

static enum code axis_load(struct bed *b, int32_t sweep, struct tp_error *err)
{
        if (sweep < 0 || (size_t)sweep >= b->recipe->sweep_n)
                return tp_fail(err, CODE_DAMAGED, "a sweep of this run names plan %d of %zu", sweep, b->recipe->sweep_n);
        return b->hz[sweep] ? CODE_OK : view_axis(b->view, sweep + 1, b->arena, &b->hz[sweep], &b->hz_n[sweep], err);
}

static enum code raw_load(struct bed *b, const struct rescue_sweep *s, struct arena *arena, struct raw_sweep *ret, struct tp_error *err)
{
        enum code code = axis_load(b, s->plan_sweep, err);
        return code ? code : sweep_load(b->view, s->sweep, b->hz[s->plan_sweep], b->hz_n[s->plan_sweep], arena, ret, err);
}

static enum code calibrations_load(struct bed *b, struct tp_error *err)
{
        struct calibration_row *rows = NULL;
        size_t n = 0;
        enum code code = view_calibrations(b->view, b->arena, &rows, &n, err);
        b->calibration_n = n ? (int32_t)rows[n - 1].number + 1 : 0;
        b->calibrations = arena_take(b->arena, ((size_t)b->calibration_n + 1) * sizeof *b->calibrations);
        if (!code && !b->calibrations)
                code = tp_fail_memory(err);
        for (size_t i = 0; !code && i < n; i++)
                if (strcmp(rows[i].state, "accepted") == 0 && rows[i].number > 0)
                        code = calibration_read(rows[i].terms, rows[i].term_bytes, b->arena, &b->calibrations[rows[i].number], err);
        return code;
}
static const struct calibration *calibration_of(const struct bed *b, int32_t number)
{
        return number > 0 && number < b->calibration_n ? b->calibrations[number] : NULL;
}

/* The interval's own way from one calibration to the other.  What forbids it is written down; it is no error. */
static enum code way_open(struct bed *b, size_t i, struct tp_error *err)
{
        struct rescue_interval *at = &b->list.intervals[i];
        const struct calibration *before = calibration_of(b, at->before), *after = calibration_of(b, at->after);
        struct rescue_witness *witnesses = arena_take(b->arena, (at->raised_n + 1) * sizeof *witnesses);
        struct raw_sweep *raws = arena_take(b->arena, (at->raised_n + 1) * sizeof *raws);
        struct tp_error why = {0};
        if (!witnesses || !raws)
                return tp_fail_memory(err);
        if (!at->why_not[0] && (!before || !after))
                snprintf(at->why_not, sizeof at->why_not, "calibration %d is not in the run file", before ? at->after : at->before);
        if (at->why_not[0])
                return CODE_OK;
        for (size_t k = 0; k < at->raised_n; k++) {
                enum code code = raw_load(b, &at->raised[k], b->arena, &raws[k], err);
                if (code)
                        return code;
                witnesses[k] = (struct rescue_witness){seconds(at->raised[k].station_ns), &raws[k]};
        }
        enum code code = rescue_open(b->recipe, before, after, seconds(at->from_ns), seconds(at->to_ns), witnesses, at->raised_n, b->arena,
                                     &b->ways[i], &why);
        if (code == CODE_MEMORY)
                return tp_fail_memory(err);
        if (code)
                snprintf(at->why_not, sizeof at->why_not, "%.159s", why.text);
        return CODE_OK;
}

/* Terms that held when a device's sweep was made; NULL in *ret: nobody can say. */
static enum code held(struct bed *b, const struct rescue_device *d, const struct rescue_sweep *s, struct arena *arena,
                      const struct calibration **ret, struct tp_error *err)
{
        struct calibration *c = NULL;
        struct tp_error why = {0};
        *ret = NULL;
        if (!d->has_failed) {
                *ret = calibration_of(b, d->calibration);
                return CODE_OK;
        }
        if (!d->interval || !b->ways[d->interval - 1])
                return CODE_OK;
        enum code code = rescue_at(b->ways[d->interval - 1], seconds(s->station_ns), arena, &c, &why);
        if (code == CODE_MEMORY)
                return tp_fail_memory(err);
        struct rescue_interval *at = &b->list.intervals[d->interval - 1];
        if (code && !at->why_not[0])
                snprintf(at->why_not, sizeof at->why_not, "%.159s", why.text);
        *ret = code ? NULL : c;
        return CODE_OK;
}

static int32_t item_of(const struct recipe *r, const char *device)
{
        for (size_t i = 0; device[0] && i < r->measure_n; i++)
                if (strcmp(r->measures[i].device, device) == 0)
                        return (int32_t)i;
        return -1;
}

static bool can_be_used(const struct bed *b, int32_t target, int32_t item)
{
        const struct rescue_device *d = &b->list.devices[target];
        return b->plan->targets[target].item == item && d->is_measured && (!d->has_failed || (d->interval && b->ways[d->interval - 1]));
}

/* The dummy of this die, else of the nearest die that has one. */
static int32_t dummy_target(const struct bed *b, int32_t die, int32_t item)
{
        int32_t found = -1;
        double best = 0;
        for (size_t v = 0; item >= 0 && v < b->plan->visit_n; v++) {
                int32_t at = b->plan->visits[v];
                if (!can_be_used(b, at, item))
                        continue;
                double dx = b->plan->dies[b->plan->targets[at].die].x_um - b->plan->dies[die].x_um,
                       dy = b->plan->dies[b->plan->targets[at].die].y_um - b->plan->dies[die].y_um, d = dx * dx + dy * dy;
                if (found < 0 || d < best) {
                        found = at;
                        best = d;
                }
        }
        return found;
}

static enum code part_load(struct bed *b, int32_t target, struct arena *arena, struct part *ret, struct tp_error *err)
{
        const struct rescue_device *d = &b->list.devices[target];
        *ret = (struct part){.target = target};
        enum code code = held(b, d, &d->at[0], arena, &ret->calibration, err);
        return code || !ret->calibration ? code : raw_load(b, &d->at[0], arena, &ret->raw, err);
}

static enum code dummy_load(struct bed *b, int32_t die, const char *name, const struct part **ret, struct tp_error *err)
{
        int32_t target = dummy_target(b, die, item_of(b->recipe, name));
        *ret = NULL;
        for (size_t i = 0; i < b->cache_n; i++)
                if (b->cache[i].target == target)
                        *ret = &b->cache[i];
        if (target < 0 || *ret || b->cache_n == CACHE_MAX)
                return CODE_OK;
        struct part *to = &b->cache[b->cache_n];
        enum code code = part_load(b, target, b->die, to, err);
        if (!code && to->calibration) {
                b->cache_n++;
                *ret = to;
        }
        return code;
}

/* Opens of some dies, once for the run: a device leaves out the one of its own die. */
static enum code opens_load(struct bed *b, const char *name, struct tp_error *err)
{
        int32_t item = item_of(b->recipe, name);
        enum code code = CODE_OK;
        if (b->opens_of && strcmp(b->opens_of, name) == 0)
                return CODE_OK;
        b->opens_of = name;
        b->open_n = 0;
        for (size_t v = b->plan->visit_n; !code && item >= 0 && v > 0 && b->open_n <= OPENS_MAX; v--) {
                int32_t at = b->plan->visits[v - 1];
                if (!can_be_used(b, at, item))
                        continue;
                code = part_load(b, at, b->arena, &b->opens[b->open_n], err);
                b->open_n += !code && b->opens[b->open_n].calibration;
        }
        return code;
}

static enum code question_fill(struct bed *b, int32_t target, struct chain_question *q, struct tp_error *err)
{
        const struct target *t = &b->plan->targets[target];
        const struct measure *m = &b->recipe->measures[t->item];
        enum code code = opens_load(b, m->open, err);
        *q = (struct chain_question){.recipe = b->recipe, .measure = m, .replayed = b->plan->replayed};
        for (int k = 1; k < RF_DUMMY_COUNT && !code; k++) {
                const struct part *part = NULL;
                code = dummy_load(b, t->die, measure_dummy(m, k), &part, err);
                q->dummies[k] = part ? &part->raw : NULL;
                q->dummy_elsewhere[k] = part && b->plan->targets[part->target].die != t->die;
                q->dummy_calibrations[k] = part ? part->calibration : NULL;
        }
        for (size_t i = 0; !code && i < b->open_n && q->open_n < OPENS_MAX; i++)
                if (b->plan->targets[b->opens[i].target].die != t->die) {
                        q->opens[q->open_n] = &b->opens[i].raw;
                        q->open_calibrations[q->open_n++] = b->opens[i].calibration;
                }
        return code;
}

static const char *reason_of(const struct bed *b, const struct rescue_interval *at, const char *way)
{
        char text[300];
        int n = snprintf(text, sizeof text, "its interval drifted; corrected with terms between calibrations %d and %d: %s", at->before,
                         at->after, way);
        return n > 0 ? arena_text(b->arena, text) : NULL;
}

static enum code device_rescue(struct bed *b, int32_t target, struct rescued *ret, struct tp_error *err)
{
        const struct rescue_device *d = &b->list.devices[target];
        const struct measure *m = &b->recipe->measures[b->plan->targets[target].item];
        struct chain_question q;
        bool any = false;
        struct raw_sweep states[RESCUE_CONDITIONS];
        const struct raw_sweep *state_at[RESCUE_CONDITIONS] = {NULL};
        enum code code = question_fill(b, target, &q, err);
        for (size_t c = 0; c < m->condition_n && c < RESCUE_CONDITIONS && m->has_extrinsic && !code; c++)
                if (d->at[c].sweep > d->touchdown) {
                        code = raw_load(b, &d->at[c], b->die, &states[c], err);
                        state_at[c] = &states[c];
                }
        q.states = state_at;
        q.state_n = RESCUE_CONDITIONS;
        for (size_t c = 0; c < m->condition_n && c < RESCUE_CONDITIONS && !code; c++) {
                struct raw_sweep raw;
                struct parameter_answer *rows = NULL;
                struct tp_error why = {0};
                uint32_t flags = 0;
                size_t n = 0;
                if (d->at[c].sweep <= d->touchdown)
                        continue;
                if ((code = held(b, d, &d->at[c], b->die, &q.calibration, err)) || !q.calibration)
                        break;
                if ((code = raw_load(b, &d->at[c], b->die, &raw, err)))
                        break;
                q.raw = &raw;
                q.condition = (int32_t)c;
                enum code chain = chain_run(&q, b->die, &rows, &n, &flags, &why);
                if (chain == CODE_MEMORY)
                        return tp_fail_memory(err);
                if (chain)
                        continue; /* what the run's own evaluation said of it still stands */
                struct parameter_answer *keep = arena_take(b->arena, (n + 1) * sizeof *keep);
                if (!keep)
                        return tp_fail_memory(err);
                memcpy(keep, rows, n * sizeof *keep);
                ret->sweeps[ret->sweep_n++] = (struct rescued_sweep){
                        .target = target,
                        .condition = (int32_t)c,
                        .attempt = d->attempt,
                        .touchdown = d->touchdown,
                        .sweep = d->at[c].sweep,
                        .rows = keep,
                        .n = n,
                        .reason = reason_of(b, &b->list.intervals[d->interval - 1], rescue_sentence(b->ways[d->interval - 1]))};
                any = true;
        }
        ret->device_n += any;
        return code;
}

static enum code spec_write(struct bed *b, struct rescued *ret, struct tp_error *err)
{
        struct text t;
        text_init(&t, 0);
        struct json_out o = json_to(&t);
        json_open(&o, NULL, '{');
        json_text(&o, "by", "rescue");
        json_int(&o, "devices", (int64_t)ret->device_n);
        json_open(&o, "intervals", '[');
        for (size_t i = 0; i < b->list.interval_n; i++) {
                const struct rescue_interval *at = &b->list.intervals[i];
                json_open(&o, NULL, '{');
                json_int(&o, "interval", at->interval);
                json_int(&o, "before", at->before);
                json_int(&o, "after", at->after);
                if (b->ways[i])
                        json_text(&o, "sentence", rescue_sentence(b->ways[i]));
                if (at->why_not[0] || !b->ways[i])
                        json_text(&o, "why_not", at->why_not[0] ? at->why_not : "no suspect of it is left to rescue");
                json_close(&o, '}');
        }
        json_close(&o, ']');
        json_close(&o, '}');
        ret->spec_json = text_ok(&t) ? arena_text(b->arena, text_of(&t)) : NULL;
        text_done(&t);
        return ret->spec_json ? CODE_OK : tp_fail_memory(err);
}

static enum code bed_fill(struct bed *b, struct tp_error *err)
{
        struct entry *entries = NULL;
        size_t n = 0;
        b->hz = arena_take(b->arena, (b->recipe->sweep_n + 1) * sizeof *b->hz);
        b->hz_n = arena_take(b->arena, (b->recipe->sweep_n + 1) * sizeof *b->hz_n);
        enum code code = b->hz && b->hz_n ? view_entries(b->view, 0, 0, b->die, &entries, &n, err) : tp_fail_memory(err);
        if (!code)
                code = rescue_find(b->plan, entries, n, b->arena, &b->list, err);
        arena_reset(b->die);
        b->ways = code ? NULL : arena_take(b->arena, (b->list.interval_n + 1) * sizeof *b->ways);
        if (!code && !b->ways)
                code = tp_fail_memory(err);
        return code || !b->list.suspect_n ? code : calibrations_load(b, err);
}

static enum code all_rescue(struct bed *b, struct rescued *ret, struct tp_error *err)
{
        enum code code = bed_fill(b, err);
        ret->asked_n = b->list.asked_n;
        for (size_t i = 0; !code && b->list.suspect_n && i < b->list.interval_n; i++)
                code = way_open(b, i, err);
        ret->sweeps = code ? NULL : arena_take(b->arena, (b->list.suspect_n + 1) * RESCUE_CONDITIONS * sizeof *ret->sweeps);
        if (!code && !ret->sweeps)
                code = tp_fail_memory(err);
        int32_t die = -1;
        for (size_t v = 0; !code && b->list.suspect_n && v < b->plan->visit_n; v++) {
                int32_t at = b->plan->visits[v];
                const struct rescue_device *d = &b->list.devices[at];
                if (b->plan->targets[at].die != die) {
                        die = b->plan->targets[at].die;
                        b->cache_n = 0;
                        arena_reset(b->die);
                }
                if (d->is_suspect && b->ways[d->interval - 1])
                        code = device_rescue(b, at, ret, err);
        }
        for (size_t i = 0; !code && i < ret->sweep_n; i++)
                ret->value_n += ret->sweeps[i].rows ? ret->sweeps[i].n : 0;
        return code ? code : spec_write(b, ret, err);
}

enum code rescue_run(struct view *view, const struct recipe *recipe, const struct plan *plan, struct arena *arena, struct rescued *ret,
                     struct tp_error *err)
{
        struct bed *b = arena_take(arena, sizeof *b);
        struct arena *die = arena_new(0);
        *ret = (struct rescued){.sweep_n = 0};
        enum code code = b && die ? CODE_OK : tp_fail_memory(err);
        if (!code) {
                *b = (struct bed){.view = view, .recipe = recipe, .plan = plan, .arena = arena, .die = die};
                code = all_rescue(b, ret, err);
        }
        arena_free(die);
        return code;
}

void rescue_facts(struct work *work, const struct rescued *from, int64_t evaluation, const char *id, const char *build)
{
        struct fact *f = evaluation == EVALUATION_OFFERED ? NULL : work_add(work, FACT_EVALUATION);
        if (f) {
                f->of.evaluation.n = evaluation;
                f->of.evaluation.id = work_text(work, "%s", id);
                f->of.evaluation.spec_json = work_text(work, "%s", from->spec_json);
                f->of.evaluation.build = build;
        }
        for (size_t i = 0; i < from->sweep_n; i++) {
                const struct rescued_sweep *s = &from->sweeps[i];
                if ((f = s->rows ? work_add(work, FACT_EVALUATION_TRUST) : NULL) != NULL) {
                        f->of.evaluation_trust.evaluation = evaluation;
                        f->of.evaluation_trust.touchdown = s->touchdown;
                        f->of.evaluation_trust.trust = trust_words[TRUST_RESCUED];
                        f->of.evaluation_trust.reason = work_text(work, "%s", s->reason);
                }
                parameter_facts(work, evaluation, s->sweep, s->rows, s->n);
        }
}
