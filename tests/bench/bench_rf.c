/* bench_rf.c: correcting sweeps against copying the same bytes, in cache and from memory; and the rounding error against its floor.
   Prints one JSON object; bench_rf.py sets scikit-rf beside it.  Ratios only count with their control of the same run. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include "base/arena.h"
#include "rf/correct/correct.h"

enum { POINTS = 681, CACHED = 8, STREAMED = 900, ROUNDS = 9 }; /* 900 sweeps of raw, out and switch terms: 140 MB */

/* Time on the processor: what neighbours on this machine take is not counted. */
static double seconds(void)
{
        struct timespec t;
        clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
        return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}
static uint64_t state = 1;
static double draw(void)
{
        state = state * 6364136223846793005u + 1442695040888963407u;
        return (double)(int64_t)state / 9.3e18;
}
static int by_value(const void *a, const void *b)
{
        return (*(const double *)a > *(const double *)b) - (*(const double *)a < *(const double *)b);
}

struct load {
        struct axis axis;
        struct terms eight, twelve;
        struct net2 *raw, *out;
        struct switch_terms *sw;
        size_t sweeps;
        double *scratch;
};

/* The control: the widest ordinary copy.  memcpy is printed beside it: on large blocks it writes past the cache (no fetch), which nothing can
   do that is read again soon. */
#define LOOPS "tests/bench/copy_loops.h"
#include "rf/numbers/kinds.h"
static void stream(double *to, const double *from, size_t n) { CPU_RUN(stream, to, from, n); }

enum job { MEMCPY, COPY, COPY_SWITCH, EIGHT, EIGHT_SWITCH, TWELVE, JOB_COUNT };
static void run(const struct load *l, enum job job)
{
        size_t n = 8 * net2_stride(POINTS);
        for (size_t k = 0; k < l->sweeps; k++)
                switch (job) {
                case COPY_SWITCH: /* the control must read the switch terms too; where they go stays in cache */
                        stream(l->scratch, l->sw[k].f_re, n / 2);
                        /* fall through */
                case COPY:
                        stream(l->out[k].re[0], l->raw[k].re[0], n);
                        break;
                case MEMCPY:
                        memcpy(l->out[k].re[0], l->raw[k].re[0], n * sizeof(double));
                        break;
                case EIGHT:
                        rf_correct2(&l->eight, &l->raw[k], NULL, &l->out[k], NULL);
                        break;
                case EIGHT_SWITCH:
                        rf_correct2(&l->eight, &l->raw[k], &l->sw[k], &l->out[k], NULL);
                        break;
                case TWELVE:
                        rf_correct2(&l->twelve, &l->raw[k], NULL, &l->out[k], NULL);
                        break;
                case JOB_COUNT:
                        break;
                }
}

struct result {
        double ns, spread, ratio; /* median, half the spread of the middle five, median of control/this */
};

static double sorted_middle(double t[ROUNDS], double *ret_spread)
{
        qsort(t, ROUNDS, sizeof *t, by_value);
        if (ret_spread)
                *ret_spread = (t[ROUNDS / 2 + 2] - t[ROUNDS / 2 - 2]) / 2;
        return t[ROUNDS / 2];
}

/* All jobs take turns in each round, so that a neighbour on this machine disturbs a job and its control alike. */
static void time_all(const struct load *l, size_t repeat, struct result ret[JOB_COUNT])
{
        double t[JOB_COUNT][ROUNDS], ratio[JOB_COUNT][ROUNDS];
        for (int r = -1; r < ROUNDS; r++) /* the first round warms up */
                for (int j = 0; j < JOB_COUNT; j++) {
                        double t0 = seconds();
                        for (size_t k = 0; k < repeat; k++)
                                run(l, (enum job)j);
                        if (r >= 0)
                                t[j][r] = (seconds() - t0) * 1e9 / (double)(POINTS * l->sweeps * repeat);
                }
        for (int j = 0; j < JOB_COUNT; j++) {
                for (int r = 0; r < ROUNDS; r++)
                        ratio[j][r] = t[j == EIGHT_SWITCH ? COPY_SWITCH : COPY][r] / t[j][r];
                ret[j].ratio = sorted_middle(ratio[j], NULL);
        }
        for (int j = 0; j < JOB_COUNT; j++)
                ret[j].ns = sorted_middle(t[j], &ret[j].spread);
}

static struct load make(size_t sweeps, const double *hz, struct arena *arena)
{
        struct load l = {.sweeps = sweeps};
        if (axis_of(POINTS, hz, &l.axis, NULL))
                abort();
        l.scratch = arena_take(arena, switch_terms_bytes(POINTS));
        l.raw = arena_take(arena, sweeps * sizeof *l.raw);
        l.out = arena_take(arena, sweeps * sizeof *l.out);
        l.sw = arena_take(arena, sweeps * sizeof *l.sw);
        return l;
}

/* The same correction in extended precision, textbook form: S = (T1 - M T3)^{-1} (M T4 - T2). */
typedef _Complex long double wide;
static void correct_wide(const wide e[7], const wide m[4], wide s[4])
{
        wide dx = e[0] * e[1] - e[2], dy = e[3] * e[4] - e[5], k = e[6];
        wide a[4] = {-dx + m[0] * e[1], m[1] * k * e[4], m[2] * e[1], -k * dy + m[3] * k * e[4]};
        wide b[4] = {m[0] - e[0], m[1] * k, m[2], m[3] * k - k * e[3]}, d = a[0] * a[3] - a[1] * a[2];
        s[0] = (a[3] * b[0] - a[1] * b[2]) / d;
        s[1] = (a[3] * b[1] - a[1] * b[3]) / d;
        s[2] = (a[0] * b[2] - a[2] * b[0]) / d;
        s[3] = (a[0] * b[3] - a[2] * b[1]) / d;
}

/* rms of the error of the kernel, over the rms that rounding its inputs (terms and raw) to double costs. */
static double rounding(void)
{
        double hz[1] = {1e9}, error = 0, floor_ = 0;
        struct axis axis;
        if (axis_of(1, hz, &axis, NULL))
                abort();
        struct arena *arena = arena_new(0);
        struct terms t = terms_at(arena_take(arena, terms_bytes(1)), &axis);
        t.model = TERMS_EIGHT;
        for (int n = 0; n < 200000; n++) {
                wide e[7], e2[7], m[4], m2[4], s[4], s2[4];
                double complex et[TERM_COUNT] = {0};
                struct m2 raw;
                for (int k = 0; k < 7; k++) {
                        double size = k == 2 || k == 5 ? 0.6 : k == 6 ? 0 : 0.15;
                        et[k] = CMPLX((k == 2 || k == 5 ? 0.3 : k == 6 ? 1 : 0) + size * draw() * 0.5, size * draw() * 0.5);
                        e[k] = et[k];
                        e2[k] = e[k] + (long double)(1.1e-16 * draw()) * creall(e[k]) +
                                (long double)(1.1e-16 * draw()) * (e[k] - creall(e[k]));
                        t.re[k][0] = creal(et[k]);
                        t.im[k][0] = cimag(et[k]);
                }
                for (int k = 0; k < 4; k++) {
                        raw.e[k] = CMPLX(0.5 * draw(), 0.5 * draw());
                        m[k] = raw.e[k];
                        m2[k] = m[k] + (long double)(1.1e-16 * draw()) * creall(m[k]) +
                                (long double)(1.1e-16 * draw()) * (m[k] - creall(m[k]));
                }
                double complex etf = et[TERM_K] * et[TERM_ERR], etr = et[TERM_ERF] / et[TERM_K];
                t.re[TERM_ETF][0] = creal(etf);
                t.im[TERM_ETF][0] = cimag(etf);
                t.re[TERM_ETR][0] = creal(etr);
                t.im[TERM_ETR][0] = cimag(etr);
                struct m2 got = rf_correct2_point(&t, 0, raw);
                correct_wide(e, m, s);
                correct_wide(e2, m2, s2);
                if (cabsl(s[0]) + cabsl(s[1]) + cabsl(s[2]) + cabsl(s[3]) > 6) /* nearly singular ones would decide the mean alone */
                        continue;
                for (int k = 0; k < 4; k++) {
                        error += (double)(cabsl(got.e[k] - s[k]) * cabsl(got.e[k] - s[k]));
                        floor_ += (double)(cabsl(s2[k] - s[k]) * cabsl(s2[k] - s[k]));
                }
        }
        arena_free(arena);
        return sqrt(error / floor_);
}

int main(void)
{
        static double hz[POINTS];
        for (size_t i = 0; i < POINTS; i++)
                hz[i] = 70e3 + 323.5e6 * (double)i;
        struct arena *arena = arena_new(0);
        struct load loads[2] = {make(CACHED, hz, arena), make(STREAMED, hz, arena)};
        for (int k = 0; k < 2; k++) {
                struct load *l = &loads[k];
                l->eight = terms_at(arena_take(arena, terms_bytes(POINTS)), &l->axis);
                l->twelve = terms_at(arena_take(arena, terms_bytes(POINTS)), &l->axis);
                l->eight.model = TERMS_EIGHT;
                l->twelve.model = TERMS_TWELVE;
                for (int t = 0; t < TERM_COUNT; t++)
                        for (size_t i = 0; i < POINTS; i++) {
                                bool big = t == TERM_ERF || t == TERM_ERR || t == TERM_K || t == TERM_ETF || t == TERM_ETR;
                                bool isolation = t == TERM_EXF || t == TERM_EXR; /* 0, as in what scikit-rf is timed on */
                                l->eight.re[t][i] = l->twelve.re[t][i] = isolation ? 0 : (big ? 0.7 : 0) + 0.1 * draw();
                                l->eight.im[t][i] = l->twelve.im[t][i] = isolation ? 0 : 0.1 * draw();
                        }
                for (size_t s = 0; s < l->sweeps; s++) {
                        l->raw[s] = net2_at(arena_take(arena, net2_bytes(POINTS)), &l->axis, PLANE_RECEIVER);
                        l->out[s] = net2_at(arena_take(arena, net2_bytes(POINTS)), &l->axis, PLANE_RECEIVER);
                        l->sw[s] = switch_terms_at(arena_take(arena, switch_terms_bytes(POINTS)), &l->axis);
                        for (size_t i = 0; i < 8 * net2_stride(POINTS); i++)
                                l->raw[s].re[0][i] = 0.5 * draw();
                        for (size_t i = 0; i < 4 * net2_stride(POINTS); i++)
                                l->sw[s].f_re[i] = 0.1 * draw();
                }
        }
        static const char *const words[JOB_COUNT] = {"memcpy",      "copy", "copy_with_switch", "eight_terms", "eight_terms_with_switch",
                                                     "twelve_terms"};
        double rounding_ratio = rounding();
        printf("{\"points\": %d", POINTS);
        for (int k = 0; k < 2; k++) {
                struct result result[JOB_COUNT];
                const char *where = k ? "memory" : "cache";
                time_all(&loads[k], k ? 1 : 120, result);
                for (int j = 0; j < JOB_COUNT; j++)
                        printf(", \"%s_%s_ns\": %.4g, \"%s_%s_spread_ns\": %.2g, \"%s_%s_ratio\": %.3g", words[j], where, result[j].ns,
                               words[j], where, result[j].spread, words[j], where, result[j].ratio);
        }
        printf(", \"rounding_over_floor\": %.3g}\n", rounding_ratio);
        arena_free(arena);
        return 0;
}
