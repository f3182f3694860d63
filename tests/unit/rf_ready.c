/* rf_ready.c: terms made ready for many sweeps, against the textbook's form of twelve terms in extended precision (Marks, 50th ARFTG, 1997,
   115), against rf_correct2(), and the same bytes for each kind of processor. */
#include "rf/correct/correct.h"
#include "rf/correct/ready.h"
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

typedef _Complex long double wide;
enum { POINTS = 203, MEMORIES = 6 }; /* no multiple of any vector's length */

struct bench {
        double hz[POINTS];
        struct axis axis;
        struct net2 raw, out, again;
        struct switch_terms sw;
        struct terms terms;
        struct ready_terms ready;
        void *memory[MEMORIES];
};
static uint64_t state;
static double draw(void)
{
        state = state * 6364136223846793005u + 1442695040888963407u;
        return (double)(int64_t)state / 9.3e18;
}
static void *take(size_t n)
{
        void *p = aligned_alloc(64, (n + 63) / 64 * 64);
        assert_non_null(p);
        return p;
}
static void bench_open(struct bench *b, enum terms_model model, bool isolation, uint64_t seed)
{
        state = seed;
        for (int i = 0; i < POINTS; i++)
                b->hz[i] = 70e3 + 1e9 * i;
        assert_int_equal(axis_of(POINTS, b->hz, &b->axis, NULL), CODE_OK);
        b->raw = net2_at(b->memory[0] = take(net2_bytes(POINTS)), &b->axis, PLANE_RECEIVER);
        b->out = net2_at(b->memory[1] = take(net2_bytes(POINTS)), &b->axis, PLANE_RECEIVER);
        b->again = net2_at(b->memory[2] = take(net2_bytes(POINTS)), &b->axis, PLANE_RECEIVER);
        b->sw = switch_terms_at(b->memory[3] = take(switch_terms_bytes(POINTS)), &b->axis);
        b->terms = terms_at(b->memory[4] = take(terms_bytes(POINTS)), &b->axis);
        b->memory[5] = take(ready_bytes(POINTS));
        b->terms.model = model;
        b->terms.plane = PLANE_TIP;
        b->terms.method = "test";
        b->terms.switch_removed = model == TERMS_EIGHT;
        for (int i = 0; i < POINTS; i++) {
                b->terms.z_re[i] = 50;
                b->terms.z_im[i] = 0;
                for (int k = 0; k < 4; k++) {
                        b->raw.re[k][i] = 0.5 * draw();
                        b->raw.im[k][i] = 0.5 * draw();
                }
                b->sw.f_re[i] = 0.2 * draw();
                b->sw.f_im[i] = 0.2 * draw();
                b->sw.r_re[i] = 0.2 * draw();
                b->sw.r_im[i] = 0.2 * draw();
                for (int t = 0; t < TERM_COUNT; t++) {
                        bool big = t == TERM_ERF || t == TERM_ERR || t == TERM_K || t == TERM_ETF || t == TERM_ETR;
                        bool zero = (t == TERM_EXF || t == TERM_EXR) && !isolation;
                        b->terms.re[t][i] = zero ? 0 : (big ? 0.7 : 0) + 0.2 * draw();
                        b->terms.im[t][i] = zero ? 0 : 0.2 * draw();
                }
                if (model == TERMS_EIGHT) { /* what rf_correct2() reads (terms.h) */
                        double complex k = CMPLX(b->terms.re[TERM_K][i], b->terms.im[TERM_K][i]);
                        double complex f = k * CMPLX(b->terms.re[TERM_ERR][i], b->terms.im[TERM_ERR][i]);
                        double complex r = CMPLX(b->terms.re[TERM_ERF][i], b->terms.im[TERM_ERF][i]) / k;
                        b->terms.re[TERM_ETF][i] = creal(f), b->terms.im[TERM_ETF][i] = cimag(f);
                        b->terms.re[TERM_ETR][i] = creal(r), b->terms.im[TERM_ETR][i] = cimag(r);
                }
        }
        assert_int_equal(rf_ready(&b->terms, model == TERMS_EIGHT ? &b->sw : NULL, b->memory[5], &b->ready, NULL), CODE_OK);
        assert_true(b->ready.one_z);
        assert_int_equal(b->ready.leaks, isolation);
}
static void bench_close(struct bench *b)
{
        for (int i = 0; i < MEMORIES; i++)
                free(b->memory[i]);
}
static void same_bytes(const char *what, const struct net2 *a, const struct net2 *b)
{
        for (int k = 0; k < 4; k++)
                for (size_t i = 0; i < POINTS; i++)
                        if ((memcmp(&a->re[k][i], &b->re[k][i], 8) || memcmp(&a->im[k][i], &b->im[k][i], 8)) &&
                            !(isnan(a->re[k][i]) && isnan(b->re[k][i])))
                                fail_msg("%s: entry %d of point %zu differs", what, k, i);
}

/* The textbook's: each reading divided by its tracking first. */
static void exact(const wide t[TERM_COUNT], const wide m[4], wide s[4])
{
        wide a = (m[0] - t[TERM_EDF]) / t[TERM_ERF], b = (m[2] - t[TERM_EXF]) / t[TERM_ETF], c = (m[3] - t[TERM_EDR]) / t[TERM_ERR],
             d = (m[1] - t[TERM_EXR]) / t[TERM_ETR];
        wide n = (1 + a * t[TERM_ESF]) * (1 + c * t[TERM_ESR]) - b * d * t[TERM_ELF] * t[TERM_ELR];
        s[0] = (a * (1 + c * t[TERM_ESR]) - t[TERM_ELF] * b * d) / n;
        s[1] = d * (1 + a * (t[TERM_ESF] - t[TERM_ELR])) / n;
        s[2] = b * (1 + c * (t[TERM_ESR] - t[TERM_ELF])) / n;
        s[3] = (c * (1 + a * t[TERM_ESF]) - t[TERM_ELR] * b * d) / n;
}
/* As if it had been rounded to double once more. */
static wide rounded(wide x)
{
        long double re = creall(x), im = cimagl(x);
        return CMPLXL(re + 1.1e-16L * (long double)draw() * re, im + 1.1e-16L * (long double)draw() * im);
}

/* rms of the error over what rounding terms and readings costs: at most 4, as for each way to correct. */
static void error_stays_near_what_rounding_the_input_costs(void **unused)
{
        (void)unused;
        for (int leaks = 0; leaks < 2; leaks++) {
                double error = 0, floor_ = 0;
                for (uint64_t seed = 1; seed <= 50; seed++) {
                        struct bench b;
                        bench_open(&b, TERMS_TWELVE, leaks, seed);
                        assert_int_equal(rf_correct2_ready(&b.ready, &b.raw, &b.out, NULL), CODE_OK);
                        for (size_t i = 0; i < POINTS; i++) {
                                wide t[TERM_COUNT], t2[TERM_COUNT], m[4], m2[4], s[4], s2[4];
                                struct m2 raw = net2_get(&b.raw, i), got = net2_get(&b.out, i);
                                for (int k = 0; k < TERM_COUNT; k++)
                                        t2[k] = rounded(t[k] = CMPLX(b.terms.re[k][i], b.terms.im[k][i]));
                                for (int k = 0; k < 4; k++)
                                        m2[k] = rounded(m[k] = raw.e[k]);
                                exact(t, m, s);
                                exact(t2, m2, s2);
                                for (int k = 0; k < 4; k++) {
                                        error += (double)powl(cabsl(got.e[k] - s[k]), 2);
                                        floor_ += (double)powl(cabsl(s2[k] - s[k]), 2);
                                }
                        }
                        bench_close(&b);
                }
                print_message("%s isolation: error %.2f of what rounding the input costs\n", leaks ? "with" : "without",
                              sqrt(error / floor_));
                assert_true(floor_ > 0 && sqrt(error / floor_) <= 4);
        }
}

/* Eight terms with the calibration's switch terms and twelve terms: the other way to correct says the same. */
static void as_correct2(void **unused)
{
        (void)unused;
        for (int model = TERMS_EIGHT; model <= TERMS_TWELVE; model++)
                for (uint64_t seed = 1; seed <= 20; seed++) {
                        struct bench b;
                        bench_open(&b, (enum terms_model)model, false, seed);
                        assert_int_equal(rf_correct2_ready(&b.ready, &b.raw, &b.out, NULL), CODE_OK);
                        assert_int_equal(rf_correct2(&b.terms, &b.raw, &b.sw, &b.again, NULL), CODE_OK);
                        assert_int_equal(b.out.plane, PLANE_TIP);
                        for (size_t i = 0; i < POINTS; i++)
                                for (int k = 0; k < 4; k++) {
                                        double complex one = net2_get(&b.out, i).e[k], other = net2_get(&b.again, i).e[k];
                                        if (!(cabs(one - other) <= 2e-14 * fmax(1, cabs(other))))
                                                fail_msg("model %d, seed %d, point %zu, entry %d: %.17g%+.17gj and %.17g%+.17gj", model,
                                                         (int)seed, i, k, creal(one), cimag(one), creal(other), cimag(other));
                                }
                        bench_close(&b);
                }
}

static void all_widths_give_the_same_bytes_in_place_too(void **unused)
{
        (void)unused;
        for (int leaks = 0; leaks < 2; leaks++)
                for (size_t w = 0; w < ready_kernel_n; w++) {
                        struct bench b;
                        bool same;
                        if (!ready_kernels[w].can())
                                continue;
                        bench_open(&b, TERMS_TWELVE, leaks, 9);
                        b.raw.re[2][17] = NAN; /* what is no number stays with its own point */
                        ready_kernels[0].correct(&b.ready, &b.raw, &b.out, &same);
                        ready_kernels[w].correct(&b.ready, &b.raw, &b.again, &same);
                        same_bytes(ready_kernels[w].word, &b.out, &b.again);
                        ready_kernels[w].correct(&b.ready, &b.raw, &b.raw, &same);
                        same_bytes("in place", &b.out, &b.raw);
                        for (size_t i = 0; i < POINTS; i++)
                                assert_int_equal(isnan(b.out.re[0][i]) != 0, i == 17);
                        bench_close(&b);
                }
}

/* The reference of the result is the terms', whatever stood there and however it goes over frequency. */
static void the_reference_is_the_terms(void **unused)
{
        static const size_t places[] = {0, 7, 100, 199, 200, POINTS - 1};
        (void)unused;
        for (size_t p = 0; p < sizeof places / sizeof *places; p++)
                for (int of_terms = 0; of_terms < 2; of_terms++) {
                        struct bench b;
                        bench_open(&b, TERMS_TWELVE, false, 11);
                        net2_set_z(&b.out, 50, 0);
                        (of_terms ? b.terms.z_re : b.out.z_re)[places[p]] = 75;
                        assert_int_equal(rf_ready(&b.terms, NULL, b.memory[5], &b.ready, NULL), CODE_OK);
                        assert_int_equal(b.ready.one_z, !of_terms);
                        assert_int_equal(rf_correct2_ready(&b.ready, &b.raw, &b.out, NULL), CODE_OK);
                        assert_memory_equal(b.out.z_re, b.terms.z_re, POINTS * sizeof(double));
                        assert_memory_equal(b.out.z_im, b.terms.z_im, POINTS * sizeof(double));
                        bench_close(&b);
                }
}

static void one_point_of_isolation_counts(void **unused)
{
        (void)unused;
        for (int none = 0; none < 2; none++) {
                struct bench b;
                bench_open(&b, TERMS_TWELVE, false, 13);
                b.terms.im[TERM_EXR][POINTS - 1] = none ? NAN : 0.01;
                assert_int_equal(rf_ready(&b.terms, NULL, b.memory[5], &b.ready, NULL), CODE_OK);
                assert_true(b.ready.leaks);
                assert_int_equal(rf_correct2_ready(&b.ready, &b.raw, &b.out, NULL), CODE_OK);
                struct m2 want = rf_correct2_point(&b.terms, POINTS - 1, net2_get(&b.raw, POINTS - 1));
                assert_true(none ? isnan(b.out.re[1][POINTS - 1]) : cabs(want.e[1] - net2_get(&b.out, POINTS - 1).e[1]) < 1e-14);
                bench_close(&b);
        }
}

static void what_cannot_be_is_refused(void **unused)
{
        struct bench b;
        struct tp_error err = {0};
        struct ready_terms ready;
        (void)unused;
        bench_open(&b, TERMS_EIGHT, false, 15);
        assert_int_equal(rf_ready(&b.terms, NULL, b.memory[5], &ready, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "switch terms"));
        for (int model = TERMS_UNKNOWN; model < TERMS_MODEL_COUNT; model++) {
                b.terms.model = (enum terms_model)model;
                bool can = model == TERMS_EIGHT || model == TERMS_TWELVE;
                assert_int_equal(rf_ready(&b.terms, &b.sw, b.memory[5], &ready, &err), can ? CODE_OK : CODE_BAD_INPUT);
                if (!can)
                        assert_non_null(strstr(err.text, terms_model_words[model]));
        }
        b.raw.plane = PLANE_TIP;
        assert_int_equal(rf_correct2_ready(&b.ready, &b.raw, &b.out, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "only raw data"));
        b.raw.plane = PLANE_RECEIVER;
        struct axis shorter;
        assert_int_equal(axis_of(POINTS - 1, b.hz, &shorter, NULL), CODE_OK);
        b.raw.axis = &shorter;
        assert_int_equal(rf_correct2_ready(&b.ready, &b.raw, &b.out, &err), CODE_BAD_INPUT);
        bench_close(&b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(error_stays_near_what_rounding_the_input_costs),
                cmocka_unit_test(as_correct2),
                cmocka_unit_test(all_widths_give_the_same_bytes_in_place_too),
                cmocka_unit_test(the_reference_is_the_terms),
                cmocka_unit_test(one_point_of_isolation_counts),
                cmocka_unit_test(what_cannot_be_is_refused),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
