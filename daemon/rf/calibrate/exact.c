/* exact.c: which columns go where, and the choice of processor (exact.h). */
#include "rf/calibrate/exact.h"
#include "rf/numbers/finite.h"
#include "rf/correct/correct_kernel.h"
#include "rf/numbers/cpu.h"
#include "rf/numbers/cx.h"
#include "rf/calibrate/solve.h"
#include <math.h>
#include <stdint.h>
#include <string.h>

struct box_columns {
        const double *g_re[3], *g_im[3], *w_re[3], *w_im[3];
        double *ed_re, *ed_im, *es_re, *es_im, *er_re, *er_im, *condition;
        bool second; /* condition holds the other port's already */
};
struct thru_columns {
        const double *s_re[4], *s_im[4], *m_re[2], *m_im[2], *ed_re, *ed_im, *es_re, *es_im, *er_re, *er_im;
        double *el_re, *el_im, *et_re, *et_im;
};
struct quality_columns {
        double *const *t_re, *const *t_im;
        const double *gf_re, *gf_im, *gr_re, *gr_im;
        double *disagreement, *difference;
};
struct root_columns {
        const double *m_re[4], *m_im[4], *hz;
        double *const *t_re, *const *t_im;
        struct exact_root to;
        double tau_s;
};
struct rest_columns {
        double *const *t_re, *const *t_im;
        struct exact_root root;
        const signed char *sign;
};

#define KIND _any
#define TARGET
#include "rf/calibrate/exact_loops.h"
#if CPU_WIDE
#define KIND _wide
#define TARGET TARGET_256
#include "rf/calibrate/exact_loops.h"
#define KIND _widest
#define TARGET TARGET_512
#include "rf/calibrate/exact_loops.h"
#endif

/* The three reflections that a port has, by index; false: other than three. */
static bool three_at(const struct problem *p, unsigned port, size_t at[3])
{
        size_t n = 0;
        for (size_t k = 0; k < p->standard_n; k++) {
                const struct rf_standard *s = &p->standards[k];
                if (!is_reflection(s->kind) || (s->ports != 0 && !(s->ports & port)))
                        continue;
                if (n == 3)
                        return false;
                at[n++] = k;
        }
        return n == 3;
}

static const struct rf_standard *only_thru(const struct problem *p)
{
        const struct rf_standard *found = NULL;
        for (size_t k = 0; k < p->standard_n; k++) {
                if (p->standards[k].kind != RF_THRU)
                        continue;
                if (found)
                        return NULL;
                found = &p->standards[k];
        }
        return found;
}

/* raw[k]: what is read of standard k, with or without switch terms. */
static bool boxes(const struct problem *p, const struct net2 *const *raw, struct terms *out, double *condition)
{
        for (unsigned port = 1; port <= 2; port++) {
                size_t at[3], entry = port == 1 ? 0 : 3;
                enum term d = port == 1 ? TERM_EDF : TERM_EDR, s = port == 1 ? TERM_ESF : TERM_ESR, t = port == 1 ? TERM_ERF : TERM_ERR;
                if (!three_at(p, port, at))
                        return false;
                struct box_columns in = {.ed_re = out->re[d],
                                         .ed_im = out->im[d],
                                         .es_re = out->re[s],
                                         .es_im = out->im[s],
                                         .er_re = out->re[t],
                                         .er_im = out->im[t],
                                         .condition = condition,
                                         .second = port == 2};
                for (int j = 0; j < 3; j++) {
                        in.g_re[j] = p->standards[at[j]].ideal->re[entry];
                        in.g_im[j] = p->standards[at[j]].ideal->im[entry];
                        in.w_re[j] = raw[at[j]]->re[entry];
                        in.w_im[j] = raw[at[j]]->im[entry];
                }
                if (port == 1)
                        memset(condition, 0, p->axis->n * sizeof *condition);
                CPU_RUN(box, p->axis->n, &in);
        }
        return column_finite(p->axis->n, condition);
}

static void z_is_50(struct terms *out)
{
        for (size_t i = 0; i < out->axis->n; i++) {
                out->z_re[i] = 50;
                out->z_im[i] = 0;
        }
}

static bool terms_finite(const struct terms *t)
{
        for (int k = 0; k < TERM_COUNT; k++)
                if (!column_finite(t->axis->n, t->re[k]) || !column_finite(t->axis->n, t->im[k]))
                        return false;
        return true;
}

bool exact_sol(const struct problem *p, struct terms *out, double *condition)
{
        const struct net2 *raw[RF_STANDARD_MAX];
        for (size_t k = 0; k < p->standard_n; k++)
                raw[k] = p->standards[k].raw;
        if (!boxes(p, raw, out, condition))
                return false;
        z_is_50(out);
        return true;
}

bool exact_solt(const struct problem *p, struct terms *out, struct diagnosis *d)
{
        const struct rf_standard *t = only_thru(p);
        const struct switch_terms *sw = p->switch_terms;
        static const int turned[4] = {3, 2, 1, 0};
        if (!t || !exact_sol(p, out, d->condition))
                return false;
        for (int reverse = 0; reverse < 2; reverse++) {
                enum term ed = reverse ? TERM_EDR : TERM_EDF, es = reverse ? TERM_ESR : TERM_ESF, er = reverse ? TERM_ERR : TERM_ERF;
                enum term el = reverse ? TERM_ELR : TERM_ELF, et = reverse ? TERM_ETR : TERM_ETF;
                struct thru_columns in = {.ed_re = out->re[ed],
                                          .ed_im = out->im[ed],
                                          .es_re = out->re[es],
                                          .es_im = out->im[es],
                                          .er_re = out->re[er],
                                          .er_im = out->im[er],
                                          .el_re = out->re[el],
                                          .el_im = out->im[el],
                                          .et_re = out->re[et],
                                          .et_im = out->im[et]};
                for (int k = 0; k < 4; k++) {
                        in.s_re[k] = t->ideal->re[reverse ? turned[k] : k];
                        in.s_im[k] = t->ideal->im[reverse ? turned[k] : k];
                }
                for (int k = 0; k < 2; k++) {
                        in.m_re[k] = t->raw->re[reverse ? turned[2 * k] : 2 * k];
                        in.m_im[k] = t->raw->im[reverse ? turned[2 * k] : 2 * k];
                }
                CPU_RUN(thru, p->axis->n, &in);
        }
        for (int k = TERM_EXF; k <= TERM_EXR; k += TERM_EXR - TERM_EXF) {
                memset(out->re[k], 0, p->axis->n * sizeof(double));
                memset(out->im[k], 0, p->axis->n * sizeof(double));
        }
        /* without measured switch terms the implied ones are held against themselves and the column goes back to what it was */
        struct quality_columns q = {.t_re = out->re,
                                    .t_im = out->im,
                                    .gf_re = sw ? sw->f_re : out->re[TERM_EXF],
                                    .gf_im = sw ? sw->f_im : out->im[TERM_EXF],
                                    .gr_re = sw ? sw->r_re : out->re[TERM_EXF],
                                    .gr_im = sw ? sw->r_im : out->im[TERM_EXF],
                                    .disagreement = d->k_disagreement,
                                    .difference = d->switch_difference};
        CPU_RUN(quality, p->axis->n, &q);
        for (size_t i = 0; !sw && i < p->axis->n; i++)
                d->switch_difference[i] = NAN;
        return terms_finite(out);
}

size_t exact_bytes(size_t n) { return RF_STANDARD_MAX * sizeof(struct net2) + 4 * net2_bytes(n) + 64; }

/* All of them with the switch terms taken out, three reflections and a thru: four networks at the most. */
static bool unterminated(const struct problem *p, char *scratch, const struct net2 **raw)
{
        struct net2 *nets = (struct net2 *)(void *)scratch;
        char *memory = scratch + RF_STANDARD_MAX * sizeof *nets;
        memory += (64 - (uintptr_t)memory % 64) % 64;
        if (p->standard_n > 4)
                return false;
        for (size_t k = 0; k < p->standard_n; k++) {
                const struct rf_standard *s = &p->standards[k];
                raw[k] = s->raw;
                if (!p->switch_terms || (is_reflection(s->kind) && s->ports != 0 && s->ports != 3))
                        continue;
                nets[k] = net2_at(memory, p->axis, PLANE_RECEIVER);
                memory += net2_bytes(p->axis->n);
                kernels_best()->unterminate(p->axis->n, s->raw, p->switch_terms, &nets[k]);
                raw[k] = &nets[k];
        }
        return true;
}

bool exact_unknown_thru(const struct problem *p, void *scratch, struct terms *out, double *condition, const struct exact_root *ret)
{
        const struct net2 *raw[RF_STANDARD_MAX];
        const struct rf_standard *t = only_thru(p);
        size_t n = p->axis->n;
        if (!t || !unterminated(p, scratch, raw) || !boxes(p, raw, out, condition))
                return false;
        const struct net2 *m = raw[t - p->standards];
        struct root_columns in = {.hz = p->axis->hz, .t_re = out->re, .t_im = out->im, .to = *ret, .tau_s = p->thru_delay_s_guess};
        for (int k = 0; k < 4; k++) {
                in.m_re[k] = m->re[k];
                in.m_im[k] = m->im[k];
        }
        CPU_RUN(root, n, &in);
        z_is_50(out);
        return column_finite(n, ret->r_re) && column_finite(n, ret->r_im) && column_finite(n, ret->ratio_re) &&
               column_finite(n, ret->ratio_im);
}

void exact_unknown_thru_terms(size_t n, const struct exact_root *root, const signed char *sign, struct terms *out)
{
        struct rest_columns in = {.t_re = out->re, .t_im = out->im, .root = *root, .sign = sign};
        CPU_RUN(rest, n, &in);
}
