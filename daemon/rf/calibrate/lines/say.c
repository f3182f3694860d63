/* say.c: solutions of line methods into the diagnosis (lines.h, calibration.h).
 * Opinions    Method of record and second opinion weigh the pairs differently.  Noise makes them differ at random from one frequency to the
 *             next; boxes that changed between lines (a probe that moved) make them differ smoothly.  Means over 17 frequencies are
 *             compared with the scatter of neighbours inside them; 5 standard errors count (common practice, no source). */
#include "rf/calibrate/lines/lines.h"
#include <math.h>
#include <stdio.h>

enum { RUNS_SAID = 3 };
#define LINE_LONGEST_M 0.01 /* longer ones do not fit on a substrate */

static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

double complex line_impedance(const struct problem *p, double hz, double complex g)
{
        if (p->line_c_f_m > 0)
                return g / (CMPLX(0, RF_TWO_PI * hz * p->line_c_f_m) * CMPLX(1, -p->line_loss_tangent));
        return p->line_z_ohm > 0 ? p->line_z_ohm : CMPLX(NAN, NAN);
}

#define WINDOW 17 /* frequencies */
static void opinions(const struct problem *p, const struct line_solution *solution, const struct line_judgement *judgement,
                     struct diagnosis *d)
{
        size_t n = p->axis->n;
        double worst = 0, worst_hz = 0;
        for (size_t i = 0; i + WINDOW <= n; i += WINDOW / 2) {
                bool good = true;
                for (size_t j = i; j < i + WINDOW; j++)
                        good = good && solution[j].nstd <= LINES_NSTD_LIMIT && !isnan(d->second_opinion[j]);
                for (int k = 0; k < 4 && good; k++) {
                        const double complex *second = judgement->second[k];
                        double complex mean = 0;
                        double scatter = 0;
                        for (size_t j = i; j < i + WINDOW; j++) {
                                mean += second[j] / WINDOW;
                                if (j < i + 2)
                                        continue;
                                double complex bend = second[j] - 2 * second[j - 1] + second[j - 2];
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

static double longest_difference_m(const struct problem *p, size_t *ret_lines)
{
        double shortest = INFINITY, longest = 0;
        *ret_lines = 0;
        for (size_t k = 0; k < p->standard_n; k++)
                if (p->standards[k].kind == RF_LINE) {
                        ++*ret_lines;
                        shortest = fmin(shortest, p->standards[k].length_m);
                        longest = fmax(longest, p->standards[k].length_m);
                }
        return longest - shortest;
}

/* One band where no pair of lines has an effective phase of 20 degrees: lines that are all short there, or half a wave apart. */
static void say_weak(const struct problem *p, size_t first, size_t last, struct diagnosis *d)
{
        char where[64], line[128] = "";
        size_t worst = first, n = p->axis->n, lines;
        const double *hz = p->axis->hz;
        for (size_t i = first; i <= last; i++)
                worst = d->nstd[i] > d->nstd[worst] ? i : worst;
        double eps = d->eps_re[last] >= 1 && d->eps_re[last] < 50 ? d->eps_re[last] : creal(p->eps_eff_guess);
        double wave_hz_m = RF_C0_M_S / sqrt(eps); /* wavelength times frequency */
        bool all_short = longest_difference_m(p, &lines) < wave_hz_m / hz[last] / 4;
        /* of short ones: down to an eighth of it, as one pair reaches (20 to 160 degrees), or to what the longest line can do */
        double to_hz = fmax(fmax(hz[first], hz[last] / 8), wave_hz_m / 18 / LINE_LONGEST_M);
        if (first == 0 && last + 1 == n)
                snprintf(where, sizeof where, "at all frequencies");
        else if (first == 0)
                snprintf(where, sizeof where, "up to %.4g GHz", hz[last] / 1e9);
        else if (first == last)
                snprintf(where, sizeof where, "at %.4g GHz", hz[last] / 1e9);
        else
                snprintf(where, sizeof where, "from %.4g to %.4g GHz", hz[first] / 1e9, hz[last] / 1e9);
        const char *word = lines == 2 ? " (multiline_trl takes three)" : "";
        if (!all_short)
                snprintf(line, sizeof line, "add a line about %.2g mm longer than the shortest%s",
                         wave_hz_m / ((hz[first] + hz[last]) / 2) / 4 * 1e3, word);
        else if (to_hz < 0.7 * hz[last])
                snprintf(line, sizeof line, ", or add a line %.2g mm longer than the shortest, good down to %.3g GHz%s",
                         wave_hz_m / 18 / to_hz * 1e3, to_hz / 1e9, word);
        diagnosis_warn(
                d, "%s no two lines differ by 20 degrees (%s): noise counts up to %.3g times what lines 90 degrees apart make of it; %s%s",
                where, all_short ? "all are short" : "they are half a wave apart", d->nstd[worst],
                all_short ? "use a lumped method there, in a band of its own (\"bands\")" : "", line);
}

void lines_warn_quality(const struct problem *p, struct diagnosis *d)
{
        double reciprocity = 0, reciprocity_hz = 0;
        size_t run[RUNS_SAID][2], runs = runs_above(p->axis->n, d->nstd, LINES_NSTD_LIMIT, RUNS_SAID, run);
        for (size_t i = 0; i < p->axis->n; i++)
                if (d->reciprocity[i] > reciprocity) {
                        reciprocity = d->reciprocity[i];
                        reciprocity_hz = p->axis->hz[i];
                }
        if (reciprocity > 0.01)
                diagnosis_warn(d, "corrected lines are not reciprocal: |S21 - S12| up to %.2g at %.6g GHz", reciprocity,
                               reciprocity_hz / 1e9);
        for (size_t k = 0; k < runs && k < RUNS_SAID; k++)
                say_weak(p, run[k][0], run[k][1], d);
        if (runs > RUNS_SAID)
                diagnosis_warn(d, "and in %zu more bands above no two lines differ enough: add a line of another length", runs - RUNS_SAID);
}

void lines_diagnose(const struct problem *p, const struct line_set *ln, const struct line_solution *solution,
                    const struct line_judgement *judgement, struct diagnosis *d)
{
        for (size_t i = 0; i < p->axis->n; i++) {
                const struct line_solution *s = &solution[i];
                double hz = p->axis->hz[i], k = RF_C0_M_S / (RF_TWO_PI * hz);
                double complex eps = -(s->g * k) * (s->g * k), zc = line_impedance(p, hz, s->g);
                double complex turn = s->reflect * conj(s->estimate);
                d->condition[i] = 1 / sin(s->phase_eff_deg * RF_PI / 180);
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
        opinions(p, solution, judgement, d);
        lines_warn_impedance(p, d);
        lines_judge_lengths(p, ln, solution, judgement, d);
}
