/* terms.c: memory of error terms, and the boxes they come from (terms.h). */
#include "rf/correct/terms.h"
#include <math.h>

const char *const term_words[TERM_COUNT + 1] = {"EDF", "ESF", "ERF", "EDR", "ESR", "ERR", "K",
                                                "ELF", "ETF", "EXF", "ELR", "ETR", "EXR", NULL};

const char *const terms_model_words[TERMS_MODEL_COUNT + 1] = {"unknown", "one_port", "eight", "twelve", "sixteen", NULL};

#define TERMS_COLUMNS (2 + 2 * TERM_COUNT + 2 * FULL_COUNT)
size_t terms_bytes(size_t n) { return TERMS_COLUMNS * net2_stride(n) * sizeof(double); }

struct terms terms_at(void *memory_64, const struct axis *axis)
{
        size_t stride = net2_stride(axis->n);
        double *column = memory_64;
        struct terms t = {.axis = axis, .method = ""};
        for (size_t i = 0; i < TERMS_COLUMNS * stride; i++)
                column[i] = NAN;
        t.z_re = column;
        t.z_im = column + stride;
        column += 2 * stride;
        for (int k = 0; k < TERM_COUNT; k++, column += 2 * stride) {
                t.re[k] = column;
                t.im[k] = column + stride;
        }
        for (int k = 0; k < FULL_COUNT; k++, column += 2 * stride) {
                t.full_re[k] = column;
                t.full_im[k] = column + stride;
        }
        return t;
}

unsigned terms_ports(const struct terms *t)
{
        if (t->model != TERMS_ONE_PORT)
                return t->model == TERMS_UNKNOWN ? 0 : 3;
        return (isnan(t->re[TERM_EDF][0]) ? 0 : 1u) | (isnan(t->re[TERM_EDR][0]) ? 0 : 2u);
}

struct m2 box_x(struct box x) { return m2_of(x.a, x.b, x.c, 1); }
struct m2 box_y(struct box y) { return m2_of(y.a, -y.c, -y.b, 1); }

void terms_from_boxes(struct box x, struct box y, double complex r, double complex t[TERM_COUNT])
{
        t[TERM_EDF] = x.b;
        t[TERM_ESF] = -x.c;
        t[TERM_ERF] = x.a - x.b * x.c;
        t[TERM_EDR] = y.b;
        t[TERM_ESR] = -y.c;
        t[TERM_ERR] = y.a - y.b * y.c;
        t[TERM_ETF] = 1 / r; /* e10 e32 = K ERR */
        t[TERM_K] = t[TERM_ETF] / t[TERM_ERR];
        t[TERM_ELF] = t[TERM_ESR];
        t[TERM_ELR] = t[TERM_ESF];
        t[TERM_ETR] = t[TERM_ERF] * t[TERM_ERR] * r;
        t[TERM_EXF] = t[TERM_EXR] = 0;
}

void terms_put(struct terms *terms, size_t i, const double complex t[TERM_COUNT])
{
        for (int k = 0; k < TERM_COUNT; k++) {
                terms->re[k][i] = creal(t[k]);
                terms->im[k][i] = cimag(t[k]);
        }
}
