/* Steps, operators' SAFE, a flapping interlock loop, dying daemons, and a rig that sleeps between being asked and acting: the gap between
   check and act is where an interlock in another thread breaks.  Run it under VARIANT=tsan as well. */
#include "station_rig.h"

struct storm {
        struct bench *b;
        atomic_bool over;
        atomic_int safes;
};

static uint64_t draw(uint64_t *s) /* xorshift64 (Marsaglia, J. Stat. Softw. 8 (2003) 14) */
{
        *s ^= *s << 13, *s ^= *s >> 7, *s ^= *s << 17;
        return *s;
}

static void operators(void *arg)
{
        struct storm *storm = arg;
        const struct world *w = storm->b->rig.w;
        uint64_t s = 77;
        while (!atomic_load(&storm->over)) {
                struct conn *c = NULL;
                struct frame f;
                frame_init(&f);
                if (!w->net->connect(w, storm->b->address, world_boot_ns(w) + NS_PER_S, &c, NULL) &&
                    !frame_write(w, c, world_boot_ns(w) + NS_PER_S, FRAME_SAFE, 0, 0, NULL, 0, NULL) &&
                    !frame_read(w, c, world_boot_ns(w) + 10 * NS_PER_S, &f, NULL) && f.kind == FRAME_SAFE_DONE)
                        atomic_fetch_add(&storm->safes, 1);
                frame_done(&f);
                w->net->close(w, c);
                if (draw(&s) % 3 == 0) {
                        pthread_mutex_lock(&storm->b->rig.mutex);
                        storm->b->rig.loop_open = !storm->b->rig.loop_open;
                        pthread_mutex_unlock(&storm->b->rig.mutex);
                }
                usleep((useconds_t)(draw(&s) % 60000));
        }
        pthread_mutex_lock(&storm->b->rig.mutex);
        storm->b->rig.loop_open = false;
        pthread_mutex_unlock(&storm->b->rig.mutex);
}

/* Its result; NULL: it was refused, because the station had gone to safety since it was decided. */
static struct link_note *result_of(struct bench *b, uint64_t step)
{
        for (struct message *m; (m = b->rig.w->task->take(b->rig.w, b->loop, world_boot_ns(b->rig.w) + 30 * NS_PER_S)); m->free(m)) {
                struct link_note *n = (struct link_note *)m;
                bench_hear(b, m);
                if (m->kind == LINK_RESULT && n->step == step)
                        return n;
                if (m->kind != LINK_REFUSED)
                        continue;
                assert_true(n->step == step && n->why.code == CODE_CANCELLED);
                m->free(m);
                return NULL;
        }
        fail_msg("step %" PRIu64 " was neither done nor refused", step);
        return NULL;
}

static struct step any_step(uint64_t *s, uint64_t id)
{
        static const enum step_kind kinds[] = {STEP_HOME,    STEP_MOVE,      STEP_LOWER,    STEP_LOWER,   STEP_BIAS_ON,
                                               STEP_BIAS_ON, STEP_BIAS_OFF,  STEP_SEPARATE, STEP_READ_DC, STEP_MOVE,
                                               STEP_PARK,    STEP_INVENTORY, STEP_SAFE};
        return (struct step){.id = id,
                             .kind = kinds[draw(s) % (sizeof kinds / sizeof *kinds)],
                             .args = {.place = PLACE_WAFER,
                                      .x_um = (double)(draw(s) % 1000),
                                      .overtravel_um = 30,
                                      .volt = 20,
                                      .limit_a = 0.1,
                                      .channel = (int32_t)(draw(s) % 2)}};
}

static void no_law_breaks_while_everybody_pulls_at_once(void **state)
{
        struct bench *b = bench_new();
        struct storm storm = {.b = b};
        uint64_t s = 4711, id = 0;
        int good = 0, refused = 0, interrupted = 0, late = 0;
        (void)state;
        b->rig.delay_ms = 3;
        bench_station(b);
        bench_link(b);
        struct task *task = b->rig.w->task->start(b->rig.w, "operators", operators, &storm);
        assert_non_null(task);
        int64_t until = world_boot_ns(b->rig.w) + 6 * NS_PER_S;
        while (world_boot_ns(b->rig.w) < until) {
                struct step step = any_step(&s, ++id);
                step.walks = b->walks;
                if (draw(&s) % 64 == 0) { /* the daemon dies and comes again */
                        bench_unlink(b, false);
                        bench_link(b);
                }
                if (link_step(b->link, &step, NULL))
                        continue;
                struct link_note *n = result_of(b, step.id);
                if (!n) {
                        late++;
                        if (b->walks == step.walks)
                                note_drop(bench_wait(b, LINK_EVENT, 20));
                        continue;
                }
                good += n->result.code == CODE_OK;
                refused += n->result.code == CODE_INTERLOCK;
                interrupted += n->result.code == CODE_CANCELLED;
                note_drop(n);
                link_ack(b->link, step.id, NULL);
        }
        atomic_store(&storm.over, true);
        b->rig.w->task->join(b->rig.w, task);
        print_message("%" PRIu64 " steps: %d good, %d refused, %d interrupted, %d too late; %d times safe\n", id, good, refused,
                      interrupted, late, atomic_load(&storm.safes));
        assert_true(good > 30 && refused > 10 && interrupted > 3 &&
                    atomic_load(&storm.safes) > 10); /* the control: everything did happen */
        bench_unlink(b, false);
        assert_true(bench_seconds_until_safe(b, world_boot_ns(b->rig.w)) < 5);
        bench_free(b); /* says which law broke first */
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(no_law_breaks_while_everybody_pulls_at_once)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
