/* simulators/world/: a whole world in one thread: fibers instead of threads, a clock that moves only when every task waits, byte streams,
   files and a disk that can be lied to, filled, hung and cut.  May use: base/, SQLite (the VFS).  Both programs run in it unchanged.

   One sim is one night.  A process is one program start inside it: it has a struct world of its own, so that it can be killed alone.
   kill     from that instant every effect of the process fails; what it had written stays (the page cache outlives a process); its streams
   end. power    every process is killed, and of each file only what was synced stays, plus a seeded subset of the rest, torn at 512 bytes.
   After either, run the program's ordinary shutdown to free its memory, then sim_process_end(). */
#ifndef TIPPLANE_SIMULATORS_WORLD_SIM_H
#define TIPPLANE_SIMULATORS_WORLD_SIM_H
#include "base/world.h"

struct sim;
struct sim_process;

struct disk_faults {
        bool sync_lies;        /* says yes, keeps nothing until the next honest sync: the control that must lose data */
        int64_t sync_fails_at; /* the n-th sync from now returns an error, 0 never */
        int64_t sync_hangs_at; /* the n-th sync from now takes … */
        int64_t hang_ns;       /* … this long */
        int64_t quota_bytes;   /* all files together, 0 unlimited */
};
struct sim *sim_new(uint64_t seed);
void sim_free(struct sim *); /* all processes ended before; checks that no fiber and no stream is left */
struct disk_faults *sim_disk(struct sim *);
struct sim_process *sim_process_start(struct sim *, const char *name);
const struct world *sim_process_world(struct sim_process *);
void sim_kill(struct sim_process *); /* SIGKILL */
void sim_power_cut(struct sim *);    /* kills all processes and forgets what was not synced */
void sim_cut_streams(struct sim *);  /* the network: every stream ends, programs live on */
void sim_process_end(struct sim_process *);
/* The harness itself is a fiber of a process without name: it may sleep and use this world. */
const struct world *sim_world(struct sim *);
uint64_t sim_random(struct sim *); /* the harness's own stream of draws */
uint64_t sim_switches(const struct sim *);
int64_t sim_syncs(const struct sim *);
int64_t sim_lost_writes(const struct sim *);
/* Copies a file of the simulated disk to the real one, for people who look at a failed night. */
bool sim_export(struct sim *, const char *path, const char *to);

#endif
