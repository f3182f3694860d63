/* Inductance and capacitance of the match together ("lrrm", match_fit "inductance_and_capacitance"): random sets from 70 kHz to 220 GHz in
   noise of -80 dB, L -5 to 20 pH, C 0 to 10 fF, opens that differ by 0 to 1 fF from port to port.  The truth is what they were made of
   (rf_synth.h, extended precision).  TIPPLANE_SEED=n takes others. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include "rf_synth.h"

enum { N = 331, DRAWS = 40 };
struct match_truth {
        double r_ohm, l_h, c_f;
};
/* opens_apart_f is 0 … 1 fF of one draw, by share; everything else of a draw is the same whatever the share. */
static struct diagnosis solved(struct synth *s, double share, struct match_truth *ret)
{
        double r = synth_draw(s, 48, 52), l = synth_draw(s, -5e-12, 20e-12), c = synth_draw(s, 0, 10e-15);
        double open = synth_draw(s, 4e-15, 15e-15) * (synth_draw(s, 0, 1) < 0.6 ? -1 : 1), apart = share * synth_draw(s, 0, 1e-15);
        double closed = synth_draw(s, 0, 10e-12), unlike = 0.5e-12 * creal(synth_normal(s)) * (share > 0);
        struct synth_thru thru = {synth_draw(s, 0.4e-12, 1e-12), 0.05L, 0};
        struct synth_two opens = {{open + apart / 2, open - apart / 2}}, shorts = {{closed + unlike / 2, closed - unlike / 2}};
        struct synth_load match = {.r = r, .l = l, .c = c}, told = {.r = r};
        struct rf_standard st[4] = {{.kind = RF_THRU, .raw = synth_raw(s, synth_thru, &thru), .ideal = synth_ideal(s, synth_thru, &thru)},
                                    {.kind = RF_OPEN, .raw = synth_raw(s, synth_open, &opens)},
                                    {.kind = RF_SHORT, .raw = synth_raw(s, synth_short, &shorts)},
                                    {.kind = RF_LOAD,
                                     .raw = synth_raw(s, synth_load, &(struct synth_loads){{match, match}}),
                                     .ideal = synth_ideal(s, synth_load, &(struct synth_loads){{told, told}}),
                                     .ports = 1}};
        struct problem p = {.axis = &s->axis, .standards = st, .standard_n = 4, .switch_terms = &s->sw, .match_fit = RF_MATCH_FIT_L_C};
        for (int k = 0; k < 4; k++)
                synth_noise(s, (struct net2 *)(uintptr_t)st[k].raw, 1e-4);
        const struct method *m = rf_method("lrrm");
        struct terms terms = terms_at(arena_take(s->arena, terms_bytes(N)), &s->axis);
        struct diagnosis d = diagnosis_at(arena_take(s->arena, diagnosis_bytes(N)), &s->axis);
        struct tp_error err = {0};
        if (m->solve(&p, arena_take(s->arena, m->workspace_bytes(N, 4)), &terms, NULL, &d, &err))
                fail_msg("TIPPLANE_SEED=%" PRIu64 ": %s", s->seed, err.text);
        *ret = (struct match_truth){r, l, c};
        return d;
}
static struct synth *synth_wide(uint64_t seed)
{
        double hz[N];
        synth_grid(31, 70e3, 1e9, hz);
        for (size_t i = 31; i < N; i++)
                hz[i] = 1e9 + 219e9 * (double)(i - 30) / (N - 31);
        return synth_new(arena_new(0), seed, N, hz);
}
static bool warned(const struct diagnosis *d)
{
        for (unsigned k = 0; k < d->warning_n; k++)
                if (strstr(d->warning[k], "cannot be told apart"))
                        return true;
        return false;
}
/* Largest share by which the admittance of the match is wrong. */
static double admittance_off(const struct synth *s, struct match_truth t, const struct diagnosis *d)
{
        double worst = 0;
        for (size_t i = 0; i < N; i++) {
                double w = (double)synth_w(s, i);
                double complex is = 1 / CMPLX(t.r_ohm, w * t.l_h) + CMPLX(0, w * t.c_f),
                               found = 1 / CMPLX(t.r_ohm, w * d->match_l_fit_h) + CMPLX(0, w * d->match_c_fit_f);
                worst = fmax(worst, cabs(found / is - 1));
        }
        return worst;
}

static void no_wrong_valley_is_taken_unsaid(void **state)
{
        (void)state;
        static const double share[3] = {0, 0.1, 1};
        for (size_t k = 0; k < 3; k++) {
                unsigned told = 0;
                double square = 0, off_told = 0, off_warned = 0;
                for (uint64_t n = 0; n < DRAWS; n++) {
                        struct match_truth is;
                        struct synth *s = synth_wide(synth_seed(1000) + n);
                        struct diagnosis d = solved(s, share[k], &is);
                        double l = fabs(d.match_l_fit_h - is.l_h), c = fabs(d.match_c_fit_f - is.c_f), off = admittance_off(s, is, &d);
                        assert_true(d.match_l_determined && d.match_c_found);
                        if (!(l < 3.5 * d.match_l_u_h && c < 3.5 * d.match_c_u_f))
                                fail_msg("TIPPLANE_SEED=%" PRIu64
                                         ", opens apart by %g: L %.2f pH found %.2f +- %.2f, C %.2f fF found %.2f +- %.2f",
                                         s->seed, share[k], is.l_h * 1e12, d.match_l_fit_h * 1e12, d.match_l_u_h * 1e12, is.c_f * 1e15,
                                         d.match_c_fit_f * 1e15, d.match_c_u_f * 1e15);
                        if (warned(&d)) {
                                off_warned = fmax(off_warned, off);
                        } else {
                                told++;
                                square += l * l / d.match_l_u_h / d.match_l_u_h;
                                off_told = fmax(off_told, off);
                                if (!(l < 4e-12 && c < 2e-15)) /* the other valley is farther */
                                        fail_msg("TIPPLANE_SEED=%" PRIu64 ": L off by %.2f pH without a word", s->seed, l * 1e12);
                        }
                        arena_free(s->arena);
                }
                double rms = sqrt(square / told);
                print_message(
                        "opens apart by 0 to %g fF: told apart %u of %d, L off by %.2f of its u, the match's admittance by %.1f %% at "
                        "most; in the others by %.1f %%, and that is said\n",
                        share[k], told, DRAWS, rms, 100 * off_told, 100 * off_warned);
                assert_true(told >= DRAWS / 3 && rms < 1.4 && off_told < 0.06 && off_warned < 0.06);
        }
}

/* 0.1 fF between the opens moves what is found by little, in every draw that is told apart. */
static void what_is_found_follows_the_opens_without_a_jump(void **state)
{
        (void)state;
        double most = 0;
        for (uint64_t n = 0; n < DRAWS / 2; n++) {
                double l[2];
                bool both = true;
                for (int k = 0; k < 2; k++) {
                        struct match_truth is;
                        struct synth *s = synth_wide(synth_seed(5000) + n);
                        struct diagnosis d = solved(s, k ? 0.2 : 0.1, &is);
                        l[k] = d.match_l_fit_h;
                        both = both && !warned(&d);
                        arena_free(s->arena);
                }
                if (both)
                        most = fmax(most, fabs(l[1] - l[0]));
        }
        print_message("0.1 fF more between the opens moves L by %.2f pH at most\n", most * 1e12);
        assert_true(most < 0.5e-12);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(no_wrong_valley_is_taken_unsaid),
                cmocka_unit_test(what_is_found_follows_the_opens_without_a_jump),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
