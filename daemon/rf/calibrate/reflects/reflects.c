/* reflects.c: which columns go where, and the choice of processor (reflects.h). */
#include "rf/calibrate/reflects/reflects.h"
#include "rf/numbers/columns.h"
#include "rf/numbers/quad.h"
#include <stdint.h>
#include <string.h>

struct lrm_columns {
        const struct net2 *thru, *thru_ideal, *match, *match_ideal, *reflect;
        const double *gf_re, *gf_im, *gr_re, *gr_im;
        struct cx estimate;
        double *const *t_re, *const *t_im;
        double *taken_re, *taken_im, *other_re, *other_im, *condition, *distance, *angle, *k; /* k: re, im, re, im … */
};
struct lrrm_input {
        const struct net2 *thru, *thru_ideal, *open, *shorted;
        const double *match_re[4], *match_im[4], *gm_re, *gm_im, *hz, *gf_re, *gf_im, *gr_re, *gr_im;
        struct lrrm_columns to;
        struct lrrm_match match;
        double *const *t_re, *const *t_im;
        double *taken_re, *taken_im, *other_re, *other_im, *condition, *distance, *angle, *residual;
};
struct step_columns {
        const double *taken_re, *taken_im, *other_re, *other_im;
        bool wide;
};

#define DEG (180 / RF_PI)
#define TERM_PUT(t, value)                              \
        do {                                            \
                struct cx put_ = (value);               \
                re[t][i] = put_.re, im[t][i] = put_.im; \
        } while (0)
#define LOOPS "rf/calibrate/reflects/reflects_loops.h"
#include "rf/numbers/kinds.h"

/* All below the limit; NaN is not. */
static bool all_below(size_t n, const double *x, double limit)
{
        bool good = true;
        for (size_t i = 0; i < n; i++)
                good &= x[i] < limit;
        return good;
}

static void z_is_50(const struct terms *out)
{
        for (size_t i = 0; i < out->axis->n; i++) {
                out->z_re[i] = 50;
                out->z_im[i] = 0;
        }
}

/* false: followed from the lowest frequency it is another root somewhere. */
static bool follow(enum cpu_kind kind, const struct axis *axis, double complex estimate, const double *taken_re, const double *taken_im,
                   struct other_root other, struct followed *ret)
{
        struct branch branch;
        struct step_columns steps = {.taken_re = taken_re, .taken_im = taken_im, .other_re = other.re, .other_im = other.im};
        CPU_RUN_ON(kind, steps, axis->n, &steps);
        branch_begin(&branch, estimate);
        for (size_t i = 0; i < (steps.wide ? axis->n : 1); i++)
                if (branch_step(&branch, axis->hz[i],
                                (double complex[2]){CMPLX(taken_re[i], taken_im[i]), CMPLX(other.re[i], other.im[i])}))
                        return false;
        *ret = branch.followed;
        return true;
}

/* Without switch terms: zeros, from the term that is none. */
static const double *zeros(const struct terms *out)
{
        memset(out->re[TERM_EXF], 0, out->axis->n * sizeof(double));
        return out->re[TERM_EXF];
}

bool reflects_lrm(enum cpu_kind kind, const struct problem *p, const struct lrm_roles *roles, double complex estimate,
                  struct other_root scratch, struct terms *out, struct diagnosis *d, double complex *ret_k, struct followed *ret)
{
        const struct rf_standard *s = p->standards;
        const struct switch_terms *sw = p->switch_terms;
        const double *zero = zeros(out);
        struct lrm_columns in = {.thru = s[roles->thru].raw,
                                 .thru_ideal = s[roles->thru].ideal,
                                 .match = s[roles->match].raw,
                                 .match_ideal = s[roles->match].ideal,
                                 .reflect = s[roles->reflect[0]].raw,
                                 .gf_re = sw ? sw->f_re : zero,
                                 .gf_im = sw ? sw->f_im : zero,
                                 .gr_re = sw ? sw->r_re : zero,
                                 .gr_im = sw ? sw->r_im : zero,
                                 .estimate = cx(creal(estimate), cimag(estimate)),
                                 .t_re = out->re,
                                 .t_im = out->im,
                                 .taken_re = d->reflect_re,
                                 .taken_im = d->reflect_im,
                                 .other_re = scratch.re,
                                 .other_im = scratch.im,
                                 .condition = d->condition,
                                 .distance = d->reflect_distance,
                                 .angle = d->reflect_angle_deg,
                                 .k = (double *)ret_k};
        if (roles->reflect_n > 1)
                return false;
        CPU_RUN_ON(kind, lrm, p->axis->n, &in);
        if (!all_below(p->axis->n, d->condition, LRM_CONDITION_REFUSE))
                return false;
        z_is_50(out);
        return follow(kind, p->axis, estimate, d->reflect_re, d->reflect_im, scratch, ret);
}

static struct lrrm_input lrrm_input_of(const struct problem *p, const struct lrrm_roles *roles, const struct lrrm_columns *columns,
                                       struct diagnosis *d, const double *zero)
{
        const struct rf_standard *s = p->standards, *match = &s[roles->match];
        const struct switch_terms *sw = p->switch_terms;
        struct lrrm_input in = {.thru = s[roles->thru].raw,
                                .thru_ideal = s[roles->thru].ideal,
                                .open = s[roles->open[0]].raw,
                                .shorted = s[roles->shorted[0]].raw,
                                .gm_re = match->ideal->re[0],
                                .gm_im = match->ideal->im[0],
                                .hz = p->axis->hz,
                                .gf_re = sw ? sw->f_re : zero,
                                .gf_im = sw ? sw->f_im : zero,
                                .gr_re = sw ? sw->r_re : zero,
                                .gr_im = sw ? sw->r_im : zero,
                                .to = *columns,
                                .taken_re = d->reflect_re,
                                .taken_im = d->reflect_im,
                                .condition = d->condition,
                                .distance = d->reflect_distance,
                                .angle = d->reflect_angle_deg};
        bool alone = match->ports == 1; /* nothing passes, and what is at the other port is not to be looked at */
        for (int k = 0; k < 4; k++) {
                in.match_re[k] = alone && k > 0 ? zero : match->raw->re[k];
                in.match_im[k] = alone && k > 0 ? zero : match->raw->im[k];
        }
        return in;
}

bool reflects_lrrm(enum cpu_kind kind, const struct problem *p, const struct lrrm_roles *roles, struct other_root scratch,
                   const struct lrrm_columns *ret_columns, struct diagnosis *d, struct followed *ret)
{
        size_t n = p->axis->n;
        if (roles->open_n > 1 || roles->short_n > 1 || p->standards[roles->match].offset)
                return false;
        memset(d->reflect_angle_deg, 0, n * sizeof(double)); /* written in the second half only */
        struct lrrm_input in = lrrm_input_of(p, roles, ret_columns, d, d->reflect_angle_deg);
        in.other_re = scratch.re;
        in.other_im = scratch.im;
        CPU_RUN_ON(kind, lrrm_first, n, &in);
        if (!all_below(n, d->condition, LRRM_CONDITION_REFUSE) || !column_finite(n, ret_columns->u_open))
                return false;
        return follow(kind, p->axis, 1, d->reflect_re, d->reflect_im, scratch, ret);
}

bool reflects_lrrm_terms(enum cpu_kind kind, const struct problem *p, const struct lrrm_roles *roles, const struct lrrm_columns *columns,
                         struct lrrm_match match, struct terms *out, struct diagnosis *d, double *ret_residual)
{
        struct lrrm_input in = lrrm_input_of(p, roles, columns, d, zeros(out));
        in.match = match;
        in.t_re = out->re;
        in.t_im = out->im;
        in.residual = ret_residual;
        CPU_RUN_ON(kind, lrrm_second, p->axis->n, &in);
        z_is_50(out);
        return column_finite(p->axis->n, ret_residual);
}
