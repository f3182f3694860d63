/* Three and four ports: joining of two-port measurements, terms of N ports, references of a whole network; random networks against routes
   that share no formula with the code, and everything that must be refused. */
#include "tests/unit/random_network.h"

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

/* Each pair's switch terms to one per port: the mean, how far pairs differ, and what is missing. */
static void switch_terms_of_pairs(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct bench *b = bench_new(3, 1, 0);
        struct pair_terms pairs[3] = {{.p = 0, .q = 1}, {.p = 2, .q = 1}, {.p = 0, .q = 2}};
        struct switch_terms sw[3];
        const struct switch_terms *all[3];
        struct port_switch out;
        double apart[N];
        for (int k = 0; k < 3; k++) {
                out.re[k] = arena_take(arena, N * sizeof(double));
                out.im[k] = arena_take(arena, N * sizeof(double));
                sw[k] = switch_terms_at(arena_take(arena, switch_terms_bytes(N)), &b->axis);
                all[k] = &sw[k];
                for (int i = 0; i < N; i++) { /* port p reflects (p + 1)/100, -j times as much again */
                        sw[k].f_re[i] = 0.01 * (pairs[k].q + 1);
                        sw[k].f_im[i] = -0.01 * (pairs[k].q + 1);
                        sw[k].r_re[i] = 0.01 * (pairs[k].p + 1);
                        sw[k].r_im[i] = -0.01 * (pairs[k].p + 1);
                }
        }
        sw[1].f_re[2] += 0.004; /* port 2 at the third frequency, as the second pair has it */
        assert_int_equal(rf_multiport_switch(pairs, all, 3, 3, &out, apart, &b->err), CODE_OK);
        for (int i = 0; i < N; i++) {
                for (int p = 0; p < 3; p++)
                        assert_true(fabs(out.re[p][i] - 0.01 * (p + 1) - (i == 2 && p == 1 ? 0.002 : 0)) < 1e-17 &&
                                    fabs(out.im[p][i] + 0.01 * (p + 1)) < 1e-17);
                assert_true(i == 2 ? fabs(apart[i] - 0.002) < 1e-17 : apart[i] < 1e-17);
        }
        assert_int_equal(rf_multiport_switch(pairs, all, 1, 3, &out, NULL, &b->err), CODE_BAD_INPUT);
        assert_non_null(strstr(b->err.text, "port 3"));
        all[1] = NULL;
        assert_int_equal(rf_multiport_switch(pairs, all, 3, 3, &out, NULL, &b->err), CODE_BAD_INPUT);
        assert_non_null(strstr(b->err.text, "calibration 2 (ports 3 and 2) has no switch terms"));
        arena_free(b->arena);
        arena_free(arena);
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
        const struct CMUnitTest tests[] = {cmocka_unit_test(joined_pairs_are_the_network),
                                           cmocka_unit_test(what_cannot_be_joined),
                                           cmocka_unit_test(pairs_of_ports_correct_all_ports),
                                           cmocka_unit_test(more_pairs_than_needed),
                                           cmocka_unit_test(switch_terms_of_pairs),
                                           cmocka_unit_test(new_references_of_a_whole_network)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
