/* cmd_extrinsic.c: what lies around a transistor, from files of its off and cold states, and taken off a biased one.  The arithmetic is
 * rf/extract/extrinsic.h's; `tipplane extract` reads the elements of what is left. */
#include "cli/number.h"
#include "cli/offline.h"
#include "cli/show.h"
#include "rf/extract/extrinsic.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define COLD_MAX 16

/* Index of the option's word; `otherwise` when it is not given. */
static enum code word_of(struct cli *c, const char *option, const char *const *words, int otherwise, int *ret, struct tp_error *err)
{
        const char *given = cli_option(c, option);
        *ret = given ? 0 : otherwise;
        for (int k = 1; given && words[k]; k++)
                if (strcmp(given, words[k]) == 0)
                        *ret = k;
        return *ret ? CODE_OK
                    : tp_fail(err, CODE_BAD_INPUT, "--%s '%.40s': there are %s, %s%s%s", option, given, words[1], words[2],
                              words[3] ? ", " : "", words[3] ? words[3] : "");
}

static enum code from_off(struct cli *c, struct rf_extrinsic *x, struct tp_error *err)
{
        struct net2 net;
        int kind = 0;
        double below = 0;
        const char *path = cli_option(c, "off");
        enum code code = word_of(c, "off-as", rf_off_words, RF_OFF_COLD_PINCH, &kind, err);
        if (!code)
                code = offline_number(c, "off-below", 1, 1e15, 5e9, &below, err);
        if (!code)
                code = offline_net2(c, path, PLANE_TIP, &net, err);
        if (!code && (code = rf_extrinsic_off((enum rf_off)kind, &net, 0, below, x, NULL, err)))
                tp_where(err, "%s", path);
        return code;
}

static enum code from_cold(struct cli *c, struct rf_extrinsic *x, struct tp_error *err)
{
        const char *files[COLD_MAX];
        double drive[COLD_MAX], channel = NAN, from = 0, below = 0;
        struct net2 nets[COLD_MAX];
        const struct net2 *list[COLD_MAX];
        size_t n = 0, drive_n = 0;
        int kind = 0;
        enum code code = word_of(c, "cold-as", rf_cold_words, RF_COLD_VANISHING, &kind, err);
        if (!code)
                code = offline_words(c, "cold", files, COLD_MAX, &n, err);
        if (!code)
                code = offline_numbers(c, "drive", drive, COLD_MAX, &drive_n, err);
        if (!code && n != drive_n)
                code = tp_fail(err, CODE_BAD_INPUT, "--cold names %zu files, --drive %zu numbers; give each file its drive", n, drive_n);
        if (!code && cli_option(c, "channel-ohm"))
                code = offline_number(c, "channel-ohm", 0, 1e6, 0, &channel, err);
        if (!code)
                code = offline_number(c, "from", 0, 1e15, 0, &from, err);
        if (!code)
                code = offline_number(c, "below", 0, 1e15, 0, &below, err);
        for (size_t k = 0; k < n && !code; k++) {
                code = offline_net2(c, files[k], PLANE_TIP, &nets[k], err);
                list[k] = &nets[k];
                if (!code && !(drive[k] > 0))
                        code = tp_fail(err, CODE_BAD_INPUT, "--drive %.6g of %s: a drive is above 0", drive[k], files[k]);
                drive[k] = 1 / drive[k];
        }
        return code ? code : rf_extrinsic_cold((enum rf_cold)kind, list, drive, n, channel, from, below, x, err);
}

static void put_words(struct cli *c, const struct rf_extrinsic *x, struct text *to)
{
        struct table t = table_of(c->arena, "lr");
        for (int k = 0; k < RF_X_COUNT; k++) {
                struct text value;
                text_init(&value, 0);
                put_quantity(&value, x->value[k], 2 * x->u[k], rf_extrinsic_units[k]);
                table_cell(&t, "%s", rf_extrinsic_words[k]);
                table_cell(&t, "%s", text_of(&value));
                text_done(&value);
        }
        table_put(&t, to);
}

static void put_json(struct cli *c, const struct rf_extrinsic *x, const struct net2 *net)
{
        struct json_out o = json_to(&c->out);
        json_open(&o, NULL, '{');
        json_open(&o, "elements", '[');
        for (int k = 0; k < RF_X_COUNT; k++) {
                json_open(&o, NULL, '{');
                json_text(&o, "name", rf_extrinsic_words[k]);
                json_text(&o, "unit", rf_extrinsic_units[k]);
                json_real(&o, "value", x->value[k]);
                json_real(&o, "u", x->u[k]);
                json_close(&o, '}');
        }
        json_close(&o, ']');
        if (net)
                offline_net2_json(&o, net);
        json_close(&o, '}');
        text_put(&c->out, "\n");
}

/* Options that belong to one of the states, or to a biased transistor. */
static enum code options_used(struct cli *c, struct tp_error *err)
{
        static const char *const of_off[] = {"off-as", "off-below"}, *const of_cold[] = {"drive", "cold-as", "channel-ohm", "from",
                                                                                         "below"};
        enum code code = offline_used(c, "out", c->arg_n > 0, "the inside of a biased transistor's FILE", err);
        for (size_t k = 0; k < sizeof of_off / sizeof of_off[0] && !code; k++)
                code = offline_used(c, of_off[k], cli_has(c, "off"), "the state off (--off FILE)", err);
        for (size_t k = 0; k < sizeof of_cold / sizeof of_cold[0] && !code; k++)
                code = offline_used(c, of_cold[k], cli_has(c, "cold"), "cold states (--cold FILES)", err);
        const char *as = cli_option(c, "cold-as");
        if (!code)
                code = offline_used(c, "channel-ohm", as && strcmp(as, rf_cold_words[RF_COLD_GATE_FORWARD]) == 0, "--cold-as gate_forward",
                                    err);
        return code;
}

enum code do_extrinsic(struct cli *c, struct tp_error *err)
{
        struct rf_extrinsic x = {{0}, {0}};
        struct net2 net, inside;
        struct text words;
        bool has_file = c->arg_n > 0;
        enum code code = CODE_OK;
        if (!cli_option(c, "off") && !cli_option(c, "cold"))
                return tp_fail(err, CODE_BAD_INPUT, "`tipplane extrinsic` needs --off FILE, or --cold FILES with --drive, or both");
        code = options_used(c, err);
        if (!code && cli_option(c, "off"))
                code = from_off(c, &x, err);
        if (!code && cli_option(c, "cold"))
                code = from_cold(c, &x, err);
        if (!code && has_file)
                code = offline_net2(c, c->args[0], PLANE_TIP, &net, err);
        if (!code && has_file)
                offline_uncertainty_dropped(c, c->args[0]);
        if (!code && has_file && !offline_net2_new(c, net.axis, &inside))
                code = tp_fail_memory(err);
        if (!code && has_file && (code = rf_extrinsic_remove(&x, &net, &inside, err)))
                tp_where(err, "%s", c->args[0]);
        if (code)
                return code;
        if (cli_json(c))
                put_json(c, &x, has_file ? &inside : NULL);
        if (has_file && (!cli_json(c) || cli_option(c, "out"))) {
                char comment[400];
                snprintf(comment, sizeof comment, "pads and leads of the transistor taken off %.200s", c->args[0]);
                code = offline_net2_out(c, &inside, comment, err);
        }
        if (!code && !cli_json(c)) {
                text_init(&words, 0);
                put_words(c, &x, &words);
                if (has_file && !cli_option(c, "out")) /* the file is on stdout */
                        fputs(text_of(&words), stderr);
                else
                        text_bytes(&c->out, text_of(&words), words.n);
                text_done(&words);
        }
        return code;
}
