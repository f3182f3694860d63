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

/* R C of the line at one frequency over its DC resistance: C (R/R_dc), G << wC. */
struct rising {
        size_t n;
        const double *hz, *gamma_re, *gamma_im, *nstd;
        double r_dc_ohm_m, reach_hz; /* points up to here take part */
        double c_f_m, slope, u_f_m;  /* C + slope f^2; u by scatter */
        size_t points;
        double highest_hz;
};

static void rising_fit(struct rising *r, size_t first)
{
        double k = 0, mean_x = 0, mean_y = 0, xx = 0, xy = 0, rest = 0;
        r->slope = 0;
        for (int pass = 0; pass < 3; pass++) { /* means, slope, what is left */
                for (size_t i = first; i < r->n && r->hz[i] <= r->reach_hz; i++) {
                        if (!good(r->nstd, i))
                                continue;
                        double y = 2 * r->gamma_re[i] * r->gamma_im[i] / (RF_TWO_PI * r->hz[i] * r->r_dc_ohm_m);
                        double x = pow(r->hz[i] / r->hz[first], 2), off = y - mean_y - r->slope * (x - mean_x);
                        k += pass == 0;
                        mean_x += pass == 0 ? (x - mean_x) / k : 0; /* running means: exact after the pass */
                        mean_y += pass == 0 ? (y - mean_y) / k : 0;
                        xx += pass == 1 ? (x - mean_x) * (x - mean_x) : 0;
                        xy += pass == 1 ? (x - mean_x) * (y - mean_y) : 0;
                        rest += pass == 2 ? off * off : 0;
                        r->highest_hz = r->hz[i];
                }
                if (pass == 1 && xx > 0)
                        r->slope = xy / xx;
        }
        r->points = (size_t)k;
        r->c_f_m = mean_y - r->slope * mean_x;
        r->u_f_m = k > 2 ? sqrt(rest / (k - 2) * (1 / k + mean_x * mean_x / xx)) : 0;
}

/* Over the frequencies where the resistance has risen by at most `share`, six points at least. */
static void rising_over(struct rising *r, size_t first, double share)
{
        size_t sixth = first;
        for (size_t i = first, have = 0; i < r->n && have < 6; i++) {
                have += good(r->nstd, i);
                sixth = i;
        }
        r->reach_hz = 10 * r->hz[first];
        for (int turn = 0; turn < 6; turn++) {
                rising_fit(r, first);
                if (!(r->slope > 0 && r->c_f_m > 0))
                        return;
                double reach = r->hz[first] * sqrt(share * r->c_f_m / r->slope);
                r->reach_hz = fmin(fmax(reach, r->hz[sixth]), 10 * r->hz[first]);
        }
        rising_fit(r, first);
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
        struct rising r = {.n = n, .hz = hz, .gamma_re = gamma_re, .gamma_im = gamma_im, .nstd = nstd, .r_dc_ohm_m = r_dc_ohm_m}, wide = r;
        rising_over(&r, first, 0.15);
        rising_over(&wide, first, 0.4);
        struct rf_line_capacitance c = {.c_f_m = r.c_f_m,
                                        .u_f_m = hypot(r.u_f_m, wide.c_f_m - r.c_f_m),
                                        .loss_tangent = NAN,
                                        .points = r.points,
                                        .lowest_hz = hz[first],
                                        .highest_hz = r.highest_hz};
        return judge(&c, ret, err);
}
