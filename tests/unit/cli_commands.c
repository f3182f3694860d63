/* The table of commands is consistent, and what is typed is found in it or refused with the nearest there is. */
#include "cli/parse.h"
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int setup(void **state)
{
        struct cli *c = calloc(1, sizeof *c);
        c->arena = arena_new(0);
        text_init(&c->out, 0);
        *state = c;
        return 0;
}

static int teardown(void **state)
{
        struct cli *c = *state;
        arena_free(c->arena);
        text_done(&c->out);
        free(c);
        return 0;
}

#define MAX_WORDS 16
/* Words are given without the program's own name, ended by NULL. */
static enum code parse(struct cli *c, struct tp_error *err, ...)
{
        char *argv[MAX_WORDS] = {(char[]){"tipplane"}};
        int n = 1;
        va_list words;
        va_start(words, err);
        for (char *w; n < MAX_WORDS - 1 && (w = va_arg(words, char *));)
                argv[n++] = w;
        va_end(words);
        memset(c->global, 0, sizeof c->global);
        memset(c->option, 0, sizeof c->option);
        c->arg_n = 0;
        c->row = NULL;
        *err = (struct tp_error){0};
        return parse_line(c, n, argv, err);
}

static void every_command_has_help_that_names_its_options(void **state)
{
        (void)state;
        for (size_t i = 0; i < command_row_n; i++) {
                const struct command_row *r = &command_rows[i];
                struct text t;
                text_init(&t, 0);
                help_of(r, &t);
                assert_non_null(r->run);
                assert_true(strlen(r->say) > 5);
                assert_true(islower((unsigned char)r->say[0]) && r->say[strlen(r->say) - 1] != '.');
                assert_non_null(strstr(text_of(&t), r->name));
                for (size_t k = 0; k < CLI_OPTIONS_MAX && r->options[k].name; k++) {
                        char wanted[64];
                        snprintf(wanted, sizeof wanted, "--%s", r->options[k].name);
                        assert_non_null(strstr(text_of(&t), wanted));
                        assert_true(r->options[k].say && r->options[k].say[0]);
                }
                assert_true(r->args_min <= r->args_max && r->args_max <= CLI_ARGS_MAX);
                assert_int_equal(r->args[0] != 0, r->args_max > 0);
                text_done(&t);
        }
}

static void no_name_is_given_twice_and_no_option_hides_a_global_one(void **state)
{
        (void)state;
        for (size_t i = 0; i < command_row_n; i++) {
                for (size_t k = 0; k < command_row_n; k++) {
                        if (i != k)
                                assert_string_not_equal(command_rows[i].name, command_rows[k].name);
                        if (command_rows[k].also)
                                assert_string_not_equal(command_rows[i].name, command_rows[k].also);
                }
                for (size_t k = 0; k < CLI_OPTIONS_MAX && command_rows[i].options[k].name; k++) {
                        for (size_t g = 0; global_options[g].name; g++)
                                assert_string_not_equal(command_rows[i].options[k].name, global_options[g].name);
                        for (size_t m = 0; m < k; m++)
                                assert_string_not_equal(command_rows[i].options[k].name, command_rows[i].options[m].name);
                }
                assert_null(command_rows[i].options[CLI_OPTIONS_MAX - 1].name); /* the list ends */
        }
}

static void every_command_is_found_by_both_its_names(void **state)
{
        struct cli *c = *state;
        struct tp_error err;
        for (size_t i = 0; i < command_row_n; i++) {
                const char *names[] = {command_rows[i].name, command_rows[i].also};
                for (int k = 0; k < 2 && names[k]; k++) {
                        char name[64];
                        snprintf(name, sizeof name, "%s", names[k]);
                        char *second = strchr(name, ' ');
                        if (second)
                                *second++ = 0;
                        assert_int_equal(parse(c, &err, name, second ? second : "--help", second ? "--help" : NULL, NULL), CODE_OK);
                        assert_ptr_equal(c->row, &command_rows[i]);
                }
        }
}

static void every_command_that_only_reads_a_run_can_give_json(void **state)
{
        static const char *const readers[] = {"status",  "run show",   "runs",        "map",        "devices", "parameters",
                                              "checks",  "touchdowns", "journal",     "recipes",    "station", "alarms",
                                              "events",  "wait",       "recipe plan", "touchstone", "solve",   "correct",
                                              "deembed", "extract",    "fit",         "compare"};
        struct cli *c = *state;
        struct tp_error err;
        for (size_t i = 0; i < sizeof readers / sizeof readers[0]; i++) {
                char name[64];
                snprintf(name, sizeof name, "%s", readers[i]);
                char *second = strchr(name, ' ');
                if (second)
                        *second++ = 0;
                assert_int_equal(second ? parse(c, &err, name, second, "--json", "--help", NULL)
                                        : parse(c, &err, name, "--json", "--help", NULL),
                                 CODE_OK);
                assert_true(cli_json(c));
        }
}

static void an_unknown_option_names_the_nearest(void **state)
{
        struct cli *c = *state;
        struct tp_error err;
        assert_int_equal(parse(c, &err, "run", "start", "--recpie", "x", NULL), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "--recpie is not an option of `tipplane run start`; the nearest is --recipe"));
        assert_int_equal(parse(c, &err, "map", "R", "--jsn", NULL), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "the nearest is --json"));
        assert_int_equal(parse(c, &err, "status", "--adress=x", NULL), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "the nearest is --address"));
        assert_int_equal(code_rows[err.code].exit, 2);
}

static void an_unknown_command_names_the_nearest(void **state)
{
        struct cli *c = *state;
        struct tp_error err;
        assert_int_equal(parse(c, &err, "statsu", NULL), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "did you mean 'status'"));
        assert_int_equal(parse(c, &err, "run", "shw", "R", NULL), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "did you mean 'run show'"));
        assert_int_equal(parse(c, &err, "somethingquitedifferent", NULL), CODE_BAD_INPUT);
        assert_null(strstr(err.text, "did you mean"));
        assert_int_equal(parse(c, &err, NULL), CODE_BAD_INPUT);
}

static void options_may_stand_before_between_and_behind(void **state)
{
        struct cli *c = *state;
        struct tp_error err;
        assert_int_equal(parse(c, &err, "--address", "http://127.0.0.1:9/", "run", "show", "--json", "RUN", "--token-file=t", NULL),
                         CODE_OK);
        assert_string_equal(c->row->name, "run show");
        assert_string_equal(c->address, "http://127.0.0.1:9"); /* no slash at its end */
        assert_string_equal(cli_option(c, "token-file"), "t");
        assert_true(cli_json(c));
        assert_int_equal(c->arg_n, 1);
        assert_string_equal(c->args[0], "RUN");
}

static void a_value_may_begin_with_a_dash_and_two_dashes_end_the_options(void **state)
{
        struct cli *c = *state;
        struct tp_error err;
        assert_int_equal(parse(c, &err, "skip", "RUN", "--die", "-3,2", NULL), CODE_OK);
        assert_string_equal(cli_option(c, "die"), "-3,2");
        assert_int_equal(parse(c, &err, "recipe", "check", "--", "--odd-name.json", NULL), CODE_OK);
        assert_string_equal(c->args[0], "--odd-name.json");
        assert_int_equal(parse(c, &err, "recipe", "check", "-", NULL), CODE_OK); /* stdin */
        assert_string_equal(c->args[0], "-");
}

static void what_is_wrong_with_an_option_is_said(void **state)
{
        struct cli *c = *state;
        struct tp_error err;
        assert_int_equal(parse(c, &err, "status", "--json=1", NULL), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "takes no value"));
        assert_int_equal(parse(c, &err, "runs", "--limit", NULL), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "--limit needs its N"));
        assert_int_equal(parse(c, &err, "runs", "--limit", "1", "--limit", "2", NULL), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "given twice"));
        assert_int_equal(parse(c, &err, "runs", "--limit=", NULL), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "is empty"));
        assert_int_equal(parse(c, &err, "wait", NULL), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "needs RUN"));
        assert_int_equal(parse(c, &err, "wait", "A", "B", NULL), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "one word too many"));
        assert_int_equal(parse(c, &err, "--address", "ftp://x", "status", NULL), CODE_BAD_INPUT);
        assert_int_equal(parse(c, &err, "-x", NULL), CODE_BAD_INPUT);
}

static void distance_counts_changed_added_and_left_out_letters(void **state)
{
        (void)state;
        assert_int_equal(distance("kitten", "sitting"), 3); /* two changed, one added */
        assert_int_equal(distance("", "abc"), 3);
        assert_int_equal(distance("abc", ""), 3);
        assert_int_equal(distance("same", "same"), 0);
        assert_int_equal(distance("a-name-of-more-than-sixty-three-letters-which-nobody-ever-typed-in-earnest", "x"), 99);
}

static void completion_knows_every_command_and_option(void **state)
{
        (void)state;
        struct text t;
        text_init(&t, 0);
        completion_bash(&t);
        for (size_t i = 0; i < command_row_n; i++) {
                assert_non_null(strstr(text_of(&t), command_rows[i].name));
                for (size_t k = 0; k < CLI_OPTIONS_MAX && command_rows[i].options[k].name; k++)
                        assert_non_null(strstr(text_of(&t), command_rows[i].options[k].name));
        }
        text_done(&t);
}

static void names_and_runs_are_checked_before_they_are_sent(void **state)
{
        (void)state;
        struct tp_error err;
        assert_int_equal(check_name("--wafer", "W-07.a+b_c", &err), CODE_OK);
        assert_int_equal(check_name("--wafer", "", &err), CODE_BAD_INPUT);
        assert_int_equal(check_name("--wafer", "a/b", &err), CODE_BAD_INPUT);
        assert_int_equal(check_name("--wafer", "1234567890123456789012345678901234567890", &err), CODE_BAD_INPUT);
        assert_int_equal(check_run("01M895FGTC6FSJG7DA9MEXZMY0", &err), CODE_OK);
        assert_int_equal(check_run("../../etc/passwd", &err), CODE_NOT_FOUND);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(every_command_has_help_that_names_its_options),
                cmocka_unit_test(no_name_is_given_twice_and_no_option_hides_a_global_one),
                cmocka_unit_test_setup_teardown(every_command_is_found_by_both_its_names, setup, teardown),
                cmocka_unit_test_setup_teardown(every_command_that_only_reads_a_run_can_give_json, setup, teardown),
                cmocka_unit_test_setup_teardown(an_unknown_option_names_the_nearest, setup, teardown),
                cmocka_unit_test_setup_teardown(an_unknown_command_names_the_nearest, setup, teardown),
                cmocka_unit_test_setup_teardown(options_may_stand_before_between_and_behind, setup, teardown),
                cmocka_unit_test_setup_teardown(a_value_may_begin_with_a_dash_and_two_dashes_end_the_options, setup, teardown),
                cmocka_unit_test_setup_teardown(what_is_wrong_with_an_option_is_said, setup, teardown),
                cmocka_unit_test(distance_counts_changed_added_and_left_out_letters),
                cmocka_unit_test(completion_knows_every_command_and_option),
                cmocka_unit_test(names_and_runs_are_checked_before_they_are_sent),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
