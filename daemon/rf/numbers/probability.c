/* probability.c: see probability.h.
 * Normal      erfc of libm; the quantile by Newton steps on it from a rational start (the derivative is the density), in the smaller tail,
 * where erfc keeps its digits.
 * Beta        the regularised incomplete beta function I_x(a, b) as a continued fraction (Abramowitz & Stegun 26.5.8, evaluated by Lentz's
 *             method) behind x^a (1-x)^b/B(a, b), whose large logarithms are taken out by Stirling's formula before they are subtracted.
 * Student     is I_x(nu/2, 1/2), x = nu/(nu + t^2) (26.5.27, 26.7.1).  Quantiles of both by Newton steps within a bracket.
 * Rectangle   and normal together: the integral of the normal's distribution over the rectangle has a closed form.
 * Tests       tests/reference/rf_probability.c against values of 30 digits made elsewhere. */
#include "rf/numbers/probability.h"
#include <math.h>
#include <stdbool.h>

#define TWO_PI 6.28318530717958647693

double normal_below(double x) { return erfc(-x / sqrt(2)) / 2; }
double normal_density(double x) { return exp(-x * x / 2) / sqrt(TWO_PI); }

double normal_quantile(double p)
{
        if (!(p >= 0 && p <= 1))
                return NAN;
        if (p == 0 || p == 1)
                return p == 0 ? -INFINITY : INFINITY;
        bool upper = p > 0.5;
        double tail = upper ? 1 - p : p; /* exact: p >= 0.5 */
        /* Start: Abramowitz & Stegun 26.2.23, good to 4.5e-4. */
        double t = sqrt(-2 * log(tail));
        double x = -(t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308))));
        for (int k = 0; k < 4; k++) { /* Halley: each step triples the digits */
                double step = (normal_below(x) - tail) / normal_density(x);
                x -= step / (1 + x * step / 2);
        }
        return upper ? -x : x;
}

/* Continued fraction of the incomplete beta function for x below (a + 1)/(a + b + 2). */
static double beta_fraction(double a, double b, double x)
{
        const double tiny = 1e-300;
        double c = 1, d = 1 - (a + b) * x / (a + 1);
        d = 1 / (fabs(d) < tiny ? tiny : d);
        double f = d;
        for (int m = 1; m < 100000; m++) {
                double even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
                       odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)), change = 1;
                for (int half = 0; half < 2; half++) {
                        double e = half == 0 ? even : odd;
                        d = 1 + e * d;
                        c = 1 + e / c;
                        d = 1 / (fabs(d) < tiny ? tiny : d);
                        c = fabs(c) < tiny ? tiny : c;
                        change = c * d;
                        f *= change;
                }
                if (fabs(change - 1) < 1e-15)
                        break;
        }
        return f;
}

/* ln Gamma(a) less Stirling's (a - 1/2) ln a - a + ln(2 pi)/2; from 10 on by its series (Abramowitz & Stegun 6.1.41), good to 1e-15. */
static double stirling_rest(double a)
{
        if (a < 10)
                return lgamma(a) - ((a - 0.5) * log(a) - a + log(TWO_PI) / 2);
        double b = 1 / (a * a);
        return (1.0 / 12 - b * (1.0 / 360 - b * (1.0 / 1260 - b * (1.0 / 1680 - b * (1.0 / 1188 - b * 691 / 360360))))) / a;
}

/* ln(Gamma(a + 1/2)/Gamma(a)) */
static double half_step(double a) { return a * log1p(0.5 / a) + log(a) / 2 - 0.5 + stirling_rest(a + 0.5) - stirling_rest(a); }

/* x^a y^b/B(a, b), y = 1 - x. */
static double beta_front(double a, double b, double x, double y)
{
        double log_x = y < 0.5 ? log1p(-y) : log(x), log_y = x < 0.5 ? log1p(-x) : log(y), s = a + b;
        return sqrt(a / s * b / TWO_PI) *
               exp(a * (log_x + log1p(b / a)) + b * (log_y + log1p(a / b)) + stirling_rest(s) - stirling_rest(a) - stirling_rest(b));
}

/* I_x(a, b); y = 1 - x is given too, since near 1 it has the digits. */
static double beta_share(double a, double b, double x, double y)
{
        if (x <= 0 || y <= 0)
                return x <= 0 ? 0 : 1;
        double front = beta_front(a, b, x, y);
        return x < (a + 1) / (a + b + 2) ? front * beta_fraction(a, b, x) / a : 1 - front * beta_fraction(b, a, y) / b;
}

double beta_below(double x, double a, double b)
{
        if (!(a > 0 && b > 0 && x >= 0 && x <= 1))
                return NAN;
        return beta_share(a, b, x, 1 - x);
}

double beta_quantile(double p, double a, double b)
{
        if (!(a > 0 && b > 0 && p >= 0 && p <= 1))
                return NAN;
        if (p == 0 || p == 1)
                return p;
        if (p > 0.5) /* the smaller tail has the digits */
                return 1 - beta_quantile(1 - p, b, a);
        /* ln I over ln x is nearly straight: Newton there, halving where it leaves the bracket */
        double x = a / (a + b), low = 0, high = 1;
        for (int step = 0; step < 200; step++) {
                double below = beta_share(a, b, x, 1 - x);
                if (below < p)
                        low = x;
                else
                        high = x;
                double next = x * exp(below * log(p / below) * (1 - x) / beta_front(a, b, x, 1 - x));
                if (!(next > low && next < high))
                        next = low + (high - low) / 2;
                if (fabs(next - x) <= 1e-15 * x)
                        return next;
                x = next;
        }
        return x;
}

/* Probability of |t| beyond t >= 0. */
static double student_beyond(double t, double nu)
{
        if (nu > 1e8) /* the difference from the normal is below 1e-9 of it */
                return erfc(t / sqrt(2));
        double s = t * t;
        return beta_share(nu / 2, 0.5, nu / (nu + s), s / (nu + s));
}

double student_below(double t, double nu)
{
        if (!(nu > 0) || isnan(t))
                return NAN;
        double beyond = student_beyond(fabs(t), nu) / 2;
        return t > 0 ? 1 - beyond : beyond;
}

double student_two_sided(double p, double nu)
{
        if (!(p > 0 && p < 1) || !(nu > 0))
                return NAN;
        double k = normal_quantile((1 + p) / 2), low = 0, high = k;
        if (nu > 1e8)
                return k;
        while (student_beyond(high, nu) > 1 - p)
                high *= 2;
        /* log of the tail over log k is nearly straight: Newton there, halving where it leaves the bracket */
        double log_density = half_step(nu / 2) - log(nu * TWO_PI / 2) / 2;
        k = (low + high) / 2;
        for (int step = 0; step < 200; step++) {
                double beyond = student_beyond(k, nu);
                if (beyond > 1 - p)
                        low = k;
                else
                        high = k;
                double density = 2 * exp(log_density - (nu + 1) / 2 * log1p(k * k / nu));
                double next = k * exp(beyond / (density * k) * log(beyond / (1 - p)));
                if (!(next > low && next < high))
                        next = (low + high) / 2;
                if (fabs(next - k) <= 1e-14 * k)
                        return next;
                k = next;
        }
        return k;
}

/* Integral of normal_below up to z. */
static double ramp(double z) { return z * normal_below(z) + normal_density(z); }

double rectangular_two_sided(double p, double share)
{
        if (!(p > 0 && p < 1) || !(share >= 0 && share <= 1))
                return NAN;
        double half = sqrt(3 * share), sd = sqrt(1 - share), low = 0, high = half + 40 * sd;
        if (half < 1e-4) /* what is left out is a fourth power of it */
                return normal_quantile((1 + p) / 2);
        if (sd < 1e-6 * half)
                return p * half;
        double x = normal_quantile((1 + p) / 2);
        for (int k = 0; k < 200; k++) { /* Newton within a bracket */
                double a = (x + half) / sd, b = (x - half) / sd;
                double miss = sd / (2 * half) * (2 * ramp(a) - a - 2 * ramp(b) + b) - p;
                if (miss < 0)
                        low = x;
                else
                        high = x;
                double next = x - miss * half / (normal_below(a) - normal_below(b));
                if (!(next > low && next < high))
                        next = (low + high) / 2;
                if (fabs(next - x) <= 1e-14 * x)
                        return next;
                x = next;
        }
        return x;
}

double circle_radius(double p) { return p >= 0 && p < 1 ? sqrt(-2 * log1p(-p)) : NAN; }
