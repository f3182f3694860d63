/* reflect_size.c: see reflect_size.h.  Limits: 2 % is what contact and noise of a good touch leave (common practice, no source); one frequency
   alone may be noise, so a tenth of them must say it. */
#include "rf/calibrate/reflect_size.h"
#include "rf/calibrate/solve.h"
#include <math.h>

#define BEYOND 0.02
#define LOSSY 0.03 /* alpha/beta: in a complex impedance |Gamma| of a passive reactance exceeds 1 by up to twice this */
#define NSTD_GOOD 3.0
enum { ONE_OF = 10 };

double rf_reflect_size(const struct problem *p, const struct diagnosis *d, size_t i)
{
        double size = hypot(d->reflect_re[i], d->reflect_im[i]);
        if (!isfinite(d->gamma_re[i]))
                return size;
        if (!(d->nstd[i] <= NSTD_GOOD) || !(fabs(d->gamma_re[i]) < LOSSY * fabs(d->gamma_im[i])))
                return NAN;
        return size / exp(-2 * d->gamma_re[i] * p->reflect_offset_m);
}

void rf_reflect_size_warn(const struct problem *p, struct diagnosis *d)
{
        size_t n = 0, beyond = 0, most = 0;
        double largest = 0;
        for (size_t i = 0; i < p->axis->n; i++) {
                double size = rf_reflect_size(p, d, i);
                n += isfinite(size);
                beyond += size > 1 + BEYOND;
                if (size > largest) {
                        largest = size;
                        most = i;
                }
        }
        if (beyond == 0 || beyond * ONE_OF < n)
                return;
        bool lines = isfinite(d->gamma_re[most]);
        diagnosis_warn(d,
                       "the solved reflect returns more than it gets: |G| is up to %.3g, at %.6g GHz, and beyond %.3g at %zu of %zu "
                       "frequencies; %s",
                       largest, p->axis->hz[most] / 1e9, 1 + BEYOND, beyond, n,
                       lines ? "it is not alike at both ports, or a line is not as the others are"
                             : "the match is not what it is told to be (is it alike at both ports?), or the reflect is not alike at them");
}
