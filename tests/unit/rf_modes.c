/* Drift as modes: what is put in comes back with its size, its name and an honest u; what is none of the modes is called so. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "base/arena.h"
#include "tests/unit/rf_draws.h"
#include "rf/network/convert.h"
#include "rf/correct/correct.h"
#include "rf/trust/modes.h"
#include "rf/calibrate/standards.h"

enum { N = 221, OPEN_AIR = 0, SHORT, LOAD, THRU, STANDARDS };
struct station {
        struct arena *arena;
        struct axis axis;
        double hz[N];
        struct terms terms;
        uint64_t seed;
        double delay_s[2], loss_db[2]; /* drift, one way */
        double r_ohm[STANDARDS][2], l_h[STANDARDS][2];
        double noise;
        bool cable; /* directivity drifts too */
        int alike;  /* points over which an error stays the same */
};

static void put(struct terms *t, enum term k, size_t i, double complex v)
{
        t->re[k][i] = creal(v);
        t->im[k][i] = cimag(v);
}

static struct station *station_new(uint64_t seed)
{
        struct arena *arena = arena_new(0);
        struct station *s = arena_take(arena, sizeof *s);
        s->arena = arena;
        s->seed = seed;
        s->alike = 1;
        for (size_t i = 0; i < N; i++)
                s->hz[i] = 0.1e9 + 1e9 * (double)i;
        assert_int_equal(axis_of(N, s->hz, &s->axis, NULL), CODE_OK);
        s->terms = terms_at(arena_take(arena, terms_bytes(N)), &s->axis);
        s->terms.model = TERMS_EIGHT;
        s->terms.plane = PLANE_TIP;
        s->terms.method = "made up";
        for (size_t i = 0; i < N; i++) {
                double w = RF_TWO_PI * s->hz[i], loss = pow(10, -4 * sqrt(s->hz[i] / 220e9) / 20);
                double complex thru1 = loss * cexp(CMPLX(0, -w * 60e-12)), thru2 = loss * cexp(CMPLX(0, -w * 55e-12));
                double complex edf = 0.2 * cexp(CMPLX(0, -w * 10e-12)), esf = 0.15 * cexp(CMPLX(0, 1 - w * 14e-12)),
                               edr = 0.15 * cexp(CMPLX(0, -w * 12e-12)), esr = 0.2 * cexp(CMPLX(0, -w * 9e-12));
                put(&s->terms, TERM_EDF, i, edf), put(&s->terms, TERM_ESF, i, esf), put(&s->terms, TERM_ERF, i, thru1 * thru1);
                put(&s->terms, TERM_EDR, i, edr), put(&s->terms, TERM_ESR, i, esr), put(&s->terms, TERM_ERR, i, thru2 * thru2);
                put(&s->terms, TERM_K, i, thru1 / thru2);
                put(&s->terms, TERM_ELF, i, esr), put(&s->terms, TERM_ETF, i, thru1 * thru2), put(&s->terms, TERM_ELR, i, esf),
                        put(&s->terms, TERM_ETR, i, thru1 * thru2);
                put(&s->terms, TERM_EXF, i, 0), put(&s->terms, TERM_EXR, i, 0);
                s->terms.z_re[i] = 50;
                s->terms.z_im[i] = 0;
        }
        return s;
}

static struct m2 standard(const struct station *s, int which, double hz, bool now)
{
        double w = RF_TWO_PI * hz;
        struct m2 m;
        if (which == THRU) {
                m = rf_line(CMPLX(2 * sqrt(hz / 1e11), w * sqrt(5.3) / RF_C0_M_S), 49, 200e-6, 50);
        } else {
                double complex z = which == OPEN_AIR ? 1 / CMPLX(0, w * 6e-15)
                                   : which == SHORT  ? CMPLX(0.05, w * 5e-12)
                                                     : CMPLX(50.2, w * 3e-12);
                double complex g = (z - 50) / (z + 50);
                m = m2_diag(g, g);
        }
        for (int port = 0; now && port < 2; port++) { /* exact: series impedances through ABCD-free algebra, S -> Z has no thru, so by T */
                double complex z = CMPLX(s->r_ohm[which][port], w * s->l_h[which][port]) / 50;
                if (which == THRU) {
                        struct m2 series = m2_of(z / (2 + z), 2 / (2 + z), 2 / (2 + z), z / (2 + z));
                        m = port == 0 ? rf_s_from_t(m2_mul(rf_t_from_s(series), rf_t_from_s(m)))
                                      : rf_s_from_t(m2_mul(rf_t_from_s(m), rf_t_from_s(series)));
                } else {
                        double complex g = m.e[3 * port], y = (1 + g) / (1 - g) + z;
                        m.e[3 * port] = (y - 1) / (y + 1);
                }
        }
        return m;
}

/* Corrected with the terms, read through boxes that have drifted at the receivers' side of everything but directivity. */
static void read_all(struct station *s, int which, bool now, struct m2 to[N])
{
        double complex err[4] = {0};
        for (size_t i = 0; i < N; i++) {
                struct m2 raw = rf_embed2_point(&s->terms, i, standard(s, which, s->hz[i], now));
                double complex moved[2] = {1, 1};
                for (int p = 0; p < 2 && now; p++)
                        moved[p] = cexp(CMPLX(0, -RF_TWO_PI * s->hz[i] * s->delay_s[p])) *
                                   pow(10, -s->loss_db[p] / 20 * sqrt(s->hz[i] / s->hz[N - 1]));
                double complex ed[2] = {CMPLX(s->terms.re[TERM_EDF][i], s->terms.im[TERM_EDF][i]),
                                        CMPLX(s->terms.re[TERM_EDR][i], s->terms.im[TERM_EDR][i])};
                if (s->cable)
                        ed[0] = ed[1] = 0;
                raw.e[0] = ed[0] + (raw.e[0] - ed[0]) * moved[0] * moved[0];
                raw.e[3] = ed[1] + (raw.e[3] - ed[1]) * moved[1] * moved[1];
                raw.e[1] *= moved[0] * moved[1];
                raw.e[2] *= moved[0] * moved[1];
                to[i] = rf_correct2_point(&s->terms, i, raw);
                for (int e = 0; e < 4; e++) {
                        if (i % (size_t)s->alike == 0)
                                err[e] = s->noise * normal(&s->seed);
                        to[i].e[e] += err[e];
                }
        }
}

struct experiment {
        struct m2 then[STANDARDS][N], now[STANDARDS][N];
        double sigma[N];
        size_t at[N];
        struct rf_mode_reading readings[STANDARDS];
        struct rf_modes modes;
        struct rf_mode_name name;
        void *workspace;
};
static const struct rf_mode_priors priors = {300e-15, 1, 50e-15, 0.2, 2e-12, 4e-6, 5.3};

static struct experiment *experiment_new(struct station *s)
{
        struct experiment *x = arena_take(s->arena, sizeof *x);
        x->workspace = arena_take(s->arena, rf_modes_workspace(STANDARDS));
        static const char *const names[] = {"the raised open", "SHORT_A", "LOAD_A", "THRU_A"};
        for (size_t i = 0; i < N; i++)
                x->at[i] = i;
        for (int k = 0; k < STANDARDS; k++)
                x->readings[k] = (struct rf_mode_reading){names[k], k != OPEN_AIR, N, x->at, x->then[k], x->now[k], x->sigma};
        return x;
}
static void run(struct station *s, struct experiment *x)
{
        for (size_t i = 0; i < N; i++)
                x->sigma[i] = hypot(fmax(s->noise, 1e-5) * sqrt(2), 2e-4);
        for (int k = 0; k < STANDARDS; k++) {
                read_all(s, k, false, x->then[k]);
                read_all(s, k, true, x->now[k]);
        }
        struct tp_error err = {0};
        if (rf_modes_fit(&s->terms, x->readings, STANDARDS, &priors, 40e9, x->workspace, &x->modes, &err))
                fail_msg("%s", err.text);
        rf_modes_name(&x->modes, x->readings, STANDARDS, &x->name);
}

static void each_mode_comes_back_with_its_name(void **state)
{
        (void)state;
        struct station *s = station_new(1);
        struct experiment *x = experiment_new(s);
        s->noise = 3e-4;
        run(s, x);
        assert_int_equal(x->name.cause, RF_CAUSE_NOTHING);
        s->loss_db[1] = 0.012;
        run(s, x);
        if (x->name.cause != RF_CAUSE_LOSS || x->name.port != 1 || !(fabs(x->name.value - 0.012) < 4 * x->name.u) || !(x->name.u < 0.003))
                fail_msg("%s", x->name.sentence);
        assert_non_null(strstr(x->name.sentence, "loss of port 2 +0.01"));
        print_message("%s (confidence %.2f)\n", x->name.sentence, x->name.confidence);
        assert_true(x->modes.ratio > 0.5 && x->modes.ratio < 1.5);
        s->loss_db[1] = 0;
        s->delay_s[0] = 6e-15;
        run(s, x);
        if (x->name.cause != RF_CAUSE_DELAY || x->name.port != 0 || !(fabs(x->name.value - 6e-15) < 4 * x->name.u) || !(x->name.u < 1e-15))
                fail_msg("%s", x->name.sentence);
        print_message("%s (confidence %.2f)\n", x->name.sentence, x->name.confidence);
        s->delay_s[0] = 0;
        s->r_ohm[LOAD][1] = 0.15;
        run(s, x);
        if (x->name.cause != RF_CAUSE_CONTACT_R || x->name.port != 1 || x->name.reading != LOAD || !(fabs(x->name.value - 0.15) < 0.02))
                fail_msg("%s", x->name.sentence);
        print_message("%s (confidence %.2f)\n", x->name.sentence, x->name.confidence);
        s->r_ohm[LOAD][1] = 0;
        s->l_h[LOAD][0] = 2e-12; /* on a load inductance and place are not alike */
        run(s, x);
        if (x->name.cause != RF_CAUSE_CONTACT_L || x->name.port != 0 || x->name.reading != LOAD || !(fabs(x->name.value - 2e-12) < 0.3e-12))
                fail_msg("%s", x->name.sentence);
        print_message("%s (confidence %.2f)\n", x->name.sentence, x->name.confidence);
        s->l_h[LOAD][0] = 0;
        s->delay_s[0] = 25e-15; /* two at once: both are said */
        s->r_ohm[SHORT][0] = s->r_ohm[LOAD][0] = s->r_ohm[THRU][0] = 0.2;
        run(s, x);
        print_message("%s (confidence %.2f)\n", x->name.sentence, x->name.confidence);
        assert_true(fabs(x->modes.delay_s[0].value - 25e-15) < 1e-15);
        assert_true(fabs(x->modes.contact_ohm[SHORT][0].value - 0.2) < 0.03);
        assert_non_null(strstr(x->name.sentence, ", and "));
        arena_free(s->arena);
}

static void a_cable_takes_directivity_with_it(void **state)
{
        (void)state;
        struct station *s = station_new(8);
        struct experiment *x = experiment_new(s);
        s->noise = 3e-4;
        s->delay_s[1] = 60e-15;
        s->loss_db[1] = 0.05;
        run(s, x);
        assert_false(x->modes.cable);
        assert_true(fabs(x->modes.delay_s[1].value - 60e-15) < 0.2e-15 && x->modes.ratio < 1.2);
        s->cable = true;
        run(s, x);
        print_message("cable: %.2f fs of 60 and %.4f dB of 0.05 found; residual %.2f x noise\n", x->modes.delay_s[1].value * 1e15,
                      x->modes.loss_db[1].value, x->modes.ratio);
        assert_true(x->modes.cable);
        assert_true(fabs(x->modes.delay_s[1].value - 60e-15) < 0.2e-15 && fabs(x->modes.loss_db[1].value - 0.05) < 0.002 &&
                    x->modes.ratio < 1.2);
        assert_int_equal(x->name.cause, RF_CAUSE_DELAY);
        arena_free(s->arena);
}

static void what_no_mode_is_is_called_so(void **state)
{
        (void)state;
        struct station *s = station_new(2);
        struct experiment *x = experiment_new(s);
        s->noise = 3e-4;
        run(s, x);
        for (size_t i = 0; i < N; i++) { /* a ground tip that hangs: a resonance at 70 GHz */
                double complex q = 0.3 / (1 + CMPLX(0, 12 * (s->hz[i] / 70e9 - 70e9 / s->hz[i])));
                x->now[SHORT][i].e[0] += q;
        }
        assert_int_equal(rf_modes_fit(&s->terms, x->readings, STANDARDS, &priors, 40e9, x->workspace, &x->modes, NULL), CODE_OK);
        rf_modes_name(&x->modes, x->readings, STANDARDS, &x->name);
        assert_int_equal(x->name.cause, RF_CAUSE_NO_MODE);
        assert_int_equal(x->name.reading, SHORT);
        assert_non_null(strstr(x->name.sentence, "SHORT_A"));
        print_message("%s\n", x->name.sentence);
        arena_free(s->arena);
}

static void without_a_raised_open_the_delay_is_not_told_and_says_so(void **state)
{
        (void)state;
        struct station *s = station_new(3);
        struct experiment *x = experiment_new(s);
        s->noise = 2e-3;
        s->alike = 30;
        s->delay_s[0] = 10e-15;
        run(s, x);
        double with_open = x->modes.delay_s[0].u, condition = x->modes.condition;
        assert_true(with_open < 1.5e-15 && x->modes.delay_s[0].told > 0.999);
        assert_int_equal(rf_modes_fit(&s->terms, &x->readings[SHORT], 1, &priors, 40e9, x->workspace, &x->modes, NULL), CODE_OK);
        print_message("u of a port's delay: %.2g fs with the raised open (condition %.3g), %.2g fs by a short alone (condition %.3g)\n",
                      with_open * 1e15, condition, x->modes.delay_s[0].u * 1e15, x->modes.condition);
        assert_true(x->modes.delay_s[0].u > 4 * with_open);
        assert_true(fabs(x->modes.delay_s[0].value - 10e-15) < 3 * x->modes.delay_s[0].u);
        /* and on a short inductance and place are one thing but for their sum: the covariance says so */
        size_t n = x->modes.unknown_n;
        assert_int_equal(n, 11);
        const double *c = x->modes.covariance;
        double together = c[6 * n + 7] / sqrt(c[6 * n + 6] * c[7 * n + 7]);
        print_message("correlation of inductance and place on a short: %.3f\n", together);
        assert_true(together < -0.9 && together >= -1);
        arena_free(s->arena);
}

/* The stated u holds what it says, also where errors stay alike over ten points. */
static void stated_u_covers(void **state)
{
        (void)state;
        for (int alike = 1; alike <= 10; alike += 9) {
                int in[3] = {0}, rounds = 200;
                double z2 = 0;
                struct station *s = station_new(40 + (uint64_t)alike);
                struct experiment *x = experiment_new(s);
                s->noise = 5e-4;
                s->alike = alike;
                for (int r = 0; r < rounds; r++) {
                        for (int p = 0; p < 2; p++) {
                                s->delay_s[p] = 20e-15 * creal(normal(&s->seed));
                                s->loss_db[p] = 0.02 * creal(normal(&s->seed));
                                for (int k = SHORT; k < STANDARDS; k++) {
                                        s->r_ohm[k][p] = 0.05 * creal(normal(&s->seed));
                                        s->l_h[k][p] = 0.5e-12 * creal(normal(&s->seed));
                                }
                        }
                        run(s, x);
                        double z = (x->modes.delay_s[0].value - s->delay_s[0]) / x->modes.delay_s[0].u;
                        z2 += z * z / rounds;
                        in[0] += fabs(z) < 2;
                        in[1] += fabs(x->modes.loss_db[1].value - s->loss_db[1]) < 2 * x->modes.loss_db[1].u;
                        in[2] += fabs(x->modes.contact_ohm[LOAD][0].value - s->r_ohm[LOAD][0]) < 2 * x->modes.contact_ohm[LOAD][0].u;
                }
                print_message("errors alike over %d points: delay in 2 u %.1f %%, loss %.1f %%, contact R %.1f %% of %d; z rms %.2f; "
                              "likeness %.2f\n",
                              alike, 100.0 * in[0] / rounds, 100.0 * in[1] / rounds, 100.0 * in[2] / rounds, rounds, sqrt(z2),
                              x->modes.likeness);
                for (int k = 0; k < 3; k++)
                        assert_true(in[k] >= rounds * 88 / 100);
                assert_true(sqrt(z2) > 0.4); /* and is not mere caution */
                arena_free(s->arena);
        }
}

static void bad_input_is_refused(void **state)
{
        (void)state;
        struct station *s = station_new(5);
        struct experiment *x = experiment_new(s);
        struct tp_error err = {0};
        run(s, x);
        assert_int_equal(rf_modes_fit(&s->terms, x->readings, 0, &priors, 40e9, x->workspace, &x->modes, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_modes_fit(&s->terms, x->readings, 17, &priors, 40e9, x->workspace, &x->modes, &err), CODE_BAD_INPUT);
        struct rf_mode_priors p = priors;
        p.contact_h = 0;
        assert_int_equal(rf_modes_fit(&s->terms, x->readings, STANDARDS, &p, 40e9, x->workspace, &x->modes, &err), CODE_BAD_INPUT);
        p = priors;
        p.eps_eff = NAN;
        assert_int_equal(rf_modes_fit(&s->terms, x->readings, STANDARDS, &p, 40e9, x->workspace, &x->modes, &err), CODE_BAD_INPUT);
        x->sigma[3] = 0;
        assert_int_equal(rf_modes_fit(&s->terms, x->readings, STANDARDS, &priors, 40e9, x->workspace, &x->modes, &err), CODE_BAD_INPUT);
        x->sigma[3] = 1e-3;
        x->now[LOAD][10].e[0] = NAN;
        assert_int_equal(rf_modes_fit(&s->terms, x->readings, STANDARDS, &priors, 40e9, x->workspace, &x->modes, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "LOAD_A"));
        s->terms.model = TERMS_ONE_PORT;
        assert_int_equal(rf_modes_fit(&s->terms, x->readings, STANDARDS, &priors, 40e9, x->workspace, &x->modes, &err), CODE_BAD_INPUT);
        arena_free(s->arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(each_mode_comes_back_with_its_name),
                                           cmocka_unit_test(a_cable_takes_directivity_with_it),
                                           cmocka_unit_test(what_no_mode_is_is_called_so),
                                           cmocka_unit_test(without_a_raised_open_the_delay_is_not_told_and_says_so),
                                           cmocka_unit_test(stated_u_covers),
                                           cmocka_unit_test(bad_input_is_refused)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
