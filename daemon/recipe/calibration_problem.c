/* calibration_problem.c: which reading is which standard of which band, what its model says, where the planes lie (calibration_problem.h).
 * Idea        Only the translation is here.  The mathematics is a row of rf_methods[], chosen by its word, and rf/calibrate/join.c.
 * Roles       A method names the kinds it has use for.  One touch of a thru can so be the known thru of a lumped band and the first line of
 * a line band, a short the known short of one and the reflect of the other. Planes      A line method's planes lie in the middle of its
 * first line, in the line's own impedance.  At the tips, where lumped standards are defined, is half that length further out; the reflect's
 * offset counts from the plane that is asked for. Weights     Bands are joined by uncertainties of the corrected S: noise, contact,
 * placement and the definitions' own; for the overlap only, since each costs a solution per input. */
#include "recipe/calibration_problem.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

const char *const plane_wish_words[] = {"by_method", "tip", "line_middle", NULL};
_Static_assert(sizeof plane_wish_words / sizeof plane_wish_words[0] == PLANE_WISH_COUNT + 1, "each wish has its word");
const char *const load_resistance_words[] = {"stated", "measured", NULL};
_Static_assert(sizeof load_resistance_words / sizeof load_resistance_words[0] == LOAD_RESISTANCE_COUNT + 1, "each has its word");

/* ---- words and roles ---------------------------------------------------------------------------------------------------------------- */

enum rf_standard_kind standard_rf_kind(int32_t kind)
{
        static const enum rf_standard_kind kinds[STANDARD_KIND_COUNT] = {RF_STANDARD_UNKNOWN, RF_OPEN, RF_SHORT, RF_LOAD, RF_THRU, RF_LINE,
                                                                         RF_REFLECT};
        return kind >= 0 && kind < STANDARD_KIND_COUNT ? kinds[kind] : RF_STANDARD_UNKNOWN;
}

static struct standard_definition definition_of(int32_t kind, const struct standard_model *m)
{
        struct standard_definition d = {.kind = standard_rf_kind(kind),
                                        .r_ohm = m->r_ohm,
                                        .r_per_k = m->r_per_k,
                                        .t_ref_c = m->t_ref_c,
                                        .offset_delay_s = m->delay_s,
                                        .offset_loss_ohm_s = m->loss_ohm_s,
                                        .offset_z_ohm = m->z_ohm,
                                        .u = {.c_f = {m->u_c_f},
                                              .l_h = {m->u_l_h},
                                              .r_ohm = m->u_r_ohm,
                                              .r_per_k = m->u_r_per_k,
                                              .offset_delay_s = m->u_delay_s,
                                              .offset_loss_ohm_s = m->u_loss_ohm_s,
                                              .offset_z_ohm = m->u_z_ohm}};
        memcpy(d.c_f, m->c_f, sizeof d.c_f);
        memcpy(d.l_h, m->l_h, sizeof d.l_h);
        return d;
}

static enum code definition_trimmed(int32_t kind, const struct standard_model *m, struct standard_definition *ret, struct tp_error *err)
{
        *ret = definition_of(kind, m);
        return m->dc_ohm > 0 && ret->kind == RF_LOAD ? rf_standard_trim_load(ret, m->dc_ohm, m->u_dc_ohm, m->dc_at_c, err) : CODE_OK;
}

int32_t standard_kind_at(const struct standard *s, int port) { return port == 1 && s->has_port_2 ? s->port_2.kind : s->kind; }

struct standard_definition standard_definition_at(const struct standard *s, int port)
{
        struct standard_definition d;
        const struct standard_model *m = port == 1 && s->has_port_2 ? &s->port_2.model : &s->model;
        definition_trimmed(standard_kind_at(s, port), m, &d, NULL); /* a reading too far off was refused before; here it changes nothing */
        return d;
}
struct standard_definition standard_definition_of(const struct standard *s) { return standard_definition_at(s, 0); }

/* n rows of data as a network on `axis`, whose hz are the rows'. */
static void rows_put(const struct standard *s, size_t first, struct net2 *net)
{
        for (size_t i = 0; i < net->axis->n; i++) {
                const struct standard_row *r = &s->data[first + i];
                const double *s12 = r->has_s12 ? r->s12 : r->s21, *s22 = r->has_s22 ? r->s22 : r->s11;
                net2_put(net, i,
                         m2_of(CMPLX(r->s11[0], r->s11[1]), CMPLX(s12[0], s12[1]), CMPLX(r->s21[0], r->s21[1]), CMPLX(s22[0], s22[1])));
        }
        net2_set_z(net, s->data_z_ohm > 0 ? s->data_z_ohm : 50, 0);
}

static enum code ideal_by_data(const struct standard *s, struct arena *arena, struct net2 *ret, struct tp_error *err)
{
        double *hz = arena_take(arena, s->data_n * sizeof *hz), doubt, doubt_hz;
        void *memory = arena_take(arena, net2_bytes(s->data_n));
        struct axis axis;
        if (!hz || !memory)
                return tp_fail_memory(err);
        for (size_t i = 0; i < s->data_n; i++)
                hz[i] = s->data[i].hz;
        enum code code = axis_of(s->data_n, hz, &axis, err);
        if (code)
                return code;
        struct net2 data = net2_at(memory, &axis, PLANE_TIP);
        rows_put(s, 0, &data);
        code = rf_standard_from_data(&data, ret, &doubt, &doubt_hz, err);
        if (!code && doubt > STANDARD_DATA_DOUBT)
                code = tp_fail(
                        err, CODE_BAD_INPUT,
                        "the data are too coarse: at %.6g GHz the neighbouring rows leave %.2g open (%.2g at most); give more rows there",
                        doubt_hz / 1e9, doubt, STANDARD_DATA_DOUBT);
        return code;
}

enum code standard_ideal(const struct standard *s, double t_c, struct arena *arena, struct net2 *ret, struct tp_error *err)
{
        struct standard_definition one, two;
        if (s->data_n)
                return ideal_by_data(s, arena, ret, err);
        enum code code = definition_trimmed(s->kind, &s->model, &one, err);
        if (!code && s->has_port_2)
                code = definition_trimmed(s->port_2.kind, &s->port_2.model, &two, err);
        return code ? code : rf_standard_ideal(&one, s->has_port_2 ? &two : NULL, t_c, ret, err);
}

struct m2 standard_point(const struct standard *s, double t_c, double hz)
{
        struct m2 none = m2_of(NAN, NAN, NAN, NAN);
        if (s->data_n) { /* the four rows around hz say all that the whole list would */
                double list[4], columns[2 * 4 + 8 * 4], to_columns[2 + 8];
                size_t n = s->data_n < 4 ? s->data_n : 4, first = 0;
                while (first + n < s->data_n && s->data[first + 1].hz < hz && s->data[first + 2].hz < hz)
                        first++;
                for (size_t i = 0; i < n; i++)
                        list[i] = s->data[first + i].hz;
                struct axis axis, at;
                if (axis_of(n, list, &axis, NULL) || axis_of(1, &hz, &at, NULL))
                        return none;
                struct net2 data = {.axis = &axis, .z_re = columns, .z_im = columns + 4},
                            ret = {.axis = &at, .z_re = to_columns, .z_im = to_columns + 1};
                for (int k = 0; k < 4; k++) {
                        data.re[k] = columns + 8 + 8 * k;
                        data.im[k] = columns + 12 + 8 * k;
                        ret.re[k] = to_columns + 2 + 2 * k;
                        ret.im[k] = to_columns + 3 + 2 * k;
                }
                rows_put(s, first, &data);
                return rf_standard_from_data(&data, &ret, NULL, NULL, NULL) ? none : net2_get(&ret, 0);
        }
        struct standard_definition one = standard_definition_of(s), two = standard_definition_at(s, 1);
        if (one.kind == RF_THRU || one.kind == RF_LINE)
                return rf_standard_thru(&one, hz);
        return m2_diag(rf_standard_reflection(&one, t_c, hz), rf_standard_reflection(&two, t_c, hz));
}

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

/* Lowest and highest power of a sweep plan; NaN without one. */
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

/* ---- readings ----------------------------------------------------------------------------------------------------------------------- */

static bool transmits(const struct standard_reading *r)
{
        return r->standard->kind == STANDARD_THRU || r->standard->kind == STANDARD_LINE || r->kind == RF_KNOWN;
}

static enum code readings_check(const struct calibration_plan *c, const struct standard_reading *r, size_t n, struct tp_error *err)
{
        const struct axis *axis = r[0].raw->axis;
        for (size_t k = 0; k < n; k++) {
                const struct axis *a = r[k].raw->axis;
                const char *name = r[k].standard->name;
                if (!axis_equal(a, axis))
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "standard %s was swept at %zu frequencies from %.9g Hz, the first one at %zu from %.9g Hz; sweep all "
                                "with one plan%s%s",
                                name, a->n, a->hz[0], axis->n, axis->hz[0], c->sweep[0] ? ": " : "", c->sweep);
                if (c->switch_terms && transmits(&r[k]) && !r[k].switch_terms)
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "standard %s came without switch terms, which the recipe's calibration asks for; let the analyzer give "
                                "GF and GR, or set switch_terms to false",
                                name);
                if (r[k].switch_terms && !axis_equal(r[k].switch_terms->axis, axis))
                        return tp_fail(err, CODE_BAD_INPUT, "standard %s: its switch terms are on other frequencies than its readings",
                                       name);
        }
        return CODE_OK;
}

/* Mean over all transmitting standards: they agree to noise, for they are the analyzer's. */
static bool switch_terms_mean(const struct standard_reading *r, size_t reading_n, struct switch_terms *to)
{
        double n = 0;
        for (size_t k = 0; k < reading_n; k++)
                n += transmits(&r[k]) && r[k].switch_terms;
        for (size_t k = 0; k < reading_n; k++) {
                const struct switch_terms *sw = r[k].switch_terms;
                if (!sw || !transmits(&r[k]))
                        continue;
                for (size_t i = 0; i < to->axis->n; i++) {
                        to->f_re[i] += sw->f_re[i] / n;
                        to->f_im[i] += sw->f_im[i] / n;
                        to->r_re[i] += sw->r_re[i] / n;
                        to->r_im[i] += sw->r_im[i] / n;
                }
        }
        return n > 0;
}

/* Points begin … begin + axis->n - 1 of a network. */
static struct net2 *net_part(const struct net2 *net, size_t begin, const struct axis *axis, struct arena *arena)
{
        struct net2 *part = arena_take(arena, sizeof *part);
        void *memory = arena_take(arena, net2_bytes(axis->n));
        if (!part || !memory)
                return NULL;
        *part = net2_at(memory, axis, net->plane);
        for (int k = 0; k < 4; k++) {
                memcpy(part->re[k], net->re[k] + begin, axis->n * sizeof(double));
                memcpy(part->im[k], net->im[k] + begin, axis->n * sizeof(double));
        }
        memcpy(part->z_re, net->z_re + begin, axis->n * sizeof(double));
        memcpy(part->z_im, net->z_im + begin, axis->n * sizeof(double));
        return part;
}

static struct switch_terms *switch_part(const struct switch_terms *sw, size_t begin, const struct axis *axis, struct arena *arena)
{
        struct switch_terms *part = arena_take(arena, sizeof *part);
        void *memory = arena_take(arena, switch_terms_bytes(axis->n));
        size_t bytes = axis->n * sizeof(double);
        if (!part || !memory)
                return NULL;
        *part = switch_terms_at(memory, axis);
        memcpy(part->f_re, sw->f_re + begin, bytes);
        memcpy(part->f_im, sw->f_im + begin, bytes);
        memcpy(part->r_re, sw->r_re + begin, bytes);
        memcpy(part->r_im, sw->r_im + begin, bytes);
        return part;
}

/* ---- one band ----------------------------------------------------------------------------------------------------------------------- */

/* What one touch adds to a reflection or transmission: a series impedance moves an open little, a short by 2 dZ/z, the others by dZ/2z. */
static double touch_u(const struct standard *s, const struct solve_conditions *at, double hz)
{
        double contact = hypot(at->contact_ohm_u, RF_TWO_PI * hz * at->contact_h_u) / 100;
        if (s->raised || s->kind == STANDARD_OPEN)
                return 0;
        return s->kind == STANDARD_SHORT ? 4 * contact : contact;
}

/* Standard uncertainty per component of what a standard is believed to be, its touch included; data count as exact. */
static double belief_u(const struct standard_reading *r, const struct solve_conditions *at, double hz)
{
        struct standard_definition d = standard_definition_of(r->standard);
        double model = r->ideal || r->standard->data_n ? 0 : rf_standard_u(&d, at->temperature_c, 0, hz);
        return hypot(model, touch_u(r->standard, at, hz) / sqrt(2)); /* the touch moves it along one direction */
}

static double u_over(const struct standard_reading *r, const struct solve_conditions *at, const struct axis *axis)
{
        double sum = 0;
        for (size_t i = 0; i < axis->n; i++)
                sum += pow(belief_u(r, at, axis->hz[i]), 2);
        return sqrt(sum / (double)axis->n);
}

static struct net2 *net_new(const struct axis *axis, struct arena *arena)
{
        struct net2 *net = arena_take(arena, sizeof *net);
        void *memory = arena_take(arena, net2_bytes(axis->n));
        if (net && memory)
                *net = net2_at(memory, axis, PLANE_TIP);
        return memory ? net : NULL;
}

static enum code standard_take(const struct standard_reading *r, const struct solve_conditions *at, struct solved_band *b,
                               struct arena *arena, struct rf_standard *ret, struct tp_error *err)
{
        const struct standard *s = r->standard;
        *ret = (struct rf_standard){.name = s->name,
                                    .kind = r->kind ? r->kind : standard_role(b->method, s),
                                    .ports = r->ports,
                                    .raw = net_part(r->raw, b->begin, &b->axis, arena),
                                    .length_m = s->model.length_um * 1e-6};
        if (!ret->raw)
                return tp_fail_memory(err);
        if (ret->kind == RF_STANDARD_UNKNOWN)
                return tp_fail(err, CODE_BAD_INPUT, "%s: standard %s is a %s, which the method has no use for; leave it out",
                               b->method->word, s->name, standard_kind_words[s->kind]);
        if (ret->kind == RF_REFLECT || (ret->kind == RF_LINE && method_is_of_lines(b->method)))
                return CODE_OK; /* only its length, or that it is the same at both ports, is known */
        if (r->ideal) {
                ret->ideal = net_part(r->ideal, b->begin, &b->axis, arena);
                return ret->ideal ? CODE_OK : tp_fail_memory(err);
        }
        struct net2 *ideal = net_new(&b->axis, arena), *offset = net_new(&b->axis, arena);
        if (!ideal || !offset)
                return tp_fail_memory(err);
        ret->ideal = ideal;
        ret->u_ideal = u_over(r, at, &b->axis);
        enum code code = standard_ideal(s, at->temperature_c, arena, ideal, err);
        struct standard_definition d = standard_definition_of(s);
        if (ret->kind == RF_LOAD && d.offset_delay_s != 0 &&
            s->data_n == 0) { /* between the plane and the element whose inductance is sought */
                for (size_t i = 0; i < b->axis.n; i++)
                        net2_put(offset, i, rf_standard_thru(&d, b->axis.hz[i]));
                ret->offset = offset;
        }
        return code ? tp_where(err, "standard %s", s->name) : CODE_OK;
}

/* plan NULL: every reading, in the order given. */
static enum code band_standards(const struct band_plan *plan, const struct standard_reading *r, size_t n, const struct solve_conditions *at,
                                struct solved_band *b, struct arena *arena, struct tp_error *err)
{
        size_t standard_n = plan ? plan->standard_n : n;
        if (standard_n == 0 || standard_n > RF_STANDARD_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "%s takes 1 to %d standards, not %zu", b->name, RF_STANDARD_MAX, standard_n);
        struct rf_standard *standards = arena_take(arena, standard_n * sizeof *standards);
        if (!standards)
                return tp_fail_memory(err);
        for (size_t k = 0; k < standard_n; k++) {
                size_t j = plan ? 0 : k;
                while (plan && j < n && strcmp(r[j].standard->name, plan->standards[k].standard) != 0)
                        j++;
                if (j == n)
                        return tp_fail(err, CODE_BAD_INPUT, "%s: standard %s was not measured", b->name, plan->standards[k].standard);
                enum code code = standard_take(&r[j], at, b, arena, &standards[k], err);
                if (code)
                        return code;
                if (standards[k].kind == RF_LINE && b->first_line_m == 0 && method_is_of_lines(b->method))
                        b->first_line_m = standards[k].length_m;
        }
        b->problem.standards = standards;
        b->problem.standard_n = standard_n;
        return CODE_OK;
}

/* What the plan says besides the standards. */
static void settings_take(const struct calibration_plan *c, enum plane plane, struct solved_band *b)
{
        struct problem *p = &b->problem;
        p->thru_delay_s_guess = c->thru_delay_s;
        p->eps_eff_guess = c->eps_eff;
        p->match_fit = (enum rf_match_fit)c->match_fit;
        p->reflect_estimate = c->reflect_estimate;
        p->reflect_offset_m = c->reflect_offset_um * 1e-6;
        p->line_c_f_m = c->line_capacitance_f_m;
        p->line_loss_tangent = c->line_loss_tangent;
        p->line_z_ohm = c->line_z_ohm;
        p->z_ref_ohm = 50;
        if (b->first_line_m > 0 && plane == PLANE_TIP) {
                p->plane_shift_m = -b->first_line_m / 2;
                p->plane_shifted = PLANE_TIP;
                p->reflect_offset_m += p->plane_shift_m;
        }
}

static struct input_uncertainty inputs_at(const struct standard_reading *r, size_t n, const struct solve_conditions *at,
                                          const struct solved_band *b, double hz)
{
        double w = RF_TWO_PI * hz, contact = hypot(at->contact_ohm_u, w * at->contact_h_u) / 100; /* of 2 z: a thru's S21 */
        struct input_uncertainty u = {.noise_floor = 1e-4, .noise_trace = 3e-4, .length_m = at->placement_um_u * 1e-6};
        if (at->noise) {
                u.noise_floor = at->noise(at->noise_of, hz, 0);
                u.noise_trace = sqrt(fmax(0, pow(at->noise(at->noise_of, hz, 1), 2) - u.noise_floor * u.noise_floor));
        }
        if (method_is_of_lines(b->method))
                u.raw_tip = contact;
        for (size_t k = 0; k < b->problem.standard_n; k++)
                for (size_t j = 0; j < n && b->problem.standards[k].ideal; j++)
                        if (strcmp(r[j].standard->name, b->problem.standards[k].name) == 0)
                                u.ideal[k] = belief_u(&r[j], at, hz);
        return u;
}

/* low_to, high_from: where the neighbours end and begin; the frequencies they share get uncertainties. */
static enum code band_solve(struct solved_band *b, const struct standard_reading *r, size_t n, const struct solve_conditions *at,
                            double low_to, double high_from, struct arena *arena, struct tp_error *err)
{
        size_t points = b->axis.n, standards = b->problem.standard_n, common_n = 0;
        void *workspace = arena_take(arena, b->method->workspace_bytes(points, standards)), *terms = arena_take(arena, terms_bytes(points)),
             *diagnosis = arena_take(arena, diagnosis_bytes(points)), *memory = NULL;
        size_t *common = arena_take(arena, points * sizeof *common);
        b->u = arena_take(arena, points * sizeof *b->u);
        b->u_worst = arena_take(arena, points * sizeof *b->u_worst);
        if (!workspace || !terms || !diagnosis || !common || !b->u || !b->u_worst)
                return tp_fail_memory(err);
        b->terms = terms_at(terms, &b->axis);
        b->diagnosis = diagnosis_at(diagnosis, &b->axis);
        for (size_t i = 0; i < points; i++) {
                b->u[i] = b->u_worst[i] = NAN;
                if (b->axis.hz[i] <= low_to || b->axis.hz[i] >= high_from)
                        common[common_n++] = i;
        }
        if (common_n && !(memory = arena_take(arena, covariance_bytes(common_n, standards))))
                return tp_fail_memory(err);
        struct covariance cov = covariance_at(memory, common_n, common);
        enum code code = b->method->solve(&b->problem, workspace, &b->terms, common_n ? &cov : NULL, &b->diagnosis, err);
        for (size_t q = 0; q < common_n && !code; q++) {
                struct input_uncertainty u = inputs_at(r, n, at, b, b->axis.hz[common[q]]);
                rf_corrected_u(&b->problem, &cov, q, &b->terms, &u, &b->u[common[q]], &b->u_worst[common[q]]);
        }
        return code;
}

/* The part of the list that a band covers; its name, for sentences. */
static enum code band_place(const struct band_plan *plan, bool only, const struct axis *axis, struct solved_band *b, struct tp_error *err)
{
        size_t end = axis->n;
        b->method = rf_method(plan->method);
        if (!b->method)
                return tp_fail(err, CODE_BAD_INPUT, "calibration method \"%s\" is not known", plan->method);
        while (b->begin < end && !(axis->hz[b->begin] >= plan->from_hz * (1 - 1e-12)))
                b->begin++;
        while (end > b->begin && !(axis->hz[end - 1] <= plan->to_hz * (1 + 1e-12)))
                end--;
        if (only)
                snprintf(b->name, sizeof b->name, "%s", plan->method);
        else
                snprintf(b->name, sizeof b->name, "%s from %.6g to %.6g GHz", plan->method, plan->from_hz / 1e9, plan->to_hz / 1e9);
        if (b->begin == end)
                return tp_fail(err, CODE_BAD_INPUT, "%s holds none of the %zu frequencies from %.9g to %.9g Hz", b->name, axis->n,
                               axis->hz[0], axis->hz[axis->n - 1]);
        return axis_of(end - b->begin, axis->hz + b->begin, &b->axis, err);
}

/* ---- all of it ---------------------------------------------------------------------------------------------------------------------- */

static struct solved_calibration *solved_new(const struct axis *axis, size_t band_n, struct arena *arena)
{
        struct solved_calibration *s = arena_take(arena, sizeof *s);
        size_t stride = net2_stride(axis->n);
        void *terms = arena_take(arena, terms_bytes(axis->n)), *sw = arena_take(arena, switch_terms_bytes(axis->n));
        double *columns = arena_take(arena, 6 * stride * sizeof *columns);
        if (!s || !terms || !sw || !columns)
                return NULL;
        s->axis = *axis;
        s->terms = terms_at(terms, &s->axis);
        s->switch_terms = switch_terms_at(sw, &s->axis);
        double **to[6] = {&s->gamma_re, &s->gamma_im, &s->zc_re, &s->zc_im, &s->share, &s->line_share};
        for (size_t k = 0; k < 6; k++)
                *to[k] = columns + k * stride;
        for (size_t i = 0; i < 4 * stride; i++)
                columns[i] = NAN;
        s->band_n = band_n;
        s->bands = arena_take(arena, band_n * sizeof *s->bands);
        s->joints = arena_take(arena, band_n * sizeof *s->joints);
        return s->bands && s->joints ? s : NULL;
}

static void lines_keep(struct solved_calibration *s, const struct solved_band *b)
{
        const struct diagnosis *d = &b->diagnosis;
        for (size_t i = 0; i < b->axis.n && method_is_of_lines(b->method); i++) {
                s->gamma_re[b->begin + i] = d->gamma_re[i];
                s->gamma_im[b->begin + i] = d->gamma_im[i];
                s->zc_re[b->begin + i] = d->zc_re[i];
                s->zc_im[b->begin + i] = d->zc_im[i];
        }
        if (b->terms.plane == PLANE_LINE_MIDDLE)
                s->plane_line_m = b->first_line_m;
}

enum code calibration_plan_solve(const struct calibration_plan *plan, const struct solve_conditions *at, const struct standard_reading *r,
                                 size_t n, struct arena *arena, struct solved_calibration **ret, struct tp_error *err)
{
        struct band_plan one;
        const struct band_plan *bands;
        struct rf_band joined[RF_BANDS_MAX];
        size_t band_n = calibration_bands(plan, &one, &bands);
        if (band_n > RF_BANDS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "%zu bands; a calibration has at most %d", band_n, RF_BANDS_MAX);
        if (n == 0 || n > 64)
                return tp_fail(err, CODE_BAD_INPUT, "%zu standards were read; a calibration takes 1 to 64", n);
        enum code code = readings_check(plan, r, n, err);
        if (code)
                return code;
        struct solved_calibration *s = solved_new(r[0].raw->axis, band_n, arena);
        if (!s)
                return tp_fail_memory(err);
        s->has_switch = switch_terms_mean(r, n, &s->switch_terms);
        for (size_t k = 0; k < band_n; k++) {
                struct solved_band *b = &s->bands[k];
                const struct switch_terms *sw = NULL;
                if ((code = band_place(&bands[k], plan->band_n == 0, &s->axis, b, err)))
                        return code;
                b->problem.axis = &b->axis;
                if (s->has_switch && !(sw = switch_part(&s->switch_terms, b->begin, &b->axis, arena)))
                        return tp_fail_memory(err);
                b->problem.switch_terms = sw;
                if ((code = band_standards(plan->band_n ? &bands[k] : NULL, r, n, at, b, arena, err)))
                        return code;
                settings_take(plan, calibration_plan_plane(plan), b);
                if ((code = band_solve(b, r, n, at, k > 0 ? bands[k - 1].to_hz : -INFINITY,
                                       k + 1 < band_n ? bands[k + 1].from_hz : INFINITY, arena, err)))
                        return code;
                joined[k] = (struct rf_band){.name = b->name, .terms = &b->terms, .switch_terms = sw, .u = b->u, .u_worst = b->u_worst};
                lines_keep(s, b);
        }
        bool has_switch;
        code = rf_join(band_n, joined, &s->axis, &s->terms, &s->switch_terms, &has_switch, s->share, s->joints, err);
        if (code)
                return tp_where(err, "joining");
        s->has_switch = has_switch;
        for (size_t i = 0; i < s->axis.n; i++) {
                size_t below = (size_t)s->share[i], above = below + 1 < band_n ? below + 1 : below;
                double w = s->share[i] - (double)below;
                s->line_share[i] = (1 - w) * method_is_of_lines(s->bands[below].method) + w * method_is_of_lines(s->bands[above].method);
        }
        *ret = s;
        return CODE_OK;
}

void calibration_residuals_json(const struct solved_band *b, struct json_out *o)
{
        const struct standard_residual *r = b->diagnosis.standard;
        json_open(o, "standards", '[');
        for (size_t k = 0; k < b->problem.standard_n; k++) {
                json_open(o, NULL, '{');
                json_text(o, "name", b->problem.standards[k].name);
                json_text(o, "kind", rf_standard_words[b->problem.standards[k].kind]);
                json_real(o, "residual_rms", r[k].rms);
                json_real(o, "residual_worst", r[k].worst);
                json_real(o, "residual_worst_hz", r[k].worst_hz);
                json_close(o, '}');
        }
        json_close(o, ']');
}

void calibration_joint_json(struct json_out *o, const struct joint *j)
{
        json_open(o, NULL, '{');
        json_real(o, "from_hz", j->from_hz);
        json_real(o, "to_hz", j->to_hz);
        json_int(o, "points", (int64_t)j->points);
        json_real(o, "kink", j->kink);
        json_real(o, "kink_hz", j->kink_hz);
        json_real(o, "kink_u", j->kink_u);
        json_real(o, "share_of_allowed", j->share);
        json_real(o, "cross_hz", j->cross_hz);
        json_bool(o, "beyond", j->beyond);
        json_text(o, "sentence", j->sentence);
        json_close(o, '}');
}
