/* offline_capacitance.c: what the lines' capacitance per metre is by a DC resistance, of the lines themselves or of a verified load
 * (offline_solve.h).  It is a property of the lines: found once, it belongs into the plan as line_capacitance_f_m, with its uncertainty. */
#include "recipe/offline_solve.h"
#include <math.h>
#include <stdio.h>

/* The lines' band that begins lowest: capacitance is read off at its low end. */
static const struct solved_band *band_of_lines(const struct solved_calibration *s)
{
        const struct solved_band *best = NULL;
        for (size_t k = 0; k < s->band_n; k++)
                if (method_is_of_lines(s->bands[k].method) && (!best || s->bands[k].begin < best->begin))
                        best = &s->bands[k];
        return best;
}

/* A method of one pair says nothing of how good its points are. */
static const double *nstd_of(const struct solved_band *b)
{
        for (size_t i = 0; i < b->axis.n; i++)
                if (isfinite(b->diagnosis.nstd[i]))
                        return b->diagnosis.nstd;
        return NULL;
}

/* Of a value that goes as 1/R: the scatter, and what is not known of R. */
static void add_resistance(struct offline_capacitance *c, double r_ohm, double u_ohm)
{
        if (c->why[0])
                return;
        c->u_f_m = hypot(c->found.u_f_m, c->found.c_f_m * u_ohm / r_ohm);
        c->resistance_is_exact = !(u_ohm > 0);
}

static struct offline_capacitance *next_of(struct offline_solved *to, const char *by, double ohm)
{
        struct offline_capacitance *c = &to->capacitance[to->capacitance_n++];
        *c = (struct offline_capacitance){.dc_ohm = ohm};
        snprintf(c->by, sizeof c->by, "%s", by);
        return c;
}

void offline_capacitance_of_lines(const struct offline_plan *p, struct offline_solved *to)
{
        const struct solved_band *b = band_of_lines(to->solved);
        struct tp_error err = {0};
        if (!(p->line_dc_ohm_m > 0) || !b)
                return;
        struct offline_capacitance *c = next_of(to, "the lines", p->line_dc_ohm_m);
        if (rf_line_capacitance_from_line_resistance(b->axis.n, b->axis.hz, b->diagnosis.gamma_re, b->diagnosis.gamma_im, nstd_of(b),
                                                     p->line_dc_ohm_m, &c->found, &err))
                snprintf(c->why, sizeof c->why, "%.239s", err.text);
        add_resistance(c, p->line_dc_ohm_m, p->line_dc_ohm_m_u);
}

/* The corrected reflection in the line's own impedance, mean of the ports it was read at. */
static double complex in_line(const struct offline_solved *to, const struct net2 *got, unsigned ports, size_t i)
{
        const struct solved_calibration *s = to->solved;
        struct m2 g = net2_get(got, i);
        double complex r = ports == 1 ? g.e[0] : ports == 2 ? g.e[3] : (g.e[0] + g.e[3]) / 2, zc = CMPLX(s->zc_re[i], s->zc_im[i]);
        double complex z_ref = CMPLX(s->terms.z_re[i], s->terms.z_im[i]);
        if (!isfinite(creal(z_ref))) /* it is in the line's own already */
                return r;
        double complex z = z_ref * (1 + r) / (1 - r);
        return (z - zc) / (z + zc);
}

enum code offline_capacitance_of_load(const struct offline_reading *r, unsigned ports, const struct net2 *got, struct offline_solved *to,
                                      struct arena *arena, struct tp_error *err)
{
        const struct solved_band *b = band_of_lines(to->solved);
        const struct standard_model *m = &r->standard->standard.model;
        if (!b || r->standard->kind != STANDARD_LOAD || !(m->dc_ohm > 0))
                return CODE_OK;
        double *re = arena_take(arena, b->axis.n * sizeof *re), *im = arena_take(arena, b->axis.n * sizeof *im);
        if (!re || !im)
                return tp_fail_memory(err);
        for (size_t i = 0; i < b->axis.n; i++) {
                double complex g = in_line(to, got, ports, b->begin + i);
                re[i] = creal(g);
                im[i] = cimag(g);
        }
        struct tp_error why = {0};
        struct offline_capacitance *c = next_of(to, r->standard->standard.name, m->dc_ohm);
        if (rf_line_capacitance_from_load(b->axis.n, b->axis.hz, b->diagnosis.gamma_re, b->diagnosis.gamma_im, re, im, nstd_of(b),
                                          m->dc_ohm, &c->found, &why))
                snprintf(c->why, sizeof c->why, "%.239s", why.text);
        add_resistance(c, m->dc_ohm, m->u_dc_ohm);
        return CODE_OK;
}

void offline_capacitances_json(const struct offline_solved *s, struct json_out *o)
{
        json_open(o, "line_capacitance", '[');
        for (size_t k = 0; k < s->capacitance_n; k++) {
                const struct offline_capacitance *c = &s->capacitance[k];
                json_open(o, NULL, '{');
                json_text(o, "by", c->by);
                json_real(o, "dc_ohm", c->dc_ohm);
                if (c->why[0]) {
                        json_text(o, "why_not", c->why);
                } else {
                        json_real(o, "f_m", c->found.c_f_m);
                        json_real(o, "u_f_m", c->u_f_m);
                        json_real(o, "loss_tangent", c->found.loss_tangent);
                        json_real(o, "points", (double)c->found.points);
                        json_real(o, "from_hz", c->found.lowest_hz);
                        json_real(o, "to_hz", c->found.highest_hz);
                }
                json_close(o, '}');
        }
        json_close(o, ']');
}

void offline_capacitances_words(const struct offline_solved *s, struct text *to)
{
        const struct calibration_plan *p = &s->plan->calibration;
        for (size_t k = 0; k < s->capacitance_n; k++) {
                const struct offline_capacitance *c = &s->capacitance[k];
                if (c->why[0]) {
                        text_f(to, "lines' capacitance by the DC resistance of %s: %s\n", c->by, c->why);
                        continue;
                }
                text_f(to, "lines' capacitance by the DC resistance of %s: %.5g +- %.2g pF/m, from %zu points, %.4g to %.4g GHz", c->by,
                       c->found.c_f_m * 1e12, 2 * c->u_f_m * 1e12, c->found.points, c->found.lowest_hz / 1e9, c->found.highest_hz / 1e9);
                if (isfinite(c->found.loss_tangent))
                        text_f(to, ", loss tangent %.2g", c->found.loss_tangent);
                text_put(to, c->resistance_is_exact ? "; the resistance counts as exact, state how well it is known\n" : "\n");
                double told = p->line_capacitance_f_m;
                if (!(told > 0) && !(p->line_z_ohm > 0))
                        text_f(to, "  for results in 50 ohm: \"line_capacitance_f_m\": %.5g, \"line_capacitance_u_f_m\": %.2g\n",
                               c->found.c_f_m, c->u_f_m);
                else if (told > 0 && fabs(told - c->found.c_f_m) > 2 * hypot(c->u_f_m, p->line_capacitance_u_f_m))
                        text_f(to, "  ! the plan says %.5g +- %.2g pF/m\n", told * 1e12, 2 * p->line_capacitance_u_f_m * 1e12);
        }
}
