/* proportion.c: see proportion.h.  Both ends come from one function of k, the other end by counting the bad instead of the good, so that
 * what is said of good and of bad is exactly one statement. */
#include "rf/numbers/proportion.h"
#include "rf/numbers/probability.h"
#include <math.h>
#include <stdbool.h>

static bool is_sound(size_t k, size_t n, double cover) { return n > 0 && k <= n && cover > 0 && cover < 1; }
static const struct share_interval unknown = {NAN, NAN, NAN};

/* The lower root of (p - q)^2 = z^2 q (1 - q)/n for q, p = k/n; as a quotient, since for few good the difference would lose its digits. */
static double wilson_low(double k, double n, double z)
{
        double s = k + z * z / 2;
        return k == 0 ? 0 : k * k / n / (s + z * sqrt(k * (n - k) / n + z * z / 4));
}

struct share_interval rf_wilson(size_t k, size_t n, double cover)
{
        if (!is_sound(k, n, cover))
                return unknown;
        double z = normal_quantile((1 + cover) / 2), m = (double)n;
        return (struct share_interval){(double)k / m, wilson_low((double)k, m, z), 1 - wilson_low((double)(n - k), m, z)};
}

/* The share with which k or more of n would be seen with probability `tail`. */
static double exact_low(size_t k, size_t n, double tail) { return k == 0 ? 0 : beta_quantile(tail, (double)k, (double)(n - k) + 1); }

struct share_interval rf_clopper_pearson(size_t k, size_t n, double cover)
{
        if (!is_sound(k, n, cover))
                return unknown;
        double tail = (1 - cover) / 2;
        return (struct share_interval){(double)k / (double)n, exact_low(k, n, tail), 1 - exact_low(n - k, n, tail)};
}
