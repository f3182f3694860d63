/* recipe_check_calibration.c: do standards and calibration plan suit each other: kinds, ports, lengths, definitions, bands, planes; and does a
   rehearsal on paper solve them?  Each refusal names place, value and what to do (recipe_own.h). */
#include "recipe/calibration_problem.h"
#include "recipe/recipe_own.h"
#include "recipe/rehearse.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum code recipe_check_standard(const struct recipe *r, size_t i, struct tp_error *err)
{
        const struct standard *s = &r->standards[i];
        struct pointer at = pointer_at("/standards/%zu", i);
        if (s->kind == STANDARD_UNKNOWN)
                return refuse_at(err, pointer_at("%s/kind", at.at), "\"unknown\"; say what standard %s is", s->name);
        if (s->place != PLACE_SUBSTRATE && s->place != PLACE_WAFER)
                return refuse_at(err, pointer_at("%s/place", at.at), "\"%s\"; standard %s must stand on the substrate or on the wafer",
                                 place_words[s->place], s->name);
        if (s->place == PLACE_SUBSTRATE && !r->setup.substrate[0])
                return refuse_at(err, pointer_at("/setup/substrate"),
                                 "missing, but standard %s stands on the substrate; give the substrate's serial", s->name);
        if (s->place == PLACE_WAFER && !(hypot(s->x_um, s->y_um) <= r->layout.diameter_mm * 500))
                return refuse_at(err, at, "standard %s at %.6g, %.6g um is off the wafer of %.6g mm; correct its place", s->name, s->x_um,
                                 s->y_um, r->layout.diameter_mm);
        if (s->raised && s->kind != STANDARD_OPEN)
                return refuse_at(err, pointer_at("%s/raised", at.at), "true for %s, a %s; only an open can be swept without touching",
                                 s->name, standard_kind_words[s->kind]);
        if (s->has_port_2 && (s->kind > STANDARD_LOAD || s->port_2.kind == STANDARD_UNKNOWN || s->port_2.kind > STANDARD_LOAD))
                return refuse_at(err, pointer_at("%s/port_2/kind", at.at),
                                 "\"%s\" beside a %s; only opens, shorts and loads stand at one port alone",
                                 standard_kind_words[s->port_2.kind], standard_kind_words[s->kind]);
        if (s->has_port_2 && s->data_n)
                return refuse_at(err, pointer_at("%s/port_2", at.at), "given for %s, and data too; the data say both ports", s->name);
        if (s->data_n && standard_model_is_told(&s->model))
                return refuse_at(err, pointer_at("%s/model", at.at),
                                 "says what %s is, and \"data\" says it too; leave one of them out (a length and r_tolerance_ohm may stay)",
                                 s->name);
        if (s->data_u > 0 && !s->data_n)
                return refuse_at(err, pointer_at("%s/data_u", at.at),
                                 "is of \"data\", and %s has none; of a model say \"u_r_ohm\" and the like", s->name);
        for (size_t k = 1; k < s->data_n; k++)
                if (!(s->data[k].hz > s->data[k - 1].hz))
                        return refuse_at(err, pointer_at("%s/data/%zu/hz", at.at, k),
                                         "%.15g Hz does not lie above %.15g Hz before it; sort the rows", s->data[k].hz, s->data[k - 1].hz);
        for (int port = 0; port < (s->has_port_2 ? 2 : 1); port++) {
                const struct standard_model *m = port ? &s->port_2.model : &s->model;
                struct tp_error why = {0};
                if (standard_model_check(standard_kind_at(s, port), m, &why))
                        return refuse_at(err, pointer_at("%s/%smodel/%s", at.at, port ? "port_2/" : "", why.pointer), "%s: %s", s->name,
                                         why.text);
                if (standard_kind_at(s, port) == STANDARD_LOAD && m->r_ohm > 0 && m->r_tolerance_ohm >= m->r_ohm)
                        return refuse_at(
                                err, pointer_at("%s/%smodel/r_tolerance_ohm", at.at, port ? "port_2/" : ""),
                                "%.6g ohm for %s of %.6g ohm; a range that lets a short pass says nothing, give less or leave it out",
                                m->r_tolerance_ohm, s->name, m->r_ohm);
        }
        if (!s->raised && s->touches_max < 1)
                return refuse_at(err, pointer_at("%s/touches_max", at.at), "%d for %s, which must be touched; give the copy's budget",
                                 s->touches_max, s->name);
        for (size_t k = 0; k < i; k++) {
                const struct standard *t = &r->standards[k];
                if (strcmp(t->name, s->name) == 0)
                        return refuse_at(err, pointer_at("%s/name", at.at), "\"%s\" is already the name of standard %zu; names are unique",
                                         s->name, k);
                if (t->place == s->place && t->x_um == s->x_um && t->y_um == s->y_um)
                        return refuse_at(err, at, "standard %s stands at %.6g, %.6g um, where %s stands already; correct one of them",
                                         s->name, s->x_um, s->y_um, t->name);
        }
        return CODE_OK;
}

enum code recipe_standard_named(const struct recipe *r, const char *name, struct pointer at, const struct standard **ret,
                                struct tp_error *err)
{
        *ret = recipe_standard(r, name);
        return *ret ? CODE_OK : refuse_at(err, at, "\"%s\" is no standard of this recipe; there are: %s", name, standard_names(r).at);
}

/* "solt, unknown_thru, …": the two-port rows of the table of methods. */
static struct name_list method_names(void)
{
        struct name_list list = {{0}};
        for (size_t k = 0, used = 0; k < rf_method_n && used < sizeof list.at; k++)
                if (rf_methods[k].ports == 2)
                        used += (size_t)snprintf(list.at + used, sizeof list.at - used, "%s%s", used ? ", " : "", rf_methods[k].word);
        return list;
}

static enum code check_names(const struct recipe *r, const struct use *list, size_t n, struct pointer at, struct tp_error *err)
{
        for (size_t i = 0; i < n; i++) {
                const struct standard *s = NULL;
                enum code code = recipe_standard_named(r, list[i].standard, pointer_at("%s/standards/%zu/standard", at.at, i), &s, err);
                for (size_t k = 0; k < i && !code; k++)
                        if (strcmp(list[k].standard, list[i].standard) == 0)
                                code = refuse_at(err, pointer_at("%s/standards/%zu/standard", at.at, i),
                                                 "\"%s\" is named twice; once is enough", s->name);
                if (code)
                        return code;
        }
        return CODE_OK;
}

/* Enough of each kind, and none that the method has no use for. */
static enum code check_needs(const struct recipe *r, const struct band_plan *b, const struct method *m, struct pointer at,
                             struct tp_error *err)
{
        for (size_t k = 0; k < m->need_n; k++) {
                unsigned have = 0;
                for (size_t i = 0; i < b->standard_n; i++)
                        have += standard_role(m, recipe_standard(r, b->standards[i].standard)) == m->needs[k].kind;
                if (have < m->needs[k].least)
                        return refuse_at(err, pointer_at("%s/standards", at.at), "%u of kind %s, \"%s\" needs at least %u: %s", have,
                                         rf_standard_words[m->needs[k].kind], m->word, m->needs[k].least, m->needs[k].say);
        }
        for (size_t i = 0; i < b->standard_n; i++) {
                const struct standard *s = recipe_standard(r, b->standards[i].standard);
                if (standard_role(m, s) == RF_STANDARD_UNKNOWN)
                        return refuse_at(err, pointer_at("%s/standards/%zu/standard", at.at, i),
                                         "%s is a %s, which \"%s\" has no use for; leave it out or verify with it", s->name,
                                         standard_kind_words[s->kind], m->word);
        }
        return CODE_OK;
}

static enum code check_lines(const struct recipe *r, const struct band_plan *b, const struct method *m, struct pointer at,
                             struct tp_error *err)
{
        const struct calibration_plan *c = &r->calibration;
        double shortest = HUGE_VAL, longest = 0;
        for (size_t i = 0; i < b->standard_n; i++) {
                const struct standard *s = recipe_standard(r, b->standards[i].standard);
                if (standard_role(m, s) != RF_LINE)
                        continue;
                shortest = fmin(shortest, s->model.length_um);
                longest = fmax(longest, s->model.length_um);
        }
        if (!(longest > shortest))
                return refuse_at(err, pointer_at("%s/standards", at.at), "all lines are %.6g um long; lines of different length are needed",
                                 longest);
        if (!(c->eps_eff >= 1))
                return refuse_at(err, pointer_at("/calibration/eps_eff"),
                                 "%.6g; give a first guess of the effective permittivity, at least 1", c->eps_eff);
        return CODE_OK;
}

/* Standards that a band must know are known: numbers that are numbers, readings that fit, data over the whole band and fine enough. */
static enum code check_definitions(const struct recipe *r, const struct band_plan *b, const struct method *m, const double *hz, size_t n,
                                   struct arena *scratch, struct tp_error *err)
{
        size_t begin = 0, end = n;
        while (begin < end && !(hz[begin] >= b->from_hz * (1 - 1e-12)))
                begin++;
        while (end > begin && !(hz[end - 1] <= b->to_hz * (1 + 1e-12)))
                end--;
        for (size_t i = 0; i < b->standard_n && end > begin; i++) {
                const struct standard *s = recipe_standard(r, b->standards[i].standard);
                enum rf_standard_kind role = standard_role(m, s);
                struct axis axis;
                struct tp_error inner = {0};
                bool wanted = false;
                for (size_t k = 0; k < m->need_n; k++)
                        wanted = wanted || (m->needs[k].kind == role && m->needs[k].ideal);
                if (!wanted)
                        continue;
                enum code code = axis_of(end - begin, hz + begin, &axis, err);
                void *memory = arena_take(scratch, net2_bytes(end - begin));
                if (code || !memory)
                        return code ? code : tp_fail_memory(err);
                struct net2 net = net2_at(memory, &axis, PLANE_TIP);
                code = standard_ideal(s, r->setup.temperature_c, scratch, &net, &inner);
                if (code == CODE_MEMORY)
                        return tp_fail_memory(err);
                if (code)
                        return refuse_at(err, pointer_at("/standards/%zu/%s", (size_t)(s - r->standards), s->data_n ? "data" : "model"),
                                         "%s: %s", s->name, inner.text);
        }
        return CODE_OK;
}

/* The sign of an unknown reflect is settled by its estimate. */
static enum code check_estimate(const struct recipe *r, const struct band_plan *b, const struct method *m, struct tp_error *err)
{
        for (size_t i = 0; i < b->standard_n; i++)
                if (standard_role(m, recipe_standard(r, b->standards[i].standard)) == RF_REFLECT &&
                    !(fabs(r->calibration.reflect_estimate) >= 0.5))
                        return refuse_at(err, pointer_at("/calibration/reflect_estimate"), "%.6g; give -1 for a short or +1 for an open",
                                         r->calibration.reflect_estimate);
        return CODE_OK;
}

static enum code check_band(const struct recipe *r, const struct band_plan *b, const double *hz, size_t n, struct pointer at,
                            struct arena *scratch, struct tp_error *err)
{
        const struct method *m = rf_method(b->method);
        if (!m || m->ports != 2)
                return refuse_at(err, pointer_at("%s/method", at.at), "\"%s\" is no two-port method; there are: %s", b->method,
                                 method_names().at);
        enum code code = check_names(r, b->standards, b->standard_n, at, err);
        if (!code)
                code = check_needs(r, b, m, at, err);
        if (!code && method_is_of_lines(m))
                code = check_lines(r, b, m, at, err);
        if (!code)
                code = check_estimate(r, b, m, err);
        return code ? code : check_definitions(r, b, m, hz, n, scratch, err);
}

static bool names(const struct use *list, size_t n, const char *name)
{
        for (size_t i = 0; i < n; i++)
                if (strcmp(list[i].standard, name) == 0)
                        return true;
        return false;
}

/* Every standard of a band is the calibration's, and the other way round. */
static enum code check_shares(const struct recipe *r, struct tp_error *err)
{
        const struct calibration_plan *c = &r->calibration;
        for (size_t b = 0; b < c->band_n; b++)
                for (size_t i = 0; i < c->bands[b].standard_n; i++)
                        if (!names(c->standards, c->standard_n, c->bands[b].standards[i].standard))
                                return refuse_at(err, pointer_at("/calibration/bands/%zu/standards/%zu/standard", b, i),
                                                 "\"%s\" is not among /calibration/standards, so nobody touches it; name it there too",
                                                 c->bands[b].standards[i].standard);
        for (size_t i = 0; i < c->standard_n; i++) {
                bool used = false;
                for (size_t b = 0; b < c->band_n; b++)
                        used = used || names(c->bands[b].standards, c->bands[b].standard_n, c->standards[i].standard);
                if (!used)
                        return refuse_at(err, pointer_at("/calibration/standards/%zu/standard", i),
                                         "\"%s\" is used in no band; leave it out or verify with it", c->standards[i].standard);
        }
        return CODE_OK;
}

#define COMMON_LEAST 3 /* frequencies: fewer say nothing about how two solutions differ */

/* The bands rise, overlap, and cover the sweep. */
static enum code check_cover(const struct calibration_plan *c, const double *hz, size_t n, struct tp_error *err)
{
        for (size_t b = 0; b < c->band_n; b++) {
                const struct band_plan *band = &c->bands[b], *before = b ? band - 1 : NULL;
                struct pointer from = pointer_at("/calibration/bands/%zu/from_hz", b), to = pointer_at("/calibration/bands/%zu/to_hz", b);
                size_t common = 0, inside = 0;
                if (!(band->to_hz > band->from_hz))
                        return refuse_at(err, to, "%.15g Hz, not above %.15g Hz where the band begins; exchange them", band->to_hz,
                                         band->from_hz);
                for (size_t i = 0; i < n; i++) {
                        bool here = hz[i] >= band->from_hz * (1 - 1e-12) && hz[i] <= band->to_hz * (1 + 1e-12);
                        inside += here;
                        common += here && before && hz[i] <= before->to_hz * (1 + 1e-12);
                }
                if (!inside)
                        return refuse_at(err, from,
                                         "%.15g Hz to %.15g Hz holds no frequency of sweep \"%s\" (%.15g to %.15g Hz); leave the band out",
                                         band->from_hz, band->to_hz, c->sweep, hz[0], hz[n - 1]);
                if (!before && hz[0] < band->from_hz * (1 - 1e-12))
                        return refuse_at(err, from,
                                         "%.15g Hz leaves a gap: sweep \"%s\" begins at %.15g Hz; let the first band begin there",
                                         band->from_hz, c->sweep, hz[0]);
                if (b + 1 == c->band_n && hz[n - 1] > band->to_hz * (1 + 1e-12))
                        return refuse_at(err, to, "%.15g Hz leaves a gap: sweep \"%s\" ends at %.15g Hz; let the last band end there",
                                         band->to_hz, c->sweep, hz[n - 1]);
                if (!before)
                        continue;
                if (!(band->from_hz > before->from_hz && band->to_hz > before->to_hz))
                        return refuse_at(err, from,
                                         "%.15g Hz to %.15g Hz does not lie above the band before it (%.15g to %.15g Hz); bands rise",
                                         band->from_hz, band->to_hz, before->from_hz, before->to_hz);
                if (band->from_hz > before->to_hz)
                        return refuse_at(err, from, "%.15g Hz leaves a gap: the band before it ends at %.15g Hz; let them overlap",
                                         band->from_hz, before->to_hz);
                if (common < COMMON_LEAST)
                        return refuse_at(
                                err, from,
                                "%.15g Hz: it shares %zu frequencies of the sweep with the band before it, which ends at %.15g Hz; at "
                                "least %d are needed to join two solutions, an octave or more is good",
                                band->from_hz, common, before->to_hz, COMMON_LEAST);
                if (b >= 2 && band->from_hz <= c->bands[b - 2].to_hz)
                        return refuse_at(err, from,
                                         "%.15g Hz lies below %.15g Hz, where the band before the last ends; two at most overlap",
                                         band->from_hz, c->bands[b - 2].to_hz);
        }
        return CODE_OK;
}

/* The first line of a band that is of lines, in um; 0: none. */
static double first_line_um(const struct recipe *r, const struct band_plan *b)
{
        const struct method *m = rf_method(b->method);
        for (size_t i = 0; i < b->standard_n && method_is_of_lines(m); i++) {
                const struct standard *s = recipe_standard(r, b->standards[i].standard);
                if (standard_role(m, s) == RF_LINE)
                        return s->model.length_um;
        }
        return 0;
}

/* One calibration has one reference plane and one impedance. */
static enum code check_reference(const struct recipe *r, const struct band_plan *bands, size_t n, struct tp_error *err)
{
        const struct calibration_plan *c = &r->calibration;
        size_t lines = 0, lumped = 0;
        bool ohms = c->line_capacitance_f_m > 0 || c->line_z_ohm > 0;
        if (c->line_capacitance_f_m > 0 && c->line_z_ohm > 0)
                return refuse_at(err, pointer_at("/calibration/line_z_ohm"),
                                 "%.6g ohm, but the lines' capacitance is given too; give one of them", c->line_z_ohm);
        for (size_t b = 0; b < n; b++) {
                const struct method *m = rf_method(bands[b].method);
                bool is = method_is_of_lines(m);
                lines += is;
                lumped += !is;
                if (n > 1 && m->terms > 12)
                        return refuse_at(err, pointer_at("/calibration/bands/%zu/method", b),
                                         "\"%s\" solves for leakage, which a joined calibration of eight terms would lose; use it alone",
                                         m->word);
                double um = first_line_um(r, &bands[b]), um0 = first_line_um(r, &bands[0]);
                if (is && calibration_plan_plane(c) == PLANE_LINE_MIDDLE && um != um0)
                        return refuse_at(
                                err, pointer_at("/calibration/bands/%zu/standards", b),
                                "the first line is %.6g um long, that of the first band %.6g um: their middles are two planes; begin "
                                "with one line, or set plane to \"tip\"",
                                um, um0);
        }
        if (lumped && c->plane == PLANE_AT_LINE_MIDDLE)
                return refuse_at(err, pointer_at("/calibration/plane"),
                                 "\"line_middle\", but a method without lines has its planes at the tips; one calibration has one plane, "
                                 "say \"tip\"");
        if (lines && lumped && !ohms)
                return refuse_at(err, pointer_at("/calibration/line_capacitance_f_m"),
                                 "missing: lines give results in their own impedance, the other bands in 50 ohm; give the lines' "
                                 "capacitance per metre (or line_z_ohm), so that all are in 50 ohm");
        return CODE_OK;
}

static enum code check_bands(const struct recipe *r, const double *hz, size_t n, struct arena *scratch, struct tp_error *err)
{
        const struct calibration_plan *c = &r->calibration;
        struct band_plan one;
        const struct band_plan *bands;
        size_t band_n = calibration_bands(c, &one, &bands);
        enum code code = CODE_OK;
        if (c->band_n && c->method[0])
                return refuse_at(err, pointer_at("/calibration/method"), "\"%s\", but bands are given, each with its own; leave one out",
                                 c->method);
        if (!c->band_n && !c->method[0])
                return refuse_at(err, pointer_at("/calibration/method"),
                                 "missing; give a method for all frequencies (there are: %s), or bands", method_names().at);
        if (c->band_n == 1)
                return refuse_at(err, pointer_at("/calibration/bands"), "1 band; give its method as /calibration/method, or another band");
        if (c->band_n)
                code = check_cover(c, hz, n, err);
        for (size_t b = 0; b < band_n && !code; b++)
                code = check_band(r, &bands[b], hz, n, c->band_n ? pointer_at("/calibration/bands/%zu", b) : pointer_at("/calibration"),
                                  scratch, err);
        if (!code && c->band_n)
                code = check_shares(r, err);
        return code ? code : check_reference(r, bands, band_n, err);
}

/* On paper, with perfect standards: what fails now would fail at night. */
static enum code check_loads(const struct recipe *r, struct tp_error *err)
{
        const struct calibration_plan *c = &r->calibration;
        bool loads[2] = {false}, shorts[2] = {false};
        if (c->load_resistance != LOAD_RESISTANCE_MEASURED)
                return CODE_OK;
        for (size_t i = 0; i < c->standard_n; i++) {
                const struct standard *s = recipe_standard(r, c->standards[i].standard);
                for (int port = 0; port < 2; port++) {
                        loads[port] = loads[port] || (standard_kind_at(s, port) == STANDARD_LOAD && !s->data_n);
                        shorts[port] = shorts[port] || standard_kind_at(s, port) == STANDARD_SHORT;
                }
        }
        struct pointer at = pointer_at("/calibration/load_resistance");
        if (!loads[0] && !loads[1])
                return refuse_at(err, at, "\"measured\", but the calibration has no load with a model to trim; say \"stated\"");
        for (int port = 0; port < 2; port++)
                if (loads[port] && !shorts[port])
                        return refuse_at(
                                err, at,
                                "\"measured\", but no short of the calibration stands at port %d, so that nobody knows contact and "
                                "leads there; add a short, or say \"stated\"",
                                port + 1);
        if (!(r->setup.dc_ohm_u > 0))
                return refuse_at(err, pointer_at("/setup/dc_ohm_u"),
                                 "missing, but the loads are measured; give the standard uncertainty of the DC meter's reading");
        return CODE_OK;
}

enum code recipe_check_calibration(const struct recipe *r, struct arena *scratch, struct tp_error *err)
{
        const struct calibration_plan *c = &r->calibration;
        const struct sweep_plan *sweep = recipe_sweep(r, c->sweep);
        double *hz = NULL;
        size_t n = 0;
        if (!sweep)
                return refuse_at(err, pointer_at("/calibration/sweep"), "\"%s\" is no sweep of this recipe; there are: %s", c->sweep,
                                 sweep_names(r).at);
        enum code code = sweep_axis(sweep, scratch, &hz, &n, err);
        if (!code)
                code = check_names(r, c->standards, c->standard_n, pointer_at("/calibration"), err);
        for (size_t i = 0; i < c->verify_n && !code; i++) {
                struct pointer at = pointer_at("/calibration/verify/%zu/standard", i);
                const struct standard *s = NULL;
                code = recipe_standard_named(r, c->verify[i].standard, at, &s, err);
                if (!code && names(c->standards, c->standard_n, c->verify[i].standard))
                        code = refuse_at(
                                err, at,
                                "\"%s\" is used in the calibration; verify with a copy that is not, a calibration agrees with itself "
                                "always",
                                s->name);
        }
        if (!code)
                code = check_loads(r, err);
        return code ? code : check_bands(r, hz, n, scratch, err);
}

enum code recipe_check_on_paper(const struct recipe *r, struct arena *scratch, struct tp_error *err)
{
        struct solved_calibration *solved;
        struct tp_error inner = {0};
        double *hz = NULL;
        size_t n = 0;
        enum code code = sweep_axis(recipe_sweep(r, r->calibration.sweep), scratch, &hz, &n, err);
        if (code)
                return code;
        code = calibration_rehearse(r, hz, n, scratch, &solved, &inner);
        if (code == CODE_MEMORY)
                return tp_fail_memory(err);
        return code ? refuse_at(err, pointer_at("/calibration"), "cannot be solved even with perfect standards: %s", inner.text) : CODE_OK;
}

/* A load is trimmed by its reading less a short's at the same port. */
