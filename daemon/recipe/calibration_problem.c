/* calibration_problem.c: what was read of standards becomes problems of rf/, one per band, solved and joined (calibration_problem.h).
 * Idea        Only the translation is here.  The mathematics is a row of rf_methods[], chosen by its word, and rf/calibrate/join.c.
 * Weights     Bands are joined by uncertainties of the corrected S: noise, contact, placement and the definitions' own; for the overlap
 *             only, since each costs a solution per input. */
#include "recipe/calibration_problem.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- readings ----------------------------------------------------------------------------------------------------------------------- */

bool standard_reading_transmits(const struct standard_reading *r)
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
                if (c->switch_terms && standard_reading_transmits(&r[k]) && !r[k].switch_terms)
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
                n += standard_reading_transmits(&r[k]) && r[k].switch_terms;
        for (size_t k = 0; k < reading_n; k++) {
                const struct switch_terms *sw = r[k].switch_terms;
                if (!sw || !standard_reading_transmits(&r[k]))
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

/* Standard uncertainty per component of what a standard is believed to be, its touch included; data count as exact where nobody says. */
static double belief_u(const struct standard_reading *r, const struct solve_conditions *at, double hz)
{
        struct standard_definition d = standard_definition_of(r->standard);
        double model = r->ideal || r->standard->data_n ? r->standard->data_u : rf_standard_u(&d, at->temperature_c, 0, hz);
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
        struct net2 *ideal = r->ideal ? net_part(r->ideal, b->begin, &b->axis, arena) : net_new(&b->axis, arena),
                    *offset = net_new(&b->axis, arena);
        if (!ideal || !offset)
                return tp_fail_memory(err);
        ret->ideal = ideal;
        if (r->ideal) {
                ret->u_ideal = r->standard->data_u > 0 ? u_over(r, at, &b->axis) : 0;
                return CODE_OK;
        }
        ret->u_ideal = u_over(r, at, &b->axis);
        enum code code = standard_ideal(s, at->temperature_c, arena, ideal, err);
        struct standard_definition d = standard_definition_of(s);
        if (ret->kind == RF_LOAD && s->data_n == 0)
                ret->shunt_c_f = d.c_f[0];
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

/* low_to, high_from: where the neighbours end and begin; the frequencies they share get uncertainties, unless `held` has them. */
static enum code band_solve(struct solved_band *b, const struct standard_reading *r, size_t n, const struct solve_conditions *at,
                            const struct solved_band *held, double low_to, double high_from, struct arena *arena, struct tp_error *err)
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
                b->u[i] = held ? held->u[i] : NAN;
                b->u_worst[i] = held ? held->u_worst[i] : NAN;
                if (!held && (b->axis.hz[i] <= low_to || b->axis.hz[i] >= high_from))
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
        enum { SOLVED_COLUMNS = 7 };
        double *columns = arena_take(arena, SOLVED_COLUMNS * stride * sizeof *columns);
        if (!s || !terms || !sw || !columns)
                return NULL;
        s->axis = *axis;
        s->terms = terms_at(terms, &s->axis);
        s->switch_terms = switch_terms_at(sw, &s->axis);
        double **to[SOLVED_COLUMNS] = {&s->gamma_re, &s->gamma_im, &s->zc_re, &s->zc_im, &s->match_weight, &s->share, &s->line_share};
        for (size_t k = 0; k < SOLVED_COLUMNS; k++)
                *to[k] = columns + k * stride;
        for (size_t i = 0; i < 5 * stride; i++)
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

struct rf_band calibration_band(const struct solved_band *b)
{
        return (struct rf_band){
                .name = b->name, .terms = &b->terms, .switch_terms = b->problem.switch_terms, .u = b->u, .u_worst = b->u_worst};
}

static void match_keep(struct solved_calibration *s, const struct solved_band *b)
{
        if (strcmp(b->method->word, "lrrm") != 0 || b->problem.match_fit == RF_MATCH_FIXED)
                return;
        s->match_sought = true;
        memcpy(s->match_weight + b->begin, b->diagnosis.match_weight, b->axis.n * sizeof(double));
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
                if (at->match_band == k)
                        memcpy(b->problem.match_step, at->match_step, sizeof at->match_step);
                if ((code = band_solve(b, r, n, at, at->held ? &at->held->bands[k] : NULL, k > 0 ? bands[k - 1].to_hz : -INFINITY,
                                       k + 1 < band_n ? bands[k + 1].from_hz : INFINITY, arena, err)))
                        return code;
                joined[k] = calibration_band(b);
                lines_keep(s, b);
                match_keep(s, b);
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
                if (isfinite(b->diagnosis.line_length_error_m[k])) {
                        json_real(o, "length_error_m", b->diagnosis.line_length_error_m[k]);
                        json_real(o, "length_error_u_m", b->diagnosis.line_length_u_m[k]);
                }
                json_close(o, '}');
        }
        json_close(o, ']');
}

void calibration_joint_json(struct json_out *o, const struct solved_calibration *s, size_t k)
{
        const struct joint *j = &s->joints[k];
        json_open(o, NULL, '{');
        json_text(o, "below", s->bands[k].method->word);
        json_text(o, "above", s->bands[k + 1].method->word);
        json_real(o, "from_hz", j->from_hz);
        json_real(o, "to_hz", j->to_hz);
        json_int(o, "points", (int64_t)j->points);
        json_real(o, "kink", j->kink);
        json_real(o, "kink_hz", j->kink_hz);
        json_real(o, "kink_u", j->kink_u);
        json_real(o, "kink_allowed", JOIN_95 * j->kink_u);
        json_real(o, "share_of_allowed", j->share);
        json_real(o, "cross_hz", j->cross_hz);
        json_bool(o, "beyond", j->beyond);
        json_text(o, "sentence", j->sentence);
        json_close(o, '}');
}
