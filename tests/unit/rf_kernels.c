/* rf_kernels.c: the loops for each kind of processor give the same bytes, whole sweeps and single points alike. */
#include "rf/correct/correct.h"
#include "rf/correct/correct_kernel.h"
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { POINTS = 203 }; /* no multiple of any vector's length */

struct bench {
        double hz[POINTS];
        struct axis axis;
        struct net2 raw, out, again;
        struct switch_terms sw;
        struct terms terms;
        void *memory[5];
};
static double draw(uint64_t *state)
{
        *state = *state * 6364136223846793005u + 1442695040888963407u;
        return (double)(int64_t)*state / 9.3e18;
}
static void *take(size_t n)
{
        void *p = aligned_alloc(64, (n + 63) / 64 * 64);
        assert_non_null(p);
        return p;
}
static void bench_open(struct bench *b, uint64_t seed)
{
        for (int i = 0; i < POINTS; i++)
                b->hz[i] = 70e3 + 1e9 * i;
        assert_int_equal(axis_of(POINTS, b->hz, &b->axis, NULL), CODE_OK);
        b->raw = net2_at(b->memory[0] = take(net2_bytes(POINTS)), &b->axis, PLANE_RECEIVER);
        b->out = net2_at(b->memory[1] = take(net2_bytes(POINTS)), &b->axis, PLANE_RECEIVER);
        b->again = net2_at(b->memory[2] = take(net2_bytes(POINTS)), &b->axis, PLANE_RECEIVER);
        b->sw = switch_terms_at(b->memory[3] = take(switch_terms_bytes(POINTS)), &b->axis);
        b->terms = terms_at(b->memory[4] = take(terms_bytes(POINTS)), &b->axis);
        for (int i = 0; i < POINTS; i++) {
                for (int k = 0; k < 4; k++) {
                        b->raw.re[k][i] = draw(&seed);
                        b->raw.im[k][i] = draw(&seed);
                }
                b->sw.f_re[i] = 0.2 * draw(&seed);
                b->sw.f_im[i] = 0.2 * draw(&seed);
                b->sw.r_re[i] = 0.2 * draw(&seed);
                b->sw.r_im[i] = 0.2 * draw(&seed);
                for (int t = 0; t < TERM_COUNT; t++) {
                        bool big = t == TERM_ERF || t == TERM_ERR || t == TERM_K || t == TERM_ETF || t == TERM_ETR;
                        b->terms.re[t][i] = (big ? 0.7 : 0) + 0.2 * draw(&seed);
                        b->terms.im[t][i] = 0.2 * draw(&seed);
                }
        }
        b->raw.re[2][17] = NAN;                  /* what is no number stays with its own point */
        b->raw.re[2][40] = b->raw.im[2][40] = 0; /* an isolating device is an ordinary one */
}
static void bench_close(struct bench *b)
{
        for (int i = 0; i < 5; i++)
                free(b->memory[i]);
}
static bool same_bytes(const struct net2 *a, const struct net2 *b, size_t *ret_i)
{
        for (int k = 0; k < 4; k++)
                for (size_t i = 0; i < POINTS; i++)
                        if ((memcmp(&a->re[k][i], &b->re[k][i], 8) || memcmp(&a->im[k][i], &b->im[k][i], 8)) &&
                            !(isnan(a->re[k][i]) && isnan(b->re[k][i]))) {
                                *ret_i = i;
                                return false;
                        }
        return true;
}

enum job { UNTERMINATE, EIGHT, EIGHT_SWITCH, TWELVE, JOBS };
/* true: the loop says that the result has the reference of the terms already. */
static bool run(const struct kernels *k, enum job job, const struct bench *b, const struct net2 *out)
{
        bool same = false;
        switch (job) {
        case UNTERMINATE:
                k->unterminate(POINTS, &b->raw, &b->sw, out);
                break;
        case EIGHT:
                k->correct8(POINTS, &b->terms, &b->raw, out, &same);
                break;
        case EIGHT_SWITCH:
                k->correct8_switch(POINTS, &b->terms, &b->raw, &b->sw, out, &same);
                break;
        case TWELVE:
                k->correct12(POINTS, &b->terms, &b->raw, out, &same);
                break;
        case JOBS:
                break;
        }
        return same;
}
static struct m2 run_point(const struct kernels *k, enum job job, const struct bench *b, size_t i)
{
        struct m2 m = net2_get(&b->raw, i);
        struct m2 plain = k->point_unterminate(m, CMPLX(b->sw.f_re[i], b->sw.f_im[i]), CMPLX(b->sw.r_re[i], b->sw.r_im[i]));
        switch (job) {
        case UNTERMINATE:
                return plain;
        case EIGHT:
                return k->point8(&b->terms, i, m);
        case EIGHT_SWITCH:
                return k->point8(&b->terms, i, plain);
        case TWELVE:
                return k->point12(&b->terms, i, m);
        case JOBS:
                break;
        }
        return m;
}

static void all_widths_give_the_same_bytes(void **state)
{
        (void)state;
        unsigned seen = 0;
        for (uint64_t seed = 1; seed <= 20; seed++) {
                struct bench b;
                bench_open(&b, seed);
                for (int job = 0; job < JOBS; job++) {
                        run(&kernels[0], (enum job)job, &b, &b.out);
                        for (size_t w = 0; w < kernel_n; w++) {
                                size_t at = 0;
                                if (!kernels[w].can())
                                        continue;
                                seen++;
                                run(&kernels[w], (enum job)job, &b, &b.again);
                                if (!same_bytes(&b.out, &b.again, &at))
                                        fail_msg("job %d, width %s, seed %d: point %zu differs", job, kernels[w].word, (int)seed, at);
                                for (size_t i = 0; i < POINTS; i++)
                                        net2_put(&b.again, i, run_point(&kernels[w], (enum job)job, &b, i));
                                if (!same_bytes(&b.out, &b.again, &at))
                                        fail_msg("job %d, width %s, seed %d: single point %zu differs", job, kernels[w].word, (int)seed,
                                                 at);
                        }
                }
                bench_close(&b);
        }
        assert_true(seen >= 20 * JOBS);
        print_message("the widest on this processor: %s\n", kernels_best()->word);
}

static void in_place_is_allowed(void **state)
{
        (void)state;
        for (size_t w = 0; w < kernel_n; w++)
                for (int job = 0; job < JOBS && kernels[w].can(); job++) {
                        struct bench b;
                        size_t at = 0;
                        bench_open(&b, 7);
                        run(&kernels[w], (enum job)job, &b, &b.out);
                        run(&kernels[w], (enum job)job, &b, &b.raw);
                        if (!same_bytes(&b.out, &b.raw, &at))
                                fail_msg("job %d, width %s: point %zu differs in place", job, kernels[w].word, at);
                        bench_close(&b);
                }
}

/* One reference that differs anywhere in its bytes is seen; no number is like no number. */
static void a_reference_that_differs_is_seen(void **state)
{
        static const size_t places[] = {0, 7, 100, 199, 200, POINTS - 1};
        struct bench b;
        (void)state;
        bench_open(&b, 3);
        for (size_t i = 0; i < POINTS; i++) {
                b.terms.z_re[i] = i % 5 ? 50 + 0.01 * (double)i : NAN;
                b.terms.z_im[i] = -0.02 * (double)i;
        }
        for (size_t w = 0; w < kernel_n; w++)
                for (int job = EIGHT; job < JOBS && kernels[w].can(); job++) {
                        memcpy(b.out.z_re, b.terms.z_re, POINTS * sizeof(double));
                        memcpy(b.out.z_im, b.terms.z_im, POINTS * sizeof(double));
                        assert_true(run(&kernels[w], (enum job)job, &b, &b.out));
                        for (size_t k = 0; k < 2 * sizeof places / sizeof *places; k++) {
                                double *z = (k % 2 ? b.out.z_im : b.out.z_re) + places[k / 2], kept = *z;
                                *z = k % 3 == 0 ? NAN : nextafter(kept, 100);
                                bool other = memcmp(z, &kept, sizeof kept) != 0;
                                assert_int_equal(run(&kernels[w], (enum job)job, &b, &b.out), !other);
                                *z = kept;
                        }
                }
        bench_close(&b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(all_widths_give_the_same_bytes),
                cmocka_unit_test(in_place_is_allowed),
                cmocka_unit_test(a_reference_that_differs_is_seen),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
