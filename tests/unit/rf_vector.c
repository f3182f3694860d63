/* rf_vector.c: the logarithm, the angle and the exponential of numbers/vector_functions.h against the C library's in extended precision,
   and the same bytes from every kind of processor that this one can play. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <complex.h>
#undef I
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "rf/numbers/cpu.h"

enum { N_ = 20000 };
struct columns {
        double x[N_], y[N_], log_1p[N_], angle[N_], re[N_], im[N_];
};

#define LOOPS                                                        \
        HOT void N(all)(struct columns * c)                          \
        {                                                            \
                for (size_t i = 0; i < N_; i++) {                    \
                        c->log_1p[i] = N(log_1p)(c->x[i]);           \
                        c->angle[i] = N(angle)(c->y[i], c->x[i]);    \
                        struct cx e = N(e_to)(cx(c->y[i], c->x[i])); \
                        c->re[i] = e.re, c->im[i] = e.im;            \
                }                                                    \
        }
#define KIND _any
#define TARGET
#include "rf/numbers/vector.h"
#include "rf/numbers/vector_functions.h"
LOOPS
#include "rf/numbers/vector_end.h"
#if CPU_WIDE
#define KIND _wide
#define TARGET TARGET_256
#include "rf/numbers/vector.h"
#include "rf/numbers/vector_functions.h"
LOOPS
#include "rf/numbers/vector_end.h"
#define KIND _widest
#define TARGET TARGET_512
#include "rf/numbers/vector.h"
#include "rf/numbers/vector_functions.h"
LOOPS
#include "rf/numbers/vector_end.h"
#endif

static double draw(uint64_t *random, double lo, double hi)
{
        *random = *random * 6364136223846793005u + 1442695040888963407u;
        return lo + (hi - lo) * (double)(*random >> 11) * 0x1p-53;
}
/* Sizes from 1e-12 to 1e3 of either sign, and the places where reductions change. */
static struct columns *columns_new(void)
{
        static const double edges[] = {0x1p-1,
                                       0x1.6a09e667f3bcdp-1 - 1,
                                       0x1.6a09e667f3bccp-1 - 1,
                                       0x1.6a09e667f3bcdp0 - 1,
                                       1,
                                       0.41421356237309503,
                                       0.19891236737965801,
                                       0.66817863791929892,
                                       M_PI,
                                       M_PI / 4,
                                       M_PI / 2,
                                       M_LN2 / 2,
                                       M_LN2,
                                       1e-300,
                                       3 * M_PI / 2};
        enum { EDGES = sizeof edges / sizeof edges[0] };
        struct columns *c = malloc(sizeof *c);
        assert_non_null(c);
        uint64_t random = 7;
        for (size_t i = 0; i < N_; i++) {
                c->x[i] = (draw(&random, -1, 1) < 0 ? -1 : 1) * pow(10, draw(&random, -12, 3));
                c->y[i] = (draw(&random, -1, 1) < 0 ? -1 : 1) * pow(10, draw(&random, -12, 2));
                if (i < EDGES * EDGES) {
                        c->x[i] = edges[i / EDGES];
                        c->y[i] = edges[i % EDGES];
                } else if (i % 3 == 0) {
                        c->y[i] = c->x[i] * draw(&random, -3, 3);
                }
                if (fabs(c->y[i]) > 600)
                        c->y[i] /= 10;
        }
        return c;
}
/* In units of the last place of the true value. */
static double ulps(double got, long double want)
{
        double w = (double)want, ulp = nextafter(fabs(w), INFINITY) - fabs(w);
        return (double)(fabsl((long double)got - want) / ulp);
}

static void near_the_c_library(void **state)
{
        (void)state;
        struct columns *c = columns_new();
        all_any(c);
        double worst[3] = {0};
        for (size_t i = 0; i < N_; i++) {
                long double x = c->x[i], y = c->y[i], size = expl(y);
                if (x > -1)
                        worst[0] = fmax(worst[0], ulps(c->log_1p[i], log1pl(x)));
                worst[1] = fmax(worst[1], ulps(c->angle[i], atan2l(y, x)));
                /* each part to an ulp of the whole, and to its own within what pi/2 in two parts leaves at a root */
                double ulp = (double)size * DBL_EPSILON;
                worst[2] = fmax(worst[2], (double)(fabsl(c->re[i] - size * cosl(x)) / ulp));
                worst[2] = fmax(worst[2], (double)(fabsl(c->im[i] - size * sinl(x)) / ulp));
                if (fabsl(x) < 1.5L)
                        worst[2] = fmax(worst[2], ulps(c->im[i], size * sinl(x)));
        }
        print_message("log(1 + x) %.2f, angle %.2f, e^z %.2f ulp at most\n", worst[0], worst[1], worst[2]);
        for (int k = 0; k < 3; k++)
                assert_true(worst[k] < 3);
        free(c);
}

static void same_bytes_from_every_kind(void **state)
{
        (void)state;
        struct columns *a = columns_new();
        all_any(a);
#if CPU_WIDE
        struct columns *b = columns_new();
        if (cpu_can_wide()) {
                all_wide(b);
                assert_memory_equal(a, b, sizeof *a);
        }
        if (cpu_can_widest()) {
                all_widest(b);
                assert_memory_equal(a, b, sizeof *a);
        }
        free(b);
#endif
        free(a);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(near_the_c_library), cmocka_unit_test(same_bytes_from_every_kind)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
