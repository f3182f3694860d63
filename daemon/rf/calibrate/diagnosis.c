/* diagnosis.c: memory of a diagnosis, its sentences and its residuals (diagnosis.h). */
#include "rf/calibrate/solve.h"
#include "rf/numbers/columns.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* All column pointers of a diagnosis, in the order of its memory. */
#define DIAGNOSIS_COLUMNS 32
static void diagnosis_columns(struct diagnosis *d, double **to[DIAGNOSIS_COLUMNS])
{
        double **all[DIAGNOSIS_COLUMNS] = {&d->condition,
                                           &d->residual_rms,
                                           &d->residual_worst,
                                           &d->k_disagreement,
                                           &d->switch_difference,
                                           &d->reciprocity,
                                           &d->thru_s21_re,
                                           &d->thru_s21_im,
                                           &d->gamma_re,
                                           &d->gamma_im,
                                           &d->eps_re,
                                           &d->eps_im,
                                           &d->loss_db_mm,
                                           &d->phase_eff_deg,
                                           &d->nstd,
                                           &d->zc_re,
                                           &d->zc_im,
                                           &d->reflect_re,
                                           &d->reflect_im,
                                           &d->reflect_distance,
                                           &d->reflect_angle_deg,
                                           &d->common_line,
                                           &d->leakage,
                                           &d->consistency,
                                           &d->second_opinion,
                                           &d->match_r_ohm,
                                           &d->match_l_h,
                                           &d->match_weight};
        memcpy(to, all, sizeof all);
}

size_t diagnosis_bytes(size_t n) { return DIAGNOSIS_COLUMNS * net2_stride(n) * sizeof(double); }

struct diagnosis diagnosis_at(void *memory_64, const struct axis *axis)
{
        struct diagnosis d = {
                .axis = axis, .contradiction_hz = NAN, .contradiction_deg = NAN, .root_start_hz = NAN, .root_unfollowed_hz = NAN};
        double **columns[DIAGNOSIS_COLUMNS], *column = memory_64;
        size_t stride = net2_stride(axis->n);
        for (size_t i = 0; i < DIAGNOSIS_COLUMNS * stride; i++)
                column[i] = NAN;
        diagnosis_columns(&d, columns);
        for (int k = 0; k < DIAGNOSIS_COLUMNS && columns[k]; k++, column += stride)
                *columns[k] = column;
        for (size_t k = 0; k < RF_STANDARD_MAX; k++)
                d.standard[k] = (struct standard_residual){NAN, NAN, NAN};
        for (size_t k = 0; k < RF_STANDARD_MAX; k++)
                d.line_length_error_m[k] = d.line_length_u_m[k] = NAN;
        d.match_l_fit_h = d.match_c_fit_f = d.match_r_fit_ohm = d.open_c_fit_f = NAN;
        d.match_l_u_h = d.match_c_u_f = d.match_r_u_ohm = d.open_c_u_f = NAN;
        d.match_l_apart_h = d.match_c_apart_f = NAN;
        d.match_other_l_h = d.match_other_c_f = 0;
        return d;
}

void diagnosis_warn(struct diagnosis *d, const char *fmt, ...)
{
        if (d->warning_n >= sizeof d->warning / sizeof d->warning[0])
                return;
        va_list args;
        va_start(args, fmt);
        vsnprintf(d->warning[d->warning_n++], sizeof d->warning[0], fmt, args);
        va_end(args);
}

size_t runs_above(size_t n, const double *column, double limit, size_t max, size_t (*ret)[2])
{
        size_t runs = 0;
        for (size_t i = 0; i < n; i++) {
                if (!(column[i] > limit))
                        continue;
                size_t first = i;
                while (i + 1 < n && column[i + 1] > limit)
                        i++;
                if (runs < max) {
                        ret[runs][0] = first;
                        ret[runs][1] = i;
                }
                runs++;
        }
        return runs;
}

const char *where_above(const struct axis *a, const double *column, double limit, char ret[96])
{
        size_t run[3][2], n = runs_above(a->n, column, limit, 3, run), used = 0, beyond = 0, last = 0;
        for (size_t i = 0; i < a->n; i++)
                if (column[i] > limit) {
                        last = i;
                        beyond++;
                }
        ret[0] = 0;
        if (n > 3)
                snprintf(ret, 96, "at %zu of %zu frequencies from %.4g to %.4g GHz", beyond, a->n, a->hz[run[0][0]] / 1e9,
                         a->hz[last] / 1e9);
        for (size_t k = 0; k < n && n <= 3 && used < 96; k++) {
                const char *join = k == 0 ? "" : k + 1 == n ? " and " : ", ";
                double from = a->hz[run[k][0]] / 1e9, to = a->hz[run[k][1]] / 1e9;
                used += (size_t)(from < to ? snprintf(ret + used, 96 - used, "%sfrom %.4g to %.4g", join, from, to)
                                           : snprintf(ret + used, 96 - used, "%sat %.4g", join, from));
        }
        if (n > 0 && n <= 3 && used < 96)
                snprintf(ret + used, 96 - used, " GHz");
        return ret;
}

void diagnosis_warn_condition(struct diagnosis *d, double limit, const char *what, const char *cure)
{
        char where[96];
        size_t worst = 0;
        for (size_t i = 0; i < d->axis->n; i++)
                worst = d->condition[i] > d->condition[worst] ? i : worst;
        if (d->condition[worst] > limit)
                diagnosis_warn(d, "%s %s (condition number up to %.3g, at %.6g GHz): noise and errors of the definitions grow there; %s",
                               where_above(d->axis, d->condition, limit, where), what, d->condition[worst], d->axis->hz[worst] / 1e9, cure);
}

void residuals_none(const struct problem *p, struct diagnosis *d)
{
        column_fill(p->axis->n, d->residual_rms, NAN);
        column_fill(p->axis->n, d->residual_worst, NAN);
        for (size_t k = 0; k < p->standard_n; k++)
                d->standard[k] = (struct standard_residual){NAN, NAN, NAN};
}

void residuals_finish(const struct problem *p, struct diagnosis *d, const double *residual)
{
        double sum[RF_STANDARD_MAX] = {0};
        size_t count[RF_STANDARD_MAX] = {0};
        for (size_t i = 0; i < p->axis->n; i++) {
                double sum_here = 0, worst_here = NAN;
                size_t n_here = 0;
                for (size_t k = 0; k < p->standard_n; k++) {
                        double r = residual[i * p->standard_n + k];
                        if (isnan(r))
                                continue;
                        sum_here += r * r;
                        worst_here = fmax(worst_here, r);
                        n_here++;
                        sum[k] += r * r;
                        count[k]++;
                        if (!(r <= d->standard[k].worst)) {
                                d->standard[k].worst = r;
                                d->standard[k].worst_hz = p->axis->hz[i];
                        }
                }
                d->residual_rms[i] = n_here ? sqrt(sum_here / (double)n_here) : NAN;
                d->residual_worst[i] = worst_here;
        }
        for (size_t k = 0; k < p->standard_n; k++)
                d->standard[k].rms = count[k] ? sqrt(sum[k] / (double)count[k]) : NAN;
}
