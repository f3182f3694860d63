/* explain.c: one page of plain words.  Every number on it is a key of the recipe or a field of the plan, so that a second person can review
 * the night. */
#include "recipe/rehearse.h"
#include "recipe/recipe_own.h"
#include "rf/trust/decide_limits.h"
#include "rf/deembed/deembed.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct shown {
        char at[32];
};

/* 3e-10, "H" -> "300 pH".  Units that take no prefix (1, dB, ohm/…) come as they are. */
static struct shown si(double x, const char *unit)
{
        static const struct {
                double scale;
                const char *prefix;
        } rows[] = {{1e9, "G"}, {1e6, "M"}, {1e3, "k"}, {1, ""}, {1e-3, "m"}, {1e-6, "u"}, {1e-9, "n"}, {1e-12, "p"}, {1e-15, "f"}};
        struct shown s;
        bool scaled = strcmp(unit, "1") != 0 && strcmp(unit, "dB") != 0 && strcmp(unit, "dB/mm") != 0;
        size_t i = 3;
        if (scaled && x != 0)
                for (i = 0; i + 1 < sizeof rows / sizeof rows[0] && fabs(x) < rows[i].scale * (1 - 1e-12); i++)
                        ;
        snprintf(s.at, sizeof s.at, "%.6g%s%s%s", x / rows[i].scale, strcmp(unit, "1") == 0 ? "" : " ", rows[i].prefix,
                 strcmp(unit, "1") == 0 ? "" : unit);
        return s;
}

static struct shown time_of(double seconds)
{
        struct shown s;
        long minutes = lround(seconds / 60);
        if (seconds < 120)
                snprintf(s.at, sizeof s.at, "%.1f s", seconds);
        else
                snprintf(s.at, sizeof s.at, "%ld h %02ld min", minutes / 60, minutes % 60);
        return s;
}

/* Points counted as the analyzer will sweep them: a shared one once. */
static void say_sweeps(const struct recipe *r, struct text *to)
{
        for (size_t i = 0; i < r->sweep_n; i++) {
                const struct sweep_plan *p = &r->sweeps[i];
                size_t points = 0;
                for (size_t k = 0; k < p->segment_n; k++)
                        points += (size_t)p->segments[k].points - (k > 0 && p->segments[k].start_hz == p->segments[k - 1].stop_hz ? 1 : 0);
                text_f(to, "  %s: %zu frequencies from %s to %s, %s a sweep.\n", p->name, points, si(p->segments[0].start_hz, "Hz").at,
                       si(p->segments[p->segment_n - 1].stop_hz, "Hz").at, time_of(sweep_seconds(p)).at);
                for (size_t k = 0; k < p->segment_n; k++) {
                        const struct segment *s = &p->segments[k];
                        text_f(to, "    %s to %s: %d points, %s, IF bandwidth %s, %d average%s, %.6g dBm\n", si(s->start_hz, "Hz").at,
                               si(s->stop_hz, "Hz").at, s->points, s->spacing == 1 ? "logarithmic" : "linear", si(s->ifbw_hz, "Hz").at,
                               s->averages, s->averages == 1 ? "" : "s", s->power_dbm);
                }
        }
}

static void say_wafer(const struct recipe *r, const struct plan *p, struct text *to)
{
        const struct layout *l = &r->layout;
        text_f(to, "WAFER\n  %s: %.6g mm, notch at %.6g degrees, edge exclusion %.6g mm, dies every %.6g x %.6g um.\n", l->name,
               l->diameter_mm, l->notch_deg, l->edge_exclusion_mm, l->pitch_x_um, l->pitch_y_um);
        if (p) {
                text_f(to, "  Wafer %s: %zu whole dies, %zu of them measured, in %s order%s.\n", p->wafer, p->die_n, p->visit_die_n,
                       die_order_words[r->order],
                       r->order == ORDER_SNAKE ? "; a drift over the night will look like a gradient on the wafer" : "");
        }
        for (size_t i = 0; i < l->excluded_n; i++)
                text_f(to, "  Die %d,%d is left out%s%s.\n", l->excluded[i].x, l->excluded[i].y, l->excluded[i].reason[0] ? ": " : "",
                       l->excluded[i].reason);
}

static void say_setup(const struct recipe *r, struct text *to)
{
        const struct setup *s = &r->setup;
        text_f(to, "\nPROBES\n");
        for (size_t i = 0; i < s->probe_n; i++)
                text_f(to, "  Port %d: probe %s, %s, pitch %.6g um.\n", s->probes[i].port, s->probes[i].serial, s->probes[i].order,
                       s->probes[i].pitch_um);
        text_f(to, "  Signal tips %.6g um apart; overtravel %.6g um, at most %.6g um more by the mandate; steps at %.6g um.\n",
               s->spacing_um, s->overtravel_um, r->mandate.overtravel_extra_um_max, s->separation_um);
        text_f(to, "  Chuck at %.6g degrees Celsius all night.\n", s->temperature_c);
        text_f(to, "  Contact expected at %s +- %s (1 s) per signal path; placement within %.6g um (1 s).\n", si(s->contact_ohm, "ohm").at,
               si(s->contact_ohm_u, "ohm").at, s->placement_um_u);
}

static void say_uses(const char *before, const struct use *list, size_t n, const struct recipe *r, struct text *to)
{
        text_put(to, before);
        for (size_t i = 0; i < n; i++) {
                const struct standard *s = recipe_standard(r, list[i].standard);
                text_f(to, "%s%s%s", i ? ", " : " ", s->name, s->raised ? " (raised, not touched)" : "");
        }
        text_put(to, ".\n");
}

static void say_proof(const struct recipe *r, struct text *to)
{
        text_put(to, "\nPROOF OF PLACE\n");
        if (r->proof.die_n == 0) {
                text_put(to, "  None: no result can be proven to come from the die it is written to.\n");
                return;
        }
        text_f(to, "  Before the first sweep the DC meter reads the ladder %s on %zu dies:", r->proof.device, r->proof.die_n);
        for (size_t i = 0; i < r->proof.die_n; i++)
                text_f(to, "%s%d,%d", i ? "; " : " ", r->proof.dies[i].x, r->proof.dies[i].y);
        text_f(to, ".\n  A wrong code %s.\n", r->proof.required ? "stops the run" : "leaves the place unproven");
}

/* Where the upper band will be the surer one, by the recipe's own uncertainties; silent when there is nothing to say. */
static void say_joints(const struct recipe *r, struct text *to)
{
        const struct sweep_plan *sweep = recipe_sweep(r, r->calibration.sweep);
        struct arena *arena = arena_new(0);
        struct solved_calibration *solved;
        double *hz = NULL;
        size_t n = 0;
        if (arena && sweep && !sweep_axis(sweep, arena, &hz, &n, NULL) && !calibration_rehearse(r, hz, n, arena, &solved, NULL))
                for (size_t b = 0; b + 1 < solved->band_n; b++) {
                        const struct joint *j = &solved->joints[b];
                        if (isfinite(j->cross_hz))
                                text_f(to, "  By these uncertainties %s is the surer one from about %s on.\n",
                                       r->calibration.bands[b + 1].method, si(j->cross_hz, "Hz").at);
                        else if (j->one_sided)
                                text_f(to, "  %s.\n", j->sentence);
                }
        arena_free(arena);
}

static void say_bands(const struct recipe *r, struct text *to)
{
        const struct calibration_plan *c = &r->calibration;
        for (size_t b = 0; b < c->band_n; b++) {
                const struct band_plan *band = &c->bands[b];
                const struct method *m = rf_method(band->method);
                text_f(to, "  From %s to %s by %s: %s.\n", si(band->from_hz, "Hz").at, si(band->to_hz, "Hz").at, band->method,
                       m ? m->say : "");
                say_uses("    From", band->standards, band->standard_n, r, to);
                if (b + 1 < c->band_n)
                        text_f(to,
                               "    Between %s and %s both are solved and joined by their uncertainties; how far they differ is told.\n",
                               si(c->bands[b + 1].from_hz, "Hz").at, si(band->to_hz, "Hz").at);
        }
}

/* Where the results lie, and in which impedance. */
static void say_reference(const struct calibration_plan *c, struct text *to)
{
        struct band_plan one;
        const struct band_plan *bands;
        size_t n = calibration_bands(c, &one, &bands);
        bool lines = false;
        for (size_t b = 0; b < n; b++) {
                const struct method *m = rf_method(bands[b].method);
                lines = lines || (m && method_is_of_lines(m));
        }
        if (!lines)
                return;
        text_f(to, "  Results at the %s,", calibration_plan_plane(c) == PLANE_TIP ? "tips" : "middle of the first line");
        if (c->line_capacitance_f_m > 0)
                text_f(to, " moved from the lines' impedance to 50 ohm by their capacitance of %.6g pF/m.\n",
                       c->line_capacitance_f_m * 1e12);
        else if (c->line_z_ohm > 0)
                text_f(to, " moved to 50 ohm from %.6g ohm, which is assumed for the lines.\n", c->line_z_ohm);
        else
                text_put(to, " in the impedance of the lines, which is not known.\n");
}

/* What a reader should know of single standards. */
static void say_standards(const struct recipe *r, struct text *to)
{
        const struct calibration_plan *c = &r->calibration;
        for (size_t i = 0; i < c->standard_n; i++) {
                const struct standard *s = recipe_standard(r, c->standards[i].standard);
                if (s->data_n)
                        text_f(to, "  %s is known by data: %zu frequencies from %s to %s.\n", s->name, s->data_n,
                               si(s->data[0].hz, "Hz").at, si(s->data[s->data_n - 1].hz, "Hz").at);
                else if (s->has_port_2)
                        text_f(to, "  %s is a %s at port 1 and a %s at port 2.\n", s->name, standard_kind_words[s->kind],
                               standard_kind_words[s->port_2.kind]);
                if (s->kind == STANDARD_LOAD && s->model.dc_ohm > 0)
                        text_f(to, "  %s is taken as %.6g ohm at %.6g degrees Celsius, by its DC reading, instead of %.6g ohm.\n", s->name,
                               standard_definition_of(s).r_ohm, s->model.t_ref_c, s->model.r_ohm);
        }
}

/* Which standards want the probes apart: a station without a positioner refuses them. */
static void say_spacings(const struct recipe *r, struct text *to)
{
        size_t n = 0;
        for (size_t i = 0; i < r->calibration.standard_n; i++) {
                const struct standard *s = recipe_standard(r, r->calibration.standards[i].standard);
                double um = recipe_spacing_um(r, s);
                if (um > r->setup.spacing_um - 0.5 && um < r->setup.spacing_um + 0.5)
                        continue;
                text_f(to, "%s %s %.6g um", n++ ? "," : "  A positioner moves the probes apart for", s->name, um);
        }
        if (n)
                text_f(to, ", then back to %.6g um; %.6g s are waited after each.\n", r->setup.spacing_um, r->setup.spacing_settle_s);
}

static void say_calibration(const struct recipe *r, struct text *to)
{
        const struct calibration_plan *c = &r->calibration;
        const struct method *m = rf_method(c->method);
        if (c->band_n)
                text_f(to, "\nCALIBRATION\n  Joined from %zu bands; sweep %s; switch terms %s; at most %d tries.\n", c->band_n, c->sweep,
                       c->switch_terms ? "measured" : "not used", c->tries_max);
        else
                text_f(to, "\nCALIBRATION\n  %s: %s; sweep %s; switch terms %s; at most %d tries.\n", c->method, m ? m->say : "", c->sweep,
                       c->switch_terms ? "measured" : "not used", c->tries_max);
        say_uses(c->band_n ? "  Touched for it:" : "  From", c->standards, c->standard_n, r, to);
        say_standards(r, to);
        if (c->load_resistance == LOAD_RESISTANCE_MEASURED)
                text_f(to, "  Loads are taken as the DC meter reads them at the touch, less the short, to %.6g ohm a reading.\n",
                       r->setup.dc_ohm_u);
        say_spacings(r, to);
        say_bands(r, to);
        if (c->band_n)
                say_joints(r, to);
        say_reference(c, to);
        if (c->verify_n == 0)
                text_put(to, "  Not verified on anything outside it.\n");
        else
                text_put(to, "  Verified on copies not used in it; refused when |S - model| is anywhere above:");
        for (size_t i = 0; i < c->verify_n; i++)
                text_f(to, "%s %s %.6g%s", i ? "," : "", c->verify[i].standard, c->verify[i].limit, i + 1 == c->verify_n ? ".\n" : "");
}

static void say_checks(const struct recipe *r, const struct plan *p, struct text *to)
{
        const struct check_plan *c = &r->check;
        text_put(to, "\nCHECKS\n");
        if (c->every_dies == 0) {
                text_put(to, "  None: all results stay open, nothing is ever proven.\n");
                return;
        }
        text_f(to, "  Every %d dies, before the first die and after the last", c->every_dies);
        if (p)
                text_f(to, ": %d checks", p->check_times);
        say_uses("; each touches", c->standards, c->standard_n, r, to);
        text_f(to, "  Failed beyond: delay %.6g fs, loss %.6g dB, contact %s or %s, unexplained %.6g.\n", c->limits.delay_fs,
               c->limits.loss_db, si(c->limits.contact_ohm, "ohm").at, si(c->limits.contact_h, "H").at, c->limits.residual);
}

static void say_parameter(const struct recipe *r, const struct measure *m, const struct parameter_plan *p, struct text *to)
{
        struct tp_error undecidable;
        const char *unit = quantity_units[p->quantity];
        text_f(to, "    %s: %s", p->name, quantity_words[p->quantity]);
        if (p->at == AT_BEST_WINDOW)
                text_put(to, " in the window where it is resolved best");
        else if (!quantity_of_sweep(p->quantity))
                text_f(to, " at %s", si(p->freq_hz, "Hz").at);
        if (p->has_low && p->has_high)
                text_f(to, ", from %s to %s", si(p->low, unit).at, si(p->high, unit).at);
        else if (p->has_low)
                text_f(to, ", at least %s", si(p->low, unit).at);
        else if (p->has_high)
                text_f(to, ", at most %s", si(p->high, unit).at);
        else
                text_put(to, ", no limit");
        if (p->acceptance == ACCEPTANCE_SIMPLE && (p->has_low || p->has_high))
                text_put(to, ", decided by the value alone");
        else if (p->has_low || p->has_high)
                text_f(to, ", decided with a risk of %.6g %%", 100 * (p->risk > 0 ? p->risk : 0.05));
        text_f(to, "; not told when its uncertainty is above %.6g %% of it\n", 100 * p->resolve_share_max);
        if (recipe_decidable(r, m, p, &undecidable))
                text_f(to, "      No die can pass: %s.\n", undecidable.text);
}

/* " 1.2 V on channel 0 (at most 30 mA, 36 mW), then 60 uA into the base on channel 1 (at most 1.2 V)" */
static void say_base(const struct condition *c, const char *comma, struct text *to)
{
        text_put(to, comma);
        if (c->open_v > 0)
                text_f(to, " channel %d open (at most %.6g V), then", c->channel, c->open_v);
        if (c->volt != 0)
                text_f(to, " %.6g V on channel %d (at most %s, %s), then", c->volt, c->channel, si(c->limit_a, "A").at,
                       si(fabs(c->volt) * c->limit_a, "W").at);
        text_f(to, " %s into the base on channel %d (at most %.6g V)", si(c->base.ampere, "A").at, c->base.channel, c->base.limit_v);
}

static void say_measure(const struct recipe *r, const struct measure *m, struct text *to)
{
        const struct device *d = &r->layout.devices[layout_device(&r->layout, m->device)];
        text_f(to, "  %s (%s): 1 touch of %d on its pads, sweep %s,", d->name, device_kind_words[d->kind], d->touches_max, m->sweep);
        for (size_t k = 0; k < m->condition_n; k++) {
                const struct condition *c = &m->conditions[k];
                if (c->has_base) {
                        say_base(c, k ? ";" : "", to);
                        continue;
                }
                if (c->has_gate && c->gate.volt != 0)
                        text_f(to, "%s %.6g V on channel %d (at most %s)%s", k ? "," : "", c->gate.volt, c->gate.channel,
                               si(c->gate.limit_a, "A").at, c->volt != 0 ? " with" : "");
                if (c->volt != 0 && c->has_gate && c->gate.volt != 0)
                        text_f(to, " %.6g V on channel %d (at most %s)", c->volt, c->channel, si(c->limit_a, "A").at);
                else if (c->volt != 0)
                        text_f(to, "%s %.6g V on channel %d (at most %s)", k ? "," : "", c->volt, c->channel, si(c->limit_a, "A").at);
                else if (!(condition_volt(c) > 0))
                        text_f(to, "%s no bias", k ? "," : "");
        }
        if (m->has_extrinsic)
                text_f(to, ", elements inside its leads (by %s%s%zu cold states)", m->extrinsic.off, m->extrinsic.off[0] ? " and " : "",
                       m->extrinsic.cold_n);
        const char *before = ", less ", *last = NULL;
        for (int k = 1; k < RF_DUMMY_COUNT; k++) { /* "less OPEN and SHORT of its die" */
                if (!measure_dummy(m, k)[0])
                        continue;
                if (last) {
                        text_f(to, "%s%s", before, last);
                        before = ", ";
                }
                last = measure_dummy(m, k);
        }
        if (last)
                text_f(to, "%s%s of its die", strcmp(before, ", ") ? before : " and ", last);
        text_put(to, ".\n");
        for (size_t k = 0; k < m->parameter_n; k++)
                say_parameter(r, m, &m->parameters[k], to);
}

static double volt_highest(const struct recipe *r)
{
        double volt = 0;
        for (size_t i = 0; i < r->measure_n; i++)
                for (size_t k = 0; k < r->measures[i].condition_n; k++)
                        volt = fmax(volt, condition_volt(&r->measures[i].conditions[k]));
        return volt;
}

static void say_touches(const struct plan *p, struct text *to)
{
        size_t pads = 0;
        int32_t pad_most = 0;
        text_f(to, "\nTOUCHES (without trouble: %lld in all)\n", (long long)p->touches_total);
        for (size_t i = 0; i < p->thing_n; i++) {
                const struct plan_thing *t = &p->things[i];
                if (strcmp(t->kind, "pad") == 0) {
                        pads++;
                        pad_most = t->used + t->reserved > pad_most ? t->used + t->reserved : pad_most;
                } else
                        text_f(to, "  %s %s of %s: %d touch%s, %d before tonight, budget %d.\n", t->kind, t->part, t->serial, t->reserved,
                               t->reserved == 1 ? "" : "es", t->used, t->budget);
        }
        text_f(to, "  %zu sets of pads on the wafer: 1 touch each; the most touched will have had %d.\n", pads, pad_most);
}

static void say_time(const struct recipe *r, const struct plan *p, struct text *to)
{
        size_t sweeps = p->calibrate_n + p->verify_n + (size_t)p->check_times * p->check_n, witnesses = 0;
        for (size_t i = 0; i < p->visit_n; i++)
                sweeps += r->measures[p->targets[p->visits[i]].item].condition_n;
        for (size_t i = 0; i < r->standard_n; i++)
                witnesses = r->standards[i].raised && p->check_times ? p->visit_die_n + (size_t)p->check_times : witnesses;
        text_f(to, "\nTIME AND SWEEPS\n  %zu sweeps in contact or of standards", sweeps);
        if (witnesses)
                text_f(to, ", and %zu of the raised open on the way to dies and checks", witnesses);
        text_f(to, ".\n  Forecast without trouble: %s, of which %s for the wafer itself and %s for calibration and verification.\n",
               time_of(p->seconds_total).at, time_of(p->seconds_wafer).at, time_of(p->seconds_total - p->seconds_wafer).at);
        if (p->replayed)
                text_put(to, "  The data are replayed from files: no instrument is moved, and all results stay open.\n");
}

static void say_mandate(const struct mandate *m, struct text *to)
{
        text_f(to,
               "\nMANDATE (what may be done without asking)\n  Touch a device again at most %d time%s, by contact evidence, never because "
               "of a value. Calibrate again at most %d time%s.\n",
               m->retouch_max, m->retouch_max == 1 ? "" : "s", m->recalibrate_max, m->recalibrate_max == 1 ? "" : "s");
        text_f(to, "  Measure suspects again: %s. Rescue them between two calibrations: %s. Skip a device: %s. Skip a die: %s.\n",
               m->remeasure_suspects ? "yes" : "no", m->rescue_suspects ? "yes" : "no", m->skip_device ? "yes" : "no",
               m->skip_die ? "yes" : "no");
}

void recipe_explain(const struct recipe *r, const struct plan *p, struct text *to)
{
        text_f(to, "%s\n", r->name);
        if (r->notes[0])
                text_f(to, "%s\n", r->notes);
        text_put(to, "\n");
        say_wafer(r, p, to);
        say_setup(r, to);
        say_proof(r, to);
        say_calibration(r, to);
        say_checks(r, p, to);
        text_f(to, "\nSWEEPS\n");
        say_sweeps(r, to);
        text_f(to, "\nDEVICES, in this order on each die; bias at most %.6g V of the recipe's ceiling of %.6g V\n", volt_highest(r),
               r->max_volt);
        for (size_t i = 0; i < r->measure_n; i++)
                say_measure(r, &r->measures[i], to);
        if (p) {
                say_touches(p, to);
                say_time(r, p, to);
        }
        say_mandate(&r->mandate, to);
}
