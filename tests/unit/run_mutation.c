/* run_mutation.c: a wiped field of the evidence never becomes a permission.
 * Claim       Whatever single field reads zero (a forgotten key, a cleared page), the step that decide() then takes is lawful by the true
 *             evidence.
 * Control     The same with fields set to one and to large numbers finds unlawful steps, so the laws asked here do see mutations. */
#include "tests/unit/run_bench.h"

struct campaign {
        size_t asked, changed, unlawful;
        int32_t value;
        bool must_hold;
};

static void ask_mutated(struct campaign *c, const struct plan *p, const struct evidence *truth, struct evidence *copy, size_t offset,
                        uint64_t seed, uint64_t seq)
{
        int32_t before;
        const char *why = NULL;
        memcpy(copy, truth, truth->bytes);
        memcpy(&before, (const char *)copy + offset, sizeof before);
        if (before == c->value)
                return;
        memcpy((char *)copy + offset, &c->value, sizeof c->value);
        bools_tidy(copy);
        struct step is = decide(p, truth, INT64_C(5000000000)), s = decide(p, copy, INT64_C(5000000000));
        enum law law = laws_broken(p, truth, &s, &why);
        c->asked++;
        c->changed += s.kind != is.kind || s.args.target != is.args.target;
        c->unlawful += law != LAW_UNKNOWN;
        if (law && c->must_hold)
                fail_msg("TIPPLANE_SEED=%" PRIu64 ", entry %" PRIu64
                         ": with the word at byte %zu of evidence wiped (it was %d), rule %s breaks law %s: %s",
                         seed, seq, offset, before, rules[s.rule].name, law_words[law], why);
}

/* All of the struct before the arrays, and of the arrays the elements that the moment is about. */
static void ask_everything(struct campaign *c, struct fold *f)
{
        const struct evidence *e = f->e;
        enum purpose purpose;
        int next = evidence_next_device(e, f->plan, &purpose);
        for (size_t at = 0; at < sizeof *e; at += 4) /* sizes and counts say where the arrays are: not fields, but the block itself */
                if (at < offsetof(struct evidence, target_n) || at >= offsetof(struct evidence, seq))
                        ask_mutated(c, f->plan, e, f->copy, at, f->seed, f->seq);
        const int32_t targets[] = {next,
                                   e->touch - 1,
                                   1,
                                   3,
                                   4,
                                   e->last_die ? evidence_touches(e)[e->touch_n - 1].target - 1 : -1,
                                   f->plan->visits[0],
                                   f->plan->prove[0]};
        for (size_t i = 0; i < sizeof targets / sizeof targets[0]; i++)
                for (size_t at = 0; targets[i] >= 0 && at < sizeof(struct target_seen); at += 4)
                        ask_mutated(c, f->plan, e, f->copy, (size_t)((char *)&evidence_targets(e)[targets[i]] - (char *)(uintptr_t)e) + at,
                                    f->seed, f->seq);
        for (uint32_t i = 0; i < e->thing_n && i < 8; i++)
                ask_mutated(c, f->plan, e, f->copy, (size_t)((char *)&evidence_things(e)[i] - (char *)(uintptr_t)e), f->seed, f->seq);
        for (size_t at = 0; e->interval && at < sizeof(struct interval_seen); at += 4)
                ask_mutated(c, f->plan, e, f->copy, (size_t)((char *)&evidence_intervals(e)[e->interval - 1] - (char *)(uintptr_t)e) + at,
                            f->seed, f->seq);
        for (size_t at = 0; e->touch_n && at < sizeof(struct touch_seen); at += 4)
                ask_mutated(c, f->plan, e, f->copy, (size_t)((char *)&evidence_touches(e)[e->touch_n - 1] - (char *)(uintptr_t)e) + at,
                            f->seed, f->seq);
}

static void nights_mutated(struct campaign *c, uint64_t last)
{
        for (uint64_t seed = seed_first(1); seed <= seed_last(last); seed++) {
                struct bench_options o = bench_standard;
                o.dies = 5;
                o.every_dies = 2;
                o.copy_budget = 12;
                struct bench *b = bench_new(&o);
                struct fold f;
                struct dice d = dice_new(seed);
                fold_begin(&f, &b->plan, seed);
                struct fake k = fake_new(&b->plan, seed);
                k.share_absent = 0.1;
                k.share_doubtful = 0.1;
                k.share_fail = 0.03;
                k.share_check_fails = 0.2;
                k.share_refused = 0.2;
                k.faults_left = 20;
                fold_note(&f, NOTE_RUN_STARTED);
                for (size_t i = 0; i < 4000 && !f.e->finished; i++) {
                        if (dice_is(&d, 0.01))
                                fold_note(&f, NOTE_INTERVENTION);
                        if (dice_is(&d, 0.01))
                                fold_note(&f, NOTE_PAUSE);
                        ask_everything(c, &f);
                        struct step s = decide(&b->plan, f.e, f.now_ns);
                        if (rules[s.rule].waits) {
                                k.latched = false;
                                fold_note(&f, k.latched ? NOTE_CLEARED : NOTE_RESUME);
                                if (rules[s.rule].needs_person)
                                        fold_note(&f, NOTE_CLEARED);
                                continue;
                        }
                        uint64_t step = fold_intend(&f, &s);
                        ask_everything(c, &f); /* with a step open */
                        struct entry entry = {.phase = PHASE_OUTCOME, .kind = s.kind, .step = step};
                        entry.code = fake_do(&k, f.plan, &s, &entry.body.outcome);
                        fold_put(&f, &entry);
                }
                assert_null(k.broken);
                free(k.touched);
                fold_end(&f);
                free(b);
        }
}

static void a_wiped_field_is_never_a_permission(void **state)
{
        (void)state;
        struct campaign c = {.value = 0, .must_hold = true};
        nights_mutated(&c, 12);
        printf("%zu mutations, %zu changed the step\n", c.asked, c.changed);
        assert_true(getenv("TIPPLANE_SEED") || (c.asked > 50000 && c.changed > 1000));
}

static void the_laws_see_other_mutations(void **state)
{
        (void)state;
        static const int32_t values[] = {1, 2, 1000};
        size_t unlawful = 0;
        for (size_t i = 0; i < sizeof values / sizeof values[0]; i++) {
                struct campaign c = {.value = values[i]};
                nights_mutated(&c, 1);
                unlawful += c.unlawful;
        }
        assert_true(unlawful > 100);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(a_wiped_field_is_never_a_permission),
                cmocka_unit_test(the_laws_see_other_mutations),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
