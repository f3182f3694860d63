/* run_night.h: nights that go well but for what a test injects. */
#ifndef TIPPLANE_TESTS_RUN_NIGHT_H
#define TIPPLANE_TESTS_RUN_NIGHT_H
#include "tests/unit/run_bench.h"

struct night {
        struct bench *b;
        struct fold f;
        struct fake k;
        size_t steps;
        uint32_t device_touches;
        void (*before)(struct night *, const struct step *); /* may change the fake, or put notes and set `again` */
        void (*after)(struct night *, const struct step *);
        bool again;
        int at, done;
};

static inline void note_state(struct night *n, enum note_kind kind)
{
        struct entry entry = {.phase = PHASE_NOTE};
        entry.body.note.note = kind;
        entry.body.note.state = fake_state(&n->k);
        entry.body.note.has_state = true;
        entry.body.note.station_boot = (uint32_t)n->k.boot;
        fold_put(&n->f, &entry);
}

static inline void night_begin(struct night *n, const struct bench_options *o)
{
        n->b = bench_new(o);
        fold_begin(&n->f, &n->b->plan, 1);
        n->k = fake_new(&n->b->plan, 1);
        n->k.boot = 1;
        struct entry entry = {.phase = PHASE_NOTE};
        entry.body.note = (struct note){.note = NOTE_RUN_STARTED, .station_boot = 1};
        fold_put(&n->f, &entry);
}

static inline void night_run(struct night *n)
{
        const char *why = NULL;
        while (n->steps++ < 20000) {
                struct step s = decide(&n->b->plan, n->f.e, n->f.now_ns);
                if (n->f.e->finished)
                        break;
                if (laws_broken(&n->b->plan, n->f.e, &s, &why))
                        fail_msg("step %zu, rule %s: %s", n->steps, rules[s.rule].name, why);
                n->again = false;
                if (n->before)
                        n->before(n, &s);
                if (n->again)
                        continue;
                if (rules[s.rule].waits)
                        fail_msg("step %zu waits: %s", n->steps, rules[s.rule].reason);
                n->device_touches += s.kind == STEP_LOWER && n->b->plan.targets[s.args.target].kind == TARGET_DEVICE;
                fold_step(&n->f, &n->k, &s);
                if (n->k.broken)
                        fail_msg("step %zu, rule %s: %s", n->steps, rules[s.rule].name, n->k.broken);
                if (n->after)
                        n->after(n, &s);
        }
        assert_true(n->f.e->finished);
        fold_trust_holds(&n->f);
}

static inline void night_end(struct night *n)
{
        fold_end(&n->f);
        free(n->k.touched);
        free(n->b);
}

static inline bool is_device_lower(const struct night *n, const struct step *s)
{
        return s->kind == STEP_LOWER && n->b->plan.targets[s->args.target].kind == TARGET_DEVICE;
}

static inline const struct touch_seen *touch_at(const struct night *n, uint32_t i) { return &evidence_touches(n->f.e)[i]; }
static inline int32_t touch_die(const struct night *n, uint32_t i) { return n->b->plan.targets[touch_at(n, i)->target - 1].die; }

#endif
