/* circuit_varactor.c: the depletion capacitance of a varactor over its voltage, least squares in the logarithm of C (circuit.h).
 * C = cj0 / (1 + vr/phi)^m + cp: the usual junction law; common practice. */
#include "rf/models/circuit.h"
#include "rf/numbers/levenberg.h"
#include <math.h>
#include <string.h>

struct sweep {
        size_t n;
        const double *v, *c, *u;
        double floor_v; /* -smallest vr: phi must lie above it */
        bool cp;
};

static double law(const struct sweep *s, const double *x, double v)
{
        double phi = s->floor_v + exp(x[1]); /* 1 + vr/phi stays positive */
        return exp(x[0]) * pow(1 + v / phi, -exp(x[2])) + (s->cp ? exp(x[3]) : 0);
}
static void residual(const void *context, size_t first, size_t count, size_t x_n, const double *x, double *r)
{
        const struct sweep *s = context;
        for (size_t k = 0; k < x_n; k++, x += s->cp ? 4 : 3)
                for (size_t i = first; i < first + count; i++)
                        *r++ = log(law(s, x, s->v[i]) / s->c[i]) / (s->u ? s->u[i] / s->c[i] : 1);
}

enum code rf_fit_depletion(size_t n, const double *v, const double *c, const double *u, struct depletion *ret, struct tp_error *err)
{
        double least = INFINITY, most = 0, low_v = INFINITY, high_v = -INFINITY;
        for (size_t i = 0; i < n; i++) {
                if (!(isfinite(v[i]) && c[i] > 0 && isfinite(c[i]) && (!u || (u[i] > 0 && isfinite(u[i])))))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "bias point %zu: %g V, %g F; voltages must be numbers, capacitances and their uncertainties "
                                       "above 0",
                                       i + 1, v[i], c[i]);
                least = fmin(least, c[i]);
                most = fmax(most, c[i]);
                low_v = fmin(low_v, v[i]);
                high_v = fmax(high_v, v[i]);
        }
        if (n < 5)
                return tp_fail(err, CODE_BAD_INPUT, "a depletion law has four constants; %zu bias points are too few, measure at least 5",
                               n);
        if (!(high_v - low_v > 0.05))
                return tp_fail(err, CODE_BAD_INPUT, "all bias points lie within %.3g V; measure over the range of use", high_v - low_v);
        memset(ret, 0, sizeof *ret);
        ret->tuning = most / least;
        struct sweep s = {.n = n, .v = v, .c = c, .u = u, .floor_v = fmax(0, -low_v), .cp = true};
        double best[4] = {0}, best_rms = INFINITY;
        struct levenberg_result r, best_r = {0};
        for (int start = 0; start < 8; start++) {
                double phi = start & 1 ? 0.4 : 0.8, m = start & 2 ? 0.33 : 0.6, cp = least * (start & 4 ? 0.5 : 0.05);
                double x[4] = {log(most - cp), log(phi), log(m), log(cp)};
                struct levenberg p = {.n = 4, .items = n, .rows = 1, .residual = residual, .context = &s, .rounds_max = 200};
                if (levenberg_fit(&p, x, &r) && r.rms < best_rms) {
                        best_rms = r.rms;
                        best_r = r;
                        memcpy(best, x, sizeof best);
                }
        }
        double free_n = (double)n - 4, chi = best_rms * best_rms * (double)n / free_n, scale = u ? fmax(1, chi) : chi;
        if (!(best_r.covariance[15] * scale <= 0.25) && isfinite(best_rms)) { /* no parallel capacitance to be seen: without it */
                s.cp = false;
                double x[3] = {best[0], best[1], best[2]};
                struct levenberg p = {.n = 3, .items = n, .rows = 1, .residual = residual, .context = &s, .rounds_max = 200};
                if (levenberg_fit(&p, x, &r) && r.rms <= 1.02 * best_rms + 1e-9) {
                        best_rms = r.rms;
                        best_r = r;
                        memcpy(best, x, sizeof x);
                        ret->cp_dropped = true;
                        chi = best_rms * best_rms * (double)n / (free_n + 1);
                        scale = u ? fmax(1, chi) : chi;
                } else {
                        s.cp = true;
                }
        }
        if (!isfinite(best_rms))
                return tp_fail(err, CODE_UNRESOLVABLE, "no depletion law follows these %zu points", n);
        size_t k = s.cp ? 4 : 3;
        ret->cj0_f = exp(best[0]);
        ret->phi_v = s.floor_v + exp(best[1]);
        ret->m = exp(best[2]);
        ret->cp_f = s.cp ? exp(best[3]) : 0;
        ret->u_cj0_f = ret->cj0_f * sqrt(scale * best_r.covariance[0]);
        ret->u_phi_v = exp(best[1]) * sqrt(scale * best_r.covariance[k + 1]);
        ret->u_m = ret->m * sqrt(scale * best_r.covariance[2 * k + 2]);
        ret->u_cp_f = s.cp ? ret->cp_f * sqrt(scale * best_r.covariance[15]) : NAN;
        double sum = 0;
        for (size_t i = 0; i < n; i++) {
                double d = law(&s, best, v[i]) / c[i] - 1;
                sum += d * d;
        }
        ret->rms = sqrt(sum / (double)n);
        if (!(ret->rms <= 0.05))
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "no depletion law follows these %zu points: what is left is %.2g of C; leave out forward bias and "
                               "breakdown",
                               n, ret->rms);
        return CODE_OK;
}
