/* house.c: opens the rooms in order, runs the loop, closes them in mirror order.
 * The lease is renewed while health() holds: the loop turns, the oldest durable write is young, the queue is short.  A daemon that hangs
 * stops renewing on purpose. */
#include "run/house.h"
#include "run/runner.h"
#include "station/protocol.h"
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LOOP_LAG_NS (INT64_C(1) * NS_PER_S)
#define WRITE_AGE_NS (INT64_C(10) * NS_PER_S)
#define QUEUE_BYTES (INT64_C(64) << 20)
#define TURN_NS (INT64_C(250) * NS_PER_MS) /* the loop wakes at least this often, so that its pulse can be felt */

struct house {
        const struct world *world;
        const struct log *log;
        struct store *store;
        struct store_report report;
        struct inbox *inbox;
        struct snapshot_slot *slot;
        struct link *link;
        struct runner *runner;
        struct task *loop;
        _Atomic int64_t pulse_ns; /* when the loop was last seen turning */
        _Atomic bool end, parked, stuck;
};

/* On the link's task: atomics only, and the store's own lock. */
static bool healthy(void *ctx)
{
        struct house *h = ctx;
        int64_t now = world_boot_ns(h->world);
        struct store_health store = store_health(h->store);
        return now - atomic_load(&h->pulse_ns) < LOOP_LAG_NS && store.oldest_waiting_ns < WRITE_AGE_NS &&
               store.queued_bytes < QUEUE_BYTES && !store.failed && !atomic_load(&h->stuck);
}

bool house_healthy(struct house *h) { return healthy(h); }

static void loop_run(void *arg)
{
        struct house *h = arg;
        while (!atomic_load(&h->end)) {
                int64_t now = world_boot_ns(h->world), wake = runner_wake_ns(h->runner);
                atomic_store(&h->pulse_ns, now);
                struct message *m =
                        h->world->task->take(h->world, h->inbox, wake < now + TURN_NS ? (wake > now ? wake : now) : now + TURN_NS);
                if (m)
                        runner_message(h->runner, m);
                else
                        runner_tick(h->runner);
                atomic_store(&h->parked, runner_parked(h->runner));
                atomic_store(&h->stuck, runner_stuck_now(h->runner));
        }
}

static void house_free(struct house *h)
{
        if (!h)
                return;
        runner_free(h->runner);
        store_close(h->store);
        snapshot_slot_free(h->slot);
        if (h->inbox)
                h->world->task->inbox_free(h->world, h->inbox);
        free(h);
}

struct house *house_start(const struct world *world, const struct house_setup *setup, struct tp_error *err)
{
        struct house *h = calloc(1, sizeof *h);
        struct tp_error resume = {0};
        if (!h) {
                tp_fail_memory(err);
                return NULL;
        }
        h->world = world;
        h->log = setup->log;
        atomic_store(&h->pulse_ns, world_boot_ns(world));
        h->inbox = world->task->inbox_new(world, 4096);
        h->slot = snapshot_slot_new(world);
        h->store = h->inbox && h->slot ? store_open(world, setup->data_dir, NULL, setup->build, &h->report, err) : NULL;
        if (!h->store) {
                if (!h->inbox || !h->slot)
                        tp_fail_memory(err);
                house_free(h);
                return NULL;
        }
        struct runner_setup runner = {world, setup->log, h->store, h->inbox, h->slot, setup->station_name, setup->build};
        h->runner = runner_new(&runner, err);
        if (!h->runner) {
                house_free(h);
                return NULL;
        }
        /* A run that cannot be taken over is said aloud and left as it is; the daemon still starts. */
        if (runner_resume(h->runner, &resume))
                log_event(setup->log, LOG_ERROR, "start.resume", "msg=\"%s\"", resume.text);
        h->link = link_open(world, setup->station_address, setup->build, store_epoch(h->store), h->inbox, healthy, h, err);
        if (!h->link) {
                house_free(h);
                return NULL;
        }
        runner_link(h->runner, h->link);
        h->loop = world->task->start(world, "loop", loop_run, h);
        if (!h->loop) {
                tp_fail(err, CODE_MEMORY, "the loop's task could not be started");
                link_close(h->link, false);
                house_free(h);
                return NULL;
        }
        return h;
}

struct store *house_store(struct house *h) { return h->store; }
struct inbox *house_inbox(struct house *h) { return h->inbox; }
struct snapshot_slot *house_slot(struct house *h) { return h->slot; }
const struct store_report *house_report(struct house *h) { return &h->report; }

static void end_loop(struct house *h, bool release)
{
        atomic_store(&h->end, true);
        h->world->task->join(h->world, h->loop);
        link_close(h->link, release);
        runner_drain(h->runner);
        house_free(h);
}

void house_park(struct house *h, int64_t park_ns)
{
        if (!h)
                return;
        int64_t deadline = world_boot_ns(h->world) + park_ns;
        struct command *stop = calloc(1, sizeof *stop);
        if (stop) {
                stop->what = COMMAND_STOP;
                snprintf(stop->person, sizeof stop->person, "tipplaned");
                snprintf(stop->why, sizeof stop->why, "the daemon was asked to stop");
                if (!command_post(h->world, h->inbox, stop))
                        free(stop);
        }
        while (!atomic_load(&h->parked) && world_boot_ns(h->world) < deadline)
                h->world->task->sleep_until(h->world, world_boot_ns(h->world) + 20 * NS_PER_MS);
        if (!atomic_load(&h->parked))
                log_event(h->log, LOG_ERROR, "stop.unparked",
                          "msg=\"the station was not proven safe within %lld s; it makes itself safe when the lease ends\"",
                          (long long)(park_ns / NS_PER_S));
}

void house_close(struct house *h)
{
        if (h)
                end_loop(h, true);
}

void house_abandon(struct house *h)
{
        if (h)
                end_loop(h, false);
}
