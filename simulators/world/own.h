/* own.h: the inside of the simulated world. */
#ifndef TIPPLANE_SIMULATORS_WORLD_OWN_H
#define TIPPLANE_SIMULATORS_WORLD_OWN_H
#include "simulators/world/sim.h"
#include <sqlite3.h>
#include <ucontext.h>

#define STACK_BYTES (256u << 10)
struct fiber {
        struct fiber *next;
        ucontext_t context;
        void *stack;
        size_t stack_n; /* the main fiber's are those of the thread */
        const char *name;
        void (*run)(void *);
        void *arg;
        struct sim *sim;
        bool ready, done, detached, woken;
        int64_t wake_ns;
        void *asan_stack;
};
struct draws {
        uint64_t s[4];
};
struct sim_file;
struct stream;
struct task {
        struct fiber fiber;
};
struct sim {
        uint64_t seed;
        struct draws draws, schedule, disk_draws, net_draws; /* apart, so that a new draw in one does not shift the others */
        int64_t now_ns, wall_offset_us;
        struct fiber main, *current, *fibers;
        size_t fiber_n;
        struct sim_file *files;
        struct stream *streams;
        struct listener *listeners;
        struct sim_process *processes;
        struct sim_process *harness;
        struct disk_faults disk;
        uint64_t switches;
        int64_t syncs, lost_writes;
        char vfs_stem[40];
};
struct sim_process {
        struct sim_process *next;
        struct sim *sim;
        char name[24];
        bool dead;
        struct world world;
        struct draws random;
        struct sqlite3_vfs vfs;
        char vfs_name[64];
        struct file_lock *locks;
};
static inline struct sim_process *process_of(const struct world *w) { return w->ctx; }
uint64_t draw(struct draws *);
void draws_seed(struct draws *, uint64_t seed, uint64_t stream);
double draw_share(struct draws *);

/* schedule.c */
bool fiber_wait(struct sim *, int64_t until_ns); /* true: woken; false: time came */
void fiber_wake(struct fiber *);
void fibers_free(struct sim *);
void fiber_pass(struct sim *); /* lets others run, time stands still */
extern const struct task_ops sim_task_ops;
/* stream.c */
extern const struct net_ops sim_net_ops;
void streams_end_of(struct sim *, const struct sim_process *); /* NULL: all */
void streams_check_empty(struct sim *);
void streams_free(struct sim *);
/* disk.c */
struct write_done {
        struct write_done *next;
        int64_t at;
        size_t n;
        bool truncate;
        uint8_t *bytes;
};
struct sim_file {
        struct sim_file *next;
        char path[256];
        bool exists;
        uint8_t *now;
        size_t now_n, now_room; /* what the programs see */
        uint8_t *durable;
        size_t durable_n, durable_room; /* what a power cut cannot take */
        struct write_done *unsynced, **unsynced_end;
        /* SQLite's locks and shared memory */
        int shared_n;
        bool reserved, pending, exclusive;
        void **shm;
        int shm_n;
        int shm_shared[8];
        bool shm_exclusive[8];
        int shm_users;
        int opens;
        uint64_t id, changes; /* changes: writes so far, in place of a clock */
};
extern const struct file_ops sim_file_ops;
struct sim_file *file_find(struct sim *, const char *path, bool make);
void file_write(struct sim *, struct sim_file *, int64_t at, const void *bytes, size_t n);
void file_truncate(struct sim *, struct sim_file *, int64_t n);
/* CODE_OK, CODE_DISK; may take virtual time. */
enum code file_sync(struct sim *, struct sim_file *);
int64_t files_bytes(struct sim *);
void files_power_cut(struct sim *);
void files_free(struct sim *);
/* vfs.c */
bool vfs_register(struct sim_process *);
void vfs_unregister(struct sim_process *);

#endif
