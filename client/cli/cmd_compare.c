/* cmd_compare.c: two files of one kind against each other, in plain words: two networks band by band, two sets of error terms by what they
   would say about any passive device. */
#include "cli/number.h"
#include "cli/offline.h"
#include "cli/show.h"
#include "rf/difference.h"
#include <stdio.h>

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

static void networks_json(struct cli *c, const struct rf_difference *d)
{
        struct json_out o = json_to(&c->out);
        json_open(&o, NULL, '{');
        json_text(&o, "kind", "networks");
        json_int(&o, "points_common", (int64_t)d->common_n);
        json_int(&o, "points_a", (int64_t)d->a_n);
        json_int(&o, "points_b", (int64_t)d->b_n);
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
        text_f(&c->out, "largest difference %.3g, %s at ", d->all.worst, entries[d->all.worst_entry]);
        put_hz(&c->out, d->all.worst_hz);
        text_put(&c->out, "\n");
        if (d->transmit_n >= 3)
                text_f(&c->out, "S21 of the second: %.3g fs more delay, %.3g dB more gain, over %zu points that transmit\n",
                       d->delay_s * 1e15, d->loss_db, d->transmit_n);
        if (d->common_n < d->a_n || d->common_n < d->b_n)
                text_f(&c->out, "%zu frequencies are in both; the first has %zu, the second %zu\n", d->common_n, d->a_n, d->b_n);
}

static enum code networks(struct cli *c, struct tp_error *err)
{
        double edges[RF_DIFFERENCE_BANDS_MAX - 1], limit;
        size_t edge_n = 0;
        struct net2 a, b;
        struct rf_difference d;
        enum code code = offline_numbers(c, "bands", edges, RF_DIFFERENCE_BANDS_MAX - 1, &edge_n, err);
        if (!code)
                code = offline_number(c, "limit", 0, 1e3, 1e9, &limit, err);
        if (!code)
                code = offline_net2(c, c->args[0], PLANE_TIP, &a, err);
        if (!code)
                code = offline_net2(c, c->args[1], PLANE_TIP, &b, err);
        if (!code &&
            (code = rf_difference_of(&a, &b, edge_n ? edges : rf_difference_edges, edge_n ? edge_n : rf_difference_edge_n, &d, err)))
                tp_where(err, "%s against %s", c->args[0], c->args[1]);
        if (code)
                return code;
        if (cli_json(c))
                networks_json(c, &d);
        else
                networks_words(c, &d);
        c->status = d.all.worst <= limit ? 0 : EXIT_ENDED_WITH_FAILS;
        return CODE_OK;
}

enum code do_compare(struct cli *c, struct tp_error *err) { return networks(c, err); }
