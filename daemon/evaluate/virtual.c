/* virtual.c: what wrong standards do to corrected data, for any calibration method.
 * Problem     The closed forms of moves.c know open, short, load and a thru.  Other methods believe other things of their standards: a
 * reflect that is only equal at both ports, a match whose inductance is found, five two-ports.
 * Idea        How far corrected data move when a standard is not what it is believed to be has nothing to do with the analyzer before the
 * tips.  So an ideal analyzer, which reads S itself, is calibrated with the recipe's standards by the method's own solver, at one
 * frequency; then again with each number that it read moved a little, and the device, read by the same analyzer, is corrected with
 * what came out. Real and imaginary part are moved by themselves: a condition like "without loss" is not analytic.
 * Lines       are drawn with the propagation constant that the calibration found, and the impedance that the recipe gives.
 * Not here    how big the causes are. */
#include "evaluate/virtual.h"
#include "recipe/calibration_problem.h"
#include <math.h>
#include <string.h>

#define STEP 1e-6

static const struct need *need_of(const struct method *m, enum rf_standard_kind kind)
{
        for (size_t k = 0; k < m->need_n; k++)
                if (m->needs[k].kind == kind)
                        return &m->needs[k];
        return NULL;
}

const struct method *virtual_method(const struct recipe *r, double hz, bool of_lines, const struct band_plan **ret_band,
                                    struct band_plan *one)
{
        size_t n = calibration_bands(&r->calibration, one, ret_band);
        for (size_t b = 0; b < n; b++) {
                const struct method *m = rf_method((*ret_band)[b].method);
                if (m && method_is_of_lines(m) == of_lines && hz >= (*ret_band)[b].from_hz * (1 - 1e-9) &&
                    hz <= (*ret_band)[b].to_hz * (1 + 1e-9)) {
                        *ret_band += b;
                        return m;
                }
        }
        return NULL;
}

static struct net2 *net_of(const struct axis *axis, struct m2 s, enum plane plane, struct arena *arena)
{
        struct net2 *net = arena_take(arena, sizeof *net);
        void *memory = arena_take(arena, net2_bytes(1));
        if (!net || !memory)
                return NULL;
        *net = net2_at(memory, axis, plane);
        net2_put(net, 0, s);
        return net;
}

/* How well a standard is believed to be known, its touch included, over the calibration's frequencies: the weights of least squares. */
static double weight_of(const struct recipe *r, const struct standard *s)
{
        const struct sweep_plan *plan = recipe_sweep(r, r->calibration.sweep);
        struct standard_definition d = standard_definition_of(s);
        double sum = 0, top = plan && plan->segment_n ? plan->segments[plan->segment_n - 1].stop_hz : 0;
        enum { POINTS = 8 };
        for (int k = 0; k < POINTS; k++) {
                double hz = top * (k + 0.5) / POINTS, contact = hypot(r->setup.contact_ohm_u, RF_TWO_PI * hz * r->setup.contact_h_u) / 100;
                double model = s->data_n ? s->data_u : rf_standard_u(&d, r->setup.temperature_c, 0, hz),
                       touch = s->raised || s->kind == STANDARD_OPEN ? 0
                               : s->kind == STANDARD_SHORT           ? 4 * contact
                                                                     : contact;
                sum += (model * model + touch * touch / 2) / POINTS;
        }
        return sqrt(sum);
}

/* Impedance of the lines, ohm, as the solver has it; 50 where nobody knows: then all is in the lines' own. */
static double complex line_z(const struct calibration_plan *c, double hz, double complex gamma_m)
{
        if (c->line_capacitance_f_m > 0)
                return gamma_m / (CMPLX(0, RF_TWO_PI * hz * c->line_capacitance_f_m) * CMPLX(1, -c->line_loss_tangent));
        return c->line_z_ohm > 0 ? c->line_z_ohm : 50;
}

/* What an ideal analyzer at the reference plane reads of a standard of lines; first_m: of the first line, when its middle is the plane. */
static struct m2 line_truth(const struct recipe *r, const struct standard *s, enum rf_standard_kind kind, double hz, double complex gamma_m,
                            double first_m)
{
        const struct calibration_plan *c = &r->calibration;
        if (kind == RF_LINE)
                return rf_line(gamma_m, line_z(c, hz, gamma_m), s->model.length_um * 1e-6 - first_m, 50);
        double complex g = s->kind == STANDARD_REFLECT ? c->reflect_estimate : standard_point(s, r->setup.temperature_c, hz).e[0];
        g *= cexp(-2 * gamma_m * c->reflect_offset_um * 1e-6);
        return m2_diag(g, g);
}

/* All standards as the recipe believes them to be, read by the ideal analyzer. */
static bool standards_take(const struct recipe *r, const struct band_plan *band, const struct method *m, struct virtual_how how,
                           const struct axis *axis, struct arena *arena, struct rf_standard *to, struct virtual *v, double *ret_first_m)
{
        bool middle = calibration_plan_plane(&r->calibration) == PLANE_LINE_MIDDLE;
        *ret_first_m = 0;
        for (size_t k = 0; k < band->standard_n; k++) {
                const struct standard *s = recipe_standard(r, band->standards[k].standard);
                if (!s || v->n == RF_STANDARD_MAX)
                        return false;
                enum rf_standard_kind kind = standard_role(m, s);
                if (how.of_lines && kind == RF_LINE && *ret_first_m == 0)
                        *ret_first_m = s->model.length_um * 1e-6;
                struct m2 truth = how.of_lines ? line_truth(r, s, kind, axis->hz[0], how.gamma_m, middle ? *ret_first_m : 0)
                                               : standard_point(s, r->setup.temperature_c, axis->hz[0]);
                const struct need *need = need_of(m, kind);
                if (!need || !isfinite(cabs(truth.e[0]) + cabs(truth.e[2])))
                        return false;
                v->of[v->n] = s;
                v->line_m[v->n] = how.of_lines && kind == RF_LINE ? s->model.length_um * 1e-6 - (middle ? *ret_first_m : 0) : NAN;
                v->s[v->n] = truth;
                v->by_ideal[v->n] = need->ideal && !how.of_lines;
                v->transmits[v->n] = kind == RF_THRU || kind == RF_LINE || kind == RF_KNOWN;
                to[v->n] = (struct rf_standard){.name = s->name,
                                                .kind = kind,
                                                .raw = net_of(axis, truth, PLANE_RECEIVER, arena),
                                                .length_m = s->model.length_um * 1e-6};
                bool ideal = (need->ideal || kind == RF_OPEN) && !how.of_lines; /* "from_open" has use for it, nobody minds */
                if (ideal)
                        to[v->n].ideal = net_of(axis, truth, PLANE_TIP, arena);
                to[v->n].u_ideal = ideal ? weight_of(r, s) : 0;
                if (!to[v->n].raw || (ideal && !to[v->n].ideal))
                        return false;
                v->n++;
        }
        return v->n > 0;
}

bool virtual_calibrate(const struct recipe *r, double hz, struct virtual_how how, const struct m2 *s, size_t s_n, struct arena *arena,
                       struct virtual *v)
{
        struct band_plan one;
        const struct band_plan *band;
        const struct method *m = virtual_method(r, hz, how.of_lines, &band, &one);
        struct rf_standard standards[RF_STANDARD_MAX];
        struct axis axis;
        double first_m;
        *v = (struct virtual){.hz = hz,
                              .gamma_m = how.gamma_m,
                              .line_z = line_z(&r->calibration, hz, how.gamma_m),
                              .reflect_offset_m = how.of_lines ? r->calibration.reflect_offset_um * 1e-6 : 0};
        if (!m || axis_of(1, &v->hz, &axis, NULL) || !standards_take(r, band, m, how, &axis, arena, standards, v, &first_m))
                return false;
        const struct calibration_plan *c = &r->calibration;
        struct problem problem = {.axis = &axis,
                                  .standards = standards,
                                  .standard_n = v->n,
                                  .thru_delay_s_guess = c->thru_delay_s,
                                  .match_fit = how.match_fixed ? RF_MATCH_FIXED : (enum rf_match_fit)c->match_fit,
                                  .eps_eff_guess = c->eps_eff,
                                  .reflect_estimate = c->reflect_estimate,
                                  .z_ref_ohm = 50};
        if (how.of_lines) {
                double complex k = how.gamma_m * RF_C0_M_S / (RF_TWO_PI * hz);
                double complex eps = -k * k; /* it settles order and turns only; where resistance is all, its real part is noise */
                problem.eps_eff_guess = CMPLX(fmin(fmax(creal(eps), 1), 50), fmin(cimag(eps), 0));
                problem.reflect_offset_m = c->reflect_offset_um * 1e-6;
                problem.line_c_f_m = c->line_capacitance_f_m;
                problem.line_loss_tangent = c->line_loss_tangent;
                problem.line_z_ohm = c->line_z_ohm;
                if (calibration_plan_plane(c) == PLANE_TIP) {
                        problem.plane_shift_m = -first_m / 2;
                        problem.plane_shifted = PLANE_TIP;
                        problem.reflect_offset_m += problem.plane_shift_m;
                }
        }
        void *workspace = arena_take(arena, m->workspace_bytes(1, v->n)), *terms_memory = arena_take(arena, terms_bytes(1)),
             *diagnosis_memory = arena_take(arena, diagnosis_bytes(1));
        if (!workspace || !terms_memory || !diagnosis_memory)
                return false;
        struct terms terms = terms_at(terms_memory, &axis);
        struct diagnosis d = diagnosis_at(diagnosis_memory, &axis);
        struct m2 before[VIRTUAL_PARTS];
        if (m->solve(&problem, workspace, &terms, NULL, &d, NULL))
                return false;
        for (size_t p = 0; p < s_n; p++)
                before[p] = rf_correct2_point(&terms, 0, s[p]);
        for (unsigned k = 0; k < v->n; k++)
                for (unsigned e = 0; e < 8; e++) { /* entry, real or imaginary */
                        if (!v->transmits[k] && e / 2 % 3 != 0)
                                continue;
                        if (v->column_n == VIRTUAL_COLUMNS)
                                return false;
                        double *part = e % 2 ? standards[k].raw->im[e / 2] : standards[k].raw->re[e / 2], kept = *part;
                        struct virtual_column *column = &v->columns[v->column_n++];
                        *column = (struct virtual_column){.standard = k, .entry = e / 2, .imaginary = e % 2};
                        *part = kept + STEP;
                        d.warning_n = 0;
                        enum code code = m->solve(&problem, workspace, &terms, NULL, &d, NULL);
                        *part = kept;
                        if (code)
                                return false;
                        for (size_t p = 0; p < s_n; p++)
                                column->d_s[p] = m2_scale(1 / STEP, m2_sub(rf_correct2_point(&terms, 0, s[p]), before[p]));
                }
        return true;
}

struct m2 virtual_longer(const struct virtual *v, size_t k, double by_m)
{
        return m2_sub(rf_line(v->gamma_m, v->line_z, v->line_m[k] + by_m, 50), v->s[k]);
}

struct m2 virtual_change(const struct virtual *v, size_t standard, struct m2 d_standard, size_t part)
{
        struct m2 sum = m2_of(0, 0, 0, 0);
        for (size_t c = 0; c < v->column_n; c++) {
                const struct virtual_column *column = &v->columns[c];
                double complex by = d_standard.e[column->entry];
                if (column->standard == standard)
                        sum = m2_add(sum, m2_scale(column->imaginary ? cimag(by) : creal(by), column->d_s[part]));
        }
        return sum;
}
