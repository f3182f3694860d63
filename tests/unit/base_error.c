/* Errors: one sentence, always whole, always with its place. */
#include "base/error.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <errno.h>
#include <string.h>

static void each_code_has_a_word_and_a_status(void **state)
{
        (void)state;
        for (int i = 0; i < CODE_COUNT; i++) {
                assert_non_null(code_rows[i].word);
                assert_true(code_rows[i].http >= 200 && code_rows[i].http < 600);
                assert_int_equal(code_rows[i].exit == 0, i == CODE_OK);
                assert_true(code_rows[i].exit >= 0 && code_rows[i].exit <= 6);
                for (int j = 0; j < i; j++)
                        assert_string_not_equal(code_rows[i].word, code_rows[j].word);
        }
}

static void each_level_adds_where(void **state)
{
        struct tp_error err;
        (void)state;
        assert_int_equal(tp_fail(&err, CODE_BAD_REPLY, "stage said %s", "nothing"), CODE_BAD_REPLY);
        assert_int_equal(tp_where(&err, "die %d,%d", 4, -3), CODE_BAD_REPLY);
        assert_int_equal(tp_where(&err, "run %d", 12), CODE_BAD_REPLY);
        assert_string_equal(err.text, "run 12: die 4,-3: stage said nothing");
        assert_int_equal(tp_where(NULL, "x"), CODE_BUG);
        assert_int_equal(tp_fail(NULL, CODE_DISK, "x"), CODE_DISK);
}

static void a_new_failure_forgets_the_old_one(void **state)
{
        struct tp_error err;
        (void)state;
        tp_fail_at(&err, CODE_BAD_INPUT, "/die", "x");
        err.effect_unknown = true;
        assert_string_equal(err.pointer, "/die");
        tp_fail_sys(&err, CODE_DISK, ENOSPC, "/data: cannot be written");
        assert_int_equal(err.sys, ENOSPC);
        assert_string_equal(err.pointer, "");
        assert_false(err.effect_unknown);
        assert_string_equal(err.text, "/data: cannot be written: No space left on device");
        tp_fail(&err, CODE_STATE, "again: %s", err.text); /* the old sentence as an argument */
        assert_string_equal(err.text, "again: /data: cannot be written: No space left on device");
}

static void a_long_sentence_ends_between_two_characters(void **state)
{
        struct tp_error err;
        char longest[600];
        (void)state;
        for (size_t shift = 0; shift < 3; shift++) {
                memset(longest, 'x', shift);
                for (size_t i = shift; i + 2 < sizeof longest; i += 2)
                        memcpy(longest + i, "\xC3\xA4", 3);
                tp_fail(&err, CODE_BAD_INPUT, "%s", longest);
                tp_where(&err, "here");
                size_t n = strlen(err.text);
                assert_true(n < sizeof err.text && n > sizeof err.text - 8);
                assert_string_equal(err.text + n - 3, "\xE2\x80\xA6");
                assert_int_equal((unsigned char)err.text[n - 4], 0xA4);
        }
}

static void what_no_terminal_should_see_becomes_a_question_mark(void **state)
{
        struct tp_error err = {0};
        (void)state;
        tp_fail(&err, CODE_BAD_INPUT, "unknown key \"a\x1b[2J\x7f\xc2\x9b\xff\xc3\xa4\nb\"");
        assert_string_equal(err.text, "unknown key \"a?[2J????\xc3\xa4 b\"");
        tp_where(&err, "file \xff");
        assert_string_equal(err.text, "file ?: unknown key \"a?[2J????\xc3\xa4 b\"");
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(each_code_has_a_word_and_a_status),
                cmocka_unit_test(each_level_adds_where),
                cmocka_unit_test(a_new_failure_forgets_the_old_one),
                cmocka_unit_test(a_long_sentence_ends_between_two_characters),
                cmocka_unit_test(what_no_terminal_should_see_becomes_a_question_mark),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
