/* monte_carlo.c: see monte_carlo.h.
 * Sources     JCGM 101:2008: 6.4 (inputs), 7.5 to 7.7 (sorting, intervals), 7.9.2 (numerical tolerance), 8 (validation).  Generator:
 * xoshiro256** (Blackman & Vigna, ACM TOMS 47 (2021) 36), seeded by splitmix64; normals by Marsaglia's polar method; Student's t as
 * normal/sqrt(chi-square/nu), the chi-square by Marsaglia & Tsang, ACM TOMS 26 (2000) 363. */
#include "rf/numbers/monte_carlo.h"
#include <math.h>

enum { DRAWS_LEAST = 100 };

static uint64_t splitmix(uint64_t *x)
{
        uint64_t z = (*x += UINT64_C(0x9E3779B97F4A7C15));
        z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
        z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
        return z ^ (z >> 31);
}

struct random random_of(uint64_t seed, uint64_t stream)
{
        struct random r = {.has_kept = false};
        uint64_t x = seed, mixed = splitmix(&x) ^ (stream * UINT64_C(0xD6E8FEB86659FD93));
        for (int k = 0; k < 4; k++)
                r.s[k] = splitmix(&mixed);
        return r;
}

static uint64_t rotate(uint64_t x, int k) { return (x << k) | (x >> (64 - k)); }

uint64_t random_bits(struct random *r)
{
        uint64_t *s = r->s, result = rotate(s[1] * 5, 7) * 9, t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = rotate(s[3], 45);
        return result;
}

double random_uniform(struct random *r) { return (double)(random_bits(r) >> 11) * 0x1p-53; }

double random_normal(struct random *r)
{
        double u, v, q;
        if (r->has_kept) {
                r->has_kept = false;
                return r->kept;
        }
        do {
                u = 2 * random_uniform(r) - 1;
                v = 2 * random_uniform(r) - 1;
                q = u * u + v * v;
        } while (q >= 1 || q == 0);
        double k = sqrt(-2 * log(q) / q);
        r->kept = v * k;
        r->has_kept = true;
        return u * k;
}

/* Gamma of shape a >= 1/2 and scale 1. */
static double random_gamma(struct random *r, double a)
{
        if (a < 1)
                return random_gamma(r, a + 1) * pow(1 - random_uniform(r), 1 / a);
        double d = a - 1.0 / 3, c = 1 / sqrt(9 * d);
        for (;;) {
                double x = random_normal(r), v = 1 + c * x, u;
                if (v <= 0)
                        continue;
                v = v * v * v;
                u = 1 - random_uniform(r);
                if (log(u) < x * x / 2 + d - d * v + d * log(v))
                        return d * v;
        }
}

double random_shape(struct random *r, enum shape shape, double nu)
{
        switch (shape) {
        case SHAPE_NORMAL:
                return random_normal(r);
        case SHAPE_RECTANGULAR:
                return sqrt(3) * (2 * random_uniform(r) - 1);
        case SHAPE_TRIANGULAR:
                return sqrt(6) * (random_uniform(r) - random_uniform(r));
        case SHAPE_ARCSINE:
                return sqrt(2) * sin(6.28318530717958647693 * random_uniform(r));
        case SHAPE_STUDENT: {
                double z = random_normal(r);
                return isfinite(nu) ? z / sqrt(2 * random_gamma(r, nu / 2) / nu) : z;
        }
        case SHAPE_UNKNOWN:
        case SHAPE_COUNT:
                break;
        }
        return NAN;
}

static enum code inputs_check(const struct input *in, size_t n, const struct trials *t, struct tp_error *err)
{
        if (t->draws < DRAWS_LEAST || t->sweeps < 1 || t->outputs < 1)
                return tp_fail(err, CODE_BAD_INPUT, "%zu draws of %zu sweeps with %zu outputs; it takes at least %d, 1 and 1", t->draws,
                               t->sweeps, t->outputs, DRAWS_LEAST);
        for (size_t k = 0; k < n; k++) {
                if (in[k].shape <= SHAPE_UNKNOWN || in[k].shape >= SHAPE_COUNT)
                        return tp_fail(err, CODE_BAD_INPUT, "input %zu has no distribution; say which", k + 1);
                if (!(in[k].u >= 0) || !isfinite(in[k].u) || !isfinite(in[k].mean))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "input %zu is %.6g with a standard uncertainty of %.6g; both must be numbers, u not negative", k + 1,
                                       in[k].mean, in[k].u);
                if (in[k].shape == SHAPE_STUDENT && !(in[k].nu >= 1))
                        return tp_fail(err, CODE_BAD_INPUT, "input %zu has %.6g degrees of freedom; it takes 1 or more", k + 1, in[k].nu);
        }
        return CODE_OK;
}

static void draw(struct random *r, const struct input *in, size_t n, bool shared, double *x)
{
        for (size_t k = 0; k < n; k++)
                if (in[k].shared == shared)
                        x[k] = in[k].mean + in[k].u * random_shape(r, in[k].shape, in[k].nu);
}

enum code monte_carlo(trial_model *model, void *context, const struct input *in, size_t n, struct random *r, struct trials *t,
                      struct tp_error *err)
{
        enum code code = inputs_check(in, n, t, err);
        if (code)
                return code;
        size_t kept = 0;
        for (size_t trial = 0; trial < t->draws; trial++) {
                bool good = true;
                draw(r, in, n, true, t->x);
                for (size_t sweep = 0; sweep < t->sweeps; sweep++) { /* all are drawn, so that a lost one shifts nothing behind it */
                        draw(r, in, n, false, t->x);
                        good = model(t->x, sweep, t->one, context) && good;
                        for (size_t q = 0; q < t->outputs; q++) {
                                t->y[(sweep * t->outputs + q) * t->draws + kept] = t->one[q];
                                good = good && isfinite(t->one[q]);
                        }
                }
                kept += good;
        }
        t->lost = t->draws - kept;
        if (2 * kept < t->draws || kept < DRAWS_LEAST)
                return tp_fail(err, CODE_UNRESOLVABLE, "%zu of %zu trials gave no value: the inputs are too uncertain for it", t->lost,
                               t->draws);
        return CODE_OK;
}

static void sink(double *x, size_t root, size_t n)
{
        double v = x[root];
        for (size_t child; (child = 2 * root + 1) < n; root = child) {
                child += child + 1 < n && x[child + 1] > x[child];
                if (!(x[child] > v))
                        break;
                x[root] = x[child];
        }
        x[root] = v;
}

void sort_rising(double *x, size_t n)
{
        for (size_t k = n / 2; k-- > 0;)
                sink(x, k, n);
        for (size_t end = n; end-- > 1;) {
                double largest = x[0];
                x[0] = x[end];
                x[end] = largest;
                sink(x, 0, end);
        }
}

enum code drawn_of(double *y, size_t m, double p, struct drawn *ret, struct tp_error *err)
{
        if (m < DRAWS_LEAST || !(p > 0 && p < 1))
                return tp_fail(err, CODE_BAD_INPUT, "%zu draws for a probability of %.6g; it takes at least %d and 0 < p < 1", m, p,
                               DRAWS_LEAST);
        double sum = 0, squares = 0;
        for (size_t k = 0; k < m; k++)
                sum += y[k];
        ret->mean = sum / (double)m;
        for (size_t k = 0; k < m; k++)
                squares += (y[k] - ret->mean) * (y[k] - ret->mean);
        if (!isfinite(squares))
                return tp_fail(err, CODE_BAD_INPUT, "a drawn value is not a number; leave such trials out");
        ret->u = sqrt(squares / (double)(m - 1));
        sort_rising(y, m);
        /* JCGM 101:2008, 7.7: q of M values lie inside; the interval from y[r] to y[r + q] */
        size_t q = (size_t)(p * (double)m + 0.5), best = 0;
        q = q > m - 1 ? m - 1 : q;
        size_t r = (m - q) / 2;
        r = r + q > m - 1 ? m - 1 - q : r;
        ret->low = y[r];
        ret->high = y[r + q];
        for (size_t k = 0; k + q < m; k++)
                if (y[k + q] - y[k] < y[best + q] - y[best])
                        best = k;
        ret->short_low = y[best];
        ret->short_high = y[best + q];
        return CODE_OK;
}

double numerical_tolerance(double u, int digits)
{
        if (!(u > 0) || !isfinite(u))
                return 0;
        double last = pow(10, floor(log10(u)) - (digits - 1));
        if (round(u / last) >= pow(10, digits)) /* 0.996 is 1.0 when written with two digits */
                last *= 10;
        return last / 2;
}

bool linear_is_valid(double y, double u, double half_width, const struct drawn *d, int digits, double *ret_low, double *ret_high)
{
        double low = fabs(y - half_width - d->low), high = fabs(y + half_width - d->high), most = numerical_tolerance(u, digits);
        if (ret_low)
                *ret_low = low;
        if (ret_high)
                *ret_high = high;
        return low <= most && high <= most;
}
