/* Every row of rf_methods[]: what the linear sensitivities say of corrected data is what solving again with one input moved shows, and what
 * scatter of all inputs at once gives (JCGM 101:2008).  A new method is tested by being in the table; a new kind of standard needs a line
 * in truth_of(). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "base/arena.h"
#include "rf/correct/correct.h"
#include "rf/numbers/monte_carlo.h"
#include "rf/calibrate/standards.h"
#include "rf/numbers/uncertain.h"

enum { N = 9, AT = 4, DRAWS = 2000 };
#define U_RAW 1e-4    /* per component, of each raw and each ideal entry */
#define U_LENGTH 1e-7 /* m */

struct lab {
        struct arena *arena;
        struct axis axis;
        double hz[N];
        struct rf_standard standards[RF_STANDARD_MAX];
        struct net2 *raw[RF_STANDARD_MAX], *ideal[RF_STANDARD_MAX];
        struct problem problem;
        const struct method *method;
        struct terms terms;
        struct diagnosis diagnosis;
        void *workspace;
        struct m2 device; /* raw */
};

static double complex path(double hz, double size, double tau) { return size * cexp(CMPLX(0, -RF_TWO_PI * hz * tau)); }

/* Raw reading by waves: a = (1 - E4 S)^{-1} E3 a0, b0 = E1 a0 + E2 S a.  No T, no error terms, no switch. */
static struct m2 reading(double hz, struct m2 s)
{
        struct m2 e1 = m2_diag(path(hz, 0.08, 31e-12), path(hz, 0.11, 23e-12)), e2 = m2_diag(path(hz, 0.8, 17e-12), path(hz, 0.7, 21e-12)),
                  e3 = m2_diag(path(hz, 0.75, 16e-12), path(hz, 0.72, 22e-12)), e4 = m2_diag(path(hz, 0.15, 9e-12), path(hz, 0.12, 12e-12));
        struct m2 a = m2_mul(m2_inv(m2_sub(m2_one(), m2_mul(e4, s))), e3);
        return m2_add(e1, m2_mul(e2, m2_mul(s, a)));
}

static const double lengths_m[] = {200e-6, 650e-6, 1700e-6};

/* The `copy`-th standard of its kind. */
static struct m2 truth_of(enum rf_standard_kind kind, size_t copy, double hz)
{
        double w = RF_TWO_PI * hz;
        double complex open = 1 / CMPLX(0, w * -6e-15), shorted = CMPLX(0, w * 4e-12), load = CMPLX(50, w * 3e-12);
        double complex go = (open - 50) / (open + 50), gs = (shorted - 50) / (shorted + 50), gl = (load - 50) / (load + 50), t;
        switch (kind) {
        case RF_OPEN:
                return m2_diag(go, go);
        case RF_SHORT:
                return m2_diag(gs, gs);
        case RF_LOAD:
                return m2_diag(gl, gl);
        case RF_REFLECT: /* where the lines meet */
                return m2_diag(-0.96, -0.96);
        case RF_THRU:
                t = cexp(CMPLX(0, -w * 1.5e-12));
                return m2_of(0, t, t, 0);
        case RF_LINE:
                t = cexp(-CMPLX(12 * sqrt(hz / 1e10), w * sqrt(5.3) / RF_C0_M_S) * (lengths_m[copy] - lengths_m[0]));
                return m2_of(0, t, t, 0);
        case RF_KNOWN:
                return copy == 0 ? m2_diag(go, gs) : copy == 1 ? m2_diag(gl, go) : m2_diag(gs, gl);
        case RF_STANDARD_UNKNOWN:
        case RF_STANDARD_COUNT:
                break;
        }
        fail_msg("standards of kind %d have no truth here: add one", (int)kind);
        return m2_one();
}

static struct net2 *net_in(struct lab *x, enum plane plane)
{
        struct net2 *n = arena_take(x->arena, sizeof *n);
        *n = net2_at(arena_take(x->arena, net2_bytes(N)), &x->axis, plane);
        return n;
}

static struct lab *lab_new(const struct method *m)
{
        struct arena *arena = arena_new(0);
        struct lab *x = arena_take(arena, sizeof *x);
        *x = (struct lab){.arena = arena, .method = m};
        for (size_t i = 0; i < N; i++)
                x->hz[i] = 4e9 + 4e9 * (double)i;
        assert_int_equal(axis_of(N, x->hz, &x->axis, NULL), CODE_OK);
        size_t n = 0;
        for (size_t k = 0; k < m->need_n; k++) {
                enum rf_standard_kind kind = m->needs[k].kind;
                size_t copies = kind == RF_LINE && m->needs[k].least > 1 ? m->needs[k].least : kind == RF_KNOWN ? 3 : 1;
                if (kind == RF_LINE && !strcmp(m->word, "multiline_trl"))
                        copies = 3;
                for (size_t c = 0; c < copies; c++, n++) {
                        size_t copy = kind == RF_LINE && copies == 1 ? 1 : c;
                        x->raw[n] = net_in(x, PLANE_RECEIVER);
                        x->ideal[n] = net_in(x, PLANE_TIP);
                        for (size_t i = 0; i < N; i++) {
                                struct m2 s = truth_of(kind, copy, x->hz[i]);
                                net2_put(x->ideal[n], i, s);
                                net2_put(x->raw[n], i, reading(x->hz[i], s));
                        }
                        x->standards[n] = (struct rf_standard){.kind = kind,
                                                               .raw = x->raw[n],
                                                               .ideal = m->needs[k].ideal ? x->ideal[n] : NULL,
                                                               .ports = m->needs[k].ports,
                                                               .length_m = kind == RF_LINE ? lengths_m[copy] : 0};
                }
        }
        x->problem = (struct problem){.axis = &x->axis,
                                      .standards = x->standards,
                                      .standard_n = n,
                                      .thru_delay_s_guess = 1.5e-12,
                                      .eps_eff_guess = 5.3,
                                      .reflect_estimate = -1,
                                      .match_fit = RF_MATCH_FIXED}; /* a fit over all frequencies moves with each of them */
        x->terms = terms_at(arena_take(arena, terms_bytes(N)), &x->axis);
        x->diagnosis = diagnosis_at(arena_take(arena, diagnosis_bytes(N)), &x->axis);
        x->workspace = arena_take(arena, m->workspace_bytes(N, n));
        struct m2 device = m2_of(CMPLX(0.35, 0.4), CMPLX(0.5, -0.35), CMPLX(0.45, -0.4), CMPLX(-0.2, 0.3));
        x->device = reading(x->hz[AT], m->ports == 1 ? m2_diag(device.e[0], device.e[3]) : device);
        return x;
}

static struct m2 corrected(struct lab *x, struct covariance *cov)
{
        struct tp_error err = {0};
        x->diagnosis.warning_n = 0;
        if (x->method->solve(&x->problem, x->workspace, &x->terms, cov, &x->diagnosis, &err))
                fail_msg("%s: %s", x->method->word, err.text);
        return rf_correct2_point(&x->terms, AT, x->device);
}

/* By `by` at the one frequency; a length is the same at all. */
static void move(struct lab *x, struct column c, double complex by)
{
        struct net2 *net = c.kind == COLUMN_RAW ? x->raw[c.standard] : x->ideal[c.standard];
        if (c.kind == COLUMN_LENGTH) {
                x->standards[c.standard].length_m += creal(by);
                return;
        }
        net->re[c.entry][AT] += creal(by);
        net->im[c.entry][AT] += cimag(by);
}

/* What the method refuses to have moved: "lrrm" wants a thru that looks alike from both sides. */
static bool stays(const struct lab *x, struct column c)
{
        return !strcmp(x->method->word, "lrrm") && c.kind == COLUMN_IDEAL && x->standards[c.standard].kind == RF_THRU;
}

static void linear_sensitivity_is_solving_again(void **state)
{
        (void)state;
        static const char *const words[] = {"?", "raw", "ideal", "length"};
        for (size_t m = 0; m < rf_method_n; m++) {
                struct lab *x = lab_new(&rf_methods[m]);
                const size_t at[1] = {AT};
                struct covariance *cov = arena_take(x->arena, sizeof *cov);
                *cov = covariance_at(arena_take(x->arena, covariance_bytes(1, x->problem.standard_n)), 1, at);
                corrected(x, cov);
                double complex(*d)[4] = arena_take(x->arena, cov->column_n * sizeof *d);
                rf_sensitivity(cov, 0, &x->terms, x->device, d);
                double largest = 0;
                assert_true(cov->column_n >= 6);
                for (size_t c = 0; c < cov->column_n; c++) {
                        struct column col = cov->columns[c];
                        double h = col.kind == COLUMN_LENGTH ? 1e-8 : 1e-6;
                        if (stays(x, col))
                                continue;
                        move(x, col, h);
                        struct m2 up = corrected(x, NULL);
                        move(x, col, -2 * h);
                        struct m2 down = corrected(x, NULL);
                        move(x, col, h);
                        for (int e = 0; e < 4; e++) {
                                double complex want = (up.e[e] - down.e[e]) / (2 * h);
                                double scale = col.kind == COLUMN_LENGTH ? 1e3 : 1; /* per metre: a wave is some millimetres */
                                if (x->method->ports == 1 && (e == 1 || e == 2))
                                        continue;
                                /* both are differences of 1e-6, rounded at 1e-16, through maps of gain ten */
                                if (!(cabs(d[c][e] - want) <= 2e-6 * scale * fmax(1, cabs(want) / scale)))
                                        fail_msg("%s: standard %u %s %u moves S entry %d by %.8g%+.8gi, foretold %.8g%+.8gi",
                                                 x->method->word, col.standard, words[col.kind], col.entry, e, creal(want), cimag(want),
                                                 creal(d[c][e]), cimag(d[c][e]));
                                largest = fmax(largest, col.kind == COLUMN_LENGTH ? 0 : cabs(want));
                        }
                }
                assert_true(largest > 0.3); /* something did move */
                arena_free(x->arena);
        }
}

static void scatter_of_all_inputs_is_as_foretold(void **state)
{
        (void)state;
        for (size_t m = 0; m < rf_method_n; m++) {
                struct lab *x = lab_new(&rf_methods[m]);
                const size_t at[1] = {AT};
                struct covariance *cov = arena_take(x->arena, sizeof *cov);
                *cov = covariance_at(arena_take(x->arena, covariance_bytes(1, x->problem.standard_n)), 1, at);
                struct m2 centre = corrected(x, cov);
                double complex(*d)[4] = arena_take(x->arena, cov->column_n * sizeof *d), one[RF_COLUMN_MAX];
                double u[RF_COLUMN_MAX], seen[4] = {0}, length[4] = {0};
                rf_sensitivity(cov, 0, &x->terms, x->device, d);
                struct random r = random_of(77, m);
                for (int draw = 0; draw < DRAWS; draw++) {
                        double complex by[RF_COLUMN_MAX];
                        for (size_t c = 0; c < cov->column_n; c++) {
                                double re = random_normal(&r), im = random_normal(&r);
                                by[c] = stays(x, cov->columns[c])               ? 0
                                        : cov->columns[c].kind == COLUMN_LENGTH ? U_LENGTH * re
                                                                                : U_RAW * CMPLX(re, im);
                                move(x, cov->columns[c], by[c]);
                        }
                        struct m2 s = m2_sub(corrected(x, NULL), centre);
                        for (size_t c = 0; c < cov->column_n; c++)
                                move(x, cov->columns[c], -by[c]);
                        for (int e = 0; e < 4; e++)
                                seen[e] += creal(s.e[e] * conj(s.e[e])) / DRAWS;
                }
                for (int e = 0; e < 4; e++) {
                        if (x->method->ports == 1 && (e == 1 || e == 2))
                                continue;
                        for (size_t c = 0; c < cov->column_n; c++) {
                                one[c] = d[c][e];
                                u[c] = cov->columns[c].kind == COLUMN_LENGTH || stays(x, cov->columns[c]) ? 0 : U_RAW;
                                length[e] += cov->columns[c].kind == COLUMN_LENGTH ? pow(U_LENGTH * cabs(d[c][e]), 2) : 0;
                        }
                        double circular = circular_through(cov->column_n, one, u), want = sqrt(2 * circular * circular + length[e]);
                        /* a scatter counted 2000 times two: 1.1 % (1 s); four of that, and 0.5 % for what is not straight */
                        if (!(fabs(sqrt(seen[e]) / want - 1) < 0.05))
                                fail_msg("%s, S entry %d: scatter %.4g, foretold %.4g", x->method->word, e, sqrt(seen[e]), want);
                }
                arena_free(x->arena);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(linear_sensitivity_is_solving_again),
                                           cmocka_unit_test(scatter_of_all_inputs_is_as_foretold)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
