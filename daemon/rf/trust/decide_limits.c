/* decide_limits.c: see decide_limits.h.
 * Sources     JCGM 106:2012: 7.2 to 7.4 (conformance probability), 8.2 (simple acceptance), 8.3.2 (guarded acceptance), 9.3 to 9.5
 * (specific and global risks).  By Pc, not by the guard band of one limit: the two are the same only while the other limit is far away
 * (more than about 4 u).
 * Risks       integral over the true value of its density times the chance that its measured value falls among those that pass; by
 * Gauss-Legendre on pieces no longer than half of the smallest width at work, broken at the limits. */
#include "rf/trust/decide_limits.h"
#include "rf/numbers/probability.h"
#include <math.h>

const char *const acceptance_words[ACCEPTANCE_COUNT + 1] = {"guarded", "simple", NULL};

static double risk_of(const struct decision_rule *rule) { return rule->risk > 0 ? rule->risk : 0.05; }

double limits_conformance(const struct limits *l, double y, double u)
{
        if (isnan(y) || !(u >= 0))
                return NAN;
        if (u == 0)
                return (!l->has_low || y >= l->low) && (!l->has_high || y <= l->high);
        /* each tail by itself: Pc near 1 and near 0 keep their digits */
        double under = l->has_low ? normal_below((l->low - y) / u) : 0, over = l->has_high ? normal_below((y - l->high) / u) : 0;
        if (under > 0.5)
                return fmax(0, normal_below((y - l->low) / u) - over);
        if (over > 0.5)
                return fmax(0, normal_below((l->high - y) / u) - under);
        return 1 - under - over;
}

enum decision limits_decide(const struct limits *l, const struct decision_rule *rule, double y, double u, double *ret_pc)
{
        double pc = limits_conformance(l, y, u), risk = risk_of(rule);
        if (ret_pc)
                *ret_pc = pc;
        if (isnan(pc) || (!l->has_low && !l->has_high))
                return DECISION_UNKNOWN;
        if (rule->kind == ACCEPTANCE_SIMPLE)
                return limits_conformance(l, y, 0) > 0 ? DECISION_PASS : DECISION_FAIL;
        return pc >= 1 - risk ? DECISION_PASS : pc <= risk ? DECISION_FAIL : DECISION_MARGINAL;
}

double limits_guard_band(const struct decision_rule *rule, double u)
{
        return rule->kind == ACCEPTANCE_SIMPLE ? 0 : -normal_quantile(risk_of(rule)) * u;
}

/* The y at which Pc is `want`, between `inside` (Pc above) and `outside` (below). */
static double edge_of(const struct limits *l, double u, double want, double inside, double outside)
{
        for (int k = 0; k < 200; k++) {
                double middle = (inside + outside) / 2;
                if (middle == inside || middle == outside)
                        break;
                if (limits_conformance(l, middle, u) >= want)
                        inside = middle;
                else
                        outside = middle;
        }
        return inside;
}

/* The interval of y with Pc >= want. */
static bool values_with(const struct limits *l, double u, double want, double *ret_low, double *ret_high)
{
        bool both = l->has_low && l->has_high;
        double far = 40 * u + 1e-300, best = both ? l->low + (l->high - l->low) / 2 : l->has_low ? l->low + far : l->high - far;
        *ret_low = *ret_high = NAN;
        if (!(limits_conformance(l, best, u) >= want) || (!l->has_low && !l->has_high))
                return false;
        *ret_low = l->has_low ? u == 0 ? l->low : edge_of(l, u, want, best, l->low - far) : -INFINITY;
        *ret_high = l->has_high ? u == 0 ? l->high : edge_of(l, u, want, best, l->high + far) : INFINITY;
        return true;
}

bool limits_acceptance(const struct limits *l, const struct decision_rule *rule, double u, double *ret_low, double *ret_high)
{
        bool simple = rule->kind == ACCEPTANCE_SIMPLE;
        return values_with(l, simple ? 0 : u, simple ? 1 : 1 - risk_of(rule), ret_low, ret_high);
}

double limits_guard(const struct limits *l, const struct decision_rule *rule, double u)
{
        double low, high, alone = limits_guard_band(rule, u);
        if (l->has_low != l->has_high || (l->has_low && l->high - l->low > alone + 9 * u)) /* the other limit takes less than 1e-19 of Pc */
                return alone;
        return limits_acceptance(l, rule, u, &low, &high) ? low - l->low : NAN;
}

double limits_u_max(const struct limits *l, const struct decision_rule *rule)
{
        if (rule->kind == ACCEPTANCE_SIMPLE || !l->has_low || !l->has_high)
                return INFINITY;
        return (l->high - l->low) / (-2 * normal_quantile(risk_of(rule) / 2));
}

enum code limits_decidable(const struct limits *l, const struct decision_rule *rule, double u, const char *what, const char *unit,
                           struct tp_error *err)
{
        double most = limits_u_max(l, rule);
        if (u <= most)
                return CODE_OK;
        return tp_fail(
                err, CODE_UNRESOLVABLE,
                "%s cannot be decided with this uncertainty: a standard uncertainty of %.3g %s leaves nothing between %.6g and %.6g %s "
                "that passes with a risk of %.3g %%; it takes %.3g %s or less, or wider limits",
                what, u, unit, l->low, l->high, unit, 100 * risk_of(rule), most, unit);
}

/* ---- global risks ------------------------------------------------------------------------------------------------------------------- */

struct zone {
        double low, high;
};
static double chance(struct zone z, double truth, double u)
{
        if (isnan(z.low))
                return 0;
        if (u == 0)
                return truth >= z.low && truth <= z.high;
        double under = normal_below((z.low - truth) / u), over = normal_below((truth - z.high) / u);
        return fmax(0, 1 - under - over);
}

/* One piece of the integral over the true value: eight points of Gauss-Legendre (Abramowitz & Stegun, table 25.4). */
static void risks_add(const struct limits *l, struct zone pass, struct zone not_fail, double mean, double s, double u, double centre,
                      double half, struct risks *to)
{
        static const double node[] = {0.1834346424956498, 0.5255324099163290, 0.7966664774136267, 0.9602898564975363},
                            weight[] = {0.3626837833783620, 0.3137066458778873, 0.2223810344533745, 0.1012285362903763};
        for (int j = 0; j < 8; j++) {
                double truth = centre + (j < 4 ? node[j] : -node[j - 4]) * half;
                double share = weight[j % 4] * half * normal_density((truth - mean) / s) / s;
                double p = chance(pass, truth, u), m = chance(not_fail, truth, u);
                bool good = limits_conformance(l, truth, 0) > 0;
                to->passed += share * p;
                to->failed += share * (1 - m);
                to->marginal += share * (m - p);
                to->conforming += good ? share : 0;
                to->consumers += good ? 0 : share * p;
                to->producers += good ? share * (1 - p) : 0;
                to->failed_good += good ? share * (1 - m) : 0;
        }
}

enum code limits_risks(const struct limits *l, const struct decision_rule *rule, double mean, double s, double u, struct risks *ret,
                       struct tp_error *err)
{
        if (!isfinite(mean) || !(s >= 0) || !isfinite(s) || !(u >= 0) || !isfinite(u) || (!l->has_low && !l->has_high))
                return tp_fail(err, CODE_BAD_INPUT,
                               "risks of a process at %.6g +- %.6g with a standard uncertainty of %.6g: all must be numbers, with a limit",
                               mean, s, u);
        struct zone pass, not_fail;
        bool simple = rule->kind == ACCEPTANCE_SIMPLE;
        limits_acceptance(l, rule, u, &pass.low, &pass.high);
        /* all values but those that fail; where Pc never reaches the risk everything fails and the zone is NaN, as for pass */
        if (simple)
                not_fail = pass;
        else
                values_with(l, u, risk_of(rule), &not_fail.low, &not_fail.high);
        *ret = (struct risks){.consumers = 0};
        if (s == 0) {
                double p = chance(pass, mean, u), n = chance(not_fail, mean, u);
                bool good = limits_conformance(l, mean, 0) > 0;
                *ret = (struct risks){good ? 0 : p, good ? 1 - p : 0, good ? 1 - n : 0, p, 1 - n, n - p, good};
                return CODE_OK;
        }
        /* breaks: the limits, and 9 u to both sides of each edge of a zone; near an edge the pieces follow u, elsewhere s */
        const double edge[] = {pass.low, pass.high, not_fail.low, not_fail.high};
        double breaks[16] = {mean - 9 * s, mean + 9 * s, l->has_low ? l->low : NAN, l->has_high ? l->high : NAN};
        for (int k = 0; k < 4; k++)
                for (int side = -1; side <= 1; side++)
                        breaks[4 + 3 * k + side + 1] = edge[k] + side * 9 * u;
        double to = mean + 9 * s;
        for (double a = mean - 9 * s, b; a < to; a = b) {
                b = to;
                for (size_t k = 0; k < 16; k++)
                        if (breaks[k] > a && breaks[k] < b)
                                b = breaks[k];
                double length = b - a, width = s;
                for (int k = 0; k < 4; k++)
                        if (u > 0 && fabs(a + length / 2 - edge[k]) < 9 * u)
                                width = fmin(s, u);
                int pieces = (int)ceil(2 * length / width);
                for (int k = 0; k < pieces; k++) {
                        double half = length / pieces / 2;
                        risks_add(l, pass, not_fail, mean, s, u, a + (2 * k + 1) * half, half, ret);
                }
        }
        return CODE_OK;
}
