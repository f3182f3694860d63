/* impedance.c: the impedance that is believed of the lines, against what their propagation says of it (lines.h).
 * Problem     Results come in ohm by one number that no reading contradicts: a capacitance in the wrong unit, or a real impedance for lines
 *             whose loss makes it complex, moves every result and leaves no residual.
 * Size        gamma/(jwC) of a line on a wafer or substrate lies within 10 to 300 ohm (common practice, no source).
 * Loss        where the conductors' loss counts, Zc = Z (1 - j alpha/beta) with Z = beta/(wC): a real impedance misses by alpha/beta.
 * Dielectric  gamma Zc is the lines' series impedance, and no conductor has a negative resistance: a loss tangent that says so is wrong. */
#include "rf/calibrate/lines/lines.h"
#include "rf/calibrate/reflect_size.h"
#include <math.h>

#define Z_LEAST_OHM 10.0
#define Z_MOST_OHM 300.0
#define REAL_MISSES 0.05   /* alpha/beta from which a real impedance is said to be none */
#define NEGATIVE_MOST 0.02 /* of the series impedance */
enum { LOSSY_POINTS = 3 }; /* fewer may be noise */

static bool heard(const struct diagnosis *d, size_t i)
{
        return d->nstd[i] <= LINES_NSTD_LIMIT && fabs(d->gamma_re[i]) < 0.2 * fabs(d->gamma_im[i]);
}

/* Most of the frequencies where the lines are heard: |Zc| outside, or a negative series resistance. */
static void of_capacitance(const struct problem *p, struct diagnosis *d)
{
        size_t n = 0, outside = 0, negative = 0, at = 0, at_negative = 0;
        for (size_t i = 0; i < p->axis->n; i++) {
                if (!heard(d, i))
                        continue;
                double complex series = CMPLX(d->gamma_re[i], d->gamma_im[i]) * CMPLX(d->zc_re[i], d->zc_im[i]);
                double z = hypot(d->zc_re[i], d->zc_im[i]);
                n++;
                if (!(z >= Z_LEAST_OHM && z <= Z_MOST_OHM)) {
                        outside++;
                        at = i;
                }
                if (creal(series) < -NEGATIVE_MOST * cabs(series)) {
                        negative++;
                        at_negative = i;
                }
        }
        if (2 * outside > n)
                diagnosis_warn(d,
                               "line_capacitance_f_m %.4g makes the lines ones of %.4g ohm at %.4g GHz, and lines on wafers have %.0f to "
                               "%.0f: it is in F/m (150 pF/m, or 1.5 pF/cm, is 1.5e-10); every result in ohm is wrong with it",
                               p->line_c_f_m, hypot(d->zc_re[at], d->zc_im[at]), p->axis->hz[at] / 1e9, Z_LEAST_OHM, Z_MOST_OHM);
        if (2 * negative > n) {
                double complex series =
                        CMPLX(d->gamma_re[at_negative], d->gamma_im[at_negative]) * CMPLX(d->zc_re[at_negative], d->zc_im[at_negative]);
                diagnosis_warn(d,
                               "line_loss_tangent %.4g is more than all loss of the lines: it leaves their conductors %.3g ohm/mm at %.4g "
                               "GHz; it is G/(wC) of the lines (near 0.001 on alumina, 0.004 on quartz or polymer)",
                               p->line_loss_tangent, creal(series) / 1e3, p->axis->hz[at_negative] / 1e9);
        }
}

static void of_real(const struct problem *p, struct diagnosis *d)
{
        size_t n = 0;
        if (!(p->line_z_ohm >= Z_LEAST_OHM && p->line_z_ohm <= Z_MOST_OHM))
                diagnosis_warn(d, "line_z_ohm is %.4g, and lines on wafers have %.0f to %.0f ohm; every result in ohm is wrong with it",
                               p->line_z_ohm, Z_LEAST_OHM, Z_MOST_OHM);
        while (n < p->axis->n && d->gamma_re[n] > REAL_MISSES * fabs(d->gamma_im[n]))
                n++;
        if (n < LOSSY_POINTS)
                return;
        diagnosis_warn(
                d,
                "line_z_ohm says a real impedance, and the loss of the lines makes it complex: up to %.4g GHz by more than %.0f %% "
                "(alpha/beta; %.0f %% at %.4g GHz), and every result in ohm is wrong by as much there; give line_capacitance_f_m, or "
                "use a lumped method there, in a band of its own (\"bands\")",
                p->axis->hz[n - 1] / 1e9, REAL_MISSES * 100, d->gamma_re[0] / fabs(d->gamma_im[0]) * 100, p->axis->hz[0] / 1e9);
}

void lines_warn_impedance(const struct problem *p, struct diagnosis *d)
{
        if (p->line_c_f_m > 0)
                of_capacitance(p, d);
        else if (p->line_z_ohm > 0)
                of_real(p, d);
        else
                diagnosis_warn(d, "results stay in the impedance of the line, which is not known: give its capacitance per metre (or its "
                                  "impedance) to have them in ohm");
        rf_reflect_size_warn(p, d);
}
