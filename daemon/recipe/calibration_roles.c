/* calibration_roles.c: which standard is what to a method, the bands of a plan, where the planes lie, what a calibration may be used for
 * (calibration_problem.h).
 * Roles       A method names the kinds it has use for.  One touch of a thru can so be the known thru of a lumped band and the first line of
 *             a line band, a short the known short of one and the reflect of the other.
 * Planes      A line method's planes lie in the middle of its first line, in the line's own impedance.  At the tips, where lumped standards
 *             are defined, is half that length further out; the reflect's offset counts from the plane that is asked for. */
#include "recipe/calibration_problem.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

const char *const plane_wish_words[] = {"by_method", "tip", "line_middle", NULL};
_Static_assert(sizeof plane_wish_words / sizeof plane_wish_words[0] == PLANE_WISH_COUNT + 1, "each wish has its word");
const char *const load_resistance_words[] = {"stated", "measured", NULL};
_Static_assert(sizeof load_resistance_words / sizeof load_resistance_words[0] == LOAD_RESISTANCE_COUNT + 1, "each has its word");

double complex calibration_line_z(const struct calibration_plan *c, double complex gamma, double hz)
{
        if (c->line_capacitance_f_m > 0) /* Marks & Williams, IEEE MGWL 1 (1991) 141 */
                return gamma / (CMPLX(0, RF_TWO_PI * hz * c->line_capacitance_f_m) * CMPLX(1, -c->line_loss_tangent));
        return c->line_z_ohm;
}

struct m2 calibration_line(const struct calibration_plan *c, double complex gamma, double hz, double length_m, double z_ref)
{
        double complex zc = calibration_line_z(c, gamma, hz);
        if (z_ref > 0 && cabs(zc) > 0)
                return rf_line(gamma, zc, length_m, z_ref);
        double complex e = cexp(-gamma * length_m);
        return m2_of(0, e, e, 0);
}

static bool has_use(const struct method *m, enum rf_standard_kind kind)
{
        for (size_t k = 0; k < m->need_n; k++)
                if (m->needs[k].kind == kind)
                        return true;
        return false;
}

bool method_is_of_lines(const struct method *m) { return has_use(m, RF_LINE) && !has_use(m, RF_THRU); }

enum rf_standard_kind standard_role(const struct method *m, const struct standard *s)
{
        enum rf_standard_kind kind = standard_rf_kind(s->kind);
        if (s->has_port_2 && s->port_2.kind != s->kind)
                kind = RF_KNOWN;
        if (has_use(m, kind))
                return kind;
        if (kind == RF_THRU && has_use(m, RF_LINE))
                return RF_LINE;
        if ((kind == RF_OPEN || kind == RF_SHORT) && has_use(m, RF_REFLECT))
                return RF_REFLECT;
        return RF_STANDARD_UNKNOWN;
}

size_t calibration_bands(const struct calibration_plan *c, struct band_plan *one, const struct band_plan **ret)
{
        *one = (struct band_plan){.from_hz = 0, .to_hz = INFINITY, .standards = c->standards, .standard_n = c->standard_n};
        memcpy(one->method, c->method, sizeof one->method);
        *ret = c->band_n ? c->bands : one;
        return c->band_n ? c->band_n : 1;
}

enum plane calibration_plan_plane(const struct calibration_plan *c)
{
        struct band_plan one;
        const struct band_plan *bands;
        size_t n = calibration_bands(c, &one, &bands);
        if (c->plane == PLANE_AT_TIPS)
                return PLANE_TIP;
        bool lines = true;
        for (size_t b = 0; b < n; b++) {
                const struct method *m = rf_method(bands[b].method);
                lines = lines && m && method_is_of_lines(m);
        }
        return lines ? PLANE_LINE_MIDDLE : PLANE_TIP;
}

const char *calibration_plan_word(const struct calibration_plan *c) { return c->band_n ? rf_joined_word : c->method; }

/* ---- domain ------------------------------------------------------------------------------------------------------------------------- */

static void powers_of(const struct sweep_plan *p, double ret[2])
{
        for (size_t k = 0; p && k < p->segment_n; k++) {
                ret[0] = fmin(ret[0], p->segments[k].power_dbm); /* fmin and fmax pass over NaN */
                ret[1] = fmax(ret[1], p->segments[k].power_dbm);
        }
}

struct domain recipe_domain(const struct recipe *r, double from_hz, double to_hz)
{
        struct domain d = domain_unknown();
        d.from_hz = from_hz;
        d.to_hz = to_hz;
        snprintf(d.setup, sizeof d.setup, "%s", r->setup.name);
        d.spacing_um = r->setup.spacing_um;
        d.temperature_c = r->setup.temperature_c;
        powers_of(recipe_sweep(r, r->calibration.sweep), d.power_dbm);
        return d;
}

struct domain_sweep recipe_domain_sweep(const struct recipe *r, const struct sweep_plan *plan, double from_hz, double to_hz)
{
        struct domain_sweep s = domain_sweep_unknown();
        s.from_hz = from_hz;
        s.to_hz = to_hz;
        s.setup = r->setup.name;
        s.spacing_um = r->setup.spacing_um;
        s.temperature_c = r->setup.temperature_c;
        powers_of(plan, s.power_dbm);
        return s;
}
