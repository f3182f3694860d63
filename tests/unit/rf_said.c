/* Sentences that tell an engineer what is wrong with a calibration or a model, each by data that have the fault, and not by data without:
   truth is what the data were made of (rf_synth.h). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>
#include "rf/calibrate/calibration.h"
#include "rf/models/model.h"
#include "rf/network/convert.h"
#include "rf_synth.h"

static struct diagnosis said(const struct synth *s, const char *method, const struct problem *p)
{
        const struct method *m = rf_method(method);
        struct terms t = terms_at(arena_take(s->arena, terms_bytes(s->axis.n)), &s->axis);
        struct diagnosis d = diagnosis_at(arena_take(s->arena, diagnosis_bytes(s->axis.n)), &s->axis);
        struct tp_error err = {0};
        if (m->solve(p, arena_take(s->arena, m->workspace_bytes(s->axis.n, p->standard_n)), &t, NULL, &d, &err))
                fail_msg("%s: %s", method, err.text);
        return d;
}

static void has(const struct diagnosis *d, const char *words, bool wanted)
{
        bool found = false;
        for (unsigned k = 0; k < d->warning_n; k++)
                found |= strstr(d->warning[k], words) != NULL;
        if (found != wanted)
                fail_msg("\"%s\" is %s; first of %u: %s", words, wanted ? "not said" : "said", d->warning_n,
                         d->warning_n ? d->warning[0] : "-");
}

static struct rf_standard standard(const struct synth *s, enum rf_standard_kind kind, synth_device *device, const void *with, bool known)
{
        return (struct rf_standard){.kind = kind, .raw = synth_raw(s, device, with), .ideal = known ? synth_ideal(s, device, with) : NULL};
}

static struct synth *band(size_t n, double lo, double hi)
{
        double hz[64];
        for (size_t i = 0; i < n; i++)
                hz[i] = lo + (hi - lo) * (double)i / (double)(n - 1);
        return synth_new(arena_new(0), synth_seed(11), n, hz);
}

static void reflections(const struct synth *s, struct rf_standard ret[3])
{
        ret[0] = standard(s, RF_OPEN, synth_open, &(struct synth_two){{-6e-15L, -5e-15L}}, true);
        ret[1] = standard(s, RF_SHORT, synth_short, &(struct synth_two){{3e-12L, 4e-12L}}, true);
        ret[2] = standard(s, RF_LOAD, synth_load, &(struct synth_loads){{{.r = 50}, {.r = 49.7L}}}, true);
}

/* solt of good standards with the thru's S21 times `times` and the forward switch term, if it is told, `off` what it is. */
static struct diagnosis solt_with(const struct synth *s, double times, bool switch_told, double off)
{
        struct rf_standard *st = arena_take(s->arena, 4 * sizeof *st);
        reflections(s, st);
        st[3] = standard(s, RF_THRU, synth_thru, &(struct synth_thru){1e-12L, 0, 0}, true);
        struct net2 *raw = (struct net2 *)(uintptr_t)st[3].raw;
        struct switch_terms *sw = arena_take(s->arena, sizeof *sw);
        *sw = switch_terms_at(arena_take(s->arena, switch_terms_bytes(s->axis.n)), &s->axis);
        for (size_t i = 0; i < s->axis.n; i++) {
                raw->re[2][i] *= times;
                raw->im[2][i] *= times;
                sw->f_re[i] = s->sw.f_re[i] + off;
                sw->f_im[i] = s->sw.f_im[i];
                sw->r_re[i] = s->sw.r_re[i];
                sw->r_im[i] = s->sw.r_im[i];
        }
        struct problem p = {.axis = &s->axis, .standards = st, .standard_n = 4, .switch_terms = switch_told ? sw : NULL};
        return said(s, "solt", &p);
}

/* The product of both transmission trackings is that of both reflection trackings. */
static void transmissions_that_disagree(void **state)
{
        (void)state;
        for (int wrong = 0; wrong < 2; wrong++) {
                struct synth *s = band(40, 1e9, 110e9);
                struct diagnosis d = solt_with(s, wrong ? 1.05 : 1, false, 0);
                has(&d, "forward and reverse transmission disagree by", wrong);
                arena_free(s->arena);
        }
}

/* What solt finds of the load matches says what the switch terms must be. */
static void switch_terms_of_another_day(void **state)
{
        (void)state;
        for (int wrong = 0; wrong < 2; wrong++) {
                struct synth *s = band(40, 1e9, 110e9);
                struct diagnosis d = solt_with(s, 1, true, wrong ? 0.05 : 0);
                has(&d, "the load match implies switch terms", wrong);
                arena_free(s->arena);
        }
}

/* A thru of 10 ps seen every 20 GHz turns by 72 degrees from point to point; of 2 ps by 14. */
static void a_thru_that_cannot_be_followed(void **state)
{
        (void)state;
        for (int wrong = 0; wrong < 2; wrong++) {
                struct synth *s = band(11, 1e9, 201e9);
                struct rf_standard st[4];
                reflections(s, st);
                long double tau = wrong ? 10e-12L : 2e-12L;
                st[3] = standard(s, RF_THRU, synth_thru, &(struct synth_thru){tau, 0, 0}, false);
                struct problem p = {.axis = &s->axis, .standards = st, .standard_n = 4, .switch_terms = &s->sw, .thru_delay_s_guess = 0};
                struct diagnosis d = said(s, "unknown_thru", &p);
                has(&d, "the thru's phase jumps by more than 60 degrees", wrong);
                arena_free(s->arena);
        }
}

static struct diagnosis match_set(const struct synth *s, struct problem *p, long double open_f, struct synth_load match,
                                  long double told_ohm)
{
        struct rf_standard *st = arena_take(s->arena, 4 * sizeof *st);
        const struct synth_two open = {{open_f, open_f}};
        const struct synth_loads told = {{{.r = told_ohm}, {.r = told_ohm}}};
        st[0] = standard(s, RF_THRU, synth_thru, &(struct synth_thru){1e-12L, 0, 0}, true);
        st[1] = standard(s, RF_OPEN, synth_open, &open, false);
        st[2] = standard(s, RF_SHORT, synth_short, &(struct synth_two){{3e-12L, 3e-12L}}, false);
        st[3] = standard(s, RF_LOAD, synth_load, &(struct synth_loads){{match, match}}, false);
        st[1].ideal = synth_ideal(s, synth_open, &open);
        st[3].ideal = synth_ideal(s, synth_load, &told);
        p->axis = &s->axis;
        p->standards = st;
        p->standard_n = 4;
        p->switch_terms = &s->sw;
        return said(s, "lrrm", p);
}

/* 100 fF turn an open by 87 degrees at 30 GHz. */
static void an_open_that_cannot_be_followed(void **state)
{
        (void)state;
        for (int wrong = 0; wrong < 2; wrong++) {
                struct synth *s = wrong ? band(4, 1e9, 91e9) : band(46, 1e9, 91e9);
                struct problem p = {.match_fit = RF_MATCH_FIXED};
                struct diagnosis d = match_set(s, &p, 100e-15L, (struct synth_load){.r = 50}, 50);
                has(&d, "the open jumps by more than 60 degrees", wrong);
                arena_free(s->arena);
        }
}

static void a_match_that_is_none(void **state)
{
        (void)state;
        for (int wrong = 0; wrong < 2; wrong++) {
                struct synth *s = band(60, 1e9, 60e9);
                struct problem p = {.match_fit = RF_MATCH_FIT_L};
                struct diagnosis d = match_set(s, &p, 6e-15L, (struct synth_load){.r = 50, .l = wrong ? 40e-12L : 20e-12L}, 50);
                has(&d, "more than 30 pH is no match on a substrate", wrong);
                arena_free(s->arena);
        }
}

static void a_resistance_that_the_open_contradicts(void **state)
{
        (void)state;
        for (int wrong = 0; wrong < 2; wrong++) {
                struct synth *s = band(60, 1e9, 110e9);
                struct problem p = {.match_fit = RF_MATCH_FROM_OPEN};
                struct diagnosis d = match_set(s, &p, 6e-15L, (struct synth_load){.r = wrong ? 52 : 50.5L, .l = 5e-12L}, 50);
                has(&d, "by the known open the match has", wrong);
                arena_free(s->arena);
        }
}

struct lines {
        const double *length; /* [3], m */
        double told;          /* times what they are */
        double eps_times;
        double offset_m; /* of the reflect, as told; it lies at the planes */
};
static enum code lines_solved(const struct synth *s, struct lines l, struct diagnosis *ret, struct tp_error *err)
{
        struct rf_standard st[4];
        for (size_t k = 0; k < 3; k++) {
                st[k] = standard(s, RF_LINE, synth_line, &l.length[k], false);
                st[k].length_m = l.length[k] * l.told;
        }
        st[3] = standard(s, RF_REFLECT, synth_short, &(struct synth_two){{4e-12L, 4e-12L}}, false);
        struct problem p = {.axis = &s->axis,
                            .standards = st,
                            .standard_n = 4,
                            .switch_terms = &s->sw,
                            .eps_eff_guess = l.eps_times * (double)(s->line.l * s->line.c) * RF_C0_M_S * RF_C0_M_S,
                            .reflect_estimate = -1,
                            .reflect_offset_m = -l.length[0] * l.told / 2 + l.offset_m};
        const struct method *m = rf_method("multiline_trl");
        struct terms t = terms_at(arena_take(s->arena, terms_bytes(s->axis.n)), &s->axis);
        *ret = diagnosis_at(arena_take(s->arena, diagnosis_bytes(s->axis.n)), &s->axis);
        return m->solve(&p, arena_take(s->arena, m->workspace_bytes(s->axis.n, 4)), &t, NULL, ret, err);
}

/* A sweep that begins at 50 GHz cannot be followed from where lines are short: a first guess that is far off gives roots of another turn,
   and that is said exactly where gamma is not the line's. */
static void roots_of_another_turn(void **state)
{
        (void)state;
        static const double length[3] = {200e-6, 1800e-6, 5250e-6}, times[] = {1, 1.3, 2, 2.7, 4, 7, 0.7, 0.38};
        unsigned wrong_n = 0;
        for (size_t k = 0; k < sizeof times / sizeof *times; k++) {
                struct synth *s = band(60, 50e9, 110e9);
                struct diagnosis d;
                struct tp_error err = {0};
                if (lines_solved(s, (struct lines){length, 1, times[k], 0}, &d, &err)) { /* the reflect contradicts it, too */
                        assert_true(k > 0);
                        wrong_n++;
                        arena_free(s->arena);
                        continue;
                }
                wide gamma, zc;
                synth_gamma_zc(s, 30, &gamma, &zc);
                bool wrong = fabs(d.gamma_im[30] / (double)cimagl(gamma) - 1) > 0.01;
                has(&d, "gamma is of another turn", wrong);
                wrong_n += wrong;
                arena_free(s->arena);
        }
        assert_true(wrong_n >= 2 && wrong_n < sizeof times / sizeof *times);
}

/* Lengths told as three times what they are, and a reflect that contradicts its estimate: the phases say what does not fit. */
static void a_permittivity_that_the_phases_contradict(void **state)
{
        (void)state;
        static const double length[3] = {200e-6, 450e-6, 900e-6};
        struct synth *s = band(60, 1e9, 110e9);
        struct diagnosis d;
        struct tp_error err = {0};
        assert_int_equal(lines_solved(s, (struct lines){length, 3, 1, -2500e-6}, &d, &err), CODE_BAD_INPUT);
        if (!strstr(err.text, "the lines' phases say eps_eff near"))
                fail_msg("%s", err.text);
        /* told as a fifth: phases turn over, and nothing is said of what they cannot tell */
        assert_int_equal(lines_solved(s, (struct lines){length, 0.2, 1, -400e-6}, &d, &err), CODE_BAD_INPUT);
        if (strstr(err.text, "eps_eff near") || strstr(err.text, "exchanged"))
                fail_msg("%s", err.text);
        assert_int_equal(lines_solved(s, (struct lines){length, 1, 1, -1000e-6}, &d, &err), CODE_BAD_INPUT);
        if (strstr(err.text, "eps_eff near"))
                fail_msg("%s", err.text);
        arena_free(s->arena);
}

/* A pole pair at most, of data that give out 2 % more than they get around 20 GHz: passive, it would be another device at 0 Hz. */
static void a_model_that_would_move_at_0_hz_is_refused(void **state)
{
        (void)state;
        enum { N = 60 };
        struct arena *arena = arena_new(0);
        double hz[N];
        struct axis axis;
        for (int i = 0; i < N; i++)
                hz[i] = 1e9 * (i + 1);
        assert_int_equal(axis_of(N, hz, &axis, NULL), CODE_OK);
        struct net2 net = net2_at(arena_take(arena, net2_bytes(N)), &axis, PLANE_DEVICE);
        for (size_t i = 0; i < N; i++) {
                double x = hz[i] / 60e9;
                double complex t = (0.97 + 0.051 * exp(-40 * (x - 0.35) * (x - 0.35))) * cexp(CMPLX(0, -0.8 * x));
                net2_put(&net, i, m2_of(0, t, t, 0));
        }
        struct model m;
        struct model_report r;
        struct tp_error err = {0};
        struct model_data d = model_data_of(&net);
        struct model_options o = {.kind = MODEL_Y, .fit = {.order = 1}};
        void *w = arena_take(arena, rf_fit_vector_bytes(N, 2, 0));
        assert_int_equal(rf_fit_vector(&d, &o, w, &m, &r, &err), CODE_UNRESOLVABLE);
        if (!strstr(err.text, "becomes passive only if S at 0 Hz moves by") || !strstr(err.text, "lowest frequencies"))
                fail_msg("%s", err.text);
        arena_free(arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(transmissions_that_disagree),
                cmocka_unit_test(switch_terms_of_another_day),
                cmocka_unit_test(a_thru_that_cannot_be_followed),
                cmocka_unit_test(an_open_that_cannot_be_followed),
                cmocka_unit_test(a_match_that_is_none),
                cmocka_unit_test(a_resistance_that_the_open_contradicts),
                cmocka_unit_test(roots_of_another_turn),
                cmocka_unit_test(a_permittivity_that_the_phases_contradict),
                cmocka_unit_test(a_model_that_would_move_at_0_hz_is_refused),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
