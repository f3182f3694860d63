/* cmd_compare.c: two files of one kind against each other, in plain words: two sets of error terms by what they would say about any passive
   device; networks are cmd_compare_networks.c's. */
#include "cli/compare.h"
#include "cli/number.h"
#include "cli/offline.h"
#include "cli/show.h"
#include "rf/trust/compare.h"
#include "rf/network/difference.h"
#include "rf/correct/pick.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *const entries[4] = {"S11", "S12", "S21", "S22"};

/* ---- two sets of error terms --------------------------------------------------------------------------------------------------------- */

struct side {
        struct terms terms;
        struct switch_terms sw;
        bool has_sw;
};

static enum code side_on(struct cli *c, const struct terms_json *t, const struct axis *axis, struct side *ret, struct tp_error *err)
{
        size_t *at = arena_take(c->arena, axis->n * sizeof *at);
        void *memory = arena_take(c->arena, terms_bytes(axis->n)), *switches = arena_take(c->arena, switch_terms_bytes(axis->n));
        if (!at || !memory || !switches)
                return tp_fail_memory(err);
        enum code code = rf_pick(&t->axis, axis, at, err);
        if (code)
                return code;
        ret->terms = terms_at(memory, axis);
        ret->sw = switch_terms_at(switches, axis);
        ret->has_sw = t->has_sw;
        rf_pick_terms(&t->terms, at, &ret->terms);
        if (t->has_sw)
                rf_pick_switch_terms(&t->sw, at, &ret->sw);
        return CODE_OK;
}

/* Frequencies that both have. */
static enum code common_axis(struct cli *c, const struct axis *a, const struct axis *b, struct axis *ret, struct tp_error *err)
{
        double *hz = arena_take(c->arena, a->n * sizeof *hz);
        size_t n = 0;
        if (!hz)
                return tp_fail_memory(err);
        for (size_t i = 0, j = 0; i < a->n && j < b->n;) {
                if (fabs(a->hz[i] - b->hz[j]) <= 1e-9 * a->hz[i])
                        hz[n++] = a->hz[i++], j++;
                else if (a->hz[i] < b->hz[j])
                        i++;
                else
                        j++;
        }
        if (n == 0)
                return tp_fail(err, CODE_BAD_INPUT,
                               "no frequency is in both: the first has %zu from %.9g to %.9g Hz, the second %zu from %.9g "
                               "to %.9g Hz",
                               a->n, a->hz[0], a->hz[a->n - 1], b->n, b->hz[0], b->hz[b->n - 1]);
        if (n < a->n || n < b->n)
                cli_note(c, "%zu frequencies from %.9g to %.9g Hz are in both; the first has %zu, the second %zu", n, hz[0], hz[n - 1],
                         a->n, b->n);
        return axis_of(n, hz, ret, err);
}

static void terms_json_out(struct cli *c, const struct rf_comparison *r, const double *edges, size_t edge_n)
{
        static const char *const names[4] = {"s11", "s12", "s21", "s22"};
        struct json_out o = json_to(&c->out);
        json_open(&o, NULL, '{');
        json_text(&o, "kind", "terms");
        json_int(&o, "points_common", (int64_t)r->axis->n);
        json_int(&o, "points_with_bound", (int64_t)r->point_n);
        cli_notes_json(c, &o);
        json_real(&o, "worst", r->worst_all);
        json_real(&o, "worst_hz", r->worst_hz);
        json_text(&o, "worst_entry", entries[r->worst_entry]);
        json_real(&o, "median", r->median);
        json_text(&o, "sentence", r->sentence);
        json_open(&o, "edges_hz", '[');
        for (size_t k = 0; k < edge_n; k++)
                json_real(&o, NULL, edges[k]);
        json_close(&o, ']');
        json_open(&o, "freq_hz", '[');
        for (size_t i = 0; i < r->axis->n; i++)
                json_real(&o, NULL, r->axis->hz[i]);
        json_close(&o, ']');
        json_open(&o, "bound", '{');
        for (int k = 0; k < 4; k++) {
                json_open(&o, names[k], '[');
                for (size_t i = 0; i < r->axis->n; i++)
                        json_real(&o, NULL, r->bound[k][i]);
                json_close(&o, ']');
        }
        json_close(&o, '}');
        json_close(&o, '}');
        text_put(&c->out, "\n");
}

static void terms_words(struct cli *c, const struct rf_comparison *r, const double *edges, size_t edge_n)
{
        struct table t = table_of(c->arena, "rrrr");
        static const char *const heads[] = {"from", "to", "differ at most", "at"};
        for (int k = 0; k < 4; k++)
                table_cell(&t, "%s", heads[k]);
        for (size_t band = 0, i = 0; band <= edge_n; band++) {
                double worst = NAN, at[3] = {0};
                size_t first = i;
                for (; i < r->axis->n && (band == edge_n || r->axis->hz[i] < edges[band]); i++)
                        if (!isnan(r->worst[i]) && !(r->worst[i] <= worst)) {
                                worst = r->worst[i];
                                at[2] = r->axis->hz[i];
                        }
                if (i == first)
                        continue;
                at[0] = r->axis->hz[first];
                at[1] = r->axis->hz[i - 1];
                for (int k = 0; k < 3; k++) {
                        struct text hz;
                        text_init(&hz, 0);
                        put_hz(&hz, at[k]);
                        if (k == 2)
                                table_cell(&t, "%.3g", worst);
                        table_cell(&t, "%s", text_of(&hz));
                        text_done(&hz);
                }
        }
        table_put(&t, &c->out);
        text_f(&c->out, "%s\n", r->sentence);
}

static enum code terms(struct cli *c, struct tp_error *err)
{
        double edges[RF_DIFFERENCE_BANDS_MAX - 1], limit;
        const double *bands = rf_difference_edges;
        size_t edge_n = 0;
        struct terms_json *a = NULL, *b = NULL;
        struct axis axis;
        struct side one, two;
        enum code code = offline_numbers(c, "bands", edges, RF_DIFFERENCE_BANDS_MAX - 1, &edge_n, err);
        if (!code)
                code = offline_number(c, "limit", 0, 1e3, 1e9, &limit, err);
        if (edge_n)
                bands = edges;
        else
                edge_n = rf_difference_edge_n;
        if (!code)
                code = offline_terms(c, c->args[0], &a, err);
        if (!code)
                code = offline_terms(c, c->args[1], &b, err);
        if (code)
                return code;
        code = common_axis(c, &a->axis, &b->axis, &axis, err);
        if (!code)
                code = side_on(c, a, &axis, &one, err);
        if (!code)
                code = side_on(c, b, &axis, &two, err);
        void *memory = code ? NULL : arena_take(c->arena, rf_comparison_bytes(axis.n));
        if (!code && !memory)
                code = tp_fail_memory(err);
        if (!code) {
                struct rf_comparison r = rf_comparison_at(memory, &axis);
                code = rf_compare(&one.terms, one.has_sw ? &one.sw : NULL, &two.terms, two.has_sw ? &two.sw : NULL, &r, err);
                if (!code && cli_json(c))
                        terms_json_out(c, &r, bands, edge_n);
                else if (!code)
                        terms_words(c, &r, bands, edge_n);
                if (!code)
                        c->status = r.worst_all <= limit ? 0 : EXIT_ENDED_WITH_FAILS;
        }
        return code ? tp_where(err, "%s against %s", c->args[0], c->args[1]) : CODE_OK;
}

static bool is_json(const char *path)
{
        const char *dot = strrchr(path, '.');
        return dot && strcmp(dot, ".json") == 0;
}

enum code do_compare(struct cli *c, struct tp_error *err)
{
        if (is_json(c->args[0]) && (cli_has(c, "interpolate") || cli_has(c, "modes")))
                return tp_fail(err, CODE_BAD_INPUT, "--%s is for networks; error terms are compared at the frequencies that both have",
                               cli_has(c, "interpolate") ? "interpolate" : "modes");
        if (is_json(c->args[0]) != is_json(c->args[1]))
                return tp_fail(err, CODE_BAD_INPUT, "%s and %s are of two kinds; compare two networks (.s2p) or two sets of terms (.json)",
                               c->args[0], c->args[1]);
        return is_json(c->args[0]) ? terms(c, err) : compare_networks(c, err);
}
