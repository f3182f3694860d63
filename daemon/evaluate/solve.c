/* solve.c: the standards of a recipe and their raw sweeps become error terms (calibration_solve in evaluate.h).
 * Idea        Only the translation is here: which sweep is which standard, what its model says, where the planes lie.  The mathematics is a
 * row of rf_methods[], chosen by its word. Lines       Line methods take thru and lines as lines of known length; the plane is the middle
 * of the first one, the reference impedance the line's own unless the recipe gives its capacitance.  Shorts and opens serve as the reflect.
 * Said aloud  the diagnosis goes into the run as JSON: residuals of each standard, the reflect's distance from its estimate, S21 against
 * S12, warnings. */
#include "evaluate/inside.h"
#include "recipe/definition_solve.h"
#include "rf/numbers/robust.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

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
        return CODE_OK;
}

/* The sweep as rf/ wants it: its columns copied, since they are neither aligned nor const. */
static enum code reading_of(const struct recipe *r, const struct standard_sweep *of, const struct axis *axis, struct arena *arena,
                            struct standard_reading *ret, struct tp_error *err)
{
        const struct raw_sweep *raw = of->raw;
        struct net2 *net = arena_take(arena, sizeof *net);
        struct switch_terms *sw = arena_take(arena, sizeof *sw);
        void *memory = arena_take(arena, net2_bytes(raw->n)), *sw_memory = arena_take(arena, switch_terms_bytes(raw->n));
        size_t bytes = raw->n * sizeof(double);
        if (!net || !sw || !memory || !sw_memory)
                return tp_fail_memory(err);
        *net = net2_at(memory, axis, PLANE_RECEIVER);
        for (int k = 0; k < 4; k++) {
                memcpy(net->re[k], raw->re[k], bytes);
                memcpy(net->im[k], raw->im[k], bytes);
        }
        *ret = (struct standard_reading){.standard = &r->standards[of->standard], .raw = net};
        if (!raw->gf_re)
                return CODE_OK;
        *sw = switch_terms_at(sw_memory, axis);
        memcpy(sw->f_re, raw->gf_re, bytes);
        memcpy(sw->f_im, raw->gf_im, bytes);
        memcpy(sw->r_re, raw->gr_re, bytes);
        memcpy(sw->r_im, raw->gr_im, bytes);
        ret->switch_terms = sw;
        return CODE_OK;
}

static double median_of(const double *x, size_t n, double *scratch)
{
        size_t m = 0;
        for (size_t i = 0; i < n; i++)
                if (isfinite(x[i]))
                        scratch[m++] = x[i];
        return rf_quantile(rf_sort(m, scratch), scratch, 0.5);
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

static void lines_json(struct json_out *o, const struct diagnosis *d, double *scratch)
{
        const struct axis *axis = d->axis;
        figure(o, "nstd", d->nstd, axis, scratch);
        figure(o, "reflect_distance", d->reflect_distance, axis, scratch);
        json_bool(o, "root_followed", d->root_followed);
        json_bool(o, "root_contradicts", d->root_contradicts);
        if (d->root_contradicts)
                json_real(o, "contradiction_hz", d->contradiction_hz);
        json_open(o, "line", '[');
        size_t last = SIZE_MAX;
        for (double hz = 1e8; hz < 1e12; hz *= 10)
                for (int k = 0; k < ROUND_N; k++) {
                        size_t i = axis_nearest(axis, hz * round_numbers[k]);
                        if (i == last || fabs(axis->hz[i] - hz * round_numbers[k]) > 0.2 * hz)
                                continue;
                        last = i;
                        json_open(o, NULL, '{');
                        json_real(o, "hz", axis->hz[i]);
                        json_real(o, "eps_eff", d->eps_re[i]);
                        json_real(o, "eps_eff_imaginary", d->eps_im[i]);
                        json_real(o, "loss_db_mm", d->loss_db_mm[i]);
                        json_real(o, "reflect_distance", d->reflect_distance[i]);
                        json_close(o, '}');
                }
        json_close(o, ']');
}

static void band_json(struct json_out *o, const struct solved_band *b, double *scratch)
{
        const struct diagnosis *d = &b->diagnosis;
        figure(o, "condition", d->condition, d->axis, scratch);
        figure(o, "residual", d->residual_worst, d->axis, scratch);
        figure(o, "forward_against_reverse", d->k_disagreement, d->axis, scratch);
        figure(o, "switch_terms_difference", d->switch_difference, d->axis, scratch);
        figure(o, "s21_against_s12", d->reciprocity, d->axis, scratch);
        figure(o, "leakage", d->leakage, d->axis, scratch);
        figure(o, "consistency", d->consistency, d->axis, scratch);
        if (method_is_of_lines(b->method))
                lines_json(o, d, scratch);
        solved_match_json(d, o, "match");
        calibration_residuals_json(b, o);
        json_open(o, "warnings", '[');
        for (unsigned k = 0; k < d->warning_n; k++)
                json_text(o, NULL, d->warning[k]);
        json_close(o, ']');
}

static void diagnosis_json(const struct recipe *r, const struct standard_sweep *of, size_t n, struct arena *arena,
                           const struct calibration *c, const struct solved_calibration *s, double *scratch, struct text *to)
{
        struct json_out o = json_to(to);
        json_open(&o, NULL, '{');
        json_text(&o, "method", c->method);
        json_int(&o, "points", (int64_t)c->axis.n);
        json_text(&o, "plane", plane_words[c->terms.plane]);
        json_real(&o, "z_ref_ohm", c->z_ref);
        json_bool(&o, "switch_terms", c->has_switch);
        if (c->load_n)
                loads_json(r, c->loads, c->load_n, &o);
        if (s->band_n == 1)
                band_json(&o, &s->bands[0], scratch);
        for (size_t k = 0; k < s->band_n && s->band_n > 1; k++) {
                const struct solved_band *b = &s->bands[k];
                if (k == 0)
                        json_open(&o, "bands", '[');
                json_open(&o, NULL, '{');
                json_text(&o, "method", b->method->word);
                json_real(&o, "from_hz", b->axis.hz[0]);
                json_real(&o, "to_hz", b->axis.hz[b->axis.n - 1]);
                band_json(&o, b, scratch);
                json_close(&o, '}');
                if (k + 1 == s->band_n)
                        json_close(&o, ']');
        }
        if (s->band_n > 1) {
                json_open(&o, "joints", '[');
                for (size_t k = 0; k + 1 < s->band_n; k++)
                        calibration_joint_json(&o, s, k);
                json_close(&o, ']');
                json_open(&o, "warnings", '[');
                for (size_t k = 0; k + 1 < s->band_n; k++)
                        if (s->joints[k].sentence[0])
                                json_text(&o, NULL, s->joints[k].sentence);
                json_close(&o, ']');
        }
        described_json(r, c, of, n, arena, &o);
        json_close(&o, '}');
}

static double noise_by_plan(const void *of, double hz, double magnitude) { return noise_of(of, hz, magnitude); }

/* Mean of what the chuck read while the standards were swept; where it never did, what the recipe says. */
static double chuck_mean(const struct standard_sweep *of, size_t n, double otherwise)
{
        double sum = 0, count = 0;
        for (size_t k = 0; k < n; k++) {
                sum += of[k].raw->has_chuck ? of[k].raw->chuck_c : 0;
                count += of[k].raw->has_chuck;
        }
        return count > 0 ? sum / count : otherwise;
}

enum code calibration_solve(const struct recipe *r, const struct standard_sweep *of, size_t n, struct arena *arena,
                            struct calibration **ret, struct text *ret_diagnosis_json, struct tp_error *err)
{
        struct calibration *c;
        struct solved_calibration *s;
        if (n == 0)
                return tp_fail(err, CODE_BAD_INPUT, "no standard was measured; a calibration takes at least one");
        const struct recipe *stated = r;
        struct load_trim *loads;
        size_t load_n;
        struct standard_reading *readings = arena_take(arena, n * sizeof *readings);
        double *scratch = arena_take(arena, of[0].raw->n * sizeof *scratch);
        if (!readings || !scratch)
                return tp_fail_memory(err);
        for (size_t k = 0; k < n; k++) {
                enum code bad = sweep_check(r, &of[k], of[0].raw, err);
                if (bad)
                        return bad;
        }
        enum code code = loads_measure(stated, of, n, arena, &loads, &load_n, err);
        if (!code)
                code = recipe_trimmed(stated, loads, load_n, arena, &r, err);
        if (!code)
                code = calibration_new(of[0].raw->n, of[0].raw->hz, arena, &c, err);
        for (size_t k = 0; k < n && !code; k++)
                code = reading_of(r, &of[k], &c->axis, arena, &readings[k], err);
        struct solve_conditions at = {.temperature_c = r->setup.temperature_c,
                                      .contact_ohm_u = r->setup.contact_ohm_u,
                                      .contact_h_u = r->setup.contact_h_u,
                                      .placement_um_u = r->setup.placement_um_u,
                                      .noise = noise_by_plan,
                                      .noise_of = recipe_sweep(r, r->calibration.sweep)};
        if (!code)
                code = calibration_plan_solve(&r->calibration, &at, readings, n, arena, &s, err);
        if (code)
                return tp_where(err, "calibration");
        snprintf(c->method, sizeof c->method, "%s", calibration_plan_word(&r->calibration));
        c->terms = s->terms;
        c->terms.axis = &c->axis;
        c->has_switch = s->has_switch;
        c->sw = s->switch_terms;
        c->sw.axis = &c->axis;
        c->z_ref = c->terms.z_re[0];
        c->thru_m = s->plane_line_m;
        memcpy(c->gamma_re, s->gamma_re, c->axis.n * sizeof(double));
        memcpy(c->gamma_im, s->gamma_im, c->axis.n * sizeof(double));
        memcpy(c->match_weight, s->match_weight, c->axis.n * sizeof(double));
        c->match_sought = s->match_sought;
        memcpy(c->line_share, s->line_share, c->axis.n * sizeof(double));
        c->loads = loads;
        c->load_n = load_n;
        c->domain = recipe_domain(r, c->axis.hz[0], c->axis.hz[c->axis.n - 1]);
        c->domain.temperature_c = chuck_mean(of, n, c->domain.temperature_c);
        if ((code = settings_of_standards(r, of, n, &c->domain, err)))
                return tp_where(err, "calibration");
        if (ret_diagnosis_json)
                diagnosis_json(stated, of, n, arena, c, s, scratch, ret_diagnosis_json);
        *ret = c;
        return CODE_OK;
}
