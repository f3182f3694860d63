/* run_touches.c: bad contact, honest retouches, budgets, pauses and early ends, each with its reason. */
#include "run_night.h"

/* ---- bad touches -------------------------------------------------------------------------------------------------------------------- */
static void bad_contact_for_a_while(struct night *n, const struct step *s)
{
        bool is_hit = s->args.target == n->at && n->done > 0;
        n->k.share_doubtful = is_hit && s->kind == STEP_SWEEP ? 1 : 0;
        n->done -= is_hit && s->kind == STEP_SWEEP;
}

static void a_bad_check_touch_is_repeated_and_believed_only_then(void **state)
{
        (void)state;
        struct night n = {.before = bad_contact_for_a_while, .at = 1 /* the short */, .done = 1};
        night_begin(&n, &bench_standard);
        night_run(&n);
        assert_int_equal(n.f.e->checks_failed, 0);
        assert_int_equal(n.f.e->refused, 0);
        assert_int_equal(n.k.touched[2], 5 + 1);
        assert_int_equal(evidence_count(n.f.e, &n.b->plan).proven, 24);
        night_end(&n);
}

static void one_honest_retouch_then_a_reason(void **state)
{
        (void)state;
        for (int bad = 1; bad <= 2; bad++) {
                struct night n = {.before = bad_contact_for_a_while, .done = bad};
                night_begin(&n, &bench_standard);
                n.at = n.b->plan.visits[4];
                night_run(&n);
                const struct target_seen *t = &evidence_targets(n.f.e)[n.at];
                assert_int_equal(n.f.e->retouches, 1);
                assert_int_equal(n.k.touched[n.b->plan.targets[n.at].things[2]], 2);
                assert_int_equal(t->outcome, bad == 1 ? TARGET_MEASURED : TARGET_DOUBTFUL);
                assert_int_equal(t->why, bad == 1 ? WHY_NONE : WHY_CONTACT_DOUBTFUL);
                assert_int_equal(evidence_touch(n.f.e, n.at)->trust, bad == 1 ? TRUST_PROVEN : TRUST_SUSPECT);
                night_end(&n);
        }
}

static void no_retouch_where_the_pads_or_the_mandate_forbid(void **state)
{
        (void)state;
        for (int by_mandate = 0; by_mandate < 2; by_mandate++) {
                struct bench_options o = bench_standard;
                o.pad_budget = by_mandate ? 5 : 1;
                o.retouch_max = by_mandate ? 0 : 1;
                struct night n = {.before = bad_contact_for_a_while, .done = 1};
                night_begin(&n, &o);
                n.at = n.b->plan.visits[4];
                night_run(&n);
                assert_int_equal(n.f.e->retouches, 0);
                assert_int_equal(evidence_targets(n.f.e)[n.at].outcome, TARGET_DOUBTFUL);
                night_end(&n);
        }
}

static void wrong_ladder(struct night *n, const struct step *s)
{
        n->k.share_place_wrong = 1;
        if (rules[s->rule].waits) {
                assert_string_equal(rules[s->rule].name, "place_unproven");
                assert_int_equal(n->f.e->touch_n, 0);
                assert_true(evidence_is_safe(n->f.e) && n->f.e->parked);
                n->done++;
                fold_note(&n->f, n->done == 1 ? NOTE_RESUME : NOTE_FINISH_EARLY);
                n->again = true;
        }
}

static void a_place_that_is_not_proven_waits_for_a_person(void **state)
{
        (void)state;
        struct night n = {.before = wrong_ladder};
        night_begin(&n, &bench_standard);
        night_run(&n);
        assert_int_equal(n.done, 2);
        assert_int_equal(n.f.e->touch_n, 0);
        assert_int_equal(evidence_count(n.f.e, &n.b->plan).written_off, 24);
        night_end(&n);
}

static void a_short_copy_ends_the_run_written_off_or_whole_but_never_over_budget(void **state)
{
        (void)state;
        for (int budget = 1; budget < 8; budget++) {
                struct bench_options o = bench_standard;
                o.copy_budget = budget;
                struct night n = {0};
                night_begin(&n, &o);
                night_run(&n);
                struct evidence_counts c = evidence_count(n.f.e, &n.b->plan);
                if (c.open || c.suspect || c.waits)
                        fail_msg("copy budget %d: %zu open, %zu suspect, %zu wait", budget, c.open, c.suspect, c.waits);
                assert_int_equal(c.measured, c.proven); /* nothing was measured whose interval could not be closed */
                assert_int_equal(c.measured, budget < 3 ? 0 : budget < 4 ? 9 : budget < 5 ? 18 : 24);
                night_end(&n);
        }
}

static void sweeps_that_fail(struct night *n, const struct step *s)
{
        n->k.faults_left = 1;
        n->k.share_fail = s->kind == STEP_SWEEP && s->args.target == n->at ? 1 : 0;
        n->k.blind = false;
}

static void a_sweep_that_fails_is_tried_three_times_under_each_of_two_touches(void **state)
{
        (void)state;
        struct bench_options o = bench_standard;
        struct night n = {.before = sweeps_that_fail};
        night_begin(&n, &o);
        n.at = n.b->plan.visits[4];
        night_run(&n);
        const struct target_seen *t = &evidence_targets(n.f.e)[n.at];
        assert_int_equal(t->outcome, TARGET_SKIPPED);
        assert_true(t->why == WHY_SWEEP_FAILED || t->why == WHY_INTERRUPTED);
        assert_int_equal(n.k.touched[n.b->plan.targets[n.at].things[2]], 2);
        assert_int_equal(evidence_count(n.f.e, &n.b->plan).proven, 23);
        night_end(&n);
}

static void pause_in_hand(struct night *n, const struct step *s)
{
        if (s->kind == STEP_SWEEP && s->args.use == USE_DEVICE && !n->done) {
                n->done = 1;
                fold_note(&n->f, NOTE_PAUSE);
                n->again = true;
        } else if (rules[s->rule].waits) {
                assert_string_equal(rules[s->rule].name, "paused");
                assert_true(evidence_is_safe(n->f.e));
                assert_int_equal(n->f.e->touch_n, 1); /* the touch in hand was ended first: no pad is touched twice for a pause */
                fold_note(&n->f, NOTE_RESUME);
                n->again = true;
        }
}

static void a_pause_ends_the_touch_in_hand_and_waits_separated(void **state)
{
        (void)state;
        struct night n = {.before = pause_in_hand};
        night_begin(&n, &bench_standard);
        night_run(&n);
        assert_int_equal(n.f.e->touch_n, 24);
        assert_int_equal(evidence_count(n.f.e, &n.b->plan).proven, 24);
        night_end(&n);
}

static void skip_and_finish(struct night *n, const struct step *s)
{
        if (n->device_touches == 4 && s->kind == STEP_SWEEP && s->args.use == USE_DEVICE && !n->done) { /* in the middle of die 1 */
                struct entry entry = {.phase = PHASE_NOTE};
                entry.body.note = (struct note){.note = NOTE_SKIP_DIE, .die_x = 1, .die_y = 0};
                fold_put(&n->f, &entry);
                n->done = 1;
                n->again = true;
        } else if (n->device_touches == 10 && n->done == 1 && s->kind == STEP_MOVE) {
                fold_note(&n->f, NOTE_FINISH_EARLY);
                n->done = 2;
                n->again = true;
        }
}

static void skipped_dies_and_an_early_end_have_reasons_and_a_closing_check(void **state)
{
        (void)state;
        struct night n = {.before = skip_and_finish};
        night_begin(&n, &bench_standard);
        night_run(&n);
        struct evidence_counts c = evidence_count(n.f.e, &n.b->plan);
        assert_int_equal(c.skipped, 3);
        assert_int_equal(c.measured, 9);
        assert_int_equal(c.written_off, 12);
        assert_int_equal(c.proven, 9);
        const struct touch_seen *cut = touch_at(&n, 3);
        assert_int_equal(cut->ended, 1);
        assert_int_not_equal(cut->trust, TRUST_PROVEN); /* it has not all its conditions */
        assert_int_equal(evidence_targets(n.f.e)[n.b->plan.visits[23]].why, WHY_FINISHED_EARLY);
        night_end(&n);
}

/* Each row of trust is told once, by the entry that changed it. */
static void told(struct night *n, const struct step *s)
{
        (void)s;
        struct trust_row row;
        for (size_t at = 0; trust_next(n->f.e, n->f.seq, &at, &row);) {
                n->done++;
                n->at += row.trust == TRUST_PROVEN;
        }
}

static void each_touch_is_told_open_once_and_proven_once(void **state)
{
        (void)state;
        struct night n = {.after = told};
        night_begin(&n, &bench_standard);
        night_run(&n);
        assert_int_equal(n.done, 24 * 2);
        assert_int_equal(n.at, 24);
        night_end(&n);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(a_bad_check_touch_is_repeated_and_believed_only_then),
                cmocka_unit_test(one_honest_retouch_then_a_reason),
                cmocka_unit_test(no_retouch_where_the_pads_or_the_mandate_forbid),
                cmocka_unit_test(a_place_that_is_not_proven_waits_for_a_person),
                cmocka_unit_test(a_short_copy_ends_the_run_written_off_or_whole_but_never_over_budget),
                cmocka_unit_test(a_sweep_that_fails_is_tried_three_times_under_each_of_two_touches),
                cmocka_unit_test(a_pause_ends_the_touch_in_hand_and_waits_separated),
                cmocka_unit_test(skipped_dies_and_an_early_end_have_reasons_and_a_closing_check),
                cmocka_unit_test(each_touch_is_told_open_once_and_proven_once),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
