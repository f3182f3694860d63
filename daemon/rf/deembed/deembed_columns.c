/* deembed_columns.c: "open" and "open_short", what every wafer does some hundred thousand times, by vectors of frequencies (deembed_own.h).
   The points' way knows all methods and says what is wrong; where this returns false nothing was written and it is taken. */
#include "rf/numbers/cpu.h"
#include "rf/numbers/cx.h"
#include "rf/deembed/deembed_own.h"
#include <stdint.h>

enum { BLOCK = 256 };
struct quad {
        struct cx s11, s12, s21, s22;
};
struct columns {
        const double *device[8], *open[8], *shorted[8]; /* re and im of S11 S12 S21 S22 in turn */
        double *to[8];
};
#define READ_FROM(name, c)                                                                                       \
        const double *name##11_re = (c)[0], *name##11_im = (c)[1], *name##12_re = (c)[2], *name##12_im = (c)[3]; \
        const double *name##21_re = (c)[4], *name##21_im = (c)[5], *name##22_re = (c)[6], *name##22_im = (c)[7]
#define WRITE_TO(name)                                                                                                 \
        double *name##11_re = in->to[0], *name##11_im = in->to[1], *name##12_re = in->to[2], *name##12_im = in->to[3]; \
        double *name##21_re = in->to[4], *name##21_im = in->to[5], *name##22_re = in->to[6], *name##22_im = in->to[7]
#define QUAD(name, i) ((struct quad){AT(name##11, i), AT(name##12, i), AT(name##21, i), AT(name##22, i)})
#define QUAD_PUT(name, i, q)             \
        do {                             \
                PUT(name##11, i, q.s11); \
                PUT(name##12, i, q.s12); \
                PUT(name##21, i, q.s21); \
                PUT(name##22, i, q.s22); \
        } while (0)

#define LOOPS "rf/deembed/deembed_loops.h"
#include "rf/numbers/kinds.h"

static void columns_of(const struct net2 *net, size_t from, const double *c[8])
{
        for (int k = 0; k < 4; k++) {
                c[2 * k] = net->re[k] + from;
                c[2 * k + 1] = net->im[k] + from;
        }
}

/* to_block (may be NULL): where results go instead of to out, each block over the last.  false: something was singular. */
static bool run(enum deembed_method method, const struct net2 *measured, const struct net2 *open, const struct net2 *shorted,
                struct net2 *out, double to_block[8][BLOCK])
{
        size_t n = measured->axis->n;
        bool strange = false;
        for (size_t from = 0; from < n && !strange; from += BLOCK) {
                size_t here = n - from < BLOCK ? n - from : BLOCK;
                struct columns c;
                columns_of(measured, from, c.device);
                columns_of(open, from, c.open);
                columns_of(shorted ? shorted : open, from, c.shorted);
                for (int k = 0; k < 8; k++)
                        c.to[k] = to_block ? to_block[k] : (k % 2 ? out->im : out->re)[k / 2] + from;
                if (method == RF_DEEMBED_OPEN)
                        CPU_RUN(open, here, &c, &strange);
                else
                        CPU_RUN(open_short, here, &c, &strange);
        }
        return !strange;
}

bool deembed_columns(enum deembed_method method, const struct net2 *measured, const struct net2 *open, const struct net2 *shorted,
                     struct net2 *out)
{
        double block[8][BLOCK] __attribute__((aligned(64)));
        if (method != RF_DEEMBED_OPEN && method != RF_DEEMBED_OPEN_SHORT)
                return false;
        bool in_place = false;
        for (int k = 0; k < 4; k++)
                in_place = in_place || out->re[k] == measured->re[k] || out->im[k] == measured->im[k];
        /* a point that fails late must find its device as it was: first all of it to nowhere */
        if (in_place && !run(method, measured, open, shorted, out, block))
                return false;
        return run(method, measured, open, shorted, out, NULL);
}
