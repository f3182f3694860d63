/* decide.c: which step comes next.
 * Problem     Nobody can be asked at 3 a.m., so each step must follow from written evidence alone.
 * Idea        decide(plan, evidence, now) is pure: a table of rules (rules.c), the first that fits wins.
 * Invariants  the ten laws (laws.h); tests/unit/run_histories.c runs random histories against them.
 * Not here    I/O, clocks, retry timers (act.c); how evidence is stored (journal.c).
 * Rejected    one coroutine per die: after a crash its position exists only in lost memory. */
#include "run/decide.h"
#include "base/world.h"
#include "run/evidence_own.h"
#include <string.h>

int sweep_of(const struct recipe *r, const char *name)
{
        for (size_t i = 0; i < r->sweep_n; i++)
                if (strcmp(r->sweeps[i].name, name) == 0)
                        return (int)i;
        return -1;
}

/* A list of targets that must all be good in this round: the first that is not yet and may still be tried; -1 when all are good or
 * hopeless. */
static bool is_hopeless(const struct evidence *e, const struct plan *plan, const int32_t *targets, size_t n)
{
        for (size_t i = 0; i < n; i++) {
                const struct target_seen *t = &evidence_targets(e)[targets[i]];
                if (!t->good && (t->tries_left <= 0 || !evidence_can_touch(e, plan, targets[i])))
                        return true;
        }
        return false;
}

static bool place_can_be_settled(const struct evidence *e, const struct plan *plan)
{
        if (!plan->recipe->proof.required || e->place == PLACE_STATE_PROVEN ||
            e->place == PLACE_STATE_REFUSED) /* refused: a person is asked, not the plan */
                return true;
        for (size_t i = 0; i < plan->prove_n; i++) {
                const struct target_seen *t = &evidence_targets(e)[plan->prove[i]];
                if (!t->good && !evidence_can_touch(e, plan, plan->prove[i]))
                        return false; /* the ladder's pads are spent */
        }
        return plan->prove_n > 0;
}

bool place_is_settled(const struct question *q)
{
        const struct evidence *e = q->e;
        if (e->place == PLACE_STATE_PROVEN)
                return true;
        if (q->plan->recipe->proof.required)
                return false;
        return q->plan->prove_n == 0 || e->place == PLACE_STATE_REFUSED || is_hopeless(e, q->plan, q->plan->prove, q->plan->prove_n);
}

bool calibration_may_begin(const struct evidence *e, const struct plan *plan)
{
        bool is_new_effort = e->calibration == 0 || e->calibration_state == CALIBRATION_EXPIRED;
        bool allowed = is_new_effort ? e->efforts_left > 0 : e->tries_left > 0;
        return allowed && evidence_can_touch_all(e, plan, plan->calibrate, plan->calibrate_n) &&
               evidence_can_touch_all(e, plan, plan->verify, plan->verify_n);
}

bool calibration_is_possible(const struct evidence *e, const struct plan *plan)
{
        bool is_trying =
                e->calibration && e->calibration_state == CALIBRATION_UNKNOWN && !is_hopeless(e, plan, plan->calibrate, plan->calibrate_n);
        bool is_verifying = e->calibration_state == CALIBRATION_SOLVED && !is_hopeless(e, plan, plan->verify, plan->verify_n);
        return is_trying || is_verifying || calibration_may_begin(e, plan);
}

/* Could a device still be measured under a calibration and between two checks? */
static bool measuring_is_possible(const struct evidence *e, const struct plan *plan)
{
        if (!e->may_measure || !place_can_be_settled(e, plan))
                return false;
        if (plan->check_n && !e->interval &&
            (e->interval_n >= e->interval_room || !evidence_can_touch_all(e, plan, plan->check, plan->check_n)))
                return false;
        return e->in_force || calibration_is_possible(e, plan);
}

struct question question_of(const struct plan *plan, const struct evidence *e, int64_t now_ns)
{
        struct question q = {.plan = plan, .e = e, .now_ns = now_ns, .next = -1, .next_purpose = PURPOSE_DEVICE};
        if (e->started && !e->finished && e->hands_free && measuring_is_possible(e, plan))
                q.next = evidence_next_device(e, plan, &q.next_purpose);
        return q;
}

/* After failures: 0.25 s, doubled each time, 8 s at the most; measured from the last failure, so that asking again does not put it off. */
static int64_t hold_off(const struct evidence *e, int64_t now_ns)
{
        int32_t failures = RETRIES_MAX - e->retries_left;
        if (failures < 2)
                return 0;
        int64_t from = e->failed_ns < now_ns ? e->failed_ns : now_ns;
        return from + (NS_PER_MS * 250) * (INT64_C(1) << (failures < 7 ? failures - 2 : 5));
}

static int64_t deadline_of(const struct plan *plan, const struct step *s)
{
        int64_t ns = step_rows[s->kind].deadline_ns;
        if (s->kind == STEP_SWEEP && s->args.sweep >= 0 && (size_t)s->args.sweep < plan->recipe->sweep_n)
                ns += (int64_t)(3e9 * sweep_seconds(&plan->recipe->sweeps[s->args.sweep]));
        if (s->kind == STEP_BIAS_ON || s->kind == STEP_WAIT || s->kind == STEP_MOVE)
                ns += (int64_t)(1e9 * s->args.wait_s);
        return ns;
}

struct step decide_by(const struct rule *table, size_t n, const struct plan *plan, const struct evidence *e, int64_t now_ns)
{
        struct question q = question_of(plan, e, now_ns);
        struct step step;
        memset(&step, 0, sizeof step);
        step.args.target = step.args.sweep = step.args.condition = -1;
        size_t i = 0;
        while (i < n && !table[i].guard(&q))
                i++;
        step.kind = STEP_WAIT;
        step.rule = (uint16_t)(i < n ? i : n ? n - 1 : 0);
        if (i == n) { /* a table without an end: look again, touch nothing */
                step.not_before_ns = now_ns + NS_PER_S;
                step.deadline_ns = step.not_before_ns + NS_PER_S;
                return step;
        }
        table[i].make(&q, &step);
        step_spends(plan, &step);
        if (!table[i].waits)
                step.not_before_ns = hold_off(e, now_ns);
        step.deadline_ns = (step.not_before_ns > now_ns ? step.not_before_ns : now_ns) + deadline_of(plan, &step);
        return step;
}

struct step decide(const struct plan *plan, const struct evidence *e, int64_t now_ns) { return decide_by(rules, rule_n, plan, e, now_ns); }

int rule_index(const char *name)
{
        for (size_t i = 0; i < rule_n; i++)
                if (strcmp(rules[i].name, name) == 0)
                        return (int)i;
        return -1;
}
