/* recipe_wants.c: what a station, a recording, a ledger or a wafer refuses a plan. */
#include "recipe_planned.h"

static void measured_loads_want_a_meter(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(DEMO, a);
        struct capability_set can = good_station();
        struct plan *p = NULL;
        struct tp_error err = {0};
        r->calibration.load_resistance = LOAD_RESISTANCE_MEASURED;
        r->proof.required = false;
        assert_int_equal(plan_make(r, "W07", &can, NULL, a, &p, &err), CODE_OK);
        can.meter = false;
        assert_int_equal(plan_make(r, "W07", &can, NULL, a, &p, &err), CODE_BAD_INPUT);
        assert_true(strstr(err.text, "no DC meter, which \"load_resistance\": \"measured\" of the calibration needs") != NULL);
        arena_free(a);
}

/* Two more that one change in a file cannot make: the calibration needs a short at each port of a load, and a load. */
static void measured_loads_want_a_load_and_a_short(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(DEMO, a);
        struct tp_error err = {0};
        struct use *uses = r->calibration.standards;
        r->calibration.load_resistance = LOAD_RESISTANCE_MEASURED;
        r->setup.dc_ohm_u = 0.01;
        assert_int_equal(recipe_check(r, a, &err), CODE_OK);
        struct use kept = uses[1];
        uses[1] = uses[r->calibration.standard_n - 1]; /* without the short */
        r->calibration.standard_n--;
        assert_int_equal(recipe_check(r, a, &err), CODE_BAD_INPUT);
        assert_string_equal(err.pointer, "/calibration/load_resistance");
        assert_non_null(strstr(err.text, "no short of the calibration stands at port 1"));
        uses[1] = kept;
        r->calibration.standard_n = 2; /* open and short */
        assert_int_equal(recipe_check(r, a, &err), CODE_BAD_INPUT);
        assert_string_equal(err.pointer, "/calibration/load_resistance");
        assert_non_null(strstr(err.text, "no load with a model to trim"));
        arena_free(a);
}

static void what_the_station_lacks_is_named(void **state)
{
        (void)state;
        struct capability_set can = good_station();
        can.meter = false;
        assert_refused(DEMO, &can, NULL,
                       "this station has no DC meter, which the proof of place needs; add the role to the station or leave that out of the "
                       "recipe");
        can = good_station();
        can.analyzer = false;
        assert_refused(
                DEMO, &can, NULL,
                "this station has no analyzer, which every sweep needs; add the role to the station or leave that out of the recipe");
        can = good_station();
        can.stage = false;
        assert_refused(DEMO, &can, NULL,
                       "this station has no stage, which every touch needs; add the role to the station or leave that out of the recipe");
        can = good_station();
        can.bias = false;
        assert_refused(DEMO, &can, NULL,
                       "this station has no bias supply, which device C1 needs for 10 V; add the role or leave the condition out");
        can = good_station();
        can.volt_max = 5;
        assert_refused(DEMO, &can, NULL, "device C1: 10 V asked, this station gives at most 5 V; lower the bias or use another supply");
        can = good_station();
        can.switch_terms = false;
        assert_refused(DEMO, &can, NULL,
                       "calibration: the recipe wants switch terms, this station's analyzer gives none; set calibration.switch_terms to "
                       "false or use solt");
        can = good_station();
        can.points_max = 401;
        assert_refused(DEMO, &can, NULL, "sweep wide: 681 points, this analyzer takes at most 401; use fewer");
        can = good_station();
        can.spacing_um = 400;
        assert_refused(DEMO, &can, NULL,
                       "standard OPEN_AIR: needs 200 um between the signal tips, the probes now stand at 400 um; set them and calibrate");
}

static void a_base_needs_a_supply_that_holds_a_current(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(DEMO, a);
        struct plan *p = NULL;
        struct tp_error err = {0};
        struct capability_set can = good_station();
        r->measures[4].conditions[0].has_base = true;
        r->measures[4].conditions[0].base = (struct current_source){.ampere = 1e-4, .channel = 2, .limit_v = 1.2};
        can.bias_current = false;
        if (plan_make(r, "W07", &can, NULL, a, &p, &err) != CODE_BAD_INPUT ||
            strcmp(err.text,
                   "this station's bias supply holds no current, which the base of device C1 needs; use another supply or leave the "
                   "condition out") != 0)
                fail_msg("%s", err.text);
        can.bias_current = true;
        assert_int_equal(plan_make(r, "W07", &can, NULL, a, &p, &err), CODE_OK);
        arena_free(a);
}

/* A positioner may move for standards, within its range, and each target says where; devices stay at the setup's spacing. */
static void a_positioner_moves_for_the_standards_of_a_calibration_alone(void **state)
{
        (void)state;
        struct capability_set can = good_station();
        assert_refused(BANDS, &can, NULL,
                       "standard LINE_0450: needs 450 um between the signal tips, the setup \"gsg75_200\" has 200 um and this station "
                       "cannot move its probes apart; leave it out or use another setup");
        can.spacing_um_min = 150;
        can.spacing_um_max = 6000;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(BANDS, a);
        struct plan *p = plan_of(r, &can, NULL, a);
        static const double want_um[] = {200, 200, 200, 200, 450, 900, 2100, 5250};
        assert_int_equal(p->calibrate_n, 8);
        for (size_t i = 0; i < 8; i++)
                assert_true(p->targets[p->calibrate[i]].spacing_um == want_um[i]);
        for (size_t i = 0; i < p->visit_n; i++)
                assert_true(p->targets[p->visits[i]].spacing_um == 200);
        can.spacing_um_max = 5000;
        assert_refused(BANDS, &can, NULL,
                       "standard LINE_5250: needs 5250 um between the signal tips, this station's positioner goes from 150 to 5000 um; "
                       "leave it out");
        can.spacing_um_max = 6000;
        r->layout.devices[2].footprint.spacing_um = 450;
        struct tp_error err = {0};
        struct plan *none = NULL;
        assert_int_equal(plan_make(r, "W07", &can, NULL, a, &none, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "another spacing is another setup"));
        arena_free(a);
        /* a station without one leaves the probes as they are */
        a = arena_new(0);
        can = good_station();
        r = recipe_of_file(DEMO, a);
        p = plan_of(r, &can, NULL, a);
        for (size_t i = 0; i < p->target_n; i++)
                assert_true(p->targets[i].spacing_um == 0);
        arena_free(a);
}

static void the_first_frequency_that_does_not_fit_is_named(void **state)
{
        (void)state;
        struct capability_set can = good_station();
        can.freq_hz_max = 110e9;
        assert_refused(DEMO, &can, NULL,
                       "sweep wide: 110500000000 Hz is outside what this station sweeps, 70000 Hz to 110000000000 Hz; change the sweep");
        can.freq_hz_min = 100e3;
        assert_refused(DEMO, &can, NULL,
                       "sweep wide: 70000 Hz is outside what this station sweeps, 100000 Hz to 110000000000 Hz; change the sweep");
}

static void a_recording_is_planned_without_checks_and_without_proof(void **state)
{
        (void)state;
        double hz[750], spacings[6];
        struct capability_set can = recording(hz, spacings);
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(RAW, a);
        struct plan *p = plan_of(r, &can, NULL, a);
        assert_true(p->replayed);
        assert_int_equal(p->check_times, 0);
        assert_int_equal(p->check_n + p->verify_n + p->prove_n, 0);
        assert_int_equal(p->calibrate_n, 6);
        assert_int_equal(p->visit_n, 1);
        assert_int_equal(p->die_n, 1);
        assert_true(p->targets[p->calibrate[1]].x_um == -6000 && p->targets[p->calibrate[1]].place == PLACE_WAFER);
        assert_string_equal(p->things[p->targets[p->calibrate[1]].things[2]].serial,
                            "W07"); /* standards on the wafer wear with the wafer */
        arena_free(a);
}

static void what_was_not_recorded_is_refused(void **state)
{
        (void)state;
        double hz[750], spacings[6];
        struct capability_set can = recording(hz, spacings);
        memmove(hz + 100, hz + 101, 649 * sizeof *hz); /* 20.2 GHz is missing */
        can.axis_n = 749;
        assert_refused(RAW, &can, NULL,
                       "sweep recorded: 20200000000 Hz was not recorded; the recording has 749 frequencies from 200000000 Hz to "
                       "150000000000 Hz, ask only those");
        can = recording(hz, spacings);
        spacings[3] = 1900;
        assert_refused(RAW, &can, NULL,
                       "device LINE_1800: needs 1800 um between the signal tips, which is not among the 6 spacings this station has; leave "
                       "it out");
        can = recording(hz, spacings);
        spacings[5] = 5300;
        assert_refused(RAW, &can, NULL,
                       "standard LINE_5250: needs 5250 um between the signal tips, which is not among the 6 spacings this station has; "
                       "leave it out");
        can = recording(hz, spacings);
        can.spacing_n = 0;
        assert_refused(RAW, &can, NULL,
                       "standard LINE_0450: needs 450 um between the signal tips, the setup \"recorded\" has 200 um and this station "
                       "cannot move its probes apart; leave it out or use another setup");
}

static void a_thing_over_its_budget_is_named_with_what_was_used(void **state)
{
        (void)state;
        static const char *copy[] = {"copy", "CS1", "SHORT_B", "44"}, *pad[] = {"pad", "W07", "0,0/R1", "4"},
                          *tip[] = {"tip", "P2", "tips", "19600"};
        struct capability_set can = good_station();
        struct ledger_view ledger = {.used = ledger_reads, .ctx = copy};
        assert_refused(DEMO, &can, &ledger, "copy SHORT_B of CS1: 44 touches used, this run needs 7, its budget is 50; use another copy");
        ledger.ctx = pad;
        assert_refused(DEMO, &can, &ledger,
                       "pad 0,0/R1 of W07: 4 touches used, this run needs 1, its budget is 4; leave this device or this wafer out");
        ledger.ctx = tip;
        assert_refused(DEMO, &can, &ledger,
                       "tip tips of P2: 19600 touches used, this run needs 442, its budget is 20000; fit a fresh probe");
        copy[3] = "43"; /* exactly enough */
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(DEMO, a);
        ledger.ctx = copy;
        plan_of(r, &can, &ledger, a);
        arena_free(a);
}

static void a_wafer_without_a_proper_name_is_refused(void **state)
{
        (void)state;
        static const char *const names[] = {"", "W 7", "=W7", "W/7", "0123456789012345678901234567890123456789"};
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(DEMO, a);
        struct capability_set can = good_station();
        struct plan *p = NULL;
        struct tp_error err = {0};
        for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
                assert_int_equal(plan_make(r, names[i], &can, NULL, a, &p, &err), CODE_BAD_INPUT);
                assert_non_null(strstr(err.text, names[i]));
        }
        assert_null(p);
        arena_free(a);
}

/* Seven ways to lay the wafer wrongly: turned by quarters, mirrored, both.  The die under the tips is then another one, and on at least one
   of the recipe's proof dies its ladder reads another code.  So is a wafer shifted by one die in any direction. */
static void a_turned_mirrored_or_shifted_wafer_fails_the_proof(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        static const char *const files[] = {DEMO, "tests/nights/tiny.json"};
        for (size_t f = 0; f < 2; f++) {
                struct recipe *r = recipe_of_file(files[f], a);
                struct die *dies = NULL;
                size_t n = 0;
                assert_int_equal(layout_dies(&r->layout, a, &dies, &n, NULL), CODE_OK);
                for (int wrong = 1; wrong < 16; wrong++) {
                        bool differs = false;
                        for (size_t i = 0; i < r->proof.die_n; i++) {
                                int x = r->proof.dies[i].x, y = r->proof.dies[i].y, u = x, v = y;
                                if (wrong < 8) { /* bit 0 mirrors, bits 1-2 quarter turns */
                                        u = wrong & 1 ? -x : x;
                                        v = y;
                                        for (int turn = 0; turn < wrong >> 1; turn++) {
                                                int keep = u;
                                                u = -v;
                                                v = keep;
                                        }
                                } else {
                                        static const int step[8][2] = {{1, 0}, {-1, 0}, {0, 1},  {0, -1},
                                                                       {1, 1}, {1, -1}, {-1, 1}, {-1, -1}};
                                        u = x + step[wrong - 8][0];
                                        v = y + step[wrong - 8][1];
                                }
                                differs = differs || ladder_code(&r->layout, dies, n, u, v) != ladder_code(&r->layout, dies, n, x, y);
                        }
                        if (!differs)
                                fail_msg("%s: case %d reads the right codes", files[f], wrong);
                }
        }
        arena_free(a);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(measured_loads_want_a_meter),
                cmocka_unit_test(measured_loads_want_a_load_and_a_short),
                cmocka_unit_test(what_the_station_lacks_is_named),
                cmocka_unit_test(a_base_needs_a_supply_that_holds_a_current),
                cmocka_unit_test(a_positioner_moves_for_the_standards_of_a_calibration_alone),
                cmocka_unit_test(the_first_frequency_that_does_not_fit_is_named),
                cmocka_unit_test(a_recording_is_planned_without_checks_and_without_proof),
                cmocka_unit_test(what_was_not_recorded_is_refused),
                cmocka_unit_test(a_thing_over_its_budget_is_named_with_what_was_used),
                cmocka_unit_test(a_wafer_without_a_proper_name_is_refused),
                cmocka_unit_test(a_turned_mirrored_or_shifted_wafer_fails_the_proof),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
