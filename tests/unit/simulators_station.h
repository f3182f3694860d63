/* simulators_station.h: a simulated station of a test, touched and swept. */
#ifndef TIPPLANE_TESTS_SIMULATORS_STATION_H
#define TIPPLANE_TESTS_SIMULATORS_STATION_H
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

static inline void station_open(struct station *s)
{
        s->call = (struct call){.deadline_ns = INT64_MAX, .cancel = &s->cancel, .err = &s->err};
        if (simulated_open(&s->t.world, s->config, strlen(s->config), s->dir, &s->r, &s->err) != CODE_OK)
                fail_msg("%s", s->err.text);
}

static inline void station_new(struct station *s, const char *more, const char *faults, bool virtual_time)
{
        memset(s, 0, sizeof *s);
        test_world_init(&s->t, virtual_time);
        snprintf(s->dir, sizeof s->dir, "/tmp/tipplane_sim_XXXXXX");
        assert_non_null(mkdtemp(s->dir));
        test_scenario(s->dir, more, faults, s->config);
        station_open(s);
}

static inline void station_end(struct station *s)
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

static inline void ready(struct station *s)
{
        OK(s->r.stage->home(s->r.stage_me, &s->call));
        OK(s->r.stage->align(s->r.stage_me, PLACE_WAFER, &s->call));
        OK(s->r.stage->align(s->r.stage_me, PLACE_SUBSTRATE, &s->call));
}

static inline void touch(struct station *s, int32_t place, double x_um, double y_um)
{
        struct position p;
        OK(s->r.stage->separate(s->r.stage_me, &p, &s->call));
        assert_int_equal(p.separated, KNOW_KNOWN);
        OK(s->r.stage->move_xy_um(s->r.stage_me, place, x_um, y_um, &s->call));
        OK(s->r.stage->lower_um(s->r.stage_me, 30, 100, &s->call));
}

static inline struct layout layout_here(struct arena *arena)
{
        struct layout l;
        cJSON *json = NULL;
        OK(json_read(test_layout, strlen(test_layout), 16, &json, NULL));
        OK(layout_read(json, arena, &l, NULL));
        cJSON_Delete(json);
        return l;
}

static inline void touch_device(struct station *s, int die_x, int die_y, const char *name)
{
        struct arena *arena = arena_new(0);
        struct layout l = layout_here(arena);
        int k = layout_device(&l, name);
        assert_true(k >= 0);
        touch(s, PLACE_WAFER, l.offset_x_um + die_x * l.pitch_x_um + l.devices[k].x_um,
              l.offset_y_um + die_y * l.pitch_y_um + l.devices[k].y_um);
        arena_free(arena);
}

static inline struct sweep_facts sweep(struct station *s, const double *hz, size_t n, struct caught *c)
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

static inline size_t axis(double *hz, size_t n)
{
        for (size_t i = 0; i < n; i++)
                hz[i] = 70e3 * pow(220e9 / 70e3, (double)i / (double)(n - 1));
        return n;
}

#endif
