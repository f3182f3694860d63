/* What trl, lrm, lrrm and known_standards refuse, in which words; sensitivities of every method; capacitance of a line. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>
#include "rf/correct/correct.h"
#include "rf/calibrate/lines/capacitance.h"
#include "rf_synth.h"

enum { N = 24 };
struct bench {
        struct synth *s;
        struct rf_standard st[8];
        struct problem p;
        const char *method;
};

static struct rf_standard standard(const struct synth *s, enum rf_standard_kind kind, synth_device *device, const void *with, bool known)
{
        return (struct rf_standard){.kind = kind, .raw = synth_raw(s, device, with), .ideal = known ? synth_ideal(s, device, with) : NULL};
}

static struct bench *bench_new(const char *method)
{
        struct arena *arena = arena_new(0);
        struct bench *b = arena_take(arena, sizeof *b);
        double hz[N];
        static const double length[3] = {200e-6, 450e-6, 1300e-6};
        const struct synth_two open = {{-6e-15L, -6e-15L}}, shorted = {{3e-12L, 3e-12L}};
        const struct synth_loads load = {{{.r = 50, .l = 3e-12L}, {.r = 50, .l = 3e-12L}}};
        const struct synth_thru thru = {1e-12L, 0.02L, 48};
        for (size_t i = 0; i < N; i++)
                hz[i] = 5e9 * (double)(i + 1);
        b->method = method;
        b->s = synth_new(arena, 3, N, hz);
        b->p = (struct problem){.axis = &b->s->axis, .standards = b->st, .switch_terms = &b->s->sw};
        size_t n = 0;
        if (strstr(method, "trl")) {
                size_t lines = strcmp(method, "trl") == 0 ? 2 : 3;
                for (; n < lines; n++) {
                        b->st[n] = standard(b->s, RF_LINE, synth_line, &length[n], false);
                        b->st[n].length_m = length[n];
                }
                b->st[n++] = standard(b->s, RF_REFLECT, synth_short, &shorted, false);
                b->p.eps_eff_guess = (double)(b->s->line.l * b->s->line.c) * RF_C0_M_S * RF_C0_M_S;
                b->p.reflect_estimate = -1;
                b->p.reflect_offset_m = -100e-6;
                b->p.line_c_f_m = (double)b->s->line.c;
        } else {
                bool known = strcmp(method, "lrm") != 0 && strcmp(method, "lrrm") != 0;
                b->st[n++] = standard(b->s, RF_THRU, synth_thru, &thru, true);
                b->st[n++] = standard(b->s, RF_OPEN, synth_open, &open, known);
                if (strcmp(method, "lrm") != 0)
                        b->st[n++] = standard(b->s, RF_SHORT, synth_short, &shorted, known);
                b->st[n++] = standard(b->s, RF_LOAD, synth_load, &load, true);
                b->p.match_fit = RF_MATCH_FIXED;
                b->p.thru_delay_s_guess = 1e-12;
        }
        b->p.standard_n = n;
        return b;
}
static struct rf_standard *find(struct bench *b, enum rf_standard_kind kind)
{
        for (size_t k = 0; k < b->p.standard_n; k++)
                if (b->st[k].kind == kind)
                        return &b->st[k];
        fail_msg("%s has no %s", b->method, rf_standard_words[kind]);
        return NULL;
}
static void leave_out(struct bench *b, enum rf_standard_kind kind)
{
        *find(b, kind) = b->st[b->p.standard_n - 1];
        b->p.standard_n--;
}
static struct net2 *raw(struct bench *b, enum rf_standard_kind kind) { return (struct net2 *)(uintptr_t)find(b, kind)->raw; }
static struct net2 *ideal(struct bench *b, enum rf_standard_kind kind) { return (struct net2 *)(uintptr_t)find(b, kind)->ideal; }

struct solved {
        struct terms terms;
        struct diagnosis diagnosis;
        struct tp_error err;
        enum code code;
};
static struct solved *solve(struct bench *b, struct covariance *cov)
{
        const struct method *m = rf_method(b->method);
        struct solved *a = arena_take(b->s->arena, sizeof *a);
        a->terms = terms_at(arena_take(b->s->arena, terms_bytes(N)), &b->s->axis);
        a->diagnosis = diagnosis_at(arena_take(b->s->arena, diagnosis_bytes(N)), &b->s->axis);
        a->err = (struct tp_error){0};
        /* exactly as much workspace as asked for; ASan has a fence behind it, and so have we */
        size_t bytes = m->workspace_bytes(N, b->p.standard_n), inputs = N * b->p.standard_n * sizeof(struct m2);
        unsigned char *workspace = aligned_alloc(64, (bytes + 127) / 64 * 64);
        memset(workspace + bytes, 0xa5, (bytes + 127) / 64 * 64 - bytes);
        a->code = m->solve(&b->p, workspace, &a->terms, cov, &a->diagnosis, &a->err);
        for (size_t k = bytes; k < (bytes + 127) / 64 * 64; k++)
                assert_int_equal(workspace[k], 0xa5);
        assert_true(a->code || bytes <= 3 * inputs + 512);
        free(workspace);
        return a;
}
static void refused(struct bench *b, enum code want, const char *say1, const char *say2)
{
        struct solved *a = solve(b, NULL);
        if (a->code != want || !strstr(a->err.text, say1) || !strstr(a->err.text, say2))
                fail_msg("%s: code %d \"%s\"; wanted code %d with \"%s\" and \"%s\"", b->method, (int)a->code, a->err.text, (int)want, say1,
                         say2);
        arena_free(b->s->arena);
}

static const char *const methods[] = {"trl", "multiline_trl", "lrm", "lrrm", "known_standards"};
static void every_method_solves_what_is_whole_and_says_what_is_not(void **state)
{
        (void)state;
        for (size_t k = 0; k < sizeof methods / sizeof methods[0]; k++) {
                struct bench *b = bench_new(methods[k]);
                struct solved *a = solve(b, NULL);
                if (a->code)
                        fail_msg("%s: %s", b->method, a->err.text);
                assert_string_equal(a->terms.method, methods[k]);
                assert_true(a->terms.model == TERMS_EIGHT && a->terms.switch_removed && strlen(rf_method(methods[k])->say) > 40);
                arena_free(b->s->arena);

                enum rf_standard_kind first = strstr(methods[k], "trl") ? RF_LINE : RF_THRU;
                b = bench_new(methods[k]), raw(b, first)->re[2][4] = NAN, refused(b, CODE_BAD_INPUT, "S21", "2.5e+10");
                b = bench_new(methods[k]), raw(b, first)->im[0][4] = INFINITY, refused(b, CODE_BAD_INPUT, "S11", "not a number");
                b = bench_new(methods[k]), find(b, first)->raw = NULL, refused(b, CODE_BAD_INPUT, rf_standard_words[first], "not measured");
                b = bench_new(methods[k]), raw(b, first)->plane = PLANE_TIP, refused(b, CODE_BAD_INPUT, "must be raw", "tip");
                b = bench_new(methods[k]), b->p.standard_n = 0, refused(b, CODE_BAD_INPUT, "0 standards", methods[k]);
                b = bench_new(methods[k]), b->s->sw.f_re[7] = NAN, refused(b, CODE_BAD_INPUT, "switch term", "4e+10");
                b = bench_new(methods[k]);
                struct axis other = b->s->axis;
                other.n = N - 1;
                raw(b, first)->axis = &other;
                refused(b, CODE_BAD_INPUT, "23 frequencies", "has 24");
                b = bench_new(methods[k]);
                struct net2 *dead = raw(b, first);
                for (size_t i = 0; i < N; i++)
                        dead->re[1][i] = dead->im[1][i] = dead->re[2][i] = dead->im[2][i] = 0;
                refused(b, CODE_UNRESOLVABLE, methods[k], "transmit");
        }
}

static void a_thru_that_was_not_there_is_none(void **state)
{
        (void)state;
        static const char *const lumped[] = {"solt", "unknown_thru"};
        for (size_t k = 0; k < 2; k++)
                for (int entry = 1; entry <= 2; entry++) { /* one way, at one frequency, is enough */
                        struct bench *b = bench_new(lumped[k]);
                        raw(b, RF_THRU)->re[entry][5] = raw(b, RF_THRU)->im[entry][5] = 0;
                        refused(b, CODE_UNRESOLVABLE, lumped[k], "transmit");
                }
}

static void lines_that_do_not_fit_are_named(void **state)
{
        (void)state;
        struct bench *b;
        b = bench_new("trl"), leave_out(b, RF_REFLECT), refused(b, CODE_BAD_INPUT, "reflect", "has 0");
        b = bench_new("trl"), leave_out(b, RF_LINE), refused(b, CODE_BAD_INPUT, "needs 2 of kind line", "has 1");
        b = bench_new("trl"), b->st[1].length_m = 200e-6, refused(b, CODE_BAD_INPUT, "are 200 and 200 um long", "differ");
        b = bench_new("trl"), b->st[1].length_m = NAN, refused(b, CODE_BAD_INPUT, "length", "between 0 and 1 m");
        b = bench_new("trl"), b->p.eps_eff_guess = 0.3, refused(b, CODE_BAD_INPUT, "permittivity", "0.3");
        b = bench_new("trl"), b->p.reflect_estimate = CMPLX(NAN, 0), refused(b, CODE_BAD_INPUT, "estimate", "-1 for a short");
        b = bench_new("trl"), b->p.reflect_offset_m = INFINITY, refused(b, CODE_BAD_INPUT, "offset", "on-wafer");
        b = bench_new("multiline_trl"), b->method = "trl", refused(b, CODE_BAD_INPUT, "3 lines", "multiline_trl takes more");
        b = bench_new("trl"), b->st[1].raw = b->st[0].raw, refused(b, CODE_UNRESOLVABLE, "do not differ", "check the lengths");
        b = bench_new("trl"), b->st[0].kind = RF_THRU, refused(b, CODE_BAD_INPUT, "thru", "no use");
}

static void reflects_and_matches_that_do_not_fit_are_named(void **state)
{
        (void)state;
        struct bench *b;
        b = bench_new("lrm"), leave_out(b, RF_OPEN), refused(b, CODE_BAD_INPUT, "has none", "open, a short or a reflect");
        b = bench_new("lrm"), leave_out(b, RF_THRU), refused(b, CODE_BAD_INPUT, "thru", "has 0");
        b = bench_new("lrm"), find(b, RF_LOAD)->ports = 1, refused(b, CODE_BAD_INPUT, "load at port 2", "has 0");
        b = bench_new("lrm"), find(b, RF_OPEN)->ports = 2, refused(b, CODE_BAD_INPUT, "open", "one port only");
        b = bench_new("lrm"), find(b, RF_LOAD)->ideal = NULL, refused(b, CODE_BAD_INPUT, "load", "no definition");
        b = bench_new("lrm"), b->st[b->p.standard_n++] = b->st[0], refused(b, CODE_BAD_INPUT, "one thru", "2 and 1");
        b = bench_new("lrm"), find(b, RF_OPEN)->kind = RF_REFLECT, refused(b, CODE_BAD_INPUT, "estimate", "+1 for an open");
        b = bench_new("lrm"), find(b, RF_OPEN)->kind = RF_REFLECT, b->p.reflect_estimate = CMPLX(0, 1),
        refused(b, CODE_BAD_INPUT, "cannot be settled", "-1 for a short");
        b = bench_new("lrm"), net2_set_z(ideal(b, RF_THRU), 75, 0), refused(b, CODE_BAD_INPUT, "50 ohm", "75");
        b = bench_new("lrm"), net2_copy(raw(b, RF_OPEN), raw(b, RF_LOAD)), refused(b, CODE_UNRESOLVABLE, "reflect", "told from the match");

        b = bench_new("lrrm"), leave_out(b, RF_SHORT), refused(b, CODE_BAD_INPUT, "short", "has 0");
        b = bench_new("lrrm"), leave_out(b, RF_LOAD), refused(b, CODE_BAD_INPUT, "load at port 1", "has 0");
        b = bench_new("lrrm"), find(b, RF_LOAD)->ports = 2, refused(b, CODE_BAD_INPUT, "load at port 1", "has 0");
        b = bench_new("lrrm"), find(b, RF_SHORT)->ports = 1, refused(b, CODE_BAD_INPUT, "short", "port 2");
        b = bench_new("lrrm"), net2_copy(raw(b, RF_SHORT), raw(b, RF_OPEN)), refused(b, CODE_UNRESOLVABLE, "coincide", "5e+09");
        b = bench_new("lrrm"), ideal(b, RF_THRU)->re[0][3] += 0.01, refused(b, CODE_BAD_INPUT, "both sides", "2e+10");
        b = bench_new("lrrm"), b->p.match_fit = RF_MATCH_FROM_OPEN, refused(b, CODE_BAD_INPUT, "open has no definition", "capacitance");
        b = bench_new("lrrm"), b->p.match_fit = (enum rf_match_fit)9, refused(b, CODE_BAD_INPUT, "9", "no way");
        b = bench_new("lrrm");
        struct axis other = b->s->axis;
        other.n = 5;
        struct net2 offset = *ideal(b, RF_THRU);
        offset.axis = &other;
        find(b, RF_LOAD)->offset = &offset;
        refused(b, CODE_BAD_INPUT, "offset", "5 frequencies");

        b = bench_new("known_standards"), leave_out(b, RF_THRU), refused(b, CODE_BAD_INPUT, "one standard that transmits", "sol");
        b = bench_new("known_standards"), leave_out(b, RF_OPEN), leave_out(b, RF_SHORT), leave_out(b, RF_LOAD),
        refused(b, CODE_BAD_INPUT, "4 equations", "7 terms");
        b = bench_new("known_standards"), find(b, RF_OPEN)->ideal = NULL, refused(b, CODE_BAD_INPUT, "open", "no definition");
        b = bench_new("known_standards"), ideal(b, RF_OPEN)->re[3][2] = NAN, refused(b, CODE_BAD_INPUT, "S22", "1.5e+10");
        b = bench_new("known_standards"), net2_copy(ideal(b, RF_SHORT), ideal(b, RF_OPEN)), net2_copy(raw(b, RF_SHORT), raw(b, RF_OPEN)),
        leave_out(b, RF_LOAD), refused(b, CODE_UNRESOLVABLE, "do not fix", "three different");
}

/* A badly known two-port among good standards: its weight goes, its residual points at it. */
static void known_standards_weigh_by_uncertainty(void **state)
{
        (void)state;
        double error[2];
        for (int weighed = 0; weighed < 2; weighed++) {
                struct bench *b = bench_new("known_standards");
                static const double length = 700e-6;
                struct rf_standard *line = &b->st[b->p.standard_n++];
                *line = standard(b->s, RF_LINE, synth_line, &length, true);
                for (size_t i = 0; i < N; i++)
                        ((struct net2 *)(uintptr_t)line->ideal)->re[0][i] += 0.03;
                for (size_t k = 0; k < b->p.standard_n && weighed; k++)
                        b->st[k].u_ideal = &b->st[k] == line ? 0.03 : 0.0003;
                struct solved *a = solve(b, NULL);
                assert_int_equal(a->code, CODE_OK);
                error[weighed] = 0;
                for (size_t i = 0; i < N; i++) {
                        struct wm2 truth = synth_inductor(b->s, i, NULL), read = synth_read(b->s, i, truth);
                        struct m2 m;
                        for (int e = 0; e < 4; e++)
                                m.e[e] = wide_round(read.e[e]);
                        m = rf_switch_remove_point(m, CMPLX(b->s->sw.f_re[i], b->s->sw.f_im[i]), CMPLX(b->s->sw.r_re[i], b->s->sw.r_im[i]));
                        error[weighed] = fmax(error[weighed], wm2_distance(rf_correct2_point(&a->terms, i, m), truth));
                }
                if (weighed)
                        assert_true(a->diagnosis.standard[line - b->st].worst > 0.005 && a->diagnosis.standard[1].worst < 1e-3);
                arena_free(b->s->arena);
        }
        assert_true(error[0] > 3e-3 && error[1] < 1e-3);
}

/* The sensitivities of every method against solving again with one number moved. */
static void sensitivities_are_those_of_solving_again(void **state)
{
        (void)state;
        static const char *const all[] = {"solt", "unknown_thru", "trl", "multiline_trl", "lrm", "lrrm", "known_standards"};
        for (size_t k = 0; k < sizeof all / sizeof all[0]; k++) {
                struct bench *b = bench_new(all[k]);
                if (strcmp(all[k], "unknown_thru") == 0)
                        find(b, RF_THRU)->ideal = NULL;
                const size_t at[2] = {2, 17};
                struct covariance *cov = arena_take(b->s->arena, sizeof *cov);
                *cov = covariance_at(arena_take(b->s->arena, covariance_bytes(2, b->p.standard_n)), 2, at);
                struct solved *a = solve(b, cov);
                if (a->code)
                        fail_msg("%s: %s", all[k], a->err.text);
                const struct m2 device = m2_of(0.3, CMPLX(0.2, -0.4), CMPLX(0.5, 0.2), CMPLX(-0.1, 0.3));
                double complex ds[2][RF_COLUMN_MAX][4];
                for (size_t q = 0; q < 2; q++)
                        rf_sensitivity(cov, q, &a->terms, device, ds[q]);
                for (size_t c = 0; c < cov->column_n; c++) {
                        struct rf_standard *s = &b->st[cov->columns[c].standard];
                        const struct net2 *net = cov->columns[c].kind == COLUMN_RAW ? s->raw : s->ideal;
                        double h = cov->columns[c].kind == COLUMN_LENGTH ? 1e-9 : 1e-6, seen = 0;
                        if (strcmp(all[k], "lrrm") == 0 && s->kind == RF_THRU && cov->columns[c].kind == COLUMN_IDEAL)
                                continue; /* a thru that is not alike from both sides is refused */
                        struct solved *side[2];
                        for (int up = 0; up < 2; up++) {
                                double by = up ? h : -h;
                                if (cov->columns[c].kind == COLUMN_LENGTH)
                                        s->length_m += by;
                                for (size_t q = 0; q < 2 && cov->columns[c].kind != COLUMN_LENGTH; q++)
                                        net->re[cov->columns[c].entry][at[q]] += by;
                                side[up] = solve(b, NULL);
                                assert_int_equal(side[up]->code, CODE_OK);
                                if (cov->columns[c].kind == COLUMN_LENGTH)
                                        s->length_m -= by;
                                for (size_t q = 0; q < 2 && cov->columns[c].kind != COLUMN_LENGTH; q++)
                                        net->re[cov->columns[c].entry][at[q]] -= by;
                        }
                        for (size_t q = 0; q < 2; q++) {
                                struct m2 hi = rf_correct2_point(&side[1]->terms, at[q], device),
                                          lo = rf_correct2_point(&side[0]->terms, at[q], device);
                                for (int e = 0; e < 4; e++)
                                        seen = fmax(seen, cabs((hi.e[e] - lo.e[e]) / (2 * h) - ds[q][c][e]));
                        }
                        /* the multiline weights are held in the sensitivities and move here: second order in what they weigh */
                        if (!(seen < (cov->columns[c].kind == COLUMN_LENGTH ? 0.2 : 2e-4)))
                                fail_msg("%s: column %zu (standard %u, entry %u, kind %d): %.3g off", all[k], c, cov->columns[c].standard,
                                         cov->columns[c].entry, (int)cov->columns[c].kind, seen);
                }
                arena_free(b->s->arena);
        }
}

static void a_line_s_capacitance_from_a_dc_resistance(void **state)
{
        (void)state;
        enum { M = 40 };
        struct arena *arena = arena_new(0);
        double hz[M], g_re[M], g_im[M], r_re[M], r_im[M], nstd[M];
        synth_grid(M, 70e3, 100e9, hz);
        struct synth *s = synth_new(arena, 11, M, hz);
        for (size_t i = 0; i < M; i++) {
                wide g, zc, z = wide_of(50, synth_w(s, i) * 2e-12L), r;
                synth_gamma_zc(s, i, &g, &zc);
                r = (z - zc) / (z + zc);
                g_re[i] = (double)creall(g), g_im[i] = (double)cimagl(g);
                r_re[i] = (double)creall(r), r_im[i] = (double)cimagl(r);
                nstd[i] = hz[i] < 1e9 ? 10 : 1;
        }
        double c = (double)s->line.c;
        struct rf_line_capacitance got;
        struct tp_error err;
        assert_int_equal(rf_line_capacitance_from_load(M, hz, g_re, g_im, r_re, r_im, NULL, 50, &got, &err), CODE_OK);
        assert_true(fabs(got.c_f_m / c - 1) < 1e-6 && fabs(got.loss_tangent - (double)s->line.tan_d) < 1e-4 && got.lowest_hz == 70e3);
        /* where the lines are good: 2 pH of the load are 1e-3 of 50 ohm at 4 GHz */
        assert_int_equal(rf_line_capacitance_from_load(M, hz, g_re, g_im, r_re, r_im, nstd, 50, &got, &err), CODE_OK);
        assert_true(fabs(got.c_f_m / c - 1) < 1e-3 && got.lowest_hz >= 1e9 && got.highest_hz <= 1e10 * 1.5 && got.points >= 5);
        assert_int_equal(rf_line_capacitance_from_line_resistance(M, hz, g_re, g_im, NULL, (double)s->line.rdc, &got, &err), CODE_OK);
        assert_true(fabs(got.c_f_m / c - 1) < 1e-4 && isnan(got.loss_tangent));
        assert_int_equal(rf_line_capacitance_from_line_resistance(M, hz, g_re, g_im, nstd, (double)s->line.rdc, &got, &err), CODE_OK);
        print_message("from the line's resistance above 1 GHz: C %.3f of the truth\n", got.c_f_m / c);
        assert_true(fabs(got.c_f_m / c - 1) < 0.3); /* skin effect: usable only where the line's resistance is still that of DC */
        /* refusals */
        got.c_f_m = 7;
        assert_int_equal(rf_line_capacitance_from_load(M, hz, g_re, g_im, r_re, r_im, NULL, NAN, &got, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "four wires"));
        assert_int_equal(rf_line_capacitance_from_line_resistance(M, hz, g_re, g_im, NULL, -3, &got, &err), CODE_BAD_INPUT);
        assert_int_equal(rf_line_capacitance_from_load(M, hz, g_re, g_im, r_re, r_im, NULL, 0.05, &got, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "pF/m"));
        for (size_t i = 0; i < M; i++)
                nstd[i] = NAN;
        assert_int_equal(rf_line_capacitance_from_load(M, hz, g_re, g_im, r_re, r_im, nstd, 50, &got, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "longer line"));
        assert_int_equal(rf_line_capacitance_from_line_resistance(M, hz, g_re, g_im, nstd, 3000, &got, &err), CODE_UNRESOLVABLE);
        assert_true(got.c_f_m == 7);
        arena_free(arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(every_method_solves_what_is_whole_and_says_what_is_not),
                cmocka_unit_test(a_thru_that_was_not_there_is_none),
                cmocka_unit_test(lines_that_do_not_fit_are_named),
                cmocka_unit_test(reflects_and_matches_that_do_not_fit_are_named),
                cmocka_unit_test(known_standards_weigh_by_uncertainty),
                cmocka_unit_test(sensitivities_are_those_of_solving_again),
                cmocka_unit_test(a_line_s_capacitance_from_a_dc_resistance),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
