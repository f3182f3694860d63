/* noise.c: where lines differ by less than the noise of their readings, what is known of them from above is used (lines.h).
 * Problem     g dl falls with frequency until the pairs' eigenvalues are nothing but noise.  The propagation constant that is read there is
 *             too large, and everything that is judged by it (weights, nstd, what noise of the standards does to a device) too good.
 * Idea        g^2/(jw) = (R + jwL) C with R = R0 + r sqrt f, wL = w L0 + r sqrt f (skin effect: as much inductance as resistance; Wheeler,
 *             Proc. IRE 30 (1942) 412): three numbers, found by least squares from the decade and a half above each frequency, going
 *             downwards.  Noise is the same at all frequencies in g^2/(jw), as long as it is small.  Where g^2 lies more than half of
 *             itself beside what they foretell, and again within the next two frequencies, the noise begins, and it does not end below.
 *             The limit is our own: at half, the eigenvectors are known to about a quarter. */
#include "rf/calibrate/lines/lines.h"
#include <math.h>

#define NOISY 0.5
#define REACH 30.0 /* a decade and a half */
#define USED 16    /* points of it */
#define ANEW 0.85  /* what was foretold serves down to here */

/* Times C, at frequency hz: resistance, its skin effect's part, and w L0.  Per metre squared, divided by w. */
struct telegraph {
        double hz, per_hz, r, skin, l; /* per_hz = 1/hz */
};
/* g^2 = jw z */
static double complex g2_of(const struct telegraph *t, double hz)
{
        double x = hz * t->per_hz, skin = t->skin * sqrt(x), w = RF_TWO_PI * hz;
        return CMPLX(-w * (t->l * x + skin), w * (t->r + skin));
}
static bool noisy(const struct telegraph *t, const struct diagnosis *d, size_t i)
{
        double hz = d->axis->hz[i];
        double complex g = CMPLX(d->gamma_re[i], d->gamma_im[i]), want = g2_of(t, hz);
        double complex off = g * g - want;
        return !(creal(off * conj(off)) <= NOISY * NOISY * creal(want * conj(want)));
}

/* min sum |z - r - skin sqrt x (1 + j) - j l x|^2 over points after i within reach (some of them, where they are many), each part not below
   zero. */
static struct telegraph above(const struct diagnosis *d, size_t i)
{
        const double *hz = d->axis->hz;
        struct telegraph t = {.hz = hz[i], .per_hz = 1 / hz[i]};
        double n = 0, s1 = 0, s2 = 0, s3 = 0, ss = 0, re = 0, both = 0, im = 0;
        size_t reach = axis_nearest(d->axis, REACH * hz[i]), step = reach > i + USED ? (reach - i) / USED : 1;
        for (size_t k = i + 1; k < d->axis->n && (k <= reach || k <= i + 3); k += step) {
                double x = hz[k] * t.per_hz, root = sqrt(x), per_w = 1 / (RF_TWO_PI * hz[k]);
                double complex g = CMPLX(d->gamma_re[k], d->gamma_im[k]), g2 = g * g, z = CMPLX(cimag(g2) * per_w, -creal(g2) * per_w);
                n += 1, s1 += root, s2 += x, s3 += x * root, ss += x * x;
                re += creal(z), both += root * (creal(z) + cimag(z)), im += x * cimag(z);
        }
        /* [n s1 0; s1 2 s2 s3; 0 s3 ss] (r, skin, l) = (re, both, im) */
        double pivot = 2 * s2 - s1 * s1 / n - s3 * s3 / ss;
        t.skin = pivot > 1e-9 * s2 ? fmax((both - s1 * re / n - s3 * im / ss) / pivot, 0) : 0;
        t.r = fmax((re - s1 * t.skin) / n, 0);
        t.l = fmax((im - s3 * t.skin) / ss, 0);
        return t;
}

/* The root of g^2 = jw (R + jwL) C, whose real part is never above zero: the sum under the root cancels nothing. */
static void take(const struct telegraph *t, struct diagnosis *d, size_t i)
{
        double complex square = g2_of(t, d->axis->hz[i]);
        double size = sqrt(creal(square) * creal(square) + cimag(square) * cimag(square));
        double im = sqrt((size - creal(square)) / 2), re = cimag(square) / (2 * im);
        double read = d->gamma_re[i] * d->gamma_re[i] + d->gamma_im[i] * d->gamma_im[i];
        d->gamma_re[i] = re;
        d->gamma_im[i] = im;
        if (read > size)
                d->nstd[i] *= sqrt(read / size); /* goes with 1/|g dl|, which is small here */
}

void lines_in_noise(size_t first, struct diagnosis *d)
{
        const double *hz = d->axis->hz;
        struct telegraph t = {.hz = INFINITY};
        for (size_t i = first; i-- > 0;) {
                if (d->nstd[i] < LINES_NSTD_LIMIT) /* readings of any use are no noise there */
                        continue;
                if (hz[i] < ANEW * t.hz)
                        t = above(d, i);
                if (!noisy(&t, d, i))
                        continue;
                if (i > 0 && !noisy(&t, d, i - 1) && !(i > 1 && noisy(&t, d, i - 2))) {
                        take(&t, d, i); /* one reading alone */
                        continue;
                }
                diagnosis_warn(d,
                               "up to %.4g GHz the lines differ by less than the noise of their readings: their propagation is taken from "
                               "above, and little can be said of devices; use a lumped method there, in a band of its own",
                               hz[i] / 1e9);
                for (size_t k = i + 1; k-- > 0;)
                        take(&t, d, k);
                return;
        }
}

void lines_widen(const struct problem *p, const struct line_set *ln, line_solver *solve, const struct line_choice *choice,
                 struct covariance *cov)
{
        for (size_t q = 0; q < cov->point_n; q++) {
                size_t i = cov->points[q];
                struct point at;
                struct line_solution s;
                point_load(p, i, &at);
                double much = solve(&at, ln, &choice[i], choice[i].g, 0, 0, NULL, &s, NULL) ? cabs(s.g) / cabs(choice[i].g) : NAN;
                for (size_t k = 0; much > 1 + NOISY / 4 && k < cov->column_n * TERM_COUNT; k++)
                        cov->d_terms[q * cov->column_n * TERM_COUNT + k] *= much;
        }
}
