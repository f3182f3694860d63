/* coverage.c: is the stated uncertainty honest?  Runs the measurement of a recipe on the simulated physics, in one process and without a
   daemon: calibrate on the substrate, verify, touch every device of some dies, evaluate, compare with the truth.  Prints for each parameter
   the share within u95, the spread of error/u, the worst error in u95 and the mean budget. coverage RECIPE.json SCENARIO.json [seeds]
   [dies] [first seed] Exit 1: a parameter's share over all seeds is outside 0.90 … 0.995 (with at least 300 values), all together outside
   0.93 … 0.98, or an error beyond 3 u95. */
#include "evaluate/evaluate.h"
#include "simulators/analyzer.h"
#include "simulators/standard.h"
#include "simulators/touch.h"
#include "simulators/true_values.h"
#include "simulators/wafer.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define TWO_PI 6.283185307179586476925286766559
#define PARAMETERS_MAX 64

struct station {
        struct scenario scenario;
        const struct recipe *recipe;
        struct sim_wafer wafer;
        struct sim_system *system;
        double *hz, *ifbw;
        size_t n;
        double now_s;
        int64_t sweeps;
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
        double raised_f[2], volt;
        struct sim_touch touch;
};

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
        struct draws r = draws_of((uint64_t)s->seed, DRAW_NOISE, st->sweeps++, 0, 0, 0);
        for (size_t i = 0; i < st->n; i++) {
                double hz = st->hz[i], per_um = TWO_PI * hz * s->contact.delay_fs_um * 1e-15;
                struct y2 p;
                if (v->air) {
                        p = y2_to_s(touch_air(s, v->raised_f[0], v->raised_f[1], hz), 50);
                } else {
                        struct y2 y = v->standard ? copy_y(&v->copy, hz) : pads_around(&v->pads, device_y(v->device, hz, v->volt), hz);
                        p = y2_to_s(touch_around(s, &v->touch, 30, 2, y, hz), 50);
                        double complex m1 = cexp(-CMPLX(0, 1) * per_um * v->touch.shift_um[0]), m2 = cexp(-CMPLX(0, 1) * per_um * v->touch.shift_um[1]);
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

static struct seen standard_seen(const struct station *st, const char *name, int touch)
{
        const struct scenario *s = &st->scenario;
        for (size_t k = 0; k < s->standard_n; k++)
                if (!strcmp(s->standards[k].name, name)) {
                        struct seen v = {.standard = true, .copy = copy_of(s, k, 0), .touch = touch_of(s, draw_key(name), touch)};
                        v.air = v.copy.raised;
                        v.raised_f[0] = v.copy.c_f[0];
                        v.raised_f[1] = v.copy.c_f[1];
                        return v;
                }
        fprintf(stderr, "the scenario has no standard %s\n", name);
        exit(2);
}

static struct seen device_seen(const struct station *st, int at, double volt)
{
        char key[64];
        const struct sim_device *d = &st->wafer.devices[at];
        snprintf(key, sizeof key, "%d,%d %s", (int)d->die_x, (int)d->die_y, d->name);
        return (struct seen){
                .device = d, .pads = wafer_pads(&st->wafer, at), .touch = touch_of(&st->scenario, draw_key(key), 1), .volt = volt};
}

struct tally {
        const char *device, *name;
        size_t n, within, far, refused, missing;
        double squares, sum, worst;
        char budget[200], reason[120];
        double value, u95, truth;
};

static void calibrate(struct station *st, struct arena *arena, struct calibration **cal, double *ret_verify)
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
        for (n = 0; n < r->calibration.verify_n; n++) {
                struct seen v = standard_seen(st, r->calibration.verify[n].standard, 1);
                raws[n] = sweep(st, &v, arena);
                of[n] = (struct standard_sweep){(int)(recipe_standard(r, r->calibration.verify[n].standard) - r->standards), &raws[n]};
        }
        bool accepted;
        char sentence[200];
        need(calibration_verify(r, *cal, of, n, arena, &accepted, ret_verify, sentence, &err), &err, "verify");
        if (getenv("SHOW") || !accepted)
                printf("seed %lld verification %s: %s\n", (long long)st->scenario.seed, accepted ? "accepted" : "refused", sentence);
}

int main(int argc, char **argv)
{
        size_t n, seeds = argc > 3 ? (size_t)atoi(argv[3]) : 5, dies_most = argc > 4 ? (size_t)atoi(argv[4]) : 20;
        struct tp_error err = {0};
        struct arena *long_lived = arena_new(0);
        struct recipe *recipe;
        if (argc < 3) {
                fprintf(stderr, "coverage RECIPE.json SCENARIO.json [seeds] [dies] [first seed]\n");
                return 2;
        }
        char *text = file_read(argv[1], &n);
        need(recipe_read(text, n, long_lived, &recipe, &err), &err, argv[1]);
        char *scenario_text = file_read(argv[2], &n);
        size_t scenario_bytes = n;
        struct tally tally[PARAMETERS_MAX] = {{NULL}};
        size_t tallies = 0;
        double seconds = 0;
        size_t sweeps = 0;
        for (size_t seed = 0; seed < seeds; seed++) {
                struct arena *arena = arena_new(0);
                struct station st = {.recipe = recipe};
                need(fields_read_text(&scenario_object, scenario_text, scenario_bytes, arena, &st.scenario, &err), &err, argv[2]);
                st.scenario.seed = (argc > 5 ? atoi(argv[5]) : 1) + (int64_t)seed;
                const struct sweep_plan *plan = &recipe->sweeps[0];
                need(sweep_axis(plan, arena, &st.hz, &st.n, &err), &err, "axis");
                st.ifbw = arena_take(arena, st.n * sizeof(double));
                for (size_t i = 0; i < st.n; i++)
                        st.ifbw[i] = ifbw_at(plan, st.hz[i]);
                need(wafer_make(&st.scenario, &recipe->layout, arena, &st.wafer, &err), &err, "wafer");
                st.system = system_new(&st.scenario, st.hz, st.n);
                struct calibration *cal;
                double verify;
                calibrate(&st, arena, &cal, &verify);
                struct raw_sweep *opens[8];
                size_t open_n = 0;
                for (size_t die = 0; die < st.wafer.die_n && die < dies_most; die++) {
                        struct arena *of_die = arena_new(0), *keep = open_n < 8 ? arena : of_die;
                        size_t at = (die * 7) % st.wafer.die_n;
                        struct raw_sweep *raws = arena_take(of_die, recipe->measure_n * sizeof *raws), *open = NULL, *short_ = NULL;
                        for (size_t m = 0; m < recipe->measure_n; m++) {
                                const struct measure *me = &recipe->measures[m];
                                int device = layout_device(&recipe->layout, me->device), k = (int)(at * recipe->layout.device_n) + device;
                                struct seen v = device_seen(&st, k, me->conditions[0].volt);
                                raws[m] = sweep(&st, &v, keep);
                                if (recipe->layout.devices[device].kind == DEVICE_OPEN)
                                        open = &raws[m];
                                if (recipe->layout.devices[device].kind == DEVICE_SHORT)
                                        short_ = &raws[m];
                        }
                        for (size_t m = 0; m < recipe->measure_n; m++) {
                                const struct measure *me = &recipe->measures[m];
                                struct chain_question q = {.recipe = recipe,
                                                           .measure = me,
                                                           .calibration = cal,
                                                           .raw = &raws[m],
                                                           .dummies = {[RF_DUMMY_OPEN] = open, [RF_DUMMY_SHORT] = short_},
                                                           .open_n = open_n};
                                for (size_t o = 0; o < open_n; o++)
                                        q.opens[o] = opens[o];
                                struct parameter_answer *answers;
                                size_t answer_n;
                                uint32_t flags;
                                clock_t begin = clock();
                                need(chain_run(&q, of_die, &answers, &answer_n, &flags, &err), &err, me->device);
                                seconds += (double)(clock() - begin) / CLOCKS_PER_SEC;
                                sweeps++;
                                int device = layout_device(&recipe->layout, me->device), k = (int)(at * recipe->layout.device_n) + device;
                                for (size_t p = 0; p < answer_n; p++) {
                                        const struct parameter_plan *pp = &me->parameters[p];
                                        struct tally *t = tally;
                                        while (t->name && (t->name != pp->name || t->device != me->device))
                                                t++;
                                        if (!t->name)
                                                tallies++;
                                        t->name = pp->name;
                                        t->device = me->device;
                                        double want = true_value(&st.wafer.devices[k], (enum true_quantity)pp->quantity, pp->freq_hz,
                                                                 me->conditions[0].volt); /* the same words in the same order */
                                        if (!answers[p].has_value) {
                                                t->refused++;
                                                memcpy(t->reason, answers[p].reason, sizeof t->reason);
                                                continue;
                                        }
                                        double e = (answers[p].value - want) / answers[p].u95;
                                        if (!isfinite(e)) {
                                                t->missing++;
                                                continue;
                                        }
                                        t->n++;
                                        t->within += fabs(e) <= 1;
                                        t->far += fabs(e) > 3;
                                        t->squares += 4 * e * e;
                                        t->sum += 2 * e;
                                        if (getenv("FAR") && fabs(e) > 1.5)
                                                printf("seed %zu die %d,%d %s %s: %.9g truth %.9g error/u95 %.2f %s defect %s\n", seed,
                                                       st.wafer.devices[k].die_x, st.wafer.devices[k].die_y, me->device, pp->name,
                                                       answers[p].value, want, e, answers[p].budget,
                                                       defect_words[st.wafer.devices[k].defect]);
                                        t->worst = fmax(t->worst, fabs(e));
                                        memcpy(t->budget, answers[p].budget, sizeof t->budget);
                                        t->value = answers[p].value;
                                        t->u95 = answers[p].u95;
                                        t->truth = want;
                                }
                        }
                        if (open_n < 8 && open) {
                                opens[open_n] = arena_take(arena, sizeof *opens[0]);
                                *opens[open_n++] = *open;
                        }
                        arena_free(of_die);
                }
                system_free(st.system);
                arena_free(arena);
        }
        size_t all = 0, within = 0, far = 0;
        bool bad = false;
        printf("%-6s %-10s %5s %7s %6s %6s %6s %7s %5s  %12s %10s  %s\n", "device", "parameter", "n", "within", "s(e/u)", "m(e/u)", "worst",
               "refused", ">3", "last value", "u95 %", "budget in %");
        for (size_t k = 0; k < tallies; k++) {
                struct tally *t = &tally[k];
                double share = t->n ? (double)t->within / (double)t->n : NAN;
                printf("%-6s %-10s %5zu %7.3f %6.2f %6.2f %6.2f %7zu %5zu  %12.5g %10.3g  %s%s\n", t->device, t->name, t->n, share,
                       sqrt(t->squares / (double)t->n), t->sum / (double)t->n, t->worst, t->refused, t->far, t->value,
                       100 * t->u95 / fabs(t->value), t->budget, t->n ? "" : t->reason);
                all += t->n;
                within += t->within;
                far += t->far;
                bad = bad || (t->n >= 300 && !(share >= 0.90 && share <= 0.995));
        }
        double share = (double)within / (double)all;
        printf("all: %zu values, %.2f %% within u95, %zu beyond 3 u95; %zu sweeps evaluated at %.2f ms\n", all, 100 * share, far, sweeps,
               1e3 * seconds / (double)sweeps);
        arena_free(long_lived);
        free(text);
        free(scenario_text);
        return bad || far || !(share >= 0.93 && share <= 0.98);
}
