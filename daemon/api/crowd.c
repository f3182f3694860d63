/* crowd.c: see crowd.h. */
#include "api/crowd.h"
#include <stdlib.h>
#include <sys/socket.h>

struct guest {
        struct guest *next, *before;
        struct crowd *of;
        int socket;
        bool served, shut;
        int64_t since_ns;
};
struct crowd {
        const struct world *world;
        struct lock *lock;
        struct guest *first;
};

static void lock(struct crowd *c) { c->world->task->lock(c->world, c->lock); }
static void unlock(struct crowd *c) { c->world->task->unlock(c->world, c->lock); }

struct crowd *crowd_new(const struct world *world)
{
        struct crowd *c = calloc(1, sizeof *c);
        if (!c)
                return NULL;
        c->world = world;
        c->lock = world->task->lock_new(world);
        if (c->lock)
                return c;
        free(c);
        return NULL;
}

void crowd_free(struct crowd *c)
{
        if (!c)
                return;
        c->world->task->lock_free(c->world, c->lock);
        free(c);
}

struct guest *guest_come(struct crowd *c, int socket)
{
        struct guest *g = calloc(1, sizeof *g);
        if (!g)
                return NULL;
        *g = (struct guest){.of = c, .socket = socket, .since_ns = world_boot_ns(c->world)};
        lock(c);
        g->next = c->first;
        if (g->next)
                g->next->before = g;
        c->first = g;
        unlock(c);
        return g;
}

void guest_served(struct guest *g, bool served)
{
        if (!g)
                return;
        lock(g->of);
        g->served = served;
        g->since_ns = world_boot_ns(g->of->world);
        unlock(g->of);
}

void guest_leave(struct guest *g)
{
        if (!g)
                return;
        struct crowd *c = g->of;
        lock(c);
        if (g->before)
                g->before->next = g->next;
        else
                c->first = g->next;
        if (g->next)
                g->next->before = g->before;
        unlock(c);
        free(g);
}

unsigned crowd_sweep(struct crowd *c, int64_t now_ns)
{
        unsigned n = 0;
        lock(c);
        for (struct guest *g = c->first; g; g = g->next)
                if (!g->served && !g->shut && now_ns - g->since_ns > CROWD_NS) {
                        shutdown(g->socket, SHUT_RDWR);
                        g->shut = true;
                        n++;
                }
        unlock(c);
        return n;
}
