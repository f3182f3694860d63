/* deembed_lines.c: two lines behind equal pads (deembed.h).
 * Sources     Mangan et al., IEEE Trans. ED 53 (2006) 235: T_L T_2L^-1 T_L = T_P1 T_P2, whatever the pads are.  The propagation constant
 *             from the eigenvalues exp(-+gl) of T_2L T_L^-1, a similarity transform of the line alone: Engen & Hoer, IEEE Trans. MTT 27
 *             (1979) 987; it believes nothing about the pads but that they are equal. */
#include "rf/network/convert.h"
#include "rf/deembed/deembed.h"
#include "rf/numbers/small.h"
#include <math.h>

struct m2 rf_l2l_pads(struct m2 line, struct m2 line_double)
{
        struct m2 t = rf_t_from_s(line);
        return rf_s_from_t(m2_mul(t, m2_mul(m2_inv(rf_t_from_s(line_double)), t)));
}

enum code rf_l2l_gamma(const struct net2 *line, const struct net2 *line_double, double difference_m, double *gamma_re, double *gamma_im,
                       bool *valid, struct tp_error *err)
{
        if (!axis_equal(line->axis, line_double->axis))
                return tp_fail(err, CODE_BAD_INPUT, "the two lines were swept at different frequencies; measure both with one sweep plan");
        if (!(difference_m > 0 && difference_m < 1))
                return tp_fail(err, CODE_BAD_INPUT, "a difference of %.6g m is none of two on-wafer lines; give it in metres, below 1",
                               difference_m);
        double complex before = 0;
        double before_hz = 0;
        for (size_t i = 0; i < line->axis->n; i++) {
                double hz = line->axis->hz[i];
                struct m2 a = net2_get(line, i), b = net2_get(line_double, i);
                if (!rf_t_exists(a) || !rf_t_exists(b))
                        return tp_fail(err, CODE_UNRESOLVABLE, "a line does not transmit at %.9g Hz; measure it again", hz);
                double complex lambda[2], vector[2][2];
                small_eigen2(m2_mul(rf_t_from_s(b), m2_inv(rf_t_from_s(a))), lambda, vector);
                /* Two readings of one number: lambda_- and 1/lambda_+.  Which is which is chosen by continuity; at the start by a
                   phase that falls, and by loss where the line is too short to have one. */
                double complex best = 0;
                double best_distance = INFINITY, want_im = before_hz > 0 ? cimag(before) * hz / before_hz : 0;
                for (int k = 0; k < 2; k++) {
                        double complex e = (lambda[k] + 1 / lambda[1 - k]) / 2, gl = -clog(e);
                        gl += CMPLX(0, RF_TWO_PI * round((want_im - cimag(gl)) / RF_TWO_PI));
                        double distance =
                                before_hz > 0 ? cabs(gl - CMPLX(creal(before) * sqrt(hz / before_hz), want_im)) : -cimag(gl) - creal(gl);
                        if (distance < best_distance) {
                                best_distance = distance;
                                best = gl;
                        }
                }
                if (!isfinite(creal(best)) || !isfinite(cimag(best)) || !isfinite(best_distance))
                        return tp_fail(err, CODE_UNRESOLVABLE, "the two lines tell no propagation constant at %.9g Hz; look at them", hz);
                gamma_re[i] = creal(best) / difference_m;
                gamma_im[i] = cimag(best) / difference_m;
                if (valid)
                        valid[i] = cabs(csinh(best)) >= 0.3;
                before = best;
                before_hz = hz;
        }
        return CODE_OK;
}
