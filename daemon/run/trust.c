/* trust.c: what may be believed of one touch, and which rows an entry adds.
 * Idea        Trust is a function of the evidence; the fold only remembers the last answer and the entry that changed it, so that rows are
 *             written once.
 * Invariants  proven means: place proven, contact good at start and end, a calibration accepted on verification
 *             standards, an interval with a passed check on both
 *             sides, no intervention inside the touch, no flag of the analyzer.  Unknown is `open`; evidence against it is `suspect`.
 * Not here    values and verdicts: trust never looks at them. */
#include "run/trust.h"
#include "run/evidence_own.h"

struct answer {
        enum trust trust;
        enum trust_why why;
};

static struct answer of_contact(const struct touch_seen *t)
{
        int32_t worst = grade_worst(grade_worst(t->start, t->first), grade_worst(t->end, t->after));
        if (worst == CONTACT_ABSENT)
                return (struct answer){TRUST_SUSPECT, TRUST_WHY_CONTACT_ABSENT};
        if (worst == CONTACT_DOUBTFUL)
                return (struct answer){TRUST_SUSPECT, TRUST_WHY_CONTACT_DOUBTFUL};
        bool is_good_at_start =
                t->start == CONTACT_GOOD || t->first == CONTACT_GOOD; /* pads that block direct current show nothing at the first */
        bool is_good_at_end = t->end == CONTACT_GOOD;
        if (!is_good_at_start || !is_good_at_end)
                return (struct answer){TRUST_OPEN, TRUST_WHY_CONTACT_UNKNOWN};
        return (struct answer){TRUST_PROVEN, TRUST_WHY_ALL_PROOFS};
}

static struct answer of_interval(const struct plan *plan, const struct evidence *e, const struct touch_seen *t)
{
        if (plan->check_n == 0)
                return (struct answer){TRUST_OPEN, TRUST_WHY_NO_CHECKS};
        if (t->interval <= 0 || (uint32_t)t->interval > e->interval_n)
                return (struct answer){TRUST_OPEN, TRUST_WHY_INTERVAL_OPEN};
        switch ((enum interval_verdict)evidence_intervals(e)[t->interval - 1].verdict) {
        case INTERVAL_PASSED:
                return (struct answer){TRUST_PROVEN, TRUST_WHY_ALL_PROOFS};
        case INTERVAL_FAILED:
                return (struct answer){TRUST_SUSPECT, TRUST_WHY_CHECK_FAILED};
        case INTERVAL_WRITTEN_OFF:
                return (struct answer){TRUST_OPEN, TRUST_WHY_WRITTEN_OFF};
        case INTERVAL_UNKNOWN:
        case INTERVAL_OPEN:
                break;
        }
        return (struct answer){TRUST_OPEN, TRUST_WHY_INTERVAL_OPEN};
}

static bool was_swept_whole(const struct plan *plan, const struct touch_seen *t)
{
        size_t n = target_conditions(plan, t->target - 1);
        return t->swept == (n == 32 ? UINT32_MAX : (1u << n) - 1);
}

static struct answer answer_of(const struct plan *plan, const struct touch_seen *t, struct answer interval)
{
        if (t->ended == 0)
                return (struct answer){TRUST_OPEN, TRUST_WHY_IN_HAND};
        struct answer contact = of_contact(t);
        if (contact.trust == TRUST_SUSPECT) /* evidence against it comes first, the nearest cause before the wider one */
                return contact;
        if (t->flags & FLAGS_BAD)
                return (struct answer){TRUST_SUSPECT, TRUST_WHY_FLAGS};
        if (interval.trust == TRUST_SUSPECT)
                return interval;
        if (plan->replayed)
                return (struct answer){TRUST_OPEN, TRUST_WHY_REPLAYED};
        if ((t->flags & TOUCH_DISTURBED) || !was_swept_whole(plan, t))
                return (struct answer){TRUST_OPEN, TRUST_WHY_INTERRUPTED};
        if (!t->place_proven)
                return (struct answer){TRUST_OPEN, TRUST_WHY_PLACE};
        if (!t->calibration)
                return (struct answer){TRUST_OPEN, TRUST_WHY_CALIBRATION};
        if (plan->verify_n == 0) /* nobody has seen it right on anything that it was not made from */
                return (struct answer){TRUST_OPEN, TRUST_WHY_UNVERIFIED};
        return contact.trust == TRUST_PROVEN ? interval : contact;
}

void trust_of(const struct plan *plan, const struct evidence *e, const struct touch_seen *touch, enum trust *ret, enum trust_why *ret_why)
{
        struct answer a = answer_of(plan, touch, of_interval(plan, e, touch));
        *ret = a.trust;
        *ret_why = a.why;
}

enum trust trust_but_interval(const struct plan *plan, const struct touch_seen *touch)
{
        return answer_of(plan, touch, (struct answer){TRUST_PROVEN, TRUST_WHY_ALL_PROOFS}).trust;
}

bool trust_next(const struct evidence *e, uint64_t entry_seq, size_t *cursor, struct trust_row *ret)
{
        for (; *cursor < e->touch_n; (*cursor)++) {
                const struct touch_seen *t = &evidence_touches(e)[*cursor];
                if (t->trust_seq != entry_seq || !entry_seq)
                        continue;
                *ret = (struct trust_row){.touchdown = t->seq, .trust = t->trust, .why = t->trust_why};
                (*cursor)++;
                return true;
        }
        return false;
}
