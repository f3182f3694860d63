/* Tasks, inboxes, the pool, on the real world. */
#include "host/host.h"
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <pthread.h>
#include <sched.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <unistd.h>

enum { EXCHANGES = 100000 };

struct ball {
        struct message message;
        int n;
};
struct pair {
        const struct world *w;
        struct inbox *mine, *others;
        int bounces;
};

static int setup(void **state)
{
        *state = host_world_new(NULL);
        return *state == NULL;
}

static int teardown(void **state)
{
        host_world_free(*state);
        return 0;
}

static void bounce(void *arg)
{
        struct pair *p = arg;
        for (;;) {
                struct ball *b = (struct ball *)p->w->task->take(p->w, p->mine, INT64_MAX);
                bool is_last = b->n >= EXCHANGES;
                b->n++;
                p->bounces++;
                if (!p->w->task->post(p->w, p->others, &b->message) || is_last) /* from here on the ball is the other's */
                        return;
        }
}

static void two_tasks_exchange_100000_messages(void **state)
{
        const struct world *w = *state;
        struct inbox *a = w->task->inbox_new(w, 2), *b = w->task->inbox_new(w, 2);
        struct pair left = {.w = w, .mine = a, .others = b}, right = {.w = w, .mine = b, .others = a};
        struct ball ball = {.n = 0};
        struct task *l = w->task->start(w, "left", bounce, &left), *r = w->task->start(w, "right", bounce, &right);
        assert_non_null(l);
        assert_non_null(r);
        assert_true(w->task->post(w, a, &ball.message));
        w->task->join(w, l);
        w->task->join(w, r);
        assert_int_equal(ball.n, left.bounces + right.bounces);
        assert_true(ball.n > EXCHANGES);
        w->task->take(w, a, 0); /* the ball lies in one of them and is ours */
        w->task->take(w, b, 0);
        w->task->inbox_free(w, a);
        w->task->inbox_free(w, b);
}

struct flood {
        const struct world *w;
        struct inbox *to;
        struct ball balls[1000];
        int kind;
};

static void flood(void *arg)
{
        struct flood *f = arg;
        for (int i = 0; i < 1000; i++) {
                f->balls[i] = (struct ball){.message = {.kind = f->kind}, .n = i};
                while (!f->w->task->post(f->w, f->to, &f->balls[i].message))
                        f->w->task->sleep_until(f->w, world_boot_ns(f->w) + 20000);
        }
}

static void messages_of_many_posters_keep_their_order(void **state)
{
        const struct world *w = *state;
        struct inbox *box = w->task->inbox_new(w, 16);
        struct flood *floods = calloc(4, sizeof *floods);
        struct task *tasks[4];
        int next[4] = {0};
        for (int i = 0; i < 4; i++) {
                floods[i].w = w;
                floods[i].to = box;
                floods[i].kind = i;
                tasks[i] = w->task->start(w, "a poster with a long name", flood, &floods[i]);
        }
        for (int i = 0; i < 4000; i++) {
                struct ball *b = (struct ball *)w->task->take(w, box, world_boot_ns(w) + 20 * NS_PER_S);
                assert_non_null(b);
                assert_int_equal(b->n, next[b->message.kind]++);
                assert_true(w->task->waiting(w, box) <= 16);
        }
        for (int i = 0; i < 4; i++)
                w->task->join(w, tasks[i]);
        free(floods);
        w->task->inbox_free(w, box);
}

static void take_ends_at_its_deadline(void **state)
{
        const struct world *w = *state;
        struct inbox *box = w->task->inbox_new(w, 0);
        struct ball ball = {.n = 1};
        int64_t from_ns = world_boot_ns(w), deadline_ns = from_ns + 50 * NS_PER_MS;
        assert_null(w->task->take(w, box, deadline_ns));
        int64_t now_ns = world_boot_ns(w);
        assert_true(now_ns >= deadline_ns);
        assert_true(now_ns < deadline_ns + 5 * NS_PER_S);
        assert_null(w->task->take(w, box, 0)); /* long past: only looks */
        w->task->post(w, box, &ball.message);
        assert_ptr_equal(w->task->take(w, box, 0), &ball.message);
        w->task->sleep_until(w, world_boot_ns(w) - NS_PER_S);
        from_ns = world_boot_ns(w);
        w->task->sleep_until(w, from_ns + 20 * NS_PER_MS);
        assert_true(world_boot_ns(w) >= from_ns + 20 * NS_PER_MS);
        w->task->inbox_free(w, box);
}

static int freed_n(struct message *m) { return ((struct ball *)m)->n; }
static void free_ball(struct message *m)
{
        assert_int_equal(freed_n(m), 7);
        free(m);
}

static void a_full_inbox_refuses_and_the_message_stays_the_posters(void **state)
{
        const struct world *w = *state;
        struct inbox *box = w->task->inbox_new(w, 2);
        struct ball *balls[3];
        for (int i = 0; i < 3; i++) {
                balls[i] = calloc(1, sizeof *balls[i]);
                *balls[i] = (struct ball){.message = {.free = free_ball}, .n = 7};
                assert_int_equal(w->task->post(w, box, &balls[i]->message), i < 2);
        }
        assert_int_equal(w->task->waiting(w, box), 2);
        free(w->task->take(w, box, 0));
        assert_true(w->task->post(w, box, &balls[2]->message));
        w->task->inbox_free(w, box); /* frees the two left: the leak checker sees it */
}

struct sum {
        const struct world *w;
        struct lock *lock;
        struct inbox *done;
        long total;
        struct ball balls[500];
        atomic_int next;
};

static void add_up(void *arg)
{
        struct sum *s = arg;
        int i = atomic_fetch_add(&s->next, 1);
        s->w->task->lock(s->w, s->lock);
        s->total += i;
        s->w->task->unlock(s->w, s->lock);
        s->balls[i].n = i;
        s->w->task->post(s->w, s->done, &s->balls[i].message);
}

static void work_is_done_and_posts_its_answer(void **state)
{
        const struct world *w = *state;
        struct sum *s = calloc(1, sizeof *s);
        s->w = w;
        s->lock = w->task->lock_new(w);
        s->done = w->task->inbox_new(w, 0);
        for (int i = 0; i < 500; i++)
                assert_true(w->task->work(w, add_up, s));
        for (int i = 0; i < 500; i++)
                assert_non_null(w->task->take(w, s->done, world_boot_ns(w) + 20 * NS_PER_S));
        assert_int_equal(s->total, 500 * 499 / 2);
        w->task->lock_free(w, s->lock);
        w->task->inbox_free(w, s->done);
        free(s);
}

static void count_slowly(void *arg)
{
        struct timespec t = {.tv_nsec = 2000000};
        nanosleep(&t, NULL);
        atomic_fetch_add((atomic_int *)arg, 1);
}

static void a_world_ends_only_when_its_work_is_done(void **state)
{
        (void)state;
        for (int round = 0; round < 5; round++) { /* and can be made again in the same process */
                struct tp_error err;
                struct world *w = host_world_new(&err);
                atomic_int n = 0;
                for (int i = 0; i < 20; i++)
                        assert_true(w->task->work(w, count_slowly, &n));
                host_world_free(w);
                assert_int_equal(atomic_load(&n), 20);
        }
        host_world_free(host_world_new(NULL));
        host_world_free(NULL);
}

struct crowd {
        atomic_int now, most, impolite;
};

static void be_one_of(void *arg)
{
        struct crowd *c = arg;
        struct timespec t = {.tv_nsec = 1000000};
        int n = atomic_fetch_add(&c->now, 1) + 1, most = atomic_load(&c->most);
        while (n > most && !atomic_compare_exchange_weak(&c->most, &most, n))
                ;
        if (sched_getscheduler(0) != SCHED_BATCH || getpriority(PRIO_PROCESS, (id_t)gettid()) < 10)
                atomic_fetch_add(&c->impolite, 1);
        nanosleep(&t, NULL);
        atomic_fetch_sub(&c->now, 1);
}

static void arithmetic_leaves_a_core_to_the_loop(void **state)
{
        struct crowd c = {0};
        struct world *w = host_world_new(NULL);
        int before = sched_getscheduler(0);
        long cores = sysconf(_SC_NPROCESSORS_ONLN);
        (void)state;
        for (int i = 0; i < 60; i++)
                assert_true(w->task->work(w, be_one_of, &c));
        host_world_free(w);
        assert_in_range(atomic_load(&c.most), 1, cores > 2 ? cores - 1 : 1);
        assert_int_equal(atomic_load(&c.impolite), 0);
        assert_int_equal(sched_getscheduler(0), before); /* the pool only, not its caller */
}

static void look_at_signals(void *arg)
{
        sigset_t now;
        pthread_sigmask(SIG_BLOCK, NULL, &now);
        *(bool *)arg = sigismember(&now, SIGTERM) && sigismember(&now, SIGINT) && sigismember(&now, SIGCHLD);
}

static void tasks_take_no_signals(void **state)
{
        const struct world *w = *state;
        bool is_blocked = false;
        w->task->join(w, w->task->start(w, "look", look_at_signals, &is_blocked));
        assert_true(is_blocked);
}

static void the_clocks_and_random_bytes_are_real(void **state)
{
        const struct world *w = *state;
        uint8_t a[64] = {0}, b[64] = {0};
        int64_t before_ns = world_boot_ns(w);
        assert_true(world_boot_ns(w) >= before_ns && before_ns > 0);
        assert_true(world_wall_us(w) > INT64_C(1600000000000000));
        world_random(w, a, sizeof a);
        world_random(w, b, sizeof b);
        assert_memory_not_equal(a, b, sizeof a);
        assert_false(w->virtual_time);
}

int main(void)
{
        unsetenv("UV_THREADPOOL_SIZE"); /* a caller's own value would stand */
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(two_tasks_exchange_100000_messages, setup, teardown),
                cmocka_unit_test_setup_teardown(messages_of_many_posters_keep_their_order, setup, teardown),
                cmocka_unit_test_setup_teardown(take_ends_at_its_deadline, setup, teardown),
                cmocka_unit_test_setup_teardown(a_full_inbox_refuses_and_the_message_stays_the_posters, setup, teardown),
                cmocka_unit_test_setup_teardown(work_is_done_and_posts_its_answer, setup, teardown),
                cmocka_unit_test(a_world_ends_only_when_its_work_is_done),
                cmocka_unit_test(arithmetic_leaves_a_core_to_the_loop),
                cmocka_unit_test_setup_teardown(tasks_take_no_signals, setup, teardown),
                cmocka_unit_test_setup_teardown(the_clocks_and_random_bytes_are_real, setup, teardown),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
