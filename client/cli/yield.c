/* yield.c: see yield.h.  What is counted and how is daemon/wafer/yield.c's. */
#include "cli/yield.h"
#include "cli/number.h"
#include "cli/show.h"
#include <math.h>
#include <string.h>

static double end_of(const cJSON *in, const char *key, int which)
{
        const cJSON *at = cJSON_GetArrayItem(have(in, key), which);
        return cJSON_IsNumber(at) ? at->valuedouble : NAN;
}
static bool has_limit(const cJSON *q) { return !isnan(have_real(q, "low")) || !isnan(have_real(q, "high")); }

/* ---- values ------------------------------------------------------------------------------------------------------------------------- */

static void cell_number(struct table *t, double value, const char *unit)
{
        struct text number;
        text_init(&number, 0);
        if (isfinite(value))
                put_quantity(&number, value, NAN, unit);
        table_cell(t, "%s", text_of(&number));
        text_done(&number);
}

static bool is_starred(const cJSON *q) { return !isnan(have_real(q, "ppk")) && !have_true(q, "measuring_known"); }

static void cell_ppk(struct table *t, const cJSON *q)
{
        if (!isnan(have_real(q, "ppk")))
                table_cell(t, "%.2f (%.2f to %.2f)%s", have_real(q, "ppk"), end_of(q, "ppk_interval", 0), end_of(q, "ppk_interval", 1),
                           is_starred(q) ? " *" : "");
        else
                table_cell(t, "%s", have_true(q, "hidden_by_measuring") ? "hidden by measuring" : "");
}

static void cell_outliers(struct table *t, const cJSON *q)
{
        const cJSON *outliers = have(q, "outliers"), *one;
        struct text words;
        int n = 0;
        text_init(&words, 0);
        cJSON_ArrayForEach(one, outliers) if (n++ < 4)
                text_f(&words, "%s%lld,%lld", n > 1 ? "; " : "", (long long)have_int(one, "x"), (long long)have_int(one, "y"));
        if (n > 4)
                text_f(&words, "; and %d more", n - 4);
        table_cell(t, "%s", text_of(&words));
        text_done(&words);
}

static void put_values(const cJSON *yield, struct arena *arena, struct text *to)
{
        struct table t = table_of(arena, "llrrrrrll");
        const char *const heads[] = {"VALUES", "", "N", "MEDIAN", "QUARTILES", "", "SCATTER", "PPK", "OUTLIERS"};
        const char *before = "";
        const cJSON *q;
        bool starred = false;
        for (size_t i = 0; i < 9; i++)
                table_cell(&t, "%s", heads[i]);
        cJSON_ArrayForEach(q, have(yield, "quantities"))
        {
                const char *device = have_text(q, "device"), *unit = have_text(q, "unit");
                int64_t n = have_int(q, "values");
                table_cell(&t, "%s", strcmp(before, device) == 0 ? "" : device);
                table_cell(&t, "%s", have_text(q, "label"));
                table_cell(&t, "%lld", (long long)n);
                cell_number(&t, have_real(q, "median"), unit);
                cell_number(&t, n > 1 ? end_of(q, "quartiles", 0) : NAN, unit);
                cell_number(&t, n > 1 ? end_of(q, "quartiles", 1) : NAN, unit);
                cell_number(&t, have_real(q, "s_robust"), unit);
                cell_ppk(&t, q);
                cell_outliers(&t, q);
                starred |= is_starred(q);
                before = device;
        }
        table_put(&t, to);
        cJSON_ArrayForEach(q, have(yield, "notes")) if (starred && cJSON_IsString(q)) text_f(to, "* %s\n", q->valuestring);
}

/* What the verdicts' rule does to all that is made. */
static void put_risks(const cJSON *yield, struct text *to)
{
        const cJSON *q;
        bool first = true;
        cJSON_ArrayForEach(q, have(yield, "quantities"))
        {
                const cJSON *r = have(q, "risks");
                if (!cJSON_IsObject(r))
                        continue;
                if (first)
                        text_put(to, "\nRISKS of the verdicts, in shares of all that is made (values normal, as scattered here)\n");
                first = false;
                text_f(to, "%s %s: %.2g %% are bad and pass, %.2g %% are good and do not pass (%.2g %% fail); ", have_text(q, "device"),
                       have_text(q, "label"), 100 * have_real(r, "bad_passed"), 100 * have_real(r, "good_not_passed"),
                       100 * have_real(r, "good_failed"));
                if (strcmp(have_text(r, "acceptance"), "simple") == 0)
                        text_put(to, "by the value alone, u ");
                else
                        text_f(to, "guarded with %.3g %% at each limit, u ", 100 * have_real(r, "risk"));
                put_quantity(to, have_real(r, "u"), NAN, have_text(q, "unit"));
                text_put(to, "\n");
        }
}

/* ---- shares ------------------------------------------------------------------------------------------------------------------------- */

static void cell_count(struct table *t, const cJSON *of, const char *key)
{
        int64_t n = have_int(of, key);
        table_cell(t, n ? "%lld" : "", (long long)n);
}

static void put_row(struct table *t, const char *device, const char *label, const cJSON *of)
{
        int64_t n = have_int(of, "n");
        table_cell(t, "%s", device);
        table_cell(t, "%s", label);
        table_cell(t, "%lld", (long long)have_int(of, "good"));
        table_cell(t, "%lld", (long long)n);
        table_cell(t, n ? "%.1f %%" : "", 100 * have_real(of, "share"));
        table_cell(t, n ? "%.1f to %.1f %%" : "", 100 * end_of(of, "wilson", 0), 100 * end_of(of, "wilson", 1));
        table_cell(t, n ? "%lld" : "", (long long)have_int(of, "good_at_first_touch"));
        cell_count(t, of, "marginal");
        cell_count(t, of, "suspect");
        cell_count(t, of, "no_verdict");
        cell_count(t, of, "no_contact");
        cell_count(t, of, "not_measured");
}

void show_yield(const cJSON *yield, struct arena *arena, struct text *to)
{
        struct table t = table_of(arena, "llrrrrrrrrrr");
        const char *const heads[] = {"GOOD OF",     "",         "GOOD",    "OF",         "YIELD",      "95 %",
                                     "FIRST TOUCH", "MARGINAL", "SUSPECT", "NO VERDICT", "NO CONTACT", "NOT MEASURED"};
        const cJSON *q;
        text_f(to,
               "Of wafer %s alone: its dies are not independent, so the truth may lie further out than the interval says.\n"
               "Marginal is not good; without a verdict, without contact and not measured are not counted.\n\n",
               have_text(yield, "wafer"));
        for (size_t i = 0; i < 12; i++)
                table_cell(&t, "%s", heads[i]);
        put_row(&t, "dies", "", have(yield, "dies"));
        cJSON_ArrayForEach(q, have(yield, "quantities")) if (has_limit(q)) put_row(&t, have_text(q, "device"), have_text(q, "label"), q);
        table_put(&t, to);
        text_put(to, "\n");
        put_values(yield, arena, to);
        put_risks(yield, to);
}

void show_yield_line(const cJSON *yield, struct text *to)
{
        const cJSON *y = have(yield, "dies");
        static const char *const beside[][2] = {
                {"no_verdict", "without a verdict"}, {"no_contact", "without contact"}, {"not_measured", "not measured"}};
        text_put(to, "Yield        ");
        if (have_int(y, "n"))
                text_f(to,
                       "%lld of %lld dies with a verdict are good: %.1f %%, with 95 %% between %.1f and %.1f %%, of this wafer; %lld at "
                       "the "
                       "first touch",
                       (long long)have_int(y, "good"), (long long)have_int(y, "n"), 100 * have_real(y, "share"),
                       100 * end_of(y, "wilson", 0), 100 * end_of(y, "wilson", 1), (long long)have_int(y, "good_at_first_touch"));
        else
                text_put(to, "no die has a verdict");
        for (size_t i = 0; i < 3; i++)
                if (have_int(y, beside[i][0]))
                        text_f(to, "; %lld %s", (long long)have_int(y, beside[i][0]), beside[i][1]);
        text_put(to, "\n");
}
