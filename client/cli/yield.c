/* yield.c: see yield.h.
 * Rule        k good of n with a verdict.  Marginal is a verdict and is not good; no contact, not measured and no verdict are not in n and
 *             stand beside it.  A suspect keeps its verdict, is in n, and is counted beside.
 * Choice      People read Wilson's interval; the exact one, which is never too narrow, is in the JSON.  Dies of one wafer are not
 *             independent, so both speak of this wafer. */
#include "cli/yield.h"
#include "cli/number.h"
#include "cli/show.h"
#include "rf/numbers/capability.h"
#include "rf/numbers/proportion.h"
#include "rf/numbers/robust.h"
#include <math.h>
#include <string.h>

#define COVER 0.95

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

/* ---- values ------------------------------------------------------------------------------------------------------------------------- */

struct values {
        size_t n;
        bool no_scopes; /* what measuring adds is not known of all of them */
        double *sorted;
        struct capability capability;
        struct robust robust;
};

/* false: no memory. */
static bool values_of(const struct results *r, size_t a, struct arena *arena, struct values *ret)
{
        double *x = arena_take(arena, (r->die_n + 1) * sizeof *x), *room = arena_take(arena, (r->die_n + 1) * sizeof *room), squares = 0;
        *ret = (struct values){.sorted = x};
        if (!x || !room)
                return false;
        for (size_t d = 0; d < r->die_n; d++) {
                const struct found *one = &r->of[d * r->asked_n + a];
                if (!isfinite(one->value))
                        continue;
                x[ret->n++] = one->value;
                squares += one->u_own * one->u_own;
        }
        ret->no_scopes = isnan(squares);
        squares = ret->no_scopes ? 0 : squares;
        rf_sort(ret->n, x);
        ret->capability = rf_capability(ret->n, x, r->asked[a].low, r->asked[a].high, ret->n ? sqrt(squares / (double)ret->n) : 0);
        ret->robust = rf_robust(ret->n, x, room);
        return true;
}

static bool shows_ppk(const struct values *v) { return v->n >= RF_CAPABILITY_LEAST && isfinite(v->capability.ppk); }

static void cell_number(struct table *t, double value, const char *unit)
{
        struct text number;
        text_init(&number, 0);
        if (isfinite(value))
                put_quantity(&number, value, NAN, unit);
        table_cell(t, "%s", text_of(&number));
        text_done(&number);
}

static void cell_ppk(struct table *t, const struct asked *q, const struct values *v)
{
        const struct capability *c = &v->capability;
        if (shows_ppk(v))
                table_cell(t, "%.2f (%.2f to %.2f)%s", c->ppk, c->ppk_low, c->ppk_high, v->no_scopes ? " *" : "");
        else
                table_cell(t, "%s", v->n >= RF_CAPABILITY_LEAST && asked_has_limit(q) ? "hidden by measuring" : "");
}

static void cell_outliers(struct table *t, const struct results *r, size_t a, const struct robust *robust)
{
        struct text words;
        size_t n = 0;
        text_init(&words, 0);
        for (size_t d = 0; d < r->die_n; d++)
                if (rf_is_outlier(robust, r->of[d * r->asked_n + a].value)) {
                        if (n++ < 4)
                                text_f(&words, "%s%d,%d", n > 1 ? "; " : "", r->die[d].x, r->die[d].y);
                }
        if (n > 4)
                text_f(&words, "; and %zu more", n - 4);
        table_cell(t, "%s", text_of(&words));
        text_done(&words);
}

/* A run file keeps what its build stored. */
static const char no_scopes_say[] =
        "made before causes had scopes, so nobody can say what noise and touching add: PPK is of all the scatter, that included";

static void put_values(const struct results *r, struct arena *arena, struct text *to)
{
        bool starred = false;
        struct table t = table_of(arena, "llrrrrrll");
        const char *const heads[] = {"VALUES", "", "N", "MEDIAN", "QUARTILES", "", "SCATTER", "PPK", "OUTLIERS"};
        for (size_t i = 0; i < 9; i++)
                table_cell(&t, "%s", heads[i]);
        for (size_t a = 0; a < r->asked_n; a++) {
                const struct asked *q = &r->asked[a];
                struct values v;
                if (!values_of(r, a, arena, &v))
                        break;
                table_cell(&t, "%s", a && strcmp(q[-1].device, q->device) == 0 ? "" : q->device);
                table_cell(&t, "%s", q->label);
                table_cell(&t, "%zu", v.n);
                cell_number(&t, v.robust.median, q->unit);
                cell_number(&t, v.n > 1 ? v.robust.low_quartile : NAN, q->unit);
                cell_number(&t, v.n > 1 ? v.robust.high_quartile : NAN, q->unit);
                cell_number(&t, v.robust.s, q->unit);
                cell_ppk(&t, q, &v);
                starred |= v.no_scopes && shows_ppk(&v);
                cell_outliers(&t, r, a, &v.robust);
        }
        table_put(&t, to);
        if (starred)
                text_f(to, "* %s\n", no_scopes_say);
}

/* ---- shares ------------------------------------------------------------------------------------------------------------------------- */

static void cell_count(struct table *t, size_t n) { table_cell(t, n ? "%zu" : "", n); }

static void put_row(struct table *t, const char *device, const char *name, const struct yield *y)
{
        struct share_interval w = rf_wilson(y->good, y->n, COVER);
        table_cell(t, "%s", device);
        table_cell(t, "%s", name);
        table_cell(t, "%zu", y->good);
        table_cell(t, "%zu", y->n);
        table_cell(t, y->n ? "%.1f %%" : "", 100 * w.share);
        table_cell(t, y->n ? "%.1f to %.1f %%" : "", 100 * w.low, 100 * w.high);
        table_cell(t, y->n ? "%zu" : "", y->first_good);
        cell_count(t, y->count[RESULT_MARGINAL]);
        cell_count(t, y->suspect);
        cell_count(t, y->count[RESULT_NO_VERDICT]);
        cell_count(t, y->count[RESULT_NO_CONTACT]);
        cell_count(t, y->count[RESULT_NOT_MEASURED]);
}

void show_yield(const struct results *r, const char *wafer, struct arena *arena, struct text *to)
{
        struct table t = table_of(arena, "llrrrrrrrrrr");
        const char *const heads[] = {"GOOD OF",     "",         "GOOD",    "OF",         "YIELD",      "95 %",
                                     "FIRST TOUCH", "MARGINAL", "SUSPECT", "NO VERDICT", "NO CONTACT", "NOT MEASURED"};
        struct yield y = of_dies(r);
        text_f(to,
               "Of wafer %s alone: its dies are not independent, so the truth may lie further out than the interval says.\n"
               "Marginal is not good; without a verdict, without contact and not measured are not counted.\n\n",
               wafer);
        for (size_t i = 0; i < 12; i++)
                table_cell(&t, "%s", heads[i]);
        put_row(&t, "dies", "", &y);
        for (size_t a = 0; a < r->asked_n; a++) {
                if (!asked_has_limit(&r->asked[a]))
                        continue;
                y = of_asked(r, a);
                put_row(&t, r->asked[a].device, r->asked[a].label, &y);
        }
        table_put(&t, to);
        text_put(to, "\n");
        put_values(r, arena, to);
}

void show_yield_line(const struct results *r, struct text *to)
{
        struct yield y = of_dies(r);
        struct share_interval w = rf_wilson(y.good, y.n, COVER);
        text_put(to, "Yield        ");
        if (y.n)
                text_f(to,
                       "%zu of %zu dies with a verdict are good: %.1f %%, with 95 %% between %.1f and %.1f %%, of this wafer; %zu at the "
                       "first touch",
                       y.good, y.n, 100 * w.share, 100 * w.low, 100 * w.high, y.first_good);
        else
                text_put(to, "no die has a verdict");
        static const struct {
                enum result_state state;
                const char *say;
        } beside[] = {
                {RESULT_NO_VERDICT, "without a verdict"}, {RESULT_NO_CONTACT, "without contact"}, {RESULT_NOT_MEASURED, "not measured"}};
        for (size_t i = 0; i < 3; i++)
                if (y.count[beside[i].state])
                        text_f(to, "; %zu %s", y.count[beside[i].state], beside[i].say);
        text_put(to, "\n");
}

/* ---- JSON --------------------------------------------------------------------------------------------------------------------------- */

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

static void json_values(struct json_out *o, const struct results *r, size_t a, const struct values *v)
{
        const struct capability *c = &v->capability;
        json_int(o, "values", (int64_t)v->n);
        json_real(o, "mean", c->mean);
        json_real(o, "s", c->s);
        json_real(o, "s_without_measuring", v->no_scopes ? NAN : c->s_made);
        json_real(o, "median", v->robust.median);
        json_pair(o, "quartiles", v->robust.low_quartile, v->robust.high_quartile);
        json_real(o, "s_robust", v->robust.s);
        json_real(o, "pp", shows_ppk(v) ? c->pp : NAN);
        json_real(o, "ppk", shows_ppk(v) ? c->ppk : NAN);
        json_pair(o, "ppk_interval", shows_ppk(v) ? c->ppk_low : NAN, shows_ppk(v) ? c->ppk_high : NAN);
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

void show_yield_json(const struct results *r, const char *run, const char *wafer, struct arena *arena, struct text *to)
{
        struct json_out o = json_to(to);
        struct yield y = of_dies(r);
        bool no_scopes = false;
        json_open(&o, NULL, '{');
        json_text(&o, "run", run);
        json_text(&o, "wafer", wafer);
        json_real(&o, "cover", COVER);
        json_open(&o, "dies", '{');
        json_yield(&o, &y);
        json_close(&o, '}');
        json_open(&o, "quantities", '[');
        for (size_t a = 0; a < r->asked_n; a++) {
                struct values v;
                if (!values_of(r, a, arena, &v)) {
                        to->broken = true;
                        return;
                }
                y = of_asked(r, a);
                json_open(&o, NULL, '{');
                json_text(&o, "device", r->asked[a].device);
                json_text(&o, "quantity", r->asked[a].name);
                json_int(&o, "condition", r->asked[a].condition);
                json_text(&o, "unit", r->asked[a].unit);
                json_real(&o, "low", r->asked[a].low);
                json_real(&o, "high", r->asked[a].high);
                json_yield(&o, &y);
                json_values(&o, r, a, &v);
                no_scopes |= v.no_scopes;
                json_close(&o, '}');
        }
        json_close(&o, ']');
        json_open(&o, "notes", '[');
        if (no_scopes)
                json_text(&o, NULL, no_scopes_say);
        json_close(&o, ']');
        json_close(&o, '}');
        text_put(to, "\n");
}
