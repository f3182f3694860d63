/* told.c: which lengths, offset or eps_eff a plan tells that the readings of its lines contradict (lines.h).  For the sentence of a refusal:
 * nothing is changed by it.
 * Idea        At low frequencies each line less the first one is a phase below half a turn, and that phase over frequency is its delay,
 *             whatever is believed of lengths and permittivity: cosh x = trace(T_k T_0^{-1})/2.  Delays go with lengths.  If they do not,
 *             and do with two lengths exchanged, those are exchanged; if they do by another factor than sqrt(eps_eff)/c, eps_eff is wrong.
 *             With two lines only the product is seen.  A first guess of eps_eff may be far off before it does harm.
 * Turn        a root of another turn is wrong in its size and right in how it grows: beta/w and d beta/dw are nearly one slowness on any
 *             line whose loss is small, wherever the sweep begins.
 * Offset      reflect over estimate turns by -2 beta times what the offset is wrong by: fitted over the frequencies that are trusted. */
#include "rf/calibrate/lines/lines.h"
#include "rf/numbers/robust.h"
#include <math.h>
#include <stdio.h>

#define EPS_MOST 20.0 /* up to here a phase is taken as less than half a turn */
#define FITS 0.05     /* of the longest delay: lengths as told */
#define EPS_APART 2.5 /* guess over found: a start that is nearer does no harm */
#define DELAYS_SPREAD 0.3
#define SLOWNESS_APART 1.25 /* dispersion of lines on wafers makes less */
enum { DELAYS_LEAST = 3, DELAYS_MOST = 64, SLOPES_LEAST = 5, SLOPES_MOST = 33 };

/* Delay of line k of the set beyond the first, sign not told, s; NaN: cannot be seen. */
static double delay_of(const struct problem *p, const struct line_set *ln, size_t k, double longest_m)
{
        double delay[DELAYS_MOST], turn_hz_m = RF_C0_M_S / sqrt(EPS_MOST), top_hz = 0.4 * turn_hz_m / longest_m;
        size_t n = 0;
        for (size_t i = 0; i < p->axis->n && p->axis->hz[i] <= top_hz && n < DELAYS_MOST; i++) {
                struct point at;
                struct m2 t_k, t_0;
                if (p->axis->hz[i] < top_hz / 16) /* too short to be seen */
                        continue;
                point_load_as_read(p, i, &at);
                if (!line_t(&at, ln->at[k], &t_k) || !line_t(&at, ln->at[0], &t_0))
                        continue;
                struct m2 q = m2_mul(t_k, m2_inv(t_0));
                double phase = fabs(cimag(cacosh((q.e[0] + q.e[3]) / (2 * csqrt(m2_det(q))))));
                if (phase >
                    RF_PI / 2) /* the root of det may have the other sign: e^{x} and -e^{x} are not told apart, and phases are small */
                        phase = RF_PI - phase;
                delay[n++] = phase / (RF_TWO_PI * p->axis->hz[i]);
        }
        if (n < DELAYS_LEAST)
                return NAN;
        rf_sort(n, delay); /* a line so much longer than told that its phase turns over has no one delay */
        double middle = rf_quantile(n, delay, 0.5);
        return rf_quantile(n, delay, 0.75) - rf_quantile(n, delay, 0.25) < DELAYS_SPREAD * middle ? middle : NAN;
}

/* How badly delays go with lengths: the largest distance from s |length - first|, of the longest delay.  *ret_s: by least squares. */
static double misfit(size_t n, const double *delay, const double *length, double *ret_s)
{
        double up = 0, down = 0, worst = 0, longest = 0;
        for (size_t k = 1; k < n; k++) {
                double l = fabs(length[k] - length[0]);
                up += delay[k] * l;
                down += l * l;
                longest = fmax(longest, delay[k]);
        }
        *ret_s = down > 0 ? up / down : NAN;
        for (size_t k = 1; k < n; k++)
                worst = fmax(worst, fabs(delay[k] - *ret_s * fabs(length[k] - length[0])));
        return worst / longest;
}

void lines_told(const struct problem *p, const struct line_set *ln, char ret[LINES_TOLD])
{
        double delay[RF_STANDARD_MAX] = {0}, length[RF_STANDARD_MAX] = {0}, longest = 0, s, least = INFINITY,
               guess = creal(p->eps_eff_guess);
        size_t one = 0, two = 0, n = ln->n;
        ret[0] = 0;
        for (size_t k = 0; k < n; k++) {
                length[k] = p->standards[ln->at[k]].length_m;
                for (size_t j = 0; j < k; j++)
                        longest = fmax(longest, fabs(length[k] - length[j]));
        }
        for (size_t k = 1; k < n; k++)
                if (isnan(delay[k] = delay_of(p, ln, k, longest)))
                        return;
        double told = misfit(n, delay, length, &s), eps = s * RF_C0_M_S * s * RF_C0_M_S;
        for (size_t a = 0; a < n; a++)
                for (size_t b = a + 1; b < n; b++) {
                        double other[RF_STANDARD_MAX], s_other;
                        for (size_t k = 0; k < n; k++)
                                other[k] = length[k == a ? b : k == b ? a : k];
                        double now = misfit(n, delay, other, &s_other);
                        if (now < least) {
                                least = now;
                                one = a;
                                two = b;
                        }
                }
        if (n > 2 && told > FITS && least < FITS && least < told / 3)
                snprintf(ret, LINES_TOLD, "by their phases the lengths of %s and %s are exchanged (told %.6g and %.6g um)",
                         standard_name(&p->standards[ln->at[one]]), standard_name(&p->standards[ln->at[two]]), length[one] * 1e6,
                         length[two] * 1e6);
        else if (n > 2 && told > FITS)
                snprintf(ret, LINES_TOLD, "the phases of the lines do not go with the lengths that are told (%.2g of the longest)", told);
        else if (eps > EPS_APART * guess || eps < guess / EPS_APART)
                snprintf(ret, LINES_TOLD, "the lines' phases say eps_eff near %.2g, and %.3g was told%s", eps, guess,
                         n > 2 ? "" : ", or a length is wrong");
}

/* Slowness by size and by slope at up to SLOPES_MOST frequencies, from where the line is no longer one of loss; slopes over a tenth of the
   frequency, so that noise stands for little. */
static size_t slownesses(const struct axis *axis, const struct diagnosis *d, double size[SLOPES_MOST], double slope[SLOPES_MOST])
{
        size_t n = 0, step = axis->n / SLOPES_MOST + 1;
        for (size_t i = 0, k = 0; i < axis->n && n < SLOPES_MOST; i += step) {
                while (k < axis->n && axis->hz[k] < 1.1 * axis->hz[i])
                        k++;
                if (k == axis->n)
                        break;
                if (!(fabs(d->gamma_re[i]) < 0.2 * fabs(d->gamma_im[i])))
                        continue;
                double dw = RF_TWO_PI * (axis->hz[k] - axis->hz[i]), mean = (axis->hz[k] + axis->hz[i]) / 2;
                size[n] = (d->gamma_im[k] + d->gamma_im[i]) / 2 / (RF_TWO_PI * mean);
                slope[n++] = (d->gamma_im[k] - d->gamma_im[i]) / dw;
        }
        return n;
}

static double eps_of(double slowness_s_m) { return slowness_s_m * fabs(slowness_s_m) * RF_C0_M_S * RF_C0_M_S; }

void lines_turn_told(const struct problem *p, const struct diagnosis *d, char ret[LINES_TOLD])
{
        double size[SLOPES_MOST], slope[SLOPES_MOST];
        size_t n = slownesses(p->axis, d, size, slope);
        ret[0] = 0;
        if (n < SLOPES_LEAST)
                return;
        rf_sort(n, size);
        rf_sort(n, slope);
        double is = rf_quantile(n, size, 0.5), grows = rf_quantile(n, slope, 0.5);
        if (!(is < SLOWNESS_APART * grows && grows < SLOWNESS_APART * is))
                snprintf(ret, LINES_TOLD,
                         "gamma is of another turn: it says eps_eff %.3g, but grows with frequency as %.3g does (eps_eff %.3g was told)",
                         eps_of(is), eps_of(grows), creal(p->eps_eff_guess));
}

double lines_offset_fit_m(const struct diagnosis *d, const double complex *ratio, const bool *trusted, size_t start, double *ret_left_deg)
{
        double up = 0, down = 0, worst = 0;
        for (int round = 0; round < 2; round++)
                for (int way = -1; way <= 1; way += 2) {
                        double complex before = ratio[start];
                        double angle = carg(before);
                        for (size_t i = start; i < d->axis->n; i += (size_t)way) { /* below 0 it wraps round, and ends */
                                angle += carg(ratio[i] * conj(before));
                                before = ratio[i];
                                double turn = -2 * d->gamma_im[i];
                                if (!trusted[i])
                                        continue;
                                if (round == 0) {
                                        up += angle * turn;
                                        down += turn * turn;
                                } else {
                                        worst = fmax(worst, fabs(angle - up / down * turn));
                                }
                        }
                }
        *ret_left_deg = worst * 180 / RF_PI;
        return up / down;
}
