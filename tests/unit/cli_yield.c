/* The daemon's answer about a run's yield as people read it: what is said of each number, and what is not said where there is none. */
#include "tests/unit/json_text.h"
#include "cli/show.h"
#include "cli/yield.h"
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static const char answer[] =
        "{\"run\":\"R\",\"wafer\":\"W1\",\"cover\":0.95,"
        "\"dies\":{\"good\":3,\"n\":5,\"share\":0.6,\"wilson\":[0.2307,0.8824],\"exact\":[0,1],\"good_at_first_touch\":2,"
        "\"marginal\":1,\"suspect\":1,\"no_verdict\":1,\"no_contact\":1,\"not_measured\":1},\"quantities\":["
        "{\"device\":\"L1\",\"label\":\"L at on\",\"unit\":\"H\",\"low\":1e-10,\"high\":null,\"good\":5,\"n\":5,\"share\":1,"
        "\"wilson\":[0.5655,1],\"exact\":[0,1],\"good_at_first_touch\":5,\"values\":12,\"median\":3e-10,"
        "\"quartiles\":[2.9e-10,3.1e-10],\"s_robust\":1e-11,\"outliers\":[],\"measuring_known\":true,\"ppk\":1.4866,"
        "\"ppk_interval\":[0.8374,2.1357],\"risks\":{\"bad_passed\":0.00012,\"good_not_passed\":0.031,\"good_failed\":1e-06,"
        "\"u\":4e-12,\"acceptance\":\"guarded\",\"risk\":0.05}},"
        "{\"device\":\"L1\",\"label\":\"Q\",\"unit\":\"1\",\"low\":4,\"high\":null,\"good\":0,\"n\":0,\"share\":null,"
        "\"wilson\":[null,null],\"exact\":[0,1],\"good_at_first_touch\":0,\"values\":12,\"median\":3e-10,"
        "\"quartiles\":[2.9e-10,3.1e-10],\"s_robust\":1e-11,\"outliers\":[],\"measuring_known\":true,"
        "\"hidden_by_measuring\":true,\"ppk\":null},"
        "{\"device\":\"C1\",\"label\":\"C\",\"unit\":\"F\",\"low\":null,\"high\":null,\"good\":0,\"n\":0,\"share\":null,"
        "\"wilson\":[null,null],\"exact\":[0,1],\"good_at_first_touch\":0,\"values\":1,\"median\":1.2e-13,"
        "\"quartiles\":[1.2e-13,1.2e-13],\"s_robust\":null,\"outliers\":[{\"x\":1,\"y\":-1},{\"x\":2,\"y\":2},{\"x\":3,"
        "\"y\":0},{\"x\":4,\"y\":0},{\"x\":5,\"y\":0}],\"measuring_known\":true,\"ppk\":null}"
        "],\"notes\":[]}";

static void has(const struct text *t, const char *line)
{
        if (!strstr(text_of(t), line))
                fail_msg("'%s' is not in\n%s", line, text_of(t));
}

static void a_table_says_what_there_is(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct text t;
        cJSON *y = json(answer);
        text_init(&t, 0);
        show_yield(y, arena, &t);
        has(&t, "Of wafer W1 alone: ");
        has(&t,
            "\ndies                 3   5   60.0 %   23.1 to 88.2 %            2         1        1           1           1             1");
        has(&t, "\nL1       L at on     5   5  100.0 %  56.5 to 100.0 %            5\n");
        /* no verdict, no share */
        has(&t, "\nL1       Q           0   0\n");
        /* the device stands before its first number alone */
        has(&t, "\nL1      L at on  12   300.0 pH   290.0 pH   310.0 pH   10.00 pH  1.49 (0.84 to 2.14)\n        Q        12");
        has(&t, "hidden by measuring");
        has(&t, "\nL1 L at on: 0.012 % are bad and pass, 3.1 % are good and do not pass (0.0001 % fail); guarded with 5 % at each limit, u "
                "4.000 pH\n");
        has(&t, "1,-1; 2,2; 3,0; 4,0; and 1 more\n");
        assert_null(strstr(text_of(&t), "\nC1       C           0")); /* no limits: no yield of it */
        assert_null(strstr(text_of(&t), "nan"));
        text_done(&t);
        cJSON_Delete(y);
        arena_free(arena);
}

static void what_an_older_run_file_cannot_tell_is_starred(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct text t;
        cJSON *y = json("{\"wafer\":\"W1\",\"dies\":{\"n\":0},\"quantities\":[{\"device\":\"L1\",\"label\":\"L\",\"unit\":\"H\",\"low\":1,"
                        "\"high\":5,\"n\":0,"
                        "\"values\":12,\"measuring_known\":false,\"hidden_by_measuring\":false,\"ppk\":1.4866,\"ppk_interval\":[0.8374,2."
                        "1357],\"outliers\":[]}],"
                        "\"notes\":[\"made before causes had scopes\"]}");
        text_init(&t, 0);
        show_yield(y, arena, &t);
        has(&t, "1.49 (0.84 to 2.14) *");
        has(&t, "\n* made before causes had scopes\n");
        text_done(&t);
        cJSON_Delete(y);
        arena_free(arena);
}

static void one_line_of_it(void **state)
{
        (void)state;
        struct text t;
        cJSON *y = json(answer), *none = json("{\"dies\":{\"good\":0,\"n\":0}}"), *summary = json("{\"id\":\"R\"}");
        text_init(&t, 0);
        show_yield_line(y, &t);
        assert_string_equal(text_of(&t),
                            "Yield        3 of 5 dies with a verdict are good: 60.0 %, with 95 % between 23.1 and 88.2 %, of this wafer; "
                            "2 at the first touch; 1 without a verdict; 1 without contact; 1 not measured\n");
        text_clear(&t);
        show_yield_line(none, &t);
        assert_string_equal(text_of(&t), "Yield        no die has a verdict\n");
        text_clear(&t);
        show_run(summary, NULL, NULL, NULL, NULL, NULL, y, &t);
        has(&t, "\nYield        3 of 5 dies");
        text_done(&t);
        cJSON_Delete(y);
        cJSON_Delete(none);
        cJSON_Delete(summary);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(a_table_says_what_there_is),
                                           cmocka_unit_test(what_an_older_run_file_cannot_tell_is_starred),
                                           cmocka_unit_test(one_line_of_it)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
