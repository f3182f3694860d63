/* uncertain.c: propagation, polar form, ellipse and vectors of causes, against what must hold for any numbers. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>
#include "rf/numbers/monte_carlo.h"
#include "rf/numbers/probability.h"
#include "rf/numbers/uncertain.h"

static double complex product(double complex x, double complex y) { return x * y / (1 + x); }

static void a_complex_derivative_is_its_real_block(void **state)
{
        (void)state;
        double complex x = CMPLX(0.3, -0.8), y = CMPLX(-0.2, 0.6), d[2];
        d[0] = (product(x + 1e-6, y) - product(x - 1e-6, y)) / 2e-6;
        d[1] = (product(x, y + 1e-6) - product(x, y - 1e-6)) / 2e-6;
        /* a covariance of two complex numbers, of rank 3: rows of a square root */
        static const double root[3][4] = {{1, 0.2, -0.4, 0.1}, {0, 0.7, 0.3, 0.5}, {0.2, -0.1, 0.9, 0}};
        double c[16] = {0}, by_block[4], by_hand[4], scratch[64], j[8] = {0};
        for (int a = 0; a < 4; a++)
                for (int b = 0; b < 4; b++)
                        for (int k = 0; k < 3; k++)
                                c[4 * a + b] += root[k][a] * root[k][b];
        covariance_through_analytic(1, 2, d, c, scratch, by_block);
        for (int k = 0; k < 4; k++) { /* each real part moved by itself */
                double complex move = k % 2 ? CMPLX(0, 1e-6) : 1e-6, r;
                r = k < 2 ? (product(x + move, y) - product(x - move, y)) / 2e-6 : (product(x, y + move) - product(x, y - move)) / 2e-6;
                j[k] = creal(r);
                j[4 + k] = cimag(r);
        }
        covariance_through(2, 4, j, c, scratch, by_hand);
        for (int k = 0; k < 4; k++)
                assert_true(fabs(by_block[k] - by_hand[k]) < 1e-8); /* differences of 1e-6, twice */
        /* circular in, circular out */
        const double u[2] = {0.01, 0.02};
        memset(c, 0, sizeof c);
        for (int k = 0; k < 4; k++)
                c[5 * k] = u[k / 2] * u[k / 2];
        covariance_through_analytic(1, 2, d, c, scratch, by_block);
        double out = circular_through(2, d, u);
        assert_true(fabs(by_block[0] - out * out) < 1e-17 && fabs(by_block[3] - out * out) < 1e-17 && fabs(by_block[1]) < 1e-17);
        struct complex_cov turned = complex_cov_turned((struct complex_cov){2, 0.5, 3}, d[0]);
        const double one[4] = {2, 0.5, 0.5, 3};
        covariance_through_analytic(1, 1, d, one, scratch, by_block);
        assert_true(fabs(turned.re - by_block[0]) + fabs(turned.re_im - by_block[1]) + fabs(turned.im - by_block[3]) < 1e-13);
}

static bool impedance(const double *x, double *y, void *context)
{
        (void)context;
        double complex g = CMPLX(x[0], x[1]), z = 50 * (1 + g) / (1 - g);
        y[0] = cimag(z) / x[2];
        y[1] = cimag(z) / creal(z);
        return x[0] < 2;
}

static void the_numeric_jacobian_is_the_analytic_one(void **state)
{
        (void)state;
        double x[3] = {-0.3709, 0.783, 3e10}, scratch[4], j[6];
        const double scale[3] = {1, 1, 3e10}, zero[3] = {1, 0, 1};
        struct tp_error err;
        assert_int_equal(jacobian_of(impedance, NULL, 3, x, scale, 2, scratch, j, &err), CODE_OK);
        assert_true(x[0] == -0.3709 && x[2] == 3e10);
        double complex g = CMPLX(x[0], x[1]), z = 50 * (1 + g) / (1 - g), d = 100 / ((1 - g) * (1 - g)); /* dZ = 2 z dG/(1 - G)^2 */
        double re = creal(z), im = cimag(z);
        const double want[6] = {cimag(d) / x[2],
                                creal(d) / x[2],
                                -im / x[2] / x[2],
                                cimag(d) / re - im * creal(d) / re / re,
                                creal(d) / re + im * cimag(d) / re / re,
                                0};
        for (int k = 0; k < 6; k++) /* rounding 1e-16 over a step of 1e-6 */
                assert_true(fabs(j[k] - want[k]) <= 1e-8 * fabs(want[k / 3 * 3]) + 1e-25);
        assert_int_equal(jacobian_of(impedance, NULL, 3, x, zero, 2, scratch, j, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "input 2"));
        x[0] = 2;
        assert_int_equal(jacobian_of(impedance, NULL, 3, x, scale, 2, scratch, j, &err), CODE_UNRESOLVABLE);
        x[0] = NAN;
        assert_int_equal(jacobian_of(impedance, NULL, 3, x, scale, 2, scratch, j, &err), CODE_BAD_INPUT);
}

/* Draws of a complex normal: the ellipse holds its share, magnitude and phase scatter as foretold, and below three u nothing is claimed
   that does not hold. */
static void polar_and_ellipse_hold_what_they_say(void **state)
{
        (void)state;
        struct random r = random_of(3, 1);
        const struct complex_cov c = {4e-4, 2.4e-4, 9e-4}; /* u 0.02 and 0.03, r = 0.4 */
        const double complex z = CMPLX(-0.6, 0.3);
        struct ellipse e = complex_ellipse(c, 0.95);
        struct polar p = complex_polar(z, c);
        assert_false(p.below);
        /* the axes are eigenvectors: variances along and across */
        double along = complex_cov_turned(c, cexp(CMPLX(0, -e.angle_rad))).re,
               cross = complex_cov_turned(c, cexp(CMPLX(0, -e.angle_rad))).re_im;
        assert_true(fabs(e.major - circle_radius(0.95) * sqrt(along)) < 1e-15 && fabs(cross) < 1e-18 && e.minor < e.major);
        double inside = 0, magnitude = 0, phase = 0, db = 0;
        const int n = 100000;
        for (int k = 0; k < n; k++) {
                double a = random_normal(&r), b = random_normal(&r);
                double complex dz = CMPLX(0.02 * a, 0.03 * (0.4 * a + sqrt(1 - 0.16) * b)), t = dz * cexp(CMPLX(0, -e.angle_rad));
                inside += pow(creal(t) / e.major, 2) + pow(cimag(t) / e.minor, 2) <= 1;
                magnitude += pow(cabs(z + dz) - p.magnitude, 2);
                phase += pow(carg((z + dz) / z), 2);
                db += pow(20 * log10(cabs(z + dz)) - p.db, 2);
        }
        assert_true(fabs(inside / n - 0.95) < 4 * sqrt(0.95 * 0.05 / n));
        /* 4 standard deviations of a variance, and 0.3 % for what the arc bends */
        assert_true(fabs(sqrt(magnitude / n) / p.u_magnitude - 1) < 4 / sqrt(2.0 * n) + 0.003);
        assert_true(fabs(sqrt(phase / n) / p.u_phase_rad - 1) < 4 / sqrt(2.0 * n) + 0.003);
        assert_true(fabs(sqrt(db / n) / p.u_db - 1) < 4 / sqrt(2.0 * n) + 0.003);
        /* pure noise: its magnitude has a mean of 1.25 u, and stays below what is said */
        double mean = 0, below = 0;
        for (int k = 0; k < n; k++) {
                double complex noise = CMPLX(0.01 * random_normal(&r), 0.01 * random_normal(&r));
                struct polar q = complex_polar(noise, complex_cov_circular(0.01));
                if (!q.below)
                        continue; /* 1.1 % of noise lies beyond three u */
                assert_true(isnan(q.db) && isnan(q.u_phase_rad) && q.below_magnitude >= 0.0244);
                mean += cabs(noise);
                below++;
        }
        assert_true(fabs(below / n - (1 - exp(-4.5))) < 0.002 && fabs(mean / below / 0.01 - 1.23) < 0.01); /* 1.253 without the tail */
        assert_true(complex_polar(CMPLX(NAN, 0), c).below && isnan(complex_polar(0, complex_cov_circular(0)).phase_rad));
}

static void shared_causes_add_in_sums_and_cancel_in_differences(void **state)
{
        (void)state;
        struct cause of_a[] = {{7, 3, INFINITY}, {0, 1, 8}, {9, -0.5, INFINITY}}, of_b[] = {{7, 2.9, INFINITY}, {0, 1.2, 8}}, room[8],
                     few[2];
        struct result a = {10, 3, 3, of_a}, b = {9.9, 2, 2, of_b}, d = {.room = 8, .causes = room}, small = {.room = 2, .causes = few};
        struct tp_error err;
        assert_int_equal(result_difference(&a, &b, &d, &err), CODE_OK);
        assert_true(fabs(d.y - 0.1) < 1e-12 && d.n == 4);
        assert_true(fabs(result_u(&d) - sqrt(0.01 + 1 + 1.44 + 0.25)) < 1e-12);
        assert_true(fabs(result_u_shared(&d) - sqrt(0.01 + 0.25)) < 1e-12 && fabs(result_u_private(&d) - sqrt(2.44)) < 1e-12);
        /* u^2(a - b) = u^2(a) + u^2(b) - 2 cov */
        double ua = result_u(&a), ub = result_u(&b);
        assert_true(fabs(ua * ua + ub * ub - 2 * result_covariance(&a, &b) - pow(result_u(&d), 2)) < 1e-12);
        const double w[2] = {0.5, 0.5};
        const struct result *const both[2] = {&a, &b};
        assert_int_equal(result_sum(2, w, both, &d, &err), CODE_OK);
        assert_true(fabs(result_u_shared(&d) - hypot(2.95, 0.25)) < 1e-12); /* a mean does not make a wrong load better */
        assert_int_equal(result_sum(2, w, both, &small, &err), CODE_MEMORY);
        /* degrees of freedom: only the private ones have them */
        double u4 = pow(result_u(&a), 4);
        assert_true(fabs(result_freedom(&a) - u4 / (1.0 / 8)) < 1e-9);
        assert_true(fabs(result_half_width(&a, 0.95) / result_u(&a) - student_two_sided(0.95, result_freedom(&a))) < 1e-12);
        assert_true(isinf(result_freedom(&(struct result){0, 1, 1, of_a})));
        const double u[2] = {3, 4}, nu[2] = {9, INFINITY};
        assert_true(fabs(welch_satterthwaite(2, u, nu) - 625.0 / 9) < 1e-9);
}

static void readings_that_are_none_are_refused(void **state)
{
        (void)state;
        const double x[4] = {1, 2, 3, NAN};
        double mean[2], c[4];
        struct tp_error err;
        assert_int_equal(covariance_of_means(1, 2, x, mean, c, &err), CODE_BAD_INPUT);
        assert_int_equal(covariance_of_means(2, 2, x, mean, c, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "quantity 2"));
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(a_complex_derivative_is_its_real_block),
                                           cmocka_unit_test(the_numeric_jacobian_is_the_analytic_one),
                                           cmocka_unit_test(polar_and_ellipse_hold_what_they_say),
                                           cmocka_unit_test(shared_causes_add_in_sums_and_cancel_in_differences),
                                           cmocka_unit_test(readings_that_are_none_are_refused)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
