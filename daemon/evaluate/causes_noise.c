/* causes_noise.c: the receiver's noise in one number: by the scatter of the number itself over neighbouring points, or by the noise table,
   scaled by what the sweeps themselves show (causes_own.h). */
#include "evaluate/causes_own.h"
#include "rf/network/convert.h"
#include <math.h>
#include <string.h>

double cause_noise_of_device(const struct slope *k, double gain, bool floor, bool trace)
{
        const struct chain *ch = k->a->ch;
        const struct sweep_plan *plan = recipe_sweep(ch->q->recipe, ch->q->measure->sweep);
        double sum = 0;
        for (int p = 0; p < PART_COUNT; p++)
                for (int e = 0; e < 4 && ch->raw[p]; e++) {
                        double u = noise_scaled(plan, k->hz, chain_read_size(ch, k->i, k->at->s[p], e), floor ? k->floor_scale : 0,
                                                trace ? k->noise_scale : 0);
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
        other.noise_scale = k->noise_scale;
        other.floor_scale = k->floor_scale;
        double ratio = cause_noise_of_device(k, 1, true, true) / cause_noise_of_device(&other, 1, true, true);
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

enum { WINDOW = 9 };
/* What two entries of one part scatter by about their own cubics over the points around j.  false: these are too few, or too far apart. */
static bool scatter_seen(const struct chain *ch, int part, size_t j, const int entries[2], double ret[2])
{
        double re[2][WINDOW], im[2][WINDOW];
        if (!ch->raw[part] || ch->axis.n < WINDOW)
                return false;
        size_t begin = j < WINDOW / 2 ? 0 : j - WINDOW / 2;
        begin = begin + WINDOW > ch->axis.n ? ch->axis.n - WINDOW : begin;
        if (ch->axis.hz[begin + WINDOW - 1] > 10 * ch->axis.hz[begin] || ch->axis.hz[begin + WINDOW - 1] > ch->axis.hz[begin] + 10e9)
                return false;
        for (size_t m = 0; m < WINDOW; m++) {
                struct m2 s = tip_point(ch->of[part], ch->raw[part], begin + m, map_at(ch->map, begin + m));
                for (int e = 0; e < 2; e++) {
                        re[e][m] = creal(s.e[entries[e]]);
                        im[e][m] = cimag(s.e[entries[e]]);
                }
        }
        for (int e = 0; e < 2; e++)
                ret[e] = scatter_of(ch->axis.hz + begin, re[e], im[e], WINDOW, 1);
        return true;
}

/* How much more noise than by the table at k->hz there is, from what the sweeps themselves show near point j, whatever the device: S21 and
   S12 of a passive one differ by noise alone, its own and the thru's; and the reflection of a dummy (of the device, where there is none) is
   smooth over far more points than a number that is made of small differences.  Root of the mean square; *ret_freedom counts real numbers.
 */
static double trace_scale(const struct slope *k, size_t j, double *ret_freedom)
{
        enum { HALF = 6 };
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
                const int entries[2] = {0, 3};
                double scatter[2], nu = 2 * (WINDOW - 4);
                if (!scatter_seen(ch, p, j, entries, scatter))
                        continue;
                for (int port = 0; port < 2; port++) {
                        double seen = scatter[port];
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

/* The trace's noise, which is nearly all of what those scatter by, says nothing of the receivers' floor.  What an open lets through is next to
   nothing, and scatters by the floor; without one the floor is taken to be as much beside the table as the trace. */
void cause_noise_scale(struct slope *k, size_t j)
{
        const struct chain *ch = k->a->ch;
        const struct sweep_plan *plan = recipe_sweep(ch->q->recipe, ch->q->measure->sweep);
        const int through[2] = {1, 2};
        double seen[2], sum = 0;
        k->floor_scale = k->noise_scale = trace_scale(k, j, &k->noise_freedom);
        k->floor_freedom = k->noise_freedom;
        if (!scatter_seen(ch, PART_OPEN, j, through, seen))
                return;
        for (int e = 0; e < 2; e++) {
                double size = cabs(k->at->s[PART_OPEN].e[through[e]]), trace = noise_scaled(plan, k->hz, size, 0, k->noise_scale),
                       floor = noise_scaled(plan, k->hz, size, 1, 0);
                if (!(seen[e] >= 0) || trace > floor)
                        return; /* it lets through too much */
                sum += fmax(0, seen[e] * seen[e] - trace * trace) / (2 * floor * floor);
        }
        k->floor_scale = sqrt(sum);
        k->floor_freedom = 4 * (WINDOW - 4);
}

/* of_standards: what one unit of the table's noise in the standards makes; negative: by the closed forms. */
static void noise_by_table(const struct slope *k, double gain, double of_standards)
{
        double scale = k->noise_scale, freedom = k->noise_freedom;
        const struct chain *ch = k->a->ch;
        cause_add_of(k->to, SCOPE_READING, "noise", cause_noise_of_device(k, gain, false, true), freedom);
        cause_add_of(k->to, SCOPE_READING, "noise", cause_noise_of_device(k, gain, true, false), k->floor_freedom);
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
