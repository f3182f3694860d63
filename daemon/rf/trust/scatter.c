/* scatter.c: third differences of a sweep (scatter.h).
 * Noise       |d|^2 of a third difference of white noise has the median 40 u^2 ln 2 (two components of 20 u^2 each), which a few outliers
 *             do not move.
 * Or a curve  white noise: the third differences correlate by -0.75 with the next, -0.05 with the third after.  A turn of phi a point:
 *             cos phi, and 1 in size with any.  Below -0.6 phi is more than 127 degrees, and the differences are more than the curve itself:
 *             so a small scatter is noise by the first alone, a large one by the second too. */
#include "rf/trust/scatter.h"
#include "rf/numbers/robust.h"
#include <math.h>

enum { STEP = 4, POINTS_LEAST = 8, LATER = 3 };

static double complex at(const struct net2 *net, int e, size_t i) { return CMPLX(net->re[e][i], net->im[e][i]); }
static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }
static double complex third(const struct net2 *net, int e, size_t i)
{
        return at(net, e, i + 3) - 3 * at(net, e, i + 2) + 3 * at(net, e, i + 1) - at(net, e, i);
}

double rf_scatter_in(const struct net2 *net, int e, size_t from, size_t width)
{
        double size[RF_SCATTER_WINDOW];
        for (size_t k = 0; k < width; k++)
                size[k] = abs2(third(net, e, from + k));
        return sqrt(rf_quantile(rf_sort(width, size), size, 0.5) / (40 * log(2)));
}

size_t rf_scatter_window(size_t n, size_t i, size_t *ret_from)
{
        size_t all = n - 3, width = all < RF_SCATTER_WINDOW ? all : RF_SCATTER_WINDOW, from = i > width / 2 + 1 ? i - width / 2 - 1 : 0;
        *ret_from = from + width > all ? all - width : from;
        return width;
}

bool rf_scatter_is_noise(const struct net2 *net, int e, size_t from, size_t width)
{
        double power = 0, squares = 0, next = 0;
        double complex later = 0;
        for (size_t k = from; k < from + width; k++) {
                power += abs2(at(net, e, k));
                squares += abs2(third(net, e, k));
                next += k + 1 < from + width ? creal(third(net, e, k + 1) * conj(third(net, e, k))) : 0;
                later += k + LATER < from + width ? third(net, e, k + LATER) * conj(third(net, e, k)) : 0;
        }
        if (!(squares > 0) || !(next / (double)(width - 1) < -0.6 * squares / (double)width))
                return false;
        return squares < 40 * 0.04 * power || cabs(later) / (double)(width - LATER) < 0.7 * squares / (double)width;
}

void rf_noise_of(const struct net2 *net, double *u)
{
        size_t n = net->axis->n;
        for (size_t i = 0; i < n; i += STEP) {
                double most = 0;
                size_t from, width = n >= POINTS_LEAST ? rf_scatter_window(n, i, &from) : 0;
                for (int e = 0; e < 4 && width; e++)
                        most = fmax(most, rf_scatter_in(net, e, from, width));
                for (size_t k = i; k < i + STEP && k < n; k++)
                        u[k] = most;
        }
}

void rf_scatter_of(const struct net2 *net, int e, double *u)
{
        size_t n = net->axis->n;
        for (size_t i = 0; i < n; i += STEP) {
                size_t from, width = n >= RF_SCATTER_WINDOW + 3 ? rf_scatter_window(n, i, &from) : 0;
                double here = width && rf_scatter_is_noise(net, e, from, width) ? rf_scatter_in(net, e, from, width) : 0;
                for (size_t k = i; k < i + STEP && k < n; k++)
                        u[k] = here;
        }
}

enum code rf_unstated_causes(const struct net2 *net, struct arena *arena, struct net2_causes *ret, struct tp_error *err)
{
        static const char *const names[4] = {"scatter of S11", "scatter of S12", "scatter of S21", "scatter of S22"};
        size_t n = net->axis->n;
        struct net2_cause *of = arena_take(arena, 4 * sizeof *of);
        double *columns = arena_take(arena, 5 * n * sizeof *columns);
        if (!of || !columns)
                return tp_fail_memory(err);
        double *zero = columns + 4 * n;
        for (size_t i = 0; i < n; i++)
                zero[i] = 0;
        for (int e = 0; e < 4; e++) {
                double *u = columns + (size_t)e * n;
                of[e] = (struct net2_cause){.about = {.name = names[e], .kind = CAUSE_OF_NOISE, .freedom = INFINITY}};
                of[e].re[e] = u;
                of[e].im[e] = zero;
                rf_scatter_of(net, e, u);
                for (size_t i = 0; i < n; i++)
                        u[i] = fmax(u[i], hypot(RF_BEST_FLOOR, RF_BEST_TRACE * cabs(at(net, e, i))));
        }
        *ret = (struct net2_causes){.axis = net->axis, .n = 4, .of = of};
        return CODE_OK;
}
