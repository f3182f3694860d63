/* tip.c: raw points to the calibration's plane.
 * Choice      The switch terms are the calibration's means, not the sweep's own: they belong to the analyzer's hardware state, and those
 * read on an open or a short are a quotient of two noises. */
#include "evaluate/inside.h"
#include "rf/network/convert.h"
#include <math.h>
#include <string.h>

enum code calibration_map(const struct calibration *c, const struct raw_sweep *raw, struct arena *arena, const uint32_t **ret,
                          struct tp_error *err)
{
        *ret = NULL;
        if (raw->n == c->axis.n && (raw->hz == c->axis.hz || !memcmp(raw->hz, c->axis.hz, raw->n * sizeof *raw->hz)))
                return CODE_OK;
        uint32_t *map = arena_take(arena, raw->n * sizeof *map);
        if (!map)
                return tp_fail_memory(err);
        size_t i = 0;
        for (size_t j = 0; j < raw->n; j++) {
                while (i + 1 < c->axis.n && c->axis.hz[i] < raw->hz[j] * (1 - 1e-12))
                        i++;
                if (!(fabs(c->axis.hz[i] - raw->hz[j]) <= 1e-12 * raw->hz[j]))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "the calibration has no terms at %.9g Hz (point %zu of the sweep; it holds %zu frequencies from "
                                       "%.9g to %.9g Hz); calibrate with a sweep plan that contains it",
                                       raw->hz[j], j, c->axis.n, c->axis.hz[0], c->axis.hz[c->axis.n - 1]);
                map[j] = (uint32_t)i;
        }
        *ret = map;
        return CODE_OK;
}

struct m2 tip_point(const struct calibration *c, const struct raw_sweep *raw, size_t j, size_t i)
{
        struct m2 m;
        for (int k = 0; k < 4; k++)
                m.e[k] = CMPLX(raw->re[k][j], raw->im[k][j]);
        if ((c->terms.model == TERMS_EIGHT || c->terms.model == TERMS_SIXTEEN) && c->terms.switch_removed)
                m = rf_switch_remove_point(m, CMPLX(c->sw.f_re[i], c->sw.f_im[i]), CMPLX(c->sw.r_re[i], c->sw.r_im[i]));
        return rf_correct2_point(&c->terms, i, m);
}

struct m2 standard_at(const struct standard *s, double t_c, double hz) { return standard_point(s, t_c, hz); }
