/* rescue.c: see rescue.h.  The journal is folded once more; beside the evidence it is remembered when each sweep was made, how many
   interventions there had been at each check and calibration, and when the standards of each calibration were swept. */
#include "run/rescue.h"
#include "run/trust.h"
#include <stdio.h>

enum { CALIBRATIONS_MAX = 256 };
struct made { /* one calibration */
        bool accepted;
        int32_t interventions;
        int64_t sum_ns, first_ns, sweep_n; /* of its standards' sweeps, from the first of them */
};
struct reader {
        const struct plan *plan;
        struct evidence *e;
        struct rescue_list *list;
        struct made made[CALIBRATIONS_MAX];
        int64_t *opened_ns; /* by interval */
        int32_t *opened_after, *raised_n;
        struct rescue_sweep *raised;
        int32_t *raised_in; /* 1 + interval, in the order of raised */
        size_t raised_all;
};

static void swept(struct reader *r, const struct entry *intent, const struct entry *e)
{
        const struct step_args *a = &intent->body.args;
        struct rescue_sweep s = {(int64_t)intent->seq, e->body.outcome.station_ns, a->sweep};
        if (a->use == USE_WITNESS && r->e->interval) {
                r->raised[r->raised_all] = s;
                r->raised_in[r->raised_all++] = r->e->interval;
                r->raised_n[r->e->interval - 1]++;
        } else if (a->use == USE_DEVICE && a->condition >= 0 && a->condition < RESCUE_CONDITIONS) {
                r->list->devices[a->target].at[a->condition] = s;
        } else if (a->purpose == PURPOSE_CALIBRATE && a->calibration > 0 && a->calibration < CALIBRATIONS_MAX) {
                struct made *m = &r->made[a->calibration];
                m->first_ns = m->sweep_n ? m->first_ns : s.station_ns;
                m->sum_ns += s.station_ns - m->first_ns;
                m->sweep_n++;
        }
}

static void read_entry(struct reader *r, const struct entry *intent, const struct entry *e)
{
        uint32_t intervals = r->e->interval_n;
        if (e->phase == PHASE_OUTCOME && e->kind == STEP_SWEEP && !e->code && intent->body.args.target >= 0)
                swept(r, intent, e);
        if (e->phase == PHASE_OUTCOME && e->kind == STEP_VERIFY && r->e->in_force > 0 && r->e->in_force < CALIBRATIONS_MAX) {
                r->made[r->e->in_force].accepted = true;
                r->made[r->e->in_force].interventions = r->e->interventions;
        }
        if (e->phase == PHASE_OUTCOME && e->kind == STEP_CHECK && intervals &&
            evidence_intervals(r->e)[intervals - 1].opened_seq == e->seq) {
                r->opened_ns[intervals - 1] = e->body.outcome.station_ns;
                r->opened_after[intervals - 1] = r->e->interventions;
        }
}

static void look_at(const struct reader *r, uint32_t i, struct rescue_interval *to)
{
        const struct interval_seen *seen = &evidence_intervals(r->e)[i];
        *to = (struct rescue_interval){.interval = (int32_t)i + 1, .before = seen->calibration, .from_ns = r->opened_ns[i]};
        for (int32_t k = seen->calibration + 1; k < CALIBRATIONS_MAX && !to->after; k++)
                if (r->made[k].accepted && r->made[k].sweep_n)
                        to->after = k;
        const struct made *after = &r->made[to->after];
        if (to->after)
                to->to_ns = after->first_ns + after->sum_ns / after->sweep_n;
        if (seen->ended_by == END_INTERVENTION)
                snprintf(to->why_not, sizeof to->why_not, "an intervention ended it: what moved may have moved in one go, with it");
        else if (!to->after)
                snprintf(to->why_not, sizeof to->why_not, "no calibration was accepted after it");
        else if (after->interventions != r->opened_after[i])
                snprintf(to->why_not, sizeof to->why_not, "an intervention lies between its opening check and calibration %d", to->after);
        else if (!(to->to_ns > to->from_ns))
                snprintf(to->why_not, sizeof to->why_not, "the station's clock does not tell its opening check from calibration %d",
                         to->after);
        else if (!r->raised_n[i])
                snprintf(to->why_not, sizeof to->why_not, "no raised open was swept in it");
}

static bool has_drifted(const struct interval_seen *i)
{
        return i->verdict == INTERVAL_FAILED && (i->cause == CAUSE_DELAY || i->cause == CAUSE_LOSS);
}

static enum code list_intervals(struct reader *r, struct arena *arena, struct tp_error *err)
{
        struct rescue_list *list = r->list;
        list->intervals = arena_take(arena, (r->e->interval_n + 1) * sizeof *list->intervals);
        if (!list->intervals)
                return tp_fail_memory(err);
        for (uint32_t i = 0; i < r->e->interval_n; i++) {
                if (!has_drifted(&evidence_intervals(r->e)[i]))
                        continue;
                struct rescue_interval *to = &list->intervals[list->interval_n++];
                look_at(r, i, to);
                to->raised = arena_take(arena, ((size_t)r->raised_n[i] + 1) * sizeof *to->raised);
                if (!to->raised)
                        return tp_fail_memory(err);
                for (size_t k = 0; k < r->raised_all; k++)
                        if (r->raised_in[k] == to->interval)
                                to->raised[to->raised_n++] = r->raised[k];
        }
        return CODE_OK;
}

static void list_devices(struct reader *r)
{
        for (size_t v = 0; v < r->plan->visit_n; v++) {
                int32_t at = r->plan->visits[v];
                struct rescue_device *to = &r->list->devices[at];
                const struct touch_seen *t = evidence_touch(r->e, at);
                if (!t)
                        continue;
                to->touchdown = (int64_t)t->seq;
                to->attempt = t->attempt;
                to->calibration = t->calibration;
                to->is_measured = evidence_targets(r->e)[at].outcome == TARGET_MEASURED && to->at[0].sweep > to->touchdown;
                to->has_failed = t->interval > 0 && evidence_intervals(r->e)[t->interval - 1].verdict == INTERVAL_FAILED;
                for (size_t i = 0; i < r->list->interval_n; i++)
                        if (r->list->intervals[i].interval == t->interval)
                                to->interval = (int32_t)i + 1;
                to->is_suspect = to->is_measured && to->interval && t->trust_why == TRUST_WHY_CHECK_FAILED &&
                                 trust_but_interval(r->plan, t) == TRUST_PROVEN;
                r->list->asked_n += to->is_suspect;
                r->list->suspect_n += to->is_suspect && !r->list->intervals[to->interval - 1].why_not[0];
        }
}

enum code rescue_find(const struct plan *plan, const struct entry *entries, size_t n, struct arena *arena, struct rescue_list *ret,
                      struct tp_error *err)
{
        struct reader *r = arena_take(arena, sizeof *r);
        struct evidence *e = arena_take(arena, evidence_bytes(plan));
        *ret = (struct rescue_list){.devices = arena_take(arena, (plan->target_n + 1) * sizeof *ret->devices)};
        if (!r || !e || !ret->devices)
                return tp_fail_memory(err);
        evidence_init(e, plan);
        *r = (struct reader){.plan = plan, .e = e, .list = ret};
        r->opened_ns = arena_take(arena, (e->interval_room + 1) * sizeof *r->opened_ns);
        r->opened_after = arena_take(arena, (e->interval_room + 1) * sizeof *r->opened_after);
        r->raised_n = arena_take(arena, (e->interval_room + 1) * sizeof *r->raised_n);
        r->raised = arena_take(arena, (n + 1) * sizeof *r->raised);
        r->raised_in = arena_take(arena, (n + 1) * sizeof *r->raised_in);
        if (!r->opened_ns || !r->opened_after || !r->raised_n || !r->raised || !r->raised_in)
                return tp_fail_memory(err);
        const struct entry *intent = NULL;
        for (size_t i = 0; i < n; i++) {
                enum code code = evidence_apply(e, plan, &entries[i], err);
                if (code)
                        return code;
                intent = entries[i].phase == PHASE_INTEND ? &entries[i] : intent;
                if (intent)
                        read_entry(r, intent, &entries[i]);
        }
        enum code code = list_intervals(r, arena, err);
        if (!code)
                list_devices(r);
        return code;
}
