/* bench_night.c: one whole demo night of two processes, station and daemon, and how long the instruments waited for the daemon in it.
 * Waited      from each result's arrival at the daemon to the next step's leaving it, by the clock on the wall: judging of contact, the
 *             solution of the calibration, both commits and the loop are inside.  The night is the station's own time: what stage, analyzer
 *             and settling take.  The simulator steps its clock, so both add up: share = waited / (station + waited).
 * usage       bench_night STATION_PROGRAM STATION_CONFIG RECIPE [KEEP_RUN_FILE]
 * Prints one JSON object.  Not here: the HTTP door, which no step passes through. */
#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include "base/hash.h"
#include "host/child.h"
#include "host/host.h"
#include "run/house.h"
#include "store/view.h"

#define NIGHT_LIMIT_S 600

struct night {
        struct world *world;
        struct log log;
        struct house *house;
        struct child *station;
        char dir[200], run[27];
        int start_code; /* -1: no answer yet */
        char start_why[300];
};

static int remove_one(const char *path, const struct stat *st, int type, struct FTW *ftw)
{
        (void)st, (void)type, (void)ftw;
        return remove(path);
}
static _Noreturn void give_up(struct night *n, const char *what, const char *why)
{
        struct tp_error err;
        fprintf(stderr, "bench_night: %s: %s\n", what, why);
        if (n->station) /* it makes itself safe and ends */
                child_signal(n->station, 15, &err);
        exit(1);
}
static void errors_only(void *ctx, enum log_level level, const char *line)
{
        (void)ctx;
        if (level >= LOG_ERROR)
                fprintf(stderr, "%s\n", line);
}
static void pause_ms(const struct world *w, int ms) { w->task->sleep_until(w, world_boot_ns(w) + ms * NS_PER_MS); }

static void on_start(void *ctx, enum code code, const char *json, const struct tp_error *err)
{
        struct night *n = ctx;
        (void)json;
        snprintf(n->start_why, sizeof n->start_why, "%.299s", err ? err->text : "");
        __atomic_store_n(&n->start_code, (int)code, __ATOMIC_RELEASE);
}

static void begin(struct night *n, const char *program, const char *config)
{
        struct tp_error err = {0};
        char socket[240], world[240], log[240], out[240], address[260];
        snprintf(socket, sizeof socket, "%s/station.sock", n->dir);
        snprintf(world, sizeof world, "%s/world", n->dir);
        snprintf(log, sizeof log, "%s/station.log", n->dir);
        snprintf(out, sizeof out, "%s/station.out", n->dir);
        snprintf(address, sizeof address, "unix:%s", socket);
        const char *const argv[] = {program, "--config", config, "--socket", socket, "--world", world, "--log", log, NULL};
        if (child_start(&(struct child_plan){.argv = argv, .output = out}, &n->station, &err))
                give_up(n, program, err.text);
        for (int i = 0; access(socket, F_OK); i++) {
                if (i == 200)
                        give_up(n, program, "no socket after 10 s");
                pause_ms(n->world, 50);
        }
        struct house_setup setup = {n->dir, address, "bench", "bench", &n->log};
        n->house = house_start(n->world, &setup, &err);
        if (!n->house)
                give_up(n, "the daemon does not start", err.text);
}

static void start_run(struct night *n, const char *recipe, size_t recipe_n)
{
        struct work *work = work_new(NULL);
        struct fact *f = work ? work_add(work, FACT_DOCUMENT) : NULL;
        struct command *c = calloc(1, sizeof *c);
        if (!f || !c)
                give_up(n, "start", "no memory");
        sha256_of(recipe, recipe_n, f->of.document.sha256);
        memcpy(c->recipe, f->of.document.sha256, 32);
        f->of.document.kind = "recipe";
        f->of.document.name = f->of.document.by = "bench";
        f->of.document.body = work_text(work, "%s", recipe);
        if (!store_submit(house_store(n->house), work, DURABLE))
                give_up(n, "start", "the store's queue is full");
        pause_ms(n->world, 500);
        c->what = COMMAND_START;
        snprintf(c->wafer, sizeof c->wafer, "BENCH-1");
        snprintf(c->person, sizeof c->person, "bench");
        c->done = on_start;
        c->ctx = n;
        n->start_code = -1;
        if (!command_post(n->world, house_inbox(n->house), c))
                give_up(n, "start", "the loop takes no command");
        for (int i = 0; __atomic_load_n(&n->start_code, __ATOMIC_ACQUIRE) < 0; i++) {
                if (i == 600)
                        give_up(n, "start", "no answer after 30 s");
                pause_ms(n->world, 50);
        }
        if (n->start_code)
                give_up(n, "start", n->start_why);
}

/* Until the run is sealed; the numbers are those of the last look at it. */
static void follow(struct night *n, double *ret_station_s, double *ret_waited_s, uint64_t *ret_steps, uint64_t *ret_sweeps)
{
        for (int i = 0; i < NIGHT_LIMIT_S * 10; i++) {
                struct snapshot *s = snapshot_get(house_slot(n->house));
                bool hand = s->in_hand, known = s->run[0] != 0;
                if (hand) {
                        *ret_station_s = s->night_seconds;
                        *ret_waited_s = s->waited_seconds;
                        *ret_steps = s->steps;
                        *ret_sweeps = s->sweeps;
                        snprintf(n->run, sizeof n->run, "%s", s->run);
                }
                if (strstr(s->run_json, "\"state\":\"stuck\""))
                        give_up(n, "the run is stuck", s->run_json);
                snapshot_put(s);
                if (known && !hand && n->run[0])
                        return;
                pause_ms(n->world, 100);
        }
        give_up(n, "the night", "did not end within ten minutes");
}

static void keep_run(struct night *n, const char *to)
{
        struct tp_error err = {0};
        remove(to);
        if (store_copy_run(house_store(n->house), n->run, to, &err))
                give_up(n, to, err.text);
}

int main(int argc, char **argv)
{
        struct tp_error err = {0};
        struct night n = {.log = {errors_only, NULL, LOG_ERROR}};
        struct text recipe;
        double station_s = 0, waited_s = 0;
        uint64_t steps = 0, sweeps = 0;
        if (argc < 4)
                give_up(&n, "usage", "bench_night STATION_PROGRAM STATION_CONFIG RECIPE [KEEP_RUN_FILE]");
        n.world = host_world_new(&err);
        snprintf(n.dir, sizeof n.dir, "/tmp/tipplane-bench-XXXXXX");
        if (!n.world || !mkdtemp(n.dir))
                give_up(&n, "world", err.text);
        text_init(&recipe, 0);
        if (n.world->file->read(n.world, argv[3], 4 << 20, &recipe, &err))
                give_up(&n, argv[3], err.text);
        begin(&n, argv[1], argv[2]);
        int64_t t0 = world_boot_ns(n.world);
        start_run(&n, text_of(&recipe), recipe.n);
        follow(&n, &station_s, &waited_s, &steps, &sweeps);
        double real_s = (double)(world_boot_ns(n.world) - t0) * 1e-9;
        if (argc > 4)
                keep_run(&n, argv[4]);
        house_close(n.house);
        struct child_end end;
        child_signal(n.station, 15, &err);
        child_wait(n.world, n.station, world_boot_ns(n.world) + 20 * NS_PER_S, &end, &err);
        child_free(n.station);
        printf("{\"station_s\": %.3f, \"waited_s\": %.4f, \"share\": %.6f, \"steps\": %llu, \"sweeps\": %llu, \"waited_ms_per_step\": "
               "%.4f, \"real_s\": %.2f}\n",
               station_s, waited_s, waited_s / (station_s + waited_s), (unsigned long long)steps, (unsigned long long)sweeps,
               1e3 * waited_s / (double)(steps ? steps : 1), real_s);
        text_done(&recipe);
        host_world_free(n.world);
        nftw(n.dir, remove_one, 16, FTW_DEPTH | FTW_PHYS);
        return 0;
}
