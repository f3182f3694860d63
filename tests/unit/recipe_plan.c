/* The plan: what is visited in which order, what each touch spends, what a station or a ledger refuses. */
#include "tests/unit/recipe_helper.h"
#include "recipe/recipe_own.h"
#include <math.h>

#define DEMO "simulators/demo/recipe.json"
#define BANDS "tests/unit/golden/bands.recipe.json"
#define RAW "tests/station/replay/onwafer_raw.recipe.json"

static struct plan *plan_of(const struct recipe *r, const struct capability_set *can, const struct ledger_view *ledger, struct arena *a)
{
        struct plan *p = NULL;
        struct tp_error err = {0};
        if (plan_make(r, "W07", can, ledger, a, &p, &err))
                fail_msg("%s", err.text);
        return p;
}

static void assert_refused(const char *path, const struct capability_set *can, const struct ledger_view *ledger, const char *sentence)
{
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(path, a);
        struct plan *p = NULL;
        struct tp_error err = {0};
        if (plan_make(r, "W07", can, ledger, a, &p, &err) != CODE_BAD_INPUT || p || strcmp(err.text, sentence) != 0)
                fail_msg("wanted \"%s\", got \"%s\"", sentence, err.text);
        arena_free(a);
}

static void the_demo_visits_each_device_of_60_dies_once_dummies_first(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(DEMO, a);
        struct capability_set can = good_station();
        struct plan *p = plan_of(r, &can, NULL, a);
        unsigned char seen[60][7] = {{0}};
        assert_int_equal(p->die_n, 60);
        assert_int_equal(p->visit_die_n, 60);
        assert_int_equal(p->visit_n, 420);
        for (size_t v = 0; v < p->visit_die_n; v++) {
                assert_int_equal(p->visit_begin[v + 1] - p->visit_begin[v], 7);
                for (int32_t i = p->visit_begin[v]; i < p->visit_begin[v + 1]; i++) {
                        const struct target *t = &p->targets[p->visits[i]];
                        assert_int_equal(t->kind, TARGET_DEVICE);
                        assert_int_equal(t->die, p->visit_die[v]);
                        assert_int_equal(t->item, i - p->visit_begin[v]);
                        assert_int_equal(seen[t->die][t->item]++, 0);
                }
        }
        uint16_t order[60];
        for (size_t v = 0; v < 60; v++)
                order[v] = (uint16_t)p->visit_die[v];
        assert_true(die_order_aliasing(p->dies, order, 60) < 0.01);
        arena_free(a);
}

static void a_target_stands_at_its_dies_centre_plus_the_devices_offset(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(DEMO, a);
        struct capability_set can = good_station();
        struct plan *p = plan_of(r, &can, NULL, a);
        for (size_t i = 0; i < p->target_n; i++) {
                const struct target *t = &p->targets[i];
                if (t->kind != TARGET_DEVICE || p->dies[t->die].x != -2 || p->dies[t->die].y != 1 ||
                    strcmp(r->measures[t->item].device, "C1") != 0)
                        continue;
                /* by hand: 1500 - 2 * 9400 + 1000; -2000 + 9600 + 3000 */
                assert_true(t->x_um == -16300 && t->y_um == 10600 && t->place == PLACE_WAFER && !t->raised);
                assert_int_equal(t->thing_n, 3);
                const struct plan_thing *pad = &p->things[t->things[2]];
                assert_string_equal(pad->kind, "pad");
                assert_string_equal(pad->serial, "W07");
                assert_string_equal(pad->part, "-2,1/C1");
                assert_int_equal(pad->budget, 4);
                assert_string_equal(p->things[t->things[0]].serial, "P1");
                assert_string_equal(p->things[t->things[1]].serial, "P2");
                assert_string_equal(p->things[t->things[1]].part, "tips");
                /* step 1.2 s, contact 2.3 s, DC 0.2 s, sweep 8.8395 s, 10 V up and down at 50 V/s 0.4 s, settle 0.2 s */
                assert_true(fabs(t->seconds - 13.1395) < 1e-9);
                arena_free(a);
                return;
        }
        fail_msg("no target for C1 of die -2,1");
}

static void standards_are_touched_as_often_as_calibration_verification_and_checks_say(void **state)
{
        (void)state;
        static const struct {
                const char *part;
                int32_t touches;
        } want[] = {{"SHORT_A", 1}, {"LOAD_A", 1}, {"THRU_A", 1}, {"SHORT_B", 7}, {"LOAD_B", 1}, {"THRU_B", 7}, {"MISMATCH_A", 1}};
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(DEMO, a);
        struct capability_set can = good_station();
        struct plan *p = plan_of(r, &can, NULL, a);
        assert_int_equal(p->check_times, 6); /* one opening, then after 12, 24, 36, 48 and 60 dies */
        for (size_t k = 0; k < sizeof want / sizeof want[0]; k++) {
                size_t found = 0;
                for (size_t i = 0; i < p->thing_n; i++)
                        if (strcmp(p->things[i].kind, "copy") == 0 && strcmp(p->things[i].part, want[k].part) == 0) {
                                assert_string_equal(p->things[i].serial, "CS1");
                                assert_int_equal(p->things[i].reserved, want[k].touches);
                                found++;
                        }
                assert_int_equal(found, 1);
        }
        assert_int_equal(p->touches_total, 420 + 3 + 19);
        assert_int_equal(p->things[0].reserved, 442);
        assert_int_equal(p->calibrate_n, 4);
        const struct target *open = &p->targets[p->calibrate[0]];
        assert_true(open->raised && open->thing_n == 0 && open->place == PLACE_SUBSTRATE && open->x_um == 0 && open->y_um == -2000 &&
                    open->die == -1);
        assert_int_equal(p->verify_n, 4);
        assert_int_equal(p->check_n, 2);
        assert_int_equal(p->check[0], p->verify[2]); /* one target per place, whatever it is used for */
        arena_free(a);
}

static void the_forecast_is_the_sum_of_its_visits(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(DEMO, a);
        struct capability_set can = good_station();
        struct plan *p = plan_of(r, &can, NULL, a);
        /* by hand, seconds: 60 dies x (7 x 12.5395 + 0.6), 3 ladders x 3.7, 6 checks x (2 x 12.3395 + 8.8395), 60 raised opens x 8.8395;
         * calibration 3 x 12.3395 + 10.0395, verification 4 x 12.3395 */
        double wafer = 60 * (7 * 12.5395 + 0.6) + 3 * 3.7 + 6 * (2 * 12.3395 + 8.8395) + 60 * 8.8395;
        assert_true(fabs(p->seconds_wafer - wafer) < 1e-6);
        assert_true(fabs(p->seconds_total - wafer - 7 * 12.3395 - 10.0395) < 1e-6);
        arena_free(a);
}

static void excluded_dies_are_in_the_list_but_never_visited(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(DEMO, a);
        struct die_at out[] = {{.x = 1, .y = 1}, {.x = -1, .y = 0}};
        struct capability_set can = good_station();
        r->layout.excluded = out;
        r->layout.excluded_n = 2;
        struct plan *p = plan_of(r, &can, NULL, a);
        assert_int_equal(p->die_n, 60);
        assert_int_equal(p->visit_die_n, 58);
        for (size_t i = 0; i < p->target_n; i++)
                assert_true(p->targets[i].die < 0 || !p->dies[p->targets[i].die].excluded);
        arena_free(a);
}

static int32_t ledger_reads(void *ctx, const char *kind, const char *serial, const char *part)
{
        const char *const *row = ctx; /* kind, serial, part, touches */
        return strcmp(kind, row[0]) == 0 && strcmp(serial, row[1]) == 0 && strcmp(part, row[2]) == 0 ? atoi(row[3]) : 0;
}

static void the_same_recipe_makes_the_same_plan_whatever_the_ledger_holds(void **state)
{
        (void)state;
        static const char *row[] = {"tip", "P1", "tips", "1000"};
        struct ledger_view ledger = {.used = ledger_reads, .ctx = row};
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(DEMO, a);
        struct capability_set can = good_station();
        struct plan *p = plan_of(r, &can, NULL, a), *q = plan_of(r, &can, &ledger, a), *other = NULL;
        assert_memory_equal(p->digest, q->digest, 32);
        assert_int_equal(q->things[0].used, 1000);
        assert_int_equal(plan_make(r, "W08", &can, NULL, a, &other, NULL), CODE_OK);
        assert_memory_not_equal(p->digest, other->digest, 32);
        r->order = ORDER_SNAKE;
        other = plan_of(r, &can, NULL, a);
        assert_memory_not_equal(p->digest, other->digest, 32);
        arena_free(a);
}

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

static struct capability_set recording(double *hz, double *spacings)
{
        for (int i = 0; i < 750; i++)
                hz[i] = 2e8 * (i + 1);
        static const double um[] = {200, 450, 900, 1800, 3500, 5250};
        memcpy(spacings, um, sizeof um);
        return (struct capability_set){.analyzer = true,
                                       .stage = true,
                                       .switch_terms = true,
                                       .replayed = true,
                                       .axis_hz = hz,
                                       .axis_n = 750,
                                       .spacings_um = spacings,
                                       .spacing_n = 6};
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

static void the_tiny_recipe_is_8_dies_of_4_devices_and_21_points(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file("tests/nights/tiny.json", a);
        struct capability_set can = good_station();
        struct plan *p = plan_of(r, &can, NULL, a);
        double *hz = NULL;
        size_t n = 0;
        assert_int_equal(p->visit_die_n, 8);
        assert_int_equal(p->visit_n, 32);
        assert_int_equal(p->check_times, 3);
        assert_int_equal(sweep_axis(recipe_sweep(r, "wide"), a, &hz, &n, NULL), CODE_OK);
        assert_int_equal(n, 21);
        arena_free(a);
}

static void all_recordings_recipes_are_read(void **state)
{
        (void)state;
        static const char *const names[] = {"onwafer_raw", "onwafer_raw_wrong_offset", "onwafer_corrected", "mtrl_small"};
        for (size_t i = 0; i < 4; i++) {
                struct arena *a = arena_new(0);
                char path[128];
                snprintf(path, sizeof path, "tests/station/replay/%s.recipe.json", names[i]);
                struct recipe *r = recipe_of_file(path, a);
                assert_true(r->calibration.reflect_offset_um == (i == 1 ? -100 : i == 3 ? 10 : 0));
                arena_free(a);
        }
}

/* The layout beside the demo recipe is the recipe's own. */
static void the_demo_layout_file_is_the_recipes_layout(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file(DEMO, a);
        struct layout l;
        size_t n = 0;
        char *text = file_text("simulators/demo/layout.json", &n);
        cJSON *json = cJSON_Parse(text);
        struct text one, two;
        assert_int_equal(layout_read(json, a, &l, NULL), CODE_OK);
        text_init(&one, 0);
        text_init(&two, 0);
        struct json_out o = json_to(&one), q = json_to(&two);
        fields_write(&layout_object, &l, &o, NULL);
        fields_write(&layout_object, &r->layout, &q, NULL);
        assert_string_equal(text_of(&one), text_of(&two));
        text_done(&one);
        text_done(&two);
        cJSON_Delete(json);
        free(text);
        arena_free(a);
}

/* Memory that runs out at any point is a refusal, never a crash or half a plan. */
static void memory_that_runs_out_is_said(void **state)
{
        (void)state;
        size_t n = 0, good = 0, refused = 0;
        char *text = file_text("tests/nights/tiny.json", &n);
        struct capability_set can = good_station();
        for (size_t bytes = 256; bytes < 200000 && !good; bytes += 1024) {
                struct arena *a = arena_new(bytes);
                struct recipe *r = NULL;
                struct plan *p = NULL;
                struct tp_error err = {0};
                enum code code = recipe_read(text, n, a, &r, &err);
                if (!code)
                        code = plan_make(r, "W1", &can, NULL, a, &p, &err);
                if (code) {
                        if (code != CODE_MEMORY)
                                fail_msg("%zu bytes: %s", bytes, err.text);
                        assert_null(p);
                        refused++;
                } else
                        good++;
                arena_free(a);
        }
        assert_true(good == 1 && refused > 5);
        free(text);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(the_demo_visits_each_device_of_60_dies_once_dummies_first),
                cmocka_unit_test(a_target_stands_at_its_dies_centre_plus_the_devices_offset),
                cmocka_unit_test(standards_are_touched_as_often_as_calibration_verification_and_checks_say),
                cmocka_unit_test(the_forecast_is_the_sum_of_its_visits),
                cmocka_unit_test(excluded_dies_are_in_the_list_but_never_visited),
                cmocka_unit_test(the_same_recipe_makes_the_same_plan_whatever_the_ledger_holds),
                cmocka_unit_test(measured_loads_want_a_meter),
                cmocka_unit_test(measured_loads_want_a_load_and_a_short),
                cmocka_unit_test(what_the_station_lacks_is_named),
                cmocka_unit_test(a_positioner_moves_for_the_standards_of_a_calibration_alone),
                cmocka_unit_test(the_first_frequency_that_does_not_fit_is_named),
                cmocka_unit_test(a_recording_is_planned_without_checks_and_without_proof),
                cmocka_unit_test(what_was_not_recorded_is_refused),
                cmocka_unit_test(a_thing_over_its_budget_is_named_with_what_was_used),
                cmocka_unit_test(a_wafer_without_a_proper_name_is_refused),
                cmocka_unit_test(a_turned_mirrored_or_shifted_wafer_fails_the_proof),
                cmocka_unit_test(the_tiny_recipe_is_8_dies_of_4_devices_and_21_points),
                cmocka_unit_test(all_recordings_recipes_are_read),
                cmocka_unit_test(the_demo_layout_file_is_the_recipes_layout),
                cmocka_unit_test(memory_that_runs_out_is_said),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
