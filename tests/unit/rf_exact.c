/* rf_exact.c: the columns' way (exact.c) and the points' way give the same terms, the same figures and the same sentences; and the columns'
   way the same bytes on each kind of processor. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>
#include "rf/correct/correct.h"
#include "rf_kind.h"
#include "rf_synth.h"
#include "rf/calibrate/exact.c" /* this one is linked, not the room's: its loops are chosen by the test */

enum { N = 211 };
struct bench {
        struct synth *s;
        struct problem p;
        struct rf_standard standards[4];
        struct terms terms[2];
        struct diagnosis d[2];
};
static struct bench *bench_new(uint64_t seed, bool known_thru)
{
        struct arena *arena = arena_new(0);
        struct bench *b = arena_take(arena, sizeof *b);
        double hz[N];
        synth_grid(N, 70e3, 220e9, hz);
        b->s = synth_new(arena, seed, N, hz);
        struct synth_two c = {{synth_draw(b->s, -9e-15, 3e-15), synth_draw(b->s, -9e-15, 3e-15)}};
        struct synth_two l = {{synth_draw(b->s, 1e-12, 5e-12), synth_draw(b->s, 1e-12, 5e-12)}};
        struct synth_loads r = {{{.r = 49.5L, .l = 4e-12L}, {.r = 50.5L, .l = -2e-12L}}};
        struct synth_thru t = {0.9e-12L, 0.05L, 47};
        b->standards[0] =
                (struct rf_standard){.kind = RF_OPEN, .raw = synth_raw(b->s, synth_open, &c), .ideal = synth_ideal(b->s, synth_open, &c)};
        b->standards[1] = (struct rf_standard){
                .kind = RF_SHORT, .raw = synth_raw(b->s, synth_short, &l), .ideal = synth_ideal(b->s, synth_short, &l)};
        b->standards[2] =
                (struct rf_standard){.kind = RF_LOAD, .raw = synth_raw(b->s, synth_load, &r), .ideal = synth_ideal(b->s, synth_load, &r)};
        b->standards[3] = (struct rf_standard){
                .kind = RF_THRU, .raw = synth_raw(b->s, synth_thru, &t), .ideal = known_thru ? synth_ideal(b->s, synth_thru, &t) : NULL};
        b->p = (struct problem){
                .axis = &b->s->axis, .standards = b->standards, .standard_n = 4, .switch_terms = &b->s->sw, .thru_delay_s_guess = 1e-12};
        for (int k = 0; k < 2; k++) {
                b->terms[k] = terms_at(arena_take(arena, terms_bytes(N)), &b->s->axis);
                b->d[k] = diagnosis_at(arena_take(arena, diagnosis_bytes(N)), &b->s->axis);
        }
        return b;
}
static enum code solve(struct bench *b, const char *word, int k, struct tp_error *err)
{
        const struct method *m = rf_method(word);
        return m->solve(&b->p, arena_take(b->s->arena, m->workspace_bytes(N, b->p.standard_n)), &b->terms[k], NULL, &b->d[k], err);
}
static void near(const char *word, const char *what, const double *a, const double *b)
{
        for (size_t i = 0; i < N; i++)
                if (!(fabs(a[i] - b[i]) <= 1e-12 * fmax(1, fabs(a[i]))) && !(isnan(a[i]) && isnan(b[i])))
                        fail_msg("%s: %s at point %zu: %.17g by columns, %.17g by points", word, what, i, a[i], b[i]);
}

/* A transmission that is no number makes a reflection one of the cases that only the points' way knows; nothing else changes, because
   between two reflections nothing passes. */
static void both_ways_agree(void **state)
{
        static const char *const words[] = {"unknown_thru", "solt"};
        (void)state;
        for (uint64_t seed = 1; seed <= 12; seed++)
                for (int m = 0; m < 2; m++) {
                        struct bench *b = bench_new(synth_seed(seed), m == 1);
                        struct tp_error err = {0};
                        if (solve(b, words[m], 0, &err))
                                fail_msg("%s", err.text);
                        struct rf_standard kept = b->standards[0];
                        struct net2 *twice = synth_net(b->s, PLANE_RECEIVER);
                        net2_copy(twice, kept.raw);
                        if (m == 0)
                                twice->re[1][N / 2] = NAN;
                        b->standards[0].raw = twice;
                        b->standards[0].ports = 0;
                        if (m == 1) { /* four reflections at a port are not exactly three: the open once for each port and once more for
                                         port 1 */
                                b->standards[0].ports = 1;
                                struct rf_standard five[6] = {b->standards[0], b->standards[1], b->standards[2], b->standards[3], kept,
                                                              b->standards[0]};
                                five[4].ports = 2;
                                b->p.standards = five;
                                b->p.standard_n = 6;
                                if (solve(b, words[m], 1, &err))
                                        fail_msg("%s", err.text);
                        } else if (solve(b, words[m], 1, &err)) {
                                fail_msg("%s", err.text);
                        }
                        for (int t = 0; t < TERM_COUNT; t++) {
                                near(words[m], term_words[t], b->terms[0].re[t], b->terms[1].re[t]);
                                near(words[m], term_words[t], b->terms[0].im[t], b->terms[1].im[t]);
                        }
                        if (m == 0) {
                                for (size_t i = 0; i < N; i++)
                                        assert_true(fabs(b->d[0].condition[i] / b->d[1].condition[i] - 1) < 1e-9);
                                near(words[m], "S21 of the thru", b->d[0].thru_s21_re, b->d[1].thru_s21_re);
                                near(words[m], "S21 of the thru", b->d[0].thru_s21_im, b->d[1].thru_s21_im);
                        } else {
                                near(words[m], "forward against reverse", b->d[0].k_disagreement, b->d[1].k_disagreement);
                                near(words[m], "switch terms", b->d[0].switch_difference, b->d[1].switch_difference);
                        }
                        arena_free(b->s->arena);
                }
}

static void what_is_wrong_is_said_by_frequency(void **state)
{
        (void)state;
        for (int m = 0; m < 2; m++) {
                struct bench *b = bench_new(3, m == 1);
                struct tp_error err = {0};
                struct net2 *open = (struct net2 *)(uintptr_t)b->standards[0].ideal,
                            *shorted = (struct net2 *)(uintptr_t)b->standards[1].ideal;
                struct net2 *raw0 = (struct net2 *)(uintptr_t)b->standards[0].raw, *raw1 = (struct net2 *)(uintptr_t)b->standards[1].raw;
                net2_put(open, 100, net2_get(shorted, 100));
                net2_put(raw0, 100, net2_get(raw1, 100));
                assert_int_equal(solve(b, m ? "solt" : "unknown_thru", 0, &err), CODE_UNRESOLVABLE);
                char hz[32];
                snprintf(hz, sizeof hz, "%.9g Hz", b->s->axis.hz[100]);
                assert_non_null(strstr(err.text, hz));
                assert_non_null(strstr(err.text, "coincide"));
                arena_free(b->s->arena);
        }
}

static void same_bytes(const char *what, int k, const double *a, const double *b)
{
        for (size_t i = 0; i < N; i++)
                if (memcmp(&a[i], &b[i], sizeof a[i]) != 0 && !(isnan(a[i]) && isnan(b[i])))
                        fail_msg("%s at point %zu: %.17g by any processor, %.17g by kind %d", what, i, a[i], b[i], k);
}

static void every_kind_of_processor_gives_the_same_bytes(void **state)
{
        static const char *const words[] = {"sol", "unknown_thru", "solt"};
        (void)state;
        for (uint64_t seed = 1; seed <= 4; seed++)
                for (int m = 0; m < 3; m++)
                        for (int with_switch = 0; with_switch < 2; with_switch++)
                                for (kind = 1; kind <= 2 && kind_can(kind); kind++) {
                                        int wide_kind = kind;
                                        struct bench *b = bench_new(synth_seed(seed), m == 2);
                                        struct tp_error err = {0};
                                        b->p.standard_n = m ? 4 : 3;
                                        b->p.switch_terms = with_switch ? &b->s->sw : NULL;
                                        assert_int_equal(solve(b, words[m], 1, &err), CODE_OK);
                                        kind = 0;
                                        assert_int_equal(solve(b, words[m], 0, &err), CODE_OK);
                                        kind = wide_kind;
                                        for (int t = 0; t < TERM_COUNT; t++) {
                                                same_bytes(term_words[t], kind, b->terms[0].re[t], b->terms[1].re[t]);
                                                same_bytes(term_words[t], kind, b->terms[0].im[t], b->terms[1].im[t]);
                                        }
                                        same_bytes("condition", kind, b->d[0].condition, b->d[1].condition);
                                        same_bytes("forward against reverse", kind, b->d[0].k_disagreement, b->d[1].k_disagreement);
                                        same_bytes("switch terms", kind, b->d[0].switch_difference, b->d[1].switch_difference);
                                        same_bytes("S21 of the thru", kind, b->d[0].thru_s21_re, b->d[1].thru_s21_re);
                                        same_bytes("S21 of the thru", kind, b->d[0].thru_s21_im, b->d[1].thru_s21_im);
                                        arena_free(b->s->arena);
                                }
        kind = -1;
}

/* What is no number is found though nobody looks at the inputs: it goes through to a figure, and the points' way says where it was. */
static void what_is_no_number_is_found(void **state)
{
        (void)state;
        for (int m = 0; m < 2; m++)
                for (int which = 0; which < 4 * 16 + 4; which++) {
                        struct bench *b = bench_new(5, true);
                        struct tp_error err = {0};
                        const struct rf_standard *s = &b->standards[which / 16 % 4];
                        const struct net2 *net = which / 8 % 2 ? s->ideal : s->raw;
                        double *column = (which % 2 ? net->im : net->re)[which / 2 % 4];
                        bool unused = s->kind != RF_THRU && (which / 2 % 4 == 1 || which / 2 % 4 == 2);
                        if (which >= 4 * 16) {
                                double *const sw[4] = {b->s->sw.f_re, b->s->sw.f_im, b->s->sw.r_re, b->s->sw.r_im};
                                column = sw[which % 4];
                                unused = false;
                        }
                        unused = unused || (m == 0 && which < 4 * 16 && s->kind == RF_THRU && net == s->ideal);
                        column[N / 3] = which % 3 ? NAN : INFINITY;
                        enum code code = solve(b, m ? "solt" : "unknown_thru", 0, &err);
                        if (code != (unused ? CODE_OK : CODE_BAD_INPUT))
                                fail_msg("%s, place %d: code %d: %s", m ? "solt" : "unknown_thru", which, code, err.text);
                        char hz[32];
                        snprintf(hz, sizeof hz, "%.9g Hz", b->s->axis.hz[N / 3]);
                        assert_true(unused || strstr(err.text, hz));
                        arena_free(b->s->arena);
                }
}

/* A grid too coarse to follow, and a guess that the root contradicts: said, with the followed sign. */
static void a_root_that_cannot_be_followed_is_said(void **state)
{
        (void)state;
        for (int wrong = 0; wrong < 2; wrong++) {
                struct bench *b = bench_new(6, true);
                struct tp_error err = {0};
                b->p.thru_delay_s_guess = wrong ? 6e-12 : 1e-12;
                if (!wrong) /* one point turned by half a turn and back: no step there can be followed */
                        for (int k = 1; k < 3; k++) {
                                double complex z = CMPLX(b->standards[3].raw->re[k][90], b->standards[3].raw->im[k][90]) * CMPLX(0, 1.2);
                                b->standards[3].raw->re[k][90] = creal(z);
                                b->standards[3].raw->im[k][90] = cimag(z);
                        }
                assert_int_equal(solve(b, "unknown_thru", 0, &err), CODE_OK);
                assert_int_equal(b->d[0].root_followed, wrong);
                assert_int_equal(b->d[0].root_contradicts, wrong);
                if (!wrong)
                        assert_true(b->d[0].root_unfollowed_hz == b->s->axis.hz[90]);
                assert_true(b->d[0].warning_n > 0);
                arena_free(b->s->arena);
        }
}

/* |A|_F |A^{-1}|_F of rows (G, 1, -G w) by cofactors in extended precision. */
static double condition_of(const wide g[3], const wide w[3])
{
        long double size = 0, cofactors = 0;
        wide a[3][3], det = 0;
        for (int k = 0; k < 3; k++) {
                a[k][0] = g[k];
                a[k][1] = 1;
                a[k][2] = -g[k] * w[k];
        }
        for (int i = 0; i < 3; i++)
                for (int j = 0; j < 3; j++) {
                        int r = (i + 1) % 3, s = (i + 2) % 3, c = (j + 1) % 3, d = (j + 2) % 3;
                        wide minor = a[r][c] * a[s][d] - a[r][d] * a[s][c];
                        size += cabsl(a[i][j]) * cabsl(a[i][j]);
                        cofactors += cabsl(minor) * cabsl(minor);
                        det += i == 0 ? a[i][j] * minor : 0;
                }
        return (double)(sqrtl(size * cofactors) / cabsl(det));
}
/* Truth: the definition.  Reflections that come nearer to each other from point to point, until the sums that the columns' way takes have
   lost half their digits and the points' way has to reckon. */
static void the_condition_number_is_that_of_the_equations(void **state)
{
        static const double apart[] = {1, 0.1, 1e-2, 3e-3, 1e-3};
        double worst = 0, largest_seen = 0;
        (void)state;
        for (uint64_t seed = 1; seed <= 12; seed++)
                for (size_t near_to = 0; near_to < sizeof apart / sizeof *apart; near_to++) {
                        struct bench *b = bench_new(synth_seed(seed), true);
                        struct tp_error err = {0};
                        assert_int_equal(solve(b, "solt", 0, &err), CODE_OK);
                        for (size_t i = 0; i < N; i++)
                                for (int k = 0; k < 3; k++) {
                                        struct net2 *ideal = (struct net2 *)(uintptr_t)b->standards[k].ideal,
                                                    *raw = (struct net2 *)(uintptr_t)b->standards[k].raw;
                                        double complex g[2];
                                        for (int port = 0; port < 2; port++)
                                                g[port] = CMPLX(0.2, 0.1) +
                                                          apart[near_to] * CMPLX(0.4 * (k == 0) + synth_draw(b->s, -0.1, 0.1),
                                                                                 0.4 * (k == 1) + synth_draw(b->s, -0.1, 0.1));
                                        net2_put(ideal, i, m2_of(g[0], 0, 0, g[1]));
                                        net2_put(raw, i, rf_embed2_point(&b->terms[0], i, net2_get(ideal, i)));
                                }
                        if (solve(b, "solt", 1, &err))
                                fail_msg("TIPPLANE_SEED=%lu, %g apart: %s", (unsigned long)b->s->seed, apart[near_to], err.text);
                        for (size_t i = 0; i < N; i++) {
                                double truth = 0;
                                for (int port = 0; port < 2; port++) {
                                        wide g[3], w[3];
                                        for (int k = 0; k < 3; k++) {
                                                g[k] = net2_get(b->standards[k].ideal, i).e[3 * port];
                                                w[k] = net2_get(b->standards[k].raw, i).e[3 * port];
                                        }
                                        truth = fmax(truth, condition_of(g, w));
                                }
                                double off = fabs(b->d[1].condition[i] / truth - 1);
                                if (!(off <= 1e-11 + 1e-15 * truth))
                                        fail_msg("TIPPLANE_SEED=%lu: condition %.17g at point %zu, by its definition %.17g",
                                                 (unsigned long)b->s->seed, b->d[1].condition[i], i, truth);
                                worst = fmax(worst, off / (1e-11 + 1e-15 * truth));
                                largest_seen = fmax(largest_seen, truth);
                        }
                        arena_free(b->s->arena);
                }
        print_message("condition numbers up to %.2g, off by at most %.2g of what is allowed\n", largest_seen, worst);
        assert_true(largest_seen > 1e7);
}

/* A definition of the thru that does not transmit defines no transmission, and the columns' way does not make one up. */
static void a_thru_defined_not_to_transmit_is_refused(void **state)
{
        (void)state;
        for (int entry = 1; entry <= 2; entry++) {
                struct bench *b = bench_new(4, true);
                struct tp_error err = {0};
                struct net2 *ideal = (struct net2 *)(uintptr_t)b->standards[3].ideal;
                ideal->re[entry][N / 2] = ideal->im[entry][N / 2] = 0;
                assert_int_equal(solve(b, "solt", 0, &err), CODE_UNRESOLVABLE);
                char hz[32];
                snprintf(hz, sizeof hz, "%.9g Hz", b->s->axis.hz[N / 2]);
                assert_non_null(strstr(err.text, hz));
                arena_free(b->s->arena);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(both_ways_agree),
                                           cmocka_unit_test(every_kind_of_processor_gives_the_same_bytes),
                                           cmocka_unit_test(what_is_no_number_is_found),
                                           cmocka_unit_test(a_root_that_cannot_be_followed_is_said),
                                           cmocka_unit_test(what_is_wrong_is_said_by_frequency),
                                           cmocka_unit_test(the_condition_number_is_that_of_the_equations),
                                           cmocka_unit_test(a_thru_defined_not_to_transmit_is_refused)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
