/* sweep.c: the frequency list of a sweep plan, and how long one two-port sweep takes. */
#include "recipe/recipe_own.h"
#include <math.h>

/* Both ends exact.  Linear points as (start (n-1-i) + stop i)/(n-1): exact whenever the frequencies are whole hertz below 2^53/n and
 * divide. */
static double point(const struct segment *s, int32_t i)
{
        int32_t last = s->points - 1;
        if (i == 0)
                return s->start_hz;
        if (i == last)
                return s->stop_hz;
        if (s->spacing == 1)
                return s->start_hz * pow(s->stop_hz / s->start_hz, (double)i / last);
        return (s->start_hz * (last - i) + s->stop_hz * i) / last;
}

enum code sweep_axis(const struct sweep_plan *plan, struct arena *arena, double **ret_hz, size_t *ret_n, struct tp_error *err)
{
        size_t room = 0, n = 0;
        for (size_t k = 0; k < plan->segment_n; k++)
                room += (size_t)plan->segments[k].points;
        double *hz = arena_take(arena, (room ? room : 1) * sizeof *hz);
        if (!hz)
                return tp_fail_memory(err);
        for (size_t k = 0; k < plan->segment_n; k++) {
                const struct segment *s = &plan->segments[k];
                for (int32_t i = 0; i < s->points; i++) {
                        double f = point(s, i);
                        if (n > 0 && f == hz[n - 1])
                                continue; /* the point two segments share */
                        if (!(n == 0 || f > hz[n - 1]))
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "sweep %s, segment %zu: %.15g Hz does not lie above the %.15g Hz before it; let start and "
                                               "stop rise from segment to segment",
                                               plan->name, k, f, hz[n - 1]);
                        hz[n++] = f;
                }
        }
        if (n == 0)
                return tp_fail(err, CODE_BAD_INPUT, "sweep %s has no frequency; give at least one segment", plan->name);
        *ret_hz = hz;
        *ret_n = n;
        return CODE_OK;
}

/* A broadband analyzer changes its source and receivers at these frequencies; each costs 40 ms in each direction. */
static int band_switches(double low_hz, double high_hz)
{
        static const double edges_hz[] = {54e9, 110e9, 145e9};
        int n = 0;
        for (size_t i = 0; i < sizeof edges_hz / sizeof edges_hz[0]; i++)
                n += low_hz < edges_hz[i] && edges_hz[i] < high_hz;
        return n;
}

double sweep_seconds(const struct sweep_plan *plan)
{
        double s = 0;
        for (size_t k = 0; k < plan->segment_n; k++) {
                const struct segment *g = &plan->segments[k];
                bool shared = k > 0 && g->start_hz == plan->segments[k - 1].stop_hz;
                s += 2 * (g->points - (shared ? 1 : 0)) * (1.2 / g->ifbw_hz * g->averages + 0.15e-3);
        }
        if (plan->segment_n)
                s += 2 * 0.040 * band_switches(plan->segments[0].start_hz, plan->segments[plan->segment_n - 1].stop_hz);
        return s;
}

bool axis_holds(const double *hz, size_t n, double x)
{
        size_t low = 0, high = n;
        while (low < high) {
                size_t middle = low + (high - low) / 2;
                if (hz[middle] < x * (1 - 1e-9))
                        low = middle + 1;
                else
                        high = middle;
        }
        return low < n && fabs(hz[low] - x) <= x * 1e-9;
}
