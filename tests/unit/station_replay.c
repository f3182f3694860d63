/* The driver replay over small files written here, and the station's file. */
#include "host/host.h"
#include "recipe/plan.h"
#include "station/config.h"
#include "station/driver_table.h"
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

struct place_of_files {
        struct world *w;
        char dir[64];
};

static void put(const struct place_of_files *p, const char *name, const char *text)
{
        char path[128];
        snprintf(path, sizeof path, "%s/%s", p->dir, name);
        FILE *f = fopen(path, "w");
        assert_non_null(f);
        fputs(text, f);
        fclose(f);
}

static int begin(void **state)
{
        struct place_of_files *p = calloc(1, sizeof *p);
        struct tp_error err;
        p->w = host_world_new(&err);
        snprintf(p->dir, sizeof p->dir, "/tmp/replay_test_XXXXXX");
        assert_non_null(mkdtemp(p->dir));
        put(p, "a.s2p",
            "# Hz S RI R 50\n1e9 0.1 0.2 0.3 0.4 0.5 0.6 0.7 0.8\n2e9 1.1 1.2 1.3 1.4 1.5 1.6 1.7 1.8\n3e9 2.1 2.2 2.3 2.4 2.5 2.6 2.7 "
            "2.8\n");
        put(p, "other.s2p", "# Hz S RI R 50\n1e9 0 0 0 0 0 0 0 0\n2.5e9 0 0 0 0 0 0 0 0\n3e9 0 0 0 0 0 0 0 0\n");
        put(p, "sw.s2p",
            "# Hz S RI R 50\n1e9 0 0 0.01 0.02 0.03 0.04 0 0\n2e9 0 0 0.01 0.02 0.03 0.04 0 0\n3e9 0 0 0.01 0.02 0.03 0.04 0 0\n");
        *state = p;
        return 0;
}
static int end(void **state)
{
        struct place_of_files *p = *state;
        char command[96];
        snprintf(command, sizeof command, "rm -r %s", p->dir);
        host_world_free(p->w);
        int status = system(command);
        free(p);
        return status;
}

static enum code open_it(const struct place_of_files *p, const char *config, const char *base, struct roles *ret, struct tp_error *err)
{
        *err = (struct tp_error){0};
        return replay_open(p->w, config, strlen(config), base, ret, err);
}

struct got {
        char name[8][16];
        double value[8][16];
        size_t n, at;
};
static enum code got_begin(void *ctx, const struct block *b, struct tp_error *err)
{
        struct got *g = ctx;
        (void)err;
        assert_int_equal(b->dtype, C128_LE);
        memcpy(g->name[g->n], b->trace, 16);
        g->at = 0;
        return CODE_OK;
}
static enum code got_chunk(void *ctx, const void *bytes, size_t n, struct tp_error *err)
{
        struct got *g = ctx;
        (void)err;
        memcpy((char *)g->value[g->n] + g->at, bytes, n);
        g->at += n;
        return CODE_OK;
}
static enum code got_end(void *ctx, struct tp_error *err)
{
        (void)err;
        ((struct got *)ctx)->n++;
        return CODE_OK;
}

static void a_recorded_sweep_comes_back_number_for_number_with_its_switch_terms(void **state)
{
        const struct place_of_files *p = *state;
        struct roles r;
        struct tp_error err;
        struct position proof;
        assert_int_equal(open_it(p,
                                 "{\"directory\":\".\",\"sweeps\":[{\"place\":\"wafer\",\"x_um\":10,\"y_um\":0,\"file\":\"a.s2p\"}],"
                                 "\"switch_terms\":\"sw.s2p\",\"spacings_um\":[200,450]}",
                                 p->dir, &r, &err),
                         CODE_OK);
        assert_true(r.can->replayed && r.can->axis_n == 3 && r.can->axis_hz[1] == 2e9 && r.can->spacing_n == 2 && r.can->switch_terms &&
                    !r.can->meter);
        struct segment seg = {.start_hz = 1e9, .stop_hz = 3e9, .points = 2, .spacing = 2, .ifbw_hz = 1000, .averages = 1};
        struct sweep_plan plan = {.name = "p", .segments = &seg, .segment_n = 1};
        double hz[] = {1e9, 3e9}, never[] = {1e9, 1.5e9};
        struct sweep_ask ask = {.plan = &plan, .hz = hz, .n = 2};
        struct got got = {.n = 0};
        struct sink sink = {.ctx = &got, .begin = got_begin, .chunk = got_chunk, .end = got_end};
        struct sweep_facts facts;
        struct call call = {.deadline_ns = INT64_MAX, .err = &err};
        assert_int_equal(r.analyzer->sweep(r.analyzer_me, &ask, &sink, &facts, &call),
                         CODE_NOT_FOUND); /* nothing was recorded at the park position */
        r.stage->home(r.stage_me, &call);
        r.stage->move_xy_um(r.stage_me, PLACE_WAFER, 10.4, 0, &call);
        assert_int_equal(r.analyzer->sweep(r.analyzer_me, &ask, &sink, &facts, &call), CODE_NOT_FOUND); /* raised: nothing was recorded */
        assert_non_null(strstr(err.text, "a.s2p"));
        r.stage->lower_um(r.stage_me, 30, 50, &call);
        int64_t before = r.tick(r.tick_me);
        assert_int_equal(r.analyzer->sweep(r.analyzer_me, &ask, &sink, &facts, &call), CODE_OK);
        assert_true(r.tick(r.tick_me) > before);
        assert_int_equal(got.n, 6);
        /* a Touchstone two-port line is f S11 S21 S12 S22 (Touchstone 1.1); in memory and in names S_ij = b_i/a_j */
        assert_string_equal(got.name[1], "S12");
        assert_true(got.value[0][0] == 0.1 && got.value[0][2] == 2.1 && got.value[1][0] == 0.5 && got.value[2][0] == 0.3 &&
                    got.value[2][3] == 2.4 && got.value[3][1] == 0.8);
        assert_string_equal(got.name[4], "GF");
        assert_true(got.value[4][0] == 0.01 && got.value[5][0] == 0.03); /* forward a2/b2 stands in S21, reverse a1/b1 in S12 */
        ask.hz = never;
        got = (struct got){.n = 0};
        assert_int_equal(r.analyzer->sweep(r.analyzer_me, &ask, &sink, &facts, &call), CODE_NOT_FOUND);
        assert_non_null(strstr(err.text, "1500000000"));
        r.stage->separate(r.stage_me, &proof, &call);
        assert_int_equal(proof.separated, KNOW_KNOWN);
        r.close(&r);
}

static void what_is_wrong_in_a_replay_file_is_said_in_one_sentence(void **state)
{
        const struct place_of_files *p = *state;
        static const struct {
                const char *config;
                bool no_base;
                const char *want;
        } rows[] = {
                {"{\"directory\":\"x\",\"sweeps\":[{\"place\":\"wafer\",\"x_um\":0,\"y_um\":0,\"file\":\"a.s2p\"}]}", true,
                 "TIPPLANE_DATA is not set"},
                {"{\"directory\":\"nowhere\",\"sweeps\":[{\"place\":\"wafer\",\"x_um\":0,\"y_um\":0,\"file\":\"a.s2p\"}]}", false,
                 "nowhere/a.s2p does not exist"},
                {"{\"directory\":\".\",\"sweeps\":[{\"place\":\"wafer\",\"x_um\":0,\"y_um\":0,\"file\":\"b.s2p\"}]}", false,
                 "b.s2p does not exist"},
                {"{\"directory\":\".\",\"sweeps\":[{\"place\":\"wafer\",\"x_um\":0,\"y_um\":0,\"file\":\"a.txt\"}]}", false, ".s2p"},
                {"{\"directory\":\".\",\"sweeps\":[]}", false, "/sweeps"},
                {"{\"directory\":\".\",\"sweeps\":[{\"place\":\"moon\",\"x_um\":0,\"y_um\":0,\"file\":\"a.s2p\"}]}", false, "moon"},
                {"{\"directory\":\".\",\"sweeps\":[{\"place\":\"wafer\",\"x_um\":0,\"y_um\":0,\"file\":\"a.s2p\"},{\"place\":\"wafer\",\"x_"
                 "um\":5,\"y_um\":0,\"file\":\"other.s2p\"}]}",
                 false, "frequency 2"},
                {"{\"directory\":\".\",\"sweeps\":[{\"place\":\"wafer\",\"x_um\":0,\"y_um\":0,\"file\":\"a.s2p\"}],\"switch_terms\":{"
                 "\"forward\":\"f.s1p\"}}",
                 false, "reverse"},
                {"{\"directory\":\".\",\"sweeps\":[{\"place\":\"wafer\",\"x_um\":0,\"y_um\":0,\"file\":\"a.s2p\"}],\"spacing\":[1]}", false,
                 "spacing"},
        };
        for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
                struct roles r;
                struct tp_error err;
                assert_int_not_equal(open_it(p, rows[i].config, rows[i].no_base ? "" : p->dir, &r, &err), CODE_OK);
                if (!strstr(err.text, rows[i].want))
                        fail_msg("row %zu says: %s", i, err.text);
        }
}

static void the_stations_file_is_read_with_its_limits_and_the_driver_gets_its_own_part(void **state)
{
        static const char good[] = "{\"name\":\"s "
                                   "1\",\"driver\":\"replay\",\"config\":{\"directory\":\"d\",\"deep\":[1,{\"a\":2}]},\"limits\":{\"volt_"
                                   "max\":100,\"armed\":true}}";
        struct station_config c;
        struct tp_error err = {0};
        (void)state;
        assert_int_equal(station_config_read(good, strlen(good), "/etc/tipplane/s.json", NULL, &c, &err), CODE_OK);
        assert_string_equal(c.driver_json, "{\"directory\":\"d\",\"deep\":[1,{\"a\":2}]}");
        assert_string_equal(c.base_dir, "/etc/tipplane");
        struct limits l = station_limits(&c, 2);
        assert_true(l.volt_max == 100 && l.armed && !l.separate_when_bias_unknown && l.overtravel_um_max == 60 &&
                    l.bias_unknown_wait_ns == INT64_C(30000000000));
        station_config_done(&c);
        static const char *const bad[][2] = {{"{\"name\":\"s\"}", "driver"},
                                             {"{\"name\":\"s\",\"driver\":\"replay\",\"limits\":{\"volt_max\":-1}}", "-1"},
                                             {"{\"name\":\"s\",\"driver\":\"replay\",\"config\":3}", "/config"},
                                             {"{\"name\":\"s\",\"driver\":\"replay\",\"limit\":{}}", "limits"},
                                             {"[]", "object"},
                                             {"", "s.json"}};
        for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
                assert_int_not_equal(station_config_read(bad[i][0], strlen(bad[i][0]), "s.json", NULL, &c, &err), CODE_OK);
                if (!strstr(err.text, bad[i][1]))
                        fail_msg("row %zu says: %s", i, err.text);
        }
}

static void the_committed_schema_is_the_one_the_table_prints(void **state)
{
        struct text printed;
        (void)state;
        text_init(&printed, 0);
        station_config_schema(&printed);
        FILE *f = fopen("schema/station.schema.json", "r");
        if (!f)
                fail_msg("run the tests from the top of the tree");
        char *all = calloc(1, 1 << 16);
        fread(all, 1, (1 << 16) - 1, f);
        fclose(f);
        assert_string_equal(text_of(&printed), all);
        free(all);
        text_done(&printed);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(a_recorded_sweep_comes_back_number_for_number_with_its_switch_terms, begin, end),
                cmocka_unit_test_setup_teardown(what_is_wrong_in_a_replay_file_is_said_in_one_sentence, begin, end),
                cmocka_unit_test(the_stations_file_is_read_with_its_limits_and_the_driver_gets_its_own_part),
                cmocka_unit_test(the_committed_schema_is_the_one_the_table_prints),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
