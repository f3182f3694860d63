/* trl_columns.c: which columns go where, and the choice of processor (trl_columns.h). */
#include "rf/calibrate/lines/trl_columns.h"
#include "rf/numbers/columns.h"
#include "rf/numbers/cpu.h"
#include <math.h>
#include <stdint.h>
#include <string.h>

struct trl_move { /* to = e^{-2 g d} */
        struct cx_column g, to;
        double d_m;
};

#define LOOPS "rf/calibrate/lines/trl_loops.h"
#include "rf/numbers/kinds.h"

enum { SCRATCH = 30 }; /* columns of doubles, ratio and zeros among them */

size_t trl_columns_bytes(size_t n) { return net2_stride(n) * (SCRATCH * sizeof(double) + sizeof(signed char) + sizeof(bool)) + 64; }

static void lay_out(void *memory, size_t n, struct trl_columns *c)
{
        size_t stride = net2_stride(n);
        struct cx_column *pairs[] = {&c->y,  &c->root, &c->b1,     &c->ca1,      &c->b2,     &c->ca2,  &c->a1,
                                     &c->a2, &c->etf,  &c->solved, &c->estimate, &c->offset, &c->shift};
        double *column = (double *)(void *)((char *)memory + (64 - (uintptr_t)memory % 64) % 64);
        for (size_t k = 0; k < sizeof pairs / sizeof pairs[0]; k++, column += 2 * stride)
                *pairs[k] = (struct cx_column){column, column + stride};
        c->turn = column;
        c->sinh2 = column + stride;
        c->ratio = (double complex *)(void *)(column + 2 * stride);
        c->sign = (signed char *)(column + 4 * stride);
        c->trusted = (bool *)(c->sign + stride);
}

/* What is read; without switch terms a column of zeros stands for them, one that is written only later. */
static void take_raw(const struct problem *p, const struct line_set *ln, struct trl_columns *c)
{
        double *zeros = c->shift.re;
        memset(zeros, 0, p->axis->n * sizeof *zeros);
        for (int k = 0; k < 2; k++)
                c->line[k] = line_reading(p, ln->at[k], 0, zeros);
        c->reflect = line_reading(p, ln->reflect[0], 0, zeros);
        c->hz = p->axis->hz;
        c->dl_m = p->standards[ln->at[1]].length_m - p->standards[ln->at[0]].length_m;
}

static void take_results(const struct problem *p, struct terms *out, struct diagnosis *d, struct trl_columns *c)
{
        c->g = (struct cx_column){d->gamma_re, d->gamma_im};
        c->eps = (struct cx_column){d->eps_re, d->eps_im};
        c->zc = (struct cx_column){d->zc_re, d->zc_im};
        c->reflected = (struct cx_column){d->reflect_re, d->reflect_im};
        for (int k = 0; k < TERM_COUNT; k++)
                c->term[k] = (struct cx_column){out->re[k], out->im[k]};
        c->nstd = d->nstd;
        c->residual_rms = d->residual_rms;
        c->residual_worst = d->residual_worst;
        c->reciprocity = d->reciprocity;
        c->phase_eff_deg = d->phase_eff_deg;
        c->condition = d->condition;
        c->loss_db_mm = d->loss_db_mm;
        c->reflect_distance = d->reflect_distance;
        c->reflect_angle_deg = d->reflect_angle_deg;
        c->guess = p->reflect_estimate;
        c->z_to_ohm = p->z_ref_ohm > 0 ? p->z_ref_ohm : 50;
        if (p->line_c_f_m > 0)
                c->zc_of_g = 1 / (CMPLX(0, RF_TWO_PI * p->line_c_f_m) * CMPLX(1, -p->line_loss_tangent));
        else
                c->zc_fixed = p->line_z_ohm > 0 ? p->line_z_ohm : c->z_to_ohm; /* not known: nothing is moved */
}

static void moved(size_t n, const struct trl_columns *c, double d_m, struct cx_column to)
{
        struct trl_move in = {.g = c->g, .to = to, .d_m = d_m};
        CPU_RUN(trl_moved, n, &in);
}

/* Orders and whole turns outward from the first frequency; true: somewhere the order is not the one that was supposed. */
static bool follow(const struct problem *p, size_t first, const struct trl_columns *c)
{
        bool turned = false;
        double complex x = lines_guess(p, c->hz[first]) * c->dl_m;
        CPU_RUN(trl_follow, c, first, p->axis->n - 1, cx(creal(x), cimag(x)), c->hz[first], &turned);
        if (first > 0)
                CPU_RUN(trl_follow, c, first - 1, 0, cx(c->g.re[first] * c->dl_m, c->g.im[first] * c->dl_m), c->hz[first], &turned);
        return turned;
}

static bool solved(size_t n, const struct trl_columns *c)
{
        return column_finite(n, c->nstd) && column_finite(n, c->a1.re) && column_finite(n, c->a1.im);
}

bool trl_columns_begin(const struct problem *p, const struct line_set *ln, void *workspace, struct terms *out, struct diagnosis *d,
                       struct trl_columns *c)
{
        size_t n = p->axis->n;
        if (ln->n != 2 || ln->reflect_n != 1 || p->standard_n != 3)
                return false;
        *c = (struct trl_columns){0};
        lay_out(workspace, n, c);
        take_raw(p, ln, c);
        take_results(p, out, d, c);
        for (size_t i = 0; i < n; i++)
                c->turn[i] = 1;
        CPU_RUN(trl_pair, n, c);
        if (!solved(n, c))
                return false;
        if (follow(p, lines_first_frequency(p, ln), c)) {
                CPU_RUN(trl_pair, n, c);
                if (!solved(n, c))
                        return false;
        }
        lines_in_noise(lines_first_frequency(p, ln), d); /* residuals there stay those against what was read */
        moved(n, c, p->reflect_offset_m, c->offset);
        if (p->plane_shift_m == p->reflect_offset_m)
                c->shift = c->offset;
        else
                moved(n, c, p->plane_shift_m, c->shift);
        CPU_RUN(trl_gamma, n, c);
        return true;
}

/* The line alone leaves a residual: the thru is met, and one reflect gives one number. */
static void residuals(const struct problem *p, const struct line_set *ln, struct diagnosis *d)
{
        struct standard_residual *thru = &d->standard[ln->at[0]], *line = &d->standard[ln->at[1]], *reflect = &d->standard[ln->reflect[0]];
        double sum = 0;
        for (size_t i = 0; i < p->axis->n; i++) {
                double r = d->residual_worst[i];
                sum += r * r;
                if (!(r <= line->worst)) {
                        line->worst = r;
                        line->worst_hz = p->axis->hz[i];
                }
        }
        line->rms = sqrt(sum / (double)p->axis->n);
        *thru = (struct standard_residual){0, 0, p->axis->hz[0]};
        *reflect = (struct standard_residual){NAN, NAN, NAN};
}

void trl_columns_end(const struct problem *p, const struct line_set *ln, const struct trl_columns *c, struct terms *out,
                     struct diagnosis *d)
{
        size_t n = p->axis->n;
        bool known = p->line_c_f_m > 0 || p->line_z_ohm > 0;
        for (size_t i = 0; i < n; i++)
                c->turn[i] = c->sign[i];
        CPU_RUN(trl_terms, n, c);
        for (size_t i = 0; i < n; i++) {
                out->z_re[i] = known ? c->z_to_ohm : NAN;
                out->z_im[i] = known ? 0 : NAN;
                d->zc_re[i] = known ? d->zc_re[i] : NAN;
                d->zc_im[i] = known ? d->zc_im[i] : NAN;
                d->common_line[i] = 0;
                d->second_opinion[i] = NAN;
        }
        residuals(p, ln, d);
        lines_warn_quality(p, d);
        lines_warn_impedance(p, d);
}

struct line_choice trl_columns_choice(const struct trl_columns *c, size_t i)
{
        return (struct line_choice){CMPLX(c->g.re[i], c->g.im[i]), c->sign[i] * CMPLX(c->a1.re[i], c->a1.im[i]), 0};
}
