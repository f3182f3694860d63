/* cmd_compare.c: two files of one kind against each other, in plain words: two networks band by band, two sets of error terms by what they
   would say about any passive device. */
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

static void band_json(struct json_out *o, const char *key, const struct rf_difference_band *b)
{
        json_open(o, key, '{');
        json_real(o, "from_hz", b->from_hz);
        json_real(o, "to_hz", b->to_hz);
        json_int(o, "points", (int64_t)b->points);
        json_real(o, "worst", b->worst);
        json_real(o, "worst_hz", b->worst_hz);
        json_text(o, "worst_entry", entries[b->worst_entry]);
        json_open(o, "entries", '[');
        for (int k = 0; k < 4; k++) {
                json_open(o, NULL, '{');
                json_text(o, "entry", entries[k]);
                json_real(o, "worst", b->entry[k].worst);
                json_real(o, "worst_hz", b->entry[k].worst_hz);
                json_real(o, "rms", b->entry[k].rms);
                json_close(o, '}');
        }
        json_close(o, ']');
        json_close(o, '}');
}

static void networks_json(struct cli *c, const struct rf_difference *d, size_t a_n, size_t b_n)
{
        struct json_out o = json_to(&c->out);
        json_open(&o, NULL, '{');
        json_text(&o, "kind", "networks");
        json_int(&o, "points_common", (int64_t)d->common_n);
        json_int(&o, "points_a", (int64_t)a_n);
        json_int(&o, "points_b", (int64_t)b_n);
        cli_notes_json(c, &o);
        band_json(&o, "all", &d->all);
        json_open(&o, "bands", '[');
        for (size_t k = 0; k < d->band_n; k++)
                band_json(&o, NULL, &d->band[k]);
        json_close(&o, ']');
        json_real(&o, "s21_delay_s", d->delay_s);
        json_real(&o, "s21_loss_db", d->loss_db);
        json_int(&o, "s21_points", (int64_t)d->transmit_n);
        json_close(&o, '}');
        text_put(&c->out, "\n");
}

static void networks_words(struct cli *c, const struct rf_difference *d)
{
        struct table t = table_of(c->arena, "rrrrrrrl");
        static const char *const heads[] = {"from", "to", "points", "|dS11|", "|dS12|", "|dS21|", "|dS22|", "largest at"};
        for (int k = 0; k < 8; k++)
                table_cell(&t, "%s", heads[k]);
        for (size_t i = 0; i < d->band_n; i++) {
                const struct rf_difference_band *b = &d->band[i];
                struct text hz[3];
                const double at[3] = {b->from_hz, b->to_hz, b->worst_hz};
                for (int k = 0; k < 3; k++) {
                        text_init(&hz[k], 0);
                        put_hz(&hz[k], at[k]);
                }
                table_cell(&t, "%s", text_of(&hz[0]));
                table_cell(&t, "%s", text_of(&hz[1]));
                table_cell(&t, "%zu", b->points);
                for (int k = 0; k < 4; k++)
                        table_cell(&t, "%.2e", b->entry[k].worst);
                table_cell(&t, "%s, %s", text_of(&hz[2]), entries[b->worst_entry]);
                for (int k = 0; k < 3; k++)
                        text_done(&hz[k]);
        }
        table_put(&t, &c->out);
        if (d->all.worst > 0) {
                text_f(&c->out, "largest difference %.3g, %s at ", d->all.worst, entries[d->all.worst_entry]);
                put_hz(&c->out, d->all.worst_hz);
                text_put(&c->out, "\n");
        } else {
                text_put(&c->out, "no difference\n");
        }
        if (d->transmit_n >= 3 && d->all.worst > 0)
                text_f(&c->out, "S21 of the second: %.3g fs more delay, %.3g dB more gain, over %zu points that transmit\n",
                       d->delay_s * 1e15, d->loss_db, d->transmit_n);
}

static enum code networks(struct cli *c, struct tp_error *err)
{
        double edges[RF_DIFFERENCE_BANDS_MAX - 1], limit;
        size_t edge_n = 0;
        struct net2 net[2];
        struct rf_difference d;
        enum code code = offline_numbers(c, "bands", edges, RF_DIFFERENCE_BANDS_MAX - 1, &edge_n, err);
        if (!code)
                code = offline_number(c, "limit", 0, 1e3, 1e9, &limit, err);
        if (!code)
                code = offline_net2(c, c->args[0], PLANE_TIP, &net[0], err);
        if (!code)
                code = offline_net2(c, c->args[1], PLANE_TIP, &net[1], err);
        if (!code)
                code = offline_reference(c, c->args[1], &net[1], net2_z_real(&net[0]), err);
        if (code)
                return code;
        size_t a_n = net[0].axis->n, b_n = net[1].axis->n;
        code = offline_common(c, c->args, net, 2, cli_has(c, "interpolate"), err);
        if (!code)
                code = rf_difference_of(&net[0], &net[1], edge_n ? edges : rf_difference_edges, edge_n ? edge_n : rf_difference_edge_n, &d,
                                        err);
        if (code)
                return tp_where(err, "%s against %s", c->args[0], c->args[1]);
        if (cli_json(c))
                networks_json(c, &d, a_n, b_n);
        else
                networks_words(c, &d);
        c->status = d.all.worst <= limit ? 0 : EXIT_ENDED_WITH_FAILS;
        return CODE_OK;
}

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
        return is_json(c->args[0]) ? terms(c, err) : networks(c, err);
}
