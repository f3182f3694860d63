/* extract_number.c: one number of a file, or the sentence that it is below what can be resolved (extract.h).
 * The law     A number that S do not carry is refused, never printed.  How well S are known is stated by a document or by --u.  Where it is
 *             not, they are no better than they scatter, and no better than the best analyzer: that refuses, and is never printed as a half
 *             width, because what moves all points together is not in it. */
#include "cli/extract.h"
#include "cli/number.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define UNSTATED "the file's own scatter and the best there is"
#define STATE_IT "; state --u U or give the document"

enum code extract_read(struct cli *c, const char *path, struct net2 *ret, bool *ret_one, struct tp_error *err)
{
        struct netn net;
        *ret_one = !cli_has(c, "modes") && touchstone_ports_of_name(path) == 1;
        if (!*ret_one)
                return offline_net2(c, path, PLANE_DEVICE, ret, err);
        enum code code = offline_netn(c, path, PLANE_DEVICE, &net, err);
        if (!code && !offline_net2_new(c, net.axis, ret))
                code = tp_fail_memory(err);
        if (code)
                return code;
        size_t bytes = net.axis->n * sizeof(double);
        ret->plane = net.plane;
        memcpy(ret->re[0], net.re[0], bytes);
        memcpy(ret->im[0], net.im[0], bytes);
        memcpy(ret->z_re, net.z_re[0], bytes);
        memcpy(ret->z_im, net.z_im[0], bytes);
        return CODE_OK;
}

/* With nothing at port 2, Z = 1/Y11 is z (1 + S11)/(1 - S11). */
static bool is_of_one_port(enum rf_quantity q)
{
        return (q >= RF_Q_L11 && q <= RF_Q_C11) || q == RF_Q_S11_DB || q == RF_Q_SRF11 || q == RF_Q_Q11_MAX || q == RF_Q_Q11_MAX_HZ;
}

static bool is_refused(const struct rf_extracted *x, size_t i) { return isnan(x->value[i]) && !isnan(x->u95[i]); }

/* Which of the frequencies that were asked for are refused, as words; how many. */
static size_t refused_at(const struct extract_job *j, const struct rf_extracted *x, struct text *to)
{
        size_t n = 0;
        for (size_t k = 0; k < j->at_n; k++) {
                if (!is_refused(x, j->at[k]))
                        continue;
                if (n < 3)
                        text_put(to, n ? ", " : "");
                if (n++ < 3)
                        put_hz(to, x->hz[j->at[k]]);
        }
        text_put(to, n > 3 ? ", …" : "");
        return n;
}

/* Why, and where it can be had. */
static void say_refused(const struct extract_job *j, const char *hz, struct rf_extracted *x)
{
        char before[sizeof x->say], range[100] = "it cannot be had anywhere in the sweep";
        snprintf(before, sizeof before, "%s", x->say);
        if (!j->unstated) {
                snprintf(x->say, sizeof x->say, "below what can be resolved%s%s: %.230s", hz[0] ? " at " : "", hz, before);
                return;
        }
        if (x->range.any)
                snprintf(range, sizeof range, "it can be had from %.4g to %.4g GHz", x->range.lo_hz / 1e9, x->range.hi_hz / 1e9);
        snprintf(x->say, sizeof x->say, "below what can be resolved%s%.60s by " UNSTATED ": %s" STATE_IT, hz[0] ? " at " : "", hz, range);
}

static void say_missing(struct rf_extracted *x)
{
        x->say[0] = '\0';
        if (x->missing_n)
                snprintf(x->say, sizeof x->say, "%zu of %zu points do not exist: %s", x->missing_n, x->n, x->row->nan_say);
}

static void of_points(const struct extract_job *j, struct rf_extracted *x, bool *ret_refused)
{
        struct text hz;
        text_init(&hz, 0);
        size_t refused = refused_at(j, x, &hz);
        *ret_refused = j->at ? refused > 0 : x->refused_n > 0 && x->refused_n + x->missing_n == x->n;
        if (*ret_refused) {
                say_refused(j, text_of(&hz), x);
        } else if (j->unstated) {
                bool some = !j->at && x->refused_n > 0;
                struct rf_range range = x->range;
                say_missing(x);
                size_t used = strlen(x->say);
                if (some)
                        snprintf(x->say + used, sizeof x->say - used,
                                 "%s%zu of %zu points are below what can be resolved by " UNSTATED ": it can be had from %.4g to %.4g "
                                 "GHz" STATE_IT,
                                 used ? "; " : "", x->refused_n, x->n, range.lo_hz / 1e9, range.hi_hz / 1e9);
        }
        text_done(&hz);
        for (size_t i = 0; i < x->n && j->unstated; i++)
                x->u[i] = x->u95[i] = NAN;
}

/* One number of the sweep, where nobody states u: its own scatter is its half width, as far as it has one. */
static enum code of_sweep(struct cli *c, const struct extract_job *j, const char *word, struct rf_extracted *ret, struct tp_error *err)
{
        struct rf_ask nothing = j->ask;
        struct rf_extracted plain;
        char why[sizeof err->text];
        nothing.causes = NULL;
        enum code code = rf_extract(j->net, word, &nothing, c->arena, &plain, err);
        if (code)
                return code;
        code = rf_extract(j->net, word, &j->ask, c->arena, ret, err);
        if (code == CODE_UNRESOLVABLE) {
                snprintf(why, sizeof why, "%s", err->text);
                return tp_fail(err, code, "%.300s, by " UNSTATED STATE_IT, why);
        }
        if (!code) {
                ret->u[0] = plain.u[0];
                ret->u95[0] = plain.u95[0];
        }
        return code;
}

enum code extract_number(struct cli *c, const struct extract_job *j, const char *word, struct rf_extracted *ret, bool *ret_refused,
                         struct tp_error *err)
{
        enum rf_quantity q = rf_quantity_of(word);
        bool sweep = rf_quantities[q].group == RF_GROUP_SWEEP;
        *ret_refused = false;
        if (j->one_port && !is_of_one_port(q))
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "%s is of two ports, and this file has one; of one there are L11, R11, Q11, QC11, C11 (of Z = z (1 + S11)/(1 "
                        "- S11)), S11_dB, SRF11, Q11_max and Q11_max_hz",
                        word);
        if (sweep && j->unstated)
                return of_sweep(c, j, word, ret, err);
        enum code code = rf_extract(j->net, word, &j->ask, c->arena, ret, err);
        if (!code && !sweep)
                of_points(j, ret, ret_refused);
        return code;
}
