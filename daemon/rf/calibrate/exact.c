/* exact.c: which columns go where, and the choice of processor (exact.h). */
#include "rf/calibrate/exact.h"
#include "rf/numbers/columns.h"
#include "rf/numbers/cpu.h"
#include "rf/numbers/cx.h"
#include "rf/calibrate/solve.h"
#include <math.h>
#include <stdint.h>
#include <string.h>

enum { BLOCK = 64, LONG_BLOCK = 256 }; /* points that go through all steps together; with nothing copied, the longer */
enum { READ_MAX = 7 };                 /* three reflections for each port, one thru */

struct box_columns {
        const double *g_re[3], *g_im[3], *w_re[3], *w_im[3];
        double *ed_re, *ed_im, *es_re, *es_im, *er_re, *er_im, *condition;
};
/* A standard with its switch terms taken out of it, block by block; or as it is. */
struct bare_columns {
        const double *m_re[4], *m_im[4];
        double *to[8]; /* re and im of S11 S12 S21 S22 in turn */
        bool as_read, thru;
};
struct exact_columns {
        struct box_columns box[2];
        double *t_re[TERM_COUNT], *t_im[TERM_COUNT];
        /* the thru: defined, and as read */
        const double *s_re[4], *s_im[4], *m_re[4], *m_im[4];
        const double *gf_re, *gf_im, *gr_re, *gr_im;
        double *disagreement, *difference;
        /* unknown thru */
        const struct switch_terms *sw;
        struct bare_columns bare[READ_MAX];
        size_t bare_n;
        double *thru_block[8], *s21_re, *s21_im;
        const double *hz;
        double tau_s;
};
struct near_columns {
        double *re, *im;
};
/* The largest of columns of numbers >= 0, as the integers of their bits; strange: of numbers that only need be numbers. */
struct exact_bits {
        int64_t condition, k_disagreement, switch_difference, thru_power, strange;
        bool lost;
};

#define TERM_AT(name, term, at) double *name##_re = in->t_re[term] + at, *name##_im = in->t_im[term] + at
#define BOX_TERMS(at)               \
        TERM_AT(edf, TERM_EDF, at); \
        TERM_AT(esf, TERM_ESF, at); \
        TERM_AT(erf, TERM_ERF, at); \
        TERM_AT(edr, TERM_EDR, at); \
        TERM_AT(esr, TERM_ESR, at); \
        TERM_AT(err, TERM_ERR, at)
#define PATH_TERMS(at)              \
        TERM_AT(elf, TERM_ELF, at); \
        TERM_AT(etf, TERM_ETF, at); \
        TERM_AT(elr, TERM_ELR, at); \
        TERM_AT(etr, TERM_ETR, at)

#define LOOPS "rf/calibrate/exact_loops.h"
#include "rf/numbers/kinds.h"

static double largest(int64_t bits)
{
        double x;
        memcpy(&x, &bits, sizeof x);
        return x;
}
/* The figures, and whether all of them are numbers. */
static bool figures(const struct exact_bits *bits, struct exact_worst *ret)
{
        *ret = (struct exact_worst){largest(bits->condition), largest(bits->k_disagreement), sqrt(largest(bits->switch_difference)),
                                    largest(bits->thru_power)};
        return isfinite(ret->condition) && isfinite(ret->k_disagreement) && isfinite(ret->switch_difference) && isfinite(ret->thru_power) &&
               isfinite(largest(bits->strange));
}

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

static void columns_of(const struct net2 *net, const double *re[4], const double *im[4])
{
        for (int k = 0; k < 4; k++) {
                re[k] = net->re[k];
                im[k] = net->im[k];
        }
}

/* bare: standard k without its switch terms is bare[k]; NULL: what is read goes in as it is. */
static bool boxes(const struct problem *p, const struct bare_columns *bare, struct terms *out, double *condition, struct exact_columns *ret)
{
        for (int k = 0; k < TERM_COUNT; k++) {
                ret->t_re[k] = out->re[k];
                ret->t_im[k] = out->im[k];
        }
        for (unsigned port = 1; port <= 2; port++) {
                size_t at[3], entry = port == 1 ? 0 : 3;
                enum term d = port == 1 ? TERM_EDF : TERM_EDR, s = port == 1 ? TERM_ESF : TERM_ESR, t = port == 1 ? TERM_ERF : TERM_ERR;
                struct box_columns *in = &ret->box[port - 1];
                if (!three_at(p, port, at))
                        return false;
                *in = (struct box_columns){.ed_re = out->re[d],
                                           .ed_im = out->im[d],
                                           .es_re = out->re[s],
                                           .es_im = out->im[s],
                                           .er_re = out->re[t],
                                           .er_im = out->im[t],
                                           .condition = condition};
                for (int j = 0; j < 3; j++) {
                        const struct rf_standard *standard = &p->standards[at[j]];
                        in->g_re[j] = standard->ideal->re[entry];
                        in->g_im[j] = standard->ideal->im[entry];
                        in->w_re[j] = bare ? bare[at[j]].to[2 * entry] : standard->raw->re[entry];
                        in->w_im[j] = bare ? bare[at[j]].to[2 * entry + 1] : standard->raw->im[entry];
                }
        }
        return true;
}

static void z_is_50(struct terms *out)
{
        column_fill(out->axis->n, out->z_re, 50);
        column_fill(out->axis->n, out->z_im, 0);
}
static void no_crosstalk(struct terms *out)
{
        for (int k = TERM_EXF; k <= TERM_EXR; k += TERM_EXR - TERM_EXF) {
                column_fill(out->axis->n, out->re[k], 0);
                column_fill(out->axis->n, out->im[k], 0);
        }
}

bool exact_sol(const struct problem *p, struct terms *out, struct diagnosis *d, struct exact_worst *ret)
{
        struct exact_columns in = {0};
        struct exact_bits bits = {0};
        if (!boxes(p, NULL, out, d->condition, &in))
                return false;
        CPU_RUN(sol, p->axis->n, &in, &bits);
        z_is_50(out);
        return figures(&bits, ret);
}

bool exact_solt(const struct problem *p, struct terms *out, struct diagnosis *d, struct exact_worst *ret)
{
        const struct rf_standard *t = only_thru(p);
        const struct switch_terms *sw = p->switch_terms;
        struct exact_columns in = {.disagreement = d->k_disagreement, .difference = d->switch_difference};
        struct exact_bits bits = {0};
        if (!t || !boxes(p, NULL, out, d->condition, &in))
                return false;
        columns_of(t->ideal, in.s_re, in.s_im);
        columns_of(t->raw, in.m_re, in.m_im);
        if (sw) {
                in.gf_re = sw->f_re, in.gf_im = sw->f_im, in.gr_re = sw->r_re, in.gr_im = sw->r_im;
                CPU_RUN(solt_switch, p->axis->n, &in, &bits);
        } else {
                CPU_RUN(solt, p->axis->n, &in, &bits);
                column_fill(p->axis->n, d->switch_difference, NAN);
        }
        no_crosstalk(out);
        z_is_50(out);
        return figures(&bits, ret);
}

bool exact_unknown_thru(const struct problem *p, struct terms *out, struct diagnosis *d, struct exact_worst *ret)
{
        double block[READ_MAX][8][BLOCK] __attribute__((aligned(64)));
        const struct rf_standard *t = only_thru(p);
        struct exact_columns in = {.sw = p->switch_terms,
                                   .bare_n = p->standard_n,
                                   .s21_re = d->thru_s21_re,
                                   .s21_im = d->thru_s21_im,
                                   .hz = p->axis->hz,
                                   .tau_s = p->thru_delay_s_guess};
        struct exact_bits bits = {0};
        if (!t || p->standard_n > READ_MAX)
                return false;
        for (size_t k = 0; k < p->standard_n; k++) {
                const struct rf_standard *s = &p->standards[k];
                bool one_port = is_reflection(s->kind) && s->ports != 0 && s->ports != 3;
                in.bare[k].as_read = one_port || !p->switch_terms;
                in.bare[k].thru = s == t;
                columns_of(s->raw, in.bare[k].m_re, in.bare[k].m_im);
                for (int j = 0; j < 8; j++)
                        in.bare[k].to[j] = block[k][j];
        }
        if (!boxes(p, in.bare, out, d->condition, &in))
                return false;
        memcpy(in.thru_block, in.bare[t - p->standards].to, sizeof in.thru_block);
        CPU_RUN(unknown_thru, p->axis->n, &in, &bits);
        no_crosstalk(out);
        z_is_50(out);
        return figures(&bits, ret) && !bits.lost;
}
