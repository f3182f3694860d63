/* extract_limits.c: numbers of files against their limits: verdict by verdict, and what the rule does to all that is made (extract.h).
 * Rule        the daemon's own (rf/trust/decide_limits.h): pass, fail, or marginal by the probability that the true value lies within.  A
 *             number of which nobody states how well it is known has no verdict by it.
 * Risks       from ten files of one number on, as `tipplane yield` says them of a wafer: true values normal, as the files scatter less what each
 *             one's own causes add.  A cause that another file has too moves all alike: it is in u, and not in the scatter. */
#include "cli/extract.h"
#include "cli/number.h"
#include "rf/numbers/capability.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *const verdicts[] = {"none", "pass", "fail", "marginal"};

/* One number of one file, as it is needed when all are there. */
struct judged {
        double value, u;
        const struct net2_causes *causes; /* NULL: not known one by one */
        size_t i;
        double complex grad[4];
};
struct extract_judge {
        struct extract_limits *limits;
        size_t file_n;       /* room */
        struct judged *of;   /* [parameter * file_n + file] */
        size_t *n;           /* [parameter] */
        bool has_not_passed; /* some number did not pass */
};

enum code extract_judge_new(struct cli *c, const char *path, struct extract_judge **ret, struct tp_error *err)
{
        const char *bytes;
        size_t n;
        struct extract_judge *j = arena_take(c->arena, sizeof *j);
        enum code code = j ? offline_bytes(c, path, &bytes, &n, err) : tp_fail_memory(err);
        if (!code && (code = extract_limits_read(bytes, n, c->arena, &j->limits, err)))
                tp_where(err, "%s", path);
        if (code)
                return code;
        j->file_n = c->arg_n;
        j->of = arena_take(c->arena, j->limits->parameter_n * c->arg_n * sizeof *j->of);
        j->n = arena_take(c->arena, j->limits->parameter_n * sizeof *j->n);
        *ret = j;
        return j->of && j->n ? CODE_OK : tp_fail_memory(err);
}

const struct extract_limits *extract_judge_limits(const struct extract_judge *j) { return j->limits; }
bool extract_judge_passed(const struct extract_judge *j) { return !j->has_not_passed; }

static void put_range(struct text *to, const struct limits *l, const char *unit)
{
        text_put(to, l->has_low ? "" : "up to ");
        if (l->has_low)
                put_quantity(to, l->low, NAN, unit);
        if (l->has_high) {
                text_put(to, l->has_low ? " to " : "");
                put_quantity(to, l->high, NAN, unit);
        } else {
                text_put(to, " and more");
        }
}

void extract_judge_number(struct extract_judge *j, size_t k, const struct rf_extracted *x, size_t i, const struct net2_causes *causes,
                          bool unstated, struct extract_verdict *ret)
{
        const struct extract_limit *p = &j->limits->parameters[k];
        struct limits l = extract_limit_of(p);
        struct decision_rule rule = extract_rule_of(p);
        struct text words;
        double u = unstated ? NAN : x->u[i], pc = NAN;
        bool simple = rule.kind == ACCEPTANCE_SIMPLE;
        enum decision d = DECISION_UNKNOWN;
        *ret = (struct extract_verdict){.pc = NAN, .low = NAN, .high = NAN};
        if (!isfinite(x->value[i])) {
                snprintf(ret->reason, sizeof ret->reason, "no value");
        } else if (isnan(u) && !simple) {
                snprintf(ret->reason, sizeof ret->reason, "nothing states how well it is known; give --u U or the document");
        } else {
                d = limits_decide(&l, &rule, x->value[i], isnan(u) ? 0 : u, &pc);
                limits_acceptance(&l, &rule, isnan(u) ? 0 : u, &ret->low, &ret->high);
        }
        text_init(&words, 0);
        if (isfinite(pc) && simple) {
                text_put(&words, "by the value alone");
        } else if (isfinite(pc) && d != DECISION_PASS) {
                text_put(&words, "within its limits with probability ");
                put_probability(&words, pc);
                if (u > limits_u_max(&l, &rule))
                        text_put(&words, "; cannot be decided with this uncertainty");
        }
        if (words.n)
                snprintf(ret->reason, sizeof ret->reason, "%s", text_of(&words));
        text_clear(&words);
        put_range(&words, &l, x->row->unit);
        snprintf(ret->range, sizeof ret->range, "%s", text_of(&words));
        text_done(&words);
        ret->verdict = verdicts[d];
        ret->pc = isnan(u) ? NAN : pc;
        j->has_not_passed = j->has_not_passed || d != DECISION_PASS;
        if (isfinite(x->value[i]) && isfinite(u) && j->n[k] < j->file_n) {
                struct judged *to = &j->of[k * j->file_n + j->n[k]++];
                *to = (struct judged){.value = x->value[i], .u = u, .causes = x->grad ? causes : NULL, .i = i};
                if (to->causes)
                        memcpy(to->grad, x->grad[i], sizeof to->grad);
        }
}

void extract_verdict_json(struct json_out *o, const struct extract_limit *p, const struct extract_verdict *v)
{
        json_open(o, "judged", '{');
        json_text(o, "name", p->name);
        json_real(o, "low", p->has_low ? p->low : NAN);
        json_real(o, "high", p->has_high ? p->high : NAN);
        json_text(o, "acceptance", acceptance_words[p->acceptance]);
        json_real(o, "risk", p->risk);
        json_text(o, "verdict", v->verdict);
        json_real(o, "probability_within", v->pc);
        json_real(o, "passes_from", v->low);
        json_real(o, "passes_to", v->high);
        json_text(o, "reason", v->reason);
        json_close(o, '}');
}

/* Of one file's u^2, what no other file shares. */
static double own_squares(const struct judged *of, const struct judged *other)
{
        double each[CAUSES_MAX], sum = 0;
        if (!of->causes || !other->causes)
                return 0;
        net2_causes_of(of->causes, of->i, of->grad, each);
        for (size_t m = 0; m < of->causes->n; m++)
                sum += net2_cause_find(other->causes, of->causes->of[m].id) ? 0 : each[m] * each[m];
        return sum;
}

struct said {
        struct risks risks;
        double u;
        size_t n;
};

/* false: fewer than ten values, or nothing to say of them. */
static bool risks_of(const struct extract_judge *j, size_t k, struct arena *arena, struct said *ret)
{
        const struct extract_limit *p = &j->limits->parameters[k];
        const struct judged *of = &j->of[k * j->file_n];
        struct limits l = extract_limit_of(p);
        struct decision_rule rule = extract_rule_of(p);
        size_t n = j->n[k];
        double *x = arena_take(arena, (n + 1) * sizeof *x), all = 0, own = 0;
        if (n < RF_CAPABILITY_LEAST || !x)
                return false;
        for (size_t m = 0; m < n; m++) {
                x[m] = of[m].value;
                all += of[m].u * of[m].u;
                own += own_squares(&of[m], &of[m ? 0 : 1]);
        }
        struct capability c = rf_capability(n, x, p->has_low ? p->low : NAN, p->has_high ? p->high : NAN, sqrt(own / (double)n));
        ret->u = sqrt(all / (double)n);
        ret->n = n;
        return !limits_risks(&l, &rule, c.mean, c.s_made, ret->u, &ret->risks, NULL);
}

static void put_name(struct text *to, const struct extract_limit *p)
{
        text_f(to, "%s", p->name[0] ? p->name : p->quantity);
        if (!isnan(p->freq_hz)) {
                text_put(to, " at ");
                put_hz(to, p->freq_hz);
        }
}

void extract_judge_risks(const struct extract_judge *j, struct arena *arena, struct text *to)
{
        bool first = true;
        for (size_t k = 0; k < j->limits->parameter_n; k++) {
                const struct extract_limit *p = &j->limits->parameters[k];
                struct said s;
                if (!risks_of(j, k, arena, &s))
                        continue;
                if (first)
                        text_put(to, "\nRISKS of the verdicts, in shares of all that is made (values normal, as scattered here)\n");
                first = false;
                put_name(to, p);
                text_f(to, ", %zu files: %.2g %% are bad and pass, %.2g %% are good and do not pass (%.2g %% fail); ", s.n,
                       100 * s.risks.consumers, 100 * s.risks.producers, 100 * s.risks.failed_good);
                if (p->acceptance == ACCEPTANCE_SIMPLE)
                        text_put(to, "by the value alone, u ");
                else
                        text_f(to, "guarded with %.3g %% at each limit, u ", 100 * p->risk);
                put_quantity(to, s.u, NAN, rf_quantities[rf_quantity_of(p->quantity)].unit);
                text_put(to, "\n");
        }
}

void extract_judge_json(const struct extract_judge *j, struct arena *arena, struct json_out *o)
{
        json_open(o, "risks", '[');
        for (size_t k = 0; k < j->limits->parameter_n; k++) {
                const struct extract_limit *p = &j->limits->parameters[k];
                struct said s;
                if (!risks_of(j, k, arena, &s))
                        continue;
                json_open(o, NULL, '{');
                json_text(o, "quantity", p->quantity);
                json_real(o, "freq_hz", p->freq_hz);
                json_int(o, "values", (int64_t)s.n);
                json_real(o, "bad_passed", s.risks.consumers);
                json_real(o, "good_not_passed", s.risks.producers);
                json_real(o, "good_failed", s.risks.failed_good);
                json_real(o, "u", s.u);
                json_text(o, "acceptance", acceptance_words[p->acceptance]);
                json_real(o, "risk", p->risk);
                json_close(o, '}');
        }
        json_close(o, ']');
}
