/* measure_check.c: the measures of a recipe: devices, dummies, conditions, contact, parameters, and whether the fitted probes can stand
 * there. */
#include "recipe/calibration_problem.h"
#include "recipe/recipe_own.h"
#include "rf/deembed/deembed.h"
#include "rf/extract/plateau.h"
#include "rf/extract/quantity.h"
#include <math.h>
#include <string.h>

enum code footprint_check(const struct recipe *r, int device, struct tp_error *err)
{
        const struct device *d = &r->layout.devices[device];
        const struct footprint *f = &d->footprint;
        struct pointer at = pointer_at("/layout/devices/%d/footprint", device);
        for (size_t i = 0; i < r->setup.probe_n; i++) {
                const struct probe *p = &r->setup.probes[i];
                if (fabs(f->pitch_um - p->pitch_um) > 0.01)
                        return refuse_at(
                                err, pointer_at("%s/pitch_um", at.at),
                                "device %s: footprint pitch %.6g um, but probe %s has %.6g um; fit other probes or leave the device out",
                                d->name, f->pitch_um, p->serial, p->pitch_um);
                if (strcmp(f->order, p->order) != 0)
                        return refuse_at(err, pointer_at("%s/order", at.at),
                                         "device %s: pads in the order %s, but probe %s has %s; fit other probes or leave the device out",
                                         d->name, f->order, p->serial, p->order);
        }
        double deepest = r->setup.overtravel_um + r->mandate.overtravel_extra_um_max;
        if (!(deepest <= f->overtravel_um_max))
                return refuse_at(err, pointer_at("%s/overtravel_um_max", at.at),
                                 "device %s: %.6g um, but the setup's overtravel %.6g um and the mandate's %.6g um make %.6g um; lower one "
                                 "of them or leave the device out",
                                 d->name, f->overtravel_um_max, r->setup.overtravel_um, r->mandate.overtravel_extra_um_max, deepest);
        return CODE_OK;
}

/* Which kind of device each dummy must be. */
static const int32_t dummy_kinds[RF_DUMMY_COUNT] = {
        [RF_DUMMY_OPEN] = DEVICE_OPEN, [RF_DUMMY_SHORT] = DEVICE_SHORT,           [RF_DUMMY_PAD] = DEVICE_PAD,
        [RF_DUMMY_THRU] = DEVICE_THRU, [RF_DUMMY_SHORT_LEFT] = DEVICE_SHORT_LEFT, [RF_DUMMY_SHORT_RIGHT] = DEVICE_SHORT_RIGHT,
        [RF_DUMMY_LINE] = DEVICE_LINE, [RF_DUMMY_LINE_DOUBLE] = DEVICE_LINE,      [RF_DUMMY_TWO_X_THRU] = DEVICE_THRU,
};

static enum code check_dummy(const struct recipe *r, size_t i, int which, struct tp_error *err)
{
        const struct measure *m = &r->measures[i];
        const char *key = rf_dummy_words[which], *name = measure_dummy(m, which);
        int32_t kind = dummy_kinds[which];
        bool wanted = (rf_deembed_methods[deembed_rf(m->deembed)].wants >> which) & 1u;
        struct pointer at = pointer_at("/measures/%zu/%s", i, key);
        if (!wanted)
                return name[0] ? refuse_at(err, at, "\"%s\", but device %s is de-embedded by \"%s\", which needs none; leave it out", name,
                                           m->device, deembed_words[m->deembed])
                               : CODE_OK;
        if (!name[0])
                return refuse_at(err, at, "missing; device %s is de-embedded by \"%s\" and needs its dummy", m->device,
                                 deembed_words[m->deembed]);
        int dummy = layout_device(&r->layout, name), device = layout_device(&r->layout, m->device);
        if (dummy < 0)
                return refuse_at(err, at, "\"%s\" is no device of the layout; there are: %s", name, device_names(&r->layout).at);
        const struct device *d = &r->layout.devices[dummy];
        if (d->kind != kind)
                return refuse_at(err, at, "\"%s\" is of kind %s; the %s dummy of %s must be of kind %s", name, device_kind_words[d->kind],
                                 key, m->device, device_kind_words[kind]);
        if (fabs(d->footprint.spacing_um - r->layout.devices[device].footprint.spacing_um) > 0.5)
                return refuse_at(
                        err, at,
                        "dummy %s is built for %.6g um between the signal tips, device %s for %.6g um; choose a dummy of the same spacing",
                        name, d->footprint.spacing_um, m->device, r->layout.devices[device].footprint.spacing_um);
        for (size_t k = 0; k < i; k++)
                if (strcmp(r->measures[k].device, name) == 0)
                        return strcmp(r->measures[k].sweep, m->sweep) == 0
                                       ? CODE_OK
                                       : refuse_at(err, at, "dummy %s is measured by sweep %s, device %s by %s; use one sweep for both",
                                                   name, r->measures[k].sweep, m->device, m->sweep);
        return refuse_at(err, at, "dummy %s is not among the measures before %s; measure dummies first", name, m->device);
}

static enum code check_gate_bias(const struct recipe *r, const struct measure *m, const struct condition *c, struct pointer at,
                                 struct tp_error *err)
{
        if (!c->has_gate)
                return CODE_OK;
        if (!(fabs(c->gate.volt) <= r->max_volt))
                return refuse_at(err, pointer_at("%s/gate/volt", at.at),
                                 "%.6g V at the gate of %s is beyond the recipe's max_volt of %.6g V; lower it or raise max_volt knowingly",
                                 c->gate.volt, m->device, r->max_volt);
        if (!(c->gate.limit_a > 0))
                return refuse_at(err, pointer_at("%s/gate/limit_a", at.at),
                                 "%.6g A for the gate of %s; a biased device needs a current limit", c->gate.limit_a, m->device);
        if (c->volt != 0 && c->gate.channel >= c->channel)
                return refuse_at(err, pointer_at("%s/gate/channel", at.at),
                                 "%d for the gate of %s beside channel %d; bias comes down from the highest channel, so the gate's must be "
                                 "the lower one",
                                 c->gate.channel, m->device, c->channel);
        return CODE_OK;
}

/* A bipolar: base current with a voltage limit, on after its collector and off before it. */
static enum code check_base(const struct recipe *r, const struct measure *m, const struct condition *c, struct pointer at,
                            struct tp_error *err)
{
        if (c->open_v > 0 && !c->has_base)
                return refuse_at(err, pointer_at("%s/open_v", at.at),
                                 "%.6g V: the collector of %s is held open, which goes with a base current; give \"base\" or leave it out",
                                 c->open_v, m->device);
        if (c->open_v > 0 && c->volt != 0)
                return refuse_at(err, pointer_at("%s/open_v", at.at),
                                 "%.6g V for an open collector of %s that is set to %.6g V as well; it is either", c->open_v, m->device,
                                 c->volt);
        if (!(c->open_v <= r->max_volt))
                return refuse_at(err, pointer_at("%s/open_v", at.at), "%.6g V at %s is beyond the recipe's max_volt of %.6g V; lower it",
                                 c->open_v, m->device, r->max_volt);
        if (!c->has_base)
                return CODE_OK;
        int32_t kind = r->layout.devices[layout_device(&r->layout, m->device)].kind;
        if (kind != DEVICE_TRANSISTOR)
                return refuse_at(err, pointer_at("%s/base", at.at), "%s is a %s; only a transistor has a base", m->device,
                                 device_kind_words[kind]);
        if (c->has_gate)
                return refuse_at(err, pointer_at("%s/gate", at.at), "%s has a base as well; it is biased by either", m->device);
        if (c->base.ampere == 0)
                return refuse_at(err, pointer_at("%s/base/ampere", at.at),
                                 "0 A for the base of %s; give a current, or leave the base out: the condition is off then", m->device);
        if (!(c->base.limit_v > 0 && c->base.limit_v <= r->max_volt))
                return refuse_at(err, pointer_at("%s/base/limit_v", at.at),
                                 "%.6g V for the base of %s; a held current needs a voltage limit, above 0 and at most the recipe's "
                                 "max_volt of %.6g V",
                                 c->base.limit_v, m->device, r->max_volt);
        if ((c->volt != 0 || c->open_v > 0) && c->base.channel <= c->channel)
                return refuse_at(
                        err, pointer_at("%s/base/channel", at.at),
                        "%d for the base of %s beside channel %d; bias comes down from the highest channel, and a base goes before "
                        "its collector: it must be the higher one",
                        c->base.channel, m->device, c->channel);
        return CODE_OK;
}

static enum code check_conditions(const struct recipe *r, size_t i, struct tp_error *err)
{
        const struct measure *m = &r->measures[i];
        for (size_t k = 0; k < m->condition_n; k++) {
                const struct condition *c = &m->conditions[k];
                struct pointer at = pointer_at("/measures/%zu/conditions/%zu", i, k);
                if (!(fabs(c->volt) <= r->max_volt))
                        return refuse_at(
                                err, pointer_at("%s/volt", at.at),
                                "%.6g V at device %s is beyond the recipe's max_volt of %.6g V; lower it or raise max_volt knowingly",
                                c->volt, m->device, r->max_volt);
                if (c->volt != 0 && c->channel < 1 && !c->has_base)
                        return refuse_at(err, pointer_at("%s/channel", at.at), "%d for %.6g V at device %s; name the bias channel, from 1",
                                         c->channel, c->volt, m->device);
                if (c->volt != 0 && !(c->limit_a > 0))
                        return refuse_at(err, pointer_at("%s/limit_a", at.at),
                                         "%.6g A for %.6g V at device %s; a biased device needs a current limit", c->limit_a, c->volt,
                                         m->device);
                enum code code = check_base(r, m, c, at, err);
                if (!code)
                        code = check_gate_bias(r, m, c, at, err);
                if (code)
                        return code;
        }
        return CODE_OK;
}

static enum code check_contact(const struct recipe *r, size_t i, struct tp_error *err)
{
        const struct measure *m = &r->measures[i];
        const struct contact_plan *c = &m->contact;
        struct pointer at = pointer_at("/measures/%zu/contact", i);
        if (c->family == 0)
                return refuse_at(err, pointer_at("%s/family", at.at), "\"unknown\" for device %s; say conducts, blocks_dc or to_ground",
                                 m->device);
        if (c->family != 2 && !(c->dc_ohm_low < c->dc_ohm_high))
                return refuse_at(err, pointer_at("%s/dc_ohm_high", at.at),
                                 "%.6g ohm for device %s is not above dc_ohm_low of %.6g ohm; give the range of a good contact",
                                 c->dc_ohm_high, m->device, c->dc_ohm_low);
        return CODE_OK;
}

static bool is_of_lines(int32_t quantity)
{
        return quantity == QUANTITY_EPS_EFF || quantity == QUANTITY_LOSS || quantity == QUANTITY_ZC_RE ||
               rf_quantities[quantity_rf(quantity)].group == RF_GROUP_LINE;
}

static bool is_plateau(int32_t quantity)
{
        int32_t q = quantity_rf(quantity);
        return q == RF_Q_FT || q == RF_Q_FT_IM || q == RF_Q_FMAX || q == RF_Q_FMAX_MAG;
}

static const char *found_name(int32_t quantity)
{
        int32_t q = quantity_rf(quantity);
        return quantity == QUANTITY_SRF || (q >= RF_Q_SRF11 && q <= RF_Q_SRFD) ? "a self-resonance" : quantity_words[quantity];
}

static bool is_of_transistors(int32_t quantity)
{
        enum rf_group g = rf_quantities[quantity_rf(quantity)].group;
        return g == RF_GROUP_GAIN || quantity_inside(quantity) || quantity_extrinsic(quantity) >= 0 || is_plateau(quantity);
}

/* A line of twice the length is what L-2L believes in: to a micrometre. */
static enum code check_lines(const struct recipe *r, size_t i, struct tp_error *err)
{
        const struct measure *m = &r->measures[i];
        if (m->deembed != DEEMBED_L_2L)
                return CODE_OK;
        const struct device *one = &r->layout.devices[layout_device(&r->layout, m->line)],
                            *two = &r->layout.devices[layout_device(&r->layout, m->line_double)];
        if (!(one->length_um > 0) || !(fabs(two->length_um - 2 * one->length_um) <= 1))
                return refuse_at(err, pointer_at("/measures/%zu/line_double", i),
                                 "line %s is %.6g um long, %s %.6g um; \"l_2l\" needs the second exactly twice as long", one->name,
                                 one->length_um, two->name, two->length_um);
        return CODE_OK;
}

static enum code check_parameter(const struct recipe *r, size_t i, size_t k, double low_hz, double high_hz, struct tp_error *err)
{
        const struct measure *m = &r->measures[i];
        const struct parameter_plan *p = &m->parameters[k];
        const struct device *d = &r->layout.devices[layout_device(&r->layout, m->device)];
        struct pointer at = pointer_at("/measures/%zu/parameters/%zu", i, k);
        const char *unit = quantity_units[p->quantity];
        for (size_t j = 0; j < k; j++)
                if (strcmp(m->parameters[j].name, p->name) == 0)
                        return refuse_at(err, pointer_at("%s/name", at.at), "\"%s\" is already a parameter of device %s; names are unique",
                                         p->name, m->device);
        if (p->quantity == QUANTITY_UNKNOWN)
                return refuse_at(err, pointer_at("%s/quantity", at.at), "\"unknown\" for parameter %s of device %s; say which quantity",
                                 p->name, m->device);
        if (is_of_lines(p->quantity) && d->kind != DEVICE_LINE)
                return refuse_at(err, pointer_at("%s/quantity", at.at),
                                 "\"%s\" is a quantity of lines, device %s is a %s; choose another quantity", quantity_words[p->quantity],
                                 d->name, device_kind_words[d->kind]);
        if (is_of_transistors(p->quantity) && d->kind != DEVICE_TRANSISTOR)
                return refuse_at(err, pointer_at("%s/quantity", at.at),
                                 "\"%s\" is a quantity of transistors, device %s is a %s; choose another quantity",
                                 quantity_words[p->quantity], d->name, device_kind_words[d->kind]);
        if (quantity_of_sweep(p->quantity) && p->freq_hz != 0)
                return refuse_at(err, pointer_at("%s/freq_hz", at.at),
                                 "%.15g Hz for parameter %s; %s is found, not asked at a frequency: leave it out", p->freq_hz, p->name,
                                 found_name(p->quantity));
        if (is_plateau(p->quantity) && !(high_hz >= RF_PLATEAU_RATIO * low_hz))
                return refuse_at(
                        err, pointer_at("%s/quantity", at.at),
                        "\"%s\" of device %s needs half a decade of frequencies, sweep %s goes from %.15g Hz to %.15g Hz; widen it",
                        quantity_words[p->quantity], m->device, m->sweep, low_hz, high_hz);
        if (p->at == AT_BEST_WINDOW && (quantity_of_sweep(p->quantity) || is_of_lines(p->quantity)))
                return refuse_at(err, pointer_at("%s/at", at.at), "\"best_window\" for parameter %s: %s is %s; ask it at a frequency",
                                 p->name, quantity_words[p->quantity],
                                 quantity_of_sweep(p->quantity) ? "found in the whole sweep" : "followed along the line");
        if (p->at == AT_BEST_WINDOW && p->freq_hz != 0)
                return refuse_at(err, pointer_at("%s/freq_hz", at.at), "%.15g Hz for parameter %s beside \"best_window\"; leave one out",
                                 p->freq_hz, p->name);
        if (p->at == AT_FREQUENCY && !quantity_of_sweep(p->quantity) &&
            !(p->freq_hz >= low_hz * (1 - 1e-9) && p->freq_hz <= high_hz * (1 + 1e-9)))
                return refuse_at(err, pointer_at("%s/freq_hz", at.at),
                                 "%.15g Hz for parameter %s of device %s lies outside sweep %s, %.15g Hz to %.15g Hz", p->freq_hz, p->name,
                                 m->device, m->sweep, low_hz, high_hz);
        enum code code = extrinsic_check_parameter(m, p, pointer_at("%s/quantity", at.at), err);
        if (code)
                return code;
        if (p->has_low && p->has_high && !(p->low < p->high))
                return refuse_at(
                        err, pointer_at("%s/high", at.at),
                        "%.6g %s for parameter %s of device %s is not above low of %.6g %s; are the limits exchanged or in another unit?",
                        p->high, unit, p->name, m->device, p->low, unit);
        if (p->has_expect && !(p->expect_low < p->expect_high))
                return refuse_at(err, pointer_at("%s/expect_high", at.at),
                                 "%.6g %s for parameter %s of device %s does not go with expect_low of %.6g %s; give both, rising",
                                 p->expect_high, unit, p->name, m->device, p->expect_low, unit);
        return CODE_OK;
}

/* The first half is gated out of a 2x-thru in time: that takes a grid from one step on. */
static enum code check_gate(const struct recipe *r, size_t i, const double *hz, size_t n, struct tp_error *err)
{
        const struct measure *m = &r->measures[i];
        struct pointer at = pointer_at("/measures/%zu/sweep", i);
        double step = n > 1 ? (hz[n - 1] - hz[0]) / (double)(n - 1) : 0;
        if (m->deembed != DEEMBED_TWO_X_THRU)
                return CODE_OK;
        if (n < RF_GATE_POINTS)
                return refuse_at(err, at, "\"%s\" has %zu points; gating the half of %s out of its 2x-thru takes %d or more", m->sweep, n,
                                 m->device, RF_GATE_POINTS);
        for (size_t k = 0; k < n; k++)
                if (fabs(hz[k] - (double)(k + 1) * step) > 1e-3 * step)
                        return refuse_at(err, at,
                                         "\"%s\" has %.15g Hz where a grid of %.15g Hz has %.15g Hz; gating the half of %s out of its "
                                         "2x-thru takes a linear sweep that starts at its own step",
                                         m->sweep, hz[k], step, (double)(k + 1) * step, m->device);
        return CODE_OK;
}

/* A device is corrected point by point, so each of its frequencies must be one of the calibration's. */
static enum code check_axis(const struct recipe *r, size_t i, const double *hz, size_t n, const double *cal_hz, size_t cal_n,
                            struct tp_error *err)
{
        const struct measure *m = &r->measures[i];
        struct pointer at = pointer_at("/measures/%zu/sweep", i);
        if (hz[0] < cal_hz[0] * (1 - 1e-9) || hz[n - 1] > cal_hz[cal_n - 1] * (1 + 1e-9))
                return refuse_at(err, at,
                                 "\"%s\" of device %s goes from %.15g Hz to %.15g Hz, the calibration's sweep %s only from %.15g Hz to "
                                 "%.15g Hz; widen the calibration",
                                 m->sweep, m->device, hz[0], hz[n - 1], r->calibration.sweep, cal_hz[0], cal_hz[cal_n - 1]);
        for (size_t k = 0; k < n; k++)
                if (!axis_holds(cal_hz, cal_n, hz[k]))
                        return refuse_at(err, at,
                                         "\"%s\" of device %s asks %.15g Hz, which is no frequency of the calibration's sweep %s; "
                                         "calibrate at the same frequencies",
                                         m->sweep, m->device, hz[k], r->calibration.sweep);
        struct domain domain = recipe_domain(r, cal_hz[0], cal_hz[cal_n - 1]);
        struct domain_sweep sweep = recipe_domain_sweep(r, recipe_sweep(r, m->sweep), hz[0], hz[n - 1]);
        struct tp_error inner = {0};
        if (domain_contains(&domain, &sweep, &inner))
                return refuse_at(err, at, "\"%s\" of device %s: %s", m->sweep, m->device, inner.text);
        return CODE_OK;
}

static bool is_dummy(int32_t kind)
{
        return kind == DEVICE_OPEN || kind == DEVICE_SHORT || kind == DEVICE_PAD || kind == DEVICE_THRU || kind == DEVICE_SHORT_LEFT ||
               kind == DEVICE_SHORT_RIGHT;
}

static enum code check_measure(const struct recipe *r, size_t i, const double *cal_hz, size_t cal_n, struct arena *scratch,
                               struct tp_error *err)
{
        const struct measure *m = &r->measures[i];
        int device = layout_device(&r->layout, m->device);
        double *hz = NULL;
        size_t n = 0;
        if (device < 0)
                return refuse_at(err, pointer_at("/measures/%zu/device", i), "\"%s\" is no device of the layout; there are: %s", m->device,
                                 device_names(&r->layout).at);
        int32_t kind = r->layout.devices[device].kind;
        if (kind == DEVICE_LADDER)
                return refuse_at(err, pointer_at("/measures/%zu/device", i),
                                 "\"%s\" is a ladder; it proves the place (\"proof\") and is not swept", m->device);
        for (size_t k = 0; k < i; k++)
                if (strcmp(r->measures[k].device, m->device) == 0)
                        return refuse_at(err, pointer_at("/measures/%zu/device", i),
                                         "\"%s\" is measured already, by measure %zu; put all conditions into one", m->device, k);
        const struct sweep_plan *sweep = recipe_sweep(r, m->sweep);
        if (!sweep)
                return refuse_at(err, pointer_at("/measures/%zu/sweep", i), "\"%s\" is no sweep of this recipe; there are: %s", m->sweep,
                                 sweep_names(r).at);
        enum code code = sweep_axis(sweep, scratch, &hz, &n, err);
        if (!code)
                code = check_axis(r, i, hz, n, cal_hz, cal_n, err);
        if (!code)
                code = check_gate(r, i, hz, n, err);
        if (!code)
                code = footprint_check(r, device, err);
        for (int k = 1; k < RF_DUMMY_COUNT && !code; k++)
                code = check_dummy(r, i, k, err);
        if (!code)
                code = check_lines(r, i, err);
        if (!code)
                code = check_conditions(r, i, err);
        if (!code)
                code = extrinsic_check(r, i, hz, n, err);
        if (!code)
                code = check_contact(r, i, err);
        if (!code && m->parameter_n > 0 && is_dummy(kind))
                code = refuse_at(err, pointer_at("/measures/%zu/parameters", i),
                                 "%zu for dummy %s; dummies have no parameters of their own", m->parameter_n, m->device);
        for (size_t k = 0; k < m->parameter_n && !code; k++)
                code = check_parameter(r, i, k, hz[0], hz[n - 1], err);
        return code;
}

enum code measures_check(const struct recipe *r, struct arena *scratch, struct tp_error *err)
{
        double *cal_hz = NULL;
        size_t cal_n = 0;
        enum code code = sweep_axis(recipe_sweep(r, r->calibration.sweep), scratch, &cal_hz, &cal_n, err);
        for (size_t i = 0; i < r->measure_n && !code; i++)
                code = check_measure(r, i, cal_hz, cal_n, scratch, err);
        return code;
}
