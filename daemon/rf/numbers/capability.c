/* capability.c: see capability.h. */
#include "rf/numbers/capability.h"
#include "rf/numbers/probability.h"
#include <math.h>

struct capability rf_capability(size_t n, const double *x, double low, double high, double u_own)
{
        struct capability c = {.mean = NAN, .s = NAN, .s_made = NAN, .pp = NAN, .ppk = NAN, .ppk_low = NAN, .ppk_high = NAN};
        double sum = 0, squares = 0;
        for (size_t i = 0; i < n; i++)
                if (isfinite(x[i])) {
                        sum += x[i];
                        c.n++;
                }
        if (c.n == 0)
                return c;
        double m = (double)c.n;
        c.mean = sum / m;
        for (size_t i = 0; i < n; i++)
                if (isfinite(x[i]))
                        squares += (x[i] - c.mean) * (x[i] - c.mean);
        if (c.n < 2)
                return c;
        c.s = sqrt(squares / (m - 1));
        c.s_made = c.s > u_own ? sqrt((c.s - u_own) * (c.s + u_own)) : 0;
        if (!(c.s_made > 0))
                return c;
        c.pp = (high - low) / (6 * c.s_made);
        c.ppk = fmin(high - c.mean, c.mean - low) / (3 * c.s_made); /* fmin() takes the one that is a number */
        double half = normal_quantile(0.975) * sqrt(1 / (9 * m) + c.ppk * c.ppk / (2 * (m - 1)));
        c.ppk_low = c.ppk - half;
        c.ppk_high = c.ppk + half;
        return c;
}
