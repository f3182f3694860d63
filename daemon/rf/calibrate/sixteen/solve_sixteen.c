/* solve_sixteen.c: "sixteen_term": the full error network, leakage included, from five or more fully known two-ports (calibration.h).
 * Sources     Butler et al., IEEE Trans. MTT 39 (1991) 2211; Silvonen, Electron. Lett. 29 (1993) 1544.
 * Idea        The linear equations of each frequency by structured elimination (eliminate.h), several frequencies side by side.
 * Parts       sixteen.h lists them.
 * Not here    standards with unknown parts; correction (correct_full.c). */
#include "rf/calibrate/sixteen/sixteen.h"
#include "rf/calibrate/solve.h"
#include "rf/correct/correct_full.h"
#include "rf/numbers/cpu.h"
#include <math.h>

#define RESIDUAL_LIMIT 0.02

void sixteen_run_any(const struct sixteen_columns *in, void *scratch);
#if CPU_WIDE
void sixteen_run_wide(const struct sixteen_columns *in, void *scratch);
void sixteen_run_widest(const struct sixteen_columns *in, void *scratch);
#endif
const struct sixteen_kind sixteen_kinds[] = {{"any", cpu_can_any, sixteen_run_any},
#if CPU_WIDE
                                             {"wide", cpu_can_wide, sixteen_run_wide},
                                             {"widest", cpu_can_widest, sixteen_run_widest},
#endif
                                             {NULL, NULL, NULL}};

void sixteen_run(const struct sixteen_columns *in, void *scratch)
{
#if CPU_WIDE
        if (in->n <= 4 && cpu_can_wide()) { /* lanes that nobody fills cost their time all the same */
                sixteen_run_wide(in, scratch);
                return;
        }
#endif
        CPU_RUN(sixteen_run, in, scratch);
}

static size_t up64(size_t bytes) { return (bytes + 63) & ~(size_t)63; }

/* Readings, definitions and weights of a group, then 40 m numbers (loops.h).  One standard more, for sixteen_refuse(). */
size_t sixteen_scratch_bytes(size_t m)
{
        size_t widest = 8 * sizeof(double), complex_widest = 2 * widest;
        return up64(sizeof(size_t)) + SIXTEEN_M_MAX * (8 * complex_widest + 2 * widest) + 40 * (m + 1) * complex_widest;
}

size_t sixteen_workspace(size_t n, size_t standards)
{
        return up64(sixteen_scratch_bytes(standards)) + up64(n * standards * sizeof(double)) + sixteen_sensitivity_bytes(standards);
}

/* Best known first. */
static void columns_of(const struct problem *p, struct terms *out, struct diagnosis *d, double *residual, struct sixteen_columns *ret)
{
        size_t order[RF_STANDARD_MAX];
        *ret = (struct sixteen_columns){.n = p->axis->n,
                                        .m = p->standard_n,
                                        .weighted = true,
                                        .switch_terms = p->switch_terms,
                                        .t_re = out->full_re,
                                        .t_im = out->full_im,
                                        .condition = d->condition,
                                        .consistency = d->consistency,
                                        .residual = residual};
        for (size_t s = 0; s < p->standard_n; s++)
                ret->weighted = ret->weighted && p->standards[s].u_ideal > 0;
        for (size_t s = 0; s < p->standard_n; s++) {
                size_t at = s;
                for (; ret->weighted && at > 0 && p->standards[order[at - 1]].u_ideal > p->standards[s].u_ideal; at--)
                        order[at] = order[at - 1];
                order[at] = s;
        }
        for (size_t k = 0; k < p->standard_n; k++) {
                const struct rf_standard *s = &p->standards[order[k]];
                ret->standard[k].raw_re = s->raw->re;
                ret->standard[k].raw_im = s->raw->im;
                ret->standard[k].s_re = s->ideal->re;
                ret->standard[k].s_im = s->ideal->im;
                ret->standard[k].w = ret->weighted ? p->standards[order[0]].u_ideal / s->u_ideal : 1;
                ret->standard[k].place = order[k];
        }
}

static void warnings(const struct problem *p, struct diagnosis *d)
{
        diagnosis_warn_condition(d, SIXTEEN_CONDITION_LIMIT, "the standards hardly tell the sixteen terms apart",
                                 "add a two-port that differs from them there, or leave the leakage out (\"known_standards\")");
        size_t worst = 0;
        for (size_t s = 0; s < p->standard_n; s++)
                worst = d->standard[s].worst > d->standard[worst].worst ? s : worst;
        if (d->standard[worst].worst > RESIDUAL_LIMIT)
                diagnosis_warn(
                        d,
                        "%s was read %.2g away from what the terms predict at %.6g GHz: a wrong definition or a bad contact, of it or "
                        "of another standard",
                        standard_name(&p->standards[worst]), d->standard[worst].worst, d->standard[worst].worst_hz / 1e9);
}

enum code sixteen_solve(const struct problem *p, void *workspace, struct terms *out, struct covariance *cov, struct diagnosis *d,
                        struct tp_error *err)
{
        const struct method *method = rf_method("sixteen_term");
        enum code code = rf_problem_check(method, p, err);
        if (code || (code = sixteen_check(p, err)))
                return code;
        size_t n = p->axis->n, m = p->standard_n;
        char *scratch = workspace, *at = scratch + up64(sixteen_scratch_bytes(m));
        double *residual = (double *)(void *)at;
        struct sixteen_columns columns;
        columns_of(p, out, d, residual, &columns);
        sixteen_run(&columns, scratch);
        for (size_t i = 0; i < n; i++)
                if (!(d->condition[i] <= SIXTEEN_CONDITION_REFUSE))
                        return sixteen_refuse(p, i, d->condition[i], scratch, err);
        full_to_eight_all(out, d->leakage);
        for (size_t i = 0; i < n; i++) {
                out->z_re[i] = 50;
                out->z_im[i] = 0;
        }
        out->method = method->word;
        out->model = TERMS_SIXTEEN;
        out->plane = PLANE_TIP;
        out->switch_removed = p->switch_terms != NULL;
        residuals_finish(p, d, residual);
        warnings(p, d);
        if (cov)
                sixteen_sensitivities(p, out, columns.weighted, cov, at + up64(n * m * sizeof(double)));
        return CODE_OK;
}
