/* robust.c: see robust.h. */
#include "rf/numbers/robust.h"
#include <math.h>
#include <stdlib.h>

static int ascending(const void *a, const void *b)
{
        double x = *(const double *)a, y = *(const double *)b;
        return (x > y) - (x < y);
}

size_t rf_sort(size_t n, double *x)
{
        size_t m = 0;
        for (size_t i = 0; i < n; i++)
                if (!isnan(x[i]))
                        x[m++] = x[i];
        if (m > 1)
                qsort(x, m, sizeof *x, ascending);
        return m;
}

double rf_quantile(size_t n, const double *sorted, double p)
{
        if (n == 0 || !(p >= 0 && p <= 1))
                return NAN;
        double h = (double)(n - 1) * p;
        size_t i = (size_t)h;
        double part = h - (double)i;
        return part == 0 || sorted[i] == sorted[i + 1] ? sorted[i] : (1 - part) * sorted[i] + part * sorted[i + 1];
}

struct robust rf_robust(size_t n, const double *sorted, double *room)
{
        struct robust r = {n, rf_quantile(n, sorted, 0.5), rf_quantile(n, sorted, 0.25), rf_quantile(n, sorted, 0.75), NAN};
        if (n < 2)
                return r;
        double sum = 0;
        for (size_t i = 0; i < n; i++) {
                room[i] = fabs(sorted[i] - r.median);
                sum += room[i];
        }
        rf_sort(n, room);
        r.s = RF_OF_MEDIAN_DEVIATION * rf_quantile(n, room, 0.5);
        if (r.s == 0)
                r.s = sqrt(asin(1)) * sum / (double)n;
        return r;
}

bool rf_is_outlier(const struct robust *r, double x) { return r->n >= RF_OUTLIER_LEAST && fabs(x - r->median) > RF_OUTLIER_S * r->s; }
