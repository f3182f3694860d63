/* run_intervals.c: checks, interventions and what becomes suspect.  The nights here go well but for what each test injects. */
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
static void note_state(struct night *n, enum note_kind kind)
{
        struct entry entry = {.phase = PHASE_NOTE};
        entry.body.note.note = kind;
        entry.body.note.state = fake_state(&n->k);
        entry.body.note.has_state = true;
        entry.body.note.station_boot = (uint32_t)n->k.boot;
        fold_put(&n->f, &entry);
}
static void night_begin(struct night *n, const struct bench_options *o)
{
        n->b = bench_new(o);
        fold_begin(&n->f, &n->b->plan, 1);
        n->k = fake_new(&n->b->plan, 1);
        n->k.boot = 1;
        struct entry entry = {.phase = PHASE_NOTE};
        entry.body.note = (struct note){.note = NOTE_RUN_STARTED, .station_boot = 1};
        fold_put(&n->f, &entry);
}
static void night_run(struct night *n)
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
static void night_end(struct night *n)
{
        fold_end(&n->f);
        free(n->k.touched);
        free(n->b);
}
static bool is_device_lower(const struct night *n, const struct step *s)
{
        return s->kind == STEP_LOWER && n->b->plan.targets[s->args.target].kind == TARGET_DEVICE;
}
static const struct touch_seen *touch_at(const struct night *n, uint32_t i) { return &evidence_touches(n->f.e)[i]; }
static int32_t touch_die(const struct night *n, uint32_t i) { return n->b->plan.targets[touch_at(n, i)->target - 1].die; }

/* ---- a drift step: exactly the dies of its interval --------------------------------------------------------------------------------- */
static void drift_steps_in(struct night *n, const struct step *s)
{
        if (is_device_lower(n, s) && n->b->plan.targets[s->args.target].die == n->at && !n->done) {
                n->k.drift = 2;
                n->done = 1;
        }
        if (s->kind == STEP_SOLVE)
                n->k.drift = 0; /* a new calibration takes the drift in */
}
static void a_drift_step_makes_exactly_the_dies_of_its_interval_suspect(void **state)
{
        (void)state;
        struct bench_options o = bench_standard;
        o.remeasure = false;
        o.dies = 12;
        o.every_dies = 3;
        for (int die = 0; die < 12; die++) {
                struct night n = {.before = drift_steps_in, .at = die};
                night_begin(&n, &o);
                night_run(&n);
                assert_int_equal(n.f.e->touch_n, 36);
                for (uint32_t i = 0; i < n.f.e->touch_n; i++) {
                        bool is_hit = touch_die(&n, i) / 3 == die / 3;
                        if (touch_at(&n, i)->trust != (is_hit ? TRUST_SUSPECT : TRUST_PROVEN))
                                fail_msg("drift at die %d: die %d is %s (%s)", die, touch_die(&n, i), trust_words[touch_at(&n, i)->trust],
                                         trust_why_words[touch_at(&n, i)->trust_why]);
                        assert_int_equal(touch_at(&n, i)->trust_why, is_hit ? TRUST_WHY_CHECK_FAILED : TRUST_WHY_ALL_PROOFS);
                }
                assert_int_equal(n.f.e->recalibrations, die / 3 < 3); /* after the last interval nothing is left to calibrate for */
                night_end(&n);
        }
}
static void suspects_are_measured_once_more_where_the_mandate_lets_them(void **state)
{
        (void)state;
        struct bench_options o = bench_standard;
        struct night n = {.before = drift_steps_in, .at = 4};
        night_begin(&n, &o);
        night_run(&n);
        assert_int_equal(n.f.e->remeasures, 9); /* the second interval: dies 3, 4, 5 of 3 devices */
        struct evidence_counts c = evidence_count(n.f.e, &n.b->plan);
        assert_int_equal(c.proven, 24);
        assert_int_equal(c.suspect, 0);
        size_t suspect = 0;
        for (uint32_t i = 0; i < n.f.e->touch_n; i++)
                suspect += touch_at(&n, i)->trust == TRUST_SUSPECT; /* every attempt stays */
        assert_int_equal(suspect, 9);
        night_end(&n);
}
static void drift_never_ends(struct night *n, const struct step *s)
{
        if (is_device_lower(n, s))
                n->k.drift = 2;
        if (s->kind == STEP_SOLVE)
                n->k.drift = 0;
}
static void an_endless_drift_ends_with_the_mandate_and_with_reasons(void **state)
{
        (void)state;
        struct bench_options o = bench_standard;
        o.dies = 20;
        struct night n = {.before = drift_never_ends};
        night_begin(&n, &o);
        night_run(&n);
        assert_int_equal(n.f.e->recalibrations, 2);
        struct evidence_counts c = evidence_count(n.f.e, &n.b->plan);
        assert_int_equal(c.proven, 0);
        assert_true(c.written_off > 0 && c.waits == 0);
        for (size_t i = 0; i < n.b->plan.visit_n; i++) {
                const struct target_seen *t = &evidence_targets(n.f.e)[n.b->plan.visits[i]];
                if (t->outcome == TARGET_WRITTEN_OFF)
                        assert_int_equal(t->why, WHY_NO_CALIBRATION);
        }
        night_end(&n);
}

/* ---- interventions split intervals -------------------------------------------------------------------------------------------------- */
/* As in a cleaning at touch 150 of dirt from touch 80: the tip is dirty from `at`, something mends it at `done`; a check comes before it
   and after it. Here: the check before fails, so the dirty touches are suspect, and all others trusted. */
static void dirt_then_check_then_clean(struct night *n, const struct step *s)
{
        if (is_device_lower(n, s) && n->device_touches == 80)
                n->k.drift = 2;
        if (s->kind == STEP_SOLVE)
                n->k.drift = 0;
        if (s->kind == STEP_MOVE && s->args.purpose == PURPOSE_DEVICE && n->device_touches == 150 && !n->done) {
                n->done = 1;
                fold_note(&n->f, NOTE_INTERVENTION);
                n->again = true;
        }
}
static void a_check_stands_between_dirt_and_cleaning(void **state)
{
        (void)state;
        struct bench_options o = bench_standard;
        o.remeasure = false;
        o.dies = 54;
        o.devices = 3;
        o.conditions = 1;
        o.every_dies = 5; /* 15 touches an interval */
        o.copy_budget = 200;
        struct night n = {.before = dirt_then_check_then_clean};
        night_begin(&n, &o);
        night_run(&n);
        assert_int_equal(n.f.e->touch_n, 162);
        for (uint32_t i = 0; i < n.f.e->touch_n; i++) {
                bool is_hit = i >= 75 &&
                              i < 90; /* the interval that the first dirty touch lies in: found at its end, recalibrated, clean again */
                assert_int_equal(touch_at(&n, i)->trust, is_hit ? TRUST_SUSPECT : TRUST_PROVEN);
        }
        /* the intervention after touch 150 ended an interval of its own */
        bool was_ended = false;
        for (uint32_t i = 0; i < n.f.e->interval_n; i++)
                was_ended = was_ended || evidence_intervals(n.f.e)[i].ended_by == END_INTERVENTION;
        assert_true(was_ended);
        night_end(&n);
}
static void something_happens_and_the_check_after_it_fails(struct night *n, const struct step *s)
{
        if (s->kind == STEP_MOVE && s->args.purpose == PURPOSE_DEVICE && n->device_touches == (uint32_t)n->at && !n->done) {
                n->done = 1;
                n->k.drift = 2;
                fold_note(&n->f, NOTE_INTERVENTION);
                n->again = true;
        }
        if (s->kind == STEP_SOLVE)
                n->k.drift = 0;
}
static void an_intervention_splits_intervals(void **state)
{
        (void)state;
        struct bench_options o = bench_standard;
        o.remeasure = false;
        o.dies = 9;
        for (int at = 1; at < 26; at++) {
                struct night n = {.before = something_happens_and_the_check_after_it_fails, .at = at};
                night_begin(&n, &o);
                night_run(&n);
                assert_int_equal(n.done, 1);
                uint32_t first = (uint32_t)at / 9 * 9; /* 3 dies of 3 devices an interval */
                for (uint32_t i = 0; i < n.f.e->touch_n; i++) {
                        bool is_hit = i >= first && i < (uint32_t)at;
                        if (touch_at(&n, i)->trust != (is_hit ? TRUST_SUSPECT : TRUST_PROVEN))
                                fail_msg("intervention after touch %d: touch %u is %s (%s)", at, i, trust_words[touch_at(&n, i)->trust],
                                         trust_why_words[touch_at(&n, i)->trust_why]);
                }
                assert_int_equal(n.f.e->touch_n, 27);
                night_end(&n);
        }
}

/* ---- deaths ------------------------------------------------------------------------------------------------------------------------- */
static void only_the_daemon_dies(struct night *n, const struct step *s)
{
        (void)s;
        if (n->steps % 7 == 0) {
                n->f.boot++;
                note_state(n, NOTE_BOOT);
                n->again = true;
        }
}
static void the_daemons_death_alone_costs_no_touch_and_no_check(void **state)
{
        (void)state;
        struct night calm = {0}, n = {.before = only_the_daemon_dies};
        night_begin(&calm, &bench_standard);
        night_run(&calm);
        night_begin(&n, &bench_standard);
        night_run(&n);
        assert_true(n.f.e->daemon_boots > 30);
        assert_int_equal(n.f.e->checks, calm.f.e->checks);
        assert_int_equal(n.f.e->interventions, 0);
        for (size_t i = 0; i < n.b->plan.thing_n; i++)
                assert_int_equal(n.k.touched[i], calm.k.touched[i]);
        assert_int_equal(evidence_count(n.f.e, &n.b->plan).proven, 24);
        night_end(&calm);
        night_end(&n);
}
static void the_station_dies_once(struct night *n, const struct step *s)
{
        if (s->kind == STEP_MOVE && s->args.purpose == PURPOSE_DEVICE && n->device_touches == 4 && !n->done) {
                n->done = 1;
                n->k.boot++;
                n->k.referenced = false;
                note_state(n, NOTE_STATION_BOOT);
                n->again = true;
        }
        n->at += n->done && s->kind == STEP_LOWER && s->args.purpose == PURPOSE_PLACE; /* the place is proven anew */
}
static void after_the_stations_death_one_check_closes_and_opens(void **state)
{
        (void)state;
        struct night n = {.before = the_station_dies_once};
        night_begin(&n, &bench_standard);
        night_run(&n);
        assert_int_equal(n.at, 3);
        assert_int_equal(evidence_intervals(n.f.e)[0].ended_by, END_INTERVENTION);
        assert_int_equal(evidence_intervals(n.f.e)[0].touches, 4);
        assert_int_equal(evidence_intervals(n.f.e)[0].closed_seq, evidence_intervals(n.f.e)[1].opened_seq);
        assert_int_equal(evidence_count(n.f.e, &n.b->plan).proven, 24);
        assert_int_equal(n.f.e->recalibrations, 0);
        night_end(&n);
}

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
static void first_calibration_is_bad(struct night *n, const struct step *s)
{
        n->k.share_refused = s->kind == STEP_VERIFY && s->args.calibration == 1 ? 1 : 0;
}
static void a_refused_calibration_judges_no_die(void **state)
{
        (void)state;
        struct night n = {.before = first_calibration_is_bad};
        night_begin(&n, &bench_standard);
        night_run(&n);
        assert_int_equal(n.f.e->refused, 1);
        for (uint32_t i = 0; i < n.f.e->touch_n; i++)
                assert_int_equal(touch_at(&n, i)->calibration, 2);
        night_end(&n);
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
                cmocka_unit_test(a_drift_step_makes_exactly_the_dies_of_its_interval_suspect),
                cmocka_unit_test(suspects_are_measured_once_more_where_the_mandate_lets_them),
                cmocka_unit_test(an_endless_drift_ends_with_the_mandate_and_with_reasons),
                cmocka_unit_test(a_check_stands_between_dirt_and_cleaning),
                cmocka_unit_test(an_intervention_splits_intervals),
                cmocka_unit_test(the_daemons_death_alone_costs_no_touch_and_no_check),
                cmocka_unit_test(after_the_stations_death_one_check_closes_and_opens),
                cmocka_unit_test(a_bad_check_touch_is_repeated_and_believed_only_then),
                cmocka_unit_test(one_honest_retouch_then_a_reason),
                cmocka_unit_test(no_retouch_where_the_pads_or_the_mandate_forbid),
                cmocka_unit_test(a_refused_calibration_judges_no_die),
                cmocka_unit_test(a_place_that_is_not_proven_waits_for_a_person),
                cmocka_unit_test(a_short_copy_ends_the_run_written_off_or_whole_but_never_over_budget),
                cmocka_unit_test(a_sweep_that_fails_is_tried_three_times_under_each_of_two_touches),
                cmocka_unit_test(a_pause_ends_the_touch_in_hand_and_waits_separated),
                cmocka_unit_test(skipped_dies_and_an_early_end_have_reasons_and_a_closing_check),
                cmocka_unit_test(each_touch_is_told_open_once_and_proven_once),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
