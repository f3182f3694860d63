/* bench_wafer.c: every device sweep of a stored wafer corrected, de-embedded, extracted and judged anew, on one core, from the run file on.
 * Path        the daemon's own: the run file is taken in by a store, sweeps are read through views (digests proved), raw bytes become
 * columns, chain_run answers.  The grouping is that of the runner: a die's devices with the dummies of the die and up to eight opens of
 *             other dies.
 * Control     the same reads without the chain, in the same rounds.  And the answers: each value must be the one that the night stored.
 * usage       bench_wafer RUN_FILE        prints one JSON object */
#include <ftw.h>
#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>
#include "host/host.h"
#include "run/job.h"

enum { ROUNDS = 5, OPENS = 8 };

struct wafer {
        struct world *world;
        struct store *store;
        struct arena *lasting, *die;
        char dir[64], run[27];
        struct recipe *recipe;
        double *hz;
        size_t hz_n;
        struct calibration *calibration;
        struct sweep_row *sweeps;
        size_t sweep_n;
        struct parameter_row *stored;
        size_t stored_n, answers, different, without;
};

static _Noreturn void give_up(const char *what, const char *why)
{
        fprintf(stderr, "bench_wafer: %s: %s\n", what, why);
        exit(1);
}
static void need(enum code code, const struct tp_error *err, const char *what)
{
        if (code)
                give_up(what, err->text);
}
static int remove_one(const char *path, const struct stat *st, int type, struct FTW *ftw)
{
        (void)st, (void)type, (void)ftw;
        return remove(path);
}
static double seconds(void) /* of this thread on the processor */
{
        struct timespec t;
        clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
        return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* A data folder with this one run in it, so that the store takes it in by itself. */
static void take_in(struct wafer *w, const char *file)
{
        struct tp_error err = {0};
        struct store_report report;
        char path[200];
        sqlite3 *db = NULL;
        sqlite3_stmt *q = NULL;
        if (sqlite3_open_v2(file, &db, SQLITE_OPEN_READONLY, NULL) || sqlite3_prepare_v2(db, "SELECT id FROM run", -1, &q, NULL) ||
            sqlite3_step(q) != SQLITE_ROW)
                give_up(file, db ? sqlite3_errmsg(db) : "no memory");
        snprintf(w->run, sizeof w->run, "%s", (const char *)sqlite3_column_text(q, 0));
        sqlite3_finalize(q);
        sqlite3_close(db);
        snprintf(w->dir, sizeof w->dir, "/tmp/tipplane-bench-XXXXXX");
        if (!mkdtemp(w->dir))
                give_up(w->dir, "cannot be made");
        snprintf(path, sizeof path, "%s/runs/2026/01", w->dir);
        for (char *slash = path + strlen(w->dir) + 1; slash; slash = strchr(slash + 1, '/')) {
                *slash = *slash == '/' ? 0 : *slash;
                mkdir(path, 0700);
                if (!*slash)
                        *slash = '/';
        }
        mkdir(path, 0700);
        snprintf(path, sizeof path, "%s/runs/2026/01/%s.run", w->dir, w->run);
        FILE *from = fopen(file, "rb"), *to = fopen(path, "wb");
        static char block[1 << 16];
        for (size_t n; from && to && (n = fread(block, 1, sizeof block, from)) > 0;)
                if (fwrite(block, 1, n, to) != n)
                        give_up(path, "cannot be written");
        if (!from || !to || fclose(from) || fclose(to))
                give_up(path, "cannot be copied");
        w->store = store_open(w->world, w->dir, NULL, "bench", &report, &err);
        if (!w->store)
                give_up("store", err.text);
}

static void load(struct wafer *w)
{
        struct tp_error err = {0};
        struct calibration_row *cals = NULL;
        const char *plan = NULL, *body = NULL;
        size_t body_n = 0, cal_n = 0;
        struct view *v = view_open(w->store, w->run, INT64_MAX, &err);
        if (!v)
                give_up(w->run, err.text);
        need(view_plan(v, w->lasting, &plan, &body, &body_n, &err), &err, "plan");
        need(recipe_read(body, body_n, w->lasting, &w->recipe, &err), &err, "recipe");
        need(view_calibrations(v, w->lasting, &cals, &cal_n, &err), &err, "calibrations");
        for (size_t i = 0; i < cal_n; i++)
                if (strcmp(cals[i].state, "accepted") == 0) {
                        if (w->calibration)
                                give_up(w->run, "has several accepted calibrations; give a quiet night");
                        need(calibration_read(cals[i].terms, cals[i].term_bytes, w->lasting, &w->calibration, &err), &err, "calibration");
                        need(view_axis(v, cals[i].axis, w->lasting, &w->hz, &w->hz_n, &err), &err, "axis");
                }
        if (!w->calibration)
                give_up(w->run, "no calibration was accepted in it");
        need(view_sweeps(v, "device", w->lasting, &w->sweeps, &w->sweep_n, &err), &err, "sweeps");
        need(view_parameters(v, NULL, NULL, 0, w->lasting, &w->stored, &w->stored_n, &err), &err, "parameters");
        view_close(v);
}

static bool usable(const struct sweep_row *s) { return strcmp(s->outcome, "good") == 0 || strcmp(s->outcome, "doubtful") == 0; }
static const struct measure *measure_of(const struct wafer *w, const char *device)
{
        for (size_t i = 0; i < w->recipe->measure_n; i++)
                if (strcmp(w->recipe->measures[i].device, device) == 0)
                        return &w->recipe->measures[i];
        return NULL;
}
static bool same_die(const struct sweep_row *a, const struct sweep_row *b) { return a->die_x == b->die_x && a->die_y == b->die_y; }
static const struct sweep_row *of_die(const struct wafer *w, const struct sweep_row *die, const char *device)
{
        const struct sweep_row *found = NULL; /* the last touch speaks */
        for (size_t i = 0; i < w->sweep_n; i++)
                if (same_die(&w->sweeps[i], die) && strcmp(w->sweeps[i].device, device) == 0 && strcmp(w->sweeps[i].outcome, "good") == 0)
                        found = &w->sweeps[i];
        return found;
}

static void compare(struct wafer *w, const struct sweep_row *s, const struct parameter_answer *a)
{
        w->answers++;
        for (size_t i = 0; i < w->stored_n; i++) {
                const struct parameter_row *p = &w->stored[i];
                if (p->sweep != s->id || strcmp(p->quantity, a->plan->name) != 0)
                        continue;
                if (p->has_value != a->has_value || (a->has_value && !(fabs(a->value - p->value) <= 1e-12 * fabs(p->value))))
                        w->different++;
                return;
        }
        w->without++;
}

static void die_run(struct wafer *w, struct view *v, size_t first, bool chain, bool check)
{
        struct tp_error err = {0};
        struct raw_sweep open, short_, opens[OPENS];
        struct chain_question ask = {.recipe = w->recipe, .calibration = w->calibration};
        arena_reset(w->die);
        for (size_t i = first; i < w->sweep_n && same_die(&w->sweeps[i], &w->sweeps[first]); i++) {
                const struct measure *m = measure_of(w, w->sweeps[i].device);
                struct raw_sweep raw;
                if (!m || !m->parameter_n || !usable(&w->sweeps[i]))
                        continue;
                if (!ask.dummies[RF_DUMMY_OPEN] && m->open[0]) { /* the dummies of the die, once */
                        const struct sweep_row *o = of_die(w, &w->sweeps[first], m->open), *s = of_die(w, &w->sweeps[first], m->short_);
                        if (!o || !s)
                                give_up("a die", "has no good dummies; give a quiet night");
                        need(sweep_load(v, o->id, w->hz, w->hz_n, w->die, &open, &err), &err, "open");
                        need(sweep_load(v, s->id, w->hz, w->hz_n, w->die, &short_, &err), &err, "short");
                        ask.dummies[RF_DUMMY_OPEN] = &open;
                        ask.dummies[RF_DUMMY_SHORT] = &short_;
                        for (size_t k = w->sweep_n; k-- > 0 && ask.open_n < OPENS;)
                                if (strcmp(w->sweeps[k].device, m->open) == 0 && !same_die(&w->sweeps[k], &w->sweeps[first])) {
                                        need(sweep_load(v, w->sweeps[k].id, w->hz, w->hz_n, w->die, &opens[ask.open_n], &err), &err,
                                             "opens");
                                        ask.opens[ask.open_n] = &opens[ask.open_n];
                                        ask.open_n++;
                                }
                }
                need(sweep_load(v, w->sweeps[i].id, w->hz, w->hz_n, w->die, &raw, &err), &err, "sweep");
                if (!chain)
                        continue;
                struct parameter_answer *answers;
                size_t n;
                uint32_t flags;
                ask.measure = m;
                ask.raw = &raw;
                need(chain_run(&ask, w->die, &answers, &n, &flags, &err), &err, m->device);
                for (size_t k = 0; check && k < n; k++)
                        compare(w, &w->sweeps[i], &answers[k]);
        }
}

static int by_die(const void *a, const void *b)
{
        const struct sweep_row *x = a, *y = b;
        if (x->die_y != y->die_y)
                return (x->die_y > y->die_y) - (x->die_y < y->die_y);
        if (x->die_x != y->die_x)
                return (x->die_x > y->die_x) - (x->die_x < y->die_x);
        return (x->id > y->id) - (x->id < y->id);
}
static int by_value(const void *a, const void *b)
{
        return (*(const double *)a > *(const double *)b) - (*(const double *)a < *(const double *)b);
}

static double wafer_run(struct wafer *w, bool chain, bool check)
{
        struct tp_error err = {0};
        struct view *v = view_open(w->store, w->run, INT64_MAX, &err);
        if (!v)
                give_up(w->run, err.text);
        double t0 = seconds();
        for (size_t i = 0; i < w->sweep_n; i++)
                if (i == 0 || !same_die(&w->sweeps[i], &w->sweeps[i - 1]))
                        die_run(w, v, i, chain, check);
        double t = seconds() - t0;
        view_close(v);
        return t;
}

int main(int argc, char **argv)
{
        struct tp_error err = {0};
        struct wafer w = {.lasting = arena_new(0), .die = arena_new(0), .world = host_world_new(&err)};
        double whole[ROUNDS], reads[ROUNDS];
        if (argc != 2 || !w.world || !w.lasting || !w.die)
                give_up("usage", "bench_wafer RUN_FILE");
        take_in(&w, argv[1]);
        load(&w);
        qsort(w.sweeps, w.sweep_n, sizeof *w.sweeps, by_die);
        wafer_run(&w, true, true); /* warms up, and proves that the work is done */
        for (int r = 0; r < ROUNDS; r++) {
                whole[r] = wafer_run(&w, true, false);
                reads[r] = wafer_run(&w, false, false);
        }
        qsort(whole, ROUNDS, sizeof *whole, by_value);
        qsort(reads, ROUNDS, sizeof *reads, by_value);
        printf("{\"sweeps\": %zu, \"points\": %zu, \"answers\": %zu, \"different\": %zu, \"without\": %zu, \"whole_s\": %.4f, "
               "\"whole_spread_s\": %.4f, \"reads_s\": %.4f, \"reads_spread_s\": %.4f}\n",
               w.sweep_n, w.hz_n, w.answers, w.different, w.without, whole[ROUNDS / 2], (whole[ROUNDS - 1] - whole[0]) / 2,
               reads[ROUNDS / 2], (reads[ROUNDS - 1] - reads[0]) / 2);
        store_close(w.store);
        arena_free(w.die);
        arena_free(w.lasting);
        host_world_free(w.world);
        nftw(w.dir, remove_one, 16, FTW_DEPTH | FTW_PHYS);
        if (w.different || w.without || !w.answers)
                give_up(argv[1], "the values are not those that the night stored");
        return 0;
}
