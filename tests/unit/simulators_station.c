/* simulators_station.c: the simulated station as tipplane-station sees it: roles, clock, restart, truth. */
#include "simulators_station.h"

static void same_seed_gives_the_same_bytes_and_another_seed_gives_others(void **state)
{
        struct caught *a = malloc(3 * sizeof *a);
        double hz[101];
        size_t n = axis(hz, 101);
        (void)state;
        for (int k = 0; k < 3; k++) {
                struct station s;
                station_new(&s, k == 2 ? "\"seed\":5," : "\"seed\":4,", "", false);
                ready(&s);
                touch_device(&s, 0, 0, "L1");
                struct sweep_facts f = sweep(&s, hz, n, &a[k]);
                assert_int_equal(f.trigger_count, 1);
                assert_true(fabs(f.seconds - ((double)n * 2 * (0.012 + 0.15e-3) + 0.24)) <
                            0.13); /* band switches: 20 to 60 ms, three, both directions */
                assert_int_equal(a[k].n, 6);
                assert_string_equal(a[k].names[4], "GF");
                station_end(&s);
        }
        assert_memory_equal(a[0].data, a[1].data, sizeof a[0].data);
        assert_memory_not_equal(a[0].data, a[2].data, sizeof a[0].data);
        free(a);
}

static void the_world_survives_the_death_of_the_station(void **state)
{
        struct station s;
        double volt, a, hz[3] = {1e9, 2e9, 3e9}, ohm[3];
        struct position p;
        struct caught *before = malloc(2 * sizeof *before);
        (void)state;
        station_new(&s, "\"seed\":4,\"state_file\":\"state.json\",", "", false);
        ready(&s);
        touch_device(&s, 1, 0, "C1");
        OK(s.r.bias->set(s.r.bias_me, 1, 10, 1e-3, &s.call));
        sweep(&s, hz, 3, &before[0]);
        int64_t now = s.r.tick(s.r.tick_me);
        s.r.close(&s.r); /* as after SIGKILL: nothing is said to the instruments */
        station_open(&s);
        assert_true(s.r.tick(s.r.tick_me) >= now);
        OK(s.r.stage->where(s.r.stage_me, &p, &s.call));
        assert_true(p.in_contact && p.separated == KNOW_UNKNOWN && p.axes == KNOW_KNOWN && p.z_um == -30 && p.place == PLACE_WAFER);
        OK(s.r.bias->read(s.r.bias_me, 1, &volt, &a, &s.call));
        assert_true(fabs(volt - 10) < 0.01);
        OK(s.r.meter->read_ohm(s.r.meter_me, ohm, &s.call));
        assert_true(ohm[0] > 1e9 && ohm[1] > 1e9);
        struct sweep_facts f = sweep(&s, hz, 3, &before[1]);
        assert_int_equal(f.trigger_count, 2);
        assert_true(cabs(before[0].data[0][1] - before[1].data[0][1]) < 0.005); /* the same touch: the same contact, new noise */
        OK(s.r.stage->separate(s.r.stage_me, &p, &s.call));
        touch_device(&s, 1, 0, "C1");
        station_end(&s);
        free(before);
}

/* A capacitor takes no current: the supply stands at its limit and says so; a held 0 A is an open terminal; a voltage ends the holding; and what
   is held outlives the process, too. */
static void a_held_current_stands_at_its_limit_where_nothing_conducts(void **state)
{
        struct station s;
        double volt, a;
        (void)state;
        station_new(&s, "\"seed\":4,\"state_file\":\"state.json\",", "", false);
        ready(&s);
        touch_device(&s, 1, 0, "C1");
        OK(s.r.bias->force(s.r.bias_me, 1, 1e-3, 0.9, &s.call));
        OK(s.r.bias->read(s.r.bias_me, 1, &volt, &a, &s.call));
        assert_true(fabs(volt - 0.9) < 0.01 && fabs(a) < 1e-8);
        s.r.close(&s.r);
        station_open(&s);
        OK(s.r.bias->read(s.r.bias_me, 1, &volt, &a, &s.call));
        assert_true(fabs(volt - 0.9) < 0.01 && fabs(a) < 1e-8);
        OK(s.r.bias->force(s.r.bias_me, 1, 0, 0.9, &s.call));
        OK(s.r.bias->read(s.r.bias_me, 1, &volt, &a, &s.call));
        assert_true(fabs(volt) < 0.01 && a == 0);
        OK(s.r.bias->set(s.r.bias_me, 1, 3, 1e-3, &s.call));
        OK(s.r.bias->read(s.r.bias_me, 1, &volt, &a, &s.call));
        assert_true(fabs(volt - 3) < 0.01);
        assert_int_equal(s.r.bias->force(s.r.bias_me, 1, 1e-3, 0, &s.call), CODE_BAD_INPUT);
        assert_int_equal(s.r.bias->force(s.r.bias_me, 1, 1e-3, 1000, &s.call), CODE_BAD_INPUT);
        station_end(&s);
}

static void kept_in_memory_the_world_survives_without_a_disk(void **state)
{
        struct sim_kept kept = {0};
        struct station s;
        struct position p;
        double volt, a;
        (void)state;
        station_new(&s, "\"seed\":4,", "", false);
        s.r.close(&s.r);
        OK(simulated_open_kept(&s.t.world, s.config, strlen(s.config), s.dir, &kept, &s.r, &s.err));
        ready(&s);
        touch_device(&s, 0, 0, "C1");
        OK(s.r.bias->set(s.r.bias_me, 0, 3, 1, &s.call));
        s.t.full = true;
        s.r.close(&s.r);
        OK(simulated_open_kept(&s.t.world, s.config, strlen(s.config), s.dir, &kept, &s.r, &s.err));
        OK(s.r.stage->where(s.r.stage_me, &p, &s.call));
        OK(s.r.bias->read(s.r.bias_me, 0, &volt, &a, &s.call));
        assert_true(p.in_contact && fabs(volt - 3) < 0.01);
        station_end(&s);
        text_done(&kept.bytes);
}

static void a_full_disk_does_not_stop_the_physics(void **state)
{
        struct station s;
        struct position p;
        (void)state;
        station_new(&s, "\"seed\":4,\"state_file\":\"state.json\",", "", false);
        ready(&s);
        s.t.full = true;
        touch_device(&s, 0, 0, "R1");
        s.t.full = false;
        OK(s.r.bias->set(s.r.bias_me, 0, 1, 1, &s.call)); /* the next operation saves all of it */
        s.r.close(&s.r);
        station_open(&s);
        OK(s.r.stage->where(s.r.stage_me, &p, &s.call));
        assert_true(p.in_contact);
        station_end(&s);
}

static void the_ladder_is_readable_on_each_die_and_names_its_place(void **state)
{
        struct station s;
        struct arena *arena = arena_new(0);
        struct layout l = layout_here(arena);
        struct die *dies = NULL;
        size_t die_n = 0;
        (void)state;
        OK(layout_dies(&l, arena, &dies, &die_n, NULL));
        assert_true(die_n > 10);
        station_new(&s, "\"seed\":9,", "", false);
        ready(&s);
        for (size_t i = 0; i < die_n; i++) {
                double ohm[3], r1, r2, off;
                int code;
                touch_device(&s, dies[i].x, dies[i].y, "LADDER");
                OK(s.r.meter->read_ohm(s.r.meter_me, ohm, &s.call));
                ladder_design_ohm(&l, dies, die_n, dies[i].x, dies[i].y, &r1, &r2);
                assert_true(fabs(ohm[1] / ohm[2] / (r1 / r2) - 1) < 0.01);
                OK(ladder_read(&l, dies, die_n, ohm[1], ohm[2], &code, &off, NULL));
                assert_int_equal(code, ladder_code(&l, dies, die_n, dies[i].x, dies[i].y));
                assert_true(fabs(off) < 0.1);
        }
        station_end(&s);
        arena_free(arena);
}

static void aligned_one_pitch_off_the_ladder_reads_another_code(void **state)
{
        struct station s;
        struct arena *arena = arena_new(0);
        struct layout l = layout_here(arena);
        struct die *dies = NULL;
        size_t die_n = 0;
        double ohm[3], off;
        int code = 0;
        (void)state;
        OK(layout_dies(&l, arena, &dies, &die_n, NULL));
        station_new(&s, "\"seed\":9,", "{\"what\":\"align_pitch_off\",\"at_count\":1,\"dies_x\":1}", false);
        ready(&s);
        touch_device(&s, 0, 0, "LADDER");
        OK(s.r.meter->read_ohm(s.r.meter_me, ohm, &s.call));
        OK(ladder_read(&l, dies, die_n, ohm[1], ohm[2], &code, &off, NULL));
        assert_int_equal(code, ladder_code(&l, dies, die_n, 1, 0));
        assert_int_not_equal(code, ladder_code(&l, dies, die_n, 0, 0));
        OK(s.r.stage->separate(s.r.stage_me, &(struct position){0}, &s.call));
        OK(s.r.stage->align(s.r.stage_me, PLACE_WAFER, &s.call)); /* the second alignment is sound */
        touch_device(&s, 0, 0, "LADDER");
        OK(s.r.meter->read_ohm(s.r.meter_me, ohm, &s.call));
        OK(ladder_read(&l, dies, die_n, ohm[1], ohm[2], &code, &off, NULL));
        assert_int_equal(code, ladder_code(&l, dies, die_n, 0, 0));
        station_end(&s);
        arena_free(arena);
}

static void beside_the_pads_there_is_nothing_to_measure(void **state)
{
        struct station s;
        double ohm[3];
        struct position p;
        (void)state;
        station_new(&s, "\"seed\":3,", "", false);
        OK(s.r.stage->home(s.r.stage_me, &s.call)); /* nobody has aligned the wafer: 5 to 50 um off, mostly beside the pads */
        OK(s.r.stage->align(s.r.stage_me, PLACE_WAFER, &s.call));
        touch_device(&s, 0, 0, "SHORT");
        OK(s.r.meter->read_ohm(s.r.meter_me, ohm, &s.call));
        assert_true(ohm[1] < 1);
        OK(s.r.stage->separate(s.r.stage_me, &p, &s.call));
        touch(&s, PLACE_WAFER, 123, 456);
        OK(s.r.meter->read_ohm(s.r.meter_me, ohm, &s.call));
        assert_true(ohm[0] > 1e9 && ohm[1] > 1e9 && ohm[2] > 1e9);
        station_end(&s);
}

static void the_truth_is_written_once_for_its_owner_alone_and_keeps_what_happened(void **state)
{
        struct station s;
        struct stat st;
        struct text t;
        char path[128];
        (void)state;
        station_new(&s, "\"seed\":3,\"truth_file\":\"truth/t.json\",", "", false);
        ready(&s);
        touch_device(&s, 0, 0, "R1");
        OK(s.r.stage->move_xy_um(s.r.stage_me, PLACE_WAFER, 0, 0,
                                 &s.call)); /* sideways in contact: no interlock here, but the truth knows */
        snprintf(path, sizeof path, "%s/truth/t.json", s.dir);
        assert_int_equal(stat(path, &st), 0);
        assert_int_equal(st.st_mode & 0777, 0600);
        snprintf(path, sizeof path, "%s/truth/t.json.events", s.dir);
        text_init(&t, 0);
        OK(test_read(&s.t.world, path, 1 << 20, &t, NULL));
        assert_non_null(strstr(text_of(&t), "\"crash\""));
        text_done(&t);
        station_end(&s);
}

static void bad_scenarios_are_refused_with_place_and_value(void **state)
{
        static const struct {
                const char *more, *faults, *words;
        } bad[] = {
                {"\"seed\":3,\"layout\":\"layout.json\",", "", "layout"},
                {"\"seed\":3,\"sead\":4,", "", "sead"},
                {"\"seed\":-3,", "", "-3"},
                {"\"seed\":3,\"recipe\":\"r.json\",", "", "either"},
                {"\"seed\":3,\"bias\":{\"ramp_v_s\":500},", "", "500"},
                {"\"seed\":3,", "{\"what\":\"earthquake\"}", "earthquake"},
                {"\"seed\":3,", "{\"what\":\"lost_ground\"}", "device"},
                {"\"seed\":3,", "{\"what\":\"drift_step\",\"fs\":3}", "at_s"},
        };
        (void)state;
        for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
                struct station s = {0};
                test_world_init(&s.t, false);
                snprintf(s.dir, sizeof s.dir, "/tmp/tipplane_sim_XXXXXX");
                assert_non_null(mkdtemp(s.dir));
                test_scenario(s.dir, bad[i].more, bad[i].faults, s.config);
                assert_int_not_equal(simulated_open(&s.t.world, s.config, strlen(s.config), s.dir, &s.r, &s.err), CODE_OK);
                if (!strstr(s.err.text, bad[i].words))
                        fail_msg("\"%s\" is not in: %s", bad[i].words, s.err.text);
                station_end(&s);
        }
}

static void another_scenario_does_not_take_over_a_foreign_world(void **state)
{
        struct station s;
        struct roles r;
        (void)state;
        station_new(&s, "\"seed\":3,\"state_file\":\"state.json\",", "", false);
        test_scenario(s.dir, "\"seed\":4,\"state_file\":\"state.json\",", "", s.config);
        assert_int_equal(simulated_open(&s.t.world, s.config, strlen(s.config), s.dir, &r, &s.err), CODE_STATE);
        assert_non_null(strstr(s.err.text, "state.json"));
        station_end(&s);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(same_seed_gives_the_same_bytes_and_another_seed_gives_others),
                cmocka_unit_test(the_world_survives_the_death_of_the_station),
                cmocka_unit_test(a_held_current_stands_at_its_limit_where_nothing_conducts),
                cmocka_unit_test(kept_in_memory_the_world_survives_without_a_disk),
                cmocka_unit_test(a_full_disk_does_not_stop_the_physics),
                cmocka_unit_test(the_ladder_is_readable_on_each_die_and_names_its_place),
                cmocka_unit_test(aligned_one_pitch_off_the_ladder_reads_another_code),
                cmocka_unit_test(beside_the_pads_there_is_nothing_to_measure),
                cmocka_unit_test(the_truth_is_written_once_for_its_owner_alone_and_keeps_what_happened),
                cmocka_unit_test(bad_scenarios_are_refused_with_place_and_value),
                cmocka_unit_test(another_scenario_does_not_take_over_a_foreign_world),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
