/* dft.c: any length through lengths of two (dft.h).
 * Source      Bluestein, IEEE Trans. AU 18 (1970) 451: k m = (k^2 + m^2 - (k - m)^2)/2 makes the transform a convolution with a chirp.
 * Why         a Hermitian spectrum of n points and dc has 2n + 1 samples, an odd number that padding would change: beyond the last
 *             frequency there must be its mirror image, not silence, or every pulse gets a tail. */
#include "rf/numbers/dft.h"
#include <math.h>

static size_t power_of_two(size_t at_least)
{
        size_t m = 1;
        while (m < at_least)
                m *= 2;
        return m;
}

size_t dft_workspace(size_t n) { return (2 * power_of_two(2 * n) + n) * sizeof(double complex); }

/* Radix 2, in place; n is a power of two. */
static void radix2(size_t n, double complex *x, double sign)
{
        for (size_t i = 1, j = 0; i < n; i++) {
                size_t bit = n / 2;
                for (; j & bit; bit /= 2)
                        j ^= bit;
                j ^= bit;
                if (i < j) {
                        double complex t = x[i];
                        x[i] = x[j];
                        x[j] = t;
                }
        }
        for (size_t half = 1; half < n; half *= 2)
                for (size_t k = 0; k < half; k++) {
                        double angle = sign * RF_PI * (double)k / (double)half;
                        double complex w = CMPLX(cos(angle), sin(angle));
                        for (size_t i = k; i < n; i += 2 * half) {
                                double complex t = w * x[i + half];
                                x[i + half] = x[i] - t;
                                x[i] += t;
                        }
                }
}

void dft(size_t n, double complex *x, bool inverse, void *workspace)
{
        size_t m = power_of_two(2 * n);
        double complex *a = workspace, *b = a + m, *chirp = b + m;
        double sign = inverse ? 1 : -1;
        for (size_t k = 0; k < n; k++) { /* k^2 modulo 2n keeps the angle exact */
                double angle = sign * RF_PI * (double)((k * k) % (2 * n)) / (double)n;
                chirp[k] = CMPLX(cos(angle), sin(angle));
        }
        for (size_t k = 0; k < m; k++) {
                a[k] = k < n ? x[k] * chirp[k] : 0;
                b[k] = 0;
        }
        for (size_t k = 0; k < n; k++) {
                b[k] = conj(chirp[k]);
                if (k > 0)
                        b[m - k] = conj(chirp[k]);
        }
        radix2(m, a, -1);
        radix2(m, b, -1);
        for (size_t k = 0; k < m; k++)
                a[k] *= b[k];
        radix2(m, a, 1);
        for (size_t k = 0; k < n; k++)
                x[k] = chirp[k] * a[k] / (double)m;
}
