/* A made-up run whose counts are done by hand: what is in n, what stands beside it, first touches, and values.  Intervals are Newcombe's
   printed ones (Stat. Med. 17 (1998) 857), Ppk and scatter those of tests/reference/yield.csv, computed apart from this program. */
#include "tests/unit/json_text.h"
#include "wafer/yield.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

struct run {
        cJSON *map, *devices, *parameters;
        struct arena *arena;
        struct results r;
};
static void run_read(struct run *run, const char *map, const char *devices, const char *parameters)
{
        struct tp_error err;
        *run = (struct run){.map = json(map), .devices = json(devices), .parameters = json(parameters), .arena = arena_new(0)};
        if (results_read(run->map, run->devices, run->parameters, run->arena, &run->r, &err))
                fail_msg("%s", err.text);
}
static void run_done(struct run *run)
{
        cJSON_Delete(run->map);
        cJSON_Delete(run->devices);
        cJSON_Delete(run->parameters);
        arena_free(run->arena);
}
static cJSON *yield_of(struct run *run)
{
        struct text t;
        struct tp_error err;
        text_init(&t, 0);
        if (yield_json(&run->r, "R", "W1", run->arena, &t, &err))
                fail_msg("%s", err.text);
        cJSON *j = json(text_of(&t));
        text_done(&t);
        return j;
}
static const cJSON *at(const cJSON *list, int i) { return cJSON_GetArrayItem(list, i); }
static void counts(const cJSON *y, int good, int n, int first, int marginal, int fail, int suspect, int no_verdict, int no_contact,
                   int not_measured)
{
        static const char *const keys[] = {"good",    "n",          "good_at_first_touch", "marginal",    "fail",
                                           "suspect", "no_verdict", "no_contact",          "not_measured"};
        const int want[] = {good, n, first, marginal, fail, suspect, no_verdict, no_contact, not_measured};
        for (int k = 0; k < 9; k++)
                if (have_int(y, keys[k]) != want[k])
                        fail_msg("%s: %d, wanted %d", keys[k], (int)have_int(y, keys[k]), want[k]);
}

#define DEVICE(name, outcome, verdict, trust) \
        "{\"name\":\"" name "\",\"outcome\":\"" outcome "\",\"verdict\":\"" verdict "\",\"trust\":\"" trust "\"}"
#define DIE(x, devices) "{\"x\":" #x ",\"y\":0,\"devices\":[" devices "]}"
#define GOOD DEVICE("OPEN", "measured", "none", "proven") "," DEVICE("L1", "measured", "pass", "proven")
#define ROW(x, quantity, attempt, verdict, trust)                                                                                         \
        "{\"die\":{\"x\":" #x ",\"y\":0},\"device\":\"L1\",\"quantity\":\"" quantity "\",\"attempt\":" #attempt ",\"verdict\":\"" verdict \
        "\",\"trust\":\"" trust "\",\"value\":3,\"u95\":0.1}"

static const char two_quantities[] =
        "{\"devices\":[{\"name\":\"OPEN\",\"parameters\":[]},{\"name\":\"L1\",\"parameters\":["
        "{\"name\":\"L\",\"unit\":\"H\",\"low\":1,\"high\":5},{\"name\":\"C\",\"unit\":\"F\",\"low\":null,\"high\":null}]}]}";

static void what_has_a_verdict_is_counted_and_the_rest_stands_beside(void **state)
{
        (void)state;
        struct run run;
        run_read(
                &run,
                "{\"wafer\":\"W1\",\"dies\":[" DIE(0, GOOD) "," DIE(1, GOOD) "," DIE(2, DEVICE("L1", "doubtful", "fail", "suspect")) "," DIE(
                        3,
                        DEVICE("L1", "measured", "marginal",
                               "proven")) "," DIE(4,
                                                  DEVICE("L1", "no_contact", "none",
                                                         "open")) "," DIE(5,
                                                                          DEVICE("L1", "skipped", "none",
                                                                                 "unknown")) "," DIE(6,
                                                                                                     DEVICE("L1", "measured", "none",
                                                                                                            "proven")) "," DIE(7,
                                                                                                                               DEVICE("OPE"
                                                                                                                                      "N",
                                                                                                                                      "no_"
                                                                                                                                      "cont"
                                                                                                                                      "act",
                                                                                                                                      "non"
                                                                                                                                      "e",
                                                                                                                                      "ope"
                                                                                                                                      "n") "," DEVICE("L1",
                                                                                                                                                      "measured",
                                                                                                                                                      "pass",
                                                                                                                                                      "rescued")) "]}",
                two_quantities,
                "{\"parameters\":[" ROW(0, "L", 1, "pass", "proven") "," ROW(0, "C", 1, "none", "proven") ","
                /* a bad first touch, retouched; a failing first touch, retouched for another reason */
                ROW(1, "L", 2, "pass", "proven") "," ROW(2, "L", 1, "fail", "suspect") "," ROW(3, "L", 1, "fail", "proven") "," ROW(
                        3, "L", 2, "marginal", "proven") "," ROW(4, "L", 1, "pass", "proven") "," ROW(6, "L", 1, "none",
                                                                                                      "proven") "," ROW(7, "L", 1, "pass",
                                                                                                                        "rescued") "]}");
        assert_int_equal(run.r.asked[0].number, 20001);
        assert_int_equal(run.r.asked[1].number, 20002);
        cJSON *y = yield_of(&run);
        counts(have(y, "dies"), 3, 5, 2, 1, 1, 1, 1, 1, 1);
        counts(at(have(y, "quantities"), 0), 3, 5, 2, 1, 1, 1, 1, 1, 1);
        counts(at(have(y, "quantities"), 1), 0, 0, 0, 0, 0, 0, 1, 1, 6); /* without limits; of one die alone there is a row */
        cJSON_Delete(y);
        run_done(&run);
}

/* n dies of one number, the first `good` of them good, their values those of x[0 … x_n - 1] again and again. */
static void many_dies(struct run *run, int n, int good, const double *x, int x_n, const char *budget)
{
        struct text map, rows;
        text_init(&map, 0);
        text_init(&rows, 0);
        text_put(&map, "{\"wafer\":\"W1\",\"dies\":[");
        text_put(&rows, "{\"parameters\":[");
        for (int d = 0; d < n; d++) {
                const char *verdict = d < good ? "pass" : "fail";
                text_f(&map,
                       "%s{\"x\":%d,\"y\":-1,\"devices\":[{\"name\":\"R1\",\"outcome\":\"measured\",\"verdict\":\"%s\",\"trust\":"
                       "\"proven\"}]}",
                       d ? "," : "", d, verdict);
                text_f(&rows,
                       "%s{\"die\":{\"x\":%d,\"y\":-1},\"device\":\"R1\",\"quantity\":\"R\",\"attempt\":1,\"verdict\":\"%s\",\"trust\":"
                       "\"proven\",\"value\":%.17g,\"u95\":0.0074,\"budget\":%s}",
                       d ? "," : "", d, verdict, x[d % x_n], budget);
        }
        text_put(&map, "]}");
        text_put(&rows, "]}");
        run_read(run, text_of(&map),
                 "{\"devices\":[{\"name\":\"R1\",\"parameters\":[{\"name\":\"R\",\"unit\":\"ohm\",\"low\":0.98,\"high\":1.03}]}]}",
                 text_of(&rows));
        text_done(&map);
        text_done(&rows);
}

static void intervals_are_newcombes(void **state)
{
        (void)state;
        static const struct {
                int good, n;
                const char *say;
        } rows[] = {{81, 263, "0.2553 0.3662 0.2527 0.3676"},
                    {15, 148, "0.0624 0.1605 0.0578 0.1617"},
                    {0, 20, "0.0000 0.1611 0.0000 0.1684"},
                    {1, 29, "0.0061 0.1718 0.0009 0.1776"}};
        for (size_t i = 0; i < 4; i++) {
                struct run run;
                char got[60];
                many_dies(&run, rows[i].n, rows[i].good, (const double[]){1}, 1, "null");
                cJSON *y = yield_of(&run);
                const cJSON *w = have(have(y, "dies"), "wilson"), *e = have(have(y, "dies"), "exact");
                snprintf(got, sizeof got, "%.4f %.4f %.4f %.4f", at(w, 0)->valuedouble, at(w, 1)->valuedouble, at(e, 0)->valuedouble,
                         at(e, 1)->valuedouble);
                assert_string_equal(got, rows[i].say);
                cJSON_Delete(y);
                run_done(&run);
        }
}

static const double thirteen[] = {1.002, 0.998, 1.005, 0.991, 1.001, 1.008, 0.996, 1.003, 0.999, 1.000, 1.004, 0.997, 1.9};

static void ppk_scatter_and_outliers_are_those_of_the_check_file(void **state)
{
        (void)state;
        struct run run;
        many_dies(
                &run, 12, 12, thirteen, 12,
                "{\"scopes\":{\"touch\":0,\"reading\":0,\"shared\":100},\"shared\":{\"load R\":100}}"); /* what the dies share takes nothing off */
        cJSON *y = yield_of(&run);
        const cJSON *q = at(have(y, "quantities"), 0);
        assert_true(fabs(have_real(q, "ppk") - 1.4865592980413667) < 1e-12 && fabs(have_real(q, "pp") - 1.8277368418541391) < 1e-12);
        assert_true(fabs(at(have(q, "ppk_interval"), 0)->valuedouble - 0.8373779955989763) < 1e-12);
        cJSON_Delete(y);
        run_done(&run);
        /* noise and contact are the die's own: 0.0074 / 1.96 of which 64 % of u squared, 0.00302 of 0.00456 */
        many_dies(&run, 12, 12, thirteen, 12,
                  "{\"scopes\":{\"touch\":40.0,\"reading\":24.0,\"shared\":36.0},\"touch\":{\"contact R, short\":40},"
                  "\"reading\":{\"noise\":24},\"shared\":{\"noise of standards\":36},\"not_counted\":[\"temperature\"]}");
        y = yield_of(&run);
        q = at(have(y, "quantities"), 0);
        double u = 0.0074 / 1.959963984540054 * 0.8;
        assert_true(fabs(have_real(q, "s_without_measuring") - sqrt(0.0045593726309525072 * 0.0045593726309525072 - u * u)) < 1e-12);
        cJSON_Delete(y);
        run_done(&run);
        many_dies(&run, 12, 12, (const double[]){1.0001, 0.9999}, 2,
                  "{\"scopes\":{\"touch\":0,\"reading\":100,\"shared\":0},\"reading\":{\"noise\":100}}");
        y = yield_of(&run);
        q = at(have(y, "quantities"), 0);
        assert_true(isnan(have_real(q, "ppk")) && have_true(q, "hidden_by_measuring") == (have_int(q, "values") >= 10));
        cJSON_Delete(y);
        run_done(&run);
        /* stored before causes had scopes: the scatter with measuring in it, and the reader is told */
        many_dies(&run, 12, 12, thirteen, 12, "{\"contact R, short\":40,\"noise\":24,\"noise of standards\":36,\"temperature\":null}");
        y = yield_of(&run);
        q = at(have(y, "quantities"), 0);
        assert_true(fabs(have_real(q, "ppk") - 1.4865592980413667) < 1e-12 && isnan(have_real(q, "s_without_measuring")));
        assert_false(have_true(q, "measuring_known") || have_true(q, "hidden_by_measuring"));
        assert_non_null(strstr(at(have(y, "notes"), 0)->valuestring, "made before causes had scopes"));
        cJSON_Delete(y);
        run_done(&run);
        many_dies(&run, 13, 12, thirteen, 13, "{}");
        y = yield_of(&run);
        q = at(have(y, "quantities"), 0);
        assert_true(fabs(have_real(q, "s_robust") - 4.4478066555168061e-03) < 1e-12 && fabs(have_real(q, "median") - 1.001) < 1e-12);
        assert_int_equal(cJSON_GetArraySize(have(q, "outliers")), 1);
        assert_true(have_int(at(have(q, "outliers"), 0), "x") == 12 && have_int(at(have(q, "outliers"), 0), "y") == -1);
        assert_true(fabs(have_real(q, "mean") - 1.0695384615384615) < 1e-12); /* marked, not left out */
        cJSON_Delete(y);
        run_done(&run);
        many_dies(&run, 9, 9, thirteen, 9, "{}"); /* too few */
        y = yield_of(&run);
        q = at(have(y, "quantities"), 0);
        assert_true(isnan(have_real(q, "ppk")) && have_true(q, "hidden_by_measuring") == (have_int(q, "values") >= 10));
        cJSON_Delete(y);
        run_done(&run);
}

/* Under each of its conditions a number is asked for anew, named as the recipe names them; a median is that of one of them. */
static void conditions_are_numbers_of_their_own(void **state)
{
        (void)state;
        struct run run;
        run_read(&run,
                 "{\"wafer\":\"W1\",\"dies\":[" DIE(0, DEVICE("L1", "measured", "fail", "proven")) "," DIE(
                         1, DEVICE("L1", "measured", "pass", "proven")) "]}",
                 "{\"devices\":[{\"name\":\"L1\",\"conditions\":[{\"name\":\"on\"},{\"name\":null}],\"parameters\":[{\"name\":\"L\","
                 "\"unit\":\"H\",\"low\":1,\"high\":5}]}]}",
                 "{\"parameters\":[{\"die\":{\"x\":0,\"y\":0},\"device\":\"L1\",\"quantity\":\"L\",\"condition\":0,\"attempt\":1,"
                 "\"verdict\":\"pass\",\"value\":2},"
                 "{\"die\":{\"x\":0,\"y\":0},\"device\":\"L1\",\"quantity\":\"L\",\"condition\":1,\"attempt\":1,\"verdict\":\"fail\","
                 "\"value\":7},"
                 "{\"die\":{\"x\":1,\"y\":0},\"device\":\"L1\",\"quantity\":\"L\",\"condition\":0,\"attempt\":1,\"verdict\":\"pass\","
                 "\"value\":4},"
                 "{\"die\":{\"x\":1,\"y\":0},\"device\":\"L1\",\"quantity\":\"L\",\"condition\":1,\"attempt\":1,\"verdict\":\"pass\","
                 "\"value\":3}]}");
        assert_int_equal(run.r.asked_n, 2);
        assert_string_equal(run.r.asked[0].label, "L at on");
        assert_string_equal(run.r.asked[1].label, "L at 1");
        assert_true(run.r.asked[0].number == 10001 && run.r.asked[1].number == 10101);
        cJSON *y = yield_of(&run);
        assert_true(have_int(at(have(y, "quantities"), 0), "good") == 2 && have_int(at(have(y, "quantities"), 1), "good") == 1);
        assert_true(have_real(at(have(y, "quantities"), 0), "median") == 3 && have_real(at(have(y, "quantities"), 1), "median") == 5);
        assert_string_equal(have_text(at(have(y, "quantities"), 0), "label"), "L at on");
        cJSON_Delete(y);
        run_done(&run);
}

static void answers_that_do_not_fit_together_are_refused(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct results r;
        struct tp_error err = {0};
        cJSON *map = json("{\"dies\":[" DIE(0, GOOD) "]}"), *devices = json(two_quantities), *empty = json("{}");
        static const char *const rows[] = {"{\"parameters\":[" ROW(9, "L", 1, "pass", "proven") "]}",
                                           "{\"parameters\":[" ROW(0, "Q", 1, "pass", "proven") "]}"};
        for (size_t i = 0; i < 2; i++) {
                cJSON *p = json(rows[i]);
                assert_int_equal(results_read(map, devices, p, arena, &r, &err), CODE_BAD_REPLY);
                assert_non_null(strstr(err.text, i ? "die 0,0 L1 Q" : "die 9,0 L1 L"));
                assert_int_equal(results_read(empty, empty, p, arena, &r, &err), CODE_BAD_REPLY);
                cJSON_Delete(p);
        }
        assert_int_equal(results_read(empty, empty, empty, arena, &r, &err), CODE_OK);
        assert_true(r.die_n == 0 && r.asked_n == 0);
        cJSON_Delete(map);
        cJSON_Delete(devices);
        cJSON_Delete(empty);
        arena_free(arena);
}

/* The rule's two risks against their definition, summed over 20000 true values: one passes where it is read 1.6449 u and more inside both
   limits, which lie far apart against u. */
static void risks_of_the_rule_are_those_of_all_that_is_made(void **state)
{
        (void)state;
        struct run run;
        many_dies(&run, 12, 12, thirteen, 12, "{\"scopes\":{\"touch\":0,\"reading\":0,\"shared\":100},\"shared\":{\"load R\":100}}");
        cJSON *y = yield_of(&run);
        const cJSON *q = at(have(y, "quantities"), 0), *r = have(q, "risks");
        double mean = have_real(q, "mean"), s = have_real(q, "s"), u = 0.0074 / 1.959963984540054, low = 0.98, high = 1.03;
        double bad = 0, kept = 0, step = 16 * s / 20000;
        assert_non_null(r);
        assert_true(fabs(have_real(r, "u") - u) < 1e-12 && have_real(r, "risk") == 0.05);
        assert_string_equal(have_text(r, "acceptance"), "guarded");
        for (int i = 0; i < 20000; i++) {
                double x = mean - 8 * s + (i + 0.5) * step, share = exp(-pow((x - mean) / s, 2) / 2) / s / sqrt(2 * acos(-1)) * step;
                double a = low + 1.6448536269514722 * u, b = high - 1.6448536269514722 * u;
                double pass = 0.5 * (erf((b - x) / u / sqrt(2)) - erf((a - x) / u / sqrt(2)));
                bad += x < low || x > high ? share * pass : 0;
                kept += x < low || x > high ? 0 : share * (1 - pass);
        }
        assert_true(bad > 0 && fabs(have_real(r, "bad_passed") / bad - 1) < 0.01);
        assert_true(kept > 1e-4 && fabs(have_real(r, "good_not_passed") / kept - 1) < 0.01);
        cJSON_Delete(y);
        run_done(&run);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(what_has_a_verdict_is_counted_and_the_rest_stands_beside),
                                           cmocka_unit_test(intervals_are_newcombes),
                                           cmocka_unit_test(ppk_scatter_and_outliers_are_those_of_the_check_file),
                                           cmocka_unit_test(risks_of_the_rule_are_those_of_all_that_is_made),
                                           cmocka_unit_test(conditions_are_numbers_of_their_own),
                                           cmocka_unit_test(answers_that_do_not_fit_together_are_refused)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
