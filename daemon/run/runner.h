/* runner.h: one run at a time, from its first note to its seal.  The runner owns plan, evidence and journal of the run in hand; all
   functions on the loop's task. decide() says what comes next, the laws are asked again, the intention is written down, the station or the
   pool acts, the outcome is written down with its data. */
#ifndef TIPPLANE_RUN_RUNNER_H
#define TIPPLANE_RUN_RUNNER_H
#include "base/log.h"
#include "run/command.h"
#include "run/job.h"

struct runner;
struct runner_setup {
        const struct world *world;
        const struct log *log;
        struct store *store;
        struct inbox *loop;
        struct snapshot_slot *slot;
        const char *station_name, *build;
};
struct runner *runner_new(const struct runner_setup *, struct tp_error *);
void runner_free(struct runner *);                /* NULL is fine */
void runner_link(struct runner *, struct link *); /* the link must outlive the runner */
/* Takes over the newest run that is still open, if there is one.  Called once, before the first message. */
enum code runner_resume(struct runner *, struct tp_error *);
/* Takes every message of the loop's inbox: LINK_*, STORE_DONE, LOOP_JOB, LOOP_COMMAND. */
void runner_message(struct runner *, struct message *take);
/* When the runner wants to be called next though no message came (boot clock), INT64_MAX: never. */
int64_t runner_wake_ns(const struct runner *);
void runner_tick(struct runner *);
/* True once a stop was asked and the station is parked or cannot be reached any more. */
bool runner_parked(const struct runner *);
/* Waits for the jobs that are still on the pool and forgets their answers; before the store is closed. */
void runner_drain(struct runner *);
bool runner_stuck_now(const struct runner *); /* the disk failed or a law forbade: a restart looks at everything anew */
bool runner_idle(const struct runner *);      /* no run in hand */

#endif
