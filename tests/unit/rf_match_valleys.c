/* Inductance and capacitance of the match together ("lrrm", match_fit "inductance_and_capacitance"): random sets from 70 kHz to 220 GHz in
   noise of -80 dB, L -5 to 20 pH, C 0 to 10 fF, opens that differ by 0 to 0.3 fF from port to port.  The truth is what they were made of
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

enum { N = 181, DRAWS = 200 };
struct match_truth {
        double r_ohm, l_h, c_f;
};
/* Opens differ by 0 to 0.3 fF of one draw, by share; everything else of a draw is the same whatever the share.  told_c: its capacitance is
   in the definition, and the inductance alone is fitted. */
static struct diagnosis solved(struct synth *s, double share, bool told_c, struct match_truth *ret)
{
        double r = synth_draw(s, 48, 52), l = synth_draw(s, -5e-12, 20e-12), c = synth_draw(s, 0, 10e-15);
        double open = synth_draw(s, 4e-15, 15e-15) * (synth_draw(s, 0, 1) < 0.6 ? -1 : 1), apart = share * synth_draw(s, 0, 0.3e-15);
        double closed = synth_draw(s, 0, 10e-12), unlike = 0.5e-12 * creal(synth_normal(s)) * (share > 0);
        struct synth_thru thru = {synth_draw(s, 0.4e-12, 1e-12), 0.05L, 0};
        struct synth_two opens = {{open + apart / 2, open - apart / 2}}, shorts = {{closed + unlike / 2, closed - unlike / 2}};
        struct synth_load match = {.r = r, .l = l, .c = c}, told = {.r = r, .c = told_c ? c : 0};
        struct rf_standard st[4] = {{.kind = RF_THRU, .raw = synth_raw(s, synth_thru, &thru), .ideal = synth_ideal(s, synth_thru, &thru)},
                                    {.kind = RF_OPEN, .raw = synth_raw(s, synth_open, &opens)},
                                    {.kind = RF_SHORT, .raw = synth_raw(s, synth_short, &shorts)},
                                    {.kind = RF_LOAD,
                                     .raw = synth_raw(s, synth_load, &(struct synth_loads){{match, match}}),
                                     .ideal = synth_ideal(s, synth_load, &(struct synth_loads){{told, told}}),
                                     .shunt_c_f = told_c ? c : 0,
                                     .ports = 1}};
        struct problem p = {.axis = &s->axis,
                            .standards = st,
                            .standard_n = 4,
                            .switch_terms = &s->sw,
                            .match_fit = told_c ? RF_MATCH_FIT_L : RF_MATCH_FIT_L_C};
        for (int k = 0; k < 4; k++)
                synth_noise(s, (struct net2 *)(uintptr_t)st[k].raw, 1e-4);
        const struct method *m = rf_method("lrrm");
        struct terms terms = terms_at(arena_take(s->arena, terms_bytes(s->axis.n)), &s->axis);
        struct diagnosis d = diagnosis_at(arena_take(s->arena, diagnosis_bytes(s->axis.n)), &s->axis);
        struct tp_error err = {0};
        if (m->solve(&p, arena_take(s->arena, m->workspace_bytes(s->axis.n, 4)), &terms, NULL, &d, &err))
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
static const char *said_of(const struct diagnosis *d, const char *words)
{
        for (unsigned k = 0; k < d->warning_n; k++)
                if (strstr(d->warning[k], words))
                        return d->warning[k];
        return NULL;
}
static const char *other_pair(const struct diagnosis *d)
{
        static const char *const said[] = {"fits what was read", "fit better, with opens", "cannot both be determined"};
        const char *one = NULL;
        for (size_t i = 0; i < sizeof said / sizeof said[0] && !one; i++)
                one = said_of(d, said[i]);
        return one;
}

/* However wrong: never by more than what is said of it. */
static void no_other_valley_is_taken_unsaid(void **state)
{
        (void)state;
        static const double share[2] = {0, 1};
        for (size_t k = 0; k < 2; k++) {
                unsigned unsaid = 0, off = 0, none = 0;
                double square = 0, worst = 0;
                for (uint64_t n = 0; n < DRAWS; n++) {
                        struct match_truth is;
                        struct synth *s = synth_wide(synth_seed(1000) + n);
                        struct diagnosis d = solved(s, share[k], false, &is);
                        double l = fabs(d.match_l_fit_h - is.l_h), c = fabs(d.match_c_fit_f - is.c_f);
                        double u_l = hypot(d.match_l_u_h, d.match_l_apart_h), u_c = hypot(d.match_c_u_f, d.match_c_apart_f);
                        const char *said = other_pair(&d);
                        if (!d.match_l_determined) { /* its definition stands, and that is said */
                                assert_true(said_of(&d, "L not determined") != NULL);
                                none++;
                                arena_free(s->arena);
                                continue;
                        }
                        if (!(l < 3.5 * u_l && (d.match_c_u_f == 0 || c < 3.5 * u_c)))
                                fail_msg("TIPPLANE_SEED=%" PRIu64
                                         ", opens apart by %g: L %.2f pH found %.2f +- %.2f, C %.2f fF found %.2f +- %.2f: %s",
                                         s->seed, share[k], is.l_h * 1e12, d.match_l_fit_h * 1e12, u_l * 1e12, is.c_f * 1e15,
                                         d.match_c_fit_f * 1e15, u_c * 1e15, said ? said : "nothing said");
                        off += l > 2e-12;
                        worst = fmax(worst, l / u_l);
                        if (!said) {
                                unsaid++;
                                square += l * l / (u_l * u_l);
                        }
                        arena_free(s->arena);
                }
                double rms = sqrt(square / unsaid);
                print_message(
                        "opens apart by 0 to %g fF: %u of %d off by more than 2 pH; no other pair in %u, these off by %.2f of their u; "
                        "worst of all %.2f; not determined %u\n",
                        0.3 * share[k], off, DRAWS, unsaid, rms, worst, none);
                assert_true(unsaid >= DRAWS / 6 && rms < 1.4 && none <= DRAWS / 20);
        }
}

/* What the sentence asks for helps: with its capacitance stated the inductance is found wherever it was not. */
static void a_stated_capacitance_resolves_it(void **state)
{
        (void)state;
        for (int unlike = 0; unlike < 2; unlike++) {
                double square = 0, most = 0;
                for (uint64_t n = 0; n < DRAWS; n++) {
                        struct match_truth is;
                        struct synth *s = synth_wide(synth_seed(1000) + n);
                        struct diagnosis d = solved(s, unlike, true, &is);
                        double off = fabs(d.match_l_fit_h - is.l_h);
                        assert_true(d.match_l_determined && !other_pair(&d));
                        if (!unlike && !(off < 5 * d.match_l_u_h))
                                fail_msg("TIPPLANE_SEED=%" PRIu64 ": L of %.3g pH beside %.3g fF off by %.3g pH, %.3g pH claimed", s->seed,
                                         is.l_h * 1e12, is.c_f * 1e15, off * 1e12, d.match_l_u_h * 1e12);
                        square += off * off;
                        most = fmax(most, off);
                        arena_free(s->arena);
                }
                double rms = sqrt(square / DRAWS);
                print_message("C stated, opens apart by 0 to %g fF: L off by %.2f pH (rms), %.2f at most\n", 0.3 * unlike, rms * 1e12,
                              most * 1e12);
                assert_true(rms < 0.8e-12 &&
                            most < 4e-12); /* opens 0.3 fF and shorts 0.5 pH apart move it by some 0.5 pH; no valley is left */
        }
}

static void few_frequencies_are_said(void **state)
{
        (void)state;
        double hz[11];
        synth_grid(11, 1e9, 60e9, hz);
        struct match_truth is;
        struct synth *s = synth_new(arena_new(0), synth_seed(7), 11, hz);
        struct diagnosis d = solved(s, 0, false, &is);
        assert_true(other_pair(&d) || said_of(&d, "12 or more") || said_of(&d, "L not determined"));
        arena_free(s->arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(no_other_valley_is_taken_unsaid),
                cmocka_unit_test(a_stated_capacitance_resolves_it),
                cmocka_unit_test(few_frequencies_are_said),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
