/* ladder.c: the way to proven safe.
 * Idea        a table of rungs, walked from top to bottom and never back: the next rung is the first one below hazard.rung whose guard
 *             holds.  So it ends after at most 24 rungs, whatever the drivers answer, and what need not be done is skipped.
 * Order       stop motion, look where the probes stand, bias to zero, read it below 0.5 V (tee capacitors take up to half a second),
 *             separate, read back.
 * Unknown     if bias cannot be brought down or read, wait as long as the station's file says; then separate
 *             anyway, or latch in place, as it says. Either way the end is a latch: bias was not proven.
 * Invariants  PROVEN only when separation and bias were both read back after ladder_begin(). */
#include "station/ladder.h"

enum wait { WAIT_NONE, WAIT_50_MS, WAIT_450_MS, WAIT_HALF /* of what is left for an unknown bias */, WAIT_REST };
struct rung {
        bool (*guard)(const struct limits *, const struct hazard *, int64_t now_ns);
        enum op_kind kind;
        enum wait wait;
        const char *why;
};

static bool always(const struct limits *l, const struct hazard *h, int64_t now_ns)
{
        (void)l, (void)h, (void)now_ns;
        return true;
}
static bool is_moving(const struct limits *l, const struct hazard *h, int64_t now_ns)
{
        (void)l, (void)now_ns;
        return h->moving;
}
static bool bias_not_off(const struct limits *l, const struct hazard *h, int64_t now_ns)
{
        (void)l, (void)now_ns;
        return !hazard_bias_off(h);
}
static int64_t bias_wait_left_ns(const struct limits *l, const struct hazard *h, int64_t now_ns)
{
        int64_t left = l->bias_unknown_wait_ns - (now_ns - h->unknown_since_ns);
        return left < 0 ? 0 : left;
}
static bool bias_wait_left(const struct limits *l, const struct hazard *h, int64_t now_ns)
{
        return !hazard_bias_off(h) && bias_wait_left_ns(l, h, now_ns) > 0;
}
static bool must_stay(const struct limits *l, const struct hazard *h, int64_t now_ns)
{
        (void)now_ns;
        return !hazard_bias_off(h) && !l->separate_when_bias_unknown && !hazard_separated(l, h);
}
static bool not_separated(const struct limits *l, const struct hazard *h, int64_t now_ns)
{
        (void)now_ns;
        return !hazard_separated(l, h) || h->moving;
}
static bool must_leave(const struct limits *l, const struct hazard *h, int64_t now_ns)
{
        return not_separated(l, h, now_ns) && (hazard_bias_off(h) || l->separate_when_bias_unknown);
}
static bool is_safe(const struct limits *l, const struct hazard *h, int64_t now_ns)
{
        (void)now_ns;
        return hazard_safe(l, h);
}

static const struct rung rungs[LADDER_RUNGS] = {
        {always, OP_STOP, WAIT_NONE, "motion stops first"},
        {is_moving, OP_STOP, WAIT_NONE, "the stage did not confirm its stop"},
        {always, OP_WHERE, WAIT_NONE, "where the probes stand is read, not remembered"},
        {always, OP_BIAS_ZERO, WAIT_NONE, "bias is off whenever contact changes"},
        {bias_not_off, OP_READ_BIAS, WAIT_NONE, "bias off is read, not believed"},
        {bias_not_off, OP_WAIT, WAIT_50_MS, "tee capacitors discharge"},
        {bias_not_off, OP_READ_BIAS, WAIT_NONE, "bias off is read, not believed"},
        {bias_not_off, OP_WAIT, WAIT_450_MS, "tee capacitors discharge"},
        {bias_not_off, OP_BIAS_ZERO, WAIT_NONE, "bias did not go below 0.5 V"},
        {bias_not_off, OP_READ_BIAS, WAIT_NONE, "bias off is read, not believed"},
        {bias_wait_left, OP_WAIT, WAIT_HALF, "bias is unknown: the station's file says how long to wait"},
        {bias_not_off, OP_BIAS_ZERO, WAIT_NONE, "bias did not go below 0.5 V"},
        {bias_not_off, OP_READ_BIAS, WAIT_NONE, "bias off is read, not believed"},
        {bias_wait_left, OP_WAIT, WAIT_REST, "bias is unknown: the station's file says how long to wait"},
        {bias_not_off, OP_READ_BIAS, WAIT_NONE, "bias off is read, not believed"},
        {must_stay, OP_LATCH, WAIT_NONE, "bias could not be read below 0.5 V, and the station's file says to stay in place"},
        {must_leave, OP_SEPARATE, WAIT_NONE, "the probes leave the wafer"},
        {not_separated, OP_WHERE, WAIT_NONE, "separation is read, not believed"},
        {not_separated, OP_STOP, WAIT_NONE, "the stage did not separate: stop, then once more"},
        {must_leave, OP_SEPARATE, WAIT_NONE, "the probes leave the wafer"},
        {not_separated, OP_WHERE, WAIT_NONE, "separation is read, not believed"},
        {bias_not_off, OP_READ_BIAS, WAIT_NONE, "a last look at the bias"},
        {is_safe, OP_PROVEN, WAIT_NONE, "separation and bias off were read back"},
        {always, OP_LATCH, WAIT_NONE, "separation or bias off could not be read back"},
};

void ladder_begin(struct hazard *h, int64_t now_ns)
{
        h->rung = 0;
        h->unknown_since_ns = now_ns;
        h->separated = h->separated == KNOW_KNOWN ? KNOW_BELIEVED : h->separated;
        h->in_contact = h->in_contact == KNOW_KNOWN ? KNOW_BELIEVED : h->in_contact;
        h->bias_off = h->bias_off == KNOW_KNOWN ? KNOW_BELIEVED : h->bias_off;
}

static int64_t wait_ns(enum wait wait, const struct limits *l, const struct hazard *h, int64_t now_ns)
{
        switch (wait) {
        case WAIT_NONE:
                return 0;
        case WAIT_50_MS:
                return 50 * INT64_C(1000000);
        case WAIT_450_MS:
                return 450 * INT64_C(1000000);
        case WAIT_HALF:
                return (bias_wait_left_ns(l, h, now_ns) + 1) / 2;
        case WAIT_REST:
                return bias_wait_left_ns(l, h, now_ns);
        }
        return 0;
}

struct op ladder_next(const struct limits *limits, const struct hazard *h, int64_t now_ns)
{
        int32_t first = h->rung < 0 ? 0 : h->rung;
        for (int32_t i = first; i < LADDER_RUNGS; i++) {
                const struct rung *r = &rungs[i];
                if (r->guard(limits, h, now_ns))
                        return (struct op){.kind = r->kind, .wait_ns = wait_ns(r->wait, limits, h, now_ns), .why = r->why, .rung = i + 1};
        }
        return (struct op){.kind = OP_LATCH, .why = "the ladder has no rung left", .rung = LADDER_RUNGS};
}
