/* Sixteen terms, and three and four ports, recover devices from 70 kHz to 220 GHz within four times the rounding floor.
   Truth and readings are reckoned in extended precision by the wave equations (rf_synth.h), with leakage of -70 … -30 dB or N boxes.  The
   floor is what rounding the inputs to doubles can do alone, to first order: floor = 2^-53 ( sum_k |x_k| |dS/dx_k| + |S| )      x_k: every
   number that the way from readings to result reads dS/dx_k by central differences with steps far above the rounding.  TIPPLANE_SEED=n
   takes another analyzer and other devices. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <inttypes.h>
#include <string.h>
#include "rf/correct/correct.h"
#include "rf/calibrate/multiport.h"
#include "rf_synth.h"

enum { N = 40, SEEDS = 4, COLUMNS = 256, RESULTS = 16 };

/* A way from numbers to results: N RESULTS complex numbers from the columns listed. */
struct way {
        const char *word;
        uint64_t seed;
        const struct axis *axis;
        double *re[COLUMNS], *im[COLUMNS];
        size_t column_n, result_n; /* per frequency */
        void (*go)(void *context, double complex (*ret)[RESULTS]);
        void *context;
        wide (*truth)[RESULTS];
};
static void reads(struct way *w, const struct net2 *net, unsigned entries /* bit per entry */)
{
        for (int e = 0; e < 4; e++)
                if (entries & (1u << e)) {
                        w->re[w->column_n] = net->re[e];
                        w->im[w->column_n++] = net->im[e];
                }
        assert_true(w->column_n < COLUMNS);
}
static double within_the_floor(struct way *w)
{
        static double floor_[N][RESULTS];
        static double complex side[2][N][RESULTS];
        const double h = 1e-7;
        memset(floor_, 0, sizeof floor_);
        for (size_t c = 0; c < w->column_n; c++) {
                double kept[N];
                memcpy(kept, w->re[c], sizeof kept);
                for (int up = 0; up < 2; up++) {
                        for (size_t i = 0; i < N; i++)
                                w->re[c][i] = kept[i] + (up ? h : -h);
                        w->go(w->context, side[up]);
                }
                memcpy(w->re[c], kept, sizeof kept);
                for (size_t i = 0; i < N; i++)
                        for (size_t r = 0; r < w->result_n; r++)
                                floor_[i][r] += SYNTH_ULP * hypot(kept[i], w->im[c][i]) * cabs(side[1][i][r] - side[0][i][r]) / (2 * h);
        }
        w->go(w->context, side[0]);
        double worst = 0, worst_hz = 0, error = 0;
        for (size_t i = 0; i < N; i++) {
                double size = 0, lowest = 0, off = 0;
                for (size_t r = 0; r < w->result_n; r++) {
                        size = fmax(size, (double)cabsl(w->truth[i][r]));
                        lowest = fmax(lowest, floor_[i][r]);
                        double d = (double)cabsl((wide)side[0][i][r] - w->truth[i][r]);
                        off = d <= off ? off : d; /* NaN wins */
                }
                double ratio = off / (lowest + SYNTH_ULP * size);
                if (!(ratio <= worst)) {
                        worst = ratio;
                        worst_hz = w->axis->hz[i];
                        error = off;
                }
        }
        print_message("%-22s seed %-3" PRIu64 " at most %.2f of the floor, at %.3g Hz (error %.2g)\n", w->word, w->seed, worst, worst_hz,
                      error);
        if (!(worst <= 4))
                fail_msg("TIPPLANE_SEED=%" PRIu64 " %s: %.3g times the rounding floor at %.4g Hz", w->seed, w->word, worst, worst_hz);
        return worst;
}

/* ---- sixteen terms ------------------------------------------------------------------------------------------------------------------ */

struct sixteen {
        struct synth *s;
        long double leak_turn[8];
        struct rf_standard standards[8];
        struct problem p;
        struct net2 *raw[SYNTH_DEVICES];
        struct terms terms;
        struct diagnosis diagnosis;
        void *workspace;
};
/* synth_read() with leakage: -70 dB at 70 kHz to -30 dB at 220 GHz between the sides, in all eight places of the error network. */
static struct wm2 leaking_read(const struct sixteen *x, size_t i, struct wm2 d)
{
        const struct synth *s = x->s;
        wide v[8], l[8];
        long double f = (long double)s->axis.hz[i], size = powl(10, (-70 + 40 * logl(f / 70e3L) / logl(220e9L / 70e3L)) / 20);
        for (int k = 0; k < 8; k++) {
                v[k] = synth_path_at(s, i, k);
                l[k] = size * cexpl(wide_of(0, x->leak_turn[k] - synth_w(s, i) * (20 + 5 * k) * 1e-12L));
        }
        struct wm2 e1 = wm2_of(v[0], l[0], l[1], v[7]), e2 = wm2_of(v[1], l[2], l[3], v[6]), e3 = wm2_of(v[2], l[4], l[5], v[5]),
                   e4 = wm2_of(v[3], l[6], l[7], v[4]);
        struct wm2 a = wm2_mul(wm2_inv(wm2_add(wm2_of(1, 0, 0, 1), wm2_mul(e4, d), -1)), e3);
        struct wm2 m = wm2_add(e1, wm2_mul(e2, wm2_mul(d, a)), 1);
        wide gf = wide_of(s->sw.f_re[i], s->sw.f_im[i]), gr = wide_of(s->sw.r_re[i], s->sw.r_im[i]), t = m.e[1] * m.e[2];
        return wm2_of(m.e[0] + t * gf / (1 - m.e[3] * gf), m.e[1] / (1 - m.e[0] * gr), m.e[2] / (1 - m.e[3] * gf),
                      m.e[3] + t * gr / (1 - m.e[0] * gr));
}
static void sixteen_go(void *context, double complex (*ret)[RESULTS])
{
        struct sixteen *x = context;
        struct tp_error err = {0};
        if (rf_method("sixteen_term")->solve(&x->p, x->workspace, &x->terms, NULL, &x->diagnosis, &err))
                fail_msg("TIPPLANE_SEED=%" PRIu64 ": %s", x->s->seed, err.text);
        for (size_t d = 0; d < SYNTH_DEVICES; d++)
                for (size_t i = 0; i < N; i++) {
                        struct m2 m = rf_switch_remove_point(net2_get(x->raw[d], i), CMPLX(x->s->sw.f_re[i], x->s->sw.f_im[i]),
                                                             CMPLX(x->s->sw.r_re[i], x->s->sw.r_im[i]));
                        memcpy(ret[i] + 4 * d, rf_correct2_point(&x->terms, i, m).e, 4 * sizeof(double complex));
                }
}
static void sixteen(uint64_t seed, size_t standards, bool weighted)
{
        struct arena *arena = arena_new(0);
        struct sixteen *x = arena_take(arena, sizeof *x);
        double hz[N];
        synth_grid(N, 70e3, 220e9, hz);
        struct synth *s = x->s = synth_new(arena, seed, N, hz);
        for (int k = 0; k < 8; k++)
                x->leak_turn[k] = synth_draw(s, -3, 3);
        struct way w = {.word = standards == 5 ? "sixteen, 5 standards"
                                : weighted     ? "sixteen, 8, weighted"
                                               : "sixteen, 8 standards",
                        .seed = seed,
                        .axis = &s->axis,
                        .result_n = 4 * SYNTH_DEVICES,
                        .go = sixteen_go,
                        .context = x,
                        .truth = arena_take(arena, N * sizeof *w.truth)};
        long double c[2] = {synth_draw(s, -9e-15, -3e-15), synth_draw(s, -9e-15, -3e-15)},
                    l[2] = {synth_draw(s, 2e-12, 5e-12), synth_draw(s, 2e-12, 5e-12)};
        struct synth_load load[2] = {{.r = synth_draw(s, 48, 52), .l = synth_draw(s, 0, 8e-12)},
                                     {.r = synth_draw(s, 48, 52), .l = synth_draw(s, 0, 8e-12)}};
        static const char ends[8][3] = {"", "os", "so", "ll", "ol", "ls", "oo", "ss"};
        for (size_t k = 0; k < standards; k++) {
                struct net2 *raw = synth_net(s, PLANE_RECEIVER), *ideal = synth_net(s, PLANE_TIP);
                for (size_t i = 0; i < N; i++) {
                        wide g[2];
                        for (int p = 0; p < 2 && k; p++) {
                                wide jwc = wide_of(0, 50 * synth_w(s, i) * c[p]);
                                g[p] = ends[k][p] == 'o'   ? (1 - jwc) / (1 + jwc)
                                       : ends[k][p] == 's' ? synth_g_of_z(wide_of(0, synth_w(s, i) * l[p]))
                                                           : synth_load_at(s, i, &load[p]);
                        }
                        struct wm2 d = k ? wm2_two(g[0], g[1]) : synth_thru(s, i, &(struct synth_thru){1e-12L, 0.03L, 0});
                        synth_put(ideal, i, d);
                        synth_put(raw, i, leaking_read(x, i, d));
                }
                x->standards[k] = (struct rf_standard){
                        .kind = RF_KNOWN, .raw = raw, .ideal = ideal, .u_ideal = weighted ? synth_draw(s, 1e-3, 2e-2) : 0};
                reads(&w, raw, 15);
                reads(&w, ideal, 15);
        }
        x->p = (struct problem){.axis = &s->axis, .standards = x->standards, .standard_n = standards, .switch_terms = &s->sw};
        for (size_t d = 0; d < SYNTH_DEVICES; d++) {
                x->raw[d] = synth_net(s, PLANE_RECEIVER);
                for (size_t i = 0; i < N; i++) {
                        struct wm2 truth = synth_devices[d](s, i, NULL);
                        synth_put(x->raw[d], i, leaking_read(x, i, truth));
                        memcpy(w.truth[i] + 4 * d, truth.e, sizeof truth.e);
                }
                reads(&w, x->raw[d], 15);
        }
        x->terms = terms_at(arena_take(arena, terms_bytes(N)), &s->axis);
        x->diagnosis = diagnosis_at(arena_take(arena, diagnosis_bytes(N)), &s->axis);
        x->workspace = arena_take(arena, rf_method("sixteen_term")->workspace_bytes(N, standards));
        within_the_floor(&w);
        arena_free(arena);
}

/* ---- three and four ports ----------------------------------------------------------------------------------------------------------- */

/* x = a^{-1} b in extended precision. */
static void wide_divide(unsigned n, const wide *a, const wide *b, wide *x)
{
        wide m[4][8];
        for (unsigned k = 0; k < n * n; k++) {
                m[k / n][k % n] = a[k];
                m[k / n][n + k % n] = b[k];
        }
        for (unsigned k = 0; k < n; k++) {
                unsigned p = k;
                for (unsigned i = k + 1; i < n; i++)
                        p = cabsl(m[i][k]) > cabsl(m[p][k]) ? i : p;
                for (unsigned j = 0; j < 2 * n; j++) {
                        wide t = m[k][j];
                        m[k][j] = m[p][j];
                        m[p][j] = t;
                }
                for (unsigned i = 0; i < n; i++) {
                        wide f = i == k ? 0 : m[i][k] / m[k][k];
                        for (unsigned j = k; j < 2 * n; j++)
                                m[i][j] -= f * m[k][j];
                }
        }
        for (unsigned k = 0; k < n * n; k++)
                x[k] = m[k / n][n + k % n] / m[k / n][k / n];
}

struct many {
        unsigned ports;
        struct arena *arena;
        struct synth *base[4];     /* X box and switch reflection (path 8) of each port */
        struct synth *pair[6];     /* two-port analyzers of pairs of ports */
        struct port_pair pairs[6]; /* way 1: device measured in pairs, corrected */
        struct net2 *corrected[6];
        struct terminations ends;
        struct pair_terms pair_terms[3]; /* way 2 */
        struct rf_standard standards[3][4];
        struct problem problem[3];
        struct terms terms[3];
        struct multiport_terms all;
        struct diagnosis diagnosis;
        struct netn raw, out;
        struct port_switch sw;
        void *workspace;
};
/* Port q's box seen from the other side: Y = (e11, e10, e01, e00). */
static struct synth *pair_synth(const struct many *x, unsigned p, unsigned q)
{
        struct synth *s = arena_take(x->arena, sizeof *s);
        *s = *x->base[p];
        for (int k = 0; k < 4; k++)
                s->path[4 + k] = x->base[q]->path[3 - k];
        s->path[8] = x->base[q]->path[8];
        s->path[9] = x->base[p]->path[8];
        s->sw = switch_terms_at(arena_take(x->arena, switch_terms_bytes(N)), &s->axis);
        for (size_t i = 0; i < N; i++) {
                double complex f = wide_round(synth_path_at(s, i, 8)), r = wide_round(synth_path_at(s, i, 9));
                s->sw.f_re[i] = creal(f), s->sw.f_im[i] = cimag(f);
                s->sw.r_re[i] = creal(r), s->sw.r_im[i] = cimag(r);
        }
        return s;
}
/* A node with branches, capacitors at the ports and a current source that makes it not reciprocal; S in 50 ohm. */
static void many_device(const struct many *x, size_t i, wide *s)
{
        unsigned n = x->ports;
        long double w = synth_w(x->base[0], i);
        wide y[16] = {0}, up[16], down[16], sum = 0, g[4];
        for (unsigned p = 0; p < n; p++)
                sum += g[p] = 1 / wide_of(12 + 9 * p, w * (20 + 11 * p) * 1e-12L);
        for (unsigned k = 0; k < n * n; k++) {
                y[k] = (k / n == k % n ? g[k / n] + wide_of(2e-4L, w * (8 + 3 * (k % n)) * 1e-15L) : 0) - g[k / n] * g[k % n] / sum;
                if (k == n) /* port 2 answers to port 1 */
                        y[k] += 0.02L * cexpl(wide_of(0, -w * 0.3e-12L));
                up[k] = (k / n == k % n) - 50 * y[k];
                down[k] = (k / n == k % n) + 50 * y[k];
        }
        wide_divide(n, down, up, s); /* (1 + zY)^{-1} and (1 - zY) commute */
}
static wide port_path(const struct many *x, unsigned p, size_t i, int k) { return synth_path_at(x->base[p], i, k); }

static struct many *many_new(uint64_t seed, unsigned ports)
{
        struct arena *arena = arena_new(0);
        struct many *x = arena_take(arena, sizeof *x);
        double hz[N];
        synth_grid(N, 70e3, 220e9, hz);
        x->arena = arena;
        x->ports = ports;
        for (unsigned p = 0; p < ports; p++) {
                x->base[p] = synth_new(arena, seed * 16 + p, N, hz);
                x->sw.re[p] = arena_take(arena, N * sizeof(double));
                x->sw.im[p] = arena_take(arena, N * sizeof(double));
                for (size_t i = 0; i < N; i++) {
                        double complex g = wide_round(port_path(x, p, i, 8));
                        x->sw.re[p][i] = creal(g);
                        x->sw.im[p][i] = cimag(g);
                }
        }
        const struct axis *axis = &x->base[0]->axis;
        x->raw = netn_at(arena_take(arena, netn_bytes(N, ports)), axis, ports, PLANE_RECEIVER);
        x->out = netn_at(arena_take(arena, netn_bytes(N, ports)), axis, ports, PLANE_UNKNOWN);
        return x;
}
static struct way many_way(struct many *x, const char *word, uint64_t seed, void (*go)(void *, double complex (*)[RESULTS]))
{
        struct way w = {.word = word, .seed = seed, .axis = &x->base[0]->axis, .result_n = x->ports * x->ports, .go = go, .context = x};
        w.truth = arena_take(x->arena, N * sizeof *w.truth);
        for (size_t i = 0; i < N; i++)
                many_device(x, i, w.truth[i]);
        return w;
}

static void join_go(void *context, double complex (*ret)[RESULTS])
{
        struct many *x = context;
        struct tp_error err = {0};
        if (rf_multiport_join(x->pairs, x->ports * (x->ports - 1) / 2, &x->ends, &x->out, NULL, &err))
                fail_msg("%s", err.text);
        for (size_t i = 0; i < N; i++)
                netn_get(&x->out, i, ret[i]);
}
static void joined(uint64_t seed, unsigned ports)
{
        struct many *x = many_new(seed, ports);
        struct way w = many_way(x, ports == 3 ? "3 ports joined" : "4 ports joined", seed, join_go);
        for (unsigned p = 0; p < ports; p++) {
                x->ends.re[p] = arena_take(x->arena, N * sizeof(double));
                x->ends.im[p] = arena_take(x->arena, N * sizeof(double));
                struct synth_load load = {.r = synth_draw(x->base[p], 40, 60), .l = synth_draw(x->base[p], -5e-12, 9e-12)};
                for (size_t i = 0; i < N; i++) {
                        double complex g = wide_round(synth_load_at(x->base[p], i, &load));
                        x->ends.re[p][i] = creal(g);
                        x->ends.im[p][i] = cimag(g);
                }
                w.re[w.column_n] = x->ends.re[p];
                w.im[w.column_n++] = x->ends.im[p];
        }
        size_t k = 0;
        for (unsigned p = 0; p < ports; p++)
                for (unsigned q = p + 1; q < ports; q++, k++) {
                        struct net2 *net = synth_net(x->base[0], PLANE_TIP);
                        for (size_t i = 0; i < N; i++) {
                                /* (1 - S G) b = S e_source, G the terminations of the others */
                                wide left[16], right[16] = {0}, b[16];
                                for (unsigned e = 0; e < ports * ports; e++) {
                                        unsigned j = e % ports;
                                        wide g = j == p || j == q ? 0 : wide_of(x->ends.re[j][i], x->ends.im[j][i]);
                                        left[e] = (e / ports == j) - w.truth[i][e] * g;
                                        right[e] = w.truth[i][e];
                                }
                                wide_divide(ports, left, right, b);
                                synth_put(net, i, wm2_of(b[p * ports + p], b[p * ports + q], b[q * ports + p], b[q * ports + q]));
                        }
                        x->pairs[k] = (struct port_pair){p, q, net};
                        reads(&w, net, 15);
                }
        within_the_floor(&w);
        arena_free(x->arena);
}

static void calibrated_go(void *context, double complex (*ret)[RESULTS])
{
        struct many *x = context;
        struct tp_error err = {0};
        size_t n = x->ports - 1;
        for (size_t k = 0; k < n; k++)
                if (rf_method("unknown_thru")->solve(&x->problem[k], x->workspace, &x->terms[k], NULL, &x->diagnosis, &err))
                        fail_msg("%s", err.text);
        if (rf_multiport_terms(x->pair_terms, n, &x->all, NULL, &err) || rf_multiport_correct(&x->all, &x->raw, &x->sw, &x->out, &err))
                fail_msg("%s", err.text);
        for (size_t i = 0; i < N; i++)
                netn_get(&x->out, i, ret[i]);
}
static void calibrated(uint64_t seed, unsigned ports)
{
        static const unsigned tree[3][2] = {{0, 1}, {1, 2}, {3, 0}};
        struct many *x = many_new(seed, ports);
        struct way w = many_way(x, ports == 3 ? "3 ports calibrated" : "4 ports calibrated", seed, calibrated_go);
        for (unsigned k = 0; k + 1 < ports; k++) {
                struct synth *s = pair_synth(x, tree[k][0], tree[k][1]);
                struct rf_standard *to = x->standards[k];
                const struct synth_two open = {{-6e-15L, -4e-15L}}, sh = {{3e-12L, 4e-12L}};
                const struct synth_loads load = {{{.r = 49.7L, .l = 4e-12L}, {.r = 50.4L, .l = 2e-12L}}};
                to[0] = (struct rf_standard){
                        .kind = RF_OPEN, .raw = synth_raw(s, synth_open, &open), .ideal = synth_ideal(s, synth_open, &open)};
                to[1] = (struct rf_standard){
                        .kind = RF_SHORT, .raw = synth_raw(s, synth_short, &sh), .ideal = synth_ideal(s, synth_short, &sh)};
                to[2] = (struct rf_standard){
                        .kind = RF_LOAD, .raw = synth_raw(s, synth_load, &load), .ideal = synth_ideal(s, synth_load, &load)};
                to[3] = (struct rf_standard){.kind = RF_THRU, .raw = synth_raw(s, synth_thru, &(struct synth_thru){1.2e-12L, 0.05L, 47})};
                for (int j = 0; j < 4; j++) {
                        reads(&w, to[j].raw, j == 3 ? 15 : 9);
                        if (to[j].ideal)
                                reads(&w, to[j].ideal, 9);
                }
                x->problem[k] = (struct problem){
                        .axis = w.axis, .standards = to, .standard_n = 4, .switch_terms = &s->sw, .thru_delay_s_guess = 1.2e-12};
                x->terms[k] = terms_at(arena_take(x->arena, terms_bytes(N)), w.axis);
                x->pair_terms[k] = (struct pair_terms){tree[k][0], tree[k][1], &x->terms[k]};
        }
        x->all = multiport_terms_at(arena_take(x->arena, multiport_terms_bytes(N, ports)), w.axis, ports);
        x->diagnosis = diagnosis_at(arena_take(x->arena, diagnosis_bytes(N)), w.axis);
        x->workspace = arena_take(x->arena, rf_method("unknown_thru")->workspace_bytes(N, 4));
        for (size_t i = 0; i < N; i++) {
                /* a = E3 A + E4 b, b = S a, B = E1 A + E2 b; source j: A_j = 1, the others A_i = g_i B_i */
                double complex raw[16];
                unsigned n = ports;
                for (unsigned j = 0; j < n; j++) {
                        wide left[16], right[16] = {0}, b[16];
                        for (unsigned e = 0; e < n * n; e++) {
                                unsigned c = e % n;
                                wide g = c == j ? 0 : wide_of(x->sw.re[c][i], x->sw.im[c][i]), v[4];
                                for (int k = 0; k < 4; k++)
                                        v[k] = port_path(x, c, i, k);
                                left[e] = (e / n == c) - w.truth[i][e] * (v[3] + v[2] * g * v[1] / (1 - g * v[0]));
                                if (c == j)
                                        right[e / n * n] = w.truth[i][e] * v[2];
                        }
                        wide_divide(n, left, right, b);
                        for (unsigned r = 0; r < n; r++) {
                                wide g = wide_of(x->sw.re[r][i], x->sw.im[r][i]), e00 = port_path(x, r, i, 0), e01 = port_path(x, r, i, 1);
                                raw[r * n + j] = wide_round(r == j ? e00 + e01 * b[r * n] : e01 * b[r * n] / (1 - g * e00));
                        }
                }
                netn_put(&x->raw, i, raw);
        }
        for (unsigned e = 0; e < ports * ports; e++) {
                w.re[w.column_n] = x->raw.re[e];
                w.im[w.column_n++] = x->raw.im[e];
        }
        within_the_floor(&w);
        arena_free(x->arena);
}

static uint64_t seed_last(void) { return getenv("TIPPLANE_SEED") ? synth_seed(1) : SEEDS; }
static void sixteen_terms(void **state)
{
        (void)state;
        for (uint64_t seed = synth_seed(1); seed <= seed_last(); seed++) {
                sixteen(seed, 5, false);
                sixteen(seed, 8, false);
                sixteen(seed, 8, true);
        }
}
static void three_and_four_ports(void **state)
{
        (void)state;
        for (uint64_t seed = synth_seed(1); seed <= seed_last(); seed++)
                for (unsigned ports = 3; ports <= 4; ports++) {
                        joined(seed, ports);
                        calibrated(seed, ports);
                }
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(sixteen_terms), cmocka_unit_test(three_and_four_ports)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
