/* extrinsic_check.c: can a measure's own conditions give what lies around its transistor? */
#include "recipe/recipe_own.h"
#include "rf/extract/extrinsic.h"
#include "rf/extract/quantity.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static struct name_list condition_names(const struct measure *m)
{
        struct name_list list = {""};
        for (size_t k = 0; k < m->condition_n; k++) {
                size_t used = strlen(list.at);
                if (m->conditions[k].name[0])
                        snprintf(list.at + used, sizeof list.at - used, "%s%s", used ? ", " : "", m->conditions[k].name);
        }
        if (!list.at[0])
                snprintf(list.at, sizeof list.at, "none with a name");
        return list;
}

/* A state in which nothing amplifies: no drain or collector voltage. */
static enum code check_state(const struct measure *m, const char *name, struct pointer at, struct tp_error *err)
{
        int c = measure_condition(m, name);
        if (c < 0)
                return refuse_at(err, at, "\"%s\" is no condition of %s; there are: %s", name, m->device, condition_names(m).at);
        if (m->conditions[c].volt != 0)
                return refuse_at(err, at,
                                 "\"%s\" has %.6g V at the drain or collector of %s, which amplifies then; leads are found without", name,
                                 m->conditions[c].volt, m->device);
        return CODE_OK;
}

/* By a gate, or by a base's current; the drive of a base is that current. */
static enum code check_driven(const struct measure *m, const struct cold_state *cold, struct pointer at, struct tp_error *err)
{
        const struct condition *c = &m->conditions[measure_condition(m, cold->condition)];
        bool by_current = m->extrinsic.cold_as == RF_COLD_OPEN_COLLECTOR;
        if (by_current && !c->has_base)
                return refuse_at(err, pointer_at("%s/condition", at.at),
                                 "\"%s\" gives %s no base current, by which \"open_collector\" is read; give it \"base\"", cold->condition,
                                 m->device);
        if (!by_current && c->has_base)
                return refuse_at(err, pointer_at("%s/condition", at.at),
                                 "\"%s\" drives the base of %s; such states are read as \"open_collector\"", cold->condition, m->device);
        if (!by_current && !c->has_gate)
                return refuse_at(err, pointer_at("%s/condition", at.at),
                                 "\"%s\" biases no gate of %s; a channel conducts by its gate: give it one", cold->condition, m->device);
        if (by_current && !(fabs(cold->drive - fabs(c->base.ampere)) <= 1e-6 * cold->drive))
                return refuse_at(err, pointer_at("%s/drive", at.at),
                                 "%.6g for \"%s\" of %s, whose base current is %.6g A; they are the same", cold->drive, cold->condition,
                                 m->device, c->base.ampere);
        return CODE_OK;
}

static enum code check_cold(const struct measure *m, struct pointer at, struct tp_error *err)
{
        const struct extrinsic_plan *x = &m->extrinsic;
        double least = INFINITY, most = 0;
        for (size_t k = 0; k < x->cold_n; k++) {
                const struct cold_state *c = &x->cold[k];
                enum code code = check_state(m, c->condition, pointer_at("%s/cold/%zu/condition", at.at, k), err);
                if (!code)
                        code = check_driven(m, c, pointer_at("%s/cold/%zu", at.at, k), err);
                if (code)
                        return code;
                if (strcmp(c->condition, x->off) == 0)
                        return refuse_at(err, pointer_at("%s/cold/%zu/condition", at.at, k), "\"%s\" is the off state, too; %s is either",
                                         c->condition, m->device);
                for (size_t j = 0; j < k; j++)
                        if (strcmp(x->cold[j].condition, c->condition) == 0)
                                return refuse_at(err, pointer_at("%s/cold/%zu/condition", at.at, k), "\"%s\" is named twice", c->condition);
                least = fmin(least, c->drive);
                most = fmax(most, c->drive);
        }
        if (!(most > 1.1 * least))
                return refuse_at(err, pointer_at("%s/cold", at.at),
                                 "drives of %s from %.6g to %.6g are all alike; what conducts is extrapolated away over different ones",
                                 m->device, least, most);
        return CODE_OK;
}

static enum code check_off(const struct measure *m, struct pointer at, struct tp_error *err)
{
        const struct extrinsic_plan *x = &m->extrinsic;
        enum code code = check_state(m, x->off, pointer_at("%s/off", at.at), err);
        if (code)
                return code;
        if (m->conditions[measure_condition(m, x->off)].has_base)
                return refuse_at(err, pointer_at("%s/off", at.at), "\"%s\" drives the base of %s, which is not off then", x->off,
                                 m->device);
        if (x->cold_as == RF_COLD_OPEN_COLLECTOR && x->off_as != RF_OFF_PI)
                return refuse_at(err, pointer_at("%s/off_as", at.at),
                                 "\"%s\" for %s, a bipolar; it has no channel that is pinched off: say \"pi\"", rf_off_words[x->off_as],
                                 m->device);
        return CODE_OK;
}

static enum code check_window(const struct measure *m, struct pointer at, const char *key, double low_hz, double high_hz, const double *hz,
                              size_t n, struct tp_error *err)
{
        size_t used = 0;
        for (size_t k = 0; k < n; k++)
                used += hz[k] >= low_hz && (!(high_hz > 0) || hz[k] <= high_hz);
        return used >= 3 ? CODE_OK
                         : refuse_at(err, pointer_at("%s/%s", at.at, key),
                                     "%.6g Hz: sweep %s has %zu points from %.6g Hz to there; three or more are needed", high_hz, m->sweep,
                                     used, low_hz);
}

static enum code check_channel(const struct measure *m, struct pointer at, struct tp_error *err)
{
        const struct extrinsic_plan *x = &m->extrinsic;
        if (x->cold_as == RF_COLD_GATE_FORWARD && !(x->channel_ohm > 0))
                return refuse_at(err, pointer_at("%s/channel_ohm", at.at),
                                 "%.6g ohm: a forward gate gives three equations for four resistances; give the channel's of %s, from DC",
                                 x->channel_ohm, m->device);
        if (x->cold_as != RF_COLD_GATE_FORWARD && (x->channel_ohm > 0 || x->channel_ohm_u > 0))
                return refuse_at(err, pointer_at("%s/channel_ohm", at.at),
                                 "%.6g ohm for %s, whose channel is extrapolated away (\"vanishing\"); leave it out", x->channel_ohm,
                                 m->device);
        return CODE_OK;
}

enum code extrinsic_check(const struct recipe *r, size_t i, const double *hz, size_t n, struct tp_error *err)
{
        const struct measure *m = &r->measures[i];
        const struct extrinsic_plan *x = &m->extrinsic;
        struct pointer at = pointer_at("/measures/%zu/extrinsic", i);
        enum code code = CODE_OK;
        int32_t kind = r->layout.devices[layout_device(&r->layout, m->device)].kind;
        for (size_t k = 0; k < m->condition_n; k++)
                for (size_t j = 0; j < k && m->conditions[k].name[0]; j++)
                        if (strcmp(m->conditions[j].name, m->conditions[k].name) == 0)
                                return refuse_at(err, pointer_at("/measures/%zu/conditions/%zu/name", i, k),
                                                 "\"%s\" is the name of condition %zu already", m->conditions[k].name, j);
        if (!m->has_extrinsic)
                return CODE_OK;
        if (kind != DEVICE_TRANSISTOR)
                return refuse_at(err, at, "device %s is a %s; only a transistor is read in off and cold states", m->device,
                                 device_kind_words[kind]);
        if (!x->off_as || !x->cold_as)
                return refuse_at(err, pointer_at("%s/%s", at.at, x->off_as ? "cold_as" : "off_as"), "\"unknown\" for %s; there are %s",
                                 m->device, x->off_as ? "gate_forward, vanishing and open_collector" : "pi and cold_pinch");
        if (x->off[0])
                code = check_off(m, at, err);
        if (!code)
                code = check_cold(m, at, err);
        if (!code)
                code = check_channel(m, at, err);
        if (!code && x->off[0])
                code = check_window(m, at, "off_below_hz", 0, x->off_below_hz, hz, n, err);
        return code ? code : check_window(m, at, "below_hz", x->from_hz, x->below_hz, hz, n, err);
}

/* What of the transistor itself went into the capacitances of its pads, as there is no telling them apart when it is off. */
static bool is_in_pads(const struct extrinsic_plan *x, int32_t quantity)
{
        enum rf_quantity q = (enum rf_quantity)quantity_rf(quantity);
        if (!x->off[0])
                return false;
        if (x->off_as == RF_OFF_COLD_PINCH)
                return q == RF_Q_FET_CDS;
        return q == RF_Q_FET_CGS || q == RF_Q_FET_CGD || q == RF_Q_FET_CDS || q == RF_Q_HBT_CPI || q == RF_Q_HBT_CMU || q == RF_Q_HBT_CO;
}

enum code extrinsic_check_parameter(const struct measure *m, const struct parameter_plan *p, struct pointer at, struct tp_error *err)
{
        int32_t element = quantity_extrinsic(p->quantity);
        const char *word = quantity_words[p->quantity];
        if (element >= 0 && !m->has_extrinsic)
                return refuse_at(err, at, "\"%s\" lies around a transistor and is found by its states; give %s \"extrinsic\"", word,
                                 m->device);
        if (element >= 0 && element <= RF_X_C_BETWEEN && !m->extrinsic.off[0])
                return refuse_at(err, at, "\"%s\" is found where %s is off; give \"extrinsic\" its \"off\", or do not ask", word,
                                 m->device);
        if (element == RF_X_C_BETWEEN && m->extrinsic.off_as == RF_OFF_COLD_PINCH)
                return refuse_at(err, at, "\"%s\" of %s: what a pinched channel shows between its ports is its own edge, not a pad", word,
                                 m->device);
        if (m->has_extrinsic && is_in_pads(&m->extrinsic, p->quantity))
                return refuse_at(
                        err, at,
                        "\"%s\" of %s is among the capacitances of its off state and goes with the pads; take the pads off by an open "
                        "dummy and leave \"off\" out, or do not ask it",
                        word, m->device);
        return CODE_OK;
}
