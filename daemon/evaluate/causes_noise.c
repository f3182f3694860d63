/* causes_noise.c: the receiver's noise in one number: by the scatter of the number itself over neighbouring points, or by the noise table,
   scaled by what the sweeps themselves show (causes_own.h). */
#include "evaluate/causes_own.h"
#include "rf/network/convert.h"
#include <math.h>
#include <string.h>

double cause_noise_of_device(const struct slope *k, double gain)
{
        const struct chain *ch = k->a->ch;
        const struct sweep_plan *plan = recipe_sweep(ch->q->recipe, ch->q->measure->sweep);
        double sum = 0;
        for (int p = 0; p < PART_COUNT; p++)
                for (int e = 0; e < 4 && ch->raw[p]; e++) {
                        double u = noise_of(plan, k->hz, chain_read_size(ch, k->i, k->at->s[p], e));
                        double re = slope_value(k, k->d[p][e] * u), im = slope_value(k, k->d[p][e] * CMPLX(0, u));
                        sum += re * re + im * im;
                }
        return sqrt(sum * gain);
}

/* At an end of the sweep the window lies to one side, and noise is not alike over it: the number's at k over that of point m, by the table.
 */
static double noise_ratio(const struct slope *k, size_t m)
{
        struct asked a = *k->a;
        struct trio t = chain_point(k->a->ch, m);
        a.hz = k->a->ch->axis.hz[m];
        a.near = asked_near(k->a, a.hz);
        struct slope other = {.a = &a, .hz = a.hz, .w = RF_TWO_PI * a.hz, .i = map_at(k->a->ch->map, m), .part = 1, .at = &t};
        slope_take(&other);
        double ratio = cause_noise_of_device(k, 1) / cause_noise_of_device(&other, 1);
        return ratio > 1 ? ratio : 1; /* NaN: nothing is known */
}

/* Scatter of the number over the nearest points about its own cubic; NaN where they are too few or too far apart.  Nine points if they span
   less than a factor 1.6, more for a scatter that is itself known better: thirteen within 1.4, seventeen within 1.25. */
double cause_noise_by_data(const struct slope *k, size_t j, double gain, double *ret_freedom)
{
        enum { LEAST = 9, MIDDLE = 13, MOST = 17, COEFFICIENTS = 4 };
        const struct chain *ch = k->a->ch;
        size_t window = MOST, from = 0;
        for (; window >= LEAST; window -= 2) {
                if (ch->axis.n < window)
                        continue;
                from = j < window / 2 ? 0 : j - window / 2;
                from = from + window > ch->axis.n ? ch->axis.n - window : from;
                if (ch->axis.hz[from + window - 1] < (window == LEAST ? 1.6 : window <= MIDDLE ? 1.4 : 1.25) * ch->axis.hz[from])
                        break;
        }
        if (window < LEAST)
                return NAN;
        double q[MOST], hz[MOST];
        struct asked a = *k->a;
        size_t n = 0;
        for (size_t m = 0; m < window; m++) {
                if (from + m == j && fabs(ch->axis.hz[j] / k->hz - 1) < 1e-12) /* its own error must not widen its own interval */
                        continue;
                struct trio t = chain_point(ch, from + m);
                hz[n] = a.hz = ch->axis.hz[from + m];
                a.near = asked_near(k->a, a.hz);
                q[n] = asked_value(&a, asked_z(&a, &t));
                if (!isfinite(q[n++]))
                        return NAN;
        }
        *ret_freedom = (double)(n - COEFFICIENTS);
        size_t centre = from + window / 2;
        return scatter_of(hz, q, NULL, n, 1) * sqrt(gain) * (centre == j ? 1 : noise_ratio(k, centre));
}

/* How much more noise than by the table at k->hz there is, from what the sweeps themselves show near point j, whatever the device: S21 and
   S12 of a passive one differ by noise alone, its own and the thru's; and the reflection of a dummy (of the device, where there is none) is
   smooth over far more points than a number that is made of small differences.  Root of the mean square; *ret_freedom counts real numbers.
 */
double cause_noise_scale(const struct slope *k, size_t j, double *ret_freedom)
{
        enum { HALF = 6, WINDOW = 9 };
        const struct chain *ch = k->a->ch;
        const struct recipe *r = ch->q->recipe;
        const struct sweep_plan *plan = recipe_sweep(r, ch->q->measure->sweep), *cal = recipe_sweep(r, r->calibration.sweep);
        double sum = 0, count = 0;
        size_t from = j < HALF ? 0 : j - HALF, to = j + HALF < ch->axis.n ? j + HALF : ch->axis.n - 1;
        for (size_t m = from; m <= to && ch->device_kind != DEVICE_TRANSISTOR; m++) {
                double hz = ch->axis.hz[m];
                if (hz < k->hz / 10 || hz > k->hz * 10 || !noise_alike(plan, hz, k->hz))
                        continue;
                struct m2 s = tip_point(ch->cal, ch->raw[PART_DEVICE], m, map_at(ch->map, m));
                double size = (cabs(s.e[1]) + cabs(s.e[2])) / 2, d = cabs(s.e[2] - s.e[1]), own = noise_of(plan, k->hz, size),
                       thru = size * noise_of(cal, k->hz, 1);
                sum += d * d / (2 * (own * own + thru * thru));
                count += 2;
        }
        for (int p = ch->raw[PART_OPEN] ? PART_OPEN : PART_DEVICE; p < PART_COUNT; p++) {
                if (!ch->raw[p] || ch->axis.n < WINDOW)
                        continue;
                double re[2][WINDOW], im[2][WINDOW];
                size_t begin = j < WINDOW / 2 ? 0 : j - WINDOW / 2;
                begin = begin + WINDOW > ch->axis.n ? ch->axis.n - WINDOW : begin;
                if (ch->axis.hz[begin + WINDOW - 1] > 10 * ch->axis.hz[begin] ||
                    ch->axis.hz[begin + WINDOW - 1] > ch->axis.hz[begin] + 10e9)
                        continue;
                for (size_t m = 0; m < WINDOW; m++) {
                        struct m2 s = tip_point(ch->of[p], ch->raw[p], begin + m, map_at(ch->map, begin + m));
                        for (int port = 0; port < 2; port++) {
                                re[port][m] = creal(s.e[3 * port]);
                                im[port][m] = cimag(s.e[3 * port]);
                        }
                }
                for (int port = 0; port < 2; port++) {
                        double seen = scatter_of(ch->axis.hz + begin, re[port], im[port], WINDOW, 1), nu = 2 * (WINDOW - 4);
                        double size = chain_read_size(ch, k->i, k->at->s[p], 3 * port), own = noise_of(plan, k->hz, size),
                               standard = noise_of(cal, k->hz, size); /* of a standard that is much like it */
                        sum += nu * seen * seen / (own * own + standard * standard);
                        count += nu;
                }
                if (p == PART_DEVICE)
                        break;
        }
        *ret_freedom = count;
        if (count >= 8)
                return sqrt(sum / count);
        *ret_freedom = INFINITY;
        return 1;
}

/* of_standards: what one unit of the table's noise in the standards makes; negative: by the closed forms. */
static void noise_by_table(const struct slope *k, double gain, double of_standards)
{
        double scale = k->noise_scale, freedom = k->noise_freedom;
        const struct chain *ch = k->a->ch;
        cause_add_of(k->to, SCOPE_READING, "noise", scale * cause_noise_of_device(k, gain), freedom);
        if (of_standards >= 0) {
                cause_add(k->to, "noise of standards", scale * of_standards * sqrt(gain), freedom);
                return;
        }
        struct ideal_cause base;
        if (!cause_ideals(k, &base))
                return;
        base.thru = m2_of(0, 1, 1, 0);
        const struct sweep_plan *plan = recipe_sweep(ch->q->recipe, ch->q->recipe->calibration.sweep);
        double sum = 0;
        for (int port = 0; port < 2; port++)
                for (int m = 0; m < 3; m++)
                        for (int part = 0; part < 2; part++) {
                                struct ideal_cause c = base;
                                double size = chain_read_size(ch, k->i, m2_diag(base.gamma[0][m], base.gamma[1][m]), 3 * port);
                                c.d_gamma[port][m] = noise_of(plan, k->hz, size) * (part ? CMPLX(0, 1) : 1);
                                double one = cause_common_change(k, cause_ideal_mover, &c);
                                sum += one * one;
                        }
        cause_add(k->to, "noise of standards", scale * sqrt(sum * gain), freedom);
}

/* There are too few points, or the number is so bent in the noise that its scatter says little: by the table.  But a part of z itself is
   straight however noisy, and where its scatter shows more than the table foretells, the scatter is right. */
void cause_noise_of_bent(struct slope *k, double by_data, double freedom, double gain, double of_standards)
{
        struct cause_list table = {0}, *to = k->to;
        double by_table = 0;
        k->to = &table;
        noise_by_table(k, gain, of_standards);
        k->to = to;
        for (size_t m = 0; m < table.n; m++)
                by_table += table.dq[m] * table.dq[m];
        bool straight = k->a->quantity == QUANTITY_L || k->a->quantity == QUANTITY_R;
        if (straight && isfinite(by_data) && by_data * by_data > by_table)
                cause_add_of(to, SCOPE_READING, "noise", by_data, freedom);
        else
                for (size_t m = 0; m < table.n; m++)
                        cause_add_of(to, table.scope[m], table.name[m], table.dq[m], table.nu[m]);
}
