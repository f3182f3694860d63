/* sign_at_dc.c: the sign that a ratio of waves has towards DC (orientation.h).
 * Idea        the phase of a way through cables falls in proportion to frequency, from 0: fitted by a line over the lowest frequencies, as far
 *             as no step turns by more than a sixth of a turn, it says there what it is at DC.  The list must reach near to DC: what is
 *             extrapolated is less than what is fitted. */
#include "rf/trust/orientation.h"
#include <math.h>

enum { LEAST = 5 };
#define STEP_MOST (RF_TWO_PI / 6)
#define NEAR (RF_TWO_PI / 8) /* of 0 or of half a turn */
#define SPREAD_MOST 0.3      /* radian, of the line */

int rf_sign_at_dc(const struct axis *axis, const double *re, const double *im)
{
        double phase = 0, f = 0, p = 0, ff = 0, fp = 0, pp = 0, n = 0, last_hz = 0;
        for (size_t i = 0; i < axis->n; i++) {
                double complex z = CMPLX(re[i], im[i]), before = i ? CMPLX(re[i - 1], im[i - 1]) : z;
                double step = carg(z * conj(before)), hz = axis->hz[i] / axis->hz[axis->n - 1];
                if (!(fabs(step) < STEP_MOST))
                        break;
                phase = i ? phase + step : carg(z);
                last_hz = axis->hz[i];
                f += hz;
                p += phase;
                ff += hz * hz;
                fp += hz * phase;
                pp += phase * phase;
                n++;
        }
        double spread = n * ff - f * f;
        if (n < LEAST || !(spread > 0) || !(axis->hz[0] <= last_hz - axis->hz[0]))
                return 0;
        double slope = (n * fp - f * p) / spread, at_dc = (p - slope * f) / n;
        double left = sqrt(
                fmax(0, pp / n - 2 * (at_dc * p + slope * fp) / n + at_dc * at_dc + 2 * at_dc * slope * f / n + slope * slope * ff / n));
        double folded = fabs(remainder(at_dc, RF_TWO_PI));
        return !(left < SPREAD_MOST) ? 0 : folded < NEAR ? 1 : folded > RF_TWO_PI / 2 - NEAR ? -1 : 0;
}
