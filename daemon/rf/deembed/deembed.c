/* deembed.c: the table of methods, the checks, and the loop over frequency (deembed.h).
 * Limits      good_hz is common practice (no source): open to 5 GHz, open-short to 35, the finer lumped ones to 80.  It says what people
 *             trust; what these very dummies allow is computed in deembed_limit.c and said beside it.
 * Not here    the algebra: deembed_lumped.c, deembed_halves.c, deembed_lines.c; the gate: deembed_gate.c. */
#include "rf/deembed/deembed_own.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

const char *const rf_dummy_words[RF_DUMMY_COUNT + 1] = {"device",      "open", "short",       "pad",        "thru", "short_left",
                                                        "short_right", "line", "line_double", "two_x_thru", "half", NULL};
const char *const rf_deembed_words[RF_DEEMBED_COUNT + 1] = {"unknown",    "open",           "short",      "open_short",
                                                            "short_open", "pad_open_short", "three_step", "thru_pi",
                                                            "thru_tee",   "l_2l",           "two_x_thru", NULL};

#define D(dummy) (1u << RF_DUMMY_##dummy)
const struct rf_deembed_row rf_deembed_methods[RF_DEEMBED_COUNT] = {
        [RF_DEEMBED_OPEN] = {"open", "open: everything around the device goes to ground at the pads", D(OPEN), 0, 5e9, "|Y open| z", 0.1,
                             "shunt parasitics only; elementary"},
        [RF_DEEMBED_SHORT] = {"short", "short: everything around the device lies in series with it", D(SHORT), 0, 5e9, "|Z short| / z", 0.1,
                              "series parasitics only; elementary"},
        [RF_DEEMBED_OPEN_SHORT] = {"open_short", "open, then short: pads outside, leads inside", D(OPEN) | D(SHORT), 0, 35e9,
                                   "sqrt|Y pad Z lead|", 0.3, "Koolen, Geelen & Versleijen, IEEE BCTM 1991, 188"},
        [RF_DEEMBED_SHORT_OPEN] = {"short_open", "short, then open: leads outside, coupling inside", D(OPEN) | D(SHORT), 0, 35e9,
                                   "sqrt|Y pad Z lead|", 0.3, "open-short with the order turned"},
        [RF_DEEMBED_PAD_OPEN_SHORT] = {"pad_open_short", "pad, short, open: pads, leads, and what couples inside",
                                       D(PAD) | D(OPEN) | D(SHORT), 0, 80e9, "sqrt|Y pad Z lead|", 0.3,
                                       "open-short with the pads apart from the inner coupling"},
        [RF_DEEMBED_THREE_STEP] = {"three_step",
                                   "three steps: pads to ground, a lead impedance of its own at each end and in ground, coupling",
                                   D(OPEN) | D(THRU) | D(SHORT_LEFT) | D(SHORT_RIGHT), 0, 80e9, "sqrt|Y pad Z lead|", 0.3,
                                   "Cho & Burk, IEEE Trans. ED 38 (1991) 1371"},
        [RF_DEEMBED_THRU_PI] = {"thru_pi", "thru alone, believed to be a lumped pi: shunt at each pad, its series part split in halves",
                                D(THRU), 0, 35e9, "sqrt|Y pad Z half|", 0.3, "a thru is two numbers, a half three: the pi is the model"},
        [RF_DEEMBED_THRU_TEE] = {"thru_tee", "thru alone, believed to be a lumped tee: series at each pad, its shunt part split in halves",
                                 D(THRU), 0, 35e9, "sqrt|Y half Z lead|", 0.3, "a thru is two numbers, a half three: the tee is the model"},
        [RF_DEEMBED_L_2L] = {"l_2l", "two lines, the second twice as long: equal shunt pads", D(LINE) | D(LINE_DOUBLE), 0, INFINITY,
                             "|Y pad| z", 0.3, "Mangan et al., IEEE Trans. ED 53 (2006) 235"},
        [RF_DEEMBED_TWO_X_THRU] = {"two_x_thru", "cascaded line split: mirrored fixture halves from their back to back connection",
                                   D(TWO_X_THRU), D(HALF), INFINITY, "10^(-15/20) / |S21| and |S11| / |S21|", 1,
                                   "bisection of a symmetric 2x-thru, an idea of IEEE 370-2020"},
};

enum rf_dummy rf_dummy_of(const char *word)
{
        for (int k = 0; word && k < RF_DUMMY_COUNT; k++)
                if (strcmp(rf_dummy_words[k], word) == 0)
                        return (enum rf_dummy)k;
        return RF_DUMMY_COUNT;
}

enum deembed_method rf_deembed_method(const char *word)
{
        for (int k = 1; word && k < RF_DEEMBED_COUNT; k++)
                if (strcmp(rf_deembed_words[k], word) == 0)
                        return (enum deembed_method)k;
        return RF_DEEMBED_UNKNOWN;
}

static bool uses(enum deembed_method method, int dummy)
{
        const struct rf_deembed_row *row = &rf_deembed_methods[method];
        return ((row->wants | row->may) >> dummy) & 1u;
}

static enum code finite_check(const char *name, const struct net2 *net, struct tp_error *err)
{
        if (net2_finite(net))
                return CODE_OK;
        for (size_t i = 0; i < net->axis->n; i++)
                for (int k = 0; k < 4; k++)
                        if (!isfinite(net->re[k][i]) || !isfinite(net->im[k][i]))
                                return tp_fail(err, CODE_BAD_INPUT, "the %s has no finite S%d%d at %.9g Hz; measure it again", name,
                                               1 + k / 2, 1 + k % 2, net->axis->hz[i]);
        return CODE_OK;
}

static enum code dummy_check(int dummy, const struct net2 *net, const struct net2 *measured, enum deembed_method method,
                             struct tp_error *err)
{
        const char *name = rf_dummy_words[dummy];
        if (!net && ((rf_deembed_methods[method].wants >> dummy) & 1u))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s de-embedding needs its %s dummy and there is none; measure it or choose another method",
                               rf_deembed_words[method], name);
        if (!net || !uses(method, dummy))
                return CODE_OK;
        if (!axis_equal(net->axis, measured->axis))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the %s dummy has %zu frequencies from %.9g to %.9g Hz, the device %zu from %.9g to %.9g Hz; measure both "
                               "with one sweep plan",
                               name, net->axis->n, net->axis->hz[0], net->axis->hz[net->axis->n - 1], measured->axis->n,
                               measured->axis->hz[0], measured->axis->hz[measured->axis->n - 1]);
        if (net->plane != measured->plane)
                return tp_fail(err, CODE_BAD_INPUT,
                               "the %s dummy lies in plane %s, the device in plane %s; correct both with one calibration", name,
                               plane_words[net->plane], plane_words[measured->plane]);
        double z = net2_z_real(net);
        if (!(z == net2_z_real(measured)))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the %s dummy has reference %.9g ohm, the device %.9g ohm; bring both to one impedance first", name, z,
                               net2_z_real(measured));
        return CODE_OK;
}

static enum code numbers_check(enum deembed_method method, const struct net2 *measured, const struct dummies *dummies, struct tp_error *err)
{
        enum code code = finite_check("device", measured, err);
        for (int k = 1; k < RF_DUMMY_COUNT && !code; k++)
                if (dummies->of[k] && uses(method, k)) {
                        char what[40];
                        snprintf(what, sizeof what, "%s dummy", rf_dummy_words[k]);
                        code = finite_check(what, dummies->of[k], err);
                }
        return code;
}

/* Names of the dummies in use, for the sentence about a singular point. */
static void name_dummies(enum deembed_method method, char to[96])
{
        to[0] = '\0';
        for (int k = 1; k < RF_DUMMY_COUNT; k++)
                if ((rf_deembed_methods[method].wants >> k) & 1u) {
                        size_t used = strlen(to);
                        snprintf(to + used, 96 - used, "%s%s", used ? ", " : "", rf_dummy_words[k]);
                }
}

static bool finite2(struct m2 m)
{
        for (int k = 0; k < 4; k++)
                if (!isfinite(creal(m.e[k])) || !isfinite(cimag(m.e[k])))
                        return false;
        return true;
}

enum code rf_deembed(enum deembed_method method, const struct net2 *measured, const struct dummies *dummies, struct net2 *out,
                     struct arena *scratch, struct tp_error *err)
{
        if (method <= RF_DEEMBED_UNKNOWN || method >= RF_DEEMBED_COUNT)
                return tp_fail(err, CODE_BAD_INPUT, "de-embedding method %d is not known", (int)method);
        double z = net2_z_real(measured);
        if (!(z > 0))
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "de-embedding needs one real reference impedance; the device's is complex, unknown or changes over frequency");
        if (!axis_equal(out->axis, measured->axis))
                return tp_fail(err, CODE_BUG, "de-embedding: the result's axis is not the device's");
        enum code code = CODE_OK;
        for (int k = 1; k < RF_DUMMY_COUNT && !code; k++)
                code = dummy_check(k, dummies->of[k], measured, method, err);
        /* a result in columns is finite, hence all that went in */
        bool by_columns = !code && deembed_columns(method, measured, dummies->of[RF_DUMMY_OPEN], dummies->of[RF_DUMMY_SHORT], out);
        if (!code && !by_columns)
                code = numbers_check(method, measured, dummies, err);
        if (code)
                return code;
        size_t n = measured->axis->n;
        double *gate_re = NULL, *gate_im = NULL;
        if (method == RF_DEEMBED_TWO_X_THRU && !dummies->of[RF_DUMMY_HALF]) {
                gate_re = scratch ? arena_take(scratch, 2 * n * sizeof *gate_re) : NULL;
                if (!gate_re)
                        return tp_fail_memory(err);
                gate_im = gate_re + n;
                if ((code = rf_gate_half(dummies->of[RF_DUMMY_TWO_X_THRU], 0, scratch, gate_re, gate_im, err)))
                        return code;
        }
        for (size_t i = 0; !by_columns && i < n; i++) {
                struct m2 s[RF_DUMMY_COUNT] = {[RF_DUMMY_DEVICE] = net2_get(measured, i)};
                for (int k = 1; k < RF_DUMMY_COUNT; k++)
                        if (dummies->of[k] && uses(method, k))
                                s[k] = net2_get(dummies->of[k], i);
                if (gate_re)
                        s[RF_DUMMY_HALF].e[0] = CMPLX(gate_re[i], gate_im[i]);
                struct m2 got = rf_deembed_point(method, s, z);
                if (!finite2(got)) {
                        char names[96];
                        name_dummies(method, names);
                        return tp_fail(err, CODE_UNRESOLVABLE,
                                       "%s de-embedding is singular at %.9g Hz: there the dummies (%s) do not differ from each other or "
                                       "from the device as the method needs; look at them, or choose another method",
                                       rf_deembed_words[method], measured->axis->hz[i], names);
                }
                net2_put(out, i, got);
        }
        net2_set_z(out, z, 0);
        out->plane = PLANE_DEVICE;
        return CODE_OK;
}

enum code rf_deembed_by_word(const char *word, const struct net2 *measured, const struct rf_named_dummy *named, size_t dummy_n,
                             struct net2 *out, struct arena *scratch, struct tp_error *err)
{
        enum deembed_method method = rf_deembed_method(word);
        struct dummies dummies = {{0}};
        if (!method) {
                char words[200] = "";
                for (int k = 1; k < RF_DEEMBED_COUNT; k++) {
                        size_t used = strlen(words);
                        snprintf(words + used, sizeof words - used, "%s%s", k > 1 ? ", " : "", rf_deembed_words[k]);
                }
                return tp_fail(err, CODE_BAD_INPUT, "\"%.40s\" is no de-embedding; there are: %s", word ? word : "", words);
        }
        for (size_t j = 0; j < dummy_n; j++) {
                enum rf_dummy at = rf_dummy_of(named[j].word);
                if (at == RF_DUMMY_COUNT || at == RF_DUMMY_DEVICE || !uses(method, at)) {
                        char names[96];
                        name_dummies(method, names);
                        return tp_fail(err, CODE_BAD_INPUT, "%s de-embedding makes no use of a dummy \"%.40s\"; it wants: %s", word,
                                       named[j].word ? named[j].word : "", names);
                }
                if (dummies.of[at])
                        return tp_fail(err, CODE_BAD_INPUT, "the %s dummy is given twice; give it once", rf_dummy_words[at]);
                dummies.of[at] = named[j].net;
        }
        return rf_deembed(method, measured, &dummies, out, scratch, err);
}
