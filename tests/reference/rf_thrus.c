/* thrus.json: several thrus in one calibration, against NumPy's least squares; what is said of a thru that is spoiled; sensitivities of all of
   them against solving again. */
#include "rf_check.h"

enum { STANDARDS = 6 };
static const char *const names[STANDARDS] = {"open", "short", "load", "thru_1", "thru_2", "thru_3"};
static const enum rf_standard_kind kinds[STANDARDS] = {RF_OPEN, RF_SHORT, RF_LOAD, RF_THRU, RF_THRU, RF_THRU};

struct bench {
        struct arena *arena;
        cJSON *json;
        struct axis *axis;
        struct switch_terms *sw;
        struct rf_standard standards[STANDARDS];
        struct problem p;
};

static void bench_open(struct bench *b, bool weighed)
{
        *b = (struct bench){.arena = arena_new(0), .json = check_json("thrus.json")};
        b->axis = check_axis(b->json, b->arena);
        b->sw = check_switch(b->json, b->axis, b->arena);
        for (int k = 0; k < STANDARDS; k++) {
                char path[64];
                snprintf(path, sizeof path, "standards/%s", names[k]);
                const cJSON *s = check_at(b->json, path);
                b->standards[k] = (struct rf_standard){.name = names[k],
                                                       .kind = kinds[k],
                                                       .raw = check_net(check_at(s, "raw"), b->axis, PLANE_RECEIVER, b->arena),
                                                       .ideal = check_net(check_at(s, "ideal"), b->axis, PLANE_TIP, b->arena),
                                                       .u_ideal = weighed && kinds[k] == RF_THRU ? check_at(s, "u_ideal")->valuedouble : 0};
        }
        b->p = (struct problem){.axis = b->axis, .standards = b->standards, .standard_n = STANDARDS, .thru_delay_s_guess = 1e-12};
}
static void bench_close(struct bench *b)
{
        cJSON_Delete(b->json);
        arena_free(b->arena);
}

static void solt_is_least_squares_over_all_thrus(void **state)
{
        (void)state;
        static const enum term terms[4] = {TERM_ELF, TERM_ETF, TERM_ELR, TERM_ETR};
        for (int weighed = 0; weighed < 2; weighed++) {
                struct bench b;
                bench_open(&b, weighed != 0);
                struct solved *s = solve_in(b.arena, "solt", &b.p, NULL);
                if (s->code)
                        fail_msg("%s", s->err.text);
                for (int k = 0; k < 4; k++) {
                        char path[64];
                        snprintf(path, sizeof path, "%s/%s", weighed ? "solt_weighed" : "solt", term_words[terms[k]]);
                        const cJSON *e = check_at(b.json, path)->child;
                        for (size_t i = 0; i < b.axis->n; i++, e = e->next)
                                check_close(path, b.axis->hz[i], CMPLX(s->terms.re[terms[k]][i], s->terms.im[terms[k]][i]),
                                            check_complex(e), 1e-12);
                }
                for (int k = 0; k < STANDARDS; k++) /* readings with noise of 0.004 a component: what they leave is of its size */
                        assert_true(kinds[k] == RF_THRU ? s->diagnosis.standard[k].rms > 5e-4 && s->diagnosis.standard[k].rms < 0.02
                                                        : isnan(s->diagnosis.standard[k].rms));
                bench_close(&b);
        }
}

static void unknown_thru_is_the_mean_of_all_that_are_reciprocal(void **state)
{
        (void)state;
        struct bench b;
        bench_open(&b, false);
        b.p.switch_terms = b.sw;
        struct solved *s = solve_in(b.arena, "unknown_thru", &b.p, NULL);
        if (s->code)
                fail_msg("%s", s->err.text);
        const cJSON *e = check_at(b.json, "unknown_thru_k")->child;
        for (size_t i = 0; i < b.axis->n; i++, e = e->next)
                check_close("K", b.axis->hz[i], CMPLX(s->terms.re[TERM_K][i], s->terms.im[TERM_K][i]), check_complex(e), 1e-12);
        bench_close(&b);
}

static struct net2 *spoiled(const struct bench *b, const struct net2 *of, double complex s21, double complex s12)
{
        struct net2 *net = net_new(b->axis, PLANE_RECEIVER, b->arena);
        for (size_t i = 0; i < b->axis->n; i++) {
                struct m2 m = net2_get(of, i);
                net2_put(net, i, m2_of(m.e[0], s12 * m.e[1], s21 * m.e[2], m.e[3]));
        }
        return net;
}
static bool is_said(const struct diagnosis *d, const char *what)
{
        for (unsigned k = 0; k < d->warning_n; k++)
                if (strstr(d->warning[k], what))
                        return true;
        return false;
}

static void a_spoiled_thru_shows_and_is_named(void **state)
{
        (void)state;
        struct bench b;
        bench_open(&b, false);
        struct solved *s = solve_in(b.arena, "solt", &b.p, NULL);
        assert_false(is_said(&s->diagnosis, "contradict each other"));
        for (size_t n = STANDARDS - 1; n <= STANDARDS; n++) { /* of two thrus, and of three */
                struct bench bad;
                bench_open(&bad, false);
                bad.p.standard_n = n;
                bad.standards[4].raw = spoiled(&bad, bad.standards[4].raw, 1.2, 1.2);
                s = solve_in(bad.arena, "solt", &bad.p, NULL);
                assert_int_equal(s->code, CODE_OK);
                assert_true(s->diagnosis.standard[4].worst > 0.05);
                assert_true(is_said(&s->diagnosis, "thru_2 is unlike the others"));
                bench_close(&bad);
                bench_open(&bad, false);
                bad.p.standard_n = n;
                bad.p.switch_terms = bad.sw;
                bad.standards[4].raw = spoiled(&bad, bad.standards[4].raw, 1.2, 1);
                s = solve_in(bad.arena, "unknown_thru", &bad.p, NULL);
                assert_int_equal(s->code, CODE_OK);
                assert_true(s->diagnosis.standard[4].worst > 0.03);
                assert_true(is_said(&s->diagnosis, n == STANDARDS ? "thru_2 is unlike the others" : "a third one would tell"));
                bench_close(&bad);
        }
        bench_close(&b);
}

/* d terms by all inputs, of which each thru's are eight and four, against the whole solution with one number moved. */
static void sensitivities_go_through_all_thrus(void **state)
{
        (void)state;
        static const char *const methods[2] = {"solt", "unknown_thru"};
        for (int m = 0; m < 2; m++) {
                struct bench b;
                bench_open(&b, true);
                b.p.switch_terms = m ? b.sw : NULL;
                const size_t at = 2;
                struct covariance cov = covariance_at(arena_take(b.arena, covariance_bytes(1, STANDARDS)), 1, &at);
                struct solved *s = solve_in(b.arena, methods[m], &b.p, &cov);
                assert_int_equal(s->code, CODE_OK);
                size_t seen = 0;
                for (size_t c = 0; c < cov.column_n; c++) {
                        struct column column = cov.columns[c];
                        if (column.kind != COLUMN_RAW || column.standard != 5)
                                continue;
                        struct solved *side[2];
                        const double h = 1e-5;
                        for (int up = 0; up < 2; up++) {
                                struct net2 *moved = spoiled(&b, b.standards[5].raw, 1, 1);
                                moved->re[column.entry][at] += up ? h : -h;
                                const struct net2 *keep = b.standards[5].raw;
                                b.standards[5].raw = moved;
                                side[up] = solve_in(b.arena, methods[m], &b.p, NULL);
                                b.standards[5].raw = keep;
                        }
                        double complex want = (CMPLX(side[1]->terms.re[TERM_ETF][at], side[1]->terms.im[TERM_ETF][at]) -
                                               CMPLX(side[0]->terms.re[TERM_ETF][at], side[0]->terms.im[TERM_ETF][at])) /
                                              (2 * h);
                        double complex got = cov.d_terms[c * TERM_COUNT + TERM_ETF];
                        if (!(cabs(got - want) < 1e-6))
                                fail_msg("%s: dETF/dm%u of the third thru is %.9g%+.9gj, by solving again %.9g%+.9gj", methods[m],
                                         column.entry, creal(got), cimag(got), creal(want), cimag(want));
                        seen += cabs(want) > 0.01;
                }
                assert_true(seen >= 1); /* it counts */
                bench_close(&b);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(solt_is_least_squares_over_all_thrus),
                cmocka_unit_test(unknown_thru_is_the_mean_of_all_that_are_reciprocal),
                cmocka_unit_test(a_spoiled_thru_shows_and_is_named),
                cmocka_unit_test(sensitivities_go_through_all_thrus),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
