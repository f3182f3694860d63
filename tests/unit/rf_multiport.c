/* Three and four ports: conversions, references, mixed modes, joining of two-port measurements, terms of N ports; random networks against
   routes that share no formula with the code, and everything that must be refused. */
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
#include "rf/correct/correct.h"
#include "rf/calibrate/multiport.h"

static uint64_t random_state;
static double draw(double lo, double hi)
{
        random_state = random_state * 6364136223846793005u + 1442695040888963407u;
        return lo + (hi - lo) * (double)(random_state >> 11) * 0x1p-53;
}
static double complex draw_disc(double r) { return CMPLX(draw(-r, r), draw(-r, r)) * 0.7; }
static void draw_network(unsigned n, double size, double complex *s)
{
        for (unsigned k = 0; k < n * n; k++)
                s[k] = draw_disc(size);
}
static double distance(unsigned n, const double complex *a, const double complex *b)
{
        double worst = 0;
        for (unsigned k = 0; k < n * n; k++) {
                double d = cabs(a[k] - b[k]);
                worst = d <= worst ? worst : d; /* NaN wins */
        }
        return worst;
}
static void close_to(const char *what, unsigned n, const double complex *a, const double complex *b, double tol)
{
        double d = distance(n, a, b);
        if (!(d <= tol))
                fail_msg("%s, %u ports: %.3g apart, allowed %.3g", what, n, d, tol);
}
static double complex draw_z(bool complex_z) { return CMPLX(draw(15, 140), complex_z ? draw(-60, 60) : 0); }

/* Random networks of each size: S, Z and Y into each other, and new references by two routes. */
static void conversions(void **state)
{
        (void)state;
        random_state = 11;
        for (int k = 0; k < 3000; k++) {
                unsigned n = 1 + (unsigned)k % 4;
                enum wave kind = (enum wave)(k / 4 % 3), other = (enum wave)(k / 12 % 3);
                double complex s[16], z[16], y[16], one[16], two[16], zr[4], zt[4];
                draw_network(n, 0.6, s);
                for (unsigned p = 0; p < n; p++) {
                        zr[p] = draw_z(k % 2);
                        zt[p] = draw_z(k % 3);
                }
                assert_true(rfn_z_from_s(n, s, zr, kind, z) && rfn_y_from_s(n, s, zr, kind, y));
                rfn_multiply(n, z, y, one);
                for (unsigned e = 0; e < n * n; e++)
                        two[e] = e / n == e % n;
                close_to("Z Y = 1", n, one, two, 1e-10); /* Z and Y here have condition numbers of some hundreds at most */
                assert_true(rfn_s_from_z(n, z, zr, kind, one) && rfn_s_from_y(n, y, zr, kind, two));
                close_to("S by Z", n, one, s, 1e-11);
                close_to("S by Y", n, two, s, 1e-11);
                assert_true(rfn_renormalise(n, s, zr, kind, zt, other, one) && rfn_s_from_z(n, z, zt, other, two));
                close_to("new reference, straight and by Z", n, one, two, 1e-10);
                assert_true(rfn_renormalise(n, one, zt, other, zr, kind, one));
                close_to("and back", n, one, s, 1e-10);
                if (n != 2)
                        continue;
                struct m2 m = {{s[0], s[1], s[2], s[3]}}, got = rf_renormalise(m, zr, kind, zt, other);
                assert_true(rfn_renormalise(2, s, zr, kind, zt, other, one));
                close_to("two ports by the two-port code", 2, one, got.e, 1e-12);
                /* H by its definition out of Y, G as its inverse, and back to S in two unlike real references */
                const double real[2] = {creal(zr[0]), creal(zr[1])};
                const double complex real_z[2] = {real[0], real[1]};
                assert_true(rfn_y_from_s(2, s, real_z, WAVE_PSEUDO, y));
                struct m2 h = rf_h_from_y(m2_of(y[0], y[1], y[2], y[3]));
                if (cabs(y[0]) < 1e-4 || cabs(m2_det(h)) < 1e-4)
                        continue;
                close_to("S by H", 2, rf_s_from_h(h, real).e, s, 1e-10);
                close_to("S by G", 2, rf_s_from_g(m2_inv(h), real).e, s, 1e-10);
        }
        /* what has no Z or no Y */
        double complex open[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1}, x[16], fifty[4] = {50, 50, 50, 50}, ten[4] = {10, 20, 30, 40};
        assert_false(rfn_z_from_s(3, open, fifty, WAVE_PSEUDO, x));
        assert_true(isnan(creal(x[0])) && rfn_y_from_s(3, open, fifty, WAVE_PSEUDO, x) && x[0] == 0 && x[4] == 0);
        assert_true(rfn_renormalise(3, open, fifty, WAVE_PSEUDO, ten, WAVE_PSEUDO, x));
        close_to("three opens in any reference", 3, x, open, 1e-15);
        /* a node where three lines of 50 ohm meet: S_ii = -1/3, S_ij = 2/3 (by hand); it has neither Z nor Y */
        double complex node[9], third[9] = {-1. / 3, 2. / 3, 2. / 3, 2. / 3, -1. / 3, 2. / 3, 2. / 3, 2. / 3, -1. / 3};
        double complex unequal[4] = {50, 50, 25};
        assert_true(rfn_renormalise(3, third, fifty, WAVE_PSEUDO, unequal, WAVE_PSEUDO, node));
        /* port 1 sees 50 || 25: Gamma = (50/3 - 50)/(50/3 + 50) = -1/2; port 3 sees 25 into 25: 0 */
        assert_true(cabs(node[0] + 0.5) < 1e-14 && cabs(node[8]) < 1e-14);
        third[4] = CMPLX(NAN, 0);
        assert_false(rfn_renormalise(3, third, fifty, WAVE_PSEUDO, unequal, WAVE_PSEUDO, node));
}

static void mixed_modes(void **state)
{
        (void)state;
        random_state = 12;
        const struct mode two[2] = {{MODE_DIFFERENTIAL, 0, 1}, {MODE_COMMON, 0, 1}};
        const struct mode four[4] = {{MODE_DIFFERENTIAL, 0, 2}, {MODE_DIFFERENTIAL, 1, 3}, {MODE_COMMON, 0, 2}, {MODE_COMMON, 1, 3}};
        const struct mode three[3] = {{MODE_SINGLE, 1, 0}, {MODE_DIFFERENTIAL, 2, 0}, {MODE_COMMON, 0, 2}};
        for (int k = 0; k < 200; k++) {
                double complex s[16], m[16], back[16];
                draw_network(2, 1, s);
                rfn_mixed_mode(2, s, two, m);
                struct m2 want = rf_mixed_mode((struct m2){{s[0], s[1], s[2], s[3]}});
                close_to("dd dc cd cc", 2, m, want.e, 1e-15);
                draw_network(4, 1, s);
                rfn_mixed_mode(4, s, four, m);
                rfn_single_ended(4, m, four, back);
                close_to("mixed and back", 4, back, s, 1e-14);
                /* by voltages: drive the difference of ports 1 and 3 with 1: a = (1, 0, -1, 0)/sqrt 2 */
                double complex b1 = (s[0] - s[2]) / sqrt(2), b3 = (s[8] - s[10]) / sqrt(2);
                assert_true(cabs(m[0] - (b1 - b3) / sqrt(2)) < 1e-14 && cabs(m[8] - (b1 + b3) / sqrt(2)) < 1e-14);
                draw_network(3, 1, s);
                rfn_mixed_mode(3, s, three, m);
                rfn_single_ended(3, m, three, back);
                close_to("one pair and a single port", 3, back, s, 1e-14);
                assert_true(m[0] == s[4]);
        }
        /* the reference of a mode: a floating 80 ohm between two ports of 50 ohm is 80 ohm against 100 in the difference */
        double complex y[4] = {1. / 80, -1. / 80, -1. / 80, 1. / 80}, fifty[2] = {50, 50}, s[4], m[4];
        assert_true(rfn_s_from_y(2, y, fifty, WAVE_PSEUDO, s));
        rfn_mixed_mode(2, s, two, m);
        assert_true(cabs(m[0] - (80. - 100) / (80 + 100)) < 1e-15 && cabs(m[3] - 1) < 1e-15 && cabs(m[1]) < 1e-15);

        struct arena *arena = arena_new(0);
        double hz[2] = {1e9, 2e9};
        struct axis axis;
        struct tp_error err = {0};
        assert_int_equal(axis_of(2, hz, &axis, NULL), CODE_OK);
        struct netn net = netn_at(arena_take(arena, netn_bytes(2, 4)), &axis, 4, PLANE_TIP), out = net;
        assert_int_equal(rfn_mixed_mode_net(&net, four, &out, NULL), CODE_OK); /* in place */
        assert_true(out.z_re[0][1] == 100 && out.z_re[1][0] == 100 && out.z_re[2][0] == 25 && out.z_re[3][1] == 25);
        assert_int_equal(rfn_mixed_mode_net(&net, four, &out, &err), CODE_BAD_INPUT); /* differences of differences: 100 and 25 ohm */
        assert_non_null(strstr(err.text, "renormalise first"));
        static const struct {
                struct mode modes[3];
                const char *word;
        } bad[] = {{{{MODE_SINGLE, 0, 0}, {MODE_SINGLE, 0, 0}, {MODE_SINGLE, 2, 0}}, "port 1 must stand"},
                   {{{MODE_SINGLE, 0, 0}, {MODE_DIFFERENTIAL, 1, 1}, {MODE_COMMON, 1, 2}}, "a pair has two"},
                   {{{MODE_SINGLE, 0, 0}, {MODE_SINGLE, 1, 0}, {MODE_SINGLE, 3, 0}}, "names ports 4"},
                   {{{MODE_DIFFERENTIAL, 0, 1}, {MODE_COMMON, 0, 2}, {MODE_SINGLE, 1, 0}}, "port 2 must stand"}};
        for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
                assert_int_equal(rfn_modes_check(3, bad[k].modes, &err), CODE_BAD_INPUT);
                if (!strstr(err.text, bad[k].word))
                        fail_msg("\"%s\" does not say \"%s\"", err.text, bad[k].word);
        }
        const struct mode crossed[4] = {{MODE_DIFFERENTIAL, 0, 1}, {MODE_DIFFERENTIAL, 2, 3}, {MODE_COMMON, 0, 2}, {MODE_COMMON, 1, 3}};
        assert_int_equal(rfn_modes_check(4, crossed, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "the sum of ports 1 and 3"));
        arena_free(arena);
}

/* ---- joining ------------------------------------------------------------------------------------------------------------------------- */

enum { N = 5 };
struct bench {
        struct arena *arena;
        unsigned ports;
        double hz[N];
        struct axis axis;
        struct netn truth, got;
        struct terminations ends;
        struct net2 nets[8];
        struct port_pair pairs[8];
        size_t pair_n;
        double disagreement[N];
        struct tp_error err;
};
/* The two-port that remains of s when port r >= 2 of (p, q, others) ends in gamma[r]: waves solved for, b = S a with a_r = g_r b_r. */
static struct m2 reduced(unsigned n, const double complex *s, const double complex *g, unsigned p, unsigned q)
{
        struct m2 m;
        for (unsigned source = 0; source < 2; source++) {
                double complex a[16], b[16] = {0}, x[16];
                for (unsigned k = 0; k < n * n; k++) { /* (1 - S G) b = S e_source */
                        unsigned j = k % n;
                        a[k] = (k / n == j) - (j == p || j == q ? 0 : s[k] * g[j]);
                }
                for (unsigned i = 0; i < n; i++)
                        b[i * n] = s[i * n + (source ? q : p)];
                assert_true(rfn_divide_left(n, a, b, x));
                m.e[source] = x[p * n];
                m.e[2 + source] = x[q * n];
        }
        return m;
}
static struct bench *bench_new(unsigned ports, uint64_t seed, double size_of_ends)
{
        struct arena *arena = arena_new(0);
        struct bench *b = arena_take(arena, sizeof *b);
        random_state = seed;
        b->arena = arena;
        b->ports = ports;
        for (int i = 0; i < N; i++)
                b->hz[i] = 1e9 * (1 + i);
        assert_int_equal(axis_of(N, b->hz, &b->axis, NULL), CODE_OK);
        b->truth = netn_at(arena_take(arena, netn_bytes(N, ports)), &b->axis, ports, PLANE_TIP);
        b->got = netn_at(arena_take(arena, netn_bytes(N, ports)), &b->axis, ports, PLANE_UNKNOWN);
        for (unsigned p = 0; p < ports; p++) {
                b->ends.re[p] = arena_take(arena, N * sizeof(double));
                b->ends.im[p] = arena_take(arena, N * sizeof(double));
                for (int i = 0; i < N; i++) {
                        double complex g = size_of_ends == 1 ? cexp(CMPLX(0, draw(-3, 3))) : draw_disc(size_of_ends);
                        b->ends.re[p][i] = creal(g);
                        b->ends.im[p][i] = cimag(g);
                }
        }
        for (int k = 0; k < 8; k++)
                b->nets[k] = net2_at(arena_take(arena, net2_bytes(N)), &b->axis, PLANE_TIP);
        for (unsigned p = 0; p < ports; p++)
                for (unsigned q = p + 1; q < ports; q++) { /* some the other way round */
                        bool turned = draw(0, 1) > 0.5;
                        b->pairs[b->pair_n] = (struct port_pair){turned ? q : p, turned ? p : q, &b->nets[b->pair_n]};
                        b->pair_n++;
                }
        for (size_t i = 0; i < N; i++) {
                double complex s[16], g[4];
                draw_network(ports, 0.5, s);
                netn_put(&b->truth, i, s);
                for (unsigned p = 0; p < ports; p++)
                        g[p] = CMPLX(b->ends.re[p][i], b->ends.im[p][i]);
                for (size_t k = 0; k < b->pair_n; k++)
                        net2_put(&b->nets[k], i, reduced(ports, s, g, b->pairs[k].p, b->pairs[k].q));
        }
        return b;
}

static void joined_pairs_are_the_network(void **state)
{
        (void)state;
        for (uint64_t seed = 1; seed <= 60; seed++)
                for (unsigned ports = 2; ports <= 4; ports++) {
                        struct bench *b = bench_new(ports, seed, seed % 3 == 0 ? 1 : seed % 3 == 1 ? 0.3 : 0); /* lossless, poor, perfect */
                        if (rf_multiport_join(b->pairs, b->pair_n, &b->ends, &b->got, b->disagreement, &b->err))
                                fail_msg("seed %d: %s", (int)seed, b->err.text);
                        assert_int_equal(b->got.plane, PLANE_TIP);
                        for (size_t i = 0; i < N; i++) {
                                double complex want[16], got[16];
                                netn_get(&b->truth, i, want);
                                netn_get(&b->got, i, got);
                                close_to("joined", ports, got, want, 1e-10); /* resonances of lossless ends cost up to four digits */
                                assert_true(b->disagreement[i] < 1e-10 && b->got.z_re[ports - 1][i] == 50);
                        }
                        arena_free(b->arena);
                }
        /* a termination that is not what was said shows in the disagreement: 1 % of reflection */
        struct bench *b = bench_new(3, 4, 0.3);
        b->ends.re[1][2] += 0.01;
        assert_int_equal(rf_multiport_join(b->pairs, b->pair_n, &b->ends, &b->got, b->disagreement, NULL), CODE_OK);
        assert_true(b->disagreement[2] > 1e-4 && b->disagreement[1] < 1e-12);
        arena_free(b->arena);
}

static void not_joined(struct bench *b, enum code code, const char *word)
{
        b->err = (struct tp_error){0};
        enum code got = rf_multiport_join(b->pairs, b->pair_n, &b->ends, &b->got, NULL, &b->err);
        if (got != code || !strstr(b->err.text, word))
                fail_msg("code %d, \"%s\": wanted %d and \"%s\"", got, b->err.text, code, word);
}
static void what_cannot_be_joined(void **state)
{
        (void)state;
        struct bench *b = bench_new(3, 5, 0.3);
        b->pair_n = 2;
        not_joined(b, CODE_BAD_INPUT, "were not measured together; all 3 pairs");
        b->pair_n = 3;
        b->pairs[1].p = b->pairs[1].q;
        not_joined(b, CODE_BAD_INPUT, "a pair of ports 1 to 3");
        b->pairs[1].p = 3;
        not_joined(b, CODE_BAD_INPUT, "of ports 4");
        arena_free(b->arena);
        b = bench_new(3, 5, 0.3);
        b->nets[2].plane = PLANE_DEVICE;
        not_joined(b, CODE_BAD_INPUT, "plane device");
        b->nets[0].plane = b->nets[1].plane = b->nets[2].plane = PLANE_RECEIVER;
        not_joined(b, CODE_BAD_INPUT, "correct all");
        arena_free(b->arena);
        b = bench_new(3, 5, 0.3);
        b->nets[2].z_re[1] = 75;
        not_joined(b, CODE_BAD_INPUT, "75+0j ohm");
        b->nets[2].z_re[1] = 50;
        b->nets[2].im[3][4] = NAN;
        not_joined(b, CODE_BAD_INPUT, "not a number at 5e+09 Hz");
        b->nets[2].im[3][4] = 0;
        b->ends.re[1][0] = INFINITY;
        not_joined(b, CODE_BAD_INPUT, "termination of port 2");
        b->ends.re[1][0] = 0;
        struct axis other;
        double hz[N] = {1, 2, 3, 4, 5};
        assert_int_equal(axis_of(N, hz, &other, NULL), CODE_OK);
        b->nets[1].axis = &other;
        not_joined(b, CODE_BAD_INPUT, "other frequencies");
        b->nets[1].axis = &b->axis;
        for (size_t k = 0; k < 3; k++) /* a device of gain 2 between its own terminations of 1/2 */
                net2_put(&b->nets[k], 0, m2_diag(2, 2));
        for (unsigned p = 0; p < 3; p++) {
                b->ends.re[p][0] = 0.5;
                b->ends.im[p][0] = 0;
        }
        not_joined(b, CODE_UNRESOLVABLE, "resonate");
        arena_free(b->arena);
}

/* ---- an analyzer of N ports --------------------------------------------------------------------------------------------------------- */

struct analyzer {
        double complex e00[4], e01[4], e10[4], e11[4], g[4]; /* per port: receivers side first; what it reflects undriven */
};
static struct analyzer analyzer_new(unsigned ports)
{
        struct analyzer a = {0};
        for (unsigned p = 0; p < ports; p++) {
                a.e00[p] = draw_disc(0.2);
                a.e11[p] = draw_disc(0.2);
                a.e01[p] = cexp(CMPLX(draw(-1, 0), draw(-3, 3)));
                a.e10[p] = cexp(CMPLX(draw(-1, 0), draw(-3, 3)));
                a.g[p] = draw_disc(0.1);
        }
        return a;
}
/* What the receivers form: all waves of all ports in one system per source.  Unknown b (tips), a (tips), B (receivers); A_i = g_i B_i. */
static void analyzer_read(const struct analyzer *x, unsigned n, const double complex *s, double complex *raw)
{
        for (unsigned j = 0; j < n; j++) {
                /* a = e10 A + e11 b, b = S a, B = e00 A + e01 b, A = [source] + g B: one relaxation-free elimination in b */
                double complex left[16], right[16] = {0}, b[16];
                double complex drive[4], back[4];
                for (unsigned i = 0; i < n; i++) { /* a_i = drive_i + back_i b_i */
                        bool source = i == j;
                        drive[i] = source ? x->e10[i] : 0;
                        back[i] = x->e11[i] + (source ? 0 : x->e10[i] * x->g[i] * x->e01[i] / (1 - x->g[i] * x->e00[i]));
                }
                for (unsigned k = 0; k < n * n; k++) {
                        left[k] = (k / n == k % n) - s[k] * back[k % n];
                        right[k / n * n] += s[k] * drive[k % n];
                }
                assert_true(rfn_divide_left(n, left, right, b));
                for (unsigned i = 0; i < n; i++)
                        raw[i * n + j] = i == j ? x->e00[i] + x->e01[i] * b[i * n] : x->e01[i] * b[i * n] / (1 - x->g[i] * x->e00[i]);
        }
}
static void pair_put(const struct analyzer *x, unsigned p, unsigned q, struct terms *t, size_t i)
{
        const double complex v[7] = {
                x->e00[p], x->e11[p], x->e10[p] * x->e01[p], x->e00[q], x->e11[q], x->e10[q] * x->e01[q], x->e10[p] / x->e10[q]};
        static const enum term order[7] = {TERM_EDF, TERM_ESF, TERM_ERF, TERM_EDR, TERM_ESR, TERM_ERR, TERM_K};
        for (int k = 0; k < 7; k++) {
                t->re[order[k]][i] = creal(v[k]);
                t->im[order[k]][i] = cimag(v[k]);
        }
        t->z_re[i] = 50;
        t->z_im[i] = 0;
}
static struct terms pair_new(struct bench *b, bool switch_removed)
{
        struct terms t = terms_at(arena_take(b->arena, terms_bytes(N)), &b->axis);
        t.model = TERMS_EIGHT;
        t.plane = PLANE_TIP;
        t.method = "unknown_thru";
        t.switch_removed = switch_removed;
        return t;
}

static void pairs_of_ports_correct_all_ports(void **state)
{
        (void)state;
        for (uint64_t seed = 1; seed <= 40; seed++)
                for (unsigned ports = 2; ports <= 4; ports++) {
                        struct bench *b = bench_new(ports, seed + 100, 0.3);
                        static const unsigned tree[4][3][2] = {{{0}}, {{1, 0}}, {{2, 1}, {0, 2}}, {{3, 1}, {1, 2}, {0, 2}}};
                        struct terms terms[6];
                        struct pair_terms pairs[6];
                        size_t pair_n = ports - 1;
                        for (size_t k = 0; k < pair_n; k++) {
                                terms[k] = pair_new(b, true);
                                pairs[k] = (struct pair_terms){tree[ports - 1][k][0], tree[ports - 1][k][1], &terms[k]};
                        }
                        struct netn raw = netn_at(arena_take(b->arena, netn_bytes(N, ports)), &b->axis, ports, PLANE_RECEIVER),
                                    again = netn_at(arena_take(b->arena, netn_bytes(N, ports)), &b->axis, ports, PLANE_UNKNOWN);
                        struct port_switch sw;
                        for (unsigned p = 0; p < ports; p++) {
                                sw.re[p] = arena_take(b->arena, N * sizeof(double));
                                sw.im[p] = arena_take(b->arena, N * sizeof(double));
                        }
                        for (size_t i = 0; i < N; i++) {
                                struct analyzer x = analyzer_new(ports);
                                double complex s[16], m[16];
                                netn_get(&b->truth, i, s);
                                analyzer_read(&x, ports, s, m);
                                netn_put(&raw, i, m);
                                for (size_t k = 0; k < pair_n; k++)
                                        pair_put(&x, pairs[k].p, pairs[k].q, &terms[k], i);
                                for (unsigned p = 0; p < ports; p++) {
                                        sw.re[p][i] = creal(x.g[p]);
                                        sw.im[p][i] = cimag(x.g[p]);
                                }
                        }
                        struct multiport_terms mt =
                                multiport_terms_at(arena_take(b->arena, multiport_terms_bytes(N, ports)), &b->axis, ports);
                        double box[N] = {0}, ratio[N] = {0};
                        if (rf_multiport_terms(pairs, pair_n, &mt, &(struct multiport_diagnosis){box, ratio}, &b->err) ||
                            rf_multiport_correct(&mt, &raw, &sw, &b->got, &b->err) ||
                            rf_multiport_embed(&mt, &b->got, &sw, &again, &b->err))
                                fail_msg("seed %d: %s", (int)seed, b->err.text);
                        assert_true(b->got.plane == PLANE_TIP && again.plane == PLANE_RECEIVER);
                        for (size_t i = 0; i < N; i++) {
                                double complex want[16], got[16];
                                netn_get(&b->truth, i, want);
                                netn_get(&b->got, i, got);
                                close_to("corrected", ports, got, want, 1e-12);
                                netn_get(&raw, i, want);
                                netn_get(&again, i, got);
                                close_to("embedded again", ports, got, want, 1e-12);
                                assert_true(box[i] == 0 || ports > 2);
                                assert_true(box[i] < 1e-14 && ratio[i] < 1e-14 && b->got.z_re[0][i] == 50);
                        }
                        /* two ports: the same as the two-port code */
                        if (ports == 2) {
                                struct m2 m =
                                        rf_switch_remove_point(m2_of(CMPLX(raw.re[3][0], raw.im[3][0]), CMPLX(raw.re[2][0], raw.im[2][0]),
                                                                     CMPLX(raw.re[1][0], raw.im[1][0]), CMPLX(raw.re[0][0], raw.im[0][0])),
                                                               CMPLX(sw.re[0][0], sw.im[0][0]), CMPLX(sw.re[1][0], sw.im[1][0]));
                                terms[0].re[TERM_ETF][0] = creal(CMPLX(terms[0].re[TERM_K][0], terms[0].im[TERM_K][0]) *
                                                                 CMPLX(terms[0].re[TERM_ERR][0], terms[0].im[TERM_ERR][0]));
                                terms[0].im[TERM_ETF][0] = cimag(CMPLX(terms[0].re[TERM_K][0], terms[0].im[TERM_K][0]) *
                                                                 CMPLX(terms[0].re[TERM_ERR][0], terms[0].im[TERM_ERR][0]));
                                double complex etr = CMPLX(terms[0].re[TERM_ERF][0], terms[0].im[TERM_ERF][0]) /
                                                     CMPLX(terms[0].re[TERM_K][0], terms[0].im[TERM_K][0]);
                                terms[0].re[TERM_ETR][0] = creal(etr);
                                terms[0].im[TERM_ETR][0] = cimag(etr);
                                struct m2 s = rf_correct2_point(&terms[0], 0, m); /* its port 1 is our port 2 */
                                double complex got[4], turned[4] = {s.e[3], s.e[2], s.e[1], s.e[0]};
                                netn_get(&b->got, 0, got);
                                close_to("the two-port code", 2, got, turned, 1e-12);
                        }
                        arena_free(b->arena);
                }
}

/* More pairs than needed: with one of them 3 % off the four say so, and the middle is taken. */
static void more_pairs_than_needed(void **state)
{
        (void)state;
        struct bench *b = bench_new(3, 9, 0.3);
        static const unsigned ring[3][2] = {{0, 1}, {1, 2}, {2, 0}};
        struct terms terms[3];
        struct pair_terms pairs[3];
        struct analyzer x = analyzer_new(3);
        for (int k = 0; k < 3; k++) {
                terms[k] = pair_new(b, false);
                pairs[k] = (struct pair_terms){ring[k][0], ring[k][1], &terms[k]};
                for (size_t i = 0; i < N; i++)
                        pair_put(&x, ring[k][0], ring[k][1], &terms[k], i);
        }
        struct multiport_terms mt = multiport_terms_at(arena_take(b->arena, multiport_terms_bytes(N, 3)), &b->axis, 3);
        double box[N], ratio[N];
        const struct multiport_diagnosis diag = {box, ratio};
        assert_int_equal(rf_multiport_terms(pairs, 3, &mt, &diag, NULL), CODE_OK);
        assert_true(ratio[0] < 1e-14 && box[0] < 1e-15);
        terms[1].re[TERM_K][2] *= exp(0.03);
        terms[1].im[TERM_K][2] *= exp(0.03);
        terms[0].re[TERM_EDR][3] += 0.01; /* port 2 in two pairs */
        assert_int_equal(rf_multiport_terms(pairs, 3, &mt, &diag, NULL), CODE_OK);
        assert_true(ratio[1] < 1e-14 && fabs(ratio[2] - (exp(0.01) - 1)) < 2e-4); /* a third of the 3 % for each side of the ring */
        double complex k2 = CMPLX(mt.port[1].k_re[2], mt.port[1].k_im[2]), want = x.e10[0] / x.e10[1];
        assert_true(cabs(k2 / want - exp(-0.01)) < 1e-12);
        assert_true(fabs(box[3] - 0.005) < 1e-12 && box[2] < 1e-14);

        struct tp_error err = {0};
        pairs[1].q = 0;
        pairs[1].p = 1;
        assert_int_equal(rf_multiport_terms(pairs, 2, &mt, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "no chain of calibrated pairs leads from port 1 to port 3"));
        pairs[1] = (struct pair_terms){1, 2, &terms[1]};
        terms[1].model = TERMS_TWELVE;
        assert_int_equal(rf_multiport_terms(pairs, 3, &mt, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "convert them first"));
        terms[1].model = TERMS_EIGHT;
        terms[1].switch_removed = true;
        assert_int_equal(rf_multiport_terms(pairs, 3, &mt, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "calibrate all pairs alike"));
        terms[1].switch_removed = false;
        terms[2].z_re[1] = NAN;
        assert_int_equal(rf_multiport_terms(pairs, 3, &mt, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "one known reference"));
        terms[2].z_re[1] = 50;
        pairs[2].p = 7;
        assert_int_equal(rf_multiport_terms(pairs, 3, &mt, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "ports 8 and 1"));

        /* correction: what is not raw, has other ports, or lacks its switch terms */
        struct netn raw = netn_at(arena_take(b->arena, netn_bytes(N, 3)), &b->axis, 3, PLANE_TIP);
        assert_int_equal(rf_multiport_correct(&mt, &raw, NULL, &b->got, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "only raw data"));
        raw.plane = PLANE_RECEIVER;
        mt.switch_removed = true;
        assert_int_equal(rf_multiport_correct(&mt, &raw, NULL, &b->got, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "without switch terms"));
        mt.switch_removed = false;
        raw.ports = 2;
        assert_int_equal(rf_multiport_correct(&mt, &raw, NULL, &b->got, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "2 ports"));
        raw.ports = 3;
        raw.re[4][1] = NAN; /* passes, at its frequency only */
        assert_int_equal(rf_multiport_correct(&mt, &raw, NULL, &b->got, &err), CODE_OK);
        assert_true(isnan(b->got.re[0][1]) && !isnan(b->got.re[0][0]) && !isnan(b->got.re[0][2]));
        arena_free(b->arena);
}

static void new_references_of_a_whole_network(void **state)
{
        (void)state;
        struct bench *b = bench_new(4, 21, 0);
        struct tp_error err = {0};
        double complex before[16], after[16];
        netn_get(&b->truth, 2, before);
        assert_int_equal(rfn_renormalise_net(&b->truth, CMPLX(30, -12), NULL), CODE_OK);
        assert_true(b->truth.z_re[3][4] == 30 && b->truth.z_im[0][0] == -12);
        assert_int_equal(rfn_renormalise_net(&b->truth, 50, NULL), CODE_OK);
        netn_get(&b->truth, 2, after);
        close_to("there and back", 4, after, before, 1e-12);
        assert_int_equal(rfn_renormalise_net(&b->truth, -50, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "must be positive"));
        b->truth.z_re[2][1] = NAN;
        assert_int_equal(rfn_renormalise_net(&b->truth, 75, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "port 3"));
        arena_free(b->arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(conversions),
                                           cmocka_unit_test(mixed_modes),
                                           cmocka_unit_test(joined_pairs_are_the_network),
                                           cmocka_unit_test(what_cannot_be_joined),
                                           cmocka_unit_test(pairs_of_ports_correct_all_ports),
                                           cmocka_unit_test(more_pairs_than_needed),
                                           cmocka_unit_test(new_references_of_a_whole_network)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
