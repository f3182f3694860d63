/* solve.c: the standards of a recipe and their raw sweeps become error terms (calibration_solve in evaluate.h).
 * Idea        Only the translation is here: which sweep is which standard, what its model says, where the planes lie.  The mathematics is a
 * row of rf_methods[], chosen by its word. Lines       Line methods take thru and lines as lines of known length; the plane is the middle
 * of the first one, the reference impedance the line's own unless the recipe gives its capacitance.  Shorts and opens serve as the reflect.
 * Said aloud  the diagnosis goes into the run as JSON: residuals of each standard, the reflect's distance from its estimate, S21 against
 * S12, warnings. */
#include "evaluate/inside.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static bool transmits(const struct standard *s) { return s->kind == STANDARD_THRU || s->kind == STANDARD_LINE; }

static enum code sweep_check(const struct recipe *r, const struct standard_sweep *of, const struct raw_sweep *first, struct tp_error *err)
{
        if (of->standard < 0 || (size_t)of->standard >= r->standard_n)
                return tp_fail(err, CODE_BUG, "standard %d is not in the recipe, which has %zu", (int)of->standard, r->standard_n);
        const char *name = r->standards[of->standard].name;
        if (of->raw->n != first->n || memcmp(of->raw->hz, first->hz, first->n * sizeof *first->hz) != 0)
                return tp_fail(err, CODE_BAD_INPUT,
                               "standard %s was swept at %zu frequencies from %.9g Hz, the first one at %zu from %.9g Hz; sweep all with "
                               "plan \"%s\"",
                               name, of->raw->n, of->raw->hz[0], first->n, first->hz[0], r->calibration.sweep);
        if (r->calibration.switch_terms && transmits(&r->standards[of->standard]) && !of->raw->gf_re)
                return tp_fail(err, CODE_BAD_INPUT,
                               "standard %s came without switch terms, which the recipe's calibration asks for; let the analyzer give GF "
                               "and GR, or set switch_terms to false",
                               name);
        return CODE_OK;
}

/* Mean over all transmitting standards: they agree to noise, for they are the analyzer's. */
static void switch_terms_mean(const struct recipe *r, const struct standard_sweep *of, size_t of_n, struct calibration *c)
{
        double n = 0;
        for (size_t k = 0; k < of_n; k++)
                if (transmits(&r->standards[of[k].standard]) && of[k].raw->gf_re)
                        n++;
        for (size_t k = 0; k < of_n; k++) {
                const struct raw_sweep *raw = of[k].raw;
                if (!transmits(&r->standards[of[k].standard]) || !raw->gf_re)
                        continue;
                for (size_t i = 0; i < raw->n; i++) {
                        c->sw.f_re[i] += raw->gf_re[i] / n;
                        c->sw.f_im[i] += raw->gf_im[i] / n;
                        c->sw.r_re[i] += raw->gr_re[i] / n;
                        c->sw.r_im[i] += raw->gr_im[i] / n;
                }
        }
        c->has_switch = n > 0;
}

static enum code raw_net(const struct raw_sweep *raw, const struct axis *axis, struct arena *arena, struct net2 *ret, struct tp_error *err)
{
        void *memory = arena_take(arena, net2_bytes(raw->n));
        if (!memory)
                return tp_fail_memory(err);
        *ret = net2_at(memory, axis, PLANE_RECEIVER);
        for (int k = 0; k < 4; k++) {
                memcpy(ret->re[k], raw->re[k], raw->n * sizeof(double));
                memcpy(ret->im[k], raw->im[k], raw->n * sizeof(double));
        }
        return CODE_OK;
}

static bool is_line_method(const char *word) { return strstr(word, "trl") != NULL; }

static enum code standard_problem(const struct recipe *r, const struct standard_sweep *of, const struct calibration *c, struct arena *arena,
                                  struct rf_standard *ret, struct tp_error *err)
{
        const struct standard *s = &r->standards[of->standard];
        struct net2 *nets = arena_take(arena, 2 * sizeof *nets);
        if (!nets)
                return tp_fail_memory(err);
        enum code code = raw_net(of->raw, &c->axis, arena, &nets[0], err);
        if (code)
                return code;
        *ret = (struct rf_standard){
                .name = s->name, .kind = standard_rf_kind(s->kind), .raw = &nets[0], .length_m = s->model.length_um * 1e-6};
        if (is_line_method(c->method)) {
                if (transmits(s))
                        ret->kind = RF_LINE;
                else if (s->kind == STANDARD_SHORT || s->kind == STANDARD_OPEN)
                        ret->kind = RF_REFLECT;
                return CODE_OK;
        }
        struct standard_definition d = standard_definition_of(s);
        if (d.kind != RF_OPEN && d.kind != RF_SHORT && d.kind != RF_LOAD && d.kind != RF_THRU)
                return CODE_OK; /* the method refuses it, by name */
        void *memory = arena_take(arena, net2_bytes(c->axis.n));
        if (!memory)
                return tp_fail_memory(err);
        nets[1] = net2_at(memory, &c->axis, PLANE_TIP);
        code = rf_standard_ideal(&d, NULL, r->setup.temperature_c, &nets[1], err);
        ret->ideal = &nets[1];
        return code ? tp_where(err, "standard %s", s->name) : CODE_OK;
}

static double median_of(const double *x, size_t n, double *scratch)
{
        size_t m = 0;
        for (size_t i = 0; i < n; i++)
                if (isfinite(x[i]))
                        scratch[m++] = x[i];
        if (!m)
                return NAN;
        for (size_t i = 1; i < m; i++) /* shell sort: a few hundred numbers, once a calibration */
                for (size_t j = i; j > 0 && scratch[j - 1] > scratch[j]; j--) {
                        double t = scratch[j];
                        scratch[j] = scratch[j - 1];
                        scratch[j - 1] = t;
                }
        return m % 2 ? scratch[m / 2] : (scratch[m / 2 - 1] + scratch[m / 2]) / 2;
}

static void figure(struct json_out *o, const char *key, const double *x, const struct axis *axis, double *scratch)
{
        double worst = -1, hz = NAN, median = median_of(x, axis->n, scratch);
        for (size_t i = 0; i < axis->n; i++)
                if (x[i] > worst) {
                        worst = x[i];
                        hz = axis->hz[i];
                }
        if (!isfinite(median))
                return;
        json_open(o, key, '{');
        json_real(o, "median", median);
        json_real(o, "worst", worst);
        json_real(o, "worst_hz", hz);
        json_close(o, '}');
}

/* Where lines are reported: round frequencies, and the band edges in between. */
static const double round_numbers[] = {1, 1.1, 1.2, 1.45, 1.5, 2, 3, 4, 5, 5.4, 6.7, 8};
enum { ROUND_N = sizeof round_numbers / sizeof round_numbers[0] };

static void diagnosis_json(const struct calibration *c, const struct diagnosis *d, const struct rf_standard *standards, size_t n,
                           double *scratch, struct text *to)
{
        struct json_out o = json_to(to);
        json_open(&o, NULL, '{');
        json_text(&o, "method", c->method);
        json_int(&o, "points", (int64_t)c->axis.n);
        json_text(&o, "plane", plane_words[c->terms.plane]);
        json_real(&o, "z_ref_ohm", c->z_ref);
        json_bool(&o, "switch_terms", c->has_switch);
        figure(&o, "condition", d->condition, d->axis, scratch);
        figure(&o, "residual", d->residual_worst, d->axis, scratch);
        figure(&o, "forward_against_reverse", d->k_disagreement, d->axis, scratch);
        figure(&o, "switch_terms_difference", d->switch_difference, d->axis, scratch);
        figure(&o, "s21_against_s12", d->reciprocity, d->axis, scratch);
        if (isfinite(c->gamma_im[0]) || c->thru_m > 0) {
                figure(&o, "nstd", d->nstd, d->axis, scratch);
                figure(&o, "reflect_distance", d->reflect_distance, d->axis, scratch);
                json_bool(&o, "root_followed", d->root_followed);
                json_bool(&o, "root_contradicts", d->root_contradicts);
                if (d->root_contradicts)
                        json_real(&o, "contradiction_hz", d->contradiction_hz);
                json_open(&o, "line", '[');
                size_t last = SIZE_MAX;
                for (double hz = 1e8; hz < 1e12; hz *= 10)
                        for (int k = 0; k < ROUND_N; k++) {
                                size_t i = axis_nearest(&c->axis, hz * round_numbers[k]);
                                if (i == last || fabs(c->axis.hz[i] - hz * round_numbers[k]) > 0.2 * hz)
                                        continue;
                                last = i;
                                json_open(&o, NULL, '{');
                                json_real(&o, "hz", c->axis.hz[i]);
                                json_real(&o, "eps_eff", d->eps_re[i]);
                                json_real(&o, "eps_eff_imaginary", d->eps_im[i]);
                                json_real(&o, "loss_db_mm", d->loss_db_mm[i]);
                                json_real(&o, "reflect_distance", d->reflect_distance[i]);
                                json_close(&o, '}');
                        }
                json_close(&o, ']');
        }
        json_open(&o, "standards", '[');
        for (size_t k = 0; k < n; k++) {
                json_open(&o, NULL, '{');
                json_text(&o, "name", standards[k].name);
                json_text(&o, "kind", rf_standard_words[standards[k].kind]);
                json_real(&o, "residual_rms", d->standard[k].rms);
                json_real(&o, "residual_worst", d->standard[k].worst);
                json_real(&o, "residual_worst_hz", d->standard[k].worst_hz);
                json_close(&o, '}');
        }
        json_close(&o, ']');
        json_open(&o, "warnings", '[');
        for (unsigned k = 0; k < d->warning_n; k++)
                json_text(&o, NULL, d->warning[k]);
        json_close(&o, ']');
        json_close(&o, '}');
}

enum code calibration_solve(const struct recipe *r, const struct standard_sweep *of, size_t n, struct arena *arena,
                            struct calibration **ret, struct text *ret_diagnosis_json, struct tp_error *err)
{
        const struct calibration_plan *plan = &r->calibration;
        const struct method *method = rf_method(plan->method);
        struct rf_standard standards[RF_STANDARD_MAX];
        struct calibration *c;
        if (!method)
                return tp_fail(err, CODE_BAD_INPUT,
                               "calibration method \"%s\" is not known; known are unknown_thru, solt and multiline_trl", plan->method);
        if (n == 0 || n > RF_STANDARD_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "a calibration takes 1 to %d standards, not %zu", RF_STANDARD_MAX, n);
        for (size_t k = 0; k < n; k++) {
                enum code bad = sweep_check(r, &of[k], of[0].raw, err);
                if (bad)
                        return bad;
        }
        enum code code = calibration_new(of[0].raw->n, of[0].raw->hz, arena, &c, err);
        if (code)
                return code;
        snprintf(c->method, sizeof c->method, "%s", method->word);
        switch_terms_mean(r, of, n, c);
        for (size_t k = 0; k < n; k++)
                if ((code = standard_problem(r, &of[k], c, arena, &standards[k], err)))
                        return code;
        bool lines = is_line_method(c->method);
        struct problem problem = {.axis = &c->axis,
                                  .standards = standards,
                                  .standard_n = n,
                                  .switch_terms = c->has_switch ? &c->sw : NULL,
                                  .thru_delay_s_guess = plan->thru_delay_s,
                                  .eps_eff_guess = plan->eps_eff,
                                  .reflect_estimate = plan->reflect_estimate,
                                  .reflect_offset_m = plan->reflect_offset_um * 1e-6,
                                  .line_c_f_m = plan->line_capacitance_f_m,
                                  .z_ref_ohm = 50};
        void *workspace = arena_take(arena, method->workspace_bytes(c->axis.n, n)), *diag = arena_take(arena, diagnosis_bytes(c->axis.n));
        double *scratch = arena_take(arena, c->axis.n * sizeof *scratch);
        if (!workspace || !diag || !scratch)
                return tp_fail_memory(err);
        struct diagnosis d = diagnosis_at(diag, &c->axis);
        code = method->solve(&problem, workspace, &c->terms, NULL, &d, err);
        if (code)
                return tp_where(err, "calibration");
        c->z_ref = c->terms.z_re[0];
        if (lines) {
                for (size_t k = 0; k < n && c->thru_m == 0; k++)
                        if (standards[k].kind == RF_LINE)
                                c->thru_m = standards[k].length_m;
                memcpy(c->gamma_re, d.gamma_re, c->axis.n * sizeof(double));
                memcpy(c->gamma_im, d.gamma_im, c->axis.n * sizeof(double));
        }
        if (ret_diagnosis_json)
                diagnosis_json(c, &d, standards, n, scratch, ret_diagnosis_json);
        *ret = c;
        return CODE_OK;
}
