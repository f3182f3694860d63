/* coverage.c: is the stated uncertainty honest, parameter by parameter?
 * Idea        A 95 % interval must hold the truth in 95 of 100 measurements, each with everything new that it claims to cover: error terms,
 *             copies of the standards, contacts, noise, drift, wafer.  So each touch of a device here has a calibration of its own: the
 *             simulated physics (written without rf/) makes raw data, the daemon's own chain (evaluate/) solves, corrects, de-embeds,
 *             extracts and states an interval.
 * Drift       between the calibration and the touch each port has moved by a delay and a loss drawn evenly within what the recipe's check
 *             lets pass: this is all that the daemon knows of a touch in an interval whose checks passed.
 * Stated      what the recipe states and no reading shows is drawn as stated: receivers bent by a power of the level, the chuck's
 *             temperature at each device, overtravel that lets both tips slide, pads that are longer behind the tip, the capacitance told
 *             of the lines.
 * Limits      0.93 to 0.97 of the touches of each parameter, or the binomial interval of 0.95 at the chance of a false alarm of 1 % for all
 *             parameters together (Bonferroni) where that is wider; and an error beyond 3 u95 in no more than 1 of 500: a normal of k = 2
 *             has none.
 * usage       coverage RECIPE.json SCENARIO.json [touches, 1000] [first seed, 1] [METHOD[:FROM_HZ:TO_HZ] STANDARD ...]
 * environment FAR=1.5 names each touch beyond 1.5 u95, SHOW=1 the calibrations, ONLY=DEVICE one device, LEAK_DB=-50 leakage from side to
 *             side at 220 GHz; CHECKS=1 each touch between two checks, measured and fitted as the daemon does, whose modes count instead
 *             of the limits; WEAK=1 a number may be refused, but none may be wrong; OTHERS=0.3 a bipolar of its own for each touch, each of
 *             its elements times e^x, x even within +-0.3. */
#include "tests/judges/coverage.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { OTHER_OPENS = 7, CONDITIONS_MAX = 8 };

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

/* Another bipolar altogether. */
static void bipolars_drawn(struct scenario *s, double by)
{
        struct draws r = draws_of((uint64_t)s->seed, DRAW_NONE, 6, 0, 0, 0);
        for (size_t k = 0; k < s->device_n; k++) {
                struct nominal_device *d = &s->devices[k];
                double *const elements[] = {&d->beta,   &d->tf_s,   &d->tau_s,  &d->c_f, &d->cp_f, &d->csub_f, &d->r_ohm,
                                            &d->ri_ohm, &d->rd_ohm, &d->rs_ohm, &d->l_h, &d->ld_h, &d->ls_h};
                for (size_t e = 0; d->beta > 0 && e < sizeof elements / sizeof *elements; e++)
                        *elements[e] *= exp(draw_between(&r, -by, by));
        }
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
                if (getenv("OTHERS"))
                        bipolars_drawn(&st.scenario, atof(getenv("OTHERS")));
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
