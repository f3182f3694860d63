/* uncertain.c: see uncertain.h.
 * Sources     JCGM 100:2008 5.1.2, 5.2.2 (propagation), H.2 (covariance of means), G.4.1 (Welch-Satterthwaite); JCGM 102:2011 6.2 and 7.5
 * (complex quantities, regions).  The rule below three standard uncertainties: common practice; mean of |noise| sqrt(pi/2) u (Rayleigh). */
#include "rf/numbers/uncertain.h"
#include "rf/numbers/probability.h"
#include <math.h>

#define DB_PER_NEPER 8.685889638065037

void covariance_through(size_t m, size_t n, const double *j, const double *c_x, double *scratch, double *ret)
{
        for (size_t a = 0; a < m; a++)
                for (size_t b = 0; b < n; b++) {
                        double sum = 0;
                        for (size_t k = 0; k < n; k++)
                                sum += j[a * n + k] * c_x[k * n + b];
                        scratch[a * n + b] = sum;
                }
        for (size_t a = 0; a < m; a++)
                for (size_t b = 0; b <= a; b++) {
                        double sum = 0;
                        for (size_t k = 0; k < n; k++)
                                sum += scratch[a * n + k] * j[b * n + k];
                        ret[a * m + b] = ret[b * m + a] = sum;
                }
}

void derivative_block(double complex d, double *j, size_t columns, size_t r, size_t c)
{
        double *row = j + 2 * r * columns + 2 * c;
        row[0] = row[columns + 1] = creal(d);
        row[1] = -cimag(d);
        row[columns] = cimag(d);
}

void covariance_through_analytic(size_t m, size_t n, const double complex *d, const double *c_x, double *scratch, double *ret)
{
        double *j = scratch + 4 * m * n;
        for (size_t r = 0; r < m; r++)
                for (size_t c = 0; c < n; c++)
                        derivative_block(d[r * n + c], j, 2 * n, r, c);
        covariance_through(2 * m, 2 * n, j, c_x, scratch, ret);
}

double circular_through(size_t n, const double complex *d, const double *u)
{
        double sum = 0;
        for (size_t k = 0; k < n; k++)
                sum += (creal(d[k]) * creal(d[k]) + cimag(d[k]) * cimag(d[k])) * u[k] * u[k];
        return sqrt(sum);
}

enum code covariance_of_means(size_t n, size_t m, const double *x, double *ret_mean, double *ret_c, struct tp_error *err)
{
        if (n < 2)
                return tp_fail(err, CODE_BAD_INPUT, "a scatter needs at least 2 readings, not %zu; measure again", n);
        for (size_t q = 0; q < m; q++) {
                double sum = 0;
                for (size_t k = 0; k < n; k++)
                        sum += x[k * m + q];
                ret_mean[q] = sum / (double)n;
                if (!isfinite(ret_mean[q]))
                        return tp_fail(err, CODE_BAD_INPUT, "a reading of quantity %zu is not a number; leave it out", q + 1);
        }
        for (size_t a = 0; a < m; a++)
                for (size_t b = 0; b <= a; b++) {
                        double sum = 0;
                        for (size_t k = 0; k < n; k++)
                                sum += (x[k * m + a] - ret_mean[a]) * (x[k * m + b] - ret_mean[b]);
                        ret_c[a * m + b] = ret_c[b * m + a] = sum / ((double)n * (double)(n - 1));
                }
        return CODE_OK;
}

double correlation_of(const double *c, size_t n, size_t a, size_t b) { return c[a * n + b] / sqrt(c[a * n + a] * c[b * n + b]); }

enum code jacobian_of(real_function *f, void *context, size_t n, double *x, const double *scale, size_t m, double *scratch, double *ret_j,
                      struct tp_error *err)
{
        for (size_t k = 0; k < n; k++) {
                double at = x[k], up, down;
                if (!(scale[k] > 0) || !isfinite(scale[k]) || !isfinite(at))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "input %zu is %.6g with a scale of %.6g; both must be numbers, the scale above 0", k + 1, at,
                                       scale[k]);
                x[k] = at + 1e-6 * scale[k];
                up = x[k]; /* as rounded: the step taken is the step divided by */
                bool good = f(x, scratch, context);
                x[k] = at - 1e-6 * scale[k];
                down = x[k];
                good = f(x, scratch + m, context) && good;
                x[k] = at;
                for (size_t r = 0; r < m; r++) {
                        ret_j[r * n + k] = (scratch[r] - scratch[m + r]) / (up - down);
                        good = good && isfinite(ret_j[r * n + k]);
                }
                if (!good)
                        return tp_fail(err, CODE_UNRESOLVABLE, "there is no value when input %zu moves by a millionth of %.6g from %.6g",
                                       k + 1, scale[k], at);
        }
        return CODE_OK;
}

/* ---- one complex number ------------------------------------------------------------------------------------------------------------- */

struct complex_cov complex_cov_turned(struct complex_cov c, double complex d)
{
        double a = creal(d), b = cimag(d);
        return (struct complex_cov){a * a * c.re - 2 * a * b * c.re_im + b * b * c.im, a * b * (c.re - c.im) + (a * a - b * b) * c.re_im,
                                    b * b * c.re + 2 * a * b * c.re_im + a * a * c.im};
}

struct ellipse complex_ellipse(struct complex_cov c, double p)
{
        double mean = (c.re + c.im) / 2, half = hypot((c.re - c.im) / 2, c.re_im), k = circle_radius(p);
        /* the smaller eigenvalue by the determinant: mean - half has no digits left when one part is nearly a copy of the other */
        double large = mean + half, small = large > 0 ? fmax(0, (c.re * c.im - c.re_im * c.re_im) / large) : mean - half;
        return (struct ellipse){k * sqrt(large), k * sqrt(small), atan2(2 * c.re_im, c.re - c.im) / 2};
}

struct polar complex_polar(double complex z, struct complex_cov c)
{
        struct polar r = {.below_magnitude = NAN};
        double size = cabs(z), re = creal(z) / size, im = cimag(z) / size;
        double worst = complex_ellipse(c, 0.5).major / circle_radius(0.5);
        r.below = !(size >= 3 * worst);
        r.magnitude = r.u_magnitude = r.db = r.u_db = r.phase_rad = r.u_phase_rad = NAN;
        if (r.below) {
                r.below_magnitude = size + circle_radius(0.95) * worst;
                return r;
        }
        if (!(size > 0)) /* without uncertainty, 0 has no phase */
                return r;
        r.magnitude = size;
        r.u_magnitude = sqrt(re * re * c.re + 2 * re * im * c.re_im + im * im * c.im);
        r.db = 20 * log10(size);
        r.u_db = DB_PER_NEPER * r.u_magnitude / size;
        r.phase_rad = carg(z);
        r.u_phase_rad = sqrt(im * im * c.re - 2 * re * im * c.re_im + re * re * c.im) / size;
        return r;
}

/* ---- results as vectors of causes --------------------------------------------------------------------------------------------------- */

static struct cause *cause_find(struct result *r, uint64_t id)
{
        for (size_t k = 0; id != 0 && k < r->n; k++)
                if (r->causes[k].id == id)
                        return &r->causes[k];
        return NULL;
}

enum code result_sum(size_t n, const double *w, const struct result *const *x, struct result *ret, struct tp_error *err)
{
        ret->y = 0;
        ret->n = 0;
        for (size_t k = 0; k < n; k++) {
                ret->y += w[k] * x[k]->y;
                for (size_t j = 0; j < x[k]->n; j++) {
                        struct cause one = x[k]->causes[j], *same = cause_find(ret, one.id);
                        one.c *= w[k];
                        if (same) {
                                same->c += one.c;
                                same->nu = fmin(same->nu, one.nu);
                                continue;
                        }
                        if (ret->n == ret->room)
                                return tp_fail(err, CODE_MEMORY, "a sum of %zu results has more causes than the %zu there is room for", n,
                                               ret->room);
                        ret->causes[ret->n++] = one;
                }
        }
        return CODE_OK;
}

enum code result_difference(const struct result *a, const struct result *b, struct result *ret, struct tp_error *err)
{
        static const double w[2] = {1, -1};
        const struct result *const x[2] = {a, b};
        return result_sum(2, w, x, ret, err);
}

static double sum_of_squares(const struct result *r, bool shared, bool private)
{
        double sum = 0;
        for (size_t k = 0; k < r->n; k++)
                if (r->causes[k].id != 0 ? shared : private)
                        sum += r->causes[k].c * r->causes[k].c;
        return sum;
}
double result_u(const struct result *r) { return sqrt(sum_of_squares(r, true, true)); }
double result_u_shared(const struct result *r) { return sqrt(sum_of_squares(r, true, false)); }
double result_u_private(const struct result *r) { return sqrt(sum_of_squares(r, false, true)); }

double result_covariance(const struct result *a, const struct result *b)
{
        double sum = 0;
        for (size_t k = 0; k < a->n; k++)
                for (size_t j = 0; j < b->n && a->causes[k].id != 0; j++)
                        if (a->causes[k].id == b->causes[j].id)
                                sum += a->causes[k].c * b->causes[j].c;
        return sum;
}

static void freedom_add(double v, double nu, double *lower)
{
        if (isfinite(nu))
                *lower += v * v / nu;
}

double result_freedom(const struct result *r)
{
        double sum = 0, lower = 0;
        for (size_t k = 0; k < r->n; k++) {
                double v = r->causes[k].c * r->causes[k].c;
                sum += v;
                freedom_add(v, r->causes[k].nu, &lower);
        }
        return lower > 0 ? sum * sum / lower : INFINITY;
}

double result_half_width(const struct result *r, double p) { return student_two_sided(p, result_freedom(r)) * result_u(r); }

double welch_satterthwaite(size_t n, const double *u, const double *nu)
{
        double sum = 0, lower = 0;
        for (size_t k = 0; k < n; k++) {
                sum += u[k] * u[k];
                freedom_add(u[k] * u[k], nu[k], &lower);
        }
        return lower > 0 ? sum * sum / lower : INFINITY;
}
