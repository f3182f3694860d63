/* ready.c: see ready.h.
 * Choice      Blocks of eight frequencies: the terms are one stream instead of twenty-four.  A point is some eighty products of ten
 *             numbers; with the terms' own products made ready too it is seventy of thirteen, and what is saved in the arithmetic is
 *             lost in fetching them: a sweep's terms do not fit the first cache.
 * Rejected    Several sweeps a call, a piece of the terms kept close: short runs cost what it saves.  Writing past the cache: faster from
 *             memory, and the next reader waits.
 */
#include "rf/correct/ready.h"
#include "rf/correct/convert_terms.h"
#include "rf/correct/correct_kernel.h"
#include "rf/numbers/cpu.h"
#include "rf/numbers/quad.h"
#include <math.h>
#include <string.h>

#define LOOPS "rf/correct/ready_loops.h"
#include "rf/numbers/kinds.h"

#if CPU_WIDE
const struct ready_kernel ready_kernels[] = {
        {"any", cpu_can_any, ready_any}, {"256", cpu_can_wide, ready_wide}, {"512", cpu_can_widest, ready_widest}};
#else
const struct ready_kernel ready_kernels[] = {{"any", cpu_can_any, ready_any}};
#endif
const size_t ready_kernel_n = sizeof ready_kernels / sizeof ready_kernels[0];

size_t ready_bytes(size_t n) { return 2 * READY_COUNT * net2_stride(n) * sizeof(double); }

/* Twelve terms of point i, whichever the calibration has. */
static void twelve_at(const struct terms *terms, const struct switch_terms *or_null, size_t i, double complex t[TERM_COUNT])
{
        for (int k = 0; k < TERM_COUNT; k++)
                t[k] = CMPLX(terms->re[k][i], terms->im[k][i]);
        if (terms->model == TERMS_EIGHT)
                terms_switch_in(t, or_null ? CMPLX(or_null->f_re[i], or_null->f_im[i]) : 0,
                                or_null ? CMPLX(or_null->r_re[i], or_null->r_im[i]) : 0);
}

static bool column_same(size_t n, const double *x) { return n < 2 || memcmp(x, x + 1, (n - 1) * sizeof *x) == 0; }

enum code rf_ready(const struct terms *terms, const struct switch_terms *or_null, void *memory_64, struct ready_terms *ret,
                   struct tp_error *err)
{
        if (terms->model != TERMS_EIGHT && terms->model != TERMS_TWELVE)
                return tp_fail(err, CODE_BAD_INPUT, "only eight or twelve terms can be made ready for many sweeps; these are %s",
                               terms_model_words[terms->model]);
        enum code code = terms->model == TERMS_EIGHT ? correct_check_switch(terms, or_null, err) : CODE_OK;
        if (code)
                return code;
        size_t n = terms->axis->n;
        *ret = (struct ready_terms){.terms = terms, .block = memory_64};
        for (size_t i = 0; i < n && terms->model == TERMS_TWELVE; i++) /* no number is not 0 */
                ret->leaks = ret->leaks || !(terms->re[TERM_EXF][i] == 0 && terms->im[TERM_EXF][i] == 0 && terms->re[TERM_EXR][i] == 0 &&
                                             terms->im[TERM_EXR][i] == 0);
        ret->one_z = column_same(n, terms->z_re) && column_same(n, terms->z_im);
        size_t numbers = ret->leaks ? READY_COUNT : READY_TIGHT;
        for (size_t i = 0; i < n; i++) {
                double complex t[TERM_COUNT];
                twelve_at(terms, or_null, i, t);
                const double complex x[READY_COUNT] = {t[TERM_EDF],
                                                       t[TERM_ESF],
                                                       t[TERM_ERF],
                                                       t[TERM_EDR],
                                                       t[TERM_ESR],
                                                       t[TERM_ERR],
                                                       t[TERM_ELF],
                                                       t[TERM_ELR],
                                                       t[TERM_ERF] / t[TERM_ETF],
                                                       t[TERM_ERR] / t[TERM_ETR],
                                                       t[TERM_EXF],
                                                       t[TERM_EXR]};
                double *e = ret->block + (i / 8) * 16 * numbers + i % 8;
                for (size_t k = 0; k < numbers; k++) {
                        e[16 * k] = creal(x[k]);
                        e[16 * k + 8] = cimag(x[k]);
                }
        }
        return CODE_OK;
}

enum code rf_correct2_ready(const struct ready_terms *ready, const struct net2 *raw, struct net2 *out, struct tp_error *err)
{
        enum code code = correct_check(ready->terms, raw, out, err);
        bool same = false;
        if (code)
                return code;
        CPU_RUN(ready, ready, raw, out, &same);
        correct_end(ready->terms, ready->one_z && same, out);
        return CODE_OK;
}
