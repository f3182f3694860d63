/* station_serve.c: the station and the daemon's link over a real socket, on a rig that remembers volts and heights. */
#include "station_rig.h"

/* A gate comes up before its drain and goes down after it; a gate alone is a condition too. */
static void a_gate_is_biased_before_its_drain(void **state)
{
        struct bench *b = bench_new();
        (void)state;
        bench_station(b);
        bench_link(b);
        bench_do(b, 1, STEP_INVENTORY, (struct step_args){0});
        bench_do(b, 2, STEP_SAFE, (struct step_args){0});
        bench_do(b, 3, STEP_HOME, (struct step_args){0});
        bench_do(b, 4, STEP_ALIGN, (struct step_args){.place = PLACE_WAFER});
        bench_do(b, 5, STEP_MOVE, (struct step_args){.place = PLACE_WAFER});
        bench_do(b, 6, STEP_LOWER, (struct step_args){.overtravel_um = 40});
        b->rig.set_n = 0;
        bench_do(b, 7, STEP_BIAS_ON,
                 (struct step_args){.channel = 1, .volt = 3, .limit_a = 0.1, .gate_channel = 0, .gate_volt = -1, .gate_limit_a = 1e-3});
        assert_true(b->rig.volt[0] == -1 && b->rig.volt[1] == 3 && b->rig.set_n == 2 && b->rig.sets[0] == 0 && b->rig.sets[1] == 1);
        b->rig.set_n = 0;
        bench_do(b, 8, STEP_BIAS_OFF, (struct step_args){0});
        assert_true(b->rig.volt[0] == 0 && b->rig.volt[1] == 0 && b->rig.sets[0] == 1 && b->rig.sets[1] == 0);
        bench_do(b, 9, STEP_BIAS_ON, (struct step_args){.channel = 1, .gate_channel = 0, .gate_volt = 0.6, .gate_limit_a = 1e-3});
        assert_true(b->rig.volt[0] == 0.6 && b->rig.volt[1] == 0);
        bench_do(b, 10, STEP_BIAS_OFF, (struct step_args){0});
        bench_do(b, 11, STEP_SEPARATE, (struct step_args){0});
        bench_free(b);
}

/* A base's current comes up after its collector, which is looked at again, and goes before it; a base that does not take its current takes
   all down. */
static void a_base_is_driven_after_its_collector(void **state)
{
        struct bench *b = bench_new();
        (void)state;
        bench_station(b);
        bench_link(b);
        bench_do(b, 1, STEP_INVENTORY, (struct step_args){0});
        bench_do(b, 2, STEP_SAFE, (struct step_args){0});
        bench_do(b, 3, STEP_HOME, (struct step_args){0});
        bench_do(b, 4, STEP_ALIGN, (struct step_args){.place = PLACE_WAFER});
        bench_do(b, 5, STEP_MOVE, (struct step_args){.place = PLACE_WAFER});
        bench_do(b, 6, STEP_LOWER, (struct step_args){.overtravel_um = 40});
        b->rig.set_n = 0;
        b->rig.base_v = 0.8;
        struct step_args on = {
                .volt = 1.2, .limit_a = 0.03, .gate_channel = 1, .gate_by_current = true, .gate_volt = 1, .gate_limit_a = 2e-4};
        bench_do(b, 7, STEP_BIAS_ON, on);
        assert_true(b->rig.volt[0] == 1.2 && b->rig.ampere[1] == 2e-4 && b->rig.set_n == 2 && b->rig.sets[0] == 0 && b->rig.sets[1] == 1);
        b->rig.set_n = 0;
        bench_do(b, 8, STEP_BIAS_OFF, (struct step_args){0});
        assert_true(b->rig.volt[0] == 0 && b->rig.volt[1] == 0 && b->rig.sets[0] == 1 && b->rig.sets[1] == 0);
        on.volt = 0;
        on.open_v = 0.5; /* an open collector is held at no current, not at 0 V */
        on.gate_limit_a = 5e-3;
        bench_do(b, 9, STEP_BIAS_ON, on);
        assert_true(b->rig.volt[0] == 0.1 && b->rig.ampere[0] == 0 && b->rig.ampere[1] == 5e-3);
        bench_do(b, 10, STEP_BIAS_OFF, (struct step_args){0});
        on.open_v = 0;
        on.volt = 1.2;
        b->rig.collector_sags = true; /* the collector is looked at again once it conducts */
        struct link_note *sags = bench_step(b, 15, STEP_BIAS_ON, on);
        assert_true(sags->result.code == CODE_BAD_REPLY && strstr(sags->result.text, "channel 0 reads 0.600 V") && b->rig.volt[1] == 0);
        note_drop(sags);
        b->rig.collector_sags = false;
        on.open_v = 0.5;
        on.volt = 0;
        b->rig.base_v = 3; /* a base that does not conduct */
        struct link_note *n = bench_step(b, 11, STEP_BIAS_ON, on);
        assert_true(n->result.code == CODE_BAD_REPLY && strstr(n->result.text, "channel 1 reads 0.0025 A at 1.000 V, asked was 0.005 A"));
        assert_true(b->rig.volt[0] == 0 && b->rig.volt[1] == 0);
        note_drop(n);
        on.gate_volt = 0; /* never without a voltage limit */
        n = bench_step(b, 12, STEP_BIAS_ON, on);
        assert_true(n->result.code == CODE_INTERLOCK && b->rig.volt[1] == 0);
        note_drop(n);
        bench_do(b, 13, STEP_BIAS_OFF, (struct step_args){0});
        bench_do(b, 14, STEP_SEPARATE, (struct step_args){0});
        bench_free(b);
}

/* Only up in the air and unbiased; read back; and a target that wants another spacing is not touched. */
static void the_probes_are_moved_apart_only_when_separated(void **state)
{
        struct bench *b = bench_new();
        const struct step_args far = {.place = PLACE_WAFER, .x_um = 10, .spacing_um = 450},
                               near = {.place = PLACE_WAFER, .x_um = 10, .spacing_um = 200};
        (void)state;
        bench_station(b);
        bench_link(b);
        bench_do(b, 1, STEP_INVENTORY, (struct step_args){0});
        bench_do(b, 2, STEP_SAFE, (struct step_args){0});
        bench_do(b, 3, STEP_HOME, (struct step_args){0});
        bench_do(b, 4, STEP_ALIGN, (struct step_args){.place = PLACE_WAFER});
        bench_do(b, 5, STEP_MOVE, near);
        assert_int_equal(b->rig.spacings, 0); /* they stand there already */
        bench_do(b, 6, STEP_MOVE, far);
        assert_true(b->rig.spacings == 1 && b->rig.spacing_um == 450);
        struct link_note *n = bench_step(b, 7, STEP_LOWER, (struct step_args){.overtravel_um = 40, .spacing_um = 200});
        assert_int_equal(n->result.code, CODE_INTERLOCK);
        assert_non_null(strstr(n->result.text, "450.0 um apart"));
        assert_true(!n->result.state.in_contact && b->rig.lowers == 0);
        note_drop(n);
        bench_do(b, 8, STEP_LOWER, (struct step_args){.overtravel_um = 40, .spacing_um = 450});
        n = bench_step(b, 9, STEP_MOVE, near); /* in contact: refused before anything moves */
        assert_int_equal(n->result.code, CODE_INTERLOCK);
        assert_non_null(strstr(n->result.text, "set spacing: separation is"));
        assert_int_equal(b->rig.spacings, 1);
        note_drop(n);
        bench_do(b, 10, STEP_SEPARATE, (struct step_args){0});
        b->rig.spacing_slips = true;
        n = bench_step(b, 11, STEP_MOVE, near);
        assert_int_equal(n->result.code, CODE_BAD_REPLY);
        assert_non_null(strstr(n->result.text, "the positioner reads 205.0 um, asked was 200.0 um"));
        note_drop(n);
        b->rig.spacing_slips = false;
        bench_do(b, 12, STEP_MOVE, near);
        assert_true(b->rig.spacing_um == 200 && b->rig.spacings == 3 && b->rig.x_um == 10);
        bench_free(b);
}

static void a_touch_from_home_to_separation_is_read_back_at_every_step(void **state)
{
        struct bench *b = bench_new();
        (void)state;
        bench_station(b);
        bench_link(b);
        bench_do(b, 1, STEP_INVENTORY, (struct step_args){0});
        bench_do(b, 2, STEP_SAFE, (struct step_args){0});
        bench_do(b, 3, STEP_HOME, (struct step_args){0});
        bench_do(b, 4, STEP_ALIGN, (struct step_args){.place = PLACE_WAFER});
        bench_do(b, 5, STEP_MOVE, (struct step_args){.place = PLACE_WAFER, .x_um = 10, .y_um = -20});
        struct link_note *n = bench_step(b, 6, STEP_LOWER, (struct step_args){.overtravel_um = 40});
        assert_int_equal(n->result.code, CODE_OK);
        assert_true(n->result.state.in_contact);
        assert_int_equal(n->result.state.separated, KNOW_UNKNOWN);
        assert_true(n->result.dc_ohm[0] == 42 && n->result.state.x_um == 10 && n->result.state.z_um == -40);
        note_drop(n);
        n = bench_step(b, 7, STEP_BIAS_ON, (struct step_args){.volt = 20, .limit_a = 0.1});
        assert_int_equal(n->result.code, CODE_OK);
        assert_true(n->result.volt == 20 && n->result.state.bias_off != KNOW_KNOWN);
        note_drop(n);
        n = bench_step(b, 8, STEP_SEPARATE, (struct step_args){0}); /* biased: refused, nothing moves */
        assert_int_equal(n->result.code, CODE_INTERLOCK);
        assert_true(n->result.state.in_contact);
        note_drop(n);
        bench_do(b, 9, STEP_BIAS_OFF, (struct step_args){0});
        n = bench_step(b, 10, STEP_MOVE, (struct step_args){.place = PLACE_WAFER}); /* in contact: refused */
        assert_int_equal(n->result.code, CODE_INTERLOCK);
        note_drop(n);
        bench_do(b, 11, STEP_SEPARATE, (struct step_args){0});
        n = bench_step(b, 12, STEP_LOWER, (struct step_args){.overtravel_um = 61});
        assert_int_equal(n->result.code, CODE_INTERLOCK);
        assert_non_null(strstr(n->result.text, "61"));
        note_drop(n);
        bench_do(b, 13, STEP_PARK, (struct step_args){0});
        bench_free(b);
}

static void a_lease_that_runs_out_walks_the_ladder(void **state)
{
        struct bench *b = bench_new();
        (void)state;
        bench_station(b);
        bench_link(b);
        bench_in_contact_and_biased(b, 1);
        usleep(600 * 1000); /* one renewal at least, so that the lease began before now */
        int64_t from = world_boot_ns(b->rig.w);
        atomic_store(&b->healthy, false);
        double s = bench_seconds_until_safe(b, from);
        assert_true(s > 1.4 && s < 5);
        note_drop(bench_wait(b, LINK_DOWN, 5));
        atomic_store(&b->healthy, true);
        struct link_note *n = bench_wait(b, LINK_UP, 10);
        assert_string_equal(n->welcome.last.what, "lease");
        assert_true(n->welcome.last.proven_safe);
        assert_int_equal(n->welcome.state.bias_off, KNOW_KNOWN);
        note_drop(n);
        bench_free(b);
}

static void a_daemon_that_dies_in_contact_with_bias_on_leaves_a_safe_station_within_5_s(void **state)
{
        struct bench *b = bench_new();
        (void)state;
        bench_station(b);
        bench_link(b);
        bench_in_contact_and_biased(b, 1);
        int64_t from = world_boot_ns(b->rig.w);
        bench_unlink(b, false); /* the socket closes, nothing is said */
        double s = bench_seconds_until_safe(b, from);
        print_message("safe after %.3f s\n", s);
        assert_true(s < 5);
        b->link = link_open(b->rig.w, b->address, "next", 0, b->loop, NULL, NULL, NULL);
        struct link_note *n = bench_wait(b, LINK_UP, 10);
        assert_string_equal(n->welcome.last.what, "lease");
        assert_true(n->welcome.last.proven_safe);
        assert_true(n->welcome.epoch == 2); /* the catalogue said 0 again, the station knew better */
        note_drop(n);
        bench_free(b);
}

static void a_step_acts_once_though_it_is_sent_twice(void **state)
{
        struct bench *b = bench_new();
        (void)state;
        bench_station(b);
        bench_link(b);
        bench_do(b, 1, STEP_HOME, (struct step_args){0});
        bench_do(b, 2, STEP_MOVE, (struct step_args){.place = PLACE_WAFER});
        struct link_note *n = bench_step(b, 3, STEP_LOWER, (struct step_args){.overtravel_um = 30});
        assert_int_equal(n->result.code, CODE_OK);
        note_drop(n);
        n = bench_step(b, 3, STEP_LOWER, (struct step_args){.overtravel_um = 30}); /* kept: the same answer again */
        assert_true(n->result.code == CODE_OK && n->result.state.in_contact);
        note_drop(n);
        link_ack(b->link, 3, NULL);
        n = bench_step(b, 3, STEP_LOWER, (struct step_args){.overtravel_um = 30}); /* forgotten, yet never done again */
        assert_int_equal(n->result.code, CODE_STATE);
        note_drop(n);
        pthread_mutex_lock(&b->rig.mutex);
        assert_int_equal(b->rig.lowers, 1);
        pthread_mutex_unlock(&b->rig.mutex);
        bench_free(b);
}

static char *read_text(const char *path, size_t *ret_n)
{
        FILE *f = fopen(path, "rb");
        if (!f)
                fail_msg("%s cannot be read; run the tests from the top of the tree", path);
        char *all = malloc(1 << 20);
        *ret_n = fread(all, 1, 1 << 20, f);
        fclose(f);
        return all;
}

static void a_result_with_traces_is_kept_until_acknowledged_and_given_to_the_next_daemon(void **state)
{
        struct bench *b = bench_new();
        size_t n_bytes;
        char *recipe = read_text("simulators/demo/recipe.json", &n_bytes);
        (void)state;
        bench_station(b);
        bench_link(b);
        bench_do(b, 1, STEP_HOME, (struct step_args){0});
        assert_int_equal(link_setup(b->link, NULL, recipe, n_bytes, NULL), CODE_OK);
        struct link_note *n = bench_step(b, 2, STEP_SWEEP, (struct step_args){.sweep = 0});
        if (n->result.code)
                fail_msg("%s", n->result.text);
        assert_int_equal(n->trace_n, 4);
        assert_string_equal(n->traces[2].name, "S21");
        size_t bytes = n->traces[2].byte_n;
        assert_true(n->traces[2].dtype == C128_LE && bytes == (size_t)n->traces[2].points * 16 && n->traces[2].points > 100);
        uint8_t *first = malloc(bytes);
        memcpy(first, n->traces[2].bytes, bytes);
        note_drop(n);
        bench_unlink(b, false); /* before it could commit */
        b->link = link_open(b->rig.w, b->address, "next", 1, b->loop, NULL, NULL, NULL);
        n = bench_wait(b, LINK_UP, 10);
        assert_true(n->welcome.open_step == 2);
        assert_string_equal(n->welcome.open_state, "done");
        note_drop(n);
        link_did(b->link, 2, NULL);
        n = bench_wait(b, LINK_DID, 5);
        assert_string_equal(n->did, "done");
        note_drop(n);
        n = bench_wait(b, LINK_RESULT, 5);
        assert_true(n->trace_n == 4 && n->traces[2].byte_n == bytes && !memcmp(n->traces[2].bytes, first, bytes));
        note_drop(n);
        link_ack(b->link, 2, NULL);
        link_did(b->link, 77, NULL);
        n = bench_wait(b, LINK_DID, 5);
        assert_string_equal(n->did, "never");
        note_drop(n);
        pthread_mutex_lock(&b->rig.mutex);
        assert_int_equal(b->rig.sweeps, 1);
        pthread_mutex_unlock(&b->rig.mutex);
        free(first);
        free(recipe);
        bench_free(b);
}

static void bias_that_cannot_be_read_latches_in_place_until_a_person_clears_it(void **state)
{
        struct bench *b = bench_new();
        (void)state;
        b->config.limits.separate_when_bias_unknown = false;
        bench_station(b);
        bench_link(b);
        bench_in_contact_and_biased(b, 1);
        pthread_mutex_lock(&b->rig.mutex);
        b->rig.bias_read_fails = b->rig.bias_stuck = true;
        pthread_mutex_unlock(&b->rig.mutex);
        struct link_note *n = bench_step(b, 10, STEP_SAFE, (struct step_args){0});
        assert_int_equal(n->result.code, CODE_INTERLOCK);
        assert_true(n->result.state.latched && n->result.state.separated != KNOW_KNOWN);
        note_drop(n);
        pthread_mutex_lock(&b->rig.mutex);
        assert_true(rig_down(&b->rig)); /* in place */
        b->rig.bias_read_fails = b->rig.bias_stuck = false;
        pthread_mutex_unlock(&b->rig.mutex);
        n = bench_step(b, 11, STEP_SAFE, (struct step_args){0}); /* the way to safety works while latched */
        assert_true(n->result.code == CODE_OK && n->result.state.latched);
        note_drop(n);
        n = bench_step(b, 12, STEP_HOME, (struct step_args){0});
        assert_int_equal(n->result.code, CODE_INTERLOCK);
        note_drop(n);
        bench_unlink(b, true);
        station_stop(b->station); /* a latch outlives the process */
        bench_station(b);
        bench_link(b);
        n = bench_step(b, 13, STEP_HOME, (struct step_args){0});
        assert_int_equal(n->result.code, CODE_INTERLOCK);
        note_drop(n);
        assert_int_equal(link_clear(b->link, "A. Person", NULL), CODE_OK);
        n = bench_wait(b, LINK_EVENT, 5);
        assert_string_equal(n->event.what, "cleared");
        note_drop(n);
        bench_do(b, 14, STEP_HOME, (struct step_args){0});
        bench_free(b);
}

static void an_interlock_loop_that_opens_walks_the_ladder(void **state)
{
        struct bench *b = bench_new();
        (void)state;
        bench_station(b);
        bench_link(b);
        bench_in_contact_and_biased(b, 1);
        pthread_mutex_lock(&b->rig.mutex);
        b->rig.loop_open = true;
        pthread_mutex_unlock(&b->rig.mutex);
        struct link_note *n = bench_wait(b, LINK_EVENT, 5);
        assert_string_equal(n->event.what, "interlock");
        assert_true(n->event.proven_safe && bench_is_safe(b));
        note_drop(n);
        n = bench_step(b, 20, STEP_MOVE, (struct step_args){.place = PLACE_WAFER, .x_um = 5});
        assert_int_equal(n->result.code, CODE_INTERLOCK);
        note_drop(n);
        pthread_mutex_lock(&b->rig.mutex);
        b->rig.loop_open = false;
        pthread_mutex_unlock(&b->rig.mutex);
        bench_do(b, 21, STEP_MOVE, (struct step_args){.place = PLACE_WAFER, .x_um = 5});
        bench_free(b);
}

static void a_step_open_when_the_station_died_is_interrupted_for_the_next_one(void **state)
{
        struct bench *b = bench_new();
        char line[200];
        (void)state;
        b->rig.z_um = -40, b->rig.volt[0] = 28; /* how a killed station left it */
        FILE *f = fopen(b->config.log, "w");
        assert_non_null(f);
        snprintf(line, sizeof line, "{\"boot\":4,\"build\":\"x\"}\n{\"epoch\":7}\n{\"begin\":\"4294967297\",\"kind\":\"lower\"}\n{\"beg");
        fputs(line, f);
        fclose(f);
        bench_station(b);
        assert_true(bench_is_safe(b)); /* it makes safe what it finds, before it listens */
        b->link = link_open(b->rig.w, b->address, "next", 0, b->loop, NULL, NULL, NULL);
        struct link_note *n = bench_wait(b, LINK_UP, 10);
        assert_true(n->welcome.epoch == 8 && n->welcome.boot_count == 5 && n->welcome.open_step == 4294967297ull);
        assert_string_equal(n->welcome.open_state, "interrupted");
        assert_string_equal(n->welcome.last.what, "boot");
        assert_true(n->welcome.last.proven_safe);
        note_drop(n);
        link_did(b->link, 4294967297ull, NULL);
        n = bench_wait(b, LINK_DID, 5);
        assert_string_equal(n->did, "interrupted");
        note_drop(n);
        n = bench_wait(b, LINK_RESULT, 5);
        assert_true(n->result.effect_unknown && n->result.state.separated == KNOW_KNOWN);
        note_drop(n);
        bench_free(b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(a_touch_from_home_to_separation_is_read_back_at_every_step),
                cmocka_unit_test(the_probes_are_moved_apart_only_when_separated),
                cmocka_unit_test(a_gate_is_biased_before_its_drain),
                cmocka_unit_test(a_base_is_driven_after_its_collector),
                cmocka_unit_test(a_lease_that_runs_out_walks_the_ladder),
                cmocka_unit_test(a_daemon_that_dies_in_contact_with_bias_on_leaves_a_safe_station_within_5_s),
                cmocka_unit_test(a_step_acts_once_though_it_is_sent_twice),
                cmocka_unit_test(a_result_with_traces_is_kept_until_acknowledged_and_given_to_the_next_daemon),
                cmocka_unit_test(bias_that_cannot_be_read_latches_in_place_until_a_person_clears_it),
                cmocka_unit_test(an_interlock_loop_that_opens_walks_the_ladder),
                cmocka_unit_test(a_step_open_when_the_station_died_is_interrupted_for_the_next_one),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
