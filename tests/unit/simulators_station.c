/* simulators_station.c: the simulated station as tipplane-station sees it: roles, clock, restart, faults. */
#include "simulators_world.h"
#include "wafer/proof.h"

struct station {
        struct test_world t;
        struct roles r;
        char dir[64], config[6000];
        struct cancel cancel;
        struct tp_error err;
        struct call call;
};

static void station_open(struct station *s)
{
        s->call = (struct call){.deadline_ns = INT64_MAX, .cancel = &s->cancel, .err = &s->err};
        if (simulated_open(&s->t.world, s->config, strlen(s->config), s->dir, &s->r, &s->err) != CODE_OK)
                fail_msg("%s", s->err.text);
}
static void station_new(struct station *s, const char *more, const char *faults, bool virtual_time)
{
        memset(s, 0, sizeof *s);
        test_world_init(&s->t, virtual_time);
        snprintf(s->dir, sizeof s->dir, "/tmp/tipplane_sim_XXXXXX");
        assert_non_null(mkdtemp(s->dir));
        test_scenario(s->dir, more, faults, s->config);
        station_open(s);
}
static void station_end(struct station *s)
{
        static const char *const files[] = {"layout.json", "state.json", "truth/t.json", "truth/t.json.events"};
        char path[128];
        if (s->r.close)
                s->r.close(&s->r);
        for (size_t i = 0; i < 4; i++) {
                snprintf(path, sizeof path, "%s/%s", s->dir, files[i]);
                unlink(path);
        }
        snprintf(path, sizeof path, "%s/truth", s->dir);
        rmdir(path);
        rmdir(s->dir);
}

#define OK(call_) assert_int_equal(call_, CODE_OK)
static void ready(struct station *s)
{
        OK(s->r.stage->home(s->r.stage_me, &s->call));
        OK(s->r.stage->align(s->r.stage_me, PLACE_WAFER, &s->call));
        OK(s->r.stage->align(s->r.stage_me, PLACE_SUBSTRATE, &s->call));
}
static void touch(struct station *s, int32_t place, double x_um, double y_um)
{
        struct position p;
        OK(s->r.stage->separate(s->r.stage_me, &p, &s->call));
        assert_int_equal(p.separated, KNOW_KNOWN);
        OK(s->r.stage->move_xy_um(s->r.stage_me, place, x_um, y_um, &s->call));
        OK(s->r.stage->lower_um(s->r.stage_me, 30, 100, &s->call));
}
static struct layout layout_here(struct arena *arena)
{
        struct layout l;
        cJSON *json = NULL;
        OK(json_read(test_layout, strlen(test_layout), 16, &json, NULL));
        OK(layout_read(json, arena, &l, NULL));
        cJSON_Delete(json);
        return l;
}
static void touch_device(struct station *s, int die_x, int die_y, const char *name)
{
        struct arena *arena = arena_new(0);
        struct layout l = layout_here(arena);
        int k = layout_device(&l, name);
        assert_true(k >= 0);
        touch(s, PLACE_WAFER, l.offset_x_um + die_x * l.pitch_x_um + l.devices[k].x_um,
              l.offset_y_um + die_y * l.pitch_y_um + l.devices[k].y_um);
        arena_free(arena);
}
static struct sweep_facts sweep(struct station *s, const double *hz, size_t n, struct caught *c)
{
        struct segment seg = {.start_hz = hz[0], .stop_hz = hz[n - 1], .points = (int32_t)n, .ifbw_hz = 100, .averages = 1};
        struct sweep_plan plan = {.segments = &seg, .segment_n = 1};
        struct sweep_ask ask = {&plan, hz, n};
        struct sink sink = {c, catch_begin, catch_chunk, catch_end};
        struct sweep_facts facts;
        memset(c, 0, sizeof *c);
        enum code code = s->r.analyzer->sweep(s->r.analyzer_me, &ask, &sink, &facts, &s->call);
        if (code)
                fail_msg("%s", s->err.text);
        return facts;
}
static size_t axis(double *hz, size_t n)
{
        for (size_t i = 0; i < n; i++)
                hz[i] = 70e3 * pow(220e9 / 70e3, (double)i / (double)(n - 1));
        return n;
}

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
                cmocka_unit_test(kept_in_memory_the_world_survives_without_a_disk),
                cmocka_unit_test(a_full_disk_does_not_stop_the_physics),
                cmocka_unit_test(the_ladder_is_readable_on_each_die_and_names_its_place),
                cmocka_unit_test(aligned_one_pitch_off_the_ladder_reads_another_code),
                cmocka_unit_test(a_lost_ground_looks_fine_at_dc_and_resonates_at_rf),
                cmocka_unit_test(an_open_contact_is_open_at_dc_and_nearly_a_raised_probe_at_rf),
                cmocka_unit_test(a_drift_step_moves_the_phase_by_the_stated_femtoseconds),
                cmocka_unit_test(mains_take_the_axes_and_the_bias_and_nothing_else),
                cmocka_unit_test(instruments_fail_at_the_stated_call_and_only_there),
                cmocka_unit_test(a_raised_cancel_ends_a_motion_where_it_is),
                cmocka_unit_test(beside_the_pads_there_is_nothing_to_measure),
                cmocka_unit_test(the_truth_is_written_once_for_its_owner_alone_and_keeps_what_happened),
                cmocka_unit_test(bad_scenarios_are_refused_with_place_and_value),
                cmocka_unit_test(another_scenario_does_not_take_over_a_foreign_world),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
