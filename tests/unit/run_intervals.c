/* run_intervals.c: checks, interventions and what becomes suspect. */
#include "run_night.h"

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
                cmocka_unit_test(a_refused_calibration_judges_no_die),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
