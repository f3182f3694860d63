/* schedule.c: fibers under a virtual clock.  One thread; which ready fiber runs next is drawn from the seed; time moves only when none is
 * ready. */
#include "simulators/world/own.h"
#include "base/error.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>

#if defined(__SANITIZE_ADDRESS__)
#include <sanitizer/common_interface_defs.h>
#endif

uint64_t draw(struct draws *d) /* xoshiro256** 1.0, D. Blackman and S. Vigna, 2018 */
{
        uint64_t *s = d->s, r = s[1] * 5;
        r = (r << 7 | r >> 57) * 9;
        uint64_t t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = s[3] << 45 | s[3] >> 19;
        return r;
}

double draw_share(struct draws *d) { return (double)(draw(d) >> 11) * 0x1p-53; }

void draws_seed(struct draws *d, uint64_t seed, uint64_t stream)
{
        uint64_t z = seed * UINT64_C(0x9e3779b97f4a7c15) + stream * UINT64_C(0xd1342543de82ef95) + 1;
        for (int i = 0; i < 4; i++) { /* splitmix64 */
                uint64_t x = z += UINT64_C(0x9e3779b97f4a7c15);
                x = (x ^ x >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
                x = (x ^ x >> 27) * UINT64_C(0x94d049bb133111eb);
                d->s[i] = x ^ x >> 31;
        }
}

static void give_up(struct sim *sim, const char *why)
{
        fprintf(stderr, "simulated world, seed %llu, at %.6f s: %s\n", (unsigned long long)sim->seed, (double)sim->now_ns * 1e-9, why);
        for (struct fiber *f = sim->fibers; f; f = f->next)
                fprintf(stderr, "  fiber %-16s %s\n", f->name, f->done ? "done" : f->ready ? "ready" : "waits");
        abort(); /* a fault of the harness or a deadlock of ours, never of outside input */
}

static void swap_to(struct sim *sim, struct fiber *to)
{
        struct fiber *from = sim->current;
        if (from == to)
                return;
        sim->switches++;
        sim->current = to;
#if defined(__SANITIZE_ADDRESS__)
        __sanitizer_start_switch_fiber(from->done ? NULL : &from->asan_stack, to->stack, to->stack_n);
#endif
        swapcontext(&from->context, &to->context);
#if defined(__SANITIZE_ADDRESS__)
        __sanitizer_finish_switch_fiber(from->asan_stack, NULL, NULL);
#endif
}

static struct fiber *pick(struct sim *sim)
{
        size_t ready = sim->main.ready ? 1 : 0;
        for (struct fiber *f = sim->fibers; f; f = f->next)
                ready += f->ready && !f->done;
        if (!ready)
                return NULL;
        size_t at = draw(&sim->schedule) % ready;
        if (sim->main.ready && at-- == 0)
                return &sim->main;
        for (struct fiber *f = sim->fibers; f; f = f->next)
                if (f->ready && !f->done && at-- == 0)
                        return f;
        return NULL;
}

/* Time goes to the earliest fiber that sleeps; all whose time has come are ready then. */
static void advance(struct sim *sim)
{
        int64_t next = sim->main.wake_ns;
        for (struct fiber *f = sim->fibers; f; f = f->next)
                if (!f->done && f->wake_ns < next)
                        next = f->wake_ns;
        if (next == INT64_MAX)
                give_up(sim, "everything waits and nothing will come");
        if (next > sim->now_ns)
                sim->now_ns = next;
        if (sim->main.wake_ns <= sim->now_ns)
                sim->main.ready = true;
        for (struct fiber *f = sim->fibers; f; f = f->next)
                if (!f->done && f->wake_ns <= sim->now_ns)
                        f->ready = true;
}

static void run_others(struct sim *sim)
{
        struct fiber *to = pick(sim);
        if (!to) {
                advance(sim);
                to = pick(sim);
        }
        swap_to(sim, to);
}

bool fiber_wait(struct sim *sim, int64_t until_ns)
{
        struct fiber *me = sim->current;
        me->woken = false;
        me->ready = until_ns <= sim->now_ns;
        me->wake_ns = until_ns;
        run_others(sim);
        me->ready = true;
        me->wake_ns = INT64_MAX;
        return me->woken;
}

void fiber_wake(struct fiber *f)
{
        if (!f || f->done)
                return;
        f->woken = true;
        f->ready = true;
}

void fiber_pass(struct sim *sim)
{
        sim->current->ready = true;
        run_others(sim);
}

static void fiber_main(unsigned high, unsigned low)
{
        struct fiber *me = (struct fiber *)((uintptr_t)high << 32 | low);
#if defined(__SANITIZE_ADDRESS__)
        __sanitizer_finish_switch_fiber(NULL, NULL, NULL);
#endif
        me->run(me->arg);
        me->done = true;
        me->ready = false;
        run_others(me->sim);
        give_up(me->sim, "a fiber that ended was run again");
}

static void reap(struct sim *sim)
{
        for (struct fiber **at = &sim->fibers; *at;) {
                struct fiber *f = *at;
                if (f->done && f->detached && f != sim->current) {
                        *at = f->next;
                        munmap(f->stack, STACK_BYTES);
                        free(f);
                        sim->fiber_n--;
                } else {
                        at = &f->next;
                }
        }
}

void fibers_free(struct sim *sim)
{
        for (struct fiber *f = sim->fibers; f; f = f->next)
                f->detached = true;
        reap(sim);
}

static void make_context(struct fiber *f)
{
        uintptr_t p = (uintptr_t)f;
        getcontext(&f->context);
        f->context.uc_stack.ss_sp = f->stack;
        f->context.uc_stack.ss_size = STACK_BYTES;
        f->context.uc_link = NULL;
        makecontext(&f->context, (void (*)(void))fiber_main, 2, (unsigned)(p >> 32), (unsigned)p);
}

static struct fiber *fiber_start(struct sim *sim, const char *name, void (*run)(void *), void *arg, bool detached)
{
        struct task *t = calloc(1, sizeof *t);
        struct fiber *f = t ? &t->fiber : NULL;
        reap(sim);
        if (!f)
                return NULL;
        f->stack = mmap(NULL, STACK_BYTES, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS | MAP_STACK, -1, 0);
        if (f->stack == MAP_FAILED) {
                free(t);
                return NULL;
        }
        mprotect(f->stack, 4096, PROT_NONE); /* a guard page */
        f->stack_n = STACK_BYTES;
        f->name = name;
        f->run = run;
        f->arg = arg;
        f->sim = sim;
        f->ready = true;
        f->detached = detached;
        f->wake_ns = INT64_MAX;
        make_context(f);
        f->next = sim->fibers;
        sim->fibers = f;
        sim->fiber_n++;
        return f;
}

static struct task *sim_start(const struct world *w, const char *name, void (*run)(void *), void *arg)
{
        return (struct task *)(void *)fiber_start(process_of(w)->sim, name, run, arg, false);
}

static void sim_join(const struct world *w, struct task *t)
{
        struct sim *sim = process_of(w)->sim;
        while (!t->fiber.done)
                fiber_wait(sim, sim->now_ns + NS_PER_MS);
        t->fiber.detached = true;
        reap(sim);
}

static void sim_sleep_until(const struct world *w, int64_t ns)
{
        struct sim *sim = process_of(w)->sim;
        while (sim->now_ns < ns)
                fiber_wait(sim, ns);
}

struct lock {
        struct fiber *holder;
};
static struct lock *sim_lock_new(const struct world *w)
{
        (void)w;
        return calloc(1, sizeof(struct lock));
}
static void sim_lock_free(const struct world *w, struct lock *l)
{
        (void)w;
        free(l);
}
static void sim_lock(const struct world *w, struct lock *l)
{
        struct sim *sim = process_of(w)->sim;
        if (l->holder == sim->current)
                give_up(sim, "a task takes a lock that it holds");
        while (l->holder)
                fiber_wait(sim, sim->now_ns + NS_PER_MS);
        l->holder = sim->current;
}
static void sim_unlock(const struct world *w, struct lock *l)
{
        if (l->holder != process_of(w)->sim->current)
                give_up(process_of(w)->sim, "a task gives back a lock that it does not hold");
        l->holder = NULL;
}

struct inbox {
        struct message *first, **last;
        size_t n, limit;
        struct fiber *waits;
};
static struct inbox *sim_inbox_new(const struct world *w, size_t limit)
{
        (void)w;
        struct inbox *in = calloc(1, sizeof *in);
        if (in) {
                in->limit = limit;
                in->last = &in->first;
        }
        return in;
}
static void sim_inbox_free(const struct world *w, struct inbox *in)
{
        (void)w;
        if (!in)
                return;
        for (struct message *next, *m = in->first; m; m = next) {
                next = m->next;
                if (m->free)
                        m->free(m);
        }
        free(in);
}
static bool sim_post(const struct world *w, struct inbox *in, struct message *m)
{
        (void)w;
        if (in->limit && in->n >= in->limit)
                return false;
        m->next = NULL;
        *in->last = m;
        in->last = &m->next;
        in->n++;
        fiber_wake(in->waits);
        return true;
}
static struct message *sim_take(const struct world *w, struct inbox *in, int64_t deadline_ns)
{
        struct sim *sim = process_of(w)->sim;
        if (in->first && (draw(&sim->schedule) & 3) == 0)
                fiber_pass(sim); /* others may run between two messages */
        while (!in->first) {
                if (sim->now_ns >= deadline_ns)
                        return NULL;
                in->waits = sim->current;
                fiber_wait(sim, deadline_ns);
                in->waits = NULL;
        }
        struct message *m = in->first;
        in->first = m->next;
        if (!in->first)
                in->last = &in->first;
        in->n--;
        m->next = NULL;
        return m;
}
static size_t sim_waiting(const struct world *w, struct inbox *in)
{
        (void)w;
        return in->n;
}
static bool sim_work(const struct world *w, void (*run)(void *), void *arg)
{
        return fiber_start(process_of(w)->sim, "work", run, arg, true) != NULL;
}

const struct task_ops sim_task_ops = {sim_start,     sim_join,       sim_sleep_until, sim_lock_new, sim_lock_free, sim_lock, sim_unlock,
                                      sim_inbox_new, sim_inbox_free, sim_post,        sim_take,     sim_waiting,   sim_work};
