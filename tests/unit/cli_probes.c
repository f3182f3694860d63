/* Histories of probes and modules out of what runs have stored: gathered newest run first, judged oldest first, by serial. */
#include "cli/probes.h"
#include "cli/show.h"
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* One run's answer with this many calibrations; the newest one last.  directivity of port 1 and delay of port 2 as asked. */
static cJSON *calibrations_of(size_t n, const char *probe1, const char *probe2, double directivity_db, double delay_s, const char *state)
{
        struct text t;
        cJSON *j = NULL;
        text_init(&t, 0);
        text_put(&t, "{\"calibrations\":[");
        for (size_t k = 0; k < n; k++) {
                text_f(&t,
                       "%s{\"id\":\"C\",\"number\":%zu,\"state\":\"%s\",\"diagnosis\":{\"method\":\"unknown_thru\",\"history\":{\"probes\":"
                       "[\"%s\",\"%s\"],\"modules\":[\"M-1\",\"\"],\"bands\":[",
                       k ? "," : "", k + 1, state, probe1, probe2);
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
static cJSON *calibrations(size_t n, const char *probe2, double directivity_db, double delay_s, const char *state)
{
        return calibrations_of(n, "P-1", probe2, directivity_db, delay_s, state);
}
static void take(struct probes_history *h, const char *run, cJSON *j, const char *serial)
{
        struct tp_error err = {0};
        if (probes_take(h, run, j, serial, &err))
                fail_msg("%s", err.text);
        cJSON_Delete(j);
}

static const struct probes_series *series(const struct probes_history *h, const char *serial)
{
        for (size_t i = 0; i < h->series_n; i++)
                if (strcmp(h->series[i].serial, serial) == 0)
                        return &h->series[i];
        fail_msg("no series of %s", serial);
        return NULL;
}

static void a_loose_module_shows_in_the_newest_run(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct probes_history h = probes_history_of(arena);
        take(&h, "R9", calibrations(1, "P-2", -12, 250e-15, "accepted"), NULL); /* the newest run comes first */
        take(&h, "R8", calibrations(2, "P-2", -18, 0, "accepted"), NULL);
        take(&h, "R7", calibrations(1, "P-3", -18, 0, "accepted"), NULL); /* another probe at port 2: port 1 goes on all the same */
        take(&h, "R6", calibrations(1, "P-2", -18, 0, "refused"), NULL);  /* nobody accepted it */
        take(&h, "R5", calibrations(3, "P-2", -18, 0, "accepted"), NULL);
        assert_int_equal(h.n, 7);
        assert_int_equal(probes_judge(&h, NULL, NULL), CODE_OK);
        assert_int_equal(h.series_n, 3); /* two probes, and the one module that was told */
        const struct probes_series *one = series(&h, "P-1"), *two = series(&h, "P-2"), *module = series(&h, "M-1");
        assert_int_equal(one->n, 7);
        assert_int_equal(two->n, 6);
        assert_int_equal(module->n, 7);
        assert_int_equal(module->what, PROBES_MODULE);
        assert_string_equal(two->points[0].entry->run, "R5");
        assert_int_equal(two->points[0].entry->number, 1);
        assert_string_equal(two->points[5].entry->run, "R9");
        assert_true(fabs(two->points[5].d.delay_s[1] - 250e-15) < 1e-17 && fabs(two->points[0].d.delay_s[1]) < 1e-18);
        assert_true(isnan(two->points[5].d.delay_s[0]) && fabs(two->points[5].d.loss_db[1]) < 1e-9);
        assert_int_equal(one->answer.moved_n, 1); /* the directivity is port 1's, so it is said of what sits there */
        assert_int_equal(module->answer.moved_n, 1);
        assert_int_equal(two->answer.moved_n, 0);
        assert_non_null(strstr(one->answer.sentence, "directivity of port 1 above 145 GHz"));
        struct text t;
        text_init(&t, 0);
        probes_show(&h, &t);
        assert_non_null(strstr(text_of(&t), "probe P-1, now at port 1"));
        assert_non_null(strstr(text_of(&t), "module M-1, now at port 1"));
        assert_non_null(strstr(text_of(&t), "R7"));
        text_clear(&t);
        probes_show_json(&h, &t);
        cJSON *j = NULL;
        assert_int_equal(json_read(text_of(&t), t.n, JSON_DEPTH_MAX, &j, NULL), CODE_OK);
        assert_int_equal(cJSON_GetArraySize(have(j, "series")), 3);
        assert_int_equal(cJSON_GetArraySize(have(cJSON_GetArrayItem(have(j, "series"), 1), "calibrations")), 6);
        assert_string_equal(have_text(cJSON_GetArrayItem(have(j, "series"), 0), "sentence"), one->answer.sentence);
        cJSON_Delete(j);
        text_done(&t);
        arena_free(arena);
}

static void a_probe_that_changed_ports_keeps_its_history(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct probes_history h = probes_history_of(arena);
        take(&h, "R9", calibrations_of(1, "P-9", "P-1", -18, 120e-15, "accepted"),
             NULL); /* P-1 sits at port 2 now, which moved by 120 fs … */
        take(&h, "R8", calibrations_of(2, "P-1", "P-2", -18, 70e-15, "accepted"), NULL); /* … and sat at port 1 before */
        assert_int_equal(probes_judge(&h, NULL, NULL), CODE_OK);
        const struct probes_series *s = series(&h, "P-1");
        assert_int_equal(s->n, 3);
        assert_int_equal(s->port, 1);
        assert_int_equal(s->points[0].port, 0);
        assert_int_equal(s->points[2].port, 1);
        /* directivity and match are of the port where it sat: -18 at port 1 (band of the test), -18 at port 2 */
        assert_true(s->points[0].d.band[1].match_db[1] == -20 && s->points[2].d.band[1].match_db[1] == -21);
        assert_true(isnan(s->points[0].d.band[1].match_db[0]));
        assert_true(fabs(s->points[1].d.delay_s[1]) < 1e-18); /* port 1's tracking did not move between its own calibrations */
        assert_int_equal(series(&h, "P-9")->n, 1);
        arena_free(arena);
}

static void one_probe_can_be_asked_for(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct probes_history h = probes_history_of(arena);
        take(&h, "R9", calibrations(1, "P-2", -18, 0, "accepted"), "P-3");
        take(&h, "R7", calibrations(2, "P-3", -18, 0, "accepted"), "P-3");
        assert_int_equal(probes_judge(&h, "P-3", NULL), CODE_OK);
        assert_int_equal(h.series_n, 1);
        assert_int_equal(h.series[0].n, 2);
        assert_string_equal(h.series[0].serial, "P-3");
        assert_int_equal(h.series[0].answer.moved_n, 0);
        arena_free(arena);
}

static void what_older_runs_lack_is_counted_and_an_empty_history_says_so(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct probes_history h = probes_history_of(arena);
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
        assert_int_equal(probes_judge(&h, NULL, &err), CODE_NOT_FOUND);
        assert_non_null(strstr(err.text, "older ones have none"));
        arena_free(arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(a_loose_module_shows_in_the_newest_run),
                                           cmocka_unit_test(a_probe_that_changed_ports_keeps_its_history),
                                           cmocka_unit_test(one_probe_can_be_asked_for),
                                           cmocka_unit_test(what_older_runs_lack_is_counted_and_an_empty_history_says_so)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
