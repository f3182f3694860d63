/* cmd_extrinsic.c: what lies around a transistor, from files of its off and cold states, and taken off a biased one, with what is not
 * known exactly of them.  The arithmetic is rf/extract/extrinsic.h's and extrinsic_causes.h's; `tipplane extract` reads the elements of what is left. */
#include "cli/number.h"
#include "cli/offline.h"
#include "cli/show.h"
#include "rf/trust/direction.h"
#include "rf/extract/extrinsic_causes.h"
#include "rf/network/convert.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

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

/* A state's file, and what is known of it. */
static enum code state_of(struct cli *c, const char *path, struct rf_state *ret, struct tp_error *err)
{
        struct net2 *net = arena_take(c->arena, sizeof *net);
        struct net2_causes *causes = NULL;
        enum code code = net ? offline_net2(c, path, PLANE_TIP, net, err) : tp_fail_memory(err);
        if (!code)
                code = offline_uncertainty_of(c, path, net, &causes, err);
        struct rf_direction way = {0};
        for (size_t i = 0; i < (code ? 0 : net->axis->n); i++)
                rf_direction_add(&way, net2_get(net, i), 0);
        if (rf_is_backwards(&way))
                offline_note_once(c, path, RF_BACKWARDS);
        *ret = (struct rf_state){net, causes};
        return code;
}

static enum code take_off(struct cli *c, struct rf_states *to, struct rf_extrinsic *x, struct tp_error *err)
{
        int kind = 0;
        const char *path = cli_option(c, "off");
        enum code code = word_of(c, "off-as", rf_off_words, RF_OFF_COLD_PINCH, &kind, err);
        to->off_kind = (enum rf_off)kind;
        if (!code)
                code = offline_number(c, "off-below", 1, 1e15, 5e9, &to->off_below_hz, err);
        if (!code)
                code = state_of(c, path, &to->off, err);
        if (!code && (code = rf_states_off(to, x, err)))
                tp_where(err, "%s", path);
        return code;
}

/* Mean of what falls as the drive rises: Re Z22 of a channel, Re Z11 of junctions; pads taken off. */
static double resistance_of(const struct rf_states *s, size_t k, const struct rf_extrinsic *x)
{
        const struct net2 *net = s->cold[k].net;
        struct rf_extrinsic pads = {.value = {0}};
        double sum = 0, n = 0;
        memcpy(pads.value, x->value, 3 * sizeof *x->value); /* no leads */
        for (size_t i = 0; i < net->axis->n; i++) {
                double hz = net->axis->hz[i];
                if (!(hz > 0 && hz >= s->from_hz && (!(s->below_hz > 0) || hz <= s->below_hz)))
                        continue;
                struct m2 z = m2_inv(rf_extrinsic_remove_y(&pads, rf_y_from_s(net2_get(net, i), net2_z_real(net)), hz));
                sum += creal(z.e[s->cold_kind == RF_COLD_VANISHING ? 3 : 0]);
                n++;
        }
        return n > 0 ? sum / n : NAN;
}

#define OUT_OF_ORDER 0.1  /* of all the range */
#define NEGATIVE_OHM 0.05 /* what a contact may differ by from state to state */

/* With more drive there is less resistance: files in another order than --drive give leads of any sign. */
static enum code order_check(const struct rf_states *s, const char *const *files, const struct rf_extrinsic *x, struct tp_error *err)
{
        double r[RF_COLD_STATES_MAX], most = -INFINITY, least = INFINITY;
        for (size_t k = 0; k < s->cold_n; k++) {
                r[k] = resistance_of(s, k, x);
                most = fmax(most, r[k]);
                least = fmin(least, r[k]);
        }
        for (size_t a = 0; a < s->cold_n; a++)
                for (size_t b = 0; b < s->cold_n; b++)
                        if (s->x[a] < s->x[b] && r[a] - r[b] > OUT_OF_ORDER * (most - least) && most - least > 0.01 * fabs(most))
                                return tp_fail(
                                        err, CODE_UNRESOLVABLE,
                                        "%s with drive %.6g has %.4g ohm, and %s with drive %.6g has %.4g ohm: more drive leaves less; "
                                        "are the files in the order of --drive?",
                                        files[a], 1 / s->x[a], r[a], files[b], 1 / s->x[b], r[b]);
        return CODE_OK;
}

/* u: all that is known of the elements. */
static enum code sign_check(const struct rf_extrinsic *x, const double *u, struct tp_error *err)
{
        for (int e = RF_X_R_IN; e <= RF_X_R_COMMON; e++)
                if (x->value[e] < -NEGATIVE_OHM && x->value[e] < -2 * u[e])
                        return tp_fail(err, CODE_UNRESOLVABLE,
                                       "%s comes out at %.3g ohm with a half width of %.2g, and no lead is negative: look at --drive, the "
                                       "window --from to --below, and whether the files are of one transistor",
                                       rf_extrinsic_words[e], x->value[e], 2 * u[e]);
        return CODE_OK;
}

/* What the model lacks, which no scatter shows.  How much of c_out is the pad's and how much the pinched transistor's own drain capacitance
   is not known: from all to nothing, alike.  And a straight line through the drives is taken for what it is not: by what the weakest of three
   and more changes. */
static enum code add_model(const struct rf_states *s, struct rf_extrinsic *x, struct tp_error *err)
{
        struct rf_extrinsic other = *x;
        struct rf_states fewer = *s;
        if (s->off.net && s->off_kind == RF_OFF_COLD_PINCH) {
                other.value[RF_X_C_OUT] = 0;
                enum code code = rf_states_cold(s, &other, err);
                if (code)
                        return code;
                for (int e = RF_X_L_IN; e < RF_X_COUNT; e++)
                        x->u_model[e] = fabs(other.value[e] - x->value[e]) / sqrt(3);
        }
        if (s->cold_n < 3 || s->cold_kind != RF_COLD_VANISHING)
                return CODE_OK;
        size_t weakest = 0;
        for (size_t k = 1; k < s->cold_n; k++)
                weakest = s->x[k] > s->x[weakest] ? k : weakest;
        fewer.cold_n--;
        for (size_t k = weakest; k < fewer.cold_n; k++) {
                fewer.cold[k] = s->cold[k + 1];
                fewer.x[k] = s->x[k + 1];
        }
        other = *x;
        struct tp_error none = {0};
        if (rf_states_cold(&fewer, &other, &none))
                return CODE_OK;                        /* those left cannot be told from each other: they change nothing */
        for (int e = RF_X_L_IN; e < RF_X_COUNT; e++) { /* noise changes it, too, by the difference of both variances (Hausman 1978) */
                double by = other.value[e] - x->value[e], noise = fmax(0, other.u[e] * other.u[e] - x->u[e] * x->u[e]);
                x->u_model[e] = hypot(x->u_model[e], sqrt(fmax(0, by * by - noise)));
        }
        return CODE_OK;
}

static enum code take_cold(struct cli *c, struct rf_states *to, struct rf_extrinsic *x, struct tp_error *err)
{
        const char *files[RF_COLD_STATES_MAX];
        double drive[RF_COLD_STATES_MAX];
        size_t n = 0, drive_n = 0;
        int kind = 0;
        enum code code = word_of(c, "cold-as", rf_cold_words, RF_COLD_VANISHING, &kind, err);
        to->cold_kind = (enum rf_cold)kind;
        to->channel_ohm = NAN;
        if (!code)
                code = offline_words(c, "cold", files, RF_COLD_STATES_MAX, &n, err);
        if (!code)
                code = offline_numbers(c, "drive", drive, RF_COLD_STATES_MAX, &drive_n, err);
        if (!code && n != drive_n)
                code = tp_fail(err, CODE_BAD_INPUT, "--cold names %zu files, --drive %zu numbers; give each file its drive", n, drive_n);
        if (!code && cli_option(c, "channel-ohm"))
                code = offline_number(c, "channel-ohm", 0, 1e6, 0, &to->channel_ohm, err);
        if (!code)
                code = offline_number(c, "from", 0, 1e15, 0, &to->from_hz, err);
        if (!code)
                code = offline_number(c, "below", 0, 1e15, 0, &to->below_hz, err);
        for (size_t k = 0; k < n && !code; k++) {
                code = state_of(c, files[k], &to->cold[k], err);
                if (!code && !(drive[k] > 0))
                        code = tp_fail(err, CODE_BAD_INPUT, "--drive %.6g of %s: a drive is above 0", drive[k], files[k]);
                to->x[k] = 1 / drive[k];
        }
        to->cold_n = n;
        if (!code)
                code = rf_states_cold(to, x, err);
        if (!code)
                code = order_check(to, files, x, err);
        return code ? code : add_model(to, x, err);
}

#define SHOWN 3 /* causes of a budget */

/* The largest parts of u^2 of an element; 0: nothing says what they are. */
static size_t budget_of(const struct rf_extrinsic_known *known, int element, struct cause_share ret[SHOWN])
{
        double each[CAUSES_MAX];
        if (!known)
                return 0;
        for (size_t k = 0; k < known->causes.n; k++)
                each[k] = known->change[k][element];
        return net2_causes_shares(&known->causes, each, ret, SHOWN);
}

/* known: NULL where no document says how well the states are known: the scatter alone. */
static void put_words(struct cli *c, const struct rf_extrinsic *x, const struct rf_extrinsic_known *known, struct text *to)
{
        bool budget = cli_has(c, "budget");
        struct table t = table_of(c->arena, budget ? "lrl" : "lr");
        for (int k = 0; k < RF_X_COUNT; k++) {
                struct text value;
                struct cause_share share[SHOWN];
                text_init(&value, 0);
                put_quantity(&value, x->value[k], 2 * (known ? known->u[k] : hypot(x->u[k], x->u_model[k])), rf_extrinsic_units[k]);
                table_cell(&t, "%s", rf_extrinsic_words[k]);
                table_cell(&t, "%s", text_of(&value));
                text_clear(&value);
                size_t n = budget_of(known, k, share);
                for (size_t m = 0; m < n; m++)
                        text_f(&value, "%s%s %.0f %%", m ? ", " : "", share[m].name, 100 * share[m].share);
                if (budget)
                        table_cell(&t, "%s", text_of(&value));
                text_done(&value);
        }
        table_put(&t, to);
}

static void put_json(struct cli *c, const struct rf_extrinsic *x, const struct rf_extrinsic_known *known, const struct net2 *net,
                     const struct text *document)
{
        struct json_out o = json_to(&c->out);
        json_open(&o, NULL, '{');
        json_open(&o, "elements", '[');
        for (int k = 0; k < RF_X_COUNT; k++) {
                struct cause_share share[SHOWN];
                size_t n = budget_of(known, k, share);
                json_open(&o, NULL, '{');
                json_text(&o, "name", rf_extrinsic_words[k]);
                json_text(&o, "unit", rf_extrinsic_units[k]);
                json_real(&o, "value", x->value[k]);
                json_real(&o, "u", known ? known->u[k] : hypot(x->u[k], x->u_model[k]));
                if (known) {
                        json_real(&o, "u_scatter", x->u[k]);
                        json_real(&o, "u_model", x->u_model[k]);
                        json_open(&o, "budget", '[');
                        for (size_t m = 0; m < n; m++) {
                                json_open(&o, NULL, '{');
                                json_text(&o, "cause", share[m].name);
                                json_real(&o, "percent", 100 * share[m].share);
                                json_close(&o, '}');
                        }
                        json_close(&o, ']');
                }
                json_close(&o, '}');
        }
        json_close(&o, ']');
        if (known) {
                json_open(&o, "not_counted", '[');
                for (size_t k = 0; k < known->causes.not_counted_n; k++)
                        json_text(&o, NULL, known->causes.not_counted[k]);
                json_close(&o, ']');
        }
        cli_notes_json(c, &o);
        if (net)
                offline_net2_json(&o, net);
        if (document->n)
                json_raw(&o, "uncertainty", text_of(document));
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

/* What is known of the elements, and of the inside; *ret NULL: no state has a document. */
static enum code known_of(struct cli *c, const struct rf_states *s, const struct rf_extrinsic *x, struct rf_extrinsic_known **ret,
                          struct tp_error *err)
{
        const struct rf_state *const ends[2] = {&s->off, &s->hot};
        size_t with = 0, all = s->cold_n;
        for (size_t k = 0; k < s->cold_n; k++)
                with += s->cold[k].causes != NULL;
        for (int k = 0; k < 2; k++) {
                with += ends[k]->causes != NULL;
                all += ends[k]->net != NULL;
        }
        if (with == 0 && cli_has(c, "budget"))
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "--budget is of causes, and none of the states has a document of them (X.u.json); `tipplane correct` makes it");
        if (with == 0)
                return CODE_OK;
        if (with < all)
                cli_note(c, "of %zu of %zu states nothing says how well they are known; they count as exact", all - with, all);
        if (!(*ret = arena_take(c->arena, sizeof **ret)))
                return tp_fail_memory(err);
        return rf_extrinsic_causes(s, x, c->arena, *ret, err);
}

/* The inside to --out or stdout, and its document beside it. */
static enum code put_inside(struct cli *c, bool pinched, const struct net2 *inside, const struct rf_extrinsic_known *known,
                            struct text *document, struct tp_error *err)
{
        const char *out = cli_option(c, "out"), *file = out && strcmp(out, "-") != 0 ? out : NULL;
        char comment[500];
        struct text text;
        snprintf(comment, sizeof comment, "pads and leads of the transistor taken off %.200s%s", c->args[0],
                 pinched ? "\n" OFFLINE_WITHOUT_CDS
                           ": the pinched state does not tell it from the pad at port 2, and it was taken off with it"
                         : "");
        text_init(&text, FILE_BYTES_MAX);
        enum code code = offline_net2_text(inside, 0, comment, file, &text, err);
        if (!code && known)
                code = offline_uncertainty_text(c, inside, &known->inside, file ? file : c->args[0], &text, document, err);
        if (!code && (!cli_json(c) || out))
                code = offline_out(c, &text, err);
        if (!code && known && file)
                code = offline_uncertainty_write(c, file, document, err);
        if (!code && known && !file && !cli_json(c))
                cli_note(c, "what is not known exactly of the inside has no file to lie beside; give --out FILE");
        text_done(&text);
        return code;
}

static void say(struct cli *c, const struct rf_extrinsic *x, const struct rf_extrinsic_known *known, bool file_on_stdout)
{
        struct text words;
        text_init(&words, 0);
        put_words(c, x, known, &words);
        if (file_on_stdout)
                fputs(text_of(&words), stderr);
        else
                text_bytes(&c->out, text_of(&words), words.n);
        text_done(&words);
}

enum code do_extrinsic(struct cli *c, struct tp_error *err)
{
        struct rf_extrinsic x = {.value = {0}};
        double both[RF_X_COUNT];
        struct rf_states *s = arena_take(c->arena, sizeof *s);
        struct rf_extrinsic_known *known = NULL;
        struct net2 inside;
        struct text document;
        bool has_file = c->arg_n > 0;
        if (!s)
                return tp_fail_memory(err);
        if (!cli_option(c, "off") && !cli_option(c, "cold"))
                return tp_fail(err, CODE_BAD_INPUT, "`tipplane extrinsic` needs --off FILE, or --cold FILES with --drive, or both");
        enum code code = options_used(c, err);
        if (!code && cli_option(c, "off"))
                code = take_off(c, s, &x, err);
        if (!code && cli_option(c, "cold"))
                code = take_cold(c, s, &x, err);
        if (!code && has_file)
                code = state_of(c, c->args[0], &s->hot, err);
        if (!code && has_file && !offline_net2_new(c, s->hot.net->axis, &inside))
                code = tp_fail_memory(err);
        if (!code && has_file && (code = rf_extrinsic_remove(&x, s->hot.net, &inside, err)))
                tp_where(err, "%s", c->args[0]);
        if (!code)
                code = known_of(c, s, &x, &known, err);
        for (int e = 0; e < RF_X_COUNT; e++)
                both[e] = hypot(x.u[e], x.u_model[e]);
        if (!code)
                code = sign_check(&x, known ? known->u : both, err);
        if (code)
                return code;
        text_init(&document, FILE_BYTES_MAX);
        if (has_file)
                code = put_inside(c, s->off.net && s->off_kind == RF_OFF_COLD_PINCH, &inside, known, &document, err);
        if (!code && cli_json(c))
                put_json(c, &x, known, has_file ? &inside : NULL, &document);
        else if (!code)
                say(c, &x, known, has_file && !cli_option(c, "out"));
        text_done(&document);
        return code;
}
