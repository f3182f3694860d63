/* command.h: what people and test cells ask of the loop, and what the loop shows them.  Commands are messages; snapshots are immutable and
 * counted. */
#ifndef TIPPLANE_RUN_COMMAND_H
#define TIPPLANE_RUN_COMMAND_H
#include "base/world.h"

enum command_kind {
        COMMAND_NONE,
        COMMAND_START,
        COMMAND_PAUSE,
        COMMAND_RESUME,
        COMMAND_FINISH,
        COMMAND_SKIP_DIE,
        COMMAND_SAFE,
        COMMAND_CLEAR,
        COMMAND_STOP /* daemon: park and end */
};
enum { LOOP_COMMAND = 300 };
struct command {
        struct message message; /* kind LOOP_COMMAND; the loop frees it */
        enum command_kind what;
        char run[27], person[40], wafer[40], lot[40], why[120];
        int die_x, die_y;
        uint8_t recipe[32]; /* START: digest of a stored recipe document */
        /* Called once on the loop's task: `json` is the body of the answer (or NULL), err says why not.  Must not block. */
        void (*done)(void *ctx, enum code code, const char *json, const struct tp_error *err);
        void *ctx;
};
/* false: the loop's inbox is full (503). On true the command is the loop's. */
bool command_post(const struct world *, struct inbox *loop, struct command *take);

/* The latest state of things, already serialised; made by the loop at most four times a second and after each touch. */
struct snapshot {
        const struct world *world;
        struct lock *lock;
        int refs;         /* snapshot_put() frees at zero */
        uint64_t version; /* grows with each change: strong ETag with epoch */
        uint32_t epoch;
        char run[27];                             /* "" when none */
        char *station_json, *run_json, *map_json; /* objects as in openapi.yaml: Station, Run, Map (progress per die); never NULL */
        char *can_json;                           /* what the station said it can do (capability_object); NULL before it first answered */
        bool in_hand;                             /* run, run_json and map_json are of a run that goes on */
        bool ready;
        char not_ready_why[160];
        double night_seconds, waited_seconds; /* station time of the run so far; time instruments waited for the daemon */
        uint64_t touches_good, touches_doubtful, touches_absent, sweeps, steps, commits;
        double loop_lag_s;
};
struct snapshot_slot; /* one current snapshot; any task */
struct snapshot_slot *snapshot_slot_new(const struct world *);
void snapshot_slot_free(struct snapshot_slot *);
void snapshot_set(struct snapshot_slot *, struct snapshot *take);
struct snapshot *snapshot_get(struct snapshot_slot *); /* counted; never NULL after the first set; snapshot_put() it */
void snapshot_put(struct snapshot *);

#endif
