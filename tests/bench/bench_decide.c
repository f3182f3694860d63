/* bench_decide.c: what one step costs on the loop: decide, the laws, and the fold of its two entries; over the demo's whole night, and over
 * tiny nights from their first note to their end.  One core, time on the processor.  Prints one JSON object. */
#include <time.h>
#include "tests/unit/recipe_helper.h"
#include "tests/unit/run_bench.h"

enum { ROUNDS = 9, TINY_NIGHTS = 300 };
#define SECOND_NS INT64_C(1000000000)

static double seconds(void)
{
        struct timespec t;
        clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
        return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}
static int by_value(const void *a, const void *b)
{
        return (*(const double *)a > *(const double *)b) - (*(const double *)a < *(const double *)b);
}

static void put(struct evidence *e, const struct plan *p, struct entry *entry, uint64_t *seq, int64_t now_ns)
{
        struct tp_error err = {0};
        entry->seq = ++*seq;
        entry->boot = 1;
        entry->boot_ns = now_ns;
        if (evidence_apply(e, p, entry, &err)) {
                fprintf(stderr, "bench_decide: %s\n", err.text);
                exit(1);
        }
}

/* A night from its first note to its end; the fake station's own work is inside, it is small. */
static size_t night(const struct plan *p, uint64_t seed)
{
        struct evidence *e = fold_block(p);
        struct fake k = fake_new(p, seed);
        struct entry note = {.phase = PHASE_NOTE};
        const char *why = NULL;
        uint64_t seq = 0;
        size_t steps = 0;
        int64_t now_ns = SECOND_NS;
        note.body.note.note = NOTE_RUN_STARTED;
        put(e, p, &note, &seq, now_ns);
        for (; !e->finished; steps++) {
                struct step s = decide(p, e, now_ns);
                if (laws_broken(p, e, &s, &why) || rules[s.rule].waits || steps > 100000) {
                        fprintf(stderr, "bench_decide: rule %s: %s\n", rules[s.rule].name, why ? why : "the night does not go on");
                        exit(1);
                }
                struct entry intend = {
                        .phase = PHASE_INTEND, .kind = s.kind, .rule = s.rule, .step = (UINT64_C(7) << 32) + seq + 1, .body.args = s.args};
                put(e, p, &intend, &seq, now_ns);
                now_ns += SECOND_NS;
                struct entry outcome = {.phase = PHASE_OUTCOME, .kind = s.kind, .rule = s.rule, .step = intend.step};
                outcome.code = fake_do(&k, p, &s, &outcome.body.outcome);
                outcome.body.outcome.station_boot = step_rows[s.kind].by_station ? 1 : 0;
                put(e, p, &outcome, &seq, now_ns);
        }
        free(k.touched);
        free(e);
        return steps;
}

/* The median of the rates and half the spread of the middle five. */
static void rates(double x[ROUNDS], double *ret_middle, double *ret_spread)
{
        qsort(x, ROUNDS, sizeof *x, by_value);
        *ret_middle = x[ROUNDS / 2];
        *ret_spread = (x[ROUNDS / 2 + 2] - x[ROUNDS / 2 - 2]) / 2;
}

int main(void)
{
        struct arena *arena = arena_new(0);
        struct recipe *recipe = recipe_of_file("simulators/demo/recipe.json", arena);
        struct capability_set can = good_station();
        struct plan *plan = NULL;
        struct tp_error err = {0};
        can.spacing_um = recipe->setup.spacing_um;
        if (plan_make(recipe, "W07", &can, NULL, arena, &plan, &err)) {
                fprintf(stderr, "bench_decide: %s\n", err.text);
                return 1;
        }
        struct bench *tiny = bench_new(&bench_standard);
        double demo[ROUNDS], many[ROUNDS], demo_rate, demo_spread, many_rate, many_spread;
        size_t steps = 0;
        for (int r = -1; r < ROUNDS; r++) { /* the first round warms up; both take turns */
                double t0 = seconds();
                steps = night(plan, 1);
                double t1 = seconds();
                for (int i = 0; i < TINY_NIGHTS; i++)
                        night(&tiny->plan, (uint64_t)i);
                double t2 = seconds();
                if (r < 0)
                        continue;
                demo[r] = (double)steps / (t1 - t0);
                many[r] = TINY_NIGHTS / (t2 - t1);
        }
        rates(demo, &demo_rate, &demo_spread);
        rates(many, &many_rate, &many_spread);
        printf("{\"steps\": %zu, \"steps_per_s\": %.0f, \"steps_spread\": %.0f, \"histories_per_s\": %.0f, \"histories_spread\": %.0f}\n",
               steps, demo_rate, demo_spread, many_rate, many_spread);
        free(tiny);
        arena_free(arena);
        return 0;
}
