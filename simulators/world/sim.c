/* sim.c: one night's world, its processes, and what can befall them. */
#include "simulators/world/own.h"
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define WALL_START_US (INT64_C(1767225600) * 1000000) /* 2026-01-01 in UTC: a label */

static int64_t sim_boot_ns(const struct world *w) { return process_of(w)->sim->now_ns; }
static int64_t sim_wall_us(const struct world *w) { return process_of(w)->sim->wall_offset_us + process_of(w)->sim->now_ns / 1000; }
static const struct clock_ops sim_clock_ops = {sim_boot_ns, sim_wall_us};

static void sim_bytes(const struct world *w, void *ret, size_t n)
{
        for (size_t i = 0; i < n; i++)
                ((uint8_t *)ret)[i] = (uint8_t)draw(&process_of(w)->random);
}
static const struct random_ops sim_random_ops = {sim_bytes};

static uint64_t name_hash(const char *name)
{
        uint64_t h = 1469598103934665603u;
        for (; *name; name++)
                h = (h ^ (uint8_t)*name) * 1099511628211u;
        return h;
}

struct sim_process *sim_process_start(struct sim *sim, const char *name)
{
        struct sim_process *p = calloc(1, sizeof *p);
        if (!p)
                return NULL;
        uint64_t starts = draw(&sim->draws);
        p->sim = sim;
        snprintf(p->name, sizeof p->name, "%s", name);
        draws_seed(&p->random, sim->seed ^ name_hash(name), starts);
        snprintf(p->vfs_name, sizeof p->vfs_name, "%s-%s-%p", sim->vfs_stem, p->name, (void *)p);
        p->world = (struct world){&sim_clock_ops, &sim_random_ops, &sim_task_ops, &sim_net_ops, &sim_file_ops, p->vfs_name, true, p};
        if (!vfs_register(p)) {
                free(p);
                return NULL;
        }
        p->next = sim->processes;
        sim->processes = p;
        return p;
}

struct sim *sim_new(uint64_t seed)
{
        struct sim *sim = calloc(1, sizeof *sim);
        pthread_attr_t attr;
        if (!sim)
                return NULL;
        sim->seed = seed;
        draws_seed(&sim->draws, seed, 1);
        draws_seed(&sim->schedule, seed, 2);
        draws_seed(&sim->disk_draws, seed, 3);
        draws_seed(&sim->net_draws, seed, 4);
        sim->wall_offset_us = WALL_START_US;
        sim->now_ns = NS_PER_S;
        sim->main.name = "harness";
        sim->main.ready = true;
        sim->main.sim = sim;
        sim->main.wake_ns = INT64_MAX;
        if (pthread_getattr_np(pthread_self(), &attr) == 0) {
                pthread_attr_getstack(&attr, &sim->main.stack, &sim->main.stack_n);
                pthread_attr_destroy(&attr);
        }
        sim->current = &sim->main;
        snprintf(sim->vfs_stem, sizeof sim->vfs_stem, "sim%p", (void *)sim);
        sim->harness = sim_process_start(sim, "harness");
        if (!sim->harness) {
                free(sim);
                return NULL;
        }
        return sim;
}

struct disk_faults *sim_disk(struct sim *sim) { return &sim->disk; }
const struct world *sim_process_world(struct sim_process *p) { return &p->world; }
const struct world *sim_world(struct sim *sim) { return &sim->harness->world; }
uint64_t sim_random(struct sim *sim) { return draw(&sim->draws); }
uint64_t sim_switches(const struct sim *sim) { return sim->switches; }
int64_t sim_syncs(const struct sim *sim) { return sim->syncs; }
int64_t sim_lost_writes(const struct sim *sim) { return sim->lost_writes; }

void sim_kill(struct sim_process *p)
{
        p->dead = true;
        streams_end_of(p->sim, p);
}

void sim_power_cut(struct sim *sim)
{
        for (struct sim_process *p = sim->processes; p; p = p->next)
                if (p != sim->harness)
                        sim_kill(p);
        files_power_cut(sim);
}

void sim_cut_streams(struct sim *sim) { streams_end_of(sim, NULL); }

void sim_process_end(struct sim_process *p)
{
        if (!p)
                return;
        for (struct sim_process **at = &p->sim->processes; *at; at = &(*at)->next)
                if (*at == p) {
                        *at = p->next;
                        break;
                }
        while (p->locks)
                p->world.file->unlock(&p->world, p->locks);
        vfs_unregister(p);
        free(p);
}

void sim_free(struct sim *sim)
{
        size_t left = 0;
        if (!sim)
                return;
        for (int i = 0; i < 100; i++)
                fiber_wait(sim, sim->now_ns + NS_PER_MS); /* what is ending, ends */
        for (struct fiber *f = sim->fibers; f; f = f->next)
                left += !f->done;
        if (left) {
                fprintf(stderr, "simulated world, seed %llu: %zu tasks were never joined\n", (unsigned long long)sim->seed, left);
                abort();
        }
        sim_process_end(sim->harness);
        streams_free(sim);
        files_free(sim);
        fibers_free(sim);
        free(sim);
}

bool sim_export(struct sim *sim, const char *path, const char *to)
{
        struct sim_file *f = file_find(sim, path, false);
        FILE *out = f ? fopen(to, "wb") : NULL;
        bool ok = out && (!f->now_n || fwrite(f->now, 1, f->now_n, out) == f->now_n);
        if (out)
                ok &= fclose(out) == 0;
        return ok;
}
