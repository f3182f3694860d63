/* rehearse.c: see rehearse.h.
 * Analyzer    eight terms of ordinary size with ordinary delays, no switch terms; what they are does not matter to what can be solved.
 * Standards   their own definitions; lines without loss, of the recipe's eps_eff and impedance; a reflect that only lines know stands where
 *             the recipe says it stands, and is what its estimate says.
 * Not here    noise and drift: they are the night's.  Uncertainties for the joints come from the recipe's own numbers. */
#include "recipe/rehearse.h"
#include "rf/network/convert.h"
#include "rf/correct/correct.h"
#include <math.h>
#include <string.h>

static void analyzer_put(struct terms *t)
{
        static const struct {
                double size, tau;
        } paths[7] = {{0.10, 40e-12}, {0.12, 25e-12}, {0.7, 200e-12}, {0.08, 35e-12}, {0.15, 30e-12}, {0.75, 180e-12}, {1.1, 5e-12}};
        static const enum term seven[7] = {TERM_EDF, TERM_ESF, TERM_ERF, TERM_EDR, TERM_ESR, TERM_ERR, TERM_K};
        for (size_t i = 0; i < t->axis->n; i++)
                for (int k = 0; k < 7; k++) {
                        double complex v = paths[k].size * cexp(CMPLX(0, -RF_TWO_PI * t->axis->hz[i] * paths[k].tau));
                        t->re[seven[k]][i] = creal(v);
                        t->im[seven[k]][i] = cimag(v);
                }
        t->model = TERMS_EIGHT;
}

struct paper {
        const struct recipe *r;
        const struct axis *axis;
        struct terms terms;
        double first_line_m; /* of the first band of lines; NaN: none */
};

static double complex line_gamma(const struct paper *p, double hz)
{
        double eps = p->r->calibration.eps_eff >= 1 ? p->r->calibration.eps_eff : 5;
        return CMPLX(0, RF_TWO_PI * hz * sqrt(eps) / RF_C0_M_S);
}
/* What a standard is to the bands that use it. */
struct roles {
        bool known;   /* by its definition, to one of them at least */
        bool is_line; /* of known length, to a line method */
};
static struct roles roles_of(const struct recipe *r, const struct standard *s)
{
        struct band_plan one;
        const struct band_plan *bands;
        struct roles roles = {false, false};
        size_t n = calibration_bands(&r->calibration, &one, &bands);
        for (size_t b = 0; b < n; b++) {
                const struct method *m = rf_method(bands[b].method);
                enum rf_standard_kind role = standard_role(m, s);
                bool lines = method_is_of_lines(m);
                for (size_t i = 0; i < bands[b].standard_n; i++) {
                        if (strcmp(bands[b].standards[i].standard, s->name) != 0)
                                continue;
                        roles.is_line = roles.is_line || (lines && role == RF_LINE);
                        roles.known = roles.known || !(role == RF_REFLECT || (lines && role == RF_LINE));
                }
        }
        return roles;
}

static double first_line_m(const struct recipe *r)
{
        struct band_plan one;
        const struct band_plan *bands;
        size_t n = calibration_bands(&r->calibration, &one, &bands);
        for (size_t b = 0; b < n; b++) {
                const struct method *m = rf_method(bands[b].method);
                for (size_t i = 0; i < bands[b].standard_n && method_is_of_lines(m); i++) {
                        const struct standard *s = recipe_standard(r, bands[b].standards[i].standard);
                        if (standard_role(m, s) == RF_LINE)
                                return s->model.length_um * 1e-6;
                }
        }
        return NAN;
}

/* What stands between the tips at one frequency, in 50 ohm. */
static struct m2 device_at(const struct paper *p, const struct standard *s, struct roles roles, double hz)
{
        const struct calibration_plan *c = &p->r->calibration;
        double complex g = line_gamma(p, hz);
        if (roles.is_line && s->data_n == 0)                                      /* one touch for both roles: the line it is */
                return calibration_line(c, g, hz, s->model.length_um * 1e-6, 50); /* without a word on its impedance: 50 ohm */
        if (roles.known)
                return standard_point(s, p->r->setup.temperature_c, hz);
        bool middle = calibration_plan_plane(c) == PLANE_LINE_MIDDLE && p->first_line_m > 0;
        double inside = c->reflect_offset_um * 1e-6 + (middle ? p->first_line_m / 2 : 0);
        double complex z = calibration_line_z(c, g, hz), seen = c->reflect_estimate * cexp(-2 * g * inside);
        if (cabs(z) > 0)
                seen = rf_renormalise_reflection(seen, z, 50);
        return m2_diag(seen, seen);
}

#define THIN_POINTS 96    /* of the sweep */
#define OVERLAP_POINTS 16 /* of each overlap, besides */
_Static_assert(REHEARSE_POINTS >= THIN_POINTS + (RF_BANDS_MAX - 1) * (OVERLAP_POINTS + 1), "the list has room");

/* Index i of the evenly chosen `most` out of first … last, both ends among them? */
static bool is_chosen(size_t i, size_t first, size_t last, size_t most)
{
        size_t n = last - first + 1, k = i - first;
        if (i < first || i > last)
                return false;
        if (n <= most)
                return true;
        size_t slot = (k * (most - 1) + (n - 1) / 2) / (n - 1); /* the nearest one's number */
        return (slot * (n - 1) + (most - 1) / 2) / (most - 1) == k;
}

/* Some of the sweep, and enough of each overlap to say how its two bands compare. */
static struct axis thinned(const struct calibration_plan *c, const double *hz, size_t n, double to[REHEARSE_POINTS])
{
        struct axis axis = {0};
        size_t first[RF_BANDS_MAX] = {0}, last[RF_BANDS_MAX] = {0}, m = 0;
        for (size_t b = 0; b + 1 < c->band_n && b < RF_BANDS_MAX; b++) {
                while (first[b] + 1 < n && hz[first[b]] < c->bands[b + 1].from_hz * (1 - 1e-12))
                        first[b]++;
                last[b] = first[b];
                while (last[b] + 1 < n && hz[last[b] + 1] <= c->bands[b].to_hz * (1 + 1e-12))
                        last[b]++;
        }
        for (size_t i = 0; i < n && m < REHEARSE_POINTS; i++) {
                bool take = is_chosen(i, 0, n - 1, THIN_POINTS);
                for (size_t b = 0; b + 1 < c->band_n && b < RF_BANDS_MAX && !take; b++)
                        take = is_chosen(i, first[b], last[b], OVERLAP_POINTS);
                if (take)
                        to[m++] = hz[i];
        }
        if (axis_of(m, to, &axis, NULL))
                axis.n = 0;
        return axis;
}

enum code calibration_rehearse(const struct recipe *r, const double *hz, size_t n, struct arena *arena, struct solved_calibration **ret,
                               struct tp_error *err)
{
        const struct calibration_plan *c = &r->calibration;
        double *list = arena_take(arena, REHEARSE_POINTS * sizeof *list);
        struct axis *axis = arena_take(arena, sizeof *axis);
        struct standard_reading *readings = arena_take(arena, c->standard_n * sizeof *readings);
        struct switch_terms *none = arena_take(arena, sizeof *none);
        if (!list || !axis || !readings || !none)
                return tp_fail_memory(err);
        *axis = thinned(c, hz, n, list);
        void *terms = arena_take(arena, terms_bytes(axis->n)), *switches = arena_take(arena, switch_terms_bytes(axis->n));
        if (axis->n == 0 || !terms || !switches)
                return tp_fail_memory(err);
        struct paper p = {.r = r, .axis = axis, .terms = terms_at(terms, axis), .first_line_m = first_line_m(r)};
        struct roles *roles = arena_take(arena, c->standard_n * sizeof *roles);
        if (!roles)
                return tp_fail_memory(err);
        for (size_t k = 0; k < c->standard_n; k++)
                roles[k] = roles_of(r, recipe_standard(r, c->standards[k].standard));
        analyzer_put(&p.terms);
        *none = switch_terms_at(switches, axis);
        for (size_t k = 0; k < c->standard_n; k++) {
                const struct standard *s = recipe_standard(r, c->standards[k].standard);
                struct net2 *raw = arena_take(arena, sizeof *raw);
                void *memory = arena_take(arena, net2_bytes(axis->n));
                if (!raw || !memory)
                        return tp_fail_memory(err);
                *raw = net2_at(memory, axis, PLANE_RECEIVER);
                for (size_t i = 0; i < axis->n; i++)
                        net2_put(raw, i, rf_embed2_point(&p.terms, i, device_at(&p, s, roles[k], axis->hz[i])));
                readings[k] = (struct standard_reading){.standard = s, .raw = raw, .switch_terms = none};
        }
        struct solve_conditions at = {.temperature_c = r->setup.temperature_c,
                                      .contact_ohm_u = r->setup.contact_ohm_u,
                                      .contact_h_u = r->setup.contact_h_u,
                                      .placement_um_u = r->setup.placement_um_u};
        return calibration_plan_solve(c, &at, readings, c->standard_n, arena, ret, err);
}
