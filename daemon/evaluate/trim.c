/* trim.c: loads as the DC meter reads them at the touch that is swept.
 * Idea        What lies between meter and load - leads, contact - is what the meter reads on the calibration's shorts at the same port; less
 * that it reads the load, which is all that a definition's R says.  The calibration keeps the numbers, and whoever asks for its standards
 * later gets the recipe with these in place of the stated ones.
 * Uncertainty one reading of the load and the mean of the shorts' readings by the meter's specification, and the shorts' contacts.  The
 * load's own contact is in its sweep as well: it counts as that touch, not here. */
#include "base/json.h"
#include "evaluate/inside.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static const struct standard *standard_in(const struct recipe *r, const struct standard_sweep *of) { return &r->standards[of->standard]; }

/* The reading of one port to ground; CODE_BAD_INPUT where there is none. */
static enum code reading(const struct standard *s, const struct raw_sweep *raw, int port, double *ret, struct tp_error *err)
{
        *ret = raw->has_dc ? raw->dc_ohm[1 + port] : -1;
        if (*ret >= 0)
                return CODE_OK;
        return tp_fail(
                err, CODE_BAD_INPUT,
                "standard %s (copy %s) was swept without a DC reading at port %d, which \"load_resistance\": \"measured\" needs; look "
                "at the DC meter and sweep it again, or say \"stated\"",
                s->name, s->copy, port + 1);
}

/* Mean over the shorts at this port. */
static enum code short_mean(const struct recipe *r, const struct standard_sweep *of, size_t n, int port, double *ret, double *ret_n,
                            struct tp_error *err)
{
        double sum = 0, ohm;
        *ret_n = 0;
        for (size_t k = 0; k < n; k++) {
                const struct standard *s = standard_in(r, &of[k]);
                if (standard_kind_at(s, port) != STANDARD_SHORT)
                        continue;
                enum code code = reading(s, of[k].raw, port, &ohm, err);
                if (code)
                        return code;
                sum += ohm;
                ++*ret_n;
        }
        *ret = sum / *ret_n;
        if (*ret_n > 0)
                return CODE_OK;
        return tp_fail(
                err, CODE_BAD_INPUT,
                "no short was swept at port %d, so that contact and leads cannot be taken off the loads' DC readings; add a short, or "
                "say \"load_resistance\": \"stated\"",
                port + 1);
}

/* Copy, port, value, range and the keys that state it. */
static enum code out_of_range(const struct standard *s, int port, const struct standard_model *stated, double read_ohm, double short_ohm,
                              double t_c, struct tp_error *err)
{
        struct standard bare = {.kind = STANDARD_LOAD, .model = *stated};
        struct standard_definition def = standard_definition_of(&bare);
        double ohm = read_ohm - short_ohm, within = rf_load_tolerance(stated->r_ohm, stated->r_tolerance_ohm);
        const char *key = port == 1 && s->has_port_2 ? "port_2.model" : "model";
        char at_reference[64] = "", stands[80];
        if (def.r_per_k != 0)
                snprintf(at_reference, sizeof at_reference, ", %.6g at %.4g degrees", rf_standard_load_at_reference(&def, ohm, t_c),
                         def.t_ref_c);
        snprintf(stands, sizeof stands, stated->r_tolerance_ohm > 0 ? "r_tolerance_ohm %.6g" : "r_tolerance_ohm not stated: a tenth",
                 stated->r_tolerance_ohm);
        return tp_fail(
                err, CODE_BAD_INPUT,
                "load %s (copy %s) at port %d: the DC meter reads %.6g ohm, less %.4g ohm of the short %.6g ohm%s; outside of %.6g to "
                "%.6g ohm (%s.r_ohm %.6g, %s): clean the tips, look whether this is the copy and whether it is worn, or correct "
                "these keys",
                s->name, s->copy, port + 1, read_ohm, short_ohm, ohm, at_reference, stated->r_ohm - within, stated->r_ohm + within, key,
                stated->r_ohm, stands);
}

static enum code load_read(const struct recipe *r, const struct standard_sweep *all, size_t n, const struct standard_sweep *of, int port,
                           struct load_trim *to, struct tp_error *err)
{
        const struct standard *s = standard_in(r, of);
        double read_ohm, short_n;
        enum code code = reading(s, of->raw, port, &read_ohm, err);
        if (!code)
                code = short_mean(r, all, n, port, &to->short_ohm[port], &short_n, err);
        if (code)
                return code;
        struct standard_model stated = port == 1 && s->has_port_2 ? s->port_2.model : s->model;
        stated.dc_ohm = 0;
        struct standard bare = {.kind = STANDARD_LOAD, .model = stated};
        struct standard_definition def = standard_definition_of(&bare);
        double ohm = read_ohm - to->short_ohm[port],
               u_ohm = sqrt(pow(r->setup.dc_ohm_u, 2) * (1 + 1 / short_n) + pow(r->setup.contact_ohm_u, 2) / short_n);
        if (rf_standard_trim_load(&def, ohm, u_ohm, r->setup.temperature_c, NULL))
                return out_of_range(s, port, &stated, read_ohm, to->short_ohm[port], r->setup.temperature_c, err);
        to->ohm[port] = ohm;
        to->u_ohm[port] = u_ohm;
        return CODE_OK;
}

enum code loads_measure(const struct recipe *r, const struct standard_sweep *of, size_t n, struct arena *arena, struct load_trim **ret,
                        size_t *ret_n, struct tp_error *err)
{
        *ret = NULL;
        *ret_n = 0;
        if (r->calibration.load_resistance != LOAD_RESISTANCE_MEASURED)
                return CODE_OK;
        if (!(*ret = arena_take(arena, n * sizeof **ret)))
                return tp_fail_memory(err);
        for (size_t k = 0; k < n; k++) {
                const struct standard *s = standard_in(r, &of[k]);
                struct load_trim l = {.t_c = r->setup.temperature_c, .ohm = {NAN, NAN}, .u_ohm = {NAN, NAN}, .short_ohm = {NAN, NAN}};
                bool trimmed = false;
                snprintf(l.standard, sizeof l.standard, "%s", s->name);
                for (int port = 0; port < 2; port++) {
                        if (standard_kind_at(s, port) != STANDARD_LOAD || s->data_n)
                                continue;
                        enum code code = load_read(r, of, n, &of[k], port, &l, err);
                        if (code)
                                return code;
                        trimmed = true;
                }
                if (trimmed)
                        (*ret)[(*ret_n)++] = l;
        }
        return CODE_OK;
}

static void trim(struct standard *s, const struct load_trim *l)
{
        if (!s->has_port_2) {
                s->port_2 = (struct standard_end){.kind = s->kind, .model = s->model};
                s->has_port_2 = true;
        }
        for (int port = 0; port < 2; port++) {
                struct standard_model *m = port ? &s->port_2.model : &s->model;
                if (!isfinite(l->ohm[port]))
                        continue;
                m->dc_ohm = l->ohm[port];
                m->u_dc_ohm = l->u_ohm[port];
                m->dc_at_c = l->t_c;
        }
}

enum code recipe_trimmed(const struct recipe *r, const struct load_trim *loads, size_t n, struct arena *arena, const struct recipe **ret,
                         struct tp_error *err)
{
        *ret = r;
        if (n == 0)
                return CODE_OK;
        struct recipe *own = arena_take(arena, sizeof *own);
        struct standard *standards = arena_take(arena, r->standard_n * sizeof *standards);
        if (!own || !standards)
                return tp_fail_memory(err);
        *own = *r;
        own->standards = standards;
        memcpy(standards, r->standards, r->standard_n * sizeof *standards);
        for (size_t i = 0; i < n; i++) {
                const struct standard *s = recipe_standard(r, loads[i].standard);
                if (!s)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "the calibration trims load \"%s\", which is no standard of this recipe; use the recipe that it was "
                                       "made by",
                                       loads[i].standard);
                trim(&standards[s - r->standards], &loads[i]);
        }
        *ret = own;
        return CODE_OK;
}

void loads_json(const struct recipe *stated, const struct load_trim *loads, size_t n, struct json_out *o)
{
        json_open(o, "loads", '[');
        for (size_t i = 0; i < n; i++)
                for (int port = 0; port < 2; port++) {
                        const struct standard *s = recipe_standard(stated, loads[i].standard);
                        if (!s || !isfinite(loads[i].ohm[port]))
                                continue;
                        const struct standard_model *m = port && s->has_port_2 ? &s->port_2.model : &s->model;
                        json_open(o, NULL, '{');
                        json_text(o, "standard", s->name);
                        json_text(o, "copy", s->copy);
                        json_int(o, "port", port + 1);
                        json_real(o, "ohm", loads[i].ohm[port]);
                        json_real(o, "u_ohm", loads[i].u_ohm[port]);
                        json_real(o, "short_ohm", loads[i].short_ohm[port]);
                        json_real(o, "stated_ohm", m->r_ohm);
                        json_real(o, "tolerance_ohm", rf_load_tolerance(m->r_ohm, m->r_tolerance_ohm));
                        json_close(o, '}');
                }
        json_close(o, ']');
}
