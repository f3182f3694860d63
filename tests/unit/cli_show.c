/* Numbers, the map, the summary: what people read. */
#include "tests/unit/json_text.h"
#include "cli/http.h"
#include "cli/number.h"
#include "cli/show.h"
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define assert_says(call, wanted)                         \
        do {                                              \
                struct text t_;                           \
                struct text *to = &t_;                    \
                text_init(to, 0);                         \
                call;                                     \
                assert_string_equal(text_of(to), wanted); \
                text_done(to);                            \
        } while (0)

static void a_quantity_has_as_many_decimals_as_its_uncertainty_deserves(void **state)
{
        (void)state;
        assert_says(put_quantity(to, 3.0598510099260752e-10, 2.1178e-12, "H"), "306.0 ± 2.1 pH");
        assert_says(put_quantity(to, 73.97, 0.2187, "ohm"), "73.97 ± 0.22 ohm");
        assert_says(put_quantity(to, 17.6542, 0.8607, "1"), "17.65 ± 0.86");
        assert_says(put_quantity(to, -0.0559, 0.00531, "dB"), "-0.0559 ± 0.0053 dB");
        assert_says(put_quantity(to, 138.457e9, 39e6, "Hz"), "138.457 ± 0.039 GHz");
        assert_says(put_quantity(to, 1.2e-13, 4e-12, "F"), "120 ± 4000 fF"); /* far more uncertain than large */
}

static void without_an_uncertainty_there_are_four_digits(void **state)
{
        (void)state;
        assert_says(put_quantity(to, 2.85e-10, NAN, "H"), "285.0 pH");
        assert_says(put_quantity(to, 0, NAN, "V"), "0.000 V");
        assert_says(put_quantity(to, NAN, NAN, "H"), "–");
        assert_says(put_quantity(to, INFINITY, 1, "H"), "–");
        assert_says(put_quantity(to, 999.99e-12, NAN, "H"), "1.000 nH"); /* not 1000 pH */
        assert_says(put_quantity(to, 1e-30, NAN, "H"), "1.000e-12 aH");
        assert_says(put_quantity(to, 1234567, NAN, "1"), "1.235e+06");
}

static void probabilities_say_no_more_than_is_known(void **state)
{
        (void)state;
        assert_says(put_probability(to, 0.97724986), "0.9772");
        assert_says(put_probability(to, 0.99989), "0.9998"); /* never up */
        assert_says(put_probability(to, 0.999901), "> 0.9999");
        assert_says(put_probability(to, 1), "> 0.9999");
        assert_says(put_probability(to, 0.01234), "0.012");
        assert_says(put_probability(to, 2.4e-5), "2.4e-05");
        assert_says(put_probability(to, 1e-248), "< 1e-06");
        assert_says(put_probability(to, NAN), "");
}

static void short_numbers_frequencies_and_durations(void **state)
{
        (void)state;
        assert_says(put_short(to, 3.0598e-10, "H"), "306.0p");
        assert_says(put_short(to, NAN, "H"), "–");
        assert_says(put_hz(to, 70000), "70 kHz");
        assert_says(put_hz(to, 2.2e11), "220 GHz");
        assert_says(put_hz(to, 1.25e9), "1.25 GHz");
        assert_says(put_seconds(to, 0.4), "0.4 s");
        assert_says(put_seconds(to, 59.97), "1 min 0 s"); /* never 60 s */
        assert_says(put_seconds(to, 290), "4 min 50 s");
        assert_says(put_seconds(to, 3599), "1 h 0 min");
        assert_says(put_seconds(to, 6140), "1 h 42 min");
        assert_says(put_seconds(to, -1), "–");
        assert_says(put_count(to, 1, "touch", "touches"), "1 touch");
        assert_says(put_count(to, 0, "touch", "touches"), "0 touches");
}

static const char map_text[] = "{\"run\":\"R\",\"wafer\":\"W1\",\"diameter_mm\":50,\"notch_deg\":270,\"dies\":["
                               "{\"x\":0,\"y\":0,\"waits\":0,\"no_contact\":0,\"verdict\":\"pass\",\"trust\":\"proven\",\"devices\":[{"
                               "\"name\":\"L1\",\"outcome\":\"measured\",\"verdict\":\"pass\",\"trust\":\"proven\"}]},"
                               "{\"x\":1,\"y\":0,\"waits\":0,\"no_contact\":0,\"verdict\":\"fail\",\"trust\":\"suspect\",\"devices\":[{"
                               "\"name\":\"L1\",\"outcome\":\"measured\",\"verdict\":\"fail\",\"trust\":\"suspect\"}]},"
                               "{\"x\":-1,\"y\":0,\"waits\":1,\"no_contact\":0,\"verdict\":\"none\",\"trust\":\"unknown\",\"devices\":[{"
                               "\"name\":\"L1\",\"outcome\":\"waits\",\"verdict\":\"none\",\"trust\":\"unknown\"}]},"
                               "{\"x\":0,\"y\":-1,\"waits\":0,\"no_contact\":1,\"verdict\":\"none\",\"trust\":\"open\",\"devices\":[{"
                               "\"name\":\"L1\",\"outcome\":\"no_contact\",\"verdict\":\"none\",\"trust\":\"open\"}]},"
                               "{\"x\":0,\"y\":1,\"waits\":0,\"no_contact\":0,\"verdict\":\"none\",\"trust\":\"unknown\",\"devices\":[{"
                               "\"name\":\"L1\",\"outcome\":\"skipped\",\"verdict\":\"none\",\"trust\":\"unknown\"}]}]}";

/* Lines of a text up to the empty one before the legend. */
static const char *grid_of(const struct text *t, char ret[600])
{
        const char *from = strstr(text_of(t), "     y\n"), *to = strstr(text_of(t), "\n\nverdict");
        assert_non_null(from);
        assert_non_null(to);
        size_t n = (size_t)(to - from);
        assert_true(n < 600);
        memcpy(ret, from, n);
        ret[n] = 0;
        return ret;
}

static void the_map_shows_verdict_and_trust_of_each_die_with_y_upwards(void **state)
{
        (void)state;
        char grid[600];
        struct text t;
        cJSON *map = json(map_text);
        text_init(&t, 0);
        show_map(map, NULL, NULL, &t);
        assert_string_equal(grid_of(&t, grid), "     y\n"
                                               "    1       x\n"
                                               "    0   .  [+] !#!\n"
                                               "   -1      (o)\n"
                                               "       -1   0   1  x");
        assert_non_null(strstr(text_of(&t), "notch at the bottom"));
        text_done(&t);
        cJSON_Delete(map);
}

static void the_map_shows_the_last_value_of_a_device(void **state)
{
        (void)state;
        char grid[600];
        struct text t;
        cJSON *map = json(map_text);
        cJSON *p = json("{\"parameters\":["
                        "{\"die\":{\"x\":0,\"y\":0},\"unit\":\"H\",\"value\":1e-10,\"verdict\":\"fail\",\"trust\":\"suspect\"},"
                        "{\"die\":{\"x\":0,\"y\":0},\"unit\":\"H\",\"value\":3.06e-10,\"verdict\":\"pass\",\"trust\":\"proven\"},"
                        "{\"die\":{\"x\":1,\"y\":0},\"unit\":\"H\",\"value\":null,\"verdict\":\"none\",\"trust\":\"suspect\"}]}");
        text_init(&t, 0);
        show_map(map, p, "L1", &t);
        assert_string_equal(grid_of(&t, grid), "     y\n"
                                               "    1                   x\n"
                                               "    0         .  [306.0p+] !     –-!\n"
                                               "   -1            (      o)\n"
                                               "             -1         0         1  x");
        text_done(&t);
        cJSON_Delete(p);
        cJSON_Delete(map);
}

static void a_map_without_dies_or_with_absurd_ones_is_said(void **state)
{
        (void)state;
        cJSON *none = json("{\"run\":\"R\"}"), *far = json("{\"dies\":[{\"x\":-9000,\"y\":0},{\"x\":9000,\"y\":0}]}");
        assert_says(show_map(none, NULL, NULL, to), "no map yet: the run has no plan\n");
        assert_says(show_map(far, NULL, NULL, to), "the wafer has too many dies across for a map of text\n");
        cJSON_Delete(none);
        cJSON_Delete(far);
}

static void every_mark_and_border_is_in_the_legend(void **state)
{
        (void)state;
        static const char *const outcomes[] = {"unknown", "waits", "measured", "doubtful", "no_contact", "skipped", "written_off"};
        static const char *const verdicts[] = {"none", "pass", "marginal", "fail"};
        static const char *const trusts[] = {"proven", "open", "suspect", "rescued"};
        struct text t;
        text_init(&t, 0);
        show_map_legend(&t);
        for (size_t i = 0; i < 7; i++)
                for (size_t k = 0; k < 4; k++) {
                        char wanted[] = {' ', verdict_mark(outcomes[i], verdicts[k]), ' ', 0};
                        assert_non_null(strstr(text_of(&t), wanted));
                }
        for (size_t i = 0; i < 4; i++) {
                const char *b = trust_border(trusts[i]);
                char wanted[40];
                snprintf(wanted, sizeof wanted, "%c %c %s", b[0], b[1], trusts[i]);
                assert_non_null(strstr(text_of(&t), wanted));
        }
        text_done(&t);
}

static void columns_line_up_by_characters_not_bytes(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct table t = table_of(arena, "lr");
        table_cell(&t, "%s", "±µ");
        table_cell(&t, "%d", 5);
        table_cell(&t, "%s", "abcd");
        table_cell(&t, "%d", 500);
        assert_says(table_put(&t, to), "±µ      5\nabcd  500\n");
        arena_free(arena);
}

static void a_summary_counts_the_last_touch_of_a_device_and_names_the_refused(void **state)
{
        (void)state;
        struct text t;
        cJSON *run = json("{\"id\":\"R\",\"wafer\":\"W1\",\"state\":\"sealed\",\"progress\":{\"station_seconds\":100,\"waited_seconds\":1,"
                          "\"counts\":{\"touches_good\":2,\"touches_doubtful\":1,\"retouches\":1,\"checks\":2}}}");
        cJSON *map = json(map_text);
        cJSON *p = json("{\"parameters\":["
                        "{\"die\":{\"x\":0,\"y\":0},\"device\":\"L1\",\"quantity\":\"L_10GHz\",\"unit\":\"H\",\"value\":1e-10,\"u95\":2e-"
                        "12,\"verdict\":\"fail\",\"trust\":\"suspect\",\"attempt\":1},"
                        "{\"die\":{\"x\":0,\"y\":0},\"device\":\"L1\",\"quantity\":\"L_70kHz\",\"unit\":\"H\",\"value\":null,\"verdict\":"
                        "\"none\",\"trust\":\"proven\",\"reason\":\"not resolvable: u95 is 300 % of the value\"},"
                        "{\"die\":{\"x\":0,\"y\":0},\"device\":\"L1\",\"quantity\":\"L_10GHz\",\"unit\":\"H\",\"value\":3.06e-10,\"u95\":2."
                        "1e-12,\"verdict\":\"pass\",\"trust\":\"proven\",\"attempt\":2}]}");
        text_init(&t, 0);
        show_run(run, map, p, NULL, NULL, NULL, NULL, &t);
        const char *parameters = strstr(text_of(&t), "Parameters");
        assert_non_null(parameters);
        assert_non_null(strstr(parameters, "  pass             1     0        0    1\n"));
        assert_non_null(strstr(parameters, "  fail             0     0        0    0\n")); /* the first touch does not count */
        assert_non_null(strstr(parameters, "1 parameter is refused"));
        assert_non_null(strstr(parameters, "306.0 ± 2.1 pH"));
        assert_non_null(strstr(parameters, "3 touches of devices: 2 good, 1 doubtful, 0 absent; 1 retouch\n"));
        assert_non_null(strstr(parameters, "(1.00 %) for the daemon"));
        assert_non_null(strstr(parameters, "Fails        1,0 L1\n"));
        assert_non_null(strstr(parameters, "Suspect      1,0 L1\n"));
        assert_non_null(strstr(parameters, "Left out     0,-1 L1, 0,1 L1\n"));
        text_done(&t);
        cJSON_Delete(run);
        cJSON_Delete(map);
        cJSON_Delete(p);
}

static void a_summary_says_how_sure_its_verdicts_are(void **state)
{
        (void)state;
        struct text t;
        cJSON *run = json("{\"id\":\"R\",\"wafer\":\"W1\",\"state\":\"sealed\",\"progress\":{}}");
#define ROW(x, value, verdict, sure)                                                                                  \
        "{\"die\":{\"x\":" #x ",\"y\":0},\"device\":\"L1\",\"quantity\":\"L_10GHz\",\"unit\":\"H\",\"value\":" #value \
        ",\"u95\":2e-12,\"verdict\":"                                                                                 \
        "\"" verdict "\"," sure ",\"trust\":\"proven\"}"
#define SURE(p) "\"conformance\":" #p ",\"guard_band\":1.645e-12"
        cJSON *p = json("{\"parameters\":[" ROW(0, 3.06e-10, "pass", SURE(0.99996)) "," ROW(1, 2.87e-10, "pass", SURE(0.97724)) "," ROW(
                2, 2.86e-10, "marginal",
                SURE(0.84)) "," ROW(3, 2.8e-10, "fail",
                                    SURE(2.9e-7)) ","
                                                  "{\"die\":{\"x\":0,\"y\":0},\"device\":\"L2\",\"quantity\":\"L_10GHz\",\"unit\":\"H\","
                                                  "\"value\":1e-10,\"u95\":2e-12,"
                                                  "\"verdict\":\"pass\",\"conformance\":0.6,\"guard_band\":0,\"trust\":\"proven\"},"
                                                  "{\"die\":{\"x\":0,\"y\":0},\"device\":\"L3\",\"quantity\":\"L_10GHz\",\"unit\":\"H\","
                                                  "\"value\":1e-10,\"u95\":2e-12,"
                                                  "\"verdict\":\"none\",\"conformance\":null,\"guard_band\":null,\"trust\":\"proven\"}]}");
        text_init(&t, 0);
        show_run(run, NULL, p, NULL, NULL, NULL, NULL, &t);
        assert_non_null(strstr(text_of(&t), "                median ± u95  guard band  pass  least sure  marginal  fail  no value\n"
                                            "  L1  L_10GHz  286.5 ± 2.0 pH    1.645 pH     2      0.9772         1     1\n"
                                            "  L2  L_10GHz  100.0 ± 2.0 pH        none     1      0.6000\n"
                                            "  L3  L_10GHz  100.0 ± 2.0 pH\n"));
        assert_non_null(strstr(text_of(&t), "             within their limits with probability: 3,0 L1 L_10GHz < 1e-06\n"
                                            "Marginal     within their limits with probability: 2,0 L1 L_10GHz 0.8400\n"));
        text_done(&t);
        cJSON_Delete(run);
        cJSON_Delete(p);
}

static void a_calibration_says_what_its_loads_were_taken_as(void **state)
{
        (void)state;
        struct text t;
        cJSON *run = json("{\"id\":\"R\",\"wafer\":\"W1\",\"state\":\"sealed\",\"progress\":{}}"),
              *c = json("{\"calibrations\":[{\"number\":1,\"method\":\"solt\",\"state\":\"accepted\",\"diagnosis\":{\"loads\":["
                        "{\"standard\":\"LOAD_A\",\"port\":1,\"ohm\":50.3012,\"u_ohm\":0.0098,\"stated_ohm\":50,\"tolerance_ohm\":0.5},"
                        "{\"standard\":\"LOAD_A\",\"port\":2,\"ohm\":50.3028,\"u_ohm\":0.0098,\"stated_ohm\":50},"
                        "{\"standard\":\"LOAD_B\",\"port\":1,\"ohm\":49.9,\"u_ohm\":0.01,\"stated_ohm\":50}]},\"standards\":["
                        "{\"standard\":\"SHORT_A\",\"swept\":\"2026-11-20T21:00:01Z\"},{\"standard\":\"LOAD_A\",\"swept\":\"2026-11-20T21:"
                        "00:42Z\"},"
                        "{\"standard\":\"LOAD_B\",\"swept\":null}]},"
                        "{\"number\":2,\"method\":\"solt\",\"state\":\"accepted\",\"diagnosis\":{}}]}");
        text_init(&t, 0);
        show_run(run, NULL, NULL, NULL, c, NULL, NULL, &t);
        assert_non_null(strstr(
                text_of(&t),
                "Calibration  number 1, solt, accepted\n"
                "             loads by the DC meter: LOAD_A at port 1 50.301 ± 0.020 ohm (stated 50 ± 0.5; read 2026-11-20T21:00:42Z), "
                "LOAD_A at port 2 50.303 ± 0.020 ohm (stated 50; read 2026-11-20T21:00:42Z), LOAD_B at port 1 49.900 ± 0.020 "
                "ohm (stated 50; read in another run)\n"
                "             number 2, solt, accepted\n"));
        text_done(&t);
        cJSON_Delete(run);
        cJSON_Delete(c);
}

static void a_joined_calibration_says_how_well_its_bands_meet(void **state)
{
        (void)state;
        struct text t;
        cJSON *run = json("{\"id\":\"R\",\"wafer\":\"W1\",\"state\":\"sealed\",\"progress\":{}}"),
              *c = json("{\"calibrations\":[{\"number\":1,\"method\":\"joined\",\"state\":\"accepted\",\"diagnosis\":{\"bands\":["
                        "{\"method\":\"unknown_thru\"},{\"method\":\"multiline_trl\"},{\"method\":\"lrrm\"}],\"joints\":["
                        "{\"below\":\"unknown_thru\",\"above\":\"multiline_trl\",\"from_hz\":3e8,\"to_hz\":4e9,\"kink\":0.00312,\"kink_"
                        "hz\":1.2e9,"
                        "\"kink_allowed\":0.0074,\"share_of_allowed\":0.42,\"beyond\":false,\"sentence\":\"\"},"
                        "{\"from_hz\":3e10,\"to_hz\":4e10,\"kink\":0.051,\"kink_hz\":3.1e10,\"kink_allowed\":0.01,\"share_of_allowed\":3.4,"
                        "\"beyond\":true,\"sentence\":\"they differ: a definition, a length or a touch is wrong\"}]}}]}");
        text_init(&t, 0);
        show_run(run, NULL, NULL, NULL, c, NULL, NULL, &t);
        assert_non_null(strstr(
                text_of(&t),
                "             join 300 MHz to 4 GHz, unknown_thru below, multiline_trl above: kink 0.0031 at 1.2 GHz, where 0.0074 is "
                "allowed; over the join 0.42 of what both uncertainties allow\n"
                "             join 30 GHz to 40 GHz, multiline_trl below, lrrm above: kink 0.051 at 31 GHz, where 0.01 is allowed; over "
                "the join 3.4 of what both uncertainties allow\n"
                "             WARNING: they differ: a definition, a length or a touch is wrong\n"));
        assert_null(strstr(strstr(text_of(&t), "WARNING") + 1, "WARNING")); /* the first one is well */
        text_done(&t);
        cJSON_Delete(run);
        cJSON_Delete(c);
}

static void what_a_run_offers_is_said_with_how_to_take_it(void **state)
{
        (void)state;
        struct text t;
        cJSON *none = json("{\"offer\":null,\"evaluations\":[]}"),
              *e = json("{\"offer\":{\"id\":\"O\",\"offered\":\"2026-03-01T04:10:00Z\",\"entry\":510,\"suspects\":18,\"devices\":16,"
                        "\"values\":24,\"spec\":{"
                        "\"by\":\"rescue\",\"intervals\":[{\"interval\":1,\"before\":1,\"after\":2,\"sentence\":\"port 2 moved by 74 fs\"},"
                        "{\"interval\":3,\"before\":2,\"after\":0,\"why_not\":\"no calibration was accepted after "
                        "it\"}]}},\"evaluations\":[]}");
        text_init(&t, 0);
        show_offer(none, "R", &t);
        show_offer(NULL, "R", &t);
        assert_int_equal(t.n, 0);
        show_offer(e, "R", &t);
        assert_string_equal(
                text_of(&t),
                "Offered      24 values of 16 of 18 suspects, corrected between two calibrations; 2026-03-01T04:10:00Z, not granted by the "
                "mandate\n"
                "             interval 1, between calibrations 1 and 2: port 2 moved by 74 fs\n"
                "             interval 3, not: no calibration was accepted after it\n"
                "             to take it: tipplane evaluate R\n");
        text_done(&t);
        cJSON_Delete(none);
        cJSON_Delete(e);
}

static void a_run_ended_with_fails_when_a_person_must_look(void **state)
{
        (void)state;
        static const char *const bad[] = {"fail", "suspect", "no_contact", "skipped", "written_off"};
        cJSON *good = json("{\"progress\":{\"counts\":{\"pass\":8,\"marginal\":1,\"open\":8,\"fail\":0}}}");
        assert_false(run_has_fails(good));
        for (size_t i = 0; i < 5; i++) {
                char text[100];
                snprintf(text, sizeof text, "{\"progress\":{\"counts\":{\"pass\":8,\"%s\":1}}}", bad[i]);
                cJSON *j = json(text);
                assert_true(run_has_fails(j));
                cJSON_Delete(j);
        }
        cJSON_Delete(good);
}

static void a_problem_of_the_daemon_becomes_its_exit_status(void **state)
{
        (void)state;
        static const struct {
                const char *word;
                int status, exit;
        } rows[] = {
                {"not_found", 404, 3},   {"state", 409, 4},     {"interlock", 409, 4}, {"unauthenticated", 401, 6},
                {"forbidden", 403, 6},   {"bad_input", 422, 2}, {"no_route", 404, 3},  {"stopping", 503, 4},
                {"key_missing", 400, 2}, {"link_dead", 502, 5}, {"", 418, 1},
        };
        for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
                assert_int_equal(code_rows[code_of_problem(rows[i].word, rows[i].status)].exit, rows[i].exit);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(a_quantity_has_as_many_decimals_as_its_uncertainty_deserves),
                cmocka_unit_test(without_an_uncertainty_there_are_four_digits),
                cmocka_unit_test(probabilities_say_no_more_than_is_known),
                cmocka_unit_test(short_numbers_frequencies_and_durations),
                cmocka_unit_test(the_map_shows_verdict_and_trust_of_each_die_with_y_upwards),
                cmocka_unit_test(the_map_shows_the_last_value_of_a_device),
                cmocka_unit_test(a_map_without_dies_or_with_absurd_ones_is_said),
                cmocka_unit_test(every_mark_and_border_is_in_the_legend),
                cmocka_unit_test(columns_line_up_by_characters_not_bytes),
                cmocka_unit_test(a_summary_counts_the_last_touch_of_a_device_and_names_the_refused),
                cmocka_unit_test(a_summary_says_how_sure_its_verdicts_are),
                cmocka_unit_test(a_calibration_says_what_its_loads_were_taken_as),
                cmocka_unit_test(a_joined_calibration_says_how_well_its_bands_meet),
                cmocka_unit_test(what_a_run_offers_is_said_with_how_to_take_it),
                cmocka_unit_test(a_run_ended_with_fails_when_a_person_must_look),
                cmocka_unit_test(a_problem_of_the_daemon_becomes_its_exit_status),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
