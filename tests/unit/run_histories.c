/* run_histories.c: random nights against the laws.  A fake station with a physical truth of its own; deaths of daemon and station at any
   step, faults of any step, pauses, skips, stops, interventions, people.  TIPPLANE_SEED=n repeats one night. */
#include "tests/unit/run_bench.h"

struct history {
        struct bench *b;
        struct fold f;
        struct fake k;
        const struct rule *table;
        size_t rule_n;
        enum law law_off; /* a control: this law is not asked */
        enum law broken;  /* first law broken */
        const char *broken_why, *broken_rule, *truth;
        size_t steps, person_acts, waits, steps_max;
        bool ended, starved;
        size_t *fired; /* per rule, may be NULL */
        bool calm;     /* no person, no deaths, no notes */
};

static struct bench_options options_random(struct dice *d)
{
        struct bench_options o = bench_standard;
        o.dies = 1 + dice_n(d, 9);
        o.devices = 1 + dice_n(d, 4);
        o.conditions = 1 + dice_n(d, 3);
        o.pad_budget = 1 + dice_n(d, 4);
        o.copy_budget = dice_is(d, 0.3) ? 3 + dice_n(d, 5) : 60;
        o.tip_budget = dice_is(d, 0.15) ? 10 + dice_n(d, 40) : 5000;
        o.every_dies = dice_n(d, 5);
        o.retouch_max = dice_n(d, 3);
        o.recalibrate_max = dice_n(d, 4);
        o.tries_max = 1 + dice_n(d, 3);
        o.remeasure = dice_is(d, 0.6);
        o.rescue = o.dies % 2 == 0;
        o.no_checks = dice_is(d, 0.15);
        o.replayed = o.no_checks && dice_is(d, 0.5);
        o.proof_required = dice_is(d, 0.8);
        o.ladders = o.dies >= 3 ? 3 : dice_is(d, 0.5) || o.proof_required ? o.dies : 0;
        return o;
}

static void history_begin(struct history *h, uint64_t seed, const struct bench_options *options)
{
        struct dice d = dice_new(seed);
        struct bench_options o = options ? *options : options_random(&d);
        h->b = bench_new(&o);
        fold_begin(&h->f, &h->b->plan, seed);
        h->k = fake_new(&h->b->plan, seed ^ 0xFA6E);
        h->k.faults_left = 60; /* swarm: each night has its own mix, some shares are 0 */
        h->k.share_fail = dice_is(&d, 0.7) ? 0.05 * dice_share(&d) : 0;
        h->k.share_absent = dice_is(&d, 0.6) ? 0.15 * dice_share(&d) : 0;
        h->k.share_doubtful = dice_is(&d, 0.6) ? 0.15 * dice_share(&d) : 0;
        h->k.share_flagged = dice_is(&d, 0.4) ? 0.2 * dice_share(&d) : 0;
        h->k.share_check_fails = dice_is(&d, 0.5) ? 0.5 * dice_share(&d) : 0;
        h->k.share_refused = dice_is(&d, 0.4) ? 0.5 * dice_share(&d) : 0;
        h->k.share_place_wrong = dice_is(&d, 0.3) ? 0.3 * dice_share(&d) : 0;
        h->steps_max = 6000 + 200 * h->b->plan.target_n;
        if (!h->table) {
                h->table = rules;
                h->rule_n = rule_n;
        }
        struct entry entry = {.phase = PHASE_NOTE};
        entry.body.note.note = NOTE_RUN_STARTED;
        entry.body.note.station_boot = 1;
        fold_put(&h->f, &entry);
}
static void history_end(struct history *h)
{
        fold_end(&h->f);
        free(h->k.touched);
        free(h->b);
}

static void note_with_state(struct history *h, enum note_kind kind)
{
        struct entry entry = {.phase = PHASE_NOTE};
        entry.body.note.note = kind;
        entry.body.note.state = fake_state(&h->k);
        entry.body.note.has_state = true;
        entry.body.note.station_boot = (uint32_t)h->k.boot;
        fold_put(&h->f, &entry);
}
static void lease_ends(struct history *h)
{
        h->k.biased = false;
        h->k.up = true;
}
static void station_dies(struct history *h)
{
        h->k.boot++;
        h->k.blind = false;
        if (dice_is(&h->k.dice, 0.7))
                lease_ends(h);
        if (dice_is(&h->k.dice, 0.5))
                h->k.referenced = false;
        h->k.at = -1;
}

/* The world between two steps: people, doors, deaths. */
static void world_acts(struct history *h)
{
        struct dice *d = &h->k.dice;
        if (h->calm || h->k.faults_left <= 0 || !dice_is(d, 0.03))
                return;
        h->k.faults_left--;
        switch (dice_n(d, 10)) {
        case 0:
                fold_note(&h->f, NOTE_PAUSE);
                break;
        case 1: {
                struct entry entry = {.phase = PHASE_NOTE};
                const struct die *die = &h->b->plan.dies[dice_n(d, (int)h->b->plan.die_n)];
                entry.body.note = (struct note){.note = NOTE_SKIP_DIE, .die_x = die->x, .die_y = die->y, .who = "anna", .why = "scratched"};
                fold_put(&h->f, &entry);
                break;
        }
        case 2:
                if (dice_is(d, 0.1))
                        fold_note(&h->f, NOTE_FINISH_EARLY);
                break;
        case 3:
                fold_note(&h->f, NOTE_STOP);
                break;
        case 4:
                fold_note(&h->f, NOTE_INTERVENTION);
                break;
        case 5: /* door: the station walks its ladder */
                lease_ends(h);
                note_with_state(h, NOTE_STATION_EVENT);
                fold_note(&h->f, NOTE_INTERVENTION);
                break;
        case 6: /* only the daemon dies */
                if (dice_is(d, 0.5))
                        lease_ends(h);
                h->f.boot++;
                note_with_state(h, NOTE_BOOT);
                break;
        case 7:
                station_dies(h);
                note_with_state(h, NOTE_STATION_BOOT);
                break;
        case 9: /* a driver is lost for a while: nothing works, nothing can be read */
                h->k.fails_next = dice_n(d, 16);
                h->k.blind = dice_is(d, 0.5);
                note_with_state(h, NOTE_STATION_EVENT);
                break;
        case 8: /* latched: could not be proven safe */
                h->k.latched = true;
                note_with_state(h, NOTE_STATION_EVENT);
                break;
        }
}

/* A death between intention and outcome: recovery as act does it: boot note, what became of the step, compensation, outcome. */
static bool dies_within(struct history *h, const struct step *s, uint64_t step)
{
        struct dice *d = &h->k.dice;
        if (h->calm || h->k.faults_left <= 0 || !dice_is(d, 0.02))
                return false;
        h->k.faults_left--;
        struct entry entry = {.phase = PHASE_OUTCOME, .kind = s->kind, .rule = s->rule, .step = step, .code = CODE_CANCELLED};
        bool station_too = dice_is(d, 0.4), was_seen = dice_is(d, 0.5);
        if (was_seen)
                entry.code = fake_do(&h->k, &h->b->plan, s, &entry.body.outcome);
        if (station_too)
                station_dies(h);
        h->f.boot++;
        note_with_state(h, NOTE_BOOT);
        if (!was_seen) {
                struct entry note = {.phase = PHASE_NOTE};
                note.body.note.note = NOTE_COMPENSATE;
                note.body.note.of_step = step;
                entry.code = CODE_CANCELLED;
                memset(&entry.body, 0, sizeof entry.body);
                bool is_late = dice_is(d, 0.2);
                if (!station_too && !is_late) /* a station that lost its memory too cannot say "never": the touch stays spent */
                        fold_put(&h->f, &note);
                fold_put(&h->f, &entry);
                if (!station_too && is_late)
                        fold_put(&h->f, &note);
                return true;
        } else if (station_too) {
                memset(&entry.body, 0, sizeof entry.body);
                entry.code = CODE_CANCELLED;
        }
        fold_put(&h->f, &entry);
        return true;
}

static void person_looks(struct history *h)
{
        h->person_acts++;
        if (h->k.latched) {
                h->k.latched = false;
                h->k.blind = false;
                note_with_state(h, NOTE_CLEARED);
        } else if (h->person_acts > 60)
                fold_note(&h->f, NOTE_FINISH_EARLY);
        else
                fold_note(&h->f, NOTE_RESUME);
}

static void laws_asked(struct history *h, const struct step *s)
{
        const char *why = NULL;
        for (int law = 1; law < LAW_COUNT && !h->broken; law++)
                if (law != (int)h->law_off && !law_holds((enum law)law, &h->b->plan, h->f.e, s, &why)) {
                        h->broken = (enum law)law;
                        h->broken_why = why;
                        h->broken_rule = h->table[s->rule].name;
                }
}

static void history_run(struct history *h)
{
        while (!h->broken && !h->k.broken && h->steps < h->steps_max) {
                world_acts(h);
                struct step s = decide_by(h->table, h->rule_n, &h->b->plan, h->f.e, h->f.now_ns);
                h->steps++;
                if (h->fired)
                        h->fired[s.rule]++;
                laws_asked(h, &s);
                if (h->broken || h->f.e->finished)
                        break;
                if (h->table[s.rule].waits) {
                        h->waits++;
                        if (!h->f.e->may_stay) {
                                h->f.boot++;
                                note_with_state(h, NOTE_BOOT);
                        } else
                                person_looks(h);
                        continue;
                }
                if (s.kind == STEP_WAIT) /* a table without its last rules */
                        break;
                struct entry entry = {.phase = PHASE_OUTCOME, .kind = s.kind, .rule = s.rule};
                entry.step = fold_intend(&h->f, &s);
                h->f.now_ns += INT64_C(1000000000);
                if (dies_within(h, &s, entry.step))
                        continue;
                entry.code = fake_do(&h->k, &h->b->plan, &s, &entry.body.outcome);
                entry.body.outcome.station_boot = step_rows[s.kind].by_station ? (uint32_t)h->k.boot : 0;
                fold_put(&h->f, &entry);
        }
        h->ended = h->f.e->finished != 0;
        h->starved = h->steps >= h->steps_max;
}

static void check_device_outcomes(const struct history *h)
{
        const struct plan *p = &h->b->plan;
        for (size_t i = 0; i < p->visit_n; i++) {
                const struct target_seen *t = &evidence_targets(h->f.e)[p->visits[i]];
                if (t->outcome == TARGET_WAITS || t->outcome == TARGET_OUTCOME_UNKNOWN ||
                    (t->outcome != TARGET_MEASURED && t->why == WHY_NONE))
                        fail_msg("TIPPLANE_SEED=%" PRIu64 ": device %zu ended as %s without a reason", h->f.seed, i,
                                 target_outcome_words[t->outcome]);
        }
        for (uint32_t i = 0; i < h->f.e->touch_n; i++) {
                const struct touch_seen *t = &evidence_touches(h->f.e)[i];
                if (t->attempt > 1 + p->recipe->mandate.retouch_max)
                        fail_msg("TIPPLANE_SEED=%" PRIu64 ": attempt %d with a mandate of %d retouches", h->f.seed, t->attempt,
                                 p->recipe->mandate.retouch_max);
                if (t->trust == TRUST_PROVEN && p->check_n && evidence_intervals(h->f.e)[t->interval - 1].verdict != INTERVAL_PASSED)
                        fail_msg("TIPPLANE_SEED=%" PRIu64 ": a touch is proven in an interval that did not pass", h->f.seed);
                if (t->trust == TRUST_PROVEN && (p->replayed || !t->place_proven || t->first != CONTACT_GOOD))
                        fail_msg("TIPPLANE_SEED=%" PRIu64 ": a touch is proven without its proofs", h->f.seed);
        }
        for (size_t i = 0; i < p->thing_n; i++)
                if (h->k.touched[i] > p->things[i].budget || h->k.touched[i] > evidence_things(h->f.e)[i].spent)
                        fail_msg("TIPPLANE_SEED=%" PRIu64 ": thing %zu was touched %d times, the ledger says %d, its budget is %d",
                                 h->f.seed, i, h->k.touched[i], evidence_things(h->f.e)[i].spent, p->things[i].budget);
}

/* Guards against what the fold itself does not let happen. */
static bool rules_that_never_fire(const char *name)
{
        return strcmp(name, "not_started") == 0 || strcmp(name, "step_is_open") == 0 || strcmp(name, "evidence_contradicts") == 0;
}

static void laws_hold_and_every_random_night_ends_safe(void **state)
{
        (void)state;
        size_t proven = 0, suspect = 0, retouches = 0, deaths = 0, steps = 0, remeasures = 0, fired[64] = {0};
        for (uint64_t seed = seed_first(1); seed <= seed_last(600); seed++) {
                struct history h = {.fired = fired};
                history_begin(&h, seed, NULL);
                history_run(&h);
                if (h.broken)
                        fail_msg("TIPPLANE_SEED=%" PRIu64 ", step %zu, rule %s: law %s: %s", seed, h.steps, h.broken_rule,
                                 law_words[h.broken], h.broken_why);
                if (h.k.broken)
                        fail_msg("TIPPLANE_SEED=%" PRIu64 ", step %zu: %s", seed, h.steps, h.k.broken);
                if (!h.ended)
                        fail_msg("TIPPLANE_SEED=%" PRIu64 ": no end after %zu steps, the last rule is %s", seed, h.steps,
                                 rules[decide(&h.b->plan, h.f.e, h.f.now_ns).rule].name);
                check_device_outcomes(&h);
                fold_trust_holds(&h.f);
                struct evidence_counts n = evidence_count(h.f.e, &h.b->plan);
                proven += n.proven;
                suspect += n.suspect;
                retouches += (size_t)h.f.e->retouches;
                remeasures += (size_t)h.f.e->remeasures;
                deaths += (size_t)h.f.e->station_deaths;
                steps += h.steps;
                history_end(&h);
        }
        if (!getenv("TIPPLANE_SEED")) { /* the nights must be worth something: each outcome occurs */
                printf("%zu steps, %zu proven, %zu suspect, %zu retouches, %zu remeasured, %zu station deaths\n", steps, proven, suspect,
                       retouches, remeasures, deaths);
                for (size_t i = 0; i < rule_n; i++)
                        if (!fired[i] && !rules_that_never_fire(rules[i].name))
                                fail_msg("rule %s never fired: it is dead, or these nights are too tame", rules[i].name);
                assert_true(proven > 1000 && suspect > 200 && retouches > 150 && remeasures > 10 && deaths > 100);
        }
}

static bool never(const struct question *q)
{
        (void)q;
        return false;
}
/* The table with some rules (their names in one text) that never fit; places stay, for the journal names rules by place. */
static void take_away(struct rule table[64], const char *names)
{
        char padded[400], name[64];
        assert_true(rule_n <= 64);
        snprintf(padded, sizeof padded, " %s ", names);
        memcpy(table, rules, rule_n * sizeof rules[0]);
        for (size_t i = 0; i < rule_n; i++) {
                snprintf(name, sizeof name, " %s ", rules[i].name);
                if (strstr(padded, name))
                        table[i].guard = never;
        }
}

/* The control: without the rule, some law must break, and it must be that one. */
static void a_removed_rule_breaks_its_law(void **state)
{
        (void)state;
        static const struct {
                const char *names;
                enum law law;
        } controls[] = {
                {"bias_ends", LAW_BIAS},
                {"make_safe", LAW_SIDEWAYS},
                {"home", LAW_SIDEWAYS},
                {"look_first", LAW_SIDEWAYS},
                {"latched", LAW_END},
                {"paused", LAW_MANDATE},
                {"prove_place judge_place", LAW_FINAL},
                {"check_opens", LAW_FINAL},
                {"check_intervention", LAW_FINAL},
                {"check_every_dies", LAW_FINAL},
                {"check_closes", LAW_INTERVAL},
                {"calibration_begins sweep_standard solve sweep_verification verify", LAW_CALIBRATION},
                {"not_started", LAW_UNKNOWN}, /* nothing breaks once a run is started: the campaign can also say "none" */
        };
        for (size_t c = 0; c < sizeof controls / sizeof controls[0]; c++) {
                struct rule table[64];
                size_t seen[LAW_COUNT] = {0};
                take_away(table, controls[c].names);
                for (uint64_t seed = 1; seed <= 120 && !(controls[c].law && seen[controls[c].law]); seed++) {
                        struct history h = {.table = table, .rule_n = rule_n};
                        history_begin(&h, seed, NULL);
                        history_run(&h);
                        seen[h.broken]++;
                        history_end(&h);
                }
                if (controls[c].law == LAW_UNKNOWN)
                        assert_int_equal(seen[LAW_UNKNOWN], 120);
                else if (!seen[controls[c].law])
                        fail_msg("without rule %s law %s never broke: the law or the histories are blind", controls[c].names,
                                 law_words[controls[c].law]);
        }
}

/* The other control: a step that a law forbids is let through when that law is taken away, so no law is carried by another. */
static void a_removed_law_lets_its_hazard_through(void **state)
{
        (void)state;
        struct rule table[64];
        size_t with = 0, without = 0;
        take_away(table, "check_intervention");
        for (uint64_t seed = 1; seed <= 150; seed++)
                for (int off = 0; off < 2; off++) {
                        struct history h = {.table = table, .rule_n = rule_n, .law_off = off ? LAW_FINAL : LAW_UNKNOWN};
                        history_begin(&h, seed, NULL);
                        history_run(&h);
                        *(off ? &without : &with) += h.broken == LAW_FINAL;
                        history_end(&h);
                }
        assert_true(with > 5);
        assert_int_equal(without, 0);
}

/* Physical truth, seen by nobody but the fake: with the safety rules gone it must notice, or it proves nothing above. */
static void the_fake_station_notices_what_would_break(void **state)
{
        (void)state;
        struct rule table[64];
        size_t noticed = 0;
        take_away(table, "bias_ends touch_ends read_ladder bias_begins sweep");
        for (uint64_t seed = 1; seed <= 20; seed++) {
                struct history h = {.table = table, .rule_n = rule_n};
                history_begin(&h, seed, &bench_standard);
                h.k.share_fail = 0;
                while (!h.k.broken && h.steps++ < 100) { /* no laws asked */
                        struct step s = decide_by(table, rule_n, &h.b->plan, h.f.e, h.f.now_ns);
                        if (s.kind == STEP_WAIT)
                                break;
                        fold_step(&h.f, &h.k, &s);
                }
                noticed += h.k.broken != NULL;
                history_end(&h);
        }
        assert_int_equal(noticed, 20);
}

static void a_perfect_night_measures_and_proves_everything(void **state)
{
        (void)state;
        struct history h = {.calm = true};
        history_begin(&h, 1, &bench_standard);
        h.k.share_fail = h.k.share_absent = h.k.share_doubtful = h.k.share_flagged = h.k.share_check_fails = h.k.share_refused =
                h.k.share_place_wrong = 0;
        history_run(&h);
        assert_true(h.ended && !h.broken && !h.k.broken);
        assert_int_equal(h.waits, 0);
        struct evidence_counts n = evidence_count(h.f.e, &h.b->plan);
        assert_int_equal(n.measured, 24);
        assert_int_equal(n.proven, 24);
        assert_int_equal(h.f.e->touch_n, 24);
        assert_int_equal(h.f.e->checks, 4);                                   /* opening, after dies 3 and 6, closing */
        assert_int_equal(h.k.touched[3], 1 + 0);                              /* copy of the load: one calibration */
        assert_int_equal(h.k.touched[2], 1 + 4);                              /* copy of the short: one calibration, four checks */
        assert_int_equal(h.f.e->sweeps, 4 + 1 + 4 * 3 + 8 + 8 * (2 + 1 + 2)); /* calibrate, verify, checks, witnesses, conditions */
        history_end(&h);
}

static void a_replayed_night_ends_open(void **state)
{
        (void)state;
        struct bench_options o = bench_standard;
        o.no_checks = o.replayed = true;
        o.proof_required = false;
        o.ladders = 0;
        struct history h = {.calm = true};
        history_begin(&h, 1, &o);
        h.k.share_fail = h.k.share_absent = h.k.share_doubtful = h.k.share_flagged = h.k.share_check_fails = h.k.share_refused =
                h.k.share_place_wrong = 0;
        history_run(&h);
        assert_true(h.ended && !h.broken && !h.k.broken);
        struct evidence_counts n = evidence_count(h.f.e, &h.b->plan);
        assert_int_equal(n.measured, 24);
        assert_int_equal(n.open, 24);
        assert_int_equal(evidence_touches(h.f.e)[0].trust_why, TRUST_WHY_REPLAYED);
        history_end(&h);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(a_perfect_night_measures_and_proves_everything),
                cmocka_unit_test(a_replayed_night_ends_open),
                cmocka_unit_test(laws_hold_and_every_random_night_ends_safe),
                cmocka_unit_test(a_removed_rule_breaks_its_law),
                cmocka_unit_test(a_removed_law_lets_its_hazard_through),
                cmocka_unit_test(the_fake_station_notices_what_would_break),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
