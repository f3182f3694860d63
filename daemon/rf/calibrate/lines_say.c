/* lines_say.c: solutions of line methods into the diagnosis (lines.h, calibration.h).
 * Lengths     A line of wrong length keeps the eigenvectors and bends only the propagation constant; what each line misses against all
 *             others is a length once it is divided by gamma.  The phases regress on the lengths with an intercept (the first line's
 * place), the residual over 1 - leverage is what the line would miss if it had been left out (any textbook on regression).  A common offset
 * and a common scale of all lengths cannot be seen. Opinions    Method of record and second opinion weigh the pairs differently.  Noise
 * makes them differ at random from one frequency to the next; boxes that changed between lines (a probe that moved) make them differ
 * smoothly.  Means over 17 frequencies are compared with the scatter of neighbours inside them; 5 standard errors count (common practice,
 * no source). */
#include "rf/calibrate/lines.h"
#include <math.h>

static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

double complex line_impedance(const struct problem *p, double hz, double complex g)
{
        if (p->line_c_f_m > 0)
                return g / (CMPLX(0, RF_TWO_PI * hz * p->line_c_f_m) * CMPLX(1, -p->line_loss_tangent));
        return p->line_z_ohm > 0 ? p->line_z_ohm : CMPLX(NAN, NAN);
}

void line_length_errors(size_t n, const double complex *miss, const double *l, struct line_solution *s)
{
        double complex mean = 0, slope = 0;
        double l_mean = 0, spread = 0, g2 = creal(s->g) * creal(s->g) + cimag(s->g) * cimag(s->g), nn = (double)n;
        for (size_t k = 0; k < RF_STANDARD_MAX; k++)
                s->length_error_m[k] = NAN;
        if (n < 3)
                return;
        for (size_t k = 0; k < n; k++) {
                mean += miss[k] / nn;
                l_mean += l[k] / nn;
        }
        for (size_t k = 0; k < n; k++) {
                slope += (l[k] - l_mean) * miss[k];
                spread += (l[k] - l_mean) * (l[k] - l_mean);
        }
        slope /= spread;
        for (size_t k = 0; k < n; k++) {
                double complex e = miss[k] - mean - slope * (l[k] - l_mean);
                double leverage = 1 / nn + (l[k] - l_mean) * (l[k] - l_mean) / spread;
                s->length_error_m[k] = leverage < 1 - 1e-9 ? creal(e * conj(s->g)) / (g2 * (1 - leverage)) : NAN;
        }
}

/* Weighted means over the good frequencies; g^2 weighs, because the noise of a phase is a length through g. */
static void lengths(const struct problem *p, const struct line_set *ln, const struct line_solution *solution, struct diagnosis *d)
{
        for (size_t k = 0; k < ln->n; k++) {
                double sum = 0, weight = 0, scatter = 0;
                size_t n = 0;
                for (int pass = 0; pass < 2; pass++)
                        for (size_t i = 0; i < p->axis->n; i++) {
                                const struct line_solution *s = &solution[i];
                                double w = creal(s->g) * creal(s->g) + cimag(s->g) * cimag(s->g), e = s->length_error_m[k];
                                if (!(s->nstd <= LINES_NSTD_LIMIT) || isnan(e))
                                        continue;
                                if (pass) {
                                        scatter += w * (e - sum / weight) * (e - sum / weight);
                                        continue;
                                }
                                sum += w * e;
                                weight += w;
                                n++;
                        }
                if (n < 2)
                        continue;
                double error = sum / weight, u = sqrt(scatter / weight / (double)(n - 1));
                d->line_length_error_m[ln->at[k]] = error;
                d->line_length_u_m[ln->at[k]] = u;
                if (fabs(error) > 5e-6 && fabs(error) > 5 * u)
                        diagnosis_warn(d,
                                       "%s looks %.1f um %s than told (%.6g um, standard error %.1f um; against the other lines, so that a "
                                       "common offset or scale is not seen): check its length or how it was touched",
                                       standard_name(&p->standards[ln->at[k]]), fabs(error) * 1e6, error > 0 ? "longer" : "shorter",
                                       p->standards[ln->at[k]].length_m * 1e6, u * 1e6);
        }
}

#define WINDOW 17 /* frequencies */
static void opinions(const struct problem *p, const struct line_solution *solution, struct diagnosis *d)
{
        size_t n = p->axis->n;
        double worst = 0, worst_hz = 0;
        for (size_t i = 0; i < n; i++) {
                double most = 0;
                for (int k = 0; k < 4; k++) {
                        double size = abs2(solution[i].second[k]);
                        if (!(size <= most))
                                most = size;
                }
                d->second_opinion[i] = sqrt(most);
        }
        for (size_t i = 0; i + WINDOW <= n; i += WINDOW / 2) {
                bool good = true;
                for (size_t j = i; j < i + WINDOW; j++)
                        good = good && solution[j].nstd <= LINES_NSTD_LIMIT && !isnan(d->second_opinion[j]);
                for (int k = 0; k < 4 && good; k++) {
                        double complex mean = 0;
                        double scatter = 0;
                        for (size_t j = i; j < i + WINDOW; j++) {
                                mean += solution[j].second[k] / WINDOW;
                                if (j < i + 2)
                                        continue;
                                double complex bend = solution[j].second[k] - 2 * solution[j - 1].second[k] + solution[j - 2].second[k];
                                scatter += (creal(bend) * creal(bend) + cimag(bend) * cimag(bend)) / (6 * (WINDOW - 2));
                        }
                        double size = sqrt(abs2(mean));
                        if (size > 5 * sqrt(scatter / WINDOW) && size > 1e-6 && size > worst) {
                                worst = size;
                                worst_hz = p->axis->hz[i + WINDOW / 2];
                        }
                }
        }
        if (worst > 0)
                diagnosis_warn(d,
                               "two ways to weigh the lines disagree by %.2g in corrected reflections around %.6g GHz, more than noise "
                               "explains: a probe moved between lines, or a line differs from the others",
                               worst, worst_hz / 1e9);
}

void lines_warn_quality(const struct problem *p, struct diagnosis *d)
{
        double reciprocity = 0, reciprocity_hz = 0, lowest = NAN, highest = NAN;
        bool worn = false;
        for (size_t i = 0; i < p->axis->n; i++) {
                double hz = p->axis->hz[i];
                if (d->reciprocity[i] > reciprocity) {
                        reciprocity = d->reciprocity[i];
                        reciprocity_hz = hz;
                }
                if (d->nstd[i] > LINES_NSTD_LIMIT) {
                        lowest = worn ? lowest : hz;
                        highest = hz;
                        worn = true;
                }
        }
        if (reciprocity > 0.01)
                diagnosis_warn(d, "corrected lines are not reciprocal: |S21 - S12| up to %.2g at %.6g GHz", reciprocity,
                               reciprocity_hz / 1e9);
        if (worn)
                diagnosis_warn(d,
                               "between %.4g and %.4g GHz the lines are short or half a wave apart somewhere: the normalised standard "
                               "deviation exceeds %.0f",
                               lowest / 1e9, highest / 1e9, LINES_NSTD_LIMIT);
}

void lines_warn_impedance(const struct problem *p, struct diagnosis *d)
{
        if (!(p->line_c_f_m > 0) && !(p->line_z_ohm > 0))
                diagnosis_warn(d, "results stay in the impedance of the line, which is not known: give its capacitance per metre (or its "
                                  "impedance) to have them in ohm");
}

void lines_diagnose(const struct problem *p, const struct line_set *ln, const struct line_solution *solution, struct diagnosis *d)
{
        for (size_t i = 0; i < p->axis->n; i++) {
                const struct line_solution *s = &solution[i];
                double hz = p->axis->hz[i], k = RF_C0_M_S / (RF_TWO_PI * hz);
                double complex eps = -(s->g * k) * (s->g * k), zc = line_impedance(p, hz, s->g);
                double complex turn = s->reflect * conj(s->estimate);
                d->condition[i] = 1 / sin(s->phase_eff_deg * RF_PI / 180);
                d->reciprocity[i] = s->reciprocity;
                d->gamma_re[i] = creal(s->g);
                d->gamma_im[i] = cimag(s->g);
                d->eps_re[i] = creal(eps);
                d->eps_im[i] = cimag(eps);
                d->loss_db_mm[i] = creal(s->g) * RF_DB_PER_NEPER / 1000;
                d->phase_eff_deg[i] = s->phase_eff_deg;
                d->nstd[i] = s->nstd;
                d->zc_re[i] = creal(zc);
                d->zc_im[i] = cimag(zc);
                d->reflect_re[i] = creal(s->reflect);
                d->reflect_im[i] = cimag(s->reflect);
                d->reflect_distance[i] = sqrt(abs2(s->reflect - s->estimate));
                d->reflect_angle_deg[i] = atan2(cimag(turn), creal(turn)) * 180 / RF_PI;
                d->common_line[i] = (double)s->common;
        }
        lines_warn_quality(p, d);
        opinions(p, solution, d);
        lines_warn_impedance(p, d);
        lengths(p, ln, solution, d);
}
