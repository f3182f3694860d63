/* yield.c: see yield.h.
 * Rule        k good of n with a verdict.  Marginal is a verdict and is not good; no contact, not measured and no verdict are not in n and
 *             stand beside it.  A suspect keeps its verdict, is in n, and is counted beside.
 * Choice      Two intervals: Wilson's, which people read, and the exact one, which is never too narrow.  Dies of one wafer are not
 *             independent, so both speak of this wafer.
 * Scatter     What noise and the die's own touches add to it comes off before Ppk; where a run file cannot tell that, nothing does and a note
 *             says so.
 * Risks       what the recipe's rule for verdicts does to all that is made: true values normal with that mean and that scatter, each read with
 *             the rms of the stated uncertainties.  A share of items, not of those of one verdict. */
#include "wafer/yield.h"
#include "rf/numbers/capability.h"
#include "rf/numbers/proportion.h"
#include "rf/numbers/probability.h"
#include "rf/numbers/robust.h"
#include "rf/trust/decide_limits.h"
#include <math.h>

#define COVER 0.95
/* A run file keeps what its build stored. */
static const char no_scopes_say[] =
        "made before causes had scopes, so nobody can say what noise and touching add: PPK is of all the scatter, that included";

struct yield {
        size_t n, good, first_good, suspect, count[RESULT_STATES];
};

static void take(struct yield *y, enum result_state state, bool suspect, bool first_good)
{
        bool verdict = state <= RESULT_FAIL;
        y->count[state]++;
        y->n += verdict;
        y->good += state == RESULT_PASS;
        y->suspect += verdict && suspect;
        y->first_good += verdict && first_good;
}

static struct yield of_dies(const struct results *r)
{
        struct yield y = {0};
        for (size_t d = 0; d < r->die_n; d++)
                take(&y, r->die[d].state, r->die[d].is_suspect, r->die[d].is_first_good);
        return y;
}

static struct yield of_asked(const struct results *r, size_t a)
{
        struct yield y = {0};
        for (size_t d = 0; d < r->die_n; d++) {
                const struct found *one = &r->of[d * r->asked_n + a];
                take(&y, one->state, one->is_suspect, one->first == RESULT_PASS);
        }
        return y;
}

struct values {
        size_t n;
        bool no_scopes; /* what measuring adds is not known of all of them */
        double u;       /* rms of the standard uncertainties; NaN: one has none */
        double *sorted;
        struct capability capability;
        struct robust robust;
};

/* false: no memory. */
static bool values_of(const struct results *r, size_t a, struct arena *arena, struct values *ret)
{
        double *x = arena_take(arena, (r->die_n + 1) * sizeof *x), *room = arena_take(arena, (r->die_n + 1) * sizeof *room), squares = 0,
               all = 0;
        *ret = (struct values){.sorted = x};
        if (!x || !room)
                return false;
        for (size_t d = 0; d < r->die_n; d++) {
                const struct found *one = &r->of[d * r->asked_n + a];
                if (!isfinite(one->value))
                        continue;
                x[ret->n++] = one->value;
                squares += one->u_own * one->u_own;
                all += one->u95 * one->u95;
        }
        ret->u = ret->n ? sqrt(all / (double)ret->n) / normal_quantile(0.975) : NAN;
        ret->no_scopes = isnan(squares);
        squares = ret->no_scopes ? 0 : squares;
        rf_sort(ret->n, x);
        ret->capability = rf_capability(ret->n, x, r->asked[a].low, r->asked[a].high, ret->n ? sqrt(squares / (double)ret->n) : 0);
        ret->robust = rf_robust(ret->n, x, room);
        return true;
}

static bool shows_ppk(const struct values *v) { return v->n >= RF_CAPABILITY_LEAST && isfinite(v->capability.ppk); }

static void json_pair(struct json_out *o, const char *key, double low, double high)
{
        json_open(o, key, '[');
        json_real(o, NULL, low);
        json_real(o, NULL, high);
        json_close(o, ']');
}

static void json_yield(struct json_out *o, const struct yield *y)
{
        struct share_interval w = rf_wilson(y->good, y->n, COVER), e = rf_clopper_pearson(y->good, y->n, COVER);
        json_int(o, "good", (int64_t)y->good);
        json_int(o, "n", (int64_t)y->n);
        json_real(o, "share", w.share);
        json_pair(o, "wilson", w.low, w.high);
        json_pair(o, "exact", e.low, e.high);
        json_int(o, "good_at_first_touch", (int64_t)y->first_good);
        json_int(o, "marginal", (int64_t)y->count[RESULT_MARGINAL]);
        json_int(o, "fail", (int64_t)y->count[RESULT_FAIL]);
        json_int(o, "suspect", (int64_t)y->suspect);
        json_int(o, "no_verdict", (int64_t)y->count[RESULT_NO_VERDICT]);
        json_int(o, "no_contact", (int64_t)y->count[RESULT_NO_CONTACT]);
        json_int(o, "not_measured", (int64_t)y->count[RESULT_NOT_MEASURED]);
}

static void json_risks(struct json_out *o, const struct asked *a, const struct values *v)
{
        struct limits limits = {!isnan(a->low), !isnan(a->high), a->low, a->high};
        struct decision_rule rule = {a->is_simple ? ACCEPTANCE_SIMPLE : ACCEPTANCE_GUARDED, a->risk};
        struct risks risks;
        struct tp_error none;
        double s = v->no_scopes ? v->capability.s : v->capability.s_made;
        if (v->n < RF_CAPABILITY_LEAST || !asked_has_limit(a) || limits_risks(&limits, &rule, v->capability.mean, s, v->u, &risks, &none))
                return;
        json_open(o, "risks", '{');
        json_real(o, "bad_passed", risks.consumers);
        json_real(o, "good_not_passed", risks.producers);
        json_real(o, "good_failed", risks.failed_good);
        json_real(o, "u", v->u);
        json_text(o, "acceptance", acceptance_words[rule.kind]);
        json_real(o, "risk", rule.risk > 0 ? rule.risk : 0.05);
        json_close(o, '}');
}

static void json_values(struct json_out *o, const struct results *r, size_t a, const struct values *v)
{
        const struct capability *c = &v->capability;
        json_int(o, "values", (int64_t)v->n);
        json_bool(o, "measuring_known", !v->no_scopes);
        json_real(o, "mean", c->mean);
        json_real(o, "s", c->s);
        json_real(o, "s_without_measuring", v->no_scopes ? NAN : c->s_made);
        json_real(o, "median", v->robust.median);
        json_pair(o, "quartiles", v->robust.low_quartile, v->robust.high_quartile);
        json_real(o, "s_robust", v->robust.s);
        json_real(o, "pp", shows_ppk(v) ? c->pp : NAN);
        json_bool(o, "hidden_by_measuring", v->n >= RF_CAPABILITY_LEAST && asked_has_limit(&r->asked[a]) && !shows_ppk(v));
        json_real(o, "ppk", shows_ppk(v) ? c->ppk : NAN);
        json_pair(o, "ppk_interval", shows_ppk(v) ? c->ppk_low : NAN, shows_ppk(v) ? c->ppk_high : NAN);
        json_risks(o, &r->asked[a], v);
        json_open(o, "outliers", '[');
        for (size_t d = 0; d < r->die_n; d++) {
                double x = r->of[d * r->asked_n + a].value;
                if (!rf_is_outlier(&v->robust, x))
                        continue;
                json_open(o, NULL, '{');
                json_int(o, "x", r->die[d].x);
                json_int(o, "y", r->die[d].y);
                json_real(o, "value", x);
                json_close(o, '}');
        }
        json_close(o, ']');
}

static enum code quantity_json(struct json_out *o, const struct results *r, size_t a, struct arena *arena, bool *no_scopes,
                               struct tp_error *err)
{
        const struct asked *q = &r->asked[a];
        struct yield y = of_asked(r, a);
        struct values v;
        if (!values_of(r, a, arena, &v))
                return tp_fail_memory(err);
        json_open(o, NULL, '{');
        json_text(o, "device", q->device);
        json_text(o, "quantity", q->name);
        json_int(o, "condition", q->condition);
        json_text(o, "label", q->label);
        json_text(o, "unit", q->unit);
        json_real(o, "low", q->low);
        json_real(o, "high", q->high);
        json_yield(o, &y);
        json_values(o, r, a, &v);
        json_close(o, '}');
        *no_scopes |= v.no_scopes;
        return CODE_OK;
}

enum code yield_json(const struct results *r, const char *run, const char *wafer, struct arena *arena, struct text *to,
                     struct tp_error *err)
{
        struct json_out o = json_to(to);
        struct yield y = of_dies(r);
        enum code code = CODE_OK;
        bool no_scopes = false;
        json_open(&o, NULL, '{');
        json_text(&o, "run", run);
        json_text(&o, "wafer", wafer);
        json_real(&o, "cover", COVER);
        json_open(&o, "dies", '{');
        json_yield(&o, &y);
        json_close(&o, '}');
        json_open(&o, "quantities", '[');
        for (size_t a = 0; a < r->asked_n && !code; a++)
                code = quantity_json(&o, r, a, arena, &no_scopes, err);
        json_close(&o, ']');
        json_open(&o, "notes", '[');
        if (no_scopes)
                json_text(&o, NULL, no_scopes_say);
        json_close(&o, ']');
        json_close(&o, '}');
        return code ? code : text_ok(to) ? CODE_OK : tp_fail_memory(err);
}
