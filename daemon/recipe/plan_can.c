/* plan_can.c: may this station run this recipe?  Roles, volts, frequencies, spacings; the first thing that does not fit is said in one
 * sentence. */
#include "recipe/plan_own.h"
#include <math.h>
#include <string.h>

static enum code lacks(struct tp_error *err, const char *role, const char *who)
{
        return tp_fail(err, CODE_BAD_INPUT,
                       "this station has no %s, which %s needs; add the role to the station or leave that out of the recipe", role, who);
}

enum code plan_roles(const struct recipe *r, const struct capability_set *can, struct tp_error *err)
{
        if (!can->analyzer)
                return lacks(err, "analyzer", "every sweep");
        if (!can->stage)
                return lacks(err, "stage", "every touch");
        if (r->proof.required && !can->meter)
                return lacks(err, "DC meter", "the proof of place");
        if (r->calibration.load_resistance == LOAD_RESISTANCE_MEASURED && !can->meter)
                return lacks(err, "DC meter", "\"load_resistance\": \"measured\" of the calibration");
        if (r->calibration.switch_terms && !can->switch_terms)
                return tp_fail(err, CODE_BAD_INPUT,
                               "calibration: the recipe wants switch terms, this station's analyzer gives none; set "
                               "calibration.switch_terms to false or use solt");
        for (size_t i = 0; i < r->measure_n; i++)
                for (size_t k = 0; k < r->measures[i].condition_n; k++) {
                        double volt = condition_volt(&r->measures[i].conditions[k]);
                        if (volt > 0 && !can->bias)
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "this station has no bias supply, which device %s needs for %.6g V; add the role or leave "
                                               "the condition out",
                                               r->measures[i].device, volt);
                        if (r->measures[i].conditions[k].has_base && !can->bias_current)
                                return tp_fail(
                                        err, CODE_BAD_INPUT,
                                        "this station's bias supply holds no current, which the base of device %s needs; use another "
                                        "supply or leave the condition out",
                                        r->measures[i].device);
                        if (volt > 60 && !can->interlock)
                                return tp_fail(
                                        err, CODE_BAD_INPUT,
                                        "this station has no interlock loop, which device %s needs for %.6g V (above 60 V); lower the bias",
                                        r->measures[i].device, volt);
                        if (volt > 0 && !(volt <= can->volt_max))
                                return tp_fail(
                                        err, CODE_BAD_INPUT,
                                        "device %s: %.6g V asked, this station gives at most %.6g V; lower the bias or use another supply",
                                        r->measures[i].device, volt, can->volt_max);
                }
        return CODE_OK;
}

static enum code sweep_fits(const struct sweep_plan *p, const struct capability_set *can, struct arena *arena, struct tp_error *err)
{
        double *hz = NULL;
        size_t n = 0;
        enum code code = sweep_axis(p, arena, &hz, &n, err);
        if (code)
                return code;
        if (can->points_max > 0 && n > (size_t)can->points_max)
                return tp_fail(err, CODE_BAD_INPUT, "sweep %s: %zu points, this analyzer takes at most %d; use fewer", p->name, n,
                               can->points_max);
        for (size_t i = 0; i < n; i++) {
                if (can->axis_hz && !axis_holds(can->axis_hz, can->axis_n, hz[i]))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "sweep %s: %.15g Hz was not recorded; the recording has %zu frequencies from %.15g Hz to %.15g Hz, "
                                       "ask only those",
                                       p->name, hz[i], can->axis_n, can->axis_n ? can->axis_hz[0] : 0,
                                       can->axis_n ? can->axis_hz[can->axis_n - 1] : 0);
                if (!can->axis_hz && !(hz[i] >= can->freq_hz_min * (1 - 1e-9) && hz[i] <= can->freq_hz_max * (1 + 1e-9)))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "sweep %s: %.15g Hz is outside what this station sweeps, %.15g Hz to %.15g Hz; change the sweep",
                                       p->name, hz[i], can->freq_hz_min, can->freq_hz_max);
        }
        return CODE_OK;
}

enum code plan_frequencies(const struct recipe *r, const struct capability_set *can, struct arena *arena, struct tp_error *err)
{
        enum code code = sweep_fits(recipe_sweep(r, r->calibration.sweep), can, arena, err);
        for (size_t i = 0; i < r->sweep_n && !code; i++) {
                bool asked = false;
                for (size_t k = 0; k < r->measure_n; k++)
                        asked = asked || strcmp(r->measures[k].sweep, r->sweeps[i].name) == 0;
                if (asked && strcmp(r->sweeps[i].name, r->calibration.sweep) != 0)
                        code = sweep_fits(&r->sweeps[i], can, arena, err);
        }
        return code;
}

static bool near_um(double a, double b) { return fabs(a - b) <= 0.5; }

/* A device is swept at the setup's spacing, which its calibration is of; a standard may have one of its own within a calibration, where
   probes can be moved. */
static enum code spacing_fits(const char *what, const char *name, double need_um, const struct recipe *r, const struct capability_set *can,
                              struct tp_error *err)
{
        for (size_t i = 0; i < can->spacing_n; i++)
                if (near_um(can->spacings_um[i], need_um))
                        return CODE_OK;
        bool moves = can->spacing_um_max > 0 && strcmp(what, "standard") == 0;
        if (moves && need_um >= can->spacing_um_min - 0.5 && need_um <= can->spacing_um_max + 0.5)
                return CODE_OK;
        if (moves)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "%s %s: needs %.6g um between the signal tips, this station's positioner goes from %.6g to %.6g um; leave it out",
                        what, name, need_um, can->spacing_um_min, can->spacing_um_max);
        if (can->spacing_n > 0)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "%s %s: needs %.6g um between the signal tips, which is not among the %zu spacings this station has; leave it out",
                        what, name, need_um, can->spacing_n);
        if (can->spacing_um_max > 0 && !near_um(need_um, r->setup.spacing_um))
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "%s %s: needs %.6g um between the signal tips, the setup \"%s\" has %.6g um; another spacing is another setup "
                        "with a calibration of its own: leave it out or give it a recipe of its own",
                        what, name, need_um, r->setup.name, r->setup.spacing_um);
        if (!near_um(need_um, r->setup.spacing_um))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s %s: needs %.6g um between the signal tips, the setup \"%s\" has %.6g um and this station cannot move "
                               "its probes apart; leave it out or use another setup",
                               what, name, need_um, r->setup.name, r->setup.spacing_um);
        if (can->spacing_um > 0 && !(can->spacing_um_max > 0) && !near_um(can->spacing_um, need_um))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s %s: needs %.6g um between the signal tips, the probes now stand at %.6g um; set them and calibrate",
                               what, name, need_um, can->spacing_um);
        return CODE_OK;
}

enum code plan_spacings(const struct recipe *r, const struct capability_set *can, struct tp_error *err)
{
        enum code code = CODE_OK;
        for (size_t i = 0; i < r->standard_n && !code; i++)
                code = spacing_fits("standard", r->standards[i].name, recipe_spacing_um(r, &r->standards[i]), r, can, err);
        if (!code && can->spacing_um_max > 0 && !(r->setup.spacing_um >= can->spacing_um_min && r->setup.spacing_um <= can->spacing_um_max))
                code = tp_fail(err, CODE_BAD_INPUT,
                               "setup \"%s\": %.6g um between the signal tips, this station's positioner goes from %.6g to %.6g um",
                               r->setup.name, r->setup.spacing_um, can->spacing_um_min, can->spacing_um_max);
        for (size_t i = 0; i < r->measure_n && !code; i++) {
                const struct device *d = &r->layout.devices[layout_device(&r->layout, r->measures[i].device)];
                code = spacing_fits("device", d->name, d->footprint.spacing_um, r, can, err);
        }
        if (!code && r->proof.die_n > 0 && can->meter) {
                const struct device *d = &r->layout.devices[layout_device(&r->layout, r->proof.device)];
                code = spacing_fits("device", d->name, d->footprint.spacing_um, r, can, err);
        }
        return code;
}
