/* noise.c: receiver noise.
 * By table    u^2 = floor^2 + (trace |S|)^2 per component; floor grows with sqrt(IFBW / 10 Hz), trace with sqrt(IFBW / 1 kHz), both fall
 * with sqrt(averages). The rows are what broadband systems of this kind show at the probe tips, band by band; they are no data sheet, and
 * stand in only where the sweep itself cannot tell (too few points). By data     the scatter of neighbouring points about a local cubic:
 * what really was there. */
#include "evaluate/inside.h"
#include <math.h>

static const struct {
        double hz, floor_db, trace_db;
} rows[] = {
        {7e4, -95, 0.02},     {1e6, -105, 0.006},  {1e9, -115, 0.003}, {54e9, -110, 0.006},
        {110e9, -105, 0.010}, {145e9, -97, 0.014}, {220e9, -88, 0.02},
};
enum { ROWS = sizeof rows / sizeof rows[0] };
#define TRACE_LEAST 1e-4 /* of the reference oscillator: a narrower filter does not help */

static const struct segment *segment_of(const struct sweep_plan *plan, double hz)
{
        for (size_t k = 0; plan && k < plan->segment_n; k++)
                if (hz >= plan->segments[k].start_hz * (1 - 1e-9) && hz <= plan->segments[k].stop_hz * (1 + 1e-9))
                        return &plan->segments[k];
        return NULL;
}

bool noise_alike(const struct sweep_plan *plan, double hz1, double hz2)
{
        const struct segment *a = segment_of(plan, hz1), *b = segment_of(plan, hz2);
        return a == b || (a && b && a->ifbw_hz == b->ifbw_hz && a->averages == b->averages);
}

double noise_scaled(const struct sweep_plan *plan, double hz, double magnitude, double floor_scale, double trace_scale)
{
        const struct segment *at = segment_of(plan, hz);
        double ifbw = at ? at->ifbw_hz : 1000, averages = at ? fmax(1, at->averages) : 1;
        size_t k = 1;
        while (k + 1 < ROWS && rows[k].hz < hz)
                k++;
        double x = fmin(1, fmax(0, log(hz / rows[k - 1].hz) / log(rows[k].hz / rows[k - 1].hz)));
        double floor_db = rows[k - 1].floor_db + x * (rows[k].floor_db - rows[k - 1].floor_db);
        double trace_db = rows[k - 1].trace_db * pow(rows[k].trace_db / rows[k - 1].trace_db, x);
        double nf = pow(10, floor_db / 20) * sqrt(ifbw / 10) / sqrt(2),
               nt = fmax((pow(10, trace_db / 20) - 1) * sqrt(ifbw / 1000), TRACE_LEAST);
        return hypot(floor_scale * nf, trace_scale * nt * magnitude) / sqrt(averages);
}

double noise_of(const struct sweep_plan *plan, double hz, double magnitude) { return noise_scaled(plan, hz, magnitude, 1, 1); }

/* Orthogonal polynomials of degree 0 to 3 on the given points: the residual is what is left after four projections. */
double scatter_of(const double *x, const double *re, const double *im, size_t n, size_t stride)
{
        if (n < 5)
                return NAN;
        n = n > 32 ? 32 : n;
        double p[4][32], centre = x[n / 2], scale = fabs(x[n - 1] - x[0]);
        for (size_t k = 0; k < 4; k++) {
                for (size_t j = 0; j < n; j++)
                        p[k][j] = k == 0 ? 1 : p[k - 1][j] * (x[j] - centre) / scale;
                for (size_t pass = 0; pass < 2; pass++) /* twice is enough (Kahan) */
                        for (size_t m = 0; m < k; m++) {
                                double dot = 0;
                                for (size_t j = 0; j < n; j++)
                                        dot += p[m][j] * p[k][j];
                                for (size_t j = 0; j < n; j++)
                                        p[k][j] -= dot * p[m][j];
                        }
                double norm = 0;
                for (size_t j = 0; j < n; j++)
                        norm += p[k][j] * p[k][j];
                for (size_t j = 0; j < n; j++)
                        p[k][j] /= sqrt(norm);
        }
        double sum = 0;
        for (int part = 0; part < (im ? 2 : 1); part++) {
                const double *y = part ? im : re;
                double r[32];
                for (size_t j = 0; j < n; j++)
                        r[j] = y[j * stride];
                for (size_t k = 0; k < 4; k++) {
                        double dot = 0;
                        for (size_t j = 0; j < n; j++)
                                dot += p[k][j] * r[j];
                        for (size_t j = 0; j < n; j++)
                                r[j] -= dot * p[k][j];
                }
                for (size_t j = 0; j < n; j++)
                        sum += r[j] * r[j];
        }
        return sqrt(sum / ((double)(n - 4) * (im ? 2 : 1)));
}
