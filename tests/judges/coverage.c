/* coverage.c: is the stated uncertainty honest, parameter by parameter?
 * Idea        A 95 % interval must hold the truth in 95 of 100 measurements, each with everything new that it claims to cover: error terms,
 * copies of the standards, contacts, noise, drift, wafer.  So each touch of a device here has a calibration of its own: the simulated
 * physics (written without rf/) makes raw data, the daemon's own chain (evaluate/) solves, corrects, de-embeds, extracts and states an
 * interval. Drift       between the calibration and the touch each port has moved by a delay and a loss drawn evenly within what the
 * recipe's check lets pass: this is all that the daemon knows of a touch in an interval whose checks passed. Stated      what the
 * recipe states and no reading shows is drawn as stated: receivers bent by a power of the level, the chuck's temperature at each device,
 * overtravel that lets both tips slide, pads that are longer behind the tip, the capacitance told of the lines. Limits      0.93 to 0.97 of
 * the touches of each parameter, or the binomial interval of 0.95 at the chance of a false alarm of 1 % for all parameters together
 * (Bonferroni) where that is wider; and an error beyond 3 u95 in no more than 1 of 500: a normal of k = 2 has none. usage       coverage
 * RECIPE.json SCENARIO.json [touches, 1000] [first seed, 1] environment: FAR=1.5 names each touch beyond 1.5 u95, SHOW=1 the calibrations,
 * ONLY=DEVICE one device, LEAK_DB=-50 leakage from side to side at 220 GHz; CHECKS=1 each touch between two checks, measured and fitted as
 * the daemon does, whose modes count instead of the limits. */
#include "evaluate/evaluate.h"
#include "simulators/analyzer.h"
#include "simulators/standard.h"
#include "simulators/supply.h"
#include "simulators/touch.h"
#include "simulators/true_values.h"
#include "simulators/wafer.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define TWO_PI 6.283185307179586476925286766559
#ifndef I /* rf/ has taken it away */
#define I _Complex_I
#endif
enum { PARAMETERS_MAX = 64, OTHER_OPENS = 7, CONDITIONS_MAX = 8 };

struct station {
        struct scenario scenario;
        const struct recipe *recipe;
        struct sim_wafer wafer;
        struct sim_system *system;
        double *hz, *ifbw;
        size_t n;
        double now_s;
        struct sim_drift moved[2]; /* of each port since the calibration, beyond the scenario's own drift */
        int64_t sweeps;
        double bent[2]; /* the receiver of each port reads |m|^(1 + bent) */
};

static char *file_read(const char *path, size_t *ret_n)
{
        FILE *f = fopen(path, "rb");
        char *text = NULL;
        size_t n = 0;
        for (size_t got = 1; f && got; n += got) {
                char *more = realloc(text, n + 65536);
                if (!more)
                        abort();
                text = more;
                got = fread(text + n, 1, 65535, f);
        }
        if (!f) {
                fprintf(stderr, "cannot read %s\n", path);
                exit(2);
        }
        fclose(f);
        text[n] = 0;
        *ret_n = n;
        return text;
}

static void need(enum code code, const struct tp_error *err, const char *what)
{
        if (!code)
                return;
        fprintf(stderr, "%s: %s\n", what, err->text);
        exit(2);
}

static double ifbw_at(const struct sweep_plan *p, double hz)
{
        for (size_t k = 0; k < p->segment_n; k++)
                if (hz <= p->segments[k].stop_hz)
                        return p->segments[k].ifbw_hz / fmax(1, p->segments[k].averages);
        return p->segments[p->segment_n - 1].ifbw_hz;
}

struct seen { /* what lies under the tips */
        const struct sim_device *device;
        struct sim_pads pads;
        struct sim_copy copy;
        bool air, standard;
        double raised_f[2];
        struct sim_bias bias;
        struct sim_touch touch;
        double longer_f[2]; /* of a device's pads: what more or less lies behind the tips, with its share of their loss */
};

static double complex behind(const struct seen *v, int p, double hz)
{
        return v->longer_f[p] == 0 ? 0
                                   : v->longer_f[p] / v->pads.c_f[p] / (v->pads.loss_ohm + 1 / (CMPLX(0, TWO_PI * hz) * v->pads.c_f[p]));
}

static struct raw_sweep sweep(struct station *st, const struct seen *v, struct arena *arena)
{
        struct raw_sweep raw = {.n = st->n, .hz = st->hz};
        double *columns[12];
        for (int k = 0; k < 12; k++)
                columns[k] = arena_take(arena, (st->n + 8) * sizeof(double));
        for (int k = 0; k < 4; k++) {
                raw.re[k] = columns[2 * k];
                raw.im[k] = columns[2 * k + 1];
        }
        raw.gf_re = columns[8];
        raw.gf_im = columns[9];
        raw.gr_re = columns[10];
        raw.gr_im = columns[11];
        const struct scenario *s = &st->scenario;
        struct sim_now now = {{drift_of(s, 0, st->now_s, st->now_s + 10800), drift_of(s, 1, st->now_s, st->now_s + 10800)},
                              room_k(s, st->now_s)};
        for (int p = 0; p < 2; p++) {
                now.drift[p].delay_fs += st->moved[p].delay_fs;
                now.drift[p].loss_db += st->moved[p].loss_db;
        }
        struct draws r = draws_of((uint64_t)s->seed, DRAW_NOISE, st->sweeps++, 0, 0, 0);
        for (size_t i = 0; i < st->n; i++) {
                double hz = st->hz[i], per_um = TWO_PI * hz * s->contact.delay_fs_um * 1e-15;
                struct y2 p;
                if (v->air) {
                        p = y2_to_s(touch_air(s, v->raised_f[0], v->raised_f[1], hz), 50);
                } else {
                        struct y2 y =
                                v->standard ? copy_y(&v->copy, hz) : pads_around(&v->pads, device_biased_y(v->device, hz, &v->bias), hz);
                        y = y2_shunt(y, behind(v, 0, hz), behind(v, 1, hz));
                        p = y2_to_s(touch_around(s, &v->touch, 30, 2, y, hz), 50);
                        double complex m1 = cexp(-CMPLX(0, 1) * per_um * v->touch.shift_um[0]),
                                       m2 = cexp(-CMPLX(0, 1) * per_um * v->touch.shift_um[1]);
                        p.e11 *= m1 * m1;
                        p.e12 *= m1 * m2;
                        p.e21 *= m1 * m2;
                        p.e22 *= m2 * m2;
                }
                double complex m[RAW_N];
                system_form(st->system, &now, i, p, m);
                system_noise(st->system, &r, i, st->ifbw[i], 1, m);
                static const int from[4] = {RAW_S11, RAW_S12, RAW_S21, RAW_S22};
                for (int k = 0; k < 4; k++) {
                        m[from[k]] *= pow(cabs(m[from[k]]), st->bent[k / 2]);
                        raw.re[k][i] = creal(m[from[k]]);
                        raw.im[k][i] = cimag(m[from[k]]);
                }
                raw.gf_re[i] = creal(m[RAW_GF]);
                raw.gf_im[i] = cimag(m[RAW_GF]);
                raw.gr_re[i] = creal(m[RAW_GR]);
                raw.gr_im[i] = cimag(m[RAW_GR]);
        }
        st->now_s += 12;
        return raw;
}

/* Overtravel as it repeats: both tips slide inwards or stay behind. */
static struct sim_touch slid(const struct station *st, struct sim_touch t)
{
        const struct setup *setup = &st->recipe->setup;
        struct draws r = draws_of((uint64_t)st->scenario.seed, DRAW_NONE, 3, st->sweeps, 0, 0);
        double um = setup->skate_um_um * setup->overtravel_um_u * draw_normal_within(&r, 3.5);
        for (int p = 0; p < 2; p++)
                t.shift_um[p] -= um;
        return t;
}

static struct seen standard_seen(const struct station *st, const char *name, int touch)
{
        const struct scenario *s = &st->scenario;
        for (size_t k = 0; k < s->standard_n; k++)
                if (!strcmp(s->standards[k].name, name)) {
                        struct seen v = {.standard = true, .copy = copy_of(s, k, 0), .touch = slid(st, touch_of(s, draw_key(name), touch))};
                        v.air = v.copy.raised;
                        v.raised_f[0] = v.copy.c_f[0];
                        v.raised_f[1] = v.copy.c_f[1];
                        return v;
                }
        fprintf(stderr, "the scenario has no standard %s\n", name);
        exit(2);
}

static void held(const struct scenario *s, int32_t channel, double ampere, double limit_v, struct sim_bias *bias)
{
        int port = supply_port(s, (unsigned)channel);
        bias->held[port] = true;
        bias->volt[port] = limit_v;
        bias->ampere[port] = supply_held_a(s, (unsigned)channel, ampere);
}

static struct true_at at_condition(const struct scenario *s, const struct measure *me, size_t condition)
{
        struct true_at at = {.hz = 0};
        const struct condition *c = &me->conditions[condition];
        if (c->channel == 0 || c->channel == 1)
                at.bias.volt[supply_port(s, (unsigned)c->channel)] = c->volt;
        if (c->has_gate && (c->gate.channel == 0 || c->gate.channel == 1))
                at.bias.volt[supply_port(s, (unsigned)c->gate.channel)] = c->gate.volt;
        if (c->open_v > 0 && c->channel < 2)
                held(s, c->channel, 0, c->open_v, &at.bias);
        if (c->has_base && c->base.channel < 2)
                held(s, c->base.channel, c->base.ampere, c->base.limit_v, &at.bias);
        return at;
}

static struct seen device_seen(const struct station *st, int at, const struct sim_bias *bias)
{
        char key[64];
        const struct sim_device *d = &st->wafer.devices[at];
        snprintf(key, sizeof key, "%d,%d %s", (int)d->die_x, (int)d->die_y, d->name);
        struct seen v = {.device = d,
                         .pads = wafer_pads(&st->wafer, at),
                         .touch = slid(st, touch_of(&st->scenario, draw_key(key), 1)),
                         .bias = *bias};
        for (int p = 0; p < 2; p++)
                v.longer_f[p] = -st->recipe->setup.pad_f_um * v.touch.shift_um[p];
        return v;
}

struct tally {
        const char *device, *name;
        size_t n, within, far, refused;
        double squares, sum, worst, u95_share;
        char budget[BUDGET_ROOM], reason[120];
};

static void calibrate(struct station *st, struct arena *arena, struct calibration **cal)
{
        const struct recipe *r = st->recipe;
        struct raw_sweep raws[32];
        struct standard_sweep of[32];
        struct tp_error err = {0};
        size_t n = 0;
        for (; n < r->calibration.standard_n; n++) {
                struct seen v = standard_seen(st, r->calibration.standards[n].standard, 1);
                raws[n] = sweep(st, &v, arena);
                of[n] = (struct standard_sweep){(int)(recipe_standard(r, r->calibration.standards[n].standard) - r->standards), &raws[n]};
        }
        struct text diagnosis;
        text_init(&diagnosis, 0);
        need(calibration_solve(r, of, n, arena, cal, &diagnosis, &err), &err, "solve");
        if (getenv("SHOW"))
                puts(text_of(&diagnosis));
        text_done(&diagnosis);
}

/* The check's standards, touched for the n-th time, and the raised open that comes with them. */
static size_t check_read(struct station *st, int touch, struct raw_sweep raws[], struct standard_sweep of[], struct arena *arena)
{
        const struct recipe *r = st->recipe;
        size_t n = 0;
        for (size_t k = 0; k < r->standard_n; k++) {
                bool used = r->standards[k].raised;
                for (size_t u = 0; u < r->check.standard_n; u++)
                        used = used || !strcmp(r->check.standards[u].standard, r->standards[k].name);
                if (!used)
                        continue;
                struct seen v = standard_seen(st, r->standards[k].name, touch);
                raws[n] = sweep(st, &v, arena);
                of[n] = (struct standard_sweep){(int)k, &raws[n]};
                n++;
        }
        return n;
}

/* Baseline, a check, and later another; the touch lies in between.  false: a check did not pass, so the night would have no such touch. */
static bool drift_checked(struct station *st, const struct calibration *cal, struct draws *draws, struct drift_seen *ret,
                          struct arena *arena)
{
        const struct recipe *r = st->recipe;
        struct raw_sweep raws[2][16];
        struct standard_sweep baseline[16], now[16];
        struct sim_drift ends[2][2], none = {0};
        struct tp_error err = {0};
        double share = draw_between(draws, 0, 1);
        bool passed = true;
        for (int p = 0; p < 2; p++)
                for (int end = 0; end < 2; end++)
                        ends[end][p] = (struct sim_drift){draw_between(draws, -0.8, 0.8) * r->check.limits.delay_fs,
                                                          draw_between(draws, -0.8, 0.8) * r->check.limits.loss_db *
                                                                  sqrt(220e9 / st->hz[st->n - 1])};
        st->moved[0] = st->moved[1] = none;
        size_t n = check_read(st, 2, raws[0], baseline, arena);
        for (int end = 0; end < 2; end++) {
                struct check_answer a;
                for (int p = 0; p < 2; p++)
                        st->moved[p] = ends[end][p];
                check_read(st, 3 + end, raws[1], now, arena);
                need(check_fit(r, cal, baseline, now, n, arena, &a, &err), &err, "check");
                passed = passed && a.passed;
                memcpy(end ? ret->to : ret->from, a.modes, sizeof a.modes);
        }
        for (int p = 0; p < 2; p++) {
                st->moved[p].delay_fs = ends[0][p].delay_fs + share * (ends[1][p].delay_fs - ends[0][p].delay_fs);
                st->moved[p].loss_db = ends[0][p].loss_db + share * (ends[1][p].loss_db - ends[0][p].loss_db);
        }
        return passed;
}

/* The part of a binomial share of n with p = 0.95 that lies within all but `alpha` of each tail. */
static void binomial_limits(size_t n, double alpha, double *ret_low, double *ret_high)
{
        double log_p = log(0.95), log_q = log(0.05), below = 0, above = 0;
        size_t low = 0, high = n;
        for (size_t k = 0; k <= n; k++) {
                below += exp(lgamma((double)n + 1) - lgamma((double)k + 1) - lgamma((double)(n - k) + 1) + (double)k * log_p +
                             (double)(n - k) * log_q);
                if (below > alpha)
                        break;
                low = k + 1;
        }
        for (size_t k = n;; k--) {
                above += exp(lgamma((double)n + 1) - lgamma((double)k + 1) - lgamma((double)(n - k) + 1) + (double)k * log_p +
                             (double)(n - k) * log_q);
                if (above > alpha)
                        break;
                high = k - 1;
        }
        *ret_low = fmin(0.93, (double)low / (double)n);
        *ret_high = fmax(0.97, (double)high / (double)n);
}

struct tallies {
        struct tally of[PARAMETERS_MAX];
        size_t n;
        double seconds;
        size_t sweeps;
};

static void count(struct tallies *all, const struct station *st, const struct measure *me, const struct sim_device *device,
                  const struct parameter_answer *a, const struct parameter_plan *p)
{
        struct tally *t = all->of;
        while (t < all->of + all->n && (strcmp(t->name, p->name) || strcmp(t->device, me->device)))
                t++;
        if (t == all->of + all->n) {
                if (all->n == PARAMETERS_MAX)
                        return;
                all->n++;
                t->name = p->name;
                t->device = me->device;
        }
        struct true_at at = at_condition(&st->scenario, me, 0);
        at.hz = p->at == AT_BEST_WINDOW ? sqrt(a->lo_hz * a->hi_hz) : p->freq_hz;
        enum true_quantity quantity = true_quantity_of(quantity_words[p->quantity]);
        at.inside = me->has_extrinsic && true_is_of_inside(quantity);
        double want = true_value_at(device, quantity, &at);
        double e = a->has_value ? (a->value - want) / a->u95 : NAN;
        if (!isfinite(e)) {
                t->refused++;
                memcpy(t->reason, a->reason, sizeof t->reason);
                return;
        }
        t->n++;
        t->within += fabs(e) <= 1;
        t->far += fabs(e) > 3;
        t->squares += 4 * e * e;
        t->sum += 2 * e;
        t->worst = fmax(t->worst, fabs(e));
        t->u95_share += a->u95 / fabs(a->value);
        memcpy(t->budget, a->budget, sizeof t->budget);
        if (getenv("FAR") && fabs(e) > atof(getenv("FAR")))
                printf("seed %lld die %d,%d %s %s: %.9g truth %.9g error/u95 %.2f %s\n", (long long)st->scenario.seed, device->die_x,
                       device->die_y, me->device, p->name, a->value, want, e, a->budget);
}

/* Of a lead's own capacitance the chain knows that it lies between none and that of a line of 50 ohm. */
static void lead_drawn(struct scenario *s)
{
        struct draws r = draws_of((uint64_t)s->seed, DRAW_NONE, 2, 0, 0, 0);
        s->pads.feed_share = draw_uniform(&r) * fmin(1, s->pads.l_h / 2500 / s->pads.c_f);
}

/* The device as warm as it is: what its parameters' coefficients say of resistance, capacitance and inductance. */
static struct sim_device warm(const struct station *st, const struct measure *me, const struct sim_device *device)
{
        struct sim_device d = *device;
        struct draws r = draws_of((uint64_t)st->scenario.seed, DRAW_NONE, 4, st->sweeps, 0, 0);
        double off_k = st->recipe->setup.temperature_k_u * draw_normal_within(&r, 3.5);
        bool done[QUANTITY_COUNT] = {false};
        for (size_t k = 0; k < me->parameter_n; k++) {
                const struct parameter_plan *p = &me->parameters[k];
                double *element = p->quantity == QUANTITY_R   ? &d.r_ohm
                                  : p->quantity == QUANTITY_C ? &d.c_f
                                  : p->quantity == QUANTITY_L ? &d.l_h
                                                              : NULL;
                if (element && !done[p->quantity])
                        *element *= 1 + p->per_k * off_k;
                done[p->quantity] = true;
        }
        return d;
}

/* What holds for the night: receivers, and what is told of the lines. */
static void stated_drawn(struct station *st, struct recipe *r, double told_f_m)
{
        struct draws draws = draws_of((uint64_t)st->scenario.seed, DRAW_NONE, 5, 0, 0, 0);
        for (int p = 0; p < 2; p++)
                st->bent[p] = draw_between(&draws, -1, 1) * r->setup.linearity_db_10db / 10;
        r->calibration.line_capacitance_f_m = told_f_m + r->calibration.line_capacitance_u_f_m * draw_normal_within(&draws, 3.5);
}

/* Everything new, one die, one touch of each device. */
static void touch_one_die(struct station *st, struct tallies *all)
{
        const struct recipe *r = st->recipe;
        const char *only = getenv("ONLY");
        struct tp_error err = {0};
        struct arena *arena = arena_new(0);
        const struct sweep_plan *plan = &r->sweeps[0];
        need(sweep_axis(plan, arena, &st->hz, &st->n, &err), &err, "axis");
        st->ifbw = arena_take(arena, st->n * sizeof(double));
        for (size_t i = 0; i < st->n; i++)
                st->ifbw[i] = ifbw_at(plan, st->hz[i]);
        need(wafer_make(&st->scenario, &r->layout, arena, &st->wafer, &err), &err, "wafer");
        st->system = system_new(&st->scenario, st->hz, st->n);
        struct calibration *cal;
        calibrate(st, arena, &cal);
        struct draws drift = draws_of((uint64_t)st->scenario.seed, DRAW_NONE, 1, 0, 0, 0);
        struct drift_seen seen;
        bool checks = getenv("CHECKS") != NULL, passed = !checks || drift_checked(st, cal, &drift, &seen, arena);
        for (int p = 0; p < 2 && !checks; p++) {
                st->moved[p].delay_fs = draw_between(&drift, -1, 1) * r->check.limits.delay_fs;
                st->moved[p].loss_db = draw_between(&drift, -1, 1) * r->check.limits.loss_db * sqrt(220e9 / st->hz[st->n - 1]);
        }
        size_t die = (size_t)st->scenario.seed * 7 % st->wafer.die_n, k0 = die * r->layout.device_n, open_n = 0;
        struct raw_sweep opens[OTHER_OPENS], open = {0}, short_ = {0};
        for (; open_n < OTHER_OPENS; open_n++) {
                int open_device = layout_device(&r->layout, "OPEN");
                size_t other = (die + 1 + open_n * 5) % st->wafer.die_n;
                struct seen v = device_seen(st, (int)(other * r->layout.device_n) + open_device, &(struct sim_bias){.volt = {0, 0}});
                opens[open_n] = sweep(st, &v, arena);
        }
        for (size_t m = 0; m < r->measure_n && passed; m++) {
                const struct measure *me = &r->measures[m];
                int device = layout_device(&r->layout, me->device);
                int32_t kind = r->layout.devices[device].kind;
                if (only && kind != DEVICE_OPEN && kind != DEVICE_SHORT && strcmp(only, me->device))
                        continue;
                struct seen v = device_seen(st, (int)k0 + device, &(struct sim_bias[]){at_condition(&st->scenario, me, 0).bias}[0]);
                struct sim_device as_warm = warm(st, me, v.device);
                v.device = &as_warm;
                struct raw_sweep raw = sweep(st, &v, arena);
                if (kind == DEVICE_OPEN)
                        open = raw;
                if (kind == DEVICE_SHORT)
                        short_ = raw;
                struct chain_question q = {.recipe = r,
                                           .measure = me,
                                           .calibration = cal,
                                           .raw = &raw,
                                           .dummies = {[RF_DUMMY_OPEN] = &open, [RF_DUMMY_SHORT] = &short_},
                                           .open_n = open_n,
                                           .drift = checks ? &seen : NULL};
                for (size_t o = 0; o < open_n; o++)
                        q.opens[o] = &opens[o];
                struct raw_sweep states[CONDITIONS_MAX];
                const struct raw_sweep *state_at[CONDITIONS_MAX] = {&raw};
                for (size_t c = 1; c < me->condition_n && c < CONDITIONS_MAX && me->has_extrinsic; c++) {
                        v.bias = at_condition(&st->scenario, me, c).bias;
                        states[c] = sweep(st, &v, arena);
                        state_at[c] = &states[c];
                }
                q.states = state_at;
                q.state_n = CONDITIONS_MAX;
                struct parameter_answer *answers;
                size_t answer_n;
                uint32_t flags;
                clock_t begin = clock();
                need(chain_run(&q, arena, &answers, &answer_n, &flags, &err), &err, me->device);
                all->seconds += (double)(clock() - begin) / CLOCKS_PER_SEC;
                all->sweeps++;
                for (size_t p = 0; p < answer_n; p++)
                        count(all, st, me, &st->wafer.devices[k0 + (size_t)device], &answers[p], &me->parameters[p]);
        }
        system_free(st->system);
        arena_free(arena);
}

/* Another method with standards of its own, or several, each METHOD:FROM_HZ:TO_HZ, as bands of a joined calibration. */
static void method_set(struct recipe *r, char **words, int n, struct arena *arena)
{
        struct calibration_plan *c = &r->calibration;
        struct band_plan *band = NULL;
        c->standards = arena_take(arena, (size_t)n * sizeof *c->standards);
        c->standard_n = c->band_n = 0;
        c->bands = arena_take(arena, (size_t)n * sizeof *c->bands);
        c->method[0] = 0;
        for (int k = 0; k < n; k++) {
                double from_hz, to_hz;
                char method[32];
                if (sscanf(words[k], "%31[a-z_]:%lf:%lf", method, &from_hz, &to_hz) == 3) {
                        band = &c->bands[c->band_n++];
                        *band = (struct band_plan){
                                .from_hz = from_hz, .to_hz = to_hz, .standards = arena_take(arena, (size_t)n * sizeof(struct use))};
                        memcpy(band->method, method, sizeof method);
                        continue;
                }
                if (k == 0) {
                        snprintf(c->method, sizeof c->method, "%s", words[0]);
                        continue;
                }
                struct use use = {0};
                snprintf(use.standard, sizeof use.standard, "%s", words[k]);
                if (!recipe_standard(r, use.standard)) {
                        fprintf(stderr, "the recipe has no standard %s\n", words[k]);
                        exit(2);
                }
                size_t seen = 0;
                while (seen < c->standard_n && strcmp(c->standards[seen].standard, use.standard))
                        seen++;
                if (seen == c->standard_n)
                        c->standards[c->standard_n++] = use;
                if (band)
                        band->standards[band->standard_n++] = use;
        }
}

static size_t report(const struct tallies *all, char **words, int word_n, size_t touches, int first)
{
        const bool weak = getenv("WEAK") != NULL;
        size_t failed = 0, told = 0;
        printf("%-6s %-10s %5s %7s %13s %6s %6s %6s %7s %3s %8s  %s\n", "device", "parameter", "n", "within", "limits", "s(e/u)", "m(e/u)",
               "worst", "refused", ">3", "u95 %", "budget in % (last)");
        for (size_t k = 0; k < all->n; k++) {
                const struct tally *t = &all->of[k];
                double n = (double)t->n, share = (double)t->within / n, low = NAN, high = NAN;
                if (t->n)
                        binomial_limits(t->n, 0.01 / 2 / (double)all->n, &low, &high);
                bool good = share >= low && share <= high && t->far * 500 <= t->n && t->refused * 20 <= touches;
                if (weak) /* what cannot be told is refused, and nothing that is told is wrong */
                        good = !t->far && (!t->n || share >= low);
                told += t->refused * 20 <= touches;
                failed += !good;
                printf("%-6s %-10s %5zu %7.3f %6.3f-%.3f %6.2f %6.2f %6.2f %7zu %3zu %8.3g  %s%s%s\n", t->device, t->name, t->n, share, low,
                       high, sqrt(t->squares / n), t->sum / n, t->worst, t->refused, t->far, 100 * t->u95_share / n, t->budget,
                       t->refused ? t->reason : "", good ? "" : "   FAILED");
        }
        printf("%zu sweeps evaluated at %.2f ms; repeat: coverage %s %s %zu %d", all->sweeps, 1e3 * all->seconds / (double)all->sweeps,
               words[0], words[1], touches, first);
        for (int k = 4; k < word_n; k++)
                printf(" %s", words[k]);
        putchar('\n');
        failed += weak && !told; /* refusing everything is no answer */
        printf("%zu passed, %zu failed, 0 skipped\n", all->n - failed, failed);
        return failed + (all->n == 0);
}

int main(int argc, char **argv)
{
        size_t n, touches = argc > 3 ? (size_t)atoi(argv[3]) : 1000;
        int first = argc > 4 ? atoi(argv[4]) : 1;
        struct tp_error err = {0};
        if (argc < 3) {
                fprintf(stderr, "coverage RECIPE.json SCENARIO.json [touches, 1000] [first seed, 1]\n");
                return 2;
        }
        struct arena *arena = arena_new(0);
        struct recipe *recipe;
        char *text = file_read(argv[1], &n), *scenario_text = NULL;
        need(recipe_read(text, n, arena, &recipe, &err), &err, argv[1]);
        if (argc > 5)
                method_set(recipe, argv + 5, argc - 5, arena);
        scenario_text = file_read(argv[2], &n);
        static struct tallies all;
        const double told_f_m = recipe->calibration.line_capacitance_f_m;
        for (size_t k = 0; k < touches; k++) {
                struct arena *own = arena_new(0);
                struct station st = {.recipe = recipe};
                need(fields_read_text(&scenario_object, scenario_text, n, own, &st.scenario, &err), &err, argv[2]);
                st.scenario.seed = first + (int64_t)k;
                if (getenv("LEAK_DB"))
                        st.scenario.analyzer.leak_db = atof(getenv("LEAK_DB"));
                lead_drawn(&st.scenario);
                stated_drawn(&st, recipe, told_f_m);
                touch_one_die(&st, &all);
                arena_free(own);
        }
        size_t failed = report(&all, argv + 1, argc - 1, touches, first);
        arena_free(arena);
        free(text);
        free(scenario_text);
        return failed > 0;
}
