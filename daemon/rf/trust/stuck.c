/* stuck.c: sweeps that are none, and receivers that stood still for a while (outliers.h).
 * Problem     a point out of line has neighbours that are in line; where a receiver stands still, or nothing is read, for several points, none
 *             has.
 * Idea        measured numbers have noise: two neighbours of one entry that are alike to the last digit are one reading that was copied.  A
 *             file of few digits has such pairs wherever the curve is slow, so a run counts only where there is no other pair around it.
 *             Exact zeros in all entries that have anything else are no ratios. */
#include "rf/trust/outliers.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { RUN_LEAST = 4, CLEAR = 10 };

static bool is_alike(const struct netn *net, unsigned e, size_t i, size_t k)
{
        return !memcmp(&net->re[e][i], &net->re[e][k], sizeof(double)) && !memcmp(&net->im[e][i], &net->im[e][k], sizeof(double));
}
static bool is_zero(const struct netn *net, unsigned e, size_t i) { return !(fabs(net->re[e][i]) > 0) && !(fabs(net->im[e][i]) > 0); }

bool rf_is_a_sweep_ports(const struct netn *net, char *why, size_t bytes)
{
        size_t n = net->axis->n;
        bool zero = n > 0, same = n >= 8;
        for (unsigned e = 0; e < net->ports * net->ports; e++)
                for (size_t i = 0; i < n; i++) {
                        zero = zero && is_zero(net, e, i);
                        same = same && is_alike(net, e, i, 0);
                }
        if (zero)
                snprintf(why, bytes, "all S are 0 at all %zu frequencies: nothing was read", n);
        else if (same)
                snprintf(why, bytes,
                         "all S are the same at all %zu frequencies, to the last digit: one reading that was copied, or a receiver "
                         "that stands still",
                         n);
        return !zero && !same;
}

bool rf_is_a_sweep(const struct net2 *net, char *why, size_t bytes)
{
        struct netn view = netn_of_two(net);
        return rf_is_a_sweep_ports(&view, why, bytes);
}

/* How many points from i on are alike, where no other two neighbours are among those around; 1: none. */
static size_t run_at(const struct netn *net, unsigned e, size_t i)
{
        size_t n = net->axis->n, end = i + 1;
        while (end < n && is_alike(net, e, end, i))
                end++;
        if (end - i < RUN_LEAST)
                return 1;
        for (size_t k = i > CLEAR ? i - CLEAR : 1; k + 1 < i; k++)
                if (is_alike(net, e, k, k - 1))
                        return 1;
        for (size_t k = end + 1; k < n && k < end + CLEAR; k++)
                if (is_alike(net, e, k, k - 1))
                        return 1;
        return end - i;
}

/* Of the points where all entries that have anything are 0: how many, and the first. */
static size_t zeros(const struct netn *net, size_t *ret_first)
{
        bool live[RF_ENTRIES_MAX] = {false};
        size_t found = 0, n = net->axis->n;
        for (unsigned e = 0; e < net->ports * net->ports; e++)
                for (size_t i = 0; i < n; i++)
                        live[e] = live[e] || !is_zero(net, e, i);
        for (size_t i = 0; i < n; i++) {
                bool zero = net->axis->hz[i] > 0; /* at DC an ideal match is 0 */
                for (unsigned e = 0; e < net->ports * net->ports; e++)
                        zero = zero && (!live[e] || is_zero(net, e, i));
                if (zero && found++ == 0)
                        *ret_first = i;
        }
        return found;
}

bool rf_stands_still(const struct netn *net, char *why, size_t bytes)
{
        size_t n = net->axis->n, first = 0, none = zeros(net, &first), longest = 0, at = 0, runs = 0;
        unsigned ports = net->ports, worst = 0;
        for (unsigned e = 0; e < ports * ports; e++)
                for (size_t i = 0, step; i < n; i += step) {
                        step = run_at(net, e, i);
                        runs += step > 1;
                        if (step > 1 && step > longest) {
                                longest = step;
                                at = i;
                                worst = e;
                        }
                }
        if (none && 2 * none < n)
                snprintf(why, bytes, "all S are 0 at %zu of %zu frequencies, the first %.6g GHz: nothing was read there; sweep again", none,
                         n, net->axis->hz[first] / 1e9);
        else if (longest && 2 * longest < n)
                snprintf(why, bytes,
                         "S%u%u is the same to the last digit at %zu points from %.6g to %.6g GHz%s: a receiver stood still, or one "
                         "reading was "
                         "copied; sweep again",
                         worst / ports + 1, worst % ports + 1, longest, net->axis->hz[at] / 1e9, net->axis->hz[at + longest - 1] / 1e9,
                         runs > 1 ? ", and there is more of it" : "");
        else
                return false;
        return true;
}

enum code rf_values_check(const struct axis *axis, unsigned ports, double *const *re, double *const *im, bool raw, struct tp_error *err)
{
        for (unsigned e = 0; e < ports * ports; e++)
                for (size_t i = 0; i < axis->n; i++) {
                        double larger = fmax(fabs(re[e][i]), fabs(im[e][i])), size = hypot(re[e][i], im[e][i]);
                        if (larger > 9.89e37 && larger < 9.92e37)
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "S%u%u at %.9g Hz is %.4g, which instruments write where they have no number (SCPI-1999, "
                                               "7.2.1.5); sweep again",
                                               e / ports + 1, e % ports + 1, axis->hz[i], larger);
                        if (raw && !(size <= RF_RAW_MAX))
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "S%u%u at %.9g Hz is %.4g in size; no analyzer reads a ratio above %g: sweep again, or look "
                                               "at the file's units",
                                               e / ports + 1, e % ports + 1, axis->hz[i], size, RF_RAW_MAX);
                }
        return CODE_OK;
}
