/* simulators_faults.c: what goes wrong on the simulated station when the scenario says so, and nothing else with it. */
#include "simulators_station.h"

static void a_lost_ground_looks_fine_at_dc_and_resonates_at_rf(void **state)
{
        static const char fault[] =
                "{\"what\":\"lost_ground\",\"port\":1,\"die_x\":0,\"die_y\":0,\"device\":\"R1\",\"first\":1,\"attempts\":1}";
        struct caught *c = malloc(3 * sizeof *c);
        double hz[41], ohm[3][3], worst_low = 0, worst_high = 0, again = 0;
        struct station s;
        (void)state;
        for (int i = 0; i < 41; i++)
                hz[i] = 1e9 + 2.75e9 * i;
        station_new(&s, "\"seed\":11,", fault, false);
        ready(&s);
        for (int k = 0; k < 3; k++) { /* bad touch, retouch, another one */
                touch_device(&s, 0, 0, "R1");
                OK(s.r.meter->read_ohm(s.r.meter_me, ohm[k], &s.call));
                sweep(&s, hz, 41, &c[k]);
        }
        assert_true(fabs(ohm[0][0] - ohm[1][0]) < 0.05 && ohm[0][0] > 60 && ohm[0][0] < 90);
        for (int i = 0; i < 41; i++) {
                double moved = cabs(c[0].data[0][i] - c[1].data[0][i]);
                if (hz[i] < 3e9)
                        worst_low = fmax(worst_low, moved);
                if (hz[i] > 50e9 && hz[i] < 90e9)
                        worst_high = fmax(worst_high, moved);
                if (hz[i] < 90e9)
                        again = fmax(again, cabs(c[1].data[0][i] - c[2].data[0][i]));
        }
        assert_true(worst_high > 0.1 && worst_high > 5 * again && worst_low < 0.02);
        station_end(&s);
        free(c);
}

static void an_open_contact_is_open_at_dc_and_nearly_a_raised_probe_at_rf(void **state)
{
        static const char fault[] = "{\"what\":\"open_contact\",\"port\":2,\"die_x\":0,\"die_y\":0,\"device\":\"L1\"}";
        struct caught *c = malloc(2 * sizeof *c);
        double hz[2] = {1e9, 5e9}, ohm[3];
        struct station s;
        (void)state;
        station_new(&s, "\"seed\":11,", fault, false);
        ready(&s);
        OK(s.r.stage->move_xy_um(s.r.stage_me, PLACE_WAFER, 0, 0, &s.call));
        sweep(&s, hz, 2, &c[0]);
        touch_device(&s, 0, 0, "L1");
        OK(s.r.meter->read_ohm(s.r.meter_me, ohm, &s.call));
        assert_true(ohm[0] > 1e9);
        sweep(&s, hz, 2, &c[1]);
        assert_true(cabs(c[0].data[3][0] - c[1].data[3][0]) < 0.02 && cabs(c[1].data[1][0]) < 0.02);
        station_end(&s);
        free(c);
}

static void a_drift_step_moves_the_phase_by_the_stated_femtoseconds(void **state)
{
        static const char quiet[] = "\"seed\":3,\"analyzer\":{\"floor_db\":-200,\"trace_scale\":0,\"switch_term\":0},\"drift\":{\"walk_"
                                    "fs\":0,\"walk_db\":0,\"setback_k\":0,\"cycle_k\":0},";
        struct caught *c = malloc(2 * sizeof *c);
        double hz[2] = {100e9, 200e9};
        struct station s;
        (void)state;
        station_new(&s, quiet, "{\"what\":\"drift_step\",\"port\":2,\"fs\":40,\"at_s\":500}", false);
        ready(&s);
        touch(&s, PLACE_SUBSTRATE, 2000, 0); /* thru */
        sweep(&s, hz, 2, &c[0]);
        s.r.wait(s.r.tick_me, 600 * NS_PER_S);
        sweep(&s, hz, 2, &c[1]);
        for (int i = 0; i < 2; i++) {
                double turned = carg(c[0].data[1][i] / c[1].data[1][i]); /* S21 later by 40 fs; creep of the contact is far below */
                assert_true(fabs(turned / (2 * 3.14159265358979 * hz[i]) * 1e15 - 40) < 0.2);
        }
        station_end(&s);
        free(c);
}

static void mains_take_the_axes_and_the_bias_and_nothing_else(void **state)
{
        struct station s;
        struct position p;
        double volt, a;
        (void)state;
        station_new(&s, "\"seed\":3,", "{\"what\":\"mains\",\"at_s\":300}", false);
        ready(&s);
        touch_device(&s, 0, 0, "C1");
        OK(s.r.bias->set(s.r.bias_me, 0, 5, 1e-3, &s.call));
        s.r.wait(s.r.tick_me, 400 * NS_PER_S);
        OK(s.r.stage->where(s.r.stage_me, &p, &s.call));
        assert_true(p.axes == KNOW_UNKNOWN && p.in_contact);
        OK(s.r.bias->read(s.r.bias_me, 0, &volt, &a, &s.call));
        assert_true(fabs(volt) < 0.01);
        assert_int_equal(s.r.stage->move_xy_um(s.r.stage_me, PLACE_WAFER, 0, 0, &s.call), CODE_STATE);
        OK(s.r.stage->separate(s.r.stage_me, &p, &s.call));
        ready(&s);
        touch_device(&s, 0, 0, "C1");
        station_end(&s);
}

static void instruments_fail_at_the_stated_call_and_only_there(void **state)
{
        static const char faults[] = "{\"what\":\"stage_timeout\",\"at_count\":2},{\"what\":\"bias_read_fails\",\"at_count\":1},{\"what\":"
                                     "\"analyzer_timeout\",\"at_count\":1},"
                                     "{\"what\":\"stale_sweep\",\"at_count\":3},{\"what\":\"nan_block\",\"at_count\":4}";
        struct caught *c = malloc(3 * sizeof *c);
        double hz[30], volt, a;
        struct station s;
        struct position p;
        struct segment seg = {.ifbw_hz = 1000, .averages = 1};
        struct sweep_plan plan = {.segments = &seg, .segment_n = 1};
        struct sweep_ask ask = {&plan, hz, axis(hz, 30)};
        struct sink sink = {&c[0], catch_begin, catch_chunk, catch_end};
        struct sweep_facts f = {0};
        (void)state;
        memset(c, 0, 3 * sizeof *c);
        station_new(&s, "\"seed\":3,", faults, false);
        ready(&s);
        touch_device(&s, 0, 0, "R1");
        assert_int_equal(s.r.bias->read(s.r.bias_me, 0, &volt, &a, &s.call), CODE_TIMED_OUT);
        OK(s.r.bias->read(s.r.bias_me, 0, &volt, &a, &s.call));
        assert_int_equal(s.r.analyzer->sweep(s.r.analyzer_me, &ask, &sink, &f, &s.call), CODE_TIMED_OUT);
        assert_true(s.err.effect_unknown && c[0].n == 0);
        struct sweep_facts second = sweep(&s, hz, 30, &c[0]), third = sweep(&s, hz, 30, &c[1]);
        assert_int_equal(second.trigger_count, third.trigger_count);
        assert_memory_equal(c[0].data, c[1].data, sizeof c[0].data);
        assert_true(third.seconds < 0.8 * second.seconds);
        sweep(&s, hz, 30, &c[2]);
        assert_true(isnan(creal(c[2].data[1][12])) && !isnan(creal(c[2].data[1][0])) && !isnan(creal(c[2].data[0][12])));
        OK(s.r.stage->separate(s.r.stage_me, &p, &s.call));
        memset(&s.err, 0, sizeof s.err);
        assert_int_equal(s.r.stage->lower_um(s.r.stage_me, 30, 100, &s.call), CODE_TIMED_OUT);
        assert_true(s.err.effect_unknown);
        OK(s.r.stage->where(s.r.stage_me, &p, &s.call));
        assert_true(p.in_contact); /* it had happened: who looks sees it */
        station_end(&s);
        free(c);
}

static void a_raised_cancel_ends_a_motion_where_it_is(void **state)
{
        struct station s;
        struct position p;
        (void)state;
        station_new(&s, "\"seed\":3,", "", true);
        s.t.cancel = &s.cancel;
        s.cancel.at_ns = INT64_MAX;
        ready(&s);
        int64_t begin = s.t.now_ns;
        s.cancel.at_ns = begin + 300 * NS_PER_MS;
        assert_int_equal(s.r.stage->move_xy_um(s.r.stage_me, PLACE_WAFER, 10000, 0, &s.call), CODE_CANCELLED);
        assert_true(s.t.now_ns - begin < 330 * NS_PER_MS && s.err.effect_unknown);
        OK(s.r.stage->where(s.r.stage_me, &p, &s.call));
        assert_true(p.x_um > 0 && p.x_um < 10000);
        s.cancel = (struct cancel){.raised = false, .at_ns = INT64_MAX};
        s.call.deadline_ns = s.t.now_ns + 100 * NS_PER_MS;
        assert_int_equal(s.r.stage->move_xy_um(s.r.stage_me, PLACE_WAFER, 10000, 0, &s.call), CODE_TIMED_OUT);
        s.call.deadline_ns = INT64_MAX;
        s.cancel.raised = true; /* stepped or not: raised before it begins, nothing happens */
        assert_int_equal(s.r.bias->set(s.r.bias_me, 0, 5, 1, &s.call), CODE_CANCELLED);
        s.cancel.raised = false;
        double volt, a;
        OK(s.r.bias->read(s.r.bias_me, 0, &volt, &a, &s.call));
        assert_true(fabs(volt) < 0.01);
        station_end(&s);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(a_lost_ground_looks_fine_at_dc_and_resonates_at_rf),
                cmocka_unit_test(an_open_contact_is_open_at_dc_and_nearly_a_raised_probe_at_rf),
                cmocka_unit_test(a_drift_step_moves_the_phase_by_the_stated_femtoseconds),
                cmocka_unit_test(mains_take_the_axes_and_the_bias_and_nothing_else),
                cmocka_unit_test(instruments_fail_at_the_stated_call_and_only_there),
                cmocka_unit_test(a_raised_cancel_ends_a_motion_where_it_is),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
