/* pick.c: see pick.h. */
#include "rf/correct/pick.h"
#include <math.h>

enum code rf_pick(const struct axis *have, const struct axis *want, size_t *ret_at, struct tp_error *err)
{
        for (size_t i = 0, j = 0; i < want->n; i++) {
                double hz = want->hz[i];
                while (j + 1 < have->n && have->hz[j] < hz * (1 - 1e-9))
                        j++;
                if (!(fabs(have->hz[j] - hz) <= 1e-9 * hz))
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "the calibration has no %.9g Hz: it has %zu frequencies from %.9g to %.9g Hz; sweep the same list, or "
                                "calibrate again",
                                hz, have->n, have->hz[0], have->hz[have->n - 1]);
                ret_at[i] = j;
        }
        return CODE_OK;
}

static void column(const double *from, const size_t *at, size_t n, double *to)
{
        for (size_t i = 0; i < n; i++)
                to[i] = from[at[i]];
}

void rf_pick_terms(const struct terms *from, const size_t *at, struct terms *to)
{
        size_t n = to->axis->n;
        to->method = from->method;
        to->model = from->model;
        to->plane = from->plane;
        to->switch_removed = from->switch_removed;
        column(from->z_re, at, n, to->z_re);
        column(from->z_im, at, n, to->z_im);
        for (int k = 0; k < TERM_COUNT; k++) {
                column(from->re[k], at, n, to->re[k]);
                column(from->im[k], at, n, to->im[k]);
        }
        for (int k = 0; k < FULL_COUNT; k++) {
                column(from->full_re[k], at, n, to->full_re[k]);
                column(from->full_im[k], at, n, to->full_im[k]);
        }
}

void rf_pick_switch_terms(const struct switch_terms *from, const size_t *at, struct switch_terms *to)
{
        size_t n = to->axis->n;
        column(from->f_re, at, n, to->f_re);
        column(from->f_im, at, n, to->f_im);
        column(from->r_re, at, n, to->r_re);
        column(from->r_im, at, n, to->r_im);
}

void rf_pick_net2(const struct net2 *from, const size_t *at, struct net2 *to)
{
        size_t n = to->axis->n;
        to->plane = from->plane;
        column(from->z_re, at, n, to->z_re);
        column(from->z_im, at, n, to->z_im);
        for (int k = 0; k < 4; k++) {
                column(from->re[k], at, n, to->re[k]);
                column(from->im[k], at, n, to->im[k]);
        }
}
