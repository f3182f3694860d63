/* cmd_deembed.c: pads and leads off a corrected two-port, from dummies in files, and what is not known exactly of both.  The methods are
 * rf/deembed/deembed.h's. */
#include "cli/number.h"
#include "cli/offline.h"
#include "cli/show.h"
#include "rf/deembed/deembed_causes.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* "short_left" is asked for as --short-left. */
static void option_of(int dummy, char ret[32])
{
        snprintf(ret, 32, "%s", rf_dummy_words[dummy]);
        for (char *at = ret; *at; at++)
                if (*at == '_')
                        *at = '-';
}

static void list_methods(struct cli *c)
{
        struct table t = table_of(c->arena, "llrl");
        for (int m = 1; m < RF_DEEMBED_COUNT; m++) {
                const struct rf_deembed_row *row = &rf_deembed_methods[m];
                struct text needs, hz;
                text_init(&needs, 0);
                text_init(&hz, 0);
                for (int k = 1; k < RF_DUMMY_COUNT; k++) {
                        char option[32];
                        option_of(k, option);
                        if (((row->wants | row->may) >> k) & 1u)
                                text_f(&needs, ((row->may >> k) & 1u) ? "%s[--%s]" : "%s--%s", needs.n ? " " : "", option);
                }
                put_hz(&hz, row->good_hz);
                table_cell(&t, "%s", row->word);
                table_cell(&t, "%s", text_of(&needs));
                table_cell(&t, "%s", row->good_hz < 1e15 ? text_of(&hz) : "by its dummies");
                table_cell(&t, "%s", row->say);
                text_done(&needs);
                text_done(&hz);
        }
        table_put(&t, &c->out);
}

static enum code fail_method(const char *word, struct tp_error *err)
{
        char all[200] = "";
        for (int m = 1; m < RF_DEEMBED_COUNT; m++)
                snprintf(all + strlen(all), sizeof all - strlen(all), "%s%s", m > 1 ? ", " : "", rf_deembed_words[m]);
        return word ? tp_fail(err, CODE_BAD_INPUT, "--method '%.40s': there are %s", word, all)
                    : tp_fail(err, CODE_BAD_INPUT, "`tipplane deembed` needs --method WORD: %s", all);
}

static void put_json(struct cli *c, const char *word, const char *out, const struct net2 *net, const struct rf_deembed_limit *limit,
                     const struct text *document)
{
        struct json_out o = json_to(&c->out);
        json_open(&o, NULL, '{');
        json_text(&o, "method", word);
        json_text(&o, "file", c->args[0]);
        json_text(&o, "out", out);
        json_int(&o, "points", (int64_t)net->axis->n);
        json_real(&o, "good_to_hz_practice", limit->practice_hz);
        json_real(&o, "good_to_hz_computed", limit->computed_hz);
        json_bool(&o, "good_everywhere", limit->whole);
        json_text(&o, "limit", limit->say);
        cli_notes_json(c, &o);
        offline_net2_json(&o, net);
        if (document->n)
                json_raw(&o, "uncertainty", text_of(document));
        json_close(&o, '}');
        text_put(&c->out, "\n");
}

/* The device and what is given of its dummies, on one list of frequencies and in the device's reference. */
struct taken {
        struct net2 nets[RF_DUMMY_COUNT], read[RF_DUMMY_COUNT]; /* read: at all its own frequencies */
        const char *names[RF_DUMMY_COUNT];
        int dummy[RF_DUMMY_COUNT];
        struct net2_causes *causes[RF_DUMMY_COUNT]; /* NULL: the file has no document */
        size_t n;
};

static enum code take(struct cli *c, struct taken *t, struct text *comment, struct tp_error *err)
{
        t->names[0] = c->args[0];
        t->n = 1;
        enum code code = offline_net2(c, c->args[0], PLANE_TIP, &t->nets[0], err);
        if (!code && t->nets[0].plane == PLANE_DEVICE)
                code = tp_fail(err, CODE_BAD_INPUT, "%s: the file says it is de-embedded already (reference plane: device)", c->args[0]);
        if (!code)
                code = offline_uncertainty_of(c, c->args[0], &t->nets[0], &t->causes[0], err);
        t->read[0] = t->nets[0];
        for (int k = 1; k < RF_DUMMY_COUNT && !code; k++) {
                char option[32];
                option_of(k, option);
                const char *path = cli_option(c, option);
                if (!path)
                        continue;
                t->names[t->n] = path;
                t->dummy[t->n] = k;
                code = offline_net2(c, path, t->nets[0].plane, &t->nets[t->n], err);
                t->read[t->n] = t->nets[t->n];
                if (!code)
                        code = offline_uncertainty_beside(c, path, &t->nets[t->n], net2_z_real(&t->nets[0]), &t->causes[t->n], err);
                if (!code)
                        code = offline_reference(c, path, &t->nets[t->n], net2_z_real(&t->nets[0]), err);
                text_f(comment, ", %s %s", rf_dummy_words[k], path);
                t->n++;
        }
        if (!code)
                code = offline_common(c, t->names, t->nets, t->n, cli_has(c, "interpolate"), err);
        for (size_t k = 0; k < t->n && !code; k++)
                if (t->causes[k])
                        code = offline_causes_on(c, t->causes[k], t->nets[k].axis, err);
        for (size_t k = 0; k < c->note_n && !code; k++)
                text_f(comment, "\n%s", c->note[k]);
        for (size_t k = 0; k < t->n && !code; k++) /* what is odd is no part of how the result was made */
                offline_look_read(c, t->names[k], &t->read[k]);
        return code;
}

/* What is not known exactly of the result; *ret NULL: nothing is said of any part. */
static enum code causes_of(struct cli *c, const struct taken *t, enum deembed_method method, const struct dummies *dummies,
                           struct net2_causes **ret, struct tp_error *err)
{
        const struct net2_causes *of[RF_DUMMY_COUNT] = {t->causes[0]};
        bool any = t->causes[0] != NULL;
        for (size_t k = 1; k < t->n; k++) {
                of[t->dummy[k]] = t->causes[k];
                any = any || t->causes[k];
        }
        if (!any)
                return CODE_OK;
        for (size_t k = 0; k < t->n; k++)
                if (!t->causes[k])
                        cli_note(c, "%s: nothing says how well it is known (%s); it counts as exact", t->names[k],
                                 offline_uncertainty_path(c, t->names[k]));
        if (!(*ret = arena_take(c->arena, sizeof **ret)))
                return tp_fail_memory(err);
        return rf_deembed_causes(method, &t->nets[0], dummies, of, c->arena, *ret, err);
}

/* The result, and the document beside it. */
static enum code put(struct cli *c, const char *word, const struct net2 *net, const struct net2_causes *causes, const char *comment,
                     const struct rf_deembed_limit *limit, struct tp_error *err)
{
        const char *out = cli_option(c, "out"), *file = out && strcmp(out, "-") != 0 ? out : NULL;
        struct text text, document;
        text_init(&text, FILE_BYTES_MAX);
        text_init(&document, FILE_BYTES_MAX);
        enum code code = offline_net2_text(net, 0, comment, file, &text, err);
        if (!code && causes)
                code = offline_uncertainty_text(c, net, causes, file ? file : c->args[0], &text, &document, err);
        if (!code && (!cli_json(c) || out))
                code = offline_out(c, &text, err);
        if (!code && causes && file)
                code = offline_uncertainty_write(c, file, &document, err);
        if (!code && causes && !file && !cli_json(c))
                cli_note(c, "what is not known exactly of the result has no file to lie beside; give --out FILE");
        if (!code && cli_json(c))
                put_json(c, word, out, net, limit, &document);
        text_done(&text);
        text_done(&document);
        return code;
}

/* The same readings, to the last digit but one. */
static bool are_one(const struct net2 *a, const struct net2 *b)
{
        for (size_t i = 0; i < a->axis->n; i++)
                for (int e = 0; e < 4; e++)
                        if (!(fabs(a->re[e][i] - b->re[e][i]) < 1e-12 && fabs(a->im[e][i] - b->im[e][i]) < 1e-12))
                                return false;
        return true;
}

/* Said, not acted upon: what is wrong with a dummy is for people to see to. */
static void exchanged_check(struct cli *c, const struct taken *t, enum deembed_method method, const struct dummies *dummies)
{
        struct rf_deembed_exchange e;
        const char *one = NULL, *other = NULL;
        char say[300];
        if (rf_deembed_unlike(method, dummies, sizeof say, say))
                cli_note(c, "%s: %s", rf_deembed_words[method], say);
        for (size_t k = 1; k < t->n; k++)
                for (size_t m = 0; m < k; m++)
                        if (are_one(&t->nets[m], &t->nets[k]))
                                cli_note(c, "%s, which is given as the %s, holds the same numbers as %s, the %s: is it the right file?",
                                         t->names[k], rf_dummy_words[t->dummy[k]], t->names[m], rf_dummy_words[m ? t->dummy[m] : 0]);
        if (!rf_deembed_exchanged(method, dummies, &e))
                return;
        for (size_t k = 1; k < t->n; k++) {
                one = t->dummy[k] == (int)e.one ? t->names[k] : one;
                other = t->dummy[k] == (int)e.other ? t->names[k] : other;
        }
        if (one && other)
                cli_note(c, "%s, %s: %s", one, other, e.say);
        else
                cli_note(c, "%s: %s", rf_deembed_words[method], e.say);
}

/* Delay of what lies in series in something short: S21 - 1 - S11 is 0 of any shunt and -Z/z of a series Z, so -j w tau of a piece of line.
   Least squares through zero, from the lowest frequency to where it is no longer small; NaN: fewer than three points are. */
static double series_delay(const struct net2 *net)
{
        double ww = 0, wx = 0;
        size_t used = 0;
        for (size_t i = 0; i < net->axis->n; i++) {
                struct m2 s = net2_get(net, i);
                double complex x = s.e[2] - 1 - s.e[0];
                double w = RF_TWO_PI * net->axis->hz[i];
                if (!(cabs(x) < 0.5))
                        break;
                ww += w * w;
                wx -= w * cimag(x);
                used++;
        }
        return used < 3 ? NAN : wx / ww;
}

/* l_2l believes that pads are shunts.  Where the second line is not twice the first, a piece of line is left between them: of less than
   nothing where it is longer, of all three times that they differ by where the two are exchanged. */
#define LEFT_LEAST (-0.1)
#define LEFT_MOST 0.75
static enum code lines_check(struct cli *c, const struct taken *t, const struct dummies *dummies, struct tp_error *err)
{
        const struct net2 *one = dummies->of[RF_DUMMY_LINE], *two = dummies->of[RF_DUMMY_LINE_DOUBLE];
        struct net2 pads;
        size_t n = one && two ? one->axis->n : 0;
        double *gamma = arena_take(c->arena, (2 * n + 1) * sizeof *gamma);
        if (!gamma || (n && !offline_net2_new(c, one->axis, &pads)))
                return tp_fail_memory(err);
        for (size_t i = 0; i < n; i++)
                net2_put(&pads, i, rf_l2l_pads(net2_get(one, i), net2_get(two, i)));
        if (n < 3 || rf_l2l_gamma(one, two, 0.1, gamma, gamma + n, NULL, NULL))
                return CODE_OK; /* the method says why */
        double left = series_delay(&pads), width = one->axis->hz[n - 1] - one->axis->hz[0];
        double differ = fabs(0.1 * (gamma[2 * n - 1] - gamma[n]) / (RF_TWO_PI * width)), share = left / differ;
        if (!isnan(share) && share >= LEFT_LEAST && share <= LEFT_MOST)
                cli_note(c,
                         "l_2l: between the pads %.3g ps of line are left, %.2g of what the two lines differ by: none where the second is "
                         "twice the first and the pads are shunts; the device is off by as much",
                         left * 1e12, share);
        if (isnan(share) || (share >= LEFT_LEAST && share <= LEFT_MOST))
                return CODE_OK;
        const char *first = "", *second = "";
        for (size_t k = 1; k < t->n; k++) {
                first = t->dummy[k] == RF_DUMMY_LINE ? t->names[k] : first;
                second = t->dummy[k] == RF_DUMMY_LINE_DOUBLE ? t->names[k] : second;
        }
        return tp_fail(
                err, CODE_UNRESOLVABLE,
                "%s is not twice as long as %s: the two differ by %.3g ps, and between the pads %.3g ps of line are left (from %g to "
                "%g times the difference may be pads): %s",
                second, first, differ * 1e12, left * 1e12, LEFT_LEAST, LEFT_MOST,
                share < 0   ? "the second line is longer than twice the first"
                : share > 2 ? "the two are exchanged"
                            : "the second line is shorter than twice the first");
}

enum code do_deembed(struct cli *c, struct tp_error *err)
{
        const char *word = cli_option(c, "method");
        struct net2_causes *causes = NULL;
        struct taken *t = arena_take(c->arena, sizeof *t);
        struct rf_named_dummy given[RF_DUMMY_COUNT];
        struct net2 result;
        struct dummies dummies = {{NULL}};
        struct text comment;
        if (!t)
                return tp_fail_memory(err);
        if (cli_has(c, "methods")) {
                list_methods(c);
                return CODE_OK;
        }
        enum deembed_method method = rf_deembed_method(word);
        if (method == RF_DEEMBED_UNKNOWN)
                return fail_method(word, err);
        if (c->arg_n < 1)
                return tp_fail(err, CODE_BAD_INPUT, "`tipplane deembed` needs the FILE of the device");
        text_init(&comment, 0);
        text_f(&comment, "de-embedded by %s from %s", word, c->args[0]);
        enum code code = take(c, t, &comment, err);
        for (size_t k = 1; k < t->n && !code; k++) {
                given[k - 1] = (struct rf_named_dummy){rf_dummy_words[t->dummy[k]], &t->nets[k]};
                dummies.of[t->dummy[k]] = &t->nets[k];
        }
        if (!code && method == RF_DEEMBED_L_2L)
                code = lines_check(c, t, &dummies, err);
        if (!code)
                exchanged_check(c, t, method, &dummies);
        if (!code && !offline_net2_new(c, t->nets[0].axis, &result))
                code = tp_fail_memory(err);
        if (!code && (code = rf_deembed_by_word(word, &t->nets[0], given, t->n - 1, &result, c->arena, err)))
                tp_where(err, "%s", c->args[0]);
        struct rf_deembed_limit limit = {0};
        if (!code)
                code = rf_deembed_limit_of(method, &dummies, &limit, err);
        if (!code && (code = causes_of(c, t, method, &dummies, &causes, err)))
                tp_where(err, "%s", c->args[0]);
        if (!code)
                code = put(c, word, &result, causes, text_of(&comment), &limit, err);
        if (!code && !cli_json(c) && limit.say[0])
                cli_say("%s", limit.say);
        text_done(&comment);
        return code;
}
