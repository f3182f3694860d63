/* cmd_compare_networks.c: two networks against each other, band by band, in plain words. */
#include "cli/compare.h"
#include "cli/number.h"
#include "cli/show.h"
#include "rf/network/difference.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* "S21" */
struct entry_name {
        char word[4];
};
static struct entry_name entry(unsigned ports, unsigned k)
{
        return (struct entry_name){{'S', (char)('1' + k / ports), (char)('1' + k % ports), 0}};
}

static void band_json(struct json_out *o, const char *key, unsigned ports, const struct rf_difference_band *b)
{
        json_open(o, key, '{');
        json_real(o, "from_hz", b->from_hz);
        json_real(o, "to_hz", b->to_hz);
        json_int(o, "points", (int64_t)b->points);
        json_real(o, "worst", b->worst);
        json_real(o, "worst_hz", b->worst_hz);
        json_text(o, "worst_entry", entry(ports, b->worst_entry).word);
        json_open(o, "entries", '[');
        for (unsigned k = 0; k < ports * ports; k++) {
                json_open(o, NULL, '{');
                json_text(o, "entry", entry(ports, k).word);
                json_real(o, "worst", b->entry[k].worst);
                json_real(o, "worst_hz", b->entry[k].worst_hz);
                json_real(o, "rms", b->entry[k].rms);
                json_close(o, '}');
        }
        json_close(o, ']');
        json_close(o, '}');
}

/* known: NULL where no document says what is known. */
static void networks_json(struct cli *c, const struct rf_difference *d, const struct rf_difference_known *known, size_t a_n, size_t b_n)
{
        struct json_out o = json_to(&c->out);
        json_open(&o, NULL, '{');
        json_text(&o, "kind", "networks");
        json_int(&o, "ports", d->ports);
        json_int(&o, "points_common", (int64_t)d->common_n);
        json_int(&o, "points_a", (int64_t)a_n);
        json_int(&o, "points_b", (int64_t)b_n);
        cli_notes_json(c, &o);
        band_json(&o, "all", d->ports, &d->all);
        json_open(&o, "bands", '[');
        for (size_t k = 0; k < d->band_n; k++)
                band_json(&o, NULL, d->ports, &d->band[k]);
        json_close(&o, ']');
        json_real(&o, "s21_delay_s", d->delay_s);
        json_real(&o, "s21_loss_db", d->loss_db);
        json_int(&o, "s21_points", (int64_t)d->transmit_n);
        if (known) {
                json_open(&o, "known", '{');
                json_int(&o, "entries", (int64_t)known->points);
                json_int(&o, "beyond", (int64_t)known->beyond);
                json_real(&o, "worst_share", known->worst);
                json_real(&o, "worst_hz", known->worst_hz);
                json_text(&o, "worst_entry", entry(d->ports, known->worst_entry).word);
                json_close(&o, '}');
        }
        json_close(&o, '}');
        text_put(&c->out, "\n");
}

static void networks_words(struct cli *c, const struct rf_difference *d)
{
        bool few = d->ports <= 2; /* a column for each entry, or one for the largest */
        unsigned columns = few ? d->ports * d->ports : 1;
        struct table t = table_of(c->arena, d->ports == 1 ? "rrrrl" : few ? "rrrrrrrl" : "rrrrl");
        table_cell(&t, "from");
        table_cell(&t, "to");
        table_cell(&t, "points");
        for (unsigned k = 0; k < columns; k++)
                table_cell(&t, few ? "|d%s|" : "largest |dS|%.0s", entry(d->ports, k).word);
        table_cell(&t, "largest at");
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
                for (unsigned k = 0; k < columns; k++)
                        table_cell(&t, "%.2e", few ? b->entry[k].worst : b->worst);
                table_cell(&t, "%s, %s", text_of(&hz[2]), entry(d->ports, b->worst_entry).word);
                for (int k = 0; k < 3; k++)
                        text_done(&hz[k]);
        }
        table_put(&t, &c->out);
        if (d->all.worst > 0) {
                text_f(&c->out, "largest difference %.3g, %s at ", d->all.worst, entry(d->ports, d->all.worst_entry).word);
                put_hz(&c->out, d->all.worst_hz);
                text_put(&c->out, "\n");
        } else {
                text_put(&c->out, "no difference\n");
        }
        if (d->transmit_n >= 3 && d->all.worst > 0)
                text_f(&c->out, "S21 of the second: %.3g fs more delay, %.3g dB more gain, over %zu points that transmit\n",
                       d->delay_s * 1e15, d->loss_db, d->transmit_n);
}

static void known_words(struct cli *c, unsigned ports, const struct rf_difference_known *known)
{
        if (known->beyond)
                text_f(&c->out, "%zu of %zu S differ by more than their uncertainty, ", known->beyond, known->points);
        else
                text_f(&c->out, "none of %zu S differs by more than its uncertainty, ", known->points);
        text_f(&c->out, "at most by %.3g of the 95 %% half width, %s at ", known->worst, entry(ports, known->worst_entry).word);
        put_hz(&c->out, known->worst_hz);
        text_put(&c->out, "\n");
}

/* Two ports: on common frequencies, or interpolated.  *ret_known: NULL unless a document says what is known of one of them. */
static enum code two_ports(struct cli *c, struct net2 net[2], const double *edges, size_t edge_n, struct rf_difference *ret,
                           struct rf_difference_known **ret_known, struct tp_error *err)
{
        struct net2_causes *of[2] = {NULL, NULL};
        double z = net2_z_real(&net[0]), other = net2_z_real(&net[1]);
        enum code code = CODE_OK;
        for (int k = 0; k < 2 && !code && (z == other || (isnan(z) && isnan(other)));
             k++) /* a document is not brought to another reference */
                code = offline_uncertainty_of(c, c->args[k], &net[k], &of[k], err);
        if (!code)
                code = offline_reference(c, c->args[1], &net[1], z, err);
        if (!code)
                code = offline_common(c, c->args, net, 2, cli_has(c, "interpolate"), err);
        if (!code)
                code = rf_difference_of(&net[0], &net[1], edges, edge_n, ret, err);
        if (code || (!of[0] && !of[1]))
                return code;
        for (int k = 0; k < 2 && !code; k++) {
                if (of[k])
                        code = offline_causes_on(c, of[k], net[k].axis, err);
                else
                        cli_note(c, "%s: nothing says how well it is known; it counts as exact", c->args[k]);
        }
        if (!code && !(*ret_known = arena_take(c->arena, sizeof **ret_known)))
                code = tp_fail_memory(err);
        if (!code)
                rf_difference_known_of(&net[0], of[0], &net[1], of[1], *ret_known);
        return code;
}

/* What the documents of two networks say, of which one has one at least. */
static enum code known_of_ports(struct cli *c, const struct netn net[2], struct netn_causes *const of[2], struct rf_difference_known **ret,
                                struct tp_error *err)
{
        if (!(*ret = arena_take(c->arena, sizeof **ret)))
                return tp_fail_memory(err);
        for (int k = 0; k < 2; k++)
                if (!of[k])
                        cli_note(c, "%s: nothing says how well it is known; it counts as exact", c->args[k]);
        rf_difference_known_of_ports(&net[0], of[0], &net[1], of[1], *ret);
        return CODE_OK;
}

/* One, three or four ports, at the frequencies that both have. */
static enum code other_ports(struct cli *c, struct netn net[2], const double *edges, size_t edge_n, struct rf_difference *ret,
                             struct rf_difference_known **ret_known, struct tp_error *err)
{
        double a = net[0].z_re[0][0], b = net[1].z_re[0][0];
        struct netn_causes *of[2] = {NULL, NULL};
        enum code code = CODE_OK;
        if (cli_has(c, "interpolate"))
                return tp_fail(err, CODE_BAD_INPUT,
                               "--interpolate is for two-ports, and these have %u and %u ports; say with --modes which two", net[0].ports,
                               net[1].ports);
        for (int k = 0; k < 2 && !code && (a == b || (isnan(a) && isnan(b))); k++) /* not brought to another reference */
                code = offline_uncertainty_of_ports(c, c->args[k], &net[k], &of[k], err);
        if (!code && a != b && a > 0 && b > 0) {
                code = rfn_renormalise_net(&net[1], a, err);
                cli_note(c, "%s: its reference of %g ohm brought to %g ohm", c->args[1], b, a);
        }
        if (!code)
                code = rf_difference_of_ports(&net[0], &net[1], edges, edge_n, ret, err);
        if (!code && (ret->common_n < ret->a_n || ret->common_n < ret->b_n))
                cli_note(c, "%zu frequencies from %.9g to %.9g Hz are in both; the first has %zu, the second %zu", ret->common_n,
                         ret->all.from_hz, ret->all.to_hz, ret->a_n, ret->b_n);
        if (!code && (of[0] || of[1]))
                code = known_of_ports(c, net, of, ret_known, err);
        return code;
}

static enum code read_both(struct cli *c, struct netn net[2], struct net2 two[2], bool *ret_two, struct tp_error *err)
{
        enum code code = CODE_OK;
        *ret_two = cli_has(c, "modes");
        for (int k = 0; k < 2 && !code && *ret_two; k++)
                if (!(code = offline_net2(c, c->args[k], PLANE_TIP, &two[k], err)))
                        offline_look_read(c, c->args[k], &two[k]);
        if (*ret_two)
                return code;
        for (int k = 0; k < 2 && !code; k++)
                if (!(code = offline_netn(c, c->args[k], PLANE_TIP, &net[k], err)))
                        offline_look_read_ports(c, c->args[k], &net[k]);
        *ret_two = !code && net[0].ports == 2 && net[1].ports == 2;
        for (int k = 0; k < 2 && !code && *ret_two; k++)
                code = offline_two_of(c, &net[k], 0, 1, &two[k], err);
        return code;
}

enum code compare_networks(struct cli *c, struct tp_error *err)
{
        double own[RF_DIFFERENCE_BANDS_MAX - 1], limit;
        const double *edges = rf_difference_edges;
        size_t edge_n = 0;
        struct netn net[2];
        struct net2 two[2];
        struct rf_difference *d = arena_take(c->arena, sizeof *d);
        struct rf_difference_known *known = NULL;
        bool is_two = false;
        enum code code = d ? offline_numbers(c, "bands", own, RF_DIFFERENCE_BANDS_MAX - 1, &edge_n, err) : tp_fail_memory(err);
        if (!code)
                code = offline_number(c, "limit", 0, 1e3, 1e9, &limit, err);
        if (edge_n)
                edges = own;
        else
                edge_n = rf_difference_edge_n;
        if (!code)
                code = read_both(c, net, two, &is_two, err);
        if (code)
                return code;
        size_t a_n = is_two ? two[0].axis->n : net[0].axis->n, b_n = is_two ? two[1].axis->n : net[1].axis->n;
        code = is_two ? two_ports(c, two, edges, edge_n, d, &known, err) : other_ports(c, net, edges, edge_n, d, &known, err);
        if (code)
                return tp_where(err, "%s against %s", c->args[0], c->args[1]);
        if (cli_json(c))
                networks_json(c, d, known, a_n, b_n);
        else
                networks_words(c, d);
        if (!cli_json(c) && known)
                known_words(c, d->ports, known);
        c->status = d->all.worst <= limit ? 0 : EXIT_ENDED_WITH_FAILS;
        return CODE_OK;
}
