/* analyzer.c: raw terms, their flow graph, their noise; see analyzer.h.
   Magnitudes follow what broadband on-wafer systems show: bridges below 10 MHz, couplers to 54 GHz, multiplied bands above; the tables are
   interpolated in log f.  Phases are delays with a little ripple. */
#include "simulators/analyzer.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TWO_PI 6.283185307179586476925286766559
enum { TABLE_N = 9, EDGE_N = 3 };
static const double edge_hz[EDGE_N] = {54e9, 110e9, 145e9};
static const double table_hz[TABLE_N] = {70e3, 1e6, 10e6, 1e9, 10e9, 54e9, 110e9, 145e9, 220e9};
static const double directivity_db[TABLE_N] = {-12, -15, -24, -25, -22, -17, -13, -12.5, -12};
static const double match_db[TABLE_N] = {-12, -15, -21, -22, -18, -14, -11, -10.5, -10};
static const double tracking_db[TABLE_N] = {-8, -4, -1.5, -1.5, -2, -4, -6, -7, -9};                     /* one way */
static const double floor_db[TABLE_N] = {-95, -108, -114, -115, -115, -115, -105, -98, -88};             /* at the tips, 10 Hz */
static const double trace_db[TABLE_N] = {0.0075, 0.002, 0.002, 0.002, 0.002, 0.002, 0.007, 0.011, 0.02}; /* rms at 1 kHz; 1/f below 1 MHz */
const char *const raw_words[RAW_N] = {"S11", "S21", "S12", "S22", "GF", "GR"};

static double table(const double y[TABLE_N], double hz)
{
        int k = 0;
        if (hz <= table_hz[0])
                return y[0];
        while (k < TABLE_N - 2 && hz > table_hz[k + 1])
                k++;
        double share = log(hz / table_hz[k]) / log(table_hz[k + 1] / table_hz[k]);
        share = share > 1 ? 1 : share;
        return y[k] + (y[k + 1] - y[k]) * share * share * (3 - 2 * share); /* smooth at the knots */
}

static double from_db(double db) { return pow(10, db / 20); }
static int band_of(double hz)
{
        int band = 0;
        while (band < EDGE_N && hz > edge_hz[band])
                band++;
        return band;
}

struct character {
        double scatter_db, delay_s, ripple, ripple_s, phase;
}; /* of one raw term */
static struct character character_of(const struct scenario *s, int port, int term)
{
        struct draws r = draws_of((uint64_t)s->seed, DRAW_SYSTEM, port, term, 0, 0);
        struct character c = {s->analyzer.term_scatter_db * draw_normal_within(&r, 2), draw_between(&r, 20e-12, 60e-12),
                              draw_between(&r, 0.02, 0.06), draw_between(&r, 60e-12, 160e-12), draw_between(&r, 0, TWO_PI)};
        return c;
}
/* Real at low frequency, so that a bridge looks like a bridge. */
static double complex term(struct character c, double db, double hz)
{
        double wobble = 1 + c.ripple * sin(TWO_PI * hz * c.ripple_s + c.phase) - c.ripple * sin(c.phase);
        return from_db(db + c.scatter_db) * wobble * cexp(-I * TWO_PI * hz * c.delay_s);
}

static double band_step_db(const struct scenario *s, int port, int band)
{
        double db = 0;
        for (int k = 1; k <= band; k++) {
                struct draws r = draws_of((uint64_t)s->seed, DRAW_SYSTEM, port, 100 + k, 0, 0);
                double size = draw_between(&r, s->analyzer.band_step_db_min, s->analyzer.band_step_db_max);
                db += draw_chance(&r, 0.5) ? size : -size;
        }
        return db;
}

struct sim_system *system_new(const struct scenario *s, const double *hz, size_t n)
{
        struct sim_system *sys = calloc(1, sizeof *sys);
        if (!sys)
                return NULL;
        sys->n = n;
        sys->hz = malloc(n * sizeof *sys->hz);
        sys->floor = malloc(n * sizeof *sys->floor);
        sys->trace = malloc(n * sizeof *sys->trace);
        sys->band = malloc(n * sizeof *sys->band);
        sys->port[0] = malloc(n * sizeof *sys->port[0]);
        sys->port[1] = malloc(n * sizeof *sys->port[1]);
        if (!sys->hz || !sys->floor || !sys->trace || !sys->band || !sys->port[0] || !sys->port[1]) {
                system_free(sys);
                return NULL;
        }
        memcpy(sys->hz, hz, n * sizeof *hz);
        for (int k = 0; k < LEAK_N && s->analyzer.leak_db > -300; k++) {
                struct draws r = draws_of((uint64_t)s->seed, DRAW_SYSTEM, 3, k, 0, 0);
                sys->leak[k] =
                        (struct sim_leak){from_db(s->analyzer.leak_db) * draw_between(&r, 0.5, 1) / 220e9, draw_between(&r, 1e-12, 5e-12)};
        }
        for (int p = 0; p < 2; p++) {
                struct character c[5];
                for (int k = 0; k < 5; k++)
                        c[k] = character_of(s, p, k);
                c[2].scatter_db *= 0.3;
                c[3] = c[2]; /* out and back share cable and probe, their amplifiers do not */
                c[3].scatter_db += 0.4;
                c[3].phase += 1;
                for (size_t i = 0; i < n; i++) {
                        double step = band_step_db(s, p, band_of(hz[i])) / 2;
                        struct port_terms *t = &sys->port[p][i];
                        t->directivity = term(c[0], table(directivity_db, hz[i]), hz[i]);
                        t->match = term(c[1], table(match_db, hz[i]), hz[i]);
                        t->out = term(c[2], table(tracking_db, hz[i]) + step, hz[i]);
                        t->in = term(c[3], table(tracking_db, hz[i]) + step, hz[i]);
                        t->load = s->analyzer.switch_term * (1 + 0.2 * sin(TWO_PI * hz[i] * c[4].ripple_s)) *
                                  cexp(-I * TWO_PI * hz[i] * c[4].delay_s);
                }
        }
        for (size_t i = 0; i < n; i++) {
                sys->band[i] = band_of(hz[i]);
                sys->floor[i] = from_db(table(floor_db, hz[i]) + s->analyzer.floor_db) / sqrt(10) / sqrt(2);
                sys->trace[i] = s->analyzer.trace_scale * (from_db(table(trace_db, hz[i])) - 1) / sqrt(1000);
        }
        return sys;
}

void system_free(struct sim_system *sys)
{
        if (!sys)
                return;
        free(sys->hz);
        free(sys->floor);
        free(sys->trace);
        free(sys->band);
        free(sys->port[0]);
        free(sys->port[1]);
        free(sys);
}

/* A port now: its terms, later by its drift, and its module's bands a little stronger or weaker with temperature. */
static struct port_terms port_now(const struct sim_system *sys, const struct sim_now *now, int p, size_t i)
{
        struct port_terms t = sys->port[p][i];
        double hz = sys->hz[i], db = -now->drift[p].loss_db * sqrt(hz / 220e9) + 0.002 * now->room_k * (double)sys->band[i];
        double complex moved = from_db(db) * cexp(-I * TWO_PI * hz * now->drift[p].delay_fs * 1e-15);
        t.out *= moved;
        t.in *= moved;
        return t;
}

/* Source at `a`: reflection at a, transmission to b. */
static void drive(const struct port_terms *a, const struct port_terms *b, double complex s_aa, double complex s_ba, double complex s_ab,
                  double complex s_bb, double complex *ret_reflection, double complex *ret_transmission)
{
        double complex loop = 1 - b->directivity * b->load; /* receiver side of b: the switch sees the port's own directivity */
        double complex beyond = b->match + b->in * b->out * b->load / loop; /* what the device's far side looks into */
        double complex far = 1 - s_bb * beyond;
        double complex seen = s_aa + s_ab * s_ba * beyond / far; /* what the tip of a looks into */
        double complex at_tip = a->out / (1 - a->match * seen);  /* wave into the device for a unit source wave */
        *ret_reflection = a->directivity + a->in * seen * at_tip;
        *ret_transmission = b->in * s_ba * at_tip / (far * loop);
}

/* The whole error network where the sides leak, as waves of both: M = E1 + E2 S (1 - E4 S)^-1 E3, then what the far switch sends back. */
static void form_leaking(const struct sim_system *sys, const struct port_terms p[2], size_t i, struct y2 s, double complex ret[RAW_N])
{
        double complex e[LEAK_N];
        for (int k = 0; k < LEAK_N; k++)
                e[k] = sys->leak[k].per_hz * sys->hz[i] * cexp(-I * TWO_PI * sys->hz[i] * sys->leak[k].delay_s);
        struct y2 e1 = {p[0].directivity, e[0] * p[0].in * p[1].out, e[1] * p[1].in * p[0].out, p[1].directivity};
        struct y2 e2 = {p[0].in, e[2] * p[0].in, e[3] * p[1].in, p[1].in}, e3 = {p[0].out, e[4] * p[1].out, e[5] * p[0].out, p[1].out};
        struct y2 around = {1 - p[0].match * s.e11 - e[6] * s.e21, -p[0].match * s.e12 - e[6] * s.e22, -e[7] * s.e11 - p[1].match * s.e21,
                            1 - e[7] * s.e12 - p[1].match * s.e22};
        struct y2 in = y2_solve(around, e3), back = y2_times(e2, y2_times(s, in));
        double complex m11 = e1.e11 + back.e11, m12 = e1.e12 + back.e12, m21 = e1.e21 + back.e21, m22 = e1.e22 + back.e22;
        double complex f = p[1].load / (1 - m22 * p[1].load), r = p[0].load / (1 - m11 * p[0].load);
        ret[RAW_S11] = m11 + m12 * f * m21;
        ret[RAW_S21] = m21 * (1 + m22 * f);
        ret[RAW_S22] = m22 + m21 * r * m12;
        ret[RAW_S12] = m12 * (1 + m11 * r);
}

void system_form(const struct sim_system *sys, const struct sim_now *now, size_t i, struct y2 s, double complex ret[RAW_N])
{
        struct port_terms p1 = port_now(sys, now, 0, i), p2 = port_now(sys, now, 1, i);
        if (sys->leak[0].per_hz > 0) {
                form_leaking(sys, (struct port_terms[2]){p1, p2}, i, s, ret);
        } else {
                drive(&p1, &p2, s.e11, s.e21, s.e12, s.e22, &ret[RAW_S11], &ret[RAW_S21]);
                drive(&p2, &p1, s.e22, s.e12, s.e21, s.e11, &ret[RAW_S22], &ret[RAW_S12]);
        }
        ret[RAW_GF] = p2.load;
        ret[RAW_GR] = p1.load;
}

static double complex circular(struct draws *r, double per_component)
{
        double re = draw_normal(r), im = draw_normal(r);
        return per_component * (re + I * im);
}

void system_noise(const struct sim_system *sys, struct draws *r, size_t i, double ifbw_hz, int averages, double complex raw[RAW_N])
{
        double root = sqrt(ifbw_hz / (double)averages),
               trace = fmax(sys->trace[i] * root, sys->trace[i] > 0 ? 1e-4 / sqrt((double)averages) : 0);
        double complex sent[2] = {raw[RAW_S21], raw[RAW_S12]};
        for (int k = 0; k <= RAW_S22; k++) {
                int to = k == RAW_S21 || k == RAW_S22, from = k == RAW_S12 || k == RAW_S22;
                double floor = sys->floor[i] * root * cabs(sys->port[from][i].out) * cabs(sys->port[to][i].in);
                raw[k] += circular(r, sqrt(floor * floor + trace * trace * creal(raw[k] * conj(raw[k]))));
        }
        for (int k = 0; k < 2; k++) { /* a switch term is a ratio of two small waves when the device sends little: so is its noise */
                int to = k == 0 ? 1 : 0;
                double floor = sys->floor[i] * root * cabs(sys->port[1 - to][i].out) * cabs(sys->port[to][i].in);
                double complex wave = raw[RAW_GF + k] * sent[k] + circular(r, floor), by = sent[k] + circular(r, floor);
                raw[RAW_GF + k] = (by != 0 ? wave / by : 0) * (1 + circular(r, trace));
        }
}

double system_band_s(const struct scenario *s, const double *hz, size_t n)
{
        double sum = 0;
        for (int k = 0; k < EDGE_N && n > 0; k++)
                if (hz[0] <= edge_hz[k] && hz[n - 1] > edge_hz[k]) {
                        struct draws r = draws_of((uint64_t)s->seed, DRAW_SYSTEM, 2, k, 0, 0);
                        sum += 2 * draw_between(&r, 0.02, 0.06);
                }
        return sum;
}
