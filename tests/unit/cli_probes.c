/* The history of probes out of what runs have stored: gathered newest run first, judged oldest first, by pair of probes. */
#include "cli/probes.h"
#include "cli/show.h"
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* One run's answer with this many calibrations; the newest one last.  directivity of port 1 and delay of port 2 as asked. */
static cJSON *calibrations(size_t n, const char *probe2, double directivity_db, double delay_s, const char *state)
{
        struct text t;
        cJSON *j = NULL;
        text_init(&t, 0);
        text_put(&t, "{\"calibrations\":[");
        for (size_t k = 0; k < n; k++) {
                text_f(&t,
                       "%s{\"id\":\"C\",\"number\":%zu,\"state\":\"%s\",\"diagnosis\":{\"method\":\"unknown_thru\",\"history\":{\"probes\":"
                       "[\"P-1\",\"%s\"],\"bands\":[",
                       k ? "," : "", k + 1, state, probe2);
                for (int b = 0; b < 2; b++)
                        text_f(&t,
                               "%s{\"from_hz\":%g,\"to_hz\":%g,\"directivity_db\":[%g,-18],\"match_db\":[-20,-21],\"load_db\":[-20,-21],"
                               "\"tracking_db\":[-4,-5]}",
                               b ? "," : "", b ? 145e9 : 1e9, b ? 1e13 : 145e9, b ? directivity_db : -20.0);
                text_put(&t, "],\"tracking\":[");
                for (int i = 0; i < 12; i++) {
                        double hz = 1e9 + 19e9 * i, phase = -4 * 3.14159265358979 * hz * delay_s;
                        text_f(&t, "%s[%.17g,0.5,0.1,%.17g,%.17g]", i ? "," : "", hz, 0.6 * cos(phase), 0.6 * sin(phase));
                }
                text_put(&t, "]}}}");
        }
        text_put(&t, "]}");
        if (json_read(text_of(&t), t.n, JSON_DEPTH_MAX, &j, NULL))
                fail_msg("the test's own JSON is none: %s", text_of(&t));
        text_done(&t);
        return j;
}
static void take(struct probes_history *h, const char *run, cJSON *j, const char *serial)
{
        struct tp_error err = {0};
        if (probes_take(h, run, j, serial, &err))
                fail_msg("%s", err.text);
        cJSON_Delete(j);
}

static void a_loose_module_shows_in_the_newest_run(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct probes_history h = probes_history_of(arena);
        struct rf_history_answer a;
        take(&h, "R9", calibrations(1, "P-2", -12, 250e-15, "accepted"), NULL); /* the newest run comes first */
        take(&h, "R8", calibrations(2, "P-2", -18, 0, "accepted"), NULL);
        take(&h, "R7", calibrations(1, "P-3", -18, 0, "accepted"), NULL); /* another probe: not of this history */
        take(&h, "R6", calibrations(1, "P-2", -18, 0, "refused"), NULL);  /* nor what nobody accepted */
        take(&h, "R5", calibrations(3, "P-2", -18, 0, "accepted"), NULL);
        assert_int_equal(h.n, 7);
        assert_int_equal(probes_judge(&h, &a, NULL), CODE_OK);
        assert_int_equal(h.n, 6);
        assert_string_equal(h.entry[0].run, "R5");
        assert_int_equal(h.entry[0].number, 1);
        assert_string_equal(h.entry[5].run, "R9");
        assert_true(fabs(h.entry[5].d.delay_s[1] - 250e-15) < 1e-17 && fabs(h.entry[0].d.delay_s[1]) < 1e-18);
        assert_true(fabs(h.entry[5].d.loss_db[1]) < 1e-9);
        assert_int_equal(a.moved_n, 1);
        assert_non_null(strstr(a.sentence, "directivity of port 1 above 145 GHz"));
        struct text t;
        text_init(&t, 0);
        probes_show(&h, &a, &t);
        assert_non_null(strstr(text_of(&t), "probes P-1 (port 1) and P-2 (port 2)"));
        assert_non_null(strstr(text_of(&t), "R9"));
        assert_null(strstr(text_of(&t), "R7"));
        text_clear(&t);
        probes_show_json(&h, &a, &t);
        cJSON *j = NULL;
        assert_int_equal(json_read(text_of(&t), t.n, JSON_DEPTH_MAX, &j, NULL), CODE_OK);
        assert_int_equal(cJSON_GetArraySize(have(j, "calibrations")), 6);
        assert_string_equal(have_text(j, "sentence"), a.sentence);
        cJSON_Delete(j);
        text_done(&t);
        arena_free(arena);
}

static void one_probe_can_be_asked_for(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct probes_history h = probes_history_of(arena);
        struct rf_history_answer a;
        take(&h, "R9", calibrations(1, "P-2", -18, 0, "accepted"), "P-3");
        take(&h, "R7", calibrations(2, "P-3", -18, 0, "accepted"), "P-3");
        assert_int_equal(probes_judge(&h, &a, NULL), CODE_OK);
        assert_int_equal(h.n, 2);
        assert_string_equal(h.entry[0].serial[1], "P-3");
        assert_int_equal(a.moved_n, 0);
        arena_free(arena);
}

static void what_older_runs_lack_is_counted_and_an_empty_history_says_so(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct probes_history h = probes_history_of(arena);
        struct rf_history_answer a;
        struct tp_error err = {0};
        static const char *const bad[] = {
                "{\"calibrations\":[{\"number\":1,\"state\":\"accepted\",\"diagnosis\":{\"method\":\"solt\"}}]}",
                "{\"calibrations\":[{\"number\":1,\"state\":\"accepted\",\"diagnosis\":null}]}",
                "{\"calibrations\":[{\"number\":1,\"state\":\"accepted\",\"diagnosis\":{\"history\":{\"probes\":[\"a\",\"b\"],\"bands\":[{"
                "\"from_hz\":1}],\"tracking\":[[1,2,3]]}}}]}",
                "{\"calibrations\":[{\"number\":1,\"state\":\"accepted\",\"diagnosis\":{\"history\":{\"probes\":[1,2],\"bands\":[],"
                "\"tracking\":[]}}}]}",
                "{}",
        };
        for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
                cJSON *j = NULL;
                assert_int_equal(json_read(bad[k], strlen(bad[k]), JSON_DEPTH_MAX, &j, NULL), CODE_OK);
                take(&h, "R", j, NULL);
        }
        assert_int_equal(h.n, 0);
        assert_int_equal(h.without, 4);
        assert_int_equal(probes_judge(&h, &a, &err), CODE_NOT_FOUND);
        assert_non_null(strstr(err.text, "older ones have none"));
        arena_free(arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(a_loose_module_shows_in_the_newest_run),
                                           cmocka_unit_test(one_probe_can_be_asked_for),
                                           cmocka_unit_test(what_older_runs_lack_is_counted_and_an_empty_history_says_so)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
