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
        ret->spread = m > 1 ? sqrt(squares / (double)(m - 1)) : NAN;
        return CODE_OK;
}
