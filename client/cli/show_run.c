/* show_run.c: one run on one screen; see show.h.  Of a device touched more than once the last touch counts. */
#include "cli/number.h"
#include "cli/show.h"
#include "cli/yield.h"
#include "wafer/results.h"
#include "rf/numbers/robust.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TRUSTS = 5, VERDICTS = 4, LIST_MAX = 8 };
static const char *const trust_names[TRUSTS] = {"proven", "open", "suspect", "rescued", "unknown"};
static const char *const verdict_names[VERDICTS] = {"pass", "marginal", "fail", "none"};

static size_t index_of(const char *const *words, size_t n, const char *word, size_t otherwise)
{
        for (size_t i = 0; i < n; i++)
                if (strcmp(words[i], word) == 0)
                        return i;
        return otherwise;
}

/* ---- verdict by trust --------------------------------------------------------------------------------------------------------------- */

struct counts {
        long long n[VERDICTS][TRUSTS], refused;
};

static void put_counts(const char *what, const struct counts *k, const char *none, struct arena *arena, struct text *to)
{
        struct table t = table_of(arena, "lrrrrrr");
        bool used[TRUSTS] = {true, true, true, false, false};
        size_t columns = 0;
        char align[TABLE_COLUMNS_MAX] = "l";
        for (size_t j = 0; j < TRUSTS; j++) {
                for (size_t i = 0; i < VERDICTS; i++)
                        used[j] |= k->n[i][j] > 0;
                columns += used[j];
        }
        for (size_t j = 1; j <= columns + 1; j++)
                align[j] = 'r';
        align[columns + 2] = 0;
        t = table_of(arena, align);
        table_cell(&t, "%s", what);
        for (size_t j = 0; j < TRUSTS; j++)
                if (used[j])
                        table_cell(&t, "%s", trust_names[j]);
        table_cell(&t, "all");
        for (size_t i = 0; i < VERDICTS; i++) {
                long long sum = 0;
                for (size_t j = 0; j < TRUSTS; j++)
                        sum += k->n[i][j];
                table_cell(&t, "  %s", i == 3 ? none : verdict_names[i]);
                for (size_t j = 0; j < TRUSTS; j++)
                        if (used[j])
                                table_cell(&t, "%lld", k->n[i][j]);
                table_cell(&t, "%lld", sum);
        }
        table_put(&t, to);
}

static void count(struct counts *k, const cJSON *row)
{
        k->n[index_of(verdict_names, VERDICTS, have_text(row, "verdict"), 3)][index_of(trust_names, TRUSTS, have_text(row, "trust"), 4)]++;
}

static void put_devices(const cJSON *map, struct arena *arena, struct text *to)
{
        struct counts k = {0};
        const cJSON *die, *d;
        cJSON_ArrayForEach(die, have(map, "dies")) cJSON_ArrayForEach(d, have(die, "devices"))
        {
                const char *o = have_text(d, "outcome");
                if (strcmp(o, "measured") == 0 || strcmp(o, "doubtful") == 0)
                        count(&k, d);
        }
        put_counts("Devices", &k, "no verdict", arena, to);
}

/* ---- parameters --------------------------------------------------------------------------------------------------------------------- */

struct latest {
        const cJSON *row;
        const char *device, *quantity;
        long long condition, x, y;
        size_t order;
};

static int by_place(const void *a, const void *b)
{
        const struct latest *p = a, *q = b;
        int d = strcmp(p->device, q->device);
        d = d ? d : strcmp(p->quantity, q->quantity);
        if (d)
                return d;
        if (p->condition != q->condition)
                return p->condition < q->condition ? -1 : 1;
        if (p->x != q->x)
                return p->x < q->x ? -1 : 1;
        if (p->y != q->y)
                return p->y < q->y ? -1 : 1;
        return (p->order > q->order) - (p->order < q->order);
}

static bool same_number(const struct latest *a, const struct latest *b)
{
        return a->condition == b->condition && strcmp(a->device, b->device) == 0 && strcmp(a->quantity, b->quantity) == 0;
}
static bool same_place(const struct latest *a, const struct latest *b) { return a->x == b->x && a->y == b->y && same_number(a, b); }

/* Sorted by device, quantity and condition, the last attempt of each only. */
static size_t latest_of(const cJSON *parameters, struct arena *arena, struct latest **ret)
{
        const cJSON *rows = have(parameters, "parameters"), *r;
        size_t n = 0, kept = 0, all = (size_t)cJSON_GetArraySize(rows);
        struct latest *l = all ? arena_take(arena, all * sizeof *l) : NULL;
        if (!l)
                return 0;
        cJSON_ArrayForEach(r, rows)
        {
                l[n] = (struct latest){r,
                                       have_text(r, "device"),
                                       have_text(r, "quantity"),
                                       have_int(r, "condition"),
                                       have_int(have(r, "die"), "x"),
                                       have_int(have(r, "die"), "y"),
                                       n};
                n++;
        }
        qsort(l, n, sizeof *l, by_place);
        for (size_t i = 0; i < n; i++)
                if (i + 1 == n || !same_place(&l[i], &l[i + 1]))
                        l[kept++] = l[i];
        *ret = l;
        return kept;
}

static bool is_refused(const cJSON *row)
{
        return cJSON_IsNull(have(row, "value")) && strncmp(have_text(row, "reason"), "not resolvable", 14) == 0;
}

static void cell_guard(struct table *t, double band, const char *unit)
{
        struct text words;
        text_init(&words, 0);
        if (band == 0)
                text_put(&words, "none");
        else if (isfinite(band))
                put_quantity(&words, band, NAN, unit);
        table_cell(t, "%s", text_of(&words));
        text_done(&words);
}

static void cell_probability(struct table *t, double p)
{
        struct text words;
        text_init(&words, 0);
        put_probability(&words, p);
        table_cell(t, "%s", text_of(&words));
        text_done(&words);
}

/* One line per device, quantity and condition: how many, their median and the median of their u95, how far from a limit they must lie to pass
   and how sure the least sure pass is, fails, refusals. */
static void put_quantities(const struct latest *l, size_t n, const cJSON *devices, struct arena *arena, struct text *to)
{
        struct table t = table_of(arena, "llrrrrrrrl");
        double *values = n ? arena_take(arena, 3 * n * sizeof *values) : NULL, *u = values ? values + n : NULL,
               *band = values ? values + 2 * n : NULL;
        const char *const heads[] = {"", "", "median ± u95", "guard band", "pass", "least sure", "marginal", "fail", "no value", ""};
        for (size_t i = 0; i < sizeof heads / sizeof heads[0]; i++)
                table_cell(&t, "%s", heads[i]);
        for (size_t i = 0, end; values && i < n; i = end) {
                size_t k = 0, bands = 0;
                double least = NAN;
                long long verdicts[VERDICTS] = {0}, none = 0;
                const char *why = "";
                for (end = i; end < n && same_number(&l[i], &l[end]); end++) {
                        double v = have_real(l[end].row, "value"), p = have_real(l[end].row, "conformance");
                        band[bands] = have_real(l[end].row, "guard_band");
                        bands += isnan(band[bands]) ? 0 : 1;
                        if (strcmp(have_text(l[end].row, "verdict"), "pass") == 0 && !(p > least))
                                least = p;
                        verdicts[index_of(verdict_names, VERDICTS, have_text(l[end].row, "verdict"), 3)]++;
                        if (isnan(v)) {
                                why = none++ ? why : have_text(l[end].row, "reason");
                                continue;
                        }
                        values[k] = v;
                        u[k] = have_real(l[end].row, "u95");
                        u[k] = isnan(u[k]) ? INFINITY : u[k];
                        k++;
                }
                rf_sort(k, values);
                rf_sort(k, u);
                rf_sort(bands, band);
                struct text number;
                text_init(&number, 0);
                if (k)
                        put_quantity(&number, rf_quantile(k, values, 0.5), rf_quantile(k, u, 0.5), have_text(l[i].row, "unit"));
                table_cell(&t, "  %s", i && strcmp(l[i - 1].device, l[i].device) == 0 ? "" : l[i].device);
                table_cell(&t, "%s", asked_label(devices, l[i].device, l[i].quantity, (int)l[i].condition, arena));
                table_cell(&t, "%s", k ? text_of(&number) : "none");
                text_done(&number);
                cell_guard(&t, bands ? rf_quantile(bands, band, 0.5) : NAN, have_text(l[i].row, "unit"));
                for (size_t j = 0; j < 3; j++) {
                        table_cell(&t, verdicts[j] ? "%lld" : "", verdicts[j]);
                        if (j == 0)
                                cell_probability(&t, least);
                }
                table_cell(&t, none ? "%lld" : "", none);
                table_cell(&t, "%s", why);
        }
        if (n)
                table_put(&t, to);
}

static void put_parameters(const struct latest *l, size_t n, const cJSON *devices, struct arena *arena, struct text *to)
{
        struct counts k = {0};
        for (size_t i = 0; i < n; i++) {
                count(&k, l[i].row);
                k.refused += is_refused(l[i].row);
        }
        put_counts("Parameters", &k, "no verdict", arena, to);
        if (k.refused) {
                text_put(to, "  ");
                put_count(to, k.refused, "parameter is", "parameters are");
                text_put(to, " refused: contact and noise do not let anybody resolve them, so no number is printed\n");
        }
        text_put(to, "\n");
        put_quantities(l, n, devices, arena, to);
}

/* ---- the rest ----------------------------------------------------------------------------------------------------------------------- */

static void put_contacts(const cJSON *counts, struct text *to)
{
        long long good = have_int(counts, "touches_good"), doubtful = have_int(counts, "touches_doubtful"),
                  absent = have_int(counts, "touches_absent"), cut = have_int(counts, "touches_cut");
        text_put(to, "Contacts     ");
        put_count(to, good + doubtful + absent + cut, "touch of devices", "touches of devices");
        text_f(to, ": %lld good, %lld doubtful, %lld absent", good, doubtful, absent);
        if (cut)
                text_f(to, ", %lld cut short", cut);
        text_put(to, "; ");
        put_count(to, have_int(counts, "retouches"), "retouch", "retouches");
        text_put(to, "\n");
}

static void put_checks(const cJSON *counts, const cJSON *checks, struct text *to)
{
        const cJSON *c, *worst = NULL;
        text_put(to, "Checks       ");
        put_count(to, have_int(counts, "checks"), "check", "checks");
        text_f(to, ", %lld failed", (long long)have_int(counts, "checks_failed"));
        cJSON_ArrayForEach(c, have(checks, "checks"))
        {
                if (!have_true(c, "passed"))
                        text_f(to, "\n             %s", have_text(have(c, "modes"), "sentence"));
                else if (!worst || have_real(have(c, "modes"), "worst_share") > have_real(have(worst, "modes"), "worst_share"))
                        worst = c;
        }
        if (worst) {
                const char *sentence = have_text(have(worst, "modes"), "sentence"), *from = strstr(sentence, "nearest to a limit: ");
                text_f(to, "%s%s",
                       have_int(counts, "checks_failed") ? "\n             of the others nearest to a limit: " : "; nearest to a limit: ",
                       from ? from + 20 : sentence);
        }
        text_put(to, "\n");
}

static void put_time(const cJSON *p, struct text *to)
{
        double station_s = have_real(p, "station_seconds"), waited_s = have_real(p, "waited_seconds");
        text_put(to, "Time         ");
        put_seconds(to, station_s);
        text_put(to, " at the station; instruments waited ");
        put_seconds(to, waited_s);
        if (station_s > 0 && waited_s >= 0)
                text_f(to, " (%.2f %%) for the daemon", 100 * waited_s / station_s);
        text_put(to, "\n");
        const cJSON *k = have(p, "counts");
        long long daemon = have_int(k, "daemon_starts"), deaths = have_int(k, "station_deaths"),
                  interventions = have_int(k, "interventions");
        if (daemon || deaths || interventions) {
                text_put(to, "Interrupted  ");
                put_count(to, daemon, "start of the daemon", "starts of the daemon");
                text_put(to, ", ");
                put_count(to, deaths, "death of the station", "deaths of the station");
                text_put(to, ", ");
                put_count(to, interventions, "intervention", "interventions");
                text_put(to, "\n");
        }
}

static bool is_left_out(const char *outcome)
{
        return strcmp(outcome, "skipped") == 0 || strcmp(outcome, "written_off") == 0 || strcmp(outcome, "no_contact") == 0;
}

/* "Fails  -4,1 C1, …": devices for which `which` holds, the first few by name. */
enum which { WHICH_FAILS, WHICH_SUSPECTS, WHICH_LEFT_OUT };
static bool is_one(const cJSON *d, enum which which)
{
        switch (which) {
        case WHICH_FAILS:
                return strcmp(have_text(d, "verdict"), "fail") == 0 && !is_left_out(have_text(d, "outcome"));
        case WHICH_SUSPECTS:
                return strcmp(have_text(d, "trust"), "suspect") == 0;
        case WHICH_LEFT_OUT:
                return is_left_out(have_text(d, "outcome"));
        }
        return false;
}

static void put_list(const char *left, const cJSON *map, enum which which, struct text *to)
{
        const cJSON *die, *d;
        int n = 0;
        cJSON_ArrayForEach(die, have(map, "dies")) cJSON_ArrayForEach(d, have(die, "devices"))
        {
                if (!is_one(d, which) || ++n > LIST_MAX)
                        continue;
                const char *why = which == WHICH_LEFT_OUT && have_text(d, "why")[0] ? have_text(d, "why") : have_text(d, "reason");
                text_f(to, "%s%lld,%lld %s", n == 1 ? left : ", ", (long long)have_int(die, "x"), (long long)have_int(die, "y"),
                       have_text(d, "name"));
                if (which != WHICH_FAILS && why[0])
                        text_f(to, " (%s)", why);
        }
        if (n > LIST_MAX)
                text_f(to, ", and %d more", n - LIST_MAX);
        if (n)
                text_put(to, "\n");
}

/* "… 0,1 L1 L_10GHz 0.32": the numbers of a verdict, each with the probability that its true value lies within the limits. */
static void put_numbers(const char *left, const struct latest *l, size_t n, const char *verdict, struct text *to)
{
        int shown = 0;
        for (size_t i = 0; i < n; i++) {
                if (strcmp(have_text(l[i].row, "verdict"), verdict) != 0 || ++shown > LIST_MAX)
                        continue;
                text_f(to, "%s%lld,%lld %s %s ", shown == 1 ? left : ", ", l[i].x, l[i].y, l[i].device, l[i].quantity);
                put_probability(to, have_real(l[i].row, "conformance"));
        }
        if (shown > LIST_MAX)
                text_f(to, ", and %d more", shown - LIST_MAX);
        if (shown)
                text_put(to, "\n");
}

bool run_has_fails(const cJSON *run)
{
        static const char *const bad[] = {"fail", "suspect", "rescued", "no_contact", "skipped", "written_off"};
        const cJSON *counts = have(have(run, "progress"), "counts");
        for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
                if (have_int(counts, bad[i]) > 0)
                        return true;
        return false;
}

void show_run(const cJSON *run, const cJSON *map, const cJSON *parameters, const cJSON *checks, const cJSON *calibrations,
              const cJSON *devices, const cJSON *yield, struct text *to)
{
        const cJSON *p = have(run, "progress"), *counts = have(p, "counts");
        struct arena *arena = arena_new(0);
        if (!arena)
                return;
        text_f(to, "Run %s: wafer %s, lot %s, %s\n", have_text(run, "id"), have_text(run, "wafer"), have_text(run, "lot"),
               have_text(run, "recipe"));
        text_f(to, "began %s, %s%s\n", have_text(run, "began"), have_true(run, "in_hand") ? "in hand" : have_text(run, "state"),
               have_text(run, "file_sha256")[0] ? ", read-only" : "");
        if (have_text(p, "sentence")[0])
                text_f(to, "%s\n", have_text(p, "sentence"));
        if (have_text(p, "why_refused")[0])
                text_f(to, "Refused: %s\n", have_text(p, "why_refused"));
        text_put(to, "\n");
        if (map)
                put_devices(map, arena, to);
        text_put(to, "\n");
        struct latest *latest = NULL;
        size_t latest_n = parameters ? latest_of(parameters, arena, &latest) : 0;
        if (parameters)
                put_parameters(latest, latest_n, devices, arena, to);
        text_put(to, "\n");
        if (yield)
                show_yield_line(yield, to);
        put_contacts(counts, to);
        put_checks(counts, checks, to);
        show_calibrations(calibrations, have_int(have(p, "counts"), "recalibrations"), to);
        put_time(p, to);
        put_list("Fails        ", map, WHICH_FAILS, to);
        put_numbers("             within their limits with probability: ", latest, latest_n, "fail", to);
        put_numbers("Marginal     within their limits with probability: ", latest, latest_n, "marginal", to);
        put_list("Suspect      ", map, WHICH_SUSPECTS, to);
        put_list("Left out     ", map, WHICH_LEFT_OUT, to);
        arena_free(arena);
}

void show_offer(const cJSON *evaluations, const char *run, struct text *to)
{
        const cJSON *offer = have(evaluations, "offer"), *i;
        if (!cJSON_IsObject(offer))
                return;
        text_put(to, "Offered      ");
        put_count(to, have_int(offer, "values"), "value", "values");
        text_f(to, " of %lld of %lld suspects, corrected between two calibrations; %s, not granted by the mandate\n",
               (long long)have_int(offer, "devices"), (long long)have_int(offer, "suspects"), have_text(offer, "offered"));
        cJSON_ArrayForEach(i, have(have(offer, "spec"), "intervals"))
        {
                text_f(to, "             interval %lld, ", (long long)have_int(i, "interval"));
                if (have_text(i, "why_not")[0])
                        text_f(to, "not: %s\n", have_text(i, "why_not"));
                else
                        text_f(to, "between calibrations %lld and %lld: %s\n", (long long)have_int(i, "before"),
                               (long long)have_int(i, "after"), have_text(i, "sentence"));
        }
        text_f(to, "             to take it: tipplane evaluate %s\n", run);
}
