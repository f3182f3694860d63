/* capacitance.c: capacitance per metre from a DC resistance (capacitance.h). */
#include "rf/calibrate/lines/capacitance.h"
#include <math.h>

#define NSTD_LIMIT 3.0

/* The lowest decade whose calibration is good: indices [first, last), skipping bad ones inside is left to good(). */
static bool good(const double *nstd, size_t i) { return !nstd || nstd[i] <= NSTD_LIMIT; }
static size_t first_good(size_t n, const double *hz, const double *nstd)
{
        for (size_t i = 0; i < n; i++)
                if (hz[i] > 0 && good(nstd, i))
                        return i;
        return n;
}

static enum code judge(const struct rf_line_capacitance *c, struct rf_line_capacitance *ret, struct tp_error *err)
{
        if (!(c->c_f_m >= 1e-12 && c->c_f_m <= 1e-8))
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "the line's capacitance comes out as %.4g pF/m between %.4g and %.4g GHz, which no line has; check the DC "
                               "resistance, its unit, and the calibration there",
                               c->c_f_m * 1e12, c->lowest_hz / 1e9, c->highest_hz / 1e9);
        *ret = *c;
        return CODE_OK;
}

enum code rf_line_capacitance_from_load(size_t n, const double *hz, const double *gamma_re, const double *gamma_im, const double *load_re,
                                        const double *load_im, const double *nstd, double r_dc_ohm, struct rf_line_capacitance *ret,
                                        struct tp_error *err)
{
        if (!(r_dc_ohm > 0 && r_dc_ohm < 1e6))
                return tp_fail(err, CODE_BAD_INPUT, "a load of %.6g ohm DC is none; measure it with four wires", r_dc_ohm);
        size_t first = first_good(n, hz, nstd);
        if (first == n)
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "at none of %zu frequencies are the lines good (normalised standard deviation at most %.0f), so their "
                               "capacitance cannot be told; add a longer line",
                               n, NSTD_LIMIT);
        struct rf_line_capacitance c = {.lowest_hz = hz[first]};
        double complex sum = 0;
        double squares = 0;
        for (size_t i = first; i < n && hz[i] <= 10 * hz[first]; i++) {
                if (!good(nstd, i))
                        continue;
                double complex g = CMPLX(gamma_re[i], gamma_im[i]), r = CMPLX(load_re[i], load_im[i]);
                double complex y = g * (1 + r) / (CMPLX(0, RF_TWO_PI * hz[i] * r_dc_ohm) * (1 - r)); /* C - jG/w */
                sum += y;
                squares += creal(y) * creal(y);
                c.points++;
                c.highest_hz = hz[i];
        }
        double k = (double)c.points;
        c.c_f_m = creal(sum) / k;
        c.loss_tangent = -cimag(sum) / creal(sum);
        c.u_f_m = c.points > 1 ? sqrt(fmax(0, squares / k - c.c_f_m * c.c_f_m) / (k - 1)) : 0;
        return judge(&c, ret, err);
}

enum code rf_line_capacitance_from_line_resistance(size_t n, const double *hz, const double *gamma_re, const double *gamma_im,
                                                   const double *nstd, double r_dc_ohm_m, struct rf_line_capacitance *ret,
                                                   struct tp_error *err)
{
        if (!(r_dc_ohm_m > 0 && r_dc_ohm_m < 1e9))
                return tp_fail(err, CODE_BAD_INPUT, "a line of %.6g ohm per metre DC is none; measure two lengths with four wires",
                               r_dc_ohm_m);
        size_t first = first_good(n, hz, nstd);
        if (first == n)
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "at none of %zu frequencies are the lines good (normalised standard deviation at most %.0f), so their "
                               "capacitance cannot be told; add a longer line",
                               n, NSTD_LIMIT);
        struct rf_line_capacitance c = {.lowest_hz = hz[first], .loss_tangent = NAN};
        double mean_f = 0, mean_y = 0, ff = 0, fy = 0, rest = 0, slope = 0;
        for (int pass = 0; pass < 3; pass++) { /* means, slope, what is left */
                for (size_t i = first; i < n && hz[i] <= 10 * hz[first]; i++) {
                        if (!good(nstd, i))
                                continue;
                        double y = 2 * gamma_re[i] * gamma_im[i] / (RF_TWO_PI * hz[i] * r_dc_ohm_m), f = hz[i] / hz[first];
                        if (pass == 0) {
                                mean_f += f;
                                mean_y += y;
                                c.points++;
                                c.highest_hz = hz[i];
                        } else if (pass == 1) {
                                ff += (f - mean_f) * (f - mean_f);
                                fy += (f - mean_f) * (y - mean_y);
                        } else {
                                double off = y - mean_y - slope * (f - mean_f);
                                rest += off * off;
                        }
                }
                if (pass == 0) {
                        mean_f /= (double)c.points;
                        mean_y /= (double)c.points;
                } else if (pass == 1 && ff > 0) {
                        slope = fy / ff;
                }
        }
        double k = (double)c.points;
        c.c_f_m = mean_y - slope * mean_f;
        c.u_f_m = c.points > 2 ? sqrt(rest / (k - 2) * (1 / k + mean_f * mean_f / ff)) : 0;
        return judge(&c, ret, err);
}
