/* serve_own.h: what the station's files share; nobody else includes it.
   Tasks: one that accepts, two per connection (serve_client.c, serve_frames.c), one worker for steps (serve_step.c), one that watches lease
   and interlock loop and is the only one to walk the ladder (serve_watch.c), one that writes the log (memory_write.c). `lock` guards everything
   below it; it is never held during a driver's call, a socket's write or the disk. */
#ifndef TIPPLANE_STATION_SERVE_OWN_H
#define TIPPLANE_STATION_SERVE_OWN_H
#include "station/cancel.h"
#include "station/held.h"
#include "station/ladder.h"
#include "station/lease.h"
#include "station/memory.h"
#include "station/serve.h"

enum gate { GATE_STAGE, GATE_BIAS, GATE_ANALYZER, GATE_METER, GATE_CHUCK, GATE_SIGNAL, GATE_POSITIONER, GATE_COUNT };
enum { CLIENTS_MAX = 16, OUT_LIMIT = 512, LOOP_POLL_MS = 100, CANCEL_WAIT_MS = 500, GATE_POLL_MS = 2, WORK_LIMIT = 64 };

struct client {
        struct station *st;
        struct conn *conn;
        uint64_t n; /* names it where the pointer may be gone */
        int64_t uid;
        struct inbox *out;
        struct task *reader, *writer;
        bool ended, greeted; /* under the lock */
        uint32_t epoch;      /* given to it; 0: it never held the lease */
        int64_t status_ns;   /* its reader's own */
        struct client *next;
};
struct out_frame {
        struct message message;
        uint8_t kind;
        uint32_t epoch;
        uint64_t step;
        struct text body;
};

enum work_kind { WORK_STEP = 1, WORK_QUIT };
struct work {
        struct message message;
        uint64_t step, walks;
        enum step_kind kind;
        struct step_args args;
};
enum safety_kind { SAFETY_SAFE = 1, SAFETY_STEP, SAFETY_LOST, SAFETY_LOOK, SAFETY_QUIT };
struct safety {
        struct message message;
        uint64_t client;
        char why[160];
};
enum { REPLY_WALKED = 1000 };
struct walked {
        struct message message;
        bool proven;
};

struct setup_in_force {
        struct arena *arena;
        struct recipe *recipe;
        struct limits limits;
};

struct station {
        const struct world *w;
        const struct station_config *config;
        const struct log *log;
        struct roles roles;
        struct limits limits; /* the file's */
        struct memory *memory;
        uint8_t boot[16];
        uint32_t boot_count;
        int64_t started_ns;
        struct listener *listener;
        struct task *accept_task, *work_task, *watch_task;
        struct inbox *work_in, *safety_in, *work_reply;
        struct cancel cancel; /* of the step in hand */
        bool loop_answered;   /* the watcher's own: the open loop has been met with a walk */
        struct lock *lock;
        /* under the lock: */
        struct hazard hazard;
        double x_um, y_um, temperature_c;
        bool has_temperature;
        bool busy[GATE_COUNT];
        bool ladder_on, stopping;
        uint64_t walks, told_walks; /* ladders begun, ladders told of; boot_count << 20 when the station starts */
        struct lease lease;
        struct client *clients, *holder;
        uint64_t client_n, holder_clients;
        struct held *held;
        struct setup_in_force setup;
        bool doing;                /* a step is in the worker's hands */
        struct station_event last; /* not yet told to any daemon */
        bool last_told;
};

/* ---- serve.c ---- */
void station_lock(struct station *);
void station_unlock(struct station *);
int64_t station_now_ns(struct station *); /* the instruments' clock: stepped in a simulated station, else the boot clock since start */
void station_pause(struct station *, int64_t ns); /* instruments' time */
void station_state_locked(const struct station *, struct state_read *ret);
void plain_text(char *to, size_t size, const char *from); /* printable ASCII only: what a driver says must not break a frame */

/* ---- serve_act.c: admit, act, settle ---- */
struct actor {
        bool ladder;
        uint64_t step, walks;
        struct cancel *cancel;
        int64_t deadline_ns;
};
struct acted {
        struct readback rb;
        double ohm[3], volt, ampere, spacing_um;
        struct sweep_facts facts;
};
struct sweep_job {
        struct sweep_ask ask;
        const struct sink *sink;
};
enum code station_act(struct station *, const struct actor *, const struct op *, const struct sweep_job *, struct acted *ret,
                      struct tp_error *);
/* Reads loop and chuck before a hazardous operation, and for the watcher.  False: the loop is open. */
bool station_look(struct station *, bool chuck_too, struct cancel *);

/* ---- serve_watch.c ---- */
void watch_run(void *station);
bool watch_post(struct station *, enum safety_kind, uint64_t client, const char *why);
bool station_walk(struct station *, const char *what, const char *why); /* the watcher's task, or before it has started; true: proven */

/* ---- serve_traces.c: a sink ---- */
struct into {
        struct held *held;
        size_t points;
};
enum code into_begin(void *into, const struct block *, struct tp_error *);
enum code into_chunk(void *into, const void *bytes, size_t n, struct tp_error *);
enum code into_end(void *into, struct tp_error *);
void drop_traces(struct held *);

/* ---- serve_step.c ---- */
void work_run(void *station);

/* ---- serve_client.c ---- */
void accept_run(void *station);
void client_send_locked(struct client *, uint8_t kind, uint64_t step,
                        struct text *take); /* under the lock; never blocks; a client that does not read is cut off */
void client_send_object_locked(struct client *, uint8_t kind, uint64_t step, const struct object *, const void *);
void client_send_held_locked(struct client *, const struct held *);
void clients_stop(struct station *);

/* ---- serve_frames.c ---- */
void frame_obey(struct client *, const struct frame *, bool *ret_end);
void client_gone(struct client *); /* its connection is over: the lease, if it was its own, ends */

#endif
