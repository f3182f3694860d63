/* night.c: starts station and daemon in a simulated world, throws at them what the seed says, restarts what died, and looks at what is
 * left. */
#include "tests/nights/night_own.h"
#include "base/hash.h"
#include "run/house.h"
#include "recipe/recipe.h"
#include "run/runner.h"
#include "station/serve.h"
#include "store/view.h"
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LIMIT_NS (INT64_C(40) * 3600 * NS_PER_S) /* a tiny night takes about half an hour; with every fault a few hours */
#define SOCKET "unix:/station.sock"

static void quiet(void *ctx, enum log_level level, const char *line)
{
        struct night *n = ctx;
        if (n->plan->loud || level >= LOG_ERROR)
                fprintf(stderr, "[%11.3f] %s\n", (double)world_boot_ns(n->w) * 1e-9, line);
}

void night_fail(struct night *n, const char *fmt, ...)
{
        va_list ap;
        if (n->end->why[0])
                return; /* the first reason counts */
        va_start(ap, fmt);
        vsnprintf(n->end->why, sizeof n->end->why, fmt, ap);
        va_end(ap);
}

static double share(struct night *n) { return (double)(sim_random(n->sim) >> 11) * 0x1p-53; }

static bool start_station(struct night *n)
{
        struct tp_error err = {0};
        char text[600];
        int len = snprintf(text, sizeof text,
                           "{\"name\":\"night\",\"driver\":\"simulated\",\"config\":{\"scenario\":\"scenario.json\",\"seed\":%llu,\"state_"
                           "file\":\"state.json\",\"truth_file\":\"truth.json\"},"
                           "\"log\":\"/station.log\"}",
                           (unsigned long long)(n->plan->seed & 0x7fffffff));
        n->station_process = sim_process_start(n->sim, "station");
        station_config_done(&n->config);
        if (station_config_read(text, (size_t)len, "/demo/station.json", "/demo", &n->config, &err)) {
                night_fail(n, "station file: %s", err.text);
                return false;
        }
        snprintf(n->config.build, sizeof n->config.build, "night");
        n->config.daemon_uid = -1;
        n->station = station_start(sim_process_world(n->station_process), &n->config, SOCKET, &n->log, &err);
        n->end->starts_station++;
        if (!n->station) {
                sim_kill(n->station_process);
                sim_process_end(n->station_process);
                n->station_process = NULL;
                night_fail(n, "the station does not start: %s", err.text);
        }
        return n->station != NULL;
}

static bool start_daemon(struct night *n)
{
        struct tp_error err = {0};
        n->daemon_process = sim_process_start(n->sim, "daemon");
        struct house_setup setup = {"/data", SOCKET, "night", "night", &n->log};
        n->house = house_start(sim_process_world(n->daemon_process), &setup, &err);
        n->end->starts_daemon++;
        if (!n->house) {
                sim_kill(n->daemon_process);
                sim_process_end(n->daemon_process);
                n->daemon_process = NULL;
                if (err.code != CODE_DISK && err.code != CODE_DISK_FULL) /* a bad disk is tried again later */
                        night_fail(n, "the daemon does not start: %s", err.text);
        }
        return n->house != NULL;
}

static void kill_station(struct night *n)
{
        if (!n->station)
                return;
        sim_kill(n->station_process);
        station_stop(n->station);
        sim_process_end(n->station_process);
        n->station = NULL;
        n->station_process = NULL;
        n->end->kills++;
}

static void kill_daemon(struct night *n)
{
        if (!n->house)
                return;
        sim_kill(n->daemon_process);
        house_abandon(n->house);
        sim_process_end(n->daemon_process);
        n->house = NULL;
        n->daemon_process = NULL;
        n->end->kills++;
}

static void power_cut(struct night *n)
{
        sim_power_cut(n->sim);
        kill_station(n);
        kill_daemon(n);
        n->end->power_cuts++;
}

static void put(struct night *n, const char *path, const char *bytes, size_t size)
{
        struct tp_error err = {0};
        if (n->w->file->write(n->w, path, bytes, size, 0600, &err))
                night_fail(n, "%s: %s", path, err.text);
}

/* The scenario of this night: the text given, with the seed's own instrument and contact faults put in front. */
static void put_scenario(struct night *n)
{
        const struct night_plan *p = n->plan;
        struct text t;
        const char *body = strchr(p->scenario, '{');
        text_init(&t, 0);
        text_put(&t, "{");
        if (p->contacts || p->instruments)
                text_f(&t,
                       "\"fault_rates\":{\"open_contact\":%.4f,\"lost_ground\":%.4f,\"analyzer_timeout\":%.4f,\"stale_sweep\":%.4f,\"nan_"
                       "block\":%.4f,\"stage_timeout\":%.4f,"
                       "\"bias_read_fails\":%.4f},",
                       p->contacts ? 0.06 * share(n) : 0, p->contacts ? 0.06 * share(n) : 0, p->instruments ? 0.05 * share(n) : 0,
                       p->instruments ? 0.05 * share(n) : 0, p->instruments ? 0.05 * share(n) : 0, p->instruments ? 0.03 * share(n) : 0,
                       p->instruments ? 0.03 * share(n) : 0);
        if (p->drift)
                text_f(&t, "\"faults\":[{\"what\":\"drift_step\",\"port\":%d,\"fs\":%.1f,\"db\":0,\"at_count\":%d}],",
                       1 + (int)(sim_random(n->sim) & 1), 40 + 60 * share(n), 14 + (int)(sim_random(n->sim) % 30));
        text_put(&t, body ? body + 1 : "}");
        put(n, "/demo/scenario.json", text_of(&t), t.n);
        text_done(&t);
}

static void on_started(void *ctx, enum code code, const char *json, const struct tp_error *err)
{
        struct night *n = ctx;
        (void)json;
        n->answered = true;
        n->start_code = code;
        snprintf(n->start_why, sizeof n->start_why, "%.199s", err ? err->text : "");
        n->started = code == CODE_OK;
}

static void ask_start(struct night *n)
{
        struct command *c = calloc(1, sizeof *c);
        struct work *work = work_new(NULL);
        struct fact *f = work ? work_add(work, FACT_DOCUMENT) : NULL;
        if (!c || !f)
                abort();
        sha256_of(n->plan->recipe, n->plan->recipe_n, f->of.document.sha256);
        memcpy(c->recipe, f->of.document.sha256, 32);
        f->of.document.kind = "recipe";
        f->of.document.name = "tiny";
        f->of.document.body = work_text(work, "%s", n->plan->recipe);
        f->of.document.by = "night";
        n->answered = false;
        if (!store_submit(house_store(n->house), work, DURABLE))
                work_free(work);
        n->w->task->sleep_until(n->w, world_boot_ns(n->w) + 300 * NS_PER_MS);
        c->what = COMMAND_START;
        snprintf(c->wafer, sizeof c->wafer, "W%llu", (unsigned long long)n->plan->seed);
        snprintf(c->person, sizeof c->person, "night");
        c->done = on_started;
        c->ctx = n;
        if (!n->house || !command_post(sim_process_world(n->daemon_process), house_inbox(n->house), c))
                free(c);
}

static void command(struct night *n, enum command_kind what, int x, int y)
{
        struct command *c = n->house ? calloc(1, sizeof *c) : NULL;
        if (!c)
                return;
        c->what = what;
        c->die_x = x;
        c->die_y = y;
        snprintf(c->person, sizeof c->person, "night");
        if (!command_post(sim_process_world(n->daemon_process), house_inbox(n->house), c))
                free(c);
}

static bool has(const char *json, const char *what) { return strstr(json, what) != NULL; }

/* "" no run yet, "running", "ended" …; copies the run's name. */
static void look(struct night *n, char state[24], uint64_t *ret_seq)
{
        state[0] = 0;
        *ret_seq = 0;
        if (!n->house)
                return;
        struct snapshot *s = snapshot_get(house_slot(n->house));
        const char *at = strstr(s->run_json, "\"state\":\""), *seq = strstr(s->run_json, "\"seq\":");
        if (at)
                sscanf(at + 9, "%23[a-z]", state);
        if (seq)
                *ret_seq = strtoull(seq + 6, NULL, 10);
        if (s->run[0])
                snprintf(n->run, sizeof n->run, "%s", s->run);
        snapshot_put(s);
}

static bool connected(struct night *n)
{
        if (!n->house)
                return false;
        struct snapshot *s = snapshot_get(house_slot(n->house));
        bool yes = has(s->station_json, "\"connected\":true");
        snapshot_put(s);
        return yes;
}

/* What the seed throws from outside.  Rates per virtual minute; the last fault is long before the night's limit, so that liveness can be
 * asked. */
static void throw_faults(struct night *n)
{
        const struct night_plan *p = n->plan;
        if (!n->faults_left || world_boot_ns(n->w) < n->next_fault_ns)
                return;
        n->faults_left--;
        n->next_fault_ns = world_boot_ns(n->w) + (int64_t)(share(n) * 80e9);
        int kinds[9], k = 0;
        if (p->kill_daemon)
                kinds[k++] = 0;
        if (p->kill_station)
                kinds[k++] = 1;
        if (p->power)
                kinds[k++] = 2;
        if (p->net)
                kinds[k++] = 3;
        if (p->sync_fails)
                kinds[k++] = 4;
        if (p->sync_hangs)
                kinds[k++] = 5;
        if (p->disk_full)
                kinds[k++] = 6;
        if (p->commands)
                kinds[k++] = 7;
        if (p->safes)
                kinds[k++] = 8;
        if (!k)
                return;
        switch (kinds[sim_random(n->sim) % (unsigned)k]) {
        case 0:
                kill_daemon(n);
                break;
        case 1:
                kill_station(n);
                break;
        case 2:
                power_cut(n);
                break;
        case 3:
                sim_cut_streams(n->sim);
                break;
        case 4:
                sim_disk(n->sim)->sync_fails_at = 1 + (int64_t)(sim_random(n->sim) % 4);
                break;
        case 5:
                sim_disk(n->sim)->sync_hangs_at = 1;
                sim_disk(n->sim)->hang_ns = (int64_t)(share(n) * 30e9);
                break;
        case 6:
                sim_disk(n->sim)->quota_bytes =
                        sim_disk(n->sim)->quota_bytes ? 0 : 1; /* full now; a person makes room at the next turn of this fault */
                break;
        case 8:
                for (int i = 0; i < 8 && n->house && n->station; i++) { /* many, each in another moment of a step */
                        night_ask_safe(n);
                        n->w->task->sleep_until(n->w, world_boot_ns(n->w) + (int64_t)(share(n) * 12e9));
                }
                break;
        default:
                if (share(n) < 0.5) {
                        command(n, COMMAND_PAUSE, 0, 0);
                        n->w->task->sleep_until(n->w, world_boot_ns(n->w) + (int64_t)(share(n) * 120e9));
                        command(n, COMMAND_RESUME, 0, 0);
                } else if (share(n) < 0.8) {
                        command(n, COMMAND_SKIP_DIE, 0, (int)(sim_random(n->sim) % 3) - 1);
                } else {
                        command(n, COMMAND_FINISH, 0, 0);
                }
                break;
        }
}

/* When the daemon asks for a person, one comes after ten minutes: looks and lets it go on; asked for the third time, ends the run. */
static void be_the_person(struct night *n)
{
        struct snapshot *s = n->house ? snapshot_get(house_slot(n->house)) : NULL;
        bool asks = s && has(s->run_json, "\"needs_person\":true") && !has(s->run_json, "\"state\":\"stuck\"");
        snapshot_put(s);
        if (!asks || !n->asked_since_ns) {
                n->asked_since_ns = asks ? world_boot_ns(n->w) : 0;
                return;
        }
        if (world_boot_ns(n->w) - n->asked_since_ns < 600 * NS_PER_S)
                return;
        n->asked_since_ns = 0;
        n->end->persons++;
        command(n, COMMAND_CLEAR, 0, 0);
        command(n, n->end->persons < 3 ? COMMAND_RESUME : COMMAND_FINISH, 0, 0);
}

static void restart_what_died(struct night *n)
{
        if (!n->faults_left)
                sim_disk(n->sim)->quota_bytes = 0;
        if (!n->station)
                start_station(n);
        if (n->house && n->plan->kill_at_seq == 0) {
                struct snapshot *s = snapshot_get(house_slot(n->house));
                bool stuck = has(s->run_json, "\"state\":\"stuck\"");
                snapshot_put(s);
                if (stuck) { /* what a service manager's watchdog does */
                        n->w->task->sleep_until(n->w, world_boot_ns(n->w) + 5 * NS_PER_S);
                        kill_daemon(n);
                        n->end->kills--;
                }
        }
        if (!n->house && (!sim_disk(n->sim)->quota_bytes || share(n) < 0.1))
                start_daemon(n);
}

static bool is_sealed(struct night *n)
{
        struct tp_error err = {0};
        struct arena *arena = arena_new(0);
        struct run_row row = {0};
        struct view *view = n->house ? view_open(house_store(n->house), NULL, INT64_MAX, &err) : NULL;
        bool yes = view && arena && view_run(view, n->run, arena, &row, &err) == CODE_OK && strcmp(row.state, "sealed") == 0;
        view_close(view);
        arena_free(arena);
        return yes;
}

void night_run(const struct night_plan *plan, struct night_end *ret)
{
        struct night night = {.plan = plan, .end = ret, .sim = sim_new(plan->seed)}, *n = &night;
        char state[24] = "";
        uint64_t seq = 0;
        memset(ret, 0, sizeof *ret);
        n->w = sim_world(n->sim);
        n->log = (struct log){quiet, n, plan->loud ? LOG_INFO : LOG_ERROR};
        n->faults_left = plan->kill_at_seq ? 0 : 2 + (unsigned)(sim_random(n->sim) % 6);
        n->next_fault_ns = world_boot_ns(n->w) + 3 * NS_PER_S + (int64_t)(share(n) * 150e9);
        sim_disk(n->sim)->sync_lies = plan->sync_lies;
        sim_disk(n->sim)->sync_hangs_at = (int64_t)plan->cut_at_sync;
        sim_disk(n->sim)->hang_ns = 4 * NS_PER_S;
        put_scenario(n);
        put(n, "/demo/tiny.json", plan->recipe, plan->recipe_n);
        put(n, "/demo/recipe.json", plan->recipe, plan->recipe_n);
        int64_t begun = world_boot_ns(n->w);
        bool killed_at_seq = false, cut = false;
        while (!ret->why[0] && world_boot_ns(n->w) - begun < LIMIT_NS) {
                restart_what_died(n);
                look(n, state, &seq);
                if (!n->started && !n->run[0] && connected(n))
                        ask_start(n);
                if (strcmp(state, "ended") == 0 || strcmp(state, "none") == 0) {
                        if (n->run[0] && is_sealed(n))
                                break;
                        if (n->run[0] && strcmp(state, "none") == 0)
                                night_fail(n, "the run was not taken over after a restart");
                }
                if (plan->cut_at_sync && !cut && (uint64_t)sim_syncs(n->sim) >= plan->cut_at_sync) { /* it hangs, on its way to the disk */
                        cut = true;
                        if (plan->cut_at_sync % 2)
                                kill_daemon(n);
                        else
                                power_cut(n);
                }
                if (plan->kill_at_seq && !killed_at_seq && seq >= plan->kill_at_seq) {
                        killed_at_seq = true;
                        kill_daemon(n);
                }
                throw_faults(n);
                be_the_person(n);
                n->w->task->sleep_until(n->w,
                                        world_boot_ns(n->w) + (plan->kill_at_seq && !killed_at_seq ? 20 * NS_PER_MS : 500 * NS_PER_MS));
        }
        ret->virtual_s = (double)(world_boot_ns(n->w) - begun) * 1e-9;
        ret->sealed = n->run[0] && is_sealed(n);
        if (n->answered && n->start_code && !n->run[0])
                night_fail(n, "the run did not start: %s", n->start_why);
        if (!ret->sealed && !ret->why[0]) {
                struct snapshot *s = n->house ? snapshot_get(house_slot(n->house)) : NULL;
                night_fail(n, "the night did not end: state %s, %s", state, s ? s->run_json : "no daemon");
                snapshot_put(s);
        }
        if (!ret->why[0])
                night_judge(n);
        if (n->house)
                house_close(n->house);
        sim_process_end(n->daemon_process);
        station_stop(n->station);
        sim_process_end(n->station_process);
        station_config_done(&n->config);
        ret->syncs = (uint64_t)sim_syncs(n->sim);
        ret->switches = sim_switches(n->sim);
        sim_free(n->sim);
}
