/* world.h: every effect that is neither memory nor arithmetic.  Two implementations: real (host/) and simulated (simulators/world_sim),
   made in main(), passed down.  Nothing else in the product opens a file or a socket, starts a thread, sleeps, or asks the time.

   Blocking calls take an absolute deadline on the boot clock (INT64_MAX: none).  In the simulated world tasks are fibers in one thread and
   time advances only when every task waits. */
#ifndef TIPPLANE_BASE_WORLD_H
#define TIPPLANE_BASE_WORLD_H
#include "base/error.h"
#include "base/text.h"
#include <stdint.h>

struct world;
struct task;
struct lock;
struct inbox;
struct conn;
struct listener;
struct file_lock;

/* A message belongs to whoever holds it: the poster until world_post() returns true, then the inbox, then the taker. */
struct message {
        struct message *next;
        int kind;                       /* the receiving room's own enum */
        void (*free)(struct message *); /* called for messages left in an inbox that is freed */
};

struct clock_ops {
        int64_t (*boot_ns)(const struct world *); /* CLOCK_BOOTTIME: all durations, leases, deadlines */
        int64_t (*wall_us)(const struct world *); /* label only; never compared, never subtracted */
};
struct random_ops {
        void (*bytes)(const struct world *, void *ret, size_t n);
};
struct task_ops {
        struct task *(*start)(const struct world *, const char *name, void (*run)(void *arg), void *arg); /* NULL: could not */
        void (*join)(const struct world *, struct task *); /* waits for its end and frees it */
        void (*sleep_until)(const struct world *, int64_t boot_ns);
        struct lock *(*lock_new)(const struct world *);
        void (*lock_free)(const struct world *, struct lock *);
        void (*lock)(const struct world *, struct lock *);
        void (*unlock)(const struct world *, struct lock *);
        struct inbox *(*inbox_new)(const struct world *, size_t limit); /* limit of waiting messages, 0: none */
        void (*inbox_free)(const struct world *, struct inbox *);
        bool (*post)(const struct world *, struct inbox *, struct message *);               /* any task; false: full, still the caller's */
        struct message *(*take)(const struct world *, struct inbox *, int64_t deadline_ns); /* one owner task; NULL at the deadline */
        size_t (*waiting)(const struct world *, struct inbox *);
        bool (*work)(const struct world *, void (*run)(void *arg), void *arg); /* arithmetic pool; `run` posts its own answer */
};
/* Byte streams.  Addresses: "unix:/path" (0660), "tcp:127.0.0.1:5025". */
struct net_ops {
        enum code (*listen)(const struct world *, const char *address, struct listener **ret, struct tp_error *);
        enum code (*accept)(const struct world *, struct listener *, int64_t deadline_ns, struct conn **ret, struct tp_error *);
        void (*close_listener)(const struct world *, struct listener *); /* wakes a waiting accept with CODE_CANCELLED */
        enum code (*connect)(const struct world *, const char *address, int64_t deadline_ns, struct conn **ret, struct tp_error *);
        /* At least one byte, at most n; CODE_LINK_DEAD at the end of the stream, CODE_TIMED_OUT, CODE_CANCELLED after shutdown. */
        enum code (*read)(const struct world *, struct conn *, void *ret, size_t n, int64_t deadline_ns, size_t *ret_n, struct tp_error *);
        enum code (*write)(const struct world *, struct conn *, const void *bytes, size_t n, int64_t deadline_ns,
                           struct tp_error *);                    /* all */
        void (*shutdown)(const struct world *, struct conn *);    /* any task; wakes a waiting read */
        void (*close)(const struct world *, struct conn *);       /* the owner, once; NULL is fine */
        int64_t (*peer_uid)(const struct world *, struct conn *); /* -1: unknown */
};
/* Two of one name are equal as long as the name leads to the same file and nobody has written to it. */
struct file_identity {
        uint64_t device, inode;
        int64_t size, changed_ns; /* changed: content, mode or names */
};
static inline bool file_is(const struct file_identity *a, const struct file_identity *b)
{
        return a->device == b->device && a->inode == b->inode && a->size == b->size && a->changed_ns == b->changed_ns;
}
/* Whole small files and directories; databases go through the SQLite VFS named in `vfs`. */
struct file_ops {
        enum code (*lock)(const struct world *, const char *path, struct file_lock **ret, char holder[160],
                          struct tp_error *); /* CODE_BUSY */
        void (*unlock)(const struct world *, struct file_lock *);
        enum code (*make_dir)(const struct world *, const char *path, struct tp_error *); /* with parents; fine if there */
        enum code (*list)(const struct world *, const char *dir, void (*each)(void *ctx, const char *name), void *ctx, struct tp_error *);
        enum code (*read)(const struct world *, const char *path, size_t max, struct text *ret, struct tp_error *); /* CODE_NOT_FOUND */
        enum code (*write)(const struct world *, const char *path, const void *bytes, size_t n, unsigned mode,
                           struct tp_error *); /* atomic: temp, sync, rename, sync dir */
        enum code (*append)(const struct world *, const char *path, const void *bytes, size_t n, struct tp_error *); /* synced */
        enum code (*rename)(const struct world *, const char *from, const char *to, struct tp_error *);
        enum code (*remove)(const struct world *, const char *path, struct tp_error *);                              /* fine if absent */
        enum code (*size)(const struct world *, const char *path, int64_t *ret, struct tp_error *);                  /* CODE_NOT_FOUND */
        enum code (*identity)(const struct world *, const char *path, struct file_identity *ret, struct tp_error *); /* CODE_NOT_FOUND */
        enum code (*seal)(const struct world *, const char *path, uint8_t ret_sha256[32],
                          struct tp_error *); /* sync file and directory, digest, mode 0444 */
        enum code (*reserve)(const struct world *, const char *path, int64_t bytes, struct tp_error *); /* preallocate */
        int64_t (*free_bytes)(const struct world *, const char *dir);
};
struct world {
        const struct clock_ops *clock;
        const struct random_ops *random;
        const struct task_ops *task;
        const struct net_ops *net;
        const struct file_ops *file;
        const char *vfs;   /* SQLite VFS name; NULL: the default one */
        bool virtual_time; /* true in nights: sleeping costs nothing, no driver of a real instrument can be opened */
        void *ctx;
};

static inline int64_t world_boot_ns(const struct world *w) { return w->clock->boot_ns(w); }
static inline int64_t world_wall_us(const struct world *w) { return w->clock->wall_us(w); }
static inline void world_random(const struct world *w, void *ret, size_t n) { w->random->bytes(w, ret, n); }
#define NS_PER_MS INT64_C(1000000)
#define NS_PER_S INT64_C(1000000000)

/* ULID (26 characters of Crockford's base 32 and a NUL), clamped so that the ids of one process never run backwards. */
struct ulid_maker {
        uint64_t last_ms;
        uint8_t last[10];
};
void ulid_make(const struct world *, struct ulid_maker *, char ret[27]);
bool ulid_valid(const char *text);

#endif
