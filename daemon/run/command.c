/* command.c: commands in, snapshots out.  A snapshot is built by the loop and then never changes; readers count it. */
#include "run/command.h"
#include <stdlib.h>

bool command_post(const struct world *world, struct inbox *loop, struct command *take)
{
        take->message.kind = LOOP_COMMAND;
        return world->task->post(world, loop, &take->message);
}

struct snapshot_slot {
        const struct world *world;
        struct lock *lock; /* guards `now` and every snapshot's `refs` */
        struct snapshot *now;
};

struct snapshot_slot *snapshot_slot_new(const struct world *world)
{
        struct snapshot_slot *slot = calloc(1, sizeof *slot);
        if (!slot)
                return NULL;
        slot->world = world;
        slot->lock = world->task->lock_new(world);
        if (!slot->lock) {
                free(slot);
                return NULL;
        }
        return slot;
}

static void snapshot_free(struct snapshot *s)
{
        if (!s)
                return;
        free(s->station_json);
        free(s->run_json);
        free(s->map_json);
        free(s->can_json);
        free(s);
}

void snapshot_slot_free(struct snapshot_slot *slot)
{
        if (!slot)
                return;
        snapshot_free(slot->now);
        slot->world->task->lock_free(slot->world, slot->lock);
        free(slot);
}

void snapshot_set(struct snapshot_slot *slot, struct snapshot *take)
{
        take->world = slot->world;
        take->lock = slot->lock;
        take->refs = 1;
        slot->world->task->lock(slot->world, slot->lock);
        struct snapshot *old = slot->now;
        slot->now = take;
        bool last = old && --old->refs == 0;
        slot->world->task->unlock(slot->world, slot->lock);
        if (last)
                snapshot_free(old);
}

struct snapshot *snapshot_get(struct snapshot_slot *slot)
{
        slot->world->task->lock(slot->world, slot->lock);
        struct snapshot *s = slot->now;
        if (s)
                s->refs++;
        slot->world->task->unlock(slot->world, slot->lock);
        return s;
}

void snapshot_put(struct snapshot *s)
{
        if (!s)
                return;
        s->world->task->lock(s->world, s->lock);
        bool last = --s->refs == 0;
        s->world->task->unlock(s->world, s->lock);
        if (last)
                snapshot_free(s);
}
