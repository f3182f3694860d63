/* recipe_plan.c: what is visited in which order and what each touch spends. */
#include "recipe_planned.h"
#include <math.h>

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
                cmocka_unit_test(the_tiny_recipe_is_8_dies_of_4_devices_and_21_points),
                cmocka_unit_test(all_recordings_recipes_are_read),
                cmocka_unit_test(the_demo_layout_file_is_the_recipes_layout),
                cmocka_unit_test(memory_that_runs_out_is_said),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
