/* plateau.c: where a gain falls by 20 dB a decade (plateau.h). */
#include "rf/extract/plateau.h"
#include <math.h>

#define REACH 1.3335214321633240 /* an eighth of a decade */

static double local_slope(size_t n, const double *hz, const double *y, size_t i)
{
        size_t a = i, b = i;
        if (!(y[i] > 0 && hz[i] > 0 && isfinite(y[i])))
                return NAN;
        while (a > 0 && hz[a - 1] * REACH >= hz[i] && y[a - 1] > 0 && isfinite(y[a - 1]))
                a--;
        while (b + 1 < n && hz[b + 1] <= hz[i] * REACH && y[b + 1] > 0 && isfinite(y[b + 1]))
                b++;
        if (b == a) { /* a sparse grid: its neighbours */
                a = i > 0 && y[i - 1] > 0 && hz[i - 1] > 0 ? i - 1 : i;
                b = i + 1 < n && y[i + 1] > 0 && isfinite(y[i + 1]) ? i + 1 : i;
        }
        double m = (double)(b - a + 1), sx = 0, sy = 0, sxx = 0, sxy = 0;
        for (size_t k = a; k <= b; k++) {
                double u = log(hz[k] / hz[i]), v = log(y[k] / y[i]);
                sx += u;
                sy += v;
                sxx += u * u;
                sxy += u * v;
        }
        return (sxy - sx * sy / m) / (sxx - sx * sx / m);
}

enum code rf_plateau_find(size_t n, const double *hz, const double *y, double low_hz, double high_hz, const char *what,
                          struct rf_plateau *ret, struct tp_error *err)
{
        size_t from = 0, best_from = 0, best_to = 0, first = n, last = n; /* first, last: of the window */
        bool any = false, inside = false;
        for (size_t i = 0; i <= n; i++) {
                bool asked = i < n && hz[i] >= low_hz && (!(high_hz > 0) || hz[i] <= high_hz);
                double slope = asked ? local_slope(n, hz, y, i) : NAN;
                if (asked) {
                        first = first < n ? first : i;
                        last = i;
                }
                if (fabs(slope + 1) <= RF_PLATEAU_SLOPE) {
                        from = inside ? from : i;
                        inside = true;
                        continue;
                }
                if (inside && (!any || hz[i - 1] / hz[from] > hz[best_to] / hz[best_from])) {
                        best_from = from;
                        best_to = i - 1;
                        any = true;
                }
                inside = false;
        }
        if (first == n)
                return tp_fail(err, CODE_UNRESOLVABLE, "%s: no point of the sweep lies from %.4g GHz to %.4g GHz; look elsewhere", what,
                               low_hz / 1e9, high_hz > 0 ? high_hz / 1e9 : INFINITY);
        if (!any && isnan(local_slope(n, hz, y, last)))
                return tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "%s falls by 20 dB a decade nowhere from %.4g to %.4g GHz, and does not exist at the upper end (MAG: K < 1); "
                        "de-embed it, or sweep where it does",
                        what, hz[first] / 1e9, hz[last] / 1e9);
        if (!any)
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "%s falls by 20 dB a decade nowhere from %.4g to %.4g GHz (slope at the upper end %.2f decades per decade, "
                               "asked is -1 within %.1f); de-embed it, or sweep where it does",
                               what, hz[first] / 1e9, hz[last] / 1e9, local_slope(n, hz, y, last), RF_PLATEAU_SLOPE);
        if (!(hz[best_to] >= RF_PLATEAU_RATIO * hz[best_from] * (1 - 1e-9)))
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "%s falls by 20 dB a decade only from %.4g to %.4g GHz, which is less than half a decade; sweep wider or "
                               "de-embed it",
                               what, hz[best_from] / 1e9, hz[best_to] / 1e9);
        size_t a = best_from, b = best_to;
        while (a < b && hz[a] < RF_PLATEAU_LOW_HZ * (1 - 1e-9))
                a++;
        while (b > a && hz[b] > RF_PLATEAU_HIGH_HZ * (1 + 1e-9))
                b--;
        if (!(hz[b] >= RF_PLATEAU_RATIO * hz[a] * (1 - 1e-9))) {
                a = best_from;
                b = best_to;
        }
        double sum = 0, squares = 0;
        size_t m = b - a + 1;
        for (size_t i = a; i <= b; i++)
                sum += log(hz[i] * y[i]);
        double mean = sum / (double)m;
        for (size_t i = a; i <= b; i++)
                squares += (log(hz[i] * y[i]) - mean) * (log(hz[i] * y[i]) - mean);
        *ret = (struct rf_plateau){.value_hz = exp(mean), .lo_hz = hz[a], .hi_hz = hz[b], .first = a, .n = m};
        ret->spread = ret->shape_u = m > 1 ? sqrt(squares / (double)(m - 1)) : NAN;
        return CODE_OK;
}

enum { LINE_POINTS = 4 }; /* two are the line's, and a spread needs more */

struct sums {
        double x, xx; /* of f^2 over the highest: its mean, its squares about that */
};
static struct sums sums_of(size_t n, const double *hz)
{
        struct sums s = {0, 0};
        for (size_t i = 0; i < n; i++)
                s.x += pow(hz[i] / hz[n - 1], 2) / (double)n;
        for (size_t i = 0; i < n; i++)
                s.xx += pow(pow(hz[i] / hz[n - 1], 2) - s.x, 2);
        return s;
}
static double weight_at(const struct sums *s, size_t n, const double *hz, size_t i)
{
        return 1 / (double)n - s->x * (pow(hz[i] / hz[n - 1], 2) - s->x) / s->xx;
}

void rf_plateau_weights(size_t n, const double *hz, bool at_zero, double *ret_weight)
{
        struct sums s = sums_of(n, hz);
        for (size_t i = 0; i < n; i++)
                ret_weight[i] = at_zero && n >= LINE_POINTS ? weight_at(&s, n, hz, i) : 1 / (double)n;
}

/* The line in f^2 through v(i): its value at 0, and the standard deviation of what it leaves. */
static double line_at_zero(size_t n, const double *hz, double (*v)(const void *, size_t), const void *of, double *ret_left)
{
        struct sums s = sums_of(n, hz);
        double zero = 0, mean = 0, squares = 0;
        for (size_t i = 0; i < n; i++) {
                zero += weight_at(&s, n, hz, i) * v(of, i);
                mean += v(of, i) / (double)n;
        }
        for (size_t i = 0; i < n; i++) /* the line goes through both means */
                squares += pow(v(of, i) - zero - (mean - zero) / s.x * pow(hz[i] / hz[n - 1], 2), 2);
        *ret_left = sqrt(squares / (double)(n - 2));
        return zero;
}

struct points {
        size_t n;
        const double *hz, *y;
};
static double fourth(const void *of, size_t i)
{
        const struct points *p = of;
        return pow(p->hz[i] / p->hz[p->n - 1], 4);
}
static double log_product(const void *of, size_t i)
{
        const struct points *p = of;
        return log(p->hz[i] * p->y[i]);
}

double rf_plateau_next(size_t n, const double *hz)
{
        if (n < LINE_POINTS)
                return 1;
        double left, zero = line_at_zero(n, hz, fourth, &(struct points){n, hz, NULL}, &left);
        return fabs(zero / left);
}

void rf_plateau_at_zero(const double *hz, const double *y, struct rf_plateau *p)
{
        const struct points of = {p->n, hz + p->first, y + p->first};
        if (p->n < LINE_POINTS)
                return;
        p->value_hz = exp(line_at_zero(of.n, of.hz, log_product, &of, &p->spread));
        p->shape_u = p->spread * rf_plateau_next(of.n, of.hz) / sqrt(3);
}
