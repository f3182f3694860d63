/* calibration_match_noise.c: what noise makes of a match that "lrrm" finds from all frequencies together (calibration_causes.h).
 * Idea        The method's least squares to first order: the numbers found (L; L and C; L and R) move by -(J'WJ)^-1 J'W r, r what noise makes
 *             of the solved open (of its size, or, where its capacitance is told, all of it), W the method's own weights.  Each raw number's
 *             noise moves the open through the terms, match held (calibration_noise.c), and where it is the open's own reading directly.  J,
 *             and what the numbers do to the terms, by solving the plan with what was found moved a little.
 * Other pairs One that contradicts what was found (diagnosis.h) is a cause of its own: what the terms would be with it, less what they are.
 * Not taken   that a frequency's own noise moves both its terms and, as one of n, the match.
 * Checked     tests/station/offline_uncertainty_keys.py: whole calibrations drawn, seven frequencies. */
#include "recipe/calibration_causes.h"
#include <math.h>
#include <string.h>

enum { NUMBERS_MAX = 2 };
static const double unit[3] = {1e-3, 1e-15, 1e-18}; /* ohm, H, F */

/* What was found in a band. */
struct found {
        size_t n, number[NUMBERS_MAX]; /* 0 R, 1 L, 2 C */
        bool known_open;
};
static struct found found_of(const struct solved_band *b)
{
        const struct diagnosis *d = &b->diagnosis;
        struct found f = {.known_open = b->problem.match_fit == RF_MATCH_FROM_OPEN};
        if (strcmp(b->method->word, "lrrm") != 0 || b->problem.match_fit == RF_MATCH_FIXED || !d->match_l_determined)
                return f;
        f.number[f.n++] = 1;
        if (f.known_open || d->match_c_u_f > 0)
                f.number[f.n++] = f.known_open ? 0 : 2;
        return f;
}

static enum code solved_with(struct causes_job *j, size_t band, const double step[3], double by, struct solved_calibration **ret,
                             struct tp_error *err)
{
        struct solve_conditions at = j->at;
        at.match_band = band;
        for (int k = 0; k < 3; k++)
                at.match_step[k] = by * step[k];
        return calibration_plan_solve(j->plan, &at, j->readings, j->n, j->scratch, ret, err);
}

/* The mean of the band's opens at port 1 and point i: corrected by other terms, less as by its own. */
static double complex open_by(const struct solved_band *b, const struct terms *terms, size_t i)
{
        const struct switch_terms *sw = b->problem.switch_terms;
        double complex f = sw ? CMPLX(sw->f_re[i], sw->f_im[i]) : 0, r = sw ? CMPLX(sw->r_re[i], sw->r_im[i]) : 0, sum = 0;
        double n = 0;
        for (size_t m = 0; m < b->problem.standard_n; m++)
                if (b->problem.standards[m].kind == RF_OPEN) {
                        struct m2 raw = net2_get(b->problem.standards[m].raw, i);
                        sum += rf_corrected_as_read(terms, i, m2_diag(raw.e[0], raw.e[3]), f, r).e[0];
                        n++;
                }
        return sum / n;
}

/* The same mean's change by one standard uncertainty of the noise of entry e of the band's standard `of`, match held. */
static double complex open_moved(const struct causes_job *j, const struct solved_band *b, const struct band_columns *c, size_t of, int e,
                                 size_t i)
{
        const struct switch_terms *sw = b->problem.switch_terms;
        double complex f = sw ? CMPLX(sw->f_re[i], sw->f_im[i]) : 0, r = sw ? CMPLX(sw->r_re[i], sw->r_im[i]) : 0, sum = 0;
        struct terms_cause cause = {.about = {.kind = CAUSE_OF_NOISE}};
        const double h = 1e-4; /* of one standard uncertainty */
        double n = 0;
        for (int k = 0; k < TERM_COUNT; k++)
                if (terms_is_made_of(b->terms.model, k)) {
                        cause.re[k] = c->moved.re[k];
                        cause.im[k] = c->moved.im[k];
                }
        for (size_t m = 0; m < b->problem.standard_n; m++) {
                if (b->problem.standards[m].kind != RF_OPEN)
                        continue;
                struct m2 raw = net2_get(b->problem.standards[m].raw, i), at = m2_diag(raw.e[0], raw.e[3]);
                sum += rf_terms_cause_change(&b->terms, i, &cause, i, at, f, r).e[0];
                if (m == of && e == 0) {
                        double complex d = h * reading_noise(&j->to->reading, raw.e[0]);
                        sum += (rf_corrected_as_read(&b->terms, i, m2_diag(raw.e[0] + d, raw.e[3]), f, r).e[0] -
                                rf_corrected_as_read(&b->terms, i, m2_diag(raw.e[0] - d, raw.e[3]), f, r).e[0]) /
                               (2 * h);
                }
                n++;
        }
        return sum / n;
}

static bool inverted(size_t n, const double a[3], double v[3])
{
        double det = n > 1 ? a[0] * a[2] - a[1] * a[1] : a[0];
        memcpy(v, n > 1 ? (double[3]){a[2] / det, -a[1] / det, a[0] / det} : (double[3]){1 / det, 0, 0}, 3 * sizeof *v);
        return det > 0 && isfinite(1 / det);
}

/* Covariance of the numbers in units of `unit`, 00 01 11; false: the band does not determine them. */
static bool covariance_of(const struct causes_job *j, const struct solved_band *b, const struct found *f, double complex *const *by,
                          struct band_columns (*columns)[4], double ret[3])
{
        double a[3] = {0}, c[3] = {0}, v[3];
        for (size_t i = 0; i < b->axis.n; i++) {
                double w = b->diagnosis.match_weight[i], noise2 = 0;
                double complex open = open_by(b, &b->terms, i), along = open / cabs(open), g[NUMBERS_MAX] = {0, 0};
                for (size_t k = 0; k < f->n; k++)
                        g[k] = f->known_open ? by[k][i] : creal(conj(along) * by[k][i]);
                for (size_t m = 0; m < b->problem.standard_n; m++)
                        for (int e = 0; e < 4; e++)
                                if (columns[m][e].reads) {
                                        double complex d = open_moved(j, b, &columns[m][e], m, e, i);
                                        noise2 += creal(d) * creal(d) + cimag(d) * cimag(d);
                                }
                const double pair[3] = {creal(conj(g[0]) * g[0]), creal(conj(g[0]) * g[1]), creal(conj(g[1]) * g[1])};
                for (int k = 0; k < 3; k++) {
                        a[k] += w * pair[k];
                        c[k] += w * w * noise2 * pair[k];
                }
        }
        if (!inverted(f->n, a, v))
                return false;
        double left[4] = {v[0] * c[0] + v[1] * c[1], v[0] * c[1] + v[1] * c[2], v[1] * c[0] + v[2] * c[1], v[1] * c[1] + v[2] * c[2]};
        ret[0] = left[0] * v[0] + left[1] * v[1];
        ret[1] = left[0] * v[1] + left[1] * v[2];
        ret[2] = left[2] * v[1] + left[3] * v[2];
        return isfinite(ret[0]) && isfinite(ret[2]) && ret[0] > 0;
}

static const char *load_of(const struct solved_band *b)
{
        const char *load = "match";
        for (size_t m = 0; m < b->problem.standard_n; m++)
                load = b->problem.standards[m].kind == RF_LOAD ? b->problem.standards[m].name : load;
        return load;
}
static struct causes_side side_of(const struct solved_calibration *s)
{
        return (struct causes_side){&s->terms, s->has_switch ? &s->switch_terms : NULL};
}
static enum code cause_of_step(struct causes_job *j, size_t band, const double step[3], const char *what, struct tp_error *err)
{
        struct solved_calibration *up = NULL, *down = NULL;
        double by = 1; /* as small as the units are */
        for (int k = 0; k < 3; k++)
                by = fmin(by, step[k] > 0 || step[k] < 0 ? unit[k] / fabs(step[k]) : 1);
        enum code code = solved_with(j, band, step, by, &up, err);
        if (!code)
                code = solved_with(j, band, step, -by, &down, err);
        if (!code)
                code = causes_add(j, CAUSE_OF_STANDARD, j->to->reading.noise_freedom, side_of(up), side_of(down), 1 / (2 * by), err,
                                  "%s: %s found, noise", load_of(&j->solved->bands[band]), what);
        return code;
}

enum code causes_of_other_pairs(struct causes_job *j, struct tp_error *err)
{
        enum code code = CODE_OK;
        for (size_t b = 0; b < j->solved->band_n && !code; b++) {
                const struct diagnosis *d = &j->solved->bands[b].diagnosis;
                struct solved_calibration *other = NULL;
                const double step[3] = {0, d->match_other_l_h, d->match_other_c_f};
                if (step[1] == 0 && step[2] == 0)
                        continue;
                code = solved_with(j, b, step, 1, &other, err);
                if (!code)
                        code = causes_add(j, CAUSE_OF_STANDARD, INFINITY, side_of(other), side_of(j->solved), 1, err,
                                          "%s: another pair of L and C", load_of(&j->solved->bands[b]));
                arena_reset(j->scratch);
        }
        return code;
}

enum code causes_of_match_noise(struct causes_job *j, size_t band, struct band_columns (*columns)[4], struct tp_error *err)
{
        static const char *const words[3] = {"R", "L", "C"};
        const struct solved_band *b = &j->solved->bands[band];
        const struct found f = found_of(b);
        double complex *by[NUMBERS_MAX] = {NULL};
        double v[3];
        enum code code = CODE_OK;
        for (size_t k = 0; k < f.n && !code; k++) {
                struct solved_calibration *up = NULL, *down = NULL;
                double step[3] = {0};
                step[f.number[k]] = unit[f.number[k]];
                if (!(by[k] = arena_take(j->scratch, b->axis.n * sizeof *by[k])))
                        return tp_fail_memory(err);
                if (!(code = solved_with(j, band, step, 1, &up, err)))
                        code = solved_with(j, band, step, -1, &down, err);
                for (size_t i = 0; i < b->axis.n && !code; i++)
                        by[k][i] = (open_by(b, &up->bands[band].terms, i) - open_by(b, &down->bands[band].terms, i)) / 2;
        }
        if (code || f.n == 0 || !covariance_of(j, b, &f, by, columns, v))
                return code;
        /* two steps, independent of each other */
        double first = sqrt(v[0]), along = f.n > 1 ? v[1] / first : 0, rest = f.n > 1 ? sqrt(fmax(0, v[2] - along * along)) : 0,
               step[3] = {0};
        step[f.number[0]] = first * unit[f.number[0]];
        if (f.n > 1)
                step[f.number[1]] = along * unit[f.number[1]];
        code = cause_of_step(j, band, step, words[f.number[0]], err);
        if (f.n > 1 && rest > 0 && !code) {
                step[f.number[0]] = 0;
                step[f.number[1]] = rest * unit[f.number[1]];
                code = cause_of_step(j, band, step, words[f.number[1]], err);
        }
        return code;
}
