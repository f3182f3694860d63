/* decide_limits.h: does the true value lie within its limits?  Decisions with a stated risk (JCGM 106:2012).
   What is known of the true value is a normal about the measured y with standard uncertainty u.  Its conformance probability Pc is the part
   within the limits.  Limits count as inside; u = 0 decides by the value alone.  Units: the caller's, the same for all.  NaN in gives NaN
   (Pc) or DECISION_UNKNOWN out.  Pure, any thread. */
#ifndef TIPPLANE_RF_DECIDE_LIMITS_H
#define TIPPLANE_RF_DECIDE_LIMITS_H
#include "base/error.h"
#include <stdbool.h>

struct limits {
        bool has_low, has_high; /* at least one */
        double low, high;
};
enum acceptance {
        ACCEPTANCE_GUARDED, /* pass when Pc >= 1 - risk, fail when Pc <= risk, else marginal */
        ACCEPTANCE_SIMPLE,  /* the value alone: at the limit a wrong pass is as likely as a right one; only if asked for */
        ACCEPTANCE_COUNT
};
extern const char *const acceptance_words[ACCEPTANCE_COUNT + 1]; /* "guarded", "simple", NULL */
struct decision_rule {
        enum acceptance kind;
        double risk; /* of a wrong verdict, 0 < risk < 0.5; 0: 0.05 */
};
enum decision { DECISION_UNKNOWN, DECISION_PASS, DECISION_FAIL, DECISION_MARGINAL };

double limits_conformance(const struct limits *, double y, double u);
enum decision limits_decide(const struct limits *, const struct decision_rule *, double y, double u, double *ret_pc_or_null);

/* Guard band of one limit that stands alone: w = k u, k the one-sided point of 1 - risk (1.6449 for 0.05). */
double limits_guard_band(const struct decision_rule *, double u);
/* The same of these limits: how far from a limit a value must lie to pass, more than the above where the other limit is near.  0 by the simple
   rule; NaN: no value passes, or there is no limit. */
double limits_guard(const struct limits *, const struct decision_rule *, double u);
/* The values that pass: moved inwards from each limit until Pc is 1 - risk there (so both limits count when they are near each other);
   infinite on a side without limit.  false: none passes, and low, high hold NaN. */
bool limits_acceptance(const struct limits *, const struct decision_rule *, double u, double *ret_low, double *ret_high);

/* The largest u with which anything can pass; INFINITY with one limit or by the simple rule.  T/3.92 for 0.05. */
double limits_u_max(const struct limits *, const struct decision_rule *);
/* CODE_UNRESOLVABLE, and why, when no value at all could pass with this u.  `what` and `unit` are for the sentence. */
enum code limits_decidable(const struct limits *, const struct decision_rule *, double u, const char *what, const char *unit,
                           struct tp_error *err);

/* What the rule does to a whole process whose true values are normal (JCGM 106:2012, 9): shares of all items, 0 … 1. */
struct risks {
        double consumers;   /* passed, and out of limits */
        double producers;   /* within limits, and failed or marginal */
        double failed_good; /* within limits, and failed */
        double passed, failed, marginal;
        double conforming; /* within limits, as made */
};
/* process_s >= 0, u >= 0. */
enum code limits_risks(const struct limits *, const struct decision_rule *, double process_mean, double process_s, double u,
                       struct risks *ret, struct tp_error *err);

#endif
