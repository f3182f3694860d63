/* store_write.c: what goes in comes out again, in order, once. */
#include "store_help.h"

static struct view *open_view(struct bed *b, const char *run)
{
        struct view *v = view_open(b->s, run, world_boot_ns(b->w) + 10 * NS_PER_S, &b->err);
        if (!v)
                fail_msg("view: %s", b->err.text);
        return v;
}

static void a_stored_sweep_comes_back_byte_for_byte(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, POINTS);
        struct view *v = open_view(b, RUN_A);
        char dtype[8];
        const void *bytes;
        size_t n;
        for (size_t i = 0; i < 6; i++) {
                assert_int_equal(view_trace(v, 12, trace_names[i], a, dtype, &bytes, &n, &b->err), CODE_OK);
                assert_string_equal(dtype, "c128le");
                assert_int_equal(n, POINTS * 16);
                assert_int_equal(((const unsigned char *)bytes)[0], i);
                assert_memory_equal((const char *)bytes + 9, b->raw + 9, n - 9);
        }
        assert_int_equal(view_trace(v, 12, "S99", a, dtype, &bytes, &n, &b->err), CODE_NOT_FOUND);
        double *hz;
        assert_int_equal(view_axis(v, 1, a, &hz, &n, &b->err), CODE_OK);
        assert_int_equal(n, POINTS);
        assert_memory_equal(hz, b->hz, sizeof b->hz);
        struct sweep_row *sweeps;
        assert_int_equal(view_sweeps(v, NULL, a, &sweeps, &n, &b->err), CODE_OK);
        assert_int_equal(n, 1);
        assert_int_equal(sweeps[0].id, 12);
        assert_int_equal(sweeps[0].touchdown, 10);
        assert_int_equal(sweeps[0].die_y, -3);
        assert_string_equal(sweeps[0].device, "L1");
        assert_string_equal(sweeps[0].outcome, "good");
        assert_int_equal(view_unevaluated(v, 1, a, &sweeps, &n, &b->err), CODE_OK);
        assert_int_equal(n, 1);
        view_close(v);
        arena_free(a);
}

static void the_journal_comes_back_as_it_was_written(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        bed_run(b, RUN_A, 3);
        struct work *w = work_new(RUN_A);
        struct entry *e = add_entry(w, 3, 1, 0, PHASE_NOTE, STEP_NONE);
        e->body.note.note = NOTE_SKIP_DIE;
        e->body.note.die_x = -4;
        snprintf(e->body.note.who, sizeof e->body.note.who, "anna");
        e = add_entry(w, 3, 2, 2, PHASE_INTEND, STEP_LOWER);
        e->rule = 17;
        e->body.args.x_um = 0.1 + 0.2;
        e->body.args.overtravel_um = 62.5;
        bed_must(b, w);
        w = work_new(RUN_A);
        e = add_entry(w, 3, 3, 2, PHASE_OUTCOME, STEP_LOWER);
        e->code = CODE_LINK_DEAD;
        e->body.outcome.state.x_um = 1e-300;
        snprintf(e->body.outcome.reason, sizeof e->body.outcome.reason, "link lost");
        bed_must(b, w);
        struct view *v = open_view(b, RUN_A);
        struct entry *entries;
        size_t n;
        assert_int_equal(view_entries(v, 0, 0, a, &entries, &n, &b->err), CODE_OK);
        assert_int_equal(n, 3);
        assert_int_equal(entries[0].body.note.note, NOTE_SKIP_DIE);
        assert_int_equal(entries[0].body.note.die_x, -4);
        assert_string_equal(entries[0].body.note.who, "anna");
        assert_int_equal(entries[1].rule, 17);
        assert_true(entries[1].step == (UINT64_C(3) << 32 | 2));
        assert_true(entries[1].body.args.x_um == 0.1 + 0.2);
        assert_int_equal(entries[2].code, CODE_LINK_DEAD);
        assert_int_equal(entries[2].kind, STEP_LOWER);
        assert_true(entries[2].body.outcome.state.x_um == 1e-300);
        assert_string_equal(entries[2].body.outcome.reason, "link lost");
        assert_int_equal(view_entries(v, 1, 1, a, &entries, &n, &b->err), CODE_OK);
        assert_int_equal(n, 1);
        assert_int_equal(entries[0].seq, 2);
        const char *plan, *recipe;
        assert_int_equal(view_plan(v, a, &plan, &recipe, &n, &b->err), CODE_OK);
        assert_string_equal(plan, "{\"visits\":[1,2,3]}");
        assert_string_equal(recipe, recipe_body);
        view_close(v);
        arena_free(a);
}

static void an_outcome_told_twice_is_written_once(void **state)
{
        struct bed *b = *state;
        struct store_done done;
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        struct work *w = work_new(RUN_A); /* the station tells it again, the daemon has journalled it under a later seq */
        add_entry(w, 1, 14, 12, PHASE_OUTCOME, STEP_SWEEP);
        add_sweep(b, w, 12, 10, 21);
        add_ledger(w, 14, 1);
        assert_int_equal(bed_do(b, w, DURABLE, &done), CODE_OK);
        assert_true(done.duplicate);
        struct view *v = open_view(b, RUN_A);
        struct arena *a = arena_new(0);
        struct entry *entries;
        size_t n;
        int32_t used;
        assert_int_equal(view_entries(v, 0, 0, a, &entries, &n, &b->err), CODE_OK);
        assert_int_equal(n, 4);
        assert_int_equal(view_ledger_used(v, "pad", "W7", "2_-3/L1", &used, &b->err), CODE_OK);
        assert_int_equal(used, 1);
        view_close(v);
        arena_free(a);
}

static void a_bad_work_takes_nothing_with_it(void **state)
{
        struct bed *b = *state;
        bed_run(b, RUN_A, 1);
        struct work *w = work_new(RUN_A);
        add_ledger(w, 5, 1);
        add_entry(w, 1, 5, 5, PHASE_INTEND, STEP_LOWER);
        add_touch(w, 5);
        add_sweep(b, w, 99, 0, 21); /* its intention, entry 99, is not in the journal */
        assert_int_equal(bed_do(b, w, DURABLE, NULL), CODE_STATE);
        assert_non_null(strstr(b->err.text, "sweep"));
        bed_touch(b, RUN_A, 1, 5, 21);
        struct view *v = open_view(b, RUN_A);
        int32_t used;
        assert_int_equal(view_ledger_used(v, "pad", "W7", "2_-3/L1", &used, &b->err), CODE_OK);
        assert_int_equal(used, 1);
        view_close(v);
        w = work_new(RUN_B);
        add_entry(w, 1, 1, 1, PHASE_INTEND, STEP_LOWER);
        assert_int_equal(bed_do(b, w, DURABLE, NULL), CODE_STATE);
        assert_non_null(strstr(b->err.text, RUN_B));
}

static void spending_another_number_under_one_intention_is_refused(void **state)
{
        struct bed *b = *state;
        bed_run(b, RUN_A, 1);
        for (int i = 0; i < 2; i++) {
                struct work *w = work_new(RUN_A);
                add_ledger(w, 7, 1);
                bed_must(b, w);
        }
        struct work *w = work_new(RUN_A);
        add_ledger(w, 7, 2);
        assert_int_equal(bed_do(b, w, DURABLE, NULL), CODE_STATE);
}

static void answers_come_in_the_order_of_submission(void **state)
{
        struct bed *b = *state;
        bed_run(b, RUN_A, 1);
        for (uint64_t i = 1; i <= 200; i++) {
                struct work *w = work_new(RUN_A);
                add_entry(w, 1, i, i, PHASE_INTEND, STEP_MOVE);
                struct fact *f = work_add(w, FACT_EVENT);
                f->of.event.topic = "map";
                f->of.event.ref = RUN_A;
                f->of.event.body = "{}";
                w->answer = b->answers;
                w->cookie = i;
                assert_true(store_submit(b->s, w, i % 3 ? DURABLE : LAZY));
        }
        for (uint64_t i = 1; i <= 200; i++) {
                struct store_done *done =
                        (struct store_done *)(void *)b->w->task->take(b->w, b->answers, world_boot_ns(b->w) + 30 * NS_PER_S);
                assert_non_null(done);
                assert_int_equal(done->cookie, i);
                assert_int_equal(done->code, CODE_OK);
                assert_int_equal(done->event_seq, i);
                done->message.free(&done->message);
        }
        struct store_health h = store_health(b->s);
        assert_int_equal(h.oldest_waiting_ns, 0);
        assert_int_equal(h.queued_bytes, 0);
        assert_true(h.commits < 203);
        struct view *v = open_view(b, NULL);
        struct arena *a = arena_new(0);
        struct event_row *events;
        size_t n;
        uint64_t first;
        assert_int_equal(view_events(v, 150, 20, a, &events, &n, &first, &b->err), CODE_OK);
        assert_int_equal(n, 20);
        assert_int_equal(events[0].seq, 151);
        assert_int_equal(events[0].epoch, b->report.epoch);
        assert_int_equal(first, 1);
        view_close(v);
        arena_free(a);
}

static void catalogue_rows_come_back(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        char token[69];
        uint8_t digest[32], request[32] = {1}, other[32] = {2}, got[32];
        token_make(b->w, token, digest);
        struct work *w = work_new(NULL);
        struct fact *f = work_add(w, FACT_TOKEN);
        f->of.token.id = "01JABCDEFGH0000000000000TT";
        f->of.token.person = "anna";
        f->of.token.role = "operate";
        f->of.token.label = "desk";
        memcpy(f->of.token.digest, digest, 32);
        f = work_add(w, FACT_ALARM);
        f->of.alarm.cause = "contact lost";
        f->of.alarm.sentence = "die 4,-3 lost contact";
        f->of.alarm.action = "look";
        f->of.alarm.latched = true;
        bed_must(b, w);
        for (int i = 0; i < 3; i++) { /* accepted, repeated, then with another body */
                struct store_done done;
                w = work_new(NULL);
                f = work_add(w, FACT_COMMAND);
                f->of.command.key = "k1";
                f->of.command.token = "01JABCDEFGH0000000000000TT";
                f->of.command.body = "{}";
                memcpy(f->of.command.request, i < 2 ? request : other, 32);
                assert_int_equal(bed_do(b, w, DURABLE, &done), i < 2 ? CODE_OK : CODE_BAD_INPUT);
                assert_int_equal(done.duplicate, i == 1);
        }
        w = work_new(NULL);
        f = work_add(w, FACT_COMMAND_DONE);
        f->of.command.key = "k1";
        f->of.command.token = "01JABCDEFGH0000000000000TT";
        f->of.command.status = 202;
        f->of.command.reply = "{\"ok\":true}";
        bed_must(b, w);
        struct view *v = open_view(b, NULL);
        struct token_row t;
        assert_int_equal(view_token(v, digest, &t, &b->err), CODE_OK);
        assert_string_equal(t.role, "operate");
        assert_string_equal(t.person, "anna");
        assert_int_equal(view_token(v, other, &t, &b->err), CODE_NOT_FOUND);
        int status;
        const char *reply;
        assert_int_equal(view_command(v, "01JABCDEFGH0000000000000TT", "k1", a, &status, &reply, got, &b->err), CODE_OK);
        assert_int_equal(status, 202);
        assert_string_equal(reply, "{\"ok\":true}");
        assert_memory_equal(got, request, 32);
        struct alarm_row *alarms;
        size_t n;
        assert_int_equal(view_alarms(v, a, &alarms, &n, &b->err), CODE_OK);
        assert_int_equal(n, 1);
        assert_true(alarms[0].latched);
        view_close(v);
        w = work_new(NULL);
        f = work_add(w, FACT_ALARM_CLEAR);
        f->of.alarm.cause = "contact lost";
        f->of.alarm.who = "anna";
        bed_must(b, w);
        v = open_view(b, NULL);
        assert_int_equal(view_alarms(v, a, &alarms, &n, &b->err), CODE_OK);
        assert_int_equal(n, 0);
        view_close(v);
        arena_free(a);
}

/* Calibration, check, interval, trust, evaluation, parameters: one run's conclusions. */
static void conclusions_come_back(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 21);
        struct work *w = work_new(RUN_A);
        add_entry(w, 1, 20, 20, PHASE_INTEND, STEP_CHECK);
        add_entry(w, 1, 21, 20, PHASE_OUTCOME, STEP_CHECK);
        struct fact *f = work_add(w, FACT_CALIBRATION);
        f->of.calibration.id = "01JABCDEFGH0000000000000CC";
        f->of.calibration.number = 1;
        f->of.calibration.method = "solt";
        f->of.calibration.plane = "tip";
        f->of.calibration.domain_json = "{}";
        f->of.calibration.state = "proposed";
        f->of.calibration.z_ref_ohm = 50;
        f->of.calibration.axis = 1;
        f->of.calibration.terms = "term\0bytes";
        f->of.calibration.term_bytes = 10;
        f->of.calibration.diagnosis_json = "{}";
        f->of.calibration.solved_seq = 21;
        f = work_add(w, FACT_CALIBRATION_STATE);
        f->of.calibration_state.id = "01JABCDEFGH0000000000000CC";
        f->of.calibration_state.state = "accepted";
        f = work_add(w, FACT_CHECK);
        f->of.check.id = 20;
        f->of.check.calibration = "01JABCDEFGH0000000000000CC";
        f->of.check.ended = 21;
        f->of.check.passed = true;
        f->of.check.cause = "none";
        f->of.check.modes_json = "[]";
        f = work_add(w, FACT_INTERVAL_OPEN);
        f->of.interval_open.id = 1;
        f->of.interval_open.calibration = "01JABCDEFGH0000000000000CC";
        f->of.interval_open.opened = 20;
        f = work_add(w, FACT_INTERVAL_CLOSE);
        f->of.interval_close.id = 1;
        f->of.interval_close.closed = 21;
        f->of.interval_close.closing_check = 20;
        f->of.interval_close.ended_by = "check";
        f = work_add(w, FACT_EVALUATION);
        f->of.evaluation.n = 1;
        f->of.evaluation.id = "01JABCDEFGH0000000000000EE";
        f->of.evaluation.spec_json = "{}";
        struct parameter_fact *p = arena_take(w->arena, 2 * sizeof *p);
        p[0] = (struct parameter_fact){.sweep = 12,
                                       .quantity = "L",
                                       .unit = "H",
                                       .plane = "tip",
                                       .freq_hz = 1e10,
                                       .value = 1e-9,
                                       .u95 = 1e-11,
                                       .has_value = true,
                                       .verdict = "pass",
                                       .budget = "{}"};
        p[1] = (struct parameter_fact){.sweep = 12,
                                       .quantity = "Q",
                                       .unit = "1",
                                       .plane = "tip",
                                       .freq_hz = 1e10,
                                       .verdict = "none",
                                       .reason = "u95 is 80 % of the value"};
        f = work_add(w, FACT_PARAMETER);
        f->of.parameter.evaluation = 1;
        f->of.parameter.rows = p;
        f->of.parameter.n = 2;
        f = work_add(w, FACT_TRUST);
        f->of.trust.touchdown = 10;
        f->of.trust.entry = 20;
        f->of.trust.trust = "open";
        f->of.trust.reason = "the interval is open";
        f = work_add(w, FACT_TRUST);
        f->of.trust.touchdown = 10;
        f->of.trust.entry = 21;
        f->of.trust.trust = "proven";
        f->of.trust.reason = "the check passed";
        bed_must(b, w);
        struct view *v = open_view(b, RUN_A);
        struct calibration_row *cals;
        struct parameter_row *params;
        struct touchdown_row *touches;
        struct check_row *checks;
        struct interval_row *intervals;
        struct sweep_row *sweeps;
        size_t n;
        assert_int_equal(view_calibrations(v, a, &cals, &n, &b->err), CODE_OK);
        assert_int_equal(n, 1);
        assert_string_equal(cals[0].state, "accepted");
        assert_int_equal(cals[0].term_bytes, 10);
        assert_memory_equal(cals[0].terms, "term\0bytes", 10);
        assert_null(cals[0].covariance);
        assert_int_equal(view_parameters(v, "L1", NULL, 0, a, &params, &n, &b->err), CODE_OK);
        assert_int_equal(n, 2);
        assert_string_equal(params[0].trust, "proven");
        assert_string_equal(params[0].trust_reason, "the check passed");
        assert_true(params[0].has_value && params[0].value == 1e-9);
        assert_false(params[1].has_value);
        assert_string_equal(params[1].reason, "u95 is 80 % of the value");
        assert_int_equal(view_parameters(v, NULL, "Q", 0, a, &params, &n, &b->err), CODE_OK);
        assert_int_equal(n, 1);
        must(b, view_touchdowns(v, a, &touches, &n, &b->err), __LINE__);
        assert_int_equal(n, 1);
        assert_int_equal(touches[0].station_ns, 770);
        assert_string_equal(touches[0].trust, "proven");
        assert_int_equal(view_checks(v, a, &checks, &n, &b->err), CODE_OK);
        assert_int_equal(checks[0].ended, 21);
        assert_int_equal(view_intervals(v, a, &intervals, &n, &b->err), CODE_OK);
        assert_int_equal(intervals[0].closed, 21);
        assert_int_equal(intervals[0].closing, 20);
        assert_int_equal(view_unevaluated(v, 1, a, &sweeps, &n, &b->err), CODE_OK);
        assert_int_equal(n, 0);
        view_close(v);
        arena_free(a);
}

/* A second evaluation trusts its touch in its own way and is shown first; the first one stays what it was. */
static void an_evaluation_more_changes_no_other(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        conclusions_come_back(state);
        bed_must(b, rescue_of_touch_10());
        struct view *v = open_view(b, RUN_A);
        struct parameter_row *params;
        struct evaluation_row *evaluations;
        size_t n;
        assert_int_equal(view_parameters(v, "L1", NULL, 0, a, &params, &n, &b->err), CODE_OK);
        assert_int_equal(n, 1); /* of the sweep the newest evaluation alone */
        assert_int_equal(params[0].evaluation, 2);
        assert_string_equal(params[0].trust, "rescued");
        assert_string_equal(params[0].trust_reason, "between two calibrations");
        assert_true(params[0].value == 1.5e-9);
        assert_int_equal(view_parameters(v, "L1", "L", 1, a, &params, &n, &b->err), CODE_OK);
        assert_int_equal(n, 1);
        assert_string_equal(params[0].trust, "proven");
        assert_string_equal(params[0].trust_reason, "the check passed");
        assert_string_equal(params[0].verdict, "pass");
        assert_true(params[0].value == 1e-9 && params[0].u95 == 1e-11);
        assert_int_equal(view_parameters(v, NULL, NULL, 3, a, &params, &n, &b->err), CODE_OK);
        assert_int_equal(n, 0);
        assert_int_equal(view_evaluations(v, a, &evaluations, &n, &b->err), CODE_OK);
        assert_int_equal(n, 2);
        assert_string_equal(evaluations[1].spec_json, "{\"by\":\"rescue\"}");
        view_close(v);
        arena_free(a);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(a_stored_sweep_comes_back_byte_for_byte, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(the_journal_comes_back_as_it_was_written, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(an_outcome_told_twice_is_written_once, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(a_bad_work_takes_nothing_with_it, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(spending_another_number_under_one_intention_is_refused, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(answers_come_in_the_order_of_submission, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(catalogue_rows_come_back, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(conclusions_come_back, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(an_evaluation_more_changes_no_other, bed_setup, bed_teardown),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
