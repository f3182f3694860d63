/* offline_say.c: what a solution says of itself, for programs and for people (offline_solve.h).
 * Idea        The solver's figures are columns over frequency, NaN where a method has none; one table names them, so JSON and words cannot
 *             differ, and a figure that a method does not have does not appear. */
#include "recipe/offline_solve.h"
#include "rf/calibrate/reflect_size.h"
#include <math.h>
#include <stdio.h>

struct figure {
        const char *key, *say; /* say NULL: not among the words */
        size_t at;             /* of the column's pointer in struct diagnosis */
        bool least;            /* the smallest value is the worst one */
};
#define COLUMN(name, words)                                           \
        {                                                             \
#name, words, offsetof(struct diagnosis, name), false \
        }
static const struct figure figures[] = {
        COLUMN(condition, "condition of the equations"),
        COLUMN(residual_rms, NULL),
        COLUMN(residual_worst, "largest residual"),
        COLUMN(k_disagreement, "forward against reverse transmission"),
        COLUMN(leakage, "leakage between the sides"),
        COLUMN(consistency, "inconsistency of the standards"),
        COLUMN(switch_difference, "switch terms read against implied"),
        COLUMN(reciprocity, "|S21 - S12| of what must be reciprocal"),
        COLUMN(thru_s21_re, NULL),
        COLUMN(thru_s21_im, NULL),
        COLUMN(gamma_re, NULL),
        COLUMN(gamma_im, NULL),
        COLUMN(eps_re, NULL),
        COLUMN(eps_im, NULL),
        COLUMN(loss_db_mm, NULL),
        {"phase_eff_deg", "effective phase of the lines, least, in degrees", offsetof(struct diagnosis, phase_eff_deg), true},
        COLUMN(nstd, "standard deviation against one 90 degree line"),
        COLUMN(zc_re, NULL),
        COLUMN(zc_im, NULL),
        COLUMN(reflect_re, NULL),
        COLUMN(reflect_im, NULL),
        COLUMN(reflect_distance, "reflect from its estimate"),
};
#define FIGURE_N (sizeof figures / sizeof figures[0])

static const double *column(const struct diagnosis *d, const struct figure *f)
{
        return *(double *const *)(const void *)((const char *)d + f->at);
}

/* false: all NaN. */
static bool worst_of(const struct diagnosis *d, const struct figure *f, double *ret, double *ret_hz)
{
        const double *v = column(d, f);
        bool any = false;
        for (size_t i = 0; v && i < d->axis->n; i++)
                if (!isnan(v[i]) && (!any || (f->least ? v[i] < *ret : fabs(v[i]) > fabs(*ret)))) {
                        any = true;
                        *ret = v[i];
                        *ret_hz = d->axis->hz[i];
                }
        return any;
}

static void reals(struct json_out *o, const char *key, const double *v, size_t n)
{
        json_open(o, key, '[');
        for (size_t i = 0; i < n; i++)
                json_real(o, NULL, v[i]);
        json_close(o, ']');
}

static void band_json(const struct solved_band *b, struct json_out *o)
{
        const struct diagnosis *d = &b->diagnosis;
        json_open(o, NULL, '{');
        json_text(o, "method", b->method->word);
        json_real(o, "from_hz", b->axis.hz[0]);
        json_real(o, "to_hz", b->axis.hz[b->axis.n - 1]);
        json_int(o, "points", (int64_t)b->axis.n);
        calibration_residuals_json(b, o);
        json_open(o, "figures", '{');
        for (size_t k = 0; k < FIGURE_N; k++) {
                double worst = NAN, hz = NAN;
                if (!worst_of(d, &figures[k], &worst, &hz))
                        continue;
                json_open(o, figures[k].key, '{');
                json_real(o, figures[k].least ? "least" : "largest", worst);
                json_real(o, "at_hz", hz);
                reals(o, "values", column(d, &figures[k]), d->axis->n);
                json_close(o, '}');
        }
        json_close(o, '}');
        solved_match_json(d, o, "match");
        json_bool(o, "root_followed", d->root_followed);
        json_bool(o, "root_contradicts", d->root_contradicts);
        json_open(o, "warnings", '[');
        for (unsigned k = 0; k < d->warning_n; k++)
                json_text(o, NULL, d->warning[k]);
        json_close(o, ']');
        json_close(o, '}');
}

void offline_diagnosis_json(const struct offline_solved *s, struct json_out *o, const char *key)
{
        const struct solved_calibration *c = s->solved;
        json_open(o, key, '{');
        json_text(o, "method", c->terms.method);
        json_text(o, "plane", plane_words[c->terms.plane]);
        json_real(o, "z_ref_ohm", c->terms.z_re[0]);
        json_bool(o, "switch_terms", c->has_switch);
        reals(o, "freq_hz", c->axis.hz, c->axis.n);
        json_open(o, "bands", '[');
        for (size_t k = 0; k < c->band_n; k++)
                band_json(&c->bands[k], o);
        json_close(o, ']');
        json_open(o, "joints", '[');
        for (size_t k = 0; k + 1 < c->band_n; k++)
                calibration_joint_json(o, c, k);
        json_close(o, ']');
        json_open(o, "verified", '[');
        for (size_t k = 0; k < s->verified_n; k++) {
                json_open(o, NULL, '{');
                json_text(o, "standard", s->verified[k].name);
                json_real(o, "limit", s->verified[k].limit);
                json_real(o, "worst", s->verified[k].worst);
                json_real(o, "worst_hz", s->verified[k].worst_hz);
                json_bool(o, "within", s->verified[k].within);
                if (isfinite(s->verified[k].longer_m)) {
                        json_real(o, "longer_m", s->verified[k].longer_m);
                        json_real(o, "longer_leaves", s->verified[k].longer_leaves);
                }
                solved_definition_json(&s->verified[k].definition, o, "solved");
                json_close(o, '}');
        }
        json_close(o, ']');
        offline_capacitances_json(s, o);
        json_bool(o, "accepted", s->accepted);
        if (s->causes) {
                json_open(o, "causes", '[');
                for (size_t k = 0; k < s->causes->n; k++)
                        json_text(o, NULL, s->causes->of[k].about.name);
                json_close(o, ']');
                json_open(o, "not_counted", '[');
                for (size_t k = 0; k < s->causes->not_counted_n; k++)
                        json_text(o, NULL, s->causes->not_counted[k]);
                json_close(o, ']');
        }
        json_close(o, '}');
}

/* ---- words --------------------------------------------------------------------------------------------------------------------------- */

static void put_ghz(struct text *to, double hz)
{
        text_f(to, hz < 1e6 ? "%.6g kHz" : hz < 1e9 ? "%.6g MHz" : "%.6g GHz", hz < 1e6 ? hz / 1e3 : hz < 1e9 ? hz / 1e6 : hz / 1e9);
}

static void reflect_words(const struct solved_band *b, struct text *to)
{
        double largest = NAN, hz = NAN;
        for (size_t i = 0; i < b->axis.n; i++) {
                double size = rf_reflect_size(&b->problem, &b->diagnosis, i);
                if (size > largest || (isnan(largest) && isfinite(size))) {
                        largest = size;
                        hz = b->axis.hz[i];
                }
        }
        if (isnan(largest))
                return;
        text_f(to, "  %-48s %10.4g at ", "solved reflect, largest |G|", largest);
        put_ghz(to, hz);
        text_put(to, "\n");
}

/* The lines' impedance that results were brought to ohms with, a frequency a decade. */
static void impedance_words(const struct solved_band *b, struct text *to)
{
        const struct diagnosis *d = &b->diagnosis;
        const char *before = "";
        size_t last = SIZE_MAX;
        for (double hz = 1e8; hz < 2e11; hz *= 10) {
                size_t i = axis_nearest(&b->axis, hz);
                if (i == last || !isfinite(d->zc_re[i]) || fabs(b->axis.hz[i] / hz - 1) > 0.5)
                        continue;
                last = i;
                if (!before[0])
                        text_put(to, "  impedance of the lines, as used: ");
                text_f(to, "%s%.4g%+.3gj ohm at ", before, d->zc_re[i], d->zc_im[i]);
                put_ghz(to, b->axis.hz[i]);
                before = ", ";
        }
        if (before[0])
                text_put(to, "\n");
}

static void band_words(const struct solved_band *b, struct text *to)
{
        const struct diagnosis *d = &b->diagnosis;
        text_f(to, "%s: %zu standards, %zu points from ", b->method->word, b->problem.standard_n, b->axis.n);
        put_ghz(to, b->axis.hz[0]);
        text_put(to, " to ");
        put_ghz(to, b->axis.hz[b->axis.n - 1]);
        text_put(to, "\n");
        for (size_t k = 0; k < FIGURE_N; k++) {
                double worst = NAN, hz = NAN;
                if (!figures[k].say || !worst_of(d, &figures[k], &worst, &hz))
                        continue;
                text_f(to, "  %-48s %10.3g at ", figures[k].say, worst);
                put_ghz(to, hz);
                text_put(to, "\n");
        }
        solved_match_words(d, to);
        reflect_words(b, to);
        impedance_words(b, to);
        for (size_t k = 0; k < b->problem.standard_n; k++) {
                const struct rf_standard *s = &b->problem.standards[k];
                text_f(to, "  %-16s %-8s", s->name, rf_standard_words[s->kind]);
                if (isnan(d->standard[k].worst)) {
                        text_put(to, " cannot be judged: what it says is met exactly\n");
                        continue;
                }
                text_f(to, " residual rms %.3g, worst %.3g at ", d->standard[k].rms, d->standard[k].worst);
                put_ghz(to, d->standard[k].worst_hz);
                if (isfinite(d->line_length_error_m[k]))
                        text_f(to, "; length by the others %+.2g um, +- %.2g um", d->line_length_error_m[k] * 1e6,
                               d->line_length_u_m[k] * 1e6);
                text_put(to, "\n");
        }
        for (unsigned k = 0; k < d->warning_n; k++)
                text_f(to, "  ! %s\n", d->warning[k]);
}

void offline_diagnosis_words(const struct offline_solved *s, struct text *to)
{
        const struct solved_calibration *c = s->solved;
        for (size_t k = 0; k < c->band_n; k++)
                band_words(&c->bands[k], to);
        for (size_t k = 0; k + 1 < c->band_n; k++) {
                const struct joint *j = &c->joints[k];
                text_f(to, "joint %zu, %s below, %s above: %zu points from ", k + 1, c->bands[k].method->word, c->bands[k + 1].method->word,
                       j->points);
                put_ghz(to, j->from_hz);
                text_put(to, " to ");
                put_ghz(to, j->to_hz);
                text_f(to, ", both solutions differ by at most %.3g there, at ", j->kink);
                put_ghz(to, j->kink_hz);
                if (isfinite(j->kink_u))
                        text_f(to, ", where %.3g is allowed (over the joint %.2g of it)", JOIN_95 * j->kink_u, j->share);
                text_put(to, "\n");
                if (j->sentence[0])
                        text_f(to, "  ! %s\n", j->sentence);
        }
        /* twelve terms hold the loads of both directions inside, reflections alone have none */
        const char *loads = c->terms.switch_removed ? ", switch terms removed"
                            : c->terms.model == TERMS_EIGHT || c->terms.model == TERMS_SIXTEEN
                                    ? ", no switch terms: raw files are taken as "
                                      "free of them"
                                    : "";
        if (isfinite(c->terms.z_re[0]))
                text_f(to, "result: plane %s, %.6g ohm%s\n", plane_words[c->terms.plane], c->terms.z_re[0], loads);
        else
                text_f(to, "result: plane %s, the line's own impedance%s\n", plane_words[c->terms.plane], loads);
        for (size_t k = 0; k < s->verified_n; k++) {
                const struct offline_verified *v = &s->verified[k];
                text_f(to, "verified: %s lies %.3g from its definition at ", v->name, v->worst);
                put_ghz(to, v->worst_hz);
                text_f(to, ", limit %.3g%s\n", v->limit, v->within ? "" : "; beyond it");
                if (isfinite(v->longer_m))
                        text_f(to, "          as if %.1f um %s than told, which leaves %.3g\n", fabs(v->longer_m) * 1e6,
                               v->longer_m < 0 ? "shorter" : "longer", v->longer_leaves);
                solved_definition_words(&v->definition, v->name, to);
        }
        offline_capacitances_words(s, to);
        if (!s->causes)
                return;
        text_f(to, "uncertainty: %zu cause%s with the terms", s->causes->n, s->causes->n == 1 ? "" : "s");
        for (size_t k = 0; k < s->causes->not_counted_n; k++)
                text_f(to, "%s%s", k ? ", " : "; not counted: ", s->causes->not_counted[k]);
        text_put(to, "\n");
}
