/* correct_kernel.c: the loops of correct_loops.h for each kind of processor, and the choice.
   No ifunc: its resolver runs before sanitizers are up. */
#include "rf/correct/correct_kernel.h"
#include "rf/numbers/cpu.h"
#include "rf/numbers/quad.h"

struct eight {
        struct cx edf, esf, erf, edr, esr, err, etf, etr; /* etf = K ERR, etr = ERF/K */
};
struct twelve {
        struct cx edf, esf, erf, edr, esr, err, elf, etf, exf, elr, etr, exr;
};

#define TERM_COLUMN(name, t) const double *name##_re = e->re[t], *name##_im = e->im[t]
#define TERM_COLUMNS_8              \
        TERM_COLUMN(edf, TERM_EDF); \
        TERM_COLUMN(esf, TERM_ESF); \
        TERM_COLUMN(erf, TERM_ERF); \
        TERM_COLUMN(edr, TERM_EDR); \
        TERM_COLUMN(esr, TERM_ESR); \
        TERM_COLUMN(err, TERM_ERR); \
        TERM_COLUMN(etf, TERM_ETF); \
        TERM_COLUMN(etr, TERM_ETR)
#define TERM_COLUMNS_12             \
        TERM_COLUMN(elf, TERM_ELF); \
        TERM_COLUMN(exf, TERM_EXF); \
        TERM_COLUMN(elr, TERM_ELR); \
        TERM_COLUMN(exr, TERM_EXR)
#define EIGHT_AT(i) ((struct eight){AT(edf, i), AT(esf, i), AT(erf, i), AT(edr, i), AT(esr, i), AT(err, i), AT(etf, i), AT(etr, i)})
#define TWELVE_AT(i)                                                                                                                 \
        ((struct twelve){AT(edf, i), AT(esf, i), AT(erf, i), AT(edr, i), AT(esr, i), AT(err, i), AT(elf, i), AT(etf, i), AT(exf, i), \
                         AT(elr, i), AT(etr, i), AT(exr, i)})

static struct cx cx_of(double complex z) { return cx(creal(z), cimag(z)); }
static struct quad quad_of(struct m2 m) { return (struct quad){cx_of(m.e[0]), cx_of(m.e[1]), cx_of(m.e[2]), cx_of(m.e[3])}; }
static struct m2 m2_of_quad(struct quad q)
{
        return m2_of(CMPLX(q.s11.re, q.s11.im), CMPLX(q.s12.re, q.s12.im), CMPLX(q.s21.re, q.s21.im), CMPLX(q.s22.re, q.s22.im));
}

#define LOOPS "rf/correct/correct_loops.h"
#include "rf/numbers/kinds.h"

#define ROW(word, kind)                                                                                                              \
        {                                                                                                                            \
                word, cpu_can_##kind, unterminate_all_##kind, correct8_all_##kind, correct8_switch_all_##kind, correct12_all_##kind, \
                        point8_##kind, point12_##kind, point_unterminate_##kind                                                      \
        }
#if CPU_WIDE
const struct kernels kernels[] = {ROW("any", any), ROW("256", wide), ROW("512", widest)};
#else
const struct kernels kernels[] = {ROW("any", any)};
#endif
const size_t kernel_n = sizeof kernels / sizeof kernels[0];

const struct kernels *kernels_best(void)
{
        size_t k = kernel_n - 1;
        while (!kernels[k].can())
                k--;
        return &kernels[k];
}
